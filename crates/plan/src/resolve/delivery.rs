//! How the messages of a topic are delivered.

use super::Resolver;
use super::talk::whole;
use crate::line::{Keep, Retry, Unwritten};
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
