//! Lines that cannot be.

use mooring::{Body, Current, Hanging, MooringError, Rope, Top, Water, hang, hang_by_bars};

fn line() -> Hanging {
    Hanging {
        water: Water {
            depth_m: 50.0,
            density_kg_m3: 1025.0,
            current: Current::none(),
        },
        ropes: vec![Rope {
            length_m: 40.0,
            diameter_m: 0.012,
            weight_n_m: 1.0,
            stiffness_n: None,
            normal_drag: 1.2,
            tangential_drag: 0.01,
        }],
        bodies: vec![],
        foot_m: 0.0,
        top: Top::Float {
            buoyancy_n: 300.0,
            drag_area_m2: 0.1,
        },
    }
}

#[test]
fn verif_figures_that_cannot_be_are_told() {
    let refused = |change: fn(&mut Hanging)| {
        let mut line = line();
        change(&mut line);
        let error = hang(&line).unwrap_err();
        let by_bars = hang_by_bars(&line, 10).unwrap_err();
        assert_eq!(error.to_string(), by_bars.to_string());
        error
    };
    let not_positive = refused(|line| line.water.depth_m = 0.0);
    assert!(matches!(not_positive, MooringError::NotPositive { .. }));
    let no_number = refused(|line| line.ropes[0].weight_n_m = f64::NAN);
    assert!(matches!(no_number, MooringError::NotFinite { .. }));
    let negative = refused(|line| line.ropes[0].normal_drag = -1.0);
    assert!(matches!(negative, MooringError::Negative { .. }));
    let none = refused(|line| line.ropes.clear());
    assert_eq!(none, MooringError::NoRope);
    let off = refused(|line| {
        line.bodies.push(Body {
            at_m: 41.0,
            weight_n: 1.0,
            drag_area_m2: 0.0,
        });
    });
    assert!(matches!(off, MooringError::BodyOffLine { .. }));
}

#[test]
fn verif_a_float_does_not_rise_above_the_surface() {
    let mut line = line();
    line.ropes[0].length_m = 60.0;
    let error = hang(&line).unwrap_err();
    assert!(
        matches!(error, MooringError::FloatAtSurface { above_m } if (above_m - 10.0).abs() < 1e-6),
        "{error}"
    );
}

/// By lengths: what floats on more rope than the water is deep stands above it by the rest, whichever method finds it, and hangs from there down to its buoy.
#[test]
fn verif_nothing_of_a_line_stands_above_the_surface() {
    let body = |at_m, weight_n| Body {
        at_m,
        weight_n,
        drag_area_m2: 0.0,
    };
    let lies = |top: Top, bodies: Vec<Body>, weight_n_m: f64| {
        let mut line = line();
        line.ropes[0].length_m = 70.0;
        line.ropes[0].weight_n_m = weight_n_m;
        line.bodies = bodies;
        line.top = top;
        let (found, by_bars) = (hang(&line), hang_by_bars(&line, 200));
        assert_eq!(found.is_ok(), by_bars.is_ok());
        found
    };
    let float = Top::Float {
        buoyancy_n: 300.0,
        drag_area_m2: 0.1,
    };
    let buoy = Top::Surface {
        force_n: [0.0, 0.0],
    };
    // 10 m from the anchor a weight lies on the bed, and 60 m are above it.
    let error = lies(float, vec![body(10.0, 2000.0)], 1.0).unwrap_err();
    assert!(
        matches!(error, MooringError::FloatAtSurface { above_m } if (above_m - 10.0).abs() < 0.02),
        "{error}"
    );
    let error = lies(buoy, vec![body(55.0, -200.0)], 1.0).unwrap_err();
    assert!(
        matches!(error, MooringError::AboveSurface { s_m, above_m } if s_m == 55.0 && (above_m - 5.0).abs() < 0.02),
        "{error}"
    );
    // All of it floats: up 60 m and down 10 m.
    let error = lies(buoy, vec![], -1.0).unwrap_err();
    assert!(
        matches!(error, MooringError::AboveSurface { s_m, above_m } if (s_m - 60.0).abs() < 0.4 && (above_m - 10.0).abs() < 0.4),
        "{error}"
    );
    let below = lies(buoy, vec![body(45.0, -200.0)], 1.0).unwrap();
    assert!((below.bodies[0].at_m[2] - 45.0).abs() < 0.02, "{below:?}");
}

#[test]
fn verif_a_line_that_is_too_short_is_told() {
    let mut line = line();
    line.top = Top::Surface {
        force_n: [10.0, 0.0],
    };
    assert!(matches!(hang(&line), Err(MooringError::TooShort { .. })));
    line.top = Top::Fixed {
        at_m: [30.0, 0.0, 40.0],
    };
    assert!(matches!(hang(&line), Err(MooringError::OutOfReach { .. })));
}

#[test]
fn verif_currents_are_in_order() {
    let order = Current::new(&[(10.0, 1.0, 0.0), (10.0, 0.5, 0.0)]);
    assert!(matches!(
        order,
        Err(MooringError::CurrentOrder { index: 1, .. })
    ));
    let number = Current::new(&[(0.0, f64::INFINITY, 0.0)]);
    assert!(matches!(
        number,
        Err(MooringError::CurrentPoint { index: 0 })
    ));
}
