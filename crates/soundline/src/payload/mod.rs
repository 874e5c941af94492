//! `soundline payload`: what a topic's messages look like, byte by byte, and the code that makes and reads them.

mod files;
mod record;

use std::io::Write;
use std::path::PathBuf;

use assess::input::{InputError, layout, payload_bytes};
use jiff::Timestamp;
use network::{Numbers, PackError, UnpackError};
use plan::Line;
use report::{
    PackedTopic, ReadMessage, SentMessage, read_json, read_text, sent_json, sent_text, topics_json,
    topics_text,
};
use serde_json::{Value, json};

use crate::exit::Exit;
use crate::failure::Failure;
use crate::out::{Format, Out};
use crate::outputs::{self, Outputs, shown};
use crate::plan_file;
use record::RecordError;

/// Show how a topic's fields are packed into bits, pack a record or read a message, and write an encoder and decoders in C and Python.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// The plan.
    plan: PathBuf,
    /// Only this topic, such as alert/call.
    #[arg(long, value_name = "TOPIC")]
    topic: Option<String>,
    /// Pack this record: "level=121.3, class=whistle, time=2027-03-15T04:15:00Z". A number that is left out, or no-data, is sent as no data.
    #[arg(long, value_name = "FIELDS", conflicts_with = "decode")]
    encode: Option<String>,
    /// Sequence number of the record, for a topic with one.
    #[arg(long, value_name = "NUMBER", requires = "encode")]
    sequence: Option<u32>,
    /// Which of its publisher's starts the record is of, for a topic that counts them.
    #[arg(long, value_name = "NUMBER", requires = "encode")]
    starts: Option<u32>,
    /// Read this message, in hexadecimal. Its topic need not be named where each has a schema id.
    #[arg(long, value_name = "HEX")]
    decode: Option<String>,
    /// When the message was received, such as 2027-03-15T04:15:00Z: a time in it is read as the nearest that it can be.
    #[arg(long, value_name = "TIME", value_parser = crate::listen::instant, requires = "decode")]
    received: Option<Timestamp>,
    /// Write an encoder and decoder in C99 and a decoder in Python into this folder: TOPIC.h, TOPIC.c and TOPIC.py.
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Replace these files if they exist.
    #[arg(long)]
    force: bool,
}

/// Why a payload could not be told.
#[derive(Debug, thiserror::Error)]
pub(crate) enum PayloadCommandError {
    /// Fields that cannot be laid out.
    #[error("{0}")]
    Input(#[from] InputError),
    /// The plan has no such topic.
    #[error("the plan has no topic `{topic}`; it has {}", .topics.join(", "))]
    UnknownTopic {
        /// As it was named.
        topic: String,
        /// Those there are.
        topics: Vec<String>,
    },
    /// The topic gives a size and no fields.
    #[error("the topic `{topic}` gives its size and no fields, so nothing is known of its bytes")]
    NoFields {
        /// The topic.
        topic: String,
    },
    /// No topic has fields.
    #[error("no topic of the plan has fields")]
    NoTopic,
    /// Several topics have fields, and none was named.
    #[error("several topics have fields: {}", .topics.join(", "))]
    WhichTopic {
        /// Those.
        topics: Vec<String>,
    },
    /// A record that is not written as one.
    #[error(transparent)]
    Record(#[from] RecordError),
    /// A record that cannot be packed.
    #[error("the record cannot be packed: {0}")]
    Pack(#[from] PackError),
    /// Digits that are no bytes.
    #[error(
        "`{text}` is no message in hexadecimal: two digits a byte, spaces between bytes allowed"
    )]
    Hex {
        /// As it was written.
        text: String,
    },
    /// A message that is none of this topic.
    #[error("the message is none of topic `{topic}`: {source}")]
    Unpack {
        /// The topic.
        topic: String,
        /// Why.
        source: UnpackError,
    },
    /// A time of reception that 64 bits of nanoseconds do not hold.
    #[error("the time of reception lies outside of the years 1678 to 2261")]
    Received,
    /// Two topics whose files would have the same name.
    #[error("the files of the topics `{first}` and `{second}` would both be {name}.c")]
    SameFile {
        /// One topic.
        first: String,
        /// The other.
        second: String,
        /// The name of both.
        name: String,
    },
}

impl PayloadCommandError {
    /// What to do.
    pub(crate) fn help(&self) -> Option<String> {
        match self {
            PayloadCommandError::WhichTopic { topics } => {
                let first = topics.first()?;
                Some(format!("name one, such as --topic {first}"))
            }
            PayloadCommandError::SameFile { first, .. } => Some(format!(
                "write the files of one topic a time, with --topic {first}"
            )),
            PayloadCommandError::Unpack {
                source: UnpackError::NoReception { .. },
                ..
            } => Some("add --received with the time, such as 2027-03-15T04:15:00Z".to_owned()),
            PayloadCommandError::Pack(PackError::NoSequence { .. }) => {
                Some("add --sequence with a number".to_owned())
            }
            PayloadCommandError::Pack(PackError::NoStarts { .. }) => {
                Some("add --starts with a number, 0 before the first restart".to_owned())
            }
            _ => None,
        }
    }
}

pub(crate) fn run(args: &Args, out: &mut Out) -> Result<Exit, Failure> {
    let reading = plan_file::read_and_show(&args.plan, out)?;
    let line = plan_file::line(&reading, &args.plan)?;
    let told = told(args, line)?;
    let outputs = Outputs::new(args.force, plan_file::inputs(&reading.sources));
    let paths = match &args.out {
        Some(folder) => files::write(folder, &told.topics, &outputs)?,
        None => Vec::new(),
    };
    let name = &line.deployment.name;
    match out.format {
        Format::Text => {
            let text = match (&told.sent, &told.read) {
                (Some(sent), _) => sent_text(name, sent),
                (None, Some(read)) => read_text(name, read),
                (None, None) => topics_text(name, &told.topics, &told.sized),
            };
            out.stdout.write_all(text.as_bytes())?;
            let written = paths.iter().map(|path| ("written", path.as_path()));
            outputs::tell(&mut out.stdout, written)?;
        }
        Format::Json => {
            let mut whole = out.of_plan(topics_json(name, &told.topics, &told.sized));
            whole["sent"] = told.sent.as_ref().map_or(Value::Null, sent_json);
            whole["read"] = told.read.as_ref().map_or(Value::Null, read_json);
            whole["files"] = json!(shown(paths.iter().map(PathBuf::as_path)));
            out.json(&whole)?;
        }
    }
    Ok(Exit::Met)
}

/// What is told.
struct Told {
    topics: Vec<PackedTopic>,
    /// Topics that give a size, and it.
    sized: Vec<(String, u32)>,
    sent: Option<SentMessage>,
    read: Option<ReadMessage>,
}

fn told(args: &Args, line: &Line) -> Result<Told, PayloadCommandError> {
    let mut topics = Vec::new();
    let mut sized = Vec::new();
    let start_ns = line
        .deployment
        .start
        .and_then(|start| i64::try_from(start.as_nanosecond()).ok());
    let wanted = |name: &String| args.topic.as_ref().is_none_or(|topic| topic == name);
    for topic in line.topics.iter().filter(|t| wanted(&t.name)) {
        match layout(topic)? {
            Some(layout) => topics.push(PackedTopic::new(&topic.name, layout, start_ns)),
            None => sized.push((topic.name.clone(), payload_bytes(topic)?)),
        }
    }
    if topics.is_empty()
        && sized.is_empty()
        && let Some(topic) = &args.topic
    {
        if line.topics.is_empty() {
            return Err(PayloadCommandError::NoTopic);
        }
        return Err(PayloadCommandError::UnknownTopic {
            topic: topic.clone(),
            topics: line.topics.iter().map(|t| t.name.clone()).collect(),
        });
    }
    let one = || one(&topics, &sized);
    let sent = match &args.encode {
        Some(text) => Some({
            let numbers = Numbers {
                sequence: args.sequence,
                starts: args.starts,
            };
            sent(one()?, text, numbers)?
        }),
        None => None,
    };
    let read = match &args.decode {
        Some(text) => {
            let bytes =
                bytes(text).ok_or_else(|| PayloadCommandError::Hex { text: text.clone() })?;
            let topic = by_schema(&topics, &bytes).map_or_else(one, Ok)?;
            Some(read(topic, &bytes, args.received)?)
        }
        None => None,
    };
    if args.out.is_some() && topics.is_empty() {
        one()?;
    }
    Ok(Told {
        topics,
        sized,
        sent,
        read,
    })
}

/// The one topic that a record or a message is of.
fn one<'t>(
    topics: &'t [PackedTopic],
    sized: &[(String, u32)],
) -> Result<&'t PackedTopic, PayloadCommandError> {
    match (topics, sized) {
        ([topic], _) => Ok(topic),
        ([], [(topic, _)]) => Err(PayloadCommandError::NoFields {
            topic: topic.clone(),
        }),
        ([], _) => Err(PayloadCommandError::NoTopic),
        _ => Err(PayloadCommandError::WhichTopic {
            topics: topics.iter().map(|t| t.topic.clone()).collect(),
        }),
    }
}

fn sent(
    topic: &PackedTopic,
    text: &str,
    numbers: Numbers,
) -> Result<SentMessage, PayloadCommandError> {
    let values = record::values(&topic.layout, text)?;
    let packed = topic.layout.pack(numbers, &values)?;
    Ok(SentMessage::new(topic, numbers, values, packed))
}

/// The topic whose schema id the message begins with, where every topic has one.
fn by_schema<'t>(topics: &'t [PackedTopic], bytes: &[u8]) -> Option<&'t PackedTopic> {
    let id = |topic: &PackedTopic| topic.layout.frame().schema;
    if topics.len() < 2 || topics.iter().any(|topic| id(topic).is_none()) {
        return None;
    }
    let first = bytes.first().copied();
    topics.iter().find(|topic| id(topic) == first)
}

fn read(
    topic: &PackedTopic,
    bytes: &[u8],
    received: Option<Timestamp>,
) -> Result<ReadMessage, PayloadCommandError> {
    let received_ns = received
        .map(|t| i64::try_from(t.as_nanosecond()).map_err(|_| PayloadCommandError::Received))
        .transpose()?;
    let unpacked =
        topic
            .layout
            .unpack(bytes, received_ns)
            .map_err(|source| PayloadCommandError::Unpack {
                topic: topic.topic.clone(),
                source,
            })?;
    Ok(ReadMessage::new(topic, unpacked))
}

/// Bytes in hexadecimal, with spaces between them or not.
fn bytes(text: &str) -> Option<Vec<u8>> {
    let mut all = Vec::new();
    for word in text.split_whitespace() {
        if word.len() % 2 != 0 || !word.bytes().all(|b| b.is_ascii_hexdigit()) {
            return None;
        }
        for at in (0..word.len()).step_by(2) {
            all.push(u8::from_str_radix(&word[at..at + 2], 16).ok()?);
        }
    }
    Some(all)
}
