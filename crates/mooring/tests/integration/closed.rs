//! Lines in a current that have a closed form.

use mooring::{Current, Effort, Hanging, Rope, Top, Water, hang};

const DENSITY_KG_M3: f64 = 1025.0;

/// A heavy line that streams freely is straight, at the angle to the horizontal at which `w cos p = 0.5 rho Cn d U^2 sin^2 p` (Pode 1951, the
/// equation from memory): 31.730 445 degrees for 2 N/m, 10 mm, 1 m/s and a drag coefficient of 1.2. With ends that lie along that angle, the
/// line between them is straight there too, whatever it is pulled with.
#[test]
fn verif_a_line_along_its_critical_angle_is_straight() {
    let (length_m, stiffness_n, pull_n, weight_n_m) = (100.0, 1e6, 400.0, 2.0);
    assert!((critical_rad(weight_n_m, 1.0).to_degrees() - 31.730_445).abs() < 1e-6);
    // A line that is stretched by a share has so much more length to drag at; here 4.5e-4, and 5e-5 more or less at its ends.
    let middle_n = pull_n + 0.5 * length_m * weight_n_m * critical_rad(weight_n_m, 1.0).sin();
    let longer = 1.0 + middle_n / stiffness_n;
    let angle = critical_rad(weight_n_m, longer);
    let chord_m = length_m * longer;
    let line = Hanging {
        water: water(300.0, 1.0),
        ropes: vec![rope(length_m, 0.01, weight_n_m, stiffness_n, 0.0)],
        bodies: vec![],
        foot_m: 100.0,
        top: Top::Fixed {
            // Held upstream of its foot.
            at_m: [-chord_m * angle.cos(), 0.0, 100.0 + chord_m * angle.sin()],
        },
    };
    let shape = hang(&line).expect("a shape");
    assert!(matches!(shape.effort, Effort::Shooting { .. }));
    for point in &shape.points {
        let [x, y, z] = point.force_n;
        let found = z.atan2((x * x + y * y).sqrt());
        assert!(
            (found - angle).abs() < 3e-5,
            "{} at {} m",
            found.to_degrees(),
            point.s_m
        );
    }
    let ends_n = (
        shape.points[0].tension_n(),
        shape.points.last().expect("points").tension_n(),
    );
    assert!((ends_n.0 - pull_n).abs() < 1.0, "{ends_n:?}");
    assert!(
        (ends_n.1 - ends_n.0 - length_m * weight_n_m * angle.sin()).abs() < 1e-3,
        "{ends_n:?}"
    );
}

/// While the line stands nearly upright, its tilt `q` above the foot is `(D + f q)/(B - w q)` with the drag `D` of the float, `f` of a metre of
/// rope, and `q` counted from the top: the float lies `-(f/w) L + ((D + f B/w)/w) ln(B/(B - w L))` off (6.085 233 m where the whole equations give
/// 6.073 535 m). What is left out goes with the square of the tilt, so at half the speed it is a sixteenth.
#[test]
fn verif_a_taut_line_leans_by_the_small_angles() {
    let off = |speed_m_s: f64| {
        let (length_m, weight_n_m, buoyancy_n) = (80.0, 0.5, 1500.0);
        let line = Hanging {
            water: water(100.0, speed_m_s),
            ropes: vec![rope(length_m, 0.012, weight_n_m, 1e9, 0.0)],
            bodies: vec![],
            foot_m: 0.0,
            top: Top::Float {
                buoyancy_n,
                drag_area_m2: 0.30,
            },
        };
        let pressure_pa = 0.5 * DENSITY_KG_M3 * speed_m_s * speed_m_s;
        let (float_n, rope_n_m) = (pressure_pa * 0.30, pressure_pa * 1.2 * 0.012);
        let small_m = -rope_n_m / weight_n_m * length_m
            + (float_n + rope_n_m * buoyancy_n / weight_n_m) / weight_n_m
                * (buoyancy_n / (buoyancy_n - weight_n_m * length_m)).ln();
        let shape = hang(&line).expect("a shape");
        (shape.excursion_m(), small_m)
    };
    let (whole_m, small_m) = off(0.5);
    assert!((small_m - 6.085_233).abs() < 1e-6, "{small_m}");
    let left_out = (small_m / whole_m - 1.0, {
        let (whole_m, small_m) = off(0.25);
        small_m / whole_m - 1.0
    });
    assert!(left_out.0 > 1e-3 && left_out.0 < 6e-3, "{left_out:?}");
    let ratio = left_out.0 / left_out.1;
    assert!((ratio - 16.0).abs() < 0.5, "{ratio} {left_out:?}");
}

/// The root of `w cos p = longer 0.5 rho Cn d U^2 sin^2 p` for 10 mm, 1 m/s and a drag coefficient of 1.2: of a quadratic in cos p.
fn critical_rad(weight_n_m: f64, longer: f64) -> f64 {
    let half = 0.5 * weight_n_m / (longer * 0.5 * DENSITY_KG_M3 * 1.2 * 0.01);
    ((half * half + 1.0).sqrt() - half).acos()
}

pub(crate) fn water(depth_m: f64, speed_m_s: f64) -> Water {
    Water {
        depth_m,
        density_kg_m3: DENSITY_KG_M3,
        current: Current::new(&[(0.0, speed_m_s, 0.0)]).expect("one depth"),
    }
}

pub(crate) fn rope(
    length_m: f64,
    diameter_m: f64,
    weight_n_m: f64,
    stiffness_n: f64,
    tangential_drag: f64,
) -> Rope {
    Rope {
        length_m,
        diameter_m,
        weight_n_m,
        stiffness_n: Some(stiffness_n),
        normal_drag: 1.2,
        tangential_drag,
    }
}
