//! What late ships do to a plan: everything that rests on dates, judged for each start and each recovery on a grid.
//!
//! A cell is the plan with exactly that start and that recovery and no slip of its own, judged by the same functions as in [`crate::check`]: there is no second
//! calculation. Method, limits and what is left out: docs/method/slip.md.

mod steps;

use jiff::SignedDuration;
use plan::{Line, Must, Q, Reading, That};

use crate::check::{Shelf, Tier, judged};
use crate::hang::hung;
use crate::judged::Judged;
use crate::memo::Memo;
use crate::month::UnderLoad;
use crate::reach::Reach;
use crate::standing::{ON_SHAPES, UNLIKE_METALS, standing_of};
use crate::threads::on_threads;
use crate::verdict::{Figure, Verdict, Word};
use crate::years::Years;

pub use steps::{MOST_STEPS as MOST_SLIPS, Steps};

/// Share of a value by which another may differ that is told with the same four digits.
const SAME: f64 = 5e-4;

/// What is asked.
#[derive(Clone, Copy, Debug)]
pub struct SlipAsk {
    /// Threads; what comes out does not depend on them.
    pub threads: usize,
}

/// What a requirement comes to with one start and one recovery: the worst of its verdicts.
#[derive(Clone, Debug, PartialEq)]
pub struct SlipCell {
    /// Its word.
    pub word: Word,
    /// What it is about.
    pub subject: String,
    /// Value, limit and margin; `None` where it is unknown.
    pub figures: Option<[Figure; 3]>,
    /// Why.
    pub why: String,
}

/// A requirement, or a check of every plan, that rests on dates.
#[derive(Clone, Debug, PartialEq)]
pub struct SlipGrid {
    /// Its id.
    pub id: String,
    /// Whether it is checked in every plan, and no requirement of this one.
    pub standing: bool,
    /// Whether it must hold.
    pub must: Must,
    /// What is asked, in a sentence.
    pub sentence: String,
    /// A row for each start, in it a cell for each recovery.
    pub cells: Vec<Vec<SlipCell>>,
    /// Start and recovery, by their numbers, at which it is worst within the plan's own slips; the earliest of equals.
    pub worst: (usize, usize),
    /// What `check` says of it, which judges at the ends of the plan's slips.
    pub checked: Word,
}

impl SlipGrid {
    /// Whether every cell says the same, to the fourth digit of its value: what is judged rests on dates, and these slips do not move it.
    #[must_use]
    pub fn is_steady(&self) -> bool {
        let mut all = self.cells.iter().flatten();
        let Some(first) = all.next() else { return true };
        let same = |c: &SlipCell| match (&c.figures, &first.figures) {
            // A limit may go by dates as well as a value.
            (Some(a), Some(b)) => a
                .iter()
                .zip(b)
                .all(|(a, b)| (a.value - b.value).abs() <= SAME * a.value.abs().max(b.value.abs())),
            (a, b) => a.is_none() && b.is_none(),
        };
        all.all(|c| c.word == first.word && same(c))
    }

    /// The cell where it is worst within the plan's own slips.
    #[must_use]
    pub fn at_worst(&self) -> &SlipCell {
        &self.cells[self.worst.0][self.worst.1]
    }
}

/// The grid of a plan.
#[derive(Clone, Debug, PartialEq)]
pub struct Slip {
    /// How much later the deployment starts: the rows.
    pub starts: Steps,
    /// How much longer than its duration it is in the water: the columns.
    pub recoveries: Steps,
    /// All that rests on dates: requirements by id, then what is checked in every plan.
    pub grids: Vec<SlipGrid>,
}

impl Slip {
    /// Those that the slips move.
    pub fn moved(&self) -> impl Iterator<Item = &SlipGrid> {
        self.grids.iter().filter(|g| !g.is_steady())
    }

    /// Those that they do not.
    pub fn steady(&self) -> impl Iterator<Item = &SlipGrid> {
        self.grids.iter().filter(|g| g.is_steady())
    }

    /// The worst word of a cell among those that the slips move, and the places of those that have it among [`Slip::moved`]; `None` where nothing moves.
    #[must_use]
    pub fn worst_of(&self, start: usize, recovery: usize) -> Option<(Word, Vec<usize>)> {
        let words: Vec<Word> = self
            .moved()
            .map(|g| g.cells[start][recovery].word)
            .collect();
        let worst = *words.iter().min()?;
        let having = words.iter().enumerate().filter(|(_, w)| **w == worst);
        Some((worst, having.map(|(i, _)| i).collect()))
    }

    /// Whether a cell lies within the slips that the plan writes.
    #[must_use]
    pub fn is_own(&self, start: usize, recovery: usize) -> bool {
        start <= self.starts.own && recovery <= self.recoveries.own
    }

    /// Whether something that must hold is broken within the plan's own slips.
    #[must_use]
    pub fn is_broken(&self) -> bool {
        let shall = |g: &&SlipGrid| g.must == Must::Shall;
        let mut all = self.grids.iter().filter(shall);
        all.any(|g| g.at_worst().word == Word::Broken)
    }

    /// Whether something is unknown there.
    #[must_use]
    pub fn some_unknown(&self) -> bool {
        let mut cells = self.grids.iter().map(SlipGrid::at_worst);
        cells.any(|c| matches!(c.word, Word::Unknown | Word::Provisional))
    }
}

/// Judges all that rests on dates for each start and recovery; `None` when `watch`, which gets the share that is done, says not to go on, or the plan has no line.
#[must_use]
pub fn slip(
    reading: &Reading,
    shelf: &Shelf,
    memo: &Memo,
    ask: SlipAsk,
    watch: &(dyn Fn(f64) -> bool + Sync),
) -> Option<Slip> {
    let held = hung(reading.line.as_ref()?, memo).into_owned();
    let of = &held.deployment;
    let starts = Steps::of(of.start_slip_s.map(|q| q.si));
    let recoveries = Steps::of(of.recovery_slip_s.map(|q| q.si));
    let (rows, columns) = (starts.each_s.len(), recoveries.each_s.len());
    let all = on_threads(rows * columns, ask.threads, watch, |number| {
        // Neighbours in time have other starts, so that no two threads work out the same year of hearing at once.
        let start_s = starts.each_s[number % rows];
        let recovery_s = recoveries.each_s[number / rows];
        let line = with_slips(&held, start_s, recovery_s);
        let axes = Axes {
            starts: start_s > 0.0,
            ends: recovery_s > 0.0,
        };
        Ok::<_, std::convert::Infallible>(of_line(reading, &line, axes, shelf, memo))
    });
    let all = match all {
        Ok(all) => all?,
        Err(never) => match never {},
    };
    let none = Axes {
        starts: false,
        ends: false,
    };
    let as_written = of_line(reading, &held, none, shelf, memo);
    // What does not read one of the two dates is that of the first row or column.
    let grid =
        |axes: Axes, standing: bool, one: &Judged, of: &dyn Fn(&OfCell) -> Option<&Judged>| {
            let cell = |start: usize, recovery: usize| {
                let start = if axes.starts { start } else { 0 };
                let recovery = if axes.ends { recovery } else { 0 };
                of(&all[recovery * rows + start]).map_or_else(unjudged, cell)
            };
            let row = |start: usize| (0..columns).map(|r| cell(start, r)).collect();
            let cells: Vec<Vec<SlipCell>> = (0..rows).map(row).collect();
            SlipGrid {
                id: one.id.clone(),
                standing,
                must: one.must,
                sentence: one.sentence.clone(),
                worst: worst(&cells, (starts.own, recoveries.own)),
                cells,
                checked: one.word(),
            }
        };
    let asked = as_written.asked.iter().enumerate();
    let mut grids: Vec<SlipGrid> = asked
        .filter_map(|(k, (axes, one))| {
            let one = one.as_ref()?;
            Some(grid(*axes, false, one, &|cell| {
                cell.asked.get(k)?.1.as_ref()
            }))
        })
        .collect();
    let ends = Axes {
        starts: false,
        ends: true,
    };
    // A check that says nothing is not told, so that those of one cell need not be those of another.
    let mut told: Vec<&Judged> = as_written.standing.iter().collect();
    let in_cells = all.iter().flat_map(|cell| &cell.standing);
    for one in in_cells {
        if !told.iter().any(|held| held.id == one.id) {
            told.push(one);
        }
    }
    for one in told {
        let mut grid = grid(ends, true, one, &|cell| {
            cell.standing.iter().find(|held| held.id == one.id)
        });
        if !as_written.standing.iter().any(|held| held.id == one.id) {
            grid.checked = Word::Unknown;
        }
        grids.push(grid);
    }
    Some(Slip {
        grids,
        starts,
        recoveries,
    })
}

/// The line with one start and one recovery, and no slip beyond them.
fn with_slips(line: &Line, start_s: f64, recovery_s: f64) -> Line {
    let mut line = line.clone();
    let of = &mut line.deployment;
    let written = |q: Option<Q>, si: f64| {
        let like = q.unwrap_or(of.duration_s);
        Some(Q { si, ..like })
    };
    of.recovery_slip_s = written(of.recovery_slip_s, recovery_s);
    of.start_slip_s = written(of.start_slip_s, 0.0);
    let later = SignedDuration::try_from_secs_f64(start_s).ok();
    of.start = of.start.and_then(|at| at.checked_add(later?).ok());
    // What waits for a late ship lies longer.
    for supply in &mut line.supplies {
        if let Some(hold) = &mut supply.hold {
            hold.lasts_s.si += start_s;
        }
    }
    line
}

/// Which dates are read.
#[derive(Clone, Copy)]
struct Axes {
    starts: bool,
    ends: bool,
}

/// What is judged in a cell.
struct OfCell {
    /// Requirements that read dates, with what they read; `None` where nothing that is moved is read.
    asked: Vec<(Axes, Option<Judged>)>,
    /// What is checked in every plan and reads how long the deployment lasts; none where the start is moved.
    standing: Vec<Judged>,
}

/// All that rests on dates, with what it reads; where the line has its dates moved, only what reads all that is moved is judged.
fn of_line(reading: &Reading, line: &Line, moved: Axes, shelf: &Shelf, memo: &Memo) -> OfCell {
    let reach = Reach { reading, line };
    let mut years = Years::new(line, memo, Tier::Full);
    years.load = UnderLoad::LeftOut;
    let mut asked = Vec::new();
    for r in &line.requirements {
        let axes = dates_read(&reach, &r.that);
        if axes.starts || axes.ends {
            let moves = (axes.starts || !moved.starts) && (axes.ends || !moved.ends);
            let one = moves.then(|| judged(&reach, r, shelf, &mut years));
            asked.push((axes, one));
        }
    }
    let standing = match moved.starts {
        true => Vec::new(),
        false => {
            // Without growth only the number of a drift alarm's fixes moves.
            let grows = line.sea.growth.is_some();
            // What anodes keep from being eaten they keep as long as they last.
            let guarded = !line.anodes.is_empty();
            let wanted = |id: &str| match id {
                UNLIKE_METALS => guarded,
                _ if grows => ON_SHAPES.contains(&id),
                _ => id == "drift-alarm",
            };
            standing_of(&reach, memo, &years.hangs, wanted)
        }
    };
    OfCell { asked, standing }
}

/// Whether a requirement reads when the deployment starts, and how long it lasts. Evidence of a rehearsal does not rest on slips, and a wait for weather is within
/// them.
fn dates_read(reach: &Reach<'_>, that: &That) -> Axes {
    if matches!(that, That::Rehearsed { .. } | That::WeatherWindow { .. }) {
        return Axes {
            starts: false,
            ends: false,
        };
    }
    let parts = reach.of(that);
    let reads = |keys: [&str; 2]| {
        let mut keys = keys.iter().map(|k| format!("deployment.{k}"));
        parts.contains("deployment") || keys.any(|key| parts.contains(&key))
    };
    Axes {
        starts: reads(["start", "start_slip"]),
        ends: reads(["duration", "recovery_slip"]),
    }
}

/// Of a check that says nothing with the dates of a cell.
fn unjudged() -> SlipCell {
    SlipCell {
        word: Word::Unknown,
        subject: String::new(),
        figures: None,
        why: "with these dates nothing is known of it, because some shape of the line is not"
            .to_owned(),
    }
}

/// Its first verdict is its worst.
fn cell(judged: &Judged) -> SlipCell {
    let first = judged.verdicts.first();
    let (figures, why) = match first {
        Some(Verdict::Known(known)) => (
            Some([&known.value, &known.limit, &known.margin].map(Clone::clone)),
            known.why.clone(),
        ),
        Some(Verdict::Provisional(so_far)) => (
            Some([&so_far.value, &so_far.limit, &so_far.margin].map(Clone::clone)),
            so_far.why.clone(),
        ),
        Some(Verdict::Unknown { why, .. }) => (None, why.clone()),
        None => (None, String::new()),
    };
    SlipCell {
        word: judged.word(),
        subject: first.map_or_else(String::new, |v| v.subject().to_owned()),
        figures,
        why,
    }
}

/// Where it is worst, up to the last own row and column: the lowest word, then the least margin, then the first.
fn worst(cells: &[Vec<SlipCell>], own: (usize, usize)) -> (usize, usize) {
    let mut at = (0, 0);
    for (row, cells_of_row) in cells.iter().enumerate().take(own.0 + 1) {
        for (column, cell) in cells_of_row.iter().enumerate().take(own.1 + 1) {
            let best: &SlipCell = &cells[at.0][at.1];
            let margin = |c: &SlipCell| c.figures.as_ref().map_or(f64::INFINITY, |f| f[2].value);
            let worse = match cell.word.cmp(&best.word) {
                std::cmp::Ordering::Less => true,
                std::cmp::Ordering::Equal => margin(cell) < margin(best),
                std::cmp::Ordering::Greater => false,
            };
            if worse {
                at = (row, column);
            }
        }
    }
    at
}
