//! Routines in the rehearsal: each module's own copy with its memory, run when its behaviour starts.

use plan::{Action, BehaviourIx, BoundTo, Line, Measure, ModuleIx, NoticeKind, TopicField};
use routine::{Call, Given, Held, Memory, Program};
use timeline::Ns;

use super::Engine;
use super::content::{Led, Of};
use super::deeds::Deed;
use super::outcome::{RoutineCount, RoutineLog};
use crate::error::RehearsalError;
use crate::record::{Content, RecordId, Root, Silence, What};

/// A routine at its module.
pub(super) struct RoutineNow {
    /// The first of the behaviours that are this one.
    first: BehaviourIx,
    program: Program,
    memory: Memory,
    /// A fault stopped it; it starts anew when its module does.
    stopped: bool,
    count: RoutineCount,
    log: RoutineLog,
}

/// The routines of a line, and of each behaviour which it runs.
pub(super) struct Routines {
    of: Vec<Option<usize>>,
    all: Vec<RoutineNow>,
}

impl Routines {
    pub(super) fn new(line: &Line) -> Result<Routines, RehearsalError> {
        let mut all: Vec<RoutineNow> = Vec::new();
        let mut of = Vec::new();
        for (i, b) in line.behaviours.iter().enumerate() {
            let Some(routine) = &b.routine else {
                of.push(None);
                continue;
            };
            let known = all
                .iter()
                .position(|r| line.behaviours[r.first.0].id == b.id);
            let index = match known {
                Some(index) => index,
                None => {
                    let not = |why: String| RehearsalError::NotSaid {
                        what: vec![format!("behaviour.{}: {}: {why}", b.id, routine.file)],
                    };
                    let text = routine.text.as_deref();
                    let text = text.ok_or_else(|| not("it was not read".to_owned()))?;
                    let program = Program::new(text, &routine.binding(line, BehaviourIx(i)))
                        .map_err(|faults| {
                            not(faults
                                .first()
                                .map_or_else(String::new, |f| f.message.clone()))
                        })?;
                    all.push(RoutineNow {
                        first: BehaviourIx(i),
                        program,
                        memory: Memory::default(),
                        stopped: false,
                        count: RoutineCount {
                            behaviour: BehaviourIx(i),
                            runs: 0,
                            most_operations: 0,
                            stops: 0,
                        },
                        log: RoutineLog::default(),
                    });
                    all.len() - 1
                }
            };
            of.push(Some(index));
        }
        Ok(Routines { of, all })
    }

    /// The behaviour whose `at_most` holds for this one: a routine that several things start has one for all of them.
    pub(super) fn gate(&self, behaviour: BehaviourIx) -> BehaviourIx {
        self.of[behaviour.0].map_or(behaviour, |r| self.all[r].first)
    }

    /// Whether a behaviour is a routine that a fault has stopped.
    pub(super) fn stands(&self, behaviour: BehaviourIx) -> bool {
        self.of[behaviour.0].is_some_and(|r| self.all[r].stopped)
    }

    /// A behaviour logs a line, which counts if it is a routine.
    pub(super) fn logs_line(&mut self, behaviour: BehaviourIx, at: Ns, text: &str) {
        if let Some(index) = self.of[behaviour.0] {
            self.all[index].log.add(at, text);
        }
    }

    pub(super) fn logs(&self) -> Vec<RoutineLog> {
        self.all.iter().map(|r| r.log.clone()).collect()
    }

    pub(super) fn counts(&self) -> Vec<RoutineCount> {
        self.all.iter().map(|r| r.count).collect()
    }
}

impl Engine<'_> {
    /// Runs the routine of a behaviour, and does what it did; false where the behaviour is a rule.
    pub(super) fn run_routine(
        &mut self,
        behaviour: BehaviourIx,
        led: &Led,
        started: RecordId,
        root: Option<Root>,
    ) -> Result<bool, RehearsalError> {
        let Some(index) = self.routines.of[behaviour.0] else {
            return Ok(false);
        };
        let b = &self.line.behaviours[behaviour.0];
        let call = self.call(b, led);
        let now_ns = self.stamp(b.on);
        let routine = &mut self.routines.all[index];
        let run = routine.program.run(&mut routine.memory, &call, now_ns);
        routine.count.runs += 1;
        routine.count.most_operations = routine.count.most_operations.max(run.operations);
        let mut allowed: Vec<Option<&Action>> = b.actions.iter().map(Some).collect();
        let mut fault = run.fault.map(|f| (f.line, f.column, f.message));
        for (deed, place) in run.deeds.into_iter().zip(run.places) {
            let deed = self.of_routine(behaviour, deed)?;
            if let Some(does) = beyond(self.line, &mut allowed, &deed)? {
                let why = format!("it {does}, more than its `do` allows in one run");
                fault = Some((place.line, place.column, why));
                break;
            }
            if let Some(field) = self.misread_instant(behaviour, &deed, led) {
                let why = format!(
                    "the field `{field}` cannot tell this instant: by its bits it is read as another, nearer to now"
                );
                fault = Some((place.line, place.column, why));
                break;
            }
            self.perform(behaviour, deed, led, started, root)?;
        }
        if let Some((line, column, why)) = fault {
            let what = What::Stopped {
                behaviour,
                line,
                column,
                why,
            };
            let stopped = self.record(Some(started), root, what);
            let routine = &mut self.routines.all[index];
            routine.stopped = true;
            routine.count.stops += 1;
            self.silent(led, stopped, Silence::Fails);
        } else {
            self.silent(led, started, Silence::NotGiven);
        }
        Ok(true)
    }

    /// A field of what a deed sends whose instant is read as another by whoever is told of it at this time, by the clock of the module.
    fn misread_instant(&self, behaviour: BehaviourIx, deed: &Deed, led: &Led) -> Option<String> {
        let (of, values) = match (deed, led) {
            (Deed::Publish { topic, values }, _) | (Deed::SendUp { topic, values, .. }, _) => {
                (Of::Topic(*topic), values)
            }
            (Deed::Ask { request, values }, _) => (Of::Question(*request), values),
            (Deed::Answer { values }, Led::Asked { request, .. }) => (Of::Answer(*request), values),
            _ => return None,
        };
        let now_ns = self.stamp(self.line.behaviours[behaviour.0].on)?;
        let layout = self.contents.layout(of)?;
        let field = layout.misread_instant(values.as_ref()?, now_ns)?;
        Some(field.to_owned())
    }

    /// A module stops: what its routines remember is lost, and they start anew with it.
    pub(super) fn forget_routines(&mut self, module: ModuleIx) {
        for routine in &mut self.routines.all {
            if self.line.behaviours[routine.first.0].on == module {
                routine.memory = Memory::default();
                routine.stopped = false;
            }
        }
    }

    fn call(&self, b: &plan::Behaviour, led: &Led) -> Call {
        match (&b.when, led) {
            (
                _,
                Led::Heard {
                    detector,
                    notice,
                    heard,
                },
            ) => {
                let text = |s: &str| Given::Text(s.to_owned());
                let mut event = vec![
                    (
                        "detector".to_owned(),
                        text(&self.line.detectors[detector.0].id),
                    ),
                    ("notice".to_owned(), text(notice_word(*notice))),
                ];
                for measure in Measure::ALL {
                    let value = heard.as_ref().and_then(|h| self.measure(h, measure, b.on));
                    let given = match value {
                        Some(network::Value::Number(x)) if measure == Measure::Pulses => {
                            Given::Whole(x as i64)
                        }
                        Some(network::Value::Number(x)) => Given::Number(x),
                        Some(network::Value::Time(at_ns)) => Given::Whole(at_ns),
                        _ => Given::Nothing,
                    };
                    event.push((measure.word().to_owned(), given));
                }
                Call::Heard(event)
            }
            (_, Led::Told { topic, content }) => Call::Told {
                topic: self.line.topics[topic.0].name.clone(),
                values: self.given(Of::Topic(*topic), content.as_deref()),
            },
            (
                _,
                Led::Asked {
                    request, content, ..
                },
            ) => Call::Asked {
                request: self.line.requests[request.0].id.clone(),
                values: self.given(Of::Question(*request), content.as_deref()),
            },
            (
                _,
                Led::Answered {
                    request,
                    content,
                    after,
                },
            ) => Call::Answered {
                request: self.line.requests[request.0].id.clone(),
                values: self.given(Of::Answer(*request), content.as_deref()),
                after_s: after.as_s_f64(),
            },
            (_, Led::Unanswered { request, why }) => Call::Unanswered {
                request: self.line.requests[request.0].id.clone(),
                why: *why,
            },
            (plan::When::Voted { .. }, _) => Call::Voted,
            _ => Call::Each,
        }
    }

    /// What a message holds, by the names of its fields.
    fn given(&self, of: Of, content: Option<&Content>) -> Option<Vec<(String, Given)>> {
        let pairs = of.fields(self.line).iter().zip(&content?.values);
        Some(
            pairs
                .map(|(field, value)| (field.name().to_owned(), given(field, *value)))
                .collect(),
        )
    }

    fn of_routine(
        &self,
        behaviour: BehaviourIx,
        deed: routine::Deed,
    ) -> Result<Deed, RehearsalError> {
        let b = &self.line.behaviours[behaviour.0];
        let names = &b
            .routine
            .as_ref()
            .expect("only a routine does deeds of one")
            .names;
        let bound = |number: usize| names[number].1;
        let time = |seconds| assess::input::ns(|| format!("behaviour.{}", b.id), seconds);
        let held = |values: Option<Vec<Held>>| {
            values.map(|values| values.into_iter().map(of_held).collect::<Vec<_>>())
        };
        let kind = "a routine is bound to things of the kinds that it does things to";
        Ok(match deed {
            routine::Deed::Publish { topic, values } => match bound(topic) {
                BoundTo::Topic(topic) => Deed::Publish {
                    topic,
                    values: held(values),
                },
                _ => unreachable!("{kind}"),
            },
            routine::Deed::Ask { request, values } => match bound(request) {
                BoundTo::Request(request) => Deed::Ask {
                    request,
                    values: held(values),
                },
                _ => unreachable!("{kind}"),
            },
            routine::Deed::Set {
                detector,
                threshold_db,
                hold_off_s,
            } => match bound(detector) {
                BoundTo::Detector(detector) => Deed::Set {
                    detector,
                    threshold_db,
                    hold_off_s,
                },
                _ => unreachable!("{kind}"),
            },
            routine::Deed::Answer { values } => Deed::Answer {
                values: held(values),
            },
            routine::Deed::SendUp {
                uplink,
                topic,
                values,
            } => match (bound(uplink), bound(topic)) {
                (BoundTo::Uplink(uplink), BoundTo::Topic(topic)) => Deed::SendUp {
                    uplink,
                    topic,
                    own: values.is_some(),
                    values: held(values),
                },
                _ => unreachable!("{kind}"),
            },
            routine::Deed::Switch { output, on, for_s } => match bound(output) {
                BoundTo::Output(output) => Deed::Switch {
                    output,
                    on,
                    for_time: for_s.map(time).transpose()?,
                },
                _ => unreachable!("{kind}"),
            },
            routine::Deed::Enter { state, for_s } => match bound(state) {
                BoundTo::State(state) => Deed::Enter {
                    state,
                    for_time: time(for_s)?,
                },
                _ => unreachable!("{kind}"),
            },
            routine::Deed::Log { text } => Deed::Log { text },
        })
    }
}

fn notice_word(notice: NoticeKind) -> &'static str {
    match notice {
        NoticeKind::Onset => "onset",
        NoticeKind::Confirmed => "confirmed",
        NoticeKind::Ended => "ended",
    }
}

fn of_held(held: Held) -> network::Value {
    match held {
        Held::NoData => network::Value::NoData,
        Held::Number(x) => network::Value::Number(x),
        Held::Choice(choice) => network::Value::Choice(choice),
        Held::Flag(yes) => network::Value::Flag(yes),
        Held::Time(at_ns) => network::Value::Time(at_ns),
    }
}

fn given(field: &TopicField, value: network::Value) -> Given {
    match (value, field) {
        (network::Value::Number(x), _) => Given::Number(x),
        (network::Value::Flag(yes), _) => Given::Flag(yes),
        (network::Value::Time(at_ns), _) => Given::Whole(at_ns),
        (network::Value::Choice(choice), TopicField::Choice { values, .. }) => values
            .get(choice as usize)
            .map_or(Given::Nothing, |text| Given::Text(text.clone())),
        (network::Value::Choice(_) | network::Value::NoData, _) => Given::Nothing,
    }
}

/// Takes from what one run may still do the least that this deed needs; else what it does beyond that, in words.
fn beyond(
    line: &Line,
    allowed: &mut [Option<&Action>],
    deed: &Deed,
) -> Result<Option<String>, RehearsalError> {
    if matches!(deed, Deed::Log { .. }) {
        return Ok(None);
    }
    let time = |seconds| assess::input::ns(|| "a behaviour's `for`".to_owned(), seconds);
    let mut least: Option<(usize, u64)> = None;
    for (i, action) in allowed.iter().enumerate() {
        // An action that lasts for good comes last.
        let costs = match (deed, action) {
            (Deed::Publish { topic, .. }, Some(Action::Publish { topic: t, .. })) if topic == t => {
                Some(0)
            }
            (
                Deed::SendUp { uplink, topic, .. },
                Some(Action::SendUp {
                    uplink: u,
                    topic: t,
                    ..
                }),
            ) if uplink == u && topic == t => Some(0),
            (Deed::Ask { request, .. }, Some(Action::Ask { request: q, .. })) if request == q => {
                Some(0)
            }
            (Deed::Answer { .. }, Some(Action::Answer { .. })) => Some(0),
            (Deed::Set { detector, .. }, Some(Action::Set { detector: d, .. }))
                if detector == d =>
            {
                Some(0)
            }
            (
                Deed::Switch {
                    output,
                    on,
                    for_time,
                },
                Some(Action::Switch {
                    output: o,
                    on: to,
                    for_s,
                }),
            ) if output == o && on == to => match (for_time, for_s) {
                (_, None) => Some(u64::MAX),
                (Some(wanted), Some(most)) => {
                    let most = time(most.si)?;
                    (*wanted <= most).then_some(most.0)
                }
                (None, Some(_)) => None,
            },
            (
                Deed::Enter { state, for_time },
                Some(Action::Enter {
                    state: s,
                    for_s: most,
                }),
            ) if state == s => {
                let most = time(most.si)?;
                (*for_time <= most).then_some(most.0)
            }
            _ => None,
        };
        if let Some(costs) = costs
            && least.is_none_or(|(_, least)| costs < least)
        {
            least = Some((i, costs));
        }
    }
    if let Some((i, _)) = least {
        allowed[i] = None;
        return Ok(None);
    }
    let lasting = |time: &Option<Ns>| {
        time.map_or_else(
            || " for good".to_owned(),
            |t| format!(" for {} s", t.as_s_f64()),
        )
    };
    Ok(Some(match deed {
        Deed::Publish { topic, .. } => format!("publishes {}", line.topics[topic.0].name),
        Deed::SendUp { uplink, topic, .. } => format!(
            "sends {} up uplink.{}",
            line.topics[topic.0].name, line.uplinks[uplink.0].id
        ),
        Deed::Switch {
            output,
            on,
            for_time,
        } => format!(
            "switches {} {}{}",
            line.output_path(*output),
            if *on { "on" } else { "off" },
            lasting(for_time)
        ),
        Deed::Enter { for_time, .. } => format!("enters a state{}", lasting(&Some(*for_time))),
        Deed::Ask { request, .. } => format!("asks request.{}", line.requests[request.0].id),
        Deed::Answer { .. } => "answers a request".to_owned(),
        Deed::Set { detector, .. } => {
            format!("sets detector.{}", line.detectors[detector.0].id)
        }
        Deed::Log { .. } => unreachable!("a line of the log is always allowed"),
    }))
}
