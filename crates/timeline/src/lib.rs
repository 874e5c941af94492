//! Integer nanoseconds, sample clocks, and an event queue with a total order.
