//! Spectra of calls in decidecades.

use std::path::Path;

use assess::range::call_spectrum;
use plan::{CallIx, Reading};
use seawater::absorption;

/// The first example with its call written anew, and how sound spreads.
fn reading(call: &str) -> Reading {
    let path = Path::new(concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/../../plans/harrow-sound/plan.toml"
    ));
    let text = std::fs::read_to_string(path).unwrap();
    let begin = text.find("[call.upcall]").unwrap();
    let end = begin + text[begin..].find("\n[detector").unwrap();
    let text = format!(
        "{}[call.upcall]\n{call}\ndepth = \"22 m\"\n{}",
        &text[..begin],
        &text[end..]
    );
    let text = text.replace("spreading = \"transition\"", "spreading = \"spherical\"");
    let text = text
        .lines()
        .filter(|line| !line.starts_with("spreading_changes_at"));
    let text = text.collect::<Vec<_>>().join("\n");
    let folder = plan::from_folder_of(path);
    let reading = assess::read(path, &|wanted: &Path| match wanted == path {
        true => Ok(text.clone().into_bytes()),
        false => folder(wanted),
    });
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    reading
}

const SWEEP: &str = "kind = \"upsweep\"\nfrom = \"100 Hz\"\nto = \"400 Hz\"\nlength = \"8 s\"\nsource_level = \"172 dB re 1 uPa m\"";

/// A linear sweep that is long for its width spreads its energy evenly over its frequencies (stationary phase), so that each decidecade
/// between its ends has the share of its width: 10^(k/10) (10^0.05 - 10^-0.05) / 300 Hz.
#[test]
fn verif_a_sweep_has_in_each_band_the_share_of_its_width() {
    let reading = reading(SWEEP);
    let line = reading.line.as_ref().unwrap();
    let on = line.detectors[0].on;
    let found = call_spectrum(line, CallIx(0), on, 1000.0).unwrap();
    let mut compared = 0;
    for one in &found.bands {
        let (low_hz, high_hz) = (one.band.low_hz(), one.band.high_hz());
        if low_hz > 110.0 && high_hz < 390.0 {
            let share_db = 10.0 * ((high_hz - low_hz) / 300.0).log10();
            // Its soft ends, of 50 ms of 8 s each, leave a little more for the middle.
            assert!(
                (one.source_level_db - 172.0 - share_db).abs() < 0.2,
                "{one:?}"
            );
            compared += 1;
        }
    }
    assert_eq!(compared, 5);
    // All bands together are the call.
    let sum: f64 = found
        .bands
        .iter()
        .map(|b| 10_f64.powf(b.source_level_db / 10.0))
        .sum();
    assert!((10.0 * sum.log10() - 172.0).abs() < 0.01);
    // Far outside there is next to nothing.
    let far = found.bands.iter().find(|b| b.band.centre_hz() > 2000.0);
    assert!(far.is_none_or(|b| b.source_level_db < 172.0 - 50.0));
}

/// At the hydrophone a band has lost 20 lg(r / 1 m) and what the water takes at its middle.
#[test]
fn verif_at_the_hydrophone_spreading_and_absorption_are_lost() {
    let reading = reading(SWEEP);
    let line = reading.line.as_ref().unwrap();
    let on = line.detectors[0].on;
    let depth_m = line.modules[on.module.0].depth_m;
    let water = assess::input::profile(line).unwrap();
    for range_m in [1000.0, 9000.0] {
        let found = call_spectrum(line, CallIx(0), on, range_m).unwrap();
        assert_eq!(found.range_m, range_m);
        for one in &found.bands {
            let slant_m = (range_m * range_m + (depth_m - 22.0).powi(2)).sqrt();
            let middle_m = 0.5 * (depth_m + 22.0);
            let (t, s) = (
                water.temperature_degc(middle_m).unwrap(),
                water.salinity(middle_m).unwrap(),
            );
            let absorbed = absorption(
                one.band.centre_hz(),
                t,
                s,
                middle_m,
                line.sea.ph.unwrap().si,
            )
            .unwrap();
            let loss_db = 20.0 * slant_m.log10() + absorbed.total_db_per_km * slant_m / 1000.0;
            let lost = one.source_level_db - one.received_level_db;
            assert!((lost - loss_db).abs() < 1e-9, "{one:?}");
        }
    }
}

/// What the plan does not say is said to be missing.
#[test]
fn verif_a_call_above_what_is_heard_is_refused() {
    let high = SWEEP.replace("400 Hz", "90 kHz");
    let reading = reading(&high);
    let line = reading.line.as_ref().unwrap();
    let error = call_spectrum(line, CallIx(0), line.detectors[0].on, 1000.0).unwrap_err();
    assert!(error.to_string().contains("hears up to"), "{error}");
}
