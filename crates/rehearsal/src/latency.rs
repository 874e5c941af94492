//! How long messages took: least, median and greatest, in a memory that does not grow with their number.
//!
//! Times are counted in bins. Below 128 ns a bin is one nanosecond wide; above, each doubling of time has 64 bins of equal width, so
//! that a bin is at most 1/64 of the least time in it. Count, least and greatest are exact; a median is the upper end of its bin, and so at most
//! 1.6 % above the true one and never below it, save that it is no more than the greatest.

use std::collections::BTreeMap;

use timeline::Ns;

/// Bins of each doubling, as a power of two.
const BINS_LOG2: u32 = 6;

/// Times counted in bins.
#[derive(Clone, Debug, Default)]
pub(crate) struct Latencies {
    count: u64,
    least: Option<Ns>,
    greatest: Option<Ns>,
    bins: BTreeMap<u32, u64>,
}

/// What a number of times came to.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Latency {
    /// How many.
    pub count: u64,
    /// The least.
    pub least: Ns,
    /// The median, of an even number the lower of the two in the middle; at most 1.6 % too great.
    pub median: Ns,
    /// The greatest.
    pub greatest: Ns,
}

impl Latencies {
    pub(crate) fn add(&mut self, took: Ns) {
        self.count += 1;
        self.least = Some(self.least.map_or(took, |l| l.min(took)));
        self.greatest = Some(self.greatest.map_or(took, |g| g.max(took)));
        *self.bins.entry(bin(took.0)).or_insert(0) += 1;
    }

    /// `None` without any.
    pub(crate) fn told(&self) -> Option<Latency> {
        let (least, greatest) = (self.least?, self.greatest?);
        let middle = self.count.div_ceil(2);
        let mut passed = 0;
        let (bin, _) = self.bins.iter().find(|(_, n)| {
            passed += **n;
            passed >= middle
        })?;
        Some(Latency {
            count: self.count,
            least,
            median: Ns(upper_end(*bin)).min(greatest),
            greatest,
        })
    }
}

/// The bin of a time.
fn bin(ns: u64) -> u32 {
    let doublings = ns.checked_ilog2().unwrap_or(0).saturating_sub(BINS_LOG2);
    let within = ns >> doublings;
    (doublings << BINS_LOG2)
        + u32::try_from(within).expect("below two times the bins of a doubling")
}

/// The last time that falls into a bin.
fn upper_end(bin: u32) -> u64 {
    let doublings = (bin >> BINS_LOG2).saturating_sub(1);
    let within = u64::from(bin - (doublings << BINS_LOG2));
    ((within + 1) << doublings).wrapping_sub(1)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every time lies in its bin: not above its end, and above the end of the one before.
    #[test]
    fn verif_bins_hold_their_times() {
        let mut times: Vec<u64> = (0..4096).collect();
        for power in 12..64 {
            let two = 1u64 << power;
            times.extend([
                two - 1,
                two,
                two + 1,
                two + two / 3,
                two + two / 64,
                two + (two - 1),
            ]);
        }
        for ns in times {
            let b = bin(ns);
            assert!(ns <= upper_end(b), "{ns}");
            assert!(b == 0 || ns > upper_end(b - 1), "{ns}");
            let width = upper_end(b) - if b == 0 { 0 } else { upper_end(b - 1) };
            assert!(ns < 128 || width <= ns / 64 + 1, "{ns}: {width}");
        }
    }

    /// Against a sorted list: exact below 128 ns, at most 1/64 too great above.
    #[test]
    fn verif_the_median_is_that_of_the_sorted_list() {
        for scale in [1u64, 1_000, 77_777_777] {
            let mut all: Vec<u64> = (0..101).map(|i: u64| scale * (i * i % 103)).collect();
            let mut counted = Latencies::default();
            for t in &all {
                counted.add(Ns(*t));
            }
            all.sort_unstable();
            let told = counted.told().unwrap();
            assert_eq!(
                (told.count, told.least.0, told.greatest.0),
                (101, all[0], all[100])
            );
            assert!(
                told.median.0 >= all[50] && told.median.0 <= all[50] + all[50] / 64,
                "{told:?}"
            );
            assert!(scale > 1 || told.median.0 == all[50]);
        }
        assert!(Latencies::default().told().is_none());
    }
}
