//! The plan and cue-sheet files: field tables, reading with places, catalogue, schema, and the resolved line.
//!
//! A text becomes a tree with places, the tree is read against one table of fields (from which the JSON Schema is made
//! too), and the fields are resolved to a [`Line`]: ids become indices, catalogue parts are filled in, the graph is
//! checked. Everything that is wrong is told at once. Nothing is ever guessed.

mod canonical;
mod catalogue;
mod cue_fault;
mod cue_sheet;
mod cut;
mod edit;
mod fetch;
mod field;
mod folder;
mod include;
mod keys;
mod line;
mod mistake;
mod named_files;
mod nested;
mod node;
mod read;
mod reading;
mod reference;
mod resolve;
mod schema;
mod site;
mod slips;
mod spoilt;
mod spreads;
mod tables;
mod topic_name;
mod twice;
mod written;

pub use canonical::{DrawnDigests, hex};
pub use cue_fault::{Fault, FaultIx, FaultKind, Leaves, Lengths, RestartBy};
pub use cue_sheet::{
    AnswerCue, Count, CueSheet, Expect, ExpectKind, InputCue, Packets, Recovery, Repeats, Sound,
    SoundIx, SoundKind, TrackPoint, Within,
};
pub use edit::{Edit, EditError, splice};
pub use fetch::{
    Fetch, LARGEST_FILE, LARGEST_MODEL, LARGEST_TEMPLATE, LARGEST_WEATHER, from_disk,
    from_folder_of, lies_beside,
};
pub use field::{ID_RULE, is_id};
pub use line::{
    Action, Age, Anchor, AnodeFormSaid, AnodeLies, AnodeMetal, AnodeSaid, AntiAliasSaid, AtCap,
    Attestation, BackgroundStage, Battery, Behaviour, BehaviourIx, Boot, Bus, BusIx, CableHeat,
    Calibration, Call, CallIx, Case, CaseWave, CaseWind, Chain, Chemistry, Choice, Clock, Confirm,
    Contacts, Decibels, DelayEnd, DelayFrom, Deployment, Depths, Detector, DetectorIx, Dirt,
    DriftAlarmSaid, Droppable, Encounter, Exclusive, ExclusiveMember, FieldValue, Fix, Float, Flow,
    GivesUp, GrowthSaid, Heartbeat, HighPass, HorizonPoint, Housing, Hull, InHold, Input,
    Insulation, Joining, Keep, LastingSea, LevelStage, LiesIn, Limits, Line, Link, LinkFrame,
    Listeners, Load, LockOut, Logs, LossMeasured, Means, MeansKind, Measure, Measurement, Metal,
    ModelGives, Module, ModuleIx, Must, NoticeKind, Output, OutputIx, OutputKind, Outside,
    OversamplingSaid, Panels, PassWhen, Passes, PickUp, PickUpKind, PickUpLevel, Pole, Position,
    Processor, Q, Record, Registers, RegistersWhen, Remedy, Request, RequestIx, Requirement, Retry,
    RidgeWay, Rope, Sea, SeaLimit, SeaState, Section, SectionEnd, SectionIx, Sensor, SensorIx,
    SensorKind, Span, SpanIx, Spare, SpareOf, Spells, Spreading, Stage, Stamps, StateLoad, Storage,
    StorageIx, Stream, StreamIx, Supply, SupplyIx, SupplyKind, Swell, Template, That, Tides,
    TimeSync, Topic, TopicField, TopicIx, Traffic, Unwritten, Uplink, UplinkIx, Vote, VoteIx,
    Water, WeakLink, WeatherText, Weight, When, Windows, Work,
};
pub use line::{Bottom, BoundTo, Paths, Payload, RaysWanted, Routine, Settable};
pub use line::{Charger, LegInsulation, Pin, PinMetal, Protection, StartsOn, Wakes};
pub use line::{WatchedLevel, WorldWatch};
pub use mistake::{Code, Drawing, Mistake, Severity, render};
pub use reading::{CueReading, Reading, is_cue_sheet, read, read_cues};
pub use reference::{cues_reference, plan_reference};
pub use resolve::{DECLARED_KINDS, LINKS_WITHOUT_CHECK, breaks_above_m};
pub use schema::{cues_schema, plan_schema};
pub use site::{FileId, Site, Source, Sources};
pub use spoilt::{Spoilt, SpoiltParts, WrittenBehaviour, WrittenRequirement, WrittenStart};
pub use spreads::{NoDraw, Spread};
pub use tables::{LINKS, METALS};
pub use written::{Written, below, first_key};
