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
        #[test]
        fn $name() {
            insta::assert_snapshot!(concat!("cues_", stringify!($name)), said(&changed(CUES, $from, $to)));
        }
    )*};
}

bad! {
    unknown_span: "of = \"span.top\"" => "of = \"span.tip\"";
    fault_of_the_wrong_thing: "of = \"span.top\"" => "of = \"module.upper\"";
    fault_over_before_it_begins: "at = \"200 s\"" => "at = \"200 s\"\nuntil = \"100 s\"";
    sound_without_its_length: "length = \"0.7 s\"\n" => "";
    sound_with_a_strange_key: "length = \"0.7 s\"" => "length = \"0.7 s\"\nclicks = 5";
    level_without_its_metre: "170 dB re 1 uPa m" => "170 dB re 1 uPa";
    unknown_sound: "after = \"sound.near\"" => "after = \"sound.neer\"";
    unknown_notice: "of = \"detector.call.confirmed\"" => "of = \"detector.call.confirm\"";
    after_without_within: "within = \"2 s\"\n" => "";
    window_beyond_the_end: "after = \"sound.near\"\nwithin = \"2 s\"" => "from = \"4 min\"\nuntil = \"6 min\"";
    counts_that_cannot_both_hold: "within = \"2 s\"" => "within = \"2 s\"\nat_least = 3\nat_most = 1";
    track_that_goes_back: "track = [{ range = \"1 km\", bearing = \"10 deg\", depth = \"10 m\" }]" => "track = [{ after = \"5 s\", range = \"1 km\", depth = \"10 m\" }, { after = \"5 s\", range = \"2 km\", depth = \"10 m\" }]";
    recording_outside_the_folder: "kind = \"upsweep\"\nfrom = \"90 Hz\"\nto = \"150 Hz\"\nlength = \"0.7 s\"" => "kind = \"recording\"\nfile = \"../../etc/sound.wav\"";
    sound_after_the_end: "at = \"60 s\"" => "at = \"600 s\"";
}
