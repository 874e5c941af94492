//! Which inputs move a margin: by rank, one after another, each after what the stronger ones explain has been taken out.
//!
//! Spearman's rank correlation alone names bystanders where draws are missing: of the draws that remain, inputs that have nothing to do with each
//! other go together. So an input counts only if it stands out of chance beside those that are stronger (correlation of the ranks that are left,
//! as in partial rank correlation: Iman and Conover 1979, from memory), and what is told of it is how the margin goes with what is left of its ranks
//! (semi-partial: the squares add up to what all together explain). What is left of hardly anything is not told. A margin that is best in the middle of an input's range has no rank
//! correlation with it at all; it has one with the distance from the middle.

use chance::ranks;

use super::fold::Matters;

/// An input moves a margin where the correlation that is left is so many standard deviations from that of chance, 1 / sqrt(n - 1 - k) with k inputs
/// before it: one in 370 inputs that do nothing passes it (common practice), and one in 185 of both ways.
const DEVIATIONS: f64 = 3.0;
/// An input of which less than this is left beside the stronger ones is not told, however surely it is not nothing (a choice of ours: a quarter of a percent of what moves the margin).
const TOLD: f64 = 0.05;

/// How an input moves a margin.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Sway {
    /// More of it leaves more, or less, of the margin.
    OneWay,
    /// The margin goes with its distance from the middle of what is drawn.
    FromTheMiddle,
}

/// The inputs that move margins, the strongest first. `columns` holds for each input its share of the way from its lowest to its highest value, 0 to 1,
/// in every draw; `drawn` the draws with a margin, `values` their margins.
pub(super) fn movers(columns: &[Vec<f64>], drawn: &[usize], values: &[f64]) -> Vec<Matters> {
    let Some(margin) = Ranked::of(values) else {
        return Vec::new();
    };
    let mut candidates: Vec<Candidate> = Vec::new();
    for (input, column) in columns.iter().enumerate() {
        let column: Vec<f64> = drawn.iter().map(|i| column[*i]).collect();
        let off: Vec<f64> = column.iter().map(|share| (share - 0.5).abs()).collect();
        for (moves, list) in [(Sway::OneWay, column), (Sway::FromTheMiddle, off)] {
            candidates.extend(Ranked::of(&list).map(|left| Candidate { input, moves, left }));
        }
    }
    let mut left = Ranked(margin.0.clone());
    let mut found: Vec<Matters> = Vec::new();
    while !candidates.is_empty() {
        let beside = values.len() as f64 - 1.0 - found.len() as f64;
        if beside < 1.0 {
            break;
        }
        let strength = |c: &Candidate| c.left.along(&left).abs();
        let strongest = (0..candidates.len())
            .rev()
            .max_by(|a, b| strength(&candidates[*a]).total_cmp(&strength(&candidates[*b])));
        let Some(next) = strongest.map(|ix| candidates.remove(ix)) else {
            break;
        };
        if strength(&next) <= DEVIATIONS / beside.sqrt() {
            break;
        }
        if !found.iter().any(|m| m.input == next.input) {
            found.push(Matters {
                input: next.input,
                moves: next.moves,
                rank_correlation: next.left.along(&margin).clamp(-1.0, 1.0),
            });
        }
        let Some(rest) = left.without(&next.left) else {
            break;
        };
        left = rest;
        candidates = candidates
            .into_iter()
            .filter_map(|c| {
                let left = c.left.without(&next.left)?;
                Some(Candidate { left, ..c })
            })
            .collect();
    }
    found.retain(|m| m.rank_correlation.abs() >= TOLD);
    found.sort_by(|a, b| {
        let size = |m: &Matters| m.rank_correlation.abs();
        size(b).total_cmp(&size(a)).then(a.input.cmp(&b.input))
    });
    found
}

struct Candidate {
    input: usize,
    moves: Sway,
    /// Its ranks, without what stronger inputs share with them.
    left: Ranked,
}

/// Ranks about their mean, scaled to the length 1.
struct Ranked(Vec<f64>);

/// What is left of a list, as a share of its length, below which it is nothing but rounding.
const NOTHING: f64 = 1e-6;

impl Ranked {
    /// `None` where all values are equal, or one is no number.
    fn of(values: &[f64]) -> Option<Ranked> {
        if values.iter().any(|v| v.is_nan()) {
            return None;
        }
        let middle = (values.len() as f64 + 1.0) / 2.0;
        let about = ranks(values).into_iter().map(|rank| rank - middle);
        Ranked(about.collect()).scaled(0.0)
    }

    fn along(&self, other: &Ranked) -> f64 {
        self.0.iter().zip(&other.0).map(|(a, b)| a * b).sum()
    }

    /// What is left of it beside another.
    fn without(&self, other: &Ranked) -> Option<Ranked> {
        let share = self.along(other);
        let rest = self.0.iter().zip(&other.0).map(|(a, b)| a - share * b);
        Ranked(rest.collect()).scaled(NOTHING)
    }

    fn scaled(mut self, least: f64) -> Option<Ranked> {
        let size = self.along(&self).sqrt();
        if size <= least {
            return None;
        }
        for one in &mut self.0 {
            *one /= size;
        }
        Some(self)
    }
}

#[cfg(test)]
mod tests {
    use chance::rank_correlation;

    use super::*;

    /// Points that fill the unit square evenly: the fractions of i and of i times the golden section.
    fn square(count: usize) -> Vec<Vec<f64>> {
        let golden = 0.5 * (5.0_f64.sqrt() - 1.0);
        let along = (0..count)
            .map(|i| (i as f64 + 0.5) / count as f64)
            .collect();
        vec![
            along,
            (0..count).map(|i| (i as f64 * golden).fract()).collect(),
        ]
    }

    /// A margin that is best in the middle goes with the distance from it to the last rank, and with no value one way.
    #[test]
    fn verif_a_margin_that_is_best_in_the_middle_is_moved_by_the_distance() {
        let columns = square(400);
        let drawn: Vec<usize> = (0..400).collect();
        let margins: Vec<f64> = columns[1].iter().map(|x| 3.0 - (x - 0.5).powi(2)).collect();
        let found = movers(&columns, &drawn, &margins);
        assert_eq!(found.len(), 1, "{found:?}");
        assert_eq!((found[0].input, found[0].moves), (1, Sway::FromTheMiddle));
        assert!((found[0].rank_correlation + 1.0).abs() < 1e-9);
        let one_way = rank_correlation(&columns[1], &margins).expect("ranks");
        assert!(one_way.abs() < 0.05, "{one_way}");
    }

    /// Below the diagonal of the square its sides go together, by -1/2: of draws that lie there alone a margin that is the one side names no other.
    #[test]
    fn verif_bystanders_are_not_named_where_draws_are_missing() {
        let columns = square(600);
        let drawn: Vec<usize> = (0..600)
            .filter(|i| columns[0][*i] + columns[1][*i] < 1.0)
            .collect();
        let of = |input: usize| -> Vec<f64> { drawn.iter().map(|i| columns[input][*i]).collect() };
        let margins: Vec<f64> = of(0).iter().map(|x| x.exp()).collect();
        let bystander = rank_correlation(&of(1), &margins).expect("ranks");
        assert!((bystander + 0.5).abs() < 0.05, "{bystander}");
        let found = movers(&columns, &drawn, &margins);
        assert_eq!(found.len(), 1, "{found:?}");
        assert_eq!((found[0].input, found[0].moves), (0, Sway::OneWay));
        assert!((found[0].rank_correlation - 1.0).abs() < 1e-9);
    }

    /// What moves a margin by hardly anything is found beside the input that explains the rest, and is not told.
    #[test]
    fn verif_what_is_hardly_anything_is_not_told() {
        let columns = square(1000);
        let drawn: Vec<usize> = (0..1000).collect();
        let of = |small: f64| -> Vec<usize> {
            let margins: Vec<f64> = (0..1000)
                .map(|i| columns[0][i] + small * columns[1][i])
                .collect();
            let found = movers(&columns, &drawn, &margins);
            found.iter().map(|m| m.input).collect()
        };
        assert_eq!(of(0.02), [0]);
        assert_eq!(of(0.2), [0, 1]);
    }

    /// Two that add up are both named, with what each is alone; lists that say nothing name nobody.
    #[test]
    fn verif_what_adds_up_is_named_the_strongest_first() {
        let columns = square(500);
        let drawn: Vec<usize> = (0..500).collect();
        let margins: Vec<f64> = (0..500)
            .map(|i| columns[0][i] - 2.0 * columns[1][i])
            .collect();
        let found = movers(&columns, &drawn, &margins);
        let told: Vec<usize> = found.iter().map(|m| m.input).collect();
        assert_eq!(told, [1, 0]);
        let alone = rank_correlation(&columns[1], &margins).expect("ranks");
        assert!((found[0].rank_correlation - alone).abs() < 1e-12);
        assert!(movers(&columns, &drawn, &vec![1.0; 500]).is_empty());
        assert!(movers(&columns, &[], &[]).is_empty());
    }
}
