//! Why something that came in is not taken.

use rehearsal::NoQuestion;

use crate::form::FormError;

/// Most bytes of a payload that is looked at.
pub const MOST_BYTES: usize = 65_536;

/// Why a message that came in is not taken.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum Refused {
    /// Not below `in`, or without a module and a topic.
    #[error("it is not at PREFIX/in/MODULE/TOPIC, nor at PREFIX/answer/MODULE/REQUEST")]
    Place,
    /// No such module.
    #[error("the plan has no module `{module}`")]
    Module {
        /// As it was named.
        module: String,
    },
    /// No such topic.
    #[error("the plan has no topic `{topic}`")]
    Topic {
        /// As it was named.
        topic: String,
    },
    /// No such request.
    #[error("the plan has no request `{request}` to the module `{module}`")]
    Request {
        /// As it was named.
        module: String,
        /// As it was named.
        request: String,
    },
    /// An answer without the correlation data of its question.
    #[error(
        "an answer carries the correlation data of its question, and this one's are none that were sent"
    )]
    Correlation,
    /// An answer for which nobody waits.
    #[error("{0}")]
    Question(NoQuestion),
    /// A topic that is no UTF-8.
    #[error("its topic is no UTF-8")]
    NotText,
    /// A retained message, from before it could be meant for this rehearsal.
    #[error("it was retained: it may be older than this rehearsal")]
    Retained,
    /// Too large to be looked at.
    #[error("its payload of {bytes} bytes is larger than {MOST_BYTES}")]
    Large {
        /// Its size.
        bytes: usize,
    },
    /// No payload of its topic.
    #[error("{0}")]
    Form(#[from] FormError),
    /// The rehearsal has ended.
    #[error("the rehearsal is over")]
    Over,
}

impl Refused {
    /// One word for it, for counts.
    #[must_use]
    pub fn word(&self) -> &'static str {
        match self {
            Refused::Place | Refused::NotText => "place",
            Refused::Module { .. } => "module",
            Refused::Topic { .. } => "topic",
            Refused::Request { .. } => "request",
            Refused::Correlation | Refused::Question(NoQuestion::Unknown { .. }) => "question",
            Refused::Question(NoQuestion::NotReached { .. }) => "early",
            Refused::Question(NoQuestion::Answered { .. } | NoQuestion::HandedIn { .. }) => {
                "answered"
            }
            Refused::Question(NoQuestion::Late { .. }) => "late",
            Refused::Question(NoQuestion::AfterTheEnd) => "over",
            Refused::Retained => "retained",
            Refused::Large { .. } => "large",
            Refused::Form(_) => "payload",
            Refused::Over => "over",
        }
    }
}

/// Most characters of a text of the world that are shown.
pub const MOST_SHOWN: usize = 200;

/// A text of the world as it may be shown: what steers a terminal or turns the writing is escaped, and what is too long is cut.
#[must_use]
pub fn shown(text: &str) -> String {
    let steers = |c: char| {
        c.is_control()
            || matches!(c, '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{feff}')
    };
    let mut out = String::new();
    for c in text.chars().take(MOST_SHOWN) {
        if steers(c) {
            out.extend(c.escape_unicode());
        } else {
            out.push(c);
        }
    }
    if text.chars().nth(MOST_SHOWN).is_some() {
        out += &format!(" ... ({} bytes in all)", text.len());
    }
    out
}
