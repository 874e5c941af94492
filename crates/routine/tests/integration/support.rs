//! Routines to check with.

use routine::{
    Binding, Bound, Call, FieldKind, FieldShape, Memory, Program, Ranges, Run, Setting, Shape,
};

/// A topic with a field of each kind and one with a size, a lamp, an uplink, a state, and a setting.
pub(crate) fn binding() -> Binding {
    let field = |name: &str, kind| FieldShape {
        name: name.to_owned(),
        kind,
    };
    let topic = |name: &str, fields| {
        Bound::Topic(Shape {
            name: name.to_owned(),
            fields,
        })
    };
    let choice = FieldKind::Choice(vec!["call".to_owned(), "click".to_owned()]);
    Binding {
        names: vec![
            (
                "alert".to_owned(),
                topic(
                    "alert/call",
                    vec![
                        field("level", FieldKind::Number),
                        field("class", choice),
                        field("low", FieldKind::Flag),
                        field("at", FieldKind::Time),
                    ],
                ),
            ),
            ("plain".to_owned(), topic("plain", Vec::new())),
            ("lamp".to_owned(), Bound::Output),
            ("shore".to_owned(), Bound::Uplink),
            ("busy".to_owned(), Bound::State),
            (
                "depth".to_owned(),
                Bound::Request(Shape {
                    name: "request.depth".to_owned(),
                    fields: vec![field("when", FieldKind::Time)],
                }),
            ),
            (
                "ear".to_owned(),
                Bound::Detector(Ranges {
                    threshold_db: Some((6.0, 15.0)),
                    hold_off_s: None,
                }),
            ),
        ],
        settings: vec![("limit".to_owned(), Setting::Number(130.0))],
        answer: Some(Shape {
            name: "request.noise".to_owned(),
            fields: vec![
                field("level", FieldKind::Number),
                field("loud", FieldKind::Flag),
            ],
        }),
        told: Vec::new(),
        asked: Vec::new(),
        answered: Vec::new(),
    }
}

pub(crate) fn program(text: &str) -> Program {
    Program::new(text, &binding()).unwrap_or_else(|faults| panic!("{faults:?}"))
}

/// One run of `each`.
pub(crate) fn each(body: &str) -> Run {
    let program = program(&format!("fn each() {{ {body} }}"));
    program.run(&mut Memory::default(), &Call::Each, Some(7))
}

/// What `each` logs.
pub(crate) fn logged(body: &str) -> String {
    let run = each(body);
    assert_eq!(run.fault, None, "{body}");
    match run.deeds.last().unwrap() {
        routine::Deed::Log { text } => text.clone(),
        other => panic!("{other:?}"),
    }
}
