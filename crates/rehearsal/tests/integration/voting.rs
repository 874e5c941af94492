//! Votes: two ears on two modules, one of which counts.

use plan::VoteIx;
use rehearsal::{Record, What};
use timeline::Ns;

use crate::support::{lamp_times, line_and_cues, run};

/// A second ear below the first, with the same detector; the first one's module counts, and the lamp follows the vote.
fn two_ears(within: &str, hop: &str) -> Vec<Record> {
    let ear = "[module.ear]
position = { depth = \"20 m\" }";
    let other = format!(
        "[module.deep]
position = {{ depth = \"35 m\" }}
input = {{ minimum = \"20 V\", maximum = \"56 V\" }}
loads = {{ listening = \"2 W\" }}
boot = {{ time = \"2 s\", power = \"3 W\" }}
passes = {{ power = \"never\", data = \"never\" }}
through = {{ resistance = \"0 ohm\" }}
processing = \"100 us\"
[module.deep.sensor.one]
kind = \"hydrophone\"
sensitivity = \"-170 dB re 1 V/uPa\"
gain = \"20 dB\"
adc = {{ full_scale = \"2.5 V\", bits = 16, rate = \"4 kHz\" }}
settles_in = \"1 s\"
[span.deep]
from = \"module.base\"
to = \"module.deep\"
length = \"120 m\"
conductor = \"18 AWG\"
contacts = {{ mated_pins_in_loop = 0, resistance = \"0 ohm\" }}
link = \"10BASE-T1L\"
[detector.deep]
on = \"module.deep.sensor.one\"
stages = [
  {{ band = [\"80 Hz\", \"300 Hz\"] }},
  {{ level = \"rms\", window = \"0.2 s\", hop = \"{hop}\" }},
  {{ background = \"median\", over = \"10 s\" }},
  {{ on_above = \"8 dB\", off_below = \"5 dB\", shortest = \"0.3 s\", longest = \"3 s\", hold_off = \"5 s\" }},
]
[topic.\"alert/deep\"]
at_most = \"10 per min\"
priority = 0
size = \"200 B\"
[behaviour.tell-deep]
on = \"module.deep\"
when_heard = \"detector.deep.confirmed\"
do = [{{ publish = \"alert/deep\" }}]
"
    );
    let vote = format!(
        "[vote.both]
on = \"module.base\"
of = [\"detector.call\", \"detector.deep\"]
at_least = 2
{within}
hold_off = \"5 s\"
{other}{ear}"
    );
    let (line, cues) = line_and_cues(
        &[
            (ear, &vote),
            ("when_told = \"alert/#\"", "when_voted = \"vote.both\""),
        ],
        &[],
    );
    run(&line, &cues).1
}

fn carried(records: &[Record]) -> Vec<&Record> {
    records
        .iter()
        .filter(|r| {
            matches!(
                r.what,
                What::Voted {
                    vote: VoteIx(0),
                    ..
                }
            )
        })
        .collect()
}

fn confirmed(records: &[Record], detector: usize) -> Vec<Ns> {
    records
        .iter()
        .filter(|r| {
            matches!(r.what, What::Noticed { detector: d, notice: plan::NoticeKind::Confirmed, .. } if d.0 == detector)
        })
        .map(|r| r.at)
        .collect()
}

/// Both ears hear both calls; the vote on a third module is carried when the later of the two messages has come, and the lamp
/// follows in the same instant.
#[test]
fn verif_two_ears_on_two_modules_carry_a_vote_on_a_third() {
    let records = two_ears("", "50 ms");
    let votes = carried(&records);
    assert_eq!(votes.len(), 2);
    for (n, vote) in votes.iter().enumerate() {
        let later = confirmed(&records, 0)[n].max(confirmed(&records, 1)[n]);
        // One frame of 286 bytes at 10 Mb/s and 100 us of processing: less than a millisecond.
        assert!(
            later < vote.at && vote.at.0 - later.0 < 1_000_000,
            "{later} {}",
            vote.at
        );
        let parent = records.iter().find(|r| Some(r.id) == vote.parent).unwrap();
        assert!(matches!(parent.what, What::Delivered { .. }));
        assert!(matches!(&vote.what, What::Voted { detectors, .. } if detectors.len() == 2));
    }
    let lamps: Vec<Ns> = lamp_times(&records, true);
    assert_eq!(lamps, votes.iter().map(|v| v.at).collect::<Vec<_>>());
}

/// The ears lie 15 m apart, which sound passes in 10 ms; one tells an instant to 50 ms, the other to 35 ms. Ears that must agree within a
/// microsecond agree only where both told the same instant.
#[test]
fn verif_ears_that_hear_too_far_apart_carry_nothing() {
    let records = two_ears("within = \"1 us\"", "35 ms");
    let apart = confirmed(&records, 0)
        .iter()
        .zip(&confirmed(&records, 1))
        .filter(|(a, b)| a.0.abs_diff(b.0) > 1000)
        .count();
    assert!(
        apart > 0,
        "both tell the same instants, so this shows nothing"
    );
    assert_eq!(carried(&records).len(), 2 - apart);
}
