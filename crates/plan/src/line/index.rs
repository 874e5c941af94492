//! Places of things in the lists of the line.

macro_rules! index {
    ($($(#[$doc:meta])* $name:ident),* $(,)?) => {$(
        $(#[$doc])*
        #[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Hash)]
        pub struct $name(pub usize);
    )*};
}
index! {
    /// Index into [`super::Line::modules`].
    ModuleIx,
    /// Index into [`super::Line::spans`].
    SpanIx,
    /// Index into [`super::Line::buses`].
    BusIx,
    /// Index into [`super::Line::supplies`].
    SupplyIx,
    /// Index into [`super::Line::detectors`].
    DetectorIx,
    /// Index into [`super::Line::votes`].
    VoteIx,
    /// Index into [`super::Line::topics`].
    TopicIx,
    /// Index into [`super::Line::requests`].
    RequestIx,
    /// Index into [`super::Line::behaviours`].
    BehaviourIx,
    /// Index into [`super::Line::uplinks`].
    UplinkIx,
    /// Index into [`super::Line::storages`].
    StorageIx,
    /// Index into [`super::Line::streams`].
    StreamIx,
    /// Index into [`super::Line::sections`].
    SectionIx,
    /// Index into [`super::Line::calls`].
    CallIx,
}

/// A sensor: its module and its place in [`super::Module::sensors`].
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Hash)]
pub struct SensorIx {
    /// The module it sits on.
    pub module: ModuleIx,
    /// Index into the module's sensors.
    pub sensor: usize,
}

/// An output: its module and its place in [`super::Module::outputs`].
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Hash)]
pub struct OutputIx {
    /// The module it sits on.
    pub module: ModuleIx,
    /// Index into the module's outputs.
    pub output: usize,
}
