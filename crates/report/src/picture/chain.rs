//! The picture of a sensor chain: densities of the sea and of the chain over frequency, full scale, the bands of the detectors.

mod picked;

use assess::{CREST_DB, ChainBudget, DetectorBudget};
use signal::NoiseParts;

use super::canvas::{Align, Area, checked_size, shortened, text_width};
use super::colour::{BAR, GRID_LINE, INK, NO_DATA, Rgb, WHITE};
use super::drawing::Drawing;
use super::shapes::Drawn;
use super::ticks::{linear_ticks, logarithmic_minor_ticks, si_label, signed};
use super::{Axis, AxisScale, PictureError, PictureSize, logarithmic_ticks};
use picked::Marks;

const SEA: Rgb = [188, 212, 230];
const SEA_EDGE: Rgb = [70, 116, 156];
const SUM: Rgb = [176, 58, 20];
const OWN: Rgb = [30, 112, 62];
const AMPLIFIER: Rgb = [118, 54, 140];
const CONVERTER: Rgb = [140, 98, 0];
const CALM_DASHES: &[f32] = &[2.0, 4.0];
const OWN_DASHES: &[f32] = &[12.0, 5.0];
const AMPLIFIER_DASHES: &[f32] = &[3.0, 4.0];
const CONVERTER_DASHES: &[f32] = &[12.0, 4.0, 3.0, 4.0];
const FULL_DASHES: &[f32] = &[18.0, 6.0];

const LEFT_PX: f64 = 70.0;
const RIGHT_PX: f64 = 40.0;
const TOP_PX: f64 = 142.0;
const BELOW_PX: f64 = 78.0;
/// Height of the row of one detector.
const ROW_PX: f64 = 22.0;
const LETTERS_PX: f32 = 15.0;
/// From words in the gap of a bar to either end of it.
const ON_BAR_PX: f64 = 10.0;
/// From one point of a curve to the next.
const STEP_PX: f64 = 4.0;
/// Wind noise of a decidecade without its middle would not show; a tenth of a decade either way of a frequency.
const HALF_BAND: f64 = 0.05;
const ROUND_DB: f64 = 10.0;
const UNKNOWN_SEA: &str = "the sea is unknown";
const MOST_TICKS: usize = 12;

/// The picture of one sensor as a PNG file.
///
/// # Errors
/// [`PictureError::Size`] and [`PictureError::Range`] for a chain without a band to show, [`PictureError::NoRoom`] for more detectors
/// than find room.
pub fn chain_picture_png(
    title: &str,
    budget: &ChainBudget,
    size: PictureSize,
) -> Result<Vec<u8>, PictureError> {
    chain_picture(title, budget, size).map(|drawn| drawn.png())
}

/// The same picture as an SVG file.
///
/// # Errors
/// As [`chain_picture_png`].
pub fn chain_picture_svg(
    title: &str,
    budget: &ChainBudget,
    size: PictureSize,
) -> Result<String, PictureError> {
    chain_picture(title, budget, size).map(|drawn| drawn.svg())
}

/// The picture before it is a file.
pub(crate) fn chain_picture(
    title: &str,
    budget: &ChainBudget,
    size: PictureSize,
) -> Result<Drawn, PictureError> {
    Ok(Drawn {
        shapes: draw(title, budget, size)?.shapes,
        size,
        title: title.to_owned(),
        about: description(budget),
    })
}

fn description(budget: &ChainBudget) -> String {
    format!(
        "Noise of {} and of the sea over frequency, as spectral density at the sensor, with full scale and {} detectors.",
        budget.path,
        budget.detectors.len()
    )
}

/// What is drawn over frequency, dB re the reference of the medium.
struct Curves {
    hz: Vec<f64>,
    chain: Vec<NoiseParts>,
    /// Calm, quietest, windiest.
    sea: Option<[Vec<f64>; 3]>,
    full_scale: Vec<f64>,
    picked: Marks,
}

fn curves(budget: &ChainBudget, frequency: &Axis) -> Curves {
    let (left, right) = frequency.pixels();
    let count = libm::ceil((right - left) / STEP_PX);
    let (low, high) = frequency.range();
    let hz: Vec<f64> = (0..=count as u32)
        .map(|i| frequency.value(left + (right - left) * f64::from(i) / count))
        .map(|f| f.clamp(low, high))
        .collect();
    let chain: Vec<NoiseParts> = hz.iter().map(|f| budget.noise.density(*f)).collect();
    let sea = budget.winds_m_s.and_then(|(quietest, windiest)| {
        let at = |wind_m_s: f64| -> Option<Vec<f64>> {
            hz.iter()
                .map(|f| budget.sea_density_db(*f, wind_m_s))
                .collect()
        };
        Some([at(0.0)?, at(quietest)?, at(windiest)?])
    });
    let overload_db = budget.noise.chain().overload_peak_level_db_re_1upa();
    let full_scale = hz
        .iter()
        .map(|f| {
            overload_db
                - CREST_DB
                - 10.0 * libm::log10(decidecade_hz(*f) * budget.noise.power_gain(*f))
        })
        .collect();
    Curves {
        hz,
        chain,
        sea,
        full_scale,
        picked: Marks::of(budget, (low, high)),
    }
}

/// Width of the tenth of a decade about a frequency, Hz.
fn decidecade_hz(f_hz: f64) -> f64 {
    f_hz * (libm::pow(10.0, HALF_BAND) - libm::pow(10.0, -HALF_BAND))
}

fn draw(title: &str, budget: &ChainBudget, size: PictureSize) -> Result<Drawing, PictureError> {
    checked_size(size.width_px, size.height_px)?;
    let (width, height) = (f64::from(size.width_px), f64::from(size.height_px));
    let mut drawing = Drawing::titled(title, width);
    let rows_px = ROW_PX * budget.detectors.len() as f64;
    let area = Area {
        left: LEFT_PX,
        right: width - RIGHT_PX,
        top: TOP_PX,
        bottom: height - BELOW_PX - rows_px,
    };
    if area.height() < 200.0 {
        return Err(PictureError::NoRoom {
            marks: budget.detectors.len(),
            height_px: size.height_px,
            left_px: area.height(),
        });
    }
    let half_hz = 0.5 * budget.noise.chain().rate_hz();
    let frequency = Axis::new(
        "frequency",
        "Hz",
        AxisScale::Logarithmic,
        (1.0, half_hz.min(1e6)),
        (area.left, area.right),
    )?;
    let curves = curves(budget, &frequency);
    let vertical = Axis::new(
        "density",
        "dB",
        AxisScale::Linear,
        range(budget, &curves),
        (area.bottom, area.top),
    )?;
    let plot = Plot {
        area,
        frequency,
        vertical,
        reference_db: budget.reference_db,
    };
    plot.background(&mut drawing, budget, &curves);
    plot.lines(&mut drawing, &curves);
    curves.picked.draw(&plot, &mut drawing);
    drawing.border(area);
    plot.frequencies(&mut drawing, rows_px);
    plot.detectors(&mut drawing, &budget.detectors, budget.says_all());
    legend(&mut drawing, budget, &curves, width);
    Ok(drawing)
}

/// Levels shown: all but what the high-pass makes of the converter below a hundredth of the sea, out to whole 10 dB.
fn range(budget: &ChainBudget, curves: &Curves) -> (f64, f64) {
    let to_re = budget.reference_db;
    let mut low = f64::INFINITY;
    let mut high = f64::NEG_INFINITY;
    for (parts, full_db) in curves.chain.iter().zip(&curves.full_scale) {
        let known = [parts.self_noise_db, parts.amplifier_db];
        low = known
            .into_iter()
            .flatten()
            .chain([parts.converter_db])
            .fold(low, f64::min);
        high = high.max(*full_db);
    }
    for sea in curves.sea.iter().flatten().flatten() {
        low = low.min(*sea);
    }
    let highest = curves.picked.highest_db();
    // The high-pass lifts full scale at its foot out of sight.
    let chain = budget.noise.chain();
    let most = chain.overload_peak_level_db_re_1upa() - CREST_DB + 10.0;
    let high = high.min(most).max(low + 20.0).max(highest.unwrap_or(low));
    let out = |level: f64| libm::floor((level - to_re) / ROUND_DB) * ROUND_DB;
    (out(low - 2.0), out(high + ROUND_DB))
}

struct Plot {
    area: Area,
    frequency: Axis,
    vertical: Axis,
    reference_db: f64,
}

impl Plot {
    fn at(&self, f_hz: f64, level_db: f64) -> (f64, f64) {
        let y = self.vertical.px(level_db - self.reference_db);
        (
            self.frequency.px(f_hz),
            y.clamp(self.area.top, self.area.bottom),
        )
    }

    /// A curve without what lies beyond the plot.
    fn curve(&self, hz: &[f64], level_db: impl Fn(usize) -> f64) -> Vec<Vec<(f64, f64)>> {
        let mut all = vec![Vec::new()];
        for (i, f) in hz.iter().enumerate() {
            if self.vertical.holds(level_db(i) - self.reference_db) {
                if let Some(last) = all.last_mut() {
                    last.push(self.at(*f, level_db(i)));
                }
            } else {
                all.push(Vec::new());
            }
        }
        all.retain(|run| run.len() > 1);
        all
    }

    fn background(&self, drawing: &mut Drawing, budget: &ChainBudget, curves: &Curves) {
        let filter = self.frequency.px(budget.audible_hz);
        if filter < self.area.right {
            drawing.fill(
                (filter, self.area.top, self.area.right, self.area.bottom),
                NO_DATA,
            );
        }
        if let Some([_, quietest, windiest]) = &curves.sea {
            for i in 1..curves.hz.len() {
                let (left, right) = (
                    self.frequency.px(curves.hz[i - 1]),
                    self.frequency.px(curves.hz[i]),
                );
                let middle = |levels: &[f64]| 0.5 * (levels[i - 1] + levels[i]);
                let (_, bottom) = self.at(1.0, middle(quietest));
                let (_, top) = self.at(1.0, middle(windiest));
                drawing.fill((left, top, right, bottom), SEA);
            }
        }
        let (low, high) = self.frequency.range();
        for tick in logarithmic_minor_ticks(low, high) {
            let x = self.frequency.px(tick);
            drawing.line(
                vec![(x, self.area.top), (x, self.area.bottom)],
                GRID_LINE,
                0.6,
            );
        }
        let unit = if budget.in_air() {
            "dB re (20 µPa)²/Hz"
        } else {
            "dB re 1 µPa²/Hz"
        };
        let (low, high) = self.vertical.range();
        for tick in linear_ticks(low, high, MOST_TICKS).0 {
            let y = self.vertical.px(tick);
            drawing.line(
                vec![(self.area.left, y), (self.area.right, y)],
                GRID_LINE,
                1.0,
            );
            drawing.text(
                signed(tick, 0),
                (self.area.left - 8.0, y + 5.0),
                Align::Right,
                INK,
            );
        }
        drawing.text(
            format!("spectral density at the sensor, {unit}"),
            (self.area.left, self.area.top - 10.0),
            Align::Left,
            INK,
        );
    }

    fn lines(&self, drawing: &mut Drawing, curves: &Curves) {
        if let Some([calm, quietest, windiest]) = &curves.sea {
            for (levels, width_px, dashes) in [
                (calm, 1.8, CALM_DASHES),
                (quietest, 1.6, &[][..]),
                (windiest, 1.6, &[][..]),
            ] {
                for run in self.curve(&curves.hz, |i| levels[i]) {
                    drawing.dashed(run, SEA_EDGE, width_px, dashes);
                }
            }
        }
        // Under its parts, which may coincide with it.
        for run in self.curve(&curves.hz, |i| curves.chain[i].total_db) {
            drawing.line(run, SUM, 2.6);
        }
        let part = |drawing: &mut Drawing,
                    of: fn(&NoiseParts) -> Option<f64>,
                    (colour, dashes): (Rgb, &'static [f32])| {
            if curves.chain.iter().all(|p| of(p).is_some()) {
                let level = |i: usize| of(&curves.chain[i]).unwrap_or(f64::NAN);
                for run in self.curve(&curves.hz, level) {
                    drawing.dashed(run, colour, 1.8, dashes);
                }
            }
        };
        part(drawing, |p| p.self_noise_db, (OWN, OWN_DASHES));
        part(drawing, |p| p.amplifier_db, (AMPLIFIER, AMPLIFIER_DASHES));
        part(
            drawing,
            |p| Some(p.converter_db),
            (CONVERTER, CONVERTER_DASHES),
        );
        for run in self.curve(&curves.hz, |i| curves.full_scale[i]) {
            drawing.dashed(run, INK, 2.2, FULL_DASHES);
        }
    }

    fn frequencies(&self, drawing: &mut Drawing, rows_px: f64) {
        let (low, high) = self.frequency.range();
        for tick in logarithmic_ticks(low, high, 16) {
            let label = if tick >= 1000.0 {
                format!("{}k", tick / 1000.0)
            } else {
                format!("{tick}")
            };
            drawing.tick_below(self.area, self.frequency.px(tick), label);
        }
        drawing.text(
            "frequency, Hz",
            (
                (self.area.left + self.area.right) / 2.0,
                self.area.bottom + 44.0 + rows_px + 14.0,
            ),
            Align::Centre,
            INK,
        );
    }

    /// How far the chain lies from the threshold of a detector, where it has a fixed one, and from the sea, where there is one.
    fn clear(&self, d: &DetectorBudget, says_all: bool) -> String {
        let from = |clear_db: f64, what: &str| {
            let side = if clear_db < 0.0 { "above" } else { "below" };
            let known = match (says_all, clear_db < 0.0) {
                (true, _) => "",
                (false, true) => "at least ",
                (false, false) => "at most ",
            };
            format!("{known}{:.1} dB {side} {what}", libm::fabs(clear_db))
        };
        let threshold = d
            .threshold
            .map(|threshold| from(threshold.clear_db(), "its threshold"));
        let sea = (self.reference_db == 0.0).then(|| match d.least_clear {
            Some((clear_db, _)) => from(clear_db, "the sea"),
            None => UNKNOWN_SEA.to_owned(),
        });
        match (threshold, sea) {
            (Some(threshold), Some(sea)) => format!(": chain {threshold}, {sea}"),
            (Some(one), None) => format!(": chain {one}"),
            (None, Some(one)) if d.least_clear.is_some() => format!(": chain {one}"),
            (None, Some(unknown)) => format!(": {unknown}"),
            (None, None) => String::new(),
        }
    }

    /// A bar for the band of each detector, below the axis, with its name beside it.
    fn detectors(&self, drawing: &mut Drawing, detectors: &[DetectorBudget], says_all: bool) {
        for (row, d) in detectors.iter().enumerate() {
            let top = self.area.bottom + 34.0 + ROW_PX * row as f64;
            let Some((low, high)) = self.frequency.cut(d.band_hz.0, d.band_hz.1) else {
                continue;
            };
            let (left, right) = (self.frequency.px(low), self.frequency.px(high));
            drawing.fill((left, top + 4.0, right.max(left + 3.0), top + 14.0), BAR);
            for x in [left, right] {
                let foot = vec![(x, self.area.bottom - 12.0), (x, self.area.bottom)];
                drawing.line(foot, BAR, 2.0);
            }
            let text = format!("{}{}", d.path, self.clear(d, says_all));
            let room_right = self.area.right - right - 10.0;
            let room_left = left - self.area.left - 10.0;
            let (x, align, room) = if room_right >= room_left {
                (right + 8.0, Align::Left, room_right)
            } else {
                (left - 8.0, Align::Right, room_left)
            };
            let wide = text_width(&text, LETTERS_PX) + 2.0 * ON_BAR_PX;
            if wide > room + 2.0 * ON_BAR_PX && wide < right - left {
                // No room beside a wide bar: in a gap of it.
                let middle = f64::midpoint(left, right);
                let gap = (
                    middle - 0.5 * wide,
                    top + 2.0,
                    middle + 0.5 * wide,
                    top + 16.0,
                );
                drawing.fill(gap, WHITE);
                drawing.text(text, (middle, top + 14.0), Align::Centre, INK);
                continue;
            }
            let text = shortened(&text, LETTERS_PX, room);
            drawing.text(text, (x, top + 14.0), align, INK);
        }
    }
}

/// Names of the lines, in rows above the plot.
fn legend(drawing: &mut Drawing, budget: &ChainBudget, curves: &Curves, width: f64) {
    let (mut x, mut y) = (LEFT_PX, 62.0);
    let mut place = |text: &str| {
        let long = 42.0 + text_width(text, LETTERS_PX) + 26.0;
        if x + long > width - 20.0 && x > LEFT_PX {
            x = LEFT_PX;
            y += 22.0;
        }
        let at = (x, y);
        x += long;
        at
    };
    if let Some((quietest, windiest)) = budget.winds_m_s.filter(|_| curves.sea.is_some()) {
        let text = if quietest == windiest {
            format!("sea, {quietest} m/s (mean of the month)")
        } else {
            format!("sea, {quietest} to {windiest} m/s (means of months)")
        };
        let (left, y) = place(&text);
        drawing.fill((left, y - 8.0, left + 34.0, y + 8.0), SEA);
        for edge in [y - 8.0, y + 8.0] {
            drawing.line(vec![(left, edge), (left + 34.0, edge)], SEA_EDGE, 1.6);
        }
        drawing.text(text, (left + 42.0, y + 5.0), Align::Left, INK);
    }
    let bits = match budget.effective_bits {
        Some(bits) => format!("converter, {bits} effective bits"),
        None => format!("converter, {} bit, ideal", budget.noise.chain().bits()),
    };
    let amplifier = budget
        .amplifier_v_rthz
        .map(|v| format!("amplifier, {}", si_label(v, "V/√Hz", 3)));
    let sum = match (budget.noise_known, curves.picked.is_empty()) {
        (true, true) => "chain, sum",
        (true, false) => "chain, sum without what it picks up",
        (false, true) => "chain, at least",
        (false, false) => "chain, at least, without what it picks up",
    };
    let entries: [(Option<String>, Rgb, f32, &'static [f32]); 6] = [
        (
            curves.sea.as_ref().map(|_| "sea in a calm".to_owned()),
            SEA_EDGE,
            1.8,
            CALM_DASHES,
        ),
        (Some(sum.to_owned()), SUM, 3.6, &[]),
        (
            (!budget.self_noise.is_empty()).then(|| "self-noise".to_owned()),
            OWN,
            1.8,
            OWN_DASHES,
        ),
        (amplifier, AMPLIFIER, 1.8, AMPLIFIER_DASHES),
        (Some(bits), CONVERTER, 1.8, CONVERTER_DASHES),
        (
            Some("noise of one decidecade clips".to_owned()),
            INK,
            2.2,
            FULL_DASHES,
        ),
    ];
    for (text, colour, width_px, dashes) in entries {
        let Some(text) = text else { continue };
        let (left, y) = place(&text);
        drawing.dashed(vec![(left, y), (left + 34.0, y)], colour, width_px, dashes);
        drawing.text(text, (left + 42.0, y + 5.0), Align::Left, INK);
    }
    for (text, doubtful) in curves.picked.entries() {
        let (left, y) = place(text);
        picked::sample(drawing, (left, y), doubtful);
        drawing.text(text, (left + 42.0, y + 5.0), Align::Left, INK);
    }
    if budget.audible_hz < 0.5 * budget.noise.chain().rate_hz() {
        let text = "converter's own filter";
        let (left, y) = place(text);
        drawing.fill((left, y - 8.0, left + 34.0, y + 8.0), NO_DATA);
        drawing.text(text, (left + 42.0, y + 5.0), Align::Left, INK);
    }
}
