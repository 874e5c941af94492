//! What may still be added at a place, and how far the line is from collapse, against what is asked.

use plan::{Line, ModuleIx, Q};

use crate::carried::NARROW_LOAD_PERCENT;
use crate::power_cases::METHOD;
use crate::reserve::{Factor, ModuleReserve, Room, in_hand, without_current_limit};
use crate::verdict::{Against, Evidence, Side, Verdict, unknown};

/// A reserve closer to what is asked than this is marginal, W.
pub(crate) const NARROW_W: f64 = 0.2;

/// The least collapse factor over all combinations of states that the plan allows.
pub(crate) fn collapse_factor(line: &Line, at_least: Q) -> Vec<Verdict> {
    let found = match in_hand(line, &[], true) {
        Ok(found) if found.unknowns.is_empty() => found,
        Ok(found) => return vec![unknown("the line", found.unknowns.join("; "))],
        Err(error) => return vec![unknown("the line", error.to_string())],
    };
    let against = Against {
        side: Side::AtLeast,
        limit: 100.0 * at_least.si,
        narrow: NARROW_LOAD_PERCENT,
        unit: "%".to_owned(),
    };
    let mut verdicts = Vec::new();
    let mut least: Option<(f64, usize)> = None;
    for (i, set) in found.weakest.iter().enumerate() {
        match &set.factor {
            Factor::Share(share) if least.is_none_or(|(known, _)| *share < known) => {
                least = Some((*share, i));
            }
            Factor::Share(_) => {}
            Factor::NoLoad => verdicts.push(unknown(
                "the line",
                format!(
                    "with {} nothing draws constant power: there is nothing to collapse",
                    set.name
                ),
            )),
            Factor::Unknown { why } => {
                verdicts.push(unknown("the line", format!("with {}: {why}", set.name)));
            }
        }
    }
    if let Some((share, i)) = least {
        let name = &found.weakest[i].name;
        let why = if share < 1.0 {
            format!("with {name} the line cannot carry its load")
        } else {
            format!(
                "with {name} the loads of constant power may grow to this share of themselves together"
            )
        };
        let evidence = Evidence::computed(METHOD, &found.weakest_networks[i]);
        verdicts.push(against.judge("the line".to_owned(), 100.0 * share, evidence, why));
    }
    verdicts
}

/// What may still be added at a module, or at each.
pub(crate) fn reserve(line: &Line, of: Option<ModuleIx>, at_least_w: Q) -> Vec<Verdict> {
    let asked: Vec<ModuleIx> = (0..line.modules.len())
        .map(ModuleIx)
        .filter(|m| of.is_none_or(|o| o == *m))
        .collect();
    let found = match in_hand(line, &asked, false) {
        Ok(found) if found.unknowns.is_empty() => found,
        Ok(found) => return vec![unknown("the line", found.unknowns.join("; "))],
        Err(error) => return vec![unknown("the line", error.to_string())],
    };
    let mut verdicts = Vec::new();
    for m in asked {
        let rows: Vec<&ModuleReserve> =
            found.modules.iter().filter(|row| row.module == m).collect();
        let verdict = module(&rows, at_least_w);
        verdicts.extend(verdict.map(|found| match without_current_limit(line) {
            None => found,
            Some(endless) => found.only_broken(format!(
                "{endless} may give less than this needs: write its `current_limit`"
            )),
        }));
    }
    verdicts
}

/// The verdict on a module: that of the contacts which leave it less.
fn module(rows: &[&ModuleReserve], at_least_w: Q) -> Option<Verdict> {
    let against = Against {
        side: Side::AtLeast,
        limit: at_least_w.si,
        narrow: NARROW_W,
        unit: "W".to_owned(),
    };
    // What breaks a limit outweighs what is not known, and that what may be added.
    let power_w = |row: &ModuleReserve| match &row.room {
        Room::None { .. } => -2.0,
        Room::Unknown { .. } => -1.0,
        Room::Power { power_w, .. } => *power_w,
        Room::NoLimit => f64::INFINITY,
    };
    let least = rows
        .iter()
        .min_by(|a, b| power_w(a).total_cmp(&power_w(b)))?;
    let path = least.path.clone();
    let judge = |value, why| {
        let evidence = Evidence::computed(METHOD, &(&least.within, least.module, at_least_w.si));
        against.judge(path.clone(), value, evidence, why)
    };
    Some(match &least.room {
        Room::Power { power_w, binds } => {
            judge(*power_w, format!("then {binds}, with {}", least.with))
        }
        Room::None { why } if at_least_w.si > 0.0 => judge(
            0.0,
            format!("nothing may be added, with {}: {why}", least.with),
        ),
        Room::None { why } => unknown(path, format!("with {}: {why}", least.with)),
        Room::Unknown { why } => unknown(path, why.clone()),
        Room::NoLimit => unknown(
            path,
            "a supply without resistance and current limit holds its voltage here whatever is drawn: write its `current_limit`",
        ),
    })
}
