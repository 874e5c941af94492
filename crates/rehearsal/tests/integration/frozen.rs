//! What a rehearsal of the small line comes to, frozen: whoever changes it raises [`rehearsal::METHOD`], so that older evidence counts no
//! longer. All rests on it that a rehearsal computes with beside the hearing: sound in the water, network, power and their order in time.

use rehearsal::What;

use crate::support::{line_and_cues, run};

#[test]
fn regress_another_course_of_the_same_night_is_another_method() {
    let (line, cues) = line_and_cues(&[], &[]);
    let (outcome, records) = run(&line, &cues);
    let at_ns: u64 = records.iter().fold(0, |sum, r| sum.wrapping_add(r.at.0));
    let mdb = |db: f64| (1000.0 * db).round() as i64;
    let levels_mdb: i64 = records
        .iter()
        .map(|r| match &r.what {
            What::Arrives {
                level_db_re_1upa, ..
            } => mdb(*level_db_re_1upa),
            What::Event { event, .. } => mdb(event.peak_level_db),
            _ => 0,
        })
        .sum();
    let millis = |all: &[f64]| -> i64 { all.iter().map(|x| (1000.0 * x).round() as i64).sum() };
    let voltages_v: Vec<f64> = outcome.voltages_v.iter().flat_map(|v| [v.0, v.1]).collect();
    let sent: u64 = outcome.uplinks.iter().map(|u| u.sent).sum();
    assert_eq!(
        (
            rehearsal::METHOD,
            (records.len(), at_ns, levels_mdb),
            (millis(&voltages_v), millis(&outcome.supply_energy_j)),
            (sent, outcome.copies.delivered)
        ),
        (
            8,
            (57, 3_076_918_413_186, 406_353),
            (144_000, 782_790),
            (2, 2)
        ),
        "the same night comes to something else: raise `rehearsal::METHOD` and freeze the new figures"
    );
}
