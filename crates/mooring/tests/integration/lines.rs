//! Lines under a float and a buoy against SciPy's DOP853 and brentq.

use mooring::{Effort, hang, hold};

use crate::support::{FORCE_N, PLACE_M, document, hanging, list, near, number, vector};

/// reference/mooring/scipy-lines.json: named lines (the first six) and drawn ones.
#[test]
fn val_lines_are_those_of_another_integrator() {
    for entry in list(&document()["lines"]) {
        let (case, found) = (&entry["case"], &entry["found"]);
        let name = case["name"].as_str().unwrap();
        let line = hanging(case);
        let shape = hang(&line).unwrap_or_else(|error| panic!("{name}: {error}"));
        assert!(
            matches!(shape.effort, Effort::Shooting { .. }),
            "{name}: {:?}",
            shape.effort
        );
        near(
            &format!("{name}, top"),
            shape.top_m,
            vector(&found["top"]),
            PLACE_M,
        );
        near(
            &format!("{name}, pull at the top"),
            shape.top_n,
            vector(&found["top_n"]),
            FORCE_N,
        );
        near(
            &format!("{name}, pull at the anchor"),
            shape.anchor_n,
            vector(&found["anchor_n"]),
            FORCE_N,
        );
        match (shape.touch, found["touch"].as_f64()) {
            (Some(ours), Some(theirs)) => {
                // Where the line leaves the bed is where its pull becomes level: with little weight a force of 1e-6 N is 1e-5 m.
                assert!(
                    (ours.s_m - theirs).abs() < PLACE_M,
                    "{name}: {} {theirs}",
                    ours.s_m
                );
            }
            (ours, theirs) => assert_eq!(ours.is_some(), theirs.is_some(), "{name}"),
        }
        for theirs in list(&found["bodies"]) {
            let s_m = number(&theirs["s"]);
            let ours = shape
                .bodies
                .iter()
                .find(|body| (body.s_m - s_m).abs() < 1e-9)
                .unwrap_or_else(|| panic!("{name}: no body at {s_m} m"));
            near(
                &format!("{name}, body at {s_m} m"),
                ours.at_m,
                vector(&theirs["r"]),
                PLACE_M,
            );
            near(
                &format!("{name}, above {s_m} m"),
                ours.above_n,
                vector(&theirs["above"]),
                FORCE_N,
            );
            near(
                &format!("{name}, below {s_m} m"),
                ours.below_n,
                vector(&theirs["below"]),
                FORCE_N,
            );
        }
    }
}

/// Known wrong conventions on the second named line must show (their figures: SciPy, in the method page's table).
#[test]
fn val_wrong_conventions_do_not_pass() {
    let entry = &document()["lines"][1];
    let line = hanging(&entry["case"]);
    let right = vector(&entry["found"]["top"]);
    let wrong = |change: fn(&mut mooring::Hanging)| {
        let mut line = line.clone();
        change(&mut line);
        let top_m = hang(&line).unwrap().top_m;
        (top_m[0], top_m[2], top_m)
    };
    // Tangential drag on the diameter instead of the wetted area moves the top by 5.5e-5 m only, but the pull at the anchor by 0.026 N.
    let mut without_pi = line.clone();
    without_pi.ropes[0].tangential_drag /= std::f64::consts::PI;
    let pull = hang(&without_pi).unwrap();
    let size = |v: [f64; 3]| (v[0] * v[0] + v[1] * v[1] + v[2] * v[2]).sqrt();
    assert!(
        (size(pull.anchor_n) - 939.1141).abs() < 1e-3,
        "{}",
        size(pull.anchor_n)
    );
    let (x, z, top_m) = wrong(|line| line.ropes[0].stiffness_n = None);
    assert!(
        (x - 13.00515).abs() < 1e-4 && (z - 94.01976).abs() < 1e-4,
        "{top_m:?}"
    );
    assert!((z - right[2]).abs() > 100.0 * PLACE_M);
    let (x, _, top_m) = wrong(|line| line.water.density_kg_m3 = 1000.0);
    assert!((x - 12.77326).abs() < 1e-4, "{top_m:?}");
    let (x, z, top_m) = wrong(|line| line.ropes[0].normal_drag = 1.6);
    assert!(
        (x - 15.32009).abs() < 1e-4 && (z - 93.74639).abs() < 1e-4,
        "{top_m:?}"
    );
    let (x, z, top_m) = wrong(|line| line.water.current = line.water.current.scaled(2.0));
    assert!(
        (x - 37.98262).abs() < 1e-4 && (z - 86.42594).abs() < 1e-4,
        "{top_m:?}"
    );
}

/// Nothing is found twice as dear as it was: bounds on the effort of the second named line.
#[test]
fn regress_effort() {
    let line = hanging(&document()["lines"][1]["case"]);
    let Effort::Shooting {
        descents,
        evaluations,
    } = hang(&line).unwrap().effort
    else {
        panic!("shooting finds it");
    };
    assert!(
        descents <= 12 && evaluations <= 6000,
        "{descents} {evaluations}"
    );
}

/// A line pulls at its top as its shape does, bit by bit: whoever needs the pull alone leaves the shape undrawn.
#[test]
fn verif_a_pull_is_that_of_the_shape() {
    for entry in list(&document()["lines"]) {
        let line = hanging(&entry["case"]);
        let shape = hang(&line).unwrap();
        let held = hold(&line).unwrap();
        assert_eq!(held.top_n(), shape.top_n);
        let drawn = hold(&line).unwrap().drawn().unwrap();
        assert_eq!(drawn.top_n(), shape.top_n);
        assert_eq!(drawn.shape().unwrap(), shape);
        assert_eq!(held.shape().unwrap(), shape);
    }
}
