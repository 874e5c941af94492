//! Stored samples to `f32`, full scale = 1.0.
//!
//! An integer of `b` bits is divided by 2^(b-1) (8-bit: after taking 128 away), so that the most negative code is
//! -1.0: the convention of libsndfile, and the one that levels are compared under.

use crate::info::Encoding;

/// How one frame is stored.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Format {
    pub(crate) encoding: Encoding,
    /// Bits that the converter filled, from the top (at most the bits of the encoding).
    pub(crate) valid_bits: u16,
    pub(crate) channels: u16,
}

/// A sample that is not finite, by its place in a run of samples.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct NotFinite {
    pub(crate) sample: usize,
    pub(crate) value: f64,
}

impl Format {
    pub(crate) fn sample_bytes(&self) -> usize {
        match self.encoding {
            Encoding::Pcm8 => 1,
            Encoding::Pcm16 => 2,
            Encoding::Pcm24 => 3,
            Encoding::Pcm32 | Encoding::Float32 => 4,
            Encoding::Float64 => 8,
            Encoding::Flac { .. } | Encoding::Vorbis => {
                unreachable!("coded streams have no sample size")
            }
        }
    }

    pub(crate) fn frame_bytes(&self) -> usize {
        self.sample_bytes() * usize::from(self.channels)
    }

    /// The lowest sample that lies at full scale above zero.
    pub(crate) fn top(&self) -> f32 {
        match self.encoding {
            Encoding::Float32 | Encoding::Float64 => 1.0,
            _ => from_code(top_code(u32::from(self.valid_bits))),
        }
    }

    /// Turns stored samples into `out` (of the same number) and counts those at full scale.
    pub(crate) fn convert(&self, bytes: &[u8], out: &mut [f32]) -> Result<u64, NotFinite> {
        debug_assert_eq!(
            bytes.len(),
            out.len() * self.sample_bytes(),
            "as many samples in as out"
        );
        Ok(match self.encoding {
            Encoding::Pcm8 => self.integers::<1>(bytes, out, |b| (i32::from(b[0]) - 128) << 24),
            Encoding::Pcm16 => self.sixteen_bits(bytes, out),
            Encoding::Pcm24 => {
                self.integers::<3>(bytes, out, |b| i32::from_le_bytes([0, b[0], b[1], b[2]]))
            }
            Encoding::Pcm32 => self.integers::<4>(bytes, out, i32::from_le_bytes),
            Encoding::Float32 => floats::<4>(bytes, out, |b| f64::from(f32::from_le_bytes(b)))?,
            Encoding::Float64 => floats::<8>(bytes, out, f64::from_le_bytes)?,
            Encoding::Flac { .. } | Encoding::Vorbis => {
                unreachable!("coded streams are not converted here")
            }
        })
    }

    /// The commonest encoding by a way of its own, several samples at once; the same values as `integers` gives.
    fn sixteen_bits(&self, bytes: &[u8], out: &mut [f32]) -> u64 {
        const FULL_SCALE: f32 = 32_768.0;
        // Few enough at a time that a counter of 16 bits holds, and that the second look finds them near.
        const RUN: usize = 4_096;
        let top = (top_code(u32::from(self.valid_bits)) >> 16) as i16;
        let mut full_scale = 0;
        for (stored, out) in bytes
            .as_chunks::<2>()
            .0
            .chunks(RUN)
            .zip(out.chunks_mut(RUN))
        {
            let mut count: u16 = 0;
            for &code in stored {
                let code = i16::from_le_bytes(code);
                count += u16::from(code >= top) + u16::from(code == i16::MIN);
            }
            full_scale += u64::from(count);
            for (&code, out) in stored.iter().zip(out) {
                *out = f32::from(i16::from_le_bytes(code)) / FULL_SCALE;
            }
        }
        full_scale
    }

    /// `code` gives a sample in the upper bits of 32.
    fn integers<const N: usize>(
        &self,
        bytes: &[u8],
        out: &mut [f32],
        code: impl Fn([u8; N]) -> i32,
    ) -> u64 {
        let top = top_code(u32::from(self.valid_bits));
        let mut full_scale = 0;
        for (stored, out) in bytes.as_chunks::<N>().0.iter().zip(out) {
            let code = code(*stored);
            full_scale += u64::from(code >= top || code == i32::MIN);
            *out = from_code(code);
        }
        full_scale
    }
}

/// The highest code of a converter of `bits` (1 to 32) in the upper bits of 32.
pub(crate) fn top_code(bits: u32) -> i32 {
    debug_assert!((1..=32).contains(&bits), "1 to 32 bits");
    i32::MAX >> (32 - bits) << (32 - bits)
}

/// A code in the upper bits of 32 as a share of full scale.
pub(crate) fn from_code(code: i32) -> f32 {
    const FULL_SCALE: f32 = 2_147_483_648.0;
    code as f32 / FULL_SCALE
}

fn floats<const N: usize>(
    bytes: &[u8],
    out: &mut [f32],
    value: impl Fn([u8; N]) -> f64,
) -> Result<u64, NotFinite> {
    let mut full_scale = 0;
    for (sample, (stored, out)) in bytes.as_chunks::<N>().0.iter().zip(out).enumerate() {
        let value = value(*stored);
        *out = value as f32;
        if !out.is_finite() {
            return Err(NotFinite { sample, value });
        }
        full_scale += u64::from(out.abs() >= 1.0);
    }
    Ok(full_scale)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every code of 16 bits, by the way of its own and by the way of all integers.
    #[test]
    fn verif_sixteen_bits_are_read_as_all_integers_are() {
        let bytes: Vec<u8> = (i16::MIN..=i16::MAX).flat_map(i16::to_le_bytes).collect();
        for valid_bits in [16, 12, 8] {
            let format = Format {
                encoding: Encoding::Pcm16,
                valid_bits,
                channels: 1,
            };
            let (mut own, mut general) = (vec![0.0; 65_536], vec![0.0; 65_536]);
            let counted = format.convert(&bytes, &mut own).unwrap();
            let expected = format.integers::<2>(&bytes, &mut general, |b| {
                i32::from_le_bytes([0, 0, b[0], b[1]])
            });
            assert_eq!(counted, expected);
            assert!(
                own.iter()
                    .zip(&general)
                    .all(|(a, b)| a.to_bits() == b.to_bits())
            );
        }
    }

    #[test]
    fn verif_top_codes() {
        assert_eq!(top_code(32), i32::MAX);
        assert_eq!(top_code(16), 32767 << 16);
        assert_eq!(top_code(24), 8_388_607 << 8);
        assert_eq!(top_code(1), 0);
    }
}
