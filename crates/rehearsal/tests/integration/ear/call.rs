//! A call, from its source to the notice of a detector.

use detect::{BackgroundKind, Confirm, Detector, LevelKind, Logic, Notice, Spec, Stage};
use plan::DetectorIx;
use seawater::Spreading;
use timeline::Ns;

use super::support::*;
use rehearsal::ear::Ear;

const RATE_HZ: f64 = 48_000.0;

fn detector() -> Spec {
    Spec {
        rate_hz: RATE_HZ,
        stages: vec![
            Stage::Band {
                low_hz: 60.0,
                high_hz: 260.0,
                order: 4,
            },
            Stage::Level {
                kind: LevelKind::MeanSquare,
                window_s: 0.25,
                hop_s: None,
            },
            Stage::Background {
                kind: BackgroundKind::Median,
                over_s: 30.0,
                guard_s: 0.0,
            },
            Stage::Trigger {
                on_above_db: 6.0,
                off_below_db: 4.0,
                shortest_s: 0.4,
                longest_s: Some(2.5),
                hold_off_s: 10.0,
                confirm: Confirm::AtEnd,
                bridge_s: 0.0,
                k_of_n: None,
            },
        ],
    }
}

/// An up-call as right whales make them (90 to 150 Hz in 0.7 s, rms source level 176 dB: J. Acoust. Soc. Am. 129, 4047, 2011, and
/// J. Cetacean Res. Manage., by their abstracts) at 1.2 km stands far above a sea of 7 m/s of wind, and is found once.
#[test]
fn verif_a_near_call_is_found_when_it_comes() {
    let high_pass = signal::HighPass {
        corner_hz: 10.0,
        poles: 2,
    };
    let chain = signal::SensorChain::new(-168.0, 26.0, Some(high_pass), 1.25, 16, RATE_HZ).unwrap();
    let mut spec = ear("module.upper.sensor.ear", 22.0, chain);
    spec.detectors = vec![(DetectorIx(0), detector())];
    let call = upsweep(90.0, 150.0, 0.7);
    let sounds = voices(vec![sound(60.0, call, 176.0, fixed(1200.0, 15.0))]);
    let mut sea = sea(Spreading::Practical);
    sea.wind_m_s = 7.0;
    let mut ear = Ear::new(spec, &sea, &sounds, Ns(0)).unwrap();
    let mut cells = Vec::new();
    let mut whole = Detector::new(&detector()).unwrap();
    let mut told_at_once = Vec::new();
    ear.advance_with(s(90.0), &mut cells, &mut |taken| {
        let block = signal::Block::new(taken.first, taken.pressure_upa);
        whole.push(block, &mut told_at_once).unwrap();
    })
    .unwrap();
    let mut logic = Logic::new(&detector()).unwrap();
    let mut told = Vec::new();
    for heard in &cells {
        logic.push(&heard.cell, &mut told);
    }
    // A front and its logic apart say what the detector says that hears the same samples.
    assert_eq!(told, told_at_once);

    let events: Vec<_> = told
        .iter()
        .filter_map(|t| match &t.notice {
            Notice::Confirmed(_) => Some(("confirmed", t)),
            Notice::Ended(_) => Some(("ended", t)),
            _ => None,
        })
        .collect();
    assert_eq!(events.iter().filter(|e| e.0 == "confirmed").count(), 1);
    let ended = events.iter().find(|e| e.0 == "ended").unwrap();
    let Notice::Ended(event) = &ended.1.notice else {
        unreachable!("only events that ended are so called")
    };
    let arrival = &ear.arrivals()[0];
    let (begin_s, end_s) = (
        event.begin_sample as f64 / RATE_HZ,
        event.end_sample as f64 / RATE_HZ,
    );
    near(begin_s, arrival.from.as_s_f64(), 0.15);
    near(end_s, arrival.until.as_s_f64(), 0.15);
    // A window of 0.25 s lies wholly within the call. Its level: 176 - 15 lg 1200 and 1 dB for the noise and the edges of the band.
    near(event.peak_level_db, 176.0 - 15.0 * libm::log10(1200.0), 1.0);
}
