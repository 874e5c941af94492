//! No delivery is later than its bound while nothing is amiss: with what the cue sheet publishes besides, with acknowledgements, and after faults.

use rehearsal::{Record, What};

use crate::chain::{Node, cue_text, fault, in_a_row, input, line_text, told};
use crate::support::{read, run};

const RETRY: &str = "delivery = \"at-least-once\"\nretry = { after = \"100 s\", at_most = 3, acknowledgement = \"ACK\" }\n";

/// Two modules with a slow link.
fn two(passes_data: &'static str) -> String {
    let slow = |node: Node| Node {
        rate_kbit_s: 100,
        ..node
    };
    let nodes: Vec<Node> = in_a_row(&[passes_data; 2]).into_iter().map(slow).collect();
    line_text(&nodes, 300, 100)
}

fn topic(name: &str, priority: u8, bytes: u32, at_most: &str) -> String {
    let limit = match at_most {
        "" => String::new(),
        rate => format!("at_most = \"{rate}\"\n"),
    };
    format!("\n[topic.{name}]\npriority = {priority}\nsize = \"{bytes} B\"\n{limit}")
}

fn each(id: &str, module: usize, period_s: f64, actions: &str) -> String {
    format!(
        "\n[behaviour.{id}]\non = \"module.m{module}\"\neach = \"{period_s} s\"\ndo = [{actions}]\n"
    )
}

fn log(module: usize, topic: &str) -> String {
    told(
        &format!("hears-{topic}"),
        module,
        topic,
        r#"{ log = "told" }"#,
    )
}

fn beyond(records: &[Record]) -> Vec<&What> {
    let what = records.iter().map(|r| &r.what);
    what.filter(|w| matches!(w, What::BeyondBound { .. }))
        .collect()
}

/// Whether each delivery that took part was late by the bound of `check`; its topic by its number.
fn late(records: &[Record], of: usize) -> Vec<Option<bool>> {
    let told = records.iter().filter_map(|r| match &r.what {
        What::Delivered { topic, late, .. } if topic.0 == of => Some(*late),
        _ => None,
    });
    told.collect()
}

/// A module without a behaviour for it publishes 5000 bytes beside acknowledgements of 8 bytes: each has its own bound.
#[test]
fn verif_what_comes_in_has_its_own_bound_beside_acknowledgements() {
    let plan = two("running")
        + &topic("a", 0, 20, "1 per s")
        + &RETRY.replace("ACK", "8 B")
        + &topic("b", 5, 5000, "1 per s")
        + &each("pub", 1, 10.0, r#"{ publish = "a" }"#)
        + &log(0, "a")
        + &log(1, "b");
    let inputs = |module: usize, topic: &str| {
        input("i", 15.0, module, topic)
            + &input("j", 15.5, module, topic)
            + &input("k", 25.001, module, topic)
    };
    let (line, cues) = read(&plan, &(cue_text(60, 1) + &inputs(0, "b")));
    let (outcome, records) = run(&line, &cues);
    assert_eq!(
        late(&records, 1).len(),
        2,
        "one is held back by the topic's limit"
    );
    assert_eq!(beyond(&records), Vec::<&What>::new());
    assert_eq!(outcome.on_terms.again, 0);
    // And where the input publishes what is acknowledged itself.
    let (line, cues) = read(&plan, &(cue_text(60, 1) + &inputs(1, "a")));
    let (_, records) = run(&line, &cues);
    assert!(late(&records, 0).len() >= 7);
    assert_eq!(beyond(&records), Vec::<&What>::new());
}

/// Nothing limits `u`, and `t` waits behind it: what acknowledges `t` comes back to back afterwards, and holds up `v` on the way back. So `v` has no bound.
#[test]
fn verif_acknowledgements_of_what_has_no_bound_leave_none_to_what_shares_their_way() {
    let fifty = vec![r#"{ publish = "u" }"#; 50].join(", ");
    let plan = |limit: &str| {
        two("running")
            + &topic("u", 0, 1400, limit)
            + &topic("t", 5, 20, "2 per s")
            + &RETRY.replace("ACK", "1000 B")
            + &topic("v", 5, 20, "1 per s")
            + &each("u", 1, 100.0, &fifty)
            + &each("again", 1, 1000.0, r#"{ publish = "u" }"#)
            + &each("t", 1, 0.5, r#"{ publish = "t" }"#)
            + &each("v", 0, 1.0, r#"{ publish = "v" }"#)
            + &log(0, "u")
            + &log(0, "t")
            + &log(1, "v")
    };
    let records_of = |limit: &str| {
        let (line, cues) = read(&plan(limit), &cue_text(200, 1));
        run(&line, &cues).1
    };
    let records = records_of("");
    let v = late(&records, 2);
    assert!(v.len() > 150);
    assert!(v.iter().all(Option::is_none), "no bound is known");
    // With a limit on `u` all have one, and keep it.
    let records = records_of("51 per 100 s");
    let v = late(&records, 2);
    assert!(v.len() > 150 && v.iter().all(|late| *late == Some(false)));
    assert_eq!(beyond(&records), Vec::<&What>::new());
}

/// A module hangs and is there again at an instant at which others publish: what its publisher held for it, or kept, goes at that instant too.
#[test]
fn verif_what_was_held_or_kept_is_no_delay_of_a_calm_line() {
    for terms in [
        "retained = true\n",
        "keep = { messages = 9, longest = \"1 h\" }\n",
    ] {
        let plan = two("always")
            + &topic("r", 0, 5000, "1 per 10 s")
            + terms
            + &topic("v", 5, 20, "10 per s")
            + &each("r", 0, 10.0, r#"{ publish = "r" }"#)
            + &each("v", 0, 0.1, r#"{ publish = "v" }"#)
            + &log(1, "r")
            + &log(1, "v");
        for until_s in [126.899, 126.9, 126.95] {
            let cues = cue_text(200, 1) + &fault("h", "hang", "module.m1", 119.5, until_s);
            let (line, cues) = read(&plan, &cues);
            let (_, records) = run(&line, &cues);
            let sent = records
                .iter()
                .filter(|r| matches!(r.what, What::Posted { .. }));
            assert!(sent.count() > 0, "something waited");
            assert_eq!(beyond(&records), Vec::<&What>::new(), "{terms} {until_s}");
        }
    }
}
