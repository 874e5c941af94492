//! The same bits, however the ear is stepped, restarted or threaded.

use plan::{DetectorIx, Sound, SoundKind};
use proptest::prelude::*;
use seawater::Spreading;
use timeline::Ns;

use super::support::*;
use detect::{BackgroundKind, Confirm, LevelKind, Spec, Stage};
use rehearsal::ear::{Ear, EarSpec, HeardCell};

const RATE_HZ: f64 = 8000.0;
const LENGTH_S: f64 = 12.0;

fn spec(name: &str, depth_m: f64) -> EarSpec {
    let high_pass = signal::HighPass {
        corner_hz: 10.0,
        poles: 2,
    };
    let chain = signal::SensorChain::new(-168.0, 26.0, Some(high_pass), 1.25, 16, RATE_HZ).unwrap();
    let mut spec = ear(name, depth_m, chain);
    spec.self_noise = vec![(100.0, 50.0), (1000.0, 41.0)];
    let detector = |level: Stage, band: (f64, f64)| Spec {
        rate_hz: RATE_HZ,
        stages: vec![
            Stage::Band {
                low_hz: band.0,
                high_hz: band.1,
                order: 4,
            },
            level,
            Stage::Background {
                kind: BackgroundKind::Median,
                over_s: 3.0,
                guard_s: 0.0,
            },
            Stage::Trigger {
                on_above_db: 6.0,
                off_below_db: 4.0,
                shortest_s: 0.2,
                longest_s: None,
                hold_off_s: 1.0,
                confirm: Confirm::Early,
                bridge_s: 0.0,
                k_of_n: None,
            },
        ],
    };
    let rms = Stage::Level {
        kind: LevelKind::MeanSquare,
        window_s: 0.25,
        hop_s: None,
    };
    let exponential = Stage::Level {
        kind: LevelKind::Exponential,
        window_s: 0.125,
        hop_s: None,
    };
    spec.detectors = vec![
        (DetectorIx(0), detector(rms, (60.0, 260.0))),
        (DetectorIx(3), detector(exponential, (900.0, 2500.0))),
    ];
    spec
}

fn sounds() -> Vec<Sound> {
    let upsweep = upsweep(90.0, 150.0, 0.7);
    let hum = SoundKind::Hum {
        low_hz: q(40.0),
        high_hz: q(6000.0),
        blade_rate_hz: Some(q(9.0)),
        length_s: q(5.0),
    };
    let clicks = SoundKind::ClickTrain {
        centre_hz: q(3000.0),
        click_s: q(0.001),
        interval_s: q(0.05),
        clicks: 40,
    };
    let mut call = sound(1.0, upsweep, 176.0, fixed(1200.0, 15.0));
    call.repeats = Some(plan::Repeats {
        every_s: q(2.5),
        times: 3,
    });
    let ferry = vec![point(0.0, 900.0, 250.0, 3.0), point(6.0, 860.0, 255.0, 9.0)];
    let mut named = vec![
        call,
        sound(3.0, hum, 165.0, ferry),
        sound(6.0, clicks, 170.0, fixed(400.0, 20.0)),
    ];
    for (i, s) in named.iter_mut().enumerate() {
        s.id = format!("sound-{i}");
    }
    named
}

fn new_ear(name: &str, depth_m: f64) -> Ear {
    Ear::new(
        spec(name, depth_m),
        &sea(Spreading::Practical),
        &voices(sounds()),
        Ns(0),
    )
    .unwrap()
}

fn hear(ear: &mut Ear, steps: &[Ns]) -> (Vec<HeardCell>, Vec<u32>) {
    let (mut cells, mut bits) = (Vec::new(), Vec::new());
    for until in steps {
        ear.advance_with(*until, &mut cells, &mut |taken| {
            bits.extend(taken.pressure_upa.iter().map(|p| p.to_bits()));
        })
        .unwrap();
        assert!(cells.iter().all(|h| h.known_at <= *until));
    }
    (cells, bits)
}

fn ns_steps() -> impl Strategy<Value = Vec<Ns>> {
    prop::collection::vec(0..(LENGTH_S * 1e9) as u64, 0..12).prop_map(|mut steps| {
        steps.sort_unstable();
        steps.push((LENGTH_S * 1e9) as u64);
        steps.into_iter().map(Ns).collect()
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn verif_steps_change_no_bit(steps in ns_steps(), restart in 0..8_000_000_000_u64) {
        let end = [s(LENGTH_S)];
        let (cells, samples) = hear(&mut new_ear("ear", 30.0), &end);
        let mut ear = new_ear("ear", 30.0);
        let (stepped_cells, stepped_samples) = hear(&mut ear, &steps);
        prop_assert_eq!(bits(&cells), bits(&stepped_cells));
        prop_assert!(samples == stepped_samples);

        // A restart gives the same on an ear that ran ahead and on one that has heard nothing.
        ear.restart(Ns(restart));
        let mut fresh = new_ear("ear", 30.0);
        fresh.restart(Ns(restart));
        let later: Vec<Ns> = steps.iter().copied().filter(|t| t.0 >= restart).collect();
        let (again_cells, again_samples) = hear(&mut ear, &later);
        let (fresh_cells, fresh_samples) = hear(&mut fresh, &end);
        prop_assert_eq!(bits(&again_cells), bits(&fresh_cells));
        prop_assert!(again_samples == fresh_samples);
        prop_assert_eq!(again_samples.len() as u64, (LENGTH_S * RATE_HZ) as u64 + 1 - (restart * 8).div_ceil(1_000_000));
        prop_assert!(again_cells.iter().all(|h| h.known_at.0 >= restart));
    }
}

#[test]
fn verif_threads_change_no_bit() {
    let end = [s(LENGTH_S)];
    let names = [("upper", 20.0), ("lower", 60.0)];
    let alone: Vec<_> = names.map(|(n, d)| hear(&mut new_ear(n, d), &end)).to_vec();
    let mut ears: Vec<Ear> = names.map(|(n, d)| new_ear(n, d)).into_iter().collect();
    let together: Vec<_> = std::thread::scope(|scope| {
        let running: Vec<_> = ears
            .iter_mut()
            .map(|ear| scope.spawn(|| hear(ear, &end)))
            .collect();
        running.into_iter().map(|r| r.join().unwrap()).collect()
    });
    for (a, b) in alone.iter().zip(&together) {
        assert_eq!(bits(&a.0), bits(&b.0));
        assert!(a.1 == b.1);
    }
    assert!(alone[0].1 != alone[1].1);
}

/// The order in which sounds are given, and sounds beyond the ear's hearing, change nothing of the noise.
#[test]
fn verif_noise_does_not_depend_on_the_sounds() {
    let quiet = |sounds: Vec<Sound>| {
        let sea = sea(Spreading::Practical);
        let mut ear = Ear::new(spec("ear", 30.0), &sea, &voices(sounds), Ns(0)).unwrap();
        hear(&mut ear, &[s(1.0)]).1
    };
    assert!(quiet(Vec::new()) == quiet(sounds()));
}
