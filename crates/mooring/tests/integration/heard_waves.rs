//! What a hydrophone hears of waves and of its own heave: `reference/mooring/scipy-sea.json`, gains of `scipy-heave.json`, and closed forms.

use mooring::{
    GRAVITY_M_S2, HeardWaves, HeldBy, HighPassPoles, InWaves, MooringError, risen_height_m,
    risen_period_s,
};

use crate::support::{close, list, number};

/// 3000 frequencies.
const SIGMAS: f64 = 1e-4;
/// Eleven days.
const DRAWN: f64 = 0.02;

#[test]
fn val_gains_of_high_passes() {
    let document = truth::json("mooring/scipy-heave.json");
    let rows = list(&document["gains"]);
    assert_eq!(rows.len(), 24);
    for row in rows {
        let high_pass = HighPassPoles {
            corner_hz: number(&row[0]),
            poles: number(&row[1]) as u32,
        };
        close(
            "gain",
            high_pass.gain(number(&row[2])),
            number(&row[3]),
            1e-9,
        );
    }
}

/// A hydrophone 30 m down on a stiff riser under a buoy of 1.2 m, in 160 m of water.
fn stiff() -> InWaves {
    InWaves {
        depth_m: 30.0,
        water_depth_m: 160.0,
        density_kg_m3: 1025.0,
        held_by: Some(HeldBy {
            diameter_m: 1.2,
            share: 1.0,
        }),
        high_pass: None,
    }
}

/// One wave on a stiff riser, its number by SciPy's brentq: `rho g a (1 - K)` under a buoy so small that it follows all of it. A swell has the mean square of its significant
/// height, four standard deviations.
#[test]
fn val_waves_on_a_stiff_riser() {
    let document = truth::json("mooring/scipy-heave.json");
    let rows = list(&document["stiff"]);
    assert_eq!(rows.len(), 5);
    for row in rows {
        let of = |key: &str| number(&row[key]);
        let waves = HeardWaves::new(&InWaves {
            depth_m: of("depth_m"),
            water_depth_m: of("water_m"),
            held_by: Some(HeldBy {
                diameter_m: 1e-3,
                share: 1.0,
            }),
            ..stiff()
        });
        let swell = waves.unwrap().in_swell(of("height_m"), of("period_s"));
        close("crest", 2.0 * swell.unwrap().heard_pa, of("stiff_pa"), 1e-7);
    }
}

/// A significant height is four standard deviations of the surface, and a small stiff buoy moves as the surface does; far below the waves the pressure is `rho g` of that. A large
/// buoy stands still.
#[test]
fn verif_a_small_buoy_moves_as_the_surface() {
    let under = |diameter_m| {
        let of = InWaves {
            depth_m: 2000.0,
            water_depth_m: 4000.0,
            held_by: Some(HeldBy {
                diameter_m,
                share: 1.0,
            }),
            ..stiff()
        };
        let waves = HeardWaves::new(&of).unwrap();
        waves.in_sea(2.0, 10.0).unwrap().heard_pa
    };
    let surface_pa = 0.5 * 1025.0 * GRAVITY_M_S2;
    close("small", under(0.01), surface_pa, 1e-4);
    assert!(under(500.0) < 0.04 * surface_pa);
}

/// Behind two poles at 10 Hz a swell of the sea's height and period leaves 0.70 Pa at its crest, which is twice the standard deviation of a swell of that significant height; the sea has
/// 1.48 Pa as its standard deviation: the short waves make them.
#[test]
fn verif_one_swell_says_too_little_behind_a_high_pass() {
    let of = InWaves {
        high_pass: Some(HighPassPoles {
            corner_hz: 10.0,
            poles: 2,
        }),
        ..stiff()
    };
    let waves = HeardWaves::new(&of).unwrap();
    let swell_pa = waves.in_swell(2.0, 10.0).unwrap().heard_pa;
    assert!((2.0 * swell_pa - 0.70).abs() < 0.01, "{swell_pa}");
    let sea_pa = waves.in_sea(2.0, 10.0).unwrap().heard_pa;
    assert!((sea_pa - 1.48).abs() < 0.01, "{sea_pa}");
}

/// Twice the height is twice the pressure, still water has none, and nothing clips in it.
#[test]
fn verif_what_grows_with_the_sea() {
    let waves = HeardWaves::new(&stiff()).unwrap();
    let at = |height_m| waves.in_sea(height_m, 10.0).unwrap();
    close("pressure", at(4.0).heard_pa, 2.0 * at(2.0).heard_pa, 1e-12);
    assert_eq!(at(0.0).heard_pa, 0.0);
    assert_eq!(at(0.0).clipped_share(1.0), 0.0);
}

#[test]
fn verif_figures_of_waves_that_cannot_be_are_refused() {
    let changed = |change: fn(&mut InWaves)| {
        let mut of = stiff();
        change(&mut of);
        HeardWaves::new(&of).map(|_| ())
    };
    changed(|_| {}).unwrap();
    changed(|of| of.density_kg_m3 = 0.0).unwrap_err();
    changed(|of| of.water_depth_m = -1.0).unwrap_err();
    changed(|of| of.depth_m = -1.0).unwrap_err();
    let held = |diameter_m, share| Some(HeldBy { diameter_m, share });
    for held_by in [held(0.0, 1.0), held(1.0, -0.1), held(1.0, 1.1)] {
        HeardWaves::new(&InWaves { held_by, ..stiff() }).unwrap_err();
    }
    let waves = HeardWaves::new(&stiff()).unwrap();
    waves.in_sea(f64::NAN, 10.0).unwrap_err();
    waves.in_sea(2.0, 0.0).unwrap_err();
}

/// Stiff risers of the reference: the spectrum by `quad`, and eleven days of random phases, counted.
#[test]
fn val_seas_on_stiff_risers() {
    let document = truth::json("mooring/scipy-sea.json");
    let cases = list(&document["cases"]);
    assert_eq!(cases.len(), 4);
    for row in cases {
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
        close("heard_pa", sea.heard_pa, of("heard_pa"), SIGMAS);
        let share = sea.clipped_share(number(&row["drawn"]["full_scale_pa"]));
        close("share", share, number(&row["drawn"]["share"]), DRAWN);
    }
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

/// A risen sea is Pierson and Moskowitz's: 0.21 U^2/g and 0.877 g/U of the wind at 19.5 m (as Stewart's Introduction to Physical Oceanography has them, from memory), and its
/// spectrum in height and period is theirs in wind: `(5/16) H^2 fp^4 = alpha g^2 / (2 pi)^4`, whatever the wind.
#[test]
fn verif_a_risen_sea_is_that_of_pierson_and_moskowitz() {
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
