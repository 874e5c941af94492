//! Traffic and topics.

use quantity::Dimension as D;

use crate::field::{ANY, POSITIVE, Section, Shape as S, between, optional as o, required as r};

pub(crate) const TRAFFIC: Section = Section {
    name: "the traffic",
    doc: "How messages are framed on the links.",
    part: None,
    fields: &[
        o(
            "stack",
            S::Texts,
            "protocol layers from the wire upwards: ethernet, ipv4 or ipv6, udp; needed unless each link has a frame of its own",
        ),
        r(
            "packet",
            S::Amount(D::DataSize, between(1.0, 65_535.0, "from 1 B to 65535 B")),
            "largest piece of a message in one frame",
        ),
    ],
};

pub(crate) const TOPIC: Section = Section {
    name: "a topic",
    doc: "What a message is about. It has either fields or a size.",
    part: None,
    fields: &[
        o(
            "at_most",
            S::EventRate,
            "most messages in a time, enforced at run time",
        ),
        o(
            "priority",
            S::Count(0, 7),
            "0 goes first; 1 when not written",
        ),
        o("fields", S::Tables(&TOPIC_FIELD), "packed payload"),
        o(
            "schema_id",
            S::Count(0, 255),
            "first byte of a packed payload: by which fields the rest is to be read",
        ),
        o(
            "sequence_bits",
            S::Count(1, 32),
            "bits of a number that counts the messages of a packed payload",
        ),
        o(
            "starts_bits",
            S::Count(1, 32),
            "bits of a number that counts the starts of the publisher of a packed payload",
        ),
        o(
            "crc",
            S::Flag,
            "a packed payload ends with a CRC-16, for a carrier without a check of its own; none when not written",
        ),
        o(
            "size",
            S::Amount(D::DataSize, between(1.0, 1.0e9, "from 1 B to 1 GB")),
            "payload size, instead of fields",
        ),
        o(
            "numbering",
            S::Amount(D::DataSize, between(0.0, 64.0, "from 0 B to 64 B")),
            "of a `size` that is delivered at least once or retained: bytes that the number of a message and the count of its publisher's starts add; they are within the size when not written",
        ),
        o(
            "delivery",
            S::Choice(&["at-most-once", "at-least-once"]),
            "whether a message that is not acknowledged is sent again; at-most-once when not written",
        ),
        o(
            "retry",
            S::Table(&RETRY),
            "of at-least-once: when and how often a message is sent again",
        ),
        o(
            "retained",
            S::Flag,
            "the publisher holds its last message for subscribers that come up or come back; it does not when not written",
        ),
        o(
            "keep",
            S::Table(&KEEP),
            "what cannot go for want of a way waits at its publisher; nothing waits when not written",
        ),
    ],
};

const RETRY: Section = Section {
    name: "a retry",
    doc: "Sending again what is not acknowledged.",
    part: None,
    fields: &[
        r(
            "after",
            S::Amount(D::Time, between(1e-6, 1.0e6, "from 1 us to 1e6 s")),
            "from a sending to the next",
        ),
        r(
            "at_most",
            S::Count(1, 1000),
            "most sendings after the first",
        ),
        r(
            "acknowledgement",
            S::Amount(D::DataSize, between(1.0, 65_535.0, "from 1 B to 65535 B")),
            "payload size of an acknowledgement",
        ),
        o(
            "remembers",
            S::Count(1, 65_536),
            "messages of a publisher that a receiver tells apart; 64 when not written",
        ),
    ],
};

const KEEP: Section = Section {
    name: "a keep",
    doc: "Waiting for a way.",
    part: None,
    fields: &[
        r(
            "messages",
            S::Count(1, 1_000_000),
            "most messages that wait for one subscriber; the oldest goes first",
        ),
        r(
            "longest",
            S::Amount(D::Time, POSITIVE),
            "age at which a message that waits is dropped",
        ),
    ],
};

pub(crate) const TOPIC_FIELD: Section = Section {
    name: "a field of a topic",
    doc: "A number on a grid (from, to, step), one of a list (values), a flag, or a time (time_bits, time_step, time_epoch).",
    part: None,
    fields: &[
        r("name", S::Text, "name"),
        o("unit", S::Text, "unit of a number"),
        o("from", S::Number(ANY), "lowest value"),
        o("to", S::Number(ANY), "highest value"),
        o("step", S::Number(POSITIVE), "step"),
        o("values", S::Texts, "the values of a list"),
        o("flag", S::Flag, "true for a yes-or-no field"),
        o("time_bits", S::Count(8, 64), "bits of a time stamp"),
        o(
            "time_step",
            S::Amount(D::Time, POSITIVE),
            "step of a time stamp",
        ),
        o(
            "time_epoch",
            S::Date,
            "instant from which a time stamp counts its steps; 1970-01-01 when not written",
        ),
    ],
};
