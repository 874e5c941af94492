//! Calls and what is required of their detection: the small good plan with a call that cannot be, and what is said of it.

use crate::support::{Files, SMALL, bad, changed};

const VOLTS: &str = "that = \"voltage\"\nof = \"module.upper\"\nat_least = \"12 V\"";

bad! {
    call_of_an_unknown_kind: "[traffic]" => "[call.up]\nkind = \"hum\"\nlow = \"20 Hz\"\nhigh = \"200 Hz\"\nlength = \"1 s\"\nsource_level = \"172 dB re 1 uPa m\"\ndepth = \"10 m\"\n[traffic]";
    call_without_its_length_and_depth: "[traffic]" => "[call.up]\nkind = \"upsweep\"\nfrom = \"90 Hz\"\nto = \"150 Hz\"\nsource_level = \"172 dB re 1 uPa m\"\n[traffic]";
    call_with_keys_of_another_kind: "[traffic]" => "[call.up]\nkind = \"tone\"\nfrequency = \"90 Hz\"\nlength = \"1 s\"\npulses = 3\nsource_level = \"172 dB re 1 uPa m\"\ndepth = \"10 m\"\n[traffic]";
    call_with_a_received_level: "[traffic]" => "[call.up]\nkind = \"tone\"\nfrequency = \"90 Hz\"\nlength = \"1 s\"\nsource_level = \"172 dB re 1 uPa\"\ndepth = \"10 m\"\n[traffic]";
    call_from_below_the_seabed: "[traffic]" => "[call.up]\nkind = \"tone\"\nfrequency = \"90 Hz\"\nlength = \"1 s\"\nsource_level = \"172 dB re 1 uPa m\"\ndepth = \"500 m\"\n[traffic]";
    recorded_call_outside_the_folder: "[traffic]" => "[call.up]\nkind = \"recording\"\nfile = \"../up.wav\"\nsource_level = \"172 dB re 1 uPa m\"\ndepth = \"10 m\"\n[traffic]";
    range_of_a_call_that_does_not_exist: VOLTS => "that = \"detection-range\"\nof = \"detector.call\"\ncall = \"call.up\"\nat_least = \"2 km\"\nshare = \"50 %\"";
    range_without_its_share: VOLTS => "that = \"detection-range\"\nof = \"detector.call\"\ncall = \"call.up\"\nat_least = \"2 km\"";
    range_in_years: VOLTS => "that = \"detection-range\"\nof = \"detector.call\"\ncall = \"call.up\"\nat_least = \"2 km\"\nshare = \"50 %\"\nin = \"90 % of years\"\n[call.up]\nkind = \"tone\"\nfrequency = \"90 Hz\"\nlength = \"1 s\"\nsource_level = \"172 dB re 1 uPa m\"\ndepth = \"10 m\"";
    range_in_all_hours: VOLTS => "that = \"detection-range\"\nof = \"detector.call\"\ncall = \"call.up\"\nat_least = \"2 km\"\nshare = \"50 %\"\nin = \"100 % of hours\"\n[call.up]\nkind = \"tone\"\nfrequency = \"90 Hz\"\nlength = \"1 s\"\nsource_level = \"172 dB re 1 uPa m\"\ndepth = \"10 m\"";
    range_in_hours_and_up_to_a_wind: VOLTS => "that = \"detection-range\"\nof = \"detector.call\"\ncall = \"call.up\"\nat_least = \"2 km\"\nshare = \"50 %\"\nin = \"90 % of hours\"\nwhen_wind_at_most = \"8 m/s\"\n[call.up]\nkind = \"tone\"\nfrequency = \"90 Hz\"\nlength = \"1 s\"\nsource_level = \"172 dB re 1 uPa m\"\ndepth = \"10 m\"";
    voltage_up_to_a_wind: VOLTS => "that = \"voltage\"\nof = \"module.upper\"\nat_least = \"12 V\"\nwhen_wind_at_most = \"8 m/s\"";
    range_of_a_module: VOLTS => "that = \"detection-range\"\nof = \"module.upper\"\ncall = \"call.up\"\nat_least = \"2 h\"\nshare = \"50 %\"\n[call.up]\nkind = \"tone\"\nfrequency = \"90 Hz\"\nlength = \"1 s\"\nsource_level = \"172 dB re 1 uPa m\"\ndepth = \"10 m\"";
}

const UPCALL: &str = "[call.up]\nkind = \"upsweep\"\nfrom = \"90 Hz\"\nto = \"150 Hz\"\nlength = \"0.7 s\"\nsource_level = \"172 dB re 1 uPa m \u{b1} 10 dB\"\ndepth = \"10 m\"\n[traffic]";

#[test]
fn verif_a_call_and_its_range_resolve_to_what_they_say() {
    let text = changed(SMALL, "[traffic]", UPCALL);
    let text = changed(
        &text,
        VOLTS,
        "that = \"detection-range\"\nof = \"detector.call\"\ncall = \"call.up\"\nat_least = \"2 km\"\nshare = \"50 %\"",
    );
    let reading = Files::one(text).read();
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    let line = reading.line.unwrap();
    let call = &line.calls[0];
    assert_eq!(call.id, "up");
    assert_eq!(call.source_level_db.db, 172.0);
    assert!(matches!(
        call.source_level_db.law,
        Some(quantity::Law::Normal { half_width }) if half_width == 10.0
    ));
    assert_eq!(call.depth_m.si, 10.0);
    assert!(matches!(
        &call.what,
        plan::SoundKind::Upsweep { from_hz, to_hz, length_s }
            if from_hz.si == 90.0 && to_hz.si == 150.0 && length_s.si == 0.7
    ));
    let found = line.requirements.iter().find_map(|r| match r.that {
        plan::That::DetectionRange {
            of,
            call,
            at_least_m,
            encounter: None,
            in_hours: None,
        } => Some((of, call, at_least_m.si)),
        _ => None,
    });
    assert_eq!(found, Some((plan::DetectorIx(0), plan::CallIx(0), 2000.0)));
}
