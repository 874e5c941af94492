//! The logistic judgement of a finished event.
//!
//! `p = 1 / (1 + exp(-z))`, `z = constant + sum of weight * feature` (logistic regression, D. R. Cox 1958, from memory). An
//! event is likely when `p >= at_least`, which is computed as `z >= ln(at_least / (1 - at_least))`: both rise with `z`. A
//! judgement needs the whole event, so nothing is confirmed before the end; what is not likely is dropped and starts no
//! hold-off.

use alloc::vec::Vec;

use crate::features::{Feature, Features};
use crate::notice::Event;

/// Judges finished events, or lets all pass.
#[derive(Clone, Debug, Default)]
pub(crate) struct Judge {
    model: Option<Model>,
}

/// A logistic model with the least `z` that passes.
#[derive(Clone, Debug)]
pub(crate) struct Model {
    pub(crate) rate_hz: f64,
    pub(crate) constant: f64,
    pub(crate) weights: Vec<(Feature, f64)>,
    pub(crate) least: f64,
}

impl Judge {
    pub(crate) fn new(model: Option<Model>) -> Self {
        Self { model }
    }

    /// Whether nothing may be confirmed before the end.
    pub(crate) fn waits(&self) -> bool {
        self.model.is_some()
    }

    pub(crate) fn accepts(&self, event: &Event) -> bool {
        self.model.as_ref().is_none_or(|model| {
            score(
                &event.features(model.rate_hz),
                model.constant,
                &model.weights,
            ) >= model.least
        })
    }

    pub(crate) fn bytes(&self) -> usize {
        self.model
            .as_ref()
            .map_or(0, |m| m.weights.capacity() * size_of::<(Feature, f64)>())
    }
}

fn score(features: &Features, constant: f64, weights: &[(Feature, f64)]) -> f64 {
    weights.iter().fold(constant, |z, &(feature, weight)| {
        let value = features
            .get(feature)
            .expect("a feature that the detector cannot tell is refused");
        z + weight * value
    })
}

/// `ln(p / (1 - p))`.
pub(crate) fn logit(p: f64) -> f64 {
    libm::log(p / (1.0 - p))
}
