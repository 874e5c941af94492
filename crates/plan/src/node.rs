//! The tree of a TOML text with a place for every key and value, whatever file it came from.

use std::collections::BTreeMap;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use crate::field::Section;
use crate::mistake::{Code, Mistake, Mistakes};
use crate::nested::{MOST_OPEN, too_deep};
use crate::site::{FileId, Site};
use crate::slips::slips;
use crate::twice::twice;

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
            Value::Float(_) => "a decimal number",
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
pub(crate) fn parse(
    text: &str,
    file: FileId,
    section: &'static Section,
    mistakes: &mut Mistakes,
) -> Node {
    let site = Site::new(file, 0..0);
    let root = |table: Table| Node {
        site,
        used_at: None,
        value: Value::Table(table),
    };
    if let Some(range) = too_many_dots(text) {
        mistakes.tear();
        mistakes.push(
            Mistake::error(
                Code::Syntax,
                Site::new(file, range),
                format!("more than {MOST_DOTS} dotted steps in a row"),
            )
            .label("here")
            .part("file"),
        );
        return root(Table::new());
    }
    if let Some((deep, first)) = too_deep(text) {
        mistakes.tear();
        mistakes.push(
            Mistake::error(
                Code::Syntax,
                Site::new(file, deep),
                format!("more than {MOST_OPEN} brackets are open at once"),
            )
            .label("one too many")
            .related(Site::new(file, first), "the first of them")
            .help("close the brackets that are complete, or nest less: nothing in a plan or cue sheet lies so deep")
            .part("file"),
        );
        return root(Table::new());
    }
    let (table, mut errors) = DeTable::parse_recoverable(text);
    errors.sort_by_key(|e| e.span().map_or(0, |s| s.start));
    let mut last_line = None;
    let mut doubles = Doubles::default();
    for error in errors {
        mistakes.tear();
        let range = error.span().unwrap_or(0..0);
        let message = error.message().trim();
        let range = visible(text, range);
        let line = text[..range.start].rfind('\n').map_or(0, |i| i + 1);
        // The first in a line is the cause of the others.
        if last_line.replace(line) == Some(line) {
            continue;
        }
        if message.starts_with("duplicate key") {
            doubles.add(text, file, range, section);
            continue;
        }
        let slips = slips(text, line);
        if !slips.is_empty() {
            let end = text[line..].find('\n').map_or(text.len(), |i| line + i);
            mistakes.tear_over(Site::new(file, slips[0].range.start..end));
            for slip in slips {
                mistakes.push(
                    Mistake::error(Code::Syntax, Site::new(file, slip.range), slip.message)
                        .label("here")
                        .help(slip.help)
                        .part("file"),
                );
            }
            continue;
        }
        let unclosed = message.contains("between array elements")
            || message.contains("between key-value pairs")
            || message.contains("for inline table element");
        let unclosed = unclosed && looks_like_a_statement(text, range.start);
        let missing = range.is_empty() && message.starts_with("string values must be quoted");
        let message = if missing {
            "a value is missing"
        } else {
            message
        };
        let message = format!("not valid TOML: {message}");
        let mut mistake = Mistake::error(Code::Syntax, Site::new(file, range), message)
            .label("here")
            .part("file");
        if unclosed {
            mistake.help = Some("a `[` or `{` before this line is not closed".to_owned());
        }
        // An open bracket swallows the rest of the text: what is told of it would be noise.
        let swallowed = unclosed.then_some(mistake.site);
        mistakes.push(mistake);
        if let Some(site) = swallowed {
            mistakes.tear_from(site);
            break;
        }
    }
    for mistake in doubles.told {
        mistakes.push(mistake);
    }
    root(table_of(table.into_inner(), file))
}

/// Keys and tables that are written twice.
#[derive(Default)]
struct Doubles {
    told: Vec<Mistake>,
    /// Tables with two headings, each with the index of its mistake.
    headings: Vec<(Vec<String>, usize)>,
    looked: usize,
}

impl Doubles {
    /// Most of which the first place is looked for: each time the text is read again.
    const MOST: usize = 64;

    fn add(
        &mut self,
        text: &str,
        file: FileId,
        again: std::ops::Range<usize>,
        section: &'static Section,
    ) {
        self.looked += 1;
        let found = (self.looked <= Self::MOST)
            .then(|| twice(text, again.clone(), section))
            .flatten();
        let part = found.as_ref().and_then(|t| t.part.as_deref());
        let part = part.unwrap_or("file").to_owned();
        let headings = found.as_ref().is_some_and(|t| t.headings);
        let what = if headings { "table" } else { "key" };
        let mistake = Mistake::error(
            Code::Duplicate,
            Site::new(file, again),
            format!("this {what} is written twice"),
        );
        let Some(found) = found else {
            self.told.push(mistake.label("here").part(part));
            return;
        };
        // Of a table that is written twice, what stands in both follows from it.
        let above = self
            .headings
            .iter()
            .find(|(path, _)| found.path.starts_with(path));
        if let Some(&(_, index)) = above {
            self.told[index].also.insert(part);
            return;
        }
        if headings {
            self.headings.push((found.path, self.told.len()));
        }
        self.told.push(
            mistake
                .label("again here")
                .related(Site::new(file, found.first), "first here")
                .help("keep one of them")
                .part(part),
        );
    }
}

/// Whether a line begins at this place as the headings and keys of tables do.
fn looks_like_a_statement(text: &str, at: usize) -> bool {
    let start = text[..at].rfind('\n').map_or(0, |i| i + 1);
    let line = text[at..].lines().next().unwrap_or("");
    let word = |s: &str| s.starts_with(|c: char| c.is_ascii_alphabetic() || c == '"' || c == '[');
    let heading = line.strip_prefix('[').is_some_and(word);
    let key = word(line) && line.contains('=');
    text[start..at].trim().is_empty() && (heading || key)
}

/// Most dots in a row of words. No section lies half as deep, and trees are walked and dropped by recursion.
const MOST_DOTS: usize = 16;

/// The place of a dotted key with too many steps: dots between words with nothing else between them, quoted or not.
fn too_many_dots(text: &str) -> Option<std::ops::Range<usize>> {
    let (mut dots, mut start, mut after_dot) = (0, 0, false);
    for (i, byte) in text.bytes().enumerate() {
        match byte {
            b'.' if after_dot => (dots, start, after_dot) = (0, i + 1, false),
            b'.' => (dots, after_dot) = (dots + 1, true),
            b' ' | b'\t' => {}
            b'\n' | b'=' | b'#' | b',' | b'{' | b'}' => {
                (dots, start, after_dot) = (0, i + 1, false)
            }
            _ => after_dot = false,
        }
        if dots > MOST_DOTS {
            return Some(visible(text, start..i));
        }
    }
    None
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
