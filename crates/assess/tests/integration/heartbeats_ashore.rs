//! When the shore can tell a silence, where heartbeats stay out by themselves.
//!
//! The uplink gives a message up after 60 s, and its first back-off is longer than that: each heartbeat has one attempt, and stays out with a chance of 1 less that of the attempt. With 40 % of them lost five in a row are lost with
//! 0.4^5 = 1.02 %, six with 0.41 %: six tell a silence. So the shore can tell after 6 * 12 h and the 60 s + 5 s of the last, 6 h-beats of the base behind the ten minutes of the ear.

use assess::{Check, Ruling};

use crate::support::{checked, close, known, why_unknown};

const UPLINK: (&str, &str) = (
    "session = \"5 s\"\nsuccess = \"100 %\"\nback_off = \"10 s\"\n",
    "session = \"5 s\"\nsuccess = \"SUCCESS\"\nback_off = \"1000 s\"\nexpiry = \"60 s\"\n",
);
const BEATS: (&str, &str) = (
    "[requirement.voltage]\n",
    "[topic.\"health/ear\"]\nsize = \"8 B\"\n[topic.\"health/base\"]\nsize = \"20 B\"\n[behaviour.watch]\non = \"module.base\"\nwhen_told = \"health/#\"\ndo = [{ log = \"alive\" }]\n[module.ear.heartbeat]\ntopic = \"health/ear\"\nevery = \"10 min\"\nlevels = [\"module.ear.sensor.one\"]\n[module.base.heartbeat]\ntopic = \"health/base\"\nevery = \"12 h\"\nby = \"uplink.shore\"\nlevels = [\"module.ear.sensor.one\"]\n[requirement.notice]\nthat = \"time-to-notice\"\nat_most = \"30 h\"\n[requirement.voltage]\n",
);
const SELDOM: (&str, &str) = (
    "[detector.call]\n",
    "[detector.call]\nexpects = \"0.01 per d\"\n",
);
const EAR_S: f64 = 600.0;
const BASE_S: f64 = 12.0 * 3600.0;
/// Expiry and session, s; what a heartbeat takes on the link is less than the tolerance.
const SENT_S: f64 = 65.0;

fn with(success: &str, more: &[(&str, &str)]) -> Check {
    let uplink = UPLINK.1.replace("SUCCESS", success);
    let mut changes = vec![(UPLINK.0, uplink.as_str()), BEATS, SELDOM];
    changes.extend(more);
    checked(&changes)
}

#[test]
fn verif_so_many_intervals_count_as_tell_a_silence() {
    let sure = with("100 %", &[]);
    close(
        known(&sure, "notice").value.value,
        EAR_S + BASE_S + SENT_S,
        0.5,
    );
    assert_eq!(known(&sure, "notice").ruling, Ruling::Met);
    let lossy = with("60 %", &[]);
    let told = known(&lossy, "notice");
    close(told.value.value, EAR_S + 6.0 * BASE_S + SENT_S, 0.5);
    assert_eq!(told.ruling, Ruling::Broken);
    assert!(
        told.why.contains("only 6 in a row tell a silence"),
        "{}",
        told.why
    );
}

/// A window of a minute a week carries at most one in fourteen, and which ones hangs on the hour, not on chance; a message of 400 kB is 3334 of 120 B, 4.6 h of sessions against 60 s.
#[test]
fn verif_what_stays_out_together_tells_the_shore_nothing() {
    let weekly = (
        "sending_state = \"sending\"\n",
        "sending_state = \"sending\"\nwindows = { first = \"0 s\", period = \"7 d\", width = \"1 min\" }\n",
    );
    let weekly = with("100 %", &[weekly]);
    let why = why_unknown(&weekly, "notice");
    assert!(why.contains("windows come at set times"), "{why}");
    let large = with("100 %", &[("size = \"20 B\"", "size = \"400 kB\"")]);
    let why = why_unknown(&large, "notice");
    assert!(why.contains("billed as 3334 messages"), "{why}");
}
