//! The cases of a line in words, each with its number and its dashes.

use assess::CaseShape;
use assess::input::DesignCase;
use quantity::{Dimension, show};

use super::super::canvas::{Align, shortened, text_width};
use super::super::colour::INK;
use super::super::drawing::Drawing;
use super::{ABOVE_PX, LETTERS_PX, Page, ROW_PX, colour, dashes, plate, signed};

/// Most columns of the legend, and the share of the page that it may take.
const COLUMNS: usize = 3;
const OF_PAGE: f64 = 0.42;

/// Columns and rows of the legend of so many cases on a page so high.
pub(super) fn columns_and_rows(cases: usize, height_px: f64) -> (usize, usize) {
    let most = ((OF_PAGE * height_px / ROW_PX) as usize).max(1);
    let columns = cases.div_ceil(most).clamp(1, COLUMNS);
    (columns, cases.div_ceil(columns).min(most))
}

/// An id and as many of the words after it as have room, whole ones; the id is shortened where it has none.
fn that_fit(words: &[String], room_px: f64) -> String {
    let [id, more @ ..] = words else {
        return String::new();
    };
    let mut told = id.clone();
    for (ix, word) in more.iter().enumerate() {
        let between = if ix == 0 { " " } else { ", " };
        let longer = format!("{told}{between}{word}");
        let rest = if ix + 1 < more.len() { ", …" } else { "" };
        if text_width(&format!("{longer}{rest}"), LETTERS_PX) > room_px {
            told.push_str(if ix == 0 { " …" } else { ", …" });
            break;
        }
        told = longer;
    }
    shortened(&told, LETTERS_PX, room_px)
}

impl Page<'_> {
    pub(super) fn legend(&self, drawing: &mut Drawing, top: f64) {
        let cases = self.found.cases.len();
        let (columns, rows) = columns_and_rows(cases, f64::from(self.size.height_px));
        let whole_px = f64::from(self.size.width_px) - 70.0 - ABOVE_PX - 120.0;
        let wide_px = whole_px / columns as f64;
        let room_px = wide_px - 94.0;
        let shown = cases.min(columns * rows);
        // The last row tells what has none.
        let shown = if shown < cases { shown - 1 } else { shown };
        let place = |ix: usize| {
            let (column, row) = (ix / rows, ix % rows);
            (70.0 + wide_px * column as f64, top + ROW_PX * row as f64)
        };
        for (ix, case) in self.found.cases.iter().enumerate().take(shown) {
            let (left, y) = place(ix);
            plate(drawing, &(ix + 1).to_string(), (left + 6.0, y));
            let ends = vec![(left + 22.0, y), (left + 76.0, y)];
            drawing.dashed(ends, colour(ix), 2.0, dashes(ix));
            let words = that_fit(&self.words(ix, case), room_px);
            drawing.text(words, (left + 84.0, y + 5.0), Align::Left, INK);
        }
        if shown < cases {
            let (left, y) = place(shown);
            let words = format!("and {} more cases, in words alone", cases - shown);
            let words = shortened(&words, LETTERS_PX, room_px);
            drawing.text(words, (left + 84.0, y + 5.0), Align::Left, INK);
        }
    }

    /// Of a case its id, what becomes of the line, and its weather, each apart.
    fn words(&self, ix: usize, case: &DesignCase) -> Vec<String> {
        let mut words = vec![format!("{}:", case.id)];
        match &self.of.shapes[ix] {
            Ok(shape) => {
                words.push(format!("{:.1} m off", shape.shape.excursion_m()));
                words.extend(shape.sunk().map(ToOwned::to_owned));
            }
            Err(_) => words.push("shape unknown".to_owned()),
        }
        if let Some(under) = self.lies_on(ix) {
            words.push(format!("on {}", under + 1));
        }
        if let Some((wind_m_s, _)) = case.wind {
            words.push(format!("wind {wind_m_s} m/s"));
        }
        if let Some((height_m, _)) = case.wave {
            words.push(format!("waves {}", show(height_m, Dimension::Length)));
        }
        if case.strum {
            words.push("strum".to_owned());
        }
        words.push(format!("water {}", signed(case.level_m)));
        let fastest_m_s = case.current.iter().map(|p| p.1).fold(0.0, f64::max);
        if fastest_m_s > 0.0 {
            let towards = |depth_m| case.water.current.speed_and_direction(depth_m).1;
            let (surface_deg, bed_deg) = (towards(0.0), towards(case.water.depth_m));
            words.push(
                if case.current.iter().all(|p| (p.2 - surface_deg).abs() < 0.5) {
                    format!("to {surface_deg:.0}\u{b0}")
                } else {
                    format!("to {surface_deg:.0}\u{b0} above and {bed_deg:.0}\u{b0} at the bed")
                },
            );
        }
        words
    }

    /// The first case before one on whose line it is drawn all along.
    pub(super) fn lies_on(&self, ix: usize) -> Option<usize> {
        const SAME_PX: f64 = 2.0;
        let way = |shape: &CaseShape| -> Vec<(f64, f64)> {
            let long_m = self.of.line.length_m();
            let points = &shape.shape.points;
            (0..=20)
                .filter_map(|k| {
                    let s_m = long_m * f64::from(k) / 20.0;
                    let nearest = points
                        .iter()
                        .min_by(|a, b| (a.s_m - s_m).abs().total_cmp(&(b.s_m - s_m).abs()))?;
                    Some(self.at(shape, nearest.at_m))
                })
                .collect()
        };
        let own = way(self.of.shapes[ix].as_ref().ok()?);
        (0..ix).find(|before| {
            self.of.shapes[*before].as_ref().is_ok_and(|other| {
                let pairs = own.iter().zip(way(other));
                pairs
                    .map(|(a, b)| libm::hypot(a.0 - b.0, a.1 - b.1))
                    .fold(0.0, f64::max)
                    < SAME_PX
            })
        })
    }
}
