//! Links named by open standards.

/// A link standard: its rate, its reach and how it shares the wire.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LinkStandard {
    /// The name of the standard's physical layer, such as `10BASE-T1L`.
    pub name: &'static str,
    /// Bit rate of the frames, bit/s.
    pub rate_bps: u64,
    /// Longest length the standard calls for, metres.
    pub longest_m: f64,
    /// How the two directions share the wire.
    pub duplex: Duplex,
    /// Where the row comes from.
    pub source: &'static str,
}

/// How the two directions of a link share the wire.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Duplex {
    /// Point to point, both directions at once: what [`Machine`](crate::Machine) models.
    Full,
    /// Many stations on one wire in turn; not modelled here.
    SharedHalf,
}

/// No such link standard.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("`{name}` is no known link standard; known: {}", LinkStandard::names().join(", "))]
pub struct UnknownStandard {
    /// The name given.
    pub name: String,
}

const TABLE: [LinkStandard; 4] = [
    LinkStandard {
        name: "10BASE-T1L",
        rate_bps: 10_000_000,
        longest_m: 1000.0,
        duplex: Duplex::Full,
        source: "IEEE Std 802.3cg-2019, project objective of at least 1000 m on one balanced pair (read in the project notice)",
    },
    LinkStandard {
        name: "10BASE-T1S",
        rate_bps: 10_000_000,
        longest_m: 25.0,
        duplex: Duplex::SharedHalf,
        source: "IEEE Std 802.3cg-2019, mixing segment of at least 25 m with eight stations (read in a secondary page)",
    },
    LinkStandard {
        name: "100BASE-T1",
        rate_bps: 100_000_000,
        longest_m: 15.0,
        duplex: Duplex::Full,
        source: "IEEE Std 802.3bw-2015, 15 m of unshielded pair (read in a secondary page)",
    },
    LinkStandard {
        name: "100BASE-TX",
        rate_bps: 100_000_000,
        longest_m: 100.0,
        duplex: Duplex::Full,
        source: "IEEE Std 802.3 clause 25, 100 m of two Category 5 pairs (from memory)",
    },
];

impl LinkStandard {
    /// Every known standard.
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
}
