//! Requests, and what modules tell of themselves when they come up.

use quantity::Dimension as D;

use super::talk::TOPIC_FIELD;
use crate::field::{
    Bounds, POSITIVE, RefKind as R, Section, Shape as S, between, optional as o, required as r,
};

const SIZE: Bounds = between(1.0, 1.0e6, "from 1 B to 1 MB");

pub(crate) const REQUEST: Section = Section {
    name: "a request",
    doc: "A question to one module that is to be answered within a time. Question and answer each have either fields or a size.",
    part: None,
    fields: &[
        r("to", S::Reference(&[R::Module]), "the module that is asked"),
        o(
            "question",
            S::Amount(D::DataSize, SIZE),
            "payload size of the question, instead of question_fields",
        ),
        o(
            "question_fields",
            S::Tables(&TOPIC_FIELD),
            "packed payload of the question",
        ),
        o(
            "answer",
            S::Amount(D::DataSize, SIZE),
            "payload size of the answer, instead of answer_fields",
        ),
        o(
            "answer_fields",
            S::Tables(&TOPIC_FIELD),
            "packed payload of the answer",
        ),
        r(
            "within",
            S::Amount(D::Time, POSITIVE),
            "longest time from asking to the answer; a later one is not taken",
        ),
        o(
            "priority",
            S::Count(0, 7),
            "of question and answer: 0 goes first; 1 when not written",
        ),
        o(
            "at_most",
            S::EventRate,
            "most questions of one module in a time, enforced at run time",
        ),
    ],
};

pub(crate) const JOINING: Section = Section {
    name: "the joining notice",
    doc: "What a module tells of itself when it has come up, on the topic joining/ID: its id, sensors, detectors, outputs and topics.",
    part: None,
    fields: &[
        o(
            "size",
            S::Amount(D::DataSize, SIZE),
            "payload size; that of the notice written in CBOR (RFC 8949) when not written",
        ),
        o(
            "priority",
            S::Count(0, 7),
            "0 goes first; 1 when not written",
        ),
        o(
            "to",
            S::Choice(&["subscribers", "all"]),
            "who is told: modules with a behaviour whose filter matches, or all; subscribers when not written",
        ),
    ],
};
