//! Behaviours written as small programs in an embedded language, run within limits.
