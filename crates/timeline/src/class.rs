//! What kind of thing happens, and therefore what goes first at one instant.

/// The kinds of event, in the order in which they are taken at one instant.
///
/// The order makes cause come before effect without a delay: a span that parts at an instant carries nothing that arrives at that instant;
/// a message that arrives can be acted on, and the answer queued, before any link chooses its next frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[repr(u8)]
pub enum Class {
    /// Something breaks or is mended: a span is cut, a module dies.
    Fault,
    /// A supply, load or switch changes.
    Supply,
    /// The voltages settle after a change.
    Settle,
    /// A frame or message arrives, a link falls free.
    Arrive,
    /// A detector tells a notice.
    Notice,
    /// A behaviour acts.
    Act,
    /// A message is published.
    Publish,
    /// A link or server takes its next piece of work.
    StartService,
    /// The state is looked at, with everything of this instant done.
    Probe,
}

impl Class {
    /// Every class, first to last.
    pub const ALL: [Class; 9] = [
        Class::Fault,
        Class::Supply,
        Class::Settle,
        Class::Arrive,
        Class::Notice,
        Class::Act,
        Class::Publish,
        Class::StartService,
        Class::Probe,
    ];
}
