//! CAN and CAN FD: bits of a frame at worst, and how long a frame waits at worst.
//!
//! Sources: R. I. Davis, A. Burns, R. J. Bril, J. J. Lukkien, "Controller Area Network (CAN) schedulability analysis: refuted, revisited and revised",
//! *Real-Time Systems* 35 (2007) 239-272: bits of a frame (equations 1 to 3, read in an open header that quotes them) and the revised response times (recurrence
//! read in two public programs). Fields of a CAN FD frame by ISO 11898-1:2015, read in the same kind of header.
//!
//! Bits of a CAN 2.0 frame with s data bytes, worst stuffing and three bits between frames: g + 8 s + 13 + floor((g + 8 s - 1)/4), g = 34 with 11-bit
//! identifiers and 54 with 29-bit ones: 55 + 10 s and 80 + 10 s.
//!
//! CAN FD has two rates. At the arbitration rate: start, identifier and control bits up to the rate switch (17 or 36), with one stuff bit after each four
//! (4 or 8), check delimiter, acknowledgement, end of frame and gap (13). At the data rate: state and length (5), data, stuff bits up to the end of the data,
//! stuff count (4), check sequence of 17 bits up to 16 bytes and of 21 beyond with its 6 or 7 fixed stuff bits. Bits at a switch of rates count as slow.
//!
//! Response time of frame m (lower number: higher priority): B the longest frame that goes after, C frame times, T periods, J jitters, tau a bit time. Busy
//! period t = B + sum over k <= m of ceil((t + J_k)/T_k) C_k; for each of the Q = ceil((t + J_m)/T_m) instances in it
//! w = B + q C_m + sum over k < m of ceil((w + J_k + tau)/T_k) C_k, R = max over q of J_m + w - q T_m + C_m. Without tau a frame without blocking "ends" at
//! w = 0. All in integer nanoseconds.

use timeline::Ns;

/// Most steps of the recurrences for one frame, so that a bus a hair below full ends.
const MOST_STEPS: u32 = 1_000_000;
const NS_PER_S: u128 = 1_000_000_000;
/// Payloads that a CAN FD frame can have above eight bytes.
const FD_SIZES: [u32; 7] = [12, 16, 20, 24, 32, 48, 64];

/// Length of identifiers.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum CanIds {
    /// 11 bits.
    Bits11,
    /// 29 bits.
    Bits29,
}

/// Bits of a CAN FD frame at its two rates.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct CanFdBits {
    /// At the arbitration rate.
    pub arbitration: u32,
    /// At the data rate.
    pub data: u32,
}

/// A frame that comes again and again.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct CanMessage {
    /// Time on the bus at worst.
    pub frame: Ns,
    /// Shortest time from one to the next, jitter aside.
    pub period: Ns,
    /// Longest time by which it may be queued late.
    pub jitter: Ns,
}

/// How late a frame can be.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum CanResponse {
    /// No later than this, counted from the event that it tells of (jitter included).
    Within(Ns),
    /// The bus is full with what goes no later: there is no bound.
    Unbounded,
}

/// More data than a frame holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("a frame of {bytes} data bytes does not exist; the most is {most}")]
pub struct DataTooLong {
    /// Data bytes, headers of higher protocols included.
    pub bytes: u32,
    /// Bytes that fit.
    pub most: u32,
}

/// A question that makes no sense, or too large a one.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum CanError {
    /// A bit time, frame time or period of zero.
    #[error("a bit, a frame or a period of 0 ns")]
    NoTime,
    /// The busy period is too long to be looked through.
    #[error("the bus is so nearly full that its busy period cannot be looked through")]
    TooLong,
}

/// Bits of a CAN 2.0 frame at worst, the gap behind it included.
///
/// # Errors
/// [`DataTooLong`] above 8 bytes.
pub fn can_frame_bits(ids: CanIds, data_bytes: u32) -> Result<u32, DataTooLong> {
    if data_bytes > 8 {
        return Err(DataTooLong {
            bytes: data_bytes,
            most: 8,
        });
    }
    let header = match ids {
        CanIds::Bits11 => 34,
        CanIds::Bits29 => 54,
    };
    let stuffable = header + 8 * data_bytes;
    Ok(stuffable + 13 + (stuffable - 1) / 4)
}

/// Bits of a CAN FD frame at worst, the gap behind it included. Data are filled up to the next size that exists: 0 to 8, 12, 16, 20, 24, 32, 48, 64 bytes.
///
/// # Errors
/// [`DataTooLong`] above 64 bytes.
pub fn can_fd_frame_bits(ids: CanIds, data_bytes: u32) -> Result<CanFdBits, DataTooLong> {
    let filled = if data_bytes <= 8 {
        data_bytes
    } else {
        FD_SIZES
            .into_iter()
            .find(|size| *size >= data_bytes)
            .ok_or(DataTooLong {
                bytes: data_bytes,
                most: 64,
            })?
    };
    let to_switch = match ids {
        CanIds::Bits11 => 17,
        CanIds::Bits29 => 36,
    };
    let stuffed_slow = (to_switch - 1) / 4;
    let stuffable = to_switch + 5 + 8 * filled;
    let stuffed_fast = (stuffable - 1) / 4 - stuffed_slow;
    let check = if filled <= 16 { 17 + 6 } else { 21 + 7 };
    Ok(CanFdBits {
        arbitration: to_switch + stuffed_slow + 13,
        data: 5 + 8 * filled + stuffed_fast + 4 + check,
    })
}

/// Response times at worst, highest priority first; `bit` is one bit time of the bus at its arbitration rate.
///
/// # Errors
/// [`CanError::NoTime`], [`CanError::TooLong`].
pub fn can_response_times(messages: &[CanMessage], bit: Ns) -> Result<Vec<CanResponse>, CanError> {
    responses(messages, bit, |_| None)
}

/// Response times, each with the least time between errors and what each error costs, ns, where there are some.
pub(crate) fn responses(
    messages: &[CanMessage],
    bit: Ns,
    errors: impl Fn(usize) -> Option<(u128, u128)>,
) -> Result<Vec<CanResponse>, CanError> {
    let share = |m: &CanMessage| Share {
        busy_ns: u128::from(m.frame.0),
        period_ns: u128::from(m.period.0),
        jitter_ns: u128::from(m.jitter.0),
    };
    let all: Vec<Share> = messages.iter().map(share).collect();
    (0..all.len())
        .map(|m| {
            let blocking = all[m + 1..].iter().map(|s| s.busy_ns).max();
            response(&all[..m], all[m], blocking.unwrap_or(0), bit, errors(m))
        })
        .collect()
}

/// What asks for the bus for `busy` in each `period`, up to `jitter` late.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Share {
    pub(crate) busy_ns: u128,
    pub(crate) period_ns: u128,
    pub(crate) jitter_ns: u128,
}

impl Share {
    fn within(self, span_ns: u128) -> u128 {
        (span_ns + self.jitter_ns).div_ceil(self.period_ns) * self.busy_ns
    }
}

/// Response time of one frame beside all that goes before it, with errors so far apart and of such a cost.
pub(crate) fn response(
    before: &[Share],
    own: Share,
    blocking_ns: u128,
    bit: Ns,
    errors: Option<(u128, u128)>,
) -> Result<CanResponse, CanError> {
    let nothing = |s: &Share| s.busy_ns == 0 || s.period_ns == 0;
    if bit == Ns::ZERO || nothing(&own) || before.iter().any(|s| s.period_ns == 0) {
        return Err(CanError::NoTime);
    }
    let asked_by_errors = errors.map(|(apart_ns, cost_ns)| Share {
        busy_ns: cost_ns,
        period_ns: apart_ns,
        jitter_ns: 0,
    });
    if full(before.iter().chain([&own]).chain(&asked_by_errors)) {
        return Ok(CanResponse::Unbounded);
    }
    let mut steps = 0;
    let mut grow = |from: u128, next: &dyn Fn(u128) -> u128| {
        let mut now = from;
        loop {
            let then = next(now);
            if then == now {
                return Ok(now);
            }
            now = then;
            steps += 1;
            if steps > MOST_STEPS || now > u128::from(u64::MAX) {
                return Err(CanError::TooLong);
            }
        }
    };
    let interference = |span: u128| before.iter().map(|s| s.within(span)).sum::<u128>();
    let lost = |span: u128| asked_by_errors.map_or(0, |errors| errors.within(span));
    let busy = grow(own.busy_ns, &|t| {
        blocking_ns + own.within(t) + interference(t) + lost(t)
    })?;
    let instances = (busy + own.jitter_ns).div_ceil(own.period_ns);
    if instances > u128::from(MOST_STEPS) {
        return Err(CanError::TooLong);
    }
    let mut worst = 0;
    let mut waited = blocking_ns;
    for q in 0..instances {
        let least = blocking_ns + q * own.busy_ns;
        waited = grow(waited.max(least), &|w| {
            least + interference(w + u128::from(bit.0)) + lost(w + own.busy_ns)
        })?;
        let since = (own.jitter_ns + waited + own.busy_ns)
            .checked_sub(q * own.period_ns)
            .expect("an instance of a busy period begins before that ends");
        worst = worst.max(since);
        waited += own.busy_ns;
    }
    u64::try_from(worst)
        .map(|ns| CanResponse::Within(Ns(ns)))
        .map_err(|_| CanError::TooLong)
}

/// Whether the shares come to the whole bus or more, each rounded up by less than one part in 10^18.
fn full<'a>(shares: impl Iterator<Item = &'a Share>) -> bool {
    const WHOLE: u128 = NS_PER_S * NS_PER_S;
    let mut sum = 0u128;
    for s in shares {
        if s.busy_ns >= s.period_ns {
            return true;
        }
        // busy < period < 2^64, so that the product stays below 2^124.
        sum += (s.busy_ns * WHOLE).div_ceil(s.period_ns);
    }
    sum >= WHOLE
}
