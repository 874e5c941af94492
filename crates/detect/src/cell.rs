//! A cell: one level on the way from samples to decision.

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
    /// and where it is exact silence.
    pub background_db: Option<f64>,
}
