//! Why a rehearsal cannot be run.

use assess::input::InputError;
use timeline::Ns;

/// Why a rehearsal cannot be run, or not to its end.
#[derive(Debug, thiserror::Error)]
pub enum RehearsalError {
    /// A discipline's input cannot be built.
    #[error(transparent)]
    Input(#[from] InputError),
    /// The plan leaves something open that the rehearsal needs.
    #[error("the plan leaves open what the rehearsal needs: {}", what.join("; "))]
    NotSaid {
        /// What.
        what: Vec<String>,
    },
    /// The line does not come up, or nobody can say whether.
    #[error("the line does not come up as its supplies come on: {why}")]
    DoesNotStart {
        /// Why.
        why: String,
    },
    /// A link that several stations share, and nobody says who asks them.
    #[error(
        "{what} is shared by stations that speak only when asked, and the plan does not say who asks: add `polled_by`"
    )]
    SharedLink {
        /// Its typed path.
        what: String,
    },
    /// A hydrophone cannot hear.
    #[error("{sensor}: {source}")]
    Ear {
        /// Typed path of the sensor.
        sensor: String,
        /// Why.
        source: crate::ear::EarError,
    },
    /// A sound of the cue sheet cannot sound.
    #[error(transparent)]
    Sound(crate::ear::EarError),
    /// A detector cannot be built.
    #[error("detector.{detector}: {source}")]
    Detector {
        /// Its id.
        detector: String,
        /// Why.
        source: detect::SpecError,
    },
    /// A vote cannot be held.
    #[error("vote.{vote}: {source}")]
    Vote {
        /// Its id.
        vote: String,
        /// Why.
        source: detect::VoteError,
    },
    /// The network of links refuses something.
    #[error("at {at}: the links: {source}")]
    Machine {
        /// When.
        at: Ns,
        /// Why.
        source: network::MachineError,
    },
    /// An uplink refuses something.
    #[error("at {at}: uplink.{uplink}: {source}")]
    Uplink {
        /// When.
        at: Ns,
        /// Its id.
        uplink: String,
        /// Why.
        source: network::UplinkError,
    },
    /// The electric network has no answer for another reason than its load.
    #[error("at {at}: the power network: {source}")]
    Power {
        /// When.
        at: Ns,
        /// Why.
        source: power::NetworkError,
    },
    /// Modules switch each other on and off without end.
    #[error(
        "at {at}: module.{module} has restarted {times} times: it switches on and off without end, for its boot or a load on the line is more than the line carries; `soundline check` tells how much it carries"
    )]
    RestartLoop {
        /// When.
        at: Ns,
        /// The module.
        module: String,
        /// How often.
        times: u32,
    },
    /// A message cannot be packed.
    #[error("at {at}: topic \"{topic}\": {why}")]
    Content {
        /// When.
        at: Ns,
        /// Its topic.
        topic: String,
        /// Why.
        why: String,
    },
    /// A behaviour starts without end at one instant.
    #[error("behaviour.{behaviour} starts every {period_s} s, which is no whole nanosecond")]
    NoInterval {
        /// Its id.
        behaviour: String,
        /// Its interval, s.
        period_s: f64,
    },
    /// The caller asked to stop.
    #[error("cancelled at {at} of the rehearsal")]
    Cancelled {
        /// How far it had come.
        at: Ns,
    },
}

impl RehearsalError {
    /// Id of the sound of the cue sheet that it is about, where it is about one.
    #[must_use]
    pub fn sound(&self) -> Option<&str> {
        match self {
            RehearsalError::Ear { source, .. } | RehearsalError::Sound(source) => source.sound(),
            _ => None,
        }
    }
}
