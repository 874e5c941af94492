//! Verdicts: met, marginal, broken or unknown, always with value, limit, margin and why.

use std::cmp::Ordering;
use std::fmt::{Debug, Write};

use sha2::{Digest, Sha256};

/// A number that is shown, with its unit.
#[derive(Clone, PartialEq, Debug)]
pub struct Figure {
    /// The number.
    pub value: f64,
    /// Its unit.
    pub unit: String,
}

/// How a known value lies to its limit.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Ruling {
    /// Beyond the limit.
    Broken,
    /// Within the limit, by less than the margin that its kind of requirement asks for.
    Marginal,
    /// Within the limit.
    Met,
}

/// What a verdict rests on.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Evidence {
    /// A calculation.
    Computed {
        /// The method, with its published source.
        method: &'static str,
        /// SHA-256 of its exact input.
        inputs: String,
    },
    /// Draws that were counted: their record lies beside the plan, or `check` makes them anew each time.
    Sampled {
        /// The method.
        method: &'static str,
        /// SHA-256 of what was drawn from.
        inputs: String,
        /// How many draws each count rests on.
        draws: u64,
        /// Seed.
        seed: u64,
    },
    /// A rehearsal whose record lies beside the plan.
    Rehearsed {
        /// The cue sheet.
        cues: String,
        /// Digest of what a rehearsal reads of the plan.
        plan_digest: String,
        /// Digest of the cue sheet's canonical content.
        cues_digest: String,
        /// Seed.
        seed: u64,
        /// Digest of everything that happened.
        result_digest: String,
    },
    /// Labelled recordings through a detector, whose record lies beside the plan.
    Recorded {
        /// Id of the detector.
        detector: String,
        /// Digest of its stages and its sensor's chain.
        chain_digest: String,
        /// The file of labels.
        labels: String,
        /// Digest of its content.
        labels_digest: String,
        /// How many recordings.
        recordings: usize,
        /// Digest of the record.
        result_digest: String,
    },
    /// A document, and who stands for it.
    Attested {
        /// The document.
        document: String,
        /// Who gave it.
        by: String,
        /// The day on which it was given.
        date: String,
        /// The day on which it ceases to hold; `None` of one that does not.
        expires: Option<String>,
    },
    /// A measurement of the very thing, whose value the plan writes.
    Measured {
        /// Where it is written down.
        document: String,
        /// Who measured it.
        by: String,
        /// The day.
        date: String,
    },
}

impl Evidence {
    /// Evidence of a calculation on an input.
    pub(crate) fn computed(method: &'static str, input: &impl Debug) -> Evidence {
        let inputs = debug_digest(input);
        Evidence::Computed { method, inputs }
    }

    /// Evidence of draws that `check` makes itself, with this seed, from an input.
    pub(crate) fn sampled(
        method: &'static str,
        input: &impl Debug,
        draws: u64,
        seed: u64,
    ) -> Evidence {
        let inputs = debug_digest(input);
        Evidence::Sampled {
            method,
            inputs,
            draws,
            seed,
        }
    }
}

/// SHA-256 of the derived `Debug` of an input, which is digested as it comes and nowhere held as text.
fn debug_digest(input: &impl Debug) -> String {
    struct Digested(Sha256);
    impl Write for Digested {
        fn write_str(&mut self, s: &str) -> std::fmt::Result {
            self.0.update(s.as_bytes());
            Ok(())
        }
    }
    let mut to = Digested(Sha256::new());
    write!(to, "{input:?}").expect("a digest takes text");
    plan::hex(&to.0.finalize())
}

/// A verdict with a value. It cannot be made without evidence, nor outside this crate.
#[derive(Clone, PartialEq, Debug)]
#[non_exhaustive]
pub struct Known {
    /// What it is about: a typed path.
    pub subject: String,
    /// The value.
    pub value: Figure,
    /// The limit.
    pub limit: Figure,
    /// How far the value lies within the limit; negative beyond it. Between levels it is in dB, between shares in points.
    pub margin: Figure,
    /// A margin below this is marginal, in the unit of the margin; zero where no margin is.
    pub narrow: f64,
    /// How it lies to the limit.
    pub ruling: Ruling,
    /// What it rests on.
    pub evidence: Evidence,
    /// One plain sentence: in which states, over which way, from what. Where it is a sum of many parts, a line for each follows.
    pub why: String,
    /// Of a voltage the least share of its load that the line carries before it collapses; `None` of what is no voltage, and where nothing
    /// collapses.
    pub collapse_factor: Option<f64>,
}

/// What a quick check says where it counts less than the requirement asks for. It is no verdict yet: it has no evidence, and another word.
#[derive(Clone, PartialEq, Debug)]
#[non_exhaustive]
pub struct Provisional {
    /// What it is about: a typed path.
    pub subject: String,
    /// The value so far.
    pub value: Figure,
    /// The limit.
    pub limit: Figure,
    /// How far the value lies within the limit so far; negative beyond it.
    pub margin: Figure,
    /// As of [`Known::narrow`].
    pub narrow: f64,
    /// How it lies to the limit so far. What is broken stays so: what is counted is the first part of the whole, and the value is its
    /// worst.
    pub so_far: Ruling,
    /// Years that were counted.
    pub counted: u64,
    /// Years that the requirement asks for.
    pub of: u64,
    /// One plain sentence, as of [`Known::why`].
    pub why: String,
}

/// A verdict.
#[derive(Clone, PartialEq, Debug)]
pub enum Verdict {
    /// The value is known.
    Known(Box<Known>),
    /// A value so far, of a quick check.
    Provisional(Box<Provisional>),
    /// It is not.
    Unknown {
        /// What it is about.
        subject: String,
        /// Why it is not known, and what to do.
        why: String,
    },
}

/// What a verdict on a share of draws is about.
pub(crate) const OF_DRAWS: &str = "the draws";

/// A verdict without a value.
pub(crate) fn unknown(subject: impl Into<String>, why: impl Into<String>) -> Verdict {
    let (subject, mut why) = (subject.into(), why.into());
    // Errors name what they are of, and it stands before them already.
    if let Some(rest) = why
        .strip_prefix(&subject)
        .and_then(|r| r.strip_prefix(": "))
    {
        why = rest.to_owned();
    }
    Verdict::Unknown { subject, why }
}

/// On which side of a value its limit lies.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(crate) enum Side {
    AtLeast,
    AtMost,
}

/// A value this share of itself from its limit lies on it: two ways to work out one figure differ by more than the last bit.
const ROUNDING: f64 = 1e-12;

/// A value against a limit. Within `narrow` of the limit it is marginal; `narrow` is absolute, in the value's unit. Below an
/// upper limit no value may lie further than the limit itself, so there `narrow` is at most half of the limit: a limit of
/// nothing at all can be met. What is not a finite number is unknown.
pub(crate) struct Against {
    pub(crate) side: Side,
    pub(crate) limit: f64,
    pub(crate) narrow: f64,
    pub(crate) unit: String,
}

impl Against {
    /// Whether a value is within the limit.
    pub(crate) fn holds(&self, value: f64) -> bool {
        self.margin(value) >= 0.0
    }

    /// How far a value lies within the limit; nothing where only rounding keeps it from lying on it.
    fn margin(&self, value: f64) -> f64 {
        let margin = match self.side {
            Side::AtLeast => value - self.limit,
            Side::AtMost => self.limit - value,
        };
        let on_it = ROUNDING * self.limit.abs().max(value.abs());
        if on_it.is_finite() && margin.abs() <= on_it {
            0.0
        } else {
            margin
        }
    }

    pub(crate) fn judge(
        &self,
        subject: String,
        value: f64,
        evidence: Evidence,
        why: String,
    ) -> Verdict {
        let margin = self.margin(value);
        if !value.is_finite() || !margin.is_finite() {
            return Verdict::Unknown {
                subject,
                why: format!("the calculation gives no number ({why})"),
            };
        }
        let narrow = match self.side {
            Side::AtLeast => self.narrow,
            Side::AtMost => self.narrow.min(self.limit.abs() / 2.0),
        };
        let (ruling, why) = if margin < 0.0 {
            (Ruling::Broken, why)
        } else if margin < narrow {
            // After the sentence, before the parts of what it tells.
            let end = why.find('\n').unwrap_or(why.len());
            let (sentence, parts) = why.split_at(end);
            let why = format!(
                "{sentence}; marginal, as less than {} {} is left{parts}",
                quantity::show_number(narrow),
                of_a_difference(&self.unit)
            );
            (Ruling::Marginal, why)
        } else {
            (Ruling::Met, why)
        };
        let figure = |value| Figure {
            value,
            unit: self.unit.clone(),
        };
        Verdict::Known(Box::new(Known {
            subject,
            value: figure(value),
            limit: figure(self.limit),
            margin: Figure {
                value: margin,
                unit: of_a_difference(&self.unit),
            },
            narrow,
            ruling,
            evidence,
            why,
            collapse_factor: None,
        }))
    }
}

/// The unit of what lies between two figures of a unit.
fn of_a_difference(unit: &str) -> String {
    if unit.starts_with("dB re ") {
        "dB".to_owned()
    } else if unit.starts_with('%') {
        "points".to_owned()
    } else {
        unit.to_owned()
    }
}

/// The word for the whole of a requirement.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Word {
    /// Some verdict is broken.
    Broken,
    /// Nothing is broken, something is unknown.
    Unknown,
    /// Nothing is broken or unknown, something that may still be broken has been counted in part only.
    Provisional,
    /// Something is marginal.
    Marginal,
    /// All is met.
    Met,
}

impl Word {
    /// As it is printed.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Word::Broken => "broken",
            Word::Unknown => "unknown",
            Word::Provisional => "provisional",
            Word::Marginal => "marginal",
            Word::Met => "met",
        }
    }
}

impl Verdict {
    /// What it is about.
    #[must_use]
    pub fn subject(&self) -> &str {
        match self {
            Verdict::Known(known) => &known.subject,
            Verdict::Provisional(so_far) => &so_far.subject,
            Verdict::Unknown { subject, .. } => subject,
        }
    }

    /// Why it is as it is, or why it is not known.
    #[must_use]
    pub fn why(&self) -> &str {
        match self {
            Verdict::Known(known) => &known.why,
            Verdict::Provisional(so_far) => &so_far.why,
            Verdict::Unknown { why, .. } => why,
        }
    }

    /// Whether it is on the share of draws that a requirement asks for, beside those on the plan as it is written.
    #[must_use]
    pub fn is_of_draws(&self) -> bool {
        self.subject() == OF_DRAWS
    }

    /// Whether it is broken, or is already by what a quick check has counted.
    #[must_use]
    pub fn is_broken(&self) -> bool {
        match self {
            Verdict::Known(known) => known.ruling == Ruling::Broken,
            Verdict::Provisional(so_far) => so_far.so_far == Ruling::Broken,
            Verdict::Unknown { .. } => false,
        }
    }

    /// The same of `counted` years where the requirement asks for more.
    pub(crate) fn so_far(self, counted: u64, of: u64) -> Verdict {
        match self {
            Verdict::Known(known) if counted < of => {
                let known = *known;
                Verdict::Provisional(Box::new(Provisional {
                    subject: known.subject,
                    value: known.value,
                    limit: known.limit,
                    margin: known.margin,
                    narrow: known.narrow,
                    so_far: known.ruling,
                    counted,
                    of,
                    why: known.why,
                }))
            }
            whole => whole,
        }
    }

    /// As [`Verdict::so_far`], of years that decide nothing yet: what they break may still be kept, and is marginal so far.
    pub(crate) fn so_far_open(self, counted: u64, of: u64) -> Verdict {
        let mut verdict = self.so_far(counted, of);
        if let Verdict::Provisional(provisional) = &mut verdict
            && provisional.so_far == Ruling::Broken
        {
            provisional.so_far = Ruling::Marginal;
        }
        verdict
    }

    /// Of two verdicts on one limit the worse comes first: by their words, and of one word that with the least margin.
    #[must_use]
    pub(crate) fn worse_first(a: &Verdict, b: &Verdict) -> Ordering {
        a.word().cmp(&b.word()).then_with(|| match (a, b) {
            (Verdict::Known(a), Verdict::Known(b)) => a.margin.value.total_cmp(&b.margin.value),
            _ => Ordering::Equal,
        })
    }

    /// Its word.
    #[must_use]
    pub fn word(&self) -> Word {
        match self {
            Verdict::Unknown { .. } => Word::Unknown,
            // What the first years break stays broken, or in all likelihood.
            Verdict::Provisional(so_far) if so_far.so_far == Ruling::Broken => Word::Broken,
            Verdict::Provisional(_) => Word::Provisional,
            Verdict::Known(known) => match known.ruling {
                Ruling::Broken => Word::Broken,
                Ruling::Marginal => Word::Marginal,
                Ruling::Met => Word::Met,
            },
        }
    }

    /// As it is where it is broken, and unknown otherwise: what a figure on the better side can show.
    pub(crate) fn only_broken(self, why: impl Into<String>) -> Verdict {
        match self.is_broken() {
            true => self,
            false => unknown(self.subject(), why),
        }
    }

    /// The same where something is open, in words; else as it is.
    pub(crate) fn only_broken_for(self, open: Option<&String>) -> Verdict {
        match open {
            Some(why) => self.only_broken(why),
            None => self,
        }
    }

    pub(crate) fn margin_unit(&self) -> Option<&str> {
        match self {
            Verdict::Unknown { .. } => None,
            Verdict::Known(k) => Some(&k.margin.unit),
            Verdict::Provisional(p) => Some(&p.margin.unit),
        }
    }

    /// What is left, the margin or its share of the limit, for putting the worst first; an unknown one stands between broken and marginal.
    pub(crate) fn rank(&self, by_margin: bool) -> (Word, f64) {
        let (margin, limit) = match self {
            Verdict::Unknown { .. } => return (Word::Unknown, 0.0),
            Verdict::Known(k) => (k.margin.value, k.limit.value),
            Verdict::Provisional(p) => (p.margin.value, p.limit.value),
        };
        let share = if by_margin || limit == 0.0 {
            margin
        } else {
            margin / limit.abs()
        };
        (self.word(), share)
    }

    /// The same with more said of why.
    pub(crate) fn because(mut self, more: &str) -> Verdict {
        match &mut self {
            Verdict::Known(known) => known.why.push_str(more),
            Verdict::Provisional(so_far) => so_far.why.push_str(more),
            Verdict::Unknown { why, .. } => why.push_str(more),
        }
        self
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn verif_a_margin_below_the_narrow_one_is_marginal_and_below_zero_broken() {
        let against = Against {
            side: Side::AtLeast,
            limit: 9.0,
            narrow: 0.5,
            unit: "V".to_owned(),
        };
        let word = |v| {
            against
                .judge(
                    "x".to_owned(),
                    v,
                    Evidence::computed("test", &v),
                    String::new(),
                )
                .word()
        };
        assert_eq!(word(8.999), Word::Broken);
        assert_eq!(word(9.0), Word::Marginal);
        assert_eq!(word(9.5), Word::Met);
        assert_eq!(word(f64::NAN), Word::Unknown);
        assert_eq!(word(f64::INFINITY), Word::Unknown);
    }

    /// Of 12 V and 10 V, both above 9 V, the lower is the worse, whichever is told first; 8 V is worse than both, and what is unknown is worse than what is met.
    #[test]
    fn verif_of_verdicts_of_one_word_the_least_margin_is_the_worst() {
        let against = Against {
            side: Side::AtLeast,
            limit: 9.0,
            narrow: 0.5,
            unit: "V".to_owned(),
        };
        let of = |v: f64| {
            against.judge(
                v.to_string(),
                v,
                Evidence::computed("test", &v),
                String::new(),
            )
        };
        let worst = |all: Vec<Verdict>| {
            let worst = all.into_iter().min_by(Verdict::worse_first).unwrap();
            worst.subject().to_owned()
        };
        assert_eq!(worst(vec![of(12.0), of(10.0)]), "10");
        assert_eq!(worst(vec![of(10.0), of(12.0)]), "10");
        assert_eq!(worst(vec![of(12.0), of(8.0), of(10.0)]), "8");
        assert_eq!(worst(vec![of(12.0), unknown("x", "why")]), "x");
    }

    /// 9 A through a fuse of 4 A is 225 % of it, and 100 times the quotient is 28 units in the last place less.
    #[test]
    fn verif_what_only_rounding_takes_from_a_limit_lies_on_it() {
        let judged = |side, limit: f64, value: f64| {
            let against = Against {
                side,
                limit,
                narrow: 20.0,
                unit: "%".to_owned(),
            };
            let verdict = against.judge(
                "x".to_owned(),
                value,
                Evidence::computed("test", &value),
                String::new(),
            );
            let Verdict::Known(known) = verdict else {
                panic!("{}", verdict.why());
            };
            (known.ruling, known.margin.value, against.holds(value))
        };
        let below = 225.0 - 5.684e-14;
        let above = 225.0 + 5.684e-14;
        assert!(below < 225.0 && above > 225.0);
        for (side, value) in [(Side::AtLeast, below), (Side::AtMost, above)] {
            assert_eq!(judged(side, 225.0, value), (Ruling::Marginal, 0.0, true));
        }
        let (ruling, margin, holds) = judged(Side::AtLeast, 225.0, 225.0 - 1e-6);
        assert!(ruling == Ruling::Broken && margin < 0.0 && !holds);
        let at_most = Against {
            side: Side::AtMost,
            limit: 1.0,
            narrow: 0.0,
            unit: String::new(),
        };
        assert!(!at_most.holds(f64::INFINITY) && !at_most.holds(f64::NAN));
    }

    #[test]
    fn verif_what_lies_between_levels_is_in_db_and_between_shares_in_points() {
        let told = |unit: &str| {
            let against = Against {
                side: Side::AtLeast,
                limit: 25.0,
                narrow: 5.0,
                unit: unit.to_owned(),
            };
            let verdict = against.judge(
                "x".to_owned(),
                29.0,
                Evidence::computed("test", &0),
                String::new(),
            );
            match verdict {
                Verdict::Known(k) => (k.value.unit, k.limit.unit, k.margin.unit, k.why),
                other => panic!("{}", other.why()),
            }
        };
        for (unit, between) in [
            ("dB re 1 uPa", "dB"),
            ("dB", "dB"),
            ("%", "points"),
            ("% of the fuse's rating", "points"),
            ("m", "m"),
        ] {
            let (value, limit, margin, why) = told(unit);
            assert_eq!([value.as_str(), limit.as_str()], [unit; 2]);
            assert_eq!(margin, between);
            assert!(
                why.ends_with(&format!("less than 5 {between} is left")),
                "{why}"
            );
        }
    }

    /// Without the half, a share of 0.0038 % would be marginal against 0.4 %, and nothing against nothing.
    #[test]
    fn verif_a_small_upper_limit_can_be_met() {
        let word = |limit, value: f64| {
            let against = Against {
                side: Side::AtMost,
                limit,
                narrow: 2.0,
                unit: "%".to_owned(),
            };
            let evidence = Evidence::computed("test", &value);
            against
                .judge("x".to_owned(), value, evidence, String::new())
                .word()
        };
        assert_eq!(word(0.4, 0.0038), Word::Met);
        assert_eq!(word(0.4, 0.3), Word::Marginal);
        assert_eq!(word(0.4, 0.5), Word::Broken);
        assert_eq!(word(0.0, 0.0), Word::Met);
        assert_eq!(word(50.0, 48.5), Word::Marginal);
    }
}
