//! A line as it is after months in which animals and weed grow on it.

use core::f64::consts::PI;

use mooring::{Growth, GrowthRate, MooringError};
use plan::Line;

use super::moored::form;
use super::{BuoyHull, Moored, MooredTop, Piece, Thing};

/// Mean month of the Gregorian calendar, s.
const MONTH_S: f64 = 365.2425 / 12.0 * 86_400.0;

/// What has grown on a line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fouling {
    /// Months in the water.
    pub months: f64,
    /// The layer.
    pub growth: Growth,
    /// Height above the bed from which it grows, m.
    pub from_height_m: f64,
}

/// What grows on a plan's lines until the latest recovery, duration and slip, in water of a density, kg/m3; `None` where the site says nothing of growth.
///
/// # Errors
/// A figure of the site that cannot be.
pub(crate) fn fouling(line: &Line, density_kg_m3: f64) -> Result<Option<Fouling>, MooringError> {
    let Some(said) = line.sea.growth else {
        return Ok(None);
    };
    let slip_s = line.deployment.recovery_slip_s.map_or(0.0, |q| q.si);
    let months = (line.deployment.duration_s.si + slip_s) / MONTH_S;
    let rate = GrowthRate {
        thickness_m_a_month: said.a_month_m.si,
        most_m: said.most_m.map_or(f64::INFINITY, |q| q.si),
        density_kg_m3: said.density_kg_m3.si,
        rougher: said.rougher.map_or(1.0, |q| q.si),
    };
    let growth = rate.after(months, density_kg_m3)?;
    let down_to_m = said.down_to_m.map_or(f64::INFINITY, |q| q.si);
    Ok(Some(Fouling {
        months,
        growth,
        from_height_m: (line.sea.water_depth_m.si - down_to_m).max(0.0),
    }))
}

/// Things on a line of which the plan does not say how large they are, where growth reaches them: each with the key that says it.
pub(crate) fn without_size(line: &Line, of: &Moored, fouling: &Fouling) -> Vec<String> {
    let hung = of.hung.iter();
    let reached = hung.filter(|h| h.form.is_none() && h.body.at_m >= fouling.from_height_m);
    let top = match of.top {
        MooredTop::Float { float, .. } if form(line, Thing::Float(float)).is_none() => {
            Some(Thing::Float(float))
        }
        MooredTop::Float { .. } | MooredTop::Buoy { .. } => None,
    };
    let key = |what: Thing| match what {
        Thing::Module(_) => "housing.outside",
        Thing::Float(_) => "diameter",
        Thing::Weight(_) => "outside",
    };
    let things = reached.map(|h| h.what).chain(top);
    things
        .map(|what| format!("{}.{}", what.path(line), key(what)))
        .collect()
}

impl Moored {
    /// The same line with a joint where growth begins.
    pub(crate) fn jointed(&self, by: &Fouling) -> Moored {
        let mut pieces = Vec::with_capacity(self.pieces.len() + 1);
        for (piece, clean_m) in self.clean_lengths(by) {
            let long_m = [clean_m, piece.rope.length_m - clean_m];
            pieces.extend(
                long_m
                    .into_iter()
                    .filter(|m| *m > 0.0)
                    .map(|length_m| Piece {
                        rope: mooring::Rope {
                            length_m,
                            ..piece.rope
                        },
                        ..*piece
                    }),
            );
        }
        Moored {
            pieces,
            ..self.clone()
        }
    }

    /// Each piece with the length of it, from its lower end, on which nothing grows, m.
    fn clean_lengths(&self, by: &Fouling) -> impl Iterator<Item = (&Piece, f64)> {
        let mut from_m = 0.0;
        self.pieces.iter().map(move |piece| {
            let length_m = piece.rope.length_m;
            let clean_m = (by.from_height_m - from_m).clamp(0.0, length_m);
            from_m += length_m;
            (piece, clean_m)
        })
    }

    /// The line with what has grown on it. Heights count along a line that stands straight up; rope that lies deeper than that says is fouled as well. What has no size stays clean:
    /// ask [`without_size`] first.
    ///
    /// # Errors
    /// A figure that cannot be.
    pub(crate) fn fouled(&self, by: &Fouling) -> Result<Moored, MooringError> {
        let mut pieces = Vec::with_capacity(self.pieces.len() + 1);
        for (piece, clean_m) in self.clean_lengths(by) {
            let length_m = piece.rope.length_m;
            let mut add = |length_m: f64, fouled: bool| -> Result<(), MooringError> {
                if length_m > 0.0 {
                    let bare = mooring::Rope {
                        length_m,
                        ..piece.rope
                    };
                    // A housing that is let in has no diameter here: what grows on it is with its body.
                    pieces.push(if fouled && bare.diameter_m > 0.0 {
                        let rope = by.growth.on_rope(&bare)?;
                        Piece {
                            rope,
                            strumming_drag: piece
                                .strumming_drag
                                .map(|drag| drag * by.growth.rougher()),
                            ..*piece
                        }
                    } else {
                        Piece {
                            rope: bare,
                            ..*piece
                        }
                    });
                }
                Ok(())
            };
            add(clean_m, false)?;
            add(length_m - clean_m, true)?;
        }
        let mut hung = self.hung.clone();
        for one in &mut hung {
            if let Some(form) = one.form
                && one.body.at_m >= by.from_height_m
            {
                one.body = by.growth.on_body(&one.body, form)?;
            }
        }
        Ok(Moored {
            anchor: self.anchor,
            top: self.top_fouled(by)?,
            pieces,
            hung,
        })
    }

    fn top_fouled(&self, by: &Fouling) -> Result<MooredTop, MooringError> {
        Ok(match self.top {
            MooredTop::Buoy { module, hull } => MooredTop::Buoy {
                module,
                hull: hull_fouled(&hull, &by.growth),
            },
            MooredTop::Float {
                float,
                buoyancy_n,
                drag_area_m2,
                form: Some(form),
            } => {
                let body = mooring::Body {
                    at_m: 0.0,
                    weight_n: -buoyancy_n,
                    drag_area_m2,
                };
                let body = by.growth.on_body(&body, form)?;
                MooredTop::Float {
                    float,
                    buoyancy_n: -body.weight_n,
                    drag_area_m2: body.drag_area_m2,
                    form: Some(form),
                }
            }
            clean @ MooredTop::Float { form: None, .. } => clean,
        })
    }
}

/// A hull with growth on its bottom and up to its full draught, round as seen from above.
fn hull_fouled(hull: &BuoyHull, growth: &Growth) -> BuoyHull {
    let diameter_m = (4.0 * hull.waterplane_m2 / PI).sqrt();
    let wet_m2 = hull.waterplane_m2 + PI * diameter_m * hull.full_draught_m;
    let wider = (diameter_m + 2.0 * growth.thickness_m()) / diameter_m;
    BuoyHull {
        weight_n: hull.weight_n + growth.weight_n_m2() * wet_m2,
        cd_a_water_m2: hull.cd_a_water_m2 * growth.rougher() * wider,
        ..*hull
    }
}
