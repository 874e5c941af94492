//! What the workshop joins: the connection schedule span by span, and the parts with their weights.

use std::collections::BTreeMap;

use assess::{acceptance, span_ohms};
use plan::{Line, SectionEnd};

use super::PackOf;
use super::csv::Csv;

/// Gravity that turns a force into a mass that weighs as much, m/s2 (CGPM 1901, standard acceleration).
pub(super) const GRAVITY_M_S2: f64 = 9.80665;

/// Each span: ends, length, conductor, contacts, link, fuse, what a meter reads across its loop, and the least insulation on the quay at 20 degC.
pub(super) fn spans(of: &PackOf<'_>) -> String {
    let mut csv = Csv::with(&[
        "span",
        "from",
        "to",
        "part",
        "length_m",
        "conductor",
        "mated_pins_in_loop",
        "link",
        "fuse_a",
        "rated_current_a",
        "loop_new_ohm",
        "loop_aged_ohm",
        "least_insulation_at_20_degc_ohm",
        "remarks",
    ]);
    let line = of.line;
    let conductors: BTreeMap<String, String> = of
        .reading
        .written()
        .into_iter()
        .filter_map(|w| {
            let path = w.path.strip_suffix(".conductor")?.to_owned();
            Some((path, w.text.trim_matches(['"', '\'']).to_owned()))
        })
        .collect();
    let ohms = span_ohms(line);
    let accepted = acceptance(line);
    for (s, span) in line.spans.iter().enumerate() {
        let path = format!("span.{}", span.id);
        let mut remarks = Vec::new();
        let loop_ohm = match &ohms {
            Ok(all) => all[s],
            Err(why) => {
                remarks.push(format!("loop resistance unknown: {why}"));
                None
            }
        };
        if let Some(loop_ohm) = loop_ohm {
            if loop_ohm.new_ohm.is_none() {
                remarks.push("its contacts are not written".to_owned());
            } else if loop_ohm.aged_ohm.is_none() {
                remarks.push("how its contacts age is not written".to_owned());
            }
        }
        let leg = accepted.legs.iter().find(|leg| leg.span == path);
        let at = assess::QUAY_DEGC.iter().position(|t| *t == 20.0);
        let least = leg.zip(at).and_then(|(leg, at)| match &leg.least_ohm {
            Ok(all) => all.get(at).copied(),
            Err(why) => {
                remarks.push(format!("least insulation unknown: {why}"));
                None
            }
        });
        let link = match (&span.link, span.bus) {
            (Some(link), _) => link.standard.clone(),
            (None, Some(bus)) => format!("bus.{}", line.buses[bus.0].id),
            (None, None) => String::new(),
        };
        csv.row(&[
            path.clone(),
            line.module_path(span.from),
            line.module_path(span.to),
            span.part.clone().unwrap_or_default(),
            figure(Some(span.length_m), 2),
            conductors.get(&path).cloned().unwrap_or_default(),
            span.contacts
                .map_or_else(String::new, |c| c.mated_pins_in_loop.to_string()),
            link,
            figure(span.fuse_a.map(|q| q.si), 3),
            figure(span.rated_current_a.map(|q| q.si), 3),
            figure(loop_ohm.and_then(|o| o.new_ohm), 4),
            figure(loop_ohm.and_then(|o| o.aged_ohm), 4),
            figure(least, 0),
            remarks.join("; "),
        ]);
    }
    csv.text()
}

/// What is carried aboard for each kind of thing, and whether that is enough; empty where the plan does not say how likely one is dead.
pub(super) fn spares(of: &PackOf<'_>) -> String {
    let mut csv = Csv::with(&[
        "of",
        "places",
        "aboard",
        "dead_on_deck_percent",
        "all_places_filled_percent",
        "needed_for_95_percent",
        "needed_for_99_percent",
    ]);
    for row in assess::spares(of.line).rows {
        let percent = |share: Option<f64>| figure(share.map(|share| 100.0 * share), 3);
        let needed = |nth: usize| row.needed.map_or_else(String::new, |n| n[nth].to_string());
        csv.row(&[
            row.of.clone(),
            row.places.to_string(),
            row.carried.to_string(),
            percent(row.dead),
            percent(row.filled),
            needed(0),
            needed(1),
        ]);
    }
    csv.text()
}

/// A number with so many decimals; nothing where it is not known.
fn figure(value: Option<f64>, decimals: usize) -> String {
    let value = value.filter(|v| v.is_finite());
    value.map_or_else(String::new, |v| format!("{v:.decimals$}"))
}

/// A thing of the line that weighs or floats.
pub(super) struct Piece {
    pub(super) path: String,
    pub(super) what: &'static str,
    pub(super) part: String,
    /// Weight in water, N; negative where it floats.
    pub(super) in_water_n: Option<f64>,
    /// Weight in air, N.
    pub(super) in_air_n: Option<f64>,
    length_m: Option<f64>,
}

impl Piece {
    fn of(path: String, what: &'static str) -> Piece {
        Piece {
            path,
            what,
            part: String::new(),
            in_water_n: None,
            in_air_n: None,
            length_m: None,
        }
    }
}

/// Every thing that hangs, with its weight, and their sums: what hangs on the surface or on floats, and what lies on the bed.
pub(super) fn parts(of: &PackOf<'_>) -> String {
    let mut csv = Csv::with(&[
        "thing",
        "what",
        "part",
        "length_m",
        "weight_in_water_n",
        "weight_in_water_kgf",
        "weight_in_air_n",
        "remarks",
    ]);
    let pieces = pieces(of.line);
    for piece in &pieces {
        let remarks = match (piece.in_water_n, piece.what) {
            (Some(n), _) if n < 0.0 => "floats",
            (None, "buoy") => "floats by its hull",
            (None, _) => "its weight in water is not written",
            _ => "",
        };
        csv.row(&[
            piece.path.clone(),
            piece.what.to_owned(),
            piece.part.clone(),
            figure(piece.length_m, 2),
            figure(piece.in_water_n, 1),
            figure(piece.in_water_n.map(|n| n / GRAVITY_M_S2), 2),
            figure(piece.in_air_n, 1),
            remarks.to_owned(),
        ]);
    }
    let hangs: Vec<&Piece> = pieces
        .iter()
        .filter(|p| p.what != "anchor" && p.what != "buoy")
        .collect();
    let unknown = hangs.iter().filter(|p| p.in_water_n.is_none()).count();
    let sum_n: f64 = hangs.iter().filter_map(|p| p.in_water_n).sum();
    if !hangs.is_empty() {
        let remarks = match unknown {
            0 => String::new(),
            n => format!("without {n} whose weight is not written"),
        };
        csv.row(&[
            "all but anchors and buoys".to_owned(),
            "sum".to_owned(),
            String::new(),
            String::new(),
            figure(Some(sum_n), 1),
            figure(Some(sum_n / GRAVITY_M_S2), 2),
            String::new(),
            remarks,
        ]);
    }
    csv.text()
}

/// Every thing that hangs or lies.
pub(super) fn pieces(line: &Line) -> Vec<Piece> {
    let mut all = Vec::new();
    for module in &line.modules {
        let what = if module.hull.is_some() {
            "buoy"
        } else {
            "module"
        };
        let housing = module.housing.as_ref();
        all.push(Piece {
            part: module.part.clone().unwrap_or_default(),
            in_water_n: housing.and_then(|h| h.weight_in_water_n).map(|q| q.si),
            in_air_n: module.hull.as_ref().and_then(|h| h.weight_n).map(|q| q.si),
            ..Piece::of(format!("module.{}", module.id), what)
        });
    }
    for section in &line.sections {
        let rope = section.rope.as_ref();
        let each_n_m = rope.and_then(|r| r.weight_in_water_n_m).map(|q| q.si);
        let ends = |end: SectionEnd| matches!(end, SectionEnd::Anchor(_));
        let what = if ends(section.to) {
            "section to an anchor"
        } else {
            "section"
        };
        all.push(Piece {
            in_water_n: each_n_m.map(|w| w * section.length_m.si),
            length_m: Some(section.length_m.si),
            ..Piece::of(format!("section.{}", section.id), what)
        });
    }
    for float in &line.floats {
        all.push(Piece {
            in_water_n: float.buoyancy_n.map(|q| -q.si),
            ..Piece::of(format!("float.{}", float.id), "float")
        });
    }
    for weight in &line.weights {
        all.push(Piece {
            in_water_n: weight.weight_in_water_n.map(|q| q.si),
            ..Piece::of(format!("weight.{}", weight.id), "weight")
        });
    }
    for anchor in &line.anchors {
        all.push(Piece {
            in_water_n: anchor.weight_in_water_n.map(|q| q.si),
            ..Piece::of(format!("anchor.{}", anchor.id), "anchor")
        });
    }
    all
}
