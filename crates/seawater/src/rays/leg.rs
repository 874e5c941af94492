//! One piece of a ray within a layer: an arc of a circle.
//!
//! Written so that a gradient near zero costs no digits: with `s` the sines at the ends, `W = (c1 + c2) dz / (s1 + s2)` is the
//! integral of `c ds`, the range is `a W`, and time follows from logarithms of ratios near one.

/// A ray by its grazing angle where the sound speed is `reference_m_s`.
#[derive(Clone, Copy, Debug)]
pub(super) struct Ray {
    pub(super) reference_m_s: f64,
    pub(super) sine: f64,
    pub(super) cosine: f64,
}

impl Ray {
    pub(super) fn new(reference_m_s: f64, grazing_rad: f64) -> Self {
        Self {
            reference_m_s,
            sine: libm::sin(grazing_rad),
            cosine: libm::cos(grazing_rad),
        }
    }

    /// Snell's invariant `cos t / c`, s/m.
    pub(super) fn parameter_s_m(&self) -> f64 {
        self.cosine / self.reference_m_s
    }

    /// Sine of the grazing angle where the sound speed is `c_m_s`. A ray that turns exactly there has 0, whatever rounding says.
    pub(super) fn sine_at(&self, c_m_s: f64) -> f64 {
        let share = c_m_s / self.reference_m_s;
        let square = self.sine * self.sine * share * share
            + (self.reference_m_s - c_m_s) * (self.reference_m_s + c_m_s)
                / (self.reference_m_s * self.reference_m_s);
        square.max(0.0).sqrt().min(1.0)
    }

    /// Sound speed at which it turns; infinite for a vertical ray.
    pub(super) fn turning_m_s(&self) -> f64 {
        self.reference_m_s / self.cosine
    }
}

/// What a ray gathers on its way.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Gathered {
    /// Integral of `c ds`, m2/s.
    pub(super) weight_m2_s: f64,
    pub(super) time_s: f64,
    pub(super) length_m: f64,
}

/// `ln(1 + u) / u`.
fn log_ratio(u: f64) -> f64 {
    if u.abs() < 1e-5 {
        1.0 - u * (0.5 - u * (1.0 / 3.0 - 0.25 * u))
    } else {
        libm::log1p(u) / u
    }
}

/// `arcsin(v) / v`.
fn arc_ratio(v: f64) -> f64 {
    if v < 1e-4 {
        1.0 + v * v / 6.0
    } else {
        libm::asin(v.min(1.0)) / v
    }
}

/// From a depth with speed `c1` and sine `s1` to one `dz_m` away with `c2` and `s2`, without a turn between.
pub(super) fn weight(c1: f64, c2: f64, s1: f64, s2: f64, dz_m: f64) -> f64 {
    if dz_m == 0.0 {
        0.0
    } else {
        (c1 + c2) * dz_m / (s1 + s2)
    }
}

/// As [`weight`], with time and length.
pub(super) fn across(a: f64, c1: f64, c2: f64, s1: f64, s2: f64, dz_m: f64) -> Gathered {
    if dz_m == 0.0 {
        return Gathered::default();
    }
    let weight_m2_s = weight(c1, c2, s1, s2, dz_m);
    let x_m = a * weight_m2_s;
    let time_s = dz_m / c1 * log_ratio((c2 - c1) / c1)
        + a * x_m / (1.0 + s1) * log_ratio((s2 - s1) / (1.0 + s1));
    let chord_m = libm::hypot(x_m, dz_m);
    let bend = 0.5 * chord_m * a * ((c2 - c1) / dz_m).abs();
    Gathered {
        weight_m2_s,
        time_s,
        length_m: chord_m * arc_ratio(bend),
    }
}

/// How far beyond a depth with speed `c` and sine `s` the ray turns where the speed grows by `gradient_per_s` a metre that way.
pub(super) fn turning_m(ray: &Ray, c: f64, s: f64, gradient_per_s: f64) -> f64 {
    let cosine = ray.parameter_s_m() * c;
    ray.turning_m_s() * s * s / ((1.0 + cosine) * gradient_per_s)
}

/// From a depth with speed `c` and sine `s` to the turning point, one way.
pub(super) fn to_turn(ray: &Ray, c: f64, s: f64, gradient_per_s: f64) -> Gathered {
    if s == 0.0 {
        return Gathered::default();
    }
    let dz_m = turning_m(ray, c, s, gradient_per_s);
    across(ray.parameter_s_m(), c, ray.turning_m_s(), s, 0.0, dz_m)
}

/// The weight of [`to_turn`] alone.
pub(super) fn weight_to_turn(ray: &Ray, s: f64, gradient_per_s: f64) -> f64 {
    let turning_m_s = ray.turning_m_s();
    turning_m_s * turning_m_s * s / gradient_per_s
}
