//! What lets the water press, pull or uncover more than a plan says in so many words: waves, tides, the site's own current, a wind with a direction, the size of a float.

use assess::{Check, Shelf, Word, check};

use crate::support::{NO_CURRENT, NO_WIND, close, known, read, requirement};

const HEAD: &str = r#"format = 1
[deployment]
name = "At its worst"
start = 2027-05-10
duration = "30 d"
[site]
latitude = "50 deg"
longitude = "-5 deg"
water_depth = "100 m"
density = "1025 kg/m3"
profile = [{ depth = "0 m", temperature = "10 degC", salinity = 35 }]
tide = { lowest = "0 m", highest = "0 m" }
[supply.mains]
at = "module.ear"
kind = "bench"
output = { voltage = "24 V", resistance = "0.1 ohm", current_limit = "2 A" }
[anchor.clump]
weight_in_water = "1200 N"
holding_factor = 0.5
safety_factor = 1.5
[section.riser]
from = "TOP"
to = "anchor.clump"
length = "130 m"
rope = "part.rope"
[part.rope]
is = "rope"
diameter = "12 mm"
weight_in_water = "0.5 N/m"
stiffness = "500 kN"
working_load = "6 kN"
normal_drag = 1.2
tangential_drag = 0.02
strumming_drag = 2.0
[module.ear]
position = { section = "section.riser", from_top = "2 m" }
housing = { rated_depth = "15.1 m", weight_in_water = "20 N", cd_a = "0.03 m2" }
"#;
const FLOAT: &str = "[float.top]\nbuoyancy = \"3 kN\"\ncd_a = \"0.3 m2\"\nrated_depth = \"400 m\"\ndiameter = \"0.8 m\"\n";
const BUOY: &str = "[module.buoy]\nposition = { depth = \"0 m\" }\nhull = { weight = \"2 kN\", waterplane = \"1 m2\", full_draught = \"0.8 m\", cd_a_water = \"0.4 m2\", cd_a_wind = \"0.5 m2\" }\n[span.down]\nfrom = \"module.buoy\"\nto = \"module.ear\"\nlength = \"5 m\"\nconductor = \"1.0 mm2 class 5\"\ncontacts = { mated_pins_in_loop = 0, resistance = \"0 ohm\" }\n";

/// What both begin with, of a site without current and wind.
fn head(top: &str) -> String {
    let calm = format!("{NO_CURRENT}{NO_WIND}tide =");
    HEAD.replace("TOP", top).replacen("tide =", &calm, 1)
}

/// A float on a line of a length.
pub(crate) fn float(length: &str, more: &str) -> String {
    let head = head("float.top").replace("130 m", length);
    format!("{head}{FLOAT}{more}")
}

pub(crate) fn buoy(more: &str) -> String {
    format!("{}{BUOY}{more}", head("module.buoy"))
}

#[track_caller]
fn checked(text: &str) -> Check {
    let reading = read(text);
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    check(&reading, &Shelf::default())
}

/// Linear theory: the wave number k of 13 s in 100 m of water solves `w^2 = g k tanh(k d)` (SciPy 1.17.1, brentq: 0.02387 rad/m), and the pressure of waves of 14 m at 9.9 m is
/// `7 cosh(k (100 - 9.9)) / cosh(k 100)` = 5.5 m of water: a housing rated for 15.1 m at 9.9 m is broken with them and met without.
#[test]
fn val_waves_press_on_a_housing() {
    let calm = "[case.slack]\nnominal = true\n";
    let waves = format!(
        "{calm}[case.storm]\ncurrent = [{{ depth = \"0 m\", speed = \"0.1 m/s\", towards = \"90 deg\" }}]\nwave = {{ height = \"14 m\", period = \"13 s\" }}\n"
    );
    let found = checked(&float("91.6 m", calm));
    let still_m = known(&found, "housing-depth").value.value;
    assert_eq!(requirement(&found, "housing-depth").word(), Word::Met);
    let found = checked(&float("91.6 m", &waves));
    let housing = known(&found, "housing-depth");
    assert_eq!(requirement(&found, "housing-depth").word(), Word::Broken);
    let k = 0.023_873;
    let adds_m = 7.0 * (k * (100.0 - still_m)).cosh() / (k * 100.0_f64).cosh();
    close(housing.value.value, still_m + adds_m, 0.05);
    assert!(housing.why.contains("waves"), "{}", housing.why);
}

/// Of a housing that stands where it is written the water rises with the tide: 30 m and 4 m are more than 33 m.
#[test]
fn verif_the_tide_rises_over_what_stands_on_the_bed() {
    let text = |highest: &str| {
        let head = HEAD[..HEAD.find("[anchor.clump]").unwrap()]
            .replace("100 m", "30 m")
            .replace("module.ear", "module.hut");
        let head = head.replace("highest = \"0 m\"", &format!("highest = \"{highest}\""));
        format!(
            "{head}[module.hut]\nposition = {{ depth = \"30 m\" }}\nhousing = {{ rated_depth = \"33 m\" }}\n"
        )
    };
    let found = checked(&text("0 m"));
    close(known(&found, "housing-depth").value.value, 30.0, 1e-9);
    let found = checked(&text("4 m"));
    close(known(&found, "housing-depth").value.value, 34.0, 1e-9);
    assert_eq!(requirement(&found, "housing-depth").word(), Word::Broken);
}

/// A declared slack case does not silence what the site writes: with it a case more has the site's current and its windiest month. By hand the wind alone, 0.5 * 1.225 kg/m3 * 0.5 m2 * (15 m/s)^2 = 69 N, and the
/// current of 1.5 m/s on the hull and 130 m of rope pull far more than an anchor of 1200 N holds.
#[test]
fn verif_a_slack_case_does_not_stand_for_the_site() {
    let slack = "[case.slack]\nnominal = true\n";
    let plain = buoy(slack);
    let found = checked(&plain);
    assert_eq!(requirement(&found, "anchor-hold").word(), Word::Met);
    let winds = ["\"15 m/s\""; 12].join(", ");
    let site = format!(
        "current = [{{ depth = \"0 m\", speed = \"1.5 m/s\", towards = \"90 deg\" }}]\nwind = [{winds}]\n"
    );
    let flows = plain.replacen(&format!("{NO_CURRENT}{NO_WIND}"), &site, 1);
    let found = checked(&flows);
    assert_eq!(requirement(&found, "anchor-hold").word(), Word::Broken);
    assert!(
        known(&found, "anchor-hold").why.contains("site"),
        "{}",
        known(&found, "anchor-hold").why
    );
    let told = "no declared case is as strong at every depth as the site itself with its current and the mean wind of its windiest month, 15 m/s and ropes that strum: one more is (site)";
    assert!(
        found.assumed.iter().any(|a| a.contains(told)),
        "{:#?}",
        found.assumed
    );
    // A weaker current and a lighter wind do not speak for it either, and the anchor's verdict stays.
    let weak = format!(
        "{flows}[case.flow]\nwind = {{ speed = \"1 m/s\" }}\ncurrent = [{{ depth = \"0 m\", speed = \"0.1 m/s\", towards = \"90 deg\" }}]\n"
    );
    let found = checked(&weak);
    assert_eq!(requirement(&found, "anchor-hold").word(), Word::Broken);
    assert!(found.assumed.iter().any(|a| a.contains(told)));
    // A case with as strong a current does.
    let own = format!(
        "{flows}[case.flow]\nstrum = true\ncurrent = [{{ depth = \"0 m\", speed = \"1.5 m/s\", towards = \"90 deg\" }}]\n"
    );
    let found = checked(&own);
    assert!(
        !found
            .assumed
            .iter()
            .any(|a| a.contains("as the site itself")),
        "{:#?}",
        found.assumed
    );
}

/// A current without a direction runs with the wind of its case: the same figures as where the plan writes that.
#[test]
fn verif_a_current_without_a_direction_runs_with_the_wind() {
    let case = |towards: &str| {
        buoy(&format!(
            "[case.flow]\nnominal = true\ncurrent = [{{ depth = \"0 m\", speed = \"0.6 m/s\"{towards} }}]\nwind = {{ speed = \"20 m/s\", towards = \"270 deg\" }}\n"
        ))
    };
    let load_n = |towards: &str| known(&checked(&case(towards)), "anchor-hold").value.value;
    close(load_n(""), load_n(", towards = \"270 deg\""), 1e-9);
    assert!(load_n("") > load_n(", towards = \"0 deg\"") + 50.0);
}

/// A sphere of 2 m whose middle lies less than 1 m deep stands out of calm water, and one that is covered by less than the trough of waves comes out in them: what they lift is not known.
#[test]
fn verif_a_float_that_is_not_covered_lifts_what_nobody_knows() {
    let word = |length: &str, wave: &str| {
        let case = format!("[case.slack]\nnominal = true\n{wave}");
        let text = float(length, &case).replace("diameter = \"0.8 m\"", "diameter = \"2 m\"");
        let found = checked(&text);
        (
            requirement(&found, "held-up").word(),
            requirement(&found, "float-depth").word(),
        )
    };
    assert_eq!(word("97 m", ""), (Word::Met, Word::Met));
    assert_eq!(word("99.2 m", ""), (Word::Unknown, Word::Unknown));
    let waves = "wave = { height = \"5 m\", period = \"9 s\" }\n";
    assert_eq!(word("97 m", waves), (Word::Unknown, Word::Unknown));
    assert_eq!(word("95 m", waves), (Word::Met, Word::Met));
}

/// A mistake where it is written: strum that drags less, a case under the name of another at an end of the tide, a text that steers a terminal.
#[test]
fn verif_what_cannot_be_meant_is_refused() {
    let slack = "[case.slack]\nnominal = true\n";
    let refused = |text: &str, word: &str| {
        let reading = read(text);
        let told = reading
            .mistakes
            .iter()
            .any(|m| m.is_error() && m.message.contains(word));
        assert!(told, "{word}: {:?}", reading.mistakes);
    };
    let plain = buoy(slack);
    assert!(!read(&plain).has_errors(), "{:?}", read(&plain).mistakes);
    refused(
        &plain.replace("strumming_drag = 2.0", "strumming_drag = 0.3"),
        "drags less",
    );
    refused(&format!("{plain}[case.slack-lowest]\n"), "lowest water");
    refused(&plain.replace("At its worst", "n\\u001b[31m"), "U+001B");
    refused(&plain.replace("At its worst", "n\\u202e"), "U+202E");
}

/// A float that comes off rises, and a housing falls: rated for 60 m over a bed at 100 m the float is held to the 8 m at which it hangs, by `mooring` as by `check`.
#[test]
fn verif_a_float_is_held_to_where_it_hangs() {
    let text = float("91.6 m", "[case.slack]\nnominal = true\n").replace("\"400 m\"", "\"60 m\"");
    let found = checked(&text);
    assert_eq!(requirement(&found, "float-depth").word(), Word::Met);
    let reading = read(&text);
    let line = reading.line.as_ref().unwrap();
    let bears = assess::strengths(line, &assess::moorings(line).unwrap());
    let words = |of: &str| -> Vec<Word> {
        let own = bears.iter().filter(|s| s.verdict.subject() == of);
        own.map(|s| s.verdict.word()).collect()
    };
    // What it holds up, how far its line keeps clear of the bed, and where it hangs.
    assert_eq!(words("float.top"), [Word::Met; 3], "{bears:#?}");
    assert!(words("module.ear").contains(&Word::Broken));
}
