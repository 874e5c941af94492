//! Events of this crate, frozen: whoever changes them raises [`detect::METHOD`], so that older evidence counts no longer.

use detect::{BackgroundKind, Confirm, ContourPoint, Detector, LevelKind, Notice, Spec, Stage};
use signal::Block;

use crate::support::{
    add_click, add_sweep, clicks, likeness_trigger, noise, single, upcall, upcall_frames,
    upcall_ridge,
};

const RATE_HZ: f64 = 2000.0;
const SECONDS: usize = 120;
const EVERY: usize = 8000;

/// Events, and the sums of their first and last samples and of their scores, thousandths of a decibel.
type Counts = (usize, u64, u64, i64);

fn events(spec: &Spec, x: &[f32]) -> Vec<detect::Event> {
    let mut detector = Detector::new(spec).unwrap();
    let mut told = Vec::new();
    detector.push(Block::new(0, x), &mut told).unwrap();
    detector.finish(&mut told);
    told.iter()
        .filter_map(|t| match t.notice {
            Notice::Ended(event) => Some(event),
            _ => None,
        })
        .collect()
}

fn counts(spec: &Spec, x: &[f32]) -> Counts {
    let all = events(spec, x);
    let score_mdb = |e: &detect::Event| (1000.0 * e.score_db).round() as i64;
    (
        all.len(),
        all.iter().map(|e| e.begin_sample).sum(),
        all.iter().map(|e| e.end_sample).sum(),
        all.iter().map(score_mdb).sum(),
    )
}

/// Upsweeps of rising loudness in noise, every four seconds.
fn upcalls() -> Vec<f32> {
    let mut x = noise(11, SECONDS * RATE_HZ as usize);
    for call in 0..x.len() / EVERY - 1 {
        let amplitude_upa = 0.3 + 0.15 * call as f64;
        add_sweep(
            &mut x,
            RATE_HZ,
            call * EVERY + 3000,
            2000,
            (80.0, 200.0),
            amplitude_upa,
        );
    }
    single(&x)
}

fn trains() -> Vec<f32> {
    let rate_hz = clicks().rate_hz;
    let mut x = noise(12, 3 * rate_hz as usize);
    for click in 0..40 {
        // In groups of ten with a pause.
        let at_s = 0.8 + 0.03 * f64::from(click) + 0.25 * f64::from(click / 10);
        let centre = (at_s * rate_hz) as usize;
        let amplitude_upa = 6.0 + 0.4 * f64::from(click % 10);
        add_click(&mut x, rate_hz, centre, 25_000.0, 0.000_2, amplitude_upa);
    }
    single(&x)
}

#[test]
fn regress_other_events_are_another_method() {
    let x = upcalls();
    let mut exponential = upcall(RATE_HZ, Confirm::Early);
    exponential.stages[1] = Stage::Level {
        kind: LevelKind::Exponential,
        window_s: 0.25,
        hop_s: None,
    };
    exponential.stages[2] = Stage::Background {
        kind: BackgroundKind::Mean,
        over_s: 20.0,
        guard_s: 1.0,
    };
    let exponential = exponential.with_threshold_db(4.0).unwrap();
    let contour = [(0.0, 80.0), (1.0, 200.0)].map(|(after_s, frequency_hz)| ContourPoint {
        after_s,
        frequency_hz,
    });
    let likeness = Stage::Likeness {
        contour: contour.to_vec(),
        width_hz: 30.0,
    };
    let ranked = BackgroundKind::Ordered { rank: 0.6 };
    let found: [Counts; 5] = [
        counts(&upcall(RATE_HZ, Confirm::AtEnd), &x),
        counts(&exponential, &x),
        counts(
            &upcall_frames(RATE_HZ, BackgroundKind::Median, vec![upcall_ridge()]),
            &x,
        ),
        counts(
            &upcall_frames(RATE_HZ, ranked, vec![likeness, likeness_trigger()]),
            &x,
        ),
        counts(&clicks(), &trains()),
    ];
    assert_eq!(
        (detect::METHOD, found),
        (
            1,
            [
                (6, 908_574, 916_699, 78_370),
                (8, 1_021_561, 1_035_561, 54_884),
                (27, 3_324_768, 3_370_848, 665_592),
                (27, 3_342_272, 3_354_432, 363_338),
                (4, 623_948, 727_724, 57_933)
            ]
        ),
        "the same sounds give other events: raise `detect::METHOD` and freeze the new counts"
    );
}
