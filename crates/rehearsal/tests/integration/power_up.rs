//! The whole line comes up: when each module switches on and works, and who learns of whom; beside the start that the power discipline follows.

use assess::input::Contacts;
use plan::ModuleIx;
use rehearsal::{RehearsalError, What};
use timeline::Ns;

use crate::chain::{cue_text, fault, in_a_row, input, line_text, told, topic};
use crate::support::{read, run};

const ON: &str = "begins = \"switched-on\"\n";

/// Three in a row, each of which tells all others what it is; they boot for three, four and nine seconds, the last held off for two.
fn line() -> String {
    let text = line_text(&in_a_row(&["running"; 3]), 300, 100);
    let text = text.replace(
        "maximum = \"56 V\" }",
        "maximum = \"56 V\", capacitance = \"220 uF\", lock_out = { on = \"30 V\", off = \"22 V\" } }",
    );
    let text = text.replace(
        "resistance = \"0 ohm\" }\n\n[traffic]",
        "resistance = \"0.5 ohm\", current_limit = \"2 A\" }\n\n[traffic]",
    );
    let mut parts = text.split("time = \"3 s\"");
    let mut all = parts.next().unwrap().to_owned();
    for (boot, part) in ["3 s\"", "4 s\"", "9 s\""].iter().zip(parts) {
        all += &format!("time = \"{boot}{part}");
    }
    all = all.replace("[module.m2]\n", "[module.m2]\nwakes_after = \"2 s\"\n");
    all + "\n[joining]\nsize = \"200 B\"\npriority = 0\nto = \"all\"\n"
}

#[test]
fn val_modules_come_up_as_the_start_in_time_has_it() {
    let (line, cues) = read(&line(), &(cue_text(30, 1) + ON));
    let (outcome, records) = run(&line, &cues);
    let start = assess::start(&line, Contacts::New, None).unwrap();
    let when = |is: &dyn Fn(&What) -> bool| -> f64 {
        let mut all = records.iter().filter(|r| is(&r.what));
        let at = all.next().unwrap().at.as_s_f64();
        assert!(all.next().is_none());
        at
    };
    for (m, module) in start.modules.iter().enumerate() {
        let boots = when(&|w| matches!(w, What::Boots { module } if module.0 == m));
        let up = when(&|w| matches!(w, What::Up { module } if module.0 == m));
        assert!((boots - module.switched_on_s[0]).abs() < 1e-8, "{m}");
        assert!((up - module.booted_s.unwrap()).abs() < 1e-8, "{m}");
    }
    // Held off for two seconds and booting for nine, the last is the last.
    let last = when(&|w| matches!(w, What::Up { module } if module.0 == 2));
    assert!((11.0..11.1).contains(&last), "{last}");
    assert!((last - start.ready_s.unwrap()).abs() < 1e-8);
    assert_eq!(outcome.restarts, [0, 0, 0]);
    assert!(
        !records
            .iter()
            .any(|r| matches!(r.what, What::Down { .. } | What::Collapsed { .. }))
    );
    // The voltages of the line at work, not of one that comes up.
    assert!(
        outcome.voltages_v.iter().all(|v| v.0 > 47.0 && v.1 <= 48.0),
        "{:?}",
        outcome.voltages_v
    );
}

/// Before the line has come up no voltage is at rest, and nothing is shown of what it should be.
#[test]
fn verif_a_voltage_that_is_not_known_yet_shows_nothing() {
    let watch = |id: &str, from: &str, until: &str| {
        format!(
            "\n[expect.{id}]\nthat = \"voltage\"\nof = \"module.m1\"\nat_least = \"40 V\"\nfrom = \"{from}\"\nuntil = \"{until}\"\n"
        )
    };
    let sheet = cue_text(30, 1)
        + ON
        + &watch("early", "1 s", "3 s")
        + &watch("half", "1 s", "20 s")
        + &watch("late", "20 s", "25 s");
    let (line, cues) = read(&line(), &sheet);
    let (outcome, _) = run(&line, &cues);
    let told: Vec<(&str, bool, bool)> = outcome
        .expectations
        .iter()
        .map(|e| {
            (
                e.id.as_str(),
                e.passed,
                e.said.starts_with("not known from 1.0000 s to"),
            )
        })
        .collect();
    assert_eq!(
        told,
        [
            ("early", false, true),
            ("half", false, true),
            ("late", true, false)
        ]
    );
}

/// A packet of 200 B: 286 bytes of 0.8 us, 500 ns, and 100 us of processing each hop. The first to come up tells nobody, for nobody else is there; the last is learnt of by both.
#[test]
fn verif_who_learns_of_whom() {
    let (line, cues) = read(&line(), &(cue_text(30, 1) + ON));
    let (outcome, _) = run(&line, &cues);
    let hop = 228_800 + 500 + 100_000;
    let seen: Vec<(usize, usize, Option<u64>)> = outcome
        .acquaintances
        .iter()
        .map(|a| (a.of.0, a.by.0, a.learnt.map(|l| l.1.0)))
        .collect();
    assert_eq!(
        seen,
        [
            (0, 1, None),
            (0, 2, None),
            (1, 0, Some(hop)),
            (1, 2, None),
            (2, 0, Some(2 * hop)),
            (2, 1, Some(hop)),
        ]
    );
    let learnt = outcome
        .acquaintances
        .iter()
        .filter_map(|a| a.learnt.zip(a.bound));
    let held: Vec<bool> = learnt.map(|((_, way), bound)| way <= bound).collect();
    assert_eq!(held, [true; 3], "{:?}", outcome.acquaintances);
    let missed: Vec<u64> = outcome.joins.iter().map(|j| j.missed).collect();
    assert_eq!(missed, [2, 1, 0]);
}

/// What is to be published while its module boots is refused, and comes once it works.
#[test]
fn verif_nobody_speaks_before_it_works() {
    let plan = line() + &topic("t") + &told("h", 0, "t", "{ log = \"told\" }");
    let cues = cue_text(30, 1) + ON + &input("early", 5.0, 2, "t") + &input("late", 20.0, 2, "t");
    let (line, cues) = read(&plan, &cues);
    let (outcome, records) = run(&line, &cues);
    assert_eq!(
        (outcome.topics[0].published, outcome.topics[0].delivered),
        (1, 1)
    );
    let refused = records
        .iter()
        .find(|r| matches!(r.what, What::Refused { .. }))
        .unwrap();
    assert_eq!(refused.at, Ns(5_000_000_000));
}

/// A line that does not start, and a fault in a start, are refused with their reasons.
#[test]
fn verif_a_start_that_is_none_is_refused() {
    let refused = |plan: &str, cues: &str| {
        let (line, cues) = read(plan, cues);
        rehearsal::run(&line, &cues, &mut |_| {}, &mut |_| true).unwrap_err()
    };
    // Booting takes 2 W each of a supply that gives 1.4 W.
    let weak = line().replace("current_limit = \"2 A\"", "current_limit = \"0.03 A\"");
    let why = refused(&weak, &(cue_text(30, 1) + ON));
    assert!(matches!(why, RehearsalError::DoesNotStart { .. }), "{why}");
    let early = fault("saw", "cut", "span.s1", 5.0, 6.0);
    let why = refused(&line(), &(cue_text(30, 1) + ON + &early));
    assert!(why.to_string().contains("fault.saw begins before"), "{why}");
    // After it the rules go on: a cut at 20 s takes the power of the two behind it.
    let (line, cues) = read(
        &line(),
        &(cue_text(40, 1) + ON + &fault("saw", "cut", "span.s1", 20.0, 21.0)),
    );
    let (outcome, records) = run(&line, &cues);
    let down = records.iter().filter(|r| {
        matches!(
            r.what,
            What::Down {
                module: ModuleIx(1 | 2),
                ..
            }
        )
    });
    assert_eq!((down.count(), outcome.restarts), (2, vec![0, 1, 1]));
}
