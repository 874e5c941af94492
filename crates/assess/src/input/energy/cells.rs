//! The cells of a supply: what the plan writes of them, and their chemistry's preset for the rest.

use plan::{Line, Q, Supply};
use power::battery::{
    Battery, BatteryError, BatteryQuantity, ChargeOf, Charging, Chemistry, Cutoff, OpenVoltage,
    PrimaryCells, SteadyCapacity, Taper,
};
use quantity::SECONDS_PER_DAY;

use super::super::{InputError, profile};
use super::{SECONDS_PER_HOUR, twelve};

/// Days of a mean year of the Gregorian calendar.
pub(super) const DAYS_PER_YEAR: f64 = 365.2425;
/// Down to here a module has the water of the surface, m (common practice).
const SURFACE_M: f64 = 2.0;

/// The battery of a supply at the end of the longest time in the water, and the temperature of its cells by month, degC.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Cells {
    pub(super) battery: Battery,
    pub(super) temperature_degc: [f64; 12],
}

impl Cells {
    /// Where the load is taken off and comes back by voltage: the charges at which the terminals are there, while the mean load is drawn in the dark, and at rest.
    ///
    /// # Errors
    /// [`InputError::NeverStays`]; a voltage at rest or a resistance that is not written.
    pub(super) fn cut_by_voltage(
        &mut self,
        supply: &Supply,
        load_w: f64,
        standing_w: f64,
    ) -> Result<(), InputError> {
        let written = battery_of(supply)?;
        let (Some(off), Some(on)) = (written.disconnect_v, written.reconnect_v) else {
            return Ok(());
        };
        let (open, resistance_ohm) = at_rest(supply)?;
        let drawn_w = load_w / self.battery.chemistry.discharge_efficiency + standing_w;
        let disconnect_at = open.content_at(off.si + resistance_ohm * drawn_w / off.si);
        let reconnect_at = open.content_at(on.si);
        let never = |why: String| InputError::NeverStays {
            what: format!("supply.{}", supply.id),
            why,
            disconnect_at,
        };
        if reconnect_at.is_infinite() {
            return Err(never(
                "at rest it never comes to its `reconnect_voltage`, not even full".to_owned(),
            ));
        }
        if disconnect_at >= 1.0 {
            return Err(never(
                "not even full are its terminals above `disconnect_voltage` while its mean load is drawn"
                    .to_owned(),
            ));
        }
        if disconnect_at >= reconnect_at {
            return Err(never(format!(
                "while its mean load is drawn the terminals are at `disconnect_voltage` with a charge of {:.0} %, and at rest at `reconnect_voltage` with {:.0} %: it would never stay on in the dark",
                100.0 * disconnect_at,
                100.0 * reconnect_at
            )));
        }
        self.battery.chemistry.cutoff = Some(Cutoff {
            of: ChargeOf::Whole,
            disconnect_at,
            reconnect_at,
        });
        Ok(())
    }
}

/// Voltage at rest by charge, and resistance, ohm, of a battery.
pub(crate) fn at_rest(supply: &Supply) -> Result<(OpenVoltage, f64), InputError> {
    let what = format!("supply.{}.battery", supply.id);
    let written = battery_of(supply)?;
    if written.open_voltage.is_empty() {
        return Err(InputError::NotSaid {
            what,
            missing: "its voltage at rest by charge (`open_voltage`)",
        });
    }
    let Some(resistance) = written.resistance_ohm else {
        return Err(InputError::NotSaid {
            what,
            missing: "its `resistance`",
        });
    };
    let points = written.open_voltage.iter();
    let points: Vec<(f64, f64)> = points.map(|(c, v)| (c.si, v.si)).collect();
    let open = OpenVoltage::new(&points).map_err(|e| refused(&what, e))?;
    Ok((open, resistance.si))
}

/// The cells as they are charged and drawn from through a year.
pub(super) fn cells(
    line: &Line,
    supply: &Supply,
    assumed: &mut Vec<String>,
) -> Result<Cells, InputError> {
    let what = format!("supply.{}", supply.id);
    let written = battery_of(supply)?;
    let (chemistry, from_preset) = chemistry(written);
    if !from_preset.is_empty() {
        assumed.push(format!(
            "{what}.battery: what docs/method/energy-year.md gives for {}, most of it from memory, for {}",
            chemistry_name(written.chemistry),
            from_preset.join(", ")
        ));
    }
    let cells = Cells {
        battery: Battery {
            capacity_wh: written.capacity_c.si * written.voltage_v.si / SECONDS_PER_HOUR,
            age_years: line.deployment.longest_s() / (DAYS_PER_YEAR * SECONDS_PER_DAY),
            chemistry,
        },
        temperature_degc: temperature_degc(line, supply, assumed)?,
    };
    for degc in cells.temperature_degc {
        cells.battery.at(degc).map_err(|e| refused(&what, e))?;
    }
    Ok(cells)
}

/// The battery of a supply as primary cells, and the voltage at which what they give arrives: the nominal one less what is lost
/// on the way out.
pub(super) fn primary(
    line: &Line,
    supply: &Supply,
    assumed: &mut Vec<String>,
) -> Result<(PrimaryCells, f64), InputError> {
    let what = format!("supply.{}", supply.id);
    let Cells {
        battery,
        temperature_degc,
    } = cells(line, supply, assumed)?;
    let written = battery_of(supply)?;
    let amp_hours = |q: Q| q.si / SECONDS_PER_HOUR;
    let capacity = if written.capacity_at.is_empty() {
        assumed.push(format!(
            "{what}.battery: its `capacity` at any current, because no `capacity_at` is written; at a high current cells give half of it and less"
        ));
        SteadyCapacity::AtAnyCurrent(amp_hours(written.capacity_c))
    } else {
        let entries = written.capacity_at.iter();
        SteadyCapacity::ByCurrent(entries.map(|(a, c)| (a.si, amp_hours(*c))).collect())
    };
    let chemistry = battery.chemistry;
    // Where a controller takes the load off, what lies below is never drawn.
    let drawn = 1.0 - written.disconnect_at.map_or(0.0, |q| q.si);
    let usable = chemistry.usable_by_temperature.iter();
    let cells = PrimaryCells {
        capacity,
        usable_by_temperature: usable.map(|(degc, share)| (*degc, share * drawn)).collect(),
        self_discharge_per_month: chemistry.self_discharge_per_month,
        temperature_degc,
    };
    Ok((cells, written.voltage_v.si * chemistry.discharge_efficiency))
}

fn battery_of(supply: &Supply) -> Result<&plan::Battery, InputError> {
    supply.battery.as_ref().ok_or_else(|| InputError::NotSaid {
        what: format!("supply.{}", supply.id),
        missing: "a battery",
    })
}

/// The cells of a supply, with what its plan does not write of them from the preset of their chemistry.
pub(crate) fn cells_preset(supply: &Supply) -> Option<Chemistry> {
    supply.battery.as_ref().map(|b| chemistry(b).0)
}

/// What the plan writes of the cells and their chemistry's preset for the rest, with the keys that are not written.
fn chemistry(written: &plan::Battery) -> (Chemistry, Vec<String>) {
    let mut c = match written.chemistry {
        plan::Chemistry::LiFePo4 => Chemistry::lithium_iron_phosphate(),
        plan::Chemistry::Agm => Chemistry::agm(),
        plan::Chemistry::PrimaryLithium => Chemistry::primary_lithium(),
        plan::Chemistry::Alkaline => Chemistry::alkaline(),
    };
    let mut preset = Vec::new();
    if written.usable.is_empty() {
        preset.push("`usable`".to_owned());
    } else {
        let pairs = written.usable.iter();
        c.usable_by_temperature = pairs.map(|(t, share)| (t.si, share.si)).collect();
    }
    let mut take = |key: &str, value: Option<Q>, into: &mut f64| match value {
        Some(q) => *into = q.si,
        None => preset.push(format!("`{key}`")),
    };
    take(
        "discharge_efficiency",
        written.discharge_efficiency,
        &mut c.discharge_efficiency,
    );
    take(
        "self_discharge_per_month",
        written.self_discharge_per_month,
        &mut c.self_discharge_per_month,
    );
    take("loss_per_year", written.loss_per_year, &mut c.yearly_loss);
    match &mut c.cutoff {
        // By voltage it is worked out where the load is known.
        _ if written.disconnect_v.is_some() => c.cutoff = None,
        Some(cutoff) => {
            take(
                "disconnect_at",
                written.disconnect_at,
                &mut cutoff.disconnect_at,
            );
            take(
                "reconnect_at",
                written.reconnect_at,
                &mut cutoff.reconnect_at,
            );
        }
        // Without one in the preset a controller is there only where the plan says both.
        None => {
            c.cutoff = written
                .disconnect_at
                .zip(written.reconnect_at)
                .map(|(off, on)| Cutoff {
                    of: ChargeOf::Usable,
                    disconnect_at: off.si,
                    reconnect_at: on.si,
                });
        }
    }
    if let Some(Charging {
        efficiency,
        lowest_degc,
        highest_degc,
        limit,
    }) = &mut c.charging
    {
        take("charge_efficiency", written.charge_efficiency, efficiency);
        take("charge_from", written.charge_from_degc, lowest_degc);
        take("charge_to", written.charge_to_degc, highest_degc);
        if let Some(Taper {
            highest_per_h,
            from,
            left,
        }) = limit
        {
            take("charge_rate", written.charge_rate_per_h, highest_per_h);
            take("tapers_from", written.tapers_from, from);
            take("tapers_to", written.tapers_to, left);
        }
    }
    (c, preset)
}

fn chemistry_name(of: plan::Chemistry) -> &'static str {
    match of {
        plan::Chemistry::LiFePo4 => "lithium iron phosphate",
        plan::Chemistry::Agm => "AGM",
        plan::Chemistry::PrimaryLithium => "primary lithium",
        plan::Chemistry::Alkaline => "alkaline cells",
    }
}

/// Temperature of the cells: as written, that of the water at the surface for a module that floats there, else that of the
/// profile.
fn temperature_degc(
    line: &Line,
    supply: &Supply,
    assumed: &mut Vec<String>,
) -> Result<[f64; 12], InputError> {
    let battery = battery_of(supply)?;
    if let Some(months) = twelve(&battery.temperature_degc) {
        return Ok(months);
    }
    let module = &line.modules[supply.module.0];
    let what = format!("supply.{}.battery", supply.id);
    if let Some(months) = twelve(&line.sea.surface_temperature_degc)
        && module.depth_m <= SURFACE_M
    {
        assumed.push(format!(
            "{what}: as warm as the water at the surface, because no `temperature` is written"
        ));
        return Ok(months);
    }
    let water_degc = profile(line)?.temperature_degc(module.depth_m)?;
    assumed.push(format!(
        "{what}: at {water_degc:.1} degC all year, the temperature of the profile at module.{}",
        module.id
    ));
    Ok([water_degc; 12])
}

/// What the battery refuses, with the keys that say it.
pub(crate) fn refused(supply: &str, source: BatteryError) -> InputError {
    let keys = match &source {
        BatteryError::Table(_) | BatteryError::TemperatureOutsideTable { .. } => "`usable`",
        BatteryError::NoHysteresis { .. } => "`disconnect_at` and `reconnect_at`",
        BatteryError::NoChargingRange { .. } => "`charge_from` and `charge_to`",
        BatteryError::WornOut { .. } => "`loss_per_year`",
        BatteryError::CurrentTable(_) | BatteryError::CurrentAboveTable { .. } => "`capacity_at`",
        BatteryError::OutOfRange { quantity, .. } => match quantity {
            BatteryQuantity::Age => {
                "`duration` of the deployment with its slips (shorten it, or plan another deployment with a new battery)"
            }
            BatteryQuantity::Capacity => "`capacity` and `voltage`",
            BatteryQuantity::AmpereHours => "`capacity` or `capacity_at`",
            BatteryQuantity::UsableShare => "`usable`",
            BatteryQuantity::ChargeEfficiency => "`charge_efficiency`",
            BatteryQuantity::DischargeEfficiency => "`discharge_efficiency`",
            BatteryQuantity::SelfDischarge => "`self_discharge_per_month`",
            BatteryQuantity::YearlyLoss => "`loss_per_year`",
            BatteryQuantity::StateOfCharge => "`disconnect_at`, `reconnect_at` or `tapers_from`",
            BatteryQuantity::ChargeRate => "`charge_rate`",
            BatteryQuantity::TaperLeft => "`tapers_to`",
            BatteryQuantity::Temperature => "`charge_from` or `charge_to`",
            _ => "its values",
        },
        _ => "its values",
    };
    InputError::Cells {
        what: format!("{supply}.battery"),
        keys,
        source,
    }
}
