//! Whether detectors can be built, and whether a module's processor keeps up with those that it runs, has room for them, and
//! what they draw.

use detect::Detector;
use plan::{DetectorIx, Line, Module, ModuleIx, Processor};
use quantity::{Dimension, show};

use crate::input::detector_spec;
use crate::verdict::{Against, Evidence, Side, Verdict, unknown};

const METHOD: &str = "additions, multiplications and bytes of each stage, counted, not measured (docs/method/detect.md)";
/// A processor closer to its limit than this is marginal, percentage points: counts are estimates, and a program has other work
/// (common practice: a fifth is kept free).
const NARROW_POINTS: f64 = 20.0;
/// From so many times what it has on, the excess is told in times as well.
const TOLD_IN_TIMES: f64 = 2.0;

/// What the detectors of a module ask of its processor.
struct Asked {
    operations_per_s: f64,
    state_bytes: f64,
    /// Operations of each detector, and a line that tells them, most operations first.
    parts: Vec<(f64, String)>,
}

/// Each processor against what its detectors ask of it; nothing for a module that has no detectors, or says nothing of its
/// processor.
pub(crate) fn processors(line: &Line) -> Vec<Verdict> {
    let mut verdicts = Vec::new();
    for (m, module) in line.modules.iter().enumerate() {
        let detectors = detectors_of(line, ModuleIx(m));
        let Some(processor) = module.processor.filter(|_| !detectors.is_empty()) else {
            continue;
        };
        let path = line.module_path(ModuleIx(m));
        match asked(line, &detectors) {
            Err(why) => verdicts.push(unknown(path, why)),
            Ok(asked) => of_module(&path, module, processor, &asked, &mut verdicts),
        }
    }
    verdicts
}

/// The detectors that cannot be built, each with why: what a stage reads from a file or from the sensor may not fit, and only
/// building it shows that.
pub(crate) fn unbuilt(line: &Line) -> Vec<Verdict> {
    let all = (0..line.detectors.len()).map(DetectorIx);
    all.filter_map(|d| {
        let why = built(line, d).err()?;
        let path = format!("detector.{}", line.detectors[d.0].id);
        // Which detector it is says the subject.
        let why = why.strip_prefix(&format!("{path}: ")).unwrap_or(&why);
        Some(unknown(path, why))
    })
    .collect()
}

fn built(line: &Line, detector: DetectorIx) -> Result<Detector, String> {
    let spec = detector_spec(line, detector, None).map_err(|e| e.to_string())?;
    Detector::new(&spec).map_err(|e| {
        let id = &line.detectors[detector.0].id;
        format!("detector.{id}: {e}")
    })
}

/// The detectors that a module runs.
pub(crate) fn detectors_of(line: &Line, module: ModuleIx) -> Vec<DetectorIx> {
    let all = line.detectors.iter().enumerate();
    all.filter(|(_, d)| d.on.module == module)
        .map(|(d, _)| DetectorIx(d))
        .collect()
}

fn asked(line: &Line, detectors: &[DetectorIx]) -> Result<Asked, String> {
    let mut all = Asked {
        operations_per_s: 0.0,
        state_bytes: 0.0,
        parts: Vec::new(),
    };
    for detector in detectors {
        let id = &line.detectors[detector.0].id;
        let built = built(line, *detector)?;
        let cost = built.cost();
        let operations_per_s = cost.operations_per_s.ok_or_else(|| {
            format!(
                "detector.{id}: nobody counts the operations of its learned model, so what the processor has to do is unknown"
            )
        })?;
        all.operations_per_s += operations_per_s;
        all.state_bytes += cost.state_bytes as f64;
        let stages: Vec<String> = built
            .costs()
            .iter()
            .filter_map(|c| Some(format!("{} {}", c.word, millions(c.operations_per_s?))))
            .collect();
        let told = format!(
            "detector.{id} {}: {}; {}",
            millions(operations_per_s),
            stages.join(", "),
            show(cost.state_bytes as f64, Dimension::DataSize)
        );
        all.parts.push((operations_per_s, told));
    }
    all.parts.sort_by(|a, b| b.0.total_cmp(&a.0));
    Ok(all)
}

fn of_module(
    path: &str,
    module: &Module,
    processor: Processor,
    asked: &Asked,
    verdicts: &mut Vec<Verdict>,
) {
    let mut judge = |what: &str, share: f64, why: String| {
        let against = Against {
            side: Side::AtMost,
            limit: 100.0,
            narrow: NARROW_POINTS,
            unit: "%".to_owned(),
        };
        let evidence = Evidence::computed(METHOD, &(what, share));
        verdicts.push(against.judge(format!("{path} {what}"), 100.0 * share, evidence, why));
    };
    let share = asked.operations_per_s / processor.operations_per_s.si;
    let times = if share >= TOLD_IN_TIMES {
        format!(", {} times as many", three_digits(share))
    } else {
        String::new()
    };
    let mut why = format!(
        "{} of {} operations a second that it has for detectors{times}",
        millions(asked.operations_per_s),
        millions(processor.operations_per_s.si),
    );
    for (_, part) in &asked.parts {
        why.push('\n');
        why.push_str(part);
    }
    judge("operations", share, why);
    if let Some(memory) = processor.memory_bytes {
        judge(
            "memory",
            asked.state_bytes / memory.si,
            format!(
                "{} of {} that it has for detectors",
                show(asked.state_bytes, Dimension::DataSize),
                show(memory.si, Dimension::DataSize)
            ),
        );
    }
    let Some(energy) = processor.energy_per_operation_j else {
        return;
    };
    let draw_w = asked.operations_per_s * energy.si;
    let draw = show(draw_w, Dimension::Power);
    let state = module.starts_in.and_then(|s| module.loads.get(s));
    match state {
        Some(plan::StateLoad {
            state,
            load: plan::Load::Power(load),
            ..
        }) => judge(
            "draw",
            draw_w / load.si,
            format!(
                "its detectors take {draw} of the {} that it draws when {state}",
                show(load.si, Dimension::Power)
            ),
        ),
        _ => verdicts.push(unknown(
            format!("{path} draw"),
            format!(
                "its detectors take {draw}, and the plan does not say in watts what it draws when nothing happens"
            ),
        )),
    }
}

/// Large counts as they are read: `3.2 million`.
fn millions(count: f64) -> String {
    if count >= 1e6 {
        format!("{} million", three_digits(count / 1e6))
    } else if count >= 1e3 {
        format!("{} thousand", three_digits(count / 1e3))
    } else {
        three_digits(count)
    }
}

fn three_digits(x: f64) -> String {
    let digits = if x >= 100.0 {
        0
    } else if x >= 10.0 {
        1
    } else {
        2
    };
    format!("{x:.digits$}")
}
