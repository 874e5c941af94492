//! What is kept of each draw, and what all draws gather on their way: why something is unknown first, units, years that held.
//!
//! Draws come in the order of the threads. What is gathered is the same in any order: the lowest number, whole sums, "and".

use std::collections::BTreeMap;
use std::sync::{Mutex, PoisonError};

use crate::judged::Judged;
use crate::verdict::{Verdict, Word};
use crate::years::OwnHeld;

/// One draw of one requirement. There are many: it holds no text.
#[derive(Clone, Copy, Debug)]
pub(super) struct One {
    pub(super) word: Word,
    /// Which of [`Whole::units`] its margin has; `None` where it has none.
    unit: Option<u16>,
    /// Margin of its worst verdict; not a number where there is none.
    margin: f64,
}

/// All of one draw by place: the requirements that are drawn, then the standing checks; `None` where it gave no line.
pub(super) type Draw = Option<Box<[One]>>;

/// Of the years that are the draws' own those that held.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct HeldYears {
    /// So many held. A measured year, which comes with many draws, held where it did with each.
    pub held: u64,
    /// Of so many, each measured one counted once.
    pub of: u64,
    /// Whether they were measured.
    pub measured: bool,
}

/// Something that was met first in a draw, counted from 0, and why.
pub(super) type First = Option<(usize, String)>;

/// What draws gather.
pub(super) struct Gathered(Mutex<Whole>);

/// What all draws gathered.
#[derive(Default)]
pub(super) struct Whole {
    /// Why the first draw without a line has none.
    pub(super) no_line: First,
    pub(super) places: Vec<Place>,
    /// Units of margins, in the order of the threads: only their names are told.
    units: Vec<String>,
}

/// What was gathered of one requirement.
#[derive(Clone, Default)]
pub(super) struct Place {
    /// Why it is unknown in the first draw in which it is.
    pub(super) first_unknown: First,
    generated: Option<(u64, u64)>,
    /// Each measured year, and whether it held with every draw.
    measured: BTreeMap<u64, bool>,
}

impl Gathered {
    pub(super) fn new(places: usize) -> Self {
        Self(Mutex::new(Whole {
            places: vec![Place::default(); places],
            ..Whole::default()
        }))
    }

    fn with<T>(&self, change: impl FnOnce(&mut Whole) -> T) -> T {
        change(&mut self.0.lock().unwrap_or_else(PoisonError::into_inner))
    }

    pub(super) fn no_line(&self, draw: usize, why: String) {
        self.with(|whole| earlier(&mut whole.no_line, draw, || why));
    }

    /// What is kept of a requirement that was judged in a draw; of nothing, where the draw has not what it is about.
    pub(super) fn one(&self, place: usize, draw: usize, judged: Option<&Judged>) -> One {
        let Some(judged) = judged else {
            // What is not there any more has nothing to be broken.
            self.with(|whole| {
                let first = &mut whole.places[place].first_unknown;
                earlier(first, draw, || {
                    "the draw has nothing that this is about".to_owned()
                });
            });
            return One::unknown();
        };
        let word = judged.word();
        if word == Word::Unknown {
            let mut unknown = judged.verdicts.iter().filter_map(|v| match v {
                Verdict::Unknown { subject, why } => Some(format!("{subject}: {why}")),
                _ => None,
            });
            self.with(|whole| {
                let first = &mut whole.places[place].first_unknown;
                if let Some(why) = unknown.next() {
                    earlier(first, draw, || why);
                }
            });
            return One::unknown();
        }
        match judged.verdicts.first() {
            Some(Verdict::Known(known)) => self.with(|whole| One {
                word,
                unit: whole.unit(&known.margin.unit),
                margin: known.margin.value,
            }),
            _ => One {
                word,
                ..One::unknown()
            },
        }
    }

    /// Counts the years of a draw that held what a requirement asks.
    pub(super) fn years(&self, place: usize, of_draw: &OwnHeld) {
        self.with(|whole| {
            let place = &mut whole.places[place];
            let numbered = of_draw.numbers.iter().zip(&of_draw.held);
            if of_draw.measured {
                for (number, held) in numbered {
                    *place.measured.entry(*number).or_insert(true) &= *held;
                }
            } else {
                let (held, of) = place.generated.get_or_insert_default();
                *held += numbered.filter(|(_, held)| **held).count() as u64;
                *of += of_draw.held.len() as u64;
            }
        });
    }

    pub(super) fn into_whole(self) -> Whole {
        self.0.into_inner().unwrap_or_else(PoisonError::into_inner)
    }
}

fn earlier(first: &mut First, draw: usize, why: impl FnOnce() -> String) {
    if first.as_ref().is_none_or(|(known, _)| draw < *known) {
        *first = Some((draw, why()));
    }
}

impl One {
    fn unknown() -> Self {
        Self {
            word: Word::Unknown,
            unit: None,
            margin: f64::NAN,
        }
    }
}

impl Whole {
    /// The number of a unit; `None` beyond as many as no plan has.
    fn unit(&mut self, unit: &str) -> Option<u16> {
        let known = self.units.iter().position(|u| u == unit);
        let number = known.unwrap_or_else(|| {
            self.units.push(unit.to_owned());
            self.units.len() - 1
        });
        u16::try_from(number).ok()
    }

    /// The margin of a draw with its unit; `None` where it has none.
    pub(super) fn margin(&self, one: &One) -> Option<(f64, &str)> {
        let unit = self.units.get(usize::from(one.unit?))?;
        Some((one.margin, unit))
    }
}

impl Place {
    pub(super) fn years(&self) -> Option<HeldYears> {
        if let Some((held, of)) = self.generated {
            return Some(HeldYears {
                held,
                of,
                measured: false,
            });
        }
        let held = self.measured.values().filter(|held| **held).count() as u64;
        let of = self.measured.len() as u64;
        (of > 0).then_some(HeldYears {
            held,
            of,
            measured: true,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A hundred thousand draws of fifty requirements in less than 100 MB.
    #[test]
    fn verif_a_draw_keeps_two_words_of_a_requirement() {
        assert!(size_of::<One>() <= 16);
        assert!(super::super::MOST_DRAWS * 50 * size_of::<One>() < 100_000_000);
    }
}
