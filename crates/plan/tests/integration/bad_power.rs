//! Slips in what the plan says of power: lock-outs, converters, cells, cables, exclusive groups and the requirements on them.

use crate::support::{Files, SMALL, bad, changed, said};

const INPUT: &str = "input = { minimum = \"9 V\", maximum = \"36 V\" }\nloads = { listening";
const SUPPLY: &str = "kind = \"bench\"";
const VOLTS: &str = "that = \"voltage\"\nof = \"module.upper\"\nat_least = \"12 V\"";
const TOP: &str = "[span.top]";

bad! {
    lock_out_the_wrong_way_round: INPUT => "input = { minimum = \"9 V\", maximum = \"36 V\", lock_out = { on = \"9 V\", off = \"11 V\" } }\nloads = { listening";
    lock_out_above_the_input: INPUT => "input = { minimum = \"9 V\", maximum = \"36 V\", lock_out = { on = \"40 V\", off = \"11 V\" } }\nloads = { listening";
    held_off_without_a_lock_out: INPUT => "input = { minimum = \"9 V\", maximum = \"36 V\" }\nwakes_after = \"5 s\"\nloads = { listening";
    efficiencies_beside_a_standing_loss: INPUT => "input = { minimum = \"9 V\", maximum = \"36 V\", standing = \"20 mW\", efficiency_at = [{ output = \"1 W\", efficiency = 0.8 }] }\nloads = { listening";
    efficiencies_that_do_not_rise: INPUT => "input = { minimum = \"9 V\", maximum = \"36 V\", efficiency_at = [{ output = \"2 W\", efficiency = 0.8 }, { output = \"1 W\", efficiency = 0.8 }] }\nloads = { listening";
    loss_per_watt_without_efficiency: INPUT => "input = { minimum = \"9 V\", maximum = \"36 V\", loss_per_watt = \"0.2 %\" }\nloads = { listening";
    dirt_of_eleven_months: SUPPLY => "kind = \"solar-battery\"\npanels = { peak_power_each = \"20 W\", faces = 4, tilt = \"30 deg\", loss = \"15 %\", dirt = { birds = [\"1 %\", \"1 %\", \"1 %\", \"1 %\", \"1 %\", \"1 %\", \"1 %\", \"1 %\", \"1 %\", \"1 %\", \"1 %\"] } }\nbattery = { chemistry = \"agm\", capacity = \"60 Ah\", voltage = \"12 V\" }";
    battery_that_comes_back_before_it_goes: SUPPLY => "kind = \"solar-battery\"\npanels = { peak_power_each = \"20 W\", faces = 4, tilt = \"30 deg\", loss = \"15 %\" }\nbattery = { chemistry = \"agm\", capacity = \"60 Ah\", voltage = \"12 V\", disconnect_at = \"40 %\", reconnect_at = \"30 %\" }";
    primary_cells_that_are_charged: SUPPLY => "kind = \"primary-cells\"\nbattery = { chemistry = \"alkaline\", capacity = \"60 Ah\", voltage = \"12 V\", charge_rate = \"20 %\" }";
    primary_cells_under_panels: SUPPLY => "kind = \"solar-battery\"\npanels = { peak_power_each = \"20 W\", faces = 4, tilt = \"30 deg\", loss = \"15 %\" }\nbattery = { chemistry = \"alkaline\", capacity = \"60 Ah\", voltage = \"12 V\" }";
    all_of_the_content_lost_in_a_month: SUPPLY => "kind = \"primary-cells\"\nbattery = { chemistry = \"alkaline\", capacity = \"60 Ah\", voltage = \"12 V\", self_discharge_per_month = \"100 %\" }";
    battery_taken_off_by_voltage_and_by_charge: SUPPLY => "kind = \"solar-battery\"\npanels = { peak_power_each = \"20 W\", faces = 4, tilt = \"30 deg\", loss = \"15 %\" }\nbattery = { chemistry = \"agm\", capacity = \"60 Ah\", voltage = \"12 V\", disconnect_at = \"30 %\", reconnect_at = \"40 %\", disconnect_voltage = \"11 V\", reconnect_voltage = \"12 V\" }";
    battery_that_comes_back_below_its_voltage: SUPPLY => "kind = \"solar-battery\"\npanels = { peak_power_each = \"20 W\", faces = 4, tilt = \"30 deg\", loss = \"15 %\" }\nbattery = { chemistry = \"agm\", capacity = \"60 Ah\", voltage = \"12 V\", disconnect_voltage = \"12 V\", reconnect_voltage = \"11 V\" }";
    battery_that_never_comes_back: SUPPLY => "kind = \"solar-battery\"\npanels = { peak_power_each = \"20 W\", faces = 4, tilt = \"30 deg\", loss = \"15 %\" }\nbattery = { chemistry = \"agm\", capacity = \"60 Ah\", voltage = \"12 V\", disconnect_voltage = \"11 V\" }";
    battery_at_rest_in_part: SUPPLY => "kind = \"solar-battery\"\npanels = { peak_power_each = \"20 W\", faces = 4, tilt = \"30 deg\", loss = \"15 %\" }\nbattery = { chemistry = \"agm\", capacity = \"60 Ah\", voltage = \"12 V\", open_voltage = [{ charge = \"10 %\", voltage = \"11 V\" }, { charge = \"90 %\", voltage = \"12 V\" }] }";
    battery_at_rest_that_falls: SUPPLY => "kind = \"solar-battery\"\npanels = { peak_power_each = \"20 W\", faces = 4, tilt = \"30 deg\", loss = \"15 %\" }\nbattery = { chemistry = \"agm\", capacity = \"60 Ah\", voltage = \"12 V\", open_voltage = [{ charge = \"0 %\", voltage = \"12 V\" }, { charge = \"100 %\", voltage = \"11 V\" }] }";
    charger_of_a_bench_supply: SUPPLY => "kind = \"bench\"\ncharger = { starts_on = \"panels\" }";
    protection_of_primary_cells: SUPPLY => "kind = \"primary-cells\"\nbattery = { chemistry = \"alkaline\", capacity = \"60 Ah\", voltage = \"12 V\", protection = { cuts_off = \"9 V\" } }";
    dawn_by_volts: VOLTS => "that = \"dawn-restarts\"\nat_most = \"3 V\"";
    flat_with_a_limit: VOLTS => "that = \"wakes-from-flat\"\nat_most = 3";
    ready_within_volts: VOLTS => "that = \"ready-within\"\nat_most = \"3 V\"";
    insulation_measured_and_accepted: TOP => "[span.top]\ninsulation = { measured = \"5 Mohm\", accepted = \"10 Mohm\", temperature = \"20 degC\" }";
    insulation_that_shows_nothing: TOP => "[span.top]\ninsulation = { temperature = \"20 degC\" }";
    insulation_of_leg_and_kilometre: TOP => "[span.top]\ninsulation_1km = \"1 Gohm\"\ninsulation = { measured = \"5 Mohm\", temperature = \"20 degC\" }";
    contact_life_in_ohms: VOLTS => "that = \"contact-life\"\nat_least = \"3 ohm\"";
    share_of_a_start: VOLTS => "that = \"start-up\"\nshare = \"90 %\"";
    charged_cells_with_a_capacity_by_current: SUPPLY => "kind = \"solar-battery\"\npanels = { peak_power_each = \"20 W\", faces = 4, tilt = \"30 deg\", loss = \"15 %\" }\nbattery = { chemistry = \"agm\", capacity = \"60 Ah\", voltage = \"12 V\", capacity_at = [{ current = \"3 A\", capacity = \"60 Ah\" }] }";
    cable_with_its_layers_the_wrong_way_round: TOP => "[span.top]\nheat = { lies_in = \"water\", core = \"2.6 mm\", insulated = \"2.4 mm\", under_jacket = \"9.5 mm\", outer = \"12 mm\", insulation = \"pvc\", jacket = \"pvc\" }";
    cable_in_sediment_of_unknown_depth: TOP => "[span.top]\nheat = { lies_in = \"sediment\", core = \"2.2 mm\", insulated = \"4.3 mm\", under_jacket = \"9.5 mm\", outer = \"12 mm\", insulation = \"pvc\", jacket = \"pvc\", sediment = \"1 K.m/W\" }";
    cable_in_water_that_is_buried: TOP => "[span.top]\nheat = { lies_in = \"water\", core = \"2.2 mm\", insulated = \"4.3 mm\", under_jacket = \"9.5 mm\", outer = \"12 mm\", insulation = \"pvc\", jacket = \"pvc\", buried = \"0.5 m\" }";
    exclusive_group_of_one: TOP => "[exclusive.one]\nof = [{ output = \"module.buoy.output.lantern\" }]\nat_most = 1\n[span.top]";
    exclusive_group_of_nothing_known: TOP => "[exclusive.two]\nof = [{ output = \"module.buoy.output.lantern\" }, { module = \"module.upper\", state = \"calling\" }]\nat_most = 1\n[span.top]";
    exclusive_member_that_is_both: TOP => "[exclusive.two]\nof = [{ output = \"module.buoy.output.lantern\", state = \"listening\" }, { module = \"module.upper\", state = \"listening\" }]\nat_most = 1\n[span.top]";
    exclusive_member_twice: TOP => "[exclusive.two]\nof = [{ output = \"module.buoy.output.lantern\" }, { output = \"module.buoy.output.lantern\" }]\nat_most = 1\n[span.top]";
    lowest_charge_without_a_share: VOLTS => "that = \"lowest-charge\"\nat_least = \"30 %\"";
    reserve_in_volts: VOLTS => "that = \"reserve\"\nat_least = \"3 V\"";
    short_circuit_of_a_module: VOLTS => "that = \"short-circuit\"\nof = \"module.upper\"\nat_least = \"200 %\"";
    output_of_a_module_without_an_input: TOP => "[module.dry]\nposition = { depth = \"0 m\" }\n[module.dry.output.siren]\nkind = \"sounder\"\npower = \"5 W\"\n[span.top]";
    start_with_a_lower_limit: VOLTS => "that = \"start-up\"\nat_least = \"5 s\"";
}

#[test]
fn regress_weather_outside_the_folder() {
    let text = with_site("weather = \"../weather.csv\"");
    insta::assert_snapshot!(said(&Files::one(text)));
}

#[test]
fn regress_weather_that_is_not_there() {
    let text = with_site("weather = \"weather.csv\"");
    insta::assert_snapshot!(said(&Files::one(text)));
}

#[test]
fn regress_horizon_that_does_not_turn() {
    let text = with_site(
        "horizon = [{ azimuth = \"90 deg\", elevation = \"4 deg\" }, { azimuth = \"30 deg\", elevation = \"4 deg\" }]",
    );
    insta::assert_snapshot!(said(&Files::one(text)));
}

/// A weather file is part of what the plan says: another file, another digest; line ends change nothing.
#[test]
fn verif_a_weather_file_counts_in_the_digest() {
    let plan = with_site("weather = \"weather.csv\"");
    let digest = |weather: &str| {
        let reading = Files::one(plan.clone()).with("weather.csv", weather).read();
        let line = reading.line.as_ref().unwrap();
        assert_eq!(line.sea.weather.as_ref().unwrap().text, weather);
        assert!(!reading.has_errors());
        reading.digest
    };
    assert_eq!(digest("a\n1\n"), digest("a\r\n1\r\n"));
    assert_ne!(digest("a\n1\n"), digest("a\n2\n"));
}

/// Many years of weather are more than a plan may be, and are read; the plan itself is not.
#[test]
fn verif_weather_may_be_larger_than_a_plan() {
    let plan = with_site("weather = \"weather.csv\"");
    let hours = "a\n".repeat(plan::LARGEST_FILE);
    let reading = Files::one(plan.clone()).with("weather.csv", hours).read();
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    let too_many = "a".repeat(plan::LARGEST_WEATHER + 1);
    let reading = Files::one(plan).with("weather.csv", too_many).read();
    let told: Vec<&str> = reading
        .mistakes
        .iter()
        .map(|m| m.message.as_str())
        .collect();
    assert!(
        told.iter().any(|m| m.contains("larger than 64 MiB")),
        "{told:?}"
    );
}

/// The small plan with a line more in its site.
fn with_site(line: &str) -> String {
    changed(SMALL, "[site]\n", &format!("[site]\n{line}\n"))
}
