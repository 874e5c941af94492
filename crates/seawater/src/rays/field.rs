//! Transmission loss over range and depth from a fan of rays.
//!
//! The power between two neighbouring rays, `cos t0 dt` for each radian of azimuth, less what was lost on the way, crosses a vertical
//! line between their two depths. Spread over that gap, it gives each cell `|p|^2 = P c_r / (c_s r dz cos t)`. Powers add, so the
//! interference of the paths is averaged out; a shadow is a cell that no tube crosses. Energy is conserved by construction and
//! stays finite at a caustic.

use super::{RANGE, RaySea};
use crate::limits::{Limit, Method, SeaError, Variable};

/// To here the rays of a fan are evenly apart; steeper ones are added where the cells above and below the source need them.
const EVEN_TO_DEG: f64 = 88.0;
/// How far up and down the steepest rays reach within the first column, in depths of water: to surface and bed and once back.
const STEEP_DEPTHS: f64 = 2.0;
/// From one steeper ray to the next its tangent grows by so much, as it does from the last even ray but one to the last of 3000.
const STEEPER: f64 = 1.03;
/// Most of them on each side, for columns next to nothing wide.
const MOST_STEEP: usize = 1000;
const MOST_CELLS: usize = 2000;

/// Loss over range and depth.
#[derive(Clone, Debug, PartialEq)]
pub struct LossField {
    /// Middle of each column, m.
    pub range_m: Vec<f64>,
    /// Middle of each row, m, from the surface down.
    pub depth_m: Vec<f64>,
    /// dB re 1 m, row by row; infinite where no ray comes.
    pub loss_db: Vec<f64>,
}

/// Where a ray crosses a column.
#[derive(Clone, Copy)]
struct Crossing {
    depth_m: f64,
    cosine: f64,
    loss_db: f64,
    surface_bounces: u32,
    bed_bounces: u32,
}

impl RaySea {
    /// Loss by `rays` rays (2 to 20 000) from `source_depth_m` over `columns` by `rows` cells (1 to 2000 each) out to `range_m`, and
    /// by such steeper ones as the first column needs.
    ///
    /// # Errors
    /// [`SeaError::OutOfRange`].
    pub fn loss_field(
        &self,
        source_depth_m: f64,
        range_m: f64,
        cells: (usize, usize),
        rays: u32,
        most_bed_bounces: u32,
    ) -> Result<LossField, SeaError> {
        const FAN: Limit = Limit::new(Variable::Rays, 2.0, 20_000.0);
        const CELLS: Limit = Limit::new(Variable::Cells, 1.0, MOST_CELLS as f64);
        RANGE.require(range_m, Method::Rays)?;
        FAN.require(f64::from(rays), Method::Rays)?;
        let (columns, rows) = cells;
        CELLS.require(columns as f64, Method::Rays)?;
        CELLS.require(rows as f64, Method::Rays)?;
        let wide_m = range_m / columns as f64;
        let high_m = self.layers.seabed_m() / rows as f64;
        let ranges: Vec<f64> = (0..columns).map(|i| (i as f64 + 0.5) * wide_m).collect();
        let mut power = vec![0.0; columns * rows];
        let steepest = STEEP_DEPTHS * self.layers.seabed_m() / ranges[0];
        let fan_deg = fan_deg(rays, steepest);
        let mut before: Option<(f64, Vec<Option<Crossing>>)> = None;
        let source_m_s = self.layers.speed_m_s(source_depth_m);
        for angle_deg in fan_deg {
            let crossings = self.crossings(source_depth_m, angle_deg, &ranges, most_bed_bounces)?;
            if let Some((angle_before_deg, others)) = &before {
                let middle = 0.5 * (angle_deg + angle_before_deg) / 180.0 * std::f64::consts::PI;
                let wide_rad = (angle_deg - angle_before_deg) / 180.0 * std::f64::consts::PI;
                let leaves = libm::cos(middle) * wide_rad;
                for (column, pair) in others.iter().zip(&crossings).enumerate() {
                    let (Some(a), Some(b)) = pair else {
                        continue;
                    };
                    let depth_m = 0.5 * (a.depth_m + b.depth_m);
                    let speed_share = self.layers.speed_m_s(depth_m) / source_m_s;
                    let kept = libm::pow(10.0, -0.05 * (a.loss_db + b.loss_db));
                    let through = leaves * kept * speed_share
                        / (ranges[column] * high_m * 0.5 * (a.cosine + b.cosine));
                    let mut row = |row: usize, share: f64| {
                        power[row * columns + column] += through * share;
                    };
                    // A tube that is just being folded at surface or bed covers the way to it twice.
                    let fold_m = match (
                        a.surface_bounces == b.surface_bounces,
                        a.bed_bounces == b.bed_bounces,
                    ) {
                        (false, true) => Some(0.0),
                        (true, false) => Some(self.layers.seabed_m()),
                        _ => None,
                    };
                    let Some(fold_m) = fold_m else {
                        spread(a.depth_m, b.depth_m, high_m, rows, &mut row);
                        continue;
                    };
                    let ways_m = [a.depth_m, b.depth_m].map(|z| (z - fold_m).abs());
                    let whole_m = ways_m[0] + ways_m[1];
                    for (end, way_m) in [(a.depth_m, ways_m[0]), (b.depth_m, ways_m[1])] {
                        let share = if whole_m > 0.0 { way_m / whole_m } else { 0.5 };
                        spread(end, fold_m, high_m, rows, &mut |at, part| {
                            row(at, part * share);
                        });
                    }
                }
            }
            before = Some((angle_deg, crossings));
        }
        Ok(LossField {
            range_m: ranges,
            depth_m: (0..rows).map(|i| (i as f64 + 0.5) * high_m).collect(),
            loss_db: power.iter().map(|p| -10.0 * libm::log10(*p)).collect(),
        })
    }

    fn crossings(
        &self,
        depth_m: f64,
        angle_deg: f64,
        ranges: &[f64],
        most_bed_bounces: u32,
    ) -> Result<Vec<Option<Crossing>>, SeaError> {
        let mut all = vec![None; ranges.len()];
        let mut next = 0;
        let last_m = ranges.last().copied().unwrap_or(0.0);
        self.follow(
            depth_m,
            angle_deg,
            last_m,
            most_bed_bounces,
            &mut |from_m, ahead, walk, whole_m| {
                while next < ranges.len() && ranges[next] <= from_m + whole_m {
                    let x_m = ranges[next] - from_m;
                    let a = walk.ray.parameter_s_m();
                    let depth_m = super::trace::depth_within(walk, ahead, x_m);
                    all[next] = Some(Crossing {
                        depth_m,
                        cosine: a * self.layers.speed_m_s(depth_m),
                        loss_db: walk.absorption_db + walk.bed_loss_db,
                        surface_bounces: walk.surface_bounces,
                        bed_bounces: walk.bed_bounces,
                    });
                    next += 1;
                }
            },
        )?;
        Ok(all)
    }
}

/// Angles of the rays, upmost first: `rays` evenly apart, and beyond them, to a tangent of `steepest`, such whose tangents grow evenly.
fn fan_deg(rays: u32, steepest: f64) -> Vec<f64> {
    let even = (0..rays)
        .map(|i| EVEN_TO_DEG * (2.0 * f64::from(i) / f64::from(rays - 1) - 1.0))
        .collect::<Vec<f64>>();
    let edge = libm::tan(EVEN_TO_DEG / 180.0 * std::f64::consts::PI);
    let tangents = std::iter::successors(Some(edge), |tangent| Some(STEEPER * tangent));
    let steep: Vec<f64> = tangents
        .skip(1)
        .take_while(|tangent| *tangent < STEEPER * steepest)
        .take(MOST_STEEP)
        .map(|tangent| libm::atan(tangent) / std::f64::consts::PI * 180.0)
        .collect();
    let up = steep.iter().rev().map(|angle_deg| -angle_deg);
    up.chain(even).chain(steep.iter().copied()).collect()
}

/// Shares of a gap among the rows of a column.
fn spread(one_m: f64, other_m: f64, high_m: f64, rows: usize, each: &mut dyn FnMut(usize, f64)) {
    let (top_m, bottom_m) = (one_m.min(other_m), one_m.max(other_m));
    let row_of = |depth_m: f64| ((depth_m / high_m).floor().max(0.0) as usize).min(rows - 1);
    let (first, last) = (row_of(top_m), row_of(bottom_m));
    if first == last {
        each(first, 1.0);
        return;
    }
    for row in first..=last {
        let from_m = (row as f64 * high_m).max(top_m);
        let until_m = ((row + 1) as f64 * high_m).min(bottom_m);
        each(row, (until_m - from_m).max(0.0) / (bottom_m - top_m));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bed::Bed;
    use crate::rays::Layers;

    /// Water of one speed and no bounce from the bed: two straight ways to each place, one by the image in the surface, whose powers add.
    /// Above and below the source they are steeper than the even fan. (The last tube before the bed ends there, and its cell is not filled.)
    #[test]
    fn verif_cells_above_and_below_the_source_have_their_spherical_loss() {
        let (seabed_m, source_m) = (110.0, 75.0);
        let layers = Layers::new(&[(0.0, 1500.0), (seabed_m, 1500.0)]).unwrap();
        let bed = Bed::Loss {
            per_bounce_db: 10.0,
        };
        let sea = RaySea::of_layers(layers, 0.0, 1026.0, bed, 300.0).unwrap();
        for range_m in [20.0, 1080.0] {
            let field = sea
                .loss_field(source_m, range_m, (240, 120), 3000, 0)
                .unwrap();
            for column in 0..4 {
                for row in [0, 4, 10, 40, 70, 100, 115] {
                    let (x_m, z_m) = (field.range_m[column], field.depth_m[row]);
                    let ways_m = [z_m - source_m, z_m + source_m].map(|z| libm::hypot(x_m, z));
                    let power: f64 = ways_m.iter().map(|w| 1.0 / (w * w)).sum();
                    let loss_db = field.loss_db[row * 240 + column];
                    let difference_db = loss_db + 10.0 * libm::log10(power);
                    assert!(
                        difference_db.abs() < 0.5,
                        "{x_m} m, {z_m} m: {loss_db} dB, off by {difference_db} dB"
                    );
                }
            }
        }
    }
}
