//! From read fields to the resolved line: ids become indices, references are looked up, the graph is checked.

mod cues;
mod electric;
mod mechanics;
mod modules;
mod requirements;
mod sound;
mod talk;

use std::collections::BTreeMap;

use quantity::{Amount, Law, nearest};

pub(crate) use cues::cue_sheet;

use crate::catalogue::Catalogue;
use crate::field::RefKind;
use crate::line::{
    Decibels, Deployment, DetectorIx, Flow, Line, ModuleIx, NoticeKind, OutputIx, Q, Sea, SensorIx,
    Spreading, Water,
};
use crate::mistake::{Code, Mistake, Mistakes};
use crate::read::Fields;
use crate::site::Site;

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
#[derive(Debug, Default)]
pub(crate) struct Declared {
    paths: BTreeMap<String, Site>,
}

impl Declared {
    pub(crate) fn add(&mut self, path: String, site: Site) {
        self.paths.insert(path, site);
    }

    fn of(root: &Fields) -> Declared {
        let mut declared = Declared::default();
        for key in [
            "anchor", "section", "supply", "span", "detector", "uplink", "storage",
        ] {
            for (id, fields) in root.keyed(key) {
                declared.add(format!("{key}.{id}"), fields.site);
            }
        }
        for (id, module) in root.keyed("module") {
            declared.add(format!("module.{id}"), module.site);
            for key in ["sensor", "output"] {
                for (inner, fields) in module.keyed(key) {
                    declared.add(format!("module.{id}.{key}.{inner}"), fields.site);
                }
            }
        }
        declared
    }
}

/// What resolving needs on the way.
pub(crate) struct Resolver<'a> {
    pub(crate) mistakes: &'a mut Mistakes,
    pub(crate) catalogue: &'a Catalogue,
    pub(crate) declared: Declared,
    pub(crate) part: String,
}

impl Resolver<'_> {
    pub(crate) fn tell(&mut self, mistake: Mistake) {
        let mistake = if mistake.part.is_empty() {
            mistake.part(self.part.clone())
        } else {
            mistake
        };
        self.mistakes.push(mistake);
    }

    /// Whether a path names something; tells a mistake with the nearest known path when it does not.
    fn names(&mut self, kind: RefKind, path: &str, site: Site) -> bool {
        let thing = match kind {
            RefKind::Notice => path.rsplit_once('.').map_or(path, |(head, _)| head),
            _ => path,
        };
        if self.declared.paths.contains_key(thing) {
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
                    format!("this file declares no {like}")
                } else {
                    format!("this file declares: {}", all.join(", "))
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
        let notice = match notice {
            "onset" => NoticeKind::Onset,
            "confirmed" => NoticeKind::Confirmed,
            _ => NoticeKind::Ended,
        };
        Some((detector, notice, site))
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
pub(crate) fn line(root: &Fields, catalogue: &Catalogue, mistakes: &mut Mistakes) -> Option<Line> {
    let mut r = Resolver {
        mistakes,
        catalogue,
        declared: Declared::of(root),
        part: String::new(),
    };
    let mut line = Line {
        deployment: deployment(root.table("deployment")?.0)?,
        sea: sea(&mut r, root.table("site")?.0)?,
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
    talk::behaviours(&mut r, root, &mut line);
    talk::heard(&mut r, &line);
    requirements::requirements(&mut r, root, &mut line);
    Some(line)
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
    let water_depth_m = f.q("water_depth")?;
    let spreading = match f.choice("spreading") {
        None => None,
        Some((&"spherical", _)) => Some(Spreading::Spherical),
        Some((&"practical", _)) => Some(Spreading::Practical),
        Some((&"cylindrical", _)) => Some(Spreading::Cylindrical),
        Some((_, site)) => {
            let at_m = f.q("spreading_changes_at");
            if at_m.is_none() {
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
        water_depth_m,
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
