//! Hours of hearing: one cause at a time against its own closed form or the energy year, all at once between their bounds, and what keeps them unknown.

use assess::{
    Cause, CauseKnown, CauseTold, EarHours, HoursAsk, ListeningHours, Ruling, Shelf, Sureness,
    Tier, Verdict, Word, check, check_with, energy_years, listening_hours,
};
use mooring::{Strummed, TideSpeeds, risen_height_m, strum_in_a_fortnight};
use plan::SupplyIx;

use crate::certainty::{ask, certain, drawn};
use crate::moored::head;
use crate::support::{NO_WIND, close, good, known, read, requirement, why_unknown};

/// A hydrophone 30 m down beside a rope of 12 mm under a buoy of 1.5 m, a detector from 15 to 30 Hz, springs of 1.2 m/s and neaps of 0.6 m/s; its chain bears 1 V at
/// -170 dB and 20 dB, 150 dB re 1 uPa or 31.6 Pa. Invented.
const EAR: &str = r#"
weight_in_water = "5 kN"
[part.line]
is = "rope"
diameter = "12 mm"
[section.riser]
from = "module.buoy"
to = "anchor.sinker"
length = "60 m"
rope = "part.line"
[module.ear]
position = { section = "section.riser", from_top = "30 m" }
boot = { time = "30 s", power = "1 W" }
sensor.one = { kind = "hydrophone", sensitivity = "-170 dB re 1 V/uPa", gain = "20 dB", settles_in = "10 s", high_pass = { corner = "10 Hz", poles = 2 }, adc = { full_scale = "1 V", bits = 16, rate = "1 kHz" } }
[span.down]
from = "module.buoy"
to = "module.ear"
conductor = "1.0 mm2 class 5"
[detector.boom]
on = "module.ear.sensor.one"
stages = [{ band = ["15 Hz", "30 Hz"] }, { level = "rms", window = "0.25 s" }, { on_above = "120 dB re 1 uPa", off_below = "115 dB re 1 uPa", shortest = "0.5 s", longest = "5 s", hold_off = "10 s" }]
[case.neap]
current = [{ depth = "0 m", speed = "0.6 m/s" }]
strongest_at = "neaps"
[case.spring]
current = [{ depth = "0 m", speed = "1.2 m/s" }]
strongest_at = "springs"
"#;
const WIND: &str = "wind = [\"10 m/s\", \"10 m/s\", \"9 m/s\", \"8 m/s\", \"7 m/s\", \"6 m/s\", \"6 m/s\", \"7 m/s\", \"8 m/s\", \"9 m/s\", \"10 m/s\", \"11 m/s\"]\n";
const MEANS_M_S: [f64; 12] = [
    10.0, 10.0, 9.0, 8.0, 7.0, 6.0, 6.0, 7.0, 8.0, 9.0, 10.0, 11.0,
];
/// No sea clips behind two poles at 10 Hz but for short waves of which the buoy follows some.
const QUIET: (&str, &str) = ("gain = \"20 dB\"", "gain = \"-20 dB\"");
/// Behind a lower corner seas of some metres clip it.
const LOWER: (&str, &str) = ("corner = \"10 Hz\"", "corner = \"4.7 Hz\"");
const FAIRED: (&str, &str) = (
    "rope = \"part.line\"",
    "rope = \"part.line\"\nfairing = true",
);

fn text(changes: &[(&str, &str)], asks: &str) -> String {
    let head = head("hours of hearing", 60.0, 1025.0)
        .replace(NO_WIND, WIND)
        .replace(
            "[module.buoy]\n",
            "[module.buoy]\nhull = { waterplane = \"1.767146 m2\" }\n",
        );
    let mut text = head + EAR + asks;
    for (from, to) in changes {
        assert_eq!(text.matches(from).count(), 1, "{from}");
        text = text.replace(from, to);
    }
    text
}

#[track_caller]
fn hours_of(text: &str, years: u64, threads: usize) -> ListeningHours {
    let reading = read(text);
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    let ask = HoursAsk {
        years: Some(years),
        threads,
        ..HoursAsk::default()
    };
    let found = listening_hours(reading.line.as_ref().unwrap(), &ask, &|_| true);
    found.unwrap().unwrap()
}

fn cause(ear: &EarHours, wanted: Cause) -> &CauseTold {
    ear.causes.iter().find(|c| c.cause == wanted).unwrap()
}

#[track_caller]
fn checked(text: &str) -> assess::Check {
    let reading = read(text);
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    check(&reading, &Shelf::default())
}

/// Strum alone: over 60 years of random phases the share is that of a fortnight in closed form, and all that is lost is strum's; threads change no bit.
#[test]
fn verif_strum_alone_is_the_share_of_a_fortnight() {
    let plan = text(&[QUIET], "");
    let hours = hours_of(&plan, 60, 1);
    assert_eq!(hours, hours_of(&plan, 60, 2));
    let ear = &hours.ears[0];
    assert!(ear.unknown.is_empty(), "{:?}", ear.unknown);
    assert!(
        matches!(cause(ear, Cause::Heave).known, CauseKnown::Nothing(_)),
        "{ear:?}"
    );
    let share = strum_in_a_fortnight(
        &Strummed {
            diameter_m: 0.012,
            viscosity_m2_s: 1.35e-6,
            low_hz: 15.0,
            high_hz: 30.0,
        },
        &TideSpeeds {
            spring_m_s: 1.2,
            neap_m_s: 0.6,
            steady_m_s: 0.0,
        },
    )
    .unwrap()
    .either;
    let strum = cause(ear, Cause::Strum);
    close(strum.alone, share, 2e-3);
    close(strum.only, strum.alone, 1e-12);
    close(1.0 - ear.heard.mean, strum.alone, 1e-9);
    // At neaps slack water comes every six hours; about springs strum lasts over a turn of the tide.
    assert!(
        (3.0..8.0).contains(&ear.heard.longest_gap_h),
        "{:?}",
        ear.heard
    );
    for other in [Cause::Power, Cause::Starting, Cause::Path, Cause::Clock] {
        close(cause(ear, other).alone, 0.0, 0.0);
    }
}

/// Heave alone: the share of hours beyond the wind that clips, month by month by Rayleigh's law in closed form, within five sampling errors of a wind that forgets in a day.
#[test]
fn verif_heave_alone_is_the_share_of_the_wind() {
    let hours = hours_of(&text(&[FAIRED, LOWER], ""), 100, 1);
    let ear = &hours.ears[0];
    assert!(ear.unknown.is_empty(), "{:?}", ear.unknown);
    let waved = ear.waved.as_ref().unwrap();
    close(waved.full_scale_pa, 31.622_776_6, 1e-6);
    let above_m = waved.clips_above_m();
    assert!(above_m.is_finite(), "{waved:?}");
    // The wind of a sea of that height: 0.2148 U^2/g of the wind at 10 m.
    let wind_m_s = (above_m / risen_height_m(1.0)).sqrt();
    let days = [
        31.0, 28.0, 31.0, 30.0, 31.0, 30.0, 31.0, 31.0, 30.0, 31.0, 30.0, 31.0,
    ];
    let beyond = |mean: f64| (-std::f64::consts::PI / 4.0 * (wind_m_s / mean).powi(2)).exp();
    let share: f64 = MEANS_M_S
        .iter()
        .zip(days)
        .map(|(m, d)| beyond(*m) * d / 365.0)
        .sum();
    let error = (share * (1.0 - share) / (100.0 * 8760.0 / 48.0)).sqrt();
    let heave = cause(ear, Cause::Heave);
    close(heave.alone, share, 5.0 * error);
    assert!(share > 0.01 && share < 0.99, "{share} at {wind_m_s} m/s");
    close(1.0 - ear.heard.mean, heave.alone, 1e-9);
    assert_eq!(
        ear.heard.worst_month, 2,
        "the deployment of March and April is windier in March"
    );
}

/// Power alone: hours off are those of the energy year, to the hour, and each return costs a boot and a settling.
#[test]
fn verif_power_is_that_of_the_energy_year() {
    let sun = (
        "kind = \"bench\"",
        "kind = \"solar-battery\"\npanels = { peak_power_each = \"20 W\", tilt = \"60 deg\", faces = 4, loss = \"15 %\" }\nbattery = { chemistry = \"lifepo4\", capacity = \"12 Ah\", voltage = \"12.8 V\" }",
    );
    let clearness = (
        "shipping = 0.2",
        "shipping = 0.2\nclearness = [0.34, 0.38, 0.42, 0.45, 0.47, 0.46, 0.43, 0.42, 0.41, 0.37, 0.33, 0.31]",
    );
    let reading = good(&[sun, clearness]);
    let line = reading.line.as_ref().unwrap();
    let years = energy_years(line, SupplyIx(0), 1, Some(12), &mut |_| true)
        .unwrap()
        .unwrap();
    let off: u32 = years.outages.hours_off().iter().sum();
    assert!(off > 100, "{off}");
    let ask = HoursAsk {
        years: Some(12),
        ..HoursAsk::default()
    };
    let hours = listening_hours(line, &ask, &|_| true).unwrap().unwrap();
    for ear in &hours.ears {
        let power = cause(ear, Cause::Power);
        close(power.alone * 12.0 * 8760.0, f64::from(off), 1e-6);
        // The plan has no wind and hangs nothing on sections.
        assert!(!ear.unknown.is_empty());
        let started_s = cause(ear, Cause::Starting).alone * 12.0 * 8760.0 * 3600.0;
        assert!(started_s > 0.0);
    }
    // At once is no more than each, and no more than its fewest.
    for pair in hours.at_once.windows(2) {
        assert!(pair[0].heard.mean >= pair[1].heard.mean - 1e-12);
    }
}

/// All at once lies between the largest cause and their sum (Frechet), and is no product: what heave and strum take together is counted once.
#[test]
fn verif_all_at_once_lies_between_the_bounds() {
    let hours = hours_of(&text(&[LOWER], ""), 40, 2);
    let ear = &hours.ears[0];
    let lost = 1.0 - ear.heard.mean;
    let alone: Vec<f64> = ear.causes.iter().map(|c| c.alone).collect();
    let largest = alone.iter().copied().fold(0.0, f64::max);
    let sum: f64 = alone.iter().sum();
    assert!(
        lost >= largest - 1e-9 && lost <= sum.min(1.0) + 1e-9,
        "{lost} {alone:?}"
    );
    assert!(cause(ear, Cause::Heave).alone > 0.0 && cause(ear, Cause::Strum).alone > 0.0);
    assert!(ear.causes.iter().map(|c| c.only).sum::<f64>() < lost);
    // Wind and tide know nothing of each other: in the long run the joint share comes near the product, which the simulation does not use.
    let product = (1.0 - cause(ear, Cause::Heave).alone) * (1.0 - cause(ear, Cause::Strum).alone);
    close(ear.heard.mean, product, 0.01);
}

const ASKS: &str = r#"
[requirement.hears]
that = "listening-share"
at_least = "80 %"
share = "90 %"
[requirement.some]
that = "listening-share"
hydrophones = 1
at_least = "5 %"
share = "90 %"
[requirement.gap]
that = "listening-gap"
of = "module.ear.sensor.one"
at_most = "12 h"
share = "90 %"
confidence = "95 %"
[requirement.clips]
that = "heave-overload"
at_most = "0.1 %"
"#;

/// A line that meets its voltages is deaf for most of each tide, and the verdict says why and what mends it. With fairing it hears.
#[test]
fn verif_a_deaf_line_is_told_from_a_quiet_sea() {
    let plan = text(&[QUIET], ASKS);
    let found = checked(&plan);
    assert_eq!(requirement(&found, "hears").word(), Word::Broken);
    let hears = known(&found, "hears");
    for told in [
        "300 of 300 generated years have less than 80 % of the hours of some month",
        "strum takes most",
        "`fairing = true`",
    ] {
        assert!(hears.why.contains(told), "{told}: {}", hears.why);
    }
    assert_eq!(requirement(&found, "some").word(), Word::Met);
    assert_eq!(known(&found, "some").subject, "1 of 1 hydrophones at once");
    close(known(&found, "some").value.value, hears.value.value, 1e-9);
    assert_eq!(requirement(&found, "gap").word(), Word::Met);
    assert_eq!(requirement(&found, "clips").word(), Word::Met);
    let mended = checked(&text(&[QUIET, FAIRED], ASKS));
    for id in ["hears", "some", "gap", "clips"] {
        assert_eq!(requirement(&mended, id).word(), Word::Met, "{id}");
    }
    let reading = read(&plan);
    let quick = check_with(
        &reading,
        &Shelf::default(),
        &assess::Memo::new(),
        Tier::Quick,
    );
    assert_eq!(requirement(&quick, "some").word(), Word::Provisional);
}

/// The share of years is a claim that bears some bad ones: with fewer years the value is that of the year that decides in proportion, and the shares so far and borne are told.
/// A limit that half of the years keep is not kept by the best of thirty.
#[test]
fn verif_a_quick_check_of_hearing_tells_the_share_of_bad_years_so_far() {
    let plan = |limit: &str| {
        let asks = format!(
            "[requirement.hears]\nthat = \"listening-share\"\nat_least = \"{limit}\"\nshare = \"50 %\"\n"
        );
        text(&[QUIET], &asks)
    };
    let checked_in = |text: &str, tier| {
        let reading = read(text);
        assert!(!reading.has_errors(), "{:?}", reading.mistakes);
        check_with(&reading, &Shelf::default(), &assess::Memo::new(), tier)
    };
    let full = checked_in(&plan("1 %"), Tier::Full);
    let whole = known(&full, "hears").value.value;
    let quick = checked_in(&plan("1 %"), Tier::Quick);
    let Verdict::Provisional(so_far) = &requirement(&quick, "hears").verdicts[0] else {
        panic!("{:?}", requirement(&quick, "hears"));
    };
    assert_eq!((so_far.counted, so_far.of), (30, 300));
    assert!(so_far.why.contains("0 of 30"), "{}", so_far.why);
    assert!(
        so_far.why.contains(" so far, and 50 % of years"),
        "{}",
        so_far.why
    );
    // That of thirty is near that of all.
    assert!(
        (so_far.value.value - whole).abs() < 5.0,
        "{so_far:?} {whole}"
    );
    // A limit a little above it is broken by about half of the years, more than the share bears of all: neither is decided by thirty.
    let above = format!("{} %", so_far.value.value + 0.01);
    let quick = checked_in(&plan(&above), Tier::Quick);
    let judged = requirement(&quick, "hears");
    assert_eq!(judged.word(), Word::Provisional);
    let Verdict::Provisional(so_far) = &judged.verdicts[0] else {
        panic!("{judged:?}");
    };
    assert!(so_far.margin.value < 0.0 && so_far.so_far == Ruling::Marginal);
}

/// What clips nothing is no share of the time at all, whatever the tail of a normal law comes to, and keeps a limit of nothing.
#[test]
fn verif_what_clips_nothing_is_nothing() {
    for limit in ["0 %", "0.1 %"] {
        let asks = ASKS.replace("at_most = \"0.1 %\"", &format!("at_most = \"{limit}\""));
        let found = checked(&text(&[QUIET, FAIRED], &asks));
        let clips = known(&found, "clips");
        assert_eq!(clips.value.value.to_bits(), 0.0_f64.to_bits(), "{clips:?}");
        assert!(clips.margin.value.is_sign_positive(), "{clips:?}");
        assert_eq!(requirement(&found, "clips").word(), Word::Met);
    }
}

/// Without a high-pass a sea of two metres clips an ordinary chain nearly all the time, and the verdict names a corner that keeps it, which then does.
#[test]
fn verif_a_chain_without_a_high_pass_is_clipped_by_its_own_heave() {
    let bare = ("high_pass = { corner = \"10 Hz\", poles = 2 }, ", "");
    let found = checked(&text(&[bare, FAIRED], ASKS));
    let clips = known(&found, "clips");
    assert_eq!(requirement(&found, "clips").word(), Word::Broken);
    assert!(clips.value.value > 90.0, "{clips:?}");
    let named = "a high-pass of 2 poles at ";
    let after = clips
        .why
        .split(named)
        .nth(1)
        .unwrap_or_else(|| panic!("{}", clips.why));
    let corner = after.split(" Hz").next().unwrap();
    let other = format!("high_pass = {{ corner = \"{corner} Hz\", poles = 2 }}, ");
    let mended = checked(&text(&[(bare.0, other.as_str()), FAIRED], ASKS));
    assert!(
        matches!(
            requirement(&mended, "clips").word(),
            Word::Met | Word::Marginal
        ),
        "{:?}",
        known(&mended, "clips")
    );
    // A riser that hands nothing down leaves the waves alone: 30 m down they are fainter.
    let still = (
        "rope = \"part.line\"",
        "rope = \"part.line\"\nheave_share = \"0 %\"",
    );
    let held = checked(&text(&[bare, still], ASKS));
    assert!(known(&held, "clips").value.value < clips.value.value);
    assert!(
        known(&held, "clips")
            .why
            .contains("rising by 0 % of module.buoy")
    );
}

/// A swell of two metres from elsewhere clips a chain without a high-pass in every wind, and is told; behind 10 Hz it is gone.
#[test]
fn verif_a_swell_counts_beside_the_sea() {
    let swelled = |text: String| {
        let swell = "swell = { height = \"2 m\", period = \"12 s\" }\n";
        text.replace(WIND, &format!("{WIND}{swell}"))
    };
    let bare = ("high_pass = { corner = \"10 Hz\", poles = 2 }, ", "");
    let found = checked(&swelled(text(&[bare, FAIRED], ASKS)));
    let clips = known(&found, "clips");
    assert!(clips.value.value > 95.0, "{clips:?}");
    assert!(
        clips.why.contains("the swell of 2 m and 12 s"),
        "{}",
        clips.why
    );
    let plain = checked(&text(&[FAIRED], ASKS));
    let behind = checked(&swelled(text(&[FAIRED], ASKS)));
    close(
        known(&behind, "clips").value.value,
        known(&plain, "clips").value.value,
        1e-3,
    );
    let hours = hours_of(&swelled(text(&[bare, FAIRED], "")), 2, 1);
    close(cause(&hours.ears[0], Cause::Heave).alone, 1.0, 1e-9);
}

/// What the plan does not say leaves the verdict unknown with what is missing; what is known of it can break it.
#[test]
fn verif_what_is_not_written_is_unknown_and_never_zero() {
    for (from, to, told) in [
        (WIND, "", "`site.wind` is not written"),
        (
            "hull = { waterplane = \"1.767146 m2\" }\n",
            "",
            "`waterplane`",
        ),
        ("strongest_at = \"neaps\"\n", "", "strongest_at = \"neaps\""),
        (
            "diameter = \"12 mm\"\n",
            "normal_drag = 1.2\n",
            "`diameter`",
        ),
    ] {
        let found = checked(&text(&[(from, to)], ASKS));
        let why = why_unknown(&found, "some");
        assert!(why.contains(told), "{told}: {why}");
    }
    // Of a hydrophone that strums too much already nothing more need be known.
    let found = checked(&text(&[(WIND, "")], ASKS));
    assert_eq!(requirement(&found, "hears").word(), Word::Broken);
    assert!(known(&found, "hears").why.contains("not counted"));
    assert!(why_unknown(&found, "clips").contains("site.wind"));
}

/// A mistake in what hearing reads leaves it unknown; one in a call does not.
#[test]
fn verif_a_mistake_hides_hearing_where_it_reads() {
    for (from, to) in [
        ("voltage = \"24 V\"", "voltage = \"24 m\""),
        ("diameter = \"12 mm\"", "diameter = \"12 V\""),
        ("time = \"30 s\"", "time = \"30 V\""),
    ] {
        let plan = text(&[(from, to)], ASKS);
        let reading = read(&plan);
        assert!(reading.has_errors());
        let found = check(&reading, &Shelf::default());
        for id in ["hears", "gap"] {
            assert_eq!(requirement(&found, id).word(), Word::Unknown, "{to} {id}");
        }
    }
    for (from, to) in [
        ("hydrophones = 1", "hydrophones = 2"),
        (
            "hydrophones = 1",
            "hydrophones = 1\nof = \"module.ear.sensor.one\"",
        ),
        ("hydrophones = 1", "hydrophones = 0"),
    ] {
        assert!(read(&text(&[(from, to)], ASKS)).has_errors(), "{to}");
    }
}

/// Two modules that put 80 dB and more into the band of the detector, each in one of its states: the formula of the sea has some 80 dB there in a
/// breeze. Each says with `duty` for how long it is in that state.
fn loud(level: &str, first: &str, second: &str) -> String {
    let module = |id: &str, share: &str| {
        format!(
            "[module.{id}]\nposition = {{ section = \"section.riser\", from_top = \"30 m\" }}\ninput = {{ minimum = \"9 V\", maximum = \"36 V\" }}\nloads = {{ still = \"1 mW\", loud = \"1 mW\" }}\nstarts_in = \"still\"\nduty = [{{ state = \"loud\", share = \"{share} %\" }}, {{ state = \"still\", share = \"{} %\" }}]\n[span.to-{id}]\nfrom = \"module.ear\"\nto = \"module.{id}\"\nconductor = \"1.0 mm2 class 5\"\nlength = \"5 m\"\n",
            100 - share.parse::<u32>().unwrap()
        )
    };
    let line = |id: &str| {
        format!(
            "{{ from = \"module.{id}\", in_states = [\"loud\"], level = \"{level} re 1 uPa\", frequency = \"20 Hz\", harmonics = 1, falls = \"6 dB\" }}"
        )
    };
    text(
        &[
            QUIET,
            FAIRED,
            ("water_depth", "shipping = 0.2\nwater_depth"),
            (
                "settles_in = \"10 s\"",
                &format!(
                    "settles_in = \"10 s\", pick_up = [{}, {}]",
                    line("first"),
                    line("second")
                ),
            ),
        ],
        &format!(
            "{}{}{ASKS}",
            module("first", first),
            module("second", second)
        ),
    )
}

fn share_and_gap(plan: &str) -> (Word, String, Word, String) {
    let found = checked(plan);
    let why = |id: &str| match &requirement(&found, id).verdicts[0] {
        Verdict::Known(known) => known.why.clone(),
        other => other.why().to_owned(),
    };
    let word = |id: &str| requirement(&found, id).word();
    (word("hears"), why("hears"), word("gap"), why("gap"))
}

/// Each far above the sea for 12 % and 15 % of the time: at the least 85 % is heard, at the most 73 % is not sure of 80 %. For how long at a
/// stretch nobody said.
#[test]
fn verif_modules_that_drown_at_times_leave_a_share_between_two_ends() {
    let (share, why, gap, stretch) = share_and_gap(&loud("160 dB", "12", "15"));
    assert_eq!(share, Word::Unknown, "{why}");
    for told in [
        "73.0 %",
        "85.0 %",
        "which modules are loud at the same time is not known",
    ] {
        assert!(why.contains(told), "{told}: {why}");
    }
    assert_eq!(gap, Word::Unknown);
    assert!(stretch.contains("for how long at a stretch"), "{stretch}");
    // Both ends keep 80 %, or neither does.
    assert_eq!(share_and_gap(&loud("160 dB", "5", "10")).0, Word::Met);
    assert_eq!(share_and_gap(&loud("160 dB", "5", "30")).0, Word::Broken);
    assert_eq!(share_and_gap(&loud("0 dB", "40", "40")).2, Word::Met);
}

/// Two that each lie a decibel below the sea of the nearest decidecade drown it together and never alone: for as long as the rarer of them may be loud at the most,
/// and never at the least.
#[test]
fn verif_modules_that_are_loud_only_together_drown() {
    let reading = read(&loud("0 dB", "40", "30"));
    let line = reading.line.as_ref().unwrap();
    let module = plan::ModuleIx(line.modules.iter().position(|m| m.id == "ear").unwrap());
    let budget = assess::chain_budget(line, plan::SensorIx { module, sensor: 0 }, None).unwrap();
    let holds = |b: &&assess::BandBudget| b.band.low_hz() <= 20.0 && 20.0 < b.band.high_hz();
    let sea_db = budget
        .bands
        .iter()
        .find(holds)
        .unwrap()
        .sea
        .unwrap()
        .quietest_db;
    let (share, why, ..) = share_and_gap(&loud(&format!("{:.3} dB", sea_db - 1.0), "40", "30"));
    assert_eq!(share, Word::Unknown, "{why}");
    assert!(why.contains("70.0 %") && why.contains("100.0 %"), "{why}");
    let (alone, why, ..) = share_and_gap(&loud(&format!("{:.3} dB", sea_db - 4.0), "40", "30"));
    assert_eq!(alone, Word::Met, "{why}");
}

/// The few years of a draw answer no share of years of hearing that the plan's own years do not answer.
#[test]
fn verif_a_claim_on_years_of_hearing_that_is_unknown_as_written_stays_so() {
    let claim = "share = \"99.999 %\"\nconfidence = \"99 %\"\n";
    let asks = format!(
        "[requirement.hears]\nthat = \"listening-share\"\nat_least = \"1 %\"\n{claim}[requirement.gap]\nthat = \"listening-gap\"\nat_most = \"30 d\"\n{claim}"
    );
    let found = drawn(&text(&[QUIET, FAIRED], &asks), &ask(4));
    for id in ["hears", "gap"] {
        let of = certain(&found, id);
        assert_eq!(of.nominal, Word::Unknown, "{id}");
        match &of.sureness {
            Sureness::AsWritten { why } => assert!(why.contains("are drawn at most"), "{why}"),
            Sureness::Drawn(drawn) => panic!("{id} is drawn: {drawn:?}"),
        }
    }
}

/// All of 30 years bad, of 300 that bear some fifty: that can no more be kept in all likelihood (at least 0.05^(1/30), 90 %, of all are bad), and is broken so far, not marginal.
#[test]
fn verif_a_quick_check_that_can_no_more_be_kept_is_broken_so_far() {
    let asks = "[requirement.hears]\nthat = \"listening-share\"\nat_least = \"99.9 %\"\nshare = \"80 %\"\n";
    let reading = read(&text(&[QUIET], asks));
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    let quick = check_with(
        &reading,
        &Shelf::default(),
        &assess::Memo::new(),
        Tier::Quick,
    );
    let judged = requirement(&quick, "hears");
    let Verdict::Provisional(so_far) = &judged.verdicts[0] else {
        panic!("{judged:?}");
    };
    assert!(so_far.why.contains("30 of 30"), "{}", so_far.why);
    assert_eq!(so_far.so_far, Ruling::Broken);
    assert_eq!(judged.word(), Word::Broken);
}
