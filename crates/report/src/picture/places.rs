//! The picture of a line with the places at which a part may be added: the line from top to bottom, and beside each place what is left.
//!
//! What may be is told by words and marks; colour only helps.

use assess::{Answer, Place, Places, Way};

use super::canvas::{Align, Area, checked_size, shortened};
use super::colour::{GRID_LINE, INK, QUIET_INK, Rgb};
use super::drawing::Drawing;
use super::shapes;
use super::{PictureError, PictureSize};
use crate::told::{bound_words, place_name};

const MAY_GO: Rgb = [22, 78, 120];
const MAY_NOT: Rgb = [176, 58, 20];
const UNKNOWN: Rgb = [110, 110, 110];
const TEXT_PX: f32 = 15.0;
/// A row lower than this has no room for its words.
const LEAST_ROW_PX: f64 = 18.0;
/// Half the side of a module's mark.
const MODULE_PX: f64 = 6.0;
/// Where the line is drawn, and where names, bars and words begin.
const LINE_X: f64 = 60.0;
const NAMES_X: f64 = 90.0;
const BARS_X: f64 = 440.0;
const WORDS_X: f64 = 700.0;

/// The picture as a PNG file.
///
/// # Errors
/// [`PictureError::Size`].
pub fn places_picture_png(
    title: &str,
    found: &Places,
    size: PictureSize,
) -> Result<Vec<u8>, PictureError> {
    let drawing = draw(title, found, size)?;
    let description = description(found);
    Ok(shapes::png(&drawing.shapes, size, title, &description))
}

/// The picture as an SVG file.
///
/// # Errors
/// As [`places_picture_png`].
pub fn places_picture_svg(
    title: &str,
    found: &Places,
    size: PictureSize,
) -> Result<String, PictureError> {
    let drawing = draw(title, found, size)?;
    let description = description(found);
    Ok(shapes::svg(&drawing.shapes, size, title, &description))
}

fn description(found: &Places) -> String {
    let of = |answer| found.places.iter().filter(|p| p.answer == answer).count();
    format!(
        "Places of the line at which {} may be added: {} where it may go, {} where it may not, {} of which that is unknown.",
        found.part,
        of(Answer::MayGo),
        of(Answer::MayNot),
        of(Answer::Unknown)
    )
}

fn draw(title: &str, found: &Places, size: PictureSize) -> Result<Drawing, PictureError> {
    checked_size(size.width_px, size.height_px)?;
    let (width, height) = (f64::from(size.width_px), f64::from(size.height_px));
    let area = Area {
        left: BARS_X,
        top: 96.0,
        right: WORDS_X - 30.0,
        bottom: height - 50.0,
    };
    let mut drawing = Drawing::titled(title, width);
    for (share, label) in [(0.0, "nothing"), (0.5, "half"), (1.0, "all")] {
        let x = area.left + share * (area.right - area.left);
        drawing.line(vec![(x, area.top), (x, area.bottom)], GRID_LINE, 1.0);
        drawing.text(label, (x, area.top - 8.0), Align::Centre, INK);
    }
    let head = area.top - 28.0;
    drawing.text("place", (NAMES_X, head), Align::Left, INK);
    drawing.text(
        "left of the margin that binds",
        (area.left, head),
        Align::Left,
        INK,
    );
    let count = found.places.len().max(1);
    let step_px = (area.bottom - area.top) / count as f64;
    // In a crowd every second, third ... place has its words.
    let every = (LEAST_ROW_PX / step_px).ceil().max(1.0) as usize;
    let y = |row: usize| area.top + (row as f64 + 0.5) * step_px;
    drawing.line(vec![(LINE_X, y(0)), (LINE_X, y(count - 1))], QUIET_INK, 3.0);
    for (row, place) in found.places.iter().enumerate() {
        mark(&mut drawing, place, y(row));
        bar(&mut drawing, place, area, y(row), step_px);
        if row % every == 0 {
            words(&mut drawing, place, y(row) + 5.0, width);
        }
    }
    let provisional = match found.provisional {
        true => " Provisional: without what is claimed of the years.",
        false => "",
    };
    drawing.text(
        format!(
            "Square: beside a module, on a stub. Dash: in a span that is cut, or beyond the last module.{provisional}"
        ),
        (70.0, height - 14.0),
        Align::Left,
        QUIET_INK,
    );
    Ok(drawing)
}

fn colour(answer: Answer) -> Rgb {
    match answer {
        Answer::MayGo => MAY_GO,
        Answer::MayNot => MAY_NOT,
        Answer::Unknown => UNKNOWN,
    }
}

fn mark(drawing: &mut Drawing, place: &Place, y: f64) {
    let colour = colour(place.answer);
    match place.site.way {
        Way::Beside { .. } => drawing.fill(
            (
                LINE_X - MODULE_PX,
                y - MODULE_PX,
                LINE_X + MODULE_PX,
                y + MODULE_PX,
            ),
            colour,
        ),
        Way::Within { .. } | Way::Beyond { .. } => {
            drawing.line(vec![(LINE_X - 10.0, y), (LINE_X + 10.0, y)], colour, 4.0);
        }
    }
}

/// What is left, from nothing to all; no bar where something is broken or no limit is told.
fn bar(drawing: &mut Drawing, place: &Place, area: Area, y: f64, step_px: f64) {
    let Some(bind) = &place.binds else { return };
    if bind.left <= 0.0 || place.answer == Answer::MayNot {
        return;
    }
    let right = area.left + bind.left.min(1.0) * (area.right - area.left);
    let half_px = (0.3 * step_px).min(8.0);
    let within = (area.left, y - half_px, right, y + half_px);
    drawing.fill(within, colour(place.answer));
}

fn words(drawing: &mut Drawing, place: &Place, y: f64, width: f64) {
    let depth = place
        .depth_m
        .map_or_else(String::new, |m| format!(", {m:.1} m"));
    let name = format!("{}{depth}", place_name(place));
    let name = shortened(&name, TEXT_PX, BARS_X - NAMES_X - 20.0);
    drawing.text(name, (NAMES_X, y), Align::Left, INK);
    let (answer, why) = match place.answer {
        Answer::MayGo => ("may go", None),
        Answer::MayNot => ("may not", place.refused.first()),
        Answer::Unknown => ("unknown", place.unknown.first()),
    };
    let bound = place.binds.as_ref().map(bound_words);
    let why = why.cloned().or(bound).unwrap_or_default();
    let text = shortened(&format!("{answer}: {why}"), TEXT_PX, width - WORDS_X - 20.0);
    drawing.text(text, (WORDS_X, y), Align::Left, colour(place.answer));
}
