//! Reading one stage of a detector.

use std::path::Path;

use super::{Resolver, q};
use crate::line::{
    BackgroundStage, Confirm, LevelStage, ModelGives, Q, RidgeWay, Stage, Template, Unwritten,
};
use crate::mistake::{Code, Mistake};
use crate::read::{Fields, join};
use crate::tables::{Kind, STAGE, STAGES, WEIGHTS};

/// Order of a band's low-pass prototype when none is written.
const BAND_ORDER: u32 = 4;

pub(super) fn stage(r: &mut Resolver<'_>, f: &Fields) -> Option<Stage> {
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
    if !r.keys_fit(f, &STAGE, kind, &[], &named(kind.word)) || f.is_wrong(kind.word) {
        return None;
    }
    match kind.word {
        "decimate" => {
            let (factor, at) = f.count("decimate")?;
            Some(Stage::Decimate {
                factor: u32::try_from(*factor).ok()?,
                at,
            })
        }
        "band" => band(r, f),
        "level" => {
            let kind = match *f.choice("level")?.0 {
                "rms" => LevelStage::Rms,
                "exponential" => LevelStage::Exponential,
                "exposure" => LevelStage::Exposure,
                _ => LevelStage::TeagerKaiser,
            };
            let (window_s, hop_s) = window_and_hop(r, f)?;
            Some(Stage::Level {
                kind,
                window_s,
                hop_s,
            })
        }
        "matched" => {
            let template = template(r, f, "matched")?;
            if f.is_wrong("hop") {
                return None;
            }
            Some(Stage::Matched {
                template,
                hop_s: f.q("hop"),
            })
        }
        "learned" => learned(r, f),
        "spectrogram" => {
            let (window_s, hop_s) = window_and_hop(r, f)?;
            Some(Stage::Spectrogram { window_s, hop_s })
        }
        "background" => background(r, f),
        "likeness" => likeness(r, f),
        "likeness_to" => Some(Stage::LikenessTo {
            template: template(r, f, "likeness_to")?,
        }),
        "pulses" => pulses(r, f),
        "ridge" => ridge(r, f),
        "likely" => {
            let (weights, _) = f.table("weights")?;
            let all = WEIGHTS.fields.iter().filter_map(|field| {
                let (weight, _) = weights.number(field.key)?;
                Some((field.key, *weight))
            });
            Some(Stage::Likely {
                least: f.q("likely")?,
                constant: *f.number("constant")?.0,
                weights: all.collect(),
            })
        }
        _ => trigger(r, f),
    }
}

/// What a stage is called in a sentence.
pub(super) fn named(kind: &str) -> String {
    match kind {
        "on_above" => "a trigger (`on_above`)".to_owned(),
        _ => format!("a `{kind}` stage"),
    }
}

fn window_and_hop(r: &mut Resolver<'_>, f: &Fields) -> Option<(Q, Option<Q>)> {
    let window = f.q("window")?;
    if f.is_wrong("hop") {
        return None;
    }
    let hop = f.q("hop");
    if let Some(hop) = hop.filter(|hop| hop.si > window.si) {
        r.tell(
            Mistake::error(
                Code::OutOfRange,
                hop.at,
                "a hop longer than the window leaves sound unheard",
            )
            .label("the hop")
            .related(window.at, "the window"),
        );
        return None;
    }
    Some((window, hop))
}

fn template(r: &mut Resolver<'_>, f: &Fields, key: &'static str) -> Option<Template> {
    let (path, at) = f.text(key)?;
    if !crate::folder::stays_inside(Path::new(path)) {
        r.tell(
            Mistake::error(
                Code::OutsideFolder,
                at,
                "the file of a stage stays under the plan's folder",
            )
            .label("leads out of it"),
        );
        return None;
    }
    Some(Template {
        path: path.clone(),
        at,
        bytes: None,
    })
}

fn learned(r: &mut Resolver<'_>, f: &Fields) -> Option<Stage> {
    let model = template(r, f, "learned")?;
    let (window_s, hop_s) = window_and_hop(r, f)?;
    let (input, site) = f.choice("input")?;
    if f.is_wrong("reference") {
        return None;
    }
    let reference_db = match (*input, f.db("reference")) {
        ("pressure", None) => {
            r.tell(
                Mistake::error(
                    Code::MissingKey,
                    site,
                    "sound pressure is given to a model over a `reference`",
                )
                .label("over which?")
                .help("add reference = \"120 dB re 1 uPa\": the level whose sound pressure the model is given as 1"),
            );
            return None;
        }
        ("unit-rms", Some(reference)) => {
            r.tell(
                Mistake::error(
                    Code::KeyConflict,
                    reference.at,
                    "a window that is divided by its own root mean square has no reference",
                )
                .label("here")
                .related(site, "divided by its own"),
            );
            return None;
        }
        (_, reference) => reference,
    };
    Some(Stage::Learned {
        model,
        window_s,
        hop_s,
        reference_db,
        gives: match *f.choice("gives")?.0 {
            "log-odds" => ModelGives::LogOdds,
            _ => ModelGives::Probability,
        },
    })
}

/// Tells that one value must lie above another.
fn crossed(r: &mut Resolver<'_>, message: &str, low: (Q, &str), high: (Q, &str)) {
    r.tell(
        Mistake::error(Code::OutOfRange, high.0.at, message)
            .label(high.1)
            .related(low.0.at, low.1),
    );
}

fn band(r: &mut Resolver<'_>, f: &Fields) -> Option<Stage> {
    let corners = f.amounts("band")?.0;
    let (low, high) = (
        q((&corners[0].0, corners[0].1)),
        q((&corners[1].0, corners[1].1)),
    );
    if high.si <= low.si {
        crossed(
            r,
            "the upper corner is not above the lower",
            (low, "lower"),
            (high, "upper"),
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

fn background(r: &mut Resolver<'_>, f: &Fields) -> Option<Stage> {
    let (word, site) = f.choice("background")?;
    if f.is_wrong("rank") || f.is_wrong("guard") {
        return None;
    }
    let kind = match (*word, f.q("rank")) {
        ("ordered", Some(rank)) => BackgroundStage::Ordered(rank),
        ("ordered", None) => {
            r.tell(
                Mistake::error(
                    Code::MissingKey,
                    site,
                    "an ordered background needs its `rank`",
                )
                .label("which rank?")
                .help("add `rank = \"75 %\"`: the share of its values that lie below it"),
            );
            return None;
        }
        (_, Some(rank)) => {
            r.tell(
                Mistake::error(
                    Code::KeyConflict,
                    rank.at,
                    "only an ordered background has a rank",
                )
                .label("here")
                .related(site, "another background"),
            );
            return None;
        }
        ("mean", None) => BackgroundStage::Mean,
        _ => BackgroundStage::Median,
    };
    let over_s = f.q("over")?;
    let guard_s = f.q("guard");
    if let Some(guard) = guard_s.filter(|g| g.si >= over_s.si) {
        crossed(
            r,
            "the guard leaves out no more than a part of the background's time",
            (over_s, "over"),
            (guard, "the guard"),
        );
        return None;
    }
    Some(Stage::Background {
        kind,
        over_s,
        guard_s,
    })
}

fn likeness(r: &mut Resolver<'_>, f: &Fields) -> Option<Stage> {
    let contour: Vec<(Q, Q)> = f
        .tables("likeness")
        .iter()
        .map(|t| Some((t.q("after")?, t.q("frequency")?)))
        .collect::<Option<_>>()?;
    let width_hz = f.q("width")?;
    if contour.len() < 2 {
        r.tell(
            Mistake::error(Code::BadStages, f.site, "a contour has two points or more")
                .label("here")
                .help("write likeness = [{ after = \"0 s\", frequency = \"60 Hz\" }, { after = \"1 s\", frequency = \"200 Hz\" }]"),
        );
        return None;
    }
    if contour[0].0.si != 0.0 {
        r.tell(
            Mistake::error(
                Code::OutOfRange,
                contour[0].0.at,
                "a contour begins with the call, after 0 s",
            )
            .label("its first point")
            .help("write after = \"0 s\""),
        );
        return None;
    }
    if let Some(pair) = contour.windows(2).find(|p| p[1].0.si <= p[0].0.si) {
        crossed(
            r,
            "the points of a contour follow each other in time",
            (pair[0].0, "before"),
            (pair[1].0, "this point"),
        );
        return None;
    }
    Some(Stage::Likeness { contour, width_hz })
}

fn pulses(r: &mut Resolver<'_>, f: &Fields) -> Option<Stage> {
    let (least, most) = (f.q("least_interval")?, f.q("most_interval")?);
    if most.si <= least.si {
        crossed(
            r,
            "the longest interval is not above the shortest",
            (least, "shortest"),
            (most, "longest"),
        );
        return None;
    }
    if f.is_wrong("steady") || f.is_wrong("of_last") {
        return None;
    }
    let at_least = u32::try_from(*f.count("at_least")?.0).ok()?;
    let of_last = match f.count("of_last") {
        None => None,
        Some((count, at)) => {
            let count = u32::try_from(*count).ok()?;
            let refused = match (count < at_least, f.has("steady")) {
                (true, _) => Some(format!("of {count} pulses no {at_least} can be there")),
                (false, true) => Some(
                    "steady intervals and pulses that may be missed do not go together".to_owned(),
                ),
                (false, false) => None,
            };
            if let Some(why) = refused {
                r.tell(
                    Mistake::error(Code::OutOfRange, at, why)
                        .label("here")
                        .help("write at_least = 5, of_last = 8 for five of eight in a row, without `steady`"),
                );
                return None;
            }
            Some(count)
        }
    };
    Some(Stage::Pulses {
        rise_db: f.db("rise")?,
        least_interval_s: least,
        most_interval_s: most,
        at_least,
        of_last,
        hold_off_s: f.q("hold_off")?,
        steady: f.q("steady"),
    })
}

fn ridge(r: &mut Resolver<'_>, f: &Fields) -> Option<Stage> {
    let way = match *f.choice("ridge")?.0 {
        "rising" => RidgeWay::Rising,
        "falling" => RidgeWay::Falling,
        _ => RidgeWay::Any,
    };
    let slopes = f.amounts("slope")?.0;
    let (slowest, fastest) = (
        q((&slopes[0].0, slopes[0].1)),
        q((&slopes[1].0, slopes[1].1)),
    );
    if fastest.si <= slowest.si {
        crossed(
            r,
            "the fastest change is not above the slowest",
            (slowest, "slowest"),
            (fastest, "fastest"),
        );
        return None;
    }
    let (shortest, longest) = (f.q("shortest")?, f.q("longest")?);
    if longest.si <= shortest.si {
        crossed(
            r,
            "the longest event is not longer than the shortest",
            (shortest, "shortest"),
            (longest, "longest"),
        );
        return None;
    }
    if f.is_wrong("gap") {
        return None;
    }
    Some(Stage::Ridge {
        way,
        above_db: f.db("above")?,
        slowest_hz_per_s: slowest,
        fastest_hz_per_s: fastest,
        gap_s: f.q("gap"),
        shortest_s: shortest,
        longest_s: longest,
        hold_off_s: f.q("hold_off")?,
    })
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
        crossed(
            r,
            "the longest event is not longer than the shortest",
            (shortest, "shortest"),
            (longest, "longest"),
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
    if f.is_wrong("bridge") {
        return None;
    }
    Some(Stage::Trigger {
        on_above_db: on,
        off_below_db: off,
        shortest_s: shortest,
        longest_s: longest,
        hold_off_s: f.q("hold_off")?,
        confirm,
        bridge_s: f.q("bridge"),
        k_of_n: k_of_n(r, f)?,
    })
}

/// `at_least` and `of_last`, which stand together or not at all; the outer `None` is a mistake.
fn k_of_n(r: &mut Resolver<'_>, f: &Fields) -> Option<Option<(u32, u32)>> {
    if f.is_wrong("at_least") || f.is_wrong("of_last") {
        return None;
    }
    let (k, n) = match (f.count("at_least"), f.count("of_last")) {
        (None, None) => return Some(None),
        (Some(k), Some(n)) => (k, n),
        (Some((_, at)), None) | (None, Some((_, at))) => {
            r.tell(
                Mistake::error(
                    Code::MissingKey,
                    at,
                    "`at_least` and `of_last` stand together",
                )
                .label("one without the other")
                .help("write at_least = 3, of_last = 5 for three of the last five values"),
            );
            return None;
        }
    };
    if k.0 > n.0 {
        r.tell(
            Mistake::error(
                Code::OutOfRange,
                k.1,
                format!("of the last {} values no {} can lie above", n.0, k.0),
            )
            .label("more than there are")
            .related(n.1, "so many"),
        );
        return None;
    }
    Some(Some((u32::try_from(*k.0).ok()?, u32::try_from(*n.0).ok()?)))
}
