//! What a plan's stages become for the detector, and what is said of a template that does not fit.

use std::path::Path;

use assess::input::{InputError, detector_spec};
use detect::{BackgroundKind, Confirm, Feature, KOfN, LevelKind, Spec, Stage};
use plan::DetectorIx;

use crate::support::changed;

/// A 16-bit recording of one or more channels, as Microsoft's RIFF lays it out.
fn wav(rate_hz: u32, channels: u16, samples: &[i16]) -> Vec<u8> {
    let data: Vec<u8> = samples.iter().flat_map(|v| v.to_le_bytes()).collect();
    let mut file = Vec::new();
    file.extend(b"RIFF");
    file.extend((36 + data.len() as u32).to_le_bytes());
    file.extend(b"WAVEfmt ");
    file.extend(16u32.to_le_bytes());
    file.extend(1u16.to_le_bytes());
    file.extend(channels.to_le_bytes());
    file.extend(rate_hz.to_le_bytes());
    file.extend((rate_hz * u32::from(channels) * 2).to_le_bytes());
    file.extend((channels * 2).to_le_bytes());
    file.extend(16u16.to_le_bytes());
    file.extend(b"data");
    file.extend((data.len() as u32).to_le_bytes());
    file.extend(data);
    file
}

fn spec(changes: &[(&str, &str)], call: &[u8]) -> Result<Spec, InputError> {
    let text = changed(changes);
    let reading = assess::read(Path::new("plan.toml"), &|path| {
        Ok(match path.extension() {
            Some(kind) if kind == "wav" => call.to_vec(),
            _ => text.as_bytes().to_vec(),
        })
    });
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    detector_spec(reading.line.as_ref().unwrap(), DetectorIx(0), None)
}

#[test]
fn verif_every_stage_of_the_level_path_reaches_the_detector() {
    let spec = spec(
        &[
            ("  { band =", "  { decimate = 4 },\n  { band ="),
            (
                "level = \"rms\", window = \"0.2 s\"",
                "level = \"teager-kaiser\", window = \"0.2 s\", hop = \"0.05 s\"",
            ),
            (
                "background = \"median\", over = \"10 s\"",
                "background = \"ordered\", rank = \"75 %\", over = \"10 s\", guard = \"1 s\"",
            ),
            (
                "hold_off = \"5 s\" },",
                "hold_off = \"5 s\", bridge = \"0.1 s\", at_least = 3, of_last = 5, confirm = \"at-end\" },
  { likely = \"60 %\", constant = -3.5, weights = { length_s = 1.5, excess_db = 0.25 } },",
            ),
        ],
        b"",
    )
    .unwrap();
    assert_eq!(spec.stages[0], Stage::Decimate { factor: 4 });
    let level = Stage::Level {
        kind: LevelKind::TeagerKaiser,
        window_s: 0.2,
        hop_s: Some(0.05),
    };
    assert_eq!(spec.stages[2], level);
    let background = Stage::Background {
        kind: BackgroundKind::Ordered { rank: 0.75 },
        over_s: 10.0,
        guard_s: 1.0,
    };
    assert_eq!(spec.stages[3], background);
    let trigger = Stage::Trigger {
        on_above_db: 8.0,
        off_below_db: 5.0,
        shortest_s: 0.3,
        longest_s: Some(3.0),
        bridge_s: 0.1,
        k_of_n: Some(KOfN {
            at_least: 3,
            of_last: 5,
        }),
        hold_off_s: 5.0,
        confirm: Confirm::AtEnd,
    };
    assert_eq!(spec.stages[4], trigger);
    let likely = Stage::Likely {
        at_least: 0.6,
        constant: -3.5,
        weights: vec![(Feature::Excess, 0.25), (Feature::Length, 1.5)],
    };
    assert_eq!(spec.stages[5], likely);
    detect::Detector::new(&spec).unwrap();
}

#[test]
fn verif_a_template_is_taken_at_the_rate_of_the_sensor_or_not_at_all() {
    let matched = [(
        "level = \"rms\", window = \"0.2 s\"",
        "matched = \"calls/up.wav\"",
    )];
    let call: Vec<i16> = (0..4000).map(|i| ((i * 37) % 200 - 100) as i16).collect();
    let with = |file: &[u8]| spec(&matched, file);
    let found = with(&wav(RATE_HZ, 1, &call)).unwrap();
    let Stage::Matched { template, hop_s } = &found.stages[1] else {
        panic!("{:?}", found.stages);
    };
    assert_eq!((template.len(), *hop_s), (call.len(), None));
    assert_eq!(template[1], f32::from(call[1]) / 32_768.0);
    let error = with(&wav(44_100, 1, &call)).unwrap_err();
    assert!(matches!(error, InputError::TemplateRate { .. }));
    assert!(
        error
            .to_string()
            .contains("calls/up.wav was taken at 44100 Hz"),
        "{error}"
    );
    let error = with(&wav(RATE_HZ, 2, &call)).unwrap_err();
    assert!(matches!(
        error,
        InputError::TemplateChannels { channels: 2, .. }
    ));
    let error = with(b"no recording at all").unwrap_err();
    assert!(
        matches!(error, InputError::TemplateUnread { .. }),
        "{error}"
    );
}

/// Rate of the sensor in the small plan.
const RATE_HZ: u32 = 4_000;

/// A stage of the plan by its letter: decimate, band, level, exposure, matched, spectrogram, ground (background), likeness
/// (K), trigger, pulses, ridge, judgement.
fn written(letter: char, over_background: bool) -> String {
    let trigger = |on: &str, off: &str| {
        format!(
            "on_above = \"{on}\", off_below = \"{off}\", shortest = \"0.3 s\", longest = \"3 s\", hold_off = \"5 s\", confirm = \"at-end\""
        )
    };
    let stage = match letter {
        'D' => "decimate = 2".to_owned(),
        'B' => "band = [\"80 Hz\", \"300 Hz\"]".to_owned(),
        'L' => "level = \"rms\", window = \"0.2 s\"".to_owned(),
        'E' => "level = \"exposure\", window = \"0.2 s\"".to_owned(),
        'M' => "matched = \"calls/up.wav\", hop = \"50 ms\"".to_owned(),
        'S' => "spectrogram = \"hann\", window = \"0.1 s\"".to_owned(),
        'G' => "background = \"median\", over = \"10 s\"".to_owned(),
        'K' => "likeness = [{ after = \"0 s\", frequency = \"100 Hz\" }, { after = \"1 s\", frequency = \"200 Hz\" }], width = \"20 Hz\"".to_owned(),
        'T' if over_background => trigger("8 dB", "5 dB"),
        'T' => trigger("120 dB re 1 uPa", "115 dB re 1 uPa"),
        'X' => trigger("120 dB re 1 uPa2 s", "115 dB re 1 uPa2 s"),
        'P' => "pulses = \"envelope\", rise = \"12 dB\", least_interval = \"20 ms\", most_interval = \"0.25 s\", at_least = 5, hold_off = \"1 s\"".to_owned(),
        'R' => "ridge = \"rising\", above = \"9 dB\", slope = [\"40 Hz/s\", \"400 Hz/s\"], shortest = \"0.4 s\", longest = \"2 s\", hold_off = \"10 s\"".to_owned(),
        _ => "likely = \"50 %\", constant = -3.1, weights = { excess_db = 0.3 }".to_owned(),
    };
    format!("  {{ {stage} }},\n")
}

/// Whether the plan takes the stages, and whether the detector does.
fn taken(letters: &str) -> (bool, bool) {
    let over_background = letters.contains('G');
    let of_exposure = letters.contains('E') && !over_background;
    let stages: String = letters
        .chars()
        .map(|letter| match letter {
            'T' if of_exposure => written('X', false),
            other => written(other, over_background),
        })
        .collect();
    let small = changed(&[]);
    let begin = small.find("stages = [\n").unwrap() + "stages = [\n".len();
    let end = begin + small[begin..].find("]\n\n[traffic]").unwrap();
    let text = format!("{}{stages}{}", &small[..begin], &small[end..]);
    let call: Vec<i16> = (0..2000)
        .map(|i| (1000.0 * (0.3 * f64::from(i)).sin()) as i16)
        .collect();
    let call = wav(RATE_HZ, 1, &call);
    let reading = assess::read(Path::new("plan.toml"), &|path| {
        Ok(match path.extension() {
            Some(kind) if kind == "wav" => call.clone(),
            _ => text.as_bytes().to_vec(),
        })
    });
    let built = reading.line.as_ref().is_some_and(|line| {
        !line.detectors.is_empty()
            && detector_spec(line, DetectorIx(0), None)
                .is_ok_and(|spec| detect::Detector::new(&spec).is_ok())
    });
    let wrong = reading.has_errors();
    assert!(
        wrong || built,
        "{letters}: a plan without a mistake, and no detector"
    );
    (!wrong, built)
}

/// The plan does not know the detector: it takes each order of stages that the detector takes, and refuses all others that
/// are near to one.
#[test]
fn verif_plan_and_detector_take_the_same_orders_of_stages() {
    let bodies = [
        "LT", "LGT", "LGP", "ET", "EGT", "EGP", "MT", "MGT", "MGP", "SGKT", "SGR",
    ];
    let mut orders = Vec::new();
    for body in bodies {
        for before in ["", "D", "B", "DB"] {
            for after in ["", "J"] {
                orders.push(format!("{before}{body}{after}"));
            }
        }
    }
    let mut refused = 0;
    for order in &orders {
        assert_eq!(taken(order), (true, true), "{order}");
        for at in 0..order.len() {
            let mut near = vec![order[..at].to_owned() + &order[at + 1..]];
            if at > 0 {
                near.push(
                    order[..at - 1].to_owned()
                        + &order[at..=at]
                        + &order[at - 1..at]
                        + &order[at + 1..],
                );
            }
            for other in near {
                if !orders.contains(&other) {
                    assert!(!taken(&other).0, "{other}");
                    refused += 1;
                }
            }
        }
    }
    assert!(refused > 400, "{refused}");
}
