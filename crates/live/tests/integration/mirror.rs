//! What a rehearsal says, as a second client hears it.

use std::time::{Duration, Instant};

use live::{Form, LiveError};
use rehearsal::{RehearsalError, What};

use crate::broker::Broker;
use crate::client::{Client, Heard};
use crate::line::{How, PREFIX, cue_text, live, offline, plan_text, read};

fn state(heard: &Heard) -> String {
    let json: serde_json::Value = serde_json::from_slice(&heard.payload).unwrap();
    json["state"].as_str().unwrap().to_owned()
}

pub(crate) fn is_end(heard: &Heard) -> bool {
    heard.topic.ends_with("/status") && state(heard) == "ended"
}

/// Every message that the rehearsal publishes and delivers without a broker is heard once, in its order, with its number, its
/// instant and its bytes; never before it is due.
#[test]
fn verif_all_that_is_published_and_delivered_is_mirrored_and_never_ahead() {
    let Some(broker) = Broker::start() else {
        return;
    };
    let input = r#"
[input.one]
at = "5.25 s"
module = "module.mid"
publish = "alert"
values = { class = "whistle", level = 121.5, at = "now" }
"#;
    let (line, cues) = read(&plan_text(), &(cue_text(30) + input));
    let (_, records) = offline(&line, &cues);
    let mut ear = Client::connect(broker.port, "ear");
    ear.subscribe(&format!("{PREFIX}/#"));
    let port = broker.port;
    let how = How {
        speed: 15.0,
        ..How::default()
    };
    let begun = Instant::now();
    let run = std::thread::spawn(move || {
        let (line, cues) = read(&plan_text(), &(cue_text(30) + input));
        live(&line, &cues, &how, port, &mut |_| {}).unwrap()
    });
    let mut heard = Vec::new();
    loop {
        let next = ear.next(Duration::from_secs(60)).unwrap();
        if next.topic.ends_with("/status") {
            if is_end(&next) {
                break;
            }
            continue;
        }
        let at_s = next.property("at_ns").unwrap().parse::<f64>().unwrap() / 1e9;
        let passed_s = begun.elapsed().as_secs_f64();
        assert!(at_s <= 15.0 * passed_s, "{next:?} after {passed_s} s");
        heard.push(next);
    }
    let run = run.join().unwrap();
    assert_eq!(
        run.records, records,
        "a broker that only listens changes nothing"
    );
    let expected: Vec<(String, String, String, Vec<u8>)> = records
        .iter()
        .filter_map(|r| {
            let (word, module, topic, message, content) = match &r.what {
                What::Published {
                    module,
                    topic,
                    message,
                    content,
                } => ("published", module, topic, message, content),
                What::Delivered {
                    module,
                    topic,
                    message,
                    content,
                    ..
                } => ("delivered", module, topic, message, content),
                _ => return None,
            };
            let name = format!(
                "{PREFIX}/{word}/{}/{}",
                line.modules[module.0].id, line.topics[topic.0].name
            );
            let bytes = content.as_ref().map_or(Vec::new(), |c| c.bytes.to_vec());
            Some((name, message.0.to_string(), r.at.0.to_string(), bytes))
        })
        .collect();
    let got: Vec<(String, String, String, Vec<u8>)> = heard
        .iter()
        .map(|h| {
            let property = |name| h.property(name).unwrap().to_owned();
            (
                h.topic.clone(),
                property("message"),
                property("at_ns"),
                h.payload.clone(),
            )
        })
        .collect();
    assert_eq!(got, expected);
    // 14 beats, each delivered to the base, and the alert.
    assert_eq!(got.len(), 30);
    assert_eq!(run.lived.mirrored, 30);
    let alert = heard
        .iter()
        .find(|h| h.topic.ends_with("published/mid/alert"))
        .unwrap();
    assert_eq!(alert.payload[0], 7, "the schema id");
    assert_eq!(
        alert.content_type.as_deref(),
        Some("application/octet-stream")
    );
    let beat = heard
        .iter()
        .find(|h| h.topic.ends_with("state/all"))
        .unwrap();
    assert_eq!(
        (beat.property("content"), beat.content_type.clone()),
        (Some("not said"), None)
    );
    assert_eq!(run.counts().not_told(), 0);
}

/// Whoever comes later is told the state; when the link is lost, the broker tells that.
#[test]
fn verif_the_state_is_kept_and_a_lost_link_is_told() {
    let Some(broker) = Broker::start() else {
        return;
    };
    let (line, cues) = read(&plan_text(), &cue_text(4));
    let ran = live(&line, &cues, &How::default(), broker.port, &mut |_| {}).unwrap();
    assert!(ran.lived.latest < Duration::from_secs(5), "{:?}", ran.lived);
    let mut late = Client::connect(broker.port, "late");
    late.subscribe(&format!("{PREFIX}/status"));
    let kept = late.next(Duration::from_secs(10)).unwrap();
    assert!(kept.retained);
    assert_eq!(state(&kept), "ended");
    let json: serde_json::Value = serde_json::from_slice(&kept.payload).unwrap();
    assert_eq!(json["at_s"], 4.0);
    assert_eq!(json["entered"], 0);
    // One that is stopped says so, and what dies takes no leave.
    let stopped = crate::line::stopped(&line, &cues, broker.port);
    assert!(matches!(
        stopped,
        LiveError::Rehearsal(error) if matches!(*error, RehearsalError::Cancelled { .. })
    ));
    let told = late.until(|h| state(h) == "stopped");
    assert!(told.len() <= 3, "{told:?}");
    let link = crate::line::link(broker.port, 10);
    drop(link);
    let lost = late.next(Duration::from_secs(10)).unwrap();
    assert_eq!(state(&lost), "lost");
}

#[test]
fn verif_messages_are_mirrored_as_json() {
    let Some(broker) = Broker::start() else {
        return;
    };
    let input = "\n[input.one]\nat = \"1 s\"\nmodule = \"module.mid\"\npublish = \"alert\"\nvalues = { class = \"vessel\", at = \"now\" }\n";
    let (line, cues) = read(&plan_text(), &(cue_text(3) + input));
    let mut ear = Client::connect(broker.port, "ear");
    ear.subscribe(&format!("{PREFIX}/published/mid/#"));
    let how = How {
        form: Form::Json,
        ..How::default()
    };
    live(&line, &cues, &how, broker.port, &mut |_| {}).unwrap();
    let heard = ear.next(Duration::from_secs(10)).unwrap();
    assert_eq!(heard.content_type.as_deref(), Some("application/json"));
    assert_eq!(
        String::from_utf8(heard.payload).unwrap(),
        r#"{"class":"vessel","level":null,"at":"2027-01-01T00:00:01Z"}"#
    );
}
