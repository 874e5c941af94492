//! What is switched on: the network, its capacitors and its modules, and what may be wrong with them.

use thiserror::Error;

use crate::network::{LoadKind, Network, NetworkError};

/// When a module's converter works.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Input {
    /// An under-voltage lock-out: off until the voltage reaches `on_v`, then at constant power until it falls below
    /// `off_v`.
    LockOut {
        /// Voltage at which the module switches on, V; above `off_v`.
        on_v: f64,
        /// Voltage below which it switches off, V; above zero.
        off_v: f64,
    },
    /// No lock-out: below `minimum_v` the converter draws like the resistor `minimum_v^2 / boot power`, from there on
    /// constant power. Falling below starts the processor anew.
    Bare {
        /// Lowest voltage at which the converter regulates, V; above zero.
        minimum_v: f64,
    },
}

/// A module at a node of the network.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Module {
    /// Node it hangs at.
    pub node: usize,
    /// Input capacitor, F; zero for none, else at least 1e-12.
    pub capacitance_f: f64,
    /// When its converter works.
    pub input: Input,
    /// What it draws while switched off, as a resistance, ohm; above zero. `None`: nothing.
    pub leakage_ohm: Option<f64>,
    /// Power drawn while it boots, W; zero or more. Without lock-out and with a boot that takes no time, at least the
    /// running power.
    pub boot_power_w: f64,
    /// How long it boots, s; zero or more.
    pub boot_s: f64,
    /// Power drawn afterwards, W; zero or more.
    pub running_power_w: f64,
    /// It does not switch on before this time after the supplies, s; zero or more. Infinite: held off for good.
    /// Only a lock-out can hold a module off.
    pub not_before_s: f64,
}

/// A capacitor that belongs to no module: a filter, a hub.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Capacitor {
    /// Node it hangs at.
    pub node: usize,
    /// Capacitance, F; at least 1e-12.
    pub capacitance_f: f64,
}

/// All that is switched on at time zero, with every capacitor empty.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    /// Spans, sources (with their current limits) and passive loads: resistors only.
    pub network: Network,
    /// Capacitors besides those of the modules. Several at a node add up.
    pub capacitors: Vec<Capacitor>,
    /// The modules.
    pub modules: Vec<Module>,
}

/// How long and how finely a start is followed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Settings {
    /// Time after which an unsettled start is left, s; above zero, at most 1e6.
    pub longest_s: f64,
    /// Most samples kept for pictures; at least 16.
    pub trace_points: usize,
    /// Most switchings followed; at least 1. A start that hiccups without repeating itself ends there as such, any
    /// other with [`StartupError::TooManyEvents`].
    pub most_events: usize,
}

impl Settings {
    /// Follows a start for at most this long, s, with 2,000 samples and 10,000 switchings.
    pub fn following(longest_s: f64) -> Self {
        Self {
            longest_s,
            trace_points: 2_000,
            most_events: 10_000,
        }
    }
}

/// Why a start could not be computed.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum StartupError {
    /// The network itself is wrong.
    #[error(transparent)]
    Network(#[from] NetworkError),
    /// A module, capacitor or setting refers to a node that does not exist.
    #[error(
        "{what} {index} refers to node {node}, but nodes are numbered from 0 and there are {nodes}"
    )]
    NoSuchNode {
        /// "module" or "capacitor".
        what: &'static str,
        /// Its index.
        index: usize,
        /// The node referred to.
        node: usize,
        /// How many nodes there are.
        nodes: usize,
    },
    /// A number is out of its range.
    #[error("{what} {index}: {quantity} is {value}, must be {wanted}")]
    BadValue {
        /// "module", "capacitor" or "setting".
        what: &'static str,
        /// Its index.
        index: usize,
        /// Name of the quantity with its unit.
        quantity: &'static str,
        /// The number given.
        value: f64,
        /// The range it must lie in.
        wanted: &'static str,
    },
    /// A load of the network draws constant power or current, which nothing does from zero volts on.
    #[error(
        "load {load} draws constant power or current; at zero volts it cannot: make it a module"
    )]
    LoadNotPassive {
        /// The load.
        load: usize,
    },
    /// A module without lock-out is to be held off.
    #[error("module {module} has no lock-out and cannot be held off until {not_before_s} s")]
    CannotHoldOff {
        /// The module.
        module: usize,
        /// The time asked for, s.
        not_before_s: f64,
    },
    /// A capacitor hangs directly at an ideal source without a current limit: the inrush is not defined.
    #[error(
        "a capacitor hangs at node {node}, held by source {source_index}, which has neither resistance nor current limit: its inrush is not defined"
    )]
    IdealInrush {
        /// The source.
        source_index: usize,
        /// Its node.
        node: usize,
    },
    /// More switchings than the settings allow, and no module that hiccups.
    #[error("more than {most} switchings by {at_s} s")]
    TooManyEvents {
        /// The most allowed.
        most: usize,
        /// When the run was left, s.
        at_s: f64,
    },
    /// More steps than a run may take.
    #[error("more than {most} steps by {at_s} s")]
    TooManySteps {
        /// The most allowed.
        most: u64,
        /// When the run was left, s.
        at_s: f64,
    },
    /// The step shrank to nothing without a collapse that would explain it.
    #[error("the step shrank below {step_s} s at {at_s} s")]
    StepTooSmall {
        /// When, s.
        at_s: f64,
        /// The least step, s.
        step_s: f64,
    },
}

const LOWEST_CAPACITANCE_F: f64 = 1e-12;
const LONGEST_S: f64 = 1e6;

fn bad(
    what: &'static str,
    index: usize,
    quantity: &'static str,
    value: f64,
    wanted: &'static str,
) -> StartupError {
    StartupError::BadValue {
        what,
        index,
        quantity,
        value,
        wanted,
    }
}

impl Settings {
    pub(crate) fn check(&self) -> Result<(), StartupError> {
        let setting = |quantity, value, wanted| Err(bad("setting", 0, quantity, value, wanted));
        if !(self.longest_s > 0.0 && self.longest_s <= LONGEST_S) {
            return setting("longest_s", self.longest_s, "above zero, at most 1e6");
        }
        if self.trace_points < 16 {
            return setting("trace_points", self.trace_points as f64, "at least 16");
        }
        if self.most_events == 0 {
            return setting("most_events", 0.0, "at least 1");
        }
        Ok(())
    }
}

impl Line {
    /// Checks all that is not checked when the network is planned.
    pub(crate) fn check(&self) -> Result<(), StartupError> {
        self.network.check_topology()?;
        for (i, load) in self.network.loads.iter().enumerate() {
            crate::network::check_load(i, load, self.network.nodes)?;
            if !matches!(load.kind, LoadKind::Resistance { .. }) {
                return Err(StartupError::LoadNotPassive { load: i });
            }
        }
        for (index, capacitor) in self.capacitors.iter().enumerate() {
            self.check_node("capacitor", index, capacitor.node)?;
            let value = capacitor.capacitance_f;
            if !(value.is_finite() && value >= LOWEST_CAPACITANCE_F) {
                let wanted = "finite and at least 1e-12";
                return Err(bad("capacitor", index, "capacitance_f", value, wanted));
            }
        }
        for (index, module) in self.modules.iter().enumerate() {
            self.check_node("module", index, module.node)?;
            module.check(index)?;
        }
        Ok(())
    }

    fn check_node(
        &self,
        what: &'static str,
        index: usize,
        node: usize,
    ) -> Result<(), StartupError> {
        let nodes = self.network.nodes;
        if node < nodes {
            return Ok(());
        }
        Err(StartupError::NoSuchNode {
            what,
            index,
            node,
            nodes,
        })
    }
}

impl Module {
    fn check(&self, index: usize) -> Result<(), StartupError> {
        let refuse = |quantity, value, wanted| Err(bad("module", index, quantity, value, wanted));
        let above_zero = |value: f64| value.is_finite() && value > 0.0;
        let c = self.capacitance_f;
        if c != 0.0 && !(c.is_finite() && c >= LOWEST_CAPACITANCE_F) {
            return refuse("capacitance_f", c, "zero, or finite and at least 1e-12");
        }
        for (quantity, value) in [
            ("boot_power_w", self.boot_power_w),
            ("boot_s", self.boot_s),
            ("running_power_w", self.running_power_w),
        ] {
            if !(value.is_finite() && value >= 0.0) {
                return refuse(quantity, value, "finite and zero or more");
            }
        }
        if let Some(ohm) = self.leakage_ohm
            && !above_zero(ohm)
        {
            return refuse("leakage_ohm", ohm, "finite and above zero");
        }
        if self.not_before_s.is_nan() || self.not_before_s < 0.0 {
            return refuse("not_before_s", self.not_before_s, "zero or more");
        }
        match self.input {
            Input::LockOut { on_v, off_v } => {
                if !above_zero(off_v) {
                    return refuse("off_v", off_v, "finite and above zero");
                }
                if !(on_v.is_finite() && on_v > off_v) {
                    return refuse("on_v", on_v, "finite and above off_v");
                }
            }
            Input::Bare { minimum_v } => {
                if !above_zero(minimum_v) {
                    return refuse("minimum_v", minimum_v, "finite and above zero");
                }
                if self.boot_s == 0.0 && self.boot_power_w < self.running_power_w {
                    let wanted = "at least running_power_w: without lock-out and without time to boot the module would switch on and off in no time at its lowest voltage";
                    return refuse("boot_power_w", self.boot_power_w, wanted);
                }
                if self.not_before_s > 0.0 {
                    return Err(StartupError::CannotHoldOff {
                        module: index,
                        not_before_s: self.not_before_s,
                    });
                }
            }
        }
        Ok(())
    }

    /// Voltage below which a module that is on goes off, V.
    pub(crate) fn lowest_v(&self) -> f64 {
        match self.input {
            Input::LockOut { off_v, .. } => off_v,
            Input::Bare { minimum_v } => minimum_v,
        }
    }

    /// Voltage from which a module that is off goes on, V.
    pub(crate) fn on_v(&self) -> f64 {
        match self.input {
            Input::LockOut { on_v, .. } => on_v,
            Input::Bare { minimum_v } => minimum_v,
        }
    }

    pub(crate) fn held_for_good(&self) -> bool {
        self.not_before_s.is_infinite()
    }
}
