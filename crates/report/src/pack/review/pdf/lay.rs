//! Blocks in lines, before they have a place: how high each is does not depend on where it stands.

use std::collections::BTreeSet;

use super::super::model::{Block, Cell, Look, Table};
use super::face::{Face, by_number, lacking};
use super::lines::{Line, Style, broken, printed, widths_pt};
use crate::picture::{Drawn, Rgb, Shape};

/// A4 (ISO 216: 210 mm by 297 mm).
pub(super) const SHEET_PT: (f32, f32) = (595.276, 841.89);
pub(super) const LEFT_PT: f32 = 40.0;
pub(super) const TOP_PT: f32 = 58.0;
pub(super) const BOTTOM_PT: f32 = 785.0;
pub(super) const WIDTH_PT: f32 = SHEET_PT.0 - 2.0 * LEFT_PT;
const HEIGHT_PT: f32 = BOTTOM_PT - TOP_PT;

pub(super) const INK: Rgb = [27, 32, 38];
pub(super) const QUIET: Rgb = [68, 76, 85];

pub(super) const BODY: Style = style(Face::Text, 9.2, false, INK);
pub(super) const SMALL: Style = style(Face::Text, 8.0, false, QUIET);
const CELL: Style = style(Face::Text, 7.9, false, INK);
/// Of what commands print, where its lines are short enough.
const PRINTED_PT: f32 = 7.2;
const LEAST_PRINTED_PT: f32 = 5.8;
/// Most of the width that the longest word of a column may take.
const WORD_SHARE: f32 = 0.2;
/// Between the text of two columns, and above and below the text of a cell.
pub(super) const GUTTER_PT: f32 = 9.0;
pub(super) const PAD_PT: f32 = 3.2;
/// Height of a row that somebody writes into.
const TO_FILL_PT: f32 = 28.0;
/// Most of the height of a page that a picture takes.
const PICTURE_SHARE: f32 = 0.72;
/// Indent of the text of a list.
pub(super) const INDENT_PT: f32 = 11.0;
/// Padding round what commands print.
pub(super) const AROUND_PT: f32 = 7.0;

const fn style(face: Face, size_pt: f32, strong: bool, colour: Rgb) -> Style {
    Style {
        face,
        size_pt,
        strong,
        colour,
    }
}

/// From one line of a style to the next.
pub(super) fn lead_pt(style: Style) -> f32 {
    style.size_pt * 1.34
}

/// A block in lines.
pub(super) enum Laid<'a> {
    Heading {
        level: u8,
        text: &'a str,
        lines: Vec<Line>,
    },
    Text {
        lines: Vec<Line>,
        style: Style,
        /// Whether it stays with what follows.
        keeps: bool,
    },
    Contents(Vec<&'a str>),
    List(Vec<Vec<Line>>),
    Printed {
        lines: Vec<Line>,
        size_pt: f32,
    },
    Table(LaidTable),
    Picture {
        drawn: &'a Drawn,
        scale: f32,
    },
}

/// A table in lines.
pub(super) struct LaidTable {
    pub(super) columns: Vec<Column>,
    /// Lines of the heads; none where the first column is one of heads.
    pub(super) heads: Option<Vec<Vec<Line>>>,
    pub(super) rows: Vec<Vec<Vec<Line>>>,
    pub(super) least_row_pt: f32,
}

/// Where a column stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Column {
    pub(super) left_pt: f32,
    pub(super) width_pt: f32,
}

impl LaidTable {
    pub(super) fn lead_pt() -> f32 {
        lead_pt(CELL)
    }

    pub(super) fn row_pt(&self, row: &[Vec<Line>]) -> f32 {
        let most = row.iter().map(Vec::len).max().unwrap_or(0).max(1);
        (most as f32 * Self::lead_pt() + 2.0 * PAD_PT).max(self.least_row_pt)
    }

    pub(super) fn heads_pt(&self) -> f32 {
        self.heads.as_ref().map_or(0.0, |heads| self.row_pt(heads))
    }
}

pub(super) fn heading_style(level: u8) -> Style {
    let size_pt = match level {
        1 => 21.0,
        2 => 13.5,
        _ => 10.5,
    };
    style(Face::Text, size_pt, true, INK)
}

/// Room above and below a heading.
pub(super) fn heading_room_pt(level: u8) -> (f32, f32) {
    match level {
        1 => (0.0, 8.0),
        2 => (20.0, 8.0),
        _ => (12.0, 4.0),
    }
}

/// Lays all blocks out, with a last one about characters that stand by their number, where there are any.
pub(super) fn all(blocks: &[Block]) -> Vec<Laid<'_>> {
    let sections: Vec<&str> = blocks
        .iter()
        .filter_map(|block| match block {
            Block::Heading { level: 2, text } => Some(text.as_str()),
            _ => None,
        })
        .collect();
    let mut laid: Vec<Laid<'_>> = blocks.iter().map(|block| lay(block, &sections)).collect();
    let lacks: BTreeSet<char> = blocks.iter().flat_map(texts).flat_map(lacking).collect();
    if !lacks.is_empty() {
        let numbers: Vec<String> = lacks.into_iter().map(by_number).collect();
        let text = format!(
            "Characters that the typefaces of this document lack stand by their numbers in Unicode: {}. The page report.html has them as they were written.",
            numbers.join(" ")
        );
        laid.push(text_of(&text, SMALL, false));
    }
    laid
}

/// Every text of a block.
fn texts(block: &Block) -> Vec<&str> {
    match block {
        Block::Heading { text, .. }
        | Block::Paragraph(text)
        | Block::Source(text)
        | Block::Printed(text) => vec![text],
        Block::Contents => Vec::new(),
        Block::List(items) => items.iter().map(String::as_str).collect(),
        Block::Facts(rows) => rows
            .iter()
            .flat_map(|(name, value)| [name.as_str(), value])
            .collect(),
        Block::Table(table) => {
            let cells = table.rows.iter().flatten();
            let parts = cells.flat_map(|cell| &cell.parts);
            let pieces = parts.flat_map(|part| &part.pieces);
            let heads = table.heads.iter().map(String::as_str);
            heads.chain(pieces.map(|p| p.text.as_str())).collect()
        }
        Block::Picture(drawn) => {
            let shapes = drawn.shapes.iter();
            shapes
                .filter_map(|shape| match shape {
                    Shape::Text { text, .. } => Some(text.as_str()),
                    _ => None,
                })
                .collect()
        }
    }
}

fn lay<'a>(block: &'a Block, sections: &[&'a str]) -> Laid<'a> {
    match block {
        Block::Heading { level, text } => Laid::Heading {
            level: *level,
            text,
            lines: broken(&[(text, heading_style(*level))], WIDTH_PT),
        },
        Block::Paragraph(text) => text_of(text, BODY, false),
        Block::Source(text) => text_of(text, SMALL, true),
        Block::Contents => Laid::Contents(sections.to_vec()),
        Block::List(items) => Laid::List(
            items
                .iter()
                .map(|item| broken(&[(item, BODY)], WIDTH_PT - INDENT_PT))
                .collect(),
        ),
        Block::Printed(text) => printed_of(text),
        Block::Facts(rows) => Laid::Table(facts(rows)),
        Block::Table(of) => Laid::Table(table(of)),
        Block::Picture(drawn) => {
            let (width, height) = (drawn.size.width_px as f32, drawn.size.height_px as f32);
            let scale = (WIDTH_PT / width).min(PICTURE_SHARE * HEIGHT_PT / height);
            Laid::Picture { drawn, scale }
        }
    }
}

fn text_of<'a>(text: &str, style: Style, keeps: bool) -> Laid<'a> {
    Laid::Text {
        lines: broken(&[(text, style)], WIDTH_PT),
        style,
        keeps,
    }
}

/// Smaller where lines are long, broken where they would be too small to read.
fn printed_of<'a>(text: &str) -> Laid<'a> {
    let room_pt = WIDTH_PT - 2.0 * AROUND_PT;
    let style_of = |size_pt| style(Face::Even, size_pt, false, INK);
    let (letter_pt, _) = widths_pt(&[("n", style_of(1.0))]);
    let longest = text.lines().map(|l| l.chars().count()).max().unwrap_or(0);
    let fits_pt = room_pt / (letter_pt * longest.max(1) as f32);
    let size_pt = fits_pt.clamp(LEAST_PRINTED_PT, PRINTED_PT);
    let most = (room_pt / (letter_pt * size_pt)) as usize;
    Laid::Printed {
        lines: printed(text, most, style_of(size_pt)),
        size_pt,
    }
}

fn facts(rows: &[(String, String)]) -> LaidTable {
    const NAMES_SHARE: f32 = 0.24;
    let names_pt = NAMES_SHARE * WIDTH_PT;
    let columns = vec![
        Column {
            left_pt: 0.0,
            width_pt: names_pt,
        },
        Column {
            left_pt: names_pt + GUTTER_PT,
            width_pt: WIDTH_PT - names_pt - GUTTER_PT,
        },
    ];
    let quiet = Style {
        colour: QUIET,
        ..CELL
    };
    let rows = rows.iter().map(|(name, value)| {
        vec![
            broken(&[(name, quiet)], columns[0].width_pt),
            broken(&[(value, CELL)], columns[1].width_pt),
        ]
    });
    LaidTable {
        rows: rows.collect(),
        columns,
        heads: None,
        least_row_pt: 0.0,
    }
}

fn table(of: &Table) -> LaidTable {
    let strong = Style {
        strong: true,
        ..CELL
    };
    let columns = match of.to_fill {
        true => even(of.heads.len()),
        false => columns(of, strong),
    };
    let heads = of.heads.iter().zip(&columns);
    let heads = heads.map(|(head, column)| broken(&[(head, strong)], column.width_pt));
    let rows = of.rows.iter().map(|row| {
        let cells = row.iter().zip(&columns);
        cells
            .map(|(cell, column)| lines_of(cell, column.width_pt))
            .collect()
    });
    LaidTable {
        heads: Some(heads.collect()),
        rows: rows.collect(),
        least_row_pt: match of.to_fill {
            true => TO_FILL_PT,
            false => 0.0,
        },
        columns,
    }
}

fn pieces(cell: &Cell) -> impl Iterator<Item = Vec<(&str, Style)>> {
    cell.parts.iter().map(|part| {
        let of = |look: Look| match look {
            Look::Word(word) => Style {
                strong: true,
                colour: word_colour(word),
                ..CELL
            },
            Look::Strong => Style {
                strong: true,
                ..CELL
            },
            Look::Plain if part.quiet => Style {
                colour: QUIET,
                ..CELL
            },
            Look::Plain => CELL,
        };
        let pieces = part.pieces.iter();
        pieces.map(|p| (p.text.as_str(), of(p.look))).collect()
    })
}

fn word_colour(word: assess::Word) -> Rgb {
    match word {
        assess::Word::Met => [29, 92, 54],
        assess::Word::Marginal => [122, 77, 0],
        assess::Word::Broken => [155, 28, 28],
        assess::Word::Unknown | assess::Word::Provisional => [74, 58, 134],
    }
}

fn lines_of(cell: &Cell, width_pt: f32) -> Vec<Line> {
    pieces(cell)
        .flat_map(|pieces| broken(&pieces, width_pt))
        .collect()
}

fn even(count: usize) -> Vec<Column> {
    let step_pt = (WIDTH_PT + GUTTER_PT) / count.max(1) as f32;
    let each = (0..count).map(|nth| Column {
        left_pt: nth as f32 * step_pt,
        width_pt: step_pt - GUTTER_PT,
    });
    each.collect()
}

/// What a column asks for.
#[derive(Clone, Copy, Default)]
struct Want {
    /// Width of its longest text on one line, and of what of it is not broken where there is room.
    whole_pt: f32,
    word_pt: f32,
    /// All its text on one line.
    sum_pt: f32,
}

/// Columns as wide as what is in them while there is room, and no narrower than their longest word unless that is very long; of the rest the one with more text
/// takes more, by the square root.
fn columns(of: &Table, head: Style) -> Vec<Column> {
    const LEAST_WEIGHT: f32 = 0.25;
    const FIGURE_SHARE: f32 = 0.13;
    let count = of.heads.len();
    let room_pt = WIDTH_PT - GUTTER_PT * count.saturating_sub(1) as f32;
    let mut wants = vec![Want::default(); count];
    let ask = |want: &mut Want, (whole_pt, word_pt): (f32, f32)| {
        // A hair more than the text, so that no rounding breaks a line that fits.
        want.whole_pt = want.whole_pt.max(whole_pt + 0.5);
        // A figure with its unit stays on one line.
        let least_pt = match whole_pt <= FIGURE_SHARE * room_pt {
            true => whole_pt,
            false => word_pt.min(WORD_SHARE * room_pt),
        };
        want.word_pt = want.word_pt.max(least_pt + 0.5);
        want.sum_pt += whole_pt;
    };
    for (want, text) in wants.iter_mut().zip(&of.heads) {
        ask(want, widths_pt(&[(text, head)]));
    }
    for row in &of.rows {
        for (want, cell) in wants.iter_mut().zip(row) {
            pieces(cell).for_each(|pieces| ask(want, widths_pt(&pieces)));
        }
    }
    let most_pt = wants.iter().map(|want| want.sum_pt).fold(1.0, f32::max);
    let at = |level_pt: f32| {
        let each = wants.iter().map(move |want| {
            let weight = (want.sum_pt / most_pt).sqrt().max(LEAST_WEIGHT);
            (weight * level_pt).clamp(want.word_pt, want.whole_pt.max(want.word_pt))
        });
        each.collect::<Vec<f32>>()
    };
    let (mut low_pt, mut high_pt) = (0.0_f32, room_pt / LEAST_WEIGHT);
    for _ in 0..40 {
        let middle_pt = f32::midpoint(low_pt, high_pt);
        match at(middle_pt).iter().sum::<f32>() > room_pt {
            true => high_pt = middle_pt,
            false => low_pt = middle_pt,
        }
    }
    let mut widths_pt = at(low_pt);
    let sum_pt: f32 = widths_pt.iter().sum();
    match sum_pt > room_pt {
        // The longest words alone are wider than the page: each is broken.
        true => widths_pt.iter_mut().for_each(|w| *w *= room_pt / sum_pt),
        false => {
            let each_pt = (room_pt - sum_pt) / count.max(1) as f32;
            widths_pt.iter_mut().for_each(|w| *w += each_pt);
        }
    }
    let mut left_pt = 0.0;
    let mut columns = Vec::with_capacity(count);
    for width_pt in widths_pt {
        columns.push(Column { left_pt, width_pt });
        left_pt += width_pt + GUTTER_PT;
    }
    columns
}
