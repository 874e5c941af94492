//! Spans, and whether spans and supplies join and feed every module.

use quantity::{Dimension, show};

use super::mechanics::{Ways, unsettled};
use super::{Resolver, links, q};
use crate::line::{
    CableHeat, Contacts, Insulation, LegInsulation, LiesIn, Line, ModuleIx, Pin, PinMetal, Span,
    Unwritten,
};
use crate::mistake::{Code, Mistake};
use crate::read::Fields;
use crate::site::Site;

/// A span may be shorter than the distance it covers by this share: rounding of lengths written by hand.
const ROUNDING: f64 = 1e-6;

pub(super) fn spans(r: &mut Resolver<'_>, root: &Fields, line: &mut Line) {
    let ways = Ways::of(line);
    for (id, f) in root.keyed("span") {
        r.part = format!("span.{id}");
        if let Some(span) = span(r, id, f, (line, &ways)) {
            line.spans.push(span);
        }
    }
}

fn span(r: &mut Resolver<'_>, id: &str, f: &Fields, (line, ways): (&Line, &Ways)) -> Option<Span> {
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
    if !f.has("conductor") && !f.has("link") && !f.has("bus") {
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
    let length_m = length(r, f, (line, ways), [from, to])?;
    let contacts = f.table("contacts").and_then(|(t, _)| {
        Some(Contacts {
            mated_pins_in_loop: u32::try_from(*t.count("mated_pins_in_loop")?.0).ok()?,
            resistance_ohm: t.q("resistance")?,
            aged_ohm: t.q("aged"),
            pin: t.table("pin").and_then(|(p, _)| {
                Some(Pin {
                    metal: match *p.choice("metal")?.0 {
                        "nickel" => PinMetal::Nickel,
                        "silver" => PinMetal::Silver,
                        "iron" => PinMetal::Iron,
                        _ => PinMetal::Copper,
                    },
                    diameter_m: p.q("diameter")?,
                    length_m: p.q("length")?,
                })
            }),
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
        part: f.reference("part").map(|(_, path, _)| path.to_owned()),
        from,
        to,
        length_m,
        written_length_m: f.q("length"),
        conductor: f.conductor("conductor").map(|(c, _)| *c),
        contacts,
        rated_current_a: f.q("rated_current"),
        fuse_a: f.q("fuse"),
        insulation_1km_ohm: f.q("insulation_1km"),
        insulation: f
            .table("insulation")
            .and_then(|(t, at)| insulation(r, f, t, at)),
        heat: f.table("heat").and_then(|(t, _)| heat(r, t)),
        link: links::of_span(r, f, line),
        bus: links::bus_of(r, f, line),
    })
}

/// What a reading showed or has to show; not both, and not beside that of a kilometre.
fn insulation(r: &mut Resolver<'_>, span: &Fields, t: &Fields, at: Site) -> Option<LegInsulation> {
    let (measured, accepted) = (t.q("measured"), t.q("accepted"));
    if let (Some(a), Some(b)) = (t.site_of("measured"), t.site_of("accepted")) {
        r.tell(
            Mistake::error(
                Code::KeyConflict,
                b,
                "an insulation was `measured`, or is what will be `accepted`, not both",
            )
            .label("accepted")
            .related(a, "measured"),
        );
        return None;
    }
    if !t.has("measured") && !t.has("accepted") {
        r.tell(
            Mistake::error(
                Code::MissingKey,
                at,
                "an insulation needs what was `measured`, or what will be `accepted`",
            )
            .label("neither is written")
            .help("add `measured = \"250 Mohm\"`"),
        );
        return None;
    }
    if let Some(site) = span.site_of("insulation_1km") {
        r.tell(
            Mistake::error(
                Code::KeyConflict,
                site,
                "`insulation` of the leg stands in place of `insulation_1km`",
            )
            .label("both are written")
            .related(at, "that of the leg"),
        );
        return None;
    }
    Some(LegInsulation {
        ohm: measured.or(accepted)?,
        measured: measured.is_some(),
        temperature_degc: t.q("temperature")?,
        length_m: t.q("length"),
    })
}

/// Layers that do not lie one over the other, and what is missing of the sediment, are told; then there is none.
fn heat(r: &mut Resolver<'_>, t: &Fields) -> Option<CableHeat> {
    let keys = ["core", "insulated", "under_jacket", "outer"];
    for pair in keys.windows(2) {
        let (inner, outer) = (t.q(pair[0])?, t.q(pair[1])?);
        if outer.si <= inner.si {
            r.tell(
                Mistake::error(
                    Code::OutOfRange,
                    outer.at,
                    format!("`{}` must be larger than `{}`", pair[1], pair[0]),
                )
                .label("not larger")
                .related(inner.at, "what it encloses"),
            );
            return None;
        }
    }
    let (word, at) = t.choice("lies_in")?;
    let in_sediment = *word == "sediment";
    for key in ["buried", "sediment"] {
        match t.site_of(key) {
            Some(site) if !in_sediment => {
                r.tell(
                    Mistake::error(
                        Code::KeyConflict,
                        site,
                        format!("`{key}` belongs to a cable that lies in sediment"),
                    )
                    .label("here"),
                );
                return None;
            }
            None if in_sediment && !t.has(key) => {
                let example = if key == "buried" { "0.5 m" } else { "1 K.m/W" };
                r.tell(
                    Mistake::error(
                        Code::MissingKey,
                        at,
                        format!("a cable in sediment needs `{key}`"),
                    )
                    .label("in sediment")
                    .help(format!("add `{key} = \"{example}\"`")),
                );
                return None;
            }
            _ => {}
        }
    }
    let outer_m = t.q("outer")?;
    let lies_in = match *word {
        "water" => LiesIn::Water,
        "air" => LiesIn::Air,
        _ => {
            let buried_m = t.q("buried")?;
            if buried_m.si <= outer_m.si / 2.0 {
                r.tell(
                    Mistake::error(
                        Code::OutOfRange,
                        buried_m.at,
                        "the axis of a buried cable lies deeper than half its diameter",
                    )
                    .label("not buried")
                    .related(outer_m.at, "its outer diameter"),
                );
                return None;
            }
            LiesIn::Sediment {
                buried_m,
                resistivity_k_m_per_w: t.q("sediment")?,
            }
        }
    };
    let material = |key| {
        let (word, _) = t.choice(key)?;
        Some(match *word {
            "polyethylene" => Insulation::Polyethylene,
            "pvc" => Insulation::Pvc,
            "epr" => Insulation::Epr,
            _ => Insulation::Silicone,
        })
    };
    Some(CableHeat {
        lies_in,
        core_m: t.q("core")?,
        insulated_m: t.q("insulated")?,
        under_jacket_m: t.q("under_jacket")?,
        outer_m,
        insulation: material("insulation")?,
        jacket: material("jacket")?,
    })
}

fn length(
    r: &mut Resolver<'_>,
    f: &Fields,
    (line, ways): (&Line, &Ways),
    [from, to]: [ModuleIx; 2],
) -> Option<f64> {
    let distance = ways.distance_m(from, to);
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
