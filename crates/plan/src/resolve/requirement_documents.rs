//! What stands for a requirement in place of a calculation: documents with their age, and measured values.

use quantity::Dimension;

use super::Resolver;
use super::requirements::limit;
use crate::field::{NOT_NEGATIVE, POSITIVE};
use crate::line::{Age, Attestation, Measurement, That};
use crate::mistake::{Code, Mistake};
use crate::node::Value;
use crate::read::Fields;

/// Most calendar months of an age: the calendar ends in the year 9999.
const MOST_MONTHS: u32 = 12 * 100;

/// An age: calendar months, or a time.
pub(super) fn age(r: &mut Resolver<'_>, f: &Fields) -> Option<Age> {
    let (node, _) = f.limit("at_most")?;
    let text = match &node.value {
        Value::Text(text) => text.trim(),
        _ => "",
    };
    let months = text
        .strip_suffix("months")
        .or_else(|| text.strip_suffix("month"));
    let Some(count) = months else {
        return limit(r, f, "at_most", Dimension::Time, POSITIVE)?.map(Age::Time);
    };
    match count.trim().parse() {
        Ok(months) if (1..=MOST_MONTHS).contains(&months) => Some(Age::Months(months)),
        _ => {
            r.tell(
                Mistake::error(
                    Code::OutOfRange,
                    node.site,
                    format!("{text} is no number of calendar months"),
                )
                .label(format!("a whole number of months from 1 to {MOST_MONTHS}"))
                .help("write for example \"12 months\", or a time that has one length: \"45 d\""),
            );
            None
        }
    }
}

pub(super) fn attested(r: &mut Resolver<'_>, f: &Fields) -> Option<That> {
    if f.is_wrong("attested") {
        return None;
    }
    let Some((t, _)) = f.table("attested") else {
        return Some(That::Attested { attested: None });
    };
    let attested = Attestation {
        document: t.text("document")?.0.clone(),
        by: t.text("by")?.0.clone(),
        date: *t.date("date")?.0,
        expires: t.date("expires").map(|(at, _)| *at),
    };
    if let Some(site) = t.site_of("expires")
        && attested.expires.is_some_and(|at| at <= attested.date)
    {
        let given = t.site_of("date").unwrap_or(t.site);
        r.tell(
            Mistake::error(Code::OutOfRange, site, "it expires before it is given")
                .label("not after `date`")
                .related(given, "given"),
        );
        return None;
    }
    Some(That::Attested {
        attested: Some(attested),
    })
}

/// What was measured, of one thing; an error where it is wrong.
pub(super) fn measured(r: &mut Resolver<'_>, f: &Fields) -> Result<Option<Measurement>, ()> {
    let Some((t, site)) = f.table("measured") else {
        return if f.is_wrong("measured") {
            Err(())
        } else {
            Ok(None)
        };
    };
    let word = f.choice("that").map_or("", |(word, _)| *word);
    let (dimension, of_one) = match word {
        "voltage" | "highest-voltage" => (Dimension::Voltage, true),
        "supply-current" => (Dimension::Current, true),
        "reserve" => (Dimension::Power, true),
        "module-depth" | "watch-circle" | "on-station" => (Dimension::Length, true),
        "line-tension" => (Dimension::Force, true),
        "autonomy" => (Dimension::Time, true),
        _ => (Dimension::Time, false),
    };
    if of_one && !f.has("of") {
        r.tell(
            Mistake::error(Code::MissingKey, site, "a measured value is of one thing")
                .label("of which?")
                .help("add `of` to the requirement"),
        );
        return Err(());
    }
    let decides = t.flag("decides").filter(|(flag, _)| **flag);
    // One reading is no share of layings and fixes, no feed at its highest, and of one hour's weather.
    let one_of_many = match word {
        "on-station" => Some(
            "one fix or one laying does not tell the share of them all that `on-station` asks for",
        ),
        "module-depth" | "watch-circle" | "line-tension" => Some(
            "a reading is of the weather of its hour, and this is to hold in every design case",
        ),
        "highest-voltage" => {
            Some("a reading at one setting of a supply does not tell the highest that it may give")
        }
        _ => None,
    };
    if let (Some((_, site)), Some(why)) = (decides, one_of_many) {
        r.tell(
            Mistake::error(Code::KeyConflict, site, why)
                .label("it cannot decide alone")
                .help("take `decides` out: the measured value counts beside the calculation, and the worse decides"),
        );
        return Err(());
    }
    let amount = |r: &mut Resolver<'_>, key| limit(r, t, key, dimension, NOT_NEGATIVE).ok_or(());
    let value = amount(r, "value")?.ok_or(())?;
    let uncertainty = amount(r, "uncertainty")?;
    let text = |key| t.text(key).map(|(text, _)| text.clone()).ok_or(());
    Ok(Some(Measurement {
        value,
        uncertainty,
        by: text("by")?,
        date: *t.date("date").ok_or(())?.0,
        document: text("document")?,
        decides: decides.is_some(),
    }))
}
