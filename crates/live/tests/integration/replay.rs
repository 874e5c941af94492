//! Names at the broker, and the sheet of what came in, without a broker.

use live::{Entered, Lived, Names, Refused, replay_sheet};
use network::Value;
use plan::{ModuleIx, TopicIx};
use rehearsal::FromOutside;
use timeline::Ns;

use crate::line::{cue_text, plan_text, read};

#[test]
fn verif_names_go_there_and_back() {
    let (line, _) = read(&plan_text(), &cue_text(5));
    let names = Names::new("a/b").unwrap();
    let id = |m: usize| line.modules[m].id.as_str();
    for module in 0..line.modules.len() {
        for topic in 0..line.topics.len() {
            let (m, t) = (ModuleIx(module), TopicIx(topic));
            let published = names.published(&line, m, t);
            let name = &line.topics[topic].name;
            assert_eq!(published, format!("a/b/published/{}/{name}", id(module)));
            assert_eq!(
                names.delivered(&line, m, t),
                published.replace("published", "delivered")
            );
            let inward = published.replace("published", "in");
            assert_eq!(names.read(&line, &inward), Ok((m, t)));
            // What is mirrored can never be taken for what comes in.
            assert_eq!(names.read(&line, &published), Err(Refused::Place));
        }
    }
    for wrong in [
        "a/b/in/mid",
        "a/b/in",
        "a/bin/mid/alert",
        "b/in/mid/alert",
        "",
    ] {
        assert_eq!(names.read(&line, wrong), Err(Refused::Place), "{wrong}");
    }
    assert_eq!(
        names.read(&line, "a/b/in//alert").unwrap_err().word(),
        "module"
    );
    assert_eq!(
        names.read(&line, "a/b/in/mid/alert/").unwrap_err().word(),
        "topic"
    );
}

#[test]
fn verif_prefixes() {
    for good in ["a", "bench/harrow-sound", "Ä b"] {
        assert!(Names::new(good).is_ok(), "{good}");
    }
    for wrong in [
        "",
        "/a",
        "a/",
        "a//b",
        "a/#",
        "+/a",
        "$SYS/a",
        "a\0",
        &"x".repeat(257),
    ] {
        assert!(Names::new(wrong).is_err(), "{wrong}");
    }
    for (name, prefix) in [
        (
            "Harrow Sound ferry-lane watch",
            "harrow-sound-ferry-lane-watch",
        ),
        ("Bench line, No. 3", "bench-line-no-3"),
        ("  ", "soundline"),
        ("Øst/Vest #2", "st-vest-2"),
    ] {
        assert_eq!(Names::prefix_of(name), prefix);
        assert!(Names::new(prefix).is_ok());
    }
}

/// Written, read by the plan's own reader, and the same again: instants to the nanosecond, values to the bit.
#[test]
fn verif_the_sheet_says_what_came_in() {
    let (line, cues) = read(&plan_text(), &cue_text(5));
    let layouts: Vec<_> = line
        .topics
        .iter()
        .map(|t| assess::input::layout(t).unwrap())
        .collect();
    let message = |topic, values| FromOutside {
        module: ModuleIx(1),
        topic: TopicIx(topic),
        values,
    };
    let time = Value::Time(1_798_761_605_000_000_000);
    let entered = [
        (
            1,
            message(0, Some(vec![Value::Choice(2), Value::Number(121.5), time])),
        ),
        (
            1_000_000_007,
            message(0, Some(vec![Value::Choice(0), Value::NoData, time])),
        ),
        (4_999_999_999, message(1, None)),
    ];
    let entered = entered.map(|(at, message)| Entered {
        at: Ns(at),
        message,
    });
    let lived = Lived {
        entered: entered.to_vec(),
        ..Lived::default()
    };
    let sheet = replay_sheet(&cue_text(5), &line, &cues, [&layouts, &[]], &lived);
    let (_, read_again) = read(&plan_text(), &sheet);
    assert_eq!(read_again.inputs.len(), 3);
    for (input, entered) in read_again.inputs.iter().zip(&entered) {
        assert_eq!(Ns::from_s_f64(input.at_s.si), Ok(entered.at));
        assert_eq!(
            (input.module, input.topic),
            (entered.message.module, entered.message.topic)
        );
        assert_eq!(input.values.is_some(), entered.message.values.is_some());
    }
    assert!(
        sheet.contains(
            r#"values = { "class" = "whistle", "level" = 121.5, "at" = 2027-01-01T00:00:05Z }"#
        ),
        "{sheet}"
    );
    // Nothing came in: the sheet as it was.
    assert_eq!(
        replay_sheet(
            &cue_text(5),
            &line,
            &cues,
            [&layouts, &[]],
            &Lived::default()
        ),
        cue_text(5)
    );
}
