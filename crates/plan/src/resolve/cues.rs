//! A cue sheet against a line.

use std::path::Path;

use super::content::{Filled, Led, content};
use super::expectations::expect;
use super::faults::fault;
use super::sources::track;
use super::talk::topic;
use super::{Declared, Resolver, ix_of, unknown};
use crate::catalogue::Catalogue;
use crate::cue_sheet::{AnswerCue, CueSheet, InputCue, Repeats, Sound, SoundKind};
use crate::line::{Deployment, Line, Q, RequestIx};
use crate::mistake::{Code, Mistake, Mistakes};
use crate::read::Fields;
use crate::site::Site;
use crate::tables::{OF_SOUNDS, SOUND, SOUNDS};

/// Resolves a cue sheet. `folder` is the cue sheet's own.
pub(crate) fn cue_sheet(
    root: &Fields,
    line: &Line,
    of_plan: &Declared,
    folder: &Path,
    catalogue: &Catalogue,
    mistakes: &mut Mistakes,
) -> Option<CueSheet> {
    let mut r = Resolver::new(catalogue, declared(root, of_plan), mistakes);
    "rehearsal".clone_into(&mut r.part);
    let known = root.table("rehearsal").and_then(|(f, _)| {
        outside_the_deployment(&mut r, f, &line.deployment);
        rehearsal(f)
    });
    let whole = known.is_some();
    // Without it there is no cue sheet, but its other mistakes are told all the same.
    let mut sheet = known.unwrap_or_else(|| no_rehearsal(root.site));
    for (id, f) in root.keyed("sound") {
        r.part = format!("sound.{id}");
        let around = (folder, line.sea.water_depth_m);
        sheet.sounds.extend(sound(&mut r, id, f, around, &sheet));
    }
    for (id, f) in root.keyed("fault") {
        r.part = format!("fault.{id}");
        sheet.faults.extend(fault(&mut r, id, f, line, &sheet));
    }
    for (id, f) in root.keyed("input") {
        r.part = format!("input.{id}");
        sheet.inputs.extend(input(&mut r, id, f, line, &sheet));
    }
    for (id, f) in root.keyed("answer") {
        r.part = format!("answer.{id}");
        sheet.answers.extend(answer(&mut r, id, f, line, &sheet));
    }
    for (id, f) in root.keyed("expect") {
        r.part = format!("expect.{id}");
        sheet.expects.extend(expect(&mut r, id, f, line, &sheet));
    }
    whole.then_some(sheet)
}

fn rehearsal(f: &Fields) -> Option<CueSheet> {
    Some(CueSheet {
        name: f.text("name")?.0.clone(),
        start: f.date("start").map(|(t, _)| *t),
        duration_s: f.q("duration")?,
        seed: u64::try_from(*f.count("seed")?.0).ok()?,
        wind_m_s: f.q("wind")?,
        wave_height_m: f.q("wave_height"),
        contacts_aged: f.choice("contacts").is_some_and(|(w, _)| *w == "aged"),
        begins_switched_on: f.choice("begins").is_some_and(|(w, _)| *w == "switched-on"),
        sounds: Vec::new(),
        faults: Vec::new(),
        inputs: Vec::new(),
        answers: Vec::new(),
        expects: Vec::new(),
    })
}

/// Refuses a rehearsal that begins beyond what instants can tell, and warns of one that begins when the line is not in the water, whatever the slips.
fn outside_the_deployment(r: &mut Resolver<'_>, f: &Fields, deployment: &Deployment) {
    let Some((begins, site)) = f.date("start") else {
        return;
    };
    // Instants of messages are nanoseconds since 1970 in 64 bits.
    if i64::try_from(begins.as_nanosecond()).is_err() {
        r.tell(
            Mistake::error(
                Code::OutOfRange,
                site,
                "a rehearsal begins in the years 1678 to 2261",
            )
            .label("outside these years")
            .help("mend the year"),
        );
        return;
    }
    let Some(start) = deployment.start else {
        return;
    };
    let since_start_s = begins.duration_since(start).as_secs_f64();
    let slip_s = deployment.start_slip_s.map_or(0.0, |q| q.si);
    let longest_s = slip_s + deployment.longest_s();
    let (label, span) = if since_start_s < 0.0 {
        ("before the line is laid", -since_start_s)
    } else if since_start_s > longest_s {
        ("after the line is taken up", since_start_s - longest_s)
    } else {
        return;
    };
    let time = |s| quantity::show(s, quantity::Dimension::Time);
    r.tell(
        Mistake::warning(
            Code::OutOfRange,
            site,
            "this rehearsal begins outside the deployment",
        )
        .label(format!("{} {label}", time(span)))
        .help(format!(
            "the deployment begins at {start} and is over {} later, slips counted",
            time(longest_s)
        )),
    );
}

fn no_rehearsal(at: Site) -> CueSheet {
    CueSheet {
        name: String::new(),
        start: None,
        duration_s: unknown(at),
        seed: 0,
        wind_m_s: unknown(at),
        wave_height_m: None,
        contacts_aged: false,
        begins_switched_on: false,
        sounds: Vec::new(),
        faults: Vec::new(),
        inputs: Vec::new(),
        answers: Vec::new(),
        expects: Vec::new(),
    }
}

fn declared(root: &Fields, of_plan: &Declared) -> Declared {
    let mut declared = of_plan.clone();
    declared.add_below("", "sound", root);
    declared.add_below("", "fault", root);
    declared
}

fn sound(
    r: &mut Resolver<'_>,
    id: &str,
    f: &Fields,
    (folder, water_depth_m): (&Path, Q),
    sheet: &CueSheet,
) -> Option<Sound> {
    let (kind, _) = f.choice("kind")?;
    let keys = SOUNDS
        .iter()
        .find(|k| k.word == *kind)
        .expect("every word has its keys");
    if !r.keys_fit(
        f,
        &SOUND,
        keys,
        OF_SOUNDS,
        &format!("a sound of kind `{kind}`"),
    ) {
        return None;
    }
    let what = sound_kind(r, f, kind, folder, "the cue sheet")?;
    let at_s = f.q("at")?;
    after_the_end(r, &format!("sound.{id}"), at_s, "never heard", sheet);
    let track = track(r, f, water_depth_m)?;
    Some(Sound {
        id: id.to_owned(),
        at: f.site,
        at_s,
        what,
        source_level_db: f.db("source_level")?,
        track,
        repeats: f.table("repeats").and_then(|(t, _)| {
            Some(Repeats {
                every_s: t.q("every")?,
                times: whole(t, "times")?,
            })
        }),
    })
}

/// What a table of kind `kind` sounds like; its keys fit. A recording lies in `folder`, that of `whose` file.
pub(super) fn sound_kind(
    r: &mut Resolver<'_>,
    f: &Fields,
    kind: &str,
    folder: &Path,
    whose: &str,
) -> Option<SoundKind> {
    Some(match kind {
        "upsweep" => SoundKind::Upsweep {
            from_hz: f.q("from")?,
            to_hz: f.q("to")?,
            length_s: f.q("length")?,
        },
        "tone" => SoundKind::Tone {
            frequency_hz: f.q("frequency")?,
            length_s: f.q("length")?,
        },
        "pulse-train" => SoundKind::PulseTrain {
            frequency_hz: f.q("frequency")?,
            pulse_s: f.q("pulse")?,
            interval_s: f.q("interval")?,
            pulses: whole(f, "pulses")?,
        },
        "click-train" => SoundKind::ClickTrain {
            centre_hz: f.q("centre")?,
            click_s: f.q("click")?,
            interval_s: f.q("interval")?,
            clicks: whole(f, "clicks")?,
        },
        "hum" => {
            let (low_hz, high_hz) = (f.q("low")?, f.q("high")?);
            if high_hz.si <= low_hz.si {
                r.tell(
                    Mistake::error(
                        Code::OutOfRange,
                        high_hz.at,
                        "the upper edge is not above the lower",
                    )
                    .label("upper")
                    .related(low_hz.at, "lower"),
                );
                return None;
            }
            SoundKind::Hum {
                low_hz,
                high_hz,
                blade_rate_hz: f.q("blade_rate"),
                length_s: f.q("length")?,
            }
        }
        _ => {
            let (file, site) = f.text("file")?;
            if !crate::folder::stays_inside(Path::new(file)) {
                r.tell(
                    Mistake::error(
                        Code::OutsideFolder,
                        site,
                        format!("recordings stay under the folder of {whose}"),
                    )
                    .label("leads out of it"),
                );
                return None;
            }
            SoundKind::Recording {
                path: folder.join(file),
                channel: whole(f, "channel"),
            }
        }
    })
}

/// Warns of what begins when the rehearsal is over.
pub(super) fn after_the_end(
    r: &mut Resolver<'_>,
    what: &str,
    at_s: Q,
    label: &str,
    sheet: &CueSheet,
) {
    if at_s.si >= sheet.duration_s.si {
        r.tell(
            Mistake::warning(
                Code::OutOfRange,
                at_s.at,
                format!("`{what}` begins after the rehearsal is over"),
            )
            .label(label)
            .related(sheet.duration_s.at, "the rehearsal's length"),
        );
    }
}

fn whole(f: &Fields, key: &'static str) -> Option<u32> {
    f.count(key).and_then(|(n, _)| u32::try_from(*n).ok())
}

fn input(
    r: &mut Resolver<'_>,
    id: &str,
    f: &Fields,
    line: &Line,
    sheet: &CueSheet,
) -> Option<InputCue> {
    let module = r.module(line, f, "module")?;
    let (name, site) = f.text("publish")?;
    let at_s = f.q("at")?;
    after_the_end(r, &format!("input.{id}"), at_s, "never published", sheet);
    let topic = topic(r, line, name, site)?;
    Some(InputCue {
        id: id.to_owned(),
        at: f.site,
        at_s,
        module,
        topic,
        values: content(r, line, f, Filled::topic(line, topic), Led::Nothing)?,
    })
}

fn answer(
    r: &mut Resolver<'_>,
    id: &str,
    f: &Fields,
    line: &Line,
    sheet: &CueSheet,
) -> Option<AnswerCue> {
    let (_, path, _) = r.reference(f, "request")?;
    let request = ix_of(&line.requests, path, |q| &q.id).map(RequestIx)?;
    let at_s = f.q("at")?;
    after_the_end(r, &format!("answer.{id}"), at_s, "never given", sheet);
    if f.is_wrong("ask") {
        return None;
    }
    let ask = f.count("ask").and_then(|(n, _)| u64::try_from(*n).ok());
    Some(AnswerCue {
        id: id.to_owned(),
        at: f.site,
        at_s,
        request,
        ask,
        values: content(r, line, f, Filled::answer(line, request), Led::Nothing)?,
    })
}
