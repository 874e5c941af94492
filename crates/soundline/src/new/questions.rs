//! What `soundline new` asks, and what it assumes where nothing is answered.

use clap::ValueEnum;
use jiff::civil::Date;

/// One question.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Ask {
    Name,
    Latitude,
    Longitude,
    WaterDepth,
    Start,
    Duration,
    Wind,
    Supply,
    Voltage,
    Depths,
    Conductor,
    Link,
    Band,
    Threshold,
    Price,
}

impl Ask {
    /// All of them, in the order in which they are asked.
    pub(crate) const ALL: [Ask; 15] = [
        Ask::Name,
        Ask::Latitude,
        Ask::Longitude,
        Ask::WaterDepth,
        Ask::Start,
        Ask::Duration,
        Ask::Wind,
        Ask::Supply,
        Ask::Voltage,
        Ask::Depths,
        Ask::Conductor,
        Ask::Link,
        Ask::Band,
        Ask::Threshold,
        Ask::Price,
    ];

    /// The flag that answers it.
    pub(crate) fn flag(self) -> &'static str {
        match self {
            Ask::Name => "--name",
            Ask::Latitude => "--latitude",
            Ask::Longitude => "--longitude",
            Ask::WaterDepth => "--water-depth",
            Ask::Start => "--start",
            Ask::Duration => "--duration",
            Ask::Wind => "--wind",
            Ask::Supply => "--supply",
            Ask::Voltage => "--voltage",
            Ask::Depths => "--depths",
            Ask::Conductor => "--conductor",
            Ask::Link => "--link",
            Ask::Band => "--band",
            Ask::Threshold => "--threshold",
            Ask::Price => "--price",
        }
    }

    /// The question on a terminal.
    pub(crate) fn question(self) -> &'static str {
        match self {
            Ask::Name => "What is the deployment called?",
            Ask::Latitude => "Latitude (north positive)?",
            Ask::Longitude => "Longitude (east positive)?",
            Ask::WaterDepth => "How deep is the water?",
            Ask::Start => "When does it start (UTC)?",
            Ask::Duration => "How long does it stay in the water?",
            Ask::Wind => "Mean wind over the year?",
            Ask::Supply => "Power from: solar-battery, bench, vessel, shore or primary-cells?",
            Ask::Voltage => "Voltage of the supply?",
            Ask::Depths => "Depth of each hydrophone, from the top, with commas between?",
            Ask::Conductor => "Conductor of the cables (such as `1.0 mm2 class 5` or `18 AWG`)?",
            Ask::Link => "Data link in the cables: 10BASE-T1L, 100BASE-T1 or 100BASE-TX?",
            Ask::Band => "Lowest and highest frequency of the sound, with a comma between?",
            Ask::Threshold => "How far must the sound stand out of the background?",
            Ask::Price => "Price of one message ashore?",
        }
    }

    /// What is assumed; `None` where it follows from other answers (the depths).
    pub(crate) fn assumed(self, today: Date) -> Option<String> {
        let text = match self {
            Ask::Name => "Unnamed listening line",
            Ask::Latitude => "50 deg",
            Ask::Longitude => "0 deg",
            Ask::WaterDepth => "80 m",
            Ask::Start => return Some(today.to_string()),
            Ask::Duration => "180 d",
            Ask::Wind => "8 m/s",
            Ask::Supply => "solar-battery",
            Ask::Voltage => "24 V",
            Ask::Depths => return None,
            Ask::Conductor => "1.0 mm2 class 5",
            Ask::Link => "10BASE-T1L",
            Ask::Band => "60 Hz, 260 Hz",
            Ask::Threshold => "6 dB",
            Ask::Price => "0.10 EUR",
        };
        Some(text.to_owned())
    }
}

/// Where power enters.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum SupplyKind {
    /// Panels and a battery on a buoy.
    SolarBattery,
    /// A bench supply.
    Bench,
    /// A vessel's supply.
    Vessel,
    /// A cable from shore.
    Shore,
    /// Primary cells in the buoy.
    PrimaryCells,
}

/// An answer, or what is assumed in its place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Value {
    /// As it was written.
    pub(crate) text: String,
    /// Whether nobody answered.
    pub(crate) assumed: bool,
}

/// The answers given so far, by question.
#[derive(Debug, Clone, Default)]
pub(crate) struct Answers {
    given: [Option<String>; Ask::ALL.len()],
}

impl Answers {
    pub(crate) fn set(&mut self, ask: Ask, text: Option<String>) {
        self.given[ask as usize] = text;
    }

    pub(crate) fn get(&self, ask: Ask) -> Option<&str> {
        self.given[ask as usize].as_deref()
    }

    /// Questions without an answer.
    pub(crate) fn missing(&self) -> Vec<Ask> {
        let open = |ask: &Ask| self.get(*ask).is_none();
        Ask::ALL.into_iter().filter(open).collect()
    }

    /// The answer, or what is assumed; `None` only for what follows from other answers.
    pub(crate) fn value(&self, ask: Ask, today: Date) -> Option<Value> {
        match self.get(ask) {
            Some(text) => Some(Value {
                text: text.to_owned(),
                assumed: false,
            }),
            None => ask.assumed(today).map(|text| Value {
                text,
                assumed: true,
            }),
        }
    }
}
