//! Links named by open standards and classes of links: rates, reach, who may speak when, and where each figure comes from.
//!
//! Figures of standards were read in secondary pages unless their source says otherwise; "from memory" and "common practice" are said where they hold.

/// A kind of link: its rates, its reach at each rate, and how it shares the wire.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LinkStandard {
    /// The name of the standard's physical layer, such as `10BASE-T1L`, or of a class, such as `acoustic`.
    pub name: &'static str,
    /// Bit rates it has.
    pub rates: Rates,
    /// How long it may be at a rate.
    pub reach: Reach,
    /// Two ends, or many stations on one wire.
    pub ends: Ends,
    /// How the two directions share the wire.
    pub duplex: Duplex,
    /// Who may speak when.
    pub turn: Turn,
    /// How a frame lies on the wire.
    pub framing: Framing,
    /// Time that a signal takes, nanoseconds for each metre, rounded up.
    pub propagation_ns_per_m: f64,
    /// Where the longest length comes from.
    pub source: &'static str,
    /// Where rates, stations, framing and propagation come from.
    pub rate_source: &'static str,
}

/// Bit rates of a link.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Rates {
    /// One rate, bit/s.
    Fixed(u64),
    /// One of these, bit/s, falling.
    Listed(&'static [u64]),
    /// Any rate between these two, bit/s, both included.
    Between(u64, u64),
}

/// Longest length of a link, by its rate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Reach {
    /// The same at every rate, metres.
    Flat(f64),
    /// By rate: (bit/s, metres), the rates of the standard.
    ByRate(&'static [(u64, f64)]),
    /// Length times rate at most so many metre bits per second, and never more than so many metres.
    Product {
        /// Most metres times bits per second.
        most: f64,
        /// Most metres at any rate.
        flat_m: f64,
    },
    /// The maker says it.
    Unsaid,
}

/// How many ends a link has.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Ends {
    /// Two.
    Two,
    /// Many stations on one wire; so many at most where a number is known.
    Bus(Option<u32>),
}

/// How the two directions of a link share the wire.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Duplex {
    /// Both directions at once: what [`Machine`](crate::Machine) runs.
    Full,
    /// One station at a time.
    Half,
}

/// Who may speak when.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Turn {
    /// Nobody waits for another: each direction has its own wire or band.
    Own,
    /// The lowest identifier of those that begin together goes on.
    Priority,
    /// Each station has its turn in each round.
    Round,
    /// One station asks, the others answer.
    Polled,
}

/// How a frame lies on the wire.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Framing {
    /// Bytes of eight bits under the layers of a stack.
    Ethernet,
    /// Characters with start and stop bits.
    Characters,
    /// CAN 2.0.
    Can,
    /// CAN FD.
    CanFd,
    /// SDI-12.
    Sdi12,
    /// A preamble, then bytes of eight bits.
    Preamble,
}

/// No such link standard.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("`{name}` is no known link standard; known: {}", LinkStandard::names().join(", "))]
pub struct UnknownStandard {
    /// The name given.
    pub name: String,
}

/// A rate that a standard does not have.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum RateUnfit {
    /// The standard leaves the rate open and none was given.
    #[error("{name} has several rates; say which of {known}")]
    NotSaid {
        /// Name of the standard.
        name: &'static str,
        /// The rates it has, in words.
        known: String,
    },
    /// A rate that is not among those of the standard.
    #[error("{name} has no rate of {rate_bps} bit/s; it has {known}")]
    Unknown {
        /// Name of the standard.
        name: &'static str,
        /// The rate given, bit/s.
        rate_bps: u64,
        /// The rates it has, in words.
        known: String,
    },
}

/// Copper: about two thirds of the speed of light (from memory; the exact figure is the cable's).
const COPPER_NS_PER_M: f64 = 5.0;
/// Sound in sea water at 1490 m/s (read in a secondary page): 0.67 s for each kilometre.
const SOUND_NS_PER_M: f64 = 1e9 / 1490.0;
/// In air, at the speed of light in a vacuum (SI).
const LIGHT_NS_PER_M: f64 = 3.336;

const CAN_RATES: [u64; 7] = [1_000_000, 500_000, 250_000, 125_000, 50_000, 20_000, 10_000];
const CAN_REACH: [(u64, f64); 7] = [
    (1_000_000, 40.0),
    (500_000, 100.0),
    (250_000, 250.0),
    (125_000, 500.0),
    (50_000, 1000.0),
    (20_000, 2500.0),
    (10_000, 5000.0),
];

const TABLE: [LinkStandard; 13] = [
    LinkStandard {
        name: "10BASE-T1L",
        rates: Rates::Fixed(10_000_000),
        reach: Reach::Flat(1000.0),
        ends: Ends::Two,
        duplex: Duplex::Full,
        turn: Turn::Own,
        framing: Framing::Ethernet,
        propagation_ns_per_m: COPPER_NS_PER_M,
        source: "IEEE Std 802.3cg-2019, project objective of at least 1000 m on one balanced pair (read in the project notice)",
        rate_source: "IEEE Std 802.3cg-2019 (read in the project notice)",
    },
    LinkStandard {
        name: "10BASE-T1S",
        rates: Rates::Fixed(10_000_000),
        reach: Reach::Flat(25.0),
        ends: Ends::Bus(Some(8)),
        duplex: Duplex::Half,
        turn: Turn::Round,
        framing: Framing::Ethernet,
        propagation_ns_per_m: COPPER_NS_PER_M,
        source: "IEEE Std 802.3cg-2019, mixing segment of at least 25 m with eight stations (read in a secondary page)",
        rate_source: "IEEE Std 802.3cg-2019 (read in a secondary page); rounds with collision avoidance of its clause 148 (from memory)",
    },
    LinkStandard {
        name: "100BASE-T1",
        rates: Rates::Fixed(100_000_000),
        reach: Reach::Flat(15.0),
        ends: Ends::Two,
        duplex: Duplex::Full,
        turn: Turn::Own,
        framing: Framing::Ethernet,
        propagation_ns_per_m: COPPER_NS_PER_M,
        source: "IEEE Std 802.3bw-2015, 15 m of unshielded pair (read in a secondary page)",
        rate_source: "IEEE Std 802.3bw-2015 (read in a secondary page)",
    },
    LinkStandard {
        name: "100BASE-TX",
        rates: Rates::Fixed(100_000_000),
        reach: Reach::Flat(100.0),
        ends: Ends::Two,
        duplex: Duplex::Full,
        turn: Turn::Own,
        framing: Framing::Ethernet,
        propagation_ns_per_m: COPPER_NS_PER_M,
        source: "IEEE Std 802.3 clause 25, 100 m of two Category 5 pairs (from memory)",
        rate_source: "IEEE Std 802.3 clause 25 (from memory)",
    },
    LinkStandard {
        name: "TIA-485",
        rates: Rates::Between(300, 10_000_000),
        reach: Reach::Product {
            most: 1.0e8,
            flat_m: 1200.0,
        },
        ends: Ends::Bus(Some(32)),
        duplex: Duplex::Half,
        turn: Turn::Polled,
        framing: Framing::Characters,
        propagation_ns_per_m: COPPER_NS_PER_M,
        source: "TIA-422-B annex: length times rate at most 1e8 m bit/s and 1200 m of 24 AWG pair, used for TIA-485 alike (read in a secondary page)",
        rate_source: "TIA-485-A, 10 Mbit/s and 32 unit loads (from memory); who speaks when is not part of it",
    },
    LinkStandard {
        name: "TIA-232",
        rates: Rates::Between(50, 115_200),
        reach: Reach::Flat(15.0),
        ends: Ends::Two,
        duplex: Duplex::Full,
        turn: Turn::Own,
        framing: Framing::Characters,
        propagation_ns_per_m: COPPER_NS_PER_M,
        source: "TIA-232, 15 m or 2500 pF (from memory)",
        rate_source: "TIA-232, 20 kbit/s (from memory); up to 115.2 kbit/s is common practice",
    },
    LinkStandard {
        name: "CAN 2.0",
        rates: Rates::Listed(&CAN_RATES),
        reach: Reach::ByRate(&CAN_REACH),
        ends: Ends::Bus(None),
        duplex: Duplex::Half,
        turn: Turn::Priority,
        framing: Framing::Can,
        propagation_ns_per_m: COPPER_NS_PER_M,
        source: "practice tables of the CAN users' group for ISO 11898-2, without isolators (read in a secondary page)",
        rate_source: "ISO 11898 and the same practice tables (read in a secondary page); the number of stations is the transceivers'",
    },
    LinkStandard {
        name: "CAN FD",
        rates: Rates::Listed(&CAN_RATES),
        reach: Reach::ByRate(&CAN_REACH),
        ends: Ends::Bus(None),
        duplex: Duplex::Half,
        turn: Turn::Priority,
        framing: Framing::CanFd,
        propagation_ns_per_m: COPPER_NS_PER_M,
        source: "practice tables of the CAN users' group for ISO 11898-2 at the arbitration rate, without isolators (read in a secondary page)",
        rate_source: "ISO 11898-1:2015; arbitration as CAN, data at 1 to 8 Mbit/s (read in a secondary page)",
    },
    LinkStandard {
        name: "SDI-12",
        rates: Rates::Fixed(1200),
        reach: Reach::Flat(60.0),
        ends: Ends::Bus(Some(11)),
        duplex: Duplex::Half,
        turn: Turn::Polled,
        framing: Framing::Sdi12,
        propagation_ns_per_m: COPPER_NS_PER_M,
        source: "SDI-12 version 1.4, 60 m (200 ft) of cable (from memory)",
        rate_source: "SDI-12 version 1.4: 1200 baud, seven bits and even parity (read in instruments' manuals), a recorder and ten sensors (from memory)",
    },
    LinkStandard {
        name: "inductive",
        rates: Rates::Between(1200, 9600),
        reach: Reach::Unsaid,
        ends: Ends::Bus(None),
        duplex: Duplex::Half,
        turn: Turn::Polled,
        framing: Framing::Preamble,
        propagation_ns_per_m: COPPER_NS_PER_M,
        source: "no common figure: the maker of the modem says how long the mooring wire may be",
        rate_source: "insulated mooring wire with return through the sea, 1.2 to 9.6 kbit/s (common practice)",
    },
    LinkStandard {
        name: "acoustic",
        rates: Rates::Between(80, 15_000),
        reach: Reach::Flat(10_000.0),
        ends: Ends::Bus(None),
        duplex: Duplex::Half,
        turn: Turn::Polled,
        framing: Framing::Preamble,
        propagation_ns_per_m: SOUND_NS_PER_M,
        source: "1 to 10 km of sea (common practice; what carries that day is the sea's)",
        rate_source: "80 bit/s to 15 kbit/s (common practice), sound at 1490 m/s (read in a secondary page)",
    },
    LinkStandard {
        name: "line-of-sight",
        rates: Rates::Between(300, 1_000_000_000),
        reach: Reach::Unsaid,
        ends: Ends::Two,
        duplex: Duplex::Full,
        turn: Turn::Own,
        framing: Framing::Ethernet,
        propagation_ns_per_m: LIGHT_NS_PER_M,
        source: "the radio horizon of its antennas",
        rate_source: "narrow-band telemetry to wireless networks (common practice); each direction with its own time or channel",
    },
    LinkStandard {
        name: "free",
        rates: Rates::Between(1, 100_000_000_000),
        reach: Reach::Unsaid,
        ends: Ends::Bus(None),
        duplex: Duplex::Full,
        turn: Turn::Own,
        framing: Framing::Ethernet,
        propagation_ns_per_m: COPPER_NS_PER_M,
        source: "as the plan says it",
        rate_source: "as the plan says it",
    },
];

impl Rates {
    /// Whether a rate is among them.
    #[must_use]
    pub fn has(self, rate_bps: u64) -> bool {
        match self {
            Rates::Fixed(only) => rate_bps == only,
            Rates::Listed(list) => list.contains(&rate_bps),
            Rates::Between(least, most) => (least..=most).contains(&rate_bps),
        }
    }

    /// The rates in words: `1000000, 500000 bit/s`.
    #[must_use]
    pub fn words(self) -> String {
        match self {
            Rates::Fixed(only) => format!("{only} bit/s"),
            Rates::Listed(list) => {
                let all: Vec<String> = list.iter().map(u64::to_string).collect();
                format!("{} bit/s", all.join(", "))
            }
            Rates::Between(least, most) => format!("{least} to {most} bit/s"),
        }
    }
}

impl LinkStandard {
    /// Every known kind.
    #[must_use]
    pub fn all() -> &'static [LinkStandard] {
        &TABLE
    }

    /// Every known name.
    #[must_use]
    pub fn names() -> Vec<&'static str> {
        TABLE.iter().map(|row| row.name).collect()
    }

    /// The standard of this name, as the standard writes it.
    ///
    /// # Errors
    /// [`UnknownStandard`], which lists the known names.
    pub fn by_name(name: &str) -> Result<&'static LinkStandard, UnknownStandard> {
        TABLE
            .iter()
            .find(|row| row.name == name)
            .ok_or_else(|| UnknownStandard {
                name: name.to_owned(),
            })
    }

    /// The rate in use, bit/s: the one that was said, or the only one there is.
    ///
    /// # Errors
    /// [`RateUnfit`].
    pub fn rate_bps(&self, said_bps: Option<u64>) -> Result<u64, RateUnfit> {
        match (self.rates, said_bps) {
            (Rates::Fixed(only), None) => Ok(only),
            (_, None) => Err(RateUnfit::NotSaid {
                name: self.name,
                known: self.rates.words(),
            }),
            (rates, Some(rate_bps)) if rates.has(rate_bps) => Ok(rate_bps),
            (rates, Some(rate_bps)) => Err(RateUnfit::Unknown {
                name: self.name,
                rate_bps,
                known: rates.words(),
            }),
        }
    }

    /// Longest length at a rate, metres; `None` where the kind does not say it, or has no such rate.
    #[must_use]
    pub fn longest_m(&self, rate_bps: u64) -> Option<f64> {
        if !self.rates.has(rate_bps) {
            return None;
        }
        match self.reach {
            Reach::Flat(longest_m) => Some(longest_m),
            Reach::ByRate(table) => table
                .iter()
                .find(|(rate, _)| *rate == rate_bps)
                .map(|(_, longest_m)| *longest_m),
            Reach::Product { most, flat_m } => Some((most / rate_bps as f64).min(flat_m)),
            Reach::Unsaid => None,
        }
    }

    /// Longest piece of a bus that hangs beside its longest way, metres, with its source; `None` where no figure is known.
    #[must_use]
    pub fn longest_stub_m(&self, rate_bps: u64) -> Option<(f64, &'static str)> {
        match (self.name, rate_bps) {
            ("10BASE-T1S", _) => Some((0.1, "IEEE Std 802.3cg-2019, 10 cm (from memory)")),
            ("CAN 2.0" | "CAN FD", 1_000_000) => {
                Some((0.3, "ISO 11898-2, 0.3 m at 1 Mbit/s (from memory)"))
            }
            _ => None,
        }
    }
}
