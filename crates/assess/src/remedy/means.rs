//! How far means of recovery fall short: that one works is a fact about gear and no key to turn.

use plan::{Line, That};
use quantity::{Dimension, show};

use crate::hang::hung;
use crate::judged::Judged;
use crate::memo::Memo;
use crate::mooring_verdicts::Hangs;
use crate::recovery_verdicts::recovery_chance;
use crate::verdict::Word;

/// Steps in which the share that is asked of a means is told: hundredths of a percent.
const STEPS: u32 = 10_000;

/// Of a requirement on the chance of recovery that does not hold: each means with how often it would have to work for the requirement to hold, the others as they are,
/// by the very verdict that asks. Nothing of another requirement.
pub(super) fn falls_short(line: &Line, judged: &Judged, memo: &Memo) -> Vec<String> {
    let own = line.requirements.iter().find(|r| r.id == judged.id);
    let Some(That::RecoveryChance { of, at_least }) = own.map(|r| &r.that) else {
        return Vec::new();
    };
    let mut line = hung(line, memo).into_owned();
    let holds = |line: &Line| {
        let verdicts = recovery_chance(&Hangs::new(line, memo), *of, *at_least);
        let held = [Word::Met, Word::Marginal];
        verdicts.iter().all(|v| held.contains(&v.word()))
    };
    let mut told = Vec::new();
    for at in 0..line.means.len() {
        let works = line.means[at].works.si;
        let mut asked = |steps: u32| {
            line.means[at].works.si = f64::from(steps) / f64::from(STEPS);
            holds(&line)
        };
        let (mut low, mut top) = ((works * f64::from(STEPS)) as u32, STEPS);
        let enough = asked(top);
        while enough && low < top {
            let middle = low + (top - low) / 2;
            match asked(middle) {
                true => top = middle,
                false => low = middle + 1,
            }
        }
        line.means[at].works.si = works;
        let percent = |share: f64| show(share, Dimension::Ratio);
        let name = format!("recovery.{} works {}", line.means[at].id, percent(works));
        told.push(match enough {
            true => format!(
                "{name}; with the others as they are {} would be asked of it",
                percent(f64::from(top) / f64::from(STEPS))
            ),
            false => format!("{name}; it would not be enough if it never failed"),
        });
    }
    told
}
