//! Checks against reference files made by other programs from published lists.

use quantity::{Dimension, parse_amount, parse_money};

/// One or two roundings of an f64 operation on either side.
const RELATIVE_ROUNDING: f64 = 4e-16;
/// scipy goes from Fahrenheit to Celsius by way of kelvin, where an f64 step is 6e-14.
const KELVIN_ROUNDING_DEGC: f64 = 1.2e-13;

fn rows(name: &str) -> Vec<Vec<String>> {
    let rows = truth::rows(&format!("quantity/{name}"));
    assert!(rows.len() > 30, "{name} is cut short");
    rows
}

#[test]
fn val_conversions_agree_with_scipy_constants() {
    for row in rows("scipy-conversions.csv") {
        let [dimension, text, si] = &row[..] else {
            panic!("three columns: {row:?}")
        };
        let dimension = Dimension::ALL
            .into_iter()
            .find(|known| known.name() == dimension)
            .unwrap();
        let expected: f64 = si.parse().unwrap();
        let found = parse_amount(text, dimension).unwrap().si;
        let tolerance = if dimension == Dimension::Temperature {
            KELVIN_ROUNDING_DEGC
        } else {
            RELATIVE_ROUNDING * expected.abs()
        };
        assert!(
            (found - expected).abs() <= tolerance,
            "{text}: {found} is not {expected}"
        );
    }
}

#[test]
fn val_currency_decimals_agree_with_iso_4217_list_one() {
    let rows = rows("iso4217-decimals.csv");
    for row in &rows {
        let decimals: usize = row[1].parse().unwrap();
        let code = &row[0];
        let money = parse_money(&format!("7 {code}")).unwrap();
        assert_eq!(
            money.minor,
            7 * 10_i64.pow(row[1].parse().unwrap()),
            "{code}"
        );
        assert_eq!(money.currency, code.as_bytes());
        let too_fine = format!("7.{} {code}", "0".repeat(decimals + 1));
        parse_money(&too_fine).unwrap_err();
    }
    let letters = || (b'A'..=b'Z').map(char::from);
    let accepted = letters()
        .flat_map(|a| letters().flat_map(move |b| letters().map(move |c| format!("1 {a}{b}{c}"))))
        .filter(|text| parse_money(text).is_ok())
        .count();
    assert_eq!(accepted, rows.len());
}
