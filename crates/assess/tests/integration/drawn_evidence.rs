//! Draws that lie beside a plan: what they are worth in a later check, and the shares of draws that requirements ask for.

use assess::evidence::{AnyRecord, EvidenceError};
use assess::{
    CertaintyAsk, Check, DRAWS, DrawsBeside, DrawsRecord, Ruling, Shelf, Support, Verdict, check,
    evidence_table,
};

use crate::certainty::{ask, drawn, linear, of, share};
use crate::support::{changed, close, read, requirement, why_unknown};
use crate::tuned::{shelf_of, tuning_of};

/// The plan of the reference file's script.
fn text() -> String {
    linear("48 V ± 1.2 V", "16.1 ohm ± 3.2 ohm uniform", "36.7 V")
}

fn asking(share: &str) -> String {
    let that = "that = \"voltage\"";
    let text = text();
    assert_eq!(text.matches(that).count(), 1);
    text.replace(that, &format!("{that}\nshare_of_draws = \"{share}\""))
}

fn record(text: &str, ask: &CertaintyAsk) -> DrawsRecord {
    let reading = read(text);
    let found = of(&reading, ask);
    DrawsRecord::new(&reading.drawn_digests, ask, &found, "test".to_owned())
}

fn checked(text: &str, draws: &[DrawsRecord]) -> Check {
    let shelf = Shelf {
        draws: draws.to_vec(),
        certainty_command: Some("soundline check plan.toml --certainty".to_owned()),
        ..Shelf::default()
    };
    check(&read(text), &shelf)
}

/// A figure of the reference file.
fn reference(what: &str, at: &str) -> f64 {
    let rows = truth::rows("report/numpy-margins.csv");
    let row = rows.iter().find(|row| row[0] == what && row[1] == at);
    truth::number(&row.unwrap()[2])
}

/// The same draws by a second program, and their quantiles by NumPy.
#[test]
fn val_margins_of_the_same_draws_have_the_quantiles_of_numpy() {
    let found = drawn(&text(), &ask(200));
    let voltage = share(&found, "voltage");
    let margins = voltage.margins.as_ref().unwrap();
    for (found, at) in margins
        .at_5_25_50_75_95
        .into_iter()
        .zip(["0.05", "0.25", "0.5", "0.75", "0.95"])
    {
        close(found, reference("margin_v", at), 1e-9);
    }
    assert_eq!(voltage.met as f64, reference("met", ""));
    close(voltage.share_low, reference("low", "0.95"), 1e-12);
    close(voltage.share_high, reference("high", "0.95"), 1e-12);
}

#[test]
fn val_a_later_check_tells_the_share_met_with_the_limits_of_scipy() {
    let text = text();
    let record = record(&text, &ask(200));
    let found = checked(&text, std::slice::from_ref(&record));
    assert_eq!(found.draws, DrawsBeside::Current);
    let told = requirement(&found, "voltage").in_draws.clone().unwrap();
    assert_eq!((told.draws, told.seed, told.unknown), (200, 1, 0));
    assert_eq!(told.met as f64, reference("met", ""));
    close(told.share_low, reference("low", "0.95"), 1e-12);
    close(told.share_high, reference("high", "0.95"), 1e-12);
    assert!(!found.open.iter().any(|o| o.contains("--certainty")));
    // What is checked in every plan has its draws too.
    assert!(found.standing.iter().all(|j| j.in_draws.is_some()));
    let reading = read(&text);
    let table = evidence_table(reading.line.as_ref(), &found);
    let of = table.requirements.iter().find(|s| s.id == "voltage");
    let draws = of
        .unwrap()
        .supports
        .iter()
        .filter(|(s, _)| matches!(s, Support::Draws(d) if d.result_digest == record.digest()));
    assert_eq!(draws.count(), 1);
}

/// Draws of other limits are told as stale where nothing that is judged has counts in them, and that spreads were not drawn stays open.
#[test]
fn verif_draws_of_other_limits_alone_are_not_current() {
    let text = text();
    let own = "[requirement.voltage]\n";
    let (before, _) = text.split_once(own).unwrap();
    let with = |limit: &str| format!("{before}{own}that = \"voltage\"\nat_least = \"{limit}\"\n");
    let made = record(&with("30 V"), &ask(40));
    let same = checked(&with("30 V"), std::slice::from_ref(&made));
    assert_eq!(same.draws, DrawsBeside::Current);
    let other = checked(&with("31 V"), &[made]);
    assert_eq!(other.draws, DrawsBeside::Stale);
    let is_open = |check: &Check| check.open.iter().any(|o| o.contains("--certainty"));
    assert!(is_open(&other) && !is_open(&same), "{:?}", other.open);
}

/// One byte of the plan's content, of the seed or of the numbers of draws and years; not its layout.
#[test]
fn verif_draws_of_another_state_of_the_plan_count_for_nothing() {
    let text = text();
    let made = record(&text, &ask(40));
    let beside = |text: &str, record: &DrawsRecord| {
        let found = checked(text, std::slice::from_ref(record));
        let told = found.requirements.iter().chain(&found.standing);
        let told = told.filter(|j| j.in_draws.is_some()).count();
        assert_eq!(told > 0, found.draws == DrawsBeside::Current);
        found.draws
    };
    assert_eq!(beside(&text, &made), DrawsBeside::Current);
    let laid_out = format!(
        "# A word more.\n{}",
        text.replace("\"48 V ± 1.2 V\"", "\"48 V +/- 1200 mV\"")
    );
    assert_eq!(beside(&laid_out, &made), DrawsBeside::Current);
    for (from, to) in [
        ("± 1.2 V", "± 1.3 V"),
        ("3.2 ohm uniform", "3.2 ohm"),
        ("36.7 V", "36.8 V"),
        ("length = \"100 m\"", "length = \"101 m\""),
    ] {
        let other = text.replace(from, to);
        assert_ne!(other, text);
        assert_eq!(beside(&other, &made), DrawsBeside::Stale, "{to}");
    }
    let json = made.to_json();
    for (from, to) in [
        ("\"seed\": 1", "\"seed\": 2"),
        ("\"years_each\": 3", "\"years_each\": 4"),
    ] {
        let other = json.replace(from, to);
        assert_ne!(other, json);
        let other = DrawsRecord::from_json(&other).unwrap();
        assert_eq!(beside(&text, &other), DrawsBeside::Stale, "{to}");
    }
    assert_eq!(checked(&text, &[]).draws, DrawsBeside::Nothing);
}

/// What no draw reads changes no count of theirs: in how many draws something must hold, who asks for it, and the name. A limit is read by the draws of its
/// own requirement, and by what is checked in every plan, which leaves out what is asked for.
#[test]
fn verif_draws_stay_those_of_a_plan_of_which_only_what_they_do_not_read_has_changed() {
    let that = "that = \"voltage\"";
    let text = asking("80 %").replace(that, &format!("{that}\nat_least = \"36.5 V\""));
    let made = record(&text, &ask(40));
    let told = |text: &str| {
        let found = checked(text, std::slice::from_ref(&made));
        assert_eq!(found.draws, DrawsBeside::Current);
        let of = |id: &str| requirement(&found, id).in_draws.clone();
        let standing = found.standing.iter().any(|j| j.in_draws.is_some());
        (of("voltage"), of("supply"), standing)
    };
    let (voltage, supply, standing) = told(&text);
    assert!(voltage.is_some() && supply.is_some() && standing);
    for other in [
        text.replace("share_of_draws = \"80 %\"", "share_of_draws = \"90 %\""),
        text.replace("share_of_draws = \"80 %\"\n", ""),
        text.replace(that, &format!("{that}\nsource = \"clause 4\"")),
    ] {
        assert_ne!(other, text);
        assert_eq!(told(&other), (voltage.clone(), supply.clone(), true));
    }
    let stricter = text.replace("36.5 V", "36.6 V");
    assert_ne!(stricter, text);
    assert_eq!(told(&stricter), (None, supply, false));
    let found = checked(&stricter, std::slice::from_ref(&made));
    let judged = requirement(&found, "voltage");
    let of_draws = judged.verdicts.iter().find(|v| v.subject() == "the draws");
    assert!(of_draws.unwrap().why().contains("of another limit"));
}

#[test]
fn verif_a_record_of_draws_survives_its_json_and_must_add_up() {
    let made = record(&text(), &ask(40));
    match AnyRecord::from_json(&made.to_json()).unwrap() {
        AnyRecord::Draws(read) => assert_eq!(read, made),
        other => panic!("it is a record of draws: {other:?}"),
    }
    let voltage = made
        .requirements
        .iter()
        .find(|r| r.id == "voltage")
        .unwrap();
    let more = made.to_json().replace(
        &format!("\"met\": {}", voltage.met),
        &format!("\"met\": {}", voltage.met + 1),
    );
    assert!(matches!(
        AnyRecord::from_json(&more),
        Err(EvidenceError::Counts { .. })
    ));
    let plan = std::path::Path::new("a/plan.toml");
    let other = record(&text(), &CertaintyAsk { seed: 2, ..ask(40) });
    assert!(made.path(plan).starts_with("a/plan.evidence"));
    assert_ne!(made.path(plan), other.path(plan));
}

/// 176 of 200 draws: at 95 % confidence in at least 83.5 % and at most 91.4 % of draws (SciPy, in the reference file).
#[test]
fn val_a_share_of_draws_is_shown_refuted_or_neither_by_one_sided_limits() {
    let verdict = |asked: &str| {
        let text = asking(asked);
        let found = checked(&text, &[record(&text, &ask(200))]);
        let judged = requirement(&found, "voltage");
        assert!(judged.sentence.ends_with(&format!(", in {asked} of draws")));
        let of_draws = judged.verdicts.iter().find(|v| v.subject() == "the draws");
        (judged.word(), of_draws.unwrap().clone())
    };
    let known = |verdict: Verdict| match verdict {
        Verdict::Known(known) => known,
        other => panic!("{}", other.why()),
    };
    let (word, shown) = verdict("80 %");
    let shown = known(shown);
    assert_eq!((word, shown.ruling), (assess::Word::Met, Ruling::Met));
    close(
        shown.value.value,
        100.0 * reference("low_one_sided", "0.95"),
        1e-9,
    );
    assert_eq!(
        (shown.limit.value, shown.limit.unit.as_str()),
        (80.0, "% of draws")
    );
    let (word, refuted) = verdict("95 %");
    let refuted = known(refuted);
    assert_eq!(
        (word, refuted.ruling),
        (assess::Word::Broken, Ruling::Broken)
    );
    close(
        refuted.value.value,
        100.0 * reference("high_one_sided", "0.95"),
        1e-9,
    );
    let (word, neither) = verdict("85 %");
    assert_eq!(word, assess::Word::Unknown);
    assert!(
        neither.why().contains("neither shows nor refutes"),
        "{}",
        neither.why()
    );
    let (word, never) = verdict("100 %");
    assert_eq!(word, assess::Word::Unknown);
    assert!(
        never.why().contains("no number of draws shows"),
        "{}",
        never.why()
    );
}

#[test]
fn verif_a_share_of_draws_is_unknown_until_draws_of_this_plan_lie_beside_it() {
    let text = asking("80 %");
    let nothing = checked(&text, &[]);
    let why = why_unknown(&nothing, "voltage");
    // 14 = ln 0.05 / ln 0.8, rounded up.
    assert!(why.contains("14 draws without a bad one"), "{why}");
    assert!(
        why.contains("`soundline check plan.toml --certainty`"),
        "{why}"
    );
    let of_another = record(&text.replace("± 1.2 V", "± 1.3 V"), &ask(200));
    let stale = checked(&text, &[of_another]);
    let why = why_unknown(&stale, "voltage");
    assert!(why.contains("another state"), "{why}");
    // Without a spread that makes anything of it: all of the draws are alike, and the claim is shown.
    let plain = text
        .replace("48 V ± 1.2 V", "48 V")
        .replace(" ± 3.2 ohm uniform", "");
    let found = checked(&plain, &[record(&plain, &ask(14))]);
    assert_eq!(requirement(&found, "voltage").word(), assess::Word::Met);
    let found = checked(&plain, &[record(&plain, &ask(13))]);
    assert!(why_unknown(&found, "voltage").contains("neither shows nor refutes"));
}

/// More draws count before fewer, and of as many those in which it is met less often.
#[test]
fn verif_of_several_records_the_larger_counts_and_then_the_worse() {
    let text = text();
    let of = |draws, seed| record(&text, &CertaintyAsk { seed, ..ask(draws) });
    let met = |r: &DrawsRecord| {
        r.requirements
            .iter()
            .find(|r| r.id == "voltage")
            .unwrap()
            .met
    };
    let told = |draws: &[DrawsRecord]| {
        let found = checked(&text, draws);
        let told = requirement(&found, "voltage").in_draws.clone().unwrap();
        (told.draws, told.met)
    };
    let small = of(40, 1);
    let all: Vec<DrawsRecord> = (1..6).map(|seed| of(50, seed)).collect();
    let worst = all.iter().map(met).min().unwrap();
    assert!(all.iter().any(|r| met(r) > worst), "all are alike");
    let mut shuffled = all.clone();
    shuffled.push(small.clone());
    assert_eq!(told(&shuffled), (50, worst));
    shuffled.reverse();
    assert_eq!(told(&shuffled), (50, worst));
    assert_eq!(told(std::slice::from_ref(&small)), (40, met(&small)));
}

/// What earlier draws say is no part of the plan that is drawn.
#[test]
fn verif_draws_beside_a_plan_change_no_draw() {
    let text = asking("95 %");
    let reading = read(&text);
    let plain = of(&reading, &ask(60));
    let shelf = Shelf {
        draws: vec![record(&text, &ask(60))],
        ..Shelf::default()
    };
    let again = assess::certainty(
        &reading,
        &shelf,
        &check(&reading, &shelf),
        &ask(60),
        &|_| true,
    );
    assert_eq!(again.unwrap().unwrap(), plain);
}

/// Whoever changes what draws count raises [`DRAWS`], so that older evidence counts no longer.
#[test]
fn regress_other_counts_are_another_method() {
    let counts: Vec<(String, u64, u64, u64)> = record(&text(), &ask(60))
        .requirements
        .into_iter()
        .map(|r| (r.id, r.met, r.broken, r.unknown))
        .collect();
    let counts = format!("{counts:?}");
    assert_eq!(
        (DRAWS, counts.as_str()),
        (
            "draws/5",
            "[(\"supply\", 60, 0, 0), (\"voltage\", 55, 5, 0)]"
        )
    );
}

/// False alarms of labelled recordings are in no draw: counts that were drawn before recordings lay there are not told of a cost that counts them, and
/// stay told of what reads none.
#[test]
fn verif_draws_of_a_cost_say_nothing_once_recordings_show_its_false_alarms() {
    let text = changed(&[
        (
            "at_most = \"50 EUR\"",
            "at_most = \"50 EUR\"\nshare = \"90 %\"",
        ),
        (
            "[detector.call]\n",
            "[detector.call]\nexpects = \"1 per d\"\n",
        ),
    ]);
    let made = record(&text, &ask(20));
    let reading = read(&text);
    let line = reading.line.as_ref().unwrap();
    let told = |mut shelf: Shelf| {
        shelf.draws = vec![made.clone()];
        let found = check(&reading, &shelf);
        let of = |id: &str| requirement(&found, id).in_draws.is_some();
        (of("budget"), of("voltage"))
    };
    assert_eq!(told(Shelf::default()), (true, true));
    let seen = shelf_of([tuning_of(line, 20, 20, 90, 864_000.0)]);
    assert_eq!(told(seen), (false, true));
}
