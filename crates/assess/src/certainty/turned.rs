//! Whether the margin of a requirement reads an input at all: some draws again, with that input elsewhere in its range and all else as it was.
//!
//! Where draws have no margin, inputs that decide whether there is one go together in those that have, and no rank correlation tells for certain which of them the margin reads. What
//! moves no bit of it in some draws is not told. Where every draw has a margin the inputs are independent, and what stands out of chance is read.

use std::convert::Infallible;

use super::fold::Sureness;
use super::gather::{Draw, Gathered, Whole};
use super::{Certainty, point};
use crate::threads::on_threads;

/// Draws that have a margin with an input here and there before it counts as not read: a value that decides in few of them may be missed (a choice of ours).
const COMPARED: usize = 4;
/// Draws that are made again at most for it.
const TRIED: usize = 16;

/// What is needed to make a draw again.
pub(super) struct Turned<'a, F> {
    /// Of each input its share in every draw.
    pub(super) columns: &'a [Vec<f64>],
    pub(super) draws: &'a [Draw],
    pub(super) whole: &'a Whole,
    /// A point, the number of its draw and what gathers.
    pub(super) again: &'a F,
    /// How many requirements and checks are judged in a draw.
    pub(super) places: usize,
}

/// A requirement with an input that seems to move it.
struct Suspect {
    place: usize,
    input: usize,
}

impl<F> Turned<'_, F>
where
    F: Fn(&[f64], usize, &Gathered) -> Draw + Sync,
{
    /// Takes from what moves each margin the inputs that it does not read. `watch` says whether to go on; `None` when it says no.
    pub(super) fn keep_what_is_read(
        &self,
        told: &mut Certainty,
        threads: usize,
        watch: &(dyn Fn(f64) -> bool + Sync),
    ) -> Option<()> {
        let mut suspects = Vec::new();
        let all = told.requirements.iter().chain(&told.standing);
        let drawn = all.filter_map(|one| match &one.sureness {
            Sureness::Drawn(share) => Some(share),
            Sureness::AsWritten { .. } => None,
        });
        for (place, share) in drawn.enumerate() {
            let Some(margins) = share.margins.as_ref() else {
                continue;
            };
            if margins.draws < self.draws.len() {
                let inputs = margins.moved_by.iter().map(|m| m.input);
                suspects.extend(inputs.map(|input| Suspect { place, input }));
            }
        }
        let mut inputs: Vec<usize> = suspects.iter().map(|s| s.input).collect();
        inputs.sort_unstable();
        inputs.dedup();
        // The draws are done; whether to go on is asked all the same.
        let go_on = |_: f64| watch(1.0);
        let Ok(read) = on_threads(inputs.len(), threads, &go_on, |ix| {
            let of = suspects.iter().filter(|s| s.input == inputs[ix]);
            Ok::<_, Infallible>(self.places_that_read(inputs[ix], of))
        });
        let read = read?;
        let all = told.requirements.iter_mut().chain(&mut told.standing);
        let drawn = all.filter_map(|one| match &mut one.sureness {
            Sureness::Drawn(share) => Some(share),
            Sureness::AsWritten { .. } => None,
        });
        for (place, share) in drawn.enumerate() {
            let Some(margins) = share.margins.as_mut() else {
                continue;
            };
            if margins.draws < self.draws.len() {
                margins.moved_by.retain(|m| {
                    let ix = inputs.binary_search(&m.input);
                    ix.is_ok_and(|ix| read[ix].contains(&place))
                });
            }
        }
        Some(())
    }

    /// Of the requirements that an input seems to move those that it moves by a bit in one of some draws.
    fn places_that_read<'s>(
        &self,
        input: usize,
        suspects: impl Iterator<Item = &'s Suspect>,
    ) -> Vec<usize> {
        let mut made: Vec<(usize, Draw, Whole)> = Vec::new();
        let mut read = Vec::new();
        for suspect in suspects {
            let margin = |draw: &Draw, whole: &Whole| -> Option<(u64, String)> {
                let (value, unit) = whole.margin(&draw.as_ref()?[suspect.place])?;
                Some((value.to_bits(), unit.to_owned()))
            };
            let known = (0..self.draws.len())
                .filter_map(|i| Some((i, margin(&self.draws[i], self.whole)?)))
                .take(TRIED);
            let mut alike = 0;
            for (number, before) in known {
                if made.iter().all(|(n, ..)| *n != number) {
                    let mut elsewhere = point(self.columns, number);
                    elsewhere[input] = (elsewhere[input] + 0.5) % 1.0;
                    let gathered = Gathered::new(self.places);
                    let draw = (self.again)(&elsewhere, number, &gathered);
                    made.push((number, draw, gathered.into_whole()));
                }
                let again = made.iter().find(|(n, ..)| *n == number);
                let after = again.and_then(|(_, draw, whole)| margin(draw, whole));
                // Without a margin there the input decides whether there is one, which is not to move it.
                let Some(after) = after else { continue };
                alike = if after == before { alike + 1 } else { 0 };
                if alike == 0 || alike == COMPARED {
                    break;
                }
            }
            if alike < COMPARED {
                read.push(suspect.place);
            }
        }
        read
    }
}

#[cfg(test)]
mod tests {
    use plan::Must;

    use super::super::fold::{Certain, DrawnShare, Margins, Matters};
    use super::super::movers::Sway;
    use super::*;
    use crate::judged::Judged;
    use crate::verdict::{Against, Evidence, Side, Word, unknown};

    const DRAWS: usize = 400;

    /// A margin of `exp(x)` that is known where `x + y < 1`: below the diagonal x and y go together, and y is none of its inputs.
    fn judged(point: &[f64]) -> Judged {
        let against = Against {
            side: Side::AtLeast,
            limit: 0.0,
            narrow: 0.0,
            unit: "m".to_owned(),
        };
        let verdict = match point[0] + point[1] < 1.0 {
            true => against.judge(
                "x".to_owned(),
                point[0].exp(),
                Evidence::computed("exp", &point[0].to_bits()),
                String::new(),
            ),
            false => unknown("x", "beyond the diagonal"),
        };
        Judged {
            id: "x".to_owned(),
            must: Must::Shall,
            clause: None,
            sentence: String::new(),
            asks: Vec::new(),
            verdicts: vec![verdict],
            in_draws: None,
        }
    }

    fn certainty_of(moved_by: Vec<Matters>, draws: usize) -> Certainty {
        let margins = Margins {
            unit: "m".to_owned(),
            draws,
            without: 0,
            first_without: None,
            at_5_25_50_75_95: [0.0; 5],
            lowest_highest: (0.0, 1.0),
            moved_by,
        };
        let share = DrawnShare {
            met: draws,
            marginal: 0,
            broken: 0,
            unknown: DRAWS - draws,
            first_unknown: None,
            share_low: 0.0,
            share_high: 1.0,
            margins: Some(margins),
            years: None,
        };
        Certainty {
            name: None,
            draws: DRAWS,
            seed: 1,
            years_each: None,
            inputs: Vec::new(),
            no_line: None,
            requirements: vec![Certain {
                id: "x".to_owned(),
                must: Must::Shall,
                clause: None,
                sentence: String::new(),
                nominal: Word::Met,
                sureness: Sureness::Drawn(Box::new(share)),
            }],
            standing: Vec::new(),
        }
    }

    #[test]
    fn verif_an_input_that_a_margin_does_not_read_is_not_told() {
        let golden = 0.5 * (5.0_f64.sqrt() - 1.0);
        let columns = vec![
            (0..DRAWS)
                .map(|i| (i as f64 + 0.5) / DRAWS as f64)
                .collect(),
            (0..DRAWS).map(|i| (i as f64 * golden).fract()).collect(),
        ];
        let gathered = Gathered::new(1);
        let again = |point: &[f64], number: usize, gathered: &Gathered| -> Draw {
            Some(vec![gathered.one(0, number, Some(&judged(point)))].into_boxed_slice())
        };
        let draws: Vec<Draw> = (0..DRAWS)
            .map(|i| again(&point(&columns, i), i, &gathered))
            .collect();
        let whole = gathered.into_whole();
        let known = (0..DRAWS).filter(|i| columns[0][*i] + columns[1][*i] < 1.0);
        let known: Vec<usize> = known.collect();
        let of = |input: usize| Matters {
            input,
            moves: Sway::OneWay,
            rank_correlation: 0.3,
        };
        let mut told = certainty_of(vec![of(0), of(1)], known.len());
        let turned = Turned {
            columns: &columns,
            draws: &draws,
            whole: &whole,
            again: &again,
            places: 1,
        };
        // Whoever asks to stop is heard, and nothing is taken away.
        assert!(turned.keep_what_is_read(&mut told, 2, &|_| false).is_none());
        let Sureness::Drawn(share) = &told.requirements[0].sureness else {
            panic!("it was drawn");
        };
        assert_eq!(share.margins.as_ref().unwrap().moved_by.len(), 2);
        assert!(turned.keep_what_is_read(&mut told, 2, &|_| true).is_some());
        let Sureness::Drawn(share) = &told.requirements[0].sureness else {
            panic!("it was drawn");
        };
        let moved_by = &share.margins.as_ref().expect("it has margins").moved_by;
        // Turned to the other side of the diagonal y takes the margin away, and that moves none.
        let inputs: Vec<usize> = moved_by.iter().map(|m| m.input).collect();
        assert_eq!(inputs, [0]);
    }
}
