//! Rays: held to the integrated ray equations, to images and to conservation.

mod bed;
mod field;
mod paths;
mod refused;
mod traces;

use seawater::{Bed, Layers, RayLimits, RaySea};

const ALL: RayLimits = RayLimits {
    most_bed_bounces: 3,
    most_surface_bounces: 10,
    faintest_db: 400.0,
    most_paths: 1000,
};

/// The site of reference/seawater/scipy-ray-paths.csv.
const SHALLOW: [(f64, f64); 5] = [
    (0.0, 1508.0),
    (15.0, 1508.2),
    (30.0, 1492.0),
    (60.0, 1490.5),
    (90.0, 1491.2),
];

const SAND: Bed = Bed::Fluid {
    sound_speed_m_s: 1650.0,
    density_kg_m3: 1900.0,
    attenuation_db_per_wavelength: 0.8,
};

fn sea(points: &[(f64, f64)], bed: Bed) -> RaySea {
    let layers = Layers::new(points).expect("layers that can be");
    RaySea::of_layers(layers, 0.0, 1026.0, bed, 1000.0).expect("a sea that can be")
}

fn silent_bed() -> Bed {
    Bed::Loss { per_bounce_db: 0.0 }
}
