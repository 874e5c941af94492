//! Grids of what late ships do: a row for each start, a column for each recovery, in each cell a sign and a number.
//!
//! What holds is told by signs and numbers; colour only helps.

use assess::{Slip, SlipGrid, Word};

use super::canvas::{Align, Area, checked_size, shortened};
use super::colour::{INK, QUIET_INK, Rgb, WHITE};
use super::drawing::Drawing;
use super::shapes;
use super::{PictureError, PictureSize};
use crate::told::{days_late, extent, left_in, unit_left, worst_in, worst_told};

const MET: Rgb = [206, 224, 240];
const MARGINAL: Rgb = [250, 224, 150];
const BROKEN: Rgb = [240, 168, 128];
const UNKNOWN: Rgb = [208, 208, 208];
const OWN: Rgb = [22, 78, 120];
const TEXT_PX: f32 = 15.0;
/// Width of a letter of the text, px, rounded up.
const LETTER_PX: f64 = 9.1;
/// What a cell beyond the plan's slips is smaller at each side, px.
const BEYOND_PX: f64 = 5.0;

/// The picture of one requirement by its place among those that move, or of the worst of all, as a PNG file.
///
/// # Errors
/// [`PictureError::Size`].
pub fn slip_picture_png(
    title: &str,
    slip: &Slip,
    of: Option<usize>,
    size: PictureSize,
) -> Result<Vec<u8>, PictureError> {
    let drawing = draw(title, slip, of, size)?;
    Ok(shapes::png(
        &drawing.shapes,
        size,
        title,
        &description(slip, of),
    ))
}

/// The picture as an SVG file.
///
/// # Errors
/// As [`slip_picture_png`].
pub fn slip_picture_svg(
    title: &str,
    slip: &Slip,
    of: Option<usize>,
    size: PictureSize,
) -> Result<String, PictureError> {
    let drawing = draw(title, slip, of, size)?;
    Ok(shapes::svg(
        &drawing.shapes,
        size,
        title,
        &description(slip, of),
    ))
}

fn grid(slip: &Slip, of: Option<usize>) -> Option<&SlipGrid> {
    slip.moved().nth(of?)
}

fn description(slip: &Slip, of: Option<usize>) -> String {
    let what = match grid(slip, of) {
        Some(grid) => format!("{}: {}; {}", grid.id, grid.sentence, worst_told(slip, grid)),
        None => "The worst verdict of all that the slips move".to_owned(),
    };
    format!(
        "{what}. A row for each late start, a column for each late recovery; {}.",
        extent(slip)
    )
}

fn draw(
    title: &str,
    slip: &Slip,
    of: Option<usize>,
    size: PictureSize,
) -> Result<Drawing, PictureError> {
    checked_size(size.width_px, size.height_px)?;
    let (width, height) = (f64::from(size.width_px), f64::from(size.height_px));
    let one = grid(slip, of);
    let area = Area {
        left: 110.0,
        top: 150.0,
        right: width - if one.is_some() { 40.0 } else { 330.0 },
        bottom: height - 96.0,
    };
    let mut drawing = Drawing::titled(title, width);
    let what = match one {
        Some(grid) => format!(
            "{}: {}; left to its limit, {}",
            grid.id,
            grid.sentence,
            unit_left(grid)
        ),
        None => {
            "the worst of all that these slips move, and the numbers of those that it is".to_owned()
        }
    };
    let room = width - 110.0;
    drawing.text(
        shortened(&what, TEXT_PX, room),
        (70.0, 66.0),
        Align::Left,
        INK,
    );
    if let Some(grid) = one {
        let told = shortened(&worst_told(slip, grid), TEXT_PX, room);
        drawing.text(told, (70.0, 90.0), Align::Left, INK);
    }
    cells(&mut drawing, slip, one, area);
    if one.is_none() {
        numbers(&mut drawing, slip, area.right + 24.0, width - 20.0);
    }
    keys(&mut drawing, slip, height);
    Ok(drawing)
}

fn colour(word: Word) -> Rgb {
    match word {
        Word::Met => MET,
        Word::Marginal => MARGINAL,
        Word::Broken => BROKEN,
        Word::Unknown | Word::Provisional => UNKNOWN,
    }
}

fn cells(drawing: &mut Drawing, slip: &Slip, one: Option<&SlipGrid>, area: Area) {
    let (rows, columns) = (slip.starts.each_s.len(), slip.recoveries.each_s.len());
    let wide = (area.right - area.left) / columns as f64;
    let high = (area.bottom - area.top) / rows as f64;
    let x = |column: usize| area.left + column as f64 * wide;
    let y = |row: usize| area.top + row as f64 * high;
    let letters = ((wide - 8.0) / LETTER_PX) as usize;
    drawing.text(
        "recovered later than planned, days",
        (area.left, area.top - 32.0),
        Align::Left,
        INK,
    );
    drawing.text("starts", (14.0, area.top - 32.0), Align::Left, INK);
    drawing.text("late, days", (14.0, area.top - 10.0), Align::Left, INK);
    for (column, slip_s) in slip.recoveries.each_s.iter().enumerate() {
        let middle = x(column) + wide / 2.0;
        let at = (middle, area.top - 10.0);
        drawing.text(days_late(*slip_s), at, Align::Centre, INK);
    }
    for (row, slip_s) in slip.starts.each_s.iter().enumerate() {
        let middle = y(row) + high / 2.0 + 5.0;
        let at = (area.left - 12.0, middle);
        drawing.text(days_late(*slip_s), at, Align::Right, INK);
        for column in 0..columns {
            let (word, told) = match one {
                Some(grid) => {
                    let cell = &grid.cells[row][column];
                    (Some(cell.word), left_in(cell))
                }
                None => (
                    slip.worst_of(row, column).map(|(word, _)| word),
                    worst_in(slip, row, column, letters),
                ),
            };
            let inset = if slip.is_own(row, column) {
                1.0
            } else {
                BEYOND_PX
            };
            let within = (
                x(column) + inset,
                y(row) + inset,
                x(column + 1) - inset,
                y(row + 1) - inset,
            );
            drawing.fill(within, word.map_or(WHITE, colour));
            let told = shortened(&told, TEXT_PX, wide - 2.0 * BEYOND_PX);
            drawing.text(told, (x(column) + wide / 2.0, middle), Align::Centre, INK);
        }
    }
    let (right, bottom) = (x(slip.recoveries.own + 1), y(slip.starts.own + 1));
    let around = vec![
        (area.left, area.top),
        (right, area.top),
        (right, bottom),
        (area.left, bottom),
        (area.left, area.top),
    ];
    drawing.line(around, OWN, 3.0);
}

/// The numbers of the requirements.
fn numbers(drawing: &mut Drawing, slip: &Slip, left: f64, right: f64) {
    for (k, grid) in slip.moved().enumerate() {
        let text = format!("{} {}", k + 1, grid.id);
        let y = 166.0 + 24.0 * k as f64;
        drawing.text(
            shortened(&text, TEXT_PX, right - left),
            (left, y),
            Align::Left,
            INK,
        );
    }
    if slip.moved().next().is_none() {
        drawing.text("nothing moves", (left, 166.0), Align::Left, INK);
    }
}

fn keys(drawing: &mut Drawing, slip: &Slip, height: f64) {
    let mut x = 110.0;
    let words = [
        (Word::Met, "= met"),
        (Word::Marginal, "~ marginal"),
        (Word::Broken, "X broken"),
        (Word::Unknown, "? unknown"),
    ];
    for (word, told) in words {
        let y = height - 62.0;
        drawing.fill((x, y - 14.0, x + 22.0, y + 4.0), colour(word));
        drawing.text(told, (x + 30.0, y), Align::Left, INK);
        x += 60.0 + LETTER_PX * told.len() as f64;
    }
    drawing.text(
        format!(
            "Within the frame: the slips of the plan ({}); smaller cells lie beyond them.",
            extent(slip)
        ),
        (70.0, height - 26.0),
        Align::Left,
        QUIET_INK,
    );
}
