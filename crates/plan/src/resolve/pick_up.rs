//! What electronics put into the chains of hydrophones.

use quantity::Dimension;

use super::{Resolver, q};
use crate::line::{Line, ModuleIx, PickUp, PickUpKind, PickUpLevel, Q};
use crate::mistake::{Code, Mistake};
use crate::read::{Fields, join};
use crate::site::Site;

/// Keys of a converter, keys of ticks, and that of a line in samples.
const CONVERTER: [&str; 3] = ["frequency", "harmonics", "falls"];
const TICKS: [&str; 3] = ["every", "lasts", "band"];
const SHOWN_AT: &str = "shown_at";
/// Ways in which a level is told.
const LEVELS: [&str; 3] = ["level", "voltage", "shown"];

/// With the modules, of which each may be the source.
pub(super) fn pick_ups(r: &mut Resolver<'_>, root: &Fields, line: &mut Line) {
    for (module_id, module) in root.keyed("module") {
        for (sensor_id, sensor) in module.keyed("sensor") {
            let none = sensor.flag("no_pick_up").is_some_and(|(said, _)| *said);
            if !sensor.has("pick_up") && !none {
                continue;
            }
            r.part = format!("module.{module_id}.sensor.{sensor_id}");
            if let (Some(site), Some(first), true) = (
                sensor.site_of("no_pick_up"),
                sensor.site_of("pick_up"),
                none,
            ) {
                r.tell(
                    Mistake::error(
                        Code::KeyConflict,
                        site,
                        "nothing is picked up, and something is",
                    )
                    .label("says nothing")
                    .related(first, "says what"),
                );
            }
            let own = line.module_by_id(module_id);
            let rate_hz = sensor.table("adc").and_then(|(adc, _)| adc.q("rate"));
            let all: Vec<PickUp> = sensor
                .tables("pick_up")
                .iter()
                .filter_map(|f| pick_up(r, f, line, (own, rate_hz)))
                .collect();
            let Some(own) = own else { continue };
            let sensors = &mut line.modules[own.0].sensors;
            if let Some(chain) = sensors
                .iter_mut()
                .find(|s| s.id == sensor_id)
                .and_then(|s| s.chain.as_mut())
            {
                chain.pick_up = Some(all);
            }
        }
    }
}

/// With the module of the sensor and the rate of its samples.
fn pick_up(
    r: &mut Resolver<'_>,
    f: &Fields,
    line: &Line,
    (own, rate_hz): (Option<ModuleIx>, Option<Q>),
) -> Option<PickUp> {
    let from = if f.has("from") {
        r.module(line, f, "from")
    } else {
        own
    };
    let level = level(r, f);
    let kind = kind(r, f);
    let in_samples = in_samples(r, f, rate_hz);
    let from = from?;
    let in_states = states(r, f, line, from)?;
    Some(PickUp {
        at: f.site,
        from,
        in_states,
        level: level?,
        kind: kind.filter(|_| in_samples)?,
    })
}

/// Whether what is told of samples lies within half their rate.
fn in_samples(r: &mut Resolver<'_>, f: &Fields, rate_hz: Option<Q>) -> bool {
    if !f.has("shown") {
        return true;
    }
    let band = f
        .amounts("band")
        .map(|(band, _)| q((&band[1].0, band[1].1)));
    let highest_hz = f.q(SHOWN_AT).or(band);
    let Some((highest_hz, rate_hz)) = highest_hz.zip(rate_hz) else {
        return true;
    };
    let inside = highest_hz.si <= 0.5 * rate_hz.si;
    if !inside {
        r.tell(
            Mistake::error(
                Code::OutOfRange,
                highest_hz.at,
                "samples show nothing above half their rate",
            )
            .label("above half the rate")
            .related(rate_hz.at, "of these samples")
            .help("write where the recording shows it, or with `level` or `voltage` what a probe at the input of the chain shows"),
        );
    }
    inside
}

fn level(r: &mut Resolver<'_>, f: &Fields) -> Option<PickUpLevel> {
    let mut written: Vec<(&str, Site)> = LEVELS
        .into_iter()
        .filter_map(|key| Some((key, f.site_of(key)?)))
        .collect();
    written.sort_by_key(|(_, site)| site.start);
    match written[..] {
        [(_, first), (_, second), ..] => {
            r.tell(
                Mistake::error(Code::KeyConflict, second, "a pick-up has one level")
                    .label("written twice")
                    .related(first, "written here"),
            );
            None
        }
        [("level", _)] => f.db("level").map(PickUpLevel::Pressure),
        [("voltage", _)] => f.q("voltage").map(PickUpLevel::Voltage),
        [_] => f.db("shown").map(PickUpLevel::Shown),
        [] => {
            r.tell(
                Mistake::error(
                    Code::MissingKey,
                    f.site,
                    "a pick-up needs `level`, `voltage` or `shown`",
                )
                .label("how strong it is is missing here")
                .help("add `level = \"60 dB re 1 uPa\"` or `voltage = \"2 uV\"`, by a probe at the input of the chain, or `shown = \"60 dB re 1 uPa\"`, as a recording with a dummy element shows it"),
            );
            None
        }
    }
}

fn kind(r: &mut Resolver<'_>, f: &Fields) -> Option<PickUpKind> {
    let any = |keys: [&'static str; 3]| keys.iter().any(|key| f.has(key));
    if f.has(SHOWN_AT) || f.has("shown") && !any(TICKS) {
        return shown(r, f);
    }
    match (any(CONVERTER), any(TICKS)) {
        (true, true) => {
            let site = TICKS.iter().find_map(|key| f.site_of(key));
            r.tell(
                Mistake::error(
                    Code::KeyConflict,
                    site.unwrap_or(f.site),
                    "a pick-up is of a converter or of ticks",
                )
                .label("belongs to ticks")
                .help("write two pick-ups"),
            );
            None
        }
        (false, false) => {
            r.tell(
                Mistake::error(Code::MissingKey, f.site, "a pick-up says nothing of what it is")
                    .label("neither a converter nor ticks")
                    .help("add `frequency`, `harmonics` and `falls` of a switching converter, or `every`, `lasts` and `band` of ticks; of a line that a recording shows `shown_at`"),
            );
            None
        }
        (true, false) => {
            missing(
                r,
                f,
                CONVERTER,
                "of a converter",
                "frequency = \"285 kHz ± 5 %\", harmonics = 9, falls = \"6 dB\"",
            );
            Some(PickUpKind::Converter {
                frequency_hz: f.q("frequency")?,
                harmonics: u32::try_from(*f.count("harmonics")?.0).ok()?,
                falls_db: f.db("falls")?,
            })
        }
        (false, true) => {
            missing(
                r,
                f,
                TICKS,
                "of ticks",
                "every = \"10 s\", lasts = \"30 ms\", band = [\"1 kHz\", \"20 kHz\"]",
            );
            let (every_s, lasts_s) = (f.q("every")?, f.q("lasts")?);
            let band = f.amounts("band")?.0;
            let corners_hz = (q((&band[0].0, band[0].1)), q((&band[1].0, band[1].1)));
            for (high, low, title) in [
                (
                    every_s,
                    lasts_s,
                    "ticks last no longer than from one to the next",
                ),
                (
                    corners_hz.1,
                    corners_hz.0,
                    "the upper corner lies above the lower",
                ),
            ] {
                if high.si < low.si || (high.si == low.si && title.starts_with("the")) {
                    r.tell(
                        Mistake::error(Code::OutOfRange, high.at, title)
                            .label("too low")
                            .related(low.at, "for this"),
                    );
                    return None;
                }
            }
            Some(PickUpKind::Ticks {
                every_s,
                lasts_s,
                band_hz: corners_hz,
            })
        }
    }
}

/// A line that samples show: `shown` and `shown_at`, and nothing of what makes it.
fn shown(r: &mut Resolver<'_>, f: &Fields) -> Option<PickUpKind> {
    let made_by = CONVERTER.iter().chain(&TICKS);
    let other = made_by.filter_map(|key| f.site_of(key)).next();
    if let Some(other) = other {
        r.tell(
            Mistake::error(
                Code::KeyConflict,
                other,
                "a line in samples is told by `shown` and `shown_at` alone",
            )
            .label("belongs to what a probe at the input shows")
            .help("write one pick-up for each line that the recording shows: where it is folded to and how loud it is there already say what its frequency and its harmonics do"),
        );
        return None;
    }
    for key in ["shown", SHOWN_AT] {
        if !f.has(key) {
            r.tell(
                Mistake::error(
                    Code::MissingKey,
                    f.site,
                    format!("a line in samples needs `{key}`"),
                )
                .label(format!("`{key}` is missing here"))
                .help("as in `shown = \"65 dB re 1 uPa\", shown_at = \"1.2 kHz ± 0.1 kHz\"`"),
            );
        }
    }
    f.site_of("shown")?;
    Some(PickUpKind::Shown {
        at_hz: f.q(SHOWN_AT)?,
    })
}

fn missing(r: &mut Resolver<'_>, f: &Fields, keys: [&'static str; 3], of: &str, example: &str) {
    for key in keys {
        if !f.has(key) {
            r.tell(
                Mistake::error(
                    Code::MissingKey,
                    f.site,
                    format!("a pick-up {of} needs `{key}`"),
                )
                .label(format!("`{key}` is missing here"))
                .help(format!("as in `{example}`")),
            );
        }
    }
}

/// The states by their place in the loads of the module; `None` for one that it has not.
fn states(
    r: &mut Resolver<'_>,
    f: &Fields,
    line: &Line,
    from: ModuleIx,
) -> Option<Option<Vec<usize>>> {
    let Some((names, _)) = f.texts("in_states") else {
        return Some(None);
    };
    let module = &line.modules[from.0];
    let mut all = Vec::new();
    for (name, site) in names {
        match module.loads.iter().position(|l| &l.state == name) {
            Some(state) => all.push(state),
            None if r.declared.has_state(&module.id, name) => return None,
            None => {
                r.tell(
                    Mistake::error(
                        Code::NamesNothing,
                        *site,
                        format!("module.{} has no state `{name}`", module.id),
                    )
                    .label("names nothing")
                    .help(format!(
                        "its states are: {}",
                        join(module.loads.iter().map(|l| l.state.as_str()))
                    )),
                );
                return None;
            }
        }
    }
    all.sort_unstable();
    all.dedup();
    Some(Some(all))
}

/// What keeps out of the samples what lies above half their rate, of a converter.
pub(super) fn oversampling(
    r: &mut Resolver<'_>,
    adc: &Fields,
) -> Option<crate::line::OversamplingSaid> {
    let (t, _) = adc.table("oversampling")?;
    let (rate_hz, stop_band_db) = (t.q("rate")?, t.db("stop_band")?);
    let told_hz = adc.q("rate")?;
    let times = rate_hz.si / told_hz.si;
    if libm::round(times) < 2.0 || (times - libm::round(times)).abs() > 1e-6 {
        r.tell(
            Mistake::error(
                Code::OutOfRange,
                rate_hz.at,
                "a converter takes its samples at a whole multiple of the rate at which it tells them",
            )
            .label("no whole multiple, 2 or more")
            .related(told_hz.at, "of this rate")
            .help(format!(
                "64 times it would be {}",
                quantity::show(64.0 * told_hz.si, Dimension::Frequency)
            )),
        );
        return None;
    }
    Some(crate::line::OversamplingSaid {
        rate_hz,
        stop_band_db,
    })
}
