//! What late ships do: each cell is the plan with those dates, and the worst corner is what `check` judges.

use assess::input::energy;
use assess::{Memo, Shelf, Slip, SlipAsk, SlipGrid, Word, check, slip};
use plan::SupplyIx;
use power::year::Start;

use crate::energy::{CLEARNESS, EXPECTS, SUN};
use crate::support::{changed, close, good, known, read, why_unknown};

const ASKS: &str = "[requirement.young]
that = \"calibration-age\"
at_most = \"6 months\"

[requirement.paper]
that = \"attested\"
attested = { document = \"permit 7\", by = \"harbour office\", date = 2026-11-01, expires = 2027-06-01 }

[requirement.charged]
that = \"charge-at-deployment\"
at_least = \"60 %\"

[requirement.voltage]
";
const HOLD: &str = "voltage = \"12.8 V\" }\nhold = { lasts = \"20 d\", draws = \"0.35 W\", self_discharge = \"3 %\" }";

fn text(start: &str, dates: &str) -> String {
    let (kind, solar) = SUN;
    let solar = solar.replace("voltage = \"12.8 V\" }", HOLD);
    let (detector, expects) = EXPECTS;
    changed(&[
        (kind, &solar),
        CLEARNESS,
        (detector, expects),
        ("start = 2027-01-01", start),
        ("duration = \"1 d\"", dates),
        ("[requirement.voltage]\n", ASKS),
    ])
}

fn slipped(text: &str, threads: usize) -> Slip {
    let reading = read(text);
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    let ask = SlipAsk { threads };
    slip(&reading, &Shelf::default(), &Memo::new(), ask, &|_| true).unwrap()
}

fn grid<'s>(slip: &'s Slip, id: &str) -> &'s SlipGrid {
    slip.grids.iter().find(|g| g.id == id).unwrap()
}

const PLANNED: &str = "duration = \"60 d\"\nstart_slip = \"21 d\"\nrecovery_slip = \"28 d\"";

/// A second route: the plan written with those dates and no slip, and checked.
#[test]
fn verif_a_cell_is_the_plan_written_with_its_dates() {
    let found = slipped(&text("start = 2027-01-01", PLANNED), 2);
    assert_eq!(found.starts.each_s.len(), 6);
    for (start, recovery, first, longer_d) in [
        (0, 0, "2027-01-01", 0),
        (2, 1, "2027-01-15", 7),
        (3, 4, "2027-01-22", 28),
        (5, 6, "2027-02-05", 42),
    ] {
        let dates =
            format!("duration = \"60 d\"\nstart_slip = \"0 d\"\nrecovery_slip = \"{longer_d} d\"");
        let written = read(&text(&format!("start = {first}"), &dates));
        let judged = check(&written, &Shelf::default());
        for id in ["young", "paper", "card"] {
            let cell = &grid(&found, id).cells[start][recovery];
            let [value, limit, margin] = cell.figures.as_ref().unwrap();
            let own = known(&judged, id);
            assert_eq!(
                (value, limit, margin),
                (&own.value, &own.limit, &own.margin),
                "{id} {start} {recovery}"
            );
        }
        // What lies before the start is longer by the slip alone, which the plan so written does not say.
        let charged = grid(&found, "charged").cells[start][recovery]
            .figures
            .clone();
        let own = known(&judged, "charged").value.value;
        assert!(charged.unwrap()[0].value <= own, "{start}");
    }
}

/// Days between dates: Python 3, `datetime.date`.
#[test]
fn val_days_left_fall_by_the_slip() {
    let found = slipped(&text("start = 2027-01-01", PLANNED), 1);
    for (week, row) in grid(&found, "young").cells.iter().enumerate() {
        for cell in row {
            // (date(2027, 6, 1) - date(2027, 1, 1)).days
            let left_d = 151.0 - 7.0 * week as f64;
            close(cell.figures.as_ref().unwrap()[2].value, left_d, 1e-9);
        }
    }
    for (start, row) in grid(&found, "paper").cells.iter().enumerate() {
        for (recovery, cell) in row.iter().enumerate() {
            // The same, less the 60 d in the water.
            let left_d = 91.0 - 7.0 * (start + recovery) as f64;
            close(cell.figures.as_ref().unwrap()[2].value, left_d, 1e-9);
        }
    }
    assert_eq!(grid(&found, "paper").worst, (3, 4));
}

/// The corner is what `check` says, and threads change nothing.
#[test]
fn verif_the_worst_corner_is_the_verdict_of_the_check() {
    let text = text("start = 2027-01-01", PLANNED);
    let found = slipped(&text, 1);
    assert_eq!(found, slipped(&text, 3));
    let judged = check(&read(&text), &Shelf::default());
    for id in ["young", "paper", "card", "charged"] {
        let own = known(&judged, id);
        let worst = grid(&found, id).at_worst().figures.clone().unwrap();
        assert_eq!(worst[2], own.margin, "{id}");
    }
}

/// A battery that lies loses, the more the later it starts; the year begins with what is left, of a battery as old as it is at the end of its time in the water, which holds a little less than it does when it is laid.
#[test]
fn verif_the_year_begins_with_what_the_hold_has_left() {
    let reading = read(&text("start = 2027-01-01", PLANNED));
    let input = energy(reading.line.as_ref().unwrap(), SupplyIx(0)).unwrap();
    let charges: Vec<f64> = input
        .systems
        .iter()
        .map(|system| match system.start {
            Start::At { charge, .. } => charge,
            Start::Repeating => panic!("it begins on a day"),
        })
        .collect();
    assert_eq!(charges.len(), 2);
    assert!(charges[1] < charges[0] && charges[0] < 1.0, "{charges:?}");
    let judged = check(&reading, &Shelf::default());
    let laid = known(&judged, "charged").value.value;
    assert!(laid >= 100.0 * charges[1], "{laid} {charges:?}");
    close(laid, 100.0 * charges[1], 0.5);
    assert!(
        !input
            .assumed
            .iter()
            .any(|a| a.contains("full at the start"))
    );

    let silent = changed(&[SUN, CLEARNESS, EXPECTS, ("[requirement.voltage]\n", ASKS)]);
    let reading = read(&silent);
    let input = energy(reading.line.as_ref().unwrap(), SupplyIx(0)).unwrap();
    assert!(
        input
            .assumed
            .iter()
            .any(|a| a.contains("full at the start"))
    );
    let judged = check(&reading, &Shelf::default());
    assert!(why_unknown(&judged, "charged").contains("hold"));
}

#[test]
fn verif_a_plan_that_asks_nothing_of_dates_has_no_grid() {
    let reading = good(&[(
        "[requirement.card]\nthat = \"storage-time\"",
        "[requirement.card]\nthat = \"storage-time\"\nat_least = \"1 d\"",
    )]);
    let ask = SlipAsk { threads: 1 };
    let found = slip(&reading, &Shelf::default(), &Memo::new(), ask, &|_| true).unwrap();
    let ids: Vec<&str> = found.grids.iter().map(|g| g.id.as_str()).collect();
    assert!(!ids.contains(&"card"), "{ids:?}");
    assert!(slip(&reading, &Shelf::default(), &Memo::new(), ask, &|_| false).is_none());
}

/// What grows sinks the buoy of a late recovery, whose checks then say nothing: each row is of one check all the same, in one unit, and is unknown there.
#[test]
fn verif_a_row_is_of_one_check_in_every_cell() {
    let found = slipped(include_str!("sinks_late.toml"), 2);
    for grid in &found.grids {
        assert!(
            grid.cells
                .iter()
                .all(|row| row.len() == found.recoveries.each_s.len())
        );
        let cells = grid.cells.iter().flatten();
        let mut units: Vec<&str> = cells
            .filter_map(|c| Some(c.figures.as_ref()?[0].unit.as_str()))
            .collect();
        units.sort_unstable();
        units.dedup();
        assert!(units.len() <= 1, "{}: {units:?}", grid.id);
    }
    let depth = grid(&found, "float-depth");
    let first = &depth.cells[0][0];
    close(first.figures.as_ref().unwrap()[1].value, 160.0, 1e-9);
    let last = depth.cells[0].last().unwrap();
    assert!(last.word != Word::Met, "{last:?}");
}
