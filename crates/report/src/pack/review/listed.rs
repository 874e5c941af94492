//! What is to be obtained, carried and weighed: permits and documents, spares, weights with the balance of buoyancy.

use assess::{Moorings, spares};
use quantity::show_share;

use super::super::permits::permits;
use super::super::{PackOf, wiring};
use super::model::{Cell, Report};

const UNKNOWN: &str = "unknown";

pub(super) fn permits_told(report: &mut Report, of: &PackOf<'_>) {
    report.heading(2, "Permits and documents to have");
    let permits = permits(of);
    match permits.is_empty() {
        true => report.paragraph("The plan names none."),
        false => {
            let rows = permits.into_iter().map(|permit| {
                let given = permit
                    .given
                    .unwrap_or_else(|| [UNKNOWN; 3].map(str::to_owned));
                let mut row = vec![Cell::of(permit.document), Cell::of(permit.asks.join(", "))];
                row.extend(given.map(Cell::of));
                row
            });
            report.table(
                &["document", "asks or shows", "given by", "on", "until"],
                rows.collect(),
            );
        }
    }
    report.paragraph("Unknown stands where the plan holds no attestation of it. Which other permits are needed (to moor, to mark, to send by radio, to work near animals) no plan says: local codes decide.");
}

pub(super) fn spares_told(report: &mut Report, of: &PackOf<'_>) {
    report.heading(2, "Spares");
    let spares = spares(of.line);
    let rows = spares.rows.iter().map(|row| {
        let unknown = || UNKNOWN.to_owned();
        let needed = row.needed.map_or_else(
            || [unknown(), unknown()],
            |needed| needed.map(|n| n.to_string()),
        );
        let mut cells = vec![
            Cell::of(&row.of),
            Cell::of(row.places.to_string()),
            Cell::of(row.carried.to_string()),
            Cell::of(row.dead.map_or_else(unknown, show_share)),
            Cell::of(row.filled.map_or_else(unknown, show_share)),
        ];
        cells.extend(needed.map(Cell::of));
        cells
    });
    report.table(
        &[
            "of",
            "places",
            "aboard",
            "dead on deck",
            "all places filled",
            "needed for 95 %",
            "needed for 99 %",
        ],
        rows.collect(),
    );
    report.paragraph(format!(
        "Chance that every place of the line is filled: {}. Every thing works or does not, each for itself (binomial law); `soundline slip` tells the same.",
        spares.all_filled.map_or_else(|| UNKNOWN.to_owned(), show_share)
    ));
}

pub(super) fn weights_told(report: &mut Report, of: &PackOf<'_>, found: Option<&Moorings>) {
    let pieces = wiring::pieces(of.line);
    if pieces.is_empty() {
        return;
    }
    report.heading(2, "Weights and the balance of buoyancy");
    let newtons =
        |n: Option<f64>| Cell::of(n.map_or_else(|| UNKNOWN.to_owned(), |n| format!("{n:.1}")));
    let rows = pieces.iter().map(|piece| {
        vec![
            Cell::of(&piece.path),
            Cell::of(piece.what),
            Cell::of(&piece.part),
            newtons(piece.in_water_n),
            newtons(piece.in_air_n),
        ]
    });
    report.table(
        &[
            "thing",
            "what",
            "part",
            "weight in water, N",
            "weight in air, N",
        ],
        rows.collect(),
    );
    let hangs = || {
        pieces
            .iter()
            .filter(|p| p.what != "anchor" && p.what != "buoy")
    };
    let known = || hangs().filter_map(|p| p.in_water_n);
    let down_n: f64 = known().filter(|n| *n > 0.0).sum();
    let up_n: f64 = -known().filter(|n| *n < 0.0).sum::<f64>();
    let unknown = hangs().filter(|p| p.in_water_n.is_none()).count();
    let mut told = vec![format!(
        "what hangs weighs {down_n:.1} N in water and {up_n:.1} N of it floats: {:.1} N are left {}, without anchors and buoys{}",
        (down_n - up_n).abs(),
        if up_n > down_n {
            "upwards"
        } else {
            "to be held up"
        },
        match unknown {
            0 => String::new(),
            n => format!(", and without {n} whose weight is not written"),
        }
    )];
    for hung in found.iter().flat_map(|found| found.lines.iter().flatten()) {
        let mut least: Option<(f64, usize)> = None;
        for (case, shape) in hung.shapes.iter().enumerate() {
            let Ok(shape) = shape else { continue };
            let each = [Some(shape), shape.crest.as_deref(), shape.trough.as_deref()];
            for buoy in each.into_iter().flatten().filter_map(|s| s.buoy) {
                if least.is_none_or(|(n, _)| buoy.reserve_n < n) {
                    least = Some((buoy.reserve_n, case));
                }
            }
        }
        let (Some((reserve_n, case)), Some(found)) = (least, found) else {
            continue;
        };
        told.push(format!(
            "{}: the least buoyancy that is left in any design case is {reserve_n:.0} N, in case.{}",
            hung.line.top.path(of.line),
            found.cases[case].id
        ));
    }
    report.list(&told);
    report.paragraph("No plan writes weights in air but those of hulls: weigh before lifting.");
}
