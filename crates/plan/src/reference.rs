//! The reference of the plan file and the cue sheet for users, in Markdown, made from the field tables.

use std::collections::BTreeSet;
use std::fmt::Write as _;

use quantity::{Dimension, LevelKind};

use crate::field::{Bounds, Field, Need, Section, Shape, amount_example};
use crate::tables::{
    ACTIONS, CUE_SHEET, EXPECTATIONS, FAULTS, Kind, OF_EXPECTATIONS, OF_FAULTS, OF_REQUIREMENTS,
    OF_SOUNDS, PART_KINDS, PLAN, REQUIREMENTS, SOUNDS, STAGES,
};

/// The reference of the plan file: every table with its keys, what stands behind each, and the units.
#[must_use]
pub fn plan_reference() -> String {
    let mut page = Page::default();
    page.text(PLAN_BEGINNING);
    page.sections(&PLAN);
    page.parts();
    page.kinds(
        "Stages of a detector",
        "Stages stand in this order: `decimate`, `band`; then a `level`, a `matched` filter, a `learned` model or a `spectrogram`; `background`; \
         `likeness` or `likeness_to`; then the one that decides, a trigger (`on_above`), `pulses` or a `ridge`; `likely`. Needed are one of the second row \
         and one that decides. A spectrogram needs a background, and then a likeness with a trigger, or a ridge; pulses need a background; \
         on a learned model a trigger decides. Over a background, and after a likeness or a learned model, the thresholds of a trigger are plain dB; without one they carry the \
         reference of the level (`120 dB re 1 uPa`). A judgement (`likely`) speaks of finished events, so a trigger before it confirms `at-end`.",
        "key",
        STAGES,
        &[],
    );
    page.kinds(
        "Actions of a behaviour",
        "An output and an uplink are used by their own module alone; another module publishes a topic.",
        "key",
        ACTIONS,
        &[],
    );
    page.kinds(
        "Requirements",
        "What a requirement needs depends on the word behind `that`.",
        "that",
        REQUIREMENTS,
        OF_REQUIREMENTS,
    );
    page.units();
    page.done()
}

/// The reference of the cue sheet: every table with its keys, what stands behind each, and the units.
#[must_use]
pub fn cues_reference() -> String {
    let mut page = Page::default();
    page.text(CUES_BEGINNING);
    page.sections(&CUE_SHEET);
    page.kinds(
        "Sounds",
        "What a sound needs depends on its kind.",
        "kind",
        SOUNDS,
        OF_SOUNDS,
    );
    page.kinds(
        "Faults",
        "What a fault needs depends on its kind. `docs/method/rehearsal.md` says what each does to the line. One without `until` \
         lasts for good; a restart is over as it begins.",
        "kind",
        FAULTS,
        OF_FAULTS,
    );
    page.kinds(
        "Expectations",
        "What an expectation needs depends on the word behind `that`. A count is at least 1 when no limit is written; with \
         an upper limit alone, 0 is enough. It is looked for `within` a time `after` a sound first reaches the hydrophone or a fault is over, \
         or between `from` and `until`.",
        "that",
        EXPECTATIONS,
        OF_EXPECTATIONS,
    );
    page.units();
    page.done()
}

const PLAN_BEGINNING: &str = "# The plan file

One TOML file describes one deployment, and everything is computed from it. `soundline check` tells all mistakes of a file
at once, each with its place. What is not written is unknown, and never taken to be zero.

- **Ids** begin with a lower-case letter and go on with lower-case letters, digits and hyphens.
- **References** are whole paths: `module.upper.sensor.ear`, `detector.upcall.confirmed`, `part.jacketed-12`.
- **Quantities** are texts with their unit: `\"150 m\"`. Decimal points, no commas, no gaps between digits.
- **A spread** may follow: `\"0.42 W ± 10 %\"`, `\"8 mohm +/- 4 mohm\"`, `\"0.12 ohm ± 10 % uniform\"`. It is the half width of a
  95 % interval of a normal law (two standard deviations, k = 2), or of a uniform law where that is written. A share takes `± 5 points` or `± 5 % of the value`.
- **Figures without a unit** are bare numbers: `1.2`. Physical ones (efficiencies, drag coefficients, salinity) may be texts with a spread: `\"1.2 ± 0.1\"`,
  `\"1.2 ± 5 %\"`, `\"1.2 ± 0.1 uniform\"`; those that are shares of one as a share takes it: `\"0.88 ± 3 points\"`, `\"0.88 ± 3 % of the value\"`,
  `\"0.88 ± 0.03\"`. What the spread spans must be allowed too.
- **Dates** stand without quotes: `2027-03-15` is 00:00 UTC, `2027-03-15T06:30:00Z` an instant; a time needs its offset.
- **Parts** are things written once, in `[part.ID]` or in catalogue files that `include` lists. What the plan writes itself
  wins over the part, key by key; a list is taken whole.
- **The order** of tables in the file changes nothing.

Files are at most 2 MiB. Included files stay under the folder of the plan.
";

const CUES_BEGINNING: &str = "# The cue sheet

One TOML file describes one rehearsal of a plan: sounds, faults, messages from outside, and what must be seen. Times are
counted from the beginning of the rehearsal. References name things of the plan, or sounds of the cue sheet itself.
Values are written as in the plan file.
";

/// How a table is reached.
enum Way {
    /// `[site]`
    Table(String),
    /// Inside a value: `{ ... }`
    Inline(String),
}

/// The page under way.
#[derive(Default)]
struct Page {
    text: String,
    dimensions: Vec<Dimension>,
    levels: Vec<LevelKind>,
    told: BTreeSet<&'static str>,
}

impl Page {
    fn text(&mut self, text: &str) {
        self.text.push_str(text);
    }

    fn sections(&mut self, root: &'static Section) {
        self.table("The file", root);
        for field in root.fields {
            self.below(field, &Way::Table(String::new()));
        }
    }

    /// The tables that lie behind a key.
    fn below(&mut self, field: &'static Field, way: &Way) {
        let before = match way {
            Way::Table(path) => path.clone(),
            Way::Inline(path) => format!("{path}."),
        };
        let key = field.key;
        let (section, heading, way) = match field.shape {
            Shape::Table(s) if matches!(way, Way::Table(p) if p.is_empty()) => {
                (s, format!("`[{key}]`"), Way::Table(format!("{key}.")))
            }
            Shape::Table(s) => {
                let path = format!("{before}{key}");
                (s, format!("`{path} = {{ ... }}`"), Way::Inline(path))
            }
            Shape::Tables(s) => {
                let path = format!("{before}{key}");
                (s, format!("`{path} = [{{ ... }}, ...]`"), Way::Inline(path))
            }
            Shape::Keyed(s) => {
                let path = format!("{before}{key}.ID");
                (s, format!("`[{path}]`"), Way::Table(format!("{path}.")))
            }
            Shape::KeyedTopics(s) => {
                let path = format!("{before}{key}.\"TOPIC\"");
                (s, format!("`[{path}]`"), Way::Table(format!("{path}.")))
            }
            _ => return,
        };
        if !self.told.insert(section.name) {
            return;
        }
        self.table(&heading, section);
        for field in section.fields {
            self.below(field, &way);
        }
    }

    fn table(&mut self, heading: &str, section: &'static Section) {
        let _ = write!(
            self.text,
            "\n## {heading}\n\n{}\n\n| key | needed | what stands there | meaning |\n|---|---|---|---|\n",
            section.doc
        );
        for field in section.fields {
            let needed = match field.need {
                Need::Required => "yes",
                Need::Optional => "",
            };
            let there = self.there(&field.shape);
            let _ = writeln!(
                self.text,
                "| `{}` | {needed} | {there} | {} |",
                field.key, field.doc
            );
        }
    }

    /// What stands behind a key, with an example and its range.
    fn there(&mut self, shape: &Shape) -> String {
        match shape {
            Shape::Amount(d, bounds) => {
                self.note(*d);
                let example = amount_example(*d, *bounds);
                format!("{}: `\"{example}\"`{}", d.name(), range(*bounds))
            }
            Shape::Amounts(d, bounds, least, most) => {
                self.note(*d);
                let example = amount_example(*d, *bounds);
                format!(
                    "list of {}, each {}: `[\"{example}\", ...]`{}",
                    count(*least, *most),
                    d.name(),
                    range(*bounds)
                )
            }
            Shape::Number(bounds) => format!("bare number{}", range(*bounds)),
            Shape::Figure(scale, bounds) => {
                let (bare, with) = scale.example(*bounds);
                format!("number: `{bare}`, `\"{with}\"`{}", range(*bounds))
            }
            Shape::Figures(scale, bounds, least, most) => {
                let (bare, with) = scale.example(*bounds);
                format!(
                    "list of {} numbers: `[{bare}, \"{with}\", ...]`{}",
                    count(*least, *most),
                    range(*bounds)
                )
            }
            Shape::Count(least, most) if least == most => format!("`{least}`"),
            Shape::Count(least, i64::MAX) => format!("whole number, {least} or more"),
            Shape::Count(least, most) => format!("whole number from {least} to {most}"),
            Shape::Flag => "`true` or `false`".to_owned(),
            Shape::Text => "text".to_owned(),
            Shape::Texts => "list of texts".to_owned(),
            Shape::Choice(words) => words
                .iter()
                .map(|w| format!("`\"{w}\"`"))
                .collect::<Vec<_>>()
                .join(", "),
            Shape::Level(kinds, bounds) => {
                let all: Vec<String> = kinds
                    .iter()
                    .map(|kind| {
                        if !self.levels.contains(kind) {
                            self.levels.push(*kind);
                        }
                        format!("`\"{}\"`", kind.example())
                    })
                    .collect();
                format!("level: {}{}", all.join(" or "), range(*bounds))
            }
            Shape::Conductor => {
                "conductor: `\"1.0 mm2 class 5\"` (IEC 60228, class 2 or 5) or `\"18 AWG\"`"
                    .to_owned()
            }
            Shape::Money => "amount of money: `\"0.12 EUR\"` (ISO 4217)".to_owned(),
            Shape::EventRate => "rate of events: `\"6 per hour\"`, `\"300 per 30 d\"`".to_owned(),
            Shape::Date => "date: `2027-03-15` or `2027-03-15T06:30:00Z`".to_owned(),
            Shape::Reference(kinds) => kinds
                .iter()
                .map(|k| format!("`\"{}\"`", k.example()))
                .collect::<Vec<_>>()
                .join(" or "),
            Shape::References(kinds, least) => format!(
                "list of {} or more of {}",
                if *least == 1 { "one" } else { "two" },
                kinds
                    .iter()
                    .map(|k| format!("`\"{}\"`", k.example()))
                    .collect::<Vec<_>>()
                    .join(" or ")
            ),
            Shape::Load => {
                "power `\"0.55 W\"`, constant supply current `\"20 mA\"` or resistor `\"240 ohm\"`"
                    .to_owned()
            }
            Shape::Topic => "topic name: `\"alert/call\"` (OASIS MQTT 5.0, 4.7)".to_owned(),
            Shape::Filter => "topic filter: `\"alert/#\"` (OASIS MQTT 5.0, 4.7)".to_owned(),
            Shape::Content => {
                "values by the name of their field: `{ level = \"event.level\", at = \"now\" }`"
                    .to_owned()
            }
            Shape::Limit => {
                self.note(Dimension::Voltage);
                "limit, see below".to_owned()
            }
            Shape::Table(_) => "table".to_owned(),
            Shape::Tables(_) => "list of tables".to_owned(),
            Shape::Keyed(_) | Shape::Parts => "tables by id".to_owned(),
            Shape::KeyedTopics(_) => "tables by topic name".to_owned(),
            Shape::KeyedLoads => {
                self.note(Dimension::Power);
                "loads by the name of the state: `{ listening = \"0.55 W\", asleep = \"20 mA\" }`"
                    .to_owned()
            }
        }
    }

    fn note(&mut self, dimension: Dimension) {
        if !self.dimensions.contains(&dimension) {
            self.dimensions.push(dimension);
        }
    }

    fn parts(&mut self) {
        self.text.push_str(
            "\n## `[part.ID]`\n\nA part says with `is` what it may stand for, and holds any of the keys of that table. It \
             need not be whole: what it lacks, the plan writes. A part is not built on another part, but a table inside it \
             may name one. With `shared = \"batch\"` all that come from this part are of one batch: each of its values that has a \
             spread is drawn once for all of them by `soundline check --certainty`; without it once for each.\n\n| is | fills |\n|---|---|\n",
        );
        for section in PART_KINDS {
            let word = section.part.expect("kinds of parts have a word");
            let _ = writeln!(self.text, "| `\"{word}\"` | {} |", section.name);
        }
        for section in PART_KINDS {
            if self.told.insert(section.name) {
                self.table(
                    &format!("`[part.ID]` with `is = \"{}\"`", section.part.unwrap_or("")),
                    section,
                );
            }
        }
    }

    fn kinds(&mut self, heading: &str, text: &str, by: &str, kinds: &[Kind], common: &[&str]) {
        let limits = kinds.iter().any(|k| !k.limit.is_empty());
        let _ = write!(self.text, "\n## {heading}\n\n{text}");
        if !common.is_empty() {
            let _ = write!(self.text, " Each may have {}.", keys(common));
        }
        let (title, rule) = if limits {
            (" a limit is written |", "---|")
        } else {
            ("", "")
        };
        let _ = write!(
            self.text,
            "\n\n| {by} | needs | may have |{title}\n|---|---|---|{rule}\n"
        );
        for kind in kinds {
            let _ = write!(
                self.text,
                "| `{}` | {} | {} |",
                kind.word,
                keys(kind.needs),
                keys(kind.may)
            );
            if limits {
                let limit = match kind.limit {
                    "" => String::new(),
                    number if number.parse::<u32>().is_ok() => format!("`{number}`"),
                    limit => format!("`\"{limit}\"`"),
                };
                let _ = write!(self.text, " {limit} |");
            }
            self.text.push('\n');
        }
    }

    fn units(&mut self) {
        self.text
            .push_str("\n## Units\n\n| quantity | units |\n|---|---|\n");
        let mut dimensions = std::mem::take(&mut self.dimensions);
        dimensions.sort_by_key(|d| d.name());
        for d in dimensions {
            let units: Vec<String> = d.units().map(|u| format!("`{u}`")).collect();
            let _ = writeln!(self.text, "| {} | {} |", d.name(), units.join(" "));
        }
        let mut levels = std::mem::take(&mut self.levels);
        levels.sort_by_key(|k| k.name());
        for kind in levels {
            let _ = writeln!(self.text, "| {} | `{}` |", kind.name(), kind.unit());
        }
    }

    fn done(self) -> String {
        self.text
    }
}

fn range(bounds: Bounds) -> String {
    if bounds.least == f64::NEG_INFINITY && bounds.most == f64::INFINITY {
        return String::new();
    }
    format!("; {}", bounds.why)
}

fn count(least: usize, most: usize) -> String {
    if least == most {
        format!("{least}")
    } else {
        format!("at least {least}")
    }
}

fn keys(keys: &[&str]) -> String {
    keys.iter()
        .map(|k| format!("`{k}`"))
        .collect::<Vec<_>>()
        .join(", ")
}
