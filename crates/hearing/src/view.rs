//! What a picture of a recording should show: frequencies and window, chosen from the detectors (our own choice).

use detect::{Spec, Stage};

/// Frequencies and window for a picture of a recording.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct View {
    /// Highest frequency shown, Hz; the lowest is 0.
    pub top_hz: f64,
    /// Length of the transform's window, samples.
    pub window_samples: usize,
    /// Step from window to window, samples.
    pub hop_samples: usize,
}

/// Rows that a picture should have at least.
const ROWS: f64 = 200.0;
const SHORTEST_WINDOW: usize = 16;
const LONGEST_WINDOW: usize = 1 << 16;

/// A view of a recording of `frames` frames at `rate_hz`: up to twice the highest corner of the detectors' bands, at most
/// half the rate (which is also the choice without a band); at least 200 rows, unless the window would then be longer
/// than the recording or 65,536 samples. `None` for a recording shorter than 16 frames.
#[must_use]
pub fn view(rate_hz: f64, frames: u64, detectors: &[Spec]) -> Option<View> {
    let half_rate_hz = 0.5 * rate_hz;
    let highest_hz = detectors
        .iter()
        .flat_map(|spec| &spec.stages)
        .filter_map(|stage| match stage {
            Stage::Band { high_hz, .. } => Some(*high_hz),
            _ => None,
        })
        .reduce(f64::max);
    let top_hz = highest_hz.map_or(half_rate_hz, |high_hz| half_rate_hz.min(2.0 * high_hz));
    let wanted = ROWS * rate_hz / top_hz;
    let mut window_samples = SHORTEST_WINDOW;
    while (window_samples as f64) < wanted && window_samples < LONGEST_WINDOW {
        window_samples *= 2;
    }
    while window_samples as u64 > frames {
        window_samples /= 2;
    }
    (window_samples >= SHORTEST_WINDOW).then_some(View {
        top_hz,
        window_samples,
        hop_samples: window_samples / 4,
    })
}

/// Corners of the band of a detector, Hz; `None` when it has no band stage.
#[must_use]
pub fn band_hz(spec: &Spec) -> Option<(f64, f64)> {
    spec.stages.iter().find_map(|stage| match stage {
        Stage::Band {
            low_hz, high_hz, ..
        } => Some((*low_hz, *high_hz)),
        _ => None,
    })
}
