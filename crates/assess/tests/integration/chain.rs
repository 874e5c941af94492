//! Noise of the sensor chain as a rehearsal hears it and as the budget counts it.

use assess::input::{chain_noise, says_its_noise, self_noise};
use plan::{ModuleIx, SensorIx};

use crate::support::{close, good};

const AMPLIFIER: (&str, &str) = (
    "settles_in = \"1 s\"",
    "settles_in = \"1 s\"\namplifier_noise = \"5 nV/rtHz\"\nhigh_pass = { corner = \"20 Hz\", poles = 2 }",
);
const TABLE: (&str, &str) = (
    "gain = \"20 dB\"",
    "gain = \"20 dB\"\nself_noise = [{ frequency = \"30 Hz\", level = \"40 dB re 1 uPa2/Hz\" }, { frequency = \"900 Hz\", level = \"21 dB re 1 uPa2/Hz\" }]",
);
const EFFECTIVE: (&str, &str) = ("bits = 16,", "bits = 16, effective_bits = 14.2,");

fn ear(line: &plan::Line) -> SensorIx {
    let of = |id: &str| line.modules.iter().position(|m| m.id == id).unwrap();
    SensorIx {
        module: ModuleIx(of("ear")),
        sensor: 0,
    }
}

fn power(level_db: f64) -> f64 {
    10_f64.powf(level_db / 10.0)
}

/// What a rehearsal adds ahead of the high-pass, and the steps that it makes behind it, are together what the budget counts.
#[test]
fn verif_a_rehearsal_hears_what_the_budget_counts() {
    for changes in [
        &[AMPLIFIER][..],
        &[EFFECTIVE],
        &[AMPLIFIER, EFFECTIVE],
        &[AMPLIFIER, EFFECTIVE, TABLE],
    ] {
        let reading = good(changes);
        let line = reading.line.as_ref().unwrap();
        let noise = chain_noise(line, ear(line)).unwrap();
        let steps = power(noise.chain().quantisation_density_db_re_1upa2_hz());
        let rows = self_noise(line, ear(line)).unwrap();
        assert!(rows.windows(2).all(|pair| pair[0].0 < pair[1].0));
        assert!(rows[0].0 == 1.0 && rows.last().unwrap().0 > 1900.0);
        for (f_hz, ahead_db) in rows {
            let heard = power(ahead_db) + steps / noise.power_gain(f_hz);
            close(10.0 * heard.log10(), noise.density(f_hz).total_db, 1e-9);
        }
    }
}

/// A table alone is what a rehearsal hears, row for row; of nothing it is nothing.
#[test]
fn verif_a_table_alone_stays_as_it_is_written() {
    let reading = good(&[TABLE]);
    let line = reading.line.as_ref().unwrap();
    let rows = self_noise(line, ear(line)).unwrap();
    assert_eq!(rows, [(30.0, 40.0), (900.0, 21.0)]);
    assert!(says_its_noise(line, ear(line)));
    for (changes, says) in [
        (&[][..], false),
        (&[EFFECTIVE], false),
        (&[AMPLIFIER], true),
    ] {
        let reading = good(changes);
        let line = reading.line.as_ref().unwrap();
        assert_eq!(says_its_noise(line, ear(line)), says);
        let none = self_noise(line, ear(line)).unwrap().is_empty();
        assert_eq!(none, changes.is_empty());
    }
}
