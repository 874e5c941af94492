//! Files that abut become one stretch; a gap begins a new one.

use jiff::Timestamp;
use thiserror::Error;

/// One file, as far as time goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Piece {
    /// Instant of its first sample.
    pub start: Timestamp,
    /// Frames in it; at least 1.
    pub frames: u64,
    /// Frames per second, Hz; at least 1.
    pub rate_hz: u32,
}

/// Pieces that follow each other without a gap.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stretch {
    /// Indices into the given pieces, in order of time.
    pub pieces: Vec<usize>,
    /// Instant of the first sample.
    pub start: Timestamp,
    /// Frames in all pieces together.
    pub frames: u64,
    /// Frames per second of every piece, Hz.
    pub rate_hz: u32,
    /// Time between the end of the stretch before and the start of this one, in nanoseconds (rounded down); `None` for
    /// the first. Within a sample period of 0 where only the rate differs.
    pub gap_before_ns: Option<i128>,
}

/// Why pieces cannot be put in order.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum StretchError {
    /// A piece begins more than one sample period before the one before it has ended.
    #[error("piece {later} begins {overlap_ns} ns before piece {earlier} ends")]
    Overlap {
        /// Index of the piece that begins first.
        earlier: usize,
        /// Index of the piece that begins before the other has ended.
        later: usize,
        /// By how much, nanoseconds.
        overlap_ns: i128,
    },
    /// A piece without frames or without a rate.
    #[error("piece {piece} has {frames} frames at {rate_hz} Hz")]
    NoLength {
        /// Its index.
        piece: usize,
        /// Its frames.
        frames: u64,
        /// Its rate, Hz.
        rate_hz: u32,
    },
    /// More frames in one stretch than 64 bits count.
    #[error("with piece {piece} the stretch has more frames than can be counted")]
    TooLong {
        /// Index of the piece at which the count ends.
        piece: usize,
    },
}

const NS_PER_S: i128 = 1_000_000_000;

/// Groups pieces, given in any order, into stretches in order of time. A piece belongs to the stretch before it when
/// the rates are the same and it begins within one sample period (inclusive) of that stretch's last piece's end.
///
/// Computed in whole nanoseconds times hertz, so that nothing is rounded.
///
/// # Errors
/// [`StretchError::Overlap`], [`StretchError::NoLength`] and [`StretchError::TooLong`], naming the pieces.
pub fn stretches(pieces: &[Piece]) -> Result<Vec<Stretch>, StretchError> {
    if let Some(piece) = pieces.iter().position(|p| p.frames == 0 || p.rate_hz == 0) {
        let Piece {
            frames, rate_hz, ..
        } = pieces[piece];
        return Err(StretchError::NoLength {
            piece,
            frames,
            rate_hz,
        });
    }
    let mut order: Vec<usize> = (0..pieces.len()).collect();
    order.sort_by_key(|&index| (pieces[index].start, index));

    let mut found: Vec<Stretch> = Vec::new();
    let mut before: Option<usize> = None;
    for index in order {
        let piece = pieces[index];
        let gap = before.map(|earlier| (earlier, gap_ns_hz(&pieces[earlier], &piece)));
        if let Some((earlier, gap)) = gap
            && gap < -NS_PER_S
        {
            let overlap_ns = (-gap).div_euclid(i128::from(pieces[earlier].rate_hz));
            return Err(StretchError::Overlap {
                earlier,
                later: index,
                overlap_ns,
            });
        }
        let abuts = gap.is_some_and(|(earlier, gap)| {
            gap <= NS_PER_S && pieces[earlier].rate_hz == piece.rate_hz
        });
        match found.last_mut() {
            Some(stretch) if abuts => {
                stretch.pieces.push(index);
                stretch.frames = stretch
                    .frames
                    .checked_add(piece.frames)
                    .ok_or(StretchError::TooLong { piece: index })?;
            }
            _ => found.push(Stretch {
                pieces: vec![index],
                start: piece.start,
                frames: piece.frames,
                rate_hz: piece.rate_hz,
                gap_before_ns: gap
                    .map(|(earlier, gap)| gap.div_euclid(i128::from(pieces[earlier].rate_hz))),
            }),
        }
        before = Some(index);
    }
    Ok(found)
}

/// Time from the end of `earlier` to the start of `later`, times the rate of `earlier`: one sample period is 10⁹.
fn gap_ns_hz(earlier: &Piece, later: &Piece) -> i128 {
    let apart_ns = later.start.as_nanosecond() - earlier.start.as_nanosecond();
    apart_ns * i128::from(earlier.rate_hz) - i128::from(earlier.frames) * NS_PER_S
}
