//! Draws from the standard normal law by stacked layers of equal area.
//!
//! Source: G. Marsaglia and W. W. Tsang, "The ziggurat method for generating random variables", Journal of
//! Statistical Software 5 (2000), 8. The density f(x) = exp(-x^2/2) for x >= 0 is covered by 256 layers of area v.
//! Layer i > 0 is the rectangle [0, x_i] x [f(x_i), f(x_(i+1))]; layer 0 is [0, r] x [0, f(r)] with the tail beyond
//! r = x_1. A point of a layer under its neighbour's width is under the curve without looking.
//!
//! Deviations: layer, sign and position come from disjoint bits of one 64-bit word (8, 1 and 53), as drawing them
//! from shared bits correlates them; the table is computed here, once, with `libm`, from the condition that the top
//! layer ends at f(0) = 1, and not copied.
//!
//! Accuracy: exact up to the 53 bits of the position and the rounding of `libm::exp`. The largest value that can
//! come out is about 9.3: the tail takes logarithms of multiples of 2^-53.

use std::sync::LazyLock;

use crate::Stream;
use crate::normal_law::density;
use crate::stream::unit_interval;

const LAYERS: usize = 256;

/// Widths and heights of the layers.
#[derive(Debug)]
pub(crate) struct Layers {
    /// `width[0]` is v / f(r), then x_1 = r down to x_256 = 0.
    width: [f64; LAYERS + 1],
    /// f of the widths; the first is not used.
    height: [f64; LAYERS + 1],
}

static SHARED: LazyLock<Layers> = LazyLock::new(Layers::compute);

impl Layers {
    pub(crate) fn shared() -> &'static Self {
        &SHARED
    }

    #[inline]
    pub(crate) fn draw(&self, stream: &mut Stream) -> f64 {
        loop {
            let bits = stream.next_u64();
            let layer = (bits & 0xff) as usize;
            let negative = bits & 0x100 != 0;
            let x = unit_interval(bits) * self.width[layer];
            if x < self.width[layer + 1] {
                return if negative { -x } else { x };
            }
            if let Some(x) = self.settle(layer, x, stream) {
                return if negative { -x } else { x };
            }
        }
    }

    /// The rare cases: the tail, and the corner of a layer that the curve cuts.
    #[cold]
    fn settle(&self, layer: usize, x: f64, stream: &mut Stream) -> Option<f64> {
        if layer == 0 {
            return Some(self.tail(stream));
        }
        let rise = self.height[layer + 1] - self.height[layer];
        let y = self.height[layer] + stream.uniform() * rise;
        (y < density(x)).then_some(x)
    }

    /// A draw beyond r: G. Marsaglia, "Generating a variable from the tail of the normal distribution",
    /// Technometrics 6 (1964), 101.
    fn tail(&self, stream: &mut Stream) -> f64 {
        let r = self.width[1];
        loop {
            let beyond = -libm::log(1.0 - stream.uniform()) / r;
            let y = -libm::log(1.0 - stream.uniform());
            if y + y > beyond * beyond {
                return r + beyond;
            }
        }
    }

    fn compute() -> Self {
        let (mut low, mut high) = (3.0, 4.0);
        loop {
            let middle = 0.5 * (low + high);
            if middle <= low || middle >= high {
                break;
            }
            if overflows(middle) {
                low = middle;
            } else {
                high = middle;
            }
        }
        let r: f64 = high;
        let area = layer_area(r);
        let mut width = [0.0; LAYERS + 1];
        width[0] = area / density(r);
        width[1] = r;
        for i in 2..LAYERS {
            width[i] = next_width(width[i - 1], area);
        }
        let height = width.map(density);
        Self { width, height }
    }
}

/// v(r) = r f(r) + the area under f beyond r.
fn layer_area(r: f64) -> f64 {
    let half_pi_root = (0.5 * std::f64::consts::PI).sqrt();
    r * density(r) + half_pi_root * libm::erfc(r * std::f64::consts::FRAC_1_SQRT_2)
}

/// The width above a layer of width x: f(next) = f(x) + v / x.
fn next_width(x: f64, area: f64) -> f64 {
    (-2.0 * libm::log(density(x) + area / x)).sqrt()
}

/// Whether 256 layers on this r would reach above f(0) = 1; they do when r is too small.
fn overflows(r: f64) -> bool {
    let area = layer_area(r);
    let mut x = r;
    for _ in 2..LAYERS {
        if density(x) + area / x >= 1.0 {
            return true;
        }
        x = next_width(x, area);
    }
    density(x) + area / x > 1.0
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Marsaglia and Tsang (2000), r and v of 256 layers, as many programs transcribe them.
    const PRINTED_R: f64 = 3.6541528853610088;
    const PRINTED_V: f64 = 0.00492867323399;
    /// With 40 digits v(r) is 0.004928673233974655: the last two printed digits do not belong to the printed r.
    const PRINTED_V_ERROR: f64 = 2e-14;

    #[test]
    fn val_the_base_layer_is_the_printed_one() {
        let layers = Layers::shared();
        assert!((layers.width[1] - PRINTED_R).abs() < 1e-14);
        assert!((layer_area(layers.width[1]) - PRINTED_V).abs() < PRINTED_V_ERROR);
    }

    #[test]
    fn verif_layers_have_equal_areas_and_close_at_the_top() {
        let layers = Layers::shared();
        let area = layer_area(layers.width[1]);
        for i in 1..LAYERS {
            let rise = layers.height[i + 1] - layers.height[i];
            assert!((rise * layers.width[i] - area).abs() < 1e-12, "layer {i}");
        }
        assert_eq!(layers.height[LAYERS], 1.0);
    }
}
