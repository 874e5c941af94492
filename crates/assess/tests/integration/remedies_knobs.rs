//! Keys that remedies turn, each in a plan in which it is what mends: the figure against a closed form or records by hand, the change as it is written into the plan,
//! and values just short of it and just beyond.

use assess::{HeardCounts, Mended, Remedy, Shelf, Verdict, Word, check};
use plan::splice;

use crate::moored::head;
use crate::remedies::{found, found_on, only, setting};
use crate::support::{PLAN, changed, close, read, requirement};
use crate::tuned::{DAY_S, FIGURES, shelf_of, tuning_of};

/// So much of a value is left off, or put on, to stand just short of it or just beyond.
const HAIR: f64 = 0.02;

/// The word of a requirement, and the value of its worst verdict, with a key set.
#[track_caller]
fn with(text: &str, id: &str, path: &str, value: &str) -> (Word, f64) {
    let edit = read(text).set(path, value).unwrap();
    let text = splice(text, &[edit]).unwrap();
    let reading = read(&text);
    assert!(!reading.has_errors(), "{value}: {:?}", reading.mistakes);
    let check = check(&reading, &Shelf::default());
    let judged = requirement(&check, id);
    let known = judged.verdicts.iter().find_map(|v| match v {
        Verdict::Known(known) => Some(known.value.value),
        Verdict::Unknown { .. } | Verdict::Provisional(_) => None,
    });
    (judged.word(), known.unwrap())
}

/// A remedy of one key: that it is told as `to`, that its text holds it and does what is told, and that 2 % less of the value, towards what is written now, does not mend
/// while 2 % more does.
#[track_caller]
fn smallest(text: &str, id: &str, path: &str, to: &str) -> Remedy {
    let found = found(text, id);
    let remedy = setting(only(&found), path).clone();
    assert_eq!(remedy.turned[0].to, to);
    assert_eq!(remedy.word, Word::Met);
    assert!(remedy.text.contains(&format!("\"{to}\"")));
    let applied = check(&read(&remedy.text), &Shelf::default());
    let judged = requirement(&applied, id);
    assert_eq!(judged.word(), Word::Met);
    assert!(judged.verdicts.contains(&remedy.verdict));
    let number = |of: &str| -> (f64, String) {
        let (value, unit) = of.split_once(' ').unwrap();
        (value.parse().unwrap(), unit.to_owned())
    };
    let (now, _) = number(remedy.turned[0].from.as_ref().unwrap());
    let (then, unit) = number(to);
    let way = if then > now { 1.0 } else { -1.0 };
    let at = |share: f64| format!("{} {unit}", then * (1.0 + share * way));
    let (short, _) = with(text, id, path, &at(-HAIR));
    assert_ne!(short, Word::Met, "{} mends too", at(-HAIR));
    let (beyond, _) = with(text, id, path, &at(HAIR));
    assert_eq!(beyond, Word::Met, "{} does not mend", at(HAIR));
    remedy
}

fn value(remedy: &Remedy) -> f64 {
    match &remedy.verdict {
        Verdict::Known(known) => known.value.value,
        other => panic!("it is known: {other:?}"),
    }
}

const ROPE: &str = "[part.line]\nis = \"rope\"\ndiameter = \"10 mm\"\nweight_in_water = \"1 N/m\"\nstiffness = \"1e13 N\"\nnormal_drag = 1.2\ntangential_drag = 0.01\n";

/// A line of 40 m of 1 N/m below a float of 900 N in 100 m of still water, with a weight of 100 N; its anchor weighs 800 N and must hold 1.5 times its load.
fn floats(asks: &str) -> String {
    let head = head("a line that stands", 100.0, 1025.0);
    format!(
        r#"{head}weight_in_water = "800 N"
holding_factor = 0.5
safety_factor = 1.5
{ROPE}[section.riser]
from = "float.top"
to = "anchor.sinker"
length = "40 m"
rope = "part.line"
[float.top]
buoyancy = "900 N"
cd_a = "0.1 m2"
[weight.clump]
position = {{ section = "section.riser", from_anchor = "5 m" }}
weight_in_water = "100 N"
cd_a = "0.01 m2"
[module.ear]
position = {{ section = "section.riser", from_top = "10 m" }}
housing = {{ rated_depth = "200 m", weight_in_water = "20 N", cd_a = "0.05 m2" }}
[span.ear]
from = "module.buoy"
to = "module.ear"
length = "300 m"
conductor = "1.0 mm2 class 5"
contacts = {{ mated_pins_in_loop = 4, resistance = "8 mohm" }}
[case.still]
{asks}"#
    )
}

/// The line stands upright, so that what is 10 m below its top lies 110 m less the length of the section deep; less than a metre over the limit is marginal.
#[test]
fn verif_the_smallest_length_of_a_section_is_that_of_a_line_upright() {
    let text = floats(
        "[requirement.shallow]\nthat = \"module-depth\"\nof = \"module.ear\"\nat_most = \"45.5 m\"\n",
    );
    let wanted = (41..80).find(|l| 110.0 - f64::from(*l) <= 44.5).unwrap();
    let remedy = smallest(
        &text,
        "shallow",
        "section.riser.length",
        &format!("{wanted} m"),
    );
    close(value(&remedy), 110.0 - f64::from(wanted), 1e-6);
}

/// What hangs on an anchor in still water is the buoyancy less all weights, 900 - 100 - 40 - 20 N; 1.5 times that must stay 100 N below the 800 N that hold it.
#[test]
fn verif_the_smallest_weight_and_buoyancy_are_those_of_the_sum_of_forces() {
    let text = floats("[requirement.held]\nthat = \"anchor-load\"\n");
    let asked_n = |buoyancy_n: f64, weight_n: f64| 1.5 * (buoyancy_n - weight_n - 60.0);
    let (_, now_n) = with(&text, "held", "weight.clump.weight_in_water", "100 N");
    close(now_n, asked_n(900.0, 100.0), 1e-4);
    let heavier = (11..100).map(|n| 10.0 * f64::from(n));
    let heavier = heavier.into_iter().find(|w| asked_n(900.0, *w) <= 700.0);
    let heavier = heavier.unwrap();
    let remedy = smallest(
        &text,
        "held",
        "weight.clump.weight_in_water",
        &format!("{heavier} N"),
    );
    close(value(&remedy), asked_n(900.0, heavier), 1e-4);
    let lighter = (10..90).rev().map(|n| 10.0 * f64::from(n));
    let lighter = lighter.into_iter().find(|b| asked_n(*b, 100.0) <= 700.0);
    let lighter = lighter.unwrap();
    let remedy = smallest(&text, "held", "float.top.buoyancy", &format!("{lighter} N"));
    close(value(&remedy), asked_n(lighter, 100.0), 1e-4);
}

/// A buoy of 0.2 m2 and 1 m lifts 1025 kg/m3 x 9.80665 m/s2 x 0.2 m3; itself, 100 m of rope in still water and the weight must leave 100 N of it.
#[test]
fn verif_the_smallest_relief_of_a_buoy_is_that_of_its_buoyancy() {
    let head = head("a buoy with a clump", 100.0, 1025.0);
    let text = format!(
        r#"{head}{ROPE}[section.riser]
from = "module.buoy"
to = "anchor.sinker"
length = "120 m"
rope = "part.line"
[module.buoy.hull]
weight = "1000 N"
waterplane = "0.2 m2"
full_draught = "1 m"
cd_a_water = "0.1 m2"
cd_a_wind = "0.1 m2"
[weight.clump]
position = {{ section = "section.riser", from_anchor = "60 m" }}
weight_in_water = "950 N"
cd_a = "0.01 m2"
[case.still]
"#
    );
    let left_n = |weight_n: f64| 1025.0 * 9.80665 * 0.2 - 1000.0 - 100.0 - weight_n;
    assert!(left_n(950.0) < 0.0);
    let wanted = (10..95).rev().map(|n| 10.0 * f64::from(n));
    let wanted = wanted.into_iter().find(|w| left_n(*w) >= 100.0).unwrap();
    let remedy = smallest(
        &text,
        "afloat",
        "weight.clump.weight_in_water",
        &format!("{wanted} N"),
    );
    close(value(&remedy), left_n(wanted), 1e-3);
}

/// Panels come in steps of 5 W: the smallest that keeps the battery charged is told, and the one below it leaves the requirement unmet. What is told is what a check of
/// the changed plan finds.
#[test]
fn verif_the_smallest_panel_is_the_first_that_keeps_the_battery() {
    let text = changed(&[
        (
            "kind = \"bench\"",
            "kind = \"solar-battery\"\npanels = { peak_power_each = \"20 W\", tilt = \"60 deg\", faces = 4, loss = \"15 %\" }\nbattery = { chemistry = \"lifepo4\", capacity = \"60 Ah\", voltage = \"12.8 V\" }",
        ),
        (
            "shipping = 0.2",
            "shipping = 0.2\nclearness = [0.34, 0.38, 0.42, 0.45, 0.47, 0.46, 0.43, 0.42, 0.41, 0.37, 0.33, 0.31]",
        ),
        (
            "[requirement.voltage]\n",
            "[requirement.winter]\nthat = \"outage-hours\"\nat_most = \"100 h\"\nshare = \"80 %\"\nconfidence = \"90 %\"\n\n[requirement.voltage]\n",
        ),
    ]);
    let found = found(&text, "winter");
    let remedy = setting(only(&found), "supply.bench.panels.peak_power_each");
    let told_w: f64 = remedy.turned[0].to.trim_end_matches(" W").parse().unwrap();
    assert!(told_w > 20.0 && told_w % 5.0 == 0.0, "{told_w} W");
    let path = "supply.bench.panels.peak_power_each";
    let mut words = Vec::new();
    let mut w = 20.0;
    while w <= told_w + 5.0 {
        words.push((w, with(&text, "winter", path, &format!("{w} W"))));
        w += 5.0;
    }
    for (w, (word, _)) in &words {
        assert_eq!(*word == Word::Met, *w >= told_w, "{w} W: {words:?}");
    }
    let hours = |at_w: f64| words.iter().find(|(w, _)| *w == at_w).unwrap().1.1;
    close(value(remedy), hours(told_w), 0.0);
    assert!(hours(20.0) > 100.0);
}

/// The plan with both levels of its trigger so much higher.
fn raised(requirements: &str, by_db: i32) -> String {
    format!("{PLAN}\n{requirements}")
        .replace(
            "on_above = \"8 dB\"",
            &format!("on_above = \"{} dB\"", 8 + by_db),
        )
        .replace(
            "off_below = \"5 dB\"",
            &format!("off_below = \"{} dB\"", 5 + by_db),
        )
}

/// A shelf with what came of the detector at thresholds so much higher: hits, labels, false alarms and days.
fn shelf(requirements: &str, records: &[(i32, u64, u64, u64, f64)]) -> Shelf {
    let tuned = |&(by_db, hits, labelled, false_alarms, days): &(i32, u64, u64, u64, f64)| {
        let line = read(&raised(requirements, by_db)).line.unwrap();
        tuning_of(&line, hits, labelled, false_alarms, days * DAY_S)
    };
    shelf_of(records.iter().map(tuned))
}

#[track_caller]
fn mended(text: &str, shelf: &Shelf, id: &str) -> Mended {
    only(&found_on(text, id, shelf)).clone()
}

/// The remedy that moves both levels of the trigger.
fn threshold(mended: &Mended) -> Option<&Remedy> {
    let paths = [
        "detector.call.stages[3].on_above",
        "detector.call.stages[3].off_below",
    ];
    let own = |r: &&Remedy| r.turned.iter().map(|t| t.path.as_str()).eq(paths);
    mended.remedies.iter().find(own)
}

/// A detector cries wolf 20 times a day, and has been held against its labels at three higher thresholds, not at those between. By hand with Clopper-Pearson and Garwood
/// (`tuned.rs`): 3 in 10 d show at most 0.8767 a day, which is met, and 95 of 100 at least 88.7 %, too; 60 of 100 show at most 69.7 %, which is broken.
#[test]
fn verif_a_threshold_is_moved_to_where_there_are_records_and_tells_misses_too() {
    let text = raised(FIGURES, 0);
    let records = [
        (0, 98, 100, 20, 1.0),
        (3, 97, 100, 15, 1.0),
        (6, 95, 100, 3, 10.0),
        (9, 60, 100, 0, 10.0),
    ];
    let all = shelf(FIGURES, &records);
    let tried = mended(&text, &all, "quiet");
    assert_eq!(tried.judged.word(), Word::Broken);
    let remedy = threshold(&tried).unwrap();
    let to: Vec<&str> = remedy.turned.iter().map(|t| t.to.as_str()).collect();
    assert_eq!(to, ["14 dB", "11 dB"]);
    assert_eq!(remedy.word, Word::Met);
    close(value(remedy), 0.8767, 1e-3);
    assert!(remedy.breaks.is_empty() && remedy.anew.is_empty());
    assert_eq!(remedy.text, raised(FIGURES, 6));
    let counts = |missed, false_alarms, days: f64| {
        Ok(vec![HeardCounts {
            labels: "day.csv".to_owned(),
            missed,
            labelled: 100,
            false_alarms,
            judged_s: days * DAY_S,
        }])
    };
    let [heard] = &remedy.heard[..] else {
        panic!("one detector: {:?}", remedy.heard)
    };
    assert_eq!(heard.detector, "detector.call");
    assert_eq!(heard.now, counts(2, 20, 1.0));
    assert_eq!(heard.then, counts(5, 3, 10.0));
    // Just short of it there is no record, and at the one below it cries as often.
    for (by_db, word) in [(5, Word::Unknown), (3, Word::Broken), (6, Word::Met)] {
        let check = check(&read(&raised(FIGURES, by_db)), &all);
        assert_eq!(requirement(&check, "quiet").word(), word, "{by_db} dB");
    }

    // With the record at 6 dB gone, the next that is quiet misses too much: it is told as a cure that breaks something else.
    let fewer = shelf(FIGURES, &[records[0], records[3]]);
    let tried = mended(&text, &fewer, "quiet");
    let remedy = threshold(&tried).unwrap();
    assert_eq!(remedy.turned[0].to, "17 dB");
    let breaks: Vec<&str> = remedy.breaks.iter().map(|b| b.0.as_str()).collect();
    let anew: Vec<&str> = remedy.anew.iter().map(String::as_str).collect();
    assert!(breaks.contains(&"finds"), "{breaks:?}, {anew:?}");
    assert_eq!(remedy.heard[0].then, counts(40, 0, 10.0));

    // With no record but its own nothing is known at any other threshold, so that none is a remedy.
    let own = shelf(FIGURES, &[records[0]]);
    let tried = mended(&text, &own, "quiet");
    assert!(threshold(&tried).is_none(), "{:?}", tried.remedies);
}

/// A plan that asks for false alarms alone gets the misses of the same records; one that asks for neither, and moves a threshold for another reason, is told that both are unknown.
#[test]
fn verif_misses_of_a_moved_threshold_are_told_or_unknown() {
    let quiet = format!(
        "[requirement.quiet]{}",
        FIGURES.split("[requirement.quiet]").nth(1).unwrap()
    );
    let both = shelf(&quiet, &[(0, 98, 100, 20, 1.0), (6, 40, 100, 3, 10.0)]);
    let tried = mended(&raised(&quiet, 0), &both, "quiet");
    let remedy = threshold(&tried).unwrap();
    let then = remedy.heard[0].then.as_ref().unwrap();
    assert_eq!((then[0].missed, then[0].labelled), (60, 100));

    // A flat 60 dB over 220 Hz comes to 83.4 dB, above a fixed threshold of 80 dB; 6 dB of clearance, and what is marginal over it, take a threshold some decibels higher.
    let text = changed(&[
        (
            "gain = \"20 dB\"",
            "gain = \"20 dB\"\nself_noise = [{ frequency = \"10 Hz\", level = \"60 dB re 1 uPa2/Hz\" }, { frequency = \"2 kHz\", level = \"60 dB re 1 uPa2/Hz\" }]",
        ),
        ("  { background = \"median\", over = \"10 s\" },\n", ""),
        ("on_above = \"8 dB\"", "on_above = \"80 dB re 1 uPa\""),
        ("off_below = \"5 dB\"", "off_below = \"77 dB re 1 uPa\""),
    ]);
    let tried = mended(&text, &Shelf::default(), "self-noise");
    let moves = |r: &&Remedy| r.turned[0].path.ends_with(".on_above") && r.turned.len() == 2;
    let remedy = tried.remedies.iter().find(moves).unwrap();
    let to_db: f64 = remedy.turned[0]
        .to
        .trim_end_matches(" dB re 1 uPa")
        .parse()
        .unwrap();
    let clear_db = to_db - 60.0 - 10.0 * 220_f64.log10();
    close(value(remedy), clear_db, 0.1);
    assert!((6.0..9.0).contains(&clear_db), "{to_db} dB");
    for heard in [&remedy.heard[0].now, &remedy.heard[0].then] {
        let why = heard.as_ref().unwrap_err();
        assert!(why.contains("says by which labels"), "{why}");
    }
}
