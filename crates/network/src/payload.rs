//! How many bytes the packed form of a topic's fields has. Sizes only.
//!
//! Fields are packed most significant bit first and the whole is padded with zeros to a byte; a 16-bit cyclic redundancy check may follow. A scaled field
//! numbers its steps from 0 and keeps the all-ones code for "no data", so N = (to - from)/step + 1 values need ceil(log2(N + 1)) bits. A choice of n needs
//! ceil(log2 n) bits and at least one. This is our own packing; the counts follow from information theory alone.

/// One field of a payload.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Field {
    /// A number between `from` and `to` in whole steps, or "no data"; all three in the field's own unit.
    Scaled {
        /// Least value.
        from: f64,
        /// Greatest value.
        to: f64,
        /// Distance between neighbouring values.
        step: f64,
    },
    /// One of `n` named things.
    Choice {
        /// How many there are.
        n: u32,
    },
    /// Yes or no.
    Flag,
    /// An instant, counted in steps and cut to so many bits.
    Time {
        /// Bits kept, 1 to 64.
        bits: u32,
        /// Length of a step in seconds.
        step_s: f64,
    },
}

/// A field without a size.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum PayloadError {
    /// A limit or step that is not a finite number.
    #[error("a field from {from} to {to} in steps of {step} is not made of finite numbers")]
    NotFinite {
        /// Least value.
        from: f64,
        /// Greatest value.
        to: f64,
        /// Step.
        step: f64,
    },
    /// A step of zero or less.
    #[error("a step of {step} is not above zero")]
    NoStep {
        /// The step given.
        step: f64,
    },
    /// `to` is not above `from`.
    #[error("a field from {from} to {to} holds no range")]
    NoRange {
        /// Least value.
        from: f64,
        /// Greatest value.
        to: f64,
    },
    /// The range is no whole number of steps.
    #[error("from {from} to {to} is {steps} steps of {step}, not a whole number")]
    BrokenStep {
        /// Least value.
        from: f64,
        /// Greatest value.
        to: f64,
        /// Step.
        step: f64,
        /// The range divided by the step.
        steps: f64,
    },
    /// More steps than can be told from a range with a remainder.
    #[error("{steps} steps are too many for one field; the limit is {MOST_STEPS}")]
    TooFine {
        /// The range divided by the step.
        steps: f64,
    },
    /// A choice of none.
    #[error("a choice of 0 things holds nothing")]
    NoChoice,
    /// A time of no bits or more than 64.
    #[error("a time of {bits} bits is outside 1 to 64 bits")]
    TimeBits {
        /// Bits given.
        bits: u32,
    },
    /// More bytes than a message can have.
    #[error("the payload is larger than 4294967295 bytes")]
    TooLarge,
}

// 0.1 is no double: 204.6/0.1 is whole only to rounding, of the range's ends, the step and the division. A millionth of a
// step is far above that for fields of up to 30 bits and far below any intended remainder; beyond, the rounding itself.
const WHOLE_STEP_TOLERANCE: f64 = 1e-6;
const ROUNDINGS: f64 = 4.0 * f64::EPSILON;
/// Here the rounding is a thousandth of a step.
const MOST_STEPS: f64 = 1e12;

/// How many bits a field takes.
///
/// # Errors
/// [`PayloadError`] for a field that has no size; a range that is no whole number of steps is refused, never rounded.
pub fn bits(field: &Field) -> Result<u32, PayloadError> {
    match *field {
        Field::Scaled { from, to, step } => scaled_bits(from, to, step),
        Field::Choice { n: 0 } => Err(PayloadError::NoChoice),
        Field::Choice { n } => Ok(bits_for(u64::from(n)).max(1)),
        Field::Flag => Ok(1),
        Field::Time { bits, step_s } => {
            if !step_s.is_finite() || step_s <= 0.0 {
                return Err(PayloadError::NoStep { step: step_s });
            }
            if !(1..=64).contains(&bits) {
                Err(PayloadError::TimeBits { bits })
            } else {
                Ok(bits)
            }
        }
    }
}

/// How many bytes these fields take together, with two more for a cyclic redundancy check if `crc`.
///
/// # Errors
/// The first field's [`PayloadError`].
pub fn payload_bytes(fields: &[Field], crc: bool) -> Result<u32, PayloadError> {
    let mut total_bits = 0u64;
    for field in fields {
        total_bits += u64::from(bits(field)?);
    }
    let bytes = total_bits.div_ceil(8) + if crc { 2 } else { 0 };
    u32::try_from(bytes).map_err(|_| PayloadError::TooLarge)
}

fn scaled_bits(from: f64, to: f64, step: f64) -> Result<u32, PayloadError> {
    if !(from.is_finite() && to.is_finite() && step.is_finite()) {
        return Err(PayloadError::NotFinite { from, to, step });
    }
    if step <= 0.0 {
        return Err(PayloadError::NoStep { step });
    }
    if to <= from {
        return Err(PayloadError::NoRange { from, to });
    }
    let steps = (to - from) / step;
    if !steps.is_finite() || steps > MOST_STEPS {
        return Err(PayloadError::TooFine { steps });
    }
    let whole = steps.round();
    let tolerance = WHOLE_STEP_TOLERANCE.max(ROUNDINGS * steps);
    if (steps - whole).abs() > tolerance || whole < 1.0 {
        return Err(PayloadError::BrokenStep {
            from,
            to,
            step,
            steps,
        });
    }
    // steps + 1 values and the code for "no data"
    Ok(bits_for(whole as u64 + 2))
}

/// ceil(log2 codes), codes at least 1.
fn bits_for(codes: u64) -> u32 {
    u64::BITS - (codes - 1).leading_zeros()
}
