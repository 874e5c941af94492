//! A requirement or a check of every plan with its verdicts, worst first.

use plan::Must;

use crate::certainty::InDraws;
use crate::verdict::{Verdict, Word};

/// A requirement with its verdicts.
#[derive(Clone, PartialEq, Debug)]
pub struct Judged {
    /// Id of the requirement, or of a standing check.
    pub id: String,
    /// Shall or should.
    pub must: Must,
    /// Permit, clause or document.
    pub clause: Option<String>,
    /// The requirement in plain words.
    pub sentence: String,
    /// The keys of the requirement as the plan writes them, what it asks and its limits: a verdict that is unknown has none of its own. Empty of
    /// what is checked in every plan.
    pub asks: Vec<(String, String)>,
    /// Verdicts, worst first.
    pub verdicts: Vec<Verdict>,
    /// In how many draws it was met, where draws lie beside the plan that are of it as it is.
    pub in_draws: Option<InDraws>,
}

impl Judged {
    pub(crate) fn new(
        id: String,
        must: Must,
        clause: Option<String>,
        sentence: String,
        mut verdicts: Vec<Verdict>,
    ) -> Judged {
        if verdicts.is_empty() {
            verdicts.push(Verdict::Unknown {
                subject: "the plan".to_owned(),
                why: "there is nothing in the plan that this is about".to_owned(),
            });
        }
        let mut judged = Judged {
            id,
            must,
            clause,
            sentence,
            asks: Vec::new(),
            verdicts,
            in_draws: None,
        };
        judged.worst_first();
        judged
    }

    /// The same with the keys that the plan writes of it.
    pub(crate) fn asking(mut self, asks: Vec<(String, String)>) -> Judged {
        self.asks = asks;
        self
    }

    fn worst_first(&mut self) {
        // In one unit the margin itself tells the worst, since what is marginal is a margin and no share of a limit.
        let mut units = self.verdicts.iter().filter_map(Verdict::margin_unit);
        let first = units.next();
        let one_unit = first.is_some() && units.all(|unit| Some(unit) == first);
        self.verdicts.sort_by(|a, b| {
            let ((x, p), (y, q)) = (a.rank(one_unit), b.rank(one_unit));
            x.cmp(&y).then(p.total_cmp(&q))
        });
    }

    /// Adds a verdict in its place.
    pub(crate) fn add(&mut self, verdict: Verdict) {
        self.verdicts.push(verdict);
        self.worst_first();
    }

    /// Whether some verdict is broken, or is already by what a quick check has counted.
    #[must_use]
    pub fn is_broken(&self) -> bool {
        self.verdicts.iter().any(Verdict::is_broken)
    }

    /// The word for the whole: that of its worst verdict.
    #[must_use]
    pub fn word(&self) -> Word {
        self.verdicts
            .iter()
            .map(Verdict::word)
            .min()
            .unwrap_or(Word::Unknown)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::verdict::{Against, Evidence, Side};

    #[test]
    fn verif_unknown_outweighs_met_and_broken_outweighs_unknown() {
        let against = Against {
            side: Side::AtMost,
            limit: 2.0,
            narrow: 0.1,
            unit: "s".to_owned(),
        };
        let known = |v: f64| {
            against.judge(
                "x".to_owned(),
                v,
                Evidence::computed("test", &v),
                String::new(),
            )
        };
        let unknown = Verdict::Unknown {
            subject: "y".to_owned(),
            why: "z".to_owned(),
        };
        let judged = |all: Vec<Verdict>| {
            Judged::new("id".to_owned(), Must::Shall, None, String::new(), all).word()
        };
        assert_eq!(judged(vec![known(1.0), unknown.clone()]), Word::Unknown);
        assert_eq!(judged(vec![known(1.0), unknown, known(3.0)]), Word::Broken);
        assert_eq!(judged(Vec::new()), Word::Unknown);
    }
}
