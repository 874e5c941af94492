//! Edits of a plan's text: bytes at a range replaced by others. Comments, order and layout of the rest stay as they are.
//!
//! A value that stands in the plan's own file is replaced where it stands. One that comes from a catalogue part, or that is not
//! written, becomes a new key of the plan's own table, which wins over the part: no catalogue is ever edited.

use std::ops::Range;

use quantity::nearest;
use toml_edit::{DocumentMut, InlineTable, Item, TableLike, Value as EditValue};

use crate::field::{Field, Section, Shape};
use crate::node::{Node, Table, Value};
use crate::read::Reader;
use crate::reading::Reading;
use crate::site::{FileId, Site};
use crate::tables::PLAN;
use crate::written::{below, first_key};

/// Bytes of a text, and what stands in their place.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Edit {
    /// The bytes that go; empty for what is put in.
    pub range: Range<usize>,
    /// What comes.
    pub text: String,
}

/// Why a text cannot be edited so.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum EditError {
    /// No key path.
    #[error(
        "`{path}` is no key path; it is written as span.riser.conductor, detector.upcall.stages[2].hold_off or topic.\"alert/call\".at_most"
    )]
    Path {
        /// What was given.
        path: String,
    },
    /// A plan has no such key.
    #[error("{section} has no `{key}`{}", near.as_ref().map_or_else(String::new, |n| format!("; did you mean `{n}`?")))]
    NoKey {
        /// The kind of table.
        section: &'static str,
        /// The key.
        key: String,
        /// The nearest that it has.
        near: Option<&'static str>,
    },
    /// The plan's own file does not declare what the key belongs to.
    #[error("the plan's own file has no `{path}`")]
    NoThing {
        /// Path of the thing.
        path: String,
    },
    /// Not one value.
    #[error("`{path}` is not one value: name a key that holds a text, a number or a flag")]
    NotOneValue {
        /// The path.
        path: String,
    },
    /// A value of another form.
    #[error("`{path}` takes {wanted}, not \"{value}\"")]
    Form {
        /// The path.
        path: String,
        /// What it takes.
        wanted: &'static str,
        /// What was given.
        value: String,
    },
    /// A catalogue part.
    #[error(
        "`{path}` stands in a catalogue part, which is not edited: name the key where the part is used"
    )]
    Catalogue {
        /// The path.
        path: String,
    },
    /// Two edits of the same bytes.
    #[error("two changes fall on the same place of the text")]
    Overlap,
    /// A range that is none of the text.
    #[error("bytes {start} to {end} are no piece of the text")]
    Outside {
        /// First byte.
        start: usize,
        /// One past the last.
        end: usize,
    },
    /// The text is no TOML, or cannot be given back as it stands.
    #[error("the plan's text cannot be edited: {0}")]
    Text(String),
}

/// A text with edits made, each by the places of the text as it was. Edits that put something in at one place keep their order.
///
/// # Errors
/// [`EditError::Overlap`], [`EditError::Outside`].
pub fn splice(text: &str, edits: &[Edit]) -> Result<String, EditError> {
    let mut sorted: Vec<&Edit> = edits.iter().collect();
    sorted.sort_by_key(|e| (e.range.start, e.range.end));
    let mut out = String::with_capacity(text.len());
    let mut at = 0;
    for edit in sorted {
        let Range { start, end } = edit.range;
        if start < at {
            return Err(EditError::Overlap);
        }
        let outside = EditError::Outside { start, end };
        let kept = text.get(at..start).ok_or(outside.clone())?;
        text.get(start..end).ok_or(outside)?;
        out.push_str(kept);
        out.push_str(&edit.text);
        at = end;
    }
    out.push_str(&text[at..]);
    Ok(out)
}

/// A step of a key path.
#[derive(Clone, PartialEq, Eq, Debug)]
enum Step {
    Key(String),
    Nth(usize),
}

/// Whether a path leads to one value of a plan's own tables, and the value has the form that the key takes.
///
/// # Errors
/// [`EditError`].
pub(crate) fn well_formed(path: &str, value: &str) -> Result<(), EditError> {
    let steps = steps(path)?;
    literal(path, &target(path, &steps)?, value).map(|_| ())
}

/// Whether a value of the right form ([`well_formed`]) is one that its key may have; what is wrong with it is told at `site`.
pub(crate) fn reads_as(reader: &mut Reader<'_>, path: &str, value: &str, site: Site) -> bool {
    let found = steps(path).and_then(|steps| target(path, &steps));
    let Ok(found) = found else { return false };
    let node = |value| Node {
        site,
        used_at: None,
        value,
    };
    let text = || node(Value::Text(value.to_owned()));
    match found {
        Target::Load => reader.load(&text()).is_some(),
        Target::Field(field) => {
            let written = match field.shape {
                Shape::Number(_) | Shape::Figure(..) => match value.parse() {
                    Ok(number) => node(Value::Float(number)),
                    Err(_) => text(),
                },
                Shape::Count(..) => node(Value::Integer(value.parse().ok())),
                Shape::Flag => node(Value::Flag(value == "true")),
                _ => text(),
            };
            reader.value(field, &written, false).is_some()
        }
    }
}

/// The kind and the id of the thing keyed by id to which a path leads.
pub(crate) fn thing(path: &str) -> Option<(String, String)> {
    match steps(path).ok()?.as_slice() {
        [Step::Key(kind), Step::Key(id), ..] if is_keyed(kind) => Some((kind.clone(), id.clone())),
        _ => None,
    }
}

fn is_keyed(kind: &str) -> bool {
    let keyed = |f: &Field| matches!(f.shape, Shape::Keyed(_) | Shape::KeyedTopics(_));
    PLAN.field(kind).is_some_and(keyed)
}

impl Reading {
    /// The edit of the plan's own file that gives a key a value. `value` is what stands between the quotes, or the bare number or
    /// flag, as the key takes it; of a table or a list of tables that is not written the whole of it, with its braces or brackets.
    ///
    /// # Errors
    /// [`EditError`].
    pub fn set(&self, path: &str, value: &str) -> Result<Edit, EditError> {
        let steps = steps(path)?;
        let literal = match target(path, &steps)? {
            Target::Field(Field {
                shape: Shape::Table(_),
                ..
            }) if value.starts_with('{') => value.to_owned(),
            Target::Field(Field {
                shape: Shape::Tables(_),
                ..
            }) if value.starts_with('[') => value.to_owned(),
            other => literal(path, &other, value)?,
        };
        self.declares(&steps)?;
        match own(&self.root, &steps) {
            Some(node) => match node.value {
                Value::Table(_) | Value::List(_) => Err(EditError::NotOneValue {
                    path: path.to_owned(),
                }),
                _ => Ok(Edit {
                    range: node.site.range(),
                    text: literal,
                }),
            },
            None => insertion(&self.sources.get(FileId(0)).text, path, &steps, &literal),
        }
    }

    /// A thing keyed by id must be there: edits change what there is.
    fn declares(&self, steps: &[Step]) -> Result<(), EditError> {
        let [Step::Key(kind), Step::Key(id), ..] = steps else {
            return Ok(());
        };
        let held = self.root.get(kind).map(|e| &e.node.value);
        let there = matches!(held, Some(Value::Table(t)) if t.contains_key(id));
        if is_keyed(kind) && !there {
            let path = below(kind, id);
            return Err(EditError::NoThing { path });
        }
        Ok(())
    }
}

/// The steps of `span.riser.conductor`, `detector.upcall.stages[2].hold_off` or `topic."alert/call".at_most`.
fn steps(path: &str) -> Result<Vec<Step>, EditError> {
    let wrong = || EditError::Path {
        path: path.to_owned(),
    };
    let mut steps = Vec::new();
    let mut rest = path;
    loop {
        let (key, after) = first_key(rest).ok_or_else(wrong)?;
        if key.is_empty() {
            return Err(wrong());
        }
        steps.push(Step::Key(key));
        rest = after;
        while let Some(inner) = rest.strip_prefix('[') {
            let (number, after) = inner.split_once(']').ok_or_else(wrong)?;
            steps.push(Step::Nth(number.parse().map_err(|_| wrong())?));
            rest = after;
        }
        match rest.strip_prefix('.') {
            Some(more) => rest = more,
            None if rest.is_empty() => return Ok(steps),
            None => return Err(wrong()),
        }
    }
}

/// What a path leads to.
enum Target {
    Field(&'static Field),
    /// A load by its state.
    Load,
}

fn target(path: &str, steps: &[Step]) -> Result<Target, EditError> {
    let not_one = || EditError::NotOneValue {
        path: path.to_owned(),
    };
    if steps.first() == Some(&Step::Key("part".to_owned())) {
        let path = path.to_owned();
        return Err(EditError::Catalogue { path });
    }
    let mut section: &'static Section = &PLAN;
    let mut rest = steps;
    loop {
        let [Step::Key(key), after @ ..] = rest else {
            return Err(not_one());
        };
        let field = section.field(key).ok_or_else(|| EditError::NoKey {
            section: section.name,
            key: key.clone(),
            near: nearest(key, section.fields.iter().map(|f| f.key)),
        })?;
        (section, rest) = match (field.shape, after) {
            (Shape::Table(inner), [_, ..]) => (inner, after),
            (Shape::Tables(inner), [Step::Nth(_), after @ ..]) => (inner, after),
            (Shape::Keyed(inner) | Shape::KeyedTopics(inner), [Step::Key(_), after @ ..]) => {
                (inner, after)
            }
            (Shape::KeyedLoads, [Step::Key(_)]) => return Ok(Target::Load),
            (_, []) => return Ok(Target::Field(field)),
            _ => return Err(not_one()),
        };
    }
}

/// A value as it stands in TOML.
fn literal(path: &str, target: &Target, value: &str) -> Result<String, EditError> {
    let form = |wanted| EditError::Form {
        path: path.to_owned(),
        wanted,
        value: value.to_owned(),
    };
    let shape = match target {
        Target::Load => Shape::Text,
        Target::Field(field) => field.shape,
    };
    match shape {
        Shape::Number(_) => {
            let number = value.parse::<f64>().is_ok_and(f64::is_finite);
            if !number {
                return Err(form("a number"));
            }
            Ok(value.to_owned())
        }
        Shape::Figure(..) if value.parse::<f64>().is_ok_and(f64::is_finite) => Ok(value.to_owned()),
        Shape::Count(..) => match value.parse::<i64>() {
            Ok(_) => Ok(value.to_owned()),
            Err(_) => Err(form("a whole number")),
        },
        Shape::Flag => match value {
            "true" | "false" => Ok(value.to_owned()),
            _ => Err(form("true or false")),
        },
        Shape::Amount(..)
        | Shape::Figure(..)
        | Shape::Text
        | Shape::Choice(_)
        | Shape::Level(..)
        | Shape::Conductor
        | Shape::Money
        | Shape::EventRate
        | Shape::Reference(_)
        | Shape::Load
        | Shape::Limit
        | Shape::Topic
        | Shape::Filter => Ok(EditValue::from(value).to_string()),
        Shape::Amounts(..)
        | Shape::Figures(..)
        | Shape::Texts
        | Shape::Date
        | Shape::References(..)
        | Shape::Content
        | Shape::Table(_)
        | Shape::Tables(_)
        | Shape::Keyed(_)
        | Shape::KeyedTopics(_)
        | Shape::KeyedLoads
        | Shape::Parts => Err(EditError::NotOneValue {
            path: path.to_owned(),
        }),
    }
}

/// The value at a path as the plan's own file has it.
fn own<'t>(root: &'t Table, steps: &[Step]) -> Option<&'t Node> {
    let (first, rest) = steps.split_first()?;
    let Step::Key(key) = first else { return None };
    let mut node = &root.get(key)?.node;
    for step in rest {
        node = match (step, &node.value) {
            (Step::Key(key), Value::Table(table)) => &table.get(key)?.node,
            (Step::Nth(n), Value::List(list)) => list.get(*n)?,
            _ => return None,
        };
    }
    Some(node)
}

/// A key that is put in. The rest of the text stays to the byte, line ends too.
fn insertion(text: &str, path: &str, steps: &[Step], literal: &str) -> Result<Edit, EditError> {
    let lines = text.replace("\r\n", "\n");
    let parsed = lines.parse::<DocumentMut>();
    let mut document = parsed.map_err(|e| EditError::Text(e.message().to_owned()))?;
    if document.to_string() != lines {
        let why = "it would not be given back as it stands".to_owned();
        return Err(EditError::Text(why));
    }
    let value: EditValue = literal
        .parse()
        .map_err(|e: toml_edit::TomlError| EditError::Text(e.message().to_owned()))?;
    put(document.as_table_mut(), steps, value).ok_or_else(|| EditError::NotOneValue {
        path: path.to_owned(),
    })?;
    let changed = document.to_string();
    let same = |a: (char, char)| a.0 == a.1;
    let size = |pairs: &mut dyn Iterator<Item = (char, char)>| -> usize {
        pairs.map(|(c, _)| c.len_utf8()).sum()
    };
    let head = size(&mut lines.chars().zip(changed.chars()).take_while(|p| same(*p)));
    let (old, new) = (&lines[head..], &changed[head..]);
    let back = old.chars().rev().zip(new.chars().rev());
    let tail = size(&mut back.take_while(|p| same(*p)));
    let put_in = &new[..new.len() - tail];
    let range = in_bytes_of(text, head)..in_bytes_of(text, lines.len() - tail);
    let windows = text[..range.start].ends_with("\r\n")
        || !text[..range.start].contains('\n') && text.contains("\r\n")
        || text[range.start..].starts_with("\r\n")
        || text[..range.start]
            .rfind('\n')
            .is_some_and(|i| text[..i].ends_with('\r'));
    Ok(Edit {
        range,
        text: match windows {
            true => put_in.replace('\n', "\r\n"),
            false => put_in.to_owned(),
        },
    })
}

/// The place in a text of one in the same text with its line ends shortened.
fn in_bytes_of(text: &str, at: usize) -> usize {
    let mut short = 0;
    let bytes = text.as_bytes();
    for (i, byte) in bytes.iter().enumerate() {
        if short == at && !(*byte == b'\n' && i > 0 && bytes[i - 1] == b'\r') {
            return i;
        }
        if !(*byte == b'\r' && bytes.get(i + 1) == Some(&b'\n')) {
            short += 1;
        }
    }
    text.len()
}

fn put(table: &mut dyn TableLike, steps: &[Step], value: EditValue) -> Option<()> {
    let (Step::Key(key), rest) = steps.split_first()? else {
        return None;
    };
    match rest {
        [] => {
            add(table, key, value);
            Some(())
        }
        [Step::Nth(n), rest @ ..] => match table.get_mut(key)? {
            Item::ArrayOfTables(list) => put(list.get_mut(*n)?, rest, value),
            Item::Value(EditValue::Array(list)) => {
                put(list.get_mut(*n)?.as_inline_table_mut()?, rest, value)
            }
            _ => None,
        },
        [Step::Key(_), ..] => match table.get_mut(key) {
            Some(item) => put(item.as_table_like_mut()?, rest, value),
            None => {
                let mut inner = InlineTable::new();
                put(&mut inner, rest, value)?;
                add(table, key, EditValue::InlineTable(inner));
                Some(())
            }
        },
    }
}

/// Adds a key as the last. In an inline table the blank before the brace stays there.
fn add(table: &mut dyn TableLike, key: &str, mut value: EditValue) {
    let last = table.iter().last().map(|(key, _)| key.to_owned());
    let inline = last.and_then(|last| {
        table
            .get_mut(&last)?
            .as_value_mut()
            .map(EditValue::decor_mut)
    });
    if let Some(decor) = inline {
        let suffix = decor.suffix().and_then(|s| s.as_str()).unwrap_or("");
        // Of a table under a heading this is the comment behind the last value.
        if !suffix.is_empty() && suffix.chars().all(|c| c == ' ') {
            let suffix = suffix.to_owned();
            decor.set_suffix("");
            *value.decor_mut() = toml_edit::Decor::new(" ", suffix);
        }
    }
    table.insert(key, Item::Value(value));
}
