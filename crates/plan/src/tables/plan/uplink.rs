//! Uplinks.

use quantity::Dimension as D;

use super::bounds::{WAVES, WIND};
use crate::field::{
    NOT_NEGATIVE, POSITIVE, POSITIVE_SHARE, RefKind as R, SHARE, Section, Shape as S, between,
    optional as o, required as r,
};

pub(crate) const UPLINK: Section = Section {
    name: "an uplink",
    doc: "A paid link ashore.",
    part: None,
    fields: &[
        r(
            "at",
            S::Reference(&[R::Module]),
            "the module at which it sits",
        ),
        r(
            "message_size",
            S::Amount(D::DataSize, between(1.0, 1.0e6, "from 1 B to 1 MB")),
            "size of one billed message",
        ),
        r("price", S::Money, "price of one billed message"),
        r(
            "session",
            S::Amount(D::Time, POSITIVE),
            "time of one attempt",
        ),
        o(
            "windows",
            S::Table(&WINDOWS),
            "when it can be reached; always when not written",
        ),
        o(
            "success",
            S::Amount(D::Ratio, POSITIVE_SHARE),
            "chance that an attempt succeeds",
        ),
        o(
            "success_by",
            S::Tables(&SEA_STATE),
            "the same by the state of the sea, instead of `success`: each row up to its wind or its wave height",
        ),
        o(
            "sea",
            S::Table(&SEA),
            "its chance of success in a calm and in a high sea that last for hours, instead of `success`",
        ),
        o(
            "registers",
            S::Table(&REGISTERS),
            "how it is let into its network before it sends; it is told as assumed that it needs no time for that when not written",
        ),
        o(
            "fix",
            S::Table(&FIX),
            "position fixes that its module takes; none is counted when not written",
        ),
        o(
            "off_below",
            S::Amount(D::Ratio, SHARE),
            "usable charge of the battery of its supply below which it is switched off; never when not written",
        ),
        o(
            "back_off",
            S::Amount(D::Time, NOT_NEGATIVE),
            "wait after a failed attempt",
        ),
        o(
            "back_off_grows",
            S::Count(2, 100),
            "factor by which the wait grows at each further failure in a row; it does not when not written",
        ),
        o(
            "back_off_longest",
            S::Amount(D::Time, POSITIVE),
            "longest wait that it grows to",
        ),
        o(
            "expiry",
            S::Amount(D::Time, POSITIVE),
            "age at which a message is given up",
        ),
        o(
            "overhead",
            S::Amount(D::DataSize, between(1.0, 1.0e6, "from 1 B to 1 MB")),
            "bytes of each billed message that carry nothing of the line: header, position, time; none when not written",
        ),
        o(
            "adds",
            S::Amount(D::DataSize, between(1.0, 1.0e6, "from 1 B to 1 MB")),
            "bytes added to each message of the line: position, time; none when not written",
        ),
        o(
            "pack_within",
            S::Amount(D::Time, NOT_NEGATIVE),
            "how long a message waits for others to share one billed message; each goes by itself when not written",
        ),
        o(
            "urgent",
            S::Count(0, 7),
            "topics of this priority or a lower number are urgent: they do not wait for others, and go on at the cap where `at_cap` says so; none when not written",
        ),
        o(
            "room",
            S::Count(1, 1_000_000),
            "messages that may wait; as many as there are when not written",
        ),
        o(
            "gives_up",
            S::Choice(&["oldest", "newest"]),
            "which of those of the least urgent priority is dropped when one too many waits",
        ),
        o(
            "included",
            S::Count(0, 1_000_000_000),
            "billed messages a month that cost nothing; none when not written",
        ),
        o(
            "minimum_charge",
            S::Money,
            "least that a month costs; nothing when not written",
        ),
        o(
            "failed_attempts",
            S::Choice(&["billed", "free"]),
            "whether attempts that fail are billed like those that succeed; they are told as free when not written",
        ),
        o(
            "cap",
            S::Money,
            "most that a month may cost; no limit when not written",
        ),
        o(
            "at_cap",
            S::Choice(&["stop", "urgent-only"]),
            "what happens at the cap: nothing goes until the next month, or only urgent messages do, above the cap",
        ),
        o(
            "checked",
            S::Flag,
            "the service finds damaged messages by itself; it does not when not written",
        ),
        o(
            "sending_state",
            S::Text,
            "state of the module while sending",
        ),
    ],
};

const SEA: Section = Section {
    name: "calm and high seas",
    doc: "Calm and high seas follow each other and last: attempts of one spell succeed or fail together.",
    part: None,
    fields: &[
        o(
            "wind",
            S::Amount(D::Speed, WIND),
            "the sea is high in more wind than this",
        ),
        o(
            "wave_height",
            S::Amount(D::Length, WAVES),
            "the sea is high above this significant wave height",
        ),
        r(
            "calm",
            S::Amount(D::Ratio, POSITIVE_SHARE),
            "chance that an attempt succeeds in a calm sea",
        ),
        r(
            "high",
            S::Amount(D::Ratio, SHARE),
            "chance that an attempt succeeds in a high sea",
        ),
        o(
            "high_lasts",
            S::Amount(D::Time, POSITIVE),
            "how long a spell of high sea lasts on average; as the wind of the hours holds on when not written",
        ),
    ],
};

const REGISTERS: Section = Section {
    name: "registration",
    doc: "How an uplink is let into its network: its time, and when it needs it.",
    part: None,
    fields: &[
        r("takes", S::Amount(D::Time, POSITIVE), "how long it takes"),
        r(
            "when",
            S::Choice(&["each-attempt", "power-on"]),
            "before each attempt, or once when its module has power again",
        ),
        o(
            "state",
            S::Text,
            "state of the module meanwhile; its `sending_state` when not written",
        ),
    ],
};

const FIX: Section = Section {
    name: "position fixes",
    doc: "How often a position is taken, and how long that takes.",
    part: None,
    fields: &[
        r("takes", S::Amount(D::Time, POSITIVE), "how long one takes"),
        r(
            "every",
            S::Amount(D::Time, POSITIVE),
            "from one to the next",
        ),
        o(
            "state",
            S::Text,
            "state of the module meanwhile; its `sending_state` when not written",
        ),
    ],
};

const SEA_STATE: Section = Section {
    name: "a state of the sea",
    doc: "A chance of success, up to a wind or up to a significant wave height.",
    part: None,
    fields: &[
        o("wind", S::Amount(D::Speed, WIND), "up to this wind"),
        o(
            "wave_height",
            S::Amount(D::Length, WAVES),
            "up to this significant wave height",
        ),
        r(
            "success",
            S::Amount(D::Ratio, POSITIVE_SHARE),
            "chance that an attempt succeeds",
        ),
    ],
};

const WINDOWS: Section = Section {
    name: "windows",
    doc: "When an uplink can be reached, counted from the start of the deployment.",
    part: None,
    fields: &[
        r(
            "first",
            S::Amount(D::Time, NOT_NEGATIVE),
            "start of the first",
        ),
        r(
            "period",
            S::Amount(D::Time, POSITIVE),
            "from start to start",
        ),
        r("width", S::Amount(D::Time, POSITIVE), "how long each lasts"),
    ],
};
