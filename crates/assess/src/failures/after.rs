//! What comes of one failure.

use network::How;
use plan::{Action, Line, ModuleIx, OutputIx, SensorIx};

use super::asks::{askers, waiting};
use super::breakage::{Broken, Network, Part, Powered};
use super::notice::{Notice, Told, sooner};
use super::stays_out::{Ashore, apart_s};
use super::talk::{Led, Now, Talk};
use super::{After, Breakage, Does, FailuresError, Heard, OutputAfter, Safe, Sees, Silence, Whole};
use crate::input::{Conditions, Contacts, InputError, electric, streams, traffic};

/// The whole line, and where the detections of its hydrophones lead in it.
pub(super) struct Parts<'a> {
    network: Network<'a>,
    talk: Talk<'a>,
    ashore: Ashore,
    powered: Powered,
    hydrophones: Vec<SensorIx>,
    led: Vec<Led>,
    /// Where behaviours at intervals lead while the line is whole.
    beats: Vec<Led>,
    /// Outputs that detections or behaviours at intervals switch on while the line is whole.
    asked_on: Vec<OutputIx>,
}

impl<'a> Parts<'a> {
    pub(super) fn new(
        line: &'a Line,
        contacts: Contacts,
        ashore: Ashore,
    ) -> Result<Parts<'a>, FailuresError> {
        if line.supplies.is_empty() {
            return Err(FailuresError::NoSupply);
        }
        let electric = electric(line)?;
        let usual = Conditions::usual(line, contacts);
        let base = electric.input(line, &usual)?;
        if !base.unknowns.is_empty() {
            return Err(FailuresError::Open(base.unknowns));
        }
        let network = Network {
            line,
            electric,
            usual,
            base,
        };
        let powered = network
            .powered(None)?
            .map_err(|why| FailuresError::Open(vec![why]))?;
        let net = traffic(line)?
            .map(|t| streams(line, &t).map(|s| (t, s)))
            .transpose()?;
        let talk = Talk { line, net };
        let nodes = dead(&powered);
        let whole = talk.now(&nodes, None, None, vec![false; line.modules.len()]);
        let hydrophones: Vec<SensorIx> = line.hydrophones().collect();
        let led: Vec<Led> = hydrophones.iter().map(|h| talk.led(&whole, *h)).collect();
        let beats = talk.led_at_intervals(&whole);
        let mut asked_on: Vec<OutputIx> = (led.iter().chain(&beats).flat_map(|l| &l.outputs))
            .map(|(m, output)| OutputIx {
                module: ModuleIx(*m),
                output: *output,
            })
            .filter(|output| is_switched_on(line, *output))
            .collect();
        asked_on.sort_unstable();
        asked_on.dedup();
        Ok(Parts {
            asked_on,
            beats,
            network,
            talk,
            ashore,
            powered,
            hydrophones,
            led,
        })
    }

    fn line(&self) -> &'a Line {
        self.network.line
    }

    pub(super) fn all(&self) -> Result<Vec<(Broken, String)>, InputError> {
        self.network.all()
    }

    /// What is not there while nothing is broken.
    pub(super) fn whole(&self) -> Whole {
        let line = self.line();
        let named = |missing: &dyn Fn(usize) -> bool| -> Vec<String> {
            let all = (0..self.hydrophones.len()).filter(|h| missing(*h));
            all.map(|h| line.sensor_path(self.hydrophones[h])).collect()
        };
        let has_shore = !line.uplinks.is_empty();
        Whole {
            without_power: named(&|h| self.powered.dead[self.hydrophones[h].module.0]),
            not_ashore: named(&|h| has_shore && self.led[h].uplinks.is_empty()),
        }
    }

    pub(super) fn after(&self, broken: &Broken) -> Result<Result<After, String>, InputError> {
        let powered = match self.network.powered(Some(broken))? {
            Ok(powered) => powered,
            Err(why) => return Ok(Err(why)),
        };
        let mut nodes = dead(&powered);
        let mut cut = None;
        let mut uplink = None;
        let mut deaf = None;
        let mut wrong_clock = vec![false; nodes.len()];
        match (broken.part, broken.breakage) {
            (Part::Span(s), Breakage::Cut | Breakage::Shorted) => cut = Some(s),
            (Part::Module(m), Breakage::Hung) if nodes[m.0].is_none() => {
                nodes[m.0] = Some(How::Hung);
            }
            (Part::Module(m), Breakage::WrongClock) => self.clocks(m, &mut wrong_clock),
            (Part::Uplink(u), _) => uplink = Some(u),
            (Part::Hydrophone(sensor), _) => deaf = Some(sensor),
            _ => {}
        }
        let silent = |m: &usize| nodes[*m].is_some() && self.line().modules[*m].passes.is_none();
        let untold: Vec<String> = (0..nodes.len())
            .filter(silent)
            .map(|m| {
                format!(
                    "module.{} says nothing of what still goes through it (`passes`)",
                    self.line().modules[m].id
                )
            })
            .collect();
        if !untold.is_empty() {
            return Ok(Err(untold.join("; ")));
        }
        let at_times = match broken.part.bears_no_power() {
            true => vec![false; nodes.len()],
            false => self.network.at_times(broken, &powered, &self.asked_on)?,
        };
        let told = |nodes: &[Option<How>]| {
            let mut now = self.talk.now(nodes, cut, uplink, wrong_clock.clone());
            now.deaf = deaf;
            self.told(&now, &powered, nodes)
        };
        let mut after = told(&nodes);
        let named = |of: &[bool]| -> Vec<String> {
            let modules = (0..of.len()).filter(|&m| of[m]);
            modules
                .map(|m| self.line().module_path(ModuleIx(m)))
                .collect()
        };
        after.tries_again = named(&powered.tries_again);
        after.at_times = named(&at_times);
        let unsteady = powered.tries_again.iter().zip(&at_times);
        after.unsteady = unsteady
            .map(|(again, at_times)| *again || *at_times)
            .collect();
        let mut uplinks = self.line().uplinks.iter();
        after.shore_unsteady = uplinks.any(|u| after.unsteady[u.module.0]);
        if after.unsteady.contains(&true) {
            let holds = match broken.part.bears_no_power() {
                true => vec![false; nodes.len()],
                false => self.network.hold_out(broken, &powered)?,
            };
            let with = |m: &dyn Fn(usize) -> Option<How>| {
                told(&(0..nodes.len()).map(m).collect::<Vec<_>>())
            };
            let most = with(&|m| {
                if powered.tries_again[m] {
                    None
                } else {
                    nodes[m]
                }
            });
            let least = with(&|m| {
                if at_times[m] {
                    Some(How::Unpowered)
                } else {
                    nodes[m]
                }
            });
            for other in [&most, &least] {
                for (copy, other) in after.copies.iter_mut().zip(&other.copies) {
                    copy.steady &= copy.comes == other.comes;
                }
                for (output, other) in after.outputs.iter_mut().zip(&other.outputs) {
                    output.steady &= (output.does, &output.safe) == (other.does, &other.safe);
                }
            }
            // One that falls as soon as it has booted is never heard: what comes of that is no other than if it stayed out.
            if holds.contains(&true) {
                after
                    .others
                    .push(with(&|m| if holds[m] { None } else { nodes[m] }));
            }
            if at_times.contains(&true) {
                after.others.push(least);
            }
        }
        Ok(Ok(after))
    }

    /// Modules whose times are wrong with the clock of one.
    fn clocks(&self, of: ModuleIx, wrong: &mut [bool]) {
        wrong[of.0] = true;
        if self
            .line()
            .time_sync
            .as_ref()
            .is_some_and(|s| s.master == of)
        {
            for (wrong, module) in wrong.iter_mut().zip(&self.line().modules) {
                *wrong |= module.clock.is_some();
            }
        }
    }

    fn told(&self, now: &Now, powered: &Powered, nodes: &[Option<How>]) -> After {
        let line = self.line();
        let notice = Notice::new(&self.talk, &self.ashore);
        let led: Vec<Led> = self
            .hydrophones
            .iter()
            .map(|h| self.talk.led(now, *h))
            .collect();
        let named = |lost: &dyn Fn(usize) -> bool| -> Vec<String> {
            let all = (0..self.hydrophones.len()).filter(|h| lost(*h));
            all.map(|h| line.sensor_path(self.hydrophones[h])).collect()
        };
        let stopped = |h: usize| {
            let sensor = self.hydrophones[h];
            !now.works[sensor.module.0] || now.deaf == Some(sensor)
        };
        let worked = |h: usize| !self.powered.dead[self.hydrophones[h].module.0];
        let somewhere = |led: &Led| !led.told.is_empty() || !led.outputs.is_empty();
        let lost_to_line =
            named(&|h| worked(h) && (stopped(h) || somewhere(&self.led[h]) && !somewhere(&led[h])));
        let lost_to_shore =
            named(&|h| !self.led[h].uplinks.is_empty() && led[h].uplinks.is_empty());
        let shore_notices_s = match now.deaf {
            None => notice.ashore_s(now),
            // No heartbeat stays out: what the shore sees is healthy.
            Some(sensor) if !lost_to_shore.is_empty() => Some(notice.level_ashore_s(sensor)),
            Some(_) => None,
        };
        let shore = match (&shore_notices_s, line.uplinks.is_empty()) {
            (_, true) => Sees::NoShore,
            _ if lost_to_shore.is_empty() => Sees::Alerts,
            (Some(Err(_)), _) if now.deaf.is_some() => Sees::Quiet,
            (Some(_), _) => Sees::Unknown,
            (None, _) => Sees::Quiet,
        };
        let outputs = line.modules.iter().enumerate().flat_map(|(m, module)| {
            (0..module.outputs.len()).map(move |output| OutputIx {
                module: ModuleIx(m),
                output,
            })
        });
        let beats = self.talk.led_at_intervals(now);
        let asks: Vec<&Led> = led.iter().chain(&beats).collect();
        let outputs = outputs.map(|o| self.output(o, now, nodes, &asks, &notice));
        let fed = (0..nodes.len()).filter(|&m| line.modules[m].input.is_some() && now.works[m]);
        After {
            without_power: (0..nodes.len())
                .filter(|&m| powered.dead[m] && !self.powered.dead[m])
                .map(|m| line.module_path(ModuleIx(m)))
                .collect(),
            lost_to_line,
            lost_to_shore,
            times_wrong: named(&|h| now.wrong_clock[self.hydrophones[h].module.0]),
            outputs: outputs.collect(),
            shore,
            shore_notices_s,
            voltages_v: fed
                .filter_map(|m| Some((line.module_path(ModuleIx(m)), powered.voltages_v[m]?)))
                .collect(),
            tries_again: Vec::new(),
            at_times: Vec::new(),
            works_on: (0..nodes.len())
                .map(|m| (!self.powered.dead[m]).then_some(now.works[m]))
                .collect(),
            unsteady: vec![false; nodes.len()],
            copies: self.talk.copies(now),
            shore_unsteady: false,
            others: Vec::new(),
        }
    }

    fn output(
        &self,
        output: OutputIx,
        now: &Now,
        nodes: &[Option<How>],
        asks: &[&Led],
        notice: &Notice<'_>,
    ) -> OutputAfter {
        let line = self.line();
        let at = output.module.0;
        let key = (at, output.output);
        let own = &line.modules[at].outputs[output.output];
        let asked = |all: &[&Led]| all.iter().filter(|l| l.outputs.contains(&key)).count();
        let before: Vec<&Led> = self.led.iter().chain(&self.beats).collect();
        let (asked_by, asked_before) = (asked(asks), asked(&before));
        let does = match nodes[at] {
            Some(How::Unpowered) => Does::Off,
            Some(How::Hung) => Does::Stays,
            None if asked_by < asked_before => Does::Unasked,
            None => Does::AsBefore,
        };
        let within_s = own.fails_safe_within_s.map(|q| q.si);
        let mut by_timer = false;
        let safe = match (does, own.fail_safe_on) {
            (Does::AsBefore, _) => Safe::NotNeeded,
            (_, None) => Safe::Unknown(format!(
                "{} says nothing of its `fail_safe`",
                line.output_path(output)
            )),
            (Does::Off, Some(on)) => match on {
                true => Safe::Never,
                false => Safe::Within(0.0),
            },
            (does, Some(on)) => {
                let timer_s: Option<Told> = match (within_s, does) {
                    (None, _) => None,
                    (Some(within_s), Does::Stays) => Some(Ok(within_s)),
                    (Some(within_s), _) => {
                        let askers = askers(line, before.iter().copied(), output);
                        let mut heard = askers.iter().filter_map(|m| notice.on_its_way_s(*m, at));
                        // A timer that nobody winds up has run out, or will have by then.
                        let own = heard.next().is_none().then_some(Ok(within_s));
                        let by_silence = notice
                            .silent(now, at)
                            .filter(|m| askers.contains(m))
                            .filter_map(|m| notice.on_its_way_s(m, at))
                            .map(|s| s.map(|s| within_s + s))
                            .fold(None, |soonest, s| sooner(soonest, Some(s)));
                        own.or(by_silence)
                    }
                };
                let back_s = (does == Does::Unasked || left(line, output, on).is_empty())
                    .then(|| comes_back_s(line, output, on))
                    .flatten()
                    .map(Ok);
                by_timer = match (&timer_s, &back_s) {
                    (Some(Ok(timer_s)), Some(Ok(back_s))) => timer_s < back_s,
                    (timer_s, back_s) => timer_s.is_some() && back_s.is_none(),
                };
                match sooner(timer_s, back_s) {
                    Some(Ok(s)) => Safe::Within(s),
                    Some(Err(why)) => Safe::Unknown(why),
                    None => Safe::Never,
                }
            }
        };
        OutputAfter {
            output: line.output_path(output),
            asked_by,
            asked_before,
            does,
            safe,
            by_timer,
            steady: true,
        }
    }

    /// Of each output that fails safe by itself, the longest silence between two heartbeats of a module that may ask for it, s, or why it is unknown, with that module.
    pub(super) fn longest_silences(&self) -> Vec<Silence> {
        let notice = Notice::new(&self.talk, &self.ashore);
        let line = self.line();
        let mut all = Vec::new();
        for output in waiting(line) {
            for asker in askers(line, self.led.iter().chain(&self.beats), output) {
                let at = output.module.0;
                let way_s = notice.on_its_way_s(asker, at);
                let heard = apart_s(line, asker).zip(notice.lost_on_its_way(asker, at));
                let Some((way_s, (apart_s, lost))) = way_s.zip(heard) else {
                    continue;
                };
                let heard = || {
                    Ok(Heard {
                        apart_s: apart_s?,
                        way_s: way_s?,
                        lost: lost?,
                    })
                };
                all.push(Silence {
                    output,
                    asker: ModuleIx(asker),
                    heard: heard(),
                });
            }
        }
        all
    }

    pub(super) fn rests_on(&self) -> Vec<String> {
        vec![
            "every module is in the state in which it starts, outputs as at start; what drops out for want of voltage stays out".to_owned(),
            "a short is bolted, and lies at the end of the span that is further from a supply; a supply holds its current limit, and no fuse melts".to_owned(),
            "a poor contact adds a thousandth more to the loop than the line bears in these states; a worse one ends as the cut of its span".to_owned(),
            "where a line cannot carry all, the module drops out that comes to its lowest voltage first as the voltages collapse; who drops out at times is found with all that try again booting at once, and with every output on that detections or behaviours at intervals switch on".to_owned(),
            "a flooded module has a short at its inlet, unless its `passes` says that power goes on always".to_owned(),
            "messages find any way that is left; a bus is as whole as all its pieces, and a module that hangs does not hold it".to_owned(),
            "of a hydrophone that is deaf while its module works nothing stays out; a level of the sea in a heartbeat that goes ashore (`heartbeat.levels`) tells it, as long as somebody looks at it".to_owned(),
            "a module has just sent its heartbeat when it stops, and delays are those of the whole line; the shore waits for an interval, or for so many as tell a silence where heartbeats stay out by themselves, and until the uplink has given the message up".to_owned(),
        ]
    }
}

fn is_switched_on(line: &Line, output: OutputIx) -> bool {
    let mut actions = line.behaviours.iter().flat_map(|b| &b.actions);
    actions.any(|a| matches!(a, Action::Switch { output: o, on: true, .. } if *o == output))
}

fn dead(powered: &Powered) -> Vec<Option<How>> {
    let how = |dead: &bool| dead.then_some(How::Unpowered);
    powered.dead.iter().map(how).collect()
}

/// For how long each behaviour switches an output away from its fail-safe state, s; `None` for good.
fn left(line: &Line, output: OutputIx, safe_on: bool) -> Vec<Option<f64>> {
    let actions = line.behaviours.iter().flat_map(|b| &b.actions);
    let away = actions.filter_map(|a| match a {
        Action::Switch {
            output: o,
            on,
            for_s,
        } if *o == output && *on != safe_on => Some(for_s.map(|q| q.si)),
        _ => None,
    });
    away.collect()
}

/// After how long an output that nobody asks is in its fail-safe state, as it starts there and is switched away for a time only, s.
fn comes_back_s(line: &Line, output: OutputIx, safe_on: bool) -> Option<f64> {
    let own = &line.modules[output.module.0].outputs[output.output];
    if own.starts_on != safe_on {
        return None;
    }
    let each_s: Option<Vec<f64>> = left(line, output, safe_on).into_iter().collect();
    each_s.map(|s| s.into_iter().fold(0.0, f64::max))
}
