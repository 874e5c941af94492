//! `--picture`: the sound of each channel with its events.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use hearing::{Ear, Hearing, Step, Survey, view};
use plan::Line;
use report::{
    OutputError, Picture, PictureError, Pooling, SpectrogramBuilder, SpectrogramSettings,
};

pub(crate) use super::drawn::Labels;
use super::ears::Assigned;
use super::error::{ListenError, RecordingFault};
use super::levels::Track;
use super::work::Lookings;
use crate::outputs::{Outputs, make_folder};

/// By recording, by ear: where its pictures go. Empty lists when no pictures are wanted.
pub(crate) type Pictures = Vec<Vec<EarPictures>>;

/// Where the pictures of one ear in one recording go; the ends of the names, png or svg, say in which form.
#[derive(Clone, Debug, Default)]
pub(crate) struct EarPictures {
    /// Of the sound.
    sound: Vec<PathBuf>,
    /// Of the level of each of its detectors; empty when they are not wanted.
    levels: Vec<Vec<PathBuf>>,
}

/// All the files that are to be written.
pub(crate) fn files(pictures: &Pictures) -> impl Iterator<Item = &PathBuf> {
    let ears = pictures.iter().flatten();
    ears.flat_map(|ear| ear.sound.iter().chain(ear.levels.iter().flatten()))
}

/// The forms of a picture, by the end of its name.
const FORMS: [&str; 2] = ["png", "svg"];

/// Where the pictures go: the named file, or `orca.ogg.ch1.png`, `orca.ogg.ch1.level-call.png` and the same as .svg in the
/// named folder.
pub(crate) fn paths(
    wanted: Option<&Path>,
    looked: &Lookings,
    line: &Line,
    assigned: &[Assigned],
) -> Result<Pictures, ListenError> {
    let none = || looked.iter().map(|_| Vec::new()).collect();
    let Some(wanted) = wanted else {
        return Ok(none());
    };
    if wanted
        .extension()
        .is_some_and(|e| FORMS.iter().any(|form| e == *form))
    {
        let pictures = looked.len() * assigned.len();
        if pictures != 1 {
            return Err(ListenError::OnePicture {
                path: wanted.to_path_buf(),
                pictures,
            });
        }
        return Ok(vec![vec![EarPictures {
            sound: vec![wanted.to_path_buf()],
            levels: Vec::new(),
        }]]);
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
                    let mut stem = name.to_os_string();
                    stem.push(format!(".ch{}", a.channel.unwrap_or(1)));
                    let forms = |more: &str| {
                        FORMS.map(|form| {
                            let mut file = stem.clone();
                            file.push(format!("{more}.{form}"));
                            wanted.join(file)
                        })
                    };
                    let ids = a.detectors.iter().map(|ix| &line.detectors[ix.0].id);
                    let own = EarPictures {
                        sound: forms("").to_vec(),
                        levels: ids
                            .map(|id| forms(&format!(".level-{id}")).to_vec())
                            .collect(),
                    };
                    if taken.insert(own.sound[0].clone()) {
                        Ok(own)
                    } else {
                        let path = own.sound[0].clone();
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
    pub(crate) outputs: &'a Outputs,
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
    /// By ear, by detector: its level, where it is wanted.
    tracks: Vec<Vec<Track>>,
    /// Frames that each ear has been given of the file at hand.
    given: Vec<(usize, u64)>,
    painted: Vec<Painted>,
}

impl<'a> Painter<'a> {
    /// Levels to be followed: of every detector, if any picture of a level is wanted.
    fn tracks(&self, ears: &[Ear]) -> Vec<Vec<Track>> {
        let wanted = |ear: usize| {
            let mut files = self.paths.iter();
            files.any(|of_file| of_file.get(ear).is_some_and(|own| !own.levels.is_empty()))
        };
        ears.iter()
            .enumerate()
            .map(|(ear, own)| {
                if !wanted(ear) {
                    return Vec::new();
                }
                // A detector that cannot be is told by the hearing.
                own.detectors
                    .iter()
                    .map_while(|d| Track::new(d).ok())
                    .collect()
            })
            .collect()
    }

    pub(crate) fn begin(self, labels: Labels<'a>) -> Painting<'a> {
        Painting {
            builders: self
                .paths
                .iter()
                .map(|ears| ears.iter().map(|_| None).collect())
                .collect(),
            painted: self.paths.iter().map(|_| Painted::default()).collect(),
            tracks: self.tracks(labels.ears),
            given: vec![(0, 0); labels.ears.len()],
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
        let (before, frames) = self.given[ear];
        let whole = labels.files[before].info.frames;
        let follows = file == before || (file == before + 1 && whole.is_none_or(|w| w == frames));
        for track in &mut self.tracks[ear] {
            track.push(file, missing, follows, pressure_upa);
        }
        let had = if file == before { frames } else { 0 };
        self.given[ear] = (file, had + missing + pressure_upa.len() as u64);
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

    /// Writes a picture in the forms that are wanted, and keeps what came of it.
    fn keep(&mut self, file: usize, paths: &[PathBuf], drawn: Result<Picture, PictureError>) {
        let painted = &mut self.painted[file];
        let picture = match drawn {
            Ok(picture) => picture,
            Err(source) => {
                painted.faults.push(RecordingFault::Picture {
                    path: self.labels.files[file].path.clone(),
                    source,
                });
                return;
            }
        };
        for path in paths {
            let svg = path.extension().is_some_and(|e| e == "svg");
            let bytes = if svg {
                picture.svg.as_bytes()
            } else {
                &picture.png
            };
            match write(path, bytes, &self.painter) {
                Ok(()) => painted.written.push(path.clone()),
                Err(fault) => painted.faults.push(fault.into()),
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
            let drawn = builder.and_then(|builder| self.labels.draw(file, ear, builder, hearing));
            let sound = self.painter.paths[file][ear].sound.clone();
            self.keep(file, &sound, drawn);
            let levels = self.painter.paths[file][ear].levels.clone();
            for (detector, paths) in levels.iter().enumerate() {
                let steps = self.tracks[ear]
                    .get_mut(detector)
                    .and_then(|t| t.take(file));
                let Some(steps) = steps else { continue };
                if !steps.any() {
                    let id = self.labels.detector_id(ear, detector);
                    self.painted[file].notes.push(format!(
                        "there is no level of detector.{id} to draw: nothing but silence, or too short a time"
                    ));
                    continue;
                }
                let drawn = self
                    .labels
                    .draw_level(file, (ear, detector), &steps, hearing);
                self.keep(file, paths, drawn);
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

fn write(path: &Path, png: &[u8], painter: &Painter<'_>) -> Result<(), OutputError> {
    if let Some(folder) = path.parent().filter(|f| !f.as_os_str().is_empty()) {
        make_folder(folder)?;
    }
    painter.outputs.write(path, png)
}
