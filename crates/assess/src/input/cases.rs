//! Design cases: the water and the weather in which a line's shape is worked out, as the plan declares them or as its site gives them.

use mooring::{Current, MooringError, Water};
use plan::{Flow, Line, Q};
use seawater::{SeaError, density_kg_m3, pressure_from_depth_dbar};

use super::extremes::{Held, as_blown, as_slack, as_strong, outermost};
use super::fouled::{Fouling, fouling};
use super::profile;
use super::site_weather::{
    apart, of_the_site, pushes_a_buoy, site_waves, slack_in_waves, slack_in_wind, unsaid_waves,
    unsaid_weather, windy, without_strumming_drag,
};

/// A design case in plain numbers.
#[derive(Clone, Debug, PartialEq)]
pub struct DesignCase {
    /// Id of a declared case; of one taken from the site a name.
    pub id: String,
    /// Whether the plan declares it.
    pub declared: bool,
    /// Whether it is the usual case.
    pub nominal: bool,
    /// How much higher the water stands than the site's depth says, m.
    pub level_m: f64,
    /// The water with its current.
    pub water: Water,
    /// Points of the current: depth, m, speed, m/s, direction towards which it runs, degrees from north.
    pub current: Vec<(f64, f64, f64)>,
    /// Speed of the wind, m/s, and direction towards which it blows, degrees from north.
    pub wind: Option<(f64, f64)>,
    /// Height, m, and period, s, of the waves.
    pub wave: Option<(f64, f64)>,
    /// Whether ropes strum.
    pub strum: bool,
    /// What has grown on the line; `None` of a clean one.
    pub fouling: Option<Fouling>,
}

impl DesignCase {
    /// Its name in words: `case.slack`, or `the case slack` of one taken from the site.
    #[must_use]
    pub fn named(&self) -> String {
        if self.declared {
            format!("case.{}", self.id)
        } else {
            format!("the case {}", self.id)
        }
    }
}

/// The cases of a plan, and what in them counts although nobody wrote it.
#[derive(Clone, Debug, PartialEq)]
pub struct DesignCases {
    /// The cases, declared ones by id.
    pub cases: Vec<DesignCase>,
    /// Values that count although nobody wrote them.
    pub assumed: Vec<String>,
    /// What of the weather nothing is written of: while something is missing, what a line bears may be more, and only what is broken is known.
    pub unsaid: Option<String>,
}

/// Why a plan gives no design cases.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum CasesError {
    /// The site says too little for cases to be taken from it.
    #[error(
        "the plan declares no `case`, and its site says nothing of {missing}, from which cases could be taken: write that, or a `case`"
    )]
    NothingToTake {
        /// Keys of the site.
        missing: String,
    },
    /// No density of the water.
    #[error("the site: {0}")]
    Sea(#[from] SeaError),
    /// A depth that a mistake hides.
    #[error("the site says nothing of water_depth")]
    NoDepth,
    /// The water of a case is gone.
    #[error(
        "{case}: the water stands {level_m} m from the site's depth of {depth_m} m, and none is left"
    )]
    NoWater {
        /// The case.
        case: String,
        /// Its level.
        level_m: f64,
        /// The site's depth.
        depth_m: f64,
    },
    /// Growth that cannot be.
    #[error("the growth of the site: {0}")]
    Growth(MooringError),
    /// A current that cannot be.
    #[error("{case}: {source}")]
    Current {
        /// The case.
        case: String,
        /// Why.
        source: MooringError,
    },
}

/// Direction of a current or a wind of which the plan says none, degrees from north.
const NO_DIRECTION_DEG: f64 = 0.0;

/// The design cases of a plan: those that it declares, the strongest of them once more with the site's wind where none as strong has it, slack water where its tide turns and the site's own current, wind and strum where none does for them; else slack water and the
/// site's current at each end of its tide. The site's waves count in the strongest and the slackest case without as high ones, and the highest of all in the slackest, which count once more in the strongest wind; at each end of the tide the strongest, the slackest and the most blown
/// count once more where no case does for them.
///
/// # Errors
/// [`CasesError`] where the plan says too little.
pub fn design_cases(line: &Line) -> Result<DesignCases, CasesError> {
    let sea = &line.sea;
    if !sea.water_depth_m.si.is_finite() {
        return Err(CasesError::NoDepth);
    }
    let mut assumed = Vec::new();
    let density_kg_m3 = water_density(line, &mut assumed)?;
    let mut cases = if line.cases.is_empty() {
        taken(line, density_kg_m3, &mut assumed)?
    } else {
        let mut cases = declared(line, density_kg_m3)?;
        windy(line, &mut cases, &mut assumed);
        let own = of_the_site(line, density_kg_m3, &cases, &mut assumed)?;
        cases.extend(own);
        cases
    };
    site_waves(line, &mut cases, &mut assumed);
    if !line.cases.is_empty() {
        slack_in_waves(&mut cases, &mut assumed);
    }
    slack_in_wind(line, &mut cases, &mut assumed);
    apart(line, &cases, &mut assumed);
    directions(line, &mut assumed);
    choose_nominal(&mut cases, &mut assumed);
    turns(&cases, &mut assumed);
    beyond(line, &cases, &mut assumed);
    at_ends_of_tide(line, &mut cases, &mut assumed)?;
    let grown = fouling(line, density_kg_m3).map_err(CasesError::Growth)?;
    if let Some(grown) = grown {
        told_of_growth(line, &grown, &mut assumed);
        let twins: Vec<DesignCase> = cases.iter().map(|case| fouled(case, grown)).collect();
        cases.extend(twins);
    }
    Ok(DesignCases {
        cases,
        assumed,
        unsaid: unsaid_weather(line),
    })
}

/// What has grown on the lines of a plan by the latest recovery; `None` where its site says nothing of growth.
///
/// # Errors
/// [`CasesError`] where the density of the water or the growth cannot be.
pub(crate) fn grown(line: &Line) -> Result<Option<Fouling>, CasesError> {
    if line.sea.growth.is_none() {
        return Ok(None);
    }
    let density_kg_m3 = water_density(line, &mut Vec::new())?;
    fouling(line, density_kg_m3).map_err(CasesError::Growth)
}

/// Behind the id of a case at the end of the deployment.
pub(crate) const FOULED: &str = "-fouled";

/// The same case at the end of the deployment.
fn fouled(case: &DesignCase, grown: Fouling) -> DesignCase {
    DesignCase {
        id: format!("{}{FOULED}", case.id),
        declared: false,
        nominal: false,
        fouling: Some(grown),
        ..case.clone()
    }
}

fn told_of_growth(line: &Line, grown: &Fouling, assumed: &mut Vec<String>) {
    let said = line.sea.growth;
    let rougher = match said.and_then(|g| g.rougher) {
        Some(_) => "",
        None => ", no rougher than clean because no `rougher` is written",
    };
    let most = match said.and_then(|g| g.most_m) {
        Some(_) => "",
        None => ", without end because no `most` is written",
    };
    assumed.push(format!(
        "each design case counts twice, clean and with the growth of {:.1} months, the duration and the recovery slip: {:.1} mm{most}{rougher}",
        grown.months,
        1e3 * grown.growth.thickness_m()
    ));
}

/// Density for drag and buoyancy, kg/m3: the site's own, else that of its profile halfway down.
pub(crate) fn water_density(line: &Line, assumed: &mut Vec<String>) -> Result<f64, CasesError> {
    if let Some(density) = line.sea.density_kg_m3 {
        return Ok(density.si);
    }
    let middle_m = 0.5 * line.sea.water_depth_m.si;
    let water = profile(line)?;
    let pressure_dbar = pressure_from_depth_dbar(middle_m, line.sea.latitude_deg.si)?;
    let found = density_kg_m3(
        water.temperature_degc(middle_m)?,
        water.salinity(middle_m)?,
        pressure_dbar,
    )?;
    assumed.push(format!(
        "the water weighs {found:.2} kg/m3 for drag and buoyancy: that of the profile at {middle_m} m, because the site writes no `density`"
    ));
    Ok(found)
}

/// What makes a case.
pub(super) struct Made<'a> {
    pub(super) id: &'a str,
    pub(super) declared: bool,
    pub(super) nominal: bool,
    pub(super) level_m: f64,
    pub(super) current: &'a [Flow],
    pub(super) wind: Option<(f64, Option<f64>)>,
    pub(super) wave: Option<(f64, f64)>,
    pub(super) strum: bool,
}

pub(super) fn made(
    line: &Line,
    density_kg_m3: f64,
    from: &Made<'_>,
) -> Result<DesignCase, CasesError> {
    let case = || {
        if from.declared {
            format!("case.{}", from.id)
        } else {
            from.id.to_owned()
        }
    };
    let depth_m = line.sea.water_depth_m.si + from.level_m;
    if depth_m <= 0.0 {
        return Err(CasesError::NoWater {
            case: case(),
            level_m: from.level_m,
            depth_m: line.sea.water_depth_m.si,
        });
    }
    // A current that says no direction runs with a wind that does: together they pull the most.
    let wind_deg = from.wind.and_then(|(_, towards_deg)| towards_deg);
    let towards = |q: Option<Q>| q.map_or(wind_deg.unwrap_or(NO_DIRECTION_DEG), |q| q.si);
    let points: Vec<(f64, f64, f64)> = from
        .current
        .iter()
        .map(|p| (p.depth_m.si, p.speed_m_s.si, towards(p.towards_deg)))
        .collect();
    let parts: Vec<(f64, f64, f64)> = points
        .iter()
        .map(|&(depth_m, speed_m_s, towards_deg)| {
            let [east, north] = level(speed_m_s, towards_deg);
            (depth_m, east, north)
        })
        .collect();
    let current = Current::new(&parts).map_err(|source| CasesError::Current {
        case: case(),
        source,
    })?;
    let (_, along_deg) = current.speed_and_direction(0.0);
    Ok(DesignCase {
        id: from.id.to_owned(),
        declared: from.declared,
        nominal: from.nominal,
        level_m: from.level_m,
        water: Water {
            depth_m,
            density_kg_m3,
            current,
        },
        current: points,
        wind: from
            .wind
            .map(|(speed_m_s, towards_deg)| (speed_m_s, towards_deg.unwrap_or(along_deg))),
        wave: from.wave,
        strum: from.strum,
        fouling: None,
    })
}

/// Parts towards the east and the north of what goes towards an angle from north.
pub(crate) fn level(size: f64, towards_deg: f64) -> [f64; 2] {
    let rad = towards_deg * (core::f64::consts::PI / 180.0);
    // The four winds exactly: a sine of 180 degrees leaves 1e-16 otherwise, and a line would turn out of its plane.
    let (sine, cosine) = match towards_deg {
        d if d == 0.0 || d == 360.0 => (0.0, 1.0),
        90.0 => (1.0, 0.0),
        180.0 => (0.0, -1.0),
        270.0 => (-1.0, 0.0),
        _ => (libm::sin(rad), libm::cos(rad)),
    };
    [size * sine, size * cosine]
}

fn declared(line: &Line, density_kg_m3: f64) -> Result<Vec<DesignCase>, CasesError> {
    let each = line.cases.iter().map(|case| {
        let from = Made {
            id: &case.id,
            declared: true,
            nominal: case.nominal,
            level_m: case.water_level_m.map_or(0.0, |q| q.si),
            current: &case.current,
            wind: case
                .wind
                .map(|w| (w.speed_m_s.si, w.towards_deg.map(|q| q.si))),
            wave: case.wave.map(|w| (w.height_m.si, w.period_s.si)),
            strum: case.strum,
        };
        made(line, density_kg_m3, &from)
    });
    each.collect()
}

/// Cases from the site: slack water and its current at the level of its depth and at each end of the tide, and its current with ropes that
/// strum, where they say how they drag then.
fn taken(
    line: &Line,
    density_kg_m3: f64,
    assumed: &mut Vec<String>,
) -> Result<Vec<DesignCase>, CasesError> {
    let sea = &line.sea;
    let buoys = line.modules.iter().any(|m| m.hull.is_some());
    let missing: Vec<&str> = [
        ("current", sea.current.is_empty()),
        ("tide", sea.tide_m.is_none()),
        ("wind", buoys && sea.wind_m_s.is_empty()),
    ]
    .into_iter()
    .filter_map(|(key, lacks)| lacks.then_some(key))
    .collect();
    let Some((lowest, highest)) = sea.tide_m.filter(|_| missing.is_empty()) else {
        return Err(CasesError::NothingToTake {
            missing: missing.join(", "),
        });
    };
    let windiest_m_s = sea.wind_m_s.iter().map(|q| q.si).reduce(f64::max);
    let wind = windiest_m_s.filter(|_| buoys).map(|speed| (speed, None));
    let silent = without_strumming_drag(line);
    let strums = silent.is_empty();
    let mut levels = vec![("", 0.0)];
    for (name, level_m) in [("-lowest", lowest.si), ("-highest", highest.si)] {
        if level_m != 0.0 {
            levels.push((name, level_m));
        }
    }
    let mut cases = Vec::new();
    let mut add = |id: String, level_m: f64, flows: bool, strum: bool| {
        let from = Made {
            id: &id,
            declared: false,
            nominal: !flows && level_m == 0.0,
            level_m,
            current: if flows { &sea.current } else { &[] },
            wind: wind.filter(|_| flows),
            wave: None,
            strum,
        };
        made(line, density_kg_m3, &from).map(|case| cases.push(case))
    };
    for (name, level_m) in &levels {
        add(format!("slack{name}"), *level_m, false, false)?;
    }
    for (name, level_m) in &levels {
        add(format!("current{name}"), *level_m, true, false)?;
        if strums {
            add(format!("current{name}-strum"), *level_m, true, true)?;
        }
    }
    let names: Vec<&str> = cases.iter().map(|c| c.id.as_str()).collect();
    let wind = match windiest_m_s.filter(|_| buoys) {
        Some(speed) => format!(
            ", the latter with the mean wind of the windiest month, {speed} m/s, on the buoy and no gust above it"
        ),
        None => String::new(),
    };
    let waves = match unsaid_waves(line) {
        Some(_) => "",
        None => ", no waves",
    };
    assumed.push(format!(
        "design cases are taken from the site, because the plan declares no `case`: {}: slack water without wind, and the current of the site{wind}; no storm, no stronger tide{waves}",
        names.join(", ")
    ));
    if !strums {
        assumed.push(format!(
            "no case with ropes that strum, in which they drag more, because the ropes of these say no `strumming_drag`: {}",
            silent.join(", ")
        ));
    }
    Ok(cases)
}

/// Between two depths a current that turns by more than this is told, degrees: in the middle it is slower by the cosine of half of it, by 3 % here.
const TURNS_DEG: f64 = 30.0;

/// Where a current turns much between two of its depths: how slow the straight way from one to the other makes it.
fn turns(cases: &[DesignCase], assumed: &mut Vec<String>) {
    for case in cases {
        let worst = case.current.windows(2).filter_map(|pair| {
            let [(upper_m, _, from_deg), (lower_m, _, to_deg)] = *pair else {
                return None;
            };
            let apart_deg = (to_deg - from_deg).abs() % 360.0;
            let turn_deg = apart_deg.min(360.0 - apart_deg);
            Some((turn_deg, upper_m, lower_m))
        });
        let Some((turn_deg, upper_m, lower_m)) =
            worst.reduce(|most, one| if one.0 > most.0 { one } else { most })
        else {
            continue;
        };
        if turn_deg > TURNS_DEG {
            let (middle_m_s, _) = case
                .water
                .current
                .speed_and_direction(0.5 * (upper_m + lower_m));
            assumed.push(format!(
                "in {} the current turns by {turn_deg:.0} deg between {upper_m} m and {lower_m} m and counts as the straight way from the one velocity to the other, {middle_m_s:.2} m/s halfway: write depths between them if it is faster there",
                case.named()
            ));
        }
    }
}

/// The strongest, the slackest and the most blown cases once more at each end of the tide at which no case does for them: in deeper water a line of one length leans less and pulls more, in shallower it is slack
/// and its top goes further.
fn at_ends_of_tide(
    line: &Line,
    cases: &mut Vec<DesignCase>,
    assumed: &mut Vec<String>,
) -> Result<(), CasesError> {
    let Some((lowest, highest)) = line.sea.tide_m.filter(|_| !line.cases.is_empty()) else {
        return Ok(());
    };
    let all = cases.clone();
    for (end, level_m) in [("lowest", lowest.si), ("highest", highest.si)] {
        let (there, others): (Vec<&DesignCase>, Vec<&DesignCase>) =
            all.iter().partition(|case| match end {
                "lowest" => case.level_m <= level_m,
                _ => case.level_m >= level_m,
            });
        let strongest = outermost(&others, &there, |a, b| as_strong(a, b, Held::All));
        let slackest = outermost(&others, &there, |a, b| as_slack(a, b, Held::All));
        let depth_m = line.sea.water_depth_m.si + level_m;
        let blown: Vec<usize> = match pushes_a_buoy(line) {
            true => outermost(&others, &there, as_blown),
            false => Vec::new(),
        };
        let taken = (0..others.len())
            .filter(|ix| strongest.contains(ix) || slackest.contains(ix) || blown.contains(ix));
        let twins: Vec<DesignCase> = taken
            .map(|ix| {
                let case = others[ix];
                let mut twin = DesignCase {
                    id: format!("{}-{end}", case.id),
                    declared: false,
                    nominal: false,
                    level_m,
                    ..case.clone()
                };
                twin.water.depth_m = depth_m;
                twin
            })
            .collect();
        let Some(first) = twins.first() else {
            continue;
        };
        if depth_m <= 0.0 {
            return Err(CasesError::NoWater {
                case: first.named(),
                level_m,
                depth_m: line.sea.water_depth_m.si,
            });
        }
        let ids: Vec<&str> = twins.iter().map(|case| case.id.as_str()).collect();
        let none = match there.is_empty() {
            true => "no declared case stands",
            false => "no case as strong, or as slack in as high waves or as much wind, stands",
        };
        assumed.push(format!(
            "{none} at the {end} water of the tide, {level_m} m: the outermost count once more there ({})",
            ids.join(", ")
        ));
        cases.extend(twins);
    }
    Ok(())
}

/// A water level so far beyond the tides is told, m: surges add some (a choice of ours).
const BEYOND_M: f64 = 2.0;

/// Levels and depths of cases that the site does not have.
fn beyond(line: &Line, cases: &[DesignCase], assumed: &mut Vec<String>) {
    for case in cases {
        if let Some((lowest, highest)) = line.sea.tide_m {
            let over_m = (case.level_m - highest.si).max(lowest.si - case.level_m);
            if over_m > BEYOND_M {
                assumed.push(format!(
                    "in {} the water stands {} m from the level of `water_depth`, {over_m:.1} m beyond the tides of the site",
                    case.named(),
                    case.level_m
                ));
            }
        }
        if line.sea.tide_m.is_none() && libm::fabs(case.level_m) > BEYOND_M {
            assumed.push(format!(
                "in {} the water stands {} m from the level of `water_depth`, and the site writes no `tide` to hold that against",
                case.named(),
                case.level_m
            ));
        }
        if let (Some(first), Some(last)) = (case.current.first(), case.current.last())
            && case.current.len() > 1
            && (first.0 > 0.0 || last.0 < case.water.depth_m.min(line.sea.water_depth_m.si))
        {
            assumed.push(format!(
                "in {} the current is written from {} m to {} m: above and below it is as there",
                case.named(),
                first.0,
                last.0
            ));
        }
        // A current down to the bed at the site's own level goes on at low water.
        let deepest_m = case.current.iter().map(|p| p.0).fold(0.0, f64::max);
        if deepest_m > case.water.depth_m.max(line.sea.water_depth_m.si) {
            assumed.push(format!(
                "in {} the current is written down to {deepest_m} m, and the bed lies at {} m: what is below it does not count",
                case.named(),
                case.water.depth_m
            ));
        }
    }
}

/// Currents and winds of which the plan says no direction.
fn directions(line: &Line, assumed: &mut Vec<String>) {
    let silent =
        |flows: &[Flow]| !flows.is_empty() && flows.iter().all(|p| p.towards_deg.is_none());
    let mut whose: Vec<String> = line
        .cases
        .iter()
        .filter(|c| silent(&c.current))
        .map(|c| format!("case.{}", c.id))
        .collect();
    if line.cases.is_empty() && silent(&line.sea.current) {
        whose.push("site".to_owned());
    }
    if !whose.is_empty() {
        assumed.push(format!(
            "the current runs the same way at every depth, with the wind of its case where that has a direction, because no `towards` is written: {}",
            whose.join(", ")
        ));
    }
    let winds: Vec<String> = line
        .cases
        .iter()
        .filter(|c| c.wind.is_some_and(|w| w.towards_deg.is_none()))
        .map(|c| format!("case.{}", c.id))
        .collect();
    if !winds.is_empty() {
        assumed.push(format!(
            "the wind blows with the current at the surface, because no `towards` is written: {}",
            winds.join(", ")
        ));
    }
}

/// Where no case says that it is the usual one, the one with the weakest current is.
fn choose_nominal(cases: &mut [DesignCase], assumed: &mut Vec<String>) {
    if cases.iter().any(|c| c.nominal) {
        return;
    }
    let strongest = |c: &DesignCase| c.current.iter().map(|p| p.1).fold(0.0, f64::max);
    let declares = cases.iter().any(|c| c.declared);
    let weakest = cases
        .iter()
        .map(|c| (strongest(c), c.level_m.abs()))
        .enumerate()
        .filter(|(ix, _)| cases[*ix].declared == declares)
        .min_by(|a, b| a.1.0.total_cmp(&b.1.0).then(a.1.1.total_cmp(&b.1.1)));
    if let Some((ix, _)) = weakest {
        cases[ix].nominal = true;
        assumed.push(format!(
            "case.{} is the usual one, as the one with the weakest current, because no case is `nominal`",
            cases[ix].id
        ));
    }
}
