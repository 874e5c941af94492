//! `failures`: text, JSON, exit statuses and refusals.

use serde_json::Value;

use crate::support::{demo, edit, expect_status, run, stderr, stdout};

fn told(plan: &str, status: i32) -> Value {
    let output = run(&["--format", "json", "failures", plan]);
    expect_status(&output, status);
    serde_json::from_str(&stdout(&output)).unwrap()
}

fn failure<'v>(document: &'v Value, of: &str, breakage: &str) -> &'v Value {
    let mut all = document["failures"].as_array().unwrap().iter();
    all.find(|f| f["of"] == of && f["breakage"] == breakage)
        .unwrap()
}

/// The demo's lamp is lit to warn, so that its own darkness is the worst; nothing leaves the shore with a quiet sea.
#[test]
fn verif_failures_of_the_demo_are_told_in_text_and_json() {
    let demo = demo("harrow-sound", false);
    let json = told(&demo.plan, 0);
    assert_eq!(json, told(&demo.plan, 0));
    assert_eq!(json["format"], "failures/1");
    assert_eq!(json["plan_digest"].as_str().unwrap().len(), 64);
    let all = json["failures"].as_array().unwrap();
    // Five modules in three ways, four spans in three ways, two hydrophones, a supply, an uplink.
    assert_eq!(all.len(), 5 * 3 + 4 * 3 + 2 + 2);
    assert!(all.iter().all(|f| f["shore_sees"] != "quiet"));
    let cut = failure(&json, "span.probe-lower", "cut");
    assert_eq!(cut["lost_to_shore"][0], "module.lower.sensor.ear");
    // Ten minutes, a day, two hours of expiry and a session of 20 s, and some milliseconds on the links.
    let notices_s = cut["shore_notices_s"].as_f64().unwrap();
    assert!(
        (notices_s - (600.0 + 86_400.0 + 7200.0 + 20.0)).abs() < 0.1,
        "{notices_s}"
    );
    let text = run(&["failures", &demo.plan]);
    expect_status(&text, 0);
    let text = stdout(&text);
    for what in [
        "Single failures with aged contacts, the worst first",
        "after 0 of them the shore takes the silence for a quiet sea",
        "module.marker.output.lamp is off without power; nothing brings it to its fail-safe",
        "a short in span.buoy-marker",
        "What this rests on",
    ] {
        let flat = text.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(flat.contains(what), "{what}: {text}");
    }
    for failure in all {
        let called = failure["called"].as_str().unwrap();
        let flat = text.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(flat.contains(called), "{called}: {text}");
    }
}

#[test]
fn verif_without_heartbeats_the_sea_seems_quiet_and_what_is_not_said_is_unknown() {
    let demo = demo("harrow-sound", false);
    edit(
        &demo.plan,
        "[module.buoy.heartbeat]\ntopic = \"health/buoy\"\nevery = \"1 d\"\nby = \"uplink.shore\"\nlevels = [\"module.upper.sensor.ear\", \"module.lower.sensor.ear\"] # a deaf hydrophone is no quiet sea\n",
        "",
    );
    edit(
        &demo.plan,
        "fail_safe = \"on\"\nfails_safe_within = \"25 min\"\n",
        "",
    );
    let json = told(&demo.plan, 3);
    assert_eq!(
        failure(&json, "span.probe-lower", "cut")["shore_sees"],
        "quiet"
    );
    let marker = &failure(&json, "module.marker", "hung")["outputs"][1];
    assert_eq!(marker["fail_safe"], "unknown");
    let text = stdout(&run(&["failures", &demo.plan]));
    assert!(
        text.contains("takes the silence for a quiet sea: no heartbeat"),
        "{text}"
    );
}

#[test]
fn verif_a_line_that_says_too_little_is_refused() {
    let demo = demo("harrow-sound", false);
    edit(&demo.plan, "through = { resistance = \"0.2 ohm\" }\n", "");
    let output = run(&["failures", &demo.plan]);
    expect_status(&output, 2);
    let said = stderr(&output);
    assert!(
        said.contains("module.buoy says nothing of its through-resistance"),
        "{said}"
    );
}

/// Every failure of every example in time that takes cues: the rehearsal does what the table promises. Of the largest, of which a sheet takes
/// half an hour of sound, those in which power fails.
#[test]
fn verif_rehearsals_do_what_the_table_of_failures_promises() {
    let mut apart = Vec::new();
    let mut sheets = 0;
    for (name, status) in [
        ("cold-wake", 0),
        ("gannet-stack", 3),
        ("harrow-sound", 0),
        ("kelp-gate", 3),
        ("kestrel-piles", 0),
        ("listening-bench", 3),
        ("long-reach", 0),
        ("petrel-bank", 3),
        ("pile-watch", 3),
        ("reef-light", 3),
        ("sill-window", 0),
        ("silt-hollow", 3),
        ("strike-tally", 3),
        ("vennick-ledge", 0),
    ] {
        let demo = demo(name, false);
        if name == "kestrel-piles" {
            // Both lamps.
            edit(
                &demo.plan,
                "fail_safe = \"off\"",
                "fail_safe = \"off\"\nfails_safe_within = \"4 s\"",
            );
        }
        let folder = demo.folder.path().join("single");
        let cues = folder.display().to_string();
        let output = run(&["failures", &demo.plan, "--cues", &cues]);
        expect_status(&output, status);
        let mut files: Vec<_> = std::fs::read_dir(&folder)
            .unwrap()
            .map(|f| f.unwrap().path())
            .collect();
        files.sort();
        for file in files {
            let id = file.file_stem().unwrap().to_string_lossy().into_owned();
            let of_power = ["poor-contact", "no-supply"]
                .iter()
                .any(|of| id.ends_with(of));
            if name == "harrow-sound" && !of_power {
                continue;
            }
            let output = run(&["rehearse", &demo.plan, &file.display().to_string()]);
            sheets += 1;
            if output.status.code() != Some(0) {
                apart.push(format!(
                    "{name} {id}: {} {}",
                    stdout(&output),
                    stderr(&output)
                ));
            }
        }
    }
    assert!(apart.is_empty(), "{}", apart.join("\n"));
    assert!(sheets > 200, "{sheets}");
}

/// Nothing is written over, and what cannot be rehearsed is told.
#[test]
fn verif_cue_sheets_of_failures_replace_nothing() {
    let demo = demo("kestrel-piles", false);
    let folder = demo.folder.path().join("single");
    let cues = folder.display().to_string();
    let kept = folder.join("span-air-cut.toml");
    std::fs::create_dir(&folder).unwrap();
    std::fs::write(&kept, "mine").unwrap();
    let refused = run(&["failures", &demo.plan, "--cues", &cues]);
    expect_status(&refused, 2);
    assert!(stderr(&refused).contains("span-air-cut.toml"));
    assert_eq!(std::fs::read_dir(&folder).unwrap().count(), 1);
    assert_eq!(std::fs::read_to_string(&kept).unwrap(), "mine");
    std::fs::remove_file(&kept).unwrap();
    let written = run(&["--format", "json", "failures", &demo.plan, "--cues", &cues]);
    expect_status(&written, 0);
    let told: Value = serde_json::from_str(&stdout(&written)).unwrap();
    let sheets = told["cue_sheets"].as_array().unwrap();
    assert_eq!(sheets.len(), told["failures"].as_array().unwrap().len());
    let of = |called: &str| sheets.iter().find(|s| s["failure"] == called).unwrap();
    assert_eq!(of("span.air cut")["file"], "span-air-cut.toml");
    assert_eq!(
        of("a short in span.bed")["why"],
        "a rehearsal has no short in a span"
    );
}
