//! Clocks along the line: how far each may be off although it is set.

use network::{
    ClockError, DelayBound, LatencyError, OneWay, SyncSpec, delay_bounds, no_queue_latency,
};
use plan::{Line, ModuleIx, Q, Stamps, TimeSync};
use timeline::Ns;

use crate::delay_verdicts::why_unknown;
use crate::input::{Streams, Traffic, exchange, ns, streams, traffic};
use crate::verdict::{Against, Evidence, Side, Verdict, unknown};

/// A clock closer to its limit than this share of it is marginal.
const NARROW_SHARE: f64 = 0.02;
const METHOD: &str =
    "two-way exchange, delay bounds, drift (docs/method/network.md, Time along the line; RFC 5905)";

/// The clock of one module, or of each that has one.
pub(crate) fn clock_error(line: &Line, of: Option<ModuleIx>, at_most_s: Q) -> Vec<Verdict> {
    let named = |m: ModuleIx| line.module_path(m);
    let Some(sync) = &line.time_sync else {
        let subject = of.map_or_else(|| "the clocks".to_owned(), named);
        return vec![unknown(subject, "the plan has no [time-sync]")];
    };
    let built =
        traffic(line).and_then(|t| t.map(|t| streams(line, &t).map(|s| (t, s))).transpose());
    let (traffic, streams) = match built {
        Err(error) => return vec![unknown("the clocks", error.to_string())],
        Ok(None) => return vec![unknown("the clocks", "the plan has no [traffic]")],
        Ok(Some(both)) => both,
    };
    if !traffic.unknowns.is_empty() {
        return vec![unknown("the clocks", traffic.unknowns.join("; "))];
    }
    let bounds = match delay_bounds(&traffic.topology, &streams.flows) {
        Ok(bounds) => bounds,
        Err(error) => return vec![unknown("the clocks", error.to_string())],
    };
    let asked: Vec<ModuleIx> = match of {
        Some(module) => vec![module],
        None => (0..line.modules.len())
            .map(ModuleIx)
            .filter(|m| *m != sync.master && line.modules[m.0].clock.is_some())
            .collect(),
    };
    if asked.is_empty() {
        return vec![unknown(
            "the clocks",
            "no module says of its `clock` how it runs",
        )];
    }
    let against = Against {
        side: Side::AtMost,
        limit: at_most_s.si,
        narrow: NARROW_SHARE * at_most_s.si,
        unit: "s".to_owned(),
    };
    let each = asked.into_iter().map(|module| {
        let subject = named(module);
        match remains(line, sync, &traffic, &streams, &bounds, module) {
            Err(why) => unknown(subject, why),
            Ok((found, why)) => {
                let error_s = found.total_s();
                let inputs = (
                    sync.stamps,
                    sync.every_s.si,
                    sync.jitter_s.si,
                    &why,
                    error_s,
                );
                against.judge(
                    subject,
                    error_s,
                    Evidence::computed(METHOD, &inputs),
                    why.clone(),
                )
            }
        }
    });
    each.collect()
}

/// How far the clock of each module may be off right after it has been set, s, or in words why that has no bound; `None` for one that is not set.
///
/// # Errors
/// In words, where the plan does not say enough.
pub fn clocks_when_set(line: &Line) -> Result<Vec<Option<Result<f64, String>>>, String> {
    let mut all = vec![None; line.modules.len()];
    let Some(sync) = &line.time_sync else {
        return Ok(all);
    };
    let built =
        traffic(line).and_then(|t| t.map(|t| streams(line, &t).map(|s| (t, s))).transpose());
    let Some((traffic, streams)) = built.map_err(|e| e.to_string())? else {
        return Ok(all);
    };
    let bounds = delay_bounds(&traffic.topology, &streams.flows).map_err(|e| e.to_string())?;
    for (m, within_s) in all.iter_mut().enumerate() {
        let module = ModuleIx(m);
        if exchange(line, &traffic, &streams, module).is_some() {
            let found = remains(line, sync, &traffic, &streams, &bounds, module);
            *within_s = Some(found.map(|(found, _)| found.stamps_s + found.ways_s));
        }
    }
    Ok(all)
}

/// What may remain, s, and of what it is made.
fn remains(
    line: &Line,
    sync: &TimeSync,
    traffic: &Traffic,
    streams: &Streams,
    bounds: &[Vec<DelayBound>],
    module: ModuleIx,
) -> Result<(ClockError, String), String> {
    if module == sync.master {
        let none = ClockError {
            stamps_s: 0.0,
            ways_s: 0.0,
            drift_s: 0.0,
        };
        return Ok((none, "its time is that of the line".to_owned()));
    }
    let Some(clock) = line.modules[module.0].clock else {
        return Err("it says nothing of its `clock`".to_owned());
    };
    let Some(exchange) = exchange(line, traffic, streams, module) else {
        return Err(format!(
            "no link leads to {} and back",
            line.module_path(sync.master)
        ));
    };
    let latest = |flow: usize| match &bounds[flow][0] {
        DelayBound::Known { total, .. } => Ok(*total),
        DelayBound::Unknown(why) => Err(why_unknown(line, Some(traffic), streams, why)),
    };
    let (m, master) = (module.0, sync.master.0);
    let soonest = |from, to| {
        match no_queue_latency(&traffic.topology, from, to, sync.size_bytes) {
            Ok(soonest) => Ok(soonest),
            // On a bus it may be at once: less than the truth, so that the ways differ by more.
            Err(LatencyError::Shared { .. }) => Ok(Ns::ZERO),
            Err(error) => Err(error.to_string()),
        }
    };
    let up = OneWay {
        soonest: soonest(m, master)?,
        latest: latest(exchange.ask)?,
    };
    let down = OneWay {
        soonest: soonest(master, m)?,
        latest: latest(exchange.answer)?,
    };
    let time = |q: Q| ns(|| "time-sync".to_owned(), q.si).map_err(|e| e.to_string());
    let drift = clock.drift.si + clock.temperature_step.map_or(0.0, |q| q.si);
    let spec = SyncSpec {
        every: time(sync.every_s)?,
        jitter: time(sync.jitter_s)?,
        at_the_wire: sync.stamps == Stamps::Wire,
        drift,
    };
    let route = traffic.topology.route(m, master);
    let hops = route.map_or(0, |route| route.len());
    let found = network::clock_error(spec, up, down, u32::try_from(hops).map_or(u32::MAX, |n| n));
    // Stamps at the wire may lie nanoseconds off.
    let ms = |seconds: f64| match seconds {
        s if s < 1e-6 => format!("{:.0} ns", 1e9 * s),
        s => format!("{:.3} ms", 1e3 * s),
    };
    let why = format!(
        "{} from stamps, {} from ways that differ, {} from a drift of {} ppm between exchanges",
        ms(found.stamps_s),
        ms(found.ways_s),
        ms(found.drift_s),
        (1e9 * drift).round() / 1e3
    );
    Ok((found, why))
}
