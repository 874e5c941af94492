//! How long a lone message takes to the shore, as a distribution.
//!
//! Purpose: the time from the offer to the end of the session that brings it ashore, for a message that finds the queue empty, is not held for others and comes at any
//! instant of the period of the windows alike. Attempts succeed by chance `p`, each on its own, or by the state of the sea ([`Tries`]); a failure costs its session and the back-off.
//!
//! Method: as a function of the instant of the offer the begin of each attempt is piecewise either that instant and a constant, or a constant (the begin of a window); so the time
//! is constant or falls uniformly on each piece, and its distribution is a sum of steps and ramps, with weight `p (1-p)^k` after `k` failures. Exact but for rounding and for what is
//! left after the failures counted. Special cases: the mean wait for a begin is `(P - W)^2 / (2 P)` for windows of `W`, session taken off, each `P`; the mean number of attempts is `1/p`
//! (textbook probability). Outages, a cap and room are not counted.
//!
//! With the sea each piece carries the weights of calm and high; between two attempts they go on by the time between these. Where that time falls evenly over a piece, as in the wait for a window,
//! its mean is taken, over pieces of no more than a twentieth of a step of the sea.

use super::tries::Tries;
use super::{UplinkSpec, Windows};

/// Failures in a row are counted until so little is left.
const LEFT: f64 = 1e-10;
/// The same where the sea keeps messages, for hours on end.
const LEFT_BY_SEA: f64 = 1e-7;
/// Failures counted at most.
const MOST_FAILURES: u32 = 20_000;
/// Pieces of a step of the sea.
const PIECES_OF_A_STEP: f64 = 20.0;

/// The time of a lone message to the shore.
#[derive(Clone, Debug, PartialEq)]
pub struct LoneDelay {
    ramps: Vec<Ramp>,
    /// Share of the messages that become too old before they are ashore.
    pub given_up: f64,
    /// Share that is not counted: it needs more failures in a row than are followed.
    pub left: f64,
    /// Attempts that a message takes on average, those of messages that never come ashore included.
    pub attempts: f64,
}

/// A share of the messages whose times lie uniformly between two.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Ramp {
    share: f64,
    least_s: f64,
    most_s: f64,
}

/// Begin of an attempt for offers from `from_s` to `to_s`: `at_s`, to which the offer's own instant is added where it moves with it.
#[derive(Clone, Copy, Debug)]
struct Piece {
    from_s: f64,
    to_s: f64,
    at_s: f64,
    moves: bool,
    /// Of a message that is offered in it the chance that it is still at sea, in a calm and in a high one.
    at_sea: [f64; 2],
}

impl Piece {
    fn length_s(&self) -> f64 {
        self.to_s - self.from_s
    }

    fn still(&self) -> f64 {
        self.at_sea[0] + self.at_sea[1]
    }
}

impl LoneDelay {
    /// Share of all messages that are ashore within this time.
    #[must_use]
    pub fn share_within(&self, time_s: f64) -> f64 {
        let share = |r: &Ramp| {
            if time_s >= r.most_s {
                r.share
            } else if time_s <= r.least_s {
                0.0
            } else {
                r.share * (time_s - r.least_s) / (r.most_s - r.least_s)
            }
        };
        self.ramps.iter().map(share).sum()
    }

    /// Mean time of those that come ashore; `None` when none does.
    #[must_use]
    pub fn mean_s(&self) -> Option<f64> {
        let whole: f64 = self.ramps.iter().map(|r| r.share).sum();
        let sum: f64 = self
            .ramps
            .iter()
            .map(|r| r.share * (r.least_s + r.most_s) / 2.0)
            .sum();
        (whole > 0.0).then(|| sum / whole)
    }

    /// Time within which this share of all messages is ashore, to a millionth of the longest; `None` when fewer ever are.
    #[must_use]
    pub fn within_s(&self, share: f64) -> Option<f64> {
        let most_s = self.ramps.iter().fold(0.0, |most, r| r.most_s.max(most));
        if self.share_within(most_s) < share {
            return None;
        }
        let (mut low, mut high) = (0.0, most_s);
        for _ in 0..60 {
            let middle = (low + high) / 2.0;
            if self.share_within(middle) >= share {
                high = middle;
            } else {
                low = middle;
            }
        }
        Some(high)
    }
}

/// The time of a lone message, by the session, windows, back-off and expiry of an uplink, at this chance of success above 0 and at most 1; `None` for another chance.
#[must_use]
pub fn lone_delay(spec: &UplinkSpec, success: f64) -> Option<LoneDelay> {
    lone_delay_by_sea(spec, &Tries::steady(success)?)
}

/// The same where attempts succeed by the state of the sea; `None` where [`Tries::is_sane`] says no.
#[must_use]
pub fn lone_delay_by_sea(spec: &UplinkSpec, tries: &Tries) -> Option<LoneDelay> {
    if !tries.is_sane() {
        return None;
    }
    let session_s = spec.session.as_s_f64();
    // What of a window an attempt may begin in, and its period; at any time is a window as long as its period.
    let (period_s, open_s) = match spec.windows {
        Windows::Always => (1.0, f64::INFINITY),
        Windows::Every { period, width, .. } => (period.as_s_f64(), width.as_s_f64() - session_s),
    };
    let least_left = if tries.is_steady() { LEFT } else { LEFT_BY_SEA };
    let mut pieces = vec![Piece {
        from_s: 0.0,
        to_s: period_s,
        at_s: 0.0,
        moves: true,
        at_sea: tries.chain.at_rest(),
    }];
    let (mut ramps, mut given_up, mut attempts) = (Vec::new(), 0.0, 0.0);
    let share = |all: &[Piece]| -> f64 {
        let each = all.iter().map(|p| p.still() * p.length_s());
        each.sum::<f64>() / period_s
    };
    let mut wait_s = 0.0;
    for failures in 0..=MOST_FAILURES {
        let left = tries.left_after(wait_s);
        pieces = pieces
            .into_iter()
            .flat_map(|piece| {
                let begin = into_windows(piece, period_s, open_s);
                // Before its first attempt nothing is known of the sea.
                match failures {
                    0 => begin,
                    _ => by_sea(tries, &piece, begin, (wait_s, left)),
                }
            })
            .collect();
        if let Some(expiry) = spec.expiry {
            let before = share(&pieces);
            pieces.retain_mut(|p| young(p, expiry.as_s_f64()));
            given_up += before - share(&pieces);
        }
        attempts += share(&pieces);
        for p in &mut pieces {
            let (least_s, most_s) = if p.moves {
                (p.at_s, p.at_s)
            } else {
                (p.at_s - p.to_s, p.at_s - p.from_s)
            };
            let (ashore, stays) = tries.attempt(p.at_sea);
            p.at_sea = stays;
            ramps.push(Ramp {
                share: ashore * p.length_s() / period_s,
                least_s: least_s + session_s,
                most_s: most_s + session_s,
            });
        }
        if share(&pieces) < least_left {
            break;
        }
        wait_s = session_s + spec.backoff.after(failures + 1).as_s_f64();
        for p in &mut pieces {
            p.at_s += wait_s;
        }
    }
    Some(LoneDelay {
        ramps,
        given_up,
        left: share(&pieces),
        attempts,
    })
}

/// Lets the sea go on from one attempt to the next: by the back-off, of which so much is left, and by the wait for a window.
fn by_sea(tries: &Tries, was: &Piece, begin: Vec<Piece>, (wait_s, left): (f64, f64)) -> Vec<Piece> {
    if tries.is_steady() {
        return begin;
    }
    let longest_s = tries.step_s / PIECES_OF_A_STEP;
    let mut all = Vec::new();
    for piece in begin {
        if piece.moves || !was.moves {
            let extra_s = piece.at_s - was.at_s;
            let left = match extra_s == 0.0 {
                true => left,
                false => tries.left_after(wait_s + extra_s),
            };
            all.push(Piece {
                at_sea: tries.chain.with_left(piece.at_sea, left),
                ..piece
            });
            continue;
        }
        // An attempt that would have moved with the offer waits for the window: the later the offer, the less.
        let parts = (piece.length_s() / longest_s).ceil().max(1.0);
        let cut = |i: f64| piece.from_s + piece.length_s() * i / parts;
        for i in 0..parts as u32 {
            let (from_s, to_s) = (cut(f64::from(i)), cut(f64::from(i) + 1.0));
            let waits_s = |offered_s: f64| wait_s + piece.at_s - was.at_s - offered_s;
            let left = tries.left_between(waits_s(to_s), waits_s(from_s));
            all.push(Piece {
                from_s,
                to_s,
                at_sea: tries.chain.with_left(piece.at_sea, left),
                ..piece
            });
        }
    }
    all
}

/// Moves begins that lie in no window to the next one.
fn into_windows(piece: Piece, period_s: f64, open_s: f64) -> Vec<Piece> {
    if open_s >= period_s {
        return vec![piece];
    }
    if !piece.moves {
        let begin_s = (piece.at_s / period_s).floor() * period_s;
        let at_s = if piece.at_s - begin_s <= open_s {
            piece.at_s
        } else {
            begin_s + period_s
        };
        return vec![Piece { at_s, ..piece }];
    }
    let mut all = Vec::new();
    let mut from_s = piece.from_s;
    let mut window = ((from_s + piece.at_s) / period_s).floor();
    while from_s < piece.to_s {
        let (begin_s, next_s) = (window * period_s, (window + 1.0) * period_s);
        let closes_s = (begin_s + open_s - piece.at_s).clamp(from_s, piece.to_s);
        let opens_s = (next_s - piece.at_s).clamp(closes_s, piece.to_s);
        if closes_s > from_s {
            all.push(Piece {
                from_s,
                to_s: closes_s,
                ..piece
            });
        }
        if opens_s > closes_s {
            all.push(Piece {
                from_s: closes_s,
                to_s: opens_s,
                at_s: next_s,
                moves: false,
                ..piece
            });
        }
        from_s = opens_s;
        window += 1.0;
    }
    all
}

/// Cuts off the offers that are too old when an attempt would begin; false when all are.
fn young(piece: &mut Piece, expiry_s: f64) -> bool {
    if piece.moves {
        return piece.at_s <= expiry_s;
    }
    piece.from_s = piece.from_s.max(piece.at_s - expiry_s);
    piece.from_s < piece.to_s
}
