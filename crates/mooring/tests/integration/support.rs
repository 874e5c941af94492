//! Lines of the reference file.

use mooring::{Body, Current, Hanging, Rope, Top, Water};
use serde_json::Value;

/// What the figures of the reference file are held to.
pub(crate) const PLACE_M: f64 = 1e-4;
pub(crate) const FORCE_N: f64 = 1e-3;

pub(crate) fn document() -> Value {
    truth::json("mooring/scipy-lines.json")
}

pub(crate) fn number(value: &Value) -> f64 {
    value.as_f64().expect("a number")
}

pub(crate) fn vector(value: &Value) -> [f64; 3] {
    [number(&value[0]), number(&value[1]), number(&value[2])]
}

pub(crate) fn list(value: &Value) -> &Vec<Value> {
    value.as_array().expect("a list")
}

pub(crate) fn hanging(case: &Value) -> Hanging {
    let points: Vec<(f64, f64, f64)> = list(&case["current"])
        .iter()
        .map(|row| (number(&row[0]), number(&row[1]), number(&row[2])))
        .collect();
    let ropes = list(&case["ropes"])
        .iter()
        .map(|rope| Rope {
            length_m: number(&rope["length"]),
            diameter_m: number(&rope["diameter"]),
            weight_n_m: number(&rope["weight"]),
            stiffness_n: rope["stiffness"].as_f64(),
            normal_drag: number(&rope["normal"]),
            tangential_drag: number(&rope["tangential"]),
        })
        .collect();
    let bodies = list(&case["bodies"])
        .iter()
        .map(|body| Body {
            at_m: number(&body["at"]),
            weight_n: number(&body["weight"]),
            drag_area_m2: number(&body["drag_area"]),
        })
        .collect();
    let top = &case["top"];
    let top = match top["kind"].as_str() {
        Some("float") => Top::Float {
            buoyancy_n: number(&top["buoyancy"]),
            drag_area_m2: number(&top["drag_area"]),
        },
        Some("surface") => Top::Surface {
            force_n: [number(&top["force"][0]), number(&top["force"][1])],
        },
        other => panic!("a top of kind {other:?}"),
    };
    Hanging {
        water: Water {
            depth_m: number(&case["depth"]),
            density_kg_m3: 1025.0,
            current: Current::new(&points).expect("depths that rise"),
        },
        ropes,
        bodies,
        foot_m: 0.0,
        top,
    }
}

pub(crate) fn near(what: &str, ours: [f64; 3], theirs: [f64; 3], tolerance: f64) {
    for (part, (a, b)) in ours.iter().zip(theirs).enumerate() {
        assert!(
            (a - b).abs() <= tolerance,
            "{what}, part {part}: {a} is not {b} within {tolerance}"
        );
    }
}

#[track_caller]
pub(crate) fn close(what: &str, found: f64, expected: f64, share: f64) {
    assert!(
        (found - expected).abs() <= share * expected.abs(),
        "{what}: {found} is not {expected}"
    );
}
