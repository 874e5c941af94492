//! The known word nearest to a mistyped one.

use std::cmp::Reverse;

/// Slips, slips with case, and the length of the common beginning, of which more is better.
type Rank = (usize, usize, Reverse<usize>);

/// Longer words than this are not compared.
const LONGEST: usize = 64;

/// The word of `among` that `word` most probably stands for, or `None` when nothing is close enough.
///
/// Distance is the restricted Damerau-Levenshtein distance (insert, delete, replace, swap of neighbours) on
/// lower-case letters. One slip is allowed in words of three to five letters, two up to eight, three above;
/// shorter words must agree except for case. Among equals the one that agrees best in case comes first, then
/// the one with the longest common beginning, then the first given.
pub fn nearest<'a>(word: &str, among: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    if word.chars().nth(LONGEST).is_some() {
        return None;
    }
    let exact: Vec<char> = word.chars().collect();
    let folded: Vec<char> = word.to_lowercase().chars().collect();
    let allowed = match exact.len() {
        0..=2 => 0,
        3..=5 => 1,
        6..=8 => 2,
        _ => 3,
    };
    let mut best: Option<(Rank, &'a str)> = None;
    for candidate in among {
        if candidate.chars().nth(LONGEST).is_some() {
            continue;
        }
        let candidate_exact: Vec<char> = candidate.chars().collect();
        let candidate_folded: Vec<char> = candidate.to_lowercase().chars().collect();
        let slips = edit_distance(&folded, &candidate_folded);
        if slips > allowed {
            continue;
        }
        let alike = folded.iter().zip(&candidate_folded);
        let alike = alike.take_while(|(a, b)| a == b).count();
        let rank = (
            slips,
            edit_distance(&exact, &candidate_exact),
            Reverse(alike),
        );
        if best.is_none_or(|(best_rank, _)| rank < best_rank) {
            best = Some((rank, candidate));
        }
    }
    best.map(|(_, candidate)| candidate)
}

fn edit_distance(a: &[char], b: &[char]) -> usize {
    let width = b.len() + 1;
    let mut before_last = vec![0; width];
    let mut last: Vec<usize> = (0..width).collect();
    let mut row = vec![0; width];
    for i in 1..=a.len() {
        row[0] = i;
        for j in 1..=b.len() {
            let replace = last[j - 1] + usize::from(a[i - 1] != b[j - 1]);
            row[j] = replace.min(last[j] + 1).min(row[j - 1] + 1);
            if i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1] {
                row[j] = row[j].min(before_last[j - 2] + 1);
            }
        }
        std::mem::swap(&mut before_last, &mut last);
        std::mem::swap(&mut last, &mut row);
    }
    last[b.len()]
}
