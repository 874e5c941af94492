//! Energy of a sound by three neighbouring samples.
//!
//! Source: J. F. Kaiser, On a simple algorithm to calculate the 'energy' of a signal, ICASSP 1990 (formulas from memory, and
//! checked): `psi[n] = x[n]^2 - x[n-1] x[n+1]`. For a tone of amplitude `A` and frequency `f` at the rate `r` it is
//! `A^2 sin^2(2 pi f / r)` at every sample, whatever the phase; so it rises with frequency as well as with amplitude, which
//! brings clicks out of lower sounds. It can be negative for sounds of several frequencies.
//!
//! Each value is computed in double precision and kept in single.

use alloc::vec;
use alloc::vec::Vec;

use crate::block::{Block, Cursor};
use crate::error::StreamError;

const CHUNK: usize = 2048;

/// The Teager-Kaiser operator over a stretch of samples.
#[derive(Debug, Clone)]
pub struct TeagerKaiser {
    cursor: Cursor,
    /// Up to two samples before, then the piece at hand.
    buffer: Vec<f32>,
    /// Samples before, in the buffer.
    before: usize,
    energy: Vec<f32>,
}

impl Default for TeagerKaiser {
    fn default() -> Self {
        Self::new()
    }
}

impl TeagerKaiser {
    /// Nothing heard yet.
    #[must_use]
    pub fn new() -> Self {
        Self {
            cursor: Cursor::default(),
            buffer: vec![0.0; CHUNK + 2],
            before: 0,
            energy: vec![0.0; CHUNK],
        }
    }

    /// Takes the next block and hands out the energies that it completes, in the square of the samples' unit: that of sample
    /// `n` once sample `n + 1` has arrived. The first sample of a stretch has none.
    ///
    /// # Errors
    /// [`StreamError`] when the block does not follow the one before.
    pub fn process(
        &mut self,
        block: Block<'_>,
        mut sink: impl FnMut(Block<'_>),
    ) -> Result<(), StreamError> {
        self.cursor.accept(block.first, block.x.len())?;
        let mut first = block.first;
        for piece in block.x.chunks(CHUNK) {
            let held = self.before + piece.len();
            self.buffer[self.before..held].copy_from_slice(piece);
            let count = held.saturating_sub(2);
            let triples = self.buffer[..held].windows(3);
            for (energy, three) in self.energy.iter_mut().zip(triples) {
                let [a, b, c] = [three[0], three[1], three[2]].map(f64::from);
                *energy = (b * b - a * c) as f32;
            }
            if count > 0 {
                sink(Block {
                    first: first + 1 - self.before as u64,
                    x: &self.energy[..count],
                });
            }
            first += piece.len() as u64;
            let keep = held.min(2);
            self.buffer.copy_within(held - keep..held, 0);
            self.before = keep;
        }
        Ok(())
    }

    /// Memory that it holds, bytes.
    pub fn state_bytes(&self) -> usize {
        size_of::<Self>() + (self.buffer.capacity() + self.energy.capacity()) * size_of::<f32>()
    }

    /// Forgets everything heard, ready for a new stretch.
    pub fn reset(&mut self) {
        self.cursor = Cursor::default();
        self.before = 0;
    }
}
