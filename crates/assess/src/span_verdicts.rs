//! Supply current of each span against what its conductors and its fuse bear while the line works.

use plan::{Line, PassWhen, Q, Span, SpanIx};

use crate::power_cases::{METHOD, cases, sound};
use crate::verdict::{Against, Evidence, Side, Verdict, Word, unknown};

/// A fuse that bears less than this more than it carries is marginal: it ages, and one in warm air melts early (common practice:
/// a rating of 1.25 times the highest steady current).
const FUSE_OVER_STEADY: f64 = 1.25;
/// A current closer to what the conductors bear than this is marginal, A.
const NARROW_A: f64 = 0.1;

/// The largest current of every span that has a rating or a fuse, over all sets of states that matter.
pub(crate) fn span_currents(line: &Line) -> Vec<Verdict> {
    let rated = |span: &Span| span.rated_current_a.is_some() || span.fuse_a.is_some();
    let asked: Vec<usize> = (0..line.spans.len())
        .filter(|&s| rated(&line.spans[s]))
        .collect();
    if asked.is_empty() {
        return Vec::new();
    }
    let cases = match cases(line) {
        Ok(cases) => cases,
        Err(error) => return vec![unknown("the spans", error.to_string())],
    };
    // What is wrong with the sets themselves is told by the verdicts on voltage; without a sound one nothing is known here, and while one is unknown
    // nothing but what the others break.
    let (told, good) = sound(line, &cases);
    let open = told.iter().find(|v| v.word() == Word::Unknown);
    let mut verdicts = Vec::new();
    for s in asked {
        let span = &line.spans[s];
        let subject = format!("span.{}", span.id);
        let largest = good
            .iter()
            .filter_map(|(case, solution)| {
                let at = case.input.branch_spans.iter();
                let at = at.clone().position(|b| *b == Some(SpanIx(s)))?;
                Some((*case, solution.branch_currents_a[at].abs()))
            })
            .max_by(|a, b| a.1.total_cmp(&b.1));
        let Some((case, current_a)) = largest else {
            let why = if good.is_empty() {
                "no set of states is known in which it carries power".to_owned()
            } else {
                unreached(line, span)
            };
            verdicts.push(unknown(subject, why));
            continue;
        };
        let among = if line.exclusives.is_empty() {
            ""
        } else {
            "; among the sets that are worst for voltages and supplies"
        };
        let mut judge = |limit: Q, narrow: f64, what: &str| {
            let against = Against {
                side: Side::AtMost,
                limit: limit.si,
                narrow,
                unit: "A".to_owned(),
            };
            let evidence = Evidence::computed(METHOD, &case.input.network);
            let why = format!("{what}, with {}{among}", case.name);
            let found = against.judge(subject.clone(), current_a, evidence, why);
            verdicts.push(match open {
                None => found,
                Some(open) => found.only_broken(open.why()),
            });
        };
        if let Some(rated) = span.rated_current_a {
            judge(rated, NARROW_A, "against what conductors and contacts bear");
        }
        if let Some(fuse) = span.fuse_a {
            let narrow = (1.0 - 1.0 / FUSE_OVER_STEADY) * fuse.si;
            judge(fuse, narrow, "against the rating of its fuse");
        }
    }
    verdicts
}

/// Why a span is in no network that is known.
fn unreached(line: &Line, span: &Span) -> String {
    if span.conductor.is_none() {
        return "it has no `conductor`, so what power it carries is not known".to_owned();
    }
    let holds_back = |m: plan::ModuleIx| {
        let power = line.modules[m.0].passes.map(|p| p.power)?;
        let when = match power {
            PassWhen::Always => return None,
            PassWhen::Powered => "only while powered",
            PassWhen::Running => "only while running",
            PassWhen::Never => "never",
        };
        Some(format!("{} passes power {when}", line.module_path(m)))
    };
    let ends: Vec<String> = [span.from, span.to]
        .into_iter()
        .filter_map(holds_back)
        .collect();
    let why = if ends.is_empty() {
        "nothing that leads to it has power".to_owned()
    } else {
        ends.join(", and ")
    };
    format!(
        "no supply reaches it in any set of states that is known: {why}; what flows in it is not known, and not zero"
    )
}
