//! What was measured: what is kept of it to the end, and its text.

use std::io::{self, Write};
use std::num::NonZeroU32;
use std::path::PathBuf;

use hearing::{Hearing, Period, PeriodBegin, Reference, Survey};
use signal::{Decidecade, level_db, peak_level_db};

use super::error::MeasureFault;
use super::head::reference_upa;
use super::inputs::Gap;
use super::json;
use super::periods::Periods;
use crate::listen::{Assigned, Blank, RecordingFault, blank, odd};

/// All that is told at the end.
#[derive(Debug)]
pub(super) struct Told {
    pub(super) every: NonZeroU32,
    pub(super) recordings: Vec<PathBuf>,
    pub(super) surveys: Vec<Option<Survey>>,
    pub(super) gaps: Vec<Gap>,
    pub(super) outcomes: Vec<Outcome>,
    pub(super) sensors: Vec<Sensor>,
    /// Broad figures of each period, where a document of them is to be written.
    pub(super) periods: Option<Periods>,
    /// Whether the heading of the rows has been written, and the recording named last.
    headed: bool,
    named: Option<usize>,
}

/// What came of one recording.
#[derive(Debug, Default)]
pub(super) struct Outcome {
    pub(super) heard_s: Option<f64>,
    pub(super) warnings: Vec<String>,
    pub(super) errors: Vec<String>,
}

/// What came of one sensor.
#[derive(Debug)]
pub(super) struct Sensor {
    pub(super) path: String,
    pub(super) channel: u16,
    pub(super) reference: Option<Reference>,
    pub(super) whole: u64,
    pub(super) partly: u64,
    pub(super) without_figures: u64,
    /// Periods in which every sample that was averaged is zero; they are in no level.
    pub(super) silent: u64,
    /// Levels of whole periods, dB.
    pub(super) levels_db: Vec<f64>,
    pub(super) averaged_s: f64,
    pub(super) clipped_samples: u64,
    pub(super) exposure_upa2_s: f64,
    pub(super) highest_peak_upa: f64,
    pub(super) bands: Vec<(Decidecade, f64, f64)>,
    /// The loudest that each band was in a period.
    pub(super) loudest: Vec<Loudest>,
}

/// The highest mean square of a band in a period, whole or in part, uPa^2.
#[derive(Debug)]
pub(super) struct Loudest {
    pub(super) band: Decidecade,
    pub(super) highest_upa2: Option<f64>,
}

impl Told {
    pub(super) fn new(
        every: NonZeroU32,
        recordings: Vec<PathBuf>,
        assigned: &[Assigned],
        periods: Option<Periods>,
    ) -> Self {
        Self {
            every,
            outcomes: recordings.iter().map(|_| Outcome::default()).collect(),
            recordings,
            surveys: Vec::new(),
            gaps: Vec::new(),
            sensors: assigned
                .iter()
                .map(|assigned| Sensor {
                    path: assigned.path.clone(),
                    channel: assigned.channel.unwrap_or(1),
                    reference: None,
                    whole: 0,
                    partly: 0,
                    without_figures: 0,
                    silent: 0,
                    levels_db: Vec::new(),
                    averaged_s: 0.0,
                    clipped_samples: 0,
                    exposure_upa2_s: 0.0,
                    highest_peak_upa: 0.0,
                    bands: Vec::new(),
                    loudest: Vec::new(),
                })
                .collect(),
            periods,
            headed: false,
            named: None,
        }
    }

    /// A recording that failed.
    pub(super) fn fail(&mut self, place: usize, fault: &MeasureFault) {
        self.outcomes[place].errors.push(fault.to_string());
    }

    /// Recordings that failed.
    pub(super) fn failed(&self) -> usize {
        let failed = self.outcomes.iter().filter(|o| !o.errors.is_empty());
        failed.count()
    }

    /// Sensors of which not one second could be averaged over though something was heard of them, with why.
    pub(super) fn without_any_figure(&self) -> Vec<MeasureFault> {
        let none = self
            .sensors
            .iter()
            .filter(|s| s.averaged_s == 0.0 && s.silent == 0 && s.without_figures > 0);
        none.map(|s| MeasureFault::NoFigure {
            sensor: s.path.clone(),
            channel: s.channel,
            clipped_samples: s.clipped_samples,
        })
        .collect()
    }

    /// Sensors that were asked for.
    pub(super) fn sensors(&self) -> usize {
        self.sensors.len()
    }

    /// A recording has been heard: tells what is odd about it, and gives what is wrong with it.
    pub(super) fn heard(
        &mut self,
        place: usize,
        hearing: Hearing,
        stderr: &mut dyn Write,
    ) -> io::Result<Vec<MeasureFault>> {
        let path = self.recordings[place].clone();
        let survey = self.surveys.get(place).and_then(Option::as_ref);
        let start_given = survey.is_some_and(|survey| survey.start.is_some());
        let mut warnings = odd(&hearing, start_given);
        match hearing.full_scale_samples {
            0 => {}
            n => warnings.push(format!(
                "{n} at full scale: the seconds that hold them are in no figure",
                n = if n == 1 {
                    "1 sample".to_owned()
                } else {
                    format!("{n} samples")
                }
            )),
        }
        let mut faults = Vec::new();
        for (ear, sensor) in self.sensors.iter().enumerate() {
            let (path, channel) = (path.clone(), sensor.channel);
            match blank(&hearing, ear) {
                None => {}
                Some(Blank::Silent) => faults.push(MeasureFault::Silence { path, channel }),
                Some(Blank::Clipped) => faults.push(MeasureFault::AllClipped { path, channel }),
            }
        }
        for warning in &warnings {
            writeln!(stderr, "warning: {}: {warning}", path.display())?;
        }
        let heard_s = hearing.duration_s;
        faults.extend(
            hearing
                .failed
                .map(|error| MeasureFault::from(RecordingFault::from(error))),
        );
        let outcome = &mut self.outcomes[place];
        outcome.heard_s = Some(heard_s);
        outcome.warnings = warnings;
        outcome
            .errors
            .extend(faults.iter().map(ToString::to_string));
        Ok(faults)
    }

    /// Takes a period into what is told at the end.
    ///
    /// # Errors
    /// Those of keeping it for a document.
    pub(super) fn take(&mut self, period: &Period, reference: Reference) -> io::Result<()> {
        let upa = reference_upa(reference);
        let sensor = &mut self.sensors[period.ear];
        sensor.reference = Some(reference);
        sensor.clipped_samples += period.clipped_samples;
        match &period.broad {
            None => sensor.without_figures += 1,
            Some(broad) if broad.peak_upa == 0.0 => sensor.silent += 1,
            Some(broad) => {
                if period.is_whole() {
                    sensor.whole += 1;
                    sensor.levels_db.push(level_db(broad.mean_square_upa2, upa));
                } else {
                    sensor.partly += 1;
                }
                sensor.averaged_s += period.averaged_s;
                sensor.exposure_upa2_s += broad.exposure_upa2_s;
                sensor.highest_peak_upa = sensor.highest_peak_upa.max(broad.peak_upa);
            }
        }
        for (at, band) in period.bands.iter().enumerate() {
            if sensor.bands.len() == at {
                sensor.bands.push((*band, 0.0, 0.0));
                sensor.loudest.push(Loudest {
                    band: *band,
                    highest_upa2: None,
                });
            }
            let silent = period.broad.as_ref().is_some_and(|b| b.peak_upa == 0.0);
            if let Some(square) = period.band_mean_square_upa2[at].filter(|_| !silent) {
                sensor.bands[at].1 += square * period.averaged_s;
                sensor.bands[at].2 += period.averaged_s;
                let highest = &mut sensor.loudest[at].highest_upa2;
                *highest = Some(highest.map_or(square, |h| h.max(square)));
            }
        }
        match &mut self.periods {
            None => Ok(()),
            Some(periods) => periods.push(&json::period(period, sensor, &self.recordings)),
        }
    }
}

/// Writes a period as a row of text.
pub(super) fn row(
    told: &mut Told,
    period: &Period,
    reference: Reference,
    to: &mut dyn Write,
) -> io::Result<()> {
    if !told.headed {
        told.headed = true;
        writeln!(
            to,
            "Levels every {} s, dB re {} (exposure re {})",
            told.every,
            reference.pressure(),
            reference.exposure()
        )?;
        writeln!(
            to,
            "  {:<20} {:>7} {:>9} {:>7} {:>8} {:>7} {:>9} {:>8}",
            "begin", "channel", "heard s", "rms", "exposure", "peak", "peak-peak", "kurtosis"
        )?;
    }
    let begin = match period.begin {
        PeriodBegin::Utc(at) => at.to_string(),
        PeriodBegin::Recording(second) => {
            if told.named != Some(period.place) {
                told.named = Some(period.place);
                let name = told.recordings[period.place].display();
                writeln!(to, "  {name}, start unknown:")?;
            }
            format!("{second} s")
        }
    };
    let upa = reference_upa(reference);
    let channel = told.sensors[period.ear].channel;
    write!(to, "  {begin:<20} {channel:>7} {:>9.3}", period.listened_s)?;
    match &period.broad {
        None => write!(to, "  no figure")?,
        Some(b) if b.peak_upa == 0.0 => write!(to, "  exact silence")?,
        Some(b) => write!(
            to,
            " {:>7.1} {:>8.1} {:>7.1} {:>9.1} {:>8}",
            level_db(b.mean_square_upa2, upa),
            level_db(b.exposure_upa2_s, upa),
            peak_level_db(b.peak_upa, upa),
            peak_level_db(b.peak_to_peak_upa, upa),
            b.kurtosis
                .map_or_else(|| "-".to_owned(), |k| format!("{k:.2}"))
        )?,
    }
    if period.parts > 1 {
        write!(to, "  in {} parts", period.parts)?;
    }
    if period.clipped_samples > 0 {
        let n = period.clipped_samples;
        write!(
            to,
            "  {n} at full scale, averaged over {:.3} s",
            period.averaged_s
        )?;
    }
    writeln!(to)
}

/// Writes what came of it all, as text.
pub(super) fn summary(told: &Told, to: &mut dyn Write) -> io::Result<()> {
    for sensor in &told.sensors {
        let Some(reference) = sensor.reference else {
            continue;
        };
        let upa = reference_upa(reference);
        writeln!(
            to,
            "{}, channel {}: {} of {} s whole, {} in part, {} without figures{}",
            sensor.path,
            sensor.channel,
            counted(sensor.whole, "period"),
            told.every,
            sensor.partly,
            sensor.without_figures,
            match sensor.silent {
                0 => String::new(),
                n => format!(", {n} of exact silence"),
            }
        )?;
        if sensor.averaged_s == 0.0 {
            continue;
        }
        writeln!(
            to,
            "  rms {:.1} dB re {} over the {:.3} s that were averaged, highest peak {:.1} dB",
            level_db(sensor.exposure_upa2_s / sensor.averaged_s, upa),
            reference.pressure(),
            sensor.averaged_s,
            peak_level_db(sensor.highest_peak_upa, upa)
        )?;
        if let Some([lowest, middle, highest]) = spread(&sensor.levels_db) {
            writeln!(
                to,
                "  whole periods: rms {lowest:.1} dB at least, {middle:.1} dB in the middle, {highest:.1} dB at most"
            )?;
        }
        if sensor.clipped_samples > 0 {
            writeln!(
                to,
                "  {} at full scale: the seconds that hold them are in no figure, and the sound was louder there",
                counted(sensor.clipped_samples, "sample")
            )?;
        }
    }
    if let Some(longest) = told
        .gaps
        .iter()
        .max_by(|a, b| a.length_s.total_cmp(&b.length_s))
    {
        writeln!(
            to,
            "{} between recordings, not filled; the longest is {:.3} s from {}",
            counted(told.gaps.len() as u64, "gap"),
            longest.length_s,
            longest.from
        )?;
    }
    match told.failed() {
        0 => Ok(()),
        n => writeln!(
            to,
            "{n} of {} failed",
            counted(told.recordings.len() as u64, "recording")
        ),
    }
}

/// Lowest, middle (by the nearest rank) and highest.
pub(super) fn spread(levels_db: &[f64]) -> Option<[f64; 3]> {
    let mut all = levels_db.to_vec();
    all.sort_by(f64::total_cmp);
    Some([*all.first()?, all[all.len().div_ceil(2) - 1], *all.last()?])
}

fn counted(n: u64, what: &str) -> String {
    if n == 1 {
        format!("1 {what}")
    } else {
        format!("{n} {what}s")
    }
}
