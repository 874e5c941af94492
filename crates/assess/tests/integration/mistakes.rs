//! A mistake in one part of the plan leaves what does not rest on it standing.

use std::collections::BTreeMap;
use std::path::Path;

use assess::{Check, Judged, Shelf, Status, Word, check};
use proptest::prelude::*;

use crate::support::{changed, read, requirement, why_unknown};

fn words(check: &Check) -> Vec<(&str, Word)> {
    check
        .requirements
        .iter()
        .chain(&check.standing)
        .map(|j| (j.id.as_str(), j.word()))
        .collect()
}

const ELECTRIC: &[&str] = &["voltage", "supply"];
const DELAYS: &[&str] = &["lamp", "told", "shore"];
const PAID: &[&str] = &["messages", "budget"];
const LINKS: &[&str] = &["links"];
const REACH: &[&str] = &["link-reach"];
const DEPTH: &[&str] = &["housing-depth"];
const CARD: &[&str] = &["card"];
const SECOND: &[&str] = &["second"];
/// Never rehearsed, so unknown in any case.
const NIGHT: &[&str] = &["night"];

/// Things that have nothing to do with the way of the alert: a second ear with its store, a detector that only leads to a line in
/// the log, and a topic that stays on its module.
const ASIDE: &str = r#"
[module.ear.sensor.two]
kind = "hydrophone"
sensitivity = "-171 dB re 1 V/uPa"
gain = "21 dB"
adc = { full_scale = "2.6 V", bits = 24, rate = "8 kHz" }
calibrated = { date = 2026-12-02, by = "test" }

[detector.other]
on = "module.ear.sensor.two"
stages = [
  { level = "rms", window = "0.3 s" },
  { on_above = "120 dB re 1 uPa", off_below = "110 dB re 1 uPa", shortest = "0.4 s", hold_off = "6 s" },
]

[topic."note/own"]
size = "11 B"

[behaviour.count]
on = "module.base"
each = "11 min"
do = [{ publish = "note/own" }]

[behaviour.keep]
on = "module.base"
when_told = "note/own"
do = [{ log = "counted" }]

[behaviour.note]
on = "module.ear"
when_heard = "detector.other.confirmed"
do = [{ log = "the other" }]

[storage.second]
at = "module.ear"
capacity = "2 TB"
records = [{ sensor = "module.ear.sensor.two", share = "90 %", compression = 2 }]

[requirement.second]
that = "storage-time"
of = "storage.second"
at_least = "100 d"

[requirement.voltage]
"#;

fn wide(changes: &[(&str, &str)]) -> String {
    let mut all = vec![("[requirement.voltage]\n", ASIDE)];
    all.extend_from_slice(changes);
    changed(&all)
}

fn all(check: &Check) -> Vec<Judged> {
    let both = check.requirements.iter().chain(&check.standing);
    both.cloned().collect()
}

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
        &[DELAYS, CARD],
    ),
    Bad(
        "module.ear.sensor.one",
        "settles_in = \"1 s\"",
        "settles_in = \"1 V\"",
        &[DELAYS, CARD],
    ),
    Bad(
        "module.ear.sensor.two",
        "gain = \"21 dB\"",
        "gain = \"21 kg\"",
        &[SECOND],
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
        &[DELAYS, LINKS, PAID],
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
    Bad(
        "deployment",
        "duration = \"1 d\"",
        "duration = \"1 d\"\nrecovery_slip = \"1 V\"",
        &[CARD],
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
        &[CARD],
    ),
    Bad(
        "deployment",
        "duration = \"1 d\"",
        "duration = \"1 d\"\nduration = \"2 d\"",
        &[CARD],
    ),
    Bad(
        "deployment",
        "duration = \"1 d\"",
        "duration = \"1 d\"\nrecovery_slop = \"2 d\"",
        &[CARD],
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
        "requirement.budget",
        "at_most = \"50 EUR\"",
        "at_most = \"50 V\"",
        &[&["budget"]],
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
            expected.extend(["overload", "self-noise"]);
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
        // A rehearsal reads neither stores nor other requirements.
        let rehearsed = !part.starts_with("storage.") && !part.starts_with("requirement.");
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

/// A mistake in a file that nothing leaves out leaves everything open.
#[test]
fn verif_a_table_that_nobody_knows_leaves_everything_unknown() {
    let reading = read(&changed(&[(
        "[requirement.voltage]\n",
        "[storm.x]\na = 1\n\n[requirement.voltage]\n",
    )]));
    let check = check(&reading, &Shelf::default());
    assert!(!check.requirements.is_empty());
    for judged in all(&check) {
        assert_eq!(judged.word(), Word::Unknown, "{judged:?}");
    }
}

/// A requirement whose subject is lost to a mistake elsewhere is told with the part that has the mistake, in its own place in the
/// table, with what it says of itself.
#[test]
fn verif_a_requirement_whose_subject_is_lost_is_there() {
    let text = changed(&[
        ("capacity = \"1 TB\"", "capacity = \"1 V\""),
        (
            "that = \"storage-time\"\n",
            "that = \"storage-time\"\nmust = \"should\"\nsource = \"permit 7\"\n",
        ),
    ]);
    let reading = read(&text);
    let line = reading.line.as_ref().unwrap();
    assert!(line.requirements.iter().all(|r| r.id != "card"));
    let check = check(&reading, &Shelf::default());
    let card = requirement(&check, "card");
    assert_eq!(card.must, plan::Must::Should);
    assert_eq!(card.clause.as_deref(), Some("permit 7"));
    assert!(card.sentence.contains("storage-time"), "{}", card.sentence);
    assert_eq!(card.verdicts[0].subject(), "storage.card");
    let at = text[..text.find("capacity").unwrap()].matches('\n').count() + 1;
    assert!(why_unknown(&check, "card").ends_with(&format!("at line {at}")));
    let ids: Vec<&str> = check.requirements.iter().map(|j| j.id.as_str()).collect();
    assert!(ids.is_sorted(), "{ids:?}");
}

/// Also of a plan that gives no line, and whatever its own id is.
#[test]
fn verif_every_requirement_that_is_written_is_there() {
    let reading = read(&changed(&[
        ("[site]", "[sites]"),
        ("[requirement.card]", "[requirement.Card]"),
        ("at_most = \"50 EUR\"", "at_most = \"50 V\""),
        ("that = \"supply-current\"", "of = \"supply.bench\""),
    ]));
    assert!(reading.line.is_none());
    let check = check(&reading, &Shelf::default());
    let ids: Vec<&str> = check.requirements.iter().map(|j| j.id.as_str()).collect();
    let written = [
        "Card", "budget", "lamp", "links", "messages", "night", "shore", "supply", "told",
        "voltage",
    ];
    assert_eq!(ids, written);
    for id in written {
        let why = why_unknown(&check, id);
        assert!(why.contains("at line "), "{id}: {why}");
    }
    let place = |id: &str| why_unknown(&check, id).to_owned();
    assert_ne!(place("budget"), place("voltage"));
}

/// A mistake in a catalogue part reaches what uses it and what takes its values from it, and names the file.
#[test]
fn verif_a_mistake_in_a_catalogue_part_reaches_those_that_use_it() {
    let plan = wide(&[
        ("format = 1\n", "format = 1\ninclude = [\"parts.toml\"]\n"),
        (
            "sensitivity = \"-171 dB re 1 V/uPa\"\n",
            "part = \"part.phone\"\n",
        ),
    ]);
    let parts = |sensitivity: &str, more: &str| {
        format!(
            "format = 1\n\n[part.phone]\nis = \"sensor\"\nsensitivity = \"{sensitivity}\"\n{more}"
        )
    };
    let checked = |parts: Option<String>| {
        let fetch = |path: &Path| match (path.ends_with("parts.toml"), &parts) {
            (false, _) => Ok(plan.clone().into_bytes()),
            (true, Some(text)) => Ok(text.clone().into_bytes()),
            (true, None) => Err(std::io::ErrorKind::NotFound.into()),
        };
        check(
            &plan::read(Path::new("home/plan.toml"), &fetch),
            &Shelf::default(),
        )
    };
    let good = checked(Some(parts("-171 dB re 1 V/uPa", "")));
    assert_eq!(requirement(&good, "second").word(), Word::Met);
    for (text, place) in [
        (Some(parts("-171 kg", "")), "line 5 of parts.toml"),
        (
            Some(parts("-171 dB re 1 V/uPa", "part = \"part.other\"\n")),
            "line 6 of parts.toml",
        ),
        (
            Some("format = 1\n[part.phone]\nsensitivity = 1\n".to_owned()),
            "line 2 of parts.toml",
        ),
        (None, "line 3"),
    ] {
        let bad = checked(text);
        assert_eq!(bad.status(), Status::Unusable);
        let why = why_unknown(&bad, "second");
        assert!(why.ends_with(&format!("at {place}")), "{why}");
        for id in ["voltage", "lamp", "messages", "card"] {
            assert_eq!(requirement(&bad, id), requirement(&good, id), "{id}");
        }
    }
    // A mistake in a part that nobody uses reaches nothing.
    let unused = checked(Some(parts(
        "-171 dB re 1 V/uPa",
        "\n[part.rope]\nis = \"rope\"\ndiameter = \"1 V\"\n",
    )));
    assert_eq!(unused.status(), Status::Unusable);
    assert_eq!(unused.requirements, good.requirements);
}

/// Every line of the plan bent so that it is a mistake: what is told of a requirement is unknown, or is what the good plan
/// says of it. No requirement that is written is missing.
#[test]
fn verif_what_stands_beside_a_mistake_is_what_the_good_plan_says() {
    let text = wide(&[]);
    let good = all(&check(&read(&text), &Shelf::default()));
    let lines: Vec<&str> = text.lines().collect();
    let mut standing = 0;
    let mut bent_plans = 0;
    for at in 0..lines.len() {
        let line = lines[at];
        let bends = [
            format!("no-such-key = 1\n{line}"),
            line.replacen("= \"", "= \"?", 1),
            line.replacen("{ ", "{ no-such-key = 1, ", 1),
            line.replacen(" = ", " = 7 # ", 1),
            line.replacen('[', "[[", 1).replacen(']', "]]", 1),
            line.replacen("module.", "module.no-", 1),
            line.replacen("detector.", "detector.no-", 1),
            line.replacen(".", ".No", 1),
        ];
        for bent in bends.into_iter().filter(|b| b != line) {
            let mut now: Vec<&str> = lines.clone();
            now[at] = &bent;
            let reading = read(&(now.join("\n") + "\n"));
            if !reading.has_errors() {
                continue;
            }
            bent_plans += 1;
            let now = check(&reading, &Shelf::default());
            assert_eq!(now.status(), Status::Unusable);
            let now = all(&now);
            let torn = reading
                .mistakes
                .iter()
                .any(|m| m.code == plan::Code::Syntax || m.code == plan::Code::Duplicate);
            for before in &good {
                let Some(after) = now.iter().find(|j| j.id == before.id) else {
                    let standing =
                        ["link-reach", "housing-depth", "overload"].contains(&before.id.as_str());
                    let header = line.contains("[requirement.");
                    assert!(
                        torn || header || standing && reading.line.is_none(),
                        "{}: {} is gone",
                        bent,
                        before.id
                    );
                    continue;
                };
                // Another name of a detector is told, and what rests on it is the same.
                if before.id == "overload" && line.starts_with("[detector.") {
                    continue;
                }
                if after.word() == Word::Unknown {
                    continue;
                }
                standing += 1;
                assert_eq!(after.verdicts, before.verdicts, "{bent}");
            }
        }
    }
    assert!(bent_plans > 500, "{bent_plans}");
    // Far more stands than a rule by kinds of tables would leave.
    assert!(standing > 5 * bent_plans, "{standing} of {bent_plans}");
}

/// What is checked of each span or module on its own: a mistake in one leaves the others as they are.
#[test]
fn verif_a_mistake_in_one_span_or_module_leaves_the_others_checked() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../plans/harrow-sound/plan.toml");
    let checked = |from: &str, to: &str| {
        let fetch = |file: &Path| {
            let bytes = plan::from_disk(file)?;
            let text = String::from_utf8(bytes).unwrap();
            Ok(text.replacen(from, to, 1).into_bytes())
        };
        check(&plan::read(&path, &fetch), &Shelf::default())
    };
    let good = checked("", "");
    let told = |check: &Check, id: &str| -> BTreeMap<String, Word> {
        let verdicts = requirement(check, id).verdicts.iter();
        verdicts
            .map(|v| (v.subject().to_owned(), v.word()))
            .collect()
    };
    for (header, id, wrong) in [
        ("[span.marker-upper]\n", "link-reach", "span.marker-upper"),
        ("[module.marker.output.lamp]\n", "link-reach", ""),
        ("[detector.upcall-upper]\n", "housing-depth", ""),
    ] {
        let bad = checked(header, &format!("{header}no-such-key = 1\n"));
        assert_eq!(bad.status(), Status::Unusable);
        let mut expected = told(&good, id);
        assert!(expected.len() > 2, "{expected:?}");
        if let Some(word) = expected.get_mut(wrong) {
            assert_eq!(std::mem::replace(word, Word::Unknown), Word::Met);
        }
        assert_eq!(told(&bad, id), expected, "{header}");
    }
}

/// Of a line that hangs on its anchor, the water depth is read by depths and by the warmth at them, and by nothing else. The
/// name of the deployment is printed all the same.
#[test]
fn verif_a_slip_in_the_water_depth_reaches_depths_and_what_is_worked_out_at_them() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../plans/harrow-sound/plan.toml");
    let checked = |changes: &[(&str, &str)]| {
        let fetch = |file: &Path| {
            let mut text = String::from_utf8(plan::from_disk(file)?).unwrap();
            for (from, to) in changes {
                text = text.replacen(from, to, 1);
            }
            Ok(text.into_bytes())
        };
        check(&plan::read(&path, &fetch), &Shelf::default())
    };
    let depths = |check: &Check| -> BTreeMap<String, Word> {
        let verdicts = requirement(check, "housing-depth").verdicts.iter();
        verdicts
            .map(|v| (v.subject().to_owned(), v.word()))
            .collect()
    };
    let good = checked(&[]);
    let wrong = ("water_depth = \"85 m\"", "water_depth = \"85\"");
    let bad = checked(&[wrong]);
    assert_eq!(bad.name.as_deref(), Some("Harrow Sound ferry-lane watch"));
    assert_eq!(
        requirement(&bad, "prompt-lamp"),
        requirement(&good, "prompt-lamp")
    );
    assert!(why_unknown(&bad, "voltage").contains("a mistake in site, at line 15"));
    assert!(depths(&bad).values().all(|w| *w == Word::Unknown));
    assert!(depths(&good).values().all(|w| *w == Word::Met));

    // Water that is as warm everywhere: the depth is not read.
    let even = [
        (
            "  { depth = \"0 m\", temperature = \"9.6 degC\", salinity = 34.2 },\n",
            "",
        ),
        (
            "  { depth = \"85 m\", temperature = \"8.1 degC\", salinity = 34.6 },\n",
            "",
        ),
    ];
    let good = checked(&even);
    let bad = checked(&[even[0], even[1], wrong]);
    assert_eq!(requirement(&good, "voltage").word(), Word::Met);
    assert_eq!(requirement(&bad, "voltage"), requirement(&good, "voltage"));

    // What a module starts in says nothing of where others hang, nor of its own place.
    let bad = checked(&[("starts_in = \"ready\"", "starts_in = \"raedy\"")]);
    assert_eq!(bad.status(), Status::Unusable);
    assert_eq!(
        requirement(&bad, "housing-depth"),
        requirement(&good, "housing-depth")
    );
    assert_eq!(requirement(&bad, "voltage").word(), Word::Unknown);
    // Where it hangs itself does.
    let bad = checked(&[("from_top = \"6 m\"", "from_top = \"6\"")]);
    assert!(depths(&bad).values().all(|w| *w == Word::Unknown));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, failure_persistence: None, ..ProptestConfig::default() })]

    /// Whatever line of the plan is lost or bent: what the good plan leaves unknown for want of a fact is not met by a mistake.
    #[test]
    fn verif_a_mistake_never_turns_unknown_into_met(at in 0usize..1000, bend in 0usize..4) {
        let unsure = changed(&[
            ("contacts = { mated_pins_in_loop = 0, resistance = \"0 ohm\" }\n", ""),
            ("at_most = \"12 per d\"\n", ""),
            ("at_most = \"10 per min\"\npriority", "priority"),
        ]);
        let before = check(&read(&unsure), &Shelf::default());
        let lines: Vec<&str> = unsure.lines().collect();
        let at = at % lines.len();
        let bent: Vec<String> = lines
            .iter()
            .enumerate()
            .map(|(i, l)| match (i == at, bend) {
                (false, _) => (*l).to_owned(),
                (true, 0) => l.replace('"', ""),
                (true, 1) => format!("{l} ="),
                (true, 2) => format!("no-such-key = 1\n{l}"),
                (true, _) => l.replace([' ', '.'], "_"),
            })
            .collect();
        let reading = read(&(bent.join("\n") + "\n"));
        if reading.has_errors() {
            let after = check(&reading, &Shelf::default());
            prop_assert_eq!(after.status(), Status::Unusable);
            let after = words(&after);
            for (id, word) in words(&before) {
                if word == Word::Unknown {
                    let met = after.iter().any(|(i, w)| *i == id && matches!(w, Word::Met | Word::Marginal));
                    prop_assert!(!met, "{} became met", id);
                }
            }
        }
    }
}
