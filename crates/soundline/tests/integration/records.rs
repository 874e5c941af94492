//! One record of each kind that a rehearsal makes, as the trace tells it.

use std::collections::BTreeSet;
use std::path::Path;

use detect::{Ending, Event, EventId, Reason};
use network::{DropReason, MessageId};
use plan::{
    BehaviourIx, DetectorIx, ModuleIx, NoticeKind, OutputIx, SensorIx, SoundIx, SpanIx, TopicIx,
    UplinkIx, VoteIx,
};
use rehearsal::{Collapse, KeptBack, Loss, Record, RecordId, Refusal, Root, What};
use serde_json::Value;
use timeline::Ns;

/// Kinds of records: the number of arms of [`kind`].
const KINDS: usize = 46;

/// The number of a kind. A new kind does not compile here: give it a number, and an example below.
fn kind(what: &What) -> usize {
    match what {
        What::Arrives { .. } => 0,
        What::Noticed { .. } => 1,
        What::Event { .. } => 2,
        What::Dropped { .. } => 3,
        What::Started { .. } => 4,
        What::Refused { .. } => 5,
        What::Published { .. } => 6,
        What::Crossed { .. } => 7,
        What::Delivered { .. } => 8,
        What::Lost { .. } => 9,
        What::Switched { .. } => 10,
        What::Stays { .. } => 11,
        What::Entered { .. } => 12,
        What::Queued { .. } => 13,
        What::Attempt { .. } => 14,
        What::Failed { .. } => 15,
        What::Sent { .. } => 16,
        What::Expired { .. } => 17,
        What::Logged { .. } => 18,
        What::FaultBegins { .. } => 19,
        What::FaultEnds { .. } => 20,
        What::Settled { .. } => 21,
        What::Collapsed { .. } => 22,
        What::OverVoltage { .. } => 23,
        What::Down { .. } => 24,
        What::Hears { .. } => 25,
        What::Deaf { .. } => 26,
        What::Boots { .. } => 27,
        What::Up { .. } => 28,
        What::Together { .. } => 29,
        What::Voted { .. } => 30,
        What::Posted { .. } => 31,
        What::BeyondBound { .. } => 32,
        What::Contact { .. } => 33,
        What::Spent { .. } => 34,
        What::NoRoom { .. } => 35,
        What::CapReached { .. } => 36,
        What::StoreDrops { .. } => 37,
        What::StoreFull { .. } => 38,
        What::Asking { .. } => 39,
        What::Joining { .. } => 40,
        What::Stopped { .. } => 41,
        What::Streaming { .. } => 42,
        What::Set { .. } => 43,
        What::ComesOn => 44,
        What::FailSafe { .. } => 45,
    }
}

/// One record of each kind, on the small line: its detectors are `call` over a background and `loud` of exposure.
pub(crate) fn every_record(plan: &Path, cues: &Path) -> Vec<Value> {
    let mut reading = assess::read(plan, &plan::from_disk);
    let mut sheet = plan::read_cues(cues, &reading, &plan::from_disk)
        .cues
        .unwrap();
    let module = ModuleIx(0);
    let output = OutputIx { module, output: 0 };
    let line = reading.line.as_mut().unwrap();
    line.exclusives.push(plan::Exclusive {
        id: "night".to_owned(),
        at: line.modules[0].at,
        of: vec![plan::ExclusiveMember::Output(output)],
        at_most: 0,
    });
    line.votes.push(plan::Vote {
        id: "both".to_owned(),
        at: line.modules[0].at,
        on: module,
        of: vec![DetectorIx(0), DetectorIx(1)],
        at_least: 2,
        within_s: None,
        hold_off_s: line.detectors[0].hold_off_s().unwrap(),
    });
    let quantity = line.detectors[0].hold_off_s().unwrap();
    line.streams.push(plan::Stream {
        id: "raw".to_owned(),
        at: line.modules[0].at,
        from: module,
        sensor: None,
        to: module,
        rate_bps: quantity,
        packet_bytes: 1,
        burst: 1,
        priority: 1,
        within_s: None,
        in_state: None,
    });
    line.requests.push(plan::Request {
        id: "depth".to_owned(),
        at: line.modules[0].at,
        to: module,
        question: plan::Payload::Size(1),
        answer: plan::Payload::Size(2),
        within_s: line.detectors[0].hold_off_s().unwrap(),
        priority: 1,
        at_most: None,
    });
    line.storages.push(plan::Storage {
        id: "card".to_owned(),
        at: line.modules[0].at,
        module,
        capacity_bytes: plan::Q {
            si: 1e9,
            law: None,
            at: line.modules[0].at,
        },
        keep_free: None,
        records: Vec::new(),
        cut_s: None,
        cluster_bytes: None,
        logs: None,
        drop: None,
    });
    let line = &*line;
    let (uplink, topic) = (UplinkIx(0), TopicIx(0));
    let message = MessageId(7);
    sheet.inputs.push(plan::InputCue {
        id: "call".to_owned(),
        at: sheet.sounds[0].at,
        at_s: sheet.sounds[0].at_s,
        module,
        topic,
        values: None,
    });
    let detectors = [DetectorIx(0), DetectorIx(1)];
    let event = |detector: DetectorIx| What::Event {
        detector,
        event: Event {
            id: EventId(1),
            begin_sample: 10,
            end_sample: 20,
            peak_sample: 15,
            peak_level_db: 150.5,
            mean_level_db: 149.5,
            background_db: (detector.0 == 0).then_some(90.5),
            score_db: 12.5,
            pulses: None,
            sweep: None,
            intervals: None,
            ending: Ending::Quiet,
        },
    };
    let refused = |what| What::Refused {
        what,
        why: Refusal::NotWorking,
    };
    let all = vec![
        What::Arrives {
            sensor: SensorIx {
                module: ModuleIx(1),
                sensor: 0,
            },
            sound: SoundIx(0),
            repeat: 0,
            closest_range_m: 1500.5,
            level_db_re_1upa: 101.5,
        },
        What::Noticed {
            detector: detectors[0],
            event: 1,
            notice: NoticeKind::Confirmed,
        },
        event(detectors[0]),
        event(detectors[1]),
        What::Dropped {
            detector: detectors[0],
            event: 1,
            reason: Reason::TooShort,
        },
        What::Started {
            behaviour: BehaviourIx(0),
        },
        refused(KeptBack::Behaviour(BehaviourIx(0))),
        refused(KeptBack::Input(0)),
        refused(KeptBack::Answer(0)),
        refused(KeptBack::Fault(0)),
        What::Published {
            module,
            topic,
            message,
            content: None,
        },
        What::Crossed {
            over: assess::input::Carrier::Span(SpanIx(0)),
            to: module,
            message,
            answer: true,
            fragment: 0,
            queued: Ns(1),
            start: Ns(2),
            end: Ns(3),
        },
        What::Delivered {
            module,
            topic,
            message,
            content: None,
            from: ModuleIx(1),
            after: Ns(1500),
            late: Some(false),
        },
        What::BeyondBound {
            module,
            topic,
            message,
            after: Ns(1500),
            bound: Ns(1200),
        },
        What::Contact {
            span: SpanIx(0),
            open: true,
            held_open_by: None,
        },
        What::Spent {
            supply: plan::SupplyIx(0),
        },
        What::Lost {
            module,
            topic,
            message,
            why: Loss::Network(DropReason::LinkDown),
        },
        What::Asking {
            request: plan::RequestIx(0),
            ask: 3,
            module,
            what: rehearsal::AskStep::Returned { after: Ns(4) },
            content: None,
        },
        What::Joining {
            module,
            what: rehearsal::JoinStep::Learnt {
                by: module,
                after: Ns(5),
            },
        },
        What::ComesOn,
        What::Streaming {
            stream: plan::StreamIx(0),
            what: rehearsal::StreamStep::BeyondBound {
                after: Ns(7),
                bound: Ns(6),
            },
        },
        What::Posted {
            module,
            topic,
            message,
            what: network::NoteKind::Missed {
                reason: DropReason::LinkDown,
            },
        },
        What::Switched { output, on: true },
        What::Stays { output, on: true },
        What::FailSafe {
            output,
            what: rehearsal::FailSafeStep::RunsOut {
                silent: Some(module),
            },
        },
        What::Entered { module, state: 0 },
        What::Queued {
            uplink,
            topic,
            message: 7,
            bytes: 20,
            content: None,
        },
        What::Attempt {
            uplink,
            message: 7,
            attempt: 1,
        },
        What::Failed {
            uplink,
            message: 7,
            attempt: 1,
        },
        What::Sent {
            uplink,
            message: 7,
            billed: 1,
        },
        What::Expired { uplink, message: 7 },
        What::NoRoom { uplink, message: 7 },
        What::CapReached { uplink, billed: 3 },
        What::StoreDrops {
            storage: plan::StorageIx(0),
            what: plan::Droppable::Logs,
            bytes: 40.0,
        },
        What::StoreFull {
            storage: plan::StorageIx(0),
        },
        What::Stopped {
            behaviour: BehaviourIx(0),
            line: Some(3),
            column: Some(5),
            why: "enough".to_owned(),
        },
        What::Set {
            detector: DetectorIx(0),
            threshold_db: 9.5,
            hold_off_s: 20.0,
            restored: false,
        },
        What::Logged {
            module,
            text: "a line".to_owned(),
        },
        What::FaultBegins { fault: 0 },
        What::FaultEnds { fault: 0 },
        What::Settled {
            voltages_v: vec![48.5; line.modules.len()],
        },
        What::Collapsed {
            why: Collapse::Powers { share: 0.5 },
            modules: vec![module],
        },
        What::OverVoltage {
            module,
            voltage_v: 60.5,
            highest_v: 56.5,
        },
        What::Down {
            module,
            voltage_v: 1.5,
        },
        What::Voted {
            vote: VoteIx(0),
            detectors: detectors.to_vec(),
        },
        What::Hears {
            detector: detectors[0],
        },
        What::Deaf {
            detector: detectors[0],
        },
        What::Boots { module },
        What::Up { module },
        What::Together {
            exclusive: 0,
            holding: 2,
        },
    ];
    let kinds: BTreeSet<usize> = all.iter().map(kind).collect();
    assert!(kinds.into_iter().eq(0..KINDS), "a kind has no example");
    let root = Some(Root {
        sound: SoundIx(0),
        repeat: 0,
        heard_at: Ns(1),
    });
    let records = (1..).zip(all).map(|(id, what)| Record {
        id: RecordId(id),
        parent: Some(RecordId(id - 1)),
        at: Ns(id),
        root,
        what,
    });
    records
        .map(|record| report::record_json(line, &sheet, &record))
        .collect()
}
