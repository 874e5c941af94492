//! Two hydrophones in one recording: the pairs that its channels make, and what the time between them tells of an event.

use std::io::{self, Write};

use assess::{BENDS_MOST_DEG, EarGeometry, Elevation, FORMULA_M_S, TimeParts, ear_geometry};
use clap::ValueEnum;
use hearing::{EarPair, Found, TimeHeard, Untold};
use plan::{Line, SensorKind};
use report::{degrees, elevation_json};
use serde_json::{Value, json};
use signal::DelayError;

use super::csv::quoted;
use super::ears::Assigned;

/// Whose clocks wrote the channels of a recording.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum Clocks {
    /// One recorder wrote all channels by one clock.
    Recording,
    /// The channels were put together from recordings of their modules, each by its own clock.
    Modules,
}

impl Clocks {
    fn word(self) -> &'static str {
        match self {
            Clocks::Recording => "recording",
            Clocks::Modules => "modules",
        }
    }
}

/// Two channels that make a pair.
#[derive(Debug)]
struct Pair {
    /// Indices of the ears.
    upper: usize,
    lower: usize,
    geometry: EarGeometry,
    clocks_s: f64,
}

/// The pairs of a recording, and what keeps others from being pairs.
#[derive(Debug)]
pub(crate) struct Pairs {
    pairs: Vec<Pair>,
    unpaired: Vec<String>,
    clocks: Clocks,
}

/// What is told of an event and another channel.
pub(crate) struct ArrivalTold<'a> {
    /// Index of the other ear.
    other: usize,
    pair: &'a Pair,
    time: Result<(TimeHeard, Direction), String>,
}

/// The elevation that a time gives, or why it gives none.
type Direction = Result<Elevation, String>;

impl Pairs {
    /// Every two hydrophones that were named.
    pub(crate) fn new(line: &Line, assigned: &[Assigned], clocks: Clocks) -> Self {
        let mut all = Self {
            pairs: Vec::new(),
            unpaired: Vec::new(),
            clocks,
        };
        let hydrophone = |ear: usize| {
            matches!(
                line.sensor(assigned[ear].sensor).kind,
                SensorKind::Hydrophone
            )
        };
        for one in (0..assigned.len()).filter(|ear| hydrophone(*ear)) {
            for other in (one + 1..assigned.len()).filter(|ear| hydrophone(*ear)) {
                let (a, b) = (&assigned[one], &assigned[other]);
                match Pair::new(line, assigned, (one, other), clocks) {
                    Ok(pair) => all.pairs.push(pair),
                    Err(why) => all
                        .unpaired
                        .push(format!("{} and {}: {why}", a.path, b.path)),
                }
            }
        }
        all
    }

    /// The same for the hearing.
    pub(crate) fn ears(&self) -> Vec<EarPair> {
        self.pairs
            .iter()
            .map(|pair| EarPair {
                first: pair.upper,
                second: pair.lower,
                most_s: pair.geometry.look_s(pair.clocks_s),
            })
            .collect()
    }

    /// What an event tells with each other channel.
    pub(crate) fn arrivals(&self, event: &Found) -> Vec<ArrivalTold<'_>> {
        let own = event.ear;
        let mut told = Vec::new();
        for arrival in &event.arrivals {
            let other = arrival.ear;
            let pair = self.pairs.iter().find(|pair| {
                (pair.upper, pair.lower) == (own, other) || (pair.upper, pair.lower) == (other, own)
            });
            let Some(pair) = pair else { continue };
            told.push(ArrivalTold {
                other,
                pair,
                time: match &arrival.time {
                    Ok(time) => pair
                        .possible(time)
                        .map(|()| (*time, pair.direction(time, other))),
                    Err(why) => Err(untold(why)),
                },
            });
        }
        told
    }

    /// The pairs, for programs.
    pub(crate) fn json(&self, assigned: &[Assigned]) -> Value {
        let pairs = self.pairs.iter().map(|pair| {
            let geometry = &pair.geometry;
            json!({
                "upper": assigned[pair.upper].path,
                "lower": assigned[pair.lower].path,
                "upper_channel": channel(assigned, pair.upper),
                "lower_channel": channel(assigned, pair.lower),
                "distance_m": geometry.distance_m,
                "distance_uncertainty_m": geometry.distance_uncertainty_m,
                "sound_speed_m_s": geometry.sound_speed_m_s,
                "least_sound_speed_m_s": geometry.extreme_speeds_m_s.0,
                "greatest_sound_speed_m_s": geometry.extreme_speeds_m_s.1,
                "formula_uncertainty_m_s": FORMULA_M_S,
                "profile_uncertainty_m_s": geometry.profile_m_s,
                "longest_s": geometry.longest_s,
                "clock": self.clocks.word(),
                "clock_uncertainty_s": pair.clocks_s,
                "bearing": "open",
                "assumed": geometry.assumed,
            })
        });
        pairs.collect()
    }

    /// What keeps hydrophones from being pairs.
    pub(crate) fn unpaired(&self) -> &[String] {
        &self.unpaired
    }

    /// The pairs of one recording with their events, as text.
    pub(crate) fn text(
        &self,
        assigned: &[Assigned],
        events: &[Found],
        detector: &dyn Fn(&Found) -> String,
        to: &mut dyn Write,
    ) -> io::Result<()> {
        for why in &self.unpaired {
            writeln!(to, "  no time between {why}")?;
        }
        for pair in &self.pairs {
            let geometry = &pair.geometry;
            writeln!(
                to,
                "  between channels {} and {}: {} over {}, {:.2} m apart, sound at {:.1} m/s: at most {:.3} ms",
                channel(assigned, pair.upper),
                channel(assigned, pair.lower),
                assigned[pair.upper].path,
                assigned[pair.lower].path,
                geometry.distance_m,
                geometry.sound_speed_m_s,
                1e3 * geometry.longest_s
            )?;
            let clock = match self.clocks {
                Clocks::Recording => {
                    "one clock for both, that of the recording (--clocks modules takes those of the modules)"
                        .to_owned()
                }
                Clocks::Modules => format!(
                    "the clocks of their modules, {:.3} ms apart at the most (k = 2)",
                    1e3 * pair.clocks_s
                ),
            };
            writeln!(to, "    taken: {clock}")?;
            for what in &geometry.assumed {
                writeln!(to, "    taken: {what}")?;
            }
            for event in events {
                for told in self.arrivals(event) {
                    if !std::ptr::eq(told.pair, pair) {
                        continue;
                    }
                    writeln!(
                        to,
                        "    channel {} event {} ({}): {}",
                        channel(assigned, event.ear),
                        event.number,
                        detector(event),
                        told.words(channel(assigned, told.other))
                    )?;
                }
            }
        }
        Ok(())
    }
}

impl Pair {
    fn new(
        line: &Line,
        assigned: &[Assigned],
        (one, other): (usize, usize),
        clocks: Clocks,
    ) -> Result<Self, String> {
        let mut geometry = ear_geometry(line, assigned[one].sensor, assigned[other].sensor)
            .map_err(|error| error.to_string())?;
        geometry.assumed.push(geometry.far());
        let clocks_s = match clocks {
            Clocks::Recording => 0.0,
            Clocks::Modules => geometry.clocks_s.ok_or_else(|| {
                let why = geometry.unsaid_clocks.clone();
                why.expect("what no clock is told of, the plan does not say")
            })?,
        };
        let (upper, lower) = if geometry.upper == assigned[one].sensor {
            (one, other)
        } else {
            (other, one)
        };
        Ok(Self {
            upper,
            lower,
            geometry,
            clocks_s,
        })
    }

    /// Refuses a time that geometry, clocks and estimate together do not allow: it is that of a side lobe, or of another sound. Farther out
    /// is looked for no other reason than to see it.
    fn possible(&self, time: &TimeHeard) -> Result<(), String> {
        let most_s = self.geometry.most_s(self.parts(time));
        if time.later_s.abs() <= most_s {
            return Ok(());
        }
        let clocks = if self.clocks_s > 0.0 { "clocks, " } else { "" };
        Err(format!(
            "the channels are most alike with {}, and {:.3} ms is the most there can be, with what {clocks}distance, sound speed and estimate are uncertain by",
            later(time.later_s),
            1e3 * most_s
        ))
    }

    fn direction(&self, time: &TimeHeard, other: usize) -> Direction {
        let bends_deg = self.geometry.bends_deg();
        if bends_deg > BENDS_MOST_DEG {
            let (slowest_m_s, fastest_m_s) = self.geometry.extreme_speeds_m_s;
            return Err(format!(
                "sound between the two at {slowest_m_s:.1} to {fastest_m_s:.1} m/s is bent by up to {bends_deg:.1}\u{b0}, more than {BENDS_MOST_DEG}\u{b0}: each may hear another ray"
            ));
        }
        // The geometry asks how much later the upper one hears it.
        let later_s = if other == self.upper {
            time.later_s
        } else {
            -time.later_s
        };
        match self.geometry.elevation(later_s, self.parts(time), None) {
            Ok(Some(elevation)) => Ok(elevation),
            Ok(None) => {
                let why = self.geometry.unsaid_distance.clone();
                Err(why.expect("no elevation is told where no spread of the places is"))
            }
            Err(error) => Err(error.to_string()),
        }
    }

    fn parts(&self, time: &TimeHeard) -> TimeParts {
        TimeParts {
            clocks_s: self.clocks_s,
            estimate_s: time.uncertainty_s,
        }
    }
}

impl ArrivalTold<'_> {
    /// In words, with the number of the other channel.
    fn words(&self, other: u16) -> String {
        let (time, direction) = match &self.time {
            Ok(told) => told,
            Err(why) => return format!("channel {other} not told: {why}"),
        };
        let mut text = format!(
            "channel {other} hears it {}, \u{b1} {:.3} ms (k = 2), likeness {:.2} over {:.3} s",
            later(time.later_s),
            1e3 * self.pair.parts(time).whole_s(),
            time.likeness,
            time.over_s
        );
        match direction {
            Ok(e) => {
                text.push_str(&format!(
                    "; elevation {}, from {} to {}",
                    degrees(e.elevation_deg),
                    degrees(e.least_deg),
                    degrees(e.most_deg)
                ));
                if e.endfire {
                    text.push_str(" (along the line: there a pair tells least)");
                }
            }
            Err(why) => text.push_str(&format!("; elevation not told: {why}")),
        }
        text
    }

    /// In a few words, for a picture.
    pub(crate) fn brief(&self, assigned: &[Assigned]) -> String {
        let other = channel(assigned, self.other);
        match &self.time {
            Err(_) => format!("channel {other} not told"),
            Ok((time, direction)) => {
                let elevation = match direction {
                    Ok(e) => format!(
                        ", elevation {} ({} to {})",
                        degrees(e.elevation_deg),
                        degrees(e.least_deg),
                        degrees(e.most_deg)
                    ),
                    Err(_) => String::new(),
                };
                format!(
                    "channel {other} {} \u{b1} {:.3} ms{elevation}",
                    later(time.later_s),
                    1e3 * self.pair.parts(time).whole_s()
                )
            }
        }
    }

    /// As the last fields of a row of CSV: other channel, time, its uncertainty, elevation with limits, what is not told and why.
    pub(crate) fn csv(&self, assigned: &[Assigned]) -> String {
        let other = channel(assigned, self.other);
        match &self.time {
            Err(why) => format!("{other},,,,,,{}", quoted(&why.to_string())),
            Ok((time, direction)) => {
                let time_uncertainty_s = self.pair.parts(time).whole_s();
                let (elevation, why) = match direction {
                    Ok(e) => (
                        format!(
                            "{:.3},{:.3},{:.3}",
                            e.elevation_deg, e.least_deg, e.most_deg
                        ),
                        String::new(),
                    ),
                    Err(why) => (",,".to_owned(), quoted(&format!("elevation: {why}"))),
                };
                format!(
                    "{other},{:.7},{time_uncertainty_s:.7},{elevation},{why}",
                    time.later_s
                )
            }
        }
    }

    /// For programs.
    pub(crate) fn json(&self, assigned: &[Assigned]) -> Value {
        let mut told = json!({
            "other_channel": channel(assigned, self.other),
            "other_sensor": assigned[self.other].path,
            "later_s": null,
            "time_uncertainty_s": null,
            "estimate_uncertainty_s": null,
            "estimate_bound_s": null,
            "clock_uncertainty_s": null,
            "likeness": null,
            "snr_db": null,
            "over_s": null,
            "low_hz": null,
            "high_hz": null,
            "elevation": null,
            "not_told": null,
        });
        match &self.time {
            Err(why) => told["not_told"] = json!(why),
            Ok((time, direction)) => {
                told["later_s"] = json!(time.later_s);
                told["time_uncertainty_s"] = json!(self.pair.parts(time).whole_s());
                told["estimate_uncertainty_s"] = json!(time.uncertainty_s);
                told["estimate_bound_s"] = json!(time.bound_s);
                told["clock_uncertainty_s"] = json!(self.pair.clocks_s);
                told["likeness"] = json!(time.likeness);
                told["snr_db"] = json!(time.snr_db);
                told["over_s"] = json!(time.over_s);
                told["low_hz"] = json!(time.band_hz.0);
                told["high_hz"] = json!(time.band_hz.1);
                match direction {
                    Ok(elevation) => told["elevation"] = elevation_json(elevation),
                    Err(why) => told["not_told"] = json!(format!("elevation: {why}")),
                }
            }
        }
        told
    }
}

/// Why no time is told, in the unit of the times that are.
fn untold(why: &Untold) -> String {
    match why {
        Untold::Delay(DelayError::AtTheEnd { most_s }) => format!(
            "the likeness still grows at {:.3} ms, as far as is looked",
            1e3 * most_s
        ),
        Untold::Gap { most_s } => format!(
            "the recording begins, ends or has a gap within {:.3} ms of the sound, as far as is looked",
            1e3 * most_s
        ),
        Untold::NotHeard { most_s } => format!(
            "no event of the other channel lies within {:.3} ms of it",
            1e3 * most_s
        ),
        why => why.to_string(),
    }
}

fn later(later_s: f64) -> String {
    let word = if later_s < 0.0 { "earlier" } else { "later" };
    format!("{:.3} ms {word}", 1e3 * later_s.abs())
}

fn channel(assigned: &[Assigned], ear: usize) -> u16 {
    assigned[ear].channel.unwrap_or(1)
}
