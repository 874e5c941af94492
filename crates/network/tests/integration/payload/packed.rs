//! Packing and unpacking of records.

use network::{
    Frame, Layout, Numbers, PackError, PayloadError, UnpackError, Value, cobs_encode, crc16,
};

use super::{BARE, CHECKED, EPOCH_NS, alert, bytes, choice, flag, hex, scaled, time};

const NS_PER_S: i64 = 1_000_000_000;

fn number(text: &str) -> Value {
    text.parse().map_or(Value::NoData, Value::Number)
}

#[test]
fn val_records_are_packed_as_by_exact_fractions() {
    let layout = alert(BARE);
    let rows = truth::rows("network/fractions-records.csv");
    let mut clamps = 0;
    for row in &rows {
        let time_ns = row[0].parse::<i64>().unwrap() * NS_PER_S;
        let values = [
            Value::Time(time_ns),
            Value::Choice(row[1].parse().unwrap()),
            number(&row[2]),
            number(&row[3]),
            number(&row[4]),
            Value::Flag(row[5] == "1"),
        ];
        let packed = layout.pack(Numbers::NONE, &values).unwrap();
        assert_eq!(hex(&packed.bytes), row[6], "{row:?}");
        assert_eq!(packed.clamped.len().to_string(), row[7], "{row:?}");
        clamps += packed.clamped.len();
        let read = layout
            .unpack(&packed.bytes, Some(time_ns + 97 * 86_400 * NS_PER_S))
            .unwrap();
        assert_eq!(read.values[0], Value::Time(time_ns));
    }
    assert!(rows.len() > 200 && clamps > 20, "{clamps}");
}

/// The rule without the half step, which rounds down, does not give the same records.
#[test]
fn verif_rounding_down_is_not_the_rule() {
    let rows = truth::rows("network/fractions-records.csv");
    let differs = |row: &&Vec<String>| {
        let level_code = u64::from_str_radix(&row[6], 16).unwrap_or(0) >> 21 & 0xFF;
        let inside = |v: &f64| (60.0..180.0).contains(v);
        let level = row[2].parse::<f64>().ok().filter(inside);
        level.is_some_and(|v| ((v - 60.0) / 0.5).floor() as u64 != level_code)
    };
    assert!(rows.iter().filter(differs).count() > 40);
}

#[test]
fn verif_the_sample_alert_framed_and_read() {
    let layout = alert(CHECKED);
    let sizes: Vec<u32> = layout.places().iter().map(|p| p.bits).collect();
    assert_eq!(sizes, [24, 3, 8, 9, 11, 1]);
    let offsets: Vec<u64> = layout.places().iter().map(|p| p.offset_bits).collect();
    assert_eq!(offsets, [0, 24, 27, 35, 44, 55]);
    assert_eq!((layout.bits(), layout.bytes()), (56, 9));
    let none: Vec<Option<u64>> = layout.places().iter().map(|p| p.no_data_code()).collect();
    assert_eq!(none, [None, None, Some(255), Some(511), Some(2047), None]);
    let values = [
        Value::Time(1_767_225_615 * NS_PER_S),
        Value::Choice(2),
        Value::Number(121.3),
        Value::Number(217.0),
        Value::Number(47.26),
        Value::Flag(false),
    ];
    let packed = layout.pack(Numbers::NONE, &values).unwrap();
    assert_eq!(hex(&packed.bytes), "e1338f4f6d93b25e60");
    assert_eq!(hex(&cobs_encode(&packed.bytes)), "0ae1338f4f6d93b25e60");
    let read = layout
        .unpack(&packed.bytes, Some(1_767_225_700 * NS_PER_S))
        .unwrap();
    assert_eq!(read.values[2], Value::Number(121.5));
    assert_eq!(read.values[3], Value::Number(217.0));
    let Value::Number(depth) = read.values[4] else {
        panic!("no number")
    };
    assert!((depth - 47.3).abs() < 1e-12);
}

#[test]
fn verif_the_frame_stands_around_the_fields() {
    let frame = Frame {
        schema: Some(0xA5),
        sequence_bits: Some(12),
        starts_bits: Some(6),
        crc: true,
    };
    let layout = Layout::new(frame, vec![flag("on"), choice("of", &["a", "b", "c"])]).unwrap();
    assert_eq!((layout.bits(), layout.bytes()), (29, 6));
    // 1010 0101 | 0010 0011 0100 | 00 0011 | 1 | 10 | 000; of 0x71234 the lowest 12 bits are sent, of 67 the lowest 6
    let numbers = Numbers {
        sequence: Some(0x7_1234),
        starts: Some(67),
    };
    let values = [Value::Flag(true), Value::Choice(2)];
    let packed = layout.pack(numbers, &values).unwrap();
    assert_eq!(hex(&packed.bytes[..4]), "a52340f0");
    assert_eq!(packed.bytes[4..], crc16(&packed.bytes[..4]).to_be_bytes());
    assert_eq!(
        layout.pack(Numbers::sequence(1), &values),
        Err(PackError::NoStarts { bits: 6 })
    );
    let read = layout.unpack(&packed.bytes, None).unwrap();
    assert_eq!(
        (read.numbers.sequence, read.numbers.starts),
        (Some(0x234), Some(3))
    );

    let with_check = |body: &[u8]| [body, &crc16(body).to_be_bytes()].concat();
    let refused = |message: &[u8]| layout.unpack(message, None).unwrap_err();
    assert_eq!(
        refused(&packed.bytes[..4]),
        UnpackError::Length {
            found: 4,
            expected: 6
        }
    );
    assert_eq!(
        refused(&[&packed.bytes[..], &[0]].concat()),
        UnpackError::Length {
            found: 7,
            expected: 6
        }
    );
    assert_eq!(
        refused(&with_check(&[0xA4, 0x23, 0x40, 0xF0])),
        UnpackError::Schema {
            found: 0xA4,
            expected: 0xA5
        }
    );
    assert_eq!(
        refused(&with_check(&[0xA5, 0x23, 0x40, 0xF1])),
        UnpackError::Filling { bits: 3, found: 1 }
    );
    assert_eq!(
        refused(&with_check(&[0xA5, 0x23, 0x40, 0xF8])),
        UnpackError::Code {
            field: "of".to_owned(),
            code: 3,
            last: 2
        }
    );
    for bit in 0..48 {
        let mut torn = packed.bytes.clone();
        torn[bit / 8] ^= 0x80 >> (bit % 8);
        assert!(matches!(refused(&torn), UnpackError::Check { .. }), "{bit}");
    }
    assert_eq!(
        layout.pack(Numbers::NONE, &[Value::Flag(true), Value::Choice(2)]),
        Err(PackError::NoSequence { bits: 12 })
    );
    assert_eq!(
        alert(BARE).pack(Numbers::sequence(1), &read_nothing()),
        Err(PackError::SequenceNotCarried { sequence: 1 })
    );
    let starts = Numbers {
        starts: Some(1),
        ..Numbers::NONE
    };
    assert_eq!(
        alert(BARE).pack(starts, &read_nothing()),
        Err(PackError::StartsNotCarried { starts: 1 })
    );
}

fn read_nothing() -> [Value; 6] {
    [
        Value::Time(0),
        Value::Choice(0),
        Value::NoData,
        Value::NoData,
        Value::NoData,
        Value::Flag(false),
    ]
}

#[test]
fn verif_ends_ties_and_clamps() {
    let layout = Layout::new(BARE, vec![scaled("t", "degC", -2.0, 3.0, 0.25)]).unwrap();
    let code = |v: f64| {
        let packed = layout.pack(Numbers::NONE, &[Value::Number(v)]).unwrap();
        (
            layout.codes(&[Value::Number(v)]).unwrap()[0],
            packed.clamped.len(),
        )
    };
    // 0 to 20, 31 is no data; ties go up; half a step beyond the ends is still inside.
    for (v, expected) in [
        (-2.0, (0, 0)),
        (-2.125, (0, 0)),
        (-2.126, (0, 1)),
        (-1.875, (1, 0)),
        (-1.876, (0, 0)),
        (0.0, (8, 0)),
        (0.125, (9, 0)),
        (3.0, (20, 0)),
        (3.124, (20, 0)),
        (3.125, (20, 1)),
        (f64::INFINITY, (20, 1)),
        (f64::NEG_INFINITY, (0, 1)),
        (-0.0, (8, 0)),
        (f64::MAX, (20, 1)),
        (f64::MIN, (0, 1)),
    ] {
        assert_eq!(code(v), expected, "{v}");
    }
    assert_eq!(layout.codes(&[Value::NoData]), Ok(vec![31]));
    for code in 0..32u8 {
        let read = layout.unpack(&[code << 3], None);
        match code {
            0..=20 => assert_eq!(
                read.unwrap().values,
                [Value::Number(-2.0 + f64::from(code) * 0.25)]
            ),
            31 => assert_eq!(read.unwrap().values, [Value::NoData]),
            _ => assert_eq!(
                read,
                Err(UnpackError::Code {
                    field: "t".to_owned(),
                    code: code.into(),
                    last: 20
                })
            ),
        }
    }
}

/// 16 bits of 10 s are 7.585 days: read within half of that before and after, the instant is the one that was sent.
#[test]
fn verif_times_are_read_within_half_their_range() {
    let layout = Layout::new(BARE, vec![time("t", 16, 10.0, 0)]).unwrap();
    let half_ns = 10 * NS_PER_S * (1 << 15);
    let sent_ns = 1_767_225_610 * NS_PER_S;
    let message = layout
        .pack(Numbers::NONE, &[Value::Time(sent_ns + 9_999_999_999)])
        .unwrap()
        .bytes;
    let read = |received_ns| {
        layout
            .unpack(&message, Some(received_ns))
            .map(|r| r.values[0])
    };
    for age_ns in [
        -half_ns + 10 * NS_PER_S,
        -1,
        0,
        1,
        half_ns - 1,
        half_ns,
        half_ns + 9_999_999_999,
    ] {
        assert_eq!(read(sent_ns + age_ns), Ok(Value::Time(sent_ns)), "{age_ns}");
    }
    assert_eq!(
        read(sent_ns + half_ns + 10 * NS_PER_S),
        Ok(Value::Time(sent_ns + 2 * half_ns))
    );
    assert_eq!(
        read(sent_ns - half_ns + 10 * NS_PER_S - 1),
        Ok(Value::Time(sent_ns - 2 * half_ns))
    );
    assert_eq!(
        layout.unpack(&message, None),
        Err(UnpackError::NoReception {
            field: "t".to_owned()
        })
    );
}

#[test]
fn verif_times_of_all_bits_and_beyond() {
    for epoch_ns in [0, EPOCH_NS, i64::MIN, i64::MAX] {
        let layout = Layout::new(BARE, vec![time("t", 64, 1e-9, epoch_ns)]).unwrap();
        for time_ns in [i64::MIN, -1, 0, 1, EPOCH_NS, i64::MAX] {
            let message = layout
                .pack(Numbers::NONE, &[Value::Time(time_ns)])
                .unwrap()
                .bytes;
            let received_ns = time_ns / 2;
            assert_eq!(
                layout.unpack(&message, Some(received_ns)).unwrap().values,
                [Value::Time(time_ns)]
            );
        }
    }
    let layout = Layout::new(BARE, vec![time("t", 64, 3600.0, 0)]).unwrap();
    let far = layout.unpack(&[0x40, 0, 0, 0, 0, 0, 0, 0], Some(0));
    assert_eq!(
        far,
        Err(UnpackError::Instant {
            field: "t".to_owned()
        })
    );
}

#[test]
fn verif_what_cannot_be_packed_or_laid_out_is_refused() {
    let layout = alert(BARE);
    let with = |number: usize, value| {
        let mut values = read_nothing();
        values[number] = value;
        layout.pack(Numbers::NONE, &values).unwrap_err()
    };
    let field = |name: &str| name.to_owned();
    assert_eq!(
        with(2, Value::Number(f64::NAN)),
        PackError::NotANumber {
            field: field("level")
        }
    );
    assert_eq!(
        with(1, Value::Choice(6)),
        PackError::NoSuchChoice {
            field: field("class"),
            choice: 6,
            count: 6
        }
    );
    for (number, value) in [
        (0, Value::NoData),
        (1, Value::Flag(true)),
        (2, Value::Time(0)),
        (5, Value::Number(1.0)),
    ] {
        assert!(
            matches!(with(number, value), PackError::Kind { .. }),
            "{number}"
        );
    }
    assert_eq!(
        layout.pack(Numbers::NONE, &[]),
        Err(PackError::Count {
            given: 0,
            fields: 6
        })
    );
    let refused = |fields| Layout::new(BARE, fields).unwrap_err();
    assert_eq!(
        refused(vec![flag("a"), flag("a")]),
        PayloadError::Twice { name: field("a") }
    );
    assert_eq!(refused(vec![choice("c", &[])]), PayloadError::NoChoice);
    assert!(matches!(
        refused(vec![scaled("s", "", 1e15, 1e15 + 10.0, 0.5)]),
        PayloadError::TooFar { .. }
    ));
    for step_s in [1.5e-9, 1e-10, 1e11] {
        assert_eq!(
            refused(vec![time("t", 8, step_s, 0)]),
            PayloadError::TimeStep { step_s }
        );
    }
    for bits in [0, 33] {
        for (sequence_bits, starts_bits) in [(Some(bits), None), (None, Some(bits))] {
            let frame = Frame {
                sequence_bits,
                starts_bits,
                ..BARE
            };
            assert_eq!(
                Layout::new(frame, vec![]),
                Err(PayloadError::CountBits { bits })
            );
        }
    }
    let nothing = Layout::new(BARE, vec![]).unwrap();
    assert_eq!(nothing.bytes(), 0);
    assert_eq!(nothing.unpack(&[], None).unwrap().values, []);
    assert_eq!(bytes("0a"), [10]);
}
