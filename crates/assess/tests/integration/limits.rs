//! What may come how often, and how a mistake or a gap in the plan shows.

use assess::{Shelf, Status, Verdict, Word, check};

use crate::support::{changed, checked, close, known, read, requirement, why_unknown};

/// Without `at_most` of its own a behaviour that is told starts as often as its topic may come: 10 per min are 14,400 a day,
/// 432,000 in 30 d; 200 B in messages of 120 B are billed twice.
#[test]
fn verif_a_behaviour_without_a_limit_has_that_of_its_topic() {
    let check = checked(&[
        ("at_most = \"12 per d\"\n", ""),
        ("size = \"100 B\"", "size = \"200 B\""),
    ]);
    let messages = known(&check, "messages");
    close(messages.value.value, 2.0 * 10.0 * 60.0 * 24.0 * 30.0, 0.0);
    assert_eq!(requirement(&check, "messages").word(), Word::Broken);
}

/// Without a limit at the topic either, the hold-off of 5 s is left: one in 5 s, 518,400 in 30 d.
#[test]
fn verif_a_topic_without_a_limit_has_that_of_the_hold_off() {
    let check = checked(&[
        ("at_most = \"12 per d\"\n", ""),
        ("at_most = \"10 per min\"\n", ""),
    ]);
    close(
        known(&check, "messages").value.value,
        30.0 * 86_400.0 / 5.0,
        0.0,
    );
}

/// Twice in each run is twice as often.
#[test]
fn verif_a_run_that_publishes_twice_counts_twice() {
    let check = checked(&[
        ("at_most = \"12 per d\"\n", ""),
        ("at_most = \"10 per min\"\n", ""),
        (
            "do = [{ publish = \"alert/call\" }]",
            "do = [{ publish = \"alert/call\" }, { publish = \"alert/call\" }]",
        ),
    ]);
    close(
        known(&check, "messages").value.value,
        2.0 * 30.0 * 86_400.0 / 5.0,
        0.0,
    );
}

/// An onset has no limit of its own, so nothing that follows from it has one.
#[test]
fn verif_what_an_onset_starts_has_no_limit() {
    let check = checked(&[
        ("at_most = \"12 per d\"\n", ""),
        ("at_most = \"10 per min\"\n", ""),
        (
            "when_heard = \"detector.call.confirmed\"",
            "when_heard = \"detector.call.onset\"",
        ),
    ]);
    for id in ["messages", "budget"] {
        assert!(why_unknown(&check, id).contains("behaviour.act"), "{id}");
    }
    assert!(why_unknown(&check, "links").contains("at_most"));
}

/// Twelve messages at 5 s each take 60 s: the last begins at 55 s.
#[test]
fn verif_a_message_that_may_be_given_up_has_no_delay() {
    let expiry = |s: &str| {
        checked(&[(
            "session = \"5 s\"",
            &format!("session = \"5 s\"\nexpiry = \"{s}\""),
        )])
    };
    assert!(why_unknown(&expiry("54 s"), "shore").contains("gives a message up after 54 s"));
    assert_eq!(requirement(&expiry("55 s"), "shore").word(), Word::Met);
}

/// Twelve messages each half minute take 60 s one by one. That is no proof that the queue grows, least of all where several share an attempt.
#[test]
fn verif_a_queue_that_is_not_bounded_is_not_said_to_grow() {
    let busy = |uplink: &str| {
        checked(&[
            ("at_most = \"12 per d\"", "at_most = \"12 per 30 s\""),
            ("session = \"5 s\"", &format!("session = \"5 s\"\n{uplink}")),
        ])
    };
    for (uplink, counted) in [("", false), ("pack_within = \"1 min\"", true)] {
        let check = busy(uplink);
        let why = why_unknown(&check, "shore");
        assert!(
            why.contains("no bound is worked out; give what sends them up a lower `at_most`"),
            "{why}"
        );
        assert_eq!(
            why.contains("that several go as one is not counted"),
            counted,
            "{why}"
        );
    }
}

/// The evidence names its exact input: what changes the value or could change it changes the digest.
#[test]
fn verif_another_input_has_another_digest() {
    let inputs = |changes: &[(&str, &str)], id: &str| match &known(&checked(changes), id).evidence {
        assess::Evidence::Computed { inputs, .. } => inputs.clone(),
        other => panic!("{other:?}"),
    };
    for (id, change) in [
        ("lamp", ("length = \"100 m\"", "length = \"101 m\"")),
        ("lamp", ("size = \"100 B\"", "size = \"101 B\"")),
        ("shore", ("back_off = \"10 s\"", "back_off = \"11 s\"")),
        ("budget", ("price = \"0.10 EUR\"", "price = \"0.11 EUR\"")),
        ("links", ("size = \"100 B\"", "size = \"101 B\"")),
        ("voltage", ("length = \"100 m\"", "length = \"101 m\"")),
        ("card", ("capacity = \"1 TB\"", "capacity = \"2 TB\"")),
    ] {
        assert_ne!(inputs(&[], id), inputs(&[change], id), "{id} {change:?}");
        assert_eq!(
            inputs(&[], id),
            inputs(
                &[("# A small line", "# Another remark, and a longer one")],
                id
            ),
            "{id}"
        );
    }
}

#[test]
fn verif_a_requirement_with_a_mistake_is_shown_as_unknown() {
    for change in [
        // It cannot be read at all.
        ("at_most = \"50 EUR\"", "at_most = \"50 XYZ\""),
        // It could be read without the part that is wrong, and would then say something else.
        (
            "at_most = \"50 EUR\"",
            "at_most = \"50 EUR\"\nshare = \"90 kg\"",
        ),
    ] {
        let reading = read(&changed(&[change]));
        assert!(reading.has_errors());
        let check = check(&reading, &Shelf::default());
        assert_eq!(requirement(&check, "budget").word(), Word::Unknown);
        assert_eq!(requirement(&check, "messages").word(), Word::Met);
        assert_eq!(check.status(), Status::Unusable);
        let ids: Vec<&str> = check.requirements.iter().map(|j| j.id.as_str()).collect();
        assert!(ids.is_sorted(), "{ids:?}");
    }
}

/// Every requirement that is written has its row, also where what it names is lost to a mistake elsewhere.
#[test]
fn verif_a_requirement_on_something_with_a_mistake_is_shown_as_unknown() {
    let ids = |check: &assess::Check| -> Vec<String> {
        check.requirements.iter().map(|j| j.id.clone()).collect()
    };
    let whole = ids(&check(&read(&changed(&[])), &Shelf::default()));
    for (change, id) in [
        (("capacity = \"1 TB\"", "capacity = \"1 kg\""), "card"),
        (("[uplink.", "[uplonk."), "budget"),
    ] {
        let reading = read(&changed(&[change]));
        assert!(reading.has_errors());
        let check = check(&reading, &Shelf::default());
        assert_eq!(ids(&check), whole, "{change:?}");
        assert_eq!(requirement(&check, id).word(), Word::Unknown, "{change:?}");
    }
}

#[test]
fn verif_a_plan_that_says_too_little_is_unknown() {
    for text in [
        "",
        "format = 1\n",
        "[[[",
        "format = 1\n[site]\nlatitude = \"no\"\n",
    ] {
        let reading = read(text);
        assert!(reading.line.is_none());
        let check = check(&reading, &Shelf::default());
        assert_eq!(check.status(), Status::Unusable);
        assert!(check.requirements.is_empty());
        assert_eq!(requirement(&check, "plan").word(), Word::Unknown);
        assert!(
            requirement(&check, "plan")
                .verdicts
                .iter()
                .all(|v| matches!(v, Verdict::Unknown { .. }))
        );
    }
}

/// Of two supplies that are both asked for too much, the one that the requirement is about is broken; what the other gives
/// then is not told as if it were about this one.
#[test]
fn verif_a_supply_over_its_limit_leaves_the_other_unknown() {
    let two = "[supply.second]\nat = \"module.ear\"\nkind = \"bench\"\noutput = { voltage = \"48 V\", resistance = \"1 ohm\", current_limit = \"100 A\" }\n\n[requirement.second]\nthat = \"supply-current\"\nof = \"supply.second\"\n\n[module.base]\n";
    let check = checked(&[
        ("[module.base]\n", two),
        ("current_limit = \"5 A\"", "current_limit = \"0.01 A\""),
    ]);
    let second = requirement(&check, "second");
    assert_eq!(second.word(), Word::Unknown, "{second:?}");
    assert_eq!(requirement(&check, "supply").word(), Word::Broken);
}
