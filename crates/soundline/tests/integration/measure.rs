//! `soundline measure`: the table, what is told of bad recordings, and what is refused.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Output;

#[cfg(target_os = "linux")]
use crate::files::float_wav_at;
use crate::files::{PLAN, POOL, RATE_HZ, float_wav, tone, tone_wav};
#[cfg(target_os = "linux")]
use crate::support::soundline;
use crate::support::{expect_status, run, stderr, stdout};

fn measure(inputs: &[&Path], more: &[&str]) -> Output {
    let inputs = inputs.iter().map(|path| path.to_str().unwrap());
    let mut args = vec!["measure", PLAN, "--as", POOL];
    args.extend(inputs);
    args.extend(more);
    run(&args)
}

/// Lines of the head and rows by column of a table.
fn table(path: &Path) -> (Vec<String>, Vec<BTreeMap<String, String>>) {
    let text = fs::read_to_string(path).unwrap();
    let (head, rest): (Vec<&str>, Vec<&str>) = text.lines().partition(|l| l.starts_with("# "));
    let names: Vec<&str> = rest[0].split(',').collect();
    let rows = rest[1..]
        .iter()
        .map(|row| {
            let fields: Vec<&str> = row.split(',').collect();
            assert_eq!(fields.len(), names.len());
            let fields = fields.iter().map(ToString::to_string);
            names.iter().map(ToString::to_string).zip(fields).collect()
        })
        .collect();
    (head.iter().map(ToString::to_string).collect(), rows)
}

#[track_caller]
fn near(row: &BTreeMap<String, String>, column: &str, wanted: f64, tolerance: f64) {
    let found: f64 = row[column].parse().unwrap();
    assert!(
        (found - wanted).abs() <= tolerance,
        "{column}: {found} for {wanted}"
    );
}

/// A sine of half of full scale for 0.3 s of a second: 160 dB - 6.021 dB at its peak, 3.010 dB less rms, 5.229 dB less over the second.
#[test]
fn verif_a_tone_is_measured_in_closed_form() {
    let folder = tempfile::tempdir().unwrap();
    let wav = tone_wav(&folder.path().join("tone_20270315T041500Z.wav"));
    let csv = folder.path().join("levels.csv");
    let output = measure(&[&wav], &["--out", csv.to_str().unwrap()]);
    expect_status(&output, 0);
    let (head, rows) = table(&csv);
    for wanted in [
        "# format: measures/1",
        "# program: soundline ",
        "# plan digest: ",
        "# every: 60 s",
        "# module.bench.sensor.pool: channel 1, levels re 1 uPa, exposure re 1 uPa2 s, density re 1 uPa2/Hz; a sample of full scale is 160.000 dB re 1 uPa (sensitivity -160 dB re 1 V/uPa, gain 0 dB, full scale 1 V peak, 16 bit, 44100 Hz)",
        "# decidecade bands: 10 Hz to 16 kHz (nominal)",
    ] {
        assert!(
            head.iter().any(|line| line.starts_with(wanted)),
            "{wanted}: {head:#?}"
        );
    }
    assert!(
        head.iter()
            .any(|l| l.ends_with("no calibration is written"))
    );
    let [row] = rows.as_slice() else {
        panic!("{rows:?}")
    };
    assert_eq!(row["begin_utc"], "2027-03-15T04:15:00Z");
    assert_eq!((&*row["sensor"], &*row["channel"]), (POOL, "1"));
    assert_eq!(
        (&*row["listened_s"], &*row["averaged_s"]),
        ("1.000000", "1.000000")
    );
    near(row, "level_db", 145.740, 0.01);
    near(row, "exposure_level_db", 145.740, 0.01);
    near(row, "peak_level_db", 153.979, 0.01);
    near(row, "peak_to_peak_level_db", 160.0, 0.01);
    // Of a share of 0.3: the kurtosis of a sine, 1.5, over it.
    near(row, "kurtosis", 5.0, 0.01);
    near(row, "band_2000hz_level_db", 145.74, 0.1);
    assert_eq!(row["density_segments"], "1");
    // Same bytes again, and never over a file that is there.
    let first = fs::read(&csv).unwrap();
    let refused = measure(&[&wav], &["--out", csv.to_str().unwrap()]);
    expect_status(&refused, 2);
    let again = measure(&[&wav], &["--out", csv.to_str().unwrap(), "--force"]);
    expect_status(&again, 0);
    assert_eq!(fs::read(&csv).unwrap(), first);
    let input = measure(&[&wav], &["--out", wav.to_str().unwrap(), "--force"]);
    expect_status(&input, 2);
}

fn at_rate(path: &Path, rate_hz: u32) -> PathBuf {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: rate_hz,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(path, spec).unwrap();
    for _ in 0..rate_hz {
        writer.write_sample(1000_i16).unwrap();
    }
    writer.finalize().unwrap();
    path.to_path_buf()
}

/// A folder with all that can be wrong: each is told, and the rest of the work goes on.
#[test]
fn verif_a_folder_with_bad_recordings_is_measured_all_the_same() {
    let folder = tempfile::tempdir().unwrap();
    let sea = folder.path().join("sea");
    fs::create_dir(&sea).unwrap();
    let second = |name: &str, sample: &dyn Fn(u32) -> f32| {
        float_wav(&sea.join(name), (0..RATE_HZ).map(sample));
    };
    second("a_20270315T041500Z.wav", &tone);
    second("b_20270315T041501Z.wav", &|f| {
        if f == 9 { 1.0 } else { tone(f) }
    });
    second("c_20270315T041510Z.wav", &tone);
    second("overlap_20270315T041510.5Z.wav", &tone);
    second("silent_20270315T041600Z.wav", &|_| 0.0);
    second("clipped_20270315T041700Z.wav", &|_| -1.0);
    at_rate(&sea.join("rate_20270315T041800Z.wav"), 48_000);
    fs::write(sea.join("text.wav"), "no sound at all").unwrap();
    fs::write(sea.join("notes.txt"), "Monday: calm").unwrap();
    let csv = folder.path().join("levels.csv");
    let missing = folder.path().join("missing.wav");
    let more = ["--every", "10 s", "--out", csv.to_str().unwrap()];
    let output = measure(&[&sea, &missing], &more);
    expect_status(&output, 4);
    let said = stderr(&output);
    for wanted in [
        "notes.txt left out: not named like a recording",
        "rate_20270315T041800Z.wav: is sampled at 48000 Hz, module.bench.sensor.pool of the plan at 44100 Hz",
        "help: add --own-rate",
        "text.wav: not a recording",
        "missing.wav: cannot open it",
        "overlap_20270315T041510.5Z.wav: begins 0.500000 s before ",
        "silent_20270315T041600Z.wav: channel 1 is exact silence",
        "clipped_20270315T041700Z.wav: channel 1 is at full scale from end to end",
        "b_20270315T041501Z.wav: 1 sample at full scale",
    ] {
        assert!(said.contains(wanted), "{wanted}\n{said}");
    }
    let told = stdout(&output);
    assert!(told.contains("3 gaps between recordings"), "{told}");
    assert!(told.contains("6 of 9 recordings failed"), "{told}");
    let (_, rows) = table(&csv);
    let column = |name: &str| -> Vec<String> { rows.iter().map(|r| r[name].clone()).collect() };
    assert_eq!(
        column("begin_utc"),
        ["15:00", "15:10", "16:00", "17:00"].map(|t| format!("2027-03-15T04:{t}Z"))
    );
    assert_eq!(
        column("listened_s"),
        ["2.000000", "1.000000", "1.000000", "1.000000"]
    );
    assert_eq!(
        column("averaged_s"),
        ["1.000000", "1.000000", "1.000000", "0.000000"]
    );
    assert_eq!(column("clipped_samples"), ["1", "0", "0", "44100"]);
    // Silence has a level, minus infinity; what was not averaged over has none.
    assert_eq!(column("level_db")[2..], ["-inf", ""]);
    assert_eq!(column("kurtosis")[2..], ["", ""]);
    near(&rows[0], "level_db", 145.740, 0.01);
}

#[test]
fn verif_channels_that_are_not_there_and_empty_requests_are_refused() {
    let folder = tempfile::tempdir().unwrap();
    let wav = tone_wav(&folder.path().join("tone.wav"));
    let wav = wav.to_str().unwrap();
    let none = folder.path().join("none");
    fs::create_dir(&none).unwrap();
    let two = format!("2={POOL}");
    let csv = folder.path().join("levels.txt").display().to_string();
    for (args, wanted) in [
        (vec![wav, "--as", &two], "has 1 channel, and no channel 2"),
        (vec![wav], "nothing says which sensor made the sound"),
        (
            vec![none.to_str().unwrap(), "--as", POOL],
            "no file in it is named like a recording",
        ),
        (
            vec![wav, "--as", POOL, "--out", &csv],
            "a table ends in .csv or .parquet",
        ),
        (
            vec![wav, "--as", POOL, "--every", "0.5 s"],
            "must be a whole number of seconds",
        ),
        (vec![wav, "--as", POOL, "--every", "60"], "--every"),
    ] {
        let output = run(&[&["measure", PLAN], &args[..]].concat());
        expect_status(&output, 2);
        let said = stderr(&output);
        assert!(said.contains(wanted), "{wanted}\n{said}");
    }
}

/// A tone of 2 kHz for 0.3 s in the second: its power, half of half of full scale squared, lies in the lines about 2 kHz.
#[test]
fn verif_lines_are_a_table_of_their_own() {
    let folder = tempfile::tempdir().unwrap();
    let wav = tone_wav(&folder.path().join("tone_20270315T041500Z.wav"));
    let csv = folder.path().join("lines.csv");
    let csv = csv.to_str().unwrap();
    let output = measure(&[&wav], &["--lines", csv]);
    expect_status(&output, 0);
    assert!(stdout(&output).contains("2027-03-15T04:15:00Z"));
    let (head, rows) = table(Path::new(csv));
    assert!(head.iter().any(|l| l == "# format: measures/1"));
    assert_eq!(rows.len(), 22_051);
    assert_eq!(rows[2_000]["frequency_hz"], "2000.0000");
    assert_eq!(rows[2_000]["density_reference"], "1 uPa2/Hz");
    let power = |row: &BTreeMap<String, String>| {
        let level_db: f64 = row["density_p50_db"].parse().unwrap();
        10f64.powf(level_db / 10.0)
    };
    let near_tone: f64 = rows[1_900..2_100].iter().map(power).sum();
    let all: f64 = rows.iter().map(power).sum();
    assert!(near_tone > 0.99 * all);
    for (more, wanted) in [
        (vec!["--out", csv], "two names"),
        (vec!["--every", "1 d"], "bytes of memory"),
    ] {
        let more = [&["--lines", csv, "--force"], &more[..]].concat();
        let output = measure(&[&wav], &more);
        expect_status(&output, 2);
        let said = stderr(&output);
        assert!(said.contains(wanted), "{said}");
    }
}

/// Periods of a recording without a start are counted from its beginning, and told without a table too.
#[test]
fn verif_a_recording_without_a_start_is_told_by_its_own_time() {
    let folder = tempfile::tempdir().unwrap();
    let wav = float_wav(
        &folder.path().join("unknown.wav"),
        (0..5 * RATE_HZ / 2).map(|f| tone(f % RATE_HZ)),
    );
    let output = measure(&[&wav], &["--every", "1 s"]);
    expect_status(&output, 0);
    let said = stdout(&output);
    assert!(said.contains("unknown.wav, start unknown:"), "{said}");
    assert!(
        said.contains("  2 s                        1     0.500"),
        "{said}"
    );
    assert!(said.contains("2 periods of 1 s whole, 1 in part"), "{said}");
}

/// So many hours at a low rate, and the document of every second of them: its bytes and the most memory that it took, bytes.
#[cfg(target_os = "linux")]
fn measured_in_json(folder: &Path, seconds: u32) -> (Vec<u8>, u64) {
    const LOW_HZ: u32 = 1000;
    let mut noise = 1_u32;
    let samples = (0..seconds * LOW_HZ).map(|_| {
        noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        noise as f32 / 4_294_967_296.0 - 0.5
    });
    let wav = folder.join(format!("sea_{seconds}.wav"));
    float_wav_at(&wav, LOW_HZ, samples);
    let told = folder.join("told.json");
    let mut child = soundline()
        .args(["measure", "--format", "json", PLAN, "--as", POOL])
        .arg(&wav)
        .args(["--own-rate", "--every", "1 s"])
        .stdout(fs::File::create(&told).unwrap())
        .stderr(std::process::Stdio::null())
        .spawn()
        .unwrap();
    let status = format!("/proc/{}/status", child.id());
    let mut most_kib = 0;
    while child.try_wait().unwrap().is_none() {
        // Of a process that has ended it is no longer told.
        let text = fs::read_to_string(&status).unwrap_or_default();
        let most = text.lines().find_map(|line| line.strip_prefix("VmHWM:"));
        let most = most.map(|most| most.trim().trim_end_matches(" kB").parse().unwrap());
        most_kib = most.map_or(most_kib, |most: u64| most.max(most_kib));
        std::thread::sleep(std::time::Duration::from_millis(1));
    }
    assert_eq!(child.wait().unwrap().code(), Some(0));
    fs::remove_file(&wav).unwrap();
    (fs::read(&told).unwrap(), 1024 * most_kib)
}

/// Every second is in the document, and hours of seconds take no more memory than minutes do.
#[cfg(target_os = "linux")]
#[test]
fn verif_memory_does_not_grow_with_the_hours() {
    let hours = match std::env::var_os("SOUNDLINE_SOAK") {
        None => 3,
        Some(_) => 24,
    };
    let folder = tempfile::tempdir().unwrap();
    let (_, few) = measured_in_json(folder.path(), 600);
    let (text, many) = measured_in_json(folder.path(), 3600 * hours);
    assert!(few > 1 << 20, "{few}");
    assert!(many < few + (6 << 20), "{few} bytes, {many} bytes");
    let told: serde_json::Value = serde_json::from_slice(&text).unwrap();
    let periods = told["periods"].as_array().unwrap();
    assert_eq!(periods.len(), 3600 * hours as usize);
    for (second, period) in periods.iter().enumerate() {
        assert_eq!(period["first_s"], second as f64);
    }
}

#[cfg(not(feature = "parquet"))]
#[test]
fn verif_parquet_needs_its_feature_and_says_so() {
    let folder = tempfile::tempdir().unwrap();
    let wav = tone_wav(&folder.path().join("tone.wav"));
    let table = folder.path().join("levels.parquet");
    let output = measure(&[&wav], &["--out", table.to_str().unwrap()]);
    expect_status(&output, 2);
    let said = stderr(&output);
    assert!(said.contains("built without Parquet"), "{said}");
    assert!(
        said.contains("cargo build --release --features parquet"),
        "{said}"
    );
}

/// The table as Parquet holds what the CSV holds.
#[cfg(feature = "parquet")]
#[test]
fn verif_parquet_holds_what_csv_holds() {
    use parquet::file::reader::{FileReader, SerializedFileReader};
    use parquet::record::Field;
    let folder = tempfile::tempdir().unwrap();
    let wav = tone_wav(&folder.path().join("tone_20270315T041500Z.wav"));
    let still = float_wav(&folder.path().join("still.wav"), (0..RATE_HZ).map(|_| 0.0));
    let at = |name: &str| folder.path().join(name);
    for name in ["levels.csv", "levels.parquet"] {
        let output = measure(&[&wav, &still], &["--out", at(name).to_str().unwrap()]);
        expect_status(&output, 4);
    }
    let (head, rows) = table(&at("levels.csv"));
    let reader = SerializedFileReader::new(fs::File::open(at("levels.parquet")).unwrap()).unwrap();
    let kept = reader
        .metadata()
        .file_metadata()
        .key_value_metadata()
        .unwrap();
    let kept: Vec<String> = kept
        .iter()
        .map(|kv| format!("# {}: {}", kv.key, kv.value.as_deref().unwrap()))
        .collect();
    assert_eq!(head, kept);
    let mut seen = 0;
    for (row, wanted) in reader.get_row_iter(None).unwrap().zip(&rows) {
        let row = row.unwrap();
        assert_eq!(row.len(), wanted.len());
        for (name, field) in row.get_column_iter() {
            let wanted = &wanted[name];
            match field {
                Field::Str(text) => assert_eq!(text, wanted),
                Field::Long(count) => assert_eq!(count.to_string(), *wanted),
                Field::Null => assert!(wanted.is_empty(), "{name}"),
                Field::Double(number) if number.is_infinite() => assert_eq!(wanted, "-inf"),
                Field::Double(number) => {
                    let wanted: f64 = wanted.parse().unwrap();
                    assert!(
                        (number - wanted).abs() <= 0.0006,
                        "{name}: {number} for {wanted}"
                    );
                }
                other => panic!("{name}: {other}"),
            }
        }
        seen += 1;
    }
    assert_eq!((seen, rows.len()), (2, 2));
}

/// White noise of 58.4 dB re 1 uPa rms in all (15 dB re 1 uPa2/Hz to half the rate), and from a time on a sine at 2 kHz of a level (rms, dB re 1 uPa; full scale is a peak of 160 dB).
fn noise_and_sine(
    count: u32,
    noise_db: f64,
    sine_db: f64,
    from_s: f64,
) -> impl Iterator<Item = f32> {
    let unit = |db: f64| 10_f64.powf((db - 160.0) / 20.0);
    // Evenly spread between -a and a the rms is a/sqrt 3.
    let (noise, sine) = (unit(noise_db + 4.7712), unit(sine_db + 3.0103));
    let mut state = 1_u64;
    (0..count).map(move |i| {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        let even = (state >> 11) as f64 / (1_u64 << 52) as f64 - 1.0;
        let t_s = f64::from(i) / f64::from(RATE_HZ);
        let tone = (std::f64::consts::TAU * 2000.0 * t_s).sin();
        (noise * even + if t_s < from_s { 0.0 } else { sine * tone }) as f32
    })
}

/// A bench in a known sea, and three seconds of noise with such a sine, put into the plan's folder.
fn dummy(folder: &Path, more: &str, sine_db: f64) -> (String, PathBuf) {
    let samples = noise_and_sine(3 * RATE_HZ, 58.4, sine_db, 0.0);
    (bench(folder, more), dummy_wav(folder, samples))
}

fn dummy_wav(folder: &Path, samples: impl Iterator<Item = f32>) -> PathBuf {
    float_wav(&folder.join("dummy_20270315T041500Z.wav"), samples)
}

fn bench(folder: &Path, more: &str) -> String {
    let wind = ["\"6 m/s\""; 12].join(", ");
    let sea = format!("[site]\nwind = [{wind}]\nshipping = 0.3\nph = 8.0\n");
    let text = fs::read_to_string(PLAN).unwrap();
    let plan = folder.join("plan.toml");
    let chain = "rate = \"44.1 kHz\" }";
    let text = text.replace("[site]\n", &sea);
    fs::write(&plan, text.replace(chain, &format!("{chain}\n{more}"))).unwrap();
    plan.display().to_string()
}

fn judged(plan: &str, wav: &Path, status: i32) -> (String, serde_json::Value) {
    let args = [
        "measure",
        plan,
        "--as",
        POOL,
        wav.to_str().unwrap(),
        "--dummy",
        "--state",
        "listening",
        "--every",
        "1 s",
    ];
    let text = run(&args);
    expect_status(&text, status);
    let document = run(&[&["--format", "json"][..], &args].concat());
    expect_status(&document, status);
    let document: serde_json::Value = serde_json::from_str(&stdout(&document)).unwrap();
    (stdout(&text), document["sensors"][0]["dummy"].clone())
}

fn band(of: &serde_json::Value, hz: f64) -> &serde_json::Value {
    let all = of["bands"].as_array().unwrap();
    let found = all.iter().find(|b| {
        let key = if b["nominal_hz"].is_null() {
            "centre_hz"
        } else {
            "nominal_hz"
        };
        b[key].as_f64() == Some(hz)
    });
    found.unwrap()
}

/// A tone that a converter beside the chain puts there is named with its band; 20 dB lower it is met. Its level is that of the sine; the sea is that of `chain`, less
/// what the high-pass takes of it.
#[test]
fn verif_what_a_dummy_element_picks_up_is_held_against_the_sea() {
    let folder = tempfile::tempdir().unwrap();
    let high_pass = "high_pass = { corner = \"1 kHz\", poles = 1 }";
    for more in ["", high_pass] {
        let (plan, wav) = dummy(folder.path(), more, 80.0);
        let (text, told) = judged(&plan, &wav, 1);
        assert!(text.contains("worst at 2 kHz"), "{text}");
        assert!(text.contains("broken in 1 of "), "{text}");
        assert_eq!(told["word"], "broken");
        let chain = run(&["--format", "json", "chain", &plan, "--as", POOL]);
        let chain: serde_json::Value = serde_json::from_str(&stdout(&chain)).unwrap();
        let sea = band(&chain["sensors"][0], 2000.0);
        let number = |of: &serde_json::Value, key: &str| of[key].as_f64().unwrap();
        let sea_db =
            number(sea, "sea_quietest_level_db_re_1upa") - number(sea, "high_pass_loss_db");
        let own = band(&told, 2000.0);
        assert!((number(own, "level_db") - 80.0).abs() < 0.1, "{own}");
        assert!((number(own, "sea_level_db") - sea_db).abs() < 1e-9, "{own}");
        let margin = sea_db - 10.0 - number(own, "level_db");
        assert!((number(own, "margin_db") - margin).abs() < 1e-9, "{own}");
        assert!(more.is_empty() || number(sea, "high_pass_loss_db") > 0.5);
    }
    let (plan, wav) = dummy(folder.path(), "", 60.0);
    let (text, told) = judged(&plan, &wav, 0);
    assert!(
        text.contains("met in every band; least clear at "),
        "{text}"
    );
    assert_eq!(told["word"], "met");
}

/// A state that comes on in the last half second, of which no period is whole, is as loud as any other: 80 dB of the sine are broken, as in a whole second.
#[test]
fn verif_what_is_too_loud_in_a_period_in_part_is_broken() {
    let folder = tempfile::tempdir().unwrap();
    let plan = bench(folder.path(), "");
    let count = 5 * RATE_HZ / 2;
    let wav = dummy_wav(folder.path(), noise_and_sine(count, 58.4, 80.0, 2.0));
    let (text, told) = judged(&plan, &wav, 1);
    assert!(text.contains("worst at 2 kHz"), "{text}");
    assert_eq!(told["word"], "broken");
    let wav = dummy_wav(folder.path(), noise_and_sine(count, 58.4, 60.0, 2.0));
    assert_eq!(judged(&plan, &wav, 0).1["word"], "met");
}

/// Half a second is no whole period; 160 dB below full scale no chain of 24 bits is as quiet (its steps alone make 144.5 + 1.8 dB below a sine of full scale); and what is at full
/// scale is in no level.
#[test]
fn verif_a_recording_that_shows_nothing_of_a_dummy_is_unknown() {
    let folder = tempfile::tempdir().unwrap();
    let plan = bench(folder.path(), "");
    let whole = 3 * RATE_HZ;
    let clipped = noise_and_sine(whole, 58.4, 0.0, 0.0).enumerate();
    let clipped = clipped.map(|(i, x)| if i == 1000 { 1.0 } else { x });
    let all: [(Vec<f32>, &str); 3] = [
        (
            noise_and_sine(RATE_HZ / 2, 58.4, 0.0, 0.0).collect(),
            "no period of 1 s is whole",
        ),
        (
            noise_and_sine(whole, -20.0, -60.0, 0.0).collect(),
            "below what the chain makes by itself",
        ),
        (clipped.collect(), "samples at full scale (1 of them)"),
    ];
    for (samples, said) in all {
        let wav = dummy_wav(folder.path(), samples.into_iter());
        let (text, told) = judged(&plan, &wav, 3);
        assert!(
            text.contains("unknown: no band is too loud, but "),
            "{text}"
        );
        assert!(text.contains(said), "{text}");
        assert_eq!(told["word"], "unknown");
        assert!(told["why"].as_str().unwrap().contains(said), "{told}");
    }
}

/// A module with two states of which one was recorded: what the other picks up is not known, and it is named; with both it is met. What is too loud is broken all the same.
#[test]
fn verif_a_state_that_was_not_recorded_leaves_a_dummy_unknown() {
    let folder = tempfile::tempdir().unwrap();
    let (plan, wav) = dummy(folder.path(), "", 60.0);
    let text = fs::read_to_string(&plan).unwrap();
    let loads = "loads = { listening = \"1 W\", sending = \"2 W\" }";
    let one_load = "loads = { listening = \"1 W\" }";
    assert!(text.contains(one_load), "{text}");
    fs::write(&plan, text.replace(one_load, loads)).unwrap();
    let of = |states: &[&str]| {
        let named = states.iter().flat_map(|s| ["--state", *s]);
        let args = [
            "measure",
            &plan,
            "--as",
            POOL,
            wav.to_str().unwrap(),
            "--dummy",
            "--every",
            "1 s",
        ];
        run(&args.into_iter().chain(named).collect::<Vec<_>>())
    };
    let one = of(&["listening"]);
    expect_status(&one, 3);
    assert!(
        stdout(&one).contains("of `sending` nobody says that it was recorded"),
        "{}",
        stdout(&one)
    );
    let none = of(&[]);
    expect_status(&none, 3);
    assert!(
        stdout(&none).contains("of `listening` and `sending` nobody"),
        "{}",
        stdout(&none)
    );
    let both = of(&["listening", "sending"]);
    expect_status(&both, 0);
    assert!(stdout(&both).contains("met in every band"));
    let wrong = of(&["sendign"]);
    expect_status(&wrong, 2);
    let loud = dummy_wav(folder.path(), noise_and_sine(3 * RATE_HZ, 58.4, 80.0, 0.0));
    assert_eq!(loud, wav);
    expect_status(&of(&["listening"]), 1);
}

/// Of a sea that is not known nothing is met.
#[test]
fn verif_a_dummy_element_in_an_unknown_sea_is_unknown() {
    let folder = tempfile::tempdir().unwrap();
    let wav = tone_wav(&folder.path().join("tone_20270315T041500Z.wav"));
    let (text, told) = judged(PLAN, &wav, 3);
    assert!(text.contains("unknown: "), "{text}");
    assert_eq!(told["word"], "unknown");
    assert!(
        told["why"].as_str().unwrap().contains("site.shipping"),
        "{told}"
    );
}
