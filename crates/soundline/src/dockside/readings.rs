//! Files of readings: plain CSV (RFC 4180) with the columns step, reading, unit, initials and note.
//!
//! Every row that cannot be used is told with its line. A step without a reading was not taken. A reading may be in any unit of its kind (mA where the sheet asks for A);
//! `OL` is a reading beyond the range of the meter, which is told of resistances alone.

use std::collections::BTreeMap;

use assess::dockside::{BEYOND_RANGE, Dockside, Step};
use hearing::Records;
use quantity::{Dimension, nearest, parse_amount};
use thiserror::Error;

/// What a file of readings holds.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Readings {
    /// Readings by the ids of their steps, in the units of the sheet.
    pub(super) readings: BTreeMap<String, f64>,
    /// Rows that cannot be used.
    pub(super) faults: Vec<ReadingFault>,
    /// What is odd and changes nothing.
    pub(super) oddities: Vec<String>,
}

/// A row that cannot be used.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct ReadingFault {
    /// Its line, from 1.
    pub(crate) line: usize,
    /// Why.
    pub(crate) why: ReadingsError,
}

/// Why a file of readings, or a row of it, cannot be used.
#[derive(Clone, Debug, PartialEq, Error)]
pub(crate) enum ReadingsError {
    #[error("it is not UTF-8 text: byte {0} is the first that is none")]
    NotText(usize),
    #[error("it is empty")]
    Empty,
    #[error("line {line} must name the columns; `{missing}` is missing (it reads `{found}`)")]
    NoColumn {
        line: usize,
        missing: &'static str,
        found: String,
    },
    #[error("line {line} names the column `{name}` twice")]
    ColumnTwice { line: usize, name: &'static str },
    #[error("it has {found} fields where the columns are {wanted}")]
    Fields { found: usize, wanted: usize },
    #[error("a quote is opened and not closed")]
    OpenQuote,
    #[error("`{0}` is no step of this plan's sheet{1}")]
    NoStep(String, String),
    #[error("the step `{step}` was read in line {first} already")]
    Twice { step: String, first: usize },
    #[error("`unit` is empty: `{step}` is read in {unit}")]
    NoUnit { step: String, unit: &'static str },
    #[error("`{reading}` {unit} is no reading of `{step}` in {wanted}: {why}")]
    NoReading {
        step: String,
        reading: String,
        unit: String,
        wanted: &'static str,
        why: String,
    },
}

const COLUMNS: [&str; 5] = ["step", "reading", "unit", "initials", "note"];
/// How many of them a file must have.
const NEEDED: usize = 3;

/// Reads a file of readings of a sheet.
///
/// # Errors
/// [`ReadingsError`] where nothing of the file can be used; what is wrong with single rows is in the result.
pub(super) fn read_readings(bytes: &[u8], sheet: &Dockside) -> Result<Readings, ReadingsError> {
    let text = std::str::from_utf8(bytes).map_err(|e| ReadingsError::NotText(e.valid_up_to()))?;
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let mut records = Records::of(text, ',');
    let (line, heading) = records.next().ok_or(ReadingsError::Empty)?;
    let mut heading = heading.map_err(|_| ReadingsError::OpenQuote)?;
    if heading.len() == 1 && heading[0].contains(';') {
        records = Records::of(text, ';');
        if let Some((_, Ok(parted))) = records.next() {
            heading = parted;
        }
    }
    let mut places = [None; 5];
    for (place, name) in heading.iter().enumerate() {
        let Some(column) = COLUMNS.iter().position(|c| c == name) else {
            continue;
        };
        if places[column].replace(place).is_some() {
            let name = COLUMNS[column];
            return Err(ReadingsError::ColumnTwice { line, name });
        }
    }
    if let Some(missing) = (0..NEEDED).find(|column| places[*column].is_none()) {
        return Err(ReadingsError::NoColumn {
            line,
            missing: COLUMNS[missing],
            found: heading.join(","),
        });
    }
    let mut file = Readings::default();
    let mut lines_of = BTreeMap::new();
    let mut without_initials = 0;
    for (line, fields) in records {
        let row = fields
            .map_err(|_| ReadingsError::OpenQuote)
            .and_then(|fields| row(&fields, heading.len(), &places, sheet));
        match row {
            Ok(None) => {}
            Ok(Some(row)) => match lines_of.insert(row.step.clone(), line) {
                Some(first) => {
                    let step = row.step;
                    let why = ReadingsError::Twice { step, first };
                    file.faults.push(ReadingFault { line, why });
                }
                None => {
                    without_initials += usize::from(!row.initialled);
                    file.readings.insert(row.step, row.value);
                }
            },
            Err(why) => file.faults.push(ReadingFault { line, why }),
        }
    }
    if without_initials > 0 {
        file.oddities
            .push(format!("{without_initials} readings have no initials"));
    }
    Ok(file)
}

struct Row {
    step: String,
    value: f64,
    initialled: bool,
}

fn row(
    fields: &[String],
    columns: usize,
    places: &[Option<usize>; 5],
    sheet: &Dockside,
) -> Result<Option<Row>, ReadingsError> {
    if fields.len() != columns {
        return Err(ReadingsError::Fields {
            found: fields.len(),
            wanted: columns,
        });
    }
    let field = |column: usize| places[column].map_or("", |place| fields[place].as_str());
    let id = field(0);
    let Some(step) = sheet.steps.iter().find(|s| s.id == id) else {
        let near = nearest(id, sheet.steps.iter().map(|s| s.id.as_str()));
        let near = near.map_or_else(String::new, |near| format!("; is it `{near}`?"));
        return Err(ReadingsError::NoStep(id.to_owned(), near));
    };
    if field(1).is_empty() {
        return Ok(None);
    }
    Ok(Some(Row {
        step: id.to_owned(),
        value: value(step, field(1), field(2))?,
        initialled: !field(3).is_empty(),
    }))
}

fn value(step: &Step, reading: &str, unit: &str) -> Result<f64, ReadingsError> {
    if unit.is_empty() {
        return Err(ReadingsError::NoUnit {
            step: step.id.clone(),
            unit: step.unit,
        });
    }
    let refused = |why: String| ReadingsError::NoReading {
        step: step.id.clone(),
        reading: reading.to_owned(),
        unit: unit.to_owned(),
        wanted: step.unit,
        why,
    };
    if reading.eq_ignore_ascii_case("OL") {
        return match step.unit {
            "ohm" => Ok(BEYOND_RANGE),
            _ => Err(refused("OL is told of resistances alone".to_owned())),
        };
    }
    let (dimension, times) = match step.unit {
        "V" => (Dimension::Voltage, 1.0),
        "A" => (Dimension::Current, 1.0),
        "ohm" => (Dimension::Resistance, 1.0),
        "s" => (Dimension::Time, 1.0),
        "GB" => (Dimension::DataSize, 1e-9),
        own => {
            if unit != own {
                return Err(refused("write it in the unit of the sheet".to_owned()));
            }
            let number = reading.parse::<f64>().ok().filter(|v| v.is_finite());
            return number.ok_or_else(|| refused("it is no number".to_owned()));
        }
    };
    let amount = parse_amount(&format!("{reading} {unit}"), dimension);
    let amount = amount.map_err(|fault| refused(fault.to_string()))?;
    if amount.law.is_some() {
        return Err(refused("a reading has no spread".to_owned()));
    }
    Ok(times * amount.si)
}

#[cfg(test)]
mod tests {
    use super::*;
    use assess::dockside::{QuayAsk, dockside};

    fn sheet() -> Dockside {
        let path = concat!(
            env!("CARGO_MANIFEST_DIR"),
            "/../../plans/harrow-sound/plan.toml"
        );
        let path = std::path::Path::new(path);
        let reading = assess::read(path, &plan::from_folder_of(path));
        dockside(reading.line.as_ref().unwrap(), &QuayAsk::default()).unwrap()
    }

    #[test]
    fn verif_rows_are_read_in_any_order_and_unit_and_every_mistake_is_told() {
        let sheet = sheet();
        let good = read_readings(
            b"unit,step,reading\nmV,open.sun,24010\nohm,loop.buoy-marker,OL\nV,joined.buoy,\n",
            &sheet,
        )
        .unwrap();
        assert_eq!(good.faults, []);
        assert_eq!(good.readings["open.sun"], 24.01);
        assert_eq!(good.readings["loop.buoy-marker"], f64::INFINITY);
        assert_eq!(good.readings.len(), 2);
        let bad = read_readings(
            b"step,reading,unit,initials,note\n\
              open.sum,24,V,ab,\n\
              open.sun,24,A,ab,\n\
              open.sun,24,,ab,\n\
              open.sun,\"24,1\",V,ab,\n\
              open.sun,OL,V,ab,\n\
              open.sun,24,V\n\
              open.sun,24,V,ab,\n\
              open.sun,25,V,ab,\n",
            &sheet,
        )
        .unwrap();
        let lines: Vec<usize> = bad.faults.iter().map(|f| f.line).collect();
        assert_eq!(lines, [2, 3, 4, 5, 6, 7, 9]);
        assert!(bad.faults[0].why.to_string().contains("is it `open.sun`?"));
        assert!(matches!(
            bad.faults[6].why,
            ReadingsError::Twice { first: 8, .. }
        ));
        assert_eq!(read_readings(b"", &sheet), Err(ReadingsError::Empty));
        assert!(matches!(
            read_readings(b"step,reading\n", &sheet),
            Err(ReadingsError::NoColumn {
                missing: "unit",
                ..
            })
        ));
    }
}
