//! The colour scale: dark blue through teal to yellow, rising evenly in lightness.
//!
//! Own formula in CIELAB with white D65. With `t` from 0 (quietest) to 1 (loudest):
//!
//! | | |
//! |---|---|
//! | lightness | `L* = 8 + 86 t` |
//! | hue | `h = 285° − 185° t` (blue, teal, green-yellow, yellow) |
//! | chroma | `C* = 21 + 55 t³` (kept inside the sRGB gamut; a test holds that) |
//!
//! `a* = C* cos h`, `b* = C* sin h`. CIELAB to XYZ follows ISO/CIE 11664-4 (inverse with
//! `δ = 6/29`), XYZ to sRGB follows IEC 61966-2-1 (matrix rounded to four decimals and its
//! two-part transfer curve; both from memory, checked against a known red, green and blue). As
//! lightness alone orders the colours, the scale is readable in grey and with any colour vision.

use super::PictureError;

/// An opaque sRGB colour.
pub(crate) type Rgb = [u8; 3];

pub(super) const WHITE: Rgb = [255, 255, 255];
pub(super) const BLACK: Rgb = [0, 0, 0];
pub(super) const INK: Rgb = [28, 32, 38];
pub(super) const QUIET_INK: Rgb = [84, 92, 102];
pub(super) const GRID_LINE: Rgb = [216, 220, 225];
pub(super) const NO_DATA: Rgb = [226, 226, 226];
pub(super) const NO_DATA_STROKE: Rgb = [188, 188, 188];
pub(super) const BAR: Rgb = [34, 94, 128];

/// How the ends of the colour scale are chosen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ColourRange {
    /// From the 5th to the 99.9th percentile of the cells shown, but up to no less than 10 dB below the loudest cell,
    /// rounded outwards to 5 dB; then, at the lower end, at least 30 dB and at most 70 dB wide. The picture says so.
    Percentiles,
    /// Ends stated by the caller, dB; pictures that are to be compared need the same ends.
    Given {
        /// Level of the darkest colour, dB.
        low_db: f64,
        /// Level of the lightest colour, dB.
        high_db: f64,
    },
}

const QUIET_SHARE: f64 = 0.05;
const LOUD_SHARE: f64 = 0.999;
const ROUND_DB: f64 = 5.0;
const LEAST_SPAN_DB: f64 = 30.0;
/// A lossy recording holds cells of next to nothing, which would take all the dark colours.
const MOST_SPAN_DB: f64 = 70.0;
/// Short calls in a long recording are fewer cells than the percentile leaves; they are still to be told from the noise.
const BELOW_LOUDEST_DB: f64 = 10.0;

impl ColourRange {
    /// The ends in dB for the given cells, or `None` for percentiles when no cell is finite.
    pub(super) fn ends(self, cells_db: &[f32]) -> Result<Option<(f64, f64)>, PictureError> {
        match self {
            Self::Given { low_db, high_db } => {
                if low_db.is_finite() && high_db.is_finite() && low_db < high_db {
                    Ok(Some((low_db, high_db)))
                } else {
                    Err(PictureError::Range {
                        what: "colour",
                        low: low_db,
                        high: high_db,
                        unit: "dB",
                        needed: "it must be finite and rise",
                    })
                }
            }
            Self::Percentiles => {
                let mut finite: Vec<f32> =
                    cells_db.iter().copied().filter(|v| v.is_finite()).collect();
                if finite.is_empty() {
                    return Ok(None);
                }
                let loudest = finite.iter().copied().fold(f32::NEG_INFINITY, f32::max);
                let loud = f64::from(percentile(&mut finite, LOUD_SHARE));
                let high = round_up(loud.max(f64::from(loudest) - BELOW_LOUDEST_DB));
                let low = -round_up(-f64::from(percentile(&mut finite, QUIET_SHARE)));
                let widest = (high - MOST_SPAN_DB, high - LEAST_SPAN_DB);
                Ok(Some((low.max(widest.0).min(widest.1), high)))
            }
        }
    }
}

fn round_up(level_db: f64) -> f64 {
    libm::ceil(level_db / ROUND_DB) * ROUND_DB
}

/// The value below which `share` of the values lie (nearest rank).
fn percentile(values: &mut [f32], share: f64) -> f32 {
    let rank = libm::floor(share * (values.len() - 1) as f64 + 0.5) as usize;
    *values.select_nth_unstable_by(rank, f32::total_cmp).1
}

/// The sRGB colour at `share` of the scale, 0 (quietest) to 1 (loudest); beyond either end the
/// colour of that end. Not-a-number gives the colour of the low end: draw missing data otherwise.
pub fn scale_colour(share: f64) -> [u8; 3] {
    let t = if share > 0.0 { share.min(1.0) } else { 0.0 };
    scale_linear_rgb(t).map(|c| (encoded(c) * 255.0 + 0.5) as u8)
}

/// 256 colours, evenly spaced on the scale.
pub(super) fn scale_table() -> Vec<Rgb> {
    (0..256)
        .map(|i| scale_colour(f64::from(i) / 255.0))
        .collect()
}

fn scale_linear_rgb(t: f64) -> [f64; 3] {
    let lightness = 8.0 + 86.0 * t;
    let hue_rad = (285.0 - 185.0 * t) * std::f64::consts::PI / 180.0;
    let chroma = 21.0 + 55.0 * t * t * t;
    linear_rgb(
        lightness,
        chroma * libm::cos(hue_rad),
        chroma * libm::sin(hue_rad),
    )
}

fn linear_rgb(lightness: f64, a: f64, b: f64) -> [f64; 3] {
    const DELTA: f64 = 6.0 / 29.0;
    let f_y = (lightness + 16.0) / 116.0;
    let inverse = |f: f64| {
        if f > DELTA {
            f * f * f
        } else {
            3.0 * DELTA * DELTA * (f - 4.0 / 29.0)
        }
    };
    let x = 0.95047 * inverse(f_y + a / 500.0);
    let y = inverse(f_y);
    let z = 1.08883 * inverse(f_y - b / 200.0);
    [
        3.2406 * x - 1.5372 * y - 0.4986 * z,
        -0.9689 * x + 1.8758 * y + 0.0415 * z,
        0.0557 * x - 0.2040 * y + 1.0570 * z,
    ]
}

fn encoded(linear: f64) -> f64 {
    if linear <= 0.003_130_8 {
        12.92 * linear
    } else {
        1.055 * libm::pow(linear, 1.0 / 2.4) - 0.055
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn verif_the_whole_scale_lies_inside_the_gamut() {
        for i in 0..=1000 {
            let rgb = scale_linear_rgb(f64::from(i) / 1000.0);
            assert!(rgb.iter().all(|c| (0.0..=1.0).contains(c)), "{i}: {rgb:?}");
        }
    }

    /// CIELAB of the sRGB primaries, D65: (53.24, 80.09, 67.20), (87.73, -86.18, 83.18),
    /// (32.30, 79.19, -107.86); widely printed values, from memory.
    #[test]
    fn verif_cielab_of_the_primaries_gives_the_primaries() {
        for (lab, rgb) in [
            ((53.24, 80.09, 67.20), [255, 0, 0]),
            ((87.73, -86.18, 83.18), [0, 255, 0]),
            ((32.30, 79.19, -107.86), [0, 0, 255]),
        ] {
            let got = linear_rgb(lab.0, lab.1, lab.2).map(|c| (encoded(c) * 255.0).round());
            for (g, w) in got.iter().zip(rgb) {
                assert!((g - f64::from(w)).abs() <= 1.0, "{got:?} for {rgb:?}");
            }
        }
    }

    #[test]
    fn verif_percentile_ends_are_rounded_outwards_and_wide_enough() {
        let even: Vec<f32> = (0..=1000).map(|i| 40.0 + i as f32 * 0.06).collect();
        let ends = ColourRange::Percentiles.ends(&even).unwrap();
        assert_eq!(ends, Some((40.0, 100.0)));
        let flat = [63.0_f32, f32::NAN, f32::NEG_INFINITY];
        assert_eq!(
            ColourRange::Percentiles.ends(&flat).unwrap(),
            Some((35.0, 65.0))
        );
        assert_eq!(ColourRange::Percentiles.ends(&[f32::NAN]).unwrap(), None);
    }

    /// Half the cells of a lossy file hold next to nothing, and a call of 121 dB is one cell in five thousand.
    #[test]
    fn verif_neither_empty_cells_nor_rare_calls_spoil_the_scale() {
        let mut cells = vec![-45.0_f32; 2500];
        cells.extend((0..2499).map(|i| 70.0 + i as f32 * 0.01));
        cells.push(121.0);
        let ends = ColourRange::Percentiles.ends(&cells).unwrap();
        assert_eq!(ends, Some((45.0, 115.0)));
    }
}
