//! Many years: distribution of outage, claims with their confidence, the smallest battery for each panel.

use power::year::{
    CapacitySearch, Claim, LowestCharges, Outages, Scratch, ShareOfYears, SizeRow, Start,
    YearAccount, YearError, YearPlan, smallest_batteries,
};

use super::{invented_year, plain_load, plain_system, within};

/// An account of which only the hours off matter.
fn year_with(hours_off: u32) -> YearAccount {
    let start = Start::At {
        hour: 0,
        charge: 1.0,
    };
    let plan = YearPlan::new(&plain_system(100.0, 1e4, start), &plain_load()).unwrap();
    let mut account = plan
        .run(&invented_year(1), &mut Scratch::default())
        .unwrap();
    account.hours_off = hours_off;
    account
}

fn outages(hours_off: &[u32]) -> Outages {
    let year = year_with(0);
    let mut outages = Outages::new();
    for &hours_off in hours_off {
        outages.add(&YearAccount {
            hours_off,
            ..year.clone()
        });
    }
    outages
}

fn claim(share: f64, confidence: f64) -> Claim {
    Claim {
        at_most_hours: 0,
        years: ShareOfYears { share, confidence },
    }
}

/// Years needed with none, one and two bad ones: 59, 93, 124 for 95 % at 95 %, 299, 473, 628 for 99 % at 95 % (Wilks
/// 1941 and the tables made of it, from memory).
#[test]
fn val_years_that_a_claim_needs() {
    for (share, years) in [(0.95, [59, 93, 124]), (0.99, [299, 473, 628])] {
        let claim = claim(share, 0.95).years;
        assert_eq!(claim.years_needed(), Ok(years[0]));
        assert_eq!(claim.most_bad(years[0] - 1), Ok(None));
        for (bad, &years) in (0..).zip(&years) {
            assert_eq!(claim.most_bad(years), Ok(Some(bad)));
            assert_eq!(claim.is_shown_by(bad, years), Ok(true));
            assert_eq!(claim.is_shown_by(bad, years - 1), Ok(false));
            assert_eq!(claim.is_shown_by(bad + 1, years), Ok(false));
        }
    }
    for (share, confidence) in [(1.0, 0.95), (0.0, 0.95), (0.99, 1.0), (f64::NAN, 0.95)] {
        assert!(claim(share, confidence).years.years_needed().is_err());
        assert!(claim(share, confidence).years.is_shown_by(0, 300).is_err());
    }
    assert!(claim(0.99, 0.95).years.is_shown_by(3, 2).is_err());
    assert!(claim(0.99, 0.95).years.is_shown_by(0, 0).is_err());
}

/// A single bad year is bad with at least 5 % at 95 % confidence, so it refutes 99 % and not 90 %; 5 of 100 are at least
/// 1.991 % (scipy 1.17.1, stats.beta.ppf(0.05, 5, 96)).
#[test]
fn val_years_that_refute_a_claim() {
    let refuted = |share: f64, bad, years| {
        let claim = claim(share, 0.95).years;
        claim.is_refuted_by(bad, years).unwrap()
    };
    assert!(refuted(0.99, 1, 1) && !refuted(0.90, 1, 1));
    assert!(!refuted(0.99, 0, 1) && !refuted(0.99, 0, 1000));
    assert!(refuted(0.9801, 5, 100) && !refuted(0.9800, 5, 100));
    assert!(claim(0.99, 0.95).years.is_refuted_by(0, 0).is_err());
}

/// 5 bad years of 100: 0.016432 to 0.112835 at 95 % (scipy 1.17.1, stats.binomtest(5, 100).proportion_ci(0.95,
/// "exact")).
#[test]
fn val_limits_of_the_share_of_bad_years() {
    let mut hours = vec![0; 95];
    hours.extend([1, 20, 300, 4, 50]);
    let outages = outages(&hours);
    assert_eq!(
        (outages.years(), outages.bad_years(0), outages.bad_years(20)),
        (100, 5, 2)
    );
    let (low, high) = outages.bad_share_limits(0, 0.95).unwrap();
    within(low, 0.016_432, 5e-7);
    within(high, 0.112_835, 5e-7);
    // stats.beta.ppf(0.95, 6, 95) of the same: 10.225 % at most.
    within(outages.bad_share_bound(0, 0.95).unwrap(), 0.102_253, 5e-7);
    let mut lowest = LowestCharges::new();
    for hours_off in hours {
        lowest.add(if hours_off > 0 { 0.25 } else { 0.75 }).unwrap();
    }
    assert_eq!(lowest.bad_years(0.5), 5);
    assert_eq!(
        lowest.bad_share_limits(0.5, 0.95),
        outages.bad_share_limits(0, 0.95)
    );
    assert_eq!(
        lowest.bad_share_bound(0.5, 0.95),
        outages.bad_share_bound(0, 0.95)
    );
    assert!(LowestCharges::new().bad_share_bound(0.5, 0.95).is_err());
    assert!(Outages::new().bad_share_limits(0, 0.95).is_err());
    assert!(outages.bad_share_limits(0, 1.0).is_err());
}

#[test]
fn verif_distribution_of_outage() {
    let none = Outages::new();
    assert_eq!(none.mean_hours_off(), None);
    assert_eq!(none.hours_off_in(0.5), None);
    assert_eq!((none.lolp_time(), none.lolp_energy()), (None, None));
    let four = outages(&[30, 0, 10, 20]);
    assert_eq!(four.hours_off(), [30, 0, 10, 20]);
    assert_eq!(four.mean_hours_off(), Some(15.0));
    within(four.lolp_time().unwrap(), 15.0 / 8760.0, 1e-15);
    for (share, hours) in [
        (0.0, 0),
        (0.25, 0),
        (0.26, 10),
        (0.5, 10),
        (0.75, 20),
        (0.76, 30),
        (1.0, 30),
    ] {
        assert_eq!(four.hours_off_in(share), Some(hours), "{share}");
    }
    assert_eq!(four.hours_off_in(1.01), None);
    assert_eq!(four.hours_off_in(f64::NAN), None);
    // 0.1 of 10 is one year and not, by rounding, two.
    let ten = outages(&[0, 1, 2, 3, 4, 5, 6, 7, 8, 9]);
    assert_eq!(
        (ten.hours_off_in(0.1), ten.hours_off_in(0.7)),
        (Some(0), Some(6))
    );
    assert_eq!(
        [0, 2, 9, 10].map(|bad| ten.hours_off_but(bad)),
        [Some(9), Some(7), Some(0), None]
    );
    assert_eq!(ten.unsettled(), 0);
    // 0.07 of 100 is 7.000000000000001 in binary.
    let hundred = outages(&(0..100).collect::<Vec<_>>());
    assert_eq!(hundred.hours_off_in(0.07), Some(6));
}

#[test]
fn verif_distribution_of_the_lowest_charge() {
    let mut four = LowestCharges::new();
    assert_eq!((four.years(), four.charge_in(0.5)), (0, None));
    for charge in [0.7, 0.1, 0.9, 0.4] {
        four.add(charge).unwrap();
    }
    assert_eq!(four.charges(), [0.7, 0.1, 0.9, 0.4]);
    for (share, charge) in [
        (0.0, 0.9),
        (0.25, 0.9),
        (0.26, 0.7),
        (0.75, 0.4),
        (0.76, 0.1),
        (1.0, 0.1),
    ] {
        assert_eq!(four.charge_in(share), Some(charge), "{share}");
    }
    assert_eq!(four.charge_in(-0.01), None);
    assert_eq!(
        [0, 1, 3, 4].map(|bad| four.charge_but(bad)),
        [Some(0.1), Some(0.4), Some(0.9), None]
    );
    // A year that comes down to the limit is not below it.
    assert_eq!(
        [0.1, 0.4, 0.41, 1.0].map(|limit| four.bad_years(limit)),
        [0, 1, 2, 4]
    );
    for charge in [-0.01, 1.01, f64::NAN] {
        assert!(four.add(charge).is_err());
    }
    assert_eq!(four.years(), 4);
}

const SEARCH: CapacitySearch = CapacitySearch {
    lowest_wh: 200.0,
    highest_wh: 4000.0,
    step_wh: 200.0,
};

/// The table against counting at every capacity: the one found shows the claim, all above do, and the next below does
/// not; in years that repeat themselves, and from full in the autumn.
#[test]
fn verif_smallest_batteries_by_counting() {
    counted(Start::Repeating);
    counted(Start::At {
        hour: 6200,
        charge: 1.0,
    });
}

fn counted(start: Start) {
    let claim = claim(0.9, 0.9);
    let years: Vec<Vec<f64>> = (1..=40).map(invented_year).collect();
    let system = plain_system(1.0, 1.0, start);
    let load = plain_load();
    let peak_powers_w = [150.0, 350.0, 400.0, 500.0, 800.0];
    let rows = smallest_batteries(&system, &load, &years, &claim, &peak_powers_w, &SEARCH).unwrap();
    let allowed = claim.years.most_bad(40).unwrap().unwrap();
    assert_eq!(allowed, 1);
    let mut scratch = Scratch::default();
    let mut bad_at = |peak_power_w: f64, capacity_wh: f64| {
        let mut system = system.clone();
        system.peak_power_w = peak_power_w;
        system.battery.capacity_wh = capacity_wh;
        let plan = YearPlan::new(&system, &load).unwrap();
        let mut outages = Outages::new();
        for year in &years {
            outages.add(&plan.run(year, &mut scratch).unwrap());
        }
        outages.bad_years(0)
    };
    for (row, &peak_power_w) in rows.iter().zip(&peak_powers_w) {
        assert_eq!(row.peak_power_w, peak_power_w);
        let shows = |bad| claim.years.is_shown_by(bad, 40).unwrap();
        let counted = (0..=19)
            .map(|step| 200.0 + 200.0 * f64::from(step))
            .find(|&capacity_wh| shows(bad_at(peak_power_w, capacity_wh)));
        assert_eq!(row.battery_wh, counted, "{peak_power_w} W");
        if let Some(battery_wh) = counted {
            assert_eq!(row.bad_years, bad_at(peak_power_w, battery_wh));
        } else {
            assert!(row.bad_years > allowed);
        }
    }
    // Too little sun for any battery; then less battery with every panel more.
    assert_eq!(rows[0].battery_wh, None);
    let sizes: Vec<f64> = rows.iter().filter_map(|row| row.battery_wh).collect();
    assert!(sizes.len() >= 3, "{rows:?}");
    assert!(sizes.windows(2).all(|pair| pair[1] <= pair[0]), "{sizes:?}");
    assert!(sizes[0] > sizes[sizes.len() - 1]);
}

#[test]
fn verif_searches_that_are_refused() {
    let years = vec![invented_year(1); 21];
    let system = plain_system(1.0, 1.0, Start::Repeating);
    let size = |claim: &Claim, years: &[Vec<f64>], search: &CapacitySearch| {
        smallest_batteries(&system, &plain_load(), years, claim, &[900.0], search)
    };
    // 22 clean years show nine in ten at 0.9.
    let too_few = YearError::TooFewYears {
        years: 21,
        needed: 22,
    };
    assert_eq!(size(&claim(0.9, 0.9), &years, &SEARCH), Err(too_few));
    let easy = claim(0.5, 0.5);
    let turned = CapacitySearch {
        lowest_wh: 300.0,
        highest_wh: 200.0,
        step_wh: 10.0,
    };
    assert!(matches!(
        size(&easy, &years, &turned),
        Err(YearError::EmptySearch { .. })
    ));
    for step_wh in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        let search = CapacitySearch { step_wh, ..SEARCH };
        assert!(matches!(
            size(&easy, &years, &search),
            Err(YearError::OutOfRange { .. })
        ));
    }
    // One capacity to choose from is a search too.
    let one = CapacitySearch {
        lowest_wh: 4000.0,
        highest_wh: 4000.0,
        step_wh: 50.0,
    };
    let rows = size(&easy, &years, &one).unwrap();
    let expected = SizeRow {
        peak_power_w: 900.0,
        battery_wh: Some(4000.0),
        bad_years: 0,
    };
    assert_eq!(rows, [expected]);
}

/// Lost load of many years: what was not given over what was asked for, and hours over hours; by hand.
#[test]
fn verif_lost_load_of_many_years() {
    let year = year_with(0);
    let mut outages = Outages::new();
    for (hours_off, asked_wh, unserved_wh) in [(876, 50_000.0, 400.0), (0, 30_000.0, 0.0)] {
        outages.add(&YearAccount {
            hours_off,
            asked_wh,
            unserved_wh,
            ..year.clone()
        });
    }
    within(outages.lolp_time().unwrap(), 0.05, 1e-15);
    within(outages.lolp_energy().unwrap(), 0.005, 1e-15);
}
