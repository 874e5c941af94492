//! Requirements on detection ranges against counts that are invented, so that the ranges they mean are known.

use std::path::Path;

use assess::range::{BandOf, Curve, InjectionRecord, Sampled, Subject, losses};
use assess::{Check, Ruling, Shelf, check};
use plan::{CallIx, DetectorIx, Line, Reading};

use crate::support::{close, known, why_unknown};

/// A call like every other, so that a step of the curve is a step of the share over range.
const NO_SPREAD: (&str, &str) = ("172 dB re 1 uPa m ± 10 dB", "172 dB re 1 uPa m");

/// Wind up to which the requirement is to hold, m/s: between the means of June and July.
pub(crate) const LIMIT_M_S: f64 = 6.85;
/// The line as it is wetted in June alone.
pub(crate) const OF_JUNE: [(&str, &str); 4] = [
    ("start = 2027-03-15", "start = 2027-06-02"),
    ("duration = \"240 d\"", "duration = \"20 d\""),
    ("start_slip = \"8 wk\"\n", ""),
    ("recovery_slip = \"12 wk\"\n", ""),
];
/// The hydrophone's own noise, as it stands in the catalogue.
const SELF_NOISE: &str = "self_noise = [
  { frequency = \"10 Hz\", level = \"58 dB re 1 uPa2/Hz\" },
  { frequency = \"100 Hz\", level = \"44 dB re 1 uPa2/Hz\" },
  { frequency = \"1 kHz\", level = \"41 dB re 1 uPa2/Hz\" },
  { frequency = \"8 kHz\", level = \"40 dB re 1 uPa2/Hz\" },
]
";

/// A call that is heard for some hundreds of metres, where sound spreads spherically.
pub(crate) const FAINT: (&str, &str) = (NO_SPREAD.0, "140 dB re 1 uPa m");

fn reading(at_least: &str, changes: &[(&str, &str)]) -> Reading {
    let limit = format!("when_wind_at_most = \"{LIMIT_M_S} m/s\"\n");
    asking(at_least, &limit, changes)
}

/// A `should`, which keeps the figure of the plan's own law; what a `shall` makes of other laws is in `laws`.
fn asking(at_least: &str, more: &str, changes: &[(&str, &str)]) -> Reading {
    asked_as("should", at_least, more, changes)
}

pub(crate) fn asked_as(
    must: &str,
    at_least: &str,
    more: &str,
    changes: &[(&str, &str)],
) -> Reading {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../plans/harrow-sound");
    let read = |name: &str| std::fs::read_to_string(folder.join(name)).unwrap();
    let (mut text, mut parts) = (read("plan.toml"), read("parts.toml"));
    for (from, to) in changes {
        let there = text.contains(from) || parts.contains(from);
        assert!(there, "`{from}` is not in the plan");
        text = text.replace(from, to);
        parts = parts.replace(from, to);
    }
    text.push_str(&format!(
        "\n[requirement.far]\nthat = \"detection-range\"\nof = \"detector.upcall-upper\"\ncall = \"call.upcall\"\nat_least = \"{at_least}\"\nshare = \"50 %\"\nmust = \"{must}\"\n{more}"
    ));
    let plan = folder.join("plan.toml");
    let reading = assess::read(&plan, &|path| {
        if path == plan {
            Ok(text.clone().into_bytes())
        } else if path.ends_with("parts.toml") {
            Ok(parts.clone().into_bytes())
        } else {
            std::fs::read(path)
        }
    });
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    reading
}

pub(crate) fn subject(line: &Line) -> Subject {
    let of = |d: &plan::Detector| d.id == "upcall-upper";
    let detector = DetectorIx(line.detectors.iter().position(of).unwrap());
    Subject::new(line, detector, CallIx(0)).unwrap()
}

/// Counts in the noise of the wind up to which the requirement is to hold.
fn counted(subject: &Subject, counts: &[(f64, u64)], calls: u64, by_chance: u64) -> Sampled {
    counted_at(LIMIT_M_S, subject, counts, calls, by_chance)
}

pub(crate) fn counted_at(
    wind_m_s: f64,
    subject: &Subject,
    counts: &[(f64, u64)],
    calls: u64,
    by_chance: u64,
) -> Sampled {
    Sampled {
        wind_m_s: Some(wind_m_s),
        noise_level_db: subject.noise_level_db(wind_m_s).unwrap(),
        curve: Curve::new(counts, calls).unwrap(),
        by_chance,
        false_alarms: by_chance,
        listened_s: 600.0,
        clipped: vec![0; counts.len()],
        seed: 1,
        kept: false,
    }
}

pub(crate) fn judged(
    reading: &Reading,
    counts: &[(f64, u64)],
    calls: u64,
    by_chance: u64,
) -> Check {
    let subject = subject(reading.line.as_ref().unwrap());
    with(reading, &[counted(&subject, counts, calls, by_chance)])
}

pub(crate) fn with(reading: &Reading, sampled: &[Sampled]) -> Check {
    let subject = subject(reading.line.as_ref().unwrap());
    check(reading, &shelf(&subject, sampled))
}

fn shelf(subject: &Subject, sampled: &[Sampled]) -> Shelf {
    let records = sampled.iter();
    Shelf {
        injections: records
            .map(|s| InjectionRecord::new(subject, s, "test").unwrap())
            .collect(),
        range_command: Some("soundline range plan.toml".to_owned()),
        ..Shelf::default()
    }
}

/// None below -1 dB, all from 1 dB on.
pub(crate) fn step(calls: u64) -> [(f64, u64); 2] {
    [(-1.0, 0), (1.0, calls)]
}

/// Clopper-Pearson at 95 %: 84 of 100 are at most 90.5 %, none of 200 at most 1.8 %, none of 25 at most 13.7 % (closed form
/// 1 - 0.025^(1/n)); a tenth of the half asked is 5 %.
#[test]
fn val_what_is_found_by_chance_makes_a_range_unknown() {
    let reading = reading("2 km", &[]);
    let check = judged(&reading, &step(100), 100, 84);
    let why = why_unknown(&check, "far");
    for what in [
        "84 of 100 places",
        "raise the detector's threshold",
        "6.85 m/s",
    ] {
        assert!(why.contains(what), "{why}");
    }
    let check = judged(&reading, &step(25), 25, 0);
    let why = why_unknown(&check, "far");
    for what in ["0 of 25 places", "13.7 %", "--calls"] {
        assert!(why.contains(what), "{why}");
    }
    let check = judged(&reading, &step(200), 200, 0);
    assert_eq!(known(&check, "far").ruling, Ruling::Met);
}

/// A detector that cries most of the time finds calls at ratios at which nothing can be heard: no loss against the ideal one.
#[test]
fn verif_no_loss_is_told_of_what_is_found_by_chance() {
    let reading = reading("2 km", &[]);
    let subject = subject(reading.line.as_ref().unwrap());
    let crying = counted(&subject, &[(-30.0, 86), (0.0, 100)], 100, 84);
    let quiet = counted(&subject, &[(-6.0, 2), (6.0, 198)], 200, 0);
    for loss in losses(&subject, &[&crying]).unwrap().concat() {
        assert!(loss.by_chance && loss.loss_db().is_none(), "{loss:?}");
    }
    for loss in losses(&subject, &[&quiet]).unwrap().concat() {
        assert!(!loss.by_chance && loss.loss_db().is_some(), "{loss:?}");
    }
}

#[test]
fn verif_beyond_what_is_computed_nothing_is_broken() {
    let loud = [("172 dB re 1 uPa m ± 10 dB", "230 dB re 1 uPa m")];
    let check = judged(&reading("60 km", &loud), &step(200), 200, 0);
    let why = why_unknown(&check, "far");
    assert!(
        why.contains("at least to 50 km, and what lies beyond is not computed"),
        "{why}"
    );
    let check = judged(&reading("40 km", &loud), &step(200), 200, 0);
    let far = known(&check, "far");
    assert_eq!((far.ruling, far.value.value), (Ruling::Met, 50_000.0));
    assert!(
        far.why.contains("the value is at least 50 km"),
        "{}",
        far.why
    );
}

/// What is seen and not shown by so few calls is neither kept nor broken, as with a recall; what is not even seen is broken.
#[test]
fn verif_a_range_between_what_is_shown_and_what_is_seen_is_unknown() {
    let counts = [(10.0, 0), (30.0, 200)];
    let at = |at_least: &str| judged(&reading(at_least, &[NO_SPREAD]), &counts, 200, 0);
    let shown_m = known(&at("10 m"), "far").value.value;
    let between = at(&format!("{} m", libm::ceil(1.004 * shown_m)));
    let why = why_unknown(&between, "far");
    for what in ["too few calls to tell", "--calls"] {
        assert!(why.contains(what), "{why}");
    }
    let beyond = at(&format!("{} m", libm::ceil(1.2 * shown_m)));
    assert_eq!(known(&beyond, "far").ruling, Ruling::Broken);
}

/// A detector that finds nothing between 27 dB and 33 dB has a gap nearer than its range. The range that counts is that at which
/// the share falls below for the first time: source level less 20 lg r less noise at 33 dB and a half of the way down to
/// none; the outermost is told beside it.
#[test]
fn verif_a_gap_nearer_is_the_range_that_counts() {
    let reading = reading("2 km", &[NO_SPREAD]);
    let all = 100_000;
    let counts = [
        (19.0, 0),
        (20.0, all),
        (26.0, all),
        (27.0, 0),
        (33.0, 0),
        (34.0, all),
    ];
    let check = judged(&reading, &counts, all, 0);
    let far = known(&check, "far");
    assert_eq!(far.ruling, Ruling::Broken, "{}", far.why);
    let subject = subject(reading.line.as_ref().unwrap());
    let noise_db = subject.noise_level_db(LIMIT_M_S).unwrap();
    let loss_db = subject.in_band_source_db() - noise_db - 33.5;
    let rise_m = subject.hydrophone_depth_m - subject.source_depth_m;
    let slant_m = libm::pow(10.0, loss_db / 20.0);
    let range_m = libm::sqrt(slant_m * slant_m - rise_m * rise_m);
    close(far.value.value / range_m, 1.0, 0.01);
    for what in ["reached again further out", "; last to 2.3"] {
        assert!(far.why.contains(what), "{}", far.why);
    }
}

#[test]
fn verif_where_the_site_asks_for_rays_the_spreading_law_judges_nothing() {
    let rays = [(
        "spreading = \"transition\"",
        "paths = \"rays\"\nbottom = { loss_per_bounce = \"10 dB\" }\nspreading = \"transition\"",
    )];
    let check = judged(&reading("2 km", &rays), &step(200), 200, 0);
    let why = why_unknown(&check, "far");
    assert!(why.contains("asks for rays"), "{why}");
}

/// Up to a wind it is judged in the noise of that wind and not of a month's mean below it: 10 lg of the noise apart, and by spherical
/// spreading so many decibels nearer.
#[test]
fn verif_a_wind_up_to_which_it_holds_is_that_in_which_it_is_judged() {
    let reading = reading("300 m", &[FAINT]);
    let subject = subject(reading.line.as_ref().unwrap());
    let june_m_s = subject.wind_m_s[5];
    assert!(june_m_s < LIMIT_M_S);
    let of = |wind_m_s| counted_at(wind_m_s, &subject, &step(1000), 1000, 0);
    let check = with(&reading, &[of(june_m_s)]);
    let why = why_unknown(&check, "far");
    assert!(
        why.starts_with("at 6.85 m/s of wind, the most in which it is to hold: no calls have been drawn in this noise yet; run `soundline range plan.toml --detector upcall-upper --call upcall`"),
        "{why}"
    );
    let check = with(&reading, &[of(june_m_s), of(LIMIT_M_S)]);
    let far = known(&check, "far");
    assert!(far.why.starts_with("at 6.85 m/s of wind, the most"));
    let windy = asking("300 m", "when_wind_at_most = \"11 m/s\"\n", &[FAINT]);
    let windy = with(&windy, &[of(june_m_s), of(11.0)]);
    let nearer = known(&windy, "far");
    let rise_m = subject.hydrophone_depth_m - subject.source_depth_m;
    let slant_m = |range_m: f64| libm::sqrt(range_m * range_m + rise_m * rise_m);
    let apart_db =
        subject.noise_level_db(11.0).unwrap() - subject.noise_level_db(LIMIT_M_S).unwrap();
    assert!(apart_db > 0.5, "{apart_db}");
    close(
        20.0 * libm::log10(slant_m(far.value.value) / slant_m(nearer.value.value)),
        apart_db,
        0.1,
    );
    // A wind for which the formula of the noise does not hold is said.
    let storm = asking("2 km", "when_wind_at_most = \"40 m/s\"\n", &[]);
    let check = with(&storm, &[]);
    let why = why_unknown(&check, "far");
    assert!(why.contains("32.7"), "{why}");
}

/// Without a wind the months count in which the line may be in the water, and no others.
#[test]
fn verif_without_a_wind_the_months_of_the_deployment_count() {
    let changes: Vec<_> = OF_JUNE.into_iter().chain([FAINT]).collect();
    let june = asking("300 m", "", &changes);
    let subject = subject(june.line.as_ref().unwrap());
    let of = |month: usize| counted_at(subject.wind_m_s[month - 1], &subject, &step(1000), 1000, 0);
    let check = with(&june, &[of(6)]);
    assert!(known(&check, "far").why.starts_with("in June, at 6.8 m/s"));
    // Two weeks of slip reach July, which was not drawn.
    let mut slipping = changes.clone();
    slipping[1].1 = "duration = \"20 d\"\nrecovery_slip = \"2 wk\"";
    let slipping = asking("300 m", "", &slipping);
    let check = with(&slipping, &[of(6)]);
    let why = why_unknown(&check, "far");
    assert!(
        why.starts_with(
            "in July, at 6.9 m/s of wind: no calls have been drawn in this noise yet; run"
        ),
        "{why}"
    );
    let check = with(&slipping, &[of(6), of(7)]);
    assert!(known(&check, "far").why.starts_with("in July, at 6.9 m/s"));
    let line = slipping.line.as_ref().unwrap();
    assert_eq!(assess::range::deployment_months(line), [6, 7]);
    // Counts of another detector in the same noise are not those of this one.
    let changed: Vec<_> = changes
        .into_iter()
        .chain([("on_above = \"6 dB\"", "on_above = \"7 dB\"")])
        .collect();
    let changed = asking("300 m", "", &changed);
    let stale = shelf(&subject, &[of(6)]);
    let check = assess::check(&changed, &stale);
    let why = why_unknown(&check, "far");
    assert!(why.contains("has changed since"), "{why}");
}

/// What is known of the noise is the least that there is: it may break a range, and cannot keep one.
#[test]
fn verif_a_self_noise_that_is_not_told_keeps_no_range() {
    for noise in ["", "amplifier_noise = \"5 nV/rtHz\"\n"] {
        let changes = [FAINT, (SELF_NOISE, noise)];
        let near = reading("100 m", &changes);
        let check = judged(&near, &step(1000), 1000, 0);
        let why = why_unknown(&check, "far");
        assert!(
            why.contains("does not say all of its own noise (`self_noise`)"),
            "{why}"
        );
        let far = reading("5 km", &changes);
        let check = judged(&far, &step(1000), 1000, 0);
        let broken = known(&check, "far");
        assert_eq!(broken.ruling, Ruling::Broken);
        assert!(broken.why.contains("the most it can be"), "{}", broken.why);
    }
}

/// A ridge without a band of its own is compared in that of the call: its noise is that of the formula there, and not from 0 Hz on.
#[test]
fn verif_a_detector_that_names_no_band_is_compared_in_that_of_the_call() {
    let plan = std::fs::read_to_string(
        Path::new(env!("CARGO_MANIFEST_DIR")).join("../../plans/harrow-sound/plan.toml"),
    )
    .unwrap();
    let from = plan.find("[detector.upcall-upper]").unwrap();
    let stages = plan[from..].find("stages = [").unwrap() + from;
    let end = plan[stages..].find("\n]\n").unwrap() + stages;
    let written = &plan[stages..end];
    let ridge = "stages = [
  { spectrogram = \"hann\", window = \"128 ms\" },
  { background = \"median\", over = \"30 s\" },
  { ridge = \"rising\", above = \"11 dB\", slope = [\"40 Hz/s\", \"400 Hz/s\"], shortest = \"0.3 s\", longest = \"2 s\", hold_off = \"2 s\" },";
    let reading = reading("2 km", &[(written, ridge)]);
    let subject = subject(reading.line.as_ref().unwrap());
    assert_eq!(subject.band_of, BandOf::Call);
    let (low_hz, high_hz) = subject.band_hz;
    // A sweep has its energy evenly over its frequencies, but for its edges, which fade: a tenth of 60 Hz is left out at each end.
    close(low_hz, 90.0 + 6.0, 1.0);
    close(high_hz, 150.0 - 6.0, 1.0);
    close(subject.in_band_source_db(), 172.0, 0.1);
    let sea_db = seawater::band_level_db_re_1upa(low_hz, high_hz, LIMIT_M_S, 0.4).unwrap();
    let own_db = 44.0 + 10.0 * libm::log10(high_hz - low_hz);
    let sum_db =
        10.0 * libm::log10(libm::pow(10.0, sea_db / 10.0) + libm::pow(10.0, own_db / 10.0));
    close(subject.noise_level_db(LIMIT_M_S).unwrap(), sum_db, 0.1);
}

/// A level of all that is heard counts what comes through the high-pass, as the chain's own budget tells it for the same wind.
#[test]
fn verif_noise_below_the_corner_counts_as_it_comes_through() {
    let band = "  { band = [\"60 Hz\", \"260 Hz\"] },\n";
    let reading = reading("2 km", &[(band, "")]);
    let line = reading.line.as_ref().unwrap();
    let subject = subject(line);
    assert_eq!(
        (subject.band_of, subject.band_hz),
        (BandOf::Detector, (0.0, 8000.0))
    );
    let ear = line.detectors.iter().find(|d| d.id == "upcall-upper");
    let budget = assess::chain_budget(line, ear.unwrap().on, Some(5)).unwrap();
    let sea_db = budget.months[0].level_db;
    let found_db = subject.noise_level_db(budget.months[0].wind_m_s).unwrap();
    // The chain's own noise adds a little; from 0 Hz on without the high-pass it would be tens of decibels.
    assert!(
        found_db > sea_db && found_db < sea_db + 0.3,
        "{found_db} {sea_db}"
    );
}

/// The detector without a background, by a threshold that stays where it is.
const FIXED: [(&str, &str); 2] = [
    ("  { background = \"median\", over = \"30 s\" },\n", ""),
    (
        "on_above = \"6 dB\", off_below = \"4 dB\"",
        "on_above = \"94 dB re 1 uPa\", off_below = \"92.5 dB re 1 uPa\"",
    ),
];

/// A call below a fixed threshold is carried over it by noise, and not in a calm: the greatest wind is then the best case. At 30 dB in a
/// calm and at 0 dB at the limit, the calm decides.
#[test]
fn verif_a_fixed_threshold_is_held_to_every_wind_up_to_the_limit() {
    let changes: Vec<_> = FIXED.into_iter().chain([FAINT]).collect();
    let reading = reading("300 m", &changes);
    let line = reading.line.as_ref().unwrap();
    let subject = subject(line);
    let detector = line.detectors.iter().position(|d| d.id == "upcall-upper");
    let winds = assess::range::limit_winds_m_s(line, DetectorIx(detector.unwrap()), CallIx(0));
    assert_eq!(winds, [0.0, LIMIT_M_S]);
    let june_m_s = subject.wind_m_s[5];
    let of = |wind_m_s, db: f64| {
        let counts = [(db - 1.0, 0), (db + 1.0, 1000)];
        counted_at(wind_m_s, &subject, &counts, 1000, 0)
    };
    let windy = [of(LIMIT_M_S, 0.0), of(june_m_s, 0.0)];
    let check = with(&reading, &windy);
    let why = why_unknown(&check, "far");
    assert!(
        why.starts_with("at 0 m/s of wind, the least in which it is to hold: no calls have been drawn in this noise yet; run"),
        "{why}"
    );
    // Nor are the months below the limit passed over.
    let check = with(&reading, &[of(LIMIT_M_S, 0.0), of(0.0, 0.0)]);
    let why = why_unknown(&check, "far");
    assert!(
        why.starts_with("in June, at 6.8 m/s of wind: no calls"),
        "{why}"
    );
    let all = [of(LIMIT_M_S, 0.0), of(june_m_s, 0.0), of(0.0, 30.0)];
    let check = with(&reading, &all);
    let far = known(&check, "far");
    assert_eq!(far.ruling, Ruling::Broken, "{}", far.why);
    for what in ["at 0 m/s of wind, the least", "the worst of 3 winds"] {
        assert!(far.why.contains(what), "{}", far.why);
    }
}

/// More noise than is known of may carry more calls over a fixed threshold, so that nothing is broken by what is known.
#[test]
fn verif_a_fixed_threshold_in_noise_that_is_not_told_breaks_nothing() {
    let changes: Vec<_> = FIXED.into_iter().chain([FAINT, (SELF_NOISE, "")]).collect();
    let reading = reading("5 km", &changes);
    let subject = subject(reading.line.as_ref().unwrap());
    let winds_m_s = [LIMIT_M_S, subject.wind_m_s[5], 0.0];
    let all = winds_m_s.map(|m_s| counted_at(m_s, &subject, &step(1000), 1000, 0));
    let check = with(&reading, &all);
    let why = why_unknown(&check, "far");
    assert!(
        why.contains("more calls over the threshold as well as fewer"),
        "{why}"
    );
}

/// Another density of the noise is another digest, by whatever it came to be another.
#[test]
fn verif_counts_are_of_the_noise_as_it_was_worked_out() {
    let of = |changes: &[(&str, &str)]| {
        let reading = reading("300 m", changes);
        subject(reading.line.as_ref().unwrap()).digest(LIMIT_M_S)
    };
    let digest = of(&[]).unwrap();
    assert_ne!(of(&[("shipping = 0.4", "shipping = 0.5")]).unwrap(), digest);
    assert_eq!(of(&[FAINT]).unwrap(), digest);
    let unsaid = of(&[("shipping = 0.4", "")]).unwrap_err().to_string();
    assert!(unsaid.contains("shipping"), "{unsaid}");
}

/// An encounter of one call is a call. One of three of which 30 % of the variance is common reaches as far as the share of single calls that makes up its share: the figure of 50 % is that of the beta-binomial law.
#[test]
fn verif_an_encounter_reaches_as_far_as_the_share_of_its_single_calls() {
    let ask = |calls: u64, common: &str, share: f64| {
        format!(
            "when_wind_at_most = \"{LIMIT_M_S} m/s\"\n[requirement.meet]\nthat = \"encounter\"\nof = \"detector.upcall-upper\"\ncall = \"call.upcall\"\ncalls = {calls}\ncorrelation = \"{common}\"\nmust = \"should\"\nat_least = \"2 km\"\nshare = \"{} %\"\nwhen_wind_at_most = \"{LIMIT_M_S} m/s\"\n",
            100.0 * share
        )
    };
    let some = chance::any_of_alike(0.5, 3, 0.3).unwrap();
    assert!(some > 0.6 && some < 0.875);
    for (calls, common, share) in [(1, "30 %", 0.5), (3, "30 %", some), (3, "0 %", 0.875)] {
        let reading = asking("2 km", &ask(calls, common, share), &[]);
        let check = judged(&reading, &step(200), 200, 0);
        let (far, meet) = (known(&check, "far"), known(&check, "meet"));
        assert!(
            (far.value.value - meet.value.value).abs() <= 1.0,
            "{far:?} {meet:?}"
        );
        assert!(meet.why.contains("beta-binomial"), "{}", meet.why);
    }
    // More alike, and the same share needs more of each call: no further.
    let reach = |common: &str| {
        let reading = asking("2 km", &ask(5, common, 0.9), &[FAINT]);
        let curve = [(-6.0, 20), (0.0, 100), (6.0, 180), (12.0, 200)];
        known(&judged(&reading, &curve, 200, 0), "meet").value.value
    };
    let [apart, half, same] = ["0 %", "50 %", "100 %"].map(reach);
    assert!(apart > half && half > same, "{apart} {half} {same}");
}

/// A line picked up by the hydrophone of the plan's parts; the rate is 16 kHz.
fn picks_up(level: &str, frequency: &str) -> String {
    format!(
        "pick_up = [{{ level = \"{level} re 1 uPa\", frequency = \"{frequency}\", harmonics = 1, falls = \"6 dB\" }}]\n"
    )
}

/// A line from above half the rate that nothing keeps out may lie in the noise or not: it keeps no range, breaks none, and counts as nothing
/// where it is too weak to matter.
#[test]
fn verif_a_line_that_may_fold_keeps_no_range() {
    let with_line = |level: &str, at_least: &str| {
        let noise = format!("{SELF_NOISE}{}", picks_up(level, "32.1 kHz"));
        let near = reading(at_least, &[FAINT, (SELF_NOISE, &noise)]);
        judged(&near, &step(1000), 1000, 0)
    };
    let loud = with_line("100 dB", "100 m");
    let why = why_unknown(&loud, "far");
    assert!(
        why.contains("may fold") && why.contains("`anti_alias`"),
        "{why}"
    );
    let far = with_line("100 dB", "5 km");
    let broken = known(&far, "far");
    assert_eq!(broken.ruling, Ruling::Broken);
    assert!(broken.why.contains("the most it can be"), "{}", broken.why);
    let plain = judged(&reading("100 m", &[FAINT]), &step(1000), 1000, 0);
    let faint = with_line("20 dB", "100 m");
    close(
        known(&faint, "far").value.value,
        known(&plain, "far").value.value,
        0.0,
    );
}

/// Without a table of self-noise a line is noise in its decidecade and nowhere else: beside it, in the band of the detector, stays the sea.
#[test]
fn verif_a_line_alone_is_no_noise_at_other_frequencies() {
    let level_db = |noise: &str| {
        let changes = [(SELF_NOISE, noise)];
        let reading = reading("100 m", &changes);
        subject(reading.line.as_ref().unwrap())
            .noise_level_db(LIMIT_M_S)
            .unwrap()
    };
    let beside = picks_up("120 dB", "2 kHz");
    close(level_db(&beside), level_db(""), 1e-6);
}

/// A line that may lie anywhere from 90 to 220 Hz, in five decidecades, is one line in the noise of a range: its power counts once. The density
/// of a range has 96 rows a decade, so that edges of decidecades are within a tenth of their width.
#[test]
fn verif_a_line_that_may_lie_in_several_decidecades_counts_once_in_a_range() {
    let level_db = |noise: &str| {
        let changes = [(SELF_NOISE, noise)];
        let reading = reading("100 m", &changes);
        subject(reading.line.as_ref().unwrap())
            .noise_level_db(LIMIT_M_S)
            .unwrap()
    };
    let wide = picks_up("120 dB", "155 Hz ± 65 Hz uniform");
    close(level_db(&wide), 120.0, 0.5);
}
