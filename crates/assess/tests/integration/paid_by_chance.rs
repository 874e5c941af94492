//! What is paid when events come by chance, against scipy 1.17.1, and how the sea, packing and caps count.

use assess::tuning::Tuning;
use assess::{Evidence, Shelf, Word, check};

use crate::support::{changed, checked, close, good, known, read, requirement, why_unknown};
use crate::tuned::{DAY_S, shelf_of, tuning_of};

const BUDGET: &str = "that = \"uplink-cost\"\nof = \"uplink.shore\"\nat_most = \"50 EUR\"";
const ON: &str = "on = \"module.ear.sensor.one\"\n";
const SURE: &str = "success = \"100 %\"\n";

fn shared(share: &str) -> String {
    format!("{BUDGET}\nshare = \"{share}\"")
}

fn expects(rate: &str) -> String {
    format!("{ON}expects = \"{rate}\"\n")
}

/// `scipy.stats.poisson.ppf(share, 300)`: 300, 322, 341; at 0.10 EUR each. `poisson.cdf(500, 300)` is 1 to 1e-12.
#[test]
fn val_a_month_costs_a_poisson_count() {
    let expects = expects("10 per d");
    for (share, eur) in [("50 %", 30.0), ("90 %", 32.2), ("99 %", 34.1)] {
        let check = checked(&[(BUDGET, &shared(share)), (ON, &expects)]);
        let budget = known(&check, "budget");
        close(budget.value.value, eur, 1e-9);
        let sentence = &requirement(&check, "budget").sentence;
        assert!(sentence.contains(&format!("in {share} of the months")));
        assert!(!sentence.contains("cases"), "{sentence}");
        for cost in ["30.00 EUR", "32.20 EUR", "34.10 EUR"] {
            assert!(budget.why.contains(cost), "{}", budget.why);
        }
    }
}

/// 12 a day at most are 360 in 30 d, however many events there are: `poisson.ppf(0.99, 900)` is 971.
#[test]
fn verif_a_limit_of_starts_limits_the_cost() {
    let check = checked(&[(BUDGET, &shared("99 %")), (ON, &expects("30 per d"))]);
    close(known(&check, "budget").value.value, 36.0, 1e-9);
    let free = checked(&[
        (BUDGET, &shared("99 %")),
        (ON, &expects("30 per d")),
        ("at_most = \"12 per d\"", "at_most = \"1200 per d\""),
    ]);
    close(known(&free, "budget").value.value, 97.1, 1e-9);
    assert_eq!(requirement(&free, "budget").word(), Word::Broken);
}

/// What waited as a month began may be billed in it. 300 alerts are expected in 30 d, 310 in the 31 d of which those of an expiry of a day may come: `scipy.stats.poisson.ppf(0.9, 300)` is 322, `ppf(0.9, 310)` is 333, at
/// 10 cents each. A limit between the two is left open, one below both broken; with room for 5, 327. With neither any number may wait.
#[test]
fn val_what_waited_as_a_month_began_counts_by_chance_too() {
    let with = |more: &str, limit: &str| {
        let budget = shared("90 %").replace("50 EUR", &format!("{limit} EUR"));
        let uplink = format!("success = \"90 %\"\nfailed_attempts = \"free\"\n{more}");
        checked(&[
            ("duration = \"1 d\"", "duration = \"240 d\""),
            (BUDGET, &budget),
            (ON, &expects("10 per d")),
            ("at_most = \"12 per d\"", "at_most = \"1200 per d\""),
            (SURE, &uplink),
        ])
    };
    let day = "expiry = \"24 h\"\n";
    for (more, eur) in [(day, 33.3), ("room = 5\ngives_up = \"oldest\"\n", 32.7)] {
        let check = with(more, "50");
        close(known(&check, "budget").value.value, eur, 1e-9);
        assert_eq!(requirement(&check, "budget").word(), Word::Met);
    }
    let open = with(day, "32.50");
    let why = why_unknown(&open, "budget");
    for said in [
        "between 322 and 333 billed messages",
        "up to 24 h before a month",
    ] {
        assert!(why.contains(said), "{said}: {why}");
    }
    assert_eq!(requirement(&with(day, "32"), "budget").word(), Word::Broken);
    assert!(why_unknown(&with("", "50"), "budget").contains("any number may wait"));
}

/// 20 false alarms in ten days by labelled recordings, shown beside the cost by what their limits rest on: days drawn whole, or single events where no day is known.
#[test]
fn verif_limits_of_false_alarms_say_what_they_rest_on() {
    let text = changed(&[(BUDGET, &shared("90 %")), (ON, &expects("10 per d"))]);
    let reading = read(&text);
    let by_day = tuning_of(reading.line.as_ref().unwrap(), 90, 100, 20, 10.0 * DAY_S);
    let no_days = Tuning {
        days: None,
        ..by_day.clone()
    };
    for (tuning, said) in [
        (by_day, "two-sided, of 10 days drawn whole"),
        (no_days, "two-sided, each taken as single"),
    ] {
        let check = check(&reading, &shelf_of([tuning]));
        let why = &known(&check, "budget").why;
        assert!(
            why.contains("show 2 false alarms a day") && why.contains(said),
            "{why}"
        );
    }
}

/// 300 billed of which 100 are included cost 20 EUR; a minimum charge of 25 EUR is more. `ppf(0.5, 300)` is 300.
#[test]
fn verif_what_is_included_costs_nothing_and_a_minimum_is_always_paid() {
    let with = |more: &str| {
        let uplink = format!("{SURE}{more}\n");
        let check = checked(&[
            (BUDGET, &shared("50 %")),
            (ON, &expects("10 per d")),
            (SURE, &uplink),
        ]);
        known(&check, "budget").value.value
    };
    close(with("included = 100"), 20.0, 1e-9);
    close(
        with("included = 100\nminimum_charge = \"25 EUR\""),
        25.0,
        1e-9,
    );
    close(with("cap = \"28 EUR\"\nat_cap = \"stop\""), 28.0, 1e-9);
    // Declared at most are 12 a day: 360.
    let declared = checked(&[(SURE, &format!("{SURE}included = 100\n"))]);
    close(known(&declared, "budget").value.value, 26.0, 1e-9);
}

#[test]
fn verif_a_share_of_months_needs_expected_events() {
    let check = checked(&[(BUDGET, &shared("90 %"))]);
    let why = why_unknown(&check, "budget");
    assert!(why.contains("`expects`"), "{why}");
    let all = checked(&[(BUDGET, &shared("100 %")), (ON, &expects("10 per d"))]);
    let why = why_unknown(&all, "budget");
    assert!(why.contains("no limit in all months"), "{why}");
}

/// Of 100 bytes and 20 added only one fits into 120; 8 of overhead leave 112, so each takes two: 720.
#[test]
fn verif_overhead_and_what_is_added_count() {
    let with = |more: &str| {
        let check = checked(&[(SURE, &format!("{SURE}{more}\n"))]);
        known(&check, "messages").value.value
    };
    close(with("adds = \"20 B\""), 360.0, 0.0);
    close(with("adds = \"21 B\""), 720.0, 0.0);
    close(with("overhead = \"20 B\""), 360.0, 0.0);
    close(with("overhead = \"21 B\""), 720.0, 0.0);
}

/// 360 alerts of 100 bytes, five of which fit into 500: held for 6 h there are at most 121 loads that are not full in 30 d, and 72 full ones.
#[test]
fn verif_packed_messages_are_billed_less_often() {
    let held = format!("{SURE}pack_within = \"6 h\"\n");
    let check = checked(&[
        (SURE, &held),
        ("message_size = \"120 B\"", "message_size = \"500 B\""),
    ]);
    close(known(&check, "messages").value.value, 193.0, 0.0);
    // The hold is part of the delay, and longer than the limit.
    let shore = known(&check, "shore");
    assert_eq!(requirement(&check, "shore").word(), Word::Broken);
    assert!(shore.value.value > 6.0 * 3600.0);
    // Urgent ones are not held, nor do they share.
    let urgent = checked(&[
        (SURE, &format!("{held}urgent = 0\n")),
        ("message_size = \"120 B\"", "message_size = \"500 B\""),
    ]);
    close(known(&urgent, "messages").value.value, 360.0, 0.0);
    assert_eq!(requirement(&urgent, "shore").word(), Word::Met);
}

/// Attempts that succeed by the state of the sea: the roughest month decides, or the wind up to which a delay must hold. The delays are those of the
/// same chances written without a sea.
#[test]
fn verif_the_sea_decides_how_often_an_attempt_succeeds() {
    const SHORE: &str = "to = \"uplink.shore\"\nat_most = \"10 min\"\n";
    let rows = "success_by = [{ wind = \"8 m/s\", success = \"95 %\" }, { wind = \"14 m/s\", success = \"60 %\" }]\n";
    let winds = |most: f64| {
        let months: Vec<String> = (1..=12)
            .map(|m| format!("\"{} m/s\"", if m == 1 { most } else { 5.0 }))
            .collect();
        format!("shipping = 0.2\nwind = [{}]", months.join(", "))
    };
    let plain = |chance: &str| {
        let check = checked(&[(SURE, &format!("success = \"{chance}\"\n"))]);
        known(&check, "shore").value.value
    };
    let by_sea = |wind: f64, more: &str| {
        let check = checked(&[
            (SURE, rows),
            ("shipping = 0.2", &winds(wind)),
            (SHORE, &format!("{SHORE}{more}")),
        ]);
        known(&check, "shore").value.value
    };
    close(by_sea(6.0, ""), plain("95 %"), 0.0);
    close(by_sea(12.0, ""), plain("60 %"), 0.0);
    assert!(plain("60 %") > plain("95 %"));
    close(
        by_sea(12.0, "when_wind_at_most = \"8 m/s\"\n"),
        plain("95 %"),
        0.0,
    );
    close(
        by_sea(6.0, "when_wind_at_most = \"9 m/s\"\n"),
        plain("60 %"),
        0.0,
    );
    let rough = checked(&[(SURE, rows), ("shipping = 0.2", &winds(15.0))]);
    let why = why_unknown(&rough, "shore");
    assert!(
        why.contains("up to a wind of 14 m/s, not for 15 m/s"),
        "{why}"
    );
    let without = checked(&[(SURE, rows)]);
    let why = why_unknown(&without, "shore");
    assert!(why.contains("`wind` of the site's months"), "{why}");
}

#[test]
fn verif_a_cap_or_too_little_room_leaves_a_delay_without_a_bound() {
    let with = |more: &str| {
        let check = checked(&[(SURE, &format!("{SURE}{more}\n"))]);
        why_unknown(&check, "shore").to_owned()
    };
    let why = with("cap = \"30 EUR\"\nat_cap = \"stop\"");
    assert!(why.contains("stops at its cap of 300"), "{why}");
    let why = with("room = 5\ngives_up = \"oldest\"");
    assert!(why.contains("room for 5 messages"), "{why}");
    let urgent = format!("{SURE}cap = \"30 EUR\"\nat_cap = \"urgent-only\"\nurgent = 0\n");
    let check = checked(&[(SURE, &urgent)]);
    assert_eq!(requirement(&check, "shore").word(), Word::Met);
}

/// A mistake in a detector leaves what does not read it standing.
#[test]
fn verif_a_mistake_in_a_detector_reaches_only_a_cost_by_chance() {
    let bad = [("hold_off = \"5 s\"", "hold_off = \"5 m\"")];
    let declared = check(&read(&changed(&bad)), &Shelf::default());
    assert_ne!(requirement(&declared, "budget").word(), Word::Unknown);
    let mut by_chance = bad.to_vec();
    let (shared, expects) = (shared("90 %"), expects("10 per d"));
    by_chance.extend([(BUDGET, shared.as_str()), (ON, expects.as_str())]);
    let by_chance = check(&read(&changed(&by_chance)), &Shelf::default());
    assert_eq!(requirement(&by_chance, "budget").word(), Word::Unknown);
    assert!(good(&[]).line.is_some());
}

/// A share that drawn months cannot show is unknown; what they show is an upper limit, with the number of draws and their seed.
#[test]
fn verif_drawn_months_say_what_they_can_show() {
    let held = format!("{SURE}pack_within = \"1 h\"\n");
    let expects = expects("10 per d");
    let with = |share: &str, at_most: &str| {
        checked(&[
            (
                BUDGET,
                &shared(share).replace("50 EUR", &format!("{at_most} EUR")),
            ),
            (ON, &expects),
            (SURE, &held),
            ("message_size = \"120 B\"", "message_size = \"500 B\""),
        ])
    };
    let check = with("90 %", "50");
    let budget = known(&check, "budget");
    let Evidence::Sampled {
        method,
        draws,
        seed,
        ..
    } = &budget.evidence
    else {
        panic!("{:?}", budget.evidence);
    };
    assert!(method.contains("drawn months"), "{method}");
    assert_eq!((*draws, *seed), (1000, 1));
    assert!(budget.why.contains("upper limit at 95 % confidence"));
    let why = why_unknown(&with("99.9 %", "50"), "budget").to_owned();
    assert!(why.contains("1000 months that can be drawn"), "{why}");
    // Just below the upper limit the months do not decide; far below, they do.
    let upper = budget.value.value;
    let below = format!("{:.2}", upper - 0.1);
    let why = why_unknown(&with("90 %", &below), "budget").to_owned();
    assert!(why.contains("do not decide"), "{why}");
    let broken = with("90 %", "15");
    assert_eq!(requirement(&broken, "budget").word(), Word::Broken);
}

fn inputs(changes: &[(&str, &str)], of: &str) -> String {
    let check = checked(changes);
    match &known(&check, of).evidence {
        Evidence::Computed { inputs, .. } | Evidence::Sampled { inputs, .. } => inputs.clone(),
        other => panic!("{other:?}"),
    }
}

/// Whatever of an uplink a value rests on is in its digest, so that a change makes older evidence stale.
#[test]
fn verif_every_key_of_an_uplink_is_in_the_digest() {
    const SIZE: &str = "message_size = \"120 B\"";
    let held = format!("{SURE}pack_within = \"1 h\"\n");
    let expects = expects("10 per d");
    let share = shared("90 %");
    let plain = [
        (SIZE, "message_size = \"500 B\""),
        (SURE, held.as_str()),
        (ON, expects.as_str()),
        (BUDGET, share.as_str()),
    ];
    let more = |more: &str| format!("{held}{more}\n");
    let others = [
        (0, "message_size = \"620 B\"".to_owned()),
        (1, more("overhead = \"10 B\"")),
        (1, more("adds = \"1 B\"")),
        (1, more("urgent = 0")),
        (1, more("room = 50\ngives_up = \"oldest\"")),
        (1, held.replace("100 %", "95 %")),
        (1, held.replace("1 h", "2 h")),
    ];
    for of in ["messages", "budget"] {
        let before = inputs(&plain, of);
        for (i, to) in &others {
            if of == "messages" && to.contains("95 %") {
                // Failed attempts are not billed: what is declared at most does not rest on them.
                continue;
            }
            let mut all = plain;
            all[*i].1 = to;
            assert_ne!(inputs(&all, of), before, "{of}: {to}");
        }
    }
    for (from, to) in [
        ("session = \"5 s\"", "session = \"6 s\""),
        (
            "back_off = \"10 s\"",
            "back_off = \"10 s\"\nexpiry = \"3 h\"",
        ),
        ("back_off = \"10 s\"", "back_off = \"11 s\""),
    ] {
        let before = inputs(&plain, "budget");
        let mut all = plain.to_vec();
        all.push((from, to));
        assert_ne!(inputs(&all, "budget"), before, "{to}");
    }
}
