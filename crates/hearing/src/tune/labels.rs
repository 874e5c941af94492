//! Files of labels: plain CSV (RFC 4180) with the columns recording, from_s, to_s and, where wanted, low_hz, high_hz and what.
//!
//! A row that cannot be used is left out and told with its line; the others are used. Nothing is repaired: a comma in a number, a
//! time that is no number, an end before its begin are faults. Lines that begin with `#` and empty lines are passed over, a byte
//! order mark and line ends of any kind are taken as they come, and fields parted by semicolons are read, and said.

use std::collections::BTreeMap;

use thiserror::Error;

use super::records::{OpenQuote, Records};

/// A labelled sound as the file writes it.
#[derive(Debug, Clone, PartialEq)]
pub struct Label {
    /// Its line in the file, from 1.
    pub line: usize,
    /// The recording that it is about.
    pub recording: String,
    /// Begin, s after the first frame of the recording.
    pub from_s: f64,
    /// End, likewise; later than the begin.
    pub to_s: f64,
    /// Lowest and highest frequency, Hz.
    pub band_hz: Option<(f64, f64)>,
    /// What it is.
    pub what: Option<String>,
}

/// What a file of labels holds.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct LabelFile {
    /// The labels, in the order of the file.
    pub labels: Vec<Label>,
    /// Rows that were left out, with why, in the order of the file.
    pub faults: Vec<LabelFault>,
    /// What is odd about the file and changes nothing.
    pub oddities: Vec<String>,
}

/// A row that cannot be used.
#[derive(Debug, Clone, PartialEq)]
pub struct LabelFault {
    /// Its line, from 1.
    pub line: usize,
    /// Why.
    pub why: LabelError,
}

/// Why a file of labels, or a row of it, cannot be used.
#[derive(Debug, Clone, PartialEq, Error)]
#[expect(
    missing_docs,
    reason = "the message of each variant explains its fields"
)]
pub enum LabelError {
    #[error("it is not UTF-8 text: byte {at} of the file is 0x{byte:02X}")]
    NotText { at: usize, byte: u8 },
    #[error("it begins as UTF-16 does")]
    Utf16,
    #[error("it is empty")]
    Empty,
    #[error("it names columns and holds no label")]
    NoRows,
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
    #[error("`{column}` is empty")]
    Missing { column: &'static str },
    #[error("`{column}` is `{found}`, which is no number")]
    NoNumber { column: &'static str, found: String },
    #[error("`{column}` is `{found}`: write the number with a decimal point")]
    Comma { column: &'static str, found: String },
    #[error("`{column}` is {value}, it must be finite and zero or more")]
    OutOfRange { column: &'static str, value: f64 },
    #[error("it goes from {from_s} s to {to_s} s: the end must come after the begin")]
    Backwards { from_s: f64, to_s: f64 },
    #[error("it goes from {low_hz} Hz to {high_hz} Hz: the lower frequency comes first")]
    BandBackwards { low_hz: f64, high_hz: f64 },
    #[error("of `low_hz` and `high_hz` only one is written")]
    HalfBand,
    #[error("it repeats line {first}")]
    Repeated { first: usize },
    #[error("`{recording}` is not among the recordings that are given")]
    NotGiven { recording: String },
    #[error(
        "`{recording}` looks like {given} and is written with other characters (a letter with its accent may be one character or two): copy the name of the file"
    )]
    OtherForm { recording: String, given: String },
    #[error("`{recording}` may be {first} or {second}: write more of its path")]
    Ambiguous {
        recording: String,
        first: String,
        second: String,
    },
    #[error("it begins at {from_s} s, and the recording ends at {end_s:.3} s")]
    Outside { from_s: f64, end_s: f64 },
}

const COLUMNS: [&str; 6] = ["recording", "from_s", "to_s", "low_hz", "high_hz", "what"];
/// How many of them a file must have.
const NEEDED: usize = 3;

/// Reads a file of labels.
///
/// # Errors
/// [`LabelError`] where nothing of the file can be used; what is wrong with single rows is in the result.
pub fn read_labels(bytes: &[u8]) -> Result<LabelFile, LabelError> {
    let mut file = LabelFile::default();
    let text = decoded(bytes, &mut file)?;
    let mut lines = Records::of(text, ',');
    let (line, heading) = lines.next().ok_or(LabelError::Empty)?;
    let mut heading = heading.map_err(|_| LabelError::NoColumn {
        line,
        missing: COLUMNS[0],
        found: first_line(text),
    })?;
    if heading.len() == 1 && heading[0].contains(';') {
        lines = Records::of(text, ';');
        if let Some((_, Ok(parted))) = lines.next() {
            heading = parted;
        }
        file.oddities
            .push("its fields are parted by semicolons, and are read so".to_owned());
    }
    let places = places(line, &heading, &mut file)?;
    let mut lines_of = BTreeMap::new();
    for (line, fields) in lines {
        let row = fields
            .map_err(|OpenQuote| LabelError::OpenQuote)
            .and_then(|fields| label(line, &fields, heading.len(), &places))
            .and_then(|label| match lines_of.insert(key(&label), line) {
                Some(first) => Err(LabelError::Repeated { first }),
                None => Ok(label),
            });
        match row {
            Ok(label) => file.labels.push(label),
            Err(why) => file.faults.push(LabelFault { line, why }),
        }
    }
    if file.labels.is_empty() && file.faults.is_empty() {
        return Err(LabelError::NoRows);
    }
    Ok(file)
}

fn decoded<'b>(bytes: &'b [u8], file: &mut LabelFile) -> Result<&'b str, LabelError> {
    if bytes.starts_with(&[0xff, 0xfe]) || bytes.starts_with(&[0xfe, 0xff]) {
        return Err(LabelError::Utf16);
    }
    let text = std::str::from_utf8(bytes).map_err(|error| LabelError::NotText {
        at: error.valid_up_to(),
        byte: bytes[error.valid_up_to()],
    })?;
    Ok(match text.strip_prefix('\u{feff}') {
        Some(rest) => {
            file.oddities
                .push("it begins with a byte order mark, which is passed over".to_owned());
            rest
        }
        None => text,
    })
}

fn first_line(text: &str) -> String {
    text.lines().next().unwrap_or_default().to_owned()
}

/// Where each of [`COLUMNS`] stands.
fn places(
    line: usize,
    heading: &[String],
    file: &mut LabelFile,
) -> Result<[Option<usize>; 6], LabelError> {
    let mut places = [None; 6];
    for (place, name) in heading.iter().enumerate() {
        match COLUMNS.iter().position(|c| c == name) {
            Some(column) if places[column].is_some() => {
                let name = COLUMNS[column];
                return Err(LabelError::ColumnTwice { line, name });
            }
            Some(column) => places[column] = Some(place),
            None => file.oddities.push(format!(
                "the column `{name}` is not looked at; the columns are {}",
                COLUMNS.join(", ")
            )),
        }
    }
    match (0..NEEDED).find(|&column| places[column].is_none()) {
        Some(column) => Err(LabelError::NoColumn {
            line,
            missing: COLUMNS[column],
            found: heading.join(","),
        }),
        None => Ok(places),
    }
}

fn label(
    line: usize,
    fields: &[String],
    columns: usize,
    places: &[Option<usize>; 6],
) -> Result<Label, LabelError> {
    if fields.len() != columns {
        return Err(LabelError::Fields {
            found: fields.len(),
            wanted: columns,
        });
    }
    let field = |column: usize| places[column].map_or("", |place| fields[place].as_str());
    let written = |column: usize| match field(column) {
        "" => Err(LabelError::Missing {
            column: COLUMNS[column],
        }),
        text => Ok(text),
    };
    let recording = written(0)?.to_owned();
    let (from_s, to_s) = (number(1, written(1)?)?, number(2, written(2)?)?);
    if from_s >= to_s {
        return Err(LabelError::Backwards { from_s, to_s });
    }
    let band_hz = match (field(3), field(4)) {
        ("", "") => None,
        ("", _) | (_, "") => return Err(LabelError::HalfBand),
        (low, high) => {
            let (low_hz, high_hz) = (number(3, low)?, number(4, high)?);
            if low_hz > high_hz {
                return Err(LabelError::BandBackwards { low_hz, high_hz });
            }
            Some((low_hz, high_hz))
        }
    };
    Ok(Label {
        line,
        recording,
        from_s,
        to_s,
        band_hz,
        what: Some(field(5).to_owned()).filter(|what| !what.is_empty()),
    })
}

fn number(column: usize, text: &str) -> Result<f64, LabelError> {
    let column = COLUMNS[column];
    let value: f64 = text.parse().map_err(|_| {
        let found = text.to_owned();
        if text.replacen(',', ".", 1).parse::<f64>().is_ok() {
            LabelError::Comma { column, found }
        } else {
            LabelError::NoNumber { column, found }
        }
    })?;
    // A negative zero is zero.
    let value = value + 0.0;
    if value.is_finite() && value >= 0.0 {
        Ok(value)
    } else {
        Err(LabelError::OutOfRange { column, value })
    }
}

/// All that a label says; its numbers are finite and hold no negative zero, so the same ones have the same bits.
fn key(label: &Label) -> (String, [u64; 2], Option<[u64; 2]>, Option<String>) {
    let band = label
        .band_hz
        .map(|(low, high)| [low, high].map(f64::to_bits));
    (
        label.recording.clone(),
        [label.from_s, label.to_s].map(f64::to_bits),
        band,
        label.what.clone(),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> LabelFile {
        read_labels(text.as_bytes()).unwrap()
    }

    fn faults(text: &str) -> Vec<(usize, String)> {
        let faults = read(text).faults;
        faults.iter().map(|f| (f.line, f.why.to_string())).collect()
    }

    #[test]
    fn verif_columns_stand_in_any_order_and_the_last_three_are_free() {
        let file = read("what,to_s,from_s,recording\nupcall,2.5,1,a.wav\n,4,3,\"b, c.wav\"\n");
        assert_eq!(file.faults, []);
        assert_eq!(file.oddities, Vec::<String>::new());
        assert_eq!(
            file.labels[0],
            Label {
                line: 2,
                recording: "a.wav".to_owned(),
                from_s: 1.0,
                to_s: 2.5,
                band_hz: None,
                what: Some("upcall".to_owned()),
            }
        );
        assert_eq!(file.labels[1].recording, "b, c.wav");
        assert_eq!(file.labels[1].what, None);
        let file = read("recording,from_s,to_s,low_hz,high_hz\na.wav,1,2,60,260\na.wav,3,4,,\n");
        assert_eq!(file.labels[0].band_hz, Some((60.0, 260.0)));
        assert_eq!(file.labels[1].band_hz, None);
    }

    /// RFC 4180: quotes within quotes are doubled, and a field in quotes may hold line ends.
    #[test]
    fn val_quoted_fields_are_those_of_rfc_4180() {
        let file = read("recording,from_s,to_s,what\na.wav,1,2,\"a \"\"b\"\"\nc\"\na.wav,3,4,d\n");
        assert_eq!(file.labels[0].what.as_deref(), Some("a \"b\"\nc"));
        assert_eq!((file.labels[0].line, file.labels[1].line), (2, 4));
        assert_eq!(
            faults("recording,from_s,to_s,what\na.wav,3,4,d\na.wav,1,2,\"open\n"),
            [(3, "a quote is opened and not closed".to_owned())]
        );
    }

    #[test]
    fn verif_marks_line_ends_comments_and_semicolons_change_nothing() {
        let plain = read("recording,from_s,to_s\na.wav,1,2\na.wav,3,4\n");
        for text in [
            "recording,from_s,to_s\r\na.wav,1,2\r\na.wav,3,4",
            "\u{feff}recording,from_s,to_s\na.wav,1,2\na.wav,3,4\n",
            "recording;from_s;to_s\na.wav;1;2\na.wav;3;4\n",
            "recording , from_s, to_s\n a.wav , 1, 2\na.wav,\t3,4 \n",
        ] {
            let file = read(text);
            assert_eq!(file.labels, plain.labels, "{text:?}");
            let odd = text.contains(';') || text.starts_with('\u{feff}');
            assert_eq!(file.oddities.len(), usize::from(odd), "{text:?}");
        }
        let file = read("# by hand\n\nrecording,from_s,to_s\n\na.wav,1,2\r\n# more\na.wav,3,4\n");
        let lines: Vec<usize> = file.labels.iter().map(|l| l.line).collect();
        assert_eq!(lines, [5, 7]);
    }

    #[test]
    fn verif_every_bad_row_is_told_and_the_good_ones_are_used() {
        let text = "recording,from_s,to_s,low_hz,high_hz,sure\n\
            a.wav,1,2,,,1\n\
            a.wav,5,4,,,1\n\
            a.wav,nan,4,,,1\n\
            a.wav,-1,4,,,1\n\
            a.wav,one,4,,,1\n\
            a.wav,1\n\
            ,1,2,,,1\n\
            a.wav,3,4,100,,1\n\
            a.wav,3,4,300,100,1\n\
            a.wav,1,2,,,2\n\
            a.wav,inf,4,,,1\n\
            a.wav,6,7,10,20,1\n";
        let file = read(text);
        assert_eq!(file.labels.len(), 2);
        assert_eq!(
            faults(text),
            [
                (
                    3,
                    "it goes from 5 s to 4 s: the end must come after the begin"
                ),
                (4, "`from_s` is NaN, it must be finite and zero or more"),
                (5, "`from_s` is -1, it must be finite and zero or more"),
                (6, "`from_s` is `one`, which is no number"),
                (7, "it has 2 fields where the columns are 6"),
                (8, "`recording` is empty"),
                (9, "of `low_hz` and `high_hz` only one is written"),
                (
                    10,
                    "it goes from 300 Hz to 100 Hz: the lower frequency comes first"
                ),
                (11, "it repeats line 2"),
                (12, "`from_s` is inf, it must be finite and zero or more"),
            ]
            .map(|(line, why)| (line, why.to_owned()))
        );
        assert_eq!(file.oddities.len(), 1);
        assert!(file.oddities[0].contains("`sure`"));
        assert_eq!(
            faults("recording;from_s;to_s\na.wav;1,5;2\n"),
            [(
                2,
                "`from_s` is `1,5`: write the number with a decimal point".to_owned()
            )]
        );
    }

    #[test]
    fn verif_a_file_without_labels_says_what_it_is_instead() {
        let fails = |bytes: &[u8]| read_labels(bytes).unwrap_err();
        assert_eq!(fails(b""), LabelError::Empty);
        assert_eq!(fails(b"\xef\xbb\xbf\n\n"), LabelError::Empty);
        assert_eq!(fails(b"recording,from_s,to_s\n"), LabelError::NoRows);
        assert_eq!(fails(b"\xff\xfer\0"), LabelError::Utf16);
        assert_eq!(
            fails(b"recording,from_s,to_s\na\xe9,1,2\n"),
            LabelError::NotText { at: 23, byte: 0xe9 }
        );
        assert_eq!(
            fails(b"a.wav,1,2\n"),
            LabelError::NoColumn {
                line: 1,
                missing: "recording",
                found: "a.wav,1,2".to_owned()
            }
        );
        assert_eq!(
            fails(b"# by hand\nrecording,start,to_s\n"),
            LabelError::NoColumn {
                line: 2,
                missing: "from_s",
                found: "recording,start,to_s".to_owned()
            }
        );
        assert_eq!(
            fails(b"recording,from_s,to_s,to_s\n"),
            LabelError::ColumnTwice {
                line: 1,
                name: "to_s"
            }
        );
    }
}
