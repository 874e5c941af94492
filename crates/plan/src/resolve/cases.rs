//! Design cases.

use super::site::current;
use super::{Resolver, waves};
use crate::line::{Case, CaseWave, CaseWind, Line, Tides, Unwritten};
use crate::mistake::{Code, Mistake};
use crate::read::Fields;

/// What the ids of cases with growth end on.
const FOULED: &str = "-fouled";

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
        for (end, at) in [("-lowest", "lowest"), ("-highest", "highest")] {
            let Some(other) = id.strip_suffix(end) else {
                continue;
            };
            if root.keyed("case").any(|(one, _)| one == other) {
                r.tell(
                    Mistake::error(
                        Code::BadId,
                        f.site,
                        format!("`case.{id}` is called as `case.{other}` is at the {at} water of the tide"),
                    )
                    .label("here")
                    .help("call it something else: each case may count once more at each end of the tide, under its name and that end"),
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
        if let Some(wave) = wave {
            waves::of_case(r, &line.sea, water_level_m, wave);
        }
        line.cases.push(Case {
            id: id.to_owned(),
            at: f.site,
            current: current(r, f),
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
