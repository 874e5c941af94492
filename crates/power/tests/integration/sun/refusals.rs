//! What is refused, and that it is named.

use power::sun::{
    Array, Clock, Components, Horizon, Iam, Instant, Mounting, PlaneYear, Quantity, Site, Sky,
    Soiling, SunCourse, SunError, SunYear, clearness_index, cos_incidence, daily_diffuse_share,
    daily_extraterrestrial_wh_m2, extraterrestrial_w_m2, haurwitz_w_m2, ineichen_perez,
    mean_beam_share, relative_air_mass, ring_range, sun_position, transpose,
};

use super::{at_sea, close};

fn refused<T: std::fmt::Debug>(result: Result<T, SunError>) -> Quantity {
    match result.unwrap_err() {
        SunError::OutOfRange { quantity, .. } => quantity,
        other => panic!("{other}"),
    }
}

#[test]
fn verif_values_outside_their_range() {
    let instant = Instant::from_utc(2027, 3, 15, 12.0, 69.0).unwrap();
    assert_eq!(
        refused(sun_position(instant, &at_sea(90.1))),
        Quantity::Latitude
    );
    assert_eq!(
        refused(sun_position(instant, &at_sea(f64::NAN))),
        Quantity::Latitude
    );
    assert_eq!(
        refused(Instant::from_utc(1500, 1, 1, 0.0, 69.0)),
        Quantity::Year
    );
    assert_eq!(
        refused(Instant::from_utc(2027, 1, 1, 24.5, 69.0)),
        Quantity::Hour
    );
    assert_eq!(
        refused(Instant::from_utc(2027, 1, 1, 0.0, 9e3)),
        Quantity::DeltaT
    );
    assert_eq!(
        refused(Instant::from_julian_day(f64::INFINITY, 69.0)),
        Quantity::JulianDay
    );
    assert_eq!(
        refused(extraterrestrial_w_m2(0, 1361.0)),
        Quantity::DayOfYear
    );
    assert_eq!(
        refused(extraterrestrial_w_m2(1, 1.361)),
        Quantity::SolarConstant
    );
    assert_eq!(
        refused(daily_extraterrestrial_wh_m2(50.0, 30.0, 1361.0)),
        Quantity::Declination
    );
    assert_eq!(refused(relative_air_mass(-1.0)), Quantity::Zenith);
    assert_eq!(refused(haurwitz_w_m2(f64::NAN)), Quantity::Zenith);
    assert_eq!(
        refused(ineichen_perez(30.0, Some(1.2), 0.5, 0.0, 1361.0)),
        Quantity::LinkeTurbidity
    );
    assert_eq!(
        refused(ineichen_perez(30.0, Some(99.0), 3.0, 0.0, 1361.0)),
        Quantity::AirMass
    );
    assert_eq!(
        refused(clearness_index(-1.0, 30.0, 1361.0)),
        Quantity::Irradiance
    );
    assert_eq!(
        refused(clearness_index(100.0, 30.0, 0.0)),
        Quantity::NormalIrradiance
    );
    assert_eq!(refused(daily_diffuse_share(1.1, 90.0)), Quantity::Clearness);
    assert_eq!(
        refused(daily_diffuse_share(0.5, 181.0)),
        Quantity::SunsetHourAngle
    );
    assert_eq!(refused(cos_incidence(95.0, 0.0, 0.0, 0.0)), Quantity::Tilt);
    assert_eq!(
        refused(cos_incidence(9.0, -1.0, 0.0, 0.0)),
        Quantity::Azimuth
    );
    assert_eq!(
        refused(mean_beam_share(9.0, 9.0, Iam::Ashrae { b: 0.6 })),
        Quantity::AshraeFactor
    );
    assert_eq!(ring_range(0, 60.0, 70.0), Err(SunError::NoPanel));
    let dark = Components::default();
    let tilted = transpose(&dark, 1361.0, 50.0, 60.0, 0.5, 1.06, Sky::Isotropic);
    assert_eq!(refused(tilted), Quantity::Albedo);
    let tilted = transpose(&dark, 1361.0, 50.0, 60.0, 1.5, 0.06, Sky::Isotropic);
    assert_eq!(refused(tilted), Quantity::Cosine);
}

#[test]
fn verif_days_the_calendar_does_not_have() {
    for (year, month, day) in [
        (2027, 2, 29),
        (2100, 2, 29),
        (2027, 0, 1),
        (2027, 13, 1),
        (2027, 4, 31),
        (2027, 4, 0),
    ] {
        let refused = Instant::from_utc(year, month, day, 0.0, 69.0);
        assert_eq!(refused, Err(SunError::NoSuchDay { year, month, day }));
    }
    assert!(Instant::from_utc(2000, 2, 29, 0.0, 69.0).is_ok());
}

#[test]
fn verif_horizons() {
    assert_eq!(Horizon::new(&[]), Err(SunError::EmptyHorizon));
    for points in [
        [(10.0, 1.0), (10.0, 2.0)],
        [(20.0, 1.0), (10.0, 2.0)],
        [(0.0, 1.0), (360.0, 2.0)],
    ] {
        let azimuth_deg = points[1].0;
        let refused = Horizon::new(&points);
        assert_eq!(
            refused,
            Err(SunError::HorizonOrder {
                index: 1,
                azimuth_deg
            })
        );
    }
    assert_eq!(
        refused(Horizon::new(&[(0.0, f64::NAN)])),
        Quantity::HorizonElevation
    );
    let two = Horizon::new(&[(90.0, 10.0), (270.0, 20.0)]).unwrap();
    for (azimuth_deg, elevation_deg) in [
        (90.0, 10.0),
        (180.0, 15.0),
        (0.0, 15.0),
        (315.0, 17.5),
        (360.0, 15.0),
    ] {
        close(
            two.elevation_deg(azimuth_deg).unwrap(),
            elevation_deg,
            1e-12,
        );
    }
}

#[test]
fn verif_sites_arrays_and_dirt() {
    let mut site = Site {
        observer: at_sea(60.0),
        year: 2027,
        utc_offset_h: 15.0,
        delta_t_s: 69.0,
        solar_constant_w_m2: 1361.0,
        linke_turbidity: [3.0; 12],
        horizon: Horizon::open(),
    };
    assert_eq!(refused(SunYear::new(&site)), Quantity::UtcOffset);
    site.utc_offset_h = 0.0;
    site.linke_turbidity[11] = f64::NAN;
    assert_eq!(refused(SunYear::new(&site)), Quantity::LinkeTurbidity);
    site.linke_turbidity[11] = 3.0;
    let year = SunYear::new(&site).unwrap();
    // A course is that of its clock, and serves every place that keeps it.
    let course = SunCourse::new(site.clock()).unwrap();
    assert_eq!(SunYear::along(&site, &course), Ok(year.clone()));
    let early = Clock {
        utc_offset_h: -1.0,
        ..site.clock()
    };
    let other = SunCourse::new(early).unwrap();
    assert_eq!(
        SunYear::along(&site, &other),
        Err(SunError::OtherClock {
            of_site: site.clock(),
            of_course: early,
        })
    );
    let far = Clock {
        utc_offset_h: 15.0,
        ..early
    };
    assert_eq!(refused(SunCourse::new(far)), Quantity::UtcOffset);
    let mut array = Array {
        mounting: Mounting::Fixed(Vec::new()),
        beam_iam: Iam::None,
        sky: Sky::Isotropic,
        albedo: 0.06,
    };
    assert_eq!(PlaneYear::new(&year, &array), Err(SunError::NoFace));
    array.mounting = Mounting::Yawing { tilt_deg: 91.0 };
    assert_eq!(refused(PlaneYear::new(&year, &array)), Quantity::Tilt);

    let mut soiling = Soiling::none();
    assert_eq!(soiling.factors(), Ok([1.0; 12]));
    soiling.birds[4] = 0.2;
    soiling.salt = [0.05; 12];
    let factors = soiling.factors().unwrap();
    close(factors[4], 0.8 * 0.95, 1e-15);
    close(factors[0], 0.95, 1e-15);
    soiling.growth[7] = -0.1;
    assert_eq!(refused(soiling.factors()), Quantity::SoilingShare);
}

#[test]
fn verif_messages() {
    let error = cos_incidence(95.0, 0.0, 0.0, 0.0).unwrap_err();
    assert_eq!(error.to_string(), "tilt 95 deg is outside 0 to 90 deg");
    let error = mean_beam_share(9.0, 9.0, Iam::Ashrae { b: 0.6 }).unwrap_err();
    assert_eq!(error.to_string(), "ASHRAE factor 0.6 is outside 0 to 0.5");
}
