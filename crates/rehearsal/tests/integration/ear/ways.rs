//! Surface image and rays, as an ear hears them.

use rehearsal::ear::{Ear, Sea, Ways};
use seawater::{
    Bed, Profile, ProfilePoint, RayLimits, RaySea, coherent_loss_db, lloyd_mirror_loss_db,
};
use timeline::Ns;

use super::support::{
    bits, ear, fixed, level_db, near, point, s, samples, sea, sound, tone, voices, wide_chain,
};
use plan::SoundKind;
use seawater::Spreading;

const LIMITS: RayLimits = RayLimits {
    most_bed_bounces: 3,
    most_surface_bounces: 40,
    faintest_db: 40.0,
    most_paths: 16,
};
const SAND: Bed = Bed::Fluid {
    sound_speed_m_s: 1650.0,
    density_kg_m3: 1900.0,
    attenuation_db_per_wavelength: 0.8,
};

fn with(ways: Ways) -> Sea {
    Sea {
        ways,
        ..sea(Spreading::Spherical)
    }
}

fn rays(seabed_m: f64, bed: Bed, limits: RayLimits) -> Ways {
    Ways::Rays {
        seabed_m,
        bed,
        limits,
    }
}

/// Level of a tone in its steady part.
fn tone_db(sea: &Sea, frequency_hz: f64, range_m: f64, depths_m: (f64, f64)) -> f64 {
    let rate_hz = 16_000.0;
    let spec = ear("ear", depths_m.1, wide_chain(rate_hz));
    let sounds = voices(vec![sound(
        0.0,
        tone(frequency_hz, 4.0),
        150.0,
        fixed(range_m, depths_m.0),
    )]);
    let mut ear = Ear::without_noise(spec, sea, &sounds, Ns(0)).unwrap();
    let from_s = range_m / 1490.0 + 1.5;
    let heard = samples(&mut ear, from_s + 1.5);
    150.0 - level_db(&heard, rate_hz, from_s, from_s + 1.0)
}

/// Closed form with sound speed from Mackenzie's polynomial at the middle of the shallow water, absorption (0.06 dB/km at 1 kHz)
/// within the tolerance, which also holds the rise of the speed with depth at these short ranges.
#[test]
fn verif_a_tone_interferes_with_its_image() {
    let mut most_db = 0.0_f64;
    for (f, zs, zr, r) in [
        (400.0, 4.0, 25.0, 300.0),
        (1000.0, 3.0, 20.0, 200.0),
        (1000.0, 3.0, 20.0, 120.0),
    ] {
        let expected = lloyd_mirror_loss_db(f, zs, zr, r, 1490.0).unwrap();
        let by_image = tone_db(&with(Ways::SurfaceImage), f, r, (zs, zr));
        near(by_image, expected, 0.15);
        let deep = RayLimits {
            most_bed_bounces: 0,
            ..LIMITS
        };
        let by_rays = tone_db(&with(rays(4000.0, SAND, deep)), f, r, (zs, zr));
        near(by_rays, expected, 0.15);
        let alone = tone_db(
            &with(Ways::Simple {
                spreading: Spreading::Spherical,
            }),
            f,
            r,
            (zs, zr),
        );
        most_db = most_db.max((alone - expected).abs());
    }
    assert!(most_db > 2.0, "the image is heard: {most_db}");
}

/// Farther out the rise of the speed with depth moves the interference by tenths of a decibel; mean slowness along straight ways and
/// bent rays tell it alike.
#[test]
fn verif_image_and_rays_agree_where_the_speed_rises() {
    let (f, zs, zr, r) = (1000.0, 3.0, 20.0, 500.0);
    let deep = RayLimits {
        most_bed_bounces: 0,
        ..LIMITS
    };
    let by_image = tone_db(&with(Ways::SurfaceImage), f, r, (zs, zr));
    let by_rays = tone_db(&with(rays(4000.0, SAND, deep)), f, r, (zs, zr));
    near(by_image, by_rays, 0.1);
    let even = lloyd_mirror_loss_db(f, zs, zr, r, 1490.0).unwrap();
    assert!((by_image - even).abs() > 0.2, "{by_image} {even}");
}

/// Second route: the coherent sum of the paths that `seawater` finds.
#[test]
fn verif_a_tone_comes_with_all_its_paths() {
    let sea = with(rays(60.0, SAND, LIMITS));
    for (f, range_m) in [(300.0, 400.0), (1200.0, 900.0)] {
        let ray_sea = RaySea::new(&sea.profile, 60.0, SAND, f, 8.0).unwrap();
        let paths = ray_sea
            .between(10.0, 45.0)
            .unwrap()
            .eigenrays(range_m, &LIMITS)
            .unwrap()
            .paths;
        assert!(paths.len() > 5);
        let expected = coherent_loss_db(&paths, f);
        near(tone_db(&sea, f, range_m, (10.0, 45.0)), expected, 0.05);
    }
}

/// A source that moves: the pressure at every instant against the paths solved for that very place.
#[test]
fn verif_a_moving_tone_is_the_sum_of_its_paths_all_along() {
    let thermocline = |(depth_m, temperature_degc)| ProfilePoint {
        depth_m,
        temperature_degc,
        salinity: 34.5,
    };
    let profile =
        Profile::new(&[(0.0, 17.0), (12.0, 16.8), (25.0, 10.0), (60.0, 9.0)].map(thermocline))
            .unwrap();
    // Only bounces without a phase of their own, whose delays are exact.
    let bed = Bed::Loss { per_bounce_db: 4.0 };
    let limits = RayLimits {
        most_bed_bounces: 1,
        most_surface_bounces: 1,
        faintest_db: 60.0,
        most_paths: 16,
    };
    let sea = Sea {
        profile: profile.clone(),
        ..with(rays(60.0, bed, limits))
    };
    let (f, rate_hz) = (500.0, 16_000.0);
    let track = vec![point(0.0, 420.0, 0.0, 30.0), point(40.0, 300.0, 20.0, 40.0)];
    let sounds = voices(vec![sound(0.0, tone(f, 40.0), 150.0, track)]);
    let mut ear =
        Ear::without_noise(ear("ear", 50.0, wide_chain(rate_hz)), &sea, &sounds, Ns(0)).unwrap();
    let heard = samples(&mut ear, 36.0);
    let ray_sea = RaySea::new(&profile, 60.0, bed, f, 8.0).unwrap();
    let (mut power, mut error) = (0.0, 0.0);
    for i in 0..60 {
        let t_s = 3.0 + 0.5 * f64::from(i);
        let n = (t_s * rate_hz) as usize;
        // Where each path's sound was emitted: the delay changes little over the paths' spread, so a step or two are enough.
        let place = |emitted_s: f64| {
            let share = emitted_s / 40.0;
            let bearing = 20.0 / 180.0 * std::f64::consts::PI;
            let (x, y) = (
                share * 300.0 * libm::sin(bearing),
                420.0 + share * (300.0 * libm::cos(bearing) - 420.0),
            );
            (libm::hypot(x, y), 30.0 + 10.0 * share)
        };
        let mut sum = 0.0;
        let first = place(t_s - 0.28);
        let families = ray_sea
            .between(first.1, 50.0)
            .unwrap()
            .eigenrays(first.0, &limits)
            .unwrap()
            .paths;
        for one in families {
            let (mut emitted_s, mut path) = (t_s - one.time_s, one);
            for _ in 0..4 {
                let (range_m, depth_m) = place(emitted_s);
                let found = ray_sea
                    .between(depth_m, 50.0)
                    .unwrap()
                    .eigenrays(range_m, &limits)
                    .unwrap();
                let Some(same) = found.paths.into_iter().find(|p| p.family == one.family) else {
                    break;
                };
                path = same;
                emitted_s = t_s - path.time_s;
            }
            let sign = if path.family.surface_bounces % 2 == 0 {
                1.0
            } else {
                -1.0
            };
            let size = sign * libm::pow(10.0, (150.0 - path.loss_db()) / 20.0) * libm::sqrt(2.0);
            let rest =
                path.phase_rad - f64::from(path.family.surface_bounces) * std::f64::consts::PI;
            sum += size * libm::sin(2.0 * std::f64::consts::PI * f * emitted_s - rest);
        }
        let difference = f64::from(heard[n]) - sum;
        power += sum * sum;
        error += difference * difference;
    }
    let below_db = 10.0 * libm::log10(power / error);
    assert!(below_db > 30.0, "error {below_db} dB down");
}

/// Beyond the edge of a shadow nothing arrives, and there is no arrival.
#[test]
fn verif_nothing_arrives_in_a_shadow() {
    let point = |(depth_m, temperature_degc)| ProfilePoint {
        depth_m,
        temperature_degc,
        salinity: 35.0,
    };
    let sea = Sea {
        profile: Profile::new(&[(0.0, 20.0), (200.0, 8.0)].map(point)).unwrap(),
        ..with(rays(
            200.0,
            SAND,
            RayLimits {
                most_bed_bounces: 0,
                ..LIMITS
            },
        ))
    };
    for (range_m, arrivals) in [(300.0, 1), (6000.0, 0)] {
        let sounds = voices(vec![sound(
            0.0,
            tone(400.0, 1.0),
            170.0,
            fixed(range_m, 8.0),
        )]);
        let ear =
            Ear::without_noise(ear("ear", 10.0, wide_chain(8000.0)), &sea, &sounds, Ns(0)).unwrap();
        assert_eq!(ear.arrivals().len(), arrivals, "{range_m}");
    }
}

/// Same bytes in small steps and large, with rays that open and close along the track.
#[test]
fn verif_rays_are_the_same_in_any_steps() {
    let sea = with(rays(60.0, SAND, LIMITS));
    let track = vec![point(0.0, 700.0, 0.0, 8.0), point(20.0, 900.0, 10.0, 20.0)];
    let hum = SoundKind::Hum {
        low_hz: super::support::q(100.0),
        high_hz: super::support::q(900.0),
        blade_rate_hz: None,
        length_s: super::support::q(6.0),
    };
    let sounds = voices(vec![
        sound(0.1, tone(440.0, 5.0), 160.0, track.clone()),
        sound(0.6, hum, 160.0, track),
    ]);
    let new = || Ear::new(ear("ear", 40.0, wide_chain(8000.0)), &sea, &sounds, Ns(0)).unwrap();
    let whole = samples(&mut new(), 7.0);
    let mut stepped_ear = new();
    let (mut stepped, mut cells) = (Vec::new(), Vec::new());
    for i in 1..=700 {
        stepped_ear
            .advance_with(s(f64::from(i) * 0.01), &mut cells, &mut |taken| {
                stepped.extend_from_slice(taken.pressure_upa);
            })
            .unwrap();
    }
    assert!(bits(&cells).is_empty());
    assert_eq!(whole.len(), stepped.len());
    assert!(
        whole
            .iter()
            .zip(&stepped)
            .all(|(a, b)| a.to_bits() == b.to_bits())
    );
    assert!(level_db(&whole, 8000.0, 2.0, 4.0) > 90.0);
}
