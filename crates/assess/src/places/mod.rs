//! Whether a part may be added to a line, place by place.
//!
//! For each place the plan's text is changed (the module put in, a span cut in two or a stub added), read as any plan is, and
//! checked by [`crate::check`]; the verdicts are held against those of the plan without the module. There is no second calculation.

mod answer;
mod change;
mod site;
mod talk;
mod unwritten;
mod weigh;

use std::path::Path;

use plan::{Fetch, Line, Mistake, Must, Reading, That};
use quantity::nearest;
use toml_edit::Value;

use crate::check::{Check, Shelf, Tier, check_as_written};
use crate::hang::{DepthsTold, read_with};
use crate::memo::Memo;
use crate::verdict::Word;

pub use change::ChangeError;
pub use site::{Along, At, Site, SiteError, Way};
pub use talk::{Publishes, PublishesError, TALK_TABLES, foreign_table};
pub use weigh::Bind;
pub(crate) use weigh::on_records;

use answer::answer;
use change::{Text, further_half};
use site::{along, everywhere};
use unwritten::{assumed, open};
use weigh::{Names, already, weigh};

/// What the added module publishes, and what it does when it is told.
#[derive(Clone, Debug, PartialEq)]
pub enum Talk {
    /// Nobody says: load and latency are then unknown.
    Unsaid,
    /// It publishes nothing and is told nothing.
    Silent,
    /// Tables of a plan that say it, in which it goes by its id.
    Tables(String),
}

/// What is asked.
#[derive(Clone, Debug, PartialEq)]
pub struct PlaceAsk {
    /// The part: `part.ID`.
    pub part: String,
    /// A catalogue that the plan does not include, by its file name, and its text.
    pub catalogue: Option<(String, String)>,
    /// Id of the added module.
    pub id: String,
    /// What it publishes.
    pub talk: Talk,
    /// Kinds of links that it speaks; with none it is taken to speak all.
    pub speaks: Vec<String>,
    /// Lengths along sections; with none every module and the middle of every span.
    pub along: Vec<Along>,
    /// Cable of a stub: `part.ID`; that of the span that leads to the neighbour where none is named.
    pub cable: Option<String>,
    /// Length of a stub, m.
    pub stub_m: f64,
    /// Whether the years of the supplies count.
    pub years: bool,
    /// How many threads check.
    pub threads: usize,
}

/// Whether the part may be added at a place.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Answer {
    /// It may.
    MayGo,
    /// It may not.
    MayNot,
    /// That is not known.
    Unknown,
}

/// A place, and what comes of the part there.
#[derive(Clone, Debug)]
pub struct Place {
    /// Where.
    pub site: Site,
    /// Depth there, m; `None` when the changed plan could not be read so far.
    pub depth_m: Option<f64>,
    /// May it?
    pub answer: Answer,
    /// Why it may not, as far as no verdict says it.
    pub refused: Vec<String>,
    /// What is unknown with the part there and not without it.
    pub unknown: Vec<String>,
    /// What leaves least.
    pub binds: Option<Bind>,
    /// What leaves least of all other requirements.
    pub next: Option<Bind>,
    /// What was broken without the part and is further beyond its limit with it: requirement and subject.
    pub worse: Vec<(String, String)>,
    /// Recommendations (`should`) that the part breaks: requirement and subject.
    pub should: Vec<(String, String)>,
    /// The check with the part there; `None` when the changed plan has mistakes.
    pub check: Option<Check>,
    /// The changed plan.
    pub text: String,
}

/// A part at all places.
#[derive(Clone, Debug)]
pub struct Places {
    /// Name of the deployment.
    pub name: String,
    /// The part.
    pub part: String,
    /// Path of the added module.
    pub module: String,
    /// What is said of what it publishes.
    pub talk: Talk,
    /// The places, in the order along the line.
    pub places: Vec<Place>,
    /// What is broken without the part: requirement, subject, why.
    pub broken_already: Vec<(String, String, String)>,
    /// What is unknown without the part.
    pub unknown_already: Vec<(String, String, String)>,
    /// Requirements of the plan that rest on records, which have to be made anew with the part.
    pub anew: Vec<String>,
    /// What the plan does not require and is judged all the same: its sentences.
    pub also_judged: Vec<String>,
    /// Whether years that the plan claims were left out.
    pub provisional: bool,
    /// Which depths of modules count without the part; `None` of a line without sections.
    pub depths: Option<DepthsTold>,
    /// What was assumed of the places and the part.
    pub assumed: Vec<String>,
    /// What is not answered here.
    pub open: Vec<String>,
}

/// Why nothing can be said.
#[derive(Debug, thiserror::Error)]
pub enum PlaceError {
    /// The plan has no line or mistakes.
    #[error("the plan has mistakes")]
    Plan,
    /// No such part.
    #[error("there is no {kind} `{part}`{}", near.as_ref().map_or_else(String::new, |n| format!("; did you mean `{n}`?")))]
    NoPart {
        /// What was asked.
        part: String,
        /// What it has to be: a module, or a span for the cable of a stub.
        kind: &'static str,
        /// The nearest that is there.
        near: Option<String>,
        /// Those that are there.
        parts: Vec<String>,
    },
    /// The part is of another kind.
    #[error("`{part}` is a {is}, no {kind}")]
    OfAnotherKind {
        /// What was asked.
        part: String,
        /// What it has to be.
        kind: &'static str,
        /// What it is.
        is: String,
    },
    /// The id is in use.
    #[error("the plan has a `{path}` already")]
    Taken {
        /// Which.
        path: String,
    },
    /// The catalogue or the cable that was named has mistakes.
    #[error("with this part the plan has mistakes")]
    Mistakes(Box<Reading>),
    /// What is said of what it publishes has mistakes.
    #[error("what it publishes cannot be used: {}", mistakes.join("; "))]
    Talk {
        /// Line and text of each.
        mistakes: Vec<String>,
    },
    /// A part can be held from a catalogue of its own, and put into a plan from one that the plan includes.
    #[error("the plan does not include `{name}`, so that nothing of it can be put there")]
    NotIncluded {
        /// The catalogue.
        name: String,
    },
    /// No place has this number.
    #[error("there are {count} places, counted from 0, and none is {number}")]
    NoPlace {
        /// What was asked.
        number: usize,
        /// How many there are.
        count: usize,
    },
    /// A length along a section that is no place.
    #[error(transparent)]
    Site(#[from] SiteError),
    /// The text cannot be changed.
    #[error(transparent)]
    Change(#[from] ChangeError),
    /// Somebody asked to stop.
    #[error("stopped")]
    Cancelled,
}

/// Says for each place whether the part may be added there.
///
/// `reading` is the plan at `path` as it was read by `fetch`, without errors. `watch` gets how many places are done, of how
/// many, and says whether to go on.
///
/// # Errors
/// [`PlaceError`].
pub fn places(
    path: &Path,
    reading: &Reading,
    shelf: &Shelf,
    fetch: &Fetch<'_>,
    ask: &PlaceAsk,
    watch: &dyn Fn(u64, u64) -> bool,
) -> Result<Places, PlaceError> {
    places_with(path, reading, shelf, fetch, ask, &Memo::new(), watch)
}

/// The same, with results of earlier checks in place of what would come to the same.
///
/// # Errors
/// [`PlaceError`].
pub fn places_with(
    path: &Path,
    reading: &Reading,
    shelf: &Shelf,
    fetch: &Fetch<'_>,
    ask: &PlaceAsk,
    memo: &Memo,
    watch: &dyn Fn(u64, u64) -> bool,
) -> Result<Places, PlaceError> {
    let whole = reading.line.as_ref().filter(|_| !reading.has_errors());
    let line = whole.ok_or(PlaceError::Plan)?;
    free(line, &ask.id)?;
    let sites = match ask.along.as_slice() {
        [] => everywhere(line),
        asked => along(line, asked)?,
    };
    let mut base = Text::of(reading)?;
    if let Some((name, _)) = &ask.catalogue {
        base.include(name)?;
    }
    let asked = also_asked(line, &mut base)?;
    let provisional = !ask.years && leave_years_out(line, &mut base);
    let stand_in = |text: &str| {
        read_with(path, memo, &|wanted: &Path| {
            if wanted == path {
                return Ok(text.as_bytes().to_vec());
            }
            match &ask.catalogue {
                Some((name, held)) if wanted.file_name().is_some_and(|n| n == name.as_str()) => {
                    Ok(held.as_bytes().to_vec())
                }
                _ => fetch(wanted),
            }
        })
    };
    let without = stand_in(&base.clone().into_string());
    if without.has_errors() {
        return Err(PlaceError::Mistakes(Box::new(without)));
    }
    known_part(&without, &ask.part, "module")?;
    if let Some(cable) = &ask.cable {
        known_part(&without, cable, "span")?;
    }
    let before = check_as_written(&without, shelf, memo, Tier::Full);
    let base_line = without.line.as_ref().ok_or(PlaceError::Plan)?;
    let mut told: Vec<Place> = Vec::new();
    let count = sites.len() as u64;
    let mut anew = std::collections::BTreeSet::new();
    for batch in sites.chunks(ask.threads.max(1)) {
        if !watch(told.len() as u64, count) {
            return Err(PlaceError::Cancelled);
        }
        let mut changed = Vec::new();
        for site in batch {
            let mut text = base.clone();
            text.place(&ask.id, &ask.part, site, ask.cable.as_deref(), ask.stub_m)?;
            let mut text = text.into_string();
            let own = text.len();
            if let Talk::Tables(tables) = &ask.talk {
                text.push('\n');
                text.push_str(tables);
            }
            let with = stand_in(&text);
            mistakes_of_talk(&with, own, ask)?;
            changed.push((site, text, with));
        }
        let checks = checked(&changed, shelf, memo);
        for ((site, text, with), after) in changed.into_iter().zip(checks) {
            let weighed = after.as_ref().map(|after| {
                let further = further_half(&ask.id);
                let names = Names {
                    module: &ask.id,
                    further: &further,
                    cut: match &site.way {
                        Way::Within { span, .. } => Some(span),
                        _ => None,
                    },
                };
                weigh(&before, after, base_line, &names)
            });
            if let Some(w) = &weighed {
                anew.extend(w.anew.iter().cloned());
            }
            told.push(answer(ask, site.clone(), text, &with, after, weighed));
        }
    }
    watch(count, count);
    let also_judged = before
        .requirements
        .iter()
        .filter(|j| asked.contains(&j.id))
        .map(|j| format!("{}: {}", j.id, j.sentence))
        .collect();
    let not_anew = |(id, ..): &(String, String, String)| !anew.contains(id);
    Ok(Places {
        name: line.deployment.name.clone(),
        part: ask.part.clone(),
        module: format!("module.{}", ask.id),
        talk: ask.talk.clone(),
        places: told,
        broken_already: already(&before, Word::Broken),
        unknown_already: already(&before, Word::Unknown)
            .into_iter()
            .filter(not_anew)
            .collect(),
        anew: anew.iter().cloned().collect(),
        also_judged,
        provisional,
        depths: before.depths,
        assumed: assumed(line, ask),
        open: open(line, ask),
    })
}

/// The ids of what is put in must be free.
/// The plan's own text with the part at one of its places and nothing else changed: the place of this number, from 0, in the order in which
/// [`places`] tells them. What it publishes stands at the end.
///
/// # Errors
/// [`PlaceError`]; [`PlaceError::NotIncluded`] for a part of a catalogue that the plan does not include.
pub fn placed(reading: &Reading, ask: &PlaceAsk, number: usize) -> Result<String, PlaceError> {
    let whole = reading.line.as_ref().filter(|_| !reading.has_errors());
    let line = whole.ok_or(PlaceError::Plan)?;
    free(line, &ask.id)?;
    if let Some((name, _)) = &ask.catalogue {
        let name = name.clone();
        return Err(PlaceError::NotIncluded { name });
    }
    known_part(reading, &ask.part, "module")?;
    if let Some(cable) = &ask.cable {
        known_part(reading, cable, "span")?;
    }
    let sites = match ask.along.as_slice() {
        [] => everywhere(line),
        asked => along(line, asked)?,
    };
    let count = sites.len();
    let site = sites.get(number);
    let site = site.ok_or(PlaceError::NoPlace { number, count })?;
    let mut text = Text::of(reading)?;
    text.place(&ask.id, &ask.part, site, ask.cable.as_deref(), ask.stub_m)?;
    let mut text = text.into_string();
    if let Talk::Tables(tables) = &ask.talk {
        text.push('\n');
        text.push_str(tables);
        if !text.ends_with('\n') {
            text.push('\n');
        }
    }
    Ok(text)
}

fn free(line: &Line, id: &str) -> Result<(), PlaceError> {
    if line.module_by_id(id).is_some() {
        let path = format!("module.{id}");
        return Err(PlaceError::Taken { path });
    }
    let further = further_half(id);
    let taken = line.spans.iter().find(|s| s.id == id || s.id == further);
    match taken {
        Some(span) => Err(PlaceError::Taken {
            path: format!("span.{}", span.id),
        }),
        None => Ok(()),
    }
}

fn known_part(reading: &Reading, path: &str, kind: &'static str) -> Result<(), PlaceError> {
    let id = path.strip_prefix("part.").unwrap_or(path);
    let parts: Vec<(&str, &str)> = reading.parts().collect();
    match parts.iter().find(|(known, _)| *known == id) {
        Some((_, is)) if *is == kind => Ok(()),
        Some((_, is)) => Err(PlaceError::OfAnotherKind {
            part: path.to_owned(),
            kind,
            is: (*is).to_owned(),
        }),
        None => {
            let fit = parts.iter().filter(|(_, is)| *is == kind);
            let fit: Vec<&str> = fit.map(|(id, _)| *id).collect();
            Err(PlaceError::NoPart {
                part: path.to_owned(),
                kind,
                near: nearest(id, fit.iter().copied()).map(|n| format!("part.{n}")),
                parts: fit.iter().map(|m| format!("part.{m}")).collect(),
            })
        }
    }
}

/// Limits that every line has, whether or not its plan requires them: asks for those that it does not. Their ids.
fn also_asked(line: &Line, text: &mut Text) -> Result<Vec<String>, ChangeError> {
    let shall = || line.requirements.iter().filter(|r| r.must == Must::Shall);
    let any = |is: fn(&That) -> bool| shall().any(|r| is(&r.that));
    let asked = [
        (
            "voltage",
            any(|t| matches!(t, That::Voltage { of: None, .. })),
        ),
        (
            "supply-current",
            any(|t| matches!(t, That::SupplyCurrent { of: None, .. })),
        ),
        ("start-up", any(|t| matches!(t, That::StartUp { .. }))),
        (
            "collapse-factor",
            any(|t| matches!(t, That::CollapseFactor { .. })),
        ),
    ];
    let mut ids = Vec::new();
    for (that, there) in asked {
        if there {
            continue;
        }
        let mut id = that.to_owned();
        while text.has("requirement", &id) {
            id.push_str("-asked");
        }
        let mut fields: Vec<(&str, Value)> = vec![("that", that.into())];
        if that == "collapse-factor" {
            fields.push(("at_least", "100 %".into()));
        }
        text.add("requirement", &id, &fields)?;
        ids.push(id);
    }
    Ok(ids)
}

/// Takes out what the plan claims of years; whether there was anything.
fn leave_years_out(line: &Line, text: &mut Text) -> bool {
    let mut any = false;
    for r in &line.requirements {
        if matches!(r.that, That::OutageHours { .. } | That::LowestCharge { .. }) {
            text.remove("requirement", &r.id);
            any = true;
        }
    }
    any
}

/// Mistakes in the tables that say what the module publishes are not of a place.
fn mistakes_of_talk(with: &Reading, own: usize, ask: &PlaceAsk) -> Result<(), PlaceError> {
    if !matches!(ask.talk, Talk::Tables(_)) {
        return Ok(());
    }
    let (first, source) = with.sources.iter().next().expect("a plan has a text");
    let begins = source.text[..own].matches('\n').count() + 1;
    let within = |m: &&Mistake| m.is_error() && m.site.file == first && m.site.start as usize > own;
    let mistakes: Vec<String> = with
        .mistakes
        .iter()
        .filter(within)
        .map(|m| {
            let (row, _) = with.sources.line_column(m.site);
            let help = m
                .help
                .as_ref()
                .map_or_else(String::new, |h| format!(" ({h})"));
            format!("line {}: {}{help}", row - begins, m.message)
        })
        .collect();
    if mistakes.is_empty() {
        Ok(())
    } else {
        Err(PlaceError::Talk { mistakes })
    }
}

/// The checks of changed plans, each on a thread of its own, in their order; none of a plan with mistakes.
fn checked(changed: &[(&Site, String, Reading)], shelf: &Shelf, memo: &Memo) -> Vec<Option<Check>> {
    let one = |with: &Reading| {
        (!with.has_errors()).then(|| check_as_written(with, shelf, memo, Tier::Full))
    };
    if let [(_, _, with)] = changed {
        return vec![one(with)];
    }
    std::thread::scope(|scope| {
        let running: Vec<_> = changed
            .iter()
            .map(|(_, _, with)| scope.spawn(move || one(with)))
            .collect();
        let done = running.into_iter();
        done.map(|r| r.join().expect("a check does not panic"))
            .collect()
    })
}
