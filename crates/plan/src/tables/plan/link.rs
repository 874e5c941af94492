//! Links: what a span and a shared bus say of how data crosses them.

use quantity::Dimension as D;

use crate::field::{
    Field, NOT_NEGATIVE, POSITIVE, RefKind as R, Scale, Section, Shape as S, between, joined,
    optional as o, required as r,
};

pub(crate) const BUS: Section = Section {
    name: "a bus",
    doc: "A link that several spans and all modules at their ends share. Its length is that of the longest way along its spans.",
    part: None,
    fields: &joined::<8>(&[r("link", S::Choice(LINKS), "how data crosses it")], RATE),
};

/// What a span says of its link, when it has one of its own.
pub(crate) const OF_A_SPAN: &[Field] = &joined::<9>(
    &[
        o(
            "link",
            S::Choice(LINKS),
            "how data crosses it; a span without one and without a bus carries no data",
        ),
        o(
            "bus",
            S::Reference(&[R::Bus]),
            "the bus that it is a piece of, instead of a link of its own",
        ),
    ],
    RATE,
);

/// Kinds of links, by their open standard or class.
pub const LINKS: &[&str] = &[
    "10BASE-T1L",
    "10BASE-T1S",
    "100BASE-T1",
    "100BASE-TX",
    "TIA-485",
    "TIA-232",
    "CAN 2.0",
    "CAN FD",
    "SDI-12",
    "inductive",
    "acoustic",
    "line-of-sight",
    "free",
];

const RATE: &[Field] = &[
    o(
        "link_rate",
        S::Amount(D::DataRate, between(1.0, 1.0e11, "from 1 b/s to 100 Gb/s")),
        "rate, where the standard leaves it open",
    ),
    o(
        "link_longest",
        S::Amount(D::Length, POSITIVE),
        "longest length at that rate by its maker, where no standard says it",
    ),
    o(
        "bit_error_rate",
        S::Figure(Scale::Share, between(0.0, 0.01, "from 0 to 0.01")),
        "share of bits that arrive wrong, each by itself; none when not written. On CAN a frame that is hit is sent again",
    ),
    o(
        "errors_apart",
        S::Amount(D::Time, POSITIVE),
        "of CAN: least time between two bit errors that is assumed of it; bounds of delay count what such errors cost. With a `bit_error_rate` and without this nothing has a bound",
    ),
    o(
        "antennas",
        S::Amounts(
            D::Length,
            between(0.05, 1000.0, "from 5 cm to 1000 m"),
            2,
            2,
        ),
        "of a radio in line of sight: heights of its antennas above the still water, first at `from`, then at `to`",
    ),
    o("frame", S::Table(&FRAME), "how a frame lies on it"),
    o(
        "polled_by",
        S::Reference(&[R::Module]),
        "the module that asks the others in turn, where stations speak only when asked",
    ),
];

const FRAME: Section = Section {
    name: "a frame",
    doc: "How a frame lies on a link that is not Ethernet. TIA-485 needs `header`, `characters` and `turnaround`; TIA-232 `header` and `characters`; CAN 2.0 `header` and `ids`; \
          CAN FD also `data_rate`; a modem `header`, `preamble` and `turnaround`; a radio in line of sight and a free link `header`, or no frame at all where the stack of [traffic] counts. `packet` may stand on TIA-485, SDI-12, a modem and a free link. SDI-12 may have a `header`: \
          characters beside address, return and line feed.",
    part: None,
    fields: &[
        o(
            "header",
            S::Amount(D::DataSize, between(0.0, 1024.0, "from 0 B to 1024 B")),
            "bytes that its protocol adds to each frame: addresses, counts, checks",
        ),
        o(
            "packet",
            S::Amount(D::DataSize, between(1.0, 65_535.0, "from 1 B to 65535 B")),
            "largest piece of a message in one frame, where the frames of the link have no size of their own (not on Ethernet, TIA-232 and CAN); that of [traffic] when not written",
        ),
        o(
            "characters",
            S::Choice(&["8N1", "8N2", "8E1", "8O1", "7E1", "7O1"]),
            "data bits, parity and stop bits of a character",
        ),
        o(
            "ids",
            S::Choice(&["11 bit", "29 bit"]),
            "length of the identifiers of CAN",
        ),
        o(
            "data_rate",
            S::Amount(D::DataRate, between(1.0e6, 8.0e6, "from 1 Mb/s to 8 Mb/s")),
            "rate of the data of CAN FD",
        ),
        o(
            "preamble",
            S::Amount(D::Time, NOT_NEGATIVE),
            "time before each frame of a modem",
        ),
        o(
            "turnaround",
            S::Amount(D::Time, NOT_NEGATIVE),
            "longest silence before an answer, and before the next request",
        ),
    ],
};
