//! What may be changed: the keys of the plan that an engineer can turn, each with the values that it may take.

use std::collections::BTreeMap;

use plan::{Line, Load, ModuleIx, Reading, Written};
use quantity::{Money, show_bare};

use crate::levels::Levels;

use super::ladder::{
    DOUBLING, Rung, Way, conductors, decibels, fewer, panels, rates, split, tenths, two_digits,
    voltages,
};

/// A change of one thing: of one key, or of several that are one decision.
#[derive(Clone, Debug)]
pub(super) struct Knob {
    /// Id of the declared remedy, if it is one.
    pub(super) declared: Option<String>,
    /// The keys.
    pub(super) paths: Vec<String>,
    /// The steps, smallest first; each has a value for each key.
    pub(super) steps: Vec<Step>,
}

/// One value for each key.
#[derive(Clone, Debug)]
pub(super) struct Step {
    pub(super) values: Vec<String>,
    pub(super) size: f64,
    pub(super) cost: Option<Money>,
}

impl Knob {
    fn one(path: &str, rungs: Vec<Rung>) -> Knob {
        let step = |r: Rung| Step {
            values: vec![r.value],
            size: r.size,
            cost: None,
        };
        Knob {
            declared: None,
            paths: vec![path.to_owned()],
            steps: rungs.into_iter().map(step).collect(),
        }
    }
}

/// Keys that are to be written together, as a verdict names them.
pub(super) fn together(keys: Vec<(String, String)>, reading: &Reading) -> Option<Knob> {
    let written = reading.written();
    let now = |path: &str| written.iter().find(|w| w.path == path);
    let size = keys.iter().map(|(path, to)| {
        now(path).map_or(DOUBLING, |w| {
            declared_size(w.text.trim_matches(['"', '\'']), to)
        })
    });
    let size = size.sum();
    let (paths, values): (Vec<String>, Vec<String>) = keys.into_iter().unzip();
    (!paths.is_empty()).then(|| Knob {
        declared: None,
        paths,
        steps: vec![Step {
            values,
            size,
            cost: None,
        }],
    })
}

/// Kinds of links that no open standard defines: their keys say what they are, so another name alone makes none of them.
const CLASSES: [&str; 4] = ["inductive", "acoustic", "line-of-sight", "free"];

/// How far numbers are stepped: so many times up or down.
const FAR: f64 = 10.0;
const NEAR: f64 = 2.0;
const VERY_FAR: f64 = 1000.0;
/// How far levels are stepped, dB.
const MOST_DB: u32 = 30;
/// How far voltages of a battery are stepped, tenths of a volt.
const MOST_TENTHS: u32 = 30;

/// A thing and the key below it: `("span.riser", "conductor")`; of a topic without the quotes of its name.
pub(super) fn thing_and_key(path: &str) -> Option<(String, &str)> {
    let (kind, rest) = path.split_once('.')?;
    let (id, after) = plan::first_key(rest)?;
    Some((format!("{kind}.{id}"), after.strip_prefix('.')?))
}

/// All that may be changed in a plan and belongs to a thing that `reads` names.
pub(super) fn knobs(reading: &Reading, line: &Line, reads: &dyn Fn(&str) -> bool) -> Vec<Knob> {
    let mut found: Vec<Knob> = Vec::new();
    let written = reading.written();
    let mut cables: BTreeMap<String, Vec<String>> = BTreeMap::new();
    let declared: Vec<&str> = line.remedies.iter().map(|r| r.sets.as_str()).collect();
    for w in &written {
        let Some((thing, key)) = thing_and_key(&w.path) else {
            continue;
        };
        let own = w.means.is_some() && !declared.contains(&w.path.as_str());
        if !own || thing.starts_with("part.") || !reads(&thing) {
            continue;
        }
        let text = w.text.trim_matches(['"', '\'']);
        if thing.starts_with("span.") && key == "conductor" {
            cables
                .entry(text.to_owned())
                .or_default()
                .push(w.path.clone());
        }
        for rungs in rungs(&thing, key, text) {
            found.push(Knob::one(&w.path, rungs));
        }
        found.extend(threshold(&written, w, text));
    }
    for (text, paths) in cables.into_iter().filter(|(_, paths)| paths.len() > 1) {
        let count = paths.len();
        let steps = conductors(&text).into_iter().map(|r| Step {
            values: vec![r.value; count],
            size: r.size * count as f64,
            cost: None,
        });
        found.push(Knob {
            declared: None,
            steps: steps.collect(),
            paths,
        });
    }
    for (m, module) in line.modules.iter().enumerate() {
        if reads(&format!("module.{}", module.id)) {
            found.extend(duties(line, ModuleIx(m), &written, &declared));
        }
    }
    found.extend(
        unwritten(line, &written, reads).filter(|k| !declared.contains(&k.paths[0].as_str())),
    );
    found.retain(|k| !k.steps.is_empty());
    found.extend(line.remedies.iter().map(|r| of_plan(r, &written)));
    found
}

/// Waits that a plan need not write: messages for each other on an uplink, and modules before they start. A key that is new counts as a
/// doubling, and a longer wait as a little more.
fn unwritten<'a>(
    line: &'a Line,
    written: &'a [Written],
    reads: &'a dyn Fn(&str) -> bool,
) -> impl Iterator<Item = Knob> + 'a {
    const SHARING: [&str; 9] = [
        "1 min", "2 min", "5 min", "10 min", "20 min", "30 min", "1 h", "2 h", "6 h",
    ];
    const WAKING: [&str; 12] = [
        "1 s", "2 s", "3 s", "5 s", "8 s", "10 s", "15 s", "20 s", "25 s", "30 s", "45 s", "60 s",
    ];
    let uplinks = line.uplinks.iter();
    let uplinks = uplinks.map(|u| (format!("uplink.{}", u.id), "pack_within", &SHARING[..]));
    let modules = line.modules.iter();
    let modules = modules.filter(|m| m.input.as_ref().is_some_and(|i| i.lock_out.is_some()));
    let modules = modules.map(|m| (format!("module.{}", m.id), "wakes_after", &WAKING[..]));
    let all = uplinks.chain(modules).filter(|(thing, ..)| reads(thing));
    all.filter_map(|(thing, key, waits)| {
        let path = format!("{thing}.{key}");
        let absent = !written.iter().any(|w| w.path == path);
        let rungs = (1..).zip(waits).map(|(n, value)| Rung {
            value: (*value).to_owned(),
            size: DOUBLING * (1.0 + f64::from(n) / 100.0),
        });
        absent.then(|| Knob::one(&path, rungs.collect()))
    })
}

/// The ways in which a key may be stepped.
fn rungs(thing: &str, key: &str, text: &str) -> Vec<Vec<Rung>> {
    let kind = thing.split('.').next().unwrap_or(thing);
    let stage = key.starts_with("stages[");
    let last = key.rsplit('.').next().unwrap_or(key);
    let both = |times| {
        vec![
            two_digits(text, Way::Up, times),
            two_digits(text, Way::Down, times),
        ]
    };
    match (kind, key) {
        ("span", "conductor") => vec![conductors(text)],
        ("span" | "section", "length") => both(NEAR),
        ("span" | "bus", "link_rate") => vec![rates(text, Way::Up), rates(text, Way::Down)],
        ("span" | "bus", "link") => {
            // A kind that needs keys which the plan does not write gives a plan with mistakes, and is left out then.
            let standards = plan::LINKS.iter().filter(|l| !CLASSES.contains(l));
            let others = standards.filter(|l| **l != text).map(|l| Rung {
                value: (*l).to_owned(),
                size: DOUBLING,
            });
            vec![others.collect()]
        }
        ("supply", "output.voltage") => vec![voltages(text, Way::Up), voltages(text, Way::Down)],
        ("supply", "panels.peak_power_each") => vec![panels(text)],
        ("supply", "battery.reconnect_voltage") => vec![tenths(text, Way::Up, MOST_TENTHS)],
        ("supply", "battery.disconnect_voltage") => vec![tenths(text, Way::Down, MOST_TENTHS)],
        ("supply", "battery.capacity") => vec![two_digits(text, Way::Up, FAR)],
        ("storage", "capacity") => vec![two_digits(text, Way::Up, FAR)],
        ("anchor", "weight_in_water" | "holding") => vec![two_digits(text, Way::Up, FAR)],
        ("float", "buoyancy") | ("weight", "weight_in_water") => vec![
            two_digits(text, Way::Up, FAR),
            two_digits(text, Way::Down, FAR),
        ],
        // What a buoy displaces before it goes under, and what it weighs itself.
        ("module", "hull.waterplane" | "hull.full_draught") => {
            vec![two_digits(text, Way::Up, FAR)]
        }
        ("module", "hull.weight") => vec![two_digits(text, Way::Down, NEAR)],
        // What a check of its own asks: how far the buoy may be before it counts as adrift, and what a weak link holds.
        ("module", "drift_alarm.radius") | ("weak_link", "parts_from") => {
            vec![two_digits(text, Way::Up, FAR)]
        }
        ("module", "housing.rated_depth") | ("float", "rated_depth") => {
            vec![two_digits(text, Way::Up, FAR)]
        }
        // What floats has a weight below zero; more buoyancy is a larger number behind the sign.
        ("module", "housing.weight_in_water") => match text.strip_prefix('-') {
            Some(buoyancy) => {
                let mut rungs = two_digits(buoyancy, Way::Up, FAR);
                rungs.iter_mut().for_each(|r| r.value.insert(0, '-'));
                vec![rungs]
            }
            None => Vec::new(),
        },
        ("module", _) if key.starts_with("loads.") => vec![two_digits(text, Way::Down, NEAR)],
        // Another converter, or a filter of another corner ahead of the sampling.
        ("module", _)
            if key.starts_with("sensor.")
                && ((key.contains(".pick_up[") && last == "frequency")
                    || key.ends_with(".adc.anti_alias.corner")) =>
        {
            both(NEAR)
        }
        ("module", _) if key.starts_with("sensor.") && last == "gain" => vec![
            decibels(text, Way::Up, MOST_DB),
            decibels(text, Way::Down, MOST_DB),
        ],
        ("detector", _) if stage && last == "hold_off" => both(VERY_FAR),
        ("vote", "hold_off") => both(VERY_FAR),
        ("detector", _) if stage && matches!(last, "shortest" | "window") => both(FAR),
        ("detector", _) if stage && (last == "above" || last == "rise") => vec![
            decibels(text, Way::Up, MOST_DB),
            decibels(text, Way::Down, MOST_DB),
        ],
        ("behaviour" | "request", "each") => vec![two_digits(text, Way::Up, VERY_FAR)],
        ("uplink", "pack_within") | ("module", "wakes_after") => {
            vec![two_digits(text, Way::Up, VERY_FAR)]
        }
        ("topic" | "behaviour", "at_most") => vec![fewer(text)],
        ("storage", _) if key.starts_with("records[") && last == "share" => {
            vec![two_digits(text, Way::Down, FAR)]
        }
        _ => Vec::new(),
    }
}

/// Shares of the time that a module gives from a state to one in which it draws less, down to a tenth of it.
fn duties(line: &Line, m: ModuleIx, written: &[Written], declared: &[&str]) -> Vec<Knob> {
    let module = &line.modules[m.0];
    let share = |n: usize| {
        let path = format!("module.{}.duty[{n}].share", module.id);
        let own = |w: &&Written| w.path == path && w.means.is_some();
        let text = written.iter().find(own)?.text.trim_matches(['"', '\'']);
        let (percent, tail) = split(text)?;
        let known = tail.trim() == "%" && !declared.contains(&path.as_str());
        known.then(|| (path, percent, text.to_owned()))
    };
    let watts = |state: usize| match module.loads[state].load {
        Load::Power(q) => Some(q.si),
        // Another kind of load draws by the voltage, so that two states cannot be told apart here.
        Load::Current(_) | Load::Resistance(_) => None,
    };
    let mut found = Vec::new();
    for (i, (from, _)) in module.duty.iter().enumerate() {
        for (j, (to, _)) in module.duty.iter().enumerate() {
            let less = matches!((watts(*from), watts(*to)), (Some(a), Some(b)) if b < a);
            let (true, Some((gives, percent, text)), Some((takes, had_percent, _))) =
                (less, share(i), share(j))
            else {
                continue;
            };
            let rungs = two_digits(&text, Way::Down, FAR);
            let steps = rungs.into_iter().filter_map(|r| {
                let (left, _) = split(&r.value)?;
                // Both are told to a thousandth of a percent, so that they still sum to what they did.
                let thousandths = |x: f64| libm::round(x * 1000.0);
                let moved = thousandths(percent) - thousandths(left);
                let takes = (thousandths(had_percent) + moved) / 1000.0;
                let gives = thousandths(left) / 1000.0;
                Some(Step {
                    values: vec![
                        format!("{} %", show_bare(gives)),
                        format!("{} %", show_bare(takes)),
                    ],
                    size: r.size,
                    cost: None,
                })
            });
            found.push(Knob {
                declared: None,
                steps: steps.collect(),
                paths: vec![gives, takes],
            });
        }
    }
    found
}

/// A trigger's two levels, moved together so that the distance between them stays.
fn threshold(written: &[Written], on: &Written, text: &str) -> Vec<Knob> {
    let Some(levels) = Levels::of(written, &on.path) else {
        return Vec::new();
    };
    let paths = levels.moved(levels.on_db()).into_iter().map(|m| m.path);
    let paths: Vec<String> = paths.collect();
    let ways = [Way::Up, Way::Down].into_iter();
    ways.map(|way| {
        let rungs = decibels(text, way, MOST_DB).into_iter();
        let steps = rungs.filter_map(|rung| {
            let (to_db, _) = split(&rung.value)?;
            Some(Step {
                values: levels.moved(to_db).into_iter().map(|m| m.to).collect(),
                size: rung.size,
                cost: None,
            })
        });
        Knob {
            declared: None,
            steps: steps.collect(),
            paths: paths.clone(),
        }
    })
    .collect()
}

/// A remedy that the plan declares: cheapest first where all choices have a cost, otherwise as written.
fn of_plan(remedy: &plan::Remedy, written: &[Written]) -> Knob {
    let now = written.iter().find(|w| w.path == remedy.sets);
    let now = now.map(|w| w.text.trim_matches(['"', '\'']));
    let mut steps: Vec<Step> = remedy
        .to
        .iter()
        .filter(|choice| now != Some(choice.value.as_str()))
        .map(|choice| Step {
            values: vec![choice.value.clone()],
            size: now.map_or(DOUBLING, |now| declared_size(now, &choice.value)),
            cost: choice.cost,
        })
        .collect();
    if steps.iter().all(|s| s.cost.is_some()) {
        steps.sort_by_key(|s| s.cost.map(|c| c.minor));
    }
    Knob {
        declared: Some(remedy.id.clone()),
        paths: vec![remedy.sets.clone()],
        steps,
    }
}

/// Two values in one unit by their ratio, decibels by their difference; others are as large a change as a doubling.
fn declared_size(from: &str, to: &str) -> f64 {
    match (split(from), split(to)) {
        (Some((x, a)), Some((y, b))) if a == b && a.trim_start().starts_with("dB") => {
            libm::fabs(x - y) * std::f64::consts::LN_10 / 10.0
        }
        (Some((x, a)), Some((y, b))) if a == b && x > 0.0 && y > 0.0 => {
            libm::fabs(libm::log(y / x))
        }
        _ => DOUBLING,
    }
}
