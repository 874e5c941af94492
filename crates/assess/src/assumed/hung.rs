//! How the line hangs because the plan does not say otherwise.

use plan::Line;

/// Tides, waves, growth and factors of anchors that are not written.
pub(super) fn hung(line: &Line, all: &mut Vec<String>) {
    let sea = &line.sea;
    if sea.tide_m.is_none() {
        all.push("the water is as deep as `water_depth` says, and in a design case as its `water_level` says: the site writes no `tide`".to_owned());
    }
    // Sections hang in design cases, which say what waves they have.
    if sea.wave_height_m.is_empty() && line.sections.is_empty() {
        all.push("no waves raise the water over what stands at a written depth: the site writes no `wave_height`".to_owned());
    }
    if line.sections.is_empty() {
        return;
    }
    match sea.growth {
        None => {
            all.push("nothing grows on ropes and housings: the site writes no `growth`".to_owned())
        }
        Some(growth) if growth.down_to_m.is_none() => {
            all.push("growth is as thick at every depth: it writes no `down_to`".to_owned());
        }
        Some(_) => {}
    }
    let once = line.anchors.iter().filter(|a| a.safety_factor.is_none());
    let once: Vec<String> = once.map(|a| format!("anchor.{}", a.id)).collect();
    if !once.is_empty() {
        all.push(format!(
            "an anchor must hold its load once, because no `safety_factor` is written: {}",
            once.join(", ")
        ));
    }
    let held = line.sections.iter().filter(|s| {
        let rope = s.rope.as_ref();
        rope.is_some_and(|r| r.working_load_n.is_none() && r.breaking_load_n.is_some())
    });
    let held: Vec<String> = held.map(|s| format!("section.{}", s.id)).collect();
    if !held.is_empty() {
        all.push(format!(
            "a rope may bear all of its breaking load, because no `working_load` is written: {}",
            held.join(", ")
        ));
    }
}
