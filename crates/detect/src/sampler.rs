//! Samples to band samples: decimation and band-pass, with the times that band samples stand for.

use alloc::vec::Vec;

use signal::{BandFront, Block, Decimator};

use crate::detector::StageCost;
use crate::error::SpecError;
use crate::resolve::{BandSpec, DecimateSpec, Resolved};

/// The stages before the level: each may be missing, and with neither the samples pass as they are.
#[derive(Clone, Debug)]
pub(crate) struct Sampler {
    rate_hz: f64,
    decimate: Option<(usize, Decimator)>,
    band: Option<(usize, BandFront)>,
}

impl Sampler {
    pub(crate) fn new(resolved: &Resolved) -> Result<Self, SpecError> {
        let rate_hz = resolved.rate_hz;
        let decimate = match resolved.decimate {
            Some(DecimateSpec {
                stage,
                factor,
                pass_hz,
            }) => {
                let decimator = Decimator::new(factor, pass_hz, rate_hz)
                    .map_err(|source| SpecError::Filter { stage, source })?;
                Some((stage, decimator))
            }
            None => None,
        };
        let decimated_hz = decimate
            .as_ref()
            .map_or(rate_hz, |(_, decimator)| decimator.rate_out_hz());
        let band = match resolved.band {
            Some(BandSpec {
                stage,
                low_hz,
                high_hz,
                order,
            }) => {
                let band = BandFront::new(order, low_hz, high_hz, decimated_hz)
                    .map_err(|source| SpecError::Filter { stage, source })?;
                Some((stage, band))
            }
            None => None,
        };
        Ok(Self {
            rate_hz,
            decimate,
            band,
        })
    }

    fn decimation(&self) -> u64 {
        self.decimate
            .as_ref()
            .map_or(1, |(_, decimator)| decimator.factor() as u64)
    }

    /// Input samples per band sample.
    pub(crate) fn factor(&self) -> u64 {
        let band = self.band.as_ref().map_or(1, |(_, band)| band.factor());
        self.decimation() * band as u64
    }

    /// Rate of the band samples, Hz.
    pub(crate) fn rate_out_hz(&self) -> f64 {
        self.rate_hz / self.factor() as f64
    }

    /// Centre of the band, Hz; `None` without one.
    pub(crate) fn centre_hz(&self) -> Option<f64> {
        self.band
            .as_ref()
            .map(|(_, band)| band.filter().centre_hz())
    }

    /// Input samples after `j * factor` that band sample `j` needs.
    pub(crate) fn reach(&self) -> u64 {
        let decimator = self.decimate.as_ref().map_or(0, |(_, d)| d.reach());
        let band = self.band.as_ref().map_or(0, |(_, b)| b.last_needed(0));
        decimator + self.decimation() * band
    }

    /// Group delay of the band-pass at the band centre, input samples.
    pub(crate) fn group_delay(&self) -> u64 {
        self.band.as_ref().map_or(0, |(_, band)| {
            libm::round(-band.centre(0) * self.decimation() as f64) as u64
        })
    }

    /// Hand out the band samples that a block completes; `first` of what is handed out counts band samples. The caller has
    /// checked that blocks follow each other.
    pub(crate) fn process(&mut self, block: Block<'_>, mut sink: impl FnMut(Block<'_>)) {
        const IN_ORDER: &str = "the order of blocks was checked";
        match (&mut self.decimate, &mut self.band) {
            (Some((_, decimator)), Some((_, band))) => decimator
                .process(block, |x| band.process(x, &mut sink).expect(IN_ORDER))
                .expect(IN_ORDER),
            (Some((_, decimator)), None) => decimator.process(block, sink).expect(IN_ORDER),
            (None, Some((_, band))) => band.process(block, sink).expect(IN_ORDER),
            (None, None) => sink(block),
        }
    }

    pub(crate) fn reset(&mut self) {
        if let Some((_, decimator)) = &mut self.decimate {
            decimator.reset();
        }
        if let Some((_, band)) = &mut self.band {
            band.reset();
        }
    }

    pub(crate) fn costs(&self, out: &mut Vec<StageCost>) {
        if let Some((stage, decimator)) = &self.decimate {
            out.push(StageCost {
                stage: *stage,
                word: "decimate",
                operations_per_s: decimator.operations_per_s(),
                state_bytes: decimator.state_bytes(),
            });
        }
        if let Some((stage, band)) = &self.band {
            out.push(StageCost {
                stage: *stage,
                word: "band",
                operations_per_s: band.operations_per_s(),
                state_bytes: band.state_bytes(),
            });
        }
    }
}
