//! Store-and-forward links, topics, payload sizes and the uplink queue, on the timeline.
//!
//! - [`Topology`] holds nodes and full-duplex point-to-point links; [`LinkStandard`] and [`Layer`] give their figures.
//! - [`Machine`] moves published messages over the links, one frame at a time, whenever its master steps it.
//!   Streams of packets it sends itself ([`StreamSource`]).
//! - [`Post`] holds a machine and delivers on a topic's [`Terms`]: at least once, retained, kept while there is no way.
//! - [`no_queue_latency`] and [`delay_bounds`] say without running it how soon and how late a message can be.
//! - [`Layout`] packs a topic's fields into bits and reads them back, [`record_to_cbor`] writes them so that they describe themselves; [`c99`] and [`python`]
//!   write the same in other languages. [`TopicName`] and [`Filter`] follow OASIS MQTT 5.0.
//! - [`Uplink`] is the paid link ashore: a queue by priority, with windows, retries, packing, expiry, a cap and outages; [`SeaLink`] says how long the sea keeps a message.
//! - [`single_failures`] breaks each node and each medium in turn and says who still reaches a sink.
//! - [`RateLimit`] enforces a topic's `at_most` while it runs.
//!
//! Time is integer nanoseconds throughout; no floating-point number takes part in when or in which order things happen. Bit errors alone have a rate, and are drawn.

mod admission;
mod bound;
mod bus;
mod can;
mod can_errors;
mod clock_sync;
mod frame;
mod latency;
mod loss;
mod machine;
mod payload;
mod poll;
mod post;
mod rate_limit;
mod server;
mod single_failure;
mod stack;
mod standard;
mod topic;
mod topology;
mod uplink;
mod wire;

pub use admission::{
    Beside, StreamAsk, StreamRoom, WhyRefused, admit, admit_beside, rate_left, stream_beat,
    stream_limit,
};
pub use bound::{
    BoundError, BusLoad, DelayBound, Flow, HopBound, WhyUnknown, bus_load, delay_bounds,
};
pub use bus::{Access, BusSpec};
pub use can::{
    CanError, CanFdBits, CanIds, CanMessage, CanResponse, DataTooLong, can_fd_frame_bits,
    can_frame_bits, can_response_times,
};
pub use can_errors::{can_mean_repeats, can_response_times_with_errors, can_sendings_to_bus_off};
pub use clock_sync::{ClockError, Exchanged, OneWay, SyncSpec, clock_error, two_way};
pub use frame::{FrameError, MAX_FRAGMENTS, fragment_count, frame_time};
pub use latency::{LatencyError, no_queue_latency};
pub use loss::{LossError, bus_frame_loss, copy_loss, frame_loss};
pub use machine::{
    BusStats, Delivery, DirectionStats, DropReason, Dropped, ErrorNames, HopRecord, LATEST_PUBLISH,
    LinkState, Machine, MachineError, MessageId, NodeState, Publication, StationStats, Stats,
    StreamId, StreamSource, TopicId,
};
pub use payload::{
    CSource, CborError, CborItem, CobsError, Field, FieldKind, Frame, Layout, Numbers, PackError,
    Packed, PayloadError, Place, RecordError, UnpackError, Unpacked, Value, bits, c99, cbor_decode,
    cbor_encode, cobs_decode, cobs_encode, comment, crc16, identifier, python, record_from_cbor,
    record_to_cbor,
};
pub use poll::{Age, Exchange, RoundTooLong, poll_age, poll_round};
pub use post::{
    FIRST_ANSWER_STREAM, Keep, Note, NoteKind, Post, PostStats, REMEMBERS, Retry, Terms,
};
pub use rate_limit::{Admission, AtMost, RateError, RateLimit};
pub use server::{BurstAndRate, RateLatency, ServerBound, server_bound};
pub use single_failure::{
    Broken, FailureError, How, PastBroken, SingleFailure, StillPasses, reaching, single_failures,
};
pub use stack::{FrameOverhead, Layer, StackError, stack_overhead};
pub use standard::{
    Duplex, Ends, Framing, LinkStandard, RateUnfit, Rates, Reach, Turn, UnknownStandard,
};
pub use topic::{Filter, TopicError, TopicName};
pub use topology::{LARGEST_FRAME_BYTES, LONGEST_HOLD, LinkSpec, Medium, Topology, TopologyError};
pub use uplink::{
    AtCap, BackOff, Cap, Failure, GivesUp, LoneDelay, OfferedIn, Outcome, Room, SeaDrawn, SeaLink,
    SeaLinkError, Tries, Uplink, UplinkError, UplinkEvent, UplinkMessage, UplinkSpec, UplinkStats,
    Windows, attempts_for_burst, lone_delay, lone_delay_by_sea, of_attempts,
};
pub use wire::{SDI12_ANSWER_WITHIN, SDI12_RATE_BPS, SDI12_SLOWEST_BITS, SDI12_WAKE, Wire};
