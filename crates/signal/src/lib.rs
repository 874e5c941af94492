//! Blocks of samples, levels, filters, spectra and synthesis; streaming, without the standard library.
