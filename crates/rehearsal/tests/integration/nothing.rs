//! What does not happen leaves a record of why; so does a voltage that a module does not bear.

use rehearsal::{KeptBack, Record, Refusal, What};
use timeline::Ns;

use crate::support::{lamp_times, line_and_cues, run};

fn refused(records: &[Record], wanted: Refusal) -> Vec<&Record> {
    records
        .iter()
        .filter(|r| matches!(r.what, What::Refused { why, .. } if why == wanted))
        .collect()
}

/// A behaviour at intervals whose module is without power is told once for each time that the module stops, with what stopped
/// it as the cause; one that hears nothing because its module is down has nothing to be told of.
#[test]
fn verif_a_behaviour_of_a_module_that_is_down_is_told_once_for_each_stop() {
    let (line, cues) = line_and_cues(
        &[("when_heard = \"detector.call.confirmed\"", "each = \"1 s\"")],
        &[(
            "[fault.outage]",
            "[fault.again]\nkind = \"cut\"\nof = \"span.cable\"\nat = \"110 s\"\n\n[fault.outage]",
        )],
    );
    let (_, records) = run(&line, &cues);
    let told = refused(&records, Refusal::NotWorking);
    let tell = KeptBack::Behaviour(plan::BehaviourIx(1));
    assert_eq!(line.behaviours[1].id, "tell");
    let down: Vec<&Record> = records
        .iter()
        .filter(|r| matches!(r.what, What::Down { module, .. } if module.0 == 1))
        .collect();
    assert_eq!((told.len(), down.len()), (2, 2), "{told:?}");
    for (told, down) in told.iter().zip(down) {
        assert!(matches!(told.what, What::Refused { what, .. } if what == tell));
        assert_eq!(told.parent, Some(down.id));
    }
    let at_s = |record: &Record| record.at.as_s_f64();
    assert_eq!((at_s(told[0]), at_s(told[1])), (91.0, 111.0));
}

/// An input over its topic's limit, and one of a module that is dead, say so.
#[test]
fn verif_an_input_that_is_kept_back_says_why() {
    let input = |id: &str, at: &str| {
        format!(
            "[input.{id}]\nat = \"{at}\"\nmodule = \"module.ear\"\npublish = \"alert/call\"\n\n"
        )
    };
    let inputs = format!(
        "{}{}{}[fault.outage]",
        input("a", "3 s"),
        input("b", "4 s"),
        input("c", "95 s")
    );
    let (line, cues) = line_and_cues(
        &[("at_most = \"10 per min\"", "at_most = \"1 per min\"")],
        &[("[fault.outage]", &inputs)],
    );
    let (_, records) = run(&line, &cues);
    let kept = |why| -> Vec<usize> {
        refused(&records, why)
            .iter()
            .filter_map(|r| match r.what {
                What::Refused {
                    what: KeptBack::Input(i),
                    ..
                } => Some(i),
                _ => None,
            })
            .collect()
    };
    assert_eq!(kept(Refusal::Topic), [1]);
    assert_eq!(kept(Refusal::NotWorking), [2]);
    let third = refused(&records, Refusal::NotWorking)[0];
    let cause = records.iter().find(|r| Some(r.id) == third.parent).unwrap();
    assert!(matches!(cause.what, What::Down { .. }));
}

/// A lamp that is to be on and is on already says that it stays so, and goes off its time after the last switching.
#[test]
fn verif_a_lamp_that_is_switched_again_stays_on_for_its_time() {
    let (line, cues) = line_and_cues(&[], &[("at = \"50 s\"", "at = \"30 s\"")]);
    let (_, records) = run(&line, &cues);
    let stays: Vec<&Record> = records
        .iter()
        .filter(|r| matches!(r.what, What::Stays { on: true, .. }))
        .collect();
    assert_eq!(stays.len(), 1);
    assert_eq!(lamp_times(&records, true).len(), 1);
    assert_eq!(
        lamp_times(&records, false),
        [Ns(stays[0].at.0 + 20_000_000_000)]
    );
    let off = records
        .iter()
        .find(|r| matches!(r.what, What::Switched { on: false, .. }))
        .unwrap();
    assert_eq!(off.parent, Some(stays[0].id));
}

/// Both modules bear 56 V. Whatever settles later, each is told once of what it has too much of.
#[test]
fn verif_a_voltage_above_the_highest_is_told_once_of_each_module() {
    let over = |voltage: &str| {
        let voltage = format!("voltage = \"{voltage}\"");
        let (line, cues) = line_and_cues(&[("voltage = \"48 V\"", &voltage)], &[]);
        let (_, records) = run(&line, &cues);
        let settled = |r: &&Record| matches!(r.what, What::Settled { .. });
        assert!(records.iter().filter(settled).count() > 4);
        records
            .iter()
            .filter_map(|r| match r.what {
                What::OverVoltage {
                    module,
                    voltage_v,
                    highest_v,
                } => Some((module.0, voltage_v, highest_v)),
                _ => None,
            })
            .collect::<Vec<_>>()
    };
    assert!(over("48 V").is_empty());
    // The base sits at the supply, whose resistance is nothing.
    assert_eq!(over("56 V"), []);
    let both = over("60 V");
    assert_eq!(both.len(), 2);
    assert_eq!(both[0], (0, 60.0, 56.0));
    assert!(both[1].0 == 1 && both[1].1 > 56.0 && both[1].1 < 60.0);
}
