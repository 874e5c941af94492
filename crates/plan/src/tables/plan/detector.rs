//! Detectors and their stages.

use quantity::{Dimension as D, LevelKind as K, SECONDS_PER_DAY};

use super::bounds::{FREQUENCY, LEVEL};
use crate::field::{
    ANY, NOT_NEGATIVE, POSITIVE, POSITIVE_SHARE, RefKind as R, Section, Shape as S, between,
    optional as o, required as r,
};

pub(crate) const DETECTOR: Section = Section {
    name: "a detector",
    doc: "A named chain of stages from samples to events.",
    part: None,
    fields: &[
        r(
            "on",
            S::Reference(&[R::Sensor]),
            "the sensor it hears through",
        ),
        r(
            "stages",
            S::Tables(&STAGE),
            "stages in order; the last decides, or judges what was decided",
        ),
        o(
            "expects",
            S::EventRate,
            "events that it is expected to tell, false ones among them: what the year's energy rests on",
        ),
        o(
            "settable",
            S::Table(&SETTABLE),
            "what behaviours of its module may set its trigger to while it listens; nothing when not written",
        ),
    ],
};

const SETTABLE: Section = Section {
    name: "what is settable",
    doc: "The ranges within which behaviours may set a detector's trigger. The threshold moves `on_above` and `off_below` together.",
    part: None,
    fields: &[
        o(
            "lowest_threshold",
            S::Level(&[K::Gain, K::Pressure, K::Exposure, K::InAir], LEVEL),
            "lowest level that `on_above` may be set to",
        ),
        o(
            "highest_threshold",
            S::Level(&[K::Gain, K::Pressure, K::Exposure, K::InAir], LEVEL),
            "highest level that `on_above` may be set to",
        ),
        o(
            "shortest_hold_off",
            S::Amount(D::Time, NOT_NEGATIVE),
            "shortest time that `hold_off` may be set to",
        ),
        o(
            "longest_hold_off",
            S::Amount(D::Time, NOT_NEGATIVE),
            "longest time that `hold_off` may be set to",
        ),
    ],
};

/// Each stage has exactly one of the keys that `STAGES` lists, which says what it is.
pub(crate) const STAGE: Section = Section {
    name: "a stage",
    doc: "A stage of a detector; one key says what it is, the others belong to it.",
    part: None,
    fields: &[
        o(
            "decimate",
            S::Count(2, 4096),
            "lower the sample rate by this whole factor, ahead of the band; a band lowers it by itself where it can",
        ),
        o(
            "band",
            S::Amounts(D::Frequency, FREQUENCY, 2, 2),
            "band-pass: lower and upper corner",
        ),
        o(
            "order",
            S::Count(1, 8),
            "of the band: order of the low-pass prototype; 4 when not written",
        ),
        o(
            "level",
            S::Choice(&["rms", "exponential", "exposure", "teager-kaiser"]),
            "which level is followed",
        ),
        o(
            "matched",
            S::Text,
            "likeness to a recording by a matched filter: the file, under the plan's folder, at the rate of the sensor; the level of the filter's envelope is followed",
        ),
        o(
            "learned",
            S::Text,
            "what a learned model says of each window: the ONNX file, under the plan's folder; its odds are followed, in dB",
        ),
        o(
            "input",
            S::Choice(&["unit-rms", "pressure"]),
            "of the learned stage: what the model is given, each window divided by its own root mean square, or sound pressure over the `reference`",
        ),
        o(
            "reference",
            S::Level(&[K::Pressure, K::InAir], LEVEL),
            "of the learned stage: the level whose sound pressure the model is given as 1",
        ),
        o(
            "gives",
            S::Choice(&["probability", "log-odds"]),
            "of the learned stage: what the model gives, p or ln(p / (1 - p))",
        ),
        o(
            "spectrogram",
            S::Choice(&["hann"]),
            "spectra in time, with this window",
        ),
        o(
            "window",
            S::Amount(D::Time, between(1e-5, 3600.0, "from 10 us to 1 h")),
            "of the level, the learned stage or the spectrogram: window or time constant",
        ),
        o(
            "hop",
            S::Amount(D::Time, between(1e-6, 3600.0, "from 1 us to 1 h")),
            "of the level, the matched filter, the learned stage or the spectrogram: from one value to the next; when not written a quarter of the window, of the matched filter an eighth of its recording",
        ),
        o(
            "background",
            S::Choice(&["median", "ordered", "mean"]),
            "running background of the level, or after a spectrogram of each of its frequencies: median, another rank, or mean power",
        ),
        o(
            "over",
            S::Amount(D::Time, between(1e-3, SECONDS_PER_DAY, "from 1 ms to 1 d")),
            "of the background: over how long",
        ),
        o(
            "guard",
            S::Amount(D::Time, NOT_NEGATIVE),
            "of the background: the time just before the present that it leaves out; none when not written",
        ),
        o(
            "rank",
            S::Amount(D::Ratio, between(0.01, 0.99, "from 1 % to 99 %")),
            "of the `ordered` background: the share of its values that lie below it",
        ),
        o(
            "likeness",
            S::Tables(&CONTOUR),
            "likeness of the spectrogram to a contour: its points in time",
        ),
        o(
            "width",
            S::Amount(D::Frequency, FREQUENCY),
            "of the likeness: width of the contour",
        ),
        o(
            "likeness_to",
            S::Text,
            "likeness of the spectrogram to that of a recording: the file, under the plan's folder",
        ),
        o(
            "pulses",
            S::Choice(&["envelope"]),
            "train of pulses in the envelope",
        ),
        o(
            "rise",
            S::Level(&[K::Gain], between(0.1, 200.0, "from 0.1 dB to 200 dB")),
            "of the pulses: rise over the background",
        ),
        o(
            "least_interval",
            S::Amount(D::Time, POSITIVE),
            "of the pulses: shortest interval",
        ),
        o(
            "most_interval",
            S::Amount(D::Time, POSITIVE),
            "of the pulses: longest interval",
        ),
        o(
            "at_least",
            S::Count(1, 10_000),
            "of the pulses: how many make a train; of the trigger: how many of the last `of_last` values lie above",
        ),
        o(
            "steady",
            S::Amount(D::Ratio, POSITIVE_SHARE),
            "of the pulses: most by which an interval differs from the one before, as a share of it",
        ),
        o(
            "ridge",
            S::Choice(&["rising", "falling", "any"]),
            "a frequency that moves: which way",
        ),
        o(
            "above",
            S::Level(&[K::Gain], between(0.1, 200.0, "from 0.1 dB to 200 dB")),
            "of the ridge: its peaks over the background",
        ),
        o(
            "slope",
            S::Amounts(
                D::SweepRate,
                between(0.0, 1.0e9, "from 0 Hz/s to 1 GHz/s"),
                2,
                2,
            ),
            "of the ridge: slowest and fastest change of its frequency",
        ),
        o(
            "gap",
            S::Amount(D::Time, NOT_NEGATIVE),
            "of the ridge: longest time without a peak that it bridges; none when not written",
        ),
        o(
            "on_above",
            S::Level(&[K::Gain, K::Pressure, K::Exposure, K::InAir], LEVEL),
            "of the trigger: begins above",
        ),
        o(
            "off_below",
            S::Level(&[K::Gain, K::Pressure, K::Exposure, K::InAir], LEVEL),
            "of the trigger: ends below",
        ),
        o(
            "of_last",
            S::Count(1, 1000),
            "of the trigger: with `at_least`, among how many of the last values; of the pulses: of how many in a row `at_least` must be there, so that the others may be missed",
        ),
        o(
            "bridge",
            S::Amount(D::Time, NOT_NEGATIVE),
            "of the trigger: longest dip that does not end an event; none when not written",
        ),
        o(
            "shortest",
            S::Amount(D::Time, NOT_NEGATIVE),
            "of the trigger or the ridge: shortest event",
        ),
        o(
            "longest",
            S::Amount(D::Time, POSITIVE),
            "of the trigger or the ridge: longest event",
        ),
        o(
            "hold_off",
            S::Amount(D::Time, NOT_NEGATIVE),
            "of the trigger, the pulses or the ridge: quiet time after an event",
        ),
        o(
            "confirm",
            S::Choice(&["early", "at-end"]),
            "of the trigger: confirmed at the shortest length, or at the end once it is known not to be too long; early when not written",
        ),
        o(
            "likely",
            S::Amount(D::Ratio, between(0.001, 0.999, "from 0.1 % to 99.9 %")),
            "judgement of the finished event: least probability by a logistic model of its features",
        ),
        o(
            "constant",
            S::Number(ANY),
            "of the judgement: constant of the model",
        ),
        o(
            "weights",
            S::Table(&WEIGHTS),
            "of the judgement: weight of each feature",
        ),
    ],
};

const CONTOUR: Section = Section {
    name: "a point of a contour",
    doc: "Where the frequency of a call is, at a time after its begin; straight lines between.",
    part: None,
    fields: &[
        r(
            "after",
            S::Amount(D::Time, NOT_NEGATIVE),
            "time after its begin",
        ),
        r(
            "frequency",
            S::Amount(D::Frequency, FREQUENCY),
            "its frequency",
        ),
    ],
};

/// Weights by the names of the features, as `detect` calls them.
pub(crate) const WEIGHTS: Section = Section {
    name: "a set of weights",
    doc: "Weight of each feature of an event; a feature that is not named does not count.",
    part: None,
    fields: &[
        o("excess_db", S::Number(ANY), "for each dB of its score"),
        o("length_s", S::Number(ANY), "for each second of its length"),
        o(
            "peak_over_mean_db",
            S::Number(ANY),
            "for each dB of its highest level over its mean",
        ),
        o(
            "time_of_peak",
            S::Number(ANY),
            "for the place of its highest level: 0 at its begin, 1 at its end",
        ),
        o(
            "slope_hz_per_s",
            S::Number(ANY),
            "of a ridge: for each Hz/s of its slope",
        ),
        o(
            "low_hz",
            S::Number(ANY),
            "of a ridge: for each Hz of its lowest frequency",
        ),
        o(
            "high_hz",
            S::Number(ANY),
            "of a ridge: for each Hz of its highest frequency",
        ),
        o("pulses", S::Number(ANY), "of a train: for each pulse"),
        o(
            "interval_s",
            S::Number(ANY),
            "of a train: for each second of its mean interval",
        ),
        o(
            "interval_spread",
            S::Number(ANY),
            "of a train: for the standard deviation of its intervals over their mean",
        ),
    ],
};
