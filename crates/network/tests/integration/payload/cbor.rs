//! CBOR items and records.

use network::{
    CborError, CborItem, RecordError, Value, cbor_decode, cbor_encode, record_from_cbor,
    record_to_cbor,
};
use proptest::prelude::*;

use super::{BARE, EPOCH_NS, alert, bytes, hex};

fn from_json(value: &serde_json::Value, text: &str) -> CborItem {
    match value {
        serde_json::Value::Null => CborItem::Null,
        serde_json::Value::Bool(yes) => CborItem::Bool(*yes),
        // The text itself: serde_json rounds numbers of many digits another way than the standard library.
        serde_json::Value::Number(number) => match (text.parse(), text.parse(), number.as_i64()) {
            (Ok(whole), _, _) => CborItem::Whole(whole),
            (_, Ok(float), _) => CborItem::Float(float),
            (_, _, Some(whole)) => CborItem::Whole(whole.into()),
            _ => CborItem::Float(number.as_f64().unwrap()),
        },
        serde_json::Value::String(text) => CborItem::Text(text.clone()),
        serde_json::Value::Array(items) => {
            CborItem::List(items.iter().map(|i| from_json(i, "")).collect())
        }
        // The maps of the file are in the order of their text; serde_json sorts them, see `in_order`.
        serde_json::Value::Object(map) => CborItem::Map(
            map.iter()
                .map(|(k, v)| (CborItem::Text(k.clone()), from_json(v, "")))
                .collect(),
        ),
    }
}

/// Keys of maps in alphabetical order, as `serde_json` has them.
fn in_order(item: CborItem) -> CborItem {
    match item {
        CborItem::Map(mut pairs) => {
            pairs.sort_by_key(|(key, _)| format!("{key:?}"));
            CborItem::Map(pairs)
        }
        other => other,
    }
}

#[test]
fn val_items_are_those_of_rfc_8949_and_of_cbor2() {
    for row in truth::rows("network/cbor2-items.csv") {
        let text = row[1].replace(';', ",");
        let expected = from_json(&serde_json::from_str(&text).unwrap(), &text);
        let read = cbor_decode(&bytes(&row[0])).unwrap();
        assert_eq!(in_order(read.clone()), in_order(expected), "{text}");
        assert_eq!(hex(&cbor_encode(&read).unwrap()), row[0], "{text}");
    }
}

/// RFC 8949, appendix A: what JSON cannot say, and what is only read.
#[test]
fn val_items_without_a_json_form() {
    for (item, text) in [
        (
            CborItem::Tagged(1, Box::new(CborItem::Whole(1_363_896_240))),
            "c11a514b67b0",
        ),
        (
            CborItem::Tagged(1, Box::new(CborItem::Float(1_363_896_240.5))),
            "c1fb41d452d9ec200000",
        ),
        (CborItem::Bytes(vec![1, 2, 3, 4]), "4401020304"),
        (
            CborItem::Map(vec![
                (CborItem::Whole(1), CborItem::Whole(2)),
                (CborItem::Whole(3), CborItem::Whole(4)),
            ]),
            "a201020304",
        ),
        (CborItem::Float(f64::INFINITY), "f97c00"),
        (CborItem::Float(f64::NEG_INFINITY), "f9fc00"),
    ] {
        assert_eq!(hex(&cbor_encode(&item).unwrap()), text);
        assert_eq!(cbor_decode(&bytes(text)), Ok(item));
    }
    assert_eq!(
        hex(&cbor_encode(&CborItem::Float(f64::NAN)).unwrap()),
        "f97e00"
    );
    for (indefinite, definite) in [
        ("9f018202039f0405ffff", "8301820203820405"),
        ("7f657374726561646d696e67ff", "6973747265616d696e67"),
        ("5f42010243030405ff", "450102030405"),
        ("bf61610161629f0203ffff", "a26161016162820203"),
        ("fb3ff8000000000000", "f93e00"),
        ("1900ff", "18ff"),
    ] {
        let read = cbor_decode(&bytes(indefinite)).unwrap();
        assert_eq!(hex(&cbor_encode(&read).unwrap()), definite);
    }
}

#[test]
fn verif_what_is_no_item_is_refused() {
    // Cut short, reserved heads, breaks in the wrong place, half a pair, text that is no UTF-8, lengths beyond all memory.
    for text in [
        "",
        "18",
        "19ff",
        "1c",
        "5f",
        "ff",
        "81ff",
        "a1",
        "bf01ff",
        "61ff",
        "9f01",
        "82 01",
        "9bffffffffffffffff01",
        "bbffffffffffffffff",
        "7bffffffffffffffff61",
        "5bffffffffffffffff",
        "c1",
        "7f4101ff",
    ] {
        let read = cbor_decode(&bytes(&text.replace(' ', "")));
        assert!(
            matches!(read, Err(CborError::Malformed { .. })),
            "{text}: {read:?}"
        );
    }
    for text in ["f7", "f0", "f8ff"] {
        assert_eq!(
            cbor_decode(&bytes(text)),
            Err(CborError::Simple { at_byte: 0 })
        );
    }
    assert_eq!(
        cbor_decode(&[0, 0, 0]),
        Err(CborError::Behind {
            at_byte: 1,
            bytes: 2
        })
    );
    assert!(matches!(
        cbor_decode(&[0x81; 100_000]),
        Err(CborError::TooDeep {
            at_byte: 33,
            limit: 32
        })
    ));
    let value = 1i128 << 64;
    assert_eq!(
        cbor_encode(&CborItem::Whole(value)),
        Err(CborError::Beyond { value })
    );
}

fn record() -> [Value; 6] {
    [
        Value::Time(1_767_225_615_000_000_000),
        Value::Choice(2),
        Value::Number(121.3),
        Value::Number(217.0),
        Value::Number(47.26),
        Value::Flag(false),
    ]
}

/// The record of the reference file, but that an instant has its tag (RFC 8949, 3.4.2): one byte more.
#[test]
fn val_a_record_is_the_map_that_cbor2_makes() {
    let written = record_to_cbor(&alert(BARE), &record()).unwrap();
    let rows = truth::rows("network/cbor2-items.csv");
    let row = rows
        .iter()
        .find(|r| r[1].starts_with("{\"time\":1767225615"))
        .unwrap();
    assert_eq!(
        hex(&written).replacen("c11a6955b90f", "1a6955b90f", 1),
        row[0]
    );
    assert_eq!(record_from_cbor(&alert(BARE), &written).unwrap(), record());
}

#[test]
fn verif_what_is_no_record_is_refused() {
    let layout = alert(BARE);
    let CborItem::Map(good) = cbor_decode(&record_to_cbor(&layout, &record()).unwrap()).unwrap()
    else {
        panic!("a record is a map");
    };
    let read = |pairs: Vec<(CborItem, CborItem)>| {
        record_from_cbor(&layout, &cbor_encode(&CborItem::Map(pairs)).unwrap())
    };
    let mut other_order = good.clone();
    other_order.reverse();
    assert_eq!(read(other_order).unwrap(), record());
    assert_eq!(
        read(good[1..].to_vec()),
        Err(RecordError::Missing {
            field: "time".to_owned()
        })
    );
    let twice = [&good[..], &good[..1]].concat();
    assert_eq!(
        read(twice),
        Err(RecordError::Twice {
            field: "time".to_owned()
        })
    );
    let key = CborItem::Text("colour".to_owned());
    let more = [&good[..], &[(key.clone(), CborItem::Null)]].concat();
    assert_eq!(read(more), Err(RecordError::Unknown { key }));
    for (number, item) in [
        (0, CborItem::Whole(5)),
        (
            0,
            CborItem::Tagged(1, Box::new(CborItem::Float(f64::INFINITY))),
        ),
        (0, CborItem::Tagged(1, Box::new(CborItem::Whole(1 << 60)))),
        (1, CborItem::Text("kettle".to_owned())),
        (2, CborItem::Float(f64::NAN)),
        (2, CborItem::Bool(true)),
        (5, CborItem::Null),
    ] {
        let mut wrong = good.clone();
        wrong[number].1 = item;
        assert!(
            matches!(read(wrong), Err(RecordError::Kind { .. })),
            "{number}"
        );
    }
    assert_eq!(record_from_cbor(&layout, &[0x80]), Err(RecordError::NoMap));
}

proptest! {
    #[test]
    fn verif_any_bytes_are_an_item_or_an_error(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
        if let Ok(item) = cbor_decode(&bytes) {
            let written = cbor_encode(&item).unwrap();
            prop_assert!(written.len() <= bytes.len());
            let again = cbor_decode(&written).unwrap();
            prop_assert_eq!(format!("{again:?}"), format!("{item:?}"));
        }
        let _ = record_from_cbor(&alert(BARE), &bytes);
    }

    #[test]
    fn verif_a_float_is_written_exactly(bits in any::<u64>(), single in any::<u32>(), few in -70_000i32..70_000, down in 0..30) {
        let values = [f64::from_bits(bits), f64::from(f32::from_bits(single)), f64::from(few) / f64::from(1 << down)];
        for value in values.into_iter().filter(|v| !v.is_nan()) {
            let written = cbor_encode(&CborItem::Float(value)).unwrap();
            let Ok(CborItem::Float(read)) = cbor_decode(&written) else { panic!("no float") };
            prop_assert_eq!(read.to_bits(), value.to_bits());
        }
    }

    #[test]
    fn verif_a_record_survives(ticks in -1_000_000i64..100_000_000, class in 0u32..6, level in prop::option::of(-1e3..1e3), low in any::<bool>()) {
        let layout = alert(BARE);
        let level = level.map_or(Value::NoData, Value::Number);
        let at = |more_ns: i64| Value::Time(EPOCH_NS + ticks * 1_000_000_000 + more_ns);
        let of = |time| [time, Value::Choice(class), level, Value::NoData, level, Value::Flag(low)];
        let written = record_to_cbor(&layout, &of(at(999_999_999))).unwrap();
        prop_assert_eq!(record_from_cbor(&layout, &written).unwrap(), of(at(0)));
    }
}
