//! A collapse that becomes another before its modules trip, a millisecond after it began.

use assess::input::electric;
use plan::{ModuleIx, SpanIx, SupplyIx};
use rehearsal::{Collapse, Record, What};

use crate::chain::{cue_text, in_a_row, line_text};
use crate::support::{read, run};

/// Collapses until a second one has become another, s, cause and modules.
fn told(records: &[Record], until_s: f64) -> Vec<(f64, Collapse, Vec<ModuleIx>)> {
    let of = records.iter().filter_map(|r| match &r.what {
        What::Collapsed { why, modules } => Some((r.at.as_s_f64(), why.clone(), modules.clone())),
        _ => None,
    });
    of.filter(|(at_s, ..)| *at_s < until_s).collect()
}

/// A branch of R ohm at 48 V passes at most 48^2/(4 R), of which the module asks 1 W.
#[test]
fn verif_a_collapse_with_another_share_is_told_again() {
    let plan = line_text(&in_a_row(&["running"; 2]), 300, 100);
    let (line, _) = read(&plan, &cue_text(1, 1));
    let wire_ohm = electric(&line).unwrap().wire_ohm(SpanIx(0)).unwrap();
    let bad = |id: &str, at_s: f64, ohm: f64| {
        format!(
            "\n[fault.{id}]\nkind = \"bad-contact\"\nof = \"span.s1\"\nresistance = \"{ohm} ohm\"\nat = \"{at_s} s\"\nuntil = \"20 s\"\n"
        )
    };
    let cues = cue_text(15, 1) + &bad("one", 10.0, 700.0) + &bad("two", 10.0005, 300.0);
    let (line, cues) = read(&plan, &cues);
    let (_, records) = run(&line, &cues);
    let told = told(&records, 10.001);
    assert_eq!(told.len(), 2, "{told:?}");
    for ((at_s, why, modules), (wanted_s, added_ohm)) in
        told.iter().zip([(10.0, 700.0), (10.0005, 1000.0)])
    {
        assert!((at_s - wanted_s).abs() < 1e-9, "{at_s}");
        assert_eq!(*modules, [ModuleIx(1)]);
        let Collapse::Powers { share } = *why else {
            panic!("{why:?}");
        };
        let most_w = 48.0 * 48.0 / (4.0 * (added_ohm + wire_ohm));
        assert!((share - most_w).abs() < 1e-9, "{share}");
    }
}

/// 2 W behind 100 ohm take 46 mA at 48 V and 59 mA at 40 V, which is more than 50 mA; at 20 V no more than 20^2/400 W = 1 W comes through.
#[test]
fn verif_a_collapse_of_another_cause_is_told_again() {
    let plan = line_text(&in_a_row(&["running"]), 300, 100)
        .replace(
            "output = { voltage = \"48 V\", resistance = \"0 ohm\" }",
            "output = { voltage = \"48 V\", resistance = \"100 ohm\", current_limit = \"50 mA\" }",
        )
        .replace("starts_in = \"idle\"", "starts_in = \"alert\"");
    let low = |id: &str, voltage_v: u32, at_s: f64| {
        format!(
            "\n[fault.{id}]\nkind = \"brown-out\"\nof = \"supply.bench\"\nvoltage = \"{voltage_v} V\"\nat = \"{at_s} s\"\nuntil = \"20 s\"\n"
        )
    };
    let cues = cue_text(15, 1) + &low("one", 40, 10.0) + &low("two", 20, 10.0005);
    let (line, cues) = read(&plan, &cues);
    let (_, records) = run(&line, &cues);
    let told = told(&records, 10.001);
    let [(_, over, by_supply), (_, powers, by_powers)] = told.as_slice() else {
        panic!("{told:?}");
    };
    let supplies = vec![SupplyIx(0)];
    assert_eq!(*over, Collapse::Overloaded { supplies });
    assert_eq!(
        (by_supply, by_powers),
        (&vec![ModuleIx(0)], &vec![ModuleIx(0)])
    );
    let Collapse::Powers { share } = *powers else {
        panic!("{powers:?}");
    };
    assert!((share - 0.5).abs() < 1e-9, "{share}");
}
