//! Every kind of JSON document against a committed one of the same version: no key, no unit in a key, no unit beside a value and no
//! type may be lost or renamed without a new version, and its values are held too: texts as they are, numbers to a millionth. A key that is new and a value that is another are taken into
//! the committed document with `SOUNDLINE_RENEW=1 cargo test -p soundline documents`, which refuses when anything is lost. The documents are kept for ever: of a version that is
//! no longer written they are held by being read.

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

use serde_json::{Value, json};

use crate::dockside::read_on_the_quay;
use crate::files::tone_wav;
use crate::records::every_record;
use crate::shapes::compare;
use crate::support::{
    demo, edit, expect_status, only_evidence, only_file, repository, run, stdout,
};
use crate::two_ears::recording;

const REQUIREMENTS: &str = r#"
[detector.loud]
on = "module.ear.sensor.one"
stages = [
  { level = "exposure", window = "0.2 s" },
  { on_above = "150 dB re 1 uPa2 s", off_below = "145 dB re 1 uPa2 s", shortest = "0.1 s", hold_off = "5 s" },
]

[requirement.volts]
that = "voltage"
source = "permit 1, clause 2"

[requirement.amperes]
that = "supply-current"
of = "supply.bench"
at_most = "2 A"

[requirement.prompt]
that = "delay"
from = "detector.call.confirmed"
to = "module.base.output.lamp"
at_most = "2 s"

[requirement.links]
that = "link-load"
at_most = "20 %"

[requirement.messages]
that = "uplink-messages"
of = "uplink.shore"
at_most = "400 per 30 d"
must = "should"

[requirement.budget]
that = "uplink-cost"
of = "uplink.shore"
at_most = "50 EUR"

[requirement.night]
that = "rehearsed"
cues = "cues.toml"
"#;

const EXPECTED: &str = r#"
[expect.lamp]
that = "switched"
of = "module.base.output.lamp"
to = "on"
after = "sound.first"
within = "5 s"

[expect.dark]
that = "switched"
of = "module.base.output.lamp"
to = "on"
at_most = 0
until = "5 s"
"#;

/// The small line with requirements, its cues with expectations, and their folder.
struct Small {
    folder: tempfile::TempDir,
    plan: String,
    cues: String,
}

fn small() -> Small {
    let folder = tempfile::tempdir().unwrap();
    // With a limit of the supply, so that what rests on it is known.
    let endless = r#"voltage = "48 V", resistance = "0 ohm""#;
    let limited = r#"voltage = "48 V", resistance = "0 ohm", current_limit = "50 A""#;
    let write = |from: &str, to: &str, more: &str| {
        let from = repository("crates/rehearsal/tests/data").join(from);
        let path = folder.path().join(to);
        let text = fs::read_to_string(from).unwrap().replace(endless, limited);
        fs::write(&path, text + more).unwrap();
        path.display().to_string()
    };
    let (plan, cues) = (
        write("small.toml", "plan.toml", REQUIREMENTS),
        write("cues.toml", "cues.toml", EXPECTED),
    );
    Small { folder, plan, cues }
}

/// The document that a command writes to standard output.
fn document(args: &[&str]) -> Value {
    let output = run(&[&["--format", "json"], args].concat());
    serde_json::from_str(&stdout(&output)).unwrap()
}

#[test]
fn regress_the_documents_of_a_rehearsal_and_of_a_check() {
    let small = small();
    let folder = small.folder.path();
    let before = document(&["check", &small.plan]);
    compare("verdicts-1-unknown.json", &before, folder);
    let trace = folder.join("trace.jsonl").display().to_string();
    let rehearsal = document(&["rehearse", &small.plan, &small.cues, "--trace", &trace]);
    compare("rehearsal-1.json", &rehearsal, folder);
    let evidence = fs::read_to_string(only_file(&folder.join("plan.evidence"))).unwrap();
    let evidence: Value = serde_json::from_str(&evidence).unwrap();
    compare("evidence-1.json", &evidence, folder);
    let verdicts = document(&["check", &small.plan]);
    compare("verdicts-1.json", &verdicts, folder);

    // The head is that of the trace; the records are one of each kind.
    let text = fs::read_to_string(&trace).unwrap();
    let head: Value = serde_json::from_str(text.lines().next().unwrap()).unwrap();
    for key in [
        "plan_digest",
        "cues_digest",
        "program",
        "seed",
        "arithmetic",
    ] {
        assert_eq!(head[key], rehearsal[key], "{key}");
        assert!(!head[key].is_null(), "{key}");
    }
    let records = every_record(Path::new(&small.plan), Path::new(&small.cues));
    let known: BTreeSet<&str> = records
        .iter()
        .map(|r| r["what"].as_str().unwrap())
        .collect();
    for line in text.lines().skip(1) {
        let record: Value = serde_json::from_str(line).unwrap();
        assert!(known.contains(record["what"].as_str().unwrap()), "{line}");
    }
    compare(
        "trace-1.json",
        &json!({ "head": head, "records": records }),
        folder,
    );
}

/// Contacts that are drawn below nothing too, so that some draws make no line.
#[test]
fn regress_the_document_of_how_surely_a_plan_holds() {
    let demo = demo("harrow-sound", false);
    let parts = demo.folder.path().join("parts.toml");
    edit(parts.to_str().unwrap(), "± 4 mohm", "± 8 mohm");
    let found = document(&["check", &demo.plan, "--certainty", "--draws", "20"]);
    assert!(found["draws_without_line"]["draws"].as_u64() > Some(0));
    compare("certainty-1.json", &found, demo.folder.path());
    let evidence = fs::read_to_string(only_evidence(&demo)).unwrap();
    let evidence: Value = serde_json::from_str(&evidence).unwrap();
    compare("evidence-1-draws.json", &evidence, demo.folder.path());
    let verdicts = document(&["check", &demo.plan]);
    compare("verdicts-1-draws.json", &verdicts, demo.folder.path());
}

#[test]
fn regress_the_document_of_what_verdicts_rest_on() {
    let demo = demo("harrow-sound", true);
    let found = document(&["check", &demo.plan, "--evidence", "--assumed"]);
    compare("verdicts-1-rests-on.json", &found, demo.folder.path());
}

#[test]
fn regress_the_document_of_a_failure() {
    let small = small();
    let text = fs::read_to_string(&small.cues).unwrap();
    let twice = text.replacen("[sound.first]", "[sound.first]\nkind = \"tone\"", 1);
    let wrong = twice.replace("duration = \"2 min\"", "duration = \"2 kg\"");
    fs::write(&small.cues, wrong).unwrap();
    let output = run(&["--format", "json", "rehearse", &small.plan, &small.cues]);
    expect_status(&output, 2);
    let failure = serde_json::from_str(&stdout(&output)).unwrap();
    compare("failure-1.json", &failure, small.folder.path());
}

#[test]
fn regress_the_document_of_what_was_heard() {
    let folder = tempfile::tempdir().unwrap();
    let wav = tone_wav(&folder.path().join("tone_20270315T041500Z.wav"));
    let plan = folder.path().join("plan.toml");
    fs::copy(repository("plans/listening-bench/plan.toml"), &plan).unwrap();
    let out = folder.path().join("events.json");
    let events = document(&[
        "listen",
        plan.to_str().unwrap(),
        "--as",
        "module.bench.sensor.pool",
        wav.to_str().unwrap(),
        folder.path().join("missing.wav").to_str().unwrap(),
        "--out",
        out.to_str().unwrap(),
    ]);
    let written: Value = serde_json::from_str(&fs::read_to_string(&out).unwrap()).unwrap();
    assert_eq!(events, written);
    compare("events-1.json", &events, folder.path());
}

#[test]
fn regress_the_document_of_two_ears() {
    let small = demo("silt-hollow", false);
    let wav = recording(small.folder.path(), true);
    let events = document(&[
        "listen",
        &small.plan,
        "--as",
        "1=module.shallow.sensor.ear",
        "--as",
        "2=module.deep.sensor.ear",
        wav.to_str().unwrap(),
    ]);
    compare("events-1-two-ears.json", &events, small.folder.path());
}

#[test]
fn regress_the_document_of_a_tuned_detector() {
    let folder = tempfile::tempdir().unwrap();
    let wav = tone_wav(&folder.path().join("tone.wav"));
    let plan = folder.path().join("plan.toml");
    fs::copy(repository("plans/listening-bench/plan.toml"), &plan).unwrap();
    let labels = folder.path().join("labels.csv");
    let rows =
        "tone.wav,0.3,0.6,1900,2100,tone,y\ntone.wav,0.7,0.8,,,tone,y\ntone.wav,5,6,,,tone,n\n";
    fs::write(
        &labels,
        format!("recording,from_s,to_s,low_hz,high_hz,what,sure\n{rows}"),
    )
    .unwrap();
    let mut told = document(&[
        "tune",
        plan.to_str().unwrap(),
        "--as",
        "module.bench.sensor.pool",
        "--detector",
        "orca",
        "--labels",
        labels.to_str().unwrap(),
        "--false-alarms",
        "10 per s",
        wav.to_str().unwrap(),
    ]);
    let curve = told["curve"].as_array_mut().unwrap();
    assert!(curve.len() > 50);
    curve.truncate(2);
    compare("tune-1.json", &told, folder.path());
}

#[test]
fn regress_the_document_of_what_was_measured() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    let (first, second) = (
        tone_wav(&at("tone_20270315T041500Z.wav")),
        tone_wav(&at("tone_20270315T041530Z.wav")),
    );
    let plan = at("plan.toml");
    let wind = ["\"6 m/s\""; 12].join(", ");
    let sea = format!("[site]\nwind = [{wind}]\nshipping = 0.3\n");
    let bench = fs::read_to_string(repository("plans/listening-bench/plan.toml")).unwrap();
    fs::write(&plan, bench.replace("[site]\n", &sea)).unwrap();
    let told = document(&[
        "measure",
        plan.to_str().unwrap(),
        "--as",
        "module.bench.sensor.pool",
        first.to_str().unwrap(),
        second.to_str().unwrap(),
        at("missing.wav").to_str().unwrap(),
        "--dummy",
        "--state",
        "listening",
    ]);
    assert!(told["gaps"][0]["length_s"].is_number());
    assert!(told["periods"][0]["kurtosis"].is_number());
    compare("measures-1.json", &told, folder.path());
}

#[test]
fn regress_the_document_of_a_first_plan() {
    let folder = tempfile::tempdir().unwrap();
    let told = document(&[
        "new",
        "--yes",
        "--out",
        folder.path().to_str().unwrap(),
        "--conductor",
        "36 AWG",
        "--voltage",
        "12 V",
    ]);
    let plan = folder.path().join("plan.toml");
    let check = document(&["check", plan.to_str().unwrap()]);
    assert_eq!(told["plan_digest"], check["plan_digest"]);
    compare("new-1.json", &told, folder.path());
}

#[test]
fn regress_the_document_of_a_quick_check() {
    let demo = demo("harrow-sound", false);
    let mut told = document(&["check", &demo.plan, "--quick"]);
    let all = told["requirements"].as_array_mut().unwrap();
    all.retain(|r| r["ruling"] == "provisional");
    assert_eq!(all.len(), 2);
    for list in ["standing", "open", "assumed", "cautions", "mistakes"] {
        told[list].as_array_mut().unwrap().truncate(1);
    }
    let folder = Path::new(&demo.plan).parent().unwrap();
    compare("verdicts-1-quick.json", &told, folder);
}

#[test]
fn regress_the_document_of_hours() {
    let demo = crate::hours::tides();
    let mut told = document(&["hours", &demo.plan, "--years", "3", "--health"]);
    for ear in told["hydrophones"].as_array_mut().unwrap() {
        ear["heard"]["months"].as_array_mut().unwrap().truncate(2);
    }
    for once in told["at_once"].as_array_mut().unwrap() {
        once["heard"]["months"].as_array_mut().unwrap().truncate(2);
    }
    compare(
        "hours-1.json",
        &told,
        Path::new(&demo.plan).parent().unwrap(),
    );
}

#[test]
fn regress_the_document_of_documents_and_measured_values() {
    let demo = demo("harrow-sound", false);
    let asked = r#"[requirement.permit]
that = "attested"
attested = { document = "harbour permit 14/27", by = "harbour office", date = 2026-12-01, expires = 2028-06-01 }

[requirement.calibrated]
that = "calibration-age"
at_most = "12 months"

[requirement.measured]
that = "voltage"
of = "module.lower"
measured = { value = "23.1 V", uncertainty = "0.1 V", by = "yard", date = 2027-02-20, document = "bench sheet 4" }

[requirement.upright]"#;
    edit(&demo.plan, "[requirement.upright]", asked);
    // The measured value hides no calculated margin.
    let text = stdout(&run(&["check", &demo.plan]));
    for row in [
        "module.lower: 24 V, limit 36 V",
        "module.lower, measured: 23",
    ] {
        assert!(text.contains(row), "{row}: {text}");
    }
    let mut told = document(&["check", &demo.plan, "--evidence"]);
    for list in ["/requirements", "/rests_on/requirements"] {
        let all = told.pointer_mut(list).unwrap().as_array_mut().unwrap();
        all.retain(|r| {
            ["permit", "calibrated", "measured"]
                .iter()
                .any(|id| r["id"] == *id)
        });
        assert_eq!(all.len(), 3);
    }
    for list in [
        "/standing",
        "/open",
        "/assumed",
        "/cautions",
        "/mistakes",
        "/rests_on/standing",
    ] {
        let list = told.pointer_mut(list).unwrap().as_array_mut().unwrap();
        list.truncate(1);
    }
    compare("verdicts-1-documents.json", &told, demo.folder.path());
}

#[test]
fn regress_the_document_of_years() {
    let demo = demo("harrow-sound", false);
    let mut told = document(&["year", &demo.plan]);
    // Long lists of numbers are kept by their first two.
    for list in ["/hours_off_h", "/charge_by_day", "/worst_week/charge"] {
        let list = told.pointer_mut(list).unwrap().as_array_mut().unwrap();
        assert!(list.len() > 100);
        list.truncate(2);
    }
    assert!(told["sizes"].is_object());
    compare(
        "year-1.json",
        &told,
        Path::new(&demo.plan).parent().unwrap(),
    );
}

#[test]
fn regress_the_document_of_a_start() {
    let demo = demo("cold-wake", false);
    let mut told = document(&["start", &demo.plan]);
    // Long lists of numbers are kept by their first two.
    for list in [
        "/sample_times_s",
        "/modules/0/voltage_v",
        "/modules/1/voltage_v",
        "/modules/2/voltage_v",
        "/supplies/0/current_a",
    ] {
        let list = told.pointer_mut(list).unwrap().as_array_mut().unwrap();
        assert!(list.len() > 100);
        list.truncate(2);
    }
    assert!(told["remedy"].is_string());
    compare(
        "start-1.json",
        &told,
        Path::new(&demo.plan).parent().unwrap(),
    );
}

#[test]
fn regress_the_document_of_a_chain() {
    let demo = demo("harrow-sound", false);
    let mut told = document(&["chain", &demo.plan, "--as", "module.upper.sensor.ear"]);
    let of_sensor = &mut told["sensors"][0];
    for list in ["bands", "months"] {
        let list = of_sensor[list].as_array_mut().unwrap();
        assert!(list.len() >= 12);
        list.truncate(2);
    }
    assert!(of_sensor["detectors"][0]["least_below_sea_db"].is_number());
    compare(
        "chain-1.json",
        &told,
        Path::new(&demo.plan).parent().unwrap(),
    );
}

#[test]
fn regress_the_document_of_a_range() {
    let demo = demo("harrow-sound", false);
    let mut told = document(&[
        "range",
        &demo.plan,
        "--detector",
        "upcall-upper",
        "--month",
        "3",
        "--calls",
        "25",
    ]);
    for list in ["over_range", "points", "by_depth"] {
        let list = told["months"][0][list].as_array_mut().unwrap();
        assert!(list.len() > 8);
        list.truncate(2);
    }
    let folder = Path::new(&demo.plan).parent().unwrap();
    let record = only_file(&folder.join("plan.evidence"));
    let record: Value = serde_json::from_str(&fs::read_to_string(record).unwrap()).unwrap();
    compare("range-1.json", &told, folder);
    compare("evidence-1-injection.json", &record, folder);
}

#[test]
fn regress_the_document_of_a_reserve() {
    let demo = demo("harrow-sound", false);
    let told = document(&["reserve", &demo.plan]);
    assert!(told["modules"][0]["reserve_w"].is_number());
    compare(
        "reserve-1.json",
        &told,
        Path::new(&demo.plan).parent().unwrap(),
    );
}

#[test]
fn regress_the_document_of_places() {
    let demo = demo("harrow-sound", false);
    let told = document(&[
        "reserve",
        &demo.plan,
        "--module",
        "part.flow-meter",
        "--publishes",
        "log/flow",
        "--each",
        "1 min",
        "--size",
        "24 B",
    ]);
    assert_eq!(told["places"][0]["answer"], "may-go");
    compare(
        "places-1.json",
        &told,
        Path::new(&demo.plan).parent().unwrap(),
    );
}

#[test]
fn regress_the_document_of_faults() {
    let demo = demo("reef-light", false);
    let told = document(&["faults", &demo.plan]);
    assert!(told["leaks"][0]["bears_ohm"].is_number());
    compare(
        "faults-1.json",
        &told,
        Path::new(&demo.plan).parent().unwrap(),
    );
}

/// With a poor contact of 2 ohm in one leg, so that faults are ranked and a further reading is named.
#[test]
fn regress_the_documents_of_the_quay() {
    let demo = demo("kelp-gate", false);
    let beside = Path::new(&demo.plan).parent().unwrap();
    let readings = read_on_the_quay(&demo, &["loop.to-ear"], 2.0);
    let told = document(&["dockside", &demo.plan, &readings]);
    assert!(told["faults"]["classes"][0][0]["size"].is_number());
    compare("dockside-1.json", &told, beside);
    let settings = beside.join("ear.txt");
    fs::write(
        &settings,
        "detector.knock.expects = \"9 per d\"\nstrange = 1\n",
    )
    .unwrap();
    let settings = settings.display().to_string();
    let held = [
        "dockside",
        &demo.plan,
        "--module",
        "module.ear",
        "--settings",
        &settings,
    ];
    compare("dockside-settings-1.json", &document(&held), beside);
}

#[test]
fn regress_the_document_of_failures() {
    let demo = demo("harrow-sound", false);
    let told = document(&["failures", &demo.plan]);
    assert!(told["failures"][0]["shore_notices_s"].is_number());
    compare(
        "failures-1.json",
        &told,
        Path::new(&demo.plan).parent().unwrap(),
    );
}

#[test]
fn regress_the_document_of_a_recovery() {
    let demo = demo("vennick-ledge", false);
    let told = document(&["recovery", &demo.plan]);
    assert!(told["lines"][0]["partings"][0]["clean"]["lift_n"].is_number());
    compare(
        "recovery-1.json",
        &told,
        Path::new(&demo.plan).parent().unwrap(),
    );
}

#[test]
fn regress_the_document_of_slips() {
    let demo = demo("gannet-stack", false);
    for (from, to) in [
        (
            "duration =",
            "start_slip = \"3 d\"\nrecovery_slip = \"3 d\"\ndead_on_deck = \"2 %\"\ndeploying = { wave = \"1.5 m\", lasts = \"12 h\" }\nduration =",
        ),
        (
            "[site]\n",
            "[site]\nwave_height = [\"3.4 m\", \"3.2 m\", \"2.7 m\", \"2.2 m\", \"1.7 m\", \"1.5 m\", \"1.4 m\", \"1.5 m\", \"1.9 m\", \"2.5 m\", \"3 m\", \"3.3 m\"]\nwaves = { shape = 1.7, memory = \"30 h\" }\n",
        ),
        (
            "[requirement.voltage]\n",
            "[requirement.paper]\nthat = \"attested\"\nattested = { document = \"permit 7\", by = \"harbour office\", date = 2026-11-01, expires = 2031-06-01 }\n\n[requirement.voltage]\n",
        ),
    ] {
        edit(&demo.plan, from, to);
    }
    let told = document(&["slip", &demo.plan]);
    assert!(told["grids"][0]["cells"][0][0]["margin"]["value"].is_number());
    assert!(told["ship"]["deploying"]["ready"][0]["in_slip_percent"].is_number());
    compare(
        "slip-1.json",
        &told,
        Path::new(&demo.plan).parent().unwrap(),
    );
}

#[test]
fn regress_the_document_of_an_uplink() {
    let demo = demo("petrel-bank", false);
    let told = document(&["uplink", &demo.plan]);
    assert!(told["uplinks"][0]["months"][0]["p99_s"].is_number());
    compare(
        "uplink-1.json",
        &told,
        Path::new(&demo.plan).parent().unwrap(),
    );
}

#[test]
fn regress_the_document_of_a_mooring() {
    let demo = demo("harrow-sound", false);
    let mut told = document(&["mooring", &demo.plan]);
    for shape in told["lines"][0]["shapes"].as_array_mut().unwrap() {
        let points = shape["points"].as_array_mut().unwrap();
        assert!(points.len() > 10);
        points.truncate(2);
    }
    compare(
        "mooring-1.json",
        &told,
        Path::new(&demo.plan).parent().unwrap(),
    );
}

#[test]
fn regress_the_document_of_paths() {
    let demo = demo("silt-hollow", false);
    let mut told = document(&["paths", &demo.plan, "--from", "900 m, 10 m"]);
    let by_range = document(&["paths", &demo.plan, "--source-depth", "10 m"]);
    // One document with both: what a source at one range has, and what many ranges have.
    told["hydrophones"][0]["by_range"] = by_range["hydrophones"][0]["by_range"].clone();
    assert!(told["pairs"][0]["elevation"].is_object());
    compare(
        "paths-1.json",
        &told,
        Path::new(&demo.plan).parent().unwrap(),
    );
}

#[test]
fn regress_the_document_of_a_payload() {
    let demo = demo("reef-light", false);
    let framed = "[topic.\"look/now\"]\nschema_id = 3\nsequence_bits = 8\ncrc = true\n";
    edit(&demo.plan, "[topic.\"look/now\"]\n", framed);
    let more = "fields = [\n  { name = \"ear\", values = [\"upper\", \"lower\"] },\n  { name = \"dark\", flag = true },\n  \
                { name = \"depth\", unit = \"m\", from = 0, to = 100, step = 0.5 },\n  ";
    edit(
        &demo.plan,
        "fields = [{ name = \"time\"",
        &format!("{more}{{ name = \"time\""),
    );
    let record = "ear=lower, dark=yes, depth=500, time=2027-03-15";
    let mut told = document(&["payload", &demo.plan, "--encode", record, "--sequence", "7"]);
    let message = told["sent"]["message_hex"].as_str().unwrap().to_owned();
    let read = document(&[
        "payload",
        &demo.plan,
        "--decode",
        &message,
        "--received",
        "2027-03-15",
    ]);
    // One document with both.
    told["read"] = read["read"].clone();
    assert_eq!(told["read"]["sequence"], 7);
    compare(
        "payload-1.json",
        &told,
        Path::new(&demo.plan).parent().unwrap(),
    );
}

#[test]
fn regress_the_document_of_remedies() {
    let demo = demo("gannet-stack", false);
    let told = document(&["remedy", &demo.plan, "--apply", "1"]);
    assert!(told["applied"]["difference"].is_string());
    assert!(told["requirements"][0]["remedies"][0]["cost"]["value"].is_number());
    let folder = Path::new(&demo.plan).parent().unwrap();
    compare("remedy-1.json", &told, folder);
}

#[test]
fn regress_the_document_of_a_comparison() {
    let (a, b) = (demo("gannet-stack", false), demo("gannet-stack", false));
    edit(&b.plan, "capacity = \"90 Ah\"", "capacity = \"180.0 Ah\"");
    edit(&b.plan, "length = \"160 m\"", "length = \"0.16 km\"");
    let told = document(&["compare", &a.plan, &b.plan]);
    assert!(told["rulings"][0]["margin_moved_by"].is_number());
    compare("compare-1.json", &told, b.folder.path());
}

#[test]
fn regress_the_document_of_a_chain_with_what_it_picks_up() {
    let demo = demo("vennick-ledge", false);
    let mut told = document(&["chain", &demo.plan, "--as", "module.first.sensor.ear"]);
    let sensor = &mut told["sensors"][0];
    assert!(sensor["pick_up"][0]["level_db_re_1upa"].is_number());
    sensor["bands"].as_array_mut().unwrap().truncate(1);
    sensor["months"].as_array_mut().unwrap().truncate(1);
    sensor["pick_up"].as_array_mut().unwrap().truncate(2);
    compare(
        "chain-1-pick-up.json",
        &told,
        Path::new(&demo.plan).parent().unwrap(),
    );
}

#[test]
fn regress_the_document_of_limits_on_the_world() {
    let demo = demo("kestrel-piles", false);
    let mut told = document(&["check", &demo.plan]);
    assert_eq!(told["watches"][0]["id"], "watch.strike");
    for list in ["requirements", "standing"] {
        told[list].as_array_mut().unwrap().truncate(1);
    }
    compare(
        "verdicts-1-watches.json",
        &told,
        Path::new(&demo.plan).parent().unwrap(),
    );
}

#[test]
fn regress_the_documents_of_a_pack() {
    let demo = demo("reef-light", false);
    let beside = Path::new(&demo.plan).parent().unwrap();
    let folder = beside.join("pack");
    let shown = folder.display().to_string();
    let told = document(&["workpack", &demo.plan, "--out", &shown]);
    compare("workpack-1.json", &told, beside);
    for (document, file) in [
        ("pack-1.json", "pack.json"),
        ("recordings-1.json", "recordings.json"),
    ] {
        let text = fs::read_to_string(folder.join(file)).unwrap();
        let mut told: Value = serde_json::from_str(&text).unwrap();
        // How long a file is goes with the last digits in it.
        let files = told.get_mut("files").and_then(Value::as_array_mut);
        for listed in files.into_iter().flatten() {
            assert!(listed["bytes"].as_u64().unwrap() > 0);
            listed["bytes"] = json!(1);
        }
        compare(document, &told, beside);
    }
    fs::write(folder.join("more.txt"), "").unwrap();
    let found = document(&["workpack", "--verify", &shown]);
    compare("workpack-verified-1.json", &found, beside);
}
