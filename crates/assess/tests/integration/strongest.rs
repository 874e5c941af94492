//! One design case speaks for another only where it can do no less: ends of the tide, the site's waves, the turn of a tide in a sea.

use assess::{Check, Shelf, Word, check};

use crate::at_their_worst::{buoy, float};
use crate::support::{NO_CURRENT, NO_WIND, close, known, read, requirement, why_unknown};

#[track_caller]
fn judged(text: &str) -> Check {
    let reading = read(text);
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    check(&reading, &Shelf::default())
}

fn tidal(text: &str) -> String {
    text.replacen(
        "lowest = \"0 m\", highest = \"0 m\"",
        "lowest = \"-2 m\", highest = \"0 m\"",
        1,
    )
}

/// A current of one direction from the surface to the bed.
fn flows(id: &str, speed: &str, towards: &str, more: &str) -> String {
    format!(
        "[case.{id}]\ncurrent = [{{ depth = \"0 m\", speed = \"{speed}\", towards = \"{towards}\" }}]\n{more}"
    )
}

const CIRCLE: &str =
    "[requirement.swing]\nthat = \"watch-circle\"\nof = \"module.buoy\"\nat_most = \"500 m\"\n";

/// A weak case that is declared at low water leaves the strong one to be taken there: the circle is that of a plan that writes the strong one at low water itself.
#[test]
fn verif_a_weak_case_at_low_water_does_not_stand_for_a_strong_one() {
    let slack = "[case.slack]\nnominal = true\n";
    let weak = flows("weak", "0.3 m/s", "90 deg", "water_level = \"-2 m\"\n");
    let strong = flows("strong", "0.8 m/s", "90 deg", "");
    let radius_m = |cases: &str| {
        let found = judged(&tidal(&buoy(&format!("{CIRCLE}{slack}{cases}"))));
        let swing = known(&found, "swing");
        (swing.value.value, swing.why.clone())
    };
    let written = flows("strong", "0.8 m/s", "90 deg", "water_level = \"-2 m\"\n");
    let (written_m, _) = radius_m(&written);
    let (weak_m, _) = radius_m(&weak);
    let (found_m, why) = radius_m(&format!("{weak}{strong}"));
    assert!(written_m > weak_m + 5.0, "{written_m} {weak_m}");
    close(found_m, written_m, 1e-9);
    assert!(why.contains("strong-lowest"), "{why}");
    // One as strong to another side does for it, one that is weaker at the bed does not.
    let other = flows("other", "0.9 m/s", "270 deg", "water_level = \"-2 m\"\n");
    let ids = |cases: &str| {
        let reading = read(&tidal(&buoy(&format!("{slack}{cases}"))));
        let found = assess::moorings(reading.line.as_ref().unwrap()).unwrap();
        let ids = found.cases.iter().map(|c| c.id.clone());
        ids.collect::<Vec<_>>()
    };
    assert_eq!(
        ids(&format!("{other}{strong}")),
        ["other", "slack", "strong", "slack-lowest", "other-highest"]
    );
    let sheared = other.replace(
        "towards = \"270 deg\" }]",
        "towards = \"270 deg\" }, { depth = \"100 m\", speed = \"0.7 m/s\", towards = \"270 deg\" }]",
    );
    assert_eq!(
        ids(&format!("{sheared}{strong}")),
        [
            "other",
            "slack",
            "strong",
            "slack-lowest",
            "strong-lowest",
            "other-highest"
        ]
    );
}

/// Slack water comes in a storm, too: the troughs of its waves, 7 m below still water, lay a float bare that the storm's own current holds 6 m lower. Without the storm's waves it is met.
#[test]
fn verif_a_sea_outlasts_the_turn_of_a_tide() {
    let wave = "wave = { height = \"14 m\", period = \"13 s\" }\n";
    let cases = |wave: &str| {
        let storm = flows("storm", "1.2 m/s", "90 deg", wave);
        format!("[case.slack]\nnominal = true\n{storm}")
    };
    let found = judged(&float("95 m", &cases("")));
    assert_eq!(requirement(&found, "float-depth").word(), Word::Met);
    let found = judged(&float("95 m", &cases(wave)));
    let why = why_unknown(&found, "float-depth");
    assert!(why.contains("slack-sea"), "{why}");
    let said = "no case as slack has waves as high as those of case.storm: the slackest counts once more in them (slack-sea)";
    assert!(
        found.assumed.iter().any(|a| a.contains(said)),
        "{:#?}",
        found.assumed
    );
}

/// A case without waves and with a stronger current than any that has them takes the site's, and one that a rough case does for does not.
#[test]
fn verif_the_sites_waves_count_in_the_strongest_current() {
    let heights = ["\"2 m\""; 12].join(", ");
    let rough =
        |text: String| text.replacen("tide =", &format!("wave_height = [{heights}]\ntide ="), 1);
    let sea = "wave = { height = \"5 m\", period = \"9 s\" }\n";
    let waves = |stream: &str| {
        let storm = flows("storm", "0.6 m/s", "90 deg", sea);
        let text = rough(buoy(&format!(
            "[case.slack]\nnominal = true\n{storm}{}",
            flows("stream", stream, "90 deg", "")
        )));
        let reading = read(&text);
        let found = assess::moorings(reading.line.as_ref().unwrap()).unwrap();
        let of = |id: &str| found.cases.iter().find(|c| c.id == id).and_then(|c| c.wave);
        (of("stream"), of("slack"), of("slack-sea"))
    };
    let (stream, slack, turned) = waves("0.9 m/s");
    // The likely highest of 1000 waves of a mean sea of 2 m is `2 sqrt(ln(1000) / 2)` = 3.717 m (Rayleigh's law), less than those of the storm.
    close(
        stream.unwrap().0,
        2.0 * (0.5 * 1000.0_f64.ln()).sqrt(),
        1e-9,
    );
    assert_eq!((slack, turned), (None, Some((5.0, 9.0))));
    assert_eq!(waves("0.5 m/s").0, None);
}

/// A float of 3 kN displaces at least 3000 / (1025 * 9.80665) = 0.2985 m3, a ball of 0.8290 m across: held with its middle 0.4 m deep it comes out of the water, 0.5 m deep it may stay in it, though nobody writes its
/// size.
#[test]
fn verif_a_float_of_no_written_size_is_as_large_as_what_it_lifts() {
    let at = |deep_m: f64| {
        let text =
            float("LONG", "[case.slack]\nnominal = true\n").replace("diameter = \"0.8 m\"\n", "");
        // The rope stretches: its length is found from the depth that a long one gives.
        let depth_m = |long_m: f64| {
            let text = text.replace("LONG", &format!("{long_m} m"));
            let reading = read(&text);
            let found = assess::moorings(reading.line.as_ref().unwrap()).unwrap();
            let shape = found.lines[0].as_ref().unwrap().shapes[0].as_ref().unwrap();
            shape.top_depth_m
        };
        let (short_m, shorter_m) = (depth_m(90.0), depth_m(80.0));
        let long_m = 90.0 + (short_m - deep_m) * 10.0 / (shorter_m - short_m);
        judged(&text.replace("LONG", &format!("{long_m} m")))
    };
    assert_eq!(requirement(&at(0.5), "float-depth").word(), Word::Met);
    let bare = at(0.4);
    let why = why_unknown(&bare, "float-depth");
    assert!(why.contains("displaces no more than it lifts"), "{why}");
}

/// What a plan declares adds to what its site has and takes nothing of it away: the load on the anchor is no less with any of these cases than without.
#[test]
fn verif_no_declared_case_takes_from_the_site() {
    let winds = ["\"14 m/s\""; 12].join(", ");
    let site = |current: &str, cases: &str| {
        let text = tidal(&buoy(cases)).replacen(
            &format!("{NO_CURRENT}{NO_WIND}"),
            &format!("current = {current}\nwind = [{winds}]\n"),
            1,
        );
        known(&judged(&text), "anchor-hold").value.value
    };
    let slack = "[case.slack]\nnominal = true\n";
    let uniform =
        "[{ depth = \"0 m\", speed = \"0.9 m/s\" }, { depth = \"100 m\", speed = \"0.9 m/s\" }]";
    let own_n = site(uniform, slack);
    // Without a case the same weather is taken, with ropes that strum.
    close(site(uniform, ""), own_n, 1e-9);
    for case in [
        // As fast at the surface alone.
        "[case.sheet]\ncurrent = [{ depth = \"0 m\", speed = \"0.9 m/s\" }, { depth = \"5 m\", speed = \"0 m/s\" }]\nstrum = true\nwind = { speed = \"14 m/s\" }\n",
        // A gale without a current.
        "[case.gale]\nwind = { speed = \"14 m/s\" }\n",
        // A wind as strong against the current.
        "[case.against]\ncurrent = [{ depth = \"0 m\", speed = \"0.9 m/s\", towards = \"0 deg\" }]\nstrum = true\nwind = { speed = \"14 m/s\", towards = \"180 deg\" }\n",
        // A weaker current that strums.
        "[case.strums]\ncurrent = [{ depth = \"0 m\", speed = \"0.5 m/s\" }]\nstrum = true\n",
    ] {
        let found_n = site(uniform, &format!("{slack}{case}"));
        assert!(found_n >= own_n - 1e-6, "{case}: {found_n} {own_n}");
    }
}

/// Where a tide is written the stream turns: a module that hangs deepest in slack water is held to that though every declared case has a current.
#[test]
fn verif_a_tide_has_slack_water() {
    let stream = flows("stream", "0.8 m/s", "90 deg", "");
    let asks =
        "[requirement.deep]\nthat = \"module-depth\"\nof = \"module.ear\"\nat_most = \"500 m\"\n";
    let deep = |text: String| {
        let text = text
            .replace("from_top = \"2 m\"", "from_top = \"90 m\"")
            .replace("length = \"5 m\"", "length = \"95 m\"");
        let found = judged(&text);
        let deep = known(&found, "deep");
        (deep.value.value, deep.why.clone())
    };
    let (still_m, _) = deep(buoy(&format!("{asks}[case.slack]\nnominal = true\n")));
    let (steady_m, _) = deep(buoy(&format!("{asks}{stream}")));
    assert!(steady_m < still_m - 1.0, "{steady_m} {still_m}");
    let (tidal_m, why) = deep(tidal(&buoy(&format!("{asks}{stream}"))));
    assert!(tidal_m >= still_m - 1e-6, "{tidal_m} {still_m}");
    assert!(why.contains("slack"), "{why}");
}

/// Waves as high as the site's sea and shorter than its swell do not speak for the swell.
#[test]
fn verif_short_waves_do_not_speak_for_a_swell() {
    let waves = |period: &str| {
        let case = format!(
            "[case.slack]\nnominal = true\n[case.chop]\nwave = {{ height = \"2.5 m\", period = \"{period}\" }}\n"
        );
        let text = buoy(&case).replacen(
            "tide =",
            "swell = { height = \"1 m\", period = \"15 s\" }\ntide =",
            1,
        );
        let reading = read(&text);
        let found = assess::moorings(reading.line.as_ref().unwrap()).unwrap();
        found
            .cases
            .iter()
            .any(|c| c.wave.is_some_and(|(_, s)| s == 15.0))
    };
    assert!(waves("5 s"));
    assert!(!waves("16 s"));
}

/// A gale outlasts the turn of a tide, too: with it and no stream the circle is that of a plan that writes slack water in it. Where a case as slack has the wind, none is added.
#[test]
fn verif_a_gale_outlasts_the_turn_of_a_tide() {
    let gale = "wind = { speed = \"25 m/s\" }\nwave = { height = \"2 m\", period = \"8 s\" }\n";
    let storm = flows("storm", "0.1 m/s", "90 deg", gale);
    let slack = "[case.slack]\nnominal = true\n";
    let radius_m = |cases: &str| {
        let found = judged(&buoy(&format!("{CIRCLE}{slack}{cases}")));
        let swing = known(&found, "swing");
        (swing.value.value, swing.why.clone(), found.assumed)
    };
    let still = format!("[case.gale]\n{gale}");
    let (written_m, _, _) = radius_m(&still);
    let (found_m, why, assumed) = radius_m(&storm);
    assert!(found_m >= written_m, "{found_m} {written_m} {why}");
    let ids = |cases: &str| {
        let reading = read(&buoy(&format!("{slack}{cases}")));
        let found = assess::moorings(reading.line.as_ref().unwrap()).unwrap();
        let blown = found.cases.into_iter().find(|c| c.id == "slack-blown");
        blown.map(|case| (case.wind, case.wave, case.current.len()))
    };
    assert_eq!(ids(&storm), Some((Some((25.0, 90.0)), Some((2.0, 8.0)), 0)));
    assert_eq!(ids(&format!("{storm}{still}")), None);
    assert!(
        assumed
            .iter()
            .any(|a| a.contains("no case as slack has a wind of 25 m/s")),
        "{assumed:#?}"
    );
}

/// A storm and a spring tide that no case has together are told, with both.
#[test]
fn verif_weather_that_does_not_meet_is_told() {
    let gale = "wind = { speed = \"25 m/s\" }\nwave = { height = \"6 m\", period = \"9 s\" }\n";
    let told = |stream: &str| {
        let cases = format!(
            "[case.slack]\nnominal = true\n{}{}",
            flows("storm", "0.4 m/s", "90 deg", gale),
            flows("spring", stream, "90 deg", "")
        );
        let assumed = judged(&buoy(&cases)).assumed;
        let apart = assumed
            .into_iter()
            .filter(|a| a.contains("does not count together"));
        apart.collect::<Vec<_>>()
    };
    let [wind, waves] = told("0.9 m/s").try_into().unwrap();
    assert!(
        wind.starts_with("the wind of case.storm, 25 m/s, does not count together with the faster water current of case.spring, 0.9 m/s"),
        "{wind}"
    );
    assert!(
        waves.starts_with("the highest wave of case.storm, 6 m,"),
        "{waves}"
    );
    assert_eq!(told("0.3 m/s"), [""; 0]);
}

/// What moves about a line of which nothing says how the water and the wind about it move is not known: nothing that grows with them is met.
#[test]
fn verif_weather_that_nobody_wrote_is_unknown() {
    let whole = buoy("[case.slack]\nnominal = true\n");
    let held = |text: &str| requirement(&judged(text), "anchor-hold").word();
    assert_eq!(held(&whole), Word::Met);
    for (left_out, names) in [(NO_CURRENT, "`current`"), (NO_WIND, "`wind`")] {
        let found = judged(&whole.replacen(left_out, "", 1));
        for id in ["anchor-hold", "rope-load", "afloat", "clear-of-bed"] {
            let why = why_unknown(&found, id);
            assert!(why.contains(names), "{id}: {why}");
        }
    }
    // What is broken without them is broken.
    let weak = whole.replacen(NO_CURRENT, "", 1).replacen(
        "working_load = \"6 kN\"",
        "working_load = \"1 N\"",
        1,
    );
    assert_eq!(
        requirement(&judged(&weak), "rope-load").word(),
        Word::Broken
    );
    // A float is pushed by no wind.
    let float = float("91.6 m", "[case.slack]\nnominal = true\n");
    let found = judged(&float.replacen(NO_WIND, "", 1));
    assert_eq!(requirement(&found, "rope-load").word(), Word::Met);
}

/// A rope that strums drags more: of one that does not say how much nothing is met in a current, behind a fairing and in slack water all is as it was.
#[test]
fn verif_a_rope_that_is_silent_on_strum_is_unknown_in_a_current() {
    let silent = |cases: &str| buoy(cases).replace("strumming_drag = 2.0\n", "");
    let slack = "[case.slack]\nnominal = true\n";
    let flowing = silent(&format!(
        "{slack}{}",
        flows("stream", "0.2 m/s", "90 deg", "")
    ));
    let why = |text: &str| why_unknown(&judged(text), "rope-load").to_owned();
    assert!(
        why(&flowing).contains("`strumming_drag`"),
        "{}",
        why(&flowing)
    );
    let faired = flowing.replace(
        "rope = \"part.rope\"",
        "rope = \"part.rope\"\nfairing = true",
    );
    for text in [faired, silent(slack)] {
        assert_eq!(requirement(&judged(&text), "rope-load").word(), Word::Met);
    }
}

/// A current of which only the depths near the bed are written is none that a line far above stands in.
#[test]
fn verif_a_current_near_the_bed_tells_nothing_of_the_surface() {
    let cases = |depth: &str| {
        format!(
            "[case.slack]\nnominal = true\n[case.stream]\ncurrent = [{{ depth = \"{depth}\", speed = \"0.1 m/s\", towards = \"90 deg\" }}]\n"
        )
    };
    let deep = judged(&buoy(&cases("95 m")));
    let why = why_unknown(&deep, "rope-load");
    assert!(why.contains("written from 95 m down"), "{why}");
    assert_eq!(
        requirement(&judged(&buoy(&cases("5 m"))), "rope-load").word(),
        Word::Met
    );
}

/// What floats amid a line holds up what hangs below it, and nothing above: 2 N at the top do not lift 40 m of rope of 0.5 N/m, 20 N, down to a float of 1500 N; and a float with nothing but its rope is asked as well.
#[test]
fn verif_a_float_amid_a_line_holds_up_nothing_above_it() {
    let weak = float("130 m", "[case.slack]\nnominal = true\n").replace("\"3 kN\"", "\"2 N\"");
    let mid = "[float.mid]\nbuoyancy = \"1500 N\"\ncd_a = \"0.2 m2\"\nrated_depth = \"200 m\"\ndiameter = \"0.8 m\"\nposition = { section = \"section.riser\", from_top = \"40 m\" }\n";
    let lower = |text: &str| text.replace("from_top = \"2 m\"", "from_top = \"60 m\"");
    let found = judged(&lower(&format!("{weak}{mid}")));
    let held = known(&found, "held-up");
    close(held.value.value, 2.0 - 20.0, 1e-9);
    assert!(held.why.contains("float.mid"), "{}", held.why);
    // 130 m of rope alone, 65 N.
    let alone = weak.replace(
        "position = { section = \"section.riser\", from_top = \"2 m\" }",
        "position = { depth = \"0 m\" }",
    );
    close(
        known(&judged(&alone), "held-up").value.value,
        2.0 - 65.0,
        1e-9,
    );
}

/// A module that lies on the bed in the usual case is asked for, unless the plan says that it is meant to.
#[test]
fn verif_a_module_on_the_bed_is_asked_whether_it_is_meant_to() {
    let low = |says: &str| {
        let module = format!(
            "[module.low]\nposition = {{ section = \"section.riser\", from_anchor = \"5 m\" }}\nhousing = {{ rated_depth = \"150 m\", weight_in_water = \"20 N\", cd_a = \"0.03 m2\" }}\n{says}[span.low]\nfrom = \"module.ear\"\nto = \"module.low\"\nlength = \"130 m\"\nconductor = \"1.0 mm2 class 5\"\ncontacts = {{ mated_pins_in_loop = 0, resistance = \"0 ohm\" }}\n"
        );
        let found = judged(&buoy(&format!("[case.slack]\nnominal = true\n{module}")));
        let clear = requirement(&found, "clear-of-bed").clone();
        let own = clear.verdicts.iter().find(|v| v.subject() == "module.low");
        (clear.word(), own.map(|v| v.why().to_owned()))
    };
    let (word, why) = low("");
    assert_eq!(word, Word::Unknown);
    assert!(why.unwrap().contains("`lies_on_bed = true`"));
    assert_eq!(low("lies_on_bed = true\n"), (Word::Met, None));
}
