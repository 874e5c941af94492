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

/// A topic of priority 5 towards the base, told at least once, its acknowledgements of 1000 B coming back.
const ACKNOWLEDGED: &[(&str, &str)] = &[
    ("at_most = \"10 per min\"", "at_most = \"50 per s\""),
    (
        "priority = 0\nsize = \"100 B\"",
        "priority = 5\nsize = \"100 B\"\ndelivery = \"at-least-once\"\nretry = { after = \"20 s\", at_most = 3, acknowledgement = \"1000 B\" }",
    ),
];

/// A stream that goes before the topic, in bursts that hold its messages up, and one the other way that waits for the acknowledgements.
fn there_and_back(within: &str) -> String {
    format!(
        "[stream.there]\nfrom = \"module.ear\"\nto = \"module.base\"\nrate = \"6 Mbit/s\"\npacket = \"1000 B\"\nburst = 1000\npriority = 3\n
[stream.back]\nfrom = \"module.base\"\nto = \"module.ear\"\nrate = \"1 Mbit/s\"\npacket = \"1000 B\"\npriority = 6\n{within}\n"
    )
}

/// What a stream was admitted with is the bound that it has beside all that was admitted: acknowledgements of messages that another stream holds up come late, and so more of them at once.
#[test]
fn verif_streams_are_admitted_with_acknowledgements_as_late_as_they_may_be() {
    let reading = read(&(changed(ACKNOWLEDGED) + &there_and_back("")));
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    let line = reading.line.as_ref().unwrap();
    let traffic = assess::input::traffic(line).unwrap().unwrap();
    let streams = assess::input::streams(line, &traffic).unwrap();
    let bounds = network::delay_bounds(&traffic.topology, &streams.flows).unwrap();
    assert_eq!(streams.packets.len(), 2);
    for (stream, flow) in &streams.packets {
        let network::StreamRoom::Admitted { total, .. } = &streams.rooms[stream.0] else {
            panic!("it has room");
        };
        let network::DelayBound::Known { total: bound, .. } = &bounds[*flow][0] else {
            panic!("it has a bound");
        };
        assert_eq!(total, bound, "stream.{}", line.streams[stream.0].id);
    }
    // Alone on the way back, and with acknowledgements of messages that nothing holds up: what a stream was admitted with when their lateness was found without the other stream.
    let alone = there_and_back("")
        .split_once("[stream.back]")
        .unwrap()
        .1
        .to_owned();
    let alone = known(
        &of(
            ACKNOWLEDGED,
            &format!("[stream.back]{alone}within = \"1 s\""),
        ),
        "stream-room",
    )
    .value
    .value;
    let told = of(ACKNOWLEDGED, &there_and_back("within = \"1 s\""));
    let beside = told
        .standing
        .iter()
        .find(|j| j.id == "stream-room")
        .unwrap()
        .verdicts
        .iter()
        .find_map(|v| match v {
            Verdict::Known(k) if k.subject == "stream.back" => Some(k.value.value),
            _ => None,
        })
        .unwrap();
    // Messages wait for 1000 packets at 6 of 10 Mbit/s: over a second, in which 50 acknowledgements more may come due, 8.7 ms of the link each 10 of them.
    assert!(beside > alone + 0.04, "{alone} {beside}");
    let between = (alone + beside) / 2.0;
    let told = of(
        ACKNOWLEDGED,
        &there_and_back(&format!("within = \"{between:.6} s\"")),
    );
    assert_eq!(requirement(&told, "stream-room").word(), Word::Broken);
}

/// A stream that holds an acknowledgement up beyond the time after which its message is sent again is refused: no bound counts the repeat.
#[test]
fn verif_a_stream_that_would_make_messages_be_sent_again_is_refused() {
    let room = |after: &str| {
        let again = ACKNOWLEDGED[1].1.replace("\"20 s\"", after);
        let text = there_and_back("");
        let there = text.split_once("[stream.back]").unwrap().0;
        of(&[ACKNOWLEDGED[0], (ACKNOWLEDGED[1].0, &again)], there)
    };
    assert_eq!(
        requirement(&room("\"20 s\""), "stream-room").word(),
        Word::Met
    );
    let told = room("\"100 ms\"");
    let why = why_unknown(&told, "stream-room");
    assert!(
        why.contains("sent again before its acknowledgement") && why.contains("alert/call"),
        "{why}"
    );
    // Without it the topic has its bound, and the retry its time.
    assert_eq!(requirement(&told, "retry").word(), Word::Met);
}

/// The ear's 64 kbit/s, to a card at the base.
const FAR: (&str, &str) = (
    "[storage.card]\nat = \"module.ear\"",
    "[stream.raw]\nfrom = \"module.ear.sensor.one\"\nto = \"module.base\"\nrate = \"64 kbit/s\"\npacket = \"800 B\"\npriority = 7\n\n[storage.card]\nat = \"module.base\"",
);

/// A recording that crosses the cable loads it: ten packets a second of 800 + 8 + 40 + 18 + 8 + 12 bytes on 10 Mbit/s, by hand. The days are those of the card beside the ear.
#[test]
fn verif_a_recording_on_another_module_loads_its_way() {
    let (near, far) = (of(&[], ""), of(&[FAR], ""));
    let load = |check: &Check| known(check, "links").value.value;
    let packets = 100.0 * 10.0 * 8.0 * (800.0 + 8.0 + 40.0 + 18.0 + 8.0 + 12.0) / 10e6;
    close(load(&far) - load(&near), packets, 1e-9);
    let days = |check: &Check| known(check, "card").value.value;
    close(days(&far), days(&near), 1e-12);
    assert!(known(&far, "card").why.contains("over stream.raw"));
}

/// A card to which no way has room records nothing that could be counted on; one whose stream has a mistake rests on that.
#[test]
fn verif_a_recording_that_does_not_arrive_is_unknown() {
    let late = (
        FAR.0,
        FAR.1
            .replace("priority = 7", "priority = 7\nwithin = \"1 us\""),
    );
    let told = of(&[(late.0, &late.1)], "");
    let why = why_unknown(&told, "card");
    assert!(
        why.contains("stream.raw") && why.contains("no room"),
        "{why}"
    );
    let wrong = FAR.1.replace("64 kbit/s", "64 V");
    let reading = read(&changed(&[(FAR.0, &wrong)]));
    assert_eq!(reading.mistakes.iter().filter(|m| m.is_error()).count(), 1);
    let told = check(&reading, &Shelf::default());
    assert!(why_unknown(&told, "card").contains("the plan has a mistake in it"));
    let subject = requirement(&told, "card").verdicts[0].subject();
    assert_eq!(subject, "stream.raw");
}
