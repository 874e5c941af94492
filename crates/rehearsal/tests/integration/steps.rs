//! A rehearsal that a master steps, and messages from outside.

use std::fmt::Write;

use plan::{CueSheet, Line, ModuleIx, TopicIx};
use proptest::prelude::*;
use rehearsal::{FromOutside, KeptBack, Outcome, Record, Refusal, Steps, What, input_id};
use timeline::Ns;

use crate::support::{line_and_cues, read, run};

/// Steps to each of the instants, hands in what is to enter there, and goes on to the end.
fn stepped(
    line: &Line,
    cues: &CueSheet,
    steps: &[(Ns, Vec<FromOutside>)],
) -> (Outcome, Vec<Record>, Vec<Option<Ns>>) {
    let mut records = Vec::new();
    let mut entered = Vec::new();
    let mut sink = |r: &Record| records.push(r.clone());
    let mut rehearsal = Steps::new(line, cues, &mut sink).unwrap();
    for (at, messages) in steps {
        rehearsal.step_to(*at, &mut |_| true).unwrap();
        for message in messages {
            entered.push(rehearsal.hand_in(message.clone()));
        }
    }
    let end = rehearsal.end();
    rehearsal.step_to(end, &mut |_| true).unwrap();
    assert_eq!(rehearsal.now(), end);
    let outcome = rehearsal.finish();
    (outcome, records, entered)
}

fn lamp(line: &Line) -> FromOutside {
    let ear = line.modules.iter().position(|m| m.id == "ear").unwrap();
    FromOutside {
        module: ModuleIx(ear),
        topic: TopicIx(0),
        values: None,
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 3, ..ProptestConfig::default() })]

    /// Steps cut a rehearsal anywhere: on no instant, on an instant at which something happens, or between.
    #[test]
    fn verif_a_rehearsal_in_steps_is_the_rehearsal_in_one(
        cuts in prop::collection::vec(0u64..130_000_000_000, 0..40),
        at_records in prop::collection::vec(any::<prop::sample::Index>(), 0..10),
    ) {
        let (line, cues) = line_and_cues(&[], &[]);
        let (outcome, records) = run(&line, &cues);
        let mut cuts: Vec<Ns> = cuts.into_iter().map(Ns).collect();
        for index in at_records {
            cuts.push(index.get(&records).at);
        }
        cuts.sort_unstable();
        let steps: Vec<_> = cuts.into_iter().map(|at| (at, Vec::new())).collect();
        let (in_steps, step_records, _) = stepped(&line, &cues, &steps);
        prop_assert_eq!(records, step_records);
        prop_assert_eq!(format!("{outcome:?}"), format!("{in_steps:?}"));
    }
}

/// Each message from outside written as an input of a cue sheet gives the same records without a master.
#[test]
fn verif_messages_from_outside_replay_from_a_cue_sheet() {
    let (line, cues) = line_and_cues(&[], &[]);
    let one = || vec![lamp(&line)];
    let steps = [
        (Ns(12_345_678_901), one()),
        (Ns(30_000_000_000), vec![lamp(&line), lamp(&line)]),
        // During the cut.
        (Ns(95_000_000_007), one()),
        // The ear is down for a while after it.
        (Ns(101_000_000_000), one()),
    ];
    let (outcome, records, entered) = stepped(&line, &cues, &steps);
    let at = |ns| Some(Ns(ns));
    assert_eq!(
        entered,
        [
            at(12_345_678_901),
            at(30_000_000_000),
            at(30_000_000_001),
            at(95_000_000_007),
            at(101_000_000_000)
        ]
    );
    let refused = records.iter().filter_map(|r| match r.what {
        What::Refused {
            what: KeptBack::Input(input),
            why,
        } => Some((input_id(&cues, input), why)),
        _ => None,
    });
    assert_eq!(
        refused.collect::<Vec<_>>(),
        [
            ("outside-000004".to_owned(), Refusal::NotWorking),
            ("outside-000005".to_owned(), Refusal::NotWorking)
        ]
    );
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/data/");
    let text = |name: &str| std::fs::read_to_string(format!("{folder}{name}")).unwrap();
    let mut sheet = text("cues.toml");
    for (i, at) in entered.iter().enumerate() {
        let at_s = at.unwrap().as_s_f64();
        let id = input_id(&cues, i);
        write!(
            sheet,
            "\n[input.{id}]\nat = \"{at_s:.9} s\"\nmodule = \"module.ear\"\npublish = \"alert/call\"\n"
        )
        .unwrap();
    }
    let (line, cues) = read(&text("small.toml"), &sheet);
    let (replayed, replayed_records) = run(&line, &cues);
    assert_eq!(records, replayed_records);
    assert_eq!(format!("{outcome:?}"), format!("{replayed:?}"));
    assert_eq!(input_id(&cues, cues.inputs.len()), "outside-000006");
    // The greatest number that there is has none behind it.
    let sheet = sheet.replace("outside-000005", &format!("outside-{}", usize::MAX));
    let (_, cues) = read(&text("small.toml"), &sheet);
    assert_eq!(cues.inputs.len(), 5);
    assert_eq!(input_id(&cues, 5), "outside-000005");
    assert_eq!(input_id(&cues, 6), "outside-000006");
}

/// What is handed in at the end, or at the instant of an input of the cue sheet.
#[test]
fn verif_a_message_from_outside_has_an_instant_of_its_own_or_none() {
    let input = "[fault.cut]";
    let with_input = format!(
        "[input.own]\nat = \"10 s\"\nmodule = \"module.ear\"\npublish = \"alert/call\"\n{input}"
    );
    let (line, cues) = line_and_cues(&[], &[(input, &with_input)]);
    let ten = Ns(10_000_000_000);
    let mut sink = |_: &Record| {};
    let mut rehearsal = Steps::new(&line, &cues, &mut sink).unwrap();
    rehearsal.step_to(ten, &mut |_| true).unwrap();
    assert_eq!(rehearsal.hand_in(lamp(&line)), Some(Ns(10_000_000_001)));
    assert_eq!(rehearsal.hand_in(lamp(&line)), Some(Ns(10_000_000_002)));
    let end = rehearsal.end();
    rehearsal.step_to(end, &mut |_| true).unwrap();
    assert_eq!(rehearsal.hand_in(lamp(&line)), None);
}
