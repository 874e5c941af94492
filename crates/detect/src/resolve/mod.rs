//! Sorting the stages of a detector into their places.

mod check;
mod decide;
mod numbers;
mod resolved;

pub(crate) use decide::{check_hold_off, check_thresholds};
pub(crate) use numbers::samples;
pub(crate) use resolved::{
    BackgroundSpec, BandSpec, DecimateSpec, Decision, FrameSpec, LearnedSpec, LevelSpec,
    LikenessSpec, MatchedSpec, Measure, Measured, PulsesSpec, Resolved, RidgeSpec, TriggerSpec,
};

use crate::error::SpecError;
use crate::judge::Judge;
use crate::spec::{LevelKind, Spec, Stage};

/// What the stages so far have filled.
#[derive(Default)]
struct Places<'a> {
    decimate: Option<DecimateSpec>,
    band: Option<BandSpec>,
    measured: Option<Measured<'a>>,
    background: Option<BackgroundSpec>,
    likeness: Option<LikenessSpec<'a>>,
    decision: Option<(usize, Decision)>,
    judge: Option<Judge>,
}

pub(crate) fn resolve(spec: &Spec) -> Result<Resolved<'_>, SpecError> {
    let rate_hz = spec.rate_hz;
    if !(rate_hz > 0.0 && rate_hz.is_finite()) {
        return Err(SpecError::Rate { rate_hz });
    }
    if spec.stages.is_empty() {
        return Err(SpecError::Empty);
    }
    let mut places = Places::default();
    for (stage, item) in spec.stages.iter().enumerate() {
        if let Some(right) = places.misplaced(item) {
            return Err(SpecError::Misplaced {
                stage,
                found: item.word(),
                right,
            });
        }
        places.take(stage, item, rate_hz)?;
    }
    let (decision_stage, decision) = places.decision.ok_or(SpecError::NoDecision)?;
    Ok(Resolved {
        rate_hz,
        decimate: places.decimate,
        band: places.band,
        measured: places
            .measured
            .expect("a decision is refused without a stage that measures"),
        background: places.background,
        likeness: places.likeness,
        decision,
        decision_stage,
        judge: places.judge.unwrap_or_default(),
    })
}

impl<'a> Places<'a> {
    /// What would be right, if the stage is out of place.
    fn misplaced(&self, item: &Stage) -> Option<&'static str> {
        let frames = matches!(self.measured, Some(Measured::Frames(_)));
        let learned = matches!(self.measured, Some(Measured::Learned(_)));
        if self.judge.is_some() {
            return Some("nothing may follow a likely stage");
        }
        if self.decision.is_some() && !matches!(item, Stage::Likely { .. }) {
            return Some("only a likely stage may follow a trigger, pulses or ridge stage");
        }
        let wrong = |wrong: bool, right| wrong.then_some(right);
        match item {
            Stage::Decimate { .. } => wrong(
                self.decimate.is_some() || self.band.is_some() || self.measured.is_some(),
                "a detector decimates at most once, and first",
            ),
            Stage::Band { .. } => wrong(
                self.band.is_some() || self.measured.is_some(),
                "a detector has at most one band, before its level, matched, learned or spectrogram stage",
            ),
            Stage::Level { .. }
            | Stage::Exposure { .. }
            | Stage::Matched { .. }
            | Stage::Learned { .. }
            | Stage::Spectrogram { .. } => wrong(
                self.measured.is_some(),
                "a detector has one level, exposure, matched, learned or spectrogram stage, before any background",
            ),
            Stage::Background { .. } if self.measured.is_none() => {
                Some("a background needs a level, matched or spectrogram stage before it")
            }
            Stage::Background { .. } if learned => {
                Some("what a learned stage gives has no background: a trigger decides on it")
            }
            Stage::Background { .. } => wrong(
                self.background.is_some(),
                "a detector has at most one background",
            ),
            Stage::Likeness { .. } | Stage::LikenessTo { .. } => wrong(
                !frames || self.background.is_none() || self.likeness.is_some(),
                "a likeness needs a spectrogram stage and then a background stage before it, and there is at most one",
            ),
            Stage::Ridge { .. } => wrong(
                !frames || self.background.is_none() || self.likeness.is_some(),
                "a ridge needs a spectrogram stage and then a background stage before it, and no likeness",
            ),
            Stage::Pulses { .. } => wrong(
                frames || self.background.is_none(),
                "pulses need a level or matched stage and then a background stage before them",
            ),
            Stage::Trigger { .. } if self.measured.is_none() => Some(
                "a trigger needs a level, exposure, matched, learned or likeness stage before it",
            ),
            Stage::Trigger { .. } => wrong(
                frames && self.likeness.is_none(),
                "after a spectrogram a trigger needs a background stage and then a likeness stage before it",
            ),
            Stage::Likely { .. } => wrong(
                self.decision.is_none(),
                "a judgement needs a trigger, pulses or ridge stage before it",
            ),
        }
    }

    fn take(&mut self, stage: usize, item: &'a Stage, rate_hz: f64) -> Result<(), SpecError> {
        match item {
            Stage::Decimate { factor } => {
                self.decimate = Some(check::decimate(stage, *factor, rate_hz)?);
            }
            Stage::Band { .. } => {
                self.band = Some(check::band(stage, item, self.decimate, rate_hz)?);
            }
            Stage::Level {
                kind,
                window_s,
                hop_s,
            } => {
                let measure = match kind {
                    LevelKind::MeanSquare => Measure::MeanSquare,
                    LevelKind::Exponential => Measure::Exponential,
                    LevelKind::TeagerKaiser => Measure::TeagerKaiser,
                };
                let level = check::level(stage, measure, *window_s, *hop_s, rate_hz)?;
                self.measured = Some(Measured::Level(level));
            }
            Stage::Exposure { window_s, hop_s } => {
                let level = check::level(stage, Measure::Exposure, *window_s, *hop_s, rate_hz)?;
                self.measured = Some(Measured::Level(level));
            }
            Stage::Matched { template, hop_s } => {
                self.measured = Some(Measured::Matched(check::matched(
                    stage, template, *hop_s, rate_hz,
                )?));
            }
            Stage::Learned { .. } => {
                self.measured = Some(Measured::Learned(check::learned(stage, item, rate_hz)?));
            }
            Stage::Spectrogram { window_s, hop_s } => {
                check::window(stage, *window_s, *hop_s, rate_hz)?;
                self.measured = Some(Measured::Frames(FrameSpec {
                    stage,
                    window_s: *window_s,
                    hop_s: *hop_s,
                }));
            }
            Stage::Background { .. } => self.background = Some(check::background(stage, item)?),
            Stage::Likeness { contour, width_hz } => {
                self.likeness = Some(check::contour(stage, contour, *width_hz, self.band)?);
            }
            Stage::LikenessTo { template } => {
                check::template(stage, template)?;
                self.likeness = Some(LikenessSpec::Template { stage, template });
            }
            Stage::Ridge { .. } => {
                let ridge = decide::ridge(stage, item, self.background, rate_hz)?;
                self.decision = Some((stage, Decision::Ridge(ridge)));
            }
            Stage::Trigger { .. } => {
                let trigger = decide::trigger(stage, item, self.background, rate_hz)?;
                self.decision = Some((stage, Decision::Trigger(trigger)));
            }
            Stage::Pulses { .. } => {
                let pulses = decide::pulses(stage, item, rate_hz)?;
                self.decision = Some((stage, Decision::Pulses(pulses)));
            }
            Stage::Likely { .. } => {
                let (_, decision) = self
                    .decision
                    .expect("a judgement is refused without a decision");
                self.judge = Some(decide::likely(stage, item, &decision, rate_hz)?);
            }
        }
        Ok(())
    }
}
