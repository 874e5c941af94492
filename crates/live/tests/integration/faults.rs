//! A broker that ends and comes again, and one that takes nothing for a while.

use std::cell::RefCell;
use std::collections::BTreeSet;
use std::io::{Read, Write};
use std::time::{Duration, Instant};

use live::{LinkError, Message};

use crate::broker::{Broker, Proxy};
use crate::client::Client;
use crate::line::{How, PREFIX, Ran, cue_text, link_as, live, offline, plan_text, read};
use crate::mirror::is_end;

/// All that was to be told was told or is counted.
fn all_is_accounted_for(ran: &Ran) {
    let counts = ran.counts();
    assert!(
        counts.told + counts.not_told() >= ran.lived.mirrored + 2,
        "{:?}",
        ran.lived
    );
}

/// The broker ends at 8 s and is there again at 16 s of a rehearsal of 40 s.
fn with_a_break(wait: bool) -> (Ran, Vec<String>) {
    let broker = RefCell::new(Broker::start().unwrap());
    let (line, cues) = read(&plan_text(), &cue_text(40));
    let port = broker.borrow().port;
    let ear = RefCell::new(None);
    let mut stage = 0;
    let begun = Instant::now();
    let mut since = begun;
    let mut during = |at_s: f64| match stage {
        0 if at_s > 8.0 => {
            broker.borrow_mut().kill();
            since = Instant::now();
            stage = 1;
        }
        1 if since.elapsed() > Duration::from_millis(1200) => {
            broker.borrow_mut().again();
            let mut client = Client::connect(port, "ear");
            client.subscribe(&format!("{PREFIX}/#"));
            *ear.borrow_mut() = Some(client);
            stage = 2;
        }
        _ => {}
    };
    let how = How {
        speed: 8.0,
        wait,
        ..How::default()
    };
    let ran = live(&line, &cues, &how, port, &mut during).unwrap();
    let heard = ear.borrow_mut().as_mut().unwrap().until(is_end);
    let (_, records) = offline(&line, &cues);
    assert_eq!(
        ran.records, records,
        "what is told changes nothing of what happens"
    );
    let numbers = heard
        .iter()
        .filter(|h| h.topic.contains("/published/"))
        .map(|h| h.property("message").unwrap().to_owned());
    (ran, numbers.collect())
}

#[test]
fn verif_a_break_loses_nothing_and_the_rehearsal_goes_on() {
    let Some(broker) = Broker::start() else {
        return;
    };
    drop(broker);
    let (ran, numbers) = with_a_break(false);
    assert_eq!(ran.counts().breaks, 1, "{:?}", ran.lived);
    assert!(ran.told.iter().any(|t| t.starts_with("Broke")));
    assert!(ran.told.iter().any(|t| t.starts_with("Back")));
    assert_eq!(ran.lived.held, Duration::ZERO);
    assert_eq!(ran.counts().not_told(), 0, "{:?}", ran.lived);
    all_is_accounted_for(&ran);
    // 19 beats; those from 10 s on were not acknowledged before the break. The broker forgets what it had: the ear hears these alone.
    let different: BTreeSet<&String> = numbers.iter().collect();
    assert!(different.len() >= 15, "{numbers:?}");
}

#[test]
fn verif_a_rehearsal_may_wait_for_the_broker() {
    let Some(broker) = Broker::start() else {
        return;
    };
    drop(broker);
    let (ran, numbers) = with_a_break(true);
    assert!(
        ran.lived.held > Duration::from_millis(800),
        "{:?}",
        ran.lived
    );
    assert!(ran.lived.latest < Duration::from_secs(5), "{:?}", ran.lived);
    assert_eq!(ran.counts().not_told(), 0);
    assert!(numbers.len() >= 15, "{numbers:?}");
}

/// A broker that takes nothing: what finds the queue full is counted, the rehearsal goes on, and all is told or accounted for.
#[test]
fn verif_a_slow_broker_holds_nothing_up_and_what_is_not_mirrored_is_counted() {
    let Some(broker) = Broker::start() else {
        return;
    };
    let proxy = Proxy::before(&broker);
    let beats = plan_text().replace("each = \"2 s\"", "each = \"20 ms\"");
    let (line, cues) = read(&beats, &cue_text(30));
    let how = How {
        speed: 10.0,
        queue: 50,
        ..How::default()
    };
    let mut during = |at_s: f64| proxy.stall((5.0..20.0).contains(&at_s));
    let ran = live(&line, &cues, &how, proxy.port, &mut during).unwrap();
    let (_, records) = offline(&line, &cues);
    assert_eq!(ran.records.len(), records.len());
    let counts = ran.counts();
    // 1500 messages come in the 15 s of the stall; the queue holds 50, and at most 64 are on their way.
    assert!(counts.queue_full > 1000, "{:?}", ran.lived);
    assert!(counts.told > 1000, "{:?}", ran.lived);
    assert_eq!((counts.left, counts.breaks), (0, 0), "{:?}", ran.lived);
    assert!(
        ran.told.iter().any(|t| t.starts_with("Full")),
        "{:?}",
        ran.told
    );
    all_is_accounted_for(&ran);
}

/// The same broker, and a rehearsal that waits for it: everything is mirrored.
#[test]
fn verif_a_rehearsal_that_waits_for_a_slow_broker_mirrors_everything() {
    let Some(broker) = Broker::start() else {
        return;
    };
    let proxy = Proxy::before(&broker);
    let beats = plan_text().replace("each = \"2 s\"", "each = \"20 ms\"");
    let (line, cues) = read(&beats, &cue_text(20));
    let how = How {
        speed: 10.0,
        wait: true,
        queue: 200,
        ..How::default()
    };
    let begun = Instant::now();
    let stalled = Duration::from_millis(300)..Duration::from_millis(1500);
    let mut during = |_: f64| proxy.stall(stalled.contains(&begun.elapsed()));
    let ran = live(&line, &cues, &how, proxy.port, &mut during).unwrap();
    let (_, records) = offline(&line, &cues);
    assert_eq!(ran.records.len(), records.len());
    assert!(
        ran.lived.held > Duration::from_millis(300),
        "{:?}",
        ran.lived
    );
    assert_eq!(ran.counts().not_told(), 0, "{:?}", ran.lived);
    all_is_accounted_for(&ran);
}

/// Where nobody listens, and where somebody listens who speaks no MQTT.
#[test]
fn verif_no_broker_is_an_error_that_says_where() {
    let silent = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let silent_port = silent.local_addr().unwrap().port();
    let free = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let free_port = free.local_addr().unwrap().port();
    drop(free);
    for port in [free_port, silent_port] {
        let error = link_as(port, 1, None, Duration::from_millis(700)).err();
        let told = error.as_ref().map(ToString::to_string).unwrap_or_default();
        assert!(matches!(error, Some(LinkError::Connect { .. })), "{told}");
        assert!(told.contains(&format!("tcp://127.0.0.1:{port}")), "{told}");
    }
}

/// What a server says that is no broker, or one that refuses for good or for now (OASIS MQTT 5.0, section 3.2.2.2: 0x87 not authorized, 0x84 unsupported protocol
/// version, 0x89 server busy).
#[test]
fn verif_what_a_server_says_is_told_in_words() {
    let refused = |code: u8| vec![0x20, 3, 0, code, 0];
    for (answer, final_at_once, says) in [
        (refused(0x87), true, "not authorized"),
        (refused(0x84), true, "it does not speak MQTT 5"),
        (refused(0x89), false, "server busy"),
        (b"HTTP/1.1 400 Bad\r\n\r\n".to_vec(), false, "no MQTT 5"),
        (Vec::new(), false, "it ended the connection"),
    ] {
        let listener = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
        let port = listener.local_addr().unwrap().port();
        std::thread::spawn({
            let answer = answer.clone();
            move || {
                for client in listener.incoming() {
                    let mut client = client.unwrap();
                    let mut asked = [0; 1024];
                    drop(client.read(&mut asked));
                    drop(client.write_all(&answer));
                }
            }
        });
        let begun = Instant::now();
        let within = Duration::from_secs(if final_at_once { 60 } else { 2 });
        let error = link_as(port, 1, None, within).err().unwrap();
        assert_eq!(begun.elapsed() < within, final_at_once, "{error}");
        assert_eq!(
            matches!(error, LinkError::Connect { .. }),
            !final_at_once,
            "{error}"
        );
        assert!(error.to_string().contains(says), "{error}");
    }
}

/// A broker with users: without the password no link, with it one; what it does not let the link write is counted.
#[test]
fn verif_a_login_opens_the_broker_and_what_it_forbids_is_counted() {
    let closed = format!("{PREFIX}/delivered");
    let Some(broker) = Broker::with_a_login(&closed) else {
        return;
    };
    for login in [None, Some(("bench", "guess")), Some(("nobody", "s3cret"))] {
        // A refusal is final: nobody waits for a minute.
        let error = link_as(broker.port, 1, login, Duration::from_secs(60)).err();
        let user = login.map(|(user, _)| user);
        assert!(
            matches!(&error, Some(LinkError::Login { user: said, .. }) if said.as_deref() == user),
            "{error:?}"
        );
        let told = error.map(|e| e.to_string()).unwrap_or_default();
        assert!(told.ends_with("not authorized"), "{login:?}: {told}");
        assert!(!told.contains("guess"), "{told}");
    }
    let mut link = link_as(
        broker.port,
        10,
        Some(("bench", "s3cret")),
        Duration::from_secs(10),
    )
    .unwrap();
    for place in [
        "published/mid/alert",
        "delivered/mid/alert",
        "delivered/far/alert",
    ] {
        link.tell(Message {
            topic: format!("{PREFIX}/{place}").into_bytes(),
            payload: vec![1],
            content_type: None,
            properties: Vec::new(),
            response_topic: None,
            correlation: None,
            retained: false,
        });
    }
    let counts = link.close(Duration::from_secs(10), None, &mut |_| {});
    assert_eq!(
        (counts.told, counts.not_allowed, counts.left),
        (1, 2, 0),
        "{counts:?}"
    );
}
