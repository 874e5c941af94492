//! The picture of how surely requirements are met: a row for each, the worst first, with the spread of its margin against the limit.
//!
//! Rows have scales of their own, as margins have units of their own; the limit is one line through all of them. What is met and what
//! broken is told by the side of that line and by words; colour only helps. Nothing is cut short: what is long takes more rows.

use assess::{Certain, Certainty, DrawnShare, Figure, Margins, Sureness, Sway};

use super::canvas::{Align, checked_size, text_width};
use super::colour::{BAR, GRID_LINE, INK, QUIET_INK, Rgb};
use super::drawing::Drawing;
use super::page::rows;
use super::shapes::{self, Shape};
use super::{PictureError, PictureSize};
use crate::told::{batch_names, figure_words, unit_words};

/// Of the whole picture; its height is as large as its rows need.
const WIDTH_PX: u32 = 1280;
const NAME_PX: f32 = 15.0;
const SMALL_PX: f32 = 13.0;
const ROW_PX: f64 = 18.0;
const PAD_PX: f64 = 24.0;
/// Where the columns begin and end: names, margins, words.
const NAMES_X: (f64, f64) = (PAD_PX, 400.0);
const MARGINS_X: (f64, f64) = (430.0, 850.0);
const WORDS_X: (f64, f64) = (880.0, WIDTH_PX as f64 - PAD_PX);
/// The limit stands so far into the column of margins.
const LIMIT_SHARE: f64 = 0.3;
const HALF_BOX_PX: f64 = 9.0;
/// Inputs that are told of each.
const TOLD_INPUTS: usize = 2;
const WITHIN: Rgb = [150, 186, 206];
const BEYOND: Rgb = [226, 158, 132];
const LIMIT: Rgb = [150, 40, 20];

/// The picture as a PNG file, 1280 pixels wide.
///
/// # Errors
/// [`PictureError::Size`] for more requirements than a picture can hold.
pub fn certainty_picture_png(found: &Certainty) -> Result<Vec<u8>, PictureError> {
    let (drawing, size) = draw(found)?;
    Ok(shapes::png(
        &drawing.shapes,
        size,
        &title(found),
        &description(found),
    ))
}

/// The picture as an SVG file.
///
/// # Errors
/// As [`certainty_picture_png`].
pub fn certainty_picture_svg(found: &Certainty) -> Result<String, PictureError> {
    let (drawing, size) = draw(found)?;
    Ok(shapes::svg(
        &drawing.shapes,
        size,
        &title(found),
        &description(found),
    ))
}

fn title(found: &Certainty) -> String {
    let name = found.name.as_deref().unwrap_or("a plan without a name");
    format!("{name}: how surely the requirements are met")
}

fn description(found: &Certainty) -> String {
    format!(
        "Margins of {} requirements over {} draws of the plan, seed {}: below which 5, 25, 50, 75 and 95 % of the draws lie, against the limit.",
        found.requirements.len(),
        found.draws,
        found.seed
    )
}

/// The requirements that were drawn, the one that is met in the smallest share of draws first; of equals by id.
fn worst_first(found: &Certainty) -> Vec<(&Certain, &DrawnShare)> {
    let drawn = found.requirements.iter().filter_map(|c| match &c.sureness {
        Sureness::Drawn(drawn) => Some((c, drawn.as_ref())),
        Sureness::AsWritten { .. } => None,
    });
    let mut all: Vec<(&Certain, &DrawnShare)> = drawn.collect();
    all.sort_by_key(|(_, drawn)| drawn.met);
    all
}

/// A page on which rows are written from top to bottom.
struct Page {
    drawing: Drawing,
    y: f64,
}

impl Page {
    fn text(&mut self, text: &str, at: (f64, f64), size_px: f32, align: Align, colour: Rgb) {
        self.drawing.shapes.push(Shape::Text {
            text: text.to_owned(),
            at,
            size_px,
            align,
            colour,
        });
    }

    /// Rows of a column from `top` on; where they end.
    fn column(
        &mut self,
        text: &str,
        (left, right): (f64, f64),
        top: f64,
        size_px: f32,
        colour: Rgb,
    ) -> f64 {
        let mut y = top;
        for row in rows(
            &breakable(text, size_px, right - left),
            size_px,
            right - left,
        ) {
            self.text(&row, (left, y + 14.0), size_px, Align::Left, colour);
            y += ROW_PX;
        }
        y
    }

    /// Rows over the whole width.
    fn paragraph(&mut self, text: &str, size_px: f32, colour: Rgb) {
        self.y = self.column(text, (NAMES_X.0, WORDS_X.1), self.y, size_px, colour);
    }
}

/// A text in which words wider than the room may break after a point, so that nothing has to be cut.
fn breakable(text: &str, size_px: f32, room_px: f64) -> String {
    let word = |word: &str| {
        if text_width(word, size_px) <= room_px {
            return word.to_owned();
        }
        let mut pieces = String::new();
        let mut piece = String::new();
        for part in word.split_inclusive(['.', '-', '/']) {
            if !piece.is_empty() && text_width(&format!("{piece}{part}"), size_px) > room_px {
                pieces.push_str(&piece);
                pieces.push(' ');
                piece.clear();
            }
            piece.push_str(part);
        }
        pieces + &piece
    };
    text.split(' ').map(word).collect::<Vec<_>>().join(" ")
}

fn draw(found: &Certainty) -> Result<(Drawing, PictureSize), PictureError> {
    let mut page = Page {
        drawing: Drawing { shapes: Vec::new() },
        y: PAD_PX,
    };
    let title = title(found);
    for row in rows(&title, 20.0, WORDS_X.1 - NAMES_X.0) {
        page.text(&row, (NAMES_X.0, page.y + 16.0), 20.0, Align::Left, INK);
        page.y += 28.0;
    }
    let head = format!(
        "{} draws of {} written with a spread, seed {}. Shares are of all draws, with exact limits at 95 % confidence.",
        found.draws,
        match found.inputs.len() {
            1 => "the one value".to_owned(),
            n => format!("the {n} values"),
        },
        found.seed
    );
    page.paragraph(&head, SMALL_PX, QUIET_INK);
    if let Some(none) = &found.no_line {
        let told = format!(
            "In {} draws the values make no plan; everything counts as unknown there.",
            none.draws
        );
        page.paragraph(&told, SMALL_PX, INK);
    }
    page.y += 10.0;
    key(&mut page);
    let top = page.y;
    let limit_x = limit_x();
    for (certain, drawn) in worst_first(found) {
        requirement(&mut page, found, certain, drawn);
    }
    let bottom = page.y;
    // Behind the rows.
    page.drawing.shapes.insert(
        0,
        Shape::Line {
            points: vec![(limit_x, top), (limit_x, bottom)],
            colour: LIMIT,
            width_px: 1.5,
            dashes_px: &[7.0, 4.0],
        },
    );
    page.y += 6.0;
    for certain in &found.requirements {
        if let Sureness::AsWritten { why } = &certain.sureness {
            let told = format!("Not drawn: {}: {why}.", certain.id);
            page.paragraph(&told, SMALL_PX, QUIET_INK);
        }
    }
    page.paragraph(
        "Each row has a scale of its own. A share of draws is not the probability that the line works: spreads are what the plan says, and what the methods leave out is not in it.",
        SMALL_PX,
        QUIET_INK,
    );
    let height = page.y + PAD_PX;
    let height_px = if height < 8001.0 {
        height as u32
    } else {
        u32::MAX
    };
    // A page with few rows is as high as the smallest picture.
    let size = PictureSize {
        width_px: WIDTH_PX,
        height_px: height_px.max(480),
    };
    checked_size(size.width_px, size.height_px)?;
    Ok((page.drawing, size))
}

fn limit_x() -> f64 {
    MARGINS_X.0 + LIMIT_SHARE * (MARGINS_X.1 - MARGINS_X.0)
}

/// What the marks mean, and the heads of the columns.
fn key(page: &mut Page) {
    let y = page.y;
    page.text(
        "Requirement, the least sure first",
        (NAMES_X.0, y + 14.0),
        NAME_PX,
        Align::Left,
        INK,
    );
    page.text(
        "In how many draws; what moves it most",
        (WORDS_X.0, y + 14.0),
        NAME_PX,
        Align::Left,
        INK,
    );
    let limit_x = limit_x();
    page.text(
        "broken \u{2190}",
        (limit_x - 28.0, y + 14.0),
        NAME_PX,
        Align::Right,
        INK,
    );
    page.text("limit", (limit_x, y + 14.0), NAME_PX, Align::Centre, LIMIT);
    page.text(
        "\u{2192} met",
        (limit_x + 28.0, y + 14.0),
        NAME_PX,
        Align::Left,
        INK,
    );
    let marks = [0.0, 0.25, 0.5, 0.75, 1.0].map(|s| limit_x + 100.0 + s * 150.0);
    spread(page, marks, y + 34.0, limit_x);
    for (x, label) in marks.iter().zip(["5", "25", "50", "75", "95 %"]) {
        page.text(label, (*x, y + 60.0), SMALL_PX, Align::Centre, QUIET_INK);
    }
    page.text(
        "draws below",
        (limit_x + 84.0, y + 60.0),
        SMALL_PX,
        Align::Right,
        QUIET_INK,
    );
    page.y = y + 70.0;
    separator(page);
}

fn separator(page: &mut Page) {
    let y = page.y;
    page.drawing
        .line(vec![(NAMES_X.0, y), (WORDS_X.1, y)], GRID_LINE, 1.0);
    page.y += 6.0;
}

/// Marks at five margins: a line from the first to the last, a box between the second and the fourth, a bold mark at the middle.
fn spread(page: &mut Page, x: [f64; 5], y: f64, limit_x: f64) {
    let drawing = &mut page.drawing;
    drawing.line(vec![(x[0], y), (x[4], y)], INK, 1.5);
    if x[0] < limit_x {
        let end = x[4].min(limit_x);
        drawing.line(vec![(x[0], y), (end, y)], LIMIT, 3.0);
    }
    for end in [x[0], x[4]] {
        drawing.line(vec![(end, y - 6.0), (end, y + 6.0)], INK, 1.5);
    }
    let (left, right) = (x[1], x[3].max(x[1] + 1.0));
    for (from, to, colour) in [
        (left, right.min(limit_x), BEYOND),
        (left.max(limit_x), right, WITHIN),
    ] {
        if from < to {
            drawing.fill((from, y - HALF_BOX_PX, to, y + HALF_BOX_PX), colour);
        }
    }
    let (top, bottom) = (y - HALF_BOX_PX, y + HALF_BOX_PX);
    let corners = vec![
        (left, top),
        (right, top),
        (right, bottom),
        (left, bottom),
        (left, top),
    ];
    drawing.line(corners, INK, 1.0);
    drawing.line(vec![(x[2], top - 3.0), (x[2], bottom + 3.0)], BAR, 4.0);
}

/// Where five margins stand, on a scale on which nothing is the limit and all have room.
fn places(margins: [f64; 5]) -> [f64; 5] {
    let (below, above) = (-margins[0].min(0.0), margins[4].max(0.0));
    let limit_x = limit_x();
    let room = |of: f64, px: f64| if of > 0.0 { px / of } else { f64::INFINITY };
    let scale =
        room(below, limit_x - MARGINS_X.0 - 8.0).min(room(above, MARGINS_X.1 - limit_x - 8.0));
    margins.map(|margin| match scale.is_finite() {
        true => limit_x + scale * margin,
        false => limit_x,
    })
}

fn requirement(page: &mut Page, found: &Certainty, certain: &Certain, drawn: &DrawnShare) {
    let top = page.y;
    let after_name = page.column(&certain.id, NAMES_X, top, NAME_PX, INK);
    let after_names = page.column(&certain.sentence, NAMES_X, after_name, SMALL_PX, QUIET_INK);
    let after_margins = margins(page, drawn, top);
    let after_words = words(page, found, drawn, top);
    page.y = after_names.max(after_margins).max(after_words) + 4.0;
    separator(page);
}

fn margins(page: &mut Page, drawn: &DrawnShare, top: f64) -> f64 {
    let Some(margins) = &drawn.margins else {
        return page.column("no draw has a margin", MARGINS_X, top, SMALL_PX, QUIET_INK);
    };
    let y = top + 14.0;
    spread(page, places(margins.at_5_25_50_75_95), y, limit_x());
    // Beside the line of the limit, which would go through them.
    let room = (limit_x() + 10.0, MARGINS_X.1);
    page.column(&in_numbers(margins), room, y + 14.0, SMALL_PX, INK)
}

/// The five margins in their unit; of draws that have none in it how many.
fn in_numbers(margins: &Margins) -> String {
    let unit = unit_words(&margins.unit);
    let number = |value: f64| {
        let figure = Figure {
            value,
            unit: margins.unit.clone(),
        };
        let told = figure_words(&figure, unit);
        told.strip_suffix(unit)
            .map_or(told.clone(), |n| n.trim_end().to_owned())
    };
    let told = if margins.lowest_highest.0 == margins.lowest_highest.1 {
        format!("{} {unit} in every draw", number(margins.lowest_highest.0))
    } else {
        let numbers = margins.at_5_25_50_75_95.map(number);
        format!("{} {unit}", numbers.join("  "))
    };
    match margins.without {
        0 => told,
        n => format!(
            "{told}, in {} draws; {n} have none in {unit}",
            margins.draws
        ),
    }
}

/// In how many draws it is met, and the inputs that move it most.
fn words(page: &mut Page, found: &Certainty, drawn: &DrawnShare, top: f64) -> f64 {
    let percent = |share: f64, round: fn(f64) -> f64| round(1e3 * share) / 10.0;
    let met = format!(
        "met in {} of {} ({} to {} %)",
        drawn.met,
        found.draws,
        percent(drawn.share_low, f64::floor),
        percent(drawn.share_high, f64::ceil)
    );
    let mut y = page.column(&met, WORDS_X, top, NAME_PX, INK);
    let counts = [
        (drawn.marginal, "marginal"),
        (drawn.broken, "broken"),
        (drawn.unknown, "unknown"),
    ];
    let counts = counts.iter().filter(|(draws, _)| *draws > 0);
    let counts: Vec<String> = counts
        .map(|(draws, what)| format!("{draws} {what}"))
        .collect();
    if !counts.is_empty() {
        y = page.column(&counts.join(", "), WORDS_X, y, SMALL_PX, INK);
    }
    let moved = drawn.margins.iter().flat_map(|m| &m.moved_by);
    for moves in moved.take(TOLD_INPUTS) {
        let of = match moves.moves {
            Sway::OneWay => "",
            Sway::FromTheMiddle => ", its distance from the middle",
        };
        let told = format!(
            "{:+.2} {}{of}",
            moves.rank_correlation,
            batch_names(&found.inputs[moves.input].paths)
        );
        y = page.column(&told, WORDS_X, y, SMALL_PX, QUIET_INK);
    }
    if let Some(margins) = drawn.margins.as_ref().filter(|m| m.moved_by.is_empty()) {
        let (lowest, highest) = margins.lowest_highest;
        let told = match lowest == highest {
            true => "nothing that is drawn moves it",
            false => "no input stands out of chance",
        };
        y = page.column(told, WORDS_X, y, SMALL_PX, QUIET_INK);
    }
    y
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use assess::{CertaintyAsk, Shelf, certainty, check};

    use super::*;

    /// A voltage over 200 draws; the same draws by a second program, with NumPy's quantiles.
    #[test]
    fn val_marks_stand_at_the_quantiles_of_numpy() {
        let path = truth::in_repository("crates/assess/tests/integration/two.toml");
        let mut text = std::fs::read_to_string(path).unwrap();
        for (from, to) in [
            ("voltage = \"48 V\"", "voltage = \"48 V ± 1.2 V\""),
            (
                "aged = \"16.1 ohm\"",
                "aged = \"16.1 ohm ± 3.2 ohm uniform\"",
            ),
            ("resistance = \"16.1 ohm\"", "resistance = \"1 ohm\""),
            ("working = \"25 W\"", "working = \"0.5 A\""),
            ("minimum = \"20 V\"", "minimum = \"36.7 V\""),
        ] {
            assert!(text.contains(from), "{from}");
            text = text.replace(from, to);
        }
        let reading = assess::read(Path::new("plan.toml"), &|_| Ok(text.as_bytes().to_vec()));
        let shelf = Shelf::default();
        let ask = CertaintyAsk {
            draws: 200,
            seed: 1,
            years: 3,
            threads: 2,
        };
        let checked = check(&reading, &shelf);
        let found = certainty(&reading, &shelf, &checked, &ask, &|_| true);
        let mut found = found.unwrap().unwrap();
        found.requirements.retain(|c| c.id == "voltage");
        let (drawing, _) = draw(&found).unwrap();
        // The key comes before the row.
        let lines = drawing.shapes.iter().rev().filter_map(|shape| match shape {
            Shape::Line {
                points, width_px, ..
            } => Some((points.as_slice(), *width_px)),
            _ => None,
        });
        let lines: Vec<(&[(f64, f64)], f32)> = lines.collect();
        let level =
            |(points, width): &&(&[(f64, f64)], f32)| *width == 1.5 && points[0].1 == points[1].1;
        let (line, _) = lines.iter().find(level).unwrap();
        let (corners, _) = lines.iter().find(|(points, _)| points.len() == 5).unwrap();
        let (middle, _) = lines.iter().find(|(_, width)| *width == 4.0).unwrap();
        let marks = [
            line[0].0,
            corners[0].0,
            middle[0].0,
            corners[1].0,
            line[1].0,
        ];
        let rows = truth::rows("report/numpy-margins.csv");
        let quantiles: Vec<f64> = rows[..5].iter().map(|row| truth::number(&row[2])).collect();
        let px_for_each_v = (marks[4] - limit_x()) / quantiles[4];
        assert!(px_for_each_v > 1.0);
        for (mark, quantile) in marks.iter().zip(&quantiles) {
            let wanted = limit_x() + px_for_each_v * quantile;
            assert!((mark - wanted).abs() < 1e-6, "{mark}, not {wanted}");
        }
        // Exact limits by SciPy in the same file: 82.67 % and 92.16 %.
        let told = drawing.shapes.iter().any(|shape| {
            matches!(shape, Shape::Text { text, .. } if text == "met in 176 of 200 (82.6 to 92.2 %)")
        });
        assert!(told, "{:?}", drawing.shapes);
    }

    #[test]
    fn verif_every_requirement_has_its_whole_name_on_the_page() {
        let id = "a-requirement-with-a-name-that-is-much-longer-than-its-column-of-the-page";
        let drawn = |id: &str, met: usize| Certain {
            id: id.to_owned(),
            must: plan::Must::Shall,
            clause: None,
            sentence: "every module gets its voltage".to_owned(),
            nominal: assess::Word::Met,
            sureness: Sureness::Drawn(Box::new(DrawnShare {
                met,
                marginal: 0,
                broken: 100 - met,
                unknown: 0,
                first_unknown: None,
                share_low: 0.1,
                share_high: 0.9,
                margins: None,
                years: None,
            })),
        };
        let found = Certainty {
            name: None,
            draws: 100,
            seed: 1,
            years_each: None,
            inputs: Vec::new(),
            no_line: None,
            requirements: vec![drawn("sure", 100), drawn(id, 40), drawn("less", 60)],
            standing: Vec::new(),
        };
        let order: Vec<&str> = worst_first(&found)
            .iter()
            .map(|(c, _)| c.id.as_str())
            .collect();
        assert_eq!(order, [id, "less", "sure"]);
        let svg = certainty_picture_svg(&found).unwrap();
        assert!(!svg.contains('\u{2026}'), "something is cut short");
        let (drawing, _) = draw(&found).unwrap();
        let all: String = drawing
            .shapes
            .iter()
            .filter_map(|shape| match shape {
                Shape::Text { text, .. } => Some(text.as_str()),
                _ => None,
            })
            .collect();
        assert!(all.contains(id), "{all}");
    }

    #[test]
    fn verif_the_limit_stands_between_what_is_broken_and_what_is_met() {
        let limit = limit_x();
        for margins in [
            [-2.0, -1.0, 0.0, 1.0, 9.0],
            [1.0, 2.0, 3.0, 4.0, 5.0],
            [-5.0, -4.0, -3.0, -2.0, -1.0],
            [0.0; 5],
            [-1e300, -1.0, 0.0, 1.0, 1e300],
        ] {
            let at = places(margins);
            for (margin, x) in margins.iter().zip(at) {
                assert!((MARGINS_X.0..=MARGINS_X.1).contains(&x), "{margins:?}: {x}");
                assert!((x - limit) * margin >= 0.0, "{margins:?}: {x}");
            }
        }
        // Within one row marks are as far apart as the margins are.
        let at = places([-1.0, 1.0, 3.0, 5.0, 11.0]);
        assert!(((at[4] - at[0]) / (at[1] - at[0]) - 6.0).abs() < 1e-9);
    }

    #[test]
    fn verif_long_names_break_and_lose_nothing() {
        let name = "section.a-very-long-name-of-a-section.rope.weight_in_water-and.so.on";
        let broken = breakable(name, SMALL_PX, 200.0);
        assert_eq!(broken.replace(' ', ""), name);
        for row in rows(&broken, SMALL_PX, 200.0) {
            assert!(text_width(&row, SMALL_PX) <= 200.0, "{row}");
        }
    }
}
