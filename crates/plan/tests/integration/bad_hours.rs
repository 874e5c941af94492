//! Tides, fairing, heave and hearing that cannot be.

use plan::{Listeners, That, Tides};

use crate::support::{Files, SMALL, bad, changed};

const VOLTS: &str = "that = \"voltage\"\nof = \"module.upper\"\nat_least = \"12 V\"";
const TOPIC: &str = "[topic.\"alert/call\"]";
const UPPER: &str = "loads = { listening = \"0.5 W\" }\n";

bad! {
    strongest_at_an_odd_tide: TOPIC => "[case.spring]\nstrongest_at = \"spring\"\n[topic.\"alert/call\"]";
    strum_without_a_limit: VOLTS => "that = \"strum-hours\"";
    strum_by_a_share: VOLTS => "that = \"strum-hours\"\nat_most = \"20 %\"";
    hearing_without_a_share_of_years: VOLTS => "that = \"listening-share\"\nat_least = \"90 %\"";
    hearing_of_one_and_of_several: VOLTS => "that = \"listening-share\"\nat_least = \"90 %\"\nshare = \"90 %\"\nof = \"module.upper.sensor.ear\"\nhydrophones = 1";
    hearing_of_more_than_there_are: VOLTS => "that = \"listening-gap\"\nat_most = \"6 h\"\nshare = \"90 %\"\nhydrophones = 7";
    hearing_of_a_module: VOLTS => "that = \"listening-gap\"\nat_most = \"6 h\"\nshare = \"90 %\"\nof = \"module.upper\"";
    heave_by_a_time: VOLTS => "that = \"heave-overload\"\nat_most = \"6 h\"";
    clock_that_holds_for_a_length: UPPER => "loads = { listening = \"0.5 W\" }\nclock = { drift = \"2 ppm\", holds = \"2 m\" }\n";
}

#[test]
fn verif_hearing_resolves_to_what_it_says() {
    let text = changed(
        SMALL,
        VOLTS,
        "that = \"listening-gap\"\nat_most = \"6 h\"\nshare = \"90 %\"\nhydrophones = 1\nconfidence = \"90 %\"",
    );
    let text = changed(
        &text,
        TOPIC,
        "[case.neap]\nstrongest_at = \"neaps\"\n[case.spring]\nstrongest_at = \"springs\"\n[topic.\"alert/call\"]",
    );
    let reading = Files::one(text).read();
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    let line = reading.line.unwrap();
    let found = line.requirements.iter().find_map(|r| match &r.that {
        That::ListeningGap { of, at_most_s, .. } => Some((*of, at_most_s.si)),
        _ => None,
    });
    assert_eq!(found, Some((Listeners::AtOnce(1), 21_600.0)));
    let tides: Vec<Option<Tides>> = line.cases.iter().map(|c| c.strongest_at).collect();
    assert_eq!(tides, [Some(Tides::Neaps), Some(Tides::Springs)]);
}
