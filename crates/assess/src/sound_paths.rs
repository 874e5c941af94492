//! How sound comes from a place to the hydrophones: every path, shadows, and the time between two ears.

use plan::{Line, SensorIx, Stage};
use seawater::{
    Bed, Eigenrays, LossField, RayLimits, RaySea, Reach, SeaError, Spreading, coherent_loss_db,
    incoherent_loss_db, transmission_loss,
};

use crate::assumed::beyond_profile;
use crate::ear_geometry::EarGeometryError;
use crate::ear_pairs::{PairTold, pairs};
use crate::input::{InputError, bed, profile, ray_limits, spreading};

/// Ranges at which a table tells what comes, m.
const TOLD_AT_M: [f64; 9] = [
    100.0, 200.0, 500.0, 1000.0, 2000.0, 5000.0, 10_000.0, 20_000.0, 50_000.0,
];
/// Ranges at which a shadow is looked for.
const LOOKED_AT: u32 = 240;
/// To which the ends of a shadow are found, m.
const EDGE_M: f64 = 0.5;
/// Nearer than this no paths are told, m.
const NEAREST_M: f64 = 1.0;
/// Without a detector that says it, Hz.
const MIDDLE_HZ: f64 = 1000.0;
const FIELD_CELLS: (usize, usize) = (240, 120);
const FIELD_RAYS: u32 = 3000;

/// What is asked.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PathAsk {
    /// Depth of the source, m.
    pub source_depth_m: f64,
    /// Range of the source, m; without it many ranges are told.
    pub range_m: Option<f64>,
    /// Ranges are told out to here, m.
    pub out_to_m: f64,
    /// The hydrophone that is meant; all without it.
    pub to: Option<SensorIx>,
    /// Frequency, Hz; that of the detectors without it.
    pub frequency_hz: Option<f64>,
    /// Whether the loss over range and depth is wanted, for a picture.
    pub field: bool,
}

/// Why no paths can be told.
#[derive(Debug, thiserror::Error)]
pub enum PathError {
    /// The plan does not say something, or something that cannot be.
    #[error(transparent)]
    Input(#[from] InputError),
    /// Two hydrophones of which the plan says too little.
    #[error(transparent)]
    Pair(#[from] EarGeometryError),
    /// A depth, range or frequency outside what rays hold for.
    #[error(transparent)]
    Sea(#[from] SeaError),
    /// The plan has no hydrophone.
    #[error("no module of this plan has a hydrophone")]
    NoHydrophone,
    /// The sensor that is asked for is none.
    #[error("{0} is no hydrophone")]
    NotHydrophone(String),
    /// Nothing lies within the range that is asked for.
    #[error("ranges are told out to {NEAREST_M} m at the least, not to {0} m")]
    OutTo(f64),
    /// The source is where a hydrophone hangs.
    #[error(
        "the source lies on {sensor}: paths are told from {NEAREST_M} m on, and it is {away_m:.2} m away"
    )]
    OnSensor {
        /// The hydrophone.
        sensor: String,
        /// Its distance, m.
        away_m: f64,
    },
    /// The plan does not say what the bed is.
    #[error("rays reach the bed, and the plan does not say what it is")]
    NoBottom,
    /// The plan does not say the acidity of the water.
    #[error("absorption needs the acidity of the water, and the plan does not say `ph`")]
    NoAcidity,
    /// Nobody waits for it any more.
    #[error("stopped")]
    Cancelled,
}

/// What comes to the hydrophones.
#[derive(Clone, Debug)]
pub struct SoundPaths {
    /// What was asked.
    pub ask: PathAsk,
    /// Depth of the bed, m.
    pub seabed_m: f64,
    /// What the bed does to sound.
    pub bed: Bed,
    /// Sound speed by depth, m and m/s, straight between.
    pub speeds: Vec<(f64, f64)>,
    /// Which rays were followed.
    pub limits: RayLimits,
    /// The hydrophones, in the order of the plan.
    pub ears: Vec<EarPaths>,
    /// Pairs of hydrophones, where the range of the source is given.
    pub pairs: Vec<PairTold>,
    /// What was taken although nobody wrote it.
    pub assumed: Vec<String>,
}

/// One hydrophone.
#[derive(Clone, Debug)]
pub struct EarPaths {
    /// Which it is.
    pub ix: SensorIx,
    /// Its typed path.
    pub sensor: String,
    /// Its depth, m.
    pub depth_m: f64,
    /// What gives its depth, in words.
    pub depth_by: String,
    /// The frequency of absorption, bed and interference, Hz.
    pub frequency_hz: f64,
    /// What comes from the source, where its range is given.
    pub rays: Option<Told>,
    /// What comes from other ranges, where it is not.
    pub rows: Vec<Told>,
    /// Ranges in which nothing comes but by the bed, or nothing at all: from, until, and whether something comes by the bed.
    pub shadows: Vec<(f64, f64, bool)>,
    /// Loss from everywhere to this hydrophone, and rays that leave it, by reciprocity.
    pub field: Option<LossField>,
    /// How sound comes from the middle of each cell of `field`, by the very rule of `shadows`; row by row, empty without `field`.
    pub reach: Vec<Reach>,
    /// Angles of the rays of a fan from the hydrophone, evenly apart, degrees, down positive.
    pub fan_deg: Vec<f64>,
    /// These rays, range and depth, m.
    pub fan: Vec<Vec<(f64, f64)>>,
    /// The paths from the source, range from the hydrophone and depth, m; none for a path within a degree of the vertical.
    pub drawn: Vec<Vec<(f64, f64)>>,
}

/// What comes from one range.
#[derive(Clone, Debug)]
pub struct Told {
    /// The range, m.
    pub range_m: f64,
    /// The paths.
    pub found: Eigenrays,
    /// Loss of all paths together, powers added, dB re 1 m; infinite without paths.
    pub power_loss_db: f64,
    /// Loss for a steady tone, with interference, dB re 1 m; infinite without paths.
    pub tone_loss_db: f64,
    /// Loss by the spreading law of the plan, if it has one, dB re 1 m.
    pub simple_loss_db: Option<f64>,
}

/// Every path from a place to the hydrophones of a line, and what two of them make of it.
///
/// # Errors
/// [`PathError`].
pub fn sound_paths(line: &Line, ask: &PathAsk) -> Result<SoundPaths, PathError> {
    sound_paths_with(line, ask, &|| true)
}

/// The same; `go_on` says whether somebody still waits for it.
///
/// # Errors
/// [`PathError`]; [`PathError::Cancelled`] where nobody does.
pub fn sound_paths_with(
    line: &Line,
    ask: &PathAsk,
    go_on: &dyn Fn() -> bool,
) -> Result<SoundPaths, PathError> {
    if ask.range_m.is_none() && ask.out_to_m < NEAREST_M {
        return Err(PathError::OutTo(ask.out_to_m));
    }
    let water = profile(line).map_err(InputError::from)?;
    let bed = bed(line).ok_or(PathError::NoBottom)?;
    let ph = line.sea.ph.ok_or(PathError::NoAcidity)?.si;
    let seabed_m = line.sea.water_depth_m.si;
    let limits = ray_limits(line);
    let wanted = wanted(line, ask)?;
    let mut assumed = Vec::new();
    let mut ears = Vec::new();
    let mut speeds = Vec::new();
    for ix in wanted {
        let sensor = line.sensor_path(ix);
        let frequency_hz = match ask.frequency_hz.or_else(|| detected_hz(line, ix)) {
            Some(hz) => hz,
            None => {
                assumed.push(format!(
                    "{sensor} is told at {MIDDLE_HZ:.0} Hz: no detector on it says a band, and no frequency was given"
                ));
                MIDDLE_HZ
            }
        };
        let sea = RaySea::new(&water, seabed_m, bed, frequency_hz, ph)?;
        if speeds.is_empty() {
            let layers = sea.layers();
            let both = layers.depths_m().iter().zip(layers.speeds_m_s());
            speeds = both.map(|(z, c)| (*z, *c)).collect();
        }
        let depth_m = line.modules[ix.module.0].depth_m;
        if let Some(range_m) = ask.range_m {
            let away_m = libm::hypot(range_m, ask.source_depth_m - depth_m);
            if away_m < NEAREST_M {
                return Err(PathError::OnSensor { sensor, away_m });
            }
        }
        ears.push(ear(line, ask, &limits, &sea, (ix, depth_m), go_on)?);
    }
    assumed.extend(beyond_profile(line));
    if matches!(bed, Bed::Loss { .. }) {
        assumed.push(
            "a bounce from the bed does not change the phase: `bottom` is a loss alone".to_owned(),
        );
    }
    if line.sea.paths != Some(plan::Paths::Rays) {
        assumed.push(
            "a rehearsal of this plan does not follow these rays: `paths` is not \"rays\""
                .to_owned(),
        );
    }
    let pairs = if ask.range_m.is_some() {
        pairs(line, &ears)?
    } else {
        Vec::new()
    };
    Ok(SoundPaths {
        ask: *ask,
        seabed_m,
        bed,
        speeds,
        limits,
        ears,
        pairs,
        assumed,
    })
}

fn wanted(line: &Line, ask: &PathAsk) -> Result<Vec<SensorIx>, PathError> {
    let all: Vec<SensorIx> = line.hydrophones().collect();
    match ask.to {
        None if all.is_empty() => Err(PathError::NoHydrophone),
        None => Ok(all),
        Some(ix) if all.contains(&ix) => Ok(vec![ix]),
        Some(ix) => Err(PathError::NotHydrophone(line.sensor_path(ix))),
    }
}

/// Geometric middle of the first band of the first detector on a sensor.
fn detected_hz(line: &Line, sensor: SensorIx) -> Option<f64> {
    line.detectors
        .iter()
        .filter(|d| d.on == sensor)
        .flat_map(|d| &d.stages)
        .find_map(|stage| match stage {
            Stage::Band {
                low_hz, high_hz, ..
            } => Some((low_hz.si * high_hz.si).sqrt()),
            _ => None,
        })
}

fn ear(
    line: &Line,
    ask: &PathAsk,
    limits: &RayLimits,
    sea: &RaySea,
    (ix, depth_m): (SensorIx, f64),
    go_on: &dyn Fn() -> bool,
) -> Result<EarPaths, PathError> {
    let pair = sea.between(ask.source_depth_m, depth_m)?;
    let law = spreading(line);
    let middle_m = 0.5 * (ask.source_depth_m + depth_m);
    let told = |range_m: f64| -> Result<Told, PathError> {
        waited_for(go_on)?;
        let found = pair.eigenrays(range_m, limits)?;
        Ok(Told {
            range_m,
            power_loss_db: incoherent_loss_db(&found.paths),
            tone_loss_db: coherent_loss_db(&found.paths, sea.frequency_hz()),
            simple_loss_db: law
                .map(|law| {
                    simple_db(
                        line,
                        law,
                        sea,
                        middle_m,
                        range_m,
                        ask.source_depth_m - depth_m,
                    )
                })
                .transpose()?
                .flatten(),
            found,
        })
    };
    let mut out = EarPaths {
        ix,
        sensor: line.sensor_path(ix),
        depth_m,
        depth_by: crate::depth_by(line, ix.module),
        frequency_hz: sea.frequency_hz(),
        rays: ask.range_m.map(told).transpose()?,
        rows: Vec::new(),
        shadows: Vec::new(),
        field: None,
        reach: Vec::new(),
        fan_deg: Vec::new(),
        fan: Vec::new(),
        drawn: Vec::new(),
    };
    if ask.range_m.is_none() {
        // Nearer than the nearest of the list, the end itself is told: a table is never empty.
        let end_m = Some(ask.out_to_m).filter(|end_m| *end_m < TOLD_AT_M[0]);
        let told_at = TOLD_AT_M.into_iter().filter(|r| *r <= ask.out_to_m);
        out.rows = told_at.chain(end_m).map(told).collect::<Result<_, _>>()?;
    }
    let far_m = far_m(ask);
    let dark = |range_m: f64| -> Result<Option<bool>, PathError> {
        waited_for(go_on)?;
        Ok(match pair.eigenrays(range_m, limits)?.reach {
            Reach::Direct | Reach::Surface => None,
            Reach::Bed => Some(true),
            Reach::Nothing => Some(false),
        })
    };
    let mut before: Option<(f64, Option<bool>)> = None;
    for i in 1..=LOOKED_AT {
        let range_m = far_m * f64::from(i) / f64::from(LOOKED_AT);
        let here = dark(range_m)?;
        match (before, out.shadows.last_mut()) {
            (Some((_, then)), Some(shadow)) if then == here && here.is_some() => shadow.1 = range_m,
            (Some((_, then)), _) if then == here => {}
            (Some((near_m, then)), last) => {
                let edge_m = edge(near_m, range_m, |x_m| Ok(dark(x_m)? == then))?;
                if let (Some(shadow), true) = (last, then.is_some()) {
                    shadow.1 = edge_m;
                }
                out.shadows
                    .extend(here.map(|by_bed| (edge_m, range_m, by_bed)));
            }
            (None, _) => out
                .shadows
                .extend(here.map(|by_bed| (range_m, range_m, by_bed))),
        }
        before = Some((range_m, here));
    }
    if ask.field {
        picture(ask, limits, sea, &mut out, go_on)?;
    }
    Ok(out)
}

fn waited_for(go_on: &dyn Fn() -> bool) -> Result<(), PathError> {
    match go_on() {
        true => Ok(()),
        false => Err(PathError::Cancelled),
    }
}

/// Where what holds at `near_m` ceases to hold before `far_m`, m.
fn edge(
    mut near_m: f64,
    mut far_m: f64,
    holds: impl Fn(f64) -> Result<bool, PathError>,
) -> Result<f64, PathError> {
    while far_m - near_m > EDGE_M {
        let middle_m = 0.5 * (near_m + far_m);
        if holds(middle_m)? {
            near_m = middle_m;
        } else {
            far_m = middle_m;
        }
    }
    Ok(0.5 * (near_m + far_m))
}

/// How far out shadows are looked for and pictures drawn, m.
fn far_m(ask: &PathAsk) -> f64 {
    match ask.range_m {
        None => ask.out_to_m,
        Some(range_m) => (1.2 * range_m).max(50.0),
    }
}

/// Loss by a spreading law over the straight distance; `None` nearer than a metre.
fn simple_db(
    line: &Line,
    law: Spreading,
    sea: &RaySea,
    middle_m: f64,
    range_m: f64,
    height_m: f64,
) -> Result<Option<f64>, PathError> {
    let straight_m = libm::hypot(range_m, height_m);
    let water = profile(line).map_err(InputError::from)?;
    let ph = line.sea.ph.ok_or(PathError::NoAcidity)?.si;
    let absorption = seawater::absorption(
        sea.frequency_hz(),
        water.temperature_degc(middle_m)?,
        water.salinity(middle_m)?,
        middle_m,
        ph,
    )?;
    if straight_m < 1.0 {
        return Ok(None);
    }
    Ok(Some(
        transmission_loss(law, straight_m, absorption.total_db_per_km)?.total_db,
    ))
}

/// What a picture shows: the loss from everywhere, and rays from the hydrophone.
fn picture(
    ask: &PathAsk,
    limits: &RayLimits,
    sea: &RaySea,
    out: &mut EarPaths,
    go_on: &dyn Fn() -> bool,
) -> Result<(), PathError> {
    let far_m = far_m(ask);
    let bounces = limits.most_bed_bounces;
    let mut field = sea.loss_field(out.depth_m, far_m, FIELD_CELLS, FIELD_RAYS, bounces)?;
    out.reach = reach_of_cells(limits, sea, out.depth_m, &mut field, go_on)?;
    out.field = Some(field);
    match (&out.rays, ask.range_m) {
        (Some(told), Some(range_m)) => {
            for path in &told.found.paths {
                // Back from the hydrophone: what arrives going down leaves it going up.
                let back_deg = -path.arrival_deg;
                // One for each path: a path too steep to be followed has no points.
                out.drawn.push(if back_deg.abs() <= 89.0 {
                    let trace = sea.trace(out.depth_m, back_deg, range_m, bounces)?;
                    trace.points_m
                } else {
                    Vec::new()
                });
            }
        }
        _ => {
            out.fan_deg = (-5..=5).map(|i| 2.5 * f64::from(i)).collect();
            for angle_deg in &out.fan_deg {
                let trace = sea.trace(out.depth_m, *angle_deg, far_m, bounces)?;
                out.fan.push(trace.points_m);
            }
        }
    }
    Ok(())
}

/// How sound comes from the middle of each cell. A cell that a path reaches between two rays of the fan takes its loss from the paths.
fn reach_of_cells(
    limits: &RayLimits,
    sea: &RaySea,
    ear_m: f64,
    field: &mut LossField,
    go_on: &dyn Fn() -> bool,
) -> Result<Vec<Reach>, PathError> {
    // A search for paths that leave the bed alone finds them quickly, and the fan tells whether anything else comes.
    let free = RayLimits {
        most_bed_bounces: 0,
        ..*limits
    };
    let mut all = Vec::with_capacity(field.loss_db.len());
    for &depth_m in &field.depth_m {
        let pair = sea.between(depth_m, ear_m)?;
        for &range_m in &field.range_m {
            waited_for(go_on)?;
            if libm::hypot(range_m, depth_m - ear_m) < NEAREST_M {
                all.push(Reach::Direct);
                continue;
            }
            let cell_db = &mut field.loss_db[all.len()];
            let reach = if cell_db.is_infinite() {
                let found = pair.eigenrays(range_m, limits)?;
                *cell_db = incoherent_loss_db(&found.paths);
                found.reach
            } else {
                match pair.eigenrays(range_m, &free)?.reach {
                    Reach::Nothing => Reach::Bed,
                    free => free,
                }
            };
            all.push(reach);
        }
    }
    Ok(all)
}
