//! Bars between nodes against shooting, and where only they go.

use mooring::{Body, Current, Effort, Hanging, Rope, Top, Water, hang, hang_by_bars};

use crate::support::{document, hanging, list};

/// Of second order: with four times as many bars the difference from shooting is a sixteenth, down to what the stretch of a stiff line leaves.
#[test]
fn verif_bars_come_to_what_shooting_finds() {
    for entry in list(&document()["lines"]) {
        let case = &entry["case"];
        let name = case["name"].as_str().unwrap();
        let line = hanging(case);
        let shot = hang(&line).unwrap();
        let by = |bars| hang_by_bars(&line, bars).unwrap_or_else(|error| panic!("{name}: {error}"));
        let apart = |shape: &mooring::Shape| {
            let d = [0, 1, 2].map(|part| shape.top_m[part] - shot.top_m[part]);
            (d[0] * d[0] + d[1] * d[1] + d[2] * d[2]).sqrt()
        };
        let fine = apart(&by(400));
        // On the seabed the first bar that rises spoils the second order.
        assert!(fine < 2e-4 * line.length_m(), "{name}: {fine} m");
        if shot.touch.is_none() {
            let coarse = apart(&by(100));
            assert!(
                fine < coarse / 8.0 || fine < 2e-5 * line.length_m(),
                "{name}: {coarse} m, then {fine} m"
            );
        }
    }
}

fn slack(bodies: Vec<Body>) -> Hanging {
    Hanging {
        water: Water {
            depth_m: 50.0,
            density_kg_m3: 1025.0,
            current: Current::new(&[(0.0, 0.2, 0.0)]).expect("one point"),
        },
        ropes: vec![Rope {
            length_m: 120.0,
            diameter_m: 0.012,
            weight_n_m: 2.0,
            stiffness_n: Some(3e5),
            normal_drag: 1.2,
            tangential_drag: 0.01,
        }],
        bodies,
        foot_m: 0.0,
        top: Top::Surface {
            force_n: [80.0, 0.0],
        },
    }
}

/// A float amid a slack line lifts it off the seabed: the whole balances, and the float stands above both its neighbours.
#[test]
fn verif_a_float_amid_a_slack_line_rises() {
    let line = slack(vec![Body {
        at_m: 45.0,
        weight_n: -150.0,
        drag_area_m2: 0.02,
    }]);
    let shape = hang_by_bars(&line, 400).unwrap();
    let at = |s: f64| {
        let point = shape
            .points
            .iter()
            .min_by(|a, b| (a.s_m - s).abs().total_cmp(&(b.s_m - s).abs()));
        point.unwrap().at_m[2]
    };
    assert!(
        at(45.0) > at(30.0) && at(45.0) > at(60.0),
        "{} {} {}",
        at(30.0),
        at(45.0),
        at(60.0)
    );
    assert!(shape.points.iter().all(|p| p.at_m[2] > -1e-3));
}

/// What `hang` gives for it is the same: shooting would find a line through the seabed, or none.
#[test]
fn verif_hang_goes_over_to_bars() {
    let line = slack(vec![Body {
        at_m: 45.0,
        weight_n: -150.0,
        drag_area_m2: 0.02,
    }]);
    let shape = hang(&line).unwrap();
    if matches!(shape.effort, Effort::Shooting { .. }) {
        let bars = hang_by_bars(&line, 400).unwrap();
        assert!((shape.top_m[0] - bars.top_m[0]).abs() < 0.05);
    }
    assert!(shape.points.iter().all(|p| p.at_m[2] > -1e-3));
}
