//! What a memo holds changes no verdict, and a changed field has only that computed anew which reads it.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use assess::{Check, Memo, Ruling, Runs, Shelf, Status, Tier, Verdict, Word, check_with};
use assess::{PlaceAsk, RemedyAsk, Talk, places_with, remedies_with};
use chance::Stream;
use plan::{Reading, splice};

/// Every example but one of four hydrophones over hundreds of years, which takes as long as all others.
const PLANS: [&str; 13] = [
    "harrow-sound",
    "cold-wake",
    "gannet-stack",
    "kelp-gate",
    "kestrel-piles",
    "listening-bench",
    "long-reach",
    "petrel-bank",
    "pile-watch",
    "reef-light",
    "sill-window",
    "silt-hollow",
    "strike-tally",
];

struct Example {
    path: PathBuf,
    text: String,
    memo: Memo,
}

impl Example {
    fn of(name: &str) -> Example {
        let path = truth::in_repository(&format!("plans/{name}/plan.toml"));
        Example {
            text: std::fs::read_to_string(&path).unwrap(),
            path,
            memo: Memo::new(),
        }
    }

    fn read(&self, text: &str) -> Reading {
        let beside = plan::from_folder_of(&self.path);
        assess::read(&self.path, &|wanted: &Path| match wanted == self.path {
            true => Ok(text.as_bytes().to_vec()),
            false => beside(wanted),
        })
    }

    /// The plan with a key set.
    fn with(&self, key: &str, value: &str) -> String {
        let edit = self.read(&self.text).set(key, value).unwrap();
        splice(&self.text, &[edit]).unwrap()
    }

    /// What a check of a text does, and what it finds, beyond what is kept of the checks before it.
    fn runs(&self, text: &str) -> BTreeMap<&'static str, Runs> {
        let before = self.memo.runs();
        let reading = self.read(text);
        assert!(!reading.has_errors(), "{:?}", reading.mistakes);
        let check = check_with(&reading, &Shelf::default(), &self.memo, Tier::Full);
        assert_eq!(check, alone(&reading));
        let mut runs = self.memo.runs();
        for (name, runs) in &mut runs {
            let was = before.get(name).copied().unwrap_or_default();
            runs.done -= was.done;
            runs.found -= was.found;
        }
        runs
    }
}

/// The check with nothing kept.
fn alone(reading: &Reading) -> Check {
    check_with(reading, &Shelf::default(), &Memo::with_room(0), Tier::Full)
}

/// A number of the text, by its place among all that stand behind an `=`, made larger or smaller: a slip of the pen as well as a
/// change of mind, so that some of these plans have mistakes.
fn bent(text: &str, stream: &mut Stream) -> String {
    let digit = |i: usize| text.as_bytes()[i].is_ascii_digit();
    let starts: Vec<usize> = (1..text.len())
        .filter(|&i| {
            let before = text.as_bytes()[i - 1];
            if !digit(i) || !matches!(before, b'"' | b' ' | b'-' | b'[') {
                return false;
            }
            let line = &text[text[..i].rfind('\n').map_or(0, |n| n + 1)..i];
            line.contains('=') && !line.contains('#')
        })
        .collect();
    let pick = |stream: &mut Stream, of: usize| (stream.uniform() * of as f64) as usize;
    let start = starts[pick(stream, starts.len())];
    let number = text[start..].bytes();
    let end = start
        + number
            .take_while(|b| b.is_ascii_digit() || *b == b'.')
            .count();
    let factors = [0.5, 0.9, 0.99, 1.01, 1.1, 2.0];
    let factor = factors[pick(stream, factors.len())];
    let Ok(value) = text[start..end].parse::<f64>() else {
        return text.to_owned();
    };
    // A whole number stays one where it has to be.
    let value = match text[start..end].contains('.') || stream.uniform() < 0.5 {
        true => format!("{}", value * factor),
        false => format!("{}", (value * factor).round()),
    };
    format!("{}{value}{}", &text[..start], &text[end..])
}

/// 64 changes over all examples, or as many as the environment variable PROPTEST_CASES asks for, each of one number of a plan whose
/// memo has seen all changes before it; every fifth is a change of what the last one left.
#[test]
fn verif_a_check_with_a_memo_is_the_check_without_one() {
    let cases = std::env::var("PROPTEST_CASES").map_or(64, |count| count.parse().unwrap());
    let examples = PLANS.map(Example::of);
    let mut last = examples.each_ref().map(|e| e.text.clone());
    for e in &examples {
        let reading = e.read(&e.text);
        assert_eq!(
            check_with(&reading, &Shelf::default(), &e.memo, Tier::Full),
            alone(&reading)
        );
    }
    let (mut whole, mut changed) = (0, 0);
    for case in 0..cases {
        let mut stream = Stream::named(1, "one number of a plan", case);
        // The first has the longest chains.
        let at = match case % 2 {
            0 => 0,
            _ => (case as usize / 2) % PLANS.len(),
        };
        let e = &examples[at];
        let from = if case % 5 == 4 { &last[at] } else { &e.text };
        let text = bent(from, &mut stream);
        let reading = e.read(&text);
        let full = alone(&reading);
        let kept = check_with(&reading, &Shelf::default(), &e.memo, Tier::Full);
        assert_eq!(kept, full, "{}, case {case}", PLANS[at]);
        assert_eq!(
            check_with(&reading, &Shelf::default(), &e.memo, Tier::Full),
            full,
            "{}, case {case}, once more",
            PLANS[at]
        );
        whole += u32::from(!reading.has_errors());
        changed += u32::from(reading.digest != e.read(&e.text).digest);
        if !reading.has_errors() {
            last[at] = text;
        }
    }
    // Most changes are ones that a plan bears, and nearly all say something else.
    assert!(2 * whole > cases as u32, "{whole} of {cases}");
    assert!(4 * changed > 3 * cases as u32, "{changed} of {cases}");
}

const WEATHER: &str = "weather year/1";
const BATTERY: &str = "battery year/2";
const SUN: &str = "sun on the array/1";
const PLACE: &str = "sun of a place/1";
const COURSE: &str = "course of the sun/1";
const SHAPE: &str = "shape of the line/5";

#[test]
fn verif_a_changed_field_has_done_only_what_reads_it() {
    let demo = Example::of("harrow-sound");
    let years = 299;
    let first = demo.runs(&demo.text);
    assert_eq!(first[WEATHER].done, years);
    assert_eq!(first[BATTERY].done, years);
    assert_eq!(first[SUN].done, 1);
    assert_eq!((first[PLACE].done, first[COURSE].done), (1, 1));
    assert!(first[SHAPE].done >= 5, "{first:?}");

    let done = |runs: &BTreeMap<&'static str, Runs>| -> BTreeMap<&'static str, u64> {
        let done = runs.iter().filter(|(_, runs)| runs.done > 0);
        done.map(|(name, runs)| (*name, runs.done)).collect()
    };
    let again = demo.runs(&demo.text);
    assert_eq!(done(&again), BTreeMap::new());

    // A limit is read by nothing that costs.
    let limit = demo.runs(&demo.with("requirement.upright.at_most", "34 deg"));
    assert_eq!(done(&limit), BTreeMap::new());

    // The battery's years are new, and stand under the same sky.
    let battery = demo.runs(&demo.with("supply.sun.battery.capacity", "230 Ah"));
    assert_eq!(done(&battery), BTreeMap::from([(BATTERY, years)]));
    assert_eq!(battery[WEATHER].found, years);

    // Panels of another power are battery years too; of another loss also, as the irradiance is that before it.
    for (key, value) in [("peak_power_each", "65 W"), ("loss", "16 %")] {
        let panels = demo.runs(&demo.with(&format!("supply.sun.panels.{key}"), value));
        assert_eq!(done(&panels), BTreeMap::from([(BATTERY, years)]), "{key}");
    }
    // Another tilt sees another sky.
    let tilt = demo.runs(&demo.with("supply.sun.panels.tilt", "50 deg"));
    assert_eq!(
        (tilt[SUN].done, tilt[WEATHER].done, tilt[BATTERY].done),
        (1, years, years)
    );
    assert_eq!(tilt[PLACE].done, 0, "the same sun");
    // Another latitude sees another sun, which runs the same course; another year's runs another.
    let north = demo.runs(&demo.with("site.latitude", "57.4 deg"));
    assert_eq!(
        (north[SUN].done, north[PLACE].done, north[COURSE].done),
        (1, 1, 0)
    );
    assert!(demo.text.contains("start = 2027-"));
    let later = demo.runs(&demo.text.replace("start = 2027-", "start = 2028-"));
    assert_eq!((later[PLACE].done, later[COURSE].done), (1, 1));

    // Current in the water moves the line, and no sun.
    let current = demo.runs(&demo.with("case.neap.wind.speed", "8.5 m/s"));
    assert_eq!(done(&current), BTreeMap::from([(SHAPE, 1)]));

    let back = demo.runs(&demo.text);
    assert_eq!(done(&back), BTreeMap::new(), "all is still kept");
}

/// The length of a span counts in the battery's years only where its loss does.
#[test]
fn verif_the_length_of_a_span_draws_no_weather() {
    let demo = Example::of("harrow-sound");
    let length = "[span.buoy-marker]\n";
    assert!(demo.text.contains(length));
    let with = |m: &str| {
        demo.text
            .replace(length, &format!("{length}length = \"{m} m\"\n"))
    };
    demo.runs(&with("7"));
    let longer = demo.runs(&with("9"));
    assert_eq!((longer[WEATHER].done, longer[SUN].done), (0, 0));
    assert_eq!(longer[BATTERY].done, 299, "the cable loses a little more");
    assert_eq!(longer[SHAPE].done, 0);

    // The same length in other words is the same input.
    let same = with("9").replace("\"9 m\"", "\"900 cm\"");
    assert_ne!(same, with("9"));
    assert!(demo.runs(&same).values().all(|runs| runs.done == 0));

    // A longer rope hangs otherwise; the spans along it are as long as they were.
    demo.runs(&demo.text);
    let rope = demo.runs(&demo.with("section.riser.length", "93 m"));
    assert_eq!((rope[WEATHER].done, rope[SUN].done), (0, 0));
    assert_eq!(rope[BATTERY].done, 0);
    assert_eq!(rope[SHAPE].done, first_shapes(&demo));
}

/// How many shapes the demo's line has.
fn first_shapes(demo: &Example) -> u64 {
    let fresh = Example::of("harrow-sound");
    fresh.runs(&demo.text)[SHAPE].done
}

/// Years of a quick check.
const QUICK: u64 = 30;

/// The verdicts of a check by requirement and subject.
fn verdicts(check: &Check) -> Vec<(&str, &Verdict)> {
    let all = check.requirements.iter().chain(&check.standing);
    all.flat_map(|j| j.verdicts.iter().map(|v| (j.id.as_str(), v)))
        .collect()
}

/// A quick check differs from the full one in what rests on years and in nothing else; what it calls broken so far is broken; it never
/// says that all is met; and the full check that follows counts the other years alone.
#[test]
fn verif_a_quick_check_is_provisional_and_refines() {
    let mut demo = Example::of("harrow-sound");
    // Without the requirement that only a rehearsal can show, the plan holds.
    let night = demo.text.find("[requirement.night]").unwrap();
    let next = night + 1 + demo.text[night + 1..].find("\n[").unwrap();
    demo.text.replace_range(night..next, "");
    let mut broken = 0;
    for capacity in ["240 Ah", "160 Ah", "120 Ah", "100 Ah", "80 Ah", "50 Ah"] {
        let text = demo.with("supply.sun.battery.capacity", capacity);
        let reading = demo.read(&text);
        let memo = Memo::new();
        let checked = |tier| check_with(&reading, &Shelf::default(), &memo, tier);
        let quick = checked(Tier::Quick);
        assert_eq!(memo.runs()[BATTERY].done, QUICK);
        let full = checked(Tier::Full);
        assert_eq!(memo.runs()[BATTERY].done, 299);
        assert_eq!(full, alone(&reading));
        assert_eq!((quick.tier, full.tier), (Tier::Quick, Tier::Full));

        let both = verdicts(&quick).into_iter().zip(verdicts(&full));
        let mut provisional = 0;
        for ((id, q), (same, f)) in both {
            assert_eq!(id, same);
            let Verdict::Provisional(q) = q else {
                assert_eq!(q, f);
                continue;
            };
            provisional += 1;
            let word = Verdict::Provisional(q.clone()).word();
            let so_far_broken = q.so_far == Ruling::Broken;
            assert_eq!(word == Word::Broken, so_far_broken, "{word:?}");
            assert!(id == "winter" || id == "winter-charge", "{id}");
            assert_eq!((q.counted, q.of), (QUICK, 299));
            let Verdict::Known(f) = f else {
                panic!("{f:?}");
            };
            assert!(q.so_far >= f.ruling, "{capacity}: {q:?} and {f:?}");
            assert!(q.margin.value >= f.margin.value, "{q:?} and {f:?}");
            broken += u32::from(q.so_far == Ruling::Broken);
        }
        assert_eq!(provisional, 2);
        assert!(
            verdicts(&full)
                .iter()
                .all(|(_, v)| v.word() != Word::Provisional)
        );
        let expected = match quick.requirements.iter().any(assess::Judged::is_broken) {
            true => Status::Broken,
            false => Status::Unknown,
        };
        assert_eq!(quick.status(), expected, "{capacity}");
        if capacity == "240 Ah" {
            assert_eq!(full.status(), Status::Met);
        }
    }
    assert!(broken >= 2, "the smallest batteries are told at once");
}

/// A plan that asks for no years is checked in full either way, and says so by its status.
#[test]
fn verif_a_quick_check_that_leaves_nothing_out_is_the_full_one() {
    let plan = Example::of("reef-light");
    let reading = plan.read(&plan.text);
    let quick = check_with(&reading, &Shelf::default(), &Memo::new(), Tier::Quick);
    assert_eq!(quick.status(), Status::Met);
    let full = Check {
        tier: Tier::Quick,
        ..alone(&reading)
    };
    assert_eq!(quick, full);
}

/// Remedies and places come out to the byte as they do when every plan that is tried is checked from nothing, and with fewer years.
#[test]
fn verif_remedies_and_places_with_a_memo_are_those_without_one() {
    let demo = Example::of("harrow-sound");
    let fetch = plan::from_folder_of(&demo.path);
    // Fewer years, as each is run for every step here.
    let few = demo.text.replace("share = \"99 %\"", "share = \"80 %\"");
    let dark = few.replace("capacity = \"240 Ah\"", "capacity = \"60 Ah\"");
    let reading = demo.read(&dark);
    let remedies = |memo: &Memo| {
        let ask = RemedyAsk {
            requirement: Some("winter-charge".to_owned()),
            threads: 2,
        };
        let shelf = Shelf::default();
        let go = |_, _| true;
        let shared = |path: &Path| std::fs::read(path);
        remedies_with(&demo.path, &reading, &shelf, &shared, &ask, memo, &go).unwrap()
    };
    let (none, memo) = (Memo::with_room(0), Memo::new());
    let (alone, kept) = (remedies(&none), remedies(&memo));
    assert!(alone.mended[0].tried.1 > 10, "{:?}", alone.mended[0].tried);
    assert_eq!(format!("{alone:?}"), format!("{kept:?}"));
    let done = |memo: &Memo, of| memo.runs()[of].done;
    assert!(10 * done(&memo, WEATHER) < done(&none, WEATHER));

    let reading = demo.read(&few);
    let places = |memo: &Memo| {
        let ask = PlaceAsk {
            part: "part.flow-meter".to_owned(),
            catalogue: None,
            id: "added".to_owned(),
            talk: Talk::Silent,
            speaks: Vec::new(),
            along: Vec::new(),
            cable: None,
            stub_m: 1.0,
            years: true,
            threads: 2,
        };
        let shelf = Shelf::default();
        let go = |_, _| true;
        places_with(&demo.path, &reading, &shelf, &fetch, &ask, memo, &go).unwrap()
    };
    let (none, memo) = (Memo::with_room(0), Memo::new());
    let (alone, kept) = (places(&none), places(&memo));
    assert!(alone.places.len() > 5);
    assert_eq!(format!("{alone:?}"), format!("{kept:?}"));
    assert!(5 * done(&memo, WEATHER) < done(&none, WEATHER));
}
