//! One line in one design case.

use mooring::{
    AtBody, Form, Hanging, MooringError, Shape, Top, Wave, WaveAt, hang as hang_line, hold,
};
use quantity::{Dimension, show};

use crate::input::{BuoyHull, DesignCase, Moored, MooredTop, Thing, level};

/// Density of air at the sea, kg/m3 (standard atmosphere, ISO 2533, at 15 degC).
const AIR_KG_M3: f64 = 1.225;
/// Most times that a buoy's draught is taken anew.
const DRAUGHTS: u32 = 60;
/// A pull that changes by less than this has been found, N.
const STILL_N: f64 = 1e-7;

/// The shape of a line in a case, and what follows from it.
#[derive(Clone, Debug, PartialEq)]
pub struct CaseShape {
    /// The shape.
    pub shape: Shape,
    /// What hangs on the line, in the order of [`Moored::hung`].
    pub things: Vec<CaseThing>,
    /// Depth of its top, m.
    pub top_depth_m: f64,
    /// Angle of the line at its top from the vertical, degrees.
    pub top_tilt_deg: f64,
    /// Of a buoy at the surface.
    pub buoy: Option<BuoyState>,
    /// What the waves do at the bed; `None` without waves.
    pub wave_at_bed: Option<WaveAt>,
    /// What the waves do at the top; `None` without waves.
    pub wave_at_top: Option<WaveAt>,
}

impl CaseShape {
    /// What has become of a buoy that has no buoyancy left: pulled under, or awash where it would come up again without the wind that it leaves as it
    /// goes under; `None` of one that is afloat.
    #[must_use]
    pub fn sunk(&self) -> Option<&'static str> {
        let reserve_n = self.buoy?.reserve_n;
        let at_the_surface = self.top_depth_m <= 0.0;
        match (reserve_n > 0.0, at_the_surface) {
            (true, _) => None,
            (false, true) => Some("awash"),
            (false, false) => Some(PULLED_UNDER),
        }
    }
}

pub(crate) const PULLED_UNDER: &str = "pulled under";

/// Something that hangs on a line in a case.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CaseThing {
    /// What.
    pub what: Thing,
    /// Depth below the water level of the case, m.
    pub depth_m: f64,
    /// Place from the anchor, m: east, north, up from the bed.
    pub at_m: [f64; 3],
    /// Tension of the line above it, N.
    pub above_n: f64,
    /// Tension of the line below it, N.
    pub below_n: f64,
    /// The larger of the angles of the line above and below it from the vertical, degrees.
    pub tilt_deg: f64,
    /// What the waves do there; `None` without waves.
    pub wave: Option<WaveAt>,
}

/// A buoy at the surface in a case.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BuoyState {
    /// Draught, m.
    pub draught_m: f64,
    /// Vertical pull of the line on it, N.
    pub pull_n: f64,
    /// Buoyancy that is left until it goes under, N; not above zero where it is pulled under.
    pub reserve_n: f64,
    /// Horizontal force of current and wind on it, N.
    pub drag_n: f64,
}

/// Why a line has no shape in a case.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NoShape {
    /// A line that cannot hang so.
    #[error("{0}")]
    Mooring(#[from] MooringError),
    /// Wind on a hull that says nothing of it.
    #[error("the hull says nothing of cd_a_wind, and this case has wind")]
    NoWindArea,
    /// Ropes that strum and do not say how they drag then.
    #[error("the rope says nothing of strumming_drag, and ropes strum in this case")]
    NoStrummingDrag,
    /// Growth on what has no size.
    #[error("what grows is not known without {}", .missing.join(", "))]
    NoSize {
        /// Keys with their paths.
        missing: Vec<String>,
    },
    /// A buoy whose draught does not settle.
    #[error("the draught of the buoy does not settle: its pull still changes by {left_n:.1} N")]
    Draught {
        /// What is left.
        left_n: f64,
    },
    /// A buoy that its line pulls upwards with more than its weight.
    #[error(
        "the line pulls the buoy {pull_n:.0} N upwards, and it weighs {weight_n:.0} N: it would be lifted out of the water"
    )]
    Lifted {
        /// Pull of the line upwards.
        pull_n: f64,
        /// Weight of the buoy.
        weight_n: f64,
    },
    /// A buoy that is pulled under to where no shape of its line was found.
    #[error(
        "the buoy is pulled under, {missing_n:.0} N short of what it would have to bear, and where it comes to rest is not found: {why}"
    )]
    Under {
        /// Buoyancy that it lacks at the surface.
        missing_n: f64,
        /// Why its line has no shape.
        why: MooringError,
    },
    /// A float whose upper side the troughs of the waves reach, or still water does not cover.
    #[error("{}", out_of_the_water(*depth_m, *half_m, *trough_m))]
    Trough {
        /// Depth of the middle of the float in still water, m.
        depth_m: f64,
        /// From its middle to its upper side, m; zero where its size is not written.
        half_m: f64,
        /// How far the troughs reach below still water, m.
        trough_m: f64,
    },
    /// A buoy whose line does not reach the crests of the waves.
    #[error(
        "in the crests of the waves of {high} the water is {water} deep, and its line as it is stretched reaches {reach}: it is pulled taut there, and what it then bears is not known",
        high = metres(*height_m), water = metres(*water_m), reach = metres(*reach_m)
    )]
    Crest {
        /// Height of the waves, m.
        height_m: f64,
        /// Depth of the water at their crests, m.
        water_m: f64,
        /// Length of the line, stretched as in still water, m.
        reach_m: f64,
    },
    /// A buoy that is heavier than the water that it can displace.
    #[error(
        "the buoy weighs {weight_n:.0} N and displaces at most {most_n:.0} N: it sinks by itself"
    )]
    Sinks {
        /// Its weight.
        weight_n: f64,
        /// What it displaces at full draught.
        most_n: f64,
    },
}

/// The shape of a line in a case.
pub(super) fn hang(clean: &Moored, case: &DesignCase) -> Result<CaseShape, NoShape> {
    let fouled = case.fouling.map(|by| clean.fouled(&by)).transpose()?;
    let line = fouled.as_ref().unwrap_or(clean);
    let mut ropes = Vec::with_capacity(line.pieces.len());
    for piece in &line.pieces {
        let mut rope = piece.rope;
        if case.strum {
            rope.normal_drag = piece.strumming_drag.ok_or(NoShape::NoStrummingDrag)?;
        }
        ropes.push(rope);
    }
    let length_m: f64 = ropes.iter().map(|r| r.length_m).sum();
    let bodies = line.hung.iter().map(|h| mooring::Body {
        // Sums of lengths in another order may differ in the last bit.
        at_m: h.body.at_m.min(length_m),
        ..h.body
    });
    let mut hanging = Hanging {
        water: case.water.clone(),
        ropes,
        bodies: bodies.collect(),
        foot_m: 0.0,
        top: Top::Surface { force_n: [0.0; 2] },
    };
    let (shape, buoy) = match line.top {
        MooredTop::Float {
            buoyancy_n,
            drag_area_m2,
            form,
            ..
        } => {
            hanging.top = Top::Float {
                buoyancy_n,
                drag_area_m2,
            };
            let shape = hang_line(&hanging)?;
            clear_of_troughs(case, &shape, form)?;
            (shape, None)
        }
        MooredTop::Buoy { hull, .. } => {
            let (shape, state) = match under_buoy(&mut hanging, &hull, case, Drawn::Last)? {
                Some(found) => found,
                None => under_buoy(&mut hanging, &hull, case, Drawn::Each)?
                    .expect("the pull of a shape that was drawn is its own"),
            };
            // One that is pulled under in still water is broken by that.
            if state.reserve_n > 0.0 {
                within_reach(case, &hanging.ropes, &shape)?;
            }
            (shape, Some(state))
        }
    };
    told(line, case, shape, buoy)
}

/// All of a float below the surface stays in the water: half the height of a wave is at most what its trough lies below still water, as troughs of steep waves are flatter.
fn clear_of_troughs(case: &DesignCase, shape: &Shape, form: Option<Form>) -> Result<(), NoShape> {
    let depth_m = case.water.depth_m - shape.top_m[2];
    let trough_m = case.wave.map_or(0.0, |(height_m, _)| 0.5 * height_m);
    let half_m = match form {
        Some(Form::Sphere { diameter_m } | Form::Cylinder { diameter_m, .. }) => 0.5 * diameter_m,
        None => 0.0,
    };
    match depth_m - half_m < trough_m {
        true => Err(NoShape::Trough {
            depth_m,
            half_m,
            trough_m,
        }),
        false => Ok(()),
    }
}

fn out_of_the_water(depth_m: f64, half_m: f64, trough_m: f64) -> String {
    let top = match half_m > 0.0 {
        true => format!(
            "the middle of its float lies {} deep, its upper side {} above that",
            metres(depth_m),
            metres(half_m)
        ),
        false => format!("its float lies {} deep", metres(depth_m)),
    };
    let waves = match trough_m > 0.0 {
        true => format!(
            ", and the troughs of the waves of {} reach down to {}",
            metres(2.0 * trough_m),
            metres(trough_m)
        ),
        false => String::new(),
    };
    format!("{top}{waves}: it comes out of the water there, and what it lifts is not known")
}

/// A buoy at the surface rides over crests only on what its line has over; one that is straight before it is up there bears what nobody has worked out. Crests count half
/// the height of a wave above still water: those of steep waves are higher.
fn within_reach(case: &DesignCase, ropes: &[mooring::Rope], shape: &Shape) -> Result<(), NoShape> {
    let Some((height_m, _)) = case.wave.filter(|(height_m, _)| *height_m > 0.0) else {
        return Ok(());
    };
    let water_m = case.water.depth_m + 0.5 * height_m;
    let reach_m = stretched_m(ropes, shape);
    match water_m > reach_m {
        true => Err(NoShape::Crest {
            height_m,
            water_m,
            reach_m,
        }),
        false => Ok(()),
    }
}

/// Length of a line with what its ropes stretch in a shape, m.
fn stretched_m(ropes: &[mooring::Rope], shape: &Shape) -> f64 {
    let mut from_m = 0.0;
    let ends = ropes.iter().map(|rope| {
        from_m += rope.length_m;
        (from_m, rope.stiffness_n)
    });
    let ends: Vec<(f64, Option<f64>)> = ends.collect();
    let between = shape.points.windows(2).map(|pair| {
        let middle_m = f64::midpoint(pair[0].s_m, pair[1].s_m);
        let on = ends.iter().find(|(to_m, _)| middle_m <= *to_m);
        let mean_n = f64::midpoint(pair[0].tension_n(), pair[1].tension_n());
        let strain = on
            .and_then(|(_, ea_n)| *ea_n)
            .map_or(0.0, |ea_n| mean_n / ea_n);
        (pair[1].s_m - pair[0].s_m) * (1.0 + strain)
    });
    between.sum()
}

fn metres(m: f64) -> String {
    show(m, Dimension::Length)
}

/// The horizontal force on a hull at a draught, N: east and north.
fn force_n(hull: &BuoyHull, case: &DesignCase, draught_m: f64) -> Result<[f64; 2], NoShape> {
    let (speed_m_s, towards_deg) = case.water.current.speed_and_direction(0.0);
    let wet_m2 = hull.cd_a_water_m2 * (draught_m / hull.full_draught_m);
    let wet_n = 0.5 * case.water.density_kg_m3 * wet_m2 * speed_m_s * speed_m_s;
    let [mut east_n, mut north_n] = level(wet_n, towards_deg);
    if let Some((wind_m_s, towards_deg)) = case.wind.filter(|(speed, _)| *speed > 0.0) {
        let area_m2 = hull.cd_a_wind_m2.ok_or(NoShape::NoWindArea)?;
        let [east, north] = level(0.5 * AIR_KG_M3 * area_m2 * wind_m_s * wind_m_s, towards_deg);
        east_n += east;
        north_n += north;
    }
    Ok([east_n, north_n])
}

/// Which of the shapes are drawn on the way to a draught.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Drawn {
    /// The last: the pull of a line is known before its shape is drawn.
    Last,
    /// Each, and its pull counts.
    Each,
}

/// The draught at which a buoy bears its own weight and the pull of the line; one that is pulled under becomes a float at its full draught. `None` where
/// the last shape is one of bars, whose pull is not quite that of the search before it: then each must be drawn.
fn under_buoy(
    hanging: &mut Hanging,
    hull: &BuoyHull,
    case: &DesignCase,
    drawn: Drawn,
) -> Result<Option<(Shape, BuoyState)>, NoShape> {
    let per_m = case.water.density_kg_m3 * mooring::GRAVITY_M_S2 * hull.waterplane_m2;
    let most_n = per_m * hull.full_draught_m;
    if hull.weight_n >= most_n {
        return Err(NoShape::Sinks {
            weight_n: hull.weight_n,
            most_n,
        });
    }
    let mut pull_n = 0.0;
    let mut left_n = f64::INFINITY;
    for _ in 0..DRAUGHTS {
        let draught_m = ((hull.weight_n + pull_n) / per_m).clamp(0.0, hull.full_draught_m);
        let force_n = force_n(hull, case, draught_m)?;
        hanging.top = Top::Surface { force_n };
        let held = match hold(hanging) {
            // A line that does not reach the surface pulls its buoy under.
            Err(MooringError::TooShort { .. }) => {
                return pulled_under(hanging, hull, most_n, None).map(Some);
            }
            found => found?,
        };
        let held = match drawn {
            Drawn::Each => held.drawn()?,
            Drawn::Last => held,
        };
        let up_n = held.top_n()[2];
        left_n = (up_n - pull_n).abs();
        pull_n = up_n;
        let under = hull.weight_n + pull_n > most_n && draught_m >= hull.full_draught_m;
        let still = left_n <= STILL_N * (1.0 + pull_n.abs());
        if !(under || still) {
            continue;
        }
        if hull.weight_n + pull_n < 0.0 {
            return Err(NoShape::Lifted {
                pull_n: -pull_n,
                weight_n: hull.weight_n,
            });
        }
        let shape = held.shape()?;
        if shape.top_n[2] != pull_n {
            return Ok(None);
        }
        let state = afloat(hull, most_n, (draught_m, pull_n), force_n);
        if !under {
            return Ok(Some((shape, state)));
        }
        return match pulled_under(hanging, hull, most_n, Some(pull_n)) {
            // Without the wind, which it leaves as it goes under, it would come up again: it lies awash.
            Err(NoShape::Mooring(MooringError::FloatAtSurface { .. })) => Ok(Some((shape, state))),
            Err(NoShape::Mooring(why)) => Err(NoShape::Under {
                missing_n: hull.weight_n + pull_n - most_n,
                why,
            }),
            found => found.map(Some),
        };
    }
    Err(NoShape::Draught { left_n })
}

fn afloat(
    hull: &BuoyHull,
    most_n: f64,
    (draught_m, pull_n): (f64, f64),
    [east_n, north_n]: [f64; 2],
) -> BuoyState {
    BuoyState {
        draught_m,
        pull_n,
        reserve_n: most_n - hull.weight_n - pull_n,
        drag_n: libm::hypot(east_n, north_n),
    }
}

fn pulled_under(
    hanging: &mut Hanging,
    hull: &BuoyHull,
    most_n: f64,
    asked_n: Option<f64>,
) -> Result<(Shape, BuoyState), NoShape> {
    let buoyancy_n = most_n - hull.weight_n;
    hanging.top = Top::Float {
        buoyancy_n,
        drag_area_m2: hull.cd_a_water_m2,
    };
    let shape = hang_line(hanging)?;
    let [east_n, north_n, up_n] = shape.top_n;
    let state = BuoyState {
        draught_m: hull.full_draught_m,
        pull_n: asked_n.unwrap_or(up_n),
        reserve_n: buoyancy_n - asked_n.unwrap_or(up_n),
        drag_n: libm::hypot(east_n, north_n),
    };
    Ok((shape, state))
}

fn told(
    line: &Moored,
    case: &DesignCase,
    shape: Shape,
    buoy: Option<BuoyState>,
) -> Result<CaseShape, NoShape> {
    let depth_m = case.water.depth_m;
    let wave = case
        .wave
        .map(|(height_m, period_s)| Wave::new(height_m, period_s, depth_m))
        .transpose()?;
    let size = |v: [f64; 3]| (v[0] * v[0] + v[1] * v[1] + v[2] * v[2]).sqrt();
    let thing = |(what, at): (Thing, &AtBody)| CaseThing {
        what,
        depth_m: depth_m - at.at_m[2],
        at_m: at.at_m,
        above_n: size(at.above_n),
        below_n: size(at.below_n),
        tilt_deg: at.tilt_above_deg().max(at.tilt_below_deg()),
        wave: wave.map(|w| w.at(depth_m - at.at_m[2])),
    };
    let whats = line.hung.iter().map(|h| h.what);
    let top_depth_m = depth_m - shape.top_m[2];
    Ok(CaseShape {
        things: whats.zip(&shape.bodies).map(thing).collect(),
        top_depth_m,
        top_tilt_deg: shape.points.last().map_or(0.0, mooring::Point::tilt_deg),
        buoy,
        wave_at_bed: wave.map(|w| w.at(depth_m)),
        wave_at_top: wave.map(|w| w.at(top_depth_m)),
        shape,
    })
}
