//! The report on paper: A4 pages set by ourselves, written and tagged as PDF 1.7 (ISO 32000-1).
//!
//! Places are in points (1/72 inch) from the left and the top edge. The text is in Ubuntu Light and what commands print in Hack, the typeface of the
//! pictures, both of the crate `epaint_default_fonts`; their licences allow to embed them in documents. Only the letters that are used are embedded.
//! Nothing is taken from a clock or at random: the same report gives the same bytes.

mod face;
mod flow;
mod lay;
mod lines;
mod write;

use super::model::Report;
use flow::Flow;
use lay::Laid;

/// Why there is no report on paper.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PdfError {
    /// The report is beyond what a document of that format can hold.
    #[error("report.pdf cannot be written: {0}")]
    Unwritable(String),
}

/// The report as a document.
///
/// # Errors
/// [`PdfError::Unwritable`].
pub(in crate::pack) fn pdf(report: &Report) -> Result<Vec<u8>, PdfError> {
    let blocks = lay::all(&report.blocks);
    // Where the sections are is known once all is set; the contents take the same room whatever stands in them.
    let first = set(&blocks, &[]);
    let pages: Vec<usize> = first.sections().map(|mark| mark.sheet).collect();
    let whole = set(&blocks, &pages);
    write::bytes(report, &whole)
}

fn set<'a>(blocks: &'a [Laid<'a>], pages: &[usize]) -> Flow<'a> {
    let mut flow = Flow::new();
    for (nth, block) in blocks.iter().enumerate() {
        flow.block(block, &blocks[nth + 1..], pages);
    }
    flow
}

#[cfg(test)]
mod tests {
    use super::super::model::{Block, Cell, Report, Table};
    use super::flow::{Flow, Ink, Role};
    use super::lay::{BOTTOM_PT, LEFT_PT, TOP_PT, WIDTH_PT};
    use super::{lay, pdf, set};

    /// Room for what arithmetic of single precision loses, points.
    const HAIR_PT: f32 = 0.05;

    fn report(blocks: Vec<Block>) -> Report {
        Report {
            title: "Of a very long name, ".repeat(20),
            plan_digest: "0".repeat(64),
            program: "soundline".to_owned(),
            blocks,
        }
    }

    fn words(count: usize) -> String {
        let long = "x".repeat(90);
        let of = |nth: usize| ["a", "module.upper", "stands", "deeper", &long][nth % 5];
        (0..count).map(of).collect::<Vec<_>>().join(" ")
    }

    fn heading(level: u8, text: &str) -> Block {
        Block::Heading {
            level,
            text: text.to_owned(),
        }
    }

    fn table(rows: &[usize]) -> Block {
        Block::Table(Table {
            heads: ["one", "two", "three"].map(str::to_owned).to_vec(),
            rows: rows
                .iter()
                .map(|count| {
                    let cells = [count / 20, *count, count / 3];
                    cells
                        .map(|count| Cell::of(words(count)).and_quiet(words(count / 2)))
                        .to_vec()
                })
                .collect(),
            to_fill: false,
        })
    }

    /// All that a report can hold, so much of it.
    fn blocks(size: usize) -> Vec<Block> {
        let facts = vec![("name".to_owned(), words(size)), (words(3), String::new())];
        vec![
            heading(1, "whole"),
            Block::Facts(facts),
            Block::Contents,
            heading(2, "section"),
            Block::Source(words(9)),
            Block::Printed(format!("{}\n\n    b\n", words(size)).repeat(1 + size / 7)),
            heading(2, "rows"),
            heading(3, "part"),
            table(&[size, 3, 0, 17 * size, 2, size, size, 9, 9]),
            heading(2, &words(30)),
            Block::Paragraph(words(11 * size)),
            Block::List((0..size).map(words).collect()),
            heading(2, "empty"),
            Block::Table(Table {
                heads: vec!["name".to_owned(), "date".to_owned()],
                rows: vec![vec![Cell::default(); 2]; 3],
                to_fill: true,
            }),
            heading(2, "none"),
            Block::List(Vec::new()),
            table(&[]),
            heading(2, "last"),
            Block::Paragraph("end".to_owned()),
        ]
    }

    fn width_pt(line: &super::lines::Line) -> f32 {
        let run = line.runs.last();
        run.map_or(0.0, |run| {
            // A space may hang over the end.
            let text = run.letters.iter().map(|l| l.advance_em);
            let end = run.letters.iter().rposition(|l| l.c != ' ');
            run.left_pt + run.style.size_pt * text.take(end.map_or(0, |e| e + 1)).sum::<f32>()
        })
    }

    fn is_heading(flow: &Flow<'_>, of: Option<usize>) -> bool {
        of.is_some_and(|of| matches!(flow.nodes[of].role, Role::Heading(..)))
    }

    /// Whatever a report holds: every letter once and in order, within the margins, no line of a part over another of it, and no heading last on its sheet.
    #[test]
    fn verif_nothing_is_lost_beyond_the_margins_or_over_another() {
        for size in [0, 1, 2, 5, 12, 23, 40, 61] {
            let blocks = blocks(size);
            let laid = lay::all(&blocks);
            let flow = set(&laid, &[]);
            let mut told = String::new();
            for (nth, sheet) in flow.sheets.iter().enumerate() {
                assert!(!sheet.is_empty(), "{size}: sheet {nth} is empty");
                let mut before: Option<(Option<usize>, f32, f32)> = None;
                for item in sheet {
                    let Ink::Line { line, at } = &item.ink else {
                        continue;
                    };
                    assert!(at.0 >= LEFT_PT - HAIR_PT, "{size} {nth}");
                    assert!(
                        at.0 + width_pt(line) <= LEFT_PT + WIDTH_PT + HAIR_PT,
                        "{size} {nth}"
                    );
                    assert!(at.1 > TOP_PT && at.1 <= BOTTOM_PT + HAIR_PT, "{size} {nth}");
                    if let Some((of, left, base)) = before
                        && of == item.of
                        && left == at.0
                    {
                        assert!(at.1 - base > 6.0, "{size} {nth}");
                    }
                    before = Some((item.of, at.0, at.1));
                    let link = item.of.is_some_and(|of| flow.nodes[of].role == Role::Link);
                    if item.of.is_some() && !link {
                        told.extend(line.runs.iter().flat_map(|r| &r.letters).map(|l| l.c));
                    }
                }
                let last = sheet.iter().rfind(|item| item.of.is_some());
                let alone = last.is_some_and(|item| is_heading(&flow, item.of));
                assert!(
                    !alone || nth + 1 == flow.sheets.len(),
                    "{size}: sheet {nth}"
                );
            }
            let end: String = "last end".split_whitespace().collect();
            let told: String = told.split_whitespace().collect();
            assert!(told.ends_with(&end), "{size}");
            // Cells of a row that is broken over sheets come piece by piece; the rest is in order.
            let paragraph: String = words(11 * size).split_whitespace().collect();
            assert!(told.contains(&paragraph), "{size}");
            let wanted: usize = blocks.iter().map(letters).sum();
            assert_eq!(told.chars().count(), wanted, "{size}");
        }
    }

    /// How many letters a block holds, spaces apart.
    fn letters(block: &Block) -> usize {
        let of = |text: &str| text.chars().filter(|c| !c.is_whitespace()).count();
        match block {
            Block::Heading { text, .. }
            | Block::Paragraph(text)
            | Block::Source(text)
            | Block::Printed(text) => of(text),
            Block::Contents | Block::Picture(_) => 0,
            Block::List(items) => items.iter().map(|item| of(item)).sum(),
            Block::Facts(rows) => rows.iter().map(|(a, b)| of(a) + of(b)).sum(),
            Block::Table(table) => {
                let heads: usize = table.heads.iter().map(|head| of(head)).sum();
                let cells = table.rows.iter().flatten().flat_map(|cell| &cell.parts);
                let pieces = cells.flat_map(|part| &part.pieces);
                heads + pieces.map(|piece| of(&piece.text)).sum::<usize>()
            }
        }
    }

    /// A table has its heads at the top of every sheet on which it goes on.
    #[test]
    fn verif_heads_are_repeated() {
        let blocks = vec![table(&[60; 12]), table(&[4000])];
        let laid = lay::all(&blocks);
        let flow = set(&laid, &[]);
        assert!(flow.sheets.len() > 4);
        for sheet in &flow.sheets {
            let first = sheet.iter().find_map(|item| match &item.ink {
                Ink::Line { line, .. } => line.runs.first(),
                _ => None,
            });
            let text: String = first.unwrap().letters.iter().map(|l| l.c).collect();
            assert_eq!(text, "one");
        }
    }

    /// The same report gives the same bytes, and what is set for the contents alone changes no place.
    #[test]
    fn verif_the_same_report_gives_the_same_bytes() {
        let report = report(blocks(23));
        let bytes = pdf(&report).unwrap();
        assert_eq!(bytes, pdf(&report).unwrap());
        assert!(bytes.starts_with(b"%PDF-1.7"));
        let laid = lay::all(&report.blocks);
        let places = |flow: &Flow<'_>| {
            let marks = flow.marks.iter();
            marks.map(|m| (m.sheet, m.top_pt)).collect::<Vec<_>>()
        };
        assert_eq!(places(&set(&laid, &[])), places(&set(&laid, &[7; 30])));
    }
}
