//! From the named files to what was heard in each, in the order in which they were named.

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Condvar, Mutex, PoisonError, mpsc};

use assess::input::sensor_chain;
use detect::Stage;
use hearing::{
    ChannelLevels, Ear, Found, HearError, Hearing, LineUpError, Step, Survey, line_up, survey,
};
use jiff::Timestamp;
use plan::Line;

use super::blank::blank;
use super::ears::{Assigned, ears};
use super::error::{ListenError, RecordingFault};
use super::odd::odd;
use super::picture::Pictures;
use super::two_ears::Pairs;
use super::{Args, picture};
use crate::failure::Failure;
use crate::outputs::Outputs;

/// A mean is told from this share of full scale on (ours, -60 dB), where it raises the level by at least this much.
const MOST_MEAN_SHARE: f64 = 0.001;
const MOST_RAISED_DB: f64 = 0.1;

/// A recording that can be heard.
#[derive(Debug)]
pub(crate) struct Looked {
    pub(crate) survey: Survey,
}

/// What came of one recording.
#[derive(Debug)]
pub(crate) struct Outcome {
    /// The file as it was named.
    pub(crate) path: PathBuf,
    /// What it says about itself, when it could be opened.
    pub(crate) survey: Option<Survey>,
    /// What was heard.
    pub(crate) hearing: Option<Hearing>,
    /// With what it was heard.
    pub(crate) ears: Vec<Ear>,
    /// Pictures that were written.
    pub(crate) pictures: Vec<PathBuf>,
    /// What the user should know.
    pub(crate) notes: Vec<String>,
    /// What went wrong.
    pub(crate) errors: Vec<RecordingFault>,
}

impl Outcome {
    fn unheard(path: PathBuf, survey: Option<Survey>, fault: RecordingFault) -> Self {
        Self {
            path,
            survey,
            hearing: None,
            ears: Vec::new(),
            pictures: Vec::new(),
            notes: Vec::new(),
            errors: vec![fault],
        }
    }

    /// Length that the recording says or has, s.
    pub(crate) fn whole_s(&self) -> Option<f64> {
        let info = &self.survey.as_ref()?.info;
        Some(info.frames? as f64 / f64::from(info.rate_hz))
    }

    /// How much was heard, and of how much, where it was not heard to its end, s.
    pub(crate) fn heard_of(&self) -> Option<(f64, Option<f64>)> {
        let heard_s = self.hearing.as_ref()?.duration_s;
        let mut errors = self.errors.iter();
        errors
            .any(RecordingFault::ends_the_hearing)
            .then(|| (heard_s, self.whole_s()))
    }

    /// An error of it without its name, where that stands above.
    pub(crate) fn without_name(&self, error: &RecordingFault) -> String {
        let text = error.to_string();
        let name = format!("{}: ", self.path.display());
        text.strip_prefix(&name).unwrap_or(&text).to_owned()
    }

    pub(crate) fn failed(&self) -> bool {
        !self.errors.is_empty()
    }

    /// What is odd about the recording, as text.
    pub(crate) fn warnings(&self) -> Vec<String> {
        let Some(hearing) = &self.hearing else {
            return Vec::new();
        };
        let start_given = self.survey.as_ref().is_some_and(|s| s.start.is_some());
        let mut texts = odd(hearing, start_given);
        texts.extend(self.too_short(hearing));
        texts
    }

    /// What is odd about the channels that were heard, as text.
    pub(crate) fn offsets(&self, channel: impl Fn(usize) -> u16) -> Vec<String> {
        let held = self.levels().filter(|(_, levels)| {
            levels.mean_share > MOST_MEAN_SHARE
                && levels.level_db - levels.level_without_mean_db >= MOST_RAISED_DB
        });
        held.map(|(ear, levels)| {
            format!(
                "the mean of channel {} is {:.1} % of full scale: the overall level, peak and exposure hold it; without it rms {:.1} dB re {}",
                channel(ear),
                100.0 * levels.mean_share,
                levels.level_without_mean_db,
                self.ears[ear].reference.pressure()
            )
        })
        .collect()
    }

    /// A detector over a background hears nothing before half of the background's time has been heard.
    fn too_short(&self, hearing: &Hearing) -> Option<String> {
        let (longest_s, deaf_s) = self
            .ears
            .iter()
            .flat_map(|ear| &ear.detectors)
            .flat_map(|spec| &spec.stages)
            .filter_map(|stage| match stage {
                // Half of the time beyond the guard, and the guard.
                Stage::Background {
                    over_s, guard_s, ..
                } => Some((*over_s, 0.5 * (over_s + guard_s))),
                _ => None,
            })
            .max_by(|a, b| a.1.total_cmp(&b.1))
            .unwrap_or((0.0, 0.0));
        (hearing.duration_s < deaf_s).then(|| {
            format!(
                "a detector over a background of {longest_s} s is deaf for its first {deaf_s} s, and this recording lasts {:.3} s: it can tell nothing, unless another recording leads up to it without a gap",
                hearing.duration_s
            )
        })
    }

    /// Events that begin in it.
    pub(crate) fn events(&self) -> &[Found] {
        self.hearing.as_ref().map_or(&[], |h| &h.events)
    }

    /// Levels of the ears that heard something.
    pub(crate) fn levels(&self) -> impl Iterator<Item = (usize, &ChannelLevels)> {
        let levels = self.hearing.as_ref().map_or(&[][..], |h| &h.levels);
        levels
            .iter()
            .enumerate()
            .filter_map(|(ear, levels)| Some((ear, levels.as_ref()?)))
    }
}

/// Looks at every recording. One that cannot be used is its fault.
pub(crate) type Lookings = Vec<Result<Looked, (Option<Survey>, RecordingFault)>>;

/// Recordings that are to be heard, and what is said of them.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Asked<'a> {
    pub(crate) recordings: &'a [PathBuf],
    /// Start of the only one.
    pub(crate) start: Option<Timestamp>,
    /// Whether their own rate counts where the plan says another.
    pub(crate) own_rate: bool,
}

/// Looks at every recording and at whether it goes with the sensors. One that begins before the one before it has ended is left out.
pub(crate) fn look(
    asked: Asked<'_>,
    line: &Line,
    assigned: &[Assigned],
) -> Result<Lookings, ListenError> {
    let mut looked: Lookings = asked
        .recordings
        .iter()
        .map(|path| {
            let mut found = match survey(path) {
                Ok(found) => found,
                Err(error) => return Ok(Err((None, error.into()))),
            };
            if asked.start.is_some() {
                found.start = asked.start;
            }
            Ok(match misfit(asked, line, assigned, &found)? {
                None => Ok(Looked { survey: found }),
                Some(fault) => Err((Some(found), fault)),
            })
        })
        .collect::<Result<_, ListenError>>()?;
    leave_out_overlaps(&mut looked);
    Ok(looked)
}

/// The same sensors cannot have heard two recordings at once.
fn leave_out_overlaps(looked: &mut Lookings) {
    loop {
        let surveys: Vec<Survey> = looked.iter().flatten().map(|l| l.survey.clone()).collect();
        let Err(LineUpError::Overlap {
            earlier,
            later,
            overlap_s,
        }) = line_up(&surveys)
        else {
            return;
        };
        let is_it = |l: &Result<Looked, _>| l.as_ref().is_ok_and(|l| l.survey.path == later);
        let at = looked.iter().rposition(is_it);
        let at = at.expect("what overlaps is one of them");
        if let Ok(Looked { survey }) = &looked[at] {
            let fault = RecordingFault::Overlap {
                path: later,
                earlier,
                overlap_s,
            };
            looked[at] = Err((Some(survey.clone()), fault));
        }
    }
}

fn misfit(
    asked: Asked<'_>,
    line: &Line,
    assigned: &[Assigned],
    survey: &Survey,
) -> Result<Option<RecordingFault>, ListenError> {
    let path = || survey.path.clone();
    for a in assigned {
        if a.channel.is_none() && survey.info.channels > 1 {
            return Ok(Some(RecordingFault::WhichChannel {
                path: path(),
                channels: survey.info.channels,
                sensor: a.path.clone(),
            }));
        }
        if let Some(channel) = a.channel.filter(|&n| n > survey.info.channels) {
            return Ok(Some(RecordingFault::NoSuchChannel {
                path: path(),
                channel,
                channels: survey.info.channels,
                sensor: a.path.clone(),
            }));
        }
        let plan_rate_hz = sensor_chain(line, a.sensor)?.rate_hz();
        if plan_rate_hz != f64::from(survey.info.rate_hz) && !asked.own_rate {
            return Ok(Some(RecordingFault::OtherRate {
                path: path(),
                rate_hz: survey.info.rate_hz,
                sensor: a.path.clone(),
                plan_rate_hz,
            }));
        }
    }
    Ok(None)
}

/// Where pictures go, and what may not be lost to them.
#[derive(Clone, Copy)]
pub(crate) struct Files<'a> {
    pub(crate) pictures: &'a Pictures,
    pub(crate) outputs: &'a Outputs,
    pub(crate) pairs: &'a Pairs,
}

/// Recordings that may be begun beyond the first that is not yet told: with more, what waits for its turn would fill the memory.
const MOST_AHEAD: usize = 64;

/// Hears every recording that can be heard: stretches side by side, each on one thread. `each` is given what came of each
/// recording, in the order in which they were named, as soon as it and all before it are done.
pub(crate) fn hear(
    args: &Args,
    looked: Lookings,
    line: &Line,
    assigned: &[Assigned],
    to: Files<'_>,
    read: &(dyn Fn(u64) -> bool + Sync),
    each: &mut dyn FnMut(Outcome) -> Result<(), Failure>,
) -> Result<(), Failure> {
    let total = looked.len();
    let mut waiting: BTreeMap<usize, Outcome> = BTreeMap::new();
    let (mut surveys, mut places) = (Vec::new(), Vec::new());
    for (index, looked) in looked.into_iter().enumerate() {
        match looked {
            Ok(looked) => {
                surveys.push(looked.survey);
                places.push(index);
            }
            Err((survey, fault)) => {
                let path = args.recordings[index].clone();
                waiting.insert(index, Outcome::unheard(path, survey, fault));
            }
        }
    }
    let tasks = line_up(&surveys)
        .map_err(ListenError::from)?
        .into_iter()
        .map(|stretch| {
            Ok(Task {
                ears: ears(line, assigned, &surveys[stretch[0]].info, args.units)?,
                files: stretch.iter().map(|&i| surveys[i].clone()).collect(),
                places: stretch.iter().map(|&i| places[i]).collect(),
            })
        })
        .collect::<Result<Vec<Task>, ListenError>>()?;

    let turn = Turn::default();
    let next_task = AtomicUsize::new(0);
    let (sender, receiver) = mpsc::channel();
    std::thread::scope(|scope| {
        for _ in 0..rayon::current_num_threads().min(tasks.len()) {
            let (sender, tasks, turn, next_task) = (sender.clone(), &tasks, &turn, &next_task);
            scope.spawn(move || {
                let go_on = |frames| read(frames) && !turn.over.load(Ordering::Relaxed);
                while let Some(task) = tasks.get(next_task.fetch_add(1, Ordering::Relaxed)) {
                    let first = task.places.iter().min().copied().unwrap_or(0);
                    let may_begin = turn.wait_for(first);
                    if !may_begin || task.run(line, assigned, to, &go_on, &sender).is_err() {
                        return;
                    }
                }
            });
        }
        drop(sender);
        let told = tell_in_order(total, &mut waiting, &receiver, &turn, each);
        // Whatever came of it, nobody waits any more.
        turn.end();
        told
    })
}

/// Hands on what comes of each recording in its turn.
fn tell_in_order(
    total: usize,
    waiting: &mut BTreeMap<usize, Outcome>,
    receiver: &mpsc::Receiver<(usize, Outcome)>,
    turn: &Turn,
    each: &mut dyn FnMut(Outcome) -> Result<(), Failure>,
) -> Result<(), Failure> {
    let mut next = 0;
    loop {
        while let Some(outcome) = waiting.remove(&next) {
            each(outcome)?;
            next += 1;
            turn.come_to(next);
        }
        if next == total {
            return Ok(());
        }
        match receiver.recv() {
            Ok((index, outcome)) => {
                waiting.insert(index, outcome);
            }
            // All threads have ended before their time: they do so only when they are asked to.
            Err(mpsc::RecvError) => return Err(ListenError::Cancelled { told: next, total }.into()),
        }
    }
}

/// How far the recordings have been told.
#[derive(Default)]
struct Turn {
    next: Mutex<usize>,
    moved: Condvar,
    over: AtomicBool,
}

impl Turn {
    fn come_to(&self, next: usize) {
        *self.next.lock().unwrap_or_else(PoisonError::into_inner) = next;
        self.moved.notify_all();
    }

    fn end(&self) {
        // Under the lock, so that nobody is between looking and waiting.
        let guard = self.next.lock().unwrap_or_else(PoisonError::into_inner);
        self.over.store(true, Ordering::Relaxed);
        self.moved.notify_all();
        drop(guard);
    }

    /// Waits until a recording may be begun; false when no more is to be done.
    fn wait_for(&self, recording: usize) -> bool {
        let too_far = |next: &mut usize| {
            recording >= *next + MOST_AHEAD && !self.over.load(Ordering::Relaxed)
        };
        let guard = self.next.lock().unwrap_or_else(PoisonError::into_inner);
        let guard = self.moved.wait_while(guard, too_far);
        drop(guard.unwrap_or_else(PoisonError::into_inner));
        !self.over.load(Ordering::Relaxed)
    }
}

/// One stretch to be heard.
struct Task {
    files: Vec<Survey>,
    /// Place of each file among the recordings as they were named.
    places: Vec<usize>,
    ears: Vec<Ear>,
}

/// The work is to end before its time.
struct Stopped;

impl Task {
    fn run(
        &self,
        line: &Line,
        assigned: &[Assigned],
        to: Files<'_>,
        read: &dyn Fn(u64) -> bool,
        sender: &mpsc::Sender<(usize, Outcome)>,
    ) -> Result<(), Stopped> {
        let painter = picture::Painter {
            paths: self
                .places
                .iter()
                .map(|&i| to.pictures[i].clone())
                .collect(),
            outputs: to.outputs,
        };
        let mut painting = painter.begin(picture::Labels {
            line,
            assigned,
            ears: &self.ears,
            files: &self.files,
            pairs: to.pairs,
        });
        let send = |file: usize, hearing, painted| {
            let survey = self.files[file].clone();
            let outcome = outcome(line, assigned, &self.ears, survey, hearing, painted);
            sender
                .send((self.places[file], outcome))
                .map_err(|_| Stopped)
        };
        let mut sent = Ok(());
        let heard = hearing::hear_pairs(
            &self.files,
            &self.ears,
            &to.pairs.ears(),
            &mut |step| match step {
                Step::Done { file, hearing } => {
                    if sent.is_ok() {
                        sent = send(file, Ok(hearing), painting.take_painted(file));
                    }
                }
                step => painting.step(step),
            },
            &|frames| read(frames),
        );
        sent?;
        match heard {
            Ok(()) => Ok(()),
            Err(HearError::Cancelled) => Err(Stopped),
            Err(error) => (0..self.files.len())
                .try_for_each(|file| send(file, Err(error.clone()), picture::Painted::default())),
        }
    }
}

fn outcome(
    line: &Line,
    assigned: &[Assigned],
    ears: &[Ear],
    survey: Survey,
    hearing: Result<Hearing, HearError>,
    painted: picture::Painted,
) -> Outcome {
    let mut errors = Vec::new();
    let hearing = match hearing {
        Ok(mut hearing) => {
            errors.extend(hearing.failed.take().map(RecordingFault::from));
            for (ear, a) in assigned.iter().enumerate() {
                let channel = a.channel.unwrap_or(1);
                let path = survey.path.clone();
                errors.extend(blank(&hearing, ear).map(|blank| RecordingFault::Blank {
                    path,
                    channel,
                    blank,
                }));
            }
            Some(hearing)
        }
        Err(source) => {
            errors.push(RecordingFault::Ear {
                path: survey.path.clone(),
                detector: match source {
                    HearError::Detector { ear, detector, .. } => {
                        let ix = assigned[ear].detectors[detector];
                        Some(line.detectors[ix.0].id.clone())
                    }
                    HearError::Rate(_) | HearError::FullScale { .. } | HearError::Cancelled => None,
                },
                source,
            });
            None
        }
    };
    errors.extend(painted.faults);
    Outcome {
        path: survey.path.clone(),
        survey: Some(survey),
        hearing,
        ears: ears.to_vec(),
        pictures: painted.written,
        notes: painted.notes,
        errors,
    }
}
