//! Two plans held against each other: what the second says otherwise, and what that does to every verdict and margin.

use std::collections::{BTreeMap, BTreeSet};

use plan::{Must, Reading, Site, Written};
use sha2::{Digest, Sha256};

use crate::check::{Check, Shelf};
use crate::judged::Judged;
use crate::reach::named_mistake;
use crate::verdict::{Verdict, Word, unknown};

/// A margin that is another by this share only is the same.
const ROUNDING: f64 = 1e-9;

/// A value as one of the plans has it.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Seen {
    /// As it is written.
    pub text: String,
    /// Whether it can be read.
    pub is_right: bool,
    /// The file.
    pub file: String,
    /// Line in it, from 1.
    pub line: usize,
}

/// Where a value stands in the first and in the second plan.
type Places = (Option<Site>, Option<Site>);

/// A key that says something else in the second plan.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Changed {
    /// Path of the key; of a part's own table `part.ID.KEY`.
    pub path: String,
    /// In the first plan; `None` where it is added.
    pub from: Option<Seen>,
    /// In the second plan; `None` where it is removed.
    pub to: Option<Seen>,
    /// Of a part's key: the keys of the line that take their value from it.
    pub reaches: Vec<String>,
}

/// What the second plan says otherwise.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Changes {
    /// Keys with another meaning, by path.
    pub changed: Vec<Changed>,
    /// Keys that are written otherwise and mean the same, by path.
    pub rewritten: Vec<String>,
    /// Keys that name the same file, whose content is another.
    pub files: Vec<String>,
}

/// A verdict in both plans; of a subject with several the worst of each.
#[derive(Clone, PartialEq, Debug)]
pub struct Moved {
    /// Id of the requirement or standing check.
    pub requirement: String,
    /// Shall or should, in the second plan where it is there.
    pub must: Must,
    /// What the verdict is about.
    pub subject: String,
    /// How many subjects one of the plans judges where the other tells of the requirement as a whole that it is unknown: the verdict of
    /// the one is then its worst. `None` of a subject that is paired with itself.
    pub stands_for: Option<usize>,
    /// In the first plan; `None` where it is not there.
    pub before: Option<Verdict>,
    /// In the second plan; `None` where it is not there.
    pub after: Option<Verdict>,
    /// Change of the margin, in margins below which such a verdict is marginal; in limits where a kind has none such. Above zero there
    /// is more left. `None` where one of the two has no margin, or they are in two units.
    pub by: Option<f64>,
}

/// Which of two plans.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum PlanSide {
    /// The first.
    Before,
    /// The second.
    After,
}

impl Moved {
    /// Where the verdict is unknown in one plan and known in the other: in which, and why. A mistake is named by its part, so that it reads
    /// the same of all that rests on it.
    #[must_use]
    pub fn unknown_for(&self) -> Option<(PlanSide, String)> {
        let why = |v: &Option<Verdict>| match v {
            Some(Verdict::Unknown { subject, why }) => Some(named_mistake(subject, why)),
            _ => None,
        };
        match (why(&self.before), why(&self.after)) {
            (Some(why), None) => Some((PlanSide::Before, why)),
            (None, Some(why)) => Some((PlanSide::After, why)),
            _ => None,
        }
    }

    /// The word in the first and in the second plan.
    #[must_use]
    pub fn words(&self) -> (Option<Word>, Option<Word>) {
        let word = |v: &Option<Verdict>| v.as_ref().map(Verdict::word);
        (word(&self.before), word(&self.after))
    }
}

/// What became of the verdicts.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Moves {
    /// Verdicts with another ruling, those that became worse first, then by requirement and subject.
    pub rulings: Vec<Moved>,
    /// Verdicts with the same ruling and another margin, largest change first.
    pub margins: Vec<Moved>,
    /// How many are as they were.
    pub unchanged: usize,
}

/// Two plans held against each other.
#[derive(Clone, PartialEq, Debug)]
pub struct Comparison {
    /// What the second says otherwise.
    pub changes: Changes,
    /// What became of the verdicts.
    pub moves: Moves,
    /// The check of the first plan.
    pub before: Check,
    /// The check of the second plan.
    pub after: Check,
}

/// Holds a plan, what lies beside it and its check against those of another.
#[must_use]
pub fn compare(a: (&Reading, &Shelf, Check), b: (&Reading, &Shelf, Check)) -> Comparison {
    let mut changes = changes(a.0, b.0);
    let (had, has) = (contents_beside(a.0, a.1), contents_beside(b.0, b.1));
    let others = had.iter().filter(|(path, was)| {
        has.get(*path)
            .is_some_and(|is| was.name == is.name && was.digest != is.digest)
    });
    changes.files.extend(others.map(|(path, _)| path.clone()));
    changes.files.sort();
    Comparison {
        changes,
        moves: moves(&a.2, &b.2),
        before: a.2,
        after: b.2,
    }
}

/// A file that a requirement names and that lies beside the plan.
struct Beside {
    /// As the plan writes it.
    name: String,
    /// Its digest; `None` where it has none.
    digest: Option<String>,
}

/// Cue sheets and files of labels that requirements name, by the path of the key.
fn contents_beside(reading: &Reading, shelf: &Shelf) -> BTreeMap<String, Beside> {
    let mut all = BTreeMap::new();
    let requirements = reading.line.iter().flat_map(|line| &line.requirements);
    for r in requirements {
        for (key, name) in reading.asks(&r.id) {
            let digests = match key.as_str() {
                "cues" => &shelf.cues,
                "labels" => &shelf.labels,
                _ => continue,
            };
            if let Some(digest) = digests.get(&name) {
                let digest = digest.as_ref().ok().cloned();
                let path = format!("requirement.{}.{key}", r.id);
                all.insert(path, Beside { name, digest });
            }
        }
    }
    all
}

/// What one plan says otherwise than another, key by key. An item that is put into a list moves those behind it, which are then told
/// as changed.
#[must_use]
pub fn changes(a: &Reading, b: &Reading) -> Changes {
    let (before, after) = (a.written(), b.written());
    let by_path = |all: &[Written]| -> BTreeMap<String, Written> {
        all.iter().map(|w| (w.path.clone(), w.clone())).collect()
    };
    let (was, is) = (by_path(&before), by_path(&after));
    let paths: BTreeSet<&String> = was.keys().chain(is.keys()).collect();
    let mut found = Changes::default();
    let mut of_parts: BTreeMap<Places, Changed> = BTreeMap::new();
    let mut of_line: Vec<(Places, Changed)> = Vec::new();
    for path in paths {
        let (from, to) = (was.get(path), is.get(path));
        if let (Some(from), Some(to)) = (from, to) {
            let same = match (&from.means, &to.means) {
                (Some(x), Some(y)) => x == y,
                _ => from.text == to.text,
            };
            if same {
                // What a part writes otherwise is told of the part.
                let of_part = from.used_at.is_some() && to.used_at.is_some();
                if from.text != to.text && !of_part {
                    found.rewritten.push(path.clone());
                }
                continue;
            }
        }
        let changed = Changed {
            path: path.clone(),
            from: from.map(|w| seen(a, w)),
            to: to.map(|w| seen(b, w)),
            reaches: Vec::new(),
        };
        let sites = (from.map(|w| w.at), to.map(|w| w.at));
        if path.starts_with("part.") {
            of_parts.insert(sites, changed);
        } else {
            of_line.push((sites, changed));
        }
    }
    for (sites, changed) in of_line {
        // What a part gives stands at the part's own place.
        match of_parts.get_mut(&sites) {
            Some(part) => part.reaches.push(changed.path),
            None => found.changed.push(changed),
        }
    }
    found.changed.extend(of_parts.into_values());
    found.changed.sort_by(|x, y| x.path.cmp(&y.path));
    let (had, has) = (contents(a), contents(b));
    let same_name = |path: &String| match (was.get(path), is.get(path)) {
        (Some(x), Some(y)) => x.means == y.means,
        _ => false,
    };
    found.files = had
        .iter()
        .filter(|(path, digest)| same_name(path) && has.get(*path).is_some_and(|d| d != *digest))
        .map(|(path, _)| path.clone())
        .collect();
    found
}

fn seen(reading: &Reading, written: &Written) -> Seen {
    let (line, _) = reading.sources.line_column(written.at);
    let file = reading.sources.get(written.at.file).path.display();
    Seen {
        text: written.text.clone(),
        is_right: written.means.is_some(),
        file: file.to_string(),
        line,
    }
}

/// Digests of the files that keys of a plan name, by the path of the key.
fn contents(reading: &Reading) -> BTreeMap<String, String> {
    let digest = |bytes: &[u8]| plan::hex(&Sha256::digest(bytes));
    let mut all = BTreeMap::new();
    let Some(line) = &reading.line else {
        return all;
    };
    if let Some(weather) = &line.sea.weather {
        let text = weather.text.replace("\r\n", "\n");
        all.insert("site.weather".to_owned(), digest(text.as_bytes()));
    }
    for detector in &line.detectors {
        for (i, stage) in detector.stages.iter().enumerate() {
            let bytes = stage.template().and_then(|t| t.bytes.as_deref());
            for key in ["matched", "likeness_to", "learned"] {
                if let Some(bytes) = bytes {
                    let path = format!("detector.{}.stages[{i}].{key}", detector.id);
                    all.insert(path, digest(bytes));
                }
            }
        }
    }
    for call in &line.calls {
        if let Some(bytes) = call.recording.as_ref().and_then(|r| r.bytes.as_deref()) {
            all.insert(format!("call.{}.file", call.id), digest(bytes));
        }
    }
    for behaviour in &line.behaviours {
        if let Some(text) = behaviour.routine.as_ref().and_then(|r| r.text.as_deref()) {
            let text = text.replace("\r\n", "\n");
            let path = format!("behaviour.{}.routine", behaviour.id);
            all.insert(path, digest(text.as_bytes()));
        }
    }
    all
}

/// The worst verdict of each subject, by whether it is a standing check, the id and the subject: a requirement may be called as a standing check is.
pub(crate) fn worst(check: &Check) -> BTreeMap<(bool, &str, &str), (&Judged, &Verdict)> {
    let each = by_subject(check).into_iter();
    let each = each.flat_map(|((standing, id), (judged, verdicts))| {
        verdicts
            .into_iter()
            .map(move |v| ((standing, id, v.subject()), (judged, v)))
    });
    each.collect()
}

/// Of each requirement and standing check the worst verdict on each subject, worst first.
type BySubject<'c> = BTreeMap<(bool, &'c str), (&'c Judged, Vec<&'c Verdict>)>;

fn by_subject(check: &Check) -> BySubject<'_> {
    let mut all = BySubject::new();
    let requirements = check.requirements.iter().map(|j| (false, j));
    for (standing, judged) in requirements.chain(check.standing.iter().map(|j| (true, j))) {
        let of = all.entry((standing, judged.id.as_str()));
        let (_, verdicts) = of.or_insert((judged, Vec::new()));
        for verdict in &judged.verdicts {
            if verdicts.iter().all(|v| v.subject() != verdict.subject()) {
                verdicts.push(verdict);
            }
        }
    }
    all
}

/// What is told of a standing check that a plan with mistakes does not have: the mistakes may be what hides it.
fn hidden(of: &BySubject<'_>, key: (bool, &str), check: &Check) -> Option<Verdict> {
    let mistaken = check.errors > 0 && key.0 && !of.contains_key(&key);
    mistaken.then(|| unknown("the plan", "it is not judged while the plan has mistakes"))
}

/// What became of the verdicts of one check in another. A requirement of which one plan tells only that it is unknown, where the other
/// judges several subjects or another one, moved as a whole.
#[must_use]
pub fn moves(before: &Check, after: &Check) -> Moves {
    let (was, is) = (by_subject(before), by_subject(after));
    let keys: BTreeSet<(bool, &str)> = was.keys().chain(is.keys()).copied().collect();
    let mut found = Moves::default();
    for key in keys {
        let (old, new) = (was.get(&key), is.get(&key));
        let Some((judged, _)) = new.or(old) else {
            continue;
        };
        let (old_hidden, new_hidden) = (hidden(&was, key, before), hidden(&is, key, after));
        let told = |side: Option<&(&Judged, Vec<&Verdict>)>, hidden: &Option<Verdict>| match side {
            Some((_, verdicts)) => verdicts.iter().map(|v| (*v).clone()).collect(),
            None => hidden.iter().cloned().collect::<Vec<Verdict>>(),
        };
        let (old, new) = (told(old, &old_hidden), told(new, &new_hidden));
        let moved =
            |subject: &str, stands_for, old: Option<&Verdict>, new: Option<&Verdict>| Moved {
                requirement: judged.id.clone(),
                must: judged.must,
                subject: subject.to_owned(),
                stands_for,
                before: old.cloned(),
                after: new.cloned(),
                by: old.zip(new).and_then(|(a, b)| shift(a, b)),
            };
        let as_a_whole = if is_whole((&old, before), &new) {
            Some(&new)
        } else if is_whole((&new, after), &old) {
            Some(&old)
        } else {
            None
        };
        if let Some(judged_side) = as_a_whole {
            let one = judged_side.len() == 1;
            let stands_for = (!one).then_some(judged_side.len());
            let subject = if one { judged_side[0].subject() } else { WHOLE };
            found.add(moved(subject, stands_for, old.first(), new.first()));
            continue;
        }
        let subjects: BTreeSet<&str> = old.iter().chain(&new).map(Verdict::subject).collect();
        for subject in subjects {
            let of = |side: &'_ [Verdict]| side.iter().position(|v| v.subject() == subject);
            let (old, new) = (of(&old).map(|i| &old[i]), of(&new).map(|i| &new[i]));
            found.add(moved(subject, None, old, new));
        }
    }
    found.sort();
    found
}

/// The subject of a requirement that moved as a whole, where that is of several.
const WHOLE: &str = "the whole";

/// Whether a side tells only that a requirement as a whole is unknown, where the other judges what it is about: a plan with mistakes names
/// the mistaken part, or each subject for the same mistake; others may name the line or the plan.
fn is_whole((side, check): (&[Verdict], &Check), other: &[Verdict]) -> bool {
    let mut reasons = BTreeSet::new();
    for verdict in side {
        let Verdict::Unknown { subject, why } = verdict else {
            return false;
        };
        reasons.insert(named_mistake(subject, why));
    }
    let alone = side.len() == 1 && other.iter().all(|v| v.subject() != side[0].subject());
    !other.is_empty() && reasons.len() == 1 && (alone || check.errors > 0 && other.len() > 1)
}

impl Moves {
    fn add(&mut self, moved: Moved) {
        let (from, to) = moved.words();
        if from != to {
            self.rulings.push(moved);
        } else if moved.by.is_some_and(|by| by != 0.0) || limits_differ(&moved) {
            self.margins.push(moved);
        } else {
            self.unchanged += 1;
        }
    }

    fn sort(&mut self) {
        let badness = |m: &Moved| {
            let (from, to) = m.words();
            // Met stands for what is not there.
            let at = |w: Option<Word>| w.unwrap_or(Word::Met);
            (at(to) >= at(from), at(to))
        };
        self.rulings.sort_by_key(badness);
        let size = |m: &Moved| m.by.map_or(f64::INFINITY, f64::abs);
        self.margins.sort_by(|x, y| size(y).total_cmp(&size(x)));
    }
}

/// Two units of one verdict are no margin that moved, but tell all the same.
fn limits_differ(moved: &Moved) -> bool {
    match (&moved.before, &moved.after) {
        (Some(Verdict::Known(a)), Some(Verdict::Known(b))) => {
            a.limit != b.limit || a.margin.unit != b.margin.unit
        }
        _ => false,
    }
}

/// Change of a margin in margins below which it is marginal.
fn shift(before: &Verdict, after: &Verdict) -> Option<f64> {
    let (Verdict::Known(a), Verdict::Known(b)) = (before, after) else {
        return None;
    };
    if a.margin.unit != b.margin.unit {
        return None;
    }
    let by = b.margin.value - a.margin.value;
    if by.abs() <= ROUNDING * a.margin.value.abs().max(b.margin.value.abs()) {
        return Some(0.0);
    }
    let scale = match (b.narrow, b.limit.value.abs()) {
        (narrow, _) if narrow > 0.0 => narrow,
        (_, limit) if limit > 0.0 => limit,
        _ => 1.0,
    };
    Some(by / scale)
}
