//! Links of spans and buses: rates, frames and ends that their kinds allow.

use quantity::{Dimension, show};

use super::link_kinds::{Kind, Rates, kind_of};
use super::{Resolver, ix_of};
use crate::line::{Bus, BusIx, Line, Link, LinkFrame, ModuleIx, Q};
use crate::mistake::{Code, Mistake};
use crate::read::{Fields, join};
use crate::site::Site;

/// What may stand beside `link`.
const LINK_KEYS: [&str; 7] = [
    "link_rate",
    "link_longest",
    "antennas",
    "bit_error_rate",
    "errors_apart",
    "frame",
    "polled_by",
];

pub(super) fn buses(r: &mut Resolver<'_>, root: &Fields, line: &mut Line) {
    for (id, f) in root.keyed("bus") {
        r.part = format!("bus.{id}");
        if let Some(link) = link(r, f, line) {
            line.buses.push(Bus {
                id: id.to_owned(),
                at: f.site,
                link,
            });
        }
    }
}

/// The bus that a span is a piece of.
pub(super) fn bus_of(r: &mut Resolver<'_>, f: &Fields, line: &Line) -> Option<BusIx> {
    let (_, path, _) = r.reference(f, "bus")?;
    ix_of(&line.buses, path, |b| &b.id).map(BusIx)
}

/// The link of a span that is its own.
pub(super) fn of_span(r: &mut Resolver<'_>, f: &Fields, line: &Line) -> Option<Link> {
    if f.has("link") && f.has("bus") {
        r.tell(
            Mistake::error(
                Code::KeyConflict,
                f.site_of("bus").unwrap_or(f.site),
                "a span has a link of its own or is a piece of a bus, not both",
            )
            .label("here")
            .help("remove `link`, or `bus`"),
        );
        return None;
    }
    if !f.has("link") {
        let belongs = LINK_KEYS;
        for (key, site) in belongs.map(|key| (key, f.site_of(key))) {
            let Some(site) = site else { continue };
            let (what, help) = match (key, f.has("bus")) {
                ("link_rate", false) => ("a rate without a link", "add `link = \"free\"`"),
                (_, false) => ("this belongs to a link, and there is none", "add `link`"),
                (_, true) => (
                    "this belongs to the bus, not to a piece of it",
                    "write it under the bus",
                ),
            };
            r.tell(
                Mistake::error(Code::KeyConflict, site, what)
                    .label("here")
                    .help(help),
            );
        }
        return None;
    }
    let link = link(r, f, line)?;
    let ends = ["from", "to"].map(|key| f.reference(key).map(|(_, path, _)| path));
    if let Some(asks) = link.polled_by {
        let path = line.module_path(asks);
        if !ends.contains(&Some(path.as_str())) {
            asks_from_elsewhere(r, f, &path);
        }
    }
    Some(link)
}

fn asks_from_elsewhere(r: &mut Resolver<'_>, f: &Fields, path: &str) {
    r.tell(
        Mistake::error(
            Code::KeyConflict,
            f.site_of("polled_by").unwrap_or(f.site),
            format!("`{path}` asks the others, but is not on this link"),
        )
        .label("on none of its ends"),
    );
}

fn link(r: &mut Resolver<'_>, f: &Fields, line: &Line) -> Option<Link> {
    let (standard, at) = f.choice("link")?;
    let kind = kind_of(standard);
    if LINK_KEYS.into_iter().any(|key| f.is_wrong(key)) {
        return None;
    }
    let rate_bps = f.q("link_rate");
    let mut fits = rate_fits(r, kind, rate_bps, at);
    if let Some(q) = f.q("link_longest").filter(|_| !kind.by_maker()) {
        r.tell(
            Mistake::error(
                Code::KeyConflict,
                q.at,
                format!("{} has a longest length of its own", kind.name),
            )
            .label("here")
            .help("remove `link_longest`"),
        );
        fits = false;
    }
    if let Some(q) = f
        .q("errors_apart")
        .filter(|_| !kind.name.starts_with("CAN"))
    {
        r.tell(
            Mistake::error(
                Code::KeyConflict,
                q.at,
                format!("a {} link sends nothing again that bit errors hit: errors lose messages there, and make none late", kind.name),
            )
            .label("only CAN does")
            .help("remove `errors_apart`; `bit_error_rate` and a requirement on `message-loss` tell what errors cost here"),
        );
        fits = false;
    }
    if fits {
        errors_keep_apart(r, f, rate_bps);
    }
    let antennas_m = match f.qs("antennas").as_slice() {
        [from, to] => Some([*from, *to]),
        _ => None,
    };
    if let Some([from, _]) = antennas_m.filter(|_| kind.name != "line-of-sight") {
        r.tell(
            Mistake::error(
                Code::KeyConflict,
                from.at,
                format!("a {} link has no antennas", kind.name),
            )
            .label("here")
            .help("remove `antennas`, or write `link = \"line-of-sight\"`"),
        );
        fits = false;
    }
    let frame = f.table("frame").map(|(t, _)| t);
    fits &= frame_fits(r, kind, frame, at);
    let polled_by = match f.site_of("polled_by") {
        None => None,
        Some(_) if kind.polled => Some(r.module(line, f, "polled_by")?),
        Some(site) => {
            r.tell(
                Mistake::error(
                    Code::KeyConflict,
                    site,
                    format!("nobody asks on a {} link", kind.name),
                )
                .label("here")
                .help("remove `polled_by`"),
            );
            fits = false;
            None
        }
    };
    if fits && kind.must_be_polled() && !f.has("polled_by") {
        let ends = ["from", "to"].map(|key| f.reference(key).map(|(_, path, _)| path));
        let who = ends.into_iter().flatten().next();
        r.tell(
            Mistake::error(
                Code::MissingKey,
                at,
                format!(
                    "on {} stations speak only when asked, and nobody asks",
                    kind.name
                ),
            )
            .label("`polled_by` is missing here")
            .help(format!(
                "add `polled_by = \"{}\"`, or the module of this link that asks the others",
                who.unwrap_or("module.ID")
            )),
        );
        fits = false;
    }
    fits.then(|| Link {
        standard: (*standard).to_owned(),
        rate_bps,
        longest_m: f.q("link_longest"),
        bit_error_rate: f.q("bit_error_rate"),
        errors_apart_s: f.q("errors_apart"),
        antennas_m,
        frame: frame.map(read_frame),
        polled_by,
        at,
    })
}

/// Share of errors that may come sooner than the plan assumes without a warning.
const SOONER_SHARE: f64 = 0.1;

/// Warns of errors that are assumed farther apart than the rate of them says. Errors that hit each bit by itself are as far apart as the waits of a Poisson process, while
/// the bus is in use without pause.
fn errors_keep_apart(r: &mut Resolver<'_>, f: &Fields, rate_bps: Option<Q>) {
    let errors = f.q("bit_error_rate");
    let (Some(apart), Some(errors), Some(rate)) = (f.q("errors_apart"), errors, rate_bps) else {
        return;
    };
    let mean_s = 1.0 / (errors.si * rate.si);
    let sooner = -libm::expm1(-apart.si / mean_s);
    if sooner <= SOONER_SHARE {
        return;
    }
    let time = |s: f64| show(s, Dimension::Time);
    r.tell(
        Mistake::warning(
            Code::OutOfRange,
            apart.at,
            format!(
                "errors are assumed {} apart, and by `bit_error_rate` one comes each {} while the bus is in use",
                time(apart.si),
                time(mean_s)
            ),
        )
        .label(format!("{:.0} % of them come sooner", 100.0 * sooner))
        .related(errors.at, "the rate of them")
        .help("bounds of delay rest on this: state a time that errors keep, far below that mean, or a lower `bit_error_rate` where it was measured"),
    );
}

fn rate_fits(r: &mut Resolver<'_>, kind: &Kind, rate_bps: Option<Q>, at: Site) -> bool {
    let words = |bps: f64| show(bps, Dimension::DataRate);
    let (site, message, help) = match (&kind.rates, rate_bps) {
        (Rates::Fixed, None) => return true,
        (Rates::Fixed, Some(rate)) => (
            rate.at,
            "the standard fixes the rate of this link".to_owned(),
            "remove `link_rate`, or write `link = \"free\"`".to_owned(),
        ),
        (_, None) if kind.name == "free" => (
            at,
            "a free link must give its `link_rate`".to_owned(),
            "add `link_rate = \"1 Mbit/s\"`".to_owned(),
        ),
        (Rates::Listed(list), rate) => {
            if rate.is_some_and(|q| list.contains(&q.si)) {
                return true;
            }
            let list: Vec<String> = list.iter().map(|bps| words(*bps)).collect();
            let has = format!("it has {}", join(list.iter().map(String::as_str)));
            rate_unfit(kind, rate, at, has)
        }
        (Rates::Between(least, most), rate) => {
            if rate.is_some_and(|q| (*least..=*most).contains(&q.si) && q.si.fract() == 0.0) {
                return true;
            }
            let has = format!("it has {} to {}", words(*least), words(*most));
            rate_unfit(kind, rate, at, has)
        }
    };
    r.tell(
        Mistake::error(Code::KeyConflict, site, message)
            .label("here")
            .help(help),
    );
    false
}

fn rate_unfit(kind: &Kind, rate: Option<Q>, at: Site, has: String) -> (Site, String, String) {
    match rate {
        None => (
            at,
            format!(
                "{} has several rates: `link_rate` must say which",
                kind.name
            ),
            format!("add `link_rate`: {has}"),
        ),
        Some(q) if q.si.fract() != 0.0 => (
            q.at,
            "a rate is a whole number of bits a second".to_owned(),
            has,
        ),
        Some(q) => (
            q.at,
            format!(
                "{} has no rate of {}",
                kind.name,
                show(q.si, Dimension::DataRate)
            ),
            has,
        ),
    }
}

fn frame_fits(r: &mut Resolver<'_>, kind: &Kind, frame: Option<&Fields>, at: Site) -> bool {
    let Some(f) = frame else {
        // A free link without one carries what the stack of [traffic] makes.
        if kind.frames_by_stack() {
            return true;
        }
        r.tell(
            Mistake::error(
                Code::MissingKey,
                at,
                format!("a {} link must give its `frame`", kind.name),
            )
            .label("here")
            .help(format!("add `frame = {}`", kind.example)),
        );
        return false;
    };
    let mut fits = true;
    for key in f.keys() {
        if kind.needs.contains(&key) || kind.may.contains(&key) {
            continue;
        }
        let all: Vec<&str> = kind.needs.iter().chain(kind.may).copied().collect();
        r.tell(
            Mistake::error(
                Code::KeyConflict,
                f.site_of(key).unwrap_or(f.site),
                format!("`{key}` does not belong to a frame of {}", kind.name),
            )
            .label("here")
            .help(if all.is_empty() {
                "remove `frame`: the stack of [traffic] says all".to_owned()
            } else {
                format!("it may have: {}", all.join(", "))
            }),
        );
        fits = false;
    }
    for key in kind.needs.iter().filter(|key| !f.has(key)) {
        r.tell(
            Mistake::error(
                Code::MissingKey,
                f.site,
                format!("a frame of {} needs `{key}`", kind.name),
            )
            .label(format!("`{key}` is missing here"))
            .help(format!("for example `frame = {}`", kind.example)),
        );
        fits = false;
    }
    for key in ["header", "packet"] {
        if let Some(q) = f.q(key)
            && q.si.fract() != 0.0
        {
            let message = "a size here is a whole number of bytes";
            r.tell(Mistake::error(Code::OutOfRange, q.at, message).label("not whole"));
            fits = false;
        }
    }
    if let (Some(most), Some(q)) = (kind.data_bytes, f.q("header"))
        && q.si >= most
    {
        r.tell(
            Mistake::error(
                Code::OutOfRange,
                q.at,
                format!("a frame of {} has {most} data bytes", kind.name),
            )
            .label("nothing is left for the message"),
        );
        fits = false;
    }
    if let Some(q) = f.q("data_rate")
        && q.si.fract() != 0.0
    {
        let message = "a rate is a whole number of bits a second";
        r.tell(Mistake::error(Code::OutOfRange, q.at, message).label("not whole"));
        fits = false;
    }
    fits && !f.keys().any(|key| f.is_wrong(key))
}

fn read_frame(f: &Fields) -> LinkFrame {
    let word = |key| f.choice(key).map(|(word, _)| *word);
    LinkFrame {
        header_bytes: f.q("header"),
        packet_bytes: f.q("packet"),
        // Start bit, data bits, parity bit, stop bits.
        character_bits: word("characters").map(|word| match word {
            "8N2" | "8E1" | "8O1" => 11,
            _ => 10,
        }),
        id_bits: word("ids").map(|word| if word == "29 bit" { 29 } else { 11 }),
        data_rate_bps: f.q("data_rate"),
        preamble_s: f.q("preamble"),
        turnaround_s: f.q("turnaround"),
    }
}

/// Buses on which no span lies, that fall apart, or that join more modules than their kind allows. Not asked while spans have mistakes: it would repeat them.
pub(super) fn shared(r: &mut Resolver<'_>, root: &Fields, line: &Line) {
    if r.mistakes
        .spoil(&["file", "span", "module", "part", "include"])
        || r.declared.lost("span", line.spans.len())
    {
        return;
    }
    for (at, bus) in line.buses.iter().enumerate() {
        r.part = format!("bus.{}", bus.id);
        let kind = kind_of(&bus.link.standard);
        let stations = line.stations(BusIx(at));
        let count = stations.len();
        let tell = |r: &mut Resolver<'_>, code, message: String, label: &str, help: String| {
            let mistake = Mistake::error(code, bus.link.at, message).label(label);
            r.tell(mistake.help(help));
        };
        if stations.is_empty() {
            let help = format!("write `bus = \"bus.{}\"` under its spans", bus.id);
            let message = format!("no span is a piece of `bus.{}`", bus.id);
            tell(r, Code::MissingKey, message, "it joins nothing", help);
            continue;
        }
        if let Some(most) = kind.stations.filter(|most| count > *most) {
            let message = if most == 2 {
                format!(
                    "`bus.{}` joins {count} modules, but a {} link has two ends",
                    bus.id, kind.name
                )
            } else {
                format!(
                    "`bus.{}` joins {count} modules, but {} has at most {most} on one wire",
                    bus.id, kind.name
                )
            };
            let names: Vec<String> = stations.iter().map(|m| line.module_path(*m)).collect();
            let names = join(names.iter().map(String::as_str));
            let help = format!("they are {names}; split it into several");
            tell(r, Code::OutOfRange, message, "here", help);
        }
        if apart(line, BusIx(at), &stations) {
            let message = format!("the spans of `bus.{}` do not hang together", bus.id);
            let help = "give each piece a bus of its own".to_owned();
            tell(r, Code::KeyConflict, message, "here", help);
        }
        if let Some(asks) = bus.link.polled_by.filter(|m| !stations.contains(m))
            && let Some((_, f)) = root.keyed("bus").find(|(id, _)| *id == bus.id)
        {
            asks_from_elsewhere(r, f, &line.module_path(asks));
        }
    }
}

/// Whether some station cannot be reached from the first along the spans of a bus.
fn apart(line: &Line, bus: BusIx, stations: &[ModuleIx]) -> bool {
    let mut reached = vec![stations[0]];
    let mut next = 0;
    while let Some(at) = reached.get(next).copied() {
        next += 1;
        for span in line.spans.iter().filter(|s| s.bus == Some(bus)) {
            for (a, b) in [(span.from, span.to), (span.to, span.from)] {
                if a == at && !reached.contains(&b) {
                    reached.push(b);
                }
            }
        }
    }
    reached.len() < stations.len()
}
