//! Spellings that must be read, and what they must give.

use quantity::{Dimension, LevelKind, parse_amount, parse_level};

#[test]
fn verif_every_listed_unit_and_example_is_read() {
    for dimension in Dimension::ALL {
        for unit in dimension.units() {
            let amount = parse_amount(&format!("1 {unit}"), dimension).unwrap();
            assert_eq!(
                parse_amount(&format!("1{unit}"), dimension).unwrap(),
                amount
            );
        }
        for example in dimension.examples() {
            parse_amount(example, dimension).unwrap();
        }
    }
    for kind in LevelKind::ALL {
        parse_level(kind.example(), kind).unwrap();
        parse_level(&format!("-1.5 {}", kind.unit()), kind).unwrap();
    }
}
