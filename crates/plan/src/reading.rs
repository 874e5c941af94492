//! Reading a whole plan or cue sheet: text, included catalogues, fields, line; all mistakes at once.

use std::path::Path;

use crate::canonical::{self, DrawnDigests};
use crate::catalogue::Catalogue;
use crate::cue_sheet::CueSheet;
use crate::fetch::{Fetch, load};
use crate::folder::tidy;
use crate::include::{check_parts, include};
use crate::line::Line;
use crate::mistake::{Mistake, Mistakes};
use crate::named_files::{cue_sheets, routines, take_files, templates, weather};
use crate::node::{self, Table, Value};
use crate::read::{Fields, Reader};
use crate::resolve::{self, Declared};
use crate::site::{FileId, Sources};
use crate::spoilt::{SpoiltParts, spoilt_parts};
use crate::spreads::{Draw, NoDraw, Spread, dimensions, spreads};
use crate::tables::{CUE_SHEET, PLAN};

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
    /// Digest of what a rehearsal reads of that content, SHA-256 in hexadecimal: all but requirements, calls, remedies, the sun and what it
    /// charges, and of the deployment all but its start.
    pub rehearsed_digest: String,
    /// Digests of what draws of the plan read.
    pub drawn_digests: DrawnDigests,
    /// The values that are written with a spread (`±`), by path.
    pub spreads: Vec<Spread>,
    /// What the mistakes reach.
    pub spoilt: SpoiltParts,
    pub(crate) catalogue: Catalogue,
    declared: Declared,
    fields: Fields,
    pub(crate) root: Table,
}

impl Reading {
    /// How many numbers draw the values that are written with a spread: the length of a point for [`Reading::line_at`].
    #[must_use]
    pub fn dimensions(&self) -> usize {
        dimensions(&self.spreads)
    }

    /// The line at a point of the unit cube: every value that is written with a spread is the one below which that share of its law lies,
    /// and all that the plan derives from it (places, lengths of spans) is derived anew. One half everywhere is the line as written.
    ///
    /// # Errors
    /// [`NoDraw`] for a plan that has mistakes, for a point of another length, for a value where its key does not allow it, and where a
    /// plan that is written so would have a mistake (a span shorter than its way).
    pub fn line_at(&self, point: &[f64]) -> Result<Line, NoDraw> {
        let nominal = self.line.as_ref().filter(|_| !self.has_errors());
        let nominal = nominal.ok_or(NoDraw::Unusable)?;
        let draw = Draw::at(&self.spreads, point)?;
        let mut fields = self.fields.clone();
        draw.apply(&mut fields)?;
        let mut mistakes = Mistakes::default();
        let drawn = resolve::line_drawn(&fields, &self.catalogue, &draw, &mut mistakes)?;
        let mistaken = mistakes.into_sorted().into_iter().find(Mistake::is_error);
        if let Some(mistake) = mistaken {
            return Err(NoDraw::Mistaken {
                message: mistake.message,
            });
        }
        let mut line = drawn.ok_or(NoDraw::Unusable)?;
        line.sea.weather.clone_from(&nominal.sea.weather);
        take_files(&mut line, nominal);
        Ok(line)
    }

    /// Whether there is any error (warnings do not count).
    #[must_use]
    pub fn has_errors(&self) -> bool {
        self.mistakes.iter().any(Mistake::is_error)
    }

    /// Every catalogue part by its id, with the word for what it is: `module`, `span`.
    pub fn parts(&self) -> impl Iterator<Item = (&str, &'static str)> {
        let parts = self.catalogue.iter();
        parts.filter_map(|(id, part)| Some((id, part.section.part?)))
    }
}

/// What came of reading a cue sheet.
#[derive(Debug)]
pub struct CueReading {
    /// The texts: those of the plan, on whose places mistakes may lean, and the cue sheet.
    pub sources: Sources,
    /// Which of them is the cue sheet.
    pub file: FileId,
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
        routines(line, &folder, &mut sources, &mut mistakes, fetch);
    }
    cue_sheets(line.as_ref(), &folder, &mut mistakes, fetch);
    if !readable {
        mistakes.keep_only_first();
    }
    let mistakes = mistakes.into_sorted();
    let spreads = spreads(&fields, &catalogue);
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
            &spreads,
        ),
        drawn_digests: canonical::drawn_digests(
            &fields,
            &catalogue,
            weather.as_ref().map(|w| w.text.as_str()),
            line.as_ref(),
            &spreads,
        ),
        rehearsed_digest: canonical::rehearsed_digest(&fields, &catalogue, line.as_ref()),
        spreads,
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
        fields,
        root: table,
    }
}

/// Reads the cue sheet at a path against a plan that has been read.
#[must_use]
pub fn read_cues(path: &Path, plan: &Reading, fetch: &Fetch<'_>) -> CueReading {
    // Every place names its file by number, so both must count in one list.
    let mut sources = plan.sources.clone();
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
    let digest = canonical::digest("cues/1", &fields, &plan.catalogue, None, None, &[]);
    if !readable {
        mistakes.keep_only_first();
    }
    let mistakes = mistakes.into_sorted();
    let cues = cues.filter(|_| !mistakes.iter().any(Mistake::is_error));
    CueReading {
        sources,
        file,
        mistakes,
        cues,
        digest,
    }
}

/// Whether a text is a cue sheet, by what stands at its top; one with mistakes is one too, a plan or a catalogue is none.
#[must_use]
pub fn is_cue_sheet(text: &str) -> bool {
    let mut mistakes = Mistakes::default();
    let root = node::parse(text, FileId(0), &CUE_SHEET, &mut mistakes);
    matches!(root.value, Value::Table(table) if table.contains_key("rehearsal"))
}
