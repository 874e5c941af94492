//! Generated C and Python against our own packing, byte for byte and bit for bit.

use std::fmt::Write as _;
use std::fs;
use std::path::Path;
use std::process::Command;

use network::{FieldKind, Frame, Layout, Numbers, UnpackError, Value, c99, identifier, python};

use super::{BARE, EPOCH_NS, alert_fields, choice, flag, hex, scaled, time};

/// Numbers from Knuth's linear congruence (TAOCP 2, 3.3.4), so that every run asks the same.
struct Draw(u64);

impl Draw {
    fn bits(&mut self) -> u64 {
        let mut next = || {
            self.0 = self
                .0
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            self.0 >> 32
        };
        next() << 32 | next()
    }

    fn below(&mut self, n: u64) -> u64 {
        (self.bits() >> 8) % n
    }
}

fn layouts() -> Vec<(&'static str, Layout)> {
    let whole = Frame {
        schema: Some(7),
        sequence_bits: Some(13),
        starts_bits: Some(5),
        crc: true,
    };
    let of = |frame, fields| Layout::new(frame, fields).unwrap();
    vec![
        ("alert/call", of(whole, alert_fields())),
        (
            "log/water",
            of(
                BARE,
                vec![
                    scaled("temperature", "degC", -2.0, 30.0, 0.01),
                    scaled("pressure", "dbar", 0.0, 200.0, 0.05),
                    scaled("below", "m", -4000.0, -10.0, 0.25),
                    scaled("fine", "", -0.5, 999_999_999.5, 0.001),
                    scaled("coarse", "µPa", -3e9, 3e9, 1e6),
                ],
            ),
        ),
        (
            "time",
            of(
                Frame { crc: true, ..BARE },
                vec![
                    time("ns", 64, 1e-9, 0),
                    time("hour", 64, 3600.0, i64::MIN),
                    time("ms", 63, 1e-3, EPOCH_NS),
                    time("bit", 1, 1.0, EPOCH_NS + 1),
                    time("ten", 16, 10.0, i64::MAX),
                ],
            ),
        ),
        // Names that are no names in C, that meet, or that would end a comment.
        (
            "9 lives/*/\\",
            of(
                Frame {
                    sequence_bits: Some(32),
                    starts_bits: Some(32),
                    ..BARE
                },
                vec![
                    flag("class"),
                    flag("Class"),
                    flag("sequence"),
                    flag("starts"),
                    flag("Größe"),
                    flag("*/ int x; /*"),
                    flag("??/"),
                    choice("int", &["a b", "A-B", "\"quoted\"", "水"]),
                    choice("ok", &["ok"]),
                ],
            ),
        ),
        ("flags", of(BARE, vec![flag("a")])),
        ("empty", of(BARE, vec![])),
        (
            "beat",
            of(
                Frame {
                    schema: Some(255),
                    ..BARE
                },
                vec![],
            ),
        ),
    ]
}

/// A value of a field: often on a tie or an end, sometimes outside or not there.
fn value(kind: &FieldKind, draw: &mut Draw) -> Value {
    match kind {
        FieldKind::Scaled { from, to, step, .. } => {
            let steps = ((to - from) / step).round() as u64;
            let whole = draw.below(steps + 1) as f64;
            match draw.below(10) {
                0 => Value::NoData,
                1 => Value::Number(
                    [*from, *to, from - step / 2.0, to + step / 2.0][draw.below(4) as usize],
                ),
                2 => Value::Number(
                    [f64::INFINITY, f64::NEG_INFINITY, 1e308, -1e308][draw.below(4) as usize],
                ),
                3 | 4 => Value::Number(from + (whole + 0.5) * step),
                5 => Value::Number(from - step * draw.below(100) as f64 / 3.0),
                6 => Value::Number(to + step * draw.below(100) as f64 / 3.0),
                _ => Value::Number(from + (whole + draw.below(1000) as f64 / 999.0) * step),
            }
        }
        FieldKind::Choice { values } => Value::Choice(draw.below(values.len() as u64) as u32),
        FieldKind::Flag => Value::Flag(draw.below(2) == 1),
        FieldKind::Time { .. } => Value::Time(instant(draw)),
    }
}

fn instant(draw: &mut Draw) -> i64 {
    match draw.below(6) {
        0 => [i64::MIN, i64::MIN + 1, -1, 0, 1, i64::MAX - 1, i64::MAX][draw.below(7) as usize],
        1 => draw.bits() as i64,
        _ => EPOCH_NS + (draw.below(1 << 58)) as i64,
    }
}

/// What is asked of the generated code and what it should answer: records to pack, then bytes to read.
struct Exchange {
    packing: String,
    packed: String,
    reading: String,
    in_c: String,
    in_python: String,
    kinds_refused: usize,
}

const RECORDS: usize = 300;

fn exchange(layout: &Layout, seed: u64) -> Exchange {
    let mut draw = Draw(seed);
    let mut all = Exchange {
        packing: String::new(),
        packed: String::new(),
        reading: String::new(),
        in_c: String::new(),
        in_python: String::new(),
        kinds_refused: 0,
    };
    let mut refused = std::collections::BTreeSet::new();
    for number in 0..RECORDS {
        let values: Vec<Value> = layout
            .places()
            .iter()
            .map(|p| value(&p.field.kind, &mut draw))
            .collect();
        let frame = layout.frame();
        let numbers = Numbers {
            sequence: frame.sequence_bits.map(|_| draw.bits() as u32),
            starts: frame.starts_bits.map(|_| draw.bits() as u32),
        };
        let packed = layout.pack(numbers, &values).unwrap();
        let _ = writeln!(all.packing, "e {}", words(numbers, &values, "nan"));
        let _ = writeln!(
            all.packed,
            "0 {} {}",
            packed.clamped.len(),
            shown(&packed.bytes)
        );
        let mut message = packed.bytes;
        // Two of three come in as they went; others are torn, of which some have a check that fits.
        if number % 3 == 0 && !message.is_empty() {
            let at = draw.below(message.len() as u64) as usize;
            message[at] = draw.bits() as u8;
            if layout.frame().crc && draw.below(3) > 0 {
                let body = message.len() - 2;
                let check = network::crc16(&message[..body]).to_be_bytes();
                message[body..].copy_from_slice(&check);
            }
            if draw.below(12) == 0 {
                message.pop();
            }
        }
        let received_ns = match values.iter().find(|v| matches!(v, Value::Time(_))) {
            Some(Value::Time(at)) if draw.below(3) > 0 => {
                at.saturating_add(draw.below(1 << 40) as i64)
            }
            _ => instant(&mut draw),
        };
        let _ = writeln!(all.reading, "d {} {received_ns}", shown(&message));
        match layout.unpack(&message, Some(received_ns)) {
            Ok(read) => {
                let _ = writeln!(all.in_c, "0 {}", words(read.numbers, &read.values, "nan"));
                let named = named(layout, read.numbers, &read.values);
                let _ = writeln!(all.in_python, "{named}");
            }
            Err(error) => {
                let (status, word) = match error {
                    UnpackError::Length { .. } => (1, "length"),
                    UnpackError::Check { .. } => (2, "check"),
                    UnpackError::Schema { .. } => (3, "schema"),
                    UnpackError::Filling { .. } => (4, "filling"),
                    UnpackError::Code { .. } => (5, "code"),
                    UnpackError::Instant { .. } => (6, "instant"),
                    UnpackError::NoReception { .. } => panic!("it was given"),
                };
                refused.insert(status);
                let _ = writeln!(all.in_c, "{status}");
                let _ = writeln!(all.in_python, "{word}");
            }
        }
    }
    all.kinds_refused = refused.len();
    all
}

fn shown(bytes: &[u8]) -> String {
    if bytes.is_empty() {
        "-".to_owned()
    } else {
        hex(bytes)
    }
}

/// The numbers before the fields.
fn before(numbers: Numbers) -> impl Iterator<Item = String> {
    let all = [numbers.sequence, numbers.starts];
    all.into_iter().flatten().map(|n| n.to_string())
}

/// Values one after another; a number is the bits of its double.
fn words(numbers: Numbers, values: &[Value], none: &str) -> String {
    let of = |value: &Value| match value {
        Value::NoData => none.to_owned(),
        Value::Number(v) => format!("{:016x}", v.to_bits()),
        Value::Choice(choice) => choice.to_string(),
        Value::Flag(yes) => u8::from(*yes).to_string(),
        Value::Time(at) => at.to_string(),
    };
    let all = before(numbers).chain(values.iter().map(of));
    all.collect::<Vec<_>>().join(" ")
}

/// As Python has them: choices by their text.
fn named(layout: &Layout, numbers: Numbers, values: &[Value]) -> String {
    let of =
        layout
            .places()
            .iter()
            .zip(values)
            .map(|(place, value)| match (&place.field.kind, value) {
                (FieldKind::Choice { values }, Value::Choice(choice)) => {
                    values[*choice as usize].replace(' ', "_")
                }
                (_, value) => words(Numbers::NONE, &[*value], "none"),
            });
    let all = before(numbers).chain(of);
    all.collect::<Vec<_>>().join(" ")
}

fn answers(command: &mut Command, folder: &Path, asked: &str) -> String {
    let input = folder.join("asked");
    fs::write(&input, asked).unwrap();
    let output = command
        .stdin(fs::File::open(&input).unwrap())
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{command:?}: {said}");
    String::from_utf8(output.stdout).unwrap()
}

#[track_caller]
fn same(topic: &str, asked: &str, ours: &str, theirs: &str) {
    assert_eq!(ours.lines().count(), theirs.lines().count(), "{topic}");
    for ((asked, ours), theirs) in asked.lines().zip(ours.lines()).zip(theirs.lines()) {
        assert_eq!(ours.trim_end(), theirs.trim_end(), "{topic}: {asked}");
    }
}

/// A program that reads lines of `exchange` and answers with the generated functions.
fn driver(name: &str, header: &str) -> String {
    let begin = header.find(&format!("typedef struct {name} {{")).unwrap();
    let members = header[begin..]
        .lines()
        .skip(1)
        .take_while(|l| !l.starts_with('}'));
    let (mut reads, mut tells) = (String::new(), String::new());
    for member in members {
        let mut words = member.trim().split([' ', ';']);
        let (kind, member) = (words.next().unwrap(), words.next().unwrap());
        let (read, tell) = match kind {
            "double" => ("number(&record.M)".to_owned(), "tell(record.M);".to_owned()),
            "bool" => (
                "flag(&record.M)".to_owned(),
                "printf(\" %d\", record.M ? 1 : 0);".to_owned(),
            ),
            "uint32_t" => (
                "scanf(\"%\" SCNu32, &record.M) == 1".to_owned(),
                "printf(\" %\" PRIu32, record.M);".to_owned(),
            ),
            "int64_t" => (
                "scanf(\"%\" SCNd64, &record.M) == 1".to_owned(),
                "printf(\" %\" PRId64, record.M);".to_owned(),
            ),
            _ => continue,
        };
        let _ = write!(
            reads,
            " && {}",
            read.replace("record.M", &format!("record.{member}"))
        );
        let _ = writeln!(
            tells,
            "            {}",
            tell.replace("record.M", &format!("record.{member}"))
        );
    }
    let received = if header.contains("received_ns") {
        "received, "
    } else {
        ""
    };
    DRIVER
        .replace("NAME", name)
        .replace("HIGH", &name.to_ascii_uppercase())
        .replace(" && READS", &reads)
        .replace("TELLS", &tells)
        .replace("RECEIVED", received)
}

const DRIVER: &str = include_str!("driver.c");

#[test]
fn verif_generated_c_packs_and_reads_as_we_do() {
    if !truth::has_program("generated C against our own packing", "gcc") {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let mut kinds_refused = 0;
    for (number, (topic, layout)) in layouts().iter().enumerate() {
        let made = c99(layout, topic);
        let name = identifier(topic, "topic");
        let write = |name: &str, text: &str| fs::write(folder.path().join(name), text).unwrap();
        write(&made.header_name, &made.header);
        write(&made.source_name, &made.source);
        write("main.c", &driver(&name, &made.header));
        assert!(!made.source.contains("malloc"));
        let built = Command::new("gcc")
            .args([
                "-std=c99",
                "-Wall",
                "-Wextra",
                "-Werror",
                "-pedantic",
                "-O1",
                "-ftrapv",
                "-o",
                "run",
            ])
            .args([&made.source_name, "main.c"])
            .current_dir(folder.path())
            .output()
            .unwrap();
        let said = String::from_utf8_lossy(&built.stderr);
        assert!(built.status.success(), "{topic}: {said}");
        let all = exchange(layout, 1 + number as u64);
        let run = || Command::new(folder.path().join("run"));
        same(
            topic,
            &all.packing,
            &all.packed,
            &answers(&mut run(), folder.path(), &all.packing),
        );
        same(
            topic,
            &all.reading,
            &all.in_c,
            &answers(&mut run(), folder.path(), &all.reading),
        );
        kinds_refused = kinds_refused.max(all.kinds_refused);
    }
    assert!(kinds_refused >= 4, "{kinds_refused}");
}

const READER: &str = include_str!("reader.py");

#[test]
fn verif_generated_python_reads_as_we_do() {
    if !truth::has_program("generated Python against our own packing", "python3") {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    for (number, (topic, layout)) in layouts().iter().enumerate() {
        let name = identifier(topic, "topic");
        // A module may not be hidden by one of the language's own.
        let module = format!("made_{name}");
        fs::write(
            folder.path().join(format!("{module}.py")),
            python(layout, topic),
        )
        .unwrap();
        let received = if layout.has_time() {
            ", int(received)"
        } else {
            ""
        };
        let reader = READER
            .replace("NAME", &module)
            .replace("RECEIVED", received);
        fs::write(folder.path().join("reader.py"), reader).unwrap();
        let all = exchange(layout, 1 + number as u64);
        let mut run = Command::new("python3");
        run.arg("-B")
            .arg(folder.path().join("reader.py"))
            .env("PYTHONIOENCODING", "utf-8");
        same(
            topic,
            &all.reading,
            &all.in_python,
            &answers(&mut run, folder.path(), &all.reading),
        );
    }
}
