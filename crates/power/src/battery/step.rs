//! One hour of a battery, in energy.
//!
//! Source: the energy model in common use for sizing solar supplies (common practice; no publication is followed):
//! efficiencies independent of the rate, a controller that takes the load off at one state of charge and connects it
//! again at a higher one.
//!
//! With E the content, cap the aged capacity, f the usable share at the temperature: what lies below `(1 - f) cap`
//! cannot be drawn in that cold, and comes back with warmth. The *usable state of charge* is
//! `(E - (1 - f) cap)/(f cap)`, 0 below that; the controller, where there is one, acts on it. Of a content left alone
//! `(1 - m)^(1/730)` is kept in an hour, so that a month of 730 h takes the share m. In an hour, in this order: the
//! controller looks at E; the load (if connected) and the standing consumption take what the panel gives; what is over is charged,
//! what is missing is drawn; the self-discharge of the content at the hour's beginning goes off; what is above cap was
//! never taken.
//!
//! Validity: hours; currents for which the capacity holds. Accuracy: the account closes to rounding.

use super::chemistry::{ChargeOf, Charging, Chemistry, Cutoff, Taper};
use super::error::{BatteryError, BatteryQuantity};

/// Hours in the month of a self-discharge: 8760/12.
pub const HOURS_PER_MONTH: f64 = 730.0;

/// A battery as it is bought, and how long it has served.
#[derive(Clone, Debug, PartialEq)]
pub struct Battery {
    /// Energy of the full new battery at the rated temperature, Wh.
    pub capacity_wh: f64,
    /// Time in service, years: a verdict is taken at the end of the deployment.
    pub age_years: f64,
    /// Kind of cell.
    pub chemistry: Chemistry,
}

/// A battery at one temperature: the limits of one hour's step. Energies in Wh of content.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BatteryAt {
    capacity_wh: f64,
    floor_wh: f64,
    disconnect_wh: f64,
    reconnect_wh: f64,
    charge_efficiency: f64,
    discharge_efficiency: f64,
    kept_share: f64,
    /// What is taken in an hour, before the efficiency: at most `highest_wh`, and at most `at_full_wh` with `slope`
    /// times the room that is left.
    highest_wh: f64,
    at_full_wh: f64,
    slope: f64,
    charging: ChargingNow,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum ChargingNow {
    Allowed,
    /// Too cold or too hot.
    Blocked,
    /// Primary cells.
    Never,
}

/// What a battery holds, and whether the load hangs on it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BatteryState {
    /// Content, Wh.
    pub stored_wh: f64,
    /// Whether the controller has the load connected.
    pub connected: bool,
}

/// Where the energy of an hour went, Wh. What the panel gave is
/// `delivered + standby + charge_loss + discharge_loss + self_discharge + clipped + blocked` and the change of the
/// content.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Flows {
    /// To the load.
    pub delivered_wh: f64,
    /// To the standing consumption of the controller.
    pub standby_wh: f64,
    /// Asked for by the load and not given.
    pub unserved_wh: f64,
    /// Not taken: the battery was full or at its highest charging power, or is of primary cells.
    pub clipped_wh: f64,
    /// Not taken: too cold or too hot for charging.
    pub blocked_wh: f64,
    /// Lost on the way in.
    pub charge_loss_wh: f64,
    /// Lost on the way out.
    pub discharge_loss_wh: f64,
    /// Lost by itself.
    pub self_discharge_wh: f64,
}

impl Battery {
    /// Capacity at its age, Wh.
    ///
    /// # Errors
    /// A capacity, age or yearly loss outside its range; nothing left.
    pub fn aged_capacity_wh(&self) -> Result<f64, BatteryError> {
        BatteryQuantity::Capacity.check(self.capacity_wh)?;
        let years = BatteryQuantity::Age.check(self.age_years)?;
        let yearly_loss = BatteryQuantity::YearlyLoss.check(self.chemistry.yearly_loss)?;
        let left = 1.0 - yearly_loss * years;
        if left <= 0.0 {
            return Err(BatteryError::WornOut { years, yearly_loss });
        }
        Ok(self.capacity_wh * left)
    }

    /// The battery at a temperature, degC.
    ///
    /// # Errors
    /// A field outside its range ([`BatteryQuantity::range`]); a temperature outside the table of usable capacity; a
    /// reconnection that does not lie above the disconnection; nothing left of the capacity.
    pub fn at(&self, temperature_degc: f64) -> Result<BatteryAt, BatteryError> {
        let capacity_wh = self.aged_capacity_wh()?;
        let chemistry = &self.chemistry;
        let usable = chemistry.usable_share(temperature_degc)?;
        let floor_wh = (1.0 - usable) * capacity_wh;
        let (disconnect_wh, reconnect_wh) = match &chemistry.cutoff {
            None => (f64::NEG_INFINITY, f64::NEG_INFINITY),
            Some(cutoff) => {
                let (disconnect_at, reconnect_at) = cutoff.checked()?;
                let usable_wh = usable * capacity_wh;
                let content_wh = |charge: f64| match cutoff.of {
                    ChargeOf::Usable => floor_wh + charge * usable_wh,
                    ChargeOf::Whole => charge * capacity_wh,
                };
                (content_wh(disconnect_at), content_wh(reconnect_at))
            }
        };
        let lost = BatteryQuantity::SelfDischarge.check(chemistry.self_discharge_per_month)?;
        let discharge_efficiency =
            BatteryQuantity::DischargeEfficiency.check(chemistry.discharge_efficiency)?;
        let mut at = BatteryAt {
            capacity_wh,
            floor_wh,
            disconnect_wh,
            reconnect_wh,
            charge_efficiency: 1.0,
            discharge_efficiency,
            kept_share: libm::pow(1.0 - lost, 1.0 / HOURS_PER_MONTH),
            highest_wh: 0.0,
            at_full_wh: 0.0,
            slope: 0.0,
            charging: ChargingNow::Never,
        };
        if let Some(charging) = &chemistry.charging {
            at.set_charging(charging, temperature_degc)?;
        }
        Ok(at)
    }
}

impl Chemistry {
    /// Share of the capacity that can be drawn at a temperature, degC.
    ///
    /// # Errors
    /// No table, shares out of range, a temperature outside the table.
    pub fn usable_share(&self, temperature_degc: f64) -> Result<f64, BatteryError> {
        usable_share(&self.usable_by_temperature, temperature_degc)
    }
}

/// Share of the capacity that can be drawn at a temperature, from a table by temperature.
pub(super) fn usable_share(
    by_temperature: &[(f64, f64)],
    temperature_degc: f64,
) -> Result<f64, BatteryError> {
    let (degc, shares): (Vec<f64>, Vec<f64>) = by_temperature.iter().copied().unzip();
    let table = numerics::Table::new(&degc, &shares).map_err(BatteryError::Table)?;
    for &share in &shares {
        BatteryQuantity::UsableShare.check(share)?;
    }
    table
        .at(temperature_degc)
        .map_err(|_| BatteryError::TemperatureOutsideTable {
            temperature_degc,
            lowest_degc: table.low(),
            highest_degc: table.high(),
        })
}

impl BatteryAt {
    fn set_charging(
        &mut self,
        charging: &Charging,
        temperature_degc: f64,
    ) -> Result<(), BatteryError> {
        self.charge_efficiency = BatteryQuantity::ChargeEfficiency.check(charging.efficiency)?;
        let lowest_degc = BatteryQuantity::Temperature.check(charging.lowest_degc)?;
        let highest_degc = BatteryQuantity::Temperature.check(charging.highest_degc)?;
        if lowest_degc >= highest_degc {
            return Err(BatteryError::NoChargingRange {
                lowest_degc,
                highest_degc,
            });
        }
        let (highest_wh, at_full_wh, slope) = match &charging.limit {
            None => (f64::INFINITY, f64::INFINITY, 0.0),
            Some(taper) => taper.line(self.capacity_wh)?,
        };
        if (lowest_degc..=highest_degc).contains(&temperature_degc) {
            self.charging = ChargingNow::Allowed;
            (self.highest_wh, self.at_full_wh, self.slope) = (highest_wh, at_full_wh, slope);
        } else {
            self.charging = ChargingNow::Blocked;
        }
        Ok(())
    }

    /// Content of the full battery, Wh.
    #[must_use]
    pub fn capacity_wh(&self) -> f64 {
        self.capacity_wh
    }

    /// State of charge of what can be drawn at this temperature, 0 to 1.
    #[must_use]
    #[inline]
    pub fn usable_state_of_charge(&self, stored_wh: f64) -> f64 {
        ((stored_wh - self.floor_wh) / (self.capacity_wh - self.floor_wh)).max(0.0)
    }

    /// Content at which the load goes off, Wh: taken off by a controller, or with nothing left that can be drawn.
    pub(super) fn lowest_wh(&self) -> f64 {
        self.disconnect_wh.max(self.floor_wh)
    }

    /// Content at a usable state of charge (0 to 1), Wh.
    #[must_use]
    pub fn stored_at(&self, usable_state_of_charge: f64) -> f64 {
        self.floor_wh + usable_state_of_charge * (self.capacity_wh - self.floor_wh)
    }

    /// Takes the battery through an hour in which the panel gives `gained_wh`, the load asks for `load_wh` and the
    /// controller for `standby_wh`, Wh, each finite and 0 or more: check them where they enter.
    ///
    /// The content has to lie between nothing and [`BatteryAt::capacity_wh`]; one above full makes a charge loss below
    /// zero. The load is taken off or connected at the beginning; without load the controller's consumption goes on. With
    /// nothing left to draw the load goes short first.
    #[inline]
    pub fn step(
        &self,
        state: &mut BatteryState,
        gained_wh: f64,
        load_wh: f64,
        standby_wh: f64,
    ) -> Flows {
        let before_wh = state.stored_wh;
        state.connected = if state.connected {
            before_wh > self.disconnect_wh
        } else {
            before_wh >= self.reconnect_wh
        };
        let asked_wh = if state.connected { load_wh } else { 0.0 };
        let kept_wh = before_wh * self.kept_share;
        let net_wh = gained_wh - asked_wh - standby_wh;
        let mut flows = Flows {
            delivered_wh: asked_wh,
            standby_wh,
            unserved_wh: load_wh - asked_wh,
            self_discharge_wh: before_wh - kept_wh,
            ..Flows::default()
        };
        if net_wh >= 0.0 {
            let limit_wh = (self.at_full_wh + self.slope * (self.capacity_wh - before_wh))
                .min(self.highest_wh);
            let offered_wh = net_wh.min(limit_wh);
            let filled_wh = kept_wh + offered_wh * self.charge_efficiency;
            let taken_wh = if filled_wh > self.capacity_wh {
                state.stored_wh = self.capacity_wh;
                (self.capacity_wh - kept_wh) / self.charge_efficiency
            } else {
                state.stored_wh = filled_wh;
                offered_wh
            };
            flows.charge_loss_wh = taken_wh - (state.stored_wh - kept_wh);
            let refused_wh = net_wh - taken_wh;
            if self.charging == ChargingNow::Blocked {
                flows.blocked_wh = refused_wh;
            } else {
                flows.clipped_wh = refused_wh;
            }
        } else {
            let drawn_wh = -net_wh / self.discharge_efficiency;
            let available_wh = (kept_wh - self.floor_wh).max(0.0);
            if drawn_wh <= available_wh {
                state.stored_wh = kept_wh - drawn_wh;
                flows.discharge_loss_wh = drawn_wh + net_wh;
            } else {
                state.stored_wh = kept_wh - available_wh;
                let given_wh = available_wh * self.discharge_efficiency;
                flows.discharge_loss_wh = available_wh - given_wh;
                let short_wh = -net_wh - given_wh;
                let short_load_wh = short_wh.min(asked_wh);
                flows.delivered_wh -= short_load_wh;
                flows.unserved_wh += short_load_wh;
                flows.standby_wh -= short_wh - short_load_wh;
            }
        }
        flows
    }
}

impl Cutoff {
    fn checked(&self) -> Result<(f64, f64), BatteryError> {
        let disconnect_at = BatteryQuantity::StateOfCharge.check(self.disconnect_at)?;
        let reconnect_at = BatteryQuantity::StateOfCharge.check(self.reconnect_at)?;
        if reconnect_at <= disconnect_at {
            return Err(BatteryError::NoHysteresis {
                disconnect_at,
                reconnect_at,
            });
        }
        Ok((disconnect_at, reconnect_at))
    }
}

impl Taper {
    /// Highest charge of an hour, that at full, and the slope between them over the room left.
    fn line(&self, capacity_wh: f64) -> Result<(f64, f64, f64), BatteryError> {
        let highest_wh = BatteryQuantity::ChargeRate.check(self.highest_per_h)? * capacity_wh;
        let from = BatteryQuantity::StateOfCharge.check(self.from)?;
        let left = BatteryQuantity::TaperLeft.check(self.left)?;
        let at_full_wh = left * highest_wh;
        Ok(if from < 1.0 {
            let slope = (highest_wh - at_full_wh) / ((1.0 - from) * capacity_wh);
            (highest_wh, at_full_wh, slope)
        } else {
            (highest_wh, highest_wh, 0.0)
        })
    }
}
