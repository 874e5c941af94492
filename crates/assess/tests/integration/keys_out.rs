//! What a plan no longer says makes nothing better without a word.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use assess::{Check, Judged, Memo, PlanText, Shelf, Tier, Verdict, Word, check_text};
use toml_edit::{DocumentMut, Item, Value};

/// Keys that may be taken out of a plan although a verdict is better then, and why.
const MAY: &[(&str, &str)] = &[
    (".link", "what has no link sends nothing"),
    (".bus", "what is on no bus sends nothing"),
    (
        ".heartbeat",
        "who tells nothing of its health loads no link",
    ),
    (
        "topic.*.at_most",
        "it then comes as often as what publishes it runs",
    ),
    (
        "behaviour.*.at_most",
        "it then runs as often as what starts it",
    ),
    ("loads.*", "a state that is not there draws nothing"),
    (
        "input.efficiency",
        "loads are then what is drawn at the input",
    ),
    ("span.*.fuse", "a fuse that is not there does not melt"),
    ("wakes_after", "all then wake at once"),
    ("spare.*.dead_on_deck", "that of the deployment counts"),
];

/// A step from the top of a plan to a value in it.
#[derive(Clone, PartialEq, Debug)]
enum Step {
    Key(String),
    Nth(usize),
}

/// Every key below that holds a value, with the way to it; those of things by id are the things themselves and stay.
fn keys_of(item: &Item, way: &mut Vec<Step>, all: &mut Vec<Vec<Step>>) {
    match item {
        Item::Table(table) => {
            for (key, below) in table {
                way.push(Step::Key(key.to_owned()));
                keys_of(below, way, all);
                way.pop();
            }
        }
        Item::ArrayOfTables(tables) => {
            for (nth, table) in tables.iter().enumerate() {
                way.push(Step::Nth(nth));
                for (key, below) in table {
                    way.push(Step::Key(key.to_owned()));
                    keys_of(below, way, all);
                    way.pop();
                }
                way.pop();
            }
        }
        Item::Value(value) => {
            all.push(way.clone());
            keys_in(value, way, all);
        }
        Item::None => {}
    }
}

fn keys_in(value: &Value, way: &mut Vec<Step>, all: &mut Vec<Vec<Step>>) {
    match value {
        Value::InlineTable(table) => {
            for (key, below) in table {
                way.push(Step::Key(key.to_owned()));
                all.push(way.clone());
                keys_in(below, way, all);
                way.pop();
            }
        }
        Value::Array(of) => {
            for (nth, below) in of.iter().enumerate() {
                way.push(Step::Nth(nth));
                keys_in(below, way, all);
                way.pop();
            }
        }
        _ => {}
    }
}

/// The plan without what lies at the end of a way.
fn without(plan: &DocumentMut, way: &[Step]) -> String {
    let mut plan = plan.clone();
    let (last, to) = way.split_last().unwrap();
    let mut at = plan.as_item_mut();
    for step in to {
        at = match step {
            Step::Key(key) => &mut at[key.as_str()],
            Step::Nth(nth) => &mut at[*nth],
        };
    }
    let Step::Key(last) = last else {
        panic!("{way:?} ends at no key");
    };
    assert!(at.as_table_like_mut().unwrap().remove(last).is_some());
    plan.to_string()
}

fn written(way: &[Step]) -> String {
    let steps = way.iter().map(|step| match step {
        Step::Key(key) => format!(".{key}"),
        Step::Nth(nth) => format!("[{nth}]"),
    });
    steps.collect::<String>().trim_start_matches('.').to_owned()
}

/// Whether words with at most one `*` in them are the end of a path: it stands for one id, name or key.
fn names(key: &str, path: &str) -> bool {
    match key.split_once('*') {
        None => path.ends_with(key),
        Some((before, after)) => path.strip_suffix(after).is_some_and(|path| {
            path.rsplit_once(before)
                .is_some_and(|(_, id)| !id.is_empty() && !id.contains(['.', '[']))
        }),
    }
}

/// Requirements and standing checks, each by its kind and id.
fn judged(check: &Check) -> BTreeMap<(bool, &str), &Judged> {
    let all = check.requirements.iter().map(|j| ((false, &*j.id), j));
    let standing = check.standing.iter().map(|j| ((true, &*j.id), j));
    all.chain(standing).collect()
}

fn margins(of: &Judged) -> BTreeMap<&str, (f64, &str)> {
    let mut all: BTreeMap<&str, (f64, &str)> = BTreeMap::new();
    for verdict in &of.verdicts {
        if let Verdict::Known(known) = verdict {
            let margin = (known.margin.value, &*known.margin.unit);
            let least = all.entry(&known.subject).or_insert(margin);
            if margin.0 < least.0 {
                *least = margin;
            }
        }
    }
    all
}

fn good(word: Word) -> bool {
    matches!(word, Word::Marginal | Word::Met)
}

/// In what a check is better than another, in words; what is told of what it takes for granted excuses a larger margin, and never a verdict
/// that was unknown or broken and no longer is.
fn better(before: &Check, after: &Check, told: bool) -> Vec<String> {
    let mut all = Vec::new();
    let now = judged(after);
    for (key @ (_, id), was) in judged(before) {
        let Some(is) = now.get(&key) else {
            if !good(was.word()) && !told {
                all.push(format!("{id}: {}, then gone", was.word().as_str()));
            }
            continue;
        };
        // That it is not known any more gains nothing.
        if !good(is.word()) {
            continue;
        }
        if is.word() > was.word() && !(told && good(was.word())) {
            all.push(format!(
                "{id}: {}, then {}",
                was.word().as_str(),
                is.word().as_str()
            ));
            continue;
        }
        if told {
            continue;
        }
        let now = margins(is);
        for (subject, (was, unit)) in margins(was) {
            if let Some((is, now_unit)) = now.get(subject)
                && *now_unit == unit
                && *is > was + 1e-9 * was.abs()
            {
                all.push(format!("{id} of {subject}: {was} {unit}, then {is}"));
            }
        }
    }
    all
}

/// An example plan, its memo and the ways to its keys.
struct Example {
    path: PathBuf,
    plan: DocumentMut,
    memo: Memo,
}

impl Example {
    fn of(name: &str) -> Example {
        let path = truth::in_repository(&format!("plans/{name}/plan.toml"));
        let text = std::fs::read_to_string(&path).unwrap();
        Example {
            plan: text.parse().unwrap(),
            path,
            memo: Memo::new(),
        }
    }

    fn check(&self, text: &str) -> Option<Check> {
        let beside = plan::from_folder_of(&self.path);
        let plan = PlanText {
            path: &self.path,
            text,
            fetch: &|wanted: &Path| beside(wanted),
        };
        let (reading, check) = check_text(&self.memo, &plan, &Shelf::default(), Tier::Quick);
        (!reading.has_errors()).then_some(check)
    }

    /// The ways to all keys but those of requirements and of what may be bought.
    fn keys(&self) -> Vec<Vec<Step>> {
        let mut keys = Vec::new();
        for (key, item) in self.plan.iter() {
            if !matches!(key, "format" | "requirement" | "remedy") {
                keys_of(item, &mut vec![Step::Key(key.to_owned())], &mut keys);
            }
        }
        keys
    }

    fn whole(&self) -> Check {
        self.check(&self.plan.to_string()).unwrap()
    }
}

/// Takes each key out of an example, one by one.
fn keys_out(name: &str) {
    let example = Example::of(name);
    let before = example.whole();
    let said: BTreeSet<&String> = before.assumed.iter().chain(&before.open).collect();
    let (mut tried, mut wrong) = (0, Vec::new());
    for way in example.keys() {
        let path = written(&way);
        if MAY.iter().any(|(key, _)| names(key, &path)) {
            continue;
        }
        let Some(after) = example.check(&without(&example.plan, &way)) else {
            continue;
        };
        tried += 1;
        let mut says = after.assumed.iter().chain(&after.open);
        let told = says.any(|one| !said.contains(one));
        let better = better(&before, &after, told);
        if !better.is_empty() {
            let told = if told { "told" } else { "not told" };
            wrong.push(format!("{path} ({told}): {}", better.join("; ")));
        }
    }
    assert!(tried > 5, "{name}: {tried} keys");
    assert!(
        wrong.is_empty(),
        "{name}, {tried} keys:\n{}",
        wrong.join("\n")
    );
}

/// What is told once a key is out of an example, and the verdict that is unknown for it.
const TOLD: &[(&str, &str, &str)] = &[
    (
        "kestrel-piles",
        "case.spring.current",
        "slack water, because the case writes no `current`: case.lowest, case.slack, case.spring",
    ),
    (
        "kestrel-piles",
        "case.lowest.water_level",
        "because the case writes no `water_level`: case.lowest, case.slack, case.spring",
    ),
    (
        "kestrel-piles",
        "case.spring.strum",
        "because the case writes no `strum`: case.lowest, case.slack, case.spring",
    ),
    ("kestrel-piles", "site.tide", "the site writes no `tide`"),
    (
        "kestrel-piles",
        "anchor.clump.safety_factor",
        "because no `safety_factor` is written: anchor.clump",
    ),
    (
        "kestrel-piles",
        "deployment.start_slip",
        "the plan writes no start_slip",
    ),
    (
        "kestrel-piles",
        "deployment.recovery_slip",
        "the plan writes no recovery_slip",
    ),
    (
        "vennick-ledge",
        "site.growth",
        "the site writes no `growth`",
    ),
    (
        "vennick-ledge",
        "site.growth.down_to",
        "growth is as thick at every depth",
    ),
    (
        "kelp-gate",
        "uplink.satellite.adds",
        "because no `adds` is written: uplink.satellite",
    ),
    (
        "kelp-gate",
        "module.ear.clock.temperature_step",
        "no `temperature_step` is written: module.ear",
    ),
    (
        "kelp-gate",
        "storage.card.logs.event",
        "storage.card logs nothing of what its `logs` does not write: `event`",
    ),
    (
        "sill-window",
        "stream.picture.burst",
        "because no `burst` is written: stream.picture",
    ),
    (
        "cold-wake",
        "supply.quay.output.current_limit",
        "because no `current_limit` is written: supply.quay",
    ),
];

#[test]
fn verif_what_a_plan_no_longer_says_is_told() {
    for (name, key, sentence) in TOLD {
        let example = Example::of(name);
        let whole = example.whole();
        let says = |check: &Check| check.assumed.iter().any(|one| one.contains(sentence));
        assert!(!says(&whole), "{name}: {sentence}");
        let keys = example.keys();
        let way = keys.iter().find(|way| written(way) == *key);
        let way = way.unwrap_or_else(|| panic!("{name} writes no {key}"));
        let after = example.check(&without(&example.plan, way)).unwrap();
        assert!(says(&after), "{name} without {key}: {:#?}", after.assumed);
    }
}

/// What a plan does not say of power is no power and no end of it: the verdicts that rest on it are unknown.
#[test]
fn verif_what_is_not_said_of_power_is_unknown() {
    for (name, key, id, why) in [
        (
            "kestrel-piles",
            "module.ears.loads",
            "cells",
            "module.ears has an `input` and no `loads`",
        ),
        (
            "kestrel-piles",
            "module.ears.loads",
            "voltage",
            "module.ears has an `input` and no `loads`",
        ),
        (
            "reef-light",
            "supply.feed.output.current_limit",
            "one-more",
            "supply.feed may give less than this needs",
        ),
        (
            "reef-light",
            "supply.feed.output.current_limit",
            "fuses",
            "supply.feed may give less than melts the fuse",
        ),
        (
            "cold-wake",
            "supply.quay.output.current_limit",
            "start",
            "supply.quay may give less than a start takes",
        ),
    ] {
        let example = Example::of(name);
        let keys = example.keys();
        let way = keys.iter().find(|way| written(way) == key);
        let way = way.unwrap_or_else(|| panic!("{name} writes no {key}"));
        let after = example.check(&without(&example.plan, way)).unwrap();
        let judged = judged(&after)[&(false, id)];
        assert_eq!(judged.word(), Word::Unknown, "{name} without {key}: {id}");
        let told = judged.verdicts.iter().any(|v| v.why().contains(why));
        assert!(told, "{name} without {key}: {:#?}", judged.verdicts);
    }
}

macro_rules! examples {
    ($($test:ident: $name:literal),* $(,)?) => {
        $(#[test]
        fn $test() {
            keys_out($name);
        })*
    };
}

examples! {
    verif_no_key_of_cold_wake_can_be_left_out_to_gain: "cold-wake",
    verif_no_key_of_gannet_stack_can_be_left_out_to_gain: "gannet-stack",
    verif_no_key_of_harrow_sound_can_be_left_out_to_gain: "harrow-sound",
    verif_no_key_of_kelp_gate_can_be_left_out_to_gain: "kelp-gate",
    verif_no_key_of_kestrel_piles_can_be_left_out_to_gain: "kestrel-piles",
    verif_no_key_of_listening_bench_can_be_left_out_to_gain: "listening-bench",
    verif_no_key_of_long_reach_can_be_left_out_to_gain: "long-reach",
    verif_no_key_of_petrel_bank_can_be_left_out_to_gain: "petrel-bank",
    verif_no_key_of_pile_watch_can_be_left_out_to_gain: "pile-watch",
    verif_no_key_of_reef_light_can_be_left_out_to_gain: "reef-light",
    verif_no_key_of_sill_window_can_be_left_out_to_gain: "sill-window",
    verif_no_key_of_silt_hollow_can_be_left_out_to_gain: "silt-hollow",
    verif_no_key_of_strike_tally_can_be_left_out_to_gain: "strike-tally",
    verif_no_key_of_vennick_ledge_can_be_left_out_to_gain: "vennick-ledge",
}
