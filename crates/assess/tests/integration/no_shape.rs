//! What is told of lines whose shape is not known, and of what was told of none: joints, ropes that part, crests over a short line. By sums of weights and Hooke's law.

use assess::{
    Check, NoShape, Ruling, Shelf, Verdict, WeightReserve, Word, check, line_weight_reserve,
    moorings, strengths,
};

use crate::moored::{head, silent_on_strum, tideless, with_modules};
use crate::support::{close, known, read, requirement, why_unknown};
use crate::weight_reserve::still;

const STAND: [&str; 4] = ["float-depth", "held-up", "rope-load", "anchor-hold"];

#[track_caller]
fn judged(text: &str) -> Check {
    let reading = read(text);
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    check(&reading, &Shelf::default())
}

#[track_caller]
fn with(text: &str, changes: &[(&str, &str)]) -> String {
    changes.iter().fold(text.to_owned(), |text, (from, to)| {
        assert!(text.contains(from), "{from} is not in {text}");
        text.replace(from, to)
    })
}

fn is_there(check: &Check, id: &str) -> bool {
    check.standing.iter().any(|j| j.id == id)
}

/// What was broken is unknown with the key that was left out, once for the line, and nothing is met by leaving it out.
#[test]
fn verif_what_stands_is_unknown_without_a_key_of_the_shape() {
    let text = still("");
    let line_of = |key: &str| {
        let at = text.find(&format!("\n{key} = ")).unwrap() + 1;
        let end = at + text[at..].find('\n').unwrap() + 1;
        text[at..end].to_owned()
    };
    let broken = [
        ("rated_depth = \"150 m\"", "rated_depth = \"20 m\""),
        (
            "weight_in_water = \"2000 N\"",
            "weight_in_water = \"900 N\"",
        ),
    ];
    let whole = judged(&with(&text, &broken));
    for id in ["float-depth", "anchor-hold"] {
        assert_eq!(requirement(&whole, id).word(), Word::Broken, "{id}");
    }
    let float = text.find("[float.top]").unwrap();
    let cd_a = {
        let at = float + text[float..].find("cd_a").unwrap();
        let end = at + text[at..].find('\n').unwrap() + 1;
        text[at..end].to_owned()
    };
    let of_float = |key: &str| format!("buoyancy = \"1200 N\"\n{key}");
    for (key, from, to) in [
        ("cd_a", of_float(&cd_a), of_float("")),
        ("stiffness", line_of("stiffness"), String::new()),
        ("normal_drag", line_of("normal_drag"), String::new()),
        (
            "weight_in_water",
            "weight_in_water = \"60 N\", ".to_owned(),
            String::new(),
        ),
        (
            "buoyancy",
            "buoyancy = \"1200 N\"\n".to_owned(),
            String::new(),
        ),
    ] {
        let check = judged(&with(&with(&text, &broken), &[(&from, &to)]));
        for id in STAND {
            let why = why_unknown(&check, id);
            assert!(why.contains(key), "{id} without {key}: {why}");
            assert_eq!(requirement(&check, id).verdicts.len(), 1, "{id}");
        }
    }
    let roped = line_of("rope");
    let bare = judged(&with(&text, &[(&roped, "")]));
    for id in STAND {
        assert!(why_unknown(&bare, id).contains("rope"), "{id}");
    }
}

/// A line that says no figure of these checks is asked for all of them, and nothing of it is known.
#[test]
fn verif_what_says_no_figure_is_unknown() {
    let text = with(
        &still(""),
        &[
            ("rated_depth = \"150 m\"\n", ""),
            ("working_load = \"3 kN\"\n", ""),
            ("weight_in_water = \"2000 N\"\nholding_factor = 0.5\n", ""),
            ("buoyancy = \"1200 N\"\n", ""),
        ],
    );
    let at = text.find("[part.rope-0]").unwrap();
    let rope = at + text[at..].find("weight_in_water").unwrap();
    let end = rope + text[rope..].find('\n').unwrap() + 1;
    let text = format!("{}{}", &text[..rope], &text[end..]);
    let text = with(
        &text,
        &[
            ("weight_in_water = \"60 N\", ", ""),
            ("weight_in_water = \"120 N\", ", ""),
        ],
    );
    let check = judged(&text);
    for id in STAND {
        assert_eq!(requirement(&check, id).word(), Word::Unknown, "{id}");
    }
}

/// Without `strumming_drag` a case in which ropes strum has no shape; what another case breaks stays broken.
#[test]
fn verif_a_case_without_a_shape_keeps_what_stands_unknown() {
    let strums = ("[case.only]", "[case.strums]\nstrum = true\n[case.only]");
    let text = silent_on_strum(&with(&tideless(&with_modules("")), &[strums]));
    let check = judged(&text);
    for id in ["float-depth", "rope-load", "anchor-hold"] {
        assert!(why_unknown(&check, id).contains("strumming_drag"), "{id}");
    }
    let deep = with(
        &text,
        &[("rated_depth = \"150 m\"", "rated_depth = \"20 m\"")],
    );
    assert_eq!(known(&judged(&deep), "float-depth").ruling, Ruling::Broken);
}

/// A float of 1500 N, 30 m of rope of 0.5 N/m to a joint of 20 N, 50 m from there to the bed, 100 m deep; a module without weight amid the upper section.
fn jointed(requirements: &str) -> String {
    let head = head("two sections", 100.0, 1025.0);
    format!(
        r#"{head}weight_in_water = "10 kN"
holding_factor = 0.5
[float.top]
buoyancy = "1500 N"
cd_a = "0.3 m2"
[section.upper]
from = "float.top"
to = "module.joint"
length = "30 m"
rope = "part.rope"
[section.lower]
from = "module.joint"
to = "anchor.sinker"
length = "50 m"
rope = "part.rope"
[part.rope]
is = "rope"
diameter = "12 mm"
weight_in_water = "0.5 N/m"
stiffness = "500 kN"
normal_drag = 1.2
tangential_drag = 0.02
[module.joint]
position = {{ depth = "50 m" }}
housing = {{ rated_depth = "200 m", weight_in_water = "20 N", cd_a = "0.03 m2" }}
[module.amid]
position = {{ section = "section.upper", from_top = "15 m" }}
housing = {{ rated_depth = "200 m", weight_in_water = "0 N", cd_a = "0.03 m2" }}
[span.joint]
from = "module.buoy"
to = "module.joint"
length = "300 m"
conductor = "1.0 mm2 class 5"
contacts = {{ mated_pins_in_loop = 4, resistance = "8 mohm" }}
[span.amid]
from = "module.joint"
to = "module.amid"
length = "30 m"
conductor = "1.0 mm2 class 5"
contacts = {{ mated_pins_in_loop = 4, resistance = "8 mohm" }}
[case.slack]
{requirements}"#
    )
}

/// Below the joint the rope is stretched by 1500 N less 15 N less 20 N less half of 25 N.
const JOINT_M: f64 = 100.0 - 50.0 * (1.0 + (1500.0 - 15.0 - 20.0 - 12.5) / 5e5);

#[test]
fn verif_a_module_between_two_sections_is_one_on_a_section() {
    let asks = "[requirement.deep]\nthat = \"module-depth\"\nat_most = \"45 m\"\n[requirement.upright]\nthat = \"module-tilt\"\nat_most = \"5 deg\"\n";
    let check = judged(&jointed(asks));
    let deep = known(&check, "deep");
    assert_eq!(
        (&*deep.subject, deep.ruling),
        ("module.joint", Ruling::Broken)
    );
    close(deep.value.value, JOINT_M, 1e-6);
    for id in ["deep", "upright"] {
        let subjects: Vec<&str> = requirement(&check, id)
            .verdicts
            .iter()
            .map(Verdict::subject)
            .collect();
        assert_eq!(subjects.len(), 2, "{id}: {subjects:?}");
        assert!(subjects.contains(&"module.amid"), "{id}: {subjects:?}");
    }
}

/// A weight at the joint takes as much from what stretches the 50 m below it.
#[test]
fn verif_the_reserve_counts_a_module_between_two_sections() {
    let asks = "[requirement.deep]\nthat = \"module-depth\"\nat_most = \"49.9 m\"\n";
    let reserve = line_weight_reserve(&read(&jointed(asks))).unwrap();
    let mut places = reserve.places.iter();
    let joint = places.find(|p| p.path == "module.joint").unwrap();
    let WeightReserve::Weight { weight_n, binds } = &joint.reserve else {
        panic!("{joint:?}");
    };
    close(*weight_n, (49.9 - JOINT_M) * 5e5 / 50.0, 1.0);
    assert!(binds.contains("requirement.deep, module.joint"), "{binds}");
}

/// At its top the rope bears the 1200 N of its float.
#[test]
fn verif_a_rope_without_a_working_load_is_held_to_its_breaking_load() {
    let loads = |breaking: &str, asks: &str| {
        let load = format!("breaking_load = \"{breaking}\"");
        with(&still(asks), &[("working_load = \"3 kN\"", &load)])
    };
    let asks = "[requirement.tension]\nthat = \"line-tension\"\n";
    for (breaking, asked) in [
        ("1190 N", Word::Broken),
        ("1250 N", Word::Unknown),
        ("3 kN", Word::Unknown),
    ] {
        let text = loads(breaking, "");
        let check = judged(&text);
        if asked == Word::Broken {
            let load = known(&check, "rope-load");
            close(load.value.value, 1200.0, 1e-6);
            assert!(load.why.contains("breaking load"), "{}", load.why);
        } else {
            let why = why_unknown(&check, "rope-load");
            assert!(why.contains("`working_load`"), "{why}");
        }
        // What a requirement asks of a rope that says no working load is no more than that it does not part.
        let tension = judged(&loads(breaking, asks));
        assert_eq!(requirement(&tension, "tension").word(), asked, "{breaking}");
        assert!(!is_there(&tension, "rope-load"));
        let reading = read(&text);
        let line = reading.line.as_ref().unwrap();
        let shown = strengths(line, &moorings(line).unwrap());
        let load = shown.iter().find(|s| s.check == "rope-load").unwrap();
        assert_eq!(load.verdict.subject(), "section.riser");
        assert_eq!(load.verdict.word(), asked);
    }
    // Without a shape it is unknown whether it parts.
    let lost = judged(&with(&loads("1190 N", ""), &[("normal_drag", "#")]));
    assert!(why_unknown(&lost, "rope-load").contains("normal_drag"));
}

/// A buoy on 102 m of rope in 100 m of water, of which some 2 m lie on the bed.
pub(crate) fn short(waves: &str, requirements: &str) -> String {
    let head = head("a short line", 100.0, 1025.0);
    format!(
        r#"{head}weight_in_water = "10 kN"
holding_factor = 0.5
safety_factor = 1
[module.buoy.hull]
weight = "2 kN"
waterplane = "1 m2"
full_draught = "0.8 m"
cd_a_water = "0.4 m2"
[section.riser]
from = "module.buoy"
to = "anchor.sinker"
length = "102 m"
rope = "part.rope"
[part.rope]
is = "rope"
diameter = "12 mm"
weight_in_water = "0.5 N/m"
stiffness = "500 kN"
working_load = "6 kN"
normal_drag = 1.2
tangential_drag = 0.02
[module.ear]
position = {{ section = "section.riser", from_top = "40 m" }}
housing = {{ rated_depth = "200 m", weight_in_water = "20 N", cd_a = "0.03 m2" }}
[span.down]
from = "module.buoy"
to = "module.ear"
length = "42 m"
conductor = "1.0 mm2 class 5"
contacts = {{ mated_pins_in_loop = 4, resistance = "8 mohm" }}
[case.slack]
[case.storm]
wave = {{ height = "{waves}", period = "10 s" }}
{requirements}"#
    )
}

/// What hangs in still water, some 70 N at most, stretches 102 m by less than 15 mm: the crests may be 2 m high and no more than that over. By Stokes's second order, in deep water, waves of 10 s and 3.86 m
/// have crests of 2.0050 m and those of 3.91 m of 2.0320 m.
#[test]
fn verif_crests_over_a_short_line_leave_it_unknown() {
    let asks = "[requirement.deep]\nthat = \"module-depth\"\nat_most = \"60 m\"\n";
    let all = ["afloat", "rope-load", "anchor-hold", "deep"];
    let calm = judged(&short("3.86 m", asks));
    for id in all {
        assert_eq!(requirement(&calm, id).word(), Word::Met, "{id}");
    }
    let text = short("3.91 m", asks);
    let high = judged(&text);
    for id in all {
        let why = why_unknown(&high, id);
        assert!(
            why.contains("storm") && why.contains("crests"),
            "{id}: {why}"
        );
    }
    let reading = read(&text);
    let found = moorings(reading.line.as_ref().unwrap()).unwrap();
    let shapes = &found.lines[0].as_ref().unwrap().shapes;
    let crest = shapes
        .iter()
        .find_map(|shape| shape.as_ref().err())
        .unwrap();
    let NoShape::Crest {
        water_m, reach_m, ..
    } = crest
    else {
        panic!("{crest}");
    };
    let k = std::f64::consts::TAU.powi(2) / (9.806_65 * 100.0);
    close(*water_m, 100.0 + 1.955 + 0.5 * k * 1.955 * 1.955, 1e-3);
    assert!(*reach_m > 102.0 && *reach_m < 102.015, "{reach_m}");
    let reserve = line_weight_reserve(&reading).unwrap();
    for place in &reserve.places {
        let WeightReserve::Unknown { why } = &place.reserve else {
            panic!("{place:?}");
        };
        assert!(why.contains("crests"), "{why}");
    }
    // One that is pulled under in still water is told as that, in waves too.
    let flood = ("[case.storm]", "[case.storm]\nwater_level = \"4 m\"");
    let under = judged(&with(&short("3.91 m", ""), &[flood]));
    assert_eq!(requirement(&under, "afloat").word(), Word::Broken);
}
