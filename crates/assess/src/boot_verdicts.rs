//! Whether the line carries its modules while they boot, and when the last hydrophone listens.

use plan::{Line, Q, SensorIx, SensorKind, That};
use quantity::show_number;

use crate::locked_out::locked_out;
use crate::memo::Memo;
use crate::power_cases::{METHOD as NETWORK, not_kept};
use crate::reserve::without_current_limit;
use crate::start_verdicts::{booted_s, never_starts};
use crate::verdict::{Against, Evidence, Ruling, Side, Verdict, unknown};
use crate::waking::{Booting, booting, waking, what_helps, while_booting};

/// A line that could carry less than this much more than it is asked is marginal, %.
const NARROW_LOAD_PERCENT: f64 = 10.0;
/// Time left that is marginal, s.
const NARROW_S: f64 = 1.0;
const TURNS: &str = "each module waits for power, its delay and its boot (docs/method/start-up.md; shortest ways, Dijkstra 1959, from memory)";

/// Whether the line has an operating point whenever a module switches on and boots, as far as that is known.
pub(crate) fn boots_carried(line: &Line) -> Vec<Verdict> {
    carried(line, None)
}

/// The same, with what would help where it has none.
pub(crate) fn boots_carried_with_help(line: &Line, memo: &Memo) -> Vec<Verdict> {
    carried(line, Some(memo))
}

fn carried(line: &Line, helps: Option<&Memo>) -> Vec<Verdict> {
    match booting(line) {
        Booting::Nothing => Vec::new(),
        // Without a supply nothing boots on the line.
        Booting::Unknown(_) if line.supplies.is_empty() => Vec::new(),
        Booting::Unknown(missing) => vec![unknown("the line", missing.join("; "))],
        Booting::Least(least) => {
            let against = Against {
                side: Side::AtLeast,
                limit: 100.0,
                narrow: NARROW_LOAD_PERCENT,
                unit: "%".to_owned(),
            };
            let evidence = Evidence::computed(NETWORK, &least.input.network);
            let when = while_booting(line, &least);
            let carries = 100.0 * least.share;
            let why = match least.share < 1.0 {
                true => format!(
                    "{when} the line carries this of what is drawn, so that it has no operating point"
                ),
                false => {
                    format!("{when} the line carries so much of what is drawn before it collapses")
                }
            };
            let mut verdict = against.judge("the line".to_owned(), carries, evidence, why);
            let tight = matches!(&verdict, Verdict::Known(known) if known.ruling != Ruling::Met);
            if let Some(memo) = helps.filter(|_| tight) {
                for help in what_helps(line, &least, memo) {
                    verdict = verdict.because(&format!("; {help}"));
                }
                verdict = pointed(line, verdict);
            }
            if let Some(endless) = without_current_limit(line) {
                verdict = verdict.only_broken(format!(
                    "{endless} may give less than is drawn {}: write its `current_limit`",
                    while_booting(line, &least)
                ));
            }
            vec![verdict]
        }
        Booting::OverLimit(instant, supply, asked_a) => {
            let of = &line.supplies[supply];
            let against = Against {
                side: Side::AtMost,
                limit: of.current_limit_a.map_or(f64::NAN, |q| q.si),
                narrow: 0.0,
                unit: "A".to_owned(),
            };
            let evidence = Evidence::computed(NETWORK, &instant.input.network);
            let mut verdict = against.judge(
                format!("supply.{}", of.id),
                asked_a,
                evidence,
                format!(
                    "{} more is asked of it than it gives",
                    while_booting(line, &instant)
                ),
            );
            if let Some(memo) = helps {
                if let Some(staggered) = crate::waking::staggered(line) {
                    verdict = verdict.because(&format!("; {}", staggered.told(line, memo)));
                }
                verdict = pointed(line, verdict);
            }
            vec![verdict]
        }
    }
}

/// With where the start itself is followed in time.
fn pointed(line: &Line, verdict: Verdict) -> Verdict {
    if !verdict.is_broken() {
        return verdict;
    }
    let mut starts = line.requirements.iter();
    let start = starts.find(|r| matches!(r.that, That::StartUp { .. }));
    verdict.because(&match start {
        Some(r) => format!("; `{}` follows the start in time", r.id),
        None => "; a requirement on `start-up` and `soundline start` follow the start in time"
            .to_owned(),
    })
}

/// Time from power until a hydrophone, or each, listens: its module has waited, booted, and its chain has settled.
pub(crate) fn ready_within(
    line: &Line,
    of: Option<SensorIx>,
    at_most_s: Q,
    memo: &Memo,
) -> Vec<Verdict> {
    let waking = waking(line);
    let refused = match booting(line) {
        Booting::Unknown(missing) => Some(missing.join("; ")),
        Booting::Least(least) if least.share < 1.0 => Some(format!(
            "{} the line has no operating point, so that nobody can say when it has booted: see `boots-carried`",
            while_booting(line, &least)
        )),
        Booting::OverLimit(instant, supply, _) => Some(format!(
            "{} supply.{} is asked for more than it gives, so that nobody can say when it has booted: see `boots-carried`",
            while_booting(line, &instant),
            line.supplies[supply].id
        )),
        Booting::Nothing | Booting::Least(_) => {
            let falls = |why| format!("once it has booted it does not stay so: {why}");
            not_kept(line).map(falls)
        }
    };
    if let Some(why) = refused.or_else(|| never_starts(line, memo)) {
        return vec![unknown("the line", why)];
    }
    let all = line.modules.iter().enumerate().flat_map(|(m, module)| {
        let hydrophone = |s: &usize| module.sensors[*s].kind == SensorKind::Hydrophone;
        let own = (0..module.sensors.len()).filter(hydrophone);
        own.map(move |sensor| SensorIx {
            module: plan::ModuleIx(m),
            sensor,
        })
    });
    let asked = all.filter(|s| of.is_none_or(|o| o == *s));
    let each = asked.map(|s| {
        let subject = line.sensor_path(s);
        let module = &line.modules[s.module.0];
        let path = line.module_path(s.module);
        if module.input.is_none() {
            return unknown(subject, format!("{path} has no power input: when it starts is not said"));
        }
        if let Some(beyond) = locked_out(line, s.module) {
            return beyond.verdict(line, subject);
        }
        let Some(turn) = waking.turns[s.module.0] else {
            return unknown(subject, format!("no power comes to {path}"));
        };
        let Some(settles) = module.sensors[s.sensor].settles_s else {
            return unknown(
                subject,
                format!("it says nothing of `settles_in`, the time until its chain has settled; {path} has booted after {} s", turn.ready_s),
            );
        };
        // Capacitors that fill behind a current limit hold it up; less than a second of that is for the start itself.
        let followed_s = booted_s(line, s.module, memo).filter(|booted| *booted > turn.ready_s + NARROW_S);
        let booted_s = followed_s.unwrap_or(turn.ready_s);
        let ready_s = booted_s + settles.si;
        let why = match followed_s {
            None => format!(
                "power comes to {path} after {} s, it switches on after {} s, has booted after {} s, and its chain settles for {} s",
                turn.power_s, turn.on_s, turn.ready_s, settles.si
            ),
            Some(booted_s) => format!(
                "followed in time {path} has booted after {} s, and its chain settles for {} s",
                show_number(booted_s),
                settles.si
            ),
        };
        let against = Against {
            side: Side::AtMost,
            limit: at_most_s.si,
            narrow: NARROW_S,
            unit: "s".to_owned(),
        };
        let input = (turn.power_s, turn.on_s, booted_s, settles.si);
        against.judge(subject, ready_s, Evidence::computed(TURNS, &input), why)
    });
    each.collect()
}
