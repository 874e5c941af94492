//! Partings, slack and drift alarms: `reference/mooring/scipy-losses.json` and closed forms.

use mooring::{
    Body, Floodable, Floods, Freed, MooringError, Rope, Side, TopFloat, drift_alarm, partings,
    seen_within_m, sigma_of_circle_m, slack_at_surface_m,
};
use proptest::prelude::*;
use serde_json::Value;

use crate::support::{list, number};

const SHARE: f64 = 1e-8;
/// Three standard errors of 20,000 deployments.
const DRAWN: f64 = 0.008;
const DENSITY_KG_M3: f64 = 1025.0;

#[track_caller]
fn close(found: f64, expected: f64) {
    assert!(
        (found - expected).abs() <= SHARE * expected.abs().max(1.0),
        "{found} is not {expected}"
    );
}

fn rope(row: &Value) -> Rope {
    Rope {
        length_m: number(&row[0]) / 1000.0,
        diameter_m: number(&row[1]),
        weight_n_m: number(&row[2]),
        stiffness_n: None,
        normal_drag: 1.2,
        tangential_drag: number(&row[3]),
    }
}

fn hung(row: &Value) -> Floodable {
    Floodable {
        body: Body {
            at_m: number(&row[0]) / 1000.0,
            weight_n: number(&row[1]),
            drag_area_m2: number(&row[2]),
        },
        floods_n: number(&row[3]),
    }
}

fn freed(found: Freed, expected: &Value) {
    close(found.net_n, number(&expected["net_n"]));
    close(found.rises_m_s, number(&expected["rises_m_s"]));
}

#[test]
fn val_partings() {
    let document = truth::json("mooring/scipy-losses.json");
    let cases = list(&document["lines"]);
    assert_eq!(cases.len(), 3);
    for case in cases {
        let ropes: Vec<Rope> = list(&case["ropes"]).iter().map(rope).collect();
        let bodies: Vec<Floodable> = list(&case["bodies"]).iter().map(hung).collect();
        let top = TopFloat {
            buoyancy_n: number(&case["top"][0]),
            drag_area_m2: number(&case["top"][1]),
            floods_n: number(&case["top"][2]),
        };
        let found = partings(&ropes, &bodies, &top, DENSITY_KG_M3).unwrap();
        let expected = list(&case["partings"]);
        assert_eq!(found.len(), expected.len());
        for (ours, theirs) in found.iter().zip(expected) {
            close(ours.at_m * 1000.0, number(&theirs["at_mm"]));
            let below = theirs["side"] == "below";
            assert_eq!(ours.side == Side::JustBelow, below);
            freed(ours.whole, theirs);
            let left: Vec<usize> = list(&theirs["left"])
                .iter()
                .map(|i| number(i) as usize)
                .collect();
            assert_eq!(ours.left, left);
            close(ours.left_n, number(&theirs["left_n"]));
            match (ours.flooded, &theirs["flooded"]) {
                (None, Value::Null) => {}
                (Some((what, then)), flooded) => {
                    let expected = match flooded["what"].as_u64() {
                        Some(index) => Floods::Body(index as usize),
                        None => Floods::Top,
                    };
                    assert_eq!(what, expected);
                    freed(then, flooded);
                }
                other => panic!("{other:?}"),
            }
        }
        for row in list(&case["slacks"]) {
            let slack_m =
                slack_at_surface_m(&ropes, number(&row[0]) / 1e3, number(&row[1]) / 1e3).unwrap();
            close(slack_m, number(&row[2]));
        }
    }
}

/// A float of 100 N on 20 m of rope of 1 N/m with a housing of 30 N at 5 m: just below the housing 55 N come up, just above it 85 N; at 0.5 rho 0.2 m2 that is 0.73 and 0.91 m/s.
#[test]
fn verif_a_parting_by_hand() {
    let ropes = [Rope {
        length_m: 20.0,
        diameter_m: 0.01,
        weight_n_m: 1.0,
        stiffness_n: None,
        normal_drag: 1.2,
        tangential_drag: 0.0,
    }];
    let housing = Floodable {
        body: Body {
            at_m: 5.0,
            weight_n: 30.0,
            drag_area_m2: 0.0,
        },
        floods_n: 60.0,
    };
    let top = TopFloat {
        buoyancy_n: 100.0,
        drag_area_m2: 0.2,
        floods_n: 0.0,
    };
    let found = partings(&ropes, &[housing], &top, DENSITY_KG_M3).unwrap();
    let [_, below, above, at_top] = &found[..] else {
        panic!("{found:?}");
    };
    close(below.whole.net_n, 55.0);
    close(below.whole.rises_m_s, (55.0 / 102.5_f64).sqrt());
    let (what, then) = below.flooded.unwrap();
    assert_eq!(what, Floods::Body(0));
    close(then.net_n, -5.0);
    close(then.rises_m_s, -(5.0 / 102.5_f64).sqrt());
    close(above.whole.net_n, 85.0);
    assert_eq!((above.flooded, &above.left[..]), (None, &[0][..]));
    close(above.left_n, 35.0);
    close(at_top.whole.net_n, 100.0);
    // All that floats, floats: nothing holds a rope of 1 N/m up.
    assert_eq!(slack_at_surface_m(&ropes, 10.0, f64::INFINITY), Ok(0.0));
}

#[test]
fn verif_lines_that_cannot_be_are_refused() {
    let line = Rope {
        length_m: 20.0,
        diameter_m: 0.0,
        weight_n_m: 1.0,
        stiffness_n: None,
        normal_drag: 1.2,
        tangential_drag: 0.0,
    };
    let top = TopFloat {
        buoyancy_n: 100.0,
        drag_area_m2: 0.0,
        floods_n: 0.0,
    };
    let no_drag = partings(&[line], &[], &top, DENSITY_KG_M3).unwrap_err();
    assert!(matches!(no_drag, MooringError::NotPositive { .. }));
    let top = TopFloat {
        drag_area_m2: 0.1,
        ..top
    };
    partings(&[line], &[], &top, 0.0).unwrap_err();
    let none = partings(&[], &[], &top, DENSITY_KG_M3).unwrap_err();
    assert_eq!(none, MooringError::NoRope);
    let off = Floodable {
        body: Body {
            at_m: 20.5,
            weight_n: 1.0,
            drag_area_m2: 0.0,
        },
        floods_n: 0.0,
    };
    let off = partings(&[line], &[off], &top, DENSITY_KG_M3).unwrap_err();
    assert!(matches!(off, MooringError::BodyOffLine { .. }));
    slack_at_surface_m(&[line], 0.0, 1.0).unwrap_err();
    slack_at_surface_m(&[line], 1.0, f64::NAN).unwrap_err();
}

#[test]
fn val_drift_alarms() {
    let document = truth::json("mooring/scipy-losses.json");
    let alarms = list(&document["drift"]["alarms"]);
    assert_eq!(alarms.len(), 4);
    for case in alarms {
        let of = |key: &str| number(&case[key]);
        let fixes = of("fixes") as u32;
        let alarm = drift_alarm(
            of("circle_m"),
            of("fix_m"),
            of("place_m"),
            fixes,
            of("chance"),
        );
        let alarm = alarm.unwrap();
        close(alarm.radius_m, of("radius_m"));
        close(alarm.watch_circle_m + alarm.error_m, alarm.radius_m);
        // A place that is wrong once for all fixes makes fewer false alarms than claimed, never more.
        if let Some(drawn) = case["drawn_false"].as_f64() {
            assert!(drawn < of("chance") + DRAWN, "{case}");
            assert!(
                of("place_m") > 0.0 || drawn > of("chance") - DRAWN,
                "{case}"
            );
        }
    }
    let circles = list(&document["drift"]["circles"]);
    assert_eq!(circles.len(), 3);
    for row in circles {
        let sigma_m = sigma_of_circle_m(number(&row[0]), number(&row[1])).unwrap();
        close(sigma_m, number(&row[2]));
    }
}

/// The circular error probable is 1.1774 standard deviations (sqrt(2 ln 2)); one fix and 5 % give sqrt(-2 ln 0.05) = 2.4477.
#[test]
fn verif_rayleigh_by_hand() {
    close(
        1.0 / sigma_of_circle_m(1.0, 0.5).unwrap(),
        (2.0 * 2f64.ln()).sqrt(),
    );
    let alarm = drift_alarm(40.0, 3.0, 4.0, 1, 0.05).unwrap();
    assert!((alarm.error_m - 5.0 * 2.4477).abs() < 1e-3);
    assert!((alarm.each - 0.05).abs() < 1e-15);
    drift_alarm(40.0, 3.0, 4.0, 0, 0.05).unwrap_err();
    drift_alarm(-1.0, 3.0, 4.0, 1, 0.05).unwrap_err();
    let share = drift_alarm(40.0, 3.0, 4.0, 1, 1.0).unwrap_err();
    assert!(matches!(share, MooringError::NotAShare { .. }));
    sigma_of_circle_m(1.0, 0.0).unwrap_err();
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(64) })]

    /// What comes up and what stays down are together the whole line.
    #[test]
    fn verif_upper_and_lower_are_the_whole(
        weights in prop::collection::vec((1.0..50.0_f64, -2.0..2.0_f64), 1..5),
        bodies in prop::collection::vec((0.0..1.0_f64, -200.0..200.0_f64), 0..6),
        buoyancy_n in 0.0..500.0_f64,
    ) {
        let ropes: Vec<Rope> = weights
            .iter()
            .map(|&(length_m, weight_n_m)| Rope { length_m, diameter_m: 0.01, weight_n_m, stiffness_n: None, normal_drag: 1.2, tangential_drag: 0.01 })
            .collect();
        let length_m: f64 = weights.iter().map(|w| w.0).sum();
        let hung: Vec<Floodable> = bodies
            .iter()
            .map(|&(at, weight_n)| Floodable { body: Body { at_m: at * length_m, weight_n, drag_area_m2: 0.01 }, floods_n: 10.0 })
            .collect();
        let top = TopFloat { buoyancy_n, drag_area_m2: 0.1, floods_n: 0.0 };
        let whole_n = buoyancy_n
            - weights.iter().map(|w| w.0 * w.1).sum::<f64>()
            - bodies.iter().map(|b| b.1).sum::<f64>();
        for parting in partings(&ropes, &hung, &top, DENSITY_KG_M3).unwrap() {
            prop_assert!((parting.whole.net_n - parting.left_n - whole_n).abs() < 1e-9);
            prop_assert!(parting.whole.rises_m_s * parting.whole.net_n >= 0.0);
            if let Some((_, flooded)) = parting.flooded {
                prop_assert!(flooded.rises_m_s < parting.whole.rises_m_s);
            }
        }
    }
}

#[test]
fn val_how_far_from_its_place_a_buoy_is_seen() {
    let document = truth::json("mooring/scipy-station.json");
    let cases = list(&document["cases"]);
    assert_eq!(cases.len(), 5);
    for case in cases {
        let of = |key: &str| number(&case[key]);
        let sigma = |key: &str| sigma_of_circle_m(of(key), 0.95).unwrap();
        let seen = seen_within_m(
            of("circle_m"),
            sigma("fix_m"),
            sigma("laying_m"),
            of("share"),
        );
        close(seen.unwrap(), of("seen_m"));
        // All of the error outwards never holds less than any way does.
        if of("limit_m") >= of("seen_m") {
            assert!(of("within_at_rim") >= of("share"), "{case}");
        }
    }
    assert!(seen_within_m(10.0, 1.0, 1.0, 1.0).is_err());
}
