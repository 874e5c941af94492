//! The detector against a second program written from the rules (`reference/make/detect_twin.py`, SciPy 1.17.1).

use detect::{Cell, Confirm, Detector, Event, Front, Logic, Notice, Reason, Spec, Stage, Told};
use serde_json::Value;
use signal::Block;

use crate::support::{add_click, add_sweep, clicks, noise, single, upcall};

/// Band levels after decimation, dB: the bilinear transform bends the skirts more at the lower rate (5333 Hz against 48 kHz).
const LEVEL_DB: f64 = 0.01;
/// Same filter, same windows: what is left is the single precision of the band samples, dB.
const SAME_DB: f64 = 1e-5;

fn twin() -> Value {
    truth::json("detect/scipy-events.json")
}

fn number(value: &Value, key: &str) -> f64 {
    value[key]
        .as_f64()
        .unwrap_or_else(|| panic!("{key} is a number"))
}

fn calls_sound(case: &Value) -> Vec<f32> {
    let rate_hz = number(case, "rate_hz");
    let seconds = number(case, "seconds");
    let mut x: Vec<f64> = noise(case["seed"].as_u64().unwrap(), (rate_hz * seconds) as usize);
    for v in &mut x {
        *v *= 1000.0;
    }
    for sound in case["sounds"].as_array().unwrap() {
        let s: Vec<f64> = sound
            .as_array()
            .unwrap()
            .iter()
            .map(|v| v.as_f64().unwrap())
            .collect();
        if s[0] + s[1] < seconds {
            let (begin, length) = (
                (s[0] * rate_hz).round() as usize,
                (s[1] * rate_hz).round() as usize,
            );
            add_sweep(
                &mut x,
                rate_hz,
                begin,
                length,
                (s[2], s[3]),
                s[4] / number(case, "amplitude_scale"),
            );
        }
    }
    single(&x)
}

fn run(spec: &Spec, x: &[f32]) -> (Vec<Cell>, Vec<Told>) {
    let mut front = Front::new(spec).unwrap();
    let mut logic = Logic::new(spec).unwrap();
    let (mut cells, mut told) = (Vec::new(), Vec::new());
    front.push(Block { first: 0, x }, &mut cells).unwrap();
    for cell in &cells {
        logic.push(cell, &mut told);
    }
    let mut whole = Vec::new();
    let mut detector = Detector::new(spec).unwrap();
    detector.push(Block { first: 0, x }, &mut whole).unwrap();
    assert_eq!(whole, told, "front and logic apart and together");
    (cells, told)
}

fn events(told: &[Told]) -> Vec<Event> {
    told.iter()
        .filter_map(|t| {
            if let Notice::Ended(event) = t.notice {
                Some(event)
            } else {
                None
            }
        })
        .collect()
}

fn near(what: &str, ours: f64, theirs: f64, tolerance: f64) {
    assert!(
        (ours - theirs).abs() <= tolerance,
        "{what}: {ours} against {theirs}, tolerance {tolerance}"
    );
}

fn compare_cells(case: &Value, cells: &[Cell], level_db: f64) {
    // The twin stops at the last whole window too; a decimator needs a little more to know its last cells.
    let theirs = case["cells"].as_u64().unwrap() as usize;
    assert!(
        cells.len() == theirs || cells.len() + 1 == theirs,
        "{} cells against {theirs}",
        cells.len()
    );
    let kept = case["some_cells_db"].as_object().unwrap();
    assert!(kept.len() >= 10);
    for (index, pair) in kept {
        let cell = &cells[index.parse::<usize>().unwrap()];
        near("level", cell.level_db, pair[0].as_f64().unwrap(), level_db);
        assert_eq!(
            cell.background_db.is_some(),
            pair[1].is_number(),
            "background known at cell {index}"
        );
        if let Some(background_db) = cell.background_db {
            near(
                "background",
                background_db,
                pair[1].as_f64().unwrap(),
                level_db,
            );
        }
    }
}

fn compare_events(case: &Value, ours: &[Event], level_db: f64, samples: f64) {
    let theirs = case["events"].as_array().unwrap();
    assert_eq!(ours.len(), theirs.len());
    assert!(ours.len() >= 2);
    for (event, twin) in ours.iter().zip(theirs) {
        near(
            "begin",
            event.begin_sample as f64,
            number(twin, "begin_sample"),
            samples,
        );
        near(
            "end",
            event.end_sample as f64,
            number(twin, "end_sample"),
            samples,
        );
        near(
            "peak",
            event.peak_level_db,
            number(twin, "peak_level_db"),
            level_db,
        );
        near(
            "mean",
            event.mean_level_db,
            number(twin, "mean_level_db"),
            level_db,
        );
        near(
            "background",
            event.background_db.unwrap(),
            number(twin, "background_db"),
            level_db,
        );
        // An excess is the difference of two levels.
        near(
            "score",
            event.score_db,
            number(twin, "score_db"),
            2.0 * level_db,
        );
    }
}

fn compare_told(case: &Value, told: &[Told], samples: f64) {
    let theirs = case["told"].as_array().unwrap();
    assert_eq!(told.len(), theirs.len());
    for (ours, twin) in told.iter().zip(theirs) {
        let (word, reason) = match ours.notice {
            Notice::Onset(_) => ("onset", None),
            Notice::Confirmed(_) => ("confirmed", None),
            Notice::Ended(_) => ("ended", None),
            Notice::Dropped(_, Reason::TooShort) => ("dropped", Some("too-short")),
            Notice::Dropped(_, Reason::TooLong) => ("dropped", Some("too-long")),
            other => panic!("not in these recordings: {other:?}"),
        };
        assert_eq!(twin["notice"].as_str().unwrap(), word);
        assert_eq!(twin["reason"].as_str(), reason);
        assert_eq!(twin["id"].as_u64().unwrap(), ours.notice.id().0);
        near(
            "known at",
            ours.known_at_sample as f64,
            number(twin, "known_at_sample"),
            samples,
        );
    }
}

#[test]
fn val_upcalls_and_notices_equal_the_scipy_twin() {
    let twin = twin();
    for (key, confirm) in [
        ("calls_early", Confirm::Early),
        ("calls_at_end", Confirm::AtEnd),
    ] {
        let case = &twin[key];
        let (cells, told) = run(
            &upcall(number(case, "rate_hz"), confirm),
            &calls_sound(case),
        );
        compare_cells(case, &cells, SAME_DB);
        compare_told(case, &told, 0.0);
        compare_events(case, &events(&told), SAME_DB, 0.0);
    }
}

#[test]
fn val_upcalls_after_decimation_equal_the_scipy_twin_within_a_cell() {
    let twin = twin();
    let case = &twin["calls_48k"];
    let spec = upcall(number(case, "rate_hz"), Confirm::Early);
    let (cells, told) = run(&spec, &calls_sound(case));
    let cell = Front::new(&spec).unwrap().cell_samples() as f64;
    // 5333.3 Hz after decimation by 9: a quarter of 0.25 s is 333 of its samples.
    assert_eq!(cell, 2997.0);
    compare_cells(case, &cells, LEVEL_DB);
    compare_told(case, &told, cell);
    compare_events(case, &events(&told), LEVEL_DB, cell);
}

#[test]
fn val_click_trains_equal_the_scipy_twin() {
    let twin = twin();
    let case = &twin["clicks"];
    let rate_hz = number(case, "rate_hz");
    let mut x = noise(
        case["seed"].as_u64().unwrap(),
        (rate_hz * number(case, "seconds")) as usize,
    );
    for v in &mut x {
        *v *= 100.0;
    }
    for click in case["clicks"].as_array().unwrap() {
        let (centre, amplitude_upa) = (
            click[0].as_u64().unwrap() as usize,
            click[1].as_f64().unwrap(),
        );
        add_click(
            &mut x,
            rate_hz,
            centre,
            number(case, "click_hz"),
            number(case, "click_width_s"),
            amplitude_upa,
        );
    }
    let (cells, told) = run(&clicks(), &single(&x));
    compare_cells(case, &cells, SAME_DB);
    let ours = events(&told);
    compare_events(case, &ours, SAME_DB, 0.0);
    for (event, twin) in ours.iter().zip(case["events"].as_array().unwrap()) {
        assert_eq!(
            u64::from(event.pulses.unwrap()),
            twin["pulses"].as_u64().unwrap()
        );
    }
    for setting in case["missed"].as_array().unwrap() {
        let mut spec = clicks();
        if let Stage::Pulses {
            min_interval_s,
            max_interval_s,
            at_least,
            of_last,
            within_s,
            ..
        } = &mut spec.stages[3]
        {
            *min_interval_s = number(setting, "min_interval_s");
            *max_interval_s = number(setting, "max_interval_s");
            *at_least = number(setting, "at_least") as u32;
            *of_last = Some(number(setting, "of_last") as u32);
            *within_s = None;
        }
        let (_, told) = run(&spec, &single(&x));
        let ours = events(&told);
        let theirs = setting["events"].as_array().unwrap();
        assert_eq!(ours.len(), theirs.len(), "{setting}");
        for (event, twin) in ours.iter().zip(theirs) {
            let own = (
                event.begin_sample,
                event.end_sample,
                u64::from(event.pulses.unwrap()),
            );
            let of = |key: &str| twin[key].as_u64().unwrap();
            assert_eq!(
                own,
                (of("begin_sample"), of("end_sample"), of("pulses")),
                "{setting}"
            );
        }
    }
    // The lone click, and the pair that is too far apart, come to nothing: three trains of one pulse.
    let dropped = told
        .iter()
        .filter(|t| matches!(t.notice, Notice::Dropped(_, Reason::TooFewPulses)))
        .count();
    assert_eq!(dropped, 3);
}
