use super::*;
use chance::Stream;
use mooring::{TideCourse, TideSpeeds};

use crate::hours::strums::{joined, slots_that_strum};

const YEAR_S: f64 = 8760.0 * 3600.0;

fn tide() -> TideCourse {
    let mut course = TideCourse::default();
    course.fill(SLOTS * HOURS, 1.0 / SLOTS as f64, [0.2, 0.4]);
    course
}

fn strum() -> StrumRun {
    StrumRun {
        tide: TideSpeeds {
            spring_m_s: 1.2,
            neap_m_s: 0.6,
            steady_m_s: 0.0,
        },
        loud_m_s: vec![(0.9, 1.8), (0.45, 0.9)],
    }
}

fn year(ears: &[EarRun], tracks: &Tracks<'_>, course: &TideCourse) -> JointYear {
    let of = |ear: &EarRun| slots_that_strum(&ear.strum, course);
    let slots: Vec<Vec<u8>> = ears.iter().map(of).collect();
    let tracks = Tracks {
        slots: &slots,
        ..*tracks
    };
    super::year(ears, &tracks)
}

/// Ranges that overlap or touch hold the same speeds when they are joined.
#[test]
fn verif_joined_ranges_hold_the_same_speeds() {
    let mut draws = Stream::named(3, "ranges", 0);
    for _ in 0..200 {
        let ranges: Vec<(f64, f64)> = (0..6)
            .map(|_| {
                let low = (10.0 * draws.uniform()).floor() / 10.0;
                (low, low + (4.0 * draws.uniform()).floor() / 10.0)
            })
            .collect();
        let fewer = joined(&ranges);
        assert!(fewer.windows(2).all(|w| w[0].1 < w[1].0));
        for step in 0..200 {
            let speed = f64::from(step) / 100.0;
            let within = |all: &[(f64, f64)]| all.iter().any(|(a, b)| speed >= *a && speed < *b);
            assert_eq!(within(&ranges), within(&fewer), "{ranges:?} at {speed}");
        }
    }
}

fn off_at(hours: &[usize]) -> Vec<bool> {
    let mut off = vec![false; HOURS];
    for hour in hours {
        off[*hour] = true;
    }
    off
}

fn lost_s(year: &EarYear) -> f64 {
    YEAR_S - year.heard_s.iter().sum::<f64>()
}

/// One cause at a time takes what is counted of it by itself: hours off, starts after each, hours of wind beyond a limit, slots of the tide, hours beyond what a clock holds.
#[test]
fn verif_one_cause_alone_is_its_own_count() {
    let off = vec![
        off_at(&[10, 11, 12, 500, 8759]),
        off_at(&[100, 101, 102, 103]),
    ];
    let wind: Vec<f64> = (0..HOURS).map(|h| (h % 20) as f64).collect();
    let course = tide();
    let tracks = Tracks {
        off: &off,
        wind_m_s: &wind,
        slots: &[],
        first_hour: 0,
    };
    let run = |ear: EarRun| {
        let found = year(&[ear], &tracks, &course);
        let [one] = found.ears.as_slice() else {
            panic!()
        };
        assert!((lost_s(one) - one.alone_s.iter().sum::<f64>()).abs() < 1e-6);
        assert_eq!(one.alone_s, one.only_s);
        assert_eq!(one.heard_s, found.at_once[0].heard_s);
        assert!((one.gap_s - found.at_once[0].gap_s).abs() < 1e-9);
        one.clone()
    };
    let powered = run(EarRun {
        power: Some(0),
        ..EarRun::default()
    });
    assert_eq!(powered.alone_s[Cause::Power as usize], 5.0 * 3600.0);
    assert_eq!(powered.gap_s, 3.0 * 3600.0);
    // Started twice within the year; what comes on after its end is not in it.
    let found = year(
        &[EarRun {
            power: Some(0),
            start_s: 5000.0,
            ..EarRun::default()
        }],
        &tracks,
        &course,
    );
    assert_eq!(found.ears[0].alone_s[Cause::Starting as usize], 10_000.0);
    assert_eq!(found.ears[0].gap_s, 3.0 * 3600.0 + 5000.0);
    let pathed = run(EarRun {
        path: vec![(1, 90.0)],
        ..EarRun::default()
    });
    assert_eq!(pathed.alone_s[Cause::Path as usize], 4.0 * 3600.0 + 90.0);
    let clocked = run(EarRun {
        clock: Some((1, 2.5)),
        ..EarRun::default()
    });
    assert_eq!(clocked.alone_s[Cause::Clock as usize], 2.0 * 3600.0);
    let clipped = run(EarRun {
        clips_above_m_s: Some([17.5; 12]),
        ..EarRun::default()
    });
    assert_eq!(clipped.alone_s[Cause::Heave as usize], 2.0 * 3600.0 * 438.0);
    let strummed = run(EarRun {
        strum: vec![strum()],
        ..EarRun::default()
    });
    // A quarter of every slot, whatever else: 438 h and more of a year in all.
    let drowned = run(EarRun {
        drowned: 0.25,
        ..EarRun::default()
    });
    assert!((drowned.alone_s[Cause::PickUp as usize] - 0.25 * YEAR_S).abs() < 1e-5);
    // For how long at a stretch is not known: it is no part of the time without.
    assert_eq!(drowned.gap_s, 0.0);
    let all = run(EarRun {
        drowned: 1.0,
        drowned_least: 1.0,
        ..EarRun::default()
    });
    assert_eq!(all.gap_s, YEAR_S);
    let slots = course
        .both
        .iter()
        .filter(|b| (0.45..1.8).contains(&strum().tide.speed_m_s(**b)));
    assert_eq!(
        strummed.alone_s[Cause::Strum as usize],
        600.0 * slots.count() as f64
    );
}

/// All causes at once: of each what it takes by itself is what it takes without the others, and what is lost lies between the largest and the sum of these
/// (Frechet); k at once is heard no less than k + 1, and one of one is that one. Random outages, starts and limits, by a second count in steps of one second of chosen hours.
#[test]
fn verif_causes_at_once_lie_between_the_bounds() {
    let mut draws = Stream::named(3, "hours-joint", 0);
    let course = tide();
    for case in 0..12 {
        let random_off = |share: f64, draws: &mut Stream| -> Vec<bool> {
            let mut on = true;
            (0..HOURS)
                .map(|_| {
                    if draws.uniform() < 0.1 {
                        on = draws.uniform() > share;
                    }
                    !on
                })
                .collect()
        };
        let off = vec![random_off(0.2, &mut draws), random_off(0.3, &mut draws)];
        let wind: Vec<f64> = (0..HOURS).map(|_| 20.0 * draws.uniform()).collect();
        let tracks = Tracks {
            off: &off,
            wind_m_s: &wind,
            slots: &[],
            first_hour: 731 * case,
        };
        let ear = |start_s: f64| EarRun {
            power: Some(0),
            start_s,
            path: vec![(1, 250.0)],
            clock: Some((1, 3.0)),
            clips_above_m_s: Some([16.0; 12]),
            strum: vec![strum()],
            drowned: 0.1,
            drowned_least: 0.1,
        };
        let ears = [
            ear(700.0),
            ear(4000.5),
            EarRun {
                power: Some(1),
                start_s: 30.0,
                ..EarRun::default()
            },
        ];
        let found = year(&ears, &tracks, &course);
        for (one, ear) in found.ears.iter().zip(&ears) {
            let lost = lost_s(one);
            let largest = one.alone_s.iter().copied().fold(0.0, f64::max);
            let sum: f64 = one.alone_s.iter().sum();
            assert!(
                lost >= largest - 1e-6 && lost <= sum.min(YEAR_S) + 1e-6,
                "{lost} {largest} {sum}"
            );
            assert!(one.only_s.iter().sum::<f64>() <= lost + 1e-6);
            let by_itself = |ear: EarRun, cause: Cause| {
                year(&[ear], &tracks, &course).ears[0].alone_s[cause as usize]
            };
            let same = [
                (
                    Cause::Power,
                    EarRun {
                        power: ear.power,
                        ..EarRun::default()
                    },
                ),
                (
                    Cause::Starting,
                    EarRun {
                        power: ear.power,
                        start_s: ear.start_s,
                        ..EarRun::default()
                    },
                ),
                (
                    Cause::Path,
                    EarRun {
                        path: ear.path.clone(),
                        ..EarRun::default()
                    },
                ),
                (
                    Cause::Clock,
                    EarRun {
                        clock: ear.clock,
                        ..EarRun::default()
                    },
                ),
                (
                    Cause::Heave,
                    EarRun {
                        clips_above_m_s: ear.clips_above_m_s,
                        ..EarRun::default()
                    },
                ),
                (
                    Cause::Strum,
                    EarRun {
                        strum: ear.strum.clone(),
                        ..EarRun::default()
                    },
                ),
                (
                    Cause::PickUp,
                    EarRun {
                        drowned: ear.drowned,
                        ..EarRun::default()
                    },
                ),
            ];
            for (cause, alone) in same {
                let separate = by_itself(alone, cause);
                assert!(
                    (separate - one.alone_s[cause as usize]).abs() < 1e-5,
                    "{cause:?}"
                );
            }
        }
        for pair in found.at_once.windows(2) {
            for (fewer, more) in pair[0].heard_s.iter().zip(pair[1].heard_s) {
                assert!(*fewer >= more - 1e-6);
            }
            assert!(pair[0].gap_s <= pair[1].gap_s + 1e-6);
        }
        // Second by second: hours of hearing of k at once add up to the hours of hearing of each where all falls together. Where what drowns falls apart
        // each k at once has the least that it can, and not all of these in the same year.
        let sums = |year: &JointYear| -> (f64, f64) {
            let each = year.ears.iter().flat_map(|e| e.heard_s).sum();
            let at_once = year.at_once.iter().flat_map(|o| o.heard_s).sum();
            (each, at_once)
        };
        let best = found.at_best.as_deref().unwrap();
        let (each, at_once) = sums(best);
        assert!((each - at_once).abs() < 1e-4, "{each} {at_once}");
        let (least_each, least) = sums(&found);
        assert!(least <= least_each + 1e-4 && least_each <= each + 1e-4);
        for (worse, better) in found.at_once.iter().zip(&best.at_once) {
            for (worse, better) in worse.heard_s.iter().zip(better.heard_s) {
                assert!(*worse <= better + 1e-6);
            }
            assert!((worse.gap_s - better.gap_s).abs() < 1e-6);
        }
    }
}

/// Drowned for 30 % and 40 % of the time and by nothing else deaf: two at once hear for 30 % at the least (Frechet's lower bound) and 60 % at the most, one of
/// two for 70 % at the least, where they are deaf together. A start is lost beside that or with it.
#[test]
fn verif_hydrophones_that_are_drowned_have_frechets_bounds() {
    let course = tide();
    let off = vec![off_at(&[100])];
    let tracks = Tracks {
        off: &off,
        wind_m_s: &[],
        slots: &[],
        first_hour: 0,
    };
    let drowned = |share: f64| EarRun {
        drowned: share,
        drowned_least: share,
        ..EarRun::default()
    };
    let share = |once: &OnceYear| once.heard_s.iter().sum::<f64>() / YEAR_S;
    for (a, b, both) in [(0.3, 0.4, (0.3, 0.6)), (0.6, 0.7, (0.0, 0.3))] {
        let found = year(&[drowned(a), drowned(b)], &tracks, &course);
        let best = found.at_best.as_deref().unwrap();
        // The least of one at once: both drowned together for as long as they can be.
        let least_one = 1.0 - f64::min(a, b);
        assert!((share(&found.at_once[0]) - least_one).abs() < 1e-9);
        assert!((share(&found.at_once[1]) - both.0).abs() < 1e-9);
        assert!((share(&best.at_once[0]) - (1.0 - f64::min(a, b))).abs() < 1e-9);
        assert!((share(&best.at_once[1]) - both.1).abs() < 1e-9);
    }
    let started = EarRun {
        power: Some(0),
        start_s: 300.0,
        ..drowned(0.25)
    };
    let found = year(&[started], &tracks, &course);
    let best = found.at_best.as_deref().unwrap();
    // A quarter of 600 s stands beside 300 s of a start, or in them.
    let differ = lost_s(&found.ears[0]) - lost_s(&best.ears[0]);
    assert!((differ - 150.0).abs() < 1e-6, "{differ}");
    assert_eq!(found.ears[0].gap_s, 3900.0);
}
