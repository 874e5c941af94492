//! What a chain hears on the bench with a dummy in place of its element: its own noise and all that is picked up from what switches beside it, against the sea.
//!
//! Levels are as recorded: the sea counts behind the high-pass, as it would be recorded.

use quantity::show_number;
use signal::Decidecade;

use crate::chain::ChainBudget;
use crate::start_words::listed;
use crate::verdict::Ruling;

/// So far what a chain makes by itself is to lie below the quietest sea, dB (common practice): it then adds 0.4 dB to it.
pub const DUMMY_CLEAR_DB: f64 = 10.0;

/// So far below what it must make by itself a chain is taken not to be heard, dB (ours): more than a table of self-noise errs.
pub const DUMMY_LOST_DB: f64 = 10.0;

/// How much of a recording of a dummy element was heard.
#[derive(Clone, Debug, PartialEq)]
pub struct DummyHeard {
    /// Length of its periods, s.
    pub every_s: f64,
    /// Periods that were averaged over as a whole.
    pub whole: u64,
    /// Periods in which all is zero.
    pub silent: u64,
    /// Samples at full scale: the seconds that hold them are in no level.
    pub clipped_samples: u64,
    /// States of the module of which nobody says that they were recorded.
    pub states_missing: Vec<String>,
}

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
    /// What the chain must make by itself in it, dB re 1 uPa as it would be recorded; where its noise is not known, the least of it.
    pub own_db: f64,
}

/// A recording of a dummy element against the sea.
#[derive(Clone, Debug, PartialEq)]
pub struct DummyJudged {
    /// By band, lowest first.
    pub bands: Vec<DummyBand>,
    /// Centres of the bands that are not judged, as they reach above what the converter's own filter is taken to pass, Hz.
    pub above_filter_hz: Vec<f64>,
    /// Why it shows nothing where no band is too loud, with what to do.
    pub unsure: Option<String>,
}

impl DummyJudged {
    /// The band with the least margin.
    #[must_use]
    pub fn worst(&self) -> Option<&DummyBand> {
        let all = self.bands.iter();
        all.min_by(|a, b| a.margin_db.total_cmp(&b.margin_db))
    }

    /// What all of it comes to; `None` where it is unknown, as no band is judged, or none is too loud in a recording that shows nothing.
    #[must_use]
    pub fn ruling(&self) -> Option<Ruling> {
        let worst = self.worst()?;
        match (worst.margin_db < 0.0, &self.unsure) {
            (true, _) => Some(Ruling::Broken),
            (false, None) => Some(Ruling::Met),
            (false, Some(_)) => None,
        }
    }

    /// Why a recording in which no band is too loud shows nothing.
    fn shows_nothing(&self, of: &DummyHeard) -> Option<String> {
        if !of.states_missing.is_empty() {
            let each = of.states_missing.iter().map(|s| format!("`{s}`"));
            return Some(format!(
                "of {} nobody says that it was recorded, and in each state something else switches: record each, and name it with `--state`",
                listed(&each.collect::<Vec<_>>())
            ));
        }
        if of.whole == 0 {
            return Some(format!(
                "no period of {} s is whole, and in less a level may read low: record longer, or write a shorter `--every`",
                show_number(of.every_s)
            ));
        }
        if of.clipped_samples > 0 {
            return Some(format!(
                "the seconds with samples at full scale ({} of them) are in no level: find what drives the chain there, and record again",
                of.clipped_samples
            ));
        }
        if of.silent > 0 {
            return Some(
                "some of it is exact silence, which no chain makes: see that it is connected throughout, and record again".to_owned(),
            );
        }
        let below = |b: &DummyBand| b.own_db - b.level_db;
        let lost = self.bands.iter().filter(|b| below(b) > DUMMY_LOST_DB);
        let (count, all) = (lost.clone().count(), self.bands.len());
        let lowest = lost.max_by(|a, b| below(a).total_cmp(&below(b)))?;
        (2 * count > all).then(|| {
            format!(
                "in {count} of {all} bands it lies more than {DUMMY_LOST_DB} dB below what the chain makes by itself as the plan has it (at {} {:.1} dB, and its own are {:.1} dB): see that the chain is connected and powered, and that `sensitivity`, `gain`, `full_scale` and `self_noise` are its own, and record again",
                lowest.band.label(),
                lowest.level_db,
                lowest.own_db
            )
        })
    }
}

/// Judges levels of decidecades, dB re 1 uPa, that were recorded with a dummy in place of the element: the highest of each in any period, whole or in part.
///
/// # Errors
/// Why the sea that they are held against is not known.
pub fn judge_dummy(
    budget: &ChainBudget,
    heard: &[(Decidecade, f64)],
    of: &DummyHeard,
) -> Result<DummyJudged, String> {
    if let Some(why) = &budget.sea_unknown {
        return Err(why.clone());
    }
    let mut judged = DummyJudged {
        bands: Vec::new(),
        above_filter_hz: Vec::new(),
        unsure: None,
    };
    for (band, level_db) in heard {
        let own = budget.bands.iter().find(|b| b.band.index == band.index);
        match own.map(|own| (own.above_filter, own.sea, own)) {
            Some((false, Some(sea), own)) => {
                let loss_db = own.high_pass_loss_db;
                let sea_db = sea.quietest_db - loss_db;
                judged.bands.push(DummyBand {
                    band: *band,
                    level_db: *level_db,
                    sea_db,
                    margin_db: sea_db - DUMMY_CLEAR_DB - level_db,
                    own_db: own.chain.total_db - loss_db,
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
    judged.unsure = judged.shows_nothing(of);
    Ok(judged)
}
