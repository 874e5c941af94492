//! Mistakes and warnings of a file: each with a stable code, its place, what was expected, and help.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;
use std::ops::Range;

use miette::{LabeledSpan, MietteError, MietteSpanContents, SourceCode, SourceSpan, SpanContents};

use crate::cut::{cut, has_long_lines};
use crate::site::{FileId, Site, Sources};

/// Whether a file can be used all the same.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Severity {
    /// What rests on this part of the file is unknown.
    Error,
    /// Usable, but look at it.
    Warning,
}

/// The stable code of a mistake.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
#[non_exhaustive]
pub enum Code {
    /// The file cannot be read at all.
    Unreadable,
    /// The file is larger than the cap.
    TooLarge,
    /// Not TOML.
    Syntax,
    /// A key that the section does not have.
    UnknownKey,
    /// A key that the section must have.
    MissingKey,
    /// Keys that do not go together, or a choice that was not made.
    KeyConflict,
    /// Another type than the key takes (a bare number where a unit is needed, a table for a text).
    WrongType,
    /// A number without its unit.
    MissingUnit,
    /// A unit nobody knows.
    UnknownUnit,
    /// A unit of another dimension, or a level of another kind.
    WrongDimension,
    /// A text that is no quantity.
    BadQuantity,
    /// A value outside its range.
    OutOfRange,
    /// A word that is none of the choices.
    UnknownWord,
    /// A date that is none, or that leaves its offset open.
    BadDate,
    /// An id that breaks the rule for ids.
    BadId,
    /// A topic name or filter that breaks the rules of the standard.
    BadTopic,
    /// A reference that is no typed path, or of another kind.
    BadReference,
    /// A reference that names nothing.
    NamesNothing,
    /// A file that includes itself.
    IncludesItself,
    /// A path that leads out of the plan's folder.
    OutsideFolder,
    /// A routine that cannot run, or does what its behaviour does not allow.
    Routine,
    /// A part of another kind than the place it is used in.
    WrongPart,
    /// Modules that no span joins to the rest.
    NotConnected,
    /// A module that no supply feeds.
    NotFed,
    /// A span that is shorter than the distance it covers.
    SpanTooShort,
    /// A length that nothing gives.
    LengthUnknown,
    /// A place that does not exist: below the seabed, beyond a section's end.
    BadPlace,
    /// A sensor's rate is too low for a detector's band.
    RateTooLow,
    /// Stages of a detector that do not work together.
    BadStages,
    /// A topic that nobody publishes.
    NobodyPublishes,
    /// A topic or filter that nobody hears.
    NobodyHears,
    /// Messages whose damage on the way nobody would notice.
    NoCheck,
    /// Something that one would expect is absent.
    Absent,
    /// Two things that must differ are the same.
    Duplicate,
}

impl Code {
    /// The code as it is printed and as it may be searched for.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Code::Unreadable => "unreadable",
            Code::TooLarge => "too-large",
            Code::Syntax => "syntax",
            Code::UnknownKey => "unknown-key",
            Code::MissingKey => "missing-key",
            Code::KeyConflict => "key-conflict",
            Code::WrongType => "wrong-type",
            Code::MissingUnit => "missing-unit",
            Code::UnknownUnit => "unknown-unit",
            Code::WrongDimension => "wrong-dimension",
            Code::BadQuantity => "bad-quantity",
            Code::OutOfRange => "out-of-range",
            Code::UnknownWord => "unknown-word",
            Code::BadDate => "bad-date",
            Code::BadId => "bad-id",
            Code::BadTopic => "bad-topic",
            Code::BadReference => "bad-reference",
            Code::NamesNothing => "names-nothing",
            Code::IncludesItself => "includes-itself",
            Code::OutsideFolder => "outside-folder",
            Code::Routine => "routine",
            Code::WrongPart => "wrong-part",
            Code::NotConnected => "not-connected",
            Code::NotFed => "not-fed",
            Code::SpanTooShort => "span-too-short",
            Code::LengthUnknown => "length-unknown",
            Code::BadPlace => "bad-place",
            Code::RateTooLow => "rate-too-low",
            Code::BadStages => "bad-stages",
            Code::NobodyPublishes => "nobody-publishes",
            Code::NobodyHears => "nobody-hears",
            Code::NoCheck => "no-check",
            Code::Absent => "absent",
            Code::Duplicate => "duplicate",
        }
    }
}

impl Code {
    /// Whether it says that something is missing.
    fn tells_of_absence(self) -> bool {
        matches!(
            self,
            Code::MissingKey
                | Code::NamesNothing
                | Code::NotConnected
                | Code::NotFed
                | Code::LengthUnknown
                | Code::NobodyPublishes
                | Code::NobodyHears
                | Code::Absent
        )
    }
}

impl fmt::Display for Code {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

/// One mistake or warning.
#[derive(Clone, PartialEq, Debug)]
pub struct Mistake {
    /// Stable code.
    pub code: Code,
    /// Error or warning.
    pub severity: Severity,
    /// What is wrong, as a sentence fragment.
    pub message: String,
    /// The text that is underlined.
    pub site: Site,
    /// What is said under the underlined text.
    pub label: String,
    /// Other places that matter, each with its label.
    pub related: Vec<(Site, String)>,
    /// How to mend it.
    pub help: Option<String>,
    /// The part of the file it belongs to, as a typed path (`module.upper`), or the name of a top-level table.
    pub part: String,
    /// Further parts that have the same mistake: those that use the catalogue part it stands in.
    pub also: BTreeSet<String>,
}

impl Mistake {
    pub(crate) fn error(code: Code, site: Site, message: impl Into<String>) -> Mistake {
        Mistake {
            code,
            severity: Severity::Error,
            message: message.into(),
            site,
            label: String::new(),
            related: Vec::new(),
            help: None,
            part: String::new(),
            also: BTreeSet::new(),
        }
    }

    pub(crate) fn warning(code: Code, site: Site, message: impl Into<String>) -> Mistake {
        Mistake {
            severity: Severity::Warning,
            ..Mistake::error(code, site, message)
        }
    }

    pub(crate) fn label(mut self, label: impl Into<String>) -> Mistake {
        self.label = label.into();
        self
    }

    pub(crate) fn help(mut self, help: impl Into<String>) -> Mistake {
        self.help = Some(help.into());
        self
    }

    pub(crate) fn related(mut self, site: Site, label: impl Into<String>) -> Mistake {
        self.related.push((site, label.into()));
        self
    }

    pub(crate) fn part(mut self, part: impl Into<String>) -> Mistake {
        self.part = part.into();
        self
    }

    /// All parts of the file that have it.
    pub fn parts(&self) -> impl Iterator<Item = &str> {
        std::iter::once(self.part.as_str()).chain(self.also.iter().map(String::as_str))
    }

    /// Whether it is an error rather than a warning.
    #[must_use]
    pub fn is_error(&self) -> bool {
        self.severity == Severity::Error
    }
}

/// All mistakes of one reading, in the order of their places, each once.
#[derive(Clone, Debug, Default)]
pub(crate) struct Mistakes {
    list: Vec<Mistake>,
    index: BTreeMap<(Code, Site, String), usize>,
    torn: bool,
    torn_from: Vec<Site>,
    torn_over: Vec<Site>,
}

impl Mistakes {
    pub(crate) fn push(&mut self, mistake: Mistake) {
        let key = (mistake.code, mistake.site, mistake.message.clone());
        match self.index.get(&key) {
            Some(&known) => join(&mut self.list[known], mistake),
            None => {
                self.index.insert(key, self.list.len());
                self.list.push(mistake);
            }
        }
    }

    /// What stands after this place was read as something that it is not.
    pub(crate) fn tear_from(&mut self, site: Site) {
        self.torn = true;
        self.torn_from.push(site);
    }

    /// What stands here may have been read as something that it is not.
    pub(crate) fn tear_over(&mut self, site: Site) {
        self.torn = true;
        self.torn_over.push(site);
    }

    pub(crate) fn is_torn(&self) -> bool {
        self.torn
    }

    /// The text could be read in part only: what seems to be missing may stand in the rest.
    pub(crate) fn tear(&mut self) {
        self.torn = true;
    }

    /// Of a file that cannot be read at all, only that is told: everything else follows from it.
    pub(crate) fn keep_only_first(&mut self) {
        self.list.truncate(1);
    }

    /// Whether a part of the file below one of these top-level tables has an error.
    pub(crate) fn spoil(&self, tables: &[&str]) -> bool {
        self.list
            .iter()
            .filter(|m| m.is_error())
            .any(|m| tables.contains(&m.part.split('.').next().unwrap_or("")))
    }

    /// Warnings last, and otherwise sorted by place.
    pub(crate) fn into_sorted(mut self) -> Vec<Mistake> {
        if self.torn {
            let torn: Vec<Site> = self
                .list
                .iter()
                .filter(|m| m.code == Code::Syntax)
                .map(|m| m.site)
                .chain(self.torn_over)
                .collect();
            let meets = |m: &Mistake| {
                let (a, b) = (m.site.start, m.site.end);
                torn.iter()
                    .any(|t| t.file == m.site.file && (t.start == a || (t.start < b && a < t.end)))
            };
            let after = |m: &Mistake| {
                self.torn_from
                    .iter()
                    .any(|t| t.file == m.site.file && m.site.end > t.start)
            };
            self.list.retain(|m| {
                m.code == Code::Syntax || !(m.code.tells_of_absence() || meets(m) || after(m))
            });
        }
        self.list.sort_by(|a, b| {
            (a.severity, a.site, a.code, &a.message).cmp(&(b.severity, b.site, b.code, &b.message))
        });
        self.list
    }
}

/// Of a mistake told again, keeps the further places. The same mistake in two parts of the file is one in a catalogue
/// part that both use, and belongs to that part.
fn join(known: &mut Mistake, again: Mistake) {
    for related in again.related {
        if !known.related.contains(&related) {
            known.related.push(related);
        }
    }
    let of_part = |m: &str| m == PART || m.starts_with("part.");
    if known.part != again.part {
        known.also.extend([known.part.clone(), again.part.clone()]);
        if !of_part(&known.part) && !of_part(&again.part) {
            PART.clone_into(&mut known.part);
        } else if known.part == PART {
            known.part = again.part;
        }
    }
}

const PART: &str = "part";

/// Most mistakes that are drawn; of a file with more it is told how many.
const MOST_DRAWN: usize = 200;

/// How mistakes are drawn.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Drawing {
    /// Colours and line-drawing characters, for a terminal.
    Terminal,
    /// Line-drawing characters without colours.
    Plain,
    /// ASCII only.
    Ascii,
}

/// Draws mistakes with the offending text underlined.
#[must_use]
pub fn render(mistakes: &[Mistake], sources: &Sources, drawing: Drawing) -> String {
    let theme = match drawing {
        Drawing::Terminal => miette::GraphicalTheme::unicode(),
        Drawing::Plain => miette::GraphicalTheme::unicode_nocolor(),
        Drawing::Ascii => miette::GraphicalTheme::none(),
    };
    let corners = Corners::of(&theme.characters);
    let handler = miette::GraphicalReportHandler::new_themed(theme)
        .with_links(false)
        .with_width(110)
        .with_context_lines(1);
    let mut text = String::new();
    let mut one = String::new();
    let long: Vec<bool> = sources
        .iter()
        .map(|(_, source)| has_long_lines(&source.text))
        .collect();
    for mistake in mistakes.iter().take(MOST_DRAWN) {
        let file = mistake.site.file;
        let drawn = Drawn::of(mistake, sources, long[file.0 as usize]);
        one.clear();
        handler
            .render_report(&mut one, &drawn)
            .expect("writing to a string does not fail");
        let (line, _) = sources.line_column(mistake.site);
        text.push_str(&own_place_first(&one, line, &corners));
        for (site, label) in elsewhere(mistake) {
            let (line, column) = sources.line_column(*site);
            let path = sources.get(site.file).path.display();
            text.push_str(&format!("  see also {path}:{line}:{column}: {label}\n"));
        }
        text.push('\n');
    }
    if mistakes.len() > MOST_DRAWN {
        let more = mistakes.len() - MOST_DRAWN;
        text.push_str(&format!("and {more} more mistakes\n"));
    }
    text
}

/// How a drawn piece of a file begins and ends.
struct Corners {
    first: String,
    last: String,
}

impl Corners {
    fn of(c: &miette::ThemeCharacters) -> Corners {
        Corners {
            first: format!("{}{}", c.ltop, c.hbar),
            last: format!("{}{}", c.lbot, c.hbar),
        }
    }
}

/// A drawn mistake with the piece of the file that holds its own place before those of its related places. The library draws them in
/// the order of the file, and whoever follows the first place would look at what is right.
fn own_place_first(drawn: &str, line: usize, corners: &Corners) -> String {
    let lines: Vec<&str> = drawn.split_inclusive('\n').collect();
    let begins = |text: &&&str| text.trim_start().starts_with(&corners.first);
    let ends = |text: &&&str| text.trim_start().starts_with(&corners.last);
    let Some(first) = lines.iter().position(|text| begins(&text)) else {
        return drawn.to_owned();
    };
    let Some(last) = lines.iter().rposition(|text| ends(&text)) else {
        return drawn.to_owned();
    };
    let mut pieces: Vec<Vec<&str>> = Vec::new();
    for text in &lines[first..=last] {
        if begins(&text) {
            pieces.push(Vec::new());
        }
        if let Some(piece) = pieces.last_mut() {
            piece.push(text);
        }
    }
    let header = format!(":{line}:");
    if let Some(own) = pieces.iter().position(|piece| piece[0].contains(&header)) {
        pieces[..=own].rotate_right(1);
    }
    let whole = lines[..first]
        .iter()
        .chain(pieces.iter().flatten())
        .chain(&lines[last + 1..]);
    whole.copied().collect()
}

/// The related places of a mistake that lie in other files than the mistake itself.
fn elsewhere(mistake: &Mistake) -> impl Iterator<Item = &(Site, String)> {
    mistake
        .related
        .iter()
        .filter(|(site, _)| site.file != mistake.site.file)
}

/// Longest message that is drawn, in characters: it may quote what was written.
const MOST_SAID: usize = 600;

fn shortened(text: &str) -> std::borrow::Cow<'_, str> {
    match text.char_indices().nth(MOST_SAID) {
        None => text.into(),
        Some((end, _)) => format!("{}...", &text[..end]).into(),
    }
}

/// A text as it is shown: as it is, or with its long lines cut.
#[derive(Debug)]
struct FileSource<'a> {
    sources: &'a Sources,
    file: FileId,
    cut: Option<String>,
    /// Of the text that is cut, where the mistake stands in it and in the whole.
    moved: (usize, usize),
}

impl SourceCode for FileSource<'_> {
    fn read_span<'a>(
        &'a self,
        span: &SourceSpan,
        before: usize,
        after: usize,
    ) -> Result<Box<dyn SpanContents<'a> + 'a>, MietteError> {
        let source = self.sources.get(self.file);
        let text = self.cut.as_ref().unwrap_or(&source.text);
        let inner = text.read_span(span, before, after)?;
        // The column that is told is that of the whole line.
        let (cut_at, at) = self.moved;
        let column = if self.cut.is_some() && (before, after, span.offset()) == (0, 0, cut_at) {
            source.text.read_span(&(at, 0).into(), 0, 0)?.column()
        } else {
            inner.column()
        };
        Ok(Box::new(MietteSpanContents::new_named(
            source.path.display().to_string(),
            inner.data(),
            *inner.span(),
            inner.line(),
            column,
            // Lines of this piece; the library counts from the beginning of the text and would draw all between.
            inner.data().iter().filter(|b| **b == b'\n').count(),
        )))
    }
}

#[derive(Debug)]
struct Drawn<'a> {
    mistake: &'a Mistake,
    source: FileSource<'a>,
    labels: Vec<LabeledSpan>,
}

impl<'a> Drawn<'a> {
    fn of(mistake: &'a Mistake, sources: &'a Sources, long_lines: bool) -> Drawn<'a> {
        let file = mistake.site.file;
        let related = mistake.related.iter().filter(|(s, _)| s.file == file);
        let places: Vec<(Site, &str)> = std::iter::once((mistake.site, mistake.label.as_str()))
            .chain(related.map(|(site, label)| (*site, label.as_str())))
            .collect();
        let whole: Vec<Range<usize>> = places.iter().map(|(site, _)| site.range()).collect();
        let (cut, shown) = match long_lines {
            true => {
                let (text, shown) = cut(&sources.get(file).text, &whole);
                (Some(text), shown)
            }
            false => (None, whole.clone()),
        };
        let labels = places
            .iter()
            .zip(&shown)
            .enumerate()
            .map(|(i, ((_, label), range))| {
                let label = (!label.is_empty()).then(|| shortened(label).into_owned());
                match i {
                    0 => LabeledSpan::new_primary_with_span(label, range.clone()),
                    _ => LabeledSpan::new(label, range.start, range.len()),
                }
            });
        Drawn {
            mistake,
            labels: labels.collect(),
            source: FileSource {
                sources,
                file,
                cut,
                moved: (shown[0].start, whole[0].start),
            },
        }
    }
}

impl fmt::Display for Drawn<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&shortened(&self.mistake.message))
    }
}

impl std::error::Error for Drawn<'_> {}

impl miette::Diagnostic for Drawn<'_> {
    fn code<'a>(&'a self) -> Option<Box<dyn fmt::Display + 'a>> {
        Some(Box::new(self.mistake.code))
    }

    fn severity(&self) -> Option<miette::Severity> {
        Some(match self.mistake.severity {
            Severity::Error => miette::Severity::Error,
            Severity::Warning => miette::Severity::Warning,
        })
    }

    fn help<'a>(&'a self) -> Option<Box<dyn fmt::Display + 'a>> {
        self.mistake
            .help
            .as_ref()
            .map(|h| Box::new(shortened(h)) as Box<dyn fmt::Display>)
    }

    fn source_code(&self) -> Option<&dyn SourceCode> {
        Some(&self.source)
    }

    fn labels(&self) -> Option<Box<dyn Iterator<Item = LabeledSpan> + '_>> {
        Some(Box::new(self.labels.iter().cloned()))
    }
}
