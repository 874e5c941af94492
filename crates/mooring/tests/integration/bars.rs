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

/// Lines of one rope with heavy bodies, taut and slack, under each kind of top; `heavy_n` is the weight of two of their bodies.
fn laden(heavy_n: f64) -> Vec<(&'static str, Hanging)> {
    let body = |at_m: f64, weight_n: f64| Body {
        at_m,
        weight_n,
        drag_area_m2: 0.05,
    };
    let slack_bodies = vec![
        body(86.0, heavy_n),
        body(50.0, 20.0),
        body(34.0, heavy_n),
        body(3.0, 40.0),
    ];
    let buoyed = [slack_bodies.clone(), vec![body(60.0, -150.0)]].concat();
    let fixed = Top::Fixed {
        at_m: [60.0, 0.0, 85.0],
    };
    let float = Top::Float {
        buoyancy_n: 1.5 * (2.0 * heavy_n + 90.0) + 500.0,
        drag_area_m2: 0.3,
    };
    let surface = |force_n: f64| Top::Surface {
        force_n: [force_n, 0.0],
    };
    let mut found = Vec::new();
    for (water, flow, force_n) in [
        ("in still water", Vec::new(), 0.0),
        (
            "in a current",
            vec![(0.0, 0.8, 0.0), (85.0, 0.2, 0.0)],
            150.0,
        ),
    ] {
        for (name, length_m, bodies, top) in [
            ("slack below a buoy", 92.0, &slack_bodies, surface(force_n)),
            ("slack with a float amid it", 120.0, &buoyed, fixed),
            ("slack from a pier", 120.0, &slack_bodies, fixed),
            ("taut from a pier", 104.5, &slack_bodies, fixed),
            (
                "taut below a float",
                60.0,
                &vec![body(50.0, heavy_n), body(20.0, heavy_n)],
                float,
            ),
        ] {
            let mut line = slack(bodies.clone());
            line.water.depth_m = 85.0;
            line.water.current = Current::new(&flow).expect("depths that rise");
            line.ropes[0].length_m = length_m;
            line.ropes[0].weight_n_m = 1.5;
            // As stiff as such a load asks: a rope that it does not part.
            line.ropes[0].stiffness_n = Some(3e5_f64.max(30.0 * heavy_n));
            line.top = top;
            let name: &'static str = Box::leak(format!("{name} {water}").into_boxed_str());
            found.push((name, line));
        }
    }
    found
}

/// Pulls of bars are brought to a body by half their own load, and the search leaves 1e-8 of all loads: N, and share of the heavy bodies.
const AT_BODY: (f64, f64) = (0.5, 1e-6);

/// From a newton to a meganewton every line has a shape, by bars alone and by whatever finds it. Nothing lies in the seabed; where shooting finds the line too, both pull
/// alike at its top; and in still water the pulls above and below each body that hangs differ by its weight.
#[test]
fn verif_bars_find_the_shape_under_any_weight() {
    for decade in 0..=6 {
        let heavy_n = 10f64.powi(decade);
        for (name, line) in laden(heavy_n) {
            let found = |shape: Result<mooring::Shape, mooring::MooringError>| {
                shape.unwrap_or_else(|why| panic!("{name}, {heavy_n} N: {why}"))
            };
            let bars = found(hang_by_bars(&line, 400));
            let best = found(hang(&line));
            let deepest_m = bars.points.iter().map(|p| p.at_m[2]);
            let deepest_m = deepest_m.fold(f64::INFINITY, f64::min);
            assert!(deepest_m > -3e-3, "{name}, {heavy_n} N: {deepest_m} m");
            if matches!(best.effort, Effort::Shooting { .. }) {
                let size = |n: [f64; 3]| n.map(|x| x * x).iter().sum::<f64>().sqrt();
                let (ours_n, theirs_n) = (size(bars.top_n), size(best.top_n));
                let off_n = (ours_n - theirs_n).abs();
                assert!(
                    off_n < 1.0 + 2e-3 * theirs_n,
                    "{name}, {heavy_n} N: {ours_n} N by bars, {theirs_n} N"
                );
            }
            if name.ends_with("in a current") {
                continue;
            }
            let hanging = bars.bodies.iter().zip(&line.bodies);
            for (at, body) in hanging.filter(|(at, _)| at.at_m[2] > 0.01) {
                let off_n = at.above_n[2] - body.weight_n - at.below_n[2];
                assert!(
                    off_n.abs() < AT_BODY.0 + AT_BODY.1 * heavy_n,
                    "{name}, {heavy_n} N: {off_n} N at {} m",
                    body.at_m
                );
            }
        }
    }
}
