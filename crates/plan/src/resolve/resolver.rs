//! Looking up what a reference names, and telling what is wrong with it.

use std::collections::BTreeMap;

use quantity::nearest;

use super::Declared;
use crate::catalogue::Catalogue;
use crate::field::{RefKind, Section, Shape};
use crate::line::{DetectorIx, Line, ModuleIx, NoticeKind, OutputIx, SensorIx, Unwritten, VoteIx};
use crate::mistake::{Code, Mistake, Mistakes};
use crate::read::{Fields, example_line};
use crate::site::Site;
use crate::spreads::{Draw, NoDraw};
use crate::tables::{Kind, why_not_drawn};

/// What resolving needs on the way.
pub(crate) struct Resolver<'a> {
    pub(crate) mistakes: &'a mut Mistakes,
    pub(crate) catalogue: &'a Catalogue,
    pub(crate) declared: Declared,
    pub(crate) part: String,
    pub(crate) unwritten: BTreeMap<Unwritten, Vec<String>>,
    /// Values that count instead of those of ropes, which are read here; `None` where what is written counts.
    pub(crate) draw: Option<&'a Draw>,
    /// The first of them that may not be so.
    pub(crate) not_drawn: Option<NoDraw>,
}

impl<'a> Resolver<'a> {
    pub(crate) fn new(
        catalogue: &'a Catalogue,
        declared: Declared,
        mistakes: &'a mut Mistakes,
    ) -> Resolver<'a> {
        Resolver {
            mistakes,
            catalogue,
            declared,
            part: String::new(),
            unwritten: BTreeMap::new(),
            draw: None,
            not_drawn: None,
        }
    }

    pub(crate) fn tell(&mut self, mistake: Mistake) {
        let mut mistake = if mistake.part.is_empty() {
            mistake.part(self.part.clone())
        } else {
            mistake
        };
        if self.catalogue.holds(mistake.site)
            && let Some(user) = self.user()
        {
            mistake = mistake.related(user, "the part is used here");
        }
        self.mistakes.push(mistake);
    }

    /// Notes that the part under way has a value that it does not write.
    pub(crate) fn unwritten(&mut self, what: Unwritten) {
        let part = self.part.clone();
        self.unwritten.entry(what).or_default().push(part);
    }

    /// Where the part under way, or the thing that it belongs to, is declared outside the catalogue.
    fn user(&self) -> Option<Site> {
        let mut path = self.part.as_str();
        loop {
            let site = self.declared.paths.get(path).copied();
            if let Some(site) = site.filter(|s| !self.catalogue.holds(*s)) {
                return Some(site);
            }
            path = path.rsplit_once('.')?.0;
        }
    }

    /// Whether a table has the keys that its kind must have, and no others; tells what is missing and what is strange.
    pub(crate) fn keys_fit(
        &mut self,
        f: &Fields,
        section: &'static Section,
        kind: &Kind,
        common: &[&str],
        what: &str,
    ) -> bool {
        let mut fits = true;
        for &key in kind.needs {
            if f.keys().any(|k| k == key) {
                continue;
            }
            fits = false;
            let field = section
                .field(key)
                .expect("kinds have keys of their section");
            let example = match field.shape {
                Shape::Limit => format!("`{key} = \"{}\"`", kind.limit),
                _ => example_line(field, false),
            };
            self.tell(
                Mistake::error(Code::MissingKey, f.site, format!("{what} needs `{key}`"))
                    .label(format!("`{key}` is missing here"))
                    .help(format!("add {example}: {}", field.doc)),
            );
        }
        let own: Vec<&str> = kind.needs.iter().chain(kind.may).copied().collect();
        for (key, item) in f.entries() {
            if key == kind.word || common.contains(&key) || own.contains(&key) {
                continue;
            }
            fits = false;
            let mut m = Mistake::error(
                Code::KeyConflict,
                item.site,
                format!("`{key}` does not belong to {what}"),
            )
            .label("here");
            if !own.is_empty() {
                m.help = Some(format!("it may have: {}", own.join(", ")));
            }
            if let ("share_of_draws", Some(why)) = (key, why_not_drawn(kind.word)) {
                m.help = Some(format!("leave it out: {why}"));
            }
            self.tell(m);
        }
        fits
    }

    /// Whether a path names something; tells a mistake with the nearest known path when it does not.
    pub(crate) fn names(&mut self, kind: RefKind, path: &str, site: Site) -> bool {
        let thing = match kind {
            RefKind::Notice => path.rsplit_once('.').map_or(path, |(head, _)| head),
            _ => path,
        };
        if self.declared.has(thing) {
            return true;
        }
        let like = thing.split('.').next().unwrap_or(thing);
        let depth = thing.split('.').count();
        let candidates = self
            .declared
            .paths
            .keys()
            .map(String::as_str)
            .filter(|p| p.split('.').next() == Some(like) && p.split('.').count() == depth);
        let mut m = Mistake::error(Code::NamesNothing, site, format!("there is no `{thing}`"))
            .label("names nothing");
        m.help = Some(match nearest(thing, candidates.clone()) {
            Some(near) => format!("did you mean `{near}`?"),
            None => {
                let all: Vec<&str> = candidates.collect();
                if all.is_empty() {
                    format!("no such {like} is declared")
                } else {
                    format!("declared are: {}", all.join(", "))
                }
            }
        });
        self.tell(m);
        false
    }

    /// The reference behind a key, if it names something.
    pub(crate) fn reference<'f>(
        &mut self,
        fields: &'f Fields,
        key: &'static str,
    ) -> Option<(RefKind, &'f str, Site)> {
        let (kind, path, site) = fields.reference(key)?;
        self.names(kind, path, site).then_some((kind, path, site))
    }

    pub(crate) fn module(
        &mut self,
        line: &Line,
        fields: &Fields,
        key: &'static str,
    ) -> Option<ModuleIx> {
        let (_, path, _) = self.reference(fields, key)?;
        module_of(line, path)
    }

    pub(crate) fn sensor(
        &mut self,
        line: &Line,
        fields: &Fields,
        key: &'static str,
    ) -> Option<SensorIx> {
        let (_, path, _) = self.reference(fields, key)?;
        let module = module_of(line, path)?;
        let id = path.rsplit('.').next()?;
        let sensor = line.modules[module.0]
            .sensors
            .iter()
            .position(|s| s.id == id)?;
        Some(SensorIx { module, sensor })
    }

    pub(crate) fn output(
        &mut self,
        line: &Line,
        fields: &Fields,
        key: &'static str,
    ) -> Option<OutputIx> {
        let (_, path, _) = self.reference(fields, key)?;
        output_of(line, path)
    }

    pub(crate) fn vote(
        &mut self,
        line: &Line,
        fields: &Fields,
        key: &'static str,
    ) -> Option<(VoteIx, Site)> {
        let (_, path, site) = self.reference(fields, key)?;
        let vote = ix_of(&line.votes, path, |v| &v.id).map(VoteIx)?;
        Some((vote, site))
    }

    pub(crate) fn notice(
        &mut self,
        line: &Line,
        fields: &Fields,
        key: &'static str,
    ) -> Option<(DetectorIx, NoticeKind, Site)> {
        let (_, path, site) = self.reference(fields, key)?;
        let (head, notice) = path.rsplit_once('.')?;
        let detector = ix_of(&line.detectors, head, |d| &d.id).map(DetectorIx)?;
        Some((detector, NoticeKind::of_word(notice), site))
    }
}

pub(super) fn module_of(line: &Line, path: &str) -> Option<ModuleIx> {
    line.module_by_id(path.split('.').nth(1)?)
}

pub(super) fn output_of(line: &Line, path: &str) -> Option<OutputIx> {
    let module = module_of(line, path)?;
    let id = path.rsplit('.').next()?;
    let output = line.modules[module.0]
        .outputs
        .iter()
        .position(|o| o.id == id)?;
    Some(OutputIx { module, output })
}

/// Index of a thing by the last step of its path, in a list sorted by id.
pub(super) fn ix_of<T>(list: &[T], path: &str, id: impl Fn(&T) -> &String) -> Option<usize> {
    let wanted = path.rsplit('.').next()?;
    list.iter().position(|x| id(x) == wanted)
}
