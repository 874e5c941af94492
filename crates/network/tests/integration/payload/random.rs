//! Random layouts and records: round trips, and bytes that nobody packed.

use network::{Field, FieldKind, Frame, Layout, Numbers, UnpackError, Value};
use proptest::prelude::*;

use super::{choice, flag, scaled, time};

/// A field and one value of it, in range or not.
fn field() -> impl Strategy<Value = (Field, Value)> {
    let steps = prop::sample::select(vec![0.01, 0.03, 0.1, 0.25, 0.5, 1.0, 7.0, 1e6]);
    let number = (steps, -5000i32..5000, 1u32..5000, -0.2..1.2f64, 0..8).prop_map(
        |(step, first, count, share, none)| {
            let from = f64::from(first) * step;
            let to = f64::from(first + count as i32) * step;
            let value = if none == 0 {
                Value::NoData
            } else {
                Value::Number(from + share * (to - from))
            };
            (scaled("", "m", from, to, step), value)
        },
    );
    let of_choice = (1usize..40, any::<u32>()).prop_map(|(count, which)| {
        let names: Vec<String> = (0..count).map(|n| format!("v{n}")).collect();
        let names: Vec<&str> = names.iter().map(String::as_str).collect();
        (choice("", &names), Value::Choice(which % count as u32))
    });
    let instants = prop::sample::select(vec![1e-9, 1e-6, 0.01, 1.0, 60.0, 86_400.0]);
    let instant = (1u32..=64, instants, any::<i64>(), any::<i64>()).prop_map(
        |(bits, step_s, epoch_ns, at)| (time("", bits, step_s, epoch_ns), Value::Time(at)),
    );
    prop_oneof![
        3 => number,
        1 => of_choice,
        1 => any::<bool>().prop_map(|yes| (flag(""), Value::Flag(yes))),
        1 => instant,
    ]
}

fn layout() -> impl Strategy<Value = (Layout, Vec<Value>)> {
    let frame = (
        prop::option::of(any::<u8>()),
        prop::option::of(1u32..=32),
        prop::option::of(1u32..=32),
        any::<bool>(),
    );
    (frame, prop::collection::vec(field(), 0..12)).prop_map(
        |((schema, sequence_bits, starts_bits, crc), all)| {
            let (mut fields, values): (Vec<Field>, Vec<Value>) = all.into_iter().unzip();
            for (number, field) in fields.iter_mut().enumerate() {
                field.name = format!("f{number}");
            }
            let frame = Frame {
                schema,
                sequence_bits,
                starts_bits,
                crc,
            };
            (Layout::new(frame, fields).unwrap(), values)
        },
    )
}

proptest! {
    #[test]
    fn verif_records_survive_within_half_a_step((layout, values) in layout(), sequence in any::<u32>(), late_ns in 0i64..1_000_000) {
        let frame = layout.frame();
        let numbers = Numbers {
            sequence: frame.sequence_bits.map(|_| sequence),
            starts: frame.starts_bits.map(|_| !sequence),
        };
        let packed = layout.pack(numbers, &values).unwrap();
        prop_assert_eq!(packed.bytes.len(), layout.bytes() as usize);
        // One time of reception for all: the first instant of the record.
        let received_ns = values.iter().find_map(|v| match v {
            Value::Time(at) => Some(at.saturating_add(late_ns)),
            _ => None,
        });
        let read = match layout.unpack(&packed.bytes, received_ns) {
            Err(UnpackError::Instant { .. }) => return Ok(()),
            read => read.unwrap(),
        };
        for (sent, got, bits) in [
            (numbers.sequence, read.numbers.sequence, frame.sequence_bits),
            (numbers.starts, read.numbers.starts, frame.starts_bits),
        ] {
            prop_assert_eq!(got.is_some(), sent.is_some());
            if let (Some(sent), Some(got), Some(bits)) = (sent, got, bits) {
                prop_assert_eq!(u64::from(got), u64::from(sent) % (1u64 << bits));
            }
        }
        for (number, place) in layout.places().iter().enumerate() {
            match (values[number], read.values[number], &place.field.kind) {
                (Value::Number(sent), Value::Number(got), FieldKind::Scaled { from, to, step, .. }) => {
                    let slack = 1e-9 * step;
                    let outside = sent < from - step / 2.0 - slack || sent > to + step / 2.0 + slack;
                    let inside = sent > from - step / 2.0 + slack && sent < to + step / 2.0 - slack;
                    let told = packed.clamped.contains(&number);
                    let rightly = if told { !inside } else { !outside };
                    prop_assert!(rightly, "{sent} from {from} to {to} in {step}");
                    if told {
                        prop_assert!((got - from).abs() < slack || (got - to).abs() < slack);
                    } else {
                        prop_assert!((got - sent).abs() <= step / 2.0 + slack, "{} {}", sent, got);
                    }
                }
                (Value::Time(_), Value::Time(got), FieldKind::Time { bits, step_s, .. }) => {
                    // The nearest candidate: none is nearer by whole steps.
                    let half_s = step_s * 2f64.powi(*bits as i32 - 1);
                    let off_s = (i128::from(got) - i128::from(received_ns.unwrap())) as f64 / 1e9;
                    prop_assert!(off_s.abs() <= (half_s + step_s) * (1.0 + 1e-9));
                }
                (sent, got, _) => prop_assert_eq!(sent, got),
            }
        }
        prop_assert_eq!(layout.pack(read.numbers, &read.values).unwrap().bytes, packed.bytes);
    }

    /// Bytes are refused, or are what the values that are read from them are packed to: nothing is read that was not said.
    #[test]
    fn verif_any_bytes_are_a_message_or_an_error((layout, _) in layout(), noise in prop::collection::vec(any::<u8>(), 120), received_ns in any::<i64>()) {
        let length = layout.bytes() as usize;
        for length in [length, length + 1, length.saturating_sub(1)] {
            if let Ok(read) = layout.unpack(&noise[..length.min(noise.len())], Some(received_ns)) {
                let again = layout.pack(read.numbers, &read.values).unwrap();
                prop_assert_eq!(&again.bytes[..], &noise[..length]);
                prop_assert!(again.clamped.is_empty());
            }
        }
    }
}
