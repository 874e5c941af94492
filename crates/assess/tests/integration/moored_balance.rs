//! Whole lines of drawn plans balance: what the plan says of weights, buoyancy, drag and wind, and what anchor and top bear, sums to nothing.
//!
//! The sums are made from the drawn figures and the shape's own points, not from what the plan was turned into.

use std::fmt::Write as _;

use assess::moorings;
use mooring::Effort;
use proptest::prelude::*;

use crate::moored::head;
use crate::support::read;

const DENSITY_KG_M3: f64 = 1025.0;
const GRAVITY_M_S2: f64 = 9.80665;
const AIR_KG_M3: f64 = 1.225;
/// Drag is summed by the trapezoid rule over the points that the shape tells.
const OF_DRAG: f64 = 2e-2;
/// Bars take it at their ends, as they lie: coarse where the line bends sharply.
const OF_DRAG_BARS: f64 = 0.1;

#[derive(Clone, Debug)]
struct RopeDrawn {
    length_m: f64,
    diameter_m: f64,
    weight_n_m: f64,
    stiffness_n: f64,
}

#[derive(Clone, Debug)]
struct BodyDrawn {
    section: usize,
    /// Share of the section's length, from its lower end.
    share: f64,
    /// Of a float below zero.
    weight_n: f64,
    cd_a_m2: f64,
    /// Length that a module is let in by, m.
    added_m: f64,
    module: bool,
}

#[derive(Clone, Debug)]
struct Drawn {
    depth_m: f64,
    /// Speed and direction at the surface and at the bed.
    current: [(f64, f64); 2],
    /// From the anchor upwards.
    ropes: Vec<RopeDrawn>,
    bodies: Vec<BodyDrawn>,
    /// Buoyancy of what joins two sections, N.
    joint_n: f64,
    /// Buoyancy of the float at the top, or wind on a buoy.
    floats: bool,
    lift_n: f64,
    /// Strong enough (90 N and more) that the line leaves the bed in a bend that is long beside the distance of the points.
    wind: (f64, f64),
}

fn drawn() -> impl Strategy<Value = Drawn> {
    let rope = (0.2_f64..1.0, 0.006_f64..0.03, 0.2_f64..3.0, 2e5_f64..2e7);
    let body = (0.05_f64..0.95, 1.0_f64..60.0, 0.0_f64..0.1, 0_u8..4);
    (
        (
            40.0_f64..250.0,
            any::<bool>(),
            0.5_f64..0.93,
            50.0_f64..900.0,
        ),
        [
            (0.05_f64..1.0, 0.0_f64..360.0),
            (0.0_f64..0.5, 0.0_f64..360.0),
        ],
        proptest::collection::vec(rope, 1..4),
        proptest::collection::vec(body, 0..5),
        (0.5_f64..5.0, 10.0_f64..25.0, 0.0_f64..360.0),
    )
        .prop_map(
            |(
                (depth_m, floats, scope, lift_n),
                current,
                ropes,
                bodies,
                (joint_n, wind, wind_deg),
            )| {
                let shares: f64 = ropes.iter().map(|r| r.0).sum();
                let length_m = if floats { scope } else { 0.8 + scope } * depth_m;
                let ropes: Vec<RopeDrawn> = ropes
                    .into_iter()
                    .map(|(share, diameter_m, weight_n_m, stiffness_n)| RopeDrawn {
                        length_m: length_m * share / shares,
                        diameter_m,
                        weight_n_m,
                        stiffness_n,
                    })
                    .collect();
                let count = ropes.len();
                let each = bodies.into_iter().enumerate();
                let bodies: Vec<BodyDrawn> = each
                    .map(|(i, (share, weight_n, cd_a_m2, kind))| BodyDrawn {
                        section: i % count,
                        share,
                        // What floats amid a line is lighter than what hangs beside it, so that nothing loops.
                        weight_n: if kind == 3 { -0.1 * weight_n } else { weight_n },
                        cd_a_m2,
                        added_m: if kind == 1 { 0.8 } else { 0.0 },
                        module: kind < 2,
                    })
                    .collect();
                let load_n: f64 = ropes.iter().map(|r| r.length_m * r.weight_n_m).sum::<f64>()
                    + bodies.iter().map(|b| b.weight_n.max(0.0)).sum::<f64>();
                Drawn {
                    depth_m,
                    current,
                    ropes,
                    bodies,
                    joint_n,
                    floats,
                    lift_n: 1.5 * load_n + lift_n,
                    wind: (wind, wind_deg),
                }
            },
        )
}

/// Radians.
fn parts((size, towards_deg): (f64, f64)) -> [f64; 3] {
    let rad = towards_deg.to_radians();
    [size * rad.sin(), size * rad.cos(), 0.0]
}

/// The plan in its own words. The buoy's hull is so wide that it never goes under.
fn plan_text(d: &Drawn) -> String {
    let [(top_m_s, top_deg), (bed_m_s, bed_deg)] = d.current;
    let depth_m = d.depth_m;
    let mut text = head("a drawn line", depth_m, DENSITY_KG_M3);
    let _ = writeln!(
        text,
        "[case.only]\ncurrent = [{{ depth = \"0 m\", speed = \"{top_m_s} m/s\", towards = \"{top_deg} deg\" }}, {{ depth = \"{depth_m} m\", speed = \"{bed_m_s} m/s\", towards = \"{bed_deg} deg\" }}]"
    );
    let last = d.ropes.len() - 1;
    if d.floats {
        let _ = writeln!(
            text,
            "[float.top]\nbuoyancy = \"{} N\"\ncd_a = \"0.2 m2\"",
            d.lift_n
        );
    } else {
        let (speed, deg) = d.wind;
        let _ = writeln!(
            text,
            "wind = {{ speed = \"{speed} m/s\", towards = \"{deg} deg\" }}\n[module.buoy.hull]\nweight = \"100 N\"\nwaterplane = \"{} m2\"\nfull_draught = \"2 m\"\ncd_a_water = \"0.4 m2\"\ncd_a_wind = \"1.5 m2\"",
            1.0 + d.lift_n / 5000.0
        );
    }
    for (i, rope) in d.ropes.iter().enumerate() {
        let from = match (i == last, d.floats) {
            (true, true) => "float.top".to_owned(),
            (true, false) => "module.buoy".to_owned(),
            (false, _) => format!("float.j{i}"),
        };
        let to = if i == 0 {
            "anchor.sinker".to_owned()
        } else {
            format!("float.j{}", i - 1)
        };
        if i < last {
            let _ = writeln!(
                text,
                "[float.j{i}]\nbuoyancy = \"{} N\"\ncd_a = \"0 m2\"",
                d.joint_n
            );
        }
        let _ = writeln!(
            text,
            "[part.rope-{i}]\nis = \"rope\"\ndiameter = \"{} m\"\nweight_in_water = \"{} N/m\"\nstiffness = \"{} N\"\nnormal_drag = 1.2\ntangential_drag = 0.02\n[section.s{i}]\nfrom = \"{from}\"\nto = \"{to}\"\nlength = \"{} m\"\nrope = \"part.rope-{i}\"",
            rope.diameter_m, rope.weight_n_m, rope.stiffness_n, rope.length_m
        );
    }
    for (i, body) in d.bodies.iter().enumerate() {
        let at = format!(
            "position = {{ section = \"section.s{}\", from_anchor = \"{} m\" }}",
            body.section,
            body.share * d.ropes[body.section].length_m
        );
        let cd_a = body.cd_a_m2;
        let _ = if body.module {
            let added = if body.added_m > 0.0 {
                format!(", added_length = \"{} m\"", body.added_m)
            } else {
                String::new()
            };
            writeln!(
                text,
                "[module.m{i}]\n{at}\nhousing = {{ rated_depth = \"500 m\", weight_in_water = \"{} N\", cd_a = \"{cd_a} m2\"{added} }}\n[span.m{i}]\nfrom = \"module.buoy\"\nto = \"module.m{i}\"\nlength = \"2 km\"\nconductor = \"1.0 mm2 class 5\"\ncontacts = {{ mated_pins_in_loop = 4, resistance = \"8 mohm\" }}",
                body.weight_n
            )
        } else if body.weight_n < 0.0 {
            writeln!(
                text,
                "[float.f{i}]\n{at}\nbuoyancy = \"{} N\"\ncd_a = \"{cd_a} m2\"",
                -body.weight_n
            )
        } else {
            writeln!(
                text,
                "[weight.w{i}]\n{at}\nweight_in_water = \"{} N\"\ncd_a = \"{cd_a} m2\"",
                body.weight_n
            )
        };
    }
    text
}

/// Where it begins and ends, its weight a metre, and its rope where it is one.
type Stretch = (f64, f64, f64, Option<usize>);

/// Stretches of one line from the anchor upwards, and bodies: place, weight, drag area.
fn stretches(d: &Drawn) -> (Vec<Stretch>, Vec<(f64, f64, f64)>) {
    let (mut all, mut bodies) = (Vec::new(), Vec::new());
    let mut s_m = 0.0;
    for (i, rope) in d.ropes.iter().enumerate() {
        let mut own: Vec<&BodyDrawn> = d.bodies.iter().filter(|b| b.section == i).collect();
        own.sort_by(|a, b| a.share.total_cmp(&b.share));
        let mut done_m = 0.0;
        for body in own {
            let at_m = body.share * rope.length_m;
            all.push((s_m, s_m + at_m - done_m, rope.weight_n_m, Some(i)));
            s_m += at_m - done_m;
            done_m = at_m;
            if body.added_m > 0.0 {
                all.push((s_m, s_m + body.added_m, body.weight_n / body.added_m, None));
                bodies.push((s_m + 0.5 * body.added_m, 0.0, body.cd_a_m2));
                s_m += body.added_m;
            } else {
                bodies.push((s_m, body.weight_n, body.cd_a_m2));
            }
        }
        all.push((s_m, s_m + rope.length_m - done_m, rope.weight_n_m, Some(i)));
        s_m += rope.length_m - done_m;
        if i + 1 < d.ropes.len() {
            bodies.push((s_m, -d.joint_n, 0.0));
        }
    }
    (all, bodies)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn verif_the_lines_of_drawn_plans_balance(d in drawn()) {
        let text = plan_text(&d);
        let reading = read(&text);
        prop_assert!(!reading.has_errors(), "{:?}\n{text}", reading.mistakes);
        let found = moorings(reading.line.as_ref().unwrap()).unwrap();
        let line = found.lines[0].as_ref().unwrap();
        let case = match &line.shapes[0] {
            Ok(case) => case,
            // What the current pushes under or lifts out is told, and balances nowhere.
            Err(why) => {
                prop_assert!(d.floats, "{why}");
                return Err(TestCaseError::reject("no shape"));
            }
        };
        let shape = &case.shape;
        let depth_m = d.depth_m;
        let [surface, bed] = d.current.map(parts);
        let current = |height_m: f64| -> [f64; 3] {
            let share = ((depth_m - height_m) / depth_m).clamp(0.0, 1.0);
            std::array::from_fn(|i| surface[i] + share * (bed[i] - surface[i]))
        };
        let dot = |a: [f64; 3], b: [f64; 3]| a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
        let bars = matches!(shape.effort, Effort::Bars { .. });
        // Shooting leaves out the bodies on the bed, bars count their drag.
        let touch_m = shape.touch.filter(|_| !bars).map_or(0.0, |touch| touch.s_m);
        let (stretches, bodies) = stretches(&d);

        let mut drag_n = [0.0; 3];
        for pair in shape.points.windows(2) {
            let (a, b) = (&pair[0], &pair[1]);
            // Rope on the bed lies out of the current; a float may lift a stretch of it before the line leaves the bed for good.
            let lies = a.at_m[2] <= 0.0 && b.at_m[2] <= 0.0;
            if b.s_m <= touch_m || lies || a.s_m == b.s_m {
                continue;
            }
            let middle_m = 0.5 * (a.s_m + b.s_m);
            let stretch = stretches.iter().find(|s| middle_m >= s.0 && middle_m < s.1);
            let Some(rope) = stretch.and_then(|s| s.3).map(|i| &d.ropes[i]) else { continue };
            for point in [a, b] {
                let tension_n = point.tension_n();
                let t = point.force_n.map(|f| f / tension_n);
                let v = current(point.at_m[2]);
                let vt = t.map(|x| x * dot(v, t));
                let vn: [f64; 3] = std::array::from_fn(|i| v[i] - vt[i]);
                let (st, sn) = (dot(vt, vt).sqrt(), dot(vn, vn).sqrt());
                let per_m = 0.5 * DENSITY_KG_M3 * rope.diameter_m * (1.0 + tension_n / rope.stiffness_n);
                for part in 0..3 {
                    drag_n[part] += 0.5 * (b.s_m - a.s_m) * per_m
                        * (1.2 * sn * vn[part] + std::f64::consts::PI * 0.02 * st * vt[part]);
                }
            }
        }
        for (s_m, _, cd_a_m2) in &bodies {
            let at = shape.bodies.iter().find(|b| (b.s_m - s_m).abs() < 1e-9).unwrap();
            // At the very touch, too, a body stands in the current.
            if *s_m > touch_m - 1e-9 {
                let v = current(at.at_m[2]);
                let speed = dot(v, v).sqrt();
                for part in 0..3 {
                    drag_n[part] += 0.5 * DENSITY_KG_M3 * cd_a_m2 * speed * v[part];
                }
            }
        }
        // What holds the top: the lift and drag of a float, or wind and water on a hull and what it displaces.
        let top_n: [f64; 3] = if d.floats {
            let v = current(shape.top_m[2]);
            let speed = dot(v, v).sqrt();
            [
                0.5 * DENSITY_KG_M3 * 0.2 * speed * v[0],
                0.5 * DENSITY_KG_M3 * 0.2 * speed * v[1],
                d.lift_n,
            ]
        } else {
            let buoy = case.buoy.unwrap();
            let wet = 0.5 * DENSITY_KG_M3 * 0.4 * buoy.draught_m / 2.0;
            let speed = dot(surface, surface).sqrt();
            let (wind, deg) = d.wind;
            let blown = parts((0.5 * AIR_KG_M3 * 1.5 * wind * wind, deg));
            let displaces = DENSITY_KG_M3 * GRAVITY_M_S2 * (1.0 + d.lift_n / 5000.0) * buoy.draught_m;
            [
                wet * speed * surface[0] + blown[0],
                wet * speed * surface[1] + blown[1],
                displaces - 100.0,
            ]
        };
        let of_drag = if bars { OF_DRAG_BARS } else { OF_DRAG };
        let most_n = of_drag * (1.0 + drag_n[0].abs() + drag_n[1].abs());
        for part in 0..2 {
            let left_n = top_n[part] + drag_n[part] - shape.anchor_n[part];
            prop_assert!(left_n.abs() < most_n, "part {part}: {left_n} N is left of {drag_n:?}");
        }
        // Of a line of bars, and of a body at the very touch, the seabed bears a part that nobody tells.
        let on_edge = bodies.iter().any(|b| (b.0 - touch_m).abs() < 1e-9);
        if d.floats || !(bars || on_edge) {
            let ropes_n: f64 = stretches.iter().map(|s| s.2 * (s.1 - s.0.max(touch_m)).max(0.0)).sum();
            let hung_n: f64 = bodies.iter().filter(|b| b.0 > touch_m || d.floats).map(|b| b.1).sum();
            let left_n = top_n[2] + drag_n[2] - shape.anchor_n[2] - ropes_n - hung_n;
            prop_assert!(
                left_n.abs() < most_n + 1e-6 * (ropes_n + top_n[2].abs()),
                "{left_n} N is left of {ropes_n} N and {hung_n} N under {top_n:?}"
            );
        }
    }
}
