//! Remedies of two keys, of what is broken already, and of what other requirements are mended by.

use std::path::Path;

use assess::{Mended, RemedyAsk, Shelf, Verdict, Word, check, remedies_as_found};

use crate::recovery::{BUOY, buoy_at_lowest_water, judged, sized};
use crate::remedies::{found, only, setting};
use crate::support::{changed, close, known, read, requirement};
use crate::weight_reserve::still;

/// Panels of 7 W and a battery of 4 Ah: `check` has it broken with the largest panels beside this battery, with the largest battery beside these panels, and met with both.
fn too_small(panels: &str, capacity: &str) -> String {
    let supply = format!(
        "kind = \"solar-battery\"\npanels = {{ peak_power_each = \"{panels}\", tilt = \"60 deg\", faces = 4, loss = \"15 %\" }}\nbattery = {{ chemistry = \"lifepo4\", capacity = \"{capacity}\", voltage = \"12.8 V\" }}"
    );
    changed(&[
        ("kind = \"bench\"", supply.as_str()),
        (
            "shipping = 0.2",
            "shipping = 0.2\nclearness = [0.34, 0.38, 0.42, 0.45, 0.47, 0.46, 0.43, 0.42, 0.41, 0.37, 0.33, 0.31]",
        ),
        (
            "[detector.call]\n",
            "[detector.call]\nexpects = \"60 per d\"\n",
        ),
        (
            "[requirement.voltage]\n",
            "[requirement.charge]\nthat = \"lowest-charge\"\nat_least = \"30 %\"\nshare = \"80 %\"\nconfidence = \"90 %\"\n\n[requirement.voltage]\n",
        ),
    ])
}

/// Neither panels nor battery do anything alone, and both together mend it: the charge lies on its floor with either.
#[test]
fn verif_panels_and_battery_that_are_both_too_small_are_mended_together() {
    let word = |panels: &str, capacity: &str| {
        let check = check(&read(&too_small(panels, capacity)), &Shelf::default());
        requirement(&check, "charge").word()
    };
    assert_eq!(word("55 W", "4 Ah"), Word::Broken);
    assert_eq!(word("7 W", "40 Ah"), Word::Broken);
    assert_eq!(word("55 W", "40 Ah"), Word::Met);
    let found = found(&too_small("7 W", "4 Ah"), "charge");
    let mended = only(&found);
    assert!(mended.in_pairs);
    let first = mended.remedies.first().unwrap();
    let mut paths: Vec<&str> = first.turned.iter().map(|t| t.path.as_str()).collect();
    paths.sort_unstable();
    assert_eq!(
        paths,
        [
            "supply.bench.battery.capacity",
            "supply.bench.panels.peak_power_each"
        ]
    );
    let check = check(&read(&first.text), &Shelf::default());
    let charge = requirement(&check, "charge");
    assert_eq!(charge.word(), first.word);
    assert!(charge.verdicts.contains(&first.verdict));
}

/// The far end is below its own 46 V, and so is what asks 46 V to 58 V of every module. At 60 V the far end has what it needs and the near one has too much: what asks both is still
/// broken, and not broken by the change.
#[test]
fn verif_what_is_broken_already_is_still_broken() {
    let text = changed(&[
        ("conductor = \"18 AWG\"", "conductor = \"0.5 mm2 class 5\""),
        ("length = \"100 m\"", "length = \"800 m\""),
        (
            "input = { minimum = \"36 V\", maximum = \"56 V\" }",
            "input = { minimum = \"36 V\", maximum = \"62 V\" }",
        ),
        (
            "input = { minimum = \"20 V\", maximum = \"56 V\" }\nloads = { listening = \"2 W\" }",
            "input = { minimum = \"46 V\", maximum = \"62 V\" }\nloads = { listening = \"6 W\" }",
        ),
        (
            "boot = { time = \"2 s\", power = \"3 W\" }",
            "boot = { time = \"2 s\", power = \"6 W\" }",
        ),
        (
            "[requirement.supply]\n",
            "[requirement.window]\nthat = \"voltage\"\nat_least = \"46 V\"\nat_most = \"59 V\"\n\n[requirement.supply]\n",
        ),
    ]);
    let found = found(&text, "voltage");
    let window = requirement(&found.check, "window");
    assert_eq!(window.word(), Word::Broken);
    let higher = setting(only(&found), "supply.bench.output.voltage");
    assert_eq!(higher.turned[0].to, "60 V");
    assert!(higher.breaks.is_empty(), "{:?}", higher.breaks);
    let still = ("window".to_owned(), "module.base".to_owned());
    assert!(higher.still_broken.contains(&still), "{higher:?}");
    assert!(higher.wholes.iter().all(|w| w.requirement != "window"));
}

/// A drift alarm and a weak link are mended by what they are themselves: the next of two digits beyond the limit and what is narrow.
#[test]
fn verif_standing_checks_are_mended_by_their_own_keys() {
    let found_alarm = found(&buoy_at_lowest_water(), "drift-alarm");
    let mended = only(&found_alarm);
    let Verdict::Known(now) = &mended.judged.verdicts[0] else {
        panic!("it is known")
    };
    let wider = setting(mended, "module.buoy.drift_alarm.radius");
    let least_m = now.limit.value + 2.0;
    let step_m = if least_m > 100.0 { 10.0 } else { 1.0 };
    let told = format!("{} m", (least_m / step_m).ceil() * step_m);
    assert_eq!(wider.turned[0].to, told);
    assert_eq!(wider.word, Word::Met);
    let link = "[weak_link.top]\nposition = { section = \"section.riser\", from_top = \"5 m\" }\nparts_from = \"100 N\"\nparts_by = \"4 kN\"\n";
    let text = format!("{BUOY}{link}");
    let found_link = found(&text, "weak-link");
    let stronger = setting(only(&found_link), "weak_link.top.parts_from");
    let then = judged(&stronger.text);
    assert_eq!(requirement(&then, "weak-link").word(), Word::Met);
}

/// By hand, of 99 % asked: a grapnel of 70 % beside two releases that share a transducer, of which the better counts, 95 %, would have to work `1 - 0.01 / 0.05` = 80 %; a release
/// `1 - 0.01 / 0.3` = 96.67 %. How surely gear works is no key.
#[test]
fn verif_a_means_that_falls_short_is_told_by_how_much() {
    let means = "[recovery.call]\nkind = \"release\"\nat = \"anchor.sinker\"\nworks = \"95 %\"\nrelies_on = [\"the transducer on deck\"]\n[recovery.timer]\nkind = \"release\"\nat = \"anchor.sinker\"\nworks = \"90 %\"\nrelies_on = [\"the transducer on deck\"]\n[recovery.grapnel]\nkind = \"drag\"\nworks = \"70 %\"\n[requirement.back]\nthat = \"recovery-chance\"\nat_least = \"99 %\"\n";
    let text = sized(&still(means));
    close(known(&judged(&text), "back").value.value, 98.5, 1e-9);
    let found = found(&text, "back");
    let mended = only(&found);
    let works = |t: &assess::Turned| t.path.starts_with("recovery.");
    assert!(!mended.remedies.iter().any(|r| r.turned.iter().any(works)));
    let told = &mended.falls_short;
    assert_eq!(told.len(), 3);
    let of = |id: &str| {
        let head = format!("recovery.{id} works");
        told.iter().find(|s| s.starts_with(&head)).unwrap()
    };
    assert!(of("grapnel").contains("80 % would be asked"), "{told:?}");
    for release in ["call", "timer"] {
        assert!(of(release).contains("96.67 % would be asked"), "{told:?}");
    }
}

/// What is told as it is found is what is told at the end, in the same order and with the same numbers.
#[test]
fn verif_remedies_are_told_as_they_are_found() {
    let text = too_small("7 W", "4 Ah").replace("[requirement.messages]", "[requirement.few]\nthat = \"uplink-messages\"\nof = \"uplink.shore\"\nat_most = \"1 per 30 d\"\n\n[requirement.messages]");
    let reading = read(&text);
    let ask = RemedyAsk {
        requirement: None,
        threads: 2,
    };
    let fetch = |_: &Path| Ok(text.as_bytes().to_vec());
    let mut told: Vec<Mended> = Vec::new();
    let all = remedies_as_found(
        Path::new("plan.toml"),
        &reading,
        &Shelf::default(),
        &fetch,
        &ask,
        &|_, _| true,
        &mut |name, mended| {
            assert_eq!(name, "Test line");
            told.push(mended.clone());
        },
    )
    .unwrap();
    assert!(all.mended.len() > 1);
    let numbers = |all: &[Mended]| -> Vec<(String, Vec<usize>)> {
        let each = all.iter();
        each.map(|m| {
            (
                m.judged.id.clone(),
                m.remedies.iter().map(|r| r.number).collect(),
            )
        })
        .collect()
    };
    assert_eq!(numbers(&told), numbers(&all.mended));
    let flat: Vec<usize> = all
        .mended
        .iter()
        .flat_map(|m| m.remedies.iter().map(|r| r.number))
        .collect();
    assert_eq!(flat, (1..=flat.len()).collect::<Vec<usize>>());
}
