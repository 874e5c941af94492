//! Tables of one variable, read by linear interpolation.
//!
//! `y(x) = y_i + (y_{i+1} - y_i) (x - x_i) / (x_{i+1} - x_i)` for `x_i <= x <= x_{i+1}`; the log-x readers put `ln x` in the
//! place of `x`, which makes a spectrum given in decibels straight on the usual logarithmic frequency axis. At a knot the
//! stored `y` comes back bit for bit. Outside the table there is no value: it is an error unless the caller asks for the
//! end value by calling a method with `clamped` in its name.

use thiserror::Error;

/// Pairs of `x` and `y` with strictly increasing `x`, all finite.
#[derive(Debug, Clone, PartialEq)]
pub struct Table {
    x: Vec<f64>,
    y: Vec<f64>,
}

/// Why a table could not be built or read.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
pub enum TableError {
    /// No pair was given.
    #[error("a table needs at least one pair of values")]
    Empty,
    /// The two columns differ in length.
    #[error("the table has {x_len} values of x and {y_len} of y")]
    UnequalLengths {
        /// Number of `x` values.
        x_len: usize,
        /// Number of `y` values.
        y_len: usize,
    },
    /// A value is infinite or not a number.
    #[error("pair {index} of the table ({x}, {y}) is not finite")]
    NotFinite {
        /// Position of the pair, from 0.
        index: usize,
        /// Its `x`.
        x: f64,
        /// Its `y`.
        y: f64,
    },
    /// `x` does not rise from one pair to the next.
    #[error("x must rise from pair to pair, but {after} follows {before} at pair {index}")]
    NotIncreasing {
        /// Position of the second of the two pairs, from 0.
        index: usize,
        /// The `x` before it.
        before: f64,
        /// Its own `x`.
        after: f64,
    },
    /// The table was asked outside its ends, or at a value that is not a number.
    #[error("{x} is outside the table, which reaches from {low} to {high}")]
    Outside {
        /// The `x` asked for.
        x: f64,
        /// Smallest `x` of the table.
        low: f64,
        /// Largest `x` of the table.
        high: f64,
    },
    /// A logarithmic reading needs every `x` above zero.
    #[error("interpolation in the logarithm of x needs x above zero, not {x}")]
    NotPositive {
        /// The offending `x`: the one asked for, or the smallest of the table.
        x: f64,
    },
}

impl Table {
    /// Builds a table from two columns of equal length.
    ///
    /// # Errors
    /// [`TableError::Empty`], [`TableError::UnequalLengths`], [`TableError::NotFinite`], [`TableError::NotIncreasing`].
    pub fn new(x: &[f64], y: &[f64]) -> Result<Self, TableError> {
        if x.len() != y.len() {
            return Err(TableError::UnequalLengths {
                x_len: x.len(),
                y_len: y.len(),
            });
        }
        if x.is_empty() {
            return Err(TableError::Empty);
        }
        for (index, (&x, &y)) in x.iter().zip(y).enumerate() {
            if !x.is_finite() || !y.is_finite() {
                return Err(TableError::NotFinite { index, x, y });
            }
        }
        for (i, pair) in x.windows(2).enumerate() {
            if pair[0] >= pair[1] {
                return Err(TableError::NotIncreasing {
                    index: i + 1,
                    before: pair[0],
                    after: pair[1],
                });
            }
        }
        Ok(Self {
            x: x.to_vec(),
            y: y.to_vec(),
        })
    }

    /// Linear interpolation at `x`.
    ///
    /// # Errors
    /// [`TableError::Outside`] when `x` lies beyond the ends or is not a number.
    pub fn at(&self, x: f64) -> Result<f64, TableError> {
        if !(self.low()..=self.high()).contains(&x) {
            return Err(self.outside(x));
        }
        Ok(self.between(x, |v| v))
    }

    /// Linear interpolation at `x`, with the end value beyond either end: for quantities that the caller knows to stay
    /// constant there.
    ///
    /// # Errors
    /// [`TableError::Outside`] when `x` is not a number.
    pub fn at_clamped(&self, x: f64) -> Result<f64, TableError> {
        if x.is_nan() {
            return Err(self.outside(x));
        }
        self.at(x.max(self.low()).min(self.high()))
    }

    /// Interpolation that is linear in `ln x`: a straight line between knots on a logarithmic axis.
    ///
    /// # Errors
    /// [`TableError::NotPositive`] when `x` or the table's smallest `x` is not above zero; [`TableError::Outside`] as for
    /// [`Table::at`].
    pub fn at_log_x(&self, x: f64) -> Result<f64, TableError> {
        if self.low() <= 0.0 {
            return Err(TableError::NotPositive { x: self.low() });
        }
        if x <= 0.0 {
            return Err(TableError::NotPositive { x });
        }
        if !(self.low()..=self.high()).contains(&x) {
            return Err(self.outside(x));
        }
        Ok(self.between(x, libm::log))
    }

    /// As [`Table::at_log_x`], with the end value beyond either end.
    ///
    /// # Errors
    /// [`TableError::NotPositive`] as for [`Table::at_log_x`]; [`TableError::Outside`] when `x` is not a number.
    pub fn at_log_x_clamped(&self, x: f64) -> Result<f64, TableError> {
        if x.is_nan() {
            return Err(self.outside(x));
        }
        if x <= 0.0 {
            return Err(TableError::NotPositive { x });
        }
        self.at_log_x(x.max(self.low()).min(self.high()))
    }

    /// The `x` column.
    pub fn x(&self) -> &[f64] {
        &self.x
    }

    /// The `y` column.
    pub fn y(&self) -> &[f64] {
        &self.y
    }

    /// Smallest `x`.
    pub fn low(&self) -> f64 {
        self.x[0]
    }

    /// Largest `x`.
    pub fn high(&self) -> f64 {
        self.x[self.x.len() - 1]
    }

    fn outside(&self, x: f64) -> TableError {
        TableError::Outside {
            x,
            low: self.low(),
            high: self.high(),
        }
    }

    /// Interpolation on the axis `axis(x)`, for an `x` already known to lie inside.
    fn between(&self, x: f64, axis: impl Fn(f64) -> f64) -> f64 {
        let above = self.x.partition_point(|&knot| knot < x);
        if self.x[above] == x {
            return self.y[above];
        }
        let (x0, x1) = (axis(self.x[above - 1]), axis(self.x[above]));
        let (y0, y1) = (self.y[above - 1], self.y[above]);
        // Knots that are a few roundings apart may fall together on the axis; so near, every axis is straight.
        let share = if x0 == x1 {
            let (x0, x1) = (self.x[above - 1], self.x[above]);
            (x - x0) / (x1 - x0)
        } else {
            (axis(x) - x0) / (x1 - x0)
        };
        y0 * (1.0 - share) + y1 * share
    }
}
