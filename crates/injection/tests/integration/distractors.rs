//! What detectors of up-calls make of sounds that are none: the tonals of a ferry, a rattling chain, a train of clicks, rain.
//!
//! Each sound comes once a minute into half an hour of the noise of a sea, at two levels within 50 to 300 Hz. Counted is how often a
//! detector tells an event while it sounds. The figures are our own, frozen: they say what to
//! expect, not what is right. A sound of 4 s is too long for the level detector when it stands out as a whole; the ridge detector
//! takes whatever lifts single frequencies by 11 dB for a moment and then others, clicks and rain among it.

use detect::{Detector, Notice};
use signal::{Block, Hum};

use chance::Stream;

use crate::bench::{HIGH_HZ, LOW_HZ, RATE_HZ, ridges, shaped, upcalls};

const MINUTES: usize = 30;
const LENGTH_S: f64 = 4.0;

/// A sound of [`LENGTH_S`], of any scale.
fn distractor(what: &str, minute: u64) -> Vec<f64> {
    let count = (LENGTH_S * RATE_HZ) as usize;
    let mut stream = Stream::named(9, what, minute);
    let time = |i: usize| i as f64 / RATE_HZ;
    match what {
        "ferry" => {
            let hum = Hum::blade_lines(31.0, 9, 0.0, 1.0, 0.3)
                .expect("figures of the checks that can be");
            let swell = |t: f64| libm::sin(std::f64::consts::PI * t / LENGTH_S);
            (0..count)
                .map(|i| swell(time(i)) * hum.value(time(i)))
                .collect()
        }
        "chain" => rattle(count, &mut stream, 6.0, 0.03),
        "clicks" => {
            let every = (0.1 * RATE_HZ) as usize;
            (0..count)
                .map(|i| {
                    let from = (i % every) as f64 / RATE_HZ;
                    libm::exp(-from / 0.003) * libm::cos(2.0 * std::f64::consts::PI * 180.0 * from)
                })
                .collect()
        }
        _ => (0..count).map(|_| stream.gaussian()).collect(),
    }
}

/// Blows at random, so many a second, that ring down.
fn rattle(count: usize, stream: &mut Stream, per_s: f64, decay_s: f64) -> Vec<f64> {
    let mut out = vec![0.0; count];
    let blows = (per_s * count as f64 / RATE_HZ) as usize;
    for _ in 0..blows {
        let at = (stream.uniform() * count as f64) as usize;
        let (f_hz, gain) = (80.0 + 300.0 * stream.uniform(), 0.3 + stream.uniform());
        for (k, o) in out[at..].iter_mut().enumerate() {
            let t = k as f64 / RATE_HZ;
            *o += gain * libm::exp(-t / decay_s) * libm::sin(2.0 * std::f64::consts::PI * f_hz * t);
        }
    }
    out
}

/// Of 30 sounds of a kind at a ratio in dB, how many each detector takes for a call.
fn taken(what: &str, ratio_db: f64) -> [usize; 2] {
    let sea = shaped(7.0, 0.4);
    let minute = 60 * RATE_HZ as usize;
    let mut heard = sea.samples(77, "distractors", 0, (MINUTES + 1) * minute);
    let mut places = Vec::new();
    for m in 1..=MINUTES {
        let sound = distractor(what, m as u64);
        let samples: Vec<f32> = sound.iter().map(|&x| x as f32).collect();
        let energy = signal::band_energy(&samples, RATE_HZ, LOW_HZ, HIGH_HZ)
            .expect("figures of the checks that can be");
        let gain =
            libm::pow(10.0, (sea.level_db + ratio_db) / 20.0) / (energy.in_band / LENGTH_S).sqrt();
        let begin = m * minute - sound.len() - 1000;
        for (x, s) in heard[begin..].iter_mut().zip(&sound) {
            *x = (f64::from(*x) + gain * s) as f32;
        }
        places.push((begin as u64, (begin + sound.len()) as u64));
    }
    [upcalls(), ridges()].map(|spec| {
        let mut detector = Detector::new(&spec).expect("figures of the checks that can be");
        let mut told = Vec::new();
        detector
            .push(Block::new(0, &heard), &mut told)
            .expect("figures of the checks that can be");
        detector.finish(&mut told);
        let events: Vec<(u64, u64)> = told
            .iter()
            .filter_map(|t| match t.notice {
                Notice::Ended(e) => Some((e.begin_sample, e.end_sample)),
                _ => None,
            })
            .collect();
        let touched = |p: &&(u64, u64)| events.iter().any(|e| e.0 < p.1 && e.1 > p.0);
        places.iter().filter(touched).count()
    })
}

/// Rows: sound, ratio in dB, and of 30 how many the level detector and the ridge detector took for calls.
const TAKEN: [(&str, f64, [usize; 2]); 8] = [
    ("ferry", 3.0, [24, 23]),
    ("ferry", 10.0, [0, 17]),
    ("chain", 3.0, [29, 5]),
    ("chain", 10.0, [14, 12]),
    ("clicks", 3.0, [0, 30]),
    ("clicks", 10.0, [0, 30]),
    ("rain", 3.0, [0, 27]),
    ("rain", 10.0, [0, 30]),
];
/// What another build may shift, of 30.
const SHIFT: usize = 3;

#[test]
fn regress_what_detectors_make_of_sounds_that_are_no_calls() {
    for (what, ratio_db, expected) in TAKEN {
        let found = taken(what, ratio_db);
        for (f, e) in found.iter().zip(expected) {
            assert!(f.abs_diff(e) <= SHIFT, "{what} at {ratio_db} dB: {found:?}");
        }
    }
}
