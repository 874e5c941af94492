//! Labels put on the recordings that are given.

use std::path::Path;

use super::labels::{Label, LabelError, LabelFault, LabelFile};

/// A recording that labels may be about.
#[derive(Debug, Clone, Copy)]
pub struct Given<'a> {
    /// The file as it was named.
    pub path: &'a Path,
    /// Its length, s; `None` where the file does not say.
    pub length_s: Option<f64>,
}

/// Labels by recording.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Placed {
    /// The chosen labels of each recording, in order of their begin.
    pub chosen: Vec<Vec<Label>>,
    /// Labels of each recording that `what` leaves out, in order of their begin.
    pub others: Vec<Vec<Label>>,
    /// Labels that cannot be used, in order of their lines.
    pub faults: Vec<LabelFault>,
    /// What is odd about labels that are used: line and sentence, in order of their lines.
    pub warnings: Vec<(usize, String)>,
    /// Labels (of the chosen kind) of recordings that are not given; also among the faults.
    pub not_given: usize,
}

/// Finds the recording of each label, by its name or the end of its path. `what` chooses labels; empty, all are chosen.
///
/// A label that begins where the recording has ended is left out; one that ends beyond counts to the end, and is warned of, as
/// are chosen labels that overlap in time and frequency.
#[must_use]
pub fn place_labels(file: &LabelFile, given: &[Given<'_>], what: &[String]) -> Placed {
    let mut placed = Placed {
        chosen: vec![Vec::new(); given.len()],
        others: vec![Vec::new(); given.len()],
        ..Placed::default()
    };
    for label in &file.labels {
        let wanted = what.is_empty() || label.what.as_ref().is_some_and(|w| what.contains(w));
        match place(label, given) {
            Ok((at, label, warning)) => {
                placed
                    .warnings
                    .extend(warning.map(|warning| (label.line, warning)));
                let side = if wanted {
                    &mut placed.chosen
                } else {
                    &mut placed.others
                };
                side[at].push(label);
            }
            Err(why) => {
                let absent = matches!(
                    why,
                    LabelError::NotGiven { .. } | LabelError::OtherForm { .. }
                );
                placed.not_given += usize::from(wanted && absent);
                let line = label.line;
                placed.faults.push(LabelFault { line, why });
            }
        }
    }
    for labels in placed.chosen.iter_mut().chain(&mut placed.others) {
        labels.sort_by(|a, b| a.from_s.total_cmp(&b.from_s).then(a.line.cmp(&b.line)));
    }
    for labels in &placed.chosen {
        placed.warnings.extend(overlaps(labels));
    }
    placed.warnings.sort_by_key(|(line, _)| *line);
    placed
}

fn place(label: &Label, given: &[Given<'_>]) -> Result<(usize, Label, Option<String>), LabelError> {
    let mut fits = given
        .iter()
        .enumerate()
        .filter(|(_, g)| g.path.ends_with(plain(&label.recording)));
    let Some((at, found)) = fits.next() else {
        let alike = |g: &&Given<'_>| {
            let path = g.path.to_string_lossy();
            outline(&path).ends_with(&outline(&plain(&label.recording).to_string_lossy()))
        };
        // A name of plain letters has no other form.
        if let Some(alike) = given
            .iter()
            .filter(|_| !label.recording.is_ascii())
            .find(alike)
        {
            return Err(LabelError::OtherForm {
                recording: label.recording.clone(),
                given: alike.path.display().to_string(),
            });
        }
        return Err(LabelError::NotGiven {
            recording: label.recording.clone(),
        });
    };
    if let Some((_, second)) = fits.next() {
        return Err(LabelError::Ambiguous {
            recording: label.recording.clone(),
            first: found.path.display().to_string(),
            second: second.path.display().to_string(),
        });
    }
    let mut label = label.clone();
    let mut warning = None;
    if let Some(end_s) = found.length_s {
        let from_s = label.from_s;
        if from_s >= end_s {
            return Err(LabelError::Outside { from_s, end_s });
        }
        if label.to_s > end_s {
            warning = Some(format!(
                "it ends at {} s, {:.3} s beyond the end of {}; it counts to the end",
                label.to_s,
                label.to_s - end_s,
                label.recording
            ));
            label.to_s = end_s;
        }
    }
    Ok((at, label, warning))
}

/// A path without a leading `./`.
fn plain(recording: &str) -> &Path {
    let path = Path::new(recording);
    path.strip_prefix(".").unwrap_or(path)
}

/// A name with one sign for each letter that is not plain, whether it is written as one character or as a letter and marks that
/// combine with it (U+0300 to U+036F).
fn outline(name: &str) -> String {
    const OTHER: char = '\u{fffd}';
    let mut outline = String::with_capacity(name.len());
    for letter in name.chars() {
        if ('\u{300}'..='\u{36f}').contains(&letter) {
            outline.pop();
            outline.push(OTHER);
        } else if letter.is_ascii() {
            outline.push(letter);
        } else {
            outline.push(OTHER);
        }
    }
    outline
}

/// Labels that overlap the one before them that ends last.
fn overlaps(labels: &[Label]) -> Vec<(usize, String)> {
    let mut found = Vec::new();
    let mut last: Option<&Label> = None;
    for label in labels {
        if let Some(before) = last
            && label.from_s < before.to_s
            && bands_touch(before, label)
        {
            found.push((
                label.line,
                format!(
                    "it overlaps line {} from {} s to {} s: one found event cannot take both",
                    before.line,
                    label.from_s,
                    label.to_s.min(before.to_s)
                ),
            ));
        }
        if last.is_none_or(|before| label.to_s > before.to_s) {
            last = Some(label);
        }
    }
    found
}

fn bands_touch(a: &Label, b: &Label) -> bool {
    match (a.band_hz, b.band_hz) {
        (Some(a), Some(b)) => a.0 <= b.1 && b.0 <= a.1,
        _ => true,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tune::labels::read_labels;

    fn placed(text: &str, what: &[&str]) -> Placed {
        let file = read_labels(text.as_bytes()).unwrap();
        let given = [
            ("day/a.wav", Some(10.0)),
            ("night/a.wav", Some(10.0)),
            ("night/b.ogg", None),
        ]
        .map(|(path, length_s)| Given {
            path: Path::new(path),
            length_s,
        });
        let what: Vec<String> = what.iter().map(|w| (*w).to_owned()).collect();
        place_labels(&file, &given, &what)
    }

    #[test]
    fn verif_a_recording_is_found_by_the_end_of_its_path() {
        let placed = placed(
            "recording,from_s,to_s\nb.ogg,900,901\nday/a.wav,1,2\nnight/a.wav,3,4\na.wav,5,6\nc.wav,1,2\nogg,1,2\nday/a.wav,0,0.5\n",
            &[],
        );
        let lines =
            |at: usize| -> Vec<usize> { placed.chosen[at].iter().map(|l| l.line).collect() };
        assert_eq!(
            (lines(0), lines(1), lines(2)),
            (vec![8, 3], vec![4], vec![2])
        );
        let told: Vec<String> = placed
            .faults
            .iter()
            .map(|f| format!("{}: {}", f.line, f.why))
            .collect();
        assert_eq!(
            told,
            [
                "5: `a.wav` may be day/a.wav or night/a.wav: write more of its path",
                "6: `c.wav` is not among the recordings that are given",
                "7: `ogg` is not among the recordings that are given",
            ]
        );
        assert_eq!(placed.not_given, 2);
    }

    #[test]
    fn verif_a_name_may_begin_here_and_another_form_of_it_is_told() {
        let dotted = placed("recording,from_s,to_s\n./b.ogg,1,2\n./day/a.wav,3,4\n", &[]);
        assert_eq!((dotted.faults.len(), dotted.chosen[2].len()), (0, 1));
        assert_eq!(dotted.chosen[0].len(), 1);
        // The same name in composed and in decomposed letters (Unicode Standard Annex 15).
        let file = read_labels("recording,from_s,to_s\nm\u{e9}r.wav,1,2\nmar.wav,1,2\n".as_bytes());
        let given = [Given {
            path: Path::new("day/me\u{301}r.wav"),
            length_s: Some(10.0),
        }];
        let placed = place_labels(&file.unwrap(), &given, &[]);
        assert!(
            placed.faults[0]
                .why
                .to_string()
                .contains("other characters"),
            "{}",
            placed.faults[0].why
        );
        assert!(matches!(placed.faults[1].why, LabelError::NotGiven { .. }));
        assert_eq!(placed.not_given, 2);
    }

    #[test]
    fn verif_labels_outside_and_across_the_end_are_told() {
        let placed = placed(
            "recording,from_s,to_s\nday/a.wav,10,11\nday/a.wav,9.5,10.25\nday/a.wav,9,10\n",
            &[],
        );
        assert_eq!(
            placed.faults,
            [LabelFault {
                line: 2,
                why: LabelError::Outside {
                    from_s: 10.0,
                    end_s: 10.0
                }
            }]
        );
        assert_eq!(placed.chosen[0][1].to_s, 10.0);
        let lines: Vec<usize> = placed.warnings.iter().map(|w| w.0).collect();
        // Line 3 reaches beyond the end, and overlaps line 4.
        assert_eq!(lines, [3, 3]);
        assert!(placed.warnings[0].1.contains("0.250 s beyond the end"));
        assert!(
            placed.warnings[1]
                .1
                .contains("overlaps line 4 from 9.5 s to 10 s")
        );
    }

    #[test]
    fn verif_overlap_needs_time_and_band_and_the_chosen_kind() {
        let text = "recording,from_s,to_s,low_hz,high_hz,what\n\
            b.ogg,0,9,10,20,up\n\
            b.ogg,1,2,30,40,up\n\
            b.ogg,3,4,15,40,up\n\
            b.ogg,5,6,,,down\n\
            b.ogg,9,10,,,up\n";
        let up = placed(text, &["up"]);
        assert_eq!(up.warnings.len(), 1);
        assert_eq!(up.warnings[0].0, 4);
        assert_eq!((up.chosen[2].len(), up.others[2].len()), (4, 1));
        assert_eq!(placed(text, &[]).warnings.len(), 2);
        assert_eq!(placed(text, &["sideways"]).chosen[2], []);
    }
}
