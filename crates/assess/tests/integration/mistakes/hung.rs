//! Mistakes in what hangs, and in what does not.

use assess::{Shelf, Word, check};

use crate::moored::with_modules;
use crate::support::{read, requirement};

const ASKS: &str = r#"
[requirement.depth]
that = "module-depth"
at_most = "200 m"
[requirement.housings]
that = "housing-margin"
"#;

/// A mistake in rope, case, anchor, float or hull hides the shape; one in the supply does not. Each is told with its place.
#[test]
fn verif_a_mistake_in_what_hangs_hides_the_shape_alone() {
    for (from, to, depth, housings) in [
        (
            "diameter = \"0.014 m\"",
            "diameter = \"0.014 V\"",
            Word::Unknown,
            Word::Met,
        ),
        (
            "[case.only]\n",
            "[case.only]\nwater_level = \"1\"\n",
            Word::Unknown,
            Word::Unknown,
        ),
        (
            "holding_factor = 0.5",
            "holding_factor = \"half\"",
            Word::Unknown,
            Word::Met,
        ),
        (
            "buoyancy = \"1200 N\"",
            "buoyancy = \"1200 m\"",
            Word::Unknown,
            Word::Unknown,
        ),
        (
            "weight_in_water = \"60 N\"",
            "weight_in_water = \"60\"",
            Word::Unknown,
            Word::Unknown,
        ),
        (
            "voltage = \"24 V\"",
            "voltage = \"24 m\"",
            Word::Met,
            Word::Met,
        ),
    ] {
        let text = with_modules(ASKS);
        assert_eq!(text.matches(from).count(), 1, "{from}");
        let reading = read(&text.replace(from, to));
        assert!(reading.has_errors(), "{to}");
        let check = check(&reading, &Shelf::default());
        assert_eq!(requirement(&check, "depth").word(), depth, "{to}");
        assert_eq!(requirement(&check, "housings").word(), housings, "{to}");
    }
}
