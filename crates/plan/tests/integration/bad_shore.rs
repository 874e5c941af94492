//! What is said of uplinks and stores that cannot be.

use crate::support::bad;

const SURE: &str = "success = \"100 %\"";
const CARD: &str = "capacity = \"64 GB\"";

bad! {
    success_in_two_ways: SURE => "success = \"100 %\"\nsuccess_by = [{ wind = \"8 m/s\", success = \"90 %\" }]";
    sea_state_of_nothing: SURE => "success_by = [{ success = \"90 %\" }]";
    sea_states_by_wind_and_by_waves: SURE => "success_by = [{ wind = \"8 m/s\", success = \"90 %\" }, { wave_height = \"9 m\", success = \"50 %\" }]";
    sea_states_that_calm_down: SURE => "success_by = [{ wind = \"8 m/s\", success = \"90 %\" }, { wind = \"6 m/s\", success = \"50 %\" }]";
    sea_beside_one_chance: SURE => "success = \"90 %\"\nsea = { wind = \"12 m/s\", calm = \"95 %\", high = \"20 %\" }";
    sea_that_is_high_above_nothing: SURE => "sea = { calm = \"95 %\", high = \"20 %\" }";
    sea_in_which_storms_help: SURE => "sea = { wind = \"12 m/s\", calm = \"20 %\", high = \"95 %\" }";
    registration_of_no_known_time: SURE => "success = \"90 %\"\nback_off = \"10 s\"\nregisters = { takes = \"20 s\", when = \"sometimes\" }";
    registration_in_a_state_that_is_not_there: SURE => "success = \"100 %\"\nregisters = { takes = \"20 s\", when = \"power-on\", state = \"dancing\" }";
    fix_that_never_ends: SURE => "success = \"100 %\"\nfix = { takes = \"2 h\", every = \"1 h\" }";
    back_off_that_grows_without_end: SURE => "success = \"90 %\"\nback_off = \"10 s\"\nback_off_grows = 2";
    back_off_that_grows_from_nothing: SURE => "success = \"100 %\"\nback_off_grows = 2\nback_off_longest = \"1 h\"";
    longest_back_off_below_the_first: SURE => "success = \"90 %\"\nback_off = \"2 h\"\nback_off_grows = 2\nback_off_longest = \"1 h\"";
    overhead_that_fills_a_message: SURE => "success = \"100 %\"\noverhead = \"1 MB\"";
    room_without_who_gives_up: SURE => "success = \"100 %\"\nroom = 10";
    cap_without_what_happens: SURE => "success = \"100 %\"\ncap = \"20 EUR\"";
    cap_in_another_currency: SURE => "success = \"100 %\"\ncap = \"20 USD\"\nat_cap = \"stop\"";
    cap_that_lets_nothing_go: SURE => "success = \"100 %\"\ncap = \"0.01 EUR\"\nat_cap = \"stop\"";
    cap_that_lets_only_what_is_urgent_go: SURE => "success = \"100 %\"\ncap = \"0.01 EUR\"\nat_cap = \"urgent-only\"\nurgent = 0";
    cap_for_urgent_messages_of_no_topic: SURE => "success = \"100 %\"\ncap = \"20 EUR\"\nat_cap = \"urgent-only\"";
    store_that_drops_what_it_lacks: CARD => "capacity = \"64 GB\"\ndrop = [\"logs\"]";
    store_that_drops_nothing_and_more: CARD => "capacity = \"64 GB\"\ndrop = [\"nothing\", \"oldest-recordings\"]";
    store_that_drops_an_unknown_thing: CARD => "capacity = \"64 GB\"\ndrop = [\"newest\"]";
    cluster_without_a_cut: CARD => "capacity = \"64 GB\"\ncluster = \"32 kB\"";
    log_that_takes_nothing: CARD => "capacity = \"64 GB\"\nlogs = {}";
    held_for_a_little_longer_than_it_lives: SURE => "success = \"100 %\"\nexpiry = \"6 h\"\npack_within = \"6.0001 h\"";
    held_as_long_as_it_lives: SURE => "success = \"100 %\"\nexpiry = \"10 min\"\npack_within = \"10 min\"";
    held_until_the_windows_are_missed: SURE => "success = \"100 %\"\nexpiry = \"19 min\"\npack_within = \"10 min\"\nwindows = { first = \"0 s\", period = \"10 min\", width = \"1 min\" }";
    held_for_longer_than_it_lives: SURE => "success = \"100 %\"\nexpiry = \"20 min\"\npack_within = \"30 min\"";
    urgent_without_a_use: SURE => "success = \"100 %\"\nurgent = 0";
}
