//! Bad cue sheets: the small good one with one thing changed, and what is said of it.

use plan::{Drawing, render};

use crate::support::{CUES, Files, SMALL, changed};

fn said(text: &str) -> String {
    let files = Files::one(SMALL).with("cues.toml", text);
    let plan = files.read();
    let reading = files.read_cues(&plan);
    let drawn = render(&reading.mistakes, &reading.sources, Drawing::Plain);
    let drawn: Vec<&str> = drawn.lines().map(str::trim_end).collect();
    format!("{}\nusable: {}", drawn.join("\n"), reading.cues.is_some())
}

macro_rules! bad {
    ($($name:ident: $from:expr => $to:expr;)*) => {$(
        fn $name() {
            insta::assert_snapshot!(concat!("cues_", stringify!($name)), said(&changed(CUES, $from, $to)));
        }
        mod $name {
            #[test]
            fn regress_what_is_said() {
                super::$name();
            }
        }
    )*};
}

const UPSWEEP: &str = "kind = \"upsweep\"\nfrom = \"90 Hz\"\nto = \"150 Hz\"\nlength = \"0.7 s\"";
const FAULT: &str = "kind = \"cut\"\nof = \"span.top\"";
const MENDED: &str = "at = \"200 s\"\n\n[expect.heard]\nthat = \"notice\"\nof = \"detector.call.confirmed\"\nafter = \"sound.near\"\nwithin = \"2 s\"";
const HEARD: &str = "that = \"notice\"\nof = \"detector.call.confirmed\"";

bad! {
    unknown_span: "of = \"span.top\"" => "of = \"span.tip\"";
    fault_of_the_wrong_thing: "of = \"span.top\"" => "of = \"module.upper\"";
    fault_without_what_its_kind_needs: FAULT => "kind = \"intermittent\"\nof = \"span.top\"\nup = \"2 s\"";
    fault_with_a_strange_key: FAULT => "kind = \"hang\"\nof = \"module.upper\"\nvoltage = \"9 V\"";
    restart_until: FAULT => "kind = \"restart\"\nof = \"module.upper\"\nby = \"power\"\nuntil = \"250 s\"";
    restart_without_a_boot: FAULT => "kind = \"restart\"\nof = \"module.buoy\"\nby = \"watchdog\"";
    brown_out_that_is_none: FAULT => "kind = \"brown-out\"\nof = \"supply.cells\"\nvoltage = \"60 V\"";
    swapped_without_figures: FAULT => "kind = \"swapped\"\nof = \"supply.cells\"\nvoltage = \"24 V\"";
    swapped_with_itself: FAULT => "kind = \"swapped\"\nof = \"supply.cells\"\nwith = \"supply.cells\"";
    swapped_twice: FAULT => "kind = \"swapped\"\nof = \"supply.cells\"\nwith = \"supply.cells\"\nvoltage = \"24 V\"";
    unplugged_where_the_line_ends: FAULT => "kind = \"unplugged\"\nof = \"module.buoy\"\nleaves = \"joined\"";
    flood_of_an_unknown_topic: FAULT => "kind = \"flood\"\nof = \"module.upper\"\ntopic = \"alert/cal\"\nevery = \"10 ms\"\nlimited = false";
    flood_too_fast: FAULT => "kind = \"flood\"\nof = \"module.upper\"\ntopic = \"alert/call\"\nevery = \"10 ns\"\nlimited = false";
    clock_step_of_a_module_without_a_clock: FAULT => "kind = \"clock-step\"\nof = \"module.upper\"\nstep = \"2 s\"";
    clock_step_of_days: FAULT => "kind = \"clock-step\"\nof = \"module.upper\"\nstep = \"3 d\"";
    clock_step_without_a_step: FAULT => "kind = \"clock-step\"\nof = \"module.upper\"";
    bit_errors_without_a_rate: FAULT => "kind = \"bit-errors\"\nof = \"span.top\"";
    bit_errors_of_every_bit: FAULT => "kind = \"bit-errors\"\nof = \"span.top\"\nrate = 0.9";
    bit_errors_of_a_module: FAULT => "kind = \"bit-errors\"\nof = \"module.upper\"\nrate = 1e-3";
    no_uplink_of_a_module: FAULT => "kind = \"no-uplink\"\nof = \"module.buoy\"";
    store_full_of_an_unknown_store: FAULT => "kind = \"storage-full\"\nof = \"storage.crd\"";
    drained_without_energy: FAULT => "kind = \"drained\"\nof = \"supply.cells\"";
    drained_in_watts: FAULT => "kind = \"drained\"\nof = \"supply.cells\"\nenergy = \"20 W\"";
    bad_contact_without_a_resistance: FAULT => "kind = \"bad-contact\"\nof = \"span.top\"";
    reboot_loop_without_a_time: FAULT => "kind = \"reboot-loop\"\nof = \"module.upper\"";
    unplugged_without_what_it_leaves: FAULT => "kind = \"unplugged\"\nof = \"module.upper\"";
    intermittent_of_lengths_that_nobody_knows: FAULT => "kind = \"intermittent\"\nof = \"span.top\"\ndown = \"1 s\"\nup = \"2 s\"\nlengths = \"random\"";
    recovered_after_a_sound: HEARD => "that = \"recovered\"\nof = \"module.upper\"";
    after_a_fault_that_is_never_over: "after = \"sound.near\"" => "after = \"fault.cut\"";
    after_an_unknown_fault: "after = \"sound.near\"" => "after = \"fault.cat\"";
    recovered_of_two_kinds: MENDED => "at = \"200 s\"\nuntil = \"210 s\"\n\n[expect.heard]\nthat = \"recovered\"\nof = \"module.upper\"\ntopic = \"alert/call\"\nafter = \"fault.cut\"\nwithin = \"20 s\"";
    recovered_of_an_output: MENDED => "at = \"200 s\"\nuntil = \"210 s\"\n\n[expect.heard]\nthat = \"recovered\"\nof = \"module.buoy.output.lantern\"\nafter = \"fault.cut\"\nwithin = \"20 s\"";
    late_nowhere: HEARD => "that = \"late\"\nat = \"module.buoy\"";
    fault_over_before_it_begins: "at = \"200 s\"" => "at = \"200 s\"\nuntil = \"100 s\"";
    sound_without_its_length: "length = \"0.7 s\"\n" => "";
    sound_with_a_strange_key: "length = \"0.7 s\"" => "length = \"0.7 s\"\nclicks = 5";
    sound_with_a_misspelt_key: "length = \"0.7 s\"" => "lenght = \"0.7 s\"";
    level_without_its_metre: "170 dB re 1 uPa m" => "170 dB re 1 uPa";
    unknown_sound: "after = \"sound.near\"" => "after = \"sound.neer\"";
    unknown_notice: "of = \"detector.call.confirmed\"" => "of = \"detector.call.confirm\"";
    after_without_within: "within = \"2 s\"\n" => "";
    after_and_until: "within = \"2 s\"" => "within = \"2 s\"\nuntil = \"100 s\"";
    window_beyond_the_end: "after = \"sound.near\"\nwithin = \"2 s\"" => "from = \"4 min\"\nuntil = \"6 min\"";
    counts_that_cannot_both_hold: "within = \"2 s\"" => "within = \"2 s\"\nat_least = 3\nat_most = 1";
    count_below_zero: "within = \"2 s\"" => "within = \"2 s\"\nat_least = -3";
    track_that_goes_back: "track = [{ range = \"1 km\", bearing = \"10 deg\", depth = \"10 m\" }]" => "track = [{ after = \"5 s\", range = \"1 km\", depth = \"10 m\" }, { after = \"5 s\", range = \"2 km\", depth = \"10 m\" }]";
    track_faster_than_any_vessel: "track = [{ range = \"1 km\", bearing = \"10 deg\", depth = \"10 m\" }]" => "track = [{ range = \"1 km\", depth = \"10 m\" }, { after = \"3 min\", range = \"40 km\", depth = \"10 m\" }]";
    source_below_the_seabed: "depth = \"10 m\" }]" => "depth = \"3 km\" }]";
    rehearsal_beyond_all_instants: "seed = 1" => "seed = 1\nstart = 1600-01-01";
    rehearsal_before_the_deployment: "seed = 1" => "seed = 1\nstart = 2020-01-01T12:00:00Z";
    rehearsal_after_the_deployment: "seed = 1" => "seed = 1\nstart = 2029-08-02";
    recording_outside_the_folder: UPSWEEP => "kind = \"recording\"\nfile = \"../../etc/sound.wav\"";
    hum_upside_down: UPSWEEP => "kind = \"hum\"\nlow = \"900 Hz\"\nhigh = \"40 Hz\"\nlength = \"1 min\"";
    kind_of_sound_that_nobody_knows: "kind = \"upsweep\"" => "kind = \"sweep\"";
    sound_after_the_end: "at = \"60 s\"" => "at = \"600 s\"";
    fault_after_the_end: "at = \"200 s\"" => "at = \"400 s\"";
    input_after_the_end: "[fault.cut]" => "[input.x]\nat = \"5 min\"\nmodule = \"module.upper\"\npublish = \"alert/call\"\n[fault.cut]";
    a_wrong_sound_leaves_its_expectations_alone: "at = \"60 s\"" => "at = \"60\"";
    no_seed: "seed = 1\n" => "";
    a_wrong_rehearsal_does_not_hide_the_rest: "wind = \"5 m/s\"" => "wind = \"5 leagues\"\n\n[fault.no]\nat = \"1 s\"\nkind = \"dead\"\nof = \"module.uper\"";
    unknown_table: "[fault.cut]" => "[failure.cut]";
    notice_of_an_output: HEARD => "that = \"notice\"\nof = \"module.buoy.output.lantern\"";
    fail_safe_state_that_nobody_says: HEARD => "that = \"fail-safe\"\nof = \"module.buoy.output.lantern\"";
    stays_without_a_state: HEARD => "that = \"stays\"\nof = \"module.buoy.output.lantern\"";
    voltage_without_limits: HEARD => "that = \"voltage\"\nof = \"module.upper\"";
    voltage_as_a_count: HEARD => "that = \"voltage\"\nof = \"module.upper\"\nat_least = 12";
    delivered_nowhere: HEARD => "that = \"delivered\"\ntopic = \"alert/call\"";
    topic_that_does_not_exist: HEARD => "that = \"delivered\"\ntopic = \"alert/cal\"\nat = \"module.buoy\"";
    input_on_a_filter: "[fault.cut]" => "[input.x]\nat = \"5 s\"\nmodule = \"module.upper\"\npublish = \"alert/#\"\n[fault.cut]";
    syntax: "seed = 1" => "seed = ";
}
