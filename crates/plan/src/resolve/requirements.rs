//! Requirements: the limits get the dimension that `that` calls for.

use std::path::Path;

use quantity::{Dimension, LevelKind};

use super::requirement_documents::{age, attested, measured};
use super::requirement_subjects::{
    detector, hydrophone, listeners, metal, module, of, span, supply,
};
use super::values::in_degrees;
use super::{Resolver, ix_of, module_of, output_of, q};
use crate::field::{Bounds, NOT_NEGATIVE, POSITIVE, RefKind, SHARE, between, degrees};
use crate::folder::stays_inside;
use crate::line::{
    CallIx, Decibels, DelayEnd, DelayFrom, Encounter, Limits, Line, Must, Q, Requirement,
    SectionIx, StorageIx, That, Unwritten, UplinkIx,
};
use crate::mistake::{Code, Mistake};
use crate::read::{Fields, Reader};
use crate::site::Site;
use crate::tables::{OF_REQUIREMENTS, REQUIREMENT, REQUIREMENTS};

/// How binding a requirement is that does not say so.
const MUST: Must = Must::Shall;
/// How far a noise may be asked to lie below another.
const CLEAR: Bounds = between(-100.0, 100.0, "from -100 dB to 100 dB");
const PEAK: Bounds = between(0.0, 300.0, "from 0 dB to 300 dB");

pub(super) fn requirements(r: &mut Resolver<'_>, root: &Fields, line: &mut Line) {
    for (id, f) in root.keyed("requirement") {
        r.part = format!("requirement.{id}");
        let Some(that) = that(r, f, line) else {
            continue;
        };
        let Ok(measured) = measured(r, f) else {
            continue;
        };
        if !f.has("must") {
            r.unwritten(Unwritten::Must);
        }
        line.requirements.push(Requirement {
            id: id.to_owned(),
            at: f.site,
            must: f
                .choice("must")
                .map_or(MUST, |(word, _)| Must::of_word(word)),
            source: f.text("source").map(|(t, _)| t.clone()),
            that,
            share: f.q("share"),
            share_of_draws: f.q("share_of_draws"),
            measured,
            when_wind_at_most_m_s: f.q("when_wind_at_most"),
        });
    }
}

fn that(r: &mut Resolver<'_>, f: &Fields, line: &Line) -> Option<That> {
    let (word, _) = f.choice("that")?;
    let kind = REQUIREMENTS
        .iter()
        .find(|k| k.word == *word)
        .expect("every word has its keys");
    let what = format!("a requirement on `{word}`");
    if !r.keys_fit(f, &REQUIREMENT, kind, OF_REQUIREMENTS, &what) {
        return None;
    }
    match *word {
        "voltage" => voltage(r, f, line),
        "highest-voltage" => Some(That::HighestVoltage {
            of: module(r, f, line)?,
            at_most_v: limit(r, f, "at_most", Dimension::Voltage, POSITIVE)?,
        }),
        "supply-current" => Some(That::SupplyCurrent {
            of: supply(r, f, line)?,
            at_most_a: limit(r, f, "at_most", Dimension::Current, NOT_NEGATIVE)?,
        }),
        "delay" => delay(r, f, line),
        "link-load" => {
            let at_most = limit(r, f, "at_most", Dimension::Ratio, SHARE)?;
            Some(That::LinkLoad {
                of: span(r, f, line)?,
                at_most: at_most?,
            })
        }
        "clock-error" => Some(That::ClockError {
            of: module(r, f, line)?,
            at_most_s: limit(r, f, "at_most", Dimension::Time, POSITIVE)??,
        }),
        "message-loss" => {
            let at_most = limit(r, f, "at_most", Dimension::Ratio, SHARE)?;
            let topic = match f.text("topic") {
                None => None,
                Some((name, site)) => Some(super::talk::topic(r, line, name, site)?),
            };
            Some(That::MessageLoss {
                topic,
                at_most: at_most?,
            })
        }
        "uplink-messages" | "uplink-cost" => uplink(r, f, line, word),
        "uplink-wait" => {
            let path = of(r, f, RefKind::Uplink)??;
            Some(That::UplinkWait {
                of: ix_of(&line.uplinks, path, |u| &u.id).map(UplinkIx)?,
                at_most_s: limit(r, f, "at_most", Dimension::Time, POSITIVE)??,
            })
        }
        "storage-time" => {
            let path = of(r, f, RefKind::Storage)??;
            let of = ix_of(&line.storages, path, |s| &s.id).map(StorageIx)?;
            Some(That::StorageTime {
                of,
                at_least_s: limit(r, f, "at_least", Dimension::Time, POSITIVE)?,
            })
        }
        "outage-hours" => Some(That::OutageHours {
            of: supply(r, f, line)?,
            at_most_s: limit(r, f, "at_most", Dimension::Time, NOT_NEGATIVE)??,
            confidence: f.q("confidence"),
        }),
        "lowest-charge" => Some(That::LowestCharge {
            of: supply(r, f, line)?,
            at_least: limit(r, f, "at_least", Dimension::Ratio, SHARE)??,
            confidence: f.q("confidence"),
        }),
        "autonomy" => Some(That::Autonomy {
            of: supply(r, f, line)?,
            at_least_s: limit(r, f, "at_least", Dimension::Time, POSITIVE)??,
        }),
        "cell-life" => Some(That::CellLife {
            of: supply(r, f, line)?,
            at_least_s: limit(r, f, "at_least", Dimension::Time, POSITIVE)?,
        }),
        "dawn-restarts" => {
            let (node, _) = f.limit("at_most")?;
            let part = r.part.clone();
            let at_most = Reader::within(r.catalogue, r.mistakes, part).whole(node)?;
            Some(That::DawnRestarts {
                of: supply(r, f, line)?,
                at_most,
            })
        }
        "wakes-from-flat" => Some(That::WakesFromFlat {
            of: supply(r, f, line)?,
        }),
        "sensor-energy" => Some(That::SensorEnergy {
            of: supply(r, f, line)?,
            at_most_j: limit(r, f, "at_most", Dimension::Energy, POSITIVE)??,
        }),
        "start-up" => Some(That::StartUp {
            at_most_s: limit(r, f, "at_most", Dimension::Time, POSITIVE)?,
        }),
        "ready-within" => Some(That::ReadyWithin {
            of: hydrophone(r, f, line)?,
            at_most_s: limit(r, f, "at_most", Dimension::Time, POSITIVE)??,
        }),
        "collapse-factor" => Some(That::CollapseFactor {
            at_least: limit(r, f, "at_least", Dimension::Ratio, POSITIVE)??,
        }),
        "reserve" => Some(That::Reserve {
            of: module(r, f, line)?,
            at_least_w: limit(r, f, "at_least", Dimension::Power, POSITIVE)??,
        }),
        "short-circuit" => Some(That::ShortCircuit {
            of: span(r, f, line)?,
            at_least: limit(r, f, "at_least", Dimension::Ratio, POSITIVE)??,
        }),
        "contact-life" => Some(That::ContactLife {
            of: span(r, f, line)?,
            at_least_s: limit(r, f, "at_least", Dimension::Time, POSITIVE)?,
        }),
        "single-failure" => {
            let (node, _) = f.limit("at_most")?;
            let part = r.part.clone();
            let at_most = Reader::within(r.catalogue, r.mistakes, part).whole(node)?;
            Some(That::SingleFailure { at_most })
        }
        "time-to-notice" => Some(That::TimeToNotice {
            at_most_s: limit(r, f, "at_most", Dimension::Time, POSITIVE)??,
        }),
        "fail-safe" => {
            let of = match of(r, f, RefKind::Output)? {
                None => None,
                Some(p) => Some(output_of(line, p)?),
            };
            Some(That::FailSafe {
                of,
                at_most_s: limit(r, f, "at_most", Dimension::Time, POSITIVE)??,
            })
        }
        "self-noise" => Some(That::SelfNoise {
            of: hydrophone(r, f, line)?,
            at_least_db: level_limit(r, f, "at_least", LevelKind::Gain, CLEAR)??,
        }),
        "pick-up" => Some(That::PickUp {
            of: hydrophone(r, f, line)?,
            at_least_db: level_limit(r, f, "at_least", LevelKind::Gain, CLEAR)??,
        }),
        "overload" => Some(That::Overload {
            of: hydrophone(r, f, line)?,
            at_least_db: level_limit(r, f, "at_least", LevelKind::Peak, PEAK)??,
        }),
        "calibration-age" => Some(That::CalibrationAge {
            of: hydrophone(r, f, line)?,
            at_most: age(r, f)?,
        }),
        "attested" => attested(r, f),
        "detection-range" | "encounter" => detection_range(r, f, line, word),
        "recall" => Some(That::Recall {
            of: detector(r, f, line)?,
            at_least: limit(r, f, "at_least", Dimension::Ratio, SHARE)??,
            labels: inside(r, f, "labels", "labels stay under the plan's folder")?.0,
            confidence: f.q("confidence"),
        }),
        "false-alarms" => {
            let of = detector(r, f, line)?;
            let (labels, _) = inside(r, f, "labels", "labels stay under the plan's folder")?;
            let (node, _) = f.limit("at_most")?;
            let part = r.part.clone();
            let at_most = Reader::within(r.catalogue, r.mistakes, part).event_rate(node)?;
            Some(That::FalseAlarms {
                of,
                at_most,
                labels,
                confidence: f.q("confidence"),
            })
        }
        "strum-hours" => Some(That::StrumHours {
            of: hydrophone(r, f, line)?,
            at_most_s: limit(r, f, "at_most", Dimension::Time, NOT_NEGATIVE)??,
        }),
        "heave-overload" => Some(That::HeaveOverload {
            of: hydrophone(r, f, line)?,
            at_most: limit(r, f, "at_most", Dimension::Ratio, SHARE)??,
        }),
        "listening-share" => Some(That::ListeningShare {
            of: listeners(r, f, line)?,
            at_least: limit(r, f, "at_least", Dimension::Ratio, SHARE)??,
            confidence: f.q("confidence"),
        }),
        "listening-gap" => Some(That::ListeningGap {
            of: listeners(r, f, line)?,
            at_most_s: limit(r, f, "at_most", Dimension::Time, NOT_NEGATIVE)??,
            confidence: f.q("confidence"),
        }),
        "module-depth" | "module-tilt" | "line-tension" | "anchor-load" | "housing-margin"
        | "watch-circle" => hanging(r, f, line, word),
        "on-station" => Some(That::OnStation {
            of: module(r, f, line)?,
            at_most_m: limit(r, f, "at_most", Dimension::Length, POSITIVE)??,
            laying_error_m: f.q("laying_error")?,
            fix_error_m: f.q("fix_error")?,
            share: f.q("share")?,
        }),
        "recovery-chance" => Some(That::RecoveryChance {
            of: module(r, f, line)?,
            at_least: limit(r, f, "at_least", Dimension::Ratio, SHARE)??,
        }),
        "parted-lift" => Some(That::PartedLift {
            at_least_n: limit(r, f, "at_least", Dimension::Force, NOT_NEGATIVE)??,
        }),
        "charge-at-deployment" => Some(That::ChargeAtDeployment {
            of: supply(r, f, line)?,
            at_least: limit(r, f, "at_least", Dimension::Ratio, SHARE)??,
        }),
        "spares" => Some(That::Spares {
            at_least: limit(r, f, "at_least", Dimension::Ratio, SHARE)??,
        }),
        "weather-window" => Some(That::WeatherWindow {
            at_least: limit(r, f, "at_least", Dimension::Ratio, SHARE)??,
        }),
        "anode-life" => Some(That::AnodeLife {
            of: metal(r, f, line)?,
            at_least_s: limit(r, f, "at_least", Dimension::Time, POSITIVE)?,
        }),
        "anode-current" => Some(That::AnodeCurrent {
            of: metal(r, f, line)?,
            at_least: limit(r, f, "at_least", Dimension::Ratio, POSITIVE)?,
        }),
        "surface-slack" => Some(That::SurfaceSlack {
            at_most_m: limit(r, f, "at_most", Dimension::Length, NOT_NEGATIVE)??,
        }),
        _ => {
            let (cues, at) = inside(r, f, "cues", "cue sheets stay under the plan's folder")?;
            Some(That::Rehearsed { cues, at })
        }
    }
}

/// A path that must stay under the plan's folder, and where it was written.
fn inside(
    r: &mut Resolver<'_>,
    f: &Fields,
    key: &'static str,
    rule: &'static str,
) -> Option<(String, Site)> {
    let (path, at) = f.text(key)?;
    if stays_inside(Path::new(path)) {
        return Some((path.clone(), at));
    }
    r.tell(Mistake::error(Code::OutsideFolder, at, rule).label("leads out of it"));
    None
}

/// A limit in decibels; `Some(None)` when it is not written, `None` when it is wrong.
#[expect(clippy::option_option, reason = "absent and wrong are different")]
fn level_limit(
    r: &mut Resolver<'_>,
    f: &Fields,
    key: &'static str,
    kind: LevelKind,
    bounds: Bounds,
) -> Option<Option<Decibels>> {
    let Some((node, at)) = f.limit(key) else {
        return Some(None);
    };
    let part = r.part.clone();
    let level = Reader::within(r.catalogue, r.mistakes, part).level_of(kind, bounds, node)?;
    Some(Some(Decibels {
        db: level.db,
        law: level.law,
        at,
    }))
}

/// A limit in its dimension; `Some(None)` when it is not written, `None` when it is wrong.
#[expect(clippy::option_option, reason = "absent and wrong are different")]
pub(super) fn limit(
    r: &mut Resolver<'_>,
    f: &Fields,
    key: &'static str,
    dimension: Dimension,
    bounds: Bounds,
) -> Option<Option<Q>> {
    let Some((node, site)) = f.limit(key) else {
        return Some(None);
    };
    let part = r.part.clone();
    let amount = Reader::within(r.catalogue, r.mistakes, part).amount(dimension, bounds, node)?;
    Some(Some(q((&amount, site))))
}

fn voltage(r: &mut Resolver<'_>, f: &Fields, line: &Line) -> Option<That> {
    let of = module(r, f, line)?;
    let at_least = limit(r, f, "at_least", Dimension::Voltage, POSITIVE)?;
    let at_most = limit(r, f, "at_most", Dimension::Voltage, POSITIVE)?;
    if !in_order(r, Limits { at_least, at_most }, "voltage") {
        return None;
    }
    let limits = (at_least.is_some() || at_most.is_some()).then_some(Limits { at_least, at_most });
    Some(That::Voltage { of, limits })
}

/// Requirements on where the line hangs and what it pulls.
fn hanging(r: &mut Resolver<'_>, f: &Fields, line: &Line, word: &str) -> Option<That> {
    match word {
        "module-depth" => {
            let of = module(r, f, line)?;
            let at_least = limit(r, f, "at_least", Dimension::Length, NOT_NEGATIVE)?;
            let at_most = limit(r, f, "at_most", Dimension::Length, NOT_NEGATIVE)?;
            if at_least.is_none() && at_most.is_none() {
                r.tell(
                    Mistake::error(
                        Code::MissingKey,
                        f.site,
                        "a requirement on `module-depth` needs a limit",
                    )
                    .label("neither `at_least` nor `at_most`")
                    .help("add `at_least = \"18 m\"`, `at_most = \"26 m\"`, or both"),
                );
                return None;
            }
            let limits = Limits { at_least, at_most };
            in_order(r, limits, "depth").then_some(That::ModuleDepth { of, limits })
        }
        "module-tilt" => {
            let bounds = degrees(0.0, 180.0, "from 0 deg to 180 deg");
            let of = module(r, f, line)?;
            let at_most = limit(r, f, "at_most", Dimension::Angle, bounds)??;
            Some(That::ModuleTilt {
                of,
                at_most_deg: in_degrees(at_most),
            })
        }
        "line-tension" => {
            let of = match of(r, f, RefKind::Section)? {
                None => None,
                Some(p) => Some(ix_of(&line.sections, p, |s| &s.id).map(SectionIx)?),
            };
            Some(That::LineTension {
                of,
                at_most_n: limit(r, f, "at_most", Dimension::Force, POSITIVE)?,
            })
        }
        "anchor-load" => {
            let of = match of(r, f, RefKind::Anchor)? {
                None => None,
                Some(p) => Some(ix_of(&line.anchors, p, |a| &a.id)?),
            };
            Some(That::AnchorLoad {
                of,
                at_least: limit(r, f, "at_least", Dimension::Ratio, POSITIVE)?,
            })
        }
        "housing-margin" => Some(That::HousingMargin {
            of: module(r, f, line)?,
            at_least_m: limit(r, f, "at_least", Dimension::Length, NOT_NEGATIVE)?,
        }),
        _ => Some(That::WatchCircle {
            of: module(r, f, line)?,
            at_most_m: limit(r, f, "at_most", Dimension::Length, POSITIVE)??,
        }),
    }
}

/// Whether an upper limit is no lower than the lower one; tells a mistake where it is.
fn in_order(r: &mut Resolver<'_>, limits: Limits, what: &str) -> bool {
    if let (Some(least), Some(most)) = (limits.at_least, limits.at_most)
        && most.si < least.si
    {
        r.tell(
            Mistake::error(
                Code::OutOfRange,
                most.at,
                format!("no {what} is at least the one and at most the other"),
            )
            .label("at most")
            .related(least.at, "at least"),
        );
        return false;
    }
    true
}

fn delay(r: &mut Resolver<'_>, f: &Fields, line: &Line) -> Option<That> {
    let from = match f.reference("from")?.0 {
        RefKind::Vote => DelayFrom::Vote(r.vote(line, f, "from")?.0),
        _ => {
            let (detector, notice, _) = r.notice(line, f, "from")?;
            DelayFrom::Notice(detector, notice)
        }
    };
    let (kind, path, _) = r.reference(f, "to")?;
    let to = match kind {
        RefKind::Output => DelayEnd::Output(output_of(line, path)?),
        RefKind::Uplink => DelayEnd::Uplink(ix_of(&line.uplinks, path, |u| &u.id).map(UplinkIx)?),
        _ => DelayEnd::Module(module_of(line, path)?),
    };
    let at_most_s = limit(r, f, "at_most", Dimension::Time, POSITIVE)??;
    Some(That::Delay {
        from,
        to,
        at_most_s,
    })
}

fn detection_range(r: &mut Resolver<'_>, f: &Fields, line: &Line, word: &str) -> Option<That> {
    let of = detector(r, f, line)?;
    let (_, call, _) = r.reference(f, "call")?;
    Some(That::DetectionRange {
        of,
        call: ix_of(&line.calls, call, |c| &c.id).map(CallIx)?,
        at_least_m: limit(r, f, "at_least", Dimension::Length, POSITIVE)??,
        encounter: match word {
            "encounter" => Some(Encounter {
                calls: u64::try_from(*f.count("calls")?.0).ok()?,
                correlation: f.q("correlation")?.si,
            }),
            _ => None,
        },
        in_hours: match f.has("in") {
            true => Some(in_hours(r, f)?),
            false => None,
        },
    })
}

/// `90 % of hours`.
fn in_hours(r: &mut Resolver<'_>, f: &Fields) -> Option<Q> {
    let (text, at) = f.text("in")?;
    if let Some(wind) = f.site_of("when_wind_at_most") {
        r.tell(
            Mistake::error(
                Code::KeyConflict,
                at,
                "a range holds in a share of the hours, or up to a wind",
            )
            .label("asks for hours")
            .related(wind, "asks for a wind")
            .help("write one of them: of hours the wind is that which so many stay below"),
        );
        return None;
    }
    let share = text
        .trim()
        .strip_suffix("of hours")
        .and_then(|share| quantity::parse_amount(share.trim(), Dimension::Ratio).ok())
        .filter(|share| share.law.is_none() && 0.0 < share.si && share.si < 1.0);
    if share.is_none() {
        r.tell(
            Mistake::error(
                Code::OutOfRange,
                at,
                "a share of the hours, above none and below all, is expected",
            )
            .label("says no such share")
            .help("write `in = \"90 % of hours\"`; the windiest hour of all has no bound"),
        );
    }
    Some(Q {
        si: share?.si,
        law: None,
        at,
    })
}

fn uplink(r: &mut Resolver<'_>, f: &Fields, line: &Line, word: &str) -> Option<That> {
    let path = of(r, f, RefKind::Uplink)??;
    let of = ix_of(&line.uplinks, path, |u| &u.id).map(UplinkIx)?;
    let (node, at) = f.limit("at_most")?;
    let part = r.part.clone();
    let mut reader = Reader::within(r.catalogue, r.mistakes, part);
    if word == "uplink-messages" {
        return reader
            .event_rate(node)
            .map(|at_most| That::UplinkMessages { of, at_most, at });
    }
    let at_most = reader.money(node)?;
    let price = line.uplinks[of.0].price;
    if price.currency != at_most.currency {
        r.tell(
            Mistake::error(
                Code::WrongDimension,
                at,
                "the limit and the price are in different currencies",
            )
            .label("this limit")
            .related(line.uplinks[of.0].at, format!("a message costs {price}")),
        );
        return None;
    }
    Some(That::UplinkCost { of, at_most, at })
}
