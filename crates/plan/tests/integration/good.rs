//! Good plans: what they resolve to, and what does not matter.

use std::collections::BTreeSet;
use std::path::Path;

use plan::{LARGEST_MODEL, Line, ModelGives, Stage};

use crate::support::{CUES, Files, SMALL, changed};

fn line(text: &str) -> Line {
    let reading = Files::one(text).read();
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    reading.line.expect("a plan without errors gives a line")
}

/// The module hangs 22 m down the riser; the cable is that times 1.02; 20 EUR are 2000 cents.
#[test]
fn verif_the_small_plan_resolves_to_what_it_says() {
    let line = line(SMALL);
    let upper = line.module_by_id("upper").unwrap();
    assert!((line.modules[upper.0].depth_m - 22.0).abs() < 1e-12);
    assert!((line.spans[0].length_m - 22.0 * 1.02).abs() < 1e-12);
    assert!((line.sea.latitude_deg.si - 57.0).abs() < 1e-9);
    assert!((line.storages[0].capacity_bytes.si - 64e9).abs() < 1e-3);
    let sensor = &line.modules[upper.0].sensors[0];
    assert!((sensor.chain.as_ref().unwrap().sensitivity_db.db + 170.0).abs() < 1e-12);
    assert!(
        matches!(&line.requirements[0].that, plan::That::UplinkCost { at_most, .. } if at_most.minor == 2000)
    );
    let files = Files::one(SMALL).with("cues.toml", CUES);
    let reading = files.read();
    assert!(reading.mistakes.is_empty(), "{:?}", reading.mistakes);
    let cues = files.read_cues(&reading);
    assert!(cues.mistakes.is_empty(), "{:?}", cues.mistakes);
}

/// The section is 90 m long in 85 m of water: what is 60 m from its lower end is 30 m from the buoy, and hangs 30 m deep.
#[test]
fn verif_one_place_has_one_depth_by_whichever_end_it_is_written() {
    let depth_m = |place: &str| {
        let line = line(&changed(SMALL, "from_top = \"22 m\"", place));
        let upper = line.module_by_id("upper").unwrap();
        (line.modules[upper.0].depth_m, line.spans[0].length_m)
    };
    for place in ["from_top = \"30 m\"", "from_anchor = \"60 m\""] {
        let (depth_m, span_m) = depth_m(place);
        assert!((depth_m - 30.0).abs() < 1e-12, "{place}: {depth_m}");
        // Along the rope, and 2 % more of cable.
        assert!((span_m - 30.0 * 1.02).abs() < 1e-9, "{place}: {span_m}");
    }
    // What is less than the excess of 5 m from the lower end lies on the seabed when the line hangs straight.
    let text = changed(SMALL, "from_top = \"22 m\"", "from_anchor = \"3 m\"");
    let reading = Files::one(text).read();
    let line = reading.line.as_ref().unwrap();
    let upper = line.module_by_id("upper").unwrap();
    assert!((line.modules[upper.0].depth_m - 85.0).abs() < 1e-12);
    assert!(
        reading
            .mistakes
            .iter()
            .any(|m| m.message.contains("lies on the seabed"))
    );
}

#[test]
fn verif_values_with_a_spread_are_listed_with_their_paths() {
    assert!(Files::one(SMALL).read().spreads.is_empty());
    let text = changed(SMALL, "gain = \"20 dB\"", "gain = \"20 dB ± 1 dB\"");
    let text = changed(
        &text,
        "listening = \"0.5 W\"",
        "listening = \"0.5 W ± 10 %\"",
    );
    let text = changed(&text, "diameter = \"12 mm\"", "diameter = \"12 mm ± 1 mm\"");
    let spreads = Files::one(text).read().spreads;
    let paths: Vec<&str> = spreads.iter().map(|s| s.path.as_str()).collect();
    assert_eq!(
        paths,
        [
            "module.upper.loads.listening",
            "module.upper.sensor.ear.gain",
            "section.riser.rope.diameter"
        ]
    );
    let drawn_by: Vec<Option<usize>> = spreads.iter().map(|s| s.drawn_by).collect();
    assert_eq!(drawn_by, [Some(0), Some(1), Some(2)]);
}

#[test]
fn verif_the_plan_wins_over_its_part() {
    let text = changed(
        SMALL,
        "sensor.ear = { part = \"part.ear\" }",
        "sensor.ear = { part = \"part.ear\", gain = \"26 dB\", adc = { bits = 24 } }",
    );
    let line = line(&text);
    let chain = line.modules[line.module_by_id("upper").unwrap().0].sensors[0]
        .chain
        .clone()
        .unwrap();
    assert!((chain.gain_db.db - 26.0).abs() < 1e-12);
    assert_eq!(chain.bits, 24);
    assert!((chain.rate_hz.si - 8000.0).abs() < 1e-9);
}

/// Comments, blanks, line ends and the order of tables do not change the digest; any value does.
#[test]
fn verif_the_digest_is_of_what_the_plan_says() {
    let digest = |text: &str| Files::one(text).read().digest;
    let own = digest(SMALL);
    assert_eq!(digest(&SMALL.replace('\n', "\r\n")), own);
    assert_eq!(digest(&format!("{SMALL}\n# a comment\n\n")), own);
    let (head, tail) = SMALL.split_at(SMALL.find("[traffic]").unwrap());
    let tables: Vec<&str> = head.splitn(2, "[deployment]").collect();
    let turned = format!("format = 1\n{tail}\n[deployment]{}", tables[1]);
    assert_eq!(digest(&turned), own);
    for (from, to) in [
        ("\"85 m\"", "\"86 m\""),
        ("\"2 %\"", "\"3 %\""),
        ("listening = \"0.5 W\"", "listening = \"0.5 W ± 10 %\""),
        ("at_most = \"20 EUR\"", "at_most = \"21 EUR\""),
        ("name = \"Small\"", "name = \"small\""),
    ] {
        assert_ne!(digest(&changed(SMALL, from, to)), own, "{from}");
    }
    assert_eq!(digest(&changed(SMALL, "\"85 m\"", "\"8500 cm\"")), own);
}

/// The examples read without errors, and their cue sheets with them.
#[test]
fn verif_the_examples_read_without_mistakes() {
    let plans = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../plans");
    let mut seen = 0;
    for folder in std::fs::read_dir(plans).unwrap() {
        let folder = folder.unwrap().path();
        let file = folder.join("plan.toml");
        if !file.is_file() {
            continue;
        }
        let reading = plan::read(&file, &plan::from_disk);
        // The bench plays recordings of others, of which nobody knows the calibration; it says so, and nothing else.
        let bench = folder.ends_with("listening-bench");
        let said: Vec<&String> = reading.mistakes.iter().map(|m| &m.message).collect();
        assert!(
            said.iter()
                .all(|m| bench && m.contains("has no calibration")),
            "{}: {said:?}",
            file.display()
        );
        assert!(!reading.has_errors());
        // Three are about power alone, and hear nothing; one is about what would mend it; in three `check` alone finds what is wrong.
        let without_cues = [
            "cold-wake",
            "long-reach",
            "reef-light",
            "gannet-stack",
            "kestrel-piles",
            "petrel-bank",
            "vennick-ledge",
        ]
        .iter()
        .any(|name| folder.ends_with(name));
        let Ok(sheets) = std::fs::read_dir(folder.join("cues")) else {
            assert!(
                bench || without_cues,
                "{} has no cue sheets",
                folder.display()
            );
            continue;
        };
        for cues in sheets {
            let cues = plan::read_cues(&cues.unwrap().path(), &reading, &plan::from_disk);
            assert!(cues.mistakes.is_empty(), "{:?}", cues.mistakes);
            seen += 1;
        }
    }
    assert!(seen >= 2);
}

/// Every kind of fault happens in some cue sheet of the examples, and the sheet of mishaps expects something of each of its own; every key of an uplink and of a store is
/// written in some plan of them.
#[test]
fn verif_the_examples_show_every_fault_and_every_key_of_uplinks_and_stores() {
    let plans = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../plans");
    let (mut kinds, mut keys) = (BTreeSet::new(), BTreeSet::new());
    let table = |path: &Path| -> toml::Table {
        let text = std::fs::read_to_string(path).unwrap();
        text.parse().unwrap()
    };
    let tables = |t: &toml::Table, key: &str| -> Vec<(String, toml::Table)> {
        let all = t.get(key).and_then(toml::Value::as_table);
        let all = all.into_iter().flatten();
        all.map(|(id, v)| (id.clone(), v.as_table().unwrap().clone()))
            .collect()
    };
    for folder in std::fs::read_dir(&plans).unwrap() {
        let folder = folder.unwrap().path();
        if !folder.join("plan.toml").is_file() {
            continue;
        }
        let plan = table(&folder.join("plan.toml"));
        for what in ["uplink", "storage"] {
            for (_, t) in tables(&plan, what) {
                keys.extend(t.keys().map(|key| format!("{what}.{key}")));
            }
        }
        for sheet in std::fs::read_dir(folder.join("cues")).into_iter().flatten() {
            let cues = table(&sheet.unwrap().path());
            for (_, fault) in tables(&cues, "fault") {
                kinds.insert(fault["kind"].as_str().unwrap().to_owned());
            }
        }
    }
    let cues = plan::cues_schema();
    let told = &cues["properties"]["fault"]["additionalProperties"]["properties"]["kind"]["enum"];
    let told: BTreeSet<String> = words(told.as_array().unwrap());
    assert!(told.len() >= 17, "{told:?}");
    assert_eq!(kinds, told);
    let plan_schema = plan::plan_schema();
    for what in ["uplink", "storage"] {
        let of = &plan_schema["properties"][what]["additionalProperties"]["properties"];
        let of = of.as_object().unwrap();
        assert!(of.len() >= 7);
        for key in of.keys() {
            assert!(keys.contains(&format!("{what}.{key}")), "{what}.{key}");
        }
    }
    // Its faults and what is expected of them begin with the same letter.
    let mishaps = table(&plans.join("kelp-gate/cues/mishaps.toml"));
    let letters = |key: &str| -> BTreeSet<char> {
        let of = tables(&mishaps, key);
        of.iter().filter_map(|(id, _)| id.chars().next()).collect()
    };
    assert!(letters("fault").len() >= told.len());
    assert_eq!(letters("fault"), letters("expect"));
}

fn words(list: &[serde_json::Value]) -> BTreeSet<String> {
    list.iter()
        .map(|w| w.as_str().expect("a path is a text").to_owned())
        .collect()
}

/// The line of Harrow Sound against figures worked out by hand from its file: positions from the top of a riser that hangs
/// from the surface, cables 2 % longer than the rope between their ends, 240 Ah in coulombs, 512 GB in bytes.
#[test]
fn verif_harrow_sound_resolves_to_what_it_says() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../plans/harrow-sound/plan.toml");
    let reading = plan::read(&path, &plan::from_disk);
    let line = reading.line.unwrap();
    let close = |found: f64, by_hand: f64| {
        assert!(
            (found - by_hand).abs() < 1e-9 * by_hand.abs().max(1.0),
            "{found} {by_hand}"
        );
    };
    let ids: Vec<&str> = line.modules.iter().map(|m| m.id.as_str()).collect();
    assert_eq!(ids, ["buoy", "lower", "marker", "probe", "upper"]);
    for (module, depth_m) in line.modules.iter().zip([0.0, 58.0, 6.0, 30.0, 22.0]) {
        close(module.depth_m, depth_m);
    }
    let spans: Vec<&str> = line.spans.iter().map(|s| s.id.as_str()).collect();
    assert_eq!(
        spans,
        ["buoy-marker", "marker-upper", "probe-lower", "upper-probe"]
    );
    for (span, apart_m) in line.spans.iter().zip([6.0, 16.0, 28.0, 8.0]) {
        close(span.length_m, apart_m * 1.02);
        assert!(span.written_length_m.is_none());
    }
    let supply = &line.supplies[0];
    assert_eq!(line.module_path(supply.module), "module.buoy");
    close(
        supply.battery.as_ref().unwrap().capacity_c.si,
        240.0 * 3600.0,
    );
    close(supply.panels.as_ref().unwrap().tilt_deg.si, 60.0);
    close(line.storages[0].capacity_bytes.si, 512e9);
    close(line.sea.wind_m_s[11].si, 10.9);
    // 240 d and the 12 weeks that the recovery may slip.
    close(line.deployment.longest_s(), (240.0 + 84.0) * 86_400.0);
    // 2027-03-15T00:00Z, by `date -u -d 2027-03-15 +%s` (GNU coreutils).
    assert_eq!(line.deployment.start.unwrap().as_second(), 1_805_068_800);
    let ear = line.sensor(line.detectors[0].on);
    let chain = ear.chain.as_ref().unwrap();
    close(chain.rate_hz.si, 16_000.0);
    assert_eq!(chain.self_noise.len(), 4);
    assert_eq!(ear.calibrated.as_ref().unwrap().by, "yard tank");
    let rope = line.sections[0].rope.as_ref().unwrap();
    close(rope.stiffness_n.unwrap().si, 600e3);
    // Eight that are written, and a heartbeat of each module.
    assert_eq!(line.behaviours.len(), 8 + 5);
    let text = std::fs::read_to_string(&path).unwrap();
    let written = text.lines().filter(|l| l.starts_with("[requirement."));
    assert_eq!(line.requirements.len(), written.count());
}

/// A catalogue counts by what it gives, even where only the name of a rope stands in the plan.
#[test]
fn verif_the_digest_holds_what_parts_hold() {
    let digest = |text: &str| Files::one(text).read().digest;
    let own = digest(SMALL);
    for (from, to) in [
        ("diameter = \"12 mm\"", "diameter = \"14 mm\""),
        ("gain = \"20 dB\"", "gain = \"21 dB\""),
    ] {
        assert_ne!(digest(&changed(SMALL, from, to)), own, "{from}");
    }
    let renamed = SMALL.replace("part.line", "part.rope-12");
    assert_eq!(digest(&renamed), own);
    let unused = format!("{SMALL}\n[part.spare]\nis = \"rope\"\n");
    assert_eq!(digest(&unused), own);
    let (head, part) = SMALL.split_at(SMALL.find("[part.line]").unwrap());
    let (part, tail) = part.split_at(part.find("[part.ear]").unwrap());
    let plan = changed(
        &format!("{head}{tail}"),
        "format = 1\n",
        "format = 1\ninclude = [\"parts.toml\"]\n",
    );
    let moved = Files::one(plan).with("parts.toml", format!("format = 1\n{part}"));
    let reading = moved.read();
    assert!(reading.mistakes.is_empty(), "{:?}", reading.mistakes);
    assert_eq!(reading.digest, own);
    assert_eq!(reading.sources.iter().count(), 2);
}

/// Every value of the small plan counts: each line bent to another good value gives another digest.
#[test]
fn verif_every_value_counts_in_the_digest() {
    let own = Files::one(SMALL).read().digest;
    let mut seen = 0;
    for (i, line) in SMALL.lines().enumerate() {
        for (from, to) in [
            ("1 V/uPa\"", "1 V/uPa ± 1 dB\""),
            (" V\"", " V ± 1 %\""),
            (" m\"", " m ± 1 %\""),
            (" s\"", " s ± 1 %\""),
            (" W\"", " W ± 1 %\""),
            ("= 34 ", "= 35 "),
            ("EUR", "USD"),
            ("per hour", "per d"),
            ("on\"", "off\""),
            ("2027-", "2028-"),
            ("class 5", "class 2"),
            ("60 Hz\"", "61 Hz\""),
        ] {
            if !line.contains(from) {
                continue;
            }
            let lines: Vec<String> = SMALL
                .lines()
                .enumerate()
                .map(|(j, l)| {
                    if i == j {
                        l.replacen(from, to, 1)
                    } else {
                        l.to_owned()
                    }
                })
                .collect();
            assert_ne!(
                Files::one(lines.join("\n")).read().digest,
                own,
                "{line}: {to}"
            );
            seen += 1;
        }
    }
    assert!(seen > 20, "{seen}");
}

/// A file that two others include is read once, and paths are the same however they are written.
#[test]
fn verif_a_catalogue_is_read_once() {
    let plan = changed(
        SMALL,
        "format = 1\n",
        "format = 1\ninclude = [\"a/parts.toml\", \"./a/../b.toml\", \"b.toml\"]\n",
    );
    let files = Files::one(plan)
        .with("a/parts.toml", "format = 1\ninclude = [\"../b.toml\"]\n")
        .with("b.toml", "format = 1\n[part.can]\nis = \"housing\"\n");
    let reading = files.read();
    assert!(reading.mistakes.is_empty(), "{:?}", reading.mistakes);
    let read: Vec<String> = reading
        .sources
        .iter()
        .map(|(_, s)| s.path.display().to_string())
        .collect();
    assert_eq!(read, ["plan.toml", "a/parts.toml", "b.toml"]);
}

/// Dotted keys, inline tables and headings say the same.
#[test]
fn verif_the_layout_of_a_table_does_not_matter() {
    let own = Files::one(SMALL).read().digest;
    for table in [
        "sensor.ear.part = \"part.ear\"",
        "sensor = { ear = { part = \"part.ear\" } }",
        "sensor = { ear.part = \"part.ear\" }",
        "[module.upper.sensor.ear]\npart = \"part.ear\"",
        "\"sensor\".'ear'.\"part\" = 'part.ear'",
        "sensor.ear = { part = \"\"\"part.ear\"\"\" }",
    ] {
        let text = changed(SMALL, "sensor.ear = { part = \"part.ear\" }", table);
        assert_eq!(Files::one(text).read().digest, own, "{table}");
    }
    assert_eq!(Files::one(format!("\u{feff}{SMALL}")).read().digest, own);
}

/// The stages of the detector of `SMALL`.
const STAGES: &str = "  { band = [\"60 Hz\", \"260 Hz\"] },\n  { level = \"rms\", window = \"0.25 s\" },\n  { background = \"median\", over = \"30 s\" },\n  { on_above = \"9 dB\", off_below = \"6 dB\", shortest = \"0.4 s\", longest = \"2 s\", hold_off = \"10 s\" },\n";

/// Each stage that the reference page lists, in chains that go together.
#[test]
fn verif_stages_resolve_to_what_they_say() {
    use plan::{BackgroundStage, LevelStage, RidgeWay};
    let stages = |text: &str| {
        line(&changed(SMALL, STAGES, text)).detectors[0]
            .stages
            .clone()
    };
    let clicks = stages(
        "{ decimate = 2 }, { level = \"teager-kaiser\", window = \"1 ms\", hop = \"0.5 ms\" },
         { background = \"ordered\", over = \"5 s\", guard = \"20 ms\", rank = \"75 %\" },
         { pulses = \"envelope\", rise = \"9 dB\", least_interval = \"20 ms\", most_interval = \"0.5 s\", at_least = 5, hold_off = \"10 s\", steady = \"30 %\" },
         { likely = \"50 %\", constant = -3.5, weights = { pulses = 0.25, excess_db = 0.5 } },",
    );
    assert!(matches!(clicks[0], Stage::Decimate { factor: 2, .. }));
    assert!(
        matches!(&clicks[1], Stage::Level { kind: LevelStage::TeagerKaiser, hop_s: Some(hop), .. } if hop.si == 5e-4)
    );
    assert!(
        matches!(&clicks[2], Stage::Background { kind: BackgroundStage::Ordered(rank), guard_s: Some(guard), .. } if rank.si == 0.75 && guard.si == 0.02)
    );
    assert!(matches!(&clicks[3], Stage::Pulses { steady: Some(s), .. } if s.si == 0.3));
    assert!(
        matches!(&clicks[4], Stage::Likely { least, constant: -3.5, weights } if least.si == 0.5 && *weights == [("excess_db", 0.5), ("pulses", 0.25)])
    );
    let ridge = stages(
        "{ spectrogram = \"hann\", window = \"0.1 s\" }, { background = \"mean\", over = \"30 s\" },
         { ridge = \"falling\", above = \"8 dB\", slope = [\"40 Hz/s\", \"0.4 kHz/s\"], gap = \"60 ms\", shortest = \"0.3 s\", longest = \"2 s\", hold_off = \"1 s\" },",
    );
    assert!(
        matches!(&ridge[2], Stage::Ridge { way: RidgeWay::Falling, slowest_hz_per_s, fastest_hz_per_s, gap_s: Some(_), .. } if slowest_hz_per_s.si == 40.0 && fastest_hz_per_s.si == 400.0)
    );
    let likeness = stages(
        "{ spectrogram = \"hann\", window = \"0.1 s\" }, { background = \"median\", over = \"30 s\" },
         { likeness = [{ after = \"0 s\", frequency = \"60 Hz\" }, { after = \"1 s\", frequency = \"200 Hz\" }], width = \"20 Hz\" },
         { on_above = \"6 dB\", off_below = \"3 dB\", shortest = \"0 s\", hold_off = \"1 s\", bridge = \"0.1 s\", at_least = 3, of_last = 5 },",
    );
    assert!(
        matches!(&likeness[2], Stage::Likeness { contour, width_hz } if contour.len() == 2 && contour[1].0.si == 1.0 && contour[1].1.si == 200.0 && width_hz.si == 20.0)
    );
    assert!(
        matches!(&likeness[3], Stage::Trigger { bridge_s: Some(b), k_of_n: Some((3, 5)), .. } if b.si == 0.1)
    );
    let with = |bytes: &[u8]| {
        let matched = "{ matched = \"calls/up.wav\" }, { on_above = \"100 dB re 1 uPa\", off_below = \"99 dB re 1 uPa\", shortest = \"0 s\", hold_off = \"1 s\" },";
        Files::one(changed(SMALL, STAGES, matched))
            .with("calls/up.wav", bytes)
            .read()
    };
    let (one, other) = (with(b"RIFF one"), with(b"RIFF two"));
    let template = one.line.as_ref().unwrap().detectors[0].stages[0]
        .template()
        .unwrap();
    assert_eq!(template.bytes.as_deref(), Some(b"RIFF one".as_slice()));
    assert_ne!(one.digest, other.digest);
}

#[test]
fn verif_a_learned_stage_carries_its_model_and_its_digest() {
    let with = |bytes: &[u8]| {
        let learned = "{ learned = \"models/call.onnx\", window = \"1 s\", hop = \"0.25 s\", input = \"pressure\", reference = \"120 dB re 1 uPa\", gives = \"log-odds\" },
         { on_above = \"6 dB\", off_below = \"0 dB\", shortest = \"0 s\", hold_off = \"1 s\", at_least = 2, of_last = 3 },";
        Files::one(changed(SMALL, STAGES, learned))
            .with("models/call.onnx", bytes)
            .read()
    };
    let (one, other) = (with(b"one"), with(b"two"));
    assert!(!one.has_errors(), "{:?}", one.mistakes);
    let detector = &one.line.as_ref().unwrap().detectors[0];
    assert!(detector.of_learned());
    let Stage::Learned {
        model,
        window_s,
        hop_s,
        reference_db,
        gives,
    } = &detector.stages[0]
    else {
        panic!("{detector:?}");
    };
    assert_eq!(model.bytes.as_deref(), Some(b"one".as_slice()));
    assert_eq!((window_s.si, hop_s.unwrap().si), (1.0, 0.25));
    assert_eq!(reference_db.unwrap().db, 120.0);
    assert_eq!(*gives, ModelGives::LogOdds);
    assert_ne!(one.digest, other.digest);
    let large = with(&vec![0; LARGEST_MODEL + 1]);
    let told = &large
        .mistakes
        .iter()
        .find(|m| m.is_error())
        .unwrap()
        .message;
    assert!(told.ends_with("call.onnx is larger than 32 MiB"), "{told}");
}

/// A measured law with all that may be said of it.
#[test]
fn verif_a_measured_loss_resolves_to_what_it_says() {
    const PROFILE: &str =
        "profile = [{ depth = \"0 m\", temperature = \"9 degC\", salinity = 34 }]";
    let site = format!(
        "{PROFILE}\nspreading = \"measured\"\nloss_measured = {{ slope = \"17.2 dB ± 1.4 dB\", at = \"1 km\", loss = \"51 dB ± 2 dB\", nearest = \"200 m\", farthest = \"6 km\", band = [\"20 Hz\", \"1 kHz\"], document = \"SV-11\", by = \"the survey launch\", date = 2026-08-14 }}"
    );
    let reading = Files::one(changed(SMALL, PROFILE, &site)).read();
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    let sea = reading.line.unwrap().sea;
    assert_eq!(sea.spreading, Some(plan::Spreading::Measured));
    let measured = sea.loss_measured.unwrap();
    let (at_m, loss) = measured.known.unwrap();
    assert_eq!(
        (measured.slope.db, at_m.si, loss.db, measured.farthest_m.si),
        (17.2, 1000.0, 51.0, 6000.0)
    );
    assert!(matches!(
        measured.slope.law,
        Some(quantity::Law::Normal { half_width }) if half_width == 1.4
    ));
    assert_eq!(measured.nearest_m.unwrap().si, 200.0);
    assert_eq!(measured.document, "SV-11");
}
