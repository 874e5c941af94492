//! Streams, and time along the line.

use quantity::Dimension as D;

use crate::field::{
    POSITIVE, PPM, RefKind as R, Section, Shape as S, between, optional as o, required as r,
};

pub(crate) const STREAM: Section = Section {
    name: "a stream",
    doc: "Video or raw sound, as packets of one size at a steady rate from one module to another, admitted where the links have room for it.",
    part: None,
    fields: &[
        r(
            "from",
            S::Reference(&[R::Module, R::Sensor]),
            "the module that sends it, or the sensor of a module whose samples it carries: a store at its other end may record these",
        ),
        r("to", S::Reference(&[R::Module]), "the module that gets it"),
        r(
            "rate",
            S::Amount(D::DataRate, between(1.0, 1.0e10, "from 1 b/s to 10 Gb/s")),
            "rate of its contents, without headers",
        ),
        r(
            "packet",
            S::Amount(D::DataSize, between(1.0, 1.0e6, "from 1 B to 1 MB")),
            "contents of one packet",
        ),
        o(
            "burst",
            S::Count(1, 65_535),
            "most packets that it sends at once; 1 when not written",
        ),
        r("priority", S::Count(0, 7), "0 goes first"),
        o(
            "within",
            S::Amount(D::Time, between(1e-6, 3600.0, "from 1 us to 1 h")),
            "longest time of a packet on its way, without which it is of no use",
        ),
        o(
            "in_state",
            S::Text,
            "the state of the sending module in which it runs, one of its loads; whenever the module works when not written",
        ),
    ],
};

pub(crate) const TIME_SYNC: Section = Section {
    name: "the time along the line",
    doc: "Modules ask the master what time it is, and set their clocks by a two-way exchange.",
    part: None,
    fields: &[
        r(
            "master",
            S::Reference(&[R::Module]),
            "the module whose time is the line's",
        ),
        r(
            "every",
            S::Amount(D::Time, between(0.01, 86_400.0, "from 10 ms to 24 h")),
            "from one exchange of a module to its next",
        ),
        r(
            "timestamps",
            S::Choice(&["software", "wire"]),
            "where times are taken: in the program, or at the wire, with each module on the way telling how long it held the frame",
        ),
        r(
            "jitter",
            S::Amount(D::Time, between(0.0, 1.0, "from 0 s to 1 s")),
            "how far such a time may lie from its instant",
        ),
        r(
            "size",
            S::Amount(D::DataSize, between(1.0, 1400.0, "from 1 B to 1400 B")),
            "of a request, and of an answer",
        ),
        r(
            "priority",
            S::Count(0, 7),
            "of requests and answers; 0 goes first",
        ),
    ],
};

pub(crate) const CLOCK: Section = Section {
    name: "a clock",
    doc: "How a module's own clock runs.",
    part: None,
    fields: &[
        r(
            "drift",
            S::Amount(D::Ratio, PPM),
            "by how much it runs too fast or too slow at most",
        ),
        o(
            "temperature_step",
            S::Amount(D::Ratio, PPM),
            "what the change of temperature on the way into the water adds to that; nothing when not written",
        ),
        o(
            "holds",
            S::Amount(D::Time, POSITIVE),
            "how long its time is good enough after the last time that it was set",
        ),
    ],
};
