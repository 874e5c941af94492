//! Checks of the network.
