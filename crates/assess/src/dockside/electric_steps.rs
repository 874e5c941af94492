//! Steps that a meter reads: supplies, legs, voltages and supply currents.

use plan::{Line, ModuleIx, SpanIx, SupplyIx};
use power::fault::Soaked;
use quantity::{Dimension, HALF_WIDTH_DEVIATIONS, show};

use super::bench::{Bench, Setup};
use super::covariance::deviations;
use super::predict::Probe;
use super::words::setup_words;
use super::{Dockside, Expected, Step};
use crate::insulation::{READ_AFTER_S, least_at};

/// Least resistance between the two conductors of a leg with its far end open, ohm (common practice).
const APART_OHM: f64 = 1e6;

pub(super) fn put(sheet: &mut Dockside, bench: &Bench<'_>) {
    let line = bench.line;
    let stage = sheet.stage("Supplies, before anything is joined".to_owned());
    for (s, supply) in line.supplies.iter().enumerate() {
        let probe = Probe::Open(SupplyIx(s));
        metered(
            sheet,
            bench,
            stage,
            probe,
            format!("open.{}", supply.id),
            "voltage at its terminals with nothing connected".to_owned(),
        );
        let limit = supply.current_limit_a.map(|q| q.si);
        let limit = limit.map(|a| Expected::about(a, sheet.quay.amps.half_width(a)));
        sheet.steps.push(Step {
            id: format!("limit.{}", supply.id),
            stage,
            subject: format!("supply.{}", supply.id),
            what: "current limit that it is set to".to_owned(),
            unit: "A",
            expected: limit
                .ok_or_else(|| format!("supply.{} says nothing of its current limit", supply.id)),
            why: "the plan's `current_limit` and the meter".to_owned(),
            probe: None,
        });
    }
    let mut told = vec![false; line.spans.len()];
    for (module, span) in &bench.order {
        let path = line.module_path(*module);
        let stage = sheet.stage(match span {
            Some(s) => format!("{path}, joined by span.{}", line.spans[s.0].id),
            None => format!("{path}, joined to its supply"),
        });
        if let Some(span) = span {
            leg(sheet, bench, stage, *span);
            told[span.0] = true;
        }
        metered(
            sheet,
            bench,
            stage,
            Probe::Volts(Setup::Joined(*module), *module),
            format!("joined.{}", line.modules[module.0].id),
            "voltage at it, joined and started, nothing joined behind it".to_owned(),
        );
    }
    let left: Vec<usize> = (0..line.spans.len())
        .filter(|s| !told[*s] && line.spans[*s].conductor.is_some())
        .collect();
    if !left.is_empty() {
        let stage = sheet.stage("Spans that close the line".to_owned());
        for s in left {
            leg(sheet, bench, stage, SpanIx(s));
        }
    }
    for read in &bench.reads {
        let (word, modules) = match read.setup {
            Setup::Joined(_) => continue,
            Setup::Off => ("off".to_owned(), None),
            Setup::Usual => ("usual".to_owned(), None),
            Setup::Heaviest(m) => (format!("heaviest-{}", line.modules[m.0].id), Some(m)),
        };
        let mut title = setup_words(line, read.setup);
        if let Some(m) = modules {
            title = format!("{title} ({})", heaviest_words(bench, m));
        }
        let stage = sheet.stage(capital(&title));
        let fed = |m: &ModuleIx| read.topology.inlets[m.0].is_some();
        let all = bench.order.iter().map(|(m, _)| *m).filter(fed);
        for m in all.filter(|m| modules.is_none_or(|only| only == *m)) {
            metered(
                sheet,
                bench,
                stage,
                Probe::Volts(read.setup, m),
                format!("volts.{word}.{}", line.modules[m.0].id),
                "voltage at it".to_owned(),
            );
        }
        for (_, s) in &read.topology.sources {
            metered(
                sheet,
                bench,
                stage,
                Probe::Amps(read.setup, SupplyIx(*s)),
                format!("amps.{word}.{}", line.supplies[*s].id),
                "current that it gives".to_owned(),
            );
        }
    }
}

fn capital(text: &str) -> String {
    let mut chars = text.chars();
    match chars.next() {
        Some(first) if !text.starts_with("module.") => first.to_uppercase().chain(chars).collect(),
        _ => text.to_owned(),
    }
}

fn heaviest_words(bench: &Bench<'_>, m: ModuleIx) -> String {
    let module = &bench.line.modules[m.0];
    let state = match bench.heaviest[m.0] {
        Ok(Some(state)) => module.loads[state].state.as_str(),
        _ => "as it starts",
    };
    match module.outputs.len() {
        0 => state.to_owned(),
        1 => format!("{state}, its output on"),
        _ => format!("{state}, its outputs on"),
    }
}

/// A step that is read of the network.
fn metered(
    sheet: &mut Dockside,
    bench: &Bench<'_>,
    stage: usize,
    probe: Probe,
    id: String,
    what: String,
) {
    let line = bench.line;
    let (subject, unit) = match probe {
        Probe::Loop(s) | Probe::Drop(_, s, _) => (format!("span.{}", line.spans[s.0].id), "ohm"),
        Probe::Open(s) => (format!("supply.{}", line.supplies[s.0].id), "V"),
        Probe::Volts(_, m) => (line.module_path(m), "V"),
        Probe::Amps(_, s) => (format!("supply.{}", line.supplies[s.0].id), "A"),
    };
    let expected = bench.expectation(probe).and_then(|()| {
        let found = deviations(bench, &sheet.quay, &[probe]);
        let (value, deviation) = found.ok_or("the line as planned is not carried in this state, or not with some values within its spreads: `soundline check` says where it collapses")?;
        let mut expected = Expected::about(value[0], HALF_WIDTH_DEVIATIONS * deviation[0]);
        if unit == "ohm" {
            expected.low = expected.low.map(|low| low.max(0.0));
        }
        Ok(expected)
    });
    let why = match probe {
        Probe::Loop(s) => loop_words(line, s, sheet.quay.temperature_degc),
        Probe::Open(_) => "the plan's `output.voltage`".to_owned(),
        _ => "the network of the line solved in this state".to_owned(),
    };
    sheet.steps.push(Step {
        id,
        stage,
        subject,
        what,
        unit,
        expected,
        why,
        probe: Some(probe),
    });
}

fn loop_words(line: &Line, s: SpanIx, degc: f64) -> String {
    let span = &line.spans[s.0];
    let contacts = span.contacts.map_or_else(String::new, |c| {
        let each = show(c.resistance_ohm.si, Dimension::Resistance);
        format!(" and {} mated pins of {each}", c.mated_pins_in_loop)
    });
    format!(
        "twice {} of its conductor at {degc} degC{contacts}",
        show(span.length_m, Dimension::Length)
    )
}

/// What is read of a leg by itself.
fn leg(sheet: &mut Dockside, bench: &Bench<'_>, stage: usize, s: SpanIx) {
    let span = &bench.line.spans[s.0];
    let subject = format!("span.{}", span.id);
    metered(
        sheet,
        bench,
        stage,
        Probe::Loop(s),
        format!("loop.{}", span.id),
        "resistance of its loop, far end shorted by a mated plug: continuity".to_owned(),
    );
    sheet.steps.push(Step {
        id: format!("apart.{}", span.id),
        stage,
        subject: subject.clone(),
        what: "resistance between its conductors, far end open".to_owned(),
        unit: "ohm",
        expected: Ok(Expected::at_least(APART_OHM)),
        why: "common practice".to_owned(),
        probe: None,
    });
    let degc = sheet.quay.temperature_degc;
    let new_ohm = Soaked::New.accepted_ohm();
    let (low, why) = match least_at(bench.line, span, degc) {
        Ok(least) => (
            least.max(new_ohm),
            format!(
                "the larger of {} for a new, dry leg (common practice) and {}, with which its pin lasts",
                show(new_ohm, Dimension::Resistance),
                show(least, Dimension::Resistance)
            ),
        ),
        Err(why) => (
            new_ohm,
            format!(
                "{} for a new, dry leg (common practice); with what its pin lasts is unknown: {why}",
                show(new_ohm, Dimension::Resistance)
            ),
        ),
    };
    sheet.steps.push(Step {
        id: format!("insulation.{}", span.id),
        stage,
        subject,
        what: format!(
            "insulation of each conductor against the water or the armour after {READ_AFTER_S} s, the lesser of both"
        ),
        unit: "ohm",
        expected: Ok(Expected::at_least(low)),
        why,
        probe: None,
    });
}

impl Bench<'_> {
    /// Why nothing is expected of a probe.
    pub(super) fn expectation(&self, probe: Probe) -> Result<(), String> {
        match probe {
            Probe::Loop(s) if self.line.spans[s.0].contacts.is_none() => Err(format!(
                "span.{} says nothing of its contacts",
                self.line.spans[s.0].id
            )),
            Probe::Loop(_) | Probe::Open(_) => Ok(()),
            Probe::Volts(setup, _) | Probe::Amps(setup, _) | Probe::Drop(setup, ..) => {
                match self.reads.iter().find(|r| r.setup == setup) {
                    Some(read) if read.unknowns.is_empty() => Ok(()),
                    Some(read) => Err(read.unknowns.join("; ")),
                    None => Err("the line is not read in this state".to_owned()),
                }
            }
        }
    }
}
