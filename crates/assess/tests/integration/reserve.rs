//! Exclusive groups, lock-outs, reserve and collapse factor against the closed form of one load at the end of one resistance:
//! 48 V over 20 ohm, `P = V (48 - V)/20`, at most 28.8 W.

use assess::input::Contacts;
use assess::{Check, Factor, Room, Ruling, Shelf, Word, check, line_reserve};

use crate::support::{close, known, read, requirement, why_unknown};

const TWO: &str = include_str!("two.toml");

fn reading(changes: &[(&str, &str)], more: &str) -> plan::Reading {
    let mut text = TWO.to_owned();
    for (from, to) in changes {
        assert!(text.contains(from), "`{from}` is not in the plan");
        text = text.replace(from, to);
    }
    let reading = read(&format!("{text}\n{more}"));
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    reading
}

#[track_caller]
fn two(changes: &[(&str, &str)], more: &str) -> Check {
    check(&reading(changes, more), &Shelf::default())
}

const OUTPUTS: &str = r#"
[module.far.output.lamp]
kind = "lamp"
power = "20 W"
[module.far.output.winch]
kind = "relay"
power = "22 W"
[requirement.collapse]
that = "collapse-factor"
at_least = "105 %"
[requirement.reserve]
that = "reserve"
of = "module.far"
at_least = "1 W"
"#;
const GROUP: &str = r#"
[exclusive.strong]
of = [{ output = "module.far.output.lamp" }, { output = "module.far.output.winch" }]
at_most = 1
"#;
const FIVE: (&str, &str) = ("working = \"25 W\"", "working = \"5 W\"");

/// 5 W, 20 W and 22 W together are 47 W, more than the line carries; one output at a time makes 27 W: 30 V, 0.9 A.
#[test]
fn val_what_cannot_be_at_once_does_not_count_at_once() {
    let alone = two(&[FIVE], OUTPUTS);
    assert_eq!(known(&alone, "voltage").ruling, Ruling::Broken);
    close(known(&alone, "voltage").value.value, 2880.0 / 47.0, 1e-6);
    let grouped = two(&[FIVE], &[OUTPUTS, GROUP].concat());
    let voltage = known(&grouped, "voltage");
    close(voltage.value.value, 30.0, 1e-8);
    assert!(
        voltage.why.contains("module.far working with winch on"),
        "{}",
        voltage.why
    );
    let supply = known(&grouped, "supply");
    close(supply.value.value, 0.9, 1e-9);
    assert!(supply.why.contains("winch on"), "{}", supply.why);
    assert!(!supply.why.contains("lamp"), "{}", supply.why);
    let collapse = known(&grouped, "collapse");
    close(collapse.value.value, 2880.0 / 27.0, 1e-7);
    assert!(collapse.why.contains("winch on"), "{}", collapse.why);
    assert_eq!(collapse.ruling, Ruling::Marginal);
    // Down to 28.8 W the module, whose lowest voltage is 20 V, does not come to it.
    let reserve = known(&grouped, "reserve");
    close(reserve.value.value, 1.8, 1e-8);
    assert!(
        reserve.why.contains("the line collapses"),
        "{}",
        reserve.why
    );
    assert!(reserve.why.contains("winch on"), "{}", reserve.why);
}

/// The boot of a module is in no group: 28 W of boot are worse than 27 W.
#[test]
fn val_a_boot_is_in_no_group() {
    let grouped = two(
        &[FIVE, ("power = \"5 W\"", "power = \"28 W\"")],
        &[OUTPUTS, GROUP].concat(),
    );
    let voltage = known(&grouped, "voltage");
    close(voltage.value.value, 28.0, 1e-8);
    assert!(voltage.why.contains("booting"), "{}", voltage.why);
}

/// 28 W sit at 28 V: a lock-out that opens at 30 V switches them off, one at 26 V does not (methods of power over long lines).
#[test]
fn val_a_lock_out_that_opens_is_broken_and_one_that_holds_is_not() {
    let with = |lock_out: &str| {
        two(
            &[
                ("25 W", "28 W"),
                (
                    "maximum = \"72 V\" }",
                    &format!("maximum = \"72 V\", lock_out = {lock_out} }}"),
                ),
            ],
            "",
        )
    };
    let opens = with("{ on = \"40 V\", off = \"30 V\" }");
    let voltage = known(&opens, "voltage");
    assert_eq!(voltage.ruling, Ruling::Broken);
    close(voltage.value.value, 28.0, 1e-8);
    close(voltage.limit.value, 30.0, 0.0);
    assert!(
        voltage.why.contains("lock-out switches it off"),
        "{}",
        voltage.why
    );
    // What lasts is the boot of 5 W.
    let boot_v = 24.0 + 0.5 * (48.0_f64 * 48.0 - 4.0 * 20.0 * 5.0).sqrt();
    close(known(&opens, "supply").value.value, 5.0 / boot_v, 1e-9);
    let holds = with("{ on = \"40 V\", off = \"26 V\" }");
    let voltage = known(&holds, "voltage");
    close(voltage.value.value, 28.0, 1e-8);
    close(voltage.limit.value, 20.0, 0.0);
    // 28 W of the 28.8 W that the line carries.
    assert_eq!(requirement(&holds, "voltage").word(), Word::Marginal);
}

/// A second module beside the first, on the same 20 ohm through a joint without resistance of its own: with 5 W of its own the far
/// one would see less than its lock-out bears and goes off; the second is judged where that leaves it.
#[test]
fn val_what_a_lock_out_sheds_does_not_weigh_on_the_others() {
    let second = r#"
[module.second]
position = { depth = "20 m" }
input = { minimum = "20 V", maximum = "72 V" }
loads = { working = "5 W" }
boot = { time = "1 s", power = "5 W" }
passes = { power = "never", data = "never" }
through = { resistance = "0 ohm" }
[span.beside]
from = "module.far"
to = "module.second"
length = "0.01 m"
conductor = "50 mm2 class 5"
contacts = { mated_pins_in_loop = 0, resistance = "0 ohm" }
"#;
    let check = two(
        &[
            ("25 W", "22.5 W"),
            (
                "passes = { power = \"never\", data = \"never\" }",
                "passes = { power = \"always\", data = \"always\" }",
            ),
            (
                "maximum = \"72 V\" }",
                "maximum = \"72 V\", lock_out = { on = \"40 V\", off = \"33 V\" } }",
            ),
        ],
        second,
    );
    // 22.5 W alone sit at 34.2 V, above 33 V; with 5 W more at 29.1 V, below.
    let at_v = |power_w: f64| 24.0 + 0.5 * (48.0_f64 * 48.0 - 80.0 * power_w).sqrt();
    let verdicts = &requirement(&check, "voltage").verdicts;
    let of = |subject: &str, word: &str| {
        verdicts
            .iter()
            .find_map(|v| match v {
                assess::Verdict::Known(k) if k.subject == subject && k.why.contains(word) => {
                    Some(k)
                }
                _ => None,
            })
            .unwrap_or_else(|| panic!("{subject}, {word}: {verdicts:?}"))
    };
    let far = of("module.far", "its lock-out switches it off");
    close(far.value.value, at_v(27.5), 1e-4);
    close(far.limit.value, 33.0, 0.0);
    assert_eq!(far.ruling, Ruling::Broken);
    // With both booting, 10 W, both hold; with the far one off the second has 5 W alone.
    let second = of("module.second", "over all sets");
    close(second.value.value, at_v(10.0), 1e-4);
    assert_eq!(second.ruling, Ruling::Met);
}

/// What binds: 27 W hold 30 V; 0.85 A go with 31 V and 26.35 W, 0.8 A with 32 V and 25.6 W.
#[test]
fn val_the_reserve_says_what_binds() {
    let reserve =
        "[requirement.reserve]\nthat = \"reserve\"\nof = \"module.far\"\nat_least = \"1 W\"\n";
    let check_case = |changes: &[(&str, &str)], power_w: f64, binds: &str| {
        let check = two(changes, reserve);
        let verdict = known(&check, "reserve");
        close(verdict.value.value, power_w, 1e-8);
        assert!(verdict.why.contains(binds), "{}", verdict.why);
    };
    let minimum = ("minimum = \"20 V\"", "minimum = \"30 V\"");
    check_case(
        &[minimum],
        2.0,
        "module.far comes to its lowest voltage, 30 V",
    );
    check_case(
        &[
            minimum,
            ("current_limit = \"5 A\"", "current_limit = \"0.85 A\""),
        ],
        1.35,
        "supply.bench comes to its current limit, 0.85 A",
    );
    check_case(
        &[
            minimum,
            (
                "conductor = \"1.0 mm2 class 5\"",
                "conductor = \"1.0 mm2 class 5\"\nrated_current = \"0.8 A\"",
            ),
        ],
        0.6,
        "span.cable comes to its rated current, 0.8 A",
    );
    let cable = "conductor = \"1.0 mm2 class 5\"";
    let limited = |by: &str| format!("{cable}\n{by}");
    let by_fuse = "span.cable comes to the rating of its fuse, 0.8 A";
    check_case(
        &[minimum, (cable, &limited("fuse = \"0.8 A\""))],
        0.6,
        by_fuse,
    );
    check_case(
        &[
            minimum,
            (
                cable,
                &limited("rated_current = \"0.85 A\"\nfuse = \"0.8 A\""),
            ),
        ],
        0.6,
        by_fuse,
    );
    let small = two(&[(cable, &limited("fuse = \"0.7 A\""))], reserve);
    let verdict = known(&small, "reserve");
    assert_eq!((verdict.ruling, verdict.value.value), (Ruling::Broken, 0.0));
    let already = "the fuse of span.cable carries 0.764 A already, above its 0.7 A";
    assert!(verdict.why.contains(already), "{}", verdict.why);
    check_case(&[], 3.8, "the line collapses");
    // 25 W sit at 32.7 V already.
    let below = two(&[("minimum = \"20 V\"", "minimum = \"33 V\"")], reserve);
    let verdict = known(&below, "reserve");
    assert_eq!((verdict.ruling, verdict.value.value), (Ruling::Broken, 0.0));
    assert!(verdict.why.contains("32.72 V already"), "{}", verdict.why);
}

#[test]
fn verif_what_the_plan_does_not_say_leaves_the_reserve_unknown() {
    let through =
        "passes = { power = \"always\", data = \"always\" }\nthrough = { resistance = \"0 ohm\" }";
    let check = two(
        &[(
            through,
            "passes = { power = \"always\", data = \"always\" }",
        )],
        "[requirement.reserve]\nthat = \"reserve\"\nat_least = \"1 W\"\n[requirement.collapse]\nthat = \"collapse-factor\"\nat_least = \"1\"\n",
    );
    for id in ["reserve", "collapse"] {
        assert!(why_unknown(&check, id).contains("through-resistance"));
    }
}

/// The boot may draw more than every state: while nothing is said of it, neither reserve nor collapse factor is known.
#[test]
fn verif_a_boot_of_which_nothing_is_said_leaves_the_reserve_unknown() {
    let check = two(
        &[("boot = { time = \"1 s\", power = \"5 W\" }\n", "")],
        "[requirement.reserve]\nthat = \"reserve\"\nat_least = \"1 W\"\n[requirement.collapse]\nthat = \"collapse-factor\"\nat_least = \"105 %\"\n",
    );
    for id in ["reserve", "collapse", "voltage", "supply"] {
        let why = why_unknown(&check, id);
        assert!(why.contains("module.far says nothing of its boot"), "{why}");
    }
}

/// The base holds 48 V up to 5 A; the far end takes 3.8 W more; the least factor is 28.8/25; the sets have theirs.
#[test]
fn val_what_a_line_has_in_hand() {
    let reading = reading(&[], "");
    let found = line_reserve(reading.line.as_ref().unwrap()).unwrap();
    let power_w = |path: &str, contacts: Contacts| {
        let row = |m: &&assess::ModuleReserve| m.path == path && m.contacts == contacts;
        match &found.modules.iter().find(row).unwrap().room {
            Room::Power { power_w, .. } => *power_w,
            other => panic!("{other:?}"),
        }
    };
    for contacts in [Contacts::New, Contacts::Aged] {
        close(power_w("module.far", contacts), 3.8, 1e-8);
        close(
            power_w("module.base", contacts),
            48.0 * (5.0 - 0.764_110_106),
            1e-6,
        );
    }
    assert_eq!(found.modules.len(), 4);
    assert_eq!(found.weakest.len(), 2);
    for set in &found.weakest {
        match set.factor {
            Factor::Share(share) => close(share, 1.152, 1e-8),
            ref other => panic!("{other:?}"),
        }
    }
    let idle = found.sets.iter().find(|s| s.name.starts_with("no load"));
    assert_eq!(idle.unwrap().factor, Factor::NoLoad);
    assert_eq!(found.sets.len(), 12);
}

/// Modules round a base, all alike but for the power of an output each, of which some may be on at the same time.
fn star(modules: usize, at_most: usize, requirements: &str) -> Check {
    let base = &TWO[..TWO.find("[module.far]").unwrap()];
    let mut text = base.replace(
        "resistance = \"0 ohm\", current",
        "resistance = \"1 ohm\", current",
    );
    let mut members = Vec::new();
    for m in 0..modules {
        let power_w = 1.0 + 0.1 * m as f64;
        text += &format!(
            r#"
[module.m{m}]
position = {{ depth = "20 m" }}
input = {{ minimum = "20 V", maximum = "72 V" }}
loads = {{ working = "1 W" }}
boot = {{ time = "1 s", power = "0.5 W" }}
passes = {{ power = "never", data = "never" }}
through = {{ resistance = "1 ohm" }}
[module.m{m}.output.o]
kind = "relay"
power = "{power_w:.1} W"
[span.c{m}]
from = "module.base"
to = "module.m{m}"
length = "100 m"
conductor = "1.0 mm2 class 5"
contacts = {{ mated_pins_in_loop = 1, resistance = "16.1 ohm", aged = "16.1 ohm" }}
"#
        );
        members.push(format!("{{ output = \"module.m{m}.output.o\" }}"));
    }
    text += &format!(
        "[exclusive.some]\nof = [{}]\nat_most = {at_most}\n{requirements}",
        members.join(", ")
    );
    let reading = read(&text);
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    check(&reading, &Shelf::default())
}

/// The outputs that draw most are on: the last three of six, of 1.4, 1.5 and 1.6 W here, and where they hang makes no difference.
#[test]
fn verif_of_many_like_modules_the_worst_is_found() {
    let reserve =
        "[requirement.reserve]\nthat = \"reserve\"\nof = \"module.m0\"\nat_least = \"1 W\"\n";
    let check = star(6, 3, reserve);
    let verdict = known(&check, "reserve");
    assert!(verdict.why.contains("m5"), "{}", verdict.why);
}

/// What would take minutes to search is told as unknown, with what helps.
#[test]
fn verif_a_search_without_end_is_given_up() {
    let asked = "[requirement.reserve]\nthat = \"reserve\"\nof = \"module.m0\"\nat_least = \"1 W\"\n[requirement.collapse]\nthat = \"collapse-factor\"\nat_least = \"105 %\"\n";
    let check = star(24, 12, asked);
    for id in ["reserve", "collapse"] {
        let why = why_unknown(&check, id);
        assert!(
            why.contains("operating points") && why.contains("exclusive groups"),
            "{why}"
        );
    }
}

/// The shipped bench: 24 V behind 0.1 ohm bears `24^2/(4 x 0.1)` = 1440 W, of which 1 W is drawn.
#[test]
fn val_the_listening_bench_bears_the_closed_form() {
    let file = concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/../../plans/listening-bench/plan.toml"
    );
    let reading = assess::read(std::path::Path::new(file), &plan::from_disk);
    let found = line_reserve(reading.line.as_ref().unwrap()).unwrap();
    assert_eq!((found.unknowns.len(), found.weakest.len()), (0, 2));
    for set in &found.weakest {
        match set.factor {
            Factor::Share(share) => close(share, 1440.0, 1e-6),
            ref other => panic!("{other:?}"),
        }
    }
    for row in &found.modules {
        match row.room {
            Room::Power { power_w, .. } => close(power_w, 1439.0, 1e-6),
            ref other => panic!("{other:?}"),
        }
    }
}
