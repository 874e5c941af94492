//! Fields of a payload, and how many bits each takes.
//!
//! A scaled field numbers its steps from 0 and keeps the all-ones code for "no data", so N = (to - from)/step + 1 values need ceil(log2(N + 1)) bits. A
//! choice of n needs ceil(log2 n) bits and at least one. This is our own packing; the counts follow from information theory alone.

/// One field of a payload.
#[derive(Clone, Debug, PartialEq)]
pub struct Field {
    /// Its name, as records and generated code use it.
    pub name: String,
    /// What it holds.
    pub kind: FieldKind,
}

/// What a field of a payload holds.
#[derive(Clone, Debug, PartialEq)]
pub enum FieldKind {
    /// A number between `from` and `to` in whole steps, or "no data"; all three in the field's own unit.
    Scaled {
        /// The unit, for people.
        unit: String,
        /// Least value.
        from: f64,
        /// Greatest value.
        to: f64,
        /// Distance between neighbouring values.
        step: f64,
    },
    /// One of several named things.
    Choice {
        /// Their names.
        values: Vec<String>,
    },
    /// Yes or no.
    Flag,
    /// An instant, counted in steps from an epoch and cut to so many bits.
    Time {
        /// Bits kept, 1 to 64.
        bits: u32,
        /// Length of a step in seconds, a whole number of nanoseconds.
        step_s: f64,
        /// The instant of count 0, nanoseconds since 1970-01-01T00:00:00Z.
        epoch_ns: i64,
    },
}

/// A field, or a whole payload, that cannot be laid out.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
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
    /// A range so far from zero that its steps are lost in the rounding of a double.
    #[error("a value of {value} is {steps} steps of {step} from zero; the limit is {MOST_STEPS}")]
    TooFar {
        /// The end of the range that lies further from zero.
        value: f64,
        /// Step.
        step: f64,
        /// Its distance from zero divided by the step.
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
    /// A step of a time that is no whole number of nanoseconds, or one of more than 292 years.
    #[error("a time step of {step_s} s is no whole number of nanoseconds in 64 bits")]
    TimeStep {
        /// The step given, s.
        step_s: f64,
    },
    /// A sequence number or a count of starts of no bits or more than 32.
    #[error("a number of {bits} bits that counts messages or starts is outside 1 to 32 bits")]
    CountBits {
        /// Bits given.
        bits: u32,
    },
    /// Two fields of one name.
    #[error("the field {name:?} is there twice")]
    Twice {
        /// The name.
        name: String,
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
const NS_PER_S: f64 = 1e9;

/// How many bits a field takes.
///
/// # Errors
/// [`PayloadError`] for a field that has no size; a range that is no whole number of steps is refused, never rounded.
pub fn bits(kind: &FieldKind) -> Result<u32, PayloadError> {
    match kind {
        FieldKind::Scaled { from, to, step, .. } => {
            // the values and the code for "no data"
            Ok(bits_for(whole_steps(*from, *to, *step)? + 2))
        }
        FieldKind::Choice { values } if values.is_empty() => Err(PayloadError::NoChoice),
        FieldKind::Choice { values } => Ok(bits_for(values.len() as u64).max(1)),
        FieldKind::Flag => Ok(1),
        FieldKind::Time { bits, step_s, .. } => {
            whole_ns(*step_s)?;
            if (1..=64).contains(bits) {
                Ok(*bits)
            } else {
                Err(PayloadError::TimeBits { bits: *bits })
            }
        }
    }
}

/// The number of steps of a scaled field, which is the code of its greatest value.
pub(super) fn whole_steps(from: f64, to: f64, step: f64) -> Result<u64, PayloadError> {
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
    let value = if from.abs() > to.abs() { from } else { to };
    if value.abs() / step > MOST_STEPS {
        let steps = value.abs() / step;
        return Err(PayloadError::TooFar { value, step, steps });
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
    Ok(whole as u64)
}

/// A step of a time in nanoseconds.
pub(super) fn whole_ns(step_s: f64) -> Result<i64, PayloadError> {
    if !step_s.is_finite() || step_s <= 0.0 {
        return Err(PayloadError::NoStep { step: step_s });
    }
    let ns = step_s * NS_PER_S;
    let whole = ns.round();
    if whole < 1.0 || whole >= i64::MAX as f64 || (ns - whole).abs() > ROUNDINGS * whole {
        return Err(PayloadError::TimeStep { step_s });
    }
    Ok(whole as i64)
}

/// ceil(log2 codes), codes at least 1.
fn bits_for(codes: u64) -> u32 {
    u64::BITS - (codes - 1).leading_zeros()
}
