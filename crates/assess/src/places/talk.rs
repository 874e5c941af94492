//! One topic that an added module publishes, as tables of a plan.

use plan::Line;
use toml_edit::{Array, InlineTable, Value};

use super::change::{ChangeError, Text};

/// A topic that the added module publishes at intervals.
#[derive(Clone, Debug, PartialEq)]
pub struct Publishes {
    /// The topic's name; one of the plan, or a new one.
    pub topic: String,
    /// How often, as a plan writes a time: `10 min`.
    pub each: String,
    /// Size of its payload, as a plan writes it; a topic of the plan has its own.
    pub size: Option<String>,
    /// The most that it publishes; once each interval where none is written. A topic of the plan has its own.
    pub at_most: Option<String>,
    /// Its priority; that of a plan that says nothing where none is given.
    pub priority: Option<i64>,
    /// Ids of modules that are to be told, besides those that the plan's behaviours tell.
    pub told: Vec<String>,
}

/// Why a topic cannot be published.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum PublishesError {
    /// A new topic needs a size.
    #[error("topic \"{topic}\" is new to the plan, so its size must be given")]
    NoSize {
        /// The topic.
        topic: String,
    },
    /// A topic of the plan says all that is of itself.
    #[error("topic \"{topic}\" is in the plan, which says its {what} already")]
    Said {
        /// The topic.
        topic: String,
        /// Size, limit or priority.
        what: &'static str,
    },
    /// There is no such module.
    #[error("there is no `module.{module}` that could be told; the plan has {modules}")]
    NoModule {
        /// What was asked.
        module: String,
        /// Those that are there.
        modules: String,
    },
    /// The tables cannot be written.
    #[error(transparent)]
    Change(#[from] ChangeError),
}

impl Publishes {
    /// The tables, for a module with this id.
    ///
    /// # Errors
    /// [`PublishesError`].
    pub fn tables(&self, line: &Line, id: &str) -> Result<String, PublishesError> {
        let mut text = Text::empty();
        let topic = || self.topic.clone();
        let known = line.topics.iter().any(|t| t.name == self.topic);
        if known {
            let said = [
                (self.size.is_some(), "size"),
                (self.at_most.is_some(), "limit"),
                (self.priority.is_some(), "priority"),
            ];
            if let Some((_, what)) = said.iter().find(|(given, _)| *given) {
                return Err(PublishesError::Said {
                    topic: topic(),
                    what,
                });
            }
        } else {
            let Some(size) = &self.size else {
                return Err(PublishesError::NoSize { topic: topic() });
            };
            let once = || format!("1 per {}", self.each);
            let at_most = self.at_most.clone().unwrap_or_else(once);
            let mut fields: Vec<(&str, Value)> =
                vec![("at_most", at_most.into()), ("size", size.into())];
            if let Some(priority) = self.priority {
                fields.push(("priority", priority.into()));
            }
            text.add("topic", &self.topic, &fields)?;
        }
        let one = |key: &str, held: Value| {
            let mut action = InlineTable::new();
            action.insert(key, held);
            let mut list = Array::new();
            list.push(Value::InlineTable(action));
            Value::Array(list)
        };
        let fields = [
            ("on", format!("module.{id}").into()),
            ("each", self.each.as_str().into()),
            ("do", one("publish", topic().into())),
        ];
        text.add("behaviour", &format!("{id}-publishes"), &fields)?;
        for module in &self.told {
            let module = module.strip_prefix("module.").unwrap_or(module);
            if line.module_by_id(module).is_none() {
                let ids: Vec<String> = line.modules.iter().map(|m| m.id.clone()).collect();
                return Err(PublishesError::NoModule {
                    module: module.to_owned(),
                    modules: ids.join(", "),
                });
            }
            let fields = [
                ("on", format!("module.{module}").into()),
                ("when_told", topic().into()),
                ("do", one("log", topic().into())),
            ];
            text.add("behaviour", &format!("{id}-tells-{module}"), &fields)?;
        }
        Ok(text.into_string())
    }
}

/// Tables of a plan that may say what an added module publishes and does.
pub const TALK_TABLES: [&str; 9] = [
    "topic",
    "request",
    "stream",
    "behaviour",
    "detector",
    "call",
    "vote",
    "storage",
    "requirement",
];

/// Whether a text holds only such tables; the first that it may not hold otherwise.
///
/// # Errors
/// [`ChangeError::Text`] for what is no TOML.
pub fn foreign_table(text: &str) -> Result<Option<String>, ChangeError> {
    let tables = Text::parse(text)?;
    let foreign = tables
        .keys()
        .find(|(key, is_table)| !is_table || !TALK_TABLES.contains(&key.as_str()));
    Ok(foreign.map(|(key, _)| key))
}
