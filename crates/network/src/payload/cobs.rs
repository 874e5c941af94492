//! Frames on a stream of bytes: consistent overhead byte stuffing (Cheshire and Baker, IEEE/ACM Transactions on Networking 7(2), 1999).
//!
//! What is stuffed holds no zero byte, so that a zero byte between frames finds the next one whatever was lost before it. Each run of up to 254 bytes without
//! a zero is led by its length plus one; a code below 255 stands for a zero behind its run, but for the last. It costs one byte, and one more for each further
//! 254 bytes. The zero byte itself is added outside.

/// Bytes that no encoder made.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum CobsError {
    /// No bytes at all: nothing, stuffed, is one byte.
    #[error("a frame of no bytes holds nothing, not even an empty message")]
    Empty,
    /// A zero byte, which only ever lies between frames.
    #[error("byte {at_byte} of the frame is zero")]
    Zero {
        /// Where, from 0.
        at_byte: usize,
    },
    /// A run that is longer than what is left.
    #[error(
        "byte {at_byte} of the frame leads a run of {run} bytes, and {left} are left: it was cut short"
    )]
    CutShort {
        /// Where the code stands, from 0.
        at_byte: usize,
        /// Bytes it announces.
        run: usize,
        /// Bytes there are.
        left: usize,
    },
}

const LONGEST_RUN: usize = 254;

/// Stuffs a message; the zero byte behind it is left to the caller.
#[must_use]
pub fn cobs_encode(message: &[u8]) -> Vec<u8> {
    let mut out = Vec::with_capacity(message.len() + 1 + message.len() / LONGEST_RUN);
    let mut rest = message;
    loop {
        let longest = rest.len().min(LONGEST_RUN);
        let run = rest[..longest].iter().position(|b| *b == 0);
        let length = run.unwrap_or(longest);
        out.push(length as u8 + 1);
        out.extend_from_slice(&rest[..length]);
        rest = &rest[length..];
        match run {
            Some(_) => rest = &rest[1..],
            None if rest.is_empty() => return out,
            None => {}
        }
    }
}

/// The message in a frame that was found between two zero bytes.
///
/// # Errors
/// [`CobsError`] for bytes that no encoder made.
pub fn cobs_decode(frame: &[u8]) -> Result<Vec<u8>, CobsError> {
    if frame.is_empty() {
        return Err(CobsError::Empty);
    }
    if let Some(at_byte) = frame.iter().position(|b| *b == 0) {
        return Err(CobsError::Zero { at_byte });
    }
    let mut out = Vec::with_capacity(frame.len());
    let mut at_byte = 0;
    while at_byte < frame.len() {
        let run = usize::from(frame[at_byte]) - 1;
        let rest = &frame[at_byte + 1..];
        if run > rest.len() {
            return Err(CobsError::CutShort {
                at_byte,
                run,
                left: rest.len(),
            });
        }
        out.extend_from_slice(&rest[..run]);
        at_byte += 1 + run;
        if run < LONGEST_RUN && at_byte < frame.len() {
            out.push(0);
        }
    }
    Ok(out)
}
