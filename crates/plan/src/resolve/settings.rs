//! What behaviours may set a detector to, and what they set it to.

use super::behaviours::own_module;
use super::{Resolver, ix_of};
use crate::line::{Action, DetectorIx, Line, ModuleIx, Settable, Stage};
use crate::mistake::{Code, Mistake};
use crate::read::Fields;
use crate::site::Site;

/// What is settable of a detector; nothing where it is not written. `None` after a mistake, which is told.
pub(super) fn settable(
    r: &mut Resolver<'_>,
    f: &Fields,
    stages: &[(Stage, &Fields)],
) -> Option<Settable> {
    let Some((t, site)) = f.table("settable") else {
        return (!f.is_wrong("settable")).then(Settable::default);
    };
    let keys = [
        "lowest_threshold",
        "highest_threshold",
        "shortest_hold_off",
        "longest_hold_off",
    ];
    if keys.into_iter().any(|key| t.is_wrong(key)) {
        return None;
    }
    let trigger = stages
        .iter()
        .find(|(stage, _)| matches!(stage, Stage::Trigger { .. }));
    let Some((_, trigger)) = trigger else {
        r.tell(
            Mistake::error(Code::KeyConflict, site, "only a trigger can be set")
                .label("this detector has none (`on_above`)")
                .help("remove `settable`"),
        );
        return None;
    };
    for [low, high] in [[keys[0], keys[1]], [keys[2], keys[3]]] {
        if t.has(low) != t.has(high) {
            let there = if t.has(low) { low } else { high };
            r.tell(
                Mistake::error(
                    Code::MissingKey,
                    t.site_of(there).unwrap_or(site),
                    format!("`{low}` and `{high}` stand together"),
                )
                .label("one without the other"),
            );
            return None;
        }
    }
    if !keys.into_iter().any(|key| t.has(key)) {
        r.tell(
            Mistake::error(Code::MissingKey, site, "nothing is settable here")
                .label("no range")
                .help("add lowest_threshold and highest_threshold, or shortest_hold_off and longest_hold_off"),
        );
        return None;
    }
    let (_, _, own) = trigger.level("on_above")?;
    let threshold_db = match t.db(keys[0]).zip(t.db(keys[1])) {
        Some((low, high)) => {
            for key in [keys[0], keys[1]] {
                same_reference(r, t, key, trigger, own)?;
            }
            if low.db > high.db {
                upside_down(r, low.at, high.at);
                return None;
            }
            Some((low, high))
        }
        None => None,
    };
    let hold_off_s = match t.q(keys[2]).zip(t.q(keys[3])) {
        Some((short, long)) if short.si > long.si => {
            upside_down(r, short.at, long.at);
            return None;
        }
        pair => pair,
    };
    if let Some((low, high)) = threshold_db
        && let Some(own) = trigger.db("on_above")
        && !(low.db..=high.db).contains(&own.db)
    {
        let at = if own.db < low.db { low.at } else { high.at };
        leaves_out(r, at, ("threshold", "on_above"), own.at);
    }
    if let Some((short, long)) = hold_off_s
        && let Some(own) = trigger.q("hold_off")
        && !(short.si..=long.si).contains(&own.si)
    {
        let at = if own.si < short.si { short.at } else { long.at };
        leaves_out(r, at, ("hold-off", "hold_off"), own.at);
    }
    let threshold_unit = match threshold_db {
        Some(_) => trigger.level("on_above")?.0.unit(),
        None => "",
    };
    Some(Settable {
        threshold_db,
        hold_off_s,
        threshold_unit,
    })
}

/// What can be set, but never back.
fn leaves_out(r: &mut Resolver<'_>, end: Site, (what, key): (&str, &str), own: Site) {
    r.tell(
        Mistake::warning(
            Code::OutOfRange,
            end,
            format!("the settable range leaves out the plan's own {what}: once it has been set, no behaviour can set it back"),
        )
        .label("this end")
        .related(own, "the plan's own")
        .help(format!("widen the range so that it holds `{key}`, or change `{key}`")),
    );
}

fn upside_down(r: &mut Resolver<'_>, low: Site, high: Site) {
    r.tell(
        Mistake::error(Code::OutOfRange, low, "this range is upside down")
            .label("its lower end")
            .related(high, "its upper end"),
    );
}

fn same_reference(
    r: &mut Resolver<'_>,
    f: &Fields,
    key: &'static str,
    trigger: &Fields,
    own: Site,
) -> Option<()> {
    let (kind, _, site) = f.level(key)?;
    let (own_kind, _, _) = trigger.level("on_above")?;
    if kind == own_kind {
        return Some(());
    }
    r.tell(
        Mistake::error(
            Code::WrongDimension,
            site,
            "a threshold has the reference of the trigger's own",
        )
        .label(kind.unit())
        .related(own, own_kind.unit()),
    );
    None
}

/// A detector that a behaviour of this module may set.
pub(super) fn detector(
    r: &mut Resolver<'_>,
    line: &Line,
    on: ModuleIx,
    path: &str,
    site: Site,
) -> Option<DetectorIx> {
    let detector = ix_of(&line.detectors, path, |d| &d.id).map(DetectorIx)?;
    let d = &line.detectors[detector.0];
    own_module(
        r,
        line,
        on,
        d.on.module,
        site,
        "a detector is set by its own module",
    )?;
    if d.settable.threshold_db.is_none() && d.settable.hold_off_s.is_none() {
        r.tell(
            Mistake::error(
                Code::KeyConflict,
                site,
                format!("nothing of `detector.{}` is settable", d.id),
            )
            .label("to be set here")
            .related(d.at, "the detector")
            .help(
                "give it settable = { lowest_threshold = \"6 dB\", highest_threshold = \"15 dB\" }",
            ),
        );
        return None;
    }
    Some(detector)
}

/// The action `set`.
pub(super) fn set(
    r: &mut Resolver<'_>,
    line: &Line,
    on: ModuleIx,
    routine: bool,
    f: &Fields,
) -> Option<Action> {
    let (_, path, site) = r.reference(f, "set")?;
    let detector = detector(r, line, on, path, site)?;
    if f.is_wrong("threshold") || f.is_wrong("hold_off") {
        return None;
    }
    let said = ["threshold", "hold_off"]
        .into_iter()
        .find_map(|key| f.site_of(key));
    match (routine, said) {
        (true, Some(site)) => {
            r.tell(
                Mistake::error(
                    Code::KeyConflict,
                    site,
                    "a routine says itself what it sets",
                )
                .label("here")
                .help("remove it here, and give it in the routine: set(ear, #{ threshold: 12 })"),
            );
            return None;
        }
        (false, None) => {
            r.tell(
                Mistake::error(Code::MissingKey, site, "nothing says to what it is set")
                    .label("to be set here")
                    .help("add threshold = \"12 dB\" or hold_off = \"30 s\""),
            );
            return None;
        }
        _ => {}
    }
    let d = &line.detectors[detector.0];
    let threshold_db = match f.db("threshold") {
        Some(level) => {
            let range = d.settable.threshold_db.map(|(low, high)| (low.db, high.db));
            let kind = f.level("threshold").map(|(kind, ..)| kind.unit())?;
            within(r, level.at, level.db, range, kind, d.at)?;
            let of_trigger = d.settable.threshold_unit;
            if of_trigger != kind {
                r.tell(
                    Mistake::error(
                        Code::WrongDimension,
                        level.at,
                        "a threshold has the reference of the trigger's own",
                    )
                    .label(kind)
                    .related(d.at, of_trigger),
                );
                return None;
            }
            Some(level.db)
        }
        None => None,
    };
    let hold_off_s = match f.q("hold_off") {
        Some(time) => {
            let range = d.settable.hold_off_s.map(|(low, high)| (low.si, high.si));
            within(r, time.at, time.si, range, "s", d.at)?;
            Some(time.si)
        }
        None => None,
    };
    Some(Action::Set {
        detector,
        threshold_db,
        hold_off_s,
    })
}

fn within(
    r: &mut Resolver<'_>,
    site: Site,
    value: f64,
    range: Option<(f64, f64)>,
    unit: &str,
    declared: Site,
) -> Option<()> {
    match range {
        Some((low, high)) if (low..=high).contains(&value) => return Some(()),
        Some((low, high)) => r.tell(
            Mistake::error(
                Code::OutOfRange,
                site,
                format!("it may be set from {low} to {high} {unit}"),
            )
            .label("outside")
            .related(declared, "the detector"),
        ),
        None => r.tell(
            Mistake::error(Code::OutOfRange, site, "this is not settable")
                .label("here")
                .related(declared, "the detector")
                .help("add its range to the detector's `settable`"),
        ),
    }
    None
}
