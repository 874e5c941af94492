//! What comes in: from a program that stands in for a module, and what is not taken.

use std::time::Duration;

use network::Value;
use rehearsal::What;

use crate::broker::Broker;
use crate::client::Client;
use crate::line::{How, PREFIX, beside, cue_text, live, offline, plan_text, read};
use crate::mirror::is_end;

/// A second program stands in for the middle module: what the line delivers to the base it answers with an alert. The line
/// delivers that, the lamp lights, and the recorded sheet gives the same records without a broker.
#[test]
fn verif_a_program_stands_in_for_a_module_and_what_it_said_replays() {
    let Some(broker) = Broker::start() else {
        return;
    };
    let port = broker.port;
    let mut second = beside(port, "delivered/base/#");
    let program = std::thread::spawn(move || {
        let mut answers = 0;
        loop {
            let heard = second.next(Duration::from_secs(60)).unwrap();
            if is_end(&heard) {
                return answers;
            }
            if heard.topic.ends_with("state/all") {
                let text = format!(
                    r#"{{"class":"whistle","level":{},"at":"2027-01-01T00:00:0{}Z"}}"#,
                    100 + answers,
                    answers % 10
                );
                let to = format!("{PREFIX}/in/mid/alert");
                second.publish(&to, text.as_bytes(), Some("application/json"));
                answers += 1;
            }
        }
    });
    let (line, cues) = read(&plan_text(), &cue_text(11));
    let how = How {
        speed: 4.0,
        ..How::default()
    };
    let ran = live(&line, &cues, &how, port, &mut |_| {}).unwrap();
    let answers = program.join().unwrap();
    assert!((3..=5).contains(&answers), "{answers}");
    let entered = &ran.lived.entered;
    assert!(entered.len() >= 3, "{:?}", ran.lived);
    assert_eq!(ran.lived.refusals(), 0);
    // Two steps above the first.
    assert_eq!(
        entered[1].message.values.as_ref().unwrap()[1],
        Value::Number(101.0)
    );
    let lit = |w: &What| matches!(w, What::Switched { on: true, .. });
    assert!(ran.records.iter().any(|r| lit(&r.what)), "the lamp lights");

    let layouts: Vec<_> = line
        .topics
        .iter()
        .map(|t| assess::input::layout(t).unwrap())
        .collect();
    let sheet = live::replay_sheet(&cue_text(11), &line, &cues, [&layouts, &[]], &ran.lived);
    let (line, cues) = read(&plan_text(), &sheet);
    let (outcome, records) = offline(&line, &cues);
    assert_eq!(records, ran.records);
    assert_eq!(format!("{outcome:?}"), format!("{:?}", ran.outcome));
}

/// Thousands at once: each enters, or is counted as refused; what the topic's own limit keeps back is in the records. On a topic delivered
/// at least once and held, all of it replays.
#[test]
fn verif_a_flood_from_the_world_is_taken_whole_and_replays() {
    const COUNT: u64 = 3000;
    let Some(broker) = Broker::start() else {
        return;
    };
    let plan = plan_text().replace(
        "[topic.\"state/all\"]\n",
        "[topic.\"state/all\"]\nat_most = \"100 per s\"\ndelivery = \"at-least-once\"\nretained = true\nRETRY\n",
    );
    let retry = "retry = { after = \"2 s\", at_most = 3, acknowledgement = \"8 B\" }";
    let plan = plan.replace("RETRY", retry);
    let (line, cues) = read(&plan, &cue_text(6));
    let mut sender = Client::connect(broker.port, "sender");
    let mut sent = false;
    let mut during = |at_s: f64| {
        if at_s > 1.0 && !sent {
            sent = true;
            for i in 0..COUNT {
                let bytes = if i % 10 == 0 { 39 } else { 40 };
                sender.publish(&format!("{PREFIX}/in/mid/state/all"), &vec![0; bytes], None);
            }
        }
    };
    let how = How {
        speed: 1.0,
        ..How::default()
    };
    let ran = live(&line, &cues, &how, broker.port, &mut during).unwrap();
    assert_eq!(ran.lived.refusals(), COUNT / 10);
    assert_eq!(ran.lived.entered.len() as u64, COUNT - COUNT / 10);
    let sheet = live::replay_sheet(&cue_text(6), &line, &cues, [&[None, None], &[]], &ran.lived);
    let (line, cues) = read(&plan, &sheet);
    let (outcome, records) = offline(&line, &cues);
    assert_eq!(records, ran.records);
    assert_eq!(format!("{outcome:?}"), format!("{:?}", ran.outcome));
    let kept_back = records
        .iter()
        .filter(|r| matches!(r.what, What::Refused { .. }));
    assert!(kept_back.count() > 2000);
}

/// Each is told at PREFIX/refused and counted by its kind; a good one among them is taken, and the rehearsal is as without them.
#[test]
fn verif_malformed_messages_are_refused_and_counted() {
    let Some(broker) = Broker::start() else {
        return;
    };
    let (line, cues) = read(&plan_text(), &cue_text(12));
    let layout = assess::input::layout(&line.topics[0]).unwrap().unwrap();
    let good = layout
        .pack(
            network::Numbers::NONE,
            &[
                Value::Choice(1),
                Value::Number(99.5),
                Value::Time(1_798_761_605_000_000_000),
            ],
        )
        .unwrap()
        .bytes;
    let mut wrong_check = good.clone();
    wrong_check[2] ^= 4;
    let mut wrong_schema = good.clone();
    wrong_schema[0] = 9;
    let check = network::crc16(&wrong_schema[..good.len() - 2]).to_be_bytes();
    wrong_schema[good.len() - 2..].copy_from_slice(&check);
    let large = vec![0; 65_537];
    // Clears the screen of whoever shows it, and is long.
    let rude = format!(r#"{{"\u001b[2J{}":1}}"#, "x".repeat(60_000));
    let mut sender = Client::connect(broker.port, "sender");
    sender.subscribe(&format!("{PREFIX}/refused"));
    sender.publish_retained(&format!("{PREFIX}/in/mid/alert"), &good);
    let mut sent = false;
    let mut during = |at_s: f64| {
        if at_s > 1.0 && !sent {
            sent = true;
            let mut send = |place: &str, payload: &[u8], content_type| {
                sender.publish(&format!("{PREFIX}/in/{place}"), payload, content_type);
            };
            send("mid/alert", &good[1..], None);
            send("mid/alert", &wrong_check, None);
            send("mid/alert", &wrong_schema, None);
            send("mid/alert", &[], None);
            send("mid/alert", &large, None);
            // More than the broker may hand on.
            send("mid/alert", &[0; 200_000], None);
            send("mid/alert", rude.as_bytes(), Some("application/json"));
            send("mid/alert", b"{\"level\":1}", Some("application/json"));
            send("mid/alert", &good, Some("text/plain"));
            send("mid/state/all", &[0; 39], None);
            send("nobody/alert", &good, None);
            send("mid/nothing", &good, None);
            send("mid", &good, None);
            send("mid/alert", &good, None);
            send("mid/state/all", &[], None);
        }
    };
    let how = How {
        speed: 4.0,
        ..How::default()
    };
    let ran = live(&line, &cues, &how, broker.port, &mut during).unwrap();
    let refused: Vec<(&str, u64)> = ran.lived.refused.iter().map(|(w, n)| (*w, *n)).collect();
    assert_eq!(
        refused,
        [
            ("large", 1),
            ("module", 1),
            ("payload", 8),
            ("place", 1),
            ("topic", 1)
        ],
        "{:?}",
        ran.told
    );
    assert_eq!(ran.lived.entered.len(), 2);
    assert_eq!(ran.told.len(), 12);
    let told: Vec<String> = (0..12)
        .map(|_| {
            let heard = sender.next(Duration::from_secs(10)).unwrap();
            String::from_utf8(heard.payload).unwrap()
        })
        .collect();
    for part in [
        "the check says",
        "schema id 9",
        "7 bytes were given; a message has 8",
        "no module `nobody`",
        "no topic `nothing`",
        "65537",
        "there is no field `\\\\u{1b}[2Jxxx",
    ] {
        assert!(told.iter().any(|t| t.contains(part)), "{part}: {told:?}");
    }
    assert!(told.iter().all(|t| t.len() < 600), "{told:?}");
    let alerts = |records: &[rehearsal::Record]| {
        let alert = |w: &What| matches!(w, What::Published { topic, .. } if topic.0 == 0);
        records.iter().filter(|r| alert(&r.what)).count()
    };
    // What was retained is of another time: the subscription does not ask for it.
    assert_eq!(alerts(&ran.records), 1);
}

/// What comes in when the link is just there, and while it is closed, is taken or counted like all other.
#[test]
fn verif_what_comes_in_before_and_after_is_counted() {
    let Some(broker) = Broker::start() else {
        return;
    };
    let link = crate::line::link(broker.port, 10);
    let mut sender = Client::connect(broker.port, "sender");
    let place = format!("{PREFIX}/in/mid/alert");
    for _ in 0..3 {
        sender.publish(&place, b"x", None);
    }
    std::thread::sleep(Duration::from_millis(500));
    let mut over = Vec::new();
    let counts = link.close(Duration::ZERO, None, &mut |message| {
        over.push(message.topic.clone());
    });
    assert_eq!(over, vec![place.into_bytes(); 3], "{counts:?}");
}

/// Escapes of a terminal (ECMA-48) and marks that turn the writing are shown by their numbers; what is long is cut.
#[test]
fn verif_text_of_the_world_is_shown_harmless() {
    assert_eq!(live::shown("ähnlich `a\\b`"), "ähnlich `a\\b`");
    assert_eq!(
        live::shown("\u{1b}]0;x\u{7}\r\n\u{9b}2J\u{202e}"),
        "\\u{1b}]0;x\\u{7}\\u{d}\\u{a}\\u{9b}2J\\u{202e}"
    );
    let long = live::shown(&"é".repeat(live::MOST_SHOWN + 1));
    assert_eq!(
        long,
        "é".repeat(live::MOST_SHOWN) + " ... (402 bytes in all)"
    );
}
