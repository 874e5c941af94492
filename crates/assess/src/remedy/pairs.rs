//! Two keys that mend a requirement together.

use super::RemedyError;
use super::knobs::Knob;
use super::mend::{Going, Steps};
use super::search::{Search, Sets, sets};
use crate::verdict::Word;

/// Steps of the first of a pair that are tried: these shares of its ladder.
const FIRST_OF_PAIR: [f64; 4] = [0.25, 0.5, 0.75, 1.0];

/// Panels and battery of each supply: more of the one alone may move nothing, as what panels give is lost beside a battery that is full, and a larger battery
/// is never filled by too few panels. Each goes first once.
pub(super) fn supply_pairs(knobs: &[Knob]) -> Vec<(usize, usize)> {
    let turning = |path: String| {
        let own = move |(_, k): &(usize, &Knob)| k.paths == [path.as_str()];
        knobs.iter().enumerate().filter(own).map(|(at, _)| at)
    };
    let mut found = Vec::new();
    for (panels, knob) in knobs.iter().enumerate() {
        let [path] = knob.paths.as_slice() else {
            continue;
        };
        let Some(supply) = path.strip_suffix(".panels.peak_power_each") else {
            continue;
        };
        for battery in turning(format!("{supply}.battery.capacity")) {
            found.extend([(panels, battery), (battery, panels)]);
        }
    }
    found
}

/// Steps of two knobs that mend together.
struct Pair<'k> {
    /// Which knobs, the lower first.
    of: (usize, usize),
    /// Whether the requirement is then met, and not only just.
    met: bool,
    size: f64,
    steps: [(&'k Knob, usize); 2],
}

/// Of each two of the best knobs, and of each pair that is asked for, the smallest change that mends the requirement; and how many plans were judged.
pub(super) fn in_pairs(
    search: &Search<'_>,
    knobs: &[Knob],
    best: &[usize],
    pairs: &[(usize, usize)],
    going: &Going<'_>,
) -> Result<(Vec<Steps>, usize), RemedyError> {
    let mut of: Vec<(usize, usize)> = Vec::new();
    for (n, a) in best.iter().enumerate() {
        of.extend(best[n + 1..].iter().map(|b| (*a, *b)));
    }
    let more = pairs.iter().filter(|pair| !of.contains(pair));
    let more: Vec<(usize, usize)> = more.copied().collect();
    of.extend(more);
    let mut asked: Vec<(usize, usize, usize)> = Vec::new();
    for (a, b) in of {
        let apart = |k: usize| knobs[k].paths.iter();
        if apart(a).any(|p| apart(b).any(|q| p == q)) {
            continue;
        }
        let last = knobs[a].steps.len() - 1;
        let mut steps: Vec<usize> = FIRST_OF_PAIR
            .iter()
            .map(|share| libm::floor(last as f64 * share) as usize)
            .collect();
        steps.dedup();
        asked.extend(steps.into_iter().map(|i| (a, i, b)));
    }
    let ask: Vec<(&Knob, Sets)> = asked
        .iter()
        .map(|(a, i, b)| (&knobs[*b], sets(&knobs[*a], &knobs[*a].steps[*i])))
        .collect();
    let swept = going.swept(search, &ask)?;
    let plans = swept.iter().map(|s| s.probes.len()).sum();
    let mut found: Vec<Pair<'_>> = Vec::new();
    for ((a, i, b), swept) in asked.iter().zip(&swept) {
        if let Some(j) = swept.smallest {
            found.push(Pair {
                of: (*a.min(b), *a.max(b)),
                met: swept.word() == Some(Word::Met),
                size: knobs[*a].steps[*i].size + knobs[*b].steps[j].size,
                steps: [(&knobs[*a], *i), (&knobs[*b], j)],
            });
        }
    }
    found.sort_by(|x, y| {
        let better = x.of.cmp(&y.of).then(y.met.cmp(&x.met));
        better.then(x.size.total_cmp(&y.size))
    });
    found.dedup_by_key(|pair| pair.of);
    let found = found.iter();
    let steps = found.map(|pair| pair.steps.map(|(knob, i)| (knob.clone(), i)).to_vec());
    Ok((steps.collect(), plans))
}
