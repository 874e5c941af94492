//! Where an ear's samples lie at full scale, in bounded memory.

/// Most cells kept for an ear (ours: 1 MB).
const MOST_CELLS: usize = 1 << 16;

/// Counts of samples at full scale in cells of a width that doubles when there are too many: exact while there are at most
/// 65,536 such samples, then exact but for the cells at the edges of what is asked.
#[derive(Debug, Clone)]
pub(crate) struct FullScale {
    /// Number of each cell that holds any, and how many; in order.
    cells: Vec<(u64, u64)>,
    /// Frames of the stretch in a cell.
    width: u64,
}

impl Default for FullScale {
    fn default() -> Self {
        Self {
            cells: Vec::new(),
            width: 1,
        }
    }
}

impl FullScale {
    /// A sample at full scale, after those before.
    pub(crate) fn push(&mut self, frame: u64) {
        let cell = frame / self.width;
        match self.cells.last_mut() {
            Some((last, samples)) if *last == cell => *samples += 1,
            _ => {
                self.cells.push((cell, 1));
                while self.cells.len() > MOST_CELLS {
                    self.widen();
                }
            }
        }
    }

    fn widen(&mut self) {
        self.width *= 2;
        for (cell, _) in &mut self.cells {
            *cell /= 2;
        }
        self.cells.dedup_by(|later, cell| {
            let same = later.0 == cell.0;
            if same {
                cell.1 += later.1;
            }
            same
        });
    }

    fn within(&self, begin: u64, end: u64) -> &[(u64, u64)] {
        let (first, last) = (
            self.cells
                .partition_point(|(cell, _)| cell * self.width < begin),
            self.cells
                .partition_point(|(cell, _)| cell * self.width < end),
        );
        &self.cells[first..last.max(first)]
    }

    /// Samples in the cells that begin at `begin` or later, and before `end`.
    pub(crate) fn count(&self, begin: u64, end: u64) -> u64 {
        self.within(begin, end)
            .iter()
            .map(|(_, samples)| samples)
            .sum()
    }

    /// Begin and end of the runs of such cells.
    pub(crate) fn spans(&self, begin: u64, end: u64) -> Vec<(u64, u64)> {
        let mut spans: Vec<(u64, u64)> = Vec::new();
        for (cell, _) in self.within(begin, end) {
            let (from, to) = (cell * self.width, (cell + 1) * self.width);
            match spans.last_mut() {
                Some(span) if span.1 == from => span.1 = to,
                _ => spans.push((from, to)),
            }
        }
        spans
    }

    /// Forgets what lies before a frame.
    pub(crate) fn forget(&mut self, before: u64) {
        let width = self.width;
        self.cells.retain(|(cell, _)| (cell + 1) * width > before);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against counting one by one.
    #[test]
    fn verif_counts_are_those_of_counting() {
        let mut full = FullScale::default();
        let at = |frame: u64| frame.wrapping_mul(2_654_435_761) % 97 < 13;
        for frame in (0..100_000).filter(|&f| at(f)) {
            full.push(frame);
        }
        for (begin, end) in [(0, 100_000), (17, 18), (500, 500), (1234, 56_789)] {
            let counted = (begin..end).filter(|&f| at(f)).count() as u64;
            assert_eq!(full.count(begin, end), counted, "{begin} to {end}");
            let spanned: u64 = full.spans(begin, end).iter().map(|(b, e)| e - b).sum();
            assert_eq!(spanned, counted);
        }
        full.forget(50_000);
        assert_eq!(full.count(0, 50_000), 0);
    }

    #[test]
    fn verif_memory_is_bounded_and_the_whole_is_kept() {
        for apart in [1, 3, 24] {
            let mut full = FullScale::default();
            for i in 0..1_000_000 {
                full.push(apart * i);
            }
            assert!(full.cells.len() <= MOST_CELLS);
            assert_eq!(full.count(0, u64::MAX), 1_000_000);
            let half = full.count(0, apart * 500_000);
            assert!(half.abs_diff(500_000) <= full.width, "{half}");
        }
    }
}
