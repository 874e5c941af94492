//! Attempts by the state of the sea: `reference/network/numpy-tries.json`, closed forms, and the queue itself.

use chance::{Stream, TwoState};
use network::{
    BackOff, Failure, Outcome, SeaDrawn, Tries, Uplink, UplinkMessage, UplinkSpec, Windows,
    attempts_for_burst, lone_delay, lone_delay_by_sea,
};
use serde_json::Value;
use timeline::{Class, Ns};

use crate::support::{list, reference};

const EXACT: f64 = 1e-10;
/// Five standard errors of 60,000 messages.
const DRAWN: f64 = 0.01;
const HOUR_S: f64 = 3600.0;

fn s(seconds: f64) -> Ns {
    Ns::from_s_f64(seconds).unwrap()
}

fn tries(high_share: f64, high_lasts_h: f64, calm_succeeds: f64, high_succeeds: f64) -> Tries {
    Tries {
        chain: TwoState::from_share_and_bad_spell(1.0 - high_share, high_lasts_h).unwrap(),
        step_s: HOUR_S,
        calm_succeeds,
        high_succeeds,
    }
}

fn of_case(case: &Value) -> Tries {
    let of = |key: &str| case[key].as_f64().unwrap();
    tries(
        of("high_share"),
        of("high_lasts_h"),
        of("calm_succeeds"),
        of("high_succeeds"),
    )
}

fn spec_of(case: &Value) -> UplinkSpec {
    let of = |key: &str| case[key].as_f64().unwrap();
    let windows = match &case["windows_s"] {
        Value::Null => Windows::Always,
        both => Windows::Every {
            first: Ns::ZERO,
            period: s(both[0].as_f64().unwrap()),
            width: s(both[1].as_f64().unwrap()),
        },
    };
    UplinkSpec {
        windows,
        failure: Failure::Asked,
        backoff: BackOff {
            first: s(of("back_off_s")),
            growth: of("grows") as u32,
            longest: s(of("longest_s")),
        },
        expiry: case["expiry_s"].as_f64().map(s),
        ..UplinkSpec::plain(s(of("session_s")), 100)
    }
}

#[test]
fn val_messages_that_are_tried_through_the_sea() {
    let document = reference("numpy-tries.json");
    let cases = list(&document["cases"]);
    assert_eq!(cases.len(), 8);
    let (mut exact, mut drawn) = (0, 0);
    for case in cases {
        let (spec, tries) = (spec_of(case), of_case(case));
        let found = lone_delay_by_sea(&spec, &tries).unwrap();
        let name = &case["name"];
        for (time_s, ashore) in list(&case["times_s"]).iter().zip(list(&case["ashore"])) {
            let ours = found.share_within(time_s.as_f64().unwrap());
            let theirs = ashore.as_f64().unwrap();
            assert!(
                (ours - theirs).abs() < DRAWN,
                "{name} {time_s}: {ours} {theirs}"
            );
            drawn += 1;
        }
        let given_up = case["given_up"].as_f64().unwrap();
        assert!(
            (found.given_up - given_up).abs() < DRAWN,
            "{name}: {}",
            found.given_up
        );
        let attempts = case["attempts"].as_f64().unwrap();
        assert!(
            (found.attempts / attempts - 1.0).abs() < 0.02,
            "{name}: {}",
            found.attempts
        );
        // What was offered is ashore, given up or still waiting.
        let all = found.share_within(f64::INFINITY) + found.given_up + found.left;
        assert!((all - 1.0).abs() < 1e-9, "{name}: {all}");
        let mut at_s = spec.session.as_s_f64();
        for (k, fail) in list(&case["all_fail"]).iter().enumerate() {
            let ours = 1.0 - found.share_within(at_s);
            let theirs = fail.as_f64().unwrap();
            assert!((ours - theirs).abs() < EXACT, "{name} {k}: {ours} {theirs}");
            at_s += spec.backoff.after(k as u32 + 1).as_s_f64() + spec.session.as_s_f64();
            exact += 1;
        }
    }
    assert_eq!((exact, drawn), (160, 64));
}

#[test]
fn val_attempts_of_bursts() {
    let document = reference("numpy-tries.json");
    for case in list(&document["bursts"]) {
        let of = |key: &str| case[key].as_f64().unwrap();
        let (session_s, back_off_s) = (of("session_s"), of("back_off_s"));
        for row in list(&case["share_least_most"]) {
            let numbers: Vec<f64> = list(row).iter().map(|n| n.as_f64().unwrap()).collect();
            let found = attempts_for_burst(
                &of_case(case),
                of("messages") as u32,
                (session_s, session_s + back_off_s),
                numbers[0],
            );
            let found = f64::from(found.unwrap());
            assert!((numbers[1]..=numbers[2]).contains(&found), "{row} {found}");
        }
    }
}

/// The limits: equal chances in both seas, hours that know nothing of each other, no high sea. All are the geometric law and the queue without a sea.
#[test]
fn verif_without_a_sea_that_matters_nothing_changes() {
    for windows in [
        Windows::Always,
        Windows::Every {
            first: Ns::ZERO,
            period: s(3000.0),
            width: s(400.0),
        },
    ] {
        let spec = UplinkSpec {
            windows,
            backoff: BackOff::steady(s(60.0)),
            expiry: Some(s(20_000.0)),
            ..UplinkSpec::plain(s(20.0), 100)
        };
        let plain = lone_delay(&spec, 0.7).unwrap();
        let equal = lone_delay_by_sea(&spec, &tries(0.4, 12.0, 0.7, 0.7)).unwrap();
        let none = lone_delay_by_sea(&spec, &tries(0.0, 12.0, 0.7, 0.1)).unwrap();
        let mut alone = tries(0.3, 1.0, 0.9, 0.233_333_333_333_333_34);
        alone.chain = TwoState::from_share_and_persistence(0.7, 0.0).unwrap();
        let alone = lone_delay_by_sea(&spec, &alone).unwrap();
        for time_s in [20.0, 100.0, 500.0, 4000.0, 9000.0] {
            let wanted = plain.share_within(time_s);
            // What the sea still keeps of the last is followed to 1e-7.
            for (other, close) in [(&equal, 1e-12), (&none, 1e-12), (&alone, 2e-7)] {
                let found = other.share_within(time_s);
                assert!((found - wanted).abs() < close, "{time_s}: {found} {wanted}");
            }
        }
        assert!((plain.attempts - alone.attempts).abs() < 1e-6);
    }
    assert_eq!(
        lone_delay_by_sea(&UplinkSpec::plain(s(1.0), 1), &tries(0.5, 1.0, 0.0, 0.0)),
        None
    );
}

/// A lasting sea makes the tail, at the same mean chance; the longer its spells the heavier. A burst of one is the lone message.
#[test]
fn verif_lasting_seas_make_the_tail() {
    let spec = UplinkSpec {
        backoff: BackOff::steady(s(60.0)),
        ..UplinkSpec::plain(s(20.0), 100)
    };
    let mut before_s = 0.0;
    for lasts_h in [0.01, 0.1, 1.0, 5.0, 20.0] {
        let sea = tries(0.25, lasts_h, 0.97, 0.0);
        let at_s = lone_delay_by_sea(&spec, &sea)
            .unwrap()
            .within_s(0.99)
            .unwrap();
        assert!(at_s >= before_s, "{lasts_h}: {at_s} {before_s}");
        before_s = at_s;
        for share in [0.5, 0.9, 0.99, 0.999] {
            let attempts = attempts_for_burst(&sea, 1, (20.0, 80.0), share).unwrap();
            let lone_s = lone_delay_by_sea(&spec, &sea)
                .unwrap()
                .within_s(share)
                .unwrap();
            let burst_s = 20.0 * f64::from(attempts) + 60.0 * f64::from(attempts - 1);
            assert!(
                (lone_s - burst_s).abs() < 1e-3,
                "{share}: {lone_s} {burst_s}"
            );
        }
    }
    assert!(before_s > 20.0 * HOUR_S, "{before_s}");
}

/// Many lone messages through the queue, each in a sea of its own: the distribution, and at every end offered = sent + expired + dropped + waiting.
#[test]
fn verif_the_distribution_is_that_of_the_queue_in_a_drawn_sea() {
    const MESSAGES: u64 = 20_000;
    let sea = tries(0.3, 3.0, 0.95, 0.1);
    let spec = UplinkSpec {
        windows: Windows::Every {
            first: Ns::ZERO,
            period: s(900.0),
            width: s(300.0),
        },
        failure: Failure::Asked,
        backoff: BackOff {
            first: s(30.0),
            growth: 2,
            longest: s(600.0),
        },
        expiry: Some(s(4.0 * HOUR_S)),
        ..UplinkSpec::plain(s(20.0), 100)
    };
    let lone = lone_delay_by_sea(&spec, &sea).unwrap();
    let (mut took_s, mut expired) = (Vec::new(), 0);
    for number in 0..MESSAGES {
        let mut stream = Stream::named(3, "tries", number);
        let mut uplink = Uplink::new(spec).unwrap();
        let message = UplinkMessage {
            id: number,
            bytes: 10,
            priority: 0,
        };
        let at = s(900.0 * stream.uniform());
        while uplink.next().is_some_and(|next| next < (at, Class::Act)) {
            uplink.step_asking(&mut Vec::new(), |_| Outcome::Failed);
        }
        uplink.offer(at, message).unwrap();
        let mut drawn = SeaDrawn::new(sea);
        let mut events = Vec::new();
        while let Some(now) = uplink.next_time() {
            uplink.step_asking(&mut events, |_| {
                match drawn.succeeds(now.as_s_f64(), || stream.uniform()) {
                    true => Outcome::Arrived,
                    false => Outcome::Failed,
                }
            });
            let stats = uplink.stats();
            assert_eq!(
                stats.offered,
                stats.sent + stats.expired + stats.dropped + stats.waiting
            );
        }
        match events.last() {
            Some(network::UplinkEvent::Sent { at: sent, .. }) => {
                took_s.push(Ns(sent.0 - at.0).as_s_f64());
            }
            _ => expired += 1,
        }
    }
    let share = |n: usize| n as f64 / MESSAGES as f64;
    for time_s in [20.0, 300.0, 650.0, 1500.0, 5000.0, 12_000.0] {
        let theirs = share(took_s.iter().filter(|t| **t <= time_s).count());
        let ours = lone.share_within(time_s);
        assert!((ours - theirs).abs() < 0.016, "{time_s}: {ours} {theirs}");
    }
    assert!((lone.given_up - share(expired)).abs() < 0.016);
}
