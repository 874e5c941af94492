//! A check of the example plan in one process: from nothing, and after a change of one number, quickly and in full.
//!
//! Run with `cargo bench -p assess --bench check`. Fifty numbers, spread over all that the plan writes and among them those that
//! cost most, are changed one after the other, each in the plan as it is, with one memo that has seen the plan and the changes
//! before; reading the text is part of each time. The whole process from the shell is in the bench `whole` of `soundline`.
//! `CHECK_REPEATS` (5) is how often each is timed; of each the median counts. Exit status 1 when a bound is missed, or a full check
//! with the memo differs from one without.
#![expect(clippy::print_stdout, reason = "a bench tells its figures")]

use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::Instant;

use assess::{
    Memo, PlaceAsk, PlanText, RemedyAsk, Shelf, Talk, Tier, check_text, places_with, remedies_with,
};
use plan::{Edit, Written, splice};

const ROOT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../..");
/// From nothing, s.
const LONGEST_COLD_S: f64 = 0.5;
/// Any quick check after a change of one number, s.
const LONGEST_QUICK_S: f64 = 0.05;
const EDITS: usize = 50;
/// Numbers that cost most, and by what each is multiplied.
const DEAREST: [(&str, f64); 9] = [
    ("site.latitude", 1.001),
    ("site.water_depth", 1.01),
    ("site.clearness", 1.01),
    ("site.wind", 1.01),
    ("supply.sun.battery.capacity", 0.99),
    ("supply.sun.panels.tilt", 1.01),
    ("module.buoy.loads.watching", 1.01),
    ("section.riser.length", 1.01),
    ("supply.sun.output.voltage", 1.01),
];

struct Plan {
    path: PathBuf,
    text: String,
}

fn main() -> ExitCode {
    let repeats = std::env::var("CHECK_REPEATS").ok();
    let repeats: usize = repeats.and_then(|n| n.parse().ok()).unwrap_or(5).max(1);
    let mut good = true;
    let folders = std::fs::read_dir(Path::new(ROOT).join("plans")).expect("the examples are there");
    let mut names: Vec<PathBuf> = folders.map(|f| f.expect("a folder").path()).collect();
    names.sort();
    for folder in &names {
        let plan = Plan::of(folder);
        let cold = median((0..repeats).map(|_| plan.timed(&Memo::new(), &plan.text, Tier::Full)));
        let name = folder.file_name().unwrap_or_default().display();
        println!(
            "{name}, read and checked from nothing: {:.1} ms",
            1e3 * cold
        );
        good &= cold <= LONGEST_COLD_S;
    }
    println!("(bound {:.0} ms)", 1e3 * LONGEST_COLD_S);
    let demo = Plan::of(&Path::new(ROOT).join("plans/harrow-sound"));
    good &= edits(&demo, repeats);
    good &= variants(&demo);
    if good {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    }
}

/// One number of the example after another.
fn edits(plan: &Plan, repeats: usize) -> bool {
    let texts = plan.changed();
    let [mut quick, mut refined, mut full] = [const { Vec::new() }; 3];
    for (path, text) in &texts {
        let [mut of_quick, mut of_refined, mut of_full] = [const { Vec::new() }; 3];
        for _ in 0..repeats {
            let memo = Memo::new();
            plan.timed(&memo, &plan.text, Tier::Full);
            of_quick.push(plan.timed(&memo, text, Tier::Quick));
            of_refined.push(plan.timed(&memo, text, Tier::Full));
            let warm = Memo::new();
            plan.timed(&warm, &plan.text, Tier::Full);
            of_full.push(plan.timed(&warm, text, Tier::Full));
        }
        quick.push((median(of_quick), path.as_str()));
        refined.push((median(of_refined), path.as_str()));
        full.push((median(of_full), path.as_str()));
    }
    let mut good = texts.len() == EDITS && texts.iter().all(|(_, text)| plan.same(text));
    if !good {
        println!("NOT THE SAME with a memo and without, or not {EDITS} changes");
    }
    for (what, times, bound_s) in [
        ("quick", &mut quick, Some(LONGEST_QUICK_S)),
        ("refined to full", &mut refined, None),
        ("full at once", &mut full, None),
    ] {
        times.sort_by(|a, b| a.0.total_cmp(&b.0));
        let (worst_s, path) = times[times.len() - 1];
        let bound = bound_s.map_or(String::new(), |s| format!(" (bound {:.0} ms)", 1e3 * s));
        println!(
            "one number of {} changed, {what}: median {:.1} ms, worst {:.1} ms{bound}, {path}",
            texts.len(),
            1e3 * times[times.len() / 2].0,
            1e3 * worst_s
        );
        good &= bound_s.is_none_or(|s| worst_s <= s);
    }
    good
}

/// Remedies of the example with a battery too small, and one more module at every place: with a memo and from nothing each time.
fn variants(plan: &Plan) -> bool {
    let fetch = plan::from_folder_of(&plan.path);
    let shared = |path: &Path| std::fs::read(path);
    let shelf = Shelf::default();
    let go = |_, _| true;
    let dark = plan.text.replace("\"240 Ah\"", "\"80 Ah\"");
    let dark = plan.checked(&Memo::new(), &dark, Tier::Quick).0;
    let whole = plan.checked(&Memo::new(), &plan.text, Tier::Quick).0;
    let remedy = RemedyAsk {
        requirement: Some("winter-charge".to_owned()),
        threads: 1,
    };
    let place = PlaceAsk {
        part: "part.flow-meter".to_owned(),
        catalogue: None,
        id: "added".to_owned(),
        talk: Talk::Silent,
        speaks: Vec::new(),
        along: Vec::new(),
        cable: None,
        stub_m: 1.0,
        years: true,
        threads: 1,
    };
    let remedies = |memo: &Memo| {
        let found = remedies_with(&plan.path, &dark, &shelf, &shared, &remedy, memo, &go);
        format!("{:?}", found.expect("the plan has remedies"))
    };
    let places = |memo: &Memo| {
        let found = places_with(&plan.path, &whole, &shelf, &fetch, &place, memo, &go);
        format!("{:?}", found.expect("the plan has places"))
    };
    type Work<'a> = &'a dyn Fn(&Memo) -> String;
    let works: [(&str, Work<'_>); 2] = [
        ("remedies of a battery too small", &remedies),
        ("one more module at every place, years and all", &places),
    ];
    let mut good = true;
    for (what, work) in works {
        let timed = |memo: &Memo| {
            let start = Instant::now();
            let found = work(memo);
            (start.elapsed().as_secs_f64(), found)
        };
        let (alone, kept) = (timed(&Memo::with_room(0)), timed(&Memo::new()));
        let same = alone.1 == kept.1;
        println!(
            "{what}: {:.2} s with a memo, {:.2} s from nothing each time, {}",
            kept.0,
            alone.0,
            if same {
                "the same found"
            } else {
                "NOT THE SAME"
            }
        );
        good &= same;
    }
    good
}

impl Plan {
    fn of(folder: &Path) -> Plan {
        let path = folder.join("plan.toml");
        let text = std::fs::read_to_string(&path).expect("the example is there");
        Plan { path, text }
    }

    fn checked(&self, memo: &Memo, text: &str, tier: Tier) -> (plan::Reading, assess::Check) {
        let fetch = plan::from_folder_of(&self.path);
        let plan = PlanText {
            path: &self.path,
            text,
            fetch: &fetch,
        };
        check_text(memo, &plan, &Shelf::default(), tier)
    }

    fn timed(&self, memo: &Memo, text: &str, tier: Tier) -> f64 {
        let start = Instant::now();
        std::hint::black_box(self.checked(memo, text, tier));
        start.elapsed().as_secs_f64()
    }

    fn same(&self, text: &str) -> bool {
        let memo = Memo::new();
        self.checked(&memo, &self.text, Tier::Full);
        self.checked(&memo, text, Tier::Quick);
        let kept = self.checked(&memo, text, Tier::Full).1;
        kept == self.checked(&Memo::with_room(0), text, Tier::Full).1
    }

    /// The text with one number changed, fifty times, by the path of its key.
    fn changed(&self) -> Vec<(String, String)> {
        let (reading, _) = self.checked(&Memo::new(), &self.text, Tier::Quick);
        let dearest = DEAREST
            .map(|(path, times)| (path.to_owned(), times))
            .into_iter();
        let written = reading.written();
        let others = written.iter().filter(|w| {
            let dear = DEAREST.iter().any(|(path, _)| w.path == *path);
            w.means.is_some() && !dear
        });
        let others: Vec<(String, f64)> = others.map(|w| (w.path.clone(), 1.01)).collect();
        let take = |path: &str, times: f64| {
            let text = self.with(&written, path, times)?;
            let (changed, _) = self.checked(&Memo::new(), &text, Tier::Quick);
            let other = !changed.has_errors() && changed.digest != reading.digest;
            other.then(|| (path.to_owned(), text))
        };
        let mut found: Vec<(String, String)> = dearest
            .filter_map(|(path, times)| take(&path, times))
            .collect();
        assert_eq!(
            found.len(),
            DEAREST.len(),
            "the dearest numbers can be changed"
        );
        // Evenly over all; what is no number, or must stay as it is, is passed over for its neighbour.
        let want = EDITS - DEAREST.len();
        for n in 0..want {
            let (from, to) = (n * others.len() / want, (n + 1) * others.len() / want);
            let mut near = others[from..to].iter();
            found.extend(near.find_map(|(path, times)| take(path, *times)));
        }
        for (path, times) in &others {
            if found.len() < EDITS && !found.iter().any(|(p, _)| p == path) {
                found.extend(take(path, *times));
            }
        }
        found
    }

    /// The text with the first number of a key's own value multiplied.
    fn with(&self, written: &[Written], path: &str, times: f64) -> Option<String> {
        let w = written.iter().find(|w| w.path == path)?;
        let range = w.at.range();
        let own = w.used_at.is_none() && self.text.get(range.clone()) == Some(w.text.as_str());
        let start = w.text.find(|c: char| c.is_ascii_digit()).filter(|_| own)?;
        let (before, rest) = w.text.split_at(start);
        let end = rest.find(|c: char| !c.is_ascii_digit() && c != '.');
        let (number, after) = rest.split_at(end.unwrap_or(rest.len()));
        let value = number.parse::<f64>().ok()? * times;
        let text = format!("{before}{value}{after}");
        splice(&self.text, &[Edit { range, text }]).ok()
    }
}

fn median(times: impl IntoIterator<Item = f64>) -> f64 {
    let mut times: Vec<f64> = times.into_iter().collect();
    times.sort_by(f64::total_cmp);
    times[times.len() / 2]
}
