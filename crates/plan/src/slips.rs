//! Slips of writing that make a line no TOML: each is told by what it is, not by where the parser stumbled over it.
//!
//! A line is looked at only when the parser refuses it, so nothing that is valid is ever called a slip.

use std::ops::Range;

/// One slip in a text.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(crate) struct Slip {
    /// The bytes that are wrong.
    pub(crate) range: Range<usize>,
    /// What is wrong, as a sentence fragment.
    pub(crate) message: String,
    /// How to mend it.
    pub(crate) help: String,
}

/// The slips in the line that begins at byte `start` of a text, from left to right.
pub(crate) fn slips(text: &str, start: usize) -> Vec<Slip> {
    let line = text[start..].lines().next().unwrap_or("");
    // A text over several lines may hold anything.
    if line.contains("\"\"\"") || line.contains("'''") {
        return Vec::new();
    }
    let mut found = Vec::new();
    let mut at = 0;
    // Where a value may begin: after `=`, in a list after `[` and `,`, and at the beginning of a line of a list.
    let mut value = line.trim_start().starts_with(is_digit);
    let mut open = if value { vec![b'['] } else { Vec::new() };
    while let Some(c) = line[at..].chars().next() {
        let rest = &line[at..];
        let mut step = c.len_utf8();
        let slip = match c {
            '#' => break,
            '"' | '\'' => match quoted(rest, c) {
                Some(len) => {
                    step = len;
                    unclosed_before(rest, len)
                }
                None => Some(never_closed(rest, open.last() == Some(&b'['))),
            },
            _ if is_curly(c) => Some(curly(rest)),
            _ if value && !c.is_whitespace() => bare(rest, open.last() == Some(&b'[')),
            _ => None,
        };
        match c {
            '[' | '{' => open.push(c as u8),
            ']' | '}' => drop(open.pop()),
            _ => {}
        }
        value = match c {
            '=' => true,
            '[' => line[..at].contains('='),
            ',' => open.last() == Some(&b'['),
            _ => value && c.is_whitespace(),
        };
        if let Some(mut slip) = slip {
            // What follows an open quote cannot be told from what it holds.
            let end = slip.range.end;
            let goes_on = !matches!(c, '"' | '\'');
            slip.range = start + at..start + at + end;
            found.push(slip);
            if !goes_on {
                break;
            }
            step = end;
        }
        at += step;
    }
    found
}

/// Length of a quoted text with its quotes; `None` when the line ends before the quote is closed.
fn quoted(rest: &str, quote: char) -> Option<usize> {
    let mut escaped = false;
    for (i, c) in rest.char_indices().skip(1) {
        match c {
            _ if escaped => escaped = false,
            '\\' if quote == '"' => escaped = true,
            _ if c == quote => return Some(i + c.len_utf8()),
            _ => {}
        }
    }
    None
}

/// A quote that is closed only by the quote that should begin the next value: `"24 V, resistance = "0.2 ohm"`.
fn unclosed_before(rest: &str, len: usize) -> Option<Slip> {
    let next = rest[len..].chars().next()?;
    if !(next.is_alphanumeric() || matches!(next, '-' | '+' | '.')) {
        return None;
    }
    let inner = &rest[..len - 1];
    inner
        .trim_end()
        .ends_with(['=', ',', '[', '{'])
        .then(|| never_closed(inner, true))
}

/// A quote that nothing closes. In a list a comma ends a value, elsewhere only one before the next key.
fn never_closed(rest: &str, in_list: bool) -> Slip {
    let commas = rest.match_indices(',').map(|(i, _)| i);
    let ends = commas
        .filter(|&i| in_list || begins_with_a_key(&rest[i + 1..]))
        .chain(rest.find([']', '}', '#']));
    let end = ends.min().unwrap_or(rest.len());
    let value = rest[..end].trim_end();
    let quote = &rest[..1];
    Slip {
        range: 0..value.len(),
        message: "this quote is not closed".to_owned(),
        help: format!("close it where the value ends: `{value}{quote}`"),
    }
}

fn begins_with_a_key(rest: &str) -> bool {
    let word = |c: char| c.is_ascii_alphanumeric() || matches!(c, '_' | '-' | '.');
    let rest = rest.trim_start();
    let after = rest.trim_start_matches(word);
    after.len() < rest.len() && after.trim_start().starts_with('=')
}

fn is_curly(c: char) -> bool {
    matches!(
        c,
        '\u{201c}' | '\u{201d}' | '\u{201e}' | '\u{2018}' | '\u{2019}' | '\u{201a}' | '«' | '»'
    )
}

/// A value in the quotes of a word processor, up to the closing one or to what ends a value.
fn curly(rest: &str) -> Slip {
    let first = rest.chars().next().map_or(0, char::len_utf8);
    let inner = &rest[first..];
    let (value, len) = match inner.find(|c| is_curly(c) || c == '"') {
        Some(end) => {
            let close = inner[end..].chars().next().map_or(0, char::len_utf8);
            (&inner[..end], first + end + close)
        }
        None => {
            let end = inner.find([',', ']', '}', '#']).unwrap_or(inner.len());
            let value = inner[..end].trim_end();
            (value, first + value.len())
        }
    };
    Slip {
        range: 0..len,
        message: "these are curly quotes".to_owned(),
        help: format!("write straight ones: `\"{}\"`", value.trim()),
    }
}

/// A number with a decimal comma, or a value that is not in quotes.
fn bare(rest: &str, in_list: bool) -> Option<Slip> {
    let number = number(rest);
    let after = &rest[number..];
    // In a list a comma between two numbers parts them.
    let comma = after.strip_prefix(',').filter(|_| number > 0 && !in_list);
    let decimals = comma.map_or(0, |d| d.len() - d.trim_start_matches(is_digit).len());
    if decimals > 0 {
        let len = number + 1 + decimals;
        let point = rest[..len].replacen(',', ".", 1);
        let (unit, unit_len) = unit(&rest[len..]);
        let help = match unit {
            "" => format!("write a decimal point: `{point}`"),
            unit => format!("write a decimal point, and quotes about it: `\"{point} {unit}\"`"),
        };
        return Some(Slip {
            range: 0..len + unit_len,
            message: format!("`{}`: decimal comma", &rest[..len + unit_len]),
            help,
        });
    }
    let (word, len) = unit(after);
    if word.is_empty()
        || number == 0 && is_word_of_toml(word)
        || is_number_of_toml(&rest[..number], after)
    {
        return None;
    }
    let value = &rest[..number + len];
    Some(Slip {
        range: 0..value.len(),
        message: format!("`{value}` is not in quotes"),
        help: format!("write `\"{value}\"`"),
    })
}

fn is_digit(c: char) -> bool {
    c.is_ascii_digit()
}

/// Length of a decimal number with its sign, without an exponent.
fn number(rest: &str) -> usize {
    let sign = rest.len() - rest.trim_start_matches(['+', '-', '\u{2212}']).len();
    let digits = |from: usize| {
        let tail = &rest[from..];
        tail.len() - tail.trim_start_matches(|c| is_digit(c) || c == '_').len()
    };
    let whole = digits(sign);
    if whole == 0 {
        return 0;
    }
    let end = sign + whole;
    match rest[end..].strip_prefix('.') {
        Some(_) if digits(end + 1) > 0 => end + 1 + digits(end + 1),
        _ => end,
    }
}

/// What stands before the end of a value, when it begins as a word or a unit does; and its length with the blanks before it.
fn unit(rest: &str) -> (&str, usize) {
    let blanks = rest.len() - rest.trim_start().len();
    let tail = &rest[blanks..];
    let end = tail
        .find([',', ']', '}', '#', '"', '='])
        .unwrap_or(tail.len());
    let word = tail[..end].trim_end();
    let begins = word
        .chars()
        .next()
        .is_some_and(|c| c.is_alphabetic() || matches!(c, '%' | '°' | '±'));
    if begins && !tail[end..].starts_with('=') {
        (word, blanks + word.len())
    } else {
        ("", 0)
    }
}

fn is_word_of_toml(word: &str) -> bool {
    matches!(word, "true" | "false" | "inf" | "nan")
}

/// Numbers in other bases and with exponents, and times.
fn is_number_of_toml(number: &str, after: &str) -> bool {
    let base = number == "0" && after.starts_with(['x', 'o', 'b']);
    let exponent = after
        .strip_prefix(['e', 'E'])
        .is_some_and(|e| e.trim_start_matches(['+', '-']).starts_with(is_digit));
    let time = after.starts_with('T') && number.is_empty();
    base || exponent || time
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(line: &str) -> Vec<(String, String)> {
        slips(line, 0)
            .into_iter()
            .map(|s| (line[s.range].to_owned(), s.help))
            .collect()
    }

    #[track_caller]
    fn one(line: &str, wrong: &str, help: &str) {
        assert_eq!(told(line), [(wrong.to_owned(), help.to_owned())], "{line}");
    }

    #[test]
    fn verif_decimal_commas_are_found() {
        one("shipping = 0,3", "0,3", "write a decimal point: `0.3`");
        one(
            "a = { b = 1,25, c = \"1 m\" }",
            "1,25",
            "write a decimal point: `1.25`",
        );
        one(
            "depth = 24,5 m # so",
            "24,5 m",
            "write a decimal point, and quotes about it: `\"24.5 m\"`",
        );
    }

    #[test]
    fn verif_values_without_quotes_are_found() {
        one("voltage = 24 V", "24 V", "write `\"24 V\"`");
        one(
            "a = { b = -2.5 degC, c = 1 }",
            "-2.5 degC",
            "write `\"-2.5 degC\"`",
        );
        one("share = 50 % # half", "50 %", "write `\"50 %\"`");
        one("kind = bench", "bench", "write `\"bench\"`");
        one("  11 m/s,", "11 m/s", "write `\"11 m/s\"`");
        assert_eq!(told("band = [60 Hz, 260 Hz]").len(), 2);
    }

    #[test]
    fn verif_quotes_that_nothing_closes_are_found() {
        let help = "close it where the value ends: `\"24 V\"`";
        one("voltage = \"24 V", "\"24 V", help);
        one("o = { v = \"24 V, r = \"0.2 ohm\" }", "\"24 V", help);
        one("o = { v = \"24 V }", "\"24 V", help);
        one("o = [\"24 V, \"0.2 ohm\"]", "\"24 V", help);
        one(
            "name = \"One, two",
            "\"One, two",
            "close it where the value ends: `\"One, two\"`",
        );
        one(
            "name = 'One",
            "'One",
            "close it where the value ends: `'One'`",
        );
    }

    #[test]
    fn verif_curly_quotes_are_found() {
        let help = "write straight ones: `\"24 V\"`";
        one(
            "voltage = \u{201c}24 V\u{201d}",
            "\u{201c}24 V\u{201d}",
            help,
        );
        one(
            "voltage = \u{201e}24 V\u{201c} # so",
            "\u{201e}24 V\u{201c}",
            help,
        );
        one("voltage = \u{201c}24 V", "\u{201c}24 V", help);
    }

    /// Lines of plans that are valid, and others that are wrong for another reason, hold none of these slips.
    #[test]
    fn verif_other_lines_hold_none() {
        for line in [
            "",
            "[module.upper]",
            "[[a]]",
            "[topic.\"alert/call\"]",
            "clearness = [0.1, 0.2,0.3]",
            "a = 0x1F",
            "a = 1e3",
            "a = -1.5E-3",
            "start = 2027-03-15T06:00:00Z",
            "flag = true",
            "flag = { a = false, b = inf }",
            "x = = 2",
            "name = \"it’s “so”\" # and ‘so’",
            "name = 'a \"quoted\" word'",
            "name = \"an \\\"escaped\\\" word\"",
            "rope",
            "a = ",
            "  { level = \"rms\" window = \"0.25 s\" },",
            "  { a = 1, 2b = 3 },",
            "  0.1, 0.2,0.3",
            "2a = 1",
            "text = \"\"\"",
        ] {
            assert_eq!(told(line), [], "{line}");
        }
    }
}
