//! Cable heating against an independent program, closed forms, and the line at rest with it.

use power::heating::{Cable, HeatingError, Material, Surroundings, warmth};
use power::{Branch, HotError, Load, LoadKind, Network, NetworkError, Source, WarmSpan, solve_hot};
use serde_json::Value;

/// In water the film's properties are read from a table; everything else is arithmetic.
const WATER_SHARE: f64 = 3e-3;
const SHARE: f64 = 1e-6;
const VOLTAGE_TOLERANCE_V: f64 = 1e-4;

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap()
}

fn material(value: &Value) -> Material {
    match value.as_str().unwrap() {
        "polyethylene" => Material::Polyethylene,
        "pvc" => Material::Pvc,
        "epr" => Material::Epr,
        other => panic!("no material {other}"),
    }
}

fn cable(value: &Value) -> Cable {
    Cable {
        core_m: number(&value["core_m"]),
        insulated_m: number(&value["insulated_m"]),
        under_jacket_m: number(&value["under_jacket_m"]),
        outer_m: number(&value["outer_m"]),
        insulation: material(&value["insulation"]),
        jacket: material(&value["jacket"]),
        loop_20_ohm_per_m: number(&value["loop_20_ohm_per_m"]),
    }
}

fn around(value: &Value) -> Surroundings {
    match value[0].as_str().unwrap() {
        "water" => Surroundings::SeaWater,
        "air" => Surroundings::Air,
        "film" => Surroundings::Film {
            coefficient_w_m2_k: number(&value[1]),
        },
        "sediment" => Surroundings::Sediment {
            buried_m: number(&value[1]),
            resistivity_k_m_per_w: number(&value[2]),
        },
        other => panic!("nothing is known of {other}"),
    }
}

fn twin() -> Cable {
    cable(&truth::json("power/scipy-heating.json")["cables"]["twin"])
}

const SEDIMENT: Surroundings = Surroundings::Sediment {
    buried_m: 0.5,
    resistivity_k_m_per_w: 1.0,
};

#[test]
fn val_temperatures_are_those_of_scipy() {
    let file = truth::json("power/scipy-heating.json");
    let cases = file["cases"].as_array().unwrap();
    assert!(cases.len() > 60);
    for case in cases {
        let ambient_degc = number(&case["ambient_degc"]);
        let ours = warmth(
            &cable(&file["cables"][case["cable"].as_str().unwrap()]),
            around(&case["around"]),
            ambient_degc,
            number(&case["current_a"]),
        )
        .unwrap();
        let share = if case["around"][0] == "water" {
            WATER_SHARE
        } else {
            SHARE
        };
        for (ours_degc, key) in [
            (ours.conductor_degc, "conductor_degc"),
            (ours.surface_degc, "surface_degc"),
        ] {
            let (ours_k, expected_k) =
                (ours_degc - ambient_degc, number(&case[key]) - ambient_degc);
            assert!(
                (ours_k / expected_k - 1.0).abs() <= share,
                "{case}: {ours_k}"
            );
        }
    }
}

/// The table of the methods: 3.13, 10 and 20 A through 4 mm2 in sediment, printed with five digits for ln(4 L / D).
#[test]
fn verif_printed_rises_in_sediment() {
    for (current_a, expected_k) in [(3.13, 0.10160), (10.0, 1.04101), (20.0, 4.21794)] {
        let ours = warmth(&twin(), SEDIMENT, 10.0, current_a).unwrap();
        assert!(
            (ours.conductor_degc - 10.0 - expected_k).abs() <= 2e-4 * expected_k,
            "{ours:?}"
        );
    }
}

/// One conductor's loss instead of both, a known slip, must fail the check that ours passes.
#[test]
fn val_the_loss_of_one_conductor_fails_the_check() {
    let mut half = twin();
    half.loop_20_ohm_per_m *= 0.5;
    let ours = warmth(&half, SEDIMENT, 10.0, 20.0).unwrap();
    assert!((ours.conductor_degc - 10.0) < 0.6 * 4.21794);
}

/// Heat in is heat out, and warmer with every ampere, until it runs away where the closed form says.
#[test]
fn verif_balance_monotony_and_runaway() {
    let cable = twin();
    let layers = 0.14553 + 0.13013;
    let outside = (2.0 * 0.5 / 0.012_f64).acosh() / (2.0 * std::f64::consts::PI);
    let runs_away_a = (1.0 / (cable.loop_20_ohm_per_m * 0.00393 * (layers + outside))).sqrt();
    let mut before_degc = 10.0;
    for step in 1..60 {
        let current_a = 2.0 * f64::from(step);
        for surroundings in [SEDIMENT, Surroundings::SeaWater, Surroundings::Air] {
            match warmth(&cable, surroundings, 10.0, current_a) {
                Ok(at) => {
                    let loss = current_a * current_a * at.loop_ohm_per_m;
                    assert!((at.loss_w_per_m / loss - 1.0).abs() < 1e-9, "{at:?}");
                    let back = warmth(&cable, surroundings, 10.0, -current_a);
                    assert_eq!(back, Ok(at));
                    if surroundings == SEDIMENT {
                        assert!(at.conductor_degc > before_degc);
                        before_degc = at.conductor_degc;
                    }
                }
                Err(HeatingError::Runaway { .. }) if surroundings == SEDIMENT => {
                    assert!(current_a > 0.9999 * runs_away_a);
                }
                Err(
                    HeatingError::TooWarm { .. }
                    | HeatingError::Film { .. }
                    | HeatingError::Runaway { .. },
                ) => {}
                Err(other) => panic!("{other}"),
            }
        }
    }
    let over = warmth(&cable, SEDIMENT, 10.0, 1.0001 * runs_away_a);
    assert!(matches!(over, Err(HeatingError::Runaway { .. })));
    let under = warmth(&cable, SEDIMENT, 10.0, 0.9999 * runs_away_a);
    assert!(matches!(under, Err(HeatingError::TooWarm { .. })));
}

#[test]
fn verif_refusals() {
    let cable = twin();
    assert_eq!(
        warmth(&cable, Surroundings::Drum, 10.0, 1.0),
        Err(HeatingError::OnADrum)
    );
    assert!(matches!(
        warmth(&cable, Surroundings::SeaWater, -3.0, 1.0),
        Err(HeatingError::Film { .. })
    ));
    assert!(matches!(
        warmth(&cable, SEDIMENT, 130.0, 1.0),
        Err(HeatingError::BadValue { .. })
    ));
    assert!(matches!(
        warmth(&cable, SEDIMENT, 10.0, f64::NAN),
        Err(HeatingError::BadValue { .. })
    ));
    let shallow = Surroundings::Sediment {
        buried_m: 0.006,
        resistivity_k_m_per_w: 1.0,
    };
    assert!(matches!(
        warmth(&cable, shallow, 10.0, 1.0),
        Err(HeatingError::BadValue {
            quantity: "buried_m",
            ..
        })
    ));
    let mut inside_out = cable;
    inside_out.insulated_m = 0.5 * cable.core_m;
    assert!(matches!(
        warmth(&inside_out, SEDIMENT, 10.0, 1.0),
        Err(HeatingError::BadValue {
            quantity: "insulated_m",
            ..
        })
    ));
    let still = warmth(&cable, Surroundings::SeaWater, 10.0, 0.0).unwrap();
    assert_eq!(still.conductor_degc, 10.0);
}

fn hot_line() -> (Network, Vec<Option<WarmSpan>>, Value) {
    let file = truth::json("power/scipy-heating.json");
    let line = &file["line"];
    let list = |key: &str| line[key].as_array().unwrap().clone();
    let spans: Vec<Option<WarmSpan>> = list("spans")
        .iter()
        .map(|span| {
            Some(WarmSpan {
                cable: cable(&file["cables"][span["cable"].as_str().unwrap()]),
                surroundings: around(&span["around"]),
                ambient_degc: number(&span["ambient_degc"]),
                length_m: number(&span["length_m"]),
                other_ohm: number(&span["other_ohm"]),
            })
        })
        .collect();
    let network = Network {
        nodes: 4,
        spans: (0..3)
            .map(|i| Branch {
                a: i,
                b: i + 1,
                resistance_ohm: 1.0,
            })
            .collect(),
        sources: vec![Source {
            node: 0,
            voltage_v: number(&line["voltage_v"]),
            resistance_ohm: number(&line["resistance_ohm"]),
            current_limit_a: None,
        }],
        loads: list("powers_w")
            .iter()
            .enumerate()
            .map(|(i, power)| Load {
                node: i + 1,
                kind: LoadKind::Power {
                    power_w: number(power),
                },
            })
            .collect(),
    };
    (network, spans, line.clone())
}

#[test]
fn val_a_line_at_rest_with_its_warmth_is_that_of_scipy() {
    let (network, spans, line) = hot_line();
    let hot = solve_hot(&network, &spans).unwrap();
    assert!(hot.rounds < 20, "{}", hot.rounds);
    for (i, expected) in line["voltages_v"].as_array().unwrap().iter().enumerate() {
        let off_v = (hot.solution.voltages_v[i] - number(expected)).abs();
        assert!(off_v <= VOLTAGE_TOLERANCE_V, "{i}: {off_v} V");
    }
    for (i, expected) in line["conductor_degc"]
        .as_array()
        .unwrap()
        .iter()
        .enumerate()
    {
        let off_k = hot.warmth[i].unwrap().conductor_degc - number(expected);
        assert!(off_k.abs() <= 1e-4, "{i}: {off_k} K");
    }
}

#[test]
fn verif_what_stays_cold_is_the_plain_network_and_too_much_is_refused() {
    let (mut network, spans, _) = hot_line();
    let cold = solve_hot(&network, &[None, None, None]).unwrap();
    assert_eq!(cold.solution, power::solve(&network).unwrap());
    network.loads[2].kind = LoadKind::Power { power_w: 3000.0 };
    assert!(matches!(
        solve_hot(&network, &spans),
        Err(HotError::Round {
            source: NetworkError::CannotCarry { .. },
            ..
        })
    ));
    assert!(matches!(
        solve_hot(&network, &spans[..2]),
        Err(HotError::Network(NetworkError::WrongLength { .. }))
    ));
}

/// The other rows of the same table: a film of 300 W/m2K for water and of 10 W/m2K for air, 10 degC; 10 K in sediment at 30.4 A;
/// in water at 20 A less than 0.6 % of resistance.
#[test]
fn verif_printed_rises_behind_a_film() {
    let rise_k = |around, current_a| {
        let warm = warmth(&twin(), around, 10.0, current_a).unwrap();
        warm.conductor_degc - 10.0
    };
    let film = |coefficient_w_m2_k| Surroundings::Film { coefficient_w_m2_k };
    for (current_a, water_k, air_k) in [
        (3.13, 0.03393, 0.27315),
        (10.0, 0.34677, 2.81713),
        (20.0, 1.39301, 11.67207),
    ] {
        let (ours_water_k, ours_air_k) = (
            rise_k(film(300.0), current_a),
            rise_k(film(10.0), current_a),
        );
        assert!(
            (ours_water_k - water_k).abs() < 1e-5,
            "{current_a} A: {ours_water_k}"
        );
        assert!(
            (ours_air_k - air_k).abs() < 1e-5,
            "{current_a} A: {ours_air_k}"
        );
    }
    assert!((rise_k(SEDIMENT, 30.4) - 10.0).abs() < 0.05);
    let more = 0.00393 * rise_k(Surroundings::SeaWater, 20.0);
    assert!(more > 0.005 && more < 0.0065, "{more}");
}
