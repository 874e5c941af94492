//! Things that do not go together: the small good plan with one thing changed, and what is said of it.

use crate::support::{Files, SMALL, bad, changed, said};

const PLACE: &str = "position = { section = \"section.riser\", from_top = \"22 m\" }";
const UPPER: &str = "loads = { listening = \"0.5 W\" }";
const TELL: &str = "do = [{ publish = \"alert/call\" }]";
const VOLTS: &str = "that = \"voltage\"\nof = \"module.upper\"\nat_least = \"12 V\"";

bad! {
    position_that_says_nothing: PLACE => "position = {}";
    position_without_its_section: PLACE => "position = { from_top = \"22 m\" }";
    position_with_section_and_depth: PLACE => "position = { section = \"section.riser\", depth = \"22 m\" }";
    position_with_a_wrong_length: PLACE => "position = { section = \"section.riser\", from_top = \"22\" }";
    position_on_no_section: PLACE => "position = { section = \"section.raiser\", from_top = \"22 m\" }";
    above_the_surface: "position = { depth = \"0 m\" }" => "position = { section = \"section.riser\", from_top = \"0 m\" }";
    section_that_does_not_reach: "length = \"90 m\"" => "length = \"70 m\"";
    duty_that_is_not_the_whole_time: UPPER => "loads = { listening = \"0.5 W\", asleep = \"1 mW\" }\nduty = [{ state = \"listening\", share = \"50 %\" }, { state = \"asleep\", share = \"40 %\" }]";
    duty_of_no_state: UPPER => "loads = { listening = \"0.5 W\" }\nduty = [{ state = \"listning\", share = \"100 %\" }]";
    duty_of_one_state_twice: UPPER => "loads = { listening = \"0.5 W\" }\nduty = [{ state = \"listening\", share = \"50 %\" }, { state = \"listening\", share = \"50 %\" }]";
    age_of_no_months: VOLTS => "that = \"calibration-age\"\nat_most = \"0 months\"";
    age_of_half_a_month: VOLTS => "that = \"calibration-age\"\nat_most = \"1.5 months\"";
    outage_without_a_share: VOLTS => "that = \"outage-hours\"\nat_most = \"0 h\"";
    limit_on_half_a_message: "at_most = \"6 per hour\"" => "at_most = \"2.5 per hour\"";
    message_of_a_million_packets: "size = \"12 B\"" => "size = \"1 GB\"";
    interval_of_nothing: "when_told = \"alert/#\"" => "each = \"1 us\"";
    sections_that_hang_on_each_other: "[section.riser]" => "[section.arm]\nfrom = \"module.upper\"\nto = \"module.far\"\nlength = \"9 m\"\n[module.far]\nposition = { section = \"section.leg\", from_top = \"1 m\" }\n[section.leg]\nfrom = \"module.near\"\nto = \"module.far\"\nlength = \"9 m\"\n[module.near]\nposition = { section = \"section.leg\", from_anchor = \"1 m\" }\n[section.riser]";
    working_load_beyond_the_breaking_load: "rope = \"part.line\"" => "rope = \"part.thin\"\n\n[part.thin]\nis = \"rope\"\nbreaking_load = \"900 N\"\nworking_load = \"4 kN\"";
    section_with_both_ends_the_same: "to = \"anchor.sinker\"" => "to = \"module.buoy\"";
    module_that_is_no_table: "[module.upper]" => "[module]\nupper = 3\n[module.lower]";
    module_without_its_position: "position = { depth = \"0 m\" }\n" => "";
    deployment_that_is_wrong_does_not_hide_the_rest: "start = 2027-03-15\nduration" => "start = 2027-03-15T06:00\nend";
    solar_supply_without_panels: "kind = \"bench\"" => "kind = \"solar-battery\"";
    bench_supply_with_a_battery: "kind = \"bench\"" => "kind = \"bench\"\nbattery = { chemistry = \"agm\", capacity = \"9 Ah\", voltage = \"12 V\" }";
    module_written_twice: "[module.upper]" => "[module.buoy]\nposition = { depth = \"1 m\" }\nloads = { idle = \"0.4 W\" }\nprocessing = \"1 ms\"\n[module.buoy.output.lantern]\nkind = \"relay\"\n[module.upper]";
    module_written_twice_without_its_position: "[module.upper]" => "[module.buoy]\nprocessing = \"1 ms\"\n[module.upper]";
    site_written_twice: "[anchor.sinker]" => "[site]\nph = 8\n[anchor.sinker]";
    key_of_an_inline_table_written_twice: "salinity = 34 }" => "salinity = 34, depth = \"1 m\" }";
    rate_without_a_link: "link = \"10BASE-T1L\"" => "link_rate = \"1 Mbit/s\"";
    free_link_with_a_wrong_rate: "link = \"10BASE-T1L\"" => "link = \"free\"\nlink_rate = \"1 MHz\"";
    no_traffic: "[traffic]\nstack = [\"ethernet\", \"ipv6\", \"udp\"]\npacket = \"1400 B\"" => "";
    sensor_with_a_strange_key: UPPER => "loads = { listening = \"0.5 W\" }\nsensor.water = { kind = \"temperature\", gain = \"3 dB\" }";
    hydrophone_without_gain: "gain = \"20 dB\"\n" => "";
    hydrophone_with_a_wrong_gain: "gain = \"20 dB\"\n" => "gain = \"20\"\n";
    more_effective_bits_than_bits: "adc = { full_scale = \"2.5 V\", bits = 16," => "amplifier_noise = \"5 nV\"\nadc = { full_scale = \"2.5 V\", bits = 16, effective_bits = 17.5,";
    microphone_with_the_reference_of_water: "kind = \"hydrophone\"" => "kind = \"microphone\"";
    detector_on_a_thermometer: "kind = \"hydrophone\"\nsensitivity = \"-170 dB re 1 V/uPa\"\ngain = \"20 dB\"\nadc = { full_scale = \"2.5 V\", bits = 16, rate = \"8 kHz\" }\n" => "kind = \"temperature\"\n";
    value_of_a_part_overwritten_by_a_wrong_one: "sensor.ear = { part = \"part.ear\" }" => "sensor.ear.part = \"part.ear\"\nsensor.ear.gain = \"26\"";
    stages_as_tables_of_their_own: "stages = [\n  { band = [\"60 Hz\", \"260 Hz\"] },\n  { level = \"rms\", window = \"0.25 s\" },\n  { background = \"median\", over = \"30 s\" },\n  { on_above = \"9 dB\", off_below = \"6 dB\", shortest = \"0.4 s\", longest = \"2 s\", hold_off = \"10 s\" },\n]" => "[[detector.call.stages]]\nlevel = \"rms\"\nwindow = \"0.25\"\n[[detector.call.stages]]\nbackground = \"median\"\n";
    part_on_another_part: "is = \"rope\"" => "is = \"rope\"\npart = \"part.ear\"";
    part_with_a_bad_id: "[part.line]" => "[part.Line]";
    rope_that_does_not_exist: "rope = \"part.line\"" => "rope = \"part.lime\"";
    rope_that_is_a_sensor: "rope = \"part.line\"" => "rope = \"part.ear\"";
    wrong_rope: "diameter = \"12 mm\"" => "diameter = \"12 mn\"";
    part_as_a_text: "part = \"part.ear\"" => "part = \"ear\"";
    topic_that_does_not_exist: TELL => "do = [{ publish = \"alert/cal\" }]";
    switch_without_to: "do = [{ send_up = \"uplink.shore\", about = \"alert/call\" }]" => "do = [{ switch = \"module.buoy.output.lantern\" }]";
    send_up_about_nothing: "about = \"alert/call\"" => "for = \"1 s\"";
    send_up_without_about: ", about = \"alert/call\"" => "";
    state_for_no_time: TELL => "do = [{ publish = \"alert/call\" }, { enter = \"listening\" }]";
    state_of_another_module: TELL => "do = [{ publish = \"alert/call\" }, { enter = \"sending\", for = \"2 s\" }]";
    behaviour_started_by_nothing: "when_told = \"alert/#\"\n" => "";
    no_attempt_fits_into_a_window: "success = \"100 %\"" => "windows = { first = \"0 s\", period = \"1 h\", width = \"10 s\" }";
    window_longer_than_its_period: "success = \"100 %\"" => "windows = { first = \"0 s\", period = \"1 h\", width = \"2 h\" }";
    sending_state_that_does_not_exist: "success = \"100 %\"" => "sending_state = \"calling\"";
    delay_without_its_limit: VOLTS => "that = \"delay\"\nfrom = \"detector.call.confirmed\"\nto = \"module.buoy.output.lantern\"";
    delay_from_no_notice: VOLTS => "that = \"delay\"\nfrom = \"detector.call.begun\"\nto = \"module.buoy.output.lantern\"\nat_most = \"2 s\"";
    limits_that_cannot_both_hold: VOLTS => "that = \"voltage\"\nat_least = \"12 V\"\nat_most = \"10 V\"";
    requirement_on_another_kind_of_thing: VOLTS => "that = \"voltage\"\nof = \"span.top\"\nat_least = \"12 V\"";
    link_load_above_the_whole: VOLTS => "that = \"link-load\"\nat_most = \"120 %\"";
    link_load_without_a_limit: VOLTS => "that = \"link-load\"";
    limit_that_is_a_bare_number: VOLTS => "that = \"voltage\"\nat_least = 12";
    cue_sheet_outside_the_folder: VOLTS => "that = \"rehearsed\"\ncues = \"../night.toml\"";
    duplicate_table: "[span.top]" => "[module.upper]\nprocessing = \"1 ms\"\n[span.top]";
    unclosed_inline_table: "position = { depth = \"0 m\" }" => "position = { depth = \"0 m\"";
    unclosed_text: "rope = \"part.line\"" => "rope = \"part.line";
    unclosed_table_before_a_mistake: "position = { depth = \"0 m\" }" => "positoin = 1\nposition = { depth = \"0 m\"";
    comma_missing_in_a_list: "  { level = \"rms\", window = \"0.25 s\" },\n" => "  { level = \"rms\", window = \"0.25 s\" }\n";
    comma_missing_in_a_table: "{ level = \"rms\", window" => "{ level = \"rms\" window";
    key_without_value: "rope = \"part.line\"" => "rope";
    key_with_too_many_steps: "rope = \"part.line\"" => "rope.a.b.c.d.e.f.g.h.i.j.k.l.m.n.o.p.q = 1";
}

#[test]
fn regress_a_mistake_in_a_part_that_two_modules_use_is_told_once_with_both_uses() {
    let text = changed(SMALL, "gain = \"20 dB\"", "gain = \"20\"");
    let text = changed(
        &text,
        "[span.top]",
        "[module.lower]\nposition = { depth = \"30 m\" }\nsensor.ear = { part = \"part.ear\" }\n\n[span.lower]\nfrom = \"module.upper\"\nto = \"module.lower\"\nlength = \"20 m\"\nlink = \"10BASE-T1L\"\n\n[span.top]",
    );
    insta::assert_snapshot!("part_used_twice", said(&Files::one(text)));
}

#[test]
fn regress_parts_of_a_catalogue_that_cannot_be_read_are_not_told_to_be_missing() {
    let text = changed(
        SMALL,
        "format = 1\n",
        "format = 1\ninclude = [\"parts.toml\"]\n",
    );
    let text = changed(&text, "part = \"part.ear\"", "part = \"part.other\"");
    insta::assert_snapshot!(
        "part_of_an_absent_catalogue",
        said(&Files::one(text.clone()))
    );
    let torn = "format = 1\n[part.other]\nis = \"sensor\nkind = \"hydrophone\"\n";
    insta::assert_snapshot!(
        "part_of_a_torn_catalogue",
        said(&Files::one(text.clone()).with("parts.toml", torn))
    );
    let strange = "[part.other]\nis = \"sensor\"\nkind = \"hydrophone\"\n[module.far]\nposition = { depth = \"1 m\" }\n";
    insta::assert_snapshot!(
        "catalogue_with_a_module",
        said(&Files::one(text).with("parts.toml", strange))
    );
}

#[test]
fn regress_of_very_many_mistakes_the_number_is_told() {
    let mut text = SMALL.to_owned();
    for i in 0..250 {
        text.push_str(&format!("[requirement.r{i}]\nthat = \"volts\"\n"));
    }
    let reading = Files::one(text).read();
    assert_eq!(reading.mistakes.len(), 250);
    let drawn = plan::render(&reading.mistakes, &reading.sources, plan::Drawing::Plain);
    assert!(drawn.ends_with("and 50 more mistakes\n"));
}
