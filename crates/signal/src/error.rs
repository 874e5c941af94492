//! What a caller can get wrong, one variant per cause.

use thiserror::Error;

/// A filter, decimator, window or averaging time that cannot be built.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum FilterError {
    /// The sampling rate is not a finite positive number.
    #[error("sampling rate {rate_hz} Hz is not a finite positive number")]
    Rate {
        /// Rate asked for, Hz.
        rate_hz: f64,
    },
    /// The order is outside 1 to 16.
    #[error("filter order {order} is outside 1 to {max}")]
    Order {
        /// Order asked for.
        order: usize,
        /// Highest order supported.
        max: usize,
    },
    /// A corner does not lie between 0 and half the sampling rate.
    #[error(
        "corner {corner_hz} Hz does not lie between 0 and {nyquist_hz} Hz, half the sampling rate"
    )]
    Corner {
        /// Corner asked for, Hz.
        corner_hz: f64,
        /// Half the sampling rate, Hz.
        nyquist_hz: f64,
    },
    /// The lower edge of a band is not below the upper edge.
    #[error("lower band edge {low_hz} Hz is not below upper edge {high_hz} Hz")]
    Edges {
        /// Lower edge, Hz.
        low_hz: f64,
        /// Upper edge, Hz.
        high_hz: f64,
    },
    /// The band is so narrow against the rate that its poles cannot be told from the unit circle.
    #[error(
        "band {low_hz} Hz to {high_hz} Hz at {rate_hz} Hz is too narrow for stable sections in double precision"
    )]
    TooNarrow {
        /// Lower edge, Hz.
        low_hz: f64,
        /// Upper edge, Hz.
        high_hz: f64,
        /// Sampling rate, Hz.
        rate_hz: f64,
    },
    /// A decimation factor below 2 or above the limit.
    #[error("decimation factor {factor} is outside 2 to {max}")]
    Factor {
        /// Factor asked for.
        factor: usize,
        /// Largest factor supported.
        max: usize,
    },
    /// A window or hop of no samples, or longer than supported.
    #[error("{what} of {samples} samples is outside 1 to {max}")]
    Length {
        /// Which length: window, hop.
        what: &'static str,
        /// Length asked for, samples.
        samples: u64,
        /// Longest length supported, samples.
        max: u64,
    },
    /// A time constant that is not a finite positive number.
    #[error("time constant {tau_s} s is not a finite positive number")]
    TimeConstant {
        /// Time constant asked for, s.
        tau_s: f64,
    },
}

/// A bank of band filters that cannot be built.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum BankError {
    /// The lowest band lies above the highest.
    #[error("the lowest band, {lowest_hz} Hz, lies above the highest, {highest_hz} Hz")]
    Order {
        /// Nominal centre of the lowest band asked for, Hz.
        lowest_hz: f64,
        /// Nominal centre of the highest band asked for, Hz.
        highest_hz: f64,
    },
    /// The lowest band lies lower than is supported.
    #[error("the lowest band, {lowest_hz} Hz, lies below {limit_hz} Hz")]
    TooLow {
        /// Nominal centre of the lowest band asked for, Hz.
        lowest_hz: f64,
        /// Nominal centre of the lowest band supported, Hz.
        limit_hz: f64,
    },
    /// The highest band reaches too near half the rate.
    #[error(
        "the band at {highest_hz} Hz reaches up to {edge_hz:.1} Hz; at a rate of {rate_hz} Hz a band may reach up to {limit_hz:.1} Hz"
    )]
    TooHigh {
        /// Nominal centre of the highest band asked for, Hz.
        highest_hz: f64,
        /// Its upper edge, Hz.
        edge_hz: f64,
        /// Highest upper edge at this rate, Hz.
        limit_hz: f64,
        /// Sampling rate, Hz.
        rate_hz: f64,
    },
    /// The rate is so low that no supported band fits.
    #[error("at a rate of {rate_hz} Hz no band from 0.01 Hz on can be had")]
    NoBand {
        /// Sampling rate, Hz.
        rate_hz: f64,
    },
    /// A rate that is no rate, or a filter that cannot be built.
    #[error(transparent)]
    Filter(#[from] FilterError),
}

/// A block that does not follow the one before.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum StreamError {
    /// The block begins at another sample than the one that is due; a gap starts a new stretch with new state.
    #[error("block begins at sample {found}, but sample {expected} is due")]
    OutOfOrder {
        /// Sample index that is due.
        expected: u64,
        /// Sample index of the block's first sample.
        found: u64,
    },
    /// The block's last index lies beyond 2^62.
    #[error("block of {samples} samples at index {first} runs past the last index")]
    IndexOverflow {
        /// First index of the block.
        first: u64,
        /// Samples in the block.
        samples: usize,
    },
}

/// A spectrum or band that cannot be computed.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum SpectrumError {
    /// The sampling rate is not a finite positive number.
    #[error("sampling rate {rate_hz} Hz is not a finite positive number")]
    Rate {
        /// Rate asked for, Hz.
        rate_hz: f64,
    },
    /// A segment or transform length outside the limits.
    #[error("{what} of {samples} samples is outside {min} to {max}")]
    Length {
        /// Which length: segment, hop, filter.
        what: &'static str,
        /// Length asked for, samples.
        samples: usize,
        /// Shortest length, samples.
        min: usize,
        /// Longest length, samples.
        max: usize,
    },
    /// A segment or filter of odd length.
    #[error("length of {segment} samples is odd; an even one is needed")]
    Odd {
        /// Length asked for, samples.
        segment: usize,
    },
    /// No whole segment has been heard yet.
    #[error("no whole segment of {segment} samples has been heard yet")]
    NoSegment {
        /// Segment length, samples.
        segment: usize,
    },
    /// A band that is not inside the spectrum.
    #[error("band {low_hz} Hz to {high_hz} Hz does not lie inside 0 to {nyquist_hz} Hz")]
    Band {
        /// Lower edge, Hz.
        low_hz: f64,
        /// Upper edge, Hz.
        high_hz: f64,
        /// Highest frequency of the spectrum, Hz.
        nyquist_hz: f64,
    },
    /// A spectrum with fewer than two lines, or lines without spacing.
    #[error("spectrum of {lines} lines at {bin_hz} Hz spacing has no bandwidth")]
    Empty {
        /// Number of lines.
        lines: usize,
        /// Line spacing, Hz.
        bin_hz: f64,
    },
    /// A density table that is not usable at this row.
    #[error(
        "row {row} of the density table ({frequency_hz} Hz, {level_db} dB) is not finite, not positive or not rising in frequency"
    )]
    Table {
        /// Row, from 0.
        row: usize,
        /// Frequency of the row, Hz.
        frequency_hz: f64,
        /// Level of the row, dB re 1 unit²/Hz.
        level_db: f64,
    },
    /// A density table without rows.
    #[error("the density table has no rows")]
    TableEmpty,
}

/// A sensor chain that cannot exist, or a sample that cannot be converted.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum ChainError {
    /// Sensitivity or gain is not a finite number.
    #[error("{what} of {value_db} dB is not a finite number")]
    NotFinite {
        /// Which value: sensitivity, gain.
        what: &'static str,
        /// Value given, dB.
        value_db: f64,
    },
    /// Full scale is not a finite positive voltage.
    #[error("converter full scale {full_scale_v} V is not a finite positive voltage")]
    FullScale {
        /// Full scale given, V peak.
        full_scale_v: f64,
    },
    /// Bits outside 2 to 32.
    #[error("converter with {bits} bits is outside {min} to {max} bits")]
    Bits {
        /// Bits given.
        bits: u32,
        /// Fewest bits.
        min: u32,
        /// Most bits.
        max: u32,
    },
    /// The sampling rate is not a finite positive number.
    #[error("sampling rate {rate_hz} Hz is not a finite positive number")]
    Rate {
        /// Rate given, Hz.
        rate_hz: f64,
    },
    /// The high-pass cannot be built.
    #[error("high-pass of the chain: {0}")]
    HighPass(#[from] FilterError),
    /// Effective bits that are not above zero, or more than the converter has.
    #[error(
        "{effective_bits} effective bits are not above 0 and at most the {bits} of the converter"
    )]
    EffectiveBits {
        /// Effective bits given.
        effective_bits: f64,
        /// Bits of the converter.
        bits: u32,
    },
    /// The noise voltage density of the amplifier is not finite and positive.
    #[error("amplifier noise of {density_v_rthz} V/rtHz is not finite and positive")]
    Amplifier {
        /// Density given, V/sqrt(Hz).
        density_v_rthz: f64,
    },
    /// A row of the self-noise whose frequency does not rise above the one before, or that is not finite.
    #[error(
        "self-noise: row {row} ({frequency_hz} Hz, {level_db} dB) does not rise or is not finite"
    )]
    SelfNoise {
        /// Index of the row, from 0.
        row: usize,
        /// Frequency given, Hz.
        frequency_hz: f64,
        /// Level given, dB re 1 uPa^2/Hz.
        level_db: f64,
    },
    /// A pressure sample is not a number.
    #[error("pressure sample {index} of the block is not a number")]
    Sample {
        /// Position in the block, from 0.
        index: usize,
    },
    /// Input and output differ in length.
    #[error("{input} samples do not fit an output of {output}")]
    Lengths {
        /// Samples in.
        input: usize,
        /// Room out.
        output: usize,
    },
}

/// A sound that cannot be synthesised.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum SynthError {
    /// A value that has to be a finite number (and positive, where said).
    #[error("{what} of {value} {unit} is not {expected}")]
    Value {
        /// Which value.
        what: &'static str,
        /// Value given.
        value: f64,
        /// Its unit.
        unit: &'static str,
        /// What would do.
        expected: &'static str,
    },
}

pub(crate) fn checked_rate(rate_hz: f64) -> Result<f64, FilterError> {
    if rate_hz.is_finite() && rate_hz > 0.0 {
        Ok(rate_hz)
    } else {
        Err(FilterError::Rate { rate_hz })
    }
}
