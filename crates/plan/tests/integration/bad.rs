//! Bad plans: the small good plan with one thing changed, and what is said of it.

use crate::support::{Files, SMALL, bad, changed, said};

bad! {
    remedies_that_no_key_takes: "[traffic]" => "[remedy.more]\nsets = \"supply.cells.output.voltage\"\nto = [{ value = \"3O V\" }, { value = \"36 W\" }, { value = \"36 V\" }, { value = \"-36 V\" }]\n[remedy.wait]\nsets = \"module.buoy.starts_in\"\nto = [{ value = \"idle\" }]\n[remedy.link]\nsets = \"span.top.link\"\nto = [{ value = \"10BASE-T1S-ish\" }]\n[traffic]";
    recovery_of_no_use: "[traffic]" => "[recovery.grab]\nkind = \"drag\"\nat = \"module.buoy\"\nworks = \"70 %\"\n[recovery.call]\nkind = \"release\"\nworks = \"195 %\"\n[recovery.let-go]\nkind = \"release\"\nworks = \"95 %\"\n[recovery.hold]\nkind = \"haul\"\nat = \"anchor.sinker\"\nworks = \"95 %\"\n[weak_link.top]\nposition = { depth = \"4 m\" }\nparts_from = \"4 kN\"\nparts_by = \"3 kN\"\n[traffic]";
    spares_of_nothing_and_of_parts: "[traffic]" => "[spare.none]\nof = \"part.nobody\"\ncarried = 1\n[spare.one]\nof = \"module.upper\"\ncarried = 1\n[spare.two]\nof = \"module.buoy\"\ncarried = 1\n[spare.three]\nof = \"module.buoy\"\ncarried = 2\n[spare.four]\nof = \"span.top\"\ncarried = -1\ndead_on_deck = \"100 %\"\n[spare.five]\nof = \"span.bottom\"\ncarried = 1\n[traffic]";
    anodes_of_no_form: "[traffic]" => "[metal.can]\n[anode.one]\non = \"metal.can\"\nmetal = \"zinc\"\nmass = \"1 kg\"\nform = { kind = \"slender\", length = \"1 m\", width = \"2 cm\" }\nresistivity = \"0.25 ohm\"\n[anode.two]\non = \"metal.can\"\nmetal = \"zinc\"\nmass = \"1 kg\"\nform = { kind = \"flat\", length = \"3 cm\", width = \"20 cm\", thickness = \"1 cm\" }\n[anode.three]\non = \"metal.can\"\nmetal = \"zinc\"\nmass = \"1 kg\"\nform = { kind = \"slender\", length = \"1 m\", girth = \"10 cm\", core = \"4 cm\" }\n[anode.four]\non = \"metal.can\"\nmetal = \"zinc\"\nmass = \"1 kg\"\nform = { kind = \"ring\" }\n[traffic]";
    metals_that_cannot_be: "[traffic]" => "[metal.can]\nmetal = \"aluminum\"\n[metal.frame]\nof = \"span.top\"\nmetal = \"titanium\"\narea = \"2 m\"\nbare_share = \"0 %\"\ntouches = []\n[metal.ring]\nof = \"weight.none\"\ntouches = [\"metal.ring\", \"metal.pin\", \"metal.pin\", \"metal.nut\"]\n[metal.pin]\n[anode.one]\non = \"metal.pins\"\nmetal = \"zinc\"\nmass = \"1 N\"\ncapacity = \"780 Ah\"\n[anode.two]\non = \"metal.pin\"\nmetal = \"magnesium\"\nmass = \"2 kg\"\n[traffic]";
    works_and_waves_that_cannot_be: "water_depth = \"85 m\"" => "water_depth = \"85 m\"\nwaves = { shape = 0.1, memory = \"1 s\" }";
    waves_that_break: "[detector.call]" => "[case.storm]\nwater_level = \"-1 m\"\nwave = { height = \"12 m\", period = \"5 s\" }\n[case.swell]\nwave = { height = \"9 m\", period = \"10 s\" }\n[detector.call]";
    cases_of_another_depth: "[detector.call]" => "[case.deeper]\nwater_level = \"15 m\"\n[case.below]\ncurrent = [{ depth = \"0 m\", speed = \"1 m/s\" }, { depth = \"95 m\", speed = \"0.2 m/s\" }]\n[case.flow]\n[case.flow-wind]\n[detector.call]";
    a_level_beyond_the_tide: "[detector.call]" => "[site.tide]\nlowest = \"-2 m\"\nhighest = \"2 m\"\n[case.deeper]\nwater_level = \"10 m\"\n[case.shallower]\nwater_level = \"-7.5 m\"\n[detector.call]";
    a_current_below_the_bed: "water_depth = \"85 m\"" => "water_depth = \"85 m\"\ntide = { lowest = \"-2 m\", highest = \"2 m\" }\ncurrent = [{ depth = \"0 m\", speed = \"1 m/s\" }, { depth = \"88 m\", speed = \"0.2 m/s\" }]";
    swell_that_breaks: "water_depth = \"85 m\"" => "water_depth = \"85 m\"\nswell = { height = \"2.5 m\", period = \"3 s\" }";
    drift_alarm_without_a_hull: "starts_in = \"idle\"" => "starts_in = \"idle\"\ndrift_alarm = { radius = \"60 m\", every = \"1 h\", fix_error = \"5 m\", place_error = \"9 m\", false_alarms = \"1 %\" }";
    false_alarms_that_are_sure: "starts_in = \"idle\"" => "starts_in = \"idle\"\nhull = { weight = \"1000 N\", waterplane = \"0.5 m2\", full_draught = \"0.5 m\", cd_a_water = \"0.2 m2\" }\ndrift_alarm = { radius = \"60 m\", every = \"-1 d\", fix_error = \"5 m\", place_error = \"9 m\", false_alarms = \"99.999 %\" }";
    growth_that_cannot_be: "water_depth = \"85 m\"" => "water_depth = \"85 m\"\ngrowth = { a_month = \"2 m\", density = \"1300 kg\", rougher = 0.5 }";
    antennas_of_a_cable: "link = \"10BASE-T1L\"" => "link = \"10BASE-T1L\"\nantennas = [\"1.5 m\", \"6 m\"]";
    unknown_key_with_a_near_one: "starts_in = \"idle\"" => "start_in = \"idle\"";
    unknown_key_far_from_all: "starts_in = \"idle\"" => "starts_in = \"idle\"\nzebra = 1";
    unknown_top_level_table: "[traffic]" => "[colours]\nx = 1\n[traffic]";
    missing_unit: "water_depth = \"85 m\"" => "water_depth = \"85\"";
    bare_number_where_a_unit_is_needed: "water_depth = \"85 m\"" => "water_depth = 85";
    a_supply_whose_highest_is_below_its_voltage: "resistance = \"0.1 ohm\"" => "resistance = \"0.1 ohm\", highest = \"12 V\"";
    wrong_dimension: "water_depth = \"85 m\"" => "water_depth = \"85 V\"";
    unknown_unit: "water_depth = \"85 m\"" => "water_depth = \"85 meters deep\"";
    decimal_comma: "price = \"0.10 EUR\"" => "price = \"0,10 EUR\"";
    negative_price: "price = \"0.10 EUR\"" => "price = \"-0.10 EUR\"\nminimum_charge = \"-15 EUR\"";
    negative_budget: "at_most = \"20 EUR\"" => "at_most = \"-20 EUR\"";
    hardly_out_of_range: "latitude = \"57 deg\"" => "latitude = \"90.0001 deg\"";
    out_of_range: "latitude = \"57 deg\"" => "latitude = \"97 deg\"";
    negative_length: "length = \"90 m\"" => "length = \"-90 m\"";
    wrong_type: "starts_in = \"idle\"" => "starts_in = [\"idle\"]";
    missing_key: "packet = \"1400 B\"" => "# no packet";
    missing_table: "[site]\nlatitude" => "[deployment.site]\nlatitude";
    unknown_word: "that = \"voltage\"" => "that = \"voltages\"";
    bad_date: "start = 2027-03-15" => "start = \"15.3.2027\"";
    date_time_without_offset: "start = 2027-03-15" => "start = 2027-03-15T06:00:00";
    bad_id: "[module.upper]" => "[module.Upper]";
    reference_that_names_nothing: "on = \"module.upper.sensor.ear\"" => "on = \"module.upper.sensor.eer\"";
    reference_that_is_no_path: "at = \"module.buoy\"\nkind" => "at = \"buoy\"\nkind";
    reference_to_another_kind: "at = \"module.buoy\"\nkind" => "at = \"span.top\"\nkind";
    part_that_does_not_exist: "part = \"part.ear\"" => "part = \"part.eer\"";
    part_of_another_kind: "part = \"part.ear\"" => "part = \"part.line\"";
    part_that_does_not_say_what_it_is: "is = \"rope\"\n" => "";
    mistake_in_a_part: "rate = \"8 kHz\"" => "rate = \"8 kHzz\"";
    not_connected: "[detector.call]" => "[module.lost]\nposition = { depth = \"5 m\" }\n[detector.call]";
    not_fed: "conductor = \"1.0 mm2 class 5\"\n" => "";
    carries_nothing: "conductor = \"1.0 mm2 class 5\"\ncontacts = { mated_pins_in_loop = 4, resistance = \"8 mohm\" }\nlink = \"10BASE-T1L\"" => "";
    span_too_short: "slack = \"2 %\"" => "length = \"21 m\"";
    length_unknown: "position = { section = \"section.riser\", from_top = \"22 m\" }" => "position = { depth = \"22 m\" }";
    both_ends_the_same: "to = \"module.upper\"\nslack" => "to = \"module.buoy\"\nslack";
    below_the_seabed: "position = { section = \"section.riser\", from_top = \"22 m\" }" => "position = { depth = \"89 m\" }";
    on_the_seabed: "position = { section = \"section.riser\", from_top = \"22 m\" }" => "position = { section = \"section.riser\", from_top = \"89 m\" }";
    beyond_the_section: "from_top = \"22 m\"" => "from_top = \"122 m\"";
    position_said_twice: "from_top = \"22 m\"" => "from_top = \"22 m\", depth = \"22 m\"";
    rate_too_low_for_the_band: "band = [\"60 Hz\", \"260 Hz\"]" => "band = [\"60 Hz\", \"4 kHz\"]";
    band_upside_down: "band = [\"60 Hz\", \"260 Hz\"]" => "band = [\"260 Hz\", \"60 Hz\"]";
    stages_out_of_order: "  { level = \"rms\", window = \"0.25 s\" },\n  { background = \"median\", over = \"30 s\" }," => "  { background = \"median\", over = \"30 s\" },\n  { level = \"rms\", window = \"0.25 s\" },";
    stage_that_is_two_things: "{ level = \"rms\", window" => "{ level = \"rms\", background = \"median\", window";
    threshold_with_a_reference_over_a_background: "on_above = \"9 dB\", off_below = \"6 dB\"" => "on_above = \"109 dB re 1 uPa\", off_below = \"106 dB re 1 uPa\"";
    threshold_without_a_reference: "  { background = \"median\", over = \"30 s\" },\n" => "";
    ends_above_its_beginning: "off_below = \"6 dB\"" => "off_below = \"16 dB\"";
    level_of_another_kind: "sensitivity = \"-170 dB re 1 V/uPa\"" => "sensitivity = \"-170 dB re 1 uPa\"";
    bad_filter: "when_told = \"alert/#\"" => "when_told = \"alert/#/x\"";
    topic_that_nobody_publishes: "do = [{ publish = \"alert/call\" }]" => "do = [{ log = \"heard\" }]";
    topic_that_nobody_hears: "when_told = \"alert/#\"" => "when_told = \"status/#\"";
    topic_without_size: "size = \"12 B\"" => "priority = 1";
    behaviour_started_twice: "when_told = \"alert/#\"" => "when_told = \"alert/#\"\neach = \"5 min\"";
    detector_of_another_module: "on = \"module.upper\"\nwhen_heard" => "on = \"module.buoy\"\nwhen_heard";
    uplink_of_another_module: "do = [{ publish = \"alert/call\" }]" => "do = [{ publish = \"alert/call\" }, { send_up = \"uplink.shore\", about = \"alert/call\" }]";
    output_of_another_module: "do = [{ publish = \"alert/call\" }]" => "do = [{ publish = \"alert/call\" }, { switch = \"module.buoy.output.lantern\", to = \"off\" }]";
    action_that_is_nothing: "do = [{ publish = \"alert/call\" }]" => "do = [{ publish = \"alert/call\" }, { to = \"on\" }]";
    unknown_state: "starts_in = \"idle\"" => "starts_in = \"idel\"";
    load_of_another_dimension: "listening = \"0.5 W\"" => "listening = \"0.5 V\"";
    limit_in_another_dimension: "at_least = \"12 V\"" => "at_least = \"12 W\"";
    limit_in_another_currency: "at_most = \"20 EUR\"" => "at_most = \"20 USD\"";
    key_of_another_requirement: "at_least = \"12 V\"" => "at_least = \"12 V\"\ncues = \"x.toml\"";
    link_with_a_rate_of_its_own: "link = \"10BASE-T1L\"" => "link = \"10BASE-T1L\"\nlink_rate = \"1 Mb/s\"";
    free_link_without_a_rate: "link = \"10BASE-T1L\"" => "link = \"free\"";
    conductor_of_no_class: "1.0 mm2 class 5" => "1.0 mm2 class 7";
    empty_text: "name = \"Small\"" => "name = \"  \"";
    syntax_in_several_places: "packet = \"1400 B\"" => "packet = \"1400 B\nx = = 2\ny = [1, 2";
    key_written_twice: "packet = \"1400 B\"" => "packet = \"1400 B\"\npacket = \"1300 B\"";
    wind_for_eleven_months: "water_depth = \"85 m\"" => "water_depth = \"85 m\"\nwind = [\"1 m/s\", \"1 m/s\", \"1 m/s\", \"1 m/s\", \"1 m/s\", \"1 m/s\", \"1 m/s\", \"1 m/s\", \"1 m/s\", \"1 m/s\", \"1 m/s\"]";
    include_outside_the_folder: "format = 1\n" => "format = 1\ninclude = [\"../parts.toml\"]\n";
    include_that_is_not_there: "format = 1\n" => "format = 1\ninclude = [\"parts.toml\"]\n";
    include_of_itself: "format = 1\n" => "format = 1\ninclude = [\"plan.toml\"]\n";
    no_lantern: "kind = \"lamp\"" => "kind = \"relay\"";
    no_calibration: "calibrated = { date = 2026-11-02, by = \"tank\" }\n" => "";
    decimal_comma_in_a_bare_number: "water_depth = \"85 m\"" => "water_depth = \"85 m\"\nshipping = 0,3";
    value_with_a_unit_that_is_not_in_quotes: "voltage = \"24 V\"" => "voltage = 24 V";
    quote_that_the_next_one_closes: "voltage = \"24 V\", resistance" => "voltage = \"24 V, resistance";
    curly_quotes: "water_depth = \"85 m\"" => "water_depth = “85 m”";
    band_above_what_the_ear_hears: "band = [\"60 Hz\", \"260 Hz\"]" => "band = [\"60 Hz\", \"3.7 kHz\"]";
    unlisted_cross_section: "1.0 mm2 class 5" => "0.6 mm2 class 5";
    gauge_in_small_letters: "1.0 mm2 class 5" => "20 awg";
    background_shorter_than_two_events: "over = \"30 s\"" => "over = \"0.7 s\"";
    background_shorter_than_three_cells: "window = \"0.25 s\" },\n  { background = \"median\", over = \"30 s\" }" => "window = \"8 s\" },\n  { background = \"median\", over = \"4 s\" }";
    cue_sheet_that_is_not_there: "[requirement.cost]" => "[requirement.night]\nthat = \"rehearsed\"\ncues = \"night.toml\"\n[requirement.cost]";
    spread_below_zero: "resistance = \"0.1 ohm\"" => "resistance = \"0.1 ohm ± 20 ohm\"";
    spread_of_a_load_below_zero: "listening = \"0.5 W\"" => "listening = \"0.5 W ± 120 %\"";
    section_from_a_float_that_is_not_there: "from = \"module.buoy\"\nto = \"anchor.sinker\"" => "from = \"float.top\"\nto = \"anchor.sinker\"";
    float_that_is_nowhere: "[detector.call]" => "[float.spare]\nbuoyancy = \"60 N\"\n[detector.call]";
    float_placed_by_a_depth: "[detector.call]" => "[float.spare]\nbuoyancy = \"60 N\"\nposition = { depth = \"20 m\" }\n[detector.call]";
    float_at_an_end_with_a_position: "from = \"module.buoy\"\nto = \"anchor.sinker\"\nlength = \"90 m\"\nrope = \"part.line\"" => "from = \"float.top\"\nto = \"anchor.sinker\"\nlength = \"90 m\"\n[float.top]\nposition = { section = \"section.riser\", from_top = \"0 m\" }";
    weight_beyond_its_section: "[detector.call]" => "[weight.clump]\nposition = { section = \"section.riser\", from_top = \"400 m\" }\nweight_in_water = \"-20 N\"\n[detector.call]";
    two_nominal_cases: "[detector.call]" => "[case.calm]\nnominal = true\n[case.spring]\nnominal = true\n[detector.call]";
    case_whose_current_half_says_its_way: "[detector.call]" => "[case.spring]\ncurrent = [{ depth = \"0 m\", speed = \"1 m/s\", towards = \"40 deg\" }, { depth = \"40 m\", speed = \"0.4 m/s\" }]\n[detector.call]";
    case_with_a_wave_without_a_period: "[detector.call]" => "[case.storm]\nwave = { height = \"3 m\" }\nstrum = \"yes\"\n[detector.call]";
    tide_that_falls_upwards: "water_depth = \"85 m\"" => "water_depth = \"85 m\"\ntide = { lowest = \"1 m\", highest = \"2 m\" }";
    hull_with_a_draught_in_newtons: "[module.buoy.output.lantern]" => "[module.buoy.hull]\nweight = \"900 N\"\nfull_draught = \"60 N\"\n[module.buoy.output.lantern]";
    depth_wanted_between_two_that_cross: "[requirement.cost]" => "[requirement.deep]\nthat = \"module-depth\"\nat_least = \"40 m\"\nat_most = \"30 m\"\n[requirement.cost]";
    depth_wanted_without_a_limit: "[requirement.cost]" => "[requirement.deep]\nthat = \"module-depth\"\n[requirement.cost]";
    tension_of_a_module: "[requirement.cost]" => "[requirement.pull]\nthat = \"line-tension\"\nof = \"module.upper\"\nat_most = \"2 kN\"\n[requirement.cost]";
    no_contacts: "contacts = { mated_pins_in_loop = 4, resistance = \"8 mohm\" }\n" => "";
}

/// Of means of the months those that are higher than 0.78 of the depth at the highest water, 3.12 m of 4 m: three of these.
#[test]
fn verif_months_of_waves_higher_than_the_water_bears_are_told() {
    let text = "format = 1\n[deployment]\nname = \"a pool\"\nstart = 2027-03-15\nduration = \"30 d\"\n[site]\nlatitude = \"57 deg\"\nlongitude = \"0 deg\"\nwater_depth = \"3 m\"\ntide = { lowest = \"-1 m\", highest = \"1 m\" }\nprofile = [{ depth = \"0 m\", temperature = \"9 degC\", salinity = 34 }]\nwave_height = [\"3.4 m\", \"3.2 m\", \"2.7 m\", \"2.2 m\", \"1.7 m\", \"1.5 m\", \"1.4 m\", \"1.5 m\", \"1.9 m\", \"2.5 m\", \"3 m\", \"3.3 m\"]\n";
    let said = said(&Files::one(text));
    assert_eq!(said.matches("they break above 3.12 m").count(), 3, "{said}");
}

#[test]
fn regress_eight_mistakes_at_once() {
    let mut text = SMALL.to_owned();
    for (from, to) in [
        ("water_depth = \"85 m\"", "water_depth = 85"),
        ("length = \"90 m\"", "lenght = \"90 m\""),
        ("voltage = \"24 V\"", "voltage = \"24 A\""),
        ("starts_in = \"idle\"", "starts_in = \"idol\""),
        ("link = \"10BASE-T1L\"", "link = \"10BASE-T1X\""),
        ("size = \"12 B\"", "size = \"12 bytes\""),
        ("session = \"20 s\"", "session = \"20,5 s\""),
        ("share = \"50 %\"", "share = \"150 %\""),
    ] {
        text = changed(&text, from, to);
    }
    insta::assert_snapshot!("eight_mistakes_at_once", said(&Files::one(text)));
}

#[test]
fn regress_catalogues_that_include_each_other() {
    let plan = changed(
        SMALL,
        "format = 1\n",
        "format = 1\ninclude = [\"a.toml\"]\n",
    );
    let files = Files::one(plan)
        .with("a.toml", "format = 1\ninclude = [\"b.toml\"]\n")
        .with("b.toml", "format = 1\ninclude = [\"a.toml\"]\n");
    insta::assert_snapshot!("catalogues_that_include_each_other", said(&files));
}

#[test]
fn regress_a_mistake_in_a_part_is_shown_at_the_part_and_at_its_use() {
    let plan = changed(
        SMALL,
        "format = 1\n",
        "format = 1\ninclude = [\"parts.toml\"]\n",
    );
    let plan = changed(&plan, "part = \"part.ear\"", "part = \"part.other\"");
    let parts = "format = 1\n[part.other]\nis = \"sensor\"\nkind = \"hydrophone\"\nsensitivity = \"-170\"\ngain = \"20 dB\"\n";
    insta::assert_snapshot!(
        "a_mistake_in_a_part_of_a_catalogue",
        said(&Files::one(plan).with("parts.toml", parts))
    );
}

#[test]
fn regress_a_part_declared_twice() {
    let plan = changed(
        SMALL,
        "format = 1\n",
        "format = 1\ninclude = [\"parts.toml\"]\n",
    );
    let parts = "format = 1\n[part.line]\nis = \"rope\"\n";
    insta::assert_snapshot!(
        "a_part_declared_twice",
        said(&Files::one(plan).with("parts.toml", parts))
    );
}

#[test]
fn regress_a_plan_of_ten_megabytes() {
    let text = format!("{SMALL}\n# {}", "x".repeat(10_000_000));
    insta::assert_snapshot!("a_plan_of_ten_megabytes", said(&Files::one(text)));
}

#[test]
fn regress_a_plan_that_is_no_text() {
    insta::assert_snapshot!(
        "a_plan_that_is_no_text",
        said(&Files::one(vec![0x52, 0x49, 0xff, 0xfe, 0x00]))
    );
}

#[test]
fn regress_a_plan_that_is_not_there() {
    insta::assert_snapshot!("a_plan_that_is_not_there", said(&Files::default()));
}

#[test]
fn regress_an_empty_plan() {
    insta::assert_snapshot!("an_empty_plan", said(&Files::one("")));
}

#[test]
fn regress_a_plan_in_utf_16_without_a_mark() {
    // The first is valid UTF-8 as well, the second is not.
    for text in [SMALL.to_owned(), format!("# 12 V \u{b1} 1 V\n{SMALL}")] {
        for order in [u16::to_be_bytes, u16::to_le_bytes] {
            let bytes: Vec<u8> = text.encode_utf16().flat_map(order).collect();
            insta::assert_snapshot!("a_plan_in_utf_16_without_a_mark", said(&Files::one(bytes)));
        }
    }
}

/// Every code that a mistake may carry is shown by some snapshot.
#[test]
fn verif_every_code_is_shown() {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/integration/snapshots");
    let shown: String = std::fs::read_dir(folder)
        .unwrap()
        .map(|file| std::fs::read_to_string(file.unwrap().path()).unwrap())
        .collect();
    use plan::Code::*;
    for code in [
        Unreadable,
        TooLarge,
        Syntax,
        UnknownKey,
        MissingKey,
        KeyConflict,
        WrongType,
        MissingUnit,
        UnknownUnit,
        WrongDimension,
        BadQuantity,
        OutOfRange,
        UnknownWord,
        BadDate,
        BadId,
        BadTopic,
        BadReference,
        NamesNothing,
        IncludesItself,
        OutsideFolder,
        WrongPart,
        NotConnected,
        NotFed,
        SpanTooShort,
        LengthUnknown,
        BadPlace,
        RateTooLow,
        BadStages,
        NobodyPublishes,
        NobodyHears,
        Absent,
        Duplicate,
    ] {
        assert!(
            shown.contains(&format!("\n{code} ")),
            "no snapshot shows `{code}`"
        );
    }
}
