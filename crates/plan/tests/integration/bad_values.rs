//! Bad values: the small good plan with one value changed, and what is said of it.

use crate::support::bad;

const UPPER: &str = "loads = { listening = \"0.5 W\" }";
const PROFILE: &str = "profile = [{ depth = \"0 m\", temperature = \"9 degC\", salinity = 34 }]";
const SIZE: &str = "size = \"12 B\"";
const TRIGGER: &str = "{ on_above = \"9 dB\", off_below = \"6 dB\", shortest = \"0.4 s\", longest = \"2 s\", hold_off = \"10 s\" }";

bad! {
    level_out_of_range: "sensitivity = \"-170 dB re 1 V/uPa\"" => "sensitivity = \"-1700 dB re 1 V/uPa\"";
    highest_below_lowest: "minimum = \"9 V\", maximum = \"36 V\" }\nloads = { idle" => "minimum = \"36 V\", maximum = \"9 V\" }\nloads = { idle";
    spread_that_can_be_read_in_two_ways: "success = \"100 %\"" => "success = \"90 % ± 5 %\"";
    unit_without_one_length: "duration = \"30 d\"" => "duration = \"1 month\"";
    capital_and_small_letters: "listening = \"0.5 W\"" => "listening = \"0.5 w\"";
    deployment_without_end: "duration = \"30 d\"" => "duration = \"1e300 d\"";
    number_in_quotes: "salinity = 34" => "salinity = \"34\"";
    number_too_large_to_hold: "salinity = 34" => "salinity = 99999999999999999999";
    number_that_is_not_finite: "salinity = 34" => "salinity = inf";
    number_out_of_range: "salinity = 34" => "salinity = 340";
    whole_number_with_a_point: "bits = 16" => "bits = 16.5";
    whole_number_too_large_to_hold: "bits = 16" => "bits = 99999999999999999999";
    whole_number_out_of_range: "bits = 16" => "bits = 0x40";
    format_of_the_future: "format = 1\n" => "format = 2\n";
    day_that_does_not_exist: "start = 2027-03-15" => "start = 2027-02-30";
    time_without_its_date: "start = 2027-03-15" => "start = 06:30:00";
    year_that_is_too_large: "date = 2026-11-02" => "date = 20261-11-02";
    money_without_currency: "price = \"0.10 EUR\"" => "price = \"0.10\"";
    money_as_a_bare_number: "price = \"0.10 EUR\"" => "price = 0.10";
    rate_of_events_without_per: "at_most = \"6 per hour\"" => "at_most = \"6\"";
    depths_that_do_not_rise: PROFILE => "profile = [\n  { depth = \"10 m\", temperature = \"9 degC\", salinity = 34 },\n  { depth = \"10 m\", temperature = \"8 degC\", salinity = 34 },\n]";
    empty_list: PROFILE => "profile = []";
    table_in_place_of_a_list: PROFILE => "profile = { depth = \"0 m\" }";
    list_with_a_wrong_item: PROFILE => "profile = [{ depth = \"0 m\", temperature = \"9 degC\", salinity = 34 }, \"10 m\"]";
    part_of_a_byte: SIZE => "size = \"3 bit\"";
    topic_with_size_and_fields: SIZE => "size = \"12 B\"\nfields = [{ name = \"alarm\", flag = true }]";
    field_that_is_two_things: SIZE => "fields = [{ name = \"level\", from = 0, to = 10, step = 1, flag = true }]";
    field_that_is_nothing: SIZE => "fields = [{ name = \"level\" }]";
    field_without_its_step: SIZE => "fields = [{ name = \"level\", from = 0, to = 10 }]";
    field_upside_down: SIZE => "fields = [{ name = \"level\", from = 10, to = 0, step = 1 }]";
    field_of_one_value: SIZE => "fields = [{ name = \"ear\", values = [\"upper\"] }]";
    field_with_a_value_twice: SIZE => "fields = [{ name = \"ear\", values = [\"upper\", \"upper\"] }]";
    field_that_is_no_flag: SIZE => "fields = [{ name = \"alarm\", flag = false }]";
    field_with_a_strange_unit: SIZE => "fields = [{ name = \"alarm\", flag = true, unit = \"dB\" }]";
    field_of_a_time_without_its_step: SIZE => "fields = [{ name = \"time\", time_bits = 24 }]";
    field_twice: SIZE => "fields = [{ name = \"alarm\", flag = true }, { name = \"alarm\", flag = true }]";
    layer_that_nobody_knows: "\"ipv6\"" => "\"ipv8\"";
    spreading_without_its_range: PROFILE => "profile = [{ depth = \"0 m\", temperature = \"9 degC\", salinity = 34 }]\nspreading = \"transition\"";
    spreading_with_a_wrong_range: PROFILE => "profile = [{ depth = \"0 m\", temperature = \"9 degC\", salinity = 34 }]\nspreading = \"transition\"\nspreading_changes_at = \"200\"";
    rays_without_a_bottom: PROFILE => "profile = [{ depth = \"0 m\", temperature = \"9 degC\", salinity = 34 }]\npaths = \"rays\"";
    paths_that_nobody_knows: PROFILE => "profile = [{ depth = \"0 m\", temperature = \"9 degC\", salinity = 34 }]\npaths = \"modes\"";
    bottom_of_two_kinds: PROFILE => "profile = [{ depth = \"0 m\", temperature = \"9 degC\", salinity = 34 }]\nbottom = { sound_speed = \"1650 m/s\", density = \"1900 kg/m3\", attenuation_per_wavelength = \"0.8 dB\", loss_per_bounce = \"6 dB\" }";
    bottom_that_lacks_its_density: PROFILE => "profile = [{ depth = \"0 m\", temperature = \"9 degC\", salinity = 34 }]\nbottom = { sound_speed = \"1650 m/s\", attenuation_per_wavelength = \"0.8 dB\" }";
    bottom_that_says_nothing: PROFILE => "profile = [{ depth = \"0 m\", temperature = \"9 degC\", salinity = 34 }]\nbottom = {}";
    bottom_that_is_slower_than_any: PROFILE => "profile = [{ depth = \"0 m\", temperature = \"9 degC\", salinity = 34 }]\nbottom = { sound_speed = \"165 m/s\", density = \"1900 kg/m3\", attenuation_per_wavelength = \"0.8 dB\" }";
    rays_without_number: PROFILE => "profile = [{ depth = \"0 m\", temperature = \"9 degC\", salinity = 34 }]\nbottom = { loss_per_bounce = \"6 dB\" }\nrays = { most = 0 }";
    name_of_a_state: UPPER => "loads = { Listening = \"0.5 W\" }";
    wrong_load_of_the_state_it_starts_in: UPPER => "loads = { listening = \"0.5\", asleep = \"1 mW\" }\nstarts_in = \"listening\"";
    loads_that_are_no_table: UPPER => "loads = \"0.5 W\"\nstarts_in = \"listening\"";
    no_state_to_start_in: UPPER => "loads = { listening = \"0.5 W\", asleep = \"1 mW\" }";
    trigger_with_two_references: TRIGGER => "{ on_above = \"9 dB\", off_below = \"100 dB re 1 uPa\", shortest = \"0.4 s\", hold_off = \"10 s\" }";
    trigger_longest_below_shortest: TRIGGER => "{ on_above = \"9 dB\", off_below = \"6 dB\", shortest = \"4 s\", longest = \"2 s\", hold_off = \"10 s\" }";
    trigger_without_hold_off: TRIGGER => "{ on_above = \"9 dB\", off_below = \"6 dB\", shortest = \"0.4 s\" }";
    stage_with_a_strange_key: TRIGGER => "{ on_above = \"9 dB\", off_below = \"6 dB\", shortest = \"0.4 s\", hold_off = \"10 s\", window = \"1 s\" }";
    stage_with_a_wrong_value_is_still_that_stage: "band = [\"60 Hz\", \"260 Hz\"]" => "band = [\"60 Hz\"]";
    pulses_upside_down: TRIGGER => "{ pulses = \"envelope\", rise = \"6 dB\", least_interval = \"3 s\", most_interval = \"1 s\", at_least = 4, hold_off = \"5 s\" }";
    pulses_and_a_trigger: TRIGGER => "{ pulses = \"envelope\", rise = \"6 dB\", least_interval = \"1 s\", most_interval = \"3 s\", at_least = 4, hold_off = \"5 s\" },\n  { on_above = \"9 dB\", off_below = \"6 dB\", shortest = \"0.4 s\", hold_off = \"10 s\" }";
    detector_without_a_trigger: "  { on_above = \"9 dB\", off_below = \"6 dB\", shortest = \"0.4 s\", longest = \"2 s\", hold_off = \"10 s\" },\n" => "";
}
