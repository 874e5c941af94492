//! What can be wrong with a line, or with the search for its shape.

use quantity::{Dimension, show, show_number};
use thiserror::Error;

fn metres(m: f64) -> String {
    show(m, Dimension::Length)
}

fn newtons(n: f64) -> String {
    show(n, Dimension::Force)
}

/// Why a line has no shape here.
#[derive(Clone, Copy, Debug, PartialEq, Error)]
pub enum MooringError {
    /// A figure that must be above zero.
    #[error("{what} must be above zero, not {value}")]
    NotPositive {
        /// Which figure, with its unit.
        what: &'static str,
        /// What it is.
        value: f64,
    },
    /// A figure that must not be negative.
    #[error("{what} must not be negative: {value}")]
    Negative {
        /// Which figure, with its unit.
        what: &'static str,
        /// What it is.
        value: f64,
    },
    /// A figure above its most.
    #[error("{what} must be at most {most}, not {value}")]
    Above {
        /// Which figure, with its unit.
        what: &'static str,
        /// What it is.
        value: f64,
        /// The most that is taken.
        most: f64,
    },
    /// A figure that is infinite or no number.
    #[error("{what} must be a finite number, not {value}")]
    NotFinite {
        /// Which figure, with its unit.
        what: &'static str,
        /// What it is.
        value: f64,
    },
    /// A line of nothing.
    #[error("the line has no length of rope")]
    NoRope,
    /// A point of a current that is not finite.
    #[error("point {index} of the current is not finite")]
    CurrentPoint {
        /// Which, from 0.
        index: usize,
    },
    /// Points of a current out of order.
    #[error(
        "point {index} of the current, at {}, does not lie below the one before it, at {}",
        metres(*depth_m),
        metres(*above_m)
    )]
    CurrentOrder {
        /// Which, from 0.
        index: usize,
        /// Its depth.
        depth_m: f64,
        /// Depth of the one before.
        above_m: f64,
    },
    /// A body that is not on the line.
    #[error("a body sits at {} of a line of {}", metres(*at_m), metres(*length_m))]
    BodyOffLine {
        /// Where it is said to sit, from the anchor.
        at_m: f64,
        /// Unstretched length of the line.
        length_m: f64,
    },
    /// The float stands at the surface: it has to be computed as a buoy there.
    #[error(
        "the float comes to the surface: its line would hold it {} above it",
        metres(*above_m)
    )]
    FloatAtSurface {
        /// How far above the surface it would be.
        above_m: f64,
    },
    /// A line that would stand out of the water: what floats of it comes to the surface.
    #[error(
        "the line comes to the surface {} from its anchor: it would stand {} above it there",
        metres(*s_m),
        metres(*above_m)
    )]
    AboveSurface {
        /// Unstretched length from the anchor, where it stands highest.
        s_m: f64,
        /// How far above the surface it would be.
        above_m: f64,
    },
    /// A line that cannot reach the surface.
    #[error(
        "the line of {} does not reach the surface, {} above its anchor, with {} on its upper end",
        metres(*length_m),
        metres(*depth_m),
        newtons(*pull_n)
    )]
    TooShort {
        /// Unstretched length.
        length_m: f64,
        /// Depth of the water.
        depth_m: f64,
        /// Vertical pull up to which was searched.
        pull_n: f64,
    },
    /// The upper end lies further from the anchor than a line that does not stretch is long.
    #[error(
        "the upper end lies {} from the anchor, the line is {} long and does not stretch",
        metres(*distance_m),
        metres(*length_m)
    )]
    OutOfReach {
        /// From the anchor to the upper end.
        distance_m: f64,
        /// Unstretched length.
        length_m: f64,
    },
    /// The line went slack at a place, where its direction is not known.
    #[error("the line is slack at {} from the anchor", metres(*s_m))]
    Slack {
        /// Unstretched length from the anchor.
        s_m: f64,
    },
    /// Too many steps along the line.
    #[error(
        "the line could not be followed past {} from the anchor: {steps} steps were taken",
        metres(*s_m)
    )]
    TooManySteps {
        /// Unstretched length from the anchor.
        s_m: f64,
        /// Steps taken.
        steps: u32,
    },
    /// The search did not come to an end.
    #[error(
        "the shape was not found in {iterations} steps: {} is left of {unit}",
        show_number(*residual)
    )]
    NotConverged {
        /// Steps taken.
        iterations: u32,
        /// What is left.
        residual: f64,
        /// Of what, with its unit.
        unit: &'static str,
    },
    /// Bars that did not come to rest.
    #[error(
        "the line does not come to rest in {steps} steps: {} are left over {} from the anchor, and all that loads it comes to {}",
        newtons(*left_n),
        metres(*s_m),
        newtons(*most_n)
    )]
    Unbalanced {
        /// Steps taken.
        steps: u32,
        /// Where most is left over: unstretched length from the anchor.
        s_m: f64,
        /// What is left over there.
        left_n: f64,
        /// All loads together.
        most_n: f64,
    },
    /// A share or a chance that is none.
    #[error("{what} must lie between 0 and 1, not {value}")]
    NotAShare {
        /// Which.
        what: &'static str,
        /// What it is.
        value: f64,
    },
    /// A band upside down.
    #[error("a band from {low_hz} to {high_hz} Hz holds nothing")]
    Band {
        /// Its lower end.
        low_hz: f64,
        /// Its upper end.
        high_hz: f64,
    },
    /// Two lists that belong together and have other lengths.
    #[error("{what}: there are {given} figures for {wanted}")]
    WrongCount {
        /// What they are of.
        what: &'static str,
        /// How many there are.
        given: usize,
        /// How many are needed.
        wanted: usize,
    },
}

pub(crate) fn positive(what: &'static str, value: f64) -> Result<(), MooringError> {
    if value.is_finite() && value > 0.0 {
        return Ok(());
    }
    Err(MooringError::NotPositive { what, value })
}

pub(crate) fn not_negative(what: &'static str, value: f64) -> Result<(), MooringError> {
    if value.is_finite() && value >= 0.0 {
        return Ok(());
    }
    Err(MooringError::Negative { what, value })
}

pub(crate) fn finite(what: &'static str, value: f64) -> Result<(), MooringError> {
    if value.is_finite() {
        return Ok(());
    }
    Err(MooringError::NotFinite { what, value })
}

pub(crate) fn share(what: &'static str, value: f64) -> Result<(), MooringError> {
    if value > 0.0 && value < 1.0 {
        return Ok(());
    }
    Err(MooringError::NotAShare { what, value })
}
