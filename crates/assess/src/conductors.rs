//! Conductors of the next sizes of their standards.

use quantity::{CROSS_SECTIONS_MM2, Conductor};

/// The thickest wire gauge of ASTM B258, 4/0.
const THICKEST_AWG: i32 = -3;
/// Areas within this share of each other are one.
const SAME_AREA: f64 = 1e-6;

/// Of a conductor's standard the next thinner and the next thicker size, as plans write them; one alone at an end of the row.
pub(crate) fn next_sizes(conductor: Conductor) -> Vec<(Conductor, String)> {
    let thinner = match conductor {
        Conductor::Stranded { area_mm2, .. } => CROSS_SECTIONS_MM2
            .into_iter()
            .rfind(|listed| *listed < area_mm2 * (1.0 - SAME_AREA))
            .map(|area_mm2| stranded(area_mm2, conductor)),
        Conductor::Awg(gauge) => (gauge < power::conductor::THINNEST_AWG)
            .then(|| (Conductor::Awg(gauge + 1), gauge_words(gauge + 1))),
    };
    thinner
        .into_iter()
        .chain(thicker(conductor).into_iter().take(1))
        .collect()
}

/// The same kind of conductor in another size; a gauge stays as it is.
fn stranded(area_mm2: f64, like: Conductor) -> (Conductor, String) {
    let conductor = match like {
        Conductor::Stranded { class, tinned, .. } => Conductor::Stranded {
            area_mm2,
            class,
            tinned,
        },
        Conductor::Awg(_) => like,
    };
    (conductor, format!("{area_mm2} mm2"))
}

fn gauge_words(gauge: i32) -> String {
    match gauge {
        1.. => format!("{gauge} AWG"),
        noughts => format!("{}/0 AWG", 1 - noughts),
    }
}

/// Conductors that are thicker than one, the thinnest first, each with its size as plans write it: cross-sections of IEC 60228, or gauges of ASTM B258
/// down to 4/0.
pub(crate) fn thicker(conductor: Conductor) -> Vec<(Conductor, String)> {
    match conductor {
        Conductor::Stranded { area_mm2, .. } => CROSS_SECTIONS_MM2
            .into_iter()
            .filter(|listed| *listed > area_mm2 * (1.0 + SAME_AREA))
            .map(|area_mm2| stranded(area_mm2, conductor))
            .collect(),
        Conductor::Awg(gauge) => (THICKEST_AWG..gauge)
            .rev()
            .map(|gauge| (Conductor::Awg(gauge), gauge_words(gauge)))
            .collect(),
    }
}
