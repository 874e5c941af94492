//! Load states that behaviours and uplinks wish for, one over another.

use rehearsal::{Record, What};

use crate::chain::{cue_text, in_a_row, input, line_text, told, topic};
use crate::support::{read, run};

/// Module 1 tells module 0 what to wish for: `alert` for 60 s, `twenty` (also `alert`), `watch` for 10 s, `brief` for 5 s, or
/// to send for the 5 s of a session.
fn states(wishes: &[(f64, &str)]) -> Vec<(f64, String)> {
    let mut plan = line_text(&in_a_row(&["running"; 2]), 300, 100);
    for (name, action) in [
        ("alert", r#"{ enter = "alert", for = "60 s" }"#),
        ("twenty", r#"{ enter = "alert", for = "20 s" }"#),
        ("watch", r#"{ enter = "watch", for = "10 s" }"#),
        ("brief", r#"{ enter = "brief", for = "5 s" }"#),
        ("send", r#"{ send_up = "uplink.shore", about = "go/send" }"#),
    ] {
        plan += &topic(&format!("go/{name}"));
        plan += &told(name, 0, &format!("go/{name}"), action);
    }
    let mut cues = cue_text(120, 1);
    for (i, (at_s, name)) in wishes.iter().enumerate() {
        cues += &input(&format!("i{i}"), *at_s, 1, &format!("go/{name}"));
    }
    let (line, cues) = read(&plan, &cues);
    let (_, records) = run(&line, &cues);
    let entered = |r: &Record| match r.what {
        What::Entered { module, state } => {
            // A message is on its way for less than a millisecond.
            let at_s = (r.at.as_s_f64() * 100.0).floor() / 100.0;
            Some((at_s, line.modules[module.0].loads[state].state.clone()))
        }
        _ => None,
    };
    records.iter().filter_map(entered).collect()
}

fn check(wishes: &[(f64, &str)], expected: &[(f64, &str)]) {
    let seen = states(wishes);
    let seen: Vec<(f64, &str)> = seen.iter().map(|(at, s)| (*at, s.as_str())).collect();
    assert_eq!(seen, expected, "{wishes:?}");
}

/// A shorter wish is obeyed at once, and the longer one again after it.
#[test]
fn verif_a_longer_state_outlasts_a_shorter_one() {
    check(
        &[(10.0, "alert"), (20.0, "watch")],
        &[
            (10.0, "alert"),
            (20.0, "watch"),
            (30.0, "alert"),
            (70.0, "idle"),
        ],
    );
}

/// The end of a wish that is no longer obeyed changes nothing.
#[test]
fn verif_the_end_of_an_older_wish_changes_nothing() {
    check(
        &[(10.0, "watch"), (15.0, "alert")],
        &[(10.0, "watch"), (15.0, "alert"), (75.0, "idle")],
    );
}

/// Of two wishes still in force the one that ends last is returned to, not the one made last.
#[test]
fn verif_the_wish_that_ends_last_is_returned_to() {
    check(
        &[(10.0, "alert"), (20.0, "watch"), (22.0, "brief")],
        &[
            (10.0, "alert"),
            (20.0, "watch"),
            (22.0, "brief"),
            (27.0, "alert"),
            (70.0, "idle"),
        ],
    );
}

/// Of two that end together the one made last is returned to, and neither is entered as both end.
#[test]
fn verif_of_wishes_that_end_together_the_last_one_is_returned_to() {
    check(
        &[(10.0, "twenty"), (20.0, "watch"), (22.0, "brief")],
        &[
            (10.0, "alert"),
            (20.0, "watch"),
            (22.0, "brief"),
            (27.0, "watch"),
            (30.0, "idle"),
        ],
    );
}

/// The same wish once more lasts until its later end.
#[test]
fn verif_a_wish_made_again_lasts_until_its_later_end() {
    check(
        &[(10.0, "watch"), (15.0, "watch")],
        &[(10.0, "watch"), (25.0, "idle")],
    );
}

/// An uplink that sends meanwhile draws its sending power for its session, and the wish of the behaviour holds again after it.
#[test]
fn verif_a_behaviours_state_outlasts_a_session() {
    check(
        &[(10.0, "alert"), (20.0, "send")],
        &[
            (10.0, "alert"),
            (20.0, "sending"),
            (25.0, "alert"),
            (70.0, "idle"),
        ],
    );
    check(
        &[(20.0, "send"), (22.0, "alert")],
        &[(20.0, "sending"), (22.0, "alert"), (82.0, "idle")],
    );
}
