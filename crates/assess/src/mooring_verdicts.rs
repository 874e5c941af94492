//! Where the line hangs and what it pulls, against limits: the worst of all design cases, each verdict with the case that governs.

use std::cell::OnceCell;

use plan::{Anchor, Limits, Line, ModuleIx, Position, Q, SectionIx};
use quantity::{Dimension, show, show_number};

use crate::input::{CasesError, MooredTop, NotMoored, beside_a_circle, design_cases};
use crate::memo::Memo;
use crate::moorings::{Extreme, HungLine, METHOD, Moorings, OfModule, moorings_of};
use crate::verdict::{Against, Evidence, Ruling, Side, Verdict, unknown};

/// Margins below which a verdict is marginal.
pub(crate) const DEPTH_M: f64 = 1.0;
const TILT_DEG: f64 = 1.0;
pub(crate) const FORCE_N: f64 = 100.0;
const HOUSING_M: f64 = 5.0;
pub(crate) const CIRCLE_M: f64 = 2.0;

/// The shapes of a line, worked out once when the first verdict asks for them.
pub(crate) struct Hangs<'a> {
    line: &'a Line,
    memo: &'a Memo,
    found: OnceCell<Result<Moorings, CasesError>>,
}

impl<'a> Hangs<'a> {
    pub(crate) fn new(line: &'a Line, memo: &'a Memo) -> Hangs<'a> {
        Hangs {
            line,
            memo,
            found: OnceCell::new(),
        }
    }

    /// With shapes that have been found already.
    pub(crate) fn with(line: &'a Line, found: Moorings, memo: &'a Memo) -> Hangs<'a> {
        Hangs {
            line,
            memo,
            found: OnceCell::from(Ok(found)),
        }
    }

    pub(crate) fn line(&self) -> &'a Line {
        self.line
    }

    pub(crate) fn memo(&self) -> &'a Memo {
        self.memo
    }

    pub(crate) fn found(&self) -> Result<&Moorings, String> {
        let found = self.found.get_or_init(|| moorings_of(self.line, self.memo));
        found.as_ref().map_err(ToString::to_string)
    }

    /// What counts in the shapes although nobody wrote it; nothing where no verdict has asked for them.
    pub(crate) fn assumed(&self) -> &[String] {
        match self.found.get() {
            Some(Ok(found)) => &found.assumed,
            Some(Err(_)) | None => &[],
        }
    }
}

/// What a verdict is about, once the shapes are known.
pub(crate) struct Told<'a> {
    pub(crate) found: &'a Moorings,
    pub(crate) of: &'a HungLine,
}

impl Told<'_> {
    pub(crate) fn case(&self, extreme: Extreme) -> String {
        self.found.cases[extreme.case].named()
    }

    /// The first case without a shape: while there is one, only what is broken is known.
    pub(crate) fn gap(&self) -> Option<String> {
        let numbered = self.of.shapes.iter().enumerate();
        let mut gaps = numbered.filter_map(|(ix, shape)| Some((ix, shape.as_ref().err()?)));
        let (case, why) = gaps.next()?;
        let case = self.case(Extreme { value: 0.0, case });
        Some(format!("in {case} it has no shape: {why}"))
    }

    pub(crate) fn evidence(&self, more: &impl std::fmt::Debug) -> Evidence {
        Evidence::computed(METHOD, &(&self.of.line, &self.found.cases, more))
    }

    /// A verdict that stands only if it is broken while some case has no shape.
    pub(crate) fn whole(&self, verdict: Verdict) -> Verdict {
        let broken = matches!(&verdict, Verdict::Known(k) if k.ruling == Ruling::Broken);
        match self.gap() {
            Some(why) if !broken => unknown(verdict.subject(), why),
            _ => verdict,
        }
    }
}

pub(crate) fn not_moored(all: &[Result<HungLine, NotMoored>]) -> String {
    let whys: Vec<String> = all
        .iter()
        .filter_map(|of| of.as_ref().err())
        .map(|not| format!("{}: {}", not.section, not.why.join("; ")))
        .collect();
    if whys.is_empty() {
        "it hangs on no section that ends at an anchor".to_owned()
    } else {
        format!("the shape of the line is unknown ({})", whys.join("; "))
    }
}

/// The modules that a requirement is about: one, or each on a section.
fn modules(line: &Line, of: Option<ModuleIx>) -> Vec<ModuleIx> {
    let on_a_section = |m: &ModuleIx| !matches!(line.modules[m.0].position, Position::Depth(_));
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

/// What every section, anchor, housing and float of moored lines bears over all cases against what the plan says that it may.
#[must_use]
pub fn strengths(line: &Line, found: &Moorings) -> Vec<Verdict> {
    let memo = Memo::with_room(0);
    let hangs = Hangs::with(line, found.clone(), &memo);
    let mut all = line_tension(&hangs, None, None);
    all.extend(anchor_load(&hangs, None, None));
    all.extend(housing_margin(line, None, None));
    all
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

/// The greatest tension of sections against a limit or the working loads of their ropes.
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
    let each = sections.into_iter().map(|s| {
        let section = &line.sections[s.0];
        let path = format!("section.{}", section.id);
        let working = section.rope.as_ref().and_then(|r| r.working_load_n);
        let Some(limit) = at_most_n.or(working) else {
            return unknown(
                path,
                "neither the requirement nor its rope says what it may bear: write `working_load`, or `at_most`",
            );
        };
        let found = match hangs.found() {
            Ok(found) => found,
            Err(why) => return unknown(path, why),
        };
        let lines = found.lines.iter().flatten();
        let seen = lines
            .flat_map(|of| of.sections.iter().map(move |seen| (of, seen)))
            .find(|(_, seen)| seen.section == s);
        let Some((of, seen)) = seen else {
            let lines = found.lines.iter().flatten();
            let own = lines.clone().find(|of| of.line.pieces.iter().any(|p| p.section == s));
            let why = own.map_or_else(
                || not_moored(&found.lines),
                |of| Told { found, of }.gap().unwrap_or_default(),
            );
            return unknown(path, why);
        };
        let told = Told { found, of };
        // Whatever is asked: a rope that has its breaking load has parted.
        let breaking = section.rope.as_ref().and_then(|r| r.breaking_load_n);
        let breaking = breaking.filter(|breaking| breaking.si < limit.si);
        let limit = breaking.unwrap_or(limit);
        let against = Against {
            side: Side::AtMost,
            limit: limit.si,
            narrow: FORCE_N,
            unit: "N".to_owned(),
        };
        let whose = match (breaking, at_most_n) {
            (Some(_), _) => ", against the breaking load of its rope, which is less than what is asked",
            (None, Some(_)) => "",
            (None, None) => ", against the working load of its rope",
        };
        let why = format!("greatest in {}{whose}", told.case(seen.tension_n));
        let evidence = told.evidence(&(&path, limit.si));
        told.whole(against.judge(path, seen.tension_n.value, evidence, why))
    });
    each.collect()
}

/// What an anchor is asked for with a factor, and what it has.
pub(crate) struct Asked {
    asked_n: f64,
    has_n: f64,
    why: String,
}

/// What a pull along the bed and upwards asks of an anchor by each value that the plan writes of it.
fn ways(anchor: &Anchor, factor: f64, [level_n, up_n]: [f64; 2]) -> Vec<Asked> {
    let lifts_n = up_n.max(0.0);
    let times = show_number(factor);
    let mut ways = Vec::new();
    if let Some(holding) = anchor.holding_n {
        ways.push(Asked {
            asked_n: factor * level_n,
            has_n: holding.si,
            why: format!("{times} times {level_n:.0} N along the bed, against its holding"),
        });
    }
    if let Some(weight) = anchor.weight_in_water_n {
        ways.push(match anchor.holding_factor {
            None => Asked {
                asked_n: factor * lifts_n,
                has_n: weight.si,
                why: format!("{times} times {lifts_n:.0} N upwards, against its weight in water"),
            },
            Some(holds) => Asked {
                asked_n: factor * (lifts_n + level_n / holds.si),
                has_n: weight.si,
                why: format!(
                    "{times} times ({lifts_n:.0} N upwards and {level_n:.0} N along the bed over a holding factor of {}), against its weight in water",
                    show_number(holds.si)
                ),
            },
        });
    }
    ways
}

fn tightest(ways: Vec<Asked>) -> Option<Asked> {
    ways.into_iter()
        .max_by(|a, b| (a.asked_n / a.has_n).total_cmp(&(b.asked_n / b.has_n)))
}

/// The tighter of what limits an anchor; words where the plan does not say enough to be sure of it.
fn whole_hold(anchor: &Anchor, factor: f64, pull_n: [f64; 2]) -> Result<Asked, &'static str> {
    let weight = anchor.weight_in_water_n;
    if anchor.holding_n.is_some() && weight.is_none() && pull_n[1] > 0.0 {
        return Err("the line lifts it, and nothing says its weight_in_water");
    }
    if anchor.holding_factor.is_some() && weight.is_none() {
        return Err("its holding_factor counts for a weight_in_water, and nothing says that");
    }
    if anchor.holding_n.is_none() && anchor.holding_factor.is_none() {
        return Err(NO_HOLD);
    }
    tightest(ways(anchor, factor, pull_n)).ok_or(NO_HOLD)
}

/// The tighter of what the plan writes of an anchor, be it only its weight.
pub(crate) fn written_hold(
    anchor: &Anchor,
    factor: f64,
    pull_n: [f64; 2],
) -> Result<Asked, &'static str> {
    tightest(ways(anchor, factor, pull_n)).ok_or(NO_HOLD)
}

const NO_HOLD: &str =
    "nothing says its holding: write `holding`, or `holding_factor` and `weight_in_water`";

/// What anchors must hold with a factor of safety.
pub(crate) fn anchor_load(
    hangs: &Hangs<'_>,
    of: Option<usize>,
    at_least: Option<Q>,
) -> Vec<Verdict> {
    let line = hangs.line;
    let anchors = match of {
        Some(a) => vec![a],
        None => (0..line.anchors.len()).collect(),
    };
    let each = anchors.into_iter().map(|a| {
        let anchor = &line.anchors[a];
        let path = format!("anchor.{}", anchor.id);
        let Some(factor) = at_least.or(anchor.safety_factor) else {
            return unknown(
                path,
                "neither the requirement nor the anchor says how many times the load it must hold: write `safety_factor`, or `at_least`",
            );
        };
        let found = match hangs.found() {
            Ok(found) => found,
            Err(why) => return unknown(path, why),
        };
        match found.lines.iter().flatten().find(|of| of.anchor.anchor == a) {
            Some(of) => anchor_keeps(&Told { found, of }, line, factor.si, whole_hold),
            None => unknown(path, not_moored(&found.lines)),
        }
    });
    each.collect()
}

/// What the anchor of a line must hold so many times in every case, against what `hold` says that it has.
pub(crate) fn anchor_keeps(
    told: &Told<'_>,
    line: &Line,
    factor: f64,
    hold: fn(&Anchor, f64, [f64; 2]) -> Result<Asked, &'static str>,
) -> Verdict {
    let anchor = &line.anchors[told.of.anchor.anchor];
    let path = format!("anchor.{}", anchor.id);
    let mut worst: Option<(Asked, usize)> = None;
    for (case, shape) in told.of.shapes.iter().enumerate() {
        let Ok(shape) = shape else { continue };
        let [east_n, north_n, up_n] = shape.shape.anchor_n;
        match hold(anchor, factor, [libm::hypot(east_n, north_n), up_n]) {
            Err(why) => return unknown(path, why),
            Ok(one) => {
                let share = |a: &Asked| a.asked_n / a.has_n;
                if worst.as_ref().is_none_or(|(w, _)| share(&one) > share(w)) {
                    worst = Some((one, case));
                }
            }
        }
    }
    let Some((worst, case)) = worst else {
        return unknown(path, told.gap().unwrap_or_default());
    };
    let against = Against {
        side: Side::AtMost,
        limit: worst.has_n,
        narrow: FORCE_N,
        unit: "N".to_owned(),
    };
    let case = told.case(Extreme { value: 0.0, case });
    let why = format!("{}; greatest in {case}", worst.why);
    let evidence = told.evidence(&(&path, factor, worst.has_n));
    told.whole(against.judge(path, worst.asked_n, evidence, why))
}

/// How much deeper than the bed at the highest water housings and floats are rated: one that comes off falls to the bed.
pub(crate) fn housing_margin(
    line: &Line,
    of: Option<ModuleIx>,
    at_least_m: Option<Q>,
) -> Vec<Verdict> {
    let bed = deepest_bed(line);
    let mut things: Vec<(String, Option<Q>)> = (0..line.modules.len())
        .map(ModuleIx)
        .filter(|m| of.is_none_or(|of| of == *m))
        .filter(|m| {
            let module = &line.modules[m.0];
            of.is_some() || module.depth_m != 0.0 || module.housing.is_some()
        })
        .map(|m| {
            let housing = line.modules[m.0].housing.as_ref();
            (line.module_path(m), housing.and_then(|h| h.rated_depth_m))
        })
        .collect();
    if of.is_none() {
        let floats = line.floats.iter();
        things.extend(floats.map(|f| (format!("float.{}", f.id), f.rated_depth_m)));
    }
    let each = things.into_iter().map(|(path, rated)| {
        let Some(rated) = rated else {
            return unknown(
                path,
                "nothing says how deep it may go: write its `rated_depth`",
            );
        };
        let (bed_m, density_kg_m3, why) = match &bed {
            Ok(bed) => bed,
            Err(why) => return unknown(path, why.clone()),
        };
        let against = Against {
            side: Side::AtLeast,
            limit: at_least_m.map_or(0.0, |q| q.si),
            narrow: HOUSING_M,
            unit: "m".to_owned(),
        };
        let evidence = Evidence::computed(
            "rated depth over the bed at the highest water",
            &(rated.si, bed_m),
        );
        let pressure_mpa = density_kg_m3 * mooring::GRAVITY_M_S2 * bed_m * 1e-6;
        let why = format!("{why}, {pressure_mpa:.2} MPa, where it falls when it comes off");
        against.judge(path, rated.si - bed_m, evidence, why)
    });
    each.collect()
}

/// Depth of the bed at the highest water with what waves add to the pressure there, m; the density of the water, kg/m3; and words.
fn deepest_bed(line: &Line) -> Result<(f64, f64, String), String> {
    let Some((_, highest)) = line.sea.tide_m else {
        return Err(
            "the site says nothing of tide, and so not how deep the bed is at the highest water"
                .to_owned(),
        );
    };
    let bed_m = line.sea.water_depth_m.si;
    let cases = match design_cases(line) {
        Ok(found) => found,
        // What hides the cases (a site without a current) says nothing of the bed.
        Err(CasesError::NothingToTake { .. }) => {
            let deep_m = bed_m + highest.si;
            let density_kg_m3 = line.sea.density_kg_m3.map_or(SEA_KG_M3, |q| q.si);
            return Ok((
                deep_m,
                density_kg_m3,
                format!(
                    "the bed lies {} deep at the highest water",
                    show(deep_m, Dimension::Length)
                ),
            ));
        }
        Err(other) => return Err(other.to_string()),
    };
    let mut deep_m = bed_m + highest.si;
    let mut density_kg_m3 = line.sea.density_kg_m3.map_or(SEA_KG_M3, |q| q.si);
    let mut by = "the highest tide".to_owned();
    for case in &cases.cases {
        density_kg_m3 = case.water.density_kg_m3;
        let wave_m = match case.wave {
            None => 0.0,
            Some((height_m, period_s)) => {
                let wave = mooring::Wave::new(height_m, period_s, case.water.depth_m)
                    .map_err(|why| why.to_string())?;
                wave.at(case.water.depth_m).pressure_m
            }
        };
        if case.water.depth_m + wave_m > deep_m {
            deep_m = case.water.depth_m + wave_m;
            by = format!("case.{} with its waves", case.id);
        }
    }
    let shown = show(deep_m, Dimension::Length);
    Ok((
        deep_m,
        density_kg_m3,
        format!("the bed lies {shown} deep in {by}"),
    ))
}

/// Density of sea water for the words of a verdict where the site gives none, kg/m3 (common practice).
const SEA_KG_M3: f64 = 1025.0;

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
        let case = told.case(Extreme {
            value: widest.radius_m,
            case: widest.case,
        });
        let evidence = told.evidence(&(&path, at_most_m.si));
        let why = format!(
            "radius about the anchor, widest in {case}{}",
            beside_a_circle(line, &found.cases)
        );
        all.push(told.whole(against.judge(path, widest.radius_m, evidence, why)));
    }
    if all.is_empty() {
        let path = of.map_or_else(|| "the plan".to_owned(), |m| line.module_path(m));
        all.push(unknown(path, not_moored(&found.lines)));
    }
    all
}
