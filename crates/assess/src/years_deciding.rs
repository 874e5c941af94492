//! Which years decide that a claim on years is broken: while each of them is bad, no other needs to be run.

use plan::{Line, Listeners, Reading, Requirement, SupplyIx, That};

use crate::check::Tier;
use crate::hang::hung;
use crate::memo::Memo;
use crate::years::{FewYears, Years, share_of_years};

/// Years with how bad each is, the worse the larger.
type Badness = Vec<(f64, u64)>;

/// The worst years of a requirement, one more than it bears: of the subject that is furthest from it. `None` of a requirement that is not on generated years, as measured
/// ones are few.
pub(crate) fn deciding_years(reading: &Reading, id: &str, memo: &Memo) -> Option<FewYears> {
    let held = hung(reading.line.as_ref()?, memo);
    let line = &*held;
    let r = line.requirements.iter().find(|r| r.id == id)?;
    let mut years = Years::new(line, memo, Tier::Full);
    match &r.that {
        That::OutageHours { of, confidence, .. } | That::LowestCharge { of, confidence, .. } => {
            of_supplies(line, r, (*of, *confidence), &mut years)
        }
        That::ListeningShare { of, confidence, .. } | That::ListeningGap { of, confidence, .. } => {
            of_hearing(r, (*of, *confidence), &mut years)
        }
        _ => None,
    }
}

fn of_supplies(
    line: &Line,
    r: &Requirement,
    (of, confidence): (Option<SupplyIx>, Option<plan::Q>),
    years: &mut Years<'_>,
) -> Option<FewYears> {
    let share = share_of_years(r.share?.si, confidence);
    let needed = share.years_needed().ok()?;
    let bears = share.most_bad(needed).ok()?? as usize;
    let mut worst: Option<(f64, usize, Vec<u64>)> = None;
    for (at, supply) in line.supplies.iter().enumerate() {
        if supply.battery.is_none() || of.is_some_and(|of| of.0 != at) {
            continue;
        }
        let run = years.of(SupplyIx(at)).ok()?;
        if run.input.light.measured_years().is_some() {
            return None;
        }
        let bad: Vec<f64> = match &r.that {
            That::LowestCharge { .. } => run.lowest_of_each().iter().map(|c| -c).collect(),
            _ => run.hours_off().into_iter().map(f64::from).collect(),
        };
        let each = bad.into_iter().zip(run.numbers().iter().copied());
        let (least_bad, numbers) = worst_of(each.take(needed as usize).collect(), bears)?;
        if worst.as_ref().is_none_or(|(bad, ..)| least_bad > *bad) {
            worst = Some((least_bad, at, numbers));
        }
    }
    let (_, at, numbers) = worst?;
    Some(FewYears {
        supplies: [(at, numbers)].into(),
        hearing: None,
    })
}

fn of_hearing(
    r: &Requirement,
    (of, confidence): (Listeners, Option<plan::Q>),
    years: &mut Years<'_>,
) -> Option<FewYears> {
    let share = share_of_years(r.share?.si, confidence);
    let heard = years.hearing().ok().filter(|h| h.measured.is_none())?;
    let bears = share.most_bad(heard.of_years).ok()?? as usize;
    let each = heard.whose(of).into_iter().filter_map(|whose| {
        let bad: Vec<f64> = match &r.that {
            That::ListeningGap { .. } => heard.gaps_h(whose),
            _ => heard.worst_months(whose).iter().map(|m| -m.0).collect(),
        };
        let each = bad.into_iter().zip(heard.numbers.iter().copied());
        worst_of(each.collect(), bears)
    });
    let worst = each.reduce(|a, b| if b.0 > a.0 { b } else { a });
    Some(FewYears {
        hearing: Some(worst?.1),
        ..FewYears::default()
    })
}

/// The worst of some years, one more than is borne: how bad the least of them is, and their numbers in order.
fn worst_of(mut years: Badness, bears: usize) -> Option<(f64, Vec<u64>)> {
    years.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    years.truncate(bears + 1);
    let least = years.get(bears)?.0;
    let mut numbers: Vec<u64> = years.into_iter().map(|(_, number)| number).collect();
    numbers.sort_unstable();
    Some((least, numbers))
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;
    use crate::check::{Shelf, check_one};
    use crate::verdict::Word;

    const PLAN: &str = include_str!("../tests/integration/small.toml");

    fn read(panels_w: u32, capacity_ah: u32) -> Reading {
        let text = PLAN
            .replace("kind = \"bench\"", &format!("kind = \"solar-battery\"\npanels = {{ peak_power_each = \"{panels_w} W\", tilt = \"60 deg\", faces = 4, loss = \"15 %\" }}\nbattery = {{ chemistry = \"lifepo4\", capacity = \"{capacity_ah} Ah\", voltage = \"12.8 V\" }}"))
            .replace("shipping = 0.2", "shipping = 0.2\nclearness = [0.34, 0.38, 0.42, 0.45, 0.47, 0.46, 0.43, 0.42, 0.41, 0.37, 0.33, 0.31]")
            .replace("[detector.call]\n", "[detector.call]\nexpects = \"60 per d\"\n")
            .replace("[requirement.voltage]\n", "[requirement.charge]\nthat = \"lowest-charge\"\nat_least = \"30 %\"\nshare = \"80 %\"\nconfidence = \"90 %\"\n\n[requirement.winter]\nthat = \"outage-hours\"\nat_most = \"20 h\"\nshare = \"80 %\"\nconfidence = \"90 %\"\n\n[requirement.hears]\nthat = \"listening-share\"\nat_least = \"97 %\"\nshare = \"80 %\"\nconfidence = \"90 %\"\n\n[requirement.voltage]\n");
        let fetch = |_: &Path| Ok(text.as_bytes().to_vec());
        let reading = crate::read(Path::new("plan.toml"), &fetch);
        assert!(!reading.has_errors(), "{:?}", reading.mistakes);
        reading
    }

    /// Whatever is changed, what few years break all years break, and what they do not break they leave open; of the plan as it is they say what all say.
    #[test]
    fn verif_few_years_break_only_what_all_years_break() {
        let memo = Memo::new();
        let shelf = Shelf::default();
        let plans = [(10, 8), (25, 12), (25, 40), (40, 12), (45, 30), (60, 60)];
        for (id, least_broken) in [("charge", 2), ("winter", 1), ("hears", 1)] {
            let word = |reading: &Reading, few: Option<&FewYears>| {
                check_one(reading, &shelf, (id, false), &memo, few)
                    .unwrap()
                    .word()
            };
            let base = read(10, 8);
            assert_eq!(word(&base, None), Word::Broken, "{id}");
            let few = deciding_years(&base, id, &memo).unwrap();
            assert_eq!(word(&base, Some(&few)), Word::Broken, "{id}");
            let mut broken = 0;
            for (panels_w, capacity_ah) in plans {
                let reading = read(panels_w, capacity_ah);
                match word(&reading, Some(&few)) {
                    Word::Broken => {
                        broken += 1;
                        assert_eq!(word(&reading, None), Word::Broken, "{id}");
                    }
                    open => assert!(
                        matches!(open, Word::Provisional | Word::Unknown),
                        "{id}: {open:?}"
                    ),
                }
            }
            assert!(
                (least_broken..plans.len()).contains(&broken),
                "{id}: {broken}"
            );
        }
    }
}
