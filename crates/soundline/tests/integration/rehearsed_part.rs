//! Which part of a plan a rehearsal reads: what is kept in its evidence as the plan's digest, against what comes of the same night.

use std::collections::BTreeSet;
use std::fs;

use serde_json::Value;

use crate::support::{Demo, demo, edit, expect_status, only_evidence, run};

/// A call that is heard, told ashore and logged, as short as the lines' settling allows.
const NIGHT: &str = r#"format = 1

[rehearsal]
name = "A short night"
duration = "75 s"
seed = 3
wind = "3 m/s"

[sound.call]
at = "65 s"
kind = "upsweep"
from = "90 Hz"
to = "150 Hz"
length = "0.7 s"
source_level = "176 dB re 1 uPa m"
track = [{ range = "1.2 km", bearing = "80 deg", depth = "15 m" }]

[expect.heard]
that = "notice"
of = "detector.upcall-upper.confirmed"
after = "sound.call"
within = "5 s"
"#;

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
enum Reads {
    /// The night comes out otherwise.
    It,
    /// This night is the same, another may not be.
    Elsewhere,
    /// No night reads it.
    Never,
}
use Reads::{Elsewhere, It, Never};

/// One change of each section of the plan.
const CHANGES: [(&str, &str, Reads); 40] = [
    (
        "name = \"Harrow Sound ferry-lane watch\"",
        "name = \"Another\"",
        Never,
    ),
    ("duration = \"240 d\"", "duration = \"241 d\"", Never),
    ("start_slip = \"8 wk\"", "start_slip = \"7 wk\"", Never),
    (
        "recovery_slip = \"12 wk\"",
        "recovery_slip = \"13 wk\"",
        Never,
    ),
    ("start = 2027-03-15", "start = 2027-03-16", Elsewhere),
    ("ph = 8.0", "ph = 7.0", It),
    ("clearness = [0.34", "clearness = [0.35", Never),
    ("wind = [\"11 m/s\"", "wind = [\"12 m/s\"", Elsewhere),
    ("holding_factor = 0.5", "holding_factor = 0.6", Never),
    (
        "length = \"92 m\"",
        "length = \"92 m\"\nfairing = true\nheave_share = \"40 %\"",
        Never,
    ),
    (
        "[case.spring]",
        "[case.spring]\nstrongest_at = \"springs\"",
        Never,
    ),
    (
        "[case.slack]",
        "[spare.upper]\nof = \"part.listener\"\ncarried = 1\n\n[case.slack]",
        Never,
    ),
    (
        "ph = 8.0",
        "ph = 8.0\nswell = { height = \"1 m\", period = \"11 s\" }",
        Never,
    ),
    ("rated_depth = \"200 m\"", "rated_depth = \"150 m\"", Never),
    (
        "sensitivity = \"-168 dB",
        "no_pick_up = true\nsensitivity = \"-168 dB",
        Never,
    ),
    (
        "rate = \"16 kHz\" }",
        "rate = \"16 kHz\", anti_alias = { corner = \"7 kHz\", poles = 4 } }",
        Never,
    ),
    ("length = \"92 m\"", "length = \"90 m\"", Elsewhere),
    (
        "wind = { speed = \"8 m/s\" }",
        "wind = { speed = \"9 m/s\" }",
        Elsewhere,
    ),
    ("resistance = \"0.12 ohm\"", "resistance = \"0.14 ohm\"", It),
    (
        "peak_power_each = \"60 W\"",
        "peak_power_each = \"65 W\"",
        Never,
    ),
    ("capacity = \"240 Ah\"", "capacity = \"250 Ah\"", Never),
    ("watching = \"0.35 W\"", "watching = \"0.36 W\"", It),
    (
        "waterplane = \"0.8 m2\"",
        "waterplane = \"0.9 m2\"",
        Elsewhere,
    ),
    ("every = \"1 d\"", "every = \"2 d\"", Elsewhere),
    ("power = \"0.3 W\"", "power = \"0.4 W\"", It),
    ("from_top = \"6 m\"", "from_top = \"7 m\"", It),
    (
        "source_level = \"172 dB re 1 uPa m",
        "source_level = \"171 dB re 1 uPa m",
        Never,
    ),
    ("window = \"0.25 s\"", "window = \"0.3 s\"", It),
    (
        "stack = [\"ethernet\", \"ipv6\", \"udp\"]",
        "stack = [\"ethernet\"]",
        It,
    ),
    (
        "{ name = \"time\", time_bits = 24",
        "{ name = \"time\", time_bits = 40",
        It,
    ),
    (
        "to = \"on\", for = \"120 s\"",
        "to = \"on\", for = \"4 s\"",
        It,
    ),
    ("price = \"0.12 EUR\"", "price = \"0.13 EUR\"", Elsewhere),
    ("session = \"20 s\"", "session = \"3 s\"", It),
    ("capacity = \"512 GB\"", "capacity = \"20 kB\"", It),
    ("compression = 1.6", "compression = 1.7", It),
    ("at_least = \"50 m\"", "at_least = \"49 m\"", Never),
    (
        "[requirement.upright]",
        "[requirement.one-more]\nthat = \"link-load\"\nat_most = \"90 %\"\n\n[requirement.upright]",
        Never,
    ),
    (
        "[requirement.upright]",
        "[remedy.panels]\nsets = \"supply.sun.panels.peak_power_each\"\nto = [{ value = \"80 W\" }]\n\n[requirement.upright]",
        Never,
    ),
    ("# A line in an invented strait", "# A line", Never),
    (
        "conductor = \"1.0 mm2 class 5\"",
        "conductor = \"1.5 mm2 class 5\"",
        It,
    ),
];

/// Digest of the plan and of what came of it, as the evidence has them.
fn digests(night: &Demo) -> (String, String) {
    let cues = night.folder.path().join("cues/short.toml");
    fs::write(&cues, NIGHT).unwrap();
    let output = run(&["rehearse", &night.plan, &cues.display().to_string()]);
    expect_status(&output, 0);
    let text = fs::read_to_string(only_evidence(night)).unwrap();
    let record: Value = serde_json::from_str(&text).unwrap();
    let word = |key: &str| record[key].as_str().unwrap().to_owned();
    (word("plan_digest"), word("result_digest"))
}

/// No night comes out otherwise under a digest that stays, and what no rehearsal reads leaves the digest.
#[test]
fn verif_evidence_goes_stale_with_what_a_rehearsal_reads_and_with_nothing_else() {
    let (plan, result) = digests(&demo("harrow-sound", false));
    let mut wrong = BTreeSet::new();
    for (from, to, reads) in CHANGES {
        let changed = demo("harrow-sound", false);
        let parts = changed
            .folder
            .path()
            .join("parts.toml")
            .display()
            .to_string();
        let of_a_part = fs::read_to_string(&parts).unwrap().contains(from);
        edit(if of_a_part { &parts } else { &changed.plan }, from, to);
        let (now, came) = digests(&changed);
        let expected = match reads {
            It => (true, true),
            Elsewhere => (true, false),
            Never => (false, false),
        };
        if (now != plan, came != result) != expected {
            wrong.insert(format!(
                "{to}: the digest {}, the night {}",
                if now == plan { "stays" } else { "changes" },
                if came == result { "stays" } else { "changes" }
            ));
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

/// What a requirement asks, and one requirement more, leave the evidence as fresh as it was.
#[test]
fn verif_another_limit_leaves_the_evidence_of_a_rehearsal() {
    let watch = demo("kelp-gate", true);
    let word = |id: &str| {
        let output = run(&["--format", "json", "check", &watch.plan]);
        let told: Value = serde_json::from_slice(&output.stdout).unwrap();
        let all = told["requirements"].as_array().unwrap();
        let one = all.iter().find(|r| r["id"] == id).unwrap();
        one["ruling"].as_str().unwrap().to_owned()
    };
    assert_eq!(word("evening"), "met");
    edit(
        &watch.plan,
        "[requirement.links]",
        "[requirement.more]\nthat = \"link-load\"\nat_most = \"90 %\"\n\n[requirement.links]",
    );
    assert_eq!(word("evening"), "met");
    let plan = fs::read_to_string(&watch.plan).unwrap();
    let card = plan.find("[storage.card]").unwrap();
    let capacity = card + plan[card..].find("capacity = \"").unwrap() + "capacity = \"".len();
    fs::write(
        &watch.plan,
        format!("{}1{}", &plan[..capacity], &plan[capacity..]),
    )
    .unwrap();
    assert_eq!(word("evening"), "unknown");
}
