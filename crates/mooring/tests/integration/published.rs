//! Published worked examples.

use mooring::{Current, Hanging, Rope, Top, Water, hang};

/// MIT OpenCourseWare 2.019 (2011), lecture 13: a line of 828 N/m in 25 m of water under a greatest tension of 1510 kN lies off the seabed over at least
/// `h sqrt(2 T/(w h) - 1)` = 300.93 m (printed), with a level pull of `T - w h` = 1489.3 kN.
#[test]
fn val_least_length_of_a_slack_line() {
    let line = slack(None, 1_489_300.0);
    let shape = hang(&line).unwrap();
    let lifted_m = 400.0 - shape.touch.unwrap().s_m;
    assert!((lifted_m - 300.93).abs() < 0.005, "{lifted_m}");
    let across_m = shape.excursion_m() - shape.touch.unwrap().s_m;
    assert!((across_m - 299.5430).abs() < 5e-4, "{across_m}");
    let last = shape.points.last().unwrap();
    assert!(
        (last.tension_n() - 1_510_000.0).abs() < 1.0,
        "{}",
        last.tension_n()
    );
    assert!(
        (shape.top_n[2] - 249_169.6).abs() < 1.0,
        "{}",
        shape.top_n[2]
    );
}

/// The same with EA = 8e8 N, lecture 14: level pull 1489338.73 N, 300.64980 m unstretched, 299.82689 m across.
#[test]
fn val_the_same_line_stretched() {
    let line = slack(Some(8e8), 1_489_338.73);
    let shape = hang(&line).unwrap();
    let touch = shape.touch.unwrap();
    assert!(
        (400.0 - touch.s_m - 300.64980).abs() < 1e-3,
        "{}",
        400.0 - touch.s_m
    );
    let across_m = shape.top_m[0] - touch.at_m[0];
    assert!((across_m - 299.82689).abs() < 1e-3, "{across_m}");
    let tension_n = shape.points.last().unwrap().tension_n();
    assert!((tension_n - 1_510_000.0).abs() < 1.0, "{tension_n}");
}

/// 400 m of it, so that some lies on the seabed, under a level pull.
fn slack(stiffness_n: Option<f64>, level_n: f64) -> Hanging {
    Hanging {
        water: Water {
            depth_m: 25.0,
            density_kg_m3: 1025.0,
            current: Current::none(),
        },
        ropes: vec![Rope {
            length_m: 400.0,
            diameter_m: 0.1,
            weight_n_m: 828.0,
            stiffness_n,
            normal_drag: 1.2,
            tangential_drag: 0.01,
        }],
        bodies: vec![],
        foot_m: 0.0,
        top: Top::Surface {
            force_n: [level_n, 0.0],
        },
    }
}
