//! Behaviours and their actions.

use quantity::{Dimension as D, LevelKind as K};

use super::bounds::LEVEL;
use crate::field::{
    NOT_NEGATIVE, POSITIVE, RefKind as R, Section, Shape as S, between, optional as o,
    required as r,
};

pub(crate) const BEHAVIOUR: Section = Section {
    name: "a behaviour",
    doc: "What a module does when it has heard, been told, or at intervals: exactly one of when_heard, when_voted, when_told, when_asked, when_answered, when_unanswered, each; of a routine one or more.",
    part: None,
    fields: &[
        r(
            "on",
            S::Reference(&[R::Module]),
            "the module on which it runs",
        ),
        o(
            "when_heard",
            S::Reference(&[R::Notice]),
            "starts at a notice of a detector on this module",
        ),
        o(
            "when_voted",
            S::Reference(&[R::Vote]),
            "starts when a vote on this module is carried",
        ),
        o(
            "when_told",
            S::Filter,
            "starts at a message that the filter matches",
        ),
        o(
            "when_asked",
            S::Reference(&[R::Request]),
            "starts at a question to this module",
        ),
        o(
            "when_answered",
            S::Reference(&[R::Request]),
            "starts when a question of this module is answered in time; of a routine, also when it is not",
        ),
        o(
            "when_unanswered",
            S::Reference(&[R::Request]),
            "of a rule: starts when a question of this module has no answer: none in time, no way to the module that is asked, or held back by the request's at_most",
        ),
        o(
            "each",
            S::Amount(D::Time, between(1e-3, 1.0e9, "from 1 ms to 1e9 s")),
            "starts at intervals",
        ),
        o(
            "routine",
            S::Text,
            "a file with a small program that decides what is done; it may be started by several of when_heard, when_voted, when_told, when_asked, when_answered, each",
        ),
        o(
            "names",
            S::Content,
            "of a routine: what its names stand for: { lamp = \"module.ID.output.ID\", shore = \"uplink.ID\", alert = \"topic.NAME\", depth = \"request.ID\", ear = \"detector.ID\", busy = \"state.NAME\" }",
        ),
        o(
            "settings",
            S::Content,
            "of a routine: its constants, numbers, texts or flags",
        ),
        r(
            "do",
            S::Tables(&ACTION),
            "what it does, in order; of a routine: the most that one run does, in any order",
        ),
        o(
            "at_most",
            S::EventRate,
            "most runs in a time; further starts are counted and dropped",
        ),
    ],
};

const CONTENT: &str = "of publish, send_up, ask and answer: what the fields of the topic, of the question or of the answer hold: a constant, `now`, a measure of the event that led to it (event.level, event.peak, event.score, event.background, event.length, event.pulses, event.interval, event.from, event.to, event.begin, event.end) or a field of the message that was told, of the question or of the answer that led to it (message.NAME)";

pub(crate) const ACTION: Section = Section {
    name: "an action",
    doc: "publish, switch, send_up, enter, ask, answer, set or log.",
    part: None,
    fields: &[
        o("publish", S::Topic, "publish a message on a topic"),
        o("values", S::Content, CONTENT),
        o(
            "switch",
            S::Reference(&[R::Output]),
            "switch an output of this module",
        ),
        o("to", S::Choice(&["on", "off"]), "of the switch"),
        o(
            "for",
            S::Amount(D::Time, POSITIVE),
            "of the switch or of the state: for how long",
        ),
        o(
            "send_up",
            S::Reference(&[R::Uplink]),
            "queue a topic's payload on an uplink of this module",
        ),
        o(
            "about",
            S::Topic,
            "of send_up: the topic whose payload is sent",
        ),
        o("enter", S::Text, "enter a state of this module"),
        o("ask", S::Reference(&[R::Request]), "ask another module"),
        o(
            "answer",
            S::Reference(&[R::Request]),
            "answer the question that started this behaviour",
        ),
        o(
            "set",
            S::Reference(&[R::Detector]),
            "set the trigger of a detector of this module, within what is `settable`",
        ),
        o(
            "threshold",
            S::Level(&[K::Gain, K::Pressure, K::Exposure, K::InAir], LEVEL),
            "of set: what `on_above` becomes; `off_below` stays as far below it",
        ),
        o(
            "hold_off",
            S::Amount(D::Time, NOT_NEGATIVE),
            "of set: the quiet time after an event from now on",
        ),
        o("log", S::Text, "write a line to the log"),
    ],
};
