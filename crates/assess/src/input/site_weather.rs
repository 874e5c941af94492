//! The weather of the site where no declared design case speaks for it: its wind, its waves and its current.

use plan::{Flow, Line};
use quantity::{Dimension, show};

use super::cases::{CasesError, DesignCase, Made, made};
use super::extremes::{Held, as_slack, as_strong, outermost};

/// The id of a case that has of the site's current and wind what no declared one has.
const OF_THE_SITE: &str = "site";

/// Behind the id of a declared case that counts once more with the site's wind.
const WINDY: &str = "-wind";

/// Behind the id of a case with lower waves that counts once more with the site's or with the highest of all.
const ROUGH: &str = "-sea";

/// The mean wind of the site's windiest month, m/s, where it pushes a buoy at the top of a line.
fn site_wind_m_s(line: &Line) -> Option<f64> {
    let holds = |s: &plan::Section| matches!(s.from, plan::SectionEnd::Module(m) if line.modules[m.0].hull.is_some());
    let buoys = line.sections.iter().any(holds);
    let windiest = line.sea.wind_m_s.iter().map(|q| q.si).reduce(f64::max)?;
    buoys.then_some(windiest)
}

/// The same where no declared case has a wind as strong.
fn unsaid_wind_m_s(line: &Line) -> Option<f64> {
    let windiest = site_wind_m_s(line)?;
    let mut winds = line.cases.iter().filter_map(|c| Some(c.wind?.speed_m_s.si));
    (!winds.any(|speed| speed >= windiest)).then_some(windiest)
}

/// Of the cases with a current and a weaker wind than the site's the strongest, where none with that wind is as strong, once more with it: it blows as theirs does, else with the current at the surface.
pub(super) fn windy(line: &Line, cases: &mut Vec<DesignCase>, assumed: &mut Vec<String>) {
    let Some(speed_m_s) = site_wind_m_s(line) else {
        return;
    };
    let (blown, still): (Vec<&DesignCase>, Vec<&DesignCase>) = cases
        .iter()
        .partition(|case| case.wind.is_some_and(|(speed, _)| speed >= speed_m_s));
    let flowing: Vec<&DesignCase> = still
        .into_iter()
        .filter(|case| !case.current.is_empty())
        .collect();
    let taken = outermost(&flowing, &blown, |a, b| as_strong(a, b, Held::ButWind));
    let twins: Vec<DesignCase> = taken
        .into_iter()
        .map(|ix| {
            let case = flowing[ix];
            DesignCase {
                id: format!("{}{WINDY}", case.id),
                declared: false,
                nominal: false,
                wind: Some((
                    speed_m_s,
                    case.wind
                        .map_or_else(|| case.water.current.speed_and_direction(0.0).1, |w| w.1),
                )),
                ..case.clone()
            }
        })
        .collect();
    if twins.is_empty() {
        return;
    }
    let ids: Vec<&str> = twins.iter().map(|case| case.id.as_str()).collect();
    let none = match (
        blown.is_empty(),
        line.cases.iter().any(|c| c.wind.is_some()),
    ) {
        (false, _) => {
            "no declared case with a wind as strong as the site's has a current as strong"
        }
        (true, true) => "no declared case has a wind as strong as the site's",
        (true, false) => "no declared case has a wind",
    };
    assumed.push(format!(
        "{none}: the strongest with a current count once more with the mean wind of the windiest month, {speed_m_s} m/s, on the buoy and no gust above it ({})",
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

/// The waves of the site, where it writes any.
pub(crate) fn site_sea(line: &Line) -> Option<SiteWaves> {
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

/// The same where no declared case has waves as high as its mean sea in the roughest month, and so speaks for it.
pub(crate) fn unsaid_waves(line: &Line) -> Option<SiteWaves> {
    let site = site_sea(line)?;
    let own = line.cases.iter().filter_map(|c| Some(c.wave?.height_m.si));
    (own.fold(0.0, f64::max) < site.significant_m).then_some(site)
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

/// The highest waves of some cases, and whose they are.
fn highest<'a>(
    cases: impl IntoIterator<Item = &'a DesignCase>,
) -> Option<((f64, f64), &'a DesignCase)> {
    let with_waves = cases
        .into_iter()
        .filter_map(|case| Some((case.wave?, case)));
    with_waves.reduce(|most, one| if one.0.0 > most.0.0 { one } else { most })
}

/// The waves of the site in the strongest cases without waves as high as its mean sea has, where none with such waves is as strong; where no case has any, in the slackest too. They are no higher than the highest of a case
/// that speaks for the site. A case that writes no waves takes them, one with lower ones counts once more.
pub(super) fn site_waves(line: &Line, cases: &mut Vec<DesignCase>, assumed: &mut Vec<String>) {
    let Some(site) = site_sea(line) else {
        return;
    };
    let (rough, calmer): (Vec<&DesignCase>, Vec<&DesignCase>) = cases
        .iter()
        .partition(|case| case.wave.is_some_and(|(m, _)| m >= site.significant_m));
    // Cases that were taken from the site stand at each end of its tide already.
    let same_water =
        |a: &DesignCase, b: &DesignCase| !line.cases.is_empty() || a.level_m == b.level_m;
    let mut taken = outermost(&calmer, &rough, |a, b| {
        same_water(a, b) && as_strong(a, b, Held::ButWaves)
    });
    let spoken_for = highest(rough.iter().copied());
    if spoken_for.is_none() {
        taken.extend(outermost(&calmer, &[], |a, b| {
            same_water(a, b) && as_slack(a, b, Held::ButWaves)
        }));
    }
    let taken: Vec<String> = taken.into_iter().map(|ix| calmer[ix].id.clone()).collect();
    if taken.is_empty() {
        return;
    }
    let (wave, whose) = match spoken_for {
        Some((wave, of)) if wave.0 < site.wave.0 => (wave, format!("those of {}", of.named())),
        _ => (
            site.wave,
            format!(
                "the highest of {OF_WAVES} waves in a sea of {}, and no storm above that month's mean",
                show(site.significant_m, Dimension::Length)
            ),
        ),
    };
    let none = match (
        spoken_for.is_none(),
        line.cases.iter().any(|c| c.wave.is_some()),
    ) {
        (false, _) => {
            "no case with waves as high as the mean sea of the site's roughest month is as strong"
        }
        (true, true) => {
            "no declared case has waves as high as the mean sea of the site's roughest month"
        }
        (true, false) => "no case has waves of its own",
    };
    let mut ids = Vec::new();
    let mut twins = Vec::new();
    for case in cases.iter_mut().filter(|case| taken.contains(&case.id)) {
        if case.wave.is_none() {
            case.wave = Some(wave);
            ids.push(case.id.clone());
        } else {
            let twin = rougher(case, wave);
            ids.push(twin.id.clone());
            twins.push(twin);
        }
    }
    cases.extend(twins);
    assumed.push(format!(
        "{none}: those of the site count where nothing else does for it ({}), {} every {}, {whose}",
        ids.join(", "),
        show(wave.0, Dimension::Length),
        show(wave.1, Dimension::Time),
    ));
}

/// The same case with other waves.
fn rougher(case: &DesignCase, wave: (f64, f64)) -> DesignCase {
    DesignCase {
        id: format!("{}{ROUGH}", case.id),
        declared: false,
        nominal: false,
        wave: Some(wave),
        ..case.clone()
    }
}

/// The slackest cases once more in the highest waves of all, where none as slack has them: a sea outlasts the turn of a tide.
pub(super) fn slack_in_waves(cases: &mut Vec<DesignCase>, assumed: &mut Vec<String>) {
    let Some((wave, of)) = highest(cases.iter()) else {
        return;
    };
    let of = of.named();
    let (rough, calmer): (Vec<&DesignCase>, Vec<&DesignCase>) = cases
        .iter()
        .partition(|case| case.wave.is_some_and(|(height_m, _)| height_m >= wave.0));
    let slackest = outermost(&calmer, &rough, |a, b| as_slack(a, b, Held::ButWaves));
    let twins: Vec<DesignCase> = slackest
        .into_iter()
        .map(|ix| rougher(calmer[ix], wave))
        .collect();
    if twins.is_empty() {
        return;
    }
    let ids: Vec<&str> = twins.iter().map(|case| case.id.as_str()).collect();
    assumed.push(format!(
        "a sea outlasts the turn of a tide, and no case as slack has waves as high as those of {of}: the slackest counts once more in them ({})",
        ids.join(", ")
    ));
    cases.extend(twins);
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
