//! Cautions that a plan calls for. They defer to local codes and licensed practice, and never call a voltage safe. What they say of
//! feeds, cells, housings and lifting is common practice, from memory; the voltages have their sources below.

use plan::{Chemistry, Line};

/// Above this a person in the water may be at risk from a damaged cable, V of direct current. Source: pool zones 0 and 1 of
/// CEI 64-8 (IEC 60364-7-702) as quoted by a maker of luminaires; see docs/method/power.md.
pub(crate) const WATER_CAUTION_V: f64 = 30.0;
/// Above this extra-low-voltage protection alone is not accepted even dry, V of direct current (IEC 60364-4-41, 414.4.5, from
/// memory).
pub(crate) const DRY_CAUTION_V: f64 = 60.0;

const WATER_ABOVE: &str = "Electricity in water: above 30 V DC (12 V AC) a person in the water may be at risk from a damaged cable, and above 60 V DC extra-low-voltage protection alone is not accepted even dry. No voltage is called safe here. A qualified person and the current standards decide.";
const WATER: &str = "Electricity in water: no voltage is called safe here. A qualified person and the current standards decide.";
const FEED: &str = "A feed of this voltage can kill, on deck as well as in the water: nobody works on the line, dives near it or opens a connector before it is switched off, locked and tagged, discharged (capacitors hold their charge) and proved dead. How it is protected and monitored against leaks is settled by local codes and a licensed electrician.";
const LITHIUM: &str = "Lithium cells: fire, gas and pressure in closed housings. Follow the maker's limits and the rules for carriage; do not charge below freezing.";
const LEAD: &str = "Lead-acid cells give off hydrogen while they charge, sealed ones too when they are charged too far: in a closed housing it explodes at a spark. Vent or catalyst, and the charging voltage at temperature, by the maker's data and local codes.";
const PRIMARY: &str = "Primary cells must never be charged: a diode keeps other supplies of the line from them. A housing that floods or heats can build up gas and pressure.";
const HOUSINGS: &str = "Pressure housings may hold pressure after recovery and may implode at depth: vent before opening, stay clear on deck.";
const LIFTING: &str = "Lifting, tensioned lines, anchors that run out, stored buoyancy that comes up when a line parts: they maim and kill. Marking as a hazard to navigation and permits to moor: qualified people and local rules decide, not this program.";

/// Cautions of a line that hangs in the water.
pub const MOORING_CAUTIONS: [&str; 2] = [LIFTING, HOUSINGS];
const ANIMALS: &str = "Work near protected animals and loud work in the sea need permits; their conditions decide, not this program.";

/// The cautions of a plan, the electrical ones first.
pub(crate) fn cautions(line: &Line) -> Vec<&'static str> {
    let mut all = Vec::new();
    let voltages = line
        .supplies
        .iter()
        .map(|s| s.highest_v.map_or(s.voltage_v.si, |q| q.si));
    let highest_v = voltages.fold(0.0, f64::max);
    if highest_v > WATER_CAUTION_V {
        all.push(WATER_ABOVE);
    } else if highest_v > 0.0 {
        all.push(WATER);
    }
    if highest_v > DRY_CAUTION_V {
        all.push(FEED);
    }
    let has = |wanted: &[Chemistry]| {
        let batteries = line.supplies.iter().filter_map(|s| s.battery.as_ref());
        let mut chemistries = batteries.map(|b| b.chemistry);
        chemistries.any(|c| wanted.contains(&c))
    };
    for (chemistries, caution) in [
        (
            &[Chemistry::LiFePo4, Chemistry::PrimaryLithium][..],
            LITHIUM,
        ),
        (&[Chemistry::Agm], LEAD),
        (&[Chemistry::PrimaryLithium, Chemistry::Alkaline], PRIMARY),
    ] {
        if has(chemistries) {
            all.push(caution);
        }
    }
    let in_the_water = |m: &plan::Module| m.depth_m > 0.0 && m.housing.is_some();
    if line.modules.iter().any(in_the_water) {
        all.push(HOUSINGS);
    }
    if !line.sections.is_empty() {
        all.push(LIFTING);
    }
    if !line.detectors.is_empty() {
        all.push(ANIMALS);
    }
    all
}
