//! From a sampled curve to ranges, by month and by depth of the hydrophone.
//!
//! The in-band ratio at a horizontal range is source level (as far as it lies in the band), less spreading and absorption over
//! the straight distance between the two depths, less the noise of the month. Shares are read from the curve as seen and from its lower
//! limits; the second is what a requirement is held to.
//!
//! How far a simple law is carried: beyond 20 km it is told as doubtful and beyond 50 km not at all (judgements without a
//! source: there the profile, the bed and the surface decide what is heard). Spherical spreading is doubtful beyond ten water depths
//! already, where surface and bed hold the sound together.

use injection::{
    Bound, Outer, Reach, effective_area_m2, ideal_snr_db, outer_range_m, unbroken_range_m,
};
use quantity::{Dimension, show};
use seawater::Spreading;

use super::way::Way;
use super::{RangeError, Sampled, Subject};

/// Beyond this range a simple law is doubtful, m. A judgement without a source.
pub const SIMPLE_LAW_DOUBTFUL_M: f64 = 20_000.0;
/// Beyond this range no range is given, m: [`seawater::SIMPLE_LAW_LIMIT_M`].
pub const SIMPLE_LAW_REFUSED_M: f64 = seawater::SIMPLE_LAW_LIMIT_M;
/// Water depths beyond which spherical spreading is doubtful. A judgement without a source.
const SPHERICAL_DEPTHS: f64 = 10.0;
/// What the planning formula of ambient noise may be off by, dB (see `seawater::ambient_noise`).
const NOISE_UNCERTAIN_DB: f64 = 5.0;
/// Part of a share asked for that may be found by chance before the share says nothing. A judgement without a source.
pub(crate) const BY_CHANCE_ALLOWED: f64 = 0.1;
/// Shares of which the range is told.
pub(super) const SHARES: [f64; 2] = [0.5, 0.9];

/// Out to where a share of the calls is found.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Found {
    /// The share, 0 to 1.
    pub share: f64,
    /// By the shares as they were seen.
    pub seen: Outer,
    /// By their lower limits at 95 %.
    pub low: Outer,
    /// Out to where it is found without a gap nearer, by the shares as they were seen.
    pub unbroken_seen: Outer,
    /// The same by their lower limits: what a requirement is held to.
    pub unbroken_low: Outer,
}

impl Found {
    pub(crate) fn new(seen: &Reach, low: &Reach, share: f64) -> Self {
        Self {
            share,
            seen: outer_range_m(seen, share),
            low: outer_range_m(low, share),
            unbroken_seen: unbroken_range_m(seen, share),
            unbroken_low: unbroken_range_m(low, share),
        }
    }

    /// Whether the share falls below and is reached again further out.
    #[must_use]
    pub fn has_gaps(&self) -> bool {
        self.unbroken_seen != self.seen || self.unbroken_low != self.low
    }
}

/// What is found over range in one month.
#[derive(Clone, Debug, PartialEq)]
pub struct MonthRange {
    /// The month, 1 to 12; `None` in recorded noise and at a wind of no month.
    pub month: Option<u8>,
    /// The mean wind of the month or the wind that was asked for, m/s; `None` in recorded noise.
    pub wind_m_s: Option<f64>,
    /// Noise in the band, dB re 1 uPa.
    pub noise_level_db: f64,
    /// Out to where a half and nine tenths are found.
    pub found: [Found; 2],
    /// The same, as seen, in noise that is 5 dB louder: what the formula of the noise may be off by.
    pub louder: [Outer; 2],
    /// Area of the disc that has as many of evenly spread calls as are found, m2, and by the lower limits.
    pub area_m2: (f64, f64),
    /// Shares over range as seen, to the farthest that a simple law is carried.
    pub seen: Reach,
    /// By the lower limits.
    pub low: Reach,
    /// What makes it doubtful.
    pub warnings: Vec<String>,
}

/// What a sampled curve means over range for a hydrophone at a depth; `month` names it where it is that of one.
///
/// # Errors
/// [`RangeError`] for a sea outside what the formulas hold for.
pub fn month_range(
    subject: &Subject,
    sampled: &Sampled,
    month: Option<u8>,
    depth_m: f64,
) -> Result<MonthRange, RangeError> {
    let (absorption, mut warnings) = subject.absorption(depth_m)?;
    let snr_db = |range_m: f64| -> Result<f64, RangeError> {
        let loss_db = subject.loss_db(range_m, depth_m, absorption)?;
        Ok(subject.in_band_source_db() - loss_db - sampled.noise_level_db)
    };
    let reach = |bound| {
        Reach::new(
            &sampled.curve,
            bound,
            subject.spread,
            SIMPLE_LAW_REFUSED_M,
            snr_db,
        )
    };
    let (seen, low) = (reach(Bound::Seen)?, reach(Bound::Low)?);
    let found = SHARES.map(|share| Found::new(&seen, &low, share));
    let loud = Reach::new(
        &sampled.curve,
        Bound::Seen,
        subject.spread,
        SIMPLE_LAW_REFUSED_M,
        |r| snr_db(r).map(|db| db - NOISE_UNCERTAIN_DB),
    )?;
    warnings.extend(doubts(subject, &found));
    if let Some(&(_, last)) = seen.shares.last()
        && last > 0.01
    {
        let refused_km = SIMPLE_LAW_REFUSED_M / 1000.0;
        // The share is in the curve; without it the sentence is the same for every wind, and told once.
        warnings.push(format!(
            "calls are still found at {refused_km:.0} km, so the effective area is that within {refused_km:.0} km"
        ));
    }
    Ok(MonthRange {
        month,
        wind_m_s: sampled.wind_m_s,
        noise_level_db: sampled.noise_level_db,
        found,
        louder: SHARES.map(|share| outer_range_m(&loud, share)),
        area_m2: (effective_area_m2(&seen), effective_area_m2(&low)),
        seen,
        low,
        warnings,
    })
}

/// Out to where at least `share` is found by the lower limits and as seen.
pub(crate) fn found(range: &MonthRange, share: f64) -> Found {
    Found::new(&range.seen, &range.low, share)
}

/// A range in words.
pub(crate) fn told(outer: Outer) -> String {
    match outer {
        Outer::Nowhere => "nowhere".to_owned(),
        Outer::At(m) => format!("to {}", show(m.round(), Dimension::Length)),
        Outer::Beyond(m) => format!("beyond {}", show(m, Dimension::Length)),
    }
}

/// What makes ranges doubtful that a simple law was carried to.
pub(crate) fn doubts(subject: &Subject, found: &[Found]) -> Vec<String> {
    let mut all = doubts_of_ranges(found);
    all.extend(doubts_of_law(subject, farthest_m(found)));
    all
}

fn farthest_m(found: &[Found]) -> f64 {
    let each = found.iter().filter_map(|f| match f.seen {
        Outer::Nowhere => None,
        Outer::At(m) | Outer::Beyond(m) => Some(m),
    });
    each.fold(0.0, f64::max)
}

/// What makes ranges doubtful whatever the law.
pub(crate) fn doubts_of_ranges(found: &[Found]) -> Vec<String> {
    let mut all = Vec::new();
    let farthest_m = farthest_m(found);
    let beyond = found.iter().any(|f| matches!(f.seen, Outer::Beyond(_)));
    for gap in found.iter().filter(|f| f.has_gaps()) {
        all.push(format!(
            "the share falls below {} and is reached again further out: without a gap it is found {} as seen, {} by the lower limits; last {} as seen, {} by the lower limits",
            show(gap.share, Dimension::Ratio),
            told(gap.unbroken_seen),
            told(gap.unbroken_low),
            told(gap.seen),
            told(gap.low),
        ));
    }
    let refused_km = SIMPLE_LAW_REFUSED_M / 1000.0;
    if beyond {
        all.push(format!(
            "a share is still found at {refused_km:.0} km: what a simple spreading law gives beyond is arithmetic rather than physics, and is not told"
        ));
    } else if farthest_m > SIMPLE_LAW_DOUBTFUL_M {
        all.push(format!(
            "beyond {:.0} km the profile, the bed and the surface decide what is heard, and a simple spreading law does not know them (judgement)",
            SIMPLE_LAW_DOUBTFUL_M / 1000.0
        ));
    }
    all
}

/// What makes the plan's own law doubtful, carried to a range.
fn doubts_of_law(subject: &Subject, farthest_m: f64) -> Vec<String> {
    let mut all = Vec::new();
    if subject.asks_for_rays {
        all.push(
            "the site asks for rays, and these ranges rest on the spreading law alone: what rays say stands in the table of laws, and `check` judges a `shall` under them all (`soundline paths` shows the rays)".to_owned(),
        );
    }
    let spherical_m = SPHERICAL_DEPTHS * subject.water_depth_m;
    if subject.way == Way::Law(Spreading::Spherical) && farthest_m > spherical_m {
        all.push(format!(
            "spherical spreading is carried beyond {SPHERICAL_DEPTHS:.0} water depths ({spherical_m:.0} m), where surface and bed hold the sound together (judgement)"
        ));
    }
    if subject.way == Way::Law(Spreading::Cylindrical) {
        all.push(
            "cylindrical spreading from 1 m on takes all sound as trapped from the source on: ranges are too long".to_owned(),
        );
    }
    all
}

/// Ranges of half and nine tenths at several depths of the hydrophone, from the surface layer to the bed: depth in m, and the
/// ranges.
///
/// # Errors
/// As [`month_range`].
pub fn depth_ranges(
    subject: &Subject,
    sampled: &Sampled,
    month: Option<u8>,
) -> Result<Vec<(f64, [Found; 2])>, RangeError> {
    const DEPTHS: u32 = 8;
    let bed_m = match subject.water_depth_m {
        m if m.is_finite() && m > 0.0 => m,
        _ => subject
            .hydrophone_depth_m
            .max(subject.source_depth_m)
            .max(1.0),
    };
    let mut depths: Vec<f64> = (1..=DEPTHS)
        .map(|i| bed_m * f64::from(i) / f64::from(DEPTHS))
        .collect();
    depths.push(subject.hydrophone_depth_m);
    depths.sort_by(f64::total_cmp);
    depths.dedup();
    depths
        .into_iter()
        .map(|depth_m| {
            Ok((
                depth_m,
                month_range(subject, sampled, month, depth_m)?.found,
            ))
        })
        .collect()
}

/// What the detector needs more than the ideal energy detector for a share.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Loss {
    /// The share, 0 to 1.
    pub share: f64,
    /// Ratio at which the detector finds it, dB; `None` where it does not.
    pub needed_db: Option<f64>,
    /// Ratio at which the ideal energy detector does, dB; `None` where it is not defined.
    pub ideal_db: Option<f64>,
    /// False alarm of the ideal one for each decision.
    pub false_alarm: f64,
    /// Whether that is the rate that was counted; otherwise its upper limit, as none was: then the loss is at most this.
    pub counted: bool,
    /// Whether events in the noise alone make up so much of what was found that the ratio says nothing of the detector.
    pub by_chance: bool,
}

impl Loss {
    /// The loss, dB; `None` where one of the ratios is missing or was found by chance.
    #[must_use]
    pub fn loss_db(&self) -> Option<f64> {
        if self.by_chance {
            return None;
        }
        Some(self.needed_db? - self.ideal_db?)
    }
}

/// Losses at a half and nine tenths against the ideal energy detector of the same band and of the call's energy duration, at the
/// same rate of false alarms (that of all `sampled` together; the upper limit at 95 % where there were none).
///
/// # Errors
/// [`RangeError::Injection`] where no limit can be given.
pub fn losses(subject: &Subject, sampled: &[&Sampled]) -> Result<Vec<[Loss; 2]>, RangeError> {
    let alarms: u64 = sampled.iter().map(|s| s.false_alarms).sum();
    let listened_s: f64 = sampled.iter().map(|s| s.listened_s).sum();
    let counted = alarms > 0;
    let per_s = if counted {
        alarms as f64 / listened_s
    } else {
        chance::garwood(0, listened_s, 0.95)
            .map_err(injection::InjectionError::from)?
            .1
    };
    let false_alarm = per_s * subject.energy_duration_s();
    sampled
        .iter()
        .map(|s| {
            let (low, high) = s.by_chance_limits()?;
            Ok(SHARES.map(|share| {
                // Undefined where the ideal one would cry all the time.
                let ideal_db = ideal_snr_db(subject.time_bandwidth(), false_alarm, share).ok();
                let allowed = BY_CHANCE_ALLOWED * share;
                let beats = |ideal_db: f64| {
                    s.curve
                        .snr_at(share, Bound::Low)
                        .is_some_and(|db| db < ideal_db)
                };
                Loss {
                    share,
                    needed_db: s.curve.snr_at(share, Bound::Seen),
                    ideal_db,
                    false_alarm,
                    counted,
                    by_chance: low > allowed || (high > allowed && ideal_db.is_some_and(beats)),
                }
            }))
        })
        .collect()
}
