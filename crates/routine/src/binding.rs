//! What the names of a routine stand for where it runs.

/// What a name stands for.
#[derive(Clone, Debug, PartialEq)]
pub enum Bound {
    /// A topic.
    Topic(Shape),
    /// A request to another module, with the fields of its question.
    Request(Shape),
    /// A detector of its module, with what it may be set to.
    Detector(Ranges),
    /// An output of its module.
    Output,
    /// An uplink of its module.
    Uplink,
    /// A load state of its module.
    State,
}

impl Bound {
    /// What it is, in a sentence.
    pub(crate) fn what(&self) -> &'static str {
        match self {
            Bound::Topic(_) => "a topic",
            Bound::Request(_) => "a request",
            Bound::Detector(_) => "a detector",
            Bound::Output => "an output",
            Bound::Uplink => "an uplink",
            Bound::State => "a state",
        }
    }
}

/// What a detector may be set to; nothing where absent.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Ranges {
    /// Lowest and highest threshold, dB.
    pub threshold_db: Option<(f64, f64)>,
    /// Shortest and longest hold-off, s.
    pub hold_off_s: Option<(f64, f64)>,
}

/// The messages of a topic, or the questions or answers of a request, as far as a routine fills them.
#[derive(Clone, Debug, PartialEq)]
pub struct Shape {
    /// Name of the topic or of the request.
    pub name: String,
    /// Its fields; none of one that gives a size only.
    pub fields: Vec<FieldShape>,
}

impl Shape {
    /// What it is, in a sentence.
    pub(crate) fn what(&self, kind: &str) -> String {
        match kind {
            "topic" => format!("the topic {}", self.name),
            kind => format!("the {kind} of {}", self.name),
        }
    }

    /// Why it cannot be sent without values, where it cannot: what is asked and answered is said by the routine. The messages of a topic may go without, as those of a
    /// bench do.
    pub(crate) fn left_empty(&self, kind: &str) -> Option<String> {
        if kind == "topic" || self.fields.is_empty() {
            return None;
        }
        let names: Vec<&str> = self.fields.iter().map(|f| f.name.as_str()).collect();
        let names = names.join(", ");
        Some(format!(
            "{} is sent without values, and has the fields: {names}",
            self.what(kind)
        ))
    }
}

/// A field of a payload.
#[derive(Clone, Debug, PartialEq)]
pub struct FieldShape {
    /// Its name.
    pub name: String,
    /// What it holds.
    pub kind: FieldKind,
}

/// What a field holds.
#[derive(Clone, Debug, PartialEq)]
pub enum FieldKind {
    /// A number, or no data.
    Number,
    /// One of a list.
    Choice(Vec<String>),
    /// Yes or no.
    Flag,
    /// An instant, ns since 1970.
    Time,
}

/// A constant that the plan gives a routine.
#[derive(Clone, Debug, PartialEq)]
pub enum Setting {
    /// A decimal number.
    Number(f64),
    /// A whole number.
    Whole(i64),
    /// Yes or no.
    Flag(bool),
    /// A text.
    Text(String),
}

/// What the names of a routine stand for. A name is a word of letters, digits and `_` that begins with a letter.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Binding {
    /// Things, by the name that the routine uses. A [`crate::Deed`] tells them by their number in this list.
    pub names: Vec<(String, Bound)>,
    /// Constants.
    pub settings: Vec<(String, Setting)>,
    /// The answer that it gives where a question starts it.
    pub answer: Option<Shape>,
    /// The messages that start it, of topics whose fields are known.
    pub told: Vec<Shape>,
    /// The questions that start it, of requests whose fields are known.
    pub asked: Vec<Shape>,
    /// The answers that it is given, of requests whose fields are known.
    pub answered: Vec<Shape>,
}
