//! One geometry: the depths at which the shape of the line holds its modules, for all that reads a depth.
//!
//! Sound, temperatures and delays read the depths of the usual design case; limits on depths ask the worst of all cases themselves.

use std::borrow::Cow;
use std::path::Path;

use plan::{Depths, Fetch, Line, ModuleIx, Position, Reading};
use quantity::{Dimension, show};

use crate::memo::Memo;
use crate::moorings::usual;

/// A hung depth this near to that of a line that hangs straight down is the same, m; others are told to whole thousandths of a metre. Shapes are
/// held to 0.1 mm, and a finer figure would only change with the last bit of a solver.
const SAME_M: f64 = 5e-4;
/// Steps of a hung depth in a metre.
const STEPS_PER_M: f64 = 1000.0;
/// A hung depth is told beside the other one where they differ by at least this, m: as much as makes a depth marginal.
pub const TOLD_FROM_M: f64 = 1.0;

/// Reads the plan at a path and what it includes, with its modules at the depths at which its line hangs ([`hang`]).
#[must_use]
pub fn read(path: &Path, fetch: &Fetch<'_>) -> Reading {
    read_with(path, &Memo::with_room(0), fetch)
}

/// The same, with shapes that have been found before.
#[must_use]
pub fn read_with(path: &Path, memo: &Memo, fetch: &Fetch<'_>) -> Reading {
    let mut reading = plan::read(path, fetch);
    if let Some(line) = &mut reading.line {
        hang_with(line, memo);
    }
    reading
}

/// Puts the modules of a line at the depths at which it hangs in its usual design case (`case.ID.nominal`, else the one with the weakest
/// current). What is on a line without a shape, and what is on none, stays at the depth of sections that hang straight down;
/// [`Line::depths`] says which it is, and why. Doing it again gives the same.
pub fn hang(line: &mut Line) {
    hang_with(line, &Memo::with_room(0));
}

pub(crate) fn hang_with(line: &mut Line, memo: &Memo) {
    for module in &mut line.modules {
        module.depth_m = module.straight_depth_m;
    }
    line.depths = Depths::Straight;
    if line.sections.is_empty() {
        return;
    }
    let found = match usual(line, memo) {
        Ok(found) => found,
        Err(why) => {
            line.depths = Depths::NoCase {
                why: why.to_string(),
            };
            return;
        }
    };
    let mut modules = Vec::new();
    let mut straight = Vec::new();
    for one in found.lines {
        match one {
            Ok(depths) => {
                for (module, hung_m) in depths {
                    let held = &mut line.modules[module.0];
                    if (hung_m - held.straight_depth_m).abs() > SAME_M
                        || held.straight_depth_m.is_nan()
                    {
                        // The sum makes zero of a negative zero.
                        held.depth_m = libm::round(hung_m * STEPS_PER_M) / STEPS_PER_M + 0.0;
                    }
                    modules.push(module);
                }
            }
            Err(why) => straight.push(why),
        }
    }
    modules.sort();
    line.depths = Depths::Hung {
        case: found.case,
        modules,
        straight,
    };
}

/// A line with its modules where it hangs; the line itself where that has been worked out.
pub(crate) fn hung<'l>(line: &'l Line, memo: &Memo) -> Cow<'l, Line> {
    if line.sections.is_empty() || line.depths != Depths::Straight {
        return Cow::Borrowed(line);
    }
    let mut own = line.clone();
    hang_with(&mut own, memo);
    Cow::Owned(own)
}

/// What gives the depth of a module, in words that follow a depth.
#[must_use]
pub fn depth_by(line: &Line, module: ModuleIx) -> String {
    match &line.depths {
        Depths::Hung { case, modules, .. } if modules.contains(&module) => {
            format!("hung, in {case}")
        }
        _ if matches!(line.modules[module.0].position, Position::Depth(_)) => {
            "as written".to_owned()
        }
        _ => "of a line that hangs straight down".to_owned(),
    }
}

/// The two depths of a module.
#[derive(Clone, PartialEq, Debug)]
pub struct HungDepth {
    /// The module's typed path.
    pub module: String,
    /// The depth that counts, m: that of the shape.
    pub hung_m: f64,
    /// That of sections straight down, m; `None` where the plan gives none.
    pub straight_m: Option<f64>,
}

/// Which depths of modules count, of a line with sections.
#[derive(Clone, PartialEq, Debug)]
pub struct DepthsTold {
    /// The design case of the shape, in words; `None` where nothing hangs in a shape.
    pub case: Option<String>,
    /// Modules that the shape gives a depth, by id.
    pub modules: Vec<HungDepth>,
    /// Sentences: which depths count, each module that [`TOLD_FROM_M`] tells, and lines without a shape.
    pub words: Vec<String>,
}

/// Which depths of modules count; `None` of a line without sections, whose depths are as written.
#[must_use]
pub fn depths_told(line: &Line) -> Option<DepthsTold> {
    let metres = |m: f64| show(m, Dimension::Length);
    match &line.depths {
        Depths::Straight => None,
        Depths::NoCase { why } => Some(DepthsTold {
            case: None,
            modules: Vec::new(),
            words: vec![format!(
                "modules on sections count at the depths of a line that hangs straight down, without water current, wind or stretch: {why}"
            )],
        }),
        Depths::Hung {
            case,
            modules,
            straight,
        } => {
            let mut words = Vec::new();
            if !modules.is_empty() {
                words.push(format!(
                    "modules count at the depths at which the line hangs in {case}, the usual one, for sound, temperatures and delays; limits on depth ask the worst of all cases"
                ));
            }
            let each = modules.iter().map(|m| {
                let held = &line.modules[m.0];
                HungDepth {
                    module: line.module_path(*m),
                    hung_m: held.depth_m,
                    straight_m: Some(held.straight_depth_m).filter(|d| d.is_finite()),
                }
            });
            let each: Vec<HungDepth> = each.collect();
            for one in &each {
                let Some(straight_m) = one.straight_m else {
                    words.push(format!("{} hangs {} deep", one.module, metres(one.hung_m)));
                    continue;
                };
                let off_m = one.hung_m - straight_m;
                if off_m.abs() >= TOLD_FROM_M {
                    let way = if off_m > 0.0 { "deeper" } else { "less deep" };
                    words.push(format!(
                        "{} hangs {} deep, {off:.3} m {way} than on a line that hangs straight down ({})",
                        one.module,
                        metres(one.hung_m),
                        metres(straight_m),
                        off = off_m.abs(),
                    ));
                }
            }
            words.extend(straight.iter().map(|(section, why)| {
                format!(
                    "what hangs on {section} counts at the depths of a line that hangs straight down, without water current, wind or stretch: its shape is unknown ({why})"
                )
            }));
            Some(DepthsTold {
                case: (!modules.is_empty()).then(|| case.clone()),
                modules: each,
                words,
            })
        }
    }
}
