//! The resolved cue sheet: sounds, faults, inputs and expectations, each with its time.
//!
//! Times are seconds from the start of the rehearsal. Every list is sorted by id.

use std::f64::consts::PI;
use std::path::PathBuf;

use jiff::Timestamp;

use crate::cue_fault::{Fault, FaultIx};
use crate::line::RequestIx;
use crate::line::{
    BehaviourIx, Decibels, DetectorIx, FieldValue, ModuleIx, NoticeKind, OutputIx, Q, StreamIx,
    TopicIx, UplinkIx, VoteIx,
};
use crate::site::Site;

/// A cue sheet, resolved against a line.
#[derive(Clone, Debug)]
pub struct CueSheet {
    /// Name shown on every output.
    pub name: String,
    /// UTC instant at which the rehearsal begins; the deployment's start when absent.
    pub start: Option<Timestamp>,
    /// Length of the rehearsal, s.
    pub duration_s: Q,
    /// Seed of every random draw.
    pub seed: u64,
    /// Wind speed, m/s.
    pub wind_m_s: Q,
    /// Significant wave height, m.
    pub wave_height_m: Option<Q>,
    /// Whether contacts are new or aged.
    pub contacts_aged: bool,
    /// Whether the supplies come on at its first instant and every module boots then; otherwise all are at work from the beginning.
    pub begins_switched_on: bool,
    /// Sounds.
    pub sounds: Vec<Sound>,
    /// Faults.
    pub faults: Vec<Fault>,
    /// Messages that arrive from outside, as if a module had published them.
    pub inputs: Vec<InputCue>,
    /// Answers that arrive from outside, as if the module that was asked had given them.
    pub answers: Vec<AnswerCue>,
    /// What must be seen.
    pub expects: Vec<Expect>,
}

/// Index into [`CueSheet::sounds`].
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub struct SoundIx(pub usize);

/// A sound at a place that may move.
#[derive(Clone, Debug)]
pub struct Sound {
    /// Id.
    pub id: String,
    /// Where it was declared.
    pub at: Site,
    /// When it begins at its source, s.
    pub at_s: Q,
    /// What it is.
    pub what: SoundKind,
    /// Source level, dB re 1 uPa m: rms over the sounding time of a call, pulse or hum; of a `recording` the rms over its whole length.
    pub source_level_db: Decibels,
    /// Where the source is; times count from the sound's own beginning. One point is a source that stays.
    pub track: Vec<TrackPoint>,
    /// Repeats.
    pub repeats: Option<Repeats>,
}

/// A point of a track; between points the source moves in a straight line, before the first and after the last it stays.
#[derive(Clone, Copy, Debug)]
pub struct TrackPoint {
    /// Time since the sound's beginning, s.
    pub after_s: Q,
    /// Horizontal range from the line, m.
    pub range_m: Q,
    /// Bearing from the line, degrees from north.
    pub bearing_deg: Q,
    /// Depth, m.
    pub depth_m: Q,
}

impl TrackPoint {
    /// Fastest source, m/s: a fifteenth of the speed of sound, twice the fastest vessel. Below it the delay converges fast and
    /// Doppler stays under 7 %.
    pub const FASTEST_M_S: f64 = 100.0;

    /// Where it is, m: x east, y north, z down, from the line's place at the surface.
    #[must_use]
    pub fn place_m(&self) -> [f64; 3] {
        let (range_m, bearing) = (self.range_m.si, self.bearing_deg.si / 180.0 * PI);
        [
            range_m * libm::sin(bearing),
            range_m * libm::cos(bearing),
            self.depth_m.si,
        ]
    }

    /// Straight distance to another point, m.
    #[must_use]
    pub fn distance_m(&self, to: &TrackPoint) -> f64 {
        let (a, b) = (self.place_m(), to.place_m());
        let d = [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
        (d[0] * d[0] + d[1] * d[1] + d[2] * d[2]).sqrt()
    }
}

/// A sound that is heard several times.
#[derive(Clone, Copy, Debug)]
pub struct Repeats {
    /// From beginning to beginning, s.
    pub every_s: Q,
    /// How often it is heard in all.
    pub times: u32,
}

/// A sound.
#[derive(Clone, Debug)]
pub enum SoundKind {
    /// A tone that rises or falls linearly.
    Upsweep {
        /// First frequency, Hz.
        from_hz: Q,
        /// Last frequency, Hz.
        to_hz: Q,
        /// Length, s.
        length_s: Q,
    },
    /// A steady tone.
    Tone {
        /// Frequency, Hz.
        frequency_hz: Q,
        /// Length, s.
        length_s: Q,
    },
    /// Equal tone pulses.
    PulseTrain {
        /// Frequency within a pulse, Hz.
        frequency_hz: Q,
        /// Length of a pulse, s.
        pulse_s: Q,
        /// From pulse to pulse, s.
        interval_s: Q,
        /// Number of pulses.
        pulses: u32,
    },
    /// Short broadband clicks.
    ClickTrain {
        /// Centre frequency, Hz.
        centre_hz: Q,
        /// Length of a click, s.
        click_s: Q,
        /// From click to click, s.
        interval_s: Q,
        /// Number of clicks.
        clicks: u32,
    },
    /// Broadband noise with blade-rate lines, as of a vessel.
    Hum {
        /// Lower edge of the broadband part, Hz.
        low_hz: Q,
        /// Upper edge, Hz.
        high_hz: Q,
        /// Blade rate, Hz; no lines when absent.
        blade_rate_hz: Option<Q>,
        /// Length, s.
        length_s: Q,
    },
    /// A recording, played as the source.
    Recording {
        /// The file, already joined to the cue sheet's folder.
        path: PathBuf,
        /// Number of the channel, from 1; `None` only fits a recording with a single one.
        channel: Option<u32>,
    },
}

/// A message from outside.
#[derive(Clone, Debug)]
pub struct InputCue {
    /// Id.
    pub id: String,
    /// Where it was declared.
    pub at: Site,
    /// When, s.
    pub at_s: Q,
    /// The module that seems to publish it.
    pub module: ModuleIx,
    /// The topic.
    pub topic: TopicIx,
    /// What its fields hold, one value a field; absent where the cue sheet says nothing of it.
    pub values: Option<Vec<FieldValue>>,
}

/// An answer from outside.
#[derive(Clone, Debug)]
pub struct AnswerCue {
    /// Id.
    pub id: String,
    /// Where it was declared.
    pub at: Site,
    /// When, s.
    pub at_s: Q,
    /// The request.
    pub request: RequestIx,
    /// Which question, by its number; the oldest that has reached its module and still waits when absent.
    pub ask: Option<u64>,
    /// What the fields of the answer hold, one value a field; absent of one that gives a size only.
    pub values: Option<Vec<FieldValue>>,
}

/// From when to when an expectation looks.
#[derive(Clone, Copy, Debug)]
pub enum Within {
    /// From the moment a sound first reaches the hydrophone of the detector in question (or the first hydrophone), for a time in s.
    /// The thing looked for must be traced back to that sound where it has a cause.
    After {
        /// The sound.
        sound: SoundIx,
        /// For how long, s.
        within_s: Q,
    },
    /// From the moment at which a fault is over, for a time in s.
    AfterFault {
        /// The fault.
        fault: FaultIx,
        /// For how long, s.
        within_s: Q,
    },
    /// Between two times of the rehearsal, s.
    Between {
        /// From, s (0 when not written).
        from_s: f64,
        /// Until, s (the end when not written).
        until_s: f64,
    },
}

/// How many times something must be seen.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Count {
    /// At least this often.
    pub at_least: u32,
    /// At most this often.
    pub at_most: Option<u32>,
}

/// What must be seen.
#[derive(Clone, Debug)]
pub struct Expect {
    /// Id.
    pub id: String,
    /// Where it was declared.
    pub at: Site,
    /// When to look.
    pub within: Within,
    /// What to look for.
    pub what: ExpectKind,
}

/// What an expectation looks for.
#[derive(Clone, Debug)]
pub enum ExpectKind {
    /// Notices of a detector.
    Notice {
        /// The detector.
        of: DetectorIx,
        /// The notice.
        notice: NoticeKind,
        /// How many.
        count: Count,
    },
    /// A vote is carried.
    Voted {
        /// The vote.
        of: VoteIx,
        /// How many times.
        count: Count,
    },
    /// An output switches on or off.
    Switched {
        /// The output.
        of: OutputIx,
        /// On or off.
        on: bool,
        /// How many.
        count: Count,
    },
    /// An output is on, or off, all the time.
    Stays {
        /// The output.
        of: OutputIx,
        /// On or off.
        on: bool,
        /// Whether that is asked for as its fail-safe state.
        fail_safe: bool,
    },
    /// A topic reaches a module.
    Delivered {
        /// The topic.
        topic: TopicIx,
        /// The module.
        to: ModuleIx,
        /// How many.
        count: Count,
    },
    /// Messages sent up an uplink.
    Sent {
        /// The uplink.
        of: UplinkIx,
        /// How many.
        count: Count,
    },
    /// Messages lost on the way, for whatever reason.
    Lost {
        /// The topic.
        topic: TopicIx,
        /// How many.
        count: Count,
    },
    /// The voltage at a module stays within limits.
    Voltage {
        /// The module.
        of: ModuleIx,
        /// Lowest, V.
        at_least_v: Option<Q>,
        /// Highest, V.
        at_most_v: Option<Q>,
    },
    /// A topic reaches a module later than it may.
    Late {
        /// The topic.
        topic: TopicIx,
        /// The module; any when absent.
        to: Option<ModuleIx>,
        /// From publication to delivery, s; later than this is late. The bound of `check` when absent.
        beyond_s: Option<Q>,
        /// How many.
        count: Count,
    },
    /// Packets of a stream come to an end of their way: as asked for, all of them, those lost, or those delivered late.
    Packets {
        /// The stream.
        of: StreamIx,
        /// Which.
        which: Packets,
        /// How many.
        count: Count,
    },
    /// A routine stops.
    Stopped {
        /// Its behaviours in the line: one for each thing that starts it.
        of: Vec<BehaviourIx>,
        /// How many times.
        count: Count,
    },
    /// After a fault, a module works again or is told a topic again.
    Recovered(Recovery),
    /// A module loses its power or restarts.
    Down {
        /// The module.
        of: ModuleIx,
        /// How many times.
        count: Count,
    },
}

/// Which packets of a stream.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Packets {
    /// Those that are delivered.
    Delivered,
    /// Those that are lost, for whatever reason.
    Lost,
    /// Those that are delivered, but took longer than this.
    Late {
        /// From sending to delivery, s; the bound of `check` when absent.
        beyond_s: Option<Q>,
    },
}

/// What is to recover after a fault.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Recovery {
    /// A module that went down while the fault held works again.
    Module(ModuleIx),
    /// A stream comes again in time.
    Stream(StreamIx),
    /// A module is told a topic again.
    Topic {
        /// The topic.
        topic: TopicIx,
        /// The module.
        to: ModuleIx,
    },
}
