//! What lies on the seabed, and what hangs where a line comes down upon it.

use mooring::{Body, Hanging, Top, hang};

use crate::closed::{rope, water};

/// What lies on the seabed is borne by it: the rope below a clump has no more than the level pull, and above it what the float lifts less what hangs between. In the bed's place
/// the clump's weight would pull at the rope with kilonewtons.
#[test]
fn verif_the_seabed_bears_what_lies_on_it() {
    for speed_m_s in [0.0, 0.4] {
        let line = Hanging {
            water: water(60.0, speed_m_s),
            ropes: vec![rope(80.0, 0.012, 3.0, 6e5, 0.02)],
            bodies: vec![Body {
                at_m: 30.0,
                weight_n: 9000.0,
                drag_area_m2: 0.0,
            }],
            foot_m: 0.0,
            top: Top::Float {
                buoyancy_n: 600.0,
                drag_area_m2: 0.1,
            },
        };
        let shape = hang(&line).unwrap();
        let clump = &shape.bodies[0];
        assert!(clump.at_m[2].abs() < 1e-3, "{:?}", clump.at_m);
        let level_n = clump.above_n[0].hypot(clump.above_n[1]);
        let below_n = clump.below_n.iter().map(|n| n * n).sum::<f64>().sqrt();
        assert!(
            below_n <= level_n + 1e-3,
            "{below_n} N below, {level_n} N along"
        );
        for point in shape.points.iter().filter(|p| p.s_m <= 30.0) {
            assert!(point.tension_n() <= 600.0 + 1e-6, "{point:?}");
        }
        if speed_m_s == 0.0 {
            assert!((clump.above_n[2] - (600.0 - 50.0 * 3.0)).abs() < 1e-3);
        }
    }
}

/// What hangs just where a line becomes level is told, by whatever sum of weights it becomes so.
#[test]
fn verif_what_hangs_where_the_line_becomes_level_is_told() {
    for (buoyancy_n, speed_m_s) in [(36.0, 0.0), (35.9, 0.0), (36.1, 0.0), (36.0, 0.5)] {
        let body = |at_m| Body {
            at_m,
            weight_n: 8.0,
            drag_area_m2: 0.0,
        };
        let line = Hanging {
            water: water(120.0, speed_m_s),
            ropes: vec![rope(100.0, 0.012, 0.35, 6e5, 0.02)],
            bodies: vec![body(20.0), body(70.0)],
            foot_m: 0.0,
            top: Top::Float {
                buoyancy_n,
                drag_area_m2: 0.0,
            },
        };
        let shape = hang(&line).unwrap();
        assert_eq!(shape.bodies.len(), 2, "{buoyancy_n} N in {speed_m_s} m/s");
        assert_eq!(shape.bodies[0].s_m, 20.0);
        assert_eq!(shape.bodies[1].s_m, 70.0);
    }
}
