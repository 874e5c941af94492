//! Which parts of a plan a verdict reads, and so which mistakes leave it unknown.
//!
//! The parts are those from which the inputs of the verdict's calculation are built, whether or not the line still has them:
//! a part that is lost to a mistake counts as read wherever it would have been.

mod lost;
mod messages;

use std::collections::BTreeSet;

use plan::{
    DelayFrom, DetectorIx, LiesIn, Line, ModuleIx, NoticeKind, Position, Reading, SectionEnd,
    StorageIx, That, WrittenStart,
};

use crate::input::failed_attempts_words;
use crate::verdict::{Verdict, unknown};
use lost::mistaken;
pub(crate) use lost::{lost, named_mistake};

/// Paths of parts, and names of top-level tables.
pub(crate) type Parts = BTreeSet<String>;

/// The depth of the seabed.
const FLOOR: &str = "site.water_depth";

/// Keys of the site from which the waters of design cases are made.
const WATERS: [&str; 10] = [
    "latitude",
    "water_depth",
    "profile",
    "current",
    "tide",
    "density",
    "growth",
    "wind",
    "wave_height",
    "swell",
];

/// A plan that has been read, its line, and what its mistakes reach.
#[derive(Clone, Copy)]
pub(crate) struct Reach<'a> {
    pub(crate) reading: &'a Reading,
    pub(crate) line: &'a Line,
}

impl Reach<'_> {
    /// The verdict for a mistake in one of these parts; `None` when none of them has any.
    pub(crate) fn spoilt(&self, parts: &Parts) -> Option<Verdict> {
        let reached = &self.reading.spoilt;
        if let Some(spoilt) = reached.whole() {
            return Some(mistaken(self.reading, "the plan", spoilt));
        }
        // The part that has the mistake itself says more than one that is lost with it.
        let mut all = parts
            .iter()
            .filter_map(|p| reached.of(p).map(|mistake| (p, mistake)));
        let own = all.clone().find(|(p, spoilt)| spoilt.part == **p);
        own.or_else(|| all.next())
            .map(|(part, spoilt)| mistaken(self.reading, part, spoilt))
    }

    /// What a requirement reads.
    pub(crate) fn of(&self, that: &That) -> Parts {
        match that {
            That::Voltage { .. }
            | That::HighestVoltage { .. }
            | That::SupplyCurrent { .. }
            | That::StartUp { .. }
            | That::CollapseFactor { .. }
            | That::ShortCircuit { .. } => self.electric(),
            That::Reserve { .. } => {
                let mut parts = self.electric();
                // What binds a voltage or a current binds what may be added.
                let bind = self.reading.spoilt.requirements().iter();
                let bind =
                    bind.filter(|r| matches!(r.that, Some("voltage" | "supply-current") | None));
                parts.extend(bind.map(|r| format!("requirement.{}", r.id)));
                parts
            }
            That::ContactLife { at_least_s, .. } => {
                let mut parts = self.electric();
                if at_least_s.is_none() {
                    let keys = ["duration", "recovery_slip"];
                    parts.extend(keys.map(|key| format!("deployment.{key}")));
                }
                parts
            }
            That::ReadyWithin { .. } => {
                let mut parts = self.electric();
                parts.extend(self.all(|kind, below| kind == "module" && below == Some("sensor")));
                parts
            }
            That::Delay { from, to, .. } => match from {
                DelayFrom::Notice(detector, notice) => {
                    let detector = &self.line.detectors[detector.0];
                    let path = format!("detector.{}", detector.id);
                    let start = WrittenStart::Heard(path.clone(), *notice);
                    self.delay(&[start], &[path, self.line.sensor_path(detector.on)], *to)
                }
                DelayFrom::Vote(vote) => {
                    let vote = &self.line.votes[vote.0];
                    let path = format!("vote.{}", vote.id);
                    let mut starts = vec![WrittenStart::Voted(path.clone())];
                    let mut read = vec![path, "site.profile".to_owned()];
                    if !self.line.sections.is_empty() {
                        read.extend(self.shapes());
                    }
                    for detector in vote.of.iter().map(|d| &self.line.detectors[d.0]) {
                        let path = format!("detector.{}", detector.id);
                        let heard = WrittenStart::Heard(path.clone(), NoticeKind::Confirmed);
                        starts.push(heard);
                        read.extend([path, self.line.sensor_path(detector.on)]);
                    }
                    self.delay(&starts, &read, *to)
                }
            },
            That::LinkLoad { .. } | That::MessageLoss { .. } => self.load(),
            That::ClockError { .. } => self.clocks(),
            That::UplinkMessages { of, .. } | That::UplinkCost { of, .. } => {
                let u = &self.line.uplinks[of.0];
                let mut parts = self.uplink(&u.id);
                // Where attempts that break off may be billed it matters what may take its module off.
                let may_bill = match u.bills_failed {
                    Some(bills) => bills,
                    None => failed_attempts_words(u).is_some(),
                };
                if may_bill {
                    parts.extend(self.all(|kind, below| {
                        matches!(kind, "supply" | "module" | "span") && below.is_none()
                    }));
                }
                parts
            }
            That::UplinkWait { of, .. } => {
                let u = &self.line.uplinks[of.0];
                let mut parts = self.uplink(&u.id);
                // Its worst month is one of the deployment, and the charge below which it is off that of the energy year.
                parts.insert("deployment".to_owned());
                if u.off_below.is_some() {
                    parts.extend(self.energy());
                }
                parts
            }
            That::StorageTime { of, at_least_s } => {
                let storage = &self.line.storages[of.0];
                let mut parts = some(["storage".to_owned(), format!("storage.{}", storage.id)]);
                parts.extend(
                    storage
                        .records
                        .iter()
                        .map(|r| self.line.sensor_path(r.sensor)),
                );
                let far = |r: &plan::Record| r.sensor.module != storage.module;
                if storage.records.iter().any(far) {
                    parts.extend(self.load());
                }
                // How often behaviours run is counted over the links.
                if storage
                    .logs
                    .is_some_and(|l| l.message_bytes.or(l.line_bytes).is_some())
                {
                    parts.extend(self.load());
                }
                if storage.logs.is_some() {
                    parts.extend(self.all(|kind, _| {
                        matches!(kind, "detector" | "vote" | "behaviour" | "topic")
                    }));
                }
                if at_least_s.is_none() {
                    parts.extend(
                        ["duration", "recovery_slip"].map(|key| format!("deployment.{key}")),
                    );
                }
                parts
            }
            That::OutageHours { .. }
            | That::LowestCharge { .. }
            | That::Autonomy { .. }
            | That::CellLife { .. }
            | That::DawnRestarts { .. }
            | That::WakesFromFlat { .. }
            | That::SensorEnergy { .. } => self.energy(),
            That::SelfNoise { .. } | That::PickUp { .. } => self.chains_and_pick_ups(),
            That::Overload { .. } => self.chains(),
            That::DetectionRange { of, call, .. } => {
                let detector = &self.line.detectors[of.0];
                let ear = detector.on.module;
                let mut parts = self.depth(&self.line.module_path(ear));
                parts.extend(self.setters(*of));
                // What is picked up is in the noise, and one that is lost with its module would be missed in silence.
                let chain = self.line.sensor(detector.on).chain.as_ref();
                if chain.is_some_and(|c| c.pick_up.is_some()) {
                    parts.extend(self.every_module());
                }
                parts.extend([
                    "site".to_owned(),
                    format!("detector.{}", detector.id),
                    format!("call.{}", self.line.calls[call.0].id),
                    self.line.sensor_path(detector.on),
                ]);
                parts
            }
            That::Recall { of, .. } | That::FalseAlarms { of, .. } => {
                let detector = &self.line.detectors[of.0];
                let mut parts = some([
                    "detector".to_owned(),
                    format!("detector.{}", detector.id),
                    self.line.sensor_path(detector.on),
                ]);
                parts.extend(self.setters(*of));
                parts
            }
            That::ModuleDepth { .. }
            | That::ModuleTilt { .. }
            | That::LineTension { .. }
            | That::AnchorLoad { .. }
            | That::WatchCircle { .. }
            | That::OnStation { .. } => self.shapes(),
            That::StrumHours { .. } => self.strum(),
            That::PartedLift { .. } | That::SurfaceSlack { .. } => self.shapes(),
            That::ChargeAtDeployment { .. } => self.energy(),
            That::AnodeLife { .. } | That::AnodeCurrent { .. } => self.metals(),
            That::Spares { .. } => {
                let mut parts = self.all(|kind, below| {
                    matches!(kind, "spare" | "module" | "span") && below.is_none()
                });
                parts.insert("deployment.dead_on_deck".to_owned());
                parts
            }
            That::WeatherWindow { .. } => {
                let deployment = [
                    "start",
                    "start_slip",
                    "duration",
                    "recovery_slip",
                    "deploying",
                    "recovering",
                ];
                let mut parts: Parts = deployment.map(|key| format!("deployment.{key}")).into();
                parts.extend(["wave_height", "waves"].map(|key| format!("site.{key}")));
                parts
            }
            That::RecoveryChance { .. } => {
                let mut parts = self.shapes();
                parts.extend(self.all(|kind, _| kind == "recovery"));
                parts
            }
            That::HeaveOverload { .. } => self.waves(),
            That::ListeningShare { .. } | That::ListeningGap { .. } => {
                let mut parts = self.all(|kind, _| {
                    !matches!(
                        kind,
                        "spare" | "metal" | "anode" | "watch" | "requirement" | "call"
                    )
                });
                for table in ["deployment", "site", "traffic"] {
                    parts.insert(table.to_owned());
                }
                parts
            }
            That::HousingMargin { of, .. } => {
                let modules = self.every_module();
                let own = of.map(|m| self.line.module_path(m));
                let mut parts = self.all(|kind, _| matches!(kind, "float" | "case"));
                parts.extend(WATERS.map(|key| format!("site.{key}")));
                parts.insert("module".to_owned());
                for module in modules
                    .iter()
                    .filter(|m| own.as_ref().is_none_or(|o| o == *m))
                {
                    parts.extend(["position", "housing"].map(|key| format!("{module}.{key}")));
                }
                parts
            }
            That::SingleFailure { .. } | That::FailSafe { .. } => self.failures(),
            That::TimeToNotice { .. } => {
                let mut parts = self.failures();
                parts.insert("deployment".to_owned());
                for uplink in &self.line.uplinks {
                    parts.extend(self.uplink(&uplink.id));
                }
                parts
            }
            That::CalibrationAge { of, .. } => {
                let mut parts = match of {
                    Some(sensor) => some([self.line.sensor_path(*sensor)]),
                    None => self.all(|_, below| below == Some("sensor")),
                };
                parts.extend(["start", "start_slip"].map(|key| format!("deployment.{key}")));
                parts
            }
            That::Attested { .. } => {
                let keys = ["start", "start_slip", "duration", "recovery_slip"];
                keys.map(|key| format!("deployment.{key}")).into()
            }
            That::Rehearsed { .. } => {
                let mut parts = self
                    .all(|kind, _| !matches!(kind, "call" | "spare" | "metal" | "anode" | "watch"));
                for table in ["deployment", "site", "traffic"] {
                    parts.insert(table.to_owned());
                }
                parts
            }
        }
    }

    /// A limit on the world: the detector that polices it with its chain, and the way to where it is told.
    pub(crate) fn watch(&self, watch: &plan::WorldWatch) -> Parts {
        let mut parts = self.chains_and_pick_ups();
        parts.insert(format!("watch.{}", watch.id));
        parts.extend(self.setters(watch.by));
        if let Some(told) = &watch.told {
            parts.extend(self.of(&told.that));
        }
        parts
    }

    /// Metals in the water, their anodes, and for how long these must last.
    pub(crate) fn metals(&self) -> Parts {
        let mut parts = self.all(|kind, _| matches!(kind, "metal" | "anode"));
        parts.extend(["duration", "recovery_slip"].map(|key| format!("deployment.{key}")));
        parts
    }

    /// What a battery carries and what charges it.
    pub(crate) fn energy(&self) -> Parts {
        let mut parts = self.all(|kind, _| {
            !matches!(
                kind,
                "storage" | "spare" | "metal" | "anode" | "watch" | "requirement" | "call"
            )
        });
        for table in ["deployment", "site", "traffic"] {
            parts.insert(table.to_owned());
        }
        parts
    }

    /// What breaks and what comes of it: all of the line but what hangs on it, what it stores and what it is to find.
    pub(crate) fn failures(&self) -> Parts {
        let mut parts = self.electric();
        parts.extend(self.load());
        parts.extend(self.all(|kind, _| {
            matches!(
                kind,
                "module" | "detector" | "vote" | "behaviour" | "topic" | "request" | "uplink"
            )
        }));
        parts
    }

    /// All that fills stores.
    pub(crate) fn stores(&self) -> Parts {
        let mut parts = some(["deployment".to_owned()]);
        for of in (0..self.line.storages.len()).map(StorageIx) {
            let at_least_s = None;
            parts.extend(self.of(&That::StorageTime { of, at_least_s }));
        }
        parts
    }

    /// What may set a detector while it listens: behaviours, where anything of it is settable.
    fn setters(&self, detector: DetectorIx) -> Parts {
        let settable = self.line.detectors[detector.0].settable;
        if settable.threshold_db.is_none() && settable.hold_off_s.is_none() {
            return Parts::new();
        }
        self.all(|kind, _| kind == "behaviour")
    }

    /// All that is declared of some kinds, and the kinds themselves; of spans also their links. The second argument of `wanted` is whether it stands below a
    /// module, as sensors and outputs do.
    fn all(&self, wanted: impl Fn(&str, Option<&str>) -> bool) -> Parts {
        let mut parts = Parts::new();
        for path in self.reading.spoilt.declared() {
            let kind = path.split('.').next().unwrap_or(path);
            let below = match kind {
                "module" => path.split('.').nth(2),
                _ => None,
            };
            if wanted(kind, below) {
                parts.insert(path.to_owned());
                if kind == "span" {
                    parts.insert(format!("{path}.link"));
                }
            }
        }
        for kind in plan::DECLARED_KINDS {
            if wanted(kind, None) {
                parts.insert(kind.to_owned());
            }
        }
        parts
    }

    /// Noise and full scale of sensor chains: sensors and detectors, the sea, the months of the deployment.
    pub(crate) fn chains(&self) -> Parts {
        let mut parts = self.all(|kind, below| kind == "detector" || below == Some("sensor"));
        for table in ["deployment", "site"] {
            parts.insert(table.to_owned());
        }
        parts
    }

    /// The same with the modules whose electronics may be heard in them.
    pub(crate) fn chains_and_pick_ups(&self) -> Parts {
        let mut parts = self.chains();
        let mut sensors = self.line.modules.iter().flat_map(|m| &m.sensors);
        if sensors.any(|s| s.chain.as_ref().is_some_and(|c| c.pick_up.is_some())) {
            parts.extend(self.every_module());
        }
        parts
    }

    fn every_module(&self) -> Parts {
        self.all(|kind, below| kind == "module" && below.is_none())
    }

    /// A detector and its sensor.
    pub(crate) fn detector(&self, path: &str) -> Parts {
        let own = self
            .line
            .detectors
            .iter()
            .find(|d| path == format!("detector.{}", d.id));
        let sensor = own.map(|d| self.line.sensor_path(d.on));
        [path.to_owned()].into_iter().chain(sensor).collect()
    }

    /// What detectors ask of the processors that run them.
    pub(crate) fn processors(&self) -> Parts {
        self.all(|kind, below| {
            matches!(kind, "detector" | "module") && below.is_none_or(|b| b == "sensor")
        })
    }

    /// The direct-current network: every supply, every load, every conductor at the temperature of its depth.
    pub(crate) fn electric(&self) -> Parts {
        let mut parts = self.all(|kind, below| {
            matches!(kind, "supply" | "module" | "span" | "section" | "exclusive")
                && below != Some("sensor")
        });
        // What crosses a span as data carries no power.
        parts.retain(|p| !(p.starts_with("span.") && p.ends_with(".link")));
        parts.insert("site.profile".to_owned());
        let in_air = |s: &plan::Span| s.heat.is_some_and(|h| matches!(h.lies_in, LiesIn::Air));
        if self.line.spans.iter().any(in_air) {
            parts.insert("site.air_temperature".to_owned());
        }
        // In water that is as warm at every depth no depth is read.
        if self.line.sea.profile.len() > 1 {
            let ends = self.line.spans.iter().filter(|s| s.conductor.is_some());
            let mut ends = ends.flat_map(|s| [s.from, s.to]);
            let on_a_section = |m: ModuleIx| {
                let position = self.line.modules[m.0].position;
                !matches!(position, Position::Depth(q) if q.si.is_finite())
            };
            if ends.clone().any(on_a_section) {
                parts.extend(self.shapes());
            }
            if ends.any(|m| self.reads_the_floor(m)) {
                parts.insert(FLOOR.to_owned());
            }
        }
        parts
    }

    /// Whether the depth of a module rests on that of the water: by the sections on which it hangs it comes to an anchor, or to
    /// what could not be settled.
    fn reads_the_floor(&self, module: ModuleIx) -> bool {
        let mut on_the_way = vec![module];
        let mut next = 0;
        while let Some(m) = on_the_way.get(next).copied() {
            next += 1;
            let section = match self.line.modules[m.0].position {
                Position::Depth(q) if q.si.is_finite() => continue,
                Position::Depth(_) => return true,
                Position::FromTop { section, .. } | Position::FromAnchor { section, .. } => section,
            };
            let section = &self.line.sections[section.0];
            for end in [section.from, section.to] {
                match end {
                    SectionEnd::Anchor(_) => return true,
                    SectionEnd::Float(_) => {}
                    SectionEnd::Module(m) if on_the_way.contains(&m) => {}
                    SectionEnd::Module(m) => on_the_way.push(m),
                }
            }
        }
        false
    }

    /// The links: every span and every module, and the sections where they give a length.
    fn network(&self) -> Parts {
        let derived = self.line.spans.iter().any(|s| s.written_length_m.is_none());
        let mut parts = self.all(|kind, below| match kind {
            "module" => below.is_none(),
            "section" => derived,
            _ => matches!(kind, "span" | "bus"),
        });
        parts.insert("traffic".to_owned());
        parts
    }

    /// What links carry: the links, and all that is published.
    pub(crate) fn load(&self) -> Parts {
        let mut parts = self.network();
        parts.extend(self.streams());
        parts
    }

    /// Clocks of modules, and what sets them.
    fn clocks(&self) -> Parts {
        let mut parts = self.load();
        parts.extend(self.all(|kind, _| kind == "module"));
        parts
    }

    /// Depth of a module and that of its housing: the sections on which it hangs, and what they hang on.
    pub(crate) fn depth(&self, module: &str) -> Parts {
        let own = ["position", "housing"].map(|key| format!("{module}.{key}"));
        let mut parts = Parts::from_iter(own);
        parts.insert("module".to_owned());
        let Some(m) = module
            .strip_prefix("module.")
            .and_then(|id| self.line.module_by_id(id))
        else {
            return parts;
        };
        let plain =
            matches!(self.line.modules[m.0].position, Position::Depth(q) if q.si.is_finite());
        if !plain {
            parts.extend(self.places());
            // What gives the shape of the line gives the depths on it.
            parts.extend(self.shapes());
        }
        if self.reads_the_floor(m) {
            parts.insert(FLOOR.to_owned());
        }
        parts
    }

    /// Where everything hangs: every section, and the position of every module.
    fn places(&self) -> Parts {
        let mut parts = self.all(|kind, _| kind == "section");
        parts.insert("module".to_owned());
        let modules = self.every_module();
        parts.extend(modules.iter().map(|m| format!("{m}.position")));
        parts
    }

    /// Shapes of the line in every case: all that hangs on sections, and what they hang on and in.
    pub(crate) fn shapes(&self) -> Parts {
        let mut parts =
            self.all(|kind, _| matches!(kind, "section" | "anchor" | "float" | "weight" | "case"));
        parts.extend(WATERS.map(|key| format!("site.{key}")));
        if self.line.sea.growth.is_some() {
            parts.extend(["duration", "recovery_slip"].map(|key| format!("deployment.{key}")));
        }
        parts.insert("module".to_owned());
        for module in self.every_module() {
            parts.extend(["position", "housing", "hull"].map(|key| format!("{module}.{key}")));
        }
        parts
    }

    /// Strum beside hydrophones: the shapes of the line, its detectors and sensors.
    pub(crate) fn strum(&self) -> Parts {
        let mut parts = self.shapes();
        parts.extend(self.all(|kind, below| kind == "detector" || below == Some("sensor")));
        parts
    }

    /// Waves at hydrophones: what they hang by, and their chains.
    pub(crate) fn waves(&self) -> Parts {
        let mut parts = self.shapes();
        parts.extend(self.all(|_, below| below == Some("sensor")));
        for table in ["deployment", "site"] {
            parts.insert(table.to_owned());
        }
        parts
    }

    /// Weak links and the tensions at them.
    pub(crate) fn weak_links(&self) -> Parts {
        let mut parts = self.shapes();
        parts.extend(self.all(|kind, _| kind == "weak_link"));
        parts
    }

    /// Drift alarms, the watch circles within them, and how many position fixes there are.
    pub(crate) fn drift_alarms(&self) -> Parts {
        let mut parts = self.shapes();
        parts.extend(["duration", "recovery_slip"].map(|key| format!("deployment.{key}")));
        for module in self.every_module() {
            parts.insert(format!("{module}.drift_alarm"));
        }
        parts
    }

    /// Length of a span as written, or along the sections.
    pub(crate) fn length(&self, span: &str) -> Parts {
        let mut parts = some(["span".to_owned(), span.to_owned(), format!("{span}.link")]);
        let id = span.strip_prefix("span.").unwrap_or(span);
        let by_radio =
            |s: &&plan::Span| s.id == id && s.link.as_ref().is_some_and(|l| l.antennas_m.is_some());
        if let Some(radio) = self.line.spans.iter().find(by_radio) {
            let ends =
                [radio.from, radio.to].map(|end| format!("{}.hull", self.line.module_path(end)));
            parts.extend(ends);
            parts.insert("site.wave_height".to_owned());
        }
        let derived = self
            .line
            .spans
            .iter()
            .any(|s| s.id == id && s.written_length_m.is_none());
        if derived {
            parts.extend(self.places());
        }
        parts
    }

    /// Length of a bus: that of all its spans.
    pub(crate) fn bus(&self, bus: &str) -> Parts {
        let mut parts = some(["bus".to_owned(), bus.to_owned()]);
        parts.extend(self.all(|kind, _| kind == "span"));
        if self.line.spans.iter().any(|s| s.written_length_m.is_none()) {
            parts.extend(self.places());
        }
        parts
    }

    /// Verdicts on each thing of a kind: those whose parts have a mistake are unknown, also where the line lost the thing.
    pub(crate) fn each(
        &self,
        verdicts: Vec<Verdict>,
        kind: &str,
        parts: impl Fn(&str) -> Parts,
    ) -> Vec<Verdict> {
        let things = self.reading.spoilt.declared().filter(|p| {
            p.split_once('.')
                .is_some_and(|(k, id)| k == kind && !id.contains('.'))
        });
        let wrong: Vec<(&str, Verdict)> = things
            .filter_map(|p| Some((p, self.spoilt(&parts(p))?)))
            .collect();
        if wrong.is_empty() {
            return self
                .spoilt(&some([kind.to_owned()]))
                .map_or(verdicts, |v| vec![v]);
        }
        let mut all: Vec<Verdict> = verdicts
            .into_iter()
            .filter(|v| wrong.iter().all(|(p, _)| v.subject() != *p))
            .collect();
        all.extend(wrong.into_iter().map(|(path, verdict)| match verdict {
            Verdict::Unknown { why, .. } => unknown(path, why),
            known => known,
        }));
        all
    }
}

fn some<const N: usize>(parts: [String; N]) -> Parts {
    parts.into_iter().collect()
}
