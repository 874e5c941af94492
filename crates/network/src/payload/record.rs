//! A record as CBOR: a message that describes itself.
//!
//! A map from the fields' names, in their order, to their values. Whole numbers of fields that have only such are integers, other numbers are floats in the
//! shortest precision that is exact, a choice is its text, no data is null. An instant has tag 1 (RFC 8949 section 3.4.2: seconds since
//! 1970-01-01T00:00Z), rounded down to the field's step: an integer where it is whole, else a double, which is exact to a quarter of a microsecond.

use super::cbor::{CborError, CborItem, cbor_decode, cbor_encode};
use super::field::FieldKind;
use super::layout::{Codes, Layout, Place};
use super::pack::{PackError, Value};

const EPOCH_TAG: u64 = 1;
/// Up to here every whole number is a double.
const LARGEST_WHOLE: f64 = 9_007_199_254_740_992.0;
const NS_PER_S: i64 = 1_000_000_000;
/// A double holds instants of this age to better than half of this.
const FINEST_STEP_NS: i64 = 1_000;

/// A record that has no such form, or bytes that are no such record.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum RecordError {
    /// The record does not fit the layout.
    #[error(transparent)]
    Pack(#[from] PackError),
    /// The bytes are no CBOR.
    #[error(transparent)]
    Cbor(#[from] CborError),
    /// An instant in steps that a double of seconds cannot tell apart.
    #[error(
        "the field {field:?} has steps of {step_ns} ns; as seconds in a double they are told apart from {FINEST_STEP_NS} ns on"
    )]
    TooFine {
        /// The field's name.
        field: String,
        /// Its step, ns.
        step_ns: i64,
    },
    /// The item is no map.
    #[error("a record is a map from names to values")]
    NoMap,
    /// A key that is no field's name.
    #[error("the record holds something that is none of the fields: {key:?}")]
    Unknown {
        /// The key.
        key: CborItem,
    },
    /// A field twice.
    #[error("the record holds the field {field:?} twice")]
    Twice {
        /// The field's name.
        field: String,
    },
    /// A field that is missing.
    #[error("the record lacks the field {field:?}")]
    Missing {
        /// The field's name.
        field: String,
    },
    /// A value that its field cannot have.
    #[error("the field {field:?} cannot be {item:?}")]
    Kind {
        /// The field's name.
        field: String,
        /// What stands there.
        item: CborItem,
    },
}

/// A record, one value a field of the layout, as CBOR. Numbers are sent as they are, outside the field's range too.
///
/// # Errors
/// [`RecordError::Pack`] for values that are none of the layout's, [`RecordError::TooFine`].
pub fn record_to_cbor(layout: &Layout, values: &[Value]) -> Result<Vec<u8>, RecordError> {
    // The same values are refused as by the packed form.
    layout.codes(values)?;
    let pairs = layout
        .places()
        .iter()
        .zip(values)
        .map(|(place, value)| {
            let name = CborItem::Text(place.field.name.clone());
            Ok((name, item(place, *value)?))
        })
        .collect::<Result<_, RecordError>>()?;
    Ok(cbor_encode(&CborItem::Map(pairs))?)
}

/// The values of a record, one a field of the layout.
///
/// # Errors
/// [`RecordError`] for bytes that are no record of this layout.
pub fn record_from_cbor(layout: &Layout, bytes: &[u8]) -> Result<Vec<Value>, RecordError> {
    let CborItem::Map(pairs) = cbor_decode(bytes)? else {
        return Err(RecordError::NoMap);
    };
    let mut values: Vec<Option<Value>> = vec![None; layout.places().len()];
    for (key, item) in pairs {
        let named = layout
            .places()
            .iter()
            .position(|p| matches!(&key, CborItem::Text(name) if *name == p.field.name));
        let Some(number) = named else {
            return Err(RecordError::Unknown { key });
        };
        let place = &layout.places()[number];
        if values[number].is_some() {
            let field = place.field.name.clone();
            return Err(RecordError::Twice { field });
        }
        values[number] = Some(value(place, item)?);
    }
    let named = layout.places().iter().zip(values);
    named
        .map(|(place, value)| {
            value.ok_or_else(|| RecordError::Missing {
                field: place.field.name.clone(),
            })
        })
        .collect()
}

fn item(place: &Place, value: Value) -> Result<CborItem, RecordError> {
    Ok(match (value, &place.field.kind, place.codes) {
        (Value::Number(v), _, _)
            if place.is_whole() && v.fract() == 0.0 && v.abs() <= LARGEST_WHOLE =>
        {
            CborItem::Whole(v as i128)
        }
        (Value::Number(v), _, _) => CborItem::Float(v),
        (Value::Choice(choice), FieldKind::Choice { values }, _) => {
            CborItem::Text(values[choice as usize].clone())
        }
        (Value::Flag(yes), _, _) => CborItem::Bool(yes),
        (Value::Time(time_ns), _, Codes::Ticks { step_ns, epoch_ns }) => {
            let since_step =
                (i128::from(time_ns) - i128::from(epoch_ns)).rem_euclid(step_ns.into());
            let at_step = i128::from(time_ns) - since_step;
            let seconds = if at_step % i128::from(NS_PER_S) == 0 {
                CborItem::Whole(at_step / i128::from(NS_PER_S))
            } else if step_ns < FINEST_STEP_NS {
                return Err(RecordError::TooFine {
                    field: place.field.name.clone(),
                    step_ns,
                });
            } else {
                CborItem::Float(at_step as f64 / NS_PER_S as f64)
            };
            CborItem::Tagged(EPOCH_TAG, Box::new(seconds))
        }
        _ => CborItem::Null,
    })
}

fn value(place: &Place, item: CborItem) -> Result<Value, RecordError> {
    let value = match (&item, place.codes) {
        (CborItem::Null, Codes::Steps { .. }) => Some(Value::NoData),
        (CborItem::Whole(v), Codes::Steps { .. }) => Some(Value::Number(*v as f64)),
        (CborItem::Float(v), Codes::Steps { .. }) if !v.is_nan() => Some(Value::Number(*v)),
        (CborItem::Text(text), Codes::Things { .. }) => match &place.field.kind {
            FieldKind::Choice { values } => values
                .iter()
                .position(|v| v == text)
                .map(|choice| Value::Choice(choice as u32)),
            _ => None,
        },
        (CborItem::Bool(yes), Codes::Flag) => Some(Value::Flag(*yes)),
        (CborItem::Tagged(EPOCH_TAG, seconds), Codes::Ticks { step_ns, epoch_ns }) => {
            instant(seconds, step_ns, epoch_ns).map(Value::Time)
        }
        _ => None,
    };
    value.ok_or_else(|| RecordError::Kind {
        field: place.field.name.clone(),
        item,
    })
}

/// The step of the field that is nearest to so many seconds.
fn instant(seconds: &CborItem, step_ns: i64, epoch_ns: i64) -> Option<i64> {
    let time_ns = match seconds {
        CborItem::Whole(seconds) => seconds.checked_mul(NS_PER_S.into())?,
        CborItem::Float(seconds) if seconds.is_finite() => {
            (seconds * NS_PER_S as f64).round() as i128
        }
        _ => return None,
    };
    let since_ns = time_ns.checked_sub(epoch_ns.into())?;
    let steps = since_ns
        .checked_add(i128::from(step_ns) / 2)?
        .div_euclid(step_ns.into());
    let at_step = steps
        .checked_mul(step_ns.into())?
        .checked_add(epoch_ns.into())?;
    i64::try_from(at_step).ok()
}
