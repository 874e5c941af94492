//! Housings and floats against the bed, to which what comes off falls.

use plan::{Line, ModuleIx, Q};
use quantity::{Dimension, show};

use crate::input::{CasesError, all_waves, design_cases};
use crate::verdict::{Against, Evidence, Side, Verdict, unknown};

/// A rating closer to what is asked than this is marginal, m.
const HOUSING_M: f64 = 5.0;

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
        let comes = match path.starts_with("float.") {
            true => "to which it is drawn when what hangs below it outweighs it",
            false => "where it falls when it comes off",
        };
        let why = format!("{why}, {pressure_mpa:.2} MPa, {comes}");
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
    for ((height_m, period_s), whose) in all_waves(line) {
        let wave = mooring::Wave::new(height_m, period_s, bed_m).map_err(|why| why.to_string())?;
        let adds_m = wave.at(bed_m).pressure_m;
        if adds_m > most_m {
            most_m = adds_m;
            words = match whose == by {
                false => format!("{by} with the waves of {whose}"),
                true => format!("{whose} with its waves"),
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
