//! Checks of lines in a current, catenaries and waves against SciPy, closed forms and the balance of forces.

mod ageing;
mod balance;
mod bars;
mod bed;
mod catenary;
mod closed;
mod heard_waves;
mod lines;
mod losses;
mod metals;
mod published;
mod refused;
mod strum_tides;
mod support;
mod waves;
