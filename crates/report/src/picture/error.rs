//! What can be wrong with the input of a picture.

use thiserror::Error;

/// Why a picture could not be drawn or a spectrogram not be computed.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum PictureError {
    /// The wanted picture is smaller than its lettering needs or larger than is sensible.
    #[error(
        "draw a picture of {width_px} x {height_px} pixels: allowed are {least_px} to {most_px} each way"
    )]
    Size {
        /// Wanted width, pixels.
        width_px: u32,
        /// Wanted height, pixels.
        height_px: u32,
        /// Smallest width and height, pixels.
        least_px: u32,
        /// Largest width and height, pixels.
        most_px: u32,
    },
    /// The labels of the marks leave no room for the picture itself.
    #[error(
        "draw {marks} marks in a picture {height_px} pixels high: {left_px:.0} pixels are left for the plot"
    )]
    NoRoom {
        /// Number of marks.
        marks: usize,
        /// Height of the picture, pixels.
        height_px: u32,
        /// What is left for the plot, pixels.
        left_px: f64,
    },
    /// A range does not rise, is not finite, or does not suit its axis.
    #[error("use the {what} range {low} to {high} {unit}: {needed}")]
    Range {
        /// Which range.
        what: &'static str,
        /// Its low end.
        low: f64,
        /// Its high end.
        high: f64,
        /// Unit of both.
        unit: &'static str,
        /// What a usable range is.
        needed: &'static str,
    },
    /// A value must be finite, and above zero where its name says so.
    #[error("use {value} {unit} as {what}: {needed}")]
    Value {
        /// What the value is.
        what: &'static str,
        /// The value.
        value: f64,
        /// Its unit.
        unit: &'static str,
        /// What a usable value is.
        needed: &'static str,
    },
    /// A flat matrix does not have columns times rows values.
    #[error("read {columns} columns of {rows} rows from {found} values")]
    Shape {
        /// Columns stated.
        columns: usize,
        /// Rows stated.
        rows: usize,
        /// Values given.
        found: usize,
    },
    /// A level of plus infinity.
    #[error("draw the level at index {index}: it is plus infinity")]
    Infinite {
        /// Index in the flat matrix or the series.
        index: usize,
    },
    /// The transform window has a length that cannot be used.
    #[error("use a window of {window_samples} samples: allowed are {least} to {most}")]
    Window {
        /// Wanted length, samples.
        window_samples: usize,
        /// Shortest, samples.
        least: usize,
        /// Longest, samples.
        most: usize,
    },
    /// The step between windows is zero or leaves samples out.
    #[error(
        "step by {hop_samples} samples with a window of {window_samples}: allowed are 1 to {window_samples}"
    )]
    Hop {
        /// Wanted step, samples.
        hop_samples: usize,
        /// Window length, samples.
        window_samples: usize,
    },
    /// A sample is not a number or beyond any sound pressure.
    #[error("use sample {index} with {value} µPa: allowed is at most {most} µPa either way")]
    Sample {
        /// Absolute index of the sample.
        index: u64,
        /// Its value, micropascals.
        value: f32,
        /// Largest magnitude, micropascals.
        most: f32,
    },
    /// No stretch of sound was as long as one window.
    #[error(
        "compute a spectrogram from {samples} samples: one window takes {window_samples} without a gap"
    )]
    TooShort {
        /// Samples given in all.
        samples: u64,
        /// Window length, samples.
        window_samples: usize,
    },
    /// No row or no column lies in the wanted range.
    #[error(
        "draw {what} {low} to {high} {unit}: the spectrogram holds {held_low} to {held_high} {unit}"
    )]
    Outside {
        /// Which axis.
        what: &'static str,
        /// Wanted low end.
        low: f64,
        /// Wanted high end.
        high: f64,
        /// Low end of what is held.
        held_low: f64,
        /// High end of what is held.
        held_high: f64,
        /// Unit.
        unit: &'static str,
    },
    /// A mark ends before it begins, or a bound of it is not finite.
    #[error("draw mark {number}: {what} {low} to {high} {unit} is not a rising, finite range")]
    Mark {
        /// Number of the mark, from 1.
        number: usize,
        /// Which range of it.
        what: &'static str,
        /// Low end.
        low: f64,
        /// High end.
        high: f64,
        /// Unit.
        unit: &'static str,
    },
    /// A level picture without a single finite level.
    #[error("draw levels: none of {points} points is finite")]
    NoLevel {
        /// Points given.
        points: usize,
    },
    /// An instant outside the calendar.
    #[error("name the instant {offset_s} s after {start}")]
    Instant {
        /// The start of the recording.
        start: jiff::Timestamp,
        /// Seconds after it.
        offset_s: f64,
    },
}
