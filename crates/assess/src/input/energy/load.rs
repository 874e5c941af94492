//! What the line draws at the battery of a supply, part by part, and how often each part happens.
//!
//! The load is the power that the supply gives with every module in its usual state, more or less by the duty of each
//! module, and for each thing that happens (an output that is on for a time, a state that is entered, a message sent
//! up) the power that it adds at the supply times how long and how often. Each addition is the network solved once
//! more with that one change, so it holds what the cable loses; that several at once lose a little more is left out.
//! Primary cells give less at a higher current: for them every combination of duties and happenings is solved by itself.

use network::{Filter, lone_delay_by_sea};
use plan::{Action, Line, ModuleIx, OutputIx, RegistersWhen, SupplyIx, TopicIx, UplinkIx, When};
use power::battery::CurrentShare;
use quantity::{Dimension, show};

use super::super::{
    Conditions, Contacts, Draw, Electric, InputError, Streams, Succeeds, Traffic, billed_alone,
    electric, payload_bytes, start_limits, streams, succeeds, traffic, uplink_spec,
};
use super::SECONDS_PER_HOUR;
use crate::months::months_in_water;

/// Most combinations of duties and happenings that are solved.
const MOST_COMBINATIONS: usize = 4096;

/// A part of the mean load at the battery.
#[derive(Clone, Debug, PartialEq)]
pub struct LoadPart {
    /// What draws it: a typed path, and how often where it happens now and then.
    pub what: String,
    /// Mean power at the battery, W; negative where a duty draws less than the usual state. Of what goes by month the mean of the year.
    pub power_w: f64,
    /// The same in each month, January to December, W, where it goes by month.
    pub by_month_w: Option<[f64; 12]>,
}

/// What a supply has to carry.
#[derive(Clone, Debug)]
pub struct SupplyLoad {
    /// Parts of the mean load, in the order of the line.
    pub parts: Vec<LoadPart>,
    /// Values that count although the plan does not write them.
    pub assumed: Vec<String>,
    electric: Electric,
    usual: Conditions,
    happenings: Vec<Happening>,
    /// Months in the water, 0 to 11.
    in_water: Vec<usize>,
}

/// Something that happens now and then.
#[derive(Clone, Debug)]
struct Happening {
    what: String,
    /// Share of the time in which it holds, 0 to 1; of what goes by month the mean of the year.
    share: f64,
    /// The same in each month, where it goes by month.
    by_month: Option<[f64; 12]>,
    change: Change,
}

/// What it changes.
#[derive(Clone, Copy, Debug)]
enum Change {
    State(ModuleIx, usize),
    On(OutputIx),
}

impl Change {
    fn apply(self, line: &Line, conditions: &mut Conditions) {
        match self {
            Change::State(module, state) => {
                let draw = in_state(line, module, conditions, state);
                conditions.draws[module.0] = draw;
            }
            Change::On(output) => {
                if let Draw::State { outputs_on, .. } = &mut conditions.draws[output.module.0] {
                    outputs_on[output.output] = true;
                }
            }
        }
    }
}

/// What the line draws at the battery of a supply.
///
/// # Errors
/// [`InputError::NotSaid`] for what the plan does not say and the load needs; what the disciplines refuse.
pub fn supply_load(line: &Line, of: SupplyIx) -> Result<SupplyLoad, InputError> {
    let mut assumed = Vec::new();
    let electric = electric(line)?;
    let usual = Conditions::usual(line, Contacts::Aged);
    let base_w = given_w(line, &electric, &usual, of)?;
    let mut parts = vec![LoadPart {
        what: "every module in its usual state".to_owned(),
        power_w: base_w,
        by_month_w: None,
    }];
    let added_w = |change: Change| -> Result<f64, InputError> {
        let mut conditions = usual.clone();
        change.apply(line, &mut conditions);
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
            power_w += share.si * added_w(Change::State(ModuleIx(m), *state))?;
        }
        parts.push(LoadPart {
            what: format!("duty of module.{}", module.id),
            power_w,
            by_month_w: None,
        });
    }
    let happenings = happenings(line, &mut assumed)?;
    for happening in &happenings {
        let added_w = added_w(happening.change)?;
        parts.push(LoadPart {
            what: happening.what.clone(),
            power_w: happening.share * added_w,
            by_month_w: happening
                .by_month
                .map(|all| all.map(|share| share * added_w)),
        });
    }
    Ok(SupplyLoad {
        parts,
        assumed,
        electric,
        usual,
        happenings,
        in_water: months_in_water(line),
    })
}

impl Happening {
    /// Its share of the time in that of these months in which it is largest.
    fn most(&self, months: &[usize]) -> f64 {
        self.by_month.map_or(self.share, |all| {
            months.iter().map(|month| all[*month]).fold(0.0, f64::max)
        })
    }
}

impl SupplyLoad {
    /// Mean power at the battery, W, without what controller and supply draw themselves.
    #[must_use]
    pub fn mean_w(&self) -> f64 {
        self.parts.iter().map(|p| p.power_w).sum()
    }

    /// The same in each month, January to December; `None` where all months are alike.
    #[must_use]
    pub fn by_month_w(&self) -> Option<[f64; 12]> {
        let by_month = |p: &LoadPart| p.by_month_w.is_some();
        self.parts.iter().any(by_month).then(|| {
            let of_part = |p: &LoadPart, month: usize| p.by_month_w.map_or(p.power_w, |w| w[month]);
            core::array::from_fn(|month| self.parts.iter().map(|p| of_part(p, month)).sum())
        })
    }

    /// The largest mean power of a month in the water, W.
    #[must_use]
    pub fn most_w(&self) -> f64 {
        let Some(all) = self.by_month_w() else {
            return self.mean_w();
        };
        self.in_water.iter().map(|m| all[*m]).fold(0.0, f64::max)
    }

    /// What is told of a figure that takes the heaviest month for all of them; `None` where all are alike.
    pub(super) fn heaviest_told(&self, what: &str) -> Option<String> {
        self.by_month_w().map(|_| {
            format!(
                "{what}: draws all the time what it draws in its heaviest month in the water, since what uplinks draw goes by month"
            )
        })
    }

    /// Currents out of a battery of `voltage_v` that also carries `standing_w`, with the share of the time of each, in the heaviest month in the water: every
    /// combination of the duties of the modules and of what happens, each as if it knew nothing of the others.
    ///
    /// # Errors
    /// What the disciplines refuse; more combinations than are solved.
    pub fn currents(
        &self,
        line: &Line,
        of: SupplyIx,
        voltage_v: f64,
        standing_w: f64,
    ) -> Result<Vec<CurrentShare>, InputError> {
        // Each choice: its changes with their shares; `None` for no change.
        let duties = line
            .modules
            .iter()
            .enumerate()
            .filter(|(_, m)| !m.duty.is_empty())
            .map(|(m, module)| -> Vec<(Option<Change>, f64)> {
                let states = module.duty.iter();
                states
                    .map(|(state, share)| (Some(Change::State(ModuleIx(m), *state)), share.si))
                    .collect()
            });
        let events = self.happenings.iter().map(|h| {
            let share = h.most(&self.in_water);
            vec![(Some(h.change), share), (None, 1.0 - share)]
        });
        let choices: Vec<Vec<(Option<Change>, f64)>> = duties.chain(events).collect();
        let combinations = choices
            .iter()
            .try_fold(1_usize, |all, choice| all.checked_mul(choice.len()))
            .filter(|all| *all <= MOST_COMBINATIONS)
            .ok_or_else(|| InputError::Open {
                what: format!(
                    "duties and behaviours combine in more than {MOST_COMBINATIONS} ways, which are not worked out"
                ),
            })?;
        let mut currents = Vec::with_capacity(combinations);
        for number in 0..combinations {
            let (mut rest, mut share) = (number, 1.0);
            let mut conditions = self.usual.clone();
            for choice in &choices {
                let (change, of_time) = choice[rest % choice.len()];
                rest /= choice.len();
                share *= of_time;
                if let Some(change) = change {
                    change.apply(line, &mut conditions);
                }
            }
            if share > 0.0 {
                let power_w = standing_w + given_w(line, &self.electric, &conditions, of)?;
                currents.push(CurrentShare {
                    current_a: power_w / voltage_v,
                    share,
                });
            }
        }
        Ok(currents)
    }
}

/// What happens now and then, with the share of the time that it takes.
fn happenings(line: &Line, assumed: &mut Vec<String>) -> Result<Vec<Happening>, InputError> {
    let traffic = traffic(line)?;
    let streams = traffic.as_ref().map(|t| streams(line, t)).transpose()?;
    let rates_per_h = rates_per_h(line, traffic.as_ref().zip(streams.as_ref()), assumed)?.runs;
    let mut all = Vec::new();
    for (behaviour, &runs_per_h) in line.behaviours.iter().zip(&rates_per_h) {
        for action in &behaviour.actions {
            let what = format!("behaviour.{}", behaviour.id);
            let steady = |hours: f64, change: Change, doing: String| {
                vec![Taken {
                    hours: [hours; 12],
                    by_month: false,
                    change,
                    doing,
                }]
            };
            let taken = match action {
                Action::Publish { .. }
                | Action::Log { .. }
                | Action::Ask { .. }
                | Action::Set { .. }
                | Action::Answer { .. }
                | Action::Switch { on: false, .. } => {
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
                    let hours = for_s.si / SECONDS_PER_HOUR;
                    steady(hours, Change::On(*output), line.output_path(*output))
                }
                Action::Enter { state, for_s } => steady(
                    for_s.si / SECONDS_PER_HOUR,
                    Change::State(behaviour.on, *state),
                    format!("state {}", line.modules[behaviour.on.0].loads[*state].state),
                ),
                Action::SendUp { uplink, topic, .. } => {
                    let bytes = payload_bytes(&line.topics[topic.0])?;
                    sending(line, *uplink, bytes)?
                }
            };
            for one in taken {
                // What is on already cannot be on twice.
                let by_month = one.hours.map(|hours| (runs_per_h * hours).min(1.0));
                let doing = &one.doing;
                all.push(Happening {
                    what: format!("{what}: {doing}, {runs_per_h:.3} times an hour"),
                    share: match one.by_month {
                        true => mean_of_year(&by_month),
                        false => by_month[0],
                    },
                    by_month: one.by_month.then_some(by_month),
                    change: one.change,
                });
            }
        }
    }
    for u in &line.uplinks {
        let Some(fix) = u.fix else { continue };
        let Some(state) = fix.state.or(u.sending_state) else {
            assumed.push(format!(
                "uplink.{}: its position fixes change no load, because neither a `state` of `fix` nor a `sending_state` is written",
                u.id
            ));
            continue;
        };
        all.push(Happening {
            what: format!(
                "uplink.{}: position fixes, {:.3} times an hour",
                u.id,
                SECONDS_PER_HOUR / fix.every_s.si
            ),
            share: fix.takes_s.si / fix.every_s.si,
            by_month: None,
            change: Change::State(u.module, state),
        });
    }
    Ok(all)
}

/// What one run of an action takes.
struct Taken {
    /// Hours in each month, January to December.
    hours: [f64; 12],
    /// Whether the months differ.
    by_month: bool,
    change: Change,
    doing: String,
}

/// Mean over a year of what goes by month.
fn mean_of_year(by_month: &[f64; 12]) -> f64 {
    let days = power::year::MONTH_DAYS.map(f64::from);
    let sum: f64 = by_month.iter().zip(days).map(|(x, d)| x * d).sum();
    sum / days.iter().sum::<f64>()
}

/// Time in which one message goes up, its failed attempts and their registrations among it, and the states that the sending module is in; nothing where sending changes no load.
fn sending(line: &Line, uplink: UplinkIx, bytes: u32) -> Result<Vec<Taken>, InputError> {
    let u = &line.uplinks[uplink.0];
    let registers = u.registers.filter(|r| r.when == RegistersWhen::EachAttempt);
    let states = [
        (u.sending_state, Some(u.session_s.si), "sending"),
        (
            registers.and_then(|r| r.state.or(u.sending_state)),
            registers.map(|r| r.takes_s.si),
            "registering",
        ),
    ];
    if states.iter().all(|(state, ..)| state.is_none()) {
        return Ok(Vec::new());
    }
    let success = succeeds(line, uplink, None)?;
    let billed = billed_alone(u, bytes) as f64;
    let (attempts, by_month) = match &success {
        Succeeds::Steady { chance, .. } => ([billed / chance; 12], false),
        Succeeds::BySea(sea) => {
            let spec = uplink_spec(line, uplink)?;
            let mut attempts = [0.0; 12];
            for (month, tries) in attempts.iter_mut().zip(&sea.months) {
                let found = lone_delay_by_sea(&spec, tries).ok_or_else(|| InputError::Open {
                    what: format!(
                        "uplink.{}: its chances in calm and high seas give no number of attempts",
                        u.id
                    ),
                })?;
                *month = billed * found.attempts;
            }
            (attempts, true)
        }
    };
    let path = format!("uplink.{}", u.id);
    let taken = states.into_iter().filter_map(|(state, time_s, doing)| {
        let hours_each = time_s? / SECONDS_PER_HOUR;
        Some(Taken {
            hours: attempts.map(|n| n * hours_each),
            by_month,
            change: Change::State(u.module, state?),
            doing: match registers {
                None => path.clone(),
                Some(_) => format!("{path}, {doing}"),
            },
        })
    });
    Ok(taken.collect())
}

/// A module in one of its states, its outputs as they are.
fn in_state(line: &Line, module: ModuleIx, conditions: &Conditions, state: usize) -> Draw {
    let outputs_on = match &conditions.draws[module.0] {
        Draw::State { outputs_on, .. } => outputs_on.clone(),
        Draw::Nothing | Draw::Boot => vec![false; line.modules[module.0].outputs.len()],
    };
    Draw::State {
        state: Some(state),
        outputs_on,
    }
}

/// Power that a supply gives behind its resistance under these conditions, W.
pub(crate) fn given_w(
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
    let solution = power::solve(&input.network).map_err(|error| InputError::Network {
        what: format!("supply.{}", line.supplies[of.0].id),
        why: crate::faults::named(line, &input, &error),
    })?;
    if let Some(over) = solution.limited.first() {
        let supply = &line.supplies[input.sources[*over]];
        let limit = supply.current_limit_a.map_or(f64::NAN, |q| q.si);
        return Err(InputError::Open {
            what: format!(
                "supply.{} is asked for {} and gives at most {}: what the line then draws is not known",
                supply.id,
                show(solution.source_currents_a[*over], Dimension::Current),
                show(limit, Dimension::Current)
            ),
        });
    }
    let place = input.sources.iter().position(|s| *s == of.0);
    Ok(place.map_or(0.0, |s| {
        input.network.sources[s].voltage_v * solution.source_currents_a[s]
    }))
}

/// How often each behaviour is expected to run, times an hour.
///
/// # Errors
/// [`InputError::NotSaid`] for what the plan does not say.
pub(crate) fn runs_per_h(line: &Line) -> Result<Vec<f64>, InputError> {
    let traffic = traffic(line)?;
    let streams = traffic.as_ref().map(|t| streams(line, t)).transpose()?;
    let talk = traffic.as_ref().zip(streams.as_ref());
    Ok(rates_per_h(line, talk, &mut Vec::new())?.runs)
}

/// Rates of behaviours, times an hour.
pub(crate) struct Rates {
    /// How often each starts.
    pub(crate) runs: Vec<f64>,
    /// How often each would without an `at_most` of its own.
    pub(crate) asked: Vec<f64>,
}

/// What is expected of behaviours, by what detectors are expected to tell; `None` where the plan does not say so of all that starts any.
pub(crate) fn expected_rates(line: &Line, talk: Option<(&Traffic, &Streams)>) -> Option<Rates> {
    let mut assumed = Vec::new();
    let rates = rates_per_h(line, talk, &mut assumed).ok()?;
    // What detectors tell as often as they may is expected by nobody.
    assumed.is_empty().then_some(rates)
}

/// How often a module is expected to publish a topic, times an hour, before the topic's `at_most`.
pub(crate) fn published_per_h(line: &Line, runs: &[f64], module: ModuleIx, topic: TopicIx) -> f64 {
    let own = line
        .behaviours
        .iter()
        .zip(runs)
        .filter(|(b, _)| b.on == module);
    own.map(|(b, runs)| {
        let publishes = |a: &&Action| matches!(a, Action::Publish { topic: t, .. } if *t == topic);
        runs * b.actions.iter().filter(publishes).count() as f64
    })
    .sum()
}

/// How often each behaviour runs, times an hour: as often as its detector is expected to tell, else as often as it may.
fn rates_per_h(
    line: &Line,
    talk: Option<(&Traffic, &Streams)>,
    assumed: &mut Vec<String>,
) -> Result<Rates, InputError> {
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
            When::Heard { .. }
            | When::Voted { .. }
            | When::Each { .. }
            | When::Asked { .. }
            | When::Answered { .. }
            | When::Unanswered { .. } => Ok(None),
        })
        .collect::<Result<_, _>>()?;
    let mut expected: Vec<f64> = Vec::new();
    for (i, b) in line.behaviours.iter().enumerate() {
        expected.push(match &b.when {
            When::Told { .. } => 0.0,
            When::Asked { request }
            | When::Answered { request }
            | When::Unanswered { request } => {
                let limits = start_limits(line, talk, plan::BehaviourIx(i))?;
                let Some(Some(limit)) = limits.first() else {
                    return Err(InputError::NotSaid {
                        what: format!("request.{}", line.requests[request.0].id),
                        missing: "how often it is made at most (`at_most`)",
                    });
                };
                f64::from(limit.messages()) / limit.per().as_s_f64() * SECONDS_PER_HOUR
            }
            When::Each { period_s } => SECONDS_PER_HOUR / period_s.si,
            When::Voted { vote } => {
                let v = &line.votes[vote.0];
                let mut rates: Vec<f64> = Vec::new();
                for d in v.of.iter().map(|d| &line.detectors[d.0]) {
                    rates.push(per_h(d.expects.ok_or_else(|| InputError::NotSaid {
                        what: format!("detector.{}", d.id),
                        missing: "how many events it is expected to tell (`expects`)",
                    })?));
                }
                // Whichever carry a vote, one of these is among them.
                rates.sort_by(f64::total_cmp);
                rates.iter().take(v.of.len() + 1 - v.at_least as usize).sum()
            }
            When::Heard { detector, .. } => {
                let d = &line.detectors[detector.0];
                match d.expects {
                    Some(rate) => per_h(rate),
                    None => {
                        let limits = start_limits(line, talk, plan::BehaviourIx(i))?;
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
    let mut asked = expected;
    let Some((traffic, streams)) = talk else {
        return Ok(Rates { runs: rates, asked });
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
                    let told = published_per_h(line, &before, *module, *topic);
                    match line.topics[topic.0].at_most {
                        Some(limit) => told.min(per_h(limit)),
                        None => told,
                    }
                })
                .sum();
            asked[i] = runs;
            rates[i] = capped(i, runs);
        }
        if rates == before {
            return Ok(Rates { runs: rates, asked });
        }
    }
    Err(InputError::Open {
        what: "behaviours answer each other without end: give one of them `at_most`".to_owned(),
    })
}
