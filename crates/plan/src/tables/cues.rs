//! The fields of a cue sheet.

use quantity::{Dimension as D, LevelKind as K, SECONDS_PER_DAY};

use super::plan::{FREQUENCY, TURN, WAVES, WIND};
use crate::field::{
    Bounds, Field, NOT_NEGATIVE, POSITIVE, RefKind as R, Section, Shape as S, between, joined,
    optional as o, required as r,
};

pub(crate) const CUE_SHEET: Section = Section {
    name: "a cue sheet",
    doc: "Sounds, faults, inputs and expectations of a rehearsal, each with its time.",
    part: None,
    fields: &[
        r(
            "format",
            S::Count(1, 1),
            "version of the cue-sheet format: 1",
        ),
        r("rehearsal", S::Table(&REHEARSAL), "name, length and seed"),
        o("sound", S::Keyed(&SOUND), "sounds"),
        o("fault", S::Keyed(&FAULT), "what goes wrong"),
        o("input", S::Keyed(&INPUT), "messages from outside"),
        o("answer", S::Keyed(&ANSWER), "answers from outside"),
        o("expect", S::Keyed(&EXPECT), "what must be seen"),
    ],
};

const REHEARSAL: Section = Section {
    name: "a rehearsal",
    doc: "Name, length, seed and weather.",
    part: None,
    fields: &[
        r("name", S::Text, "name shown on every output"),
        o(
            "start",
            S::Date,
            "UTC instant of its beginning; the deployment's start when not written",
        ),
        r(
            "duration",
            S::Amount(
                D::Time,
                between(0.001, 366.0 * SECONDS_PER_DAY, "from 1 ms to 366 d"),
            ),
            "length",
        ),
        r("seed", S::Count(0, i64::MAX), "seed of every random draw"),
        r("wind", S::Amount(D::Speed, WIND), "wind speed"),
        o(
            "wave_height",
            S::Amount(D::Length, WAVES),
            "significant wave height, for an uplink whose success depends on it",
        ),
        o(
            "contacts",
            S::Choice(&["new", "aged"]),
            "state of the contacts; new when not written",
        ),
        o(
            "begins",
            S::Choice(&["working", "switched-on"]),
            "with every module at work, or with all supplies coming on at the first instant and every module still to boot; at work when not written",
        ),
    ],
};

const AFTER: S = S::Amount(D::Time, NOT_NEGATIVE);

pub(crate) const SOURCE_LEVEL: S =
    S::Level(&[K::Source], between(0.0, 300.0, "from 0 dB to 300 dB"));

pub(crate) const SOUND: Section = Section {
    name: "a sound",
    doc: "A sound at a place that may move.",
    part: None,
    fields: &joined::<20>(OF_A_SOUND, SHAPE),
};

const OF_A_SOUND: &[Field] = &[
    r("at", AFTER, "when it begins at its source"),
    r(
        "kind",
        S::Choice(&[
            "upsweep",
            "tone",
            "pulse-train",
            "click-train",
            "hum",
            "recording",
        ]),
        "what it is",
    ),
    r(
        "source_level",
        SOURCE_LEVEL,
        "rms level at 1 m while it sounds",
    ),
    r(
        "track",
        S::Tables(&TRACK),
        "where the source is; one point is a source that stays",
    ),
    o("repeats", S::Table(&REPEATS), "how often it is heard"),
    o(
        "low",
        S::Amount(D::Frequency, FREQUENCY),
        "of a hum: lower edge",
    ),
    o(
        "high",
        S::Amount(D::Frequency, FREQUENCY),
        "of a hum: upper edge",
    ),
    o(
        "blade_rate",
        S::Amount(D::Frequency, FREQUENCY),
        "of a hum: blade rate",
    ),
    o(
        "channel",
        S::Count(1, 65_535),
        "of a recording: number of its channel, counted from 1; needed when it has several",
    ),
];

/// What a sound is, key by key: for the sounds of a cue sheet and the calls of a plan.
pub(crate) const SHAPE: &[Field] = &[
    o(
        "length",
        S::Amount(D::Time, POSITIVE),
        "of an upsweep, tone or hum",
    ),
    o(
        "from",
        S::Amount(D::Frequency, FREQUENCY),
        "of an upsweep: first frequency",
    ),
    o(
        "to",
        S::Amount(D::Frequency, FREQUENCY),
        "of an upsweep: last frequency",
    ),
    o(
        "frequency",
        S::Amount(D::Frequency, FREQUENCY),
        "of a tone or pulse",
    ),
    o(
        "pulse",
        S::Amount(D::Time, POSITIVE),
        "of a pulse train: length of a pulse",
    ),
    o(
        "interval",
        S::Amount(D::Time, POSITIVE),
        "of a pulse or click train: from one to the next",
    ),
    o("pulses", S::Count(1, 100_000), "of a pulse train: how many"),
    o(
        "centre",
        S::Amount(D::Frequency, FREQUENCY),
        "of a click train: centre frequency",
    ),
    o(
        "click",
        S::Amount(D::Time, POSITIVE),
        "of a click train: length of a click",
    ),
    o("clicks", S::Count(1, 100_000), "of a click train: how many"),
    o(
        "file",
        S::Text,
        "of a recording: the file, relative to the folder of the file that names it",
    ),
];

const TRACK: Section = Section {
    name: "a point of a track",
    doc: "Where a source is; it moves in straight lines between points.",
    part: None,
    fields: &[
        o(
            "after",
            AFTER,
            "time since the sound's beginning; 0 s when not written",
        ),
        r(
            "range",
            S::Amount(D::Length, between(0.0, 1.0e6, "from 0 m to 1000 km")),
            "horizontal range from the line",
        ),
        o(
            "bearing",
            S::Amount(D::Angle, TURN),
            "from north; 0 deg when not written",
        ),
        r(
            "depth",
            S::Amount(D::Length, between(0.0, 11_000.0, "from 0 m to 11 km")),
            "depth",
        ),
    ],
};

const REPEATS: Section = Section {
    name: "repeats",
    doc: "How often a sound is heard.",
    part: None,
    fields: &[
        r(
            "every",
            S::Amount(D::Time, POSITIVE),
            "from beginning to beginning",
        ),
        r("times", S::Count(1, 100_000), "how often in all"),
    ],
};

pub(crate) const FAULT: Section = Section {
    name: "a fault",
    doc: "Something that goes wrong, and perhaps right again.",
    part: None,
    fields: &[
        r("at", AFTER, "when it begins"),
        o("until", AFTER, "when it is over; never when not written"),
        r(
            "kind",
            S::Choice(&[
                "cut",
                "intermittent",
                "bad-contact",
                "unplugged",
                "hang",
                "dead",
                "restart",
                "reboot-loop",
                "no-uplink",
                "storage-full",
                "no-supply",
                "brown-out",
                "swapped",
                "drained",
                "flood",
                "bit-errors",
                "clock-step",
                "deaf",
            ]),
            "what goes wrong",
        ),
        r(
            "of",
            S::Reference(&[
                R::Span,
                R::Module,
                R::Uplink,
                R::Storage,
                R::Supply,
                R::Sensor,
            ]),
            "what it happens to; `deaf` to a hydrophone whose module works on: its detectors hear nothing",
        ),
        o(
            "down",
            S::Amount(D::Time, LASTING),
            "of `intermittent`: how long it is open each time; it begins open",
        ),
        o(
            "up",
            S::Amount(D::Time, LASTING),
            "of `intermittent`: how long it is whole each time",
        ),
        o(
            "lengths",
            S::Choice(&["fixed", "exponential"]),
            "of `intermittent`: each time just as long, or drawn with that mean from an exponential law",
        ),
        o(
            "resistance",
            S::Amount(D::Resistance, NOT_NEGATIVE),
            "of `bad-contact`: added to the loop of the span; of `swapped`: the source resistance",
        ),
        o(
            "leaves",
            S::Choice(&["gap", "joined"]),
            "of `unplugged`: every span that ends at the module is open at it, or the line goes on past its place as its `passes` says",
        ),
        o(
            "by",
            S::Choice(&["power", "watchdog"]),
            "of `restart`: its power is taken and given back, or its program boots at once",
        ),
        o(
            "after",
            S::Amount(D::Time, LASTING),
            "of `reboot-loop`: how long the module works each time before it restarts",
        ),
        o(
            "voltage",
            S::Amount(D::Voltage, NOT_NEGATIVE),
            "of `brown-out` and `swapped`: the open-circuit voltage",
        ),
        o(
            "current_limit",
            S::Amount(D::Current, POSITIVE),
            "of `swapped`: the current limit; none when not written",
        ),
        o(
            "with",
            S::Reference(&[R::Supply]),
            "of `swapped`: another supply of the plan, whose output it then has",
        ),
        o(
            "energy",
            S::Amount(D::Energy, NOT_NEGATIVE),
            "of `drained`: what the supply can still give to the line",
        ),
        o("topic", S::Topic, "of `flood`: what the module publishes"),
        o(
            "every",
            S::Amount(D::Time, between(1.0e-6, 1.0e6, "from 1 us to 11 d")),
            "of `flood`: from message to message",
        ),
        o(
            "limited",
            S::Flag,
            "of `flood`: whether the topic's `at_most` still holds at the broken module",
        ),
        o(
            "rate",
            S::Number(between(0.0, 0.5, "from 0 to 0.5")),
            "of `bit-errors`: share of bits that arrive wrong on the span, or on the whole bus that it is a piece of",
        ),
        o(
            "step",
            S::Amount(D::Time, between(-86_400.0, 86_400.0, "from -24 h to 24 h")),
            "of `clock-step`: by how much the module's clock jumps ahead, or back",
        ),
    ],
};

/// How long something lasts each time: more often than each millisecond it cannot come and go.
const LASTING: Bounds = between(1.0e-3, 1.0e7, "from 1 ms to 115 d");

const INPUT: Section = Section {
    name: "an input",
    doc: "A message that arrives as if a module had published it.",
    part: None,
    fields: &[
        r("at", AFTER, "when"),
        r(
            "module",
            S::Reference(&[R::Module]),
            "the module that seems to publish it",
        ),
        r("publish", S::Topic, "the topic"),
        o(
            "values",
            S::Content,
            "what the fields of the topic hold: constants, or `now`",
        ),
    ],
};

const ANSWER: Section = Section {
    name: "an answer",
    doc: "An answer that arrives as if the module that was asked had given it.",
    part: None,
    fields: &[
        r("at", AFTER, "when"),
        r(
            "request",
            S::Reference(&[R::Request]),
            "the request that it answers, whose module seems to answer",
        ),
        o(
            "ask",
            S::Count(0, i64::MAX),
            "which question, by its number in the trace; the oldest of the request that has reached its module and still waits when not written",
        ),
        o(
            "values",
            S::Content,
            "what the fields of the answer hold: constants, or `now`",
        ),
    ],
};

/// What an expectation may look for.
const SEEN: &[&str] = &[
    "notice",
    "voted",
    "switched",
    "stays",
    "fail-safe",
    "delivered",
    "sent",
    "lost",
    "late",
    "packets-delivered",
    "packets-lost",
    "packets-late",
    "recovered",
    "stopped",
    "voltage",
    "down",
];

pub(crate) const EXPECT: Section = Section {
    name: "an expectation",
    doc: "What must be seen.",
    part: None,
    fields: &[
        r("that", S::Choice(SEEN), "what to look for"),
        o(
            "of",
            S::Reference(&[
                R::Notice,
                R::Vote,
                R::Output,
                R::Uplink,
                R::Module,
                R::Behaviour,
                R::Stream,
            ]),
            "whose: a detector's notice, a vote, an output, an uplink, a module, a routine, a stream",
        ),
        o("to", S::Choice(&["on", "off"]), "of `switched` and `stays`"),
        o(
            "topic",
            S::Topic,
            "of `delivered`, `lost`, `late` and `recovered`",
        ),
        o(
            "at",
            S::Reference(&[R::Module]),
            "of `delivered`, `late` and `recovered`: the module it reaches",
        ),
        o(
            "beyond",
            S::Amount(D::Time, POSITIVE),
            "of `late` and `packets-late`: from publication to delivery; the bound of `check` when not written",
        ),
        o(
            "after",
            S::Reference(&[R::Sound, R::Fault]),
            "look from when this sound first reaches the hydrophone, or from when this fault is over",
        ),
        o(
            "within",
            S::Amount(D::Time, POSITIVE),
            "of `after`: for how long",
        ),
        o(
            "from",
            AFTER,
            "look from this time; the beginning when not written",
        ),
        o(
            "until",
            AFTER,
            "look until this time; the end when not written",
        ),
        o("at_least", S::Limit, "lower limit: a count, or a voltage"),
        o("at_most", S::Limit, "upper limit: a count, or a voltage"),
    ],
};
