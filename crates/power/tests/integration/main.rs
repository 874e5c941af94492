//! Checks of the crate against sources outside it.
