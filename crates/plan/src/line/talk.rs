//! Framing of messages, topics and their payloads.

use quantity::EventRate;

use super::Q;
use crate::site::Site;

/// How messages are framed on the links.
#[derive(Clone, Debug)]
pub struct Traffic {
    /// Protocol layers from the wire upwards, for example `ethernet`, `ipv6`, `udp`.
    pub stack: Vec<String>,
    /// Largest message piece in one frame, B.
    pub packet_bytes: u32,
}

/// A field of a topic's payload.
#[derive(Clone, Debug)]
pub enum TopicField {
    /// A number on a grid.
    Scaled {
        /// Name.
        name: String,
        /// Unit, as text.
        unit: String,
        /// Lowest value.
        from: f64,
        /// Highest value.
        to: f64,
        /// Step.
        step: f64,
    },
    /// One of a list.
    Choice {
        /// Name.
        name: String,
        /// The values.
        values: Vec<String>,
    },
    /// Yes or no.
    Flag {
        /// Name.
        name: String,
    },
    /// A time stamp.
    Time {
        /// Name.
        name: String,
        /// Bits.
        bits: u32,
        /// Step, s.
        step_s: f64,
        /// The instant of count 0, ns since 1970-01-01T00:00:00Z.
        epoch_ns: i64,
    },
}

impl TopicField {
    /// Its name.
    #[must_use]
    pub fn name(&self) -> &str {
        match self {
            TopicField::Scaled { name, .. }
            | TopicField::Choice { name, .. }
            | TopicField::Flag { name }
            | TopicField::Time { name, .. } => name,
        }
    }
}

/// A topic.
#[derive(Clone, Debug)]
pub struct Topic {
    /// Name (OASIS MQTT 5.0).
    pub name: String,
    /// Where it was declared.
    pub at: Site,
    /// Most messages in a time, enforced at run time.
    pub at_most: Option<EventRate>,
    /// Priority: 0 goes first.
    pub priority: u8,
    /// Payload fields.
    pub fields: Vec<TopicField>,
    /// First byte of the packed payload.
    pub schema_id: Option<u8>,
    /// Bits of the packed payload's sequence number.
    pub sequence_bits: Option<u32>,
    /// Bits of the packed payload's count of its publisher's starts.
    pub starts_bits: Option<u32>,
    /// Whether the packed payload ends with a CRC-16.
    pub crc: bool,
    /// Payload size when written instead of fields, B.
    pub size_bytes: Option<Q>,
    /// What number and count of starts add to that size, B; within it when not written.
    pub numbering_bytes: Option<Q>,
    /// Sending again what is not acknowledged; `None` for delivery at most once.
    pub retry: Option<Retry>,
    /// Whether the publisher holds its last message for those who come later.
    pub retained: bool,
    /// Waiting for a way; `None` when what cannot go is lost.
    pub keep: Option<Keep>,
}

/// Delivery at least once.
#[derive(Clone, Copy, Debug)]
pub struct Retry {
    /// From a sending to the next, s.
    pub after_s: Q,
    /// Most sendings after the first.
    pub at_most: u32,
    /// Payload size of an acknowledgement, B.
    pub acknowledgement_bytes: u32,
    /// Messages of a publisher that a receiver tells apart.
    pub remembers: u32,
}

/// What waits for a way.
#[derive(Clone, Copy, Debug)]
pub struct Keep {
    /// Most messages for one subscriber.
    pub messages: u32,
    /// Age at which one is dropped, s.
    pub longest_s: Q,
}

impl Topic {
    /// Whether a receiver has to tell a message that it has already: one that is sent again, or held for those who come later.
    #[must_use]
    pub fn tells_repeats(&self) -> bool {
        self.retry.is_some() || self.retained
    }
}
