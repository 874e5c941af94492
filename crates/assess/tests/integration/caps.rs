//! What an uplink bills where its cap binds, by arithmetic and by the queue itself, and what counts among the months that come by chance.

use assess::Word;
use network::{AtCap, Cap, Failure, Uplink, UplinkMessage, UplinkSpec};
use timeline::Ns;

use crate::support::{checked, close, known, requirement, why_unknown};

const SURE: &str = "success = \"100 %\"\n";
const MONTH: &str = "at_most = \"400 per 30 d\"";
const SEND: &str = "{ send_up = \"uplink.shore\", about = \"alert/call\" },";
const BUDGET: &str = "that = \"uplink-cost\"\nof = \"uplink.shore\"\nat_most = \"50 EUR\"";
/// A module that tells a temperature each minute, of which four an hour go ashore.
const WATER: &str = "[behaviour.keep]\non = \"module.base\"\nwhen_told = \"water/#\"\nat_most = \"4 per hour\"\ndo = [{ send_up = \"uplink.shore\", about = \"water/temp\" }]\n\
    [behaviour.measure]\non = \"module.ear\"\neach = \"1 min\"\ndo = [{ publish = \"water/temp\" }]\n[topic.\"water/temp\"]\nsize = \"50 B\"\npriority = 3\nat_most = \"2 per min\"\n[behaviour.act]";

fn messages(changes: &[(&str, &str)]) -> f64 {
    known(&checked(changes), "messages").value.value
}

/// 12 a day are 360 in 30 d; a cap of 30 EUR at 0.10 EUR each stops at 300, in two months at 600.
#[test]
fn val_what_is_counted_stops_at_the_cap_as_what_is_paid_does() {
    let capped = format!("{SURE}cap = \"30 EUR\"\nat_cap = \"stop\"\n");
    let check = checked(&[(SURE, &capped)]);
    close(known(&check, "messages").value.value, 300.0, 0.0);
    close(known(&check, "budget").value.value, 30.0, 1e-9);
    for id in ["messages", "budget"] {
        let why = &known(&check, id).why;
        assert!(why.contains("at 300 the cap of the plan stops"), "{why}");
    }
    let two = ("at_most = \"400 per 30 d\"", "at_most = \"700 per 60 d\"");
    close(messages(&[(SURE, &capped), two]), 600.0, 0.0);
    // A cap that never binds changes nothing.
    let wide = format!("{SURE}cap = \"36 EUR\"\nat_cap = \"stop\"\n");
    close(messages(&[(SURE, &wide)]), 360.0, 0.0);
}

/// A day may touch two months, and what waited at the cap goes in the first days of the next: of 12 a day with an expiry of 36 h no more than twice 12
/// wait, besides the 12 of the day; without an expiry the two caps are the limit.
#[test]
fn verif_what_waits_at_the_cap_goes_in_the_next_month() {
    let day = (MONTH, "at_most = \"400 per d\"");
    let longer = ("duration = \"1 d\"", "duration = \"240 d\"");
    let capped = format!("{SURE}cap = \"30 EUR\"\nat_cap = \"stop\"\n");
    close(messages(&[(SURE, &capped), day, longer]), 600.0, 0.0);
    let young = format!("{capped}expiry = \"36 h\"\n");
    close(messages(&[(SURE, &young), day, longer]), 36.0, 0.0);
    // The parts are told: the 12 of the day, and what waited, 36 in all; and two months' caps of 300.
    let told = |uplink: &str| {
        known(&checked(&[(SURE, uplink), day, longer]), "messages")
            .why
            .clone()
    };
    let why = told(&young);
    let parts = "with what waited at it before, 36 at most in all";
    assert!(
        why.contains("in 24 h: 12 of") && why.contains(parts),
        "{why}"
    );
    let why = told(&capped);
    assert!(
        why.contains("600 in all, as the time touches 2 months"),
        "{why}"
    );
    let room = format!("{capped}room = 20\ngives_up = \"oldest\"\n");
    close(messages(&[(SURE, &room), day, longer]), 32.0, 0.0);
}

/// 4 an hour that can wait are 2880 in 30 d, 12 a day that are urgent 360: up to the cap of 100 EUR, 1000 at 0.10 EUR, and all urgent ones above it, 1360: 136 EUR.
#[test]
fn val_only_what_is_urgent_goes_above_the_cap() {
    let capped = format!("{SURE}cap = \"100 EUR\"\nat_cap = \"urgent-only\"\nurgent = 0\n");
    let both = [
        (SURE, capped.as_str()),
        ("[behaviour.act]", WATER),
        (BUDGET, &BUDGET.replace("50 EUR", "140 EUR")),
    ];
    let check = checked(&both);
    close(known(&check, "messages").value.value, 1360.0, 0.0);
    close(known(&check, "budget").value.value, 136.0, 1e-9);
    assert_eq!(requirement(&check, "budget").word(), Word::Met);
    let free = checked(&both[1..]);
    close(known(&free, "messages").value.value, 3240.0, 0.0);
    assert!(known(&free, "budget").value.value > 300.0);
}

/// The same by chance: 300 alerts a month are expected (`scipy.stats.poisson.ppf(0.9, 300)` is 322), each urgent, above a cap of 1000: at most 132.20 EUR in 90 % of the months.
/// Where the limit lies between the cap and that, it depends on when the cap is reached, which is not counted.
#[test]
fn val_by_chance_only_what_is_urgent_goes_above_the_cap() {
    let capped = format!("{SURE}cap = \"100 EUR\"\nat_cap = \"urgent-only\"\nurgent = 0\n");
    let with = |limit: &str| {
        let budget = format!(
            "{}\nshare = \"90 %\"",
            BUDGET.replace("50 EUR", &format!("{limit} EUR"))
        );
        let expects = "on = \"module.ear.sensor.one\"\nexpects = \"10 per d\"\n";
        checked(&[
            (SURE, &capped),
            ("[behaviour.act]", WATER),
            (BUDGET, &budget),
            ("on = \"module.ear.sensor.one\"\n", expects),
            ("at_most = \"12 per d\"", "at_most = \"1200 per d\""),
        ])
    };
    let check = with("140");
    close(known(&check, "budget").value.value, 132.2, 1e-9);
    assert_eq!(requirement(&check, "budget").word(), Word::Met);
    let why = why_unknown(&with("120"), "budget").to_owned();
    assert!(
        why.contains("between 1000 and 1322 billed messages"),
        "{why}"
    );
    assert_eq!(requirement(&with("90"), "budget").word(), Word::Broken);
}

/// The queue itself, in months of 1000 s with a cap of 16: 15 that can wait and 14 urgent ones a month. In the first the urgent ones come first, in the second the 13 that
/// waited fill the cap before them: 30 are billed in it, the cap and all that is urgent, though 29 are declared.
#[test]
fn verif_the_queue_bills_up_to_the_cap_and_all_that_is_urgent_above_it() {
    let mut uplink = Uplink::new(UplinkSpec {
        failure: Failure::Never,
        urgent: Some(0),
        cap: Some(Cap {
            month: Ns(1000),
            messages: 16,
            then: AtCap::UrgentOnly,
        }),
        ..UplinkSpec::plain(Ns(1), 100)
    })
    .unwrap();
    let mut offers = Vec::new();
    for month in 0..2u64 {
        let urgent_at = 1000 * month + if month == 0 { 10 } else { 500 };
        offers.extend((0..14).map(|_| (urgent_at, 0)));
        offers.extend((0..15).map(|i| (1000 * month + 100 + i, 3)));
    }
    offers.sort_unstable();
    let mut billed = [0u64; 3];
    let mut events = Vec::new();
    for (id, (at, priority)) in (0..).zip(offers) {
        while uplink.next_time().is_some_and(|next| next.0 < at) {
            uplink.step(&mut events).unwrap();
        }
        let message = UplinkMessage {
            id,
            bytes: 10,
            priority,
        };
        uplink.offer(Ns(at), message).unwrap();
    }
    while uplink.next_time().is_some_and(|next| next.0 < 2000) {
        uplink.step(&mut events).unwrap();
    }
    for event in events {
        if let network::UplinkEvent::Sent { at, billed: n, .. } = event {
            billed[(at.0 / 1000) as usize] += u64::from(n);
        }
    }
    assert_eq!(billed, [16, 30, 0]);
}

const ASK: &str = "[request.state]\nto = \"module.ear\"\nquestion = \"4 B\"\nanswer = \"20 B\"\nwithin = \"1 s\"\nat_most = \"1 per min\"\n\
    [behaviour.ask]\non = \"module.base\"\neach = \"1 h\"\ndo = [{ ask = \"request.state\" }]\n\
    [behaviour.answer]\non = \"module.ear\"\nwhen_asked = \"request.state\"\ndo = [{ answer = \"request.state\" }]\n[behaviour.act]";

/// A request that leads to nothing ashore leaves a cost by chance as it is; one that does is told.
#[test]
fn verif_only_what_leads_to_the_uplink_counts() {
    let budget = format!("{BUDGET}\nshare = \"90 %\"");
    let expects = "on = \"module.ear.sensor.one\"\nexpects = \"10 per d\"\n";
    let plain = [
        (BUDGET, budget.as_str()),
        ("on = \"module.ear.sensor.one\"\n", expects),
    ];
    let without = known(&checked(&plain), "budget").value.value;
    let mut asked = plain.to_vec();
    asked.push(("[behaviour.act]", ASK));
    close(known(&checked(&asked), "budget").value.value, without, 0.0);
    let sends = ASK.replace(
        "{ answer = \"request.state\" }",
        "{ answer = \"request.state\" }, { publish = \"alert/call\" }",
    );
    let mut leading = plain.to_vec();
    leading.push(("[behaviour.act]", &sends));
    let why = why_unknown(&checked(&leading), "budget").to_owned();
    assert!(
        why.contains("behaviour.answer is started by a request"),
        "{why}"
    );
    assert!(why.contains("leads to uplink.shore"), "{why}");
}

/// A temperature each minute of which four an hour go ashore, held for ten minutes: the four come in the first three minutes of an hour and share a billed message, so that 720 are
/// billed in 30 d. All months are alike, so that one shows them.
#[test]
fn val_what_at_most_lets_pass_comes_when_it_lets_it_pass() {
    let held = format!("{SURE}pack_within = \"10 min\"\n");
    let budget = format!("{}\nshare = \"90 %\"", BUDGET.replace("50 EUR", "100 EUR"));
    let check = checked(&[
        (SURE, &held),
        ("[behaviour.act]", WATER),
        (SEND, ""),
        (BUDGET, &budget),
        ("message_size = \"120 B\"", "message_size = \"500 B\""),
    ]);
    close(known(&check, "budget").value.value, 72.0, 1e-9);
}

/// By chance too, where more messages are expected than 1000 months of them can be drawn: the alerts, 300 a month, besides. A load carries at least one of them, or what is held: no
/// fewer are billed than the 720 of the temperatures less those that an alert took along, and no more than 720 and every alert of the limit of 12 a day, 1080.
#[test]
fn verif_months_of_many_messages_are_drawn_as_often_as_99_percent_need() {
    let held = format!("{SURE}pack_within = \"10 min\"\nurgent = 0\n");
    let budget = format!("{}\nshare = \"90 %\"", BUDGET.replace("50 EUR", "200 EUR"));
    let check = checked(&[
        (SURE, &held),
        ("[behaviour.act]", WATER),
        (BUDGET, &budget),
        (
            "on = \"module.ear.sensor.one\"\n",
            "on = \"module.ear.sensor.one\"\nexpects = \"10 per d\"\n",
        ),
        ("message_size = \"120 B\"", "message_size = \"500 B\""),
    ]);
    let budget = known(&check, "budget");
    let assess::Evidence::Sampled { draws, .. } = budget.evidence else {
        panic!("{:?}", budget.evidence);
    };
    assert_eq!(draws, 299);
    let billed = budget.value.value * 10.0;
    assert!((900.0..=1080.0).contains(&billed), "{billed}");
}

/// What the cap holds back in a month goes in a later one. 99 a month are expected below a cap of 100: in the long run 99 of 100 are billed on average, though half of the months
/// by themselves bill no more than 99 (`scipy.stats.poisson.ppf(0.5, 99)` is 99). A cap that is hardly ever passed holds nothing back.
#[test]
fn verif_by_chance_what_waits_at_the_cap_goes_in_later_months() {
    let with = |cap: &str, limit: &str| {
        let capped = format!("{SURE}cap = \"{cap} EUR\"\nat_cap = \"stop\"\n");
        let budget = format!(
            "{}\nshare = \"50 %\"",
            BUDGET.replace("50 EUR", &format!("{limit} EUR"))
        );
        let expects = "on = \"module.ear.sensor.one\"\nexpects = \"3.3 per d\"\n";
        checked(&[
            (SURE, &capped),
            (BUDGET, &budget),
            ("on = \"module.ear.sensor.one\"\n", expects),
        ])
    };
    let near = with("10", "9.90");
    let why = why_unknown(&near, "budget");
    assert!(why.contains("between 99 and 100 billed messages"), "{why}");
    assert!(why.contains("goes in later months"), "{why}");
    // All that the cap lets go is within the limit, and less than a month by itself bills is not.
    close(known(&with("10", "12"), "budget").value.value, 10.0, 1e-9);
    assert_eq!(
        requirement(&with("10", "9.80"), "budget").word(),
        Word::Broken
    );
    let wide = with("20", "12");
    close(known(&wide, "budget").value.value, 9.9, 1e-9);
    let why = &known(&wide, "budget").why;
    assert!(!why.contains("later months"), "{why}");
}

/// One a day is 30 in each month of 30 d, each by itself or held for others that do not come.
#[test]
fn val_a_message_a_day_is_thirty_in_a_month() {
    const DAILY: &str = "[behaviour.daily]\non = \"module.base\"\neach = \"1 d\"\ndo = [{ send_up = \"uplink.shore\", about = \"water/temp\" }]\n\
        [topic.\"water/temp\"]\nsize = \"50 B\"\npriority = 3\nat_most = \"2 per d\"\n[behaviour.act]";
    for share in ["90 %", "100 %"] {
        let budget = format!(
            "{}\nshare = \"{share}\"",
            BUDGET.replace("50 EUR", "2.90 EUR")
        );
        for held in ["", "pack_within = \"1 min\"\n"] {
            let uplink = format!("{SURE}{held}");
            let check = checked(&[
                (SURE, &uplink),
                ("[behaviour.act]", DAILY),
                (SEND, ""),
                (BUDGET, &budget),
            ]);
            close(known(&check, "budget").value.value, 3.0, 1e-9);
            assert_eq!(requirement(&check, "budget").word(), Word::Broken);
        }
    }
}
