//! Very long lines, cut to what stands around the places that are shown.

use std::ops::Range;

/// A line up to so many bytes is shown whole.
const WHOLE: usize = 400;
/// What is kept before a place, of it, and behind it, bytes.
const BEFORE: usize = 40;
const OF_IT: usize = 80;
const BEHIND: usize = 40;
/// What stands for what was left out.
const LEFT_OUT: &str = "...";

/// Whether any line is cut.
pub(crate) fn has_long_lines(text: &str) -> bool {
    text.len() > WHOLE && text.split('\n').any(|line| line.len() > WHOLE)
}

/// The text with its long lines cut, and where these ranges lie in it; of a range that is cut, its beginning. Numbers of lines stay.
pub(crate) fn cut(text: &str, ranges: &[Range<usize>]) -> (String, Vec<Range<usize>>) {
    let mut out = String::new();
    let mut moved = vec![0..0; ranges.len()];
    let mut begin = 0;
    for line in text.split_inclusive('\n') {
        let end = begin + line.trim_end_matches('\n').len();
        let kept = kept(text, begin..end, ranges);
        for (i, keep) in kept.iter().enumerate() {
            if keep.start > if i == 0 { begin } else { kept[i - 1].end } {
                out.push_str(LEFT_OUT);
            }
            for (range, moved) in ranges.iter().zip(&mut moved) {
                // An empty range at the end of the text belongs to its last line.
                if keep.contains(&range.start) || range.start == keep.end {
                    let start = out.len() + range.start - keep.start;
                    *moved = start..start + range.end.min(keep.end).saturating_sub(range.start);
                }
            }
            out.push_str(&text[keep.clone()]);
        }
        if kept.last().is_none_or(|keep| keep.end < end) {
            out.push_str(LEFT_OUT);
        }
        out.push_str(&text[end..begin + line.len()]);
        begin += line.len();
    }
    (out, moved)
}

/// What is kept of one line, in order and apart from each other.
fn kept(text: &str, line: Range<usize>, ranges: &[Range<usize>]) -> Vec<Range<usize>> {
    if line.len() <= WHOLE {
        return vec![line];
    }
    let floor = |mut at: usize| {
        while !text.is_char_boundary(at) {
            at -= 1;
        }
        at.clamp(line.start, line.end)
    };
    let mut all: Vec<Range<usize>> = ranges
        .iter()
        .filter(|r| r.start <= line.end && (r.end > line.start || r.start >= line.start))
        .map(|r| {
            let start = r.start.max(line.start);
            let end = r.end.min(start + OF_IT) + BEHIND;
            floor(start.saturating_sub(BEFORE))..floor(end.min(line.end))
        })
        .collect();
    if all.is_empty() {
        all.push(line.start..floor(line.start + OF_IT));
    }
    all.sort_by_key(|r| r.start);
    let mut merged: Vec<Range<usize>> = Vec::new();
    for next in all {
        match merged.last_mut() {
            Some(last) if next.start <= last.end + LEFT_OUT.len() => {
                last.end = last.end.max(next.end);
            }
            _ => merged.push(next),
        }
    }
    merged
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn verif_long_lines_are_cut_around_their_places() {
        let text = format!(
            "a = 1\n{}WRONG{}\nb = 2",
            "x".repeat(1000),
            "é".repeat(1000)
        );
        let (shown, moved) = cut(&text, &[1006..1011, 0..1]);
        assert_eq!(&shown[moved[0].clone()], "WRONG");
        assert_eq!(&shown[moved[1].clone()], "a");
        let lines: Vec<&str> = shown.split('\n').collect();
        assert_eq!((lines[0], lines[2]), ("a = 1", "b = 2"));
        assert!(lines[1].starts_with("...xxx") && lines[1].ends_with("é..."));
        assert!(lines[1].len() < 100, "{}", lines[1]);
        // A place that is itself too long keeps its beginning; two far apart keep both.
        let (shown, moved) = cut(&text, &[6..1500, 2901..2903]);
        assert_eq!(moved[0], 6..6 + OF_IT + BEHIND);
        assert_eq!(&shown[moved[1].clone()], &text[2901..2903]);
        // Other long lines keep their beginning, short texts all.
        let (shown, _) = cut(&text, &[0..1, 2..3]);
        assert!(shown.contains("\nxxxx") && shown.len() < 120, "{shown}");
        let ends = [5..5, 4..5];
        assert_eq!(cut("x = 1", &ends), ("x = 1".to_owned(), ends.to_vec()));
        assert!(has_long_lines(&text) && !has_long_lines("x = 1\n"));
    }
}
