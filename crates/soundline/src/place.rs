//! `soundline reserve --module`: whether a part may be added, place by place.

use std::io::Write;
use std::path::{Path, PathBuf};

use assess::{
    Along, Answer, ChangeError, PlaceAsk, PlaceError, Places, Publishes, PublishesError,
    TALK_TABLES, Talk, foreign_table, places,
};
use plan::{Mistake, Reading};
use quantity::Dimension;
use report::{check_text, places_json, places_picture_png, places_picture_svg, places_text};
use serde_json::json;

use crate::cancel::Cancel;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::out::{Format, Out};
use crate::outputs::{Outputs, Pictures, shown};
use crate::plan_file;
use beside::PROGRAM;

/// What is asked of a part.
#[derive(Debug, clap::Args)]
#[command(next_help_heading = "May one more module be added")]
pub(crate) struct PlaceArgs {
    /// Say for every place on the line whether this part of the catalogue may be added there: `part.ID`.
    #[arg(long, value_name = "PART")]
    module: Option<String>,
    /// A catalogue file that the plan does not include, which holds the part.
    #[arg(long, value_name = "FILE", requires = "module")]
    from: Option<PathBuf>,
    /// Id of the added module.
    #[arg(long, value_name = "ID", default_value = "added", requires = "module")]
    name: String,
    /// A length along a section, `section.ID:LENGTH` from its upper end, instead of every place; may be given again.
    #[arg(long, value_name = "PLACE", requires = "module")]
    at: Vec<String>,
    /// It publishes nothing, and nobody tells it anything.
    #[arg(long, requires = "module", conflicts_with_all = ["publishes", "brings"])]
    silent: bool,
    /// A topic that it publishes, with --each and, of a topic that is new to the plan, --size.
    #[arg(long, value_name = "TOPIC", requires_all = ["module", "each"], conflicts_with = "brings")]
    publishes: Option<String>,
    /// How often: `10 min`.
    #[arg(long, value_name = "TIME", requires = "publishes")]
    each: Option<String>,
    /// Size of its payload: `40 B`.
    #[arg(long, value_name = "SIZE", requires = "publishes")]
    size: Option<String>,
    /// The most that it publishes, `6 per hour`; once each interval when not given.
    #[arg(long, value_name = "LIMIT", requires = "publishes")]
    at_most: Option<String>,
    /// Its priority.
    #[arg(long, value_name = "N", requires = "publishes")]
    priority: Option<i64>,
    /// A module that is told of it, besides those whose behaviours hear it; may be given again.
    #[arg(long, value_name = "MODULE", requires = "publishes")]
    told: Vec<String>,
    /// A file of topics, streams, behaviours and detectors that come with it, in which it goes by its id: `module.added`.
    #[arg(long, value_name = "FILE", requires = "module")]
    brings: Option<PathBuf>,
    /// A kind of link that it speaks, `10BASE-T1L`; may be given again. A part does not say it by itself: without, it is taken to speak all.
    #[arg(long, value_name = "LINK", requires = "module")]
    speaks: Vec<String>,
    /// Length of the stub on which it hangs beside a module.
    #[arg(
        long,
        value_name = "LENGTH",
        default_value = "1 m",
        requires = "module"
    )]
    stub: String,
    /// Cable of that stub, `part.ID`; without, that of the span that leads to the neighbour.
    #[arg(long, value_name = "PART", requires = "module")]
    cable: Option<String>,
    /// Leave out what the plan claims of the years of its supplies; the answer is then provisional.
    #[arg(long, requires = "module")]
    without_years: bool,
    /// Print the whole check with the part at this place: the id of a module or a span, or what --at says.
    #[arg(long, value_name = "PLACE", requires = "module")]
    explain: Option<String>,
    /// Draw the line with its places: places.png and places.svg in this folder.
    #[arg(long, value_name = "DIR", value_parser = crate::picture_name::folder, requires = "module")]
    picture: Option<PathBuf>,
    /// Replace the pictures if they exist.
    #[arg(long, requires = "picture")]
    force: bool,
}

impl PlaceArgs {
    /// The part that is asked about.
    pub(crate) fn asks(&self) -> Option<&str> {
        self.module.as_deref()
    }
}

/// Why nothing can be said of a part.
#[derive(Debug, thiserror::Error)]
pub(crate) enum PlaceCommandError {
    /// The places could not be gone through.
    #[error(transparent)]
    Places(#[from] PlaceError),
    /// What it publishes cannot be said so.
    #[error(transparent)]
    Publishes(#[from] PublishesError),
    /// What stands behind a flag cannot be.
    #[error("--{flag} \"{value}\": {why}")]
    Flag {
        /// The flag.
        flag: &'static str,
        /// What was given.
        value: String,
        /// Why it cannot be.
        why: String,
        /// What would do.
        help: Option<String>,
    },
    /// A place that is none.
    #[error("--at \"{value}\" is no place")]
    At {
        /// What was given.
        value: String,
    },
    /// No place has this name.
    #[error("--explain {asked}: there is no such place")]
    NoPlace {
        /// What was asked.
        asked: String,
        /// Those that are there.
        places: String,
    },
    /// The picture cannot be drawn.
    #[error("the picture cannot be drawn: {0}")]
    Draw(#[from] report::PictureError),
    /// A file that cannot be read.
    #[error("{path}: {why}")]
    Unread {
        /// The file.
        path: String,
        /// Why.
        why: String,
    },
    /// A file with tables that an added module cannot bring.
    #[error("{path}: `{table}` is nothing that an added module brings")]
    Foreign {
        /// The file.
        path: String,
        /// The table or key.
        table: String,
    },
}

impl PlaceCommandError {
    /// How the user may mend it.
    pub(crate) fn help(&self) -> Option<String> {
        match self {
            PlaceCommandError::Places(PlaceError::NoPart {
                parts, near, kind, ..
            }) => match (near, parts.as_slice()) {
                (Some(_), _) => None,
                (None, []) => Some(format!(
                    "the plan's catalogue has no part that is a {kind}: write one, or name its file with --from"
                )),
                (None, parts) => Some(format!("the plan has {}", parts.join(", "))),
            },
            PlaceCommandError::Places(PlaceError::OfAnotherKind { kind, .. }) => {
                Some(format!("name a part that says is = \"{kind}\""))
            }
            PlaceCommandError::Flag { help, .. } => help.clone(),
            PlaceCommandError::Places(PlaceError::Taken { .. }) => {
                Some("give the added module another id with --name".to_owned())
            }
            PlaceCommandError::Places(PlaceError::Change(ChangeError::NoCable { .. })) => {
                Some("name a part that is a span with --cable".to_owned())
            }
            PlaceCommandError::Publishes(PublishesError::NoSize { .. }) => {
                Some("add --size \"40 B\"".to_owned())
            }
            PlaceCommandError::Publishes(PublishesError::Said { .. }) => {
                Some("leave it out, or give the topic another name".to_owned())
            }
            PlaceCommandError::At { .. } => {
                Some("write it as section.riser:40m, from the upper end of the section".to_owned())
            }
            PlaceCommandError::NoPlace { places, .. } => Some(format!("the places are {places}")),
            PlaceCommandError::Foreign { .. } => {
                Some(format!("it may have [{}.ID]", TALK_TABLES.join(".ID], [")))
            }
            _ => None,
        }
    }

    pub(crate) fn is_cancelled(&self) -> bool {
        matches!(self, PlaceCommandError::Places(PlaceError::Cancelled))
    }
}

pub(crate) fn run(
    path: &Path,
    args: &PlaceArgs,
    part: &str,
    reading: &Reading,
    out: &mut Out,
) -> Result<Exit, Failure> {
    let line = plan_file::line(reading, path)?;
    flags(args)?;
    let talk = match (&args.publishes, &args.brings, args.silent) {
        (Some(topic), ..) => {
            let publishes = Publishes {
                topic: topic.clone(),
                each: args.each.clone().expect("the arguments need it"),
                size: args.size.clone(),
                at_most: args.at_most.clone(),
                priority: args.priority,
                told: args.told.clone(),
            };
            let tables = publishes.tables(line, &args.name);
            Talk::Tables(tables.map_err(PlaceCommandError::from)?)
        }
        (None, Some(file), _) => Talk::Tables(brought(file)?),
        (None, None, true) => Talk::Silent,
        (None, None, false) => Talk::Unsaid,
    };
    let ask = PlaceAsk {
        part: typed(part),
        catalogue: args
            .from
            .as_deref()
            .map(|f| catalogue(f, reading))
            .transpose()?
            .flatten(),
        id: args.name.clone(),
        talk,
        speaks: args.speaks.clone(),
        along: args
            .at
            .iter()
            .map(|at| along(at))
            .collect::<Result<_, _>>()?,
        cable: args.cable.as_deref().map(typed),
        stub_m: more_than_nothing("stub", &args.stub, Dimension::Length)?,
        years: !args.without_years,
        threads: std::thread::available_parallelism().map_or(1, usize::from),
    };
    let outputs = Outputs::new(args.force, plan_file::inputs(&reading.sources));
    let pictures = Pictures::named(["places".to_owned()], args.picture.as_deref(), &outputs)?;
    let cancel = Cancel::on_ctrl_c()?;
    let Some((shelf, warnings)) = beside::shelf(path, reading, &|_, _| !cancel.asked()) else {
        return Ok(Exit::Cancelled);
    };
    for warning in &warnings {
        writeln!(out.stderr, "warning: {warning}")?;
    }
    let bar = out.progress(0, "checking place by place");
    let watch = |done, all| {
        bar.set_length(all);
        bar.set_position(done);
        !cancel.asked()
    };
    let found = places(
        path,
        reading,
        &shelf,
        &plan::from_folder_of(path),
        &ask,
        &watch,
    );
    bar.finish_and_clear();
    let found = match found {
        Err(PlaceError::Mistakes(with)) => {
            // What is told of the text that stands in for the plan is of the flag, not of anything that the user wrote.
            let own = |m: &&Mistake| m.is_error() && with.sources.get(m.site.file).path == path;
            let of_flag: Vec<&str> = with
                .mistakes
                .iter()
                .filter(own)
                .map(|m| m.message.as_str())
                .collect();
            if let Some(file) = args.from.as_ref().filter(|_| !of_flag.is_empty()) {
                return Err(PlaceCommandError::Flag {
                    flag: "from",
                    value: file.display().to_string(),
                    why: of_flag.join("; "),
                    help: None,
                }
                .into());
            }
            plan_file::show(with.mistakes.iter(), &with.sources, out)?;
            return Err(PlaceCommandError::from(PlaceError::Mistakes(with)).into());
        }
        other => other.map_err(PlaceCommandError::from)?,
    };
    pictures.draw(&outputs, |_, page| {
        let title = format!("{}: may {} be added?", found.name, found.part);
        let png = places_picture_png(&title, &found, page)?;
        Ok::<_, PlaceCommandError>((png, places_picture_svg(&title, &found, page)?))
    })?;
    tell(args, &found, &pictures, out)?;
    Ok(exit(&found))
}

fn tell(
    args: &PlaceArgs,
    found: &Places,
    pictures: &Pictures,
    out: &mut Out,
) -> Result<(), Failure> {
    let explained = match &args.explain {
        None => None,
        Some(asked) => Some(explained(found, asked)?),
    };
    match out.format {
        Format::Text => {
            let text = match explained {
                None => places_text(found),
                Some(place) => match &place.check {
                    Some(check) => check_text(check, out.colour),
                    None => format!(
                        "{}\n",
                        [&place.refused[..], &place.unknown[..]].concat().join("\n")
                    ),
                },
            };
            out.stdout.write_all(text.as_bytes())?;
            pictures.tell(&mut out.stdout)?;
        }
        Format::Json => {
            let mut document = places_json(found);
            document["pictures"] = json!(shown(pictures.paths()));
            if let Some(place) = explained {
                document["explained"] = json!({
                    "id": place.site.id,
                    "plan": place.text,
                    "check": place.check.as_ref().map(|c| report::check_json(c, PROGRAM, &[], &plan::Sources::default())),
                });
            }
            out.json(&out.of_plan(document))?;
        }
    }
    Ok(())
}

fn explained<'f>(found: &'f Places, asked: &str) -> Result<&'f assess::Place, PlaceCommandError> {
    let asked_place = asked.replace(':', "@").replace(' ', "");
    let place = found.places.iter().find(|p| p.site.id == asked_place);
    place.ok_or_else(|| {
        let ids: Vec<&str> = found.places.iter().map(|p| p.site.id.as_str()).collect();
        PlaceCommandError::NoPlace {
            asked: asked.to_owned(),
            places: ids.join(", "),
        }
    })
}

/// 0 where it may go somewhere, 1 where it may nowhere, 3 where that is not known.
fn exit(found: &Places) -> Exit {
    let any = |answer| found.places.iter().any(|p| p.answer == answer);
    if any(Answer::MayGo) {
        Exit::Met
    } else if any(Answer::Unknown) {
        Exit::Unknown
    } else {
        Exit::Broken
    }
}

/// An id or a typed path as a typed path.
fn typed(part: &str) -> String {
    match part.starts_with("part.") {
        true => part.to_owned(),
        false => format!("part.{part}"),
    }
}

fn wrong(flag: &'static str, value: &str, why: impl Into<String>) -> PlaceCommandError {
    PlaceCommandError::Flag {
        flag,
        value: value.to_owned(),
        why: why.into(),
        help: None,
    }
}

/// Whether each flag by itself can be, before any of them becomes text of a plan.
fn flags(args: &PlaceArgs) -> Result<(), PlaceCommandError> {
    if !plan::is_id(&args.name) {
        return Err(PlaceCommandError::Flag {
            flag: "name",
            value: args.name.clone(),
            why: "this is no id".to_owned(),
            help: Some(plan::ID_RULE.to_owned()),
        });
    }
    for link in &args.speaks {
        if plan::LINKS.contains(&link.as_str()) {
            continue;
        }
        let near = quantity::nearest(link, plan::LINKS.iter().copied());
        return Err(PlaceCommandError::Flag {
            flag: "speaks",
            value: link.clone(),
            why: "there is no such link".to_owned(),
            help: Some(match near {
                Some(near) => format!("did you mean \"{near}\"?"),
                None => format!("the links are {}", plan::LINKS.join(", ")),
            }),
        });
    }
    if let Some(each) = &args.each {
        more_than_nothing("each", each, Dimension::Time)?;
    }
    if let Some(size) = &args.size {
        more_than_nothing("size", size, Dimension::DataSize)?;
    }
    if let Some(limit) = &args.at_most {
        let rate = quantity::parse_event_rate(limit)
            .map_err(|e| wrong("at-most", limit, e.to_string()))?;
        if rate.count <= 0.0 {
            return Err(wrong("at-most", limit, "this lets nothing pass"));
        }
    }
    if let Some(priority) = args.priority.filter(|p| !(0..=7).contains(p)) {
        let why = "a priority is 0 to 7, and 0 goes first";
        return Err(wrong("priority", &priority.to_string(), why));
    }
    Ok(())
}

fn more_than_nothing(
    flag: &'static str,
    value: &str,
    of: Dimension,
) -> Result<f64, PlaceCommandError> {
    let amount =
        quantity::parse_amount(value, of).map_err(|e| wrong(flag, value, e.to_string()))?;
    if amount.si > 0.0 {
        Ok(amount.si)
    } else {
        Err(wrong(flag, value, "this has to be more than nothing"))
    }
}

fn along(value: &str) -> Result<Along, PlaceCommandError> {
    let at = || PlaceCommandError::At {
        value: value.to_owned(),
    };
    let (section, length) = value.split_once(':').ok_or_else(at)?;
    let section = section.strip_prefix("section.").ok_or_else(at)?;
    Ok(Along {
        section: section.to_owned(),
        from_top_m: more_than_nothing("at", length, Dimension::Length)?,
    })
}

fn text_of(file: &Path) -> Result<String, PlaceCommandError> {
    let wrong = |why: String| PlaceCommandError::Unread {
        path: file.display().to_string(),
        why,
    };
    let bytes = plan::from_disk(file).map_err(|e| wrong(e.to_string()))?;
    if bytes.len() > plan::LARGEST_FILE {
        let most = plan::LARGEST_FILE / 1024 / 1024;
        return Err(wrong(format!("it is larger than {most} MiB")));
    }
    String::from_utf8(bytes).map_err(|_| wrong("it is not UTF-8 text".to_owned()))
}

/// A catalogue by the name under which the plan will include it; none where the plan includes it already.
fn catalogue(
    file: &Path,
    reading: &Reading,
) -> Result<Option<(String, String)>, PlaceCommandError> {
    let text = text_of(file)?;
    let same = |path: &Path| match (path.canonicalize(), file.canonicalize()) {
        (Ok(a), Ok(b)) => a == b,
        _ => false,
    };
    if reading.sources.iter().any(|(_, s)| same(&s.path)) {
        return Ok(None);
    }
    let own = file.file_name().map_or_else(
        || "catalogue.toml".to_owned(),
        |n| n.to_string_lossy().into_owned(),
    );
    let mut name = own;
    let taken = |name: &str| {
        let mut all = reading.sources.iter();
        all.any(|(_, s)| s.path.file_name().is_some_and(|n| n == name))
    };
    while taken(&name) {
        name = format!("added-{name}");
    }
    Ok(Some((name, text)))
}

/// Tables that come with the module.
fn brought(file: &Path) -> Result<String, PlaceCommandError> {
    let text = text_of(file)?;
    let path = || file.display().to_string();
    match foreign_table(&text) {
        Ok(None) => Ok(text),
        Ok(Some(table)) => Err(PlaceCommandError::Foreign {
            path: path(),
            table,
        }),
        Err(error) => Err(PlaceCommandError::Unread {
            path: path(),
            why: error.to_string(),
        }),
    }
}
