//! Limits on the chain of a hydrophone that cannot be, and what is said of them.

use crate::support::{Files, SMALL, bad, changed};

const VOLTS: &str = "that = \"voltage\"\nof = \"module.upper\"\nat_least = \"12 V\"";

bad! {
    self_noise_of_a_module: VOLTS => "that = \"self-noise\"\nof = \"module.upper\"\nat_least = \"6 dB\"";
    self_noise_without_a_limit: VOLTS => "that = \"self-noise\"";
    self_noise_with_a_level: VOLTS => "that = \"self-noise\"\nat_least = \"6 dB re 1 uPa\"";
    pick_ups_that_cannot_be: VOLTS => "that = \"pick-up\"\nat_least = \"10 dB\"\n[module.upper.sensor.two]\nkind = \"hydrophone\"\nsensitivity = \"-170 dB re 1 V/uPa\"\ngain = \"20 dB\"\nadc = { full_scale = \"2.5 V\", bits = 16, rate = \"48 kHz\", oversampling = { rate = \"1 MHz\", stop_band = \"90 dB\" } }\ncalibrated = { date = 2026-11-02, by = \"tank\" }\npick_up = [\n  { level = \"60 dB re 1 uPa\", voltage = \"1 uV\", frequency = \"300 kHz\" },\n  { level = \"60 dB re 1 uPa\" },\n  { every = \"1 s\", lasts = \"2 s\", band = [\"2 kHz\", \"1 kHz\"] },\n  { from = \"module.nobody\", voltage = \"1 uV\", every = \"1 s\", frequency = \"1 kHz\" },\n  { in_states = [\"dreaming\"], level = \"60 dB re 1 uPa\", frequency = \"1 kHz\", harmonics = 100, falls = \"6 dB\" },\n]\n[module.upper.sensor.warm]\nkind = \"temperature\"\nno_pick_up = true";
    pick_up_of_nothing_and_of_something: "gain = \"20 dB\"" => "gain = \"20 dB\"\nno_pick_up = true\npick_up = [{ level = \"60 dB re 1 uPa\", every = \"1 s\", lasts = \"1 ms\", band = [\"1 kHz\", \"2 kHz\"] }]";
    watches_that_cannot_be: "[traffic]" => "[watch.piling]\nlimit = \"160 dB\"\nat = \"750 m\"\nby = \"detector.nobody\"\nhydrophone_at = \"0 m\"\nmissed = \"60 %\"\nto = \"module.upper\"\nband = [\"2 kHz\", \"1 kHz\"]\n[watch.alone]\nlimit = \"160 dB re 1 uPa\"\nat = \"750 m\"\nby = \"detector.upcall\"\nhydrophone_at = \"750 m\"\nmissed = \"5 %\"\nwithin = \"2 s\"\n[traffic]";
    pick_up_in_samples_that_cannot_be: "gain = \"20 dB\"" => "gain = \"20 dB\"\npick_up = [\n  { shown = \"60 dB re 1 uPa\", frequency = \"340 kHz\", harmonics = 3, falls = \"6 dB\" },\n  { shown = \"60 dB re 1 uPa\", shown_at = \"400 kHz\" },\n  { level = \"60 dB re 1 uPa\", shown_at = \"1 kHz\" },\n  { shown = \"60 dB re 1 uPa\", voltage = \"1 uV\", every = \"1 s\", lasts = \"1 ms\", band = [\"1 kHz\", \"2 kHz\"] },\n  { shown = \"60 dB re 1 uPa\" },\n]";
    pick_up_of_a_module: VOLTS => "that = \"pick-up\"\nof = \"module.upper\"\nat_least = \"6 dB\"";
    overload_without_its_reference: VOLTS => "that = \"overload\"\nat_least = \"165 dB\"";
}

#[test]
fn verif_limits_on_a_chain_resolve_to_what_they_say() {
    let text = changed(
        SMALL,
        VOLTS,
        "that = \"self-noise\"\nat_least = \"6 dB\"\n[requirement.loud]\nthat = \"overload\"\nof = \"module.upper.sensor.ear\"\nat_least = \"165 dB re 1 uPa\"",
    );
    let reading = Files::one(text).read();
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    let line = reading.line.unwrap();
    let of = |wanted: &str| {
        &line
            .requirements
            .iter()
            .find(|r| r.id == wanted)
            .unwrap()
            .that
    };
    let plan::That::Overload {
        of: Some(ear),
        at_least_db,
    } = of("loud")
    else {
        panic!("no overload");
    };
    assert_eq!(at_least_db.db, 165.0);
    assert_eq!(line.sensor_path(*ear), "module.upper.sensor.ear");
    let mut all = line.requirements.iter();
    assert!(all.any(|r| matches!(
        r.that,
        plan::That::SelfNoise { of: None, at_least_db } if at_least_db.db == 6.0
    )));
}
