//! Which design cases are the strongest and which the slackest, so that one case speaks for another only where it can do no less.
//!
//! What a line bears grows with water current, wind, waves and strum; what lies on the bed or comes out of the water does so where nothing pulls. Between the two lie the rest.

use super::cases::DesignCase;

/// Rounding of components that are held against each other, as a share.
const ROUNDING: f64 = 1e-9;

/// What of a case is held against another's, beside its current.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Held {
    /// All of it.
    All,
    /// All but the waves.
    ButWaves,
    /// All but the wind.
    ButWind,
    /// All but the waves and the wind.
    ButBoth,
}

impl Held {
    fn waves(self) -> bool {
        matches!(self, Held::All | Held::ButWind)
    }

    fn wind(self) -> bool {
        matches!(self, Held::All | Held::ButWaves)
    }
}

/// Whether a case has at every depth at least the current of another, and at least its wind, its waves and its strum. Levels are not compared. The other may run to another side: it is turned about as
/// a whole, so that currents and winds that lie at the same angles to each other are alike.
pub(super) fn as_strong(case: &DesignCase, as_one: &DesignCase, held: Held) -> bool {
    let waves = !held.waves() || as_high(case, as_one);
    (case.strum || !as_one.strum) && waves && pulls_as(case, as_one, held.wind())
}

/// Whether a case has at every depth no more current than another, no more wind, no strum where the other has none, and waves at least as high.
pub(super) fn as_slack(case: &DesignCase, as_one: &DesignCase, held: Held) -> bool {
    let waves = !held.waves() || as_high(case, as_one);
    (as_one.strum || !case.strum) && waves && pulls_as(as_one, case, held.wind())
}

/// Whether a case has at every depth no more current than another, waves at least as high, strum only where the other has it, and at least its wind, from whatever side: where nothing else holds a buoy, the wind takes it furthest.
pub(super) fn as_blown(case: &DesignCase, as_one: &DesignCase) -> bool {
    let speed_m_s = |case: &DesignCase| case.wind.map_or(0.0, |(speed, _)| speed);
    as_slack(case, as_one, Held::ButWind) && speed_m_s(case) >= speed_m_s(as_one)
}

/// Waves as high and as long.
fn as_high(case: &DesignCase, as_one: &DesignCase) -> bool {
    match (case.wave, as_one.wave) {
        (_, None) => true,
        (None, Some(_)) => false,
        (Some((height_m, period_s)), Some((of_m, of_s))) => height_m >= of_m && period_s >= of_s,
    }
}

fn pulls_as(strong: &DesignCase, weak: &DesignCase, wind: bool) -> bool {
    let mut depths_m: Vec<f64> = vec![0.0];
    depths_m.extend(strong.current.iter().chain(&weak.current).map(|p| p.0));
    depths_m.sort_by(f64::total_cmp);
    // A current that turns between two depths is held halfway, too.
    let halfway: Vec<f64> = depths_m.windows(2).map(|w| 0.5 * (w[0] + w[1])).collect();
    depths_m.extend(halfway);
    let at = |case: &DesignCase, depth_m: f64| case.water.current.speed_and_direction(depth_m);
    // Speeds with their directions: of the stronger, then of the weaker.
    let mut pairs: Vec<[(f64, f64); 2]> = depths_m
        .iter()
        .map(|&depth_m| [at(strong, depth_m), at(weak, depth_m)])
        .collect();
    if wind {
        let of = |case: &DesignCase| case.wind.unwrap_or((0.0, 0.0));
        pairs.push([of(strong), of(weak)]);
    }
    let moving = |pair: &&[(f64, f64); 2]| pair[1].0 > 0.0;
    let turns_deg: Vec<f64> = pairs
        .iter()
        .filter(moving)
        .map(|[(_, to), (_, from)]| to - from)
        .collect();
    let carries = |turn_deg: f64| {
        pairs.iter().filter(moving).all(|[(has, to), (of, from)]| {
            let apart_rad = (to - from - turn_deg) * (core::f64::consts::PI / 180.0);
            has * libm::cos(apart_rad) >= of * (1.0 - ROUNDING)
        })
    };
    turns_deg.is_empty() || turns_deg.iter().any(|&turn_deg| carries(turn_deg))
}

/// Of some cases those for which no other does, by a relation that is `as_strong` or `as_slack`: neither one beside them nor another of them; of two that are alike the one nearer the written depth, then the first.
pub(super) fn outermost(
    of: &[&DesignCase],
    beside: &[&DesignCase],
    does_for: impl Fn(&DesignCase, &DesignCase) -> bool,
) -> Vec<usize> {
    let before = |a: usize, b: usize| {
        let by_level = of[a].level_m.abs().total_cmp(&of[b].level_m.abs());
        by_level.then(a.cmp(&b)).is_lt()
    };
    let done = |ix: usize| {
        let case = of[ix];
        let mut others = of.iter().enumerate().filter(|(other, _)| *other != ix);
        beside.iter().any(|other| does_for(other, case))
            || others.any(|(other_ix, other)| {
                does_for(other, case) && (before(other_ix, ix) || !does_for(case, other))
            })
    };
    (0..of.len()).filter(|&ix| !done(ix)).collect()
}
