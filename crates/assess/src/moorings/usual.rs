//! The depths of modules in the still water of the usual design case.

use plan::{Line, ModuleIx};

use super::still_shape_of;
use crate::input::{CasesError, Moored, MooredTop, Thing, design_cases, moored};
use crate::memo::Memo;

/// The shapes of a plan's lines in its usual case, as far as they give depths.
pub(crate) struct Usual {
    /// The case in words.
    pub(crate) case: String,
    /// Of each line the depths of its modules, m; or its lowest section, and why it has no shape.
    pub(crate) lines: Vec<Result<DepthsOfModules, NotHung>>,
}

/// Modules with their depths, m.
pub(crate) type DepthsOfModules = Vec<(ModuleIx, f64)>;

/// The lowest section of a line without a shape, and why it has none.
pub(crate) type NotHung = (String, String);

/// Depths in the usual case.
///
/// # Errors
/// [`CasesError`] where the plan gives no cases.
pub(crate) fn usual(line: &Line, memo: &Memo) -> Result<Usual, CasesError> {
    let cases = design_cases(line)?.cases;
    let case = cases
        .iter()
        .find(|c| c.nominal)
        .expect("one of the design cases is the usual one");
    let depths = |of: Moored| {
        let lowest = of.pieces.first().map_or_else(String::new, |p| {
            format!("section.{}", line.sections[p.section.0].id)
        });
        let shape = still_shape_of(&of, case, memo);
        let shape = shape.map_err(|why| {
            (
                lowest,
                format!("in {} it has no shape: {why}", case.named()),
            )
        })?;
        let things = shape.things.iter();
        let mut depths: Vec<(ModuleIx, f64)> = things
            .filter_map(|t| match t.what {
                Thing::Module(module) => Some((module, t.depth_m)),
                Thing::Float(_) | Thing::Weight(_) => None,
            })
            .collect();
        if let MooredTop::Buoy { module, .. } = of.top {
            depths.push((module, shape.top_depth_m));
        }
        Ok(depths)
    };
    let lines = moored(line).into_iter().map(|one| match one {
        Ok(of) => depths(of),
        Err(not) => Err((not.section, not.why.join("; "))),
    });
    Ok(Usual {
        case: case.named(),
        lines: lines.collect(),
    })
}
