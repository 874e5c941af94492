//! Single failures of lines with votes, requests, clocks and shared buses, against plain Python from the rules (`reference/network/python-line-talk.json`).

use std::fmt::Write as _;

use assess::failures;
use assess::input::Contacts;
use serde_json::Value;

use crate::failures::{HEAD, list, part, same};
use crate::support::read;

const SPAN: &str = "conductor = \"1.0 mm2 class 5\"\ncontacts = { mated_pins_in_loop = 0, resistance = \"0 ohm\" }";

const STAGES: &str = "stages = [{ band = [\"80 Hz\", \"300 Hz\"] }, { level = \"rms\", window = \"0.2 s\" }, { background = \"median\", over = \"10 s\" }, { on_above = \"8 dB\", off_below = \"5 dB\", shortest = \"0.3 s\", longest = \"3 s\", hold_off = \"5 s\" }]";

/// A line of the reference as a plan.
fn plan_of(case: &Value) -> String {
    let mut text = HEAD.to_owned();
    let mut add = |part: String| {
        text.push_str(&part);
        text.push('\n');
    };
    for topic in ["alert/call", "vote/yes", "lamp/yes", "lamp/no"] {
        add(format!(
            "[topic.\"{topic}\"]\nat_most = \"2 per min\"\nsize = \"8 B\""
        ));
    }
    for (s, at) in list(&case["supplies"]).iter().enumerate() {
        add(format!(
            "[supply.s{s}]\nat = \"module.m{at}\"\nkind = \"bench\"\noutput = {{ voltage = \"24 V\", resistance = \"0.1 ohm\", current_limit = \"1 A\" }}"
        ));
    }
    let link = match case["bus"] == true {
        true => "bus = \"bus.all\"",
        false => "link = \"10BASE-T1L\"",
    };
    if case["bus"] == true {
        add("[bus.all]\nlink = \"10BASE-T1S\"".to_owned());
    }
    for (s, span) in list(&case["spans"]).iter().enumerate() {
        add(format!(
            "[span.s{s}]\nfrom = \"module.m{}\"\nto = \"module.m{}\"\nlength = \"{} m\"\n{SPAN}\n{link}",
            span[0], span[1], span[2]
        ));
    }
    let mut ears = Vec::new();
    for (m, module) in list(&case["modules"]).iter().enumerate() {
        add(module_of(m, module));
        if module["hydrophone"] == true {
            ears.push(format!("\"detector.d{m}\""));
        }
    }
    if case["master"].is_u64() {
        add(format!(
            "[time-sync]\nmaster = \"module.m{}\"\nevery = \"30 s\"\ntimestamps = \"software\"\njitter = \"0.2 ms\"\nsize = \"16 B\"\npriority = 1",
            case["master"]
        ));
    }
    if let Some(vote) = case["vote"].as_object() {
        add(format!(
            "[vote.both]\non = \"module.m{}\"\nof = [{}]\nat_least = {}\nhold_off = \"30 s\"\n[behaviour.voted]\non = \"module.m{0}\"\nwhen_voted = \"vote.both\"\ndo = [{{ publish = \"vote/yes\" }}]",
            vote["on"],
            ears.join(", "),
            vote["at_least"]
        ));
    }
    if let Some(request) = case["request"].as_object() {
        let (asker, asked) = (&request["asker"], &request["asked"]);
        add(format!(
            "[request.state]\nto = \"module.m{asked}\"\nquestion = \"8 B\"\nanswer = \"8 B\"\nwithin = \"1 s\"\nat_most = \"1 per min\"
[behaviour.ask]\non = \"module.m{asker}\"\nwhen_told = \"alert/call\"\ndo = [{{ ask = \"request.state\" }}]
[behaviour.answer]\non = \"module.m{asked}\"\nwhen_asked = \"request.state\"\ndo = [{{ answer = \"request.state\" }}]
[behaviour.answered]\non = \"module.m{asker}\"\nwhen_answered = \"request.state\"\ndo = [{{ publish = \"lamp/yes\" }}]
[behaviour.unanswered]\non = \"module.m{asker}\"\nwhen_unanswered = \"request.state\"\ndo = [{{ publish = \"lamp/no\" }}]"
        ));
    }
    if let Some(on) = case["uplink"]["on"].as_str() {
        add(format!(
            "[uplink.shore]\nat = \"module.m0\"\nmessage_size = \"120 B\"\nprice = \"0.10 EUR\"\nsession = \"20 s\"\nsuccess = \"100 %\"\n[behaviour.ashore]\non = \"module.m0\"\nwhen_told = \"{on}\"\ndo = [{{ send_up = \"uplink.shore\", about = \"{on}\" }}]"
        ));
    }
    text
}

fn module_of(m: usize, module: &Value) -> String {
    let mut text = format!(
        "[module.m{m}]\nposition = {{ depth = \"{m} m\" }}\ninput = {{ minimum = \"9 V\", maximum = \"36 V\" }}\nloads = {{ on = \"5 mW\" }}\npasses = {{ power = {}, data = {} }}\nthrough = {{ resistance = \"{} ohm\" }}\nprocessing = \"1 ms\"\n",
        module["power"], module["data"], module["through_ohm"]
    );
    match module["clock"].as_str() {
        Some("error") => text.push_str("clock_error = \"0.2 ms\"\n"),
        Some(_) => text.push_str("clock = { drift = \"20 ppm\" }\n"),
        None => {}
    }
    if module["hydrophone"] == true {
        let _ = writeln!(
            text,
            "[module.m{m}.sensor.ear]\nkind = \"hydrophone\"\nsensitivity = \"-170 dB re 1 V/uPa\"\ngain = \"20 dB\"\nadc = {{ full_scale = \"2.5 V\", bits = 16, rate = \"4 kHz\" }}
[detector.d{m}]\non = \"module.m{m}.sensor.ear\"\n{STAGES}
[behaviour.tell-m{m}]\non = \"module.m{m}\"\nwhen_heard = \"detector.d{m}.confirmed\"\ndo = [{{ publish = \"alert/call\" }}]"
        );
    }
    if let Some(topic) = module["output"]["listens_to"].as_str() {
        let _ = writeln!(
            text,
            "[module.m{m}.output.lamp]\nkind = \"lamp\"\npower = \"5 mW\"\n[behaviour.switch-m{m}]\non = \"module.m{m}\"\nwhen_told = \"{topic}\"\ndo = [{{ switch = \"module.m{m}.output.lamp\", to = \"on\" }}]"
        );
    }
    text
}

#[test]
fn val_votes_requests_clocks_and_buses_of_drawn_lines() {
    let document = truth::json("network/python-line-talk.json");
    let cases = list(&document["cases"]);
    assert_eq!(cases.len(), 150);
    let (mut tried, mut by_clock) = (0, 0);
    for (c, case) in cases.iter().enumerate() {
        let reading = read(&plan_of(case));
        assert!(!reading.has_errors(), "{c}: {:?}", reading.mistakes);
        let found = failures(reading.line.as_ref().unwrap(), Contacts::Aged).unwrap();
        let expected = case["failures"].as_object().unwrap();
        assert_eq!(found.failures.len(), expected.len(), "{c}");
        for failure in &found.failures {
            let (kind, id) = part(&failure.subject);
            let number = id.trim_start_matches(['m', 's']).replace("hore", "0");
            let key = format!("{kind} {number} {}", failure.breakage.word());
            let theirs = &expected[&key];
            let ours = failure.outcome.as_ref().unwrap();
            let what = format!("case {c}, {key}");
            same(ours, theirs, &what);
            let wrong: Vec<String> = list(&theirs[6])
                .iter()
                .map(|m| format!("module.m{m}.sensor.ear"))
                .collect();
            assert_eq!(ours.times_wrong, wrong, "{what}");
            tried += 1;
            by_clock += u32::from(failure.breakage == assess::Breakage::WrongClock);
        }
    }
    assert!(tried > 3000 && by_clock > 300, "{tried} {by_clock}");
}
