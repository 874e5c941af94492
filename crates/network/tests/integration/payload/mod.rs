//! Packed payloads: against other libraries, by round trip, and in other languages.

mod cbor;
mod generated;
mod packed;
mod random;
mod stuffed;

use network::{Field, FieldKind, Frame, Layout};

/// 2025-01-01T00:00:00Z.
const EPOCH_NS: i64 = 1_735_689_600_000_000_000;

fn scaled(name: &str, unit: &str, from: f64, to: f64, step: f64) -> Field {
    Field {
        name: name.to_owned(),
        kind: FieldKind::Scaled {
            unit: unit.to_owned(),
            from,
            to,
            step,
        },
    }
}

fn choice(name: &str, values: &[&str]) -> Field {
    Field {
        name: name.to_owned(),
        kind: FieldKind::Choice {
            values: values.iter().map(|v| (*v).to_owned()).collect(),
        },
    }
}

fn flag(name: &str) -> Field {
    Field {
        name: name.to_owned(),
        kind: FieldKind::Flag,
    }
}

fn time(name: &str, bits: u32, step_s: f64, epoch_ns: i64) -> Field {
    Field {
        name: name.to_owned(),
        kind: FieldKind::Time {
            bits,
            step_s,
            epoch_ns,
        },
    }
}

/// An invented alert.
fn alert_fields() -> Vec<Field> {
    vec![
        time("time", 24, 1.0, EPOCH_NS),
        choice(
            "class",
            &["none", "vessel", "whistle", "click", "impulse", "other"],
        ),
        scaled("level", "dB re 1 uPa", 60.0, 180.0, 0.5),
        scaled("bearing", "deg", 0.0, 359.0, 1.0),
        scaled("depth", "m", 0.0, 204.6, 0.1),
        flag("batt_low"),
    ]
}

fn alert(frame: Frame) -> Layout {
    Layout::new(frame, alert_fields()).unwrap()
}

const BARE: Frame = Frame {
    schema: None,
    sequence_bits: None,
    starts_bits: None,
    crc: false,
};
const CHECKED: Frame = Frame { crc: true, ..BARE };

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|b| format!("{b:02x}")).collect()
}

fn bytes(hex: &str) -> Vec<u8> {
    (0..hex.len() / 2)
        .map(|i| u8::from_str_radix(&hex[2 * i..2 * i + 2], 16).unwrap())
        .collect()
}
