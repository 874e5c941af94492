//! A record as it is written on the command line: `level=121.3, class=whistle`.

use network::{FieldKind, Layout, Place, Value};

/// The word for what was not measured.
const NO_DATA: &str = "no-data";

/// A record that is not written as one.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub(crate) enum RecordError {
    /// A piece without `=`.
    #[error("`{piece}` gives no field its value: write NAME=VALUE, with commas between")]
    NoValue {
        /// The piece.
        piece: String,
    },
    /// A name that no field has.
    #[error("there is no field `{name}`; there are {}", .fields.join(", "))]
    Unknown {
        /// The name.
        name: String,
        /// The fields.
        fields: Vec<String>,
    },
    /// A field twice.
    #[error("the field `{name}` is given twice")]
    Twice {
        /// Its name.
        name: String,
    },
    /// A field without which there is no record.
    #[error("the field `{name}` is not given; only a number may be left out")]
    Missing {
        /// Its name.
        name: String,
    },
    /// A value that is none of the field's.
    #[error("the field `{name}` cannot be `{text}`: it is {expected}")]
    Value {
        /// Its name.
        name: String,
        /// As it was written.
        text: String,
        /// What it can be.
        expected: String,
    },
}

/// The values of a record, one a field. A comma within a value is told from one between fields by what follows: a name and `=`.
pub(super) fn values(layout: &Layout, text: &str) -> Result<Vec<Value>, RecordError> {
    let places = layout.places();
    let mut given: Vec<Option<String>> = vec![None; places.len()];
    let mut last = None;
    for piece in text.split(',') {
        let Some((name, value)) = piece.split_once('=') else {
            let Some(before) = last.and_then(|n: usize| given[n].as_mut()) else {
                if text.trim().is_empty() {
                    continue;
                }
                let piece = piece.trim().to_owned();
                return Err(RecordError::NoValue { piece });
            };
            before.push(',');
            before.push_str(piece);
            continue;
        };
        let name = name.trim();
        let Some(number) = places.iter().position(|p| p.field.name == name) else {
            return Err(RecordError::Unknown {
                name: name.to_owned(),
                fields: places.iter().map(|p| p.field.name.clone()).collect(),
            });
        };
        if given[number].replace(value.to_owned()).is_some() {
            let name = name.to_owned();
            return Err(RecordError::Twice { name });
        }
        last = Some(number);
    }
    let named = places.iter().zip(given);
    named
        .map(|(place, text)| match (text, &place.field.kind) {
            (Some(text), _) => value(place, text.trim()),
            (None, FieldKind::Scaled { .. }) => Ok(Value::NoData),
            (None, _) => Err(RecordError::Missing {
                name: place.field.name.clone(),
            }),
        })
        .collect()
}

fn value(place: &Place, text: &str) -> Result<Value, RecordError> {
    let wrong = |expected: String| RecordError::Value {
        name: place.field.name.clone(),
        text: text.to_owned(),
        expected,
    };
    match &place.field.kind {
        FieldKind::Scaled { .. } if text == NO_DATA => Ok(Value::NoData),
        FieldKind::Scaled { unit, .. } => {
            // The unit may stand behind the number.
            let number = text.strip_suffix(unit.as_str()).unwrap_or(text).trim_end();
            let number = number.parse().ok().filter(|v: &f64| v.is_finite());
            number.map(Value::Number).ok_or_else(|| {
                let of = if unit.is_empty() {
                    String::new()
                } else {
                    format!(" of {unit}")
                };
                wrong(format!(
                    "a number{of}, decimals after a point, or {NO_DATA}"
                ))
            })
        }
        FieldKind::Choice { values } => values
            .iter()
            .position(|v| v == text)
            .map(|choice| Value::Choice(choice as u32))
            .ok_or_else(|| wrong(format!("one of {}", values.join(", ")))),
        FieldKind::Flag => match text {
            "yes" | "true" => Ok(Value::Flag(true)),
            "no" | "false" => Ok(Value::Flag(false)),
            _ => Err(wrong("yes or no".to_owned())),
        },
        FieldKind::Time { .. } => {
            let time = crate::listen::instant(text).map_err(|_| {
                wrong(
                    "a time such as 2027-03-15T04:15:00Z, in UTC (Z) or with its offset".to_owned(),
                )
            })?;
            i64::try_from(time.as_nanosecond())
                .map(Value::Time)
                .map_err(|_| wrong("a time within the years 1678 to 2261".to_owned()))
        }
    }
}

#[cfg(test)]
mod tests {
    use network::{Field, Frame};

    use super::*;

    fn layout() -> Layout {
        let field = |name: &str, kind| Field {
            name: name.to_owned(),
            kind,
        };
        let values = ["a", "b, or c", "x=y"].map(str::to_owned).to_vec();
        let fields = vec![
            field("which", FieldKind::Choice { values }),
            field("on", FieldKind::Flag),
            field(
                "level",
                FieldKind::Scaled {
                    unit: "dB re 1 uPa".to_owned(),
                    from: 0.0,
                    to: 10.0,
                    step: 1.0,
                },
            ),
            field(
                "at",
                FieldKind::Time {
                    bits: 24,
                    step_s: 1.0,
                    epoch_ns: 0,
                },
            ),
        ];
        Layout::new(Frame::default(), fields).unwrap()
    }

    #[test]
    fn verif_a_record_is_read_in_any_order() {
        let read = values(
            &layout(),
            "at = 1970-01-01T00:00:01+00:00, level=-3.5 dB re 1 uPa,which=b, or c,on=yes",
        );
        let expected = [
            Value::Choice(1),
            Value::Flag(true),
            Value::Number(-3.5),
            Value::Time(1_000_000_000),
        ];
        assert_eq!(read.unwrap(), expected);
        let read = values(&layout(), "which=x=y,on=false,at=1970-01-02").unwrap();
        assert_eq!(read[0], Value::Choice(2));
        assert_eq!(read[2], Value::NoData);
        assert_eq!(read[3], Value::Time(86_400_000_000_000));
    }

    #[test]
    fn verif_what_is_no_record_is_refused() {
        let refused = |text: &str| values(&layout(), text).unwrap_err().to_string();
        for (text, part) in [
            ("", "the field `which` is not given"),
            ("level", "`level` gives no field its value"),
            ("colour=red", "there are which, on, level, at"),
            ("on=yes,on=no", "given twice"),
            ("which=d,on=yes,at=1970-01-02", "one of a, b, or c, x=y"),
            ("which=a,on=1,at=1970-01-02", "yes or no"),
            ("which=a,on=no,at=1970-01-02,level=1,5", "cannot be `1,5`"),
            (
                "which=a,on=no,at=1970-01-02,level=inf",
                "a number of dB re 1 uPa",
            ),
            ("which=a,on=no,at=04:15", "a time such as"),
            ("which=a,on=no,at=1066-10-14", "the years 1678 to 2261"),
        ] {
            assert!(refused(text).contains(part), "{text}: {}", refused(text));
        }
    }
}
