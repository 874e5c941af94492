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

/// In still water a line that is longer than the water is deep hangs upright: its buoy bears the rope down to the seabed and what hangs on that, and
/// the rest lies there. However heavy the bodies, the sum of weights is the pull, of any rope that does not stretch.
#[test]
fn verif_still_water_is_hung_by_weights_alone() {
    let (length_m, depth_m, weight_n_m) = (92.0, 85.0, 1.5);
    for heavy_n in [10.0, 300.0, 1500.0, 5000.0, 50_000.0] {
        let weights_n = [(86.0, heavy_n), (70.0, 20.0), (34.0, heavy_n), (3.0, 40.0)];
        let mut line = slack(Vec::new());
        line.water.depth_m = depth_m;
        line.water.current = Current::new(&[(0.0, 0.0, 0.0)]).expect("one point");
        line.ropes[0].length_m = length_m;
        line.ropes[0].weight_n_m = weight_n_m;
        line.ropes[0].stiffness_n = None;
        line.top = Top::Surface { force_n: [0.0; 2] };
        line.bodies = weights_n
            .iter()
            .map(|&(at_m, weight_n)| Body {
                at_m,
                weight_n,
                drag_area_m2: 0.05,
            })
            .collect();
        let lies_m = length_m - depth_m;
        let hangs_n: f64 = weights_n
            .iter()
            .filter(|(at_m, _)| *at_m > lies_m)
            .map(|w| w.1)
            .sum();
        let shape = hang(&line).unwrap_or_else(|why| panic!("{heavy_n} N: {why}"));
        let off_n = shape.top_n[2] - (hangs_n + weight_n_m * depth_m);
        assert!(off_n.abs() < 1e-4, "{heavy_n} N: {off_n} N off");
        let touch_m = shape.touch.map(|t| t.s_m).unwrap();
        assert!((touch_m - lies_m).abs() < 1e-5, "{heavy_n} N: {touch_m} m");
        for (body, (at_m, _)) in shape.bodies.iter().zip(weights_n) {
            let height_m = f64::max(at_m - lies_m, 0.0);
            assert!(
                (body.at_m[2] - height_m).abs() < 1e-5,
                "{heavy_n} N: {body:?}"
            );
        }
        assert!(
            matches!(shape.effort, Effort::Shooting { .. }),
            "{heavy_n} N"
        );
    }
}
