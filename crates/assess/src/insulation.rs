//! Insulation of each leg of the line against the water: what it has there, what it leaks, how long a pin lasts that the leak eats, and what a reading on the quay must show for that.
//!
//! A leg is a span with its contacts. All of the highest supply voltage is taken to stand across its insulation, as with one conductor in the water or leaking freely, and all that
//! leaks to leave by one pin of it: both err towards a shorter life.

use plan::{Line, PinMetal, Q, Span, SpanIx};
use power::fault::{
    COPPER_IN_SEA_WATER, IRON, Insulated, Metal, NICKEL, PoleInWater, SILVER, Soaked,
    conductor_to_water_ohm, insulation_at_ohm, leak_to_water,
};
use quantity::{SECONDS_PER_DAY, show_number};

use crate::highest_voltage::highest_given;
use crate::input::profile;
use crate::verdict::{Against, Evidence, Side, Verdict, unknown};

const METHOD: &str = "Faraday's law on a pin by which all leaves that leaks (docs/method/power.md; insulation halves each 10 degC, common practice)";
/// Temperature of `insulation_1km`, degC.
const PER_KM_DEGC: f64 = 20.0;
/// Temperatures of the quay for which the least reading is told, degC.
pub const QUAY_DEGC: [f64; 8] = [0.0, 5.0, 10.0, 15.0, 20.0, 25.0, 30.0, 35.0];
/// A reading is taken after so long, s (common practice).
pub const READ_AFTER_S: f64 = 60.0;

/// What a reading of a leg must show.
#[derive(Clone, Debug, PartialEq)]
pub struct LegAccepted {
    /// The span: a typed path.
    pub span: String,
    /// Its length, m.
    pub length_m: f64,
    /// Warmest water at it, degC; why that is not known.
    pub water_degc: Result<f64, String>,
    /// Insulation in the water by what the plan says of it, ohm; why that is not known.
    pub in_water_ohm: Result<f64, String>,
    /// Least reading on the quay at each of [`QUAY_DEGC`] with which its pin lasts for the longest time in the water, ohm; why that is not known.
    pub least_ohm: Result<Vec<f64>, String>,
}

/// What is accepted of the line's legs.
#[derive(Clone, Debug, PartialEq)]
pub struct Acceptance {
    /// The legs.
    pub legs: Vec<LegAccepted>,
    /// Longest time in the water, s.
    pub life_s: f64,
    /// Highest supply voltage, V.
    pub voltage_v: f64,
    /// What is accepted of a new, dry leg, ohm.
    pub new_ohm: f64,
    /// What is accepted after a soak in salt water, ohm.
    pub soaked_ohm: f64,
}

/// What the readings of each leg must show.
#[must_use]
pub fn acceptance(line: &Line) -> Acceptance {
    let life_s = line.deployment.longest_s();
    let voltage_v = voltage_v(line);
    let with_conductor = line.spans.iter().filter(|s| s.conductor.is_some());
    let legs = with_conductor.map(|span| LegAccepted {
        span: format!("span.{}", span.id),
        length_m: span.length_m,
        water_degc: water_degc(line, span),
        in_water_ohm: in_water_ohm(line, span),
        least_ohm: least_on_the_quay(line, span, life_s, voltage_v),
    });
    Acceptance {
        legs: legs.collect(),
        life_s,
        voltage_v,
        new_ohm: Soaked::New.accepted_ohm(),
        soaked_ohm: Soaked::InSaltWater.accepted_ohm(),
    }
}

fn voltage_v(line: &Line) -> f64 {
    let volts = line.supplies.iter().map(|s| highest_given(s).0);
    volts.fold(0.0, f64::max)
}

/// The warmer end of a span, degC.
fn water_degc(line: &Line, span: &Span) -> Result<f64, String> {
    let water = profile(line).map_err(|e| e.to_string())?;
    let mut warmest = f64::NEG_INFINITY;
    for end in [span.from, span.to] {
        let degc = water.temperature_degc(line.modules[end.0].depth_m);
        warmest = warmest.max(degc.map_err(|e| e.to_string())?);
    }
    Ok(warmest)
}

/// Insulation of one conductor of a leg in the water, ohm.
fn in_water_ohm(line: &Line, span: &Span) -> Result<f64, String> {
    let degc = water_degc(line, span)?;
    let part = match (&span.insulation, span.insulation_1km_ohm) {
        (Some(read), _) => {
            let read_m = read.length_m.map_or(span.length_m, |q| q.si);
            Insulated::Cable {
                one_km_ohm: read.ohm.si * read_m / 1000.0,
                read_degc: read.temperature_degc.si,
                length_m: span.length_m,
            }
        }
        (None, Some(one_km)) => Insulated::Cable {
            one_km_ohm: one_km.si,
            read_degc: PER_KM_DEGC,
            length_m: span.length_m,
        },
        (None, None) => {
            return Err(format!(
                "span.{} says nothing of its insulation: `insulation = {{ measured = \"100 Mohm\", temperature = \"15 degC\" }}`, or `accepted` in place of `measured`, or `insulation_1km`",
                span.id
            ));
        }
    };
    let ohm = conductor_to_water_ohm(&[part], degc).map_err(|e| e.to_string())?;
    ohm.ok_or_else(|| "no part of it is known".to_owned())
}

/// A pin that a leak eats.
struct Eaten {
    metal: Metal,
    mass_kg: f64,
    told: String,
}

fn pin(span: &Span) -> Result<Eaten, String> {
    let missing = || {
        format!(
            "span.{}.contacts says nothing of its pin: `pin = {{ metal = \"copper\", diameter = \"1 mm\", length = \"8 mm\" }}`",
            span.id
        )
    };
    let contacts = span
        .contacts
        .ok_or_else(|| format!("span.{} says nothing of its contacts", span.id))?;
    let pin = contacts.pin.ok_or_else(missing)?;
    let (metal, name) = match pin.metal {
        PinMetal::Copper => (COPPER_IN_SEA_WATER, "copper"),
        PinMetal::Nickel => (NICKEL, "nickel"),
        PinMetal::Silver => (SILVER, "silver"),
        PinMetal::Iron => (IRON, "iron"),
    };
    let mass_kg = metal.pin_kg(pin.diameter_m.si, pin.length_m.si);
    let mass_kg = mass_kg.map_err(|e| e.to_string())?;
    Ok(Eaten {
        metal,
        mass_kg,
        told: format!(
            "a {name} pin of {} x {} mm, {:.1} mg",
            1e3 * pin.diameter_m.si,
            1e3 * pin.length_m.si,
            1e6 * mass_kg
        ),
    })
}

fn least_on_the_quay(
    line: &Line,
    span: &Span,
    life_s: f64,
    voltage_v: f64,
) -> Result<Vec<f64>, String> {
    let (least_ohm, water_degc) = least_in_the_water(line, span, life_s, voltage_v)?;
    let each = QUAY_DEGC.iter();
    each.map(|degc| insulation_at_ohm(least_ohm, water_degc, *degc).map_err(|e| e.to_string()))
        .collect()
}

/// Least reading of a leg on a quay of this temperature with which its pin lasts for the longest time in the water, ohm; why that is not known.
pub(crate) fn least_at(line: &Line, span: &Span, quay_degc: f64) -> Result<f64, String> {
    let life_s = line.deployment.longest_s();
    let (least_ohm, water_degc) = least_in_the_water(line, span, life_s, voltage_v(line))?;
    insulation_at_ohm(least_ohm, water_degc, quay_degc).map_err(|e| e.to_string())
}

/// Least insulation in the water with which a leg's pin lasts so long, ohm, and the water's temperature, degC.
fn least_in_the_water(
    line: &Line,
    span: &Span,
    life_s: f64,
    voltage_v: f64,
) -> Result<(f64, f64), String> {
    if span.contacts.is_some_and(|c| c.mated_pins_in_loop == 0) {
        return Err("it has no mated contacts that a leak could eat".to_owned());
    }
    let pin = pin(span)?;
    let least_ohm = pin
        .metal
        .least_insulation_ohm(pin.mass_kg, life_s, voltage_v);
    let least_ohm = least_ohm.map_err(|e| e.to_string())?;
    Ok((least_ohm, water_degc(line, span)?))
}

/// Time until a leak has eaten a pin of a span, or of each with mated contacts.
pub(crate) fn contact_life(line: &Line, of: Option<SpanIx>, at_least_s: Option<Q>) -> Vec<Verdict> {
    let limit_s = at_least_s.map_or_else(|| line.deployment.longest_s(), |q| q.si);
    let asked = |s: &usize| {
        let span = &line.spans[*s];
        let mated = span.contacts.is_none_or(|c| c.mated_pins_in_loop > 0);
        of.map_or(span.conductor.is_some() && mated, |o| o.0 == *s)
    };
    let spans = (0..line.spans.len()).filter(asked);
    let each = spans.map(|s| {
        let span = &line.spans[s];
        let path = format!("span.{}", span.id);
        life(line, span, limit_s).unwrap_or_else(|why| unknown(path, why))
    });
    each.collect()
}

fn life(line: &Line, span: &Span, limit_s: f64) -> Result<Verdict, String> {
    let path = format!("span.{}", span.id);
    if span.conductor.is_none() {
        return Err(format!("{path} has no conductor"));
    }
    if span.contacts.is_some_and(|c| c.mated_pins_in_loop == 0) {
        return Err(format!(
            "{path} has no mated contacts that a leak could eat"
        ));
    }
    let voltage_v = voltage_v(line);
    if voltage_v <= 0.0 {
        return Err("no supply feeds the line".to_owned());
    }
    let said = |e: power::fault::LeakError| e.to_string();
    let water_degc = water_degc(line, span)?;
    let ohm = in_water_ohm(line, span)?;
    let pin = pin(span)?;
    let leak = leak_to_water(voltage_v, ohm, ohm, PoleInWater::Negative).map_err(said)?;
    let lasts_s = pin
        .metal
        .life_s(pin.mass_kg, leak.positive_a)
        .map_err(said)?;
    let least = pin
        .metal
        .least_insulation_ohm(pin.mass_kg, limit_s, voltage_v);
    let least_ohm = least.map_err(said)?;
    let (from, read_degc) = match (&span.insulation, span.insulation_1km_ohm) {
        (Some(read), _) => {
            let word = if read.measured {
                "measured"
            } else {
                "as accepted"
            };
            let length = read
                .length_m
                .map_or_else(String::new, |q| format!(" on {} m", q.si));
            let degc = read.temperature_degc.si;
            (
                format!(
                    "{} Mohm {word} at {degc} degC{length}",
                    show_number(read.ohm.si / 1e6)
                ),
                degc,
            )
        }
        (None, Some(km)) => (
            format!(
                "{} Mohm of one kilometre at {PER_KM_DEGC} degC",
                show_number(km.si / 1e6)
            ),
            PER_KM_DEGC,
        ),
        (None, None) => (String::new(), PER_KM_DEGC),
    };
    let on_the_quay = insulation_at_ohm(least_ohm, water_degc, read_degc).map_err(said)?;
    let ions = match pin.metal == COPPER_IN_SEA_WATER {
        true => "; as cuprous ions, as in salt water: as cupric ones it would last twice as long",
        false => "",
    };
    let why = format!(
        "{from} is {:.2} Mohm in water of {water_degc:.1} degC, and with all of {} V across it {:.3} uA leave by {}{ions}; it lasts long enough from {:.2} Mohm in the water on, {:.2} Mohm read at {read_degc} degC",
        ohm / 1e6,
        show_number(voltage_v),
        1e6 * leak.positive_a,
        pin.told,
        least_ohm / 1e6,
        on_the_quay / 1e6
    );
    let limit = limit_s / SECONDS_PER_DAY;
    let against = Against {
        side: Side::AtLeast,
        limit,
        narrow: 0.0,
        unit: "d".to_owned(),
    };
    let input = (ohm, voltage_v, pin.mass_kg, pin.metal);
    let evidence = Evidence::computed(METHOD, &input);
    Ok(against.judge(path, lasts_s / SECONDS_PER_DAY, evidence, why))
}
