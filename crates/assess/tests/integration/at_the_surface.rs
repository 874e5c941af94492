//! Lines of which something floats as high as the water stands: they have no shape below it, and nothing of them is kept.

use assess::{Shelf, Word, check};

use crate::moored::{head, hung};
use crate::support::{read, requirement, why_unknown};

const ROPE: &str = r#"[part.rope]
is = "rope"
diameter = "8 mm"
weight_in_water = "0.4 N/m"
stiffness = "300 kN"
working_load = "2.4 kN"
normal_drag = 1.3
tangential_drag = 0.02
"#;

const ASKS: &str = r#"[requirement.deep]
that = "module-depth"
of = "module.m"
at_most = "60 m"
[requirement.circle]
that = "watch-circle"
at_most = "60 m"
[requirement.tension]
that = "line-tension"
at_most = "3 kN"
"#;

/// 130 m of line from `top` in 100 m of still water, a module of 20 N 75 m from the anchor, and what else hangs there.
fn line(top: &str, rope_n_m: f64, more: &str) -> String {
    let rope = ROPE.replace("0.4 N/m", &format!("{rope_n_m} N/m"));
    format!(
        r#"{}weight_in_water = "9500 N"
holding_factor = 0.5
safety_factor = 1.5
{more}[section.low]
from = "{top}"
to = "anchor.sinker"
length = "130 m"
rope = "part.rope"
{rope}[module.m]
position = {{ section = "section.low", from_anchor = "75 m" }}
housing = {{ rated_depth = "99 m", weight_in_water = "20 N", cd_a = "0.02 m2" }}
[span.down]
from = "module.buoy"
to = "module.m"
length = "200 m"
conductor = "1.0 mm2 class 5"
contacts = {{ mated_pins_in_loop = 4, resistance = "8 mohm" }}
[case.slack]
nominal = true
{ASKS}"#,
        head("a line that floats", 100.0, 1030.0)
    )
}

const HULL: &str = "[module.buoy.hull]\nweight = \"100 N\"\nwaterplane = \"0.5 m2\"\nfull_draught = \"0.6 m\"\ncd_a_water = \"0.2 m2\"\n";

fn float(id: &str, buoyancy_n: f64, from_anchor_m: Option<f64>) -> String {
    let at = from_anchor_m.map_or_else(String::new, |m| {
        format!("position = {{ section = \"section.low\", from_anchor = \"{m} m\" }}\n")
    });
    format!(
        "[float.{id}]\nbuoyancy = \"{buoyancy_n} N\"\ncd_a = \"0.06 m2\"\nrated_depth = \"160 m\"\n{at}"
    )
}

const WEIGHT: &str = "[weight.w]\nposition = { section = \"section.low\", from_anchor = \"20 m\" }\nweight_in_water = \"2000 N\"\ncd_a = \"0.05 m2\"\n";

/// By lengths: 110 m of rope from a weight on the bed hold a float 10 m above 100 m of water, 115 m of it a float 15 m above it, and rope that floats stands as high as it
/// hangs down to its buoy again.
#[test]
fn verif_what_floats_higher_than_the_water_keeps_nothing() {
    for (text, told, standing) in [
        (
            line("float.top", -0.1, &(float("top", 500.0, None) + WEIGHT)),
            "the float comes to the surface: its line would hold it 10.",
            &["float-depth", "rope-load", "housing-depth"][..],
        ),
        (
            line(
                "module.buoy",
                0.4,
                &(float("mid", 300.0, Some(115.0)) + HULL),
            ),
            "comes to the surface 115 m from its anchor: it would stand 15",
            &["float-depth", "rope-load", "housing-depth", "afloat"],
        ),
        (
            line("module.buoy", -0.5, HULL),
            "comes to the surface 11",
            &["rope-load", "housing-depth", "afloat"],
        ),
    ] {
        let reading = read(&text);
        assert!(!reading.has_errors(), "{:?}", reading.mistakes);
        let check = check(&reading, &Shelf::default());
        for id in ["deep", "circle", "tension"].iter().chain(standing) {
            let why = why_unknown(&check, id);
            assert!(why.contains(told), "{id}: {why}");
        }
    }
}

/// 20 m further down the same float stands 5 m below the surface, and all of it is known.
#[test]
fn verif_what_floats_below_the_surface_is_judged() {
    let text = line(
        "module.buoy",
        0.4,
        &(float("mid", 300.0, Some(95.0)) + HULL),
    );
    let check = check(&read(&text), &Shelf::default());
    for id in ["deep", "circle", "tension", "float-depth", "afloat"] {
        assert_eq!(requirement(&check, id).word(), Word::Met, "{id}");
    }
}

/// 300 N within the reach of a buoy of 100 N, less the 40 N of 100 m of rope, pull it upwards: it cannot float on less than no water.
#[test]
fn verif_a_buoy_that_its_line_lifts_has_no_shape() {
    let near = float("mid", 300.0, Some(129.995)) + HULL;
    let found = hung(&line("module.buoy", 0.4, &near));
    let shape = &found.lines[0].as_ref().unwrap().shapes[0];
    let why = shape.as_ref().unwrap_err().to_string();
    assert!(why.contains("N upwards, and it weighs 100 N"), "{why}");
}
