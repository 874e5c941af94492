//! Conductors and the direct-current network of the line.
