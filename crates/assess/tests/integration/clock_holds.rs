//! A clock that is good for less than the time between two exchanges: good for some of each interval, whatever has power.

use assess::{CauseKnown, HoursAsk, listening_hours};

use crate::support::{changed, read};

fn clock(holds: &str) -> CauseKnown {
    let clock = format!("[module.ear]\nclock = {{ drift = \"2 ppm\", holds = \"{holds}\" }}\n");
    let text = changed(&[("[module.ear]\n", clock.as_str())])
        + "[time-sync]\nmaster = \"module.base\"\nevery = \"64 s\"\ntimestamps = \"wire\"\njitter = \"20 us\"\nsize = \"48 B\"\npriority = 0\n";
    let reading = read(&text);
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    let ask = HoursAsk {
        years: Some(1),
        ..HoursAsk::default()
    };
    let line = reading.line.as_ref().unwrap();
    let found = listening_hours(line, &ask, &|_| true).unwrap().unwrap();
    let mut causes = found.ears[0].causes.iter();
    let of = causes.find(|c| c.cause.word() == "clock").unwrap();
    of.known.clone()
}

/// 32 s of each 64 s are half of the time; 64 s are all of it.
#[test]
fn verif_a_clock_that_holds_for_less_than_an_interval_is_not_taken_for_good() {
    match clock("32 s") {
        CauseKnown::Unknown(why) => {
            assert!(why.contains("is good for 32 s after an exchange"), "{why}");
        }
        other => panic!("{other:?}"),
    }
    assert!(matches!(clock("64 s"), CauseKnown::Nothing(_)));
}
