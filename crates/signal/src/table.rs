//! Levels in a table by frequency: straight in decibels over the logarithm of frequency between rows (common practice for noise curves),
//! held beyond the first and last.

/// Level at `f_hz` (above 0) in a table of rows of frequency in Hz and level in dB, rising in frequency, in the reference of its
/// levels; `None` for an empty table.
pub fn table_level_db(table: &[(f64, f64)], f_hz: f64) -> Option<f64> {
    let after = table.partition_point(|row| row.0 <= f_hz);
    match (after.checked_sub(1).map(|i| table[i]), table.get(after)) {
        (None, None) => None,
        (Some(row), None) => Some(row.1),
        (None, Some(row)) => Some(row.1),
        (Some((f0, l0)), Some(&(f1, l1))) => {
            let share = libm::log(f_hz / f0) / libm::log(f1 / f0);
            Some(l0 + share * (l1 - l0))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn verif_a_table_is_straight_over_the_logarithm_and_held_at_its_ends() {
        let table = [(10.0, 60.0), (1000.0, 40.0)];
        let near = |f_hz: f64, level_db: f64| {
            let found = table_level_db(&table, f_hz).unwrap();
            assert!((found - level_db).abs() < 1e-12, "{f_hz} Hz: {found}");
        };
        near(1.0, 60.0);
        near(10.0, 60.0);
        near(100.0, 50.0);
        near(1000.0, 40.0);
        near(1e5, 40.0);
        assert_eq!(table_level_db(&[], 100.0), None);
        assert_eq!(table_level_db(&table[..1], 100.0), Some(60.0));
    }
}
