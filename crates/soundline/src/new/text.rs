//! Writing TOML line by line, with the mark of assumed values.

use super::questions::Value;

const MARK: &str = "  # assumed";

/// The text so far.
#[derive(Debug, Default)]
pub(crate) struct Text {
    text: String,
}

impl Text {
    /// A line as it stands.
    pub(crate) fn line(&mut self, line: &str) {
        self.text.push_str(line);
        self.text.push('\n');
    }

    /// The head of a table, after an empty line.
    pub(crate) fn table(&mut self, path: &str) {
        self.line(&format!("\n[{path}]"));
    }

    /// A value in quotes.
    pub(crate) fn quantity(&mut self, key: &str, value: &Value) {
        self.bare(
            key,
            &Value {
                text: quoted(&value.text),
                assumed: value.assumed,
            },
        );
    }

    /// A value that is TOML already.
    pub(crate) fn bare(&mut self, key: &str, value: &Value) {
        let mark = if value.assumed { MARK } else { "" };
        self.line(&format!("{key} = {}{mark}", value.text));
    }

    /// A value that nobody is asked for, as TOML.
    pub(crate) fn assumed(&mut self, key: &str, toml: &str) {
        self.line(&format!("{key} = {toml}{MARK}"));
    }

    /// An item of a list, as TOML with its comma.
    pub(crate) fn item(&mut self, value: &Value) {
        let mark = if value.assumed { MARK } else { "" };
        self.line(&format!("  {}{mark}", value.text));
    }

    /// An item that nobody is asked for.
    pub(crate) fn assumed_item(&mut self, toml: &str) {
        self.line(&format!("  {toml}{MARK}"));
    }

    pub(crate) fn finish(self) -> String {
        self.text
    }
}

/// A basic string of TOML 1.0: control characters, quotes and backslashes are escaped.
pub(crate) fn quoted(text: &str) -> String {
    let mut out = String::from('"');
    for character in text.chars() {
        match character {
            '"' => out.push_str("\\\""),
            '\\' => out.push_str("\\\\"),
            c if c.is_control() => out.push_str(&format!("\\u{:04X}", u32::from(c))),
            c => out.push(c),
        }
    }
    out.push('"');
    out
}

/// A number in few digits, exact enough for an assumed value.
pub(crate) fn short(value: f64) -> String {
    let text = format!("{value:.4}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    text.to_owned()
}
