//! How long one waits for a window: so many good steps in a row.
//!
//! Ready at step 0, of whose state nothing is known but the long run; each season has its own chain ([`TwoState`]). The weights of "bad" and of "good for the j-th step in
//! a row" go on by one step at a time; what reaches the length of the window stops there, and its window began so many steps before (exact, a recursion over all
//! states). The good steps before readiness do not count, and whoever waits knows a window when it begins: a forecast without error.
//!
//! Weather: good is an hour with waves below what the work bears. Where only monthly exceedances are known, the mean length of storms has to come from elsewhere; see
//! [`TwoState::from_share_and_bad_run`].

use thiserror::Error;

use crate::two_state::TwoState;
use crate::wait::Wait;

/// Windows and waits up to so many steps are computed: ten years of hours.
pub const MOST_STEPS: usize = 87_660;
/// Product of window and wait up to which is computed.
const MOST_WORK: usize = 200_000_000;

/// Why there is no such wait.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum WindowError {
    /// No season.
    #[error("there is no season to wait in")]
    NoSeason,
    /// A window of no steps.
    #[error("a window of 0 steps needs no wait")]
    NoWindow,
    /// Too long.
    #[error(
        "a window of {window_steps} steps within {most_steps} is more than can be followed: {MOST_STEPS} steps each, {MOST_WORK} together"
    )]
    TooLong {
        /// Length of the window.
        window_steps: usize,
        /// Longest wait asked for.
        most_steps: usize,
    },
}

/// The wait for `window_steps` good steps in a row, followed up to `most_steps`. Seasons follow each other, each with its chain for so many steps; the last one stays.
///
/// # Errors
/// [`WindowError`].
pub fn window_wait(
    seasons: &[(TwoState, usize)],
    window_steps: usize,
    most_steps: usize,
) -> Result<Wait, WindowError> {
    let (first, _) = seasons.first().ok_or(WindowError::NoSeason)?;
    if window_steps == 0 {
        return Err(WindowError::NoWindow);
    }
    let together = window_steps.saturating_mul(most_steps.saturating_add(window_steps));
    if window_steps > MOST_STEPS || most_steps > MOST_STEPS || together > MOST_WORK {
        return Err(WindowError::TooLong {
            window_steps,
            most_steps,
        });
    }
    let [good, bad] = first.at_rest();
    // By how many good steps have come in a row, without those whose window is whole.
    let mut runs = vec![0.0; window_steps];
    let mut whole = 0.0;
    runs[0] = bad;
    add(&mut runs, &mut whole, 1, good);
    let mut begun_by = Vec::with_capacity(most_steps + 1);
    if window_steps == 1 {
        begun_by.push(whole);
    }
    let last = most_steps + window_steps - 1;
    let mut season = 0;
    let mut season_left = seasons[0].1.saturating_sub(1);
    for _ in 1..=last {
        while season_left == 0 && season + 1 < seasons.len() {
            season += 1;
            season_left = seasons[season].1;
        }
        season_left = season_left.saturating_sub(1);
        let chain = &seasons[season].0;
        let stays = 1.0 - chain.leaves_good();
        let good_now: f64 = runs[1..].iter().sum();
        let (was_bad, longest) = (runs[0], runs[window_steps - 1]);
        if window_steps > 1 {
            whole += longest * stays;
        }
        for j in (2..window_steps).rev() {
            runs[j] = runs[j - 1] * stays;
        }
        runs[0] = was_bad * (1.0 - chain.leaves_bad()) + good_now * chain.leaves_good();
        if window_steps > 1 {
            runs[1] = 0.0;
        }
        add(&mut runs, &mut whole, 1, was_bad * chain.leaves_bad());
        begun_by.push(whole);
    }
    // Steps at which no window could be whole yet.
    let early = begun_by.len() - (most_steps + 1);
    begun_by.drain(..early);
    Ok(Wait::new(begun_by).expect("chances of what only ever comes in"))
}

fn add(runs: &mut [f64], whole: &mut f64, run: usize, weight: f64) {
    match runs.get_mut(run) {
        Some(of) => *of += weight,
        None => *whole += weight,
    }
}
