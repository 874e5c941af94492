//! How many messages are billed at most when they are held to share: the queue of the uplink itself never passes it.

use assess::input::uplink_spec;
use assess::{Shelf, Verdict, check};
use network::{Outcome, Uplink, UplinkEvent, UplinkMessage};
use plan::UplinkIx;
use timeline::Ns;

use crate::support::{changed, read, requirement};

const DAY: u64 = 86_400_000_000_000;

struct Draw(u64);

impl Draw {
    /// Linear congruential, modulus 2^64, factor of Knuth (MMIX).
    fn below(&mut self, n: u64) -> u64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) % n
    }

    fn pick<T: Copy>(&mut self, of: &[T]) -> T {
        of[self.below(of.len() as u64) as usize]
    }
}

/// So many at once each period.
#[derive(Clone, Copy, Debug)]
struct Sender {
    bytes: u32,
    priority: u8,
    messages: u64,
    period_s: u64,
}

/// What `check` says is billed in a day at most, where it knows that, and what the queue bills in this one of those in the water; a line that is in it for one day has none before.
fn billed(
    senders: &[Sender],
    (hold, session): (&str, &str),
    day: u64,
    draw: &mut Draw,
) -> (Option<f64>, u64) {
    let uplink = format!("session = \"{session}\"\npack_within = \"{hold}\"\nurgent = 1");
    let mut text = changed(&[
        ("session = \"5 s\"", &uplink),
        (
            "duration = \"1 d\"",
            &format!("duration = \"{} d\"", day + 1),
        ),
        (
            "  { send_up = \"uplink.shore\", about = \"alert/call\" },\n",
            "",
        ),
    ]);
    for (i, s) in senders.iter().enumerate() {
        text += &format!(
            "[topic.t{i}]\npriority = {}\nsize = \"{} B\"\n[behaviour.s{i}]\non = \"module.base\"\neach = \"1 s\"\nat_most = \"{} per {} s\"\ndo = [{{ send_up = \"uplink.shore\", about = \"t{i}\" }}]\n",
            s.priority, s.bytes, s.messages, s.period_s
        );
    }
    text += "[requirement.in-a-day]\nthat = \"uplink-messages\"\nof = \"uplink.shore\"\nat_most = \"1000000 per d\"\n";
    let reading = read(&text);
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    let checked = check(&reading, &Shelf::default());
    let most = match &requirement(&checked, "in-a-day").verdicts[..] {
        [Verdict::Known(known)] => Some(known.value.value),
        _ => None,
    };
    let spec = uplink_spec(reading.line.as_ref().unwrap(), UplinkIx(0)).unwrap();
    let (from, until) = (day * DAY, (day + 1) * DAY);
    let mut uplink = Uplink::new(spec).unwrap();
    let mut coming = Vec::new();
    for s in senders {
        let period = s.period_s * 1_000_000_000;
        let mut at = draw.below(period);
        while at < until {
            coming.extend((0..s.messages).map(|_| (at, *s)));
            at += period + draw.pick(&[0, 0, 0, period / 7]);
        }
    }
    coming.sort_by_key(|(at, _)| *at);
    let mut out = Vec::new();
    for (id, (at, s)) in (0..).zip(coming) {
        while uplink.next_time().is_some_and(|next| next < Ns(at)) {
            uplink.step_asking(&mut out, |_| Outcome::Arrived);
        }
        let message = UplinkMessage {
            id,
            bytes: s.bytes,
            priority: s.priority,
        };
        uplink.offer(Ns(at), message).unwrap();
    }
    while uplink.next_time().is_some_and(|next| next < Ns(until)) {
        uplink.step_asking(&mut out, |_| Outcome::Arrived);
    }
    // What begins on the day ends on it or in a session after it.
    while uplink
        .next_time()
        .is_some_and(|next| next.0 < until + spec.session.0)
    {
        uplink.step_asking(&mut out, |_| Outcome::Arrived);
    }
    let begun = out.iter().filter_map(|event| match event {
        UplinkEvent::Sent { at, billed, .. } => {
            let begun = at.0 - spec.session.0;
            (begun >= from && begun < until).then_some(u64::from(*billed))
        }
        _ => None,
    });
    (most, begun.sum())
}

/// Small and large ones of one priority each 10 min: every large one, of two billed messages, sends the small one before it away alone. 144 + 2 * 144 = 432.
#[test]
fn verif_a_large_message_ends_a_load() {
    let sender = |bytes, priority| Sender {
        bytes,
        priority,
        messages: 1,
        period_s: 600,
    };
    let of = |large: u8| {
        let senders = [sender(10, 3), sender(150, large)];
        billed(&senders, ("2 h", "5 s"), 0, &mut Draw(1))
    };
    let (most, run) = of(3);
    assert_eq!(most, Some(432.0));
    assert!(run > 400 && run <= 432, "{run}");
    // Large ones that the small ones overtake end loads too; those that go first end none: 24/2 + 1 + 144/12 loads.
    assert_eq!(of(4).0, Some(432.0));
    let (most, run) = of(2);
    assert_eq!(most, Some(f64::from(288 + 13 + 12)));
    assert!(run > 288 && run <= 313, "{run}");
}

#[test]
fn verif_no_day_of_random_senders_is_billed_more_than_at_most() {
    let (mut shared, mut closest, mut after) = (0, 0.0f64, 0);
    for seed in 0..60 {
        let mut draw = Draw(7_000 + seed);
        let senders: Vec<Sender> = (0..2 + draw.below(3))
            .map(|_| Sender {
                bytes: draw.pick(&[10, 30, 60, 110, 150, 250]),
                priority: draw.pick(&[1, 3, 3, 5]),
                messages: draw.pick(&[1, 1, 2, 6]),
                period_s: draw.pick(&[180, 600, 3600]),
            })
            .collect();
        let hold = draw.pick(&["10 min", "2 h"]);
        let session = draw.pick(&["5 s", "20 s"]);
        for day in [1, 2] {
            let (most, run) = billed(&senders, (hold, session), day, &mut draw);
            // Unknown where by the bound more may come for a while than can go.
            let Some(most) = most else { continue };
            after += 1;
            assert!(
                run as f64 <= most,
                "seed {seed}, with days before: {run} of {most}, {senders:?} {hold}"
            );
        }
        let (most, run) = billed(&senders, (hold, session), 0, &mut draw);
        let most = most.unwrap();
        assert!(
            run as f64 <= most,
            "seed {seed}: {run} of {most}, {senders:?} {hold}"
        );
        let alone: u64 = senders
            .iter()
            .map(|s| s.messages * (86_400 / s.period_s) * u64::from(s.bytes.div_ceil(120)))
            .sum();
        shared += usize::from(most < alone as f64);
        closest = closest.max(run as f64 / most);
    }
    assert!(shared >= 10, "{shared}");
    assert!(after >= 60, "{after}");
    assert!(closest > 0.95, "{closest}");
}
