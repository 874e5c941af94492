//! The link between a rehearsal and the world: topics mirrored to and from an MQTT 5 broker.
//!
//! - [`run`] steps a rehearsal along the wall clock, mirrors what its modules publish and are delivered, and hands in what comes
//!   from the world as if a module published it.
//! - [`Pace`] says what is due when; [`Names`] maps topics; [`Form`] writes and reads payloads; [`Refused`] says why something that
//!   came in is not taken. These are pure.
//! - [`Link`] is the socket: an MQTT 5 client (OASIS MQTT 5.0) that connects again by itself, with a bounded queue.
//! - [`Address`] reads where the broker is; [`replay_sheet`] writes what came in as a cue sheet.
//!
//! TCP without encryption only: for a trusted network.

mod address;
mod form;
mod json;
mod link;
mod names;
mod pace;
mod refused;
mod replay;
mod run;
mod waiting;

pub use address::{Address, AddressError};
pub use form::{Form, FormError, Read};
pub use json::JsonError;
pub use link::{Link, LinkError, LinkSettings, Login};
pub use names::{MAX_PREFIX_BYTES, Names, PrefixError};
pub use pace::Pace;
pub use refused::{MOST_BYTES, MOST_SHOWN, Refused, shown};
pub use replay::replay_sheet;
pub use run::{Entered, EnteredAnswer, LiveError, Lived, Settings, Told, run};
pub use waiting::{Counts, Message};
