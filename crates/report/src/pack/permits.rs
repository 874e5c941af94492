//! The permits and documents that a plan names: what each asks or shows, and by whom it is attested.

use std::collections::BTreeMap;

use plan::That;

use super::PackOf;
use super::csv::Csv;

/// A document that something is asked by or rests on.
pub(super) struct Permit {
    pub(super) document: String,
    /// Ids of requirements, watches and standing checks that are asked by it or rest on it.
    pub(super) asks: Vec<String>,
    /// Who gave it, when, and until when; `None` where the plan holds no attestation of it.
    pub(super) given: Option<[String; 3]>,
}

/// Every one that the plan names, by its name.
pub(super) fn permits(of: &PackOf<'_>) -> Vec<Permit> {
    let mut all: BTreeMap<&str, Permit> = BTreeMap::new();
    let new = |document: &str| Permit {
        document: document.to_owned(),
        asks: Vec::new(),
        given: None,
    };
    for judged in of.check.requirements.iter().chain(&of.check.standing) {
        let Some(clause) = &judged.clause else {
            continue;
        };
        let permit = all.entry(clause).or_insert_with(|| new(clause));
        permit.asks.push(judged.id.clone());
    }
    for requirement in &of.line.requirements {
        let That::Attested {
            attested: Some(attested),
        } = &requirement.that
        else {
            continue;
        };
        let document = &attested.document;
        let permit = all.entry(document).or_insert_with(|| new(document));
        if !permit.asks.contains(&requirement.id) {
            permit.asks.push(requirement.id.clone());
        }
        let day = |at: jiff::Timestamp| at.strftime("%Y-%m-%d").to_string();
        permit.given = Some([
            attested.by.clone(),
            day(attested.date),
            attested.expires.map_or_else(|| "no end".to_owned(), day),
        ]);
    }
    all.into_values().collect()
}

/// The same as a table.
pub(super) fn csv(of: &PackOf<'_>) -> String {
    let mut csv = Csv::with(&["document", "asks_or_shows", "given_by", "on", "until"]);
    for permit in permits(of) {
        let [by, on, until] = permit
            .given
            .unwrap_or_else(|| ["unknown"; 3].map(str::to_owned));
        csv.row(&[permit.document, permit.asks.join(" "), by, on, until]);
    }
    csv.text()
}
