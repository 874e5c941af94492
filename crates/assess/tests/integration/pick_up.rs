//! What electronics put into a chain: where it falls, how loud, in which state, and against which sea.

use assess::{Check, Ruling, chain_budget};
use plan::{ModuleIx, SensorIx};

use crate::support::{checked, close, good, known, why_unknown};

/// Figures are worked out by the same formula of the sea; what is picked up in closed form.
const NEAR_DB: f64 = 1e-6;

const SEA: (&str, &str) = (
    "shipping = 0.2\n",
    "shipping = 0.2\nwind = [\"3 m/s\", \"3 m/s\", \"3 m/s\", \"3 m/s\", \"3 m/s\", \"3 m/s\", \"3 m/s\", \"3 m/s\", \"3 m/s\", \"3 m/s\", \"3 m/s\", \"3 m/s\"]\n",
);
const ASKED: (&str, &str) = (
    "[requirement.voltage]",
    "[requirement.hush]\nthat = \"pick-up\"\nat_least = \"10 dB\"\n[requirement.quiet]\nthat = \"self-noise\"\nat_least = \"6 dB\"\n[requirement.voltage]",
);
const STATES: (&str, &str) = (
    "loads = { listening = \"2 W\" }",
    "loads = { listening = \"2 W\", sending = \"3 W\" }\nstarts_in = \"listening\"",
);
const FILTER: (&str, &str) = (
    "rate = \"4 kHz\" }\nsettles_in",
    "rate = \"4 kHz\", anti_alias = { corner = \"1 kHz\", poles = 2 } }\nsettles_in",
);
/// Folds to 200 Hz at 4 kHz: 12.2 kHz lies 200 Hz above three times the rate.
const FOLDS: &str =
    "{ level = \"100 dB re 1 uPa\", frequency = \"12.2 kHz\", harmonics = 1, falls = \"6 dB\" }";

fn with(pick_up: &str, changes: &[(&str, &str)]) -> Vec<(String, String)> {
    let mut all: Vec<(String, String)> = [SEA, ASKED, STATES]
        .iter()
        .chain(changes)
        .map(|(from, to)| ((*from).to_owned(), (*to).to_owned()))
        .collect();
    let noise = "self_noise = [{ frequency = \"10 Hz\", level = \"20 dB re 1 uPa2/Hz\" }]";
    let said = match pick_up.is_empty() {
        true => "no_pick_up = true".to_owned(),
        false => format!("pick_up = [{pick_up}]"),
    };
    all.push((
        "gain = \"20 dB\"".to_owned(),
        format!("gain = \"20 dB\"\n{noise}\n{said}"),
    ));
    all
}

fn check_with(pick_up: &str, changes: &[(&str, &str)]) -> Check {
    let all = with(pick_up, changes);
    let all: Vec<(&str, &str)> = all.iter().map(|(a, b)| (a.as_str(), b.as_str())).collect();
    checked(&all)
}

/// The level of the sea of the quietest month in the decidecade about a frequency, dB re 1 uPa.
fn sea_db(about_hz: f64) -> f64 {
    let all = with("", &[]);
    let all: Vec<(&str, &str)> = all.iter().map(|(a, b)| (a.as_str(), b.as_str())).collect();
    let reading = good(&all);
    let line = reading.line.as_ref().unwrap();
    let module = line.modules.iter().position(|m| m.id == "ear").unwrap();
    let ear = SensorIx {
        module: ModuleIx(module),
        sensor: 0,
    };
    let budget = chain_budget(line, ear, None).unwrap();
    let holds =
        |b: &&assess::BandBudget| b.band.low_hz() <= about_hz && about_hz < b.band.high_hz();
    budget
        .bands
        .iter()
        .find(holds)
        .unwrap()
        .sea
        .unwrap()
        .quietest_db
}

/// What ticks share of a window hangs on the window, and so the evidence does.
#[test]
fn verif_the_window_of_a_detector_is_in_the_evidence() {
    let inputs = |window: &str| {
        let to = format!("window = \"{window}\"");
        let check = check_with(FOLDS, &[FILTER, ("window = \"0.2 s\"", &to)]);
        match &known(&check, "hush").evidence {
            assess::Evidence::Computed { inputs, .. } => inputs.clone(),
            other => panic!("{other:?}"),
        }
    };
    assert_eq!(inputs("0.2 s"), inputs("0.2 s"));
    assert_ne!(inputs("0.2 s"), inputs("0.4 s"));
}

/// The same between two frequencies, by the middle of its density.
fn sea_between_db(low_hz: f64, high_hz: f64) -> f64 {
    let all = with("", &[]);
    let reading = good(&refs(&all));
    let line = reading.line.as_ref().unwrap();
    let module = line.modules.iter().position(|m| m.id == "ear").unwrap();
    let ear = SensorIx {
        module: ModuleIx(module),
        sensor: 0,
    };
    let budget = chain_budget(line, ear, None).unwrap();
    let density_db = budget
        .sea_density_db((low_hz * high_hz).sqrt(), 3.0)
        .unwrap();
    density_db + 10.0 * (high_hz - low_hz).log10()
}

fn refs(all: &[(String, String)]) -> Vec<(&str, &str)> {
    all.iter().map(|(a, b)| (a.as_str(), b.as_str())).collect()
}

fn power(level_db: f64) -> f64 {
    10_f64.powf(level_db / 10.0)
}

/// A Butterworth of two poles at 1 kHz leaves `1/(1 + 12.2^4)` of the line and `1/(1 + 0.2^4)` of a sound where it is heard.
#[test]
fn verif_a_line_that_folds_into_the_band_is_named_with_its_level() {
    let check = check_with(FOLDS, &[FILTER]);
    let found = known(&check, "hush");
    let kept_db = 10.0 * ((1.0 + 0.2_f64.powi(4)) / (1.0 + 12.2_f64.powi(4))).log10();
    close(
        found.value.value,
        sea_db(200.0) - (100.0 + kept_db),
        NEAR_DB,
    );
    let wanted = "the converter of module.ear, 12.2 kHz, folds to 200 Hz at 4 kHz";
    assert!(found.why.contains(wanted), "{}", found.why);
    assert_eq!(
        found.ruling,
        if found.value.value < 10.0 {
            Ruling::Broken
        } else {
            Ruling::Met
        }
    );
}

/// What may be kept out is neither kept nor broken; what lies in the band itself is.
#[test]
fn verif_without_a_filter_what_folds_is_unknown_and_what_does_not_is_judged() {
    let open = check_with(FOLDS, &[]);
    let why = why_unknown(&open, "hush");
    assert!(
        why.contains("folds to 200 Hz") && why.contains("`anti_alias`"),
        "{why}"
    );
    let weak = check_with(&FOLDS.replace("100 dB", "20 dB"), &[]);
    assert_eq!(known(&weak, "hush").ruling, Ruling::Met);
    let inside = check_with(&FOLDS.replace("12.2 kHz", "200 Hz"), &[]);
    let found = known(&inside, "hush");
    close(found.value.value, sea_db(200.0) - 100.0, NEAR_DB);
    assert_eq!(found.ruling, Ruling::Broken);
    assert!(
        found.why.contains("the converter of module.ear, 200 Hz:"),
        "{}",
        found.why
    );
    assert!(
        found
            .why
            .contains("no frequency of that converter within 20 %")
            || found.why.contains("it would lie"),
        "{}",
        found.why
    );
}

/// The third of a fundamental that may lie anywhere from 3.9 to 4.1 kHz lies from 11.7 to 12.3 kHz: it is heard up to 300 Hz.
#[test]
fn verif_the_spread_of_a_frequency_counts_where_it_may_lie() {
    let spread = FOLDS
        .replace("12.2 kHz", "4 kHz ± 0.1 kHz uniform")
        .replace("harmonics = 1", "harmonics = 3")
        .replace("100 dB", "90 dB");
    let check = check_with(&spread, &[FILTER]);
    let found = known(&check, "hush");
    // Every line of the three may lie in the worst of the decidecades, each as loud as at the end that the filter weakens least.
    let kept = |n: f64, heard: f64| {
        let level = power(90.0 - 6.0 * n.log2());
        level * (1.0 + (heard / 1e3).powi(4)) / (1.0 + (n * 4.0 - heard / 1e3).powi(4))
    };
    // The first decidecade, cut at the lower end of the detector's band: all three may lie in it up to its upper edge, where the filter
    // weakens them least.
    let top_hz = 10_f64.powf(1.95);
    let all = kept(1.0, top_hz) + kept(2.0, top_hz) + kept(3.0, top_hz);
    let worst = sea_between_db(80.0, top_hz) - 10.0 * all.log10();
    close(found.value.value, worst, 0.01);
    let narrow = check_with(&spread.replace(" ± 0.1 kHz uniform", ""), &[FILTER]);
    // At 4 kHz sharp all harmonics fold to 0 Hz and none into the band.
    close(known(&narrow, "hush").value.value, 120.0, 0.0);
}

/// Ticks of 30 ms every 10 s in a window of 0.2 s: 15 % of it at most; of 80 dB over 20 to 1020 Hz the part of each decidecade.
#[test]
fn verif_ticks_count_by_the_window_and_by_the_part_of_their_band() {
    let ticks = "{ in_states = [\"sending\"], level = \"110 dB re 1 uPa\", every = \"10 s\", lasts = \"30 ms\", band = [\"20 Hz\", \"1020 Hz\"] }";
    let check = check_with(ticks, &[]);
    let found = known(&check, "hush");
    let part = |low: f64, high: f64| 110.0 + 10.0 * (0.15 * (high - low) / 1000.0).log10();
    let edges = |n: i32| 10_f64.powf((f64::from(n) - 0.5) / 10.0);
    // Whole decidecades of the band of the detector, 100 Hz to 250 Hz, and its last part.
    let whole = (20..=24).map(|n| {
        let middle = 10_f64.powf(f64::from(n) / 10.0);
        sea_db(middle) - part(edges(n), edges(n + 1))
    });
    let least = whole.fold(f64::INFINITY, f64::min);
    assert!(
        found.value.value <= least + NEAR_DB && found.value.value > least - 1.0,
        "{} {least}",
        found.value.value
    );
    assert!(
        found.why.contains("ticks of module.ear, 30 ms every 10 s"),
        "{}",
        found.why
    );
    assert!(found.why.contains("module.ear sending"), "{}", found.why);
}

/// A module is in one state at a time: two states do not add, two modules do.
#[test]
fn verif_states_of_one_module_do_not_add_and_modules_do() {
    let one = |state: &str| {
        format!(
            "{{ in_states = [\"{state}\"], level = \"60 dB re 1 uPa\", frequency = \"200 Hz\", harmonics = 1, falls = \"0 dB\" }}"
        )
    };
    let base = "{ from = \"module.base\", level = \"60 dB re 1 uPa\", frequency = \"200 Hz\", harmonics = 1, falls = \"0 dB\" }";
    let two = check_with(&format!("{}, {}", one("listening"), one("sending")), &[]);
    close(
        known(&two, "hush").value.value,
        sea_db(200.0) - 60.0,
        NEAR_DB,
    );
    let both = check_with(&format!("{}, {base}", one("sending")), &[]);
    close(
        known(&both, "hush").value.value,
        sea_db(200.0) - 60.0 - 10.0 * 2_f64.log10(),
        NEAR_DB,
    );
}

/// 1 uV at -170 dB re 1 V/uPa is 20 lg 1e-6 + 170 = 50 dB re 1 uPa by hand, and the noise of the chain counts with it.
#[test]
fn verif_a_voltage_is_a_level_and_adds_to_the_noise_of_the_chain() {
    let volts = check_with(
        "{ voltage = \"1 uV\", frequency = \"200 Hz\", harmonics = 1, falls = \"0 dB\" }",
        &[],
    );
    close(
        known(&volts, "hush").value.value,
        sea_db(200.0) - 50.0,
        NEAR_DB,
    );
    let quiet = check_with("", &[]);
    let without_db = known(&quiet, "quiet").value.value;
    let loud = check_with(
        "{ level = \"90 dB re 1 uPa\", frequency = \"200 Hz\", harmonics = 1, falls = \"0 dB\" }",
        &[],
    );
    let with_db = known(&loud, "quiet").value.value;
    assert!(with_db < without_db);
    // The noise of the chain beside it is 40 dB weaker and more.
    assert!((with_db - (sea_db(200.0) - 90.0)).abs() < 0.01, "{with_db}");
}

#[test]
fn verif_what_is_not_written_is_unknown() {
    let changes = [SEA, ASKED];
    let check = checked(&changes);
    assert!(why_unknown(&check, "hush").contains("add `pick_up`"));
    assert_eq!(known(&check_with("", &[]), "hush").ruling, Ruling::Met);
    let converter = (
        "input = { minimum = \"20 V\", maximum = \"56 V\" }",
        "input = { minimum = \"20 V\", maximum = \"56 V\", efficiency = 0.9 }",
    );
    let ticks = "{ level = \"10 dB re 1 uPa\", every = \"10 s\", lasts = \"30 ms\", band = [\"20 Hz\", \"1020 Hz\"] }";
    let unsaid = check_with(ticks, &[converter]);
    assert!(why_unknown(&unsaid, "hush").contains("has a converter"));
}

/// What may fold into the band keeps no limit of the chain's noise, and breaks none; where it is too weak to matter it is counted.
#[test]
fn verif_what_may_fold_keeps_no_limit_of_the_chain_and_breaks_none() {
    let open = check_with(FOLDS, &[]);
    let why = why_unknown(&open, "quiet");
    assert!(
        why.contains("with what may fold into its band") && why.contains("`anti_alias`"),
        "{why}"
    );
    let weak = check_with(&FOLDS.replace("100 dB", "20 dB"), &[]);
    let without_db = known(&check_with("", &[]), "quiet").value.value;
    let counted_db = known(&weak, "quiet").value.value;
    assert!(counted_db <= without_db && counted_db > without_db - 1.0);
    // A line in the band itself breaks it, whatever may fold beside it.
    let both = format!("{FOLDS}, {}", FOLDS.replace("12.2 kHz", "200 Hz"));
    let broken = check_with(&both, &[]);
    let found = known(&broken, "quiet");
    assert_eq!(found.ruling, Ruling::Broken);
    // Beside it the noise of the chain is 40 dB weaker and more.
    close(found.value.value, sea_db(200.0) - 100.0, 0.01);
}

/// What a recording shows is already folded, filtered and kept out: none of that takes anything from it again, but for what the chain does to
/// sound at the same place, 1/(1 + 0.2^4) of it behind the low-pass.
#[test]
fn verif_a_level_in_samples_is_not_weakened_again() {
    let shown = "{ shown = \"65 dB re 1 uPa\", shown_at = \"200 Hz\" }";
    let sampled = (
        "rate = \"4 kHz\" }\nsettles_in",
        "rate = \"4 kHz\", oversampling = { rate = \"256 kHz\", stop_band = \"100 dB\" } }\nsettles_in",
    );
    for changes in [&[][..], &[sampled]] {
        let check = check_with(shown, changes);
        let found = known(&check, "hush");
        close(found.value.value, sea_db(200.0) - 65.0, NEAR_DB);
        let wanted = "a line of module.ear in its samples, 200 Hz:";
        assert!(found.why.contains(wanted), "{}", found.why);
    }
    let kept_db = 10.0 * (1.0 + 0.2_f64.powi(4)).log10();
    let filtered = check_with(shown, &[FILTER]);
    close(
        known(&filtered, "hush").value.value,
        sea_db(200.0) - 65.0 - kept_db,
        NEAR_DB,
    );
    // The same number as a probe's at the input is another line: 100 dB weaker.
    let probe =
        "{ level = \"65 dB re 1 uPa\", frequency = \"12.2 kHz\", harmonics = 1, falls = \"6 dB\" }";
    let kept_out = check_with(probe, &[sampled]);
    close(
        known(&kept_out, "hush").value.value,
        (sea_db(200.0) + 35.0).min(120.0),
        NEAR_DB,
    );
}

/// Ticks from 0.1 Hz to 10 kHz at 4 kHz: a fifth of the power lies in each 2 kHz, so that samples show in 80 to 300 Hz what lies there itself
/// and four times as much from above. Without a filter that keeps no limit and breaks none.
#[test]
fn verif_ticks_fold_as_lines_do() {
    let ticks = |level: &str| {
        format!(
            "{{ level = \"{level} re 1 uPa\", every = \"10 s\", lasts = \"10 s\", band = [\"0.1 Hz\", \"10 kHz\"] }}"
        )
    };
    // Of 10 kHz the detector's decidecade about 200 Hz shows so much in each of five stretches.
    let share = (10_f64.powf(2.35) - 10_f64.powf(2.25)) / 1e4;
    let own_db = 10.0 * share.log10();
    let all_db = own_db + 10.0 * 5_f64.log10();
    let level_db = sea_db(200.0) - 10.0 - 0.5 * (own_db + all_db);
    let open = check_with(&ticks(&format!("{level_db:.3} dB")), &[]);
    let why = why_unknown(&open, "hush");
    assert!(
        why.contains("folded from above half the rate") && why.contains("`anti_alias`"),
        "{why}"
    );
    // A filter that takes nothing leaves all of it, and it is sure.
    let passes = (
        "rate = \"4 kHz\" }\nsettles_in",
        "rate = \"4 kHz\", oversampling = { rate = \"256 kHz\", stop_band = \"0 dB\" } }\nsettles_in",
    );
    let sure = check_with(&ticks("110 dB"), &[passes]);
    let found = known(&sure, "hush");
    assert_eq!(found.ruling, Ruling::Broken);
    assert!(
        found.value.value <= sea_db(200.0) - 110.0 - all_db + NEAR_DB,
        "{} {}",
        found.value.value,
        sea_db(200.0) - 110.0 - all_db
    );
}
