//! The resolved line: ids have become indices, catalogue parts are filled in, the graph is checked.
//!
//! Every list is sorted by id, so results never depend on the order in the file. A field is `None` where the plan
//! says nothing: unknown, never zero.

mod behaviour;
mod call;
mod deployment;
mod depths;
mod detector;
mod exclusive;
mod index;
mod link;
mod metal;
mod module;
mod mooring;
mod propagation;
mod recovery;
mod remedy;
mod request;
mod requirement;
mod routine;
mod sea;
mod sensor;
mod ship;
mod span;
mod storage;
mod supply;
mod sync;
mod talk;
mod uplink;
mod value;
mod vote;
mod watch;

use std::collections::{BTreeMap, BTreeSet};

pub use behaviour::{Action, Behaviour, FieldValue, Measure, When};
pub use call::Call;
pub use deployment::Deployment;
pub use depths::Depths;
pub use detector::{
    BackgroundStage, Confirm, Detector, LevelStage, ModelGives, NoticeKind, RidgeWay, Settable,
    Stage, Template,
};
pub use exclusive::{Exclusive, ExclusiveMember};
pub use index::{
    BehaviourIx, BusIx, CallIx, DetectorIx, ModuleIx, OutputIx, RequestIx, SectionIx, SensorIx,
    SpanIx, StorageIx, StreamIx, SupplyIx, TopicIx, UplinkIx, VoteIx,
};
pub use link::{Bus, Link, LinkFrame};
pub use metal::{AnodeFormSaid, AnodeLies, AnodeMetal, AnodeSaid, Metal};
pub use module::{
    Boot, Heartbeat, Housing, Hull, Input, Load, LockOut, Module, Output, OutputKind, Outside,
    PassWhen, Passes, Processor, StateLoad,
};
pub use mooring::{
    Anchor, Case, CaseWave, CaseWind, Float, Position, Rope, Section, SectionEnd, Tides, Weight,
};
pub use propagation::{Bottom, Paths, RaysWanted};
pub use recovery::{DriftAlarmSaid, Means, MeansKind, WeakLink};
pub use remedy::{Choice, Remedy};
pub use request::{Joining, Payload, Request};
pub use requirement::{
    Age, Attestation, DelayEnd, DelayFrom, Encounter, Limits, Listeners, Measurement, Must,
    Requirement, That,
};
pub use routine::{BoundTo, Routine};
pub use sea::{
    Flow, GrowthSaid, HorizonPoint, LossMeasured, Sea, Spreading, Swell, Water, WeatherText,
};
pub use sensor::{
    AntiAliasSaid, Calibration, Chain, HighPass, OversamplingSaid, PickUp, PickUpKind, PickUpLevel,
    Sensor, SensorKind,
};
pub use ship::{InHold, Spare, SpareOf, Spells, Work};
pub use span::{CableHeat, Contacts, Insulation, LegInsulation, LiesIn, Pin, PinMetal, Span};
pub use storage::{Droppable, Logs, Record, Storage};
pub use supply::{
    Battery, Charger, Chemistry, Dirt, Panels, Pole, Protection, StartsOn, Supply, SupplyKind,
    Wakes,
};
pub use sync::{Clock, Stamps, Stream, TimeSync};
pub use talk::{Keep, Retry, Topic, TopicField, Traffic};
pub use uplink::{
    AtCap, Fix, GivesUp, LastingSea, Registers, RegistersWhen, SeaLimit, SeaState, Uplink, Windows,
};
pub use value::{Decibels, Q};
pub use vote::Vote;
pub use watch::{WatchedLevel, WorldWatch};

/// The whole deployment, resolved.
#[derive(Clone, Debug)]
pub struct Line {
    /// Name, dates and slips.
    pub deployment: Deployment,
    /// The sea and the weather at the site.
    pub sea: Sea,
    /// Anchors by id: where sections may end.
    pub anchors: Vec<Anchor>,
    /// Floats by id.
    pub floats: Vec<Float>,
    /// Weights on the line by id.
    pub weights: Vec<Weight>,
    /// Where lines are to part first, by id.
    pub weak_links: Vec<WeakLink>,
    /// Means of recovery by id.
    pub means: Vec<Means>,
    /// Metals in the water by id.
    pub metals: Vec<Metal>,
    /// Their anodes by id.
    pub anodes: Vec<AnodeSaid>,
    /// Design cases by id; empty when the plan declares none.
    pub cases: Vec<Case>,
    /// Mechanical lengths.
    pub sections: Vec<Section>,
    /// Where power enters.
    pub supplies: Vec<Supply>,
    /// Housings with a processor.
    pub modules: Vec<Module>,
    /// Where their depths come from.
    pub depths: Depths,
    /// Electrical cables between modules.
    pub spans: Vec<Span>,
    /// Links that several spans share.
    pub buses: Vec<Bus>,
    /// What cannot happen together.
    pub exclusives: Vec<Exclusive>,
    /// Detectors.
    pub detectors: Vec<Detector>,
    /// Sounds that they are to find.
    pub calls: Vec<Call>,
    /// Votes of several detectors.
    pub votes: Vec<Vote>,
    /// How messages are framed; `None` when the plan does not say.
    pub traffic: Option<Traffic>,
    /// Topics by name.
    pub topics: Vec<Topic>,
    /// Questions that one module answers.
    pub requests: Vec<Request>,
    /// What modules tell of themselves when they come up; `None` when nothing.
    pub joining: Option<Joining>,
    /// Video and raw sound.
    pub streams: Vec<Stream>,
    /// How modules set their clocks; `None` when the plan does not say.
    pub time_sync: Option<TimeSync>,
    /// What modules do.
    pub behaviours: Vec<Behaviour>,
    /// Paid links ashore.
    pub uplinks: Vec<Uplink>,
    /// Recording stores.
    pub storages: Vec<Storage>,
    /// Spares by id.
    pub spares: Vec<Spare>,
    /// Limits on the world that the line polices, by id.
    pub watches: Vec<WorldWatch>,
    /// What must hold.
    pub requirements: Vec<Requirement>,
    /// What can be had instead of what the plan says.
    pub remedies: Vec<Remedy>,
    /// Values that count although nobody wrote them, each with the paths of the things that have it.
    pub unwritten: BTreeMap<Unwritten, Vec<String>>,
}

/// A value that counts although the plan does not write it: what the field tables say of each such key.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Unwritten {
    /// A span without length and slack lies along its sections with none.
    Slack,
    /// An output is off at start.
    Starts,
    /// A band has the order 4.
    BandOrder,
    /// An event is confirmed as soon as it has lasted the shortest time.
    Confirm,
    /// A topic has the priority 1.
    Priority,
    /// A receiver tells 64 messages of a publisher apart.
    Remembers,
    /// The size of a topic that may come twice holds the number and the count of starts that tell it.
    Numbering,
    /// A requirement is a `shall`.
    Must,
    /// A design case has slack water.
    SlackWater,
    /// The water of a design case is as deep as the site says.
    WaterLevel,
    /// A design case has no wind.
    NoWind,
    /// A design case has no waves.
    NoWave,
    /// The ropes of a design case do not strum.
    NoStrum,
    /// The packets of a stream come singly.
    Burst,
    /// An uplink adds nothing to a message.
    Adds,
    /// A clock does not change with the temperature.
    TemperatureStep,
}

impl Line {
    /// The full typed path of a module: `module.upper`.
    #[must_use]
    pub fn module_path(&self, ix: ModuleIx) -> String {
        format!("module.{}", self.modules[ix.0].id)
    }

    /// Depth of an end of a section, m, sections straight down; `None` when the plan does not say it.
    #[must_use]
    pub fn end_depth_m(&self, end: SectionEnd) -> Option<f64> {
        let depth_m = match end {
            SectionEnd::Anchor(_) => self.sea.water_depth_m.si,
            SectionEnd::Float(_) => return None,
            SectionEnd::Module(m) => self.modules[m.0].straight_depth_m,
        };
        Some(depth_m).filter(|d| d.is_finite())
    }

    /// By how much a section is longer than the water between its ends, m; negative when it does not reach, `None` when
    /// the depth of an end is not known.
    #[must_use]
    pub fn excess_m(&self, section: &Section) -> Option<f64> {
        let (top_m, bottom_m) = (
            self.end_depth_m(section.from)?,
            self.end_depth_m(section.to)?,
        );
        Some(section.length_m.si - (bottom_m - top_m).abs())
    }

    /// The modules on a bus, ascending.
    #[must_use]
    pub fn stations(&self, bus: BusIx) -> Vec<ModuleIx> {
        let pieces = self.spans.iter().filter(|s| s.bus == Some(bus));
        let ends: BTreeSet<ModuleIx> = pieces.flat_map(|s| [s.from, s.to]).collect();
        ends.into_iter().collect()
    }

    /// The requirements that must hold: one that only should stands in for no check of every plan.
    pub fn binding(&self) -> impl Iterator<Item = &Requirement> {
        self.requirements.iter().filter(|r| r.must == Must::Shall)
    }

    /// Its hydrophones, by module and then by sensor.
    pub fn hydrophones(&self) -> impl Iterator<Item = SensorIx> + '_ {
        let modules = self.modules.iter().enumerate();
        modules.flat_map(|(module, m)| {
            let sensors = m.sensors.iter().enumerate();
            let hydrophones = sensors.filter(|(_, s)| s.kind == SensorKind::Hydrophone);
            hydrophones.map(move |(sensor, _)| SensorIx {
                module: ModuleIx(module),
                sensor,
            })
        })
    }

    /// The full typed path of a sensor: `module.upper.sensor.ear`.
    #[must_use]
    pub fn sensor_path(&self, ix: SensorIx) -> String {
        let module = &self.modules[ix.module.0];
        format!(
            "module.{}.sensor.{}",
            module.id, module.sensors[ix.sensor].id
        )
    }

    /// The full typed path of an output: `module.marker.output.lamp`.
    #[must_use]
    pub fn output_path(&self, ix: OutputIx) -> String {
        let module = &self.modules[ix.module.0];
        format!(
            "module.{}.output.{}",
            module.id, module.outputs[ix.output].id
        )
    }

    /// Behaviours that publish when a detector has confirmed an event, each with what it publishes: so a vote on another
    /// module learns of it.
    pub fn tellers(
        &self,
        detector: DetectorIx,
    ) -> impl Iterator<Item = (BehaviourIx, TopicIx)> + '_ {
        let hears = move |b: &Behaviour| matches!(b.when, When::Heard { detector: d, notice: NoticeKind::Confirmed } if d == detector);
        let all = self.behaviours.iter().enumerate();
        all.filter(move |(_, b)| hears(b)).flat_map(|(i, b)| {
            b.actions.iter().filter_map(move |a| match a {
                Action::Publish { topic, .. } => Some((BehaviourIx(i), *topic)),
                _ => None,
            })
        })
    }

    /// The sensor itself.
    #[must_use]
    pub fn sensor(&self, ix: SensorIx) -> &Sensor {
        &self.modules[ix.module.0].sensors[ix.sensor]
    }

    /// The module whose id this is.
    #[must_use]
    pub fn module_by_id(&self, id: &str) -> Option<ModuleIx> {
        self.modules
            .binary_search_by(|m| m.id.as_str().cmp(id))
            .ok()
            .map(ModuleIx)
    }
}
