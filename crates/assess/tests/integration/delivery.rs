//! Retries and requests: what goes back, against its sums.

use assess::{Check, Known, Shelf, Verdict, Word, check};

use crate::support::{changed, checked, close, known, read, requirement};

const RATE_BPS: f64 = 10e6;
/// Preamble, delimiter, header, check and gap of Ethernet (IEEE 802.3): 38 bytes; IPv6 40 (RFC 8200), UDP 8 (RFC 768).
const OVERHEAD_B: f64 = 86.0;
/// 100 m at 5 ns/m, and 100 us of processing.
const STILL_S: f64 = 500e-9 + 100e-6;

fn frame_s(payload_b: f64) -> f64 {
    8.0 * (payload_b + OVERHEAD_B) / RATE_BPS
}

fn with_retry(after: &str, acknowledgement: &str) -> Check {
    let retry = format!(
        "size = \"100 B\"\ndelivery = \"at-least-once\"\nretry = {{ after = \"{after}\", at_most = 3, acknowledgement = \"{acknowledgement}\" }}"
    );
    let hour = ("at_most = \"10 per min\"", "at_most = \"1 per h\"");
    checked(&[hour, ("size = \"100 B\"", &retry)])
}

/// The acknowledgements are larger than the messages: they make the busier direction.
#[test]
fn val_acknowledgements_load_the_way_back() {
    let check = with_retry("1 s", "1000 B");
    let load = known(&check, "links");
    close(load.value.value, 100.0 * frame_s(1000.0) / 3600.0, 1e-12);
    assert!(
        load.why
            .contains("acknowledgements of alert/call by module.base"),
        "{}",
        load.why
    );
}

/// What tells a repeat is carried: 3 bytes more of a size that says so, none of one that holds it, which is told as assumed; 8 bits of number and 4 of starts make two bytes of a flag's one.
#[test]
fn val_number_and_count_of_starts_are_carried() {
    let with = |payload: &str| {
        let hour = ("at_most = \"10 per min\"", "at_most = \"1 per h\"");
        let terms = "delivery = \"at-least-once\"\nretry = { after = \"1 s\", at_most = 3, acknowledgement = \"1 B\" }";
        checked(&[hour, ("size = \"100 B\"", &format!("{payload}\n{terms}"))])
    };
    for (payload, bytes) in [
        ("size = \"100 B\"\nnumbering = \"3 B\"", 103.0),
        ("size = \"100 B\"\nnumbering = \"0 B\"", 100.0),
        ("size = \"100 B\"", 100.0),
        (
            "fields = [{ name = \"loud\", flag = true }]\nsequence_bits = 8\nstarts_bits = 4",
            2.0,
        ),
    ] {
        let check = with(payload);
        let load = known(&check, "links").value.value;
        close(load, 100.0 * frame_s(bytes) / 3600.0, 1e-12);
        let assumed = check.assumed.iter().any(|a| a.contains("numbering"));
        assert_eq!(assumed, payload == "size = \"100 B\"", "{payload}");
    }
}

/// Alone on their link neither the message nor its acknowledgement waits; store and forward adds to the bound at most one frame of each, and that
/// acknowledgements may come closer together than messages, by the time that these take, a few bits of one more.
#[test]
fn val_a_retry_waits_for_the_acknowledgement() {
    let check = with_retry("10 ms", "8 B");
    let Known { value, margin, .. } = known(&check, "retry");
    let least = frame_s(100.0) + frame_s(8.0) + 2.0 * STILL_S;
    assert!(value.value >= least && value.value <= least + frame_s(100.0) + 1.01 * frame_s(8.0));
    close(margin.value, 10e-3 - value.value, 1e-12);
    assert_eq!(requirement(&check, "retry").word(), Word::Met);
    assert_eq!(
        requirement(&with_retry("0.3 ms", "8 B"), "retry").word(),
        Word::Broken
    );
    // A plan that sends nothing again is not asked.
    assert!(
        checked(&[])
            .standing
            .iter()
            .all(|j| j.id != "retry" && j.id != "request")
    );
}

#[test]
fn val_a_request_is_answered_within_its_time() {
    let of = |within: &str, limit: &str, handler: &str| {
        let text = changed(&[("at_most = \"10 per min\"", "at_most = \"1 per h\"")])
            + &format!(
                "\n[request.level]\nto = \"module.ear\"\nquestion = \"20 B\"\nanswer = \"60 B\"\nwithin = \"{within}\"\npriority = 0\n{limit}"
            )
            + "\n[behaviour.asks]\non = \"module.base\"\nwhen_told = \"alert/#\"\ndo = [{ ask = \"request.level\" }]\n"
            + handler;
        let reading = read(&text);
        assert!(!reading.has_errors(), "{:?}", reading.mistakes);
        check(&reading, &Shelf::default())
    };
    let handler = "\n[behaviour.answers]\non = \"module.ear\"\nwhen_asked = \"request.level\"\ndo = [{ answer = \"request.level\" }]\n";
    let hour = "at_most = \"1 per h\"\n";
    let met = of("20 ms", hour, handler);
    let value = known(&met, "request").value.value;
    let least = frame_s(20.0) + frame_s(60.0) + 2.0 * STILL_S;
    // On the way back a message of the ear may be ahead.
    let most = least + frame_s(20.0) + 2.0 * frame_s(60.0) + 2.0 * frame_s(100.0);
    assert!(value >= least && value <= most, "{least} {value} {most}");
    assert_eq!(requirement(&met, "request").word(), Word::Met);
    assert_eq!(
        requirement(&of("0.3 ms", hour, handler), "request").word(),
        Word::Broken
    );
    let why = |check: &Check| match requirement(check, "request").verdicts[0].clone() {
        Verdict::Unknown { why, .. } => why,
        other => panic!("{other:?}"),
    };
    assert!(why(&of("20 ms", "", handler)).contains("nothing limits questions of request.level"));
    assert!(why(&of("20 ms", hour, "")).contains("no behaviour answers it"));
}
