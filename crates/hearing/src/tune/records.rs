//! Records of a CSV text (RFC 4180), with the line in which each begins.

/// A quote is opened and not closed.
#[derive(Debug)]
pub struct OpenQuote;

/// Records of a CSV text with the number of the line in which each begins, from 1. Fields are trimmed unless they stand in quotes; empty lines and
/// lines that begin with `#` are passed over.
#[derive(Debug)]
pub struct Records<'t> {
    rest: &'t str,
    parted_by: char,
    line: usize,
}

impl<'t> Records<'t> {
    /// The records of a text whose fields are parted by this character.
    #[must_use]
    pub fn of(text: &'t str, parted_by: char) -> Self {
        Self {
            rest: text,
            parted_by,
            line: 1,
        }
    }
}

impl Iterator for Records<'_> {
    type Item = (usize, Result<Vec<String>, OpenQuote>);

    fn next(&mut self) -> Option<Self::Item> {
        loop {
            if self.rest.is_empty() {
                return None;
            }
            let end = self.rest.find(['\n', '\r']).unwrap_or(self.rest.len());
            let line = self.rest[..end].trim();
            if !line.is_empty() && !line.starts_with('#') {
                break;
            }
            self.rest = after_line_end(&self.rest[end..]);
            self.line += 1;
        }
        let line = self.line;
        let record = self.record();
        Some((line, record))
    }
}

fn after_line_end(rest: &str) -> &str {
    let rest = match rest.strip_prefix('\r') {
        Some(rest) => rest,
        None => return rest.strip_prefix('\n').unwrap_or(rest),
    };
    rest.strip_prefix('\n').unwrap_or(rest)
}

impl Records<'_> {
    /// The record that begins here, and on to the next line.
    fn record(&mut self) -> Result<Vec<String>, OpenQuote> {
        let text = self.rest;
        let mut fields = Vec::new();
        let (mut field, mut quoted, mut open) = (String::new(), false, false);
        let mut chars = text.char_indices().peekable();
        let mut end = text.len();
        while let Some((at, c)) = chars.next() {
            if open {
                match c {
                    '"' if chars.peek().is_some_and(|(_, next)| *next == '"') => {
                        field.push('"');
                        chars.next();
                    }
                    '"' => open = false,
                    _ => {
                        self.line += usize::from(c == '\n');
                        field.push(c);
                    }
                }
            } else if c == '"' && field.trim().is_empty() && !quoted {
                field.clear();
                (open, quoted) = (true, true);
            } else if c == self.parted_by {
                fields.push(finished(&mut field, &mut quoted));
            } else if c == '\n' || c == '\r' {
                end = at;
                break;
            } else if !(quoted && c.is_whitespace()) {
                field.push(c);
            }
        }
        self.rest = after_line_end(&text[end..]);
        self.line += 1;
        if open {
            return Err(OpenQuote);
        }
        fields.push(finished(&mut field, &mut quoted));
        Ok(fields)
    }
}

fn finished(field: &mut String, quoted: &mut bool) -> String {
    let text = std::mem::take(field);
    if std::mem::take(quoted) {
        text
    } else {
        text.trim().to_owned()
    }
}
