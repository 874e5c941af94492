//! Whether the line comes back: means of recovery, what a parting frees, weak links, drift alarms.

use plan::{Line, ModuleIx, Q, That};

use crate::mooring_verdicts::{FORCE_N, Hangs, not_moored};
use crate::recovery::{
    Chance, LineRecovery, METHOD, Parted, RISES, Recovery, Sharing, least_lift, of_moorings,
};
use crate::verdict::{Against, Evidence, Side, Verdict, unknown};

/// A chance closer to its limit than this is marginal.
const CHANCE: f64 = 0.001;
/// A lift closer to its limit than this is marginal, N.
const LIFT_N: f64 = 10.0;
/// Rope closer to its limit than this is marginal, m.
const SLACK_M: f64 = 0.5;
/// A radius closer to its limit than this is marginal, m.
const RADIUS_M: f64 = 2.0;

/// What counts of recovery although nobody wrote it.
pub(crate) fn assumed(line: &Line) -> Vec<String> {
    let asks = |wanted: fn(&That) -> bool| line.requirements.iter().any(|r| wanted(&r.that));
    let mut all = Vec::new();
    if asks(|that| matches!(that, That::RecoveryChance { .. })) && line.means.len() > 1 {
        all.push("means of recovery fail independently of each other, but for what they share in `relies_on`".to_owned());
    }
    if asks(|that| matches!(that, That::PartedLift { .. } | That::RecoveryChance { .. })) {
        all.push(RISES.to_owned());
    }
    let links = line.weak_links.iter();
    let once: Vec<String> = links
        .filter(|link| link.safety_factor.is_none())
        .map(|link| format!("weak_link.{}", link.id))
        .collect();
    if !once.is_empty() {
        all.push(format!(
            "a weak link must hold the greatest tension once, because no `safety_factor` is written: {}",
            once.join(", ")
        ));
    }
    all
}

/// What verdicts are on, or why there is nothing to judge.
fn found(hangs: &Hangs<'_>) -> Result<Recovery, String> {
    let found = hangs.found()?;
    if !found.lines.iter().any(Result::is_ok) {
        return Err(not_moored(&found.lines));
    }
    Ok(of_moorings(hangs.line(), found))
}

fn of_line(line: &Line, of: &LineRecovery) -> String {
    of.line.top.path(line)
}

/// The chance that a module, or each on a line, comes back.
pub(crate) fn recovery_chance(
    hangs: &Hangs<'_>,
    of: Option<ModuleIx>,
    at_least: Q,
) -> Vec<Verdict> {
    let line = hangs.line();
    let subject = || of.map_or_else(|| "the line".to_owned(), |m| line.module_path(m));
    let recovery = match found(hangs) {
        Ok(recovery) => recovery,
        Err(why) => return vec![unknown(subject(), why)],
    };
    let against = Against {
        side: Side::AtLeast,
        limit: 100.0 * at_least.si,
        narrow: 100.0 * CHANCE,
        unit: "%".to_owned(),
    };
    let all = recovery.lines.iter().flatten();
    let chances = all.flat_map(|one| one.modules.iter().map(move |m| (one, m)));
    let wanted = chances.filter(|(_, m)| of.is_none_or(|wanted| wanted == m.module));
    let mut verdicts: Vec<Verdict> = wanted
        .map(|(one, m)| {
            let subject = line.module_path(m.module);
            let evidence = Evidence::computed(
                METHOD,
                &(
                    (&one.line, &one.held_under, &recovery.fouling),
                    recovery.density_kg_m3,
                    plain_means(line),
                    at_least.si,
                ),
            );
            came_back(&against, subject, &m.chance, evidence)
        })
        .collect();
    // A line of which the weights are not known may hold any module that is asked for.
    let lines = recovery.lines.iter().filter_map(|of| of.as_ref().err());
    let unjudged = lines.map(|not| unknown(not.section.clone(), not.why.join("; ")));
    if of.is_none() {
        verdicts.extend(unjudged);
    }
    match verdicts.is_empty() {
        true => vec![unknown(
            subject(),
            "it is on no line whose weights are known",
        )],
        false => verdicts,
    }
}

/// The means of a plan in plain values.
fn plain_means(line: &Line) -> Vec<impl std::fmt::Debug> {
    let each = line.means.iter();
    each.map(|m| {
        (
            m.id.clone(),
            m.kind,
            m.acts_at,
            m.works.si,
            m.relies_on.clone(),
        )
    })
    .collect()
}

/// A chance against its limit: known also where what is unknown of it decides nothing.
fn came_back(against: &Against, subject: String, chance: &Chance, evidence: Evidence) -> Verdict {
    let (least, most) = match (&chance.at_least, &chance.at_most) {
        (Ok(least), Ok(most)) => (100.0 * least, 100.0 * most),
        (Err(why), _) | (_, Err(why)) => return unknown(subject, why.clone()),
    };
    let value = match chance.works() {
        Ok(works) => 100.0 * works,
        Err(_) if against.holds(least) => least,
        Err(_) if !against.holds(most) => most,
        Err(why) => return unknown(subject, why),
    };
    let mut why = match chance.by.is_empty() {
        true => "by no means that is known to bring it".to_owned(),
        false => format!("by {}", chance.by.join(", ")),
    };
    let shared = chance.share.iter().map(Sharing::told);
    let unknowns = chance.unknown.iter();
    let unknowns = unknowns.map(|(id, why)| format!("whether by {id} is unknown: {why}"));
    let not_by = chance.not_by.iter();
    let not_by = not_by.map(|(id, why)| format!("not by {id}: {why}"));
    for more in shared.chain(unknowns).chain(not_by) {
        why.push_str("; ");
        why.push_str(&more);
    }
    against.judge(subject, value, evidence, why)
}

/// One verdict for each line from its partings.
fn each_line(
    hangs: &Hangs<'_>,
    judge: impl Fn(&LineRecovery, &[Parted], String) -> Verdict,
) -> Vec<Verdict> {
    let line = hangs.line();
    let recovery = match found(hangs) {
        Ok(recovery) => recovery,
        Err(why) => return vec![unknown("the line", why)],
    };
    let each = recovery.lines.iter().map(|of| match of {
        Err(not) => unknown(not.section.clone(), not.why.join("; ")),
        Ok(of) => match &of.partings {
            Err(why) => unknown(of_line(line, of), why.clone()),
            Ok(partings) => judge(of, partings, of_line(line, of)),
        },
    });
    each.collect()
}

/// The least lift of what a parting frees with a module on it.
pub(crate) fn parted_lift(hangs: &Hangs<'_>, at_least_n: Q) -> Vec<Verdict> {
    let against = Against {
        side: Side::AtLeast,
        limit: at_least_n.si,
        narrow: LIFT_N,
        unit: "N".to_owned(),
    };
    let grows = hangs.line().sea.growth.is_some();
    each_line(hangs, |of, partings, subject| {
        let (least, unknown_why) = least_lift(partings);
        match (least, unknown_why) {
            (Some((n, parted)), why) if why.is_none() || !against.holds(n) => {
                let flooded = match &parted.flooded {
                    Ok(Some(flooded)) => format!(" with {} flooded", flooded.what),
                    Ok(None) | Err(_) => String::new(),
                };
                let grown = match grows {
                    true => ", clean or with what has grown by the latest recovery",
                    false => "",
                };
                let why = format!("when it parts {}{flooded}{grown}", parted.place);
                let evidence = Evidence::computed(METHOD, &(&of.line, partings));
                against.judge(subject, n, evidence, why)
            }
            (_, Some(why)) => unknown(subject, why),
            (_, None) => unknown(subject, "no module is on this line"),
        }
    })
}

/// The most rope that may lie at the surface after a parting.
pub(crate) fn surface_slack(hangs: &Hangs<'_>, at_most_m: Q) -> Vec<Verdict> {
    let against = Against {
        side: Side::AtMost,
        limit: at_most_m.si,
        narrow: SLACK_M,
        unit: "m".to_owned(),
    };
    let tide = hangs.line().sea.tide_m;
    each_line(hangs, |of, partings, subject| {
        let most = partings
            .iter()
            .max_by(|a, b| a.slack_m.total_cmp(&b.slack_m));
        let Some(most) = most else {
            return unknown(subject, "the line has no place at which it may part");
        };
        let water = match tide {
            Some(_) => "at the lowest water",
            None => "at the lowest water that is written, and less water leaves more of it",
        };
        let why = match most.slack_m > 0.0 {
            true => format!(
                "of floating rope that stays with the anchor when it parts {}, {water}",
                most.place
            ),
            false => "no rope that stays with the anchor floats and reaches the surface".to_owned(),
        };
        let evidence = Evidence::computed(METHOD, &(&of.line, partings));
        let verdict = against.judge(subject, most.slack_m, evidence, why);
        let floats = of.line.pieces.iter().any(|p| p.rope.weight_n_m < 0.0);
        match tide {
            None if floats && !verdict.is_broken() => unknown(
                verdict.subject(),
                "the site says nothing of `tide`, and so not how little water there is over rope that floats",
            ),
            _ => verdict,
        }
    })
}

/// Whether each weak link holds what the design cases ask, and parts before any rope does.
pub(crate) fn weak_links(hangs: &Hangs<'_>) -> Vec<Verdict> {
    if hangs.line().weak_links.is_empty() {
        return Vec::new();
    }
    let recovery = match found(hangs) {
        Ok(recovery) => recovery,
        Err(why) => return vec![unknown("the weak links", why)],
    };
    let judged = |path: &str| {
        let mut windows = recovery
            .lines
            .iter()
            .flatten()
            .flat_map(|of| &of.weak_links);
        windows.any(|window| window.path == path)
    };
    let links = hangs.line().weak_links.iter();
    let elsewhere = links
        .map(|link| format!("weak_link.{}", link.id))
        .filter(|path| !judged(path))
        .map(|path| unknown(path, "the shape of its line is unknown"));
    let mut all: Vec<Verdict> = elsewhere.collect();
    let windows = recovery
        .lines
        .iter()
        .flatten()
        .flat_map(|of| &of.weak_links);
    for window in windows {
        let evidence = || Evidence::computed(METHOD, window);
        all.push(match &window.greatest_n {
            Err(why) => unknown(window.path.clone(), why.clone()),
            Ok((most, case)) => {
                let against = Against {
                    side: Side::AtLeast,
                    limit: window.factor * most.value,
                    narrow: FORCE_N,
                    unit: "N".to_owned(),
                };
                let times = match window.factor {
                    1.0 => String::new(),
                    factor => format!("{} times ", quantity::show_number(factor)),
                };
                let why = format!(
                    "it may part from there, and must hold {times}the {:.0} N of {case}",
                    most.value
                );
                let holds =
                    against.judge(window.path.clone(), window.parts_from_n, evidence(), why);
                holds.only_broken_for(recovery.unsaid.as_ref())
            }
        });
        all.push(match &window.least_breaking_n {
            Err(why) => unknown(window.path.clone(), why.clone()),
            Ok((breaks_n, section)) => {
                let against = Against {
                    side: Side::AtMost,
                    limit: *breaks_n,
                    narrow: FORCE_N,
                    unit: "N".to_owned(),
                };
                let why = format!("it has parted by then, and {section} breaks at {breaks_n:.0} N");
                against.judge(window.path.clone(), window.parts_by_n, evidence(), why)
            }
        });
        if let Err(why) = &window.lifts_at_n {
            all.push(unknown(window.path.clone(), why.clone()));
        }
        if let Ok((lifts_n, anchor)) = &window.lifts_at_n {
            let against = Against {
                side: Side::AtMost,
                limit: *lifts_n,
                narrow: FORCE_N,
                unit: "N".to_owned(),
            };
            let why = format!(
                "it has parted by then, and {anchor} with what hangs below the link comes off the bed at {lifts_n:.0} N: a pull that grows slowly lifts it first"
            );
            let verdict = against.judge(window.path.clone(), window.parts_by_n, evidence(), why);
            // Where it parts before, the rope is what it must spare.
            all.extend(verdict.is_broken().then_some(verdict));
        }
        if let Some(before) = &window.after {
            all.push(unknown(
                window.path.clone(),
                format!("{before} on the same line has parted before this one may, so this one parts never; whether all that hangs there comes back is for `parted-lift` to ask"),
            ));
        }
    }
    all
}

/// Whether each drift alarm is wide enough for the buoy's own circle and the errors of position.
pub(crate) fn drift_alarms(hangs: &Hangs<'_>) -> Vec<Verdict> {
    let line = hangs.line();
    let said = line
        .modules
        .iter()
        .enumerate()
        .filter(|(_, m)| m.drift_alarm.is_some());
    let said: Vec<ModuleIx> = said.map(|(m, _)| ModuleIx(m)).collect();
    if said.is_empty() {
        return Vec::new();
    }
    let recovery = match found(hangs) {
        Ok(recovery) => recovery,
        Err(why) => {
            let each = said
                .iter()
                .map(|m| unknown(line.module_path(*m), why.clone()));
            return each.collect();
        }
    };
    let each = said.iter().map(|m| {
        let subject = line.module_path(*m);
        let own = recovery
            .lines
            .iter()
            .flatten()
            .find(|of| of.line.top.path(line) == subject);
        match own.and_then(|of| of.adrift.as_ref()) {
            None => unknown(subject, "the shape of its line is unknown"),
            Some(Err(why)) => unknown(subject, why.clone()),
            Some(Ok(adrift)) => {
                let against = Against {
                    side: Side::AtLeast,
                    limit: adrift.least.radius_m,
                    narrow: RADIUS_M,
                    unit: "m".to_owned(),
                };
                let why = format!(
                    "radius of its drift alarm; the buoy's own circle is {:.1} m, and {} fixes with their errors reach {:.1} m beyond it as often as false alarms are borne",
                    adrift.least.watch_circle_m, adrift.fixes, adrift.least.error_m
                );
                let evidence = Evidence::computed(METHOD, adrift);
                let wide = against.judge(subject, adrift.radius_m, evidence, why);
                wide.only_broken_for(recovery.unsaid.as_ref())
            }
        }
    });
    each.collect()
}
