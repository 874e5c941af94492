//! The plan's text with one more module in it. Comments and layout of the rest stay as they are.

use plan::Reading;
use toml_edit::{DocumentMut, InlineTable, Item, Table, TableLike, Value, value};

use super::site::{Site, Way};

/// What could not be done to the text of a plan.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ChangeError {
    /// The text is no TOML.
    #[error("the plan's text cannot be edited: {0}")]
    Text(String),
    /// No span leads to a neighbour, so nothing says what a stub would be.
    #[error(
        "no span leads to `module.{module}`, so nothing says which cable leads to a module beside it"
    )]
    NoCable {
        /// Id of the neighbour.
        module: String,
    },
    /// The table of a thing is not where it is looked for.
    #[error("the plan's own file has no table `{0}`")]
    NoTable(String),
}

/// The text of a plan that is being changed.
#[derive(Clone)]
pub(super) struct Text(DocumentMut);

impl Text {
    /// The plan's own file, as it was read.
    pub(super) fn of(reading: &Reading) -> Result<Text, ChangeError> {
        let (_, source) = reading.sources.iter().next().expect("a plan has a text");
        Text::parse(&source.text)
    }

    pub(super) fn parse(text: &str) -> Result<Text, ChangeError> {
        let parsed = text.parse::<DocumentMut>();
        parsed
            .map(Text)
            .map_err(|e| ChangeError::Text(e.message().to_owned()))
    }

    pub(super) fn empty() -> Text {
        Text(DocumentMut::new())
    }

    /// Its keys, and whether each holds tables under a heading.
    pub(super) fn keys(&self) -> impl Iterator<Item = (String, bool)> {
        let keys = self.0.iter();
        keys.map(|(key, item)| (key.to_owned(), item.is_table()))
    }

    pub(super) fn into_string(self) -> String {
        self.0.to_string()
    }

    /// Includes a further catalogue.
    pub(super) fn include(&mut self, name: &str) -> Result<(), ChangeError> {
        let item = self
            .0
            .entry("include")
            .or_insert_with(|| value(toml_edit::Array::new()));
        let list = item.as_array_mut().ok_or_else(|| missing("include"))?;
        list.push(name);
        Ok(())
    }

    /// Adds a table that holds these keys.
    pub(super) fn add(
        &mut self,
        kind: &str,
        id: &str,
        fields: &[(&str, Value)],
    ) -> Result<(), ChangeError> {
        let mut table = Table::new();
        for (key, held) in fields {
            table.insert(key, Item::Value(held.clone()));
        }
        self.put(kind, id, Item::Table(table))
    }

    /// Whether the plan's own file has this table.
    pub(super) fn has(&self, kind: &str, id: &str) -> bool {
        let of_kind = self.0.get(kind).and_then(Item::as_table_like);
        of_kind.is_some_and(|t| t.contains_key(id))
    }

    pub(super) fn remove(&mut self, kind: &str, id: &str) {
        if let Some(of_kind) = self.0.get_mut(kind).and_then(Item::as_table_like_mut) {
            of_kind.remove(id);
        }
    }

    fn put(&mut self, kind: &str, id: &str, item: Item) -> Result<(), ChangeError> {
        let of_kind = self.0.entry(kind).or_insert_with(|| {
            let mut table = Table::new();
            table.set_implicit(true);
            Item::Table(table)
        });
        match of_kind {
            Item::Table(table) => {
                table.insert(id, item);
            }
            Item::Value(Value::InlineTable(table)) => {
                let held = item.into_value().map_err(|_| missing(kind))?;
                table.insert(id, held);
            }
            _ => return Err(missing(kind)),
        }
        Ok(())
    }

    fn table(&mut self, kind: &str, id: &str) -> Result<&mut dyn TableLike, ChangeError> {
        let of_kind = self.0.get_mut(kind).and_then(Item::as_table_like_mut);
        of_kind
            .and_then(|t| t.get_mut(id))
            .and_then(Item::as_table_like_mut)
            .ok_or_else(|| missing(&format!("{kind}.{id}")))
    }

    /// A copy of a table under another id, without the comment before it.
    fn copy(&mut self, kind: &str, from: &str, to: &str) -> Result<(), ChangeError> {
        let of_kind = self.0.get(kind).and_then(Item::as_table_like);
        let mut item = of_kind
            .and_then(|t| t.get(from))
            .cloned()
            .ok_or_else(|| missing(&format!("{kind}.{from}")))?;
        if let Some(table) = item.as_table_mut() {
            table.decor_mut().set_prefix("\n");
        }
        self.put(kind, to, item)
    }

    /// Puts a module of a part at a place.
    pub(super) fn place(
        &mut self,
        id: &str,
        part: &str,
        site: &Site,
        cable: Option<&str>,
        stub_m: f64,
    ) -> Result<(), ChangeError> {
        let mut position = InlineTable::new();
        match &site.position {
            super::site::At::Section { id, from_top_m } => {
                position.insert("section", format!("section.{id}").into());
                position.insert("from_top", metres(*from_top_m).into());
            }
            super::site::At::Depth(depth_m) => {
                position.insert("depth", metres(*depth_m).into());
            }
        }
        let fields = [
            ("part", part.into()),
            ("position", Value::InlineTable(position)),
        ];
        self.add("module", id, &fields)?;
        let module = format!("module.{id}");
        match &site.way {
            Way::Beside { neighbour, like } => {
                let from = format!("module.{neighbour}");
                self.hang(id, &from, &module, like.as_deref(), cable, Some(stub_m))
            }
            Way::Beyond { neighbour, like } => {
                let from = format!("module.{neighbour}");
                self.hang(id, &from, &module, like.as_deref(), cable, None)
            }
            Way::Within {
                span,
                from,
                to,
                polled_by,
                lengths_m,
                ..
            } => {
                let further = further_half(id);
                self.copy("span", span, &further)?;
                let near = self.table("span", span)?;
                near.insert("to", value(&module));
                let far = self.table("span", &further)?;
                far.insert("from", value(&module));
                if let Some((near_m, far_m)) = lengths_m {
                    self.table("span", span)?
                        .insert("length", value(metres(*near_m)));
                    self.table("span", &further)?
                        .insert("length", value(metres(*far_m)));
                }
                // Of a link on which one end asks, the half that has lost that end is asked by the new module.
                if let Some(asks) = polled_by {
                    let lost = if asks == from { &further } else { span };
                    debug_assert!(asks == from || asks == to);
                    self.table("span", lost)?
                        .insert("polled_by", value(&module));
                }
                Ok(())
            }
        }
    }

    /// A span to a module that hangs on one neighbour: the cable named, or that of a span of the neighbour.
    fn hang(
        &mut self,
        id: &str,
        from: &str,
        to: &str,
        like: Option<&str>,
        cable: Option<&str>,
        length_m: Option<f64>,
    ) -> Result<(), ChangeError> {
        match (cable, like) {
            (Some(part), _) => self.add("span", id, &[("part", part.into())])?,
            (None, Some(like)) => self.copy("span", like, id)?,
            (None, None) => {
                let module = from.strip_prefix("module.").unwrap_or(from).to_owned();
                return Err(ChangeError::NoCable { module });
            }
        }
        let span = self.table("span", id)?;
        span.insert("from", value(from));
        span.insert("to", value(to));
        let asks = span.get("polled_by").is_some();
        match length_m {
            Some(length_m) => {
                span.remove("slack");
                span.insert("length", value(metres(length_m)));
            }
            None => {
                span.remove("length");
            }
        }
        if asks {
            span.insert("polled_by", value(from));
        }
        Ok(())
    }
}

/// Id of the half of a span that lies beyond the module put into it.
pub(super) fn further_half(id: &str) -> String {
    format!("{id}-onwards")
}

/// A length as a plan writes it, to the micrometre and never shorter.
fn metres(length_m: f64) -> String {
    format!("{} m", (length_m * 1e6).ceil() / 1e6)
}

fn missing(what: &str) -> ChangeError {
    ChangeError::NoTable(what.to_owned())
}
