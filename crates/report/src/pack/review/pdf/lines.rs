//! Text in lines: where a line breaks, and how wide it is.

use super::face::{Face, Letter, letters};
use crate::picture::Rgb;

/// How a text is set.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Style {
    pub(super) face: Face,
    pub(super) size_pt: f32,
    pub(super) strong: bool,
    pub(super) colour: Rgb,
}

/// Letters of one style that follow each other.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Run {
    pub(super) letters: Vec<Letter>,
    pub(super) style: Style,
    /// From the beginning of its line.
    pub(super) left_pt: f32,
}

/// A line of text.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Line {
    pub(super) runs: Vec<Run>,
}

type Set = (Letter, Style);

fn set(pieces: &[(&str, Style)]) -> Vec<Set> {
    let each = pieces.iter();
    each.flat_map(|(text, style)| letters(text, style.face).map(|letter| (letter, *style)))
        .collect()
}

fn width_pt(letters: &[Set]) -> f32 {
    letters
        .iter()
        .map(|(letter, style)| letter.advance_em * style.size_pt)
        .sum()
}

/// The pieces between the line ends within them.
fn between_ends<'a>(pieces: &[(&'a str, Style)]) -> Vec<Vec<(&'a str, Style)>> {
    let mut all = vec![Vec::new()];
    for (text, style) in pieces {
        for (nth, part) in text.split('\n').enumerate() {
            if nth > 0 {
                all.push(Vec::new());
            }
            if let Some(last) = all.last_mut() {
                last.push((part, *style));
            }
        }
    }
    all
}

/// Width of the longest line of a text that is not broken, and of its longest word.
pub(super) fn widths_pt(pieces: &[(&str, Style)]) -> (f32, f32) {
    let (mut whole_pt, mut word_pt) = (0.0_f32, 0.0_f32);
    for pieces in between_ends(pieces) {
        let all = set(&pieces);
        let words = all.split(|(letter, _)| letter.c == ' ');
        whole_pt = whole_pt.max(width_pt(&all));
        word_pt = words.map(width_pt).fold(word_pt, f32::max);
    }
    (whole_pt, word_pt)
}

/// Breaks a text into lines of at most that width, best at a space, else behind a mark within a word, else anywhere. Line ends within it are kept; an empty text is an empty
/// line.
pub(super) fn broken(pieces: &[(&str, Style)], most_pt: f32) -> Vec<Line> {
    let mut lines = Vec::new();
    for pieces in between_ends(pieces) {
        let all = set(&pieces);
        let mut rest: &[Set] = &all;
        loop {
            let (line, next) = rest.split_at(fitting(rest, most_pt));
            lines.push(of(line));
            rest = next;
            if rest.is_empty() {
                break;
            }
        }
    }
    lines
}

/// How many letters make the next line; at least one where there are any.
fn fitting(rest: &[Set], most_pt: f32) -> usize {
    let (mut x_pt, mut space, mut mark) = (0.0, None, None);
    for (nth, (letter, style)) in rest.iter().enumerate() {
        let advance_pt = letter.advance_em * style.size_pt;
        // A space may hang over the end of its line.
        if letter.c != ' ' && x_pt + advance_pt > most_pt && nth > 0 {
            return space.or(mark).unwrap_or(nth);
        }
        x_pt += advance_pt;
        match letter.c {
            ' ' => space = Some(nth + 1),
            '-' | '/' | '_' | '.' | ',' | ':' | '(' | '[' => mark = Some(nth + 1),
            _ => {}
        }
    }
    rest.len()
}

fn of(letters: &[Set]) -> Line {
    let mut line = Line::default();
    let mut x_pt = 0.0;
    for (letter, style) in letters {
        let advance_pt = letter.advance_em * style.size_pt;
        match line.runs.last_mut() {
            Some(run) if run.style == *style && run.letters[0].face == letter.face => {
                run.letters.push(*letter);
            }
            _ => line.runs.push(Run {
                letters: vec![*letter],
                style: *style,
                left_pt: x_pt,
            }),
        }
        x_pt += advance_pt;
    }
    line
}

/// What a command prints, in lines of at most so many letters; what is longer goes on in the next, two letters further in than it began.
pub(super) fn printed(text: &str, most: usize, style: Style) -> Vec<Line> {
    let mut lines = Vec::new();
    for line in text.lines() {
        let mut rest = line.to_owned();
        while rest.chars().count() > most {
            let head: String = rest.chars().take(most + 1).collect();
            let indent = rest.len() - rest.trim_start().len();
            let at = head[indent..].rfind(' ').map_or_else(
                || head.char_indices().last().map_or(head.len(), |(at, _)| at),
                |at| indent + at,
            );
            let deeper = " ".repeat((indent + 2).min(most / 2));
            let tail = format!("{deeper}{}", rest[at..].trim_start());
            lines.extend(broken(&[(&rest[..at], style)], f32::INFINITY));
            rest = tail;
        }
        lines.extend(broken(&[(&rest, style)], f32::INFINITY));
    }
    lines
}

/// A line, or its beginning with an ellipsis where it is wider than that.
pub(super) fn shortened(text: &str, style: Style, most_pt: f32) -> Line {
    let all = set(&[(text, style)]);
    if width_pt(&all) <= most_pt {
        return of(&all);
    }
    let dots = set(&[("…", style)]);
    let room_pt = most_pt - width_pt(&dots);
    let mut kept: Vec<Set> = Vec::new();
    let mut x_pt = 0.0;
    for letter in all {
        x_pt += width_pt(&[letter]);
        if x_pt > room_pt {
            break;
        }
        kept.push(letter);
    }
    kept.extend(dots);
    of(&kept)
}

#[cfg(test)]
mod tests {
    use super::*;

    const STYLE: Style = Style {
        face: Face::Even,
        size_pt: 10.0,
        strong: false,
        colour: [0, 0, 0],
    };

    fn texts(lines: &[Line]) -> Vec<String> {
        let text = |line: &Line| {
            let runs = line.runs.iter();
            runs.flat_map(|run| run.letters.iter().map(|l| l.c))
                .collect()
        };
        lines.iter().map(text).collect()
    }

    /// Room for so many letters of the typeface whose letters are all as wide.
    fn room_pt(letters: u8) -> f32 {
        let one = width_pt(&set(&[("n", STYLE)]));
        one * (f32::from(letters) + 0.5)
    }

    #[test]
    fn verif_lines_break_at_spaces_then_within_words() {
        let lines = broken(&[("one two three", STYLE)], room_pt(7));
        assert_eq!(texts(&lines), ["one two ", "three"]);
        let lines = broken(&[("module.upper.ear x", STYLE)], room_pt(8));
        assert_eq!(texts(&lines), ["module.", "upper.", "ear x"]);
        assert_eq!(
            texts(&broken(&[("abcdefg", STYLE)], room_pt(3))),
            ["abc", "def", "g"]
        );
        // Narrower than any letter: one each, and an end.
        assert_eq!(texts(&broken(&[("abc", STYLE)], 0.0)), ["a", "b", "c"]);
        assert_eq!(texts(&broken(&[("", STYLE)], 10.0)), [""]);
        assert_eq!(texts(&broken(&[("a\n\nb", STYLE)], 10.0)), ["a", "", "b"]);
    }

    #[test]
    fn verif_what_is_printed_goes_on_further_in() {
        let lines = printed("  a bb ccc dddd\nx", 9, STYLE);
        assert_eq!(texts(&lines), ["  a bb", "    ccc", "    dddd", "x"]);
        let lines = printed("abcdefghijkl", 5, STYLE);
        assert_eq!(texts(&lines), ["abcde", "  fgh", "  ijk", "  l"]);
    }

    #[test]
    fn verif_what_is_too_long_ends_in_an_ellipsis() {
        assert_eq!(texts(&[shortened("abc", STYLE, room_pt(3))]), ["abc"]);
        assert_eq!(texts(&[shortened("abcd", STYLE, room_pt(3))]), ["ab…"]);
    }
}
