use seawater::{
    Method, SALINITY_SPLIT, SeaError, Variable, Warning, sound_speed, sound_speed_chen_millero_m_s,
    sound_speed_m_s, sound_speed_mackenzie_m_s,
};

use crate::reference::{Reference, assert_near};

/// Rounding of the reference file.
const SECOND_ROUTE_M_S: f64 = 1e-5;
const T68_PER_T90: f64 = 1.00024;

/// Root mean square and largest absolute difference from TEOS-10 over one grid.
fn error_m_s(grid: &str, speed: impl Fn(f64, f64, f64, f64) -> f64) -> (f64, f64) {
    let reference = Reference::open("gsw-sound-speed.csv");
    let errors: Vec<f64> = reference
        .rows()
        .filter(|row| row.text("grid") == grid)
        .map(|row| {
            let [t, s, d, p, truth] = [
                "temperature_degc",
                "salinity",
                "depth_m",
                "pressure_dbar",
                "teos10_m_s",
            ]
            .map(|c| row.number(c));
            speed(t, s, d, p) - truth
        })
        .collect();
    assert!(!errors.is_empty(), "no grid {grid}");
    let mean_square = errors.iter().map(|e| e * e).sum::<f64>() / errors.len() as f64;
    (
        mean_square.sqrt(),
        errors.iter().fold(0.0, |worst: f64, e| worst.max(e.abs())),
    )
}

#[track_caller]
fn check_error(
    grid: &str,
    rms_m_s: f64,
    worst_m_s: f64,
    speed: impl Fn(f64, f64, f64, f64) -> f64,
) {
    let (rms, worst) = error_m_s(grid, speed);
    assert!(
        rms <= rms_m_s && worst <= worst_m_s,
        "{grid}: rms {rms}, worst {worst}"
    );
}

/// Truth: TEOS-10, reference/seawater/gsw-sound-speed.csv. The bounds are the errors that the comparison of the methods found
/// (docs/method/seawater.md), rounded up in the last digit.
#[test]
fn val_default_speed_against_teos10() {
    let default = |t, s, d, _| sound_speed_m_s(t, s, d).unwrap();
    check_error("shelf", 0.09, 0.21, default);
    check_error("upper", 0.10, 0.29, default);
    check_error("deep", 0.14, 0.46, default);
    check_error("brackish", 0.07, 0.15, default);
    check_error("fresher", 0.16, 0.25, default);
    check_error("warm", 0.18, 0.22, default);
}

/// Chen and Millero as published, against the same truth.
#[test]
fn val_chen_millero_against_teos10() {
    let form = |t, s, _, p| sound_speed_chen_millero_m_s(t, s, p).unwrap();
    check_error("shelf", 0.11, 0.24, form);
    check_error("upper", 0.19, 0.40, form);
    check_error("deep", 0.56, 0.71, form);
    check_error("brackish", 0.07, 0.15, form);
}

/// Second route: both equations written out again with numpy, reference/seawater/numpy-sound-speed-forms.csv.
#[test]
fn verif_closed_forms_by_a_second_route() {
    for row in Reference::open("numpy-sound-speed-forms.csv").rows() {
        let [t, s, d, p] =
            ["temperature_degc", "salinity", "depth_m", "pressure_dbar"].map(|c| row.number(c));
        assert_near(
            sound_speed_chen_millero_m_s(t, s, p).unwrap(),
            row.number("chen_millero_m_s"),
            SECOND_ROUTE_M_S,
        );
        if !row.text("mackenzie_m_s").is_empty() {
            assert_near(
                sound_speed_mackenzie_m_s(t, s, d).unwrap(),
                row.number("mackenzie_m_s"),
                SECOND_ROUTE_M_S,
            );
        } else {
            assert!(sound_speed_mackenzie_m_s(t, s, d).is_err());
        }
    }
}

/// Mackenzie 1981, check value 1550.744 m/s at 25 degC, S 35, 1000 m (from memory).
#[test]
fn val_mackenzie_check_value() {
    assert_near(
        sound_speed_mackenzie_m_s(25.0, 35.0, 1000.0).unwrap(),
        1550.744,
        0.0005,
    );
}

/// Three values printed in the help of the aquatic science package marelac, function `sw_svel`, to a tenth; and the check value
/// of Fofonoff and Millard 1983, S 40, T68 40, 10 000 dbar, from the header of the CalCOFI routine svel.c.
#[test]
fn val_chen_millero_published_points() {
    let at_t68 = |t68: f64, s, p| sound_speed_chen_millero_m_s(t68 / T68_PER_T90, s, p).unwrap();
    assert_near(at_t68(0.0, 40.0, 0.0), 1455.8, 0.05);
    assert_near(at_t68(40.0, 25.0, 10_000.0), 1719.2, 0.05);
    assert_near(at_t68(40.0, 25.0, 0.0), 1553.4, 0.05);
    assert_near(at_t68(40.0, 40.0, 10_000.0), 1731.995, 0.0005);
}

/// The known slips on the public function: a T68 temperature handed in as ITS-90, and bar as decibars.
#[test]
fn val_chen_millero_point_refuses_the_known_slips() {
    let wrong_scale = sound_speed_chen_millero_m_s(40.0, 40.0, 10_000.0).unwrap();
    assert!((wrong_scale - 1731.995).abs() > 0.005, "{wrong_scale}");
    let wrong_unit = sound_speed_chen_millero_m_s(40.0 / T68_PER_T90, 40.0, 1000.0).unwrap();
    assert!((wrong_unit - 1731.995).abs() > 100.0, "{wrong_unit}");
}

#[test]
fn verif_the_method_follows_the_water() {
    assert_eq!(
        sound_speed(10.0, 25.0, 20.0).unwrap().method,
        Method::Mackenzie1981
    );
    assert_eq!(
        sound_speed(10.0, 24.99, 20.0).unwrap().method,
        Method::ChenMillero1977
    );
    assert_eq!(
        sound_speed(30.0, 36.0, 5.0).unwrap().method,
        Method::Mackenzie1981
    );
    assert_eq!(
        sound_speed(33.0, 39.0, 5.0).unwrap().method,
        Method::ChenMillero1977
    );
}

#[test]
fn verif_only_the_disputed_salinities_warn() {
    assert!(sound_speed(10.0, 30.0, 20.0).unwrap().warnings.is_empty());
    assert!(sound_speed(10.0, 24.0, 20.0).unwrap().warnings.is_empty());
    let warned = sound_speed(10.0, 27.0, 20.0).unwrap().warnings;
    assert!(
        matches!(
            warned[..],
            [Warning::RangeDisputed {
                variable: Variable::Salinity,
                value: 27.0,
                low: 30.0,
                ..
            }]
        ),
        "{warned:?}"
    );
}

/// The step where one equation hands over to the other, by depth: at salinity 25 over 0 to 30 degC, and at 30 degC over
/// salinities of 30 to 40. It grows with depth, where such water is not found.
#[test]
fn verif_the_step_between_the_methods_is_bounded() {
    for (depth_m, brackish_m_s, warm_m_s) in HAND_OVER_M_S {
        let mut worst = (0.0_f64, 0.0_f64);
        for t in 0..=30 {
            let t = f64::from(t);
            let step = sound_speed_m_s(t, SALINITY_SPLIT, depth_m).unwrap()
                - sound_speed_m_s(t, SALINITY_SPLIT - 1e-9, depth_m).unwrap();
            worst.0 = worst.0.max(step.abs());
        }
        for s in 30..=40 {
            let s = f64::from(s);
            let step = sound_speed_m_s(30.0, s, depth_m).unwrap()
                - sound_speed_m_s(30.0 + 1e-9, s, depth_m).unwrap();
            worst.1 = worst.1.max(step.abs());
        }
        assert_near(worst.0, brackish_m_s, SHOWN_M_S);
        assert_near(worst.1, warm_m_s, SHOWN_M_S);
    }
}

/// Half a unit of the last digit shown.
const SHOWN_M_S: f64 = 5.1e-4;
/// What `docs/method/seawater.md` states: depth, step at salinity 25, step at 30 degC.
const HAND_OVER_M_S: [(f64, f64, f64); 7] = [
    (0.0, 0.283, 0.303),
    (50.0, 0.286, 0.336),
    (200.0, 0.344, 0.433),
    (500.0, 0.545, 0.605),
    (1000.0, 0.832, 0.838),
    (2000.0, 1.268, 1.24),
    (5000.0, 2.594, 2.46),
];

#[test]
fn verif_outside_the_range_is_an_error_with_its_numbers() {
    assert_eq!(
        sound_speed_m_s(10.0, 35.0, 8001.0),
        Err(SeaError::OutOfRange {
            variable: Variable::Depth,
            value: 8001.0,
            low: 0.0,
            high: 8000.0,
            method: Method::Mackenzie1981
        })
    );
    assert!(sound_speed_m_s(-2.1, 35.0, 0.0).is_err());
    assert!(sound_speed_m_s(40.1, 35.0, 0.0).is_err());
    assert!(sound_speed_m_s(-0.1, 20.0, 0.0).is_err());
    assert!(sound_speed_m_s(10.0, -0.1, 0.0).is_err());
    assert!(sound_speed_m_s(10.0, 40.1, 0.0).is_err());
    assert!(sound_speed_m_s(10.0, 35.0, -0.1).is_err());
    assert!(sound_speed_m_s(10.0, 10.0, -0.1).is_err());
    for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
        assert!(sound_speed_m_s(bad, 35.0, 0.0).is_err());
        assert!(sound_speed_m_s(10.0, bad, 0.0).is_err());
        assert!(sound_speed_m_s(10.0, 35.0, bad).is_err());
        assert!(sound_speed_m_s(10.0, 10.0, bad).is_err());
        assert!(sound_speed_chen_millero_m_s(10.0, 35.0, bad).is_err());
    }
}

#[test]
fn verif_messages_name_variable_value_range_and_method() {
    let error = sound_speed_m_s(41.5, 35.0, 0.0).unwrap_err().to_string();
    assert_eq!(
        error,
        "temperature 41.5 degC is outside 0 to 40 degC, the range of the sound speed equation of Chen and Millero 1977"
    );
    let error = sound_speed_m_s(4.0, 45.0, 0.0).unwrap_err().to_string();
    assert_eq!(
        error,
        "salinity 45 is outside 25 to 40, the range of the sound speed equation of Mackenzie 1981"
    );
}
