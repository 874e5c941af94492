//! Clocks along a line: what a two-way exchange tells, and how far a clock may be off all the same.
//!
//! A module sends a request at its time T1, the master has it at T2 and answers at T3 by its own time, and the answer is there at T4 by the module's. Then (RFC 5905 section 8, read in
//! quotations; IEEE 1588 has the same with the other sign)
//!
//! ```text
//! offset  theta = ((T2 - T1) + (T3 - T4)) / 2       delay  delta = (T4 - T1) - (T3 - T2)
//! ```
//!
//! with theta what is to be added to the module's clock. If the request took d_up and the answer d_down, theta is wrong by (d_up - d_down)/2. Where each is known only to lie between the
//! soonest and the latest that the network allows, that is at most half of the greater of `up_latest - down_soonest` and `down_latest - up_soonest`; it is never more than delta/2
//! (RFC 5905 section 4 adds the reading errors epsilon). Each of the four stamps is wrong by a jitter at most, which adds twice the half of two of them: the jitter of module and master together.
//! Stamps at the wire leave out what the frames waited for and what the modules took to process them, if every module on the way tells how long it held the frame; then propagation and
//! one frame time each way remain, and these cancel; the jitter of each module on the way does not, nor what its clock runs wrong while it holds a frame. Between two exchanges a clock of drift y
//! runs away by y times the interval, and a little more until the answer of the next is there.
//!
//! Symbols: times in ns; drift as a ratio (2 ppm = 2e-6). Bounds, not laws: the error that remains is never more than this, and mostly far less.

use timeline::Ns;

/// Half-nanosecond sums are kept whole: twice the offset, in ns.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Exchanged {
    /// Twice what is to be added to the module's clock, ns.
    pub twice_offset_ns: i128,
    /// Time on the way, both ways together, ns.
    pub delay_ns: i128,
}

/// What the four stamps of an exchange tell, each in ns of the clock that made it.
#[must_use]
pub fn two_way(t1: i64, t2: i64, t3: i64, t4: i64) -> Exchanged {
    let [t1, t2, t3, t4] = [t1, t2, t3, t4].map(i128::from);
    Exchanged {
        twice_offset_ns: (t2 - t1) + (t3 - t4),
        delay_ns: (t4 - t1) - (t3 - t2),
    }
}

/// The soonest and the latest that a message takes one way.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct OneWay {
    /// In an empty network.
    pub soonest: Ns,
    /// At most.
    pub latest: Ns,
}

/// How stamps are made, and how clocks run.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SyncSpec {
    /// From one exchange to the next.
    pub every: Ns,
    /// How far a stamp may lie from the instant it stands for.
    pub jitter: Ns,
    /// Whether stamps are made at the wire and the time in each module on the way is told.
    pub at_the_wire: bool,
    /// Greatest drift of the module's clock against the master's, as a ratio.
    pub drift: f64,
}

/// How far a clock may be off, and from what.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ClockError {
    /// From the jitter of the stamps, s.
    pub stamps_s: f64,
    /// From ways that differ there and back, s.
    pub ways_s: f64,
    /// From drift until the next correction has been made, s.
    pub drift_s: f64,
}

impl ClockError {
    /// All together, s.
    #[must_use]
    pub fn total_s(self) -> f64 {
        self.stamps_s + self.ways_s + self.drift_s
    }
}

/// The error that may remain at a module `hops` links from the master, just before its clock is corrected again.
///
/// The drift counts from the instant at which the exchange before was half done until the answer of the next is there: an interval and both ways at most. Software stamps: four, of which half
/// counts. At the wire: besides, two for each module between, both ways, of which half counts.
#[must_use]
pub fn clock_error(spec: SyncSpec, up: OneWay, down: OneWay, hops: u32) -> ClockError {
    let jitter_s = spec.jitter.as_s_f64();
    let between = |later: Ns, sooner: Ns| later.0.saturating_sub(sooner.0);
    let (drift, both_s) = (
        spec.drift.abs(),
        up.latest.as_s_f64() + down.latest.as_s_f64(),
    );
    let (on_the_way, apart_s) = if spec.at_the_wire {
        // What is held is measured by clocks that drift.
        (2 * hops.saturating_sub(1), drift * both_s)
    } else {
        let apart = between(up.latest, down.soonest).max(between(down.latest, up.soonest));
        (0, Ns(apart).as_s_f64())
    };
    ClockError {
        stamps_s: jitter_s * f64::from(2 + on_the_way),
        ways_s: 0.5 * apart_s,
        drift_s: drift * (spec.every.as_s_f64() + both_s),
    }
}
