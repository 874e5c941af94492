//! Field tables: one table of fields a section, from which the reader, the help and the JSON Schema are all made.

use quantity::{Amount, Dimension, Fault, LevelKind, Sign, parse_amount, parse_number, show};

/// A kind of table in a file.
#[derive(Debug)]
pub(crate) struct Section {
    /// What it is called in a sentence: `a module`.
    pub(crate) name: &'static str,
    /// One line for the schema.
    pub(crate) doc: &'static str,
    /// The keys it may have.
    pub(crate) fields: &'static [Field],
    /// The word after `is =` of catalogue parts that may fill it; sections with one also accept `part = "part.id"`.
    pub(crate) part: Option<&'static str>,
}

impl Section {
    pub(crate) fn field(&self, key: &str) -> Option<&'static Field> {
        self.fields.iter().find(|f| f.key == key)
    }

    /// Whether a table of this kind may name a part that fills it.
    pub(crate) fn takes_a_part(&self) -> bool {
        self.part.is_some() && self.field("part").is_some()
    }
}

/// A key of a section.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Field {
    pub(crate) key: &'static str,
    pub(crate) need: Need,
    pub(crate) shape: Shape,
    /// One line for help and schema.
    pub(crate) doc: &'static str,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(crate) enum Need {
    Required,
    Optional,
}

/// Bounds on a number in SI units, both inclusive.
#[derive(Clone, Copy, PartialEq, Debug)]
pub(crate) struct Bounds {
    pub(crate) least: f64,
    pub(crate) most: f64,
    /// Why, in words that end the sentence "a length here is ...".
    pub(crate) why: &'static str,
}

impl Bounds {
    /// Whether what a value and its spread span lies within, but for the rounding of a sum.
    pub(crate) fn hold_all(self, amount: Amount) -> bool {
        const HAIR: f64 = 1e-12;
        let (low, high) = amount.span();
        low >= self.least - HAIR && high <= self.most + HAIR * self.most.abs()
    }

    /// The sign of the numbers within.
    pub(crate) fn sign(self) -> Sign {
        if self.least > 0.0 {
            Sign::Positive
        } else if self.least >= -HAIR_RAD {
            Sign::NotNegative
        } else {
            Sign::Any
        }
    }
}

/// How the spread of a figure without a unit is written.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(crate) enum Scale {
    /// `1.2 ± 0.1` or `1.2 ± 5 %`, which is of the value.
    Plain,
    /// A share of one: `0.88 ± 3 points` or `0.88 ± 3 % of the value`, as quantities that are ratios.
    Share,
}

impl Scale {
    /// Reads a text of it.
    pub(crate) fn parse(self, text: &str) -> Result<Amount, Fault> {
        match self {
            Scale::Plain => parse_number(text),
            Scale::Share => parse_amount(text, Dimension::Ratio),
        }
    }

    /// A figure that may stand where these bounds hold: as a bare number, and as text with its spread.
    pub(crate) fn example(self, bounds: Bounds) -> (&'static str, &'static str) {
        let (examples, otherwise) = match self {
            Scale::Plain => (["1.2 ± 0.1", "0.5 ± 0.1", "8 ± 0.1"], "1.2 ± 0.1"),
            Scale::Share => (
                ["0.88 ± 3 points", "0.5 ± 0.1", "1e-6 ± 50 % of the value"],
                "0.88 ± 3 points",
            ),
        };
        let fits = examples
            .into_iter()
            .find(|text| self.parse(text).is_ok_and(|a| bounds.hold_all(a)));
        let with = fits.unwrap_or(otherwise);
        let bare = with.split(' ').next().unwrap_or(with);
        (bare, with)
    }
}

/// What may stand behind a key.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Shape {
    /// A quantity with its unit, as text.
    Amount(Dimension, Bounds),
    /// A list of quantities; the length lies between the two counts.
    Amounts(Dimension, Bounds, usize, usize),
    /// A bare number without a unit that nothing spreads: of a format, a formula, a demand.
    Number(Bounds),
    /// A physical figure without a unit: a bare number, or as text one with its spread.
    Figure(Scale, Bounds),
    /// A list of such figures; the length lies between the two counts.
    Figures(Scale, Bounds, usize, usize),
    /// A whole number.
    Count(i64, i64),
    /// true or false.
    Flag,
    /// Any text that is not empty.
    Text,
    /// A list of texts.
    Texts,
    /// One of these words.
    Choice(&'static [&'static str]),
    /// A level of one of these kinds, in dB between the bounds.
    Level(&'static [LevelKind], Bounds),
    /// A conductor: `1.0 mm2 class 5` or `18 AWG`.
    Conductor,
    /// A price: `0.12 EUR`.
    Money,
    /// `6 per hour`.
    EventRate,
    /// A date, or a date-time with its offset.
    Date,
    /// The typed path of something declared elsewhere.
    Reference(&'static [RefKind]),
    /// So many typed paths of such things, or more.
    References(&'static [RefKind], usize),
    /// A constant power, a constant current or a resistance.
    Load,
    /// A topic name by OASIS MQTT 5.0.
    Topic,
    /// A topic filter by OASIS MQTT 5.0.
    Filter,
    /// A limit whose dimension depends on another key of the same table.
    Limit,
    /// What a message holds: values by the name of their field, which are settled with its topic.
    Content,
    /// A table.
    Table(&'static Section),
    /// A list of tables.
    Tables(&'static Section),
    /// Tables keyed by id.
    Keyed(&'static Section),
    /// Tables keyed by topic name.
    KeyedTopics(&'static Section),
    /// Loads keyed by the name of a state.
    KeyedLoads,
    /// Catalogue parts keyed by id; each says what it is.
    Parts,
}

/// What a reference may point at.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub(crate) enum RefKind {
    Module,
    Sensor,
    Output,
    Span,
    Bus,
    Supply,
    Section,
    Anchor,
    Float,
    Weight,
    /// Metal in the water.
    Metal,
    Detector,
    Vote,
    /// `detector.upcall.confirmed`
    Notice,
    Request,
    Uplink,
    Storage,
    /// Video or raw sound.
    Stream,
    Part,
    /// A sound of a cue sheet.
    Sound,
    /// A fault of a cue sheet.
    Fault,
    Behaviour,
    /// A call that detectors are to find.
    Call,
}

impl RefKind {
    /// An example, as it is shown in help.
    pub(crate) fn example(self) -> &'static str {
        match self {
            RefKind::Module => "module.ID",
            RefKind::Sensor => "module.ID.sensor.ID",
            RefKind::Output => "module.ID.output.ID",
            RefKind::Span => "span.ID",
            RefKind::Bus => "bus.ID",
            RefKind::Supply => "supply.ID",
            RefKind::Section => "section.ID",
            RefKind::Anchor => "anchor.ID",
            RefKind::Float => "float.ID",
            RefKind::Weight => "weight.ID",
            RefKind::Metal => "metal.ID",
            RefKind::Detector => "detector.ID",
            RefKind::Vote => "vote.ID",
            RefKind::Notice => "detector.ID.confirmed",
            RefKind::Request => "request.ID",
            RefKind::Uplink => "uplink.ID",
            RefKind::Storage => "storage.ID",
            RefKind::Stream => "stream.ID",
            RefKind::Part => "part.ID",
            RefKind::Sound => "sound.ID",
            RefKind::Fault => "fault.ID",
            RefKind::Behaviour => "behaviour.ID",
            RefKind::Call => "call.ID",
        }
    }

    /// The kind of a typed path, if it is well formed.
    pub(crate) fn of_path(path: &str) -> Option<RefKind> {
        let parts: Vec<&str> = path.split('.').collect();
        match parts.as_slice() {
            ["module", a] if is_id(a) => Some(RefKind::Module),
            ["module", a, "sensor", b] if is_id(a) && is_id(b) => Some(RefKind::Sensor),
            ["module", a, "output", b] if is_id(a) && is_id(b) => Some(RefKind::Output),
            ["span", a] if is_id(a) => Some(RefKind::Span),
            ["bus", a] if is_id(a) => Some(RefKind::Bus),
            ["supply", a] if is_id(a) => Some(RefKind::Supply),
            ["section", a] if is_id(a) => Some(RefKind::Section),
            ["anchor", a] if is_id(a) => Some(RefKind::Anchor),
            ["float", a] if is_id(a) => Some(RefKind::Float),
            ["weight", a] if is_id(a) => Some(RefKind::Weight),
            ["metal", a] if is_id(a) => Some(RefKind::Metal),
            ["detector", a] if is_id(a) => Some(RefKind::Detector),
            ["detector", a, "onset" | "confirmed" | "ended"] if is_id(a) => Some(RefKind::Notice),
            ["vote", a] if is_id(a) => Some(RefKind::Vote),
            ["request", a] if is_id(a) => Some(RefKind::Request),
            ["uplink", a] if is_id(a) => Some(RefKind::Uplink),
            ["storage", a] if is_id(a) => Some(RefKind::Storage),
            ["stream", a] if is_id(a) => Some(RefKind::Stream),
            ["part", a] if is_id(a) => Some(RefKind::Part),
            ["sound", a] if is_id(a) => Some(RefKind::Sound),
            ["fault", a] if is_id(a) => Some(RefKind::Fault),
            ["behaviour", a] if is_id(a) => Some(RefKind::Behaviour),
            ["call", a] if is_id(a) => Some(RefKind::Call),
            _ => None,
        }
    }
}

/// The rule for ids, as it is told.
pub const ID_RULE: &str =
    "ids begin with a lower-case letter and go on with lower-case letters, digits and hyphens";

/// Whether a word is an id, `[a-z][a-z0-9-]*`.
#[must_use]
pub fn is_id(word: &str) -> bool {
    let mut bytes = word.bytes();
    bytes.next().is_some_and(|b| b.is_ascii_lowercase())
        && bytes.all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-')
}

pub(crate) const ANY: Bounds = Bounds {
    least: f64::NEG_INFINITY,
    most: f64::INFINITY,
    why: "any finite value",
};
pub(crate) const NOT_NEGATIVE: Bounds = Bounds {
    least: 0.0,
    most: f64::INFINITY,
    why: "zero or more",
};
pub(crate) const POSITIVE: Bounds = Bounds {
    least: f64::MIN_POSITIVE,
    most: f64::INFINITY,
    why: "more than zero",
};
pub(crate) const SHARE: Bounds = Bounds {
    least: 0.0,
    most: 1.0,
    why: "from 0 % to 100 %",
};
pub(crate) const POSITIVE_SHARE: Bounds = Bounds {
    least: f64::MIN_POSITIVE,
    most: 1.0,
    why: "more than 0 % and at most 100 %",
};

/// Shorthands that keep the tables readable.
pub(crate) const fn required(key: &'static str, shape: Shape, doc: &'static str) -> Field {
    Field {
        key,
        need: Need::Required,
        shape,
        doc,
    }
}

pub(crate) const fn optional(key: &'static str, shape: Shape, doc: &'static str) -> Field {
    Field {
        key,
        need: Need::Optional,
        shape,
        doc,
    }
}

/// Two lists of keys as one; `N` is the sum of their lengths.
pub(crate) const fn joined<const N: usize>(first: &[Field], then: &[Field]) -> [Field; N] {
    assert!(first.len() + then.len() == N, "N is the sum of the lengths");
    let mut all = [then[0]; N];
    let mut at = 0;
    while at < N {
        all[at] = if at < first.len() {
            first[at]
        } else {
            then[at - first.len()]
        };
        at += 1;
    }
    all
}

/// What is left beyond the bounds of an angle for the rounding of its conversion.
const HAIR_RAD: f64 = 1e-12;

/// Bounds on an angle, given in degrees. Angles are read in radians; a hair is left for the rounding of the conversion.
pub(crate) const fn degrees(least_deg: f64, most_deg: f64, why: &'static str) -> Bounds {
    const RAD_PER_DEG: f64 = std::f64::consts::PI / 180.0;
    Bounds {
        least: least_deg * RAD_PER_DEG - HAIR_RAD,
        most: most_deg * RAD_PER_DEG + HAIR_RAD,
        why,
    }
}

/// A quantity that may stand where these bounds hold: a usual one, or one amid the bounds.
pub(crate) fn amount_example(dimension: Dimension, bounds: Bounds) -> String {
    // Confidences, efficiencies, shares of years: nobody means a small one.
    if dimension == Dimension::Ratio && bounds == POSITIVE_SHARE {
        return "95 %".to_owned();
    }
    let usual = dimension.examples().iter().find(|text| {
        parse_amount(text, dimension).is_ok_and(|a| (bounds.least..=bounds.most).contains(&a.si))
    });
    match usual {
        Some(text) => (*text).to_owned(),
        None if bounds == PPM => "2 ppm".to_owned(),
        None if bounds.least == 0.0 => show(bounds.most / 20.0, dimension),
        // Amid bounds of both signs lies nothing at all, which is a poor example.
        None if bounds.least < 0.0 && bounds.most > 0.0 => show(0.1 * bounds.most, dimension),
        None => show((bounds.least * bounds.most).sqrt(), dimension),
    }
}

/// Drifts of clocks.
pub(crate) const PPM: Bounds = between(0.0, 0.01, "from 0 ppm to 10000 ppm");

pub(crate) const fn between(least: f64, most: f64, why: &'static str) -> Bounds {
    Bounds { least, most, why }
}
