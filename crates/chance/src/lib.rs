//! Exact limits, the chi-square laws, independent things, waits in a chain of two states, named, seeded random streams, Latin hypercubes and
//! correlation by rank.
//!
//! Everything is a pure function of its arguments: a stream of its seed, name and index, a limit of its counts.
//! All of it takes its mathematics from `libm`, so that the bits are the same on every machine.

mod alike;
mod binomial;
mod chi_square;
mod days;
mod exceedance;
mod independent;
mod limits;
mod loader;
mod normal_draws;
mod normal_law;
mod poisson;
mod ranks;
mod strata;
mod stream;
mod two_state;
mod wait;
mod window;

pub use alike::{any_of_alike, each_for_any_of_alike};
pub use chi_square::{
    LawError, chi_square_exceeded_by, chi_square_share_above, marcum_q,
    noncentral_chi_square_share_above,
};
pub use days::{
    COVERED_OF_TEN_DAYS, DAY_DRAWS, DAYS_SEED, Day, FEWEST_DAYS, LEAST_OF_DAY_S, LimitsFrom,
    day_limits, rate_limits,
};
pub use exceedance::exceedance_persistence;
pub use independent::{at_least, none_of, spares_needed};
pub use limits::{
    LimitError, MOST_TRIALS, bad_share_bound, clean_trials_needed, clopper_pearson, garwood,
};
pub use normal_law::{normal_share_below, normal_value_at_share};
pub use ranks::{rank_correlation, ranks, value_at_share};
pub use strata::strata;
pub use stream::Stream;
pub use two_state::{TwoState, TwoStateError};
pub use wait::Wait;
pub use window::{MOST_STEPS, WindowError, window_wait};
