//! Where plates stand, so that none covers another, a mark or the frame.

use super::super::canvas::text_width;
use super::super::colour::QUIET_INK;
use super::super::drawing::Drawing;
use super::{LETTERS_PX, plate};

/// From left, top, right and bottom, px.
type Box = (f64, f64, f64, f64);

/// Room between two plates, px.
const APART_PX: f64 = 2.0;

/// What is taken of an area.
pub(super) struct Plates {
    within: Box,
    taken: Vec<Box>,
}

impl Plates {
    /// None yet, within an area.
    pub(super) fn within(within: Box) -> Plates {
        Plates {
            within,
            taken: Vec::new(),
        }
    }

    /// Takes room for a mark about a place.
    pub(super) fn take(&mut self, taken: Box) {
        self.taken.push(taken);
    }

    fn free(&self, (left, top, right, bottom): Box) -> bool {
        let (least_x, least_y, most_x, most_y) = self.within;
        let inside = left >= least_x && right <= most_x && top >= least_y && bottom <= most_y;
        let apart = |other: &Box| {
            left > other.2 + APART_PX
                || right < other.0 - APART_PX
                || top > other.3 + APART_PX
                || bottom < other.1 - APART_PX
        };
        inside && self.taken.iter().all(apart)
    }

    /// Puts a word on a plate at the first of some places that is free, else beside one of them with a line to it, as near as may be; not at all where there is no room.
    pub(super) fn put(&mut self, drawing: &mut Drawing, word: &str, places: &[(f64, f64)]) {
        if let Some(at) = places.iter().find(|at| self.free(around(word, **at))) {
            self.draw(drawing, word, *at);
            return;
        }
        let wide = 2.0 * half_width(word);
        for step in 1..=6 {
            for way in [1.0, -1.0] {
                let beside = |at: &(f64, f64)| {
                    (
                        at.0 + way * (10.0 + 0.5 * wide + 14.0 * f64::from(step - 1)),
                        at.1,
                    )
                };
                let found = places.iter().find(|at| self.free(around(word, beside(at))));
                if let Some(at) = found {
                    drawing.line(vec![*at, beside(at)], QUIET_INK, 0.8);
                    self.draw(drawing, word, beside(at));
                    return;
                }
            }
        }
    }

    fn draw(&mut self, drawing: &mut Drawing, word: &str, at: (f64, f64)) {
        plate(drawing, word, at);
        self.taken.push(around(word, at));
    }
}

fn half_width(word: &str) -> f64 {
    0.5 * text_width(word, LETTERS_PX) + 3.0
}

/// The plate of a word about a place.
pub(super) fn around(word: &str, (x, y): (f64, f64)) -> Box {
    let half = half_width(word);
    (x - half, y - 9.0, x + half, y + 9.0)
}

/// Numbers of cases, from one on, with what runs on as a range: `1 3-6`.
pub(super) fn numbers(cases: &[usize]) -> String {
    let mut runs: Vec<(usize, usize)> = Vec::new();
    for case in cases {
        match runs.last_mut() {
            Some((_, last)) if *last + 1 == *case => *last = *case,
            _ => runs.push((*case, *case)),
        }
    }
    let words = runs.iter().map(|(first, last)| match last - first {
        0 => (first + 1).to_string(),
        1 => format!("{} {}", first + 1, last + 1),
        _ => format!("{}\u{2013}{}", first + 1, last + 1),
    });
    words.collect::<Vec<_>>().join(" ")
}
