//! What a rehearsal showed.

use crate::check::Shelf;
use crate::evidence::{REHEARSAL, file_name};
use crate::verdict::{Against, Evidence, Side, Verdict, unknown};

/// What a rehearsal of a cue sheet showed, if its record is there and of what a rehearsal reads of the present plan.
pub(crate) fn rehearsed(rehearsed_digest: &str, cues: &str, shelf: &Shelf) -> Verdict {
    let subject = cues.to_owned();
    let again = match shelf.commands.get(cues) {
        Some(command) => format!("run `{command}`"),
        None => "rehearse it".to_owned(),
    };
    let present = match shelf.cues.get(cues) {
        Some(Ok(digest)) => digest,
        Some(Err(why)) => return unknown(subject, why.clone()),
        None => return unknown(subject, "the cue sheet has not been looked at"),
    };
    let rehearsals = || shelf.records.iter().filter(|r| r.method == REHEARSAL);
    // The digests say what was rehearsed, by whatever path the cue sheet was named.
    let fresh =
        || rehearsals().filter(|r| r.plan_digest == rehearsed_digest && r.cues_digest == *present);
    let Some(record) = fresh().min_by_key(|r| (r.passed(), &r.result_digest)) else {
        return if rehearsals().any(|r| r.cues == cues) {
            unknown(
                subject,
                format!("the plan or the cue sheet has changed since it was rehearsed; {again}"),
            )
        } else {
            unknown(subject, format!("it has not been rehearsed yet; {again}"))
        };
    };
    let all = record.expectations.len();
    if all == 0 {
        return unknown(
            subject,
            "the cue sheet expects nothing, so its rehearsal shows nothing",
        );
    }
    let failed: Vec<&str> = record
        .expectations
        .iter()
        .filter(|e| !e.passed)
        .map(|e| e.id.as_str())
        .collect();
    let mut why = if failed.is_empty() {
        "every expectation held".to_owned()
    } else {
        format!("did not hold: {}", failed.join(", "))
    };
    if fresh().any(|r| r.result_digest != record.result_digest) {
        why.push_str(&format!(
            "; rehearsals of the same plan and cue sheet came out differently, by other programs or machines, and this is the worst of them, {}: move it away to leave it out",
            file_name(record)
        ));
    }
    let evidence = Evidence::Rehearsed {
        cues: cues.to_owned(),
        plan_digest: record.plan_digest.clone(),
        cues_digest: record.cues_digest.clone(),
        seed: record.seed,
        result_digest: record.result_digest.clone(),
    };
    let against = Against {
        side: Side::AtLeast,
        limit: all as f64,
        narrow: 0.0,
        unit: "expectations".to_owned(),
    };
    against.judge(subject, record.passed() as f64, evidence, why)
}
