//! What comes up when a line parts, how fast, and what stays down.
//!
//! The upper piece is all above the parting, with what holds the top. Its net force is the sum of buoyancies less weights in water, once as it is and once with the one thing flooded
//! that costs most. It goes up, or down, at the speed at which drag balances that: `N = 0.5 rho v^2 (sum Cd A + sum pi d Ct L)`, ropes trailing along their length (terminal
//! velocity, textbook). Along a rope the net force is linear, so the least stands at a joint or at a body: partings are tried there, just above and just below what hangs.
//!
//! Slack: rope that floats and lies further from the lower end than the surface is above it can come up to the surface, where it is run over. That is the most that can; weights amid it may hold
//! some of it down.
//!
//! Validity: water at rest, no entrapment, nothing crushed, bodies upright; a surface buoy counts with the buoyancy of its whole hull. Hand in fouled ropes and bodies ([`Growth`](crate::Growth))
//! for the end of a deployment. Flooding costs what the caller says of each body.

use core::f64::consts::PI;

use crate::error::{MooringError, finite, not_negative, positive};
use crate::line::{Body, Rope};

/// A body, and what its flooding costs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Floodable {
    /// The body.
    pub body: Body,
    /// Weight in water that it gains when it floods, N; not negative, zero for what cannot flood.
    pub floods_n: f64,
}

/// What holds the top of a line, as it goes up with it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TopFloat {
    /// Buoyancy of the whole less weight, N; of a line without one, zero.
    pub buoyancy_n: f64,
    /// Drag coefficient times area for motion up and down, m2; not negative.
    pub drag_area_m2: f64,
    /// Buoyancy that it loses when it floods, N; not negative, zero for what cannot flood.
    pub floods_n: f64,
}

/// On which side of what hangs at a place a line parts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// Bodies there go up.
    JustBelow,
    /// Bodies there stay down.
    JustAbove,
}

/// What floods.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Floods {
    /// A body, by its index.
    Body(usize),
    /// What holds the top.
    Top,
}

/// What moves up or down.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Freed {
    /// Net force upwards, N; below zero it sinks.
    pub net_n: f64,
    /// Speed upwards, m/s; below zero it sinks.
    pub rises_m_s: f64,
}

/// A parting.
#[derive(Clone, Debug, PartialEq)]
pub struct Parting {
    /// Where, m of unstretched rope from the lower end.
    pub at_m: f64,
    /// On which side of what hangs there.
    pub side: Side,
    /// The upper piece as it is.
    pub whole: Freed,
    /// The same with the one thing flooded that costs most, and which; `None` where nothing of it can flood.
    pub flooded: Option<(Floods, Freed)>,
    /// Bodies that stay down, by index.
    pub left: Vec<usize>,
    /// Weight in water of all that stays with the anchor, N; below zero it stands up.
    pub left_n: f64,
}

/// Partings at the lower end, at each joint of two ropes, at each body and below what holds the top, from the lower end upwards. `density_kg_m3` is that of the water.
///
/// # Errors
/// A figure out of its range, a body off the line, [`MooringError::NotPositive`] for a piece without drag.
pub fn partings(
    ropes: &[Rope],
    bodies: &[Floodable],
    top: &TopFloat,
    density_kg_m3: f64,
) -> Result<Vec<Parting>, MooringError> {
    check(ropes, bodies, top, density_kg_m3)?;
    let ends = rope_ends_m(ropes);
    let mut places = vec![0.0];
    places.extend(&ends);
    places.extend(bodies.iter().map(|b| b.body.at_m));
    places.sort_by(f64::total_cmp);
    places.dedup();
    let mut all = Vec::new();
    for at_m in places {
        let hangs = bodies.iter().any(|b| b.body.at_m == at_m);
        let sides: &[Side] = if hangs {
            &[Side::JustBelow, Side::JustAbove]
        } else {
            &[Side::JustAbove]
        };
        for &side in sides {
            all.push(parting(
                ropes,
                &ends,
                bodies,
                top,
                density_kg_m3,
                at_m,
                side,
            )?);
        }
    }
    Ok(all)
}

fn parting(
    ropes: &[Rope],
    ends_m: &[f64],
    bodies: &[Floodable],
    top: &TopFloat,
    density_kg_m3: f64,
    at_m: f64,
    side: Side,
) -> Result<Parting, MooringError> {
    let goes_up = |b: &Floodable| match side {
        Side::JustBelow => b.body.at_m >= at_m,
        Side::JustAbove => b.body.at_m > at_m,
    };
    let (mut net_n, mut drag_area_m2) = (top.buoyancy_n, top.drag_area_m2);
    let mut left_n = 0.0;
    for (rope, &end_m) in ropes.iter().zip(ends_m) {
        let up_m = (end_m - at_m).clamp(0.0, rope.length_m);
        net_n -= rope.weight_n_m * up_m;
        left_n += rope.weight_n_m * (rope.length_m - up_m);
        drag_area_m2 += PI * rope.diameter_m * rope.tangential_drag * up_m;
    }
    let mut worst = (top.floods_n > 0.0).then_some((Floods::Top, top.floods_n));
    let mut left = Vec::new();
    for (index, b) in bodies.iter().enumerate() {
        if !goes_up(b) {
            left.push(index);
            left_n += b.body.weight_n;
            continue;
        }
        net_n -= b.body.weight_n;
        drag_area_m2 += b.body.drag_area_m2;
        if b.floods_n > worst.map_or(0.0, |(_, n)| n) {
            worst = Some((Floods::Body(index), b.floods_n));
        }
    }
    let freed = |net_n: f64| -> Result<Freed, MooringError> {
        if net_n != 0.0 {
            positive("the drag area of what a parting frees, m2", drag_area_m2)?;
        }
        let speed_m_s = if net_n == 0.0 {
            0.0
        } else {
            (2.0 * net_n.abs() / (density_kg_m3 * drag_area_m2)).sqrt()
        };
        Ok(Freed {
            net_n,
            rises_m_s: speed_m_s.copysign(net_n),
        })
    };
    let flooded = match worst {
        Some((what, costs_n)) => Some((what, freed(net_n - costs_n)?)),
        None => None,
    };
    Ok(Parting {
        at_m,
        side,
        whole: freed(net_n)?,
        flooded,
        left,
        left_n,
    })
}

/// Most rope that can lie at the surface, m, of what is left of a line up to `up_to_m` from its lower end (infinite for all of it), where the surface is `above_m` above that end.
///
/// # Errors
/// A figure out of its range.
pub fn slack_at_surface_m(ropes: &[Rope], above_m: f64, up_to_m: f64) -> Result<f64, MooringError> {
    positive("the height of the surface above the lower end, m", above_m)?;
    if up_to_m.is_nan() || up_to_m < 0.0 {
        return Err(MooringError::Negative {
            what: "the length that is left of a line, m",
            value: up_to_m,
        });
    }
    check_ropes(ropes)?;
    let mut from_m = 0.0;
    let mut slack_m = 0.0;
    for rope in ropes {
        let end_m = from_m + rope.length_m;
        if rope.weight_n_m < 0.0 {
            slack_m += (end_m.min(up_to_m) - from_m.max(above_m)).max(0.0);
        }
        from_m = end_m;
    }
    Ok(slack_m)
}

fn rope_ends_m(ropes: &[Rope]) -> Vec<f64> {
    let mut end_m = 0.0;
    let end = |rope: &Rope| {
        end_m += rope.length_m;
        end_m
    };
    ropes.iter().map(end).collect()
}

fn check_ropes(ropes: &[Rope]) -> Result<(), MooringError> {
    if ropes.is_empty() {
        return Err(MooringError::NoRope);
    }
    for rope in ropes {
        rope.check()?;
    }
    Ok(())
}

fn check(
    ropes: &[Rope],
    bodies: &[Floodable],
    top: &TopFloat,
    density_kg_m3: f64,
) -> Result<(), MooringError> {
    positive("the density of the water, kg/m3", density_kg_m3)?;
    check_ropes(ropes)?;
    let length_m = rope_ends_m(ropes).last().copied().unwrap_or(0.0);
    for b in bodies {
        b.body.check(length_m)?;
        not_negative("the weight that a body gains when it floods, N", b.floods_n)?;
    }
    finite("the buoyancy at the top, N", top.buoyancy_n)?;
    not_negative("the drag area of the float, m2", top.drag_area_m2)?;
    not_negative("the buoyancy that floods at the top, N", top.floods_n)
}
