//! What a kind of cell does, with four presets as starting points.
//!
//! A preset is a plain struct: take it and set the fields for which the maker's data are at hand. Each figure below
//! carries where it comes from; none of them is a maker's guarantee.

/// How a kind of cell behaves.
#[derive(Clone, Debug, PartialEq)]
pub struct Chemistry {
    /// Share of the capacity that can be drawn at a temperature: (degC, share), ascending; straight lines between. A
    /// temperature beyond the ends is an error.
    pub usable_by_temperature: Vec<(f64, f64)>,
    /// Share of the energy drawn from the cells that arrives, 0 to 1.
    pub discharge_efficiency: f64,
    /// Share of the content lost in a month (730 h) by itself.
    pub self_discharge_per_month: f64,
    /// Share of the new capacity lost in a year of service.
    pub yearly_loss: f64,
    /// When a controller takes the load off; `None` where nothing does and the load has what can be drawn.
    pub cutoff: Option<Cutoff>,
    /// How it takes charge; `None` for primary cells.
    pub charging: Option<Charging>,
}

/// What a state of charge is a share of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ChargeOf {
    /// Of what can be drawn at the temperature.
    Usable,
    /// Of the whole content.
    Whole,
}

/// States of charge at which a controller takes the load off and connects it again.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cutoff {
    /// What they are shares of.
    pub of: ChargeOf,
    /// At or below it the load is taken off.
    pub disconnect_at: f64,
    /// At or above it the load is connected again.
    pub reconnect_at: f64,
}

/// How a kind of cell takes charge.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Charging {
    /// Share of the energy offered that gets into the cells, 0 to 1.
    pub efficiency: f64,
    /// Below this temperature charging is blocked, degC.
    pub lowest_degc: f64,
    /// Above this temperature charging is blocked, degC.
    pub highest_degc: f64,
    /// Limit on the charging power; `None` for a battery that takes whatever is offered.
    pub limit: Option<Taper>,
}

/// Highest charging power, falling toward full.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Taper {
    /// Highest charging power over the capacity, 1/h (0.2 is ten amperes into fifty ampere hours).
    pub highest_per_h: f64,
    /// State of charge from which it falls in a straight line; 1 for no fall.
    pub from: f64,
    /// Share of it left at full.
    pub left: f64,
}

impl Chemistry {
    /// Sealed lead-acid with absorbed electrolyte (AGM).
    ///
    /// Usable capacity 0.80 at 0 degC and 0.50 at -20 degC: low ends of 80-85 % and 50-60 % of the 20 h rate (from
    /// memory). Efficiency 0.90 in and 0.95 out: 85-90 % there and back (from memory). Self-discharge 3 % a month at 20
    /// degC: a vendor's handbook. Loss 4 % a year: 80 % left counts as worn out (common practice), after five years
    /// (from memory). Load off at 0.4, back at 0.55: 50-80 % of depth is used (common practice). Charging from -20 to
    /// 50 degC, at most a fifth of the capacity per hour, falling above 0.8 (all from memory); acceptance falls further
    /// in the cold, which is not in it.
    #[must_use]
    pub fn agm() -> Self {
        Self {
            usable_by_temperature: vec![(-20.0, 0.50), (0.0, 0.80), (25.0, 1.0), (50.0, 1.0)],
            discharge_efficiency: 0.95,
            self_discharge_per_month: 0.03,
            yearly_loss: 0.04,
            cutoff: Some(Cutoff {
                of: ChargeOf::Usable,
                disconnect_at: 0.4,
                reconnect_at: 0.55,
            }),
            charging: Some(Charging {
                efficiency: 0.90,
                lowest_degc: -20.0,
                highest_degc: 50.0,
                limit: Some(Taper {
                    highest_per_h: 0.2,
                    from: 0.8,
                    left: 0.05,
                }),
            }),
        }
    }

    /// Lithium iron phosphate.
    ///
    /// Usable capacity 0.80 at 0 degC and 0.70 at -20 degC, discharge to 60 degC, charging from 0 to 45 degC: vendors'
    /// pages and a 12.8 V data sheet. Efficiency 0.96 each way: 92-98 % there and back (from memory). Self-discharge 5
    /// % a month: the high end of 3-5 %, from a weak source, the protection's own consumption included. Loss 3 % a year
    /// (from memory). Load off at 0.2, back at 0.3: 80-90 % of depth is used (common practice). At most half the
    /// capacity per hour, falling above 0.95 (from memory).
    #[must_use]
    pub fn lithium_iron_phosphate() -> Self {
        Self {
            usable_by_temperature: vec![(-20.0, 0.70), (0.0, 0.80), (25.0, 1.0), (60.0, 1.0)],
            discharge_efficiency: 0.96,
            self_discharge_per_month: 0.05,
            yearly_loss: 0.03,
            cutoff: Some(Cutoff {
                of: ChargeOf::Usable,
                disconnect_at: 0.2,
                reconnect_at: 0.3,
            }),
            charging: Some(Charging {
                efficiency: 0.96,
                lowest_degc: 0.0,
                highest_degc: 45.0,
                limit: Some(Taper {
                    highest_per_h: 0.5,
                    from: 0.95,
                    left: 0.05,
                }),
            }),
        }
    }

    /// Primary lithium thionyl chloride at a small steady current.
    ///
    /// Self-discharge 1 % a year (from memory). Usable capacity 0.85 at 0 degC and 0.60 at -30 degC (from memory). The
    /// capacity that counts depends on the current by half and more: a 19 Ah cell at 4 mA gives 13.5 Ah at 20 mA and 7
    /// Ah at 35 mA (Linden's Handbook of Batteries, figure 14.17); take it from the maker's curve at the load's
    /// current. No controller takes the load off; what a cold hour does not give it gets again in warmth.
    #[must_use]
    pub fn primary_lithium() -> Self {
        Self {
            usable_by_temperature: vec![(-30.0, 0.60), (0.0, 0.85), (25.0, 1.0), (60.0, 1.0)],
            discharge_efficiency: 1.0,
            self_discharge_per_month: 0.01 / 12.0,
            yearly_loss: 0.0,
            cutoff: None,
            charging: None,
        }
    }

    /// Alkaline manganese dioxide at a small steady current.
    ///
    /// Self-discharge 3 % a year: the high end of 2-3 % (from memory). Usable capacity 0.70 at 0 degC and 0.20 at -20
    /// degC (from memory); it falls with the current as well. No controller takes the load
    /// off; what a cold hour does not give it gets again in warmth.
    #[must_use]
    pub fn alkaline() -> Self {
        Self {
            usable_by_temperature: vec![(-20.0, 0.20), (0.0, 0.70), (20.0, 1.0), (50.0, 1.0)],
            discharge_efficiency: 1.0,
            self_discharge_per_month: 0.03 / 12.0,
            yearly_loss: 0.0,
            cutoff: None,
            charging: None,
        }
    }
}
