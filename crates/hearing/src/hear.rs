//! Files that follow each other, through the detectors of their channels.

use detect::{Detector, Event, Notice, PushError, Told};
use jiff::Timestamp;
use recording::Recording;
use signal::Block;

use crate::channel::Channel;
use crate::ear::Ear;
use crate::error::{FileError, HearError};
use crate::heard::{Found, Hearing};
use crate::pairs::{EarNow, EarPair, Pairs};
use crate::survey::Survey;
use crate::view::band_hz;

/// Most frames read at once: a block and its copies stay in a processor's cache.
const BLOCK_FRAMES: usize = 8_192;
/// Most samples read at once, over all channels: 4 MiB.
const BLOCK_SAMPLES: usize = 1 << 20;

/// What [`hear`] shows its caller on the way.
#[derive(Debug)]
pub enum Step<'a> {
    /// The next samples of an ear, after the ones before in the same file.
    Samples {
        /// Index of the file in the stretch.
        file: usize,
        /// Index of the ear.
        ear: usize,
        /// Frames that are missing before them.
        missing: u64,
        /// Sound pressure, uPa.
        pressure_upa: &'a [f32],
        /// Indices of those at full scale, in order.
        full_scale: &'a [usize],
    },
    /// What follows, from this frame of the stretch on, is heard anew: it does not follow what was before.
    Gap {
        /// Frames of the stretch before it, missing ones among them.
        frame: u64,
    },
    /// The file after this one has been heard too, or the stretch is over: the events that begin in this file are
    /// known, but for `open` events that outlast the whole file after it.
    Settled {
        /// Index of the file in the stretch.
        file: usize,
        /// What was heard in it so far.
        hearing: &'a Hearing,
        /// Events begun before the file after it that are not over yet.
        open: usize,
    },
    /// All is known of the file. Files are done in their order, each as soon as no event that begins in it can follow.
    Done {
        /// Index of the file in the stretch.
        file: usize,
        /// What was heard in it.
        hearing: Hearing,
    },
}

/// Hears one stretch: files that follow each other as [`line_up`](crate::line_up) puts them. A file that fails ends the
/// stretch there and begins it anew after.
///
/// `step` is shown samples and settled files and given what was heard, file by file; `read` is told the number of frames after each block, and may stop the work by
/// answering false.
///
/// # Errors
/// [`HearError`] when the ears cannot be at the rate of the files, or `read` stops the work; what is wrong with a file is in its
/// [`Hearing`].
pub fn hear(
    files: &[Survey],
    ears: &[Ear],
    step: &mut dyn FnMut(Step<'_>),
    read: &dyn Fn(u64) -> bool,
) -> Result<(), HearError> {
    hear_pairs(files, ears, &[], step, read)
}

/// [`hear`] that also tells of each event when the other ear of a pair hears it.
///
/// # Errors
/// As [`hear`].
pub fn hear_pairs(
    files: &[Survey],
    ears: &[Ear],
    pairs: &[EarPair],
    step: &mut dyn FnMut(Step<'_>),
    read: &dyn Fn(u64) -> bool,
) -> Result<(), HearError> {
    let Some(first) = files.first() else {
        return Ok(());
    };
    let rate_hz = f64::from(first.info.rate_hz);
    let mut stretch = Stretch {
        files,
        rate_hz,
        channels: ears
            .iter()
            .enumerate()
            .map(|(index, ear)| Channel::new(index, ear, rate_hz))
            .collect::<Result<_, _>>()?,
        origins: Vec::with_capacity(files.len()),
        hearings: files.iter().map(|_| Hearing::default()).collect(),
        told: Vec::new(),
        open: ears
            .iter()
            .map(|ear| vec![None; ear.detectors.len()])
            .collect(),
        pairs: Pairs::new(pairs, ears.len(), rate_hz),
        since: 0,
        done: 0,
        cancelled: false,
    };
    for channel in &stretch.channels {
        for detector in &channel.detectors {
            stretch.pairs.reach(detector.beyond_samples());
        }
    }
    let mut origin = 0;
    for (index, file) in files.iter().enumerate() {
        stretch.origins.push(origin);
        for channel in &mut stretch.channels {
            channel.levels.reset();
        }
        let failed = stretch.hear_file(index, origin, step, read).err();
        if stretch.cancelled {
            return Err(HearError::Cancelled);
        }
        let hearing = &mut stretch.hearings[index];
        hearing.levels = stretch.channels.iter().map(Channel::level).collect();
        let whole = failed.is_none() && file.info.frames.is_none_or(|f| f == hearing.frames);
        hearing.failed = failed;
        origin += hearing.frames;
        if !whole || index + 1 == files.len() {
            stretch.gap(origin, step);
        }
        if index > 0 {
            stretch.settle(index - 1, step);
        }
        if index + 1 == files.len() {
            stretch.settle(index, step);
            stretch.finish(files.len(), step);
        } else {
            stretch.finish(stretch.decided(), step);
        }
    }
    Ok(())
}

/// A stretch under way.
struct Stretch<'a> {
    files: &'a [Survey],
    rate_hz: f64,
    channels: Vec<Channel<'a>>,
    /// Frames of the stretch before each file that was begun.
    origins: Vec<u64>,
    hearings: Vec<Hearing>,
    told: Vec<Told>,
    /// By ear and detector: when the onset was known of an event that has come to no end.
    open: Vec<Vec<Option<u64>>>,
    pairs: Pairs,
    /// Frame of the stretch at which the detectors began anew.
    since: u64,
    /// Files given out.
    done: usize,
    /// The caller has asked to stop.
    cancelled: bool,
}

impl Stretch<'_> {
    fn hear_file(
        &mut self,
        index: usize,
        origin: u64,
        step: &mut dyn FnMut(Step<'_>),
        read: &dyn Fn(u64) -> bool,
    ) -> Result<(), FileError> {
        let survey = &self.files[index];
        let mut recording = Recording::open(&survey.path)?;
        let outcome = self.hear_samples(index, origin, &mut recording, step, read);
        let hearing = &mut self.hearings[index];
        hearing.frames = match &outcome {
            Err(FileError::Beyond { frame, .. }) => *frame,
            _ => recording.position(),
        };
        hearing.duration_s = hearing.frames as f64 / self.rate_hz;
        hearing.full_scale_samples = recording.full_scale();
        hearing.warnings = recording.warnings().to_vec();
        hearing.warnings_left_out = recording.warnings_left_out();
        outcome
    }

    fn hear_samples(
        &mut self,
        index: usize,
        origin: u64,
        recording: &mut Recording,
        step: &mut dyn FnMut(Step<'_>),
        read: &dyn Fn(u64) -> bool,
    ) -> Result<(), FileError> {
        let survey = &self.files[index];
        let info = recording.info();
        let channels = usize::from(info.channels);
        if (info.rate_hz, info.channels) != (survey.info.rate_hz, survey.info.channels) {
            return Err(FileError::Changed {
                file: survey.path.clone(),
                was_rate_hz: survey.info.rate_hz,
                was_channels: survey.info.channels,
                rate_hz: info.rate_hz,
                channels: info.channels,
            });
        }
        for channel in &self.channels {
            if channel.ear.channel >= info.channels {
                return Err(FileError::Channel {
                    file: survey.path.clone(),
                    channels: info.channels,
                    wanted: u32::from(channel.ear.channel) + 1,
                });
            }
        }
        let frames = BLOCK_FRAMES.min(BLOCK_SAMPLES / channels).max(1);
        let mut interleaved = vec![0.0; frames * channels];
        let mut expected = 0;
        loop {
            let chunk = recording.read(&mut interleaved)?;
            if chunk.frames == 0 {
                return Ok(());
            }
            if chunk.after_gap {
                self.gap(origin + chunk.first, step);
            }
            let missing = chunk.first - expected;
            expected = chunk.first + chunk.frames as u64;
            let mut samples = &interleaved[..chunk.frames * channels];
            let beyond = self.calibrate(samples, channels);
            if let Some((frame, _)) = beyond {
                // What comes before it is sound.
                samples = &samples[..frame * channels];
                self.calibrate_again(samples, channels);
            }
            for at in 0..self.channels.len() {
                let channel = &mut self.channels[at];
                channel.at_full_scale.clear();
                if chunk.full_scale > 0 {
                    let own = usize::from(channel.ear.channel);
                    let frames = samples.chunks_exact(channels).enumerate();
                    for (frame, _) in frames.filter(|(_, f)| recording.at_full_scale(f[own])) {
                        channel.full_scale.push(origin + chunk.first + frame as u64);
                        channel.at_full_scale.push(frame);
                    }
                }
                step(Step::Samples {
                    file: index,
                    ear: channel.index,
                    missing,
                    pressure_upa: &channel.pressure_upa,
                    full_scale: &channel.at_full_scale,
                });
                self.detect(at, origin + chunk.first)
                    .map_err(|source| FileError::Detector {
                        file: survey.path.clone(),
                        frame: chunk.first,
                        source,
                    })?;
            }
            self.keep(origin + chunk.first);
            if let Some((frame, own)) = beyond {
                return Err(FileError::Beyond {
                    file: survey.path.clone(),
                    frame: chunk.first + frame as u64,
                    channel: u32::from(own) + 1,
                    value: interleaved[frame * channels + usize::from(own)],
                });
            }
            if !read(chunk.frames as u64) {
                self.cancelled = true;
                return Ok(());
            }
        }
    }

    /// Takes the samples of every ear; gives the first frame whose pressure is beyond single precision, and its channel.
    fn calibrate(&mut self, samples: &[f32], channels: usize) -> Option<(usize, u16)> {
        let ears = self.channels.iter_mut();
        ears.filter_map(|channel| {
            let frame = channel.take(samples, channels).err()?;
            Some((frame, channel.ear.channel))
        })
        .min()
    }

    /// The same, of fewer samples than were taken before: those are forgotten.
    fn calibrate_again(&mut self, samples: &[f32], channels: usize) {
        for channel in &mut self.channels {
            channel
                .take_again(samples, channels)
                .expect("the first such sample has been cut off");
        }
    }

    fn detect(&mut self, at: usize, first: u64) -> Result<(), PushError> {
        for detector in 0..self.channels[at].detectors.len() {
            let Channel {
                detectors,
                pressure_upa,
                ..
            } = &mut self.channels[at];
            let pushed = detectors[detector].push(Block::new(first, pressure_upa), &mut self.told);
            self.take(at, detector);
            pushed?;
        }
        Ok(())
    }

    /// Ends what is going on: what follows, from this frame of the stretch on, is heard anew.
    fn gap(&mut self, at_frame: u64, step: &mut dyn FnMut(Step<'_>)) {
        self.since = at_frame;
        for at in 0..self.channels.len() {
            for detector in 0..self.channels[at].detectors.len() {
                self.channels[at].detectors[detector].gap(&mut self.told);
                self.take(at, detector);
            }
        }
        self.settle_pairs(true);
        step(Step::Gap { frame: at_frame });
    }

    /// Keeps the block at hand for the pairs.
    fn keep(&mut self, first: u64) {
        for channel in &self.channels {
            if self.pairs.wants(channel.index) {
                self.pairs.hear(channel.index, first, &channel.pressure_upa);
            }
        }
        self.settle_pairs(false);
    }

    /// Takes the events of which the pairs know all; `over` is whether nothing follows what was heard.
    fn settle_pairs(&mut self, over: bool) {
        if !self.pairs.any() {
            return;
        }
        let ears: Vec<EarNow<'_>> = self
            .channels
            .iter()
            .map(|channel| EarNow {
                undecided_from: self.undecided_from(&channel.detectors),
                full_scale: &channel.full_scale,
            })
            .collect();
        for (file, found) in self.pairs.settle(&ears, over) {
            self.hearings[file].events.push(found);
        }
    }

    /// No event of these detectors that is still to be ended begins before this frame; `None` without any.
    fn undecided_from(&self, detectors: &[Detector]) -> Option<u64> {
        let from = |detector: &Detector| detector.undecided_from().unwrap_or(self.since);
        detectors.iter().map(from).min()
    }

    /// Takes what a detector of the channel has told.
    fn take(&mut self, at: usize, detector: usize) {
        let told = std::mem::take(&mut self.told);
        for Told {
            notice,
            known_at_sample,
        } in &told
        {
            let open = &mut self.open[at][detector];
            match notice {
                Notice::Onset(_) => *open = Some(*known_at_sample),
                Notice::Confirmed(_) => {}
                Notice::Dropped(..) => *open = None,
                Notice::Ended(event) => {
                    *open = None;
                    let file = self.origins.partition_point(|&o| o <= event.begin_sample) - 1;
                    let found = self.found(at, detector, file, event);
                    if self.pairs.wants(at) {
                        let channel = &self.channels[at];
                        let beyond = channel.detectors[detector].beyond_samples();
                        let band_hz = band_hz(&channel.ear.detectors[detector]);
                        let known = known_at_sample + 1;
                        self.pairs.take(file, found, event, known, beyond, band_hz);
                    } else {
                        self.hearings[file].events.push(found);
                    }
                }
            }
        }
        self.told = told;
        self.told.clear();
    }

    fn found(&self, at: usize, detector: usize, file: usize, event: &Event) -> Found {
        let channel = &self.channels[at];
        let (origin, start) = (self.origins[file], self.files[file].start);
        let (begin, end) = (event.begin_sample - origin, event.end_sample - origin);
        let reference_db = channel.ear.detector_reference_db(detector);
        let utc =
            |frame| start.and_then(|start| instant(start, frame, self.files[file].info.rate_hz));
        Found {
            ear: channel.index,
            detector,
            number: 0,
            begin_s: begin as f64 / self.rate_hz,
            end_s: end as f64 / self.rate_hz,
            begin_utc: utc(begin),
            end_utc: utc(end),
            peak_s: (event.peak_sample - origin) as f64 / self.rate_hz,
            peak_level_db: event.peak_level_db - reference_db,
            mean_level_db: event.mean_level_db - reference_db,
            background_db: event.background_db.map(|level_db| level_db - reference_db),
            score_db: event.score_db,
            pulses: event.pulses,
            sweep: event.sweep,
            intervals: event.intervals,
            full_scale_samples: channel
                .full_scale
                .count(event.begin_sample, event.end_sample),
            ending: event.ending,
            arrivals: Vec::new(),
        }
    }

    fn settle(&mut self, file: usize, step: &mut dyn FnMut(Step<'_>)) {
        self.hearings[file].number();
        let (begin, after) = (self.origins[file], self.after(file));
        let seconds = |frame: u64| (frame - begin) as f64 / self.rate_hz;
        self.hearings[file].full_scale_s = self
            .channels
            .iter()
            .map(|channel| {
                let spans = channel.full_scale.spans(begin, after);
                spans
                    .into_iter()
                    .map(|(begin, end)| (seconds(begin), seconds(end)))
                    .collect()
            })
            .collect();
        let open = self.open.iter().flatten().flatten();
        step(Step::Settled {
            file,
            hearing: &self.hearings[file],
            open: open.filter(|&&known_at| known_at < after).count() + self.pairs.waiting_in(file),
        });
    }

    /// Frame of the stretch after the last one of a file.
    fn after(&self, file: usize) -> u64 {
        self.origins.get(file + 1).copied().unwrap_or(u64::MAX)
    }

    /// Number of files in which no event can begin any more, of those that were settled.
    fn decided(&self) -> usize {
        let channels = self.channels.iter();
        let from = channels
            .filter_map(|channel| self.undecided_from(&channel.detectors))
            .chain(self.pairs.waits_from())
            .min();
        let settled = self.origins.len() - 1;
        (self.done..settled)
            .take_while(|&file| from.is_none_or(|from| self.after(file) <= from))
            .last()
            .map_or(self.done, |file| file + 1)
    }

    /// Gives out what was heard in the files before `file`.
    fn finish(&mut self, file: usize, step: &mut dyn FnMut(Step<'_>)) {
        for file in self.done..file {
            self.hearings[file].number();
            let hearing = std::mem::take(&mut self.hearings[file]);
            step(Step::Done { file, hearing });
        }
        if file > self.done {
            self.done = file;
            let begin = self.origins.get(file).copied().unwrap_or(u64::MAX);
            for channel in &mut self.channels {
                channel
                    .full_scale
                    .forget(begin.saturating_sub(self.pairs.margin()));
            }
        }
    }
}

/// The instant of a frame, to the nanosecond below.
fn instant(start: Timestamp, frame: u64, rate_hz: u32) -> Option<Timestamp> {
    let after_ns = i128::from(frame) * 1_000_000_000 / i128::from(rate_hz);
    Timestamp::from_nanosecond(start.as_nanosecond() + after_ns).ok()
}
