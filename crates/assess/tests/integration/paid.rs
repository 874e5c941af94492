//! What is paid and what is stored, by arithmetic.

use assess::{Shelf, Status, Word, check};

use crate::batteries::SUN;
use crate::support::{changed, checked, close, known, read, requirement, why_unknown};

/// 12 a day for 30 days are 360 messages, at 0.12 EUR 43.20 EUR.
#[test]
fn val_cost_is_messages_times_price() {
    let check = checked(&[("0.10 EUR", "0.12 EUR")]);
    close(known(&check, "messages").value.value, 360.0, 0.0);
    close(known(&check, "messages").margin.value, 40.0, 0.0);
    let budget = known(&check, "budget");
    close(budget.value.value, 43.20, 1e-9);
    close(budget.margin.value, 6.80, 1e-9);
    assert_eq!(budget.value.unit, "EUR");
}

/// Attempts that fail, where they are billed. By hand: one each 15 s (a session of 5 s, a back-off of 10 s) is 172 801 in 30 d at most; a message that
/// lives 60 s is tried five times at most, so 360 of them and the 12 that may have waited before fail 1860 times; as often again as they succeed, 10 cents each.
#[test]
fn val_failed_attempts_are_paid_where_the_plan_says_so() {
    let sure = "success = \"100 %\"\n";
    let of = |more: &str| checked(&[(sure, &format!("success = \"90 %\"\n{more}"))]);
    for (more, messages, words) in [
        (
            "failed_attempts = \"free\"\n",
            360.0,
            "failed attempts are free",
        ),
        (
            "failed_attempts = \"billed\"\n",
            173_161.0,
            "failed attempts are billed",
        ),
        (
            "failed_attempts = \"billed\"\nexpiry = \"60 s\"\n",
            2220.0,
            "at most 1860 for attempts that fail",
        ),
    ] {
        let check = of(more);
        close(known(&check, "messages").value.value, messages, 0.0);
        let budget = known(&check, "budget");
        close(budget.value.value, 0.1 * messages, 1e-9);
        assert!(budget.why.contains(words), "{more}: {}", budget.why);
    }
    // What is not said is judged both ways: 36 EUR of 50 free, 17,316.10 EUR billed.
    let open = of("");
    for (id, billed) in [("messages", "173161"), ("budget", "17316.1")] {
        let why = why_unknown(&open, id);
        assert!(
            why.contains(billed) && why.contains("write `failed_attempts`"),
            "{why}"
        );
    }
    let rich = checked(&[
        (sure, "success = \"90 %\"\n"),
        ("400 per 30 d", "200000 per 30 d"),
        ("50 EUR", "20000 EUR"),
    ]);
    close(known(&rich, "messages").value.value, 173_161.0, 0.0);
    assert_eq!(requirement(&rich, "budget").word(), Word::Met);
    let poor = checked(&[(sure, "success = \"90 %\"\n"), ("50 EUR", "20 EUR")]);
    assert_eq!(requirement(&poor, "budget").word(), Word::Broken);
    close(known(&poor, "budget").value.value, 36.0, 1e-9);
    let told = "uplink.shore: failed attempts count as free";
    let assumed = |more: &str| of(more).assumed.iter().any(|a| a.contains(told));
    assert!(assumed("") && !assumed("failed_attempts = \"free\"\n"));
    let never = checked(&[(sure, "success = \"100 %\"\nfailed_attempts = \"billed\"\n")]);
    close(known(&never, "messages").value.value, 360.0, 0.0);
    assert!(!known(&never, "budget").why.contains("failed"));
}

/// A battery may take the module of an uplink off any number of times, and each time an attempt that breaks off may be billed: what is counted while it works on breaks a limit and keeps none. A
/// cap that stops keeps it: 600 EUR are 6000 messages of 10 cents.
#[test]
fn verif_failed_attempts_behind_a_battery_are_bounded_by_a_cap_alone() {
    let of = |more: &str, limit: &str| {
        let tariff = format!("success = \"90 %\"\nexpiry = \"60 s\"\n{more}");
        let budget = format!("at_most = \"{limit}\"");
        let more = [
            SUN,
            ("success = \"100 %\"\n", tariff.as_str()),
            ("400 per 30 d", "9000 per 30 d"),
            ("at_most = \"50 EUR\"", budget.as_str()),
        ];
        checked(&more)
    };
    let billed = "failed_attempts = \"billed\"\n";
    let open = of(billed, "900 EUR");
    for (id, counted) in [("messages", "2220 messages"), ("budget", "222 EUR")] {
        let why = why_unknown(&open, id);
        for said in ["how often is not known", counted, "a `cap` that stops"] {
            assert!(why.contains(said), "{said}: {why}");
        }
    }
    let poor = of(billed, "200 EUR");
    close(known(&poor, "budget").value.value, 222.0, 1e-9);
    assert_eq!(requirement(&poor, "budget").word(), Word::Broken);
    let capped = format!("{billed}cap = \"600 EUR\"\nat_cap = \"stop\"\n");
    let kept = of(&capped, "900 EUR");
    for (id, at_cap) in [("messages", 6000.0), ("budget", 600.0)] {
        close(known(&kept, id).value.value, at_cap, 1e-9);
        let why = &known(&kept, id).why;
        assert!(why.ends_with("up to the cap"), "{why}");
        assert_eq!(requirement(&kept, id).word(), Word::Met);
    }
    let free = of("failed_attempts = \"free\"\n", "50 EUR");
    assert_eq!(requirement(&free, "budget").word(), Word::Met);
}

/// 200 bytes in messages of 120 bytes are two billed messages each: 720.
#[test]
fn val_a_payload_over_the_message_size_is_billed_in_parts() {
    let check = checked(&[("size = \"100 B\"", "size = \"200 B\"")]);
    close(known(&check, "messages").value.value, 720.0, 0.0);
    assert_eq!(requirement(&check, "messages").word(), Word::Broken);
    close(known(&check, "budget").value.value, 72.0, 1e-9);
    let exact = checked(&[("size = \"100 B\"", "size = \"120 B\"")]);
    close(known(&exact, "messages").value.value, 360.0, 0.0);
}

/// Rate = sampling rate times bytes times share over compression. 48 kHz of 24 bits are 144 000 B/s, 12.4416 GB a day; 96 kHz of 16
/// bits 16.5888; 96 kHz of 24 bits 24.8832; 192 kHz of 16 bits 33.1776; 384 kHz of 16 bits 66.3552. 1 TB lasts 80.38 d at the
/// first. (Arithmetic; 1 TB is 10^12 bytes.)
#[test]
fn val_storage_lasts_capacity_over_rate() {
    for (rate, bits, gb_a_day) in [
        ("48 kHz", 24, 12.4416),
        ("96 kHz", 16, 16.5888),
        ("96 kHz", 24, 24.8832),
        ("192 kHz", 16, 33.1776),
        ("384 kHz", 16, 66.3552),
    ] {
        let adc = format!("bits = {bits}, rate = \"{rate}\"");
        let check = checked(&[("bits = 16, rate = \"4 kHz\"", &adc)]);
        let card = known(&check, "card");
        close(card.value.value, 1000.0 / gb_a_day, 1e-9);
        assert!(
            card.why.contains(&format!("{gb_a_day:.3} GB a day")),
            "{}",
            card.why
        );
    }
    let check = checked(&[(
        "bits = 16, rate = \"4 kHz\"",
        "bits = 24, rate = \"48 kHz\"",
    )]);
    close(known(&check, "card").value.value, 80.38, 0.005);
}

/// A tenth kept free, half the time, compressed twice: 0.9 * 2 * 2 = 3.6 times as long.
#[test]
fn val_share_compression_and_what_is_kept_free_count() {
    let plain = known(&checked(&[]), "card").value.value;
    let check = checked(&[
        (
            "share = \"100 %\", compression = 1",
            "share = \"50 %\", compression = 2",
        ),
        (
            "capacity = \"1 TB\"",
            "capacity = \"1 TB\"\nkeep_free = \"10 %\"",
        ),
    ]);
    close(known(&check, "card").value.value / plain, 3.6, 1e-12);
}

/// The limit is the time in the water: 240 d and a recovery 12 weeks late are 324 d.
#[test]
fn val_storage_must_last_until_a_late_recovery() {
    let check = checked(&[(
        "duration = \"1 d\"",
        "duration = \"240 d\"\nrecovery_slip = \"12 wk\"",
    )]);
    close(known(&check, "card").limit.value, 324.0, 1e-9);
}

/// A broken `should` is shown, and does not make the plan broken; an unknown one leaves it unknown.
#[test]
fn verif_a_broken_should_does_not_count() {
    let size = ("size = \"100 B\"", "size = \"200 B\"");
    let night = "[requirement.night]\nthat = \"rehearsed\"\ncues = \"cues/night.toml\"\n";
    let messages = "[requirement.messages]\nthat = \"uplink-messages\"";
    let budget = "[requirement.budget]\nthat = \"uplink-cost\"";
    let should = |head: &str| format!("{head}\nmust = \"should\"");
    let status = |changes: &[(&str, &str)]| {
        let reading = read(&changed(changes));
        assert!(!reading.has_errors(), "{:?}", reading.mistakes);
        check(&reading, &Shelf::default()).status()
    };
    assert_eq!(status(&[size, (night, "")]), Status::Broken);
    let both = [
        (night, String::new()),
        (messages, should(messages)),
        (budget, should(budget)),
    ];
    let mut both: Vec<(&str, &str)> = both.iter().map(|(a, b)| (*a, b.as_str())).collect();
    both.push(size);
    let softened = checked(&both);
    assert_eq!(requirement(&softened, "messages").word(), Word::Broken);
    assert_eq!(softened.status(), Status::Met);
    assert_eq!(status(&both[1..]), Status::Unknown);
}
