//! How loud a sound arrives, and when.

use seawater::Spreading;
use timeline::Ns;

use super::support::*;
use rehearsal::ear::{Ear, EarError};

const RATE_HZ: f64 = 48_000.0;
/// The part that is measured holds whole periods.
const LEVEL_TOLERANCE_DB: f64 = 0.001;

/// Spreading at 1 km from the textbook laws; absorption after Francois and Garrison 1982 at 10 degC, salinity 35, the surface
/// and pH 8 as an independent program gave it (`reference/make/seawater_absorption.py`): 0.060126 dB/km at 1 kHz, 0.96264 at 10 kHz.
#[test]
fn verif_a_tone_arrives_with_its_source_level_less_spreading_and_absorption() {
    for (spreading, frequency_hz, loss_db) in [
        (Spreading::Spherical, 1000.0, 60.0 + 0.060126),
        (Spreading::Practical, 1000.0, 45.0 + 0.060126),
        (Spreading::Cylindrical, 10_000.0, 30.0 + 0.96264),
        (
            Spreading::Transition { at_m: 200.0 },
            10_000.0,
            53.0103 + 0.96264,
        ),
    ] {
        let sounds = voices(vec![sound(
            1.0,
            tone(frequency_hz, 3.0),
            180.0,
            fixed(1000.0, 0.0),
        )]);
        let spec = ear("ear", 0.0, wide_chain(RATE_HZ));
        let mut ear = Ear::without_noise(spec, &sea(spreading), &sounds, Ns(0)).unwrap();
        let heard = samples(&mut ear, 6.0);
        near(
            level_db(&heard, RATE_HZ, 2.0, 4.5),
            180.0 - loss_db,
            LEVEL_TOLERANCE_DB,
        );
        near(
            ear.arrivals()[0].received_level_db_re_1upa,
            180.0 - loss_db,
            1e-4,
        );
        assert!(heard[..(1.6 * RATE_HZ) as usize].iter().all(|p| *p == 0.0));
        assert!(heard[(4.7 * RATE_HZ) as usize..].iter().all(|p| *p == 0.0));
    }
}

/// The middle of a click that leaves 0.05 s after the beginning arrives after 1000 m at the speed of Mackenzie's equation.
#[test]
fn verif_a_click_arrives_after_range_over_sound_speed() {
    const RATE_HZ: f64 = 96_000.0;
    let clicks = plan::SoundKind::ClickTrain {
        centre_hz: q(8000.0),
        click_s: q(0.0003),
        interval_s: q(0.1),
        clicks: 3,
    };
    let sounds = voices(vec![sound(0.5, clicks, 190.0, fixed(1000.0, 0.0))]);
    let spec = ear("ear", 0.0, wide_chain(RATE_HZ));
    let mut ear = Ear::without_noise(spec, &sea(Spreading::Spherical), &sounds, Ns(0)).unwrap();
    let heard = samples(&mut ear, 1.6);
    let travel_s = 1000.0 / SURFACE_SPEED_M_S;
    for click in 0..3 {
        let middle_s = 0.5 + 0.05 + 0.1 * f64::from(click) + travel_s;
        let from = ((middle_s - 0.04) * RATE_HZ) as usize;
        let part = &heard[from..from + (0.08 * RATE_HZ) as usize];
        let (loudest, _) = part
            .iter()
            .enumerate()
            .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))
            .unwrap();
        near((from + loudest) as f64, middle_s * RATE_HZ, 1.0);
    }
    near(ear.arrivals()[0].from.as_s_f64(), 0.5 + travel_s, 1e-7);
    near(ear.arrivals()[0].until.as_s_f64(), 0.8 + travel_s, 1e-7);
}

/// The level of a click is its rms over the -10 dB duration: measured on the samples.
#[test]
fn verif_a_click_has_its_level_over_its_duration() {
    const RATE_HZ: f64 = 192_000.0;
    let clicks = plan::SoundKind::ClickTrain {
        centre_hz: q(12_000.0),
        click_s: q(0.001),
        interval_s: q(0.1),
        clicks: 1,
    };
    let sounds = voices(vec![sound(0.0, clicks, 190.0, fixed(100.0, 0.0))]);
    let spec = ear("ear", 0.0, wide_chain(RATE_HZ));
    let mut ear = Ear::without_noise(spec, &sea(Spreading::Spherical), &sounds, Ns(0)).unwrap();
    let heard = samples(&mut ear, 0.3);
    let middle_s = 0.05 + 100.0 / SURFACE_SPEED_M_S;
    let found_db = level_db(&heard, RATE_HZ, middle_s - 0.0005, middle_s + 0.0005);
    near(found_db, ear.arrivals()[0].received_level_db_re_1upa, 0.05);
}

/// A source on a slant below the ear: distance by Pythagoras, and repeats that follow each other by their interval.
#[test]
fn verif_repeats_and_slant_ranges() {
    let mut repeated = sound(2.0, tone(500.0, 0.5), 170.0, fixed(300.0, 440.0));
    repeated.repeats = Some(plan::Repeats {
        every_s: q(1.25),
        times: 4,
    });
    let sounds = voices(vec![repeated]);
    let spec = ear("ear", 40.0, wide_chain(RATE_HZ));
    let mut ear = Ear::without_noise(spec, &sea(Spreading::Spherical), &sounds, Ns(0)).unwrap();
    let arrivals = ear.arrivals().to_vec();
    assert_eq!(arrivals.len(), 4);
    for (i, a) in arrivals.iter().enumerate() {
        assert_eq!(a.repeat as usize, i);
        near(a.closest_range_m, 500.0, 1e-9);
        near(
            a.from.as_s_f64() - arrivals[0].from.as_s_f64(),
            1.25 * i as f64,
            2e-9,
        );
        near(
            a.received_level_db_re_1upa,
            170.0 - 20.0 * libm::log10(500.0),
            0.02,
        );
    }
    let heard = samples(&mut ear, 8.0);
    let first_s = arrivals[0].from.as_s_f64();
    for i in 0..4 {
        let from_s = first_s + 1.25 * f64::from(i);
        let found_db = level_db(&heard, RATE_HZ, from_s + 0.1, from_s + 0.4);
        near(found_db, arrivals[0].received_level_db_re_1upa, 0.01);
        let quiet = (from_s + 0.6) * RATE_HZ;
        assert!(heard[quiet as usize..][..20_000].iter().all(|p| *p == 0.0));
    }
}

/// A sweep that leaves what the ear hears is gone, and does not fold back.
#[test]
fn verif_what_lies_above_half_the_rate_does_not_fold() {
    let upsweep = upsweep(10_000.0, 60_000.0, 1.0);
    let sounds = voices(vec![sound(0.0, upsweep, 180.0, fixed(100.0, 0.0))]);
    let spec = ear("ear", 0.0, wide_chain(RATE_HZ));
    let mut ear = Ear::without_noise(spec, &sea(Spreading::Spherical), &sounds, Ns(0)).unwrap();
    let heard = samples(&mut ear, 1.5);
    let begin_s = ear.arrivals()[0].from.as_s_f64();
    let level_db = |from_s, until_s| level_db(&heard, RATE_HZ, begin_s + from_s, begin_s + until_s);
    let received_db = ear.arrivals()[0].received_level_db_re_1upa;
    // 21.6 kHz is reached after 0.232 s, half the rate after 0.28 s.
    near(level_db(0.06, 0.22), received_db, 0.01);
    assert!(
        level_db(0.29, 0.9) < received_db - 75.0,
        "{}",
        level_db(0.29, 0.9) - received_db
    );

    let whistle = voices(vec![sound(
        0.0,
        tone(30_000.0, 1.0),
        180.0,
        fixed(100.0, 0.0),
    )]);
    let spec = super::support::ear("ear", 0.0, wide_chain(RATE_HZ));
    let ear = Ear::without_noise(spec, &sea(Spreading::Spherical), &whistle, Ns(0)).unwrap();
    assert!(ear.arrivals().is_empty());
}

#[test]
fn verif_what_cannot_be_is_refused() {
    let at = |track| try_voices(vec![sound(0.0, tone(100.0, 1.0), 170.0, track)]);
    let fast = vec![point(0.0, 5000.0, 0.0, 5.0), point(10.0, 3000.0, 0.0, 5.0)];
    assert!(
        matches!(at(fast), Err(EarError::TooFast { speed_m_s, .. }) if (speed_m_s - 200.0).abs() < 1e-9)
    );
    let back = vec![point(5.0, 500.0, 0.0, 5.0), point(5.0, 500.0, 0.0, 5.0)];
    assert!(matches!(at(back), Err(EarError::Track { point: 1, .. })));

    let through = vec![
        point(0.0, 500.0, 0.0, 20.0),
        point(100.0, 500.0, 180.0, 20.0),
    ];
    let near_it = at(through).unwrap();
    let spec = ear("ear", 20.4, wide_chain(RATE_HZ));
    let refused = Ear::new(spec, &sea(Spreading::Practical), &near_it, Ns(0));
    assert!(
        matches!(refused, Err(EarError::TooClose { range_m, .. }) if (range_m - 0.4).abs() < 1e-6)
    );
}
