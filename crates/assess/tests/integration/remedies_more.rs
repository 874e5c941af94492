//! Remedies of the line in the water, of states and detectors, and what they say of what stays unknown and of costs in several currencies.

use assess::{Remedy, Shelf, Verdict, Word, check};

use crate::moored::{plan_of, tideless, with_modules};
use crate::remedies::{found, found_of_all, only, setting};
use crate::support::{changed, close, read, requirement};

/// The requirement of a remedy's text is as it was told, but for what is unknown.
#[track_caller]
fn holds(remedy: &Remedy, id: &str) {
    let reading = read(&remedy.text);
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    let check = check(&reading, &Shelf::default());
    let judged = requirement(&check, id);
    assert!(judged.verdicts.contains(&remedy.verdict), "{judged:?}");
    if remedy.still_unknown.is_empty() {
        assert_eq!(judged.word(), remedy.word);
    } else {
        assert_eq!(judged.word(), Word::Unknown);
    }
}

/// A float without a rating stays unknown whatever is done to a housing: the remedy says so, and the requirement is not met.
#[test]
fn verif_what_stays_unknown_is_told_with_the_remedy() {
    let text =
        with_modules("\n[requirement.housings]\nthat = \"housing-margin\"\nat_least = \"20 m\"\n")
            .replacen("rated_depth = \"200 m\"", "rated_depth = \"130 m\"", 1)
            .replace("rated_depth = \"150 m\"\n", "");
    let found = found(&text, "housings");
    // The bed lies 122.5 m deep: 142.5 m are needed, 147.5 m are not just met.
    let remedy = setting(only(&found), "module.w0.housing.rated_depth");
    assert_eq!(remedy.turned[0].to, "150 m");
    assert_eq!(remedy.word, Word::Met);
    let subjects: Vec<&str> = remedy
        .still_unknown
        .iter()
        .map(|(s, _)| s.as_str())
        .collect();
    assert_eq!(subjects, ["float.top"]);
    assert!(
        matches!(&remedy.verdict, Verdict::Known(_)),
        "{:?}",
        remedy.verdict
    );
    holds(remedy, "housings");
}

/// A float that is rated too little is rated more: the bed lies 122.5 m deep, so that 142.5 m are needed and 147.5 m are not just met.
#[test]
fn verif_a_float_is_rated_deeper_as_a_housing_is() {
    let text =
        with_modules("\n[requirement.housings]\nthat = \"housing-margin\"\nat_least = \"20 m\"\n")
            .replace("rated_depth = \"150 m\"\n", "rated_depth = \"130 m\"\n");
    let found = found(&text, "housings");
    let remedy = setting(only(&found), "float.top.rated_depth");
    assert_eq!(remedy.turned[0].to, "150 m");
    assert_eq!(remedy.word, Word::Met);
    holds(remedy, "housings");
}

/// A cost of 5 USD is not less than one of 90 EUR: each currency stands by itself, cheapest first.
#[test]
fn verif_costs_in_two_currencies_are_not_compared() {
    let text = changed(&[
        ("conductor = \"18 AWG\"", "conductor = \"0.5 mm2 class 5\""),
        ("length = \"100 m\"", "length = \"800 m\""),
        (
            "input = { minimum = \"20 V\", maximum = \"56 V\" }",
            "input = { minimum = \"46 V\", maximum = \"56 V\" }",
        ),
        (
            "boot = { time = \"2 s\", power = \"3 W\" }",
            "boot = { time = \"2 s\", power = \"6 W\" }",
        ),
        (
            "loads = { listening = \"2 W\" }",
            "loads = { listening = \"6 W\" }",
        ),
    ]);
    let declared = r#"
[remedy.cable]
sets = "span.cable.conductor"
to = [{ value = "10 mm2 class 5", cost = "90 EUR" }]
[remedy.cut]
sets = "span.cable.length"
to = [{ value = "100 m", cost = "5 USD" }]
[remedy.draws]
sets = "module.ear.loads.listening"
to = [{ value = "6 W", cost = "1 USD" }]
"#;
    let found = found(&(text + declared), "voltage");
    let mended = only(&found);
    let costs: Vec<String> = mended
        .remedies
        .iter()
        .filter_map(|r| Some(r.cost?.to_string()))
        .collect();
    assert_eq!(costs, ["90.00 EUR", "5.00 USD"]);
    assert_eq!(mended.currencies(), ["EUR", "USD"]);
}

/// A buoy that lacks a newton: 1025 kg/m3 x 9.80665 m/s2 x 1 m2 lifts 10 051.8 N a metre, and less than 100 N left is marginal. So 1.1 m of hull, the
/// next of two digits, are enough; its own weight must fall by 101 N, to the next of two digits.
#[test]
fn verif_a_buoy_that_is_pulled_under_gets_the_hull_it_lacks() {
    let document = truth::json("mooring/scipy-lines.json");
    let entry = &document["lines"][4];
    let pull_n = entry["found"]["top_n"][2].as_f64().unwrap();
    let per_m_n = 1025.0 * 9.80665;
    let weight_n = per_m_n - pull_n + 1.0;
    let text = plan_of(&entry["case"])
        .replace("weight = \"1000 N\"", &format!("weight = \"{weight_n} N\""));
    let found = found(&text, "afloat");
    let mended = only(&found);
    let deeper = setting(mended, "module.buoy.hull.full_draught");
    assert_eq!(deeper.turned[0].to, "1.1 m");
    holds(deeper, "afloat");
    let Verdict::Known(left) = &deeper.verdict else {
        panic!("it is known")
    };
    close(left.value.value, 1.1 * per_m_n - weight_n - pull_n, 1e-2);
    assert_eq!(
        setting(mended, "module.buoy.hull.waterplane").turned[0].to,
        "1.1 m2"
    );
    let lighter = setting(mended, "module.buoy.hull.weight");
    let step_n = 10f64.powf(weight_n.log10().floor() - 1.0);
    let smallest = ((weight_n - 101.0) / step_n).floor() * step_n;
    assert_eq!(lighter.turned[0].to, format!("{smallest} N"));
}

/// SciPy's pull on the anchor with the friction of a deadweight asks for 1905.37 N; less than 100 N more is marginal.
#[test]
fn val_the_smallest_anchor_is_that_of_another_integrators_pull() {
    let text = with_modules("\n[requirement.anchor]\nthat = \"anchor-load\"\n").replace(
        "weight_in_water = \"2000 N\"",
        "weight_in_water = \"1500 N\"",
    );
    let found = found(&text, "anchor");
    let remedy = setting(only(&found), "anchor.sinker.weight_in_water");
    assert_eq!(remedy.turned[0].to, "2100 N");
    holds(remedy, "anchor");
}

/// A line that leans too far stands straighter under more lift, and under less weight on it.
#[test]
fn verif_more_lift_mends_a_line_that_leans() {
    let text = tideless(&with_modules(
        "\n[requirement.tilt]\nthat = \"module-tilt\"\nof = \"module.w0\"\nat_most = \"8 deg\"\n",
    ));
    let found = found(&text, "tilt");
    let remedy = setting(only(&found), "float.top.buoyancy");
    let Verdict::Known(now) = &only(&found).judged.verdicts[0] else {
        panic!("it is known")
    };
    close(now.value.value, 9.425_781, 1e-4);
    let Verdict::Known(then) = &remedy.verdict else {
        panic!("it is known")
    };
    // Less than a degree under the limit is marginal.
    assert!(then.value.value <= 7.0, "{then:?}");
    holds(remedy, "tilt");
}

/// Days without light over the mean load, by hand: what the ear gives from `listening` to `asleep` is what its battery lasts longer.
#[test]
fn verif_the_smallest_share_of_a_state_is_that_of_the_energy_by_hand() {
    let sun = "kind = \"solar-battery\"\npanels = { peak_power_each = \"20 W\", tilt = \"60 deg\", faces = 4, loss = \"15 %\" }\nbattery = { chemistry = \"lifepo4\", capacity = \"20 Ah\", voltage = \"12.8 V\", usable = [{ temperature = \"5 degC\", share = \"90 %\" }, { temperature = \"20 degC\", share = \"90 %\" }], self_discharge_per_month = \"0 %\" }";
    let asked =
        "[requirement.dark]\nthat = \"autonomy\"\nat_least = \"3.5 d\"\n\n[requirement.voltage]\n";
    let text = |share: f64| {
        let loads = format!(
            "loads = {{ listening = \"2 W\", asleep = \"20 mW\" }}\nstarts_in = \"listening\"\nduty = [{{ state = \"listening\", share = \"{share} %\" }}, {{ state = \"asleep\", share = \"{} %\" }}]",
            100.0 - share
        );
        changed(&[
            ("kind = \"bench\"", sun),
            ("[requirement.voltage]\n", asked),
            ("loads = { listening = \"2 W\" }", &loads),
        ])
    };
    let days = |share: f64| {
        let reading = read(&text(share));
        assert!(!reading.has_errors(), "{:?}", reading.mistakes);
        let load = assess::input::supply_load(&reading.line.unwrap(), plan::SupplyIx(0)).unwrap();
        20.0 * 12.8 * (1.0 - 0.03 / 365.2425) * 0.9 * 0.8 * 0.96 / load.mean_w() / 24.0
    };
    assert!(days(95.0) < 3.5, "{}", days(95.0));
    // The next of two digits below 95 with a day to spare.
    let wanted = (10..95).rev().find(|s| days(f64::from(*s)) >= 4.5).unwrap();
    let found = found(&text(95.0), "dark");
    let mended = only(&found);
    let remedy = mended
        .remedies
        .iter()
        .find(|r| r.turned[0].path == "module.ear.duty[0].share")
        .unwrap();
    let to: Vec<&str> = remedy.turned.iter().map(|t| t.to.as_str()).collect();
    assert_eq!(to, [format!("{wanted} %"), format!("{} %", 100 - wanted)]);
    holds(remedy, "dark");
}

/// An event is confirmed when it has lasted `shortest`: the lamp is lit as much sooner as that is shorter.
#[test]
fn verif_a_shorter_shortest_brings_the_lamp_as_much_sooner() {
    let now = check(&read(&changed(&[])), &Shelf::default());
    let Verdict::Known(lamp) = &requirement(&now, "lamp").verdicts[0] else {
        panic!("it is known")
    };
    let limit_s = lamp.value.value - 0.1;
    let text = changed(&[(
        "to = \"module.base.output.lamp\"\nat_most = \"2 s\"",
        &format!("to = \"module.base.output.lamp\"\nat_most = \"{limit_s} s\""),
    )]);
    let found = found(&text, "lamp");
    let mended = only(&found);
    let remedy = setting(mended, "detector.call.stages[3].shortest");
    let Verdict::Known(then) = &remedy.verdict else {
        panic!("it is known")
    };
    let shorter_s: f64 = remedy.turned[0].to.trim_end_matches(" s").parse().unwrap();
    // Cells are whole: the level is taken in steps of the window.
    assert!(shorter_s < 0.3 && then.value.value <= limit_s, "{then:?}");
    assert!(lamp.value.value - then.value.value >= 0.1 - 1e-9);
    holds(remedy, "lamp");
    let window = setting(mended, "detector.call.stages[1].window");
    holds(window, "lamp");
}

/// What a plan may turn of talk: each key mends a plan in which it is what binds, and what it is said to come to is what a check finds.
#[test]
fn verif_every_key_of_talk_mends_what_it_binds() {
    for (changes, id, path) in [
        (
            vec![
                (
                    "link = \"10BASE-T1L\"",
                    "link = \"TIA-485\"\nlink_rate = \"9600 b/s\"\nframe = { header = \"8 B\", characters = \"8N1\", turnaround = \"2 ms\" }\npolled_by = \"module.base\"",
                ),
                ("at_most = \"20 %\"", "at_most = \"2 %\""),
            ],
            "links",
            "span.cable.link_rate",
        ),
        (
            vec![("at_most = \"20 %\"", "at_most = \"0.001 %\"")],
            "links",
            "span.cable.link",
        ),
        (
            vec![
                ("message_size = \"120 B\"", "message_size = \"600 B\""),
                ("at_most = \"400 per 30 d\"", "at_most = \"200 per 30 d\""),
            ],
            "messages",
            "uplink.shore.pack_within",
        ),
        (
            vec![
                ("at_most = \"12 per d\"\n", ""),
                ("at_most = \"10 per min\"\n", ""),
                ("at_most = \"400 per 30 d\"", "at_most = \"20000 per 30 d\""),
            ],
            "messages",
            "detector.call.stages[3].hold_off",
        ),
    ] {
        let found = found(&changed(&changes), id);
        let remedy = setting(only(&found), path);
        holds(remedy, id);
    }
}

/// What is marginal by 0.57 degrees is mended by what makes it met alone: what leaves it as it is, or marginal, is no remedy of it.
#[test]
fn verif_of_what_is_marginal_only_what_makes_it_met_is_told() {
    let text = with_modules(
        "\n[requirement.tilt]\nthat = \"module-tilt\"\nof = \"module.w0\"\nat_most = \"10 deg\"\n",
    );
    let found = found(&text, "tilt");
    let mended = only(&found);
    assert_eq!(mended.judged.word(), Word::Marginal);
    assert!(!mended.remedies.is_empty());
    for remedy in &mended.remedies {
        assert_eq!(remedy.word, Word::Met, "{:?}", remedy.turned);
        let Verdict::Known(then) = &remedy.verdict else {
            panic!("it is known")
        };
        assert!(then.value.value <= 9.0, "{then:?}");
    }
}

/// A float that no longer lifts what hangs below it breaks the check `held-up`. A requirement of that name that is met takes nothing of it: what is said to mend the check mends it.
#[test]
fn verif_a_requirement_named_as_a_check_is_not_mended_in_its_place() {
    let text = with_modules(
        "\n[requirement.held-up]\nthat = \"housing-margin\"\nof = \"module.w0\"\nat_least = \"1 m\"\n",
    );
    let weak = text.replacen("buoyancy = \"1200 N\"", "buoyancy = \"150 N\"", 1);
    assert_ne!(weak, text);
    let before = check(&read(&weak), &Shelf::default());
    assert_eq!(requirement(&before, "held-up").word(), Word::Met);
    let found = found_of_all(&weak);
    let of_check: Vec<_> = found
        .mended
        .iter()
        .filter(|m| m.judged.id == "held-up")
        .collect();
    assert_eq!(of_check.len(), 1);
    assert_eq!(of_check[0].judged.word(), Word::Broken);
    assert!(!of_check[0].remedies.is_empty());
    for remedy in &of_check[0].remedies {
        let after = check(&read(&remedy.text), &Shelf::default());
        let standing = after.standing.iter().find(|j| j.id == "held-up").unwrap();
        assert_eq!(standing.word(), remedy.word, "{:?}", remedy.turned);
    }
}
