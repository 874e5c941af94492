//! From read fields to the resolved line: ids become indices, references are looked up, the graph is checked.

mod behaviours;
mod cues;
mod electric;
mod mechanics;
mod modules;
mod requirements;
mod sound;
mod talk;

use std::collections::{BTreeMap, BTreeSet};

use jiff::Timestamp;
use quantity::{Amount, Law, nearest};

pub(crate) use cues::cue_sheet;

use crate::catalogue::Catalogue;
use crate::field::{RefKind, Section, Shape};
use crate::line::{
    Decibels, Deployment, DetectorIx, Flow, Line, ModuleIx, NoticeKind, OutputIx, Q, Sea, SensorIx,
    Spreading, Unwritten, Water,
};
use crate::mistake::{Code, Mistake, Mistakes};
use crate::read::{Fields, example_line};
use crate::site::{FileId, Site};
use crate::tables::Kind;

pub(crate) fn q((amount, at): (&Amount, Site)) -> Q {
    Q {
        si: amount.si,
        law: amount.law,
        at,
    }
}

pub(crate) fn bare((value, at): (&f64, Site)) -> Q {
    Q {
        si: *value,
        law: None,
        at,
    }
}

impl Fields {
    pub(crate) fn q(&self, key: &'static str) -> Option<Q> {
        self.amount(key).map(q)
    }

    /// An angle in degrees; angles are read in radians.
    pub(crate) fn deg(&self, key: &'static str) -> Option<Q> {
        const DEG_PER_RAD: f64 = 180.0 / std::f64::consts::PI;
        self.q(key).map(|q| Q {
            si: q.si * DEG_PER_RAD,
            law: q.law.map(|law| match law {
                Law::Normal { half_width } => Law::Normal {
                    half_width: half_width * DEG_PER_RAD,
                },
                Law::Uniform { half_width } => Law::Uniform {
                    half_width: half_width * DEG_PER_RAD,
                },
            }),
            at: q.at,
        })
    }

    pub(crate) fn db(&self, key: &'static str) -> Option<Decibels> {
        self.level(key).map(|(_, level, at)| Decibels {
            db: level.db,
            law: level.law,
            at,
        })
    }
}

/// Everything that has an id, with its place: whether or not the rest of it could be read.
#[derive(Clone, Debug, Default)]
pub(crate) struct Declared {
    paths: BTreeMap<String, Site>,
    /// Paths of things that are written, but of no use; all that lies below them may be declared.
    wrong: BTreeSet<String>,
}

impl Declared {
    pub(crate) fn add(&mut self, path: String, site: Site) {
        self.paths.insert(path, site);
    }

    /// Adds the things below a key of a table.
    pub(crate) fn add_below(&mut self, before: &str, key: &'static str, table: &Fields) {
        if table.is_wrong(key) {
            self.wrong.insert(format!("{before}{key}"));
        }
        for id in table.wrong_ids(key) {
            self.wrong.insert(format!("{before}{key}.{id}"));
        }
        for (id, fields) in table.keyed(key) {
            self.add(format!("{before}{key}.{id}"), fields.site);
        }
    }

    fn of(root: &Fields) -> Declared {
        let mut declared = Declared::default();
        for key in [
            "anchor",
            "section",
            "supply",
            "module",
            "span",
            "detector",
            "topic",
            "behaviour",
            "uplink",
            "storage",
        ] {
            declared.add_below("", key, root);
        }
        for (id, module) in root.keyed("module") {
            let before = format!("module.{id}.");
            declared.add_below(&before, "sensor", module);
            declared.add_below(&before, "output", module);
        }
        declared
    }

    /// Paths of all things, right or wrong; not of the states of modules.
    pub(crate) fn things(&self) -> impl Iterator<Item = &str> {
        let all = self.paths.keys().chain(&self.wrong).map(String::as_str);
        all.filter(|p| {
            let steps: Vec<&str> = p.split('.').collect();
            match steps.as_slice() {
                ["topic", ..] => *p != "topic",
                ["module", _] => true,
                ["module", _, key, _] => *key != "loads",
                ["module", ..] => false,
                _ => steps.len() == 2,
            }
        })
    }

    /// Whether something with this path is written, right or wrong.
    fn has(&self, path: &str) -> bool {
        let above = |p: &str| {
            path.starts_with(p) && matches!(path.as_bytes().get(p.len()), None | Some(b'.'))
        };
        self.paths.contains_key(path) || self.wrong.iter().any(|p| above(p))
    }

    fn has_topic(&self, name: &str) -> bool {
        let path = format!("topic.{name}");
        self.paths.contains_key(&path) || self.wrong.contains(&path) || self.wrong.contains("topic")
    }

    /// Whether some of the things of a kind have mistakes that keep them out of the line, which holds `left` of them.
    fn lost(&self, kind: &str, left: usize) -> bool {
        let of_kind = |p: &&String| p.split_once('.').is_some_and(|(k, _)| k == kind);
        let deeper = |p: &&String| kind != "topic" && p.matches('.').count() > 1;
        let declared = self
            .paths
            .keys()
            .filter(of_kind)
            .filter(|p| !deeper(p))
            .count();
        declared != left || self.wrong.contains(kind) || self.wrong.iter().any(|p| of_kind(&p))
    }
}

/// What resolving needs on the way.
pub(crate) struct Resolver<'a> {
    pub(crate) mistakes: &'a mut Mistakes,
    pub(crate) catalogue: &'a Catalogue,
    pub(crate) declared: Declared,
    pub(crate) part: String,
    pub(crate) unwritten: BTreeMap<Unwritten, Vec<String>>,
}

impl Resolver<'_> {
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
            self.tell(m);
        }
        fits
    }

    /// Whether a path names something; tells a mistake with the nearest known path when it does not.
    fn names(&mut self, kind: RefKind, path: &str, site: Site) -> bool {
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

pub(crate) fn module_of(line: &Line, path: &str) -> Option<ModuleIx> {
    line.module_by_id(path.split('.').nth(1)?)
}

pub(crate) fn output_of(line: &Line, path: &str) -> Option<OutputIx> {
    let module = module_of(line, path)?;
    let id = path.rsplit('.').next()?;
    let output = line.modules[module.0]
        .outputs
        .iter()
        .position(|o| o.id == id)?;
    Some(OutputIx { module, output })
}

/// Index of a thing by the last step of its path, in a list sorted by id.
pub(crate) fn ix_of<T>(list: &[T], path: &str, id: impl Fn(&T) -> &String) -> Option<usize> {
    let wanted = path.rsplit('.').next()?;
    list.iter().position(|x| id(x) == wanted)
}

/// Resolves a plan. Things with a mistake are left out of the line; their mistakes name them.
///
/// Gives also all that the plan declares, so that a cue sheet may name what the line lacks.
pub(crate) fn line(
    root: &Fields,
    catalogue: &Catalogue,
    mistakes: &mut Mistakes,
) -> (Option<Line>, Declared) {
    let mut r = Resolver {
        mistakes,
        catalogue,
        declared: Declared::of(root),
        part: String::new(),
        unwritten: BTreeMap::new(),
    };
    let known_deployment = root.table("deployment").and_then(|(f, _)| deployment(f));
    let known_sea = root.table("site").and_then(|(f, _)| sea(&mut r, f));
    let whole = known_deployment.is_some() && known_sea.is_some();
    // Without them there is no line, but its other mistakes are told all the same.
    let nowhere = Site::new(FileId(0), 0..0);
    let mut line = Line {
        deployment: known_deployment.unwrap_or_else(|| no_deployment(nowhere)),
        sea: known_sea.unwrap_or_else(|| no_sea(nowhere)),
        anchors: Vec::new(),
        sections: Vec::new(),
        supplies: Vec::new(),
        modules: Vec::new(),
        spans: Vec::new(),
        detectors: Vec::new(),
        traffic: None,
        topics: Vec::new(),
        behaviours: Vec::new(),
        uplinks: Vec::new(),
        storages: Vec::new(),
        requirements: Vec::new(),
        unwritten: BTreeMap::new(),
    };
    modules::modules(&mut r, root, &mut line);
    mechanics::sections(&mut r, root, &mut line);
    mechanics::positions(&mut r, root, &mut line);
    electric::supplies(&mut r, root, &mut line);
    electric::spans(&mut r, root, &mut line);
    electric::connected(&mut r, &line);
    sound::detectors(&mut r, root, &mut line);
    talk::traffic(&mut r, root, &mut line);
    talk::topics(&mut r, root, &mut line);
    talk::uplinks(&mut r, root, &mut line);
    talk::storages(&mut r, root, &mut line);
    behaviours::behaviours(&mut r, root, &mut line);
    behaviours::heard(&mut r, &line);
    requirements::requirements(&mut r, root, &mut line);
    line.unwritten = r.unwritten;
    let declared = r.declared;
    (whole.then_some(line), declared)
}

fn unknown(at: Site) -> Q {
    Q {
        si: f64::NAN,
        law: None,
        at,
    }
}

fn no_deployment(at: Site) -> Deployment {
    Deployment {
        name: String::new(),
        start: Timestamp::UNIX_EPOCH,
        duration_s: unknown(at),
        start_slip_s: None,
        recovery_slip_s: None,
    }
}

fn no_sea(at: Site) -> Sea {
    Sea {
        latitude_deg: unknown(at),
        longitude_deg: unknown(at),
        water_depth_m: unknown(at),
        profile: Vec::new(),
        current: Vec::new(),
        wind_m_s: Vec::new(),
        clearness: Vec::new(),
        shipping: None,
        ph: None,
        spreading: None,
    }
}

fn deployment(f: &Fields) -> Option<Deployment> {
    Some(Deployment {
        name: f.text("name")?.0.clone(),
        start: *f.date("start")?.0,
        duration_s: f.q("duration")?,
        start_slip_s: f.q("start_slip"),
        recovery_slip_s: f.q("recovery_slip"),
    })
}

fn sea(r: &mut Resolver<'_>, f: &Fields) -> Option<Sea> {
    "site".clone_into(&mut r.part);
    let spreading = match f.choice("spreading") {
        None => None,
        Some((&"spherical", _)) => Some(Spreading::Spherical),
        Some((&"practical", _)) => Some(Spreading::Practical),
        Some((&"cylindrical", _)) => Some(Spreading::Cylindrical),
        Some((_, site)) => {
            let at_m = f.q("spreading_changes_at");
            if !f.has("spreading_changes_at") {
                r.tell(
                    Mistake::error(
                        Code::MissingKey,
                        site,
                        "`transition` needs the range at which it changes",
                    )
                    .label("this choice")
                    .help("add `spreading_changes_at = \"200 m\"`"),
                );
            }
            at_m.map(|at_m| Spreading::Transition { at_m })
        }
    };
    let profile: Vec<Water> = f
        .tables("profile")
        .iter()
        .filter_map(|p| {
            Some(Water {
                depth_m: p.q("depth")?,
                temperature_degc: p.q("temperature")?,
                salinity: p.number("salinity").map(bare)?,
            })
        })
        .collect();
    let current: Vec<Flow> = f
        .tables("current")
        .iter()
        .filter_map(|p| {
            Some(Flow {
                depth_m: p.q("depth")?,
                speed_m_s: p.q("speed")?,
                towards_deg: p.deg("towards"),
            })
        })
        .collect();
    for depths in [
        profile.iter().map(|p| p.depth_m).collect::<Vec<Q>>(),
        current.iter().map(|p| p.depth_m).collect(),
    ] {
        rising(r, &depths, "depths");
    }
    Some(Sea {
        latitude_deg: f.deg("latitude")?,
        longitude_deg: f.deg("longitude")?,
        water_depth_m: f.q("water_depth")?,
        profile,
        current,
        wind_m_s: f.amounts("wind").map_or_else(Vec::new, |(list, _)| {
            list.iter().map(|(a, s)| q((a, *s))).collect()
        }),
        clearness: f.numbers("clearness").map_or_else(Vec::new, |(list, _)| {
            list.iter().map(|(x, s)| bare((x, *s))).collect()
        }),
        shipping: f.number("shipping").map(bare),
        ph: f.number("ph").map(bare),
        spreading,
    })
}

/// Tells a mistake where a list of depths or frequencies does not rise.
pub(crate) fn rising(r: &mut Resolver<'_>, list: &[Q], what: &str) {
    for pair in list.windows(2) {
        if pair[1].si <= pair[0].si {
            r.tell(
                Mistake::error(
                    Code::OutOfRange,
                    pair[1].at,
                    format!("{what} must rise from point to point"),
                )
                .label("not above the one before")
                .related(pair[0].at, "the one before"),
            );
        }
    }
}
