//! Checks of the timeline against exact arithmetic, closed forms and a plain sort.

mod clock;
mod ns;
mod queue;
