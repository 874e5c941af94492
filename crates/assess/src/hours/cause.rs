//! What may keep a powered hydrophone deaf.

/// What may keep a hydrophone from hearing.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Cause {
    /// Its supply is off.
    Power,
    /// Its module boots, its chain settles, or what leads ashore boots with it.
    Starting,
    /// What leads from it to the shore or to its store has no power, or boots.
    Path,
    /// Its clock is no longer good enough.
    Clock,
    /// Waves and its own heave clip its chain.
    Heave,
    /// The strum of its rope lies in the band of a detector.
    Strum,
    /// Electronics put more into its chain than the sea of the quietest month has, in the band of a detector.
    PickUp,
}

/// All causes, in their order.
pub const CAUSES: [Cause; 7] = [
    Cause::Power,
    Cause::Starting,
    Cause::Path,
    Cause::Clock,
    Cause::Heave,
    Cause::Strum,
    Cause::PickUp,
];

impl Cause {
    /// Its word.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Cause::Power => "power",
            Cause::Starting => "starting",
            Cause::Path => "path",
            Cause::Clock => "clock",
            Cause::Heave => "heave",
            Cause::Strum => "strum",
            Cause::PickUp => "pick-up",
        }
    }

    pub(super) fn bit(self) -> u8 {
        1 << (self as u8)
    }
}
