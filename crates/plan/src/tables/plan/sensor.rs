//! Sensors.

use quantity::{Dimension as D, LevelKind as K};

use super::bounds::{FREQUENCY, LEVEL};
use super::pick_up::{ANTI_ALIAS, OVERSAMPLING, PICK_UP};
use crate::field::{
    NOT_NEGATIVE, POSITIVE, RefKind as R, Scale, Section, Shape as S, between, optional as o,
    required as r,
};

pub(crate) const SENSOR: Section = Section {
    name: "a sensor",
    doc: "A hydrophone or another sensor of a module. Hydrophones and microphones need sensitivity, gain and adc.",
    part: Some("sensor"),
    fields: &[
        o(
            "part",
            S::Reference(&[R::Part]),
            "catalogue part that fills what is not written here",
        ),
        r(
            "kind",
            S::Choice(&[
                "hydrophone",
                "microphone",
                "temperature",
                "pressure",
                "conductivity",
            ]),
            "what it measures",
        ),
        o(
            "sensitivity",
            S::Level(&[K::Sensitivity, K::InAirSensitivity], LEVEL),
            "dB re 1 V/uPa, of a microphone dB re 1 V/Pa",
        ),
        o(
            "gain",
            S::Level(&[K::Gain], LEVEL),
            "gain ahead of the converter",
        ),
        o("adc", S::Table(&ADC), "converter"),
        o(
            "high_pass",
            S::Table(&HIGH_PASS),
            "high-pass ahead of the converter",
        ),
        o(
            "settles_in",
            S::Amount(D::Time, NOT_NEGATIVE),
            "time from power to usable samples",
        ),
        o("calibrated", S::Table(&CALIBRATED), "last calibration"),
        o(
            "amplifier_noise",
            S::Amount(D::NoiseVoltage, POSITIVE),
            "noise voltage density at the input of the amplifier, where `self_noise` does not hold it",
        ),
        o(
            "self_noise",
            S::Tables(&SELF_NOISE),
            "noise of the chain ahead of its converter, at its input, by frequency",
        ),
        o(
            "pick_up",
            S::Tables(&PICK_UP),
            "what electronics put into the chain beside its noise",
        ),
        o(
            "no_pick_up",
            S::Flag,
            "true where a recording with a dummy element shows nothing that electronics put into the chain",
        ),
    ],
};

const ADC: Section = Section {
    name: "a converter",
    doc: "From volts to counts.",
    part: None,
    fields: &[
        r(
            "full_scale",
            S::Amount(D::Voltage, POSITIVE),
            "peak voltage of full scale",
        ),
        r("bits", S::Count(8, 32), "width"),
        o(
            "effective_bits",
            S::Figure(Scale::Plain, between(1.0, 32.0, "from 1 to 32")),
            "effective number of bits, as measured with a sine; those of an ideal converter when not written",
        ),
        r(
            "rate",
            S::Amount(D::Frequency, between(1.0, 1.0e7, "from 1 Hz to 10 MHz")),
            "sample rate",
        ),
        o(
            "anti_alias",
            S::Table(&ANTI_ALIAS),
            "low-pass ahead of it, which keeps out what would fold",
        ),
        o(
            "oversampling",
            S::Table(&OVERSAMPLING),
            "samples that it takes faster than it tells them, and its own filter",
        ),
    ],
};

const HIGH_PASS: Section = Section {
    name: "a high-pass",
    doc: "High-pass ahead of the converter.",
    part: None,
    fields: &[
        r("corner", S::Amount(D::Frequency, FREQUENCY), "-3 dB corner"),
        r("poles", S::Count(1, 8), "poles"),
    ],
};

const CALIBRATED: Section = Section {
    name: "a calibration",
    doc: "When, by whom, how surely.",
    part: None,
    fields: &[
        r("date", S::Date, "when"),
        r("by", S::Text, "by whom or where"),
        o(
            "uncertainty",
            S::Level(&[K::Gain], between(0.0, 40.0, "from 0 dB to 40 dB")),
            "uncertainty (k = 2)",
        ),
    ],
};

const SELF_NOISE: Section = Section {
    name: "a point of self-noise",
    doc: "Noise of the chain at its input.",
    part: None,
    fields: &[
        r("frequency", S::Amount(D::Frequency, FREQUENCY), "frequency"),
        r(
            "level",
            S::Level(&[K::SpectralDensity], LEVEL),
            "spectral density",
        ),
    ],
};
