//! What anchors hold of the pulls of all lines that end at them.

use plan::{Anchor, Line, Q};
use quantity::show_number;

use super::{FORCE_N, Hangs, Told, no_shape, not_moored};
use crate::input::Moored;
use crate::moorings::{HungLine, Moorings, Surface};
use crate::stands::without_factor;
use crate::verdict::{Against, Side, Verdict, unknown};

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
    // Once is not told.
    let times = match factor {
        1.0 => String::new(),
        _ => format!("{} times ", show_number(factor)),
    };
    let both = |sum: String| match factor {
        1.0 => sum,
        _ => format!("{times}({sum})"),
    };
    let mut ways = Vec::new();
    if let Some(holding) = anchor.holding_n {
        ways.push(Asked {
            asked_n: factor * level_n,
            has_n: holding.si,
            why: format!("{times}{level_n:.0} N along the bed, against its holding"),
        });
    }
    if let Some(weight) = anchor.weight_in_water_n {
        ways.push(match anchor.holding_factor {
            None => Asked {
                asked_n: factor * lifts_n,
                has_n: weight.si,
                why: format!("{times}{lifts_n:.0} N upwards, against its weight in water"),
            },
            Some(holds) => Asked {
                asked_n: factor * (lifts_n + level_n / holds.si),
                has_n: weight.si,
                why: format!(
                    "{}, against its weight in water",
                    both(format!(
                        "{lifts_n:.0} N upwards and {level_n:.0} N along the bed over a holding factor of {}",
                        show_number(holds.si)
                    ))
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
        let factor = at_least.or(anchor.safety_factor);
        match hangs.found() {
            Err(why) => unknown(path, why),
            Ok(found) => match factor {
                Some(factor) => anchor_keeps(found, line, a, factor.si),
                None => without_factor(found, line, a),
            },
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

/// The pull on an anchor in a case, with the surface over all lines as high.
fn pull_of(lines: &[&HungLine], (case, surface): (usize, Surface), all_followed: bool) -> Pull {
    let shapes = lines.iter().filter_map(|of| of.shapes[case].as_ref().ok());
    let shapes = shapes.map(|shape| shape.at(surface));
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
        let why = match lost.as_slice() {
            [] => not_moored(&found.lines),
            own => no_shape(own),
        };
        return unknown(path, why);
    };
    let mut worst: Option<(Asked, (usize, Surface))> = None;
    let mut missing = None;
    let cases = 0..found.cases.len();
    for at in cases.flat_map(|case| Surface::ALL.map(|surface| (case, surface))) {
        let Pull { by_n, whole } = pull_of(&lines, at, lost.is_empty());
        if whole {
            missing = missing.or_else(|| unsaid(says, by_n));
        }
        let tightest = ways(says, factor, by_n).into_iter();
        let tightest = tightest.max_by(|a, b| a.share().total_cmp(&b.share()));
        if let Some(one) = tightest
            && worst.as_ref().is_none_or(|(w, _)| one.share() > w.share())
        {
            worst = Some((one, at));
        }
    }
    let gap = lost.first().map_or_else(
        || lines.iter().find_map(|of| Told { found, of }.gap()),
        |not| Some(format!("{}: {}", not.section, not.why.join("; "))),
    );
    let open = missing.or(gap);
    let Some((worst, (case, surface))) = worst else {
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
    let case = surface.of(&found.cases[case].named());
    let why = format!("{}{together}; greatest in {case}", worst.why);
    let others: Vec<&Moored> = others.iter().map(|of| &of.line).collect();
    let evidence = match others.as_slice() {
        [] => told.evidence(&(&path, factor, worst.has_n)),
        others => told.evidence(&(&path, factor, worst.has_n, others)),
    };
    let verdict = against.judge(path, worst.asked_n, evidence, why);
    verdict.only_broken_for(open.as_ref())
}
