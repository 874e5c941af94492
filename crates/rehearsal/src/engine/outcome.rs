//! What came of a rehearsal: counts, energies and lowest and highest voltages.

use std::collections::VecDeque;

use assess::Status;
use assess::input::{Carrier, Traffic};
use network::{Post, PostStats, Stats};
use plan::{BehaviourIx, ModuleIx, SensorIx};
use timeline::Ns;

pub use super::stores::StoreCount;
use super::{Acquaintance, Engine, JoinCount, RequestCount, SettingCount};
use crate::came::TopicCame;
use crate::expect::Expectation;
use crate::fault_cost::FaultCame;
use crate::packets::StreamCame;

/// What came of a rehearsal.
#[derive(Clone, Debug)]
pub struct Outcome {
    /// The expectations, in the order of their ids.
    pub expectations: Vec<Expectation>,
    /// How long it ran, s.
    pub duration_s: f64,
    /// Lowest and highest voltage at each module, V.
    pub voltages_v: Vec<(f64, f64)>,
    /// Energy that each module drew from the line, J.
    pub module_energy_j: Vec<f64>,
    /// Energy that each supply gave, J.
    pub supply_energy_j: Vec<f64>,
    /// Restarts of each module.
    pub restarts: Vec<u32>,
    /// Of each uplink: messages sent, billed messages, expired, still waiting.
    pub uplinks: Vec<UplinkCount>,
    /// What each store took.
    pub stores: Vec<StoreCount>,
    /// Copies of messages asked for, delivered, lost and under way at the end; packets of streams are not among them.
    pub copies: Copies,
    /// Of these, the copies of topics that are sent again, held or kept.
    pub on_terms: PostStats,
    /// What bit errors cost on each bus whose stations send again what they hit.
    pub buses: Vec<BusCame>,
    /// What came of each topic.
    pub topics: Vec<TopicCame>,
    /// What came of each stream.
    pub streams: Vec<StreamCame>,
    /// What came of each fault.
    pub faults: Vec<FaultCame>,
    /// What came of each request.
    pub requests: Vec<RequestCount>,
    /// What came of the joining notices of each module.
    pub joins: Vec<JoinCount>,
    /// Who learnt of whom, of those that told what they are.
    pub acquaintances: Vec<Acquaintance>,
    /// Events that each detector confirmed.
    pub confirmed: Vec<u64>,
    /// Starts of each behaviour that its `at_most` held back; those of a routine stand at the first behaviour of its id.
    pub held_back: Vec<u64>,
    /// What each routine did, in the order of their ids.
    pub routines: Vec<RoutineCount>,
    /// What became of the settings of each detector that has any.
    pub settings: Vec<SettingCount>,
    /// What each of them logged.
    pub logs: Vec<RoutineLog>,
    /// The farthest that the clock of each module was off, s; `None` where the plan says nothing of it.
    pub clocks_s: Vec<Option<f64>>,
    /// Clocks that ran on their drift alone, because nothing bounds how far off an exchange leaves them, with the reason in words.
    pub clocks_never_set: Vec<(ModuleIx, String)>,
    /// Of each topic: values that lay outside their field and were sent as the end of it.
    pub clamped: Vec<u64>,
    /// Records written.
    pub records: u64,
    /// Samples of each hydrophone that were clipped.
    pub clipped: Vec<(SensorIx, u64)>,
    /// Hydrophones whose self-noise the plan leaves open: their ears hear the sea and what is known of amplifier and converter.
    pub self_noise_unknown: Vec<SensorIx>,
}

impl Outcome {
    /// Met when every expectation held, broken when one did not, unknown when there is none.
    #[must_use]
    pub fn status(&self) -> Status {
        if self.expectations.is_empty() {
            Status::Unknown
        } else if self.expectations.iter().all(|e| e.passed) {
            Status::Met
        } else {
            Status::Broken
        }
    }
}

/// What an uplink did.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct UplinkCount {
    /// Messages queued for it. `queued = sent + expired + dropped + waiting`.
    pub queued: u64,
    /// Messages ashore.
    pub sent: u64,
    /// Billed messages.
    pub billed: u64,
    /// Given up.
    pub expired: u64,
    /// Dropped because too many waited.
    pub dropped: u64,
    /// Months in which the cap was reached.
    pub months_capped: u64,
    /// Still waiting at the end.
    pub waiting: u64,
}

/// What bit errors cost on a bus whose stations send again what they hit.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct BusCame {
    /// The bus, or the span that is one.
    pub over: Carrier,
    /// Sendings begun, repeats among them.
    pub frames: u64,
    /// Of these, those that a bit error hit.
    pub hit: u64,
    /// Its stations, in its order.
    pub stations: Vec<StationCame>,
}

/// What bit errors cost a station of a bus.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct StationCame {
    /// The module.
    pub module: ModuleIx,
    /// Its sendings that a bit error hit and that came to their end.
    pub hit: u64,
    /// How often it left the bus because of its many errors.
    pub bus_offs: u64,
    /// The highest that its transmit error counter has stood at.
    pub most_errors: u32,
}

fn buses_came(stats: &Stats, traffic: &Traffic) -> Vec<BusCame> {
    let mut all = Vec::new();
    for (bus, over) in traffic.shared.iter().enumerate() {
        let on_it = stats.stations.iter().filter(|s| s.bus == bus);
        let stations: Vec<StationCame> = on_it
            .map(|s| StationCame {
                module: ModuleIx(s.node),
                hit: s.hit,
                bus_offs: s.bus_offs,
                most_errors: s.most_errors,
            })
            .collect();
        if !stations.is_empty() {
            all.push(BusCame {
                over: *over,
                frames: stats.buses[bus].frames,
                hit: stats.buses[bus].hit,
                stations,
            });
        }
    }
    all
}

/// What a routine did.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct RoutineCount {
    /// Its behaviour.
    pub behaviour: BehaviourIx,
    /// Runs.
    pub runs: u64,
    /// Steps of the run that took most, of [`routine::LIMITS`].
    pub most_operations: u64,
    /// How often a fault stopped it.
    pub stops: u64,
}

/// What a routine logged.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct RoutineLog {
    /// Lines.
    pub lines: u64,
    /// The last of them with their times, at most [`LAST_LINES`](RoutineLog::LAST_LINES).
    pub last: VecDeque<(Ns, String)>,
}

impl RoutineLog {
    /// Lines that are kept; a trace has all.
    pub const LAST_LINES: usize = 5;

    pub(super) fn add(&mut self, at: Ns, text: &str) {
        self.lines += 1;
        if self.last.len() == Self::LAST_LINES {
            self.last.pop_front();
        }
        self.last.push_back((at, text.to_owned()));
    }
}

/// Copies of messages.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct Copies {
    /// Asked for.
    pub due: u64,
    /// Delivered by the network.
    pub delivered: u64,
    /// Lost by the network.
    pub lost: u64,
    /// Under way at the end.
    pub under_way: u64,
}

impl Engine<'_> {
    pub(super) fn finish(mut self) -> Outcome {
        debug_assert!(
            self.contents
                .messages()
                .all(|m| self.origins.contains_key(&m)),
            "what a message holds is forgotten with its last copy"
        );
        let stores = self.store_counts();
        self.asks.count_open();
        for (count, clamped) in (self.asks.counts.iter_mut()).zip(&self.contents.clamped_asking) {
            count.clamped = *clamped;
        }
        let (streams, packets) = self.streams_came();
        let [sent, arrived, lost, flying] = packets;
        let open = |post: &Post| -> Vec<(u64, u64)> {
            self.topics.iter().map(|t| post.open_copies(*t)).collect()
        };
        let open = self.machine.as_ref().map(open).unwrap_or_default();
        let (topics, faults) = self.came.finish(&stores, &open);
        let stats = self.machine.as_ref().map(Post::stats);
        let buses = match (&stats, &self.traffic) {
            (Some(stats), Some(traffic)) => buses_came(stats, traffic),
            _ => Vec::new(),
        };
        Outcome {
            expectations: self.watcher.finish(self.end, &faults),
            duration_s: self.end.as_s_f64(),
            voltages_v: self
                .modules
                .iter()
                .map(|m| (m.lowest_v, m.highest_v))
                .collect(),
            module_energy_j: self.modules.iter().map(|m| m.energy_j).collect(),
            supply_energy_j: self.supply_j,
            restarts: self.modules.iter().map(|m| m.restarts).collect(),
            uplinks: self
                .uplinks
                .iter()
                .map(|u| UplinkCount {
                    queued: u.uplink.stats().offered,
                    waiting: u.uplink.stats().waiting,
                    ..u.count
                })
                .collect(),
            stores,
            buses,
            copies: stats.map_or_else(Copies::default, |s| Copies {
                due: s.copies_due - sent,
                delivered: s.delivered - arrived,
                lost: s.dropped - lost,
                under_way: s.in_flight - flying,
            }),
            on_terms: self
                .machine
                .as_ref()
                .map(Post::terms_stats)
                .unwrap_or_default(),
            topics,
            streams,
            faults,
            acquaintances: self.asks.acquaintances(),
            requests: self.asks.counts,
            joins: self.asks.joins,
            confirmed: self.confirmed,
            held_back: self.held_back,
            routines: self.routines.counts(),
            settings: self.settings.into_iter().flatten().collect(),
            logs: self.routines.logs(),
            clamped: self.contents.clamped,
            clocks_s: self.clocks.farthest_s(self.end),
            clocks_never_set: self.clocks.never_set(),
            records: self.next_record,
            clipped: self.ears.clipped(),
            self_noise_unknown: self.ears.self_noise_unknown(self.line),
        }
    }
}
