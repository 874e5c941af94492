//! Modules, sections and the tops of lines in all design cases.

use plan::{Limits, Line, ModuleIx, Position, Q, Rope, SectionEnd, SectionIx};

use super::{CIRCLE_M, DEPTH_M, FORCE_N, Hangs, Told, not_moored};
use crate::input::MooredTop;
use crate::moorings::{Extreme, HungLine, Moorings, OfModule};
use crate::verdict::{Against, Side, Verdict, unknown};

/// A tilt closer to its limit than this is marginal, degrees.
const TILT_DEG: f64 = 1.0;

/// The modules that a requirement is about: one, or each on a section or at the lower end of one, where it may join the next.
fn modules(line: &Line, of: Option<ModuleIx>) -> Vec<ModuleIx> {
    let on_a_section = |m: &ModuleIx| {
        let ends = |s: &plan::Section| s.to == SectionEnd::Module(*m);
        !matches!(line.modules[m.0].position, Position::Depth(_)) || line.sections.iter().any(ends)
    };
    match of {
        Some(m) => vec![m],
        None => (0..line.modules.len())
            .map(ModuleIx)
            .filter(on_a_section)
            .collect(),
    }
}

/// A verdict for each module from what it sees over all cases.
fn each_module(
    hangs: &Hangs<'_>,
    of: Option<ModuleIx>,
    judge: impl Fn(&Told<'_>, String, &OfModule) -> Verdict,
) -> Vec<Verdict> {
    let line = hangs.line;
    let found = match hangs.found() {
        Ok(found) => found,
        Err(why) => {
            return modules(line, of)
                .into_iter()
                .map(|m| unknown(line.module_path(m), why.clone()))
                .collect();
        }
    };
    modules(line, of)
        .into_iter()
        .map(|m| {
            let path = line.module_path(m);
            let lines = found.lines.iter().flatten();
            let seen = lines
                .flat_map(|of| of.modules.iter().map(move |seen| (of, seen)))
                .find(|(_, seen)| seen.module == m);
            if let Some((of, seen)) = seen {
                let told = Told { found, of };
                return told.whole(judge(&told, path, seen));
            }
            // A line of which no case has a shape tells nothing of its modules.
            let holds = |of: &&HungLine| of.line.holds(m);
            let why = found.lines.iter().flatten().find(holds).map_or_else(
                || not_moored(&found.lines),
                |of| Told { found, of }.gap().unwrap_or_default(),
            );
            unknown(path, why)
        })
        .collect()
}
/// The least and the greatest depth of modules.
pub(crate) fn module_depth(
    hangs: &Hangs<'_>,
    of: Option<ModuleIx>,
    limits: Limits,
) -> Vec<Verdict> {
    each_module(hangs, of, |told, path, seen| {
        let judge = |side: Side, limit: Q, seen: Extreme, word: &str| {
            let against = Against {
                side,
                limit: limit.si,
                narrow: DEPTH_M,
                unit: "m".to_owned(),
            };
            let why = format!("{word} in {}", told.case(seen));
            against.judge(
                path.clone(),
                seen.value,
                told.evidence(&(&path, limit.si)),
                why,
            )
        };
        let least = limits
            .at_least
            .map(|q| judge(Side::AtLeast, q, seen.shallowest_m, "shallowest"));
        let most = limits
            .at_most
            .map(|q| judge(Side::AtMost, q, seen.deepest_m, "deepest"));
        let margin = |v: &Verdict| match v {
            Verdict::Known(k) => k.margin.value,
            Verdict::Unknown { .. } | Verdict::Provisional(_) => f64::NEG_INFINITY,
        };
        [least, most]
            .into_iter()
            .flatten()
            .min_by(|a, b| margin(a).total_cmp(&margin(b)))
            .unwrap_or_else(|| unknown(path.clone(), "the requirement has no limit"))
    })
}

/// The greatest angle of the line at modules from the vertical.
pub(crate) fn module_tilt(hangs: &Hangs<'_>, of: Option<ModuleIx>, at_most_deg: Q) -> Vec<Verdict> {
    each_module(hangs, of, |told, path, seen| {
        let against = Against {
            side: Side::AtMost,
            limit: at_most_deg.si,
            narrow: TILT_DEG,
            unit: "deg".to_owned(),
        };
        let evidence = told.evidence(&(&path, at_most_deg.si));
        let why = format!(
            "the larger of the angles of the line above and below it, in {}",
            told.case(seen.tilt_deg)
        );
        against.judge(path, seen.tilt_deg.value, evidence, why)
    })
}

/// The greatest tension of sections against a limit or the working loads of their ropes. Whatever is asked: a rope that has its breaking load has parted.
pub(crate) fn line_tension(
    hangs: &Hangs<'_>,
    of: Option<SectionIx>,
    at_most_n: Option<Q>,
) -> Vec<Verdict> {
    let line = hangs.line;
    let sections = match of {
        Some(s) => vec![s],
        None => (0..line.sections.len()).map(SectionIx).collect(),
    };
    let each = sections.into_iter().map(|s| match at_most_n {
        Some(asked) => match written(line, s, |rope| rope.breaking_load_n) {
            Some(breaking) if breaking.si < asked.si => {
                within(hangs, s, breaking, LESS_THAN_ASKED)
            }
            _ => within(hangs, s, asked, ""),
        },
        None => match rope_bears(hangs, s) {
            // What a rope breaks at is no load to work with.
            Some(verdict)
                if verdict.is_broken() || written(line, s, |r| r.working_load_n).is_some() =>
            {
                verdict
            }
            _ => unknown(
                format!("section.{}", line.sections[s.0].id),
                "neither the requirement nor its rope says what it may bear: write `working_load`, or `at_most`",
            ),
        },
    });
    each.collect()
}

const LESS_THAN_ASKED: &str =
    ", against the breaking load of its rope, which is less than what is asked";

/// A load that the rope of a section says.
fn written(line: &Line, section: SectionIx, load: fn(&Rope) -> Option<Q>) -> Option<Q> {
    line.sections[section.0].rope.as_ref().and_then(load)
}

/// The greatest tension of a section against the least that its rope says it bears: its working load, or its breaking load where that is less or all that is written;
/// `None` where it says neither.
pub(crate) fn rope_bears(hangs: &Hangs<'_>, section: SectionIx) -> Option<Verdict> {
    let working = written(hangs.line, section, |rope| rope.working_load_n);
    let breaking = written(hangs.line, section, |rope| rope.breaking_load_n);
    let (load, whose) = match (working, breaking) {
        (Some(working), Some(breaking)) if breaking.si < working.si => (breaking, LESS_THAN_ASKED),
        (Some(working), _) => (working, ", against the working load of its rope"),
        (None, Some(breaking)) => {
            let parts = within(
                hangs,
                section,
                breaking,
                ", against the breaking load of its rope, which says no `working_load`",
            );
            return Some(match parts {
                Verdict::Unknown { .. } => parts,
                parts => parts.only_broken(
                    "its rope does not break, and does not say what it may bear: write `working_load`",
                ),
            });
        }
        (None, None) => return None,
    };
    Some(within(hangs, section, load, whose))
}

/// The greatest tension of a section against a load, with words on whose it is.
fn within(hangs: &Hangs<'_>, s: SectionIx, load: Q, whose: &str) -> Verdict {
    let path = format!("section.{}", hangs.line.sections[s.0].id);
    let found = match hangs.found() {
        Ok(found) => found,
        Err(why) => return unknown(path, why),
    };
    let lines = found.lines.iter().flatten();
    let seen = lines
        .flat_map(|of| of.sections.iter().map(move |seen| (of, seen)))
        .find(|(_, seen)| seen.section == s);
    let Some((of, seen)) = seen else {
        let mut lines = found.lines.iter().flatten();
        let own = lines.find(|of| of.line.pieces.iter().any(|p| p.section == s));
        let why = own.map_or_else(
            || not_moored(&found.lines),
            |of| Told { found, of }.gap().unwrap_or_default(),
        );
        return unknown(path, why);
    };
    let told = Told { found, of };
    let against = Against {
        side: Side::AtMost,
        limit: load.si,
        narrow: FORCE_N,
        unit: "N".to_owned(),
    };
    let why = format!("greatest in {}{whose}", told.case(seen.tension_n));
    let evidence = told.evidence(&(&path, load.si));
    told.whole(against.judge(path, seen.tension_n.value, evidence, why))
}

/// How far the tops of lines go from above their anchors.
pub(crate) fn watch_circle(hangs: &Hangs<'_>, of: Option<ModuleIx>, at_most_m: Q) -> Vec<Verdict> {
    let line = hangs.line;
    let found = match hangs.found() {
        Ok(found) => found,
        Err(why) => {
            let path = of.map_or_else(|| "the plan".to_owned(), |m| line.module_path(m));
            return vec![unknown(path, why)];
        }
    };
    let mut all = Vec::new();
    for of_line in &found.lines {
        let of_line = match of_line {
            Ok(of_line) => of_line,
            Err(not) if of.is_none() => {
                all.push(unknown(not.section.clone(), not.why.join("; ")));
                continue;
            }
            Err(_) => continue,
        };
        let wanted =
            |m: ModuleIx| matches!(of_line.line.top, MooredTop::Buoy { module, .. } if module == m);
        if !of.is_none_or(wanted) {
            continue;
        }
        let told = Told { found, of: of_line };
        let path = of_line.line.top.path(line);
        let Some(widest) = of_line.watch_circle else {
            all.push(unknown(path, told.gap().unwrap_or_default()));
            continue;
        };
        let against = Against {
            side: Side::AtMost,
            limit: at_most_m.si,
            narrow: CIRCLE_M,
            unit: "m".to_owned(),
        };
        let case = found.cases[widest.case].named();
        let evidence = told.evidence(&(&path, at_most_m.si));
        let waves = match widest.waves_m > 0.0 {
            true => format!(
                ", {:.2} m of it the way of the water to and fro in its waves",
                widest.waves_m
            ),
            false => String::new(),
        };
        let why = format!("radius about the anchor, widest in {case}{waves}");
        all.push(told.whole(against.judge(path, widest.radius_m, evidence, why)));
    }
    if all.is_empty() {
        let path = of.map_or_else(|| "the plan".to_owned(), |m| line.module_path(m));
        let why = of.and_then(|m| not_the_top(line, found, m));
        all.push(unknown(
            path,
            why.unwrap_or_else(|| not_moored(&found.lines)),
        ));
    }
    all
}

/// What is told of a module that hangs on a line and does not hold its top.
fn not_the_top(line: &Line, found: &Moorings, m: ModuleIx) -> Option<String> {
    let of = found.lines.iter().flatten().find(|of| of.line.holds(m))?;
    let top = of.line.top.path(line);
    Some(format!(
        "it does not hold the top of its line, and a watch circle is that of the top, {top}: {}",
        match of.line.top {
            MooredTop::Buoy { .. } => format!("write `of = \"{top}\"`"),
            MooredTop::Float { .. } => "leave out `of`, which names a buoy".to_owned(),
        }
    ))
}
