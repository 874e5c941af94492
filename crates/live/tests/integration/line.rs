//! A line of three modules, and a rehearsal of it along the wall clock.

use std::cell::RefCell;
use std::path::Path;
use std::time::Duration;

use live::{
    Address, Counts, Form, Link, LinkError, LinkSettings, LiveError, Lived, Login, Names, Pace,
    Settings, Told,
};
use plan::{CueSheet, Line};
use rehearsal::{Outcome, Record};

use crate::client::Client;

const PLAN: &str = r#"format = 1
[deployment]
name = "Bench line, No. 3"
start = 2027-01-01
duration = "1 d"
[site]
latitude = "50 deg"
longitude = "0 deg"
water_depth = "40 m"
profile = [{ depth = "0 m", temperature = "10 degC", salinity = 35 }]
[supply.bench]
at = "module.base"
kind = "bench"
output = { voltage = "48 V", resistance = "0 ohm" }
[traffic]
stack = ["ethernet", "ipv6", "udp"]
packet = "1400 B"
[module.base.output.lamp]
kind = "lamp"
power = "1 W"
MODULES
[topic.alert]
priority = 0
schema_id = 7
crc = true
fields = [
  { name = "class", values = ["none", "vessel", "whistle"] },
  { name = "level", unit = "dB re 1 uPa", from = 60, to = 180, step = 0.5 },
  { name = "at", time_bits = 24, time_step = "1 s" },
]
[topic."state/all"]
priority = 1
size = "40 B"
[behaviour.beat]
on = "module.far"
each = "2 s"
do = [{ publish = "state/all" }]
[behaviour.lamp]
on = "module.base"
when_told = "alert"
do = [{ switch = "module.base.output.lamp", to = "on", for = "3 s" }]
[behaviour.hear]
on = "module.base"
when_told = "state/#"
do = [{ log = "told" }]
"#;

fn modules() -> String {
    let mut text = String::new();
    for (i, id) in ["base", "mid", "far"].into_iter().enumerate() {
        text += &format!(
            r#"
[module.{id}]
position = {{ depth = "20 m" }}
input = {{ minimum = "20 V", maximum = "56 V" }}
loads = {{ idle = "1 W" }}
starts_in = "idle"
boot = {{ time = "3 s", power = "2 W" }}
passes = {{ power = "always", data = "running" }}
through = {{ resistance = "0 ohm" }}
processing = "100 us"
"#
        );
        if i > 0 {
            let before = ["base", "mid"][i - 1];
            text += &format!(
                r#"
[span.s{i}]
from = "module.{before}"
to = "module.{id}"
length = "100 m"
conductor = "18 AWG"
contacts = {{ mated_pins_in_loop = 0, resistance = "0 ohm" }}
link = "10BASE-T1L"
"#
            );
        }
    }
    text
}

pub(crate) fn plan_text() -> String {
    PLAN.replace("MODULES", &modules())
}

pub(crate) fn cue_text(duration_s: u32) -> String {
    format!(
        "format = 1\n\n[rehearsal]\nname = \"Live\"\nduration = \"{duration_s} s\"\nseed = 1\nwind = \"4 m/s\"\n"
    )
}

pub(crate) fn read(plan_text: &str, cue_text: &str) -> (Line, CueSheet) {
    let reading = assess::read(Path::new("plan.toml"), &|_| Ok(plan_text.into()));
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    let cues = plan::read_cues(Path::new("cues.toml"), &reading, &|_| Ok(cue_text.into()));
    assert!(cues.cues.is_some(), "{:?}", cues.mistakes);
    (reading.line.unwrap(), cues.cues.unwrap())
}

pub(crate) fn offline(line: &Line, cues: &CueSheet) -> (Outcome, Vec<Record>) {
    let mut records = Vec::new();
    let outcome =
        rehearsal::run(line, cues, &mut |r| records.push(r.clone()), &mut |_| true).unwrap();
    (outcome, records)
}

/// What a rehearsal along the wall clock left.
pub(crate) struct Ran {
    pub(crate) outcome: Outcome,
    pub(crate) records: Vec<Record>,
    pub(crate) lived: Lived,
    pub(crate) told: Vec<String>,
}

impl Ran {
    pub(crate) fn counts(&self) -> &Counts {
        &self.lived.counts
    }
}

pub(crate) struct How {
    pub(crate) speed: f64,
    pub(crate) wait: bool,
    pub(crate) form: Form,
    pub(crate) queue: usize,
}

impl Default for How {
    fn default() -> How {
        How {
            speed: 20.0,
            wait: false,
            form: Form::Packed,
            queue: 10_000,
        }
    }
}

pub(crate) const PREFIX: &str = "bench/three";

pub(crate) fn link(port: u16, queue: usize) -> Link {
    link_as(port, queue, None, Duration::from_secs(10)).unwrap()
}

pub(crate) fn link_as(
    port: u16,
    queue: usize,
    login: Option<(&str, &str)>,
    within: Duration,
) -> Result<Link, LinkError> {
    let settings = LinkSettings {
        address: Address::parse(&format!("tcp://127.0.0.1:{port}")).unwrap(),
        client: format!("link-{port}"),
        login: login.map(|(user, password)| Login {
            user: user.to_owned(),
            password: password.to_owned(),
        }),
        queue,
    };
    Link::connect(&settings, &Names::new(PREFIX).unwrap(), within)
}

/// Runs along the wall clock, linked at this port; `during` is called again and again with the rehearsal's time.
pub(crate) fn live(
    line: &Line,
    cues: &CueSheet,
    how: &How,
    port: u16,
    during: &mut dyn FnMut(f64),
) -> Result<Ran, LiveError> {
    let link = link(port, how.queue);
    let settings = Settings {
        pace: Pace::new(how.speed).unwrap(),
        wait: how.wait,
        form: how.form,
    };
    let records = RefCell::new(Vec::new());
    let mut told = Vec::new();
    let mut lived = Lived::default();
    let outcome = live::run(
        line,
        cues,
        &Names::new(PREFIX).unwrap(),
        &settings,
        link,
        &mut |r| records.borrow_mut().push(r.clone()),
        &mut |at| {
            during(at.as_s_f64());
            true
        },
        &mut |what: &Told<'_>| told.push(format!("{what:?}")),
        &mut lived,
    )?;
    Ok(Ran {
        outcome,
        records: records.into_inner(),
        lived,
        told,
    })
}

/// Begins a rehearsal and stops it at once.
pub(crate) fn stopped(line: &Line, cues: &CueSheet, port: u16) -> LiveError {
    let settings = Settings {
        pace: Pace::new(1.0).unwrap(),
        wait: false,
        form: Form::Packed,
    };
    let mut left = 3;
    live::run(
        line,
        cues,
        &Names::new(PREFIX).unwrap(),
        &settings,
        link(port, 10),
        &mut |_| {},
        &mut |_| {
            left -= 1;
            left > 0
        },
        &mut |_| {},
        &mut Lived::default(),
    )
    .unwrap_err()
}

/// A second program beside the rehearsal, which listens to these topics and to its end.
pub(crate) fn beside(port: u16, topics: &str) -> Client {
    let mut client = Client::connect(port, "second");
    client.subscribe(&format!("{PREFIX}/{topics}"));
    client.subscribe(&format!("{PREFIX}/status"));
    client
}
