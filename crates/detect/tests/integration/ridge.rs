//! Ridges: sweeps of known begin, end and slope, tones, crossings, and what noise alone gives.

use detect::{Cell, Detector, Event, Front, Logic, Notice, Reason, Sense, Spec, Stage, Told};
use signal::Block;

use crate::support::{noise, single, upcall_frames, upcall_ridge};

const RATE_HZ: f64 = 1000.0;

/// A sweep of steady amplitude: begin and length in s, from and to in Hz.
#[derive(Clone, Copy)]
struct Sweep {
    begin_s: f64,
    length_s: f64,
    hz: (f64, f64),
    amplitude: f64,
}

/// Noise of unit variance, 60 s, with sweeps.
fn sea(seed: u64, sweeps: &[Sweep]) -> Vec<f32> {
    let mut x = noise(seed, (60.0 * RATE_HZ) as usize);
    for s in sweeps {
        let begin = (s.begin_s * RATE_HZ) as usize;
        for i in 0..(s.length_s * RATE_HZ) as usize {
            let t_s = i as f64 / RATE_HZ;
            let turns = s.hz.0 * t_s + 0.5 * (s.hz.1 - s.hz.0) / s.length_s * t_s * t_s;
            x[begin + i] += s.amplitude * libm::sin(2.0 * std::f64::consts::PI * turns);
        }
    }
    single(&x)
}

fn detector(ridge: Stage) -> Spec {
    upcall_frames(RATE_HZ, detect::BackgroundKind::Median, vec![ridge])
}

fn ridge(change: impl Fn(&mut Ridge)) -> Stage {
    let mut ridge = Ridge {
        sense: Sense::Rising,
        above_db: 10.0,
        slopes: (30.0, 400.0),
        longest_s: Some(2.5),
        gap_s: 0.07,
        hold_off_s: 0.0,
    };
    change(&mut ridge);
    let Stage::Ridge { shortest_s, .. } = upcall_ridge() else {
        unreachable!()
    };
    Stage::Ridge {
        sense: ridge.sense,
        above_db: ridge.above_db,
        least_slope_hz_per_s: ridge.slopes.0,
        most_slope_hz_per_s: ridge.slopes.1,
        gap_s: ridge.gap_s,
        shortest_s,
        longest_s: ridge.longest_s,
        hold_off_s: ridge.hold_off_s,
    }
}

struct Ridge {
    sense: Sense,
    above_db: f64,
    slopes: (f64, f64),
    longest_s: Option<f64>,
    gap_s: f64,
    hold_off_s: f64,
}

fn told(spec: &Spec, x: &[f32]) -> Vec<Told> {
    let mut told = Vec::new();
    let mut detector = Detector::new(spec).unwrap();
    detector.push(Block::new(0, x), &mut told).unwrap();
    detector.finish(&mut told);
    told
}

fn events(told: &[Told]) -> Vec<Event> {
    told.iter()
        .filter_map(|t| match t.notice {
            Notice::Ended(event) => Some(event),
            _ => None,
        })
        .collect()
}

fn dropped(told: &[Told], why: Reason) -> usize {
    let wanted = |t: &&Told| matches!(t.notice, Notice::Dropped(_, reason) if reason == why);
    told.iter().filter(wanted).count()
}

/// Begin and end, s: half a window and the gap, over which a peak of the noise may hang on; slope, as a share of it.
const EDGE_S: f64 = 0.064 + 0.07;
const SLOPE: f64 = 0.10;

/// Slope of an event's line, Hz/s.
fn slope(event: &Event) -> f64 {
    let line = event.sweep.unwrap();
    (line.to_hz - line.from_hz) * RATE_HZ / (event.end_sample - event.begin_sample) as f64
}

#[track_caller]
fn found(event: &Event, sweep: &Sweep, edge_s: f64, share: f64) {
    let begin_s = event.begin_sample as f64 / RATE_HZ - sweep.begin_s;
    let end_s = event.end_sample as f64 / RATE_HZ - sweep.begin_s - sweep.length_s;
    let steepness = (sweep.hz.1 - sweep.hz.0) / sweep.length_s;
    assert!(begin_s.abs() < edge_s, "begins {begin_s} s off");
    assert!(end_s.abs() < edge_s, "ends {end_s} s off");
    let off = slope(event) / steepness - 1.0;
    assert!(off.abs() < share, "slope {off} off");
    // The line passes the sweep's own middle within a cell.
    let line = event.sweep.unwrap();
    let middle_hz = 0.5 * (line.from_hz + line.to_hz) - 0.5 * (sweep.hz.0 + sweep.hz.1);
    let late_s = 0.5 * (begin_s + end_s);
    assert!(
        (middle_hz - steepness * late_s).abs() < 7.9,
        "{middle_hz} Hz off"
    );
}

/// 1 dB over the noise of the whole band.
const LOUD: f64 = 1.0;

#[test]
fn verif_sweeps_are_found_where_they_are() {
    for seed in 1..=20 {
        for (hz, sense) in [
            ((85.0, 205.0), Sense::Rising),
            ((90.0, 150.0), Sense::Rising),
            ((210.0, 120.0), Sense::Falling),
            ((210.0, 120.0), Sense::Any),
        ] {
            let sweep = Sweep {
                begin_s: 40.0 + 0.0137 * seed as f64,
                length_s: 1.0,
                hz,
                amplitude: LOUD,
            };
            let spec = detector(ridge(|ridge| ridge.sense = sense));
            let told = told(&spec, &sea(seed, &[sweep]));
            let events = events(&told);
            assert_eq!(events.len(), 1, "{told:?}");
            found(&events[0], &sweep, EDGE_S, SLOPE);
            // The frequency against the sense is followed by a bin at most: nothing is told of it.
            let other = match sense {
                Sense::Rising => Sense::Falling,
                Sense::Falling | Sense::Any => Sense::Rising,
            };
            let spec = detector(ridge(|ridge| ridge.sense = other));
            assert!(self::events(&self::told(&spec, &sea(seed, &[sweep]))).is_empty());
        }
    }
}

#[test]
fn verif_a_tone_is_refused_by_its_slope() {
    let tone = Sweep {
        begin_s: 40.0,
        length_s: 1.5,
        hz: (150.0, 150.0),
        amplitude: LOUD,
    };
    let x = sea(3, &[tone]);
    let limited = told(&detector(upcall_ridge()), &x);
    assert!(events(&limited).is_empty());
    assert_eq!(dropped(&limited, Reason::WrongSlope), 1);
    // Without the least slope the very same ridge is an event: it is the limit that refuses it.
    let spec = detector(ridge(|ridge| {
        ridge.sense = Sense::Any;
        ridge.slopes.0 = 0.0;
    }));
    let events = events(&told(&spec, &x));
    assert_eq!(events.len(), 1);
    assert!(slope(&events[0]).abs() < 5.0);
}

#[test]
fn verif_sweeps_that_cross_are_two() {
    for seed in 1..=10 {
        let up = Sweep {
            begin_s: 40.0,
            length_s: 1.0,
            hz: (90.0, 210.0),
            amplitude: LOUD,
        };
        let down = Sweep {
            hz: (220.0, 100.0),
            ..up
        };
        // While they are closer than the window tells apart, for some 0.2 s, there is one peak.
        let spec = detector(ridge(|ridge| {
            ridge.sense = Sense::Any;
            ridge.gap_s = 0.25;
        }));
        let mut events = events(&told(&spec, &sea(seed, &[up, down])));
        events.sort_by(|a, b| slope(b).total_cmp(&slope(a)));
        assert_eq!(events.len(), 2, "seed {seed}: {events:?}");
        // A long gap also lets a peak of the noise hang on to either end.
        found(&events[0], &up, 0.25 + EDGE_S, 0.2);
        found(&events[1], &down, 0.25 + EDGE_S, 0.2);
    }
}

#[test]
fn verif_a_hold_off_tells_one_and_a_longest_refuses() {
    let first = Sweep {
        begin_s: 40.0,
        length_s: 1.0,
        hz: (90.0, 210.0),
        amplitude: LOUD,
    };
    let second = Sweep {
        begin_s: 44.0,
        ..first
    };
    let x = sea(2, &[first, second]);
    let count = |hold_off_s: f64, longest_s: f64| {
        let told = told(
            &detector(ridge(|ridge| {
                ridge.hold_off_s = hold_off_s;
                ridge.longest_s = Some(longest_s);
            })),
            &x,
        );
        (events(&told).len(), dropped(&told, Reason::TooLong))
    };
    assert_eq!(count(0.0, 2.5), (2, 0));
    // The second is over 4 s after the first.
    assert_eq!(count(4.2, 2.5), (1, 0));
    assert_eq!(count(3.8, 2.5), (2, 0));
    assert_eq!(count(0.0, 0.6), (0, 2));
}

#[test]
fn verif_a_bridged_gap_makes_one_of_two() {
    let part = |begin_s: f64, hz: (f64, f64)| Sweep {
        begin_s,
        length_s: 0.5,
        hz,
        amplitude: 2.0,
    };
    // 0.2 s unheard, longer than a window: two ridges, or one with a gap of 0.3 s.
    let x = sea(4, &[part(40.0, (80.0, 130.0)), part(40.7, (150.0, 200.0))]);
    assert_eq!(events(&told(&detector(upcall_ridge()), &x)).len(), 2);
    let bridged = detector(ridge(|ridge| ridge.gap_s = 0.3));
    let events = events(&told(&bridged, &x));
    assert_eq!(events.len(), 1);
    found(
        &events[0],
        &Sweep {
            begin_s: 40.0,
            length_s: 1.2,
            hz: (80.0, 200.0),
            amplitude: 2.0,
        },
        EDGE_S,
        SLOPE,
    );
}

/// Three and a half hours of noise. Upper limits by Garwood, 95 % one-sided.
#[test]
fn verif_false_alarms_in_noise() {
    let (mut cells, mut stretches) = (Vec::new(), Vec::new());
    let mut front = Front::new(&detector(upcall_ridge())).unwrap();
    let mut hours = 0.0;
    for seed in 100..340 {
        front
            .push(Block::new(0, &sea(seed, &[])), &mut cells)
            .unwrap();
        front.gap();
        let known = cells.iter().filter(|cell| cell.background_db.is_some());
        hours += known.count() as f64 * 0.032 / 3600.0;
        stretches.push(std::mem::take(&mut cells));
    }
    assert!(hours > 3.4, "{hours}");
    let count = |above_db: f64| {
        let mut logic = Logic::new(&detector(ridge(|ridge| ridge.above_db = above_db))).unwrap();
        let mut told = Vec::new();
        for cells in &stretches {
            for cell in cells {
                logic.push(cell, &mut told);
            }
            let last: &Cell = cells.last().unwrap();
            logic.gap(last.known_at_sample, &mut told);
        }
        events(&told).len() as u64
    };
    // At 10 dB, as above, no more than one an hour is supported.
    let (_, most) = chance::garwood(count(10.0), hours, 0.90).unwrap();
    assert!(most < 1.0, "{most} an hour");
    // The count falls with the threshold, and a low one has many: the check above can fail.
    let counts = [7.0, 8.0, 9.0].map(count);
    assert!(
        counts[0] > 50 && counts[0] > 5 * counts[1] && counts[1] >= counts[2],
        "{counts:?}"
    );
}

/// A narrow band has frames in which nothing stands out. Once the background is known every frame is decided on, whether or not
/// it has a peak; before, none.
#[test]
fn verif_a_frame_without_a_peak_is_decided_on() {
    let mut spec = detector(ridge(|_| {}));
    spec.stages[0] = Stage::Band {
        low_hz: 200.0,
        high_hz: 220.0,
        order: 4,
    };
    let mut front = Front::new(&spec).unwrap();
    let mut cells: Vec<Cell> = Vec::new();
    front.push(Block::new(0, &sea(5, &[])), &mut cells).unwrap();
    let first = cells.iter().position(|c| c.decidable).unwrap();
    assert!(first > 0 && cells[..first].iter().all(|c| c.background_db.is_none()));
    assert!(cells[first..].iter().all(|c| c.decidable));
    let bare = cells[first..].iter().filter(|c| c.background_db.is_none());
    assert!(bare.count() > 100);
}

/// The background of a ridge is that of the frequency of its first peak: here the median of white noise of unit variance under a Hann
/// window of 128 ms, whose cells have the mean 1.5 (2 / r) (r / 128) and, of the exponential kind, a median of ln 2 of that.
#[test]
fn verif_the_background_of_a_ridge_is_that_of_its_frequency() {
    let expected_db = 10.0 * libm::log10(1.5 * 2.0 / 128.0 * core::f64::consts::LN_2);
    for seed in 1..=5 {
        let sweep = Sweep {
            begin_s: 40.0,
            length_s: 1.0,
            hz: (90.0, 210.0),
            amplitude: LOUD,
        };
        let told = told(&detector(upcall_ridge()), &sea(seed, &[sweep]));
        let events = events(&told);
        assert!(!events.is_empty());
        for event in events {
            let background_db = event.background_db.unwrap();
            assert!(
                (background_db - expected_db).abs() < 2.0,
                "{background_db} for {expected_db}"
            );
        }
    }
}
