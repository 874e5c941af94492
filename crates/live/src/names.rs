//! How topics of a rehearsal are called at the broker, and back.
//!
//! Below a prefix: `published/MODULE/TOPIC` when a module publishes, `delivered/MODULE/TOPIC` when the line has delivered a message to a
//! module, `in/MODULE/TOPIC` for what is to be published by that module, `refused` for what came in and was not taken, and `status`.
//! Nothing is ever mirrored below `in`, so that the link cannot hear itself.

use network::{Filter, TopicName};
use plan::{Line, ModuleIx, RequestIx, TopicIx};

use crate::refused::Refused;

/// Longest prefix, bytes.
pub const MAX_PREFIX_BYTES: usize = 256;

/// A prefix that cannot be.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PrefixError {
    /// No name of a topic.
    #[error("`{prefix}` cannot begin a topic: {why}")]
    Name {
        /// As it was given.
        prefix: String,
        /// Why.
        why: String,
    },
    /// A level without a name, or `$` at the beginning, which is the broker's own.
    #[error(
        "`{prefix}` has an empty level or begins with `$`; write names with `/` between, such as bench/harrow-sound"
    )]
    Level {
        /// As it was given.
        prefix: String,
    },
    /// Too long.
    #[error("a prefix of {bytes} bytes is longer than {MAX_PREFIX_BYTES}")]
    Long {
        /// Its length.
        bytes: usize,
    },
}

/// Names of topics at the broker.
#[derive(Clone, Debug)]
pub struct Names {
    prefix: String,
}

impl Names {
    /// Names below a prefix.
    ///
    /// # Errors
    /// [`PrefixError`].
    pub fn new(prefix: &str) -> Result<Names, PrefixError> {
        let owned = || prefix.to_owned();
        if prefix.len() > MAX_PREFIX_BYTES {
            let bytes = prefix.len();
            return Err(PrefixError::Long { bytes });
        }
        TopicName::parse(prefix).map_err(|error| PrefixError::Name {
            prefix: owned(),
            why: error.to_string(),
        })?;
        if prefix.starts_with('$') || prefix.split('/').any(str::is_empty) {
            return Err(PrefixError::Level { prefix: owned() });
        }
        Ok(Names { prefix: owned() })
    }

    /// The prefix for a deployment that gives none: its name in small letters, digits and hyphens.
    #[must_use]
    pub fn prefix_of(deployment: &str) -> String {
        let mut prefix = String::new();
        for c in deployment.chars().flat_map(char::to_lowercase) {
            if c.is_ascii_alphanumeric() {
                prefix.push(c);
            } else if !prefix.is_empty() && !prefix.ends_with('-') {
                prefix.push('-');
            }
        }
        let prefix = prefix.trim_end_matches('-');
        match prefix {
            "" => "soundline".to_owned(),
            _ => prefix.chars().take(MAX_PREFIX_BYTES).collect(),
        }
    }

    /// The prefix.
    #[must_use]
    pub fn prefix(&self) -> &str {
        &self.prefix
    }

    /// Where a message is told that a module publishes.
    #[must_use]
    pub fn published(&self, line: &Line, module: ModuleIx, topic: TopicIx) -> String {
        self.of("published", line, module, topic)
    }

    /// Where a message is told that a module is delivered.
    #[must_use]
    pub fn delivered(&self, line: &Line, module: ModuleIx, topic: TopicIx) -> String {
        self.of("delivered", line, module, topic)
    }

    fn of(&self, what: &str, line: &Line, module: ModuleIx, topic: TopicIx) -> String {
        let (module, topic) = (&line.modules[module.0].id, &line.topics[topic.0].name);
        format!("{}/{what}/{module}/{topic}", self.prefix)
    }

    /// The filter of all that comes in.
    #[must_use]
    pub fn all_in(&self) -> String {
        let filter = format!("{}/in/#", self.prefix);
        debug_assert!(Filter::parse(&filter).is_ok());
        filter
    }

    /// Where a question is told that has reached a module.
    #[must_use]
    pub fn asked(&self, line: &Line, request: RequestIx) -> String {
        self.of_request("asked", line, request)
    }

    /// Where answers to a request belong.
    #[must_use]
    pub fn answer(&self, line: &Line, request: RequestIx) -> String {
        self.of_request("answer", line, request)
    }

    fn of_request(&self, what: &str, line: &Line, request: RequestIx) -> String {
        let request = &line.requests[request.0];
        let (module, id) = (&line.modules[request.to.0].id, &request.id);
        format!("{}/{what}/{module}/{id}", self.prefix)
    }

    /// The filter of all answers.
    #[must_use]
    pub fn all_answers(&self) -> String {
        format!("{}/answer/#", self.prefix)
    }

    /// The request to which a message belongs that came in as an answer; `None` where it is no answer.
    ///
    /// # Errors
    /// [`Refused`]: a module or a request that the plan does not have.
    pub fn read_answer(&self, line: &Line, topic: &str) -> Option<Result<RequestIx, Refused>> {
        let rest = topic.strip_prefix(&self.prefix)?.strip_prefix("/answer/")?;
        let Some((module, id)) = rest.split_once('/') else {
            return Some(Err(Refused::Place));
        };
        let found = line
            .requests
            .iter()
            .position(|q| q.id == id && line.modules[q.to.0].id == module);
        Some(found.map(RequestIx).ok_or_else(|| Refused::Request {
            module: module.to_owned(),
            request: id.to_owned(),
        }))
    }

    /// Where the state of the rehearsal is told.
    #[must_use]
    pub fn status(&self) -> String {
        format!("{}/status", self.prefix)
    }

    /// Where it is told what was not taken.
    #[must_use]
    pub fn refused(&self) -> String {
        format!("{}/refused", self.prefix)
    }

    /// The module and the topic of a message that came in.
    ///
    /// # Errors
    /// [`Refused`]: another place, or a module or topic that the plan does not have.
    pub fn read(&self, line: &Line, topic: &str) -> Result<(ModuleIx, TopicIx), Refused> {
        let place = topic
            .strip_prefix(&self.prefix)
            .and_then(|rest| rest.strip_prefix("/in/"))
            .and_then(|rest| rest.split_once('/'));
        let Some((module, name)) = place else {
            return Err(Refused::Place);
        };
        let module_ix = line.modules.iter().position(|m| m.id == module);
        let Some(module_ix) = module_ix else {
            return Err(Refused::Module {
                module: module.to_owned(),
            });
        };
        let topic_ix = line.topics.iter().position(|t| t.name == name);
        let Some(topic_ix) = topic_ix else {
            return Err(Refused::Topic {
                topic: name.to_owned(),
            });
        };
        Ok((ModuleIx(module_ix), TopicIx(topic_ix)))
    }
}
