//! False alarms and detections of band energy against the chi-square distributions.
//!
//! H. Urkowitz, Proc. IEEE 55 (1967) 523-531: over time T and bandwidth W the normalised energy has 2TW degrees of
//! freedom, central without and noncentral with a signal. White noise at rate r fills W = r/2, so a window of 2TW samples
//! is that statistic. Values by SciPy, `reference/make/detect_urkowitz.py`.

use detect::{Confirm, Detector, Notice, Stage};
use signal::Block;

use crate::support::plain;

/// Gaussian noise of unit variance by the polar method of Marsaglia, from a 64-bit generator (SplitMix64 steps).
pub(crate) struct Gaussian {
    state: u64,
    spare: Option<f64>,
}

impl Gaussian {
    pub(crate) fn new(seed: u64) -> Self {
        Self {
            state: seed,
            spare: None,
        }
    }

    fn uniform(&mut self) -> f64 {
        self.state = self.state.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.state;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }

    pub(crate) fn next(&mut self) -> f64 {
        if let Some(spare) = self.spare.take() {
            return spare;
        }
        loop {
            let (a, b) = (2.0 * self.uniform() - 1.0, 2.0 * self.uniform() - 1.0);
            let s = a * a + b * b;
            if s > 0.0 && s < 1.0 {
                let scale = (-2.0 * libm::log(s) / s).sqrt();
                self.spare = Some(b * scale);
                return a * scale;
            }
        }
    }
}

/// Windows in which the detector finds an event, each with only quiet ones between.
///
/// Every second window is exact silence, so that each noisy one is a trial of its own.
fn events(dof: u32, threshold: f64, snr_db: Option<f64>, trials: usize, seed: u64) -> usize {
    let on_above_db = 10.0 * libm::log10(threshold / f64::from(dof));
    let spec = plain(
        dof,
        dof,
        Stage::Trigger {
            on_above_db,
            off_below_db: on_above_db,
            shortest_s: 0.0,
            longest_s: None,
            hold_off_s: 0.0,
            confirm: Confirm::Early,
            bridge_s: 0.0,
            k_of_n: None,
        },
    );
    let mut detector = Detector::new(&spec).unwrap();
    let mut gaussian = Gaussian::new(seed);
    // A known signal of constant strength, alternating in sign: lambda = 2TW x SNR.
    let amplitude = snr_db.map_or(0.0, |snr_db| libm::pow(10.0, snr_db / 20.0));
    let dof = dof as usize;
    let mut block = vec![0.0_f32; 2 * dof];
    let mut told = Vec::new();
    let mut found = 0;
    for trial in 0..trials {
        for (i, v) in block[..dof].iter_mut().enumerate() {
            *v = (gaussian.next() + if i % 2 == 0 { amplitude } else { -amplitude }) as f32;
        }
        detector
            .push(
                Block {
                    first: (2 * dof * trial) as u64,
                    x: &block,
                },
                &mut told,
            )
            .unwrap();
        found += told
            .iter()
            .filter(|t| matches!(t.notice, Notice::Ended(_)))
            .count();
        told.clear();
    }
    found
}

/// Whether a count of trials speaks for probability `p`: within the exact two-sided limits of Clopper and Pearson, which
/// a right count leaves by chance once in a million.
pub(crate) fn holds(found: usize, trials: usize, p: f64) -> bool {
    assert!(
        p * trials as f64 > 50.0,
        "too few trials to say anything on both sides"
    );
    let (low, high) = chance::clopper_pearson(found as u64, trials as u64, 1.0 - 1e-6).unwrap();
    (low..=high).contains(&p)
}

/// Trials in which 60 false alarms are expected.
fn trials_for(pfa: f64) -> usize {
    (60.0 / pfa) as usize
}

/// Time-bandwidth product, false alarms, signal to noise in dB, threshold, detections, and the threshold of half.
fn rows() -> Vec<[f64; 6]> {
    let rows = truth::numbers("detect/scipy-urkowitz.csv");
    assert_eq!(rows.len(), 6);
    rows
}

#[test]
fn val_false_alarms_of_energy_follow_chi_square() {
    for (i, [tw, pfa, _, threshold, ..]) in rows().into_iter().enumerate() {
        let trials = trials_for(pfa);
        let found = events((2.0 * tw) as u32, threshold, None, trials, 1000 + i as u64);
        assert!(
            holds(found, trials, pfa),
            "false alarms: {found} of {trials}, expected {pfa} of them"
        );
    }
}

#[test]
fn val_detections_of_energy_follow_noncentral_chi_square() {
    for (i, [tw, _, snr_db, threshold, pd, _]) in rows().into_iter().enumerate() {
        let dof = (2.0 * tw) as u32;
        let trials = 20_000;
        let found = events(dof, threshold, Some(snr_db), trials, 2000 + i as u64);
        assert!(
            holds(found, trials, pd),
            "detections: {found} of {trials}, expected {pd} of them"
        );
    }
}

/// Red: a threshold for TW instead of 2TW degrees of freedom must fail the check above in every row, and so must a
/// detector that never fires.
#[test]
fn val_wrong_degrees_of_freedom_are_seen() {
    for (i, [tw, pfa, .., threshold_of_half]) in rows().into_iter().enumerate() {
        let trials = trials_for(pfa);
        let found = events(
            (2.0 * tw) as u32,
            threshold_of_half,
            None,
            trials,
            3000 + i as u64,
        );
        assert!(
            !holds(found, trials, pfa),
            "TW {tw}: {found} of {trials} passed for {pfa}"
        );
        assert!(!holds(0, trials, pfa));
    }
}
