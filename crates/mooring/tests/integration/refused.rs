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
