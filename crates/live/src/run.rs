//! A rehearsal along the wall clock, mirrored to a broker, with what comes in from the world.

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::{Duration, Instant};

use assess::input::{InputError, layout, payload_bytes, request_layouts};
use network::Layout;
use plan::{CueSheet, Line, ModuleIx, Payload, RequestIx, TopicIx};
use rehearsal::{
    AnswerFromOutside, AskStep, Content, FromOutside, Outcome, Record, RehearsalError, Steps, What,
};
use serde_json::json;
use timeline::Ns;

use crate::form::Form;
use crate::link::{Link, LinkError};
use crate::names::Names;
use crate::pace::Pace;
use crate::refused::{MOST_BYTES, Refused, shown};
use crate::waiting::{Counts, Message};

/// Longest step, of the rehearsal's time: what comes in waits no longer than one takes.
const LONGEST_STEP: Ns = Ns(1_000_000_000);
/// How often the rehearsal moves on the wall clock.
const BEAT: Duration = Duration::from_millis(20);
/// How often its state is told.
const STATUS_EVERY: Duration = Duration::from_secs(5);
/// From here on it is told that the rehearsal is late, and again each time it is twice as late.
const LATE: Duration = Duration::from_secs(1);
/// How long the end waits until all has been told.
const LEAVE: Duration = Duration::from_secs(5);
/// The same of a rehearsal that was stopped.
const LEAVE_AT_ONCE: Duration = Duration::from_secs(1);

/// How a rehearsal is run along the wall clock.
#[derive(Clone, Debug)]
pub struct Settings {
    /// The pace.
    pub pace: Pace,
    /// Whether the rehearsal waits while there is no connection or the queue is more than half full, instead of going on.
    pub wait: bool,
    /// How payloads are written, and read where they do not say their content type.
    pub form: Form,
}

/// Why a rehearsal along the wall clock stopped.
#[derive(Debug, thiserror::Error)]
pub enum LiveError {
    /// The rehearsal itself.
    #[error(transparent)]
    Rehearsal(Box<RehearsalError>),
    /// The link.
    #[error(transparent)]
    Link(#[from] LinkError),
    /// A topic's fields cannot be laid out.
    #[error(transparent)]
    Input(#[from] InputError),
    /// The plan has no messages.
    #[error(
        "the plan says nothing of how messages are framed ([traffic]), so that there is nothing to mirror"
    )]
    NoTraffic,
}

impl From<RehearsalError> for LiveError {
    fn from(error: RehearsalError) -> LiveError {
        LiveError::Rehearsal(Box::new(error))
    }
}

/// A message that came in and entered the rehearsal.
#[derive(Clone, Debug, PartialEq)]
pub struct Entered {
    /// When.
    pub at: Ns,
    /// The message.
    pub message: FromOutside,
}

/// An answer that came in and entered the rehearsal.
#[derive(Clone, Debug, PartialEq)]
pub struct EnteredAnswer {
    /// When.
    pub at: Ns,
    /// The answer.
    pub answer: AnswerFromOutside,
}

/// What a rehearsal along the wall clock was beside its outcome.
#[derive(Clone, Debug, Default)]
pub struct Lived {
    /// What came in and entered, in its order.
    pub entered: Vec<Entered>,
    /// The same of answers.
    pub answers: Vec<EnteredAnswer>,
    /// How many that came in were not taken, by a word for why.
    pub refused: BTreeMap<&'static str, u64>,
    /// Values that lay outside their field and became the end of it.
    pub clamped: u64,
    /// Messages published and delivered and questions that were to be mirrored.
    pub mirrored: u64,
    /// Messages that have no form as asked for.
    pub no_form: u64,
    /// The latest that the rehearsal was.
    pub latest: Duration,
    /// How long it waited.
    pub held: Duration,
    /// What became of all that was to be told: what is mirrored, the state, and what was refused.
    pub counts: Counts,
}

impl Lived {
    /// Whether anything came in and entered.
    #[must_use]
    pub fn came_in(&self) -> bool {
        !(self.entered.is_empty() && self.answers.is_empty())
    }

    /// How many that came in were not taken.
    #[must_use]
    pub fn refusals(&self) -> u64 {
        self.refused.values().sum()
    }
}

/// Something to tell the user at once.
#[derive(Debug)]
pub enum Told<'a> {
    /// A message that came in was not taken. Its texts are as they may be shown ([`shown`](crate::shown)).
    Refused {
        /// Its topic at the broker.
        topic: String,
        /// Why.
        why: String,
    },
    /// The connection broke.
    Broke {
        /// Why.
        why: &'a str,
    },
    /// There is a connection again.
    Back,
    /// The rehearsal is late.
    Late {
        /// By how much.
        by: Duration,
    },
    /// A message is not mirrored because the queue is full; told once for each time it fills.
    Full {
        /// How many messages it holds.
        most: usize,
    },
}

/// Something of the rehearsal to mirror.
struct Fresh {
    what: FreshWhat,
    at: Ns,
    /// Number of the message, or of the question.
    number: u64,
    content: Option<Arc<Content>>,
}

#[derive(Clone, Copy)]
enum FreshWhat {
    Published(ModuleIx, TopicIx),
    Delivered(ModuleIx, TopicIx),
    /// A question has reached its module.
    Asked(RequestIx),
}

/// Layouts of all topics and requests, and the sizes of those without fields.
struct Forms {
    form: Form,
    layouts: Vec<Option<Layout>>,
    sizes: Vec<u32>,
    /// Of each request: its question and its answer.
    requests: Vec<[Option<Layout>; 2]>,
    answer_sizes: Vec<u32>,
    /// When the rehearsal begins, ns since 1970.
    starts_ns: Option<i64>,
}

/// Runs a rehearsal along the wall clock, from now on.
///
/// Records go to `sink` and `watch` may stop it, as in [`rehearsal::run`]; `tell` is told what the user should know at once. What came in
/// is in `lived`, also after an error.
///
/// # Errors
/// [`LiveError`].
#[expect(
    clippy::too_many_arguments,
    reason = "each is another thing of the caller's"
)]
pub fn run(
    line: &Line,
    cues: &CueSheet,
    names: &Names,
    settings: &Settings,
    mut link: Link,
    sink: &mut dyn FnMut(&Record),
    watch: &mut dyn FnMut(Ns) -> bool,
    tell: &mut dyn FnMut(&Told<'_>),
    lived: &mut Lived,
) -> Result<Outcome, LiveError> {
    if line.traffic.is_none() {
        return Err(LiveError::NoTraffic);
    }
    let forms = Forms::new(line, cues, settings.form)?;
    let fresh = RefCell::new(Vec::new());
    let mut on_record = |record: &Record| {
        sink(record);
        fresh.borrow_mut().extend(to_mirror(record));
    };
    let mut steps = Steps::new(line, cues, &mut on_record)?;
    let mut pace = settings.pace.clone();
    let mut state = State::default();
    let mut came_in = Vec::new();
    let begun = Instant::now();
    loop {
        let now = steps.now();
        if !watch(now) {
            let status = status("stopped", &steps, &pace, begun.elapsed(), lived, &link);
            let last = state_message(names, &status);
            lived.counts = close(link, LEAVE_AT_ONCE, last, tell, &mut lived.refused);
            return Err(RehearsalError::Cancelled { at: now }.into());
        }
        let attended = if settings.wait && must_wait(&link) {
            let from = Instant::now();
            let attended = link.attend(BEAT, &mut came_in);
            pace.hold(from.elapsed());
            attended
        } else {
            let longest = now.checked_add(LONGEST_STEP).unwrap_or(steps.end());
            // Whoever stops it is heard between two steps.
            steps.step_to(pace.due(begun.elapsed()).min(longest), &mut |_| true)?;
            for fresh in fresh.borrow_mut().drain(..) {
                mirror(&mut link, line, names, &forms, &fresh, lived);
            }
            let late = pace.late(steps.now(), begun.elapsed());
            state.late(late, tell);
            if steps.now() >= steps.end() {
                break;
            }
            let beat = Ns((BEAT.as_secs_f64() * pace.speed() * 1e9) as u64);
            let next = steps.now().checked_add(beat).unwrap_or(steps.end());
            let wait = pace.until(next, begun.elapsed()).min(BEAT);
            link.attend(wait, &mut came_in)
        };
        for message in came_in.drain(..) {
            let entered =
                forms
                    .take(line, names, &message, steps.now())
                    .and_then(|(taken, clamped)| {
                        match taken {
                            Taken::Message(message) => {
                                let at = steps.hand_in(message.clone()).ok_or(Refused::Over)?;
                                lived.entered.push(Entered { at, message });
                            }
                            Taken::Answer(answer) => {
                                let at = steps.hand_in_answer(answer.clone());
                                let at = at.map_err(Refused::Question)?;
                                lived.answers.push(EnteredAnswer { at, answer });
                            }
                        }
                        lived.clamped += clamped;
                        Ok(())
                    });
            if let Err(why) = entered {
                refuse(&mut link, names, &message, &why, tell, lived);
            }
        }
        attended?;
        state.link(&link, tell);
        lived.latest = pace.latest();
        lived.held = pace.held();
        if state.status_due(begun.elapsed()) {
            let status = status("running", &steps, &pace, begun.elapsed(), lived, &link);
            link.tell_state(state_message(names, &status));
        }
    }
    lived.latest = pace.latest();
    lived.held = pace.held();
    let status = status("ended", &steps, &pace, begun.elapsed(), lived, &link);
    let last = state_message(names, &status);
    lived.counts = close(link, LEAVE, last, tell, &mut lived.refused);
    Ok(steps.finish())
}

fn must_wait(link: &Link) -> bool {
    let (waiting, most) = link.waiting();
    !link.is_connected() || 2 * waiting > most
}

fn to_mirror(record: &Record) -> Option<Fresh> {
    let (what, number, content) = match &record.what {
        What::Published {
            module,
            topic,
            message,
            content,
        } => (FreshWhat::Published(*module, *topic), message.0, content),
        What::Delivered {
            module,
            topic,
            message,
            content,
            ..
        } => (FreshWhat::Delivered(*module, *topic), message.0, content),
        What::Asking {
            request,
            ask,
            what: AskStep::Reached,
            content,
            ..
        } => (FreshWhat::Asked(*request), *ask, content),
        _ => return None,
    };
    Some(Fresh {
        what,
        at: record.at,
        number,
        content: content.clone(),
    })
}

fn mirror(
    link: &mut Link,
    line: &Line,
    names: &Names,
    forms: &Forms,
    fresh: &Fresh,
    lived: &mut Lived,
) {
    lived.mirrored += 1;
    let (topic, layout, number) = match fresh.what {
        FreshWhat::Published(module, topic) => {
            let layout = forms.layouts[topic.0].as_ref();
            (names.published(line, module, topic), layout, "message")
        }
        FreshWhat::Delivered(module, topic) => {
            let layout = forms.layouts[topic.0].as_ref();
            (names.delivered(line, module, topic), layout, "message")
        }
        FreshWhat::Asked(request) => {
            let layout = forms.requests[request.0][0].as_ref();
            (names.asked(line, request), layout, "ask")
        }
    };
    let Ok(payload) = forms.form.write(layout, fresh.content.as_deref()) else {
        lived.no_form += 1;
        return;
    };
    let known = layout.is_some() && fresh.content.is_some();
    let mut properties = vec![
        (number.to_owned(), fresh.number.to_string()),
        ("at_ns".to_owned(), fresh.at.0.to_string()),
    ];
    if !known {
        properties.push(("content".to_owned(), "not said".to_owned()));
    }
    let (mut response_topic, mut correlation) = (None, None);
    if let FreshWhat::Asked(request) = fresh.what {
        response_topic = Some(names.answer(line, request));
        correlation = Some(correlation_of(fresh.number));
    }
    link.tell(Message {
        topic: topic.into_bytes(),
        payload,
        content_type: known.then(|| forms.form.content_type().to_owned()),
        properties,
        response_topic,
        correlation,
        retained: false,
    });
}

/// What tells that an answer belongs to a question.
fn correlation_of(ask: u64) -> Vec<u8> {
    ask.to_string().into_bytes()
}

/// The question whose correlation data these are, byte for byte (OASIS MQTT 5.0, section 4.10.1): another way to write its number is none.
fn ask_of(correlation: &[u8]) -> Option<u64> {
    let ask = std::str::from_utf8(correlation).ok()?.parse().ok()?;
    (correlation_of(ask) == correlation).then_some(ask)
}

fn refuse(
    link: &mut Link,
    names: &Names,
    message: &Message,
    why: &Refused,
    tell: &mut dyn FnMut(&Told<'_>),
    lived: &mut Lived,
) {
    *lived.refused.entry(why.word()).or_insert(0) += 1;
    let topic = shown(&String::from_utf8_lossy(&message.topic));
    let why = shown(&why.to_string());
    let told = json!({ "topic": topic, "why": why });
    link.tell_aside(Message {
        topic: names.refused().into_bytes(),
        payload: told.to_string().into_bytes(),
        content_type: Some(Form::Json.content_type().to_owned()),
        properties: Vec::new(),
        response_topic: None,
        correlation: None,
        retained: false,
    });
    tell(&Told::Refused { topic, why });
}

/// Closes the link; what still comes in is not taken.
fn close(
    link: Link,
    longest: Duration,
    last: Message,
    tell: &mut dyn FnMut(&Told<'_>),
    refused: &mut BTreeMap<&'static str, u64>,
) -> Counts {
    link.close(longest, Some(last), &mut |message| {
        *refused.entry(Refused::Over.word()).or_insert(0) += 1;
        let topic = shown(&String::from_utf8_lossy(&message.topic));
        let why = Refused::Over.to_string();
        tell(&Told::Refused { topic, why });
    })
}

fn status(
    word: &str,
    steps: &Steps<'_>,
    pace: &Pace,
    passed: Duration,
    lived: &Lived,
    link: &Link,
) -> serde_json::Value {
    let late = pace.clone().late(steps.now(), passed);
    json!({
        "state": word,
        "at_s": steps.now().as_s_f64(),
        "end_s": steps.end().as_s_f64(),
        "speed": pace.speed(),
        "late_s": late.as_secs_f64(),
        "told": link.counts().told,
        "not_told": link.counts().not_told(),
        "entered": lived.entered.len() + lived.answers.len(),
        "refused": lived.refusals(),
    })
}

fn state_message(names: &Names, status: &serde_json::Value) -> Message {
    Message {
        topic: names.status().into_bytes(),
        payload: status.to_string().into_bytes(),
        content_type: Some(Form::Json.content_type().to_owned()),
        properties: Vec::new(),
        response_topic: None,
        correlation: None,
        retained: true,
    }
}

/// What came in and may enter.
enum Taken {
    Message(FromOutside),
    Answer(AnswerFromOutside),
}

impl Forms {
    fn new(line: &Line, cues: &CueSheet, form: Form) -> Result<Forms, InputError> {
        let start = cues.start.or(line.deployment.start);
        Ok(Forms {
            form,
            layouts: line.topics.iter().map(layout).collect::<Result<_, _>>()?,
            sizes: line
                .topics
                .iter()
                .map(payload_bytes)
                .collect::<Result<_, _>>()?,
            requests: line
                .requests
                .iter()
                .map(request_layouts)
                .collect::<Result<_, _>>()?,
            answer_sizes: line
                .requests
                .iter()
                .map(|q| match &q.answer {
                    Payload::Size(bytes) => *bytes,
                    Payload::Fields(_) => 0,
                })
                .collect(),
            starts_ns: start.and_then(|t| i64::try_from(t.as_nanosecond()).ok()),
        })
    }

    /// What a message that came in says, and how many of its values lay outside their field.
    fn take(
        &self,
        line: &Line,
        names: &Names,
        message: &Message,
        now: Ns,
    ) -> Result<(Taken, u64), Refused> {
        let bytes = message.payload.len();
        if bytes > MOST_BYTES {
            return Err(Refused::Large { bytes });
        }
        if message.retained {
            return Err(Refused::Retained);
        }
        let name = std::str::from_utf8(&message.topic).map_err(|_| Refused::NotText)?;
        let answers = names.read_answer(line, name).transpose()?;
        let form = match &message.content_type {
            Some(content_type) => Form::of(content_type)?,
            None => self.form,
        };
        let since = i64::try_from(now.0).ok();
        let received = self
            .starts_ns
            .zip(since)
            .and_then(|(s, n)| s.checked_add(n));
        if let Some(request) = answers {
            let data = message.correlation.as_deref();
            let ask = data.and_then(ask_of).ok_or(Refused::Correlation)?;
            let layout = self.requests[request.0][1].as_ref();
            let size = self.answer_sizes[request.0];
            let read = form.read(layout, size, &message.payload, received)?;
            let answer = AnswerFromOutside {
                request,
                ask,
                values: read.values,
            };
            return Ok((Taken::Answer(answer), read.clamped.len() as u64));
        }
        let (module, topic) = names.read(line, name)?;
        let layout = self.layouts[topic.0].as_ref();
        let read = form.read(layout, self.sizes[topic.0], &message.payload, received)?;
        let message = FromOutside {
            module,
            topic,
            values: read.values,
        };
        Ok((Taken::Message(message), read.clamped.len() as u64))
    }
}

/// What has been told to the user already.
#[derive(Default)]
struct State {
    late: Option<Duration>,
    broken: bool,
    /// Messages that found the queue full, and whether it was told since it last was half empty.
    full: u64,
    told_full: bool,
    status: Option<Duration>,
}

impl State {
    fn late(&mut self, late: Duration, tell: &mut dyn FnMut(&Told<'_>)) {
        if late >= self.late.map_or(LATE, |before| 2 * before) {
            self.late = Some(late);
            tell(&Told::Late { by: late });
        }
    }

    fn link(&mut self, link: &Link, tell: &mut dyn FnMut(&Told<'_>)) {
        let broken = !link.is_connected();
        if broken != self.broken {
            self.broken = broken;
            self.status = None;
            tell(&if broken {
                Told::Broke { why: link.why() }
            } else {
                Told::Back
            });
        }
        let full = link.counts().queue_full;
        let (waiting, most) = link.waiting();
        if full > self.full && !self.told_full {
            self.told_full = true;
            tell(&Told::Full { most });
        } else if 2 * waiting < most {
            self.told_full = false;
        }
        self.full = full;
    }

    fn status_due(&mut self, passed: Duration) -> bool {
        let due = self.status.is_none_or(|last| passed >= last + STATUS_EVERY);
        if due {
            self.status = Some(passed);
        }
        due
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The same bytes and no others, as OASIS MQTT 5.0, section 4.10.1, has it.
    #[test]
    fn verif_correlation_data_are_the_same_bytes() {
        for ask in [0, 9, 10, u64::MAX] {
            assert_eq!(ask_of(&correlation_of(ask)), Some(ask));
        }
        for other in [
            b"+9".as_slice(),
            b"09",
            b"010",
            b" 9",
            b"9 ",
            b"-0",
            b"",
            b"\xff",
        ] {
            assert_eq!(ask_of(other), None, "{other:?}");
        }
    }
}
