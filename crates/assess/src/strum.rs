//! What strums beside a hydrophone while the tide runs: its rope, clean and with what has grown on it, the current across it at springs and at neaps, and the bands of its detectors.
//!
//! The largest speed of a tide is that of the cases that say so (`strongest_at`), at the depth of the hydrophone and across its rope, as the line leans in that case. In
//! between the tide runs to and fro as a sine (common practice for a stream that turns at the moon's pace), without a steady current.

use mooring::{
    LUNAR_TIDE_H, MooringError, StrumShares, Strummed, TideSpeeds, strum_in_a_fortnight,
    strum_in_a_tide,
};
use plan::{Line, ModuleIx, Position, SectionEnd, SectionIx, SensorIx, Tides};

use crate::chain::detector_band_hz;
use crate::input::{DesignCase, FOULED, Thing, sensor_chain};
use crate::mooring_verdicts::Hangs;
use crate::moorings::{Moorings, VISCOSITY_M2_S, flow_past};

/// What lies no higher above the bed and hangs on no section stands on it, m (a choice of ours: frames and tripods).
pub(crate) const FRAME_M: f64 = 2.0;

/// What is beside a hydrophone.
#[derive(Clone, Debug, PartialEq)]
pub enum Beside {
    /// Nothing that vortices shake, and why.
    Nothing {
        /// In words.
        why: String,
    },
    /// Ropes: one, or those that meet at its module.
    Ropes(Vec<RopeBeside>),
}

/// A rope beside a hydrophone in a tide.
#[derive(Clone, Debug, PartialEq)]
pub struct RopeBeside {
    /// Its section.
    pub section: SectionIx,
    /// Its diameter, m, with what has grown on it.
    pub diameter_m: f64,
    /// Thickness of what has grown on it, m; zero for the clean rope.
    pub grown_m: f64,
    /// The strongest flow at springs, the fastest of the cases that say it.
    pub springs: TideFlow,
    /// The strongest flow at neaps; `None` where no case says it.
    pub neaps: Option<TideFlow>,
}

/// The strongest flow of a tide across a rope.
#[derive(Clone, Debug, PartialEq)]
pub struct TideFlow {
    /// The case in words.
    pub case: String,
    /// Depth of the hydrophone there, m.
    pub depth_m: f64,
    /// Speed of the water across the rope, m/s.
    pub across_m_s: f64,
    /// Whether the rope counts as upright, because its line has no shape in that case.
    pub upright: bool,
}

/// Shares of a tide in which a rope strums in a band.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RopeStrums {
    /// At springs.
    pub springs: StrumShares,
    /// At neaps; `None` where no case says how strong the current is then.
    pub neaps: Option<StrumShares>,
}

impl RopeBeside {
    fn strummed(&self, (low_hz, high_hz): (f64, f64)) -> Strummed {
        Strummed {
            diameter_m: self.diameter_m,
            viscosity_m2_s: VISCOSITY_M2_S,
            low_hz,
            high_hz,
        }
    }

    /// Its tide from springs to neaps, without a steady current; `None` where no case says how strong the current is at neaps.
    pub(crate) fn tide(&self) -> Option<TideSpeeds> {
        let neaps = self.neaps.as_ref()?;
        Some(TideSpeeds {
            spring_m_s: self.springs.across_m_s,
            neap_m_s: neaps.across_m_s,
            steady_m_s: 0.0,
        })
    }

    /// Ranges of speed across it, m/s, in which its vortices, or twice their frequency, lie in a band, Hz: between the two ends the Strouhal number is known.
    pub(crate) fn loud_m_s(&self, band_hz: (f64, f64)) -> [(f64, f64); 2] {
        self.strummed(band_hz).loud_m_s()
    }

    /// Shares of tides in which its strum lies in a band, Hz.
    ///
    /// # Errors
    /// [`MooringError`] for a band that holds nothing, and a current that is stronger at neaps than at springs.
    pub fn strums(&self, band_hz: (f64, f64)) -> Result<RopeStrums, MooringError> {
        let rope = self.strummed(band_hz);
        let springs_m_s = self.springs.across_m_s;
        let neaps_m_s = self.neaps.as_ref().map(|n| n.across_m_s);
        Ok(RopeStrums {
            springs: strum_in_a_tide(&rope, springs_m_s, 0.0)?,
            neaps: neaps_m_s
                .map(|m_s| strum_in_a_tide(&rope, m_s, 0.0))
                .transpose()?,
        })
    }

    /// Shares of a fortnight from springs over neaps to springs; `None` where no case says how strong the current is at neaps.
    ///
    /// # Errors
    /// As [`RopeBeside::strums`].
    pub fn fortnight(&self, band_hz: (f64, f64)) -> Result<Option<StrumShares>, MooringError> {
        let rope = self.strummed(band_hz);
        let shares = self.tide().map(|tide| strum_in_a_fortnight(&rope, &tide));
        shares.transpose()
    }
}

/// What is told of a section that carries no fairing because the plan does not say so.
pub(crate) fn no_fairing(section: &plan::Section) -> String {
    format!(
        "section.{} carries no fairing, because none is written",
        section.id
    )
}

/// Hours of a lunar tide.
pub(crate) fn of_a_tide_h(share: f64) -> f64 {
    share * LUNAR_TIDE_H
}

/// Typed path of a detector, and its band, Hz.
pub(crate) type Banded = (String, (f64, f64));

/// Detectors of a hydrophone with their bands, Hz: of one without a band all that its chain samples.
///
/// # Errors
/// What keeps the chain of the hydrophone from being known, where a detector needs it.
pub(crate) fn bands(line: &Line, sensor: SensorIx) -> Result<Vec<Banded>, String> {
    let detectors = line.detectors.iter().filter(|d| d.on == sensor);
    detectors
        .map(|detector| {
            let path = format!("detector.{}", detector.id);
            if let Some((low_hz, high_hz)) = detector_band_hz(detector) {
                return Ok((path, (low_hz.max(0.0), high_hz)));
            }
            let chain = sensor_chain(line, sensor).map_err(|e| e.to_string())?;
            Ok((path, (0.0, 0.5 * chain.rate_hz())))
        })
        .collect()
}

/// What is beside a hydrophone while the tide runs.
///
/// # Errors
/// What the plan does not say and this needs.
pub(crate) fn beside(hangs: &Hangs<'_>, sensor: SensorIx) -> Result<Beside, String> {
    let line = hangs.line();
    let module = sensor.module;
    let floor_m = line.sea.water_depth_m.si;
    let own = &line.modules[module.0];
    if !own.depth_m.is_finite() || !floor_m.is_finite() {
        return Err("its depth or that of the water is not known".to_owned());
    }
    let sections = sections_at(line, module);
    let on_the_bed = if sections.is_empty() {
        own.depth_m >= floor_m - FRAME_M
    } else {
        own.depth_m >= floor_m
    };
    if on_the_bed {
        return Ok(Beside::Nothing {
            why: "it stands on the bottom, where no rope strums beside it".to_owned(),
        });
    }
    if sections.is_empty() {
        return Err(format!(
            "{} hangs on no section and not on the bottom: what it hangs by, and whether that strums, no `section` says",
            line.module_path(module)
        ));
    }
    let bare: Vec<SectionIx> = sections
        .into_iter()
        .filter(|s| line.sections[s.0].fairing != Some(true))
        .collect();
    if bare.is_empty() {
        return Ok(Beside::Nothing {
            why: "its rope carries fairing, which keeps vortices from shaking it (common practice)"
                .to_owned(),
        });
    }
    let found = hangs.found()?;
    let height_m = floor_m - own.depth_m;
    let fouling = found.cases.iter().find_map(|case| case.fouling);
    let grown_m = fouling
        .filter(|by| height_m >= by.from_height_m)
        .map(|by| by.growth.thickness_m());
    let mut ropes = Vec::new();
    for section in bare {
        let of = &line.sections[section.0];
        let diameter_m = of.rope.as_ref().and_then(|r| r.diameter_m);
        let diameter_m = diameter_m
            .ok_or_else(|| format!("the rope of section.{} says nothing of `diameter`", of.id))?;
        let states = [
            Some((State::Clean, 0.0)),
            grown_m.map(|m| (State::Fouled, m)),
        ];
        for (state, grown_m) in states.into_iter().flatten() {
            let (springs, neaps) = tides(line, found, module, state)?;
            ropes.push(RopeBeside {
                section,
                diameter_m: diameter_m.si + 2.0 * grown_m,
                grown_m,
                springs,
                neaps,
            });
        }
    }
    Ok(Beside::Ropes(ropes))
}

/// Whether a line counts as it is put out or with what has grown on it.
#[derive(Clone, Copy, PartialEq, Eq)]
enum State {
    Clean,
    Fouled,
}

/// The strongest flows at springs and at neaps across the rope beside a module.
fn tides(
    line: &Line,
    found: &Moorings,
    module: ModuleIx,
    state: State,
) -> Result<(TideFlow, Option<TideFlow>), String> {
    let springs = strongest(line, found, module, (Tides::Springs, state)).ok_or_else(|| {
        "no `case` says with `strongest_at = \"springs\"` that its current is the strongest of a tide at springs"
            .to_owned()
    })?;
    let neaps = strongest(line, found, module, (Tides::Neaps, state));
    if let Some(neaps) = neaps.as_ref().filter(|n| n.across_m_s > springs.across_m_s) {
        return Err(format!(
            "the current across the rope is stronger at neaps ({:.2} m/s in {}) than at springs ({:.2} m/s in {}): `strongest_at` of one of them is wrong",
            neaps.across_m_s, neaps.case, springs.across_m_s, springs.case
        ));
    }
    Ok((springs, neaps))
}

/// The sections beside a module: the one that it hangs on, or those that meet at it.
fn sections_at(line: &Line, module: ModuleIx) -> Vec<SectionIx> {
    match line.modules[module.0].position {
        Position::FromTop { section, .. } | Position::FromAnchor { section, .. } => vec![section],
        Position::Depth(_) => {
            let end = SectionEnd::Module(module);
            let sections = line.sections.iter().enumerate();
            sections
                .filter(|(_, s)| s.from == end || s.to == end)
                .map(|(ix, _)| SectionIx(ix))
                .collect()
        }
    }
}

/// The fastest flow across the rope beside a module in the cases that say they are the strongest of such a tide.
fn strongest(
    line: &Line,
    found: &Moorings,
    module: ModuleIx,
    (when, state): (Tides, State),
) -> Option<TideFlow> {
    let says = |case: &DesignCase| {
        let id = match (state, case.fouling) {
            (State::Clean, None) => Some(case.id.as_str()),
            (State::Fouled, Some(_)) => case.id.strip_suffix(FOULED),
            _ => None,
        };
        let said = line.cases.iter().find(|c| Some(c.id.as_str()) == id);
        said.and_then(|c| c.strongest_at) == Some(when)
    };
    let cases = found.cases.iter().enumerate().filter(|(_, c)| says(c));
    let flows = cases.map(|(ix, case)| {
        hung_in(found, module, ix).unwrap_or_else(|| {
            let depth_m = line.modules[module.0].depth_m;
            TideFlow {
                case: case.named(),
                depth_m,
                across_m_s: case.water.current.speed_and_direction(depth_m).0,
                upright: true,
            }
        })
    });
    flows.reduce(|a, b| if b.across_m_s > a.across_m_s { b } else { a })
}

/// The flow past a module that hangs on a line with a shape in a case.
fn hung_in(found: &Moorings, module: ModuleIx, case: usize) -> Option<TideFlow> {
    let lines = found.lines.iter().filter_map(|l| l.as_ref().ok());
    lines
        .filter_map(|of| {
            let is = |h: &crate::input::Hung| h.what == Thing::Module(module);
            let ix = of.line.hung.iter().position(is)?;
            let shape = of.shapes[case].as_ref().ok()?;
            let past = flow_past(&found.cases[case], shape, ix)?;
            Some(TideFlow {
                case: found.cases[case].named(),
                depth_m: shape.things[ix].depth_m,
                across_m_s: past.across_m_s,
                upright: false,
            })
        })
        .next()
}
