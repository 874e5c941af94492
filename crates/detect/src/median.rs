//! Median, or another order statistic, of the last n values, updated in O(log n).
//!
//! Two heaps hold the values: `low` the lower part with its highest on top, `high` the upper part with its lowest on top.
//! Every ring place knows where in which heap its value is, so that a new value takes the place of the oldest directly; if it
//! belongs to the other part it comes to the top, and the tops change sides. For an even number of values the median is the
//! mean of the middle two, for an odd number it is the middle one; this is the definition of `numpy.median`. With another
//! rank, `low` holds the `ceil(rank n)` smallest values and the statistic is the highest of them. The result depends on the
//! values alone, not on the order in which the heaps were built.
//!
//! Values are kept as integers in the order of [`f64::total_cmp`]; those of `low` are negated, so that both heaps have their
//! least on top.

use alloc::vec;
use alloc::vec::Vec;

/// Median (within the crate also another order statistic) of the last `capacity` values. Memory is taken by the constructors
/// only.
#[derive(Clone, Debug)]
pub struct RunningMedian {
    /// Ring place that the next value takes: the oldest once the ring is full.
    next: usize,
    held: usize,
    low: Vec<Entry>,
    high: Vec<Entry>,
    /// For every ring place: where its value is in its heap, with [`HIGH`] added for the upper one.
    place: Vec<u32>,
    split: Split,
}

#[derive(Clone, Copy, Debug)]
struct Entry {
    key: i64,
    ring_place: u32,
}

const HIGH: u32 = 1 << 31;

/// How the values are shared out between `low` and `high`.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Split {
    Halves,
    Rank(f64),
}

/// A rank that is a whole number of values but for rounding is taken as that number.
const RANK_ROUNDING: f64 = 1e-9;

impl Split {
    /// Values in `low` when `held` are held.
    fn low(self, held: usize) -> usize {
        match self {
            Self::Halves => held.div_ceil(2),
            Self::Rank(rank) => {
                let low = libm::ceil(rank * held as f64 - RANK_ROUNDING) as usize;
                low.clamp(1, held.max(1))
            }
        }
    }
}

impl RunningMedian {
    /// Most values that can be held.
    pub const MOST: usize = 1 << 24;

    /// A median over the last `capacity` values; `None` unless `capacity` is 1 to [`RunningMedian::MOST`].
    #[must_use]
    pub fn new(capacity: usize) -> Option<Self> {
        Self::with_split(capacity, Split::Halves)
    }

    /// The `ceil(rank n)`-th smallest of the last `capacity` values, `n` the number held; `None` unless `capacity` is as for
    /// [`RunningMedian::new`] and `rank` more than 0 and at most 1.
    pub(crate) fn of_rank(capacity: usize, rank: f64) -> Option<Self> {
        if rank > 0.0 && rank <= 1.0 {
            Self::with_split(capacity, Split::Rank(rank))
        } else {
            None
        }
    }

    fn with_split(capacity: usize, split: Split) -> Option<Self> {
        if capacity == 0 || capacity > Self::MOST {
            return None;
        }
        Some(Self {
            next: 0,
            held: 0,
            low: Vec::with_capacity(split.low(capacity) + 2),
            high: Vec::with_capacity(capacity - split.low(capacity) + 2),
            place: vec![0; capacity],
            split,
        })
    }

    /// Number of values held, at most the capacity.
    #[must_use]
    pub fn held(&self) -> usize {
        self.held
    }

    /// Number of values that can be held.
    #[must_use]
    pub fn capacity(&self) -> usize {
        self.place.len()
    }

    /// Bytes that it occupies.
    #[must_use]
    pub fn bytes(&self) -> usize {
        size_of::<Self>()
            + (self.low.capacity() + self.high.capacity()) * size_of::<Entry>()
            + self.place.capacity() * size_of::<u32>()
    }

    /// Forget everything.
    pub fn clear(&mut self) {
        self.next = 0;
        self.held = 0;
        self.low.clear();
        self.high.clear();
    }

    /// Take in a value, letting the oldest go when full. Not-a-number is ordered as [`f64::total_cmp`] does;
    /// infinities are values like others.
    pub fn push(&mut self, value: f64) {
        let at = self.next;
        self.next = if at + 1 == self.place.len() {
            0
        } else {
            at + 1
        };
        let key = ordered(value);
        if self.held == self.place.len() {
            self.replace(at, key);
        } else {
            self.held += 1;
            self.add(at, key);
        }
    }

    /// The median of the values held; `None` when there are none.
    #[must_use]
    pub fn median(&self) -> Option<f64> {
        self.value()
    }

    /// The median, or the value at the rank; `None` when no values are held.
    pub(crate) fn value(&self) -> Option<f64> {
        let low = plain(!self.low.first()?.key);
        if self.split != Split::Halves || self.low.len() > self.high.len() {
            return Some(low);
        }
        let high = plain(self.high[0].key);
        // Equal values are returned as they are, so that two infinities give themselves and not a NaN.
        Some(if low == high { low } else { 0.5 * (low + high) })
    }

    /// Put a value in the place of the oldest.
    fn replace(&mut self, ring_place: usize, key: i64) {
        let place = self.place[ring_place];
        let at = (place & !HIGH) as usize;
        if place & HIGH == 0 {
            self.low[at].key = !key;
            settle(&mut self.low, &mut self.place, 0, at);
        } else {
            self.high[at].key = key;
            settle(&mut self.high, &mut self.place, HIGH, at);
        }
        if let (Some(&low), Some(&high)) = (self.low.first(), self.high.first())
            && !low.key > high.key
        {
            self.low[0] = negated(high);
            self.high[0] = negated(low);
            sink(&mut self.low, &mut self.place, 0, 0);
            sink(&mut self.high, &mut self.place, HIGH, 0);
        }
    }

    /// Add a value while the ring fills.
    fn add(&mut self, ring_place: usize, key: i64) {
        let entry = Entry {
            key,
            ring_place: ring_place as u32,
        };
        let above_low = self.low.first().is_some_and(|low| key > !low.key);
        let above_high = self.high.first().is_some_and(|high| key > high.key);
        if above_low || above_high {
            insert(&mut self.high, &mut self.place, HIGH, entry);
        } else {
            insert(&mut self.low, &mut self.place, 0, negated(entry));
        }
        let wanted = self.split.low(self.held);
        while self.low.len() > wanted {
            let top = take_top(&mut self.low, &mut self.place, 0);
            insert(&mut self.high, &mut self.place, HIGH, negated(top));
        }
        while self.low.len() < wanted {
            let top = take_top(&mut self.high, &mut self.place, HIGH);
            insert(&mut self.low, &mut self.place, 0, negated(top));
        }
    }
}

/// An integer in the order of [`f64::total_cmp`].
fn ordered(value: f64) -> i64 {
    flipped(value.to_bits() as i64)
}

fn plain(key: i64) -> f64 {
    f64::from_bits(flipped(key) as u64)
}

/// All bits but the sign turned over where the sign is negative; undoes itself.
fn flipped(bits: i64) -> i64 {
    bits ^ (((bits >> 63) as u64) >> 1) as i64
}

fn negated(entry: Entry) -> Entry {
    Entry {
        key: !entry.key,
        ..entry
    }
}

fn insert(heap: &mut Vec<Entry>, place: &mut [u32], side: u32, entry: Entry) {
    let last = heap.len();
    heap.push(entry);
    rise(heap, place, side, last);
}

fn take_top(heap: &mut Vec<Entry>, place: &mut [u32], side: u32) -> Entry {
    let top = heap.swap_remove(0);
    if !heap.is_empty() {
        sink(heap, place, side, 0);
    }
    top
}

/// Bring a changed entry to where it belongs.
fn settle(heap: &mut [Entry], place: &mut [u32], side: u32, at: usize) {
    if at > 0 && heap[at].key < heap[(at - 1) / 2].key {
        rise(heap, place, side, at);
    } else {
        sink(heap, place, side, at);
    }
}

fn rise(heap: &mut [Entry], place: &mut [u32], side: u32, mut at: usize) {
    let moving = heap[at];
    while at > 0 {
        let parent = (at - 1) / 2;
        let above = heap[parent];
        if above.key <= moving.key {
            break;
        }
        heap[at] = above;
        place[above.ring_place as usize] = side | at as u32;
        at = parent;
    }
    heap[at] = moving;
    place[moving.ring_place as usize] = side | at as u32;
}

fn sink(heap: &mut [Entry], place: &mut [u32], side: u32, mut at: usize) {
    let moving = heap[at];
    let len = heap.len();
    loop {
        let mut child = 2 * at + 1;
        if child >= len {
            break;
        }
        if child + 1 < len {
            child += usize::from(heap[child + 1].key < heap[child].key);
        }
        let below = heap[child];
        if moving.key <= below.key {
            break;
        }
        heap[at] = below;
        place[below.ring_place as usize] = side | at as u32;
        at = child;
    }
    heap[at] = moving;
    place[moving.ring_place as usize] = side | at as u32;
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against sorting, for ranks and lengths of all kinds, with many equal values and both infinities among them.
    #[test]
    fn verif_running_rank_is_the_value_at_that_rank() {
        let mut state = 1u64;
        for capacity in [1, 2, 3, 7, 20, 61] {
            for rank in [0.01, 0.25, 0.5, 0.55, 0.75, 1.0] {
                let mut running = RunningMedian::of_rank(capacity, rank).expect("in range");
                let mut all: Vec<f64> = Vec::new();
                for _ in 0..400 {
                    state = state
                        .wrapping_mul(6_364_136_223_846_793_005)
                        .wrapping_add(1_442_695_040_888_963_407);
                    let value = match state >> 59 {
                        0 => f64::NEG_INFINITY,
                        1 => f64::INFINITY,
                        _ => ((state >> 40) % 23) as f64 - 11.0,
                    };
                    all.push(value);
                    running.push(value);
                    let mut held = all[all.len().saturating_sub(capacity)..].to_vec();
                    held.sort_by(f64::total_cmp);
                    let k = libm::ceil(rank * held.len() as f64 - 1e-9) as usize;
                    assert_eq!(
                        running.value(),
                        Some(held[k.max(1) - 1]),
                        "{capacity} {rank}"
                    );
                }
            }
        }
        assert!(RunningMedian::of_rank(5, 0.0).is_none());
        assert!(RunningMedian::of_rank(5, 1.01).is_none());
    }
}
