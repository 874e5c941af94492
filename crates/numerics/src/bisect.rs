//! The last whole number for which a condition holds.

/// The largest `n` in `low..=high` for which `holds(n)`, given that `holds` is true up to some number and false from there
/// on; `None` when it fails at `low` already or when `low > high`.
///
/// Takes two calls and one for each halving of `high - low`. Where `holds` switches more than once, the answer is one of the numbers that
/// hold and are followed by one that does not (or `high`): the caller must know that the condition is monotonic.
///
/// # Errors
/// The first error of `holds`, unchanged.
pub fn bisect_last_true<E>(
    low: u64,
    high: u64,
    mut holds: impl FnMut(u64) -> Result<bool, E>,
) -> Result<Option<u64>, E> {
    if low > high || !holds(low)? {
        return Ok(None);
    }
    if holds(high)? {
        return Ok(Some(high));
    }
    let (mut last_true, mut first_false) = (low, high);
    while first_false - last_true > 1 {
        let middle = last_true + (first_false - last_true) / 2;
        if holds(middle)? {
            last_true = middle;
        } else {
            first_false = middle;
        }
    }
    Ok(Some(last_true))
}
