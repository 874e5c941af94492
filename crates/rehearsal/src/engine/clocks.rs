//! Clocks of modules: each drifts, is set by exchanges with the master, and may jump.
//!
//! A module that says how its `clock` runs has one, which is right at the beginning. Its drift is drawn once, evenly up to what the plan says (temperature step included, both ways), from a stream
//! named by the module. With [time-sync] it is set at the end of each interval, if it and the master work and messages find a way both ways: what is then still wrong is drawn evenly up
//! to what stamps and ways that differ leave (the bound that `check` uses, without its drift). The exchanges themselves are not sent as frames in the rehearsal; their load counts in the bounds.
//! Where that has no bound there is nothing to draw from: such a clock is never set, runs on its drift alone, and the outcome says so.
//! A clock goes on while its module is down. The master's is right.

use assess::clocks_when_set;
use assess::input::ns;
use chance::Stream;
use plan::{CueSheet, Line, ModuleIx};
use timeline::{Class, Ns};

use super::{Engine, Happening, place};
use crate::error::RehearsalError;

/// The clocks of a line, by module.
pub(super) struct Clocks {
    of: Vec<Option<Clock>>,
    every: Option<Ns>,
    master: Option<ModuleIx>,
}

struct Clock {
    /// By how much it runs too fast, as a ratio.
    drift: f64,
    /// How far it was ahead, and when, s.
    ahead_s: f64,
    since: Ns,
    /// How far off an exchange may leave it, s, and whence that is drawn.
    set_within: Option<(f64, Stream)>,
    /// Why nothing bounds how far off an exchange leaves it.
    never_set: Option<String>,
    /// The farthest that it was off so far, just before it was set, s.
    farthest_s: f64,
}

impl Clock {
    fn ahead_s(&self, now: Ns) -> f64 {
        self.ahead_s + self.drift * (now.as_s_f64() - self.since.as_s_f64())
    }

    fn put(&mut self, now: Ns, ahead_s: f64) {
        self.farthest_s = self
            .farthest_s
            .max(self.ahead_s(now).abs())
            .max(ahead_s.abs());
        (self.ahead_s, self.since) = (ahead_s, now);
    }
}

/// A number drawn evenly between this and its opposite.
fn even(stream: &mut Stream, most: f64) -> f64 {
    most * (2.0 * stream.uniform() - 1.0)
}

impl Clocks {
    pub(super) fn new(line: &Line, cues: &CueSheet) -> Result<Clocks, RehearsalError> {
        let asked = line.modules.iter().any(|m| m.clock.is_some());
        let within = match asked {
            true => {
                clocks_when_set(line).map_err(|why| RehearsalError::NotSaid { what: vec![why] })?
            }
            false => vec![None; line.modules.len()],
        };
        let master = line.time_sync.as_ref().map(|sync| sync.master);
        let of = line
            .modules
            .iter()
            .zip(within)
            .enumerate()
            .map(|(m, (module, within))| {
                let path = line.module_path(ModuleIx(m));
                let clock = module.clock.filter(|_| master != Some(ModuleIx(m)))?;
                let most = clock.drift.si + clock.temperature_step.map_or(0.0, |q| q.si);
                let stream =
                    |what: &str| Stream::named(cues.seed, &format!("clock {what}/{path}"), 0);
                let (within_s, never_set) = match within.transpose() {
                    Ok(within_s) => (within_s, None),
                    Err(why) => (None, Some(why)),
                };
                Some(Clock {
                    never_set,
                    drift: even(&mut stream("drift"), most),
                    ahead_s: 0.0,
                    since: Ns::ZERO,
                    set_within: within_s.map(|within_s| (within_s, stream("set"))),
                    farthest_s: 0.0,
                })
            });
        let every = line
            .time_sync
            .as_ref()
            .map(|sync| ns(|| "time-sync".to_owned(), sync.every_s.si));
        Ok(Clocks {
            of: of.collect(),
            every: every.transpose()?,
            master,
        })
    }

    /// By how much the clock of a module is ahead of the true time now, ns; 0 where nothing is said of it.
    pub(super) fn offset(&self, module: ModuleIx, now: Ns) -> i64 {
        let clock = self.of[module.0].as_ref();
        clock.map_or(0, |c| libm::round(1e9 * c.ahead_s(now)) as i64)
    }

    /// The clock of a module jumps.
    pub(super) fn step(&mut self, module: ModuleIx, now: Ns, by_s: f64) {
        if let Some(clock) = &mut self.of[module.0] {
            clock.put(now, clock.ahead_s(now) + by_s);
        }
    }

    fn set(&mut self, module: ModuleIx, now: Ns) {
        if let Some(clock) = &mut self.of[module.0]
            && let Some((within_s, stream)) = &mut clock.set_within
        {
            let ahead_s = even(stream, *within_s);
            clock.put(now, ahead_s);
        }
    }

    /// The clocks that no exchange sets although there are some, with the reason.
    pub(super) fn never_set(&self) -> Vec<(ModuleIx, String)> {
        let of = self.of.iter().enumerate();
        of.filter_map(|(m, c)| Some((ModuleIx(m), c.as_ref()?.never_set.clone()?)))
            .collect()
    }

    /// The farthest that each clock was off, s; `None` where nothing is said of it.
    pub(super) fn farthest_s(&self, end: Ns) -> Vec<Option<f64>> {
        let farthest = |c: &Clock| c.farthest_s.max(c.ahead_s(end).abs());
        let of = self.of.iter();
        of.map(|c| c.as_ref().map(farthest)).collect()
    }
}

impl Engine<'_> {
    /// Queues the first exchange of each module that sets its clock.
    pub(super) fn set_clocks(&mut self) {
        for m in 0..self.clocks.of.len() {
            let sets = self.clocks.of[m]
                .as_ref()
                .is_some_and(|c| c.set_within.is_some());
            if let Some(every) = self.clocks.every.filter(|_| sets) {
                let module = ModuleIx(m);
                self.queue
                    .push(every, Class::Act, place(m), Happening::SetClock { module });
            }
        }
    }

    /// A module sets its clock, where it and the master work and find each other.
    pub(super) fn set_clock(&mut self, module: ModuleIx) {
        if let (Some(master), Some(post)) = (self.clocks.master, &self.machine) {
            let net = post.machine();
            let works = |m: ModuleIx| self.modules[m.0].works();
            let found = net.reaches(module.0, master.0) && net.reaches(master.0, module.0);
            if works(module) && works(master) && found {
                self.clocks.set(module, self.now);
            }
        }
        if let Some(at) = self
            .clocks
            .every
            .and_then(|every| self.now.checked_add(every))
        {
            self.queue.push(
                at,
                Class::Act,
                place(module.0),
                Happening::SetClock { module },
            );
        }
    }
}
