//! `soundline rehearse --mqtt`: the rehearsal along the wall clock, mirrored to a broker, with what comes in from there.

use std::collections::BTreeMap;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::time::Duration;

use live::{
    Address, AddressError, Form, Link, LinkError, LinkSettings, LiveError, Lived, Login, Names,
    Pace, PrefixError, Settings, Told, replay_sheet,
};
use plan::{CueSheet, Line};
use rehearsal::{Outcome, Record};
use report::{Inputs, OutputError, Overwrite, PendingOutput, write_atomically};
use serde_json::{Value, json};
use timeline::Ns;

/// Where the password is looked for when no file is named.
const PASSWORD: &str = "SOUNDLINE_MQTT_PASSWORD";
/// How long the first connection may take.
const CONNECT_WITHIN: Duration = Duration::from_secs(10);
/// How many refusals are told one by one.
const TOLD: u64 = 20;

/// How the rehearsal is linked to the world.
#[derive(Debug, clap::Args)]
#[command(next_help_heading = "Live, against the world")]
pub(crate) struct LiveArgs {
    /// Run along the wall clock and mirror every message to this MQTT 5 broker: tcp://HOST[:PORT]. What comes in at
    /// PREFIX/in/MODULE/TOPIC is taken as if that module published it. Plain text: for a trusted network.
    #[arg(long, value_name = "ADDRESS")]
    mqtt: Option<String>,
    /// So many times faster than real time.
    #[arg(long, value_name = "N", default_value_t = 1.0, requires = "mqtt")]
    speed: f64,
    /// Begin all topics at the broker with this, instead of the deployment's name.
    #[arg(long, requires = "mqtt")]
    prefix: Option<String>,
    /// How payloads are written; what comes in may say another by its content type.
    #[arg(long, value_enum, default_value_t = Payload::Packed, requires = "mqtt")]
    payload: Payload,
    /// Let the rehearsal wait while there is no connection or the queue is more than half full, instead of going on.
    #[arg(long, requires = "mqtt")]
    wait: bool,
    /// Messages that may wait for the broker; those beyond are counted and not mirrored.
    #[arg(long, value_name = "MESSAGES", default_value_t = 10_000, requires = "mqtt",
          value_parser = clap::value_parser!(u32).range(1..=10_000_000))]
    queue: u32,
    /// User at the broker. The password comes from --password-file, or from the environment variable SOUNDLINE_MQTT_PASSWORD.
    #[arg(long, requires = "mqtt")]
    user: Option<String>,
    /// File whose first line is the password.
    #[arg(long, value_name = "FILE", requires = "user")]
    password_file: Option<PathBuf>,
    /// Write the cue sheet with all that came in behind it; rehearsing that gives the same result without a broker. Put it beside
    /// the cue sheet.
    #[arg(long, value_name = "FILE", requires = "mqtt")]
    record_inputs: Option<PathBuf>,
}

/// How payloads are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub(crate) enum Payload {
    /// The packed bytes, as on the line.
    Packed,
    /// A CBOR map of the fields.
    Cbor,
    /// A JSON object of the fields.
    Json,
}

/// Why a rehearsal was not linked to the world.
#[derive(Debug, thiserror::Error)]
pub(crate) enum LiveLinkError {
    /// No address.
    #[error("--mqtt: {0}")]
    Address(#[from] AddressError),
    /// No prefix.
    #[error("--prefix: {0}")]
    Prefix(#[from] PrefixError),
    /// No speed.
    #[error(
        "--speed {speed}: a rehearsal runs from 1/{:.0} to {:.0} times as fast as real time",
        1.0 / Pace::SLOWEST,
        Pace::FASTEST
    )]
    Speed {
        /// As it was given.
        speed: f64,
    },
    /// The password cannot be read.
    #[error("the password file {path} cannot be read: {source}")]
    PasswordFile {
        /// Its path.
        path: String,
        /// Why.
        source: std::io::Error,
    },
    /// A password file without a password.
    #[error("the first line of the password file {path} is empty: the password stands there")]
    EmptyPassword {
        /// Its path.
        path: String,
    },
    /// A user without a password.
    #[error(
        "--user is given, and no password: name --password-file, or set the environment variable {PASSWORD}"
    )]
    NoPassword,
    /// The plan has no links, or the broker is not there.
    #[error(transparent)]
    Live(#[from] LiveError),
    /// What came in cannot be written where it was to be.
    #[error("what came in was not recorded: {source}; {}", whereabouts(kept.as_deref()))]
    Record {
        /// Why.
        source: OutputError,
        /// Where it stands instead; otherwise it went to standard error.
        kept: Option<PathBuf>,
    },
}

fn whereabouts(kept: Option<&Path>) -> String {
    match kept {
        Some(kept) => format!("it stands in {}", kept.display()),
        None => "it stands above".to_owned(),
    }
}

impl LiveLinkError {
    /// How the user may mend it.
    pub(crate) fn help(&self) -> Option<String> {
        match self {
            LiveLinkError::Live(LiveError::Link(LinkError::Connect { .. })) => Some(
                "start an MQTT 5 broker there, or mend the address; without --mqtt the rehearsal runs by itself".to_owned(),
            ),
            LiveLinkError::Live(LiveError::Link(LinkError::Login { user, .. })) => Some(match user {
                None => "name a user that it knows with --user, and the password with --password-file".to_owned(),
                Some(_) => format!("mend --user, or the password in --password-file or {PASSWORD}"),
            }),
            LiveLinkError::Live(LiveError::NoTraffic) => Some(
                "add [traffic] to the plan, or rehearse without --mqtt".to_owned(),
            ),
            _ => None,
        }
    }
}

/// A link that stands.
pub(crate) struct Session {
    link: Option<Link>,
    names: Names,
    settings: Settings,
    pub(crate) lived: Lived,
    record_inputs: Option<PendingOutput>,
    told: u64,
}

impl LiveArgs {
    /// What came in is to be written here.
    pub(crate) fn record_inputs(&self) -> Option<&Path> {
        self.record_inputs.as_deref()
    }

    /// Connects, if a broker is named. What came in will go to `record_inputs`.
    ///
    /// # Errors
    /// [`LiveLinkError`].
    pub(crate) fn connect(
        &self,
        line: &Line,
        record_inputs: Option<PendingOutput>,
        stderr: &mut dyn Write,
    ) -> Result<Option<Session>, LiveLinkError> {
        let Some(address) = &self.mqtt else {
            return Ok(None);
        };
        let address = Address::parse(address)?;
        let pace = Pace::new(self.speed).ok_or(LiveLinkError::Speed { speed: self.speed })?;
        let prefix = match &self.prefix {
            Some(prefix) => prefix.clone(),
            None => Names::prefix_of(&line.deployment.name),
        };
        let names = Names::new(&prefix)?;
        if line.traffic.is_none() {
            return Err(LiveError::NoTraffic.into());
        }
        let login = self.login()?;
        let here = address.is_this_machine();
        let told = format!("mirroring to {address}, below {prefix}/");
        let settings = LinkSettings {
            address,
            client: format!("soundline-{}-{prefix}", std::process::id()),
            login,
            queue: self.queue as usize,
        };
        let link = Link::connect(&settings, &names, CONNECT_WITHIN).map_err(LiveError::from)?;
        tell(stderr, &told);
        if !here {
            tell(
                stderr,
                "all of it goes over the network in plain text, a password too: for a trusted network only",
            );
        }
        Ok(Some(Session {
            link: Some(link),
            names,
            settings: Settings {
                pace,
                wait: self.wait,
                form: match self.payload {
                    Payload::Packed => Form::Packed,
                    Payload::Cbor => Form::Cbor,
                    Payload::Json => Form::Json,
                },
            },
            lived: Lived::default(),
            record_inputs,
            told: 0,
        }))
    }

    fn login(&self) -> Result<Option<Login>, LiveLinkError> {
        let Some(user) = &self.user else {
            return Ok(None);
        };
        let password = match &self.password_file {
            Some(path) => {
                let text = std::fs::read_to_string(path).map_err(|source| {
                    let path = path.display().to_string();
                    LiveLinkError::PasswordFile { path, source }
                })?;
                let first = text.lines().next().unwrap_or_default();
                if first.is_empty() {
                    let path = path.display().to_string();
                    return Err(LiveLinkError::EmptyPassword { path });
                }
                first.to_owned()
            }
            None => std::env::var(PASSWORD)
                .ok()
                .filter(|password| !password.is_empty())
                .ok_or(LiveLinkError::NoPassword)?,
        };
        let user = user.clone();
        Ok(Some(Login { user, password }))
    }
}

impl Session {
    /// Runs the rehearsal along the wall clock.
    ///
    /// # Errors
    /// [`LiveError`].
    pub(crate) fn run(
        &mut self,
        line: &Line,
        cues: &CueSheet,
        stderr: &mut dyn Write,
        sink: &mut dyn FnMut(&Record),
        watch: &mut dyn FnMut(Ns) -> bool,
    ) -> Result<Outcome, LiveError> {
        let link = self.link.take().expect("a session runs once");
        let refusals = &mut self.told;
        let mut told = |what: &Told<'_>| {
            if matches!(what, Told::Refused { .. }) {
                *refusals += 1;
                if *refusals > TOLD {
                    return;
                }
            }
            tell(stderr, &words(what));
            if *refusals == TOLD && matches!(what, Told::Refused { .. }) {
                tell(
                    stderr,
                    "what is not taken from now on is told at the end, in numbers",
                );
            }
        };
        live::run(
            line,
            cues,
            &self.names,
            &self.settings,
            link,
            sink,
            watch,
            &mut told,
            &mut self.lived,
        )
    }

    /// Writes what came in, where that was asked for; also of a rehearsal that was stopped. Gives the path. Where it cannot be written there it is left among
    /// the temporary files, or else told on `stderr`: it cannot be had again.
    ///
    /// # Errors
    /// [`LiveLinkError::Record`].
    pub(crate) fn record(
        &mut self,
        text: &str,
        line: &Line,
        cues: &CueSheet,
        stderr: &mut dyn Write,
    ) -> Result<Option<PathBuf>, LiveLinkError> {
        let Some(output) = self.record_inputs.take() else {
            return Ok(None);
        };
        let layouts = line.topics.iter().map(assess::input::layout);
        let layouts = layouts
            .collect::<Result<Vec<_>, _>>()
            .map_err(LiveError::from)?;
        let answers = line
            .requests
            .iter()
            .map(|q| assess::input::request_layouts(q).map(|[_, answer]| answer));
        let answers = answers
            .collect::<Result<Vec<_>, _>>()
            .map_err(LiveError::from)?;
        let sheet = replay_sheet(text, line, cues, [&layouts, &answers], &self.lived);
        let path = output.path().to_path_buf();
        let Err(source) = output.finish(|file| file.write_all(sheet.as_bytes())) else {
            return Ok(Some(path));
        };
        let name = format!("soundline-inputs-{}.toml", std::process::id());
        let elsewhere = std::env::temp_dir().join(name);
        let left = write_atomically(
            &elsewhere,
            sheet.as_bytes(),
            Overwrite::Refuse,
            &Inputs::none(),
        );
        let kept = left.is_ok().then_some(elsewhere);
        if kept.is_none() {
            tell(stderr, &sheet);
        }
        Err(LiveLinkError::Record { source, kept })
    }

    /// Whether anything came in that the cue sheet does not say.
    pub(crate) fn is_of_the_world(&self) -> bool {
        self.lived.came_in()
    }

    /// What it was, for the document.
    pub(crate) fn json(&self, recorded: Option<&Path>) -> Value {
        let lived = &self.lived;
        let refused: BTreeMap<&str, u64> = lived.refused.clone();
        json!({
            "prefix": self.names.prefix(),
            "speed": self.settings.pace.speed(),
            "latest_s": lived.latest.as_secs_f64(),
            "waited_s": lived.held.as_secs_f64(),
            "to_mirror": lived.mirrored,
            "told": lived.counts.told,
            "told_again": lived.counts.again,
            "not_told": {
                "queue_full": lived.counts.queue_full,
                "too_many_refusals": lived.counts.asides_full,
                "refused_by_broker": lived.counts.not_allowed,
                "left_at_the_end": lived.counts.left,
                "no_such_form": lived.no_form,
            },
            "connection": { "breaks": lived.counts.breaks, "failed_attempts": lived.counts.failed },
            "came_in": { "entered": lived.entered.len() + lived.answers.len(), "answers": lived.answers.len(), "clamped_values": lived.clamped, "refused": refused },
            "recorded": recorded.map(|p| p.display().to_string()),
        })
    }

    /// The same for the text.
    pub(crate) fn text(&self, recorded: Option<&Path>) -> String {
        let lived = &self.lived;
        let counts = &lived.counts;
        let mut lines = vec![format!(
            "Live, {} times as fast as real time, below {}/: {} messages to mirror, {} told in all (states and refusals too), {} not told",
            self.settings.pace.speed(),
            self.names.prefix(),
            lived.mirrored,
            counts.told,
            counts.not_told() + lived.no_form,
        )];
        for (count, why) in [
            (counts.queue_full, "not told: the queue was full"),
            (
                counts.asides_full,
                "not told: messages not taken, of which too many waited to be told",
            ),
            (counts.not_allowed, "not told: the broker refused"),
            (counts.left, "not told: not acknowledged by the end"),
            (lived.no_form, "not told: no such form"),
            (
                counts.again,
                "told again after a break: a subscriber may have seen them twice",
            ),
            (counts.breaks, "breaks of the connection"),
            (counts.failed, "attempts to connect that failed"),
            (
                lived.clamped,
                "values that came in lay outside their field and became the end of it",
            ),
        ] {
            if count > 0 {
                lines.push(format!("  {count} {why}"));
            }
        }
        lines.push(format!(
            "  at most {:.3} s late; waited {:.1} s",
            lived.latest.as_secs_f64(),
            lived.held.as_secs_f64()
        ));
        let refused: Vec<String> = lived
            .refused
            .iter()
            .map(|(word, count)| format!("{word} {count}"))
            .collect();
        let refused = match lived.refusals() {
            0 => String::new(),
            n => format!(", {n} not taken ({})", refused.join(", ")),
        };
        let answers = match lived.answers.len() {
            0 => String::new(),
            n => format!(", {n} of them answers"),
        };
        lines.push(format!(
            "  {} came in and entered{answers}{refused}",
            lived.entered.len() + lived.answers.len()
        ));
        if let Some(recorded) = recorded {
            lines.push(format!("inputs: {}", recorded.display()));
        }
        if self.is_of_the_world() {
            lines.push(
                "no evidence: what came in is in no cue sheet; record it with --record-inputs and rehearse that"
                    .to_owned(),
            );
        }
        lines.join("\n")
    }
}

fn words(told: &Told<'_>) -> String {
    match told {
        Told::Refused { topic, why } => format!("not taken: {topic}: {why}"),
        Told::Broke { why } => {
            format!("the connection to the broker broke: {why}; connecting again")
        }
        Told::Back => "the broker is there again".to_owned(),
        Told::Late { by } => format!(
            "the rehearsal is {:.1} s late: this machine cannot follow at this speed",
            by.as_secs_f64()
        ),
        Told::Full { most } => format!(
            "{most} messages wait for the broker; those beyond are not mirrored (--queue holds more, --wait lets the rehearsal wait)"
        ),
    }
}

/// A line for the user. One that went away stops nothing.
fn tell(stderr: &mut dyn Write, line: &str) {
    drop(writeln!(stderr, "{line}"));
}
