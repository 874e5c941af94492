//! Sound as a player asks for it: whole, or in pieces (RFC 9110, section 14).

use std::fs::File;
use std::io::{Read, Seek, SeekFrom};
use std::path::Path;

use crate::error::ApiError;

/// Largest piece that is handed out at once, bytes: a player asks on.
const LARGEST_PIECE: u64 = 4 << 20;

/// What is handed out of a file.
pub(crate) enum Sound {
    /// All of it: the file and how many bytes it has.
    Whole(File, u64),
    /// A piece.
    Piece {
        from: u64,
        bytes: Vec<u8>,
        whole: u64,
    },
    /// Nothing: what was asked for lies beyond its end.
    Beyond { whole: u64 },
}

fn gone(error: std::io::Error) -> ApiError {
    ApiError::missing("unreadable", error.to_string())
}

/// What a header `Range` asks for, at most [`LARGEST_PIECE`] of it; all of the file without one.
pub(crate) fn sound(path: &Path, range: Option<&str>) -> Result<Sound, ApiError> {
    let mut file = File::open(path).map_err(gone)?;
    let whole = file.metadata().map_err(gone)?.len();
    match range.map_or(Asked::Whole, |range| asked(range, whole)) {
        Asked::Whole => Ok(Sound::Whole(file, whole)),
        Asked::Beyond => Ok(Sound::Beyond { whole }),
        Asked::Bytes(from, to) => {
            let to = to.min(from + LARGEST_PIECE);
            file.seek(SeekFrom::Start(from)).map_err(gone)?;
            let mut bytes = Vec::new();
            file.take(to - from).read_to_end(&mut bytes).map_err(gone)?;
            Ok(Sound::Piece { from, bytes, whole })
        }
    }
}

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
enum Asked {
    /// The header says nothing that is understood, and counts as none.
    Whole,
    /// First byte and one past the last.
    Bytes(u64, u64),
    /// None of it is there.
    Beyond,
}

/// A unit that is not understood has to be ignored (section 14.2); several ranges and ranges that are none may be, and are.
fn asked(range: &str, whole: u64) -> Asked {
    let one = || -> Option<Asked> {
        let (unit, range) = range.split_once('=')?;
        if !unit.trim().eq_ignore_ascii_case("bytes") {
            return None;
        }
        let (first, last) = range.trim().split_once('-')?;
        let digits = |text: &str| text.bytes().all(|b| b.is_ascii_digit());
        if !digits(first) || !digits(last) {
            return None;
        }
        // More digits than a number holds are beyond any end.
        let number = |text: &str| text.parse::<u64>().unwrap_or(u64::MAX);
        match (first, last) {
            ("", "") => None,
            ("", count) if number(count) == 0 || whole == 0 => Some(Asked::Beyond),
            ("", count) => Some(Asked::Bytes(whole.saturating_sub(number(count)), whole)),
            (first, last) if !last.is_empty() && number(last) < number(first) => None,
            (first, _) if number(first) >= whole => Some(Asked::Beyond),
            (first, "") => Some(Asked::Bytes(number(first), whole)),
            (first, last) => {
                let end = number(last).saturating_add(1).min(whole);
                Some(Asked::Bytes(number(first), end))
            }
        }
    };
    one().unwrap_or(Asked::Whole)
}

/// What a browser takes the sound for.
pub(crate) fn kind(name: &str) -> &'static str {
    match name
        .rsplit('.')
        .next()
        .unwrap_or("")
        .to_ascii_lowercase()
        .as_str()
    {
        "flac" => "audio/flac",
        "ogg" | "oga" => "audio/ogg",
        _ => "audio/wav",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 9110: the examples of section 14.1.2, of a representation of 10,000 bytes; by section 14.2 a unit that is not understood must be
    /// ignored, and what is no range, or several, may be; by 14.1.1 a last byte before the first is no range; by 14.1.2 a first byte beyond
    /// the end, and a suffix of nothing, cannot be satisfied.
    #[test]
    fn val_ranges_are_those_of_rfc_9110() {
        let of = |range| asked(range, 10_000);
        assert_eq!(of("bytes=0-499"), Asked::Bytes(0, 500));
        assert_eq!(of("bytes=500-999"), Asked::Bytes(500, 1000));
        assert_eq!(of("bytes=-500"), Asked::Bytes(9500, 10_000));
        assert_eq!(of("bytes=9500-"), Asked::Bytes(9500, 10_000));
        assert_eq!(of("bytes=0-0"), Asked::Bytes(0, 1));
        assert_eq!(
            of("Bytes=0-99999999999999999999999"),
            Asked::Bytes(0, 10_000)
        );
        assert_eq!(of("bytes=-20000"), Asked::Bytes(0, 10_000));
        for beyond in ["bytes=10000-", "bytes=-0", "bytes=99999999999999999999999-"] {
            assert_eq!(of(beyond), Asked::Beyond, "{beyond}");
        }
        for ignored in [
            "items=0-1",
            "bytes=5-4",
            "bytes=a-b",
            "bytes=0-1,5-6",
            "bytes=-",
            "bytes=+1-2",
            "bytes",
            "",
        ] {
            assert_eq!(of(ignored), Asked::Whole, "{ignored}");
        }
    }
}
