//! What a chain hears on the bench with a dummy in place of its element: its own noise and all that is picked up from what switches beside it, against the sea.
//!
//! Levels are as recorded: the sea counts behind the high-pass, as it would be recorded.

use signal::Decidecade;

use crate::chain::ChainBudget;
use crate::verdict::Ruling;

/// So far what a chain makes by itself is to lie below the quietest sea, dB (common practice): it then adds 0.4 dB to it.
pub const DUMMY_CLEAR_DB: f64 = 10.0;

/// A decidecade of a recording of a dummy element.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DummyBand {
    /// The band.
    pub band: Decidecade,
    /// Its highest level, dB re 1 uPa as recorded.
    pub level_db: f64,
    /// The sea of the quietest month in it, dB re 1 uPa as it would be recorded.
    pub sea_db: f64,
    /// How far the level lies below [`DUMMY_CLEAR_DB`] under the sea, dB; negative above.
    pub margin_db: f64,
}

/// A recording of a dummy element against the sea.
#[derive(Clone, Debug, PartialEq)]
pub struct DummyJudged {
    /// By band, lowest first.
    pub bands: Vec<DummyBand>,
    /// Centres of the bands that are not judged, as they reach above what the converter's own filter is taken to pass, Hz.
    pub above_filter_hz: Vec<f64>,
}

impl DummyJudged {
    /// The band with the least margin.
    #[must_use]
    pub fn worst(&self) -> Option<&DummyBand> {
        let all = self.bands.iter();
        all.min_by(|a, b| a.margin_db.total_cmp(&b.margin_db))
    }

    /// What all of it comes to; `None` where no band is judged.
    #[must_use]
    pub fn ruling(&self) -> Option<Ruling> {
        let worst = self.worst()?;
        Some(match worst.margin_db < 0.0 {
            true => Ruling::Broken,
            false => Ruling::Met,
        })
    }
}

/// Judges levels of decidecades, dB re 1 uPa, that were recorded with a dummy in place of the element.
///
/// # Errors
/// Why the sea that they are held against is not known.
pub fn judge_dummy(
    budget: &ChainBudget,
    heard: &[(Decidecade, f64)],
) -> Result<DummyJudged, String> {
    if let Some(why) = &budget.sea_unknown {
        return Err(why.clone());
    }
    let mut judged = DummyJudged {
        bands: Vec::new(),
        above_filter_hz: Vec::new(),
    };
    for (band, level_db) in heard {
        let own = budget.bands.iter().find(|b| b.band.index == band.index);
        match own.map(|own| (own.above_filter, own.sea, own.high_pass_loss_db)) {
            Some((false, Some(sea), loss_db)) => {
                let sea_db = sea.quietest_db - loss_db;
                judged.bands.push(DummyBand {
                    band: *band,
                    level_db: *level_db,
                    sea_db,
                    margin_db: sea_db - DUMMY_CLEAR_DB - level_db,
                });
            }
            Some((true, ..)) | None => judged.above_filter_hz.push(band.centre_hz()),
            Some((false, None, _)) => {
                return Err(format!(
                    "the noise of the sea at {} Hz is not known",
                    band.nominal_hz()
                ));
            }
        }
    }
    Ok(judged)
}
