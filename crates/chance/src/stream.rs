//! Named random streams: the same seed, name and index give the same numbers on every machine.
//!
//! Source: D. J. Bernstein, "ChaCha, a variant of Salsa20" (2008), in its 8-round form with a 64-bit block counter
//! and a 64-bit stream number. The key is the SHA-256 digest (FIPS 180-4) of the seed, eight bytes with the lowest
//! first, followed by the UTF-8 bytes of the name; as the seed has a fixed length, no two pairs share an input. The
//! stream number is the index. Two 32-bit words make a 64-bit one, the earlier as the lower half.
//!
//! Whole numbers below a limit: D. Lemire, "Fast random integer generation in an interval", ACM Transactions on
//! Modeling and Computer Simulation 29 (2019), 3: multiply, keep the upper half, reject what would bias.

use std::num::NonZeroU64;

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};
use sha2::{Digest, Sha256};

use crate::normal_draws::Layers;

/// 2^-53: the step of the numbers that [`Stream::uniform`] gives.
const UNIFORM_STEP: f64 = 1.0 / 9_007_199_254_740_992.0;

/// An endless sequence of random numbers with a name.
///
/// Give every purpose its own name and every instance its own index, so that a draw added in one place moves no
/// number in another.
#[derive(Clone, Debug)]
pub struct Stream {
    words: ChaCha8Rng,
    layers: &'static Layers,
}

impl Stream {
    /// The stream `index` of the family that `seed` and `name` make.
    pub fn named(seed: u64, name: &str, index: u64) -> Self {
        let mut digest = Sha256::new();
        digest.update(seed.to_le_bytes());
        digest.update(name.as_bytes());
        Self::keyed(digest.finalize().into(), index)
    }

    fn keyed(key: [u8; 32], number: u64) -> Self {
        let mut words = ChaCha8Rng::from_seed(key);
        words.set_stream(number);
        Self {
            words,
            layers: Layers::shared(),
        }
    }

    /// The next 64 random bits.
    #[inline]
    pub fn next_u64(&mut self) -> u64 {
        self.words.next_u64()
    }

    /// A number from 0 (included) to 1 (excluded), one of 2^53 with equal steps.
    #[inline]
    pub fn uniform(&mut self) -> f64 {
        unit_interval(self.next_u64())
    }

    /// A whole number from 0 to `limit` - 1, each equally likely.
    pub fn below(&mut self, limit: NonZeroU64) -> u64 {
        let limit = limit.get();
        let reject_under = limit.wrapping_neg() % limit;
        loop {
            let product = u128::from(self.next_u64()) * u128::from(limit);
            if product as u64 >= reject_under {
                return (product >> 64) as u64;
            }
        }
    }

    /// A draw from the normal law with mean 0 and standard deviation 1.
    ///
    /// Takes one word in about 99 of 100 draws and more in the others.
    #[inline]
    pub fn gaussian(&mut self) -> f64 {
        let layers = self.layers;
        layers.draw(self)
    }

    /// Fills `out` with draws from the normal law, the same as [`Stream::gaussian`] rounded to f32.
    pub fn fill_gaussian_f32(&mut self, out: &mut [f32]) {
        let layers = self.layers;
        for sample in out {
            *sample = layers.draw(self) as f32;
        }
    }
}

/// The upper 53 bits as a number in [0, 1).
#[inline]
pub(crate) fn unit_interval(bits: u64) -> f64 {
    (bits >> 11) as f64 * UNIFORM_STEP
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bytes(hex: &str) -> Vec<u8> {
        (0..hex.len() / 2)
            .map(|at| u8::from_str_radix(&hex[2 * at..2 * at + 2], 16).unwrap())
            .collect()
    }

    #[test]
    fn val_keystream_agrees_with_the_published_chacha8_vectors() {
        let rows = truth::rows("chance/strombergson-chacha8.csv");
        assert_eq!(rows.len(), 4);
        for columns in rows {
            let key: [u8; 32] = bytes(&columns[1]).try_into().unwrap();
            let number = u64::from_le_bytes(bytes(&columns[2]).try_into().unwrap());
            let expected = bytes(&columns[3]);
            let mut stream = Stream::keyed(key, number);
            let found: Vec<u8> = (0..expected.len() / 8)
                .flat_map(|_| stream.next_u64().to_le_bytes())
                .collect();
            assert_eq!(found, expected, "{}", columns[0]);
        }
    }
}
