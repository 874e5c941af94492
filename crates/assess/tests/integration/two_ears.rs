//! The elevation that two hydrophones tell, against rays through the water of the invented Silt Hollow.

use std::path::{Path, PathBuf};

use assess::{Elevation, PairTold, PathAsk, PathError, sound_paths, sound_paths_with};
use plan::Line;

fn hollow(changes: &[(&str, &str)]) -> Line {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../plans/silt-hollow/plan.toml");
    let plan: PathBuf = path.clone();
    let reading = assess::read(&path, &|path| {
        let bytes = std::fs::read(path)?;
        if path != plan {
            return Ok(bytes);
        }
        let mut text = String::from_utf8(bytes).unwrap();
        for (from, to) in changes {
            assert!(text.contains(from), "`{from}` is not in the plan");
            text = text.replace(from, to);
        }
        Ok(text.into_bytes())
    });
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    reading.line.unwrap()
}

fn pair(line: &Line, range_m: f64, source_depth_m: f64) -> PairTold {
    let ask = PathAsk {
        source_depth_m,
        range_m: Some(range_m),
        out_to_m: range_m,
        to: None,
        frequency_hz: None,
        field: false,
    };
    sound_paths(line, &ask).unwrap().pairs.remove(0)
}

/// Limits without refraction, degrees: what the other parts make of the sine.
fn straight(e: &Elevation) -> (f64, f64) {
    let p = &e.parts;
    let whole = [p.clocks, p.estimate, p.distance, p.formula, p.profile]
        .iter()
        .map(|part| part * part)
        .sum::<f64>()
        .sqrt();
    let sine = libm::sin(e.elevation_deg.to_radians());
    let deg = |sine: f64| libm::asin(sine.clamp(-1.0, 1.0)).to_degrees();
    (deg(sine - whole), deg(sine + whole))
}

/// Number of sources of which the limits hold the first path to both, of how many, and of how many those without refraction do.
fn held(line: &Line, ranges_m: &[f64], depths_m: &[f64]) -> (usize, usize, usize) {
    let (mut all, mut within, mut without) = (0, 0, 0);
    for range_m in ranges_m {
        for depth_m in depths_m {
            let told = pair(line, *range_m, *depth_m);
            let (Some(e), Some(upper), Some(lower)) =
                (told.elevation, told.upper_path_deg, told.lower_path_deg)
            else {
                continue;
            };
            let both = |(least, most): (f64, f64)| {
                [upper, lower]
                    .iter()
                    .all(|deg| least <= *deg && *deg <= most)
            };
            all += 1;
            within += usize::from(both((e.least_deg, e.most_deg)));
            without += usize::from(both(straight(&e)));
        }
    }
    (all, within, without)
}

const RANGES_M: [f64; 6] = [450.0, 600.0, 750.0, 900.0, 1200.0, 1600.0];
const DEPTHS_M: [f64; 8] = [5.0, 14.0, 22.0, 30.0, 40.0, 50.0, 70.0, 100.0];

/// The upper hydrophone above the thermocline, within its foot, and both below: where the same way leads to both, its angles at both
/// lie within the limits, and without curvature and refraction some would not. Where different ways come first, no elevation is told.
#[test]
fn verif_limits_hold_the_rays_across_a_thermocline_and_below_it() {
    for (upper, least) in [("12 m", 20), ("32 m", 20), ("45 m", 30)] {
        let place = format!("{upper} ± 0.3 m");
        let line = hollow(&[("45 m ± 0.3 m", &place)]);
        let (all, within, without) = held(&line, &RANGES_M, &DEPTHS_M);
        assert!(all >= least && within == all, "{upper}: {within} of {all}");
        assert!(without + 5 <= all, "{upper}: {without} of {all}");
    }
}

/// A front that is curved: the nearer the source, the wider the limits, by half the distance over the range about the horizon.
#[test]
fn verif_a_near_source_widens_the_limits() {
    let line = hollow(&[]);
    let front = |range_m: f64| pair(&line, range_m, 60.0).elevation.unwrap().parts.front;
    assert!((front(300.0).unwrap() - 15.0 / 300.0).abs() < 1e-4);
    assert!((front(450.0).unwrap() - 15.0 / 450.0).abs() < 1e-4);
}

/// Paths that nobody waits for any more are given up at the next look, in the table and in the picture.
#[test]
fn verif_paths_that_nobody_waits_for_are_given_up() {
    let line = hollow(&[]);
    let mut ask = PathAsk {
        source_depth_m: 20.0,
        range_m: None,
        out_to_m: 10_000.0,
        to: None,
        frequency_hz: None,
        field: false,
    };
    let looks = std::cell::Cell::new(0_u32);
    let until = |most: u32, ask: &PathAsk| {
        looks.set(0);
        let go_on = || {
            looks.set(looks.get() + 1);
            looks.get() < most
        };
        sound_paths_with(&line, ask, &go_on)
    };
    assert!(until(u32::MAX, &ask).is_ok());
    let table = looks.get();
    assert!(table > 100, "{table}");
    ask.field = true;
    for most in [1, 5, table + 50] {
        let given_up = until(most, &ask);
        assert!(matches!(given_up, Err(PathError::Cancelled)), "{most}");
        assert_eq!(looks.get(), most);
    }
}
