//! Ranks: correlation of two lists by rank, and the value below which a share of a list lies.
//!
//! Sources: C. Spearman, "The proof and measurement of association between two things", American Journal of Psychology 15
//! (1904), 72: the correlation of the ranks, equal values taking the mean of the ranks that they fill. R. J. Hyndman and
//! Y. Fan, "Sample quantiles in statistical packages", The American Statistician 50 (1996), 361, definition 7: between the
//! ranks by a straight line.

/// Rank of each value, the lowest 1; equal values get the mean of the ranks that they fill.
#[must_use]
pub fn ranks(values: &[f64]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..values.len()).collect();
    order.sort_by(|&a, &b| values[a].total_cmp(&values[b]));
    let mut ranks = vec![0.0; values.len()];
    let mut from = 0;
    while from < order.len() {
        let value = values[order[from]];
        let equal = order[from..].iter().take_while(|&&i| values[i] == value);
        // What is not a number equals nothing, not even itself.
        let to = from + equal.count().max(1);
        let mean = (from + 1 + to) as f64 / 2.0;
        for &i in &order[from..to] {
            ranks[i] = mean;
        }
        from = to;
    }
    ranks
}

/// Spearman's rank correlation of two lists of equal length, -1 to 1; `None` for lists of different lengths, of fewer than two
/// values, with something that is no number, and where all values of one are equal.
#[must_use]
pub fn rank_correlation(a: &[f64], b: &[f64]) -> Option<f64> {
    if a.len() != b.len() || a.iter().chain(b).any(|x| x.is_nan()) {
        return None;
    }
    let (a, b) = (ranks(a), ranks(b));
    let middle = (a.len() as f64 + 1.0) / 2.0;
    let (mut both, mut of_a, mut of_b) = (0.0, 0.0, 0.0);
    for (x, y) in a.iter().zip(&b) {
        let (x, y) = (x - middle, y - middle);
        both += x * y;
        of_a += x * x;
        of_b += y * y;
    }
    if of_a == 0.0 || of_b == 0.0 {
        return None;
    }
    Some((both / (of_a.sqrt() * of_b.sqrt())).clamp(-1.0, 1.0))
}

/// The value below which a share, 0 to 1, of an ascending list lies; `None` for an empty list or another share.
#[must_use]
pub fn value_at_share(ascending: &[f64], share: f64) -> Option<f64> {
    if !(0.0..=1.0).contains(&share) {
        return None;
    }
    let last = ascending.len().checked_sub(1)?;
    let place = share * last as f64;
    let below = place.floor() as usize;
    let above = (below + 1).min(last);
    let part = place - below as f64;
    if part == 0.0 {
        return Some(ascending[below]);
    }
    Some(ascending[below] + part * (ascending[above] - ascending[below]))
}
