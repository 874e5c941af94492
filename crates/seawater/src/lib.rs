//! The sea as a medium: sound speed, absorption, ambient noise, density and pressure, spreading.
