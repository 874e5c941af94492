//! Noise of the sensor chain as a rehearsal hears it and as the budget counts it.

use assess::input::{chain_noise, says_its_noise, self_noise};
use assess::{BandBudget, ChainBudget, LimitedBy, Ruling, chain_budget};
use plan::{ModuleIx, SensorIx};

use crate::support::{checked, close, good, known, requirement, why_unknown};

const AMPLIFIER: (&str, &str) = (
    "settles_in = \"1 s\"",
    "settles_in = \"1 s\"\namplifier_noise = \"5 nV/rtHz\"\nhigh_pass = { corner = \"20 Hz\", poles = 2 }",
);
const TABLE: (&str, &str) = (
    "gain = \"20 dB\"",
    "gain = \"20 dB\"\nself_noise = [{ frequency = \"30 Hz\", level = \"40 dB re 1 uPa2/Hz\" }, { frequency = \"900 Hz\", level = \"21 dB re 1 uPa2/Hz\" }]",
);
const EFFECTIVE: (&str, &str) = ("bits = 16,", "bits = 16, effective_bits = 14.2,");

fn ear(line: &plan::Line) -> SensorIx {
    let of = |id: &str| line.modules.iter().position(|m| m.id == id).unwrap();
    SensorIx {
        module: ModuleIx(of("ear")),
        sensor: 0,
    }
}

fn power(level_db: f64) -> f64 {
    10_f64.powf(level_db / 10.0)
}

/// What a rehearsal adds ahead of the high-pass, and the steps that it makes behind it, are together what the budget counts.
#[test]
fn verif_a_rehearsal_hears_what_the_budget_counts() {
    for changes in [
        &[AMPLIFIER][..],
        &[EFFECTIVE],
        &[AMPLIFIER, EFFECTIVE],
        &[AMPLIFIER, EFFECTIVE, TABLE],
    ] {
        let reading = good(changes);
        let line = reading.line.as_ref().unwrap();
        let noise = chain_noise(line, ear(line)).unwrap();
        let steps = power(noise.chain().quantisation_density_db_re_1upa2_hz());
        let rows = self_noise(line, ear(line)).unwrap();
        assert!(rows.windows(2).all(|pair| pair[0].0 < pair[1].0));
        assert!(rows[0].0 == 1.0 && rows.last().unwrap().0 > 1900.0);
        for (f_hz, ahead_db) in rows {
            let heard = power(ahead_db) + steps / noise.power_gain(f_hz);
            close(10.0 * heard.log10(), noise.density(f_hz).total_db, 1e-9);
        }
    }
}

/// A table alone is what a rehearsal hears, row for row; of nothing it is nothing.
#[test]
fn verif_a_table_alone_stays_as_it_is_written() {
    let reading = good(&[TABLE]);
    let line = reading.line.as_ref().unwrap();
    let rows = self_noise(line, ear(line)).unwrap();
    assert_eq!(rows, [(30.0, 40.0), (900.0, 21.0)]);
    assert!(says_its_noise(line, ear(line)));
    for (changes, says) in [
        (&[][..], false),
        (&[EFFECTIVE], false),
        (&[AMPLIFIER], false),
    ] {
        let reading = good(changes);
        let line = reading.line.as_ref().unwrap();
        assert_eq!(says_its_noise(line, ear(line)), says);
        let none = self_noise(line, ear(line)).unwrap().is_empty();
        assert_eq!(none, changes.is_empty());
    }
}

/// The worked example of a chain: -180 dB re 1 V/uPa, 20 dB, 2.5 V peak, 24 bit of which 18 count, 96 kHz, 5 nV/rtHz, and an element
/// that adds next to nothing.
const EXAMPLE: &[(&str, &str)] = &[
    ("sensitivity = \"-170 dB", "sensitivity = \"-180 dB"),
    (
        "bits = 16, rate = \"4 kHz\" }\n",
        "bits = 24, effective_bits = 18, rate = \"96 kHz\" }\namplifier_noise = \"5 nV/rtHz\"\nself_noise = [{ frequency = \"1 kHz\", level = \"-99 dB re 1 uPa2/Hz\" }]\n",
    ),
    (
        "shipping = 0.2",
        "shipping = 0\nwind = [\"0 m/s\", \"0 m/s\", \"0 m/s\", \"0 m/s\", \"0 m/s\", \"0 m/s\", \"0 m/s\", \"0 m/s\", \"0 m/s\", \"0 m/s\", \"0 m/s\", \"0 m/s\"]",
    ),
];

fn budget(changes: &[(&str, &str)]) -> ChainBudget {
    let reading = good(changes);
    let line = reading.line.as_ref().unwrap();
    chain_budget(line, ear(line), None).unwrap()
}

fn band(budget: &ChainBudget, nominal_hz: f64) -> &BandBudget {
    let mut bands = budget.bands.iter();
    bands.find(|b| b.band.nominal_hz() == nominal_hz).unwrap()
}

/// Figures of the worked example, by hand to three decimals, and of the four-term formula in a calm without ships (two decimals).
#[test]
fn verif_worked_example_against_the_sea() {
    let found = budget(EXAMPLE);
    let chain = found.noise.chain();
    close(chain.overload_peak_level_db_re_1upa(), 167.959, 6e-4);
    close(chain.overload_sine_level_db_re_1upa(), 164.949, 6e-4);
    close(found.noise.converter_level_db_re_1upa(), 54.817, 6e-4);
    close(found.noise.converter_density_db_re_1upa2_hz(), 8.004, 6e-4);
    let at = found.noise.density(1000.0);
    close(at.amplifier_db.unwrap(), 13.979, 6e-4);
    close(at.total_db, 14.958, 6e-4);
    for (f_hz, sea_db) in [
        (10.0, 77.13),
        (100.0, 57.68),
        (1e3, 44.30),
        (1e4, 29.34),
        (1e5, 25.13),
    ] {
        close(found.sea_density_db(f_hz, 0.0).unwrap(), sea_db, 0.01);
    }
    // In a calm the sea is quietest at about 40 kHz, where wind (17.78 dB) gives way to thermal noise (17.04 dB): 20.44 dB by hand,
    // 5.5 dB above the chain. In every band below it lies clear.
    close(found.sea_density_db(4e4, 0.0).unwrap(), 20.44, 0.01);
    for b in &found.bands {
        let limited = if b.band.label() == "40 kHz" {
            LimitedBy::Both
        } else {
            LimitedBy::Sea
        };
        assert_eq!(b.in_quietest, limited, "{}", b.band.label());
        let sea = b.sea.unwrap();
        assert!((sea.calm_db, sea.windiest_db) == (sea.quietest_db, sea.quietest_db));
    }
    assert_eq!(found.bands.last().unwrap().band.label(), "40 kHz");
    assert!(band(&found, 40_000.0).above_filter && !band(&found, 31_500.0).above_filter);
    let (clear_db, (low, high)) = found.least_clear_in(1.0, 48_000.0).unwrap();
    close(clear_db, 5.49, 0.05);
    assert!(
        low < 4e4 && (4e4..=0.9 * 48_000.0).contains(&high),
        "{low} {high}"
    );
}

/// A decidecade at 1 kHz by hand: white noise of 14.958 dB over 0.230768 of its centre; the sea nearly so.
#[test]
fn verif_a_band_is_its_density_over_its_width() {
    let found = budget(EXAMPLE);
    let b = band(&found, 1000.0);
    let width_db = 10.0 * 230.768_f64.log10();
    close(b.chain.total_db, 14.9577 + width_db, 1e-3);
    close(b.sea.unwrap().calm_db, 44.30 + width_db, 0.02);
    assert_eq!(b.high_pass_loss_db, 0.0);
}

/// What limits a band, a hair to each side of each border.
#[test]
fn verif_what_limits_a_band() {
    let calm = EXAMPLE[2];
    let limited = |level_db: f64, full_scale: &str| {
        let noise = format!(
            "gain = \"20 dB\"\nself_noise = [{{ frequency = \"1 kHz\", level = \"{level_db} dB re 1 uPa2/Hz\" }}]"
        );
        let adc = format!("full_scale = \"{full_scale}\", bits = 24");
        let found = budget(&[
            calm,
            ("gain = \"20 dB\"", &noise),
            ("full_scale = \"2.5 V\", bits = 16", &adc),
        ]);
        band(&found, 1000.0).in_quietest
    };
    let sea_db = {
        let b = budget(EXAMPLE);
        band(&b, 1000.0).sea.unwrap().quietest_db - 10.0 * 230.768_f64.log10()
    };
    assert_eq!(limited(sea_db - 6.01, "2.5 V"), LimitedBy::Sea);
    assert_eq!(limited(sea_db - 5.99, "2.5 V"), LimitedBy::Both);
    assert_eq!(limited(sea_db - 0.01, "2.5 V"), LimitedBy::Both);
    assert_eq!(limited(sea_db + 0.01, "2.5 V"), LimitedBy::Chain);
    // Full scale at the level of the band and 12.04 dB: -150 dB re 1 V/uPa with the gain.
    let band_db = sea_db + 10.0 * 230.768_f64.log10();
    let full = |above_db: f64| {
        let volts = 10_f64.powf((band_db + above_db - 150.0) / 20.0);
        format!("{:.6} uV", 1e6 * volts)
    };
    assert_eq!(limited(20.0, &full(12.06)), LimitedBy::Sea);
    assert_eq!(limited(20.0, &full(12.02)), LimitedBy::FullScale);
}

/// What the plan does not say stays unknown: the noise of the chain, the wind, the ships; and in air the sea.
#[test]
fn verif_what_is_not_written_is_unknown() {
    let wind = EXAMPLE[2];
    let silent = budget(&[wind]);
    assert!(!silent.noise_known);
    assert!(
        silent
            .bands
            .iter()
            .all(|b| b.in_quietest == LimitedBy::Unknown)
    );
    let noisy = ("bits = 16,", "bits = 16, effective_bits = 3,");
    let by_converter = budget(&[wind, noisy]);
    assert_eq!(band(&by_converter, 1000.0).in_quietest, LimitedBy::Chain);
    for (changes, why) in [
        (&[][..], "`site.wind` is not written"),
        (
            &[("shipping = 0.2\n", "")],
            "`site.shipping` is not written",
        ),
        (
            &[
                wind,
                ("kind = \"hydrophone\"", "kind = \"microphone\""),
                ("-170 dB re 1 V/uPa", "-30 dB re 1 V/Pa"),
            ],
            "no model of ambient noise in air",
        ),
        (
            &[(
                wind.0,
                "shipping = 0\nwind = [\"40 m/s\", \"0 m/s\", \"0 m/s\", \"0 m/s\", \"0 m/s\", \"0 m/s\", \"0 m/s\", \"0 m/s\", \"0 m/s\", \"0 m/s\", \"0 m/s\", \"0 m/s\"]",
            )],
            "32.7",
        ),
    ] {
        let found = budget(changes);
        let told = found.sea_unknown.as_deref().unwrap();
        assert!(told.contains(why), "{told}");
        assert!(found.months.is_empty() && found.winds_m_s.is_none());
        assert!(
            found
                .bands
                .iter()
                .all(|b| b.sea.is_none() && b.in_windiest == LimitedBy::Unknown)
        );
        assert!(found.detectors.iter().all(|d| d.least_clear.is_none()));
    }
}

/// The deployment of one day from 1 January, with slips: January alone, to February, and all of the year.
#[test]
fn verif_months_of_the_deployment_count() {
    let wind = (
        EXAMPLE[2].0,
        "shipping = 0.3\nwind = [\"11 m/s\", \"10 m/s\", \"9 m/s\", \"8 m/s\", \"7 m/s\", \"6 m/s\", \"5 m/s\", \"6 m/s\", \"7 m/s\", \"8 m/s\", \"9 m/s\", \"10 m/s\"]",
    );
    let months = |duration: &str| {
        let duration = format!("duration = \"{duration}\"");
        let found = budget(&[wind, ("duration = \"1 d\"", &duration)]);
        let months: Vec<usize> = found.months.iter().map(|m| m.month).collect();
        (months, found.winds_m_s.unwrap())
    };
    assert_eq!(months("1 d"), (vec![0], (11.0, 11.0)));
    assert_eq!(months("40 d"), (vec![0, 1], (10.0, 11.0)));
    assert_eq!(
        months("1 d\"\nstart_slip = \"8 wk"),
        (vec![0, 1], (10.0, 11.0))
    );
    assert_eq!(months("400 d"), ((0..12).collect(), (5.0, 11.0)));
    // The windier the sea the nearer is full scale, and what clips is the share of a normal law beyond it.
    let found = budget(&[wind, ("duration = \"1 d\"", "duration = \"400 d\"")]);
    for m in &found.months {
        close(
            m.headroom_db + m.level_db,
            found.noise.chain().overload_peak_level_db_re_1upa(),
            1e-9,
        );
    }
    assert!(found.months[0].level_db > found.months[6].level_db + 1.0);
}

/// The sea behind the high-pass against the sum of bands of a hundredth of a decade.
#[test]
fn verif_the_sea_behind_the_high_pass() {
    let found = budget(&[EXAMPLE[2], AMPLIFIER]);
    let top_hz = 0.9 * 2000.0;
    assert_eq!(found.audible_hz, top_hz);
    let mut sum = 0.0;
    let mut low_hz = 1.0;
    while low_hz < top_hz {
        let high_hz = (low_hz * 10_f64.powf(0.001)).min(top_hz);
        let f_hz = (low_hz * high_hz).sqrt();
        let gain = 1.0 / (1.0 + (20.0 / f_hz).powi(4));
        sum += power(found.sea_density_db(f_hz, 0.0).unwrap()) * gain * (high_hz - low_hz);
        low_hz = high_hz;
    }
    close(found.months[0].level_db, 10.0 * sum.log10(), 0.01);
}

/// A converter whose steps count for nothing.
const FINE: (&str, &str) = ("bits = 16,", "bits = 24,");
const QUIET: (&str, &str) = (
    "[requirement.voltage]",
    "[requirement.quiet]\nthat = \"self-noise\"\nat_least = \"6 dB\"\n[requirement.loud]\nthat = \"overload\"\nof = \"module.ear.sensor.one\"\nat_least = \"157 dB re 1 uPa\"\n[requirement.voltage]",
);

/// The detector of the small plan hears from 80 to 300 Hz, where the sea of a calm falls: the last part of a decidecade below 300 Hz
/// decides.
#[test]
fn verif_self_noise_is_judged_in_the_band_of_the_detector() {
    let noise = |db: &str| {
        format!(
            "gain = \"20 dB\"\nself_noise = [{{ frequency = \"10 Hz\", level = \"{db} dB re 1 uPa2/Hz\" }}, {{ frequency = \"2 kHz\", level = \"{db} dB re 1 uPa2/Hz\" }}]"
        )
    };
    let with = |db: &str| {
        let noise = noise(db);
        checked(&[EXAMPLE[2], QUIET, ("gain = \"20 dB\"", &noise), FINE])
    };
    let quiet = with("30");
    let found = known(&quiet, "quiet");
    let reading = good(&[EXAMPLE[2], ("gain = \"20 dB\"", &noise("30")), FINE]);
    let budget = chain_budget(
        reading.line.as_ref().unwrap(),
        ear(reading.line.as_ref().unwrap()),
        None,
    )
    .unwrap();
    // From 282 Hz on: its middle stands for it.
    close(
        found.value.value,
        budget.sea_density_db(291.0, 0.0).unwrap() - 30.0,
        0.1,
    );
    assert_eq!(found.ruling, Ruling::Met);
    let sea_db = found.value.value + 30.0;
    let level = |below_db: f64| format!("{:.3}", sea_db - below_db);
    for (below_db, ruling) in [
        (7.1, Ruling::Met),
        (6.5, Ruling::Marginal),
        (5.9, Ruling::Broken),
    ] {
        let check = with(&level(below_db));
        assert_eq!(known(&check, "quiet").ruling, ruling, "{below_db}");
        // What is checked in every plan says the same, and does not bind.
        let standing = requirement(&check, "self-noise");
        assert_eq!(standing.must, plan::Must::Should);
        assert_eq!(known(&check, "self-noise").ruling, ruling);
    }
}

/// 2.5 V over -170 dB re 1 V/uPa and 20 dB: 20 lg 2.5 + 150 = 157.96 dB re 1 uPa by hand.
#[test]
fn verif_overload_is_full_scale_over_the_chain() {
    let check = checked(&[EXAMPLE[2], QUIET]);
    let found = known(&check, "loud");
    close(found.value.value, 157.959, 6e-4);
    assert_eq!(found.ruling, Ruling::Marginal);
    assert_eq!(known(&check, "overload").ruling, Ruling::Met);
    let small = ("full_scale = \"2.5 V\"", "full_scale = \"2 mV\"");
    let clipped = checked(&[EXAMPLE[2], QUIET, small]);
    assert_eq!(known(&clipped, "loud").ruling, Ruling::Broken);
    // The turbulence of the formula alone fills it.
    assert_eq!(known(&clipped, "overload").ruling, Ruling::Broken);
}

/// Without a noise, a wind or ships nothing is met; the standing check stays away, and it is told what stays open.
#[test]
fn verif_a_noise_that_is_not_known_is_not_met() {
    let silent = checked(&[EXAMPLE[2], QUIET]);
    let why = why_unknown(&silent, "quiet");
    assert!(why.starts_with("`self_noise` is not written"), "{why}");
    assert!(why.contains("by its converter alone"), "{why}");
    // An amplifier's noise says nothing of the hydrophone itself.
    let half = checked(&[EXAMPLE[2], QUIET, AMPLIFIER]);
    let why = why_unknown(&half, "quiet");
    assert!(
        why.contains("by its amplifier and converter alone"),
        "{why}"
    );
    assert!(half.standing.iter().all(|j| j.id != "self-noise"));
    assert!(silent.standing.iter().all(|j| j.id != "self-noise"));
    let calm_less = checked(&[QUIET, AMPLIFIER]);
    assert!(why_unknown(&calm_less, "quiet").contains("`site.wind` is not written"));
    assert!(
        calm_less
            .standing
            .iter()
            .all(|j| j.id != "self-noise" && j.id != "overload")
    );
    let open = |changes: &[(&str, &str)]| {
        let open = checked(changes).open;
        open.iter()
            .any(|o| o.contains("whether the noise of the chain lies below"))
    };
    assert!(open(&[]) && open(&[EXAMPLE[2]]));
    assert!(open(&[EXAMPLE[2], AMPLIFIER]));
    assert!(!open(&[EXAMPLE[2], TABLE, FINE]) && !open(&[EXAMPLE[2], QUIET]));
    // What is known can break a limit: a converter, an amplifier.
    let coarse = ("bits = 16,", "bits = 16, effective_bits = 3,");
    let broken = checked(&[EXAMPLE[2], QUIET, coarse]);
    assert_eq!(known(&broken, "quiet").ruling, Ruling::Broken);
    assert!(known(&broken, "quiet").why.contains("its converter alone"));
    let loud = (
        AMPLIFIER.0,
        "settles_in = \"1 s\"\namplifier_noise = \"5 uV/rtHz\"",
    );
    let broken = checked(&[EXAMPLE[2], QUIET, loud]);
    assert_eq!(known(&broken, "quiet").ruling, Ruling::Broken);
    assert!(
        known(&broken, "quiet")
            .why
            .contains("its amplifier and converter alone")
    );
}

/// A fixed threshold is what the noise lies below, whatever the sea; a detector of plain level has it in dB re 1 uPa.
#[test]
fn verif_a_fixed_threshold_stands_for_the_sea() {
    let fixed = (
        "  { background = \"median\", over = \"10 s\" },\n  { on_above = \"8 dB\", off_below = \"5 dB\",",
        "  { on_above = \"100 dB re 1 uPa\", off_below = \"97 dB re 1 uPa\",",
    );
    let check = checked(&[fixed, AMPLIFIER, TABLE, QUIET]);
    let reading = good(&[fixed, AMPLIFIER, TABLE]);
    let line = reading.line.as_ref().unwrap();
    let noise = chain_noise(line, ear(line)).unwrap();
    let expected_db = 100.0 - noise.band(80.0, 300.0).unwrap().total_db;
    close(known(&check, "quiet").value.value, expected_db, 1e-9);
    close(known(&check, "overload").value.value, 57.959, 6e-4);
}

/// The energy operator of Teager and Kaiser gives another level of the same noise, so a threshold on it says nothing of the noise
/// in the band: the chain is held to the sea.
#[test]
fn verif_a_threshold_on_another_measure_is_not_held_to_the_noise_in_the_band() {
    let fixed = |measure: &'static str| {
        [
            (
                "  { background = \"median\", over = \"10 s\" },\n  { on_above = \"8 dB\", off_below = \"5 dB\",",
                "  { on_above = \"100 dB re 1 uPa\", off_below = \"97 dB re 1 uPa\",",
            ),
            ("level = \"rms\"", measure),
            AMPLIFIER,
        ]
    };
    let thresholds = |measure| {
        let found = budget(&fixed(measure));
        let all = found.detectors.iter();
        all.filter(|d| d.threshold.is_some()).count()
    };
    assert_eq!(thresholds("level = \"rms\""), 1);
    assert_eq!(thresholds("level = \"teager-kaiser\""), 0);
}
