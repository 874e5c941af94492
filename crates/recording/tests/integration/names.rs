//! Start times in file names (ISO 8601-1:2019, basic format).

use jiff::Timestamp;
use recording::{NameTimeError, Warning, start_from_name};

use crate::bytes::{mono16, open};

fn at(text: &str) -> Timestamp {
    text.parse().unwrap()
}

/// Seconds since 1970 computed by `date -u -d ... +%s` of GNU coreutils 9.1.
#[test]
fn val_seconds_since_1970_are_those_of_gnu_date() {
    for (name, seconds) in [
        ("20270315T041500Z.wav", 1_805_084_100),
        ("site_20240229T235959Z_ch01.flac", 1_709_251_199),
        ("A-20000101T000000Z", 946_684_800),
    ] {
        assert_eq!(
            start_from_name(name).unwrap().as_second(),
            seconds,
            "{name}"
        );
    }
}

#[test]
fn verif_fractions_of_a_second() {
    let names = [
        ("x_20270315T041500.250Z.wav", "2027-03-15T04:15:00.25Z"),
        ("20270315T041500.5Z", "2027-03-15T04:15:00.5Z"),
        (
            "(20270315T041500.123456789Z)",
            "2027-03-15T04:15:00.123456789Z",
        ),
        ("ünter_20270315T041500.000Z", "2027-03-15T04:15:00Z"),
    ];
    for (name, instant) in names {
        assert_eq!(start_from_name(name), Ok(at(instant)), "{name}");
    }
}

#[test]
fn verif_names_that_tell_no_time_in_utc_say_why() {
    assert_eq!(start_from_name("orca.ogg"), Err(NameTimeError::NoTime));
    assert_eq!(start_from_name(""), Err(NameTimeError::NoTime));
    assert_eq!(
        start_from_name("x20270315T041500Z"),
        Err(NameTimeError::NoTime)
    );
    assert_eq!(
        start_from_name("2027-03-15T04:15:00Z"),
        Err(NameTimeError::NoTime)
    );
    let not_utc = |found: &str| {
        Err(NameTimeError::NotUtc {
            found: found.into(),
        })
    };
    assert_eq!(
        start_from_name("20270315T041500.wav"),
        not_utc("20270315T041500")
    );
    assert_eq!(
        start_from_name("20270315T041500.250.wav"),
        not_utc("20270315T041500.250")
    );
    assert_eq!(
        start_from_name("20270315T041500+0100.wav"),
        not_utc("20270315T041500")
    );
    assert_eq!(
        start_from_name("20270315T041500Zulu.wav"),
        not_utc("20270315T041500")
    );
    let wrong = |found: &str| {
        Err(NameTimeError::OutOfRange {
            found: found.into(),
        })
    };
    assert_eq!(
        start_from_name("20270229T041500Z"),
        wrong("20270229T041500Z")
    );
    assert_eq!(
        start_from_name("20270315T246000Z"),
        wrong("20270315T246000Z")
    );
    assert_eq!(
        start_from_name("20270315T041500.1234567890Z"),
        wrong("20270315T041500.1234567890Z")
    );
    assert!(matches!(
        start_from_name("20270315T041500Z_20270315T042000Z.wav"),
        Err(NameTimeError::TwoTimes { .. })
    ));
    assert!(start_from_name("20270315T041500Z_20270315T041500.0Z.wav").is_ok());
}

#[test]
fn verif_a_recording_takes_its_start_from_its_name_or_warns() {
    let wav = mono16(&[1, 2, 3]);
    assert_eq!(
        open(&wav).unwrap().info().start,
        Some(at("2027-03-15T04:15:00Z"))
    );
    let unnamed =
        recording::Recording::from_reader(Box::new(std::io::Cursor::new(wav)), "tank.wav").unwrap();
    assert_eq!(unnamed.info().start, None);
    assert_eq!(
        unnamed.warnings(),
        [Warning::StartUnknown(NameTimeError::NoTime)]
    );
}
