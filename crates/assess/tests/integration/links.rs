//! Serial links, CAN and polled buses: how long, how late, how full.

use assess::{Check, Shelf, Verdict, Word, check};
use network::{Ends, LinkStandard, Rates};

use crate::support::{changed, checked, close, known, read, requirement, why_unknown};

const LINK: &str = "link = \"10BASE-T1L\"";
const UNASKED: &str = "link = \"TIA-485\"\nlink_rate = \"115.2 kbit/s\"\nframe = { header = \"8 B\", characters = \"8N1\", turnaround = \"2 ms\" }";
const CAN: &str = "bus = \"bus.side\"\n[bus.side]\nlink = \"CAN 2.0\"\nlink_rate = \"125 kbit/s\"\nframe = { header = \"0 B\", ids = \"11 bit\" }";

/// A third module on the bus.
const MORE: &str = r#"
[module.far]
position = { depth = "20 m" }
input = { minimum = "20 V", maximum = "56 V" }
loads = { idle = "1 W" }
boot = { time = "2 s", power = "1 W" }
passes = { power = "never", data = "never" }
processing = "100 us"

[span.far]
from = "module.base"
to = "module.far"
length = "30 m"
conductor = "18 AWG"
contacts = { mated_pins_in_loop = 0, resistance = "0 ohm" }
bus = "bus.side"
"#;

#[track_caller]
fn with_more(changes: &[(&str, &str)]) -> Check {
    let reading = read(&(changed(changes) + MORE));
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    check(&reading, &Shelf::default())
}

#[track_caller]
fn subject<'c>(check: &'c Check, id: &str, path: &str) -> &'c Verdict {
    let all = &requirement(check, id).verdicts;
    all.iter().find(|v| v.subject() == path).unwrap()
}

/// 1e8 m bit/s over 115.2 kbit/s are 868 m (TIA-422-B annex, secondary page).
#[test]
fn val_a_serial_span_longer_than_its_rate_allows_is_broken() {
    let serial = format!("{UNASKED}\npolled_by = \"module.base\"");
    let of = |length: &str| checked(&[(LINK, &serial), ("length = \"100 m\"", length)]);
    let check = of("length = \"869 m\"");
    assert_eq!(requirement(&check, "link-reach").word(), Word::Broken);
    close(
        known(&check, "link-reach").limit.value,
        1e8 / 115_200.0,
        1e-9,
    );
    assert!(known(&check, "link-reach").why.contains("TIA-422-B"));
    let check = of("length = \"868 m\"");
    assert_eq!(requirement(&check, "link-reach").word(), Word::Met);
}

/// The radio horizon over an earth of 4/3 its radius is 4.12 km times the sum of the roots of both heights in metres (ITU-R P.310 and textbooks, from memory); a buoy goes down into the trough.
#[test]
fn val_a_radio_reaches_to_its_horizon() {
    let radio = |more: &str| {
        format!(
            "link = \"line-of-sight\"\nlink_rate = \"115200 bit/s\"\nframe = {{ header = \"8 B\" }}\n{more}"
        )
    };
    let of = |more: &str, length: &str| {
        checked(&[
            (LINK, &radio(more)),
            ("length = \"100 m\"", &format!("length = \"{length}\"")),
        ])
    };
    let antennas = "antennas = [\"1.5 m\", \"6 m\"]";
    let far = format!("{antennas}\nlink_longest = \"40 km\"");
    let check = of(&far, "15 km");
    let horizon_m = 4120.0 * (1.5f64.sqrt() + 6.0f64.sqrt());
    let reach = known(&check, "link-reach");
    close(reach.limit.value, horizon_m, 0.001 * horizon_m);
    assert_eq!(requirement(&check, "link-reach").word(), Word::Met);
    for far in [&far, antennas] {
        let check = of(far, "15.3 km");
        assert_eq!(requirement(&check, "link-reach").word(), Word::Broken);
    }
    // The horizon says where it is not heard, and nowhere that it is.
    let check = of(antennas, "1 km");
    assert!(why_unknown(&check, "link-reach").contains("`link_longest`"));
    let check = of(&format!("{antennas}\nlink_longest = \"4 km\""), "5 km");
    close(known(&check, "link-reach").limit.value, 4000.0, 0.0);
    assert_eq!(requirement(&check, "link-reach").word(), Word::Broken);
    let check = of("", "1 km");
    assert!(why_unknown(&check, "link-reach").contains("`antennas`"));
}

/// 100 m and 30 m from the base are 130 m of bus: too long for 500 kbit/s, not for 250 kbit/s; at 1 Mbit/s far too long.
#[test]
fn val_a_bus_is_as_long_as_the_longest_way_along_it() {
    for (rate, longest_m, word) in [
        ("125 kbit/s", 500.0, Word::Met),
        ("250 kbit/s", 250.0, Word::Met),
        ("500 kbit/s", 100.0, Word::Broken),
        ("1 Mbit/s", 40.0, Word::Broken),
    ] {
        let bus = CAN.replace("125 kbit/s", rate);
        let check = with_more(&[(LINK, &bus)]);
        let verdict = subject(&check, "link-reach", "bus.side");
        assert_eq!(verdict.word(), word, "{rate}");
        let Verdict::Known(told) = verdict else {
            panic!("{rate}")
        };
        close(told.value.value, 130.0, 1e-9);
        close(told.limit.value, longest_m, 0.0);
    }
}

/// At 1 Mbit/s a piece of 5 m beside the longest way is broken (0.3 m of ISO 11898-2, from memory), though the way itself is short enough.
#[test]
fn val_a_stub_longer_than_its_standard_is_broken() {
    let bus = CAN.replace("125 kbit/s", "1 Mbit/s");
    let third = MORE.replace("far", "third").replace("30 m", "15 m");
    let of = |stub: &str| {
        let text = changed(&[(LINK, &bus), ("length = \"100 m\"", "length = \"20 m\"")]);
        let stub = MORE.replace("30 m", stub).replace("20 m", "0 m");
        let reading = read(&(text + &stub + &third.replace("depth = \"20 m\"", "depth = \"0 m\"")));
        assert!(!reading.has_errors(), "{:?}", reading.mistakes);
        check(&reading, &Shelf::default())
    };
    let check = of("5 m");
    let Verdict::Known(told) = subject(&check, "link-reach", "bus.side") else {
        panic!("unknown")
    };
    assert_eq!((told.value.value, told.limit.value), (5.0, 0.3));
    assert!(told.why.contains("stub"), "{}", told.why);
    let check = of("0.2 m");
    assert_eq!(subject(&check, "link-reach", "bus.side").word(), Word::Met);
}

/// The alert of 100 bytes is 12 frames of 1.08 ms and one of 0.76 ms at 125 kbit/s, alone on its bus; no more than one a minute.
#[test]
fn val_a_delay_over_can_holds_its_response_time() {
    let slow = |link: &str| {
        let changes = [
            (LINK, link),
            ("at_most = \"10 per min\"", "at_most = \"1 per min\""),
        ];
        checked(&changes)
    };
    let told = |check: &Check| known(check, "told").value.value;
    let heard_s: f64 = {
        let check = slow(CAN);
        let why = &known(&check, "told").why;
        why.split(" s until").next().unwrap().parse().unwrap()
    };
    // 100 m of copper and the base's processing.
    let line_s = 12.0 * 1.08e-3 + 0.76e-3 + 500e-9 + 100e-6;
    close(told(&slow(CAN)) - heard_s, line_s, 0.5e-3);
    let faster = CAN.replace("125 kbit/s", "250 kbit/s");
    close(
        told(&slow(CAN)) - told(&slow(&faster)),
        (12.0 * 1.08e-3 + 0.76e-3) / 2.0,
        2e-9,
    );
}

/// Nobody is said to ask: nothing of the talk is known, and what it does not touch stands. The base asks: a round at 9600 baud, 8 characters there, 108 back, and 2 x 2 ms of silence, then the transfer.
#[test]
fn verif_a_serial_bus_has_a_bound_when_somebody_asks() {
    let serial = UNASKED.replace("115.2 kbit/s", "9600 b/s");
    let of = |link: &str| {
        let changes = [
            (LINK, link),
            ("at_most = \"10 per min\"", "at_most = \"1 per min\""),
        ];
        read(&changed(&changes))
    };
    let unasked = check(&of(&serial), &Shelf::default());
    for id in ["told", "links"] {
        let verdict = &requirement(&unasked, id).verdicts[0];
        assert!(verdict.subject().starts_with("span.cable"), "{id}");
        let why = why_unknown(&unasked, id);
        assert!(why.contains("mistake in it"), "{id}: {why}");
    }
    let of_links = |j: &&assess::Judged| j.id.starts_with("link-");
    for judged in unasked.standing.iter().filter(of_links) {
        assert_eq!(judged.word(), Word::Unknown, "{}", judged.id);
    }
    let plain = checked(&[]);
    close(
        known(&unasked, "voltage").value.value,
        known(&plain, "voltage").value.value,
        0.0,
    );
    let asked = of(&format!("{serial}\npolled_by = \"module.base\""));
    assert!(!asked.has_errors(), "{:?}", asked.mistakes);
    let asked = check(&asked, &Shelf::default());
    let why = &known(&asked, "told").why;
    let heard_s: f64 = why.split(" s until").next().unwrap().parse().unwrap();
    let characters_s = |n: f64| 10.0 * n / 9600.0;
    let round_s = characters_s(8.0) + characters_s(108.0) + 4e-3 + 1e-6;
    let line_s = round_s + characters_s(108.0) + 100.5e-6;
    close(known(&asked, "told").value.value - heard_s, line_s, 0.5e-3);
    assert!(requirement(&asked, "link-capacity").word() == Word::Met);
}

/// 100 bytes ten times a minute need 100 characters of 12 bits and more each; raw sound needs far more than 1200 baud.
#[test]
fn verif_a_stream_on_a_slow_bus_is_broken_and_told() {
    let sdi = "link = \"SDI-12\"\npolled_by = \"module.base\"";
    let check = checked(&[
        (LINK, sdi),
        ("length = \"100 m\"", "length = \"50 m\""),
        ("size = \"100 B\"", "size = \"30 kB\""),
    ]);
    let capacity = known(&check, "link-capacity");
    assert_eq!(requirement(&check, "link-capacity").word(), Word::Broken);
    assert!(capacity.value.value > 1000.0, "{:?}", capacity.value);
    assert!(capacity.why.contains("module.ear"), "{}", capacity.why);
    let why = why_unknown(&check, "told");
    assert!(why.contains("span.cable is asked for"), "{why}");
    assert_eq!(requirement(&check, "link-reach").word(), Word::Met);
}

#[test]
fn verif_a_free_link_by_numbers_reaches_as_far_as_its_maker_says() {
    let free = "link = \"free\"\nlink_rate = \"1 Mbit/s\"\nlink_longest = \"99 m\"";
    let check = checked(&[(LINK, free)]);
    assert_eq!(requirement(&check, "link-reach").word(), Word::Broken);
    assert!(known(&check, "link-reach").why.contains("maker"));
    let unsaid = "link = \"inductive\"\nlink_rate = \"1200 b/s\"\nframe = { header = \"4 B\", preamble = \"20 ms\", turnaround = \"50 ms\" }\npolled_by = \"module.base\"";
    let check = checked(&[(LINK, unsaid)]);
    assert!(why_unknown(&check, "link-reach").contains("maker"));
}

/// A plan is accepted at exactly the rates that the discipline has, and a link has as many ends there as here.
#[test]
fn verif_plan_and_network_know_the_same_links() {
    let frame = |name: &str| match name {
        "TIA-485" => {
            "frame = { header = \"8 B\", characters = \"8N1\", turnaround = \"2 ms\" }\npolled_by = \"module.base\""
        }
        "SDI-12" => "polled_by = \"module.base\"",
        "TIA-232" => "frame = { header = \"8 B\", characters = \"8N1\" }",
        "CAN 2.0" => "frame = { header = \"1 B\", ids = \"11 bit\" }",
        "CAN FD" => "frame = { header = \"1 B\", ids = \"11 bit\", data_rate = \"8 Mbit/s\" }",
        "inductive" | "acoustic" => {
            "frame = { header = \"4 B\", preamble = \"20 ms\", turnaround = \"50 ms\" }\npolled_by = \"module.base\""
        }
        _ => "",
    };
    for standard in LinkStandard::all() {
        for rate_bps in [
            1, 49, 50, 80, 299, 300, 1200, 9600, 9601, 10_000, 15_001, 50_000, 115_201, 250_000,
            300_000, 1_000_000, 10_000_001,
        ] {
            let link = format!(
                "link = \"{}\"\nlink_rate = \"{rate_bps} b/s\"\n{}",
                standard.name,
                frame(standard.name)
            );
            let accepted = !read(&changed(&[(LINK, &link)])).has_errors();
            let fixed = matches!(standard.rates, Rates::Fixed(_));
            let has = standard.rates.has(rate_bps) && !fixed;
            assert_eq!(accepted, has, "{} at {rate_bps}", standard.name);
        }
        let bus = match standard.rates {
            Rates::Fixed(_) => String::new(),
            Rates::Listed(list) => format!("link_rate = \"{} b/s\"", list[0]),
            Rates::Between(least, _) => format!("link_rate = \"{least} b/s\""),
        };
        let bus = format!(
            "bus = \"bus.side\"\n[bus.side]\nlink = \"{}\"\n{bus}\n{}",
            standard.name,
            frame(standard.name)
        );
        for more in [1, 7, 10, 11, 31, 32] {
            let mut text = changed(&[(LINK, &bus)]);
            for i in 1..more {
                text.push_str(&MORE.replace("far", &format!("far-{i}")));
            }
            let accepted = !read(&text).has_errors();
            let fits = match standard.ends {
                Ends::Two => more < 2,
                Ends::Bus(most) => most.is_none_or(|most| more < most),
            };
            assert_eq!(accepted, fits, "{} with {more} more", standard.name);
        }
    }
}

/// A rate that CAN does not have: nothing is known of what crosses that bus, and all of what does not.
#[test]
fn verif_a_mistake_in_a_bus_reaches_what_crosses_it_alone() {
    let wrong = CAN.replace("125 kbit/s", "126 kbit/s");
    let reading = read(&(changed(&[(LINK, &wrong)]) + MORE));
    assert!(reading.has_errors());
    let check = check(&reading, &Shelf::default());
    for id in ["told", "links", "link-reach"] {
        assert_eq!(requirement(&check, id).word(), Word::Unknown, "{id}");
    }
    assert_ne!(requirement(&check, "voltage").word(), Word::Unknown);
}

/// 100 bytes behind 86 of Ethernet, IPv6 and UDP are 1488 bits: 1 - (1 - 1e-6)^1488 = 0.14868942... % (Python's math.log1p and math.expm1).
#[test]
fn val_a_bit_error_rate_loses_so_many_messages() {
    const ASKED: &str = "[requirement.whole]\nthat = \"message-loss\"\nat_most = \"0.2 %\"\n";
    let of = |link: &str| {
        let reading = read(&(changed(&[(LINK, link)]) + ASKED));
        assert!(!reading.has_errors(), "{:?}", reading.mistakes);
        check(&reading, &Shelf::default())
    };
    let with_rate = of(&format!("{LINK}\nbit_error_rate = 1e-6"));
    let told = known(&with_rate, "whole");
    close(told.value.value, 0.148_689_421_979_775, 1e-12);
    assert_eq!(requirement(&with_rate, "whole").word(), Word::Met);
    let worse = of(&format!("{LINK}\nbit_error_rate = 2e-6"));
    assert_eq!(requirement(&worse, "whole").word(), Word::Broken);
    let silent = of(LINK);
    assert!(why_unknown(&silent, "whole").contains("span.cable"));
    // What the controllers of CAN repeat is not lost.
    let can = of(&format!("{CAN}\nbit_error_rate = 1e-6"));
    close(known(&can, "whole").value.value, 0.0, 0.0);
    assert!(why_unknown(&of(CAN), "whole").contains("bus.side"));
}

/// On CAN what is hit is sent again, and nothing says how often at most: what crosses such a bus has no bound, whatever asks for one. With a rate of none the bounds are those without a rate.
#[test]
fn verif_bit_errors_on_can_leave_no_bound_to_what_crosses_it() {
    let asks = "\n[request.level]\nto = \"module.ear\"\nquestion = \"20 B\"\nanswer = \"60 B\"\nwithin = \"1 s\"\nat_most = \"1 per min\"\n[behaviour.asks]\non = \"module.base\"\neach = \"1 min\"\ndo = [{ ask = \"request.level\" }]\n[behaviour.answers]\non = \"module.ear\"\nwhen_asked = \"request.level\"\ndo = [{ answer = \"request.level\" }]\n";
    let stream = "\n[stream.beat]\nfrom = \"module.ear\"\nto = \"module.base\"\nrate = \"100 bit/s\"\npacket = \"50 B\"\npriority = 3\nwithin = \"30 s\"\n";
    let minute = ("at_most = \"10 per min\"", "at_most = \"1 per min\"");
    let again = "size = \"100 B\"\ndelivery = \"at-least-once\"\nretry = { after = \"1 s\", at_most = 3, acknowledgement = \"8 B\" }";
    let of = |link: &str| {
        let changes = [(LINK, link), minute, ("size = \"100 B\"", again)];
        let reading = read(&(changed(&changes) + asks + stream));
        assert!(!reading.has_errors(), "{:?}", reading.mistakes);
        check(&reading, &Shelf::default())
    };
    let judged = ["told", "request", "retry", "stream-room"];
    let hit = of(&format!("{CAN}\nbit_error_rate = 1e-5"));
    for id in judged {
        let why = match &requirement(&hit, id).verdicts[0] {
            Verdict::Unknown { why, .. } => why,
            known => panic!("{id}: {known:?}"),
        };
        assert!(
            why.contains("bus.side sends again what bit errors hit")
                && why.contains("write `bit_error_rate = 0`"),
            "{id}: {why}"
        );
    }
    let whole = of(&format!("{CAN}\nbit_error_rate = 0"));
    for id in judged {
        assert_eq!(
            known(&whole, id).value.value,
            known(&of(CAN), id).value.value
        );
        assert!(!known(&whole, id).why.contains("bit errors"), "{id}");
    }
    // A least time between errors that is assumed gives bounds back, and says so.
    let apart = |ms: u32| {
        of(&format!(
            "{CAN}\nbit_error_rate = 1e-5\nerrors_apart = \"{ms} ms\""
        ))
    };
    let (seldom, often) = (apart(1000), apart(20));
    for id in judged {
        let value = |check| known(check, id).value.value;
        assert!(value(&seldom) >= value(&whole), "{id}");
        assert!(value(&often) >= value(&seldom), "{id}");
    }
    // All that may go before it is through within a second, so that one error hits it: 31 bits of 8 us and
    // the longest frame, of 135 bits, again.
    let told = |check| known(check, "told").value.value;
    close(told(&seldom) - told(&whole), 31.0 * 8e-6 + 1.08e-3, 1e-9);
    let assumes = |a: &String| a.contains("bus.side are at least 1 s apart");
    assert!(seldom.assumed.iter().any(assumes), "{:?}", seldom.assumed);
    // Elsewhere what is hit is lost, and nothing is later.
    let ethernet = of(&format!("{LINK}\nbit_error_rate = 1e-5"));
    for id in judged {
        known(&ethernet, id);
    }
}

/// Where a tenth of the frames of eight bytes (135 bits) is hit a controller leaves its bus after 304,082 sendings (`bus_off` of reference/network/simpy-can-errors.json): what is lost then is unknown.
#[test]
fn val_a_can_bus_that_controllers_leave_is_unknown() {
    const ASKED: &str = "[requirement.whole]\nthat = \"message-loss\"\nat_most = \"0.2 %\"\n";
    let rate = 1.0 - 0.9_f64.powf(1.0 / 135.0);
    let link = format!("{CAN}\nbit_error_rate = {rate:e}");
    let reading = read(&(changed(&[(LINK, &link)]) + ASKED));
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    let check = check(&reading, &Shelf::default());
    let why = why_unknown(&check, "whole");
    assert!(why.contains("10.000 %") && why.contains("3.041e5"), "{why}");
}

/// As above: p = 1 - (1 - 1e-6)^1488 for one sending. Sendings count as long as no more than 63 messages may have come by the time that each is waited for, of 64 numbers
/// remembered and 2 s from sending to sending: 10 per s come to 40, 60 and 80 with the second, third and fourth.
#[test]
fn val_repeats_that_come_after_too_many_others_save_nothing() {
    const ASKED: &str = "[requirement.whole]\nthat = \"message-loss\"\nat_most = \"0.2 %\"\n";
    let retry = "delivery = \"at-least-once\"\nretry = { after = \"2 s\", at_most = 3, acknowledgement = \"8 B\" }";
    let link = format!("{LINK}\nbit_error_rate = 1e-6");
    let one = 0.148_689_421_979_775e-2_f64;
    for (limit, counted) in [
        ("10 per min", 4),
        ("10 per s", 3),
        ("15 per s", 2),
        ("16 per s", 1),
    ] {
        let limited = format!("at_most = \"{limit}\"\n{retry}");
        let text = changed(&[(LINK, &link), ("at_most = \"10 per min\"", &limited)]) + ASKED;
        let reading = read(&text);
        assert!(!reading.has_errors(), "{:?}", reading.mistakes);
        let check = check(&reading, &Shelf::default());
        let loss = known(&check, "whole").value.value / 100.0;
        let expected = one.powi(counted);
        assert!((loss / expected - 1.0).abs() < 1e-9, "{limit}: {loss}");
        // Where not all four count, that is told, and how many may come in eight seconds.
        let retries = requirement(&check, "retry");
        let word = if counted == 4 {
            Word::Met
        } else {
            Word::Broken
        };
        assert_eq!(retries.word(), word, "{limit}: {retries:?}");
        let told = retries.verdicts.iter().any(|v| match v {
            Verdict::Known(k) => k.value.unit == "messages" && k.limit.value == 63.0,
            _ => false,
        });
        assert_eq!(told, counted < 4, "{limit}");
    }
}

/// The chance that every sending is hit rests on how many there are, and when: all of it is in the digest.
#[test]
fn verif_repeats_are_in_the_digest_of_what_is_lost() {
    const ASKED: &str = "[requirement.whole]\nthat = \"message-loss\"\nat_most = \"0.2 %\"\n";
    const RETRY: &str = "size = \"100 B\"\ndelivery = \"at-least-once\"\nretry = { after = \"1 s\", at_most = 3, acknowledgement = \"8 B\" }";
    let hit = format!("{LINK}\nbit_error_rate = 1e-6");
    let inputs = |retry: &str| {
        let text = changed(&[(LINK, &hit), ("size = \"100 B\"", retry)]) + ASKED;
        let check = check(&read(&text), &Shelf::default());
        match &known(&check, "whole").evidence {
            assess::Evidence::Computed { inputs, .. } => inputs.clone(),
            other => panic!("{other:?}"),
        }
    };
    let three = inputs(RETRY);
    assert_ne!(inputs(&RETRY.replace("at_most = 3", "at_most = 4")), three);
    assert_ne!(inputs(&RETRY.replace("1 s", "2 s")), three);
}
