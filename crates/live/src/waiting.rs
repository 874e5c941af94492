//! What is to be told, and what became of it. Pure: the socket takes from here.

use std::collections::VecDeque;

/// Most refusals that wait: what is not taken may be much, and pushes nothing of the rehearsal out.
const ASIDES: usize = 1024;

/// A message to be told, or one that came in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Message {
    /// Topic at the broker, as it stands in the packet.
    pub topic: Vec<u8>,
    /// Payload.
    pub payload: Vec<u8>,
    /// Its media type.
    pub content_type: Option<String>,
    /// Names and values beside it.
    pub properties: Vec<(String, String)>,
    /// Where an answer to it belongs, of a question.
    pub response_topic: Option<String>,
    /// What tells which question an answer belongs to.
    pub correlation: Option<Vec<u8>>,
    /// Whether the broker keeps it for those who come later; of one that came in, whether it was kept.
    pub retained: bool,
}

/// What became of all that was to be told. A state that a later one replaced before it went is in none of them.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// Told: the broker has acknowledged it.
    pub told: u64,
    /// Not told: the queue was full.
    pub queue_full: u64,
    /// Not told: refusals that found too many others waiting.
    pub asides_full: u64,
    /// Not told: the broker refused it.
    pub not_allowed: u64,
    /// Not told: not acknowledged when the link was closed.
    pub left: u64,
    /// Sent once more, after a connection had broken before it was acknowledged.
    pub again: u64,
    /// How often a connection broke.
    pub breaks: u64,
    /// Attempts to connect that failed.
    pub failed: u64,
}

impl Counts {
    /// All that was not told.
    #[must_use]
    pub fn not_told(&self) -> u64 {
        self.queue_full + self.asides_full + self.not_allowed + self.left
    }
}

/// What kind of message it is: each has a place of its own to wait in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Kind {
    /// The state of the rehearsal: the newest alone matters, it goes first, and always has room.
    State,
    /// Of the rehearsal: up to as many as the user says.
    Mirror,
    /// What came in and was not taken: behind all others.
    Aside,
}

/// Messages that wait.
#[derive(Debug)]
pub(crate) struct Waiting {
    state: Option<Message>,
    mirror: VecDeque<Message>,
    aside: VecDeque<Message>,
    most: usize,
}

impl Waiting {
    /// Room for so many messages of the rehearsal.
    pub(crate) fn new(most: usize) -> Waiting {
        Waiting {
            state: None,
            mirror: VecDeque::new(),
            aside: VecDeque::new(),
            most,
        }
    }

    /// Puts a message behind the others of its kind; one too many is counted and not told.
    pub(crate) fn put(&mut self, kind: Kind, message: Message, counts: &mut Counts) {
        let (queue, most, full) = match kind {
            Kind::State => {
                self.state = Some(message);
                return;
            }
            Kind::Mirror => (&mut self.mirror, self.most, &mut counts.queue_full),
            Kind::Aside => (&mut self.aside, ASIDES, &mut counts.asides_full),
        };
        if queue.len() >= most {
            *full += 1;
        } else {
            queue.push_back(message);
        }
    }

    /// Takes the next to be told.
    pub(crate) fn take(&mut self) -> Option<(Kind, Message)> {
        let state = self.state.take().map(|message| (Kind::State, message));
        state
            .or_else(|| Some((Kind::Mirror, self.mirror.pop_front()?)))
            .or_else(|| Some((Kind::Aside, self.aside.pop_front()?)))
    }

    /// Gives back what was taken last: it was not told. A state yields to a newer one.
    pub(crate) fn give_back(&mut self, kind: Kind, message: Message) {
        match kind {
            Kind::State => {
                self.state.get_or_insert(message);
            }
            Kind::Mirror => self.mirror.push_front(message),
            Kind::Aside => self.aside.push_front(message),
        }
    }

    /// How many of the rehearsal's messages wait, of how many that may.
    pub(crate) fn of_most(&self) -> (usize, usize) {
        (self.mirror.len(), self.most)
    }

    /// Whether a state waits.
    pub(crate) fn has_state(&self) -> bool {
        self.state.is_some()
    }

    /// How many wait in all.
    pub(crate) fn len(&self) -> usize {
        usize::from(self.state.is_some()) + self.mirror.len() + self.aside.len()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn message(text: &str) -> Message {
        Message {
            topic: text.as_bytes().to_vec(),
            payload: Vec::new(),
            content_type: None,
            properties: Vec::new(),
            response_topic: None,
            correlation: None,
            retained: false,
        }
    }

    /// A full queue holds the newest state all the same, and refusals without end push nothing of the rehearsal out.
    #[test]
    fn verif_a_state_has_room_and_refusals_take_none() {
        let mut counts = Counts::default();
        let mut waiting = Waiting::new(2);
        for _ in 0..ASIDES + 5 {
            waiting.put(Kind::Aside, message("refused"), &mut counts);
        }
        for text in ["a", "b", "c"] {
            waiting.put(Kind::Mirror, message(text), &mut counts);
        }
        waiting.put(Kind::State, message("running"), &mut counts);
        waiting.put(Kind::State, message("ended"), &mut counts);
        assert_eq!((counts.queue_full, counts.asides_full), (1, 5));
        assert_eq!(counts.not_told(), 6);
        assert_eq!(waiting.of_most(), (2, 2));
        let next = waiting.take().unwrap();
        assert_eq!(next, (Kind::State, message("ended")));
        // What comes back after a break is older than what waits since.
        waiting.put(Kind::State, message("newer"), &mut counts);
        waiting.give_back(Kind::State, next.1);
        for text in ["newer", "a", "b", "refused"] {
            assert_eq!(waiting.take().unwrap().1, message(text));
        }
        assert_eq!(waiting.len(), ASIDES - 1);
    }
}
