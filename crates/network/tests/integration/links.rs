//! Kinds of links: rates, lengths at a rate, frame times, polled rounds.

use network::{
    CanIds, Duplex, Ends, Exchange, FrameError, LinkStandard, RateUnfit, Rates,
    SDI12_ANSWER_WITHIN, SDI12_RATE_BPS, SDI12_WAKE, Wire, can_fd_frame_bits, can_frame_bits,
    poll_age, poll_round,
};
use timeline::Ns;

fn characters(bits_per_byte: u32, overhead_bytes: u32) -> Wire {
    Wire::Bytes {
        lead: Ns::ZERO,
        bits_per_byte,
        overhead_bytes,
        min_payload_bytes: 0,
    }
}

#[test]
fn val_links_reach_as_far_as_their_standards_say() {
    let theirs = truth::rows("network/links.csv");
    for row in &theirs {
        let ours = LinkStandard::by_name(&row[0]).unwrap();
        let rate_bps = truth::number(&row[1]) as u64;
        assert_eq!(
            ours.longest_m(rate_bps),
            Some(truth::number(&row[2])),
            "{row:?}"
        );
        let stations = Some(truth::number(&row[4]) as u32).filter(|n| *n > 0);
        let ends = match row[3].as_str() {
            "two" => Ends::Two,
            "bus" => Ends::Bus(stations),
            other => panic!("{other}"),
        };
        let duplex = match row[5].as_str() {
            "full" => Duplex::Full,
            "half" => Duplex::Half,
            other => panic!("{other}"),
        };
        assert_eq!((ours.ends, ours.duplex), (ends, duplex), "{row:?}");
    }
    let unsaid = ["inductive", "line-of-sight", "free"];
    for ours in LinkStandard::all() {
        let listed = theirs.iter().any(|row| row[0] == ours.name);
        assert_eq!(listed, !unsaid.contains(&ours.name), "{}", ours.name);
    }
    assert_eq!(
        LinkStandard::by_name("inductive").unwrap().longest_m(1200),
        None
    );
}

#[test]
fn verif_no_link_reaches_farther_at_a_higher_rate() {
    for standard in LinkStandard::all() {
        let mut last = 0.0;
        for rate_bps in [
            10_000_000u64,
            1_000_000,
            500_000,
            250_000,
            125_000,
            90_000,
            50_000,
            20_000,
            10_000,
            9600,
            1200,
            300,
        ] {
            if let Some(longest_m) = standard.longest_m(rate_bps) {
                assert!(longest_m >= last, "{} at {rate_bps}", standard.name);
                last = longest_m;
            }
        }
    }
}

#[test]
fn verif_links_by_name_and_rate() {
    for standard in LinkStandard::all() {
        assert_eq!(LinkStandard::by_name(standard.name), Ok(standard));
        if let Rates::Fixed(only) = standard.rates {
            assert_eq!(standard.rate_bps(None), Ok(only));
        } else {
            assert!(matches!(
                standard.rate_bps(None),
                Err(RateUnfit::NotSaid { .. })
            ));
        }
    }
    assert!(
        LinkStandard::by_name("10base-t1l")
            .unwrap_err()
            .to_string()
            .contains("100BASE-T1")
    );
    let can = LinkStandard::by_name("CAN 2.0").unwrap();
    assert_eq!(can.rate_bps(Some(250_000)), Ok(250_000));
    assert_eq!(
        can.rate_bps(Some(300_000)).unwrap_err().to_string(),
        "CAN 2.0 has no rate of 300000 bit/s; it has 1000000, 500000, 250000, 125000, 50000, 20000, 10000 bit/s"
    );
    assert_eq!(can.longest_m(300_000), None);
}

/// 115200 baud of 8N1 are 11520 bytes a second; 9600 baud of eight bits with parity 872.7.
#[test]
fn val_characters_on_a_serial_line() {
    let one = |bits, rate, bytes| characters(bits, 0).frame_time(rate, bytes);
    assert_eq!(one(10, 115_200, 11_520), Ok(Ns(1_000_000_000)));
    assert_eq!(one(11, 9600, 9600), Ok(Ns(11_000_000_000)));
    assert_eq!(characters(10, 5).frame_time(9600, 7), Ok(Ns(12_500_000)));
    assert_eq!(characters(10, 5).frame_time(0, 7), Err(FrameError::NoRate));
}

/// A command of four characters and an answer of twenty: 12 + 10/1.2 + 40/1.2 + 15 + 200/1.2 = 235.3 ms.
#[test]
fn val_reading_a_sensor_by_sdi_12() {
    let request = Wire::Bytes {
        lead: SDI12_WAKE,
        bits_per_byte: 10,
        overhead_bytes: 4,
        min_payload_bytes: 0,
    };
    let asked = request.frame_time(SDI12_RATE_BPS, 0).unwrap();
    let answered = characters(10, 3).frame_time(SDI12_RATE_BPS, 17).unwrap();
    let whole = asked.0 + SDI12_ANSWER_WITHIN.0 + answered.0;
    assert_eq!(whole, 235_333_335);
    assert!((whole as f64 / 1e6 - (12.0 + 250.0 / 1.2 + 15.0)).abs() < 1e-5);
}

/// 128 bytes behind a preamble of half a second at 1185 bit/s, 3 km of sea at 1490 m/s.
#[test]
fn val_a_frame_through_the_sea() {
    let modem = Wire::Bytes {
        lead: Ns(500_000_000),
        bits_per_byte: 8,
        overhead_bytes: 4,
        min_payload_bytes: 0,
    };
    let time = modem.frame_time(1185, 124).unwrap();
    assert_eq!(time, Ns(500_000_000 + 864_135_022));
    let acoustic = LinkStandard::by_name("acoustic").unwrap();
    let propagation_s = 3000.0 * acoustic.propagation_ns_per_m / 1e9;
    assert!((propagation_s - 3000.0 / 1490.0).abs() < 1e-12);
}

#[test]
fn val_bits_of_can_frames() {
    let theirs = &crate::support::reference("simpy-can.json")["bits"];
    for (ids, name) in [(CanIds::Bits11, "11 bit"), (CanIds::Bits29, "29 bit")] {
        for (bytes, bits) in crate::support::list(&theirs[name]).iter().enumerate() {
            let ours = can_frame_bits(ids, bytes as u32).unwrap();
            assert_eq!(u64::from(ours), crate::support::int(bits), "{name}");
        }
    }
    assert_eq!(
        can_frame_bits(CanIds::Bits11, 9).unwrap_err().to_string(),
        "a frame of 9 data bytes does not exist; the most is 8"
    );
    let seven = Wire::Can {
        ids: CanIds::Bits11,
        header_bytes: 1,
    };
    assert_eq!(seven.frame_time(125_000, 6), Ok(Ns(1_000_000)));
    assert!(matches!(
        seven.frame_time(125_000, 8),
        Err(FrameError::DataTooLong(_))
    ));
}

/// By the fields of ISO 11898-1:2015 as an open header lists them: header 22 (41) bits, dynamic stuffing over header and data, a check field of 28 bits up to
/// 16 bytes and of 33 beyond, 9 bits of footer, 3 of gap.
#[test]
fn val_bits_of_can_fd_frames() {
    for (ids, header) in [(CanIds::Bits11, 22), (CanIds::Bits29, 41)] {
        for bytes in [0, 1, 8, 12, 16, 20, 24, 32, 48, 64] {
            let stuffable = header + 8 * bytes;
            let check = if bytes <= 16 { 28 } else { 33 };
            let all = stuffable + (stuffable - 1) / 4 + check + 9 + 3;
            let ours = can_fd_frame_bits(ids, bytes).unwrap();
            assert_eq!(ours.arbitration + ours.data, all, "{ids:?} {bytes}");
        }
    }
    assert_eq!(
        can_fd_frame_bits(CanIds::Bits11, 33),
        can_fd_frame_bits(CanIds::Bits11, 48)
    );
    assert!(can_fd_frame_bits(CanIds::Bits11, 65).is_err());
    // With one rate for both, the same number of bits: 67 + 10 s.
    let one_rate = Wire::CanFd {
        ids: CanIds::Bits11,
        header_bytes: 0,
        data_rate_bps: 500_000,
    };
    assert_eq!(one_rate.frame_time(500_000, 8), Ok(Ns(147 * 2000)));
}

/// 19200 baud 8N1, eight bytes asked, 25 answered, three and a half characters of silence after each: 20.8333 ms for each of ten.
#[test]
fn val_a_round_of_ten_polled_stations() {
    let one = Exchange {
        request: characters(10, 0).frame_time(19_200, 8).unwrap(),
        answer: characters(10, 0).frame_time(19_200, 25).unwrap(),
        turnaround: Ns(35_000_000_000u64.div_ceil(19_200)),
        propagation: Ns::ZERO,
    };
    assert!((one.lasts().unwrap().as_s_f64() - 0.4 / 19.2).abs() < 5e-9);
    let round = poll_round(&[one; 10]).unwrap();
    assert!((round.as_s_f64() - 4.0 / 19.2).abs() < 5e-8);
    let age = poll_age(round, one).unwrap();
    let transfer_s = 0.25 / 19.2;
    assert!((age.worst.as_s_f64() - (4.0 / 19.2 + transfer_s)).abs() < 1e-7);
    assert!((age.mean.as_s_f64() - (2.0 / 19.2 + transfer_s)).abs() < 1e-7);
    let far = Exchange {
        propagation: Ns(2_013_422_819),
        ..one
    };
    assert_eq!(
        far.lasts().unwrap().0,
        one.lasts().unwrap().0 + 2 * 2_013_422_819
    );
}
