//! Detectors held against labels: how much they find, how often they cry wolf, at which threshold.

mod curve;
mod days;
mod deaf;
mod judge;
mod labels;
mod place;
mod records;
mod score;
mod trial;

pub use curve::{Choice, Curve, Limited, Point, curve, point, thresholds_db};
pub use days::{DayCounts, alarm_rate};
pub(crate) use deaf::FLAT_S;
pub use deaf::{Deaf, DeafBy};
pub use judge::{Example, JudgeError, Judgement, Parts, Tried, fit_judgement};
pub use labels::{Label, LabelError, LabelFault, LabelFile, read_labels};
pub use place::{Given, Placed, place_labels};
pub use records::{OpenQuote, Records};
pub use score::{Counts, OfStretch, Outcome, Score, score};
pub use trial::{Mark, Trial, try_thresholds};
