//! The periods of a document, text by text: they wait in a temporary file until the document can be whole, so that memory does not
//! grow with their number, and a command that fails on the way tells its failure and no half document.

use std::io::{self, BufWriter, Seek, Write};

use serde_json::Value;
use tempfile::SpooledTempFile;

/// The key of the list in the document.
pub(super) const PERIODS: &str = "periods";

/// So much text waits in memory before there is a file, bytes: that of some thousand periods.
const IN_MEMORY_BYTES: usize = 1 << 20;

/// Periods that wait.
#[derive(Debug)]
pub(super) struct Periods {
    waiting: BufWriter<SpooledTempFile>,
    any: bool,
}

impl Periods {
    pub(super) fn new() -> Self {
        Self {
            waiting: BufWriter::new(SpooledTempFile::new(IN_MEMORY_BYTES)),
            any: false,
        }
    }

    /// Takes the next period.
    ///
    /// # Errors
    /// Those of the file.
    pub(super) fn push(&mut self, period: &Value) -> io::Result<()> {
        let separator = if self.any { "," } else { "" };
        self.any = true;
        // No line end stands within a text of JSON: every one is of the layout.
        let text = serde_json::to_string_pretty(period)?.replace('\n', "\n    ");
        write!(self.waiting, "{separator}\n    {text}")
    }

    /// Writes a document whose own list of periods is empty with these in it, as it would be written if it had held them.
    ///
    /// # Errors
    /// Those of the file and of `to`.
    pub(super) fn write_into(self, document: &Value, to: &mut dyn Write) -> io::Result<()> {
        let text = serde_json::to_string_pretty(document)?;
        if !self.any {
            return to.write_all(text.as_bytes());
        }
        let (before, after) = text
            .split_once(&format!("\n  \"{PERIODS}\": []"))
            .expect("the document has a list of periods, and it is empty");
        write!(to, "{before}\n  \"{PERIODS}\": [")?;
        let mut waiting = self.waiting.into_inner()?;
        waiting.rewind()?;
        io::copy(&mut waiting, to)?;
        write!(to, "\n  ]{after}")
    }
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    fn period(number: u64) -> Value {
        json!({
            "recording": format!("a \"name\",\n  \"{PERIODS}\": [] {number}.wav"),
            "first_s": number as f64 / 3.0,
            "level_db": null,
            "parts": [number, {}],
        })
    }

    fn document(periods: Vec<Value>) -> Value {
        json!({
            "format": "measures/1",
            "notes": [{ "of": PERIODS, "says": format!("\n  \"{PERIODS}\": []") }],
            PERIODS: periods,
            "sensors": [{ PERIODS: [] }],
        })
    }

    #[test]
    fn verif_the_text_is_that_of_a_document_that_held_them() {
        for number in [0, 1, 2, 30] {
            let mut periods = Periods::new();
            for period in (0..number).map(period) {
                periods.push(&period).unwrap();
            }
            let mut text = Vec::new();
            let empty = document(Vec::new());
            periods.write_into(&empty, &mut text).unwrap();
            let held = document((0..number).map(period).collect());
            let wanted = serde_json::to_string_pretty(&held).unwrap();
            assert_eq!(String::from_utf8(text).unwrap(), wanted, "{number}");
        }
    }

    /// What is held is the buffer and no more, however many there are: the rest is in the file.
    #[test]
    fn verif_memory_does_not_grow_with_their_number() {
        let mut periods = Periods::new();
        let buffer = periods.waiting.capacity();
        let mut bytes = 0;
        for period in (0..20_000).map(period) {
            periods.push(&period).unwrap();
            bytes += period.to_string().len();
            let rolled = periods.waiting.get_ref().is_rolled();
            assert!(rolled || bytes <= 2 * IN_MEMORY_BYTES, "{bytes} in memory");
        }
        assert!(bytes > 2 * IN_MEMORY_BYTES, "{bytes}");
        assert_eq!(periods.waiting.capacity(), buffer);
        let mut counted = Counted(0);
        periods
            .write_into(&document(Vec::new()), &mut counted)
            .unwrap();
        assert!(counted.0 > bytes, "{} of {bytes}", counted.0);
    }

    struct Counted(usize);

    impl Write for Counted {
        fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
            self.0 += bytes.len();
            Ok(bytes.len())
        }

        fn flush(&mut self) -> io::Result<()> {
            Ok(())
        }
    }
}
