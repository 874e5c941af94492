//! How deep the brackets of a text are nested, before it is parsed.
//!
//! The parser walks and recovers nested brackets by recursion, in time that grows with their square; no plan needs many.

use std::ops::Range;

/// Most brackets and braces that may be open at once. No section of a plan lies half as deep.
pub(crate) const MOST_OPEN: usize = 64;

/// The place of the first bracket that lies too deep, and of the outermost one that is open there. One pass; what stands in texts and comments does not count.
pub(crate) fn too_deep(text: &str) -> Option<(Range<usize>, Range<usize>)> {
    let bytes = text.as_bytes();
    let mut open: Vec<usize> = Vec::new();
    let mut i = 0;
    while let Some(&byte) = bytes.get(i) {
        match byte {
            b'#' => i = end_of_line(bytes, i),
            b'"' | b'\'' => i = end_of_text(bytes, i),
            b'[' | b'{' => {
                open.push(i);
                if open.len() > MOST_OPEN {
                    return Some((i..i + 1, open[0]..open[0] + 1));
                }
                i += 1;
            }
            b']' | b'}' => {
                open.pop();
                i += 1;
            }
            _ => i += 1,
        }
    }
    None
}

fn end_of_line(bytes: &[u8], from: usize) -> usize {
    let rest = &bytes[from..];
    let length = rest.iter().position(|b| *b == b'\n');
    from + length.unwrap_or(rest.len())
}

/// One past a text that begins here, of one line or several; a text that is not closed ends with its line, or with the file.
fn end_of_text(bytes: &[u8], from: usize) -> usize {
    let quote = bytes[from];
    let escapes = quote == b'"';
    let several = bytes[from..].starts_with(&[quote; 3]);
    let mut i = from + if several { 3 } else { 1 };
    while let Some(&byte) = bytes.get(i) {
        match byte {
            b'\\' if escapes => i += 2,
            b'\n' if !several => return i,
            _ if several && bytes[i..].starts_with(&[quote; 3]) => {
                // Up to two further quotes belong to the text.
                i += 3;
                while bytes.get(i) == Some(&quote) {
                    i += 1;
                }
                return i;
            }
            _ if !several && byte == quote => return i + 1,
            _ => i += 1,
        }
    }
    bytes.len()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn nested(n: usize) -> String {
        format!("x = {}{}", "[".repeat(n), "]".repeat(n))
    }

    #[test]
    fn verif_only_open_brackets_count() {
        assert_eq!(too_deep(&nested(MOST_OPEN)), None);
        let (deep, first) = too_deep(&nested(MOST_OPEN + 1)).unwrap();
        assert_eq!((deep, first), (68..69, 4..5));
        assert_eq!(too_deep(&"x = [[[]]]\n[a]\n[[b]]\n".repeat(100)), None);
        let many = "[".repeat(99);
        for hidden in [
            format!("# {many}\nx = 1"),
            format!("x = \"{many}\""),
            format!("x = '{many}'"),
            format!("x = \"\\\"{many}\""),
            format!("x = \"\"\"\n\"{many}\n\"\"\"\"\"\ny = []"),
            format!("x = '''\n{many}\n'''"),
        ] {
            assert_eq!(too_deep(&hidden), None, "{hidden}");
        }
        // A text that is not closed ends with its line.
        assert!(too_deep(&format!("x = \"\ny = {many}")).is_some());
        assert!(too_deep(&format!("x = '\\'{many}")).is_some());
    }

    /// The one pass over the largest text that is read, 2 MiB, all brackets in texts: bounded by counting what is looked at, not by a clock.
    #[test]
    fn verif_texts_that_are_not_closed_are_passed_once() {
        let text = "\"\"\"".to_owned() + &"[".repeat(1 << 21);
        assert_eq!(too_deep(&text), None);
        let text = "'[\n".repeat(1 << 19);
        assert_eq!(too_deep(&text), None);
    }
}
