//! Questions to a module that a program stands in for, by the request and response of OASIS MQTT 5.0, section 4.10.

use std::time::Duration;

use network::Value;
use rehearsal::{AskStep, What};

use crate::broker::Broker;
use crate::line::{How, PREFIX, beside, cue_text, live, offline, plan_text, read};
use crate::mirror::is_end;

/// The base asks the middle module each second and a half, which no behaviour answers.
fn asking() -> String {
    plan_text()
        + r#"
[request.depth]
to = "module.mid"
question_fields = [{ name = "over", unit = "s", from = 0, to = 60, step = 1 }]
answer_fields = [{ name = "depth", unit = "m", from = 0, to = 100, step = 0.5 }]
within = "1 s"
[behaviour.asks]
on = "module.base"
each = "1500 ms"
do = [{ ask = "request.depth", values = { over = 7 } }]
[behaviour.knows]
on = "module.base"
when_answered = "request.depth"
do = [{ switch = "module.base.output.lamp", to = "on", for = "1 s" }]
"#
}

/// A program that answers what it is asked, once more each time, and then what nobody asked: the first of each counts, the rest is told and
/// counted, and the recorded sheet gives the same records without a broker.
#[test]
fn val_a_program_answers_in_place_of_a_module_and_its_answers_replay() {
    let Some(broker) = Broker::start() else {
        return;
    };
    let port = broker.port;
    let mut second = beside(port, "asked/mid/#");
    let program = std::thread::spawn(move || {
        let mut answered = 0;
        loop {
            let heard = second.next(Duration::from_secs(60)).unwrap();
            if is_end(&heard) {
                return answered;
            }
            if heard.topic != format!("{PREFIX}/asked/mid/depth") {
                continue;
            }
            // Seven in six bits and no data beside them: the packed question.
            assert_eq!(
                heard.content_type.as_deref(),
                Some("application/octet-stream")
            );
            assert_eq!(heard.payload.len(), 1);
            let to = heard.response_topic.unwrap();
            let correlation = heard.correlation.unwrap();
            assert_eq!(to, format!("{PREFIX}/answer/mid/depth"));
            let text = format!(r#"{{"depth":{}}}"#, 20 + answered);
            second.answer(&to, &correlation, text.as_bytes());
            second.answer(&to, &correlation, text.as_bytes());
            if answered == 0 {
                // Of no question, of another module's, without its data, and none of the answer's fields.
                second.answer(&to, b"77", text.as_bytes());
                second.answer(
                    &format!("{PREFIX}/answer/far/depth"),
                    &correlation,
                    text.as_bytes(),
                );
                second.answer(&to, b"\xff", text.as_bytes());
                second.answer(&to, &correlation, b"{}");
            }
            answered += 1;
        }
    });
    let (line, cues) = read(&asking(), &cue_text(8));
    let how = How {
        speed: 2.0,
        ..How::default()
    };
    let ran = live(&line, &cues, &how, port, &mut |_| {}).unwrap();
    let answered = program.join().unwrap();
    assert!(answered >= 4, "{answered}");
    let answers = &ran.lived.answers;
    assert!(answers.len() >= 4, "{:?}", ran.lived);
    assert_eq!(answers[1].answer.values, Some(vec![Value::Number(21.0)]));
    let refused = &ran.lived.refused;
    assert_eq!(
        ["question", "request", "payload"].map(|word| refused[word]),
        [2, 1, 1],
        "{refused:?}"
    );
    let doubled = refused["answered"] + refused.get("late").map_or(0, |n| *n);
    assert!(doubled >= 4, "{refused:?}");
    let returned = |w: &What| {
        matches!(
            w,
            What::Asking {
                what: AskStep::Returned { .. },
                ..
            }
        )
    };
    let known = ran.records.iter().filter(|r| returned(&r.what)).count();
    assert!(known >= 4, "{known}");
    assert_eq!(ran.outcome.requests[0].answered as usize, known);
    let lit = |w: &What| matches!(w, What::Switched { on: true, .. });
    assert!(ran.records.iter().any(|r| lit(&r.what)), "the lamp lights");

    let layouts: Vec<_> = line
        .topics
        .iter()
        .map(|t| assess::input::layout(t).unwrap())
        .collect();
    let forms = [assess::input::request_layouts(&line.requests[0]).unwrap()[1].clone()];
    let sheet = live::replay_sheet(&cue_text(8), &line, &cues, [&layouts, &forms], &ran.lived);
    let (line, cues) = read(&asking(), &sheet);
    assert_eq!(cues.answers.len(), answers.len());
    let (outcome, records) = offline(&line, &cues);
    assert_eq!(records, ran.records);
    assert_eq!(format!("{outcome:?}"), format!("{:?}", ran.outcome));
}

/// A cue sheet answers by itself: the oldest question that waits, a question by its number, and one that nobody asked.
#[test]
fn verif_answers_of_a_cue_sheet() {
    let sheet = cue_text(8)
        + r#"
[answer.first]
at = "2 s"
request = "request.depth"
values = { depth = 12 }
[answer.late]
at = "4.2 s"
request = "request.depth"
ask = 1
values = { depth = 13 }
[answer.none]
at = "1 s"
request = "request.depth"
values = { depth = 14 }
"#;
    let (line, cues) = read(&asking(), &sheet);
    let (outcome, records) = offline(&line, &cues);
    // Asked at 1.5, 3, 4.5, 6 and 7.5 s; the second's time is over at 4 s.
    let count = outcome.requests[0];
    assert_eq!((count.asked, count.answered, count.unanswered), (5, 1, 3));
    let refused = records
        .iter()
        .filter(|r| matches!(r.what, What::Refused { .. }));
    assert_eq!(refused.count(), 2);
    let longest = count.longest.unwrap().as_s_f64();
    assert!((0.5..0.51).contains(&longest), "{longest}");
}
