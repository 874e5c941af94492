//! The shape that was found.

/// A point of the line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// Unstretched length from the anchor, m.
    pub s_m: f64,
    /// Where, m: east and north of the anchor, up from the seabed.
    pub at_m: [f64; 3],
    /// Pull of what lies above on what lies below, N.
    pub force_n: [f64; 3],
}

/// A body on the line. Of several at one place each has the pulls of the line above and below all of them: they hold each other, and the line leans outside.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AtBody {
    /// Unstretched length from the anchor, m.
    pub s_m: f64,
    /// Where, m: east and north of the anchor, up from the seabed.
    pub at_m: [f64; 3],
    /// Pull of the line above it, N.
    pub above_n: [f64; 3],
    /// Pull of the body on the line below it, N.
    pub below_n: [f64; 3],
}

/// Where the line leaves the seabed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Touch {
    /// Unstretched length that lies on the seabed, m.
    pub s_m: f64,
    /// Where it leaves it, m.
    pub at_m: [f64; 3],
}

/// What the search cost, and by which method it came to its end.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Effort {
    /// By shooting from the top.
    Shooting {
        /// Times the line was followed down.
        descents: u32,
        /// Evaluations of its equations, over all descents.
        evaluations: u32,
    },
    /// By bars between nodes.
    Bars {
        /// Number of bars.
        bars: u32,
        /// Newton steps.
        steps: u32,
    },
}

/// The shape of a line.
#[derive(Clone, Debug, PartialEq)]
pub struct Shape {
    /// Points from the anchor to the top; the first is the anchor, the last the top. At a body two points lie at one place, the force below
    /// first.
    pub points: Vec<Point>,
    /// The bodies, in the order of the input.
    pub bodies: Vec<AtBody>,
    /// Pull on the anchor, N: its vertical part lifts the anchor.
    pub anchor_n: [f64; 3],
    /// Pull of what holds the top, N.
    pub top_n: [f64; 3],
    /// Where the top is, m.
    pub top_m: [f64; 3],
    /// Where the line leaves the seabed, if it lies on it.
    pub touch: Option<Touch>,
    /// Distance from where the line, followed down, should end, m.
    pub residual_m: f64,
    /// How it was found.
    pub effort: Effort,
}

impl Shape {
    /// Horizontal distance of the top from the anchor, m.
    #[must_use]
    pub fn excursion_m(&self) -> f64 {
        let [x, y, _] = self.top_m;
        (x * x + y * y).sqrt()
    }
}

impl AtBody {
    /// Angle of the line above the body from the vertical, degrees.
    #[must_use]
    pub fn tilt_above_deg(&self) -> f64 {
        tilt_deg(self.above_n)
    }

    /// Angle of the line below the body from the vertical, degrees.
    #[must_use]
    pub fn tilt_below_deg(&self) -> f64 {
        tilt_deg(self.below_n)
    }
}

/// Gives bodies at one place the pulls of the line outside all of them: above the first, below the last of each place. They come from the top down.
pub(crate) fn held_together(bodies: &mut [(usize, AtBody)]) {
    for here in bodies.chunk_by_mut(|a, b| a.1.s_m == b.1.s_m) {
        let (above_n, below_n) = (here[0].1.above_n, here[here.len() - 1].1.below_n);
        for (_, body) in here {
            body.above_n = above_n;
            body.below_n = below_n;
        }
    }
}

impl Point {
    /// Tension, N.
    #[must_use]
    pub fn tension_n(&self) -> f64 {
        crate::vector::length(self.force_n)
    }

    /// Angle of the line from the vertical, degrees: 90 where it is level.
    #[must_use]
    pub fn tilt_deg(&self) -> f64 {
        tilt_deg(self.force_n)
    }
}

fn tilt_deg(force_n: [f64; 3]) -> f64 {
    let [x, y, z] = force_n;
    libm::atan2((x * x + y * y).sqrt(), z) * (180.0 / core::f64::consts::PI)
}
