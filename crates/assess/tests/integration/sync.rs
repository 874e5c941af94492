//! Streams on the links, and clocks that are set over them.

use assess::{Check, Shelf, Verdict, Word, check};

use crate::support::{changed, close, known, read, requirement, why_unknown};

const SYNC: &str = r#"
[time-sync]
master = "module.base"
every = "64 s"
timestamps = "wire"
jitter = "20 us"
size = "48 B"
priority = 0
[requirement.clocks]
that = "clock-error"
at_most = "0.2 ms"
"#;
const CLOCK: (&str, &str) = (
    "[module.ear]\n",
    "[module.ear]\nclock = { drift = \"2 ppm\" }\n",
);

#[track_caller]
fn of(changes: &[(&str, &str)], more: &str) -> Check {
    let reading = read(&(changed(changes) + more));
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    check(&reading, &Shelf::default())
}

/// Over one link with stamps at the wire: 2 x 20 us, and 2 ppm of 64 s, 168 us; the ways themselves add 2 ppm of some milliseconds.
#[test]
fn val_a_clock_is_off_by_its_stamps_and_its_drift() {
    let told = of(&[CLOCK], SYNC);
    close(known(&told, "clocks").value.value, 168e-6, 2e-8);
    assert_eq!(requirement(&told, "clocks").word(), Word::Met);
    // The step of temperature is drift like any other: 3 ppm are 232 us.
    let step = (
        CLOCK.0,
        "[module.ear]\nclock = { drift = \"2 ppm\", temperature_step = \"1 ppm\" }\n",
    );
    let told = of(&[step], SYNC);
    close(known(&told, "clocks").value.value, 232e-6, 2e-8);
    assert_eq!(requirement(&told, "clocks").word(), Word::Broken);
    // In the program the ways that differ count: never less.
    let told = of(&[CLOCK], &SYNC.replace("\"wire\"", "\"software\""));
    assert!(known(&told, "clocks").value.value > 168e-6);
}

#[test]
fn verif_a_clock_of_which_nothing_is_said_is_unknown() {
    let told = of(
        &[],
        &SYNC.replace(
            "at_most = \"0.2 ms\"",
            "of = \"module.ear\"\nat_most = \"0.2 ms\"",
        ),
    );
    assert!(why_unknown(&told, "clocks").contains("`clock`"));
    let (_, asked) = SYNC.split_once("[requirement").unwrap();
    let told = of(&[CLOCK], &format!("[requirement{asked}"));
    assert!(why_unknown(&told, "clocks").contains("[time-sync]"));
}

/// Exchanges cross the link as what else does: 134 bytes of 0.8 us each 64 s, there and back.
#[test]
fn val_exchanges_of_the_time_are_counted_in_the_load() {
    let load = |told: &Check| known(told, "load").value.value;
    let asked = "[requirement.load]\nthat = \"link-load\"\nat_most = \"99 %\"\n";
    let without = load(&of(&[CLOCK], asked));
    let with = load(&of(&[CLOCK], &(SYNC.to_owned() + asked)));
    close(with - without, 100.0 * 134.0 * 0.8e-6 / 64.0, 1e-12);
}

fn stream(rate: &str, more: &str) -> String {
    format!(
        "[stream.video]\nfrom = \"module.ear\"\nto = \"module.base\"\nrate = \"{rate}\"\npacket = \"1000 B\"\npriority = 3\n{more}\n"
    )
}

/// 1086 bytes on the wire for 1000: 9.5 Mbit/s ask for 10.317 of 10 Mbit/s.
#[test]
fn val_a_stream_has_room_or_has_none() {
    let told = of(&[], &stream("4 Mbit/s", ""));
    let verdict = known(&told, "stream-room");
    assert_eq!(requirement(&told, "stream-room").word(), Word::Met);
    assert!(
        verdict.value.value > 43.44 && verdict.value.value < 44.0,
        "{verdict:?}"
    );
    assert!(verdict.why.contains("Mbit/s left"), "{}", verdict.why);
    let told = of(&[], &stream("9.5 Mbit/s", ""));
    let verdict = known(&told, "stream-room");
    assert_eq!(requirement(&told, "stream-room").word(), Word::Broken);
    assert!(verdict.value.value > 103.1, "{verdict:?}");
    let late = of(&[], &stream("4 Mbit/s", "within = \"1 ms\""));
    assert_eq!(requirement(&late, "stream-room").word(), Word::Broken);
    let soon = of(&[], &stream("4 Mbit/s", "within = \"20 ms\""));
    assert_eq!(requirement(&soon, "stream-room").word(), Word::Met);
}

/// An alert waits for one packet of the stream at most: 1086 bytes of 0.8 us. A stream that is refused costs nothing.
#[test]
fn val_bounds_of_topics_count_the_streams_that_have_room() {
    let delay = |told: &Check| known(told, "told").value.value;
    let without = delay(&of(&[], ""));
    close(
        delay(&of(&[], &stream("4 Mbit/s", ""))) - without,
        868.8e-6,
        2e-9,
    );
    close(
        delay(&of(&[], &stream("9.5 Mbit/s", ""))) - without,
        0.0,
        1e-12,
    );
    let Verdict::Known(_) = &requirement(&of(&[], ""), "told").verdicts[0] else {
        panic!("unknown")
    };
}
