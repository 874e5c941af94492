//! What the levels of Teager-Kaiser energies, matched filters and decimated sounds mean.

use std::f64::consts::PI;

use detect::{
    Cell, Confirm, Detector, Front, LevelKind, Logic, Notice, Spec, SpecError, Stage, Told,
};
use signal::Block;

use crate::support::{add_click, add_sweep, clicks, noise, single, upcall};

fn tone(rate_hz: f64, tone_hz: f64, amplitude: f64, seconds: f64) -> Vec<f32> {
    (0..(rate_hz * seconds) as usize)
        .map(|i| (amplitude * libm::sin(2.0 * PI * tone_hz * i as f64 / rate_hz)) as f32)
        .collect()
}

fn cells(spec: &Spec, x: &[f32]) -> Vec<Cell> {
    let mut cells = Vec::new();
    Front::new(spec)
        .unwrap()
        .push(Block { first: 0, x }, &mut cells)
        .unwrap();
    cells
}

fn level_of(spec: &Spec, x: &[f32]) -> f64 {
    let cells = cells(spec, x);
    cells[cells.len() - 2].level_db
}

fn energies(rate_hz: f64, band: Option<(f64, f64)>) -> Spec {
    let mut stages = vec![
        Stage::Level {
            kind: LevelKind::TeagerKaiser,
            window_s: 0.02,
            hop_s: None,
        },
        always(),
    ];
    if let Some((low_hz, high_hz)) = band {
        let band = Stage::Band {
            low_hz,
            high_hz,
            order: 4,
        };
        stages.insert(0, band);
    }
    Spec { rate_hz, stages }
}

fn always() -> Stage {
    Stage::Trigger {
        on_above_db: 0.0,
        off_below_db: 0.0,
        shortest_s: 0.0,
        longest_s: None,
        bridge_s: 0.0,
        k_of_n: None,
        hold_off_s: 0.0,
        confirm: Confirm::Early,
    }
}

/// Kaiser 1990: a tone has `A^2 sin^2(W)`. Without a band it reads `20 lg(sin W)` less than its own level.
#[test]
fn verif_teager_kaiser_level_of_a_tone() {
    let rate_hz = 48_000.0;
    let own_db = 20.0 * libm::log10(1000.0 / 2.0_f64.sqrt());
    let read = |spec: &Spec, tone_hz| level_of(spec, &tone(rate_hz, tone_hz, 1000.0, 0.5));
    let open = energies(rate_hz, None);
    for tone_hz in [500.0, 3000.0, 12_000.0, 20_000.0] {
        let expected = own_db + 20.0 * libm::log10(libm::sin(2.0 * PI * tone_hz / rate_hz));
        let found = read(&open, tone_hz);
        assert!(
            (found - expected).abs() < 1e-3,
            "{tone_hz} Hz: {found}, expected {expected}"
        );
    }
    // In a band, a tone at its centre reads its own level, which the mean square does too.
    let (low_hz, high_hz) = (2000.0, 10_000.0);
    let banded = energies(rate_hz, Some((low_hz, high_hz)));
    let warped = |f: f64| libm::tan(PI * f / rate_hz);
    let centre_hz = rate_hz / PI * libm::atan((warped(low_hz) * warped(high_hz)).sqrt());
    assert!((read(&banded, centre_hz) - own_db).abs() < 1e-3);
    let mut mean_square = banded.clone();
    if let Stage::Level { kind, .. } = &mut mean_square.stages[1] {
        *kind = LevelKind::MeanSquare;
    }
    assert!((read(&mean_square, centre_hz) - own_db).abs() < 0.05);
    // One octave up, where the band is still flat, it reads the ratio of the sines more.
    let up = read(&banded, 1.5 * centre_hz) - own_db;
    let sines =
        libm::sin(3.0 * PI * centre_hz / rate_hz) / libm::sin(2.0 * PI * centre_hz / rate_hz);
    assert!((up - 20.0 * libm::log10(sines)).abs() < 0.01, "{up}");
}

/// A hyperbolic cosine has energy `-sinh^2(a)` everywhere: less than silence, and told as silence.
#[test]
fn verif_negative_energy_is_no_level() {
    let x: Vec<f32> = (-500..500)
        .map(|n| libm::cosh(0.01 * f64::from(n)) as f32)
        .collect();
    let spec = energies(1000.0, None);
    assert!(
        cells(&spec, &x)
            .iter()
            .all(|c| c.level_db == f64::NEG_INFINITY)
    );
}

/// Clicks over a much louder low hum: the energies bring them out by twice the ratio of the frequencies in decibels.
#[test]
fn verif_teager_kaiser_favours_clicks_over_hum() {
    let rate_hz = 48_000.0;
    let mut x: Vec<f64> = tone(rate_hz, 200.0, 1000.0, 1.0)
        .iter()
        .map(|&v| f64::from(v))
        .collect();
    add_click(&mut x, rate_hz, 24_000, 12_000.0, 100e-6, 200.0);
    let x = single(&x);
    let over = |kind| {
        let mut spec = energies(rate_hz, None);
        spec.stages[0] = Stage::Level {
            kind,
            // A whole period of the hum.
            window_s: 0.005,
            hop_s: None,
        };
        let cells = cells(&spec, &x);
        let peak = cells[cells.len() / 2 - 8..cells.len() / 2 + 8]
            .iter()
            .map(|c| c.level_db)
            .fold(f64::NEG_INFINITY, f64::max);
        peak - cells[100].level_db
    };
    assert!(over(LevelKind::MeanSquare) < 0.3);
    assert!(over(LevelKind::TeagerKaiser) > 4.0);
}

/// A template of 0.9 s and a detector that is matched to it.
fn matched(rate_hz: f64, band: bool) -> (Spec, Vec<f64>) {
    let length = (0.9 * rate_hz) as usize;
    let mut call = vec![0.0; length];
    add_sweep(&mut call, rate_hz, 0, length, (90.0, 170.0), 30.0);
    let mut spec = upcall(rate_hz, Confirm::Early);
    spec.stages[1] = Stage::Matched {
        template: single(&call),
        hop_s: None,
    };
    spec.stages.truncate(2);
    spec.stages.push(always());
    if !band {
        spec.stages.remove(0);
    }
    (spec, call)
}

fn mean_square(x: &[f64]) -> f64 {
    x.iter().map(|v| v * v).sum::<f64>() / x.len() as f64
}

/// The template alone reads its own level, in the cell that lies in its middle, whatever its sign; everything else less.
#[test]
fn verif_a_template_reads_its_own_level_in_its_own_middle() {
    for (rate_hz, band, begin) in [
        (2000.0, false, 5000),
        (2000.0, true, 5003),
        (16_000.0, true, 41_234),
    ] {
        let (spec, call) = matched(rate_hz, band);
        let own_db = 10.0 * libm::log10(mean_square(&call));
        for sign in [10.0, -10.0] {
            let mut x = vec![0.0; begin + 3 * call.len()];
            for (v, c) in x[begin..].iter_mut().zip(&call) {
                *v = sign * c;
            }
            let cells = cells(&spec, &single(&x));
            let peak = cells
                .iter()
                .max_by(|a, b| a.level_db.total_cmp(&b.level_db))
                .unwrap();
            let found = peak.level_db - 20.0;
            assert!(
                (found - own_db).abs() < 0.1,
                "{rate_hz} Hz, band {band}: {found}, expected {own_db}"
            );
            let middle = (begin + call.len() / 2) as u64;
            let tile = peak.end_sample - peak.begin_sample;
            assert!(
                peak.begin_sample <= middle + tile / 8 && middle <= peak.end_sample + tile / 8,
                "{rate_hz} Hz, band {band}: {}..{} of {middle}",
                peak.begin_sample,
                peak.end_sample
            );
        }
    }
}

/// Processing gain: in white noise the envelope of the matched filter reads the level of the noise times the share that one
/// place takes of the energy, `1 / N` with `N` the length in samples, twice over for the two quadratures.
#[test]
fn verif_level_of_white_noise_through_a_matched_filter() {
    let (mut spec, call) = matched(2000.0, false);
    if let Stage::Matched { hop_s, .. } = &mut spec.stages[0] {
        // One place a cell: no greatest of several.
        *hop_s = Some(0.0005);
    }
    let x: Vec<f32> = single(&noise(77, 200_000));
    let cells = cells(&spec, &x);
    let mean = cells.iter().map(|c| c.power).sum::<f64>() / cells.len() as f64;
    let expected = 2.0 / call.len() as f64;
    let ratio_db = 10.0 * libm::log10(mean / expected);
    // 199 000 places hold some 100 s x 80 Hz independent ones: 1.1 % of rms deviation, 0.05 dB.
    assert!(ratio_db.abs() < 0.25, "{ratio_db} dB");
    // Exponential: a share of exp(-t) lies over t times the mean.
    for t in [1.0, 3.0] {
        let over = cells.iter().filter(|c| c.power > t * mean).count();
        let share = over as f64 / cells.len() as f64;
        let expected = libm::exp(-t);
        assert!(
            (share / expected - 1.0).abs() < 0.12,
            "{share}, expected {expected}"
        );
    }
}

#[test]
fn verif_a_template_that_cannot_be_is_refused() {
    let refused = |template: Vec<f32>, hop_s| {
        let (mut spec, _) = matched(2000.0, true);
        spec.stages[1] = Stage::Matched { template, hop_s };
        Front::new(&spec).unwrap_err()
    };
    assert!(matches!(
        refused(vec![], None),
        SpecError::TemplateSilent { samples: 0, .. }
    ));
    assert!(matches!(
        refused(vec![0.0; 10], None),
        SpecError::TemplateSilent { .. }
    ));
    assert!(matches!(
        refused(vec![0.0, f32::NAN], None),
        SpecError::TemplateNotFinite { at: 1, .. }
    ));
    assert!(matches!(
        refused(tone(2000.0, 700.0, 1.0, 1.0), None),
        SpecError::TemplateOutsideBand { stage: 1, .. }
    ));
    assert!(matches!(
        refused(tone(2000.0, 100.0, 1.0, 1.0), Some(1.1)),
        SpecError::HopTooLong { .. }
    ));
    assert!(matches!(
        refused(tone(2000.0, 100.0, 1.0, 1.0), Some(1e-6)),
        SpecError::HopTooShort { .. }
    ));
    assert!(matches!(
        refused(tone(2000.0, 100.0, 1.0, 20.0), None),
        SpecError::TemplateTooLong { .. }
    ));
}

/// A band after a decimate stage hears what it hears without; what the decimation stops is refused.
#[test]
fn verif_decimation_before_a_band_changes_no_level() {
    let rate_hz = 48_000.0;
    let x: Vec<f64> = noise(5, 480_000).iter().map(|v| 1000.0 * v).collect();
    let x = single(&x);
    let mut whole = upcall(rate_hz, Confirm::Early);
    whole.stages[0] = Stage::Band {
        low_hz: 500.0,
        high_hz: 1000.0,
        order: 4,
    };
    let mut decimated = whole.clone();
    decimated.stages.insert(0, Stage::Decimate { factor: 4 });
    let mean_db = |spec: &Spec| {
        let cells = cells(spec, &x);
        10.0 * libm::log10(cells.iter().map(|c| c.power).sum::<f64>() / cells.len() as f64)
    };
    let (a, b) = (mean_db(&whole), mean_db(&decimated));
    // The bilinear transform narrows the skirts at 12 times the upper corner.
    assert!((a - b).abs() < 0.05, "{a} and {b}");
    let refused = |low_hz, high_hz, factor| {
        let mut spec = decimated.clone();
        spec.stages[0] = Stage::Decimate { factor };
        spec.stages[1] = Stage::Band {
            low_hz,
            high_hz,
            order: 4,
        };
        Logic::new(&spec).unwrap_err()
    };
    assert!(matches!(
        refused(500.0, 5000.0, 4),
        SpecError::BandAbovePass { stage: 1, .. }
    ));
    assert!(matches!(
        refused(500.0, 1000.0, 1),
        SpecError::Filter { stage: 0, .. }
    ));
    assert!(matches!(
        refused(500.0, 1000.0, 67),
        SpecError::Filter { stage: 0, .. }
    ));
}

/// Red: without its own filter a decimated sound would fold. A tone far above the new rate must not be heard.
#[test]
fn verif_decimation_stops_what_would_fold() {
    let rate_hz = 48_000.0;
    let mut spec = energies(rate_hz, None);
    spec.stages[0] = Stage::Level {
        kind: LevelKind::MeanSquare,
        window_s: 0.02,
        hop_s: None,
    };
    spec.stages.insert(0, Stage::Decimate { factor: 8 });
    let own_db = 20.0 * libm::log10(1000.0 / 2.0_f64.sqrt());
    let heard = |tone_hz| level_of(&spec, &tone(rate_hz, tone_hz, 1000.0, 0.5)) - own_db;
    assert!(heard(1000.0).abs() < 0.02);
    // 8 kHz would fold to 2 kHz at 6 kHz.
    assert!(heard(8000.0) < -78.0, "{}", heard(8000.0));
}

/// The promised delays hold for the new stages too: the worst of many places, and no more than a window idle.
#[test]
fn verif_latency_of_a_matched_filter_and_of_k_of_n() {
    let (mut spec, call) = matched(2000.0, true);
    spec.stages[2] = Stage::Trigger {
        on_above_db: 10.0 * libm::log10(mean_square(&call)) + 19.5,
        off_below_db: 0.0,
        shortest_s: 0.0,
        longest_s: None,
        bridge_s: 0.0,
        k_of_n: None,
        hold_off_s: 0.0,
        confirm: Confirm::Early,
    };
    let bound = Detector::new(&spec).unwrap().latency_samples().unwrap();
    let mut worst = 0;
    for begin in (4000..4500).step_by(7) {
        let mut x = vec![0.0; begin + 3 * call.len()];
        for (v, c) in x[begin..].iter_mut().zip(&call) {
            *v = 10.0 * c;
        }
        let confirmed = confirmed(&spec, &single(&x));
        assert_eq!(confirmed.len(), 1);
        worst = worst.max(confirmed[0] - begin as u64);
    }
    assert!(worst <= bound && bound <= worst + 30, "{worst} of {bound}");
}

fn confirmed(spec: &Spec, x: &[f32]) -> Vec<u64> {
    let mut told: Vec<Told> = Vec::new();
    let mut detector = Detector::new(spec).unwrap();
    detector.push(Block { first: 0, x }, &mut told).unwrap();
    told.iter()
        .filter(|t| matches!(t.notice, Notice::Confirmed(_)))
        .map(|t| t.known_at_sample)
        .collect()
}

/// The click detector on energies finds the clicks that it finds on mean squares, with their intervals.
#[test]
fn verif_clicks_by_energies() {
    let mut x: Vec<f64> = noise(10, 96_000).iter().map(|v| 100.0 * v).collect();
    for i in 0..14 {
        add_click(&mut x, 96_000.0, 40_000 + 3300 * i, 24_000.0, 60e-6, 3000.0);
    }
    let mut spec = clicks();
    spec.stages[1] = Stage::Level {
        kind: LevelKind::TeagerKaiser,
        window_s: 0.0005,
        hop_s: None,
    };
    let mut told = Vec::new();
    let mut detector = Detector::new(&spec).unwrap();
    detector
        .push(
            Block {
                first: 0,
                x: &single(&x),
            },
            &mut told,
        )
        .unwrap();
    detector.finish(&mut told);
    let event = told
        .iter()
        .find_map(|t| match t.notice {
            Notice::Ended(event) => Some(event),
            _ => None,
        })
        .unwrap();
    assert_eq!(event.pulses, Some(14));
    let intervals = event.intervals.unwrap();
    assert!((intervals.mean_s - 3300.0 / 96_000.0).abs() < 2e-5);
    assert!(intervals.spread < 0.01);
}

/// Minutes of silence around the sound in a template cost no time, and change nothing but its length.
#[test]
fn verif_silence_around_a_template_is_passed_over() {
    let (spec, call) = matched(2000.0, true);
    let Stage::Matched { template, .. } = &spec.stages[1] else {
        unreachable!()
    };
    let silence = 500_000;
    let mut long = spec.clone();
    long.stages[1] = Stage::Matched {
        template: [vec![0.0; silence], template.clone(), vec![0.0; silence]].concat(),
        hop_s: Some(0.1),
    };
    let mut x = vec![0.0; 20_000];
    for (v, c) in x[9000..].iter_mut().zip(&call) {
        *v = *c;
    }
    let peak = |spec: &Spec| {
        cells(spec, &single(&x))
            .iter()
            .map(|c| c.power)
            .fold(0.0, f64::max)
    };
    let lengths = (2 * silence + call.len()) as f64 / call.len() as f64;
    let ratio = peak(&spec) / peak(&long) / lengths;
    assert!((ratio - 1.0).abs() < 1e-3, "{ratio}");
}
