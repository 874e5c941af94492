//! Exclusive groups: what the plan says cannot happen together, and what the rehearsal sees of it.

use rehearsal::What;

use crate::support::{line_and_cues, run};

/// Holdings that are told, with their times, s.
fn told(group: &str) -> Vec<(f64, u32)> {
    let with_group = format!("{group}\n[module.base]");
    let (line, cues) = line_and_cues(&[("[module.base]", &with_group)], &[]);
    let (_, records) = run(&line, &cues);
    records
        .iter()
        .filter_map(|r| match r.what {
            What::Together {
                exclusive: 0,
                holding,
            } => Some((r.at.as_s_f64(), holding)),
            _ => None,
        })
        .collect()
}

/// The lamp goes on for each of the two calls, near 21 s and 51 s, for 20 s, while the ear listens all the time: told at each of
/// the two, once.
#[test]
fn verif_a_broken_group_is_told_each_time_that_it_breaks() {
    let told = told(
        "[exclusive.night]\nof = [{ output = \"module.base.output.lamp\" }, { module = \"module.ear\", state = \"listening\" }]\nat_most = 1",
    );
    assert_eq!(told.len(), 2, "{told:?}");
    assert!(told.iter().all(|(_, holding)| *holding == 2), "{told:?}");
    assert!(
        (20.0..25.0).contains(&told[0].0) && (50.0..55.0).contains(&told[1].0),
        "{told:?}"
    );
}

/// The base never does two things at once: nothing is told.
#[test]
fn verif_a_group_that_holds_is_not_told() {
    let told = told(
        "[exclusive.base]\nof = [{ module = \"module.base\", state = \"idle\" }, { module = \"module.base\", state = \"sending\" }]\nat_most = 1",
    );
    assert!(told.is_empty(), "{told:?}");
}
