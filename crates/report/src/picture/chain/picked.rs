//! What a chain picks up, in its picture: each line where samples show it, as loud as its power over a decidecade, so that it can be held against the
//! sea there; ticks over their band.

use assess::ChainBudget;

use super::super::colour::Rgb;
use super::super::drawing::Drawing;
use super::{Plot, decidecade_hz};

const PICKED: Rgb = [196, 20, 120];
/// Of what nothing says how much of it is kept out.
const DOUBT_DASHES: &[f32] = &[3.0, 3.0];
/// Half the width of the head of a line that lies at one frequency.
const HEAD_PX: f64 = 4.0;
const HEAD_WIDTH_PX: f32 = 4.0;
const STEM_WIDTH_PX: f32 = 1.4;
/// Of what may lie anywhere in a range, and of ticks.
const WIDE_WIDTH_PX: f32 = 2.0;
/// Points of a curve.
const POINTS: u32 = 64;

/// One of them.
struct Mark {
    /// Where samples show it, Hz.
    heard_hz: (f64, f64),
    /// Its level, dB re 1 uPa.
    level_db: f64,
    /// Whether it is a line, and not ticks.
    line: bool,
    sure: bool,
}

impl Mark {
    /// Its density where it lies at a frequency, dB re 1 uPa^2/Hz.
    fn density_db(&self, f_hz: f64) -> f64 {
        let width_hz = match self.line {
            true => decidecade_hz(f_hz),
            false => self.heard_hz.1 - self.heard_hz.0,
        };
        self.level_db - 10.0 * libm::log10(width_hz)
    }
}

/// All of them.
pub(super) struct Marks(Vec<Mark>);

impl Marks {
    /// Of a chain between two frequencies, Hz.
    pub(super) fn of(budget: &ChainBudget, band_hz: (f64, f64)) -> Self {
        let all = budget.picked_up_in(band_hz).unwrap_or_default();
        let marks = all.into_iter().map(|picked| Mark {
            heard_hz: picked.heard_hz,
            level_db: picked.level_db,
            line: picked.true_hz.is_some(),
            sure: picked.sure,
        });
        Self(marks.collect())
    }

    pub(super) fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// The highest density of those that lie at one frequency or in the band of ticks, dB re 1 uPa^2/Hz.
    pub(super) fn highest_db(&self) -> Option<f64> {
        let each = self.0.iter().map(|mark| mark.density_db(mark.heard_hz.1));
        each.filter(|db| db.is_finite()).reduce(f64::max)
    }

    /// What there is of it in words, and whether it is in doubt.
    pub(super) fn entries(&self) -> impl Iterator<Item = (&'static str, bool)> {
        let any = |sure: bool| self.0.iter().any(|mark| mark.sure == sure);
        let all = [
            (any(true), "picked up, a line over a decidecade", false),
            (any(false), "may fold in", true),
        ];
        all.into_iter()
            .filter(|(there, ..)| *there)
            .map(|(_, text, doubtful)| (text, doubtful))
    }

    pub(super) fn draw(&self, plot: &Plot, drawing: &mut Drawing) {
        for mark in &self.0 {
            let (low_hz, high_hz) = mark.heard_hz;
            let Some((low_hz, high_hz)) = plot.frequency.cut(low_hz, high_hz) else {
                continue;
            };
            let dashes = if mark.sure { &[][..] } else { DOUBT_DASHES };
            let (left, right) = (plot.frequency.px(low_hz), plot.frequency.px(high_hz));
            if !mark.line || right - left > 2.0 * HEAD_PX {
                let at =
                    |i: u32| low_hz * libm::pow(high_hz / low_hz, f64::from(i) / f64::from(POINTS));
                let hz: Vec<f64> = (0..=POINTS).map(at).collect();
                for run in plot.curve(&hz, |i| mark.density_db(hz[i])) {
                    drawing.dashed(run, PICKED, WIDE_WIDTH_PX, dashes);
                }
                continue;
            }
            let middle_hz = libm::sqrt(low_hz * high_hz);
            let density_db = mark.density_db(middle_hz);
            if density_db - plot.reference_db < plot.vertical.range().0 {
                continue;
            }
            let (x, y) = plot.at(middle_hz, density_db);
            let inside = |x: f64| x.clamp(plot.area.left, plot.area.right);
            drawing.line(
                vec![(inside(x - HEAD_PX), y), (inside(x + HEAD_PX), y)],
                PICKED,
                HEAD_WIDTH_PX,
            );
            drawing.dashed(
                vec![(x, y), (x, plot.area.bottom)],
                PICKED,
                STEM_WIDTH_PX,
                dashes,
            );
        }
    }
}

/// How it is drawn, for the legend.
pub(super) fn sample(drawing: &mut Drawing, (left, y): (f64, f64), doubtful: bool) {
    let dashes = if doubtful { DOUBT_DASHES } else { &[][..] };
    let middle = left + 10.0;
    drawing.line(
        vec![(middle - HEAD_PX, y - 6.0), (middle + HEAD_PX, y - 6.0)],
        PICKED,
        HEAD_WIDTH_PX,
    );
    drawing.dashed(
        vec![(middle, y - 6.0), (middle, y + 8.0)],
        PICKED,
        STEM_WIDTH_PX,
        dashes,
    );
    drawing.dashed(
        vec![(left + 18.0, y), (left + 36.0, y)],
        PICKED,
        WIDE_WIDTH_PX,
        dashes,
    );
}
