//! The line itself: lengths of rope, chain or cable from the anchor upwards, what is clamped on, and what holds the top.

use crate::error::{MooringError, finite, not_negative, positive};
use crate::shape::Shape;
use crate::water::Water;

/// A shape may stand so far above the surface, m: bars are good to a few millimetres.
const ABOVE_M: f64 = 0.01;

/// A length of one kind of line.
///
/// Drag is taken by the cross-flow principle: across the line `0.5 rho d Cn |Vn| Vn` and along it `0.5 rho pi d Ct |Vt| Vt` per stretched
/// length, the tangential one on the wetted area `pi d`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rope {
    /// Unstretched length, m; above zero.
    pub length_m: f64,
    /// Diameter that meets the water, m; not negative.
    pub diameter_m: f64,
    /// Weight in water per unstretched length, N/m; negative floats.
    pub weight_n_m: f64,
    /// Axial stiffness EA, N; `None` does not stretch.
    pub stiffness_n: Option<f64>,
    /// Drag coefficient across, on the diameter. Common practice: 1.2 for a smooth rope that does not strum, 1.5 to 2.5 for one that does,
    /// about 2 for chain on its nominal diameter.
    pub normal_drag: f64,
    /// Drag coefficient along, on the wetted area. Common practice: 0.01 to 0.03.
    pub tangential_drag: f64,
}

/// Something clamped on the line: a housing, a float, a weight.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Body {
    /// Unstretched length from the anchor, m; on the line.
    pub at_m: f64,
    /// Weight in water, N; negative floats.
    pub weight_n: f64,
    /// Drag coefficient times area, m2; not negative.
    pub drag_area_m2: f64,
}

/// What holds the top of a line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Top {
    /// A float below the surface.
    Float {
        /// Buoyancy less weight, N; above zero.
        buoyancy_n: f64,
        /// Drag coefficient times area, m2; not negative.
        drag_area_m2: f64,
    },
    /// A buoy at the surface, which carries whatever vertical force the line asks: compare [`Shape::top_n`](crate::Shape) with its reserve of buoyancy.
    Surface {
        /// Force of current and wind on its hull, N: east and north.
        force_n: [f64; 2],
    },
    /// A point that does not move: a pier, a vessel.
    Fixed {
        /// Where it is from the anchor, m: east, north, up from the seabed.
        at_m: [f64; 3],
    },
}

/// A line that hangs in the water.
#[derive(Clone, Debug, PartialEq)]
pub struct Hanging {
    /// The water.
    pub water: Water,
    /// Its lengths, from the anchor upwards.
    pub ropes: Vec<Rope>,
    /// What is clamped on, in any order.
    pub bodies: Vec<Body>,
    /// Height of its lower end above the seabed, m: zero at an anchor on it, more at a frame or a pile.
    pub foot_m: f64,
    /// What holds its top.
    pub top: Top,
}

impl Hanging {
    /// Unstretched length, m.
    #[must_use]
    pub fn length_m(&self) -> f64 {
        self.ropes.iter().map(|rope| rope.length_m).sum()
    }

    /// Weight in water of each rope and each body, N; negative floats.
    pub(crate) fn weights_n(&self) -> impl Iterator<Item = f64> {
        let ropes = self
            .ropes
            .iter()
            .map(|rope| rope.weight_n_m * rope.length_m);
        ropes.chain(self.bodies.iter().map(|body| body.weight_n))
    }

    /// A shape of it, unless that stands out of the water: nothing there bears what floats. What a fixed point holds above the water hangs from there.
    pub(crate) fn below_surface(&self, shape: Shape) -> Result<Shape, MooringError> {
        let depth_m = self.water.depth_m;
        let top_m = shape.top_m[2] - depth_m;
        if matches!(self.top, Top::Float { .. }) && top_m > ABOVE_M {
            return Err(MooringError::FloatAtSurface { above_m: top_m });
        }
        let held_m = match self.top {
            Top::Fixed { at_m } => at_m[2].max(depth_m),
            Top::Float { .. } | Top::Surface { .. } => depth_m,
        };
        let points = shape.points.iter();
        let highest = points.max_by(|a, b| a.at_m[2].total_cmp(&b.at_m[2]));
        match highest.filter(|point| point.at_m[2] > held_m + ABOVE_M) {
            Some(point) => Err(MooringError::AboveSurface {
                s_m: point.s_m,
                above_m: point.at_m[2] - depth_m,
            }),
            None => Ok(shape),
        }
    }

    /// Length under a load that stretches every part as far as `tension_n` does, m.
    pub(crate) fn stretched_m(&self, tension_n: f64) -> f64 {
        let of = |rope: &Rope| rope.length_m * (1.0 + rope.strain(tension_n));
        self.ropes.iter().map(of).sum()
    }

    /// Whether every part and every body from an anchor on the seabed up to `s_m` sinks, so that a line that is level there lies on the seabed below.
    pub(crate) fn sinks_below(&self, s_m: f64) -> bool {
        // A line that is held above the seabed may hang lower than its end.
        if self.foot_m > 0.0 {
            return false;
        }
        let mut from_m = 0.0;
        for rope in &self.ropes {
            if from_m < s_m && rope.weight_n_m <= 0.0 {
                return false;
            }
            from_m += rope.length_m;
        }
        !self
            .bodies
            .iter()
            .any(|body| body.at_m < s_m && body.weight_n < 0.0)
    }

    pub(crate) fn check(&self) -> Result<(), MooringError> {
        positive("the depth of the water, m", self.water.depth_m)?;
        positive("the density of the water, kg/m3", self.water.density_kg_m3)?;
        not_negative(
            "the height of the lower end above the seabed, m",
            self.foot_m,
        )?;
        if self.ropes.is_empty() {
            return Err(MooringError::NoRope);
        }
        for rope in &self.ropes {
            rope.check()?;
        }
        let length_m = self.length_m();
        for body in &self.bodies {
            body.check(length_m)?;
        }
        match self.top {
            Top::Float {
                buoyancy_n,
                drag_area_m2,
            } => {
                positive("the buoyancy of the float, N", buoyancy_n)?;
                not_negative("the drag area of the float, m2", drag_area_m2)
            }
            Top::Surface { force_n } => {
                finite("the force on the buoy, N", force_n[0])?;
                finite("the force on the buoy, N", force_n[1])
            }
            Top::Fixed { at_m } => {
                for value in at_m {
                    finite("the place of the upper end, m", value)?;
                }
                not_negative("the height of the upper end, m", at_m[2])
            }
        }
    }
}

impl Rope {
    pub(crate) fn check(&self) -> Result<(), MooringError> {
        positive("the length of a rope, m", self.length_m)?;
        not_negative("the diameter of a rope, m", self.diameter_m)?;
        finite("the weight of a rope in water, N/m", self.weight_n_m)?;
        if let Some(stiffness_n) = self.stiffness_n {
            positive("the stiffness of a rope, N", stiffness_n)?;
        }
        not_negative("the drag coefficient across a rope", self.normal_drag)?;
        not_negative("the drag coefficient along a rope", self.tangential_drag)
    }

    pub(crate) fn strain(&self, tension_n: f64) -> f64 {
        self.stiffness_n
            .map_or(0.0, |stiffness_n| tension_n / stiffness_n)
    }
}

impl Body {
    pub(crate) fn check(&self, length_m: f64) -> Result<(), MooringError> {
        finite("the weight of a body in water, N", self.weight_n)?;
        not_negative("the drag area of a body, m2", self.drag_area_m2)?;
        if self.at_m >= 0.0 && self.at_m <= length_m {
            return Ok(());
        }
        Err(MooringError::BodyOffLine {
            at_m: self.at_m,
            length_m,
        })
    }
}
