//! What a line does not carry, or a limit holds back, is met nowhere: each figure by Ohm's law or by counting.
//!
//! One module on 200 m of 0.75 mm2 class 5 (26.0 ohm/km at 20 degC, IEC 60228, table 3) and 0.4 ohm of aged contacts: at 10 degC the loop
//! has 2 * 0.2 * 26.0 * (1 - 0.00393 * 10) + 0.4 = 10.391 ohm, so that 48 V carry at most 48^2 / (4 * 10.391) = 55.43 W.

use assess::{Check, Shelf, Word, check};

use crate::support::{close, known, read, requirement, why_unknown};

const HEAD: &str = r#"format = 1
[deployment]
name = "a line of one module"
start = 2027-03-15
duration = "100 d"
[site]
latitude = "50 deg"
longitude = "0 deg"
water_depth = "80 m"
clearness = [0.34, 0.38, 0.42, 0.45, 0.47, 0.46, 0.43, 0.42, 0.41, 0.37, 0.33, 0.31]
profile = [{ depth = "0 m", temperature = "10 degC", salinity = 34 }]
[module.top]
position = { depth = "0 m" }
passes = { power = "always", data = "always" }
through = { resistance = "0 ohm" }
processing = "1 ms"
[module.far]
position = { depth = "10 m" }
input = { minimum = "30 V", maximum = "60 V", capacitance = "100 uF", efficiency = 1.0, standing = "0 W" }
starts_in = "run"
boot = { time = "5 s", power = "1 W" }
passes = { power = "never", data = "never" }
through = { resistance = "0 ohm" }
processing = "2 ms"
[span.a]
from = "module.top"
to = "module.far"
length = "200 m"
conductor = "0.75 mm2 class 5"
contacts = { mated_pins_in_loop = 4, resistance = "10 mohm", aged = "100 mohm" }
link = "10BASE-T1L"
[traffic]
stack = ["ethernet", "ipv6", "udp"]
packet = "1400 B"
"#;

const LOOP_OHM: f64 = 10.3907;

fn bench(limit: &str, run: &str, more: &str) -> Check {
    let text = format!(
        "{HEAD}[supply.s]\nat = \"module.top\"\nkind = \"bench\"\noutput = {{ voltage = \"48 V\", resistance = \"0 ohm\", current_limit = \"{limit}\" }}\n[module.far.loads]\nrun = \"{run}\"\nidle = \"1 W\"\n{more}"
    );
    let reading = read(&text);
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    check(&reading, &Shelf::default())
}

/// 80 W of which the line carries 55.43 W, 69.3 %; 20 W at 43.19 V take 0.463 A of a supply that gives 0.3 A.
#[test]
fn verif_a_line_that_collapses_at_work_is_at_no_voltage_that_its_inputs_bear() {
    let most_w = 48.0 * 48.0 / (4.0 * LOOP_OHM);
    let collapses = bench("20 A", "80 W", "");
    let told = known(&collapses, "input-voltage");
    assert_eq!(
        requirement(&collapses, "input-voltage").word(),
        Word::Broken
    );
    close(told.value.value, 100.0 * most_w / 80.0, 0.05);

    let over = bench("0.3 A", "20 W", "");
    let told = known(&over, "input-voltage");
    assert_eq!(requirement(&over, "input-voltage").word(), Word::Broken);
    let at_v = 0.5 * (48.0 + (48.0_f64 * 48.0 - 4.0 * 20.0 * LOOP_OHM).sqrt());
    close(told.value.value, 20.0 / at_v, 1e-3);

    let carried = bench("2 A", "20 W", "");
    assert_eq!(requirement(&carried, "input-voltage").word(), Word::Met);
}

/// It has booted after 5 s and its chain settles for 10 s, and it falls out as soon as it works.
#[test]
fn verif_nothing_is_ready_that_falls_out_when_it_has_booted() {
    const EAR: &str = "[module.far.sensor.ear]\nkind = \"hydrophone\"\nsensitivity = \"-168 dB re 1 V/uPa\"\ngain = \"20 dB\"\nsettles_in = \"10 s\"\nadc = { full_scale = \"1 V\", bits = 16, rate = \"8 kHz\" }\n[requirement.ready]\nthat = \"ready-within\"\nat_most = \"60 s\"\n";
    close(
        known(&bench("2 A", "20 W", EAR), "ready").value.value,
        15.0,
        1e-9,
    );
    let collapses = bench("20 A", "80 W", EAR);
    let why = why_unknown(&collapses, "ready");
    assert!(why.contains("69.3 %"), "{why}");
    let over = bench("0.3 A", "20 W", EAR);
    let why = why_unknown(&over, "ready");
    assert!(why.contains("0.463 A"), "{why}");
}

/// 5 W at 46.89 V take 0.1066 A of a supply that gives 0.05 A: what the battery then loses is not known.
#[test]
fn verif_no_year_is_met_on_more_than_its_supply_gives() {
    let of = |limit: &str| {
        let text = format!(
            "{HEAD}[supply.s]\nat = \"module.top\"\nkind = \"solar-battery\"\noutput = {{ voltage = \"48 V\", resistance = \"0 ohm\", current_limit = \"{limit}\" }}\nstanding = \"0 W\"\npanels = {{ peak_power_each = \"100 W\", tilt = \"60 deg\", faces = 4, loss = \"0 %\" }}\nbattery = {{ chemistry = \"lifepo4\", capacity = \"100 Ah\", voltage = \"12.8 V\", usable = [{{ temperature = \"10 degC\", share = \"100 %\" }}] }}\n[module.far.loads]\nrun = \"5 W\"\nidle = \"1 W\"\n[requirement.alone]\nthat = \"autonomy\"\nat_least = \"9 d\"\n[requirement.dark]\nthat = \"outage-hours\"\nat_most = \"0 h\"\nshare = \"95 %\"\n"
        );
        let reading = read(&text);
        assert!(!reading.has_errors(), "{:?}", reading.mistakes);
        check(&reading, &Shelf::default())
    };
    let enough = of("0.2 A");
    let little = of("0.05 A");
    for id in ["alone", "dark"] {
        assert_ne!(requirement(&enough, id).word(), Word::Unknown, "{id}");
        let why = why_unknown(&little, id);
        assert!(why.contains("gives at most 50 mA"), "{why}");
    }
}

/// 48 V less the drop of 0.5 A are 42.80 V; at 43 V the loop carries 5 / 10.391 A, which is 0.4812 A and 20.69 W: 0.69 W more than 20 W.
#[test]
fn verif_what_may_be_added_keeps_what_requirements_ask() {
    const ROOM: &str =
        "[requirement.room]\nthat = \"reserve\"\nof = \"module.far\"\nat_least = \"0.1 W\"\n";
    let asks = |more: &str| bench("2 A", "20 W", &format!("{ROOM}{more}"));
    let at = |v: f64| v * (48.0 - v) / LOOP_OHM;
    close(known(&asks(""), "room").value.value, at(30.0) - 20.0, 0.01);
    let volts =
        "[requirement.volts]\nthat = \"voltage\"\nof = \"module.far\"\nat_least = \"43 V\"\n";
    let told = asks(volts);
    close(known(&told, "room").value.value, at(43.0) - 20.0, 0.01);
    assert!(known(&told, "room").why.contains("requirement.volts"));
    let amps =
        "[requirement.amps]\nthat = \"supply-current\"\nof = \"supply.s\"\nat_most = \"0.5 A\"\n";
    let told = asks(amps);
    let at_half_a = 0.5 * (48.0 - 0.5 * LOOP_OHM);
    close(known(&told, "room").value.value, at_half_a - 20.0, 0.01);
    assert!(known(&told, "room").why.contains("requirement.amps"));
    // One that only should hold binds nothing.
    let should = asks(&volts.replace("that =", "must = \"should\"\nthat ="));
    close(known(&should, "room").value.value, at(30.0) - 20.0, 0.01);
}

/// 480 calls a day of which a behaviour takes up 10 an hour, 240 a day: every second one lights no lamp. Half of them must, and do.
#[test]
fn verif_a_lamp_that_a_limit_keeps_dark_is_not_prompt() {
    let of = |at_most: &str, share: &str| {
        let text = crate::support::changed(&[
            (
                "at_most = \"12 per d\"",
                &format!("at_most = \"{at_most}\""),
            ),
            (
                "to = \"module.base.output.lamp\"\nat_most = \"2 s\"",
                &format!("to = \"module.base.output.lamp\"\nat_most = \"2 s\"{share}"),
            ),
        ]);
        let text = text.replace(
            "[detector.call]\n",
            "[detector.call]\nexpects = \"480 per d\"\n",
        );
        let reading = read(&text);
        assert!(!reading.has_errors(), "{:?}", reading.mistakes);
        check(&reading, &Shelf::default())
    };
    assert_eq!(
        requirement(&of("20 per hour", ""), "lamp").word(),
        Word::Met
    );
    let held = of("10 per hour", "");
    let told = known(&held, "lamp");
    assert_eq!(requirement(&held, "lamp").word(), Word::Broken);
    close(told.value.value, 50.0, 1e-9);
    assert!(
        told.why.contains("lets 240 a day through of 480"),
        "{}",
        told.why
    );
    let half = of("10 per hour", "\nshare = \"50 %\"");
    assert_eq!(requirement(&half, "lamp").word(), Word::Met);
}

/// What the shore never hears no failure takes from it, and a hydrophone without power is lost before anything breaks.
#[test]
fn verif_nothing_is_lost_later_that_is_missing_already() {
    const ASKS: &str = "\n[requirement.notice]\nthat = \"time-to-notice\"\nat_most = \"2 d\"\n[requirement.alone]\nthat = \"single-failure\"\nat_most = 1\n";
    let of = |changes: &[(&str, &str)]| {
        let text = crate::support::changed(changes) + ASKS;
        let reading = read(&text);
        assert!(!reading.has_errors(), "{:?}", reading.mistakes);
        check(&reading, &Shelf::default())
    };
    let whole = of(&[]);
    assert_eq!(requirement(&whole, "alone").word(), Word::Met);
    // Without heartbeats every loss is a quiet sea.
    assert_eq!(requirement(&whole, "notice").word(), Word::Broken);
    let unheard = of(&[("when_told = \"alert/#\"", "when_told = \"state/#\"")]);
    let why = why_unknown(&unheard, "notice");
    assert!(
        why.contains("no detection of module.ear.sensor.one"),
        "{why}"
    );
    let dead = of(&[("minimum = \"20 V\"", "minimum = \"55 V\"")]);
    for id in ["notice", "alone"] {
        let why = why_unknown(&dead, id);
        assert!(
            why.contains("does not work while nothing is broken"),
            "{why}"
        );
    }
}
