//! The sheets for the deck: how the line goes into the water and how it comes back, with what hangs on the hook, and boxes for what is read.
//!
//! What is done in which order is common practice, from memory, and marked so; forces are weights in water at rest. What the plan does not say is unknown.

use assess::input::{Moored, MooredTop, Thing, moored};
use assess::recovery;
use plan::{Line, MeansKind, SectionEnd, Work};
use quantity::{Dimension, show, show_share};

use super::super::PackOf;
use super::super::wiring::GRAVITY_M_S2;
use super::model::{Block, Cell, Report, Table};
use crate::told::recovery_text;

const UNKNOWN: &str = "unknown";

/// How the line is laid.
pub(super) fn laying(report: &mut Report, of: &PackOf<'_>) {
    report.heading(2, "Deck sheet: laying the line");
    cautions(report, of);
    report.heading(3, "Weather and place");
    let line = of.line;
    let mut facts = vec![(
        "What laying needs of the sea".to_owned(),
        weather(line.deployment.deploying.as_ref(), "deploying"),
    )];
    facts.extend(place(line));
    report.blocks.push(Block::Facts(facts));
    for hung in moored(line) {
        match hung {
            Ok(hung) => laying_one(report, line, &hung),
            Err(not) => {
                report.heading(3, &not.section);
                report.paragraph("Unknown what hangs on the hook:");
                report.list(&not.why);
            }
        }
    }
    report.heading(3, "Log of laying");
    log(report, &laying_steps(line));
}

/// How it comes back; `whole` has what comes up where it parts, which a report tells elsewhere.
pub(super) fn recovering(report: &mut Report, of: &PackOf<'_>, whole: bool) {
    report.heading(2, "Deck sheet: recovery");
    cautions(report, of);
    let line = of.line;
    report.heading(3, "Weather and means");
    report.blocks.push(Block::Facts(vec![(
        "What recovery needs of the sea".to_owned(),
        weather(line.deployment.recovering.as_ref(), "recovering"),
    )]));
    means(report, line);
    for hung in moored(line).iter().flatten() {
        report.heading(3, &format!("{}: what is hauled", name(line, hung)));
        hauled(report, line, hung);
    }
    report.heading(3, "What comes free, weak links, drift alarm");
    match (whole, recovery(line)) {
        (false, _) => report.paragraph(
            "They stand under \"What comes back when it parts\", with the forces and the distance at which a buoy adrift is told.",
        ),
        (true, Ok(found)) => {
            let text = recovery_text(line, &found);
            report.printed(text.split_once("\n\n").map_or(text.as_str(), |(_, rest)| rest));
        }
        (true, Err(why)) => report.paragraph(format!("Unknown: {why}")),
    }
    report.heading(3, "Log of recovery");
    log(report, &recovery_steps(line));
}

fn cautions(report: &mut Report, of: &PackOf<'_>) {
    report.paragraph(
        "Local codes and licensed practice decide who lifts, moors and opens what, and how.",
    );
    let cautions: Vec<String> = of.check.cautions.iter().map(|c| (*c).to_owned()).collect();
    report.list(&cautions);
}

fn weather(work: Option<&Work>, key: &str) -> String {
    match work {
        Some(work) => format!(
            "waves of at most {} for {} in a row; `soundline slip PLAN` tells how long that is waited for",
            show(work.wave_m.si, Dimension::Length),
            show(work.lasts_s.si, Dimension::Time)
        ),
        None => format!("{UNKNOWN}: the plan writes no deployment.{key}"),
    }
}

fn place(line: &Line) -> Vec<(String, String)> {
    let sea = &line.sea;
    let tide = match sea.tide_m {
        Some((low, high)) => format!(
            "{} to {} from that",
            show(low.si, Dimension::Length),
            show(high.si, Dimension::Length)
        ),
        None => format!("{UNKNOWN}: the plan writes no site.tide"),
    };
    [
        (
            "Place of the anchor",
            format!(
                "{}, {} (the site's)",
                degrees(sea.latitude_deg.si, ['N', 'S']),
                degrees(sea.longitude_deg.si, ['E', 'W'])
            ),
        ),
        (
            "Depth of the water",
            depth_m(line).map_or_else(|| UNKNOWN.to_owned(), |m| show(m, Dimension::Length)),
        ),
        ("Lowest and highest water", tide),
        (
            "Course of the lay, ship, gear",
            format!("{UNKNOWN}: no plan says them"),
        ),
    ]
    .map(|(name, value)| (name.to_owned(), value))
    .to_vec()
}

/// Depth of the water, m; `None` where a mistake hides it.
fn depth_m(line: &Line) -> Option<f64> {
    Some(line.sea.water_depth_m.si).filter(|m| m.is_finite())
}

/// Degrees and decimal minutes, as charts have them.
fn degrees(deg: f64, [positive, negative]: [char; 2]) -> String {
    if !deg.is_finite() {
        return UNKNOWN.to_owned();
    }
    let minutes = libm::round(libm::fabs(deg) * 60_000.0) / 1000.0;
    let whole = libm::floor(minutes / 60.0);
    let side = if deg < 0.0 { negative } else { positive };
    format!("{whole:.0}° {:06.3}' {side}", minutes - 60.0 * whole)
}

fn name(line: &Line, hung: &Moored) -> String {
    format!(
        "anchor.{} to {}",
        line.anchors[hung.anchor].id,
        hung.top.path(line)
    )
}

/// A thing of a line with its place on it.
struct Placed {
    path: String,
    /// From the anchor, m of line.
    at_m: f64,
    /// Weight in water, N; negative floats.
    in_water_n: Option<f64>,
    /// Weight in air, N.
    in_air_n: Option<f64>,
}

/// What hangs on a line, from the anchor upwards, the anchor first and the top last.
fn placed(line: &Line, hung: &Moored) -> Vec<Placed> {
    let anchor = &line.anchors[hung.anchor];
    let mut all = vec![Placed {
        path: format!("anchor.{}", anchor.id),
        at_m: 0.0,
        in_water_n: anchor.weight_in_water_n.map(|q| q.si),
        in_air_n: None,
    }];
    let written = |thing: Thing, weight_n: f64| match thing {
        Thing::Module(m) => {
            let housing = line.modules[m.0].housing.as_ref();
            housing.and_then(|h| h.weight_in_water_n).map(|q| q.si)
        }
        Thing::Float(_) | Thing::Weight(_) => Some(weight_n),
    };
    all.extend(hung.hung.iter().map(|h| Placed {
        path: h.what.path(line),
        at_m: h.body.at_m,
        in_water_n: written(h.what, h.body.weight_n),
        in_air_n: None,
    }));
    let (in_water_n, in_air_n) = match hung.top {
        MooredTop::Buoy { hull, .. } => (None, Some(hull.weight_n)),
        MooredTop::Float { buoyancy_n, .. } => (Some(-buoyancy_n), None),
    };
    all.push(Placed {
        path: hung.top.path(line),
        at_m: length_m(hung),
        in_water_n,
        in_air_n,
    });
    all
}

fn length_m(hung: &Moored) -> f64 {
    hung.pieces.iter().map(|piece| piece.rope.length_m).sum()
}

/// What hangs below the rail at rest when the place `at_m` of the line is there, N: what of line and things is between it and the bed, and the anchor where it hangs too.
/// `None` where the weight of one of them is not written.
fn below_rail_n(
    hung: &Moored,
    all: &[Placed],
    at_m: f64,
    depth_m: f64,
    anchor: bool,
) -> Option<f64> {
    let lowest_m = (at_m - depth_m).max(0.0);
    let mut sum_n = 0.0;
    let mut from_m = 0.0;
    for piece in &hung.pieces {
        let to_m = from_m + piece.rope.length_m;
        let within_m = (to_m.min(at_m) - from_m.max(lowest_m)).max(0.0);
        sum_n += within_m * piece.rope.weight_n_m;
        from_m = to_m;
    }
    for (nth, thing) in all.iter().enumerate() {
        let hangs = match nth {
            0 => anchor,
            _ => thing.at_m < at_m && thing.at_m >= lowest_m,
        };
        if hangs {
            sum_n += thing.in_water_n?;
        }
    }
    Some(sum_n)
}

/// What hangs below the rail as each thing comes to it, the anchor first, and when the anchor meets the bed (the last moment at which it hangs).
fn at_the_rail(hung: &Moored, all: &[Placed], depth_m: f64, meets: &str) -> Vec<Vec<Cell>> {
    let row = |what: &str, at_m: f64, anchor: bool| {
        vec![
            Cell::of(what),
            Cell::of(format!("{at_m:.2} m")),
            force(below_rail_n(hung, all, at_m, depth_m, anchor)),
        ]
    };
    let (deep, high): (Vec<&Placed>, Vec<&Placed>) = all.iter().partition(|t| t.at_m < depth_m);
    let each = |things: Vec<&Placed>, anchor: bool| {
        let things = things.into_iter();
        things
            .map(|thing| row(&thing.path, thing.at_m, anchor && thing.at_m > 0.0))
            .collect::<Vec<_>>()
    };
    let mut rows = each(deep, true);
    if length_m(hung) >= depth_m {
        rows.push(row(meets, depth_m, true));
    }
    rows.extend(each(high, false));
    rows
}

/// How far back along the lay an anchor may come to rest that is let go last, with the line streamed straight at the surface, m: nothing where it falls straight and drags the
/// top after it; the most where the top stays and the straight line swings about it, `L - sqrt(L^2 - D^2)` of a line longer than the water is deep, else its whole length.
fn fall_back_m(length_m: f64, depth_m: f64) -> f64 {
    let across_m2 = length_m * length_m - depth_m * depth_m;
    length_m - libm::sqrt(across_m2.max(0.0))
}

fn force(value_n: Option<f64>) -> Cell {
    Cell::of(value_n.map_or_else(
        || UNKNOWN.to_owned(),
        |n| format!("{n:.0} N ({:.0} kgf)", n / GRAVITY_M_S2),
    ))
}

fn laying_one(report: &mut Report, line: &Line, hung: &Moored) {
    let name = name(line, hung);
    let (all, length_m) = (placed(line, hung), length_m(hung));
    report.heading(3, &format!("{name}: what is lifted"));
    let rows = all.iter().rev().map(|thing| {
        vec![
            Cell::of(&thing.path),
            Cell::of(format!("{:.2} m", thing.at_m)),
            force(thing.in_water_n),
            force(thing.in_air_n),
        ]
    });
    report.table(
        &[
            "from the top down",
            "from the anchor",
            "weight in water",
            "weight in air",
        ],
        rows.collect(),
    );
    report.paragraph("Below zero it floats. A hook carries weight in air until the thing is under water, and more than that in a swell; where the weight in air is unknown, weigh it before it is lifted.");
    report.heading(3, &format!("{name}: in which order"));
    report.paragraph("The plan does not say which end goes first. Common practice knows both ways; who is in charge on deck decides:");
    report.list(&[
        "The top first, the anchor last: the line is streamed straight behind the ship, which tows it slowly up the lay; the anchor is let go last, takes the line down with it, and everything that runs out is out of reach of people. Until then little hangs on the rail; then all of it at once. The anchor comes to rest short of where it is let go.".to_owned(),
        "The anchor first, the top last: the line is paid out over the rail straight down, and the rail carries all that hangs below it (the table below). The anchor comes to rest below the ship; the line must be stopped off at each thing that is clamped on.".to_owned(),
    ]);
    let Some(depth_m) = depth_m(line) else {
        report.paragraph("What hangs below the rail is unknown, and where the anchor comes to rest: the depth of the water is.");
        return;
    };
    report.table(
        &[
            "anchor first: at the rail",
            "line out",
            "hangs below the rail",
        ],
        at_the_rail(hung, &all, depth_m, "the anchor meets the bed"),
    );
    report.paragraph("At rest, in water, with the rail at the surface and the line straight down: what lies on the bed counts no more. What a swell adds is unknown. Below zero the line wants to come up.");
    report.heading(3, &format!("{name}: where the anchor is let go"));
    report.paragraph(format!(
        "Let go last, with the line streamed straight at the surface, the anchor comes to rest between 0 m and {:.1} m back along the lay, towards {}: nothing where it falls straight and drags the top after it, the most where the top stays and the straight line swings about it, L - sqrt(L2 - D2) of a line of L = {length_m:.2} m in water of D = {depth_m:.2} m (its whole length where it is no longer than the water is deep). Current, stretch and the way of the ship are left out. So it is let go beyond the place by no less than 0 m and no more than {:.1} m; which it will be nobody knows before. Measure where it lies afterwards: drift alarms are told from there.",
        fall_back_m(length_m, depth_m),
        hung.top.path(line),
        fall_back_m(length_m, depth_m)
    ));
}

fn hauled(report: &mut Report, line: &Line, hung: &Moored) {
    let all = placed(line, hung);
    let Some(depth_m) = depth_m(line) else {
        report.paragraph("Unknown: the depth of the water is.");
        return;
    };
    let mut rows = at_the_rail(hung, &all, depth_m, "the anchor leaves the bed");
    rows.reverse();
    report.table(
        &[
            "at the rail",
            "line still out",
            "hangs below the rail, clean",
        ],
        rows,
    );
    report.paragraph("At rest, in water, with the line straight down. What breaks the anchor out of the bed, growth, trapped water and a swell come on top, and are unknown: watch the load, not the table. A line that parted hangs with less.");
}

fn means(report: &mut Report, line: &Line) {
    if line.means.is_empty() {
        report.paragraph("By what it comes back is unknown: the plan declares no `recovery`.");
        return;
    }
    let rows = line.means.iter().map(|means| {
        let does = match means.kind {
            MeansKind::Release => "parts the line just above what it is at",
            MeansKind::Haul => "takes hold of the top at the surface",
            MeansKind::Drag => "takes the line from the bed",
        };
        let at = match means.acts_at {
            Some(SectionEnd::Module(m)) => line.module_path(m),
            Some(SectionEnd::Anchor(a)) => format!("anchor.{}", line.anchors[a].id),
            Some(SectionEnd::Float(f)) => format!("float.{}", line.floats[f].id),
            None => String::new(),
        };
        vec![
            Cell::of(format!("recovery.{}", means.id)),
            Cell::of(does),
            Cell::of(at),
            Cell::of(show_share(means.works.si)),
            Cell::of(means.relies_on.join(", ")),
        ]
    });
    report.table(
        &[
            "by",
            "what it does",
            "at",
            "chance that it works",
            "not without",
        ],
        rows.collect(),
    );
}

/// Things of the lines as they go over the side, the lowest first.
fn things(line: &Line) -> Vec<String> {
    let lines = moored(line);
    let of = |hung: &Moored| {
        let all = placed(line, hung).into_iter();
        all.map(|thing| thing.path).collect::<Vec<_>>()
    };
    lines.iter().flatten().flat_map(of).collect()
}

fn laying_steps(line: &Line) -> Vec<String> {
    let before = [
        "permits and notices to mariners at hand",
        "readings of the dockside sheet within their bands",
        "settings of every module read back",
        "lights and marks as the permits ask",
        "weather and sea, and who is in charge",
    ];
    let after = [
        "anchor let go or set down: place of the ship",
        "anchor on the bed",
        "place of the anchor measured",
        "top at the surface or at its depth",
        "first messages ashore",
    ];
    let over = things(line);
    let over = over.iter().map(|path| format!("{path} over the side"));
    let steps = before.iter().map(|s| (*s).to_owned());
    steps
        .chain(over)
        .chain(after.iter().map(|s| (*s).to_owned()))
        .collect()
}

fn recovery_steps(line: &Line) -> Vec<String> {
    let before = [
        "permits and notices to mariners at hand",
        "weather and sea, and who is in charge",
        "high voltage switched off, locked, tagged, discharged and proved dead",
        "top seen, or its place told",
        "released or taken hold of",
    ];
    let over = things(line);
    let over = over
        .iter()
        .rev()
        .map(|path| format!("{path} on deck: state, growth, damage, vented"));
    let after = [
        "clocks compared",
        "recordings copied and their digests taken",
    ];
    let steps = before.iter().map(|s| (*s).to_owned());
    steps
        .chain(over)
        .chain(after.iter().map(|s| (*s).to_owned()))
        .collect()
}

fn log(report: &mut Report, steps: &[String]) {
    let heads = [
        "step (common practice)",
        "time, UTC",
        "place or reading",
        "by",
    ];
    report.blocks.push(Block::Table(Table {
        heads: heads.map(str::to_owned).to_vec(),
        rows: steps
            .iter()
            .map(|step| {
                let mut row = vec![Cell::of(step)];
                row.resize(heads.len(), Cell::default());
                row
            })
            .collect(),
        to_fill: true,
    }));
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: the triangle of 3, 4 and 5, and a line no longer than the water is deep.
    #[test]
    fn verif_fall_back_by_hand() {
        assert!((fall_back_m(5.0, 4.0) - 2.0).abs() < 1e-12);
        assert_eq!(fall_back_m(4.0, 4.0), 4.0);
        assert_eq!(fall_back_m(3.0, 4.0), 3.0);
    }

    /// By hand: a third of a degree is 20 minutes, and what rounds up to 60 minutes is the next degree.
    #[test]
    fn verif_degrees_and_minutes_by_hand() {
        assert_eq!(degrees(57.31, ['N', 'S']), "57° 18.600' N");
        assert_eq!(degrees(-6.02, ['E', 'W']), "6° 01.200' W");
        assert_eq!(degrees(-0.999_999_99, ['E', 'W']), "1° 00.000' W");
    }
}
