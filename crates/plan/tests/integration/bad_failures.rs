//! Heartbeats, fail-safe states and limits on failures that cannot be, and what is said of them.

use plan::{Action, When};

use crate::support::{Files, SMALL, bad, changed};

const UPPER: &str = "loads = { listening = \"0.5 W\" }\n";
const TOPIC: &str = "[topic.\"alert/call\"]";
const STARTS: &str = "starts = \"on\"\n";
const VOLTS: &str = "that = \"voltage\"\nof = \"module.upper\"\nat_least = \"12 V\"";

bad! {
    heartbeat_on_no_topic: UPPER => "loads = { listening = \"0.5 W\" }\nheartbeat = { topic = \"alert/cal\", every = \"10 min\" }\n";
    heartbeat_without_its_interval: UPPER => "loads = { listening = \"0.5 W\" }\nheartbeat = { topic = \"alert/call\" }\n";
    heartbeat_by_the_uplink_of_another: UPPER => "loads = { listening = \"0.5 W\" }\nheartbeat = { topic = \"alert/call\", every = \"10 min\", by = \"uplink.shore\" }\n";
    heartbeat_that_nobody_hears: TOPIC => "[topic.\"health/upper\"]\nsize = \"8 B\"\n[module.upper.heartbeat]\ntopic = \"health/upper\"\nevery = \"10 min\"\n[topic.\"alert/call\"]";
    heartbeats_with_one_topic: TOPIC => "[module.upper.heartbeat]\ntopic = \"alert/call\"\nevery = \"10 min\"\n[module.buoy.heartbeat]\ntopic = \"alert/call\"\nevery = \"10 min\"\n[topic.\"alert/call\"]";
    heartbeat_whose_behaviour_is_there: TOPIC => "[module.upper.heartbeat]\ntopic = \"alert/call\"\nevery = \"10 min\"\n[behaviour.heartbeat-upper]\non = \"module.upper\"\neach = \"1 h\"\ndo = [{ publish = \"alert/call\" }]\n[topic.\"alert/call\"]";
    fails_safe_into_no_state: STARTS => "starts = \"on\"\nfails_safe_within = \"5 s\"\n";
    fails_safe_into_an_odd_state: STARTS => "starts = \"on\"\nfail_safe = \"blinks\"\n";
    failures_by_a_time: VOLTS => "that = \"single-failure\"\nat_most = \"2 h\"";
    failures_below_none: VOLTS => "that = \"single-failure\"\nat_most = -1";
    notice_by_a_count: VOLTS => "that = \"time-to-notice\"\nat_most = 2";
    fail_safe_of_a_module: VOLTS => "that = \"fail-safe\"\nof = \"module.buoy\"\nat_most = \"5 s\"";
}

/// A heartbeat is a behaviour of its module that publishes at its interval, and sends up where it says so.
#[test]
fn verif_a_heartbeat_is_a_behaviour() {
    let text = changed(
        SMALL,
        TOPIC,
        "[topic.\"health/buoy\"]\nsize = \"8 B\"\n[module.buoy.heartbeat]\ntopic = \"health/buoy\"\nevery = \"12 h\"\nby = \"uplink.shore\"\n[topic.\"alert/call\"]",
    );
    let reading = Files::one(text).read();
    assert!(reading.mistakes.is_empty(), "{:?}", reading.mistakes);
    let line = reading.line.unwrap();
    let ids: Vec<&str> = line.behaviours.iter().map(|b| b.id.as_str()).collect();
    assert_eq!(ids, ["heartbeat-buoy", "pass-on", "tell"]);
    let b = &line.behaviours[0];
    assert!(matches!(b.when, When::Each { period_s } if period_s.si == 43_200.0));
    assert!(matches!(
        &b.actions[..],
        [Action::Publish { topic: a, values: None }, Action::SendUp { topic: b, values: None, .. }] if a == b
    ));
    let heartbeat = line.modules[b.on.0].heartbeat.unwrap();
    assert_eq!(line.topics[heartbeat.topic.0].name, "health/buoy");
    assert!(heartbeat.by.is_some());
}

#[test]
fn verif_fail_safe_states_resolve_to_what_they_say() {
    let text = changed(
        SMALL,
        STARTS,
        "starts = \"on\"\nfail_safe = \"on\"\nfails_safe_within = \"2 min\"\n",
    );
    let line = Files::one(text).read().line.unwrap();
    let lantern = &line.modules[line.module_by_id("buoy").unwrap().0].outputs[0];
    assert_eq!(lantern.fail_safe_on, Some(true));
    assert_eq!(lantern.fails_safe_within_s.unwrap().si, 120.0);
    let line = Files::one(SMALL).read().line.unwrap();
    let lantern = &line.modules[line.module_by_id("buoy").unwrap().0].outputs[0];
    assert!(lantern.fail_safe_on.is_none() && lantern.fails_safe_within_s.is_none());
}
