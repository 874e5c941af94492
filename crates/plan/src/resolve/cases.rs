//! Design cases.

use quantity::{Dimension, show};

use super::site::current;
use super::{Resolver, waves};
use crate::line::{Case, CaseWave, CaseWind, Flow, Line, Q, Sea, Tides, Unwritten};
use crate::mistake::{Code, Mistake};
use crate::read::Fields;

/// What the ids of cases with growth end on.
const FOULED: &str = "-fouled";

/// Surges raise the water of open coasts above its tide by less than this, and lower it by less, m (common practice).
const SURGE_M: f64 = 5.0;
/// Where no tide is written it may be the largest that there is, m from its mean level (common knowledge: 16 m from lowest to highest).
const LARGEST_TIDE_M: f64 = 8.0;

/// Tells a level of the water that no surge reaches: a depth that was written for a level, or a tide that was not written.
fn beyond_the_tide(r: &mut Resolver<'_>, sea: &Sea, level: Q) {
    let (lowest_m, highest_m) = sea
        .tide_m
        .map_or((-LARGEST_TIDE_M, LARGEST_TIDE_M), |(lowest, highest)| {
            (lowest.si, highest.si)
        });
    let over_m = (level.si - highest_m).max(lowest_m - level.si);
    if over_m.is_nan() || over_m <= SURGE_M {
        return;
    }
    let metres = |m: f64| show(m, Dimension::Length);
    let message = match sea.tide_m {
        Some(_) => format!(
            "{}: the water stands {} beyond the tide of the site",
            r.part,
            metres(over_m)
        ),
        None => format!(
            "{}: the water stands {} from the level of `water_depth`, further than a tide with a surge",
            r.part,
            metres(libm::fabs(level.si))
        ),
    };
    let mut told = Mistake::error(Code::OutOfRange, level.at, message)
        .label(format!(
            "in water of {}",
            metres(sea.water_depth_m.si + level.si)
        ))
        .related(sea.water_depth_m.at, "the depth of the site");
    if let Some((lowest, _)) = sea.tide_m {
        told = told.related(lowest.at, "its tide");
    }
    r.tell(told.help("`water_level` says how much higher the water stands than `water_depth`, not how deep it is. Where the water does stand there, write that into `site.tide`: the bed and all that stands at a written depth are held to it too"));
}

/// Tells a current that is written below the bed at the highest water: of the depth or of the current one is wrong.
pub(super) fn below_the_bed(
    r: &mut Resolver<'_>,
    sea: &Sea,
    (whose, current): (&str, &[Flow]),
    level_m: f64,
) {
    let highest_m = sea.tide_m.map_or(0.0, |(_, highest)| highest.si);
    let bed_m = sea.water_depth_m.si + highest_m.max(level_m).max(0.0);
    let below = current.iter().find(|p| p.depth_m.si > bed_m + 1e-9);
    let Some(below) = below else { return };
    let metres = |m: f64| show(m, Dimension::Length);
    r.tell(
        Mistake::error(
            Code::OutOfRange,
            below.depth_m.at,
            format!(
                "{whose}: a water current {} deep, and the bed lies at {} at the most",
                metres(below.depth_m.si),
                metres(bed_m)
            ),
        )
        .label("below the bed")
        .related(sea.water_depth_m.at, "the depth of the site")
        .help("write the water current down to the bed, or the depth of the place where it was measured into `water_depth`: what is between two depths is read off between them"),
    );
}

pub(super) fn cases(r: &mut Resolver<'_>, root: &Fields, line: &mut Line) {
    let mut nominal = None;
    for (id, f) in root.keyed("case") {
        r.part = format!("case.{id}");
        if line.sea.growth.is_some() && id.ends_with(FOULED) {
            r.tell(
                Mistake::error(
                    Code::BadId,
                    f.site,
                    format!("`case.{id}` is called as a case with growth is"),
                )
                .label("here")
                .help(format!("call it something that does not end on `{FOULED}`: with `site.growth` each case has a twin of that name")),
            );
        }
        for (end, at) in [
            ("-lowest", "at the lowest water of the tide"),
            ("-highest", "at the highest water of the tide"),
            ("-wind", "with the wind of the site"),
            ("-sea", "with the waves of the site"),
        ] {
            let Some(other) = id.strip_suffix(end) else {
                continue;
            };
            if root.keyed("case").any(|(one, _)| one == other) {
                r.tell(
                    Mistake::error(
                        Code::BadId,
                        f.site,
                        format!("`case.{id}` is called as `case.{other}` is {at}"),
                    )
                    .label("here")
                    .help("call it something else: each case may count once more at each end of the tide and with the wind and the waves of the site, under its name and that ending"),
                );
            }
        }
        for (key, what) in [
            ("current", Unwritten::SlackWater),
            ("water_level", Unwritten::WaterLevel),
            ("wind", Unwritten::NoWind),
            ("wave", Unwritten::NoWave),
            ("strum", Unwritten::NoStrum),
        ] {
            if !f.has(key) {
                r.unwritten(what);
            }
        }
        let says_so = f.flag("nominal").filter(|(says_so, _)| **says_so);
        if let Some((_, site)) = says_so {
            if let Some(before) = nominal {
                r.tell(
                    Mistake::error(Code::Duplicate, site, "one case alone is the usual one")
                        .label("nominal as well")
                        .related(before, "the first"),
                );
            }
            nominal = nominal.or(Some(site));
        }
        let water_level_m = f.q("water_level");
        let wave = f.table("wave").and_then(|(t, _)| {
            Some(CaseWave {
                height_m: t.q("height")?,
                period_s: t.q("period")?,
            })
        });
        let current = current(r, f);
        if let Some(level) = water_level_m {
            beyond_the_tide(r, &line.sea, level);
        }
        let level_m = water_level_m.map_or(0.0, |q| q.si);
        below_the_bed(r, &line.sea, (&format!("case.{id}"), &current), level_m);
        if let Some(wave) = wave {
            waves::of_case(r, &line.sea, water_level_m, wave);
        }
        line.cases.push(Case {
            id: id.to_owned(),
            at: f.site,
            current,
            water_level_m,
            wind: f.table("wind").and_then(|(t, _)| {
                Some(CaseWind {
                    speed_m_s: t.q("speed")?,
                    towards_deg: t.deg("towards"),
                })
            }),
            wave,
            strum: f.flag("strum").is_some_and(|(strums, _)| *strums),
            strongest_at: f
                .choice("strongest_at")
                .map(|(word, _)| Tides::of_word(word)),
            nominal: says_so.is_some(),
        });
    }
}
