//! The same as one JSON object.

use assess::dockside::{
    ALIKE, Dockside, Fault, QuayJudged, Ranking, Tolerance, UNLIKELY, fault_words, probe_dimension,
    probe_words,
};
use plan::Line;
use serde_json::{Value, json};

/// Classes of faults in the document.
const MOST_CLASSES: usize = 5;

/// The sheet, with what came of its readings where there are any: `dockside/1`.
#[must_use]
pub fn dockside_json(line: &Line, sheet: &Dockside, judged: Option<&QuayJudged>) -> Value {
    let steps = sheet.steps.iter().enumerate().map(|(i, step)| {
        let expected = step.expected.as_ref().ok();
        let found = judged.map(|j| j.found[i]);
        let reading = found.and_then(|(_, reading)| reading);
        let mut told = json!({
            "step": step.id,
            "stage": step.stage + 1,
            "subject": step.subject,
            "what": step.what,
            "expected": expected.and_then(|e| e.value).map(|v| json!({ "value": v, "unit": step.unit })),
            "low": expected.and_then(|e| e.low).map(|v| json!({ "value": v, "unit": step.unit })),
            "high": expected.and_then(|e| e.high).map(|v| json!({ "value": v, "unit": step.unit })),
            "unknown": step.expected.as_ref().err(),
            "unit": step.unit,
            "why": step.why,
        });
        if let Some((found, _)) = found {
            told["found"] = json!(found.word());
            told["reading"] = json!(reading.filter(|r| r.is_finite()).map(|v| json!({ "value": v, "unit": step.unit })));
            told["beyond_range"] = json!(reading.is_some_and(f64::is_infinite));
        }
        told
    });
    let quay = &sheet.quay;
    let tolerance = |t: Tolerance| json!({ "share": t.share, "offset": t.offset });
    let mut whole = json!({
        "format": "dockside/1",
        "name": line.deployment.name,
        "quay": {
            "temperature_degc": quay.temperature_degc,
            "within_k": quay.within_k,
            "meter_volts": tolerance(quay.volts),
            "meter_amps": tolerance(quay.amps),
            "meter_ohms": tolerance(quay.ohms),
            "spread_wire_share": quay.wire_share,
            "spread_load_share": quay.load_share,
            "spread_supply_share": quay.supply_share,
            "calibrator": quay.calibrator.map(|c| json!({ "level_db_re_1upa": c.level_db, "frequency_hz": c.frequency_hz })),
        },
        "stages": sheet.stages,
        "steps": steps.collect::<Vec<_>>(),
        "assumed": quay.assumed,
        "rests_on": sheet.rests_on,
        "cautions": sheet.cautions,
    });
    if let Some(judged) = judged {
        whole["faults"] = json!(judged.ranking.as_ref().map(|r| ranking_json(line, r)));
    }
    whole
}

fn ranking_json(line: &Line, ranking: &Ranking) -> Value {
    let member = |i: &usize| {
        let candidate = &ranking.candidates[*i];
        json!({
            "fault": fault_words(line, candidate),
            "kind": kind(&candidate.fault),
            "size": candidate.size,
            "chi_square": candidate.chi_square,
            "criterion": candidate.criterion,
        })
    };
    let classes = ranking.classes.iter().take(MOST_CLASSES);
    json!({
        "readings": ranking.readings,
        "alike_below_deviations": ALIKE,
        "unlikely_below_share": UNLIKELY,
        "share_further_off": ranking.share_further_off,
        "calls_for_none": ranking.calls_for_none(),
        "unexplained": ranking.unexplained(),
        "classes": classes.map(|c| c.iter().map(member).collect::<Vec<_>>()).collect::<Vec<_>>(),
        "further": ranking.further.as_ref().map(|f| json!({
            "read": probe_words(line, f.probe),
            "predicted": f.predicted.iter().map(|p| p.map(|v| json!({ "value": v, "unit": probe_dimension(f.probe).si_unit() }))).collect::<Vec<_>>(),
            "pairs_apart": f.pairs.0,
            "pairs": f.pairs.1,
        })),
    })
}

fn kind(fault: &Fault) -> &'static str {
    match fault {
        Fault::Nothing => "none",
        Fault::PoorContact { .. } => "poor-contact",
        Fault::Conductor { .. } => "conductor",
        Fault::Length(_) => "length",
        Fault::Swapped(..) => "swapped",
        Fault::DrawsNothing(_) => "draws-nothing",
        Fault::OtherLoad(_) => "other-load",
        Fault::Leak(_) => "leak",
        Fault::Short(_) => "short",
        Fault::SupplyVolts(_) => "supply-voltage",
        Fault::SupplyContact(_) => "supply-contact",
        Fault::Open(_) => "open",
        Fault::Reversed(_) => "crossed",
    }
}
