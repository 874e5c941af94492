//! The chain: high-pass, overload, end codes.

use plan::DetectorIx;
use seawater::Spreading;
use signal::{HighPass, SensorChain};
use timeline::Ns;

use super::support::*;
use detect::{Confirm, LevelKind, Spec, Stage};
use rehearsal::ear::Ear;

const RATE_HZ: f64 = 96_000.0;

/// Worked example (derived): -180 dB re 1 V/uPa, 20 dB, 2.5 V, 24 bit, 96 kHz overload at 167.959 dB zero-to-peak, 164.949 dB
/// rms of a sine; full scale is 250 Pa.
#[test]
fn val_a_tone_clips_at_the_overload_level() {
    let chain = SensorChain::new(-180.0, 20.0, None, 2.5, 24, RATE_HZ).unwrap();
    for (received_db, clips) in [(164.94, false), (164.96, true), (185.0, true)] {
        // 100 Hz and 96 kHz: a sample comes within 5e-6 of each peak. Loss at 100 m: 40 dB and 1e-4 dB of absorption.
        let source = sound(0.0, tone(100.0, 2.0), received_db + 40.0, fixed(100.0, 0.0));
        let spec = ear("ear", 0.0, chain.clone());
        let sea = sea(Spreading::Spherical);
        let mut ear = Ear::without_noise(spec, &sea, &voices(vec![source]), Ns(0)).unwrap();
        let heard = samples(&mut ear, 1.5);
        assert_eq!(ear.clipped_samples() > 0, clips, "{received_db} dB");
        let highest = heard.iter().fold(0.0_f32, |a, p| a.max(p.abs()));
        assert!(f64::from(highest) <= 2.5e8, "{highest}");
        if clips {
            near(f64::from(highest), 2.5e8, 30.0);
        }
    }
}

/// Cells say whether what they rest on was clipped.
#[test]
fn verif_cells_tell_of_clipping() {
    let chain = SensorChain::new(-180.0, 20.0, None, 2.5, 24, RATE_HZ).unwrap();
    let source = sound(2.0, tone(100.0, 0.5), 215.0, fixed(100.0, 0.0));
    let mut spec = ear("ear", 0.0, chain);
    let stages = vec![
        Stage::Level {
            kind: LevelKind::MeanSquare,
            window_s: 0.1,
            hop_s: None,
        },
        Stage::Trigger {
            on_above_db: 150.0,
            off_below_db: 145.0,
            shortest_s: 0.1,
            longest_s: None,
            hold_off_s: 1.0,
            confirm: Confirm::Early,
            bridge_s: 0.0,
            k_of_n: None,
        },
    ];
    spec.detectors = vec![(
        DetectorIx(4),
        Spec {
            rate_hz: RATE_HZ,
            stages,
        },
    )];
    let sea = sea(Spreading::Spherical);
    let mut ear = Ear::without_noise(spec, &sea, &voices(vec![source]), Ns(0)).unwrap();
    let mut cells = Vec::new();
    ear.advance(s(5.0), &mut cells).unwrap();
    let (from, until) = (ear.arrivals()[0].from, ear.arrivals()[0].until);
    let loud: Vec<_> = cells.iter().filter(|h| h.clipped).collect();
    assert!(loud.iter().all(|h| h.detector == DetectorIx(4)));
    let (first, last) = (loud[0].known_at, loud[loud.len() - 1].known_at);
    assert!(first > from && first < from.checked_add(s(0.05)).unwrap());
    assert!(last > until && last < until.checked_add(s(0.2)).unwrap());
    // Every cell that stands above the overload of a sine is marked.
    assert!(cells.iter().all(|h| h.clipped || h.cell.level_db < 164.95));
}

/// A Butterworth high-pass of two poles takes 3.01 dB at its corner and 12.30 dB at half of it: 10 lg(1 + 2^4).
#[test]
fn val_the_high_pass_takes_what_it_should() {
    let high_pass = HighPass {
        corner_hz: 200.0,
        poles: 2,
    };
    let chain = SensorChain::new(-180.0, 20.0, Some(high_pass), 2.5, 24, RATE_HZ).unwrap();
    for (f_hz, expected_db) in [(200.0, -3.0103), (100.0, -12.3045), (5000.0, 0.0)] {
        let source = sound(0.0, tone(f_hz, 3.0), 190.0, fixed(100.0, 0.0));
        let spec = ear("ear", 0.0, chain.clone());
        let sea = sea(Spreading::Spherical);
        let mut ear = Ear::without_noise(spec, &sea, &voices(vec![source]), Ns(0)).unwrap();
        let received_db = ear.arrivals()[0].received_level_db_re_1upa;
        let heard = samples(&mut ear, 2.5);
        near(
            level_db(&heard, RATE_HZ, 1.0, 2.0) - received_db,
            expected_db,
            0.002,
        );
    }
}
