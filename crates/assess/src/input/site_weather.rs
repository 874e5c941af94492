//! The weather of the site where no declared design case speaks for it: its wind, its waves and its current.

use plan::{Flow, Line};
use quantity::{Dimension, show, show_number};

use super::cases::{CasesError, DesignCase, Made, made};
use super::extremes::{Held, as_blown, as_slack, as_strong, outermost};

/// The id of a case that has the site's current and wind where no declared one is as strong.
const OF_THE_SITE: &str = "site";

/// The id of slack water that no case declares.
const SLACK: &str = "slack";

/// Behind the id of a declared case that counts once more with the site's wind.
const WINDY: &str = "-wind";

/// Behind the id of a case with lower waves that counts once more with the site's or with the highest of all.
const ROUGH: &str = "-sea";

/// Behind the id of a slack case that counts once more in the strongest wind.
const BLOWN: &str = "-blown";

/// Whether a buoy that wind can push holds the top of a line.
pub(super) fn pushes_a_buoy(line: &Line) -> bool {
    let holds = |s: &plan::Section| matches!(s.from, plan::SectionEnd::Module(m) if line.modules[m.0].hull.is_some());
    line.sections.iter().any(holds)
}

/// The mean wind of the site's windiest month, m/s, where it pushes a buoy at the top of a line.
fn site_wind_m_s(line: &Line) -> Option<f64> {
    let windiest = line.sea.wind_m_s.iter().map(|q| q.si).reduce(f64::max)?;
    (pushes_a_buoy(line) && windiest > 0.0).then_some(windiest)
}

/// The weather of which neither the site nor any case of a plan says anything, in words.
pub(super) fn unsaid_weather(line: &Line) -> Option<String> {
    let flows = !line.sea.current.is_empty() || line.cases.iter().any(|c| !c.current.is_empty());
    let blows = !line.sea.wind_m_s.is_empty() || line.cases.iter().any(|c| c.wind.is_some());
    let mut missing = Vec::new();
    if !flows {
        missing.push("water current (`current`, of 0 m/s where there is none)");
    }
    if !blows && pushes_a_buoy(line) {
        missing.push("wind on the buoy (`wind`)");
    }
    if !missing.is_empty() {
        return Some(format!(
            "neither the site nor a `case` says anything of {}",
            missing.join(" and ")
        ));
    }
    let moves = |flows: &[Flow]| flows.iter().any(|p| p.speed_m_s.si > 0.0);
    let moves = moves(&line.sea.current) || line.cases.iter().any(|c| moves(&c.current));
    let silent = without_strumming_drag(line);
    (moves && !silent.is_empty()).then(|| {
        format!(
            "a rope that strums drags more, and nothing says how much in {}: write `strumming_drag` of its rope, or `fairing = true`",
            silent.join(", ")
        )
    })
}

/// Sections whose ropes may strum and do not say how they drag then.
pub(super) fn without_strumming_drag(line: &Line) -> Vec<String> {
    let silent = line.sections.iter().filter(|s| {
        let drag = s.rope.as_ref().and_then(|rope| rope.strumming_drag);
        drag.is_none() && s.fairing != Some(true)
    });
    silent.map(|s| format!("section.{}", s.id)).collect()
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
    /// Period of its swell, s; zero without one.
    swell_s: f64,
    /// Height, m, and period, s: the likely highest of a thousand, `Hs sqrt(ln(1000) / 2)` of heights by Rayleigh's law (Longuet-Higgins 1952, from memory), in the longest period that is written
    /// or that the peak of a sea of that height has.
    pub(crate) wave: (f64, f64),
}

impl SiteWaves {
    /// Whether waves speak for the site: as high as its mean sea in the roughest month, and as long as its swell.
    fn are_in(&self, wave: Option<(f64, f64)>) -> bool {
        wave.is_some_and(|(height_m, period_s)| {
            height_m >= self.significant_m && period_s >= self.swell_s
        })
    }
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
        swell_s,
        wave: (height_m, sea_s.max(swell_s)),
    })
}

/// The same where no declared case has waves as high as its mean sea in the roughest month, and so speaks for it.
pub(crate) fn unsaid_waves(line: &Line) -> Option<SiteWaves> {
    let site = site_sea(line)?;
    let own = |c: &plan::Case| c.wave.map(|w| (w.height_m.si, w.period_s.si));
    let spoken_for = line.cases.iter().any(|c| site.are_in(own(c)));
    (!spoken_for).then_some(site)
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
    let (rough, calmer): (Vec<&DesignCase>, Vec<&DesignCase>) =
        cases.iter().partition(|case| site.are_in(case.wave));
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

/// The slackest cases once more in the strongest wind of all and the highest waves, where none as slack has them: a gale outlasts the turn of a tide, and takes a buoy that no stream holds down further than with its stream.
pub(super) fn slack_in_wind(line: &Line, cases: &mut Vec<DesignCase>, assumed: &mut Vec<String>) {
    if !pushes_a_buoy(line) {
        return;
    }
    let strongest = |most: (f64, f64), one: (f64, f64)| if one.0 > most.0 { one } else { most };
    let Some(wind) = cases.iter().filter_map(|case| case.wind).reduce(strongest) else {
        return;
    };
    let wave = highest(cases.iter()).map(|(wave, _)| wave);
    // Cases that were taken from the site stand at each end of its tide already.
    let same_water =
        |a: &DesignCase, b: &DesignCase| !line.cases.is_empty() || a.level_m == b.level_m;
    let twin = |case: &DesignCase| DesignCase {
        id: format!("{}{BLOWN}", case.id),
        declared: false,
        nominal: false,
        wind: Some(wind),
        wave: wave.or(case.wave),
        ..case.clone()
    };
    let all: Vec<&DesignCase> = cases.iter().collect();
    let slackest = outermost(&all, &[], |a, b| {
        same_water(a, b) && as_slack(a, b, Held::ButBoth)
    });
    let twins: Vec<DesignCase> = slackest
        .into_iter()
        .map(|ix| twin(all[ix]))
        .filter(|twin| {
            let done = |case: &&DesignCase| same_water(case, twin) && as_blown(case, twin);
            !all.iter().any(done)
        })
        .collect();
    if twins.is_empty() {
        return;
    }
    let ids: Vec<&str> = twins.iter().map(|case| case.id.as_str()).collect();
    assumed.push(format!(
        "a gale outlasts the turn of a tide, and no case as slack has a wind of {} m/s with the highest waves: the slackest counts once more in them ({})",
        show_number(wind.0),
        ids.join(", ")
    ));
    cases.extend(twins);
}

/// The strongest wind and the highest waves of declared cases where no case with them has the fastest current of another: tides and storms do not ask each other, and what both do together is not worked out.
pub(super) fn apart(line: &Line, cases: &[DesignCase], assumed: &mut Vec<String>) {
    // A current is as fast as at its fastest depth.
    let flow_m_s = |case: &DesignCase| case.current.iter().map(|p| p.1).fold(0.0, f64::max);
    let wind_m_s = |case: &DesignCase| case.wind.map_or(0.0, |(speed_m_s, _)| speed_m_s);
    let wave_m = |case: &DesignCase| case.wave.map_or(0.0, |(height_m, _)| height_m);
    let Some((fastest_m_s, stream)) = most_of(cases, flow_m_s) else {
        return;
    };
    let mut tell = |what: &str, size: &dyn Fn(&DesignCase) -> f64, unit: &str| {
        let Some((most, of)) = most_of(cases, size) else {
            return;
        };
        let meet = |case: &DesignCase| size(case) >= most && flow_m_s(case) >= fastest_m_s;
        if !cases.iter().any(meet) {
            assumed.push(format!(
                "the {what} of {}, {} {unit}, does not count together with the faster water current of {}, {} m/s: write a case with both where they may meet",
                of.named(),
                show_number(most),
                stream.named(),
                show_number(fastest_m_s)
            ));
        }
    };
    if pushes_a_buoy(line) {
        tell("wind", &wind_m_s, "m/s");
    }
    tell("highest wave", &wave_m, "m");
}

/// The first declared case that has the most of something, with how much; `None` where none has any.
fn most_of(cases: &[DesignCase], size: impl Fn(&DesignCase) -> f64) -> Option<(f64, &DesignCase)> {
    let declared = cases.iter().filter(|case| case.declared);
    let sized = declared.map(|case| (size(case), case));
    let most = sized.reduce(|most, one| if one.0 > most.0 { one } else { most })?;
    (most.0 > 0.0).then_some(most)
}

/// What the site is known to have, where no declared case does for it: slack water where its tide turns, and its current with the wind of its windiest month and with ropes that strum.
pub(super) fn of_the_site(
    line: &Line,
    density_kg_m3: f64,
    cases: &[DesignCase],
    assumed: &mut Vec<String>,
) -> Result<Vec<DesignCase>, CasesError> {
    let sea = &line.sea;
    let mut found = Vec::new();
    let taken = |id: &str| {
        let mut id = id.to_owned();
        while cases.iter().any(|c| c.id == id) {
            id.push_str("-itself");
        }
        id
    };
    if sea.tide_m.is_some_and(|(low, high)| high.si > low.si) {
        let id = taken(SLACK);
        let slack = made(line, density_kg_m3, &of_site(&id, &[], None, false))?;
        if !cases.iter().any(|case| as_slack(case, &slack, Held::All)) {
            assumed.push(format!(
                "the tide of the site turns, and no declared case is slack water: one more is ({id})"
            ));
            found.push(slack);
        }
    }
    let wind = site_wind_m_s(line);
    let flows = sea.current.iter().any(|p| p.speed_m_s.si > 0.0);
    if !flows && wind.is_none() {
        return Ok(found);
    }
    let strums = flows && without_strumming_drag(line).is_empty();
    let id = taken(OF_THE_SITE);
    let own = made(
        line,
        density_kg_m3,
        &of_site(&id, &sea.current, wind, strums),
    )?;
    if cases.iter().any(|case| as_strong(case, &own, Held::All)) {
        return Ok(found);
    }
    let mut has = Vec::new();
    if flows {
        has.push("its current".to_owned());
    }
    if let Some(speed_m_s) = wind {
        has.push(format!(
            "the mean wind of its windiest month, {speed_m_s} m/s"
        ));
    }
    if strums {
        has.push("ropes that strum".to_owned());
    }
    assumed.push(format!(
        "no declared case is as strong at every depth as the site itself with {}: one more is ({id})",
        has.join(" and ")
    ));
    found.push(own);
    Ok(found)
}

/// A case of what the site writes, at the level of its depth.
fn of_site<'a>(id: &'a str, current: &'a [Flow], wind_m_s: Option<f64>, strum: bool) -> Made<'a> {
    Made {
        id,
        declared: false,
        nominal: false,
        level_m: 0.0,
        current,
        wind: wind_m_s.map(|speed| (speed, None)),
        wave: None,
        strum,
    }
}
