//! Cables with `heat` that find no rest, on one load at the end of one cable.

use assess::{Check, Ruling, Shelf, Verdict, Word, check};

use crate::support::{close, known, read, requirement, why_unknown};

const TWO: &str = include_str!("two.toml");
const HEAT: &str = "heat = { lies_in = \"sediment\", core = \"0.9 mm\", insulated = \"2.5 mm\", under_jacket = \"5 mm\", outer = \"7 mm\", insulation = \"pvc\", jacket = \"pvc\", buried = \"1 m\", sediment = \"3 K.m/W\" }";

fn judged(changes: &[(&str, &str)]) -> Check {
    let cable = format!("conductor = \"0.5 mm2 class 5\"\n{HEAT}");
    let mut text = TWO
        .replace("conductor = \"1.0 mm2 class 5\"", &cable)
        .replace("16.1 ohm", "1 mohm");
    for (from, to) in changes {
        assert!(text.contains(from), "`{from}` is not in the plan");
        text = text.replace(from, to);
    }
    let reading = read(&text);
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    check(&reading, &Shelf::default())
}

const SHORT_CABLE: (&str, &str) = ("length = \"100 m\"", "length = \"10 m\"");
const SUPPLY: &str = "voltage = \"48 V\", resistance = \"0 ohm\", current_limit = \"5 A\"";
const OPEN: &str = "voltage = \"60 V\", resistance = \"0 ohm\"";

/// 900 W over 10 m in warm sediment: 0.78 ohm cold, 20 A, 31 W on each metre behind some 3 K.m/W.
#[test]
fn verif_a_cable_that_runs_away_is_never_taken_as_cold() {
    let heavy = ("\"25 W\"", "\"900 W\"");
    for supply in [OPEN.to_owned(), format!("{OPEN}, current_limit = \"30 A\"")] {
        let check = judged(&[SHORT_CABLE, heavy, (SUPPLY, &supply)]);
        for id in ["voltage", "supply"] {
            let why = why_unknown(&check, id);
            assert!(why.contains("span.cable: with every module"), "{why}");
            // 900 W through the cold cable, 0.78 ohm and a contact of 1 mohm.
            let volt = 0.5 * (60.0 + (60.0_f64 * 60.0 - 4.0 * 900.0 * 0.781).sqrt());
            assert!(
                why.contains(&format!("state, at {:.3} A", 900.0 / volt)),
                "{why}"
            );
            assert!(why.contains("take a thicker conductor"), "{why}");
        }
    }
}

/// 4 ohm cold carry at most 48^2/16 = 144 W; 138 W draw some 4.8 A, which warms by 6 K, and 2 % more ohms are not enough to
/// break it, while sediment of 10 K.m/W warms by three times that.
#[test]
fn verif_a_line_that_collapses_only_warm_is_broken() {
    let length = ("length = \"100 m\"", "length = \"51.26 m\"");
    let load = ("\"25 W\"", "\"138 W\"");
    let open = (SUPPLY, "voltage = \"48 V\", resistance = \"0 ohm\"");
    let cool = judged(&[length, load, open]);
    // Some 102 % of its load, and no more than just met.
    assert_eq!(requirement(&cool, "voltage").word(), Word::Marginal);
    let warm = judged(&[length, load, open, ("\"3 K.m/W\"", "\"10 K.m/W\"")]);
    let verdicts = &requirement(&warm, "voltage").verdicts;
    assert_eq!(
        requirement(&warm, "voltage").word(),
        Word::Broken,
        "{verdicts:?}"
    );
    assert!(verdicts.iter().any(|v| matches!(
        v,
        Verdict::Known(known) if known.ruling == Ruling::Broken && known.value.value < 100.0 && known.value.value > 90.0
    )));
    assert!(
        !verdicts
            .iter()
            .any(|v| matches!(v, Verdict::Known(k) if k.ruling == Ruling::Met))
    );
}

const OUTPUTS: &str = r#"[module.far.output.lamp]
kind = "lamp"
power = "10 W"

[module.far.output.winch]
kind = "relay"
power = "10 W"

[exclusive.strong]
of = [{ output = "module.far.output.lamp" }, { output = "module.far.output.winch" }]
at_most = 1

[span.cable]"#;

/// 23.4 ohm cold carry at most 24.6 W. All at once are 25 W, 5 W with either output of 10 W are 15 W: 0.4 A, of which the
/// cable grows warmer by hundredths of a kelvin. The 40 A that the supply could give run away.
#[test]
fn verif_what_groups_forbid_warms_no_cable() {
    let long = ("length = \"100 m\"", "length = \"300 m\"");
    let limit = ("\"5 A\"", "\"40 A\"");
    let check = judged(&[
        long,
        limit,
        ("working = \"25 W\"", "working = \"5 W\""),
        ("[span.cable]", OUTPUTS),
    ]);
    let supply = known(&check, "supply");
    // The high root of 48 V - 23.401 ohm A = 15 W / A.
    let volt = 0.5 * (48.0 + (48.0_f64 * 48.0 - 4.0 * 15.0 * 23.401).sqrt());
    assert!(supply.value.value > 15.0 / volt, "{supply:?}");
    close(supply.value.value, 15.0 / volt, 1e-3);
}

#[test]
fn verif_a_current_limit_that_counts_as_the_current_is_told_as_that() {
    let lamps = OUTPUTS.replace("\"10 W\"", "\"22 W\"");
    let check = judged(&[
        ("length = \"100 m\"", "length = \"300 m\""),
        ("\"5 A\"", "\"40 A\""),
        ("working = \"25 W\"", "working = \"5 W\""),
        ("[span.cable]", &lamps),
    ]);
    let verdicts = &requirement(&check, "voltage").verdicts;
    assert_eq!(
        requirement(&check, "voltage").word(),
        Word::Broken,
        "{verdicts:?}"
    );
    let why = verdicts.iter().find_map(|v| match v {
        Verdict::Unknown { why, .. } => Some(why.as_str()),
        _ => None,
    });
    let why = why.unwrap();
    assert!(why.contains("at 40 A"), "{why}");
    assert!(
        why.contains("that is the current limit of supply.bench"),
        "{why}"
    );
    assert!(why.contains("lower the limit"), "{why}");
}

/// 16 W over 7.8 ohm at 48 V: 0.35 A, 10 mW on each metre, and so some 0.03 K behind 3 K.m/W; the water has 20 degC.
#[test]
fn verif_how_warm_a_cable_is_taken_to_be_is_told_as_assumed() {
    let told = |changes: &[(&str, &str)]| {
        let check = judged(changes);
        let about = check.assumed.iter().filter(|a| a.contains("onductors"));
        about.cloned().collect::<Vec<_>>().join("; ")
    };
    let warm = told(&[("\"25 W\"", "\"16 W\"")]);
    assert!(
        warm.contains("span.cable at 20.0 degC in sediment"),
        "{warm}"
    );
    assert!(!warm.contains("water temperature"), "{warm}");
    let hot = told(&[SHORT_CABLE, ("\"25 W\"", "\"300 W\""), (SUPPLY, OPEN)]);
    assert!(
        !hot.contains("at 20.0 degC") && hot.contains(" degC in sediment"),
        "{hot}"
    );
    let away = told(&[SHORT_CABLE, ("\"25 W\"", "\"900 W\""), (SUPPLY, OPEN)]);
    assert!(
        away.contains("span.cable in sediment, how warm is unknown"),
        "{away}"
    );
    let cold = told(&[(HEAT, "")]);
    assert!(cold.contains("at the water temperature"), "{cold}");
}
