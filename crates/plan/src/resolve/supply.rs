//! Supplies with their panels and batteries.

use super::{Resolver, rising};
use crate::line::{
    Battery, Charger, Chemistry, Dirt, InHold, Line, Panels, Pole, Protection, Q, StartsOn, Supply,
    SupplyKind, Wakes,
};
use crate::mistake::{Code, Mistake};
use crate::read::Fields;

pub(super) fn supplies(r: &mut Resolver<'_>, root: &Fields, line: &mut Line) {
    for (id, f) in root.keyed("supply") {
        r.part = format!("supply.{id}");
        if let Some(supply) = supply(r, id, f, line) {
            line.supplies.push(supply);
        }
    }
}

fn supply(r: &mut Resolver<'_>, id: &str, f: &Fields, line: &Line) -> Option<Supply> {
    let kind = match *f.choice("kind")?.0 {
        "solar-battery" => SupplyKind::SolarBattery,
        "bench" => SupplyKind::Bench,
        "vessel" => SupplyKind::Vessel,
        "shore" => SupplyKind::Shore,
        _ => SupplyKind::PrimaryCells,
    };
    let wanted: &[&'static str] = match kind {
        SupplyKind::SolarBattery => &["panels", "battery"],
        SupplyKind::PrimaryCells => &["battery"],
        _ => &[],
    };
    for key in wanted {
        if !f.has(key) {
            r.tell(
                Mistake::error(
                    Code::MissingKey,
                    f.site,
                    format!("this kind of supply needs `{key}`"),
                )
                .label(format!("`{key}` is missing here"))
                .help(format!("add `{key} = {{ ... }}`")),
            );
        }
    }
    let owners: [(&'static str, &[SupplyKind], &str); 4] = [
        ("panels", &[SupplyKind::SolarBattery], "solar-battery"),
        ("charger", &[SupplyKind::SolarBattery], "solar-battery"),
        ("hold", &[SupplyKind::SolarBattery], "solar-battery"),
        (
            "battery",
            &[SupplyKind::SolarBattery, SupplyKind::PrimaryCells],
            "solar-battery or primary-cells",
        ),
    ];
    for (key, kinds, words) in owners {
        if let Some(site) = f.site_of(key)
            && !kinds.contains(&kind)
        {
            r.tell(
                Mistake::error(
                    Code::KeyConflict,
                    site,
                    format!("`{key}` does not belong to this kind of supply"),
                )
                .label(format!("only of {words}")),
            );
        }
    }
    let output = f.table("output")?.0;
    if let (Some(voltage), Some(highest)) = (output.q("voltage"), output.q("highest"))
        && highest.si < voltage.si
    {
        r.tell(
            Mistake::error(
                Code::OutOfRange,
                highest.at,
                "the highest voltage is below the voltage without load",
            )
            .label("not below `voltage`")
            .related(voltage.at, "`voltage`"),
        );
    }
    Some(Supply {
        id: id.to_owned(),
        at: f.site,
        module: r.module(line, f, "at")?,
        kind,
        voltage_v: output.q("voltage")?,
        highest_v: output.q("highest"),
        resistance_ohm: output.q("resistance")?,
        current_limit_a: output.q("current_limit"),
        pole: output.choice("pole").map(|(word, _)| match *word {
            "earthed" => Pole::Earthed,
            _ => Pole::Floating,
        }),
        standing_w: f.q("standing"),
        panels: f.table("panels").and_then(|(t, _)| {
            Some(Panels {
                peak_power_each_w: t.q("peak_power_each")?,
                faces: u32::try_from(*t.count("faces")?.0).ok()?,
                tilt_deg: t.deg("tilt")?,
                loss: t.q("loss")?,
                azimuth_deg: t.deg("azimuth"),
                loss_per_kelvin: t.q("loss_per_kelvin"),
                dirt: t.table("dirt").map(|(d, _)| Dirt {
                    birds: d.qs("birds"),
                    salt: d.qs("salt"),
                    growth: d.qs("growth"),
                }),
            })
        }),
        charger: f.table("charger").and_then(|(t, _)| {
            Some(Charger {
                starts_on: match *t.choice("starts_on")?.0 {
                    "panels" => StartsOn::Panels,
                    _ => StartsOn::Battery,
                },
                from_v: t.q("from"),
            })
        }),
        battery: f.table("battery").and_then(|(t, _)| battery(r, t, kind)),
        hold: f.table("hold").and_then(|(t, _)| {
            Some(InHold {
                lasts_s: t.q("lasts")?,
                draws_w: t.q("draws")?,
                self_discharge: t.q("self_discharge"),
            })
        }),
    })
}

fn battery(r: &mut Resolver<'_>, t: &Fields, kind: SupplyKind) -> Option<Battery> {
    let (word, at) = t.choice("chemistry")?;
    let (chemistry, primary) = match *word {
        "lifepo4" => (Chemistry::LiFePo4, false),
        "agm" => (Chemistry::Agm, false),
        "primary-lithium" => (Chemistry::PrimaryLithium, true),
        _ => (Chemistry::Alkaline, true),
    };
    if primary && kind == SupplyKind::SolarBattery {
        r.tell(
            Mistake::error(
                Code::KeyConflict,
                at,
                "primary cells must never be charged, and panels charge them",
            )
            .label("primary cells")
            .help("write `lifepo4` or `agm`, or make it a supply of the kind `primary-cells` without panels"),
        );
    }
    let of_the_other: &[&'static str] = if primary {
        &[
            "charge_efficiency",
            "disconnect_voltage",
            "reconnect_voltage",
            "disconnect_after",
            "reconnect_after",
            "protection",
            "charge_from",
            "charge_to",
            "charge_rate",
            "tapers_from",
            "tapers_to",
        ]
    } else {
        &["capacity_at"]
    };
    for key in of_the_other {
        if let Some(site) = t.site_of(key) {
            let (of, which) = if primary {
                ("cells that are charged", "these are primary cells")
            } else {
                ("primary cells", "these cells are charged")
            };
            r.tell(
                Mistake::error(Code::KeyConflict, site, format!("`{key}` belongs to {of}"))
                    .label(which),
            );
        }
    }
    let pairs = |key, first: &'static str, second: &'static str| -> Vec<(Q, Q)> {
        let all = t.tables(key).iter();
        all.filter_map(|p| Some((p.q(first)?, p.q(second)?)))
            .collect()
    };
    let usable = pairs("usable", "temperature", "share");
    let capacity_at = pairs("capacity_at", "current", "capacity");
    for (list, what) in [(&usable, "temperatures"), (&capacity_at, "supply currents")] {
        rising(r, &list.iter().map(|(x, _)| *x).collect::<Vec<_>>(), what);
    }
    let open_voltage = pairs("open_voltage", "charge", "voltage");
    at_rest(r, &open_voltage);
    by_charge_or_voltage(r, t);
    for (low, high, what) in [
        (
            "disconnect_voltage",
            "reconnect_voltage",
            "the load would come back before it is taken off",
        ),
        (
            "disconnect_at",
            "reconnect_at",
            "the load would come back before it is taken off",
        ),
        (
            "charge_from",
            "charge_to",
            "no temperature would be left at which it may be charged",
        ),
    ] {
        if let (Some(a), Some(b)) = (t.q(low), t.q(high))
            && b.si <= a.si
        {
            r.tell(
                Mistake::error(
                    Code::OutOfRange,
                    b.at,
                    format!("`{high}` must lie above `{low}`: {what}"),
                )
                .label("not above")
                .related(a.at, "the lower one"),
            );
        }
    }
    Some(Battery {
        chemistry,
        capacity_c: t.q("capacity")?,
        voltage_v: t.q("voltage")?,
        usable,
        charge_efficiency: t.q("charge_efficiency"),
        discharge_efficiency: t.q("discharge_efficiency"),
        self_discharge_per_month: t.q("self_discharge_per_month"),
        loss_per_year: t.q("loss_per_year"),
        disconnect_at: t.q("disconnect_at"),
        reconnect_at: t.q("reconnect_at"),
        disconnect_v: t.q("disconnect_voltage"),
        reconnect_v: t.q("reconnect_voltage"),
        disconnect_after_s: t.q("disconnect_after"),
        reconnect_after_s: t.q("reconnect_after"),
        resistance_ohm: t.q("resistance"),
        open_voltage,
        protection: t.table("protection").and_then(|(p, _)| {
            Some(Protection {
                cuts_off_v: p.q("cuts_off")?,
                wakes: p.choice("wakes").map(|(word, _)| match *word {
                    "by-hand" => Wakes::ByHand,
                    _ => Wakes::ByCharge,
                }),
            })
        }),
        charge_from_degc: t.q("charge_from"),
        charge_to_degc: t.q("charge_to"),
        charge_rate_per_h: t.q("charge_rate"),
        tapers_from: t.q("tapers_from"),
        tapers_to: t.q("tapers_to"),
        temperature_degc: t.qs("temperature"),
        capacity_at,
    })
}

/// Voltages at rest rise with the charge, from the empty battery to the full one.
fn at_rest(r: &mut Resolver<'_>, pairs: &[(Q, Q)]) {
    let (Some(first), Some(last)) = (pairs.first(), pairs.last()) else {
        return;
    };
    rising(
        r,
        &pairs.iter().map(|(x, _)| *x).collect::<Vec<_>>(),
        "charges",
    );
    rising(
        r,
        &pairs.iter().map(|(_, y)| *y).collect::<Vec<_>>(),
        "voltages at rest",
    );
    for (end, is, wanted) in [
        (first, first.0.si == 0.0, "0 %"),
        (last, last.0.si == 1.0, "100 %"),
    ] {
        if !is {
            r.tell(
                Mistake::error(
                    Code::OutOfRange,
                    end.0.at,
                    "voltages at rest are needed from the empty battery to the full one",
                )
                .label(format!("not {wanted}"))
                .help(format!(
                    "add `{{ charge = \"{wanted}\", voltage = \"...\" }}`"
                )),
            );
        }
    }
}

/// The load is taken off by charge or by voltage, not by both.
fn by_charge_or_voltage(r: &mut Resolver<'_>, t: &Fields) {
    let by_charge = ["disconnect_at", "reconnect_at"];
    let by_voltage = ["disconnect_voltage", "reconnect_voltage"];
    let site = |keys: [&'static str; 2]| keys.into_iter().find_map(|k| t.site_of(k));
    if let (Some(a), Some(b)) = (site(by_charge), site(by_voltage)) {
        r.tell(
            Mistake::error(
                Code::KeyConflict,
                b,
                "the load is taken off by its voltage or by its charge, not by both",
            )
            .label("by voltage")
            .related(a, "by charge")
            .help("write `disconnect_voltage` and `reconnect_voltage`, or `disconnect_at` and `reconnect_at`"),
        );
        return;
    }
    let written = by_voltage.map(|k| t.site_of(k));
    if let [Some(at), None] | [None, Some(at)] = written {
        let missing = match written[0] {
            Some(_) => by_voltage[1],
            None => by_voltage[0],
        };
        r.tell(
            Mistake::error(
                Code::MissingKey,
                at,
                format!("this needs `{missing}` besides"),
            )
            .label(format!("`{missing}` is missing"))
            .help(format!("add `{missing} = \"...\"`")),
        );
    }
}
