//! The pieces of a line that parts: what comes up, how fast, and what stays down.

use mooring::{
    Floodable, Floods, Freed, Parting, Side, TopFloat, partings as part, slack_at_surface_m,
};
use plan::{Line, ModuleIx};

use super::Chance;
use crate::input::{Fouling, Moored, MooredTop, Thing, without_size};

/// Two places closer than this are one, m.
const SAME_M: f64 = 1e-9;

/// A parting, and what comes of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Parted {
    /// Where, in words.
    pub place: String,
    /// Where, m of unstretched line from the anchor.
    pub at_m: f64,
    /// On which side of what hangs there.
    pub side: Side,
    /// Modules on the upper piece.
    pub comes_free: Vec<ModuleIx>,
    /// Modules on the lower piece.
    pub stays: Vec<ModuleIx>,
    /// The upper piece as it goes into the water.
    pub clean: Freed,
    /// The upper piece at the end of the deployment; that of the start where the site says nothing of growth.
    pub fouled: Result<Freed, String>,
    /// The upper piece with the one thing flooded that costs most, at the start or at the end, whichever lifts less; `None` where nothing of it can flood.
    pub flooded: Result<Option<Flooded>, String>,
    /// Whether a buoy holds it that is at the surface in the usual case: what it lifts is up already, and drifts.
    pub at_surface: bool,
    /// Weight in water of all that stays with the anchor, clean, N; below zero it stands up.
    pub left_n: f64,
    /// The same at the end of the deployment, or why it is unknown.
    pub left_fouled_n: Result<f64, String>,
    /// Most rope of what stays that can lie at the surface at the lowest water of tide and cases, m; without a `tide` the least that it can be.
    pub slack_m: f64,
    /// The chance that the modules that stay come back; `None` where none stays.
    pub stays_back: Option<Chance>,
}

/// A piece with one thing flooded.
#[derive(Clone, Debug, PartialEq)]
pub struct Flooded {
    /// What floods: a typed path.
    pub what: String,
    /// What comes of it.
    pub freed: Freed,
}

impl Parted {
    /// What it lifts at least, N: at the start or at the end of the deployment, with one thing flooded.
    ///
    /// # Errors
    /// What is missing.
    pub fn least_lift_n(&self) -> Result<f64, &str> {
        match (&self.flooded, &self.fouled) {
            (Ok(Some(flooded)), _) => Ok(flooded.freed.net_n),
            (Ok(None), Ok(fouled)) => Ok(fouled.net_n.min(self.clean.net_n)),
            (Err(why), _) | (_, Err(why)) => Err(why),
        }
    }

    /// Speed upwards of the upper piece in one of its states, m/s, below zero where it sinks; `None` of what is at the surface and stays there.
    #[must_use]
    pub fn rises_m_s(&self, freed: &Freed) -> Option<f64> {
        (!self.at_surface || freed.net_n < 0.0).then_some(freed.rises_m_s)
    }

    /// What it lifts at least with nothing flooded, N.
    ///
    /// # Errors
    /// What is missing.
    pub(super) fn least_whole_n(&self) -> Result<f64, String> {
        let fouled = self.fouled.as_ref().map_err(Clone::clone)?;
        Ok(fouled.net_n.min(self.clean.net_n))
    }

    /// What all that stays weighs at most, N.
    ///
    /// # Errors
    /// What is missing.
    pub(super) fn most_left_n(&self) -> Result<f64, String> {
        let fouled_n = *self.left_fouled_n.as_ref().map_err(Clone::clone)?;
        Ok(fouled_n.max(self.left_n))
    }
}

/// The parting of all that free a module which lifts least, N, and the first reason why that of another is unknown.
#[must_use]
pub fn least_lift(partings: &[Parted]) -> (Option<(f64, &Parted)>, Option<String>) {
    let mut least: Option<(f64, &Parted)> = None;
    let mut unknown = None;
    for parted in partings.iter().filter(|p| !p.comes_free.is_empty()) {
        match parted.least_lift_n() {
            Ok(n) if least.is_none_or(|(lifts_n, _)| n < lifts_n) => least = Some((n, parted)),
            Ok(_) => {}
            Err(why) => {
                unknown.get_or_insert_with(|| why.to_owned());
            }
        }
    }
    (least, unknown)
}

/// What comes of a parting at each place where the lift may be least.
pub(super) fn partings(
    line: &Line,
    (clean, afloat): (&Moored, bool),
    fouling: Option<&Fouling>,
    density_kg_m3: f64,
) -> Result<Vec<Parted>, String> {
    let sizeless = fouling.map_or_else(Vec::new, |by| without_size(line, clean, by));
    // Growth puts a joint where it begins; the clean line has one there too, so that both part at the same places.
    let at_start = match fouling {
        Some(by) => cut(line, &clean.jointed(by), density_kg_m3)?,
        None => cut(line, clean, density_kg_m3)?,
    };
    let at_end = match fouling {
        None => Ok(at_start.clone()),
        Some(_) if !sizeless.is_empty() => Err(format!(
            "what grows is not known without {}",
            sizeless.join(", ")
        )),
        Some(by) => clean
            .fouled(by)
            .map_err(|error| error.to_string())
            .and_then(|fouled| cut(line, &fouled, density_kg_m3)),
    };
    let at_end = at_end.and_then(|all| match all.len() == at_start.len() {
        true => Ok(all),
        false => Err("with what grows the line parts at other places".to_owned()),
    });
    let last = at_start.len().saturating_sub(1);
    let buoy_alone = fouling.and_then(|by| buoy_alone(line, clean, by, density_kg_m3));
    let levels = line.cases.iter().filter_map(|case| case.water_level_m);
    let tide = line.sea.tide_m.map(|(lowest, _)| lowest);
    let lowest_m = levels.chain(tide).map(|q| q.si).fold(0.0, f64::min);
    let surface_m = line.sea.water_depth_m.si + lowest_m;
    let ropes: Vec<mooring::Rope> = clean.pieces.iter().map(|p| p.rope).collect();
    let each = at_start.into_iter().enumerate().map(|(place_ix, start)| {
        let end = at_end
            .as_ref()
            .map(|all| &all[place_ix])
            .map_err(Clone::clone);
        let missing = silent_of_flooding(line, clean, &start);
        let flooded = match (&end, missing.is_empty()) {
            (_, false) => Err(format!("nothing says {}", missing.join(", "))),
            (Err(why), true) => Err(why.clone()),
            (Ok(end), true) => {
                let both = [start.flooded, end.flooded].into_iter().flatten();
                let least = both.reduce(|a, b| if b.1.net_n < a.1.net_n { b } else { a });
                Ok(least.map(|(what, freed)| Flooded {
                    what: match what {
                        Floods::Body(ix) => clean.hung[ix].what.path(line),
                        Floods::Top => clean.top.path(line),
                    },
                    freed,
                }))
            }
        };
        let slack_m = slack_at_surface_m(&ropes, surface_m, start.at_m);
        let (mut comes_free, mut stays) = (Vec::new(), Vec::new());
        for (ix, hung) in clean.hung.iter().enumerate() {
            if let Thing::Module(module) = hung.what {
                match start.left.contains(&ix) {
                    true => stays.push(module),
                    false => comes_free.push(module),
                }
            }
        }
        if let MooredTop::Buoy { module, .. } = clean.top {
            comes_free.push(module);
        }
        Ok(Parted {
            place: place(line, clean, &start),
            at_m: start.at_m,
            side: start.side,
            comes_free,
            stays,
            clean: start.whole,
            left_fouled_n: end.clone().map(|end| end.left_n),
            fouled: end.map(|end| end.whole).or_else(|why| {
                let alone = buoy_alone.filter(|_| place_ix == last);
                alone.ok_or(why)
            }),
            flooded,
            at_surface: afloat && matches!(clean.top, MooredTop::Buoy { .. }),
            left_n: start.left_n,
            slack_m: slack_m.map_err(|error| error.to_string())?,
            stays_back: None,
        })
    });
    each.collect()
}

/// What a buoy at the top lifts by itself at the end of the deployment: that rests on the size of nothing else.
fn buoy_alone(line: &Line, clean: &Moored, by: &Fouling, density_kg_m3: f64) -> Option<Freed> {
    let MooredTop::Buoy { .. } = clean.top else {
        return None;
    };
    let bare = Moored {
        hung: Vec::new(),
        ..clean.clone()
    };
    let all = cut(line, &bare.fouled(by).ok()?, density_kg_m3).ok()?;
    Some(all.last()?.whole)
}

fn cut(line: &Line, of: &Moored, density_kg_m3: f64) -> Result<Vec<Parting>, String> {
    let length_m = of.length_m();
    // A housing that is let in does not part in its middle: its weight is with what hangs there, not in its piece.
    let mut let_in: Vec<(f64, f64, f64)> = Vec::new();
    let mut from_m = 0.0;
    let mut ropes: Vec<mooring::Rope> = of.pieces.iter().map(|p| p.rope).collect();
    for rope in &mut ropes {
        let to_m = from_m + rope.length_m;
        if rope.diameter_m == 0.0 {
            let_in.push((from_m, to_m, rope.weight_n_m * rope.length_m));
            rope.weight_n_m = 0.0;
        }
        from_m = to_m;
    }
    let bodies = of.hung.iter().map(|h| {
        let at_m = h.body.at_m.min(length_m);
        let own = let_in
            .iter()
            .find(|(from, to, _)| *from < at_m && at_m < *to);
        Floodable {
            body: mooring::Body {
                at_m,
                weight_n: h.body.weight_n + own.map_or(0.0, |(_, _, n)| *n),
                ..h.body
            },
            floods_n: floods_n(line, h.what).unwrap_or(0.0),
        }
    });
    let bodies: Vec<Floodable> = bodies.collect();
    let top = match of.top {
        MooredTop::Buoy { module, hull } => TopFloat {
            buoyancy_n: density_kg_m3
                * mooring::GRAVITY_M_S2
                * hull.waterplane_m2
                * hull.full_draught_m
                - hull.weight_n,
            drag_area_m2: hull.cd_a_water_m2,
            floods_n: hull_floods_n(line, module).unwrap_or(0.0),
        },
        MooredTop::Float {
            float,
            buoyancy_n,
            drag_area_m2,
            ..
        } => TopFloat {
            buoyancy_n,
            drag_area_m2,
            floods_n: floods_n(line, Thing::Float(float)).unwrap_or(0.0),
        },
    };
    part(&ropes, &bodies, &top, density_kg_m3).map_err(|error| error.to_string())
}

/// What the flooding of something costs, N; `None` where the plan does not say.
fn floods_n(line: &Line, what: Thing) -> Option<f64> {
    match what {
        Thing::Module(m) => {
            let housing = line.modules[m.0].housing.as_ref()?;
            housing.flooding_adds_n.map(|q| q.si)
        }
        Thing::Float(f) => line.floats[f].flooding_adds_n.map(|q| q.si),
        Thing::Weight(_) => Some(0.0),
    }
}

fn hull_floods_n(line: &Line, module: ModuleIx) -> Option<f64> {
    let hull = line.modules[module.0].hull.as_ref()?;
    hull.flooding_adds_n.map(|q| q.si)
}

/// Keys that would say what the flooding of the things of an upper piece costs.
fn silent_of_flooding(line: &Line, of: &Moored, parting: &Parting) -> Vec<String> {
    let hung = of.hung.iter().enumerate();
    let free = hung.filter(|(ix, _)| !parting.left.contains(ix));
    let key = |what: Thing| match what {
        Thing::Module(_) => "housing.flooding_adds",
        Thing::Float(_) | Thing::Weight(_) => "flooding_adds",
    };
    let mut missing: Vec<String> = free
        .filter(|(_, h)| floods_n(line, h.what).is_none())
        .map(|(_, h)| format!("{}.{}", h.what.path(line), key(h.what)))
        .collect();
    match of.top {
        MooredTop::Buoy { module, .. } if hull_floods_n(line, module).is_none() => {
            missing.push(format!("{}.hull.flooding_adds", line.module_path(module)));
        }
        MooredTop::Float { float, .. } if floods_n(line, Thing::Float(float)).is_none() => {
            missing.push(format!("{}.flooding_adds", Thing::Float(float).path(line)));
        }
        MooredTop::Buoy { .. } | MooredTop::Float { .. } => {}
    }
    missing
}

fn place(line: &Line, of: &Moored, parting: &Parting) -> String {
    let at_m = parting.at_m;
    let hangs = |h: &&crate::input::Hung| (h.body.at_m - at_m).abs() < SAME_M;
    if let Some(hung) = of.hung.iter().find(hangs) {
        let what = hung.what.path(line);
        return match parting.side {
            Side::JustBelow => format!("just below {what}"),
            Side::JustAbove => format!("just above {what}"),
        };
    }
    if at_m < SAME_M {
        return format!("just above anchor.{}", line.anchors[of.anchor].id);
    }
    if (of.length_m() - at_m).abs() < SAME_M {
        return format!("just below {}", of.top.path(line));
    }
    format!("{at_m:.1} m above anchor.{}", line.anchors[of.anchor].id)
}
