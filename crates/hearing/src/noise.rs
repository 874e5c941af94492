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

/// Takes the samples of files that follow each other as [`line_up`](crate::line_up) puts them, at most `most_samples`, 4 bytes each; while a
/// stretch grows as much again as it holds may be set aside for it. The detectors of
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
    let mut open = Open::new(flat);
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
                    for &sample in &pressure_upa[from..from + wanted] {
                        open.push(sample, &mut noise);
                    }
                    taken += wanted;
                    if end < pressure_upa.len() {
                        noise.full_scale_samples += 1;
                        open.close(&mut noise);
                    }
                    from = end + 1;
                }
            }
            Step::Gap { .. } => open.close(&mut noise),
            Step::Settled { .. } => {}
            Step::Done { hearing, .. } => noise.hearings.push(hearing),
        },
        read,
    )?;
    open.close(&mut noise);
    Ok(noise)
}

/// What is heard without a break, cut where one value begins to stay. Its samples grow in one place and are handed on as they
/// are: nothing is copied when a stretch ends.
struct Open {
    samples: Vec<f32>,
    /// Samples since the break, with those that were cut away.
    heard: usize,
    /// Length of the run of one value at the end of `samples`.
    run: usize,
    /// The value that stays, once it has for `flat` samples.
    stays: Option<f32>,
    flat: usize,
}

impl Open {
    fn new(flat: usize) -> Self {
        Self {
            samples: Vec::new(),
            heard: 0,
            run: 0,
            stays: None,
            flat,
        }
    }

    fn push(&mut self, sample: f32, noise: &mut Noise) {
        self.heard += 1;
        if self.stays == Some(sample) {
            noise.repeated_samples += 1;
            return;
        }
        self.stays = None;
        self.run = match self.samples.last() {
            Some(last) if *last == sample => self.run + 1,
            _ => 1,
        };
        self.samples.push(sample);
        if self.run >= self.flat {
            self.drop_run(noise);
            self.stays = Some(sample);
        }
    }

    /// A break: what was heard before it is a stretch, unless all of it is one value.
    fn close(&mut self, noise: &mut Noise) {
        if self.run == self.heard && self.run > 1 {
            self.drop_run(noise);
        }
        self.hand_on(noise);
        *self = Self::new(self.flat);
    }

    fn drop_run(&mut self, noise: &mut Noise) {
        noise.repeated_samples += self.run as u64;
        self.samples.truncate(self.samples.len() - self.run);
        self.run = 0;
        self.hand_on(noise);
    }

    fn hand_on(&mut self, noise: &mut Noise) {
        if !self.samples.is_empty() {
            let mut stretch = std::mem::take(&mut self.samples);
            stretch.shrink_to_fit();
            noise.stretches.push(stretch);
        }
    }
}
