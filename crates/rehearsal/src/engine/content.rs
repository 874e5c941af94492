//! What messages hold: filled in from what led to them, packed, and kept until their last copy is done.

use std::collections::BTreeMap;
use std::sync::Arc;

use assess::input::{layout, request_layouts};
use network::{Layout, MessageId, Numbers, Value};
use plan::{
    Action, CueSheet, DetectorIx, FieldValue, Line, Measure, ModuleIx, NoticeKind, RequestIx,
    TopicField, TopicIx,
};
use routine::Failed;
use timeline::Ns;

use super::Engine;
use crate::error::RehearsalError;
use crate::record::Content;

/// An event as far as it is known when it leads to something.
#[derive(Clone, Copy, Debug)]
pub(super) struct Heard {
    pub(super) event: detect::Event,
    /// Last sample that was needed to know it, and the rate at which samples are counted.
    pub(super) known_at_sample: u64,
    pub(super) rate_hz: f64,
}

/// What leads to an act.
#[derive(Clone, Debug)]
pub(super) enum Led {
    Nothing,
    /// A notice of a detector, with its event as far as that is known.
    Heard {
        detector: DetectorIx,
        notice: NoticeKind,
        heard: Option<Heard>,
    },
    Told {
        topic: TopicIx,
        content: Option<Arc<Content>>,
    },
    /// A question, by its number.
    Asked {
        ask: u64,
        request: RequestIx,
        content: Option<Arc<Content>>,
    },
    /// The answer to a question of its own.
    Answered {
        request: RequestIx,
        content: Option<Arc<Content>>,
        after: Ns,
    },
    /// A question of its own has no answer.
    Unanswered {
        request: RequestIx,
        why: Failed,
    },
}

/// What a packed payload belongs to.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Of {
    Topic(TopicIx),
    Question(RequestIx),
    Answer(RequestIx),
}

impl Of {
    /// What it is called where its values are told.
    fn name(self, line: &Line) -> String {
        let request = |q: RequestIx| &line.requests[q.0].id;
        match self {
            Of::Topic(topic) => line.topics[topic.0].name.clone(),
            Of::Question(q) => format!("the question of request.{}", request(q)),
            Of::Answer(q) => format!("the answer of request.{}", request(q)),
        }
    }

    pub(super) fn fields(self, line: &Line) -> &[TopicField] {
        match self {
            Of::Topic(topic) => &line.topics[topic.0].fields,
            Of::Question(q) => line.requests[q.0].question.fields(),
            Of::Answer(q) => line.requests[q.0].answer.fields(),
        }
    }
}

/// The content of messages.
pub(super) struct Contents {
    layouts: Vec<Option<Layout>>,
    /// Of each request: its question and its answer.
    requests: Vec<[Option<Layout>; 2]>,
    of: BTreeMap<MessageId, Arc<Content>>,
    /// The instant at which the rehearsal begins, ns since 1970, where it is said.
    starts_ns: Option<i64>,
    /// Of each topic: values that lay outside their field.
    pub(super) clamped: Vec<u64>,
    /// The same of the questions and answers of each request.
    pub(super) clamped_asking: Vec<u64>,
}

impl Contents {
    pub(super) fn new(line: &Line, cues: &CueSheet) -> Result<Contents, RehearsalError> {
        let start = cues.start.or(line.deployment.start);
        let starts_ns = start.and_then(|t| i64::try_from(t.as_nanosecond()).ok());
        if starts_ns.is_none() && tells_instants(line, cues) {
            if let Some(start) = start {
                return Err(RehearsalError::NotSaid {
                    what: vec![format!(
                        "messages tell instants, and the `start` {start} lies outside the years 1678 to 2261"
                    )],
                });
            }
            return Err(RehearsalError::NotSaid {
                what: vec![
                    "messages tell instants, and neither the cue sheet's `start` nor that of the deployment says when the rehearsal begins"
                        .to_owned(),
                ],
            });
        }
        Ok(Contents {
            layouts: line.topics.iter().map(layout).collect::<Result<_, _>>()?,
            requests: line
                .requests
                .iter()
                .map(request_layouts)
                .collect::<Result<_, _>>()?,
            of: BTreeMap::new(),
            starts_ns,
            clamped: vec![0; line.topics.len()],
            clamped_asking: vec![0; line.requests.len()],
        })
    }

    pub(super) fn of(&self, message: MessageId) -> Option<Arc<Content>> {
        self.of.get(&message).cloned()
    }

    pub(super) fn keep(&mut self, message: MessageId, content: Option<&Arc<Content>>) {
        if let Some(content) = content {
            self.of.insert(message, Arc::clone(content));
        }
    }

    pub(super) fn done(&mut self, message: MessageId) {
        self.of.remove(&message);
    }

    /// The messages of which something is kept.
    pub(super) fn messages(&self) -> impl Iterator<Item = MessageId> {
        self.of.keys().copied()
    }

    pub(super) fn layout(&self, of: Of) -> Option<&Layout> {
        match of {
            Of::Topic(topic) => self.layouts[topic.0].as_ref(),
            Of::Question(q) => self.requests[q.0][0].as_ref(),
            Of::Answer(q) => self.requests[q.0][1].as_ref(),
        }
    }

    /// An instant of the rehearsal as messages tell it, ns since 1970.
    fn stamp(&self, at: Ns, later_ns: i64) -> Option<i64> {
        let since = i64::try_from(at.0).ok()?;
        self.starts_ns?.checked_add(since)?.checked_add(later_ns)
    }

    /// Packs the values of a message that is sent now.
    pub(super) fn pack(
        &mut self,
        line: &Line,
        of: Of,
        numbers: Numbers,
        now: Ns,
        values: &[Value],
    ) -> Result<Arc<Content>, RehearsalError> {
        let received = self.stamp(now, 0);
        let layout = self.layout(of);
        let layout = layout.expect("only a payload with fields is given values");
        let frame = layout.frame();
        let numbers = Numbers {
            sequence: numbers.sequence.filter(|_| frame.sequence_bits.is_some()),
            starts: numbers.starts.filter(|_| frame.starts_bits.is_some()),
        };
        let wrong = |why: String| RehearsalError::Content {
            at: now,
            topic: of.name(line),
            why,
        };
        let packed = layout
            .pack(numbers, values)
            .map_err(|e| wrong(e.to_string()))?;
        let read = layout
            .unpack(&packed.bytes, received)
            .map_err(|e| wrong(e.to_string()))?;
        let clamped = packed.clamped.len() as u64;
        match of {
            Of::Topic(topic) => self.clamped[topic.0] += clamped,
            Of::Question(q) | Of::Answer(q) => self.clamped_asking[q.0] += clamped,
        }
        Ok(Arc::new(Content {
            values: read.values,
            bytes: packed.bytes.into(),
            clamped: packed.clamped,
        }))
    }
}

impl Engine<'_> {
    /// The instant that a module writes into a message now, ns since 1970.
    pub(super) fn stamp(&self, module: ModuleIx) -> Option<i64> {
        self.contents
            .stamp(self.now, self.clocks.offset(module, self.now))
    }

    /// The values of a message, from what the plan says that it holds and what led to it; `None` where a field that has no code for no
    /// data is not known.
    pub(super) fn fill(
        &self,
        module: ModuleIx,
        of: Of,
        values: &[FieldValue],
        led: &Led,
    ) -> Option<Vec<Value>> {
        let layout = self.contents.layout(of)?;
        let filled = layout.places().iter().zip(values).map(|(place, value)| {
            let known = match value {
                FieldValue::NoData => None,
                FieldValue::Number(x) => Some(Value::Number(*x)),
                FieldValue::Choice(choice) => Some(Value::Choice(*choice)),
                FieldValue::Flag(yes) => Some(Value::Flag(*yes)),
                FieldValue::Time(at_ns) => Some(Value::Time(*at_ns)),
                FieldValue::Now => self.stamp(module).map(Value::Time),
                FieldValue::Event(measure) => match led {
                    Led::Heard {
                        heard: Some(heard), ..
                    } => self.measure(heard, *measure, module),
                    _ => None,
                },
                FieldValue::Message(name) => self.told(name, led),
            };
            known.or_else(|| place.no_data_code().map(|_| Value::NoData))
        });
        filled.collect()
    }

    /// A field of the message, question or answer that led to something, as it was read from its bytes.
    fn told(&self, name: &str, led: &Led) -> Option<Value> {
        let (of, content) = match led {
            Led::Told { topic, content } => (Of::Topic(*topic), content),
            Led::Asked {
                request, content, ..
            } => (Of::Question(*request), content),
            Led::Answered {
                request, content, ..
            } => (Of::Answer(*request), content),
            Led::Nothing | Led::Heard { .. } | Led::Unanswered { .. } => return None,
        };
        let content = content.as_ref()?;
        let places = self.contents.layout(of)?.places();
        let field = places.iter().position(|p| p.field.name == *name)?;
        Some(content.values[field])
    }

    /// A measure of an event; an instant is as far from now as its sample is from the last one that was needed.
    pub(super) fn measure(
        &self,
        heard: &Heard,
        measure: Measure,
        module: ModuleIx,
    ) -> Option<Value> {
        let event = &heard.event;
        let instant = |sample: u64| {
            let ago_s = heard.known_at_sample.abs_diff(sample) as f64 / heard.rate_hz;
            let ago_ns = (ago_s * 1e9).round() as i64;
            let later_ns = if sample > heard.known_at_sample {
                ago_ns
            } else {
                -ago_ns
            };
            let ahead_ns = self.clocks.offset(module, self.now);
            let stamp = self.contents.stamp(self.now, later_ns + ahead_ns);
            stamp.map(Value::Time)
        };
        let number = match measure {
            Measure::Begin => return instant(event.begin_sample),
            Measure::End => return instant(event.end_sample),
            Measure::Level => event.mean_level_db,
            Measure::Peak => event.peak_level_db,
            Measure::Score => event.score_db,
            Measure::Background => event.background_db?,
            Measure::Length => {
                event.end_sample.saturating_sub(event.begin_sample) as f64 / heard.rate_hz
            }
            Measure::Pulses => f64::from(event.pulses?),
            Measure::Interval => event.intervals?.mean_s,
            Measure::From => event.sweep?.from_hz,
            Measure::To => event.sweep?.to_hz,
        };
        (!number.is_nan()).then_some(Value::Number(number))
    }

    /// The content of a message that a module sends now, with the next number of its messages on this topic.
    pub(super) fn packed(
        &mut self,
        module: ModuleIx,
        topic: TopicIx,
        values: Option<&[Value]>,
    ) -> Result<Option<Arc<Content>>, RehearsalError> {
        let sequence = self.sequences.get(&(module.0, topic.0)).map_or(0, |s| *s);
        // A publisher numbers from each of its starts.
        let before = self.numbered.get(&(module.0, topic.0)).map_or(0, |s| *s);
        let numbers = Numbers {
            sequence: Some(((sequence - before) & u64::from(u32::MAX)) as u32),
            starts: Some(self.modules[module.0].restarts),
        };
        values
            .map(|values| {
                self.contents
                    .pack(self.line, Of::Topic(topic), numbers, self.now, values)
            })
            .transpose()
    }
}

/// Whether anything that the plan or the cue sheet writes tells an instant.
fn tells_instants(line: &Line, cues: &CueSheet) -> bool {
    let instant = |v: &FieldValue| match v {
        FieldValue::Now => true,
        FieldValue::Event(measure) => measure.is_instant(),
        _ => false,
    };
    let of_actions = line.behaviours.iter().flat_map(|b| &b.actions);
    let by_actions = of_actions.filter_map(|a| match a {
        Action::Publish { values, .. }
        | Action::SendUp { values, .. }
        | Action::Ask { values, .. }
        | Action::Answer { values, .. } => values.as_ref(),
        _ => None,
    });
    let by_inputs = cues.inputs.iter().filter_map(|i| i.values.as_ref());
    let by_answers = cues.answers.iter().filter_map(|a| a.values.as_ref());
    let by_cues = by_inputs.chain(by_answers);
    by_actions.chain(by_cues).flatten().any(instant)
}
