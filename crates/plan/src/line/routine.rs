//! Routines: behaviours that are small programs.

use std::sync::Arc;

use routine::{Binding, Bound, FieldKind, FieldShape, Ranges, Setting, Shape};

use super::{
    BehaviourIx, DetectorIx, Line, OutputIx, RequestIx, TopicField, TopicIx, UplinkIx, When,
};
use crate::site::Site;
use crate::topic_name::matches;

/// A program that decides what a behaviour does.
#[derive(Clone, Debug)]
pub struct Routine {
    /// Its file, as it is written, relative to the plan's folder.
    pub file: String,
    /// Where that is written.
    pub at: Site,
    /// Its text; absent where it could not be read, which is told.
    pub text: Option<Arc<str>>,
    /// What its names stand for, in the order of the names.
    pub names: Vec<(String, BoundTo)>,
    /// Its constants, in the order of their names.
    pub settings: Vec<(String, Setting)>,
}

/// What a name of a routine stands for.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum BoundTo {
    /// A topic.
    Topic(TopicIx),
    /// A request to another module.
    Request(RequestIx),
    /// A detector of its own module.
    Detector(DetectorIx),
    /// An output of its own module.
    Output(OutputIx),
    /// An uplink of its own module.
    Uplink(UplinkIx),
    /// A state of its own module, by its index in the module's loads.
    State(usize),
}

impl Routine {
    /// The names and constants as the program takes them, in the same order, with the answer that it gives where it is asked.
    #[must_use]
    pub fn binding(&self, line: &Line, behaviour: BehaviourIx) -> Binding {
        let bound = |to: &BoundTo| match to {
            BoundTo::Topic(t) => {
                let topic = &line.topics[t.0];
                Bound::Topic(shape(topic.name.clone(), &topic.fields))
            }
            BoundTo::Request(q) => {
                let q = &line.requests[q.0];
                Bound::Request(shape(format!("request.{}", q.id), q.question.fields()))
            }
            BoundTo::Detector(d) => {
                let settable = &line.detectors[d.0].settable;
                Bound::Detector(Ranges {
                    threshold_db: settable.threshold_db.map(|(low, high)| (low.db, high.db)),
                    hold_off_s: settable.hold_off_s.map(|(low, high)| (low.si, high.si)),
                })
            }
            BoundTo::Output(_) => Bound::Output,
            BoundTo::Uplink(_) => Bound::Uplink,
            BoundTo::State(_) => Bound::State,
        };
        let names = self.names.iter();
        let id = &line.behaviours[behaviour.0].id;
        let same = || line.behaviours.iter().filter(|b| b.id == *id);
        let asked = same().find_map(|b| match b.when {
            When::Asked { request } => Some(request),
            _ => None,
        });
        let told = line.topics.iter().filter(|topic| {
            same().any(|b| matches!(&b.when, When::Told { filter } if matches(filter, &topic.name)))
        });
        let questions = same().filter_map(|b| match b.when {
            When::Asked { request } => Some(&line.requests[request.0]),
            _ => None,
        });
        let answers = same().filter_map(|b| match b.when {
            When::Answered { request } => Some(&line.requests[request.0]),
            _ => None,
        });
        let known = |shape: &Shape| !shape.fields.is_empty();
        Binding {
            names: names.map(|(name, to)| (name.clone(), bound(to))).collect(),
            settings: self.settings.clone(),
            answer: asked.map(|q| {
                let q = &line.requests[q.0];
                shape(format!("request.{}", q.id), q.answer.fields())
            }),
            told: told
                .map(|topic| shape(topic.name.clone(), &topic.fields))
                .filter(known)
                .collect(),
            asked: questions
                .map(|q| shape(format!("request.{}", q.id), q.question.fields()))
                .filter(known)
                .collect(),
            answered: answers
                .map(|q| shape(format!("request.{}", q.id), q.answer.fields()))
                .filter(known)
                .collect(),
        }
    }
}

fn shape(name: String, fields: &[TopicField]) -> Shape {
    Shape {
        name,
        fields: fields.iter().map(field_shape).collect(),
    }
}

fn field_shape(field: &TopicField) -> FieldShape {
    FieldShape {
        name: field.name().to_owned(),
        kind: match field {
            TopicField::Scaled { .. } => FieldKind::Number,
            TopicField::Choice { values, .. } => FieldKind::Choice(values.clone()),
            TopicField::Flag { .. } => FieldKind::Flag,
            TopicField::Time { .. } => FieldKind::Time,
        },
    }
}
