//! How the messages of a topic are delivered.

use super::Resolver;
use super::talk::whole;
use crate::line::{Keep, Q, Retry, Unwritten};
use crate::mistake::{Code, Mistake};
use crate::read::Fields;

/// What a receiver tells apart when nothing is written: RFC 4303, section 3.4.3 prefers 64.
const REMEMBERS: u32 = 64;

/// Sending again, or none; `None` after a mistake.
#[expect(
    clippy::option_option,
    reason = "no retry is no mistake, and a mistake is no retry"
)]
pub(super) fn retry(r: &mut Resolver<'_>, f: &Fields) -> Option<Option<Retry>> {
    if f.is_wrong("delivery") || f.is_wrong("retry") {
        return None;
    }
    let again = f
        .choice("delivery")
        .is_some_and(|(w, _)| *w == "at-least-once");
    let table = f.table("retry");
    match (again, table) {
        (false, None) => Some(None),
        (true, Some((t, _))) => {
            let (bytes, site) = t.amount("acknowledgement")?;
            let acknowledgement_bytes = whole(r, bytes.si, site)?;
            if !t.has("remembers") {
                r.unwritten(Unwritten::Remembers);
            }
            let count = |key| t.count(key).and_then(|(n, _)| u32::try_from(*n).ok());
            Some(Some(Retry {
                after_s: t.q("after")?,
                at_most: count("at_most")?,
                acknowledgement_bytes,
                remembers: if t.has("remembers") {
                    count("remembers")?
                } else {
                    REMEMBERS
                },
            }))
        }
        (true, None) => {
            let site = f.site_of("delivery").unwrap_or(f.site);
            r.tell(
                Mistake::error(
                    Code::MissingKey,
                    site,
                    "nothing says when a message is sent again",
                )
                .label("at least once, but how?")
                .help("add `retry = { after = \"2 s\", at_most = 5, acknowledgement = \"8 B\" }`"),
            );
            None
        }
        (false, Some((_, site))) => {
            r.tell(
                Mistake::error(
                    Code::KeyConflict,
                    site,
                    "a message that is delivered at most once is never sent again",
                )
                .label("has no effect")
                .help("add `delivery = \"at-least-once\"`, or remove `retry`"),
            );
            None
        }
    }
}

/// Whether a message that may come twice has room for what tells it: its number, wide enough for what receivers remember, and the count of its publisher's starts.
/// Gives what these add to a size; `None` after a mistake.
///
/// Of numbers that go round, one counts as later than another when it is less than half of them ahead (RFC 1982, section 3.2), and a receiver looks back over all
/// that it remembers: half of the numbers must be at least as many.
#[expect(
    clippy::option_option,
    reason = "adding nothing is no mistake, and a mistake adds nothing"
)]
pub(super) fn numbers_fit(
    r: &mut Resolver<'_>,
    f: &Fields,
    retry: Option<&Retry>,
    retained: bool,
) -> Option<Option<Q>> {
    let key = match (retry, retained) {
        (Some(_), _) => "delivery",
        (None, true) => "retained",
        (None, false) => {
            let Some(site) = f.site_of("numbering") else {
                return Some(None);
            };
            r.tell(
                Mistake::error(
                    Code::KeyConflict,
                    site,
                    "a message that comes at most once needs no number",
                )
                .label("has no effect")
                .help("remove `numbering`, or add `delivery = \"at-least-once\"` or `retained = true`"),
            );
            return None;
        }
    };
    if f.has("size") {
        if !f.has("numbering") {
            r.unwritten(Unwritten::Numbering);
            return Some(None);
        }
        let (bytes, site) = f.amount("numbering")?;
        whole(r, bytes.si, site)?;
        return Some(f.q("numbering"));
    }
    if let Some(site) = f.site_of("numbering") {
        r.tell(
            Mistake::error(Code::KeyConflict, site, "`numbering` belongs to a `size`")
                .label("this topic has fields")
                .help("write `sequence_bits` and `starts_bits` instead"),
        );
        return None;
    }
    let remembers = retry.map_or(REMEMBERS, |retry| retry.remembers);
    let least = 1 + u32::BITS - (remembers - 1).leading_zeros();
    let site = f.site_of(key).unwrap_or(f.site);
    let lacking: Vec<String> = [("sequence_bits", least.max(8)), ("starts_bits", 4)]
        .into_iter()
        .filter(|(key, _)| !f.has(key))
        .map(|(key, bits)| format!("`{key} = {bits}`"))
        .collect();
    if !lacking.is_empty() {
        r.tell(
            Mistake::error(
                Code::MissingKey,
                site,
                "a message of this topic may come twice, and its packed payload has no room for what tells that",
            )
            .label("a receiver tells it by its number and its publisher's count of starts")
            .help(format!("add {}", lacking.join(" and "))),
        );
        return None;
    }
    let (bits, site) = f.count("sequence_bits")?;
    if u32::try_from(*bits).is_ok_and(|bits| bits < least) {
        r.tell(
            Mistake::error(
                Code::OutOfRange,
                site,
                format!("{bits} bits do not tell {remembers} messages that a receiver remembers from those to come"),
            )
            .label("goes round too soon")
            .help(format!("write at least {least}, or a smaller `remembers` in `retry`")),
        );
        return None;
    }
    f.count("starts_bits")?;
    Some(None)
}

/// Waiting for a way, if it is written and right.
pub(super) fn keep(f: &Fields) -> Option<Keep> {
    let (t, _) = f.table("keep")?;
    Some(Keep {
        messages: t
            .count("messages")
            .and_then(|(n, _)| u32::try_from(*n).ok())?,
        longest_s: t.q("longest")?,
    })
}
