//! The head of every output: what was measured, with which calibration, by which rules.

use std::num::NonZeroU32;
use std::path::Path;

use assess::input::{InputError, sensor_chain};
use hearing::Reference;
use plan::{Line, SensorKind};
use signal::{AIR_REFERENCE_UPA, WATER_REFERENCE_UPA, peak_level_db};

use super::columns::Columns;
use crate::listen::{Assigned, ListenError};
use beside::PROGRAM;

/// What the levels of a sensor are told against.
pub(super) fn reference(line: &Line, assigned: &Assigned) -> Reference {
    match line.sensor(assigned.sensor).kind {
        SensorKind::Microphone => Reference::Air,
        _ => Reference::Water,
    }
}

/// The same, uPa.
pub(super) fn reference_upa(reference: Reference) -> f64 {
    match reference {
        Reference::Air => AIR_REFERENCE_UPA,
        Reference::Water | Reference::FullScale => WATER_REFERENCE_UPA,
    }
}

/// What the head of every output tells about.
pub(super) struct About<'a> {
    pub(super) plan: &'a Path,
    pub(super) plan_digest: &'a str,
    pub(super) every: NonZeroU32,
    pub(super) line: &'a Line,
    pub(super) assigned: &'a [Assigned],
}

/// The head: names and texts.
pub(super) fn head(
    about: &About<'_>,
    columns: &Columns,
) -> Result<Vec<(String, String)>, ListenError> {
    let mut head = vec![
        ("format".to_owned(), "measures/1".to_owned()),
        ("program".to_owned(), PROGRAM.to_owned()),
        ("arithmetic".to_owned(), "scalar".to_owned()),
        ("plan".to_owned(), about.plan.display().to_string()),
        ("plan digest".to_owned(), about.plan_digest.to_owned()),
        ("every".to_owned(), format!("{} s", about.every)),
    ];
    for assigned in about.assigned {
        head.push((assigned.path.clone(), calibration(about.line, assigned)?));
    }
    let bands = match (columns.bands.first(), columns.bands.last()) {
        (Some(first), Some(last)) => format!(
            "{} to {} (nominal), IEC 61260-1 class 1; no higher one can be had at the rate of the recordings",
            first.label(),
            last.label()
        ),
        _ => "none".to_owned(),
    };
    for (key, text) in [
        ("decidecade bands", bands.as_str()),
        (
            "density percentiles",
            "of segments of 1 s, Hann window, half overlapping, density in each band; q per cent of the segments lie at or below pq (nearest rank)",
        ),
        (
            "kurtosis",
            "about the mean: 3 for Gaussian noise, 1.5 for a sine",
        ),
        (
            "left out",
            "gaps are not filled, and seconds with samples at full scale are in no figure: the sound was louder there; averaged_s says what the figures are of",
        ),
    ] {
        head.push((key.to_owned(), text.to_owned()));
    }
    Ok(head)
}

/// The chain of a sensor and its calibration, in words.
fn calibration(line: &Line, assigned: &Assigned) -> Result<String, InputError> {
    let chain = sensor_chain(line, assigned.sensor)?;
    let sensor = line.sensor(assigned.sensor);
    let reference = reference(line, assigned);
    let full_scale_db = peak_level_db(chain.full_scale_upa(), reference_upa(reference));
    let mut text = format!(
        "channel {}, levels re {}, exposure re {}, density re {}; a sample of full scale is {full_scale_db:.3} dB re {}",
        assigned.channel.unwrap_or(1),
        reference.pressure(),
        reference.exposure(),
        reference.density(),
        reference.pressure()
    );
    if let Some(parts) = &sensor.chain {
        let per = match sensor.kind {
            SensorKind::Microphone => "Pa",
            _ => "uPa",
        };
        text += &format!(
            " (sensitivity {} dB re 1 V/{per}, gain {} dB, full scale {} V peak, {} bit, {} Hz)",
            parts.sensitivity_db.db,
            parts.gain_db.db,
            parts.full_scale_v.si,
            parts.bits,
            parts.rate_hz.si
        );
        match parts.high_pass {
            Some(high_pass) => {
                text += &format!(
                    "; its high-pass of {} Hz, {} poles, is not undone",
                    high_pass.corner_hz.si, high_pass.poles
                );
            }
            None => text += "; no high-pass is written",
        }
    }
    text += &match &sensor.calibrated {
        None => "; no calibration is written".to_owned(),
        Some(calibration) => {
            let date = calibration.date.to_string();
            let date = date.split('T').next().unwrap_or_default();
            let uncertainty = match &calibration.uncertainty_db {
                Some(uncertainty) => format!("uncertainty {} dB (k = 2)", uncertainty.db),
                None => "uncertainty not written".to_owned(),
            };
            format!("; calibrated {date} by {}, {uncertainty}", calibration.by)
        }
    };
    Ok(text)
}
