//! The energy year of a supply: what the line draws at its battery, the panels, the weather of the site.
//!
//! The load is the power that the supply gives with every module in its usual state, more or less by the duty of each
//! module, and for each thing that happens (an output that is on for a time, a state that is entered, a message sent
//! up) the power that it adds at the supply times how long and how often. Each addition is the network solved once
//! more with that one change, so it holds what the cable loses; that several at once lose a little more is left out.

use jiff::Timestamp;
use jiff::tz::Offset;
use plan::{Action, Line, ModuleIx, SupplyIx, UplinkIx, When};
use power::battery::{Battery, Chemistry};
use power::sun::{
    Array, Horizon, Iam, Mounting, Observer, PlaneYear, SOLAR_CONSTANT_ASTM_E490_W_M2, Site, Sky,
    SunYear,
};
use power::weather::{ClearnessModel, ClearnessYears, MonthMean};
use power::year::{
    Climate, Extra, GeneratedYields, Load, PanelModel, PowerSystem, Start, StateShare, YearPlan,
    first_hour_of_month,
};
use quantity::SECONDS_PER_DAY;

use super::{
    Conditions, Contacts, Draw, Electric, InputError, Streams, Traffic, electric, payload_bytes,
    profile, streams, traffic,
};
use network::Filter;

/// Change of a silicon panel's power with cell temperature, 1/K (common practice).
const PANEL_TEMPERATURE_COEFFICIENT_PER_K: f64 = -0.004;
/// Linke turbidity; the generated years do not read the clear sky.
const LINKE_TURBIDITY: f64 = 3.0;
/// Reflectance of the sea (common practice).
const SEA_ALBEDO: f64 = 0.06;
/// Air pressure at sea level, Pa, ISO 2533.
const SEA_LEVEL_PA: f64 = 101_325.0;
/// Terrestrial less Universal Time, s, in the years about 2020 (from memory); a minute moves no hour of the sun.
const DELTA_T_S: f64 = 70.0;
pub(crate) const SECONDS_PER_HOUR: f64 = 3600.0;
/// Days of a mean year of the Gregorian calendar.
const DAYS_PER_YEAR: f64 = 365.2425;

/// A part of the mean load at the battery.
#[derive(Clone, Debug, PartialEq)]
pub struct LoadPart {
    /// What draws it: a typed path, and how often where it happens now and then.
    pub what: String,
    /// Mean power at the battery, W; negative where a duty draws less than the usual state.
    pub power_w: f64,
}

/// All that the hourly years of one supply need.
#[derive(Clone, Debug)]
pub struct EnergyInput {
    /// The supply.
    pub supply: SupplyIx,
    /// Battery, panels and how the year begins, for the planned start and, where the start may slip, for the last one.
    pub systems: Vec<PowerSystem>,
    /// The load.
    pub load: Load,
    /// Of what the load is made, in the order of the line.
    pub load_parts: Vec<LoadPart>,
    /// What turns clearness into the energy of the panels.
    pub yields: GeneratedYields,
    /// What draws the clearness of the days.
    pub weather: ClearnessYears,
    /// Values that count although the plan does not write them.
    pub assumed: Vec<String>,
}

impl EnergyInput {
    /// The systems made ready for the loop over the hours.
    ///
    /// # Errors
    /// [`InputError::Year`].
    pub fn plans(&self, line: &Line) -> Result<Vec<YearPlan>, InputError> {
        let what = || format!("supply.{}", line.supplies[self.supply.0].id);
        self.systems
            .iter()
            .map(|s| {
                YearPlan::new(s, &self.load).map_err(|source| InputError::Year {
                    what: what(),
                    source,
                })
            })
            .collect()
    }
}

/// The energy year of a supply with panels and a battery.
///
/// # Errors
/// [`InputError::NotSaid`] for what the plan does not say and the year needs; what the disciplines refuse.
pub fn energy(line: &Line, of: SupplyIx) -> Result<EnergyInput, InputError> {
    let supply = &line.supplies[of.0];
    let what = || format!("supply.{}", supply.id);
    let not_said = |missing| InputError::NotSaid {
        what: what(),
        missing,
    };
    let battery = supply
        .battery
        .as_ref()
        .ok_or_else(|| not_said("a battery"))?;
    let panels = supply.panels.as_ref().ok_or_else(|| not_said("panels"))?;
    let clearness = twelve(&line.sea.clearness).ok_or(InputError::NotSaid {
        what: "the site".to_owned(),
        missing: "the clearness of the twelve months",
    })?;
    let mut assumed = vec![
        format!(
            "{}: panels on a buoy that yaws freely, {:.1} % of their power lost for each kelvin, nothing in the way of the sun, dirt only as far as `loss` holds it",
            what(),
            -100.0 * PANEL_TEMPERATURE_COEFFICIENT_PER_K
        ),
        format!(
            "{}: the figures of {} that docs/method/energy-year.md gives for usable charge, efficiency, ageing and cut-off, most of them from memory",
            what(),
            chemistry_name(battery.chemistry)
        ),
        format!(
            "{}: full at the start of the deployment, and its charge controller draws nothing",
            what()
        ),
    ];
    let surface_degc = profile(line)?.temperature_degc(line.modules[supply.module.0].depth_m)?;
    assumed.push(format!(
        "battery and air are at {surface_degc:.1} degC all year, the temperature of the water at module.{}",
        line.modules[supply.module.0].id
    ));
    let wind_m_s = twelve(&line.sea.wind_m_s).unwrap_or_else(|| {
        assumed.push("no wind cools the panels, because none is written".to_owned());
        [0.0; 12]
    });
    let start = line.deployment.start.ok_or(InputError::NotSaid {
        what: "the deployment".to_owned(),
        missing: "its start",
    })?;
    let year = i32::from(Offset::UTC.to_datetime(start).year());
    let observer = Observer {
        latitude_deg: line.sea.latitude_deg.si,
        longitude_deg: line.sea.longitude_deg.si,
        elevation_m: 0.0,
        pressure_pa: SEA_LEVEL_PA,
        temperature_degc: surface_degc,
    };
    let sun = SunYear::new(&Site {
        observer,
        year,
        utc_offset_h: (line.sea.longitude_deg.si / 15.0).round(),
        delta_t_s: DELTA_T_S,
        solar_constant_w_m2: SOLAR_CONSTANT_ASTM_E490_W_M2,
        linke_turbidity: [LINKE_TURBIDITY; 12],
        horizon: Horizon::open(),
    })?;
    let plane = PlaneYear::new(
        &sun,
        &Array {
            mounting: Mounting::Yawing {
                tilt_deg: panels.tilt_deg.si,
            },
            beam_iam: Iam::Physical,
            sky: Sky::HayDavies,
            albedo: SEA_ALBEDO,
        },
    )?;
    let year_error = |source| InputError::Year {
        what: what(),
        source,
    };
    let yields = GeneratedYields::new(
        &sun,
        &plane,
        &PanelModel {
            temperature_coefficient_per_k: PANEL_TEMPERATURE_COEFFICIENT_PER_K,
            loss: panels.loss.si,
            light_left: [1.0; 12],
        },
        &Climate {
            air_temperature_degc: [surface_degc; 12],
            wind_speed_m_s: wind_m_s,
        },
    )
    .map_err(year_error)?;
    let weather = ClearnessYears::new(
        ClearnessModel::Aguiar,
        &clearness,
        MonthMean::OverYears,
        &sun,
    )?;
    let load_parts = load_parts(line, of, &mut assumed)?;
    let mean_w: f64 = load_parts.iter().map(|p| p.power_w).sum();
    let slip_s = line.deployment.start_slip_s.map_or(0.0, |q| q.si);
    let aged_s = line.deployment.longest_s();
    let mut starts_s = vec![0.0];
    if slip_s > 0.0 {
        starts_s.push(slip_s);
    }
    let systems = starts_s
        .into_iter()
        .map(|later_s| {
            Ok(PowerSystem {
                peak_power_w: panels.peak_power_each_w.si * f64::from(panels.faces),
                standby_w: 0.0,
                battery: Battery {
                    capacity_wh: battery.capacity_c.si * battery.voltage_v.si / SECONDS_PER_HOUR,
                    age_years: aged_s / (DAYS_PER_YEAR * SECONDS_PER_DAY),
                    chemistry: chemistry(battery.chemistry),
                },
                battery_temperature_degc: [surface_degc; 12],
                start: Start::At {
                    hour: hour_of_year(line, start, later_s)?,
                    charge: 1.0,
                },
            })
        })
        .collect::<Result<_, InputError>>()?;
    Ok(EnergyInput {
        supply: of,
        systems,
        load: Load {
            states: vec![StateShare {
                power_w: mean_w,
                share: 1.0,
            }],
            extra: Extra::None,
        },
        load_parts,
        yields,
        weather,
        assumed,
    })
}

fn twelve(months: &[plan::Q]) -> Option<[f64; 12]> {
    let all: Vec<f64> = months.iter().map(|q| q.si).collect();
    all.try_into().ok()
}

fn chemistry(of: plan::Chemistry) -> Chemistry {
    match of {
        plan::Chemistry::LiFePo4 => Chemistry::lithium_iron_phosphate(),
        plan::Chemistry::Agm => Chemistry::agm(),
        plan::Chemistry::PrimaryLithium => Chemistry::primary_lithium(),
        plan::Chemistry::Alkaline => Chemistry::alkaline(),
    }
}

fn chemistry_name(of: plan::Chemistry) -> &'static str {
    match of {
        plan::Chemistry::LiFePo4 => "lithium iron phosphate",
        plan::Chemistry::Agm => "AGM",
        plan::Chemistry::PrimaryLithium => "primary lithium",
        plan::Chemistry::Alkaline => "alkaline cells",
    }
}

/// The hour of a year of 365 days, in local standard time, at which the deployment begins when it begins so much later.
fn hour_of_year(line: &Line, start: Timestamp, later_s: f64) -> Result<usize, InputError> {
    let zone_s = (line.sea.longitude_deg.si / 15.0).round() * SECONDS_PER_HOUR;
    let seconds = (later_s + zone_s) as i64;
    let start = start
        .checked_add(jiff::SignedDuration::from_secs(seconds))
        .map_err(|_| InputError::Open {
            what: "the start with its slip leaves the calendar".to_owned(),
        })?;
    let start = Offset::UTC.to_datetime(start);
    let month = usize::from(start.month().unsigned_abs()) - 1;
    // A 29 February counts as the 28th.
    let day: i8 = match (start.month(), start.day()) {
        (2, 29) => 28,
        (_, day) => day,
    };
    let hour =
        24 * (usize::from(day.unsigned_abs()) - 1) + usize::from(start.hour().unsigned_abs());
    let first = first_hour_of_month(month).expect("a month of the calendar");
    Ok(first + hour)
}

/// The mean load at the battery, part by part.
fn load_parts(
    line: &Line,
    of: SupplyIx,
    assumed: &mut Vec<String>,
) -> Result<Vec<LoadPart>, InputError> {
    let electric = electric(line)?;
    let usual = Conditions::usual(line, Contacts::Aged);
    let base_w = given_w(line, &electric, &usual, of)?;
    let mut parts = vec![LoadPart {
        what: "every module in its usual state".to_owned(),
        power_w: base_w,
    }];
    let added_w = |module: ModuleIx, draw: Draw| -> Result<f64, InputError> {
        let mut conditions = usual.clone();
        conditions.draws[module.0] = draw;
        Ok(given_w(line, &electric, &conditions, of)? - base_w)
    };
    for (m, module) in line.modules.iter().enumerate() {
        if module.duty.is_empty() {
            if module.loads.len() > 1 {
                assumed.push(format!(
                    "module.{} is always in its usual state but for what happens, because no `duty` is written",
                    module.id
                ));
            }
            continue;
        }
        let mut power_w = 0.0;
        for (state, share) in &module.duty {
            let draw = in_state(line, ModuleIx(m), &usual, *state);
            power_w += share.si * added_w(ModuleIx(m), draw)?;
        }
        parts.push(LoadPart {
            what: format!("duty of module.{}", module.id),
            power_w,
        });
    }
    let traffic = traffic(line)?;
    let streams = traffic.as_ref().map(|t| streams(line, t)).transpose()?;
    let rates_per_h = rates_per_h(line, traffic.as_ref().zip(streams.as_ref()), assumed)?;
    for (b, behaviour) in line.behaviours.iter().enumerate() {
        let runs_per_h = rates_per_h[b];
        for action in &behaviour.actions {
            let what = format!("behaviour.{}", behaviour.id);
            let (hours_each, power_w, doing) = match action {
                Action::Publish { .. } | Action::Log { .. } | Action::Switch { on: false, .. } => {
                    continue;
                }
                Action::Switch {
                    output,
                    on: true,
                    for_s,
                } => {
                    let Some(for_s) = for_s else {
                        return Err(InputError::NotSaid {
                            what,
                            missing: "how long it switches its output on (`for`)",
                        });
                    };
                    let Draw::State {
                        state,
                        mut outputs_on,
                    } = usual.draws[output.module.0].clone()
                    else {
                        continue;
                    };
                    outputs_on[output.output] = true;
                    let draw = Draw::State { state, outputs_on };
                    let path = line.output_path(*output);
                    (
                        for_s.si / SECONDS_PER_HOUR,
                        added_w(output.module, draw)?,
                        path,
                    )
                }
                Action::Enter { state, for_s } => (
                    for_s.si / SECONDS_PER_HOUR,
                    added_w(behaviour.on, in_state(line, behaviour.on, &usual, *state))?,
                    format!("state {}", line.modules[behaviour.on.0].loads[*state].state),
                ),
                Action::SendUp { uplink, topic } => {
                    let Some((hours, power_w)) = sending(
                        line,
                        *uplink,
                        payload_bytes(&line.topics[topic.0])?,
                        &usual,
                        &added_w,
                    )?
                    else {
                        continue;
                    };
                    let path = format!("uplink.{}", line.uplinks[uplink.0].id);
                    (hours, power_w, path)
                }
            };
            // What is on already cannot be on twice.
            let share = (runs_per_h * hours_each).min(1.0);
            parts.push(LoadPart {
                what: format!("{what}: {doing}, {runs_per_h:.3} times an hour"),
                power_w: share * power_w,
            });
        }
    }
    Ok(parts)
}

/// Hours in which one message goes up, its failed attempts among them, and the power this adds at the supply, W; `None` where
/// sending changes no load.
fn sending(
    line: &Line,
    uplink: UplinkIx,
    bytes: u32,
    usual: &Conditions,
    added_w: &impl Fn(ModuleIx, Draw) -> Result<f64, InputError>,
) -> Result<Option<(f64, f64)>, InputError> {
    let u = &line.uplinks[uplink.0];
    let Some(state) = u.sending_state else {
        return Ok(None);
    };
    let success = u.success.ok_or_else(|| InputError::NotSaid {
        what: format!("uplink.{}", u.id),
        missing: "the chance that an attempt succeeds",
    })?;
    let messages = f64::from(bytes.div_ceil(u.message_bytes).max(1));
    let attempts = messages / success.si;
    let draw = in_state(line, u.module, usual, state);
    Ok(Some((
        attempts * u.session_s.si / SECONDS_PER_HOUR,
        added_w(u.module, draw)?,
    )))
}

/// A module in one of its states, its outputs as usual.
fn in_state(line: &Line, module: ModuleIx, usual: &Conditions, state: usize) -> Draw {
    let outputs_on = match &usual.draws[module.0] {
        Draw::State { outputs_on, .. } => outputs_on.clone(),
        Draw::Nothing | Draw::Boot => vec![false; line.modules[module.0].outputs.len()],
    };
    Draw::State {
        state: Some(state),
        outputs_on,
    }
}

/// Power that a supply gives behind its resistance under these conditions, W.
fn given_w(
    line: &Line,
    electric: &Electric,
    conditions: &Conditions,
    of: SupplyIx,
) -> Result<f64, InputError> {
    let input = electric.input(line, conditions)?;
    if let Some(unknown) = input.unknowns.first() {
        return Err(InputError::Open {
            what: unknown.clone(),
        });
    }
    let solution = power::solve(&input.network).map_err(|source| InputError::Network {
        what: format!("supply.{}", line.supplies[of.0].id),
        source,
    })?;
    let place = input.sources.iter().position(|s| *s == of.0);
    Ok(place.map_or(0.0, |s| {
        input.network.sources[s].voltage_v * solution.source_currents_a[s]
    }))
}

/// How often each behaviour runs, times an hour: as often as its detector is expected to tell, else as often as it may.
fn rates_per_h(
    line: &Line,
    talk: Option<(&Traffic, &Streams)>,
    assumed: &mut Vec<String>,
) -> Result<Vec<f64>, InputError> {
    let per_h = |rate: quantity::EventRate| rate.count / rate.per_s * SECONDS_PER_HOUR;
    let filters: Vec<Option<Filter>> = line
        .behaviours
        .iter()
        .map(|b| match &b.when {
            When::Told { filter } => {
                Filter::parse(filter)
                    .map(Some)
                    .map_err(|source| InputError::Topic {
                        what: format!("behaviour.{}", b.id),
                        source,
                    })
            }
            When::Heard { .. } | When::Each { .. } => Ok(None),
        })
        .collect::<Result<_, _>>()?;
    let mut expected: Vec<f64> = Vec::new();
    for (i, b) in line.behaviours.iter().enumerate() {
        expected.push(match &b.when {
            When::Told { .. } => 0.0,
            When::Each { period_s } => SECONDS_PER_HOUR / period_s.si,
            When::Heard { detector, .. } => {
                let d = &line.detectors[detector.0];
                match d.expects {
                    Some(rate) => per_h(rate),
                    None => {
                        let limits = super::start_limits(line, talk, plan::BehaviourIx(i))?;
                        let Some(Some(limit)) = limits.first() else {
                            return Err(InputError::NotSaid {
                                what: format!("detector.{}", d.id),
                                missing: "how many events it is expected to tell (`expects`)",
                            });
                        };
                        assumed.push(format!(
                            "detector.{} tells as often as behaviour.{} may start, because no `expects` is written",
                            d.id, b.id
                        ));
                        f64::from(limit.messages()) / limit.per().as_s_f64() * SECONDS_PER_HOUR
                    }
                }
            }
        });
    }
    let capped = |i: usize, runs: f64| match line.behaviours[i].at_most {
        Some(limit) => runs.min(per_h(limit)),
        None => runs,
    };
    let mut rates: Vec<f64> = expected
        .iter()
        .enumerate()
        .map(|(i, r)| capped(i, *r))
        .collect();
    let Some((traffic, streams)) = talk else {
        return Ok(rates);
    };
    // A message goes from behaviour to behaviour at most once through each; what still grows after that feeds itself.
    for _ in 0..=line.behaviours.len() {
        let before = rates.clone();
        for (i, filter) in filters.iter().enumerate() {
            let Some(filter) = filter else { continue };
            let heard = streams
                .of
                .iter()
                .zip(&streams.flows)
                .filter(|((_, topic), flow)| {
                    filter.matches(&traffic.names[topic.0])
                        && flow.targets.contains(&line.behaviours[i].on.0)
                });
            let runs: f64 = heard
                .map(|((module, topic), _)| {
                    let told: f64 = line
                        .behaviours
                        .iter()
                        .enumerate()
                        .filter(|(_, b)| b.on == *module)
                        .map(|(j, b)| {
                            let times = b.actions.iter().filter(
                                |a| matches!(a, Action::Publish { topic: t } if t == topic),
                            );
                            before[j] * times.count() as f64
                        })
                        .sum();
                    match line.topics[topic.0].at_most {
                        Some(limit) => told.min(per_h(limit)),
                        None => told,
                    }
                })
                .sum();
            rates[i] = capped(i, runs);
        }
        if rates == before {
            return Ok(rates);
        }
    }
    Err(InputError::Open {
        what: "behaviours answer each other without end: give one of them `at_most`".to_owned(),
    })
}
