//! Supplies and spans, and whether they join and feed every module.

use quantity::{Dimension, show};

use super::mechanics::{distance_m, unsettled};
use super::{Resolver, q};
use crate::line::{
    Battery, Chemistry, Contacts, Line, Link, ModuleIx, Panels, Span, Supply, SupplyKind, Unwritten,
};
use crate::mistake::{Code, Mistake};
use crate::read::Fields;

/// A span may be shorter than the distance it covers by this share: rounding of lengths written by hand.
const ROUNDING: f64 = 1e-6;

pub(super) fn supplies(r: &mut Resolver<'_>, root: &Fields, line: &mut Line) {
    for (id, f) in root.keyed("supply") {
        r.part = format!("supply.{id}");
        if let Some(supply) = supply(r, id, f, line) {
            line.supplies.push(supply);
        }
    }
}

fn supply(r: &mut Resolver<'_>, id: &str, f: &Fields, line: &Line) -> Option<Supply> {
    let kind = match *f.choice("kind")?.0 {
        "solar-battery" => SupplyKind::SolarBattery,
        "bench" => SupplyKind::Bench,
        "vessel" => SupplyKind::Vessel,
        "shore" => SupplyKind::Shore,
        _ => SupplyKind::PrimaryCells,
    };
    let wanted: &[&'static str] = match kind {
        SupplyKind::SolarBattery => &["panels", "battery"],
        SupplyKind::PrimaryCells => &["battery"],
        _ => &[],
    };
    for key in wanted {
        if !f.has(key) {
            r.tell(
                Mistake::error(
                    Code::MissingKey,
                    f.site,
                    format!("this kind of supply needs `{key}`"),
                )
                .label(format!("`{key}` is missing here"))
                .help(format!("add `{key} = {{ ... }}`")),
            );
        }
    }
    let owners: [(&'static str, &[SupplyKind], &str); 2] = [
        ("panels", &[SupplyKind::SolarBattery], "solar-battery"),
        (
            "battery",
            &[SupplyKind::SolarBattery, SupplyKind::PrimaryCells],
            "solar-battery or primary-cells",
        ),
    ];
    for (key, kinds, words) in owners {
        if let Some(site) = f.site_of(key)
            && !kinds.contains(&kind)
        {
            r.tell(
                Mistake::error(
                    Code::KeyConflict,
                    site,
                    format!("`{key}` does not belong to this kind of supply"),
                )
                .label(format!("only of {words}")),
            );
        }
    }
    let output = f.table("output")?.0;
    Some(Supply {
        id: id.to_owned(),
        at: f.site,
        module: r.module(line, f, "at")?,
        kind,
        voltage_v: output.q("voltage")?,
        resistance_ohm: output.q("resistance")?,
        current_limit_a: output.q("current_limit"),
        panels: f.table("panels").and_then(|(t, _)| {
            Some(Panels {
                peak_power_each_w: t.q("peak_power_each")?,
                faces: u32::try_from(*t.count("faces")?.0).ok()?,
                tilt_deg: t.deg("tilt")?,
                loss: t.q("loss")?,
            })
        }),
        battery: f.table("battery").and_then(|(t, _)| {
            let chemistry = match *t.choice("chemistry")?.0 {
                "lifepo4" => Chemistry::LiFePo4,
                "agm" => Chemistry::Agm,
                "primary-lithium" => Chemistry::PrimaryLithium,
                _ => Chemistry::Alkaline,
            };
            Some(Battery {
                chemistry,
                capacity_c: t.q("capacity")?,
                voltage_v: t.q("voltage")?,
            })
        }),
    })
}

pub(super) fn spans(r: &mut Resolver<'_>, root: &Fields, line: &mut Line) {
    for (id, f) in root.keyed("span") {
        r.part = format!("span.{id}");
        if let Some(span) = span(r, id, f, line) {
            line.spans.push(span);
        }
    }
}

fn span(r: &mut Resolver<'_>, id: &str, f: &Fields, line: &Line) -> Option<Span> {
    let (from, to) = (r.module(line, f, "from"), r.module(line, f, "to"));
    let (from, to) = (from?, to?);
    if from == to {
        let site = f.site_of("to").unwrap_or(f.site);
        r.tell(
            Mistake::error(
                Code::Duplicate,
                site,
                "both ends of this span are the same module",
            )
            .label("the same module"),
        );
        return None;
    }
    if !f.has("conductor") && !f.has("link") {
        r.tell(
            Mistake::error(
                Code::MissingKey,
                f.site,
                format!("`span.{id}` carries neither power nor data"),
            )
            .label("no conductor and no link")
            .help("add `conductor = \"1.0 mm2 class 5\"`, `link = \"10BASE-T1L\"`, or both"),
        );
    }
    let length_m = length(r, f, line, from, to)?;
    let contacts = f.table("contacts").and_then(|(t, _)| {
        Some(Contacts {
            mated_pins_in_loop: u32::try_from(*t.count("mated_pins_in_loop")?.0).ok()?,
            resistance_ohm: t.q("resistance")?,
            aged_ohm: t.q("aged"),
        })
    });
    if f.has("conductor") && !f.has("contacts") {
        r.tell(
            Mistake::warning(Code::Absent, f.site, format!("`span.{id}` says nothing of its mated contacts"))
                .label("their resistance is unknown, and so is every voltage behind them")
                .help("add `contacts = { mated_pins_in_loop = 4, resistance = \"8 mohm\", aged = \"80 mohm\" }`, or 0 pins for a splice"),
        );
    }
    Some(Span {
        id: id.to_owned(),
        at: f.site,
        from,
        to,
        length_m,
        written_length_m: f.q("length"),
        conductor: f.conductor("conductor").map(|(c, _)| *c),
        contacts,
        link: link(r, f),
    })
}

fn length(
    r: &mut Resolver<'_>,
    f: &Fields,
    line: &Line,
    from: ModuleIx,
    to: ModuleIx,
) -> Option<f64> {
    let distance = distance_m(line, from, to);
    let slack = f.amount("slack").map_or(0.0, |(a, _)| a.si);
    match (f.amount("length").map(q), distance) {
        (Some(written), Some(distance)) => {
            if written.si < distance * (1.0 - ROUNDING) {
                r.tell(
                    Mistake::error(
                        Code::SpanTooShort,
                        written.at,
                        "this span is shorter than the distance along the sections",
                    )
                    .label(format!(
                        "{} of cable for {}",
                        show(written.si, Dimension::Length),
                        show(distance, Dimension::Length)
                    ))
                    .help("lengthen it, or leave `length` out and give `slack`"),
                );
            }
            Some(written.si)
        }
        (Some(written), None) => Some(written.si),
        (None, Some(distance)) if distance > 0.0 => {
            if !f.has("length") && !f.has("slack") {
                r.unwritten(Unwritten::Slack);
            }
            Some(distance * (1.0 + slack))
        }
        (None, _) if f.has("length") => None,
        // A place that could not be settled has been told.
        (None, _) if r.declared.lost("section", line.sections.len()) => None,
        (None, _) if [from, to].iter().any(|m| unsettled(line, *m)) => None,
        (None, _) => {
            r.tell(
                Mistake::error(
                    Code::LengthUnknown,
                    f.site,
                    "nothing gives the length of this span",
                )
                .label(if distance.is_some() {
                    "no length, and its ends hang at the same place"
                } else {
                    "no length, and its ends hang on no common sections"
                })
                .help("add `length = \"110 m\"`"),
            );
            None
        }
    }
}

fn link(r: &mut Resolver<'_>, f: &Fields) -> Option<Link> {
    let Some((standard, at)) = f.choice("link") else {
        if !f.has("link")
            && let Some(site) = f.site_of("link_rate")
        {
            r.tell(
                Mistake::error(Code::KeyConflict, site, "a rate without a link")
                    .label("here")
                    .help("add `link = \"free\"`"),
            );
        }
        return None;
    };
    let rate_bps = f.q("link_rate");
    if f.is_wrong("link_rate") {
        return None;
    }
    if (*standard == "free") != rate_bps.is_some() {
        let (site, message, help) = match rate_bps {
            None => (
                at,
                "a free link must give its `link_rate`",
                "add `link_rate = \"1 Mbit/s\"`",
            ),
            Some(rate) => (
                rate.at,
                "the standard fixes the rate of this link",
                "remove `link_rate`, or write `link = \"free\"`",
            ),
        };
        r.tell(
            Mistake::error(Code::KeyConflict, site, message)
                .label("here")
                .help(help),
        );
    }
    Some(Link {
        standard: (*standard).to_owned(),
        rate_bps,
        at,
    })
}

/// Tells which modules hang apart from the rest, and which no supply feeds.
///
/// Not asked while spans, supplies or modules have other mistakes: it would only repeat them.
pub(super) fn connected(r: &mut Resolver<'_>, line: &Line) {
    if r.mistakes
        .spoil(&["file", "span", "supply", "module", "part", "include"])
    {
        return;
    }
    let lost = |kind, left| r.declared.lost(kind, left);
    if lost("module", line.modules.len())
        || lost("span", line.spans.len())
        || lost("supply", line.supplies.len())
    {
        return;
    }
    let Some(first) = line
        .supplies
        .first()
        .map(|s| s.module)
        .or(Some(ModuleIx(0)).filter(|_| !line.modules.is_empty()))
    else {
        return;
    };
    let joined = reach(line, &[first], |_| true);
    let sources: Vec<ModuleIx> = line.supplies.iter().map(|s| s.module).collect();
    let fed = reach(line, &sources, |span| span.conductor.is_some());
    for (i, module) in line.modules.iter().enumerate() {
        r.part = format!("module.{}", module.id);
        if !joined[i] {
            r.tell(
                Mistake::error(
                    Code::NotConnected,
                    module.at,
                    format!("`module.{}` is joined to the rest by no span", module.id),
                )
                .label("hangs apart")
                .related(line.modules[first.0].at, "the line is counted from here")
                .help("add a [span.ID] whose ends lead to it"),
            );
        } else if !fed[i] && !module.loads.is_empty() {
            r.tell(
                Mistake::error(Code::NotFed, module.at, format!("no supply feeds `module.{}`", module.id))
                    .label("draws power, but no conductor leads here from a supply")
                    .help("give the spans between it and a supply a `conductor`, or add a [supply.ID] at it"),
            );
        }
    }
}

fn reach(line: &Line, from: &[ModuleIx], through: impl Fn(&Span) -> bool) -> Vec<bool> {
    let mut seen = vec![false; line.modules.len()];
    let mut todo: Vec<ModuleIx> = from.to_vec();
    while let Some(m) = todo.pop() {
        if std::mem::replace(&mut seen[m.0], true) {
            continue;
        }
        for span in line.spans.iter().filter(|s| through(s)) {
            if span.from == m {
                todo.push(span.to);
            } else if span.to == m {
                todo.push(span.from);
            }
        }
    }
    seen
}
