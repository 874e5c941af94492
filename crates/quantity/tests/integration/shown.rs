//! How numbers are shown, and which word is nearest.

use quantity::{Dimension, nearest, show};

#[test]
fn verif_values_are_shown_in_the_unit_that_keeps_them_short() {
    for (si, dimension, shown) in [
        (0.0123, Dimension::Power, "12.3 mW"),
        (1200.0, Dimension::Length, "1.2 km"),
        (21.6, Dimension::Voltage, "21.6 V"),
        (999.96, Dimension::Length, "1 km"),
        (999.94, Dimension::Length, "999.9 m"),
        (120.0, Dimension::Length, "120 m"),
        (-0.5, Dimension::Voltage, "-500 mV"),
        (0.0, Dimension::Voltage, "0 V"),
        (0.0, Dimension::Ratio, "0 %"),
        (0.15, Dimension::Ratio, "15 %"),
        (20e-6, Dimension::Ratio, "20 ppm"),
        (200.0, Dimension::Time, "3.333 min"),
        (60.0, Dimension::Time, "60 s"),
        (240.0 * 86_400.0, Dimension::Time, "240 d"),
        (9.6, Dimension::Temperature, "9.6 degC"),
        (0.0051, Dimension::Temperature, "0.0051 degC"),
        (216_000.0, Dimension::Charge, "60 Ah"),
        (0.02, Dimension::Area, "0.02 m2"),
        (1.5e-6, Dimension::Area, "1.5 mm2"),
        (1e12, Dimension::Length, "1e9 km"),
        (1.0e-14, Dimension::Length, "1e-8 um"),
        (f64::NAN, Dimension::Length, "unknown"),
        (f64::INFINITY, Dimension::Length, "unknown"),
    ] {
        assert_eq!(show(si, dimension), shown, "{si} {}", dimension.si_unit());
    }
}

#[test]
fn verif_the_ends_of_the_number_range_are_shown() {
    for dimension in Dimension::ALL {
        for si in [f64::MAX, f64::MIN, f64::MIN_POSITIVE, 5e-324] {
            let shown = show(si, dimension);
            assert!(shown.contains('e') && !shown.contains("inf"), "{shown}");
        }
    }
}

#[test]
fn verif_nearest_word() {
    let keys = ["length", "depth", "at", "rate", "gain"];
    assert_eq!(nearest("lenght", keys), Some("length"));
    assert_eq!(nearest("Depth", keys), Some("depth"));
    assert_eq!(nearest("dept", keys), Some("depth"));
    assert_eq!(nearest("AT", keys), Some("at"));
    assert_eq!(nearest("it", keys), None);
    assert_eq!(nearest("voltage", keys), None);
    assert_eq!(nearest("", keys), None);
    assert_eq!(nearest(&"a".repeat(100_000), keys), None);
    assert_eq!(nearest("mHZ", ["MHz", "mHz"]), Some("mHz"));
}
