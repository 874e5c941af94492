//! Two lengths of cable from one reel: what is drawn as one, what stands in for a check of every plan, and what evidence is made of.

use assess::{Check, DrawsBeside, DrawsRecord, Evidence, Known, Shelf, Verdict, Word, check};

use crate::certainty::{ask, of};
use crate::support::{read, requirement};

const TEXT: &str = include_str!("one_reel.toml");
const SHARED: &str = "shared = \"batch\"\n";

fn with(changes: &[(&str, &str)]) -> String {
    let mut text = TEXT.to_owned();
    for (from, to) in changes {
        assert_eq!(text.matches(from).count(), 1, "{from}");
        text = text.replace(from, to);
    }
    text
}

fn checked(text: &str, draws: &[DrawsRecord]) -> Check {
    let reading = read(text);
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    let shelf = Shelf {
        draws: draws.to_vec(),
        ..Shelf::default()
    };
    check(&reading, &shelf)
}

fn record(text: &str, draws: usize, seed: u64) -> DrawsRecord {
    let reading = read(text);
    let ask = assess::CertaintyAsk { seed, ..ask(draws) };
    let found = of(&reading, &ask);
    DrawsRecord::new(&reading.drawn_digests, &ask, &found, "test".to_owned())
}

#[track_caller]
fn first(judged: &assess::Judged) -> &Known {
    match judged.verdicts.first() {
        Some(Verdict::Known(known)) => known,
        other => panic!("{other:?}"),
    }
}

/// Whether two lengths come from one reel stands in no value, and decides how far their sum spreads.
#[test]
fn verif_what_is_drawn_as_one_is_part_of_what_a_plan_says() {
    let alone = with(&[(SHARED, "")]);
    let (shared, apart) = (read(TEXT), read(&alone));
    assert_ne!(shared.digest, apart.digest);
    assert_ne!(shared.drawn_digests, apart.drawn_digests);
    // With nothing spread it says nothing.
    let plain = |text: &str| {
        text.replace(" ± 700 mohm uniform", "")
            .replace(" ± 900 mohm uniform", "")
    };
    assert_eq!(read(&plain(TEXT)).digest, read(&plain(&alone)).digest);
    let made = record(&alone, 20, 1);
    assert_eq!(
        checked(&alone, std::slice::from_ref(&made)).draws,
        DrawsBeside::Current
    );
    assert_eq!(checked(TEXT, &[made]).draws, DrawsBeside::Stale);
}

/// The far module has less than its own lowest voltage: a wish for that leaves it to the check of every plan, a demand does not.
#[test]
fn verif_a_wish_stands_in_for_no_check_of_every_plan() {
    let low = (
        "input = { minimum = \"22 V\"",
        "input = { minimum = \"23.5 V\"",
    );
    let asked = "of = \"module.b\"\nat_least = \"22.25 V\"\n";
    let demand = checked(&with(&[low, (asked, "")]), &[]);
    assert!(demand.standing.iter().all(|j| j.id != "input-voltage"));
    assert_eq!(requirement(&demand, "voltage").word(), Word::Broken);
    let wish = checked(&with(&[low, (asked, "must = \"should\"\n")]), &[]);
    let standing = wish
        .standing
        .iter()
        .find(|j| j.id == "input-voltage")
        .unwrap();
    assert_eq!(standing.word(), Word::Broken);
    assert!(standing.verdicts.iter().any(|v| v.subject() == "module.b"));
}

/// One seed refutes a share; another with more draws, in which it could pass, counts for less.
#[test]
fn verif_a_seed_that_refutes_a_share_is_not_outnumbered() {
    let that = "that = \"voltage\"\n";
    let text = with(&[(that, "that = \"voltage\"\nshare_of_draws = \"97 %\"\n")]);
    let made = record(&text, 60, 3);
    let json = made.to_json();
    let told = |met: u64, draws: u64, seed: u64| {
        let mut value: serde_json::Value = serde_json::from_str(&json).unwrap();
        value["seed"] = seed.into();
        value["draws"] = draws.into();
        for kind in ["requirements", "standing"] {
            for one in value[kind].as_array_mut().unwrap() {
                let is_it = one["id"] == "voltage";
                let met = if is_it { met } else { draws };
                one["met"] = met.into();
                one["broken"] = (draws - met).into();
                one["unknown"] = 0.into();
                one["marginal"] = 0.into();
            }
        }
        DrawsRecord::from_json(&value.to_string()).unwrap()
    };
    let (refutes, shows) = (told(40, 60, 3), told(500, 500, 4));
    let word = |draws: &[DrawsRecord]| requirement(&checked(&text, draws), "voltage").word();
    assert_eq!(word(std::slice::from_ref(&refutes)), Word::Broken);
    let both = requirement(&checked(&text, &[shows.clone(), refutes]), "voltage").clone();
    assert_eq!(both.word(), Word::Broken);
    assert_eq!(both.in_draws.unwrap().seed, 3);
    assert_ne!(word(&[shows]), Word::Broken);
}

/// What may be added rests on the lowest voltages that must be kept, and so does the digest of what it is made of.
#[test]
fn verif_evidence_of_a_reserve_is_of_all_that_it_reads() {
    let of = |text: &str| {
        let found = checked(text, &[]);
        let room = first(requirement(&found, "room")).clone();
        let Evidence::Computed { inputs, .. } = &room.evidence else {
            panic!("{:?}", room.evidence);
        };
        (room.value.value, inputs.clone())
    };
    let (strict_w, strict) = of(TEXT);
    // What the module's own input bears, and what a requirement asks besides.
    let asked = ("at_least = \"22.25 V\"", "at_least = \"21 V\"");
    let (own_w, own) = of(&with(&[asked]));
    let bears = (
        "input = { minimum = \"22 V\"",
        "input = { minimum = \"20 V\"",
    );
    let (loose_w, loose) = of(&with(&[asked, bears]));
    assert!(
        own_w > strict_w && loose_w > own_w,
        "{strict_w} {own_w} {loose_w}"
    );
    assert!(strict != own && own != loose);
}
