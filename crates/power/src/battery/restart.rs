//! A load that comes back on an empty battery: whether the battery holds it, how often it is taken off again, and what that costs.
//!
//! Cells of an open-circuit voltage V0 by their content, behind a resistance R. A power P drawn at the terminals (below zero: charged) leaves
//! `V = (V0 + sqrt(V0^2 - 4 R P)) / 2`, so the terminals are at a voltage U where `V0 = U + R P / U`, and there is no voltage at all below `V0 = 2 sqrt(R P)`. Between two changes of load and light the content moves
//! in a straight line, so that each crossing of a threshold is found in closed form: nothing is stepped. The load is taken off when the terminals have been below one voltage for a time, at once when
//! there is no voltage; it comes back when they have been at or above another for a time. By charge, the content is compared in place of the voltage.
//!
//! Energy as in the hourly year ([`super::BatteryAt`]): what light there is goes to the load first; of what is over an efficiency gets into the cells, up to a highest power and to full; what is missing is
//! drawn from the content. The load is what is drawn at the terminals.
//!
//! Limits: one resistance for all times and both directions, so no slow recovery of the cells after a load; the voltage of a warm cell. Source: Ohm's law and the account of energy (derived for this program).

use super::error::{BatteryError, BatteryQuantity};

/// Switchings after which a battery that goes on switching is left.
const MOST_SWITCHINGS: usize = 100_000;

/// Open-circuit voltage by content.
#[derive(Clone, Debug, PartialEq)]
pub struct OpenVoltage {
    /// Content over the capacity, from 0 to 1, and V; both rising.
    points: Vec<(f64, f64)>,
}

/// When the load is taken off and comes back.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Thresholds {
    /// By the voltage at the terminals, V.
    Voltage {
        /// Taken off below.
        off_v: f64,
        /// Comes back at or above.
        on_v: f64,
    },
    /// By the content over the capacity.
    Content {
        /// Taken off below.
        off: f64,
        /// Comes back at or above.
        on: f64,
    },
}

/// A battery with its switch.
#[derive(Clone, Debug, PartialEq)]
pub struct Bank {
    /// Content when full, Wh.
    pub capacity_wh: f64,
    /// Voltage without supply current.
    pub open: OpenVoltage,
    /// Of the cells and their leads, ohm.
    pub resistance_ohm: f64,
    /// Share of what is offered that gets into the cells.
    pub charge_efficiency: f64,
    /// Most that is taken, W.
    pub most_charge_w: f64,
    /// The switch.
    pub thresholds: Thresholds,
    /// How long the terminals are too low before the load is taken off, s.
    pub off_after_s: f64,
    /// How long they are high enough before it comes back, s.
    pub on_after_s: f64,
}

/// A power for a time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stretch {
    /// s.
    pub lasting_s: f64,
    /// W.
    pub power_w: f64,
}

/// What is drawn at the terminals.
#[derive(Clone, Debug, PartialEq)]
pub struct Demand {
    /// From when the load comes back, one after another.
    pub boot: Vec<Stretch>,
    /// Afterwards, W.
    pub running_w: f64,
    /// What goes on without the load, and is drawn besides with it, W.
    pub standing_w: f64,
}

/// Whether the battery holds the load that comes back.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hold {
    /// The voltage, or the content, at which the load comes back.
    pub on: f64,
    /// The least at which it could come back and stay until it has booted; beyond what the battery has where `reachable` says so.
    pub needed: f64,
    /// Whether the full battery holds it.
    pub reachable: bool,
    /// The one at which it is taken off.
    pub off: f64,
    /// What the largest of the load takes from the voltage at the terminals when the load comes back, V; `None` where no voltage is left.
    pub drop_v: Option<f64>,
}

impl Hold {
    /// Whether the load stays.
    #[must_use]
    pub fn holds(&self) -> bool {
        self.reachable && self.on >= self.needed
    }
}

/// A stretch of time in which the load was on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spell {
    /// It came back, s.
    pub on_s: f64,
    /// It was taken off again, s; `None` where it was on at the end.
    pub off_s: Option<f64>,
    /// What it drew, Wh.
    pub drawn_wh: f64,
}

/// What came of a stretch of light.
#[derive(Clone, Debug, PartialEq)]
pub struct Dawn {
    /// The spells, in order.
    pub spells: Vec<Spell>,
    /// From when it switches on and off with no time between, s: neither switching waits, and both are due at once.
    pub endless_from_s: Option<f64>,
    /// Content at the end, Wh.
    pub content_wh: f64,
    /// Lowest content, Wh.
    pub lowest_wh: f64,
    /// What the cells were offered and took, Wh.
    pub taken_wh: f64,
    /// What they gave, Wh.
    pub given_wh: f64,
}

impl Dawn {
    /// From when the load stays until the end, s; `None` where it does not.
    #[must_use]
    pub fn holds_from_s(&self) -> Option<f64> {
        let last = self.spells.last()?;
        (self.endless_from_s.is_none() && last.off_s.is_none()).then_some(last.on_s)
    }

    /// Times that it was taken off again.
    #[must_use]
    pub fn falls(&self) -> usize {
        self.spells.iter().filter(|s| s.off_s.is_some()).count()
    }

    /// What it drew in the spells after which it was taken off again, Wh.
    #[must_use]
    pub fn lost_wh(&self) -> f64 {
        let ended = self.spells.iter().filter(|s| s.off_s.is_some());
        ended.map(|s| s.drawn_wh).sum()
    }
}

impl OpenVoltage {
    /// From contents over the capacity and voltages, V: from empty to full, both rising.
    ///
    /// # Errors
    /// [`BatteryError::OpenVoltage`]; a voltage out of its range.
    pub fn new(points: &[(f64, f64)]) -> Result<Self, BatteryError> {
        let rising = points
            .windows(2)
            .all(|w| w[0].0 < w[1].0 && w[0].1 < w[1].1);
        let ends =
            points.first().map(|p| p.0) == Some(0.0) && points.last().map(|p| p.0) == Some(1.0);
        if !rising || !ends || points.len() < 2 {
            return Err(BatteryError::OpenVoltage);
        }
        for (_, volts) in points {
            BatteryQuantity::Voltage.check(*volts)?;
        }
        Ok(Self {
            points: points.to_vec(),
        })
    }

    /// Voltage at a content over the capacity (0 to 1; beyond it that of the end), V.
    #[must_use]
    pub fn at(&self, content: f64) -> f64 {
        let ends = (self.points[0], self.points[self.points.len() - 1]);
        if content <= ends.0.0 {
            return ends.0.1;
        }
        if content >= ends.1.0 {
            return ends.1.1;
        }
        let k = self.points.partition_point(|p| p.0 <= content);
        let ((x, u), (y, v)) = (self.points[k - 1], self.points[k]);
        u + (v - u) * (content - x) / (y - x)
    }

    /// Content over the capacity at a voltage, V: 0 below that of the empty battery, infinite above that of the full one.
    #[must_use]
    pub fn content_at(&self, volts: f64) -> f64 {
        let k = self.points.partition_point(|p| p.1 < volts);
        if k == 0 {
            return 0.0;
        }
        if k == self.points.len() {
            return f64::INFINITY;
        }
        let ((x, u), (y, v)) = (self.points[k - 1], self.points[k]);
        x + (y - x) * (volts - u) / (v - u)
    }
}

/// Voltage at the terminals with a power drawn (below zero: charged), V; `None` where there is none.
#[must_use]
pub fn terminal_v(open_v: f64, resistance_ohm: f64, drawn_w: f64) -> Option<f64> {
    let inside = open_v * open_v - 4.0 * resistance_ohm * drawn_w;
    (inside >= 0.0).then(|| (open_v + libm::sqrt(inside)) / 2.0)
}

impl Bank {
    /// # Errors
    /// A field out of its range; a load that would come back where it is taken off, or below.
    pub fn check(&self) -> Result<(), BatteryError> {
        BatteryQuantity::Capacity.check(self.capacity_wh)?;
        BatteryQuantity::SeriesResistance.check(self.resistance_ohm)?;
        BatteryQuantity::ChargeEfficiency.check(self.charge_efficiency)?;
        for seconds in [self.off_after_s, self.on_after_s] {
            BatteryQuantity::SwitchingDelay.check(seconds)?;
        }
        if self.most_charge_w.is_nan() || self.most_charge_w < 0.0 {
            return Err(BatteryError::OutOfRange {
                quantity: BatteryQuantity::Power,
                value: self.most_charge_w,
            });
        }
        let (off, on) = match self.thresholds {
            Thresholds::Voltage { off_v, on_v } => {
                BatteryQuantity::Voltage.check(off_v)?;
                BatteryQuantity::Voltage.check(on_v)?;
                (off_v, on_v)
            }
            Thresholds::Content { off, on } => {
                BatteryQuantity::StateOfCharge.check(off)?;
                BatteryQuantity::StateOfCharge.check(on)?;
                (off, on)
            }
        };
        if on <= off {
            return Err(BatteryError::NoHysteresis {
                disconnect_at: off,
                reconnect_at: on,
            });
        }
        Ok(())
    }

    /// Open-circuit voltage below which the terminals have no voltage under a power, V.
    fn collapse_open_v(&self, net_w: f64) -> f64 {
        2.0 * libm::sqrt(self.resistance_ohm * net_w.max(0.0))
    }

    /// Open-circuit voltage at which the terminals are at a voltage under a power, V; at least that at which they have one.
    fn open_v(&self, terminal_v: f64, net_w: f64) -> f64 {
        // Below half the open-circuit voltage lies the other root, which no load holds.
        match terminal_v * terminal_v >= self.resistance_ohm * net_w {
            true => terminal_v + self.resistance_ohm * net_w / terminal_v,
            false => self.collapse_open_v(net_w),
        }
    }

    /// Open-circuit voltage below which the load is taken off under a power, V; by charge that at which there is no voltage.
    fn off_open_v(&self, net_w: f64) -> f64 {
        match self.thresholds {
            Thresholds::Voltage { off_v, .. } => self.open_v(off_v, net_w),
            Thresholds::Content { .. } => self.collapse_open_v(net_w),
        }
    }

    /// Content below which the terminals have no voltage under a power, Wh.
    fn collapse_wh(&self, net_w: f64) -> f64 {
        match net_w > 0.0 {
            true => self.content_wh(self.collapse_open_v(net_w)),
            false => 0.0,
        }
    }

    /// Content at an open-circuit voltage, Wh; infinite above that of the full battery.
    fn content_wh(&self, open_v: f64) -> f64 {
        self.capacity_wh * self.open.content_at(open_v)
    }

    fn off_wh(&self, net_w: f64) -> f64 {
        let by_voltage_wh = self.content_wh(self.off_open_v(net_w));
        match self.thresholds {
            Thresholds::Voltage { .. } => by_voltage_wh,
            Thresholds::Content { off, .. } => by_voltage_wh.max(off * self.capacity_wh),
        }
    }

    fn on_wh(&self, net_w: f64) -> f64 {
        match self.thresholds {
            Thresholds::Voltage { on_v, .. } => self.content_wh(self.open_v(on_v, net_w)),
            Thresholds::Content { on, .. } => on * self.capacity_wh,
        }
    }

    /// What a power over what the light gives, or under it, does to the content, W; and what of it is charged.
    fn rate_w(&self, net_w: f64) -> f64 {
        if net_w > 0.0 {
            -net_w
        } else {
            self.charge_efficiency * (-net_w).min(self.most_charge_w)
        }
    }

    /// The power at the terminals of the cells, W: what is charged is no more than they take.
    fn net_w(&self, demand_w: f64, light_w: f64) -> f64 {
        (demand_w - light_w).max(-self.most_charge_w)
    }

    /// Content at which the load was taken off while it ran without light, Wh: where a dawn begins.
    #[must_use]
    pub fn taken_off_wh(&self, demand: &Demand) -> f64 {
        let net_w = demand.running_w + demand.standing_w;
        self.off_wh(net_w).min(self.capacity_wh)
    }

    /// The highest voltage at the terminals, V: those of the full battery at rest, and while a power, W, is offered to it.
    #[must_use]
    pub fn highest_v(&self, offered_w: f64) -> (f64, f64) {
        let full_v = self.open.at(1.0);
        let charged_w = offered_w.min(self.most_charge_w).max(0.0);
        let charged_v = terminal_v(full_v, self.resistance_ohm, -charged_w);
        (full_v, charged_v.unwrap_or(full_v))
    }

    /// Whether the load that comes back under a steady light stays until it has booted, and at which voltage or content it would.
    ///
    /// Where all of the boot is over before the switch acts, only what runs afterwards counts, and that there is a voltage.
    ///
    /// # Errors
    /// [`Bank::check`]; a light or a load that is no power of zero or more.
    pub fn hold(&self, demand: &Demand, light_w: f64) -> Result<Hold, BatteryError> {
        self.check()?;
        demand.check()?;
        power(light_w)?;
        let boot_s: f64 = demand.boot.iter().map(|s| s.lasting_s).sum();
        let short = boot_s <= self.off_after_s && boot_s > 0.0;
        let mut drawn_wh = 0.0;
        let mut needed = Needed::default();
        for stretch in &demand.boot {
            let net_w = self.net_w(stretch.power_w + demand.standing_w, light_w);
            let falls_wh = -self.rate_w(net_w) * stretch.lasting_s / 3600.0;
            let open_v = match short {
                true => self.collapse_open_v(net_w),
                false => self.off_open_v(net_w),
            };
            needed.also(self, open_v, drawn_wh + falls_wh.max(0.0));
            if let (Thresholds::Content { off, .. }, false) = (self.thresholds, short) {
                needed.also_wh(off * self.capacity_wh + drawn_wh + falls_wh.max(0.0));
            }
            drawn_wh += falls_wh;
        }
        let running_w = self.net_w(demand.running_w + demand.standing_w, light_w);
        needed.also(self, self.off_open_v(running_w), drawn_wh);
        if let Thresholds::Content { off, .. } = self.thresholds {
            needed.also_wh(off * self.capacity_wh + drawn_wh);
        }
        let idle_w = self.net_w(demand.standing_w, light_w);
        let reachable = needed.content_wh <= self.capacity_wh;
        let (off, on, at_least) = match self.thresholds {
            Thresholds::Voltage { off_v, on_v } => {
                let share = needed.content_wh / self.capacity_wh;
                let open_v = match reachable {
                    true => self.open.at(share),
                    false => needed.open_v.max(self.open.at(1.0)),
                };
                let at_least = terminal_v(open_v, self.resistance_ohm, idle_w);
                (off_v, on_v, at_least.unwrap_or(f64::INFINITY))
            }
            Thresholds::Content { off, on } => {
                (off, on, (needed.content_wh / self.capacity_wh).max(off))
            }
        };
        let heaviest_w = demand.boot.iter().map(|s| s.power_w);
        let heaviest_w = heaviest_w.fold(demand.running_w, f64::max);
        let heaviest_w = self.net_w(heaviest_w + demand.standing_w, light_w);
        let open_v = self.open.at(self.on_wh(idle_w) / self.capacity_wh);
        let before_v = terminal_v(open_v, self.resistance_ohm, idle_w);
        let after_v = terminal_v(open_v, self.resistance_ohm, heaviest_w);
        Ok(Hold {
            on,
            needed: at_least,
            reachable,
            off,
            drop_v: before_v.zip(after_v).map(|(before, after)| before - after),
        })
    }

    /// Follows the battery from a content, with the load off, through stretches of light.
    ///
    /// # Errors
    /// As [`Bank::hold`]; a content outside the battery; a stretch that is no time; more switchings than are followed.
    pub fn dawn(
        &self,
        demand: &Demand,
        content_wh: f64,
        light: &[Stretch],
    ) -> Result<Dawn, BatteryError> {
        self.check()?;
        demand.check()?;
        for stretch in light {
            stretch.check()?;
        }
        if !(0.0..=self.capacity_wh).contains(&content_wh) {
            return Err(BatteryError::OutOfRange {
                quantity: BatteryQuantity::StateOfCharge,
                value: content_wh / self.capacity_wh,
            });
        }
        let mut run = Run {
            bank: self,
            demand,
            now_s: 0.0,
            content_wh,
            on_s: None,
            due_since_s: None,
            told: Dawn {
                spells: Vec::new(),
                endless_from_s: None,
                content_wh,
                lowest_wh: content_wh,
                taken_wh: 0.0,
                given_wh: 0.0,
            },
        };
        let mut until_s = 0.0;
        for stretch in light {
            until_s += stretch.lasting_s;
            run.through(stretch.power_w, until_s)?;
            if run.told.endless_from_s.is_some() {
                break;
            }
        }
        run.told.content_wh = run.content_wh;
        Ok(run.told)
    }
}

/// What a load that comes back needs so as to stay.
#[derive(Default)]
struct Needed {
    open_v: f64,
    content_wh: f64,
}

impl Needed {
    /// An open-circuit voltage that must be there when so much has been drawn.
    fn also(&mut self, bank: &Bank, open_v: f64, drawn_wh: f64) {
        self.open_v = self.open_v.max(open_v);
        self.also_wh(bank.content_wh(open_v) + drawn_wh);
    }

    fn also_wh(&mut self, content_wh: f64) {
        self.content_wh = self.content_wh.max(content_wh);
    }
}

/// A battery on its way.
struct Run<'a> {
    bank: &'a Bank,
    demand: &'a Demand,
    now_s: f64,
    content_wh: f64,
    /// When the load came back; `None` while it is off.
    on_s: Option<f64>,
    /// From when the switch would act.
    due_since_s: Option<f64>,
    told: Dawn,
}

impl Run<'_> {
    fn through(&mut self, light_w: f64, until_s: f64) -> Result<(), BatteryError> {
        while self.now_s < until_s {
            if self.told.spells.len() > MOST_SWITCHINGS {
                return Err(BatteryError::TooManySwitchings {
                    most: MOST_SWITCHINGS,
                });
            }
            let (load_w, stage_until_s) = self.stage();
            let bank = self.bank;
            let net_w = bank.net_w(load_w + self.demand.standing_w, light_w);
            let mut rate_w = bank.rate_w(net_w);
            if (self.content_wh >= bank.capacity_wh && rate_w > 0.0)
                || (self.content_wh <= 0.0 && rate_w < 0.0)
            {
                rate_w = 0.0;
            }
            let on = self.on_s.is_some();
            let threshold_wh = match on {
                true => bank.off_wh(net_w),
                false => bank.on_wh(net_w),
            };
            let exhausted = self.content_wh <= 0.0 && net_w > 0.0;
            let collapsed = on && (exhausted || self.content_wh < bank.collapse_wh(net_w));
            let beyond = match on {
                true => {
                    self.content_wh < threshold_wh
                        || (self.content_wh == threshold_wh && rate_w < 0.0)
                }
                false => {
                    self.content_wh > threshold_wh
                        || (self.content_wh == threshold_wh && rate_w >= 0.0)
                }
            };
            let waits_s = match on {
                true => bank.off_after_s,
                false => bank.on_after_s,
            };
            if !beyond {
                self.due_since_s = None;
            }
            let due_s = beyond.then(|| *self.due_since_s.get_or_insert(self.now_s) + waits_s);
            if collapsed || due_s.is_some_and(|due| due <= self.now_s) {
                self.switch();
                if self.told.endless_from_s.is_some() {
                    return Ok(());
                }
                continue;
            }
            let mut next_s = until_s
                .min(stage_until_s)
                .min(due_s.unwrap_or(f64::INFINITY));
            let mut at_wh = None;
            let full = (bank.capacity_wh, true);
            let empty = (0.0, false);
            let collapse = (bank.collapse_wh(net_w), false);
            for (level_wh, up) in [(threshold_wh, rate_w > 0.0), full, empty, collapse] {
                let way_wh = level_wh - self.content_wh;
                let toward =
                    way_wh != 0.0 && (way_wh > 0.0) == (rate_w > 0.0) && up == (rate_w > 0.0);
                if rate_w == 0.0 || !toward || !level_wh.is_finite() {
                    continue;
                }
                let reached_s = self.now_s + 3600.0 * way_wh / rate_w;
                if reached_s < next_s {
                    next_s = reached_s;
                    at_wh = Some(level_wh);
                }
            }
            self.advance(next_s, rate_w, net_w, load_w);
            if let Some(level_wh) = at_wh {
                self.content_wh = level_wh;
            }
        }
        Ok(())
    }

    /// What the load draws, W, and until when.
    fn stage(&self) -> (f64, f64) {
        let Some(on_s) = self.on_s else {
            return (0.0, f64::INFINITY);
        };
        let mut ends_s = on_s;
        for stretch in &self.demand.boot {
            ends_s += stretch.lasting_s;
            if self.now_s < ends_s {
                return (stretch.power_w, ends_s);
            }
        }
        (self.demand.running_w, f64::INFINITY)
    }

    fn advance(&mut self, to_s: f64, rate_w: f64, net_w: f64, load_w: f64) {
        let hours = (to_s - self.now_s) / 3600.0;
        if rate_w > 0.0 {
            self.told.taken_wh += -net_w * hours;
        } else {
            self.told.given_wh -= rate_w * hours;
        }
        self.content_wh = (self.content_wh + rate_w * hours).clamp(0.0, self.bank.capacity_wh);
        self.told.lowest_wh = self.told.lowest_wh.min(self.content_wh);
        if self.on_s.is_some()
            && let Some(spell) = self.told.spells.last_mut()
        {
            spell.drawn_wh += load_w * hours;
        }
        self.now_s = to_s;
    }

    fn switch(&mut self) {
        self.due_since_s = None;
        let now_s = self.now_s;
        match self.on_s.take() {
            None => {
                // It was taken off in this very instant, came back in none, and would be taken off again.
                let mut last = self.told.spells.iter().rev();
                let again = last
                    .next()
                    .is_some_and(|s| s.off_s == Some(now_s) && s.on_s == now_s);
                if again {
                    self.told.endless_from_s = Some(now_s);
                    return;
                }
                self.on_s = Some(now_s);
                self.told.spells.push(Spell {
                    on_s: now_s,
                    off_s: None,
                    drawn_wh: 0.0,
                });
            }
            Some(_) => {
                if let Some(spell) = self.told.spells.last_mut() {
                    spell.off_s = Some(now_s);
                }
            }
        }
    }
}

impl Demand {
    fn check(&self) -> Result<(), BatteryError> {
        power(self.running_w)?;
        power(self.standing_w)?;
        self.boot.iter().try_for_each(Stretch::check)
    }
}

impl Stretch {
    fn check(&self) -> Result<(), BatteryError> {
        BatteryQuantity::StretchTime.check(self.lasting_s)?;
        power(self.power_w)
    }
}

/// A power of nothing or within its range.
fn power(power_w: f64) -> Result<(), BatteryError> {
    if power_w == 0.0 {
        return Ok(());
    }
    BatteryQuantity::Power.check(power_w).map(|_| ())
}
