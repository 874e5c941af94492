//! Detectors: the stages and whether they work together on their sensor.

use quantity::{Dimension, LevelKind, show};

use super::stages::stage;
use super::{Resolver, settings};
use crate::line::{Chain, Confirm, Detector, Line, Q, SensorIx, SensorKind, Stage};
use crate::mistake::{Code, Mistake};
use crate::read::Fields;
use crate::site::Site;

pub(super) fn detectors(r: &mut Resolver<'_>, root: &Fields, line: &mut Line) {
    for (id, f) in root.keyed("detector") {
        r.part = format!("detector.{id}");
        let Some(on) = r.sensor(line, f, "on") else {
            continue;
        };
        let on_site = f.site_of("on").unwrap_or(f.site);
        let read: Vec<Option<(Stage, &Fields)>> = f
            .tables("stages")
            .iter()
            .map(|s| stage(r, s).map(|stage| (stage, s)))
            .collect();
        let Some(stages) = read.into_iter().collect::<Option<Vec<_>>>() else {
            continue;
        };
        order(r, &stages, f.site_of("stages").unwrap_or(f.site));
        background(r, &stages);
        against_sensor(r, line, on, on_site, &stages);
        let Some(settable) = settings::settable(r, f, &stages) else {
            continue;
        };
        line.detectors.push(Detector {
            id: id.to_owned(),
            at: f.site,
            on,
            stages: stages.into_iter().map(|(s, _)| s).collect(),
            expects: f.event_rate("expects").map(|(rate, _)| *rate),
            settable,
        });
    }
}

/// Where a stage stands: each comes after those of a lower place, and none twice.
fn place(stage: &Stage) -> u8 {
    match stage {
        Stage::Decimate { .. } => 0,
        Stage::Band { .. } => 1,
        Stage::Level { .. }
        | Stage::Matched { .. }
        | Stage::Learned { .. }
        | Stage::Spectrogram { .. } => SOURCE,
        Stage::Background { .. } => 3,
        Stage::Likeness { .. } | Stage::LikenessTo { .. } => 4,
        Stage::Pulses { .. } | Stage::Ridge { .. } | Stage::Trigger { .. } => DECIDES,
        Stage::Likely { .. } => 6,
    }
}
const SOURCE: u8 = 2;
const DECIDES: u8 = 5;

/// Whether the stages make a detector; the first reason why not is told.
fn order(r: &mut Resolver<'_>, stages: &[(Stage, &Fields)], all: Site) {
    let mut right = true;
    for pair in stages.windows(2) {
        if place(&pair[1].0) <= place(&pair[0].0) {
            right = false;
            r.tell(
                Mistake::error(Code::BadStages, pair[1].1.site, "this stage cannot follow the one before")
                    .label("this stage")
                    .related(pair[0].1.site, "the one before")
                    .help("stages stand in this order: decimate, band; level, matched, learned or spectrogram; background; likeness or likeness_to; a trigger (on_above), pulses or a ridge; likely"),
            );
        }
    }
    if !right {
        return;
    }
    let find = |wanted: fn(&Stage) -> bool| stages.iter().find(|(s, _)| wanted(s));
    let spectrogram = find(|s| matches!(s, Stage::Spectrogram { .. }));
    let likeness = find(Stage::is_likeness);
    let trigger = find(|s| matches!(s, Stage::Trigger { .. }));
    let pulses = find(|s| matches!(s, Stage::Pulses { .. }));
    let ridge = find(|s| matches!(s, Stage::Ridge { .. }));
    let learned = find(Stage::is_learned);
    let background = find(Stage::is_background);
    let over_background = background.is_some();
    let wrong = |at: Site, why: &str, help: &str| {
        Mistake::error(Code::BadStages, at, why)
            .label("here")
            .help(help)
    };
    let no_detector = |help: &str| {
        Mistake::error(Code::BadStages, all, "these stages make no detector")
            .label("in this list")
            .help(help)
    };
    let has = |wanted: u8| stages.iter().any(|(s, _)| place(s) == wanted);
    let mistake = if !has(SOURCE) {
        no_detector(
            "a level is needed: { level = \"rms\", window = \"0.25 s\" }, or a matched filter or a spectrogram",
        )
    } else if !has(DECIDES) {
        no_detector(
            "one stage decides: a trigger { on_above = \"9 dB\", off_below = \"6 dB\", shortest = \"0.4 s\", hold_off = \"10 s\" }, a train of pulses, or after a spectrogram a ridge",
        )
    } else if let (Some(_), Some((_, f))) = (learned, background.or(likeness).or(pulses).or(ridge))
    {
        wrong(
            f.site,
            "on what a learned model says a trigger decides, and nothing else",
            "put the trigger straight after it: { on_above = \"6 dB\", off_below = \"0 dB\", shortest = \"0.4 s\", hold_off = \"10 s\" }",
        )
    } else if let (Some((_, f)), None) = (likeness.or(ridge), spectrogram) {
        wrong(
            f.site,
            "a likeness and a ridge are found in a spectrogram",
            "put { spectrogram = \"hann\", window = \"0.1 s\" } and a background before it; against a recording without a spectrogram there is `matched`",
        )
    } else if let (Some((_, f)), false) = (spectrogram.or(pulses), over_background) {
        wrong(
            f.site,
            "this stage needs a background",
            "add { background = \"median\", over = \"10 s\" }",
        )
    } else if let (Some(_), None, Some((_, f))) = (spectrogram, likeness, trigger) {
        wrong(
            f.site,
            "a trigger cannot decide on a spectrogram",
            "put a likeness before it, or let a ridge decide; without the spectrogram a level gives what a trigger decides on",
        )
    } else if let (Some(_), Some((_, f))) = (spectrogram, pulses) {
        wrong(
            f.site,
            "pulses are counted in a level, not in a spectrogram",
            "write a level in place of the spectrogram: { level = \"rms\", window = \"2 ms\" }",
        )
    } else if let (Some(_), Some((_, f))) = (likeness, ridge) {
        wrong(
            f.site,
            "a ridge is found in the spectrogram itself",
            "take the likeness out, or let a trigger decide on it",
        )
    } else if let (
        Some((_, f)),
        Some((
            Stage::Trigger {
                confirm: Confirm::Early,
                ..
            },
            _,
        )),
    ) = (find(|s| matches!(s, Stage::Likely { .. })), trigger)
    {
        wrong(
            f.site,
            "a judgement speaks of finished events, and this trigger confirms early",
            "add confirm = \"at-end\" to the trigger",
        )
    } else {
        return;
    };
    r.tell(mistake);
}

/// A detector takes four cells in the window of its level, and a background of at least three of them.
const CELLS_IN_A_WINDOW: f64 = 4.0;
const LEAST_CELLS: f64 = 3.0;
/// A background must outlast the shortest event so many times.
const SHORTEST_IN_A_BACKGROUND: f64 = 2.0;

/// A background must run over more than the sound that rises over it.
fn background(r: &mut Resolver<'_>, stages: &[(Stage, &Fields)]) {
    let find = |pick: fn(&Stage) -> Option<Q>| stages.iter().find_map(|(s, _)| pick(s));
    let Some((over, guard_s)) = stages.iter().find_map(|(s, _)| match s {
        Stage::Background {
            over_s, guard_s, ..
        } => Some((*over_s, guard_s.map_or(0.0, |g| g.si))),
        _ => None,
    }) else {
        return;
    };
    let shortest = find(|s| match s {
        Stage::Trigger { shortest_s, .. } | Stage::Ridge { shortest_s, .. } => Some(*shortest_s),
        _ => None,
    });
    let cell = stages.iter().find_map(|(s, _)| match s {
        Stage::Level {
            window_s, hop_s, ..
        }
        | Stage::Spectrogram { window_s, hop_s } => Some(match hop_s {
            Some(hop) => (*hop, hop.si, "three of these hops"),
            None => (
                *window_s,
                window_s.si / CELLS_IN_A_WINDOW,
                "three quarters of this window",
            ),
        }),
        Stage::Matched {
            hop_s: Some(hop), ..
        } => Some((*hop, hop.si, "three of these hops")),
        _ => None,
    });
    let events = shortest
        .map(|q| {
            (
                q,
                SHORTEST_IN_A_BACKGROUND * q.si,
                "twice this shortest event",
            )
        })
        .filter(|(_, least_s, _)| over.si < *least_s);
    let cells = cell
        .filter(|(_, cell_s, _)| ((over.si - guard_s) / cell_s).round() < LEAST_CELLS)
        .map(|(q, cell_s, what)| (q, LEAST_CELLS * cell_s + guard_s, what));
    if let Some((of, least_s, what)) = events.or(cells) {
        let least = show(least_s, Dimension::Time);
        r.tell(
            Mistake::error(
                Code::BadStages,
                over.at,
                format!("this background must run over at least {least}"),
            )
            .label("too short")
            .related(
                of.at,
                if guard_s > 0.0 && events.is_none() {
                    format!("at least the guard and {what}")
                } else {
                    format!("at least {what}")
                },
            )
            .help(format!("write over = \"{least}\" or more")),
        );
    }
}

fn against_sensor(
    r: &mut Resolver<'_>,
    line: &Line,
    on: SensorIx,
    on_site: Site,
    stages: &[(Stage, &Fields)],
) {
    let sensor = line.sensor(on);
    if !matches!(sensor.kind, SensorKind::Hydrophone | SensorKind::Microphone) {
        r.tell(
            Mistake::error(
                Code::BadReference,
                on_site,
                "a detector hears through a hydrophone or a microphone",
            )
            .label("another kind of sensor")
            .related(sensor.at, "declared here"),
        );
        return;
    }
    if let Some(chain) = &sensor.chain {
        let factor = stages.iter().find_map(|(s, _)| match s {
            Stage::Decimate { factor, at } => Some((f64::from(*factor), *at)),
            _ => None,
        });
        for (stage, _) in stages {
            let highest_hz = match stage {
                Stage::Band { high_hz, .. } => Some(*high_hz),
                Stage::Likeness { contour, .. } => contour
                    .iter()
                    .map(|(_, hz)| *hz)
                    .max_by(|a, b| a.si.total_cmp(&b.si)),
                _ => None,
            };
            if let Some(high_hz) = highest_hz {
                band_against_rate(r, &line.sensor_path(on), chain, factor, high_hz);
            }
        }
    }
    reference_of_trigger(r, sensor.kind, stages);
}

fn band_against_rate(
    r: &mut Resolver<'_>,
    ear: &str,
    chain: &Chain,
    factor: Option<(f64, Site)>,
    high_hz: Q,
) {
    let hz = |x: f64| show(x, Dimension::Frequency);
    let rate_hz = chain.rate_hz.si;
    if let Some((factor, at)) = factor
        && high_hz.si * 2.0 * factor >= rate_hz
        && high_hz.si * 2.0 < rate_hz
    {
        r.tell(
            Mistake::error(
                Code::RateTooLow,
                high_hz.at,
                "the band reaches beyond half the lowered sample rate",
            )
            .label(format!("needs more than {}", hz(2.0 * high_hz.si)))
            .related(at, format!("leaves {}", hz(rate_hz / factor)))
            .help("lower the band or the factor"),
        );
        return;
    }
    if high_hz.si * 2.0 >= rate_hz {
        r.tell(
            Mistake::error(
                Code::RateTooLow,
                high_hz.at,
                "the band reaches beyond half the sensor's sample rate",
            )
            .label(format!("needs more than {}", hz(2.0 * high_hz.si)))
            .related(chain.rate_hz.at, format!("samples at {}", hz(rate_hz)))
            .help("lower the band or raise the rate"),
        );
    } else if high_hz.si > chain.audible_hz() {
        r.tell(
            Mistake::warning(
                Code::RateTooLow,
                high_hz.at,
                format!(
                    "the band reaches {}, and {ear} hears up to {} in a rehearsal",
                    hz(high_hz.si),
                    hz(chain.audible_hz())
                ),
            )
            .label("above what the ear hears")
            .related(
                chain.rate_hz.at,
                format!(
                    "samples at {}, and hears up to {} of half of that",
                    hz(rate_hz),
                    Chain::AUDIBLE_SHARE
                ),
            )
            .help("lower the band or raise the rate: so near to half the rate the converter's own filter takes the sound away"),
        );
    }
}

/// With a background, a likeness or a learned model the thresholds are plain dB; without one they carry the level's own
/// reference. So does the reference of what a learned model is given.
fn reference_of_trigger(r: &mut Resolver<'_>, kind: SensorKind, stages: &[(Stage, &Fields)]) {
    let over_background = stages
        .iter()
        .any(|(s, _)| s.is_background() || s.is_likeness());
    let learned = stages.iter().any(|(s, _)| s.is_learned());
    let exposure = stages.iter().any(|(s, _)| s.is_exposure());
    let of_sensor = match kind {
        SensorKind::Microphone => LevelKind::InAir,
        _ => LevelKind::Pressure,
    };
    for (_, f) in stages.iter().filter(|(s, _)| s.is_learned()) {
        if let Some((found, _, site)) = f.level("reference").filter(|(k, ..)| *k != of_sensor) {
            r.tell(
                Mistake::error(
                    Code::WrongDimension,
                    site,
                    "the reference of a model is a level as the sensor's own are",
                )
                .label(format!("this is {}", found.unit()))
                .help(format!("write it like \"{}\"", of_sensor.example())),
            );
        }
    }
    for (stage, f) in stages {
        if !matches!(stage, Stage::Trigger { .. }) {
            continue;
        }
        let Some((found, _, site)) = f.level("on_above") else {
            continue;
        };
        let wanted = match (over_background || learned, exposure, kind) {
            (true, ..) => LevelKind::Gain,
            (false, true, _) => LevelKind::Exposure,
            (false, false, _) => of_sensor,
        };
        if found != wanted {
            let why = if learned {
                "after a learned model the threshold is plain dB: ten times the logarithm of the odds"
            } else if over_background {
                "over a background the threshold is plain dB"
            } else {
                "without a background the threshold carries the level's reference"
            };
            r.tell(
                Mistake::error(Code::WrongDimension, site, why)
                    .label(format!("this is {}", found.unit()))
                    .help(format!("write it like \"{}\"", wanted.example())),
            );
        } else if over_background && f.db("on_above").is_some_and(|on| on.db <= 0.0) {
            r.tell(
                Mistake::error(
                    Code::OutOfRange,
                    site,
                    "the background itself is not below this threshold, so that the trigger hardly ever lets go and tells no event",
                )
                .label("not above the background")
                .help("write how far a call stands above the background, like \"6 dB\""),
            );
        }
    }
}
