//! What was heard, as text: a short table for each recording.

use std::io::{self, Write};

use hearing::Found;

use super::error::counted;
use super::json::{Labels, ending};
use super::work::Outcome;

/// Column of the samples at full scale: left out where no event holds any.
const FULL_SCALE: usize = 8;
/// Columns of the table of events: heading, and whether it is set to the right.
const COLUMNS: [(&str, bool); 10] = [
    ("#", true),
    ("detector", false),
    ("begin s", true),
    ("end s", true),
    ("peak dB", true),
    ("mean dB", true),
    ("excess dB", true),
    ("pulses", true),
    ("full scale", true),
    ("", false),
];

/// Writes what came of one recording.
pub(crate) fn recording(
    labels: Labels<'_>,
    outcome: &Outcome,
    to: &mut dyn Write,
) -> io::Result<()> {
    writeln!(to, "{}", outcome.path.display())?;
    let Some(survey) = &outcome.survey else {
        return writeln!(to, "  not read");
    };
    let info = &survey.info;
    let start = survey
        .start
        .map_or_else(|| "start unknown".to_owned(), |s| format!("begins {s}"));
    let channels = counted(info.channels);
    write!(
        to,
        "  {}, {}, {} Hz, {channels}, ",
        info.container, info.encoding, info.rate_hz
    )?;
    let Some(hearing) = &outcome.hearing else {
        return writeln!(to, "{start}\n  not heard");
    };
    match outcome.heard_of() {
        None => write!(to, "{:.3} s", hearing.duration_s)?,
        Some((heard_s, Some(whole_s))) => write!(to, "heard {heard_s:.3} s of {whole_s:.3} s")?,
        Some((heard_s, None)) => write!(to, "heard {heard_s:.3} s")?,
    }
    writeln!(to, ", {start}")?;
    for error in outcome.errors.iter().filter(|e| e.ends_the_hearing()) {
        writeln!(to, "  then: {}", outcome.without_name(error))?;
    }
    for warning in outcome
        .warnings()
        .into_iter()
        .chain(outcome.offsets(|ear| labels.channel(ear)))
    {
        writeln!(to, "  warning: {warning}")?;
    }
    if hearing.full_scale_samples > 0 {
        writeln!(
            to,
            "  warning: {} at full scale or beyond: what was louder may be cut off",
            match hearing.full_scale_samples {
                1 => "1 sample".to_owned(),
                n => format!("{n} samples"),
            }
        )?;
    }
    for (ear, assigned) in labels.assigned.iter().enumerate() {
        write!(to, "  channel {} is {}", labels.channel(ear), assigned.path)?;
        let reference = outcome.ears[ear].reference;
        match hearing.levels.get(ear).copied().flatten() {
            None => writeln!(to, ": nothing heard")?,
            Some(levels) if levels.level_db == f64::NEG_INFINITY => {
                writeln!(to, ": exact silence, every sample is zero")?;
            }
            Some(levels) => writeln!(
                to,
                ": rms {:.1} dB and peak {:.1} dB re {}, exposure {:.1} dB re {}",
                levels.level_db,
                levels.peak_level_db,
                reference.pressure(),
                levels.exposure_level_db,
                reference.exposure()
            )?,
        }
        if assigned.detectors.is_empty() {
            writeln!(to, "    no detector is on it")?;
            continue;
        }
        events(labels, outcome, ear, to)?;
    }
    let detector = |event: &Found| labels.detector(event).to_owned();
    let (assigned, found) = (labels.assigned, outcome.events());
    labels.pairs.text(assigned, found, &detector, to)
}

fn events(labels: Labels<'_>, outcome: &Outcome, ear: usize, to: &mut dyn Write) -> io::Result<()> {
    let rows: Vec<[String; COLUMNS.len()]> = outcome
        .events()
        .iter()
        .filter(|event| event.ear == ear)
        .map(|event| {
            [
                event.number.to_string(),
                labels.detector(event).to_owned(),
                format!("{:.3}", event.begin_s),
                format!("{:.3}", event.end_s),
                format!("{:.1}", event.peak_level_db),
                format!("{:.1}", event.mean_level_db),
                format!("{:.1}", event.score_db),
                event.pulses.map_or_else(String::new, |n| n.to_string()),
                match event.full_scale_samples {
                    0 => String::new(),
                    n => n.to_string(),
                },
                match ending(event.ending) {
                    "quiet" => String::new(),
                    other => other.to_owned(),
                },
            ]
        })
        .collect();
    if rows.is_empty() {
        return writeln!(to, "    no events");
    }
    let mut headings = COLUMNS.map(|(heading, _)| heading.to_owned());
    if rows.iter().all(|row| row[FULL_SCALE].is_empty()) {
        headings[FULL_SCALE].clear();
    }
    let all = || std::iter::once(&headings).chain(&rows);
    let widths: Vec<usize> = (0..COLUMNS.len())
        .map(|column| all().map(|row| row[column].len()).fold(0, usize::max))
        .collect();
    for row in all() {
        let mut line = String::from("   ");
        for ((cell, (_, right)), &width) in row.iter().zip(COLUMNS).zip(&widths) {
            if width == 0 {
                continue;
            }
            line.push_str(&if right {
                format!(" {cell:>width$} ")
            } else {
                format!(" {cell:<width$} ")
            });
        }
        writeln!(to, "{}", line.trim_end())?;
    }
    Ok(())
}
