//! Interpolation in tables and roots of one-variable functions.
