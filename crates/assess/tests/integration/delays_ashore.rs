//! Delays to an uplink that little of what is heard ever goes up, or that is off for want of charge.

use assess::{Ruling, Shelf, check, uplinks_ashore};

use crate::support::{checked, close, known};

/// 40 calls a day are expected, and a behaviour sends one in 30 d up: one in 1200. The delay is of that one, and says so.
#[test]
fn verif_a_delay_ashore_says_that_it_is_of_what_is_sent() {
    let of = |at_most: &str| {
        let limit = format!("at_most = \"{at_most}\"");
        checked(&[
            (
                "[detector.call]\n",
                "[detector.call]\nexpects = \"40 per d\"\n",
            ),
            ("at_most = \"12 per d\"", limit.as_str()),
        ])
    };
    let few = of("1 per 30 d");
    let told = known(&few, "shore");
    assert_eq!(told.subject, "detector.call to uplink.shore");
    assert!(told.why.starts_with("of what is sent up: "), "{}", told.why);
    assert!(
        told.why
            .contains("of 40 that are expected, and drops the others"),
        "{}",
        told.why
    );
    let all = of("40 per d");
    assert!(!known(&all, "shore").why.contains("of what is sent up"));
}

/// What is ready in hours in which the uplink is off is not in time: no more than 1 less the largest share of such hours of a month can be.
#[test]
fn verif_an_uplink_that_is_off_brings_nothing_ashore_in_time() {
    let path = truth::in_repository("plans/harrow-sound/plan.toml");
    let plan = std::fs::read_to_string(&path).unwrap();
    let cut = plan.find("# What must hold.").unwrap();
    let uplink = "expiry = \"2 h\"\n";
    assert!(plan[..cut].contains(uplink));
    let text = plan[..cut].replace(uplink, "expiry = \"2 h\"\noff_below = \"90 %\"\n")
        + "[requirement.prompt]\nthat = \"delay\"\nfrom = \"detector.upcall-upper.confirmed\"\nto = \"uplink.shore\"\nat_most = \"10 min\"\nshare = \"90 %\"\n";
    let reading = assess::read(&path, &|file| match file == path {
        true => Ok(text.as_bytes().to_vec()),
        false => plan::from_disk(file),
    });
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    let line = reading.line.as_ref().unwrap();
    let months = uplinks_ashore(line).remove(0).unwrap().months;
    // In the water from 15 March to December at the latest, both slips counted.
    let off = months[2..].iter().map(|m| m.off_share);
    let off = off.fold(0.0, f64::max);
    assert!(off > 0.1, "{off}");
    let check = check(&reading, &Shelf::default());
    let told = known(&check, "prompt");
    assert_eq!(told.ruling, Ruling::Broken);
    close(told.value.value, 100.0 * (1.0 - off), 1e-9);
    close(told.limit.value, 90.0, 1e-9);
}
