//! The tree of a TOML text with a place for every key and value, whatever file it came from.

use std::collections::BTreeMap;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use crate::mistake::{Code, Mistake, Mistakes};
use crate::site::{FileId, Site};

/// A value and its place.
#[derive(Clone, Debug)]
pub(crate) struct Node {
    pub(crate) site: Site,
    /// Where a catalogue part brought it in.
    pub(crate) used_at: Option<Site>,
    pub(crate) value: Value,
}

#[derive(Clone, Debug)]
pub(crate) enum Value {
    Text(String),
    Integer(Option<i64>),
    Float(f64),
    Flag(bool),
    Date(String),
    List(Vec<Node>),
    Table(Table),
}

#[derive(Clone, Debug)]
pub(crate) struct Entry {
    pub(crate) key: Site,
    pub(crate) node: Node,
}

pub(crate) type Table = BTreeMap<String, Entry>;

impl Node {
    /// What it is, in a sentence: `a text`.
    pub(crate) fn what(&self) -> &'static str {
        match &self.value {
            Value::Text(_) => "a text",
            Value::Integer(_) => "a whole number",
            Value::Float(_) => "a number",
            Value::Flag(_) => "true or false",
            Value::Date(_) => "a date",
            Value::List(_) => "a list",
            Value::Table(_) => "a table",
        }
    }

    /// The place of a byte range within a text value, quotes left out.
    pub(crate) fn within(&self, text: &str, range: std::ops::Range<usize>) -> Site {
        let (start, end) = (self.site.start as usize, self.site.end as usize);
        if end - start == text.len() + 2 && range.end <= text.len() && range.start < range.end {
            Site::new(
                self.site.file,
                start + 1 + range.start..start + 1 + range.end,
            )
        } else {
            self.site
        }
    }
}

/// Parses a text into a tree; all syntax mistakes are told, and what could be recovered is kept.
pub(crate) fn parse(text: &str, file: FileId, mistakes: &mut Mistakes) -> Node {
    let (table, errors) = DeTable::parse_recoverable(text);
    for error in errors {
        let range = error.span().unwrap_or(0..0);
        let message = error.message().trim();
        let (code, message) = if message.starts_with("duplicate key") {
            (Code::Duplicate, "this key is written twice".to_owned())
        } else {
            (Code::Syntax, format!("not valid TOML: {message}"))
        };
        mistakes.push(
            Mistake::error(code, Site::new(file, visible(text, range)), message)
                .label("here")
                .part("file"),
        );
    }
    let site = Site::new(file, 0..0);
    Node {
        site,
        used_at: None,
        value: Value::Table(table_of(table.into_inner(), file)),
    }
}

/// A range that can be underlined: not empty, within the text, on character borders.
fn visible(text: &str, range: std::ops::Range<usize>) -> std::ops::Range<usize> {
    let floor = |mut i: usize| {
        i = i.min(text.len());
        while !text.is_char_boundary(i) {
            i -= 1;
        }
        i
    };
    floor(range.start)..floor(range.end.max(range.start))
}

fn table_of(table: DeTable<'_>, file: FileId) -> Table {
    table
        .into_iter()
        .map(|(key, value)| {
            let key_site = Site::new(file, key.span());
            let entry = Entry {
                key: key_site,
                node: node_of(value, file),
            };
            (key.into_inner().into_owned(), entry)
        })
        .collect()
}

fn node_of(value: Spanned<DeValue<'_>>, file: FileId) -> Node {
    let site = Site::new(file, value.span());
    let value = match value.into_inner() {
        DeValue::String(s) => Value::Text(s.into_owned()),
        DeValue::Integer(i) => Value::Integer(i64::from_str_radix(i.as_str(), i.radix()).ok()),
        DeValue::Float(f) => Value::Float(f.as_str().parse().unwrap_or(f64::NAN)),
        DeValue::Boolean(b) => Value::Flag(b),
        DeValue::Datetime(d) => Value::Date(d.to_string()),
        DeValue::Array(list) => Value::List(list.into_iter().map(|v| node_of(v, file)).collect()),
        DeValue::Table(table) => Value::Table(table_of(table, file)),
    };
    Node {
        site,
        used_at: None,
        value,
    }
}
