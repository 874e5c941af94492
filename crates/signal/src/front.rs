//! The front of a detector: decimation where the band allows it, then a Butterworth band-pass.
//!
//! Bands up to a 40th of the rate (a 64th for order 3, a 120th for order 2; order 1 never) are decimated first; the
//! band-pass then runs at the lower rate. Levels of white noise agree with the same band-pass at the full rate within
//! 0.01 dB (checked).

use alloc::vec;
use alloc::vec::Vec;

use crate::block::{Block, Cursor};
use crate::butterworth::butterworth_bandpass;
use crate::decimate::Decimator;
use crate::error::{FilterError, StreamError};
use crate::sos::Sos;

const CHUNK: usize = 2048;

/// Decimation and band-pass for one band at one rate.
#[derive(Debug, Clone)]
pub struct BandFront {
    decimator: Option<Decimator>,
    filter: Sos,
    cursor: Cursor,
    scratch: Vec<f32>,
}

impl BandFront {
    /// The front for the band `low_hz` to `high_hz` (-3 dB edges) of samples at `rate_hz`, with a band-pass of `order`
    /// prototype poles.
    ///
    /// # Errors
    /// [`FilterError`] for an order outside 1 to 16, a rate that is not positive or edges that are not `0 < low < high < rate/2`.
    pub fn new(order: usize, low_hz: f64, high_hz: f64, rate_hz: f64) -> Result<Self, FilterError> {
        let full = butterworth_bandpass(order, low_hz, high_hz, rate_hz)?;
        let decimator = match oversampling(order) {
            Some((rate, pass)) => Decimator::for_band(high_hz, rate_hz, rate, pass)?,
            None => None,
        };
        let filter = match &decimator {
            Some(d) => butterworth_bandpass(order, low_hz, high_hz, d.rate_out_hz())?,
            None => full,
        };
        Ok(Self {
            decimator,
            filter,
            cursor: Cursor::default(),
            scratch: vec![0.0; CHUNK],
        })
    }

    /// Input samples per band sample.
    pub fn factor(&self) -> usize {
        self.decimator.as_ref().map_or(1, Decimator::factor)
    }

    /// Rate of the band samples, Hz.
    pub fn rate_out_hz(&self) -> f64 {
        self.filter.rate_hz()
    }

    /// What lowers the rate before the band-pass, where the band allows it.
    pub fn decimator(&self) -> Option<&Decimator> {
        self.decimator.as_ref()
    }

    /// The band-pass, at the rate of the band samples.
    pub fn filter(&self) -> &Sos {
        &self.filter
    }

    /// Index of the last input sample that band sample `j` needs: it is known once that one has arrived.
    pub fn last_needed(&self, j: u64) -> u64 {
        j * self.factor() as u64 + self.decimator.as_ref().map_or(0, Decimator::reach)
    }

    /// The input time that band sample `j` represents, in input samples: `j * factor` less the band-pass's group delay at
    /// the band centre. (The decimator itself delays nothing: its output `j` is centred on input `j * factor`.)
    pub fn centre(&self, j: u64) -> f64 {
        let factor = self.factor() as f64;
        (j as f64 - self.filter.group_delay_s() * self.filter.rate_hz()) * factor
    }

    /// Additions and multiplications per second of sound, of decimation and band-pass.
    pub fn operations_per_s(&self) -> f64 {
        let decimator = self
            .decimator
            .as_ref()
            .map_or(0.0, Decimator::operations_per_s);
        decimator + self.filter.operations_per_s()
    }

    /// Memory that it holds, bytes.
    pub fn state_bytes(&self) -> usize {
        let decimator = self.decimator.as_ref().map_or(0, Decimator::state_bytes);
        size_of::<Self>()
            + decimator
            + self.filter.state_bytes()
            + self.scratch.capacity() * size_of::<f32>()
    }

    /// Takes the next block and hands out band samples; `first` of what is handed out counts band samples.
    ///
    /// # Errors
    /// [`StreamError`] when the block does not follow the one before.
    pub fn process(
        &mut self,
        block: Block<'_>,
        mut sink: impl FnMut(Block<'_>),
    ) -> Result<(), StreamError> {
        let Self {
            decimator,
            filter,
            cursor,
            scratch,
        } = self;
        let mut filtered = |first: u64, x: &[f32]| {
            let mut first = first;
            for piece in x.chunks(CHUNK) {
                let y = &mut scratch[..piece.len()];
                filter.process(piece, y);
                sink(Block { first, x: y });
                first += piece.len() as u64;
            }
        };
        match decimator {
            Some(d) => d.process(block, |b| filtered(b.first, b.x)),
            None => {
                cursor.accept(block.first, block.x.len())?;
                filtered(block.first, block.x);
                Ok(())
            }
        }
    }

    /// Forgets everything heard, ready for a new stretch.
    pub fn reset(&mut self) {
        if let Some(d) = &mut self.decimator {
            d.reset();
        }
        self.filter.reset();
        self.cursor = Cursor::default();
    }
}

/// Output rate and pass band over the band's upper edge: the lower the order, the farther its skirt has to be passed; with these
/// the bilinear transform bends it by less than 0.01 dB of noise level. `None` for a single pole, whose skirt never ends.
fn oversampling(order: usize) -> Option<(f64, f64)> {
    match order {
        0 | 1 => None,
        2 => Some((60.0, 20.0)),
        3 => Some((32.0, 8.0)),
        _ => Some((20.0, 4.0)),
    }
}
