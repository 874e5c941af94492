//! What a cue sheet expects of a rehearsal.

use quantity::Dimension;

use super::requirements::limit;
use super::talk::topic;
use super::{Resolver, ix_of};
use crate::cue_fault::FaultIx;
use crate::cue_sheet::{Count, CueSheet, Expect, ExpectKind, Packets, Recovery, SoundIx, Within};
use crate::field::{POSITIVE, RefKind};
use crate::line::{BehaviourIx, Line, StreamIx, UplinkIx};
use crate::mistake::{Code, Mistake};
use crate::read::{Fields, Reader};
use crate::site::Site;
use crate::tables::{EXPECT, EXPECTATIONS, OF_EXPECTATIONS};

pub(super) fn expect(
    r: &mut Resolver<'_>,
    id: &str,
    f: &Fields,
    line: &Line,
    sheet: &CueSheet,
) -> Option<Expect> {
    let (that, _) = f.choice("that")?;
    let keys = EXPECTATIONS
        .iter()
        .find(|k| k.word == *that)
        .expect("every word has its keys");
    let what = format!("an expectation on `{that}`");
    if !r.keys_fit(f, &EXPECT, keys, OF_EXPECTATIONS, &what) {
        return None;
    }
    let within = window(r, f, sheet)?;
    let what = match *that {
        "voltage" => {
            wanted(r, f, RefKind::Module)?;
            let of = r.module(line, f, "of")?;
            let at_least_v = limit(r, f, "at_least", Dimension::Voltage, POSITIVE)?;
            let at_most_v = limit(r, f, "at_most", Dimension::Voltage, POSITIVE)?;
            if at_least_v.is_none() && at_most_v.is_none() {
                r.tell(
                    Mistake::error(
                        Code::MissingKey,
                        f.site,
                        "a voltage needs at_least, at_most or both",
                    )
                    .label("no limit here"),
                );
                return None;
            }
            ExpectKind::Voltage {
                of,
                at_least_v,
                at_most_v,
            }
        }
        "notice" => {
            wanted(r, f, RefKind::Notice)?;
            let (of, notice, _) = r.notice(line, f, "of")?;
            ExpectKind::Notice {
                of,
                notice,
                count: count(r, f)?,
            }
        }
        "voted" => {
            wanted(r, f, RefKind::Vote)?;
            ExpectKind::Voted {
                of: r.vote(line, f, "of")?.0,
                count: count(r, f)?,
            }
        }
        "switched" => {
            wanted(r, f, RefKind::Output)?;
            let of = r.output(line, f, "of")?;
            ExpectKind::Switched {
                of,
                on: f.choice("to").is_some_and(|(w, _)| *w == "on"),
                count: count(r, f)?,
            }
        }
        "stays" => {
            wanted(r, f, RefKind::Output)?;
            let of = r.output(line, f, "of")?;
            let on = f.choice("to").is_some_and(|(w, _)| *w == "on");
            let fail_safe = false;
            ExpectKind::Stays { of, on, fail_safe }
        }
        "fail-safe" => in_its_fail_safe_state(r, f, line)?,
        "delivered" => {
            let (name, site) = f.text("topic")?;
            let topic = topic(r, line, name, site)?;
            ExpectKind::Delivered {
                topic,
                to: r.module(line, f, "at")?,
                count: count(r, f)?,
            }
        }
        "lost" => {
            let (name, site) = f.text("topic")?;
            ExpectKind::Lost {
                topic: topic(r, line, name, site)?,
                count: count(r, f)?,
            }
        }
        "late" => {
            let (name, site) = f.text("topic")?;
            let to = match f.has("at") {
                true => Some(r.module(line, f, "at")?),
                false => None,
            };
            ExpectKind::Late {
                topic: topic(r, line, name, site)?,
                to,
                beyond_s: f.q("beyond"),
                count: count(r, f)?,
            }
        }
        "packets-delivered" | "packets-lost" | "packets-late" => {
            wanted(r, f, RefKind::Stream)?;
            let (_, path, _) = r.reference(f, "of")?;
            ExpectKind::Packets {
                of: ix_of(&line.streams, path, |s| &s.id).map(StreamIx)?,
                which: match *that {
                    "packets-delivered" => Packets::Delivered,
                    "packets-lost" => Packets::Lost,
                    _ => Packets::Late {
                        beyond_s: f.q("beyond"),
                    },
                },
                count: count(r, f)?,
            }
        }
        "stopped" => ExpectKind::Stopped {
            of: routine(r, f, line)?,
            count: count(r, f)?,
        },
        "recovered" => ExpectKind::Recovered(recovery(r, f, line, &within)?),
        "sent" => {
            wanted(r, f, RefKind::Uplink)?;
            let (_, path, _) = r.reference(f, "of")?;
            ExpectKind::Sent {
                of: ix_of(&line.uplinks, path, |u| &u.id).map(UplinkIx)?,
                count: count(r, f)?,
            }
        }
        _ => {
            wanted(r, f, RefKind::Module)?;
            ExpectKind::Down {
                of: r.module(line, f, "of")?,
                count: count(r, f)?,
            }
        }
    };
    Some(Expect {
        id: id.to_owned(),
        at: f.site,
        within,
        what,
    })
}

/// An output of which the plan says its fail-safe state.
fn in_its_fail_safe_state(r: &mut Resolver<'_>, f: &Fields, line: &Line) -> Option<ExpectKind> {
    wanted(r, f, RefKind::Output)?;
    let of = r.output(line, f, "of")?;
    let output = &line.modules[of.module.0].outputs[of.output];
    let Some(on) = output.fail_safe_on else {
        let path = line.output_path(of);
        r.tell(
            Mistake::error(
                Code::MissingKey,
                f.site_of("of").unwrap_or(f.site),
                format!("the plan says nothing of the fail-safe state of `{path}`"),
            )
            .label("this output")
            .related(output.at, "declared here without `fail_safe`")
            .help("give the output `fail_safe = \"off\"` or `fail_safe = \"on\"`, or expect that it `stays` so"),
        );
        return None;
    };
    let fail_safe = true;
    Some(ExpectKind::Stays { of, on, fail_safe })
}

/// The behaviours of a routine: one for each thing that starts it.
fn routine(r: &mut Resolver<'_>, f: &Fields, line: &Line) -> Option<Vec<BehaviourIx>> {
    wanted(r, f, RefKind::Behaviour)?;
    let (_, path, site) = r.reference(f, "of")?;
    let all = line.behaviours.iter().enumerate();
    let of: Vec<BehaviourIx> = all
        .filter(|(_, b)| path.strip_prefix("behaviour.") == Some(&b.id) && b.routine.is_some())
        .map(|(i, _)| BehaviourIx(i))
        .collect();
    if of.is_empty() {
        r.tell(
            Mistake::error(
                Code::BadReference,
                site,
                format!("`{path}` is no routine, and only a routine stops"),
            )
            .label("here"),
        );
        return None;
    }
    Some(of)
}

/// What is to recover: a module, or a topic at a module; after a fault.
fn recovery(r: &mut Resolver<'_>, f: &Fields, line: &Line, within: &Within) -> Option<Recovery> {
    if !matches!(within, Within::AfterFault { .. }) {
        r.tell(
            Mistake::error(
                Code::KeyConflict,
                f.site_of("after").unwrap_or(f.site),
                "something recovers after a fault",
            )
            .label("no fault")
            .help("write `after = \"fault.ID\"`"),
        );
        return None;
    }
    let of_a_topic = f.has("topic") && f.has("at");
    match f.has("of") {
        true if !f.has("topic") && !f.has("at") && is_stream(f) => {
            let (_, path, _) = r.reference(f, "of")?;
            ix_of(&line.streams, path, |s| &s.id)
                .map(StreamIx)
                .map(Recovery::Stream)
        }
        true if !f.has("topic") && !f.has("at") => {
            wanted(r, f, RefKind::Module)?;
            r.module(line, f, "of").map(Recovery::Module)
        }
        false if of_a_topic => {
            let (name, site) = f.text("topic")?;
            Some(Recovery::Topic {
                topic: topic(r, line, name, site)?,
                to: r.module(line, f, "at")?,
            })
        }
        _ => {
            r.tell(
                Mistake::error(
                    Code::KeyConflict,
                    f.site,
                    "what recovers is a module or a stream (`of`), or a `topic` `at` a module",
                )
                .label("here")
                .help(
                    "write `of = \"module.ID\"` or `of = \"stream.ID\"`, or `topic = \"alert/call\"` and `at = \"module.ID\"`",
                ),
            );
            None
        }
    }
}

fn is_stream(f: &Fields) -> bool {
    f.reference("of")
        .is_some_and(|(kind, ..)| kind == RefKind::Stream)
}

fn wanted(r: &mut Resolver<'_>, f: &Fields, kind: RefKind) -> Option<()> {
    let (found, path, site) = f.reference("of")?;
    if found == kind {
        return Some(());
    }
    r.tell(
        Mistake::error(
            Code::BadReference,
            site,
            format!("`{path}` cannot stand here"),
        )
        .label("another kind of thing")
        .help(format!("expected {}", kind.example())),
    );
    None
}

fn window(r: &mut Resolver<'_>, f: &Fields, sheet: &CueSheet) -> Option<Within> {
    let between = f.site_of("from").or(f.site_of("until"));
    if f.has("after") != f.has("within") || (f.has("after") && between.is_some()) {
        let site = f.site_of("after").or(f.site_of("within")).unwrap_or(f.site);
        r.tell(
            Mistake::error(
                Code::KeyConflict,
                site,
                "a window is `after` a sound and `within` a time, or `from` and `until`",
            )
            .label("here"),
        );
        return None;
    }
    if f.has("after") {
        let (kind, path, site) = r.reference(f, "after")?;
        if kind == RefKind::Fault {
            return after_fault(r, f, sheet, (path, site));
        }
        let sound = ix_of(&sheet.sounds, path, |s| &s.id).map(SoundIx)?;
        return Some(Within::After {
            sound,
            within_s: f.q("within")?,
        });
    }
    let from_s = f.amount("from").map_or(0.0, |(a, _)| a.si);
    let until_s = f.amount("until").map_or(sheet.duration_s.si, |(a, _)| a.si);
    if until_s <= from_s || until_s > sheet.duration_s.si {
        r.tell(
            Mistake::error(
                Code::OutOfRange,
                between.unwrap_or(f.site),
                "this window lies outside the rehearsal, or ends before it begins",
            )
            .label("here")
            .related(sheet.duration_s.at, "the rehearsal's length"),
        );
        return None;
    }
    Some(Within::Between { from_s, until_s })
}

/// The window that begins when a fault is over.
fn after_fault(
    r: &mut Resolver<'_>,
    f: &Fields,
    sheet: &CueSheet,
    (path, site): (&str, Site),
) -> Option<Within> {
    let fault = ix_of(&sheet.faults, path, |x| &x.id).map(FaultIx)?;
    let of = &sheet.faults[fault.0];
    if of.over_s().is_none_or(|over| over >= sheet.duration_s.si) {
        r.tell(
            Mistake::error(
                Code::OutOfRange,
                site,
                format!("`{path}` is not over within the rehearsal, so nothing comes after it"),
            )
            .label("here")
            .related(of.at, "the fault")
            .help("give the fault an `until`"),
        );
        return None;
    }
    Some(Within::AfterFault {
        fault,
        within_s: f.q("within")?,
    })
}

/// At least once when nothing is written; with an upper limit alone, nothing is needed.
fn count(r: &mut Resolver<'_>, f: &Fields) -> Option<Count> {
    let part = r.part.clone();
    let mut read = |key: &'static str| match f.limit(key) {
        None => Some(None),
        Some((node, _)) => Reader::within(r.catalogue, r.mistakes, part.clone())
            .whole(node)
            .map(Some),
    };
    let (least, most) = (read("at_least")?, read("at_most")?);
    let at_least = least.unwrap_or(u32::from(most.is_none()));
    if let Some(most) = most.filter(|m| *m < at_least) {
        r.tell(
            Mistake::error(
                Code::OutOfRange,
                f.site,
                format!("at most {most} and at least {at_least} cannot both hold"),
            )
            .label("here"),
        );
        return None;
    }
    Some(Count {
        at_least,
        at_most: most,
    })
}
