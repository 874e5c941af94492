//! Requirements with their verdicts as rows of a table.

use assess::{Evidence, EvidenceTable, Judged, Supported, Verdict};
use plan::Must;

use super::html::{Page, escaped};
use crate::told::{TOLD_EACH, draws_in_words, in_words, nearest, support_words};

pub(super) fn table(page: &mut Page, all: &[&Judged], table: Option<&EvidenceTable>) {
    let rests = |id: &str| -> Option<&Supported> {
        let table = table?;
        let mut each = table.requirements.iter().chain(&table.standing);
        each.find(|s| s.id == id)
    };
    let mut rows = Vec::new();
    for judged in all {
        let verdicts: Vec<&Verdict> = judged.verdicts.iter().collect();
        let told = nearest(&verdicts, TOLD_EACH);
        let rest = judged.verdicts.len() - told.len();
        for (nth, verdict) in told.iter().enumerate() {
            let mut cells = match nth {
                0 => vec![word(judged.word().as_str()), asked(judged)],
                _ => vec![String::new(), String::new()],
            };
            cells.extend(figures(verdict));
            if table.is_some() {
                cells.push(match nth {
                    0 => rests(&judged.id).map_or_else(String::new, evidence),
                    _ => String::new(),
                });
            }
            rows.push(cells);
        }
        if rest > 0 {
            let mut cells = vec![String::new(); 5];
            cells.push(escaped(&format!("and {rest} more, none of them worse")));
            cells.resize(6 + usize::from(table.is_some()), String::new());
            rows.push(cells);
        }
    }
    let mut heads = vec![
        "verdict",
        "what is asked",
        "value",
        "limit",
        "margin",
        "of what, and why",
    ];
    if table.is_some() {
        heads.push("rests on");
    }
    page.table(&heads, &rows);
}

fn word(word: &str) -> String {
    format!("<span class=\"word {word}\">{word}</span>")
}

fn asked(judged: &Judged) -> String {
    let must = match judged.must {
        Must::Shall => "shall",
        Must::Should => "should",
    };
    let mut cell = format!(
        "<span class=\"id\">{}</span> ({must}): {}",
        escaped(&judged.id),
        escaped(&judged.sentence)
    );
    if let Some(clause) = &judged.clause {
        cell.push_str(&format!("<span class=\"by\">by {}</span>", escaped(clause)));
    }
    if let Some(draws) = &judged.in_draws {
        cell.push_str(&format!(
            "<span class=\"by\">{}</span>",
            escaped(&draws_in_words(draws))
        ));
    }
    cell
}

/// Value, limit, margin, and of what and why.
fn figures(verdict: &Verdict) -> Vec<String> {
    let why = |subject: &str, why: &str| {
        let lines: Vec<String> = why.lines().map(escaped).collect();
        format!(
            "{}<span class=\"why\">{}</span>",
            escaped(subject),
            lines.join("<br>")
        )
    };
    match verdict {
        Verdict::Known(k) => match &k.evidence {
            // Counts of one whole, not a value with room to spare.
            Evidence::Rehearsed { .. } => vec![
                escaped(&format!("{:.0}", k.value.value)),
                escaped(&format!("{:.0} {}", k.limit.value, k.value.unit)),
                String::new(),
                why(&k.subject, &k.why),
            ],
            _ => {
                let [value, limit, margin] = in_words([&k.value, &k.limit, &k.margin]);
                vec![
                    escaped(&value),
                    escaped(&limit),
                    escaped(&margin),
                    why(&k.subject, &k.why),
                ]
            }
        },
        Verdict::Provisional(p) => {
            let [value, limit, margin] = in_words([&p.value, &p.limit, &p.margin]);
            let counted = format!("by {} of {} years; {}", p.counted, p.of, p.why);
            vec![
                escaped(&value),
                escaped(&limit),
                escaped(&margin),
                why(&p.subject, &counted),
            ]
        }
        Verdict::Unknown { subject, why: not } => vec![
            "unknown".to_owned(),
            String::new(),
            String::new(),
            why(subject, not),
        ],
    }
}

fn evidence(of: &Supported) -> String {
    let each = of.supports.iter().map(|(support, _)| {
        let (kind, which) = support_words(support);
        format!("<b>{}</b>: {}", escaped(kind), escaped(&which))
    });
    each.collect::<Vec<_>>().join("<br>")
}
