//! What a year tells.

use crate::battery::Flows;

/// Hours of the week that is kept.
pub const WEEK_HOURS: usize = 168;

/// Where a year's energy went, Wh.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Ledger {
    /// What the panels gave, after dirt, temperature, wiring and controller.
    pub gained_wh: f64,
    /// Content at the end less that at the start.
    pub stored_change_wh: f64,
    /// Lost on the way into the cells.
    pub charge_loss_wh: f64,
    /// Lost on the way out.
    pub discharge_loss_wh: f64,
    /// Lost by itself.
    pub self_discharge_wh: f64,
    /// Not taken: full, or at the highest charging power.
    pub clipped_wh: f64,
    /// Not taken: too cold or too hot for charging.
    pub blocked_wh: f64,
    /// Delivered to the load.
    pub delivered_wh: f64,
    /// Delivered to the standing consumption of the controller.
    pub standby_wh: f64,
}

impl Ledger {
    /// What was gained less everything it became, Wh: 0 but for rounding.
    #[must_use]
    pub fn gap_wh(&self) -> f64 {
        self.gained_wh
            - (self.stored_change_wh
                + self.charge_loss_wh
                + self.discharge_loss_wh
                + self.self_discharge_wh
                + self.clipped_wh
                + self.blocked_wh
                + self.delivered_wh
                + self.standby_wh)
    }

    /// Adds the account of another stretch of hours.
    pub(super) fn join(&mut self, other: &Self) {
        self.gained_wh += other.gained_wh;
        self.stored_change_wh += other.stored_change_wh;
        self.charge_loss_wh += other.charge_loss_wh;
        self.discharge_loss_wh += other.discharge_loss_wh;
        self.self_discharge_wh += other.self_discharge_wh;
        self.clipped_wh += other.clipped_wh;
        self.blocked_wh += other.blocked_wh;
        self.delivered_wh += other.delivered_wh;
        self.standby_wh += other.standby_wh;
    }

    #[inline]
    pub(super) fn add(&mut self, gained_wh: f64, flows: &Flows) {
        self.gained_wh += gained_wh;
        self.charge_loss_wh += flows.charge_loss_wh;
        self.discharge_loss_wh += flows.discharge_loss_wh;
        self.self_discharge_wh += flows.self_discharge_wh;
        self.clipped_wh += flows.clipped_wh;
        self.blocked_wh += flows.blocked_wh;
        self.delivered_wh += flows.delivered_wh;
        self.standby_wh += flows.standby_wh;
    }
}

/// A month of the year.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MonthAccount {
    /// What the panels gave, Wh.
    pub gained_wh: f64,
    /// What the load asked for, Wh.
    pub asked_wh: f64,
    /// What it did not get, Wh.
    pub unserved_wh: f64,
    /// Hours in which it did not get all.
    pub hours_off: u32,
    /// Lowest usable state of charge at the end of an hour, 0 to 1.
    pub lowest_charge: f64,
}

/// The week with the lowest mean state of charge.
#[derive(Clone, Debug, PartialEq)]
pub struct Week {
    /// Hour of the year at which it begins.
    pub first_hour: usize,
    /// Usable state of charge at the end of each of its [`WEEK_HOURS`] hours.
    pub charge: Vec<f64>,
}

/// How a year that was to repeat itself came out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Settled {
    /// The start was given.
    NotAsked,
    /// The year ends as it began, after so many runs.
    After(u32),
    /// It does not after so many runs; the last one is told. What it says of the winter is unsure.
    NotAfter(u32),
}

/// A year of panels, battery and load.
#[derive(Clone, Debug, PartialEq)]
pub struct YearAccount {
    /// Hours in which the load did not get all it asked for, because it was taken off or the battery ran out.
    pub hours_off: u32,
    /// What the load asked for, Wh.
    pub asked_wh: f64,
    /// What it did not get, Wh.
    pub unserved_wh: f64,
    /// Times the controller took the load off.
    pub disconnections: u32,
    /// First hour of the year, in the order of the run, in which the load went short.
    pub first_hour_off: Option<usize>,
    /// Lowest usable state of charge at the end of an hour, 0 to 1.
    pub lowest_charge: f64,
    /// The hour of the year of it.
    pub lowest_charge_hour: usize,
    /// Mean usable state of charge.
    pub mean_charge: f64,
    /// Usable state of charge at the start and at the end, each at the temperature of its hour.
    pub start_end_charge: (f64, f64),
    /// January to December.
    pub months: [MonthAccount; 12],
    /// The worst week.
    pub worst_week: Week,
    /// Where the energy went.
    pub ledger: Ledger,
    /// Whether the year repeats itself.
    pub settled: Settled,
}

impl YearAccount {
    /// Loss-of-load probability in time: the share of hours in which the load did not get all.
    #[must_use]
    pub fn lolp_time(&self) -> f64 {
        f64::from(self.hours_off) / crate::sun::HOURS as f64
    }

    /// Loss-of-load probability in energy: the share of the energy asked for that was not given (Egido and Lorenzo
    /// 1992, from memory); `None` when nothing was asked for. Equal to that in time only for a load that never changes.
    #[must_use]
    pub fn lolp_energy(&self) -> Option<f64> {
        (self.asked_wh > 0.0).then(|| self.unserved_wh / self.asked_wh)
    }
}
