//! Laid blocks on sheets, from the top down: what stays together, what is broken and how it goes on.

use super::face::Face;
use super::lay::{
    AROUND_PT, BODY, BOTTOM_PT, Column, GUTTER_PT, INDENT_PT, INK, LEFT_PT, Laid, LaidTable,
    PAD_PT, QUIET, SMALL, TOP_PT, WIDTH_PT, heading_room_pt, heading_style, lead_pt,
};
use super::lines::{Line, Style, broken, shortened, widths_pt};
use crate::picture::{Drawn, Rgb};

/// Ground under what commands print, and lines between rows.
const GROUND: Rgb = [244, 245, 246];
const HAIR: Rgb = [201, 206, 212];
/// Below a paragraph, a list, a table.
const BELOW_PT: f32 = 7.0;
/// Between two items of a list.
const BETWEEN_PT: f32 = 2.0;
/// Lines of a block that are not left alone at the foot or at the head of a sheet.
const TOGETHER: usize = 3;
/// Rows of a table up to this share of a sheet are not broken.
const WHOLE_ROW_SHARE: f32 = 0.3;
/// Tables up to this share of a sheet are not broken.
const WHOLE_TABLE_SHARE: f32 = 0.28;

/// Something drawn on a sheet.
pub(super) enum Ink<'a> {
    Line {
        line: Line,
        /// Left end of its baseline.
        at: (f32, f32),
    },
    Fill {
        left: f32,
        top: f32,
        right: f32,
        bottom: f32,
        colour: Rgb,
    },
    Picture {
        drawn: &'a Drawn,
        at: (f32, f32),
        scale: f32,
    },
    /// A place that leads to a section.
    Leads {
        left: f32,
        top: f32,
        right: f32,
        bottom: f32,
        /// Which section, from nought.
        section: usize,
    },
}

/// Something drawn, and of which part of the document it is; none for what only helps the eye.
pub(super) struct Item<'a> {
    pub(super) ink: Ink<'a>,
    pub(super) of: Option<usize>,
}

/// What a part of the document is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Role {
    Heading(u8, String),
    Paragraph,
    Contents,
    Entry,
    Link,
    List,
    Member,
    Body,
    Printed,
    Table,
    Row,
    ColumnHead,
    RowHead,
    Cell,
    Picture(String),
}

/// A part of the document, in the order in which it is read.
pub(super) struct Node {
    pub(super) role: Role,
    pub(super) within: Option<usize>,
}

/// Where a heading is.
pub(super) struct Mark {
    pub(super) level: u8,
    pub(super) text: String,
    pub(super) sheet: usize,
    pub(super) top_pt: f32,
}

/// Sheets in the making.
pub(super) struct Flow<'a> {
    pub(super) sheets: Vec<Vec<Item<'a>>>,
    pub(super) nodes: Vec<Node>,
    pub(super) marks: Vec<Mark>,
    y_pt: f32,
}

impl<'a> Flow<'a> {
    pub(super) fn new() -> Flow<'a> {
        Flow {
            sheets: vec![Vec::new()],
            nodes: Vec::new(),
            marks: Vec::new(),
            y_pt: TOP_PT,
        }
    }

    /// The sections, in order.
    pub(super) fn sections(&self) -> impl Iterator<Item = &Mark> {
        self.marks.iter().filter(|mark| mark.level == 2)
    }

    /// Sets a block, with what follows it in sight; `pages` are the sheets of the sections, from nought, as far as they are known.
    pub(super) fn block(&mut self, block: &Laid<'a>, next: &[Laid<'a>], pages: &[usize]) {
        match block {
            Laid::Heading { level, text, lines } => {
                let (above_pt, below_pt) = heading_room_pt(*level);
                let height_pt = lines.len() as f32 * lead_pt(heading_style(*level));
                self.need(above_pt + height_pt + below_pt + least_pt(next));
                if self.y_pt > TOP_PT {
                    self.y_pt += above_pt;
                }
                self.marks.push(Mark {
                    level: *level,
                    text: (*text).to_owned(),
                    sheet: self.sheets.len() - 1,
                    top_pt: self.y_pt,
                });
                let node = self.node(Role::Heading(*level, (*text).to_owned()), None);
                self.lines(lines, heading_style(*level), LEFT_PT, Some(node));
                if *level == 2 {
                    self.rule(self.y_pt + 1.5, LEFT_PT, WIDTH_PT, 1.1, INK);
                }
                self.y_pt += below_pt;
            }
            Laid::Text {
                lines,
                style,
                keeps,
            } => {
                let node = self.node(Role::Paragraph, None);
                if *keeps {
                    self.need(lines.len() as f32 * lead_pt(*style) + BELOW_PT + least_pt(next));
                }
                self.broken(lines, *style, LEFT_PT, node);
                self.y_pt += BELOW_PT;
            }
            Laid::Contents(sections) => self.contents(sections, pages),
            Laid::List(items) => self.list(items),
            Laid::Printed { lines, size_pt } => self.printed(lines, *size_pt),
            Laid::Table(table) => self.table(table),
            Laid::Picture { drawn, scale } => {
                let (width_pt, height_pt) = size_pt(drawn, *scale);
                self.need(height_pt);
                let node = self.node(Role::Picture(drawn.about.clone()), None);
                let at = (LEFT_PT + 0.5 * (WIDTH_PT - width_pt), self.y_pt);
                let ink = Ink::Picture {
                    drawn,
                    at,
                    scale: *scale,
                };
                self.put(ink, Some(node));
                self.y_pt += height_pt + BELOW_PT;
            }
        }
    }

    fn node(&mut self, role: Role, within: Option<usize>) -> usize {
        self.nodes.push(Node { role, within });
        self.nodes.len() - 1
    }

    fn put(&mut self, ink: Ink<'a>, of: Option<usize>) {
        if let Some(sheet) = self.sheets.last_mut() {
            sheet.push(Item { ink, of });
        }
    }

    fn turn(&mut self) {
        self.sheets.push(Vec::new());
        self.y_pt = TOP_PT;
    }

    fn room_pt(&self) -> f32 {
        BOTTOM_PT - self.y_pt
    }

    /// Turns to a new sheet where so much finds no room on this one and would on that.
    fn need(&mut self, height_pt: f32) {
        if height_pt > self.room_pt() && self.y_pt > TOP_PT {
            self.turn();
        }
    }

    fn rule(&mut self, y_pt: f32, left: f32, width_pt: f32, thick_pt: f32, colour: Rgb) {
        let ink = Ink::Fill {
            left,
            top: y_pt,
            right: left + width_pt,
            bottom: y_pt + thick_pt,
            colour,
        };
        self.put(ink, None);
    }

    /// Sets lines below each other, all on this sheet.
    fn lines(&mut self, lines: &[Line], style: Style, left: f32, of: Option<usize>) {
        for line in lines {
            let at = (left, self.y_pt + baseline_pt(style));
            let line = line.clone();
            self.put(Ink::Line { line, at }, of);
            self.y_pt += lead_pt(style);
        }
    }

    /// Sets lines below each other, over as many sheets as they take, with no few of them alone.
    fn broken(&mut self, lines: &[Line], style: Style, left: f32, of: usize) {
        let mut rest = lines;
        while !rest.is_empty() {
            let fit = (self.room_pt() / lead_pt(style)) as usize;
            let now = together(rest.len(), fit);
            if now == 0 && self.y_pt > TOP_PT {
                self.turn();
                continue;
            }
            let (here, there) = rest.split_at(now.max(1));
            self.lines(here, style, left, Some(of));
            rest = there;
            if !rest.is_empty() {
                self.turn();
            }
        }
    }

    fn contents(&mut self, sections: &[&str], pages: &[usize]) {
        const NUMBER_PT: f32 = 24.0;
        let list = self.node(Role::Contents, None);
        self.y_pt += BELOW_PT;
        for (section, text) in sections.iter().enumerate() {
            self.need(lead_pt(BODY));
            let entry = self.node(Role::Entry, Some(list));
            let link = self.node(Role::Link, Some(entry));
            let top_pt = self.y_pt;
            let base_pt = top_pt + baseline_pt(BODY);
            let line = shortened(text, BODY, WIDTH_PT - NUMBER_PT - GUTTER_PT);
            let at = (LEFT_PT, base_pt);
            self.put(Ink::Line { line, at }, Some(link));
            let number = pages.get(section).map_or(0, |sheet| sheet + 1).to_string();
            let (width_pt, _) = widths_pt(&[(&number, BODY)]);
            let at = (LEFT_PT + WIDTH_PT - width_pt, base_pt);
            for line in broken(&[(&number, BODY)], NUMBER_PT) {
                self.put(Ink::Line { line, at }, Some(link));
            }
            let ink = Ink::Leads {
                left: LEFT_PT,
                top: top_pt,
                right: LEFT_PT + WIDTH_PT,
                bottom: top_pt + lead_pt(BODY),
                section,
            };
            self.put(ink, Some(link));
            self.y_pt += lead_pt(BODY);
            self.rule(self.y_pt - 0.6, LEFT_PT, WIDTH_PT, 0.3, HAIR);
        }
        self.y_pt += BELOW_PT;
    }

    fn list(&mut self, items: &[Vec<Line>]) {
        if items.is_empty() {
            return;
        }
        let list = self.node(Role::List, None);
        for item in items {
            let member = self.node(Role::Member, Some(list));
            let body = self.node(Role::Body, Some(member));
            let least = item.len().min(TOGETHER) as f32;
            self.need(least * lead_pt(BODY));
            let middle_pt = self.y_pt + 0.55 * lead_pt(BODY);
            self.rule(middle_pt, LEFT_PT + 1.0, 4.0, 0.9, QUIET);
            self.broken(item, BODY, LEFT_PT + INDENT_PT, body);
            self.y_pt += BETWEEN_PT;
        }
        self.y_pt += BELOW_PT - BETWEEN_PT;
    }

    fn printed(&mut self, lines: &[Line], size_pt: f32) {
        let style = Style {
            face: Face::Even,
            size_pt,
            ..SMALL
        };
        let node = self.node(Role::Printed, None);
        let mut rest = lines;
        while !rest.is_empty() {
            let fit = ((self.room_pt() - 2.0 * AROUND_PT) / lead_pt(style)).max(0.0) as usize;
            let now = together(rest.len(), fit);
            if now == 0 && self.y_pt > TOP_PT {
                self.turn();
                continue;
            }
            // A gap is a better place to break than a block of rows.
            let now = match now < rest.len() {
                true => gap_before(rest, now.max(1)),
                false => now,
            };
            let (here, there) = rest.split_at(now);
            let height_pt = here.len() as f32 * lead_pt(style) + 2.0 * AROUND_PT;
            let ink = Ink::Fill {
                left: LEFT_PT,
                top: self.y_pt,
                right: LEFT_PT + WIDTH_PT,
                bottom: self.y_pt + height_pt,
                colour: GROUND,
            };
            self.put(ink, None);
            self.y_pt += AROUND_PT;
            self.lines(here, style, LEFT_PT + AROUND_PT, Some(node));
            self.y_pt += AROUND_PT;
            rest = there;
            while rest.first().is_some_and(|line| line.runs.is_empty()) {
                rest = &rest[1..];
            }
            if !rest.is_empty() {
                self.turn();
            }
        }
        self.y_pt += BELOW_PT;
    }

    fn table(&mut self, table: &LaidTable) {
        let node = self.node(Role::Table, None);
        self.need(table_least_pt(table));
        self.heads(table, Some(node));
        for row in &table.rows {
            self.row(table, row, node);
        }
        self.y_pt += BELOW_PT;
    }

    /// The row of heads, of the document the first time and for the eye alone on every further sheet.
    fn heads(&mut self, table: &LaidTable, within: Option<usize>) {
        let Some(heads) = &table.heads else { return };
        let row = within.map(|table| self.node(Role::Row, Some(table)));
        let cells: Vec<Option<usize>> = heads
            .iter()
            .map(|_| row.map(|row| self.node(Role::ColumnHead, Some(row))))
            .collect();
        let parts: Vec<&[Line]> = heads.iter().map(Vec::as_slice).collect();
        self.cells(&table.columns, &parts, &cells);
        self.y_pt = self.y_pt + table_height_pt(&parts) + 2.0 * PAD_PT;
        self.rule(self.y_pt - 0.9, LEFT_PT, WIDTH_PT, 0.9, INK);
    }

    fn row(&mut self, table: &LaidTable, row: &[Vec<Line>], within: usize) {
        let node = self.node(Role::Row, Some(within));
        let head = |nth: usize| match table.heads.is_none() && nth == 0 {
            true => Role::RowHead,
            false => Role::Cell,
        };
        let cells: Vec<Option<usize>> = (0..row.len())
            .map(|nth| Some(self.node(head(nth), Some(node))))
            .collect();
        let whole_pt = table.row_pt(row);
        let sheet_pt = BOTTOM_PT - TOP_PT - table.heads_pt();
        if whole_pt > self.room_pt() && whole_pt <= WHOLE_ROW_SHARE * sheet_pt {
            self.turn();
            self.heads(table, None);
        }
        let most = row.iter().map(Vec::len).max().unwrap_or(0);
        let (mut from, mut first) = (0, true);
        while from < most || first {
            let fit = ((self.room_pt() - 2.0 * PAD_PT) / LaidTable::lead_pt()).max(0.0) as usize;
            let now = together(most - from, fit);
            let at_head = self.y_pt <= TOP_PT + table.heads_pt() + 0.01;
            if now == 0 && most > from && !at_head {
                self.turn();
                self.heads(table, None);
                continue;
            }
            let to = (from + now.max(1)).min(most);
            let parts: Vec<&[Line]> = row
                .iter()
                .map(|cell| &cell[from.min(cell.len())..to.min(cell.len())])
                .collect();
            self.cells(&table.columns, &parts, &cells);
            let text_pt = table_height_pt(&parts) + 2.0 * PAD_PT;
            let least_pt = match first {
                true => table.least_row_pt,
                false => 0.0,
            };
            let top_pt = self.y_pt;
            self.y_pt += text_pt.max(least_pt);
            if table.least_row_pt > 0.0 {
                self.boxes(table, top_pt);
            }
            (from, first) = (to, false);
            if from < most {
                self.turn();
                self.heads(table, None);
            }
        }
        self.rule(self.y_pt - 0.5, LEFT_PT, WIDTH_PT, 0.5, HAIR);
    }

    /// Lines between the columns of a row that somebody writes into, from `top_pt` down to here.
    fn boxes(&mut self, table: &LaidTable, top_pt: f32) {
        for column in table.columns.iter().skip(1) {
            let left = LEFT_PT + column.left_pt - 0.5 * GUTTER_PT;
            let ink = Ink::Fill {
                left,
                top: top_pt,
                right: left + 0.5,
                bottom: self.y_pt,
                colour: HAIR,
            };
            self.put(ink, None);
        }
    }

    /// The cells of a row side by side, from here down; the place stays.
    fn cells(&mut self, columns: &[Column], parts: &[&[Line]], of: &[Option<usize>]) {
        let top_pt = self.y_pt;
        for ((column, lines), of) in columns.iter().zip(parts).zip(of) {
            for (nth, line) in lines.iter().enumerate() {
                let lead_pt = LaidTable::lead_pt();
                let y_pt = top_pt + PAD_PT + nth as f32 * lead_pt + 0.74 * lead_pt;
                let at = (LEFT_PT + column.left_pt, y_pt);
                let line = line.clone();
                self.put(Ink::Line { line, at }, *of);
            }
        }
    }
}

/// From the top of a line to its baseline.
fn baseline_pt(style: Style) -> f32 {
    0.74 * lead_pt(style)
}

fn table_height_pt(parts: &[&[Line]]) -> f32 {
    let most = parts.iter().map(|lines| lines.len()).max().unwrap_or(0);
    most.max(1) as f32 * LaidTable::lead_pt()
}

fn size_pt(drawn: &Drawn, scale: f32) -> (f32, f32) {
    let size = drawn.size;
    (scale * size.width_px as f32, scale * size.height_px as f32)
}

/// How many of so many lines to set where so many fit: all, or so many that neither these nor those left over are few.
fn together(all: usize, fit: usize) -> usize {
    if all <= fit {
        return all;
    }
    let now = match all - fit < TOGETHER {
        true => all.saturating_sub(TOGETHER),
        false => fit,
    };
    if now < TOGETHER { 0 } else { now }
}

/// The last empty line up to there that leaves the better part of it, else there.
fn gap_before(lines: &[Line], most: usize) -> usize {
    let gap = lines[..most].iter().rposition(|line| line.runs.is_empty());
    gap.filter(|at| 2 * at > most).unwrap_or(most)
}

/// All of a short table, else its heads and the beginning of its first row.
fn table_least_pt(table: &LaidTable) -> f32 {
    let rows_pt: f32 = table.rows.iter().map(|row| table.row_pt(row)).sum();
    let whole_pt = table.heads_pt() + rows_pt;
    if whole_pt <= WHOLE_TABLE_SHARE * (BOTTOM_PT - TOP_PT) {
        return whole_pt;
    }
    let first = table.rows.first();
    table.heads_pt() + first.map_or(0.0, |row| row_least_pt(table, row))
}

/// As much of a row as is not left alone.
fn row_least_pt(table: &LaidTable, row: &[Vec<Line>]) -> f32 {
    let few_pt = (2 * TOGETHER) as f32 * LaidTable::lead_pt() + 2.0 * PAD_PT;
    let whole_pt = table.row_pt(row);
    match whole_pt <= WHOLE_ROW_SHARE * (BOTTOM_PT - TOP_PT) {
        true => whole_pt,
        false => few_pt,
    }
}

/// How much room the beginning of what follows takes.
fn least_pt(next: &[Laid<'_>]) -> f32 {
    let Some((first, rest)) = next.split_first() else {
        return 0.0;
    };
    let few = |count: usize, lead_pt: f32| {
        let few = if count <= TOGETHER + 2 {
            count
        } else {
            TOGETHER
        };
        few as f32 * lead_pt
    };
    match first {
        Laid::Heading { level, lines, .. } => {
            let (above_pt, below_pt) = heading_room_pt(*level);
            let lines_pt = lines.len() as f32 * lead_pt(heading_style(*level));
            above_pt + lines_pt + below_pt + least_pt(rest)
        }
        Laid::Text {
            lines,
            style,
            keeps: true,
        } => lines.len() as f32 * lead_pt(*style) + BELOW_PT + least_pt(rest),
        Laid::Text { lines, style, .. } => few(lines.len(), lead_pt(*style)),
        Laid::Contents(_) => TOGETHER as f32 * lead_pt(BODY),
        Laid::List(items) if items.is_empty() => least_pt(rest),
        Laid::List(items) => {
            let first = items.iter().take(TOGETHER).map(Vec::len).sum();
            few(first, lead_pt(BODY)) + TOGETHER as f32 * BETWEEN_PT
        }
        Laid::Printed { lines, size_pt } => few(lines.len(), 1.34 * size_pt) + 2.0 * AROUND_PT,
        Laid::Table(table) => table_least_pt(table),
        Laid::Picture { drawn, scale } => size_pt(drawn, *scale).1,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Neither part of what is broken is of fewer than three lines, and nothing is lost or set beyond the room.
    #[test]
    fn verif_no_few_lines_stand_alone() {
        for all in 0..40 {
            for fit in 0..40 {
                let now = together(all, fit);
                assert!(now <= fit && now <= all);
                assert!(now == 0 || now == all || now >= TOGETHER, "{all} {fit}");
                assert!(
                    all - now == 0 || all - now >= TOGETHER || now == 0,
                    "{all} {fit}"
                );
                assert_eq!(now == all, all <= fit);
            }
        }
    }
}
