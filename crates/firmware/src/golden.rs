//! Golden vectors: a sound that is the same on every processor, and what our own detector tells of it.
//!
//! The sound is white noise from a congruential generator and tones read from a table of whole numbers; both are whole numbers
//! times one factor in single precision, so that Rust and C come to the same bits. Its tones are loud and long enough for the
//! detector to tell them, where a sound of at most [`LONGEST_GOLDEN_S`] can be.

use core::f64::consts::PI;
use core::fmt::Write as _;

use detect::{
    DecisionWorkings, Detector, MeasureWorkings, Notice, Reason, Spec, Stage, Told, Workings,
};
use signal::Block;

use crate::words::Words;

/// Longest golden sound, s.
pub const LONGEST_GOLDEN_S: f64 = 120.0;
/// Tones lie so far above what the detector asks for, dB.
const ABOVE_DB: f64 = 12.0;
/// Level of the noise where a background asks for one, dB re 1 uPa.
const NOISE_DB: f64 = 90.0;
const PLACES: usize = 64;
/// Amplitude of the table.
const FULL: f64 = 32_000.0;
/// Root of the mean square of the generator's whole numbers, uniform over 16 bits.
const NOISE_RMS: f64 = 18_918.6;
/// Times of notices may differ by one cell, levels by so much, dB.
const LEVELS_WITHIN_DB: f64 = 0.05;
const BLOCK: usize = 4096;

/// The sound and what is told of it.
pub(crate) struct Golden {
    noise: f32,
    tone: f32,
    /// Turns of the tone a sample, in 2^32nds.
    step: u32,
    /// Beginnings of the tones, and their length, samples.
    begins: Vec<u64>,
    length: u64,
    samples: u64,
    pub(crate) told: Vec<Told>,
}

impl Golden {
    pub(crate) fn of(spec: &Spec, workings: &Workings, mut detector: Detector) -> Self {
        let mut golden = Self::sound(spec, workings);
        let mut told = Vec::new();
        let mut samples = golden.generator();
        let mut at = 0;
        while at < golden.samples {
            let n = (golden.samples - at).min(BLOCK as u64) as usize;
            let x: Vec<f32> = (0..n).map(|_| samples.next()).collect();
            let block = Block { first: at, x: &x };
            // Whole numbers are finite.
            if detector.push(block, &mut told).is_err() {
                break;
            }
            at += n as u64;
        }
        detector.finish(&mut told);
        golden.told = told;
        golden
    }

    fn sound(spec: &Spec, workings: &Workings) -> Self {
        let tile = workings.hop * workings.factor;
        let window = workings.window * workings.factor;
        let second = workings.rate_hz as u64;
        let frequency_hz = frequency_hz(spec, workings);
        let known = workings.background.map_or(0, |background| {
            (background.cells.div_ceil(2) + background.guard + 4) as u64 * tile
        });
        let (asked_db, length, spacing, count, after) = match workings.decision {
            DecisionWorkings::Trigger {
                on_above_db,
                shortest,
                longest,
                bridge,
                k_of_n,
                hold_off,
                ..
            } => {
                let wanted = (2 * shortest)
                    .max(window + 2 * tile)
                    .max((u64::from(k_of_n.of_last) + 2) * tile);
                let length = longest.map_or(wanted, |longest| wanted.min((shortest + longest) / 2));
                let between = length + bridge + 2 * window + 4 * tile + hold_off;
                (
                    on_above_db,
                    length.max(1),
                    between,
                    2,
                    bridge + 2 * window + 8 * tile,
                )
            }
            DecisionWorkings::Pulses {
                rise_db,
                prominence_db,
                min_interval,
                max_interval,
                at_least,
                within,
                ..
            } => {
                let longest = within.map_or(max_interval, |within| {
                    max_interval.min(within / u64::from(at_least.max(2) - 1))
                });
                let interval = min_interval
                    .max(longest.saturating_sub(tile) * 3 / 4)
                    .max(tile);
                let length = window.min(interval / 3).max(1);
                let count = u64::from(at_least) + 1;
                (
                    rise_db.max(prominence_db),
                    length,
                    interval,
                    count,
                    max_interval + 2 * window + 8 * tile,
                )
            }
        };
        let first = known + 2 * window + 8 * tile + second / 10;
        let most = (LONGEST_GOLDEN_S * workings.rate_hz) as u64;
        let begins: Vec<u64> = (0..count)
            .map(|i| first + i * spacing)
            .filter(|begin| begin + length + after <= most)
            .collect();
        let samples = begins
            .last()
            .map_or(most.min(first), |last| last + length + after);
        let (noise_db, tone_db) = levels_db(spec, workings, asked_db);
        let rms = |db: f64| libm::pow(10.0, db / 20.0);
        Self {
            noise: (rms(noise_db) / NOISE_RMS) as f32,
            tone: (rms(tone_db) * core::f64::consts::SQRT_2 / FULL) as f32,
            step: (frequency_hz / workings.rate_hz * 4_294_967_296.0) as u32,
            begins,
            length,
            samples,
            told: Vec::new(),
        }
    }

    fn generator(&self) -> Generator<'_> {
        Generator {
            golden: self,
            table: table(),
            noise: 1,
            turn: 0,
            at: 0,
            next: 0,
        }
    }

    /// The test program.
    pub(crate) fn program(&self, words: &Words, workings: &Workings) -> String {
        let Words { low, high, says } = words;
        let tile = workings.hop * workings.factor;
        let mut out = format!(
            "/* Golden test of the detector {says}. Made by soundline; ends with 0 where the source tells what it should. */\n\
             #include \"{low}.h\"\n\n#include <math.h>\n#include <stdio.h>\n\n\
             /* One turn of the tone. */\nstatic const int16_t turn[{PLACES}] = {{"
        );
        for (i, value) in table().iter().enumerate() {
            out.push_str(if i % 16 == 0 { "\n    " } else { " " });
            let _ = write!(out, "{value},");
        }
        let _ = write!(
            out,
            "\n}};\n\n/* Where the tones begin. */\nstatic const uint64_t begins[{}] = {{",
            self.begins.len() + 1
        );
        for begin in &self.begins {
            let _ = write!(out, " UINT64_C({begin}),");
        }
        let _ = write!(
            out,
            " UINT64_MAX }};\n\n/* What is to be told: notice, reason, number, when known, begin, end, peak, cut; levels: peak, mean, background, score; pulses. */\n\
             static const {low}_told expected[] = {{\n"
        );
        for told in &self.told {
            expected(told, high, &mut out);
        }
        if self.told.is_empty() {
            // C has no arrays without members.
            out.push_str("    { .notice = -1 },\n");
        }
        let _ = write!(
            out,
            "}};\n\n#define EXPECTED {}u\n#define SAMPLES UINT64_C({})\n#define LENGTH UINT64_C({})\n#define STEP {}u\n#define TILE UINT64_C({tile})\n\
             #define NOISE {:?}f\n#define TONE {:?}f\n#define WITHIN_DB {LEVELS_WITHIN_DB:?}\n#define BLOCK {}u\n\n\
             static {low} detector;\nstatic size_t heard;\nstatic int wrong;\n",
            self.told.len(),
            self.samples,
            self.length,
            self.step,
            self.noise,
            self.tone,
            // No whole number of hops, so that cells end within blocks.
            997
        );
        out.push_str(
            &include_str!("parts/golden.c")
                .replace("detector_", &format!("{low}_"))
                .replace("HIGH_", &format!("{high}_")),
        );
        out
    }
}

/// Frequency of the tones, Hz: where the band passes best, or a quarter of the rate of the band samples.
fn frequency_hz(spec: &Spec, workings: &Workings) -> f64 {
    spec.stages
        .iter()
        .find_map(|stage| match stage {
            Stage::Band {
                low_hz, high_hz, ..
            } => Some(libm::sqrt(low_hz * high_hz)),
            _ => None,
        })
        .unwrap_or(0.25 * workings.band_rate_hz())
}

/// Levels of noise and tones, dB re 1 uPa, such that a tone lies [`ABOVE_DB`] over what is asked for.
fn levels_db(spec: &Spec, workings: &Workings, asked_db: f64) -> (f64, f64) {
    let share = spec
        .stages
        .iter()
        .find_map(|stage| match stage {
            Stage::Band {
                low_hz, high_hz, ..
            } => Some((high_hz - low_hz) / (0.5 * workings.rate_hz)),
            _ => None,
        })
        .unwrap_or(1.0 / workings.factor as f64);
    let in_band_db = |noise_db: f64| noise_db + 10.0 * libm::log10(share);
    if workings.background.is_some() {
        return (NOISE_DB, in_band_db(NOISE_DB) + asked_db + ABOVE_DB);
    }
    // The level of a cell is that of its power, which the scale makes of a mean square; of a Teager-Kaiser energy it does so
    // by itself.
    let scale_db = match workings.measure {
        MeasureWorkings::TeagerKaiser => 0.0,
        _ => 10.0 * libm::log10(workings.scale),
    };
    let tone_db = asked_db + ABOVE_DB - scale_db;
    (tone_db - 40.0, tone_db)
}

/// One turn of a sine in whole numbers.
fn table() -> [i16; PLACES] {
    core::array::from_fn(|i| {
        libm::round(FULL * libm::sin(2.0 * PI * i as f64 / PLACES as f64)) as i16
    })
}

struct Generator<'a> {
    golden: &'a Golden,
    table: [i16; PLACES],
    noise: u32,
    turn: u32,
    at: u64,
    next: usize,
}

impl Generator<'_> {
    fn next(&mut self) -> f32 {
        self.noise = self
            .noise
            .wrapping_mul(1_664_525)
            .wrapping_add(1_013_904_223);
        let mut x = (f32::from((self.noise >> 16) as u16) - 32_768.0) * self.golden.noise;
        if let Some(&begin) = self.golden.begins.get(self.next) {
            if self.at >= begin {
                x += f32::from(self.table[(self.turn >> 26) as usize]) * self.golden.tone;
                self.turn = self.turn.wrapping_add(self.golden.step);
            }
            if self.at + 1 >= begin + self.golden.length {
                self.next += 1;
            }
        }
        self.at += 1;
        x
    }
}

fn expected(told: &Told, high: &str, out: &mut String) {
    let known = told.known_at_sample;
    let _ = match told.notice {
        Notice::Onset(id) => plain(out, high, "ONSET", "0", id.0, known),
        Notice::Confirmed(id) => plain(out, high, "CONFIRMED", "0", id.0, known),
        Notice::Dropped(id, reason) => {
            let reason = match reason {
                Reason::TooShort => "TOO_SHORT",
                Reason::TooLong => "TOO_LONG",
                Reason::TooFewPulses => "TOO_FEW_PULSES",
                Reason::StretchEnded => "STRETCH_ENDED",
                Reason::WrongSlope | Reason::Unlikely => {
                    unreachable!("ridges and judgements are not written down")
                }
            };
            plain(
                out,
                high,
                "DROPPED",
                &format!("{high}_{reason}"),
                id.0,
                known,
            )
        }
        Notice::Ended(event) => writeln!(
            out,
            "    {{ .notice = {high}_ENDED, .id = {}, .known_at = UINT64_C({known}), .begin = UINT64_C({}), .end = UINT64_C({}), .peak = UINT64_C({}),\n      \
             .peak_level_db = {:?}, .mean_level_db = {:?}, .background_db = {}, .score_db = {:?}, .pulses = {}, .cut = {} }},",
            event.id.0,
            event.begin_sample,
            event.end_sample,
            event.peak_sample,
            event.peak_level_db,
            event.mean_level_db,
            event
                .background_db
                .map_or("NAN".to_owned(), |db| format!("{db:?}")),
            event.score_db,
            event.pulses.unwrap_or(0),
            event.ending == detect::Ending::StretchEnded,
        ),
    };
}

fn plain(
    out: &mut String,
    high: &str,
    notice: &str,
    reason: &str,
    id: u64,
    known: u64,
) -> core::fmt::Result {
    writeln!(
        out,
        "    {{ .notice = {high}_{notice}, .reason = {reason}, .id = {id}, .known_at = UINT64_C({known}) }},"
    )
}
