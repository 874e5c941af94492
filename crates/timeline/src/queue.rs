//! The event queue: one total order, whatever the order of insertion of different events.

use std::cmp::Ordering;
use std::collections::BinaryHeap;

use crate::{Class, Ns};

/// Events waiting for their instant, taken in the order (instant, class, place, insertion number).
///
/// The heap holds small fixed-size keys; payloads stay in a pool of slots that are used again, so that sifting never moves them and a queue
/// in steady use does not allocate.
#[derive(Clone, Debug)]
pub struct Queue<T> {
    heap: BinaryHeap<Key>,
    slots: Vec<Option<T>>,
    free: Vec<u32>,
    inserted: u64,
}

/// An event taken from a [`Queue`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Entry<T> {
    /// When it happens.
    pub at: Ns,
    /// What kind of event it is.
    pub class: Class,
    /// Where it happens: an index that means what the owner of the queue says.
    pub place: u32,
    /// What happens.
    pub payload: T,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Key {
    /// Instant in the upper 64 bits, class in the next 32, place in the last 32: one comparison decides nearly always.
    order: u128,
    number: u64,
    slot: u32,
}

impl Ord for Key {
    /// Reversed, because the standard heap gives the greatest first.
    fn cmp(&self, other: &Self) -> Ordering {
        other
            .order
            .cmp(&self.order)
            .then_with(|| other.number.cmp(&self.number))
    }
}

impl PartialOrd for Key {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Key {
    fn at(self) -> Ns {
        Ns((self.order >> 64) as u64)
    }

    fn class(self) -> Class {
        Class::ALL[(self.order >> 32) as u32 as usize]
    }
}

impl<T> Default for Queue<T> {
    fn default() -> Self {
        Queue::new()
    }
}

impl<T> Queue<T> {
    /// An empty queue.
    #[must_use]
    pub fn new() -> Queue<T> {
        Queue {
            heap: BinaryHeap::new(),
            slots: Vec::new(),
            free: Vec::new(),
            inserted: 0,
        }
    }

    /// Puts an event in. It is taken after everything of an earlier (instant, class, place) and after all equals put in before it.
    ///
    /// # Panics
    /// When more than `u32::MAX` events wait at once (over 100 GB of keys).
    pub fn push(&mut self, at: Ns, class: Class, place: u32, payload: T) {
        let slot = match self.free.pop() {
            Some(slot) => {
                self.slots[slot as usize] = Some(payload);
                slot
            }
            None => {
                self.slots.push(Some(payload));
                u32::try_from(self.slots.len() - 1).expect("fewer than 2^32 events wait at once")
            }
        };
        let order = u128::from(at.0) << 64 | u128::from(class as u8) << 32 | u128::from(place);
        self.heap.push(Key {
            order,
            number: self.inserted,
            slot,
        });
        self.inserted += 1;
    }

    /// Takes the first event.
    pub fn pop(&mut self) -> Option<Entry<T>> {
        let key = self.heap.pop()?;
        let payload = self.slots[key.slot as usize]
            .take()
            .expect("a key in the heap owns a filled slot");
        self.free.push(key.slot);
        Some(Entry {
            at: key.at(),
            class: key.class(),
            place: key.order as u32,
            payload,
        })
    }

    /// Takes the first event if it is of this instant and class.
    pub fn pop_if(&mut self, at: Ns, class: Class) -> Option<Entry<T>> {
        let key = *self.heap.peek()?;
        if key.order >> 32 == (u128::from(at.0) << 32 | u128::from(class as u8)) {
            self.pop()
        } else {
            None
        }
    }

    /// Instant and class of the first event, which stays.
    #[must_use]
    pub fn peek(&self) -> Option<(Ns, Class)> {
        self.heap.peek().map(|key| (key.at(), key.class()))
    }

    /// How many events wait.
    #[must_use]
    pub fn len(&self) -> usize {
        self.heap.len()
    }

    /// Whether no event waits.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.heap.is_empty()
    }
}
