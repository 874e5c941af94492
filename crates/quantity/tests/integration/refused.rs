//! Mistakes that must be named, with their place and a way to mend them.

use quantity::{
    Dimension, Fault, FaultKind, LevelKind, SpreadFault, parse_amount, parse_conductor,
    parse_event_rate, parse_level, parse_money, parse_share,
};

/// The text under the fault, its message and its help.
fn told(text: &str, fault: Fault) -> (String, String, String) {
    let under = text[fault.range.clone()].to_owned();
    let help = fault.help().unwrap_or_default();
    (under, fault.to_string(), help)
}

#[track_caller]
fn refuses(text: &str, dimension: Dimension, under: &str, message: &str, help: &str) {
    let fault = parse_amount(text, dimension).expect_err(text);
    let found = told(text, fault);
    assert_eq!(
        (found.0.as_str(), found.1.as_str()),
        (under, message),
        "{text}"
    );
    assert!(found.2.contains(help), "{text}: help is {:?}", found.2);
}

#[test]
fn verif_numbers_that_are_none() {
    let comma = "do not group digits";
    refuses("1,5 m", Dimension::Length, "1,5", "decimal comma", comma);
    refuses(
        "1,000 m",
        Dimension::Length,
        "1,000",
        "decimal comma",
        comma,
    );
    let gaps = "without gaps";
    refuses(
        "1 000 m",
        Dimension::Length,
        "000",
        "digits in groups",
        gaps,
    );
    refuses(
        "1_000 m",
        Dimension::Length,
        "1_000",
        "digits in groups",
        gaps,
    );
    refuses(
        "",
        Dimension::Length,
        "",
        "a number is missing",
        "begin with",
    );
    refuses(
        "  ",
        Dimension::Length,
        "",
        "a number is missing",
        "begin with",
    );
    refuses(
        "about 5 m",
        Dimension::Length,
        "about",
        "`about` is not a number",
        "begin",
    );
    refuses(
        ".5 m",
        Dimension::Length,
        ".5",
        "`.5` is not a number",
        "both sides",
    );
    refuses(
        "5. m",
        Dimension::Length,
        "5.",
        "`5.` is not a number",
        "both sides",
    );
    refuses(
        "1.2.3 m",
        Dimension::Length,
        "1.2.3",
        "`1.2.3` is not a number",
        "both",
    );
    for word in ["nan", "NaN", "inf", "-inf", "Infinity", "1e999", "\u{221e}"] {
        refuses(
            &format!("{word} m"),
            Dimension::Length,
            word,
            "the number is not finite",
            "",
        );
    }
    refuses(
        "1e308 km",
        Dimension::Length,
        "1e308",
        "the number is not finite",
        "",
    );
    refuses(
        "1e-999 m",
        Dimension::Length,
        "1e-999",
        "the number is too small to hold",
        "",
    );
    refuses(
        "1e99999999999999999999 m",
        Dimension::Length,
        "1e99999999999999999999",
        "the number is not finite",
        "",
    );
}

#[test]
fn verif_units_that_do_not_fit() {
    refuses(
        "24",
        Dimension::Voltage,
        "24",
        "a voltage needs a unit",
        "`24 V`",
    );
    refuses(
        "2",
        Dimension::Current,
        "2",
        "a supply current needs a unit",
        "`2.5 A`",
    );
    refuses(
        "0.4 MW",
        Dimension::Power,
        "MW",
        "unknown unit `MW`",
        "capital and small letters differ: write mW",
    );
    refuses(
        "5 khz",
        Dimension::Frequency,
        "khz",
        "unknown unit `khz`",
        "write kHz",
    );
    refuses(
        "5 mOhm",
        Dimension::Resistance,
        "mOhm",
        "unknown unit `mOhm`",
        "write mohm or Mohm",
    );
    refuses(
        "3 hrs",
        Dimension::Time,
        "hrs",
        "unknown unit `hrs`",
        "did you mean `h`?",
    );
    refuses(
        "3 kt",
        Dimension::Speed,
        "kt",
        "unknown unit `kt`",
        "did you mean `kn`?",
    );
    refuses(
        "60 fathom s",
        Dimension::Length,
        "s",
        "`s` is left over",
        "number and a unit",
    );
    refuses(
        "60 fathms",
        Dimension::Length,
        "fathms",
        "unknown unit `fathms`",
        "`fathoms`",
    );
    refuses(
        "3 parsec",
        Dimension::Length,
        "parsec",
        "unknown unit `parsec`",
        "units of length: m, km,",
    );
    let month = "28 to 31 days";
    refuses(
        "3 months",
        Dimension::Time,
        "months",
        "`months` has no single length",
        month,
    );
    refuses(
        "1 yr",
        Dimension::Time,
        "yr",
        "`yr` has no single length",
        "365 or 366",
    );
    refuses(
        "24 V",
        Dimension::Current,
        "V",
        "`V` is a unit of voltage, not of supply current",
        "`2.5 A`",
    );
    refuses(
        "9.6 C",
        Dimension::Temperature,
        "C",
        "`C` is a unit of electric charge, not of temperature",
        "did you mean `degC`?",
    );
    refuses(
        "280 K",
        Dimension::Temperature,
        "K",
        "`K` is a unit of temperature difference, not of temperature",
        "degC",
    );
    refuses(
        "5 degC",
        Dimension::TemperatureDifference,
        "degC",
        "`degC` is a unit of temperature, not of temperature difference",
        "written in K",
    );
    refuses(
        "60 Ah",
        Dimension::Energy,
        "Ah",
        "`Ah` is a unit of electric charge, not of energy",
        "times the voltage",
    );
}

#[test]
fn verif_spreads_that_do_not_fit() {
    refuses(
        "15 % ± 5 %",
        Dimension::Ratio,
        "%",
        "`%` of a percentage can be read in two ways",
        "± 5 points",
    );
    refuses(
        "0.42 W ±",
        Dimension::Power,
        "",
        "the spread is missing",
        "half width",
    );
    refuses(
        "0.42 W ± -0.1 W",
        Dimension::Power,
        "-0.1",
        "a spread cannot be negative",
        "",
    );
    refuses(
        "0.42 W ± 0.1",
        Dimension::Power,
        "0.1",
        "a power needs a unit",
        "`0.55 W`",
    );
    refuses(
        "15 % ± 0.1",
        Dimension::Ratio,
        "0.1",
        "a ratio needs a unit",
        "`15 % ± 5 points`",
    );
    refuses(
        "0.42 W ± 5 points",
        Dimension::Power,
        "points",
        "points belong to percentages",
        "%",
    );
    refuses(
        "0.42 W ± 1 V",
        Dimension::Power,
        "V",
        "`V` is a unit of voltage, not of power",
        "",
    );
    refuses(
        "0.42 W ± 10 % normal",
        Dimension::Power,
        "normal",
        "`normal` is left over",
        "",
    );
    refuses(
        "0.42 W uniform",
        Dimension::Power,
        "uniform",
        "`uniform` is left over",
        "spread",
    );
    refuses(
        "1 W ± 1 W ± 1 W",
        Dimension::Power,
        "± 1 W",
        "`± 1 W` is left over",
        "",
    );
    refuses(
        "9 degC ± 5 %",
        Dimension::Temperature,
        "%",
        "a spread of a temperature cannot be a percentage",
        "degrees",
    );
}

#[test]
fn verif_levels_that_do_not_fit() {
    let check = |text: &str, kind, under: &str, message: &str, help: &str| {
        let found = told(text, parse_level(text, kind).unwrap_err());
        assert_eq!(
            (found.0.as_str(), found.1.as_str()),
            (under, message),
            "{text}"
        );
        assert!(found.2.contains(help), "{text}: help is {:?}", found.2);
    };
    check(
        "120 dB",
        LevelKind::Pressure,
        "dB",
        "a sound pressure level needs its reference",
        "120 dB re 1 uPa",
    );
    check(
        "-48 dB re 1 V/Pa",
        LevelKind::Sensitivity,
        "re 1 V/Pa",
        "this is a microphone sensitivity, not a hydrophone sensitivity",
        "subtract 120 dB",
    );
    check(
        "26 dB re 1 uPa",
        LevelKind::Gain,
        "re 1 uPa",
        "this is a sound pressure level, not a gain",
        "26 dB",
    );
    check(
        "26",
        LevelKind::Gain,
        "26",
        "a gain is written in dB",
        "26 dB",
    );
    check(
        "26 db",
        LevelKind::Gain,
        "db",
        "a gain is written in dB",
        "26 dB",
    );
    check(
        "26 dB re 2 uPa",
        LevelKind::Pressure,
        "re 2 uPa",
        "unknown reference `re 2 uPa`",
        "re 1 uPa",
    );
    check(
        "26 dB ± 10 %",
        LevelKind::Gain,
        "%",
        "the spread of a level is written in dB",
        "± 1 dB",
    );
    check(
        "26 dB ± 1",
        LevelKind::Gain,
        "1",
        "the spread of a level is written in dB",
        "± 1 dB",
    );
}

#[test]
fn verif_the_other_kinds_name_their_mistakes() {
    let conductor = |text| parse_conductor(text).unwrap_err().kind;
    assert!(matches!(
        conductor("1.0 mm2"),
        FaultKind::NotAConductor { .. }
    ));
    assert!(matches!(conductor("1.0"), FaultKind::NotAConductor { .. }));
    assert!(matches!(
        conductor("1.0 cm2 class 5"),
        FaultKind::NotAConductor { .. }
    ));
    assert!(matches!(
        conductor("1.0 mm2 class 3"),
        FaultKind::UnknownClass { .. }
    ));
    assert!(matches!(
        conductor("1.0 mm2 class"),
        FaultKind::UnknownClass { .. }
    ));
    assert!(matches!(conductor("0 mm2 class 5"), FaultKind::Zero { .. }));
    assert!(matches!(
        conductor("-1 mm2 class 5"),
        FaultKind::Negative { .. }
    ));
    assert!(matches!(
        conductor("1 mm2 class 5 gold"),
        FaultKind::Trailing { .. }
    ));
    assert!(matches!(
        conductor("41 AWG"),
        FaultKind::UnknownGauge { .. }
    ));
    assert!(matches!(
        conductor("5/0 AWG"),
        FaultKind::UnknownGauge { .. }
    ));
    assert!(matches!(
        conductor("-2 AWG"),
        FaultKind::UnknownGauge { .. }
    ));
    assert!(matches!(conductor("AWG"), FaultKind::UnknownGauge { .. }));
    assert!(matches!(
        conductor("1 mm2 class 5 ± 1 %"),
        FaultKind::BadUncertainty {
            cause: SpreadFault::NotTaken
        }
    ));

    let money = |text| parse_money(text).unwrap_err().kind;
    assert!(matches!(
        money("0.125 EUR"),
        FaultKind::MoneyDecimals {
            allowed: 2,
            found: 3,
            ..
        }
    ));
    assert!(matches!(
        money("0.1 JPY"),
        FaultKind::MoneyDecimals {
            allowed: 0,
            found: 1,
            ..
        }
    ));
    assert!(matches!(money("1e2 EUR"), FaultKind::MoneyExponent));
    assert!(matches!(money("1"), FaultKind::MissingCurrency));
    assert!(matches!(money("1 eur"), FaultKind::UnknownCurrency { .. }));
    assert!(matches!(
        money("92233720368547758.08 EUR"),
        FaultKind::MoneyTooLarge
    ));
    assert!(matches!(money("0,12 EUR"), FaultKind::DecimalComma));

    let rate = |text| parse_event_rate(text).unwrap_err().kind;
    assert!(matches!(rate("6"), FaultKind::MissingPer));
    assert!(matches!(rate("6/h"), FaultKind::MissingPer));
    assert!(matches!(rate("6 per"), FaultKind::MissingPer));
    assert!(matches!(rate("-6 per hour"), FaultKind::Negative { .. }));
    assert!(matches!(rate("6 per 0 s"), FaultKind::Zero { .. }));
    assert!(matches!(rate("6 per 10"), FaultKind::MissingUnit { .. }));
    assert!(matches!(
        rate("6 per year"),
        FaultKind::AmbiguousUnit { .. }
    ));
    let fault = parse_event_rate("6 per month").unwrap_err();
    assert!(matches!(fault.kind, FaultKind::AmbiguousUnit { .. }));
    assert!(fault.help().unwrap().contains("30 d"));
    assert!(matches!(
        rate("6 per 2 months"),
        FaultKind::AmbiguousUnit { .. }
    ));
    assert!(matches!(rate("6 per m"), FaultKind::WrongDimension { .. }));

    let share = |text| parse_share(text).unwrap_err().kind;
    assert!(matches!(share("0.9"), FaultKind::MissingUnit { .. }));
    assert!(matches!(share("101 %"), FaultKind::ShareAboveWhole));
    assert!(matches!(share("-1 %"), FaultKind::Negative { .. }));
    assert!(matches!(share("90 % of years"), FaultKind::Trailing { .. }));
}
