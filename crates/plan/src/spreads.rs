//! The values of a plan that are written with a spread, and the plan with each of them drawn.

use std::collections::BTreeMap;

use quantity::{Dimension, HALF_WIDTH_DEVIATIONS, Law};

use crate::catalogue::Catalogue;
use crate::field::{Bounds, NOT_NEGATIVE, POSITIVE, RefKind, Section, Shape};
use crate::mistake::Mistakes;
use crate::read::{Fields, Item, Read, Reader};
use crate::site::Site;
use crate::tables::{PLAN, ROPE};

/// Top-level tables whose spreads are no doubt about the line: a limit is what is asked, a remedy what could be had, and the
/// level of a call is spread from call to call, which counts in its detection range.
const NOT_OF_THE_LINE: [&str; 3] = ["call", "remedy", "requirement"];

/// A value that is written with a spread.
#[derive(Clone, PartialEq, Debug)]
pub struct Spread {
    /// Its full path where it is used: `module.upper.loads.listening`, `site.wind[3]` (counted from 0).
    pub path: String,
    /// Where it is written: in the catalogue, for the value of a part.
    pub at: Site,
    /// The value as written, in SI units (degC for temperatures, radians for angles) or in dB.
    pub nominal: f64,
    /// How it is spread, in the same unit.
    pub law: Law,
    /// Which number of a point of the unit cube draws it; `None` where no draw does: limits, remedies, calls.
    pub drawn_by: Option<usize>,
}

/// Why a plan has no line at a point.
#[derive(Clone, PartialEq, Debug, thiserror::Error)]
#[non_exhaustive]
pub enum NoDraw {
    /// The point has another number of coordinates than there are numbers to draw.
    #[error("the point has {found} coordinates, and {wanted} numbers are drawn")]
    WrongPoint {
        /// Coordinates given.
        found: usize,
        /// Numbers that are drawn.
        wanted: usize,
    },
    /// The draw lies where the value may not be.
    #[error("{path} is drawn where it may not be: here it is {bounds}")]
    OutOfBounds {
        /// Path of the value.
        path: String,
        /// What it may be, in words.
        bounds: &'static str,
    },
    /// What is drawn makes a plan with a mistake.
    #[error("{message}")]
    Mistaken {
        /// The first mistake, as it is told of a plan that is written so.
        message: String,
    },
    /// The plan as it is written has mistakes.
    #[error("the plan has mistakes of its own")]
    Unusable,
}

/// What a value is drawn as: the value below which a share of its law lies, 0 to 1.
pub(crate) fn drawn_value(nominal: f64, law: Law, share: f64) -> f64 {
    match law {
        Law::Normal { half_width } => {
            nominal + half_width / HALF_WIDTH_DEVIATIONS * chance::normal_value_at_share(share)
        }
        Law::Uniform { half_width } => nominal + half_width * (2.0 * share - 1.0),
    }
}

/// The values that are written with a spread, by path, those of catalogue parts where they are used.
pub(crate) fn spreads(root: &Fields, catalogue: &Catalogue) -> Vec<Spread> {
    let mut found = Vec::new();
    let mut note = |path: &str, at: Site, value: &mut f64, law: &mut Option<Law>, _: Bounds| {
        let Some(law) = *law else { return };
        found.push(Spread {
            path: path.to_owned(),
            at,
            nominal: *value,
            law,
            drawn_by: None,
        });
    };
    let mut walk = Walk {
        path: String::new(),
        each: &mut note,
    };
    walk.fields(&PLAN, &mut root.clone());
    for (path, part) in ropes(root) {
        if let Some(held) = catalogue.get(&part) {
            let mut told = Mistakes::default();
            let mut fields =
                Reader::new(catalogue, &mut told).part(held.section, &held.table, held.site, &part);
            walk_rope(&path, &mut fields, &mut note);
        }
    }
    found.sort_by(|a, b| a.path.cmp(&b.path));
    number(&mut found, catalogue);
    found
}

/// Gives every value its number in the point: one of its own, or one for all that a shared part brings to several places.
fn number(found: &mut [Spread], catalogue: &Catalogue) {
    let mut shared: BTreeMap<Site, usize> = BTreeMap::new();
    let mut next = 0;
    for spread in found {
        let table = spread.path.split('.').next().unwrap_or_default();
        if NOT_OF_THE_LINE.contains(&table) {
            continue;
        }
        let own = next;
        let number = if catalogue.is_shared(spread.at) {
            *shared.entry(spread.at).or_insert(own)
        } else {
            own
        };
        if number == own {
            next += 1;
        }
        spread.drawn_by = Some(number);
    }
}

/// How many numbers a point has.
pub(crate) fn dimensions(spreads: &[Spread]) -> usize {
    let numbers = spreads.iter().filter_map(|s| s.drawn_by);
    numbers.max().map_or(0, |last| last + 1)
}

/// The sections that name a rope: the path below which its values stand, and the part.
fn ropes(root: &Fields) -> Vec<(String, String)> {
    let sections = root.keyed("section");
    sections
        .filter_map(|(id, f)| {
            let (kind, part, _) = f.reference("rope")?;
            (kind == RefKind::Part).then(|| (format!("section.{id}"), part.to_owned()))
        })
        .collect()
}

fn walk_rope(section: &str, fields: &mut Fields, each: &mut Each<'_>) {
    let mut walk = Walk {
        path: format!("{section}.rope"),
        each,
    };
    walk.fields(&ROPE, fields);
}

/// Values at a point of the unit cube, by their paths.
#[derive(Clone, Debug, Default)]
pub(crate) struct Draw {
    values: BTreeMap<String, f64>,
}

impl Draw {
    pub(crate) fn at(spreads: &[Spread], point: &[f64]) -> Result<Draw, NoDraw> {
        let wanted = dimensions(spreads);
        if point.len() != wanted {
            return Err(NoDraw::WrongPoint {
                found: point.len(),
                wanted,
            });
        }
        let drawn = spreads.iter().filter_map(|s| {
            let share = point[s.drawn_by?];
            Some((s.path.clone(), drawn_value(s.nominal, s.law, share)))
        });
        Ok(Draw {
            values: drawn.collect(),
        })
    }

    /// Puts what is drawn into the fields of a plan; the path of the first value that may not be so.
    pub(crate) fn apply(&self, root: &mut Fields) -> Result<(), NoDraw> {
        let mut wrong = None;
        let mut put =
            |path: &str, _: Site, value: &mut f64, law: &mut Option<Law>, bounds: Bounds| {
                self.put(path, (value, law), bounds, &mut wrong);
            };
        let mut walk = Walk {
            path: String::new(),
            each: &mut put,
        };
        walk.fields(&PLAN, root);
        wrong.map_or(Ok(()), Err)
    }

    /// The same for the rope that a section names.
    pub(crate) fn apply_rope(&self, section: &str, rope: &mut Fields) -> Result<(), NoDraw> {
        let mut wrong = None;
        let mut put =
            |path: &str, _: Site, value: &mut f64, law: &mut Option<Law>, bounds: Bounds| {
                self.put(path, (value, law), bounds, &mut wrong);
            };
        walk_rope(section, rope, &mut put);
        wrong.map_or(Ok(()), Err)
    }

    fn put(
        &self,
        path: &str,
        (value, law): (&mut f64, &mut Option<Law>),
        bounds: Bounds,
        wrong: &mut Option<NoDraw>,
    ) {
        let Some(&drawn) = self.values.get(path) else {
            return;
        };
        if (bounds.least..=bounds.most).contains(&drawn) {
            // What has been drawn has no spread any more.
            (*value, *law) = (drawn, None);
        } else {
            wrong.get_or_insert_with(|| NoDraw::OutOfBounds {
                path: path.to_owned(),
                bounds: bounds.why,
            });
        }
    }
}

/// What is done with each value that has a spread: its path, place, value, law and bounds.
type Each<'a> = dyn FnMut(&str, Site, &mut f64, &mut Option<Law>, Bounds) + 'a;

struct Walk<'a, 'e> {
    path: String,
    each: &'a mut Each<'e>,
}

impl Walk<'_, '_> {
    fn below(&mut self, step: &str, walk: impl FnOnce(&mut Self)) {
        let length = self.path.len();
        if length > 0 {
            self.path.push('.');
        }
        self.path.push_str(step);
        walk(self);
        self.path.truncate(length);
    }

    fn numbered(&mut self, number: usize, walk: impl FnOnce(&mut Self)) {
        let length = self.path.len();
        self.path.push_str(&format!("[{number}]"));
        walk(self);
        self.path.truncate(length);
    }

    fn fields(&mut self, section: &'static Section, fields: &mut Fields) {
        for (key, item) in fields.entries_mut() {
            // The values of a catalogue part are among the fields already.
            if let Some(field) = section.field(key).filter(|_| key != "part") {
                self.below(key, |walk| walk.item(field.shape, item));
            }
        }
    }

    fn value(&mut self, at: Site, value: &mut f64, law: &mut Option<Law>, bounds: Bounds) {
        if law.is_some() {
            (self.each)(&self.path, at, value, law, bounds);
        }
    }

    fn item(&mut self, shape: Shape, item: &mut Item) {
        let at = item.site;
        match (&mut item.value, shape) {
            (Read::Amount(a), Shape::Amount(_, bounds) | Shape::Figure(_, bounds)) => {
                self.value(at, &mut a.si, &mut a.law, bounds);
            }
            (Read::Amounts(all), Shape::Amounts(_, bounds, ..) | Shape::Figures(_, bounds, ..)) => {
                for (number, (a, at)) in all.iter_mut().enumerate() {
                    self.numbered(number, |walk| {
                        walk.value(*at, &mut a.si, &mut a.law, bounds)
                    });
                }
            }
            (Read::Level(_, level), Shape::Level(_, bounds)) => {
                self.value(at, &mut level.db, &mut level.law, bounds);
            }
            (Read::Load(dimension, a), _) => {
                let bounds = match dimension {
                    Dimension::Resistance => POSITIVE,
                    _ => NOT_NEGATIVE,
                };
                self.value(at, &mut a.si, &mut a.law, bounds);
            }
            (Read::Table(fields), Shape::Table(section)) => self.fields(section, fields),
            (Read::Tables(all), Shape::Tables(section)) => {
                for (number, fields) in all.iter_mut().enumerate() {
                    self.numbered(number, |walk| walk.fields(section, fields));
                }
            }
            (Read::Keyed(all), Shape::Keyed(section) | Shape::KeyedTopics(section)) => {
                for (id, fields) in &mut all.right {
                    self.below(id, |walk| walk.fields(section, fields));
                }
            }
            (Read::Loads(all), _) => {
                for (state, load) in &mut all.right {
                    self.below(state, |walk| walk.item(Shape::Load, load));
                }
            }
            // These are read without a spread, or, as limits, settled later; a rope is read where its section is.
            _ => {}
        }
    }
}
