//! Ropes and bodies that animals and weed grow on.
//!
//! A layer of one thickness all round, as design codes have it: a diameter grows by twice the thickness, `D = d + 2 t`; the layer's volume weighs `g (rho_growth - rho_water)` in water; drag is taken on the
//! grown diameter, with coefficients as many times larger as the rough surface makes them (the form of DNV-RP-C205, section on marine growth; from memory). Thickness grows in proportion to the months
//! since the start, up to a most. How fast, how dense and how rough is of the site and the season: there are no defaults here. Codes take near 1300 kg/m3 (from memory).
//!
//! Validity: firm growth. Weed that streams adds drag along the line and hardly any weight; it is not this layer. What is removed by antifouling or by strum is the caller's.

use core::f64::consts::PI;

use crate::GRAVITY_M_S2;
use crate::error::{MooringError, finite, not_negative, positive};
use crate::line::{Body, Rope};

/// How growth comes on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GrowthRate {
    /// Thickness gained in a month, m; not negative.
    pub thickness_m_a_month: f64,
    /// Thickness at which it stays, m; infinite where it does not.
    pub most_m: f64,
    /// Density of what grows, kg/m3; above zero.
    pub density_kg_m3: f64,
    /// Drag coefficients of the rough surface beside those of the clean one; 1 where that is not known.
    pub rougher: f64,
}

/// A layer of growth in water of a density.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Growth {
    thickness_m: f64,
    weight_n_m3: f64,
    rougher: f64,
}

/// Outer form of a body, for what grows on it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Form {
    /// A cylinder across the flow, with both its ends in the water.
    Cylinder {
        /// Diameter, m; above zero.
        diameter_m: f64,
        /// Length, m; above zero.
        length_m: f64,
    },
    /// A sphere.
    Sphere {
        /// Diameter, m; above zero.
        diameter_m: f64,
    },
}

impl GrowthRate {
    /// The layer after so many months in water of a density, kg/m3.
    ///
    /// # Errors
    /// A figure out of its range.
    pub fn after(&self, months: f64, water_kg_m3: f64) -> Result<Growth, MooringError> {
        not_negative(
            "the thickness gained in a month, m",
            self.thickness_m_a_month,
        )?;
        not_negative("the months of growth", months)?;
        positive("the density of growth, kg/m3", self.density_kg_m3)?;
        positive("the density of the water, kg/m3", water_kg_m3)?;
        positive("the factor of drag of growth", self.rougher)?;
        if self.most_m.is_nan() || self.most_m < 0.0 {
            return Err(MooringError::Negative {
                what: "the most thickness of growth, m",
                value: self.most_m,
            });
        }
        let thickness_m = (self.thickness_m_a_month * months).min(self.most_m);
        finite("the thickness of growth, m", thickness_m)?;
        Ok(Growth {
            thickness_m,
            weight_n_m3: GRAVITY_M_S2 * (self.density_kg_m3 - water_kg_m3),
            // No growth, no roughness.
            rougher: if thickness_m > 0.0 { self.rougher } else { 1.0 },
        })
    }
}

impl Growth {
    /// Its thickness, m.
    #[must_use]
    pub fn thickness_m(&self) -> f64 {
        self.thickness_m
    }

    /// How many times larger it makes drag coefficients.
    #[must_use]
    pub fn rougher(&self) -> f64 {
        self.rougher
    }

    /// Its weight in water on a large surface, N/m2; negative floats.
    #[must_use]
    pub fn weight_n_m2(&self) -> f64 {
        self.weight_n_m3 * self.thickness_m
    }

    /// The rope with it.
    ///
    /// # Errors
    /// A rope that cannot be.
    pub fn on_rope(&self, rope: &Rope) -> Result<Rope, MooringError> {
        rope.check()?;
        let diameter_m = rope.diameter_m + 2.0 * self.thickness_m;
        let layer_m2 = PI * self.thickness_m * (rope.diameter_m + self.thickness_m);
        Ok(Rope {
            diameter_m,
            weight_n_m: rope.weight_n_m + self.weight_n_m3 * layer_m2,
            normal_drag: rope.normal_drag * self.rougher,
            tangential_drag: rope.tangential_drag * self.rougher,
            ..*rope
        })
    }

    /// The body of a form with it.
    ///
    /// # Errors
    /// A body or a form that cannot be.
    pub fn on_body(&self, body: &Body, form: Form) -> Result<Body, MooringError> {
        finite("the weight of a body in water, N", body.weight_n)?;
        not_negative("the drag area of a body, m2", body.drag_area_m2)?;
        let t = self.thickness_m;
        let (area_grows, layer_m3) = match form {
            Form::Cylinder {
                diameter_m: d,
                length_m: l,
            } => {
                positive("the diameter of a body, m", d)?;
                positive("the length of a body, m", l)?;
                let (grown, longer) = (d + 2.0 * t, l + 2.0 * t);
                (
                    grown * longer / (d * l),
                    PI / 4.0 * (grown * grown * longer - d * d * l),
                )
            }
            Form::Sphere { diameter_m: d } => {
                positive("the diameter of a body, m", d)?;
                let grown = d + 2.0 * t;
                (
                    grown * grown / (d * d),
                    PI / 6.0 * (grown * grown * grown - d * d * d),
                )
            }
        };
        Ok(Body {
            at_m: body.at_m,
            weight_n: body.weight_n + self.weight_n_m3 * layer_m3,
            drag_area_m2: body.drag_area_m2 * area_grows * self.rougher,
        })
    }
}
