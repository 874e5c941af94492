//! Where the line hangs and what it pulls, against limits: the worst of all design cases, each verdict with the case that governs.

use std::cell::OnceCell;

use plan::{Anchor, Limits, Line, ModuleIx, Position, Q, SectionIx};
use quantity::{Dimension, show, show_number};

use crate::input::{CasesError, Moored, MooredTop, NotMoored, design_cases};
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
struct Asked {
    asked_n: f64,
    has_n: f64,
    why: String,
}

impl Asked {
    fn share(&self) -> f64 {
        self.asked_n / self.has_n
    }
}

/// A pull of less than this counts as none, N: what a search for a shape leaves over.
const NO_PULL_N: f64 = 0.1;

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

/// What the plan does not say of an anchor although a pull asks it: while something is missing, only what is broken is known.
fn unsaid(anchor: &Anchor, [level_n, up_n]: [f64; 2]) -> Option<String> {
    let weight = anchor.weight_in_water_n;
    if weight.is_none() && anchor.holding_factor.is_some() {
        return Some(
            "its holding_factor counts for a weight_in_water, and nothing says that".to_owned(),
        );
    }
    if weight.is_none() && anchor.holding_n.is_none() {
        return Some(format!("nothing says its holding: {WRITE_HOLD}"));
    }
    if weight.is_none() && up_n > NO_PULL_N {
        return Some("the line lifts it, and nothing says its weight_in_water".to_owned());
    }
    let holds = anchor.holding_n.is_some() || anchor.holding_factor.is_some();
    (!holds && level_n > NO_PULL_N).then(|| {
        format!(
            "it is pulled {level_n:.0} N along the bed, and nothing says its holding: {WRITE_HOLD}"
        )
    })
}

const WRITE_HOLD: &str = "write `holding`, or `holding_factor` and `weight_in_water`";

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
        match hangs.found() {
            Ok(found) => anchor_keeps(found, line, a, factor.si),
            Err(why) => unknown(path, why),
        }
    });
    each.collect()
}

/// The pull of all lines that end at an anchor, N along the bed and upwards.
struct Pull {
    by_n: [f64; 2],
    /// Whether all of them have a shape; else it is only what those lift that have one, as no line pushes an anchor down.
    whole: bool,
}

/// The pull on an anchor in a case.
fn pull_of(lines: &[&HungLine], case: usize, all_followed: bool) -> Pull {
    let shapes = lines.iter().filter_map(|of| of.shapes[case].as_ref().ok());
    let mut sum_n = [0.0; 3];
    let mut lifts_n = 0.0;
    let mut known = 0;
    for shape in shapes {
        let by_n = shape.shape.anchor_n;
        for (sum_n, part_n) in sum_n.iter_mut().zip(by_n) {
            *sum_n += part_n;
        }
        lifts_n += by_n[2].max(0.0);
        known += 1;
    }
    match all_followed && known == lines.len() {
        true => Pull {
            by_n: [libm::hypot(sum_n[0], sum_n[1]), sum_n[2]],
            whole: true,
        },
        false => Pull {
            by_n: [0.0, lifts_n],
            whole: false,
        },
    }
}

/// What an anchor must hold so many times in every case, of all lines that end at it together, against what the plan writes that it has.
pub(crate) fn anchor_keeps(found: &Moorings, line: &Line, anchor: usize, factor: f64) -> Verdict {
    let says = &line.anchors[anchor];
    let path = format!("anchor.{}", says.id);
    let at_it = found.lines.iter().flatten();
    let lines: Vec<&HungLine> = at_it.filter(|of| of.anchor.anchor == anchor).collect();
    let lost = found.lines.iter().filter_map(|of| of.as_ref().err());
    let lost = lost
        .filter(|not| not.anchor == Some(anchor))
        .collect::<Vec<_>>();
    let [first, others @ ..] = lines.as_slice() else {
        return unknown(path, not_moored(&found.lines));
    };
    let mut worst: Option<(Asked, usize)> = None;
    let mut missing = None;
    for case in 0..found.cases.len() {
        let Pull { by_n, whole } = pull_of(&lines, case, lost.is_empty());
        if whole {
            missing = missing.or_else(|| unsaid(says, by_n));
        }
        let tightest = ways(says, factor, by_n).into_iter();
        let tightest = tightest.max_by(|a, b| a.share().total_cmp(&b.share()));
        if let Some(one) = tightest
            && worst.as_ref().is_none_or(|(w, _)| one.share() > w.share())
        {
            worst = Some((one, case));
        }
    }
    let gap = lost.first().map_or_else(
        || lines.iter().find_map(|of| Told { found, of }.gap()),
        |not| Some(format!("{}: {}", not.section, not.why.join("; "))),
    );
    let open = missing.or(gap);
    let Some((worst, case)) = worst else {
        return unknown(path, open.unwrap_or_default());
    };
    let against = Against {
        side: Side::AtMost,
        limit: worst.has_n,
        narrow: FORCE_N,
        unit: "N".to_owned(),
    };
    let told = Told { found, of: first };
    let together = match others {
        [] => String::new(),
        _ => {
            let tops = lines.iter().map(|of| of.line.top.path(line));
            format!(
                "; of the lines of {} together",
                tops.collect::<Vec<_>>().join(", ")
            )
        }
    };
    let case = told.case(Extreme { value: 0.0, case });
    let why = format!("{}{together}; greatest in {case}", worst.why);
    let others: Vec<&Moored> = others.iter().map(|of| &of.line).collect();
    let evidence = match others.as_slice() {
        [] => told.evidence(&(&path, factor, worst.has_n)),
        others => told.evidence(&(&path, factor, worst.has_n, others)),
    };
    let verdict = against.judge(path, worst.asked_n, evidence, why);
    match open.filter(|_| !verdict.is_broken()) {
        Some(why) => unknown(verdict.subject(), why),
        None => verdict,
    }
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
    bed_under(line, (highest.si, "the highest tide"))
}

/// The same as far as the plan writes it: without a tide at the level of `water_depth`, and said so.
pub(crate) fn bed_as_written(line: &Line) -> Result<(f64, f64, String), String> {
    match line.sea.tide_m {
        Some((_, highest)) => bed_under(line, (highest.si, "the highest tide")),
        None => bed_under(
            line,
            (0.0, "water of `water_depth`, as no `tide` is written"),
        ),
    }
}

/// The bed under the highest of a level and those of the cases, with the most that the waves of any case add to the pressure there.
fn bed_under(line: &Line, (level_m, name): (f64, &str)) -> Result<(f64, f64, String), String> {
    let mut density_kg_m3 = line.sea.density_kg_m3.map_or(SEA_KG_M3, |q| q.si);
    let cases = match design_cases(line) {
        Ok(found) => found.cases,
        // What hides the cases (a site without a current) says nothing of the bed.
        Err(CasesError::NothingToTake { .. }) => Vec::new(),
        Err(other) => return Err(other.to_string()),
    };
    let (mut level_m, mut by) = (level_m, name.to_owned());
    for case in &cases {
        density_kg_m3 = case.water.density_kg_m3;
        if case.level_m > level_m {
            (level_m, by) = (case.level_m, case.named());
        }
    }
    let bed_m = line.sea.water_depth_m.si + level_m;
    let mut most_m = 0.0;
    let mut words = by.clone();
    for case in &cases {
        let Some((height_m, period_s)) = case.wave else {
            continue;
        };
        let wave = mooring::Wave::new(height_m, period_s, bed_m).map_err(|why| why.to_string())?;
        let adds_m = wave.at(bed_m).pressure_m;
        if adds_m > most_m {
            most_m = adds_m;
            words = match case.level_m < level_m {
                true => format!("{by} with the waves of {}", case.named()),
                false => format!("{} with its waves", case.named()),
            };
        }
    }
    let deep_m = bed_m + most_m;
    let shown = show(deep_m, Dimension::Length);
    Ok((
        deep_m,
        density_kg_m3,
        format!("the bed lies {shown} deep in {words}"),
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
        let why = format!("radius about the anchor, widest in {case}");
        all.push(told.whole(against.judge(path, widest.radius_m, evidence, why)));
    }
    if all.is_empty() {
        let path = of.map_or_else(|| "the plan".to_owned(), |m| line.module_path(m));
        all.push(unknown(path, not_moored(&found.lines)));
    }
    all
}
