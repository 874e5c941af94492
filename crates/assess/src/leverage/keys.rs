//! The numbers behind keys that a plan may leave out, and the spans within which each is tried (choices of ours, none from a standard).

use plan::{Line, Requirement, Stage, That, Written};

use quantity::{Dimension, show};

use crate::input::{cells_preset, template_samples};

/// Keys that an assumption stands for, and what is written there in its place.
pub(super) struct Behind {
    pub(super) keys: Vec<String>,
    pub(super) values: Vec<String>,
}

/// A number behind a key.
struct Number {
    /// Words by which its sentence is known.
    told: &'static str,
    /// Things that have the key.
    things: fn(&Line) -> Vec<Thing>,
    key: &'static str,
    /// What is tried.
    span: Span,
}

enum Span {
    /// The same values for all things, which get them at once.
    All(&'static [&'static str]),
    /// Values for one thing at a time.
    Each(fn(&Line, &Thing) -> Vec<String>),
    /// Shares about those of the preset of a chemistry.
    Cells(fn(&power::battery::Chemistry) -> Vec<f64>),
}

/// Something that a key may belong to.
struct Thing {
    /// As edits name it: `topic."alert/call"`.
    path: String,
    /// As sentences name it: `topic.alert/call`; empty where they do not.
    named: String,
    ix: usize,
}

impl Thing {
    fn of(path: String, ix: usize) -> Thing {
        Thing {
            named: path.clone(),
            path,
            ix,
        }
    }

    fn unnamed(path: &str) -> Thing {
        Thing {
            path: path.to_owned(),
            named: String::new(),
            ix: 0,
        }
    }
}

const PRESET: &str = "what docs/method/energy-year.md gives for";

const NUMBERS: &[Number] = &[
    Number {
        told: "the distance along the sections without slack",
        things: |line| ids("span", line.spans.iter().map(|s| &s.id)),
        key: "slack",
        span: Span::All(&["5 %"]),
    },
    Number {
        told: "no converter stands before them",
        things: |line| ids("module", line.modules.iter().map(|m| &m.id)),
        key: "input.efficiency",
        span: Span::All(&["0.85"]),
    },
    Number {
        told: "the plan writes no recovery_slip",
        things: |_| vec![Thing::unnamed("deployment")],
        key: "recovery_slip",
        span: Span::All(&["8 wk"]),
    },
    Number {
        told: "the plan writes no start_slip",
        things: |_| vec![Thing::unnamed("deployment")],
        key: "start_slip",
        span: Span::All(&["8 wk"]),
    },
    Number {
        told: "may be filled to the last byte",
        things: |line| ids("storage", line.storages.iter().map(|s| &s.id)),
        key: "keep_free",
        span: Span::All(&["10 %"]),
    },
    Number {
        told: "level cells follow each other by a quarter of the window",
        things: levels,
        key: "hop",
        span: Span::Each(hops),
    },
    Number {
        told: "follow each other by an eighth of its recording",
        things: matched,
        key: "hop",
        span: Span::Each(matched_hops),
    },
    Number {
        told: "filters of the order 4",
        things: bands,
        key: "order",
        span: Span::All(&["2", "8"]),
    },
    Number {
        told: "priority 1, because none is written",
        things: |line| {
            let topics = line.topics.iter().enumerate();
            topics
                .map(|(ix, t)| Thing {
                    path: plan::below("topic", &t.name),
                    named: format!("topic.{}", t.name),
                    ix,
                })
                .collect()
        },
        key: "priority",
        span: Span::All(&["0", "7"]),
    },
    Number {
        told: "a message is never given up",
        things: |line| ids("uplink", line.uplinks.iter().map(|u| &u.id)),
        key: "expiry",
        span: Span::All(&["1 h", "1 d"]),
    },
    Number {
        told: "a converter that makes no noise but its steps",
        things: |line| {
            let modules = line.modules.iter().enumerate();
            let sensors = modules.flat_map(|(m, module)| {
                let sensors = module.sensors.iter();
                sensors.map(move |s| Thing::of(format!("module.{}.sensor.{}", module.id, s.id), m))
            });
            sensors.collect()
        },
        key: "adc.effective_bits",
        span: Span::Each(fewer_bits),
    },
    Number {
        told: "confidence, because no `confidence` is written",
        things: |line| {
            let years = |r: &&Requirement| {
                matches!(
                    r.that,
                    That::OutageHours { .. }
                        | That::LowestCharge { .. }
                        | That::ListeningShare { .. }
                        | That::ListeningGap { .. }
                )
            };
            let ids = line.requirements.iter().filter(years);
            ids.map(|r| Thing::unnamed(&format!("requirement.{}", r.id)))
                .collect()
        },
        key: "confidence",
        span: Span::All(&["90 %", "99 %"]),
    },
    Number {
        told: "its charge controller draws nothing",
        things: supplies,
        key: "standing",
        span: Span::All(&["20 mW", "100 mW"]),
    },
    Number {
        told: PRESET,
        things: supplies,
        key: "battery.discharge_efficiency",
        span: Span::Cells(|c| vec![c.discharge_efficiency - 0.03, c.discharge_efficiency + 0.03]),
    },
    Number {
        told: PRESET,
        things: supplies,
        key: "battery.self_discharge_per_month",
        span: Span::Cells(|c| {
            vec![
                0.5 * c.self_discharge_per_month,
                2.0 * c.self_discharge_per_month,
            ]
        }),
    },
    Number {
        told: PRESET,
        things: supplies,
        key: "battery.loss_per_year",
        span: Span::Cells(|c| vec![0.5 * c.yearly_loss, 2.0 * c.yearly_loss]),
    },
    Number {
        told: PRESET,
        things: supplies,
        key: "battery.charge_efficiency",
        span: Span::Cells(|c| {
            let of = c.charging.map(|charging| charging.efficiency);
            of.map_or_else(Vec::new, |e| vec![e - 0.03, e + 0.03])
        }),
    },
    Number {
        told: PRESET,
        things: supplies,
        key: "battery.disconnect_at",
        span: Span::Cells(|c| {
            let of = c.cutoff.map(|cutoff| cutoff.disconnect_at);
            of.map_or_else(Vec::new, |d| vec![d - 0.05, d + 0.05])
        }),
    },
    Number {
        told: PRESET,
        things: supplies,
        key: "battery.reconnect_at",
        span: Span::Cells(|c| {
            let of = c.cutoff.map(|cutoff| cutoff.reconnect_at);
            of.map_or_else(Vec::new, |r| vec![r - 0.05, r + 0.05])
        }),
    },
    Number {
        told: "on a buoy that yaws freely",
        things: supplies,
        key: "panels.azimuth",
        span: Span::All(&["0 deg", "90 deg", "180 deg", "270 deg"]),
    },
    Number {
        told: "no `loss_per_kelvin` is written",
        things: supplies,
        key: "panels.loss_per_kelvin",
        span: Span::All(&["0.3 %", "0.5 %"]),
    },
    Number {
        told: "because the site writes no `density`",
        things: |_| vec![Thing::unnamed("site")],
        key: "density",
        span: Span::All(&["1020 kg/m3", "1030 kg/m3"]),
    },
    Number {
        told: "the site writes no `tide`",
        things: |_| vec![Thing::unnamed("site")],
        key: "tide",
        span: Span::All(&["{ lowest = \"-1 m\", highest = \"1 m\" }"]),
    },
    Number {
        told: "the site writes no `growth`",
        things: |_| vec![Thing::unnamed("site")],
        key: "growth",
        span: Span::All(&["{ a_month = \"1 mm\", density = \"1300 kg/m3\" }"]),
    },
    Number {
        told: "because the case writes no `current`",
        things: cases,
        key: "current",
        span: Span::All(&["[{ depth = \"0 m\", speed = \"0.5 m/s\", towards = \"90 deg\" }]"]),
    },
    Number {
        told: "because the case writes no `water_level`",
        things: cases,
        key: "water_level",
        span: Span::All(&["-1 m", "1 m"]),
    },
    Number {
        told: "because the case writes no `wind`",
        things: cases,
        key: "wind",
        span: Span::All(&["{ speed = \"15 m/s\" }"]),
    },
    Number {
        told: "because the case writes no `wave`",
        things: cases,
        key: "wave",
        span: Span::All(&["{ height = \"2 m\", period = \"8 s\" }"]),
    },
    Number {
        told: "packets of a stream come singly",
        things: |line| ids("stream", line.streams.iter().map(|s| &s.id)),
        key: "burst",
        span: Span::All(&["4"]),
    },
    Number {
        told: "a message goes up as it is",
        things: |line| ids("uplink", line.uplinks.iter().map(|u| &u.id)),
        key: "adds",
        span: Span::All(&["32 B"]),
    },
    Number {
        told: "the wind blows with the current at the surface",
        things: cases,
        key: "wind.towards",
        span: Span::All(&["0 deg", "90 deg", "180 deg", "270 deg"]),
    },
    Number {
        told: "because the case writes no `strum`",
        things: cases,
        key: "strum",
        span: Span::All(&["true"]),
    },
    Number {
        told: "an anchor must hold its load once",
        things: |line| ids("anchor", line.anchors.iter().map(|a| &a.id)),
        key: "safety_factor",
        span: Span::All(&["1.5"]),
    },
    Number {
        told: "because no `added_length` is written",
        things: |line| ids("module", line.modules.iter().map(|m| &m.id)),
        key: "housing.added_length",
        span: Span::All(&["0.5 m"]),
    },
    Number {
        told: "a weak link must hold the greatest tension once",
        things: |line| ids("weak_link", line.weak_links.iter().map(|w| &w.id)),
        key: "safety_factor",
        span: Span::All(&["1.5"]),
    },
    Number {
        told: "because no `heave_share` is written",
        things: |line| ids("section", line.sections.iter().map(|s| &s.id)),
        key: "heave_share",
        span: Span::All(&["0.5"]),
    },
    Number {
        told: "because no `high_lasts` is written",
        things: |line| ids("uplink", line.uplinks.iter().map(|u| &u.id)),
        key: "sea.high_lasts",
        span: Span::All(&["6 h", "48 h"]),
    },
];

fn ids<'a>(kind: &str, ids: impl Iterator<Item = &'a String>) -> Vec<Thing> {
    let all = ids.enumerate();
    all.map(|(ix, id)| Thing::of(format!("{kind}.{id}"), ix))
        .collect()
}

fn cases(line: &Line) -> Vec<Thing> {
    ids("case", line.cases.iter().map(|c| &c.id))
}

fn supplies(line: &Line) -> Vec<Thing> {
    ids("supply", line.supplies.iter().map(|s| &s.id))
}

/// Stages of detectors that a test picks.
fn stages(line: &Line, wanted: fn(&Stage) -> bool) -> Vec<Thing> {
    let detectors = line.detectors.iter().enumerate();
    let all = detectors.flat_map(|(ix, d)| {
        let picked = d.stages.iter().enumerate().filter(|(_, s)| wanted(s));
        // The stages of one detector go by its name.
        let picked: Vec<usize> = picked.map(|(nth, _)| nth).collect();
        picked.into_iter().map(move |nth| Thing {
            path: format!("detector.{}.stages[{nth}]", d.id),
            named: format!("detector.{}", d.id),
            ix,
        })
    });
    all.collect()
}

fn bands(line: &Line) -> Vec<Thing> {
    stages(line, |s| matches!(s, Stage::Band { .. }))
}

fn levels(line: &Line) -> Vec<Thing> {
    stages(line, |s| window_s(s).is_some())
}

fn matched(line: &Line) -> Vec<Thing> {
    stages(line, |s| matches!(s, Stage::Matched { hop_s: None, .. }))
}

/// A sixteenth and a quarter of the recording that a stage is held against; nothing where it cannot be read.
fn matched_hops(line: &Line, thing: &Thing) -> Vec<String> {
    let detector = &line.detectors[thing.ix];
    let recording_s = || {
        let stages = detector.stages.iter().enumerate();
        let template = stages.into_iter().find_map(|(nth, stage)| match stage {
            Stage::Matched { template, .. } if thing.path.ends_with(&format!("stages[{nth}]")) => {
                Some(template)
            }
            _ => None,
        });
        let rate_hz = line.sensor(detector.on).chain.as_ref()?.rate_hz.si;
        let samples = template_samples(&thing.named, template?, rate_hz).ok()?;
        Some(samples.len() as f64 / rate_hz)
    };
    let of = recording_s().map_or_else(Vec::new, |s| vec![0.0625 * s, 0.25 * s]);
    of.into_iter().map(|s| show(s, Dimension::Time)).collect()
}

/// The window of a stage that hops by a quarter of it.
fn window_s(stage: &Stage) -> Option<f64> {
    match stage {
        Stage::Level {
            window_s,
            hop_s: None,
            ..
        }
        | Stage::Learned {
            window_s,
            hop_s: None,
            ..
        }
        | Stage::Spectrogram {
            window_s,
            hop_s: None,
        } => Some(window_s.si),
        _ => None,
    }
}

/// Half and an eighth of the window.
fn hops(line: &Line, thing: &Thing) -> Vec<String> {
    let stages = &line.detectors[thing.ix].stages;
    let of = stages.iter().enumerate().find_map(|(nth, stage)| {
        let own = thing.path.ends_with(&format!("stages[{nth}]"));
        own.then(|| window_s(stage)).flatten()
    });
    let of = of.map_or_else(Vec::new, |w| vec![0.125 * w, 0.5 * w]);
    of.into_iter().map(|s| show(s, Dimension::Time)).collect()
}

/// Two bits fewer than the converter has.
fn fewer_bits(line: &Line, thing: &Thing) -> Vec<String> {
    let sensors = &line.modules[thing.ix].sensors;
    let own = sensors
        .iter()
        .find(|s| thing.path.ends_with(&format!(".sensor.{}", s.id)));
    let bits = own.and_then(|s| s.chain.as_ref()).map(|c| c.bits);
    bits.map_or_else(Vec::new, |bits| vec![bits.saturating_sub(2).to_string()])
}

/// The numbers that a sentence stands for. Of a key that the plan writes there is none.
pub(super) fn behind(line: &Line, written: &[Written], told: &str) -> Vec<Behind> {
    let mut found = Vec::new();
    for number in NUMBERS.iter().filter(|n| told.contains(n.told)) {
        // A sentence on a preset lists the keys that it fills in.
        let last = number.key.rsplit('.').next().unwrap_or(number.key);
        if number.told == PRESET && !told.contains(&format!("`{last}`")) {
            continue;
        }
        let key = |thing: &Thing| format!("{}.{}", thing.path, number.key);
        let things = (number.things)(line).into_iter().filter(|t| {
            let own = t.named.is_empty() || names(told, &t.named);
            own && !written.iter().any(|w| w.path == key(t))
        });
        let things: Vec<Thing> = things.collect();
        match number.span {
            Span::All(_) if things.is_empty() => {}
            Span::All(values) => found.push(Behind {
                keys: things.iter().map(key).collect(),
                values: values.iter().map(|v| (*v).to_owned()).collect(),
            }),
            Span::Each(values) => found.extend(things.iter().map(|thing| Behind {
                keys: vec![key(thing)],
                values: values(line, thing),
            })),
            Span::Cells(about) => found.extend(things.iter().filter_map(|thing| {
                let cells = cells_preset(&line.supplies[thing.ix])?;
                let shares = about(&cells).into_iter().map(|s| s.clamp(0.0, 1.0));
                Some(Behind {
                    keys: vec![key(thing)],
                    values: shares.map(|s| show(s, Dimension::Ratio)).collect(),
                })
            })),
        }
    }
    found
}

/// Whether a sentence names a thing, and not only one whose path begins alike.
fn names(told: &str, path: &str) -> bool {
    told.match_indices(path).any(|(at, _)| {
        let after = told[at + path.len()..].chars().next();
        !after.is_some_and(|c| c.is_ascii_alphanumeric() || "-_/".contains(c))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn verif_a_sentence_names_no_thing_whose_path_only_begins_alike() {
        let told = "priority 1, because none is written: topic.alert/call, topic.state_2";
        assert!(names(told, "topic.alert/call") && names(told, "topic.state_2"));
        assert!(!names(told, "topic.alert") && !names(told, "topic.state"));
        assert!(names("module.ear: nothing", "module.ear"));
        assert_eq!(plan::below("topic", "alert"), "topic.alert");
        assert_eq!(plan::below("topic", "alert/call"), "topic.\"alert/call\"");
    }
}
