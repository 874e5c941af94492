//! What a plan may say of each kind of link.

/// What a plan may say of a kind of link. The disciplines hold their own figures to the same words.
pub(super) struct Kind {
    pub(super) name: &'static str,
    pub(super) rates: Rates,
    /// Most stations on one wire, where a number is known.
    pub(super) stations: Option<usize>,
    /// Stations speak when they are asked.
    pub(super) polled: bool,
    /// Keys of `frame` that it must have, and that it may have.
    pub(super) needs: &'static [&'static str],
    pub(super) may: &'static [&'static str],
    /// How `frame` may look.
    pub(super) example: &'static str,
    /// Data bytes of a frame, where the standard says it.
    pub(super) data_bytes: Option<f64>,
}

pub(super) enum Rates {
    Fixed,
    Listed(&'static [f64]),
    Between(f64, f64),
}

const CAN_RATES: &[f64] = &[1.0e6, 5.0e5, 2.5e5, 1.25e5, 5.0e4, 2.0e4, 1.0e4];
const MODEM: &[&str] = &["header", "preamble", "turnaround"];

const ETHERNET: Kind = Kind {
    name: "10BASE-T1L",
    rates: Rates::Fixed,
    stations: Some(2),
    polled: false,
    needs: &[],
    may: &[],
    example: "",
    data_bytes: None,
};

const KINDS: &[Kind] = &[
    ETHERNET,
    Kind {
        name: "10BASE-T1S",
        stations: Some(8),
        ..ETHERNET
    },
    Kind {
        name: "100BASE-T1",
        ..ETHERNET
    },
    Kind {
        name: "100BASE-TX",
        ..ETHERNET
    },
    Kind {
        name: "TIA-485",
        rates: Rates::Between(300.0, 1.0e7),
        stations: Some(32),
        polled: true,
        needs: &["header", "characters", "turnaround"],
        may: &["packet"],
        example: "{ header = \"8 B\", characters = \"8N1\", turnaround = \"2 ms\" }",
        data_bytes: None,
    },
    Kind {
        name: "TIA-232",
        rates: Rates::Between(50.0, 115_200.0),
        stations: Some(2),
        polled: false,
        needs: &["header", "characters"],
        may: &[],
        example: "{ header = \"8 B\", characters = \"8N1\" }",
        data_bytes: None,
    },
    Kind {
        name: "CAN 2.0",
        rates: Rates::Listed(CAN_RATES),
        stations: None,
        polled: false,
        needs: &["header", "ids"],
        may: &[],
        example: "{ header = \"1 B\", ids = \"11 bit\" }",
        data_bytes: Some(8.0),
    },
    Kind {
        name: "CAN FD",
        rates: Rates::Listed(CAN_RATES),
        stations: None,
        polled: false,
        needs: &["header", "ids", "data_rate"],
        may: &[],
        example: "{ header = \"2 B\", ids = \"11 bit\", data_rate = \"2 Mbit/s\" }",
        data_bytes: Some(64.0),
    },
    Kind {
        name: "SDI-12",
        rates: Rates::Fixed,
        stations: Some(11),
        polled: true,
        needs: &[],
        may: &["header", "packet"],
        example: "{ header = \"3 B\" }",
        data_bytes: None,
    },
    Kind {
        name: "inductive",
        rates: Rates::Between(1200.0, 9600.0),
        stations: None,
        polled: true,
        needs: MODEM,
        may: &["packet"],
        example: "{ header = \"4 B\", preamble = \"20 ms\", turnaround = \"50 ms\" }",
        data_bytes: None,
    },
    Kind {
        name: "acoustic",
        rates: Rates::Between(80.0, 15_000.0),
        stations: None,
        polled: true,
        needs: MODEM,
        may: &["packet"],
        example: "{ header = \"4 B\", preamble = \"0.5 s\", turnaround = \"0.2 s\" }",
        data_bytes: None,
    },
    Kind {
        name: "line-of-sight",
        rates: Rates::Between(300.0, 1.0e9),
        stations: Some(2),
        polled: false,
        needs: &["header"],
        may: &["preamble", "packet"],
        example: "{ header = \"8 B\" }",
        data_bytes: None,
    },
    Kind {
        name: "free",
        rates: Rates::Between(1.0, 1.0e11),
        stations: None,
        polled: true,
        needs: &["header"],
        may: &["characters", "preamble", "turnaround", "packet"],
        example: "{ header = \"8 B\" }",
        data_bytes: None,
    },
];

impl Kind {
    /// Whether nothing crosses it unless somebody asks. A free link may do without.
    pub(super) fn must_be_polled(&self) -> bool {
        self.polled && self.name != "free"
    }

    /// Whether the maker says how long it may be.
    pub(super) fn by_maker(&self) -> bool {
        matches!(self.name, "inductive" | "line-of-sight" | "free")
    }

    /// Whether it may do without a `frame` of its own: the stack of [traffic] counts then.
    pub(super) fn frames_by_stack(&self) -> bool {
        self.needs.is_empty() || matches!(self.name, "line-of-sight" | "free")
    }
}

pub(super) fn kind_of(name: &str) -> &'static Kind {
    let mut kinds = KINDS.iter();
    kinds
        .find(|kind| kind.name == name)
        .expect("every word of the field table has its row")
}
