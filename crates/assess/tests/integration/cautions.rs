//! The cautions that a plan calls for.

use crate::support::checked;

const SUPPLY: &str = "kind = \"bench\"";

/// Whether some caution of the plan with these changes begins so.
fn warned(changes: &[(&str, &str)], beginning: &str) -> bool {
    let check = checked(changes);
    check.cautions.iter().any(|c| c.starts_with(beginning))
}

/// 30 V and 60 V of direct current: pool zones 0 and 1 of CEI 64-8 as quoted by a maker of luminaires, and IEC 60364-4-41 from
/// memory (docs/method/power.md).
#[test]
fn verif_a_feed_is_warned_of_by_its_voltage() {
    let feed = |voltage: &str| {
        let voltage = format!("voltage = \"{voltage}\"");
        let changes = [("voltage = \"48 V\"", voltage.as_str())];
        (
            warned(&changes, "Electricity in water: above 30 V DC"),
            warned(&changes, "A feed of this voltage can kill"),
        )
    };
    assert_eq!(feed("24 V"), (false, false));
    assert_eq!(feed("48 V"), (true, false));
    assert_eq!(feed("60 V"), (true, false));
    assert_eq!(feed("375 V"), (true, true));
}

#[test]
fn verif_cells_are_warned_of_by_their_chemistry() {
    let cells = |kind: &str, chemistry: &str| {
        let supply = format!(
            "kind = \"{kind}\"\nbattery = {{ chemistry = \"{chemistry}\", capacity = \"60 Ah\", voltage = \"12 V\" }}{}",
            if kind == "solar-battery" {
                "\npanels = { peak_power_each = \"20 W\", faces = 4, tilt = \"30 deg\", loss = \"15 %\" }"
            } else {
                ""
            }
        );
        ["Lithium cells", "Lead-acid cells", "Primary cells"]
            .map(|beginning| warned(&[(SUPPLY, &supply)], beginning))
    };
    assert_eq!(cells("solar-battery", "lifepo4"), [true, false, false]);
    assert_eq!(cells("solar-battery", "agm"), [false, true, false]);
    assert_eq!(
        cells("primary-cells", "primary-lithium"),
        [true, false, true]
    );
    assert_eq!(cells("primary-cells", "alkaline"), [false, false, true]);
}

/// No caution calls anything safe.
#[test]
fn verif_no_caution_calls_a_voltage_safe() {
    for caution in &checked(&[]).cautions {
        assert!(
            !caution.contains(" safe") || caution.contains("No voltage is called safe here"),
            "{caution}"
        );
    }
}

/// Above 30 V the caution has both limits, names no voltage as allowed and hands the matter on; from memory of IEC 60364-4-41
/// for 60 V, CEI 64-8 as quoted for 30 V and 12 V.
#[test]
fn verif_the_caution_of_electricity_in_water_has_both_limits() {
    let check = checked(&[]);
    let caution = check
        .cautions
        .iter()
        .find(|c| c.starts_with("Electricity in water"))
        .unwrap();
    for part in [
        "above 30 V DC (12 V AC) a person in the water may be at risk from a damaged cable",
        "above 60 V DC extra-low-voltage protection alone is not accepted even dry",
        "A qualified person and the current standards decide",
    ] {
        assert!(caution.contains(part), "{caution}");
    }
    let lower = caution.to_lowercase();
    for word in ["harmless", "allowed", "permitted", "below 30", "up to 30"] {
        assert!(!lower.contains(word), "{caution}");
    }
}
