//! Links and shared buses of the line, as the network takes them.

use network::{
    Access, BusSpec, CanIds, Ends, FrameOverhead, Framing, LinkSpec, LinkStandard,
    SDI12_ANSWER_WITHIN, SDI12_SLOWEST_BITS, SDI12_WAKE, Turn, Wire,
};
use plan::{BusIx, Line, Link, LinkFrame, ModuleIx, Q, SpanIx};
use timeline::Ns;

use super::InputError;
use super::traffic::ns;

/// Data bytes of a CAN frame, and of a CAN FD frame.
const CAN_BYTES: u32 = 8;
const CAN_FD_BYTES: u32 = 64;
/// Address, command and end of a request of SDI-12, and address, return and line feed around an answer, characters.
const SDI12_REQUEST: u32 = 4;
const SDI12_ANSWER: u32 = 3;
/// A turn of 10BASE-T1S that is not used, 32 bit times, and its share of the beacon, 20 bit times at most (IEEE 802.3cg clause 148, from memory).
const TURN_BITS: u64 = 52;

/// What carries messages.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Carrier {
    /// A bus of the plan.
    Bus(BusIx),
    /// A span by its own link.
    Span(SpanIx),
}

impl Carrier {
    /// Its typed path: `bus.sensors`, `span.stub`.
    #[must_use]
    pub fn path(self, line: &Line) -> String {
        match self {
            Carrier::Bus(bus) => format!("bus.{}", line.buses[bus.0].id),
            Carrier::Span(span) => format!("span.{}", line.spans[span.0].id),
        }
    }

    /// What the plan says of its link.
    pub(crate) fn link(self, line: &Line) -> Option<&Link> {
        match self {
            Carrier::Bus(bus) => Some(&line.buses[bus.0].link),
            Carrier::Span(span) => line.spans[span.0].link.as_ref(),
        }
    }
}

/// All that carries messages.
#[derive(Default)]
pub(super) struct Media {
    pub(super) links: Vec<LinkSpec>,
    pub(super) link_spans: Vec<SpanIx>,
    pub(super) buses: Vec<BusSpec>,
    pub(super) shared: Vec<Carrier>,
}

/// What stands around a message on an Ethernet link, and how large a piece of it may be.
#[derive(Clone, Copy)]
pub(super) struct Stack {
    /// `None` where each link has a frame of its own.
    pub(super) overhead: Option<FrameOverhead>,
    pub(super) packet_bytes: u32,
}

pub(super) fn media(line: &Line, stack: Stack) -> Result<Media, InputError> {
    let mut media = Media::default();
    for (i, span) in line.spans.iter().enumerate() {
        let Some(link) = &span.link else { continue };
        let ends = [span.from, span.to];
        let of = Carrier::Span(SpanIx(i));
        add(
            &mut media,
            line,
            stack,
            link,
            &ends,
            of,
            SpanIx(i),
            span.length_m,
        )?;
    }
    for (i, bus) in line.buses.iter().enumerate() {
        let of = BusIx(i);
        let Some(first) = line.spans.iter().position(|s| s.bus == Some(of)) else {
            continue;
        };
        let (stations, length) = (line.stations(of), bus_length(line, of));
        let (of, first) = (Carrier::Bus(of), SpanIx(first));
        add(
            &mut media,
            line,
            stack,
            &bus.link,
            &stations,
            of,
            first,
            length.whole_m,
        )?;
    }
    Ok(media)
}

#[expect(
    clippy::too_many_arguments,
    reason = "a link, its ends, its place and its length"
)]
fn add(
    media: &mut Media,
    line: &Line,
    stack: Stack,
    link: &Link,
    stations: &[ModuleIx],
    of: Carrier,
    span: SpanIx,
    length_m: f64,
) -> Result<(), InputError> {
    let what = of.path(line);
    let standard = standard_of(&what, link)?;
    let rate_bps = rate_of(&what, link)?;
    let propagation = Ns((length_m * standard.propagation_ns_per_m).ceil() as u64);
    let on_a_bus = matches!(of, Carrier::Bus(_)) && standard.ends != Ends::Two;
    let alone = joins_two(standard, link) && !on_a_bus;
    let wire = wire(&what, link, standard, stack)?;
    if let (
        true,
        [a, b],
        Wire::Bytes {
            lead,
            bits_per_byte,
            overhead_bytes,
            min_payload_bytes,
        },
    ) = (alone, stations, wire)
    {
        media.links.push(LinkSpec {
            a: a.0,
            b: b.0,
            rate_bps,
            propagation,
            overhead_bytes,
            min_payload_bytes,
            bits_per_byte,
            lead,
        });
        media.link_spans.push(span);
        return Ok(());
    }
    media.buses.push(BusSpec {
        stations: stations.iter().map(|m| m.0).collect(),
        rate_bps,
        propagation,
        wire,
        payload_bytes: payload_bytes(link, standard, stack),
        access: access(&what, link, standard, wire, rate_bps)?,
    });
    media.shared.push(of);
    Ok(())
}

/// Whether a span's own link joins two modules that never wait for each other.
pub(crate) fn alone(link: &Link) -> bool {
    LinkStandard::by_name(&link.standard).is_ok_and(|standard| joins_two(standard, link))
}

fn joins_two(standard: &LinkStandard, link: &Link) -> bool {
    match standard.ends {
        Ends::Two => true,
        Ends::Bus(_) => standard.turn == Turn::Own && link.polled_by.is_none(),
    }
}

pub(crate) fn standard_of(what: &str, link: &Link) -> Result<&'static LinkStandard, InputError> {
    LinkStandard::by_name(&link.standard).map_err(|source| InputError::Link {
        what: what.to_owned(),
        source,
    })
}

/// Rate of a link, bit/s.
pub(crate) fn rate_of(what: &str, link: &Link) -> Result<u64, InputError> {
    let said_bps = link.rate_bps.map(|q| q.si as u64);
    standard_of(what, link)?
        .rate_bps(said_bps)
        .map_err(|source| InputError::LinkRate {
            what: what.to_owned(),
            source,
        })
}

fn bytes(q: Option<Q>) -> Option<u32> {
    q.map(|q| q.si as u32)
}

fn needed<T>(what: &str, value: Option<T>, missing: &'static str) -> Result<T, InputError> {
    value.ok_or_else(|| InputError::NotSaid {
        what: what.to_owned(),
        missing,
    })
}

fn header(what: &str, frame: Option<&LinkFrame>) -> Result<u32, InputError> {
    let header = bytes(frame.and_then(|f| f.header_bytes));
    needed(what, header, "the header of its frames")
}

fn wire(
    what: &str,
    link: &Link,
    standard: &LinkStandard,
    stack: Stack,
) -> Result<Wire, InputError> {
    let frame = link.frame.as_ref();
    let plain = |lead, bits_per_byte, overhead_bytes| Wire::Bytes {
        lead,
        bits_per_byte,
        overhead_bytes,
        min_payload_bytes: 0,
    };
    let lead = |q: Option<Q>| q.map_or(Ok(Ns::ZERO), |q| ns(|| what.to_owned(), q.si));
    let ids = || -> Result<CanIds, InputError> {
        let bits = needed(
            what,
            frame.and_then(|f| f.id_bits),
            "the length of its identifiers",
        )?;
        Ok(if bits == 29 {
            CanIds::Bits29
        } else {
            CanIds::Bits11
        })
    };
    Ok(match (standard.framing, frame) {
        (Framing::Ethernet, None) => {
            let overhead = needed(what, stack.overhead, "the stack that frames it")?;
            Wire::Bytes {
                lead: Ns::ZERO,
                bits_per_byte: 8,
                overhead_bytes: overhead.overhead_bytes,
                min_payload_bytes: overhead.min_payload_bytes,
            }
        }
        (Framing::Ethernet, Some(f)) => plain(
            lead(f.preamble_s)?,
            f.character_bits.map_or(8, |bits| bits),
            header(what, frame)?,
        ),
        (Framing::Characters, _) => {
            let bits = frame.and_then(|f| f.character_bits);
            let bits = needed(what, bits, "its characters")?;
            plain(Ns::ZERO, bits, header(what, frame)?)
        }
        (Framing::Preamble, _) => {
            let preamble = frame.and_then(|f| f.preamble_s);
            plain(lead(preamble)?, 8, header(what, frame)?)
        }
        (Framing::Sdi12, _) => {
            let more = bytes(frame.and_then(|f| f.header_bytes)).map_or(0, |b| b);
            plain(Ns::ZERO, SDI12_SLOWEST_BITS, SDI12_ANSWER + more)
        }
        (Framing::Can, _) => Wire::Can {
            ids: ids()?,
            header_bytes: header(what, frame)?,
        },
        (Framing::CanFd, _) => Wire::CanFd {
            ids: ids()?,
            header_bytes: header(what, frame)?,
            data_rate_bps: needed(
                what,
                frame.and_then(|f| f.data_rate_bps),
                "the rate of its data",
            )?
            .si as u64,
        },
    })
}

/// Largest payload of one frame.
fn payload_bytes(link: &Link, standard: &LinkStandard, stack: Stack) -> u32 {
    let frame = link.frame.as_ref();
    let header = bytes(frame.and_then(|f| f.header_bytes)).map_or(0, |b| b);
    match standard.framing {
        Framing::Can => CAN_BYTES - header.min(CAN_BYTES),
        Framing::CanFd => CAN_FD_BYTES - header.min(CAN_FD_BYTES),
        _ => bytes(frame.and_then(|f| f.packet_bytes)).map_or(stack.packet_bytes, |b| b),
    }
}

fn access(
    what: &str,
    link: &Link,
    standard: &LinkStandard,
    wire: Wire,
    rate_bps: u64,
) -> Result<Access, InputError> {
    let turn = match (standard.turn, link.polled_by) {
        (Turn::Priority, _) => return Ok(Access::Priority),
        (Turn::Round, _) => {
            let gap = Ns((TURN_BITS * 1_000_000_000).div_ceil(rate_bps));
            return Ok(Access::Round { gap });
        }
        (Turn::Own | Turn::Polled, None) => return Ok(Access::Unsaid),
        (Turn::Own | Turn::Polled, Some(by)) => by,
    };
    let (request, turnaround) = if standard.framing == Framing::Sdi12 {
        let request = Wire::Bytes {
            lead: SDI12_WAKE,
            bits_per_byte: SDI12_SLOWEST_BITS,
            overhead_bytes: SDI12_REQUEST,
            min_payload_bytes: 0,
        };
        (request, SDI12_ANSWER_WITHIN)
    } else {
        let silence = link.frame.as_ref().and_then(|f| f.turnaround_s);
        let silence = needed(what, silence, "its turnaround")?;
        (wire, ns(|| what.to_owned(), silence.si)?)
    };
    Ok(Access::Polled {
        by: turn.0,
        request,
        turnaround,
    })
}

/// How long a bus is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct BusLength {
    /// Along the longest way from one station to another, m; all spans together where they form a ring.
    pub(crate) whole_m: f64,
    /// The longest piece that hangs beside that way, m; none on a ring.
    pub(crate) stub_m: f64,
}

pub(crate) fn bus_length(line: &Line, bus: BusIx) -> BusLength {
    let pieces: Vec<(usize, usize, f64)> = line
        .spans
        .iter()
        .filter(|s| s.bus == Some(bus))
        .map(|s| (s.from.0, s.to.0, s.length_m))
        .collect();
    let stations: Vec<usize> = line.stations(bus).into_iter().map(|m| m.0).collect();
    if pieces.len() >= stations.len() {
        let whole_m = pieces.iter().map(|(.., length_m)| length_m).sum();
        return BusLength {
            whole_m,
            stub_m: 0.0,
        };
    }
    // On a tree the station farthest from any is an end of the longest way.
    let farthest = |ways: &[Way]| {
        let ends = ways.iter().max_by(|a, b| a.length_m.total_cmp(&b.length_m));
        ends.map_or((0, 0.0), |w| (w.station, w.length_m))
    };
    let Some(first) = stations.first() else {
        return BusLength {
            whole_m: 0.0,
            stub_m: 0.0,
        };
    };
    let (end, _) = farthest(&ways_from(&pieces, &[*first]));
    let ways = ways_from(&pieces, &[end]);
    let (mut at, whole_m) = farthest(&ways);
    let mut trunk = vec![at];
    while let Some(before) = ways.iter().find(|w| w.station == at).and_then(|w| w.before) {
        trunk.push(before);
        at = before;
    }
    let (_, stub_m) = farthest(&ways_from(&pieces, &trunk));
    BusLength { whole_m, stub_m }
}

struct Way {
    station: usize,
    before: Option<usize>,
    length_m: f64,
}

/// Ways along a tree from the nearest of some stations to each.
fn ways_from(pieces: &[(usize, usize, f64)], starts: &[usize]) -> Vec<Way> {
    let start = |station: &usize| Way {
        station: *station,
        before: None,
        length_m: 0.0,
    };
    let mut ways: Vec<Way> = starts.iter().map(start).collect();
    let mut next = 0;
    while next < ways.len() {
        let (station, length_m) = (ways[next].station, ways[next].length_m);
        for &(a, b, more_m) in pieces {
            for (from, to) in [(a, b), (b, a)] {
                if from == station && ways.iter().all(|w| w.station != to) {
                    ways.push(Way {
                        station: to,
                        before: Some(station),
                        length_m: length_m + more_m,
                    });
                }
            }
        }
        next += 1;
    }
    ways
}
