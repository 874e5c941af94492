//! Whether a short behind each fuse draws enough to melt it.

use plan::{Line, SpanIx};

use crate::faults::fuse_zones;
use crate::input::{Conditions, Contacts, electric};
use crate::reserve::without_current_limit;
use crate::verdict::{Against, Evidence, Side, Verdict, unknown};

/// A short that draws less than this much more than is asked is marginal, % of the rating.
const NARROW_PERCENT: f64 = 20.0;
const METHOD: &str = "bolted short with all loads off (docs/method/power.md; Thevenin)";

/// The least current of a short behind one fuse, or behind each, over its rating; aged contacts, cables at their warmest.
pub(crate) fn short_circuit(line: &Line, of: Option<SpanIx>, at_least: f64) -> Vec<Verdict> {
    let conditions = Conditions::usual(line, Contacts::Aged);
    let input = match electric(line).and_then(|e| e.input(line, &conditions)) {
        Ok(input) => input,
        Err(error) => return vec![unknown("the line", error.to_string())],
    };
    if !input.unknowns.is_empty() {
        return vec![unknown("the line", input.unknowns.join("; "))];
    }
    if let Some(span) = of
        && line.spans[span.0].fuse_a.is_none()
    {
        let path = format!("span.{}", line.spans[span.0].id);
        return vec![unknown(path, "this span has no fuse")];
    }
    let zones = fuse_zones(line, &input);
    let asked: Vec<_> = zones
        .iter()
        .filter(|zone| of.is_none_or(|span| span == zone.span))
        .collect();
    if asked.is_empty() {
        return vec![unknown("the line", "no span has a fuse")];
    }
    let endless = without_current_limit(line);
    asked
        .into_iter()
        .map(|zone| {
            let path = format!("span.{}", line.spans[zone.span.0].id);
            let weakest = match &zone.weakest {
                Ok(weakest) => weakest,
                Err(why) => return unknown(path, why.clone()),
            };
            let against = Against {
                side: Side::AtLeast,
                limit: 100.0 * at_least,
                narrow: NARROW_PERCENT,
                unit: "% of the fuse's rating".to_owned(),
            };
            let why = format!(
                "{:.2} A through a fuse of {} A for a short at {}, the weakest place behind it; aged contacts, all loads off",
                weakest.least_a,
                zone.rating_a,
                line.module_path(weakest.place)
            );
            let found = against.judge(
                path,
                100.0 * weakest.least_a / zone.rating_a,
                Evidence::computed(METHOD, &input.network),
                why,
            );
            match &endless {
                None => found,
                Some(endless) => found.only_broken(format!(
                    "{endless} may give less than melts the fuse: write its `current_limit`"
                )),
            }
        })
        .collect()
}
