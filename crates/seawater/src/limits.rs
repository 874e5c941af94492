//! What each method accepts, and the errors and warnings that say so.
//!
//! Every range of the crate is a [`Limit`] in the file of its method; the same limit feeds the check and the message.

use std::fmt;

use thiserror::Error;

/// A quantity that a function of this crate takes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Variable {
    /// Temperature, degC (ITS-90).
    Temperature,
    /// Practical salinity.
    Salinity,
    /// Depth below the surface, m.
    Depth,
    /// Pressure above the atmosphere's, dbar.
    Pressure,
    /// Latitude, degrees, north positive.
    Latitude,
    /// Frequency, Hz.
    Frequency,
    /// Acidity, pH (total scale or NBS scale: the formulas do not say).
    Ph,
    /// Wind speed, m/s.
    WindSpeed,
    /// Shipping activity, 0 (none) to 1 (heavy).
    Shipping,
    /// Distance from the source, m.
    Range,
    /// Horizontal distance, m.
    HorizontalDistance,
    /// Spreading slope, dB per decade of range.
    Slope,
    /// Loss that is known at a range.
    Loss,
    /// Range at which spherical spreading gives way to cylindrical, m.
    TransitionRange,
    /// Absorption coefficient, dB/km.
    Absorption,
    /// Sound speed, m/s.
    SoundSpeed,
    /// Depth of the source, m.
    SourceDepth,
    /// Depth of the receiver, m.
    ReceiverDepth,
    /// Depth of the sea bed, m.
    SeabedDepth,
    /// Sound speed of the sea bed, m/s.
    BedSoundSpeed,
    /// Density of the sea bed, kg/m3.
    BedDensity,
    /// Attenuation of the sea bed, dB per wavelength.
    BedAttenuation,
    /// Loss of one bounce from the sea bed, dB.
    BounceLoss,
    /// Density of the water, kg/m3.
    WaterDensity,
    /// Grazing angle, degrees.
    GrazingAngle,
    /// Launch angle of a ray, degrees, down positive.
    LaunchAngle,
    /// Uncertainty of a time difference, s.
    TimeUncertainty,
    /// Uncertainty of a place, m.
    PlaceUncertainty,
    /// Uncertainty of a sound speed, m/s.
    SpeedUncertainty,
    /// Difference of two arrival times, s.
    TimeDifference,
    /// Number of rays in a fan.
    Rays,
    /// Number of cells along one side.
    Cells,
}

impl Variable {
    /// The unit's symbol; empty for a pure number.
    pub fn unit(self) -> &'static str {
        match self {
            Self::Temperature => "degC",
            Self::Salinity | Self::Ph | Self::Shipping | Self::Rays | Self::Cells => "",
            Self::Depth
            | Self::Range
            | Self::HorizontalDistance
            | Self::TransitionRange
            | Self::SourceDepth
            | Self::ReceiverDepth
            | Self::SeabedDepth
            | Self::PlaceUncertainty => "m",
            Self::Pressure => "dbar",
            Self::Latitude | Self::GrazingAngle | Self::LaunchAngle => "deg",
            Self::Frequency => "Hz",
            Self::WindSpeed | Self::SoundSpeed | Self::BedSoundSpeed | Self::SpeedUncertainty => {
                "m/s"
            }
            Self::BedDensity | Self::WaterDensity => "kg/m3",
            Self::BedAttenuation => "dB per wavelength",
            Self::BounceLoss => "dB",
            Self::TimeUncertainty | Self::TimeDifference => "s",
            Self::Slope => "dB per decade",
            Self::Loss => "dB re 1 m",
            Self::Absorption => "dB/km",
        }
    }
}

impl fmt::Display for Variable {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Temperature => "temperature",
            Self::Salinity => "salinity",
            Self::Depth => "depth",
            Self::Pressure => "pressure",
            Self::Latitude => "latitude",
            Self::Frequency => "frequency",
            Self::Ph => "pH",
            Self::WindSpeed => "wind speed",
            Self::Shipping => "shipping activity",
            Self::Range => "range",
            Self::HorizontalDistance => "horizontal distance",
            Self::Slope => "spreading slope",
            Self::Loss => "known loss",
            Self::TransitionRange => "transition range",
            Self::Absorption => "absorption",
            Self::SoundSpeed => "sound speed",
            Self::SourceDepth => "source depth",
            Self::ReceiverDepth => "receiver depth",
            Self::SeabedDepth => "depth of the sea bed",
            Self::BedSoundSpeed => "sound speed of the sea bed",
            Self::BedDensity => "density of the sea bed",
            Self::BedAttenuation => "attenuation of the sea bed",
            Self::BounceLoss => "loss of a bounce",
            Self::WaterDensity => "density of the water",
            Self::GrazingAngle => "grazing angle",
            Self::LaunchAngle => "launch angle",
            Self::TimeUncertainty => "uncertainty of time",
            Self::PlaceUncertainty => "uncertainty of place",
            Self::SpeedUncertainty => "uncertainty of sound speed",
            Self::TimeDifference => "time difference",
            Self::Rays => "number of rays",
            Self::Cells => "number of cells",
        })
    }
}

/// A published method, or a rule of this crate, whose range is meant.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Method {
    /// Sound speed, Mackenzie 1981.
    Mackenzie1981,
    /// Sound speed, Chen and Millero 1977 (the UNESCO equation).
    ChenMillero1977,
    /// Depth, pressure and gravity, Fofonoff and Millard 1983.
    FofonoffMillard1983,
    /// Density, international equation of state of seawater 1980.
    Eos80,
    /// Absorption, Francois and Garrison 1982.
    FrancoisGarrison1982,
    /// Absorption, Ainslie and McColm 1998.
    AinslieMccolm1998,
    /// Ambient noise, the four-term formula after Coates 1990.
    FourTermNoise,
    /// Spreading laws with one slope or two.
    SpreadingLaw,
    /// Interference with the image in a flat surface.
    LloydMirror,
    /// Temperature and salinity measured at a list of depths.
    Profile,
    /// Rays through layers of constant gradient.
    Rays,
    /// Reflection from the sea bed.
    BedReflection,
    /// Time difference of arrival between two hydrophones.
    TwoEars,
}

impl fmt::Display for Method {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Mackenzie1981 => "the sound speed equation of Mackenzie 1981",
            Self::ChenMillero1977 => "the sound speed equation of Chen and Millero 1977",
            Self::FofonoffMillard1983 => {
                "the depth and gravity equations of Fofonoff and Millard 1983"
            }
            Self::Eos80 => "the equation of state EOS-80",
            Self::FrancoisGarrison1982 => "the absorption equation of Francois and Garrison 1982",
            Self::AinslieMccolm1998 => "the absorption equation of Ainslie and McColm 1998",
            Self::FourTermNoise => "the four-term ambient noise formula",
            Self::SpreadingLaw => "the spreading laws",
            Self::LloydMirror => "the surface image formula",
            Self::Profile => "the profile",
            Self::Rays => "the rays",
            Self::BedReflection => "the reflection from the sea bed",
            Self::TwoEars => "the time difference between two hydrophones",
        })
    }
}

/// Why a function of this crate gave no number.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
pub enum SeaError {
    /// A value lies outside what the method accepts, or is not a number.
    #[error(
        "{variable} {value}{} is outside {low} to {high}{}, the range of {method}",
        spaced(*variable),
        spaced(*variable)
    )]
    OutOfRange {
        /// Which quantity.
        variable: Variable,
        /// Its value, in the unit of [`Variable::unit`].
        value: f64,
        /// Lowest value accepted.
        low: f64,
        /// Highest value accepted.
        high: f64,
        /// Whose range it is.
        method: Method,
    },
    /// The upper edge of a band does not lie above the lower one.
    #[error(
        "a band must rise from its lower to its upper edge, not from {low_hz} Hz to {high_hz} Hz"
    )]
    EmptyBand {
        /// Lower edge.
        low_hz: f64,
        /// Upper edge.
        high_hz: f64,
    },
    /// A profile has no point.
    #[error("a profile needs at least one depth with temperature and salinity")]
    EmptyProfile,
    /// The depths of a profile do not rise from point to point.
    #[error(
        "the depths of a profile must rise, but {after_m} m follows {before_m} m at point {index}"
    )]
    ProfileDepthsNotRising {
        /// Position of the second of the two points, from 0.
        index: usize,
        /// The depth before it.
        before_m: f64,
        /// Its own depth.
        after_m: f64,
    },
    /// Layers for rays do not begin at the surface.
    #[error("layers for rays begin at the surface, not at {first_m} m")]
    LayersBelowSurface {
        /// Depth of the first point.
        first_m: f64,
    },
    /// Two hydrophones at the same place, or so near that the uncertainty of their places is as large as their distance.
    #[error(
        "the hydrophones are {distance_m} m apart and their places are known to {uncertainty_m} m: no direction follows"
    )]
    NoBaseline {
        /// Distance between them.
        distance_m: f64,
        /// Uncertainty (k = 2) of that distance.
        uncertainty_m: f64,
    },
}

/// What makes a number doubtful although it was computed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Warning {
    /// The value lies outside the range for which the method was published, and the formula was carried on.
    Extrapolated {
        /// Which quantity.
        variable: Variable,
        /// Its value, in the unit of [`Variable::unit`].
        value: f64,
        /// Lowest published value.
        low: f64,
        /// Highest published value.
        high: f64,
        /// Whose range it is.
        method: Method,
    },
    /// Sources disagree whether the method reaches this value.
    RangeDisputed {
        /// Which quantity.
        variable: Variable,
        /// Its value, in the unit of [`Variable::unit`].
        value: f64,
        /// Lowest value on which the sources agree.
        low: f64,
        /// Highest value on which the sources agree.
        high: f64,
        /// Whose range it is.
        method: Method,
    },
    /// The range is longer than simple spreading laws can be trusted for.
    BeyondSimpleLaw {
        /// The range asked for.
        range_m: f64,
        /// The longest range without this warning.
        limit_m: f64,
    },
    /// The depth lies above the first or below the last point of the profile; the end's temperature and salinity were used.
    BeyondProfile {
        /// The depth asked for.
        depth_m: f64,
        /// Depth of the first point.
        first_m: f64,
        /// Depth of the last point.
        last_m: f64,
    },
}

impl fmt::Display for Warning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Self::Extrapolated {
                variable,
                value,
                low,
                high,
                method,
            } => {
                let unit = spaced(variable);
                write!(
                    f,
                    "{variable} {value}{unit} is outside {low} to {high}{unit}, the published range of {method}; the formula was carried on"
                )
            }
            Self::RangeDisputed {
                variable,
                value,
                low,
                high,
                method,
            } => {
                let unit = spaced(variable);
                write!(
                    f,
                    "{variable} {value}{unit} is outside {low} to {high}{unit}; not all sources grant {method} this value"
                )
            }
            Self::BeyondSimpleLaw { range_m, limit_m } => write!(
                f,
                "{range_m} m is beyond {limit_m} m, where a simple spreading law is arithmetic rather than physics"
            ),
            Self::BeyondProfile {
                depth_m,
                first_m,
                last_m,
            } => write!(
                f,
                "{depth_m} m is outside the profile, {first_m} m to {last_m} m; temperature and salinity of its end were used"
            ),
        }
    }
}

fn spaced(variable: Variable) -> String {
    match variable.unit() {
        "" => String::new(),
        unit => format!(" {unit}"),
    }
}

/// A closed range of one variable.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Limit {
    pub(crate) variable: Variable,
    pub(crate) low: f64,
    pub(crate) high: f64,
}

impl Limit {
    pub(crate) const fn new(variable: Variable, low: f64, high: f64) -> Self {
        Self {
            variable,
            low,
            high,
        }
    }

    /// Not a number is never inside.
    pub(crate) fn holds(self, value: f64) -> bool {
        (self.low..=self.high).contains(&value)
    }

    pub(crate) fn require(self, value: f64, method: Method) -> Result<(), SeaError> {
        if self.holds(value) {
            return Ok(());
        }
        Err(SeaError::OutOfRange {
            variable: self.variable,
            value,
            low: self.low,
            high: self.high,
            method,
        })
    }

    pub(crate) fn extrapolated(self, value: f64, method: Method) -> Option<Warning> {
        (!self.holds(value)).then_some(Warning::Extrapolated {
            variable: self.variable,
            value,
            low: self.low,
            high: self.high,
            method,
        })
    }
}

pub(crate) const LATITUDE: Limit = Limit::new(Variable::Latitude, -90.0, 90.0);
