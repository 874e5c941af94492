//! The root of `x tanh x = y`, to which the dispersion equation of waves over a flat bed comes.

/// The `x` above zero at which `x tanh x` is `y`, for a `y` above zero.
///
/// Newton's method from the larger of its limits for large and small `y`, `y` and `sqrt(y)`: the function is convex from there on, so that every step is towards the root.
#[must_use]
pub fn x_tanh_x(y: f64) -> f64 {
    let mut x = y.max(y.sqrt());
    for _ in 0..STEPS {
        let t = libm::tanh(x);
        let next = x - (x * t - y) / (t + x * (1.0 - t * t));
        let done = (next - x).abs() <= 1e-15 * x;
        x = next;
        if done {
            break;
        }
    }
    x
}

/// Newton's method ends within a handful of steps; a bound for safety.
const STEPS: u32 = 100;
