//! The rules of the deciding stages, one by one, on cells written by hand.
//!
//! The expected notices are read off the rules in `docs/method/detect.md`.

use detect::{
    BackgroundKind, Cell, Confirm, Ending, Event, EventId, LevelKind, Logic, Notice, Peaks, Reason,
    Spec, Stage, Told,
};

pub(crate) const CELL: u64 = 100;

/// Cells of 100 samples; each is known 50 samples after its end.
pub(crate) fn cells(levels_db: &[f64]) -> Vec<Cell> {
    levels_db
        .iter()
        .enumerate()
        .map(|(i, &level_db)| {
            let begin_sample = i as u64 * CELL;
            Cell {
                index: i as u64,
                begin_sample,
                end_sample: begin_sample + CELL,
                known_at_sample: begin_sample + 150,
                level_db,
                power: 10.0_f64.powf(level_db / 10.0),
                background_db: None,
                value_db: Some(level_db),
                decidable: true,
                peaks: Peaks::none(),
            }
        })
        .collect()
}

pub(crate) fn level() -> Stage {
    Stage::Level {
        kind: LevelKind::MeanSquare,
        window_s: 0.1,
        hop_s: Some(0.1),
    }
}

/// On at 10, off below 5, at least three cells, at most six, hold-off of eight cells.
pub(crate) fn trigger(confirm: Confirm) -> Spec {
    let stage = Stage::Trigger {
        on_above_db: 10.0,
        off_below_db: 5.0,
        shortest_s: 0.3,
        longest_s: Some(0.6),
        hold_off_s: 0.8,
        confirm,
        bridge_s: 0.0,
        k_of_n: None,
    };
    Spec {
        rate_hz: 1000.0,
        stages: vec![level(), stage],
    }
}

pub(crate) fn told(spec: &Spec, cells: &[Cell]) -> Vec<Told> {
    let mut logic = Logic::new(spec).unwrap();
    let mut out = Vec::new();
    for cell in cells {
        logic.push(cell, &mut out);
    }
    out
}

/// Notices as text: what, whose, and the cell with which it was known.
pub(crate) fn text(told: &[Told]) -> Vec<String> {
    told.iter()
        .map(|t| {
            let cell = (t.known_at_sample - 150) / CELL;
            match t.notice {
                Notice::Onset(EventId(id)) => format!("onset {id} @{cell}"),
                Notice::Confirmed(EventId(id)) => format!("confirmed {id} @{cell}"),
                Notice::Ended(Event {
                    id,
                    begin_sample,
                    end_sample,
                    ..
                }) => {
                    format!(
                        "ended {} {}..{} @{cell}",
                        id.0,
                        begin_sample / CELL,
                        end_sample / CELL
                    )
                }
                Notice::Dropped(EventId(id), reason) => format!("dropped {id} {reason:?} @{cell}"),
            }
        })
        .collect()
}

fn check(confirm: Confirm, levels_db: &[f64], expected: &[&str]) {
    assert_eq!(
        text(&told(&trigger(confirm), &cells(levels_db))),
        expected,
        "{confirm:?} {levels_db:?}"
    );
}

#[test]
fn verif_hysteresis_keeps_a_sound_open_between_the_thresholds() {
    check(
        Confirm::Early,
        &[0.0, 9.9, 10.0, 5.0, 7.0, 4.9],
        &["onset 0 @2", "confirmed 0 @4", "ended 0 2..5 @5"],
    );
    check(
        Confirm::AtEnd,
        &[0.0, 9.9, 10.0, 5.0, 7.0, 4.9],
        &["onset 0 @2", "confirmed 0 @5", "ended 0 2..5 @5"],
    );
}

#[test]
fn verif_too_short_is_dropped_and_starts_no_hold_off() {
    for confirm in [Confirm::Early, Confirm::AtEnd] {
        check(
            confirm,
            &[0.0, 12.0, 12.0, 0.0, 12.0],
            &["onset 0 @1", "dropped 0 TooShort @3", "onset 1 @4"],
        );
    }
}

#[test]
fn verif_too_long_is_taken_back_and_nothing_new_begins_before_quiet() {
    let mut levels_db = vec![12.0; 20];
    levels_db.push(0.0);
    levels_db.extend([12.0; 12]);
    // Six cells are allowed, the seventh is too many. The hold-off of eight cells runs from the end of the hum at cell 20;
    // the next sound begins at 21 and would be told at 28, but by then it is too long as well.
    check(
        Confirm::Early,
        &levels_db,
        &["onset 0 @0", "confirmed 0 @2", "dropped 0 TooLong @6"],
    );
    // Unconfirmed, the hum leaves no hold-off.
    check(
        Confirm::AtEnd,
        &levels_db,
        &[
            "onset 0 @0",
            "dropped 0 TooLong @6",
            "onset 1 @21",
            "dropped 1 TooLong @27",
        ],
    );
}

#[test]
fn verif_exactly_longest_is_accepted() {
    let levels_db = [0.0, 12.0, 12.0, 12.0, 12.0, 12.0, 12.0, 0.0];
    check(
        Confirm::AtEnd,
        &levels_db,
        &["onset 0 @1", "confirmed 0 @7", "ended 0 1..7 @7"],
    );
}

#[test]
fn verif_hold_off_follows_sounds_silently_and_tells_those_that_outlast_it() {
    // First sound: cells 0 to 2, hold-off to the end of cell 10.
    let mut levels_db = vec![12.0, 12.0, 12.0, 0.0];
    // A second one over before the hold-off is: never told.
    levels_db.extend([12.0, 12.0, 12.0, 0.0]);
    // A third, cells 9 to 12, goes on past it: told in cell 11, with its true beginning, confirmed at once (three cells).
    levels_db.extend([0.0, 12.0, 12.0, 12.0, 12.0, 0.0]);
    check(
        Confirm::Early,
        &levels_db,
        &[
            "onset 0 @0",
            "confirmed 0 @2",
            "ended 0 0..3 @3",
            "onset 1 @11",
            "confirmed 1 @11",
            "ended 1 9..13 @13",
        ],
    );
}

#[test]
fn verif_end_of_the_stretch_ends_confirmed_and_drops_the_rest() {
    for (confirm, levels_db, ended) in [
        (Confirm::Early, &[12.0, 12.0, 12.0][..], true),
        (Confirm::Early, &[12.0, 12.0][..], false),
        (Confirm::AtEnd, &[12.0, 12.0, 12.0][..], false),
    ] {
        let mut logic = Logic::new(&trigger(confirm)).unwrap();
        let mut out = Vec::new();
        for cell in cells(levels_db) {
            logic.push(&cell, &mut out);
        }
        logic.gap(777, &mut out);
        let last = out.last().unwrap();
        assert_eq!(last.known_at_sample, 777);
        match last.notice {
            Notice::Ended(event) => {
                assert!(ended);
                assert_eq!(event.ending, Ending::StretchEnded);
                assert_eq!(event.end_sample, levels_db.len() as u64 * CELL);
            }
            Notice::Dropped(_, reason) => {
                assert!(!ended);
                assert_eq!(reason, Reason::StretchEnded);
            }
            other => panic!("{other:?}"),
        }
        // The next stretch has a time of its own and no hold-off; numbers go on.
        out.clear();
        for cell in cells(&[12.0]) {
            logic.push(&cell, &mut out);
        }
        assert_eq!(text(&out), ["onset 1 @0"]);
    }
}

#[test]
fn verif_cells_that_do_not_follow_begin_a_new_stretch() {
    let mut row = cells(&[12.0, 12.0, 12.0, 12.0, 12.0]);
    row.remove(3);
    assert_eq!(
        text(&told(&trigger(Confirm::Early), &row)),
        [
            "onset 0 @0",
            "confirmed 0 @2",
            "ended 0 0..3 @2",
            "onset 1 @4"
        ]
    );
}

#[test]
fn verif_levels_of_an_event() {
    let out = told(&trigger(Confirm::Early), &cells(&[10.0, 20.0, 10.0, 0.0]));
    let Notice::Ended(event) = out[2].notice else {
        panic!("{out:?}")
    };
    assert_eq!(event.peak_level_db, 20.0);
    // Energy mean of 10, 100, 10.
    assert!((event.mean_level_db - 10.0 * 40.0_f64.log10()).abs() < 1e-12);
    assert_eq!(event.score_db, 10.0);
    assert_eq!(
        (event.background_db, event.pulses, event.ending),
        (None, None, Ending::Quiet)
    );
}

#[test]
fn verif_excess_needs_a_background_and_unknown_counts_as_quiet() {
    let mut spec = trigger(Confirm::Early);
    spec.stages.insert(
        1,
        Stage::Background {
            kind: BackgroundKind::Median,
            over_s: 1.0,
            guard_s: 0.0,
        },
    );
    let mut row = cells(&[90.0, 90.0, 90.0, 90.0, 90.0, 90.0, 90.0]);
    for (at, cell) in row.iter_mut().enumerate() {
        cell.background_db = match at {
            1..=4 => Some(78.0),
            6 => Some(80.5),
            _ => None,
        };
        cell.value_db = cell.background_db.map(|b| cell.level_db - b);
    }
    let out = told(&spec, &row);
    assert_eq!(
        text(&out),
        ["onset 0 @1", "confirmed 0 @3", "ended 0 1..5 @5"]
    );
    let Notice::Ended(event) = out[2].notice else {
        panic!("{out:?}")
    };
    assert_eq!((event.score_db, event.background_db), (12.0, Some(78.0)));
}

#[test]
fn verif_new_thresholds_hold_from_the_next_cell() {
    let mut logic = Logic::new(&trigger(Confirm::Early)).unwrap();
    let mut out = Vec::new();
    for (i, cell) in cells(&[8.0, 8.0, 8.0, 8.0]).iter().enumerate() {
        if i == 1 {
            logic.set_threshold(8.0, 3.0).unwrap();
        }
        if i == 3 {
            logic.set_threshold(20.0, 9.0).unwrap();
        }
        logic.push(cell, &mut out);
    }
    assert_eq!(text(&out), ["onset 0 @1", "dropped 0 TooShort @3"]);
}

/// A hold-off holds from the next end of an event: of eight cells as in the spec, or of two where it was set before that.
#[test]
fn verif_a_new_hold_off_holds_from_the_next_end() {
    let row = cells(&[12.0, 12.0, 12.0, 2.0, 2.0, 2.0, 12.0, 12.0, 12.0, 2.0]);
    let told = |set_before: usize| {
        let mut logic = Logic::new(&trigger(Confirm::Early)).unwrap();
        let mut out = Vec::new();
        for (i, cell) in row.iter().enumerate() {
            if i == set_before {
                logic.set_hold_off(0.2).unwrap();
            }
            logic.push(cell, &mut out);
        }
        text(&out)
    };
    let first = ["onset 0 @0", "confirmed 0 @2", "ended 0 0..3 @3"];
    let both = ["onset 1 @6", "confirmed 1 @8", "ended 1 6..9 @9"];
    assert_eq!(told(2), [first, both].concat());
    assert_eq!(told(4), first);
    let mut logic = Logic::new(&trigger(Confirm::Early)).unwrap();
    assert!(logic.set_hold_off(-1.0).is_err() && logic.set_hold_off(f64::NAN).is_err());
    assert!(Logic::new(&pulses()).unwrap().set_hold_off(1.0).is_err());
}

/// Three pulses of prominence and rise 6, at intervals of 2 to 5 cells, within 9; hold-off of 20 cells.
fn pulses() -> Spec {
    Spec {
        rate_hz: 1000.0,
        stages: vec![
            level(),
            Stage::Background {
                kind: BackgroundKind::Median,
                over_s: 1.0,
                guard_s: 0.0,
            },
            Stage::Pulses {
                rise_db: 6.0,
                prominence_db: 6.0,
                min_interval_s: 0.2,
                max_interval_s: 0.5,
                at_least: 3,
                of_last: None,
                within_s: Some(0.9),
                hold_off_s: 2.0,
                steady: None,
            },
        ],
    }
}

/// Cells at the background of 0 dB with pulses of 10 dB at the given places.
fn pulse_cells(length: usize, places: &[usize]) -> Vec<Cell> {
    let mut levels_db = vec![0.0; length];
    for &place in places {
        levels_db[place] = 10.0;
    }
    let mut row = cells(&levels_db);
    for cell in &mut row {
        cell.background_db = Some(0.0);
    }
    row
}

#[test]
fn verif_train_is_confirmed_by_its_third_pulse_and_ended_by_silence() {
    let out = told(&pulses(), &pulse_cells(20, &[2, 5, 9, 13]));
    // A peak is known one cell later. After 13 the last chance is a peak that begins at 18; cell 19 begins later.
    assert_eq!(
        text(&out),
        ["onset 0 @3", "confirmed 0 @10", "ended 0 2..14 @19"]
    );
    let Notice::Ended(event) = out[2].notice else {
        panic!("{out:?}")
    };
    assert_eq!(
        (event.pulses, event.score_db, event.background_db),
        (Some(4), 10.0, Some(0.0))
    );
}

#[test]
fn verif_intervals_part_trains() {
    // 2 to 8 is too far; 8, 9 too near to count twice; 8, 13 make two.
    let out = told(&pulses(), &pulse_cells(20, &[2, 8, 13]));
    assert_eq!(
        text(&out),
        [
            "onset 0 @3",
            "dropped 0 TooFewPulses @8",
            "onset 1 @9",
            "dropped 1 TooFewPulses @19"
        ]
    );
    let mut row = pulse_cells(20, &[2, 4, 6]);
    row[3].level_db = 3.9; // falls by 6.1 from 10
    assert_eq!(text(&told(&pulses(), &row))[1], "confirmed 0 @7");
    row[3].level_db = 4.1; // falls by 5.9: one pulse, not two
    assert!(
        !text(&told(&pulses(), &row))
            .iter()
            .any(|t| t.starts_with("confirmed"))
    );
}

#[test]
fn verif_too_wide_a_train_waits_for_closer_pulses() {
    // Three pulses in ten cells are too far apart; the fourth to sixth lie within nine.
    let out = told(&pulses(), &pulse_cells(30, &[2, 7, 12, 17, 22, 26]));
    assert_eq!(text(&out)[..2], ["onset 0 @3", "confirmed 0 @27"]);
}

#[test]
fn verif_pulses_below_the_background_do_not_count() {
    let mut row = pulse_cells(20, &[2, 5, 9]);
    for cell in &mut row {
        cell.background_db = Some(4.1);
    }
    assert!(told(&pulses(), &row).is_empty());
    for cell in &mut row {
        cell.background_db = None;
    }
    assert!(told(&pulses(), &row).is_empty());
}

#[test]
fn verif_train_in_the_hold_off_is_told_with_its_first_pulse_after_it() {
    // The first train ends with cell 9, its hold-off with cell 29. The next begins at 24; its pulse at 32 is told.
    let out = told(&pulses(), &pulse_cells(50, &[2, 5, 8, 24, 28, 32, 35]));
    assert_eq!(
        text(&out)[2..],
        [
            "ended 0 2..9 @14",
            "onset 1 @33",
            "confirmed 1 @33",
            "ended 1 24..36 @41"
        ]
    );
}

#[test]
fn verif_an_undecided_peak_keeps_the_train_open() {
    // The peak at 13 is the last chance after 8 and stays high for long; the train waits for it to fall.
    let mut row = pulse_cells(30, &[2, 5, 8, 13]);
    for cell in &mut row[14..20] {
        cell.level_db = 9.0;
    }
    let out = told(&pulses(), &row);
    let Notice::Ended(event) = out[2].notice else {
        panic!("{out:?}")
    };
    assert_eq!(event.pulses, Some(4));
    assert_eq!(text(&out)[2], "ended 0 2..14 @20");
}

/// What an open event comes to so far is what it comes to when the stretch ends there.
#[test]
fn verif_so_far_is_what_the_end_of_the_stretch_would_tell() {
    let mut logic = Logic::new(&trigger(Confirm::Early)).unwrap();
    let mut compared = 0;
    for cell in cells(&[3.0, 12.0, 14.0, 11.0, 13.0, 9.0, 2.0, 2.0]) {
        logic.push(&cell, &mut Vec::new());
        let mut told = Vec::new();
        logic.clone().gap(cell.known_at_sample, &mut told);
        let ended = told.iter().find_map(|t| match t.notice {
            Notice::Ended(event) => Some(event),
            _ => None,
        });
        if ended.is_some() {
            assert_eq!(logic.so_far(), ended);
            compared += 1;
        }
    }
    assert_eq!(compared, 3);
    assert_eq!(logic.so_far(), None);
}
