//! The faults of a cue sheet, each held against what the plan says of the thing that it happens to.

use super::cues::after_the_end;
use super::talk::topic;
use super::{Resolver, bare, ix_of, module_of};
use crate::cue_fault::{Fault, FaultKind, Leaves, Lengths, RestartBy};
use crate::cue_sheet::CueSheet;
use crate::field::RefKind;
use crate::line::{
    Line, ModuleIx, PassWhen, SensorIx, SpanIx, StorageIx, Supply, SupplyIx, UplinkIx,
};
use crate::mistake::{Code, Mistake};
use crate::read::Fields;
use crate::site::Site;
use crate::tables::{FAULT, FAULTS, OF_FAULTS};

pub(super) fn fault(
    r: &mut Resolver<'_>,
    id: &str,
    f: &Fields,
    line: &Line,
    sheet: &CueSheet,
) -> Option<Fault> {
    let (kind, _) = f.choice("kind")?;
    let kind = *kind;
    let keys = FAULTS
        .iter()
        .find(|k| k.word == kind)
        .expect("every word has its keys");
    let what = format!("a fault of kind `{kind}`");
    if !r.keys_fit(f, &FAULT, keys, OF_FAULTS, &what) {
        return None;
    }
    let (found, path, site) = r.reference(f, "of")?;
    let wanted = happens_to(kind);
    if found != wanted {
        r.tell(
            Mistake::error(
                Code::BadReference,
                site,
                format!("`{kind}` does not happen to `{path}`"),
            )
            .label("another kind of thing")
            .help(format!("expected {}", wanted.example())),
        );
        return None;
    }
    let what = match wanted {
        RefKind::Span => of_span(r, kind, f, line, (path, site))?,
        RefKind::Supply => of_supply(r, kind, f, line, (path, site))?,
        RefKind::Uplink => {
            FaultKind::NoUplink(ix_of(&line.uplinks, path, |u| &u.id).map(UplinkIx)?)
        }
        RefKind::Storage => {
            FaultKind::StorageFull(ix_of(&line.storages, path, |s| &s.id).map(StorageIx)?)
        }
        RefKind::Sensor => FaultKind::Deaf(hears(r, line, (path, site))?),
        _ => of_module(r, kind, f, line, (path, site))?,
    };
    let (at_s, until_s) = (f.q("at")?, f.q("until"));
    if let Some(until) = until_s.filter(|u| u.si <= at_s.si) {
        r.tell(
            Mistake::error(
                Code::OutOfRange,
                until.at,
                "this fault is over before it begins",
            )
            .label("over")
            .related(at_s.at, "begins"),
        );
        return None;
    }
    after_the_end(r, &format!("fault.{id}"), at_s, "never happens", sheet);
    Some(Fault {
        id: id.to_owned(),
        at: f.site,
        at_s,
        until_s,
        what,
    })
}

/// A sensor that a detector listens to; of another nothing is heard, and a fault would change nothing.
fn hears(r: &mut Resolver<'_>, line: &Line, (path, site): (&str, Site)) -> Option<SensorIx> {
    let of = line.detectors.iter().map(|d| d.on);
    let found = of.into_iter().find(|s| line.sensor_path(*s) == path);
    if found.is_none() {
        r.tell(
            Mistake::error(
                Code::KeyConflict,
                site,
                format!("no detector is on `{path}`, so nothing would be deaf"),
            )
            .label("nothing listens here"),
        );
    }
    found
}

/// What a fault happens to.
fn happens_to(kind: &str) -> RefKind {
    match kind {
        "cut" | "intermittent" | "bad-contact" | "bit-errors" => RefKind::Span,
        "no-uplink" => RefKind::Uplink,
        "storage-full" => RefKind::Storage,
        "no-supply" | "brown-out" | "swapped" | "drained" => RefKind::Supply,
        "deaf" => RefKind::Sensor,
        _ => RefKind::Module,
    }
}

fn of_span(
    r: &mut Resolver<'_>,
    kind: &str,
    f: &Fields,
    line: &Line,
    (path, site): (&str, Site),
) -> Option<FaultKind> {
    let span = ix_of(&line.spans, path, |s| &s.id).map(SpanIx)?;
    Some(match kind {
        "cut" => FaultKind::Cut(span),
        "bit-errors" => {
            carries_bits(r, line, span, (path, site))?;
            FaultKind::BitErrors {
                span,
                rate: f.number("rate").map(bare)?,
            }
        }
        "intermittent" => FaultKind::Intermittent {
            span,
            down_s: f.q("down")?,
            up_s: f.q("up")?,
            lengths: match *f.choice("lengths")?.0 {
                "fixed" => Lengths::Fixed,
                _ => Lengths::Exponential,
            },
        },
        _ => {
            let of = &line.spans[span.0];
            if of.conductor.is_none() {
                r.tell(
                    Mistake::error(
                        Code::KeyConflict,
                        site,
                        format!("`{path}` has no conductors, so no contact of it can go bad"),
                    )
                    .label("carries data alone"),
                );
                return None;
            }
            FaultKind::BadContact {
                span,
                resistance_ohm: f.q("resistance")?,
            }
        }
    })
}

fn of_supply(
    r: &mut Resolver<'_>,
    kind: &str,
    f: &Fields,
    line: &Line,
    (path, site): (&str, Site),
) -> Option<FaultKind> {
    let supply = ix_of(&line.supplies, path, |s| &s.id).map(SupplyIx)?;
    Some(match kind {
        "no-supply" => FaultKind::NoSupply(supply),
        "drained" => FaultKind::Drained {
            supply,
            energy_j: f.q("energy")?,
        },
        "swapped" => swapped(r, f, line, supply, site)?,
        _ => {
            let (voltage_v, of) = (f.q("voltage")?, &line.supplies[supply.0]);
            if voltage_v.si >= of.voltage_v.si {
                r.tell(
                    Mistake::error(
                        Code::OutOfRange,
                        voltage_v.at,
                        format!(
                            "this is no less than the {} of `{path}`",
                            quantity::show(of.voltage_v.si, quantity::Dimension::Voltage)
                        ),
                    )
                    .label("here")
                    .help("a brown-out lowers it; a supply with other figures is `swapped`"),
                );
                return None;
            }
            FaultKind::BrownOut { supply, voltage_v }
        }
    })
}

/// Another supply of the plan, or figures: one of the two, and all that are needed.
fn swapped(
    r: &mut Resolver<'_>,
    f: &Fields,
    line: &Line,
    supply: SupplyIx,
    site: Site,
) -> Option<FaultKind> {
    let figures = ["voltage", "resistance", "current_limit"];
    let written = figures.iter().find_map(|key| f.site_of(key));
    if f.has("with") {
        if let Some(at) = written {
            r.tell(
                Mistake::error(
                    Code::KeyConflict,
                    at,
                    "a supply is swapped `with` another of the plan, or for one with these figures",
                )
                .label("here"),
            );
            return None;
        }
        let (_, path, with) = r.reference(f, "with")?;
        let other = ix_of(&line.supplies, path, |s| &s.id).map(SupplyIx)?;
        if other == supply {
            r.tell(
                Mistake::error(Code::BadReference, with, "this is the supply itself")
                    .label("here")
                    .related(site, "swapped"),
            );
            return None;
        }
        let Supply {
            voltage_v,
            resistance_ohm,
            current_limit_a,
            ..
        } = line.supplies[other.0];
        return Some(FaultKind::Swapped {
            supply,
            voltage_v,
            resistance_ohm,
            current_limit_a,
        });
    }
    let (Some(voltage_v), Some(resistance_ohm)) = (f.q("voltage"), f.q("resistance")) else {
        r.tell(
            Mistake::error(
                Code::MissingKey,
                f.site,
                "a swapped supply needs `with`, or `voltage` and `resistance`",
            )
            .label("here")
            .help("add `voltage = \"48 V\"` and `resistance = \"0.1 ohm\"`, or `with = \"supply.ID\"`"),
        );
        return None;
    };
    Some(FaultKind::Swapped {
        supply,
        voltage_v,
        resistance_ohm,
        current_limit_a: f.q("current_limit"),
    })
}

fn of_module(
    r: &mut Resolver<'_>,
    kind: &str,
    f: &Fields,
    line: &Line,
    (path, site): (&str, Site),
) -> Option<FaultKind> {
    let module = module_of(line, path)?;
    Some(match kind {
        "hang" => FaultKind::Hang(module),
        "dead" => FaultKind::Dead(module),
        "unplugged" => {
            let leaves = match *f.choice("leaves")?.0 {
                "gap" => Leaves::Gap,
                _ => {
                    goes_on(r, line, module, (path, site))?;
                    Leaves::Joined
                }
            };
            FaultKind::Unplugged { module, leaves }
        }
        "restart" => {
            boots(r, line, module, (path, site))?;
            FaultKind::Restart {
                module,
                by: match *f.choice("by")?.0 {
                    "power" => RestartBy::Power,
                    _ => RestartBy::Watchdog,
                },
            }
        }
        "clock-step" => {
            if line.modules[module.0].clock.is_none() {
                r.tell(
                    Mistake::error(
                        Code::MissingKey,
                        site,
                        format!("`{path}` has no clock that could jump"),
                    )
                    .label("the plan says nothing of its clock")
                    .help("add `clock = { drift = \"2 ppm\" }` to the module"),
                );
                return None;
            }
            FaultKind::ClockStep {
                module,
                step_s: f.q("step")?,
            }
        }
        "reboot-loop" => {
            boots(r, line, module, (path, site))?;
            FaultKind::RebootLoop {
                module,
                after_s: f.q("after")?,
            }
        }
        _ => {
            let (name, at) = f.text("topic")?;
            let topic = topic(r, line, name, at)?;
            let linked = line.spans.iter().any(|s| {
                (s.from == module || s.to == module) && (s.link.is_some() || s.bus.is_some())
            });
            if !linked {
                r.tell(
                    Mistake::error(
                        Code::KeyConflict,
                        site,
                        format!("`{path}` has no link that it could flood"),
                    )
                    .label("no span with a link ends here"),
                );
                return None;
            }
            FaultKind::Flood {
                module,
                topic,
                every_s: f.q("every")?,
                limited: *f.flag("limited")?.0,
            }
        }
    })
}

/// Tells of a span without a link on which bits could be wrong.
fn carries_bits(
    r: &mut Resolver<'_>,
    line: &Line,
    span: SpanIx,
    (path, site): (&str, Site),
) -> Option<()> {
    let of = &line.spans[span.0];
    if of.link.is_some() || of.bus.is_some() {
        return Some(());
    }
    let message = format!("`{path}` has no link on which bits could be wrong");
    r.tell(Mistake::error(Code::KeyConflict, site, message).label("carries no data"));
    None
}

/// Tells of a restart of which the plan does not say how long it takes.
fn boots(
    r: &mut Resolver<'_>,
    line: &Line,
    module: ModuleIx,
    (path, site): (&str, Site),
) -> Option<()> {
    if line.modules[module.0].boot.is_some() {
        return Some(());
    }
    r.tell(
        Mistake::error(
            Code::MissingKey,
            site,
            format!("`{path}` is to restart, and the plan says nothing of its boot"),
        )
        .label("how long does it boot?")
        .help("add `boot = { time = \"2 s\", power = \"3 W\" }` to the module"),
    );
    None
}

/// Tells of a module past whose place the line cannot go on when it is taken off.
fn goes_on(
    r: &mut Resolver<'_>,
    line: &Line,
    module: ModuleIx,
    (path, site): (&str, Site),
) -> Option<()> {
    let plan = &line.modules[module.0];
    let ends = |carries: &dyn Fn(&crate::line::Span) -> bool| {
        let at = |s: &&crate::line::Span| (s.from == module || s.to == module) && carries(s);
        line.spans.iter().filter(at).count()
    };
    let (wires, links) = (
        ends(&|s| s.conductor.is_some()),
        ends(&|s| s.link.is_some()),
    );
    let always = |when: fn(crate::line::Passes) -> PassWhen| {
        plan.passes.is_some_and(|p| when(p) == PassWhen::Always)
    };
    let why = if line.supplies.iter().any(|s| s.module == module) {
        "a supply sits at it: the line cannot go on as it was"
    } else if wires > 1 && !always(|p| p.power) {
        "its `passes` does not say that power goes on when it has none itself"
    } else if links > 1 && !always(|p| p.data) {
        "its `passes` does not say that data go on when it has no power"
    } else {
        return Some(());
    };
    r.tell(
        Mistake::error(
            Code::KeyConflict,
            site,
            format!("the line does not go on past the place of `{path}` when it is taken off"),
        )
        .label(why)
        .help("write `leaves = \"gap\"`, or `passes = { power = \"always\", data = \"always\" }` where the plan's module is one on a branch of its own"),
    );
    None
}
