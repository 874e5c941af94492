//! `--picture`: the sound of each channel with its events.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use detect::Ending;
use hearing::{Ear, Hearing, Step, Survey, band_hz, view};
use plan::Line;
use report::{
    AxisScale, ColourRange, EventMark, Inputs, OutputError, Overwrite, PictureError, PictureSize,
    Pooling, SpectrogramBuilder, SpectrogramPicture, SpectrogramSettings, SpectrumReference,
    write_atomically,
};

use super::ears::Assigned;
use super::error::{ListenError, RecordingFault};
use super::work::Lookings;

/// By recording, by ear: where its picture goes. Empty lists when no pictures are wanted.
pub(crate) type Pictures = Vec<Vec<PathBuf>>;

/// Where the pictures go: the named file, or `orca.ogg.ch1.png` in the named folder.
pub(crate) fn paths(
    wanted: Option<&Path>,
    looked: &Lookings,
    assigned: &[Assigned],
) -> Result<Pictures, ListenError> {
    let none = || looked.iter().map(|_| Vec::new()).collect();
    let Some(wanted) = wanted else {
        return Ok(none());
    };
    if wanted.extension().is_some_and(|e| e == "png") {
        let pictures = looked.len() * assigned.len();
        if pictures != 1 {
            return Err(ListenError::OnePicture {
                path: wanted.to_path_buf(),
                pictures,
            });
        }
        return Ok(vec![vec![wanted.to_path_buf()]]);
    }
    let mut taken = BTreeSet::new();
    looked
        .iter()
        .map(|looked| {
            let Ok(looked) = looked else {
                return Ok(Vec::new());
            };
            let name = looked.survey.path.file_name().unwrap_or_default();
            assigned
                .iter()
                .map(|a| {
                    let mut file = name.to_os_string();
                    file.push(format!(".ch{}.png", a.channel.unwrap_or(1)));
                    let path = wanted.join(file);
                    if taken.insert(path.clone()) {
                        Ok(path)
                    } else {
                        Err(ListenError::SamePicture { path })
                    }
                })
                .collect()
        })
        .collect()
}

/// Where the pictures of one stretch go.
pub(crate) struct Painter<'a> {
    /// By file of the stretch, by ear.
    pub(crate) paths: Pictures,
    pub(crate) overwrite: Overwrite,
    pub(crate) inputs: &'a Inputs,
}

/// What the pictures are of.
#[derive(Clone, Copy)]
pub(crate) struct Labels<'a> {
    pub(crate) line: &'a Line,
    pub(crate) assigned: &'a [Assigned],
    pub(crate) ears: &'a [Ear],
    pub(crate) files: &'a [Survey],
}

/// What came of the pictures of one file.
#[derive(Debug, Default)]
pub(crate) struct Painted {
    pub(crate) written: Vec<PathBuf>,
    pub(crate) notes: Vec<String>,
    pub(crate) faults: Vec<RecordingFault>,
}

/// Pictures under way: at most those of two files at a time.
pub(crate) struct Painting<'a> {
    painter: Painter<'a>,
    labels: Labels<'a>,
    /// By file, by ear.
    builders: Vec<Vec<Option<Result<SpectrogramBuilder, PictureError>>>>,
    painted: Vec<Painted>,
}

impl<'a> Painter<'a> {
    pub(crate) fn begin(self, labels: Labels<'a>) -> Painting<'a> {
        Painting {
            builders: self
                .paths
                .iter()
                .map(|ears| ears.iter().map(|_| None).collect())
                .collect(),
            painted: self.paths.iter().map(|_| Painted::default()).collect(),
            painter: self,
            labels,
        }
    }
}

impl Painting<'_> {
    pub(crate) fn step(&mut self, step: Step<'_>) {
        match step {
            Step::Samples {
                file,
                ear,
                missing,
                pressure_upa,
                ..
            } => self.take(file, ear, missing, pressure_upa),
            Step::Settled {
                file,
                hearing,
                open,
            } => self.settle(file, hearing, open),
            Step::Gap { .. } | Step::Done { .. } => {}
        }
    }

    /// What came of the pictures of a file, once it is settled.
    pub(crate) fn take_painted(&mut self, file: usize) -> Painted {
        std::mem::take(&mut self.painted[file])
    }

    fn take(&mut self, file: usize, ear: usize, missing: u64, pressure_upa: &[f32]) {
        let labels = self.labels;
        let Some(slot) = self.builders[file].get_mut(ear) else {
            return;
        };
        let builder = slot.get_or_insert_with(|| begin(&labels.files[file], &labels.ears[ear]));
        if let Ok(sound) = builder {
            let pushed = sound.gap(missing).and_then(|()| sound.push(pressure_upa));
            if let Err(error) = pushed {
                *builder = Err(error);
            }
        }
    }

    fn settle(&mut self, file: usize, hearing: &Hearing, open: usize) {
        for (ear, slot) in std::mem::take(&mut self.builders[file])
            .into_iter()
            .enumerate()
        {
            // Nothing was heard: why, the hearing tells.
            let Some(builder) = slot else { continue };
            let drawn = builder
                .and_then(|builder| self.labels.draw(file, ear, builder, hearing))
                .map_err(|source| RecordingFault::Picture {
                    path: self.labels.files[file].path.clone(),
                    source,
                });
            let path = &self.painter.paths[file][ear];
            let written = drawn.and_then(|png| Ok(write(path, &png, &self.painter)?));
            let painted = &mut self.painted[file];
            match written {
                Ok(()) => painted.written.push(path.clone()),
                Err(fault) => painted.faults.push(fault),
            }
        }
        if open > 0 && !self.painted[file].written.is_empty() {
            self.painted[file].notes.push(format!(
                "{open} events outlast the recording after it and are not on the picture"
            ));
        }
    }
}

fn begin(survey: &Survey, ear: &Ear) -> Result<SpectrogramBuilder, PictureError> {
    let rate_hz = f64::from(survey.info.rate_hz);
    let frames = survey.info.frames.unwrap_or(u64::MAX);
    let view = view(rate_hz, frames, &ear.detectors).ok_or(PictureError::TooShort {
        samples: frames,
        window_samples: 16,
    })?;
    SpectrogramBuilder::new(SpectrogramSettings {
        rate_hz,
        window_samples: view.window_samples,
        hop_samples: view.hop_samples,
        // The last row kept is the one that holds the top edge of the picture.
        keep_hz: (
            0.0,
            view.top_hz + 0.5 * rate_hz / view.window_samples as f64,
        ),
        pooling: Pooling::Greatest,
    })
}

/// A reference as it is lettered on a picture: with µ and ², which plain text here writes as u and 2.
fn lettered(reference: &str) -> String {
    reference
        .replace("uPa", "µPa")
        .replace("µPa2", "µPa²")
        .replace(")2", ")²")
}

fn write(path: &Path, png: &[u8], painter: &Painter<'_>) -> Result<(), OutputError> {
    if let Some(folder) = path.parent().filter(|f| !f.as_os_str().is_empty()) {
        std::fs::create_dir_all(folder).map_err(|source| OutputError::Io {
            action: "create the folder",
            path: folder.to_path_buf(),
            source,
        })?;
    }
    write_atomically(path, png, painter.overwrite, painter.inputs)
}

impl Labels<'_> {
    fn draw(
        &self,
        file: usize,
        ear: usize,
        builder: SpectrogramBuilder,
        hearing: &Hearing,
    ) -> Result<Vec<u8>, PictureError> {
        let survey = &self.files[file];
        let detectors = &self.ears[ear].detectors;
        let rate_hz = f64::from(survey.info.rate_hz);
        let top_hz = view(rate_hz, u64::MAX, detectors).map_or(rate_hz, |view| view.top_hz);
        let marks: Vec<EventMark> = hearing
            .events
            .iter()
            .filter(|event| event.ear == ear)
            .map(|event| EventMark {
                begin_s: event.begin_s,
                end_s: event.end_s,
                band_hz: band_hz(&detectors[event.detector]),
                kind: event.detector,
                label: format!(
                    "{}  {:.1} dB re {}{}",
                    self.line.detectors[self.assigned[ear].detectors[event.detector].0].id,
                    event.peak_level_db,
                    lettered(self.ears[ear].level_reference(event.detector)),
                    match event.ending {
                        Ending::Quiet => "",
                        Ending::StretchEnded => " (cut off)",
                    }
                ),
            })
            .collect();
        let own = &self.assigned[ear].detectors;
        let kinds: Vec<&str> = own
            .iter()
            .map(|ix| self.line.detectors[ix.0].id.as_str())
            .collect();
        let remarks: Vec<String> = hearing
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
        let full_scale_s = hearing.full_scale_s.get(ear).map_or(&[][..], Vec::as_slice);
        let name = survey.path.file_name().unwrap_or_default();
        let unit = format!("dB re {}", lettered(self.ears[ear].reference.density()));
        let picture = SpectrogramPicture {
            title: &format!(
                "{}, channel {}: {}",
                name.to_string_lossy(),
                self.assigned[ear].channel.unwrap_or(1),
                self.assigned[ear].path
            ),
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
            full_scale_s,
            remarks: &remarks,
        };
        Ok(picture.draw()?.png)
    }
}
