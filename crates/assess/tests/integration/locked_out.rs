//! A module that its lock-out never lets switch on: 50 V are wanted, and the one supply gives 48 V with nothing drawn.

use assess::{Ruling, Shelf, check};

use crate::support::{checked, close, good, known, read, requirement, why_unknown};

const INPUT: &str = "input = { minimum = \"20 V\", maximum = \"56 V\" }\nloads = { listening";
const LOCKED: &str = "input = { minimum = \"20 V\", maximum = \"56 V\", lock_out = { on = \"50 V\", off = \"30 V\" } }\nloads = { listening";
const ASKED: &str = "[requirement.voltage]\n";
const MORE: &str = "[requirement.ready]\nthat = \"ready-within\"\nat_most = \"60 s\"\n[requirement.lost]\nthat = \"single-failure\"\nat_most = 1\n[requirement.heard]\nthat = \"listening-share\"\nat_least = \"90 %\"\nshare = \"90 %\"\n[requirement.voltage]\n";

/// 48 V are 2 V too few, whatever the order of the start; what never works hears 0 % of the time, and no failure can take it.
#[test]
fn verif_what_never_switches_on_is_neither_ready_nor_heard_nor_at_its_voltage() {
    let on = checked(&[(ASKED, MORE)]);
    assert_ne!(known(&on, "voltage").ruling, Ruling::Broken);
    close(known(&on, "ready").value.value, 3.0, 1e-9);

    let locked = checked(&[(INPUT, LOCKED), (ASKED, MORE)]);
    for id in ["voltage", "ready"] {
        let told = known(&locked, id);
        assert_eq!(told.ruling, Ruling::Broken, "{id}");
        close(told.value.value, 48.0, 1e-9);
        close(told.limit.value, 50.0, 1e-9);
        assert!(
            told.why
                .contains("module.ear switches on at 50 V, and no supply gives more than 48 V"),
            "{}",
            told.why
        );
    }
    close(known(&locked, "heard").value.value, 0.0, 1e-9);
    assert!(requirement(&locked, "heard").is_broken());
    let why = why_unknown(&locked, "lost");
    assert!(
        why.contains("does not work while nothing is broken"),
        "{why}"
    );
}

/// Without a requirement on it the voltage is checked in every plan.
#[test]
fn verif_a_plan_without_requirements_is_not_met_by_a_module_that_never_switches_on() {
    let text = crate::support::changed(&[(INPUT, LOCKED)]);
    let cut = text.find("[requirement.voltage]").unwrap();
    let check = check(&read(&text[..cut]), &Shelf::default());
    assert!(requirement(&check, "input-voltage").is_broken());
    close(known(&check, "input-voltage").value.value, 48.0, 1e-9);
    let low = good(&[(INPUT, &LOCKED.replace("50 V", "47 V"))]);
    assert!(!requirement(&assess::check(&low, &Shelf::default()), "voltage").is_broken());
}
