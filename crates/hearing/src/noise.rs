//! The sound of one ear as samples: stretches of noise without gaps, without samples at full scale, and without one value for long.

use crate::ear::Ear;
use crate::error::HearError;
use crate::hear::{Step, hear};
use crate::heard::Hearing;
use crate::survey::Survey;
use crate::tune::FLAT_S;

/// What one ear heard, as samples.
#[derive(Debug, Default)]
pub struct Noise {
    /// Sound pressure, uPa, in stretches: a gap, samples at full scale and one value for a second or more end one, and what follows
    /// begins the next.
    pub stretches: Vec<Vec<f32>>,
    /// Samples at full scale, which are left out.
    pub full_scale_samples: u64,
    /// Samples of runs of one value, a second or more each or a whole stretch, which are left out: the recorder gave nothing.
    pub repeated_samples: u64,
    /// What was heard of each file.
    pub hearings: Vec<Hearing>,
    /// Whether it was more than was wanted: what is beyond is left out.
    pub cut: bool,
}

/// Takes the samples of files that follow each other as [`line_up`](crate::line_up) puts them, at most `most_samples`. The detectors of
/// `ear` are not looked at.
///
/// # Errors
/// As [`hear`]; what is wrong with a file is in its [`Hearing`].
pub fn take_noise(
    files: &[Survey],
    ear: &Ear,
    most_samples: usize,
    read: &dyn Fn(u64) -> bool,
) -> Result<Noise, HearError> {
    let ear = Ear {
        detectors: Vec::new(),
        ..ear.clone()
    };
    let rate_hz = files.first().map_or(0, |file| file.info.rate_hz);
    let flat = (f64::from(rate_hz) * FLAT_S).ceil() as usize;
    let mut noise = Noise::default();
    let mut open: Vec<f32> = Vec::new();
    let mut taken = 0;
    hear(
        files,
        &[ear],
        &mut |step| match step {
            Step::Samples {
                pressure_upa,
                full_scale,
                ..
            } => {
                let mut from = 0;
                let ends = full_scale.iter().copied().chain([pressure_upa.len()]);
                for end in ends {
                    let wanted = (end - from).min(most_samples - taken);
                    noise.cut |= wanted < end - from;
                    open.extend_from_slice(&pressure_upa[from..from + wanted]);
                    taken += wanted;
                    if end < pressure_upa.len() {
                        noise.full_scale_samples += 1;
                        noise.close(&mut open, flat);
                    }
                    from = end + 1;
                }
            }
            Step::Gap { .. } => noise.close(&mut open, flat),
            Step::Settled { .. } => {}
            Step::Done { hearing, .. } => noise.hearings.push(hearing),
        },
        read,
    )?;
    noise.close(&mut open, flat);
    Ok(noise)
}

impl Noise {
    /// Takes what was heard without a break, but for runs of one value of `flat` samples or more.
    fn close(&mut self, open: &mut Vec<f32>, flat: usize) {
        let whole = std::mem::take(open);
        let count = whole.len();
        let runs = whole.chunk_by(|a, b| a == b).map(<[f32]>::len);
        let (mut from, mut at) = (0, 0);
        for run in runs {
            if run >= flat || (run == count && run > 1) {
                if at > from {
                    self.stretches.push(whole[from..at].to_vec());
                }
                self.repeated_samples += run as u64;
                from = at + run;
            }
            at += run;
        }
        match from {
            0 if count > 0 => self.stretches.push(whole),
            _ if count > from => self.stretches.push(whole[from..].to_vec()),
            _ => {}
        }
    }
}
