//! The sound of one ear as samples: stretches of noise without gaps and without samples at full scale.

use crate::ear::Ear;
use crate::error::HearError;
use crate::hear::{Step, hear};
use crate::heard::Hearing;
use crate::survey::Survey;

/// What one ear heard, as samples.
#[derive(Debug, Default)]
pub struct Noise {
    /// Sound pressure, uPa, in stretches: a gap and samples at full scale end one, and what follows begins the next.
    pub stretches: Vec<Vec<f32>>,
    /// Samples at full scale, which are left out.
    pub full_scale_samples: u64,
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
                        close(&mut open, &mut noise.stretches);
                    }
                    from = end + 1;
                }
            }
            Step::Gap { .. } => close(&mut open, &mut noise.stretches),
            Step::Settled { .. } => {}
            Step::Done { hearing, .. } => noise.hearings.push(hearing),
        },
        read,
    )?;
    close(&mut open, &mut noise.stretches);
    Ok(noise)
}

fn close(open: &mut Vec<f32>, stretches: &mut Vec<Vec<f32>>) {
    if !open.is_empty() {
        stretches.push(std::mem::take(open));
    }
}
