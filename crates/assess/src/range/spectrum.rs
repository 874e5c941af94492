//! The spectrum of a call in decidecades (IEC 61260-1, base ten): at its source, and at a hydrophone some way off.
//!
//! A level is in the meaning of the source level, rms while the call sounds: the source level and the share of the energy that lies in the
//! band. At the hydrophone the plan's spreading law and the absorption at the middle of the band are taken from it. The surface's image and
//! rays are not followed.

use plan::{CallIx, Line, SensorIx};
use seawater::{absorption, transmission_loss_db};
use signal::{Decidecade, band_energies, decidecades};

use super::RangeError;
use super::sound::{LOWEST_HZ, voiced};
use super::subject::{SPREADING, site};
use crate::input::{InputError, profile, sensor_chain, spreading};

/// Least of a call's energy that is told of a band, dB below all of it: less is what the samples' rounding leaves.
const LEAST_DB: f64 = -80.0;

/// A call in one band.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CallBand {
    /// Which of the standard's bands.
    pub band: Decidecade,
    /// At the source, dB re 1 uPa m.
    pub source_level_db: f64,
    /// At the hydrophone, dB re 1 uPa.
    pub received_level_db: f64,
}

/// A call at its source and at a hydrophone.
#[derive(Clone, Debug, PartialEq)]
pub struct CallSpectrum {
    /// The call: a typed path.
    pub call: String,
    /// Horizontal range from the source to the hydrophone, m.
    pub range_m: f64,
    /// The bands in which it has energy, lowest first.
    pub bands: Vec<CallBand>,
}

/// The spectrum of a call of its mean source level, as a sensor at `range_m` hears it before its chain.
///
/// # Errors
/// [`RangeError`] where the plan does not say what is needed, for a call above what the sensor hears, or a range that is none.
pub fn call_spectrum(
    line: &Line,
    call: CallIx,
    at: SensorIx,
    range_m: f64,
) -> Result<CallSpectrum, RangeError> {
    let written = &line.calls[call.0];
    let name = format!("call.{}", written.id);
    let rate_hz = sensor_chain(line, at)?.rate_hz();
    let (samples, _) = voiced(&name, written, rate_hz)?;
    let bands: Vec<Decidecade> = decidecades(LOWEST_HZ, 0.5 * rate_hz).collect();
    let edges_hz: Vec<(f64, f64)> = bands.iter().map(|b| (b.low_hz(), b.high_hz())).collect();
    let (total, in_bands) =
        band_energies(&samples, rate_hz, &edges_hz).map_err(injection::InjectionError::from)?;
    let law = spreading(line).ok_or_else(|| site(SPREADING))?;
    let ph = line.sea.ph.map(|q| q.si).ok_or_else(|| site("pH"))?;
    let profile = profile(line).map_err(InputError::from)?;
    let depth_m = line.modules[at.module.0].depth_m;
    if !depth_m.is_finite() {
        return Err(RangeError::Input(InputError::NotSaid {
            what: line.module_path(at.module),
            missing: "its depth",
        }));
    }
    let rise_m = depth_m - written.depth_m.si;
    let slant_m = libm::hypot(range_m, rise_m).max(1.0);
    let middle_m = f64::midpoint(depth_m, written.depth_m.si);
    let temperature_degc = profile
        .temperature_degc(middle_m)
        .map_err(InputError::from)?;
    let salinity = profile.salinity(middle_m).map_err(InputError::from)?;
    let mut told = Vec::new();
    for (band, energy) in bands.into_iter().zip(in_bands) {
        let share_db = 10.0 * libm::log10(energy / total);
        // Also where there is no energy at all.
        if share_db.is_nan() || share_db < LEAST_DB {
            continue;
        }
        let absorbed = absorption(band.centre_hz(), temperature_degc, salinity, middle_m, ph)
            .map_err(InputError::from)?;
        let loss_db = transmission_loss_db(law, slant_m, absorbed.total_db_per_km)
            .map_err(InputError::from)?;
        let source_level_db = written.source_level_db.db + share_db;
        told.push(CallBand {
            band,
            source_level_db,
            received_level_db: source_level_db - loss_db,
        });
    }
    Ok(CallSpectrum {
        call: name,
        range_m,
        bands: told,
    })
}
