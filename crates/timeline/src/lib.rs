//! Integer nanoseconds, sample clocks, and an event queue with a total order.
//!
//! Everything that happens in a run happens at an [`Ns`]. What happens at the same instant is ordered by [`Class`], then by
//! place, then by the order in which it was put into the [`Queue`]. No floating-point number takes part in any ordering.

mod class;
mod ns;
mod queue;
mod sample_clock;

pub use class::Class;
pub use ns::{Ns, TimeError};
pub use queue::{Entry, Queue};
pub use sample_clock::{ClockError, SampleClock};
