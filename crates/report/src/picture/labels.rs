//! Places for words beside points of a plot: clear of its lines and of each other.

use super::canvas::{Area, text_width};

const LETTERS_PX: f32 = 15.0;
/// Height of letters over their baseline, and of what hangs below it, pixels.
const RISE_PX: f64 = 13.0;
const FALL_PX: f64 = 4.0;
/// From a point to the words beside it.
const BESIDE_PX: f64 = 12.0;
/// From a point down to the baseline of its words, the best first.
const RISES_PX: [f64; 9] = [22.0, -12.0, 5.0, 40.0, -30.0, 58.0, -48.0, 76.0, -66.0];

/// Words are nearer to their own point than to any other mark by so much, pixels.
const NEARER_PX: f64 = 4.0;
/// Marks so near each other are of one point, pixels.
const SAME_PX: f64 = 0.5;

/// What is in the way of words, and the words that found a place.
pub(super) struct Labels {
    within: Area,
    lines: Vec<[(f64, f64); 2]>,
    marks: Vec<(f64, f64)>,
    taken: Vec<Area>,
}

impl Labels {
    pub(super) fn new(within: Area) -> Self {
        Self {
            within,
            lines: Vec::new(),
            marks: Vec::new(),
            taken: Vec::new(),
        }
    }

    /// A line that no words are to lie on.
    pub(super) fn line(&mut self, points: &[(f64, f64)]) {
        let pairs = points.windows(2).map(|pair| [pair[0], pair[1]]);
        self.lines.extend(pairs);
    }

    /// A mark that no words are to lie on, so far out to each side.
    pub(super) fn mark(&mut self, (x, y): (f64, f64), half_px: f64) {
        self.marks.push((x, y));
        self.taken.push(Area {
            left: x - half_px,
            top: y - half_px,
            right: x + half_px,
            bottom: y + half_px,
        });
    }

    /// Left end of the baseline for words beside a point, nearer to it than to other marks and clear of everything; `None` where there is no such
    /// place. With `must` it is then the place that meets least.
    pub(super) fn place(
        &mut self,
        point: (f64, f64),
        text: &str,
        must: bool,
    ) -> Option<(f64, f64)> {
        let width = text_width(text, LETTERS_PX);
        let sides = [BESIDE_PX, -BESIDE_PX - width, -0.5 * width];
        // Words far from their point are taken for those of another.
        let rises: &[f64] = if must { &RISES_PX } else { &RISES_PX[..3] };
        let mut best: Option<(usize, (f64, f64), Area)> = None;
        for &rise in rises {
            for side in sides {
                let at = (point.0 + side, point.1 + rise);
                let area = Area {
                    left: at.0 - 3.0,
                    top: at.1 - RISE_PX,
                    right: at.0 + width + 3.0,
                    bottom: at.1 + FALL_PX,
                };
                if !holds(&self.within, &area) {
                    continue;
                }
                let met = self.met(&area) + usize::from(self.doubtful(&area, point)) * 10;
                if best.as_ref().is_none_or(|(least, ..)| met < *least) {
                    best = Some((met, at, area));
                }
            }
        }
        let (met, at, area) = best?;
        if met > 0 && !must {
            return None;
        }
        self.taken.push(area);
        Some(at)
    }

    /// Whether words there may be taken for those of another mark.
    fn doubtful(&self, area: &Area, point: (f64, f64)) -> bool {
        let own = away(area, point);
        let others = self
            .marks
            .iter()
            .filter(|mark| libm::hypot(mark.0 - point.0, mark.1 - point.1) > SAME_PX);
        others
            .map(|mark| away(area, *mark))
            .any(|other| other < own + NEARER_PX)
    }

    /// How much is in the way of an area; words and marks weigh as many lines.
    fn met(&self, area: &Area) -> usize {
        let lines = self.lines.iter().filter(|line| crosses(area, line));
        let taken = self.taken.iter().filter(|taken| meets(area, taken));
        lines.count() + 100 * taken.count()
    }
}

/// From a point to an area, pixels; zero within.
fn away(area: &Area, (x, y): (f64, f64)) -> f64 {
    let beyond = |at: f64, low: f64, high: f64| (low - at).max(at - high).max(0.0);
    libm::hypot(
        beyond(x, area.left, area.right),
        beyond(y, area.top, area.bottom),
    )
}

fn holds(outer: &Area, inner: &Area) -> bool {
    inner.left >= outer.left
        && inner.right <= outer.right
        && inner.top >= outer.top
        && inner.bottom <= outer.bottom
}

fn meets(a: &Area, b: &Area) -> bool {
    a.left < b.right && b.left < a.right && a.top < b.bottom && b.top < a.bottom
}

/// Whether a straight line has a point in an area: what the four sides leave of it is not empty.
fn crosses(area: &Area, [from, to]: &[(f64, f64); 2]) -> bool {
    let (mut first, mut last) = (0.0_f64, 1.0_f64);
    let ways = [
        (from.0, to.0 - from.0, area.left, area.right),
        (from.1, to.1 - from.1, area.top, area.bottom),
    ];
    for (start, way, low, high) in ways {
        if way == 0.0 {
            if start < low || start > high {
                return false;
            }
            continue;
        }
        let (a, b) = ((low - start) / way, (high - start) / way);
        first = first.max(a.min(b));
        last = last.min(a.max(b));
    }
    first <= last
}

#[cfg(test)]
mod tests {
    use super::*;

    const PLOT: Area = Area {
        left: 0.0,
        top: 0.0,
        right: 600.0,
        bottom: 400.0,
    };

    #[test]
    fn verif_a_line_crosses_what_it_runs_through() {
        let area = Area {
            left: 10.0,
            top: 10.0,
            right: 20.0,
            bottom: 20.0,
        };
        assert!(crosses(&area, &[(0.0, 0.0), (30.0, 30.0)]));
        assert!(crosses(&area, &[(15.0, 0.0), (15.0, 30.0)]));
        assert!(crosses(&area, &[(12.0, 12.0), (13.0, 12.0)]));
        assert!(!crosses(&area, &[(0.0, 15.0), (5.0, 15.0)]));
        assert!(!crosses(&area, &[(0.0, 15.0), (15.0, 0.0)]));
    }

    /// A point in the middle of a cross of lines, as that of a plan on its curve: the words lie on neither.
    #[test]
    fn verif_words_keep_clear_of_lines_and_of_each_other() {
        let mut labels = Labels::new(PLOT);
        labels.line(&[(0.0, 200.0), (600.0, 200.0)]);
        labels.line(&[(300.0, 0.0), (300.0, 400.0)]);
        labels.line(&[(300.0, 200.0), (420.0, 320.0)]);
        let mut placed: Vec<Area> = Vec::new();
        for _ in 0..3 {
            let at = labels.place((300.0, 200.0), "plan 6.0 dB", true).unwrap();
            let area = *labels.taken.last().unwrap();
            assert!(area.left <= at.0 && at.0 <= area.right);
            assert_eq!(labels.lines.iter().filter(|l| crosses(&area, l)).count(), 0);
            assert!(placed.iter().all(|other| !meets(other, &area)));
            placed.push(area);
        }
    }

    /// Points of a steep curve: what stands beside one of them is nearer to it than to the next, or is left out.
    #[test]
    fn verif_words_stand_nearest_to_their_own_point() {
        let points = [165.0, 175.0, 186.0, 260.0].map(|y| (300.0, y));
        let mut labels = Labels::new(PLOT);
        for point in points {
            labels.mark(point, 3.0);
        }
        let mut stand = 0;
        for point in points {
            if labels.place(point, "2.0 to 2.5 dB", false).is_some() {
                stand += 1;
                let area = labels.taken.last().unwrap();
                for other in points.iter().filter(|other| **other != point) {
                    assert!(away(area, point) < away(area, *other), "{point:?}");
                }
            }
        }
        assert!(stand >= 2, "{stand}");
    }

    #[test]
    fn verif_words_without_a_place_are_left_out_unless_they_must_stand() {
        let mut labels = Labels::new(PLOT);
        for y in (0..400).step_by(5) {
            labels.line(&[(0.0, f64::from(y)), (600.0, f64::from(y))]);
        }
        assert_eq!(labels.place((300.0, 200.0), "6.5 dB", false), None);
        assert!(labels.place((300.0, 200.0), "6.5 dB", true).is_some());
    }
}
