//! Why nothing bounds a delay: the first that has no bound is named, with its link or bus; and what a bound rests on where errors are assumed far apart.

use assess::{Check, Shelf, Word, check};

use crate::support::{changed, close, known, read, requirement, why_unknown};

const CLOCK: (&str, &str) = (
    "[module.ear]\n",
    "[module.ear]\nclock = { drift = \"2 ppm\" }\n",
);
const SYNC: &str = "\n[time-sync]\nmaster = \"module.base\"\nevery = \"64 s\"\ntimestamps = \"software\"\njitter = \"20 us\"\nsize = \"48 B\"\npriority = 0\n";

/// The ear on CAN at 125 kbit/s.
fn on_can(more: &str, besides: &str) -> Check {
    let can = format!(
        "bus = \"bus.side\"\n[bus.side]\nlink = \"CAN 2.0\"\nlink_rate = \"125 kbit/s\"\nframe = {{ header = \"0 B\", ids = \"11 bit\" }}\n{more}"
    );
    let text = changed(&[CLOCK, ("link = \"10BASE-T1L\"", &can)]) + SYNC + besides;
    let reading = read(&text);
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    check(&reading, &Shelf::default())
}

/// 31 bits of recovery and the longest frame again, of 135 bits, take 1.328 ms: more than there is between two errors a millisecond apart, less than between two that are 20 ms apart.
#[test]
fn verif_a_bus_that_cannot_recover_is_named_whatever_waits_for_it() {
    let often = on_can("bit_error_rate = 1e-5\nerrors_apart = \"1 ms\"", "");
    for id in ["told", "lamp"] {
        let why = why_unknown(&often, id);
        assert!(
            why.contains("bus.side is asked for") && why.contains("an error each 1 ms"),
            "{id}: {why}"
        );
    }
    let seldom = on_can("bit_error_rate = 1e-5\nerrors_apart = \"20 ms\"", "");
    assert!(known(&seldom, "told").value.value > 0.0);
}

/// A stream that asks a bus for more than it has is refused with that bus and what is asked of it, also where answers that wait for each other share it.
#[test]
fn verif_a_stream_without_room_names_what_is_full() {
    let stream = "\n[stream.raw]\nfrom = \"module.ear\"\nto = \"module.base\"\nrate = \"192 kbit/s\"\npacket = \"96 B\"\npriority = 7\n";
    let told = on_can("", stream);
    let room = known(&told, "stream-room");
    assert!(room.why.contains("bus.side is asked for"), "{}", room.why);
    assert!(room.value.value > 100.0);
    // What was there before keeps its bounds.
    assert!(known(&told, "told").value.value > 0.0);
}

/// The share of errors that come sooner than they are assumed is that of a Poisson process: `1 - exp(-T p R)`, 2.469 % for 20 ms at 1e-5 of 125 kbit/s, all of them for 50 ms at 1e-2.
#[test]
fn val_a_bound_says_how_many_errors_come_sooner_than_it_assumes() {
    let seldom = on_can("bit_error_rate = 1e-5\nerrors_apart = \"20 ms\"", "");
    let why = &known(&seldom, "told").why;
    assert!(
        why.contains(
            "(if errors on bus.side are 20 ms apart, and by its `bit_error_rate` 2.469 % are not)"
        ),
        "{why}"
    );
    let often = on_can("bit_error_rate = 1e-2\nerrors_apart = \"50 ms\"", "");
    let why = &known(&often, "told").why;
    assert!(why.contains("`bit_error_rate` 100 % are not"), "{why}");
    let assumed = often.assumed.join("\n");
    assert!(assumed.contains("100 % of them come sooner"), "{assumed}");
}

/// 20 kbit/s in packets of 70 B are 35.71 a second, each eight frames of 135 bits and one of 115 (8 n + 44 bits, three between frames and the stuffed ones): 34.14 % of 125 kbit/s. Beside
/// them are ten alerts a minute of 100 B, twelve frames of 135 bits and one of 95, and the exchanges of the time, two each 64 s of six frames of 135 bits.
#[test]
fn verif_a_stream_on_a_shared_bus_shows_how_full_it_is() {
    let stream = "\n[stream.raw]\nfrom = \"module.ear\"\nto = \"module.base\"\nrate = \"20 kbit/s\"\npacket = \"70 B\"\npriority = 7\n";
    let told = on_can("", stream);
    let packets = 20_000.0 / (8.0 * 70.0) * (8.0 * 135.0 + 115.0);
    let alerts = 10.0 / 60.0 * (12.0 * 135.0 + 95.0);
    let exchanges = 2.0 / 64.0 * 6.0 * 135.0;
    let percent = 100.0 * (packets + alerts + exchanges) / 125_000.0;
    let room = known(&told, "stream-room");
    close(room.value.value, percent, 1e-3);
    assert!(room.why.contains("bus.side has"), "{}", room.why);
    // The load of the bus by its own verdict is the same.
    close(room.value.value, known(&told, "links").value.value, 1e-9);
    assert_eq!(requirement(&told, "stream-room").word(), Word::Met);
}
