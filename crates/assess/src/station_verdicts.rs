//! Whether a buoy is seen near its place: watch circle, where the anchor came to lie, and the fix by which it is seen.

use chance::marcum_q;
use mooring::{seen_within_m, sigma_of_circle_m};
use plan::{ModuleIx, Q};
use quantity::show_number;

use crate::input::MooredTop;
use crate::mooring_verdicts::{CIRCLE_M, Hangs};
use crate::recovery::WITHIN;
use crate::verdict::{Against, Evidence, Side, Verdict, unknown};

const METHOD: &str = "watch circle of the design cases and Rayleigh's law of fix and laying (docs/method/mooring.md)";

/// What a requirement asks.
#[derive(Clone, Copy)]
pub(crate) struct Asked {
    pub(crate) of: Option<ModuleIx>,
    pub(crate) at_most_m: Q,
    pub(crate) laying_error_m: Q,
    pub(crate) fix_error_m: Q,
    pub(crate) share: f64,
}

/// How far one buoy, or each, is seen from the place that was planned for its anchor.
pub(crate) fn on_station(hangs: &Hangs<'_>, asked: &Asked) -> Vec<Verdict> {
    let line = hangs.line();
    let named = || {
        asked
            .of
            .map_or_else(|| "the plan".to_owned(), |m| line.module_path(m))
    };
    let found = match hangs.found() {
        Ok(found) => found,
        Err(why) => return vec![unknown(named(), why)],
    };
    let mut all = Vec::new();
    for of_line in &found.lines {
        let of_line = match of_line {
            Ok(of_line) => of_line,
            Err(not) if asked.of.is_none() => {
                all.push(unknown(not.section.clone(), not.why.join("; ")));
                continue;
            }
            Err(_) => continue,
        };
        let MooredTop::Buoy { module, .. } = of_line.line.top else {
            continue;
        };
        if asked.of.is_some_and(|m| m != module) {
            continue;
        }
        let path = line.module_path(module);
        let circle = match (found.without_shape(of_line), of_line.watch_circle) {
            (None, Some(circle)) => circle,
            (why, _) => {
                all.push(unknown(path, why.unwrap_or_default()));
                continue;
            }
        };
        let case = found.cases[circle.case].named();
        let verdict = judged(path, circle.radius_m, &case, asked);
        all.push(verdict.only_broken_for(found.unsaid.as_ref()));
    }
    if all.is_empty() {
        all.push(unknown(
            named(),
            "no buoy at the surface holds the top of a line here",
        ));
    }
    all
}

fn judged(path: String, circle_m: f64, case: &str, asked: &Asked) -> Verdict {
    let limit_m = asked.at_most_m.si;
    let found = (|| {
        let fix_m = sigma_of_circle_m(asked.fix_error_m.si, WITHIN)?;
        let laid_m = sigma_of_circle_m(asked.laying_error_m.si, WITHIN)?;
        let seen_m = seen_within_m(circle_m, fix_m, laid_m, asked.share)?;
        Ok::<_, mooring::MooringError>((seen_m, libm::hypot(fix_m, laid_m)))
    })();
    let (seen_m, sigma_m) = match found {
        Ok(found) => found,
        Err(error) => return unknown(path, error.to_string()),
    };
    // At the rim with errors in any direction its distance follows Rice's law.
    let at_rim = (sigma_m > 0.0)
        .then(|| marcum_q(1.0, circle_m / sigma_m, limit_m / sigma_m).ok())
        .flatten()
        .map_or_else(String::new, |beyond| {
            format!(
                "; at the rim of its circle, with the errors in any direction, {} % of them are within the limit",
                show_number(100.0 * (1.0 - beyond))
            )
        });
    let why = format!(
        "{} m of errors outwards and {} m of watch circle in {case}{at_rim}",
        show_number(seen_m - circle_m),
        show_number(circle_m)
    );
    let against = Against {
        side: Side::AtMost,
        limit: limit_m,
        narrow: CIRCLE_M,
        unit: "m".to_owned(),
    };
    let input = [circle_m, sigma_m, asked.share, limit_m].map(f64::to_bits);
    against.judge(path, seen_m, Evidence::computed(METHOD, &input), why)
}
