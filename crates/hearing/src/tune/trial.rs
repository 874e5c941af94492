//! One detector over one stretch of recordings at many thresholds, in one pass.
//!
//! The stages up to the decision run once; every cell goes to one deciding stage for each threshold. Memory is that of one
//! detector, one deciding stage a threshold and the finished events, 48 bytes each.

use detect::{Cell, Event, Front, Logic, Notice, PushError, Spec, SpecError, Told};
use jiff::Timestamp;
use signal::Block;

use super::deaf::{Deaf, Deafness, without};
use crate::ear::Ear;
use crate::error::HearError;
use crate::hear::{Step, hear};
use crate::heard::Hearing;
use crate::survey::Survey;
use crate::view::band_hz;

/// A finished event at one of the thresholds, in frames of the stretch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mark {
    /// First frame.
    pub begin: u64,
    /// Frame after the last.
    pub end: u64,
    /// Greatest excess, dB.
    pub score_db: f64,
    /// Lowest and highest frequency, Hz: its own where the detector measures one, else the band of the detector; `None` where
    /// there is neither.
    pub band_hz: Option<(f64, f64)>,
}

/// What one detector made of a stretch at each of its thresholds.
#[derive(Debug)]
pub struct Trial {
    /// Frames per second.
    pub rate_hz: f64,
    /// When each file begins, where that is known.
    pub starts: Vec<Option<Timestamp>>,
    /// What was heard of each file; levels and warnings, no events.
    pub hearings: Vec<Hearing>,
    /// Spans in which the detector could decide, in frames of the stretch: not those of gaps, of the filling of windows and of the
    /// background, nor deaf ones.
    pub judged: Vec<(u64, u64)>,
    /// Spans in which the recording tells nothing, in order.
    pub deaf: Vec<Deaf>,
    /// Frames of the stretch at which hearing began anew: the first, and that after each gap.
    pub begins: Vec<u64>,
    /// By threshold, the finished events in the order of their end.
    pub marks: Vec<Vec<Mark>>,
    /// The events at the threshold that was asked for, whole.
    pub events: Vec<Event>,
    /// Samples that the detector could not take: index of the file, and why. What follows them is heard as after a gap.
    pub refused: Vec<(usize, PushError)>,
}

/// Hears a stretch through one detector at several thresholds.
///
/// `specs` differ in their deciding stage alone; `whole` is the index of the one whose events are kept whole. The detectors of
/// `ear` are not looked at.
///
/// # Errors
/// As [`hear`]; [`HearError::Detector`] with the index of the spec.
pub fn try_thresholds(
    files: &[Survey],
    ear: &Ear,
    specs: &[Spec],
    whole: usize,
    read: &dyn Fn(u64) -> bool,
) -> Result<Trial, HearError> {
    let ear = Ear {
        detectors: Vec::new(),
        ..ear.clone()
    };
    let rate_hz = files.first().map_or(0.0, |f| f64::from(f.info.rate_hz));
    let mut bench = Bench::new(specs, whole)?;
    let mut deafness = Deafness::new(rate_hz);
    let mut hearings = Vec::with_capacity(files.len());
    hear(
        files,
        &[ear],
        &mut |step| match step {
            Step::Samples {
                file,
                pressure_upa,
                full_scale,
                ..
            } => {
                deafness.push(pressure_upa, full_scale);
                bench.push(file, pressure_upa);
            }
            Step::Gap { frame } => {
                deafness.gap(frame);
                bench.gap(frame);
            }
            Step::Settled { .. } => {}
            Step::Done { hearing, .. } => hearings.push(hearing),
        },
        read,
    )?;
    let deaf = deafness.finish();
    Ok(Trial {
        rate_hz,
        starts: files.iter().map(|f| f.start).collect(),
        hearings,
        judged: without(&bench.judged, &deaf),
        deaf,
        begins: bench.begins,
        marks: bench.marks,
        events: bench.events,
        refused: bench.refused,
    })
}

/// One front, and a deciding stage for each threshold.
struct Bench {
    front: Front,
    logics: Vec<Logic>,
    whole: usize,
    band_hz: Option<(f64, f64)>,
    /// Frame of the stretch that comes next.
    next: u64,
    judged: Vec<(u64, u64)>,
    begins: Vec<u64>,
    marks: Vec<Vec<Mark>>,
    events: Vec<Event>,
    refused: Vec<(usize, PushError)>,
    cells: Vec<Cell>,
    told: Vec<Told>,
}

impl Bench {
    fn new(specs: &[Spec], whole: usize) -> Result<Self, HearError> {
        let refuse = |detector: usize| {
            move |source: SpecError| HearError::Detector {
                ear: 0,
                detector,
                source,
            }
        };
        let logics = specs
            .iter()
            .enumerate()
            .map(|(i, spec)| Logic::new(spec).map_err(refuse(i)))
            .collect::<Result<Vec<_>, _>>()?;
        let front = Front::new(&specs[whole]).map_err(refuse(whole))?;
        Ok(Self {
            band_hz: band_hz(&specs[whole]),
            front,
            whole,
            next: 0,
            judged: Vec::new(),
            begins: vec![0],
            marks: vec![Vec::new(); logics.len()],
            events: Vec::new(),
            refused: Vec::new(),
            cells: Vec::new(),
            told: Vec::new(),
            logics,
        })
    }

    fn push(&mut self, file: usize, pressure_upa: &[f32]) {
        let block = Block::new(self.next, pressure_upa);
        self.next += pressure_upa.len() as u64;
        let pushed = self.front.push(block, &mut self.cells);
        for cell in &self.cells {
            if cell.decidable {
                match self.judged.last_mut() {
                    Some(span) if span.1 == cell.begin_sample => span.1 = cell.end_sample,
                    _ => self.judged.push((cell.begin_sample, cell.end_sample)),
                }
            }
        }
        let cells = std::mem::take(&mut self.cells);
        self.decide(|logic, told| cells.iter().for_each(|cell| logic.push(cell, told)));
        self.cells = cells;
        self.cells.clear();
        if let Err(why) = pushed {
            self.refused.push((file, why));
            self.gap(self.next);
        }
    }

    /// What follows from this frame on is heard anew.
    fn gap(&mut self, frame: u64) {
        let last = self.next.saturating_sub(1);
        self.decide(|logic, told| logic.gap(last, told));
        self.front.gap();
        self.begins.push(frame);
        self.next = frame;
    }

    fn decide(&mut self, each: impl Fn(&mut Logic, &mut Vec<Told>)) {
        for (i, logic) in self.logics.iter_mut().enumerate() {
            each(logic, &mut self.told);
            for told in self.told.drain(..) {
                let Notice::Ended(event) = told.notice else {
                    continue;
                };
                self.marks[i].push(Mark {
                    begin: event.begin_sample,
                    end: event.end_sample,
                    score_db: event.score_db,
                    band_hz: own_band_hz(&event).or(self.band_hz),
                });
                if i == self.whole {
                    self.events.push(event);
                }
            }
        }
    }
}

/// Frequencies that the event itself tells of, Hz.
fn own_band_hz(event: &Event) -> Option<(f64, f64)> {
    let sweep = event.sweep?;
    Some((
        sweep.from_hz.min(sweep.to_hz),
        sweep.from_hz.max(sweep.to_hz),
    ))
}
