//! What a message holds: the values of its topic's fields, each a constant, an instant, or taken from what led to it.

use jiff::Timestamp;
use quantity::{nearest, show_number};

use super::Resolver;
use crate::line::{
    Detector, DetectorIx, FieldValue, Line, Measure, RequestIx, TopicField, TopicIx, When,
};
use crate::mistake::{Code, Mistake};
use crate::node::{Node, Value};
use crate::read::{Fields, join};
use crate::site::Site;
use crate::topic_name;

/// What led to a message, as far as its values may be taken from it.
#[derive(Clone, Copy)]
pub(super) enum Led<'a> {
    /// An event of a detector.
    Heard(DetectorIx),
    /// A message whose topic this filter matches.
    Told(&'a str),
    /// A question.
    Asked(RequestIx),
    /// An answer.
    Answered(RequestIx),
    /// Neither.
    Nothing,
    /// A routine, which fills its messages itself.
    Routine,
}

impl Led<'_> {
    pub(super) fn by(when: &When) -> Led<'_> {
        match when {
            When::Heard { detector, .. } => Led::Heard(*detector),
            When::Told { filter } => Led::Told(filter),
            When::Asked { request } => Led::Asked(*request),
            When::Answered { request } => Led::Answered(*request),
            When::Voted { .. } | When::Each { .. } | When::Unanswered { .. } => Led::Nothing,
        }
    }
}

/// A payload that is given values.
#[derive(Clone, Copy)]
pub(super) struct Filled<'a> {
    kind: &'static str,
    name: &'a str,
    at: Site,
    fields: &'a [TopicField],
}

impl<'a> Filled<'a> {
    pub(super) fn topic(line: &'a Line, topic: TopicIx) -> Filled<'a> {
        let topic = &line.topics[topic.0];
        Filled {
            kind: "topic",
            name: &topic.name,
            at: topic.at,
            fields: &topic.fields,
        }
    }

    pub(super) fn question(line: &'a Line, request: RequestIx) -> Filled<'a> {
        let q = &line.requests[request.0];
        Filled {
            kind: "question",
            name: &q.id,
            at: q.at,
            fields: q.question.fields(),
        }
    }

    pub(super) fn answer(line: &'a Line, request: RequestIx) -> Filled<'a> {
        let q = &line.requests[request.0];
        Filled {
            kind: "answer",
            name: &q.id,
            at: q.at,
            fields: q.answer.fields(),
        }
    }

    /// What it is, in a sentence.
    fn what(&self) -> String {
        match self.kind {
            "topic" => format!("the topic `{}`", self.name),
            kind => format!("the {kind} of `request.{}`", self.name),
        }
    }

    /// Where it was declared, beside a mistake.
    fn label(&self) -> &'static str {
        if self.kind == "topic" {
            "the topic"
        } else {
            "the request"
        }
    }

    /// The key of the action that sends it.
    fn action(&self) -> &'static str {
        match self.kind {
            "topic" => "publish",
            "question" => "ask",
            _ => "answer",
        }
    }

    /// How it gets fields.
    fn give_fields(&self) -> String {
        match self.kind {
            "topic" => "give the topic `fields` instead of its `size`".to_owned(),
            kind => format!("give the request `{kind}_fields` instead of `{kind}`"),
        }
    }
}

/// The values that a table gives its message, one a field of its payload; `Some(None)` where it gives none. `None` after a mistake, which is told.
#[expect(
    clippy::option_option,
    reason = "a mistake, nothing written, and values are three things"
)]
pub(super) fn content(
    r: &mut Resolver<'_>,
    line: &Line,
    f: &Fields,
    payload: Filled<'_>,
    led: Led<'_>,
) -> Option<Option<Vec<FieldValue>>> {
    if f.is_wrong("values") {
        return None;
    }
    let Some((node, site)) = f.limit("values") else {
        return unfilled(r, f, payload, led);
    };
    if matches!(led, Led::Routine) {
        r.tell(
            Mistake::error(Code::KeyConflict, site, "a routine fills its messages itself")
                .label("here")
                .help("remove `values`, and give them in the routine: publish(alert, #{ level: event.level })"),
        );
        return None;
    }
    let Value::Table(table) = &node.value else {
        unreachable!("the content of a message is read as a table");
    };
    if payload.fields.is_empty() {
        r.tell(
            Mistake::error(
                Code::KeyConflict,
                site,
                format!("{} has no fields that could hold values", payload.what()),
            )
            .label("here")
            .related(payload.at, payload.label())
            .help(format!("{}, or remove `values`", payload.give_fields())),
        );
        return None;
    }
    let mut right = true;
    for (key, entry) in table {
        if payload.fields.iter().any(|field| field.name() == key) {
            continue;
        }
        right = false;
        let names = payload.fields.iter().map(TopicField::name);
        let help = match nearest(key, names.clone()) {
            Some(near) => format!("did you mean `{near}`?"),
            None => format!("its fields are: {}", join(names)),
        };
        r.tell(
            Mistake::error(
                Code::UnknownKey,
                entry.key,
                format!("{} has no field `{key}`", payload.what()),
            )
            .label("no such field")
            .related(payload.at, payload.label())
            .help(help),
        );
    }
    let mut values = Vec::new();
    for field in payload.fields {
        let value = match table.get(field.name()) {
            Some(entry) => value(r, line, field, &entry.node, led),
            None => not_given(r, payload, field, site),
        };
        right &= value.is_some();
        values.extend(value);
    }
    right.then_some(Some(values))
}

/// A table that gives no values. The messages of a topic may go without, as those of a bench do; what is asked and answered is
/// said by somebody.
#[expect(
    clippy::option_option,
    reason = "a mistake, nothing written, and values are three things"
)]
fn unfilled(
    r: &mut Resolver<'_>,
    f: &Fields,
    payload: Filled<'_>,
    led: Led<'_>,
) -> Option<Option<Vec<FieldValue>>> {
    let said = payload.kind == "topic" || matches!(led, Led::Routine);
    if said || payload.fields.is_empty() {
        return Some(None);
    }
    let site = f.site_of(payload.action()).unwrap_or(f.site);
    let names = || payload.fields.iter().map(TopicField::name);
    let entries: Vec<String> = names().map(|name| format!("{name} = ...")).collect();
    r.tell(
        Mistake::error(
            Code::MissingKey,
            site,
            format!(
                "nothing says what {} holds: its fields are {}",
                payload.what(),
                join(names())
            ),
        )
        .label("without `values`")
        .related(payload.at, payload.label())
        .help(format!("add `values = {{ {} }}`", entries.join(", "))),
    );
    None
}

/// A field that is not given: a number has a code for no data, the others have none.
fn not_given(
    r: &mut Resolver<'_>,
    payload: Filled<'_>,
    field: &TopicField,
    site: Site,
) -> Option<FieldValue> {
    let example = match field {
        TopicField::Scaled { .. } => return Some(FieldValue::NoData),
        TopicField::Choice { values, .. } => format!("\"{}\"", values[0]),
        TopicField::Flag { .. } => "false".to_owned(),
        TopicField::Time { .. } => "\"now\"".to_owned(),
    };
    let name = field.name();
    r.tell(
        Mistake::error(
            Code::MissingKey,
            site,
            format!("the field `{name}` of {} is given no value", payload.what()),
        )
        .label(format!("`{name}` is missing here"))
        .related(payload.at, payload.label())
        .help(format!(
            "add `{name} = {example}`: only numbers have a code for no data"
        )),
    );
    None
}

fn value(
    r: &mut Resolver<'_>,
    line: &Line,
    field: &TopicField,
    node: &Node,
    led: Led<'_>,
) -> Option<FieldValue> {
    // A word of the field's own list comes before everything that it might mean besides.
    if let (TopicField::Choice { values, .. }, Value::Text(text)) = (field, &node.value)
        && let Some(choice) = values.iter().position(|v| v == text)
    {
        return u32::try_from(choice).ok().map(FieldValue::Choice);
    }
    match (field, &node.value) {
        (_, Value::Text(text)) if text.starts_with("event.") => {
            return measure(r, line, field, &text["event.".len()..], node.site, led);
        }
        (_, Value::Text(text)) if text.starts_with("message.") => {
            return of_message(r, line, field, &text["message.".len()..], node.site, led);
        }
        (TopicField::Time { .. }, Value::Text(text)) if text == "now" => {
            return Some(FieldValue::Now);
        }
        (TopicField::Time { .. }, Value::Date(text)) => {
            let instant = text.parse::<Timestamp>().ok();
            let ns = instant.and_then(|t| i64::try_from(t.as_nanosecond()).ok());
            if let Some(ns) = ns {
                return Some(FieldValue::Time(ns));
            }
        }
        (TopicField::Flag { .. }, Value::Flag(yes)) => return Some(FieldValue::Flag(*yes)),
        (TopicField::Scaled { .. }, Value::Integer(_) | Value::Float(_)) => {
            return number(r, field, node);
        }
        _ => {}
    }
    let wanted = match field {
        TopicField::Scaled { from, to, unit, .. } => format!("a number from {from} to {to} {unit}")
            .trim_end()
            .to_owned(),
        TopicField::Choice { values, .. } => {
            format!("one of {}", join(values.iter().map(String::as_str)))
        }
        TopicField::Flag { .. } => "true or false".to_owned(),
        TopicField::Time { .. } => "\"now\", or an instant (2027-03-15T06:30:00Z)".to_owned(),
    };
    let taken = match (led, field) {
        (Led::Heard(_), TopicField::Scaled { .. }) => {
            ", or a measure of the event (\"event.level\")"
        }
        (Led::Heard(_), TopicField::Time { .. }) => ", or \"event.begin\" or \"event.end\"",
        (Led::Told(_), _) => ", or a field of the message (\"message.NAME\")",
        (Led::Asked(_), _) => ", or a field of the question (\"message.NAME\")",
        (Led::Answered(_), _) => ", or a field of the answer (\"message.NAME\")",
        (Led::Heard(_) | Led::Nothing | Led::Routine, _) => "",
    };
    r.tell(
        Mistake::error(
            Code::WrongType,
            node.site,
            format!("the field `{}` cannot hold this", field.name()),
        )
        .label(format!("this is {}", node.what()))
        .help(format!("write {wanted}{taken}")),
    );
    None
}

/// Share of a step by which a number may lie off it: what the arithmetic of decimal steps leaves.
const STEP_SHARE: f64 = 1e-6;

fn number(r: &mut Resolver<'_>, field: &TopicField, node: &Node) -> Option<FieldValue> {
    let TopicField::Scaled {
        from,
        to,
        unit,
        step,
        ..
    } = field
    else {
        unreachable!("only a number is held against a range");
    };
    let given = match node.value {
        Value::Integer(Some(whole)) => whole as f64,
        Value::Float(x) => x,
        _ => f64::NAN,
    };
    if (*from..=*to).contains(&given) {
        let steps = (given - from) / step;
        if (steps - libm::round(steps)).abs() > STEP_SHARE {
            let sent = show_number(from + libm::round(steps) * step);
            let told = |text: String| text.trim_end().to_owned();
            r.tell(
                Mistake::warning(
                    Code::OutOfRange,
                    node.site,
                    told(format!(
                        "the field `{}` has steps of {step} {unit}",
                        field.name()
                    )),
                )
                .label(told(format!("sent as {sent} {unit}")))
                .help(told(format!(
                    "write {sent}, or give the field a finer `step`"
                ))),
            );
        }
        return Some(FieldValue::Number(given));
    }
    r.tell(
        Mistake::error(
            Code::OutOfRange,
            node.site,
            format!(
                "the field `{}` goes from {from} to {to} {unit}",
                field.name()
            )
            .trim_end(),
        )
        .label("outside"),
    );
    None
}

fn measure(
    r: &mut Resolver<'_>,
    line: &Line,
    field: &TopicField,
    word: &str,
    site: Site,
    led: Led<'_>,
) -> Option<FieldValue> {
    let wrong = |r: &mut Resolver<'_>, code, message: String, label: &str, help: String| {
        r.tell(Mistake::error(code, site, message).label(label).help(help));
        None
    };
    let Some(measure) = Measure::ALL.into_iter().find(|m| m.word() == word) else {
        let words = Measure::ALL.into_iter().map(Measure::word);
        return wrong(
            r,
            Code::UnknownWord,
            format!("an event has no measure `{word}`"),
            "unknown word",
            match nearest(word, words.clone()) {
                Some(near) => format!("did you mean `event.{near}`?"),
                None => format!("its measures are: {}", join(words)),
            },
        );
    };
    let Led::Heard(detector) = led else {
        return wrong(
            r,
            Code::KeyConflict,
            "no event leads to this message".to_owned(),
            "here",
            "only what starts with `when_heard` knows an event; take a field of the message that was told with \"message.NAME\", or write a constant"
                .to_owned(),
        );
    };
    let name = field.name();
    match field {
        TopicField::Time { .. } if measure.is_instant() => {}
        TopicField::Scaled { unit, .. } if !measure.is_instant() => {
            let wanted = unit_of(&line.detectors[detector.0], measure);
            if !same_unit(unit, wanted) {
                let field = match unit.as_str() {
                    "" => format!("the field `{name}` has no unit"),
                    unit => format!("the field `{name}` is in `{unit}`"),
                };
                let (is, help) = match wanted {
                    "" => (
                        "a bare number".to_owned(),
                        "give the field no `unit`".to_owned(),
                    ),
                    "dB" => (
                        "what stands above background or threshold, in plain dB".to_owned(),
                        "give the field `unit = \"dB\"`".to_owned(),
                    ),
                    wanted => (
                        format!("in {wanted}"),
                        format!("give the field `unit = \"{wanted}\"`"),
                    ),
                };
                return wrong(
                    r,
                    Code::WrongDimension,
                    format!("event.{word} of this detector is {is}, and {field}"),
                    "another unit",
                    help,
                );
            }
        }
        _ => {
            let kind = if measure.is_instant() {
                "a time stamp"
            } else {
                "a number"
            };
            return wrong(
                r,
                Code::WrongType,
                format!("event.{word} is {kind}, and the field `{name}` is none"),
                "another kind of value",
                "take another measure, or declare the field so".to_owned(),
            );
        }
    }
    Some(FieldValue::Event(measure))
}

/// The unit in which a detector tells a measure of its events.
fn unit_of(detector: &Detector, measure: Measure) -> &'static str {
    match measure {
        // What a learned model gives has no unit that we know.
        Measure::Score if detector.of_learned() => "",
        Measure::Level | Measure::Peak | Measure::Background if detector.of_exposure() => {
            "dB re 1 uPa2 s"
        }
        Measure::Level | Measure::Peak | Measure::Background => "dB re 1 uPa",
        measure => measure.unit(),
    }
}

/// Whether two texts write the same unit, whatever they write for micro and for squares.
fn same_unit(a: &str, b: &str) -> bool {
    let plain = |unit: &str| {
        let unit = unit
            .replace(['\u{b5}', '\u{3bc}'], "u")
            .replace('\u{b2}', "2");
        unit.split_whitespace().collect::<String>()
    };
    plain(a) == plain(b)
}

fn of_message(
    r: &mut Resolver<'_>,
    line: &Line,
    field: &TopicField,
    name: &str,
    site: Site,
    led: Led<'_>,
) -> Option<FieldValue> {
    let told: Vec<Filled<'_>> = match led {
        Led::Told(filter) => (0..line.topics.len())
            .map(|t| Filled::topic(line, TopicIx(t)))
            .filter(|t| topic_name::matches(filter, t.name))
            .collect(),
        Led::Asked(request) => vec![Filled::question(line, request)],
        Led::Answered(request) => vec![Filled::answer(line, request)],
        Led::Heard(_) | Led::Nothing | Led::Routine => {
            r.tell(
                Mistake::error(Code::KeyConflict, site, "no message leads to this one")
                    .label("here")
                    .help("only what starts with `when_told`, `when_asked` or `when_answered` knows a message; write a constant, or \"event.level\" of what starts with `when_heard`"),
            );
            return None;
        }
    };
    for from in told {
        let matched = match led {
            Led::Told(filter) => format!(", and `{filter}` matches it"),
            _ => String::new(),
        };
        let Some(source) = from.fields.iter().find(|f| f.name() == name) else {
            r.tell(
                Mistake::error(
                    Code::NamesNothing,
                    site,
                    format!("{} has no field `{name}`{matched}", from.what()),
                )
                .label("names nothing there")
                .related(from.at, from.label())
                .help(match (from.fields.is_empty(), led) {
                    (true, Led::Told(_)) => {
                        "it gives a size only; take a narrower filter, or write a constant"
                            .to_owned()
                    }
                    (true, _) => "it gives a size only; write a constant".to_owned(),
                    (false, _) => format!(
                        "its fields are: {}",
                        join(from.fields.iter().map(TopicField::name))
                    ),
                }),
            );
            return None;
        };
        if !alike(source, field) {
            r.tell(
                Mistake::error(
                    Code::WrongType,
                    site,
                    format!(
                        "`{name}` of {} is not of the kind and unit of the field `{}`",
                        from.what(),
                        field.name()
                    ),
                )
                .label("another kind of value")
                .related(from.at, from.label())
                .help("declare both fields with the same kind, unit and list"),
            );
            return None;
        }
    }
    Some(FieldValue::Message(name.to_owned()))
}

/// Whether what one field holds means the same in another.
fn alike(a: &TopicField, b: &TopicField) -> bool {
    match (a, b) {
        (TopicField::Scaled { unit: a, .. }, TopicField::Scaled { unit: b, .. }) => a == b,
        (TopicField::Choice { values: a, .. }, TopicField::Choice { values: b, .. }) => a == b,
        (TopicField::Flag { .. }, TopicField::Flag { .. })
        | (TopicField::Time { .. }, TopicField::Time { .. }) => true,
        _ => false,
    }
}
