//! Samples to band samples: decimation and band-pass, with the times that band samples stand for.

use alloc::vec::Vec;

use signal::{BandFront, Block, Decimator, Lowering};

use crate::detector::StageCost;
use crate::error::SpecError;
use crate::resolve::{BandSpec, DecimateSpec, Measured, Resolved};

/// The stages before the level: each may be missing, and with neither the samples pass as they are.
#[derive(Clone, Debug)]
pub(crate) struct Sampler {
    rate_hz: f64,
    decimate: Option<(usize, Decimator)>,
    band: Option<(usize, Narrowing)>,
}

/// What a band stage does to the samples.
#[derive(Clone, Debug)]
enum Narrowing {
    /// Before a level: lower the rate where the band allows it, and filter.
    Filter(BandFront),
    /// Before a spectrogram: lower the rate only.
    Lower(Decimator),
}

impl Narrowing {
    fn factor(&self) -> u64 {
        match self {
            Self::Filter(band) => band.factor() as u64,
            Self::Lower(decimator) => decimator.factor() as u64,
        }
    }
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
                let of_filter = |source| SpecError::Filter { stage, source };
                match resolved.measured {
                    Measured::Frames(_) => Decimator::for_lines(high_hz, decimated_hz)
                        .map_err(of_filter)?
                        .map(Narrowing::Lower),
                    _ => Some(Narrowing::Filter(
                        BandFront::new(order, low_hz, high_hz, decimated_hz).map_err(of_filter)?,
                    )),
                }
                .map(|narrowing| (stage, narrowing))
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
        self.decimation() * band
    }

    /// Rate of the band samples, Hz.
    pub(crate) fn rate_out_hz(&self) -> f64 {
        self.rate_hz / self.factor() as f64
    }

    /// Filters that lower the rate, in the order in which the samples pass them.
    pub(crate) fn lowerings(&self) -> impl Iterator<Item = Lowering<'_>> {
        let decimate = self.decimate.as_ref().map(|(_, decimator)| decimator);
        let band = match &self.band {
            Some((_, Narrowing::Filter(band))) => band.decimator(),
            Some((_, Narrowing::Lower(lower))) => Some(lower),
            None => None,
        };
        let decimators = decimate.into_iter().chain(band);
        decimators.flat_map(|decimator| decimator.lowerings())
    }

    /// Sections of the band-pass; none without one.
    pub(crate) fn sections(&self) -> &[[f64; 5]] {
        match &self.band {
            Some((_, Narrowing::Filter(band))) => band.filter().sections(),
            Some((_, Narrowing::Lower(_))) | None => &[],
        }
    }

    /// Centre of the band-pass, Hz; `None` without one.
    pub(crate) fn centre_hz(&self) -> Option<f64> {
        match &self.band {
            Some((_, Narrowing::Filter(band))) => Some(band.filter().centre_hz()),
            Some((_, Narrowing::Lower(_))) | None => None,
        }
    }

    /// Input samples after `j * factor` that band sample `j` needs.
    pub(crate) fn reach(&self) -> u64 {
        let decimator = self.decimate.as_ref().map_or(0, |(_, d)| d.reach());
        let band = match &self.band {
            Some((_, Narrowing::Filter(band))) => band.last_needed(0),
            Some((_, Narrowing::Lower(decimator))) => decimator.reach(),
            None => 0,
        };
        decimator + self.decimation() * band
    }

    /// Group delay of the band-pass at the band centre, input samples.
    pub(crate) fn group_delay(&self) -> u64 {
        match &self.band {
            Some((_, Narrowing::Filter(band))) => {
                libm::round(-band.centre(0) * self.decimation() as f64) as u64
            }
            Some((_, Narrowing::Lower(_))) | None => 0,
        }
    }

    /// Hand out the band samples that a block completes; `first` of what is handed out counts band samples. The caller has
    /// checked that blocks follow each other.
    pub(crate) fn process(&mut self, block: Block<'_>, mut sink: impl FnMut(Block<'_>)) {
        const IN_ORDER: &str = "the order of blocks was checked";
        let band = &mut self.band;
        let mut narrow = |x: Block<'_>| match band {
            Some((_, Narrowing::Filter(band))) => band.process(x, &mut sink).expect(IN_ORDER),
            Some((_, Narrowing::Lower(lower))) => lower.process(x, &mut sink).expect(IN_ORDER),
            None => sink(x),
        };
        match &mut self.decimate {
            Some((_, decimator)) => decimator.process(block, narrow).expect(IN_ORDER),
            None => narrow(block),
        }
    }

    pub(crate) fn reset(&mut self) {
        if let Some((_, decimator)) = &mut self.decimate {
            decimator.reset();
        }
        match &mut self.band {
            Some((_, Narrowing::Filter(band))) => band.reset(),
            Some((_, Narrowing::Lower(decimator))) => decimator.reset(),
            None => {}
        }
    }

    pub(crate) fn costs(&self, out: &mut Vec<StageCost>) {
        if let Some((stage, decimator)) = &self.decimate {
            out.push(StageCost {
                stage: *stage,
                word: "decimate",
                operations_per_s: Some(decimator.operations_per_s()),
                state_bytes: decimator.state_bytes(),
            });
        }
        if let Some((stage, band)) = &self.band {
            let (operations_per_s, state_bytes) = match band {
                Narrowing::Filter(band) => (band.operations_per_s(), band.state_bytes()),
                Narrowing::Lower(lower) => (lower.operations_per_s(), lower.state_bytes()),
            };
            out.push(StageCost {
                stage: *stage,
                word: "band",
                operations_per_s: Some(operations_per_s),
                state_bytes,
            });
        }
    }
}
