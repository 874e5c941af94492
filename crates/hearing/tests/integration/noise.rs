//! Samples of recordings: abutting files are one stretch; a gap and samples at full scale part it.

use hearing::{Noise, Reference, line_up, take_noise};

use crate::hear::{ear, looked, write};

fn ramp(count: usize) -> Vec<f32> {
    (0..count).map(|i| i as f32 / 65_536.0).collect()
}

fn taken(files: &[(&str, Vec<f32>)], most: usize) -> Vec<Noise> {
    let folder = tempfile::tempdir().unwrap();
    let paths: Vec<_> = files
        .iter()
        .map(|(name, samples)| write(&folder.path().join(name), 1, samples))
        .collect();
    let surveys = looked(&paths);
    line_up(&surveys)
        .unwrap()
        .iter()
        .map(|stretch| {
            let files: Vec<_> = stretch.iter().map(|&i| surveys[i].clone()).collect();
            take_noise(&files, &ear(0, Reference::Water), most, &|_| true).unwrap()
        })
        .collect()
}

#[test]
fn verif_files_that_abut_are_one_stretch_and_a_gap_begins_another() {
    let all = ramp(24_000);
    let part = |from: usize, until: usize| all[from..until].to_vec();
    let noise = taken(
        &[
            ("a_20270315T041500Z.wav", part(0, 8000)),
            ("a_20270315T041501Z.wav", part(8000, 16_000)),
            ("a_20270315T041509Z.wav", part(16_000, 24_000)),
        ],
        usize::MAX,
    );
    let stretches: Vec<&[f32]> = noise
        .iter()
        .flat_map(|n| &n.stretches)
        .map(Vec::as_slice)
        .collect();
    let lengths: Vec<usize> = stretches.iter().map(|s| s.len()).collect();
    assert_eq!(lengths, [16_000, 8000]);
    // A sample of 1.0 is 10^7 uPa.
    for (upa, sample) in stretches.concat().iter().zip(&all) {
        assert!((upa - 1e7 * sample).abs() <= 1.0, "{upa} {sample}");
    }
    assert_eq!(noise[0].hearings.len(), 2);
}

#[test]
fn verif_samples_at_full_scale_are_left_out() {
    let mut samples = ramp(20_000);
    for at in [0, 9000, 9001, 19_999] {
        samples[at] = 1.0;
    }
    let noise = taken(&[("b.wav", samples.clone())], usize::MAX).remove(0);
    let lengths: Vec<usize> = noise.stretches.iter().map(Vec::len).collect();
    assert_eq!(lengths, [8999, 10_997]);
    assert_eq!((noise.full_scale_samples, noise.cut), (4, false));
    let short = taken(&[("b.wav", samples)], 10_000).remove(0);
    let lengths: Vec<usize> = short.stretches.iter().map(Vec::len).collect();
    assert_eq!(lengths, [8999, 1001]);
    assert!(short.cut);
}

#[test]
fn verif_one_value_for_a_second_is_no_noise() {
    // At 8 kHz: a second of zeros amid noise is left out, a sample less is kept; so is a stretch of one value.
    let amid = |zeros: usize| [ramp(5000), vec![0.25; zeros], ramp(3000)].concat();
    for (zeros, lengths) in [(8000, vec![5000, 3000]), (7999, vec![15_999])] {
        let noise = taken(&[("c.wav", amid(zeros))], usize::MAX).remove(0);
        let found: Vec<usize> = noise.stretches.iter().map(Vec::len).collect();
        assert_eq!(found, lengths);
        let left_out = if lengths.len() > 1 { 8000 } else { 0 };
        assert_eq!(noise.repeated_samples, left_out);
    }
    let silent = taken(&[("d.wav", vec![0.0; 400])], usize::MAX).remove(0);
    assert!(silent.stretches.is_empty());
    assert_eq!(silent.repeated_samples, 400);
}

/// What stays longer than a second is left out to its end, wherever it lies, and nothing is held beside the samples that are kept.
#[test]
fn verif_a_value_that_stays_is_left_out_to_its_end() {
    let samples = [
        vec![0.5; 9000],
        ramp(4000),
        vec![0.25; 12_345],
        vec![0.125; 3],
    ]
    .concat();
    let noise = taken(&[("e.wav", samples)], usize::MAX).remove(0);
    let lengths: Vec<usize> = noise.stretches.iter().map(Vec::len).collect();
    assert_eq!(lengths, [4000, 3]);
    assert_eq!(noise.repeated_samples, 9000 + 12_345);
    for stretch in &noise.stretches {
        assert_eq!(stretch.capacity(), stretch.len());
    }
}
