//! Exact limits and named, seeded random streams.
