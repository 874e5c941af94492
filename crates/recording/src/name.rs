//! The start time that a file name tells.
//!
//! Source: ISO 8601-1:2019, basic format of a complete date and time of day in UTC: `YYYYMMDDThhmmssZ`, with an
//! optional decimal fraction of the second (1 to 9 digits after a full stop). Names in the form
//! `site_20270315T041500.250Z_ch01.wav` are common practice of recorders.

use jiff::{Timestamp, civil};
use thiserror::Error;

/// Why a file name tells no start time.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum NameTimeError {
    /// No date and time in the name.
    #[error("the name holds no time such as 20270315T041500Z")]
    NoTime,
    /// A date and time without the closing Z: local time or UTC, nobody can tell.
    #[error("{found} in the name does not end in Z, so it may not be UTC")]
    NotUtc {
        /// What stands in the name.
        found: String,
    },
    /// Digits in the right places that are no date or time of day.
    #[error("{found} in the name is no date and time")]
    OutOfRange {
        /// What stands in the name.
        found: String,
    },
    /// Two different times in one name.
    #[error("the name holds two times, {first} and {second}")]
    TwoTimes {
        /// The first.
        first: String,
        /// The second.
        second: String,
    },
}

/// The instant of the first sample, from an ISO 8601 basic time in UTC anywhere in the name: `20270315T041500Z` or
/// `20270315T041500.250Z`.
///
/// # Errors
/// [`NameTimeError`]: no time in the name, no Z behind it, digits out of range, two different times.
pub fn start_from_name(file_name: &str) -> Result<Timestamp, NameTimeError> {
    let mut found: Option<(Timestamp, &str)> = None;
    for at in 0..file_name.len() {
        let Some(time) = time_at(file_name, at) else {
            continue;
        };
        let text = time.text;
        if !time.is_utc {
            return Err(NameTimeError::NotUtc {
                found: text.to_owned(),
            });
        }
        let instant = time.instant().ok_or_else(|| NameTimeError::OutOfRange {
            found: text.to_owned(),
        })?;
        match found {
            Some((first, first_text)) if first != instant => {
                return Err(NameTimeError::TwoTimes {
                    first: first_text.to_owned(),
                    second: text.to_owned(),
                });
            }
            Some(_) => {}
            None => found = Some((instant, text)),
        }
    }
    found
        .map(|(instant, _)| instant)
        .ok_or(NameTimeError::NoTime)
}

/// `YYYYMMDDThhmmss`
const WHOLE: usize = 15;

struct NameTime<'a> {
    text: &'a str,
    fraction: &'a str,
    is_utc: bool,
}

/// The time that begins at byte `at`, if there is one with neither digit nor letter before it.
fn time_at(name: &str, at: usize) -> Option<NameTime<'_>> {
    let bytes = name.as_bytes();
    let joined = |byte: u8| byte.is_ascii_alphanumeric();
    let whole = bytes.get(at..at + WHOLE)?;
    let shaped = whole.iter().enumerate().all(|(i, byte)| {
        if i == 8 {
            *byte == b'T'
        } else {
            byte.is_ascii_digit()
        }
    });
    if !shaped || (at > 0 && joined(bytes[at - 1])) {
        return None;
    }
    let mut end = at + WHOLE;
    let digits = bytes.get(end + 1..).map_or(0, |rest| {
        rest.iter().take_while(|byte| byte.is_ascii_digit()).count()
    });
    let mut fraction = "";
    if bytes.get(end) == Some(&b'.') && digits > 0 {
        fraction = &name[end + 1..end + 1 + digits];
        end += 1 + digits;
    }
    let is_utc =
        bytes.get(end) == Some(&b'Z') && !bytes.get(end + 1).is_some_and(|&byte| joined(byte));
    if is_utc {
        end += 1;
    }
    Some(NameTime {
        text: &name[at..end],
        fraction,
        is_utc,
    })
}

impl NameTime<'_> {
    fn instant(&self) -> Option<Timestamp> {
        let number = |from: usize, to: usize| self.text[from..to].parse::<i16>().ok();
        let small = |from: usize, to: usize| self.text[from..to].parse::<i8>().ok();
        if self.fraction.len() > 9 {
            return None;
        }
        let nanosecond = format!("{:0<9}", self.fraction).parse::<i32>().ok()?;
        let date = civil::Date::new(number(0, 4)?, small(4, 6)?, small(6, 8)?).ok()?;
        let time =
            civil::Time::new(small(9, 11)?, small(11, 13)?, small(13, 15)?, nanosecond).ok()?;
        jiff::tz::Offset::UTC
            .to_timestamp(date.to_datetime(time))
            .ok()
    }
}
