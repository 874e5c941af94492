//! Every part of the plan with a mistake in it, and what reads the part.

use assess::{Shelf, Status, Word, check};

use super::{all, wide};
use crate::support::{read, why_unknown};

const ELECTRIC: &[&str] = &["voltage", "peak", "supply", "boots-carried", "ready"];
/// Reads every sensor besides.
const READY: &[&str] = &["ready"];
const DELAYS: &[&str] = &["lamp", "told", "shore"];
const PAID: &[&str] = &["messages", "budget"];
const LINKS: &[&str] = &["links"];
const REACH: &[&str] = &["link-reach"];
const DEPTH: &[&str] = &["housing-depth"];
const CARD: &[&str] = &["card"];
const METALS: &[&str] = &["anodes", "output", "unlike-metals"];
const SECOND: &[&str] = &["second"];
/// Never rehearsed, so unknown in any case.
const NIGHT: &[&str] = &["night"];

/// One bad plan: the part, the change, and what reads the part.
struct Bad(
    &'static str,
    &'static str,
    &'static str,
    &'static [&'static [&'static str]],
);

const BAD: &[Bad] = &[
    Bad(
        "supply.bench",
        "voltage = \"48 V\"",
        "voltage = \"48 kg\"",
        &[ELECTRIC],
    ),
    Bad(
        "module.ear",
        "loads = { listening = \"2 W\" }",
        "loads = { listening = \"2 kg\" }",
        &[ELECTRIC, DELAYS, LINKS],
    ),
    Bad(
        "module.base",
        "minimum = \"36 V\"",
        "minimum = \"36 s\"",
        &[ELECTRIC, DELAYS, LINKS],
    ),
    Bad(
        "module.base.output.lamp",
        "power = \"10 W\"",
        "power = \"10 V\"",
        &[ELECTRIC, &["lamp"]],
    ),
    Bad(
        "module.ear.sensor.one",
        "gain = \"20 dB\"",
        "gain = \"20 kg\"",
        &[DELAYS, CARD, READY],
    ),
    Bad(
        "module.ear.sensor.one",
        "settles_in = \"1 s\"",
        "settles_in = \"1 V\"",
        &[DELAYS, CARD, READY],
    ),
    Bad(
        "module.ear.sensor.two",
        "gain = \"21 dB\"",
        "gain = \"21 kg\"",
        &[SECOND, READY],
    ),
    Bad(
        "module.ear.sensor.two",
        "voltage = \"3 nV\"",
        "voltage = \"3 nA\"",
        &[SECOND, READY],
    ),
    Bad(
        "requirement.hush",
        "at_least = \"10 dB\"",
        "at_least = \"10 dB re 1 uPa\"",
        &[&["hush"]],
    ),
    Bad(
        "span.cable",
        "length = \"100 m\"",
        "length = \"100 V\"",
        &[ELECTRIC, DELAYS, LINKS, REACH],
    ),
    Bad(
        "detector.call",
        "over = \"10 s\"",
        "over = \"10 V\"",
        &[DELAYS, LINKS],
    ),
    Bad(
        "detector.other",
        "window = \"0.3 s\"",
        "window = \"0.3 V\"",
        &[],
    ),
    Bad(
        "detector.other",
        "on_above = \"120 dB re 1 uPa\"",
        "on_above = \"120 kg\"",
        &[],
    ),
    Bad(
        "traffic",
        "packet = \"1400 B\"",
        "packet = \"1400 V\"",
        &[DELAYS, LINKS],
    ),
    Bad(
        "topic.alert/call",
        "size = \"100 B\"",
        "size = \"100 kg\"",
        &[DELAYS, LINKS, PAID],
    ),
    Bad("topic.note/own", "size = \"11 B\"", "size = \"11 kg\"", &[]),
    Bad(
        "behaviour.act",
        "at_most = \"12 per d\"",
        "at_most = \"12 kg\"",
        &[DELAYS, LINKS, PAID],
    ),
    Bad(
        "behaviour.tell",
        "on = \"module.ear\"\nwhen_heard = \"detector.call.confirmed\"",
        "on = \"module.ear\"\nwhen_heard = \"detector.cal.confirmed\"",
        &[DELAYS, LINKS, PAID],
    ),
    Bad(
        "behaviour.keep",
        "log = \"counted\"",
        "log = \"counted\", publish = \"alert/call\"",
        &[DELAYS, LINKS, PAID],
    ),
    Bad(
        "behaviour.count",
        "each = \"11 min\"",
        "each = \"11 V\"",
        &[],
    ),
    Bad(
        "uplink.shore",
        "session = \"5 s\"",
        "session = \"5 V\"",
        &[&["shore"], PAID],
    ),
    Bad(
        "storage.card",
        "capacity = \"1 TB\"",
        "capacity = \"1 V\"",
        &[CARD],
    ),
    Bad(
        "storage.second",
        "capacity = \"2 TB\"",
        "capacity = \"2 V\"",
        &[SECOND],
    ),
    // Nothing of this plan asks for spares or windows.
    Bad(
        "deployment",
        "duration = \"1 d\"",
        "duration = \"1 d\"\ndead_on_deck = \"2 V\"",
        &[],
    ),
    Bad(
        "spare.ear",
        "[storage.card]",
        "[spare.ear]\nof = \"module.ear\"\ncarried = \"one\"\n\n[storage.card]",
        &[],
    ),
    Bad(
        "deployment",
        "duration = \"1 d\"",
        "duration = \"1 d\"\nrecovery_slip = \"1 V\"",
        &[CARD, METALS],
    ),
    Bad(
        "module.ear",
        "rated_depth = \"200 m\"",
        "rated_depth = \"200\"",
        &[ELECTRIC, DELAYS, LINKS, DEPTH],
    ),
    Bad(
        "deployment",
        "start = 2027-01-01",
        "start = \"1.1.2027\"",
        &[],
    ),
    Bad(
        "deployment",
        "duration = \"1 d\"",
        "duration = \"1\"",
        &[CARD, METALS],
    ),
    Bad(
        "deployment",
        "duration = \"1 d\"",
        "duration = \"1 d\"\nduration = \"2 d\"",
        &[CARD, METALS],
    ),
    Bad(
        "deployment",
        "duration = \"1 d\"",
        "duration = \"1 d\"\nrecovery_slop = \"2 d\"",
        &[CARD, METALS],
    ),
    Bad(
        "site",
        "water_depth = \"40 m\"",
        "water_depth = \"40\"",
        &[],
    ),
    Bad(
        "site",
        "latitude = \"50 deg\"",
        "latitude = \"150 deg\"",
        &[],
    ),
    Bad(
        "site",
        "temperature = \"10 degC\"",
        "temperature = \"10\"",
        &[ELECTRIC],
    ),
    Bad("site", "ph = 8\n", "ph = \"sour\"\n", &[]),
    Bad("site", "ph = 8\n", "ph = 8\nph = 8\n", &[]),
    Bad(
        "metal.frame",
        "metal = \"stainless-316\"",
        "metal = \"stainless\"",
        &[METALS],
    ),
    Bad(
        "anode.block",
        "mass = \"300 g\"",
        "mass = \"300 V\"",
        &[METALS],
    ),
    Bad(
        "requirement.anodes",
        "at_least = \"100 h\"",
        "at_least = \"100 m\"",
        &[&["anodes"]],
    ),
    Bad(
        "requirement.output",
        "at_least = \"10 %\"",
        "at_least = \"10 m\"",
        &[&["output"]],
    ),
    Bad(
        "requirement.budget",
        "at_most = \"50 EUR\"",
        "at_most = \"50 V\"",
        &[&["budget"]],
    ),
    Bad(
        "requirement.wait",
        "at_most = \"4.5 s\"",
        "at_most = \"4.5 V\"",
        &[&["wait"]],
    ),
    Bad(
        "requirement.card",
        "of = \"storage.card\"",
        "of = \"storage.cards\"",
        &[CARD],
    ),
];

/// The verdicts that read the spoilt part are unknown, and say where the mistake is; the others equal those of the good plan.
#[test]
fn verif_a_mistake_spoils_what_reads_it_and_nothing_else() {
    let good = check(&read(&wide(&[])), &Shelf::default());
    for Bad(part, from, to, spoilt) in BAD {
        let text = wide(&[(*from, *to)]);
        let reading = read(&text);
        let mistake = reading.mistakes.iter().find(|m| m.is_error()).unwrap();
        assert_eq!(mistake.part, *part, "{to}: {:?}", reading.mistakes);
        let line = text[..text.find(to).unwrap()].matches('\n').count() + 1;
        let check = check(&reading, &Shelf::default());
        assert_eq!(check.status(), Status::Unusable, "{to}");
        let mut expected: Vec<&str> = [*spoilt, &[NIGHT]].concat().concat();
        // Full scale against the sea and against thresholds reads every sensor and detector, the site and the deployment.
        let of_chains = part.starts_with("detector.") || part.contains(".sensor.");
        if of_chains || ["site", "deployment"].contains(part) {
            expected.extend(["hush", "overload", "self-noise"]);
        }
        // What is picked up reads the modules that make it besides, and the noise of chains counts it.
        if part.starts_with("module.") && part.split('.').count() == 2 {
            expected.extend(["hush", "self-noise"]);
        }
        // How late messages are reads what is sent up, all that may happen in a month, and the months of the deployment.
        let kinds = ["detector.", "vote.", "behaviour.", "topic."];
        let of_months = kinds.iter().any(|kind| part.starts_with(kind));
        if of_months || *part == "deployment" || spoilt.contains(&PAID) {
            expected.push("wait");
        }
        expected.sort_unstable();
        let now = all(&check);
        let mut unknown: Vec<&str> = now
            .iter()
            .filter(|j| j.word() == Word::Unknown)
            .map(|j| j.id.as_str())
            .collect();
        unknown.sort_unstable();
        assert_eq!(unknown, expected, "{to}");
        // A rehearsal reads no other requirements, no spares and no metals.
        let unread = ["requirement.", "spare.", "metal.", "anode."];
        let rehearsed = !unread.iter().any(|kind| part.starts_with(kind));
        for id in expected
            .into_iter()
            .filter(|id| rehearsed || *id != "night")
        {
            let why = why_unknown(&check, id);
            let told = (line..line + 5).any(|l| why.contains(&format!("at line {l}")));
            assert!(told, "{to}: {id}: {why}");
        }
        for before in all(&good) {
            let after = now.iter().find(|j| j.id == before.id).unwrap();
            if after.word() != Word::Unknown {
                assert_eq!(after, &before, "{to}");
            }
        }
    }
}

/// A range hears what modules put into its hydrophone: with a mistake in one of them that pick-up is lost, and counts from before it was written
/// would be taken for those of the present plan. A hydrophone of which no `pick_up` is written reads no other module.
#[test]
fn verif_a_range_rests_on_the_modules_that_are_heard_in_its_hydrophone() {
    const ASKS: &str = "[call.low]
kind = \"upsweep\"
from = \"90 Hz\"
to = \"150 Hz\"
length = \"0.7 s\"
source_level = \"172 dB re 1 uPa m\"
depth = \"12 m\"

[requirement.far]
that = \"detection-range\"
of = \"detector.other\"
call = \"call.low\"
at_least = \"100 m\"
share = \"50 %\"

[requirement.second]
";
    let asked = ("[requirement.second]\n", ASKS);
    let wrong = ("minimum = \"36 V\"", "minimum = \"36 s\"");
    let silent = (
        "pick_up = [{ from = \"module.base\", voltage = \"3 nV\", frequency = \"900 Hz\", harmonics = 1, falls = \"6 dB\" }]",
        "",
    );
    let why = |changes: &[(&str, &str)]| {
        let text = wide(changes);
        let check = check(&read(&text), &Shelf::default());
        let line = text[..text.find(changes[changes.len() - 1].1).unwrap()]
            .matches('\n')
            .count();
        let why = why_unknown(&check, "far").to_owned();
        (0..6).any(|l| why.contains(&format!("at line {}", line + l)))
    };
    assert!(why(&[asked, wrong]));
    assert!(!why(&[asked]));
    assert!(!why(&[asked, silent, wrong]));
}
