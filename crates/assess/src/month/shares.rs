//! Shares of months by what they bill: as computed, or with the limits that drawn months support.

use chance::{LimitError, bad_share_bound};
use quantity::show_number;

use super::{CONFIDENCE, TAIL};

/// Tilts `t` that are tried for the least of a bound, from 2 down by the root of 2.
const TILTS: u32 = 40;

/// Billed messages of a month.
pub(crate) struct Month {
    /// Probability of each number of billed messages from 0: in truth, or among the months drawn.
    pub(crate) probabilities: Vec<f64>,
    /// How many months were drawn, where the probabilities are counted and not computed.
    pub(crate) drawn: Option<u32>,
    /// Whether any of it comes by chance.
    pub(crate) chance: bool,
    /// From what, in words.
    pub(crate) why: String,
    /// What else there is to say.
    pub(crate) notes: Vec<String>,
    /// What it follows from, for a digest.
    pub(crate) from: String,
}

impl Month {
    /// Billed messages on average.
    pub(crate) fn mean(&self) -> f64 {
        let all = self.probabilities.iter().enumerate();
        all.map(|(billed, p)| billed as f64 * p).sum()
    }

    /// The fewest billed messages that this share of months does not pass; of drawn months the upper limit of that number.
    pub(crate) fn quantile(&self, share: f64) -> Result<u64, String> {
        if share >= 1.0 && self.chance {
            return Err(
                "events that come by chance have no limit in all months: write a smaller `share`, or none for what is declared at most"
                    .to_owned(),
            );
        }
        if let Some(months) = self.drawn {
            return self.upper(share, months);
        }
        let mut below = 0.0;
        for (billed, p) in self.probabilities.iter().enumerate() {
            below += p;
            if below >= share - TAIL {
                return Ok(billed as u64);
            }
        }
        Err(format!("the distribution does not reach {share}"))
    }

    /// Upper limit of a quantile of drawn months: the fewest billed messages above which no more than the rest of the months lies, at [`CONFIDENCE`].
    fn upper(&self, share: f64, months: u32) -> Result<u64, String> {
        let mut above = months;
        for (billed, count) in self.counted(months) {
            above -= count;
            if most(above, months)? <= 1.0 - share + TAIL {
                return Ok(billed);
            }
        }
        Err(format!(
            "the {months} months that can be drawn show no more than {} % of the months at {} % confidence: write a smaller `share`",
            show_number((1000.0 * (1.0 - most(0, months)?)).floor() / 10.0),
            100.0 * CONFIDENCE
        ))
    }

    /// Lower limit of a quantile of drawn months: the most billed messages below which no more than this share of the months lies, at [`CONFIDENCE`].
    /// Nothing where the probabilities are computed.
    pub(crate) fn lower(&self, share: f64) -> Result<Option<u64>, String> {
        let Some(months) = self.drawn else {
            return Ok(None);
        };
        let (mut found, mut below) = (0, 0);
        for (billed, count) in self.counted(months) {
            if most(below, months)? > share + TAIL {
                break;
            }
            found = billed;
            below += count;
        }
        Ok(Some(found))
    }

    /// The numbers billed that were drawn, upwards, and in how many months.
    fn counted(&self, months: u32) -> impl Iterator<Item = (u64, u32)> {
        let all = (0..).zip(&self.probabilities);
        all.map(move |(billed, p)| (billed, (p * f64::from(months)).round() as u32))
            .filter(|(_, count)| *count > 0)
    }

    /// Share of months with no more billed messages than this; of drawn months the lower limit of that share.
    pub(crate) fn share_within(&self, billed: u64) -> Result<f64, String> {
        let Some(months) = self.drawn else {
            return Ok(self.share_up_to(billed));
        };
        let above = self.counted(months).filter(|(n, _)| *n > billed);
        Ok(1.0 - most(above.map(|(_, count)| count).sum(), months)?)
    }

    /// Share of months that begin with something left over, at most, where no more than so many are billed in each and the rest waits: 1 where drawn months pass that number.
    ///
    /// What waits is the highest sum of `N - cap` over the months before; by Chernoff's bound the sum over `n` months is above 0 with a probability of no more than `r^n`, with
    /// `r = min E exp(t (N - cap))` over `t > 0`, and any of them with no more than `r / (1 - r)`.
    pub(crate) fn left_over(&self, cap: u64) -> f64 {
        let passed = |(n, p): (u64, &f64)| n > cap && *p > 0.0;
        if !(0..).zip(&self.probabilities).any(passed) {
            return 0.0;
        }
        if self.drawn.is_some() {
            return 1.0;
        }
        let mean_of = |tilt: f64| -> f64 {
            let all = self.probabilities.iter().enumerate();
            all.map(|(n, p)| match *p > 0.0 {
                true => libm::exp(libm::log(*p) + tilt * (n as f64 - cap as f64)),
                false => 0.0,
            })
            .sum()
        };
        let least = (0..TILTS)
            .map(|i| mean_of(libm::exp2(1.0 - 0.5 * f64::from(i))))
            .fold(1.0, f64::min);
        if least < 0.5 {
            least / (1.0 - least)
        } else {
            1.0
        }
    }

    /// Share of months with no more billed messages than this, as computed or as counted.
    pub(crate) fn share_up_to(&self, billed: u64) -> f64 {
        let upto = usize::try_from(billed).map_or(usize::MAX, |n| n.saturating_add(1));
        let sum: f64 = self.probabilities.iter().take(upto).sum();
        if upto >= self.probabilities.len() {
            1.0
        } else {
            sum.min(1.0)
        }
    }
}

/// Upper limit of the share of months of which so many were drawn.
fn most(of: u32, months: u32) -> Result<f64, String> {
    bad_share_bound(u64::from(of), u64::from(months), CONFIDENCE)
        .map_err(|e: LimitError| e.to_string())
}
