//! Behaviours with their actions, and who hears whom.

use super::content::{Filled, Led, content};
use super::routines;
use super::talk::{state, topic};
use super::{Resolver, ix_of, output_of, requests, settings};
use crate::line::{Action, Behaviour, Line, ModuleIx, RequestIx, UplinkIx, When};
use crate::mistake::{Code, Mistake};
use crate::read::{Fields, join};
use crate::site::Site;
use crate::tables::{ACTION, ACTIONS, Kind};
use crate::topic_name;

pub(super) fn behaviours(r: &mut Resolver<'_>, root: &Fields, line: &mut Line) {
    for (id, f) in root.keyed("behaviour") {
        r.part = format!("behaviour.{id}");
        if let Some(behaviours) = behaviour(r, id, f, line) {
            line.behaviours.extend(behaviours);
        }
    }
}

const STARTS: [&str; 7] = [
    "when_heard",
    "when_voted",
    "when_told",
    "when_asked",
    "when_answered",
    "when_unanswered",
    "each",
];

/// A behaviour; a routine that several things start once for each.
fn behaviour(r: &mut Resolver<'_>, id: &str, f: &Fields, line: &Line) -> Option<Vec<Behaviour>> {
    let on = r.module(line, f, "on");
    let starts: Vec<&'static str> = STARTS.into_iter().filter(|k| f.has(k)).collect();
    if starts.is_empty() || starts.len() > 1 && !f.has("routine") {
        r.tell(
            Mistake::error(Code::KeyConflict, f.site, "a behaviour is started by exactly one thing")
                .label(if starts.is_empty() { "nothing starts it" } else { "several things start it" })
                .help("give it one of: when_heard = \"detector.ID.confirmed\", when_voted = \"vote.ID\", when_told = \"topic/filter\", when_asked = \"request.ID\", when_answered = \"request.ID\", when_unanswered = \"request.ID\", each = \"10 min\""),
        );
        return None;
    }
    let on = on?;
    let routine = routines::routine(r, line, on, f)?;
    if routine.is_some()
        && let Some(site) = f.site_of("when_unanswered")
    {
        r.tell(
            Mistake::error(
                Code::KeyConflict,
                site,
                "a routine learns with `when_answered` that there is no answer",
            )
            .label("this behaviour is a routine")
            .help("write `when_answered` instead; its answer then says what went wrong"),
        );
        return None;
    }
    let whens: Vec<Option<When>> = starts
        .into_iter()
        .map(|start| when(r, line, on, f, start))
        .collect();
    let whens: Vec<When> = whens.into_iter().collect::<Option<_>>()?;
    let led = match (whens.as_slice(), &routine) {
        ([when], None) => Led::by(when),
        _ => Led::Routine,
    };
    let asked = whens.iter().find_map(|when| match when {
        When::Asked { request } => Some(*request),
        _ => None,
    });
    let actions: Vec<Option<Option<Action>>> = f
        .tables("do")
        .iter()
        .map(|a| match lost_uplink(r, line, a) {
            true => Some(None),
            false => action(r, line, on, (led, asked), a).map(Some),
        })
        .collect();
    let actions: Vec<Option<Action>> = actions.into_iter().collect::<Option<_>>()?;
    let actions: Vec<Action> = actions.into_iter().flatten().collect();
    let at_most = super::talk::most(r, f);
    let one = |when| Behaviour {
        id: id.to_owned(),
        at: f.site,
        on,
        when,
        actions: actions.clone(),
        routine: routine.clone(),
        at_most,
    };
    Some(whens.into_iter().map(one).collect())
}

/// Whether an action sends on an uplink that a mistake has taken out of the line: what else the behaviour does does not rest on that.
fn lost_uplink(r: &Resolver<'_>, line: &Line, f: &Fields) -> bool {
    f.reference("send_up").is_some_and(|(_, path, _)| {
        r.declared.has(path) && ix_of(&line.uplinks, path, |u| &u.id).is_none()
    })
}

fn when(
    r: &mut Resolver<'_>,
    line: &Line,
    on: ModuleIx,
    f: &Fields,
    start: &'static str,
) -> Option<When> {
    Some(match start {
        "when_told" => When::Told {
            filter: f.text("when_told")?.0.clone(),
        },
        "each" => When::Each {
            period_s: f.q("each")?,
        },
        "when_asked" | "when_answered" | "when_unanswered" => {
            requests::starts(r, line, on, f, start)?
        }
        "when_voted" => {
            let (vote, site) = r.vote(line, f, "when_voted")?;
            let counts = line.votes[vote.0].on;
            if counts != on {
                let label = format!("this vote counts on module.{}", line.modules[counts.0].id);
                only_its_own(r, site, "votes", label);
                return None;
            }
            When::Voted { vote }
        }
        _ => {
            let (detector, notice, site) = r.notice(line, f, "when_heard")?;
            let hears = line.detectors[detector.0].on.module;
            if hears != on {
                let label = format!("this detector runs on module.{}", line.modules[hears.0].id);
                only_its_own(r, site, "detectors", label);
                return None;
            }
            When::Heard { detector, notice }
        }
    })
}

fn only_its_own(r: &mut Resolver<'_>, site: Site, what: &str, label: String) {
    r.tell(
        Mistake::error(
            Code::KeyConflict,
            site,
            format!("a module learns only of its own {what}"),
        )
        .label(label)
        .help("let that module publish a topic and start here with `when_told`"),
    );
}

fn action(
    r: &mut Resolver<'_>,
    line: &Line,
    on: ModuleIx,
    (led, asked): (Led<'_>, Option<RequestIx>),
    f: &Fields,
) -> Option<Action> {
    let kinds: Vec<&Kind> = ACTIONS
        .iter()
        .filter(|k| f.keys().any(|e| e == k.word))
        .collect();
    let [kind] = kinds.as_slice() else {
        r.tell(
            Mistake::error(Code::KeyConflict, f.site, "an action is exactly one thing")
                .label(if kinds.is_empty() {
                    "nothing is done here"
                } else {
                    "several things in one"
                })
                .help(format!(
                    "give it one of: {}",
                    join(ACTIONS.iter().map(|k| k.word))
                )),
        );
        return None;
    };
    if !r.keys_fit(
        f,
        &ACTION,
        kind,
        &[],
        &format!("the action `{}`", kind.word),
    ) {
        return None;
    }
    match kind.word {
        "publish" => {
            let (name, site) = f.text("publish")?;
            let topic = topic(r, line, name, site)?;
            Some(Action::Publish {
                topic,
                values: content(r, line, f, Filled::topic(line, topic), led)?,
            })
        }
        "switch" => {
            let (_, path, site) = r.reference(f, "switch")?;
            let output = output_of(line, path)?;
            own_module(
                r,
                line,
                on,
                output.module,
                site,
                "an output is switched by its own module",
            )?;
            let (to, _) = f.choice("to")?;
            Some(Action::Switch {
                output,
                on: *to == "on",
                for_s: f.q("for"),
            })
        }
        "send_up" => {
            let (_, path, site) = r.reference(f, "send_up")?;
            let uplink = ix_of(&line.uplinks, path, |u| &u.id).map(UplinkIx)?;
            own_module(
                r,
                line,
                on,
                line.uplinks[uplink.0].module,
                site,
                "an uplink is used by its own module",
            )?;
            let (name, about) = f.text("about")?;
            let topic = topic(r, line, name, about)?;
            Some(Action::SendUp {
                uplink,
                topic,
                values: content(r, line, f, Filled::topic(line, topic), led)?,
            })
        }
        "enter" => {
            let (name, site) = f.text("enter")?;
            let for_s = f.q("for")?;
            Some(Action::Enter {
                state: state(r, line, on, name, site)?,
                for_s,
            })
        }
        "set" => settings::set(r, line, on, matches!(led, Led::Routine), f),
        "ask" => requests::ask(r, line, on, led, f),
        "answer" => requests::answer(r, line, (led, asked), f),
        _ => Some(Action::Log {
            text: f.text("log")?.0.clone(),
        }),
    }
}

pub(super) fn own_module(
    r: &mut Resolver<'_>,
    line: &Line,
    on: ModuleIx,
    of: ModuleIx,
    site: Site,
    why: &str,
) -> Option<()> {
    if on == of {
        return Some(());
    }
    r.tell(
        Mistake::error(Code::KeyConflict, site, why)
            .label(format!(
                "this is at module.{}, the behaviour runs on module.{}",
                line.modules[of.0].id, line.modules[on.0].id
            ))
            .help(
                "publish a topic here, and let a behaviour of that module start with `when_told`",
            ),
    );
    None
}

/// Whether a mistake has taken a behaviour that is written out of the line, or what it sends up with an uplink.
pub(super) fn some_lost(r: &Resolver<'_>, line: &Line) -> bool {
    let mut behaviours: Vec<&str> = line.behaviours.iter().map(|b| b.id.as_str()).collect();
    behaviours.dedup();
    let heartbeats = line.modules.iter().filter_map(|m| m.heartbeat);
    let written = behaviours.len() - heartbeats.count();
    r.declared.lost("behaviour", written) || r.declared.lost("uplink", line.uplinks.len())
}

/// Warns of topics that nobody publishes or nobody hears, and of filters that match nothing.
///
/// Not asked while topics or behaviours have other mistakes: it would only repeat them.
pub(super) fn heard(r: &mut Resolver<'_>, line: &Line) {
    let heartbeats = || line.modules.iter().filter_map(|m| m.heartbeat);
    if r.declared.lost("topic", line.topics.len()) || some_lost(r, line) {
        return;
    }
    let goes_ashore = |t: usize| heartbeats().any(|h| h.topic.0 == t && h.by.is_some());
    let published = |t: usize| {
        line.behaviours.iter().any(|b| {
            b.actions
                .iter()
                .any(|a| matches!(a, Action::Publish { topic, .. } if topic.0 == t))
        })
    };
    // What is sent up when it is told must be told by somebody.
    let sent_up = |t: usize| {
        let name = &line.topics[t].name;
        line.behaviours.iter().any(|b| {
            b.actions
                .iter()
                .any(|a| matches!(a, Action::SendUp { topic, .. } if topic.0 == t))
                && !matches!(&b.when, When::Told { filter } if topic_name::matches(filter, name))
        })
    };
    let told = |name: &str| {
        line.behaviours
            .iter()
            .any(|b| matches!(&b.when, When::Told { filter } if topic_name::matches(filter, name)))
            || line.votes.iter().any(|v| {
                v.of.iter()
                    .filter(|d| line.detectors[d.0].on.module != v.on)
                    .flat_map(|d| line.tellers(*d))
                    .any(|(_, topic)| line.topics[topic.0].name == name)
            })
    };
    for (t, topic) in line.topics.iter().enumerate() {
        r.part = format!("topic.{}", topic.name);
        if !published(t) && !sent_up(t) {
            r.tell(
                Mistake::warning(
                    Code::NobodyPublishes,
                    topic.at,
                    format!("nobody publishes `{}`", topic.name),
                )
                .label("declared, never published")
                .help("add an action `publish` to a behaviour, or remove the topic"),
            );
        } else if published(t) && !told(&topic.name) && !goes_ashore(t) {
            r.tell(
                Mistake::warning(
                    Code::NobodyHears,
                    topic.at,
                    format!("nobody hears `{}`", topic.name),
                )
                .label("published, but no behaviour is started by it and no vote counts it")
                .help("add a behaviour with a matching `when_told`"),
            );
        }
    }
    for behaviour in &line.behaviours {
        r.part = format!("behaviour.{}", behaviour.id);
        if let When::Told { filter } = &behaviour.when
            && !line
                .topics
                .iter()
                .any(|t| topic_name::matches(filter, &t.name))
            && !(line.joining.is_some()
                && line
                    .modules
                    .iter()
                    .any(|m| topic_name::matches(filter, &format!("joining/{}", m.id))))
        {
            r.tell(
                Mistake::warning(
                    Code::NobodyPublishes,
                    behaviour.at,
                    format!("no topic matches `{filter}`"),
                )
                .label("this behaviour never starts"),
            );
        }
    }
}
