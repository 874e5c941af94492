//! Published operating points, and the two-node line in closed form.

use power::{
    Binding, Branch, Limits, Load, LoadKind, Network, NetworkError, Source, collapse_factor,
    reserve, short_circuit_current_a, solve,
};
use proptest::prelude::*;

pub(crate) fn two_bus(voltage_v: f64, resistance_ohm: f64, power_w: f64) -> Network {
    Network {
        nodes: 2,
        spans: vec![Branch {
            a: 0,
            b: 1,
            resistance_ohm,
        }],
        sources: vec![Source {
            node: 0,
            voltage_v,
            resistance_ohm: 0.0,
            current_limit_a: None,
        }],
        loads: vec![Load {
            node: 1,
            kind: LoadKind::Power { power_w },
        }],
    }
}

/// Power over Ethernet, IEEE 802.3: voltage at the supplying end, loop resistance of the channel, power of the powered
/// device; voltage and current there. Voltages, currents and powers read in a maker's manual (TRENDnet) and on a
/// component maker's page (TDK, power over Ethernet); loop resistances 20, 12.5 and (four pairs) 6.25 ohm from memory.
#[test]
fn val_power_over_ethernet_points() {
    let exact = [
        (44.0, 20.0, 12.95, 37.0, 0.35),
        (50.0, 12.5, 25.5, 42.5, 0.6),
    ];
    for (voltage_v, resistance_ohm, power_w, expected_v, expected_a) in exact {
        let solution = solve(&two_bus(voltage_v, resistance_ohm, power_w)).unwrap();
        assert!((solution.voltages_v[1] - expected_v).abs() <= 1e-9);
        assert!((solution.branch_currents_a[0] - expected_a).abs() <= 1e-9);
        assert!((solution.source_currents_a[0] - expected_a).abs() <= 1e-9);
    }
    // 41.1 V is printed with three digits for 52 V and 71.3 W
    let solution = solve(&two_bus(52.0, 6.25, 71.3)).unwrap();
    assert!((solution.voltages_v[1] / 41.1 - 1.0).abs() <= 2e-3);
}

fn high_root_v(voltage_v: f64, resistance_ohm: f64, power_w: f64) -> f64 {
    0.5 * (voltage_v + (voltage_v * voltage_v - 4.0 * power_w * resistance_ohm).sqrt())
}

/// Worked values of the quadratic: source V, loop ohm, W; V at the load, A, collapse factor.
#[test]
fn verif_two_bus_worked_values() {
    for (voltage_v, resistance_ohm, power_w, expected_v, expected_a, factor) in [
        (48.0, 20.0, 25.0, 32.717797887, 0.764110106, 1.152),
        (24.0, 4.2, 20.0, 19.745966692, 1.012865073, 1.714286),
        (375.0, 60.0, 400.0, 293.123150871, 1.364614152, 1.464844),
    ] {
        let network = two_bus(voltage_v, resistance_ohm, power_w);
        let solution = solve(&network).unwrap();
        assert!((solution.voltages_v[1] - expected_v).abs() < 1e-9);
        assert!((solution.branch_currents_a[0] - expected_a).abs() < 1e-9);
        assert!((collapse_factor(&network).unwrap() - factor).abs() < 1e-6);
        let short_a = short_circuit_current_a(&network, 1).unwrap();
        assert!((short_a - voltage_v / resistance_ohm).abs() < 1e-12 * short_a);
    }
}

/// 48 V over 20 ohm carries at most 28.8 W: 30 W is 96 % too much to carry, and the answer says so.
#[test]
fn verif_beyond_the_collapse_the_share_is_told() {
    match solve(&two_bus(48.0, 20.0, 30.0)) {
        Err(NetworkError::CannotCarry { scale, node }) => {
            assert!((scale - 0.96).abs() < 1e-9, "{scale}");
            assert_eq!(node, 1);
        }
        other => panic!("{other:?}"),
    }
    let text = solve(&two_bus(48.0, 20.0, 30.0)).unwrap_err().to_string();
    assert!(text.contains("96.0000 %"), "{text}");
}

/// At 48 V, 20 ohm, 25 W: 27.0 W hold 30 V; 28.8 W are the most at all; 20 W take 0.527864 A in closed form, 27.0 W take 0.9 A.
#[test]
fn verif_reserve_of_the_two_bus_and_what_binds() {
    let mut network = two_bus(48.0, 20.0, 25.0);
    let of = |network: &Network, minimum_v: f64, rated_a: Option<f64>| {
        let limits = Limits {
            minimum_v: vec![0.0, minimum_v],
            rated_a: vec![rated_a],
        };
        reserve(network, 1, &limits).unwrap()
    };
    let check = |found: power::Reserve, power_w: f64, binds: Binding| {
        assert!((found.power_w - power_w).abs() < 1e-9, "{found:?}");
        assert_eq!(found.binds, Some(binds));
    };
    check(of(&network, 30.0, None), 2.0, Binding::Voltage { node: 1 });
    check(of(&network, 0.0, None), 3.8, Binding::Collapse);
    check(
        of(&network, 29.0, Some(0.9)),
        2.0,
        Binding::Span { span: 0 },
    );
    network.sources[0].current_limit_a = Some(0.9);
    check(
        of(&network, 29.0, Some(0.95)),
        2.0,
        Binding::Source { source: 0 },
    );
    // At the source itself only the source binds: 0.9 A less 0.7641 A, at 48 V.
    let limits = Limits {
        minimum_v: vec![0.0, 29.0],
        rated_a: vec![Some(0.8)],
    };
    let at_source = reserve(&network, 0, &limits).unwrap();
    let left_w = 48.0 * (0.9 - (48.0 - high_root_v(48.0, 20.0, 25.0)) / 20.0);
    check(at_source, left_w, Binding::Source { source: 0 });
}

proptest! {
    #![proptest_config(crate::cases())]

    #[test]
    fn verif_two_bus_closed_form(
        voltage_v in 5.0..1000.0_f64,
        resistance_ohm in 0.01..500.0_f64,
        share in 0.001..0.999_f64,
    ) {
        let most_w = voltage_v * voltage_v / (4.0 * resistance_ohm);
        let power_w = share * most_w;
        let network = two_bus(voltage_v, resistance_ohm, power_w);
        let solution = solve(&network).unwrap();
        let expected_v = high_root_v(voltage_v, resistance_ohm, power_w);
        prop_assert!((solution.voltages_v[1] - expected_v).abs() < 1e-11 * voltage_v);
        let factor = collapse_factor(&network).unwrap();
        prop_assert!((factor * share - 1.0).abs() < 1e-10, "{}", factor);
    }

    #[test]
    fn verif_two_bus_beyond_the_collapse(
        voltage_v in 5.0..1000.0_f64,
        resistance_ohm in 0.01..500.0_f64,
        share in 1.000001..50.0_f64,
    ) {
        let power_w = share * voltage_v * voltage_v / (4.0 * resistance_ohm);
        match solve(&two_bus(voltage_v, resistance_ohm, power_w)) {
            Err(NetworkError::CannotCarry { scale, node }) => {
                prop_assert!((scale * share - 1.0).abs() < 1e-10, "{}", scale);
                prop_assert_eq!(node, 1);
            }
            other => prop_assert!(false, "{:?}", other),
        }
    }
}
