//! A cell: one level on the way from samples to decision.

/// A peak of a frame: a frequency that stands above its own background.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Peak {
    /// Frequency, Hz.
    pub frequency_hz: f64,
    /// Level, dB re 1 uPa.
    pub level_db: f64,
    /// Level less background of that frequency, dB.
    pub excess_db: f64,
}

/// The strongest peaks of a frame, strongest first, at most [`Peaks::MOST`].
///
/// No threshold is applied to them, so that one set of cells serves many thresholds.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Peaks {
    peaks: [Option<Peak>; Self::MOST],
}

impl Peaks {
    /// Most peaks that a cell carries.
    pub const MOST: usize = 4;

    /// None, as cells have that do not come from a spectrogram.
    #[must_use]
    pub fn none() -> Self {
        Self::default()
    }

    /// The peaks, strongest first.
    pub fn iter(&self) -> impl Iterator<Item = &Peak> {
        self.peaks.iter().map_while(Option::as_ref)
    }

    /// Keep a peak if it is among the strongest by excess; of equals the earlier stays first.
    pub fn insert(&mut self, peak: Peak) {
        let mut carried = Some(peak);
        for place in &mut self.peaks {
            match (*place, carried) {
                (_, None) => break,
                (Some(held), Some(new)) if held.excess_db >= new.excess_db => {}
                _ => core::mem::swap(place, &mut carried),
            }
        }
    }
}

/// A level and the instant it stands for.
///
/// Cells of a stretch tile time without gap or overlap: `end_sample` of one is `begin_sample` of the next. The
/// window that was averaged is centred on the tile and may be longer (see `docs/method/detect.md`).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cell {
    /// Number of the cell: its window (exponential: its hop) begins at `index` hops after the origin of the stretch.
    pub index: u64,
    /// First input sample of the tile, since the origin of the stretch.
    pub begin_sample: u64,
    /// The input sample after the tile.
    pub end_sample: u64,
    /// Last input sample needed to know the level.
    pub known_at_sample: u64,
    /// Level, dB re 1 uPa when samples are in uPa (dB re 1 uPa^2 s after an exposure stage); minus infinity for
    /// exact silence.
    pub level_db: f64,
    /// What the level is the level of: `10^(level_db / 10)`, the mean square (its exposure after an exposure stage).
    pub power: f64,
    /// Level of the background before this cell, same reference; `None` without such a stage, before it is known,
    /// where it is exact silence, and after a likeness, which is held against many backgrounds at once.
    pub background_db: Option<f64>,
    /// What a trigger decides on, dB: the level where there is no background stage, else the level less the background, and
    /// after a likeness the likeness itself. `None` where that is not known.
    pub value_db: Option<f64>,
    /// Whether a stage can decide on it: there is no background stage, or the background is known. A frame of a spectrogram in
    /// which nothing stands above its background has no [`Cell::background_db`] of a peak, and is decided on all the same.
    pub decidable: bool,
    /// Peaks of the frame, for a ridge; none on other paths.
    pub peaks: Peaks,
}

impl Cell {
    /// Middle of its tile.
    pub(crate) fn middle_sample(&self) -> u64 {
        self.begin_sample + (self.end_sample - self.begin_sample) / 2
    }
}
