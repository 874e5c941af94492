//! The expectations of a cue sheet, counted while the rehearsal runs.

use assess::input::{InputError, ns};
use plan::{
    Count, CueSheet, Expect, ExpectKind, Line, ModuleIx, Packets, Q, Recovery, SoundIx, StreamIx,
    Within,
};
use timeline::Ns;

use crate::ear::Arrival;
use crate::fault_cost::{FaultCame, Recovered};
use crate::packets::PacketEnd;
use crate::reach::above;
use crate::record::{Record, What};

/// Most times that are told of one expectation.
const TOLD: usize = 3;

/// How an expectation came out.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Expectation {
    /// Its id.
    pub id: String,
    /// Whether it held.
    pub passed: bool,
    /// What was seen, in a sentence.
    pub said: String,
}

/// A window in which an expectation looks, and what was seen in it.
#[derive(Clone, Debug)]
struct Window {
    from: Ns,
    until: Ns,
    /// The sound and repeat that the thing must go back to.
    root: Option<(SoundIx, u32)>,
    /// Whether it has to be rehearsed whole for what is not seen in it to show something.
    whole: bool,
    /// Of `late`: copies that came in, of packets all that came to an end of their way, and those of which nobody knows whether they were late.
    came: u64,
    unbounded: u64,
    /// Detectors that must be able to hear all that time, so that hearing nothing of it shows something.
    ears: Vec<usize>,
    count: u32,
    first: Vec<f64>,
    /// Since when the voltage in it is known.
    known_from: Option<Ns>,
    lowest_v: f64,
    highest_v: f64,
    /// Since when in it an output has not been as it should.
    amiss_from: Option<Ns>,
}

impl Window {
    /// Something that was looked for, so many seconds after the window's zero.
    fn sees(&mut self, after_s: f64) {
        self.count = self.count.saturating_add(1);
        if self.first.len() < TOLD {
            self.first.push(after_s);
        }
    }
}

pub(crate) struct Watcher<'a> {
    line: &'a Line,
    cues: &'a CueSheet,
    expects: &'a [Expect],
    windows: Vec<Vec<Window>>,
    /// Whether anything is expected of packets.
    packets: bool,
    /// From when to when each detector could hear.
    hearing: Vec<Vec<(Ns, Ns)>>,
}

impl<'a> Watcher<'a> {
    /// `arrivals` are those of every ear.
    pub(crate) fn new(
        line: &'a Line,
        cues: &'a CueSheet,
        arrivals: &[(plan::SensorIx, Vec<Arrival>)],
    ) -> Result<Watcher<'a>, InputError> {
        let mut windows = cues
            .expects
            .iter()
            .map(|e| windows(line, cues, e, arrivals))
            .collect::<Result<Vec<_>, _>>()?;
        for (expect, windows) in cues.expects.iter().zip(&mut windows) {
            if let ExpectKind::Stays { of, on, .. } = expect.what {
                let module = &line.modules[of.module.0];
                let is_off = cues.begins_switched_on && module.input.is_some();
                let starts_on = module.outputs[of.output].starts_on && !is_off;
                see_output(windows, Ns::ZERO, starts_on == on);
            }
        }
        Ok(Watcher {
            line,
            cues,
            expects: &cues.expects,
            windows,
            packets: cues
                .expects
                .iter()
                .any(|e| matches!(e.what, ExpectKind::Packets { .. })),
            hearing: vec![Vec::new(); line.detectors.len()],
        })
    }

    pub(crate) fn see(&mut self, record: &Record) {
        match record.what {
            What::Hears { detector } => self.hearing[detector.0].push((record.at, Ns(u64::MAX))),
            What::Deaf { detector } => {
                if let Some(last) = self.hearing[detector.0].last_mut() {
                    last.1 = record.at;
                }
            }
            _ => {}
        }
        for (expect, windows) in self.expects.iter().zip(&mut self.windows) {
            if let What::Settled { voltages_v } = &record.what {
                if let ExpectKind::Voltage { of, .. } = &expect.what {
                    see_voltage(windows, record.at, voltages_v[of.0]);
                }
                continue;
            }
            if let (ExpectKind::Stays { of, on, .. }, What::Switched { output, on: now }) =
                (&expect.what, &record.what)
                && of == output
            {
                see_output(windows, record.at, now == on);
            }
            if let Some(late) = could_be_late(&expect.what, &record.what) {
                for window in windows.iter_mut().filter(|w| holds(w, record)) {
                    window.came += 1;
                    window.unbounded += u64::from(late.is_none());
                }
            }
            if !concerns(&expect.what, &record.what) {
                continue;
            }
            for window in windows.iter_mut().filter(|w| holds(w, record)) {
                {
                    let zero = match (window.root, record.root) {
                        (Some(_), Some(root)) => root.heard_at,
                        (Some(_), None) => window.from,
                        (None, _) => Ns::ZERO,
                    };
                    window.sees(record.at.as_s_f64() - zero.as_s_f64());
                }
            }
        }
    }

    /// A packet of a stream comes to an end of its way.
    pub(crate) fn see_packet(&mut self, at: Ns, stream: StreamIx, end: PacketEnd) {
        if !self.packets {
            return;
        }
        for (expect, windows) in self.expects.iter().zip(&mut self.windows) {
            let ExpectKind::Packets { of, which, .. } = expect.what else {
                continue;
            };
            if of != stream {
                continue;
            }
            let is = match (which, end) {
                (Packets::Delivered, PacketEnd::Delivered { .. })
                | (Packets::Lost, PacketEnd::Lost(_)) => true,
                (Packets::Late { beyond_s }, PacketEnd::Delivered { after, late }) => {
                    is_late(beyond_s, after, late) == Some(true)
                }
                _ => false,
            };
            let in_time = |w: &&mut Window| w.from <= at && at <= w.until;
            for window in windows.iter_mut().filter(in_time) {
                window.came += 1;
                if is {
                    window.sees(at.as_s_f64());
                }
            }
        }
    }

    /// How the expectations came out; `end` is the end of the rehearsal, `faults` what came of the faults.
    pub(crate) fn finish(self, end: Ns, faults: &[FaultCame]) -> Vec<Expectation> {
        self.expects
            .iter()
            .zip(&self.windows)
            .map(|(e, windows)| {
                if let ExpectKind::Recovered(wanted) = e.what {
                    return recovery(self.cues, e, wanted, faults);
                }
                let judged = judge(self.line, e, windows);
                match self.untested(e, windows, end) {
                    Some(why) if judged.passed => Expectation {
                        passed: false,
                        said: format!("{}, but this shows nothing: {why}", judged.said),
                        ..judged
                    },
                    _ if judged.passed => judged,
                    _ => Expectation {
                        said: judged.said + &self.unheard(e),
                        ..judged
                    },
                }
            })
            .collect()
    }

    /// What of the sound that was to be heard lies above what the hydrophones hear.
    fn unheard(&self, expect: &Expect) -> String {
        let Within::After { sound, .. } = expect.within else {
            return String::new();
        };
        let on = |detector: &plan::DetectorIx| self.line.detectors[detector.0].on;
        let mut sensors: Vec<plan::SensorIx> = match &expect.what {
            ExpectKind::Notice { of, .. } => vec![on(of)],
            ExpectKind::Voted { of, .. } => self.line.votes[of.0].of.iter().map(on).collect(),
            ExpectKind::Down { .. }
            | ExpectKind::Voltage { .. }
            | ExpectKind::Stays { .. }
            | ExpectKind::Packets { .. }
            | ExpectKind::Recovered(_) => Vec::new(),
            _ => self.line.detectors.iter().map(|d| d.on).collect(),
        };
        sensors.sort_unstable();
        sensors.dedup();
        sensors
            .into_iter()
            .filter_map(|sensor| above(self.line, self.cues, sound, sensor))
            .map(|above| format!("; {above}"))
            .collect()
    }

    /// Why an expectation that asks for nothing to be seen could not have seen it.
    fn untested(&self, expect: &Expect, windows: &[Window], end: Ns) -> Option<String> {
        let absence = match &expect.what {
            ExpectKind::Notice { count, .. }
            | ExpectKind::Voted { count, .. }
            | ExpectKind::Switched { count, .. }
            | ExpectKind::Delivered { count, .. }
            | ExpectKind::Sent { count, .. }
            | ExpectKind::Lost { count, .. }
            | ExpectKind::Late { count, .. }
            | ExpectKind::Packets { count, .. }
            | ExpectKind::Stopped { count, .. }
            | ExpectKind::Down { count, .. } => count.at_least == 0,
            // A voltage, or an output, holds all the time or not at all.
            ExpectKind::Voltage { .. } | ExpectKind::Stays { .. } => true,
            ExpectKind::Recovered(_) => false,
        };
        if let ExpectKind::Late { count, .. } = &expect.what
            && count.at_most.is_some()
        {
            let unbounded: u64 = windows.iter().map(|w| w.unbounded).sum();
            if unbounded > 0 {
                return Some(format!(
                    "of {unbounded} copies `check` knows no bound by which they could be late: write `beyond`"
                ));
            }
        }
        if !absence {
            return None;
        }
        if windows
            .iter()
            .any(|w| w.from >= end || (w.whole && w.until > end))
        {
            return Some("the rehearsal ends before the window is over".to_owned());
        }
        if matches!(expect.what, ExpectKind::Late { .. }) && windows.iter().any(|w| w.came == 0) {
            return Some("nothing was delivered that could have been late".to_owned());
        }
        if matches!(expect.what, ExpectKind::Packets { .. }) && windows.iter().any(|w| w.came == 0)
        {
            return Some("no packet of it was delivered or lost in that time".to_owned());
        }
        let heard = |w: &Window, detector: usize| {
            self.hearing[detector]
                .iter()
                .any(|(from, until)| *from <= w.from && w.until.min(end) <= *until)
        };
        let deaf = windows
            .iter()
            .find_map(|w| w.ears.iter().copied().find(|d| !heard(w, *d)))?;
        let id = &self.line.detectors[deaf].id;
        Some(format!(
            "detector.{id} could not hear all that time (its background was not known yet, or its module did not work)"
        ))
    }
}

fn windows(
    line: &Line,
    cues: &CueSheet,
    expect: &Expect,
    arrivals: &[(plan::SensorIx, Vec<Arrival>)],
) -> Result<Vec<Window>, InputError> {
    let what = || format!("expect.{}", expect.id);
    let on = |wanted: &dyn Fn(plan::SensorIx) -> bool| -> Vec<usize> {
        (0..line.detectors.len())
            .filter(|d| wanted(line.detectors[*d].on))
            .collect()
    };
    let ears = match (&expect.what, &expect.within) {
        (ExpectKind::Notice { of, .. }, _) => vec![of.0],
        (ExpectKind::Voted { of, .. }, _) => line.votes[of.0].of.iter().map(|d| d.0).collect(),
        // A module goes down, and a voltage falls, whether anybody hears or not.
        (
            ExpectKind::Down { .. }
            | ExpectKind::Voltage { .. }
            | ExpectKind::Stays { .. }
            | ExpectKind::Packets { .. }
            | ExpectKind::Recovered(_),
            _,
        ) => Vec::new(),
        // What a sound leads to begins at any detector that it reaches.
        (_, Within::After { sound, .. }) => on(&|sensor| {
            arrivals
                .iter()
                .any(|(s, all)| *s == sensor && all.iter().any(|a| a.sound == *sound))
        }),
        (_, Within::Between { .. } | Within::AfterFault { .. }) => Vec::new(),
    };
    let window = |from: Ns, until: Ns, root| Window {
        from,
        until,
        root,
        whole: !matches!(expect.within, Within::Between { .. }),
        came: 0,
        unbounded: 0,
        ears: ears.clone(),
        count: 0,
        first: Vec::new(),
        known_from: None,
        lowest_v: f64::INFINITY,
        highest_v: f64::NEG_INFINITY,
        amiss_from: None,
    };
    match expect.within {
        Within::Between { from_s, until_s } => {
            let (from, until) = (ns(what, from_s)?, ns(what, until_s)?);
            Ok(vec![window(from, until, None)])
        }
        Within::AfterFault { fault, within_s } => {
            let over_s = cues.faults[fault.0].over_s();
            let from = ns(
                what,
                over_s.expect("only a fault that is over has a window behind it"),
            )?;
            let until = from.checked_add(ns(what, within_s.si)?);
            Ok(vec![window(from, until.unwrap_or(Ns(u64::MAX)), None)])
        }
        Within::After { sound, within_s } => {
            let of_detector = match &expect.what {
                ExpectKind::Notice { of, .. } => Some(line.detectors[of.0].on),
                _ => None,
            };
            let mut first: Vec<(u32, Ns)> = Vec::new();
            for (_, list) in arrivals
                .iter()
                .filter(|(s, _)| of_detector.is_none_or(|d| d == *s))
            {
                for a in list.iter().filter(|a| a.sound == sound) {
                    match first.iter_mut().find(|(r, _)| *r == a.repeat) {
                        Some((_, at)) => *at = (*at).min(a.from),
                        None => first.push((a.repeat, a.from)),
                    }
                }
            }
            first.sort_unstable();
            let span = ns(what, within_s.si)?;
            Ok(first
                .into_iter()
                .map(|(repeat, at)| {
                    window(
                        at,
                        at.checked_add(span).unwrap_or(Ns(u64::MAX)),
                        Some((sound, repeat)),
                    )
                })
                .collect())
        }
    }
}

/// Whether a record falls into a window: by its time, or by the time since its root was heard.
fn holds(window: &Window, record: &Record) -> bool {
    match (window.root, record.root) {
        (None, _) => window.from <= record.at && record.at <= window.until,
        (Some((sound, repeat)), Some(root)) => {
            let span = window.until.checked_sub(window.from).unwrap_or(Ns::ZERO);
            let latest = root.heard_at.checked_add(span).unwrap_or(Ns(u64::MAX));
            root.sound == sound && root.repeat == repeat && record.at <= latest
        }
        // What has no sound at its root (a module going down) counts by its time alone.
        (Some(_), None) => {
            matches!(record.what, What::Down { .. })
                && window.from <= record.at
                && record.at <= window.until
        }
    }
}

fn concerns(kind: &ExpectKind, what: &What) -> bool {
    match (kind, what) {
        (
            ExpectKind::Notice { of, notice, .. },
            What::Noticed {
                detector,
                notice: n,
                ..
            },
        ) => of == detector && notice == n,
        (ExpectKind::Voted { of, .. }, What::Voted { vote, .. }) => of == vote,
        (ExpectKind::Switched { of, on, .. }, What::Switched { output, on: o }) => {
            of == output && on == o
        }
        (
            ExpectKind::Delivered { topic, to, .. },
            What::Delivered {
                module, topic: t, ..
            },
        ) => topic == t && to == module,
        (ExpectKind::Late { .. }, What::Delivered { .. }) => {
            could_be_late(kind, what) == Some(Some(true))
        }
        (ExpectKind::Sent { of, .. }, What::Sent { uplink, .. }) => of == uplink,
        (ExpectKind::Lost { topic, .. }, What::Lost { topic: t, .. }) => topic == t,
        (ExpectKind::Stopped { of, .. }, What::Stopped { behaviour, .. }) => of.contains(behaviour),
        (ExpectKind::Down { of, .. }, What::Down { module, .. }) => of == module,
        _ => false,
    }
}

/// Whether a copy was late: beyond what is written, or beyond the bound of `check`; `None` where that has none.
fn is_late(beyond_s: Option<Q>, after: Ns, late: Option<bool>) -> Option<bool> {
    match beyond_s {
        Some(q) => Some(after.as_s_f64() > q.si),
        None => late,
    }
}

/// Whether a copy that an expectation on lateness looks at was late; the outer `None` for all else.
fn could_be_late(what: &ExpectKind, seen: &What) -> Option<Option<bool>> {
    match (what, seen) {
        (
            ExpectKind::Late {
                topic,
                to,
                beyond_s,
                ..
            },
            What::Delivered {
                module,
                topic: t,
                after,
                late,
                ..
            },
        ) if topic == t && to.is_none_or(|to| to == *module) => {
            Some(is_late(*beyond_s, *after, *late))
        }
        _ => None,
    }
}

/// A voltage holds from its settling until the next; the one before a window's beginning counts too.
fn see_voltage(windows: &mut [Window], at: Ns, voltage_v: f64) {
    for w in windows {
        if at <= w.until {
            w.known_from = w.known_from.or(Some(at.max(w.from)));
        }
        if at <= w.from {
            (w.lowest_v, w.highest_v) = (voltage_v, voltage_v);
        } else if at <= w.until {
            w.lowest_v = w.lowest_v.min(voltage_v);
            w.highest_v = w.highest_v.max(voltage_v);
        }
    }
}

/// The same of an output that is as it should, or is not; what switches as a window begins counts for it.
fn see_output(windows: &mut [Window], at: Ns, as_it_should: bool) {
    for w in windows {
        if at <= w.from {
            w.amiss_from = (!as_it_should).then_some(w.from);
        } else if at <= w.until && !as_it_should {
            w.amiss_from = w.amiss_from.or(Some(at));
        }
    }
}

fn judge(line: &Line, expect: &Expect, windows: &[Window]) -> Expectation {
    let done = |passed, said: String| Expectation {
        id: expect.id.clone(),
        passed,
        said,
    };
    if windows.is_empty() {
        return done(
            false,
            "the sound reaches no hydrophone within the rehearsal".to_owned(),
        );
    }
    if let ExpectKind::Voltage {
        of,
        at_least_v,
        at_most_v,
    } = &expect.what
    {
        if let Some(blind) = windows.iter().find(|w| w.known_from != Some(w.from)) {
            let until = blind.known_from.unwrap_or(blind.until);
            return done(
                false,
                format!(
                    "not known from {:.4} s to {:.4} s: {} had no voltage at rest yet",
                    blind.from.as_s_f64(),
                    until.as_s_f64(),
                    module(line, *of)
                ),
            );
        }
        let low = windows
            .iter()
            .map(|w| w.lowest_v)
            .fold(f64::INFINITY, f64::min);
        let high = windows
            .iter()
            .map(|w| w.highest_v)
            .fold(f64::NEG_INFINITY, f64::max);
        let passed =
            at_least_v.is_none_or(|q| low >= q.si) && at_most_v.is_none_or(|q| high <= q.si);
        return done(
            passed,
            format!(
                "between {low:.3} V and {high:.3} V at {}",
                module(line, *of)
            ),
        );
    }
    if let ExpectKind::Stays { on, fail_safe, .. } = expect.what {
        let (is, other) = if on { ("on", "off") } else { ("off", "on") };
        let of_it = if fail_safe {
            ", its fail-safe state"
        } else {
            ""
        };
        return match windows.iter().find_map(|w| w.amiss_from) {
            None => done(true, format!("{is} all that time{of_it}")),
            Some(at) => done(
                false,
                format!("{other} at {:.4} s, expected {is}{of_it}", at.as_s_f64()),
            ),
        };
    }
    let count = match &expect.what {
        ExpectKind::Notice { count, .. }
        | ExpectKind::Voted { count, .. }
        | ExpectKind::Switched { count, .. }
        | ExpectKind::Delivered { count, .. }
        | ExpectKind::Sent { count, .. }
        | ExpectKind::Lost { count, .. }
        | ExpectKind::Late { count, .. }
        | ExpectKind::Packets { count, .. }
        | ExpectKind::Stopped { count, .. }
        | ExpectKind::Down { count, .. } => *count,
        ExpectKind::Voltage { .. } | ExpectKind::Stays { .. } | ExpectKind::Recovered(_) => {
            unreachable!("judged above")
        }
    };
    let fits = |w: &Window| w.count >= count.at_least && count.at_most.is_none_or(|m| w.count <= m);
    let Some(bad) = windows.iter().find(|w| !fits(w)) else {
        let all: Vec<String> = windows.iter().map(seen).collect();
        return done(true, all.join("; "));
    };
    done(false, format!("{}, expected {}", seen(bad), wanted(count)))
}

/// Whether what a fault disturbed recovered in time.
fn recovery(
    cues: &CueSheet,
    expect: &Expect,
    wanted: Recovery,
    faults: &[FaultCame],
) -> Expectation {
    let done = |passed, said: String| Expectation {
        id: expect.id.clone(),
        passed,
        said,
    };
    let Within::AfterFault { fault, within_s } = expect.within else {
        unreachable!("something recovers after a fault");
    };
    let id = &cues.faults[fault.0].id;
    let mut all = faults[fault.0].recovered.iter();
    let Some((_, how)) = all.find(|(what, _)| *what == wanted) else {
        let said = match wanted {
            Recovery::Module(_) => "did not stop while",
            Recovery::Stream(_) => {
                "lost no packet, none was late, and no module at its ends stopped while"
            }
            Recovery::Topic { .. } => {
                "lost nothing, was not late, and nobody on its way stopped while"
            }
        };
        return done(
            false,
            format!("it {said} fault.{id} held: there is nothing to recover from"),
        );
    };
    let what = match wanted {
        Recovery::Module(_) => "works again",
        Recovery::Topic { .. } => "told again in time",
        Recovery::Stream(_) => "came again in time",
    };
    match how {
        Recovered::After(took) => {
            let took_s = took.as_s_f64();
            let within = took_s <= within_s.si;
            let limit = match within {
                true => String::new(),
                false => format!(", expected within {} s", within_s.si),
            };
            done(
                within,
                format!("{what} {took_s:.4} s after fault.{id} was over{limit}"),
            )
        }
        Recovered::Unbounded(took) => done(
            false,
            format!(
                "told again {:.4} s after fault.{id} was over, and `check` knows no bound by which to say whether in time",
                took.as_s_f64()
            ),
        ),
        Recovered::NothingPublished => done(
            false,
            format!("nothing was published on it since fault.{id} was over, so this shows nothing"),
        ),
        Recovered::NotByTheEnd | Recovered::NotOver => {
            done(false, format!("not {what} by the end of the rehearsal"))
        }
    }
}

fn module(line: &Line, ix: ModuleIx) -> String {
    line.module_path(ix)
}

fn seen(window: &Window) -> String {
    let times: Vec<String> = window.first.iter().map(|s| format!("{s:.4} s")).collect();
    let of = match window.root {
        Some(_) => " after the sound was heard",
        None => "",
    };
    let more = if window.count as usize > window.first.len() {
        ", ..."
    } else {
        ""
    };
    match window.count {
        0 => "not seen".to_owned(),
        1 => format!("seen at {}{of}", times.join("")),
        n => format!("seen {n} times, at {}{more}{of}", times.join(", ")),
    }
}

fn wanted(count: Count) -> String {
    match count.at_most {
        None => format!("at least {}", count.at_least),
        Some(0) => "none".to_owned(),
        Some(most) if most == count.at_least => format!("exactly {most}"),
        Some(most) => format!("from {} to {most}", count.at_least),
    }
}
