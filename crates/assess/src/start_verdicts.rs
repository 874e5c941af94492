//! Whether every module starts when power comes on, with new and with aged contacts.

use plan::{Line, ModuleIx, Q, That};

use crate::boot_verdicts::boots_carried;
use crate::input::Contacts;
use crate::memo::Memo;
use crate::reserve::without_current_limit;
use crate::standing::BOOTS_CARRIED;
use crate::start::{Followed, StartError, follow, patience_s, ready, ready_s};
use crate::start_ohms::ohms;
use crate::start_remedy::{remedy, without_falls};
use crate::verdict::{Against, Evidence, Ruling, Side, Verdict, Word, unknown};

/// A start closer to its limit than this is marginal, s.
pub(crate) const NARROW_S: f64 = 1.0;
const METHOD: &str = "start followed in time from empty capacitors (docs/method/start-up.md; Hairer and Wanner 1996, RODAS)";

/// The start of the whole line, within a time if one is asked.
pub(crate) fn start_up(line: &Line, at_most_s: Option<Q>, memo: &Memo) -> Vec<Verdict> {
    let mut verdicts: Vec<Verdict> = Vec::new();
    let mut followed = Vec::new();
    let mut states = Vec::new();
    for (contacts, age) in [(Contacts::New, "new"), (Contacts::Aged, "aged")] {
        match patiently(line, contacts, at_most_s, memo) {
            Ok(start) => {
                followed.push((start, age));
                states.push(contacts);
            }
            // What is open is so with either contacts; told once.
            Err(error) => {
                let open = unknown("the line", error.to_string());
                if !verdicts.contains(&open) {
                    verdicts.push(open);
                }
            }
        }
    }
    // What would start the line is told once, where it is furthest from starting.
    let share = |start: &Followed| start.finding.value / start.finding.limit;
    let worst = (0..followed.len())
        .filter(|&i| fails(&followed[i].0))
        .min_by(|&a, &b| share(&followed[a].0).total_cmp(&share(&followed[b].0)));
    let to_blame = worst.and_then(|i| ohms(line, states[i], &followed[i].0, memo).ok().flatten());
    let helps = match worst {
        Some(_) => match remedy(line, memo) {
            Ok(helps) => helps.told_with(line, memo),
            Err(error) => format!("what would start it is not known: {error}"),
        },
        None => String::new(),
    };
    let falls = |start: &Followed| {
        start.finding.starts && start.report.modules.iter().any(|m| !m.off_s.is_empty())
    };
    let spares = if worst.is_none() && followed.iter().any(|(start, _)| falls(start)) {
        without_falls(line, memo).ok().flatten()
    } else {
        None
    };
    let endless = without_current_limit(line);
    let not_carried = boots_carried(line).iter().any(Verdict::is_broken);
    for (i, (start, age)) in followed.iter().enumerate() {
        let mut why = format!("with {age} contacts {}", start.finding.why);
        if worst == Some(i) {
            if let Some(to_blame) = &to_blame {
                why = format!("{why}; {to_blame}");
            }
            why = format!("{why}; {helps}");
        }
        if not_carried && worst.unwrap_or(0) == i {
            why = format!("{why}; see `{BOOTS_CARRIED}`, which is broken");
        }
        let mut verdict = judged(line, start, why, at_most_s);
        if let Verdict::Known(known) = &mut verdict
            && known.ruling == Ruling::Met
            && falls(start)
        {
            known.ruling = Ruling::Marginal;
            known.why = format!(
                "{}; marginal, as a start in which modules fall out rests on their small differences",
                known.why
            );
            if let Some(spares) = &spares {
                known.why = format!(
                    "{}; to avoid that, {}",
                    known.why,
                    spares.told_with(line, memo)
                );
            }
        }
        verdicts.push(match &endless {
            None => verdict,
            Some(endless) => verdict.only_broken(format!(
                "{endless} may give less than a start takes: write its `current_limit`"
            )),
        });
    }
    verdicts
}

/// The keys that a verdict on the start names, each with its value: those with which a line starts that does not, or with which one that starts
/// does so without a module falling out.
pub(crate) fn named_keys(line: &Line, word: Word, memo: &Memo) -> Vec<(String, String)> {
    let helps = match word {
        Word::Broken => remedy(line, memo).ok(),
        Word::Marginal => without_falls(line, memo).ok().flatten(),
        Word::Met | Word::Unknown | Word::Provisional => None,
    };
    helps.map_or_else(Vec::new, |helps| helps.keys(line))
}

/// The same, with nothing said of what would help or is to blame.
pub(crate) fn plainly(line: &Line, at_most_s: Option<Q>, memo: &Memo) -> Vec<Verdict> {
    let each = [Contacts::New, Contacts::Aged].map(|contacts| {
        match patiently(line, contacts, at_most_s, memo) {
            Ok(start) => {
                let why = start.finding.why.clone();
                judged(line, &start, why, at_most_s)
            }
            Err(error) => unknown("the line", error.to_string()),
        }
    });
    each.into()
}

/// Why a line does not start when power comes on, followed in time with new and with aged contacts; `None` where it starts, and where the plan does not say enough for that.
pub(crate) fn never_starts(line: &Line, memo: &Memo) -> Option<String> {
    let ages = [(Contacts::New, "new"), (Contacts::Aged, "aged")];
    ages.into_iter().find_map(|(contacts, age)| {
        let start = patiently(line, contacts, None, memo).ok()?;
        fails(&start).then(|| {
            format!(
                "followed in time it does not start with {age} contacts: {}; see `soundline start`",
                start.finding.why
            )
        })
    })
}

/// When a module has booted at the latest, with new or with aged contacts, in a start that is followed in time, s; `None` where that is not followed, or it never does.
pub(crate) fn booted_s(line: &Line, module: ModuleIx, memo: &Memo) -> Option<f64> {
    let ends = [Contacts::New, Contacts::Aged].into_iter().map(|contacts| {
        let start = patiently(line, contacts, None, memo).ok()?;
        let own = start.input.modules.iter().position(|m| *m == module)?;
        start.report.modules[own].boot_end_s
    });
    ends.flatten().reduce(f64::max)
}

/// The start of a line of which no requirement asks it, where it fails.
pub(crate) fn standing_start(line: &Line, memo: &Memo) -> Vec<Verdict> {
    let asked = line
        .binding()
        .any(|r| matches!(r.that, That::StartUp { .. }));
    if asked || line.supplies.is_empty() {
        return Vec::new();
    }
    let verdicts = start_up(line, None, memo).into_iter();
    verdicts.filter(Verdict::is_broken).collect()
}

fn fails(start: &Followed) -> bool {
    !start.finding.starts && start.finding.word != "unsettled"
}

/// Follows a start for longer than it may take.
fn patiently(
    line: &Line,
    contacts: Contacts,
    at_most_s: Option<Q>,
    memo: &Memo,
) -> Result<Followed, StartError> {
    let own_s = patience_s(line, &ready(line, contacts)?);
    let longest_s = at_most_s.map_or(own_s, |q| own_s.max((2.0 * q.si).min(1e6)));
    follow(line, contacts, Some(longest_s), memo)
}

fn judged(line: &Line, start: &Followed, why: String, at_most_s: Option<Q>) -> Verdict {
    let finding = &start.finding;
    if finding.word == "unsettled" {
        let further = "`soundline start` with `--longest` follows it further";
        return unknown(finding.subject.clone(), format!("{why}; {further}"));
    }
    let evidence = Evidence::computed(METHOD, &start.input.line);
    if let (true, Some(limit)) = (finding.starts, at_most_s) {
        let ready_s = ready_s(line, &start.input, &start.report);
        return Against {
            side: Side::AtMost,
            limit: limit.si,
            narrow: NARROW_S,
            unit: "s".to_owned(),
        }
        .judge(finding.subject.clone(), ready_s, evidence, why);
    }
    Against {
        side: Side::AtLeast,
        limit: finding.limit,
        narrow: 0.0,
        unit: finding.unit.to_owned(),
    }
    .judge(finding.subject.clone(), finding.value, evidence, why)
}
