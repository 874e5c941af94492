//! What comes up when a line parts, by which means the line comes back, where it is to part first, and when its buoy counts as adrift.

mod adrift;
mod chances;
mod parted;
mod weak;

use plan::Line;

use crate::input::{CasesError, FOULED, Fouling, Moored, NotMoored};
use crate::memo::Memo;
use crate::moorings::{HungLine, Moorings, NoShape, PULLED_UNDER, moorings_of};

pub use adrift::Adrift;
pub(crate) use adrift::WITHIN;
pub use chances::{Chance, ModuleChance, Sharing};
pub use parted::{Flooded, Parted, least_lift};
pub use weak::Window;

/// How the figures of a recovery were found; part of the evidence of each verdict that rests on them.
pub(crate) const METHOD: &str =
    "weights and drags of the pieces, means that fail independently (docs/method/recovery.md)";

/// How pieces that come free are taken to rise.
pub(crate) const RISES: &str = "pieces that come free rise in still water, upright, with the drag areas of water that flows past them level; nothing tangles and nothing is crushed";

/// The recovery of a plan's lines.
#[derive(Clone, Debug, PartialEq)]
pub struct Recovery {
    /// What has grown on the lines by the latest recovery; `None` where the site says nothing of growth.
    pub fouling: Option<Fouling>,
    /// The lines, by their lowest section.
    pub lines: Vec<Result<LineRecovery, NotMoored>>,
    /// Values that count although nobody wrote them.
    pub assumed: Vec<String>,
    /// Density of the sea, kg/m3; `None` without a design case.
    pub(crate) density_kg_m3: Option<f64>,
    /// Weather of which nothing is written.
    pub(crate) unsaid: Option<String>,
}

/// The recovery of one line.
#[derive(Clone, Debug, PartialEq)]
pub struct LineRecovery {
    /// The line, clean.
    pub line: Moored,
    /// What comes up for each place at which it may part, from the anchor upwards, or why that is unknown.
    pub partings: Result<Vec<Parted>, String>,
    /// The chance of each of its modules to come back, in the order of the plan.
    pub modules: Vec<ModuleChance>,
    /// Its weak links.
    pub weak_links: Vec<Window>,
    /// The drift alarm of its buoy; `None` without one.
    pub adrift: Option<Result<Adrift, String>>,
    /// Whether it holds its buoy under in the usual case.
    pub(crate) held_under: Under,
}

impl Recovery {
    /// Whether something of it is unknown.
    #[must_use]
    pub fn some_unknown(&self) -> bool {
        self.lines.iter().any(|of| match of {
            Err(_) => true,
            Ok(of) => {
                let partings = match &of.partings {
                    Err(_) => true,
                    Ok(all) => all.iter().any(|p| p.least_lift_n().is_err()),
                };
                let chances = of.modules.iter().any(|m| m.chance.works().is_err());
                let links = of
                    .weak_links
                    .iter()
                    .any(|w| w.greatest_n.is_err() || w.least_breaking_n.is_err());
                partings || chances || links || matches!(of.adrift, Some(Err(_)))
            }
        })
    }
}

/// The recovery of a plan's lines.
///
/// # Errors
/// [`CasesError`] where the plan gives no design cases.
pub fn recovery(line: &Line) -> Result<Recovery, CasesError> {
    let found = moorings_of(line, &Memo::with_room(0))?;
    Ok(of_moorings(line, &found))
}

/// The same from shapes that have been found.
pub(crate) fn of_moorings(line: &Line, found: &Moorings) -> Recovery {
    let fouling = found.cases.iter().find_map(|case| case.fouling);
    let density_kg_m3 = found.cases.first().map(|case| case.water.density_kg_m3);
    let mut assumed = found.assumed.clone();
    assumed.push(RISES.to_owned());
    let lines = found.lines.iter().map(|of| {
        let of = of.as_ref().map_err(Clone::clone)?;
        Ok(of_line(line, found, of, (fouling, density_kg_m3)))
    });
    Recovery {
        fouling,
        lines: lines.collect(),
        assumed,
        density_kg_m3,
        unsaid: found.unsaid.clone(),
    }
}

fn of_line(
    line: &Line,
    found: &Moorings,
    of: &HungLine,
    (fouling, density_kg_m3): (Option<Fouling>, Option<f64>),
) -> LineRecovery {
    let under = held_under(found, of);
    let partings = match density_kg_m3 {
        Some(density_kg_m3) => parted::partings(
            line,
            (&of.line, !matches!(under, Under::In(_))),
            fouling.as_ref(),
            density_kg_m3,
        ),
        None => Err("the plan has no design case".to_owned()),
    };
    let mut partings = partings;
    if let Ok(all) = &mut partings {
        chances::of_what_stays(line, &of.line, all);
    }
    LineRecovery {
        modules: chances::of_modules(line, &of.line, (&partings, &under)),
        weak_links: weak::windows(line, found, of),
        adrift: adrift::adrift(line, found, of),
        partings,
        line: of.line.clone(),
        held_under: under,
    }
}

/// Whether a line holds its buoy under in the usual case.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Under {
    /// It does not, clean or fouled.
    No,
    /// It does, in a case in words.
    In(String),
    /// Some of these cases have no shape, and so nobody knows.
    Unknown(String),
}

/// Whether a line holds its buoy under in the usual case, clean or fouled. A buoy that sinks by itself is none that its line holds under.
fn held_under(found: &Moorings, of: &HungLine) -> Under {
    let Some(usual) = found.cases.iter().find(|case| case.nominal) else {
        return Under::Unknown("the plan has no usual case".to_owned());
    };
    let both = found.cases.iter().zip(&of.shapes).filter(|(case, _)| {
        case.id == usual.id || case.id.strip_suffix(FOULED) == Some(usual.id.as_str())
    });
    let mut unknown = None;
    for (case, shape) in both {
        match shape {
            Ok(shape) if shape.sunk() == Some(PULLED_UNDER) => return Under::In(case.named()),
            Err(NoShape::Under { .. }) => return Under::In(case.named()),
            Ok(_) | Err(NoShape::Sinks { .. }) => {}
            Err(why) => {
                unknown.get_or_insert_with(|| {
                    format!("in {} its line has no shape: {why}", case.named())
                });
            }
        }
    }
    unknown.map_or(Under::No, Under::Unknown)
}
