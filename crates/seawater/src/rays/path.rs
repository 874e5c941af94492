//! What a path is, which paths are kept, and the loss of all together.

/// Which paths are wanted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RayLimits {
    /// Bounces from the bed at the most.
    pub most_bed_bounces: u32,
    /// Bounces from the surface at the most.
    pub most_surface_bounces: u32,
    /// A path this much fainter than the strongest is left out, dB.
    pub faintest_db: f64,
    /// So many paths at the most: the strongest.
    pub most_paths: usize,
}

/// What kind of path: it changes smoothly with range and depths until the path ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Family {
    /// Turnings or bounces at the upper end.
    pub upper: u32,
    /// Turnings or bounces at the lower end.
    pub lower: u32,
    /// Whether it leaves downward.
    pub leaves_down: bool,
    /// Bounces from the surface.
    pub surface_bounces: u32,
    /// Bounces from the bed.
    pub bed_bounces: u32,
    /// Caustics passed.
    pub caustics: u32,
    /// Among paths that are alike in all this, from the flattest on.
    pub branch: u32,
}

/// One path.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Eigenray {
    /// Its kind.
    pub family: Family,
    /// Travel time, s.
    pub time_s: f64,
    /// Angle at the source, degrees, down positive.
    pub launch_deg: f64,
    /// Angle at the receiver, degrees, down positive: sound that comes from below has a negative one.
    pub arrival_deg: f64,
    /// Snell's invariant: by how much the travel time grows with range, s/m.
    pub slowness_s_m: f64,
    /// Length, m.
    pub length_m: f64,
    /// Loss by spreading, dB re 1 m.
    pub spreading_db: f64,
    /// Loss by absorption, dB.
    pub absorption_db: f64,
    /// Loss at the bed, dB.
    pub bed_loss_db: f64,
    /// Turns of direction in the water.
    pub turnings: u32,
    /// Phase for a time that goes as `e^(-i w t)`, rad: surface, bed and caustics.
    pub phase_rad: f64,
    /// Whether ray theory gave more than [`CAUSTIC_GAIN_DB`](super::CAUSTIC_GAIN_DB) over spherical spreading: the level is held there and doubtful.
    pub near_caustic: bool,
}

impl Eigenray {
    /// Loss in all, dB re 1 m.
    #[must_use]
    pub fn loss_db(&self) -> f64 {
        self.spreading_db + self.absorption_db + self.bed_loss_db
    }
}

/// How sound comes to a receiver at its best; the better, the less.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Reach {
    /// By a path that touches neither surface nor bed.
    Direct,
    /// Only by way of the surface.
    Surface,
    /// Only by way of the bed: a shadow.
    Bed,
    /// By no path within the limits: a shadow.
    Nothing,
}

/// The paths, earliest first.
#[derive(Clone, Debug, PartialEq)]
pub struct Eigenrays {
    /// The paths that are kept.
    pub paths: Vec<Eigenray>,
    /// How sound comes at best, of every path found.
    pub reach: Reach,
    /// Where no path of that way is kept: by how much its strongest is fainter than the strongest of all, dB.
    pub reach_below_db: Option<f64>,
    /// Paths left out because they are too faint or too many.
    pub left_out: usize,
}

pub(super) fn chosen(mut paths: Vec<Eigenray>, limits: &RayLimits) -> Eigenrays {
    let all = paths.len();
    paths.sort_by(|a, b| {
        a.loss_db()
            .total_cmp(&b.loss_db())
            .then(a.time_s.total_cmp(&b.time_s))
            .then(a.family.cmp(&b.family))
    });
    let reach = paths.iter().map(way).min().unwrap_or(Reach::Nothing);
    let strongest_db = |paths: &[Eigenray], wanted: &dyn Fn(&Eigenray) -> bool| {
        paths.iter().find(|p| wanted(p)).map(Eigenray::loss_db)
    };
    let best_db = strongest_db(&paths, &|_| true);
    let reached_db = strongest_db(&paths, &|p| way(p) == reach);
    if let Some(best_db) = best_db {
        paths.retain(|p| p.loss_db() <= best_db + limits.faintest_db);
    }
    paths.truncate(limits.most_paths);
    let kept = paths.iter().any(|p| way(p) == reach);
    let reach_below_db = best_db
        .zip(reached_db)
        .filter(|_| !kept)
        .map(|(best_db, reached_db)| reached_db - best_db);
    paths.sort_by(|a, b| a.time_s.total_cmp(&b.time_s).then(a.family.cmp(&b.family)));
    Eigenrays {
        left_out: all - paths.len(),
        paths,
        reach,
        reach_below_db,
    }
}

fn way(path: &Eigenray) -> Reach {
    match (path.family.surface_bounces, path.family.bed_bounces) {
        (0, 0) => Reach::Direct,
        (_, 0) => Reach::Surface,
        _ => Reach::Bed,
    }
}

/// Loss of the paths together as a steady tone meets it, dB re 1 m: their pressures add with their phases. Infinite without paths.
#[must_use]
pub fn coherent_loss_db(paths: &[Eigenray], frequency_hz: f64) -> f64 {
    let (mut re, mut im) = (0.0, 0.0);
    // The common delay is taken off first, to keep the digits of the phase.
    let first_s = paths.first().map_or(0.0, |p| p.time_s);
    for p in paths {
        let size = libm::pow(10.0, -p.loss_db() / 20.0);
        let turn = 2.0 * std::f64::consts::PI * frequency_hz * (p.time_s - first_s) + p.phase_rad;
        re += size * libm::cos(turn);
        im += size * libm::sin(turn);
    }
    -10.0 * libm::log10(re * re + im * im)
}

/// Loss of the paths together on average over frequency, dB re 1 m: their powers add. Infinite without paths.
#[must_use]
pub fn incoherent_loss_db(paths: &[Eigenray]) -> f64 {
    let power: f64 = paths
        .iter()
        .map(|p| libm::pow(10.0, -p.loss_db() / 10.0))
        .sum();
    -10.0 * libm::log10(power)
}
