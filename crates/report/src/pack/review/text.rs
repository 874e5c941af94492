//! Content as plain text, for paper on deck: read without a program, filled in by hand.

use std::fmt::Write as _;

use super::model::{Block, Cell, Report, Table};
use crate::told::wrap;

const WIDTH: usize = 106;
/// Between two columns.
const GUTTER: usize = 2;
/// What stands in a cell that somebody fills in.
const BOX: &str = "____________";

/// The text, under the plan's name, digest and program.
pub(in crate::pack) fn text(report: &Report) -> String {
    let mut out = format!(
        "{}\nplan {}\n{}\n",
        report.title, report.plan_digest, report.program
    );
    for block in &report.blocks {
        let under_heading = out.ends_with("=\n") || out.ends_with("-\n");
        if matches!(block, Block::Table(_)) && !under_heading {
            out.push('\n');
        }
        // A text cannot refuse to be written.
        let _ = match block {
            Block::Heading { level, text } => {
                let under = if *level <= 2 { "=" } else { "-" };
                writeln!(out, "\n{text}\n{}", under.repeat(text.chars().count()))
            }
            Block::Paragraph(text) | Block::Source(text) => {
                writeln!(out, "{}", wrap(text, WIDTH).join("\n"))
            }
            Block::List(items) => items.iter().try_for_each(|item| {
                let rows = wrap(item, WIDTH - 2);
                writeln!(out, "- {}", rows.join("\n  "))
            }),
            Block::Printed(text) => writeln!(out, "{text}"),
            Block::Facts(rows) => {
                let cells = rows
                    .iter()
                    .map(|(name, value)| vec![vec![name.clone()], wrap(value, WIDTH - 32)])
                    .collect::<Vec<_>>();
                out.push_str(&rows_told(&cells, &[30, WIDTH - 32]));
                Ok(())
            }
            Block::Table(table) => {
                out.push_str(&table_told(table));
                out.push('\n');
                Ok(())
            }
            // They need a page: the report has them.
            Block::Contents | Block::Picture(_) => Ok(()),
        };
    }
    out
}

fn words(cell: &Cell) -> String {
    let parts = cell.parts.iter().map(|part| {
        let pieces = part.pieces.iter().map(|piece| piece.text.as_str());
        pieces.collect::<String>()
    });
    parts.collect::<Vec<_>>().join("; ")
}

/// Columns as wide as their longest text, the widest ones narrowed until all find room.
fn table_told(table: &Table) -> String {
    let mut rows: Vec<Vec<String>> = vec![table.heads.clone()];
    rows.extend(table.rows.iter().map(|row| {
        let cells = row.iter().map(words);
        cells
            .map(|text| match table.to_fill && text.is_empty() {
                true => BOX.to_owned(),
                false => text,
            })
            .collect()
    }));
    let mut widths = vec![1; table.heads.len()];
    for row in &rows {
        for (width, text) in widths.iter_mut().zip(row) {
            *width = text.chars().count().max(*width);
        }
    }
    let room = WIDTH.saturating_sub(GUTTER * widths.len().saturating_sub(1));
    while widths.iter().sum::<usize>() > room {
        let Some(widest) = widths.iter_mut().max().filter(|width| **width > 1) else {
            break;
        };
        *widest -= 1;
    }
    let wrapped: Vec<Vec<Vec<String>>> = rows
        .iter()
        .map(|row| {
            let cells = row.iter().zip(&widths);
            cells.map(|(text, width)| wrap(text, *width)).collect()
        })
        .collect();
    let (heads, body) = wrapped.split_at(1);
    let mut out = rows_told(heads, &widths);
    let ruled: usize = widths.iter().sum::<usize>() + GUTTER * widths.len().saturating_sub(1);
    let _ = writeln!(out, "{}", "-".repeat(ruled));
    match table.to_fill {
        // Room to write between the lines.
        true => body
            .iter()
            .for_each(|row| out.push_str(&(rows_told(std::slice::from_ref(row), &widths) + "\n"))),
        false => out.push_str(&rows_told(body, &widths)),
    }
    out
}

/// Rows of cells in lines, each column so wide.
fn rows_told(rows: &[Vec<Vec<String>>], widths: &[usize]) -> String {
    let mut out = String::new();
    for row in rows {
        let lines = row.iter().map(Vec::len).max().unwrap_or(0);
        for nth in 0..lines {
            let mut line = String::new();
            for (cell, width) in row.iter().zip(widths) {
                let text = cell.get(nth).map_or("", String::as_str);
                let _ = write!(line, "{text:<width$}{:GUTTER$}", "");
            }
            let _ = writeln!(out, "{}", line.trim_end());
        }
    }
    out
}
