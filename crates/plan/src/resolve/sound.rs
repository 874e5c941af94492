//! Detectors: the stages and whether they work together on their sensor.

use quantity::{Dimension, LevelKind, show};

use super::{Resolver, q};
use crate::line::{
    Chain, Confirm, Detector, LevelStage, Line, Q, SensorIx, SensorKind, Stage, Unwritten,
};
use crate::mistake::{Code, Mistake};
use crate::read::{Fields, join};
use crate::site::Site;
use crate::tables::{Kind, STAGE, STAGES};

/// Order of a band's low-pass prototype when none is written.
const BAND_ORDER: u32 = 4;

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
        line.detectors.push(Detector {
            id: id.to_owned(),
            at: f.site,
            on,
            stages: stages.into_iter().map(|(s, _)| s).collect(),
            expects: f.event_rate("expects").map(|(rate, _)| *rate),
        });
    }
}

fn stage(r: &mut Resolver<'_>, f: &Fields) -> Option<Stage> {
    let kinds: Vec<&Kind> = STAGES
        .iter()
        .filter(|k| f.keys().any(|e| e == k.word))
        .collect();
    let [kind] = kinds.as_slice() else {
        r.tell(
            Mistake::error(Code::KeyConflict, f.site, "a stage is exactly one thing")
                .label(if kinds.is_empty() {
                    "nothing says what this stage is"
                } else {
                    "two stages in one"
                })
                .help(format!(
                    "give it one of: {}",
                    join(STAGES.iter().map(|k| k.word))
                )),
        );
        return None;
    };
    if !r.keys_fit(f, &STAGE, kind, &[], &named(kind.word)) {
        return None;
    }
    match kind.word {
        "band" => {
            let corners = f.amounts("band")?.0;
            let (low, high) = (
                q((&corners[0].0, corners[0].1)),
                q((&corners[1].0, corners[1].1)),
            );
            if high.si <= low.si {
                r.tell(
                    Mistake::error(
                        Code::OutOfRange,
                        high.at,
                        "the upper corner is not above the lower",
                    )
                    .label("upper")
                    .related(low.at, "lower"),
                );
                return None;
            }
            let order = f
                .count("order")
                .map_or(BAND_ORDER, |(n, _)| u32::try_from(*n).unwrap_or(BAND_ORDER));
            if !f.has("order") {
                r.unwritten(Unwritten::BandOrder);
            }
            Some(Stage::Band {
                low_hz: low,
                high_hz: high,
                order,
            })
        }
        "level" => {
            let kind = match *f.choice("level")?.0 {
                "rms" => LevelStage::Rms,
                "exponential" => LevelStage::Exponential,
                _ => LevelStage::Exposure,
            };
            Some(Stage::Level {
                kind,
                window_s: f.q("window")?,
            })
        }
        "background" => Some(Stage::Background {
            over_s: f.q("over")?,
        }),
        "pulses" => {
            let (least, most) = (f.q("least_interval")?, f.q("most_interval")?);
            if most.si <= least.si {
                r.tell(
                    Mistake::error(
                        Code::OutOfRange,
                        most.at,
                        "the longest interval is not above the shortest",
                    )
                    .label("longest")
                    .related(least.at, "shortest"),
                );
                return None;
            }
            Some(Stage::Pulses {
                rise_db: f.db("rise")?,
                least_interval_s: least,
                most_interval_s: most,
                at_least: u32::try_from(*f.count("at_least")?.0).ok()?,
                hold_off_s: f.q("hold_off")?,
            })
        }
        _ => trigger(r, f),
    }
}

/// What a stage is called in a sentence.
fn named(kind: &str) -> String {
    match kind {
        "on_above" => "a trigger (`on_above`)".to_owned(),
        _ => format!("a `{kind}` stage"),
    }
}

fn trigger(r: &mut Resolver<'_>, f: &Fields) -> Option<Stage> {
    let ((on_kind, _, on_site), (off_kind, _, off_site)) =
        (f.level("on_above")?, f.level("off_below")?);
    let (on, off) = (f.db("on_above")?, f.db("off_below")?);
    if on_kind != off_kind {
        r.tell(
            Mistake::error(
                Code::WrongDimension,
                off_site,
                "the two thresholds have different references",
            )
            .label(off_kind.unit())
            .related(on_site, on_kind.unit()),
        );
        return None;
    }
    if off.db > on.db {
        r.tell(
            Mistake::error(
                Code::OutOfRange,
                off_site,
                "an event cannot end above the level at which it begins",
            )
            .label("ends below")
            .related(on_site, "begins above"),
        );
        return None;
    }
    let (shortest, longest) = (f.q("shortest")?, f.q("longest"));
    if let Some(longest) = longest.filter(|l| l.si <= shortest.si) {
        r.tell(
            Mistake::error(
                Code::OutOfRange,
                longest.at,
                "the longest event is not longer than the shortest",
            )
            .label("longest")
            .related(shortest.at, "shortest"),
        );
        return None;
    }
    if !f.has("confirm") {
        r.unwritten(Unwritten::Confirm);
    }
    let confirm = match f.choice("confirm") {
        Some((&"at-end", _)) => Confirm::AtEnd,
        _ => Confirm::Early,
    };
    Some(Stage::Trigger {
        on_above_db: on,
        off_below_db: off,
        shortest_s: shortest,
        longest_s: longest,
        hold_off_s: f.q("hold_off")?,
        confirm,
    })
}

fn order(r: &mut Resolver<'_>, stages: &[(Stage, &Fields)], all: Site) {
    let rank = |s: &Stage| match s {
        Stage::Band { .. } => 0,
        Stage::Level { .. } => 1,
        Stage::Background { .. } => 2,
        Stage::Pulses { .. } => 3,
        Stage::Trigger { .. } => 4,
    };
    for pair in stages.windows(2) {
        if rank(&pair[1].0) <= rank(&pair[0].0) {
            r.tell(
                Mistake::error(Code::BadStages, pair[1].1.site, "this stage cannot follow the one before")
                    .label("this stage")
                    .related(pair[0].1.site, "the one before")
                    .help("stages stand in this order: band, level, background, pulses, trigger (on_above)"),
            );
        }
    }
    let has = |n: u8| stages.iter().any(|(s, _)| rank(s) == n);
    let mut absent = |n: u8, help: &str| {
        if !has(n) {
            r.tell(
                Mistake::error(Code::BadStages, all, "these stages make no detector")
                    .label("in this list")
                    .help(help),
            );
        }
    };
    absent(
        1,
        "a level is needed: { level = \"rms\", window = \"0.25 s\" }",
    );
    if !has(3) {
        absent(
            4,
            "the last stage is a trigger: { on_above = \"9 dB\", off_below = \"6 dB\", shortest = \"0.4 s\", hold_off = \"10 s\" }, or a train of pulses",
        );
    }
    if has(3) && !has(2) {
        absent(
            2,
            "pulses rise over a background: { background = \"median\", over = \"10 s\" }",
        );
    }
    if has(3) && has(4) {
        r.tell(
            Mistake::error(Code::BadStages, all, "a train of pulses needs no trigger")
                .label("in this list")
                .help("its own `rise`, intervals and `at_least` decide; remove the trigger"),
        );
    }
}

/// A detector takes four cells in the window of its level, and a background of at least three of them.
const CELLS_IN_A_WINDOW: f64 = 4.0;
const LEAST_CELLS: f64 = 3.0;
/// A background must outlast the shortest event so many times.
const SHORTEST_IN_A_BACKGROUND: f64 = 2.0;

/// A background must run over more than the sound that rises over it.
fn background(r: &mut Resolver<'_>, stages: &[(Stage, &Fields)]) {
    let find = |pick: fn(&Stage) -> Option<Q>| stages.iter().find_map(|(s, _)| pick(s));
    let Some(over) = find(|s| match s {
        Stage::Background { over_s } => Some(*over_s),
        _ => None,
    }) else {
        return;
    };
    let shortest = find(|s| match s {
        Stage::Trigger { shortest_s, .. } => Some(*shortest_s),
        _ => None,
    });
    let window = find(|s| match s {
        Stage::Level { window_s, .. } => Some(*window_s),
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
    let cells = window
        .map(|q| (q, q.si / CELLS_IN_A_WINDOW))
        .filter(|(_, cell_s)| (over.si / cell_s).round() < LEAST_CELLS)
        .map(|(q, cell_s)| (q, LEAST_CELLS * cell_s, "three quarters of this window"));
    if let Some((of, least_s, what)) = events.or(cells) {
        let least = show(least_s, Dimension::Time);
        r.tell(
            Mistake::error(
                Code::BadStages,
                over.at,
                format!("this background must run over at least {least}"),
            )
            .label("too short")
            .related(of.at, format!("at least {what}"))
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
        for (stage, _) in stages {
            if let Stage::Band { high_hz, .. } = stage {
                band_against_rate(r, &line.sensor_path(on), chain, *high_hz);
            }
        }
    }
    reference_of_trigger(r, sensor.kind, stages);
}

fn band_against_rate(r: &mut Resolver<'_>, ear: &str, chain: &Chain, high_hz: Q) {
    let hz = |x: f64| show(x, Dimension::Frequency);
    let rate_hz = chain.rate_hz.si;
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

/// With a background the thresholds are plain dB over it; without one they carry the level's own reference.
fn reference_of_trigger(r: &mut Resolver<'_>, kind: SensorKind, stages: &[(Stage, &Fields)]) {
    let over_background = stages.iter().any(|(s, _)| s.is_background());
    let exposure = stages.iter().any(|(s, _)| s.is_exposure());
    for (stage, f) in stages {
        if !matches!(stage, Stage::Trigger { .. }) {
            continue;
        }
        let Some((found, _, site)) = f.level("on_above") else {
            continue;
        };
        let wanted = match (over_background, exposure, kind) {
            (true, ..) => LevelKind::Gain,
            (false, true, _) => LevelKind::Exposure,
            (false, false, SensorKind::Microphone) => LevelKind::InAir,
            (false, false, _) => LevelKind::Pressure,
        };
        if found != wanted {
            let why = if over_background {
                "over a background the threshold is plain dB"
            } else {
                "without a background the threshold carries the level's reference"
            };
            r.tell(
                Mistake::error(Code::WrongDimension, site, why)
                    .label(format!("this is {}", found.unit()))
                    .help(format!("write it like \"{}\"", wanted.example())),
            );
        }
    }
}
