//! What a file is, told from its first bytes and never from its name.

use std::fmt;

/// The kinds of file that reading branches on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Kind {
    Riff,
    Flac,
    Ogg,
    OtherSound(&'static str),
    NotSound(Looks),
}

/// What a file that is no recording looks like.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Looks {
    /// Readable text.
    Text {
        /// Its beginning, at most 40 characters of the first line.
        beginning: String,
    },
    /// A well-known kind of file.
    Known {
        /// Its name, with article.
        name: &'static str,
    },
    /// A RIFF file of another form than WAVE.
    RiffForm {
        /// The four characters of the form.
        form: String,
    },
    /// Nothing but zero bytes at the beginning, as left where a recorder reserved space and lost power.
    Zeros,
    /// None of these.
    Bytes {
        /// The first bytes, at most 12, as hexadecimal digits.
        hex: String,
    },
}

impl fmt::Display for Looks {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Looks::Text { beginning } => write!(f, "it is text that begins \"{beginning}\""),
            Looks::Known { name } => write!(f, "it looks like {name}"),
            Looks::RiffForm { form } => {
                write!(f, "it is a RIFF file of form \"{form}\", not \"WAVE\"")
            }
            Looks::Zeros => f.write_str(
                "it begins with zero bytes only; was the recorder cut off before it wrote?",
            ),
            Looks::Bytes { hex } => write!(f, "it begins with the bytes {hex}"),
        }
    }
}

/// First bytes of other sound files (magic numbers as their formats define them; from memory).
const OTHER_SOUND: [(&[u8], &str); 9] = [
    (b"RIFX", "big-endian RIFF"),
    (b"FORM", "AIFF"),
    (b"riff\x2e\x91\xcf\x11", "Wave64"),
    (b"caff", "CAF"),
    (b".snd", "AU"),
    (b"ID3", "MPEG audio or another stream behind an ID3 tag"),
    (b"\xff\xfb", "MPEG layer 3"),
    (b"wvpk", "WavPack"),
    (b"\x1a\x45\xdf\xa3", "Matroska"),
];

/// First bytes of files that are no sound at all (from memory).
const NO_SOUND: [(&[u8], &str); 8] = [
    (b"%PDF", "a PDF document"),
    (b"PK\x03\x04", "a ZIP archive (or an office document)"),
    (b"\x1f\x8b", "a gzip archive"),
    (b"7z\xbc\xaf\x27\x1c", "a 7-Zip archive"),
    (b"\x89PNG", "a PNG picture"),
    (b"\xff\xd8\xff", "a JPEG picture"),
    (b"\x7fELF", "a program"),
    (b"MZ", "a Windows program"),
];

/// Tells the kind of a file from its first bytes (up to some hundreds; at least one).
pub(crate) fn kind(head: &[u8]) -> Kind {
    if head.starts_with(b"RIFF") || head.starts_with(b"RF64") || head.starts_with(b"BW64") {
        return match head.get(8..12) {
            Some(form) if form != b"WAVE" => Kind::NotSound(Looks::RiffForm {
                form: form.escape_ascii().to_string(),
            }),
            _ => Kind::Riff,
        };
    }
    if head.starts_with(b"fLaC") {
        return Kind::Flac;
    }
    if head.starts_with(b"OggS") {
        return Kind::Ogg;
    }
    if let Some((_, name)) = OTHER_SOUND
        .iter()
        .find(|(magic, _)| head.starts_with(magic))
    {
        return Kind::OtherSound(name);
    }
    Kind::NotSound(looks(head))
}

fn looks(head: &[u8]) -> Looks {
    if let Some((_, name)) = NO_SOUND.iter().find(|(magic, _)| head.starts_with(magic)) {
        return Looks::Known { name };
    }
    if head.iter().all(|&byte| byte == 0) {
        return Looks::Zeros;
    }
    match text(head) {
        Some(text) => Looks::Text {
            beginning: text
                .trim_start()
                .lines()
                .next()
                .unwrap_or("")
                .chars()
                .take(40)
                .collect(),
        },
        None => Looks::Bytes {
            hex: head
                .iter()
                .take(12)
                .map(|byte| format!("{byte:02x}"))
                .collect::<Vec<_>>()
                .join(" "),
        },
    }
}

/// The bytes as text, if they are UTF-8 (a last character may be cut) without control characters.
fn text(head: &[u8]) -> Option<&str> {
    let text = match std::str::from_utf8(head) {
        Ok(text) => text,
        Err(error) if error.error_len().is_none() => {
            std::str::from_utf8(&head[..error.valid_up_to()]).ok()?
        }
        Err(_) => return None,
    };
    let printable = |c: char| !c.is_control() || matches!(c, '\t' | '\n' | '\r');
    text.chars().all(printable).then_some(text)
}
