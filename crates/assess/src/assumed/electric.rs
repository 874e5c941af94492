//! What is drawn, given and lost in cables because the plan does not say otherwise.

use plan::{LiesIn, Line, SpanIx};

use crate::input::electric;
use crate::reserve::without_current_limit;

/// What draws nothing and what gives without end, because the plan does not say otherwise.
pub(super) fn power(line: &Line, all: &mut Vec<String>) {
    let bare = line.modules.iter().filter(|m| m.input.is_none());
    let bare: Vec<String> = bare.map(|m| format!("module.{}", m.id)).collect();
    if !bare.is_empty() {
        all.push(format!(
            "nothing is drawn from the line, because no `input` is written: {}",
            bare.join(", ")
        ));
    }
    if let Some(endless) = without_current_limit(line) {
        all.push(format!(
            "any current is given behind the `resistance` of the output, because no `current_limit` is written: {endless}"
        ));
    }
}

/// How warm the conductors of each span are taken to be, and in what.
pub(super) fn conductors(line: &Line, all: &mut Vec<String>) {
    let highest =
        "conductors have the highest resistance that IEC 60228 permits (AWG: solid copper)";
    let wired = line.spans.iter().enumerate();
    let (warmed, cold): (Vec<_>, Vec<_>) = wired
        .filter(|(_, s)| s.conductor.is_some())
        .partition(|(_, s)| s.heat.is_some());
    if warmed.is_empty() {
        all.push(format!(
            "{highest}, at the water temperature of their mean depth"
        ));
        return;
    }
    all.push(highest.to_owned());
    if !cold.is_empty() {
        let cold = cold.iter().map(|(_, s)| format!("span.{}", s.id));
        all.push(format!(
            "conductors of spans without `heat` are at the water temperature of their mean depth: {}",
            cold.collect::<Vec<_>>().join(", ")
        ));
    }
    // What the plan says that cannot be is told where it is judged.
    let electric = electric(line).ok();
    let told = warmed.iter().map(|(i, span)| {
        let lies_in = match span.heat.as_ref().map(|heat| heat.lies_in) {
            Some(LiesIn::Water) => "in the water",
            Some(LiesIn::Sediment { .. }) => "in sediment",
            Some(LiesIn::Air) => "in the air of the warmest month",
            None => "",
        };
        match electric.as_ref().and_then(|e| e.warm(SpanIx(*i))) {
            Some(warm) => format!(
                "span.{} at {:.1} degC {lies_in}",
                span.id, warm.conductor_degc
            ),
            None => format!("span.{} {lies_in}, how warm is unknown", span.id),
        }
    });
    all.push(format!(
        "conductors are as warm in every state as the largest loads make them at most, in steady state and still water: {}",
        told.collect::<Vec<_>>().join(", ")
    ));
}
