//! What the pictures of a recording show: the sound with its events, and the level of a detector.

use detect::{Ending, Stage};
use hearing::{Ear, Found, Hearing, Survey, band_hz, view};
use plan::Line;
use report::{
    AxisScale, ColourRange, EventMark, LevelPicture, LevelTrace, Picture, PictureError,
    PictureSize, SpectrogramBuilder, SpectrogramPicture, SpectrumReference, lettered, si_label,
};

use super::blank::{Blank, blank};
use super::ears::Assigned;
use super::levels::{Beside, Steps, is_likeness, level_name, quantity};
use super::two_ears::Pairs;

/// Numbers of events that are listed under a picture at most.
const MOST_LISTED: usize = 12;
/// Times between hydrophones that are listed under a picture at most.
const MOST_ARRIVALS: usize = 3;
const RIDGE: &str = "The strongest of many peaks of noise often lies over the threshold; an event takes peaks that join to a ridge.";

/// What the pictures are of.
#[derive(Clone, Copy)]
pub(crate) struct Labels<'a> {
    pub(crate) line: &'a Line,
    pub(crate) assigned: &'a [Assigned],
    pub(crate) ears: &'a [Ear],
    pub(crate) files: &'a [Survey],
    pub(crate) pairs: &'a Pairs,
}

impl Labels<'_> {
    /// The sound with its events.
    pub(crate) fn draw(
        &self,
        file: usize,
        ear: usize,
        builder: SpectrogramBuilder,
        hearing: &Hearing,
    ) -> Result<Picture, PictureError> {
        let survey = &self.files[file];
        let detectors = &self.ears[ear].detectors;
        let rate_hz = f64::from(survey.info.rate_hz);
        let top_hz = view(rate_hz, u64::MAX, detectors).map_or(rate_hz, |view| view.top_hz);
        let marks: Vec<EventMark> = hearing
            .events
            .iter()
            .filter(|event| event.ear == ear)
            .map(|event| {
                let id = self.detector_id(ear, event.detector);
                self.mark(event, event.detector, format!("{id}  {}", self.told(event)))
            })
            .collect();
        let own = &self.assigned[ear].detectors;
        let kinds: Vec<&str> = own
            .iter()
            .map(|ix| self.line.detectors[ix.0].id.as_str())
            .collect();
        let mut remarks: Vec<String> = hearing
            .failed
            .iter()
            .map(|error| {
                let fault = error.to_string();
                let name = format!("{}: ", survey.path.display());
                let why = fault.strip_prefix(&name).unwrap_or(&fault);
                match survey.info.frames {
                    Some(frames) => format!(
                        "Heard {:.3} s of {:.3} s, then: {why}.",
                        hearing.duration_s,
                        frames as f64 / rate_hz
                    ),
                    None => format!("Heard {:.3} s, then: {why}.", hearing.duration_s),
                }
            })
            .collect();
        remarks.extend(self.arrivals(ear, hearing));
        if blank(hearing, ear) == Some(Blank::Silent) {
            remarks
                .push("Exact silence: every sample is zero, and nothing was recorded.".to_owned());
        }
        let unit = format!("dB re {}", lettered(self.ears[ear].reference.density()));
        let picture = SpectrogramPicture {
            title: &self.title(file, ear),
            spectrogram: &builder.finish()?,
            reference: SpectrumReference {
                unit: &unit,
                offset_db: self.ears[ear].reference_db(),
            },
            size: PictureSize::PAGE,
            start_utc: survey.start,
            time_range_s: None,
            frequency_range_hz: (0.0, top_hz),
            frequency_scale: AxisScale::Linear,
            colour_range: ColourRange::Percentiles,
            marks: &marks,
            kinds: &kinds,
            full_scale_s: full_scale(hearing, ear),
            remarks: &remarks,
        };
        picture.draw()
    }

    /// When the other channels hear the first few events, in one line.
    fn arrivals(&self, ear: usize, hearing: &Hearing) -> Option<String> {
        let own = hearing.events.iter().filter(|event| event.ear == ear);
        let told: Vec<String> = own
            .flat_map(|event| {
                let arrivals = self.pairs.arrivals(event);
                let brief = arrivals.iter().map(|a| a.brief(self.assigned));
                brief
                    .map(|brief| format!("{}: {brief}", event.number))
                    .collect::<Vec<String>>()
            })
            .collect();
        let more = match told.len().saturating_sub(MOST_ARRIVALS) {
            0 => String::new(),
            more => format!("; and {more} more"),
        };
        let first = told.iter().take(MOST_ARRIVALS).cloned();
        let first: Vec<String> = first.collect();
        (!first.is_empty()).then(|| {
            format!(
                "Between the hydrophones (k = 2): {}{more}.",
                first.join("; ")
            )
        })
    }

    /// The id of a detector of an ear.
    pub(crate) fn detector_id(&self, ear: usize, detector: usize) -> &str {
        &self.line.detectors[self.assigned[ear].detectors[detector].0].id
    }

    /// How an event is named in the strip: its level, what else is known of it, and whether its end was heard.
    fn told(&self, event: &Found) -> String {
        let ear = &self.ears[event.ear];
        let mut text = if is_likeness(&ear.detectors[event.detector]) {
            format!("likeness {:.1} dB", event.score_db)
        } else {
            let reference = lettered(ear.level_reference(event.detector));
            format!("{:.1} dB re {reference}", event.peak_level_db)
        };
        if let Some(sweep) = event.sweep {
            let [from, to] = [sweep.from_hz, sweep.to_hz].map(|hz| si_label(hz, "Hz", 3));
            text.push_str(&format!(", {from} to {to}"));
        }
        if let Some(pulses) = event.pulses {
            text.push_str(&format!(", {pulses} pulses"));
        }
        if let Some(intervals) = event.intervals {
            text.push_str(&format!(" each {}", si_label(intervals.mean_s, "s", 3)));
        }
        if event.ending == Ending::StretchEnded {
            text.push_str(" (cut off)");
        }
        text
    }

    fn mark(&self, event: &Found, kind: usize, label: String) -> EventMark {
        let spec = &self.ears[event.ear].detectors[event.detector];
        let sweep_hz = event.sweep.map(|s| (s.from_hz, s.to_hz));
        EventMark {
            begin_s: event.begin_s,
            end_s: event.end_s,
            // A ridge has its own frequencies; where they hardly move the band of its detector stands.
            band_hz: sweep_hz
                .map(|(from, to)| (from.min(to).max(0.0), from.max(to)))
                .filter(|(low, high)| low < high)
                .or_else(|| band_hz(spec)),
            sweep_hz: sweep_hz.filter(|(from, to)| *from >= 0.0 && *to >= 0.0),
            kind,
            label,
        }
    }

    fn title(&self, file: usize, ear: usize) -> String {
        let name = self.files[file].path.file_name().unwrap_or_default();
        format!(
            "{}, channel {}: {}",
            name.to_string_lossy(),
            self.assigned[ear].channel.unwrap_or(1),
            self.assigned[ear].path
        )
    }

    /// The level of one detector with its threshold, its background and its events.
    pub(crate) fn draw_level(
        &self,
        file: usize,
        (ear, detector): (usize, usize),
        steps: &Steps,
        hearing: &Hearing,
    ) -> Result<Picture, PictureError> {
        let survey = &self.files[file];
        let rate_hz = f64::from(survey.info.rate_hz);
        let spec = &self.ears[ear].detectors[detector];
        // A likeness is a difference of levels.
        let (offset_db, unit) = if is_likeness(spec) {
            (0.0, "dB".to_owned())
        } else {
            let reference = lettered(self.ears[ear].level_reference(detector));
            (
                self.ears[ear].detector_reference_db(detector),
                format!("dB re {reference}"),
            )
        };
        let (step_s, level_db) = steps.level(rate_hz, offset_db);
        let beside = Beside::new(spec, steps, rate_hz, offset_db, &unit);
        let of_ear = hearing.events.iter().filter(|event| event.ear == ear);
        let (mut marks, mut numbers) = (Vec::new(), Vec::new());
        for (index, event) in of_ear.enumerate() {
            if event.detector == detector {
                marks.push(self.mark(event, 0, self.told(event)));
                numbers.push(index + 1);
            }
        }
        let mut remarks = Vec::new();
        if spec.stages.iter().any(|s| matches!(s, Stage::Ridge { .. })) {
            remarks.push(RIDGE.to_owned());
        }
        if numbers.last().is_some_and(|last| *last != numbers.len()) {
            let listed: Vec<String> = numbers
                .iter()
                .take(MOST_LISTED)
                .map(usize::to_string)
                .collect();
            let more = if numbers.len() > MOST_LISTED {
                " and more"
            } else {
                ""
            };
            remarks.push(format!(
                "Marks are numbered within this detector; among all events of the channel they are {}{more}.",
                listed.join(", ")
            ));
        }
        let picture = LevelPicture {
            title: &format!(
                "{}, detector.{}",
                self.title(file, ear),
                self.detector_id(ear, detector)
            ),
            name: &level_name(spec),
            quantity: quantity(spec),
            unit: &unit,
            level: LevelTrace {
                begin_s: steps.begin_s(rate_hz) + step_s / 2.0,
                step_s,
                level_db: &level_db,
            },
            lines: &beside.lines(),
            size: PictureSize::PAGE,
            start_utc: survey.start,
            time_range_s: (hearing.duration_s > 0.0).then_some((0.0, hearing.duration_s)),
            level_range_db: None,
            full_scale_s: full_scale(hearing, ear),
            marks: &marks,
            remarks: &remarks,
        };
        picture.draw()
    }
}

/// Begins and ends of what is at full scale in the channel of an ear.
fn full_scale(hearing: &Hearing, ear: usize) -> &[(f64, f64)] {
    hearing.full_scale_s.get(ear).map_or(&[][..], Vec::as_slice)
}
