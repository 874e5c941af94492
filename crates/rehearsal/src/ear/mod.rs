//! From the sounds of a cue sheet and the sea to the cells of the detectors at one hydrophone.
