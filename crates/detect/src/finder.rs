//! The strongest peaks of a frame.
//!
//! A peak is a cell whose power over background is greater than that of the cell below and not less than that of the cell above; the lowest
//! and the highest cell of the band have but one neighbour and are none.

use alloc::vec;
use alloc::vec::Vec;

use pulp::{Simd, f32x8};
use signal::{Widest, Work};

use crate::cell::Peaks;

pub(crate) const MOST: usize = Peaks::MOST;
const LANES: usize = 8;
const COLUMNS: usize = 2 * LANES;
/// Rows that are looked through at once.
const TOGETHER: usize = 4;

/// Finds the strongest peaks of a frame.
#[derive(Clone, Debug)]
pub(crate) struct Finder {
    widest: Widest,
    /// Power over background, filled up with what compares with nothing.
    ratio: Vec<f32>,
    /// The same where a cell is a peak, else zero; from the second cell on, by rows.
    standing: Vec<[f32; COLUMNS]>,
}

impl Finder {
    /// For frames of so many cells, three at least.
    pub(crate) fn new(cells: usize) -> Self {
        let rows = (cells - 2).div_ceil(COLUMNS).next_multiple_of(TOGETHER);
        Self {
            widest: Widest::of_this_processor(),
            ratio: vec![f32::NAN; rows * COLUMNS + 2],
            standing: vec![[0.0; COLUMNS]; rows],
        }
    }

    pub(crate) fn heap_bytes(&self) -> usize {
        size_of_val(&self.ratio[..]) + size_of_val(&self.standing[..])
    }

    /// The cells of the strongest peaks of a frame, strongest first, given the power of each cell and one over its background; places
    /// that are not taken are `None`. Of equals that in the lower column of 16, then row, comes first.
    pub(crate) fn strongest(&mut self, power: &[f32], inverse: &[f32]) -> [Option<usize>; MOST] {
        let mut greatest = self.widest.run(Standing {
            finder: self,
            power,
            inverse,
        });
        let mut found = [None; MOST];
        for place in &mut found {
            let (mut column, mut most) = (0, 0);
            for (i, v) in greatest.iter().enumerate() {
                (column, most) = if *v > most { (i, *v) } else { (column, most) };
            }
            if most == 0 {
                break;
            }
            let mut column_of_rows = self.standing.iter().map(|row| row[column].to_bits());
            let row = column_of_rows.position(|v| v == most);
            let row = row.expect("the greatest is in its column");
            self.standing[row][column] = 0.0;
            let mut next = [0; TOGETHER];
            for rows in self.standing.as_chunks::<TOGETHER>().0 {
                for (next, row) in next.iter_mut().zip(rows) {
                    *next = (*next).max(row[column].to_bits());
                }
            }
            greatest[column] = next.into_iter().fold(0, u32::max);
            *place = Some(1 + row * COLUMNS + column);
        }
        found
    }
}

/// Fills in the peaks; the greatest of each column, as bits, whose order is that of the numbers where none is below zero.
struct Standing<'a> {
    finder: &'a mut Finder,
    power: &'a [f32],
    inverse: &'a [f32],
}

impl Work for Standing<'_> {
    type Out = [u32; COLUMNS];

    #[inline(always)]
    fn work<S: Simd<f32s = f32x8>>(self, simd: S) -> [u32; COLUMNS] {
        let Finder {
            ratio, standing, ..
        } = self.finder;
        for ((r, p), i) in ratio.iter_mut().zip(self.power).zip(self.inverse) {
            *r = p * i;
        }
        let zero = simd.splat_f32s(0.0);
        let mut greatest = [zero; COLUMNS / LANES];
        for (row, first) in standing.iter_mut().zip((0..).step_by(COLUMNS)) {
            let ratio = &ratio[first..first + COLUMNS + 2];
            let row = row.as_chunks_mut::<LANES>().0;
            for (i, (eight, greatest)) in row.iter_mut().zip(&mut greatest).enumerate() {
                let [below, here, above] = [0, 1, 2].map(|by| {
                    let eight = ratio[LANES * i + by..].first_chunk::<LANES>();
                    wide(eight.expect("a row and its neighbours are here"))
                });
                let peak = simd.and_m32s(
                    simd.greater_than_f32s(here, below),
                    simd.greater_than_or_equal_f32s(here, above),
                );
                let v = simd.select_f32s(peak, here, zero);
                *eight = narrow(v);
                *greatest = simd.max_f32s(v, *greatest);
            }
        }
        let mut bits = [0; COLUMNS];
        for (bits, eight) in bits.as_chunks_mut::<LANES>().0.iter_mut().zip(greatest) {
            *bits = narrow(eight).map(f32::to_bits);
        }
        bits
    }
}

#[inline(always)]
fn wide(of: &[f32; LANES]) -> f32x8 {
    f32x8(of[0], of[1], of[2], of[3], of[4], of[5], of[6], of[7])
}

#[inline(always)]
fn narrow(of: f32x8) -> [f32; LANES] {
    [of.0, of.1, of.2, of.3, of.4, of.5, of.6, of.7]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The peaks by sorting all of them.
    fn by_sorting(power: &[f32], inverse: &[f32]) -> Vec<f32> {
        let ratio: Vec<f32> = power.iter().zip(inverse).map(|(p, i)| p * i).collect();
        let mut peaks: Vec<f32> = ratio
            .windows(3)
            .filter(|w| w[1] > w[0] && w[1] >= w[2])
            .map(|w| w[1])
            .collect();
        peaks.sort_by(|a, b| b.total_cmp(a));
        peaks.truncate(MOST);
        peaks
    }

    #[test]
    fn verif_the_strongest_are_those_of_sorting_with_equals_among_them() {
        let mut state = 7_u32;
        for cells in [3, 4, 17, 18, 19, 66, 384, 511] {
            let mut finder = Finder::new(cells);
            let inverse: Vec<f32> = (0..cells).map(|i| 1.0 + (i % 3) as f32).collect();
            for _ in 0..200 {
                // Few values, so that equals are common.
                let power: Vec<f32> = (0..cells)
                    .map(|_| {
                        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                        (state >> 28) as f32
                    })
                    .collect();
                let found = finder.strongest(&power, &inverse);
                let told: Vec<f32> = found
                    .iter()
                    .flatten()
                    .map(|&i| power[i] * inverse[i])
                    .collect();
                assert_eq!(told, by_sorting(&power, &inverse), "{cells} cells");
                let mut cells_told: Vec<usize> = found.into_iter().flatten().collect();
                cells_told.sort_unstable();
                cells_told.dedup();
                assert_eq!(cells_told.len(), told.len(), "each cell once");
            }
        }
    }

    #[test]
    fn verif_equal_peaks_of_one_column_are_both_told() {
        for apart in [16, 64] {
            let mut power = vec![1.0; 100];
            for at in [5, 5 + apart] {
                power[at] = 9.0;
            }
            let found = Finder::new(100).strongest(&power, &[1.0; 100]);
            assert_eq!(found, [Some(5), Some(5 + apart), None, None]);
        }
    }
}
