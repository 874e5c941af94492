//! Lines between fixed ends in still water against closed forms.

use mooring::{Current, Effort, Hanging, Rope, Top, Water, hang, hang_by_bars};

use crate::support::{FORCE_N, document, list, near, number};

const FOOT_M: f64 = 200.0;

/// Closed forms of reference/mooring/scipy-lines.json. The lower end is held high above the seabed.
#[test]
fn val_catenaries_between_fixed_ends() {
    for case in list(&document()["catenaries"]) {
        let name = case["name"].as_str().unwrap();
        let line = Hanging {
            water: Water {
                depth_m: 300.0,
                density_kg_m3: 1025.0,
                current: Current::none(),
            },
            ropes: vec![Rope {
                length_m: number(&case["length"]),
                diameter_m: 0.01,
                weight_n_m: number(&case["weight"]),
                stiffness_n: case["stiffness"].as_f64(),
                normal_drag: 1.2,
                tangential_drag: 0.01,
            }],
            bodies: vec![],
            foot_m: FOOT_M,
            top: Top::Fixed {
                at_m: [number(&case["across"]), 0.0, FOOT_M + number(&case["rise"])],
            },
        };
        let shape = hang(&line).unwrap();
        assert!(
            matches!(shape.effort, Effort::Shooting { .. }),
            "{name}: {:?}",
            shape.effort
        );
        assert!(shape.residual_m < 1e-6, "{name}");
        let (level_n, bottom_n, top_n) = (
            number(&case["level_n"]),
            number(&case["bottom_n"]),
            number(&case["top_n"]),
        );
        near(name, shape.top_n, [level_n, 0.0, top_n], FORCE_N);
        near(name, shape.anchor_n, [level_n, 0.0, bottom_n], FORCE_N);
        let bars = hang_by_bars(&line, 400).unwrap();
        // Bars stretch a line that does not by 1e-5 of its greatest load, which slackens a line with little slack by half that share of its slack.
        let strain = case["stiffness"].as_f64().map_or(1e-5, |_| 0.0);
        let chord_m = number(&case["across"]).hypot(number(&case["rise"]));
        let slack = number(&case["length"]) / chord_m - 1.0;
        let allowed = 1e-3
            + 0.6 * strain * level_n
                / (number(&case["weight"]) * number(&case["length"]))
                / slack.abs();
        assert!(
            (bars.top_n[0] / level_n - 1.0).abs() < allowed,
            "{name}: {level_n} {}",
            bars.top_n[0]
        );
    }
}
