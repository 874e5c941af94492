//! The state of each module: powered, booting, working, hung; its load state and its outputs.

use plan::{Line, PassWhen};

use assess::input::Draw;

/// How far a module has come.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(crate) enum Life {
    /// No power, too little, or a trip.
    Off,
    /// Boots.
    Boots,
    /// Works.
    Works,
}

/// A module in the rehearsal.
#[derive(Clone, Debug)]
pub(crate) struct ModuleNow {
    pub(crate) life: Life,
    pub(crate) hung: bool,
    pub(crate) dead: bool,
    /// Index into the module's loads.
    pub(crate) state: Option<usize>,
    /// Goes up with each change of state, so that an old return is void.
    pub(crate) state_turn: u32,
    pub(crate) outputs_on: Vec<bool>,
    /// What each output returns to when a switching for a time is over: as at start, or as switched last for good.
    pub(crate) outputs_rest: Vec<bool>,
    pub(crate) output_turns: Vec<u32>,
    /// Goes up with each change of life, so that old boots and trips are void.
    pub(crate) life_turn: u32,
    /// A trip or a boot is under way.
    pub(crate) pending: bool,
    pub(crate) restarts: u32,
    pub(crate) voltage_v: f64,
    pub(crate) lowest_v: f64,
    pub(crate) highest_v: f64,
    pub(crate) energy_j: f64,
    pub(crate) power_w: f64,
}

impl ModuleNow {
    pub(crate) fn all(line: &Line) -> Vec<ModuleNow> {
        line.modules
            .iter()
            .map(|m| ModuleNow {
                life: Life::Works,
                hung: false,
                dead: false,
                state: m.starts_in,
                state_turn: 0,
                outputs_on: m.outputs.iter().map(|o| o.starts_on).collect(),
                outputs_rest: m.outputs.iter().map(|o| o.starts_on).collect(),
                output_turns: vec![0; m.outputs.len()],
                life_turn: 0,
                pending: false,
                restarts: 0,
                voltage_v: f64::NAN,
                lowest_v: f64::INFINITY,
                highest_v: f64::NEG_INFINITY,
                energy_j: 0.0,
                power_w: 0.0,
            })
            .collect()
    }

    /// Whether its program runs.
    pub(crate) fn works(&self) -> bool {
        self.life == Life::Works && !self.hung && !self.dead
    }

    pub(crate) fn draw(&self) -> Draw {
        match self.life {
            _ if self.dead => Draw::Nothing,
            Life::Off => Draw::Nothing,
            Life::Boots => Draw::Boot,
            Life::Works => Draw::State {
                state: self.state,
                outputs_on: self.outputs_on.clone(),
            },
        }
    }

    /// Whether data still goes through it; a plan that says nothing lets data pass while the program runs.
    pub(crate) fn passes_data(&self, line: &Line, index: usize) -> bool {
        match line.modules[index]
            .passes
            .map_or(PassWhen::Running, |p| p.data)
        {
            PassWhen::Always => true,
            PassWhen::Powered => self.life != Life::Off && !self.dead,
            // That no route leads through a module that never passes data is a matter of the network.
            PassWhen::Running | PassWhen::Never => self.works(),
        }
    }
}
