//! In which steps a slip is looked at.

use quantity::SECONDS_PER_DAY;

const WEEK_S: f64 = 7.0 * SECONDS_PER_DAY;
/// Steps up to the slip of the plan at most, and at least where they are to be whole weeks or days.
const OWN_STEPS: usize = 8;
const LEAST_STEPS: usize = 3;
/// Slips of one direction at most: none, [`OWN_STEPS`], and half as many beyond.
pub const MOST_STEPS: usize = 1 + OWN_STEPS + OWN_STEPS / 2;

/// Slips that are looked at: from none by equal steps to that of the plan, and half of it further.
#[derive(Clone, Debug, PartialEq)]
pub struct Steps {
    /// Each, s, ascending from 0.
    pub each_s: Vec<f64>,
    /// Place of the plan's own slip among them; 0 where the plan writes none.
    pub own: usize,
    /// Whether the plan writes it.
    pub written: bool,
}

impl Steps {
    /// For the slip that a plan writes, s. Where it writes none, or none at all, eight weeks are looked at, all beyond what it says.
    pub(crate) fn of(slip_s: Option<f64>) -> Self {
        let written = slip_s.is_some();
        match slip_s.filter(|s| s.is_finite() && *s > 0.0) {
            None => Self {
                each_s: (0..=OWN_STEPS).map(|k| k as f64 * WEEK_S).collect(),
                own: 0,
                written,
            },
            Some(slip_s) => {
                let own = parts(slip_s);
                let each = 0..=own + own.div_ceil(2);
                Self {
                    // Whole weeks stay whole: the product first.
                    each_s: each.map(|k| slip_s * k as f64 / own as f64).collect(),
                    own,
                    written,
                }
            }
        }
    }
}

/// Into how many steps a slip is cut: most, up to eight, that are whole weeks; else whole days; else eight.
fn parts(slip_s: f64) -> usize {
    let whole = |unit_s: f64| {
        (LEAST_STEPS..=OWN_STEPS).rev().find(|n| {
            let units = slip_s / *n as f64 / unit_s;
            units >= 1.0 && (units - libm::round(units)).abs() < 1e-9
        })
    };
    whole(WEEK_S)
        .or_else(|| whole(SECONDS_PER_DAY))
        .unwrap_or(OWN_STEPS)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn days(slip_d: f64) -> (Vec<f64>, usize) {
        let steps = Steps::of(Some(slip_d * SECONDS_PER_DAY));
        let days = steps.each_s.iter().map(|s| s / SECONDS_PER_DAY);
        (days.collect(), steps.own)
    }

    #[test]
    fn verif_a_slip_is_cut_into_whole_weeks_or_days_and_half_of_it_follows() {
        let (each, own) = days(84.0);
        assert_eq!(each, [0., 14., 28., 42., 56., 70., 84., 98., 112., 126.]);
        assert_eq!(own, 6);
        assert_eq!(days(7.0), ((0..=11).map(f64::from).collect(), 7));
        let (each, own) = days(11.5);
        assert_eq!((each[own], own, each.len()), (11.5, 8, MOST_STEPS));
    }

    #[test]
    fn verif_a_slip_that_is_not_written_is_all_beyond_the_plan() {
        let none = Steps::of(None);
        assert_eq!((none.own, none.written), (0, false));
        assert_eq!(none.each_s.last(), Some(&(8.0 * WEEK_S)));
        assert!(Steps::of(Some(0.0)).written);
        for slip_d in 1..400 {
            let steps = Steps::of(Some(f64::from(slip_d) * SECONDS_PER_DAY));
            assert!(steps.each_s.len() <= MOST_STEPS, "{slip_d}");
            assert!(steps.each_s.is_sorted());
        }
    }
}
