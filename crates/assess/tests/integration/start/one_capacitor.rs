//! Starts of one module behind one resistance, against closed forms.

use assess::input::Contacts;
use assess::{Check, Ruling, Word, start};
use plan::Reading;

use super::judged;
use crate::support::{close, known, read, requirement, why_unknown};

const TWO: &str = include_str!("../two.toml");
const SUPPLY_V: f64 = 48.0;
const LOOP_OHM: f64 = 20.0;
const CAPACITANCE_F: f64 = 1470e-6;

/// One module with this input and boot behind 20 ohm and a limit.
#[track_caller]
fn one(input: &str, boot: &str, working: &str, limit: &str) -> Reading {
    let mut text = TWO.to_owned();
    for (from, to) in [
        ("minimum = \"20 V\", maximum = \"72 V\"", input),
        ("boot = { time = \"1 s\", power = \"5 W\" }", boot),
        ("working = \"25 W\"", working),
        ("current_limit = \"5 A\"", limit),
    ] {
        assert!(text.contains(from), "`{from}` is not in the plan");
        text = text.replace(from, to);
    }
    let reading = read(&format!(
        "{text}\n[requirement.start]\nthat = \"start-up\"\nat_most = \"3 s\"\n"
    ));
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    reading
}

/// A capacitor behind R and a limit comes to 90 % after `C (Vs - R I)/I + R C ln(R I/(0.1 Vs))`; the module that switches on
/// there has booted one second later.
#[test]
fn val_a_module_switches_on_when_its_capacitor_has_filled_and_runs_when_it_has_booted() {
    let reading = one(
        "minimum = \"20 V\", maximum = \"72 V\", capacitance = \"1470 uF\", lock_out = { on = \"43.2 V\", off = \"30 V\" }",
        "boot = { time = \"1 s\", power = \"5 W\" }",
        "working = \"4 W\"",
        "current_limit = \"0.8 A\"",
    );
    let limit_a = 0.8;
    let on_s = CAPACITANCE_F * (SUPPLY_V - LOOP_OHM * limit_a) / limit_a
        + LOOP_OHM * CAPACITANCE_F * (LOOP_OHM * limit_a / (0.1 * SUPPLY_V)).ln();
    let check = judged(&reading);
    let line = known(&check, "start");
    assert_eq!(line.ruling, Ruling::Met);
    close(line.value.value, on_s + 1.0, 1e-7);
    assert!(line.why.contains("module.far"), "{}", line.why);
    let seen = start(reading.line.as_ref().unwrap(), Contacts::New, None).unwrap();
    let far = &seen.modules[0];
    close(far.switched_on_s[0], on_s, 1e-7);
    close(seen.supplies[0].peak_a, limit_a, 1e-9);
    close(seen.supplies[0].inrush_a, limit_a, 1e-9);
    close(
        seen.supplies[0].left_limit_s.unwrap(),
        CAPACITANCE_F * (SUPPLY_V - LOOP_OHM * limit_a) / limit_a,
        1e-7,
    );
    // At rest the high root of the quadratic.
    let (r, p) = (LOOP_OHM, 4.0);
    close(
        far.end_v,
        (SUPPLY_V + (SUPPLY_V * SUPPLY_V - 4.0 * p * r).sqrt()) / 2.0,
        1e-6,
    );
}

/// Beside `val_a_module_switches_on...`: a limit below that time breaks the requirement, one just above leaves it marginal.
#[test]
fn verif_a_start_that_takes_too_long_is_broken() {
    let reading = one(
        "minimum = \"20 V\", maximum = \"72 V\", capacitance = \"1470 uF\", lock_out = { on = \"43.2 V\", off = \"30 V\" }",
        "boot = { time = \"3 s\", power = \"5 W\" }",
        "working = \"4 W\"",
        "current_limit = \"0.8 A\"",
    );
    assert_eq!(known(&judged(&reading), "start").ruling, Ruling::Broken);
    let reading = one(
        "minimum = \"20 V\", maximum = \"72 V\", capacitance = \"1470 uF\", lock_out = { on = \"43.2 V\", off = \"30 V\" }",
        "boot = { time = \"2.5 s\", power = \"5 W\" }",
        "working = \"4 W\"",
        "current_limit = \"0.8 A\"",
    );
    assert_eq!(known(&judged(&reading), "start").ruling, Ruling::Marginal);
}

/// A converter that draws 25 W from 8 V on is the resistor `64/25` ohm below it: behind a limit of 0.9 A it stays at
/// 0.9 A x 2.56 ohm = 2.304 V, although it would run at 0.764 A. With a lock-out that opens at 38 V it starts.
#[test]
fn val_a_module_without_lock_out_latches_low() {
    let input = "minimum = \"8 V\", maximum = \"72 V\", capacitance = \"1470 uF\"";
    let boot = "boot = { time = \"1 s\", power = \"25 W\" }";
    let limit = "current_limit = \"0.9 A\"";
    let check = judged(&one(input, boot, "working = \"25 W\"", limit));
    let far = known(&check, "start");
    assert_eq!(far.subject, "module.far");
    close(far.value.value, 2.304, 1e-7);
    close(far.limit.value, 8.0, 0.0);
    assert!(far.why.contains("latches low"), "{}", far.why);
    let assumed = |check: &Check| {
        check
            .assumed
            .iter()
            .any(|a| a.contains("like a resistor") && a.contains("module.far"))
    };
    assert!(assumed(&check));
    assert!(
        far.why
            .contains("without a lock-out module.far cannot be held off"),
        "{}",
        far.why
    );
    // What is proposed is what helps.
    let cure = "lock_out = { on = \"38 V\", off = \"8 V\" }";
    assert!(
        far.why.contains(&format!("give module.far `{cure}`")),
        "{}",
        far.why
    );
    let cured = format!("{input}, {cure}");
    let check = judged(&one(&cured, boot, "working = \"25 W\"", limit));
    assert_eq!(requirement(&check, "start").word(), Word::Met);
}

/// 28 W behind 20 ohm stand at 28.0 V: with a lock-out that goes off at 30 V the module never stays on, at 26 V it does.
#[test]
fn val_a_lock_out_above_the_loaded_voltage_hiccups() {
    let input = |off: &str| {
        format!(
            "minimum = \"20 V\", maximum = \"72 V\", capacitance = \"1470 uF\", lock_out = {{ on = \"40 V\", off = \"{off}\" }}"
        )
    };
    let boot = "boot = { time = \"1 s\", power = \"28 W\" }";
    let limit = "current_limit = \"5 A\"";
    let check = judged(&one(&input("30 V"), boot, "working = \"28 W\"", limit));
    let line = known(&check, "start");
    close(line.value.value, 0.0, 0.0);
    close(line.limit.value, 1.0, 0.0);
    assert!(line.why.contains("module.far hiccups"), "{}", line.why);
    // `P = V (Vs - V)/R` at 30 V: 27 W of 28 W.
    assert!(line.why.contains("96.4 %"), "{}", line.why);
    assert!(
        line.why.contains("no order of starting helps"),
        "{}",
        line.why
    );
    let check = judged(&one(&input("26 V"), boot, "working = \"28 W\"", limit));
    assert_eq!(requirement(&check, "start").word(), Word::Met);
}

/// With 28.8 W or less, but an opening voltage that the supply never has, nothing switches on.
#[test]
fn verif_a_module_that_never_sees_its_voltage_is_told() {
    let input = "minimum = \"20 V\", maximum = \"72 V\", capacitance = \"1000 uF\", lock_out = { on = \"50 V\", off = \"30 V\" }";
    let boot = "boot = { time = \"1 s\", power = \"5 W\" }";
    let check = judged(&one(
        input,
        boot,
        "working = \"4 W\"",
        "current_limit = \"5 A\"",
    ));
    let far = known(&check, "start");
    close(far.value.value, 48.0, 1e-6);
    close(far.limit.value, 50.0, 0.0);
    assert!(far.why.contains("never comes to the 50 V"), "{}", far.why);
}

#[test]
fn verif_what_the_plan_does_not_say_is_unknown_and_named() {
    let boot = "boot = { time = \"1 s\", power = \"5 W\" }";
    let limit = "current_limit = \"5 A\"";
    let plain = "minimum = \"20 V\", maximum = \"72 V\"";
    let full = "minimum = \"20 V\", maximum = \"72 V\", capacitance = \"1000 uF\"";
    for (input, boot, working, named) in [
        (
            plain,
            boot,
            "working = \"4 W\"",
            "module.far says nothing of its input's capacitance",
        ),
        (
            full,
            "",
            "working = \"4 W\"",
            "module.far says nothing of its boot",
        ),
        (
            full,
            boot,
            "working = \"0.2 A\"",
            "module.far draws a constant current",
        ),
        (
            full,
            boot,
            "working = \"200 ohm\"",
            "module.far draws like a resistor",
        ),
    ] {
        let check = judged(&one(input, boot, working, limit));
        assert!(
            why_unknown(&check, "start").contains(named),
            "{}",
            why_unknown(&check, "start")
        );
        assert_eq!(requirement(&check, "start").verdicts.len(), 1);
    }
}

/// 200 ohm behind 20 ohm stand at 48 V x 200/220 = 43.64 V.
#[test]
fn val_a_module_that_is_only_a_resistor_runs_from_its_lowest_voltage_on() {
    let input =
        |low: &str| format!("minimum = \"{low}\", maximum = \"72 V\", capacitance = \"1000 uF\"");
    let limit = "current_limit = \"5 A\"";
    let check = judged(&one(&input("43 V"), "", "working = \"200 ohm\"", limit));
    assert_eq!(requirement(&check, "start").word(), Word::Met);
    let check = judged(&one(&input("44 V"), "", "working = \"200 ohm\"", limit));
    let far = known(&check, "start");
    close(far.value.value, 48.0 * 200.0 / 220.0, 1e-6);
    assert_eq!(far.ruling, Ruling::Broken);
}

#[test]
fn verif_an_inrush_without_limit_is_unknown_by_the_name_of_its_supply() {
    let text = TWO
        .replace("at = \"module.base\"", "at = \"module.far\"")
        .replace(", current_limit = \"5 A\"", "")
        .replace(
            "maximum = \"72 V\"",
            "maximum = \"72 V\", capacitance = \"1000 uF\"",
        );
    let reading = read(&format!(
        "{text}\n[requirement.start]\nthat = \"start-up\"\n"
    ));
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    let check = judged(&reading);
    let why = why_unknown(&check, "start");
    assert!(
        why.contains("supply.bench has neither resistance nor current limit"),
        "{why}"
    );
}

/// 0.5 F behind 20 ohm and no limit to speak of: a time constant of 10 s, and the way left to rest falls below 1e-9 only after 200 s.
#[test]
fn verif_a_start_that_is_not_at_rest_in_time_is_unknown() {
    let reading = one(
        "minimum = \"20 V\", maximum = \"72 V\", capacitance = \"0.5 F\", lock_out = { on = \"43.2 V\", off = \"30 V\" }",
        "boot = { time = \"1 s\", power = \"5 W\" }",
        "working = \"4 W\"",
        "current_limit = \"500 A\"",
    );
    let check = judged(&reading);
    let why = why_unknown(&check, "start");
    assert!(
        why.contains("not at rest after") && why.contains("--longest"),
        "{why}"
    );
    let line = reading.line.as_ref().unwrap();
    let seen = start(line, Contacts::New, Some(1000.0)).unwrap();
    assert_eq!(seen.outcome, "started");
}

/// Without a limit the first instant is a short circuit: 48 V over 20 ohm.
#[test]
fn val_without_a_limit_the_inrush_is_that_of_a_short_circuit() {
    let reading = one(
        "minimum = \"20 V\", maximum = \"72 V\", capacitance = \"1470 uF\", lock_out = { on = \"43.2 V\", off = \"30 V\" }",
        "boot = { time = \"1 s\", power = \"5 W\" }",
        "working = \"4 W\"",
        "current_limit = \"5 A\"",
    );
    let seen = start(reading.line.as_ref().unwrap(), Contacts::New, None).unwrap();
    close(seen.supplies[0].peak_a, SUPPLY_V / LOOP_OHM, 1e-9);
    close(seen.supplies[0].inrush_a, SUPPLY_V / LOOP_OHM, 1e-9);
    close(seen.supplies[0].peak_at_s, 0.0, 0.0);
    assert_eq!(seen.supplies[0].left_limit_s, None);
}

/// A resistor of 100 ohm behind 20 ohm: 40 V behind 16.667 ohm by Thevenin, so 50 mF come to 20 V after `R C ln 2` = 0.5776 s. Until
/// then the module does not work, though nothing boots.
#[test]
fn val_a_resistor_works_from_its_lowest_voltage_on() {
    let reading = one(
        "minimum = \"20 V\", maximum = \"72 V\", capacitance = \"0.05 F\"",
        "",
        "working = \"100 ohm\"",
        "current_limit = \"5 A\"",
    );
    let expected_s = (100.0 * LOOP_OHM / (100.0 + LOOP_OHM)) * 0.05 * 2.0_f64.ln();
    let line = judged(&reading);
    // Between two samples of the trace, on the straight line.
    close(known(&line, "start").value.value, expected_s, 2e-3);
    let seen = start(reading.line.as_ref().unwrap(), Contacts::New, None).unwrap();
    close(seen.ready_s.unwrap(), expected_s, 2e-3);
}

/// A lock-out at 52 V on a feed of 48 V: what is told is that, and not which orders were tried.
#[test]
fn verif_a_lock_out_above_every_supply_is_told_as_such() {
    let input = "minimum = \"20 V\", maximum = \"72 V\", capacitance = \"1470 uF\", lock_out = { on = \"52 V\", off = \"30 V\" }";
    let boot = "boot = { time = \"1 s\", power = \"5 W\" }";
    let check = judged(&one(
        input,
        boot,
        "working = \"4 W\"",
        "current_limit = \"5 A\"",
    ));
    let start = known(&check, "start");
    assert_eq!(start.ruling, Ruling::Broken);
    assert!(
        start
            .why
            .contains("module.far switches on at 52 V, and no supply gives more than 48 V"),
        "{}",
        start.why
    );
    assert!(
        !start.why.contains("every order was tried"),
        "{}",
        start.why
    );
}
