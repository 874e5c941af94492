//! Spellings that must be read, and what they must give.

use quantity::{
    Amount, Conductor, Dimension, EventRate, Law, LevelAmount, LevelKind, Money, StrandClass,
    parse_amount, parse_conductor, parse_event_rate, parse_level, parse_money, parse_number,
    parse_share,
};

fn si(text: &str, dimension: Dimension) -> f64 {
    parse_amount(text, dimension).expect(text).si
}

fn law(text: &str, dimension: Dimension) -> Law {
    let amount = parse_amount(text, dimension).expect(text);
    amount.law.expect("a spread")
}

#[test]
fn verif_every_listed_unit_and_example_is_read() {
    for dimension in Dimension::ALL {
        for unit in dimension.units() {
            let amount = parse_amount(&format!("1 {unit}"), dimension).unwrap();
            let glued = parse_amount(&format!("1{unit}"), dimension).unwrap();
            assert_eq!(glued, amount);
        }
        for example in dimension.examples() {
            parse_amount(example, dimension).unwrap();
        }
    }
    for kind in LevelKind::ALL {
        parse_level(kind.example(), kind).unwrap();
        parse_level(&format!("-1.5 {}", kind.unit()), kind).unwrap();
    }
}

#[test]
fn verif_the_first_listed_unit_is_the_si_unit() {
    for dimension in Dimension::ALL {
        if dimension == Dimension::Ratio {
            assert_eq!(si("1", dimension), 1.0);
            continue;
        }
        assert_eq!(dimension.units().next(), Some(dimension.si_unit()));
        assert_eq!(si(&format!("3 {}", dimension.si_unit()), dimension), 3.0);
    }
}

#[test]
fn verif_prefixed_decimals_give_the_bits_of_the_literal() {
    assert_eq!(si("12.8 mW", Dimension::Power), 0.0128);
    assert_eq!(si("0.3 mm", Dimension::Length), 0.0003);
    assert_eq!(si("1.1 MHz", Dimension::Frequency), 1_100_000.0);
    assert_eq!(si("15 %", Dimension::Ratio), 0.15);
    assert_eq!(si("7 %", Dimension::Ratio), 0.07);
    assert_eq!(si("1e-3 W", Dimension::Power), 0.001);
    assert_eq!(si("2.5E+2kHz", Dimension::Frequency), 250_000.0);
}

#[test]
fn verif_typographic_forms_are_the_plain_ones() {
    for text in ["220 uF", "220 \u{b5}F", "220 \u{3bc}F", " 220uF "] {
        assert_eq!(si(text, Dimension::Capacitance), 220e-6, "{text}");
    }
    for text in ["-6.02 deg", "\u{2212}6.02 deg", "-6.02\u{b0}"] {
        assert_eq!(
            si(text, Dimension::Angle),
            si("-6.02 deg", Dimension::Angle)
        );
    }
    assert_eq!(si("9.6 \u{b0}C", Dimension::Temperature), 9.6);
    assert_eq!(si("9.6 \u{2103}", Dimension::Temperature), 9.6);
    assert_eq!(si("8 m\u{3a9}", Dimension::Resistance), 8e-3);
    assert_eq!(si("8 M\u{2126}", Dimension::Resistance), 8e6);
    assert_eq!(si("1.5 mm\u{b2}", Dimension::Area), 1.5e-6);
    assert_eq!(si("1.5 mm^2", Dimension::Area), 1.5e-6);
    for unit in ["nV/rtHz", "nV/sqrt(Hz)", "nV/\u{221a}Hz", "nV/Hz^0.5"] {
        assert_eq!(si(&format!("4.5 {unit}"), Dimension::NoiseVoltage), 4.5e-9);
    }
}

#[test]
fn verif_kilograms_are_weight_only_where_a_force_is_meant() {
    assert_eq!(si("2 kg", Dimension::Mass), 2.0);
    assert_eq!(si("2 kg", Dimension::Force), 2.0 * 9.80665);
    assert_eq!(si("2 kg/m", Dimension::LinearWeight), 2.0 * 9.80665);
}

#[test]
fn verif_spreads() {
    let normal = |half_width| Law::Normal { half_width };
    let uniform = |half_width| Law::Uniform { half_width };
    assert_eq!(law("0.42 W ± 10 %", Dimension::Power), normal(0.42 * 0.1));
    assert_eq!(law("0.42 W +/- 10%", Dimension::Power), normal(0.42 * 0.1));
    assert_eq!(
        law("-4 V ± 10 % of the value", Dimension::Voltage),
        normal(4.0 * 0.1)
    );
    assert_eq!(law("8 mohm ± 4 mohm", Dimension::Resistance), normal(4e-3));
    assert_eq!(
        law("8 mohm ± 400uohm uniform", Dimension::Resistance),
        uniform(4e-4)
    );
    assert_eq!(
        law("0.42 W ± 10 % uniform", Dimension::Power),
        uniform(0.42 * 0.1)
    );
    assert_eq!(law("15 % ± 5 points", Dimension::Ratio), normal(0.05));
    assert_eq!(
        law("15 % ± 1 point uniform", Dimension::Ratio),
        uniform(0.01)
    );
    assert_eq!(
        law("15 % ± 5 % of the value", Dimension::Ratio),
        normal(0.15 * 0.05)
    );
    assert_eq!(law("0.88 ± 0.02", Dimension::Ratio), normal(0.02));
    assert_eq!(law("20 ppm ± 5 ppm", Dimension::Ratio), normal(5e-6));
    assert_eq!(law("9.6 degC ± 0.2 K", Dimension::Temperature), normal(0.2));
    assert_eq!(
        law("9.6 degC ± 0.2 degC", Dimension::Temperature),
        normal(0.2)
    );
    assert_eq!(law("50 degF ± 9 degF", Dimension::Temperature), normal(5.0));
    assert_eq!(
        parse_amount("24 V", Dimension::Voltage).unwrap(),
        Amount {
            si: 24.0,
            law: None
        }
    );
}

#[test]
fn verif_numbers_without_a_unit() {
    let law = |text| parse_number(text).unwrap().law;
    let normal = |half_width| Some(Law::Normal { half_width });
    let uniform = |half_width| Some(Law::Uniform { half_width });
    assert_eq!(law("1.2"), None);
    assert_eq!(law(" 1.2 ± 0.1 "), normal(0.1));
    assert_eq!(law("1.2 +/- 0.1"), normal(0.1));
    assert_eq!(law("1.2±5%"), normal(1.2 * 0.05));
    assert_eq!(law("-1.2 ± 5 % of the value"), normal(1.2 * 0.05));
    assert_eq!(law("1.2 ± 0.1 uniform"), uniform(0.1));
    assert_eq!(law("1.2 ± 5 % uniform"), uniform(1.2 * 0.05));
    assert_eq!(parse_number("1e-6 ± 5e-7").unwrap().si, 1e-6);
    for wrong in [
        "",
        "x",
        "1,2",
        "1.2 m",
        "1.2 uniform",
        "1.2 ± ",
        "1.2 ± -0.1",
        "1.2 ± 3 points",
        "1.2 ± 0.1 m",
        "1.2 ± 5 % of it",
        "1.2 ± 0.1 ± 0.1",
        "inf",
    ] {
        assert!(parse_number(wrong).is_err(), "{wrong}");
    }
}

#[test]
fn verif_levels() {
    let level = |text, kind| parse_level(text, kind).unwrap();
    assert_eq!(
        level("-168 dB re 1 V/uPa ± 1 dB", LevelKind::Sensitivity),
        LevelAmount {
            db: -168.0,
            law: Some(Law::Normal { half_width: 1.0 })
        }
    );
    assert_eq!(
        level(
            "\u{2212}168dB re 1V/\u{b5}Pa +/- 0.5 dB uniform",
            LevelKind::Sensitivity
        )
        .law,
        Some(Law::Uniform { half_width: 0.5 })
    );
    for (text, kind) in [
        ("41 dB re 1 \u{3bc}Pa\u{b2}/Hz", LevelKind::SpectralDensity),
        ("41 dB re 1 uPa^2/Hz", LevelKind::SpectralDensity),
        ("41 dB re 1 uPa/sqrt(Hz)", LevelKind::SpectralDensity),
        ("41 dB re 1 \u{b5}Pa\u{b2}\u{b7}s", LevelKind::Exposure),
        ("41 dB re 1 uPa2.s", LevelKind::Exposure),
        ("41 dB re 1 uPa @ 1 m", LevelKind::Source),
        ("41 dB re 1 uPa at 1 m", LevelKind::Source),
        ("41 dB re 1 uPa\u{b7}m", LevelKind::Source),
        ("41 dB", LevelKind::Gain),
        ("41 dB re 20 uPa", LevelKind::InAir),
    ] {
        assert_eq!(level(text, kind).db, 41.0, "{text}");
    }
}

#[test]
fn verif_conductors() {
    let stranded = |area_mm2, class, tinned| Conductor::Stranded {
        area_mm2,
        class,
        tinned,
    };
    for (text, conductor) in [
        ("1.0 mm2 class 5", stranded(1.0, StrandClass::Five, false)),
        (
            "1.5 mm2 class 2 tinned",
            stranded(1.5, StrandClass::Two, true),
        ),
        (
            "0.75mm\u{b2} class 5",
            stranded(0.75, StrandClass::Five, false),
        ),
        ("18 AWG", Conductor::Awg(18)),
        ("18AWG", Conductor::Awg(18)),
        ("0 AWG", Conductor::Awg(0)),
        ("1/0 AWG", Conductor::Awg(0)),
        ("4/0 AWG", Conductor::Awg(-3)),
    ] {
        assert_eq!(parse_conductor(text).unwrap(), conductor, "{text}");
    }
}

#[test]
fn verif_money_rates_and_shares() {
    for (text, minor, shown) in [
        ("0.12 EUR", 12, "0.12 EUR"),
        ("5 EUR", 500, "5.00 EUR"),
        ("-1.5 EUR", -150, "-1.50 EUR"),
        ("-0.05 USD", -5, "-0.05 USD"),
        ("300 JPY", 300, "300 JPY"),
        ("1.234 KWD", 1234, "1.234 KWD"),
        (
            "92233720368547758.07 EUR",
            i64::MAX,
            "92233720368547758.07 EUR",
        ),
        (
            "-92233720368547758.08 EUR",
            i64::MIN,
            "-92233720368547758.08 EUR",
        ),
    ] {
        let money = parse_money(text).unwrap();
        assert_eq!(money.minor, minor, "{text}");
        assert_eq!(money.to_string(), shown);
    }
    let strange = Money {
        minor: 7,
        currency: *b"QQQ",
    };
    assert_eq!(strange.to_string(), "7 minor units of QQQ");
    assert_eq!(strange.major(), None);
    for (text, major) in [
        ("0.12 EUR", 0.12),
        ("300 JPY", 300.0),
        ("-1.234 KWD", -1.234),
    ] {
        assert_eq!(parse_money(text).unwrap().major(), Some(major), "{text}");
    }
    for (text, count, per_s) in [
        ("6 per hour", 6.0, 3600.0),
        ("1 per 10 s", 1.0, 10.0),
        ("300 per 30 d", 300.0, 30.0 * 86_400.0),
        ("0.5 per d", 0.5, 86_400.0),
        ("2 per ms", 2.0, 1e-3),
        ("0 per 1.5 h", 0.0, 5400.0),
    ] {
        assert_eq!(parse_event_rate(text).unwrap(), EventRate { count, per_s });
    }
    assert_eq!(parse_share("90 %").unwrap().fraction, 0.9);
    assert_eq!(parse_share("0%").unwrap().fraction, 0.0);
    assert_eq!(parse_share("100 %").unwrap().fraction, 1.0);
}

/// A sum that does not fit is none, and never the largest that does.
#[test]
fn verif_money_that_cannot_be_counted_is_none() {
    let price = parse_money("0.12 EUR").unwrap();
    assert_eq!(price.times(360).unwrap().to_string(), "43.20 EUR");
    assert_eq!(price.times(0).unwrap().minor, 0);
    let most = u64::try_from(i64::MAX / 12).unwrap();
    assert_eq!(price.times(most).unwrap().minor, i64::MAX / 12 * 12);
    assert_eq!(price.times(most + 1), None);
    assert_eq!(price.times(u64::MAX), None);
}
