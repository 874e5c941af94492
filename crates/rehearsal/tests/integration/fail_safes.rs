//! Outputs that go to their fail-safe state by themselves: when to the nanosecond, for how long, and within what `assess::failures` says of it.

use assess::input::Contacts;
use assess::{Breakage, Safe, failures};
use plan::{CueSheet, Line, ModuleIx};
use rehearsal::{FailSafeStep, Outcome, Record, What};
use timeline::Ns;

use crate::chain::{Node, cue_text, fault, in_a_row, input, line_text, told, topic};
use crate::support::{read, run};

/// One hop of a heartbeat, worked by hand: 38 bytes of Ethernet (IEEE 802.3), 48 of IPv6 and UDP (RFC 8200, RFC 768) and 200 of payload at
/// 10 Mb/s, 100 m at 5 ns/m, and 100 us of processing.
const HOP_NS: u64 = (38 + 48 + 200) * 8 * 100 + 500 + 100_000;
const S: u64 = 1_000_000_000;

/// What an output's timer asks: on is what nobody may trust any more.
const TIMER: &str = "fail_safe = \"off\"\nfails_safe_within = \"2500 ms\"\n";

fn heartbeat(module: usize) -> String {
    let topic = topic(&format!("health/m{module}"));
    format!(
        "{topic}\n[module.m{module}.heartbeat]\ntopic = \"health/m{module}\"\nevery = \"1 s\"\n"
    )
}

/// The lamp of module 0 on by orders of those modules, which send heartbeats; they give them on the topic `go`, each its own.
fn lit(nodes: &[Node], askers: &[usize]) -> String {
    let mut plan = line_text(nodes, 300, 100);
    plan = plan.replace("power = \"10 W\"\n", &format!("power = \"10 W\"\n{TIMER}"));
    for asker in askers {
        plan += &heartbeat(*asker);
        plan += &topic(&format!("go/m{asker}"));
        plan += &format!(
            "\n[behaviour.ask-{asker}]\non = \"module.m{asker}\"\neach = \"1 h\"\ndo = [{{ publish = \"go/m{asker}\" }}]\n"
        );
    }
    plan += &told(
        "lit",
        0,
        "go/#",
        r#"{ switch = "module.m0.output.lamp", to = "on" }"#,
    );
    plan + &told("hears", 0, "health/#", r#"{ log = "alive" }"#)
}

/// One bus on all spans instead of the links between modules.
fn on_a_bus(plan: &str) -> String {
    let spans = plan.replace(
        "link = \"free\"\nlink_rate = \"10000 kbit/s\"\n",
        "bus = \"bus.trunk\"\n",
    );
    assert_ne!(spans, plan);
    spans
        + "\n[bus.trunk]\nlink = \"CAN 2.0\"\nlink_rate = \"125 kbit/s\"\nframe = { header = \"1 B\", ids = \"29 bit\" }\nbit_error_rate = 0\n"
}

struct Seen {
    line: Line,
    outcome: Outcome,
    records: Vec<Record>,
}

fn rehearse(plan: &str, cues: &str) -> Seen {
    let (line, cues): (Line, CueSheet) = read(plan, cues);
    let (outcome, records) = run(&line, &cues);
    Seen {
        line,
        outcome,
        records,
    }
}

impl Seen {
    /// Times at which the lamp goes on or off.
    fn switched(&self) -> Vec<(u64, bool)> {
        let all = self.records.iter().filter_map(|r| match r.what {
            What::Switched { on, .. } => Some((r.at.0, on)),
            _ => None,
        });
        all.collect()
    }

    fn steps(&self) -> Vec<(u64, FailSafeStep)> {
        let all = self.records.iter().filter_map(|r| match r.what {
            What::FailSafe { what, .. } => Some((r.at.0, what)),
            _ => None,
        });
        all.collect()
    }

    /// When the last heartbeat before a time reached module 0.
    fn last_heard_ns(&self, from: usize, before_ns: u64) -> u64 {
        let all = self.records.iter().filter_map(|r| match r.what {
            What::Delivered {
                module: ModuleIx(0),
                from: ModuleIx(f),
                topic,
                ..
            } if f == from && r.at.0 <= before_ns => {
                let name = &self.line.topics[topic.0].name;
                name.starts_with("health/").then_some(r.at.0)
            }
            _ => None,
        });
        all.max().unwrap()
    }

    /// What `failures` says of the lamp when this breaks, s.
    fn promised(&self, subject: &str, breakage: Breakage) -> Safe {
        let all = failures(&self.line, Contacts::New).unwrap();
        let mut all = all.failures.into_iter();
        let one = all.find(|f| f.subject == subject && f.breakage == breakage);
        let after = one.unwrap().outcome.unwrap();
        after.outputs[0].safe.clone()
    }
}

fn runs_out(silent: usize) -> FailSafeStep {
    FailSafeStep::RunsOut {
        silent: Some(ModuleIx(silent)),
    }
}

/// The cable of the asker is cut: the timer runs from the last heartbeat that came through, and the lamp goes out when it is over.
#[test]
fn verif_a_lamp_goes_to_its_fail_safe_state_its_time_after_the_last_heartbeat() {
    let plan = lit(&in_a_row(&["running"; 3]), &[2]);
    let cues =
        cue_text(30, 1) + &input("go", 5.0, 2, "go/m2") + &fault("f", "cut", "span.s2", 10.2, 20.2);
    let seen = rehearse(&plan, &cues);
    // Heartbeats leave at whole seconds: the last is that of 10 s, two hops on the way.
    let out_ns = 10 * S + 2 * HOP_NS + 25 * S / 10;
    assert_eq!(seen.last_heard_ns(2, out_ns), 10 * S + 2 * HOP_NS);
    assert_eq!(
        seen.switched(),
        [(5 * S + 2 * HOP_NS, true), (out_ns, false)]
    );
    // The module has power again at 20.2 s, boots for 3 s, and sends at the next whole second; the lamp stays as it is until it is asked for.
    let over = (24 * S + 2 * HOP_NS, FailSafeStep::Over);
    assert_eq!(seen.steps(), [(out_ns, runs_out(2)), over]);
    let Safe::Within(s) = seen.promised("span.s2", Breakage::Cut) else {
        panic!("the timer brings it there");
    };
    let took_s = Ns(out_ns - 102 * S / 10).as_s_f64();
    assert!(took_s <= s, "{took_s} s, and {s} s are promised");
    // A heartbeat sent just before the cut has two hops before it, at the least.
    assert!(s >= 2.5 + 2e-9 * HOP_NS as f64, "{s}");
}

/// On a bus, with a station that hangs: the same, by the times at which its heartbeats come.
#[test]
fn verif_on_a_bus_the_timer_runs_from_the_last_heartbeat_that_came() {
    let plan = on_a_bus(&lit(&in_a_row(&["always"; 3]), &[1, 2]));
    let cues = cue_text(30, 1)
        + &input("go", 5.0, 2, "go/m2")
        + &fault("f", "hang", "module.m2", 10.2, 29.0);
    let seen = rehearse(&plan, &cues);
    let heard_ns = seen.last_heard_ns(2, 13 * S);
    assert!(heard_ns > 10 * S && heard_ns < 102 * S / 10, "{heard_ns}");
    let out_ns = heard_ns + 25 * S / 10;
    assert_eq!(seen.steps(), [(out_ns, runs_out(2))]);
    assert_eq!(seen.switched().last(), Some(&(out_ns, false)));
    let Safe::Within(s) = seen.promised("module.m2", Breakage::Hung) else {
        panic!("the timer brings it there");
    };
    let took_s = Ns(out_ns - 102 * S / 10).as_s_f64();
    assert!(took_s <= s, "{took_s} s, and {s} s are promised");
}

/// One of two who may ask is silent: what the other asks is withheld until both are heard.
#[test]
fn verif_while_one_who_may_ask_is_silent_nobody_is_obeyed() {
    let plan = lit(&in_a_row(&["running"; 3]), &[1, 2]);
    let cues = cue_text(40, 1)
        + &input("go", 5.0, 1, "go/m1")
        + &input("again", 15.0, 1, "go/m1")
        + &input("late", 25.0, 1, "go/m1")
        + &fault("f", "cut", "span.s2", 10.2, 20.2);
    let seen = rehearse(&plan, &cues);
    let out_ns = 10 * S + 2 * HOP_NS + 25 * S / 10;
    let steps = seen.steps();
    assert_eq!(steps[0], (out_ns, runs_out(2)));
    assert_eq!(steps[1], (15 * S + HOP_NS, FailSafeStep::Withholds));
    assert_eq!(steps[2].1, FailSafeStep::Over);
    assert_eq!(steps.len(), 3);
    let on_off: Vec<bool> = seen.switched().iter().map(|s| s.1).collect();
    assert_eq!(on_off, [true, false, true]);
    assert_eq!(seen.switched()[2].0, 25 * S + HOP_NS);
}

/// The module of the lamp hangs: its timer needs no program. One that loses its power is off at once, and its timer begins anew when it works again.
#[test]
fn verif_a_timer_runs_on_in_a_module_that_hangs_and_not_without_power() {
    let plan = lit(&in_a_row(&["running"; 2]), &[1]);
    let at = |kind: &str| {
        let cues = cue_text(40, 1)
            + &input("go", 5.0, 1, "go/m1")
            + &fault("f", kind, "module.m0", 10.2, 20.0);
        rehearse(&plan, &cues)
    };
    let hung = at("hang");
    let out_ns = 10 * S + HOP_NS + 25 * S / 10;
    assert_eq!(hung.steps(), [(out_ns, runs_out(1))]);
    assert_eq!(hung.switched()[1], (out_ns, false));
    assert_eq!(
        hung.promised("module.m0", Breakage::Hung),
        Safe::Within(2.5)
    );
    let dead = at("dead");
    assert_eq!(dead.steps(), []);
    assert_eq!(dead.switched()[1], (102 * S / 10, false));
    assert_eq!(
        dead.promised("module.m0", Breakage::Unpowered),
        Safe::Within(0.0)
    );
}

/// A whole line leaves its lamps alone; and one whose own heartbeat nobody hears has a timer that nothing winds up.
#[test]
fn verif_no_timer_runs_out_while_all_are_heard() {
    let nodes = in_a_row(&["running"; 3]);
    let calm = cue_text(60, 1) + &input("go", 5.0, 2, "go/m2");
    let whole = rehearse(&lit(&nodes, &[1, 2]), &calm);
    assert_eq!(whole.steps(), []);
    let deaf = lit(&nodes, &[2]).replace("when_told = \"health/#\"", "when_told = \"other/#\"");
    let deaf = rehearse(&deaf, &calm);
    let steps = deaf.steps();
    assert_eq!(
        steps[0],
        (25 * S / 10, FailSafeStep::RunsOut { silent: None })
    );
    assert_eq!(steps[1], (5 * S + 2 * HOP_NS, FailSafeStep::Withholds));
    assert_eq!(deaf.switched(), []);
}

/// Expectations on outputs hold all the time or not at all.
#[test]
fn verif_a_cue_sheet_can_expect_a_fail_safe_state() {
    let plan = lit(&in_a_row(&["running"; 3]), &[2]);
    let expect = |id: &str, rest: &str, from: &str, until: &str| {
        format!(
            "\n[expect.{id}]\nof = \"module.m0.output.lamp\"\n{rest}\nfrom = \"{from} s\"\nuntil = \"{until} s\"\n"
        )
    };
    let safe = "that = \"fail-safe\"";
    let cues = cue_text(30, 1)
        + &input("go", 5.0, 2, "go/m2")
        + &fault("f", "cut", "span.s2", 10.2, 29.0)
        + &expect("a-in-time", safe, "12.8", "29.9")
        + &expect("b-too-soon", safe, "12", "29.9")
        + &expect("c-lit", "that = \"stays\"\nto = \"on\"", "6", "12")
        + &expect("d-dark", "that = \"stays\"\nto = \"off\"", "6", "12");
    let seen = rehearse(&plan, &cues);
    let passed: Vec<bool> = seen.outcome.expectations.iter().map(|e| e.passed).collect();
    assert_eq!(
        passed,
        [true, false, true, false],
        "{:?}",
        seen.outcome.expectations
    );
    let said = &seen.outcome.expectations[1].said;
    assert_eq!(said, "on at 12.0000 s, expected off, its fail-safe state");
}
