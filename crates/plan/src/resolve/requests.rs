//! Requests and joining notices, and who asks whom.

use super::content::{Filled, Led, content};
use super::talk::{most, whole};
use super::topic_field::{different, topic_field};
use super::{Resolver, ix_of};
use crate::line::{
    Action, Behaviour, Joining, Line, ModuleIx, Payload, Request, RequestIx, Unwritten, When,
};
use crate::mistake::{Code, Mistake};
use crate::read::Fields;
use crate::site::Site;

/// Priority of what says none.
const PRIORITY: u8 = 1;

pub(super) fn requests(r: &mut Resolver<'_>, root: &Fields, line: &mut Line) {
    for (id, f) in root.keyed("request") {
        r.part = format!("request.{id}");
        if let Some(request) = request(r, id, f, line) {
            line.requests.push(request);
        }
    }
    "joining".clone_into(&mut r.part);
    if let Some((f, at)) = root.table("joining") {
        line.joining = joining(r, f, at, line);
    }
    // Without [traffic] this is told once, at the first of them.
    if line.traffic.is_none() && !root.has("traffic") {
        let first = line.requests.first().map(|q| q.at);
        if let Some(at) = first.or(line.joining.map(|j| j.at)) {
            r.tell(
                Mistake::error(
                    Code::MissingKey,
                    at,
                    "nothing says how messages are framed on the links",
                )
                .label("this is sent over the line")
                .help("add [traffic] with stack = [\"ethernet\", \"ipv6\", \"udp\"] and packet = \"1400 B\""),
            );
        }
    }
}

fn request(r: &mut Resolver<'_>, id: &str, f: &Fields, line: &Line) -> Option<Request> {
    let to = r.module(line, f, "to");
    let question = payload(r, f, ["question", "question_fields"]);
    let answer = payload(r, f, ["answer", "answer_fields"]);
    if f.is_wrong("priority") || f.is_wrong("at_most") {
        return None;
    }
    let priority = priority(r, f);
    Some(Request {
        id: id.to_owned(),
        at: f.site,
        to: to?,
        question: question?,
        answer: answer?,
        within_s: f.q("within")?,
        priority,
        at_most: most(r, f),
    })
}

/// What a question or an answer carries, under the key of its size or that of its fields.
fn payload(
    r: &mut Resolver<'_>,
    f: &Fields,
    [of, of_fields]: [&'static str; 2],
) -> Option<Payload> {
    if f.has(of) == f.has(of_fields) {
        r.tell(
            Mistake::error(
                Code::KeyConflict,
                f.site_of(of_fields).unwrap_or(f.site),
                format!("the {of} of a request has either fields or a size"),
            )
            .label(if f.has(of) {
                "both here"
            } else {
                "neither here"
            })
            .help(if f.has(of) {
                format!("remove `{of}` or `{of_fields}`")
            } else {
                format!("add `{of_fields} = [ ... ]` for a packed payload, or `{of} = \"20 B\"`")
            }),
        );
        return None;
    }
    if f.has(of) {
        let (size, site) = f.amount(of)?;
        return whole(r, size.si, site).map(Payload::Size);
    }
    if f.is_wrong(of_fields) {
        return None;
    }
    let read: Vec<_> = f
        .tables(of_fields)
        .iter()
        .map(|x| topic_field(r, x))
        .collect();
    different(r, f, of_fields);
    Some(Payload::Fields(read.into_iter().collect::<Option<_>>()?))
}

fn joining(r: &mut Resolver<'_>, f: &Fields, at: Site, line: &Line) -> Option<Joining> {
    let taken = line.topics.iter().find(|t| t.name.starts_with("joining/"));
    if let Some(topic) = taken {
        r.tell(
            Mistake::error(
                Code::KeyConflict,
                topic.at,
                "topics that begin with `joining/` are those of joining notices",
            )
            .label("declared as a topic")
            .related(at, "the joining notices")
            .help("give the topic another name"),
        );
        return None;
    }
    let size_bytes = match f.amount("size") {
        Some((size, site)) => Some(whole(r, size.si, site)?),
        None if f.is_wrong("size") => return None,
        None => None,
    };
    if f.is_wrong("priority") || f.is_wrong("to") {
        return None;
    }
    Some(Joining {
        at,
        size_bytes,
        priority: priority(r, f),
        to_all: f.choice("to").is_some_and(|(w, _)| *w == "all"),
    })
}

fn priority(r: &mut Resolver<'_>, f: &Fields) -> u8 {
    if !f.has("priority") {
        r.unwritten(Unwritten::Priority);
    }
    let written = f.count("priority");
    written.map_or(PRIORITY, |(n, _)| u8::try_from(*n).unwrap_or(PRIORITY))
}

fn of(
    r: &mut Resolver<'_>,
    line: &Line,
    f: &Fields,
    key: &'static str,
) -> Option<(RequestIx, Site)> {
    let (_, path, site) = r.reference(f, key)?;
    let request = ix_of(&line.requests, path, |q| &q.id).map(RequestIx)?;
    Some((request, site))
}

/// What starts a behaviour that is asked, answered, or waits in vain.
pub(super) fn starts(
    r: &mut Resolver<'_>,
    line: &Line,
    on: ModuleIx,
    f: &Fields,
    key: &'static str,
) -> Option<When> {
    let (request, site) = of(r, line, f, key)?;
    let asked = key == "when_asked";
    let to = line.requests[request.0].to;
    if asked && to == on {
        return Some(When::Asked { request });
    }
    if !asked && to != on {
        return Some(if key == "when_answered" {
            When::Answered { request }
        } else {
            When::Unanswered { request }
        });
    }
    let whom = format!("this request is to module.{}", line.modules[to.0].id);
    let (why, help) = if asked {
        (
            "a module answers only what it is asked itself",
            "let a behaviour of that module start with `when_asked`",
        )
    } else {
        (
            "a module does not ask itself",
            "start it on the module that asks",
        )
    };
    r.tell(
        Mistake::error(Code::KeyConflict, site, why)
            .label(whom)
            .help(help),
    );
    None
}

/// The action `ask`.
pub(super) fn ask(
    r: &mut Resolver<'_>,
    line: &Line,
    on: ModuleIx,
    led: Led<'_>,
    f: &Fields,
) -> Option<Action> {
    let (request, site) = of(r, line, f, "ask")?;
    others_answer(r, line, on, request, site)?;
    let values = content(r, line, f, Filled::question(line, request), led)?;
    Some(Action::Ask { request, values })
}

/// A module asks only others.
pub(super) fn others_answer(
    r: &mut Resolver<'_>,
    line: &Line,
    on: ModuleIx,
    request: RequestIx,
    site: Site,
) -> Option<()> {
    if line.requests[request.0].to != on {
        return Some(());
    }
    r.tell(
        Mistake::error(Code::KeyConflict, site, "a module does not ask itself")
            .label("this request is to the module on which the behaviour runs")
            .help("ask on another module"),
    );
    None
}

/// The action `answer`.
pub(super) fn answer(
    r: &mut Resolver<'_>,
    line: &Line,
    (led, asked): (Led<'_>, Option<RequestIx>),
    f: &Fields,
) -> Option<Action> {
    let (request, site) = of(r, line, f, "answer")?;
    if asked == Some(request) {
        let values = content(r, line, f, Filled::answer(line, request), led)?;
        return Some(Action::Answer { request, values });
    }
    r.tell(
        Mistake::error(
            Code::KeyConflict,
            site,
            "a behaviour answers only the question that starts it",
        )
        .label("this question does not start it")
        .help(format!(
            "start it with `when_asked = \"request.{}\"`",
            line.requests[request.0].id
        )),
    );
    None
}

/// Warns of requests that nobody makes or nobody answers.
pub(super) fn answered(r: &mut Resolver<'_>, line: &Line) {
    if r.declared.lost("behaviour", line.behaviours.len()) {
        return;
    }
    for (q, request) in line.requests.iter().enumerate() {
        r.part = format!("request.{}", request.id);
        let does = |wanted: fn(&Action) -> Option<RequestIx>| {
            let mut all = line.behaviours.iter().flat_map(|b| &b.actions);
            all.any(|a| wanted(a) == Some(RequestIx(q)))
        };
        let asks = does(|a| match a {
            Action::Ask { request, .. } => Some(*request),
            _ => None,
        });
        let answers = does(|a| match a {
            Action::Answer { request, .. } => Some(*request),
            _ => None,
        });
        if !asks {
            r.tell(
                Mistake::warning(
                    Code::NobodyPublishes,
                    request.at,
                    format!("nobody makes the request `{}`", request.id),
                )
                .label("declared, never asked")
                .help("add an action `ask` to a behaviour, or remove the request"),
            );
        } else if !answers {
            r.tell(
                Mistake::warning(
                    Code::NobodyHears,
                    request.at,
                    format!("nobody answers the request `{}`", request.id),
                )
                .label("asked, never answered")
                .help(format!(
                    "add a behaviour of module.{} with `when_asked` and the action `answer`",
                    line.modules[request.to.0].id
                )),
            );
        }
        answered_once(r, line, RequestIx(q));
    }
}

/// Warns of behaviours that a question starts beside another one that answers it.
fn answered_once(r: &mut Resolver<'_>, line: &Line, request: RequestIx) {
    let answers = |b: &&Behaviour| {
        let does = |a: &Action| matches!(a, Action::Answer { request: q, .. } if *q == request);
        let started = matches!(b.when, When::Asked { request: q } if q == request);
        started && b.actions.iter().any(does)
    };
    let id = &line.requests[request.0].id;
    let mut all = line.behaviours.iter().filter(answers);
    // Of the answers that a routine may give it gives one.
    for rule in all.clone().filter(|b| b.routine.is_none()) {
        let does = |a: &&Action| matches!(a, Action::Answer { .. });
        if rule.actions.iter().filter(does).count() > 1 {
            r.tell(
                Mistake::warning(
                    Code::KeyConflict,
                    rule.at,
                    format!(
                        "`behaviour.{}` answers the request `{id}` more than once",
                        rule.id
                    ),
                )
                .label("the first answer of its `do` is sent, and those after it are held back")
                .help("leave one `answer` in its `do`"),
            );
        }
    }
    let Some(first) = all.next() else {
        return;
    };
    for other in all {
        r.tell(
            Mistake::warning(
                Code::KeyConflict,
                other.at,
                format!("two behaviours answer the request `{id}`"),
            )
            .label(format!(
                "`behaviour.{}` runs before it, as their ids are in order: where that answers, this answer is held back",
                first.id
            ))
            .related(first.at, "the one that runs before it")
            .help("leave `answer` to one of them"),
        );
    }
}
