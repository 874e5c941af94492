//! The whole line balances: what holds its ends bears its weight and the drag on it.

use mooring::{Body, Current, Hanging, Rope, Top, Water, hang};
use proptest::prelude::*;

fn lines() -> impl Strategy<Value = Hanging> {
    let body = (0.2_f64..0.98, 1.0_f64..60.0, 0.0_f64..0.1);
    let rope = (
        0.2_f64..1.0,
        0.006_f64..0.03,
        0.2_f64..3.0,
        proptest::option::of(2e5_f64..2e6),
    );
    (
        30.0_f64..300.0,
        proptest::collection::vec((-0.6_f64..0.6, -0.6_f64..0.6), 1..4),
        proptest::collection::vec(rope, 1..4),
        proptest::collection::vec(body, 0..4),
        0.4_f64..2.0,
        any::<bool>(),
        50.0_f64..900.0,
    )
        .prop_map(|(depth_m, current, ropes, bodies, scope, floats, pull_n)| {
            let shares: f64 = ropes.iter().map(|rope| rope.0).sum();
            let length_m = if floats {
                depth_m * scope.min(0.95)
            } else {
                depth_m * (1.05 + 0.5 * scope)
            };
            let points: Vec<(f64, f64, f64)> = current
                .iter()
                .enumerate()
                .map(|(i, (east, north))| (20.0 * i as f64, *east, *north))
                .collect();
            let ropes: Vec<Rope> = ropes
                .into_iter()
                .map(|(share, diameter_m, weight_n_m, stiffness_n)| Rope {
                    length_m: length_m * share / shares,
                    diameter_m,
                    weight_n_m,
                    stiffness_n,
                    normal_drag: 1.2,
                    tangential_drag: 0.02,
                })
                .collect();
            let whole_m: f64 = ropes.iter().map(|rope| rope.length_m).sum();
            let bodies: Vec<Body> = bodies
                .into_iter()
                .map(|(share, weight_n, drag_area_m2)| Body {
                    at_m: share * whole_m,
                    weight_n,
                    drag_area_m2,
                })
                .collect();
            let load_n: f64 = ropes.iter().map(|r| r.length_m * r.weight_n_m).sum::<f64>()
                + bodies.iter().map(|b| b.weight_n).sum::<f64>();
            let top = if floats {
                Top::Float {
                    buoyancy_n: 1.5 * load_n + pull_n,
                    drag_area_m2: 0.2,
                }
            } else {
                Top::Surface {
                    force_n: [pull_n, 0.0],
                }
            };
            Hanging {
                water: Water {
                    depth_m,
                    density_kg_m3: 1025.0,
                    current: Current::new(&points).expect("depths that rise"),
                },
                ropes,
                bodies,
                foot_m: 0.0,
                top,
            }
        })
}

/// Drag summed over the drawn shape by the trapezoid rule, an independent sum; good to a part in twenty of it where the current has kinks.
fn drag_n(line: &Hanging, shape: &mooring::Shape) -> [f64; 3] {
    let mut sum = [0.0; 3];
    let current = |height_m: f64| {
        let (speed, towards_deg) = line
            .water
            .current
            .speed_and_direction(line.water.depth_m - height_m);
        let towards = towards_deg.to_radians();
        [speed * towards.sin(), speed * towards.cos(), 0.0]
    };
    let dot = |a: [f64; 3], b: [f64; 3]| a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
    let mut ends = Vec::new();
    let mut end_m = 0.0;
    for rope in &line.ropes {
        end_m += rope.length_m;
        ends.push(end_m);
    }
    let touch_m = shape.touch.map_or(0.0, |touch| touch.s_m);
    for pair in shape.points.windows(2) {
        let (a, b) = (&pair[0], &pair[1]);
        if b.s_m <= touch_m || a.s_m == b.s_m {
            continue;
        }
        let rope = &line.ropes[ends
            .iter()
            .position(|end| 0.5 * (a.s_m + b.s_m) < *end)
            .expect("the piece lies on a rope")];
        for point in [a, b] {
            let tension = point.tension_n();
            let t = point.force_n.map(|f| f / tension);
            let stretch = 1.0 + rope.stiffness_n.map_or(0.0, |ea| tension / ea);
            let v = current(point.at_m[2]);
            let along = dot(v, t);
            let vt = t.map(|x| x * along);
            let vn = [v[0] - vt[0], v[1] - vt[1], v[2] - vt[2]];
            let (st, sn) = (dot(vt, vt).sqrt(), dot(vn, vn).sqrt());
            for part in 0..3 {
                sum[part] += 0.5
                    * (b.s_m - a.s_m)
                    * stretch
                    * 0.5
                    * 1025.0
                    * rope.diameter_m
                    * (rope.normal_drag * sn * vn[part]
                        + std::f64::consts::PI * rope.tangential_drag * st * vt[part]);
            }
        }
    }
    for (body, at) in line.bodies.iter().zip(&shape.bodies) {
        if body.at_m > touch_m {
            let v = current(at.at_m[2]);
            let speed = dot(v, v).sqrt();
            for part in 0..3 {
                sum[part] += 0.5 * 1025.0 * body.drag_area_m2 * speed * v[part];
            }
        }
    }
    sum
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn verif_forces_balance(line in lines()) {
        let shape = hang(&line).unwrap();
        prop_assert!(shape.residual_m < 1e-4);
        let touch_m = shape.touch.map_or(0.0, |touch| touch.s_m);
        let mut end_m = 0.0;
        let mut weight_n = 0.0;
        for rope in &line.ropes {
            let from_m = end_m;
            end_m += rope.length_m;
            weight_n += rope.weight_n_m * (end_m - from_m.max(touch_m)).max(0.0);
        }
        // A body at the very touch is borne in part by the seabed.
        let on_edge = line.bodies.iter().any(|b| b.at_m == touch_m);
        weight_n += line.bodies.iter().filter(|b| b.at_m > touch_m).map(|b| b.weight_n).sum::<f64>();
        let drag = drag_n(&line, &shape);
        let pulls = [0, 1, 2].map(|part| shape.top_n[part] - shape.anchor_n[part] + drag[part]);
        let scale = 1.0 + drag[0].abs() + drag[1].abs();
        prop_assert!(pulls[0].abs() < 5e-2 * scale && pulls[1].abs() < 5e-2 * scale, "{pulls:?} of {drag:?}");
        if !on_edge {
            prop_assert!((pulls[2] - weight_n).abs() < 5e-2 * scale + 1e-6 * weight_n, "{pulls:?} of {weight_n} N");
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]
    /// Bodies at one place are one body: two halves of each lean and pull as the whole does.
    #[test]
    fn verif_what_hangs_at_one_place_is_one_body(line in lines()) {
        let Ok(whole) = hang(&line) else { return Ok(()) };
        let mut halves = line.clone();
        halves.bodies = line
            .bodies
            .iter()
            .flat_map(|b| {
                let half = Body { weight_n: 0.5 * b.weight_n, drag_area_m2: 0.5 * b.drag_area_m2, ..*b };
                [half, half]
            })
            .collect();
        let split = hang(&halves).expect("what hangs whole hangs in halves");
        if core::mem::discriminant(&split.effort) != core::mem::discriminant(&whole.effort) {
            return Ok(());
        }
        for (ix, body) in split.bodies.iter().enumerate() {
            let one = &whole.bodies[ix / 2];
            let scale_n = 1.0 + one.below_n.iter().chain(&one.above_n).map(|n| n.abs()).sum::<f64>();
            for (a, b) in [(body.above_n, one.above_n), (body.below_n, one.below_n)] {
                for k in 0..3 {
                    prop_assert!((a[k] - b[k]).abs() < 1e-3 * scale_n, "{a:?} {b:?}");
                }
            }
        }
    }
}

/// What cancels at one place leaves the line as it is: by hand the pull above both is that below both.
#[test]
fn verif_what_cancels_at_one_place_changes_no_pull() {
    let rope = Rope {
        length_m: 50.0,
        diameter_m: 0.012,
        weight_n_m: 0.5,
        stiffness_n: None,
        normal_drag: 1.2,
        tangential_drag: 0.02,
    };
    let body = |weight_n| Body {
        at_m: 20.0,
        weight_n,
        drag_area_m2: 0.0,
    };
    let line = Hanging {
        water: Water {
            depth_m: 80.0,
            density_kg_m3: 1025.0,
            current: Current::new(&[(0.0, 0.0, 0.0)]).unwrap(),
        },
        ropes: vec![rope],
        bodies: vec![body(400.0), body(-400.0)],
        foot_m: 0.0,
        top: Top::Float {
            buoyancy_n: 1000.0,
            drag_area_m2: 0.2,
        },
    };
    let shape = hang(&line).unwrap();
    for body in &shape.bodies {
        for n in [body.above_n[2], body.below_n[2]] {
            assert!((n - (1000.0 - 0.5 * 30.0)).abs() < 1e-6, "{body:?}");
        }
    }
}
