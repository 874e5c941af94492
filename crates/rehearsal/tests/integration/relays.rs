//! What goes through a module that is hung, dead, or never hands on.

use network::DropReason;
use plan::ModuleIx;
use rehearsal::{Loss, What};
use timeline::Ns;

use crate::chain::{cue_text, fault, in_a_row, input, line_text, told, topic};
use crate::support::{read, run};

/// Module and time.
type Copies = Vec<(usize, Ns)>;
/// Module and reason.
type Losses = Vec<(usize, Loss)>;

/// A message from module 2 through module 1 to module 0, at 10 s; who has it, with the time, and who has not, with the reason.
fn through(data: &'static str, of_module_1: Option<&str>) -> (Copies, Losses) {
    let mut plan = line_text(&in_a_row(&["running", data, "running"]), 300, 100);
    plan += &topic("go");
    for module in 0..2 {
        plan += &told(&format!("b{module}"), module, "go", r#"{ log = "told" }"#);
    }
    let mut cues = cue_text(30, 1) + &input("one", 10.0, 2, "go");
    if let Some(kind) = of_module_1 {
        cues += &fault("f", kind, "module.m1", 5.0, 20.0);
    }
    let (line, cues) = read(&plan, &cues);
    let (outcome, records) = run(&line, &cues);
    let (mut has, mut lost) = (Vec::new(), Vec::new());
    for r in &records {
        match r.what {
            What::Delivered { module, .. } => has.push((module.0, r.at)),
            What::Lost {
                module: ModuleIx(module),
                why,
                ..
            } => lost.push((module, why)),
            _ => {}
        }
    }
    assert_eq!(outcome.copies.delivered, has.len() as u64);
    assert_eq!(outcome.copies.lost, lost.len() as u64);
    (has, lost)
}

/// When a copy is where, worked by hand: 38 bytes of Ethernet (IEEE 802.3), 48 of IPv6 and UDP (RFC 8200, RFC 768) and 200 of
/// payload at 10 Mb/s, 100 m at 5 ns/m, and 100 us of processing, once or twice.
fn after(hops: u64) -> Ns {
    Ns(10_000_000_000 + hops * ((38 + 48 + 200) * 8 * 100 + 500 + 100_000))
}

#[test]
fn verif_a_module_at_work_takes_and_hands_on() {
    for data in ["always", "powered", "running"] {
        let (has, lost) = through(data, None);
        assert_eq!(has, [(1, after(1)), (0, after(2))], "{data}");
        assert_eq!(lost, [], "{data}");
    }
}

#[test]
fn verif_a_module_that_never_passes_data_takes_and_hands_nothing_on() {
    for (fault, at_module_1) in [(None, true), (Some("hang"), false), (Some("dead"), false)] {
        let (has, lost) = through("never", fault);
        assert_eq!(
            has,
            if at_module_1 {
                vec![(1, after(1))]
            } else {
                vec![]
            }
        );
        let beyond = (0, Loss::Network(DropReason::NoPath));
        assert!(lost.contains(&beyond), "{lost:?}");
        assert_eq!(lost.len(), if at_module_1 { 1 } else { 2 });
    }
}

#[test]
fn verif_a_module_that_always_passes_data_hands_on_while_it_is_hung_or_dead() {
    for fault in ["hang", "dead"] {
        let (has, lost) = through("always", Some(fault));
        assert_eq!(has, [(0, after(2))], "{fault}");
        assert_eq!(lost, [(1, Loss::NotWorking)], "{fault}");
    }
}

#[test]
fn verif_a_module_passes_data_while_powered_or_running_as_it_says() {
    let (has, lost) = through("powered", Some("hang"));
    assert_eq!(
        (has, lost),
        (vec![(0, after(2))], vec![(1, Loss::NotWorking)])
    );
    for (data, fault) in [
        ("powered", "dead"),
        ("running", "hang"),
        ("running", "dead"),
    ] {
        let (has, lost) = through(data, Some(fault));
        assert_eq!(has, [], "{data}, {fault}");
        assert_eq!(lost.len(), 2, "{data}, {fault}: {lost:?}");
    }
}

/// A tap hands on what it holds of others, and sends nothing more of what it published itself: module 2 falls dead while its frame of 228.8 us is on the cable for 100 us.
#[test]
fn verif_what_a_tap_published_and_has_not_sent_is_lost() {
    for kind in ["dead", "hang"] {
        let mut plan = line_text(&in_a_row(&["running", "running", "always"]), 300, 100);
        plan += &topic("go");
        plan += &told("b0", 0, "go", r#"{ log = "told" }"#);
        let cues = cue_text(30, 1) + &input("one", 10.0, 2, "go");
        for (at_s, arrives) in [(10.0001, false), (10.0003, true)] {
            let (line, cues) = read(
                &plan,
                &(cues.clone() + &fault("f", kind, "module.m2", at_s, 20.0)),
            );
            let (outcome, records) = run(&line, &cues);
            let lost: Vec<(f64, Loss)> = records
                .iter()
                .filter_map(|r| match r.what {
                    What::Lost { why, .. } => Some((r.at.as_s_f64(), why)),
                    _ => None,
                })
                .collect();
            let copies = outcome.copies;
            if arrives {
                assert_eq!(
                    (copies.delivered, copies.lost, lost.len()),
                    (1, 0, 0),
                    "{kind}"
                );
            } else {
                assert_eq!((copies.delivered, copies.lost), (0, 1), "{kind}");
                assert_eq!(lost, [(at_s, Loss::PublisherStopped)], "{kind}");
            }
        }
    }
}

/// A module whose voltage is never enough does not work, and still is a tap.
#[test]
fn verif_a_tap_without_power_hands_on() {
    let nodes = in_a_row(&["running", "always", "running"]);
    let mut plan = line_text(&nodes, 300, 100) + &topic("go");
    plan += &told("b0", 0, "go", r#"{ log = "told" }"#);
    plan = plan.replacen(
        "[module.m1]\nposition = { depth = \"20 m\" }\ninput = { minimum = \"20 V\"",
        "[module.m1]\nposition = { depth = \"20 m\" }\ninput = { minimum = \"50 V\"",
        1,
    );
    assert!(plan.contains("minimum = \"50 V\""));
    let (line, cues) = read(&plan, &(cue_text(30, 1) + &input("one", 10.0, 2, "go")));
    let (_, records) = run(&line, &cues);
    let down = records
        .iter()
        .any(|r| matches!(r.what, What::Down { module, .. } if module.0 == 1));
    assert!(down);
    let reached: Vec<Ns> = records
        .iter()
        .filter(|r| matches!(r.what, What::Delivered { module, .. } if module.0 == 0))
        .map(|r| r.at)
        .collect();
    assert_eq!(reached, [after(2)]);
}
