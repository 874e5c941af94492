//! Bytes on the wire, link standards, payload sizes.

use network::{
    FieldKind, FrameError, Layer, PayloadError, StackError, bits, fragment_count, frame_time,
    stack_overhead,
};
use timeline::Ns;

const UDP_IPV6: [Layer; 3] = [Layer::Ethernet, Layer::Ipv6, Layer::Udp];

#[test]
fn val_ethernet_bytes_on_the_wire() {
    // IEEE 802.3: 7 + 1 + 14 + 4 + 12 around a payload of at least 46; RFC 8200 40; RFC 768 8 (RFC figures from memory).
    let udp = stack_overhead(&UDP_IPV6).unwrap();
    assert_eq!((udp.overhead_bytes, udp.min_payload_bytes), (86, 0));
    for (payload, bytes, ns) in [
        (1, 87, 69_600),
        (60, 146, 116_800),
        (200, 286, 228_800),
        (1000, 1086, 868_800),
        (1452, 1538, 1_230_400),
    ] {
        assert_eq!(payload + udp.overhead_bytes, bytes);
        assert_eq!(
            frame_time(
                payload,
                udp.overhead_bytes,
                udp.min_payload_bytes,
                10_000_000
            ),
            Ok(Ns(ns))
        );
    }
    // Best goodput at 10 Mb/s: 1452 of 1538 bytes.
    let goodput_mbps = 1452.0 * 8.0 / frame_time(1452, 86, 0, 10_000_000).unwrap().as_s_f64() / 1e6;
    assert!((goodput_mbps - 9.4408).abs() < 5e-5, "{goodput_mbps}");
    let bare = stack_overhead(&[Layer::Ethernet]).unwrap();
    assert_eq!((bare.overhead_bytes, bare.min_payload_bytes), (38, 46));
    // The least Ethernet frame with preamble and gap has 84 bytes: 67.2 us at 10 Mb/s, the well-known 14 880 frames a second.
    assert_eq!(
        frame_time(1, bare.overhead_bytes, bare.min_payload_bytes, 10_000_000),
        Ok(Ns(67_200))
    );
    let tagged = stack_overhead(&[Layer::Ethernet, Layer::Vlan]).unwrap();
    assert_eq!((tagged.overhead_bytes, tagged.min_payload_bytes), (42, 42));
    let ipv4 = stack_overhead(&[Layer::Ethernet, Layer::Ipv4, Layer::Udp]).unwrap();
    assert_eq!((ipv4.overhead_bytes, ipv4.min_payload_bytes), (66, 18));
}

#[test]
fn verif_stacks_that_cannot_be() {
    assert_eq!(stack_overhead(&[]), Err(StackError::Empty));
    assert_eq!(
        stack_overhead(&[Layer::Ethernet, Layer::Udp]),
        Err(StackError::WrongOrder {
            layer: Layer::Udp,
            below: Some(Layer::Ethernet)
        })
    );
    assert_eq!(
        stack_overhead(&[Layer::Udp]),
        Err(StackError::WrongOrder {
            layer: Layer::Udp,
            below: None
        })
    );
    assert_eq!(
        StackError::WrongOrder {
            layer: Layer::Udp,
            below: None
        }
        .to_string(),
        "udp cannot lie at the bottom of a stack"
    );
    assert_eq!(Layer::by_name("ipv6"), Ok(Layer::Ipv6));
    assert_eq!(
        Layer::by_name("IPv6").unwrap_err().to_string(),
        "`IPv6` is no protocol layer; known: ethernet, vlan, ipv4, ipv6, udp, tcp"
    );
}

#[test]
fn verif_frame_times_round_up_and_never_overflow() {
    assert_eq!(frame_time(0, 1, 0, 3), Ok(Ns(2_666_666_667)));
    assert_eq!(
        frame_time(u32::MAX, u32::MAX, 0, 8_000_000_000),
        Ok(Ns(2 * u64::from(u32::MAX)))
    );
    assert_eq!(
        frame_time(u32::MAX, 0, 0, 1),
        Err(FrameError::TooSlow {
            bytes: u64::from(u32::MAX),
            rate_bps: 1
        })
    );
    assert_eq!(frame_time(1, 1, 0, 0), Err(FrameError::NoRate));
    assert_eq!(
        (
            fragment_count(0, 1400),
            fragment_count(1400, 1400),
            fragment_count(1401, 1400)
        ),
        (Ok(1), Ok(1), Ok(2))
    );
    assert_eq!(fragment_count(1, 0), Err(FrameError::NoMtu));
    assert!(matches!(
        fragment_count(u32::MAX, 1),
        Err(FrameError::TooManyFragments { .. })
    ));
}

fn choice(n: usize) -> FieldKind {
    FieldKind::Choice {
        values: vec![String::new(); n],
    }
}

#[test]
fn verif_bits_hold_all_codes_and_no_fewer_would() {
    for steps in 1..3000u32 {
        let bits = bits(&FieldKind::Scaled {
            unit: String::new(),
            from: -5.0,
            to: -5.0 + f64::from(steps) * 0.25,
            step: 0.25,
        })
        .unwrap();
        let codes = u64::from(steps) + 2;
        assert!(1 << bits >= codes && 1 << (bits - 1) < codes, "{steps}");
    }
    for n in 2..3000u32 {
        let bits = bits(&choice(n as usize)).unwrap();
        assert!(1 << bits >= n && 1 << (bits - 1) < n, "{n}");
    }
    assert_eq!(bits(&choice(1)), Ok(1));
}

#[test]
fn verif_fields_without_a_size_are_refused() {
    let scaled = |from, to, step| {
        bits(&FieldKind::Scaled {
            unit: String::new(),
            from,
            to,
            step,
        })
    };
    assert!(matches!(
        scaled(f64::NAN, 1.0, 1.0),
        Err(PayloadError::NotFinite { .. })
    ));
    assert!(matches!(
        scaled(0.0, 1.0, 0.0),
        Err(PayloadError::NoStep { .. })
    ));
    assert!(matches!(
        scaled(1.0, 1.0, 0.1),
        Err(PayloadError::NoRange { .. })
    ));
    assert!(matches!(
        scaled(0.0, 1.0, 0.3),
        Err(PayloadError::BrokenStep { .. })
    ));
    assert!(matches!(
        scaled(0.0, 1.0, 1e-300),
        Err(PayloadError::TooFine { .. })
    ));
    assert!(matches!(
        scaled(0.0, 2e12, 1.0),
        Err(PayloadError::TooFine { .. })
    ));
    assert!(matches!(
        scaled(0.0, 0.5, 1e6),
        Err(PayloadError::BrokenStep { .. })
    ));
    assert_eq!(bits(&choice(0)), Err(PayloadError::NoChoice));
    assert_eq!(
        bits(&FieldKind::Time {
            epoch_ns: 0,
            bits: 65,
            step_s: 1.0
        }),
        Err(PayloadError::TimeBits { bits: 65 })
    );
    assert!(matches!(
        bits(&FieldKind::Time {
            epoch_ns: 0,
            bits: 8,
            step_s: f64::NAN
        }),
        Err(PayloadError::NoStep { .. })
    ));
}

/// Ranges of whole steps of a hundredth, of up to 1e12 of them, are none of them taken for broken; a tenth of a step over is.
#[test]
fn verif_wide_ranges_of_whole_steps_are_taken() {
    let bits_of = |to| {
        bits(&FieldKind::Scaled {
            unit: String::new(),
            from: 0.0,
            to,
            step: 0.01,
        })
    };
    let mut state = 1_u64;
    for most in [1_000_000_000_u64, 10_000_000_000, 1_000_000_000_000] {
        for _ in 0..1000 {
            state = state
                .wrapping_mul(6364136223846793005)
                .wrapping_add(1442695040888963407);
            let steps = (state >> 20) % most + 1;
            // As a person writes it: digits with two decimals.
            let to: f64 = format!("{}.{:02}", steps / 100, steps % 100)
                .parse()
                .unwrap();
            let bits = bits_of(to).unwrap_or_else(|error| panic!("{steps}: {error}"));
            assert_eq!(bits, (steps + 1).ilog2() + 1);
            assert!(matches!(
                bits_of(to + 0.001),
                Err(PayloadError::BrokenStep { .. })
            ));
        }
    }
}
