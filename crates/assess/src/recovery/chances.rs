//! The chance that a module comes back, by all means together.

use std::collections::BTreeSet;

use plan::{Line, Means, MeansKind, ModuleIx, SectionEnd};

use super::{Parted, Under};
use crate::input::{Moored, MooredTop, Thing};

/// Sets of so many means that share something are all looked at.
const MOST_TRIED: usize = 12;

/// The chance that some means works.
#[derive(Clone, Debug, PartialEq)]
pub struct Chance {
    /// Chance without the means of which it is unknown whether they can, 0 to 1; or why there is none.
    pub at_least: Result<f64, String>,
    /// Chance if these can, 0 to 1; the same where there are none such.
    pub at_most: Result<f64, String>,
    /// Ids of the means that can bring it.
    pub by: Vec<String>,
    /// Means of which that is unknown, each with the reason.
    pub unknown: Vec<(String, String)>,
    /// Means that cannot, each with the reason.
    pub not_by: Vec<(String, String)>,
    /// Groups of means that share something that they cannot do without.
    pub share: Vec<Sharing>,
}

/// Means that share something, directly or over others. Of them those that share nothing and together work most surely count; the others add nothing.
#[derive(Clone, Debug, PartialEq)]
pub struct Sharing {
    /// What they share.
    pub what: Vec<String>,
    /// Their ids.
    pub means: Vec<String>,
    /// Ids of those that count.
    pub counted: Vec<String>,
}

impl Sharing {
    /// In words.
    #[must_use]
    pub fn told(&self) -> String {
        format!(
            "{} share {}, and only {} count{}",
            self.means.join(" and "),
            self.what.join(", "),
            self.counted.join(" and "),
            if self.counted.len() == 1 { "s" } else { "" }
        )
    }
}

impl Chance {
    /// The chance, 0 to 1; or why it is unknown.
    ///
    /// # Errors
    /// What is missing.
    pub fn works(&self) -> Result<f64, String> {
        match self.unknown.first() {
            None => self.at_least.clone(),
            Some((id, why)) => Err(format!("whether {id} brings it is unknown: {why}")),
        }
    }
}

/// Whether a means brings something.
enum Brings {
    Yes,
    No(String),
    Unknown(String),
}

/// The chance of a module.
#[derive(Clone, Debug, PartialEq)]
pub struct ModuleChance {
    /// The module.
    pub module: ModuleIx,
    /// Its chance on a line that has not parted.
    pub chance: Chance,
}

/// Of each module on a line.
pub(super) fn of_modules(
    line: &Line,
    of: &Moored,
    (partings, under): (&Result<Vec<Parted>, String>, &Under),
) -> Vec<ModuleChance> {
    let modules = (0..line.modules.len()).map(ModuleIx);
    let each = modules.filter(|m| of.holds(*m)).map(|module| {
        let at_m = height_m(of, Thing::Module(module));
        ModuleChance {
            module,
            chance: combined(line, |means| {
                brings(line, of, (partings, under), means, at_m)
            }),
        }
    });
    each.collect()
}

/// Of the modules that stay down after each parting.
pub(super) fn of_what_stays(line: &Line, of: &Moored, partings: &mut [Parted]) {
    let left: Vec<(f64, Result<f64, String>)> =
        partings.iter().map(|p| (p.at_m, p.most_left_n())).collect();
    for parted in partings.iter_mut().filter(|p| !p.stays.is_empty()) {
        let (at_m, left_n) = (parted.at_m, parted.most_left_n());
        let lowest_m = parted
            .stays
            .iter()
            .filter_map(|m| height_m(of, Thing::Module(*m)))
            .fold(f64::INFINITY, f64::min);
        parted.stays_back = Some(combined(line, |means| {
            match means.kind {
                MeansKind::Drag => Brings::Yes,
                MeansKind::Haul => Brings::No("what stays no longer hangs on the top".to_owned()),
                MeansKind::Release => {
                    let from_m = match acts_at_m(line, of, means) {
                        Ok(from_m) => from_m,
                        Err(why) => return Brings::No(why),
                    };
                    if from_m >= lowest_m {
                        return Brings::No("a module hangs below it".to_owned());
                    }
                    // Weight of the piece between the release and the parting.
                    let below = left.iter().rev().find(|(at, _)| *at <= from_m);
                    let below_n = below.map_or(Ok(0.0), |(_, n)| n.clone());
                    match (&left_n, below_n) {
                        (Err(why), _) => Brings::Unknown(why.clone()),
                        (_, Err(why)) => Brings::Unknown(why),
                        (Ok(all_n), Ok(below_n)) if all_n - below_n < 0.0 && at_m > from_m => {
                            Brings::Yes
                        }
                        (Ok(_), Ok(_)) => Brings::No("what it frees sinks".to_owned()),
                    }
                }
            }
        }));
    }
}

/// Whether a means brings what hangs at a height of a whole line, m; the top without one.
fn brings(
    line: &Line,
    of: &Moored,
    (partings, under): (&Result<Vec<Parted>, String>, &Under),
    means: &Means,
    height_m: Option<f64>,
) -> Brings {
    match means.kind {
        MeansKind::Drag => Brings::Yes,
        MeansKind::Haul => match (means.acts_at, of.top) {
            (Some(SectionEnd::Module(m)), MooredTop::Buoy { module, .. }) if m == module => {
                if let Under::In(case) = under {
                    return Brings::No(format!("its line holds the buoy under in {case}"));
                }
                // The last parting is just below the top: what it frees is the buoy alone.
                match partings {
                    Err(why) => Brings::Unknown(why.clone()),
                    Ok(all) => match all.last().map(Parted::least_whole_n) {
                        Some(Ok(lift_n)) if lift_n > 0.0 => match under {
                            Under::Unknown(why) => Brings::Unknown(format!(
                                "whether its line holds the buoy under is not known: {why}"
                            )),
                            Under::No | Under::In(_) => match too_heavy(line, of) {
                                Some(why) => Brings::No(why),
                                None => Brings::Yes,
                            },
                        },
                        Some(Ok(_)) => Brings::No("the buoy sinks by itself".to_owned()),
                        Some(Err(why)) => Brings::Unknown(why),
                        None => Brings::Unknown("no parting is known there".to_owned()),
                    },
                }
            }
            (Some(SectionEnd::Float(f)), MooredTop::Float { float, .. }) if f == float => {
                Brings::No(
                    "its top is below the surface: a `release` or a `drag` brings it up first"
                        .to_owned(),
                )
            }
            _ => Brings::No("it is not at the top of this line".to_owned()),
        },
        MeansKind::Release => {
            let from_m = match acts_at_m(line, of, means) {
                Ok(from_m) => from_m,
                Err(why) => return Brings::No(why),
            };
            if height_m.is_some_and(|at_m| at_m <= from_m && from_m > 0.0) {
                return Brings::No("it hangs below what is released".to_owned());
            }
            let partings = match partings {
                Ok(partings) => partings,
                Err(why) => return Brings::Unknown(why.clone()),
            };
            let at = |p: &&Parted| (p.at_m - from_m).abs() < 1e-9;
            let Some(freed) = partings.iter().rev().find(at) else {
                return Brings::Unknown("no parting is known there".to_owned());
            };
            match freed.least_whole_n() {
                Err(why) => Brings::Unknown(why),
                Ok(lift_n) if lift_n > 0.0 => Brings::Yes,
                Ok(lift_n) => Brings::No(format!("what it frees sinks, {:.0} N heavy", -lift_n)),
            }
        }
    }
}

/// Why a line that is hauled by its top with all that hangs on it, its anchor too, breaks before it is up; `None` where its ropes bear that, and where the plan does not say so.
fn too_heavy(line: &Line, of: &Moored) -> Option<String> {
    let anchor = &line.anchors[of.anchor];
    let anchor_n = anchor.weight_in_water_n?.si;
    // What floats may help and may be off by then: it is not counted.
    let bodies_n = |up_to_m: f64| -> f64 {
        let below = of.hung.iter().filter(|h| h.body.at_m <= up_to_m);
        below.map(|h| h.body.weight_n.max(0.0)).sum()
    };
    let mut rope_n = 0.0;
    let mut up_to_m = 0.0;
    for piece in &of.pieces {
        rope_n += (piece.rope.weight_n_m * piece.rope.length_m).max(0.0);
        up_to_m += piece.rope.length_m;
        let pull_n = anchor_n + rope_n + bodies_n(up_to_m);
        let section = &line.sections[piece.section.0];
        let breaks_n = section.rope.as_ref().and_then(|rope| rope.breaking_load_n);
        if let Some(breaks) = breaks_n.filter(|breaks| breaks.si <= pull_n) {
            return Some(format!(
                "anchor.{} hangs on it too, {anchor_n:.0} N heavy, {pull_n:.0} N with what hangs above in section.{}, which breaks at {:.0} N: a `release` leaves the anchor down",
                anchor.id, section.id, breaks.si
            ));
        }
    }
    None
}

/// Height of something above the anchor along the line, m; `None` of what holds the top.
fn height_m(of: &Moored, what: Thing) -> Option<f64> {
    let hung = of.hung.iter().find(|h| h.what == what)?;
    Some(hung.body.at_m)
}

fn acts_at_m(line: &Line, of: &Moored, means: &Means) -> Result<f64, String> {
    let elsewhere = || "it is not on this line".to_owned();
    let thing = match means.acts_at {
        Some(SectionEnd::Anchor(a)) if a == of.anchor => return Ok(0.0),
        Some(SectionEnd::Module(m)) => Thing::Module(m),
        Some(SectionEnd::Float(f)) => Thing::Float(f),
        Some(SectionEnd::Anchor(_)) | None => return Err(elsewhere()),
    };
    height_m(of, thing).ok_or_else(|| match of.top.path(line) == thing.path(line) {
        true => "it is the top itself: nothing is above it".to_owned(),
        false => elsewhere(),
    })
}

/// All means together: independent but for those that share something, of which the surest that share nothing count.
fn combined(line: &Line, brings: impl Fn(&Means) -> Brings) -> Chance {
    let none = || Err("the plan declares no `recovery`".to_owned());
    let mut chance = Chance {
        at_least: none(),
        at_most: none(),
        by: Vec::new(),
        unknown: Vec::new(),
        not_by: Vec::new(),
        share: Vec::new(),
    };
    if line.means.is_empty() {
        return chance;
    }
    let (mut able, mut perhaps): (Vec<&Means>, Vec<&Means>) = (Vec::new(), Vec::new());
    for means in &line.means {
        let id = format!("recovery.{}", means.id);
        match brings(means) {
            Brings::Yes => {
                chance.by.push(id);
                able.push(means);
                perhaps.push(means);
            }
            Brings::Unknown(why) => {
                chance.unknown.push((id, why));
                perhaps.push(means);
            }
            Brings::No(why) => chance.not_by.push((id, why)),
        }
    }
    let of = |means: &[&Means]| {
        let counted: Vec<f64> = groups(means)
            .iter()
            .flat_map(|group| surest(group))
            .map(|m| m.works.si)
            .collect();
        let none = chance::none_of(&counted).map_err(|error| error.to_string())?;
        Ok(1.0 - none)
    };
    chance.at_least = of(&able);
    // Of many means the surest that share nothing are not looked for among all: what is known bounds it.
    chance.at_most = match (of(&perhaps), &chance.at_least) {
        (Ok(most), Ok(least)) => Ok(most.max(*least)),
        (most, _) => most,
    };
    let shared = groups(&able).into_iter().filter(|group| group.len() > 1);
    chance.share = shared.map(|group| sharing(&group)).collect();
    chance
}

/// Means that share something, directly or over others, together.
fn groups<'m>(able: &[&'m Means]) -> Vec<Vec<&'m Means>> {
    let mut left: Vec<&Means> = able.to_vec();
    let mut all = Vec::new();
    while !left.is_empty() {
        let mut group = vec![left.remove(0)];
        while let Some(ix) = left
            .iter()
            .position(|m| group.iter().any(|of| share(m, of)))
        {
            group.push(left.remove(ix));
        }
        all.push(group);
    }
    all
}

fn share(one: &Means, other: &Means) -> bool {
    one.relies_on.iter().any(|w| other.relies_on.contains(w))
}

/// Of some means those that share nothing with each other and of which at least one works most surely: a lower bound of the chance of them all, whatever they share. Of more than
/// [`MOST_TRIED`] means the surest is taken first, then the surest that shares nothing with it, and so on, which is a lower bound as well.
fn surest<'m>(group: &[&'m Means]) -> Vec<&'m Means> {
    let mut sorted = group.to_vec();
    sorted.sort_by(|a, b| b.works.si.total_cmp(&a.works.si).then(a.id.cmp(&b.id)));
    let mut taken: Vec<&Means> = Vec::new();
    for means in &sorted {
        if taken.iter().all(|t| !share(t, means)) {
            taken.push(means);
        }
    }
    if sorted.len() > MOST_TRIED {
        return taken;
    }
    let fails = |set: &[&Means]| set.iter().map(|m| 1.0 - m.works.si).product::<f64>();
    let mut best = (fails(&taken), taken);
    for chosen in 1_u32..1 << sorted.len() {
        let set: Vec<&Means> = (0..sorted.len())
            .filter(|ix| chosen >> ix & 1 == 1)
            .map(|ix| sorted[ix])
            .collect();
        let apart = |(ix, m): (usize, &&Means)| set[..ix].iter().all(|of| !share(m, of));
        if fails(&set) < best.0 && set.iter().enumerate().all(apart) {
            best = (fails(&set), set);
        }
    }
    best.1
}

/// What a group shares, and what of it counts.
fn sharing(group: &[&Means]) -> Sharing {
    let words: BTreeSet<&String> = group.iter().flat_map(|m| &m.relies_on).collect();
    let common = |word: &&&String| {
        group
            .iter()
            .filter(|m| m.relies_on.contains(**word))
            .count()
            > 1
    };
    let path = |m: &&Means| format!("recovery.{}", m.id);
    let mut counted: Vec<String> = surest(group).iter().map(path).collect();
    counted.sort();
    Sharing {
        what: words.iter().filter(common).map(|w| (*w).clone()).collect(),
        means: group.iter().map(path).collect(),
        counted,
    }
}
