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
use seawater::{Bed, Profile, RayLimits, RaySea, Spreading, incoherent_loss_db};

use super::over::{SHARES, SIMPLE_LAW_REFUSED_M};
use super::subject::Way;
use super::{Found, RangeError, Sampled, Subject};
use crate::attested_verdicts::day;
use crate::cell_verdicts::MONTHS;
use crate::chain::months_in_water;
use crate::input::bed;
use crate::memo::{Job, Memo, canonical};

/// Coefficients of the laws that are looked at, dB a decade. A judgement, see above.
pub(crate) const SURVEY_DB_PER_DECADE: [f64; 6] = [15.0, 16.0, 17.0, 18.0, 19.0, 20.0];

/// Wavelengths of depth from which rays hold (common practice, `docs/method/propagation.md`).
const RAY_WAVELENGTHS: f64 = 10.0;
/// Ranges at which rays are followed, of each octave; read on straight lines over the logarithm between.
const RAYS_PER_OCTAVE: f64 = 16.0;
/// Which rays are followed: far more bounces than a picture needs, as each still carries something of the sum.
const RAYS: RayLimits = RayLimits {
    most_bed_bounces: 40,
    most_surface_bounces: 40,
    faintest_db: 30.0,
    most_paths: 32,
};

/// Loss along all rays together, their powers added: range, m, and dB re 1 m with the absorption, infinite where none comes.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct RayLoss(Vec<(f64, f64)>);

/// All that rays to a hydrophone are followed by, kept from check to check.
struct Followed<'a> {
    profile: &'a Profile,
    bed: Bed,
    seabed_m: f64,
    source_depth_m: f64,
    depth_m: f64,
    /// The frequency that stands for the sound, Hz.
    frequency_hz: f64,
    ph: f64,
}

canonical!('a Followed<'a> { seabed_m, source_depth_m, depth_m, frequency_hz, ph } debug { profile, bed });

impl Job for Followed<'_> {
    const METHOD: &'static str = "loss along rays/1";
    type Out = Result<RayLoss, String>;

    fn run(&self, _: &Memo) -> Self::Out {
        RayLoss::followed(self)
    }

    fn bytes(out: &Self::Out) -> usize {
        out.as_ref()
            .map_or(0, |rays| size_of_val(rays.0.as_slice()))
    }
}

impl RayLoss {
    /// To a hydrophone of the plan, for a sound at a frequency that stands for it.
    ///
    /// # Errors
    /// Why no rays can be followed, in words.
    pub(super) fn of(
        line: &Line,
        profile: &Profile,
        (source_depth_m, depth_m): (f64, f64),
        (frequency_hz, ph): (f64, f64),
        memo: &Memo,
    ) -> Result<Self, String> {
        let followed = Followed {
            profile,
            bed: bed(line).ok_or("the site says no `bottom`")?,
            seabed_m: line.sea.water_depth_m.si,
            source_depth_m,
            depth_m,
            frequency_hz,
            ph,
        };
        memo.of(&followed).as_ref().clone()
    }

    fn followed(by: &Followed<'_>) -> Result<Self, String> {
        let Followed {
            profile,
            bed,
            seabed_m,
            source_depth_m,
            depth_m,
            frequency_hz,
            ph,
        } = *by;
        let words = |error: seawater::SeaError| error.to_string();
        let speed_m_s = profile
            .harmonic_mean_sound_speed_m_s(0.0, seabed_m)
            .map_err(words)?;
        let needed_m = RAY_WAVELENGTHS * speed_m_s / frequency_hz;
        if seabed_m < needed_m {
            return Err(format!(
                "at {frequency_hz:.0} Hz they need {needed_m:.0} m of water, ten wavelengths (common practice), and here are {seabed_m:.0} m"
            ));
        }
        let sea = RaySea::new(profile, seabed_m, bed, frequency_hz, ph).map_err(words)?;
        let pair = sea.between(source_depth_m, depth_m).map_err(words)?;
        let steps = (RAYS_PER_OCTAVE * libm::log2(SIMPLE_LAW_REFUSED_M)).ceil();
        let at = |i: u32| {
            let range_m = libm::pow(SIMPLE_LAW_REFUSED_M, f64::from(i) / steps);
            let found = pair.eigenrays(range_m, &RAYS).map_err(words)?;
            Ok((range_m, incoherent_loss_db(&found.paths)))
        };
        (0..=steps as u32)
            .map(at)
            .collect::<Result<_, _>>()
            .map(Self)
    }

    /// Loss over a horizontal range, dB re 1 m.
    pub(super) fn loss_db(&self, range_m: f64) -> f64 {
        let after = self.0.partition_point(|(m, _)| *m <= range_m);
        let before = self.0[after.saturating_sub(1)];
        let Some(next) = self.0.get(after) else {
            return before.1;
        };
        if before.1.is_infinite() || next.1.is_infinite() {
            return f64::INFINITY;
        }
        let part = libm::log(range_m / before.0) / libm::log(next.0 / before.0);
        before.1 + part.max(0.0) * (next.1 - before.1)
    }
}

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
