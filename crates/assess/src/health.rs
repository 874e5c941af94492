//! What a module may say of its own health in its heartbeat, so that the shore tells a deaf or a drowning module from a quiet one, and what that costs.
//!
//! A heartbeat by itself says that a program runs. Voltage and current tell of a contact that goes and of a leak that eats it, humidity and leak of a housing that fills, restarts of a supply that hunts, room of a
//! store that ends, and the offset of a clock that is lost. Ranges follow from the plan where it says them; steps are choices of ours, fine enough for a trend.

use network::{Field, FieldKind, Filter, Frame, Layout, TopicName, bits};
use plan::{Action, Line, Load, ModuleIx, TopicField, TopicIx, UplinkIx, When};
use quantity::{Money, SECONDS_PER_DAY};

use crate::input::{InputError, MONTH_DAYS, billed_alone, payload_bytes};

const STEP_V: f64 = 0.1;
/// Values of a current between nothing and its most.
const CURRENT_STEPS: f64 = 250.0;
/// A current that is told may be so much larger than any that the plan expects.
const CURRENT_ROOM: f64 = 2.0;
const MOST_RESTARTS: f64 = 254.0;
const CLOCK_MS: f64 = 1000.0;

/// A field of a message on health.
#[derive(Clone, Debug, PartialEq)]
pub struct HealthField {
    /// Its name.
    pub name: &'static str,
    /// What it holds.
    pub kind: FieldKind,
    /// Bits of it.
    pub bits: u32,
    /// Whether the topic of the heartbeat has a field of that name.
    pub carried: bool,
}

/// The topic of a heartbeat.
#[derive(Clone, Debug, PartialEq)]
pub struct HealthTopic {
    /// Its name.
    pub name: String,
    /// Payload as the plan has it, bytes.
    pub bytes: u32,
    /// From one message to the next, s.
    pub every_s: f64,
    /// Whether its messages go ashore too.
    pub goes_ashore: bool,
}

/// What a message on health costs by an uplink.
#[derive(Clone, Debug, PartialEq)]
pub struct HealthAshore {
    /// Typed path of the uplink.
    pub uplink: String,
    /// Billed messages that each takes, sent by itself.
    pub billed_each: u64,
    /// Billed messages in a month of 30 d.
    pub billed_a_month: u64,
    /// Their price; what is included in a month, and the least that a month costs, are not counted. `None` of more than can be counted.
    pub price_a_month: Option<Money>,
    /// The same of the heartbeat as the plan has it.
    pub price_now: Option<Money>,
}

/// A module's message on its health.
#[derive(Clone, Debug, PartialEq)]
pub struct ModuleHealth {
    /// Typed path of the module.
    pub module: String,
    /// The topic of its heartbeat; `None` for a module without one.
    pub topic: Option<HealthTopic>,
    /// Fields that it could carry.
    pub fields: Vec<HealthField>,
    /// All of them packed, bytes.
    pub bytes: u32,
    /// Messages in a day; `None` without a heartbeat.
    pub messages_a_day: Option<f64>,
    /// What that is in a day, payload alone, bytes; `None` without a heartbeat.
    pub bytes_a_day: Option<f64>,
    /// What it costs by each uplink by which each of these messages goes ashore.
    pub ashore: Vec<HealthAshore>,
}

/// A message on health for each module of a line.
///
/// # Errors
/// [`InputError::Payload`] of a topic whose fields cannot be packed.
pub fn module_health(line: &Line) -> Result<Vec<ModuleHealth>, InputError> {
    let modules = (0..line.modules.len()).map(ModuleIx);
    modules.map(|module| of(line, module)).collect()
}

fn of(line: &Line, module: ModuleIx) -> Result<ModuleHealth, InputError> {
    let m = &line.modules[module.0];
    let path = line.module_path(module);
    let heartbeat = m.heartbeat.as_ref();
    let topic = heartbeat.map(|beat| &line.topics[beat.topic.0]);
    let carried: Vec<&str> =
        topic.map_or_else(Vec::new, |t| t.fields.iter().map(name_of).collect());
    let mut fields = Vec::new();
    let payload_error = |source| InputError::Payload {
        what: format!("a message on the health of {path}"),
        source,
    };
    for (name, kind) in kinds(line, module) {
        fields.push(HealthField {
            bits: bits(&kind).map_err(payload_error)?,
            carried: carried.contains(&name),
            name,
            kind,
        });
    }
    let packed = fields.iter().map(|f| Field {
        name: f.name.to_owned(),
        kind: f.kind.clone(),
    });
    let packed = Layout::new(Frame::default(), packed.collect()).map_err(payload_error)?;
    let topic = match (heartbeat, topic) {
        (Some(beat), Some(topic)) => Some(HealthTopic {
            name: topic.name.clone(),
            bytes: payload_bytes(topic)?,
            every_s: beat.every_s.si,
            goes_ashore: !ways_ashore(line, module, beat.topic).is_empty(),
        }),
        _ => None,
    };
    let ways = heartbeat.map_or_else(Vec::new, |beat| ways_ashore(line, module, beat.topic));
    let ashore = topic.iter().flat_map(|topic| {
        let bytes = packed.bytes();
        ways.iter().map(move |u| ashore(line, *u, topic, bytes))
    });
    Ok(ModuleHealth {
        ashore: ashore.collect(),
        messages_a_day: topic.as_ref().map(|t| SECONDS_PER_DAY / t.every_s),
        bytes_a_day: topic
            .as_ref()
            .map(|t| f64::from(packed.bytes()) * SECONDS_PER_DAY / t.every_s),
        bytes: packed.bytes(),
        module: path,
        topic,
        fields,
    })
}

/// The uplinks by which each heartbeat of a module goes ashore: its own, or by a behaviour of the uplink's module that sends up all that it is told.
fn ways_ashore(line: &Line, module: ModuleIx, topic: TopicIx) -> Vec<UplinkIx> {
    let name = &line.topics[topic.0].name;
    let sends = |u: UplinkIx| {
        let own = line.modules[module.0].heartbeat.and_then(|h| h.by) == Some(u);
        let told = line.behaviours.iter().any(|b| {
            let hears = matches!(&b.when, When::Told { filter } if matches(filter, name));
            let up = |a: &Action| matches!(a, Action::SendUp { uplink, topic: t, .. } if *uplink == u && *t == topic);
            hears && b.at_most.is_none() && b.on != module && b.actions.iter().any(up)
        });
        own || told
    };
    (0..line.uplinks.len())
        .map(UplinkIx)
        .filter(|u| sends(*u))
        .collect()
}

fn matches(filter: &str, name: &str) -> bool {
    match (Filter::parse(filter), TopicName::parse(name)) {
        (Ok(filter), Ok(name)) => filter.matches(&name),
        _ => false,
    }
}

fn ashore(line: &Line, uplink: UplinkIx, topic: &HealthTopic, bytes: u32) -> HealthAshore {
    let u = &line.uplinks[uplink.0];
    let messages = libm::ceil(MONTH_DAYS * SECONDS_PER_DAY / topic.every_s) as u64;
    let price = |bytes: u32| {
        let billed = billed_alone(u, bytes).checked_mul(messages)?;
        u.price.times(billed)
    };
    let billed_each = billed_alone(u, bytes);
    HealthAshore {
        uplink: format!("uplink.{}", u.id),
        billed_each,
        billed_a_month: billed_each.saturating_mul(messages),
        price_a_month: price(bytes),
        price_now: price(topic.bytes),
    }
}

fn name_of(field: &TopicField) -> &str {
    match field {
        TopicField::Scaled { name, .. }
        | TopicField::Choice { name, .. }
        | TopicField::Flag { name }
        | TopicField::Time { name, .. } => name,
    }
}

fn scaled(unit: &str, from: f64, to: f64, step: f64) -> FieldKind {
    FieldKind::Scaled {
        unit: unit.to_owned(),
        from,
        to,
        step,
    }
}

/// Fields that say something of a module as the plan has it.
fn kinds(line: &Line, module: ModuleIx) -> Vec<(&'static str, FieldKind)> {
    let m = &line.modules[module.0];
    let mut all = Vec::new();
    if let Some(input) = &m.input {
        let most_v = input.maximum_v.si.ceil();
        all.push(("voltage", scaled("V", 0.0, most_v, STEP_V)));
        let states = m.loads.iter().map(|state| match state.load {
            Load::Power(w) => w.si / input.minimum_v.si,
            Load::Current(a) => a.si,
            Load::Resistance(ohm) => input.maximum_v.si / ohm.si,
        });
        let boots = m.boot.iter().map(|b| b.power_w.si / input.minimum_v.si);
        let largest_a = states.chain(boots).fold(0.0, f64::max);
        if largest_a > 0.0 && largest_a.is_finite() {
            let step_a = round_up(CURRENT_ROOM * largest_a / CURRENT_STEPS);
            all.push(("current", scaled("A", 0.0, CURRENT_STEPS * step_a, step_a)));
        }
    }
    if m.depth_m > 0.0 || m.hull.is_some() || m.housing.is_some() {
        all.push(("leak", FieldKind::Flag));
        all.push(("humidity", scaled("%", 0.0, 100.0, 1.0)));
    }
    all.push(("restarts", scaled("1", 0.0, MOST_RESTARTS, 1.0)));
    if line.storages.iter().any(|s| s.module == module) {
        all.push(("free-space", scaled("%", 0.0, 100.0, 1.0)));
    }
    if m.clock.is_some() {
        all.push(("clock-offset", scaled("ms", -CLOCK_MS, CLOCK_MS, 1.0)));
    }
    all
}

/// The next of 1, 2 and 5 times a power of ten.
fn round_up(value: f64) -> f64 {
    let power = libm::pow(10.0, libm::floor(libm::log10(value)));
    let steps = [1.0, 2.0, 5.0, 10.0];
    let found = steps
        .into_iter()
        .find(|s| s * power >= value * (1.0 - 1e-12));
    // Divided, so that a hundredth is the hundredth that a plan writes.
    let times = found.unwrap_or(10.0);
    if power < 1.0 {
        times / libm::round(1.0 / power)
    } else {
        times * power
    }
}
