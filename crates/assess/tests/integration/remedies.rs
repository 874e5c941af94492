//! Remedies and comparisons: the smallest change by hand, cures that break something else, pairs.

use std::path::Path;

use assess::input::supply_load;
use assess::{
    Mended, Remedies, Remedy, RemedyAsk, RemedyError, Shelf, Verdict, Word, changes, check, moves,
    remedies,
};
use plan::{Reading, SupplyIx};

use crate::support::{changed, close, good, read};

#[track_caller]
pub(crate) fn found(text: &str, requirement: &str) -> Remedies {
    found_on(text, requirement, &Shelf::default())
}

/// The same, with records.
#[track_caller]
pub(crate) fn found_on(text: &str, requirement: &str, shelf: &Shelf) -> Remedies {
    found_of(text, Some(requirement), shelf)
}

/// Of everything that is broken.
#[track_caller]
pub(crate) fn found_of_all(text: &str) -> Remedies {
    found_of(text, None, &Shelf::default())
}

#[track_caller]
fn found_of(text: &str, requirement: Option<&str>, shelf: &Shelf) -> Remedies {
    let reading = read(text);
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    let ask = RemedyAsk {
        requirement: requirement.map(str::to_owned),
        threads: 2,
    };
    let fetch = |_: &Path| Ok(text.as_bytes().to_vec());
    remedies(
        Path::new("plan.toml"),
        &reading,
        shelf,
        &fetch,
        &ask,
        &|_, _| true,
    )
    .unwrap()
}

pub(crate) fn only(found: &Remedies) -> &Mended {
    assert_eq!(found.mended.len(), 1);
    &found.mended[0]
}

/// The remedy that sets this key and no other.
#[track_caller]
pub(crate) fn setting<'f>(mended: &'f Mended, path: &str) -> &'f Remedy {
    let one = |r: &&Remedy| r.turned.len() == 1 && r.turned[0].path == path;
    mended.remedies.iter().find(one).unwrap_or_else(|| {
        let all: Vec<_> = mended.remedies.iter().map(|r| &r.turned).collect();
        panic!("nothing sets {path}: {all:?}")
    })
}

const LENGTH_M: f64 = 800.0;
const SUPPLY_V: f64 = 48.0;
const LOAD_W: f64 = 6.0;
const LEAST_V: f64 = 46.0;
/// A voltage closer to its limit than this is marginal.
const NARROW_V: f64 = 0.5;
/// Water of the small plan.
const WATER_DEGC: f64 = 10.0;

/// The ear at the end of a thin cable, with a lossless converter, boot as its load, and a least voltage.
fn thin(conductor: &str, least: &str) -> Vec<(String, String)> {
    let pairs = [
        ("length = \"100 m\"", format!("length = \"{LENGTH_M} m\"")),
        (
            "conductor = \"18 AWG\"",
            format!("conductor = \"{conductor}\""),
        ),
        (
            "input = { minimum = \"20 V\", maximum = \"56 V\" }\nloads = { listening = \"2 W\" }",
            format!(
                "input = {{ minimum = \"20 V\", maximum = \"56 V\" }}\nloads = {{ listening = \"{LOAD_W} W\" }}"
            ),
        ),
        (
            "boot = { time = \"2 s\", power = \"3 W\" }",
            format!("boot = {{ time = \"2 s\", power = \"{LOAD_W} W\" }}"),
        ),
        (
            "[requirement.voltage]\nthat = \"voltage\"\n",
            format!(
                "[requirement.voltage]\nthat = \"voltage\"\nof = \"module.ear\"\nat_least = \"{least}\"\n"
            ),
        ),
    ];
    pairs.map(|(a, b)| (a.to_owned(), b)).to_vec()
}

fn text_of(changes: &[(String, String)]) -> String {
    let changes: Vec<(&str, &str)> = changes
        .iter()
        .map(|(a, b)| (a.as_str(), b.as_str()))
        .collect();
    changed(&changes)
}

/// Voltage at the end of a loop of two conductors with a constant power there, by Ohm's law: V = (E + sqrt(E^2 - 4 P R)) / 2.
fn voltage_v(ohm_per_km_20: f64) -> f64 {
    // Copper, IEC 60228 annex: 0.00393 of the resistance at 20 degC for each kelvin.
    let per_km = ohm_per_km_20 * (1.0 + 0.003_93 * (WATER_DEGC - 20.0));
    let loop_ohm = 2.0 * LENGTH_M / 1000.0 * per_km;
    (SUPPLY_V + (SUPPLY_V * SUPPLY_V - 4.0 * LOAD_W * loop_ohm).sqrt()) / 2.0
}

/// The smallest conductor by Ohm's law with the highest resistances of IEC 60228, class 5, plain.
#[test]
fn val_the_smallest_conductor_is_that_of_ohms_law_with_iec_60228() {
    let table = truth::numbers::<5>("power/iec60228-resistance.csv");
    let thinnest = 0.5;
    let met = |row: &&[f64; 5]| row[0] > thinnest && voltage_v(row[3]) >= LEAST_V + NARROW_V;
    let smallest = table.iter().find(met).unwrap();
    assert!(
        smallest[0] > 0.75 && smallest[0] < 10.0,
        "the case says little: {smallest:?}"
    );
    let found = found(&text_of(&thin("0.5 mm2 class 5", "46 V")), "voltage");
    let mended = only(&found);
    assert_eq!(mended.judged.word(), Word::Broken);
    let remedy = setting(mended, "span.cable.conductor");
    assert_eq!(remedy.turned[0].to, format!("{} mm2 class 5", smallest[0]));
    assert_eq!(remedy.word, Word::Met);
    let Verdict::Known(known) = &remedy.verdict else {
        panic!("it is known")
    };
    close(known.value.value, voltage_v(smallest[3]), 0.005);
}

/// The shortest cut of the cable by the same law, to two digits of its length.
#[test]
fn val_the_longest_cable_is_that_of_ohms_law() {
    let found = found(&text_of(&thin("1.5 mm2 class 5", "46 V")), "voltage");
    let remedy = setting(only(&found), "span.cable.length");
    let length_m: f64 = remedy.turned[0].to.trim_end_matches(" m").parse().unwrap();
    // 13.3 ohm/km: IEC 60228, class 5, plain. V >= 46.5 V needs P R <= V (E - V).
    let target_v = LEAST_V + NARROW_V;
    let per_km = 13.3 * (1.0 + 0.003_93 * (WATER_DEGC - 20.0));
    let most_m = target_v * (SUPPLY_V - target_v) / LOAD_W / (2.0 * per_km) * 1000.0;
    assert!(
        length_m <= most_m && length_m + 10.0 > most_m,
        "{length_m} of {most_m}"
    );
}

/// Days without light are the energy that can be drawn over the mean load (common practice); see `batteries.rs` for the terms.
#[test]
fn verif_the_smallest_battery_is_that_of_the_energy_by_hand() {
    let sun = "kind = \"solar-battery\"\npanels = { peak_power_each = \"20 W\", tilt = \"60 deg\", faces = 4, loss = \"15 %\" }\nbattery = { chemistry = \"lifepo4\", capacity = \"20 Ah\", voltage = \"12.8 V\", usable = [{ temperature = \"5 degC\", share = \"90 %\" }, { temperature = \"20 degC\", share = \"90 %\" }], self_discharge_per_month = \"0 %\" }";
    let asked =
        "[requirement.dark]\nthat = \"autonomy\"\nat_least = \"6 d\"\n\n[requirement.voltage]\n";
    let changes = [
        ("kind = \"bench\"", sun),
        ("[requirement.voltage]\n", asked),
    ];
    let load_w = supply_load(&good(&changes).line.unwrap(), SupplyIx(0))
        .unwrap()
        .mean_w();
    let days = |ah: f64| {
        let capacity_wh = ah * 12.8 * (1.0 - 0.03 / 365.2425);
        capacity_wh * 0.9 * 0.8 * 0.96 / load_w / 24.0
    };
    // Less than a day over the limit is marginal.
    let smallest = (21..100)
        .chain((100..1000).step_by(10))
        .find(|ah| days(f64::from(*ah)) >= 7.0);
    let found = found(&changed(&changes), "dark");
    let remedy = setting(only(&found), "supply.bench.battery.capacity");
    assert_eq!(remedy.turned[0].to, format!("{} Ah", smallest.unwrap()));
}

/// Twelve runs a day bill 360 messages in 30 d; at most 200 lets six a day pass.
#[test]
fn verif_the_highest_rate_is_that_of_the_count_by_hand() {
    let text = changed(&[("at_most = \"400 per 30 d\"", "at_most = \"200 per 30 d\"")]);
    let found = found(&text, "messages");
    let mended = only(&found);
    let Verdict::Known(now) = &mended.judged.verdicts[0] else {
        panic!("it is known")
    };
    close(now.value.value, 360.0, 0.0);
    let remedy = setting(mended, "behaviour.act.at_most");
    assert_eq!(remedy.turned[0].to, "6 per d");
    assert!(
        remedy
            .text
            .contains("when_told = \"alert/#\"\nat_most = \"6 per d\"\n")
    );
}

/// A higher supply voltage mends the far end and breaks the limit of the near one: it is told, and stands last.
#[test]
fn verif_a_cure_that_breaks_something_else_says_so_and_stands_last() {
    let mut changes = thin("0.5 mm2 class 5", "46 V");
    changes.push((
        "[requirement.supply]\n".to_owned(),
        "[requirement.near]\nthat = \"voltage\"\nof = \"module.base\"\nat_most = \"50 V\"\n\n[requirement.supply]\n".to_owned(),
    ));
    let found = found(&text_of(&changes), "voltage");
    let mended = only(&found);
    let higher = setting(mended, "supply.bench.output.voltage");
    assert_eq!(higher.turned[0].to, "60 V");
    let broken = |r: &Remedy| r.breaks.iter().any(|(id, ..)| id == "near");
    assert!(broken(higher), "{:?}", higher.breaks);
    let first = mended
        .remedies
        .iter()
        .position(|r| !r.breaks.is_empty())
        .unwrap();
    assert!(first > 0);
    assert!(
        mended.remedies[first..]
            .iter()
            .all(|r| !r.breaks.is_empty())
    );
    assert!(!mended.in_pairs);
}

/// Where the plan says what can be had, nothing else is tried on that key, and the cheapest that mends stands first.
#[test]
fn verif_declared_choices_replace_the_steps_and_the_cheapest_is_first() {
    let declared = "\n[remedy.cable]\nsets = \"span.cable.conductor\"\nto = [{ value = \"10 mm2 class 5\", cost = \"90 EUR\" }, { value = \"4 mm2 class 5\", cost = \"120 EUR\" }, { value = \"0.75 mm2 class 5\", cost = \"10 EUR\" }]\n";
    let found = found(
        &(text_of(&thin("0.5 mm2 class 5", "46 V")) + declared),
        "voltage",
    );
    let first = &only(&found).remedies[0];
    assert_eq!(first.turned[0].to, "10 mm2 class 5");
    assert_eq!(first.cost.unwrap().to_string(), "90.00 EUR");
    assert_eq!(first.declared, ["cable"]);
    assert_eq!(first.number, 1);
}

/// Cable and length both help and neither suffices; every other key is declared with what there is.
#[test]
fn verif_pairs_are_tried_where_nothing_single_suffices() {
    let fixed = |id: &str, sets: &str, values: &[&str]| {
        let to: Vec<String> = values
            .iter()
            .map(|v| format!("{{ value = \"{v}\" }}"))
            .collect();
        format!(
            "\n[remedy.{id}]\nsets = \"{sets}\"\nto = [{}]\n",
            to.join(", ")
        )
    };
    let mut text = text_of(&thin("0.5 mm2 class 5", "46 V"));
    for more in [
        fixed("volts", "supply.bench.output.voltage", &["48 V"]),
        fixed("draws", "module.ear.loads.listening", &["6 W"]),
        fixed("cable", "span.cable.conductor", &["1 mm2 class 5"]),
        fixed("cut", "span.cable.length", &["300 m"]),
    ] {
        text.push_str(&more.replace(
            "\"1 mm2 class 5\" }",
            "\"1 mm2 class 5\", cost = \"40 EUR\" }",
        ));
    }
    // By hand: 19.5 ohm/km over 800 m and 39.0 ohm/km over 300 m are both too much, 19.5 ohm/km over 300 m is not.
    let at = |per_km: f64, length_m: f64| voltage_v(per_km * length_m / LENGTH_M);
    assert!(at(19.5, 800.0) < LEAST_V && at(39.0, 300.0) < LEAST_V);
    assert!(at(19.5, 300.0) >= LEAST_V + NARROW_V);
    let found = found(&text, "voltage");
    let mended = only(&found);
    assert!(mended.in_pairs);
    // What the cable costs is told although nothing says what the cut does.
    let costs = mended.remedies[0]
        .costs
        .iter()
        .map(|c| c.map(|c| c.to_string()));
    let costs: std::collections::BTreeSet<Option<String>> = costs.collect();
    assert_eq!(costs, [None, Some("40.00 EUR".to_owned())].into());
    assert_eq!(mended.remedies[0].cost, None);
    assert_eq!(mended.remedies.len(), 1);
    let mut paths: Vec<&str> = mended.remedies[0]
        .turned
        .iter()
        .map(|t| t.path.as_str())
        .collect();
    paths.sort_unstable();
    assert_eq!(paths, ["span.cable.conductor", "span.cable.length"]);
    assert_eq!(mended.remedies[0].word, Word::Met);
}

#[test]
fn verif_what_is_met_needs_nothing_and_what_is_not_there_is_told() {
    assert!(found(&changed(&[]), "links").mended.is_empty());
    let reading = good(&[]);
    let ask = |id: &str| RemedyAsk {
        requirement: Some(id.to_owned()),
        threads: 1,
    };
    let fetch = |_: &Path| Ok(changed(&[]).into_bytes());
    let of = |id: &str| {
        remedies(
            Path::new("plan.toml"),
            &reading,
            &Shelf::default(),
            &fetch,
            &ask(id),
            &|_, _| true,
        )
        .unwrap_err()
    };
    assert!(
        matches!(of("link"), RemedyError::NoRequirement { near: Some(near), .. } if near == "links")
    );
    assert!(matches!(of("night"), RemedyError::Unknown { .. }));
}

/// One key changed: it alone is told, and each margin moves as the two checks say.
#[test]
fn verif_a_comparison_is_the_difference_of_two_checks() {
    let first = text_of(&thin("2.5 mm2 class 5", "44 V"));
    let second = first
        .replace("length = \"800 m\"", "length = \"0.9 km\"")
        .replace("price = \"0.10 EUR\"", "price = \"0.1 EUR\"");
    let (a, b): (Reading, Reading) = (read(&first), read(&second));
    assert!(!a.has_errors() && !b.has_errors());
    let told = changes(&a, &b);
    assert_eq!(told.changed.len(), 1);
    assert_eq!(told.changed[0].path, "span.cable.length");
    assert_eq!(told.changed[0].to.as_ref().unwrap().text, "\"0.9 km\"");
    assert_eq!(told.rewritten, ["uplink.shore.price"]);
    let (before, after) = (check(&a, &Shelf::default()), check(&b, &Shelf::default()));
    let moved = moves(&before, &after);
    assert_eq!(moved.rulings, []);
    let sizes: Vec<f64> = moved.margins.iter().map(|m| m.by.unwrap().abs()).collect();
    assert!(
        sizes.len() >= 2 && sizes.is_sorted_by(|x, y| x >= y),
        "{sizes:?}"
    );
    let voltage = moved
        .margins
        .iter()
        .find(|m| m.requirement == "voltage" && m.subject == "module.ear")
        .unwrap();
    let (Some(Verdict::Known(x)), Some(Verdict::Known(y))) = (&voltage.before, &voltage.after)
    else {
        panic!("both are known")
    };
    // A voltage is marginal within 0.5 V.
    close(
        voltage.by.unwrap(),
        (y.margin.value - x.margin.value) / 0.5,
        1e-12,
    );
    let same = moves(&before, &before);
    assert_eq!((same.rulings.len(), same.margins.len()), (0, 0));
    let total = moved.rulings.len() + moved.margins.len() + moved.unchanged;
    assert_eq!(same.unchanged, total);
}
