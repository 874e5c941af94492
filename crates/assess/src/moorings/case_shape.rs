//! What comes of one line in one design case: its shape in still water, at crests and in troughs, or why it has none.

use mooring::{MooringError, Shape, WaveAt};
use quantity::{Dimension, show};

use crate::input::Thing;

/// Where the surface of the water stands in a case.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Surface {
    /// As the level of the case says.
    Still,
    /// As high as the crests of its waves.
    Crest,
    /// As low as their troughs.
    Trough,
}

impl Surface {
    /// All of them, still water first.
    pub const ALL: [Surface; 3] = [Surface::Still, Surface::Crest, Surface::Trough];

    /// A case in words with where its surface stands.
    #[must_use]
    pub fn of(self, case: &str) -> String {
        match self {
            Surface::Still => case.to_owned(),
            Surface::Crest => format!("the crests of {case}"),
            Surface::Trough => format!("the troughs of {case}"),
        }
    }
}

/// The shape of a line in a case, and what follows from it.
#[derive(Clone, Debug, PartialEq)]
pub struct CaseShape {
    /// How much higher than still water the surface stands, m.
    pub surface_m: f64,
    /// The shape.
    pub shape: Shape,
    /// What hangs on the line, in the order of [`Moored::hung`].
    pub things: Vec<CaseThing>,
    /// Depth of its top below still water, m.
    pub top_depth_m: f64,
    /// Angle of the line at its top from the vertical, degrees.
    pub top_tilt_deg: f64,
    /// Of a buoy at the surface.
    pub buoy: Option<BuoyState>,
    /// What the waves do at the bed; `None` without waves.
    pub wave_at_bed: Option<WaveAt>,
    /// What the waves do at the top; `None` without waves.
    pub wave_at_top: Option<WaveAt>,
    /// The same line at rest with the surface as high as the crests; of a buoy afloat in waves.
    pub crest: Option<Box<CaseShape>>,
    /// The same with the surface as low as the troughs.
    pub trough: Option<Box<CaseShape>>,
}

impl CaseShape {
    /// What has become of a buoy that has no buoyancy left: pulled under, or awash where it would come up again without the wind that it leaves as it
    /// goes under; `None` of one that is afloat.
    #[must_use]
    pub fn sunk(&self) -> Option<&'static str> {
        let reserve_n = self.buoy?.reserve_n;
        let at_the_surface = self.below_surface_m() <= 0.0;
        match (reserve_n > 0.0, at_the_surface) {
            (true, _) => None,
            (false, true) => Some("awash"),
            (false, false) => Some(PULLED_UNDER),
        }
    }

    /// Depth of its top below the surface as it stands, m.
    #[must_use]
    pub fn below_surface_m(&self) -> f64 {
        let depth_m = self.top_depth_m + self.surface_m;
        // Sums in another order leave a last bit.
        if libm::fabs(depth_m) < SAME_LEVEL_M {
            return 0.0;
        }
        depth_m
    }

    /// The line with the surface standing elsewhere; as it is where waves do not change it.
    #[must_use]
    pub fn at(&self, surface: Surface) -> &CaseShape {
        let other = match surface {
            Surface::Still => None,
            Surface::Crest => self.crest.as_deref(),
            Surface::Trough => self.trough.as_deref(),
        };
        other.unwrap_or(self)
    }

    /// All that waves make of it, still water first.
    pub fn surfaces(&self) -> impl Iterator<Item = (Surface, &CaseShape)> + Clone {
        let crest = self.crest.as_deref().map(|s| (Surface::Crest, s));
        let trough = self.trough.as_deref().map(|s| (Surface::Trough, s));
        [(Surface::Still, self)]
            .into_iter()
            .chain(crest)
            .chain(trough)
    }
}

/// Two levels closer than this are one, m.
const SAME_LEVEL_M: f64 = 1e-9;

pub(crate) const PULLED_UNDER: &str = "pulled under";

/// Something that hangs on a line in a case.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CaseThing {
    /// What.
    pub what: Thing,
    /// Depth below the still water of the case, m.
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
    /// A float whose upper side the troughs of the waves reach, or still water does not cover; or what else they lay bare.
    #[error("{}", out_of_the_water(*what, *depth_m, (*half_m, *size), *trough_m))]
    Trough {
        /// What comes out of the water.
        what: Bared,
        /// Depth of its middle below still water, m.
        depth_m: f64,
        /// From its middle to its upper side, m; zero where its size is not known.
        half_m: f64,
        /// What that follows from.
        size: SizeOf,
        /// How far the troughs reach below still water, m.
        trough_m: f64,
    },
    /// Waves that cannot stand in the water of the case.
    #[error(
        "its waves of {high} break in {water} of water, above {most}, and what a line bears in breaking waves is not known: write a case at that water level with the waves that stand there",
        high = metres(*height_m), water = metres(*water_m), most = metres(*most_m)
    )]
    Breaks {
        /// Height of the waves, m.
        height_m: f64,
        /// Depth of the water, m.
        water_m: f64,
        /// How high waves of that period stand there, m.
        most_m: f64,
    },
    /// A line that has a shape in still water and none in the waves.
    #[error("{} of its waves, {} {} still water, {why}",
        match surface { Surface::Trough => "in the troughs", _ => "in the crests" },
        metres(surface_m.abs()),
        match surface { Surface::Trough => "below", _ => "above" })]
    InWaves {
        /// Crests or troughs.
        surface: Surface,
        /// How much higher than still water the surface stands there, m.
        surface_m: f64,
        /// Why.
        why: Box<NoShape>,
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

/// What the size of something follows from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SizeOf {
    /// The size that is written.
    Written,
    /// What it lifts: it displaces at least as much.
    Lift,
}

/// What of a line comes out of the water.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Bared {
    /// The float at its top.
    Top,
    /// A float amid it.
    Float {
        /// Where, m of line from the anchor.
        at_m: f64,
    },
    /// Something else that hangs on it.
    Thing {
        /// Where, m of line from the anchor.
        at_m: f64,
    },
}

impl NoShape {
    /// Buoyancy that a buoy lacks that is pulled under, or that sinks by itself, N.
    #[must_use]
    pub fn missing_n(&self) -> Option<f64> {
        match self {
            NoShape::Under { missing_n, .. } => Some(*missing_n),
            NoShape::Sinks { weight_n, most_n } => Some(weight_n - most_n),
            NoShape::InWaves { why, .. } => why.missing_n(),
            _ => None,
        }
    }
}

fn out_of_the_water(
    what: Bared,
    depth_m: f64,
    (half_m, size): (f64, SizeOf),
    trough_m: f64,
) -> String {
    let name = match what {
        Bared::Top => "its float".to_owned(),
        Bared::Float { at_m } => format!("a float {} from its anchor", metres(at_m)),
        Bared::Thing { at_m } => format!("what hangs {} from its anchor", metres(at_m)),
    };
    let top = match half_m > 0.0 {
        true => format!(
            "the middle of {name} lies {} deep, its upper side {} above that{}",
            metres(depth_m),
            metres(half_m),
            match size {
                SizeOf::Written => "",
                SizeOf::Lift =>
                    " if it is a ball that displaces no more than it lifts, as its `diameter` is not written",
            }
        ),
        false => format!("{name} lies {} deep", metres(depth_m)),
    };
    let waves = match trough_m > 0.0 {
        true => format!(
            ", and the troughs of the waves of {} reach down to {}",
            metres(2.0 * trough_m),
            metres(trough_m)
        ),
        false => String::new(),
    };
    let lifts = match what {
        Bared::Top | Bared::Float { .. } => "lifts",
        Bared::Thing { .. } => "weighs",
    };
    format!("{top}{waves}: it comes out of the water there, and what it {lifts} is not known")
}

fn metres(m: f64) -> String {
    show(m, Dimension::Length)
}
