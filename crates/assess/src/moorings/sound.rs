//! Where hydrophones may hear the line itself: vortices that leave the rope beside them, and the flow past them.
//!
//! Vortices leave at `f = 0.2 U/d` and shake the rope across the current at `f`, along it at `2 f`. A caution, not a verdict: how loud it is where
//! depends on the hydrophone's hanging, which no plan says.

use mooring::{added_mass_kg_m, shedding_hz, span_mode_hz};
use plan::{Line, SensorIx, SensorKind, Stage};

use super::case_shape::{CaseShape, NoShape};
use crate::input::{DesignCase, Moored, Thing};

/// Flow slower than this is not flagged, m/s (common practice).
pub const QUIET_M_S: f64 = 0.25;
/// Bands that reach below this are flagged in faster flow, Hz, or below ten times the frequency of the vortices (common practice; flow noise is
/// reported chiefly below 100 Hz: Bassett and others 2014, read as an abstract).
pub const LOUD_BELOW_HZ: f64 = 100.0;
/// Kinematic viscosity of sea water at 10 degC, m2/s (from memory); it decides only whether vortices are regular.
pub(crate) const VISCOSITY_M2_S: f64 = 1.35e-6;

/// A hydrophone beside a rope in a current, in the case with the fastest flow across the rope there, its waves counted; strum in bands is looked for in every case.
#[derive(Clone, Debug, PartialEq)]
pub struct FlowNoise {
    /// The hydrophone.
    pub sensor: SensorIx,
    /// Index into the cases.
    pub case: usize,
    /// Speed of the water there, m/s.
    pub speed_m_s: f64,
    /// Speed across the rope there, m/s.
    pub across_m_s: f64,
    /// Frequency at which vortices leave the rope, Hz; `None` where they are not regular.
    pub strum_hz: Option<f64>,
    /// What the waves of the case make of it, where it has some.
    pub waves: Option<InWaves>,
    /// Mode of the rope between its neighbours that lies nearest, and its frequency, Hz.
    pub nearest_mode: Option<(u32, f64)>,
    /// Detectors on it with their bands, Hz, and what may fall into these.
    pub bands: Vec<BandCaution>,
}

/// The flow across a rope while waves pass, taken to run along the current, which is the worst of their directions (a choice of ours).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct InWaves {
    /// Slowest and fastest flow across the rope, m/s.
    pub across_m_s: (f64, f64),
    /// Lowest and highest frequency of the vortices, Hz: the lowest is 0 where they are not regular in the slowest flow; `None` where they are
    /// not in the fastest.
    pub strum_hz: Option<(f64, f64)>,
}

impl FlowNoise {
    fn most_m_s(&self) -> f64 {
        self.waves.map_or(self.across_m_s, |w| w.across_m_s.1)
    }
}

impl InWaves {
    fn of(across_m_s: f64, wave_m_s: f64, diameter_m: f64) -> InWaves {
        let (slow, fast) = ((across_m_s - wave_m_s).max(0.0), across_m_s + wave_m_s);
        let hz = |across_m_s| shedding_hz(across_m_s, diameter_m, VISCOSITY_M2_S);
        InWaves {
            across_m_s: (slow, fast),
            strum_hz: hz(fast).map(|high| (hz(slow).unwrap_or(0.0), high)),
        }
    }
}

/// The band of a detector beside a rope in a current.
#[derive(Clone, Debug, PartialEq)]
pub struct BandCaution {
    /// Id of the detector.
    pub detector: String,
    /// Its band, Hz.
    pub band_hz: (f64, f64),
    /// The first case in which vortices, or twice their frequency, come to lie in it, in waves too: a slower flow than the fastest may do it.
    pub strum_case: Option<usize>,
    /// Whether it reaches down to where flow noise lies.
    pub flow_within: bool,
}

pub(super) fn flow_noise(
    line: &Line,
    of: &Moored,
    cases: &[DesignCase],
    shapes: &[Result<CaseShape, NoShape>],
) -> Vec<FlowNoise> {
    let mut all = Vec::new();
    for (ix, hung) in of.hung.iter().enumerate() {
        let Thing::Module(module) = hung.what else {
            continue;
        };
        let sensors = line.modules[module.0].sensors.iter().enumerate();
        for (sensor, _) in sensors.filter(|(_, s)| s.kind == SensorKind::Hydrophone) {
            let sensor = SensorIx { module, sensor };
            all.extend(beside(line, of, (cases, shapes), ix, sensor));
        }
    }
    all
}

fn beside(
    line: &Line,
    of: &Moored,
    (cases, shapes): (&[DesignCase], &[Result<CaseShape, NoShape>]),
    ix: usize,
    sensor: SensorIx,
) -> Option<FlowNoise> {
    let mut fastest: Option<FlowNoise> = None;
    let mut strums_hz: Vec<(usize, f64, f64)> = Vec::new();
    for (case, shape) in shapes.iter().enumerate() {
        let Ok(found) = shape else { continue };
        let body = &found.shape.bodies[ix];
        let Some(past) = flow_past(&cases[case], found, ix) else {
            continue;
        };
        let FlowPast {
            speed_m_s,
            across_m_s,
            tension_n: size,
        } = past;
        let fouled = cases[case].fouling.and_then(|by| of.fouled(&by).ok());
        let of = fouled.as_ref().unwrap_or(of);
        let rope = rope_at(of, body.s_m);
        let waves = found.things[ix]
            .wave
            .map(|wave| InWaves::of(across_m_s, wave.across_m_s, rope.diameter_m));
        let most_m_s = waves.map_or(across_m_s, |w| w.across_m_s.1);
        let strum_hz = shedding_hz(across_m_s, rope.diameter_m, VISCOSITY_M2_S);
        let in_waves_hz = waves.and_then(|w| w.strum_hz);
        if let Some((low_hz, high_hz)) = in_waves_hz.or(strum_hz.map(|f| (f, f))) {
            strums_hz.push((case, low_hz, high_hz));
        }
        if fastest.as_ref().is_some_and(|f| f.most_m_s() >= most_m_s) {
            continue;
        }
        let nearest_mode = strum_hz.and_then(|strum_hz| {
            let density = cases[case].water.density_kg_m3;
            let moved = added_mass_kg_m(density, rope.diameter_m);
            // Its own mass is what it weighs in water and what it displaces.
            let mass_kg_m = rope.weight_n_m / mooring::GRAVITY_M_S2 + 2.0 * moved;
            let length_m = span_above_m(of, body.s_m);
            (mass_kg_m > 0.0 && length_m > 0.0).then(|| {
                let first_hz = span_mode_hz(1, length_m, size, mass_kg_m);
                let mode = libm::round(strum_hz / first_hz).max(1.0) as u32;
                (mode, first_hz * f64::from(mode))
            })
        });
        fastest = Some(FlowNoise {
            sensor,
            case,
            speed_m_s,
            across_m_s,
            strum_hz,
            waves,
            nearest_mode,
            bands: Vec::new(),
        });
    }
    let mut found = fastest?;
    let loud_hz = found
        .strum_hz
        .map_or(LOUD_BELOW_HZ, |f| LOUD_BELOW_HZ.max(10.0 * f));
    for detector in line.detectors.iter().filter(|d| d.on == sensor) {
        let band = detector.stages.iter().find_map(|s| match s {
            Stage::Band {
                low_hz, high_hz, ..
            } => Some((low_hz.si, high_hz.si)),
            _ => None,
        });
        let Some((low_hz, high_hz)) = band else {
            continue;
        };
        let meets = |low: f64, high: f64| low <= high_hz && high >= low_hz;
        let mut strums = strums_hz.iter();
        let strums =
            strums.find(|(_, low, high)| meets(*low, *high) || meets(2.0 * low, 2.0 * high));
        found.bands.push(BandCaution {
            detector: detector.id.clone(),
            band_hz: (low_hz, high_hz),
            strum_case: strums.map(|(case, ..)| *case),
            flow_within: found.speed_m_s > QUIET_M_S && low_hz < loud_hz,
        });
    }
    Some(found)
}

/// The flow past a rope where something hangs on it.
#[derive(Clone, Copy, Debug)]
pub(crate) struct FlowPast {
    /// Speed of the water, m/s.
    pub(crate) speed_m_s: f64,
    /// The part of it across the rope, m/s.
    pub(crate) across_m_s: f64,
    /// Tension of the rope above, N.
    pub(crate) tension_n: f64,
}

/// The flow past the rope at what hangs on a line, by its index; `None` where the rope is slack there.
pub(crate) fn flow_past(case: &DesignCase, found: &CaseShape, ix: usize) -> Option<FlowPast> {
    let body = &found.shape.bodies[ix];
    let current = &case.water.current;
    let (speed_m_s, towards_deg) = current.speed_and_direction(found.things[ix].depth_m);
    let [east, north] = crate::input::level(speed_m_s, towards_deg);
    let tension_n = body.above_n.iter().map(|n| n * n).sum::<f64>().sqrt();
    if tension_n == 0.0 {
        return None;
    }
    let along = (east * body.above_n[0] + north * body.above_n[1]) / tension_n;
    Some(FlowPast {
        speed_m_s,
        across_m_s: (speed_m_s * speed_m_s - along * along).max(0.0).sqrt(),
        tension_n,
    })
}

fn rope_at(of: &Moored, s_m: f64) -> mooring::Rope {
    let mut end_m = 0.0;
    for piece in &of.pieces {
        end_m += piece.rope.length_m;
        // What is let in has no diameter that sheds vortices; the rope above it has.
        if s_m < end_m && piece.rope.diameter_m > 0.0 {
            return piece.rope;
        }
    }
    let last = of.pieces.iter().rev().find(|p| p.rope.diameter_m > 0.0);
    last.or(of.pieces.last())
        .expect("a moored line has a piece")
        .rope
}

/// Length of line from a place up to what hangs above it, or to the top, m.
fn span_above_m(of: &Moored, s_m: f64) -> f64 {
    let above = of.hung.iter().map(|h| h.body.at_m).filter(|at| *at > s_m);
    above.fold(of.length_m(), f64::min) - s_m
}
