//! Votes: their times and their delays.

use assess::{Check, Word, check};

use crate::support::{changed, close, known, read, requirement, why_unknown};

/// Whole nanoseconds.
const TICK_S: f64 = 2e-9;

/// A second, slower detector beside the first, and a vote of both on the base that lights the lamp.
fn with_vote(within: &str, more: &str) -> Check {
    let text = format!(
        "{}
[detector.slow]
on = \"module.ear.sensor.one\"
stages = [
  {{ band = [\"80 Hz\", \"300 Hz\"] }},
  {{ level = \"rms\", window = \"0.2 s\", hop = \"40 ms\" }},
  {{ background = \"median\", over = \"10 s\" }},
  {{ on_above = \"8 dB\", off_below = \"5 dB\", shortest = \"0.6 s\", longest = \"3 s\", hold_off = \"5 s\" }},
]
[topic.\"alert/slow\"]
at_most = \"10 per min\"
priority = 0
size = \"100 B\"
[behaviour.tell-slow]
on = \"module.ear\"
when_heard = \"detector.slow.confirmed\"
do = [{{ publish = \"alert/slow\" }}]
[vote.both]
on = \"module.base\"
of = [\"detector.call\", \"detector.slow\"]
at_least = 2
{within}
hold_off = \"5 s\"
[behaviour.agree]
on = \"module.base\"
when_voted = \"vote.both\"
do = [{{ switch = \"module.base.output.lamp\", to = \"on\", for = \"20 s\" }}]
[requirement.slow]
that = \"delay\"
from = \"detector.slow.confirmed\"
to = \"module.base\"
at_most = \"9 s\"
[requirement.agreed]
that = \"delay\"
from = \"vote.both\"
to = \"module.base.output.lamp\"
at_most = \"9 s\"
{more}",
        changed(&[])
    );
    let reading = read(&text);
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    check(&reading, &assess::Shelf::default())
}

fn delay_s(check: &Check, id: &str) -> f64 {
    known(check, id).value.value
}

/// A vote waits for the slower of its detectors and the time between the two: both written apart are its parts. The topic
/// that only the vote listens to gets there all the same.
#[test]
fn verif_a_vote_is_as_late_as_its_slowest_detector_and_the_way_between_the_ears() {
    let check = with_vote("within = \"20 ms\"", "");
    assert!(delay_s(&check, "slow") > delay_s(&check, "told"));
    close(
        delay_s(&check, "agreed"),
        delay_s(&check, "slow") + 0.02,
        TICK_S,
    );
    assert_eq!(requirement(&check, "agreed").word(), Word::Met);
}

/// One ear, so no way between ears: one value of 50 ms of the one detector and one of 40 ms of the other.
#[test]
fn verif_without_a_time_of_its_own_a_vote_bears_one_value_of_each_detector() {
    let check = with_vote("", "");
    close(
        delay_s(&check, "agreed"),
        delay_s(&check, "slow") + 0.09,
        TICK_S,
    );
    let said = |text: &str| check.assumed.iter().any(|a| a.contains(text));
    assert!(said("vote.both"), "{:?}", check.assumed);
}

/// The ears 15 m apart in water of 10 degC and salinity 35 everywhere: sound takes 15 m over the speed at the slowest depth.
/// Mackenzie 1981 at 10 degC, 35, 0 m: 1489.8 m/s (computed here from the published terms that do not vanish).
#[test]
fn val_the_time_of_a_vote_is_the_way_of_the_sound_and_two_values() {
    let text = changed(&[(
        "[detector.call]",
        "[module.deep]\nposition = { depth = \"35 m\" }\n[module.deep.sensor.one]\nkind = \"hydrophone\"\nsensitivity = \"-170 dB re 1 V/uPa\"\ngain = \"20 dB\"\nadc = { full_scale = \"2.5 V\", bits = 16, rate = \"4 kHz\" }\n[span.deep]\nfrom = \"module.base\"\nto = \"module.deep\"\nlength = \"120 m\"\nconductor = \"18 AWG\"\nlink = \"10BASE-T1L\"\n[detector.deep]\non = \"module.deep.sensor.one\"\nstages = [\n  { level = \"rms\", window = \"0.2 s\" },\n  { on_above = \"120 dB re 1 uPa\", off_below = \"119 dB re 1 uPa\", shortest = \"0.3 s\", hold_off = \"5 s\" },\n]\n[behaviour.tell-deep]\non = \"module.deep\"\nwhen_heard = \"detector.deep.confirmed\"\ndo = [{ publish = \"alert/call\" }]\n[vote.both]\non = \"module.base\"\nof = [\"detector.call\", \"detector.deep\"]\nat_least = 2\nhold_off = \"5 s\"\n[detector.call]",
    )]);
    let line = read(&text).line.unwrap();
    let spec = assess::input::vote_spec(&line, plan::VoteIx(0)).unwrap();
    let t = 10.0_f64;
    let speed_m_s = 1448.96 + 4.591 * t - 5.304e-2 * t * t + 2.374e-4 * t * t * t;
    let expected_s = 15.0 / speed_m_s + 2.0 * 0.05;
    close(spec.within as f64 * 1e-9, expected_s, 1e-6);
}

/// What the vote starts switches the lamp and sends nothing up.
#[test]
fn verif_a_vote_that_does_not_lead_to_the_end_says_so() {
    let check = with_vote(
        "",
        "[requirement.gone]\nthat = \"delay\"\nfrom = \"vote.both\"\nto = \"uplink.shore\"\nat_most = \"9 s\"\n",
    );
    assert!(why_unknown(&check, "gone").contains("no behaviour leads from there to that end"));
}
