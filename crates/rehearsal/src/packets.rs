//! What comes of the packets of a stream, counted in a memory that does not grow with their number.

use assess::input::Carrier;
use network::DirectionStats;
use plan::ModuleIx;
use timeline::Ns;

use crate::latency::{Latencies, Latency};
use crate::record::Loss;

/// What came of a stream. `sent = delivered + lost + under_way`.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct StreamCame {
    /// `check` has no room for it: it did not run.
    pub refused: bool,
    /// Packets sent.
    pub sent: u64,
    /// Packets delivered.
    pub delivered: u64,
    /// Packets lost, by reason, in the order in which the reasons came.
    pub lost: Vec<(Loss, u64)>,
    /// Packets still on their way at the end.
    pub under_way: u64,
    /// Packets delivered later than the bound of `check`.
    pub late: u64,
    /// Of these, those that were late although nothing was amiss: the bound or the run is wrong.
    pub beyond_bound: u64,
    /// From sending to delivery; `None` when nothing was delivered.
    pub latency: Option<Latency>,
    /// The longest time without a packet at the receiver while the stream was to run, that at the end included.
    pub greatest_gap: Option<Ns>,
    /// The most packets that were sent and neither delivered nor lost yet.
    pub most_under_way: u64,
    /// The longest that a packet may take by `check`.
    pub bound: Option<Ns>,
    /// What a packet takes that waits for nothing; `None` on a way over a bus, where it waits for its turn.
    pub soonest: Option<Ns>,
    /// The way that it takes when all is whole.
    pub way: Vec<WayCame>,
}

/// A link of a stream's way, with all that crossed it.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct WayCame {
    /// The span or bus.
    pub over: Carrier,
    /// Towards which module.
    pub to: ModuleIx,
    /// Time in which it carried something this way, of a bus any way.
    pub busy: Ns,
    /// The most frames that waited for it at once.
    pub most_waiting: usize,
}

impl WayCame {
    pub(crate) fn of(over: Carrier, to: ModuleIx, stats: &DirectionStats) -> WayCame {
        WayCame {
            over,
            to,
            busy: stats.busy,
            most_waiting: stats.most_waiting,
        }
    }
}

/// The end of a packet's way.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(crate) enum PacketEnd {
    /// Delivered so long after it was sent, and whether that is longer than the bound of `check`, where it knows one.
    Delivered { after: Ns, late: Option<bool> },
    /// Lost.
    Lost(Loss),
}

/// Counts of one stream.
#[derive(Clone, Debug, Default)]
pub(crate) struct Counts {
    pub(crate) came: StreamCame,
    latencies: Latencies,
    lost: u64,
    /// Since when nothing has come in, while something was to.
    nothing_since: Option<Ns>,
}

impl Counts {
    /// The stream begins to run, or goes on after its module stopped: then what the receiver missed meanwhile counts.
    pub(crate) fn begins(&mut self, now: Ns) {
        self.nothing_since.get_or_insert(now);
    }

    /// It is to run no more.
    pub(crate) fn is_over(&mut self, now: Ns) {
        self.gap(now);
        self.nothing_since = None;
    }

    /// So many packets were sent so far.
    pub(crate) fn sent(&mut self, sent: u64) {
        self.came.sent = sent;
        self.came.under_way = sent - self.came.delivered - self.lost;
        self.came.most_under_way = self.came.most_under_way.max(self.came.under_way);
    }

    pub(crate) fn ends(&mut self, now: Ns, end: PacketEnd) {
        match end {
            PacketEnd::Delivered { after, late } => {
                self.came.delivered += 1;
                self.came.late += u64::from(late == Some(true));
                self.latencies.add(after);
                self.gap(now);
                if let Some(since) = &mut self.nothing_since {
                    *since = now;
                }
            }
            PacketEnd::Lost(why) => {
                self.lost += 1;
                match self.came.lost.iter_mut().find(|(w, _)| *w == why) {
                    Some((_, n)) => *n += 1,
                    None => self.came.lost.push((why, 1)),
                }
            }
        }
    }

    fn gap(&mut self, now: Ns) {
        let gap = self.nothing_since.and_then(|since| now.checked_sub(since));
        self.came.greatest_gap = self.came.greatest_gap.max(gap);
    }

    pub(crate) fn finish(mut self, end: Ns, sent: u64) -> StreamCame {
        self.sent(sent);
        self.gap(end);
        StreamCame {
            latency: self.latencies.told(),
            ..self.came
        }
    }
}
