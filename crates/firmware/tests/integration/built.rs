//! The C as a compiler sees it.

use std::path::Path;
use std::process::Command;

use firmware::{BandArithmetic, DetectorSource, SINGLE_WITHIN_DB, detector_c};

use crate::specs::all;

pub(crate) const FLAGS: [&str; 6] = [
    "-std=c99",
    "-O2",
    "-Wall",
    "-Wextra",
    "-Werror",
    "-pedantic",
];

pub(crate) fn write(made: &DetectorSource, folder: &Path) {
    for (name, text) in [
        (&made.header_name, &made.header),
        (&made.source_name, &made.source),
        (&made.test_name, &made.test),
    ] {
        std::fs::write(folder.join(name), text).unwrap();
    }
}

/// Compiles and runs the test program of a source; what it told.
fn golden(made: &DetectorSource, folder: &Path, more: &[&str]) -> String {
    let program = folder.join("golden");
    let built = Command::new("gcc")
        .args(FLAGS)
        .args(more)
        .args([&made.source_name, &made.test_name])
        .args(["-lm", "-o"])
        .arg(&program)
        .current_dir(folder)
        .output()
        .unwrap();
    let told = String::from_utf8_lossy(&built.stderr).into_owned();
    assert!(built.status.success(), "{}: {told}", made.source_name);
    let run = Command::new(&program).output().unwrap();
    let (out, err) = (
        String::from_utf8_lossy(&run.stdout),
        String::from_utf8_lossy(&run.stderr),
    );
    assert!(run.status.success(), "{}: {out}{err}", made.source_name);
    out.into_owned()
}

/// A compiler that shares nothing with us runs the test program of each: plain, and with its sanitizers for addresses and undefined behaviour.
#[test]
fn verif_the_test_program_of_every_kind_passes() {
    if !truth::has_program("detectors in C against ours", "gcc") {
        return;
    }
    for (name, spec) in all() {
        let made = detector_c(&spec, name).unwrap();
        assert!(made.golden_notices >= 3, "{name}: {}", made.golden_notices);
        let folder = tempfile::tempdir().unwrap();
        write(&made, folder.path());
        for more in [
            &[][..],
            &[
                "-fsanitize=address,undefined",
                "-fno-sanitize-recover=all",
                "-g",
            ],
        ] {
            let told = golden(&made, folder.path(), more);
            assert!(told.starts_with("right: "), "{told}");
            // What the note says of memory lies within what a compiler adds between fields.
            let bytes = told.rsplit("state of ").next().unwrap();
            let bytes: usize = bytes.split(' ').next().unwrap().parse().unwrap();
            assert!(
                bytes >= made.state_bytes && bytes <= made.state_bytes + 64,
                "{name}: {bytes} {}",
                made.state_bytes
            );
        }
    }
}

/// A test program that cannot fail proves nothing: a source with another threshold, window or coefficient is told.
#[test]
fn verif_the_test_program_fails_a_source_that_is_another() {
    if !truth::has_program("detectors in C against ours", "gcc") {
        return;
    }
    let (name, spec) = all().remove(0);
    let made = detector_c(&spec, name).unwrap();
    for (from, to) in [
        ("ON_ABOVE_DB = 9.0", "ON_ABOVE_DB = 40.0"),
        ("#define SECTIONS 4u", "#define SECTIONS 3u"),
        ("10.0 * log10(c.power)", "10.1 * log10(c.power)"),
    ] {
        assert_eq!(made.source.matches(from).count(), 1, "{from}");
        let mut other = made.clone();
        other.source = made
            .source
            .replace(from, to)
            .replace("section[SECTIONS]", "section[4]");
        let folder = tempfile::tempdir().unwrap();
        write(&other, folder.path());
        let program = folder.path().join("golden");
        let built = Command::new("gcc")
            .args(["-std=c99", "-O1"])
            .args([&other.source_name, &other.test_name])
            .args(["-lm", "-o"])
            .arg(&program)
            .current_dir(folder.path())
            .status()
            .unwrap();
        assert!(built.success());
        let run = Command::new(&program).output().unwrap();
        assert_eq!(
            run.status.code(),
            Some(1),
            "{to}: {}",
            String::from_utf8_lossy(&run.stdout)
        );
    }
}

/// Single precision where it holds: state-variable sections keep a band at a four-hundredth of the rate, and the source says what the trial gave.
#[test]
fn verif_the_arithmetic_of_the_band_is_said() {
    for (name, spec) in all() {
        let made = detector_c(&spec, name).unwrap();
        match made.band {
            None => assert!(!made.source.contains("SECTIONS"), "{name}"),
            Some(BandArithmetic::Single { apart_db }) => {
                assert!(apart_db <= SINGLE_WITHIN_DB, "{name}: {apart_db}");
                assert!(
                    made.source.contains("Single precision: in a trial"),
                    "{name}"
                );
            }
            Some(BandArithmetic::Double { single_apart_db }) => {
                assert!(
                    single_apart_db > SINGLE_WITHIN_DB,
                    "{name}: {single_apart_db}"
                );
                assert!(
                    made.source.contains("Double precision: in a trial"),
                    "{name}"
                );
            }
        }
        assert_eq!(
            made,
            detector_c(&spec, name).unwrap(),
            "the same bytes again"
        );
    }
}
