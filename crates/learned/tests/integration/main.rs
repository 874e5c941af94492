//! Models against an independent program, and files that are not to be trusted.
