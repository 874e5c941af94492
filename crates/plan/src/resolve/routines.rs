//! Routines: what their names stand for, and their constants.

use std::path::Path;
use std::sync::Arc;

use routine::Setting;

use super::behaviours::own_module;
use super::requests::others_answer;
use super::talk::{state, topic};
use super::{Resolver, ix_of, output_of, settings};
use crate::field::RefKind;
use crate::line::{BoundTo, Line, ModuleIx, RequestIx, Routine, UplinkIx};
use crate::mistake::{Code, Mistake};
use crate::node::{Entry, Node, Value};
use crate::read::Fields;

/// The routine of a behaviour; `Some(None)` where it is a rule. `None` after a mistake, which is told.
#[expect(
    clippy::option_option,
    reason = "a mistake, a rule, and a routine are three things"
)]
pub(super) fn routine(
    r: &mut Resolver<'_>,
    line: &Line,
    on: ModuleIx,
    f: &Fields,
) -> Option<Option<Arc<Routine>>> {
    let Some((file, at)) = f.text("routine") else {
        if f.is_wrong("routine") {
            return None;
        }
        for key in ["names", "settings"] {
            if let Some(site) = f.site_of(key) {
                r.tell(
                    Mistake::error(
                        Code::KeyConflict,
                        site,
                        format!("`{key}` belongs to a routine"),
                    )
                    .label("this behaviour has none")
                    .help("name its file: routine = \"watch.rhai\""),
                );
                return None;
            }
        }
        return Some(None);
    };
    if !crate::folder::stays_inside(Path::new(file)) {
        r.tell(
            Mistake::error(
                Code::OutsideFolder,
                at,
                "routines stay under the plan's folder",
            )
            .label("leads out of it"),
        );
        return None;
    }
    if f.is_wrong("names") || f.is_wrong("settings") {
        return None;
    }
    let entries = |key| match f.limit(key).map(|(node, _)| &node.value) {
        Some(Value::Table(table)) => table.iter().collect::<Vec<_>>(),
        _ => Vec::new(),
    };
    let mut right = true;
    let mut names = Vec::new();
    for (name, entry) in entries("names") {
        let bound = word(r, name, entry).and_then(|()| bound(r, line, on, &entry.node));
        right &= bound.is_some();
        names.extend(bound.map(|b| (name.clone(), b)));
    }
    let mut settings = Vec::new();
    for (name, entry) in entries("settings") {
        let twice = names.iter().any(|(n, _)| n == name);
        if twice {
            r.tell(
                Mistake::error(
                    Code::Duplicate,
                    entry.key,
                    format!("`{name}` stands in `names` already"),
                )
                .label("again here"),
            );
        }
        let setting = word(r, name, entry).and_then(|()| setting(r, &entry.node));
        right &= setting.is_some() && !twice;
        settings.extend(setting.map(|s| (name.clone(), s)));
    }
    right.then(|| {
        Some(Arc::new(Routine {
            file: file.clone(),
            at,
            text: None,
            names,
            settings,
        }))
    })
}

/// A name is a word of the routine's language.
fn word(r: &mut Resolver<'_>, name: &str, entry: &Entry) -> Option<()> {
    let mut letters = name.chars();
    let fits = letters.next().is_some_and(|c| c.is_ascii_lowercase())
        && letters.all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_');
    if fits && !routine::is_reserved(name) {
        return Some(());
    }
    if fits {
        let free = free_name(name, &entry.node);
        r.tell(
            Mistake::error(
                Code::BadId,
                entry.key,
                format!(
                    "`{name}` is a word of the routine's language: no routine can use it as a name"
                ),
            )
            .label("taken by the language")
            .help(format!("call it `{free}`, here and in the routine")),
        );
        return None;
    }
    r.tell(
        Mistake::error(
            Code::BadId,
            entry.key,
            format!("`{name}` is no name that a routine can use"),
        )
        .label("here")
        .help("begin it with a lower-case letter and go on with lower-case letters, digits and _"),
    );
    None
}

/// A name that is near to one that the language has taken: it says what kind of thing it stands for.
fn free_name(name: &str, node: &Node) -> String {
    let kind = match &node.value {
        Value::Text(text) if text.contains(".output.") => "output",
        Value::Text(text) if text.contains('.') => text.split('.').next().unwrap_or("value"),
        _ => "value",
    };
    format!("{name}_{kind}")
}

fn setting(r: &mut Resolver<'_>, node: &Node) -> Option<Setting> {
    match &node.value {
        Value::Integer(Some(whole)) => Some(Setting::Whole(*whole)),
        Value::Float(x) if x.is_finite() => Some(Setting::Number(*x)),
        Value::Flag(yes) => Some(Setting::Flag(*yes)),
        Value::Text(text) => Some(Setting::Text(text.clone())),
        _ => {
            r.tell(
                Mistake::error(
                    Code::WrongType,
                    node.site,
                    "a setting is a number, a text, true or false",
                )
                .label(format!("this is {}", node.what())),
            );
            None
        }
    }
}

fn bound(r: &mut Resolver<'_>, line: &Line, on: ModuleIx, node: &Node) -> Option<BoundTo> {
    let site = node.site;
    if let Value::Text(text) = &node.value {
        if let Some(name) = text.strip_prefix("topic.") {
            return topic(r, line, name, site).map(BoundTo::Topic);
        }
        if let Some(name) = text.strip_prefix("state.") {
            return state(r, line, on, name, site).map(BoundTo::State);
        }
        match RefKind::of_path(text) {
            Some(RefKind::Output) if r.names(RefKind::Output, text, site) => {
                let output = output_of(line, text)?;
                own_module(
                    r,
                    line,
                    on,
                    output.module,
                    site,
                    "an output is switched by its own module",
                )?;
                return Some(BoundTo::Output(output));
            }
            Some(RefKind::Uplink) if r.names(RefKind::Uplink, text, site) => {
                let uplink = ix_of(&line.uplinks, text, |u| &u.id).map(UplinkIx)?;
                let at = line.uplinks[uplink.0].module;
                own_module(r, line, on, at, site, "an uplink is used by its own module")?;
                return Some(BoundTo::Uplink(uplink));
            }
            Some(RefKind::Request) if r.names(RefKind::Request, text, site) => {
                let request = ix_of(&line.requests, text, |q| &q.id).map(RequestIx)?;
                others_answer(r, line, on, request, site)?;
                return Some(BoundTo::Request(request));
            }
            Some(RefKind::Detector) if r.names(RefKind::Detector, text, site) => {
                return settings::detector(r, line, on, text, site).map(BoundTo::Detector);
            }
            // It names nothing, which is told.
            Some(RefKind::Output | RefKind::Uplink | RefKind::Request | RefKind::Detector) => {
                return None;
            }
            _ => {}
        }
    }
    r.tell(
        Mistake::error(
            Code::BadReference,
            site,
            "a name of a routine stands for a topic, a request, a detector, an output, an uplink or a state",
        )
        .label("another kind of thing")
        .help("write \"topic.NAME\", \"request.ID\", \"detector.ID\", \"module.ID.output.ID\", \"uplink.ID\" or \"state.NAME\""),
    );
    None
}
