//! Single failures: drawn lines against brute force (`reference/network/numpy-line-failures.json`), and small lines worked by hand.

use std::fmt::Write as _;

use assess::input::Contacts;
use assess::{After, Breakage, Does, Failures, Ruling, Safe, Sees, Shelf, check, failures};
use serde_json::Value;

use crate::support::{changed, close, known, read, requirement, why_unknown};

/// Heartbeats take at most this long on the links of these lines; the reference leaves it out, s.
const ON_LINKS_S: f64 = 1.0;

/// What all drawn lines begin with.
pub(crate) const HEAD: &str = "format = 1
[deployment]
name = \"A drawn line\"
start = 2027-01-01
duration = \"1 d\"
[site]
latitude = \"50 deg\"
longitude = \"0 deg\"
water_depth = \"40 m\"
profile = [{ depth = \"0 m\", temperature = \"20 degC\", salinity = 35 }]
[traffic]
stack = [\"ethernet\", \"ipv6\", \"udp\"]
packet = \"1400 B\"
";

pub(crate) fn list(value: &Value) -> &[Value] {
    value.as_array().unwrap()
}

fn paths(value: &Value, path: impl Fn(u64) -> String) -> Vec<String> {
    let numbers = list(value).iter().map(|n| n.as_u64().unwrap());
    numbers.map(path).collect()
}

/// A line of the reference as a plan.
fn plan_of(case: &Value) -> String {
    let mut text = HEAD.to_owned()
        + "[topic.\"alert/call\"]
at_most = \"2 per min\"
size = \"20 B\"
[topic.\"lamp/on\"]
at_most = \"2 per min\"
size = \"8 B\"
";
    for (s, at) in list(&case["supplies"]).iter().enumerate() {
        let _ = writeln!(
            text,
            "[supply.s{s}]\nat = \"module.m{at}\"\nkind = \"bench\"\noutput = {{ voltage = \"24 V\", resistance = \"0.1 ohm\", current_limit = \"1 A\" }}"
        );
    }
    for (s, span) in list(&case["spans"]).iter().enumerate() {
        let _ = writeln!(
            text,
            "[span.s{s}]\nfrom = \"module.m{}\"\nto = \"module.m{}\"\nlength = \"{} m\"\nconductor = \"1.0 mm2 class 5\"\ncontacts = {{ mated_pins_in_loop = 0, resistance = \"0 ohm\" }}\nlink = \"10BASE-T1L\"",
            span[0], span[1], span[2]
        );
    }
    let uplink = &case["uplink"];
    for (m, module) in list(&case["modules"]).iter().enumerate() {
        module_of(&mut text, m, module, uplink);
    }
    if uplink.is_object() {
        let _ = writeln!(
            text,
            "[uplink.shore]\nat = \"module.m0\"\nmessage_size = \"120 B\"\nprice = \"0.10 EUR\"\nsession = \"20 s\"\nsuccess = \"100 %\"\nback_off = \"10 s\""
        );
        if let Some(s) = uplink["expiry_s"].as_u64() {
            let _ = writeln!(text, "expiry = \"{s} s\"");
        }
        let _ = writeln!(
            text,
            "[behaviour.ashore]\non = \"module.m0\"\nwhen_told = \"alert/call\"\ndo = [{{ send_up = \"uplink.shore\", about = \"alert/call\" }}]"
        );
    }
    text
}

fn module_of(text: &mut String, m: usize, module: &Value, uplink: &Value) {
    let _ = writeln!(
        text,
        "[module.m{m}]\nposition = {{ depth = \"{m} m\" }}\ninput = {{ minimum = \"9 V\", maximum = \"36 V\" }}\nloads = {{ on = \"5 mW\" }}\npasses = {{ power = {}, data = {} }}\nthrough = {{ resistance = \"{} ohm\" }}\nprocessing = \"1 ms\"",
        module["power"], module["data"], module["through_ohm"]
    );
    if let Some(minutes) = module["heartbeat_min"].as_u64() {
        let by = match m == 0 && uplink["heartbeat_h"].is_u64() {
            true => ", by = \"uplink.shore\"",
            false => "",
        };
        let own = list(&module["levels"]).iter();
        let own: Vec<String> = own.map(|e| format!("\"module.m{e}.sensor.ear\"")).collect();
        let levels = match own.is_empty() {
            true => String::new(),
            false => format!(", levels = [{}]", own.join(", ")),
        };
        let _ = writeln!(
            text,
            "heartbeat = {{ topic = \"health/m{m}\", every = \"{minutes} min\"{by}{levels} }}\n[topic.\"health/m{m}\"]\nsize = \"8 B\""
        );
        if uplink["forwards"] == true && m != 0 {
            let _ = writeln!(
                text,
                "[behaviour.forward-m{m}]\non = \"module.m0\"\nwhen_told = \"health/m{m}\"\ndo = [{{ send_up = \"uplink.shore\", about = \"health/m{m}\" }}]"
            );
        }
    }
    if module["hears_heartbeats"] == true {
        let _ = writeln!(
            text,
            "[behaviour.watch-m{m}]\non = \"module.m{m}\"\nwhen_told = \"health/#\"\ndo = [{{ log = \"alive\" }}]"
        );
    }
    if module["relays"] == true {
        let _ = writeln!(
            text,
            "[behaviour.relay-m{m}]\non = \"module.m{m}\"\nwhen_told = \"alert/call\"\ndo = [{{ publish = \"lamp/on\" }}]"
        );
    }
    if module["hydrophone"] == true {
        let up = match m == 0 && uplink.is_object() {
            true => ", { send_up = \"uplink.shore\", about = \"alert/call\" }",
            false => "",
        };
        let _ = writeln!(
            text,
            "[module.m{m}.sensor.ear]\nkind = \"hydrophone\"\nsensitivity = \"-170 dB re 1 V/uPa\"\ngain = \"20 dB\"\nadc = {{ full_scale = \"2.5 V\", bits = 16, rate = \"4 kHz\" }}
[detector.d{m}]\non = \"module.m{m}.sensor.ear\"\nstages = [{{ band = [\"80 Hz\", \"300 Hz\"] }}, {{ level = \"rms\", window = \"0.2 s\" }}, {{ background = \"median\", over = \"10 s\" }}, {{ on_above = \"8 dB\", off_below = \"5 dB\", shortest = \"0.3 s\", longest = \"3 s\", hold_off = \"5 s\" }}]
[behaviour.tell-m{m}]\non = \"module.m{m}\"\nwhen_heard = \"detector.d{m}.confirmed\"\ndo = [{{ publish = \"alert/call\" }}{up}]"
        );
    }
    let output = &module["output"];
    if output.is_object() {
        let _ = writeln!(
            text,
            "[module.m{m}.output.lamp]\nkind = \"lamp\"\npower = \"5 mW\"\nstarts = {}",
            output["starts"]
        );
        if output["fail_safe"].is_string() {
            let _ = writeln!(text, "fail_safe = {}", output["fail_safe"]);
        }
        if let Some(s) = output["within_s"].as_u64() {
            let _ = writeln!(text, "fails_safe_within = \"{s} s\"");
        }
        let topic = match output["listens_to"] == "relay" {
            true => "lamp/on",
            false => "alert/call",
        };
        let lasting = output["for_s"]
            .as_u64()
            .map_or_else(String::new, |s| format!(", for = \"{s} s\""));
        let _ = writeln!(
            text,
            "[behaviour.switch-m{m}]\non = \"module.m{m}\"\nwhen_told = \"{topic}\"\ndo = [{{ switch = \"module.m{m}.output.lamp\", to = {}{lasting} }}]",
            output["switch_to"]
        );
    }
}

/// The kind of a part and its id; of a hydrophone those of its module.
pub(crate) fn part(subject: &str) -> (&str, &str) {
    let (kind, id) = subject.split_once('.').unwrap();
    (kind, id.split('.').next().unwrap())
}

fn same_time(ours: f64, theirs: &Value, what: &str) {
    let theirs = theirs.as_f64().unwrap();
    assert!(
        (theirs..=theirs + ON_LINKS_S).contains(&ours),
        "{ours} s is not {theirs} s: {what}"
    );
}

pub(crate) fn same(ours: &After, theirs: &Value, what: &str) {
    let module = |m| format!("module.m{m}");
    let ear = |m| format!("module.m{m}.sensor.ear");
    assert_eq!(ours.without_power, paths(&theirs[0], module), "{what}");
    assert_eq!(ours.lost_to_line, paths(&theirs[1], ear), "{what}");
    assert_eq!(ours.lost_to_shore, paths(&theirs[2], ear), "{what}");
    let outputs = list(&theirs[3]);
    assert_eq!(ours.outputs.len(), outputs.len(), "{what}");
    for (own, their) in ours.outputs.iter().zip(outputs) {
        assert_eq!(own.output, format!("module.m{}.output.lamp", their[0]));
        let does = match own.does {
            Does::AsBefore => "as-before",
            Does::Off => "off",
            Does::Stays => "stays",
            Does::Unasked => "unasked",
        };
        assert_eq!(does, their[1], "{what}: {own:?}");
        assert_eq!(own.asked_by as u64, their[2], "{what}: {own:?}");
        let safe = match &own.safe {
            Safe::NotNeeded => "not-needed",
            Safe::Never => "never",
            Safe::Unknown(_) => "unknown",
            Safe::Within(s) => {
                same_time(*s, &their[4], what);
                "within"
            }
        };
        assert_eq!(safe, their[3], "{what}: {own:?}");
    }
    let sees = match ours.shore {
        Sees::NoShore => "no-shore",
        Sees::Alerts => "alerts",
        Sees::Unknown => "unknown",
        Sees::Quiet => "quiet",
    };
    assert_eq!(sees, theirs[4], "{what}: {ours:?}");
    match &ours.shore_notices_s {
        None => assert!(theirs[5].is_null(), "{what}"),
        Some(Err(why)) => assert_eq!(theirs[5], "unknown", "{what}: {why}"),
        Some(Ok(s)) => same_time(*s, &theirs[5], what),
    }
}

#[test]
fn val_failures_of_drawn_lines() {
    let document = truth::json("network/numpy-line-failures.json");
    let cases = list(&document["cases"]);
    assert_eq!(cases.len(), 100);
    let mut tried = 0;
    for (c, case) in cases.iter().enumerate() {
        let reading = read(&plan_of(case));
        assert!(!reading.has_errors(), "{c}: {:?}", reading.mistakes);
        let found = failures(reading.line.as_ref().unwrap(), Contacts::Aged).unwrap();
        let expected = case["failures"].as_object().unwrap();
        // The reference has no contacts and no clocks.
        assert_eq!(found.failures.len(), expected.len(), "{c}");
        for failure in &found.failures {
            let (kind, id) = part(&failure.subject);
            let number = id.trim_start_matches(['m', 's']).replace("hore", "0");
            let key = format!("{kind} {number} {}", failure.breakage.word());
            let theirs = expected
                .get(&key)
                .unwrap_or_else(|| panic!("{c}: no {key}"));
            let ours = failure.outcome.as_ref().unwrap();
            same(ours, theirs, &format!("case {c}, {key}"));
            tried += 1;
        }
    }
    assert!(tried > 2000, "{tried}");
}

fn told(changes: &[(&str, &str)]) -> Failures {
    let reading = read(&changed(changes));
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    failures(&reading.line.unwrap(), Contacts::Aged).unwrap()
}

fn of<'f>(failures: &'f Failures, subject: &str, breakage: &str) -> &'f assess::Failure {
    let wanted = |f: &&assess::Failure| f.subject == subject && f.breakage.word() == breakage;
    failures.failures.iter().find(wanted).unwrap()
}

fn after<'f>(failures: &'f Failures, subject: &str, breakage: &str) -> &'f After {
    of(failures, subject, breakage).outcome.as_ref().unwrap()
}

const LAMP: &str = "[module.base.output.lamp]\nkind = \"lamp\"\npower = \"10 W\"\n";
const EAR: &str = "[module.ear]\n";
const SENDING: &str = "sending_state = \"sending\"\n";
const BASE: &str = "[module.base]\n";
const HEARTBEAT: (&str, &str) = (
    EAR,
    "[topic.\"health/ear\"]\nsize = \"8 B\"\n[behaviour.watch]\non = \"module.base\"\nwhen_told = \"health/#\"\ndo = [{ log = \"alive\" }]\n[module.ear]\nheartbeat = { topic = \"health/ear\", every = \"10 min\", levels = [\"module.ear.sensor.one\"] }\n",
);
const ASHORE: (&str, &str) = (
    BASE,
    "[topic.\"health/base\"]\nsize = \"20 B\"\n[module.base]\nheartbeat = { topic = \"health/base\", every = \"12 h\", by = \"uplink.shore\", levels = [\"module.ear.sensor.one\"] }\n",
);
const EXPIRY: (&str, &str) = (SENDING, "sending_state = \"sending\"\nexpiry = \"1 h\"\n");

/// Without heartbeats the shore takes every loss for a quiet sea; with them it can tell after the ear's ten minutes, the base's twelve hours, the hour for which the uplink tries and its session
/// of five seconds, and of the base itself without the ten minutes.
#[test]
fn verif_the_shore_can_tell_a_lost_ear_by_heartbeats_alone() {
    let without = told(&[]);
    let cut = after(&without, "span.cable", "cut");
    assert_eq!(cut.lost_to_shore, ["module.ear.sensor.one"]);
    assert_eq!((cut.shore, &cut.shore_notices_s), (Sees::Quiet, &None));
    let with = told(&[HEARTBEAT, ASHORE, EXPIRY]);
    let ear_s = 600.0 + 12.0 * 3600.0 + 3600.0 + 5.0;
    for (subject, breakage, expected_s) in [
        ("span.cable", "cut", ear_s),
        ("module.ear", "hung", ear_s),
        ("module.base", "hung", ear_s - 600.0),
        ("uplink.shore", "no-uplink", ear_s - 600.0),
    ] {
        let after = after(&with, subject, breakage);
        assert_eq!(after.shore, Sees::Unknown, "{subject}");
        close(
            after.shore_notices_s.clone().unwrap().unwrap(),
            expected_s,
            0.01,
        );
    }
    // Deaf while its module works: its level goes the same way, and without it nothing says that anybody can tell.
    let deaf = after(&with, "module.ear.sensor.one", "deaf");
    assert_eq!(deaf.lost(), ["module.ear.sensor.one"]);
    assert_eq!((deaf.shore, deaf.without_power.len()), (Sees::Unknown, 0));
    close(deaf.shore_notices_s.clone().unwrap().unwrap(), ear_s, 0.01);
    let no_levels = ASHORE
        .1
        .replace(", levels = [\"module.ear.sensor.one\"]", "");
    let mute = told(&[HEARTBEAT, (ASHORE.0, no_levels.as_str()), EXPIRY]);
    let deaf = after(&mute, "module.ear.sensor.one", "deaf");
    assert_eq!(deaf.shore, Sees::Quiet);
    let why = deaf.shore_notices_s.clone().unwrap().unwrap_err();
    assert!(why.contains("`heartbeat.levels`"), "{why}");
    let silent = told(&[HEARTBEAT, ASHORE]);
    let why = after(&silent, "span.cable", "cut").shore_notices_s.clone();
    assert!(why.unwrap().unwrap_err().contains("write its `expiry`"));
}

/// A lamp that is lit for 20 s goes out by itself; one that must be lit to warn does so only by its timer, and never without power.
#[test]
fn verif_a_lamp_comes_to_its_fail_safe_state() {
    let lamp = |changes: &[(&str, &str)], subject: &str, breakage: &str| {
        let found = told(changes);
        after(&found, subject, breakage).outputs[0].safe.clone()
    };
    let with = |more: &str| format!("{LAMP}{more}\n");
    let off = with("fail_safe = \"off\"");
    let on = with("fail_safe = \"on\"");
    let timer = with("fail_safe = \"on\"\nfails_safe_within = \"15 min\"");
    assert!(matches!(lamp(&[], "span.cable", "cut"), Safe::Unknown(_)));
    let cut = |text: &str| lamp(&[(LAMP, text), HEARTBEAT], "span.cable", "cut");
    assert_eq!(cut(&off), Safe::Within(20.0));
    assert_eq!(cut(&on), Safe::Never);
    match cut(&timer) {
        Safe::Within(s) => assert!((900.0..900.1).contains(&s), "{s}"),
        other => panic!("{other:?}"),
    }
    // Without the ear's heartbeat nothing winds up the timer: it has run out, or will have by then.
    let unheard = lamp(&[(LAMP, &timer)], "span.cable", "cut");
    assert_eq!(unheard, Safe::Within(900.0));
    let hung = |text: &str| lamp(&[(LAMP, text), HEARTBEAT], "module.base", "hung");
    assert_eq!(
        [hung(&off), hung(&on), hung(&timer)],
        [Safe::Never, Safe::Never, Safe::Within(900.0)]
    );
    let dark = |text: &str| lamp(&[(LAMP, text)], "supply.bench", "no-supply");
    assert_eq!([dark(&off), dark(&on)], [Safe::Within(0.0), Safe::Never]);
}

/// What a module passes is not guessed: its failures, and those that take its power, are unknown.
#[test]
fn verif_what_a_module_passes_is_never_guessed() {
    let reading = read(&changed(&[(
        "passes = { power = \"never\", data = \"never\" }\n",
        "",
    )]));
    let found = failures(reading.line.as_ref().unwrap(), Contacts::Aged).unwrap();
    assert!(found.some_unknown());
    for breakage in ["unpowered", "hung", "flooded"] {
        let why = of(&found, "module.ear", breakage)
            .outcome
            .clone()
            .unwrap_err();
        assert!(
            why.contains("module.ear says nothing of what still goes through it"),
            "{why}"
        );
    }
    assert!(of(&found, "span.cable", "cut").outcome.is_err());
    assert!(of(&found, "uplink.shore", "no-uplink").outcome.is_ok());
    // And no through-resistance is not none.
    let reading = read(&changed(&[(
        "through = { resistance = \"0 ohm\" }\nprocessing = \"100 us\"\n\n[module.base.output",
        "processing = \"100 us\"\n\n[module.base.output",
    )]));
    let error = failures(reading.line.as_ref().unwrap(), Contacts::Aged).unwrap_err();
    assert!(
        error
            .to_string()
            .contains("module.base says nothing of its through-resistance")
    );
}

/// One load of 2 W from 48 V is carried by V^2 / 4 P = 288 ohm in all, at 24 V where 20 V are enough: a contact just beyond that takes it.
#[test]
fn verif_a_contact_that_the_line_no_longer_bears() {
    let pins = (
        "mated_pins_in_loop = 0, resistance = \"0 ohm\"",
        "mated_pins_in_loop = 2, resistance = \"0 ohm\", aged = \"0 ohm\"",
    );
    let found = told(&[pins]);
    let contact = of(&found, "span.cable", "poor-contact");
    let Breakage::PoorContact { ohm } = contact.breakage else {
        panic!("{contact:?}");
    };
    let reading = read(&changed(&[pins]));
    let wire_ohm = assess::input::electric(reading.line.as_ref().unwrap())
        .unwrap()
        .wire_ohm(plan::SpanIx(0))
        .unwrap();
    close(ohm, 1.001 * (288.0 - wire_ohm), 0.01);
    let after = contact.outcome.as_ref().unwrap();
    assert_eq!(after.without_power, ["module.ear"]);
    assert_eq!(after.lost_to_line, ["module.ear.sensor.one"]);
}

const VOTES: &str = "[requirement.voltage]\nthat = \"voltage\"\n";

#[test]
fn verif_requirements_on_failures_are_judged() {
    let safe = format!("{LAMP}fail_safe = \"off\"\nfails_safe_within = \"15 min\"\n");
    let asked = |least: &str, notice: &str, within: &str| {
        format!(
            "{VOTES}[requirement.one]\nthat = \"single-failure\"\nat_most = {least}\n[requirement.notice]\nthat = \"time-to-notice\"\nat_most = \"{notice}\"\n[requirement.safe]\nthat = \"fail-safe\"\nof = \"module.base.output.lamp\"\nat_most = \"{within}\"\n"
        )
    };
    let judged = |text: &str, more: &[(&str, &str)]| {
        let mut all = vec![(VOTES, text)];
        all.extend_from_slice(more);
        let reading = read(&changed(&all));
        assert!(!reading.has_errors(), "{:?}", reading.mistakes);
        check(&reading, &Shelf::default())
    };
    let whole = [HEARTBEAT, ASHORE, EXPIRY, (LAMP, safe.as_str())];
    let met = judged(&asked("1", "14 h", "20 min"), &whole);
    for id in ["one", "notice", "safe", "fails-safe"] {
        let verdict = known(&met, id);
        assert_eq!(verdict.ruling, Ruling::Met, "{verdict:?}");
    }
    close(known(&met, "one").value.value, 1.0, 0.0);
    close(known(&met, "notice").value.value, 47_405.0, 0.01);
    // The dead man's timer of fifteen minutes on a hung base.
    close(known(&met, "safe").value.value, 900.0, 0.1);
    close(known(&met, "fails-safe").value.value, 600.0, 0.1);
    let broken = judged(&asked("0", "13 h", "14 min"), &whole);
    for id in ["one", "notice", "safe"] {
        assert_eq!(known(&broken, id).ruling, Ruling::Broken, "{id}");
    }
    let quiet = judged(&asked("1", "14 h", "20 min"), &[(LAMP, safe.as_str())]);
    let verdict = known(&quiet, "notice");
    assert_eq!(verdict.ruling, Ruling::Broken);
    assert!(
        verdict.why.contains("takes the silence for a quiet sea"),
        "{}",
        verdict.why
    );
    // Without a timer a hung base leaves the lamp as it was.
    let stuck = format!("{LAMP}fail_safe = \"off\"\n");
    let stuck = judged(&asked("1", "14 h", "20 min"), &[(LAMP, stuck.as_str())]);
    assert_eq!(known(&stuck, "safe").ruling, Ruling::Broken);
    assert!(known(&stuck, "safe").why.contains("module.base hung"));
    let open = judged(&asked("1", "14 h", "20 min"), &[]);
    assert!(why_unknown(&open, "safe").contains("says nothing of its `fail_safe`"));
    // A timer that waits less than the heartbeats are apart trips while all is whole.
    let hasty = format!("{LAMP}fail_safe = \"off\"\nfails_safe_within = \"9 min\"\n");
    let hasty = judged(
        &asked("1", "14 h", "20 min"),
        &[HEARTBEAT, (LAMP, hasty.as_str())],
    );
    assert_eq!(known(&hasty, "fails-safe").ruling, Ruling::Broken);
    assert!(requirement(&hasty, "fails-safe").is_broken());
    // One that nobody winds up runs out once, for good: one timer, fifteen minutes after its module has begun.
    let unheard = judged(&asked("1", "14 h", "20 min"), &[(LAMP, safe.as_str())]);
    let verdict = known(&unheard, "fails-safe");
    assert_eq!(verdict.ruling, Ruling::Broken);
    close(verdict.value.value, 1.0, 0.0);
    assert!(
        verdict.why.contains("nothing winds up its timer"),
        "{}",
        verdict.why
    );
    assert_eq!(known(&unheard, "safe").ruling, Ruling::Met);
}

/// A line of two ears between two supplies, 164 ohm from either: with one gone it carries `48^2 / 4 / 164 = 3.5 W`.
fn two_supplies() -> String {
    format!(
        "{VOTES}[requirement.notice]\nthat = \"time-to-notice\"\nat_most = \"30 h\"\n[requirement.safe]\nthat = \"fail-safe\"\nof = \"module.base.output.lamp\"\nat_most = \"20 min\"\n[supply.end]\nat = \"module.end\"\nkind = \"bench\"\noutput = {{ voltage = \"48 V\", resistance = \"0 ohm\", current_limit = \"5 A\" }}
[behaviour.watch]
on = \"module.base\"
when_told = \"health/#\"
do = [{{ log = \"alive\" }}]
[module.end]
position = {{ depth = \"0 m\" }}
processing = \"100 us\"
input = {{ minimum = \"10 V\", maximum = \"56 V\" }}
loads = {{ on = \"1 mW\" }}
passes = {{ power = \"always\", data = \"always\" }}
through = {{ resistance = \"0 ohm\" }}
[module.two]
position = {{ depth = \"20 m\" }}
input = {{ minimum = \"35 V\", maximum = \"56 V\" }}
loads = {{ listening = \"1.3 W\" }}
boot = {{ time = \"2 s\", power = \"1 W\" }}
heartbeat = {{ topic = \"health/two\", every = \"10 min\" }}
passes = {{ power = \"always\", data = \"always\" }}
through = {{ resistance = \"0 ohm\" }}
processing = \"100 us\"
[module.two.sensor.one]
kind = \"hydrophone\"
sensitivity = \"-170 dB re 1 V/uPa\"
gain = \"20 dB\"
adc = {{ full_scale = \"2.5 V\", bits = 16, rate = \"4 kHz\" }}
[detector.other]
on = \"module.two.sensor.one\"
stages = [{{ band = [\"80 Hz\", \"300 Hz\"] }}, {{ level = \"rms\", window = \"0.2 s\" }}, {{ background = \"median\", over = \"10 s\" }}, {{ on_above = \"8 dB\", off_below = \"5 dB\", shortest = \"0.3 s\", longest = \"3 s\", hold_off = \"5 s\" }}]
[topic.\"health/two\"]
size = \"8 B\"
[behaviour.tell-two]
on = \"module.two\"
when_heard = \"detector.other.confirmed\"
do = [{{ publish = \"alert/call\" }}]
[span.middle]
from = \"module.ear\"
to = \"module.two\"
length = \"20 m\"
conductor = \"18 AWG\"
contacts = {{ mated_pins_in_loop = 0, resistance = \"0 ohm\" }}
link = \"10BASE-T1L\"
[span.tail]
from = \"module.end\"
to = \"module.two\"
length = \"100 m\"
conductor = \"18 AWG\"
contacts = {{ mated_pins_in_loop = 2, resistance = \"80 ohm\", aged = \"80 ohm\" }}
link = \"10BASE-T1L\"
",
    )
}

const ENDS: (&str, &str) = (
    "mated_pins_in_loop = 0, resistance = \"0 ohm\"",
    "mated_pins_in_loop = 2, resistance = \"80 ohm\", aged = \"80 ohm\"",
);

/// Two ears between two supplies, 164 ohm from either. With one supply gone 5 W find no operating point: the second ear, of 35 V, falls first, and the first with its 3.7 W finds none alone (48^2 / 4 / 164 = 3.5 W).
/// The second holds out alone with its 1.3 W, and so comes and goes: its heartbeats break the silence that the shore and the timer wait for.
#[test]
fn verif_what_comes_and_goes_breaks_the_silence() {
    let more = two_supplies();
    let lamp = format!("{LAMP}fail_safe = \"off\"\nfails_safe_within = \"15 min\"\n");
    let changes = [
        ENDS,
        // What the first ear hears leads nowhere, so that all hangs on the second.
        (
            "do = [{ publish = \"alert/call\" }]",
            "do = [{ log = \"heard\" }]",
        ),
        // Lit for good, so that its timer alone puts it out.
        ("to = \"on\", for = \"20 s\" }", "to = \"on\" }"),
        (VOTES, more.as_str()),
        (LAMP, lamp.as_str()),
        ASHORE,
        EXPIRY,
        ("listening = \"2 W\"", "listening = \"3.7 W\""),
        (
            "passes = { power = \"never\", data = \"never\" }",
            "passes = { power = \"always\", data = \"always\" }",
        ),
    ];
    let found = told(&changes);
    let after = after(&found, "supply.end", "no-supply");
    assert_eq!(after.tries_again, ["module.ear", "module.two"]);
    assert_eq!(
        after.lost(),
        ["module.ear.sensor.one", "module.two.sensor.one"]
    );
    let [works] = after.others.as_slice() else {
        panic!("{:?}", after.others);
    };
    assert_eq!(works.lost(), ["module.ear.sensor.one"]);
    assert_eq!(after.at_worst().lost(), after.lost());
    assert!(after.lost_at_times().is_empty());
    let reading = read(&changed(&changes));
    let check = check(&reading, &Shelf::default());
    let Safe::Unknown(safe) = &after.at_worst().outputs[0].safe else {
        panic!("{:?}", after.at_worst().outputs)
    };
    for why in [why_unknown(&check, "notice"), safe.as_str()] {
        assert!(
            why.contains("boot again and again") && why.contains("a rehearsal shows it"),
            "{why}"
        );
    }
    // That the second ear goes deaf no timer tells: its module's heartbeats wind it up.
    let safe = known(&check, "safe");
    assert_eq!(safe.ruling, Ruling::Broken);
    assert!(
        safe.why.contains("deaf while its module works"),
        "{}",
        safe.why
    );
    // One that falls again as soon as it has booted breaks no silence.
    let pins = (
        "mated_pins_in_loop = 0, resistance = \"0 ohm\"",
        "mated_pins_in_loop = 2, resistance = \"0 ohm\", aged = \"0 ohm\"",
    );
    let found = told(&[pins]);
    let contact = of(&found, "span.cable", "poor-contact");
    let contact = contact.outcome.as_ref().unwrap();
    assert_eq!(contact.tries_again, ["module.ear"]);
    assert!(contact.others.is_empty(), "{:?}", contact.others);
}

/// With the second supply gone two ears of 0.5 W hold (44.3 V). What the second hears lights its lamp of 2.9 W: with 3.9 W there is no voltage, the first ear falls at 43 V, and the second with its 3.4 W
/// would stand at 28 V, below its 35 V.
#[test]
fn verif_what_drops_out_at_times_is_lost() {
    let lamp = "[module.two.output.beam]\nkind = \"lamp\"\npower = \"2.9 W\"\nstarts = \"off\"\nfail_safe = \"off\"\n[module.two.sensor.one]\n";
    let more = two_supplies()
        .replace("listening = \"1.3 W\"", "listening = \"0.5 W\"")
        .replace("[module.two.sensor.one]\n", lamp)
        .replace(
            "do = [{ publish = \"alert/call\" }]",
            "do = [{ publish = \"alert/call\" }, { switch = \"module.two.output.beam\", to = \"on\", for = \"20 s\" }]",
        );
    // The base is told of all heartbeats already.
    let heartbeat = HEARTBEAT.1.replace("[behaviour.watch]\non = \"module.base\"\nwhen_told = \"health/#\"\ndo = [{ log = \"alive\" }]\n", "");
    let changes = [
        (HEARTBEAT.0, heartbeat.as_str()),
        ENDS,
        (VOTES, more.as_str()),
        ASHORE,
        EXPIRY,
        ("listening = \"2 W\"", "listening = \"0.5 W\""),
        (
            "passes = { power = \"never\", data = \"never\" }",
            "passes = { power = \"always\", data = \"always\" }",
        ),
        ("minimum = \"20 V\"", "minimum = \"43 V\""),
    ];
    let found = told(&changes);
    let after = after(&found, "supply.end", "no-supply");
    assert!(after.tries_again.is_empty() && after.lost().is_empty());
    assert_eq!(after.at_times, ["module.ear", "module.two"]);
    let both = ["module.ear.sensor.one", "module.two.sensor.one"];
    assert_eq!(after.lost_at_times(), both);
    assert_eq!(after.at_worst().lost(), both);
    let check = check(&read(&changed(&changes)), &Shelf::default());
    let why = why_unknown(&check, "notice");
    assert!(why.contains("at times: heartbeats come between"), "{why}");
    // Of all failures the worst is told, with those at times among them.
    let worst = found
        .failures
        .iter()
        .filter_map(|f| f.outcome.as_ref().ok());
    let most = worst.map(|a| a.at_worst().lost().len()).max().unwrap();
    assert_eq!(most, 2);
}

/// Behind an ear that holds out once it has booted, and passes power while it has some, another boots and is heard.
#[test]
fn verif_what_is_behind_one_that_holds_out_is_heard_too() {
    let three = "[module.three]\nposition = { depth = \"25 m\" }\nprocessing = \"100 us\"\ninput = { minimum = \"10 V\", maximum = \"56 V\" }\nloads = { on = \"0.1 W\" }\nboot = { time = \"1 s\", power = \"0.1 W\" }\npasses = { power = \"always\", data = \"always\" }\nthrough = { resistance = \"0 ohm\" }\n[span.last]\nfrom = \"module.two\"\nto = \"module.three\"\nlength = \"10 m\"\nconductor = \"18 AWG\"\ncontacts = { mated_pins_in_loop = 0, resistance = \"0 ohm\" }\nlink = \"10BASE-T1L\"\n";
    let works = |passes: &str| -> (Vec<String>, Vec<bool>) {
        let from = "power = \"1 W\" }\nheartbeat = { topic = \"health/two\", every = \"10 min\" }\npasses = { power = \"always\"";
        let more = two_supplies();
        assert!(more.contains(from));
        let own = from.replace("power = \"always\"", &format!("power = \"{passes}\""));
        let more = more.replace(from, &own) + three;
        let changes = [
            ENDS,
            (VOTES, more.as_str()),
            ASHORE,
            EXPIRY,
            ("listening = \"2 W\"", "listening = \"3.7 W\""),
            (
                "passes = { power = \"never\", data = \"never\" }",
                "passes = { power = \"always\", data = \"always\" }",
            ),
        ];
        let found = told(&changes);
        let after = after(&found, "supply.end", "no-supply");
        let [other] = after.others.as_slice() else {
            panic!("{:?}", after.others);
        };
        // Of base, ear, end, three and two.
        let works = other.works_on.iter().map(|works| *works == Some(true));
        (after.tries_again.clone(), works.collect())
    };
    let (again, on) = works("powered");
    assert_eq!(
        again,
        ["module.ear", "module.end", "module.three", "module.two"]
    );
    assert_eq!(on, [true, false, true, true, true]);
}

/// A mistake in what failures read leaves their verdicts unknown; one in a store does not.
#[test]
fn verif_mistakes_reach_what_failures_read() {
    let asked = format!("{VOTES}[requirement.one]\nthat = \"single-failure\"\nat_most = 1\n");
    for (from, to, stands) in [
        ("size = \"100 B\"", "size = \"100 kg\"", false),
        ("capacity = \"1 TB\"", "capacity = \"1 kg\"", true),
    ] {
        let reading = read(&changed(&[(VOTES, &asked), (from, to)]));
        assert!(reading.has_errors());
        let check = check(&reading, &Shelf::default());
        let is_known = matches!(
            requirement(&check, "one").verdicts[0],
            assess::Verdict::Known(_)
        );
        assert_eq!(is_known, stands, "{to}");
    }
}
