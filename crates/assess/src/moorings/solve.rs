//! One line in one design case.

use mooring::{
    AtBody, Form, GRAVITY_M_S2, Hanging, MooringError, Shape, Top, Wave, hang as hang_line, hold,
};

use super::case_shape::{Bared, BuoyState, CaseShape, CaseThing, NoShape, SizeOf, Surface};
use crate::input::{BuoyHull, DesignCase, Moored, MooredTop, Thing, level};

/// Density of air at the sea, kg/m3 (standard atmosphere, ISO 2533, at 15 degC).
const AIR_KG_M3: f64 = 1.225;
/// Most times that a buoy's draught is taken anew.
const DRAUGHTS: u32 = 60;
/// A pull that changes by less than this has been found, N.
const STILL_N: f64 = 1e-7;

/// A line with what has grown on it.
fn as_grown(clean: &Moored, case: &DesignCase) -> Result<Option<Moored>, NoShape> {
    Ok(case.fouling.map(|by| clean.fouled(&by)).transpose()?)
}

/// A line for the solver, in the still water of a case; what holds its top is still to be said.
fn in_water(line: &Moored, case: &DesignCase) -> Result<Hanging, NoShape> {
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
    Ok(Hanging {
        water: case.water.clone(),
        ropes,
        bodies: bodies.collect(),
        foot_m: 0.0,
        top: Top::Surface { force_n: [0.0; 2] },
    })
}

/// The shape of a line in the still water of a case.
pub(super) fn hang(clean: &Moored, case: &DesignCase) -> Result<CaseShape, NoShape> {
    let fouled = as_grown(clean, case)?;
    let line = fouled.as_ref().unwrap_or(clean);
    let mut hanging = in_water(line, case)?;
    let (shape, buoy) = match line.top {
        MooredTop::Float {
            buoyancy_n,
            drag_area_m2,
            ..
        } => {
            hanging.top = Top::Float {
                buoyancy_n,
                drag_area_m2,
            };
            (hang_line(&hanging)?, None)
        }
        MooredTop::Buoy { hull, .. } => {
            let (shape, state) = with_buoy(&mut hanging, &hull, case, 0.0)?;
            (shape, Some(state))
        }
    };
    let found = told(line, shape, buoy, &AtLevel::still(case, None));
    top_covered(line, &found, case.water.density_kg_m3, 0.0)?;
    hung_covered(line, &found, case.water.density_kg_m3, 0.0, is_float)?;
    Ok(found)
}

/// What the waves of a case make of a line that has a shape in its still water: what they move at each thing; under a buoy that is afloat the line at rest with the surface
/// at their crests and at their troughs, which the current, the wind and the buoy's force follow. What a float holds below the surface keeps its shape, and must stay in the water.
pub(super) fn in_waves(
    clean: &Moored,
    case: &DesignCase,
    (height_m, period_s): (f64, f64),
    still: CaseShape,
) -> Result<CaseShape, NoShape> {
    let fouled = as_grown(clean, case)?;
    let line = fouled.as_ref().unwrap_or(clean);
    let water_m = case.water.depth_m;
    let wave = Wave::new(height_m, period_s, water_m)?;
    let (most_m, _) = plan::breaks_above_m(period_s, water_m);
    // What is written as high as waves can be is not broken by a last digit.
    if height_m > most_m * (1.0 + 1e-9) {
        return Err(NoShape::Breaks {
            height_m,
            water_m,
            most_m,
        });
    }
    let buoy = still.buoy;
    let mut found = told(line, still.shape, buoy, &AtLevel::still(case, Some(wave)));
    let trough_m = wave.trough_m();
    let MooredTop::Buoy { hull, .. } = line.top else {
        top_covered(line, &found, case.water.density_kg_m3, trough_m)?;
        hung_covered(line, &found, case.water.density_kg_m3, trough_m, |_| true)?;
        return Ok(found);
    };
    // One that is pulled under in still water is broken by that.
    let afloat = buoy.filter(|state| state.reserve_n > 0.0 && height_m > 0.0);
    let Some(state) = afloat else {
        return Ok(found);
    };
    let mut hanging = in_water(line, case)?;
    within_reach((height_m, wave.crest_m()), &hanging, &found.shape)?;
    let mut at = |surface: Surface, surface_m: f64| {
        hanging.water.depth_m = water_m + surface_m;
        let shaped = with_buoy(&mut hanging, &hull, case, state.pull_n);
        let shaped = shaped.and_then(|(shape, state)| {
            let level = AtLevel {
                case,
                wave: Some(wave),
                surface_m,
            };
            let found = told(line, shape, Some(state), &level);
            hung_covered(line, &found, case.water.density_kg_m3, -surface_m, is_float)?;
            Ok(Box::new(found))
        });
        shaped.map_err(|why| NoShape::InWaves {
            surface,
            surface_m,
            why: Box::new(why),
        })
    };
    found.crest = Some(at(Surface::Crest, wave.crest_m())?);
    found.trough = Some(at(Surface::Trough, -trough_m)?);
    Ok(found)
}

/// The shape of a line under a buoy, from a pull of which it may be.
fn with_buoy(
    hanging: &mut Hanging,
    hull: &BuoyHull,
    case: &DesignCase,
    near_n: f64,
) -> Result<(Shape, BuoyState), NoShape> {
    match under_buoy(hanging, hull, case, (Drawn::Last, near_n))? {
        Some(found) => Ok(found),
        None => Ok(under_buoy(hanging, hull, case, (Drawn::Each, near_n))?
            .expect("the pull of a shape that was drawn is its own")),
    }
}

/// From the middle of something to its upper side, m. Where its size is not written: of a float that of a ball which displaces no more than what it lifts weighs, the least that it can be; else zero.
fn half(form: Option<Form>, lifts_n: f64, density_kg_m3: f64) -> (f64, SizeOf) {
    match form {
        Some(Form::Sphere { diameter_m }) => (0.5 * diameter_m, SizeOf::Written),
        // However it hangs.
        Some(Form::Cylinder {
            diameter_m,
            length_m,
        }) => (0.5 * diameter_m.max(length_m), SizeOf::Written),
        None => {
            let volume_m3 = lifts_n.max(0.0) / (density_kg_m3 * GRAVITY_M_S2);
            let radius_m = libm::cbrt(0.75 * volume_m3 / core::f64::consts::PI);
            (radius_m, SizeOf::Lift)
        }
    }
}

/// All of something stays in the water: half the height of a wave is at most what its trough lies below still water, as troughs of steep waves are flatter.
fn covered(
    what: Bared,
    depth_m: f64,
    (half_m, size): (f64, SizeOf),
    trough_m: f64,
) -> Result<(), NoShape> {
    match depth_m - half_m < trough_m {
        true => Err(NoShape::Trough {
            what,
            depth_m,
            half_m,
            size,
            trough_m,
        }),
        false => Ok(()),
    }
}

/// The same of the float at the top of a line.
fn top_covered(
    line: &Moored,
    found: &CaseShape,
    density_kg_m3: f64,
    trough_m: f64,
) -> Result<(), NoShape> {
    match line.top {
        MooredTop::Float {
            form, buoyancy_n, ..
        } => covered(
            Bared::Top,
            found.top_depth_m,
            half(form, buoyancy_n, density_kg_m3),
            trough_m,
        ),
        MooredTop::Buoy { .. } => Ok(()),
    }
}

/// The same of what hangs on a line, as far as it is wanted: a float that is bare lifts less, a housing weighs what it weighs in air.
fn hung_covered(
    line: &Moored,
    found: &CaseShape,
    density_kg_m3: f64,
    trough_m: f64,
    wanted: impl Fn(Thing) -> bool,
) -> Result<(), NoShape> {
    let hung = line.hung.iter().zip(&found.things);
    for (hung, thing) in hung.filter(|(hung, _)| wanted(hung.what)) {
        let at_m = hung.body.at_m;
        let (what, lifts_n) = match hung.what {
            Thing::Float(_) => (Bared::Float { at_m }, -hung.body.weight_n),
            _ => (Bared::Thing { at_m }, 0.0),
        };
        covered(
            what,
            thing.depth_m,
            half(hung.form, lifts_n, density_kg_m3),
            trough_m,
        )?;
    }
    Ok(())
}

fn is_float(what: Thing) -> bool {
    matches!(what, Thing::Float(_))
}

/// A buoy at the surface rides over crests only on what its line has over; one that is straight before it is up there is pulled taut with a jerk, and bears what nobody has worked out.
fn within_reach(
    (height_m, crest_m): (f64, f64),
    hanging: &Hanging,
    shape: &Shape,
) -> Result<(), NoShape> {
    let water_m = hanging.water.depth_m + crest_m;
    let reach_m = stretched_m(&hanging.ropes, shape);
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
    (drawn, near_n): (Drawn, f64),
) -> Result<Option<(Shape, BuoyState)>, NoShape> {
    let per_m = case.water.density_kg_m3 * GRAVITY_M_S2 * hull.waterplane_m2;
    let most_n = per_m * hull.full_draught_m;
    if hull.weight_n >= most_n {
        return Err(NoShape::Sinks {
            weight_n: hull.weight_n,
            most_n,
        });
    }
    let mut pull_n = near_n;
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

/// Where the surface stands over a line, with the waves that put it there.
struct AtLevel<'a> {
    case: &'a DesignCase,
    wave: Option<Wave>,
    surface_m: f64,
}

impl<'a> AtLevel<'a> {
    fn still(case: &'a DesignCase, wave: Option<Wave>) -> AtLevel<'a> {
        AtLevel {
            case,
            wave,
            surface_m: 0.0,
        }
    }
}

fn told(line: &Moored, shape: Shape, buoy: Option<BuoyState>, level: &AtLevel<'_>) -> CaseShape {
    let depth_m = level.case.water.depth_m;
    let wave = level.wave;
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
    CaseShape {
        surface_m: level.surface_m,
        things: whats.zip(&shape.bodies).map(thing).collect(),
        top_depth_m,
        top_tilt_deg: shape.points.last().map_or(0.0, mooring::Point::tilt_deg),
        buoy,
        wave_at_bed: wave.map(|w| w.at(depth_m)),
        wave_at_top: wave.map(|w| w.at(top_depth_m)),
        crest: None,
        trough: None,
        shape,
    }
}
