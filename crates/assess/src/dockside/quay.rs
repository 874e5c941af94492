//! The quay: its temperature, the meter, the spreads of what the plan writes none of, the calibrator. What nobody says is assumed, and told.

use thiserror::Error;

/// Temperature of cable and air when nobody says it, degC.
const USUAL_DEGC: f64 = 20.0;
/// Half widths (95 %) when nobody says them: a hand-held meter of four digits in its lowest range that holds the reading, leads zeroed (common practice).
const VOLTS: Tolerance = Tolerance {
    share: 0.001,
    offset: 0.01,
};
const AMPS: Tolerance = Tolerance {
    share: 0.01,
    offset: 0.003,
};
const OHMS: Tolerance = Tolerance {
    share: 0.01,
    offset: 0.03,
};
/// Resolution of a voltage across a contact, V (common practice).
pub(super) const MILLIVOLTS_OFFSET_V: f64 = 0.0002;
/// How far a time by a watch may be off, s (common practice).
const WATCH_S: f64 = 1.0;
/// How far the temperature of the copper may be from that of the quay, K (common practice).
const TEMPERATURE_WITHIN_K: f64 = 2.0;
/// Conductors are made with some copper to spare and not alike (common practice).
const WIRE_SHARE: f64 = 0.03;
/// Loads without a written spread (common practice).
const LOAD_SHARE: f64 = 0.05;
/// Voltages of supplies without a written spread (common practice).
const SUPPLY_SHARE: f64 = 0.005;
/// How far a calibrator may be from its stated level, dB (common practice).
const CALIBRATOR_WITHIN_DB: f64 = 0.5;

/// How far a meter may be off: a share of the reading and a fixed part in its unit, half widths that hold 95 %.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tolerance {
    /// Share of the reading, 0 to 1.
    pub share: f64,
    /// Fixed part, in the unit of the reading.
    pub offset: f64,
}

impl Tolerance {
    /// Half width (95 %) at a reading.
    #[must_use]
    pub fn half_width(self, reading: f64) -> f64 {
        self.share * reading.abs() + self.offset
    }

    /// Whether both parts are usable: a share from zero to half the reading, and a fixed part above zero, so that no reading is held to nothing.
    fn sound(self) -> bool {
        (0.0..=0.5).contains(&self.share) && self.offset.is_finite() && self.offset > 0.0
    }
}

/// A calibrator that is put over a hydrophone: a pistonphone, or a coupler.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Calibrator {
    /// Level at the hydrophone, dB re 1 uPa, rms.
    pub level_db: f64,
    /// Its frequency, Hz.
    pub frequency_hz: f64,
}

/// What somebody says of the quay; `None` is assumed.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct QuayAsk {
    /// Temperature of cable and air, degC.
    pub temperature_degc: Option<f64>,
    /// The meter on voltages.
    pub volts: Option<Tolerance>,
    /// The meter on supply currents.
    pub amps: Option<Tolerance>,
    /// The meter on resistances.
    pub ohms: Option<Tolerance>,
    /// Half width (95 %) of the resistance of a conductor about its table's, as a share.
    pub wire_share: Option<f64>,
    /// Half width (95 %) of a load without a written spread, as a share.
    pub load_share: Option<f64>,
    /// Half width (95 %) of a supply's voltage without a written spread, as a share.
    pub supply_share: Option<f64>,
    /// The calibrator of hydrophones.
    pub calibrator: Option<Calibrator>,
}

/// The quay with nothing left open but the calibrator.
#[derive(Clone, Debug, PartialEq)]
pub struct Quay {
    /// Temperature of cable and air, degC.
    pub temperature_degc: f64,
    /// The meter on voltages, V.
    pub volts: Tolerance,
    /// The meter on supply currents, A.
    pub amps: Tolerance,
    /// The meter on resistances, ohm.
    pub ohms: Tolerance,
    /// Half width (95 %) of the resistance of a conductor about its table's, as a share.
    pub wire_share: f64,
    /// Half width (95 %) of a load without a written spread, as a share.
    pub load_share: f64,
    /// Half width (95 %) of a supply's voltage without a written spread, as a share.
    pub supply_share: f64,
    /// Half width (95 %) of the temperature of the copper, K.
    pub within_k: f64,
    /// Half width (95 %) of a time by a watch, s.
    pub watch_s: f64,
    /// The calibrator of hydrophones, where somebody says it.
    pub calibrator: Option<Calibrator>,
    /// Half width (95 %) of its level, dB.
    pub calibrator_within_db: f64,
    /// What counts although nobody said it, in sentences.
    pub assumed: Vec<String>,
}

/// Why a quay cannot be.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum QuayError {
    /// A number out of its range.
    #[error("{what} is {value}, it must be {wanted}")]
    OutOfRange {
        /// Which.
        what: &'static str,
        /// Its value.
        value: f64,
        /// The range.
        wanted: &'static str,
    },
    /// A meter that cannot be.
    #[error(
        "the tolerance of the meter on {what}, {share} of the reading and {offset}, must be 0 to 0.5 of the reading and above 0"
    )]
    Meter {
        /// Of what.
        what: &'static str,
        /// Share of the reading.
        share: f64,
        /// Fixed part.
        offset: f64,
    },
}

fn within(
    what: &'static str,
    value: f64,
    (low, high): (f64, f64),
    wanted: &'static str,
) -> Result<f64, QuayError> {
    if (low..=high).contains(&value) {
        return Ok(value);
    }
    Err(QuayError::OutOfRange {
        what,
        value,
        wanted,
    })
}

impl Quay {
    /// The quay that somebody describes, with what is left open filled in and told.
    ///
    /// # Errors
    /// [`QuayError`]: temperatures outside -40 to 60 degC, tolerances and shares outside 0 to 0.5, a calibrator outside 60 to 240 dB re 1 uPa or
    /// 1 Hz to 1 MHz.
    pub fn of(ask: &QuayAsk) -> Result<Quay, QuayError> {
        let mut assumed = Vec::new();
        let temperature_degc = ask.temperature_degc.unwrap_or_else(|| {
            assumed.push(format!(
                "cable and air on the quay have {USUAL_DEGC} degC (`--temperature`), within {TEMPERATURE_WITHIN_K} K"
            ));
            USUAL_DEGC
        });
        let mut meter = |said: Option<Tolerance>,
                         usual: Tolerance,
                         what: &str,
                         unit: &str,
                         option| {
            said.unwrap_or_else(|| {
                assumed.push(format!(
                    "the meter is within {} % of the reading and {} {unit} on {what} (`{option}`; 95 %, common practice)",
                    100.0 * usual.share,
                    usual.offset
                ));
                usual
            })
        };
        let volts = meter(ask.volts, VOLTS, "voltages", "V", "--meter-volts");
        let amps = meter(ask.amps, AMPS, "supply currents", "A", "--meter-amps");
        let ohms = meter(
            ask.ohms,
            OHMS,
            "resistances, leads zeroed",
            "ohm",
            "--meter-ohms",
        );
        let mut share = |said: Option<f64>, usual: f64, what: &str, option: &str| {
            said.unwrap_or_else(|| {
                assumed.push(format!(
                    "{what} within {} % (`{option}`; 95 %, common practice)",
                    100.0 * usual
                ));
                usual
            })
        };
        let wire_share = share(
            ask.wire_share,
            WIRE_SHARE,
            "a conductor has the resistance of its table, and a way through a module what is written,",
            "--spread-wire",
        );
        let load_share = share(
            ask.load_share,
            LOAD_SHARE,
            "a load of which the plan writes no spread is as written",
            "--spread-load",
        );
        let supply_share = share(
            ask.supply_share,
            SUPPLY_SHARE,
            "a supply of which the plan writes no spread gives its voltage",
            "--spread-supply",
        );
        for (what, t) in [
            ("voltages", volts),
            ("supply currents", amps),
            ("resistances", ohms),
        ] {
            if !t.sound() {
                return Err(QuayError::Meter {
                    what,
                    share: t.share,
                    offset: t.offset,
                });
            }
        }
        let half = (0.0, 0.5);
        for (what, value) in [
            ("the spread of conductors", wire_share),
            ("the spread of loads", load_share),
            ("the spread of supplies", supply_share),
        ] {
            within(what, value, half, "0 to 0.5")?;
        }
        within(
            "the temperature of the quay",
            temperature_degc,
            (-40.0, 60.0),
            "-40 to 60 degC",
        )?;
        if let Some(c) = ask.calibrator {
            within(
                "the level of the calibrator",
                c.level_db,
                (60.0, 240.0),
                "60 to 240 dB re 1 uPa",
            )?;
            within(
                "the frequency of the calibrator",
                c.frequency_hz,
                (1.0, 1e6),
                "1 Hz to 1 MHz",
            )?;
            assumed.push(format!(
                "the calibrator is within {CALIBRATOR_WITHIN_DB} dB of its level (95 %, common practice)"
            ));
        }
        assumed.push(format!(
            "times by a watch are within {WATCH_S} s (common practice)"
        ));
        Ok(Quay {
            temperature_degc,
            volts,
            amps,
            ohms,
            wire_share,
            load_share,
            supply_share,
            within_k: TEMPERATURE_WITHIN_K,
            watch_s: WATCH_S,
            calibrator: ask.calibrator,
            calibrator_within_db: CALIBRATOR_WITHIN_DB,
            assumed,
        })
    }
}
