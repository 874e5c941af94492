//! Checks of `signal` against outside truth and of its own identities.
