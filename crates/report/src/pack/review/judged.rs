//! Requirements with their verdicts as rows of a table.

use assess::{Evidence, EvidenceTable, Judged, Supported, Verdict};
use plan::Must;

use super::model::{Cell, Piece, Report};
use crate::told::{TOLD_EACH, draws_in_words, in_words, nearest, support_words};

pub(super) fn table(report: &mut Report, all: &[&Judged], table: Option<&EvidenceTable>) {
    let rests = |id: &str| -> Option<&Supported> {
        let table = table?;
        let mut each = table.requirements.iter().chain(&table.standing);
        each.find(|s| s.id == id)
    };
    let mut rows = Vec::new();
    for judged in all {
        let verdicts: Vec<&Verdict> = judged.verdicts.iter().collect();
        let told = nearest(&verdicts, TOLD_EACH);
        let rest = judged.verdicts.len() - told.len();
        for (nth, verdict) in told.iter().enumerate() {
            let mut cells = match nth {
                0 => vec![Cell::word(judged.word()), asked(judged)],
                _ => vec![Cell::default(), Cell::default()],
            };
            cells.extend(figures(verdict));
            if table.is_some() {
                cells.push(match nth {
                    0 => rests(&judged.id).map_or_else(Cell::default, evidence),
                    _ => Cell::default(),
                });
            }
            rows.push(cells);
        }
        if rest > 0 {
            let mut cells = vec![Cell::default(); 5];
            cells.push(Cell::of(format!("and {rest} more, none of them worse")));
            cells.resize(6 + usize::from(table.is_some()), Cell::default());
            rows.push(cells);
        }
    }
    let mut heads = vec![
        "verdict",
        "what is asked",
        "value",
        "limit",
        "margin",
        "of what, and why",
    ];
    if table.is_some() {
        heads.push("rests on");
    }
    report.table(&heads, rows);
}

fn asked(judged: &Judged) -> Cell {
    let must = match judged.must {
        Must::Shall => "shall",
        Must::Should => "should",
    };
    let mut cell = Cell::default().and(vec![
        Piece::strong(&judged.id),
        Piece::plain(format!(" ({must}): {}", judged.sentence)),
    ]);
    if let Some(clause) = &judged.clause {
        cell = cell.and_quiet(format!("by {clause}"));
    }
    if let Some(draws) = &judged.in_draws {
        cell = cell.and_quiet(draws_in_words(draws));
    }
    cell
}

/// Value, limit, margin, and of what and why.
fn figures(verdict: &Verdict) -> Vec<Cell> {
    let why = |subject: &str, why: &str| {
        let cell = Cell::of(subject);
        why.lines().fold(cell, |cell, line| cell.and_quiet(line))
    };
    let row = |figures: [String; 3], subject: &str, reason: &str| {
        let mut cells: Vec<Cell> = figures.into_iter().map(Cell::of).collect();
        cells.push(why(subject, reason));
        cells
    };
    match verdict {
        Verdict::Known(k) => match &k.evidence {
            // Counts of one whole, not a value with room to spare.
            Evidence::Rehearsed { .. } => {
                let value = format!("{:.0}", k.value.value);
                let limit = format!("{:.0} {}", k.limit.value, k.value.unit);
                row([value, limit, String::new()], &k.subject, &k.why)
            }
            _ => row(
                in_words([&k.value, &k.limit, &k.margin]),
                &k.subject,
                &k.why,
            ),
        },
        Verdict::Provisional(p) => {
            let counted = format!("by {} of {} years; {}", p.counted, p.of, p.why);
            row(
                in_words([&p.value, &p.limit, &p.margin]),
                &p.subject,
                &counted,
            )
        }
        Verdict::Unknown { subject, why } => {
            let figures = ["unknown".to_owned(), String::new(), String::new()];
            row(figures, subject, why)
        }
    }
}

fn evidence(of: &Supported) -> Cell {
    of.supports
        .iter()
        .fold(Cell::default(), |cell, (support, _)| {
            let (kind, which) = support_words(support);
            cell.and(vec![
                Piece::strong(kind),
                Piece::plain(format!(": {which}")),
            ])
        })
}
