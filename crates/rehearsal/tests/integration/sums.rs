//! What is told of a rehearsal adds up, on every cue sheet of the examples: each whole is the sum of its parts.

use std::path::PathBuf;

use rehearsal::Outcome;

use crate::support::run;

/// Plans with their cue sheets, in order of their paths.
fn sheets() -> Vec<(PathBuf, PathBuf)> {
    let mut all = Vec::new();
    for folder in std::fs::read_dir(truth::in_repository("plans")).unwrap() {
        let folder = folder.unwrap().path();
        let Ok(cues) = std::fs::read_dir(folder.join("cues")) else {
            continue;
        };
        for sheet in cues {
            let sheet = sheet.unwrap().path();
            if sheet.extension().is_some_and(|e| e == "toml") {
                all.push((folder.join("plan.toml"), sheet));
            }
        }
    }
    all.sort();
    all
}

fn add_up(outcome: &Outcome, sheet: &str) {
    for topic in &outcome.topics {
        let lost: u64 = topic.lost.iter().map(|(_, n)| n).sum();
        let ends = topic.delivered + lost + topic.had;
        let open = topic.kept_at_end + topic.under_way;
        assert_eq!(topic.copies, ends + open, "{sheet}: {topic:?}");
    }
    for count in &outcome.requests {
        let parts = count.answered + count.unanswered + count.open;
        assert_eq!(count.asked, parts, "{sheet}: {count:?}");
        assert!(count.late <= count.unanswered, "{sheet}: {count:?}");
    }
    for stream in &outcome.streams {
        let lost: u64 = stream.lost.iter().map(|(_, n)| n).sum();
        let parts = stream.delivered + lost + stream.under_way;
        assert_eq!(stream.sent, parts, "{sheet}: {stream:?}");
    }
    for count in &outcome.uplinks {
        let parts = count.sent + count.expired + count.dropped + count.waiting;
        assert_eq!(count.queued, parts, "{sheet}: {count:?}");
    }
    let c = outcome.copies;
    assert_eq!(c.due, c.delivered + c.lost + c.under_way, "{sheet}: {c:?}");
    for bus in &outcome.buses {
        let by_station: u64 = bus.stations.iter().map(|s| s.hit).sum();
        // One may be on the wire at the end.
        assert!(
            by_station <= bus.hit && bus.hit <= by_station + 1,
            "{sheet}: {bus:?}"
        );
    }
}

#[test]
fn verif_the_parts_of_every_example_add_up() {
    let sheets = sheets();
    assert!(sheets.len() >= 8, "{sheets:?}");
    let mut counted = [0; 4];
    for (plan_path, cue_path) in sheets {
        let mut reading = assess::read(&plan_path, &plan::from_disk);
        let cues = plan::read_cues(&cue_path, &reading, &plan::from_disk);
        let (line, cues) = (reading.line.take().unwrap(), cues.cues.unwrap());
        let (outcome, _) = run(&line, &cues);
        add_up(&outcome, &cue_path.display().to_string());
        counted[0] += outcome.topics.iter().map(|t| t.copies).sum::<u64>();
        counted[1] += outcome.requests.iter().map(|q| q.asked).sum::<u64>();
        counted[2] += outcome.streams.iter().map(|s| s.sent).sum::<u64>();
        counted[3] += outcome.uplinks.iter().map(|u| u.queued).sum::<u64>();
    }
    // There is something of each kind to add up.
    assert!(counted.iter().all(|n| *n > 0), "{counted:?}");
}
