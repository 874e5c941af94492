//! The weather of the site where no declared design case speaks for it: its wind, its waves and its current.

use plan::{Flow, Line};
use quantity::{Dimension, show};

use super::cases::{CasesError, DesignCase, Made, made};

/// The id of a case that has of the site's current and wind what no declared one has.
const OF_THE_SITE: &str = "site";

/// Behind the id of a declared case that counts once more with the site's wind.
const WINDY: &str = "-wind";

/// Behind the id of a declared case with lower waves that counts once more with the site's.
const ROUGH: &str = "-sea";

/// The mean wind of the site's windiest month, m/s, where it pushes a buoy at the top of a line and no declared case has a wind as strong.
fn unsaid_wind_m_s(line: &Line) -> Option<f64> {
    let holds = |s: &plan::Section| matches!(s.from, plan::SectionEnd::Module(m) if line.modules[m.0].hull.is_some());
    let buoys = line.sections.iter().any(holds);
    let windiest = line.sea.wind_m_s.iter().map(|q| q.si).reduce(f64::max)?;
    let mut winds = line.cases.iter().filter_map(|c| Some(c.wind?.speed_m_s.si));
    (buoys && !winds.any(|speed| speed >= windiest)).then_some(windiest)
}

/// Where no declared case has a wind as strong as the site's, those with a current once more with that, which blows as theirs does, else with the current at the surface.
pub(super) fn windy(line: &Line, cases: &mut Vec<DesignCase>, assumed: &mut Vec<String>) {
    let Some(speed_m_s) = unsaid_wind_m_s(line) else {
        return;
    };
    let flowing = cases.iter().filter(|case| !case.current.is_empty());
    let twins: Vec<DesignCase> = flowing
        .map(|case| DesignCase {
            id: format!("{}{WINDY}", case.id),
            declared: false,
            nominal: false,
            wind: Some((
                speed_m_s,
                case.wind
                    .map_or_else(|| case.water.current.speed_and_direction(0.0).1, |w| w.1),
            )),
            ..case.clone()
        })
        .collect();
    if twins.is_empty() {
        return;
    }
    let ids: Vec<&str> = twins.iter().map(|case| case.id.as_str()).collect();
    let blows = line.cases.iter().any(|c| c.wind.is_some());
    let none = if blows {
        "a wind as strong as the site's"
    } else {
        "a wind"
    };
    assumed.push(format!(
        "no declared case has {none}: each with a current counts once more with the mean wind of the windiest month, {speed_m_s} m/s, on the buoy and no gust above it ({})",
        ids.join(", ")
    ));
    cases.extend(twins);
}

/// Of so many waves of a sea the highest counts: about three hours of them (common practice).
const OF_WAVES: f64 = 1000.0;

/// Waves of a site that stand for its sea.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct SiteWaves {
    /// Their significant height: that of the roughest month, with the swell, m.
    significant_m: f64,
    /// Height, m, and period, s: the likely highest of a thousand, `Hs sqrt(ln(1000) / 2)` of heights by Rayleigh's law (Longuet-Higgins 1952, from memory), in the longest period that is written
    /// or that the peak of a sea of that height has.
    pub(crate) wave: (f64, f64),
}

/// The waves of the site, where it writes any and no declared case has waves as high as its mean sea in the roughest month.
pub(crate) fn unsaid_waves(line: &Line) -> Option<SiteWaves> {
    let sea = &line.sea;
    let rough_m = sea.wave_height_m.iter().map(|q| q.si).fold(0.0, f64::max);
    let (swell_m, swell_s) = sea
        .swell
        .map_or((0.0, 0.0), |swell| (swell.height_m.si, swell.period_s.si));
    let significant_m = libm::hypot(rough_m, swell_m);
    // What a mistake hides is no number.
    if !(significant_m > 0.0 && significant_m.is_finite()) {
        return None;
    }
    let own = line.cases.iter().filter_map(|c| Some(c.wave?.height_m.si));
    if own.fold(0.0, f64::max) >= significant_m {
        return None;
    }
    let sea_s = if rough_m > 0.0 {
        mooring::risen_period_s(rough_m)
    } else {
        0.0
    };
    let height_m = significant_m * (0.5 * libm::log(OF_WAVES)).sqrt();
    Some(SiteWaves {
        significant_m,
        wave: (height_m, sea_s.max(swell_s)),
    })
}

/// Height, m, and period, s, of all waves that count in a plan, with whose they are in words: those of declared cases, and the site's where no case speaks for it.
pub(crate) fn all_waves(line: &Line) -> Vec<((f64, f64), String)> {
    let own = line.cases.iter().filter_map(|case| {
        let wave = case.wave?;
        Some((
            (wave.height_m.si, wave.period_s.si),
            format!("case.{}", case.id),
        ))
    });
    let site = unsaid_waves(line).map(|site| (site.wave, "the site".to_owned()));
    own.chain(site).collect()
}

/// The waves of the site in each case that has none, and once more in each that has lower ones.
pub(super) fn site_waves(line: &Line, cases: &mut Vec<DesignCase>, assumed: &mut Vec<String>) {
    let Some(site) = unsaid_waves(line) else {
        return;
    };
    let lower = cases.iter().filter(|c| c.wave.is_some());
    let rough: Vec<DesignCase> = lower
        .map(|case| DesignCase {
            id: format!("{}{ROUGH}", case.id),
            declared: false,
            nominal: false,
            wave: None,
            ..case.clone()
        })
        .collect();
    cases.extend(rough);
    let calm: Vec<&mut DesignCase> = cases.iter_mut().filter(|c| c.wave.is_none()).collect();
    if calm.is_empty() {
        return;
    }
    let (height_m, period_s) = site.wave;
    let ids: Vec<&str> = calm.iter().map(|case| case.id.as_str()).collect();
    let gives_way = match line.cases.iter().any(|c| c.wave.is_some()) {
        true => "no declared case has waves as high as the mean sea of the site's roughest month",
        false => "no case has waves of its own",
    };
    assumed.push(format!(
        "{gives_way}: those of the site count where none are written ({}), {} every {}, the highest of {OF_WAVES} waves in a sea of {}, and no storm above that month's mean",
        ids.join(", "),
        show(height_m, Dimension::Length),
        show(period_s, Dimension::Time),
        show(site.significant_m, Dimension::Length),
    ));
    for case in calm {
        case.wave = Some(site.wave);
    }
}

/// What the site writes of its current and of its wind, and no declared case has: a case more, so that slack water alone does not stand for the site.
pub(super) fn left_to_the_site(
    line: &Line,
    density_kg_m3: f64,
    assumed: &mut Vec<String>,
) -> Result<Option<DesignCase>, CasesError> {
    let sea = &line.sea;
    let speed = |flows: &[Flow]| flows.iter().map(|p| p.speed_m_s.si).fold(0.0, f64::max);
    let strongest_m_s = speed(&sea.current);
    let flows = line
        .cases
        .iter()
        .any(|c| !c.current.is_empty() && speed(&c.current) >= strongest_m_s);
    let current: &[Flow] = if flows { &[] } else { &sea.current };
    let wind = unsaid_wind_m_s(line).filter(|_| !flows);
    if current.is_empty() && wind.is_none() {
        return Ok(None);
    }
    let mut told = Vec::new();
    if !current.is_empty() {
        let runs = line.cases.iter().any(|c| !c.current.is_empty());
        told.push(
            if runs {
                "a current as strong as that"
            } else {
                "its current"
            }
            .to_owned(),
        );
    }
    if let Some(speed) = wind {
        told.push(format!("the mean wind of its windiest month, {speed} m/s"));
    }
    let mut id = OF_THE_SITE.to_owned();
    while line.cases.iter().any(|c| c.id == id) {
        id.push_str("-itself");
    }
    assumed.push(format!(
        "no declared case has {} of the site: one more does ({id})",
        told.join(" and ")
    ));
    let from = Made {
        id: &id,
        declared: false,
        nominal: false,
        level_m: 0.0,
        current,
        wind: wind.map(|speed| (speed, None)),
        wave: None,
        strum: false,
    };
    made(line, density_kg_m3, &from).map(Some)
}
