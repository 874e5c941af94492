//! What waves make of a line: the surface at their crests and in their troughs, floats that come out, waves of the site, the bed at the lowest water. By sums of weights, lengths, linear theory and SciPy's shapes.

use assess::{Check, Shelf, Surface, Word, check, moorings};

use crate::at_their_worst::{buoy, float};
use crate::moored::{hung, plan_of};
use crate::no_shape::short;
use crate::support::{NO_CURRENT, NO_WIND, close, known, read, requirement, why_unknown};

#[track_caller]
fn judged(text: &str) -> Check {
    let reading = read(text);
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    check(&reading, &Shelf::default())
}

/// Number of deep water of a period, rad/m.
fn deep_number(period_s: f64) -> f64 {
    std::f64::consts::TAU.powi(2) / (9.806_65 * period_s * period_s)
}

/// Number of waves of a period over a depth: `omega^2 = g k tanh(k h)`, halved.
fn number(period_s: f64, depth_m: f64) -> f64 {
    let omega = std::f64::consts::TAU / period_s;
    let (mut low, mut high) = (1e-5_f64, 10.0_f64);
    for _ in 0..200 {
        let k = 0.5 * (low + high);
        match 9.806_65 * k * (k * depth_m).tanh() > omega * omega {
            true => high = k,
            false => low = k,
        }
    }
    low
}

/// In still water the buoy bears the rope down to the bed, 0.5 N/m, and the housing of 20 N; its crests of 1.5 m and half of `k a^2` lift that much more of the rope, its troughs lay 1.5 m of it down.
#[test]
fn verif_crests_lift_the_rope_that_lay_on_the_bed() {
    let text = short("3 m", "");
    let found = judged(&text);
    let crest_m = 1.5 + 0.5 * deep_number(10.0) * 2.25;
    let load = known(&found, "rope-load");
    close(load.value.value, 20.0 + 0.5 * (100.0 + crest_m), 0.02);
    assert!(
        load.why.contains("the crests of case.storm"),
        "{}",
        load.why
    );
    // 1025 kg/m3 x 9.80665 m/s2 x 0.8 m3, less the buoy's 2 kN.
    let reserve_n = 1025.0 * 9.806_65 * 0.8 - 2000.0 - 20.0 - 0.5 * (100.0 + crest_m);
    close(known(&found, "afloat").value.value, reserve_n, 0.02);
    let reading = read(&text);
    let all = moorings(reading.line.as_ref().unwrap()).unwrap();
    let section = all.lines[0].as_ref().unwrap().sections[0];
    assert_eq!(section.tension_n.surface, Surface::Crest);
    let storm = all.cases.iter().position(|c| c.id == "storm").unwrap();
    let shape = all.lines[0].as_ref().unwrap().shapes[storm]
        .as_ref()
        .unwrap();
    let trough = shape.trough.as_ref().unwrap();
    close(trough.buoy.unwrap().pull_n, 20.0 + 0.5 * 98.5, 0.02);
    close(trough.shape.touch.unwrap().s_m, 102.0 - 98.5, 0.02);
}

/// The lines under buoys of SciPy's integrator (reference/mooring/scipy-lines.json), written in water that is shallower by the crests of long waves: at the crests they are SciPy's.
#[test]
fn val_a_line_at_the_crests_hangs_as_another_integrator_says() {
    let document = truth::json("mooring/scipy-lines.json");
    let mut seen = 0;
    for entry in document["lines"].as_array().unwrap().iter().take(6) {
        if entry["case"]["top"]["kind"] == "float" {
            continue;
        }
        let depth_m = entry["case"]["depth"].as_f64().unwrap();
        let (height_m, period_s) = (3.0, 18.0);
        let mut still_m = depth_m;
        for _ in 0..50 {
            still_m = depth_m
                - mooring::Wave::new(height_m, period_s, still_m)
                    .unwrap()
                    .crest_m();
        }
        let text = plan_of(&entry["case"]);
        let written = format!("water_depth = \"{depth_m} m\"");
        assert!(text.contains(&written));
        let text = text.replace(&written, &format!("water_depth = \"{still_m} m\""));
        let text =
            format!("{text}wave = {{ height = \"{height_m} m\", period = \"{period_s} s\" }}\n");
        let found = hung(&text);
        let shape = found.lines[0].as_ref().unwrap().shapes[0].as_ref();
        let crest = shape.unwrap().crest.as_ref().unwrap();
        for part in 0..3 {
            let theirs = |key: &str| entry["found"][key][part].as_f64().unwrap();
            close(crest.shape.top_n[part], theirs("top_n"), 1e-3);
            close(crest.shape.anchor_n[part], theirs("anchor_n"), 1e-3);
            close(crest.shape.top_m[part], theirs("top"), 1e-4);
        }
        seen += 1;
    }
    assert!(seen >= 2, "{seen}");
}

const MONTHS: usize = 12;

/// The site's mean heights in a plan that has a place for its tide.
fn rough(text: &str, height: &str) -> String {
    let heights = vec![format!("\"{height}\""); MONTHS].join(", ");
    assert!(text.contains("tide ="));
    text.replacen("tide =", &format!("wave_height = [{heights}]\ntide ="), 1)
}

/// Of a mean sea of 7.5 m the likely highest of 1000 waves is `7.5 sqrt(ln(1000) / 2)` = 13.94 m (Rayleigh's law), and the peak of a risen sea of that height has 2 pi / 0.877 g of its wind, whose height is 0.21 U^2/g
/// (Pierson and Moskowitz 1964, from memory): 13.7 s. They press on a housing by linear theory.
#[test]
fn val_the_sites_waves_press_where_no_case_has_any() {
    let calm = "[case.slack]\nnominal = true\n";
    let text = float("91.6 m", calm);
    let still_m = known(&judged(&text), "housing-depth").value.value;
    let found = judged(&rough(&text, "7.5 m"));
    let housing = known(&found, "housing-depth");
    let height_m = 7.5 * (0.5 * 1000.0_f64.ln()).sqrt();
    let wind_m_s = (7.5 * 9.806_65 / 0.2092_f64).sqrt();
    let period_s = std::f64::consts::TAU * wind_m_s / (0.877 * 9.806_65);
    let k = number(period_s, 100.0);
    let adds_m = 0.5 * height_m * (k * (100.0 - still_m)).cosh() / (k * 100.0).cosh();
    close(housing.value.value, still_m + adds_m, 0.02);
    assert_eq!(requirement(&found, "housing-depth").word(), Word::Broken);
    let told = |found: &Check, word: &str| found.assumed.iter().any(|a| a.contains(word));
    assert!(
        told(&found, "the highest of 1000 waves"),
        "{:#?}",
        found.assumed
    );
    assert!(!told(&found, "the case writes no `wave`"));
    // A case that has waves as high as the mean sea speaks for the site, one that has ripples does not.
    let own = |height: &str| {
        let case = format!("[case.waves]\nwave = {{ height = \"{height}\", period = \"13 s\" }}\n");
        let found = judged(&rough(&float("91.6 m", &format!("{calm}{case}")), "7.5 m"));
        (
            known(&found, "housing-depth").value.value,
            told(&found, "the highest of 1000 waves"),
        )
    };
    let (of_8_m, site_counts) = own("8 m");
    assert!(!site_counts && of_8_m < housing.value.value);
    let (of_ripples, site_counts) = own("0.1 m");
    assert!(site_counts);
    close(of_ripples, housing.value.value, 1e-9);
    // A swell without a sea of the wind counts with its own period.
    let swell = text.replacen(
        "tide =",
        "swell = { height = \"2 m\", period = \"16 s\" }\ntide =",
        1,
    );
    let k = number(16.0, 100.0);
    let high_m = 2.0 * (0.5 * 1000.0_f64.ln()).sqrt();
    let adds_m = 0.5 * high_m * (k * (100.0 - still_m)).cosh() / (k * 100.0).cosh();
    close(
        known(&judged(&swell), "housing-depth").value.value,
        still_m + adds_m,
        1e-6,
    );
}

/// The same in a plan that declares no case, and on a housing that stands where it is written.
#[test]
fn verif_the_sites_waves_count_without_cases_and_on_what_stands() {
    let taken = float("91.6 m", "").replacen(
        NO_CURRENT,
        "current = [{ depth = \"0 m\", speed = \"0.1 m/s\" }]\n",
        1,
    );
    let still_m = known(&judged(&taken), "housing-depth").value.value;
    let found = judged(&rough(&taken, "7.5 m"));
    assert!(known(&found, "housing-depth").value.value > still_m + 4.0);
    assert!(
        !found.assumed.iter().any(|a| a.contains("no waves")),
        "{:#?}",
        found.assumed
    );
    let head = &taken[..taken.find("[anchor.clump]").unwrap()];
    let head = head
        .replace("100 m", "30 m")
        .replace("module.ear", "module.hut");
    let stands = format!(
        "{head}[module.hut]\nposition = {{ depth = \"29 m\" }}\nhousing = {{ rated_depth = \"40 m\" }}\n"
    );
    close(
        known(&judged(&stands), "housing-depth").value.value,
        29.0,
        1e-9,
    );
    let found = judged(&rough(&stands, "2 m"));
    let wind_m_s = (2.0 * 9.806_65 / 0.2092_f64).sqrt();
    let k = number(std::f64::consts::TAU * wind_m_s / (0.877 * 9.806_65), 30.0);
    let adds_m = (0.5 * 1000.0_f64.ln()).sqrt() * k.cosh() / (k * 30.0).cosh();
    close(
        known(&found, "housing-depth").value.value,
        29.0 + adds_m,
        1e-3,
    );
}

/// Where cases have a current and none a wind, each counts once more with the wind of the site's windiest month: as if that were written.
#[test]
fn verif_the_sites_wind_blows_on_cases_without_one() {
    let flow = "[case.slack]\nnominal = true\n[case.flow]\ncurrent = [{ depth = \"0 m\", speed = \"0.5 m/s\", towards = \"90 deg\" }]\n";
    let windy = |text: &str| {
        let winds = ["\"15 m/s\""; MONTHS].join(", ");
        text.replacen(NO_WIND, &format!("wind = [{winds}]\n"), 1)
    };
    let load_n = |text: &str| known(&judged(text), "anchor-hold").value.value;
    let still_n = load_n(&buoy(flow));
    let found_n = load_n(&windy(&buoy(flow)));
    let written = buoy(&format!("{flow}wind = {{ speed = \"15 m/s\" }}\n"));
    assert!(found_n > still_n + 50.0, "{found_n} {still_n}");
    close(found_n, load_n(&windy(&written)), 1e-9);
    let found = judged(&windy(&buoy(flow)));
    assert!(
        found.assumed.iter().any(|a| a.contains("flow-wind")),
        "{:#?}",
        found.assumed
    );
    let why = &known(&found, "anchor-hold").why;
    assert!(why.contains("flow-wind"), "{why}");
}

/// A float that its own rope holds 5 m below still water comes out in troughs of 6 m, and in those of 4.2 m where it is 2 m wide.
#[test]
fn verif_a_float_amid_a_line_is_held_to_the_troughs() {
    let line = |diameter: &str, height: &str| {
        let amid = format!(
            "[float.mid]\nposition = {{ section = \"section.riser\", from_anchor = \"95 m\" }}\nbuoyancy = \"300 N\"\ncd_a = \"0.06 m2\"\nrated_depth = \"160 m\"\n{diameter}"
        );
        buoy(&format!(
            "[case.slack]\nnominal = true\n[case.storm]\nwave = {{ height = \"{height}\", period = \"12 s\" }}\n{amid}"
        ))
    };
    for (diameter, height, word) in [
        ("", "6 m", Word::Met),
        ("", "12 m", Word::Unknown),
        ("diameter = \"2 m\"\n", "6 m", Word::Met),
        ("diameter = \"2 m\"\n", "8.4 m", Word::Unknown),
        ("", "8.4 m", Word::Met),
    ] {
        let found = judged(&line(diameter, height));
        for id in ["float-depth", "rope-load", "afloat"] {
            assert_eq!(
                requirement(&found, id).word(),
                word,
                "{id} {diameter} {height}"
            );
            if word == Word::Unknown {
                let why = why_unknown(&found, id);
                assert!(why.contains("troughs of its waves"), "{why}");
            }
        }
    }
    // The crests press on it: its middle 5 m deep in still water.
    let found = judged(&line("", "6 m"));
    let k = number(12.0, 100.0);
    let adds_m = 3.0 * (k * 95.0).cosh() / (k * 100.0).cosh();
    let depth = known(&found, "float-depth").value.value;
    assert!(depth > 5.0 + adds_m - 0.1, "{depth} {adds_m}");
}

/// A float 3 m wide just below the one at the top of its line is bare in troughs of 1.7 m, in which that is not.
#[test]
fn verif_a_float_amid_a_line_under_a_float_is_held_to_the_troughs() {
    let amid = |height: &str| {
        let more = format!(
            "[case.slack]\nnominal = true\nwave = {{ height = \"{height}\", period = \"9 s\" }}\n[float.mid]\nposition = {{ section = \"section.riser\", from_top = \"0.5 m\" }}\nbuoyancy = \"300 N\"\ncd_a = \"0.06 m2\"\nrated_depth = \"160 m\"\ndiameter = \"3 m\"\n"
        );
        float("97 m", &more)
    };
    assert_eq!(
        requirement(&judged(&amid("2 m")), "float-depth").word(),
        Word::Met
    );
    let found = judged(&amid("3.4 m"));
    for id in ["float-depth", "held-up", "rope-load"] {
        let why = why_unknown(&found, id);
        assert!(why.contains("a float 96.5 m from its anchor"), "{why}");
    }
}

/// Waves of 6 m stand in 10 m of water, and break in the 7 m of its lowest: higher than 0.78 of the depth (McCowan 1894, from memory).
#[test]
fn verif_waves_that_break_at_the_lowest_water_leave_it_unknown() {
    let text = |lowest: &str| {
        let waves =
            "[case.slack]\nnominal = true\nwave = { height = \"6 m\", period = \"10 s\" }\n";
        buoy(waves)
            .replace("water_depth = \"100 m\"", "water_depth = \"10 m\"")
            .replace("length = \"130 m\"", "length = \"30 m\"")
            .replace("lowest = \"0 m\"", &format!("lowest = \"{lowest}\""))
    };
    let stands = judged(&text("-1 m"));
    assert_eq!(requirement(&stands, "rope-load").word(), Word::Met);
    let breaks = judged(&text("-3 m"));
    for id in ["rope-load", "anchor-hold", "housing-depth"] {
        let why = why_unknown(&breaks, id);
        assert!(
            why.contains("break in 7 m of water, above 5.4") && why.contains("slack-lowest"),
            "{id}: {why}"
        );
    }
}

/// By lengths: a housing 17 m of rope below the buoy hangs 3 m above the bed in 20 m of water, 0.5 m at a tide of 2.5 m less, and lies on it in troughs of 1.5 m more.
#[test]
fn verif_what_touches_the_bed_at_low_water_is_broken() {
    let text = |lowest: &str, height: &str| {
        let waves = format!(
            "[case.slack]\nnominal = true\nwave = {{ height = \"{height}\", period = \"7 s\" }}\n"
        );
        buoy(&waves)
            .replace("water_depth = \"100 m\"", "water_depth = \"20 m\"")
            .replace("length = \"130 m\"", "length = \"40 m\"")
            .replace("from_top = \"2 m\"", "from_top = \"17 m\"")
            .replace("length = \"5 m\"", "length = \"45 m\"")
            .replace("lowest = \"0 m\"", &format!("lowest = \"{lowest}\""))
    };
    for (lowest, height, room_m, word) in [
        ("0 m", "0 m", 3.0, Word::Met),
        ("0 m", "2 m", 2.0, Word::Met),
        ("-2.5 m", "0 m", 0.5, Word::Marginal),
        ("-2.5 m", "3 m", 0.0, Word::Broken),
    ] {
        let found = judged(&text(lowest, height));
        let room = known(&found, "clear-of-bed");
        close(room.value.value, room_m, 0.01);
        assert_eq!(
            requirement(&found, "clear-of-bed").word(),
            word,
            "{lowest} {height}"
        );
        if height != "0 m" {
            assert!(
                room.why.contains("troughs") && room.why.contains("module.ear"),
                "{}",
                room.why
            );
        }
    }
    let lies = text("-2.5 m", "2 m")
        .replace("from_top = \"17 m\"", "from_top = \"30 m\"")
        .replace("[module.ear]\n", "[module.ear]\nlies_on_bed = true\n");
    let found = judged(&lies);
    assert!(
        known(&found, "clear-of-bed").why.contains("keel"),
        "{}",
        known(&found, "clear-of-bed").why
    );
}

/// A buoy that draws `(2 kN + what hangs) / (1025 kg/m3 g 1 m2)` runs aground where that is more than the water has left.
#[test]
fn verif_a_buoy_runs_aground() {
    let text =
        buoy("[case.slack]\nnominal = true\nwave = { height = \"0.5 m\", period = \"4 s\" }\n")
            .replace("water_depth = \"100 m\"", "water_depth = \"2 m\"")
            .replace("length = \"130 m\"", "length = \"10 m\"")
            .replace("from_top = \"2 m\"", "from_top = \"5 m\"")
            .replace("[module.ear]\n", "[module.ear]\nlies_on_bed = true\n")
            .replace("lowest = \"0 m\"", "lowest = \"-1.2 m\"");
    let found = judged(&text);
    let keel = known(&found, "clear-of-bed");
    let hangs_n = 0.5 * (2.0 - 1.2 - 0.25);
    close(
        keel.value.value,
        2.0 - 1.2 - 0.25 - (2000.0 + hangs_n) / (1025.0 * 9.806_65),
        0.01,
    );
    let deeper = text.replace("weight = \"2 kN\"", "weight = \"6 kN\"");
    assert_eq!(
        requirement(&judged(&deeper), "clear-of-bed").word(),
        Word::Broken
    );
}

/// Without a case and without what one could be taken from, what parts bear is unknown with what to write; it does not vanish.
#[test]
fn verif_what_stands_is_unknown_without_cases() {
    for text in [
        float("91.6 m", ""),
        buoy("").replace("tide = { lowest = \"0 m\", highest = \"0 m\" }\n", ""),
    ] {
        let found = judged(&text.replacen(NO_CURRENT, "", 1));
        let mut asked = vec!["rope-load", "anchor-hold", "clear-of-bed"];
        asked.push(if text.contains("[float.top]") {
            "float-depth"
        } else {
            "afloat"
        });
        for id in asked {
            let why = why_unknown(&found, id);
            assert!(
                why.contains("current") && why.contains("write that, or a `case`"),
                "{id}: {why}"
            );
        }
    }
}

/// The watch circle of a buoy counts how far the water takes it to and fro: in deep water half the height of the waves.
#[test]
fn verif_a_watch_circle_counts_waves() {
    let ask = "[requirement.circle]\nthat = \"watch-circle\"\nat_most = \"100 m\"\n";
    let circle_m = |waves: &str| {
        let flow = format!(
            "[case.flow]\nnominal = true\ncurrent = [{{ depth = \"0 m\", speed = \"0.5 m/s\", towards = \"90 deg\" }}]\n{waves}{ask}"
        );
        known(&judged(&buoy(&flow)), "circle").value.value
    };
    let still_m = circle_m("");
    close(
        circle_m("wave = { height = \"4 m\", period = \"7 s\" }\n"),
        still_m + 2.0,
        1e-3,
    );
}
