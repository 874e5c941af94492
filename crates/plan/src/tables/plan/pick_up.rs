//! What electronics put into the chain of a hydrophone, and what its converter keeps out.

use quantity::{Dimension as D, LevelKind as K};

use super::bounds::{FREQUENCY, LEVEL};
use crate::field::{
    POSITIVE, RefKind as R, Section, Shape as S, between, optional as o, required as r,
};

/// Highest harmonic that is asked for.
const MOST_HARMONICS: i64 = 99;

pub(crate) const PICK_UP: Section = Section {
    name: "a pick-up",
    doc: "What the electronics of a module put into the chain: lines of a switching converter (`frequency`, `harmonics`, `falls`), or ticks such as writes to a card (`every`, `lasts`, `band`). A probe at the input of the chain tells `level` or `voltage`; a recording with a dummy in place of the element (`soundline measure --dummy`) tells `shown`, behind all that the chain does to it.",
    part: None,
    fields: &[
        o(
            "from",
            S::Reference(&[R::Module]),
            "the module whose electronics make it; that of the sensor when not written",
        ),
        o(
            "in_states",
            S::Texts,
            "the states of that module in which it happens; all of them when not written",
        ),
        o(
            "level",
            S::Level(&[K::Pressure], LEVEL),
            "level at the input of the chain, ahead of its gain, its filters and its samples, as that of a sound at the hydrophone; of a converter that of its fundamental, of a tick that while it lasts",
        ),
        o(
            "voltage",
            S::Amount(D::Voltage, POSITIVE),
            "the same as an rms voltage at the input, in place of `level`",
        ),
        o(
            "shown",
            S::Level(&[K::Pressure], LEVEL),
            "in place of both: level of one line, or of a tick while it lasts, in the samples of a recording with a dummy element, where it is already folded and filtered",
        ),
        o(
            "shown_at",
            S::Amount(D::Frequency, FREQUENCY),
            "with `shown`, of a line: the frequency at which samples show it, at most half their rate; its spread is where it may lie",
        ),
        o(
            "frequency",
            S::Amount(D::Frequency, FREQUENCY),
            "of a converter: the frequency at which it switches; its spread is where it may lie",
        ),
        o(
            "harmonics",
            S::Count(1, MOST_HARMONICS),
            "of a converter: the highest harmonic that counts, 1 for the fundamental alone",
        ),
        o(
            "falls",
            S::Level(&[K::Gain], between(0.0, 40.0, "from 0 dB to 40 dB")),
            "of a converter: by how much its harmonics fall in an octave",
        ),
        o(
            "every",
            S::Amount(D::Time, POSITIVE),
            "of ticks: from one to the next",
        ),
        o(
            "lasts",
            S::Amount(D::Time, POSITIVE),
            "of ticks: how long each lasts",
        ),
        o(
            "band",
            S::Amounts(D::Frequency, FREQUENCY, 2, 2),
            "of ticks: the band over which their power is spread evenly",
        ),
    ],
};

pub(crate) const ANTI_ALIAS: Section = Section {
    name: "a low-pass ahead of a converter",
    doc: "Low-pass ahead of the converter, a Butterworth; it counts for what folds down (`pick_up`).",
    part: None,
    fields: &[
        r("corner", S::Amount(D::Frequency, FREQUENCY), "-3 dB corner"),
        r("poles", S::Count(1, 12), "poles"),
    ],
};

pub(crate) const OVERSAMPLING: Section = Section {
    name: "an oversampling",
    doc: "Of a converter that takes its samples faster than it tells them, and filters in between; it counts for what folds down (`pick_up`).",
    part: None,
    fields: &[
        r(
            "rate",
            S::Amount(D::Frequency, between(1.0, 1.0e9, "from 1 Hz to 1 GHz")),
            "rate at which it takes its samples, a whole multiple of `rate`",
        ),
        r(
            "stop_band",
            S::Level(&[K::Gain], between(0.0, 200.0, "from 0 dB to 200 dB")),
            "by how much its filter weakens what lies beyond half of `rate`; what lies within that of a multiple of the faster rate it cannot see",
        ),
    ],
};
