//! Modules: inputs, loads, boot, what they pass on, housings and outputs.

use super::{Clock, DriftAlarmSaid, Position, Q, Sensor, SensorIx, TopicIx, UplinkIx};
use crate::site::Site;

/// A housing with a processor, sensors and outputs.
#[derive(Clone, Debug)]
pub struct Module {
    /// Id.
    pub id: String,
    /// Where it was declared.
    pub at: Site,
    /// The catalogue part of which it is made: `part.ID`.
    pub part: Option<String>,
    /// Where it hangs.
    pub position: Position,
    /// Whether it is meant to lie on the bed in the usual design case.
    pub lies_on_bed: bool,
    /// The depth that counts, m: by [`super::Line::depths`] that of the shape of the line, or [`Self::straight_depth_m`].
    pub depth_m: f64,
    /// Depth with sections taken straight down, no current, no stretch, m.
    pub straight_depth_m: f64,
    /// Power input; a module without one draws nothing from the line.
    pub input: Option<Input>,
    /// Loads by state, sorted by state.
    pub loads: Vec<StateLoad>,
    /// The state in which it works when nothing happens: index into `loads`.
    pub starts_in: Option<usize>,
    /// Share of the time in each state when nothing happens: index into `loads`, and 0 to 1, together 1; empty when the
    /// plan does not say.
    pub duty: Vec<(usize, Q)>,
    /// Boot time and power.
    pub boot: Option<Boot>,
    /// How long after power comes on it is held off, s.
    pub wakes_after_s: Option<Q>,
    /// What still goes through the module when it is hung or dead.
    pub passes: Option<Passes>,
    /// Resistance in the path onwards: fuse, inductors, diode, ohm.
    pub through_ohm: Option<Q>,
    /// Time the processor adds to each message it forwards or delivers, s.
    pub processing_s: Option<Q>,
    /// How far its clock may be from the true time, 95 % of the time, s.
    pub clock_error_s: Option<Q>,
    /// How its own clock runs.
    pub clock: Option<Clock>,
    /// The message by whose silence others know that it has stopped.
    pub heartbeat: Option<Heartbeat>,
    /// Hydrophones whose level of the sea its heartbeat holds.
    pub heartbeat_levels: Vec<SensorIx>,
    /// What its processor can do for detectors.
    pub processor: Option<Processor>,
    /// Pressure housing.
    pub housing: Option<Housing>,
    /// Hull of a buoy at the surface.
    pub hull: Option<Hull>,
    /// When it counts as adrift.
    pub drift_alarm: Option<DriftAlarmSaid>,
    /// Sensors by id.
    pub sensors: Vec<Sensor>,
    /// Outputs by id.
    pub outputs: Vec<Output>,
}

/// A message that a module sends at intervals as long as it works. The line has it also as a behaviour, `heartbeat-ID`.
#[derive(Clone, Copy, Debug)]
pub struct Heartbeat {
    /// Where it was written.
    pub at: Site,
    /// Its topic.
    pub topic: TopicIx,
    /// From one message to the next, s.
    pub every_s: Q,
    /// The uplink by which it goes ashore too, where it tells as well whose heartbeats stay out.
    pub by: Option<UplinkIx>,
}

/// What a processor can do for the detectors that it runs.
#[derive(Clone, Copy, Debug)]
pub struct Processor {
    /// Additions and multiplications in a second.
    pub operations_per_s: Q,
    /// Memory, bytes.
    pub memory_bytes: Option<Q>,
    /// Energy of an operation, behind the module's converter, J.
    pub energy_per_operation_j: Option<Q>,
}

/// Power input of a module.
#[derive(Clone, Debug)]
pub struct Input {
    /// Lowest voltage at which it works, V.
    pub minimum_v: Q,
    /// Highest voltage it bears, V.
    pub maximum_v: Q,
    /// Input capacitance, F.
    pub capacitance_f: Option<Q>,
    /// Efficiency of its converter, 0 to 1; without one the loads are taken at the input.
    pub efficiency: Option<Q>,
    /// Standing loss of its converter, W.
    pub standing_w: Option<Q>,
    /// Further loss over the square of the output power, 1/W.
    pub loss_per_watt: Option<Q>,
    /// Efficiency by output power, all losses in it: (W, 0 to 1), powers rising; empty when not written.
    pub efficiency_at: Vec<(Q, Q)>,
    /// Under-voltage lock-out.
    pub lock_out: Option<LockOut>,
}

/// Under-voltage lock-out of a power input.
#[derive(Clone, Copy, Debug)]
pub struct LockOut {
    /// Voltage at which it switches on, V.
    pub on_v: Q,
    /// Voltage below which it switches off, V.
    pub off_v: Q,
}

/// What a module draws in a state, at its converter's output.
#[derive(Clone, Debug)]
pub struct StateLoad {
    /// Name of the state.
    pub state: String,
    /// The load.
    pub load: Load,
}

/// A load: constant power, constant current, or a resistor.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Load {
    /// W.
    Power(Q),
    /// A.
    Current(Q),
    /// ohm.
    Resistance(Q),
}

/// Boot of a module.
#[derive(Clone, Copy, Debug)]
pub struct Boot {
    /// Time from power to work, s.
    pub time_s: Q,
    /// Power meanwhile, W.
    pub power_w: Q,
}

/// When something still passes through a module.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum PassWhen {
    /// Even hung, unpowered or flooded.
    Always,
    /// While it has power, even when its program hangs.
    Powered,
    /// Only while its program runs.
    Running,
    /// Never: it is an end.
    Never,
}

/// What still goes through a module.
#[derive(Clone, Copy, Debug)]
pub struct Passes {
    /// Power.
    pub power: PassWhen,
    /// Data.
    pub data: PassWhen,
}

/// A pressure housing.
#[derive(Clone, Debug)]
pub struct Housing {
    /// Rated depth, m.
    pub rated_depth_m: Option<Q>,
    /// Weight in water, N (negative floats).
    pub weight_in_water_n: Option<Q>,
    /// Drag area (drag coefficient times area), m2.
    pub cd_a_m2: Option<Q>,
    /// By how much it makes its section longer, m; `None` is clamped beside it.
    pub added_length_m: Option<Q>,
    /// Outer size.
    pub outside: Option<Outside>,
    /// Weight in water that it gains when it floods, N.
    pub flooding_adds_n: Option<Q>,
}

/// Outer size as a cylinder.
#[derive(Clone, Copy, Debug)]
pub struct Outside {
    /// Diameter, m.
    pub diameter_m: Q,
    /// Length, m.
    pub length_m: Q,
}

/// Hull of a buoy at the surface, with straight sides.
#[derive(Clone, Copy, Debug)]
pub struct Hull {
    /// Weight in air with all that is on board, N.
    pub weight_n: Option<Q>,
    /// Area at the water line, m2.
    pub waterplane_m2: Option<Q>,
    /// Draught at which it goes under, m.
    pub full_draught_m: Option<Q>,
    /// Drag area in the water at full draught, m2; in proportion at less.
    pub cd_a_water_m2: Option<Q>,
    /// Drag area in the wind, m2.
    pub cd_a_wind_m2: Option<Q>,
    /// Buoyancy that it loses when its largest chamber floods, N.
    pub flooding_adds_n: Option<Q>,
}

/// What an output does.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum OutputKind {
    /// A light.
    Lamp,
    /// A contact.
    Relay,
    /// A sounder.
    Sounder,
}

/// Something a module switches.
#[derive(Clone, Debug)]
pub struct Output {
    /// Id.
    pub id: String,
    /// Where it was declared.
    pub at: Site,
    /// What it is.
    pub kind: OutputKind,
    /// Power while on, at the module's converter output, W.
    pub power_w: Option<Q>,
    /// Whether it is on at start.
    pub starts_on: bool,
    /// Whether on is the state that harms nobody when the line can no longer ask; `None` where the plan does not say.
    pub fail_safe_on: Option<bool>,
    /// How long after the last heartbeat of a module that may ask for it its module switches it there, s; never when absent.
    pub fails_safe_within_s: Option<Q>,
}
