//! The state of each module: powered, booting, working, hung; its load state and its outputs.

use assess::input::Draw;
use network::NodeState;
use plan::{Line, PassWhen, Passes};
use timeline::Ns;

use crate::engine::{LONGEST_PAUSE, SWITCHES_ON_AGAIN};
use crate::record::RecordId;

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

/// A wish that a module be in a load state.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(crate) struct Wish {
    /// Its number at the module; later wishes have higher numbers.
    pub(crate) number: u32,
    /// Index into the module's loads.
    pub(crate) state: usize,
    pub(crate) until: Ns,
}

/// A module in the rehearsal.
#[derive(Clone, Debug)]
pub(crate) struct ModuleNow {
    pub(crate) life: Life,
    pub(crate) hung: bool,
    pub(crate) dead: bool,
    /// Index into the module's loads.
    pub(crate) state: Option<usize>,
    /// Wishes in force for a load state, in the order in which they were made.
    pub(crate) wishes: Vec<Wish>,
    /// Number of the wish that is obeyed.
    pub(crate) obeyed: Option<u32>,
    wishes_made: u32,
    pub(crate) outputs_on: Vec<bool>,
    /// What each output returns to when a switching for a time is over: as at start, or as switched last for good.
    pub(crate) outputs_rest: Vec<bool>,
    pub(crate) output_turns: Vec<u32>,
    /// Goes up with each change of life, so that old boots and trips are void.
    pub(crate) life_turn: u32,
    /// A trip or a boot is under way.
    pub(crate) pending: bool,
    /// It has been told that it went down, and it has not booted since.
    pub(crate) told_down: bool,
    /// The record of what stopped it last.
    pub(crate) stopped_by: Option<RecordId>,
    /// It has been told that it has more than its highest voltage.
    pub(crate) told_over: bool,
    /// Of a line that comes up: it has switched on once.
    pub(crate) has_been_on: bool,
    pub(crate) restarts: u32,
    /// Those since the last fault began, went on or ended.
    pub(crate) unasked: u32,
    /// Not before then does it switch on by itself once more.
    pub(crate) not_before: Ns,
    /// How long it waits from its next try to the one after it.
    pause: Ns,
    /// When it switched on by itself last.
    on_since: Ns,
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
                wishes: Vec::new(),
                obeyed: None,
                wishes_made: 0,
                outputs_on: m.outputs.iter().map(|o| o.starts_on).collect(),
                outputs_rest: m.outputs.iter().map(|o| o.starts_on).collect(),
                output_turns: vec![0; m.outputs.len()],
                life_turn: 0,
                pending: false,
                told_down: false,
                stopped_by: None,
                told_over: false,
                has_been_on: false,
                restarts: 0,
                unasked: 0,
                not_before: Ns::ZERO,
                pause: SWITCHES_ON_AGAIN,
                on_since: Ns::ZERO,
                voltage_v: f64::NAN,
                lowest_v: f64::INFINITY,
                highest_v: f64::NEG_INFINITY,
                energy_j: 0.0,
                power_w: 0.0,
            })
            .collect()
    }

    /// Takes down a wish as the one that is obeyed, and gives it a number.
    pub(crate) fn wish(&mut self, state: usize, until: Ns) -> u32 {
        self.wishes_made += 1;
        let number = self.wishes_made;
        self.wishes.push(Wish {
            number,
            state,
            until,
        });
        self.obeyed = Some(number);
        number
    }

    /// Voids what its program meant to do later.
    pub(crate) fn forget(&mut self) {
        self.life_turn += 1;
        self.pending = false;
        self.wishes.clear();
        self.obeyed = None;
        for turn in &mut self.output_turns {
            *turn += 1;
        }
    }

    /// It switches on by itself, and waits before it does so once more.
    pub(crate) fn tries(&mut self, now: Ns) {
        self.on_since = now;
        self.not_before = now.checked_add(self.pause).unwrap_or(Ns(u64::MAX));
        self.pause = Ns(LONGEST_PAUSE.0.min(2 * self.pause.0));
    }

    /// It falls out. One that had stayed on for as long as the longest pause falls out for the first time.
    pub(crate) fn trips(&mut self, now: Ns) {
        if now.0 - self.on_since.0 >= LONGEST_PAUSE.0 {
            self.pause = SWITCHES_ON_AGAIN;
        }
    }

    /// What it hangs on is another than when it tried last.
    pub(crate) fn need_not_wait(&mut self) {
        self.not_before = Ns::ZERO;
        self.pause = SWITCHES_ON_AGAIN;
    }

    /// Whether its program runs.
    pub(crate) fn works(&self) -> bool {
        self.life == Life::Works && !self.hung && !self.dead
    }

    /// Whether it draws what its state and its outputs ask.
    pub(crate) fn draws_in_a_state(&self) -> bool {
        self.life == Life::Works && !self.dead
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

    /// What it is to the network; a plan that says nothing lets data pass while the program runs.
    pub(crate) fn node_state(&self, passes: Option<Passes>) -> NodeState {
        if self.works() {
            return NodeState::Up;
        }
        let still_passes = match passes.map_or(PassWhen::Running, |p| p.data) {
            PassWhen::Always => true,
            PassWhen::Powered => self.life != Life::Off && !self.dead,
            // That no route leads through a module that never passes data is a matter of the network.
            PassWhen::Running | PassWhen::Never => false,
        };
        if still_passes {
            NodeState::Passes
        } else {
            NodeState::Down
        }
    }
}
