//! One reading of a voltage against a requirement on every state. The ear draws 2 W over 100 m of 18 AWG from 48 V, and is some hundredths of a volt below them.

use assess::{Check, Ruling, Shelf, check};

use crate::support::{changed, close, known, read, requirement, why_unknown};

fn asked(at_least: &str, value: &str) -> Check {
    let text = changed(&[(
        "[requirement.voltage]\n",
        &format!(
            "[requirement.asked]\nthat = \"voltage\"\nof = \"module.ear\"\nat_least = \"{at_least}\"\nmeasured = {{ value = \"{value}\", by = \"yard\", date = 2026-12-20, document = \"sheet 4\", decides = true }}\n[requirement.voltage]\n"
        ),
    )]);
    let reading = read(&text);
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    check(&reading, &Shelf::default())
}

#[test]
fn verif_one_reading_does_not_mend_a_state_that_is_broken() {
    // Of no state is the calculation above 48 V: 47.999 V is asked, and read once.
    let broken = asked("47.999 V", "48 V");
    let judged = requirement(&broken, "asked");
    assert!(judged.is_broken());
    assert_eq!(judged.verdicts.len(), 2);
    assert!(known(&broken, "asked").value.value < 47.999);
    // What no state breaks the reading decides.
    let decided = asked("40 V", "41 V");
    assert_eq!(requirement(&decided, "asked").verdicts.len(), 1);
    assert_eq!(known(&decided, "asked").ruling, Ruling::Met);
    close(known(&decided, "asked").value.value, 41.0, 1e-9);
}

/// 49 V cannot be read on a line whose one supply gives 48 V.
#[test]
fn verif_more_than_any_supply_gives_was_not_read_there() {
    let why = asked("40 V", "49 V");
    let why = why_unknown(&why, "asked");
    assert!(
        why.contains("no supply of the plan ever gives more than 48 V"),
        "{why}"
    );
}
