//! What a line carries while its modules boot (`reference/power/scipy-boots-together.csv`), and when its hydrophones listen.

use std::fmt::Write as _;

use assess::{Check, Known, RemedyAsk, Shelf, Verdict, Word, remedies};
use plan::Reading;

use super::judged;
use crate::support::{close, read};

/// Of the four modules in a row.
struct Row<'a> {
    degc: &'a str,
    first_ohm: &'a str,
    through_ohm: &'a str,
    /// Four pins of a fourth of it, aged; new they have none.
    contact_ohm: f64,
    /// When each wakes, s.
    wakes_s: [f64; 4],
    passes: &'a str,
    more: &'a str,
}

const LOCKED: &str = ", lock_out = { on = \"16 V\", off = \"10 V\" }";

fn written(row: &Row<'_>) -> String {
    let mut text = format!(
        "format = 1
[deployment]
name = \"Four in a row\"
start = 2027-01-01
duration = \"1 d\"
[site]
latitude = \"50 deg\"
longitude = \"0 deg\"
water_depth = \"160 m\"
profile = [{{ depth = \"0 m\", temperature = \"{} degC\", salinity = 35 }}]
[supply.boost]
at = \"module.buoy\"
kind = \"bench\"
output = {{ voltage = \"24 V\", resistance = \"0.3 ohm\", current_limit = \"100 A\" }}
[module.buoy]
position = {{ depth = \"0 m\" }}
passes = {{ power = \"always\", data = \"always\" }}
through = {{ resistance = \"{} ohm\" }}
{}
",
        row.degc, row.first_ohm, row.more
    );
    let mut before = "buoy".to_owned();
    for (k, metres) in [30, 40, 40, 40].iter().enumerate() {
        let aged_mohm = 250.0 * row.contact_ohm;
        let wakes = match row.wakes_s[k] {
            0.0 => String::new(),
            s => format!("wakes_after = \"{s} s\""),
        };
        let _ = writeln!(
            text,
            "[module.m{k}]
position = {{ depth = \"{} m\" }}
input = {{ minimum = \"9 V\", maximum = \"36 V\"{LOCKED} }}
loads = {{ listening = \"0.95 W\" }}
boot = {{ time = \"25 s\", power = \"6.5 W\" }}
passes = {{ power = \"{}\", data = \"running\" }}
through = {{ resistance = \"{} ohm\" }}
{wakes}
[module.m{k}.sensor.ear]
kind = \"hydrophone\"
sensitivity = \"-170 dB re 1 V/uPa\"
gain = \"20 dB\"
adc = {{ full_scale = \"2.5 V\", bits = 16, rate = \"4 kHz\" }}
settles_in = \"{} s\"
[span.s{k}]
from = \"module.{before}\"
to = \"module.m{k}\"
length = \"{metres} m\"
conductor = \"0.75 mm2 class 5\"
contacts = {{ mated_pins_in_loop = 4, resistance = \"0 ohm\", aged = \"{aged_mohm} mohm\" }}",
            30 * (k + 1),
            row.passes,
            row.through_ohm,
            20 - k,
        );
        before = format!("m{k}");
    }
    text
}

fn four(row: &Row<'_>) -> Reading {
    let reading = read(&written(row));
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    reading
}

fn plain<'a>() -> Row<'a> {
    Row {
        degc: "9",
        first_ohm: "0",
        through_ohm: "0.6",
        contact_ohm: 0.32,
        wakes_s: [0.0; 4],
        passes: "always",
        more: "",
    }
}

fn known(verdict: &Verdict) -> &Known {
    match verdict {
        Verdict::Known(known) => known,
        other => panic!("{} is not known: {}", other.subject(), other.why()),
    }
}

fn carried(check: &Check) -> &Verdict {
    let all = check.standing.iter();
    let mut own = all.filter(|j| j.id == "boots-carried");
    let judged = own.next().unwrap();
    assert_eq!(judged.verdicts.len(), 1);
    &judged.verdicts[0]
}

/// The least share of some patterns in a row of the reference.
fn least(rows: &[Vec<String>], of: [&str; 4], patterns: &[&str]) -> f64 {
    let found: Vec<f64> = rows
        .iter()
        .filter(|r| {
            (0..4).all(|k| truth::number(&r[k]) == truth::number(of[k]))
                && patterns.contains(&r[4].as_str())
        })
        .map(|r| truth::number(&r[5]))
        .collect();
    assert_eq!(found.len(), patterns.len());
    found.into_iter().fold(f64::INFINITY, f64::min)
}

/// SciPy, the largest factor with an operating point: all at once, two and two from either end, one by one, and by modules that pass power when they have booted.
#[test]
fn val_what_a_line_carries_while_it_boots() {
    let rows = truth::rows("power/scipy-boots-together.csv");
    let one_by_one = ["booo", "rboo", "rrbo", "rrrb"];
    let mut broken = 0;
    for all in rows.iter().filter(|r| r[4] == "bbbb") {
        let of = [&all[0], &all[1], &all[2], &all[3]].map(String::as_str);
        let base = Row {
            degc: of[0],
            first_ohm: of[1],
            through_ohm: of[2],
            contact_ohm: truth::number(of[3]),
            ..plain()
        };
        let ways: [(&[&str], [f64; 4], &str); 5] = [
            (&["bbbb"], [0.0; 4], "always"),
            (&["bboo", "rrbb"], [0.0, 0.0, 25.0, 25.0], "always"),
            (&["oobb", "bbrr"], [25.0, 25.0, 0.0, 0.0], "always"),
            (&one_by_one, [0.0, 25.0, 50.0, 75.0], "always"),
            (&one_by_one, [0.0; 4], "running"),
        ];
        for (patterns, wakes_s, passes) in ways {
            let expected = least(&rows, of, patterns);
            let check = judged(&four(&Row {
                wakes_s,
                passes,
                ..base
            }));
            let found = known(carried(&check));
            close(found.value.value, 100.0 * expected, 1e-4);
            let word = match expected {
                ..1.0 => Word::Broken,
                1.0..1.1 => Word::Marginal,
                _ => Word::Met,
            };
            assert_eq!(carried(&check).word(), word, "{of:?} {patterns:?}");
            broken += usize::from(word == Word::Broken);
        }
    }
    // Four at once, with the ohms of the modules: with aged contacts in the way of the last, and with new ones too where a resistance lies before each and the water is warm.
    assert_eq!(broken, 5);
}

/// The line that runs without its through-resistances and has no operating point with them: found by `check` alone, with the ohms and what helps.
#[test]
fn val_the_ohms_that_take_the_operating_point_are_told() {
    let check = judged(&four(&plain()));
    assert_eq!(carried(&check).word(), Word::Broken);
    let why = carried(&check).why().to_owned();
    // 0.3 + 3 x 0.6 + 4 x 0.32 ohm and 150 m of loop at 2 x 26 x 0.95677 ohm/km.
    let ohm = 0.3 + 1.8 + 1.28 + 0.150 * 52.0 * (1.0 - 11.0 * 0.00393);
    for part in [
        "while module.m0, module.m1, module.m2 and module.m3 boot at once with aged contacts the line carries this of what is drawn, so that it has no operating point".to_owned(),
        format!("{ohm:.2} ohm lie before module.m3"),
        "1.80 ohm of ways through modules, 1.28 ohm of contacts, 0.30 ohm of the supply".to_owned(),
        format!("no more than {:.2} W arrive", 576.0 / 4.0 / ohm),
        "without the through-resistance of its modules it would carry 114.3 %".to_owned(),
        "with new contacts it carries 112.5 %".to_owned(),
        "1 mm2 in span.s3".to_owned(),
        "with boots staggered it would carry 121.2 %: give module.m2 `wakes_after = \"27 s\"` and module.m3 `wakes_after = \"27 s\"`".to_owned(),
    ] {
        assert!(why.contains(&part), "{part}\n{why}");
    }
    assert!(!why.contains("lock_out"), "{why}");
    let mended = four(&Row {
        wakes_s: [0.0, 0.0, 25.0, 25.0],
        ..plain()
    });
    let check = judged(&mended);
    close(known(carried(&check)).value.value, 121.2101019, 1e-4);
    let without = Row {
        through_ohm: "0",
        ..plain()
    };
    assert_eq!(carried(&judged(&four(&without))).word(), Word::Met);
}

/// A requirement on the voltage asks for every set of states, also that all restart at once: the delays that cure the boots leave it as it is, and the check says so with the value that it has once
/// they are written.
#[test]
fn verif_a_staggering_that_leaves_the_voltage_broken_says_so() {
    let volts = Row {
        more: "[requirement.volts]\nthat = \"voltage\"",
        ..plain()
    };
    let why = carried(&judged(&four(&volts))).why().to_owned();
    assert!(
        why.contains("that cures the boots alone, and with it stays broken: `volts` ("),
        "{why}"
    );
    let written = judged(&four(&Row {
        wakes_s: [0.0, 0.0, 27.0, 27.0],
        ..volts
    }));
    assert_ne!(carried(&written).word(), Word::Broken);
    let own = written
        .requirements
        .iter()
        .find(|j| j.id == "volts")
        .unwrap();
    assert_eq!(own.word(), Word::Broken);
    // `remedy` says the same of the staggering that it finds.
    let text = self::written(&volts);
    let fetch = |_: &std::path::Path| Ok(text.as_bytes().to_vec());
    let ask = RemedyAsk {
        requirement: Some("boots-carried".to_owned()),
        threads: 1,
    };
    let path = std::path::Path::new("plan.toml");
    let shelf = Shelf::default();
    let found = remedies(path, &read(&text), &shelf, &fetch, &ask, &|_, _| true).unwrap();
    let staggers = |r: &&assess::Remedy| r.turned.iter().all(|t| t.path.ends_with("wakes_after"));
    let remedy = found.mended[0].remedies.iter().find(staggers).unwrap();
    assert!(
        remedy.stays_broken.contains(&"volts".to_owned()),
        "{:?}",
        remedy.stays_broken
    );
    // Without the requirement nothing stays broken, and nothing is said.
    let alone = carried(&judged(&four(&plain()))).why().to_owned();
    assert!(!alone.contains("stays broken"), "{alone}");
}

/// One resistance of 4 ohm before two modules of 20 W while they boot and 2 W once they have: both at once are more than 24^2 / 16 = 36 W. One after the other 22 W leave
/// `12 + sqrt(144 - 4 x 22)` = 19.48 V, less than an input of 20 V needs; of 19 V it is enough.
#[test]
fn val_a_staggering_at_which_a_voltage_is_too_low_says_so() {
    let told = |minimum: &str| {
        let mut text = "format = 1
[deployment]
name = \"Two beside each other\"
start = 2027-01-01
duration = \"1 d\"
[site]
latitude = \"50 deg\"
longitude = \"0 deg\"
water_depth = \"60 m\"
profile = [{ depth = \"0 m\", temperature = \"20 degC\", salinity = 35 }]
[supply.boost]
at = \"module.buoy\"
kind = \"bench\"
output = { voltage = \"24 V\", resistance = \"4 ohm\", current_limit = \"20 A\" }
[module.buoy]
position = { depth = \"0 m\" }
passes = { power = \"always\", data = \"always\" }
through = { resistance = \"0 ohm\" }
"
        .to_owned();
        for k in 0..2 {
            let _ = writeln!(
                text,
                "[module.m{k}]
position = {{ depth = \"10 m\" }}
input = {{ minimum = \"{minimum}\", maximum = \"36 V\", lock_out = {{ on = \"21 V\", off = \"{minimum}\" }} }}
loads = {{ listening = \"2 W\" }}
boot = {{ time = \"10 s\", power = \"20 W\" }}
passes = {{ power = \"never\", data = \"never\" }}
through = {{ resistance = \"0 ohm\" }}
[span.s{k}]
from = \"module.buoy\"
to = \"module.m{k}\"
length = \"10 m\"
conductor = \"50 mm2 class 5\"
contacts = {{ mated_pins_in_loop = 0, resistance = \"0 ohm\" }}"
            );
        }
        let reading = read(&text);
        assert!(!reading.has_errors(), "{:?}", reading.mistakes);
        carried(&judged(&reading)).why().to_owned()
    };
    let v = 12.0 + f64::sqrt(144.0 - 4.0 * 22.0);
    let why = told("20 V");
    assert!(
        why.contains(&format!("has {v:.2} V, and its input needs 20 V"))
            || why.contains(&format!("has {:.2} V, and its input needs 20 V", v - 0.01)),
        "{why}"
    );
    assert!(why.contains("10.5 s after power comes"), "{why}");
    assert!(!told("19 V").contains("its input needs"));
}

/// Ohms that the bench has not: the boots say that the line runs there and which ohms the sea adds, and each of the two verdicts points to the other.
#[test]
fn verif_the_start_and_the_boots_point_to_each_other() {
    let with = Row {
        more: "[requirement.start]\nthat = \"start-up\"",
        ..plain()
    };
    let text = written(&with).replace(
        "maximum = \"36 V\"",
        "maximum = \"36 V\", capacitance = \"100 uF\"",
    );
    let reading = read(&text);
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    let check = judged(&reading);
    let why = carried(&check).why().to_owned();
    assert!(
        why.contains("it runs on the bench, with leads of 1 m and new contacts, and will not start in the sea: "),
        "{why}"
    );
    assert!(why.contains("`start` follows the start in time"), "{why}");
    // In time it comes up: with lock-outs after falls, without them as those below their lowest voltage draw less. Either way it points to the boots that are not carried at rest.
    for (text, word) in [
        (text.clone(), Word::Marginal),
        (text.replace(LOCKED, ""), Word::Met),
    ] {
        let check = judged(&read(&text));
        let start = check.requirements.iter().find(|j| j.id == "start").unwrap();
        assert_eq!(start.word(), word);
        let mut whys = start.verdicts.iter().map(Verdict::why);
        assert!(
            whys.any(|why| why.contains("`boots-carried`, which is broken")),
            "{start:?}"
        );
    }
    let alone = carried(&judged(&four(&plain()))).why().to_owned();
    assert!(alone.contains("`soundline start`"), "{alone}");
}

/// The staggering that the check names is tried as a remedy, and met; thicker conductors too.
#[test]
fn verif_the_remedies_name_staggering_and_conductors() {
    // Without lock-outs a delay needs one more key of each module.
    let text = written(&plain()).replace(LOCKED, "");
    let reading = read(&text);
    let fetch = |_: &std::path::Path| Ok(text.as_bytes().to_vec());
    let ask = RemedyAsk {
        requirement: Some("boots-carried".to_owned()),
        threads: 2,
    };
    let path = std::path::Path::new("plan.toml");
    let all = remedies(path, &reading, &Shelf::default(), &fetch, &ask, &|_, _| {
        true
    })
    .unwrap();
    let found = &all.mended[0].remedies;
    let sets = |path: &str| {
        let mut own = found
            .iter()
            .filter(|r| r.turned.iter().any(|t| t.path == path));
        own.next().map(|r| (r.turned.len(), r.word))
    };
    assert_eq!(
        sets("module.m3.wakes_after"),
        Some((4, Word::Met)),
        "{found:?}"
    );
    assert!(
        found
            .iter()
            .any(|r| r.turned.iter().all(|t| t.path.ends_with(".conductor")))
    );
}

fn ready(row: &Row<'_>) -> Vec<Verdict> {
    let check = judged(&four(row));
    let mut own = check.requirements.iter().filter(|j| j.id == "up");
    own.next().unwrap().verdicts.clone()
}

/// By hand: boots of 25 s, one after another or together, and chains that settle for 20, 19, 18 and 17 s.
#[test]
fn verif_the_last_hydrophone_listens_after_waits_boots_and_settling() {
    let asked = "[requirement.up]\nthat = \"ready-within\"\nat_most = \"118 s\"";
    let carried = Row {
        through_ohm: "0",
        more: asked,
        ..plain()
    };
    let told = |row: &Row<'_>| -> Vec<(String, f64, Word)> {
        let mut all: Vec<_> = ready(row)
            .iter()
            .map(|v| (v.subject().to_owned(), known(v).value.value, v.word()))
            .collect();
        all.sort_by(|a, b| a.0.cmp(&b.0));
        all
    };
    let ear = |k: usize| format!("module.m{k}.sensor.ear");
    let words = |row: &Row<'_>, expected: [(f64, Word); 4]| {
        let expected: Vec<_> = (0..4)
            .map(|k| (ear(k), expected[k].0, expected[k].1))
            .collect();
        assert_eq!(told(row), expected);
    };
    use Word::{Broken, Marginal, Met};
    words(
        &carried,
        [(45.0, Met), (44.0, Met), (43.0, Met), (42.0, Met)],
    );
    let in_turn = Row {
        passes: "running",
        ..carried
    };
    words(
        &in_turn,
        [(45.0, Met), (69.0, Met), (93.0, Met), (117.0, Met)],
    );
    let late = Row {
        passes: "running",
        wakes_s: [0.5, 0.0, 0.25, 0.0],
        ..carried
    };
    words(
        &late,
        [(45.5, Met), (69.5, Met), (93.75, Met), (117.75, Marginal)],
    );
    let later = Row {
        passes: "powered",
        wakes_s: [10.0, 30.0, 40.0, 1.0],
        ..carried
    };
    words(
        &later,
        [(55.0, Met), (84.0, Met), (123.0, Broken), (123.0, Broken)],
    );
    let one = "[requirement.up]\nthat = \"ready-within\"\nat_most = \"118 s\"\nof = \"module.m1.sensor.ear\"";
    assert_eq!(
        told(&Row {
            more: one,
            ..carried
        }),
        [(ear(1), 44.0, Met)]
    );
}

#[test]
fn verif_what_is_not_carried_or_not_said_is_never_ready() {
    let asked = "[requirement.up]\nthat = \"ready-within\"\nat_most = \"118 s\"";
    let not_carried = Row {
        more: asked,
        ..plain()
    };
    let verdicts = ready(&not_carried);
    assert_eq!(verdicts.len(), 1);
    assert_eq!(verdicts[0].word(), Word::Unknown);
    assert!(verdicts[0].why().contains("no operating point"));
    let row = Row {
        through_ohm: "0",
        more: asked,
        ..plain()
    };
    let text = |from: &str, to: &str| {
        let whole = written(&row);
        assert!(whole.contains(from));
        judged(&read(&whole.replacen(from, to, 1)))
    };
    let of = |check: &Check, what: &str| {
        let own = check.requirements.iter().find(|j| j.id == "up").unwrap();
        let mut unknown = own
            .verdicts
            .iter()
            .filter(|v| v.word() == Word::Unknown && v.why().contains(what));
        assert!(unknown.next().is_some(), "{:?}", own.verdicts);
    };
    of(&text("settles_in = \"18 s\"\n", ""), "`settles_in`");
    let silent = text("boot = { time = \"25 s\", power = \"6.5 W\" }\n", "");
    of(&silent, "module.m0 says nothing of its boot");
    let mut standing = silent.standing.iter();
    let carried = standing.find(|j| j.id == "boots-carried").unwrap();
    assert_eq!(carried.word(), Word::Unknown);
    let why = carried.verdicts[0].why();
    assert!(why.contains("module.m0 says nothing of its boot"), "{why}");
}
