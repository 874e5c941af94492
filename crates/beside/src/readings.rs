//! Files of readings: plain CSV (RFC 4180) with the columns step, reading, unit, initials and note.
//!
//! Every row that cannot be used is told with its line. A step without a reading was not taken. A reading may be in any unit of its kind (mA where the sheet asks for A);
//! `OL` is a reading beyond the range of the meter, which is told of resistances alone.

use std::collections::BTreeMap;

use assess::dockside::{BEYOND_RANGE, Dockside, Step, Tolerance};
use hearing::Records;
use quantity::{Dimension, nearest, parse_amount};
use report::Written;
use thiserror::Error;

/// What a file of readings holds.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Readings {
    /// Readings by the ids of their steps, in the units of the sheet.
    pub readings: BTreeMap<String, f64>,
    /// Rows that cannot be used.
    pub faults: Vec<ReadingFault>,
    /// What is odd and changes nothing.
    pub oddities: Vec<String>,
    /// What is written in the box of each step of the sheet, by the ids of their steps, whether or not it can be used.
    pub written: BTreeMap<String, Written>,
}

/// A row that cannot be used.
#[derive(Clone, Debug, PartialEq)]
pub struct ReadingFault {
    /// Its line, from 1.
    pub line: usize,
    /// The step of the sheet that it is of, where it is of one.
    pub step: Option<String>,
    /// Why.
    pub why: ReadingsError,
}

/// Why a file of readings, or a row of it, cannot be used.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum ReadingsError {
    /// It is no text.
    #[error("it is not UTF-8 text: byte {0} is the first that is none")]
    NotText(usize),
    /// It has no line that names columns.
    #[error("it is empty")]
    Empty,
    /// A column that a file must have.
    #[error("line {line} must name the columns; `{missing}` is missing (it reads `{found}`)")]
    NoColumn {
        /// The line, from 1.
        line: usize,
        /// The column.
        missing: &'static str,
        /// What the line reads.
        found: String,
    },
    /// A column that is named twice.
    #[error("line {line} names the column `{name}` twice")]
    ColumnTwice {
        /// The line, from 1.
        line: usize,
        /// The column.
        name: &'static str,
    },
    /// A row with more or fewer fields than there are columns.
    #[error("it has {found} fields where the columns are {wanted}")]
    Fields {
        /// Its fields.
        found: usize,
        /// The columns.
        wanted: usize,
    },
    /// A quote without its end.
    #[error("a quote is opened and not closed")]
    OpenQuote,
    /// A step that the sheet does not have, and the one that is nearest.
    #[error("`{0}` is no step of this plan's sheet{1}")]
    NoStep(String, String),
    /// A second reading of a step; the first counts.
    #[error("the step `{step}` was read in line {first} already")]
    Twice {
        /// The step.
        step: String,
        /// Line of the first.
        first: usize,
    },
    /// A reading without its unit.
    #[error("`unit` is empty: `{step}` is read in {unit}")]
    NoUnit {
        /// The step.
        step: String,
        /// The unit of the sheet.
        unit: &'static str,
    },
    /// What is no reading of the step.
    #[error("`{reading}` {unit} is no reading of `{step}` in {wanted}: {why}")]
    NoReading {
        /// The step.
        step: String,
        /// What is written.
        reading: String,
        /// In which unit.
        unit: String,
        /// The unit of the sheet.
        wanted: &'static str,
        /// Why it is none.
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
pub fn read_readings(bytes: &[u8], sheet: &Dockside) -> Result<Readings, ReadingsError> {
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
    let mut boxes = Boxes::of(sheet);
    for (line, fields) in records {
        match fields {
            Err(_) => boxes.fault(line, None, ReadingsError::OpenQuote),
            Ok(fields) if fields.len() != heading.len() => {
                let (found, wanted) = (fields.len(), heading.len());
                boxes.fault(line, None, ReadingsError::Fields { found, wanted });
            }
            Ok(fields) => {
                let field = |column: usize| places[column].map_or("", |at| fields[at].as_str());
                boxes.put(line, [field(0), field(1), field(2), field(3), field(4)]);
            }
        }
    }
    Ok(boxes.end())
}

/// The same of rows that stand in no file: step, reading, unit, initials and note each, the first row with the number 1.
#[must_use]
pub fn read_rows(rows: &[[String; 5]], sheet: &Dockside) -> Readings {
    let mut boxes = Boxes::of(sheet);
    for (i, row) in rows.iter().enumerate() {
        boxes.put(i + 1, std::array::from_fn(|column| row[column].trim()));
    }
    boxes.end()
}

/// The boxes of a sheet while they are filled.
struct Boxes<'s> {
    sheet: &'s Dockside,
    read: Readings,
    lines_of: BTreeMap<String, usize>,
    without_initials: usize,
}

impl<'s> Boxes<'s> {
    fn of(sheet: &'s Dockside) -> Boxes<'s> {
        Boxes {
            sheet,
            read: Readings::default(),
            lines_of: BTreeMap::new(),
            without_initials: 0,
        }
    }

    fn fault(&mut self, line: usize, step: Option<&str>, why: ReadingsError) {
        let step = step.map(str::to_owned);
        self.read.faults.push(ReadingFault { line, step, why });
    }

    fn put(&mut self, line: usize, [id, reading, unit, initials, note]: [&str; 5]) {
        let Some(step) = self.sheet.steps.iter().find(|s| s.id == id) else {
            let near = nearest(id, self.sheet.steps.iter().map(|s| s.id.as_str()));
            let near = near.map_or_else(String::new, |near| format!("; is it `{near}`?"));
            let why = ReadingsError::NoStep(id.to_owned(), near);
            return self.fault(line, None, why);
        };
        let written = Written {
            reading: reading.to_owned(),
            unit: unit.to_owned(),
            initials: initials.to_owned(),
            note: note.to_owned(),
        };
        if reading.is_empty() {
            self.read.written.entry(step.id.clone()).or_insert(written);
            return;
        }
        // What was read first stands.
        if self.lines_of.contains_key(id) {
            let step = id.to_owned();
            let first = self.lines_of[id];
            return self.fault(line, Some(id), ReadingsError::Twice { step, first });
        }
        self.read.written.insert(step.id.clone(), written);
        match value(step, reading, unit) {
            Ok(value) => {
                self.lines_of.insert(step.id.clone(), line);
                self.without_initials += usize::from(initials.is_empty());
                self.read.readings.insert(step.id.clone(), value);
            }
            Err(why) => self.fault(line, Some(id), why),
        }
    }

    fn end(mut self) -> Readings {
        if self.without_initials > 0 {
            let told = match self.without_initials {
                1 => "1 reading has no initials".to_owned(),
                n => format!("{n} readings have no initials"),
            };
            self.read.oddities.push(told);
        }
        self.read
    }
}

/// How far a meter may be off, as it is written: percent of the reading and a fixed part in its unit, with a comma between (`0.5,0.02`).
///
/// # Errors
/// What it should be.
pub fn tolerance(text: &str) -> Result<Tolerance, String> {
    let wrong = || {
        "two numbers with a comma between: percent of the reading, and a fixed part (0.5,0.02)"
            .to_owned()
    };
    let (share, offset) = text.split_once(',').ok_or_else(wrong)?;
    let number = |text: &str| text.trim().parse::<f64>().map_err(|_| wrong());
    Ok(Tolerance {
        share: number(share)? / 100.0,
        offset: number(offset)?,
    })
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
        // What cannot be used is kept as it is written; of two the first stands.
        assert_eq!(bad.faults[0].step, None);
        assert_eq!(bad.faults[3].step.as_deref(), Some("open.sun"));
        assert_eq!(bad.written["open.sun"].reading, "24");
        assert_eq!(read_readings(b"", &sheet), Err(ReadingsError::Empty));
        assert!(matches!(
            read_readings(b"step,reading\n", &sheet),
            Err(ReadingsError::NoColumn {
                missing: "unit",
                ..
            })
        ));
    }
    /// Rows of a page are read as those of a file, and what is written as a file is read as the same readings.
    #[test]
    fn verif_rows_and_the_file_that_is_made_of_them_are_read_alike() {
        let sheet = sheet();
        let row = |step: &str, reading: &str, unit: &str, note: &str| {
            [step, reading, unit, "ab", note].map(str::to_owned)
        };
        let rows = [
            row("open.sun", " 24010 ", "mV", "bench, \"warm\""),
            row("loop.buoy-marker", "ol", "ohm", ""),
            row("joined.buoy", "24,1", "V", ""),
            row("joined.marker", "", "V", "not yet"),
        ];
        let read = read_rows(&rows, &sheet);
        assert_eq!(read.readings["open.sun"], 24.01);
        assert_eq!(read.readings["loop.buoy-marker"], BEYOND_RANGE);
        assert_eq!(read.faults.len(), 1);
        assert_eq!(
            (read.faults[0].line, read.faults[0].step.as_deref()),
            (3, Some("joined.buoy"))
        );
        let file = report::readings_csv(&sheet, &read.written);
        let again = read_readings(file.as_bytes(), &sheet).unwrap();
        assert_eq!(again.readings, read.readings);
        assert_eq!(again.faults.len(), 1);
        for (step, written) in &read.written {
            let (one, other) = (&again.written[step], written);
            assert_eq!(
                (&one.reading, &one.unit, &one.initials),
                (&other.reading, &other.unit, &other.initials)
            );
            if !other.note.is_empty() {
                assert_eq!(one.note, other.note);
            }
        }
    }
}
