//! Reads single values: texts, numbers, quantities, dates, references.

use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use quantity::{
    Amount, Dimension, Fault, FaultKind, LevelAmount, LevelKind, article, nearest, parse_amount,
    parse_level,
};

use super::{Read, Reader, join};
use crate::field::{Bounds, RefKind, Scale, amount_example};
use crate::mistake::{Code, Mistake};
use crate::node::{Node, Value};

/// Whether a character shows nothing of its own and changes how others show: controls but line ends and tabs, and marks of writing direction.
fn is_unseen(c: char) -> bool {
    let breaks = matches!(c, '\n' | '\r' | '\t');
    let turns = matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
    c.is_control() && !breaks || turns
}

impl Reader<'_> {
    pub(super) fn text<'n>(&mut self, node: &'n Node) -> Option<&'n str> {
        match &node.value {
            Value::Text(t) if t.trim().is_empty() => {
                let m = Mistake::error(Code::OutOfRange, node.site, "this text is empty")
                    .label("write something here");
                self.tell_at(node, m);
                None
            }
            Value::Text(t) => match t.chars().find(|c| is_unseen(*c)) {
                None => Some(t),
                Some(unseen) => {
                    let message = format!(
                        "this text holds a character that steers a terminal or turns letters round, U+{:04X}",
                        u32::from(unseen)
                    );
                    let m = Mistake::error(Code::OutOfRange, node.site, message)
                        .label("in here")
                        .help("take it out: whoever reads the sheets would see other words than are written");
                    self.tell_at(node, m);
                    None
                }
            },
            _ => self.wrong_type(node, "a text in quotes", None),
        }
    }

    pub(super) fn list<'n>(
        &mut self,
        node: &'n Node,
        least: usize,
        most: usize,
        example: &str,
    ) -> Option<&'n [Node]> {
        let Value::List(list) = &node.value else {
            return self.wrong_type(
                node,
                "a list",
                Some(format!("write it as [{example}, ...]")),
            );
        };
        if (least..=most).contains(&list.len()) {
            return Some(list);
        }
        let wanted = if least == most {
            format!("{least} values are needed")
        } else {
            format!("at least {least} needed")
        };
        let m = Mistake::error(
            Code::OutOfRange,
            node.site,
            format!("this list has {}; {wanted}", list.len()),
        )
        .label(wanted);
        self.tell_at(node, m);
        None
    }

    /// Text of a value that must be written with a unit; a bare number gets its own message.
    fn with_unit<'n>(&mut self, node: &'n Node, what: &str, example: &str) -> Option<&'n str> {
        match &node.value {
            Value::Text(t) => Some(t),
            Value::Integer(_) | Value::Float(_) => {
                let m =
                    Mistake::error(Code::MissingUnit, node.site, format!("{what} needs a unit"))
                        .label("a bare number")
                        .help(format!(
                            "write it in quotes with its unit, for example \"{example}\""
                        ));
                self.tell_at(node, m);
                None
            }
            _ => self.wrong_type(
                node,
                &format!("{what} in quotes"),
                Some(format!("for example \"{example}\"")),
            ),
        }
    }

    pub(crate) fn amount(
        &mut self,
        dimension: Dimension,
        bounds: Bounds,
        node: &Node,
    ) -> Option<Amount> {
        let name = format!("{} {}", article(dimension.name()), dimension.name());
        let text = self.with_unit(node, &name, &amount_example(dimension, bounds))?;
        match parse_amount(text, dimension) {
            Ok(amount) => {
                let fits = self.bounded(amount.si, bounds, &name, node, Some(dimension))
                    && self.spread_above_zero(amount, bounds, &name, node, dimension);
                fits.then_some(amount)
            }
            Err(fault) => self.fault(node, text, &fault),
        }
    }

    pub(super) fn level(
        &mut self,
        kinds: &[LevelKind],
        bounds: Bounds,
        node: &Node,
    ) -> Option<Read> {
        let text = self.with_unit(node, LEVEL, kinds[0].example())?;
        let mut first = None;
        for &kind in kinds {
            match parse_level(text, kind) {
                Ok(level) => {
                    return self
                        .bounded(level.db, bounds, LEVEL, node, None)
                        .then_some(Read::Level(kind, level));
                }
                Err(fault) => {
                    first.get_or_insert(fault);
                }
            }
        }
        let fault = first.expect("every level field names a kind");
        self.fault(node, text, &fault)
    }

    /// A level of one kind, for a limit.
    pub(crate) fn level_of(
        &mut self,
        kind: LevelKind,
        bounds: Bounds,
        node: &Node,
    ) -> Option<LevelAmount> {
        match self.level(&[kind], bounds, node)? {
            Read::Level(_, level) => Some(level),
            _ => None,
        }
    }

    pub(crate) fn load(&mut self, node: &Node) -> Option<Read> {
        let text = self.with_unit(node, "a load", "0.55 W")?;
        for dimension in [Dimension::Power, Dimension::Current, Dimension::Resistance] {
            match parse_amount(text, dimension) {
                Ok(amount) => {
                    let bounds = match dimension {
                        Dimension::Resistance => crate::field::POSITIVE,
                        _ => crate::field::NOT_NEGATIVE,
                    };
                    let name = format!("{} {}", article(dimension.name()), dimension.name());
                    let fits = self.bounded(amount.si, bounds, &name, node, Some(dimension))
                        && self.spread_above_zero(amount, bounds, &name, node, dimension);
                    return fits.then_some(Read::Load(dimension, amount));
                }
                Err(Fault {
                    kind: FaultKind::WrongDimension { .. },
                    ..
                }) => {}
                Err(fault) => return self.fault(node, text, &fault),
            }
        }
        let m = Mistake::error(Code::WrongDimension, node.site, format!("\"{text}\" is no load"))
            .label("neither a power, a supply current nor a resistance")
            .help("write a power (\"0.55 W\"), a constant supply current (\"20 mA\") or a resistor (\"240 ohm\")");
        self.tell_at(node, m);
        None
    }

    fn bounded(
        &mut self,
        x: f64,
        bounds: Bounds,
        name: &str,
        node: &Node,
        dimension: Option<Dimension>,
    ) -> bool {
        if (bounds.least..=bounds.most).contains(&x) {
            return true;
        }
        let shown = match dimension {
            // As it is written, but for its spread: rounded it might be the limit itself, and in another unit nobody would know it.
            Some(d) => match &node.value {
                Value::Text(text) => {
                    let end = text.find('±').or_else(|| text.find("+/-"));
                    text[..end.unwrap_or(text.len())].trim().to_owned()
                }
                _ => quantity::show(x, d),
            },
            None if name == LEVEL => format!("{} dB", quantity::show_bare(x)),
            None => quantity::show_bare(x),
        };
        let m = Mistake::error(
            Code::OutOfRange,
            node.site,
            format!("{shown} is out of range"),
        )
        .label(format!("{name} here is {}", bounds.why));
        self.tell_at(node, m);
        false
    }

    /// Whether a spread stays above zero where nothing can be less.
    fn spread_above_zero(
        &mut self,
        amount: Amount,
        bounds: Bounds,
        name: &str,
        node: &Node,
        dimension: Dimension,
    ) -> bool {
        let (lowest, _) = amount.span();
        if amount.law.is_none() || bounds.least < 0.0 || lowest >= 0.0 {
            return true;
        }
        let m = Mistake::error(
            Code::OutOfRange,
            node.site,
            format!(
                "this spread goes down to {}",
                quantity::show(lowest, dimension)
            ),
        )
        .label(format!("{name} here is {}", bounds.why))
        .help("a half width is at most the value itself");
        self.tell_at(node, m);
        false
    }

    pub(super) fn number(&mut self, bounds: Bounds, node: &Node) -> Option<f64> {
        let x = match node.value {
            Value::Float(x) => x,
            Value::Integer(Some(i)) => i as f64,
            Value::Integer(None) => {
                let m = Mistake::error(Code::OutOfRange, node.site, "this number is too large")
                    .label("more digits than a whole number here may have")
                    .help("write it with a decimal point or an exponent, if it is meant");
                self.tell_at(node, m);
                return None;
            }
            _ => {
                return self.wrong_type(
                    node,
                    "a bare number",
                    Some("this key has no unit: write the number without quotes".to_owned()),
                );
            }
        };
        if !x.is_finite() {
            let m = Mistake::error(Code::OutOfRange, node.site, "this number is not finite")
                .label("not finite");
            self.tell_at(node, m);
            return None;
        }
        self.bounded(x, bounds, "a number", node, None).then_some(x)
    }

    /// A figure without a unit: a bare number, or a text with its spread, all of which lies where the key may.
    pub(super) fn figure(&mut self, scale: Scale, bounds: Bounds, node: &Node) -> Option<Amount> {
        let Value::Text(text) = &node.value else {
            let law = None;
            return self.number(bounds, node).map(|si| Amount { si, law });
        };
        let amount = match scale.parse(text) {
            Ok(amount) => amount,
            Err(fault) => return self.fault(node, text, &fault),
        };
        let fits = self.bounded(amount.si, bounds, "a number", node, None)
            && self.spread_within(amount, bounds, node);
        fits.then_some(amount)
    }

    /// Whether what a spread spans lies within the bounds.
    fn spread_within(&mut self, amount: Amount, bounds: Bounds, node: &Node) -> bool {
        if bounds.hold_all(amount) {
            return true;
        }
        let (low, high) = amount.span();
        let shown = quantity::show_number;
        let m = Mistake::error(
            Code::OutOfRange,
            node.site,
            format!("this spread goes from {} to {}", shown(low), shown(high)),
        )
        .label(format!("a number here is {}", bounds.why))
        .help("write a spread that stays within, or the number alone");
        self.tell_at(node, m);
        false
    }

    pub(super) fn count(&mut self, least: i64, most: i64, node: &Node) -> Option<i64> {
        match node.value {
            Value::Integer(Some(i)) if (least..=most).contains(&i) => Some(i),
            // Only versions have one number that may stand there.
            Value::Integer(found) if least == most => {
                let found = found.map_or_else(String::new, |i| format!(" {i}"));
                let message = format!("format{found} is not read here");
                let m = Mistake::error(Code::OutOfRange, node.site, message)
                    .label(format!("formats that are read: {least}"))
                    .help(format!(
                        "write {least}, or use the version of the program for which the file was written"
                    ));
                self.tell_at(node, m);
                None
            }
            Value::Integer(found) => {
                let shown = found.map_or_else(|| "this number".to_owned(), |i| i.to_string());
                let message = format!("{shown} is out of range");
                let m = Mistake::error(Code::OutOfRange, node.site, message)
                    .label(format!("a whole number from {least} to {most}"));
                self.tell_at(node, m);
                None
            }
            _ => self.wrong_type(node, "a whole number", None),
        }
    }

    pub(super) fn choice(
        &mut self,
        words: &'static [&'static str],
        node: &Node,
    ) -> Option<&'static str> {
        let text = self.text(node)?;
        if let Some(word) = words.iter().find(|w| **w == text) {
            return Some(word);
        }
        let help = match nearest(text, words.iter().copied()) {
            Some(near) => format!(
                "did you mean \"{near}\"? the words are: {}",
                join(words.iter().copied())
            ),
            None => format!("the words are: {}", join(words.iter().copied())),
        };
        let m = Mistake::error(
            Code::UnknownWord,
            node.site,
            format!("\"{text}\" is none of the words that may stand here"),
        )
        .label("unknown word")
        .help(help);
        self.tell_at(node, m);
        None
    }

    pub(super) fn date(&mut self, node: &Node) -> Option<Timestamp> {
        let bad = |label: &str, help: &str| {
            Mistake::error(Code::BadDate, node.site, "this date cannot be used")
                .label(label)
                .help(help)
        };
        let Value::Date(text) = &node.value else {
            return self.wrong_type(
                node,
                "a date",
                Some(
                    "write it without quotes: 2027-03-15 (00:00 UTC) or 2027-03-15T06:30:00Z"
                        .to_owned(),
                ),
            );
        };
        let has_time = text.contains([':']);
        let parsed = if has_time {
            text.parse::<Timestamp>().ok()
        } else {
            text.parse::<Date>()
                .ok()
                .and_then(|d| TimeZone::UTC.to_timestamp(d.at(0, 0, 0, 0)).ok())
        };
        if parsed.is_none() {
            let m = if has_time && !text.contains('-') {
                bad(
                    "a time without its date",
                    "write year-month-dayThour:minute:secondZ: 2027-03-15T06:30:00Z",
                )
            } else if has_time {
                bad(
                    "a date-time needs its offset",
                    "end it with Z for UTC, or with an offset such as +02:00",
                )
            } else {
                bad("no such date", "write year-month-day: 2027-03-15")
            };
            self.tell_at(node, m);
        }
        parsed
    }

    pub(super) fn reference(&mut self, kinds: &[RefKind], node: &Node) -> Option<Read> {
        let text = self.text(node)?;
        let wanted = join(kinds.iter().map(|k| k.example()));
        match RefKind::of_path(text) {
            Some(kind) if kinds.contains(&kind) => {
                return Some(Read::Reference(kind, text.to_owned()));
            }
            Some(_) => {
                let m = Mistake::error(
                    Code::BadReference,
                    node.site,
                    format!("`{text}` cannot stand here"),
                )
                .label("another kind of thing")
                .help(format!("expected {wanted}"));
                self.tell_at(node, m);
            }
            None if kinds.contains(&RefKind::Notice) && wrong_notice(text).is_some() => {
                let word = wrong_notice(text).unwrap_or_default();
                let m = Mistake::error(
                    Code::BadReference,
                    node.site,
                    format!("a detector tells no `{word}`"),
                )
                .label("unknown notice")
                .help("the notices of a detector are: onset, confirmed, ended");
                self.tell_at(node, m);
            }
            None => {
                let m = Mistake::error(Code::BadReference, node.site, format!("`{text}` is no path"))
                    .label("expected a typed path")
                    .help(format!("write the whole path: {wanted} (ids are lower-case letters, digits and hyphens)"));
                self.tell_at(node, m);
            }
        }
        None
    }

    pub(super) fn topic(
        &mut self,
        node: &Node,
        check: fn(&str) -> Result<(), &'static str>,
    ) -> Option<Read> {
        let text = self.text(node)?;
        match check(text) {
            Ok(()) => Some(Read::Text(text.to_owned())),
            Err(why) => {
                let m = Mistake::error(
                    Code::BadTopic,
                    node.site,
                    format!("`{text}` breaks the rules for topics: {why}"),
                )
                .label("here")
                .help("see OASIS MQTT 5.0 section 4.7");
                self.tell_at(node, m);
                None
            }
        }
    }

    pub(super) fn parsed<T>(
        &mut self,
        node: &Node,
        what: &str,
        parse: fn(&str) -> Result<T, Fault>,
        example: &str,
    ) -> Option<T> {
        let text = self.with_unit(node, what, example)?;
        match parse(text) {
            Ok(value) => Some(value),
            Err(fault) => self.fault(node, text, &fault),
        }
    }

    pub(super) fn fault<T>(&mut self, node: &Node, text: &str, fault: &Fault) -> Option<T> {
        let code = match fault.kind {
            FaultKind::MissingUnit { .. } => Code::MissingUnit,
            FaultKind::UnknownUnit { .. } => Code::UnknownUnit,
            FaultKind::WrongDimension { .. } | FaultKind::WrongLevelKind { .. } => {
                Code::WrongDimension
            }
            _ => Code::BadQuantity,
        };
        let site = node.within(text, fault.range.clone());
        let mut mistake = Mistake::error(code, site, format!("\"{text}\": {fault}")).label("here");
        mistake.help = fault.help();
        self.tell_at(node, mistake);
        None
    }
}

/// How a level is called in a sentence.
const LEVEL: &str = "a level";

/// The last step of a path that would be a notice if that were one.
fn wrong_notice(path: &str) -> Option<&str> {
    let (head, word) = path.rsplit_once('.')?;
    (RefKind::of_path(head) == Some(RefKind::Detector)).then_some(word)
}
