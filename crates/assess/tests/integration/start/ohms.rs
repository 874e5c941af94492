//! Lines that run on the bench and not in the sea: four modules in a row (`reference/power/scipy-boot-sizes.csv`), and one module by `V^2 / 4 R`.

use std::fmt::Write as _;

use assess::input::Contacts;
use assess::{Ruling, Start, start};
use plan::Reading;

use super::judged;
use crate::support::{close, known, read};

/// Four modules of 7.5 W in a row, booting and running, without lock-outs, each behind the way through the one before.
fn four(size_mm2: &str, through_ohm: &str) -> Reading {
    let mut text = "format = 1
[deployment]
name = \"Four in a row\"
start = 2027-01-01
duration = \"1 d\"
[site]
latitude = \"50 deg\"
longitude = \"0 deg\"
water_depth = \"160 m\"
profile = [{ depth = \"0 m\", temperature = \"20 degC\", salinity = 35 }]
[supply.boost]
at = \"module.buoy\"
kind = \"bench\"
output = { voltage = \"24 V\", resistance = \"0.3 ohm\", current_limit = \"20 A\" }
[module.buoy]
position = { depth = \"0 m\" }
passes = { power = \"always\", data = \"always\" }
through = { resistance = \"0 ohm\" }
[requirement.start]
that = \"start-up\"
"
    .to_owned();
    let mut before = "buoy".to_owned();
    for (k, metres) in [30, 40, 40, 40].iter().enumerate() {
        let _ = writeln!(
            text,
            "[module.m{k}]
position = {{ depth = \"{} m\" }}
input = {{ minimum = \"9 V\", maximum = \"36 V\", capacitance = \"10 uF\" }}
loads = {{ listening = \"7.5 W\" }}
boot = {{ time = \"25 s\", power = \"7.5 W\" }}
passes = {{ power = \"always\", data = \"running\" }}
through = {{ resistance = \"{through_ohm} ohm\" }}
[span.s{k}]
from = \"module.{before}\"
to = \"module.m{k}\"
length = \"{metres} m\"
conductor = \"{size_mm2} mm2 class 5\"
contacts = {{ mated_pins_in_loop = 0, resistance = \"0 ohm\" }}",
            30 * (k + 1)
        );
        before = format!("m{k}");
    }
    let reading = read(&text);
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    reading
}

fn told(reading: &Reading) -> Start {
    start(reading.line.as_ref().unwrap(), Contacts::Aged, None).unwrap()
}

#[test]
fn val_four_modules_start_where_all_come_above_what_they_need() {
    let rows = truth::rows("power/scipy-boot-sizes.csv");
    assert_eq!(rows.len(), 10);
    let mut failed = 0;
    for row in rows {
        let starts = &row[4] == "1";
        let seen = told(&four(&row[1], &row[0]));
        assert_eq!(seen.outcome == "started", starts, "{row:?}: {}", seen.told);
        assert_eq!(seen.ohms.is_none(), starts, "{row:?}: {:?}", seen.ohms);
        failed += usize::from(!starts);
    }
    assert_eq!(failed, 1);
}

/// Of 0.75 mm2 with 0.6 ohm a module the last stays at 8.09 V, and starts without the 0.6 ohm, and with 1 mm2: told so, with the 9.9 ohm before it, through which 24^2 / (4 x 9.9) = 14.55 W arrive
/// at most.
#[test]
fn val_what_keeps_four_modules_from_starting_is_named_with_its_ohms() {
    let reading = four("0.75", "0.6");
    let rows = truth::rows("power/scipy-boot-sizes.csv");
    let row = rows
        .iter()
        .find(|r| r[0] == "0.6" && r[1] == "0.75")
        .unwrap();
    let ohm = truth::number(&row[2]);
    let ohms = told(&reading).ohms.unwrap();
    for what in [
        "it runs on the bench, with leads of 1 m and new contacts, and will not start in the sea".to_owned(),
        format!("{ohm:.2} ohm lie before module.m3, through which no more than {:.2} W arrive", 24.0 * 24.0 / (4.0 * ohm)),
        "2.08 ohm of the conductors of span.s1".to_owned(),
        "without the through-resistance of its modules it would start".to_owned(),
        "with 1 mm2 in span.s0, 1 mm2 in span.s1, 1 mm2 in span.s2 and 1 mm2 in span.s3 it would start".to_owned(),
    ] {
        assert!(ohms.contains(&what), "{what}: {ohms}");
    }
    let check = judged(&reading);
    let verdict = known(&check, "start");
    assert_eq!(verdict.ruling, Ruling::Broken);
    assert!(verdict.why.contains(&ohms), "{}", verdict.why);
    // Together the line never carries them, so that no order helps.
    assert!(
        verdict.why.contains("no order of starting helps"),
        "{}",
        verdict.why
    );
    assert!(told(&four("1", "0.6")).ohms.is_none());
    assert!(told(&four("0.75", "0")).ohms.is_none());
}

const TWO: &str = include_str!("../two.toml");

/// Behind 20 ohm 48 V give no more than 28.8 W: a boot of 28 W goes, one of 30 W does not, and it is the 16.1 ohm of contacts that say so. A boot beyond what the supply gives at its terminals is
/// not the line's fault.
#[test]
fn val_one_module_starts_below_the_matched_load_and_not_above() {
    let one = |boot_w: f64, aged: &str| {
        let mut text = TWO.to_owned();
        for (from, to) in [
            ("minimum = \"20 V\", maximum = \"72 V\"", "minimum = \"20 V\", maximum = \"72 V\", capacitance = \"100 uF\", lock_out = { on = \"40 V\", off = \"20 V\" }".to_owned()),
            ("boot = { time = \"1 s\", power = \"5 W\" }", format!("boot = {{ time = \"1 s\", power = \"{boot_w} W\" }}")),
            ("working = \"25 W\"", "working = \"4 W\"".to_owned()),
            ("resistance = \"16.1 ohm\", aged = \"16.1 ohm\"", format!("resistance = \"0.1 ohm\", aged = \"{aged} ohm\"")),
        ] {
            assert!(text.contains(from), "`{from}` is not in the plan");
            text = text.replace(from, &to);
        }
        let reading = read(&text);
        assert!(!reading.has_errors(), "{:?}", reading.mistakes);
        told(&reading)
    };
    assert_eq!(one(28.0, "16.1").outcome, "started");
    let seen = one(30.0, "16.1");
    assert_ne!(seen.outcome, "started");
    let ohms = seen.ohms.unwrap();
    assert!(ohms.contains("20.00 ohm lie before module.far, through which no more than 28.80 W arrive: 16.10 ohm of the contacts of span.cable"), "{ohms}");
    assert!(ohms.contains("with new contacts it would start"), "{ohms}");
    assert!(!ohms.contains("through-resistance"), "{ohms}");
    // 5 A of 48 V are 240 W.
    let beyond = one(300.0, "0.1");
    assert_ne!(beyond.outcome, "started");
    assert_eq!(beyond.ohms, None);
    close(beyond.supplies[0].limit_a.unwrap(), 5.0, 0.0);
}
