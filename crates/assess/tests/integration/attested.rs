//! Requirements that rest on a document, a calibration's date or a measured value. Days between dates: Python 3, `datetime.date`.

use assess::{
    Evidence, Known, Ruling, Shelf, Status, Support, Verdict, Word, check, evidence_table,
};

use crate::support::{changed, close, good, known, read, requirement, why_unknown};

/// From 1 January 2027 with 10 d of slip, for 100 d and 20 d more: the latest recovery is on 11 May 2027, the latest start on 11 January.
const DATES: (&str, &str) = (
    "duration = \"1 d\"",
    "duration = \"100 d\"\nstart_slip = \"10 d\"\nrecovery_slip = \"20 d\"",
);

fn with(requirement: &str) -> String {
    changed(&[
        DATES,
        (
            "[requirement.voltage]\n",
            &format!("[requirement.asked]\n{requirement}\n\n[requirement.voltage]\n"),
        ),
    ])
}

#[track_caller]
fn asked(text: &str) -> Known {
    let reading = read(text);
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    known(&check(&reading, &Shelf::default()), "asked").clone()
}

fn permit(dates: &str) -> String {
    with(&format!(
        "that = \"attested\"\nattested = {{ document = \"permit 7\", by = \"harbour office\", {dates} }}"
    ))
}

#[test]
fn val_a_document_holds_from_the_planned_start_to_the_latest_recovery() {
    for (dates, value_d, ruling) in [
        // (date(2027, 6, 1) - date(2027, 5, 11)).days
        ("date = 2026-11-01, expires = 2027-06-01", 21.0, Ruling::Met),
        (
            "date = 2026-11-01, expires = 2027-05-12",
            1.0,
            Ruling::Marginal,
        ),
        (
            "date = 2026-11-01, expires = 2027-05-11",
            0.0,
            Ruling::Marginal,
        ),
        (
            "date = 2026-11-01, expires = 2027-05-10",
            -1.0,
            Ruling::Broken,
        ),
        // It is there when the line is laid late, and not when it is laid as planned.
        (
            "date = 2027-01-05, expires = 2029-01-01",
            -4.0,
            Ruling::Broken,
        ),
        ("date = 2026-12-31", 1.0, Ruling::Met),
    ] {
        let found = asked(&permit(dates));
        close(found.value.value, value_d, 1e-9);
        assert_eq!(found.ruling, ruling, "{dates}: {}", found.why);
        assert!(
            matches!(&found.evidence, Evidence::Attested { document, .. } if document == "permit 7")
        );
    }
}

#[test]
fn verif_without_a_document_it_is_unknown_and_a_wrong_one_is_a_mistake() {
    let reading = read(&with("that = \"attested\""));
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    let found = check(&reading, &Shelf::default());
    assert!(why_unknown(&found, "asked").contains("write `attested = {"));
    for (dates, said) in [
        (
            "date = 2026-11-01, expires = 2026-10-01",
            "it expires before it is given",
        ),
        ("expires = 2026-10-01", "needs `date`"),
    ] {
        let reading = read(&permit(dates));
        let told = reading.mistakes.iter().find(|m| m.is_error()).unwrap();
        assert!(
            told.message.contains(said) || told.message.contains("`date`"),
            "{}",
            told.message
        );
        assert_eq!(
            check(&reading, &Shelf::default()).status(),
            Status::Unusable
        );
    }
}

/// Without a slip that is written none counts, and that is said; without a duration nothing is known.
#[test]
fn verif_slips_that_are_not_written_are_told() {
    let text = permit("date = 2026-11-01, expires = 2027-06-01")
        .replace("start_slip = \"10 d\"\nrecovery_slip = \"20 d\"", "");
    let found = asked(&text);
    // (date(2027, 6, 1) - date(2027, 4, 11)).days
    close(found.value.value, 51.0, 1e-9);
    assert!(
        found
            .why
            .contains("no `start_slip` is written, no `recovery_slip` is written"),
        "{}",
        found.why
    );
}

/// Calendar months, not thirty days: six after 31 August 2026 end on 28 February 2027, after 181 d.
#[test]
fn val_a_calibration_is_young_enough_by_calendar_months() {
    let aged = |at_most: &str, date: &str| {
        with(&format!(
            "that = \"calibration-age\"\nat_most = \"{at_most}\""
        ))
        .replace("date = 2026-12-01", &format!("date = {date}"))
    };
    for (at_most, date, age_d, limit_d, ruling) in [
        // (date(2027, 1, 11) - date(2026, 8, 31)).days, (date(2027, 2, 28) - date(2026, 8, 31)).days
        ("6 months", "2026-08-31", 133.0, 181.0, Ruling::Met),
        ("180 d", "2026-08-31", 133.0, 180.0, Ruling::Met),
        ("12 months", "2026-01-20", 356.0, 365.0, Ruling::Marginal),
        ("12 months", "2026-01-11", 365.0, 365.0, Ruling::Marginal),
        ("12 months", "2026-01-10", 366.0, 365.0, Ruling::Broken),
        // 360 d would be over, a calendar year is not.
        ("12 months", "2026-01-13", 363.0, 365.0, Ruling::Marginal),
        // December has 31 days.
        ("1 month", "2026-12-15", 27.0, 31.0, Ruling::Marginal),
    ] {
        let found = asked(&aged(at_most, date));
        close(found.value.value, age_d, 1e-9);
        close(found.limit.value, limit_d, 1e-9);
        assert_eq!(found.ruling, ruling, "{at_most} {date}: {}", found.why);
        assert_eq!(found.subject, "module.ear.sensor.one");
    }
    let later = check(&read(&aged("12 months", "2027-01-12")), &Shelf::default());
    assert!(why_unknown(&later, "asked").contains("after the latest start"));
    let text = aged("12 months", "2026-01-20");
    let none = text.lines().filter(|l| !l.starts_with("calibrated = "));
    let none = none.collect::<Vec<_>>().join("\n");
    assert!(
        why_unknown(&check(&read(&none), &Shelf::default()), "asked")
            .contains("no calibration is written")
    );
    for wrong in ["0 months", "1.5 months", "-1 months", "12 V"] {
        assert!(read(&aged(wrong, "2026-01-20")).has_errors(), "{wrong}");
    }
}

fn measured(more: &str) -> String {
    with(&format!(
        "that = \"voltage\"\nof = \"module.ear\"\nat_least = \"40 V\"\nmeasured = {{ value = \"39.9 V\", by = \"yard\", date = 2026-12-20, document = \"sheet 4\"{more} }}"
    ))
}

/// Calculated some 48 V, measured 39.9 V: beside each other the worse counts; where the measured value decides, its uncertainty counts against it.
#[test]
fn verif_a_measured_value_stands_beside_the_calculation_or_decides() {
    let both = check(&read(&measured("")), &Shelf::default());
    let judged = requirement(&both, "asked");
    assert_eq!(judged.word(), Word::Broken);
    assert_eq!(judged.verdicts.len(), 2);
    let subjects: Vec<&str> = judged.verdicts.iter().map(Verdict::subject).collect();
    assert_eq!(subjects, ["module.ear, measured", "module.ear"]);
    assert_eq!(judged.verdicts[1].word(), Word::Met);
    for (value, more, value_v, ruling) in [
        ("41 V", ", decides = true", 41.0, Ruling::Met),
        (
            "41 V",
            ", uncertainty = \"0.6 V\", decides = true",
            40.4,
            Ruling::Marginal,
        ),
        (
            "41 V",
            ", uncertainty = \"1.1 V\", decides = true",
            39.9,
            Ruling::Broken,
        ),
        (
            "39.9 V",
            ", uncertainty = \"1 V\", decides = true",
            38.9,
            Ruling::Broken,
        ),
    ] {
        let text = measured(more).replace("value = \"39.9 V\"", &format!("value = \"{value}\""));
        let found = check(&read(&text), &Shelf::default());
        let judged = requirement(&found, "asked");
        assert_eq!(judged.verdicts.len(), 1);
        let known = known(&found, "asked");
        close(known.value.value, value_v, 1e-9);
        assert_eq!(known.ruling, ruling, "{}", known.why);
        assert!(
            known.why.contains("calculated is: module.ear 4"),
            "{}",
            known.why
        );
        assert!(
            matches!(&known.evidence, Evidence::Measured { document, .. } if document == "sheet 4")
        );
    }
}

/// The latest recovery is on 11 May 2027: what is dated a day later is of another deployment, and neither decides nor stands in place of the calculation.
#[test]
fn verif_a_value_measured_after_the_latest_recovery_does_not_count() {
    for (date, word, verdicts) in [
        ("2027-05-11", Word::Met, 1),
        ("2027-05-12", Word::Unknown, 2),
    ] {
        let text = measured(", decides = true")
            .replace("39.9 V", "44 V")
            .replace("2026-12-20", date);
        let found = check(&read(&text), &Shelf::default());
        let judged = requirement(&found, "asked");
        assert_eq!(
            (judged.word(), judged.verdicts.len()),
            (word, verdicts),
            "{date}"
        );
        if word == Word::Unknown {
            let why = why_unknown(&found, "asked");
            assert!(
                why.contains("measured on 2027-05-12, and the latest recovery is on 2027-05-11"),
                "{why}"
            );
        }
    }
}

/// A reading with nothing drawn, against the module's own highest (60 V) and a limit that is nearer; the distance from its place in a position log.
#[test]
fn verif_a_reading_at_the_quay_and_a_position_log_are_measured_values() {
    let log = "measured = { value = \"VALUE\", uncertainty = \"DOUBT\", by = \"yard\", date = 2026-12-20, document = \"sheet 4\" }";
    let of = |that: &str, value: &str, doubt: &str| {
        let log = log.replace("VALUE", value).replace("DOUBT", doubt);
        let check = check(&read(&with(&format!("{that}\n{log}"))), &Shelf::default());
        let both = &requirement(&check, "asked").verdicts;
        let measured = both.iter().find(|v| v.subject().ends_with(", measured"));
        match measured {
            Some(Verdict::Known(k)) => (k.value.value, k.limit.value, k.ruling),
            other => panic!("{other:?}"),
        }
    };
    let volts = "that = \"highest-voltage\"\nof = \"module.ear\"";
    let (value, limit, _) = of(volts, "48.5 V", "1 V");
    assert_eq!(value, 49.5);
    assert!(limit > 40.0, "{limit}");
    let nearer = of(&format!("{volts}\nat_most = \"49 V\""), "48.5 V", "1 V");
    assert_eq!(nearer, (49.5, 49.0, Ruling::Broken));
    let place = "that = \"on-station\"\nof = \"module.ear\"\nat_most = \"90 m\"\nlaying_error = \"20 m\"\nfix_error = \"5 m\"\nshare = \"95 %\"";
    assert_eq!(of(place, "71 m", "6 m"), (77.0, 90.0, Ruling::Met));
    assert_eq!(of(place, "86 m", "6 m"), (92.0, 90.0, Ruling::Broken));
    // One reading of many decides neither, and one of an hour's weather nothing of a line that hangs.
    let circle = "that = \"watch-circle\"\nof = \"module.ear\"\nat_most = \"90 m\"";
    let depth = "that = \"module-depth\"\nof = \"module.ear\"\nat_most = \"90 m\"";
    for (that, value) in [
        (volts, "48.5 V"),
        (place, "71 m"),
        (circle, "40 m"),
        (depth, "40 m"),
    ] {
        let log = log
            .replace("VALUE", value)
            .replace(", uncertainty = \"DOUBT\"", "");
        let alone = log.replace("sheet 4\" }", "sheet 4\", decides = true }");
        assert_ne!(alone, log);
        let reading = read(&with(&format!("{that}\n{alone}")));
        let told = |m: &plan::Mistake| {
            m.message.contains("does not tell the") || m.message.contains("the weather of its hour")
        };
        assert!(reading.mistakes.iter().any(told), "{:?}", reading.mistakes);
        assert_eq!(
            requirement(&check(&reading, &Shelf::default()), "asked").word(),
            Word::Unknown
        );
    }
}

/// What cannot be calculated for want of a key is known once it is measured and decides.
#[test]
fn verif_a_measured_value_answers_what_cannot_be_calculated() {
    let unsaid = "contacts = { mated_pins_in_loop = 0, resistance = \"0 ohm\" }\n";
    let text = measured(", decides = true").replace("39.9 V", "44 V");
    assert!(text.contains(unsaid));
    let found = check(&read(&text.replace(unsaid, "")), &Shelf::default());
    assert_eq!(requirement(&found, "voltage").word(), Word::Unknown);
    assert_eq!(requirement(&found, "asked").word(), Word::Met);
}

#[test]
fn verif_measured_values_are_of_one_thing_and_of_its_unit() {
    for (text, said) in [
        (
            measured("").replace("of = \"module.ear\"\n", ""),
            "a measured value is of one thing",
        ),
        (measured("").replace("39.9 V", "39.9 A"), "39.9 A"),
        (
            measured("").replace(", document = \"sheet 4\"", ""),
            "`document`",
        ),
        (
            with(
                "that = \"link-load\"\nat_most = \"20 %\"\nmeasured = { value = \"1 %\", by = \"y\", date = 2026-12-20, document = \"s\" }",
            ),
            "`measured` does not belong",
        ),
    ] {
        let reading = read(&text);
        let told = reading.mistakes.iter().find(|m| m.is_error()).unwrap();
        assert!(told.message.contains(said), "{}", told.message);
        let found = check(&reading, &Shelf::default());
        assert_eq!(requirement(&found, "asked").word(), Word::Unknown);
        assert_eq!(
            requirement(&found, "voltage").word(),
            requirement(&check(&good(&[DATES]), &Shelf::default()), "voltage").word()
        );
    }
}

#[test]
fn verif_the_table_of_evidence_names_documents_and_measurements() {
    for (text, support) in [
        (
            permit("date = 2026-11-01, expires = 2027-06-01"),
            Support::Attestation {
                what: "permit 7 by harbour office on 2026-11-01, until 2027-06-01".to_owned(),
            },
        ),
        (
            measured(", decides = true"),
            Support::Measurement {
                what: "sheet 4 by yard on 2026-12-20".to_owned(),
            },
        ),
        (
            with("that = \"calibration-age\"\nat_most = \"12 months\""),
            Support::Measurement {
                what: "the calibration of module.ear.sensor.one on 2026-12-01 by test".to_owned(),
            },
        ),
    ] {
        let reading = read(&text);
        let found = check(&reading, &Shelf::default());
        let table = evidence_table(reading.line.as_ref(), &found);
        let of = table.requirements.iter().find(|s| s.id == "asked").unwrap();
        assert!(
            of.supports.iter().any(|(s, _)| *s == support),
            "{:?}",
            of.supports
        );
    }
}

/// Calibrated on 1 January 2026 for 12 months, and laid on 1 January 2027 at six in the morning: the whole of the last day counts, and nothing is left of it.
#[test]
fn verif_a_calibration_is_good_for_the_whole_of_its_last_day() {
    let at = |start: &str| {
        let text = with("that = \"calibration-age\"\nat_most = \"12 months\"")
            .replace("date = 2026-12-01", "date = 2026-01-01")
            .replace("start = 2027-01-01\n", &format!("start = {start}\n"))
            .replace("start_slip = \"10 d\"", "start_slip = \"0 d\"");
        asked(&text)
    };
    for start in ["2027-01-01", "2027-01-01T06:00:00Z"] {
        let found = at(start);
        close(found.margin.value, 0.0, 1e-9);
        assert_ne!(found.ruling, Ruling::Broken, "{start}");
    }
    assert_eq!(at("2027-01-02T00:00:00Z").ruling, Ruling::Broken);
}
