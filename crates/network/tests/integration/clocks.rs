//! Clocks set by two-way exchanges: against a simulation in SimPy (reference/make/network_clocks.py), and by hand.

use network::{OneWay, SyncSpec, clock_error, two_way};
use serde_json::Value;
use timeline::Ns;

use crate::support::{list, reference};

/// Rounding of the simulation, s.
const ROUNDING_S: f64 = 1e-9;

fn ns(seconds: f64) -> Ns {
    Ns::from_s_f64(seconds).unwrap()
}

fn one_way(case: &Value, which: &str) -> OneWay {
    let sum = |end: usize| {
        let hops = list(&case["hops"]).iter();
        hops.map(|hop| hop[which][end].as_f64().unwrap()).sum()
    };
    OneWay {
        soonest: ns(sum(0)),
        latest: ns(sum(1)),
    }
}

fn bound_s(case: &Value) -> f64 {
    let number = |key: &str| case[key].as_f64().unwrap();
    let spec = SyncSpec {
        every: ns(number("every_s")),
        jitter: ns(number("jitter_s")),
        at_the_wire: case["wire"].as_bool().unwrap(),
        drift: number("drift"),
    };
    let hops = list(&case["hops"]).len() as u32;
    clock_error(spec, one_way(case, "up"), one_way(case, "down"), hops).total_s()
}

/// Nothing that was simulated is worse than the bound, and the worst comes within a tenth of it.
#[test]
fn val_no_simulated_clock_is_further_off_than_its_bound() {
    let file = reference("simpy-clocks.json");
    let cases = list(&file["cases"]);
    assert_eq!(cases.len(), 7);
    for case in cases {
        let (bound_s, worst_s) = (bound_s(case), case["worst_s"].as_f64().unwrap());
        assert!(worst_s <= bound_s + ROUNDING_S, "{case}: {bound_s}");
        assert!(worst_s >= 0.9 * bound_s, "{case}: {bound_s}");
        assert!(case["drawn_s"].as_f64().unwrap() <= bound_s + ROUNDING_S);
    }
}

/// The wrong convention that half the difference of the ways is no error lies below what was simulated.
#[test]
fn val_red_ways_that_differ_left_out_fail_the_simulation() {
    let file = reference("simpy-clocks.json");
    let mut case = list(&file["cases"])[3].clone();
    let worst_s = case["worst_s"].as_f64().unwrap();
    case["wire"] = true.into();
    assert!(bound_s(&case) < 0.1 * worst_s);
}

/// T = 1000.000, 1000.350, 1000.352, 1000.102: offset 0.300, delay 0.100 (the formulas of RFC 5905 section 8, read in quotations; worked by hand).
#[test]
fn val_the_four_times_of_an_exchange() {
    let t = [1_000_000, 1_000_350, 1_000_352, 1_000_102].map(|ms: i64| ms * 1_000_000);
    let found = two_way(t[0], t[1], t[2], t[3]);
    assert_eq!(found.twice_offset_ns, 600_000_000);
    assert_eq!(found.delay_ns, 100_000_000);
    // There 30 ms longer than back: wrong by 15 ms.
    let late = two_way(
        t[0],
        t[1] + 30_000_000,
        t[2] + 30_000_000,
        t[3] + 30_000_000,
    );
    assert_eq!(late.twice_offset_ns - found.twice_offset_ns, 30_000_000);
}

/// 1 ms at 2 ppm lasts 500 s; 50, 20 and 2 ppm are 4.32, 1.728 and 0.1728 s a day (arithmetic).
#[test]
fn val_drift_between_exchanges() {
    let at_once = OneWay {
        soonest: Ns::ZERO,
        latest: Ns::ZERO,
    };
    for (drift, every_s, error_s) in [
        (2e-6, 500.0, 1e-3),
        (50e-6, 86_400.0, 4.32),
        (20e-6, 86_400.0, 1.728),
        (-2e-6, 86_400.0, 0.1728),
    ] {
        let spec = SyncSpec {
            every: ns(every_s),
            jitter: Ns::ZERO,
            at_the_wire: false,
            drift,
        };
        let found = clock_error(spec, at_once, at_once, 1);
        assert!((found.total_s() - error_s).abs() < 1e-12, "{found:?}");
    }
}
