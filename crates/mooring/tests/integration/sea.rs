//! Heave of a hydrophone in an irregular sea: `reference/mooring/scipy-sea.json` and closed forms.

use mooring::{
    GRAVITY_M_S2, HeardWaves, HeldBy, HighPassPoles, InWaves, MooringError, Riser, Sea, SeaHeave,
    SpringRiser, UnderBuoy, Wave, heave, heave_in_sea, risen_height_m, risen_period_s,
};
use serde_json::Value;

use crate::support::{close, list, number};

/// 4000 frequencies.
const SIGMAS: f64 = 1e-4;
/// Eleven days.
const DRAWN: f64 = 0.02;
/// What the linear drag leaves out at resonance.
const FOLLOWED: f64 = 0.10;

fn case(row: &Value) -> SeaHeave {
    let of = |key: &str| number(&row[key]);
    let sea = Sea {
        significant_m: of("significant_m"),
        peak_period_s: of("peak_period_s"),
        depth_m: of("water_m"),
        density_kg_m3: 1025.0,
    };
    let riser = match row["riser"].as_array() {
        None => Riser::Stiff,
        Some(parts) => Riser::Spring(SpringRiser {
            stiffness_n_m: number(&parts[0]),
            mass_kg: number(&parts[1]),
            displaced_kg: number(&parts[2]),
            added_mass_kg: number(&parts[3]),
            drag_area_m2: number(&parts[4]),
        }),
    };
    let under = UnderBuoy {
        diameter_m: of("diameter_m"),
        depth_m: of("depth_m"),
        riser,
        high_pass: row["corner_hz"].as_f64().map(|corner_hz| HighPassPoles {
            corner_hz,
            poles: number(&row["poles"]) as u32,
        }),
    };
    heave_in_sea(&sea, &under).expect("a case of the reference")
}

#[test]
fn val_heave_in_seas() {
    let document = truth::json("mooring/scipy-sea.json");
    let cases = list(&document["cases"]);
    assert_eq!(cases.len(), 7);
    for row in cases {
        let found = case(row);
        let told = [
            ("moves_m", found.moves_m),
            ("pressure_pa", found.pressure_pa),
            ("pull_n", found.pull_n),
            ("heard_pa", found.heard_pa),
            ("heard_hz", found.heard_hz),
        ];
        for (key, ours) in told {
            close(key, ours, number(&row["sigmas"][key]), SIGMAS);
        }
        let full_scale_pa = number(&row["drawn"]["full_scale_pa"]);
        let share = found.clipped_share(full_scale_pa);
        close("share", share, number(&row["drawn"]["share"]), DRAWN);
        let an_hour = found.clips_an_hour(full_scale_pa);
        close("an hour", an_hour, number(&row["drawn"]["an_hour"]), DRAWN);
        if !row["followed"].is_null() {
            for (key, ours) in &told[..3] {
                close(key, *ours, number(&row["followed"][key]), FOLLOWED);
            }
        }
    }
}

const SEA: Sea = Sea {
    significant_m: 2.0,
    peak_period_s: 10.0,
    depth_m: 160.0,
    density_kg_m3: 1025.0,
};
const STIFF: UnderBuoy = UnderBuoy {
    diameter_m: 1.2,
    depth_m: 30.0,
    riser: Riser::Stiff,
    high_pass: None,
};

/// A significant height is four standard deviations of the surface, and a small stiff buoy moves as the surface does; far below the waves its pressure is `rho g` of that.
#[test]
fn verif_a_small_buoy_moves_as_the_surface() {
    let under = UnderBuoy {
        diameter_m: 0.01,
        depth_m: 2000.0,
        ..STIFF
    };
    let deep = Sea {
        depth_m: 4000.0,
        ..SEA
    };
    let found = heave_in_sea(&deep, &under).unwrap();
    close("moves", found.moves_m, 0.5, 1e-4);
    close(
        "pressure",
        found.pressure_pa,
        0.5 * 1025.0 * GRAVITY_M_S2,
        1e-4,
    );
    // A large one stands still.
    let raft = UnderBuoy {
        diameter_m: 500.0,
        ..under
    };
    assert!(heave_in_sea(&deep, &raft).unwrap().moves_m < 0.02);
}

/// Behind two poles at 10 Hz a swell of the sea's height and period leaves 0.70 Pa at its crest; the sea has 1.48 Pa as its standard deviation, and so crests eight times as high: the
/// short waves make them.
#[test]
fn verif_one_swell_says_too_little_behind_a_high_pass() {
    let high_pass = HighPassPoles {
        corner_hz: 10.0,
        poles: 2,
    };
    let wave = Wave::new(SEA.significant_m, SEA.peak_period_s, SEA.depth_m).unwrap();
    let swell = heave(&wave, 30.0, 1025.0, Riser::Stiff).unwrap();
    let swell_pa = swell.pressure_pa * high_pass.gain(swell.frequency_hz);
    assert!((swell_pa - 0.70).abs() < 0.01, "{swell_pa}");
    let under = UnderBuoy {
        high_pass: Some(high_pass),
        ..STIFF
    };
    let found = heave_in_sea(&SEA, &under).unwrap();
    assert!(4.0 * found.heard_pa > 8.0 * swell_pa, "{found:?}");
    assert!(found.heard_hz > 4.0 * swell.frequency_hz);
}

#[test]
fn verif_still_water_and_mistakes() {
    let still = Sea {
        significant_m: 0.0,
        ..SEA
    };
    let found = heave_in_sea(&still, &STIFF).unwrap();
    assert_eq!((found.heard_pa, found.moves_m), (0.0, 0.0));
    assert_eq!(
        (found.clipped_share(1.0), found.clips_an_hour(1.0)),
        (0.0, 0.0)
    );
    assert_eq!(found.slack_share(), None);
    let mut spring = SpringRiser {
        stiffness_n_m: 100.0,
        mass_kg: 40.0,
        displaced_kg: 25.0,
        added_mass_kg: 20.0,
        drag_area_m2: 0.3,
    };
    let on = |spring: SpringRiser| UnderBuoy {
        riser: Riser::Spring(spring),
        ..STIFF
    };
    assert_eq!(
        heave_in_sea(&still, &on(spring)).unwrap().slack_share(),
        Some(0.0)
    );
    let slack = heave_in_sea(&SEA, &on(spring))
        .unwrap()
        .slack_share()
        .unwrap();
    assert!(slack > 0.0 && slack < 0.5, "{slack}");
    spring.drag_area_m2 = 0.0;
    let error = heave_in_sea(&SEA, &on(spring)).unwrap_err();
    assert!(matches!(error, MooringError::NotPositive { .. }));
    for sea in [
        Sea {
            significant_m: f64::NAN,
            ..SEA
        },
        Sea {
            peak_period_s: 0.0,
            ..SEA
        },
        Sea {
            depth_m: -1.0,
            ..SEA
        },
    ] {
        heave_in_sea(&sea, &STIFF).unwrap_err();
    }
    let no_buoy = UnderBuoy {
        diameter_m: 0.0,
        ..STIFF
    };
    heave_in_sea(&SEA, &no_buoy).unwrap_err();
}

/// Twice the height is twice everything on a stiff riser, and less than twice on one whose drag grows with its speed.
#[test]
fn verif_what_grows_with_the_sea() {
    let rough = Sea {
        significant_m: 4.0,
        ..SEA
    };
    let (low, high) = (
        heave_in_sea(&SEA, &STIFF).unwrap(),
        heave_in_sea(&rough, &STIFF).unwrap(),
    );
    close("pressure", high.pressure_pa, 2.0 * low.pressure_pa, 1e-12);
    close("frequency", high.heard_hz, low.heard_hz, 1e-12);
    // In tune with the peak.
    let omega = 0.2 * std::f64::consts::PI;
    let under = UnderBuoy {
        riser: Riser::Spring(SpringRiser {
            stiffness_n_m: 70.0 * omega * omega,
            mass_kg: 45.0,
            displaced_kg: 30.0,
            added_mass_kg: 25.0,
            drag_area_m2: 0.2,
        }),
        ..STIFF
    };
    let (low, high) = (
        heave_in_sea(&SEA, &under).unwrap(),
        heave_in_sea(&rough, &under).unwrap(),
    );
    assert!(high.moves_m < 1.9 * low.moves_m, "{low:?} {high:?}");
}

/// What each frequency does, worked out once, gives the same seas.
#[test]
fn val_many_seas_at_once_are_those_seas() {
    let document = truth::json("mooring/scipy-sea.json");
    let cases = list(&document["cases"]);
    let stiff = cases.iter().filter(|row| row["riser"].is_null());
    let mut seen = 0;
    for row in stiff {
        let of = |key: &str| number(&row[key]);
        let waves = HeardWaves::new(&InWaves {
            depth_m: of("depth_m"),
            water_depth_m: of("water_m"),
            density_kg_m3: 1025.0,
            held_by: Some(HeldBy {
                diameter_m: of("diameter_m"),
                share: 1.0,
            }),
            high_pass: row["corner_hz"].as_f64().map(|corner_hz| HighPassPoles {
                corner_hz,
                poles: number(&row["poles"]) as u32,
            }),
        })
        .unwrap();
        let sea = waves
            .in_sea(of("significant_m"), of("peak_period_s"))
            .unwrap();
        close(
            "heard_pa",
            sea.heard_pa,
            number(&row["sigmas"]["heard_pa"]),
            SIGMAS,
        );
        let share = sea.clipped_share(number(&row["drawn"]["full_scale_pa"]));
        close("share", share, number(&row["drawn"]["share"]), DRAWN);
        seen += 1;
    }
    assert!(seen >= 3, "{seen}");
}

/// A hydrophone that stands still hears the waves themselves: in deep water, of a sea of which each frequency falls by exp(-k z), with k = omega^2/g.
#[test]
fn verif_what_stands_still_hears_the_waves_alone() {
    let (depth_m, height_m, peak_s) = (12.0, 2.5, 9.0);
    let waves = HeardWaves::new(&InWaves {
        depth_m,
        water_depth_m: 2000.0,
        density_kg_m3: 1025.0,
        held_by: None,
        high_pass: None,
    })
    .unwrap();
    let sea = waves.in_sea(height_m, peak_s).unwrap();
    // The spectrum by a plain sum over even frequencies.
    let (mut sum, step_hz) = (0.0, 1e-5);
    let peak_hz: f64 = 1.0 / peak_s;
    for i in 1..100_000 {
        let f_hz = f64::from(i) * step_hz;
        let s = 5.0 / 16.0
            * height_m
            * height_m
            * peak_hz.powi(4)
            * f_hz.powi(-5)
            * (-1.25 * (peak_hz / f_hz).powi(4)).exp();
        let k = (2.0 * std::f64::consts::PI * f_hz).powi(2) / GRAVITY_M_S2;
        sum += s * step_hz * (-2.0 * k * depth_m).exp();
    }
    close(
        "still",
        sea.heard_pa,
        1025.0 * GRAVITY_M_S2 * sum.sqrt(),
        1e-5,
    );
    let still = HeldBy {
        diameter_m: 1.0,
        share: 0.0,
    };
    let held = HeardWaves::new(&InWaves {
        depth_m,
        water_depth_m: 2000.0,
        density_kg_m3: 1025.0,
        held_by: Some(still),
        high_pass: None,
    })
    .unwrap();
    close(
        "held",
        held.in_sea(height_m, peak_s).unwrap().heard_pa,
        sea.heard_pa,
        1e-4,
    );
}

/// A swell reads as one wave of its mean square: on a stiff riser in deep water rho g a (1 - e^(-kz)) by the closed form, with k = omega^2/g, the buoy small beside it.
#[test]
fn verif_a_swell_is_one_wave_of_its_mean_square() {
    let (depth_m, period_s) = (25.0, 11.0);
    let waves = HeardWaves::new(&InWaves {
        depth_m,
        water_depth_m: 3000.0,
        density_kg_m3: 1025.0,
        held_by: Some(HeldBy {
            diameter_m: 0.5,
            share: 1.0,
        }),
        high_pass: None,
    })
    .unwrap();
    let omega = 2.0 * std::f64::consts::PI / period_s;
    let k = omega * omega / GRAVITY_M_S2;
    // Standard deviation of the surface: a quarter of the significant height of 2 m.
    let by_hand_pa = 1025.0 * GRAVITY_M_S2 * 0.5 * (1.0 - (-k * depth_m).exp());
    close(
        "swell",
        waves.in_swell(2.0, period_s).unwrap().heard_pa,
        by_hand_pa,
        1e-4,
    );
    assert!(waves.in_swell(2.0, 0.0).is_err());
}

/// A risen sea is Pierson and Moskowitz's: 0.21 U^2/g and 0.877 g/U of the wind at 19.5 m (Stewart, Introduction to Physical Oceanography, from memory), and its
/// spectrum in height and period is theirs in wind: `(5/16) H^2 fp^4 = alpha g^2 / (2 pi)^4`, whatever the wind.
#[test]
fn val_a_risen_sea_is_that_of_pierson_and_moskowitz() {
    for wind_m_s in [4.0, 10.0, 20.0] {
        let height_m = risen_height_m(wind_m_s);
        let at_19_5_m = 1.026 * wind_m_s;
        close(
            "height",
            height_m * GRAVITY_M_S2 / (at_19_5_m * at_19_5_m),
            0.21,
            4e-3,
        );
        let peak_s = risen_period_s(height_m);
        let turns = 2.0 * std::f64::consts::PI;
        close(
            "peak",
            turns / peak_s * at_19_5_m / GRAVITY_M_S2,
            0.877,
            1e-3,
        );
        let level = 5.0 / 16.0 * height_m * height_m * peak_s.powi(-4);
        let theirs = 8.1e-3 * GRAVITY_M_S2 * GRAVITY_M_S2 / turns.powi(4);
        close("level", level, theirs, 1e-9);
    }
    let waves = HeardWaves::new(&InWaves {
        depth_m: 20.0,
        water_depth_m: 80.0,
        density_kg_m3: 1025.0,
        held_by: Some(HeldBy {
            diameter_m: 1.5,
            share: 1.0,
        }),
        high_pass: Some(HighPassPoles {
            corner_hz: 5.0,
            poles: 2,
        }),
    })
    .unwrap();
    let mut last = 0.0;
    for wind_m_s in 0..40 {
        let heard_pa = waves
            .in_risen(risen_height_m(f64::from(wind_m_s)))
            .unwrap()
            .heard_pa;
        assert!(
            heard_pa >= last * (1.0 - 1e-12),
            "{wind_m_s} m/s: {heard_pa} {last}"
        );
        last = heard_pa;
    }
    assert!(matches!(
        waves.in_sea(2.0, 26.0),
        Err(MooringError::Above { .. })
    ));
}
