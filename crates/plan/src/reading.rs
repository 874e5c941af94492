//! Reading a whole plan or cue sheet: text, included catalogues, fields, line; all mistakes at once.

use std::io;
use std::path::{Path, PathBuf};

use crate::canonical;
use crate::catalogue::Catalogue;
use crate::cue_sheet::CueSheet;
use crate::folder::{stays_inside, tidy};
use crate::line::{Line, That, WeatherText};
use crate::mistake::{Code, Mistake, Mistakes};
use crate::node::{self, Table, Value};
use crate::read::{Fields, Reader};
use crate::resolve::{self, Declared};
use crate::site::{FileId, Site, Sources};
use crate::spoilt::{SpoiltParts, spoilt_parts};
use crate::spreads::spreads;
use crate::tables::{CATALOGUE, CUE_SHEET, PLAN};

/// Largest file that is read, bytes.
pub const LARGEST_FILE: usize = 2 * 1024 * 1024;
/// Largest weather file that is read, bytes: some hundred years of hours.
pub const LARGEST_WEATHER: usize = 64 * 1024 * 1024;
/// Largest recording that a stage is held against, bytes.
pub const LARGEST_TEMPLATE: usize = 16 * 1024 * 1024;
/// Largest learned model of a stage, bytes.
pub const LARGEST_MODEL: usize = 32 * 1024 * 1024;
/// Most files that one plan may include.
const MOST_FILES: usize = 64;

/// How files are fetched; lets tests and other hosts stand in for the disk.
pub type Fetch<'a> = dyn Fn(&Path) -> io::Result<Vec<u8>> + 'a;

/// Fetches from the disk, at most a little more than [`LARGEST_WEATHER`] bytes.
///
/// # Errors
/// Those of the file system.
pub fn from_disk(path: &Path) -> io::Result<Vec<u8>> {
    use std::io::Read as _;
    let mut bytes = Vec::new();
    let most = LARGEST_WEATHER as u64 + 1;
    std::fs::File::open(path)?
        .take(most)
        .read_to_end(&mut bytes)?;
    Ok(bytes)
}

/// Fetches a plan and what it includes from the disk. The plan itself may be a link to anywhere; what it includes may be a
/// link too, but not one that leads out of the plan's folder.
pub fn from_folder_of(plan: &Path) -> impl Fn(&Path) -> io::Result<Vec<u8>> + '_ {
    move |path| {
        if path != plan {
            let folder = match plan.parent() {
                Some(folder) if !folder.as_os_str().is_empty() => folder,
                _ => Path::new("."),
            };
            if !path.canonicalize()?.starts_with(folder.canonicalize()?) {
                return Err(io::Error::new(
                    io::ErrorKind::PermissionDenied,
                    "it is a link that leads out of the plan's folder; copy the file into the folder",
                ));
            }
        }
        from_disk(path)
    }
}

/// What came of reading a plan.
#[derive(Debug)]
pub struct Reading {
    /// The texts.
    pub sources: Sources,
    /// Mistakes and warnings, errors last, each by its place.
    pub mistakes: Vec<Mistake>,
    /// The line, without the things that have mistakes; `None` when too little is right to make one.
    pub line: Option<Line>,
    /// Name of the deployment; `None` when it cannot be read.
    pub name: Option<String>,
    /// Digest of the source bytes (line ends normalised), SHA-256 in hexadecimal.
    pub source_digest: String,
    /// Digest of the canonical content, whatever its layout, SHA-256 in hexadecimal.
    pub digest: String,
    /// Full paths of the values that are written with a spread (`±`), sorted.
    pub spreads: Vec<String>,
    /// What the mistakes reach.
    pub spoilt: SpoiltParts,
    catalogue: Catalogue,
    declared: Declared,
}

impl Reading {
    /// Whether there is any error (warnings do not count).
    #[must_use]
    pub fn has_errors(&self) -> bool {
        self.mistakes.iter().any(Mistake::is_error)
    }
}

/// What came of reading a cue sheet.
#[derive(Debug)]
pub struct CueReading {
    /// The texts.
    pub sources: Sources,
    /// Mistakes and warnings, errors last, each by its place.
    pub mistakes: Vec<Mistake>,
    /// The cue sheet; `None` when it has errors, and when the plan gave no line.
    pub cues: Option<CueSheet>,
    /// Digest of the canonical content, SHA-256 in hexadecimal.
    pub digest: String,
}

/// Reads the plan at a path and what it includes.
#[must_use]
pub fn read(path: &Path, fetch: &Fetch<'_>) -> Reading {
    let mut sources = Sources::default();
    let mut mistakes = Mistakes::default();
    let mut catalogue = Catalogue::default();
    let (file, readable) = load(path, &mut sources, &mut mistakes, fetch, None);
    let root = node::parse(&sources.get(file).text.clone(), file, &PLAN, &mut mistakes);
    let table = match &root.value {
        Value::Table(table) => table.clone(),
        _ => Table::new(),
    };
    catalogue.take(&table, &mut mistakes);
    let folder = path.parent().unwrap_or(Path::new("")).to_path_buf();
    let mut trail = vec![tidy(path)];
    include(
        &table,
        &folder,
        &folder,
        &mut trail,
        &mut sources,
        &mut catalogue,
        &mut mistakes,
        fetch,
    );
    let fields = Reader::new(&catalogue, &mut mistakes).file(&PLAN, &root);
    // After the plan itself, so that a mistake in a part that is used is told with its use.
    check_parts(&catalogue, &mut mistakes);
    let (mut line, declared) = resolve::line(&fields, &catalogue, &mut mistakes);
    let weather = weather(&fields, &folder, &mut sources, &mut mistakes, fetch);
    if let Some(line) = &mut line {
        line.sea.weather.clone_from(&weather);
    }
    if let Some(line) = &mut line {
        templates(line, &folder, &mut mistakes, fetch);
    }
    cue_sheets(line.as_ref(), &folder, &mut mistakes, fetch);
    if !readable {
        mistakes.keep_only_first();
    }
    let mistakes = mistakes.into_sorted();
    Reading {
        name: fields
            .table("deployment")
            .and_then(|(f, _)| Some(f.text("name")?.0.clone())),
        source_digest: canonical::source_digest(&sources),
        digest: canonical::digest(
            "plan/1",
            &fields,
            &catalogue,
            weather.as_ref().map(|w| w.text.as_str()),
            line.as_ref(),
        ),
        spreads: spreads(&fields, &catalogue),
        spoilt: spoilt_parts(
            &table,
            &fields,
            &declared,
            &catalogue,
            line.as_ref(),
            &mistakes,
        ),
        mistakes,
        sources,
        line,
        catalogue,
        declared,
    }
}

/// Reads the cue sheet at a path against a plan that has been read.
#[must_use]
pub fn read_cues(path: &Path, plan: &Reading, fetch: &Fetch<'_>) -> CueReading {
    let mut sources = Sources::default();
    let mut mistakes = Mistakes::default();
    let (file, readable) = load(path, &mut sources, &mut mistakes, fetch, None);
    let root = node::parse(
        &sources.get(file).text.clone(),
        file,
        &CUE_SHEET,
        &mut mistakes,
    );
    let fields = Reader::new(&plan.catalogue, &mut mistakes).file(&CUE_SHEET, &root);
    let folder = path.parent().unwrap_or(Path::new(""));
    let cues = plan.line.as_ref().and_then(|line| {
        resolve::cue_sheet(
            &fields,
            line,
            &plan.declared,
            folder,
            &plan.catalogue,
            &mut mistakes,
        )
    });
    let digest = canonical::digest("cues/1", &fields, &plan.catalogue, None, None);
    if !readable {
        mistakes.keep_only_first();
    }
    let mistakes = mistakes.into_sorted();
    let cues = cues.filter(|_| !mistakes.iter().any(Mistake::is_error));
    CueReading {
        sources,
        mistakes,
        cues,
        digest,
    }
}

/// The weather file that a site names, if it can be read.
fn weather(
    fields: &Fields,
    folder: &Path,
    sources: &mut Sources,
    mistakes: &mut Mistakes,
    fetch: &Fetch<'_>,
) -> Option<WeatherText> {
    let (site, _) = fields.table("site")?;
    let (path, at) = site.text("weather")?;
    if !stays_inside(Path::new(path)) {
        mistakes.push(
            Mistake::error(
                Code::OutsideFolder,
                at,
                "weather files stay under the plan's folder",
            )
            .label("leads out of it")
            .part("site"),
        );
        return None;
    }
    let mut own = Mistakes::default();
    let path_of = folder.join(path);
    let (file, readable) = load_up_to(
        LARGEST_WEATHER,
        &path_of,
        sources,
        &mut own,
        fetch,
        Some(at),
    );
    for mistake in own.into_sorted() {
        mistakes.push(mistake.part("site"));
    }
    readable.then(|| WeatherText {
        path: path.clone(),
        text: sources.get(file).text.clone(),
        at,
    })
}

/// Fetches the recordings that stages of detectors and calls name, and the learned models.
fn templates(line: &mut Line, folder: &Path, mistakes: &mut Mistakes, fetch: &Fetch<'_>) {
    const OF_TEMPLATE: (usize, &str) = (
        LARGEST_TEMPLATE,
        "a template holds one call of some seconds; cut it out of the recording",
    );
    const OF_MODEL: (usize, &str) = (
        LARGEST_MODEL,
        "a detector rests on a small model; is this the right file?",
    );
    let of_detectors = line.detectors.iter_mut().flat_map(|detector| {
        let part = format!("detector.{}", detector.id);
        let stages = detector.stages.iter_mut();
        stages.filter_map(move |stage| {
            let largest = if stage.is_learned() {
                OF_MODEL
            } else {
                OF_TEMPLATE
            };
            Some((stage.template_mut()?, part.clone(), largest))
        })
    });
    let of_calls = line.calls.iter_mut().filter_map(|call| {
        let part = format!("call.{}", call.id);
        call.recording
            .as_mut()
            .map(|template| (template, part, OF_TEMPLATE))
    });
    for (template, part, (largest, too_large)) in of_detectors.chain(of_calls) {
        let path = folder.join(&template.path);
        let wrong = match fetch(&path) {
            Ok(bytes) if bytes.len() > largest => (
                Code::TooLarge,
                format!(
                    "{} is larger than {} MiB",
                    path.display(),
                    largest / 1024 / 1024
                ),
                too_large,
            ),
            Ok(bytes) => {
                template.bytes = Some(bytes.into());
                continue;
            }
            Err(error) => (
                Code::Unreadable,
                format!("cannot read {}: {error}", path.display()),
                "check the name and that it may be read",
            ),
        };
        let (code, message, help) = wrong;
        mistakes.push(
            Mistake::error(code, template.at, message)
                .label("this file")
                .help(help)
                .part(part),
        );
    }
}

/// Warns of cue sheets that requirements name and that are not there: they may still be written.
fn cue_sheets(line: Option<&Line>, folder: &Path, mistakes: &mut Mistakes, fetch: &Fetch<'_>) {
    for requirement in line.iter().flat_map(|l| &l.requirements) {
        let That::Rehearsed { cues, at } = &requirement.that else {
            continue;
        };
        let Err(error) = fetch(&folder.join(cues)) else {
            continue;
        };
        let message = match error.kind() {
            io::ErrorKind::NotFound => format!("there is no cue sheet `{cues}` yet"),
            _ => format!("the cue sheet `{cues}` cannot be read: {error}"),
        };
        mistakes.push(
            Mistake::warning(Code::Unreadable, *at, message)
                .label("this file")
                .help(
                    "write it, or mend its name; until it is rehearsed this requirement is unknown",
                )
                .part(format!("requirement.{}", requirement.id)),
        );
    }
}

/// Fetches a text, and tells whether it could be had. What is wrong with the file as a whole is told, and an empty text
/// stands in for it.
fn load(
    path: &Path,
    sources: &mut Sources,
    mistakes: &mut Mistakes,
    fetch: &Fetch<'_>,
    asked: Option<Site>,
) -> (FileId, bool) {
    load_up_to(LARGEST_FILE, path, sources, mistakes, fetch, asked)
}

/// As [`load`], with the largest size that is read.
fn load_up_to(
    largest: usize,
    path: &Path,
    sources: &mut Sources,
    mistakes: &mut Mistakes,
    fetch: &Fetch<'_>,
    asked: Option<Site>,
) -> (FileId, bool) {
    const NAME: &str = "check the name and that it may be read";
    let path_shown = path.display();
    let read = match fetch(path) {
        Err(error) => Err((
            Code::Unreadable,
            format!("cannot read {path_shown}: {error}"),
            NAME,
        )),
        Ok(bytes) if bytes.len() > largest => Err((
            Code::TooLarge,
            format!("{path_shown} is larger than {} MiB", largest / 1024 / 1024),
            if largest == LARGEST_FILE {
                "a plan is a text of some pages; is this the right file?"
            } else {
                "a year of hourly weather is some hundred thousand bytes; is this the right file?"
            },
        )),
        Ok(bytes) if bytes.is_empty() => Err((
            Code::Syntax,
            "the file is empty".to_owned(),
            "`soundline new` writes a first plan and a first cue sheet",
        )),
        // Before all else: with a character beyond ASCII it is no UTF-8 either.
        Ok(bytes) if is_utf_16(&bytes) => Err((
            Code::Syntax,
            "this is UTF-16 text, not UTF-8".to_owned(),
            "save it as UTF-8 (editors call this the encoding)",
        )),
        Ok(bytes) => match String::from_utf8(bytes) {
            Ok(text) => Ok(text),
            Err(error) => Err((
                Code::Unreadable,
                format!(
                    "{path_shown} is not UTF-8 text (byte {})",
                    error.utf8_error().valid_up_to()
                ),
                NAME,
            )),
        },
    };
    let (text, wrong) = match read {
        Ok(text) => (text, None),
        Err(wrong) => (String::new(), Some(wrong)),
    };
    let file = sources.add(path, text);
    let readable = wrong.is_none();
    if let Some((code, message, help)) = wrong {
        let site = asked.unwrap_or(Site::new(file, 0..0));
        mistakes.push(
            Mistake::error(code, site, message)
                .label("here")
                .part(if asked.is_some() { "include" } else { "file" })
                .help(help),
        );
    }
    (file, readable)
}

/// Whether a text is one of two bytes a character, most of them from ASCII, so that every other byte is zero.
fn is_utf_16(bytes: &[u8]) -> bool {
    let zeros = bytes.iter().filter(|b| **b == 0).count();
    bytes.len() > 2 && zeros > bytes.len() / 3
}

#[expect(
    clippy::too_many_arguments,
    reason = "one recursive walk with all its state"
)]
fn include(
    table: &Table,
    folder: &Path,
    root: &Path,
    trail: &mut Vec<PathBuf>,
    sources: &mut Sources,
    catalogue: &mut Catalogue,
    mistakes: &mut Mistakes,
    fetch: &Fetch<'_>,
) {
    let Some(entry) = table.get("include") else {
        return;
    };
    let Value::List(list) = &entry.node.value else {
        return;
    };
    for item in list {
        let Value::Text(name) = &item.value else {
            continue;
        };
        let path = tidy(&folder.join(name));
        let below = tidy(root);
        let inside = path.strip_prefix(&below).is_ok_and(stays_inside);
        let error = |code, message: String| {
            Mistake::error(code, item.site, message)
                .label("included here")
                .part("include")
        };
        if Path::new(name).is_absolute() || !inside {
            catalogue.lacks_a_file();
            mistakes.push(
                error(
                    Code::OutsideFolder,
                    format!("`{name}` leads out of the plan's folder"),
                )
                .help("copy the catalogue into the plan's folder"),
            );
            continue;
        }
        if trail.contains(&path) {
            mistakes.push(
                error(Code::IncludesItself, format!("`{name}` includes itself"))
                    .help("remove this entry: a file cannot be part of itself"),
            );
            continue;
        }
        if sources.iter().any(|(_, s)| s.path == path) {
            continue;
        }
        if sources.iter().count() >= MOST_FILES {
            catalogue.lacks_a_file();
            mistakes.push(error(
                Code::TooLarge,
                format!("more than {MOST_FILES} files are included"),
            ));
            return;
        }
        let (file, readable) = load(&path, sources, mistakes, fetch, Some(item.site));
        if !readable {
            catalogue.lacks_a_file();
            continue;
        }
        let mut own = Mistakes::default();
        let node = node::parse(&sources.get(file).text.clone(), file, &CATALOGUE, &mut own);
        if own.is_torn() {
            catalogue.lacks_a_file();
            mistakes.tear();
        }
        let Value::Table(inner) = &node.value else {
            continue;
        };
        catalogue.take(inner, &mut own);
        Reader::within(&Catalogue::default(), &mut own, "include".to_owned())
            .file(&CATALOGUE, &node);
        for mistake in own.into_sorted() {
            mistakes.push(mistake);
        }
        let inner_folder = path.parent().unwrap_or(Path::new("")).to_path_buf();
        trail.push(path);
        include(
            inner,
            &inner_folder,
            root,
            trail,
            sources,
            catalogue,
            mistakes,
            fetch,
        );
        trail.pop();
    }
}

/// Reads each part on its own, so that a mistake in a part that nobody uses is told too.
fn check_parts(catalogue: &Catalogue, mistakes: &mut Mistakes) {
    for (id, part) in catalogue.iter() {
        let _: Fields = Reader::new(catalogue, mistakes).part(
            part.section,
            &part.table,
            part.site,
            &format!("part.{id}"),
        );
    }
}
