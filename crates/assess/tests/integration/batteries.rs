//! Batteries without their panels: days without light, primary cells, what an hour of listening costs; and what the plan writes of
//! the cells instead of their chemistry's preset.

use assess::input::supply_load;
use assess::{Check, Ruling, Verdict, Word};
use plan::{Line, SupplyIx};

use crate::support::{changed, checked, close, good, known, read, requirement, why_unknown};

pub(crate) const SUN: (&str, &str) = (
    "kind = \"bench\"",
    "kind = \"solar-battery\"\npanels = { peak_power_each = \"20 W\", tilt = \"60 deg\", faces = 4, loss = \"15 %\" }\nbattery = { chemistry = \"lifepo4\", capacity = \"60 Ah\", voltage = \"12.8 V\" }",
);
/// Cells of which all can be drawn, without loss.
pub(crate) const PLAIN_CELLS: &str = "usable = [{ temperature = \"-40 degC\", share = \"100 %\" }, { temperature = \"60 degC\", share = \"100 %\" }], self_discharge_per_month = \"0 %\"";

fn asking(that: &str) -> String {
    format!("[requirement.cells]\n{that}\n\n[requirement.voltage]\n")
}

/// The small plan on a solar battery with more keys of it, and one requirement.
#[track_caller]
fn solar(keys: &str, that: &str) -> Check {
    let battery = format!("voltage = \"12.8 V\"{keys} }}");
    let asked = asking(that);
    checked(&[
        SUN,
        ("voltage = \"12.8 V\" }", &battery),
        ("[requirement.voltage]\n", &asked),
    ])
}

fn mean_w(line: &Line) -> f64 {
    supply_load(line, SupplyIx(0)).unwrap().mean_w()
}

/// By hand: 768 Wh, of which 2.7 % are lost in a day less than a year's 3 % (the deployment lasts a day), 0.9 of it usable, 0.8 of
/// that above the cut-off, 0.96 of it arriving, over the mean load and 0.5 W besides.
#[test]
fn verif_days_without_light_by_hand() {
    let keys = ", usable = [{ temperature = \"5 degC\", share = \"90 %\" }, { temperature = \"20 degC\", share = \"90 %\" }], self_discharge_per_month = \"0 %\"";
    let that = "that = \"autonomy\"\nat_least = \"3 d\"";
    let check = solar(keys, that);
    let load_w = mean_w(&good(&[SUN]).line.unwrap());
    let capacity_wh = 60.0 * 12.8 * (1.0 - 0.03 / 365.2425);
    let by_hand_d = capacity_wh * 0.9 * 0.8 * 0.96 / load_w / 24.0;
    close(
        known(&check, "cells").value.value,
        by_hand_d,
        1e-9 * by_hand_d,
    );
    let standing = format!("{keys} }}\nstanding = \"0.5 W\"\n# {{");
    let check = solar(&standing, that);
    let with_standing_d = by_hand_d * load_w / (load_w + 0.5);
    close(
        known(&check, "cells").value.value,
        with_standing_d,
        1e-9 * by_hand_d,
    );
    assert!(check.assumed.iter().all(|a| !a.contains("`standing`")));
}

/// The coldest month decides.
#[test]
fn verif_days_without_light_are_those_of_the_coldest_month() {
    let months = |feb: &str| {
        let mut all = ["\"15 degC\""; 12];
        all[1] = feb;
        format!(", temperature = [{}]", all.join(", "))
    };
    let that = "that = \"autonomy\"\nat_least = \"3 d\"";
    let days = |feb: &str| known(&solar(&months(feb), that), "cells").clone();
    let (mild, cold) = (days("\"15 degC\""), days("\"-10 degC\""));
    assert!(cold.why.contains("-10.0 degC (February)"), "{}", cold.why);
    assert!(mild.why.contains("(all year)"), "{}", mild.why);
    // 0.75 of the capacity at -10 degC, 0.92 at 15 degC, by the preset's table; the leak moves a fraction.
    let ratio = cold.value.value / mild.value.value;
    close(ratio, 0.75 / 0.92, 0.005);
}

/// The mean load over the hydrophones: one here, which costs the load itself; broken against less.
#[test]
fn verif_an_hour_of_listening_costs_the_load_over_the_hydrophones() {
    let load_w = mean_w(&good(&[SUN]).line.unwrap());
    let check = solar("", "that = \"sensor-energy\"\nat_most = \"20 Wh\"");
    let met = known(&check, "cells");
    close(met.value.value, load_w, 1e-12);
    assert_eq!(met.ruling, Ruling::Met);
    let check = solar("", "that = \"sensor-energy\"\nat_most = \"1 Wh\"");
    assert_eq!(known(&check, "cells").ruling, Ruling::Broken);
}

/// A single load of 25 W behind 20 ohm at 48 V draws 0.764110106 A (the quadratic; ngspice 39 finds the same root). Between 100 Ah at
/// 0.5 A and 80 Ah at 1 A the capacity is straight in the logarithm: by hand.
#[test]
fn val_primary_cells_last_by_their_table() {
    let check = |battery: &str, asked: &str| {
        let cells = format!(
            "kind = \"primary-cells\"\nbattery = {{ chemistry = \"primary-lithium\", capacity = \"100 Ah\", voltage = \"48 V\", {PLAIN_CELLS}{battery} }}"
        );
        let text = include_str!("two.toml")
            .replace("kind = \"bench\"", &cells)
            .replace("[requirement.voltage]\n", &asking(asked));
        let reading = read(&text);
        assert!(!reading.has_errors(), "{:?}", reading.mistakes);
        assess::check(&reading, &assess::Shelf::default())
    };
    let table = ", capacity_at = [{ current = \"0.5 A\", capacity = \"100 Ah\" }, { current = \"1 A\", capacity = \"80 Ah\" }]";
    let current_a = 0.764_110_106_f64;
    let capacity_ah = 100.0 - 20.0 * (current_a / 0.5).log2();
    let by_table = check(table, "that = \"cell-life\"\nat_least = \"5 d\"");
    let found = known(&by_table, "cells");
    close(found.value.value, capacity_ah / current_a / 24.0, 1e-6);
    assert!(found.why.contains("January"), "{}", found.why);
    assert!(
        by_table
            .open
            .iter()
            .all(|o| !o.contains("how long its cells"))
    );
    // Without a table the capacity counts at any current, and that is told.
    let flat = check("", "that = \"cell-life\"\nat_least = \"5 d\"");
    close(
        known(&flat, "cells").value.value,
        100.0 / current_a / 24.0,
        1e-6,
    );
    assert!(flat.assumed.iter().any(|a| a.contains("`capacity_at`")));
    // Where no limit is written the longest time in the water is one.
    let whole = check(table, "that = \"cell-life\"");
    close(known(&whole, "cells").limit.value, 1.0, 1e-12);
    // A controller leaves what lies below in the cells.
    let cut = check(
        &format!("{table}, disconnect_at = \"25 %\""),
        "that = \"cell-life\"",
    );
    close(
        known(&cut, "cells").value.value,
        0.75 * found.value.value,
        1e-6,
    );
    // A current above the table is unknown, by the key's name.
    let short = ", capacity_at = [{ current = \"0.5 A\", capacity = \"100 Ah\" }]";
    let above = check(short, "that = \"cell-life\"");
    assert!(why_unknown(&above, "cells").contains("`capacity_at`"));
    // Other questions on these cells are not answered with a number.
    let dark = check(table, "that = \"autonomy\"\nat_least = \"3 d\"");
    assert!(why_unknown(&dark, "cells").contains("cell-life"));
    let asked = check(table, "that = \"voltage\"");
    assert!(asked.open.iter().any(|o| o.contains("`cell-life`")));
}

/// Half of the time 4 W more: each half takes from the capacity at its own current, which is more than the mean current takes.
#[test]
fn verif_pulses_take_from_the_capacity_at_their_own_current() {
    let cells = format!(
        "kind = \"primary-cells\"\nbattery = {{ chemistry = \"alkaline\", capacity = \"100 Ah\", voltage = \"12 V\", {PLAIN_CELLS}, capacity_at = [{{ current = \"100 mA\", capacity = \"100 Ah\" }}, {{ current = \"10 A\", capacity = \"20 Ah\" }}] }}"
    );
    let duty = "starts_in = \"idle\"\nduty = [{ state = \"idle\", share = \"50 %\" }, { state = \"sending\", share = \"50 %\" }]";
    let life = "[requirement.cells]\nthat = \"cell-life\"\n\n[requirement.voltage]\n";
    let changes = [
        ("kind = \"bench\"", cells.as_str()),
        ("starts_in = \"idle\"", duty),
        ("[requirement.voltage]\n", life),
        // Nothing else happens.
        ("at_most = \"12 per d\"", "at_most = \"1e-9 per d\""),
    ];
    let line = good(&changes).line.unwrap();
    let load = supply_load(&line, SupplyIx(0)).unwrap();
    let idle_a = load.parts[0].power_w / 12.0;
    let sending_a = idle_a + 4.0 / 12.0;
    let ah = |a: f64| 100.0 - 40.0 * (a / 0.1).log10();
    let by_hand_h = 1.0 / (0.5 * idle_a / ah(idle_a) + 0.5 * sending_a / ah(sending_a));
    let check = checked(&changes);
    close(known(&check, "cells").value.value, by_hand_h / 24.0, 1e-5);
    let mean_a = (idle_a + sending_a) / 2.0;
    assert!(by_hand_h < ah(mean_a) / mean_a);
}

const EVERY_KEY: &str = ", usable = [{ temperature = \"-20 degC\", share = \"70 %\" }, { temperature = \"0 degC\", share = \"80 %\" }, { temperature = \"25 degC\", share = \"100 %\" }, { temperature = \"60 degC\", share = \"100 %\" }], charge_efficiency = \"96 %\", discharge_efficiency = \"96 %\", self_discharge_per_month = \"5 %\", loss_per_year = \"3 %\", disconnect_at = \"20 %\", reconnect_at = \"30 %\", charge_from = \"0 degC\", charge_to = \"45 degC\", charge_rate = \"50 %\", tapers_from = \"95 %\", tapers_to = \"5 %\"";

/// The preset written out gives the same verdict from the same input, and nothing of the cells is left among the assumed.
#[test]
fn verif_a_preset_that_is_written_out_changes_nothing() {
    let that = "that = \"autonomy\"\nat_least = \"3 d\"";
    let (preset, written) = (solar("", that), solar(EVERY_KEY, that));
    let (a, b) = (known(&preset, "cells"), known(&written, "cells"));
    close(a.value.value, b.value.value, 1e-9);
    let of_the_preset = |check: &Check| {
        let assumed = check.assumed.iter();
        assumed
            .filter(|a| a.contains("lithium iron phosphate"))
            .cloned()
            .collect::<Vec<String>>()
    };
    assert_eq!(of_the_preset(&written), Vec::<String>::new());
    let all = of_the_preset(&preset);
    assert_eq!(all.len(), 1);
    let keys = [
        "usable",
        "charge_efficiency",
        "discharge_efficiency",
        "self_discharge_per_month",
        "loss_per_year",
        "disconnect_at",
        "reconnect_at",
        "charge_from",
        "charge_to",
        "charge_rate",
        "tapers_from",
        "tapers_to",
    ];
    for key in keys {
        assert!(all[0].contains(&format!("`{key}`")), "{key}: {}", all[0]);
    }
    let some = solar(", loss_per_year = \"8 %\"", that);
    let rest = &of_the_preset(&some)[0];
    assert!(!rest.contains("`loss_per_year`") && rest.contains("`usable`"));
}

/// What the cells cannot be is unknown with the names of the keys, also where one of two comes from the preset.
#[test]
fn verif_cells_that_cannot_be_are_told_by_their_keys() {
    for (keys, named) in [
        (
            ", disconnect_at = \"40 %\"",
            "`disconnect_at` and `reconnect_at`",
        ),
        (
            ", reconnect_at = \"10 %\"",
            "`disconnect_at` and `reconnect_at`",
        ),
        (
            ", charge_from = \"50 degC\"",
            "`charge_from` and `charge_to`",
        ),
        (
            ", usable = [{ temperature = \"20 degC\", share = \"90 %\" }]",
            "`usable`",
        ),
    ] {
        let check = solar(keys, "that = \"autonomy\"\nat_least = \"3 d\"");
        let why = why_unknown(&check, "cells");
        assert!(
            why.contains(named) && why.contains("supply.bench.battery"),
            "{why}"
        );
    }
}

/// A requirement on every battery is about each; one on a supply without any is unknown.
#[test]
fn verif_each_battery_is_judged_and_a_bench_has_none() {
    let text = changed(&[(
        "[requirement.voltage]\n",
        &asking("that = \"sensor-energy\"\nat_most = \"20 Wh\"\nof = \"supply.bench\""),
    )]);
    let reading = read(&text);
    let check = assess::check(&reading, &assess::Shelf::default());
    let cells = requirement(&check, "cells");
    assert_eq!(cells.word(), Word::Unknown);
    let Verdict::Unknown { why, .. } = &cells.verdicts[0] else {
        panic!("{cells:?}");
    };
    assert!(why.contains("battery"), "{why}");
}

/// Thirteen things that happen combine in 8192 ways: that is said, not worked out in part.
#[test]
fn verif_too_many_combinations_are_unknown() {
    let cells = format!(
        "kind = \"primary-cells\"\nbattery = {{ chemistry = \"alkaline\", capacity = \"100 Ah\", voltage = \"48 V\", {PLAIN_CELLS} }}"
    );
    let act = "do = [\n  { switch = \"module.base.output.lamp\", to = \"on\", for = \"20 s\" },";
    let more = format!(
        "do = [\n{}",
        "  { switch = \"module.base.output.lamp\", to = \"on\", for = \"20 s\" },\n".repeat(12)
    );
    let asked = asking("that = \"cell-life\"");
    let check = checked(&[
        ("kind = \"bench\"", cells.as_str()),
        (act, &more),
        ("[requirement.voltage]\n", &asked),
    ]);
    let why = why_unknown(&check, "cells");
    assert!(why.contains("more than 4096 ways"), "{why}");
}
