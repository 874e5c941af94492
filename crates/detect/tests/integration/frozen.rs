//! Events of this crate, frozen: whoever changes them raises [`detect::METHOD`], so that older evidence counts no longer.

use detect::{
    BackgroundKind, Confirm, ContourPoint, Detector, Feature, KOfN, LevelKind, Notice, Spec, Stage,
};
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

/// A trigger that bridges and counts as it is told.
fn trigger(on_above_db: f64, bridge_s: f64, k_of_n: Option<KOfN>) -> Stage {
    Stage::Trigger {
        on_above_db,
        off_below_db: on_above_db - 3.0,
        shortest_s: 0.0,
        longest_s: None,
        bridge_s,
        k_of_n,
        hold_off_s: 0.0,
        confirm: Confirm::AtEnd,
    }
}

/// Band and background of the up-call detector about other stages.
fn about(level: Stage, last: Vec<Stage>) -> Spec {
    let mut spec = upcall(RATE_HZ, Confirm::AtEnd);
    spec.stages[1] = level;
    spec.stages.pop();
    spec.stages.extend(last);
    spec
}

/// The same of the stages that look for a known sound, of exposure, and of what decides.
#[test]
fn regress_other_events_of_known_sounds_and_rules_are_another_method() {
    let x = upcalls();
    let template = |length: usize| {
        let mut call = vec![0.0; length];
        add_sweep(&mut call, RATE_HZ, 0, length, (80.0, 200.0), 1.0);
        single(&call)
    };
    let matched = |length: usize, hop: usize| Stage::Matched {
        template: template(length),
        hop_s: Some(hop as f64 / RATE_HZ),
    };
    let level = || upcall(RATE_HZ, Confirm::AtEnd).stages.remove(1);
    let exposure = Stage::Exposure {
        window_s: 0.5,
        hop_s: Some(0.125),
    };
    let k_of_n = KOfN {
        at_least: 3,
        of_last: 5,
    };
    let likely = Stage::Likely {
        at_least: 0.5,
        constant: -6.0,
        weights: vec![(Feature::Excess, 0.5), (Feature::Length, 2.0)],
    };
    let like = Stage::LikenessTo {
        template: template(2000),
    };
    let found: [Counts; 7] = [
        // Few taps and small steps are summed place by place, many taps and large steps by transforms.
        counts(&about(matched(200, 25), vec![trigger(9.0, 0.0, None)]), &x),
        counts(
            &about(matched(2000, 1000), vec![trigger(6.0, 0.0, None)]),
            &x,
        ),
        counts(
            &upcall_frames(
                RATE_HZ,
                BackgroundKind::Median,
                vec![like, likeness_trigger()],
            ),
            &x,
        ),
        counts(&about(exposure, vec![trigger(5.0, 0.0, None)]), &x),
        counts(&about(level(), vec![trigger(4.0, 0.0, None), likely]), &x),
        counts(&about(level(), vec![trigger(4.0, 0.0, Some(k_of_n))]), &x),
        counts(&about(level(), vec![trigger(6.0, 0.4, None)]), &x),
    ];
    assert_eq!(
        (detect::METHOD, found),
        (
            1,
            [
                (28, 3_483_483, 3_509_883, 443_835),
                (25, 3_298_400, 3_323_400, 614_956),
                (27, 3_340_288, 3_355_840, 472_055),
                (24, 3_242_808, 3_289_558, 272_993),
                (19, 2_947_276, 2_983_401, 251_695),
                (25, 3_279_850, 3_324_725, 291_091),
                (23, 3_203_867, 3_240_367, 280_907)
            ]
        ),
        "the same sounds give other events: raise `detect::METHOD` and freeze the new counts"
    );
}
