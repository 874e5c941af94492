//! The share of the normal law below a value.

use chance::normal_share_below;

/// Simpson's rule over the density `exp(-t^2/2) / sqrt(2 pi)` from 0 on, which shares no code with `erfc`.
#[test]
fn verif_share_is_the_integral_of_the_density() {
    let density = |t: f64| (-0.5 * t * t).exp() / (2.0 * std::f64::consts::PI).sqrt();
    for x in [
        0.0,
        0.1,
        0.674_489_750_196_082,
        1.0,
        1.959_963_984_540_054,
        3.0,
        5.0,
    ] {
        let panels = 2000;
        let h = x / f64::from(panels);
        let sum: f64 = (0..panels)
            .map(|i| {
                let t = f64::from(i) * h;
                density(t) + 4.0 * density(t + 0.5 * h) + density(t + h)
            })
            .sum();
        let above_half = sum * h / 6.0;
        assert!(
            (normal_share_below(x) - 0.5 - above_half).abs() < 1e-14,
            "{x}"
        );
        assert!(
            (normal_share_below(-x) - 0.5 + above_half).abs() < 1e-14,
            "{x}"
        );
    }
    assert_eq!(
        (
            normal_share_below(f64::NEG_INFINITY),
            normal_share_below(f64::INFINITY)
        ),
        (0.0, 1.0)
    );
    assert!(normal_share_below(f64::NAN).is_nan());
    // Far below, where 1 less the other tail would be 0: between the two bounds of the tail by Mills.
    let (x, tail) = (20.0, normal_share_below(-20.0));
    assert!(
        tail < density(x) / x && tail > density(x) * x / (x * x + 1.0),
        "{tail}"
    );
}
