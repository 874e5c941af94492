//! What the report says, before it is a page or a document on paper: both are made from this.

use crate::picture::Drawn;

/// The whole report.
pub(in crate::pack) struct Report {
    pub(super) title: String,
    pub(super) plan_digest: String,
    pub(super) program: String,
    pub(super) blocks: Vec<Block>,
}

/// A part of a report, from the top down.
pub(super) enum Block {
    /// A section (1 is the report itself), or a part of one.
    Heading {
        level: u8,
        text: String,
    },
    Paragraph(String),
    /// By which command and method a section is; it stays with what it is of.
    Source(String),
    /// The sections with where they are.
    Contents,
    List(Vec<String>),
    /// What a command prints, as it prints it.
    Printed(String),
    /// Names and what they are.
    Facts(Vec<(String, String)>),
    Table(Table),
    Picture(Drawn),
}

/// A table with a row of heads; every row has as many cells.
pub(super) struct Table {
    pub(super) heads: Vec<String>,
    pub(super) rows: Vec<Vec<Cell>>,
    /// Whether somebody writes into its empty cells.
    pub(super) to_fill: bool,
}

/// What stands in a cell, each part on a line of its own.
#[derive(Clone, Default)]
pub(super) struct Cell {
    pub(super) parts: Vec<Part>,
}

/// A part of a cell.
#[derive(Clone)]
pub(super) struct Part {
    /// Whether it is of less weight than the others.
    pub(super) quiet: bool,
    pub(super) pieces: Vec<Piece>,
}

/// A text of one look.
#[derive(Clone)]
pub(super) struct Piece {
    pub(super) text: String,
    pub(super) look: Look,
}

/// How a text looks.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Look {
    Plain,
    Strong,
    /// A verdict's word.
    Word(assess::Word),
}

impl Piece {
    pub(super) fn plain(text: impl Into<String>) -> Piece {
        Piece {
            text: text.into(),
            look: Look::Plain,
        }
    }

    pub(super) fn strong(text: impl Into<String>) -> Piece {
        Piece {
            text: text.into(),
            look: Look::Strong,
        }
    }
}

impl Cell {
    pub(super) fn of(text: impl Into<String>) -> Cell {
        Cell::default().and(vec![Piece::plain(text)])
    }

    pub(super) fn word(word: assess::Word) -> Cell {
        let look = Look::Word(word);
        Cell::default().and(vec![Piece {
            text: word.as_str().to_owned(),
            look,
        }])
    }

    /// With one part more.
    pub(super) fn and(mut self, pieces: Vec<Piece>) -> Cell {
        self.parts.push(Part {
            quiet: false,
            pieces,
        });
        self
    }

    /// With one part more that is of less weight.
    pub(super) fn and_quiet(mut self, text: impl Into<String>) -> Cell {
        self.parts.push(Part {
            quiet: true,
            pieces: vec![Piece::plain(text)],
        });
        self
    }
}

impl Report {
    pub(super) fn heading(&mut self, level: u8, text: &str) {
        self.blocks.push(Block::Heading {
            level,
            text: text.to_owned(),
        });
    }

    pub(super) fn paragraph(&mut self, text: impl Into<String>) {
        self.blocks.push(Block::Paragraph(text.into()));
    }

    pub(super) fn list(&mut self, items: &[String]) {
        self.blocks.push(Block::List(items.to_vec()));
    }

    pub(super) fn printed(&mut self, text: &str) {
        let text = text.trim_end().to_owned();
        self.blocks.push(Block::Printed(text));
    }

    pub(super) fn table(&mut self, heads: &[&str], rows: Vec<Vec<Cell>>) {
        let heads = heads.iter().map(|h| (*h).to_owned()).collect();
        self.blocks.push(Block::Table(Table {
            heads,
            rows,
            to_fill: false,
        }));
    }
}
