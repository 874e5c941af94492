//! Stores that fill before the line comes back. The ear's sound is 4000 samples of 16 bit a second, 8000 B/s, all of the time: 1 MB holds 125 s of it.

use assess::{CauseKnown, Check, HoursAsk, Shelf, Word, check, listening_hours};

use crate::support::{changed, close, known, read, requirement};

const CARD: (&str, &str) = ("capacity = \"1 TB\"", "capacity = \"1 MB\"");
const ASKED: (&str, &str) = (
    "[requirement.card]\nthat = \"storage-time\"\nof = \"storage.card\"\n",
    "",
);

fn checked(text: &str) -> Check {
    let reading = read(text);
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    check(&reading, &Shelf::default())
}

#[test]
fn verif_a_store_that_nobody_asks_for_is_checked_all_the_same() {
    let full = checked(&changed(&[CARD, ASKED]));
    let told = known(&full, "storage-room");
    assert!(requirement(&full, "storage-room").is_broken());
    close(told.value.value * 86_400.0, 125.0, 1.5);
    close(told.limit.value, 1.0, 1e-9);
    let large = checked(&changed(&[ASKED]));
    assert_eq!(requirement(&large, "storage-room").word(), Word::Met);
    // What a requirement asks is not judged twice.
    let asked = checked(&changed(&[CARD]));
    assert!(asked.standing.iter().all(|j| j.id != "storage-room"));
    assert!(requirement(&asked, "card").is_broken());
    // A ring of the last minutes is full as it is meant to be.
    let ring = CARD.1.to_owned() + "\ndrop = [\"oldest-recordings\"]";
    let ring = checked(&changed(&[(CARD.0, ring.as_str()), ASKED]));
    assert!(ring.standing.iter().all(|j| j.id != "storage-room"));
}

#[test]
fn verif_hours_do_not_count_a_full_store_as_kept() {
    let path = |text: &str| {
        let reading = read(text);
        let ask = HoursAsk {
            years: Some(1),
            ..HoursAsk::default()
        };
        let line = reading.line.as_ref().unwrap();
        let found = listening_hours(line, &ask, &|_| true).unwrap().unwrap();
        let causes = found.ears[0].causes.iter();
        let mut path = causes.filter(|c| c.cause.word() == "path");
        path.next().unwrap().known.clone()
    };
    assert!(matches!(path(&changed(&[])), CauseKnown::Nothing(_)));
    match path(&changed(&[CARD])) {
        CauseKnown::Unknown(why) => assert!(why.contains("storage.card is full after"), "{why}"),
        other => panic!("{other:?}"),
    }
}
