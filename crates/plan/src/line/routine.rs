//! Routines: behaviours that are small programs.

use std::sync::Arc;

use routine::{Binding, Bound, FieldKind, FieldShape, Setting, TopicShape};

use super::{Line, OutputIx, TopicField, TopicIx, UplinkIx};
use crate::site::Site;

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
    /// An output of its own module.
    Output(OutputIx),
    /// An uplink of its own module.
    Uplink(UplinkIx),
    /// A state of its own module, by its index in the module's loads.
    State(usize),
}

impl Routine {
    /// The names and constants as the program takes them, in the same order.
    #[must_use]
    pub fn binding(&self, line: &Line) -> Binding {
        let bound = |to: &BoundTo| match to {
            BoundTo::Topic(t) => {
                let topic = &line.topics[t.0];
                Bound::Topic(TopicShape {
                    name: topic.name.clone(),
                    fields: topic.fields.iter().map(shape).collect(),
                })
            }
            BoundTo::Output(_) => Bound::Output,
            BoundTo::Uplink(_) => Bound::Uplink,
            BoundTo::State(_) => Bound::State,
        };
        let names = self.names.iter();
        Binding {
            names: names.map(|(name, to)| (name.clone(), bound(to))).collect(),
            settings: self.settings.clone(),
        }
    }
}

fn shape(field: &TopicField) -> FieldShape {
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
