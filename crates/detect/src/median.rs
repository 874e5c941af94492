//! Median, or another order statistic, of the last n values, updated in O(log n).
//!
//! Two heaps share one ring of n values: `low` is a max-heap of the lower half, `high` a min-heap of the upper half,
//! and every ring place knows its place in its heap, so that the oldest value is taken out directly. For an even
//! number of values the median is the mean of the middle two, for an odd number it is the middle one; this is the
//! definition of `numpy.median`. With another rank, `low` holds the `ceil(rank n)` smallest values and the statistic is the
//! highest of them. The result depends on the values alone, not on the order in which the heaps were
//! built.

use alloc::vec;
use alloc::vec::Vec;

/// Median (within the crate also another order statistic) of the last `capacity` values. Memory is taken by the constructors only.
#[derive(Clone, Debug)]
pub struct RunningMedian {
    ring: Vec<f64>,
    /// Ring place that the next value takes: the oldest once the ring is full.
    next: usize,
    held: usize,
    low: Vec<u32>,
    high: Vec<u32>,
    /// For every ring place: which heap it is in, and where.
    place: Vec<(Side, u32)>,
    split: Split,
}

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

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Side {
    Low,
    High,
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
            ring: vec![0.0; capacity],
            next: 0,
            held: 0,
            low: Vec::with_capacity(split.low(capacity) + 2),
            high: Vec::with_capacity(capacity - split.low(capacity) + 2),
            place: vec![(Side::Low, 0); capacity],
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
        self.ring.len()
    }

    /// Bytes that it occupies.
    #[must_use]
    pub fn bytes(&self) -> usize {
        size_of::<Self>()
            + self.ring.capacity() * size_of::<f64>()
            + (self.low.capacity() + self.high.capacity()) * size_of::<u32>()
            + self.place.capacity() * size_of::<(Side, u32)>()
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
        if self.held == self.ring.len() {
            self.remove(at);
        } else {
            self.held += 1;
        }
        self.ring[at] = value;
        self.next = if at + 1 == self.ring.len() { 0 } else { at + 1 };
        let to_low = match self.low.first() {
            Some(&top) => value.total_cmp(&self.ring[top as usize]).is_le(),
            None => self
                .high
                .first()
                .is_none_or(|&top| value.total_cmp(&self.ring[top as usize]).is_le()),
        };
        self.insert(if to_low { Side::Low } else { Side::High }, at);
        self.balance();
    }

    /// The median of the values held; `None` when there are none.
    #[must_use]
    pub fn median(&self) -> Option<f64> {
        self.value()
    }

    /// The median, or the value at the rank; `None` when no values are held.
    pub(crate) fn value(&self) -> Option<f64> {
        let low = self.ring[*self.low.first()? as usize];
        if self.split != Split::Halves || self.low.len() > self.high.len() {
            return Some(low);
        }
        let high = self.ring[self.high[0] as usize];
        // Equal values are returned as they are, so that two infinities give themselves and not a NaN.
        Some(if low == high { low } else { 0.5 * (low + high) })
    }

    /// Give `low` its share.
    fn balance(&mut self) {
        let wanted = self.split.low(self.held);
        while self.low.len() > wanted {
            let top = self.low[0] as usize;
            self.remove(top);
            self.insert(Side::High, top);
        }
        while self.low.len() < wanted {
            let top = self.high[0] as usize;
            self.remove(top);
            self.insert(Side::Low, top);
        }
    }

    fn heap(&mut self, side: Side) -> &mut Vec<u32> {
        match side {
            Side::Low => &mut self.low,
            Side::High => &mut self.high,
        }
    }

    /// Whether ring place `a` belongs nearer to the top than `b`.
    fn above(&self, side: Side, a: u32, b: u32) -> bool {
        let order = self.ring[a as usize].total_cmp(&self.ring[b as usize]);
        match side {
            Side::Low => order.is_gt(),
            Side::High => order.is_lt(),
        }
    }

    fn insert(&mut self, side: Side, ring_place: usize) {
        let heap = self.heap(side);
        heap.push(ring_place as u32);
        let last = heap.len() - 1;
        self.place[ring_place] = (side, last as u32);
        self.rise(side, last);
    }

    fn remove(&mut self, ring_place: usize) {
        let (side, at) = self.place[ring_place];
        let at = at as usize;
        let heap = self.heap(side);
        let moved = heap.pop().expect("a held value is in its heap");
        if moved as usize == ring_place {
            return;
        }
        heap[at] = moved;
        self.place[moved as usize] = (side, at as u32);
        self.rise(side, at);
        self.sink(side, at);
    }

    fn swap(&mut self, side: Side, i: usize, j: usize) {
        let heap = self.heap(side);
        heap.swap(i, j);
        let (a, b) = (heap[i], heap[j]);
        self.place[a as usize] = (side, i as u32);
        self.place[b as usize] = (side, j as u32);
    }

    fn rise(&mut self, side: Side, mut at: usize) {
        while at > 0 {
            let parent = (at - 1) / 2;
            let heap = self.heap(side);
            let (child_item, parent_item) = (heap[at], heap[parent]);
            if !self.above(side, child_item, parent_item) {
                break;
            }
            self.swap(side, at, parent);
            at = parent;
        }
    }

    fn sink(&mut self, side: Side, mut at: usize) {
        loop {
            let heap = self.heap(side);
            let len = heap.len();
            let left = 2 * at + 1;
            if left >= len {
                break;
            }
            let (left_item, right_item) = (heap[left], heap.get(left + 1).copied());
            let item = heap[at];
            let (best, best_item) = match right_item {
                Some(right_item) if self.above(side, right_item, left_item) => {
                    (left + 1, right_item)
                }
                _ => (left, left_item),
            };
            if !self.above(side, best_item, item) {
                break;
            }
            self.swap(side, at, best);
            at = best;
        }
    }
}
