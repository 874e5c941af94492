//! Spares: the chance that every place has something that works, by what is aboard.

use std::collections::BTreeMap;

use plan::{Line, ModuleIx, Q, SpanIx, SpareOf};

/// Confidences for which the spares that are needed are told.
pub(super) const CONFIDENCES: [f64; 2] = [0.95, 0.99];

/// Things that are alike, with the places that they fill.
#[derive(Clone, Debug, PartialEq)]
pub struct SpareRow {
    /// The part, or the module or span without one.
    pub of: String,
    /// Places that are to be filled.
    pub places: u64,
    /// Spares aboard; none where no `spare` table is of it.
    pub carried: u64,
    /// Chance that one does not work, 0 to 1; `None` where the plan says none.
    pub dead: Option<f64>,
    /// Chance that every place is filled, 0 to 1.
    pub filled: Option<f64>,
    /// Spares with which it is filled with a confidence of 95 % and of 99 %.
    pub needed: Option<[u64; 2]>,
}

/// All that goes aboard.
#[derive(Clone, Debug, PartialEq)]
pub struct Spares {
    /// By what they are of.
    pub rows: Vec<SpareRow>,
    /// Chance that every place of the line is filled; `None` where that of some is not known.
    pub all_filled: Option<f64>,
}

/// Spares of a line. Every thing works or does not, each for itself: `n` places and `s` spares are filled where at least `n` of `n + s` work (binomial law).
#[must_use]
pub fn spares(line: &Line) -> Spares {
    let mut places: BTreeMap<SpareOf, u64> = BTreeMap::new();
    let modules = line.modules.iter().enumerate();
    let modules = modules.map(|(i, m)| of_part(m.part.as_ref(), SpareOf::Module(ModuleIx(i))));
    let spans = line.spans.iter().enumerate();
    let spans = spans.map(|(i, s)| of_part(s.part.as_ref(), SpareOf::Span(SpanIx(i))));
    for of in modules.chain(spans) {
        *places.entry(of).or_default() += 1;
    }
    let mut rows: Vec<SpareRow> = places
        .into_iter()
        .map(|(of, places)| row(line, &of, places))
        .collect();
    rows.sort_by(|a, b| a.of.cmp(&b.of));
    let all_filled = rows.iter().map(|row| row.filled).product();
    Spares { rows, all_filled }
}

fn of_part(part: Option<&String>, alone: SpareOf) -> SpareOf {
    part.map_or(alone, |path| SpareOf::Part(path.clone()))
}

fn row(line: &Line, of: &SpareOf, places: u64) -> SpareRow {
    let spare = line.spares.iter().find(|s| s.of == *of);
    let own = spare.and_then(|s| s.dead_on_deck);
    let dead = own.or(line.deployment.dead_on_deck).map(|q: Q| q.si);
    let carried = spare.map_or(0, |s| u64::from(s.carried));
    let works = dead.map(|dead| 1.0 - dead);
    SpareRow {
        of: match of {
            SpareOf::Part(path) => path.clone(),
            SpareOf::Module(m) => line.module_path(*m),
            SpareOf::Span(s) => format!("span.{}", line.spans[s.0].id),
        },
        places,
        carried,
        dead,
        filled: works.and_then(|works| {
            let all = vec![works; usize::try_from(places + carried).ok()?];
            chance::at_least(usize::try_from(places).ok()?, &all).ok()
        }),
        needed: works.and_then(|works| {
            let needed = CONFIDENCES.map(|c| chance::spares_needed(places, works, c).ok());
            Some([needed[0]?, needed[1]?])
        }),
    }
}
