//! One ear at work: its samples in micropascals, its levels and its detectors.

use detect::Detector;
use signal::{Levels, level_db};

use crate::ear::Ear;
use crate::error::HearError;
use crate::full_scale::FullScale;
use crate::heard::ChannelLevels;

/// One ear at work.
pub(crate) struct Channel<'a> {
    pub(crate) index: usize,
    pub(crate) ear: &'a Ear,
    pub(crate) detectors: Vec<Detector>,
    pub(crate) levels: Levels,
    /// As they were before the block at hand.
    levels_before: Levels,
    pub(crate) pressure_upa: Vec<f32>,
    pub(crate) full_scale: FullScale,
    /// Indices in the block at hand of the samples at full scale.
    pub(crate) at_full_scale: Vec<usize>,
}

impl<'a> Channel<'a> {
    pub(crate) fn new(index: usize, ear: &'a Ear, rate_hz: f64) -> Result<Self, HearError> {
        if !(ear.full_scale_upa > 0.0 && ear.full_scale_upa <= f64::from(f32::MAX)) {
            return Err(HearError::FullScale {
                ear: index,
                full_scale_upa: ear.full_scale_upa,
            });
        }
        let detectors = ear
            .detectors
            .iter()
            .enumerate()
            .map(|(detector, spec)| {
                Detector::new(spec).map_err(|source| HearError::Detector {
                    ear: index,
                    detector,
                    source,
                })
            })
            .collect::<Result<_, _>>()?;
        Ok(Self {
            index,
            ear,
            detectors,
            levels: Levels::new(rate_hz)?,
            levels_before: Levels::new(rate_hz)?,
            pressure_upa: Vec::new(),
            full_scale: FullScale::default(),
            at_full_scale: Vec::new(),
        })
    }

    pub(crate) fn level(&self) -> Option<ChannelLevels> {
        let reference_upa = self.ear.reference_upa();
        let mean_upa = self.levels.mean();
        let varying = self.levels.mean_square() - mean_upa * mean_upa;
        (self.levels.count() > 0).then(|| ChannelLevels {
            level_db: self.levels.level_db(reference_upa),
            peak_level_db: self.levels.peak_level_db(reference_upa),
            exposure_level_db: self.levels.exposure_level_db(reference_upa),
            // Of a steady offset alone rounding may leave less than nothing.
            level_without_mean_db: level_db(varying.max(0.0), reference_upa),
            mean_share: mean_upa.abs() / self.ear.full_scale_upa,
            heard_s: self.levels.duration_s(),
        })
    }
    /// Takes the ear's channel out of interleaved samples, in uPa, and into its levels. Gives the index of the first frame whose
    /// pressure is beyond single precision; the levels are then of no use.
    pub(crate) fn take(&mut self, samples: &[f32], channels: usize) -> Result<(), usize> {
        self.levels_before = self.levels.clone();
        self.calibrate(samples, channels)
    }

    /// The same, of fewer samples than were taken before: those are forgotten.
    pub(crate) fn take_again(&mut self, samples: &[f32], channels: usize) -> Result<(), usize> {
        self.levels = self.levels_before.clone();
        self.calibrate(samples, channels)
    }

    fn calibrate(&mut self, samples: &[f32], channels: usize) -> Result<(), usize> {
        let own = usize::from(self.ear.channel);
        let full_scale_upa = self.ear.full_scale_upa as f32;
        let pressure = |x: f32| x * full_scale_upa;
        self.pressure_upa.clear();
        // The common case of one channel needs no stride, which lets the compiler take several samples at once.
        if channels == 1 {
            self.pressure_upa
                .extend(samples.iter().map(|&x| pressure(x)));
        } else {
            let frames = samples.chunks_exact(channels);
            self.pressure_upa
                .extend(frames.map(|frame| pressure(frame[own])));
        }
        // Samples are finite numbers, so what is too large shows as an infinite peak.
        self.levels.push(&self.pressure_upa);
        if self.levels.peak().is_finite() {
            return Ok(());
        }
        let beyond = self.pressure_upa.iter().position(|p| !p.is_finite());
        beyond.map_or(Ok(()), Err)
    }
}
