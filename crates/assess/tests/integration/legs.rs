//! Insulation of the legs of a line, and how long a pin lasts that a leak eats.

use assess::{Check, QUAY_DEGC, Word, acceptance};

use crate::support::{checked, close, good, known, requirement, why_unknown};

const CONTACTS: &str = "contacts = { mated_pins_in_loop = 0, resistance = \"0 ohm\" }";
const DURATION: &str = "duration = \"1 d\"";
const WATER: &str = "temperature = \"10 degC\"";
/// Coulombs for each mole of elementary charges (CODATA, exact), and the molar mass of copper, g/mol (standard atomic weight).
const FARADAY: f64 = 96_485.332_123;
const COPPER_G: f64 = 63.546;

/// The small plan, on 24 V for 240 d, with a copper pin of 1 x 8 mm and more keys of its one span.
fn leg(keys: &str, that: &str) -> Vec<(String, String)> {
    let contacts = format!(
        "contacts = {{ mated_pins_in_loop = 4, resistance = \"0 ohm\", aged = \"0 ohm\", pin = {{ metal = \"copper\", diameter = \"1 mm\", length = \"8 mm\" }} }}\n{keys}"
    );
    let asked = format!("[requirement.pin]\n{that}\n\n[requirement.voltage]\n");
    [
        (CONTACTS, contacts.as_str()),
        (DURATION, "duration = \"240 d\""),
        (
            "output = { voltage = \"48 V\"",
            "output = { voltage = \"24 V\"",
        ),
        (
            "input = { minimum = \"36 V\"",
            "input = { minimum = \"16 V\"",
        ),
        ("[requirement.voltage]\n", asked.as_str()),
    ]
    .map(|(a, b)| (a.to_owned(), b.to_owned()))
    .to_vec()
}

fn borrowed(changes: &[(String, String)]) -> Vec<(&str, &str)> {
    let each = changes.iter();
    each.map(|(a, b)| (a.as_str(), b.as_str())).collect()
}

fn judged(keys: &str, that: &str) -> Check {
    checked(&borrowed(&leg(keys, that)))
}

const LIFE: &str = "that = \"contact-life\"";

/// By hand: 56.3 mg of copper hold 85.5 C as cuprous ions, which 4.1 uA take in 240 d, so that 24 V need 5.8 Mohm.
#[test]
fn val_a_copper_pin_by_hand() {
    let mg = 8960e6 * std::f64::consts::FRAC_PI_4 * 1e-6 * 8e-3;
    close(mg, 56.3, 0.05);
    let coulombs = mg * 1e-3 / COPPER_G * FARADAY;
    let seconds = 240.0 * 86_400.0;
    close(1e6 * coulombs / seconds, 4.1, 0.05);
    let floor_ohm = 24.0 / (coulombs / seconds);
    close(floor_ohm / 1e6, 5.8, 0.05);
    // Read in water as warm as that in the sea, over the span's own length.
    let read = |mohm: f64| {
        format!("insulation = {{ measured = \"{mohm} Mohm\", temperature = \"10 degC\" }}")
    };
    for (share, word) in [(0.99, Word::Broken), (1.01, Word::Met)] {
        let check = judged(&read(share * floor_ohm / 1e6), LIFE);
        assert_eq!(requirement(&check, "pin").word(), word, "{share}");
        close(known(&check, "pin").value.value, 240.0 * share, 0.01);
        close(known(&check, "pin").limit.value, 240.0, 1e-9);
    }
    let why = known(&judged(&read(5.0), LIFE), "pin").why.clone();
    for part in [
        "5 Mohm measured at 10 degC is 5.00 Mohm in water of 10.0 degC",
        "4.800 uA leave by a copper pin of 1 x 8 mm, 56.3 mg",
        "as cuprous ions, as in salt water: as cupric ones it would last twice as long",
        "from 5.82 Mohm in the water on, 5.82 Mohm read at 10 degC",
    ] {
        assert!(why.contains(part), "{part}\n{why}");
    }
}

/// A supply that gives 29.2 V at its highest drives so much more through the same insulation: 24/29.2 of the life at 24 V.
#[test]
fn verif_the_highest_voltage_of_a_supply_eats_a_pin() {
    let read = "insulation = { measured = \"20 Mohm\", temperature = \"10 degC\" }";
    let plain = known(&judged(read, LIFE), "pin").value.value;
    let mut changes = leg(read, LIFE);
    changes.push((
        "current_limit = \"5 A\" }".to_owned(),
        "current_limit = \"5 A\", highest = \"29.2 V\" }".to_owned(),
    ));
    let charged = checked(&borrowed(&changes));
    close(
        known(&charged, "pin").value.value,
        plain * 24.0 / 29.2,
        1e-9 * plain,
    );
}

/// Half for each 10 degC that it is warmer, and in proportion to the length; by the leg, by the kilometre or by what is accepted.
#[test]
fn verif_insulation_goes_with_temperature_and_length() {
    let days = |keys: &str| known(&judged(keys, LIFE), "pin").value.value;
    let base = days("insulation = { measured = \"20 Mohm\", temperature = \"10 degC\" }");
    let near = |found: f64, times: f64| close(found / base, times, 1e-9);
    near(
        days("insulation = { measured = \"20 Mohm\", temperature = \"30 degC\" }"),
        4.0,
    );
    near(
        days(
            "insulation = { measured = \"20 Mohm\", temperature = \"10 degC\", length = \"50 m\" }",
        ),
        0.5,
    );
    near(
        days(
            "insulation = { accepted = \"20 Mohm\", temperature = \"10 degC\", length = \"100 m\" }",
        ),
        1.0,
    );
    // 100 m of the span: a tenth of a kilometre has ten times its insulation, and 20 degC is 10 degC warmer than the water.
    near(days("insulation_1km = \"1 Mohm\""), 1.0);
    let warm = leg(
        "insulation = { measured = \"20 Mohm\", temperature = \"10.0 degC\" }",
        LIFE,
    );
    let mut warm = borrowed(&warm);
    warm.push((WATER, "temperature = \"20 degC\""));
    near(known(&checked(&warm), "pin").value.value, 0.5);
    // Nickel is as certain as its ions: no marginal half.
    let nickel = leg(
        "insulation = { measured = \"5 Mohm\", temperature = \"10 degC\" }",
        LIFE,
    );
    let nickel: Vec<_> = nickel
        .into_iter()
        .map(|(a, b)| (a, b.replace("copper", "nickel")))
        .collect();
    assert_eq!(
        requirement(&checked(&borrowed(&nickel)), "pin").word(),
        Word::Met
    );
}

#[test]
fn verif_what_is_not_said_of_a_leg_is_unknown_and_named() {
    let unknown = |keys: &str, that: &str, of: &str| {
        let check = judged(keys, that);
        let why = why_unknown(&check, "pin").to_owned();
        assert!(why.contains(of), "{why}");
    };
    unknown("", LIFE, "`insulation = { measured");
    let silent = leg("insulation_1km = \"1 Gohm\"", LIFE);
    let silent: Vec<_> = silent
        .into_iter()
        .map(|(a, b)| {
            (
                a,
                b.replace(
                    ", pin = { metal = \"copper\", diameter = \"1 mm\", length = \"8 mm\" }",
                    "",
                ),
            )
        })
        .collect();
    let check = checked(&borrowed(&silent));
    assert!(why_unknown(&check, "pin").contains("`pin = { metal"));
    let mut none = leg(
        "insulation_1km = \"1 Gohm\"",
        "that = \"contact-life\"\nof = \"span.cable\"",
    );
    none.retain(|(a, _)| a != CONTACTS);
    let check = checked(&borrowed(&none));
    assert!(why_unknown(&check, "pin").contains("no mated contacts"));
}

/// A leg that shows the least reading on the quay lasts just as long as it has to.
#[test]
fn verif_the_least_reading_on_the_quay_lasts_just_long_enough() {
    let changes = leg("insulation_1km = \"1 Gohm\"", LIFE);
    let line = good(&borrowed(&changes)).line.unwrap();
    let told = acceptance(&line);
    close(told.new_ohm, 100e6, 0.0);
    close(told.soaked_ohm, 10e6, 0.0);
    close(told.voltage_v, 24.0, 0.0);
    let least = told.legs[0].least_ohm.clone().unwrap();
    for (degc, ohm) in QUAY_DEGC.into_iter().zip(least) {
        let keys =
            format!("insulation = {{ measured = \"{ohm} ohm\", temperature = \"{degc} degC\" }}");
        close(known(&judged(&keys, LIFE), "pin").value.value, 240.0, 1e-6);
    }
}
