//! Arithmetic of routines against Python's (`reference/make/routine_arithmetic.py`).

use serde_json::Value;

use crate::support::logged;

const REFERENCE: &str = include_str!("../../../../reference/routine/python-arithmetic.json");

fn cases(key: &str) -> Vec<(String, Value)> {
    let all: Value = serde_json::from_str(REFERENCE).unwrap();
    let list = all[key].as_array().unwrap().clone();
    assert!(list.len() > 5);
    list.into_iter()
        .map(|c| {
            let value = c.get("value").or(c.get("bits")).unwrap();
            (c["text"].as_str().unwrap().to_owned(), value.clone())
        })
        .collect()
}

fn bits(value: &Value) -> u64 {
    u64::from_str_radix(value.as_str().unwrap(), 16).unwrap()
}

#[test]
fn val_whole_numbers_are_those_of_python() {
    for (text, value) in cases("whole") {
        let ours = logged(&format!("log(({text}).to_string());"));
        assert_eq!(ours, value.to_string(), "{text}");
    }
}

#[test]
fn val_decimal_numbers_are_those_of_python() {
    for (text, value) in cases("decimal") {
        let ours: f64 = logged(&format!("log(({text}).to_string());"))
            .parse()
            .unwrap();
        assert_eq!(ours.to_bits(), bits(&value), "{text}");
    }
}

#[test]
fn val_functions_are_within_two_units_in_the_last_place_of_python() {
    for (text, value) in cases("near") {
        let ours: f64 = logged(&format!("log(({text}).to_string());"))
            .parse()
            .unwrap();
        let apart = (ours.to_bits() as i64).abs_diff(bits(&value) as i64);
        assert!(apart <= 2, "{text}: {ours}, {apart} units apart");
    }
}
