//! The hourly year for any system: the account closes, the sums agree, and a plain loop finds the same.

use std::sync::Arc;

use power::battery::{BatteryState, Charging, Chemistry, Cutoff, Taper};
use power::sun::{Array, DAYS, Face, HOURS, Iam, Mounting, PlaneYear, Sky, Soiling, SunYear};
use power::weather::{ClearnessModel, ClearnessYears, MonthMean};
use power::year::{
    Climate, Extra, GeneratedPlane, GeneratedYields, Load, PanelModel, PowerSystem, Scratch,
    Settled, Start, StateShare, WEEK_HOURS, YearAccount, YearError, YearPlan, YearQuantity,
    first_hour_of_month,
};
use proptest::prelude::*;

use super::{
    FULL_ON_1_JANUARY, invented_year, month_of, panels, plain_load, plain_system, sand_point_sun,
    within, within_share, yaw_60,
};

const CLIMATE: Climate = Climate {
    air_temperature_degc: [8.0; 12],
    wind_speed_m_s: [6.0; 12],
};

fn run(system: &PowerSystem, load: &Load, yields: &[f64]) -> YearAccount {
    YearPlan::new(system, load)
        .unwrap()
        .run(yields, &mut Scratch::default())
        .unwrap()
}

fn any_system() -> impl Strategy<Value = PowerSystem> {
    let thresholds = (0.0..0.6_f64, 0.05..0.4_f64);
    let start = prop_oneof![
        Just(Start::Repeating),
        (0..HOURS, 0.0..=1.0_f64).prop_map(|(hour, charge)| Start::At { hour, charge }),
    ];
    let limit = prop::option::of((0.01..0.5_f64, 0.5..1.0_f64, 0.0..1.0_f64));
    let battery = (
        50.0..8000.0_f64,
        any::<bool>(),
        0.0..4.0_f64,
        limit,
        -10.0..10.0_f64,
    );
    (10.0..400.0_f64, 0.0..1.0_f64, thresholds, start, battery).prop_map(
        |(peak_power_w, standby_w, (off, gap), start, (capacity_wh, lead, age, limit, cold))| {
            let mut system = plain_system(peak_power_w, capacity_wh, start);
            system.standby_w = standby_w;
            system.battery.age_years = age;
            system.battery.chemistry = if lead {
                Chemistry::agm()
            } else {
                Chemistry::lithium_iron_phosphate()
            };
            let chemistry = &mut system.battery.chemistry;
            chemistry.cutoff = Some(Cutoff {
                of: power::battery::ChargeOf::Usable,
                disconnect_at: off,
                reconnect_at: off + gap,
            });
            chemistry.charging = chemistry.charging.map(|charging| Charging {
                limit: limit.map(|(highest_per_h, from, left)| Taper {
                    highest_per_h,
                    from,
                    left,
                }),
                ..charging
            });
            for (month, degc) in system.battery_temperature_degc.iter_mut().enumerate() {
                *degc = cold + 1.5 * (6.0 - (month as f64 - 6.0).abs());
            }
            system
        },
    )
}

fn any_load() -> impl Strategy<Value = Load> {
    let extra = prop_oneof![
        Just(Extra::None),
        (0.0..3.0_f64).prop_map(Extra::EveryHour),
        (0.0..6.0_f64, 1_usize..200).prop_map(|(most_wh, every)| {
            Extra::Hours(
                (0..HOURS)
                    .map(|hour| if hour % every == 0 { most_wh } else { 0.0 })
                    .collect(),
            )
        }),
    ];
    (0.0..1.0_f64, 0.0..8.0_f64, 0.0..30.0_f64, extra).prop_map(|(share, low_w, high_w, extra)| {
        Load {
            states: vec![
                StateShare {
                    power_w: low_w,
                    share: 1.0 - share,
                },
                StateShare {
                    power_w: high_w,
                    share,
                },
            ],
            extra,
        }
    })
}

proptest! {
    #![proptest_config(crate::cases())]

    /// What was gained is what it became, to 1e-9; months add up to the year.
    #[test]
    fn verif_any_account_closes(system in any_system(), load in any_load(), seed in 1_u64..1000) {
        let yields = invented_year(seed);
        let account = run(&system, &load, &yields);
        let ledger = &account.ledger;
        let turned_over_wh = ledger.gained_wh + ledger.delivered_wh + ledger.self_discharge_wh;
        prop_assert!(ledger.gap_wh().abs() <= 1e-9 * turned_over_wh, "{ledger:?}");
        let served_wh = account.asked_wh - account.unserved_wh;
        prop_assert!((served_wh - ledger.delivered_wh).abs() <= 1e-9 * account.asked_wh.max(1.0));
        let gained_wh: f64 = account.months.iter().map(|month| month.gained_wh).sum();
        prop_assert!((gained_wh - ledger.gained_wh).abs() <= 1e-9 * ledger.gained_wh);
        let asked_wh: f64 = load.hourly_wh().unwrap().iter().sum();
        prop_assert!((account.asked_wh - asked_wh).abs() <= 1e-9 * asked_wh);
        prop_assert_eq!(account.hours_off == 0, account.first_hour_off.is_none());
        if let Settled::After(_) = account.settled {
            let capacity_wh = system.battery.aged_capacity_wh().unwrap();
            prop_assert!(ledger.stored_change_wh.abs() <= 1e-9 * capacity_wh);
        }
    }

    /// A plain loop over the hours of a started year, written with nothing but the battery's step.
    #[test]
    fn verif_any_started_year_by_a_plain_loop(
        system in any_system(),
        load in any_load(),
        seed in 1_u64..1000,
        (first, charge) in (0..HOURS, 0.0..=1.0_f64),
    ) {
        let mut system = system;
        system.start = Start::At { hour: first, charge };
        let yields = invented_year(seed);
        let account = run(&system, &load, &yields);
        let at = system.battery_temperature_degc.map(|degc| system.battery.at(degc).unwrap());
        let load_wh = load.hourly_wh().unwrap();
        let start = &at[month_of(first)];
        let mut state = BatteryState { stored_wh: start.stored_at(charge), connected: true };
        let begin_wh = state.stored_wh;
        let mut charges = Vec::with_capacity(HOURS);
        let (mut off, mut first_off, mut disconnections) = ([0; 12], None, 0);
        for turn in 0..HOURS {
            let hour = (first + turn) % HOURS;
            let month = month_of(hour);
            let was_connected = state.connected;
            let gained_wh = yields[hour] * system.peak_power_w;
            let flows = at[month].step(&mut state, gained_wh, load_wh[hour], system.standby_w);
            if !state.connected || flows.unserved_wh > 0.0 {
                off[month] += 1;
                first_off = first_off.or(Some(hour));
            }
            disconnections += u32::from(was_connected && !state.connected);
            charges.push(at[month].usable_state_of_charge(state.stored_wh));
        }
        prop_assert_eq!(account.months.map(|month| month.hours_off), off);
        prop_assert_eq!(account.hours_off, off.iter().sum::<u32>());
        prop_assert_eq!(account.first_hour_off, first_off);
        prop_assert_eq!(account.disconnections, disconnections);
        let lowest = charges.iter().copied().fold(f64::INFINITY, f64::min);
        prop_assert_eq!(account.lowest_charge, lowest);
        let of_months = account.months.map(|month| month.lowest_charge);
        prop_assert_eq!(of_months.into_iter().fold(f64::INFINITY, f64::min), lowest);
        prop_assert_eq!(charges[(account.lowest_charge_hour + HOURS - first) % HOURS], lowest);
        prop_assert_eq!(account.start_end_charge.1, charges[HOURS - 1]);
        let change_wh = state.stored_wh - begin_wh;
        prop_assert!((account.ledger.stored_change_wh - change_wh).abs() < 1e-9);
        // The worst of the 359 weeks that begin whole days after the start.
        let mean = |day: usize| {
            charges[24 * day..24 * day + WEEK_HOURS].iter().sum::<f64>() / WEEK_HOURS as f64
        };
        let worst = (0..=DAYS - 7).map(mean).fold(f64::INFINITY, f64::min);
        let week = &account.worst_week;
        let turn = (week.first_hour + HOURS - first) % HOURS;
        prop_assert_eq!(turn % 24, 0);
        prop_assert_eq!(&week.charge[..], &charges[turn..turn + WEEK_HOURS]);
        prop_assert!((mean(turn / 24) - worst).abs() < 1e-12);
    }

    /// A year that repeats itself, started where it began, ends there and tells the same.
    #[test]
    fn verif_a_repeating_year_repeats_itself(
        system in any_system(),
        load in any_load(),
        seed in 1_u64..1000,
    ) {
        let mut system = system;
        system.start = Start::Repeating;
        let yields = invented_year(seed);
        let repeating = run(&system, &load, &yields);
        let (begin, _) = repeating.start_end_charge;
        let above_off = begin > system.battery.chemistry.cutoff.unwrap().reconnect_at;
        if matches!(repeating.settled, Settled::After(_)) && above_off {
            system.start = Start::At { hour: 0, charge: begin };
            let again = run(&system, &load, &yields);
            prop_assert_eq!(again.hours_off, repeating.hours_off);
            prop_assert!((again.lowest_charge - repeating.lowest_charge).abs() < 1e-8);
            prop_assert!((again.start_end_charge.1 - repeating.start_end_charge.1).abs() < 1e-8);
        }
    }
}

/// The hours of a generated year carry the energy of its days: on a panel that lies flat under an even sky the year's
/// sum is that of clearness times energy outside the atmosphere.
#[test]
fn verif_generated_hours_carry_the_energy_of_their_days() {
    let sun = sand_point_sun();
    let flat = Array {
        mounting: Mounting::Fixed(vec![Face {
            tilt_deg: 0.0,
            azimuth_deg: 180.0,
        }]),
        beam_iam: Iam::None,
        sky: Sky::Isotropic,
        albedo: 0.06,
    };
    let plane = PlaneYear::new(&sun, &flat).unwrap();
    let yields = GeneratedYields::new(&sun, &plane, &panels(), &CLIMATE).unwrap();
    let years = ClearnessYears::new(
        ClearnessModel::Aguiar,
        &[0.5; 12],
        MonthMean::OverYears,
        &sun,
    )
    .unwrap();
    let mut clearness = [0.0; DAYS];
    for year in 0..5 {
        years.fill(4, year, &mut clearness);
        let days_wh_m2: f64 = clearness
            .iter()
            .zip(sun.days())
            .map(|(k, day)| k * day.extraterrestrial_wh_m2)
            .sum();
        // The sun of the horizon's hour stands below it, where a flat panel gets what is diffuse: all of it.
        within_share(yields.plane_wh_m2(&clearness).unwrap(), days_wh_m2, 1e-9);
    }
    let mut bent = clearness;
    bent[100] = 1.1;
    assert!(yields.plane_wh_m2(&bent).is_err());
    bent[100] = f64::NAN;
    assert!(yields.fill(&bent, &mut Vec::new()).is_err());
}

/// Irradiance that was kept gives the energy that the clearness gives, bit for bit, whatever panels take it.
#[test]
fn verif_kept_irradiance_gives_the_same_bits() {
    let sun = sand_point_sun();
    let years = ClearnessYears::new(
        ClearnessModel::Aguiar,
        &[0.5; 12],
        MonthMean::OverYears,
        &sun,
    )
    .unwrap();
    let array = Arc::new(GeneratedPlane::new(&sun, &yaw_60(&sun)));
    let (mut clearness, mut lit_w_m2) = ([0.0; DAYS], vec![9.0; 7]);
    for year in 0..5 {
        years.fill(4, year, &mut clearness);
        array.fill(&clearness, &mut lit_w_m2).unwrap();
        assert_eq!(lit_w_m2.len(), array.lit_hours());
        for loss in [0.1, 0.2] {
            let panels = PanelModel { loss, ..panels() };
            let yields = GeneratedYields::on(array.clone(), &panels, &CLIMATE).unwrap();
            let (mut whole, mut kept) = (Vec::new(), vec![5.0; 3]);
            yields.fill(&clearness, &mut whole).unwrap();
            yields.fill_lit(&lit_w_m2, &mut kept).unwrap();
            let bits = |all: &[f64]| all.iter().map(|x| x.to_bits()).collect::<Vec<_>>();
            assert_eq!(bits(&whole), bits(&kept));
            assert!(yields.fill_lit(&lit_w_m2[1..], &mut kept).is_err());
        }
    }
}

/// Dirt of a month takes its share of that month and of no other. A panel with half the light is cooler, and gives a
/// little more than half.
#[test]
fn verif_dirt_by_month() {
    let sun = sand_point_sun();
    let plane = yaw_60(&sun);
    let gained_with = |soiling: Soiling| {
        let dirty = PanelModel {
            light_left: soiling.factors().unwrap(),
            ..panels()
        };
        let yields = GeneratedYields::new(&sun, &plane, &dirty, &CLIMATE).unwrap();
        let mut hours = Vec::new();
        yields.fill(&[0.5; DAYS], &mut hours).unwrap();
        run(
            &plain_system(100.0, 3000.0, FULL_ON_1_JANUARY),
            &plain_load(),
            &hours,
        )
        .months
        .map(|month| month.gained_wh)
    };
    let clean = gained_with(Soiling::none());
    let mut soiling = Soiling::none();
    soiling.birds[5] = 0.5;
    soiling.salt[10] = 0.2;
    soiling.growth[10] = 0.25;
    let dirty = gained_with(soiling);
    for month in 0..12 {
        let left = dirty[month] / clean[month];
        match month {
            5 => assert!((0.5..0.52).contains(&left), "{left}"),
            10 => assert!((0.6..0.61).contains(&left), "{left}"),
            _ => assert_eq!(left, 1.0),
        }
    }
}

/// Years are functions of seed and number alone: shared out to threads they come out the same.
#[test]
fn verif_years_shared_out_to_threads() {
    let sun = sand_point_sun();
    let plane = yaw_60(&sun);
    let yields = GeneratedYields::new(&sun, &plane, &panels(), &CLIMATE).unwrap();
    let years = ClearnessYears::new(
        ClearnessModel::Aguiar,
        &[0.4; 12],
        MonthMean::OverYears,
        &sun,
    )
    .unwrap();
    let plan = YearPlan::new(
        &plain_system(200.0, 3000.0, Start::Repeating),
        &plain_load(),
    )
    .unwrap();
    let of = |numbers: &[u64]| -> Vec<YearAccount> {
        let (mut days, mut hours, mut scratch) = ([0.0; DAYS], Vec::new(), Scratch::default());
        numbers
            .iter()
            .map(|&number| {
                years.fill(9, number, &mut days);
                yields.fill(&days, &mut hours).unwrap();
                plan.run(&hours, &mut scratch).unwrap()
            })
            .collect()
    };
    let alone = of(&[0, 1, 2, 3, 4, 5]);
    let (even, odd) = std::thread::scope(|scope| {
        let even = scope.spawn(|| of(&[4, 2, 0]));
        let odd = scope.spawn(|| of(&[1, 3, 5]));
        (even.join().unwrap(), odd.join().unwrap())
    });
    for (number, account) in alone.iter().enumerate() {
        let other = if number % 2 == 0 {
            &even[2 - number / 2]
        } else {
            &odd[number / 2]
        };
        assert_eq!(account, other, "year {number}");
    }
    assert_ne!(alone[0], alone[1]);
}

/// A load that changes has two shares of lost load: here half of the hours ask for next to nothing, and the outage of a
/// winter's night is another share in time than in energy.
#[test]
fn verif_lost_load_in_time_and_in_energy_differ() {
    let load = Load {
        states: vec![StateShare {
            power_w: 0.1,
            share: 1.0,
        }],
        extra: Extra::Hours(
            (0..HOURS)
                .map(|hour| if hour % 24 < 12 { 12.0 } else { 0.0 })
                .collect(),
        ),
    };
    let account = run(
        &plain_system(40.0, 600.0, Start::Repeating),
        &load,
        &invented_year(3),
    );
    assert!(account.hours_off > 0);
    within(
        account.lolp_time(),
        f64::from(account.hours_off) / 8760.0,
        1e-15,
    );
    within(
        account.lolp_energy().unwrap(),
        account.unserved_wh / account.asked_wh,
        1e-15,
    );
    assert!((account.lolp_time() / account.lolp_energy().unwrap() - 1.0).abs() > 0.02);
    let nothing = Load {
        states: vec![StateShare {
            power_w: 0.0,
            share: 1.0,
        }],
        extra: Extra::None,
    };
    let account = run(
        &plain_system(40.0, 600.0, Start::Repeating),
        &nothing,
        &invented_year(3),
    );
    assert_eq!(account.lolp_energy(), None);
}

#[test]
fn verif_refusals_of_a_year() {
    let new = |change: fn(&mut PowerSystem)| {
        let mut system = plain_system(100.0, 1000.0, FULL_ON_1_JANUARY);
        change(&mut system);
        YearPlan::new(&system, &plain_load()).unwrap_err()
    };
    let out_of_range = |error: YearError| match error {
        YearError::OutOfRange { quantity, .. } => quantity,
        other => panic!("{other}"),
    };
    assert_eq!(
        out_of_range(new(|s| s.peak_power_w = -1.0)),
        YearQuantity::PeakPower
    );
    assert_eq!(
        out_of_range(new(|s| s.standby_w = f64::NAN)),
        YearQuantity::Standby
    );
    let start = |hour, charge| Start::At { hour, charge };
    assert_eq!(
        new(|s| s.start = Start::At {
            hour: HOURS,
            charge: 1.0
        }),
        YearError::StartHour { hour: HOURS }
    );
    assert_eq!(
        out_of_range(new(|s| s.start = Start::At {
            hour: 0,
            charge: 1.1
        })),
        YearQuantity::StartCharge
    );
    assert!(matches!(
        new(|s| s.battery_temperature_degc[3] = -41.0),
        YearError::Battery(_)
    ));
    assert_eq!(
        new(|s| {
            s.battery.chemistry.charging = None;
            s.start = Start::Repeating;
        }),
        YearError::NoRepetition
    );
    let plan = YearPlan::new(&plain_system(100.0, 1000.0, start(0, 1.0)), &plain_load()).unwrap();
    let mut yields = invented_year(1);
    for wrong in [-0.1, 9.0, f64::NAN] {
        yields[5000] = wrong;
        let error = plan.run(&yields, &mut Scratch::default()).unwrap_err();
        assert_eq!(out_of_range(error), YearQuantity::Yield);
    }
    yields.pop();
    let error = plan.run(&yields, &mut Scratch::default()).unwrap_err();
    assert!(matches!(error, YearError::Hours { found: 8759, .. }));
    assert_eq!(first_hour_of_month(2), Ok(24 * 59));
    assert_eq!(first_hour_of_month(12), Err(YearError::Month { month: 12 }));
    let mut load = plain_load();
    load.states[0].share = 0.9;
    assert!(matches!(load.base_w(), Err(YearError::Shares { .. })));
    load.states[0].share = f64::NAN;
    assert_eq!(
        out_of_range(load.base_w().unwrap_err()),
        YearQuantity::StateShare
    );
    let mut load = plain_load();
    load.extra = Extra::Hours(vec![0.0; 8784]);
    assert!(matches!(
        load.hourly_wh(),
        Err(YearError::Hours { found: 8784, .. })
    ));
    load.extra = Extra::EveryHour(-1.0);
    assert_eq!(
        out_of_range(load.hourly_wh().unwrap_err()),
        YearQuantity::ExtraEnergy
    );
    let sun: SunYear = sand_point_sun();
    let plane = yaw_60(&sun);
    let mut model = panels();
    model.light_left[7] = 1.2;
    let refused = GeneratedYields::new(&sun, &plane, &model, &CLIMATE)
        .err()
        .unwrap();
    assert_eq!(out_of_range(refused), YearQuantity::LightLeft);
    let mut climate = CLIMATE;
    climate.wind_speed_m_s[2] = -1.0;
    let refused = GeneratedYields::new(&sun, &plane, &panels(), &climate)
        .err()
        .unwrap();
    assert_eq!(out_of_range(refused), YearQuantity::WindSpeed);
}
