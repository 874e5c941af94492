//! What moves verdicts most of all that a plan does not write.

use std::path::Path;

use assess::{
    Assumption, Came, Check, LeverageOf, Memo, Shelf, Tier, assumed_by_leverage, check_with,
};
use plan::Reading;

use crate::energy::{CLEARNESS, EXPECTS, SUN, WINTER};
use crate::moored::head;
use crate::support::{good, read, requirement};

/// Under the anchor's table of the head: a buoy on 60 m of rope over 40 m of water.
const HANGS: &str = "weight_in_water = \"3 kN\"\nholding = \"1 kN\"\n[module.buoy.hull]\nweight = \"400 N\"\nwaterplane = \"0.5 m2\"\nfull_draught = \"0.8 m\"\ncd_a_water = \"0.2 m2\"\ncd_a_wind = \"0.3 m2\"\n[part.laid-12]\nis = \"rope\"\ndiameter = \"12 mm\"\nweight_in_water = \"0.5 N/m\"\nstiffness = \"100 kN\"\nnormal_drag = 1.2\ntangential_drag = 0.02\nworking_load = \"4 kN\"\n[section.riser]\nfrom = \"module.buoy\"\nto = \"anchor.sinker\"\nlength = \"60 m\"\nrope = \"part.laid-12\"\n[case.slack]\n";

fn fetch(wanted: &Path) -> std::io::Result<Vec<u8>> {
    Err(std::io::Error::other(format!(
        "{} is not there",
        wanted.display()
    )))
}

fn weighed(reading: &Reading, threads: usize) -> (Check, Vec<Assumption>) {
    let (shelf, memo) = (Shelf::default(), Memo::new());
    let check = check_with(reading, &shelf, &memo, Tier::Full);
    let of = LeverageOf {
        path: Path::new("plan.toml"),
        reading,
        shelf: &shelf,
        fetch: &fetch,
        memo: &memo,
    };
    let found = assumed_by_leverage(&of, &check, threads, &|_| true).unwrap();
    (check, found)
}

/// A card of 1 TB that must hold a deployment: a tenth kept free takes a tenth of the time, `0.1 T`.
#[test]
fn verif_a_share_kept_free_moves_the_time_of_a_store_by_that_share() {
    let reading = good(&[]);
    let (check, found) = weighed(&reading, 1);
    let card = found
        .iter()
        .find(|a| a.told.contains("filled to the last byte"))
        .unwrap();
    let (tried, moved) = card.most().unwrap();
    assert_eq!(tried.keys, ["storage.card.keep_free"]);
    assert_eq!(tried.value, "10 %");
    assert_eq!(moved.requirement, "card");
    let assess::Verdict::Known(known) = &requirement(&check, "card").verdicts[0] else {
        panic!("not known");
    };
    let lost = moved.before.value - moved.after.as_ref().unwrap().value;
    let tenth = 0.1 * known.value.value;
    assert!((lost / tenth - 1.0).abs() < 1e-9, "{lost} against {tenth}");
    assert!((moved.widths - lost / known.narrow).abs() < 1e-9);
}

/// Every sentence of the check is there once, the larger leverage first, what is no number last and in its order; one thread or two.
#[test]
fn verif_all_that_is_assumed_is_told_once_by_leverage() {
    let reading = good(&[]);
    let (check, found) = weighed(&reading, 1);
    let mut told: Vec<&String> = found.iter().map(|a| &a.told).collect();
    told.sort();
    let mut all: Vec<&String> = check.assumed.iter().collect();
    all.sort();
    assert_eq!(told, all);
    let widths: Vec<f64> = found.iter().map(|a| a.widths().unwrap_or(-1.0)).collect();
    assert!(widths.windows(2).all(|w| w[0] >= w[1]), "{widths:?}");
    assert!(widths[0] > 0.0);
    let behind: Vec<&String> = found
        .iter()
        .filter(|a| a.widths().is_none())
        .map(|a| &a.told)
        .collect();
    let place = |t: &String| check.assumed.iter().position(|a| a == t).unwrap();
    assert!(behind.windows(2).all(|w| place(w[0]) < place(w[1])));
    let (_, again) = weighed(&reading, 2);
    assert_eq!(found, again);
}

/// What a sentence stands for is a key that the plan can have: each number is tried and accepted, and the plan that writes it no longer assumes it.
#[test]
fn verif_each_number_is_one_that_the_plan_may_write() {
    for reading in [good(&[]), good(&[SUN, CLEARNESS, EXPECTS, WINTER])] {
        let (_, found) = weighed(&reading, 2);
        for one in &found {
            for tried in &one.tried {
                assert_ne!(
                    tried.came,
                    Came::Refused,
                    "{:?} {}",
                    tried.keys,
                    tried.value
                );
            }
        }
        assert!(found.iter().any(|a| !a.tried.is_empty()));
    }
}

/// A tide, currents, wind, waves and growth that nobody wrote are tried as any number is, and a line that hangs moves by them.
#[test]
fn verif_weather_and_water_that_nobody_wrote_are_tried() {
    let reading = read(&format!(
        "{}{HANGS}",
        head("a line of one case", 40.0, 1025.0)
    ));
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    let (_, found) = weighed(&reading, 2);
    for (told, key) in [
        ("the site writes no `tide`", "site.tide"),
        ("the site writes no `growth`", "site.growth"),
        ("the case writes no `current`", "case.slack.current"),
        ("the case writes no `water_level`", "case.slack.water_level"),
        ("the case writes no `wind`", "case.slack.wind"),
        ("the case writes no `wave`", "case.slack.wave"),
    ] {
        let one = found.iter().find(|a| a.told.contains(told));
        let one = one.unwrap_or_else(|| panic!("nothing says: {told}"));
        let tried = &one.tried;
        assert!(!tried.is_empty(), "{told} is not tried");
        for tried in tried {
            assert!(tried.keys.contains(&key.to_owned()), "{:?}", tried.keys);
            assert_ne!(tried.came, Came::Refused, "{key} = {}", tried.value);
        }
    }
    let current = found
        .iter()
        .find(|a| a.told.contains("writes no `current`"));
    assert!(
        current.and_then(Assumption::most).is_some(),
        "a current moves nothing"
    );
}
