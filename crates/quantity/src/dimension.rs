//! The closed set of dimensions that a plan can hold, with the words used for them.

use crate::unit;

/// What a quantity measures. Each dimension has one SI unit, in which every number of the project is held.
#[derive(Clone, Copy, PartialEq, Eq, Debug, PartialOrd, Ord, Hash)]
pub enum Dimension {
    /// Length in m.
    Length,
    /// Area in m2.
    Area,
    /// Mass in kg.
    Mass,
    /// Time in s.
    Time,
    /// Frequency in Hz.
    Frequency,
    /// Speed in m/s (also that of the water).
    Speed,
    /// Force in N; `kg` is taken as weight in water.
    Force,
    /// Weight for each metre in N/m; `kg/m` is taken as weight in water.
    LinearWeight,
    /// Axial stiffness EA in N.
    Stiffness,
    /// Pressure in Pa.
    Pressure,
    /// Voltage in V.
    Voltage,
    /// Supply (electric) current in A.
    Current,
    /// Resistance in ohm.
    Resistance,
    /// Capacitance in F.
    Capacitance,
    /// Power in W.
    Power,
    /// Energy in J.
    Energy,
    /// Electric charge in C.
    Charge,
    /// Temperature in degC, the one dimension that is not held in its SI unit.
    Temperature,
    /// Difference of two temperatures in K.
    TemperatureDifference,
    /// Plane angle in rad.
    Angle,
    /// Ratio of two like quantities, as a plain number (15 % is 0.15).
    Ratio,
    /// Data size in bytes (B).
    DataSize,
    /// Data rate in bit/s.
    DataRate,
    /// Density in kg/m3.
    Density,
    /// Irradiance in W/m2.
    Irradiance,
    /// Spectral density of a noise voltage in V/Hz^0.5.
    NoiseVoltage,
    /// Thermal resistivity in K m/W.
    ThermalResistivity,
    /// How fast a frequency moves, in Hz/s.
    SweepRate,
    /// Electric current for each area of metal in A/m2.
    CurrentDensity,
    /// Electric charge for each mass in C/kg.
    ChargePerMass,
    /// Electrical resistivity in ohm m.
    Resistivity,
}

impl Dimension {
    /// Every dimension, in declaration order.
    pub const ALL: [Self; 31] = [
        Self::Length,
        Self::Area,
        Self::Mass,
        Self::Time,
        Self::Frequency,
        Self::Speed,
        Self::Force,
        Self::LinearWeight,
        Self::Stiffness,
        Self::Pressure,
        Self::Voltage,
        Self::Current,
        Self::Resistance,
        Self::Capacitance,
        Self::Power,
        Self::Energy,
        Self::Charge,
        Self::Temperature,
        Self::TemperatureDifference,
        Self::Angle,
        Self::Ratio,
        Self::DataSize,
        Self::DataRate,
        Self::Density,
        Self::Irradiance,
        Self::NoiseVoltage,
        Self::ThermalResistivity,
        Self::SweepRate,
        Self::CurrentDensity,
        Self::ChargePerMass,
        Self::Resistivity,
    ];

    /// The dimension in words, as it stands in a message: `length`, `supply current`.
    pub fn name(self) -> &'static str {
        match self {
            Self::Length => "length",
            Self::Area => "area",
            Self::Mass => "mass",
            Self::Time => "time",
            Self::Frequency => "frequency",
            Self::Speed => "speed",
            Self::Force => "force",
            Self::LinearWeight => "weight per metre",
            Self::Stiffness => "axial stiffness",
            Self::Pressure => "pressure",
            Self::Voltage => "voltage",
            Self::Current => "supply current",
            Self::Resistance => "resistance",
            Self::Capacitance => "capacitance",
            Self::Power => "power",
            Self::Energy => "energy",
            Self::Charge => "electric charge",
            Self::Temperature => "temperature",
            Self::TemperatureDifference => "temperature difference",
            Self::Angle => "angle",
            Self::Ratio => "ratio",
            Self::DataSize => "data size",
            Self::DataRate => "data rate",
            Self::Density => "density",
            Self::Irradiance => "irradiance",
            Self::NoiseVoltage => "noise voltage density",
            Self::ThermalResistivity => "thermal resistivity",
            Self::SweepRate => "sweep rate",
            Self::CurrentDensity => "current density",
            Self::ChargePerMass => "charge per mass",
            Self::Resistivity => "electrical resistivity",
        }
    }

    /// Two or more texts that [`crate::parse_amount`] accepts for this dimension, the plainest first.
    pub fn examples(self) -> &'static [&'static str] {
        match self {
            Self::Length => &["150 m", "60 fathoms"],
            Self::Area => &["0.02 m2", "1.5 mm2"],
            Self::Mass => &["12 kg", "340 g"],
            Self::Time => &["20 s", "240 d"],
            Self::Frequency => &["60 Hz", "48 kHz"],
            Self::Speed => &["0.9 m/s", "2 kn"],
            Self::Force => &["8 N", "1.5 kg"],
            Self::LinearWeight => &["1.2 N/m", "0.12 kg/m"],
            Self::Stiffness => &["250 kN", "1.2 MN"],
            Self::Pressure => &["20 bar", "85 dbar"],
            Self::Voltage => &["24 V", "5 mV"],
            Self::Current => &["2.5 A", "40 mA"],
            Self::Resistance => &["0.12 ohm", "8 mohm ± 4 mohm"],
            Self::Capacitance => &["220 uF", "4.7 nF"],
            Self::Power => &["0.55 W", "12 mW"],
            Self::Energy => &["768 Wh", "3.6 kJ"],
            Self::Charge => &["60 Ah", "800 mAh"],
            Self::Temperature => &["9.6 degC", "49 degF"],
            Self::TemperatureDifference => &["5 K", "50 mK"],
            Self::Angle => &["30 deg", "-6.02 deg"],
            Self::Ratio => &["15 %", "15 % ± 5 points"],
            Self::DataSize => &["300 B", "16 MiB"],
            Self::DataRate => &["10 Mbit/s", "9600 bit/s"],
            Self::Density => &["1025 kg/m3", "1.025 g/cm3"],
            Self::Irradiance => &["650 W/m2", "1 kW/m2"],
            Self::NoiseVoltage => &["4.5 nV/rtHz", "1 uV/rtHz"],
            Self::ThermalResistivity => &["3.5 K.m/W", "1 K.m/W"],
            Self::SweepRate => &["100 Hz/s", "2 kHz/s"],
            Self::CurrentDensity => &["100 mA/m2", "0.12 A/m2"],
            Self::ChargePerMass => &["2000 Ah/kg", "780 Ah/kg"],
            Self::Resistivity => &["0.25 ohm.m", "28 ohm.cm"],
        }
    }

    /// Every accepted spelling of a unit of this dimension. `u` may also be written with either micro sign,
    /// `ohm` as Ω, `deg` as °, `2` and `3` as superscripts or after `^`, `rtHz` as `sqrt(Hz)`, `√Hz` or `Hz^0.5`.
    pub fn units(self) -> impl Iterator<Item = &'static str> {
        unit::table(self).iter().map(|unit| unit.spelling)
    }

    /// The unit in which [`crate::Amount::si`] is held. Temperature is kept in degC in the whole project.
    pub fn si_unit(self) -> &'static str {
        match self {
            Self::Length => "m",
            Self::Area => "m2",
            Self::Mass => "kg",
            Self::Time => "s",
            Self::Frequency => "Hz",
            Self::Speed => "m/s",
            Self::Force | Self::Stiffness => "N",
            Self::LinearWeight => "N/m",
            Self::Pressure => "Pa",
            Self::Voltage => "V",
            Self::Current => "A",
            Self::Resistance => "ohm",
            Self::Capacitance => "F",
            Self::Power => "W",
            Self::Energy => "J",
            Self::Charge => "C",
            Self::Temperature => "degC",
            Self::TemperatureDifference => "K",
            Self::Angle => "rad",
            Self::Ratio => "1",
            Self::DataSize => "B",
            Self::DataRate => "bit/s",
            Self::Density => "kg/m3",
            Self::Irradiance => "W/m2",
            Self::NoiseVoltage => "V/rtHz",
            Self::ThermalResistivity => "K.m/W",
            Self::SweepRate => "Hz/s",
            Self::CurrentDensity => "A/m2",
            Self::ChargePerMass => "C/kg",
            Self::Resistivity => "ohm.m",
        }
    }
}

/// The indefinite article that a name takes.
#[must_use]
pub fn article(name: &str) -> &'static str {
    if name.starts_with(['a', 'e', 'i', 'o', 'u']) {
        "an"
    } else {
        "a"
    }
}
