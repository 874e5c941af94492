//! The further stages of the level path against a second program (`reference/make/detect_stages.py`, SciPy 1.17.1).

use detect::{
    BackgroundKind, Cell, Confirm, Detector, Front, KOfN, LevelKind, Notice, Reason, Spec, Stage,
    Told,
};
use serde_json::Value;
use signal::Block;

use crate::support::{add_click, add_sweep, clicks, noise, single, upcall};

/// Same filter, same windows: what is left is the single precision of the samples, of which energies of neighbours are
/// differences, dB.
const LEVEL_DB: f64 = 1e-4;
/// The ends of the filtered template that are left out hold 2e-4 of its energy; share of the template's own power.
const POWER: f64 = 2e-3;

fn twin() -> Value {
    truth::json("detect/scipy-stages.json")
}

fn sound(twin: &Value) -> Vec<f32> {
    let rate_hz = twin["rate_hz"].as_f64().unwrap();
    let seconds = twin["seconds"].as_f64().unwrap();
    let mut x: Vec<f64> = noise(twin["seed"].as_u64().unwrap(), (rate_hz * seconds) as usize)
        .iter()
        .map(|v| 1000.0 * v)
        .collect();
    for sound in twin["sounds"].as_array().unwrap() {
        let s: Vec<f64> = (0..5).map(|i| sound[i].as_f64().unwrap()).collect();
        let samples = |seconds: f64| (seconds * rate_hz).round() as usize;
        add_sweep(
            &mut x,
            rate_hz,
            samples(s[0]),
            samples(s[1]),
            (s[2], s[3]),
            s[4],
        );
    }
    single(&x)
}

fn cells(spec: &Spec, x: &[f32]) -> Vec<Cell> {
    let mut cells = Vec::new();
    Front::new(spec)
        .unwrap()
        .push(Block { first: 0, x }, &mut cells)
        .unwrap();
    cells
}

fn told(spec: &Spec, x: &[f32]) -> Vec<Told> {
    let mut told = Vec::new();
    let mut detector = Detector::new(spec).unwrap();
    detector.push(Block { first: 0, x }, &mut told).unwrap();
    detector.finish(&mut told);
    told
}

fn near(what: &str, ours: f64, theirs: f64, tolerance: f64) {
    assert!(
        (ours - theirs).abs() <= tolerance,
        "{what}: {ours} against {theirs}, tolerance {tolerance}"
    );
}

/// The up-call detector with a guarded background.
fn guarded(kind: BackgroundKind) -> Spec {
    let mut spec = upcall(2000.0, Confirm::AtEnd);
    spec.stages[2] = Stage::Background {
        kind,
        over_s: 20.0,
        guard_s: 1.0,
    };
    spec
}

#[test]
fn val_teager_kaiser_levels_equal_the_scipy_twin() {
    let twin = twin();
    let mut spec = upcall(2000.0, Confirm::AtEnd);
    spec.stages[1] = Stage::Level {
        kind: LevelKind::TeagerKaiser,
        window_s: 0.25,
        hop_s: Some(0.0625),
    };
    let cells = cells(&spec, &sound(&twin));
    let case = &twin["energies"];
    let first = case["first_cell"].as_u64().unwrap();
    assert_eq!(cells[0].index, first);
    assert_eq!(cells.len() as u64, case["cells"].as_u64().unwrap());
    let kept = case["some_db"].as_object().unwrap();
    assert!(kept.len() > 20);
    for (index, level_db) in kept {
        let cell = &cells[index.parse::<usize>().unwrap()];
        near("level", cell.level_db, level_db.as_f64().unwrap(), LEVEL_DB);
        // The energy of the last sample of the window needs the one after it.
        assert_eq!(cell.known_at_sample, cell.index * 125 + 500);
    }
}

#[test]
fn val_matched_filter_equals_the_scipy_twin_place_by_place() {
    let twin = twin();
    let mut call = vec![0.0; 1800];
    add_sweep(&mut call, 2000.0, 0, 1800, (90.0, 170.0), 1.0);
    let mut spec = upcall(2000.0, Confirm::AtEnd);
    spec.stages.truncate(2);
    spec.stages[1] = Stage::Matched {
        template: single(&call),
        // One place a cell.
        hop_s: Some(0.0005),
    };
    spec.stages
        .push(upcall(2000.0, Confirm::AtEnd).stages.remove(3));
    let cells = cells(&spec, &sound(&twin));
    let case = &twin["matched"];
    let at = |place: u64| {
        let begin = place + call.len() as u64 / 2;
        let index = (begin - cells[0].begin_sample) as usize;
        assert_eq!(cells[index].begin_sample, begin);
        cells[index].power
    };
    let highest = at(case["highest"].as_u64().unwrap());
    assert!(cells.iter().all(|c| c.power <= highest * 1.001));
    let kept = case["some_power"].as_array().unwrap();
    assert!(kept.len() > 80);
    for pair in kept {
        let theirs = pair[1].as_f64().unwrap();
        let ours = at(pair[0].as_u64().unwrap());
        // Amplitudes differ by up to the share that is left out of the greatest one near by.
        near("power", ours.sqrt(), theirs.sqrt(), POWER * highest.sqrt());
    }
}

#[test]
fn val_guarded_backgrounds_equal_the_scipy_twin() {
    let twin = twin();
    let x = sound(&twin);
    let rank = twin["backgrounds"]["rank"].as_f64().unwrap();
    for (kind, key) in [
        (BackgroundKind::Ordered { rank }, "some_ordered_db"),
        (BackgroundKind::Mean, "some_mean_db"),
    ] {
        let cells = cells(&guarded(kind), &x);
        let kept = twin["backgrounds"][key].as_object().unwrap();
        assert!(kept.len() > 20);
        for (index, theirs) in kept {
            let ours = cells[index.parse::<usize>().unwrap()].background_db;
            match theirs.as_f64() {
                Some(theirs) => near(key, ours.unwrap(), theirs, LEVEL_DB),
                None => assert_eq!(ours, None, "background known at cell {index}"),
            }
        }
    }
}

#[test]
fn val_bridged_k_of_n_notices_equal_the_scipy_twin() {
    let twin = twin();
    let case = &twin["trigger"];
    let number = |key: &str| case["setting"][key].as_f64().unwrap();
    let mut spec = guarded(BackgroundKind::Ordered { rank: 0.75 });
    spec.stages[3] = Stage::Trigger {
        on_above_db: number("on_above_db"),
        off_below_db: number("off_below_db"),
        shortest_s: number("shortest_s"),
        longest_s: Some(number("longest_s")),
        bridge_s: number("bridge_s"),
        k_of_n: Some(KOfN {
            at_least: number("at_least") as u32,
            of_last: number("of_last") as u32,
        }),
        hold_off_s: number("hold_off_s"),
        confirm: Confirm::AtEnd,
    };
    let x = sound(&twin);
    let ours = told(&spec, &x);
    let theirs = case["told"].as_array().unwrap();
    let words: Vec<_> = ours
        .iter()
        .map(|t| (word(&t.notice), t.known_at_sample))
        .collect();
    let expected: Vec<_> = theirs
        .iter()
        .map(|t| {
            let notice = t["notice"].as_str().unwrap();
            let reason = t["reason"]
                .as_str()
                .map_or(String::new(), |r| format!(" {r}"));
            let times = match notice {
                "ended" => format!(" {}..{}", t["begin_sample"], t["end_sample"]),
                _ => String::new(),
            };
            let id = &t["id"];
            (
                format!("{notice} {id}{reason}{times}"),
                t["known_at_sample"].as_u64().unwrap(),
            )
        })
        .collect();
    assert_eq!(words, expected);
    assert!(expected.iter().any(|(w, _)| w.contains("too-long")));
    assert!(expected.iter().any(|(w, _)| w.contains("too-short")));
    // Red: without bridging, or without k of n, other notices come out.
    for change in [0, 1] {
        let mut other = spec.clone();
        if let Stage::Trigger {
            bridge_s, k_of_n, ..
        } = &mut other.stages[3]
        {
            match change {
                0 => *bridge_s = 0.0,
                _ => *k_of_n = None,
            }
        }
        assert_ne!(told(&other, &x), ours);
    }
}

fn word(notice: &Notice) -> String {
    let id = notice.id().0;
    match notice {
        Notice::Onset(_) => format!("onset {id}"),
        Notice::Confirmed(_) => format!("confirmed {id}"),
        Notice::Ended(e) => format!("ended {id} {}..{}", e.begin_sample, e.end_sample),
        Notice::Dropped(_, Reason::TooShort) => format!("dropped {id} too-short"),
        Notice::Dropped(_, Reason::TooLong) => format!("dropped {id} too-long"),
        other => panic!("not in these recordings: {other:?}"),
    }
}

#[test]
fn val_steady_trains_equal_the_scipy_twin() {
    let twin = twin();
    let case = &truth::json("detect/scipy-events.json")["clicks"];
    let rate_hz = case["rate_hz"].as_f64().unwrap();
    let samples = (rate_hz * case["seconds"].as_f64().unwrap()) as usize;
    let mut x: Vec<f64> = noise(case["seed"].as_u64().unwrap(), samples)
        .iter()
        .map(|v| 100.0 * v)
        .collect();
    for click in case["clicks"].as_array().unwrap() {
        let (centre, amplitude) = (click[0].as_u64().unwrap(), click[1].as_f64().unwrap());
        let width_s = case["click_width_s"].as_f64().unwrap();
        add_click(
            &mut x,
            rate_hz,
            centre as usize,
            24_000.0,
            width_s,
            amplitude,
        );
    }
    let x = single(&x);
    let settings = twin["steady"].as_array().unwrap();
    for setting in settings {
        let mut spec = clicks();
        if let Stage::Pulses {
            at_least,
            within_s,
            steady,
            ..
        } = &mut spec.stages[3]
        {
            *at_least = setting["at_least"].as_u64().unwrap() as u32;
            *steady = setting["steady"].as_f64();
            *within_s = None;
        }
        let told = told(&spec, &x);
        let ours: Vec<_> = told
            .iter()
            .filter_map(|t| match t.notice {
                Notice::Ended(event) => Some(event),
                _ => None,
            })
            .collect();
        let theirs = setting["trains"].as_array().unwrap();
        assert_eq!(ours.len(), theirs.len());
        for (event, twin) in ours.iter().zip(theirs) {
            assert_eq!(event.begin_sample, twin["begin_sample"].as_u64().unwrap());
            let pulses = u64::from(event.pulses.unwrap());
            assert_eq!(pulses, twin["pulses"].as_u64().unwrap());
            let intervals = event.intervals.unwrap();
            near(
                "mean",
                intervals.mean_s,
                twin["mean_s"].as_f64().unwrap(),
                1e-12,
            );
            near(
                "spread",
                intervals.spread,
                twin["spread"].as_f64().unwrap(),
                1e-12,
            );
        }
    }
    let trains = |i: usize| settings[i]["trains"].as_array().unwrap().len();
    assert!(trains(0) > trains(1), "steadiness makes a difference");
}
