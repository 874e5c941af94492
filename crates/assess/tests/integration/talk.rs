//! Delays and loads of the links against their sums.

use assess::{Check, Word};

use crate::support::{checked, close, known, requirement, why_unknown};

const RATE_BPS: f64 = 10e6;
/// Preamble, delimiter, header, check and gap of Ethernet (IEEE 802.3): 38 bytes; IPv6 40 (RFC 8200), UDP 8 (RFC 768).
const OVERHEAD_B: f64 = 86.0;
/// Whole nanoseconds, and tiles of whole samples.
const TICK_S: f64 = 2e-9;

fn delay_s(check: &Check, id: &str) -> f64 {
    known(check, id).value.value
}

/// One publisher alone on its link: its frame, 100 m at 5 ns/m and 100 us of processing after the detector can tell. With one message
/// an hour nothing of its own is ahead, so the bound holds the frame once and, for store and forward, at most once more.
#[test]
fn val_a_delay_is_the_sum_of_its_parts() {
    let once = |changes: &[(&'static str, &'static str)]| {
        let mut all = vec![("at_most = \"10 per min\"", "at_most = \"1 per h\"")];
        all.extend_from_slice(changes);
        delay_s(&checked(&all), "told")
    };
    let plain = once(&[]);
    // The detector tells its part itself; all else is the line.
    let check = checked(&[("at_most = \"10 per min\"", "at_most = \"1 per h\"")]);
    let why = &known(&check, "told").why;
    let heard_s: f64 = why.split(" s until").next().unwrap().parse().unwrap();
    let frame_s = 8.0 * (100.0 + OVERHEAD_B) / RATE_BPS;
    let line_s = plain - heard_s;
    let least_s = frame_s + 500e-9 + 100e-6;
    let rounding_s = 0.5e-3;
    assert!(
        line_s >= least_s - rounding_s && line_s <= least_s + frame_s + rounding_s,
        "{why}"
    );
    // Each part shows alone: 1 ms more of processing in the base, 200 m more of cable.
    close(
        once(&[("processing = \"100 us\"", "processing = \"1100 us\"")]) - plain,
        1e-3,
        TICK_S,
    );
    close(
        once(&[("length = \"100 m\"", "length = \"300 m\"")]) - plain,
        1e-6,
        TICK_S,
    );
}

/// Level tiles of a quarter window (0.05 s) follow each other; a shortest event of 0.6 s needs 12 of them, one of 0.3 s needs 6
/// (docs/method/detect.md): 0.3 s more.
#[test]
fn val_the_detector_waits_for_its_shortest_event() {
    let plain = delay_s(&checked(&[]), "lamp");
    let longer = delay_s(
        &checked(&[("shortest = \"0.3 s\"", "shortest = \"0.6 s\"")]),
        "lamp",
    );
    close(longer - plain, 0.3, TICK_S);
    // At least the shortest event less one tile, and the window of the first full level.
    assert!(plain >= 0.25 + 0.2, "{plain}");
    assert!(plain < 0.25 + 0.2 + 0.15, "{plain}");
}

/// Behaviours take no time: the lamp is on when the module has been told.
#[test]
fn verif_the_lamp_is_as_late_as_the_message() {
    let check = checked(&[]);
    close(delay_s(&check, "lamp"), delay_s(&check, "told"), 0.0);
}

/// Twelve messages of one session of 5 s each: the last is ashore after 60 s.
#[test]
fn val_a_sure_uplink_takes_one_session_for_each_message_of_a_burst() {
    let check = checked(&[]);
    close(
        delay_s(&check, "shore") - delay_s(&check, "told"),
        60.0,
        TICK_S,
    );
}

/// With 95 % of attempts succeeding, 12 messages are ashore within 14 attempts in at least 90 % of cases
/// (`12 + scipy.stats.nbinom.ppf(0.9, 12, 0.95)`, scipy 1.17.1): 14 sessions of 5 s and 2 back-offs of 10 s.
#[test]
fn val_an_unsure_uplink_needs_attempts_for_the_whole_burst() {
    let check = checked(&[("success = \"100 %\"", "success = \"95 %\"")]);
    close(
        delay_s(&check, "shore") - delay_s(&check, "told"),
        90.0,
        TICK_S,
    );
    // One attempt a message would be 60 s, in which all twelve succeed in 54 % of cases only.
    assert!(delay_s(&check, "shore") > 61.0);
}

/// One message a day: `1 - (1 - p)^k` reaches 99 % at k = 3 for p = 80 % (0.8, 0.96, 0.992).
#[test]
fn val_attempts_for_one_message_follow_the_geometric_law() {
    let check = checked(&[
        ("at_most = \"12 per d\"", "at_most = \"1 per d\""),
        ("success = \"100 %\"", "success = \"80 %\""),
        ("share = \"90 %\"", "share = \"99 %\""),
    ]);
    close(
        delay_s(&check, "shore") - delay_s(&check, "told"),
        3.0 * 5.0 + 2.0 * 10.0,
        TICK_S,
    );
}

#[test]
fn verif_an_uplink_that_does_not_say_enough_is_unknown() {
    let unsure = ("success = \"100 %\"", "success = \"95 %\"");
    for (what, changes) in [
        ("chance of success", vec![("success = \"100 %\"\n", "")]),
        ("share", vec![unsure, ("share = \"90 %\"\n", "")]),
        ("back-off", vec![unsure, ("back_off = \"10 s\"\n", "")]),
        (
            "no bound",
            vec![("at_most = \"12 per d\"", "at_most = \"12 per min\"")],
        ),
    ] {
        let changes = if what == "no bound" {
            vec![changes[0], ("session = \"5 s\"", "session = \"6 s\"")]
        } else {
            changes
        };
        let check = checked(&changes);
        let why = why_unknown(&check, "shore");
        assert!(why.contains(what), "{what}: {why}");
    }
}

/// Without a limit of its own a topic has that of its detector's hold-off; published by two behaviours it has none.
#[test]
fn verif_a_topic_that_may_be_told_at_any_rate_has_no_bound() {
    let no_limit = ("at_most = \"10 per min\"\n", "");
    let held = checked(&[no_limit]);
    assert_eq!(requirement(&held, "lamp").word(), Word::Met);
    let twice = "[behaviour.again]\non = \"module.ear\"\nwhen_heard = \"detector.call.onset\"\ndo = [{ publish = \"alert/call\" }]\n\n[behaviour.act]";
    let check = checked(&[no_limit, ("[behaviour.act]", twice)]);
    for id in ["lamp", "told", "links"] {
        let why = why_unknown(&check, id);
        assert!(
            why.contains("alert/call") && why.contains("at_most"),
            "{id}: {why}"
        );
    }
    assert_eq!(requirement(&check, "shore").word(), Word::Unknown);
}

#[test]
fn verif_no_processing_time_and_no_way_are_unknown() {
    let check = checked(&[("processing = \"100 us\"\n", "")]);
    assert!(why_unknown(&check, "lamp").contains("processing time"));
    let check = checked(&[("when_told = \"alert/#\"", "when_told = \"other/#\"")]);
    assert!(why_unknown(&check, "lamp").contains("no behaviour leads"));
}

/// Ten frames of 186 bytes a minute at 10 Mb/s.
#[test]
fn val_the_load_of_a_link_is_rate_times_frame_time() {
    let check = checked(&[]);
    let expected = 100.0 * 10.0 / 60.0 * 8.0 * (100.0 + OVERHEAD_B) / RATE_BPS;
    close(known(&check, "links").value.value, expected, 1e-12);
}

/// 1000 m is the objective of IEEE Std 802.3cg-2019 for 10BASE-T1L.
#[test]
fn val_a_span_longer_than_its_standard_is_broken() {
    let check = checked(&[("length = \"100 m\"", "length = \"1001 m\"")]);
    assert_eq!(requirement(&check, "link-reach").word(), Word::Broken);
    close(known(&check, "link-reach").limit.value, 1000.0, 0.0);
    let check = checked(&[("length = \"100 m\"", "length = \"1000 m\"")]);
    assert_eq!(requirement(&check, "link-reach").word(), Word::Met);
}

#[test]
fn verif_a_housing_below_its_rating_is_broken_and_without_one_unknown() {
    let check = checked(&[("rated_depth = \"200 m\"", "rated_depth = \"19 m\"")]);
    assert_eq!(requirement(&check, "housing-depth").word(), Word::Broken);
    let check = checked(&[("rated_depth = \"200 m\"", "rated_depth = \"24 m\"")]);
    assert_eq!(requirement(&check, "housing-depth").word(), Word::Marginal);
    let check = checked(&[("housing = { rated_depth = \"200 m\" }\n", "")]);
    assert_eq!(requirement(&check, "housing-depth").word(), Word::Unknown);
}

/// Thirty modules that each pass on what they hear from any other: the way is the direct one, found at once. (A search over
/// all ways would not end: there are more than 28! of them.)
#[test]
fn verif_modules_that_relay_to_one_another_cost_no_time() {
    let mut more = String::new();
    for i in 0..30 {
        more.push_str(&format!(
            r#"
[module.relay-{i}]
position = {{ depth = "0 m" }}
processing = "100 us"
passes = {{ power = "always", data = "always" }}
through = {{ resistance = "0 ohm" }}
[span.relay-{i}]
from = "module.base"
to = "module.relay-{i}"
length = "1 m"
conductor = "18 AWG"
contacts = {{ mated_pins_in_loop = 0, resistance = "0 ohm" }}
link = "10BASE-T1L"
[behaviour.relay-{i}]
on = "module.relay-{i}"
when_told = "alert/#"
at_most = "1 per h"
do = [{{ publish = "alert/relayed-{i}" }}]
[topic."alert/relayed-{i}"]
at_most = "1 per h"
size = "10 B"
"#
        ));
    }
    let begun = std::time::Instant::now();
    let check = crate::support::read(&(crate::support::changed(&[]) + &more));
    let check = assess::check(&check, &assess::Shelf::default());
    let told = &requirement(&check, "told").verdicts[0];
    assert!(matches!(told, assess::Verdict::Known(_)), "{told:?}");
    assert!(begun.elapsed().as_secs() < 20, "{:?}", begun.elapsed());
}
