//! What messages hold, from the plan or the event to the bytes that arrive.

use std::fs;
use std::process::Command;

use network::Value;
use plan::{CueSheet, Line};
use rehearsal::{Content, Record, What};

use crate::support::{line_and_cues, read, run};

/// The sample alert of our notes on payloads, packed and read there by a Python script of its own: 2026-01-01T00:00:15Z, a whistle,
/// 121.3 dB, 217 degrees, 47.26 m, no low battery.
const SAMPLE: &str = "e1338f4f6d93b2";
const FIELDS: &str = r#"fields = [
  { name = "t", time_bits = 24, time_step = "1 s", time_epoch = 2025-01-01 },
  { name = "class", values = ["none", "vessel", "whistle", "click", "impulse", "other"] },
  { name = "level", unit = "dB re 1 uPa", from = 60, to = 180, step = 0.5 },
  { name = "bearing", unit = "deg", from = 0, to = 359, step = 1 },
  { name = "depth", unit = "m", from = 0, to = 204.6, step = 0.1 },
  { name = "batt_low", flag = true },
]"#;

fn sample(change_plan: &[(&str, &str)], values: &str) -> (Line, CueSheet) {
    let mut changes = vec![
        ("size = \"200 B\"", FIELDS),
        (
            "do = [{ publish = \"alert/call\" }]",
            "do = [{ log = \"heard\" }]",
        ),
    ];
    changes.extend(change_plan);
    let input = format!(
        "wind = \"4 m/s\"\nstart = 2026-01-01T00:00:00Z\n[input.i]\nat = \"15 s\"\nmodule = \"module.ear\"\npublish = \"alert/call\"\nvalues = {{ {values} }}"
    );
    line_and_cues(&changes, &[("wind = \"4 m/s\"", &input)])
}

fn contents(
    records: &[Record],
    of: fn(&What) -> Option<&Option<std::sync::Arc<Content>>>,
) -> Vec<Content> {
    let all = records.iter().filter_map(|r| of(&r.what));
    all.map(|c| c.as_deref().unwrap().clone()).collect()
}

fn published(what: &What) -> Option<&Option<std::sync::Arc<Content>>> {
    match what {
        What::Published { content, .. } => Some(content),
        _ => None,
    }
}

fn delivered(what: &What) -> Option<&Option<std::sync::Arc<Content>>> {
    match what {
        What::Delivered { content, .. } => Some(content),
        _ => None,
    }
}

fn queued(what: &What) -> Option<&Option<std::sync::Arc<Content>>> {
    match what {
        What::Queued { content, .. } => Some(content),
        _ => None,
    }
}

const WHISTLE: &str = r#"t = "now", class = "whistle", level = 121.3, bearing = 217, depth = 47.26, batt_low = false"#;

#[test]
fn val_a_message_holds_the_bytes_of_the_sample_alert() {
    let (line, cues) = sample(&[], WHISTLE);
    let (outcome, records) = run(&line, &cues);
    let sent = contents(&records, published);
    assert_eq!(sent.len(), 1);
    assert_eq!(plan::hex(&sent[0].bytes), SAMPLE);
    // It arrives as it was sent, and goes ashore as it was told.
    assert_eq!(contents(&records, delivered), sent);
    assert_eq!(contents(&records, queued), sent);
    assert!(sent[0].clamped.is_empty() && outcome.clamped == [0]);
    // Delivered on terms it holds the same behind its number and its publisher's count of starts, both 0, and is forgotten afterwards: the engine holds itself to that at its end.
    let terms = "priority = 0\nsequence_bits = 8\nstarts_bits = 8\ndelivery = \"at-least-once\"\nretry = { after = \"2 s\", at_most = 3, acknowledgement = \"8 B\" }\n";
    let (line, cues) = sample(&[("priority = 0\n", terms)], WHISTLE);
    let (outcome, records) = run(&line, &cues);
    let on_terms = contents(&records, delivered);
    assert_eq!(plan::hex(&on_terms[0].bytes), format!("0000{SAMPLE}"));
    assert_eq!(on_terms[0].values, sent[0].values);
    assert_eq!(outcome.on_terms.acknowledged, 1);
}

/// The decoder in Python that is made of the topic reads from the bytes what the record says.
#[test]
fn val_python_reads_what_a_message_holds() {
    if !truth::has_program("content of messages read by Python", "python3") {
        return;
    }
    let (line, cues) = sample(&[], WHISTLE);
    let (_, records) = run(&line, &cues);
    let sent = &contents(&records, published)[0];
    let layout = assess::input::layout(&line.topics[0]).unwrap().unwrap();
    let folder = tempfile::tempdir().unwrap();
    let source = network::python(&layout, "alert/call");
    fs::write(folder.path().join("alert.py"), source).unwrap();
    let asked = format!(
        "import alert\nr = alert.decode(bytes.fromhex('{}'), 1767225620000000000)\nprint(r['t'], r['class'], r['level'], r['bearing'], r['depth'], r['batt_low'])",
        plan::hex(&sent.bytes)
    );
    let told = Command::new("python3")
        .args(["-c", &asked])
        .current_dir(folder.path())
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&told.stderr);
    assert!(told.status.success(), "{said}");
    let text = String::from_utf8(told.stdout).unwrap();
    let told: Vec<&str> = text.split_whitespace().collect();
    let numbers: Vec<f64> = [2, 3, 4].map(|i| told[i].parse().unwrap()).to_vec();
    let ours: Vec<f64> = sent
        .values
        .iter()
        .filter_map(|v| match v {
            Value::Number(x) => Some(*x),
            _ => None,
        })
        .collect();
    assert_eq!(numbers, ours);
    assert_eq!(told[0], "1767225615000000000");
    assert_eq!(sent.values[0], Value::Time(1_767_225_615_000_000_000));
    assert_eq!((told[1], sent.values[1]), ("whistle", Value::Choice(2)));
    assert_eq!((told[5], sent.values[5]), ("False", Value::Flag(false)));
}

#[test]
fn verif_what_is_not_given_is_no_data_and_never_zero() {
    let (line, cues) = sample(&[], r#"t = "now", class = "none", batt_low = true"#);
    let (_, records) = run(&line, &cues);
    let sent = &contents(&records, published)[0];
    assert_eq!(sent.values[2..5], [Value::NoData; 3]);
    assert_eq!(sent.values[5], Value::Flag(true));
}

/// What a detector heard is in the message, to half a step, and at the instants that its samples had.
#[test]
fn verif_measures_of_an_event_reach_the_message() {
    let fields = r#"fields = [
  { name = "level", unit = "dB re 1 uPa", from = 0, to = 200, step = 0.125 },
  { name = "peak", unit = "dB re 1 uPa", from = 0, to = 200, step = 0.125 },
  { name = "over", unit = "dB", from = 0, to = 100, step = 0.125 },
  { name = "length", unit = "s", from = 0, to = 10, step = 0.0625 },
  { name = "begin", time_bits = 40, time_step = "1 ms" },
  { name = "end", time_bits = 40, time_step = "1 ms" },
]"#;
    let act = r#"do = [{ publish = "alert/call", values = { level = "event.level", peak = "event.peak", over = "event.score", length = "event.length", begin = "event.begin", end = "event.end" } }]"#;
    let (line, cues) = line_and_cues(
        &[
            ("size = \"200 B\"", fields),
            ("do = [{ publish = \"alert/call\" }]", act),
            ("detector.call.confirmed", "detector.call.ended"),
        ],
        &[],
    );
    let (_, records) = run(&line, &cues);
    let events: Vec<&Record> = records
        .iter()
        .filter(|r| matches!(r.what, What::Event { .. }))
        .collect();
    let sent = contents(&records, published);
    assert_eq!((events.len(), sent.len()), (2, 2));
    let start_ns = line.deployment.start.unwrap().as_nanosecond() as i64;
    let rate_hz = 4000.0;
    for (record, content) in events.iter().zip(&sent) {
        let What::Event { event, .. } = &record.what else {
            unreachable!()
        };
        let near = |value: &Value, wanted: f64, step: f64| match value {
            Value::Number(x) => assert!((x - wanted).abs() <= step / 2.0, "{x} for {wanted}"),
            other => panic!("{other:?}"),
        };
        near(&content.values[0], event.mean_level_db, 0.125);
        near(&content.values[1], event.peak_level_db, 0.125);
        near(&content.values[2], event.score_db, 0.125);
        let length_s = (event.end_sample - event.begin_sample) as f64 / rate_hz;
        near(&content.values[3], length_s, 0.0625);
        let (Value::Time(begin), Value::Time(end)) = (content.values[4], content.values[5]) else {
            panic!("{content:?}");
        };
        let length_ns = (length_s * 1e9) as i64;
        assert!((end - begin - length_ns).abs() <= 1_000_000);
        // The first sample counts from the beginning of the rehearsal: no ear has restarted.
        let begin_ns = start_ns + (event.begin_sample as f64 / rate_hz * 1e9) as i64;
        assert!((begin - begin_ns).abs() <= 2_000_000, "{begin} {begin_ns}");
    }
}

/// A behaviour that is told passes on what it was told.
#[test]
fn verif_a_field_of_what_was_told_goes_on() {
    let (line, cues) = sample(
        &[(
            "[behaviour.act]",
            "[topic.again]\nfields = [{ name = \"level\", unit = \"dB re 1 uPa\", from = 0, to = 180, step = 1 }]\n[behaviour.on]\non = \"module.base\"\nwhen_told = \"alert/call\"\ndo = [{ publish = \"again\", values = { level = \"message.level\" } }]\n[behaviour.act]",
        )],
        WHISTLE,
    );
    let (_, records) = run(&line, &cues);
    let sent = contents(&records, published);
    // 121.3 is packed in halves as 121.5, which is packed in wholes as 122.
    assert_eq!(sent[1].values, [Value::Number(122.0)]);
}

/// A value outside its field is sent as the end of the range, and told.
#[test]
fn verif_what_lies_outside_its_field_is_told() {
    let act = r#"do = [{ publish = "alert/call", values = { level = "event.level" } }]"#;
    let (line, cues) = line_and_cues(
        &[
            (
                "size = \"200 B\"",
                r#"fields = [{ name = "level", unit = "dB re 1 uPa", from = 0, to = 50, step = 1 }]"#,
            ),
            ("do = [{ publish = \"alert/call\" }]", act),
        ],
        &[],
    );
    let (outcome, records) = run(&line, &cues);
    let sent = contents(&records, published);
    assert_eq!(outcome.clamped, [2]);
    for content in sent {
        assert_eq!(content.values, [Value::Number(50.0)]);
        assert_eq!(content.clamped, [0]);
    }
}

/// Without a beginning no instant can be told: it is said, not made up.
#[test]
fn verif_now_needs_a_beginning() {
    let text = |name: &str| {
        let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/data/");
        fs::read_to_string(format!("{folder}{name}")).unwrap()
    };
    let plan = text("small.toml").replace("size = \"200 B\"", FIELDS);
    let input = format!(
        "[input.i]\nat = \"15 s\"\nmodule = \"module.ear\"\npublish = \"alert/call\"\nvalues = {{ {WHISTLE} }}\n"
    );
    let (mut line, cues) = read(&plan, &(text("cues.toml") + &input));
    line.deployment.start = None;
    let refused = rehearsal::run(&line, &cues, &mut |_| {}, &mut |_| true).unwrap_err();
    assert!(refused.to_string().contains("instants"), "{refused}");
}
