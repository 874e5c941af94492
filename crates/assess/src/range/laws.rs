//! The laws under which a range is looked at while none is known to hold at the place.
//!
//! A spreading law that nobody measured is a guess: between 15 and 20 decibels a decade lie most simple laws (judgement; a measured shelf case
//! near 15 in [`seawater::Spreading`]), and a range differs by a factor of several from one to the other. So the same curve of found share against
//! ratio is taken through each of them. Where the loss was measured, the laws begin where the measurement ends: beyond its greatest range, and
//! nearer than its least, from the loss that it has there. Then the larger coefficient loses more beyond and less nearer.

use injection::{Bound, Outer, Reach, Shares};
use jiff::tz::Offset;
use plan::{Line, LossMeasured};
use quantity::{Dimension, Law, show, show_number};
use seawater::Spreading;

use super::over::{SHARES, SIMPLE_LAW_REFUSED_M};
use super::way::Way;
use super::{Found, RangeError, Sampled, Subject};
use crate::attested_verdicts::day;
use crate::cell_verdicts::MONTHS;
use crate::months::months_in_water;

/// Coefficients of the laws that are looked at, dB a decade. A judgement, see above.
pub(crate) const SURVEY_DB_PER_DECADE: [f64; 6] = [15.0, 16.0, 17.0, 18.0, 19.0, 20.0];

/// A law of spreading that is looked at.
#[derive(Clone, Debug, PartialEq)]
pub struct SurveyLaw {
    /// What it is, in words.
    pub words: String,
    /// Whether it is what the plan writes.
    pub own: bool,
    pub(super) way: Way,
}

/// A measured law, as far as a verdict tells of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Local {
    /// Greatest range at which it was measured, m.
    pub farthest_m: f64,
    /// Lowest and highest frequency at which it was measured, Hz.
    pub band_hz: (f64, f64),
    /// Who measured it, when, and where it is written down.
    pub words: String,
    /// In which month it was measured and in which the line hears, where these are not the one.
    pub season: Option<String>,
}

/// Ranges of a half and nine tenths under one law.
#[derive(Clone, Debug, PartialEq)]
pub struct LawRange {
    /// The law in words.
    pub words: String,
    /// Whether it is what the plan writes.
    pub own: bool,
    /// Out to where a half and nine tenths are found.
    pub found: [Found; 2],
}

/// The measured law of a site.
pub(super) fn local(line: &Line) -> Option<Local> {
    let measured = measured(line)?;
    Some(Local {
        farthest_m: measured.farthest_m.si,
        band_hz: (measured.band_hz.0.si, measured.band_hz.1.si),
        season: season(line, measured),
        words: format!(
            "the loss was measured to {} by {} on {} ({})",
            show(measured.farthest_m.si, Dimension::Length),
            measured.by,
            day(measured.date),
            measured.document
        ),
    })
}

impl Subject {
    /// Why a measured law says nothing of the call, in words; `None` where it does, or none was measured.
    #[must_use]
    pub fn other_sound(&self) -> Option<String> {
        let local = self.local.as_ref()?;
        let (low_hz, high_hz) = self.call_band_hz;
        let inside = local.band_hz.0 <= low_hz && high_hz <= local.band_hz.1;
        let range = |(low, high): (f64, f64)| {
            format!(
                "{} to {}",
                show(low, Dimension::Frequency),
                show(high, Dimension::Frequency)
            )
        };
        (!inside).then(|| {
            format!(
                "{}, in {}, and the call lies in {}: bed, surface and the depth of the water carry other frequencies otherwise; a loss measured there settles it",
                local.words,
                range(local.band_hz),
                range(self.call_band_hz)
            )
        })
    }
}

/// A law of one month beside the months in which the line hears.
fn season(line: &Line, of: &LossMeasured) -> Option<String> {
    let month = usize::from(Offset::UTC.to_datetime(of.date).month().unsigned_abs()) - 1;
    let hears = months_in_water(line);
    let (first, last) = (hears.first()?, hears.last()?);
    (hears != [month]).then(|| {
        let when = match first == last {
            true => MONTHS[*first].to_owned(),
            false => format!("{} to {}", MONTHS[*first], MONTHS[*last]),
        };
        format!(
            "it was measured in {}, and the line hears in {when}: another profile may carry sound otherwise",
            MONTHS[month]
        )
    })
}

/// The measurement that a law of spreading rests on, in words.
pub(crate) fn measured_loss(line: &Line) -> Option<String> {
    let of = measured(line)?;
    Some(format!(
        "the loss of sound to {} on {} by {} ({})",
        show(of.farthest_m.si, Dimension::Length),
        day(of.date),
        of.by,
        of.document
    ))
}

fn measured(line: &Line) -> Option<&LossMeasured> {
    let used = line.sea.spreading == Some(plan::Spreading::Measured);
    line.sea.loss_measured.as_ref().filter(|_| used)
}

/// The laws that are looked at for a site whose own way is `way`, and its rays where they can be followed: then they are the plan's own if it asks for them. Where depth
/// decides the loss, the ends of the depths at which a hydrophone hangs are looked at too: `ends_m`, of which each has rays of its own after those of its usual depth.
pub(super) fn surveyed(line: &Line, way: Way, rays: bool, ends_m: &[f64]) -> Vec<SurveyLaw> {
    let mut all = laws(line, way);
    let at = |depth_m: f64| {
        format!(
            ", with the hydrophone at {}",
            show(depth_m, Dimension::Length)
        )
    };
    if let Way::Image { low_hz, high_hz } = way {
        all.extend(ends_m.iter().map(|depth_m| SurveyLaw {
            words: format!("the straight path and its image{}", at(*depth_m)),
            own: false,
            way: Way::ImageAt {
                low_hz,
                high_hz,
                depth_m: *depth_m,
            },
        }));
    }
    if rays {
        let asked = line.sea.paths == Some(plan::Paths::Rays);
        for law in &mut all {
            law.own &= !asked;
        }
        all.push(SurveyLaw {
            words: "rays through the profile".to_owned(),
            own: asked,
            way: Way::Rays { to: 0 },
        });
        all.extend(ends_m.iter().enumerate().map(|(end, depth_m)| SurveyLaw {
            words: format!("rays through the profile{}", at(*depth_m)),
            own: false,
            way: Way::Rays { to: end + 1 },
        }));
    }
    all
}

fn laws(line: &Line, way: Way) -> Vec<SurveyLaw> {
    let mut all: Vec<SurveyLaw> = Vec::new();
    let mut add = |words: String, own: bool, way: Way| {
        if !all.iter().any(|law| law.way == way) {
            all.push(SurveyLaw { words, own, way });
        }
    };
    if let Some(measured) = measured(line) {
        add(
            format!("{} lg r, as measured", show_number(measured.slope.db)),
            true,
            way,
        );
        let far_m = measured.farthest_m.si;
        let near_m = measured.nearest_m.map_or(1.0, |q| q.si);
        for (law, slope_db) in measured_corners(measured) {
            for outer in SURVEY_DB_PER_DECADE {
                let words = format!(
                    "{} lg r measured to {}, then {outer} lg r",
                    show_number(slope_db),
                    show(far_m, Dimension::Length)
                );
                let joined = Way::Joined {
                    law,
                    from_m: near_m,
                    to_m: far_m,
                    outer_db_per_decade: outer,
                };
                add(words, false, joined);
            }
        }
        return all;
    }
    let power = |slope_db_per_decade| {
        Way::Law(match slope_db_per_decade {
            15.0 => Spreading::Practical,
            20.0 => Spreading::Spherical,
            _ => Spreading::Power {
                slope_db_per_decade,
            },
        })
    };
    for slope in SURVEY_DB_PER_DECADE {
        let law = power(slope);
        add(format!("{slope} lg r"), law == way, law);
    }
    match way {
        Way::Law(Spreading::Cylindrical) => add("10 lg r".to_owned(), true, way),
        Way::Law(Spreading::Transition { at_m }) => {
            add(transition(at_m), true, way);
            if let Some(plan::Spreading::Transition { at_m: written }) = line.sea.spreading {
                for at_m in ends(written.si, written.law) {
                    let law = Way::Law(Spreading::Transition {
                        at_m: at_m.max(1.0),
                    });
                    add(transition(at_m.max(1.0)), false, law);
                }
            }
        }
        Way::Image { .. } => add("the straight path and its image".to_owned(), true, way),
        Way::Law(_) | Way::Joined { .. } | Way::Rays { .. } | Way::ImageAt { .. } => {}
    }
    all
}

fn transition(at_m: f64) -> String {
    format!("20 lg r to {}, then 10 lg r", show(at_m, Dimension::Length))
}

/// The ends of what a value may be (k = 2); none where it has no spread.
fn ends(value: f64, law: Option<Law>) -> Vec<f64> {
    match law {
        None => Vec::new(),
        Some(Law::Normal { half_width } | Law::Uniform { half_width }) => {
            vec![value - half_width, value + half_width]
        }
    }
}

/// A measured law as it is written and at the ends of its uncertainties, each with its slope, dB.
fn measured_corners(measured: &LossMeasured) -> Vec<(Spreading, f64)> {
    let with_nominal = |value: f64, law| {
        let mut all = vec![value];
        all.extend(ends(value, law));
        all
    };
    let mut all = Vec::new();
    for slope_db in with_nominal(measured.slope.db, measured.slope.law) {
        // The ends of an uncertainty may leave what a law can be.
        let slope_db = slope_db.clamp(10.0, 40.0);
        match measured.known {
            None => all.push((through(slope_db, None), slope_db)),
            Some((at_m, loss)) => {
                for loss_db in with_nominal(loss.db, loss.law) {
                    let loss_db = loss_db.max(0.0);
                    all.push((through(slope_db, Some((at_m.si, loss_db))), slope_db));
                }
            }
        }
    }
    all
}

fn through(slope_db_per_decade: f64, known: Option<(f64, f64)>) -> Spreading {
    let (at_m, loss_db) = known.unwrap_or((1.0, 0.0));
    Spreading::Through {
        slope_db_per_decade,
        at_m,
        loss_db,
    }
}

/// Shares over range under each law, as seen and by the lower limits.
pub(crate) fn reaches(
    subject: &Subject,
    sampled: &Sampled,
    depth_m: f64,
) -> Result<Vec<(Reach, Reach)>, RangeError> {
    let (absorption, _) = subject.absorption(depth_m)?;
    let shares = |bound| Shares::new(&sampled.curve, bound, subject.spread);
    let (seen, low) = (shares(Bound::Seen), shares(Bound::Low));
    let at_1_m_db = subject.in_band_source_db() - sampled.noise_level_db;
    let under = |law: &SurveyLaw| {
        let snr_db = |range_m: f64| -> Result<f64, RangeError> {
            Ok(at_1_m_db - subject.loss_by(law.way, range_m, depth_m, absorption)?)
        };
        let reach = |shares| Reach::by_way(shares, SIMPLE_LAW_REFUSED_M, snr_db);
        Ok((reach(&seen)?, reach(&low)?))
    };
    subject.laws.iter().map(under).collect()
}

/// Ranges of a half and nine tenths under each law that is looked at.
///
/// # Errors
/// [`RangeError`] for a sea outside what the formulas hold for.
pub fn law_ranges(
    subject: &Subject,
    sampled: &Sampled,
    depth_m: f64,
) -> Result<Vec<LawRange>, RangeError> {
    let each = subject
        .laws
        .iter()
        .zip(reaches(subject, sampled, depth_m)?)
        .map(|(law, (seen, low))| LawRange {
            words: law.words.clone(),
            own: law.own,
            found: SHARES.map(|share| Found::new(&seen, &low, share)),
        });
    Ok(each.collect())
}

/// A range, m, where nothing is found 0, and beyond what is computed as far as that goes.
pub(crate) fn at_least_m(outer: Outer) -> f64 {
    match outer {
        Outer::Nowhere => 0.0,
        Outer::At(m) | Outer::Beyond(m) => m,
    }
}
