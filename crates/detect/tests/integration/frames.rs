//! The spectrogram path against a second computation of its definitions in SciPy and NumPy.

use detect::{
    BackgroundKind, Cell, Confirm, ContourPoint, Detector, Event, Front, Notice, Sense, Spec,
    SpecError, Stage,
};
use serde_json::Value;
use signal::Block;

use crate::support::{add_sweep, noise, single};

/// Frames are in single precision.
const LEVEL_DB: f64 = 1e-3;
const FREQUENCY_HZ: f64 = 1e-3;

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap()
}

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(number).collect()
}

fn indices(value: &Value) -> Vec<u64> {
    let values = value.as_array().unwrap().iter();
    values.map(|v| v.as_u64().unwrap()).collect()
}

#[track_caller]
fn close(found: f64, expected: f64, tolerance: f64, what: &str) {
    assert!(
        (found - expected).abs() <= tolerance,
        "{what}: {found}, expected {expected}"
    );
}

fn sound(document: &Value) -> Vec<f64> {
    let rate_hz = number(&document["rate_hz"]);
    let count = (number(&document["seconds"]) * rate_hz) as usize;
    let tone = numbers(&document["tone"]);
    let mut x = noise(7, count);
    for (i, v) in x.iter_mut().enumerate() {
        let turn = 2.0 * std::f64::consts::PI * tone[0] * i as f64 / rate_hz;
        *v = 400.0 * *v + tone[1] * libm::sin(turn);
    }
    for sweep in document["sweeps"].as_array().unwrap() {
        let s = numbers(sweep);
        let (begin, length) = ((s[0] * rate_hz).round(), (s[1] * rate_hz).round());
        add_sweep(
            &mut x,
            rate_hz,
            begin as usize,
            length as usize,
            (s[2], s[3]),
            s[4],
        );
    }
    x
}

fn template(rate_hz: f64) -> Vec<f32> {
    let mut x = vec![0.0; rate_hz as usize];
    let length = x.len();
    add_sweep(&mut x, rate_hz, 0, length, (80.0, 200.0), 1.0);
    single(&x)
}

/// Band, spectrogram and background of a case, and what follows them.
fn spec(document: &Value, case: &Value, rest: &[Stage]) -> Spec {
    let band = numbers(&document["band_hz"]);
    let kind = match case["kind"].as_str().unwrap() {
        "median" => BackgroundKind::Median,
        "mean" => BackgroundKind::Mean,
        _ => BackgroundKind::Ordered {
            rank: number(&case["rank"]),
        },
    };
    let mut stages = vec![
        Stage::Band {
            low_hz: band[0],
            high_hz: band[1],
            order: 4,
        },
        Stage::Spectrogram {
            window_s: number(&case["window_s"]),
            hop_s: Some(number(&case["hop_s"])),
        },
        Stage::Background {
            kind,
            over_s: number(&case["over_s"]),
            guard_s: number(&case["guard_s"]),
        },
    ];
    stages.extend_from_slice(rest);
    Spec {
        rate_hz: number(&document["rate_hz"]),
        stages,
    }
}

fn ridge() -> Stage {
    Stage::Ridge {
        sense: Sense::Rising,
        above_db: 9.0,
        least_slope_hz_per_s: 40.0,
        most_slope_hz_per_s: 400.0,
        gap_s: 0.06,
        shortest_s: 0.3,
        longest_s: Some(2.0),
        hold_off_s: 0.0,
    }
}

fn trigger(on_above_db: f64) -> Stage {
    Stage::Trigger {
        on_above_db,
        off_below_db: on_above_db - 2.0,
        shortest_s: 0.0,
        longest_s: None,
        bridge_s: 0.0,
        k_of_n: None,
        hold_off_s: 0.0,
        confirm: Confirm::Early,
    }
}

fn cells(spec: &Spec, x: &[f32]) -> Vec<Cell> {
    let mut cells = Vec::new();
    let mut front = Front::new(spec).unwrap();
    front.push(Block::new(0, x), &mut cells).unwrap();
    cells
}

#[test]
fn val_peaks_over_their_backgrounds_equal_numpy() {
    let document = truth::json("detect/scipy-frames.json");
    let x = single(&sound(&document));
    for case in document["cases"].as_array().unwrap() {
        let cells = cells(&spec(&document, case, &[ridge()]), &x);
        assert_eq!(cells.len() as u64, case["frames"].as_u64().unwrap());
        let first_known = cells.iter().position(|cell| cell.background_db.is_some());
        assert_eq!(
            first_known.unwrap() as u64,
            case["first_known"].as_u64().unwrap()
        );
        let rows = case["peaks"].as_array().unwrap();
        for (k, expected) in indices(&case["at"]).iter().zip(rows) {
            let cell = &cells[*k as usize];
            let expected = expected.as_array().unwrap();
            assert_eq!(cell.peaks.iter().count(), expected.len(), "frame {k}");
            for (peak, expected) in cell.peaks.iter().zip(expected) {
                let expected = numbers(expected);
                close(peak.frequency_hz, expected[0], FREQUENCY_HZ, "frequency");
                close(peak.level_db, expected[1], LEVEL_DB, "level");
                close(peak.excess_db, expected[2], LEVEL_DB, "excess");
            }
            if let Some(strongest) = cell.peaks.iter().next() {
                assert_eq!(cell.level_db, strongest.level_db);
                close(
                    cell.level_db - cell.background_db.unwrap(),
                    strongest.excess_db,
                    1e-9,
                    "excess of a cell",
                );
            }
        }
    }
}

#[test]
fn val_likeness_equals_scipy_correlate() {
    let document = truth::json("detect/scipy-frames.json");
    let x = single(&sound(&document));
    let rate_hz = number(&document["rate_hz"]);
    let contour: Vec<ContourPoint> = document["contour"]
        .as_array()
        .unwrap()
        .iter()
        .map(|point| ContourPoint {
            after_s: number(&point[0]),
            frequency_hz: number(&point[1]),
        })
        .collect();
    let likeness = Stage::Likeness {
        contour,
        width_hz: number(&document["width_hz"]),
    };
    let likeness_to = Stage::LikenessTo {
        template: template(rate_hz),
    };
    for case in document["cases"].as_array().unwrap() {
        for (name, stage) in [("contour", &likeness), ("recorded", &likeness_to)] {
            let expected = &case[name];
            let span = expected["span"].as_u64().unwrap();
            let spec = spec(&document, case, &[stage.clone(), trigger(6.0)]);
            let cells = cells(&spec, &x);
            assert_eq!(cells[0].index, span - 1);
            let best = cells
                .iter()
                .filter(|cell| cell.value_db.is_some())
                .max_by(|a, b| a.value_db.unwrap().total_cmp(&b.value_db.unwrap()))
                .unwrap();
            assert_eq!(best.index, expected["best"].as_u64().unwrap());
            for (i, k) in indices(&expected["at"]).into_iter().enumerate() {
                let Some(cell) = k.checked_sub(span - 1).map(|at| &cells[at as usize]) else {
                    assert!(expected["value_db"][i].is_null());
                    continue;
                };
                assert_eq!(cell.index, k);
                match expected["value_db"][i].as_f64() {
                    Some(expected) => {
                        close(cell.value_db.unwrap(), expected, LEVEL_DB, "likeness");
                    }
                    None => assert_eq!(cell.value_db, None),
                }
                let level_db = number(&expected["level_db"][i]);
                close(cell.level_db, level_db, LEVEL_DB, "level under the kernel");
            }
        }
    }
}

/// A likeness is held against as many backgrounds as it has cells under its kernel: an event of it has none of its own, and its score is
/// the greatest likeness.
#[test]
fn verif_an_event_of_a_likeness_has_no_background() {
    let document = truth::json("detect/scipy-frames.json");
    let x = single(&sound(&document));
    let to = Stage::LikenessTo {
        template: template(number(&document["rate_hz"])),
    };
    let spec = spec(&document, &document["cases"][0], &[to, trigger(6.0)]);
    let greatest = cells(&spec, &x)
        .iter()
        .filter_map(|cell| cell.value_db)
        .fold(f64::NEG_INFINITY, f64::max);
    let mut told = Vec::new();
    let mut detector = Detector::new(&spec).unwrap();
    detector.push(Block::new(0, &x), &mut told).unwrap();
    detector.finish(&mut told);
    let events: Vec<Event> = told
        .iter()
        .filter_map(|t| match t.notice {
            Notice::Ended(event) => Some(event),
            _ => None,
        })
        .collect();
    assert!(!events.is_empty(), "{told:?}");
    assert!(events.iter().all(|event| event.background_db.is_none()));
    let score = events.iter().map(|e| e.score_db).fold(0.0, f64::max);
    assert_eq!(score, greatest);
}

/// 48 kHz are lowered to 800 Hz before the frames: a tone in the band keeps its level, and one that would fold onto 130 Hz is gone.
#[test]
fn verif_a_lowered_rate_changes_no_level() {
    let rate_hz = 48_000.0;
    let mut x = noise(3, 10 * 48_000);
    for (i, v) in x.iter_mut().enumerate().skip(6 * 48_000) {
        let turn = 2.0 * std::f64::consts::PI * i as f64 / rate_hz;
        *v += 3.0 * libm::sin(150.0 * turn) + 300.0 * libm::sin((1600.0 - 130.0) * turn);
    }
    let stages = vec![
        Stage::Band {
            low_hz: 60.0,
            high_hz: 260.0,
            order: 4,
        },
        Stage::Spectrogram {
            window_s: 0.32,
            hop_s: Some(0.08),
        },
        Stage::Background {
            kind: BackgroundKind::Median,
            over_s: 5.0,
            guard_s: 0.0,
        },
        ridge(),
    ];
    let cells = cells(&Spec { rate_hz, stages }, &single(&x));
    assert_eq!(cells[0].end_sample - cells[0].begin_sample, 3840);
    let during = |cell: &&Cell| cell.begin_sample > 300_000 && cell.begin_sample < 360_000;
    let tone_db = 10.0 * libm::log10(4.5);
    let mut seen = 0;
    for cell in cells.iter().filter(during) {
        let strongest = cell.peaks.iter().next().unwrap();
        close(strongest.frequency_hz, 150.0, 0.4, "frequency");
        close(strongest.level_db, tone_db, 0.15, "level");
        for peak in cell.peaks.iter().skip(1) {
            assert!(peak.level_db < tone_db - 30.0, "{peak:?}");
        }
        seen += 1;
    }
    assert!(seen > 10);
}

#[test]
fn verif_silence_and_what_is_not_finite() {
    let document = truth::json("detect/scipy-frames.json");
    let case = &document["cases"][0];
    let spec = spec(&document, case, &[ridge()]);
    for cell in cells(&spec, &[0.0; 30_000]) {
        assert_eq!(cell.level_db, f64::NEG_INFINITY);
        assert_eq!((cell.background_db, cell.peaks.iter().count()), (None, 0));
    }
    let mut x = single(&noise(5, 30_000));
    x[20_000] = f32::NAN;
    let mut front = Front::new(&spec).unwrap();
    let mut told = Vec::new();
    let error = front.push(Block::new(0, &x), &mut told).unwrap_err();
    // The first frame that holds sample 20 000: 128 samples from 622 hops of 32 on.
    assert_eq!(
        error,
        detect::PushError::NotFinite {
            begin_sample: 19_904,
            end_sample: 20_032
        }
    );
    assert_eq!(told.last().unwrap().index, 621);
    front.gap();
    front.push(Block::new(0, &x[..5_000]), &mut told).unwrap();
}

#[test]
fn verif_what_a_spectrogram_path_refuses() {
    let document = truth::json("detect/scipy-frames.json");
    let made = |band_hz: (f64, f64), window_s: f64, rest: &[Stage]| {
        let mut spec = spec(&document, &document["cases"][0], rest);
        spec.stages[0] = Stage::Band {
            low_hz: band_hz.0,
            high_hz: band_hz.1,
            order: 4,
        };
        spec.stages[1] = Stage::Spectrogram {
            window_s,
            hop_s: None,
        };
        Detector::new(&spec).map(|_| ())
    };
    let contour = |points: &[(f64, f64)], width_hz: f64| Stage::Likeness {
        contour: points
            .iter()
            .map(|&(after_s, frequency_hz)| ContourPoint {
                after_s,
                frequency_hz,
            })
            .collect(),
        width_hz,
    };
    let band = (60.0, 260.0);
    assert_eq!(made(band, 0.128, &[ridge()]), Ok(()));
    assert!(matches!(
        made(band, 0.005, &[ridge()]),
        Err(SpecError::WindowTooFew { stage: 1, .. })
    ));
    assert!(matches!(
        made((100.0, 112.0), 0.128, &[ridge()]),
        Err(SpecError::TooFewCells { cells: 2, .. })
    ));
    let up = [(0.0, 80.0), (1.0, 200.0)];
    assert_eq!(
        made(band, 0.128, &[contour(&up, 24.0), trigger(6.0)]),
        Ok(())
    );
    assert!(matches!(
        made(band, 0.128, &[contour(&up, 5.0), trigger(6.0)]),
        Err(SpecError::ContourTooNarrow { stage: 3, .. })
    ));
    assert!(matches!(
        made(
            (63.0, 260.0),
            0.128,
            &[contour(&[(0.0, 63.5), (1.0, 200.0)], 8.0), trigger(6.0)]
        ),
        Err(SpecError::ContourOffCells { .. })
    ));
    assert!(matches!(
        made(
            band,
            0.128,
            &[contour(&[(0.0, 160.0), (1.0, 161.0)], 230.0), trigger(6.0)]
        ),
        Err(SpecError::ContourWithoutFlanks { .. })
    ));
    let to = |template: Vec<f32>| [Stage::LikenessTo { template }, trigger(6.0)];
    assert_eq!(made(band, 0.128, &to(template(1000.0))), Ok(()));
    assert!(matches!(
        made(band, 0.128, &to(template(1000.0)[..100].to_vec())),
        Err(SpecError::TemplateTooShort { least: 128, .. })
    ));
    assert!(matches!(
        made(band, 0.128, &to(template(1000.0).repeat(4000))),
        Err(SpecError::TemplateTooLarge { .. })
    ));
    // Without decimation, one click: equally loud at all frequencies of its one frame.
    let mut click = vec![0.0; 128];
    click[64] = 1.0;
    assert!(matches!(
        made(band, 0.128, &to(click)),
        Err(SpecError::TemplateFlat { .. })
    ));
}

/// Ten minutes of noise that in the middle is 20 dB louder for half a second: nothing on average, and no more for being loud.
#[test]
fn verif_a_likeness_is_zero_in_noise_however_loud() {
    let document = truth::json("detect/scipy-frames.json");
    let rate_hz = number(&document["rate_hz"]);
    let mut x = noise(21, 600 * rate_hz as usize);
    let loud = 300_000_u64..300_500;
    for v in &mut x[300_000..300_500] {
        *v *= 10.0;
    }
    let x = single(&x);
    let point = |after_s, frequency_hz| ContourPoint {
        after_s,
        frequency_hz,
    };
    for stage in [
        Stage::Likeness {
            contour: vec![point(0.0, 90.0), point(0.3, 190.0)],
            width_hz: 24.0,
        },
        Stage::LikenessTo {
            template: template(rate_hz),
        },
    ] {
        let spec = spec(&document, &document["cases"][0], &[stage, trigger(6.0)]);
        let cells = cells(&spec, &x);
        let values = |cells: &[Cell]| -> Vec<f64> {
            assert!(cells.iter().all(|c| c.background_db.is_none()));
            cells.iter().filter_map(|c| c.value_db).collect()
        };
        let all = values(&cells);
        let mean = all.iter().sum::<f64>() / all.len() as f64;
        let spread = (all.iter().map(|v| v * v).sum::<f64>() / all.len() as f64).sqrt();
        assert!(mean.abs() < 0.1, "{mean}");
        // The kernels reach up to 1.1 s back.
        let there =
            |c: &&Cell| c.begin_sample + 1_200 > loud.start && c.begin_sample < loud.end + 1_200;
        let during: Vec<Cell> = cells.iter().filter(there).copied().collect();
        let louder = during
            .iter()
            .map(|c| c.level_db)
            .fold(f64::NEG_INFINITY, f64::max);
        assert!(louder > cells[0].level_db + 10.0);
        for value in values(&during) {
            assert!(value.abs() < 5.0 * spread, "{value} dB, spread {spread}");
        }
    }
}
