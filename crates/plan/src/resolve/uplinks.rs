//! Uplinks.

use quantity::{Dimension, Money};

use super::Resolver;
use super::talk::{state, whole};
use crate::line::{
    AtCap, Fix, GivesUp, LastingSea, Line, ModuleIx, Q, Registers, RegistersWhen, SeaLimit,
    SeaState, Unwritten, Uplink, Windows,
};
use crate::mistake::{Code, Mistake};
use crate::read::Fields;
use crate::site::Site;

const EACH_ATTEMPT: &str = "each-attempt";

pub(super) fn uplinks(r: &mut Resolver<'_>, root: &Fields, line: &mut Line) {
    for (id, f) in root.keyed("uplink") {
        r.part = format!("uplink.{id}");
        if let Some(uplink) = uplink(r, id, f, line) {
            line.uplinks.push(uplink);
        }
    }
}

fn uplink(r: &mut Resolver<'_>, id: &str, f: &Fields, line: &Line) -> Option<Uplink> {
    let module = r.module(line, f, "at");
    let (size, size_site) = f.amount("message_size")?;
    let message_bytes = whole(r, size.si, size_site)?;
    let windows = f.table("windows").and_then(|(t, site)| {
        let w = Windows {
            first_s: t.q("first")?,
            period_s: t.q("period")?,
            width_s: t.q("width")?,
        };
        // A registration that each attempt needs is part of it.
        let registers = f.table("registers").filter(|(t, _)| {
            t.choice("when")
                .is_some_and(|(word, _)| *word == EACH_ATTEMPT)
        });
        let registers_s = registers
            .and_then(|(t, _)| t.amount("takes"))
            .map_or(0.0, |(takes, _)| takes.si);
        let fits = f
            .amount("session")
            .is_none_or(|(s, _)| s.si + registers_s <= w.width_s.si);
        if w.width_s.si > w.period_s.si || !fits {
            let why = if fits {
                "a window is longer than its period"
            } else {
                "no attempt fits into a window"
            };
            r.tell(Mistake::error(Code::OutOfRange, site, why).label("here"));
        }
        Some(w)
    });
    let module = module?;
    let sending_state = f
        .text("sending_state")
        .and_then(|(s, site)| state(r, line, module, s, site));
    let overhead_bytes = bytes(r, f, "overhead")?;
    if overhead_bytes >= message_bytes {
        let site = f.site_of("overhead").unwrap_or(f.site);
        r.tell(
            Mistake::error(
                Code::OutOfRange,
                site,
                "the overhead leaves nothing of a billed message",
            )
            .label(format!("of {message_bytes} B")),
        );
        return None;
    }
    if !f.has("adds") {
        r.unwritten(Unwritten::Adds);
    }
    let mut uplink = Uplink {
        id: id.to_owned(),
        at: f.site,
        module,
        message_bytes,
        price: *f.money("price")?.0,
        session_s: f.q("session")?,
        windows,
        success: f.q("success"),
        success_by: success_by(r, f)?,
        sea: lasting_sea(r, f)?,
        registers: registers(r, f, line, module)?,
        fix: fix(r, f, line, module)?,
        off_below: f.q("off_below"),
        back_off_s: f.q("back_off"),
        back_off_grows: growth(r, f)?,
        expiry_s: f.q("expiry"),
        sending_state,
        overhead_bytes,
        adds_bytes: bytes(r, f, "adds")?,
        pack_within_s: f.q("pack_within"),
        urgent: f.count("urgent").and_then(|(n, _)| u8::try_from(*n).ok()),
        room: room(r, f)?,
        included: f
            .count("included")
            .map_or(Some(0), |(n, _)| u32::try_from(*n).ok())?,
        minimum_charge: money(r, f, "minimum_charge")?,
        bills_failed: f
            .choice("failed_attempts")
            .map(|(word, _)| *word == "billed"),
        cap: None,
        checked: f.flag("checked").is_some_and(|(yes, _)| *yes),
    };
    if let (Some(hold), Some(expiry)) = (uplink.pack_within_s, uplink.expiry_s)
        && !lives_longer(r, &uplink, hold, expiry)
    {
        return None;
    }
    uplink.cap = cap(r, f, &uplink)?;
    let counts =
        uplink.pack_within_s.is_some() || matches!(uplink.cap, Some((_, AtCap::UrgentOnly)));
    if f.has("urgent") && !counts {
        let why = "no message is held and none goes on at a cap: `urgent` says nothing";
        r.tell(
            Mistake::error(
                Code::KeyConflict,
                f.site_of("urgent").unwrap_or(f.site),
                why,
            )
            .label("without a use")
            .help("add `pack_within`, or `at_cap = \"urgent-only\"` with a `cap`"),
        );
        return None;
    }
    Some(uplink)
}

/// Whether messages live as long as they are held; the room that is left for an attempt is warned of where there is none.
fn lives_longer(r: &mut Resolver<'_>, uplink: &Uplink, hold: Q, expiry: Q) -> bool {
    let shown = |s: f64| quantity::show(s, Dimension::Time);
    let (mut held, mut given_up) = (shown(hold.si), shown(expiry.si));
    if held == given_up && hold.si > expiry.si {
        let exact = |s: f64| format!("{} s", quantity::show_bare(s));
        (held, given_up) = (exact(hold.si), exact(expiry.si));
    }
    let lives = format!("given up after {given_up}");
    if hold.si > expiry.si {
        r.tell(
            Mistake::error(
                Code::OutOfRange,
                hold.at,
                format!(
                    "messages are held for {held} and {lives}: what neither fills a billed message nor is urgent is never sent"
                ),
            )
            .label("longer than they live")
            .related(expiry.at, lives)
            .help("shorten `pack_within` or lengthen `expiry`, with room between the two for attempts that fail"),
        );
        return false;
    }
    let (wait_s, why) = match &uplink.windows {
        Some(w) => (
            w.period_s.si - w.width_s.si + uplink.session_s.si,
            "from the end of a window, less a session, to the next",
        ),
        None => (
            uplink.session_s.si,
            "the session of another that has begun just before",
        ),
    };
    if hold.si + wait_s > expiry.si {
        r.tell(
            Mistake::warning(
                Code::OutOfRange,
                hold.at,
                format!(
                    "messages are held for {held} and {lives}, and an attempt may have to wait {} after that: some may never be sent",
                    shown(wait_s)
                ),
            )
            .label("leaves no room for an attempt")
            .related(expiry.at, lives)
            .help(format!("lengthen `expiry` or shorten `pack_within`, with more than {} between the two ({why}), and more for attempts that fail", shown(wait_s))),
        );
    }
    true
}

/// A size that may be left out.
fn bytes(r: &mut Resolver<'_>, f: &Fields, key: &'static str) -> Option<u32> {
    match f.amount(key) {
        Some((size, site)) => whole(r, size.si, site),
        None => Some(0),
    }
}

/// Two keys of which neither stands without the other.
fn both(
    r: &mut Resolver<'_>,
    f: &Fields,
    (one, other): (&'static str, &'static str),
    examples: (&str, &str),
) -> bool {
    let (has, lacks, example) = match (f.has(one), f.has(other)) {
        (true, false) => (one, other, examples.1),
        (false, true) => (other, one, examples.0),
        _ => return true,
    };
    r.tell(
        Mistake::error(
            Code::MissingKey,
            f.site_of(has).unwrap_or(f.site),
            format!("`{has}` needs `{lacks}`"),
        )
        .label("this key")
        .help(format!("add `{lacks} = {example}`")),
    );
    false
}

#[expect(
    clippy::option_option,
    reason = "a mistake, nothing written, something written"
)]
fn growth(r: &mut Resolver<'_>, f: &Fields) -> Option<Option<(u32, Q)>> {
    let keys = ("back_off_grows", "back_off_longest");
    if !both(r, f, keys, ("2", "\"30 min\"")) {
        return None;
    }
    let (Some((grows, site)), Some(longest)) = (f.count(keys.0), f.q(keys.1)) else {
        return Some(None);
    };
    let Some(first) = f.q("back_off") else {
        if !f.has("back_off") {
            r.tell(
                Mistake::error(
                    Code::MissingKey,
                    site,
                    "nothing says how long the first wait is",
                )
                .label("grows from it")
                .help("add `back_off = \"60 s\"`"),
            );
        }
        return None;
    };
    if longest.si < first.si {
        r.tell(
            Mistake::error(
                Code::OutOfRange,
                longest.at,
                "the longest wait is shorter than the first",
            )
            .label("here")
            .related(first.at, "the first"),
        );
        return None;
    }
    Some(Some((u32::try_from(*grows).ok()?, longest)))
}

#[expect(
    clippy::option_option,
    reason = "a mistake, nothing written, something written"
)]
fn room(r: &mut Resolver<'_>, f: &Fields) -> Option<Option<(u32, GivesUp)>> {
    if !both(r, f, ("room", "gives_up"), ("100", "\"oldest\"")) {
        return None;
    }
    let (Some((room, _)), Some((word, _))) = (f.count("room"), f.choice("gives_up")) else {
        return Some(None);
    };
    let gives_up = match *word {
        "oldest" => GivesUp::Oldest,
        _ => GivesUp::Newest,
    };
    Some(Some((u32::try_from(*room).ok()?, gives_up)))
}

/// Money in the currency of the price.
#[expect(
    clippy::option_option,
    reason = "a mistake, nothing written, something written"
)]
fn money(r: &mut Resolver<'_>, f: &Fields, key: &'static str) -> Option<Option<Money>> {
    let Some((money, site)) = f.money(key) else {
        return Some(None);
    };
    let (price, price_site) = f.money("price")?;
    if money.currency != price.currency {
        r.tell(
            Mistake::error(
                Code::WrongDimension,
                site,
                format!("`{key}` and the price are in different currencies"),
            )
            .label("here")
            .related(price_site, format!("a message costs {price}")),
        );
        return None;
    }
    Some(Some(*money))
}

#[expect(
    clippy::option_option,
    reason = "a mistake, nothing written, something written"
)]
fn cap(r: &mut Resolver<'_>, f: &Fields, uplink: &Uplink) -> Option<Option<(Money, AtCap)>> {
    if !both(r, f, ("cap", "at_cap"), ("\"100 EUR\"", "\"stop\"")) {
        return None;
    }
    let (Some(cap), Some((word, word_site))) = (money(r, f, "cap")?, f.choice("at_cap")) else {
        return Some(None);
    };
    let site = f.site_of("cap").unwrap_or(f.site);
    let at_cap = match *word {
        "stop" => AtCap::Stop,
        _ => AtCap::UrgentOnly,
    };
    let why = match (uplink.affordable(cap), at_cap) {
        (None, _) if uplink.price.minor <= 0 => {
            Some("a message costs nothing: no cap is ever reached")
        }
        (None, _) | (Some(0), AtCap::Stop) => Some("this cap lets nothing go"),
        (Some(0), AtCap::UrgentOnly) => {
            r.tell(
                Mistake::warning(
                    Code::OutOfRange,
                    site,
                    "this cap pays for no message: only what is urgent is ever sent, and the rest never",
                )
                .label(format!("less than {}, the price of one", uplink.price))
                .help("where the rest is to be sent too, raise the cap"),
            );
            None
        }
        _ => None,
    };
    if let Some(why) = why {
        r.tell(Mistake::error(Code::OutOfRange, site, why).label("here"));
        return None;
    }
    if at_cap == AtCap::UrgentOnly && !f.has("urgent") {
        r.tell(
            Mistake::error(
                Code::MissingKey,
                word_site,
                "nothing says which topics are urgent",
            )
            .label("only these go on")
            .help("add `urgent = 0`: topics of priority 0"),
        );
        return None;
    }
    Some(Some((cap, at_cap)))
}

#[expect(
    clippy::option_option,
    reason = "a mistake, nothing written, something written"
)]
fn lasting_sea(r: &mut Resolver<'_>, f: &Fields) -> Option<Option<LastingSea>> {
    let Some((t, site)) = f.table("sea") else {
        return (!f.has("sea")).then_some(None);
    };
    if let Some(other) = ["success", "success_by"].into_iter().find(|key| f.has(key)) {
        r.tell(
            Mistake::error(
                Code::KeyConflict,
                site,
                format!(
                    "an uplink gives its chances of success by `{other}`, or by a `sea` that lasts"
                ),
            )
            .label("both are written")
            .related(f.site_of(other).unwrap_or(f.site), "the other"),
        );
        return None;
    }
    let high_above = sea_limit(
        r,
        t,
        "a sea is high above a `wind` or above a `wave_height`",
    )?;
    let sea = LastingSea {
        high_above,
        calm: t.q("calm")?,
        high: t.q("high")?,
        high_lasts_s: t.q("high_lasts"),
    };
    if sea.high.si > sea.calm.si {
        r.tell(
            Mistake::error(
                Code::OutOfRange,
                sea.high.at,
                "attempts succeed more often in a high sea than in a calm one",
            )
            .label("here")
            .related(sea.calm.at, "in a calm sea"),
        );
        return None;
    }
    Some(Some(sea))
}

/// The state that a table names for the module; a mistake where the module has none of that name.
#[expect(
    clippy::option_option,
    reason = "a mistake, nothing written, something written"
)]
fn state_of(
    r: &mut Resolver<'_>,
    t: &Fields,
    line: &Line,
    module: ModuleIx,
) -> Option<Option<usize>> {
    match t.text("state") {
        None => Some(None),
        Some((word, site)) => state(r, line, module, word, site).map(Some),
    }
}

#[expect(
    clippy::option_option,
    reason = "a mistake, nothing written, something written"
)]
fn registers(
    r: &mut Resolver<'_>,
    f: &Fields,
    line: &Line,
    module: ModuleIx,
) -> Option<Option<Registers>> {
    let Some((t, _)) = f.table("registers") else {
        return (!f.has("registers")).then_some(None);
    };
    let when = match *t.choice("when")?.0 {
        EACH_ATTEMPT => RegistersWhen::EachAttempt,
        _ => RegistersWhen::PowerOn,
    };
    Some(Some(Registers {
        takes_s: t.q("takes")?,
        when,
        state: state_of(r, t, line, module)?,
    }))
}

#[expect(
    clippy::option_option,
    reason = "a mistake, nothing written, something written"
)]
fn fix(r: &mut Resolver<'_>, f: &Fields, line: &Line, module: ModuleIx) -> Option<Option<Fix>> {
    let Some((t, _)) = f.table("fix") else {
        return (!f.has("fix")).then_some(None);
    };
    let fix = Fix {
        takes_s: t.q("takes")?,
        every_s: t.q("every")?,
        state: state_of(r, t, line, module)?,
    };
    if fix.takes_s.si > fix.every_s.si {
        r.tell(
            Mistake::error(
                Code::OutOfRange,
                fix.takes_s.at,
                "a position fix takes longer than from one to the next",
            )
            .label("here")
            .related(fix.every_s.at, "from one to the next"),
        );
        return None;
    }
    Some(Some(fix))
}

fn success_by(r: &mut Resolver<'_>, f: &Fields) -> Option<Vec<SeaState>> {
    if f.has("success") && f.has("success_by") {
        let site = f.site_of("success_by").unwrap_or(f.site);
        r.tell(
            Mistake::error(
                Code::KeyConflict,
                site,
                "an uplink gives one chance of success, or its chances by the state of the sea",
            )
            .label("both are written"),
        );
        return None;
    }
    let rows: Vec<SeaState> = f
        .tables("success_by")
        .iter()
        .map(|t| sea_state(r, t))
        .collect::<Option<_>>()?;
    for pair in rows.windows(2) {
        let (before, after) = (pair[0].up_to, pair[1].up_to);
        let mixed = std::mem::discriminant(&before) != std::mem::discriminant(&after);
        if mixed || after.q().si <= before.q().si {
            let why = if mixed {
                "all rows are by wind, or all by wave height"
            } else {
                "the rows go from calm to rough"
            };
            r.tell(
                Mistake::error(Code::OutOfRange, after.q().at, why)
                    .label("here")
                    .related(before.q().at, "the row before"),
            );
            return None;
        }
    }
    Some(rows)
}

fn sea_state(r: &mut Resolver<'_>, t: &Fields) -> Option<SeaState> {
    Some(SeaState {
        up_to: sea_limit(r, t, "a row holds up to a `wind` or up to a `wave_height`")?,
        success: t.q("success")?,
    })
}

/// The one of `wind` and `wave_height` that is written.
fn sea_limit(r: &mut Resolver<'_>, t: &Fields, why: &str) -> Option<SeaLimit> {
    let site: Site = t.site;
    if t.has("wind") == t.has("wave_height") {
        r.tell(Mistake::error(Code::KeyConflict, site, why).label("neither, or both"));
        return None;
    }
    let wind = t.q("wind").map(SeaLimit::Wind);
    wind.or_else(|| t.q("wave_height").map(SeaLimit::WaveHeight))
}
