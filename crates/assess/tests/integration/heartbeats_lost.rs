//! Timers that heartbeats wind up, where a topic's limit holds these back and where bit errors lose them; and what else bit errors lose.

use assess::{Check, Ruling, Word};

use crate::support::{checked, close, known, requirement};

/// The ear's heartbeat comes every 10 min, and the lamp that it has a part in asking for waits 25 min.
fn with(topic: &str, link: &str) -> Check {
    let more = format!(
        "[topic.\"health/ear\"]\nsize = \"8 B\"\n{topic}[behaviour.watch]\non = \"module.base\"\nwhen_told = \"health/#\"\ndo = [{{ log = \"alive\" }}]\n[module.ear.heartbeat]\ntopic = \"health/ear\"\nevery = \"10 min\"\n[requirement.lost]\nthat = \"message-loss\"\ntopic = \"health/ear\"\nat_most = \"100 %\"\n[requirement.calls]\nthat = \"message-loss\"\ntopic = \"alert/call\"\nat_most = \"100 %\"\n[requirement.voltage]\n"
    );
    let link = format!("link = \"10BASE-T1L\"\n{link}");
    checked(&[
        ("[requirement.voltage]\n", more.as_str()),
        ("link = \"10BASE-T1L\"\n", link.as_str()),
        (
            "kind = \"lamp\"\n",
            "kind = \"lamp\"\nfail_safe = \"on\"\nfails_safe_within = \"25 min\"\n",
        ),
    ])
}

/// Of a heartbeat each 10 min one a day passes: 24 h apart. Of three a day the first three pass, and the next when the day is over: 24 h less two intervals.
#[test]
fn verif_a_limit_on_heartbeats_runs_a_timer_out() {
    close(known(&with("", ""), "fails-safe").value.value, 600.0, 0.1);
    for (limit, apart_s) in [("1 per d", 86_400.0), ("3 per d", 86_400.0 - 1200.0)] {
        let held = with(&format!("at_most = \"{limit}\"\n"), "");
        let told = known(&held, "fails-safe");
        close(told.value.value, apart_s, 0.1);
        assert_eq!(told.ruling, Ruling::Broken);
    }
    // Six an hour is what is sent.
    let held = with("at_most = \"6 per hour\"\n", "");
    close(known(&held, "fails-safe").value.value, 600.0, 0.1);
}

/// In 25 min two heartbeats may be missed and the third is too late. Of the 144 of a day, each lost with a chance p, two in a row begin `p^2 (1 + 142 (1 - p))` times on average; p is that of `message-loss`.
#[test]
fn verif_bit_errors_run_a_timer_out() {
    let lossy = with("", "bit_error_rate = 1e-4\n");
    let p = known(&lossy, "lost").value.value / 100.0;
    assert!((0.01..0.5).contains(&p), "{p}");
    let told = known(&lossy, "fails-safe");
    close(told.value.value, p * p * (1.0 + 142.0 * (1.0 - p)), 1e-9);
    assert_eq!(told.ruling, Ruling::Broken);
    let rare = with("", "bit_error_rate = 1e-9\n");
    assert_eq!(requirement(&rare, "fails-safe").word(), Word::Met);
}

/// What is lost lights no lamp: without a `share` 99 % of the calls must come.
#[test]
fn verif_a_lamp_that_bit_errors_keep_dark_is_not_prompt() {
    let lossy = with("", "bit_error_rate = 1e-4\n");
    let lost = known(&lossy, "calls").value.value;
    assert!(lost > 1.0, "{lost}");
    let told = known(&lossy, "lamp");
    assert_eq!(told.ruling, Ruling::Broken);
    close(told.value.value, 100.0 - lost, 1e-9);
    close(told.limit.value, 99.0, 1e-9);
    let rare = with("", "bit_error_rate = 1e-7\n");
    assert_eq!(known(&rare, "lamp").ruling, Ruling::Met);
    assert!(known(&rare, "lamp").why.contains("bit errors lose"));
}
