//! Against scipy and numpy (reference/make/network_uplink_month.py).

use serde_json::Value;

use super::drawn::Months;
use super::offers::{Span, round};
use super::*;

fn list(value: &Value) -> &Vec<Value> {
    value.as_array().unwrap()
}

/// Draws, quantile, and the lower and upper order statistic.
const ORDER: [(u32, f64, u64, Option<u64>); 8] = [
    (1000, 0.5, 474, Some(527)),
    (1000, 0.9, 884, Some(916)),
    (1000, 0.99, 985, Some(996)),
    (1000, 0.999, 997, None),
    (299, 0.5, 135, Some(165)),
    (299, 0.9, 260, Some(278)),
    (299, 0.99, 293, Some(299)),
    (299, 0.999, 298, None),
];

fn month_of(probabilities: Vec<f64>) -> Month {
    Month {
        probabilities,
        drawn: None,
        chance: true,
        why: String::new(),
        notes: Vec::new(),
        from: String::new(),
    }
}

fn origin(i: usize) -> Origin {
    Origin::Detector(DetectorIx(i))
}

/// Sums of Poisson counts, exactly as scipy adds them up.
#[test]
fn val_sums_are_those_of_scipy() {
    let file = truth::json("network/scipy-uplink-month.json");
    let cases = list(&file["cases"]["sums"]);
    assert_eq!(cases.len(), 6);
    for case in cases {
        let mut rates = BTreeMap::new();
        let mut sendings = Vec::new();
        for (i, o) in list(&case["origins"]).iter().enumerate() {
            rates.insert(origin(i), o[0].as_f64().unwrap());
            sendings.push(Sending {
                ways: BTreeMap::from([(origin(i), 1)]),
                limit: None,
                most: o[2].as_u64().unwrap_or(u64::MAX),
                billed: o[1].as_u64().unwrap(),
                bytes: 1,
                priority: 0,
            });
        }
        let month = month_of(compounded(&sendings, &rates, 0.0).unwrap());
        let whole: f64 = month.probabilities.iter().sum();
        assert!((whole - 1.0).abs() < 1e-10, "{whole}");
        for q in list(&case["quantiles"]) {
            assert_eq!(
                month.quantile(q[0].as_f64().unwrap()),
                Ok(q[1].as_u64().unwrap()),
                "{case}"
            );
        }
        for row in list(&case["share_up_to"]) {
            let ours = month.share_up_to(row[0].as_u64().unwrap());
            let theirs = row[1].as_f64().unwrap();
            assert!((ours - theirs).abs() < 1e-9, "{ours} {theirs} {case}");
        }
    }
}

/// Behaviours that bill together because the same event starts them are wider than independent ones.
#[test]
fn verif_one_origin_of_two_sendings_counts_once() {
    let sending = |billed| Sending {
        ways: BTreeMap::from([(origin(0), 1)]),
        limit: None,
        most: u64::MAX,
        billed,
        bytes: 1,
        priority: 0,
    };
    let rates = BTreeMap::from([(origin(0), 40.0)]);
    let two = compounded(&[sending(1), sending(2)], &rates, 0.0).unwrap();
    let one = compounded(&[sending(3)], &rates, 0.0).unwrap();
    assert_eq!(two, one);
    let apart = compounded(
        &[
            sending(1),
            Sending {
                ways: BTreeMap::from([(origin(1), 1)]),
                ..sending(2)
            },
        ],
        &BTreeMap::from([(origin(0), 40.0), (origin(1), 40.0)]),
        0.0,
    )
    .unwrap();
    assert!(month_of(two).quantile(0.99).unwrap() > month_of(apart).quantile(0.99).unwrap());
}

fn at_most(most: u64, billed: u64, ways: &[(usize, u64)]) -> Sending {
    Sending {
        ways: ways.iter().map(|(o, n)| (origin(*o), *n)).collect(),
        limit: None,
        most,
        billed,
        bytes: 1,
        priority: 0,
    }
}

/// Two detectors of a mean of 5 events each lead to one behaviour that starts at most 8 times: a Poisson count of 10 that stops at 8. By hand, `exp(-10) sum 10^n/n!` for n from 0 to
/// 7: 0.2202206; the rest bills 8.
#[test]
fn verif_a_limit_holds_over_all_that_starts_it() {
    let rates = BTreeMap::from([(origin(0), 5.0), (origin(1), 5.0)]);
    let both = compounded(&[at_most(8, 1, &[(0, 1), (1, 1)])], &rates, 0.0).unwrap();
    assert_eq!(both.len(), 9);
    assert!((both[8] - (1.0 - 0.220_220_6)).abs() < 1e-6, "{both:?}");
    assert_eq!(month_of(both).quantile(0.95), Ok(8));
}

/// One of two detectors starts it twice, and another behaviour without a limit as well: by hand, over each pair of counts, in a month with a third thing that starts it every 30 d.
#[test]
fn verif_unlike_ways_to_one_limit_are_counted_by_pairs() {
    let interval = Origin::Interval(7);
    let rates = BTreeMap::from([(origin(0), 0.5), (origin(1), 0.25), (interval, 1.0)]);
    let mut limited = at_most(3, 1, &[(0, 1), (1, 2)]);
    limited.ways.insert(interval, 1);
    let free = at_most(u64::MAX, 10, &[(1, 1)]);
    let found = compounded(&[limited, free], &rates, 0.0).unwrap();
    let p = |mean: f64, n: u32| {
        let over: f64 = (1..=n).map(|i| mean / f64::from(i)).product();
        libm::exp(-mean) * over
    };
    let mut wanted = vec![0.0; found.len()];
    for a in 0..12 {
        for b in 0..12 {
            let billed = (a + 2 * b + 1).min(3) + 10 * b;
            if let Some(into) = wanted.get_mut(billed as usize) {
                *into += p(0.5, a) * p(0.25, b);
            }
        }
    }
    for (n, (ours, theirs)) in found.iter().zip(&wanted).enumerate() {
        assert!((ours - theirs).abs() < 1e-9, "{n}: {ours} for {theirs}");
    }
    // Nothing happens, and one of the first: 1 and 2.
    assert!((found[1] - libm::exp(-0.75)).abs() < 1e-9);
    assert!((found[2] - 0.5 * libm::exp(-0.75)).abs() < 1e-9);
}

#[test]
fn verif_no_limit_holds_in_all_months() {
    let by_chance = month_of(vec![0.5, 0.5]);
    assert!(by_chance.quantile(1.0).is_err());
    let fixed = Month {
        chance: false,
        ..month_of(vec![0.0, 0.0, 1.0])
    };
    assert_eq!(fixed.quantile(1.0), Ok(2));
}

/// A line whose uplink sends what one detector tells, packed.
fn packed(rate: f64, hold_s: f64, capacity: u32) -> (Line, Vec<Sending>, BTreeMap<Origin, f64>) {
    let path =
        std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/integration/small.toml");
    let text = std::fs::read_to_string(path).unwrap();
    let reading = plan::read(std::path::Path::new("plan.toml"), &|_: &std::path::Path| {
        Ok(text.clone().into_bytes())
    });
    let mut line = reading.line.unwrap();
    let uplink = &mut line.uplinks[0];
    uplink.message_bytes = 10 * capacity;
    uplink.windows = None;
    uplink.session_s.si = 1e-3;
    uplink.expiry_s = None;
    uplink.success.as_mut().unwrap().si = 1.0;
    uplink.pack_within_s = Some(plan::Q {
        si: hold_s,
        ..uplink.session_s
    });
    let sendings = vec![Sending {
        ways: BTreeMap::from([(origin(0), 1)]),
        limit: None,
        most: u64::MAX,
        billed: 1,
        bytes: 10,
        priority: 1,
    }];
    (line, sendings, BTreeMap::from([(origin(0), rate)]))
}

/// Fewest months that are drawn below, and three standard errors of a share of so many, beside the 20,000 of numpy: 3 sqrt(0.25/700 + 0.25/20,000) = 0.058.
const FEWEST_MONTHS: u32 = 700;
const DRAWN_SHARE: f64 = 0.06;

/// Drawn months against the closed form of loads that are never full, and against numpy's draws of loads that may be.
#[test]
fn val_drawn_months_are_those_of_scipy_and_numpy() {
    let file = truth::json("network/scipy-uplink-month.json");
    let mut checked = 0;
    for kind in ["shared", "drawn"] {
        for case in list(&file["cases"][kind]) {
            let capacity = case["capacity"].as_u64().unwrap_or(10_000) as u32;
            let hold_s = case["hold_s"].as_f64().unwrap();
            let (line, sendings, rates) = packed(case["rate"].as_f64().unwrap(), hold_s, capacity);
            let (probabilities, months) =
                drawn(&line, UplinkIx(0), &sendings, &rates, (0.0, &Memo::new())).unwrap();
            assert!(months >= FEWEST_MONTHS, "{months}");
            let month = month_of(probabilities);
            for row in list(&case["share_up_to"]) {
                let ours = month.share_up_to(row[0].as_u64().unwrap());
                let theirs = row[1].as_f64().unwrap();
                assert!(
                    (ours - theirs).abs() < DRAWN_SHARE,
                    "{ours} {theirs} {row} {kind}"
                );
                checked += 1;
            }
        }
    }
    assert!(checked >= 60, "{checked}");
}

/// Failed attempts that are billed: a compound of Poisson and geometric numbers, against scipy.
#[test]
fn val_failed_attempts_are_billed_as_scipy_adds_them_up() {
    let file = truth::json("network/scipy-uplink-month.json");
    let mut checked = 0;
    for case in list(&file["cases"]["retried"]) {
        let (mut line, sendings, rates) = packed(case["rate"].as_f64().unwrap(), 0.0, 10);
        let uplink = &mut line.uplinks[0];
        uplink.pack_within_s = None;
        uplink.success.as_mut().unwrap().si = case["success"].as_f64().unwrap();
        uplink.back_off_s = Some(uplink.session_s);
        let of = |line: &Line| {
            let (probabilities, months) =
                drawn(line, UplinkIx(0), &sendings, &rates, (0.0, &Memo::new())).unwrap();
            assert!(months >= FEWEST_MONTHS, "{months}");
            month_of(probabilities)
        };
        let free = of(&line);
        line.uplinks[0].bills_failed = Some(true);
        let billed = of(&line);
        for row in list(&case["share_up_to"]) {
            let messages = row[0].as_u64().unwrap();
            let theirs = row[1].as_f64().unwrap();
            let ours = billed.share_up_to(messages);
            assert!((ours - theirs).abs() < DRAWN_SHARE, "{ours} {row}");
            assert!(free.share_up_to(messages) >= ours);
            checked += 1;
        }
    }
    assert_eq!(checked, 15);
}

/// The order statistics of 1000 and 299 draws, by scipy 1.17.1: least k with `binom.cdf(k - 1, n, q) >= 0.95`, and most with
/// `binom.cdf(k - 1, n, q) <= 0.05`, counted from 1.
#[test]
fn val_limits_of_quantiles_are_order_statistics() {
    for (n, q, low, high) in ORDER {
        // The i-th draw bills i messages.
        let mut probabilities = vec![1.0 / f64::from(n); n as usize + 1];
        probabilities[0] = 0.0;
        let month = Month {
            drawn: Some(n),
            ..month_of(probabilities)
        };
        assert_eq!(month.quantile(q).ok(), high, "{n} {q}");
        assert_eq!(month.lower(q), Ok(Some(low)), "{n} {q}");
    }
    let few = Month {
        drawn: Some(299),
        ..month_of(vec![0.0, 1.0])
    };
    let why = few.quantile(0.999).unwrap_err();
    assert!(why.contains("no more than 99 % of the months"), "{why}");
    assert!(few.quantile(1.0).is_err());
    // 1 - 0.05^(1/299).
    let within = few.share_within(1).unwrap();
    assert!((within - 0.990_030).abs() < 1e-6, "{within}");
}

/// Both count tens of thousands of messages, which wait for each other: three standard errors of a tenth of as many.
const UNDER_LOAD: f64 = 0.03;

/// How late messages are that wait for each other, against SimPy (reference/make/network_uplink_load.py).
#[test]
fn val_messages_under_load_are_as_late_as_those_of_simpy() {
    let file = truth::json("network/simpy-uplink-load.json");
    let ns = |value: &Value| timeline::Ns::from_s_f64(value.as_f64().unwrap()).unwrap();
    let mut checked = 0;
    for case in list(&file["cases"]) {
        let mut spec = network::UplinkSpec::plain(ns(&case["session"]), 100);
        spec.failure = network::Failure::Asked;
        spec.backoff = network::BackOff::steady(ns(&case["back_off"]));
        if !case["period"].is_null() {
            spec.windows = network::Windows::Every {
                first: timeline::Ns::ZERO,
                period: ns(&case["period"]),
                width: ns(&case["width"]),
            };
        }
        let mut rates = BTreeMap::new();
        let mut sendings = Vec::new();
        for (i, o) in list(&case["origins"]).iter().enumerate() {
            let from = match o["chance"].as_bool().unwrap() {
                true => origin(i),
                false => Origin::Interval(i),
            };
            rates.insert(from, o["per_month"].as_f64().unwrap());
            let count = o["at_most"][0].as_u64().unwrap() as u32;
            let limit = AtMost::new(count, ns(&o["at_most"][1])).unwrap();
            sendings.push(Sending {
                ways: BTreeMap::from([(from, 1)]),
                limit: Some(limit),
                most: u64::MAX,
                billed: 1,
                bytes: 10,
                priority: o["priority"].as_u64().unwrap() as u8,
            });
        }
        let success = case["success"].as_f64().unwrap();
        let events: f64 = rates.values().sum();
        let months = (100_000.0 / events).ceil() as u32;
        let found = ashore::times(&Months {
            spec,
            tries: network::Tries::steady(success).unwrap(),
            sendings: &sendings,
            rates: &rates,
            months,
            lead_s: 0.0,
            uplink: "test",
        });
        let found = found.unwrap();
        for row in list(&case["within"]) {
            let ours = found[row[0].as_u64().unwrap() as usize].within(row[1].as_f64().unwrap());
            let theirs = row[2].as_f64().unwrap();
            assert!((ours - theirs).abs() < UNDER_LOAD, "{ours} {theirs} {row}");
            checked += 1;
        }
    }
    assert!(checked > 25, "{checked}");
}

/// An attempt that hardly ever succeeds is not tried without end.
#[test]
fn verif_drawing_ends_where_hardly_an_attempt_succeeds() {
    let (mut line, sendings, rates) = packed(100.0, 60.0, 10);
    line.uplinks[0].success.as_mut().unwrap().si = f64::MIN_POSITIVE;
    line.uplinks[0].back_off_s = Some(line.uplinks[0].session_s);
    let why = drawn(&line, UplinkIx(0), &sendings, &rates, (0.0, &Memo::new())).unwrap_err();
    assert!(why.contains("too many to draw"), "{why}");
}

/// Two origins of ten events a second that lead to one behaviour of at most four an hour: four pass in the first second of each hour, 2880 in 30 d (arithmetic), and
/// drawing them takes no more than those and a refused one of each origin after each.
#[test]
fn verif_what_at_most_refuses_is_not_drawn_for_several_origins() {
    const MOST_DRAWS: usize = 2880 * 3 + 100;
    let sending = Sending {
        ways: BTreeMap::from([(origin(0), 1), (origin(1), 1)]),
        limit: Some(AtMost::new(4, timeline::Ns::from_s_f64(3600.0).unwrap()).unwrap()),
        most: 2880,
        billed: 1,
        bytes: 10,
        priority: 0,
    };
    let rates = BTreeMap::from([(origin(0), 10.0 * MONTH_S), (origin(1), 10.0 * MONTH_S)]);
    let mut stream = chance::Stream::named(SEED, "test", 0);
    let mut counted = chance::Stream::named(SEED, "test", 0);
    let all = offers::offers(&[sending], &rates, Span::alone(0, MONTH_S), &mut stream).unwrap();
    assert_eq!(all.len(), 2880);
    assert!(all.is_sorted_by_key(|(at, ..)| *at));
    let next = stream.uniform();
    assert!((0..MOST_DRAWS).any(|_| counted.uniform() == next));
}

/// Arithmetic: 210 d hold 30 starts each 7 d, so that two months in seven have five, and 90 d hold two each 45 d. Two of the same interval start together.
#[test]
fn val_what_starts_at_intervals_falls_into_months_as_it_does() {
    let shares = |periods_d: &[f64]| {
        let rates: BTreeMap<Origin, f64> = (0..)
            .zip(periods_d)
            .map(|(i, period_d)| (Origin::Interval(i), MONTH_DAYS / period_d))
            .collect();
        let sending = Sending {
            ways: rates.keys().map(|o| (*o, 1)).collect(),
            limit: None,
            most: u64::MAX,
            billed: 1,
            bytes: 10,
            priority: 0,
        };
        let exact = compounded(std::slice::from_ref(&sending), &rates, 0.0).unwrap();
        // What is drawn falls as what is computed.
        let months = round(&rates.values().copied().collect::<Vec<_>>());
        let mut drawn = vec![0.0; exact.len()];
        for number in 0..months {
            let mut stream = chance::Stream::named(SEED, "test", 0);
            let month = Span::alone(number, MONTH_S);
            let all = offers::offers(std::slice::from_ref(&sending), &rates, month, &mut stream);
            drawn[all.unwrap().len()] += 1.0 / f64::from(months);
        }
        for (a, b) in exact.iter().zip(&drawn) {
            assert!((a - b).abs() < 1e-9, "{exact:?} {drawn:?}");
        }
        exact
    };
    let near = |found: Vec<f64>, expected: &[f64]| {
        assert_eq!(found.len(), expected.len(), "{found:?}");
        for (a, b) in found.iter().zip(expected) {
            assert!((a - b).abs() < 1e-9, "{found:?} {expected:?}");
        }
    };
    near(shares(&[7.0]), &[0.0, 0.0, 0.0, 0.0, 5.0 / 7.0, 2.0 / 7.0]);
    near(shares(&[45.0]), &[1.0 / 3.0, 2.0 / 3.0]);
    near(shares(&[30.0]), &[0.0, 1.0]);
    let mut two = vec![0.0; 11];
    (two[8], two[10]) = (5.0 / 7.0, 2.0 / 7.0);
    near(shares(&[7.0, 7.0]), &two);
    let daily = shares(&[1.0]);
    assert_eq!((daily.len(), daily[30]), (31, 1.0));
}

/// The share of months that begin with something left over, by stepping what waits from month to month until it no longer changes (Lindley's recursion, textbook queueing), is no
/// more than its bound; the bound is of use where the cap is well above what is expected.
#[test]
fn verif_what_a_cap_leaves_over_is_bounded() {
    for (rate, cap, least, most) in [
        (80.0, 100, 0.001, 0.2),
        (60.0, 100, 0.0, 1e-4),
        (99.0, 100, 0.5, 1.0),
        (101.0, 100, 0.5, 1.0),
    ] {
        let month = month_of(
            compounded(
                &[Sending {
                    ways: BTreeMap::from([(origin(0), 1)]),
                    limit: None,
                    most: u64::MAX,
                    billed: 1,
                    bytes: 1,
                    priority: 0,
                }],
                &BTreeMap::from([(origin(0), rate)]),
                0.0,
            )
            .unwrap(),
        );
        const LONGEST: usize = 500;
        let mut waits = vec![0.0; LONGEST + 1];
        waits[0] = 1.0;
        for _ in 0..300 {
            let mut next = vec![0.0; LONGEST + 1];
            for (w, a) in waits.iter().enumerate().filter(|(_, a)| **a > 0.0) {
                for (n, b) in month.probabilities.iter().enumerate() {
                    next[(w + n).saturating_sub(cap as usize).min(LONGEST)] += a * b;
                }
            }
            waits = next;
        }
        let stepped = 1.0 - waits[0];
        let bound = month.left_over(cap);
        assert!(stepped <= bound, "{rate}: {stepped} {bound}");
        assert!((least..=most).contains(&bound), "{rate}: {stepped} {bound}");
    }
    assert_eq!(month_of(vec![0.5, 0.5]).left_over(1), 0.0);
}

/// Delays of one check share what is drawn, and a probe of a remedy draws nothing.
#[test]
fn verif_times_under_load_are_drawn_once_for_a_check() {
    let (mut line, ..) = packed(100.0, 60.0, 10);
    line.detectors[0].expects = Some(quantity::EventRate {
        count: 10.0,
        per_s: SECONDS_PER_DAY,
    });
    let topic = plan::TopicIx(0);
    let memo = Memo::new();
    let mut load = UnderLoad::new(&memo);
    let first = load.words(&line, UplinkIx(0), topic, None, 100.0).unwrap();
    assert!(first.contains("half of "), "{first}");
    // It would be known no longer.
    line.detectors[0].expects = None;
    let second = load.words(&line, UplinkIx(0), topic, None, 200.0).unwrap();
    assert_eq!(
        second.split(", and ").next(),
        first.split(", and ").next(),
        "{second}"
    );
    assert!(second.contains("within the 200 s"), "{second}");
    let fresh = UnderLoad::new(&memo).words(&line, UplinkIx(0), topic, None, 200.0);
    assert!(fresh.unwrap().contains("not known"));
    let left_out = UnderLoad::LeftOut.words(&line, UplinkIx(0), topic, None, 100.0);
    assert_eq!(left_out, None);
}

/// Starts of an interval in a month and the time before it, by hand: each day at midnight from the start of the deployment is 30 in a month and in the two hours before it none, in the day before it
/// one, which the first month does not have. Each 7 h, two hours before the second month begins: starts 103 to 205, at 721 h to 1435 h, of those the first is the first of the month by itself; in the
/// third month, from 1440 h on with a lead of 6 h: start 205 at 1435 h and then to 308, 104 and no longer 103.
#[test]
fn val_starts_before_a_month_count_where_they_may_wait() {
    let started = |number, lead_h: f64, period_h: f64| {
        let span = Span {
            number,
            month_s: MONTH_S,
            lead_s: 3600.0 * lead_h,
        };
        span.started(720.0 / period_h)
    };
    for (number, lead_h, period_h, expected) in [
        (1, 0.0, 24.0, 30),
        (1, 2.0, 24.0, 30),
        (1, 24.0, 24.0, 31),
        (0, 24.0, 24.0, 30),
        (1, 0.0, 7.0, 103),
        (1, 2.0, 7.0, 103),
        (2, 0.0, 7.0, 103),
        (2, 6.0, 7.0, 104),
    ] {
        assert_eq!(
            started(number, lead_h, period_h),
            expected,
            "{number} {lead_h} {period_h}"
        );
    }
    // What is drawn begins with the lead.
    let rates = BTreeMap::from([(Origin::Interval(0), 30.0)]);
    let sending = Sending {
        ways: BTreeMap::from([(Origin::Interval(0), 1)]),
        limit: None,
        most: u64::MAX,
        billed: 1,
        bytes: 10,
        priority: 0,
    };
    let span = Span {
        number: 1,
        month_s: MONTH_S,
        lead_s: 90_000.0,
    };
    let mut stream = chance::Stream::named(SEED, "test", 0);
    let all = offers::offers(&[sending], &rates, span, &mut stream).unwrap();
    let at: Vec<f64> = all.iter().map(|(at, ..)| at.as_s_f64()).collect();
    assert_eq!((at.len(), at[0], at[30]), (31, 3600.0, 3600.0 + MONTH_S));
}
