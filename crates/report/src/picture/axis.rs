//! One axis of a picture: values to pixels and back.

use super::PictureError;

/// How an axis divides its range.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum AxisScale {
    /// Equal steps take equal room.
    Linear,
    /// Equal ratios take equal room; the range must lie above zero.
    Logarithmic,
}

/// A range of values laid on a range of pixels. Pixel `n` spans `n` to `n + 1`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Axis {
    scale: AxisScale,
    low: f64,
    high: f64,
    low_px: f64,
    high_px: f64,
}

impl Axis {
    /// An axis with `low` at pixel edge `low_px` and `high` at `high_px` (which may be the smaller
    /// number, as on a vertical axis of a picture).
    ///
    /// # Errors
    /// [`PictureError::Range`] when the values or pixels are not finite, the values do not rise,
    /// the pixels coincide, or a logarithmic axis does not lie above zero.
    pub fn new(
        what: &'static str,
        unit: &'static str,
        scale: AxisScale,
        (low, high): (f64, f64),
        (low_px, high_px): (f64, f64),
    ) -> Result<Self, PictureError> {
        let refuse = |needed| PictureError::Range {
            what,
            low,
            high,
            unit,
            needed,
        };
        if !(low.is_finite() && high.is_finite() && low < high) {
            return Err(refuse("it must be finite and rise"));
        }
        if scale == AxisScale::Logarithmic && low <= 0.0 {
            return Err(refuse("a logarithmic axis begins above zero"));
        }
        if !(low_px.is_finite() && high_px.is_finite() && low_px != high_px) {
            return Err(refuse("it needs room on the picture"));
        }
        Ok(Self {
            scale,
            low,
            high,
            low_px,
            high_px,
        })
    }

    /// How the axis divides its range.
    pub fn scale(&self) -> AxisScale {
        self.scale
    }

    /// Low and high end, in the unit of the axis.
    pub fn range(&self) -> (f64, f64) {
        (self.low, self.high)
    }

    /// Pixel edges of the low and the high end.
    pub fn pixels(&self) -> (f64, f64) {
        (self.low_px, self.high_px)
    }

    /// Position of `value` in pixels; outside the range it lies outside the pixels. On a
    /// logarithmic axis a value at or below zero gives minus infinity or not-a-number.
    pub fn px(&self, value: f64) -> f64 {
        let share = match self.scale {
            AxisScale::Linear => (value - self.low) / (self.high - self.low),
            AxisScale::Logarithmic => libm::log(value / self.low) / libm::log(self.high / self.low),
        };
        self.low_px + share * (self.high_px - self.low_px)
    }

    /// Value at pixel position `px`: the inverse of [`Axis::px`].
    pub fn value(&self, px: f64) -> f64 {
        let share = (px - self.low_px) / (self.high_px - self.low_px);
        match self.scale {
            AxisScale::Linear => self.low + share * (self.high - self.low),
            AxisScale::Logarithmic => self.low * libm::pow(self.high / self.low, share),
        }
    }

    pub(super) fn holds(&self, value: f64) -> bool {
        (self.low..=self.high).contains(&value)
    }

    /// The part of `low..high` that lies on the axis, or nothing.
    pub(super) fn cut(&self, low: f64, high: f64) -> Option<(f64, f64)> {
        (high >= self.low && low <= self.high).then(|| (low.max(self.low), high.min(self.high)))
    }
}
