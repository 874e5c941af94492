//! The fields of a plan file.

mod behaviour;
mod bounds;
mod call;
mod case;
mod detector;
mod exclusive;
mod link;
mod metal;
mod module;
mod mooring;
mod pick_up;
mod recovery;
mod remedy;
mod request;
mod requirement;
mod sensor;
mod site;
mod span;
mod spare;
mod storage;
mod supply;
mod sync;
mod talk;
mod uplink;
mod vote;
mod watch;

use crate::field::{Section, Shape as S, optional as o, required as r};
use behaviour::BEHAVIOUR;
use case::CASE;
use detector::DETECTOR;
use exclusive::EXCLUSIVE;
use link::BUS;
pub use link::LINKS;
pub use metal::METALS;
use metal::{ANODE, METAL};
use module::HOUSING;
use mooring::{ANCHOR, FLOAT, SECTION, WEIGHT};
use recovery::{RECOVERY, WEAK_LINK};
use remedy::REMEDY;
use request::{JOINING, REQUEST};
use sensor::SENSOR;
use span::SPAN;
use spare::SPARE;
use storage::STORAGE;
use supply::SUPPLY;
use sync::{STREAM, TIME_SYNC};
use talk::{TOPIC, TRAFFIC};
use uplink::UPLINK;
use vote::VOTE;
use watch::WATCH;

pub(crate) use behaviour::ACTION;
pub(crate) use bounds::{FREQUENCY, TURN, WAVES, WIND};
pub(crate) use call::CALL;
pub(crate) use detector::{STAGE, WEIGHTS};
pub(crate) use module::MODULE;
pub(crate) use mooring::ROPE;
pub(crate) use requirement::REQUIREMENT;
pub(crate) use site::{DEPLOYMENT, SITE};

pub(crate) const PLAN: Section = Section {
    name: "a plan",
    doc: "One deployment; everything is computed from it.",
    part: None,
    fields: &[
        r("format", S::Count(1, 1), "version of the plan format: 1"),
        o(
            "include",
            S::Texts,
            "catalogue files of parts, relative to the plan's folder",
        ),
        r("deployment", S::Table(&DEPLOYMENT), "name, dates and slips"),
        r("site", S::Table(&SITE), "the sea and the weather"),
        o("part", S::Parts, "catalogue parts"),
        o("anchor", S::Keyed(&ANCHOR), "weights on the seabed"),
        o("section", S::Keyed(&SECTION), "mechanical lengths"),
        o("float", S::Keyed(&FLOAT), "what floats on the line"),
        o("weight", S::Keyed(&WEIGHT), "what sinks on the line"),
        o(
            "weak_link",
            S::Keyed(&WEAK_LINK),
            "where the line is to part first",
        ),
        o(
            "recovery",
            S::Keyed(&RECOVERY),
            "means of bringing the line back",
        ),
        o(
            "metal",
            S::Keyed(&METAL),
            "what of metal is in the water, and what touches what",
        ),
        o("anode", S::Keyed(&ANODE), "what is eaten in place of it"),
        o(
            "case",
            S::Keyed(&CASE),
            "water and weather in which the line must hold",
        ),
        r("supply", S::Keyed(&SUPPLY), "where power enters"),
        r("module", S::Keyed(&MODULE), "housings with a processor"),
        o("span", S::Keyed(&SPAN), "electrical cables between modules"),
        o(
            "bus",
            S::Keyed(&BUS),
            "links that several spans and the modules at their ends share",
        ),
        o(
            "exclusive",
            S::Keyed(&EXCLUSIVE),
            "states and outputs that do not hold together",
        ),
        o(
            "detector",
            S::Keyed(&DETECTOR),
            "named chains of stages from samples to events",
        ),
        o("call", S::Keyed(&CALL), "sounds that detectors are to find"),
        o(
            "vote",
            S::Keyed(&VOTE),
            "detectors that must hear the same sound",
        ),
        o(
            "traffic",
            S::Table(&TRAFFIC),
            "how messages are framed on the links",
        ),
        o("topic", S::KeyedTopics(&TOPIC), "what messages are about"),
        o(
            "request",
            S::Keyed(&REQUEST),
            "questions that one module answers",
        ),
        o(
            "joining",
            S::Table(&JOINING),
            "what a module tells of itself when it comes up; nothing when not written",
        ),
        o(
            "stream",
            S::Keyed(&STREAM),
            "video or raw sound, where the links have room",
        ),
        o(
            "time-sync",
            S::Table(&TIME_SYNC),
            "how modules set their clocks",
        ),
        o(
            "behaviour",
            S::Keyed(&BEHAVIOUR),
            "what modules do when they hear, are told, or at intervals",
        ),
        o("uplink", S::Keyed(&UPLINK), "paid links ashore"),
        o("storage", S::Keyed(&STORAGE), "stores for recordings"),
        o(
            "spare",
            S::Keyed(&SPARE),
            "what is aboard in place of what is dead on deck",
        ),
        o(
            "watch",
            S::Keyed(&WATCH),
            "limits on the world that the line polices",
        ),
        o("requirement", S::Keyed(&REQUIREMENT), "what must hold"),
        o(
            "remedy",
            S::Keyed(&REMEDY),
            "what can be had instead, and at what cost",
        ),
    ],
};

/// A catalogue file: parts only.
pub(crate) const CATALOGUE: Section = Section {
    name: "a catalogue",
    doc: "Parts that plans may use.",
    part: None,
    fields: &[
        r(
            "format",
            S::Count(1, 1),
            "version of the catalogue format: 1",
        ),
        o(
            "include",
            S::Texts,
            "further catalogue files, relative to this file's folder",
        ),
        o("part", S::Parts, "catalogue parts"),
    ],
};

/// The sections that a part may fill, by the word after `is =`.
pub(crate) const PART_KINDS: &[&Section] = &[&ROPE, &MODULE, &SENSOR, &SPAN, &HOUSING];
