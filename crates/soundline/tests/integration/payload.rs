//! `payload`: layouts, records packed and messages read, generated files, refusals.

use std::fs;
use std::path::Path;
use std::process::Command;

use serde_json::Value;

use crate::support::{Demo, demo, edit, expect_status, run, stderr, stdout};

/// The invented alert of the reference file `network/fractions-records.csv`, with a check.
const ALERT: &str = r#"crc = true
fields = [
  { name = "time", time_bits = 24, time_step = "1 s", time_epoch = 2025-01-01 },
  { name = "class", values = ["none", "vessel", "whistle", "click", "impulse", "other"] },
  { name = "level", unit = "dB re 1 uPa", from = 60, to = 180, step = 0.5 },
  { name = "bearing", unit = "deg", from = 0, to = 359, step = 1 },
  { name = "depth", unit = "m", from = 0, to = 204.6, step = 0.1 },
  { name = "batt_low", flag = true },
]
"#;

fn alert() -> Demo {
    let demo = demo("reef-light", false);
    let fields = "fields = [{ name = \"time\", time_bits = 32, time_step = \"10 ms\" }]\n";
    edit(&demo.plan, fields, ALERT);
    demo
}

const RECORD: &str =
    "time=2026-01-01T00:00:15Z, class=whistle, level=121.3, bearing=217, depth=47.26, batt_low=no";

fn json(args: &[&str]) -> Value {
    let output = run(&[&["--format", "json", "payload"], args].concat());
    expect_status(&output, 0);
    serde_json::from_str(&stdout(&output)).unwrap()
}

#[test]
fn verif_layouts_are_told_in_text_and_json() {
    let demo = demo("harrow-sound", false);
    let text = run(&["payload", &demo.plan]);
    expect_status(&text, 0);
    let text = stdout(&text);
    let told = json(&[&demo.plan]);
    assert_eq!(told["format"], "payload/1");
    let topics = told["topics"].as_array().unwrap();
    assert_eq!(topics.len(), 2);
    for topic in topics {
        let head = format!(
            "topic {}: {} bits in {} bytes",
            topic["topic"].as_str().unwrap(),
            topic["bits"],
            topic["bytes"]
        );
        assert!(text.contains(&head), "{head}: {text}");
        for field in topic["fields"].as_array().unwrap() {
            let row = text
                .lines()
                .find(|line| line.split_whitespace().next() == field["id"].as_str());
            let cells: Vec<&str> = row.unwrap().split_whitespace().collect();
            assert_eq!(cells[1], field["offset_bits"].to_string(), "{text}");
            assert_eq!(cells[2], field["bits"].to_string(), "{text}");
            if field["kind"] == "number" {
                assert_eq!(cells[3], field["no_data_code"].to_string(), "{text}");
            }
        }
    }
    let one = json(&[&demo.plan, "--topic", "log/water"]);
    assert_eq!(one["topics"].as_array().unwrap().len(), 1);
}

/// What a topic's message takes on the line is what its layout says, with id, number and check.
#[test]
fn verif_the_frame_of_a_payload_counts_on_the_links() {
    let demo = demo("harrow-sound", false);
    let load = || {
        let output = run(&["--format", "json", "check", &demo.plan]);
        let told: Value = serde_json::from_str(&stdout(&output)).unwrap();
        let all = told["requirements"].as_array().unwrap().iter();
        let of_links = all.filter(|r| r["id"] == "quiet-links");
        let verdicts = of_links.flat_map(|r| r["verdicts"].as_array().unwrap());
        let shares: Vec<f64> = verdicts
            .filter_map(|v| v["value"]["value"].as_f64())
            .collect();
        let bytes = json(&[&demo.plan, "--topic", "alert/call"])["topics"][0]["bytes"].as_u64();
        (bytes.unwrap(), shares.into_iter().fold(0.0, f64::max))
    };
    let before = load();
    edit(
        &demo.plan,
        "[topic.\"alert/call\"]\n",
        "[topic.\"alert/call\"]\nschema_id = 1\nsequence_bits = 16\ncrc = true\n",
    );
    let after = load();
    assert_eq!(after.0, before.0 + 5);
    assert!(after.1 > before.1 && before.1 > 0.0, "{before:?} {after:?}");
}

/// Of numbers the lowest bits are sent: 256 in 8 bits is 0, 17 in 4 bits is 1. Both are told as given and as sent.
#[test]
fn val_a_number_that_goes_round_is_told() {
    let demo = alert();
    edit(
        &demo.plan,
        "[topic.\"look/now\"]\n",
        "[topic.\"look/now\"]\nsequence_bits = 8\nstarts_bits = 4\n",
    );
    let with = |sequence: &str, starts: &str| {
        let args = ["--topic", "look/now", "--encode", RECORD];
        let numbers = ["--sequence", sequence, "--starts", starts];
        let all = [&[demo.plan.as_str()][..], &args, &numbers].concat();
        let text = run(&[&["payload"][..], &all].concat());
        expect_status(&text, 0);
        (stdout(&text), json(&all))
    };
    let (text, told) = with("256", "17");
    for part in [
        "(sequence)  256: more than its bits hold, is sent as 0\n",
        "(starts)    17: more than its bits hold, is sent as 1\n",
    ] {
        assert!(text.contains(part), "{text}");
    }
    let sent = &told["sent"];
    assert_eq!(
        (&sent["sequence"], &sent["sequence_sent_as"]),
        (&256.into(), &0.into())
    );
    assert_eq!(
        (&sent["starts"], &sent["starts_sent_as"]),
        (&17.into(), &1.into())
    );
    let (text, told) = with("255", "15");
    assert!(
        text.contains("(sequence)  255\n") && text.contains("(starts)    15\n"),
        "{text}"
    );
    assert!(
        told["sent"]["message_hex"]
            .as_str()
            .unwrap()
            .starts_with("fff")
    );
    let none = run(&[
        "payload",
        &demo.plan,
        "--topic",
        "look/now",
        "--encode",
        RECORD,
        "--sequence",
        "1",
    ]);
    expect_status(&none, 2);
    assert!(stderr(&none).contains("--starts"), "{}", stderr(&none));
}

/// The message is that of the reference file, its check that of crccheck.
#[test]
fn val_the_sample_record_is_packed_and_read() {
    let demo = alert();
    let rows = truth::rows("network/fractions-records.csv");
    let checks = truth::rows("network/crccheck-crc16.csv");
    let body = &rows[0][6];
    let check = &checks.iter().find(|r| r[0] == *body).unwrap()[1];
    let message = format!("{body}{check}");
    let topic = ["--topic", "look/now"];
    let text = run(&[&["payload", &demo.plan, "--encode", RECORD][..], &topic].concat());
    expect_status(&text, 0);
    let text = stdout(&text);
    assert!(text.contains(&format!("message  {message}\n")), "{text}");
    assert!(text.contains(&format!("framed   0a{message} 00")), "{text}");
    assert!(
        text.contains("121.3 dB re 1 uPa is sent as 121.5 dB re 1 uPa"),
        "{text}"
    );
    assert!(text.contains("bytes: packed 9, CBOR "), "{text}");
    let told = json(&[&[demo.plan.as_str(), "--encode", RECORD][..], &topic].concat());
    assert_eq!(told["sent"]["message_hex"], message);
    assert_eq!(told["sent"]["bytes"]["json_bytes"], 96);

    let received = ["--received", "2026-03-01"];
    let read = run(&[
        &["payload", &demo.plan, "--decode", &message][..],
        &received,
    ]
    .concat());
    expect_status(&read, 0);
    let read = stdout(&read);
    for part in [
        "2026-01-01T00:00:15Z\n",
        "whistle\n",
        "121.5 dB re 1 uPa\n",
        "217 deg\n",
        "47.3 m\n",
        "batt_low  no\n",
    ] {
        assert!(read.contains(part), "{part}: {read}");
    }
    let told = json(&[&[demo.plan.as_str(), "--decode", &message][..], &received].concat());
    assert_eq!(told["read"]["values"][4]["value"], 47.3);
    assert_eq!(told["read"]["values"][4]["unit"], "m");
}

#[test]
fn verif_clamps_and_what_was_left_out_are_told() {
    let demo = alert();
    let record = "time=2026-01-01, class=none, level=250, batt_low=yes";
    let output = run(&["payload", &demo.plan, "--encode", record]);
    expect_status(&output, 0);
    let text = stdout(&output);
    assert!(
        text.contains("250 dB re 1 uPa: outside of 60 to 180, clamped, is sent as 180 dB re 1 uPa"),
        "{text}"
    );
    assert!(text.contains("bearing   no data\n"), "{text}");
    let told = json(&[&demo.plan, "--encode", record]);
    assert_eq!(told["sent"]["clamped"], serde_json::json!(["level"]));
}

#[test]
fn verif_what_cannot_be_done_is_refused_with_help() {
    let demo = alert();
    let plan = demo.plan.as_str();
    let harrow = crate::support::demo("harrow-sound", false);
    for (args, part) in [
        (
            &[plan, "--topic", "look"][..],
            "the plan has no topic `look`; it has look/now, look/picture",
        ),
        (
            &[plan, "--topic", "look/picture", "--decode", "00"],
            "gives its size and no fields",
        ),
        (&[plan, "--decode", "0"], "no message in hexadecimal"),
        (&[plan, "--decode", "é0"], "no message in hexadecimal"),
        (
            &[plan, "--decode", "00"],
            "1 bytes were given; a message has 9",
        ),
        (
            &[plan, "--decode", "e1338f4f6d93b25e60"],
            "add --received with the time",
        ),
        (
            &[plan, "--decode", "e1338f4f6d93b25e61"],
            "the check says 5e61",
        ),
        (
            &[plan, "--encode", "level=1"],
            "the field `time` is not given",
        ),
        (
            &[plan, "--encode", RECORD, "--sequence", "1"],
            "carries no sequence number",
        ),
        (
            &[plan, "--encode", RECORD, "--decode", "00"],
            "cannot be used with",
        ),
        (
            &[&harrow.plan, "--decode", "00"],
            "name one, such as --topic alert/call",
        ),
    ] {
        let output = run(&[&["payload"], args].concat());
        expect_status(&output, 2);
        assert!(
            stderr(&output).contains(part),
            "{args:?}: {}",
            stderr(&output)
        );
    }
}

/// The written files compile, and say of the sample record what the program says.
#[test]
fn verif_written_files_work_and_are_never_replaced_unasked() {
    let demo = alert();
    let folder = demo.folder.path().join("made");
    let into = folder.display().to_string();
    let args = ["payload", &demo.plan, "--topic", "look/now", "--out", &into];
    let output = run(&args);
    expect_status(&output, 0);
    for name in ["look_now.h", "look_now.c", "look_now.py"] {
        assert!(stdout(&output).contains(&format!("written: {into}/{name}\n")));
    }
    fs::write(folder.join("look_now.h"), "mine").unwrap();
    fs::remove_file(folder.join("look_now.c")).unwrap();
    let output = run(&args);
    expect_status(&output, 2);
    assert!(stderr(&output).contains("it exists and is left as it is"));
    assert_eq!(
        fs::read_to_string(folder.join("look_now.h")).unwrap(),
        "mine"
    );
    assert!(!folder.join("look_now.c").exists());
    expect_status(&run(&[&args[..], &["--force"]].concat()), 0);
    in_c(&folder);
    in_python(&folder);
}

fn in_c(folder: &Path) {
    if !truth::has_program("written C files", "gcc") {
        return;
    }
    let main = r#"#include "look_now.h"
int main(void)
{
    const uint8_t message[] = {0xe1, 0x33, 0x8f, 0x4f, 0x6d, 0x93, 0xb2, 0x5e, 0x60};
    look_now record;

    if (look_now_decode(message, sizeof message, INT64_C(1767225700000000000), &record) != LOOK_NOW_OK) {
        return 1;
    }
    return record.class_ == LOOK_NOW_CLASS_WHISTLE && record.level == 121.5 && record.time == INT64_C(1767225615000000000) ? 0 : 2;
}
"#;
    fs::write(folder.join("main.c"), main).unwrap();
    let built = Command::new("gcc")
        .args([
            "-std=c99",
            "-Wall",
            "-Wextra",
            "-Werror",
            "-pedantic",
            "-o",
            "run",
            "look_now.c",
            "main.c",
        ])
        .current_dir(folder)
        .status();
    assert!(built.unwrap().success());
    assert_eq!(
        Command::new(folder.join("run")).status().unwrap().code(),
        Some(0)
    );
}

fn in_python(folder: &Path) {
    if !truth::has_program("written Python files", "python3") {
        return;
    }
    let script = "import look_now; print(look_now.decode(bytes.fromhex('e1338f4f6d93b25e60'), 1767225700 * 10**9))";
    let output = Command::new("python3")
        .args(["-B", "-c", script])
        .current_dir(folder)
        .output();
    let said = String::from_utf8(output.unwrap().stdout).unwrap();
    assert!(
        said.starts_with(
            "{'time': 1767225615000000000, 'class': 'whistle', 'level': 121.5, 'bearing': 217.0, "
        ),
        "{said}"
    );
}

#[test]
fn verif_a_message_is_known_by_its_schema_id() {
    let demo = demo("harrow-sound", false);
    for (topic, id) in [("alert/call", 1), ("log/water", 2)] {
        let head = format!("[topic.\"{topic}\"]\n");
        edit(&demo.plan, &head, &format!("{head}schema_id = {id}\n"));
    }
    let packed = json(&[
        &demo.plan,
        "--topic",
        "log/water",
        "--encode",
        "temperature=7.25",
    ]);
    let message = packed["sent"]["message_hex"].as_str().unwrap();
    assert!(message.starts_with("02"), "{message}");
    let read = json(&[&demo.plan, "--decode", message]);
    assert_eq!(read["read"]["topic"], "log/water");
    assert_eq!(read["read"]["values"][0]["value"], 7.25);
    assert!(read["read"]["values"][1]["value"].is_null());
    let output = run(&["payload", &demo.plan, "--decode", "03"]);
    expect_status(&output, 2);
    assert!(stderr(&output).contains("several topics have fields: alert/call, log/water"));
}
