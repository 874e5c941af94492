//! Properties that hold for every text and every number.

use proptest::prelude::*;
use quantity::{
    Dimension, Fault, LevelKind, nearest, parse_amount, parse_conductor, parse_event_rate,
    parse_level, parse_money, parse_share, show,
};

/// Texts of any characters, and texts made of the parts of the grammar in any order.
fn texts() -> impl Strategy<Value = String> {
    let part = prop::sample::select(vec![
        "1",
        "-",
        "\u{2212}",
        "+",
        ".",
        ",",
        "e",
        "E5",
        " ",
        "\u{a0}",
        "\u{3000}",
        "±",
        "+/-",
        "%",
        "dB",
        "re",
        "uPa",
        "µ",
        "Ω",
        "°C",
        "²",
        "√",
        "class",
        "mm2",
        "AWG",
        "/0",
        "EUR",
        "per",
        "h",
        "uniform",
        "points",
        "of the value",
        "inf",
        "999999999999",
        "W",
        "kg",
        "\u{301}",
        "\u{1f41f}",
    ]);
    prop_oneof![
        any::<String>(),
        prop::collection::vec(part, 0..12).prop_map(|parts| parts.concat()),
    ]
}

fn check_place(text: &str, fault: &Fault) {
    assert!(
        text.get(fault.range.clone()).is_some(),
        "{fault:?} of {text:?}"
    );
    assert!(!fault.to_string().is_empty());
    assert_ne!(fault.help(), Some(String::new()));
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn verif_no_text_makes_a_parser_panic(text in texts()) {
        for dimension in Dimension::ALL {
            match parse_amount(&text, dimension) {
                Ok(amount) => prop_assert!(amount.si.is_finite()),
                Err(fault) => check_place(&text, &fault),
            }
        }
        for kind in LevelKind::ALL {
            match parse_level(&text, kind) {
                Ok(level) => prop_assert!(level.db.is_finite()),
                Err(fault) => check_place(&text, &fault),
            }
        }
        for fault in [
            parse_conductor(&text).err(),
            parse_money(&text).err(),
            parse_event_rate(&text).err(),
            parse_share(&text).err(),
        ].into_iter().flatten() {
            check_place(&text, &fault);
        }
        let _ = nearest(&text, ["length", "depth"]);
    }

    #[test]
    fn verif_shown_values_read_back_to_four_digits(
        mantissa in 1.0_f64..10.0,
        exponent in -15_i32..15,
        negative: bool,
        at in 0..Dimension::ALL.len(),
    ) {
        let dimension = Dimension::ALL[at];
        let size: f64 = format!("{mantissa}e{exponent}").parse().unwrap();
        let si = if negative { -size } else { size };
        let shown = show(si, dimension);
        let back = parse_amount(&shown, dimension).unwrap().si;
        prop_assert!((back - si).abs() <= 5.01e-4 * si.abs(), "{si} is shown as {shown}");
        prop_assert_eq!(show(back, dimension), shown);
    }

    #[test]
    fn verif_money_reads_back_exactly(minor: i64, code in prop::sample::select(vec!["EUR", "JPY", "KWD"])) {
        let currency = code.as_bytes().try_into().unwrap();
        let money = quantity::Money { minor, currency };
        prop_assert_eq!(parse_money(&money.to_string()).unwrap(), money);
    }

    #[test]
    fn verif_numbers_are_read_as_the_language_reads_them(si in any::<f64>()) {
        prop_assume!(si.is_finite());
        prop_assert_eq!(parse_amount(&format!("{si:e} V"), Dimension::Voltage).unwrap().si, si);
        prop_assert_eq!(parse_amount(&format!("{si} V"), Dimension::Voltage).unwrap().si, si);
    }

    #[test]
    fn verif_one_slip_in_a_word_finds_it(at in 0_usize..8, slip in 0..4) {
        let known = ["conductor", "contacts", "length", "position"];
        let mut letters: Vec<char> = "conductor".chars().collect();
        match slip {
            0 => { letters.remove(at); }
            1 => letters.insert(at, 'x'),
            2 => letters[at] = 'x',
            _ => letters.swap(at, at + 1),
        }
        let word: String = letters.into_iter().collect();
        prop_assert_eq!(nearest(&word, known), Some("conductor"));
    }
}
