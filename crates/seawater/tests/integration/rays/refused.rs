//! What lies outside the range of the rays.

use seawater::{Bed, Layers, RaySea, SeaError, Variable};

use super::{ALL, SAND, SHALLOW, sea};

#[test]
fn verif_outside_the_range_is_an_error() {
    let sea = sea(&SHALLOW, SAND);
    assert!(matches!(
        sea.between(95.0, 20.0),
        Err(SeaError::OutOfRange {
            variable: Variable::SourceDepth,
            high: 90.0,
            ..
        })
    ));
    assert!(sea.between(20.0, 0.0).is_err());
    assert!(sea.between(20.0, f64::NAN).is_err());
    assert!(
        sea.between(20.0, 20.5)
            .unwrap()
            .eigenrays(0.5, &ALL)
            .is_err(),
        "nearer than a metre"
    );
    assert!(
        sea.between(20.0, 40.0)
            .unwrap()
            .eigenrays(f64::INFINITY, &ALL)
            .is_err()
    );
    assert!(sea.trace(20.0, 89.5, 100.0, 1).is_err());
    assert!(Layers::new(&[(1.0, 1500.0), (20.0, 1500.0)]).is_err());
    assert!(Layers::new(&[(0.0, 1500.0)]).is_err());
    assert!(Layers::new(&[(0.0, 1500.0), (f64::NAN, 1500.0)]).is_err());
    assert!(Layers::new(&[(0.0, 1500.0), (30.0, 150.0)]).is_err());
    let layers = Layers::new(&SHALLOW).unwrap();
    let wrong = Bed::Loss {
        per_bounce_db: -1.0,
    };
    assert!(RaySea::of_layers(layers, 0.0, 1026.0, wrong, 100.0).is_err());
}
