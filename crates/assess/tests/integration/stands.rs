//! What is checked of every plan as far as it writes what its parts bear, and what is on a limit, by sums of weights and Ohm's law.

use assess::{
    Check, Known, Ruling, Shelf, Verdict, WeightReserve, Word, check, line_weight_reserve,
};

use crate::moored::{plan_of, tideless, with_modules};
use crate::remedies::{found, only, setting};
use crate::support::{checked, close, known, read, requirement, why_unknown};
use crate::weight_reserve::still;

/// Of the line in `moored.rs`: a rope of 0.9 N/m and 95 m, bodies of 60 N at 40 m and of 120 N at 75 m from the anchor, a float of 1200 N.
const ROPE_N_M: f64 = 0.9;
const LONG_M: f64 = 95.0;
const LIFT_N: f64 = 1200.0;

#[track_caller]
fn judged(text: &str) -> Check {
    let reading = read(text);
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    check(&reading, &Shelf::default())
}

fn is_there(check: &Check, id: &str) -> bool {
    check.standing.iter().any(|j| j.id == id)
}

#[track_caller]
fn of<'c>(check: &'c Check, id: &str, subject: &str) -> &'c Known {
    let mut all = requirement(check, id).verdicts.iter();
    match all.find(|v| v.subject() == subject) {
        Some(Verdict::Known(known)) => known,
        other => panic!("{id}, {subject}: {other:?}"),
    }
}

/// A float 18 m down is out of the water in troughs of 20 m: nothing of its line is met in such waves, in still water as it stands. Of troughs of 10 m it is told nothing.
#[test]
fn verif_troughs_that_reach_a_float_leave_its_line_unknown() {
    let asks = "[requirement.deep]\nthat = \"module-depth\"\nat_most = \"119 m\"\n";
    let text = tideless(&still(asks)).replace("length = \"95 m\"", "length = \"102 m\"");
    for (high, word) in [("20 m", Word::Met), ("40 m", Word::Unknown)] {
        let storm = format!(
            "[case.storm]\nwave = {{ height = \"{high}\", period = \"25 s\" }}\n[case.only]"
        );
        let check = judged(&text.replace("[case.only]", &storm));
        for id in ["float-depth", "held-up", "deep"] {
            assert_eq!(requirement(&check, id).word(), word, "{id} {high}");
            if word == Word::Unknown {
                let why = why_unknown(&check, id);
                assert!(why.contains("reach down to 20 m"), "{why}");
            }
        }
    }
}

/// What is left at the lower body is the lift less all above it; the rope below may lie on the bed.
#[test]
fn verif_a_float_that_does_not_lift_its_line_is_broken() {
    for (lift_n, left_n, beside, word) in [
        (
            1200.0,
            1200.0 - 180.0 - ROPE_N_M * 55.0,
            "module.w0",
            Word::Met,
        ),
        (235.0, 5.5, "module.w0", Word::Marginal),
        (225.0, -4.5, "module.w0", Word::Broken),
        // At the upper body 8 N are missing, and at the lower one 99.5 N.
        (130.0, -99.5, "module.w0", Word::Broken),
    ] {
        let lift = format!("buoyancy = \"{lift_n} N\"");
        let check = judged(&still("").replace("buoyancy = \"1200 N\"", &lift));
        let left = of(&check, "held-up", "float.top");
        close(left.value.value, left_n, 1e-9);
        assert!(left.why.contains(beside), "{}", left.why);
        assert_eq!(requirement(&check, "held-up").word(), word, "{lift}");
    }
}

/// What is let into its section bears on the float with all of its weight, as it does clamped beside it.
#[test]
fn verif_what_is_let_in_weighs_no_less() {
    let of_lowest = |text: &str| of(&judged(text), "held-up", "float.top").value.value;
    let clamped = still("");
    let housing = "weight_in_water = \"120 N\"";
    assert_eq!(clamped.matches(housing).count(), 1);
    let let_in = clamped.replace(housing, &format!("{housing}, added_length = \"0.5 m\""));
    let lowest = "weight_in_water = \"60 N\"";
    let low_in = clamped.replace(lowest, &format!("{lowest}, added_length = \"0.5 m\""));
    for text in [let_in, low_in] {
        // Clamped, half the metre of rope beside it is counted or not: no more than that may differ.
        close(of_lowest(&text), of_lowest(&clamped), ROPE_N_M);
    }
}

/// A rope parts at its breaking load, whatever a requirement lets it bear.
#[test]
fn verif_no_tension_is_met_beyond_the_breaking_load() {
    let ask = "[requirement.tension]\nthat = \"line-tension\"\nat_most = \"4 kN\"\n";
    let text = still(ask);
    let pull = of(&judged(&text), "tension", "section.riser").value.value;
    let breaks = |n: f64| {
        let load = format!("working_load = \"10 N\"\nbreaking_load = \"{n} N\"");
        let check = judged(&text.replace("working_load = \"3 kN\"", &load));
        of(&check, "tension", "section.riser").clone()
    };
    let parted = breaks(0.9 * pull);
    assert_eq!(parted.ruling, Ruling::Broken);
    close(parted.limit.value, 0.9 * pull, 1e-9);
    assert!(parted.why.contains("breaking load"), "{}", parted.why);
    assert_eq!(breaks(1e4).limit.value, 4000.0);
}

/// In still water the float stands the rope's length and its stretch over the bed, 120 m down.
#[test]
fn verif_a_float_beyond_its_rating_is_broken() {
    let (mut up_n, mut height_m, stiff_n) = (LIFT_N, 0.0, 8e5);
    for (length_m, body_n) in [(20.0, 120.0), (35.0, 60.0), (40.0, 0.0)] {
        height_m += length_m + (up_n * length_m - 0.5 * ROPE_N_M * length_m * length_m) / stiff_n;
        up_n -= ROPE_N_M * length_m + body_n;
    }
    for (rated, ruling) in [("20 m", Ruling::Broken), ("40 m", Ruling::Met)] {
        let text = still("").replace(
            "rated_depth = \"150 m\"",
            &format!("rated_depth = \"{rated}\""),
        );
        let depth = of(&judged(&tideless(&text)), "float-depth", "float.top").clone();
        close(depth.value.value, 120.0 - height_m, 1e-6);
        assert_eq!(depth.ruling, ruling);
        // No case stands at the highest water, so that the one there is counts there too.
        let high = of(&judged(&text), "float-depth", "float.top").clone();
        close(high.value.value, 122.5 - height_m, 1e-6);
        assert!(high.why.contains("only-highest"), "{}", high.why);
    }
    let unrated = judged(&still("").replace("rated_depth = \"150 m\"\n", ""));
    let why = why_unknown(&unrated, "float-depth");
    assert!(why.contains("`rated_depth`"), "{why}");
}

/// What `reserve` gives within a float's rating, `check` bears, and a little more it does not; beyond the rating there is nothing to give.
#[test]
fn verif_the_reserve_keeps_floats_within_their_rating() {
    let rated = |depth: &str| {
        with_modules("").replace(
            "rated_depth = \"150 m\"",
            &format!("rated_depth = \"{depth}\""),
        )
    };
    let reserve = |text: &str| {
        let reading = read(text);
        let found = line_weight_reserve(&reading).unwrap();
        let place = found.places.into_iter().find(|p| p.path == "module.w0");
        place.unwrap().reserve
    };
    let text = rated("30 m");
    let WeightReserve::Weight { weight_n, binds } = reserve(&text) else {
        panic!("{:?}", reserve(&text));
    };
    assert!(binds.contains("the rated depth, float.top"), "{binds}");
    for (share, broken) in [(0.98, false), (1.02, true)] {
        let heavier = format!("weight_in_water = \"{} N\"", 60.0 + share * weight_n);
        let with = text.replacen("weight_in_water = \"60 N\"", &heavier, 1);
        assert_eq!(
            requirement(&judged(&with), "float-depth").is_broken(),
            broken,
            "{share} of {weight_n} N"
        );
    }
    let beyond = reserve(&rated("20 m"));
    let WeightReserve::None { why } = &beyond else {
        panic!("{beyond:?}");
    };
    assert!(why.contains("the rated depth, float.top"), "{why}");
}

/// The rope bears the lift of its float at its top.
#[test]
fn verif_a_rope_over_its_working_load_is_broken_without_being_asked() {
    let loaded = |load: &str, requirements: &str| {
        judged(&still(requirements).replace("working_load = \"3 kN\"\n", load))
    };
    let over = loaded("working_load = \"1190 N\"\n", "");
    let tension = of(&over, "rope-load", "section.riser");
    close(tension.value.value, LIFT_N, 1e-6);
    close(tension.limit.value, 1190.0, 1e-9);
    assert_eq!(tension.ruling, Ruling::Broken);
    let silent = loaded("", "");
    let why = why_unknown(&silent, "rope-load");
    assert!(why.contains("`working_load`"), "{why}");
    let asks = |limit: &str| format!("\n[requirement.tension]\nthat = \"line-tension\"\n{limit}");
    let load = "working_load = \"1190 N\"\n";
    assert!(!is_there(&loaded(load, &asks("")), "rope-load"));
    assert!(is_there(
        &loaded(load, &asks("at_most = \"5 kN\"\n")),
        "rope-load"
    ));
}

/// The line pulls its anchor upwards by the lift less all weights.
#[test]
fn verif_an_anchor_that_is_lifted_is_broken_without_being_asked() {
    const WRITTEN: &str =
        "weight_in_water = \"2000 N\"\nholding_factor = 0.5\nsafety_factor = 1.5\n";
    let anchored = |says: &str, requirements: &str| {
        let text = still(requirements);
        assert!(text.contains(WRITTEN));
        judged(&text.replace(WRITTEN, says))
    };
    let up_n = LIFT_N - 180.0 - ROPE_N_M * LONG_M;
    for (says, value_n, ruling) in [
        ("weight_in_water = \"900 N\"\n", up_n, Ruling::Broken),
        (
            "weight_in_water = \"1200 N\"\nsafety_factor = 1.5\n",
            1.5 * up_n,
            Ruling::Broken,
        ),
        (
            "weight_in_water = \"1200 N\"\nholding = \"500 N\"\nsafety_factor = 1\n",
            up_n,
            Ruling::Met,
        ),
    ] {
        let check = anchored(says, "");
        let load = of(&check, "anchor-hold", "anchor.sinker");
        close(load.value.value, value_n, 1e-6);
        assert_eq!(load.ruling, ruling, "{says}");
    }
    // Once it holds, and nothing says how many times it must; of one that says nothing nothing is known.
    for (says, key) in [
        ("weight_in_water = \"1200 N\"\n", "`safety_factor`"),
        ("safety_factor = 1.5\n", "`holding`"),
        ("", "`holding`"),
    ] {
        let check = anchored(says, "");
        let why = why_unknown(&check, "anchor-hold");
        assert!(why.contains(key), "{says}: {why}");
    }
    let asks = "\n[requirement.anchor]\nthat = \"anchor-load\"\n";
    assert!(!is_there(&anchored(WRITTEN, asks), "anchor-hold"));
}

/// What a current pulls along the bed is held by nothing that a weight says, and what it lifts by nothing that a holding says: each alone is unknown, and broken where it is not
/// even enough for what it counts for.
#[test]
fn verif_an_anchor_is_not_held_by_half_of_what_it_must_hold() {
    const WRITTEN: &str =
        "weight_in_water = \"2000 N\"\nholding_factor = 0.5\nsafety_factor = 1.5\n";
    let asks = "\n[requirement.anchor]\nthat = \"anchor-load\"\nat_least = \"150 %\"\n";
    let anchored = |says: &str, requirements: &str| {
        let text = with_modules(requirements);
        assert!(text.contains(WRITTEN));
        judged(&text.replace(WRITTEN, says))
    };
    for (says, word, names) in [
        (
            "weight_in_water = \"20 kN\"\n",
            Word::Unknown,
            "holding_factor",
        ),
        ("weight_in_water = \"500 N\"\n", Word::Broken, "upwards"),
        ("holding = \"20 kN\"\n", Word::Unknown, "weight_in_water"),
        ("holding = \"10 N\"\n", Word::Broken, "along the bed"),
        (
            "weight_in_water = \"20 kN\"\nholding = \"20 kN\"\nsafety_factor = 1.5\n",
            Word::Met,
            "",
        ),
    ] {
        for (id, requirements) in [("anchor-hold", ""), ("anchor", asks)] {
            let check = anchored(says, requirements);
            let found = requirement(&check, id);
            assert_eq!(found.word(), word, "{id}, {says}: {found:?}");
            let why = found.verdicts[0].why();
            assert!(why.contains(names), "{id}, {says}: {why}");
        }
    }
}

/// Two floats on one anchor, in still water: 500 N less 80 m of 0.1 N/m and a module of 20 N, and 800 N less 70 m of it, are 1265 N upwards, one and a half times 1897.5 N.
const TWO: &str = r#"weight_in_water = "2500 N"
holding_factor = 0.5
safety_factor = 1.5
[float.one]
buoyancy = "500 N"
cd_a = "0.06 m2"
[float.two]
buoyancy = "800 N"
cd_a = "0.06 m2"
[section.one]
from = "float.one"
to = "anchor.sinker"
length = "80 m"
rope = "part.rope"
[section.two]
from = "float.two"
to = "anchor.sinker"
length = "70 m"
rope = "part.rope"
[part.rope]
is = "rope"
diameter = "8 mm"
weight_in_water = "0.1 N/m"
stiffness = "300 kN"
normal_drag = 1.3
tangential_drag = 0.02
[module.m]
position = { section = "section.one", from_anchor = "60 m" }
housing = { rated_depth = "200 m", weight_in_water = "20 N", cd_a = "0.02 m2" }
[span.down]
from = "module.buoy"
to = "module.m"
length = "200 m"
conductor = "1.0 mm2 class 5"
contacts = { mated_pins_in_loop = 4, resistance = "8 mohm" }
[case.slack]
[requirement.anchor]
that = "anchor-load"
"#;

#[test]
fn verif_lines_of_one_anchor_pull_it_together() {
    let two = format!("{}{TWO}", crate::moored::head("two floats", 100.0, 1030.0));
    let with = |from: &str, to: &str| {
        assert!(two.contains(from), "{from}");
        two.replace(from, to)
    };
    let all = judged(&two);
    let held = known(&all, "anchor");
    close(held.value.value, 1.5 * 1265.0, 1e-6);
    assert_eq!(held.ruling, Ruling::Met);
    assert!(
        held.why
            .contains("of the lines of float.one, float.two together"),
        "{}",
        held.why
    );
    // Either alone is held by 1250 N.
    let light = with("2500 N", "1250 N");
    assert_eq!(known(&judged(&light), "anchor").ruling, Ruling::Broken);
    let standing = light.replace("[requirement.anchor]\nthat = \"anchor-load\"\n", "");
    let standing = judged(&standing);
    close(
        known(&standing, "anchor-hold").value.value,
        1.5 * 1265.0,
        1e-6,
    );
    let reserve = line_weight_reserve(&read(&light)).unwrap();
    for place in &reserve.places {
        let WeightReserve::None { why } = &place.reserve else {
            panic!("{place:?}");
        };
        assert!(why.contains("the anchor"), "{why}");
    }
    // Of a line without a shape it is not known what it adds; 708 N of the other are too much for 700 N without it.
    let lost = with(
        "buoyancy = \"800 N\"\ncd_a = \"0.06 m2\"\n",
        "buoyancy = \"800 N\"\n",
    );
    let why = judged(&lost);
    let why = why_unknown(&why, "anchor");
    assert!(why.contains("section.two") && why.contains("cd_a"), "{why}");
    let short = judged(&lost.replace("2500 N", "700 N"));
    let short = known(&short, "anchor");
    close(short.value.value, 1.5 * 472.0, 1e-6);
    assert_eq!(short.ruling, Ruling::Broken);
}

/// Two lines that are alike pull twice as much as one, along the bed too.
#[test]
fn verif_pulls_of_one_anchor_add_up_along_the_bed() {
    let flows = "[case.slack]\ncurrent = [{ depth = \"0 m\", speed = \"0.6 m/s\", towards = \"70 deg\" }]\n";
    let text = format!("{}{TWO}", crate::moored::head("two floats", 100.0, 1030.0));
    let text = text
        .replace("[case.slack]\n", flows)
        .replace("is = \"rope\"\n", "is = \"rope\"\nstrumming_drag = 2.0\n");
    let alike = text
        .replace("800 N", "500 N")
        .replace("70 m\"\nrope", "80 m\"\nrope")
        .replace(
            "weight_in_water = \"20 N\", cd_a = \"0.02 m2\"",
            "weight_in_water = \"0 N\", cd_a = \"0 m2\"",
        );
    let found = crate::moored::hung(&alike);
    let one = found.lines[0].as_ref().unwrap().anchor;
    let (level_n, up_n) = (
        one.horizontal_n.unwrap().value,
        one.vertical_n.unwrap().value,
    );
    assert!(level_n > 10.0, "{level_n}");
    let load = judged(&alike);
    close(
        known(&load, "anchor").value.value,
        2.0 * 1.5 * (up_n + level_n / 0.5),
        1e-3,
    );
}

/// 12 000 N in a hull that displaces 1025 kg/m3 x 9.80665 m/s2 x 1 m3.
#[test]
fn verif_a_buoy_that_sinks_by_itself_is_broken_and_can_be_mended() {
    let document = truth::json("mooring/scipy-lines.json");
    let text = plan_of(&document["lines"][4]["case"])
        .replace("weight = \"1000 N\"", "weight = \"12000 N\"");
    let check = judged(&text);
    let afloat = known(&check, "afloat");
    assert_eq!(afloat.ruling, Ruling::Broken);
    close(afloat.value.value, 1025.0 * 9.806_65 - 12_000.0, 1e-6);
    assert!(afloat.why.contains("sinks by itself"), "{}", afloat.why);
    let found = found(&text, "afloat");
    let lighter = setting(only(&found), "module.buoy.hull.weight");
    assert_eq!(lighter.word, Word::Met);
}

const ASKS_ALL: &str = "[requirement.voltage]\nthat = \"voltage\"\n";
const ASKS_EAR: &str = "[requirement.voltage]\nthat = \"voltage\"\nof = \"module.ear\"\n";

/// 60 V without resistance on an input that bears 56 V, beside a requirement on another module.
#[test]
fn verif_a_voltage_that_no_requirement_asks_for_is_held_to_the_input() {
    let higher = ("voltage = \"48 V\"", "voltage = \"60 V\"");
    let check = checked(&[higher, (ASKS_ALL, ASKS_EAR)]);
    let all = &requirement(&check, "input-voltage").verdicts;
    assert_eq!(all.len(), 1);
    let base = of(&check, "input-voltage", "module.base");
    close(base.value.value, 60.0, 1e-9);
    close(base.limit.value, 56.0, 1e-9);
    assert_eq!(base.ruling, Ruling::Broken);
    let none = checked(&[higher, (ASKS_ALL, "")]);
    assert_eq!(
        of(&none, "input-voltage", "module.ear").ruling,
        Ruling::Broken
    );
    assert!(!is_there(&checked(&[higher]), "input-voltage"));
    // A limit of its own that is wider than what the input bears leaves the input to be asked.
    let wide = format!("{ASKS_ALL}at_least = \"1 V\"\nat_most = \"99 V\"\n");
    assert!(is_there(
        &checked(&[higher, (ASKS_ALL, &wide)]),
        "input-voltage"
    ));
    let unsaid = checked(&[
        (
            "contacts = { mated_pins_in_loop = 0, resistance = \"0 ohm\" }\n",
            "",
        ),
        (ASKS_ALL, ""),
    ]);
    assert_eq!(requirement(&unsaid, "input-voltage").word(), Word::Unknown);
}

/// A remedy that takes a module no requirement names beyond what it bears says that it breaks that.
#[test]
fn verif_a_remedy_does_not_overload_what_no_requirement_names() {
    let text = crate::support::changed(&[
        (ASKS_ALL, &format!("{ASKS_EAR}at_least = \"58 V\"\n")),
        (
            "maximum = \"56 V\" }\nloads = { listening",
            "maximum = \"75 V\" }\nloads = { listening",
        ),
    ]);
    let found = found(&text, "voltage");
    let higher = setting(only(&found), "supply.bench.output.voltage");
    let breaks = higher.breaks.iter();
    let of_base = |(id, subject, word): &(String, String, Word)| {
        id == "input-voltage" && subject == "module.base" && *word == Word::Broken
    };
    assert!(breaks.clone().any(of_base), "{:?}", higher.breaks);
}

/// One load P behind R carries `Vs^2 / (4 R P)` of itself: of 31 W too little, of 28 W and 27 W less than a tenth more, so that 26 W are the first that mend.
#[test]
fn val_a_remedy_of_a_voltage_tells_what_the_line_then_carries() {
    let text = include_str!("two.toml").replace("25 W", "31 W");
    let found = found(&text, "voltage");
    let lighter = setting(only(&found), "module.far.loads.working");
    assert_eq!(lighter.word, Word::Met);
    let load_w: f64 = lighter.turned[0].to.trim_end_matches(" W").parse().unwrap();
    let share = 48.0 * 48.0 / (4.0 * 20.0 * load_w);
    close(lighter.carries.unwrap(), share, 1e-6);
    assert!(share >= 1.1 && 48.0 * 48.0 / (4.0 * 20.0 * (load_w + 1.0)) < 1.1);
}

/// The same of `check` itself: at 28 W and 27 W the voltage is 8 V and more from its limit, and no more than marginal; the factor stands beside it.
#[test]
fn val_a_voltage_near_the_collapse_is_at_most_marginal() {
    let two = include_str!("two.toml");
    for (load_w, word) in [
        (28.0, Word::Marginal),
        (27.0, Word::Marginal),
        (26.0, Word::Met),
    ] {
        let check = check(
            &read(&two.replace("25 W", &format!("{load_w} W"))),
            &Shelf::default(),
        );
        let voltage = check
            .requirements
            .iter()
            .find(|j| j.id == "voltage")
            .unwrap();
        assert_eq!(voltage.word(), word, "{load_w} W: {:?}", voltage.verdicts);
        for verdict in &voltage.verdicts {
            let Verdict::Known(known) = verdict else {
                panic!("{verdict:?}");
            };
            let share = 48.0 * 48.0 / (4.0 * 20.0 * load_w);
            close(known.collapse_factor.unwrap(), share, 1e-6);
            assert_eq!(
                known.why.contains("before it collapses"),
                word == Word::Marginal,
                "{}",
                known.why
            );
        }
    }
}
