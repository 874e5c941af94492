//! Topic names and filters: OASIS MQTT Version 5.0 (2019), section 4.7.
//!
//! Levels are separated by `/`; empty levels count. Names and filters have 1 to 65 535 bytes of UTF-8 without U+0000 and are compared byte by byte
//! (4.7.3). `+` stands for exactly one level and fills it; `#` stands for its parent and everything below, fills its level and is the last (4.7.1).
//! A filter that starts with a wildcard matches no name that starts with `$` (4.7.2). Shared subscriptions (4.8.2) are refused: they hand each
//! message to one of several subscribers, which nothing here models.

use std::fmt;

const LONGEST_BYTES: usize = 65_535;

/// A topic name: what a message is published to.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct TopicName(String);

/// A topic filter: what a node subscribes to.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Filter(String);

/// A text that is no topic name or no topic filter, by the rules of OASIS MQTT 5.0 section 4.7.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum TopicError {
    /// At least one character is needed (4.7.3).
    #[error("a topic needs at least one character")]
    Empty,
    /// At most 65 535 bytes (4.7.3).
    #[error("a topic of {bytes} bytes is longer than the limit of {LONGEST_BYTES} bytes")]
    TooLong {
        /// Length in bytes.
        bytes: usize,
    },
    /// U+0000 is not allowed (4.7.3).
    #[error("a topic may not hold the null character (at byte {at_byte})")]
    Null {
        /// Where, in bytes from the start.
        at_byte: usize,
    },
    /// A wildcard in a name (4.7.1).
    #[error(
        "a topic name may not hold the wildcard `{wildcard}` (at byte {at_byte}); only a filter may"
    )]
    WildcardInName {
        /// Which.
        wildcard: char,
        /// Where, in bytes from the start.
        at_byte: usize,
    },
    /// A wildcard beside other characters in its level (4.7.1.2, 4.7.1.3).
    #[error("the wildcard `{wildcard}` must fill level {level} of the filter alone")]
    WildcardNotAlone {
        /// Which.
        wildcard: char,
        /// Which level, from 1.
        level: usize,
    },
    /// `#` before the last level (4.7.1.2).
    #[error("the wildcard `#` in level {level} must be the last level of the filter")]
    HashNotLast {
        /// Which level, from 1.
        level: usize,
    },
    /// `$share/...` (4.8.2), which is not modelled.
    #[error("shared subscriptions (`$share/...`) are not modelled")]
    SharedSubscription,
}

impl TopicName {
    /// Reads a topic name.
    ///
    /// # Errors
    /// [`TopicError`] by the rule broken.
    pub fn parse(text: &str) -> Result<TopicName, TopicError> {
        check_text(text)?;
        if let Some((at_byte, wildcard)) = text.char_indices().find(|(_, c)| matches!(c, '+' | '#'))
        {
            return Err(TopicError::WildcardInName { wildcard, at_byte });
        }
        Ok(TopicName(text.to_owned()))
    }

    /// The name as written.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl Filter {
    /// Reads a topic filter.
    ///
    /// # Errors
    /// [`TopicError`] by the rule broken.
    pub fn parse(text: &str) -> Result<Filter, TopicError> {
        check_text(text)?;
        if text == "$share" || text.starts_with("$share/") {
            return Err(TopicError::SharedSubscription);
        }
        let last = text.split('/').count();
        for (index, level) in text.split('/').enumerate() {
            let level_number = index + 1;
            if let Some(wildcard) = level.chars().find(|c| matches!(c, '+' | '#'))
                && level.len() > 1
            {
                return Err(TopicError::WildcardNotAlone {
                    wildcard,
                    level: level_number,
                });
            }
            if level == "#" && level_number < last {
                return Err(TopicError::HashNotLast {
                    level: level_number,
                });
            }
        }
        Ok(Filter(text.to_owned()))
    }

    /// The filter as written.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// Whether a message published to `name` reaches a subscriber with this filter.
    #[must_use]
    pub fn matches(&self, name: &TopicName) -> bool {
        if name.0.starts_with('$') && self.0.starts_with(['+', '#']) {
            return false;
        }
        let mut levels = name.0.split('/');
        for wanted in self.0.split('/') {
            if wanted == "#" {
                return true;
            }
            match levels.next() {
                Some(level) if wanted == "+" || wanted == level => {}
                _ => return false,
            }
        }
        levels.next().is_none()
    }
}

impl fmt::Display for TopicName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl fmt::Display for Filter {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

fn check_text(text: &str) -> Result<(), TopicError> {
    if text.is_empty() {
        return Err(TopicError::Empty);
    }
    if text.len() > LONGEST_BYTES {
        return Err(TopicError::TooLong { bytes: text.len() });
    }
    match text.find('\0') {
        Some(at_byte) => Err(TopicError::Null { at_byte }),
        None => Ok(()),
    }
}
