//! Modules with their inputs, loads, sensors and outputs.

use quantity::{Dimension, LevelKind};

use super::hung::outside;
use super::pick_up::oversampling;
use super::recovery::drift_alarm;
use super::{Declared, Resolver, q, rising};
use crate::line::{
    AntiAliasSaid, Boot, Calibration, Chain, Clock, HighPass, Housing, Hull, Input, Line, Load,
    LockOut, Module, Output, OutputKind, PassWhen, Passes, Position, Processor, Q, Sensor,
    SensorKind, StateLoad, Unwritten,
};
use crate::mistake::{Code, Mistake};
use crate::read::{Fields, Read, join};

pub(super) fn modules(r: &mut Resolver<'_>, root: &Fields, line: &mut Line) {
    for (id, fields) in root.keyed("module") {
        r.part = format!("module.{id}");
        if let Some(module) = module(r, id, fields) {
            line.modules.push(module);
        }
    }
}

/// Shares of the time are decimals that people write: they add up to the whole within this.
const ROUNDING: f64 = 1e-9;

fn module(r: &mut Resolver<'_>, id: &str, f: &Fields) -> Option<Module> {
    let position = f.table("position")?;
    let mut loads: Vec<StateLoad> = Vec::new();
    if let Some((map, _)) = f.loads("loads") {
        for (state, item) in &map.right {
            if let Read::Load(dimension, amount) = &item.value {
                let q = Q {
                    si: amount.si,
                    law: amount.law,
                    at: item.site,
                };
                let load = match dimension {
                    Dimension::Current => Load::Current(q),
                    Dimension::Resistance => Load::Resistance(q),
                    _ => Load::Power(q),
                };
                loads.push(StateLoad {
                    state: state.clone(),
                    load,
                });
            }
        }
    }
    r.declared.add_states(id, f, &loads);
    let starts_in = starts_in(r, id, f, &loads);
    let duty = duty(r, f, &loads);
    let input = f.table("input").and_then(|(t, _)| input(r, t));
    if let Some(site) = f.site_of("wakes_after")
        && input.as_ref().is_none_or(|i| i.lock_out.is_none())
        && !f.is_wrong("input")
    {
        r.tell(
            Mistake::error(
                Code::MissingKey,
                site,
                "a module without a lock-out starts at any voltage and cannot be held off",
            )
            .label("needs a lock-out")
            .help("add `lock_out = { on = \"12 V\", off = \"10 V\" }` to its input"),
        );
    }
    if f.has("loads") && !f.has("input") {
        let site = f.site_of("loads").unwrap_or(f.site);
        r.tell(
            Mistake::error(Code::MissingKey, site, "loads need a power input")
                .label("this module draws power, but says nothing of its input")
                .help("add `input = { minimum = \"9 V\", maximum = \"36 V\" }`"),
        );
    }
    let lit = f.keyed("output").find_map(|(_, output)| {
        let power = output.q("power").filter(|q| q.si > 0.0)?;
        Some(output.site_of("power").unwrap_or(power.at))
    });
    // Where nothing supplies power it is a mooring alone that is told.
    let is_fed = r.declared.things().any(|path| path.starts_with("supply."));
    if let Some(site) = lit.filter(|_| is_fed && !f.has("input") && !f.has("loads")) {
        r.tell(
            Mistake::error(
                Code::MissingKey,
                site,
                "an output that draws power needs a power input of its module",
            )
            .label("draws power of a module that says nothing of its input: what becomes of it without power could not be told")
            .help("add `input = { minimum = \"9 V\", maximum = \"36 V\" }` to the module"),
        );
    }
    Some(Module {
        id: id.to_owned(),
        at: f.site,
        part: f.reference("part").map(|(_, path, _)| path.to_owned()),
        position: Position::Depth(Q {
            si: f64::NAN,
            law: None,
            at: position.1,
        }),
        lies_on_bed: f.flag("lies_on_bed").is_some_and(|(lies, _)| *lies),
        depth_m: f64::NAN,
        straight_depth_m: f64::NAN,
        input,
        loads,
        starts_in,
        duty,
        boot: f.table("boot").and_then(|(t, _)| {
            Some(Boot {
                time_s: t.q("time")?,
                power_w: t.q("power")?,
            })
        }),
        wakes_after_s: f.q("wakes_after"),
        passes: f.table("passes").and_then(|(t, _)| {
            Some(Passes {
                power: pass(t.choice("power")?.0),
                data: pass(t.choice("data")?.0),
            })
        }),
        through_ohm: f.table("through").and_then(|(t, _)| t.q("resistance")),
        processing_s: f.q("processing"),
        clock_error_s: f.q("clock_error"),
        clock: f.table("clock").and_then(|(t, _)| {
            if !t.has("temperature_step") {
                r.unwritten(Unwritten::TemperatureStep);
            }
            Some(Clock {
                drift: t.q("drift")?,
                temperature_step: t.q("temperature_step"),
                holds_s: t.q("holds"),
            })
        }),
        // With the topics.
        heartbeat: None,
        heartbeat_levels: Vec::new(),
        processor: f.table("processor").and_then(|(t, _)| {
            Some(Processor {
                operations_per_s: t.q("operations_per_s")?,
                memory_bytes: t.q("memory"),
                energy_per_operation_j: t.q("energy_per_operation"),
            })
        }),
        housing: f.table("housing").map(|(t, _)| Housing {
            rated_depth_m: t.q("rated_depth"),
            weight_in_water_n: t.q("weight_in_water"),
            cd_a_m2: t.q("cd_a"),
            added_length_m: t.q("added_length"),
            outside: outside(t),
            flooding_adds_n: t.q("flooding_adds"),
        }),
        hull: f.table("hull").map(|(t, _)| Hull {
            weight_n: t.q("weight"),
            waterplane_m2: t.q("waterplane"),
            full_draught_m: t.q("full_draught"),
            cd_a_water_m2: t.q("cd_a_water"),
            cd_a_wind_m2: t.q("cd_a_wind"),
            flooding_adds_n: t.q("flooding_adds"),
        }),
        drift_alarm: drift_alarm(f),
        sensors: f
            .keyed("sensor")
            .filter_map(|(sensor_id, s)| sensor(r, id, sensor_id, s))
            .collect(),
        outputs: f
            .keyed("output")
            .filter_map(|(output_id, o)| output(r, id, output_id, o))
            .collect(),
    })
}

fn starts_in(r: &mut Resolver<'_>, id: &str, f: &Fields, loads: &[StateLoad]) -> Option<usize> {
    let Some((state, site)) = f.text("starts_in") else {
        if loads.len() > 1 && !f.has("starts_in") {
            let site = f.site_of("loads").unwrap_or(f.site);
            r.tell(
                Mistake::error(
                    Code::MissingKey,
                    site,
                    "a module with several states must say in which it starts",
                )
                .label("several states")
                .help(format!(
                    "add `starts_in = \"...\"` with one of: {}",
                    join(loads.iter().map(|l| l.state.as_str()))
                )),
            );
        }
        return (loads.len() == 1).then_some(0);
    };
    let found = loads.iter().position(|l| &l.state == state);
    if found.is_none() && !r.declared.has_state(id, state) {
        let all: Vec<&str> = loads.iter().map(|l| l.state.as_str()).collect();
        r.tell(
            Mistake::error(
                Code::NamesNothing,
                site,
                format!("there is no state `{state}`"),
            )
            .label("names nothing")
            .help(format!("the states of this module are: {}", all.join(", "))),
        );
    }
    found
}

/// Shares of the time by state; empty when none are written, or some are wrong.
fn duty(r: &mut Resolver<'_>, f: &Fields, loads: &[StateLoad]) -> Vec<(usize, Q)> {
    let mut duty: Vec<(usize, Q)> = Vec::new();
    for t in f.tables("duty") {
        let (Some((state, site)), Some(share)) = (t.text("state"), t.q("share")) else {
            return Vec::new();
        };
        let Some(index) = loads.iter().position(|l| &l.state == state) else {
            r.tell(
                Mistake::error(
                    Code::NamesNothing,
                    site,
                    format!("there is no state `{state}`"),
                )
                .label("names nothing")
                .help(format!(
                    "the states of this module are: {}",
                    join(loads.iter().map(|l| l.state.as_str()))
                )),
            );
            return Vec::new();
        };
        if let Some((_, first)) = duty.iter().find(|(i, _)| *i == index) {
            r.tell(
                Mistake::error(
                    Code::Duplicate,
                    site,
                    format!("state `{state}` has two shares of the time"),
                )
                .label("again here")
                .related(first.at, "first here"),
            );
            return Vec::new();
        }
        duty.push((index, share));
    }
    let sum: f64 = duty.iter().map(|(_, q)| q.si).sum();
    if !duty.is_empty() && (sum - 1.0).abs() > ROUNDING {
        r.tell(
            Mistake::error(
                Code::OutOfRange,
                f.site_of("duty").unwrap_or(f.site),
                format!(
                    "the shares of the time add up to {:.4} %, not to 100 %",
                    100.0 * sum
                ),
            )
            .label("not the whole time"),
        );
        return Vec::new();
    }
    duty
}

impl Declared {
    fn add_states(&mut self, module: &str, f: &Fields, loads: &[StateLoad]) {
        let before = format!("module.{module}.");
        self.add_below(&before, "loads", f);
        for load in loads {
            self.add(state_path(module, &load.state), f.site);
        }
    }

    /// Whether a module has a state of this name, right or wrong.
    pub(super) fn has_state(&self, module: &str, state: &str) -> bool {
        self.has(&state_path(module, state))
    }
}

fn state_path(module: &str, state: &str) -> String {
    format!("module.{module}.loads.{state}")
}

fn input(r: &mut Resolver<'_>, t: &Fields) -> Option<Input> {
    let input = Input {
        minimum_v: t.q("minimum")?,
        maximum_v: t.q("maximum")?,
        capacitance_f: t.q("capacitance"),
        efficiency: t.q("efficiency"),
        standing_w: t.q("standing"),
        loss_per_watt: t.q("loss_per_watt"),
        efficiency_at: efficiency_at(r, t),
        lock_out: t
            .table("lock_out")
            .and_then(|(l, _)| lock_out(r, l, t.q("maximum")?)),
    };
    if input.maximum_v.si <= input.minimum_v.si {
        r.tell(
            Mistake::error(
                Code::OutOfRange,
                input.maximum_v.at,
                "the highest voltage is not above the lowest",
            )
            .label("highest")
            .related(input.minimum_v.at, "lowest"),
        );
    }
    Some(input)
}

/// Efficiencies by output power, the powers rising; they stand alone.
fn efficiency_at(r: &mut Resolver<'_>, t: &Fields) -> Vec<(Q, Q)> {
    let points: Vec<(Q, Q)> = t
        .tables("efficiency_at")
        .iter()
        .filter_map(|p| Some((p.q("output")?, p.q("efficiency")?)))
        .collect();
    rising(
        r,
        &points.iter().map(|(w, _)| *w).collect::<Vec<_>>(),
        "output powers",
    );
    if let Some(at) = t.site_of("efficiency_at") {
        for key in ["efficiency", "standing", "loss_per_watt"] {
            if let Some(site) = t.site_of(key) {
                r.tell(
                    Mistake::error(
                        Code::KeyConflict,
                        site,
                        format!("`{key}` is in the efficiencies already"),
                    )
                    .label("counted twice")
                    .related(at, "all losses are in these"),
                );
            }
        }
    }
    if let Some(site) = t.site_of("loss_per_watt")
        && !t.has("efficiency")
    {
        r.tell(
            Mistake::error(
                Code::MissingKey,
                site,
                "a loss that grows with the output needs the `efficiency` beside it",
            )
            .label("without efficiency")
            .help("add `efficiency = 0.95`"),
        );
    }
    points
}

/// A lock-out; none where its voltages are the wrong way round.
fn lock_out(r: &mut Resolver<'_>, t: &Fields, maximum_v: Q) -> Option<LockOut> {
    let lock_out = LockOut {
        on_v: t.q("on")?,
        off_v: t.q("off")?,
    };
    for (high, low, message) in [
        (
            lock_out.on_v,
            lock_out.off_v,
            "a lock-out switches on above the voltage at which it switches off",
        ),
        (
            maximum_v,
            lock_out.on_v,
            "a lock-out switches on below the highest voltage of its input",
        ),
    ] {
        if high.si <= low.si {
            r.tell(
                Mistake::error(Code::OutOfRange, high.at, message)
                    .label("not above")
                    .related(low.at, "the lower one"),
            );
            return None;
        }
    }
    Some(lock_out)
}

fn pass(word: &str) -> PassWhen {
    match word {
        "always" => PassWhen::Always,
        "powered" => PassWhen::Powered,
        "running" => PassWhen::Running,
        _ => PassWhen::Never,
    }
}

fn sensor(r: &mut Resolver<'_>, module: &str, id: &str, f: &Fields) -> Option<Sensor> {
    r.part = format!("module.{module}.sensor.{id}");
    let read = sensor_itself(r, id, f);
    r.part = format!("module.{module}");
    read
}

fn sensor_itself(r: &mut Resolver<'_>, id: &str, f: &Fields) -> Option<Sensor> {
    let kind = match *f.choice("kind")?.0 {
        "hydrophone" => SensorKind::Hydrophone,
        "microphone" => SensorKind::Microphone,
        "temperature" => SensorKind::Temperature,
        "pressure" => SensorKind::Pressure,
        _ => SensorKind::Conductivity,
    };
    let hears = matches!(kind, SensorKind::Hydrophone | SensorKind::Microphone);
    let chain = if hears { chain(r, id, f, kind) } else { None };
    if !hears {
        for key in [
            "sensitivity",
            "gain",
            "adc",
            "high_pass",
            "amplifier_noise",
            "self_noise",
            "pick_up",
            "no_pick_up",
        ] {
            if let Some(site) = f.site_of(key) {
                r.tell(
                    Mistake::error(
                        Code::KeyConflict,
                        site,
                        format!("`{key}` belongs to a hydrophone or a microphone"),
                    )
                    .label("not for this kind of sensor"),
                );
            }
        }
    }
    let calibrated = f.table("calibrated").and_then(|(t, _)| {
        Some(Calibration {
            date: *t.date("date")?.0,
            by: t.text("by")?.0.clone(),
            uncertainty_db: t.db("uncertainty"),
        })
    });
    if kind == SensorKind::Hydrophone && !f.has("calibrated") {
        r.tell(
            Mistake::warning(
                Code::Absent,
                f.site,
                format!("hydrophone `{id}` has no calibration"),
            )
            .label("its levels rest on the maker's sensitivity alone")
            .help("add `calibrated = { date = 2026-11-02, by = \"...\", uncertainty = \"1 dB\" }`"),
        );
    }
    Some(Sensor {
        id: id.to_owned(),
        at: f.site,
        kind,
        chain,
        settles_s: f.q("settles_in"),
        calibrated,
    })
}

fn chain(r: &mut Resolver<'_>, id: &str, f: &Fields, kind: SensorKind) -> Option<Chain> {
    for key in ["sensitivity", "gain", "adc"] {
        if !f.has(key) {
            r.tell(
                Mistake::error(Code::MissingKey, f.site, format!("sensor `{id}` needs `{key}`"))
                    .label(format!("`{key}` is missing here"))
                    .help("samples can be turned into sound pressure only with sensitivity, gain and converter"),
            );
        }
    }
    let (level_kind, _, site) = f.level("sensitivity")?;
    let wanted = match kind {
        SensorKind::Microphone => LevelKind::InAirSensitivity,
        _ => LevelKind::Sensitivity,
    };
    if level_kind != wanted {
        r.tell(
            Mistake::error(
                Code::WrongDimension,
                site,
                "a sensitivity with the reference of the other medium",
            )
            .label(format!("expected {}", wanted.example()))
            .help("hydrophones are given in dB re 1 V/uPa, microphones in dB re 1 V/Pa"),
        );
    }
    let adc = f.table("adc")?.0;
    let self_noise: Vec<_> = f
        .tables("self_noise")
        .iter()
        .filter_map(|p| Some((p.q("frequency")?, p.db("level")?)))
        .collect();
    rising(
        r,
        &self_noise.iter().map(|(f, _)| *f).collect::<Vec<_>>(),
        "frequencies",
    );
    let bits = u32::try_from(*adc.count("bits")?.0).ok()?;
    let effective_bits = adc.q("effective_bits");
    if let Some(effective) = effective_bits.filter(|q| q.si > f64::from(bits)) {
        r.tell(
            Mistake::error(
                Code::OutOfRange,
                effective.at,
                "more effective bits than the converter has",
            )
            .label(format!("more than {bits}"))
            .help("effective bits are (SINAD - 1.76 dB) / 6.02 dB, and at most the width"),
        );
        return None;
    }
    Some(Chain {
        sensitivity_db: f.db("sensitivity")?,
        gain_db: f.db("gain")?,
        full_scale_v: adc.q("full_scale")?,
        bits,
        effective_bits,
        rate_hz: adc.amount("rate").map(q)?,
        high_pass: f.table("high_pass").and_then(|(t, _)| {
            Some(HighPass {
                corner_hz: t.q("corner")?,
                poles: u32::try_from(*t.count("poles")?.0).ok()?,
            })
        }),
        amplifier_noise_v_rthz: f.q("amplifier_noise"),
        self_noise,
        anti_alias: adc.table("anti_alias").and_then(|(t, _)| {
            Some(AntiAliasSaid {
                corner_hz: t.q("corner")?,
                poles: u32::try_from(*t.count("poles")?.0).ok()?,
            })
        }),
        oversampling: oversampling(r, adc),
        // With the modules, of which each may be the source.
        pick_up: None,
    })
}

fn output(r: &mut Resolver<'_>, module: &str, id: &str, f: &Fields) -> Option<Output> {
    let kind = match *f.choice("kind")?.0 {
        "lamp" => OutputKind::Lamp,
        "relay" => OutputKind::Relay,
        _ => OutputKind::Sounder,
    };
    if !f.has("starts") {
        r.part = format!("module.{module}.output.{id}");
        r.unwritten(Unwritten::Starts);
        r.part = format!("module.{module}");
    }
    if let Some(site) = f.site_of("fails_safe_within")
        && !f.has("fail_safe")
    {
        r.tell(
            Mistake::error(
                Code::MissingKey,
                site,
                "nothing says into which state the output fails safe",
            )
            .label("needs a `fail_safe`")
            .help("add `fail_safe = \"off\"` or `fail_safe = \"on\"`"),
        );
    }
    Some(Output {
        id: id.to_owned(),
        at: f.site,
        kind,
        power_w: f.q("power"),
        starts_on: f.choice("starts").is_some_and(|(w, _)| *w == "on"),
        fail_safe_on: f.choice("fail_safe").map(|(w, _)| *w == "on"),
        fails_safe_within_s: f.q("fails_safe_within"),
    })
}
