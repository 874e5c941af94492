//! A topic's `at_most`, enforced while it runs.
//!
//! "6 per hour" is taken at its word: no hour, wherever it begins, holds more than six. A plain token bucket of six tokens would let twelve through within
//! one hour (six saved up, six as they refill), so the instants of the last `messages` admissions are kept instead. What is admitted also conforms to the
//! token bucket of `messages` tokens refilled at `messages / per` (a closed span of length t holds at most messages (floor(t / per) + 1) of them), which
//! is what [`delay_bounds`](crate::delay_bounds) builds on.

use std::collections::VecDeque;

use timeline::Ns;

/// At most so many messages in any span of this length (begin included, end excluded).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct AtMost {
    messages: u32,
    per: Ns,
}

/// The gate that enforces an [`AtMost`].
#[derive(Clone, Debug)]
pub struct RateLimit {
    limit: AtMost,
    passed: VecDeque<Ns>,
    latest: Ns,
    refused: u64,
}

/// What a [`RateLimit`] says.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Admission {
    /// The message may go.
    Passed,
    /// The message must not go.
    Refused {
        /// The first instant at which one may go again.
        until: Ns,
    },
}

/// A limit that is none, or time running backwards.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum RateError {
    /// Nothing may ever pass.
    #[error("at most 0 messages lets nothing pass; leave the topic out instead")]
    NoMessages,
    /// No span of time.
    #[error("a limit per 0 s limits nothing")]
    NoSpan,
    /// A rate of none, or of so little that what it is to carry takes longer than time can say.
    #[error("{rate_bps} bit/s carries nothing within all of time")]
    TooSlow {
        /// The rate, bit/s.
        rate_bps: u64,
    },
    /// Asked about an instant before the latest one asked about.
    #[error("asked about {now} after {latest}")]
    Backwards {
        /// Instant asked about.
        now: Ns,
        /// Latest instant asked about before.
        latest: Ns,
    },
}

impl AtMost {
    /// At most `messages` in any span of length `per`.
    ///
    /// # Errors
    /// [`RateError::NoMessages`], [`RateError::NoSpan`].
    pub fn new(messages: u32, per: Ns) -> Result<AtMost, RateError> {
        if messages == 0 {
            return Err(RateError::NoMessages);
        }
        if per == Ns::ZERO {
            return Err(RateError::NoSpan);
        }
        Ok(AtMost { messages, per })
    }

    /// How many messages.
    #[must_use]
    pub fn messages(self) -> u32 {
        self.messages
    }

    /// In a span of which length.
    #[must_use]
    pub fn per(self) -> Ns {
        self.per
    }
}

impl RateLimit {
    /// A gate through which nothing has passed yet.
    #[must_use]
    pub fn new(limit: AtMost) -> RateLimit {
        RateLimit {
            limit,
            passed: VecDeque::new(),
            latest: Ns::ZERO,
            refused: 0,
        }
    }

    /// Asks to let one message pass at `now`; a refused message does not count towards the limit.
    ///
    /// # Errors
    /// [`RateError::Backwards`].
    pub fn admit(&mut self, now: Ns) -> Result<Admission, RateError> {
        if now < self.latest {
            return Err(RateError::Backwards {
                now,
                latest: self.latest,
            });
        }
        self.latest = now;
        if self.passed.len() == self.limit.messages as usize
            && let Some(&oldest) = self.passed.front()
        {
            // Past the end of time the span never ends: nothing passes again.
            let until = oldest.checked_add(self.limit.per).unwrap_or(Ns::MAX);
            if now < until {
                self.refused += 1;
                return Ok(Admission::Refused { until });
            }
            self.passed.pop_front();
        }
        self.passed.push_back(now);
        Ok(Admission::Passed)
    }

    /// How many messages were refused.
    #[must_use]
    pub fn refused(&self) -> u64 {
        self.refused
    }
}
