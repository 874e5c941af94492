//! What may be wrong with the description of a detector, or with the samples it is given.

use alloc::string::String;

use signal::{FilterError, StreamError};
use thiserror::Error;

/// A detector that cannot be. `stage` counts from 0, and from 1 in messages.
#[derive(Clone, Debug, PartialEq, Error)]
#[expect(
    missing_docs,
    reason = "the message of each variant explains its fields"
)]
pub enum SpecError {
    #[error("sample rate is {rate_hz} Hz, it must be finite and greater than zero")]
    Rate { rate_hz: f64 },
    #[error("detector has no stages; the least is a level stage and a trigger")]
    Empty,
    #[error("detector decides nothing: it needs a trigger, pulses or ridge stage at its end")]
    NoDecision,
    #[error("stage {n} ({found}) is out of place: {right}", n = .stage + 1)]
    Misplaced {
        stage: usize,
        found: &'static str,
        right: &'static str,
    },
    #[error("stage {n}: {name} is {value} {unit}, it must be finite and greater than zero", n = .stage + 1)]
    NotPositive {
        stage: usize,
        name: &'static str,
        value: f64,
        unit: &'static str,
    },
    #[error("stage {n}: {name} is {value}, it must be finite", n = .stage + 1)]
    NotFinite {
        stage: usize,
        name: &'static str,
        value: f64,
    },
    #[error("stage {n}: {name} is {value_s} s, it must be zero or more", n = .stage + 1)]
    Negative {
        stage: usize,
        name: &'static str,
        value_s: f64,
    },
    #[error(
        "stage {n}: {name} is {value_s} s, more than the {most_s} s that a detector can span", n = .stage + 1
    )]
    TimeTooLong {
        stage: usize,
        name: &'static str,
        value_s: f64,
        most_s: f64,
    },
    #[error(
        "stage {n}: band from {low_hz} Hz to {high_hz} Hz is empty, the lower corner must come first", n = .stage + 1
    )]
    BandEmpty {
        stage: usize,
        low_hz: f64,
        high_hz: f64,
    },
    #[error(
        "stage {n}: band reaches {high_hz} Hz, it must stay below half the sample rate, {nyquist_hz} Hz", n = .stage + 1
    )]
    BandAboveNyquist {
        stage: usize,
        high_hz: f64,
        nyquist_hz: f64,
    },
    #[error(
        "stage {n}: band reaches {high_hz} Hz, the decimate stage before it passes no more than {pass_hz} Hz", n = .stage + 1
    )]
    BandAbovePass {
        stage: usize,
        high_hz: f64,
        pass_hz: f64,
    },
    #[error("stage {n}: band-pass of order {order}, it must be 1 to {highest}", n = .stage + 1)]
    BandOrder {
        stage: usize,
        order: usize,
        highest: usize,
    },
    #[error("stage {n} cannot be built: {source}", n = .stage + 1)]
    Filter { stage: usize, source: FilterError },
    #[error(
        "stage {n}: window of {window_s} s is shorter than a sample of the band, {least_s} s", n = .stage + 1
    )]
    WindowTooShort {
        stage: usize,
        window_s: f64,
        least_s: f64,
    },
    #[error("stage {n}: hop of {hop_s} s is shorter than a sample of the band, {least_s} s", n = .stage + 1)]
    HopTooShort {
        stage: usize,
        hop_s: f64,
        least_s: f64,
    },
    #[error(
        "stage {n}: hop of {hop_s} s is longer than the window, {window_s} s: samples between would go unheard", n = .stage + 1
    )]
    HopTooLong {
        stage: usize,
        hop_s: f64,
        window_s: f64,
    },
    #[error(
        "stage {n}: background over {over_s} s, it must run over at least {least_s} s (twice the shortest sound, three cells beyond the guard)", n = .stage + 1
    )]
    BackgroundTooShort {
        stage: usize,
        over_s: f64,
        least_s: f64,
    },
    #[error(
        "stage {n}: background over {cells} cells, more than the {most} it may hold; lengthen the hop", n = .stage + 1
    )]
    BackgroundTooLong {
        stage: usize,
        cells: usize,
        most: usize,
    },
    #[error(
        "stage {n}: off-below is {off_below_db} dB, it must not lie above on-above, {on_above_db} dB", n = .stage + 1
    )]
    OffAboveOn {
        stage: usize,
        off_below_db: f64,
        on_above_db: f64,
    },
    #[error("stage {n}: longest is {longest_s} s, less than shortest, {shortest_s} s", n = .stage + 1)]
    LongestBelowShortest {
        stage: usize,
        longest_s: f64,
        shortest_s: f64,
    },
    #[error(
        "stage {n}: min-interval of {min_interval_s} s must be less than max-interval, {max_interval_s} s", n = .stage + 1
    )]
    IntervalsCrossed {
        stage: usize,
        min_interval_s: f64,
        max_interval_s: f64,
    },
    #[error("stage {n}: at-least is {at_least} pulses, it must be 2 to {most}", n = .stage + 1)]
    PulseCount {
        stage: usize,
        at_least: u32,
        most: u32,
    },
    #[error("stage {n}: {at_least} of {of_last} pulses, it must be of {at_least} to {most}", n = .stage + 1)]
    PulsesOf {
        stage: usize,
        at_least: u32,
        of_last: u32,
        most: u32,
    },
    #[error("stage {n}: steady intervals and pulses that may be missed (of {of_last}) do not go together", n = .stage + 1)]
    SteadyWithMissed { stage: usize, of_last: u32 },
    #[error(
        "stage {n}: within is {within_s} s, so many pulses need at least {least_s} s at the shortest interval", n = .stage + 1
    )]
    WithinTooShort {
        stage: usize,
        within_s: f64,
        least_s: f64,
    },
    #[error("stage {n}: steady is {steady}, it must be a share from 0 to 1", n = .stage + 1)]
    Steady { stage: usize, steady: f64 },
    #[error(
        "stage {n}: steady intervals need at-least of 3 pulses or more (two intervals), not {at_least}", n = .stage + 1
    )]
    SteadyOfTwo { stage: usize, at_least: u32 },
    #[error(
        "stage {n}: begins with {at_least} of the last {of_last} cells, it must be 1 or more of at most {most}", n = .stage + 1
    )]
    CellCount {
        stage: usize,
        at_least: u32,
        of_last: u32,
        most: u32,
    },
    #[error("stage {n}: rank is {rank}, it must be a share of more than 0 and at most 1", n = .stage + 1)]
    Rank { stage: usize, rank: f64 },
    #[error("stage {n}: sample {at} of the template is not finite", n = .stage + 1)]
    TemplateNotFinite { stage: usize, at: usize },
    #[error("stage {n}: the template is silent, all of its {samples} samples are zero", n = .stage + 1)]
    TemplateSilent { stage: usize, samples: usize },
    #[error(
        "stage {n}: the band passes only {passed_db:.1} dB of the template's energy: template and band do not belong together", n = .stage + 1
    )]
    TemplateOutsideBand { stage: usize, passed_db: f64 },
    #[error(
        "stage {n}: the template is {samples} samples long at the {rate_hz} Hz at which it is matched, more than {most}; put a decimate or a band stage before it, or cut the template", n = .stage + 1
    )]
    TemplateTooLong {
        stage: usize,
        samples: usize,
        rate_hz: f64,
        most: usize,
    },
    #[error(
        "stage {n}: the times of a contour must begin at 0 s and rise, and it needs two points or more", n = .stage + 1
    )]
    ContourTimes { stage: usize },
    #[error(
        "stage {n}: the contour passes {frequency_hz} Hz, outside the band of {low_hz} Hz to {high_hz} Hz", n = .stage + 1
    )]
    ContourOutsideBand {
        stage: usize,
        frequency_hz: f64,
        low_hz: f64,
        high_hz: f64,
    },
    #[error(
        "stage {n}: the contour is {width_hz} Hz wide, narrower than the {bin_hz} Hz from one cell to the next; widen it or lengthen the window", n = .stage + 1
    )]
    ContourTooNarrow {
        stage: usize,
        width_hz: f64,
        bin_hz: f64,
    },
    #[error(
        "stage {n}: the contour passes {frequency_hz} Hz, where no cell lies within half its width (cells are {bin_hz} Hz apart); keep it inside the band", n = .stage + 1
    )]
    ContourOffCells {
        stage: usize,
        frequency_hz: f64,
        bin_hz: f64,
    },
    #[error(
        "stage {n}: a contour {width_hz} Hz wide fills the band and leaves no cell beside it to compare with; widen the band", n = .stage + 1
    )]
    ContourWithoutFlanks { stage: usize, width_hz: f64 },
    #[error(
        "stage {n}: the template has {samples} samples, fewer than the {least} of a window", n = .stage + 1
    )]
    TemplateTooShort {
        stage: usize,
        samples: usize,
        least: u64,
    },
    #[error(
        "stage {n}: a template of {cells} cells, more than {most}; cut it, narrow the band or lengthen the hop", n = .stage + 1
    )]
    TemplateTooLarge {
        stage: usize,
        cells: usize,
        most: usize,
    },
    #[error(
        "stage {n}: the template is equally loud in every cell: there is nothing to compare with", n = .stage + 1
    )]
    TemplateFlat { stage: usize },
    #[error("stage {n}: the model cannot be run: {why}", n = .stage + 1)]
    Model { stage: usize, why: String },
    #[error(
        "stage {n}: the window holds {samples} samples, more than {most}; put a decimate or a band stage before it", n = .stage + 1
    )]
    ModelWindow {
        stage: usize,
        samples: u64,
        most: u64,
    },
    #[error("stage {n}: no frames can be made: {source}", n = .stage + 1)]
    Frames {
        stage: usize,
        source: signal::SpectrumError,
    },
    #[error(
        "stage {n}: window of {window_s} s holds fewer than 8 samples of the band, it must be {least_s} s or more", n = .stage + 1
    )]
    WindowTooFew {
        stage: usize,
        window_s: f64,
        least_s: f64,
    },
    #[error(
        "stage {n}: the band holds {cells} cells {bin_hz} Hz apart, a peak needs {least}; widen the band or lengthen the window", n = .stage + 1
    )]
    TooFewCells {
        stage: usize,
        cells: usize,
        least: usize,
        bin_hz: f64,
    },
    #[error(
        "stage {n}: slopes from {least_hz_per_s} Hz/s to {most_hz_per_s} Hz/s: the least must be zero or more and lie below the most", n = .stage + 1
    )]
    Slopes {
        stage: usize,
        least_hz_per_s: f64,
        most_hz_per_s: f64,
    },
    #[error("stage {n}: likely at {at_least}, it must be a share of more than 0 and less than 1", n = .stage + 1)]
    Probability { stage: usize, at_least: f64 },
    #[error(
        "stage {n}: a judgement needs the finished event, so the trigger must confirm at the end", n = .stage + 1
    )]
    JudgedTooEarly { stage: usize },
    #[error("stage {n}: feature {feature} has two weights", n = .stage + 1)]
    FeatureTwice { stage: usize, feature: &'static str },
    #[error(
        "stage {n}: feature {feature} is not known of events of this detector", n = .stage + 1
    )]
    FeatureUntold { stage: usize, feature: &'static str },
    #[error("thresholds are set on a trigger; this detector decides on pulses or ridges")]
    NoTrigger,
}

/// Samples that a front cannot take.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[expect(
    missing_docs,
    reason = "the message of each variant explains its fields"
)]
pub enum PushError {
    #[error("{0}; tell the gap first")]
    Stream(#[from] StreamError),
    #[error(
        "samples needed for the level of {begin_sample} to {end_sample} are not all finite; tell a gap and go on after them"
    )]
    NotFinite { begin_sample: u64, end_sample: u64 },
    #[error(
        "the learned stage fails on samples {begin_sample} to {end_sample}: {why}; tell a gap and go on after them"
    )]
    Model {
        begin_sample: u64,
        end_sample: u64,
        why: String,
    },
}
