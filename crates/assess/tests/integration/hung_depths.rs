//! One geometry: what hears, waits and warms counts at the depths at which the line hangs.

use assess::range::{Curve, InjectionRecord, Sampled, Subject};
use assess::{Check, PathAsk, Shelf, Verdict, Word, check, depths_told, sound_paths};
use plan::{CallIx, DetectorIx, Line, Reading};

use crate::moored::{plan_of, silent_on_strum, tideless, with_modules};
use crate::support::{NO_CURRENT, NO_WIND, close, read, requirement};

/// Hung depths are told to whole thousandths of a metre.
const STEP_M: f64 = 1e-3;
/// Wind at which ranges are asked for, m/s.
const WIND_M_S: f64 = 6.0;

#[track_caller]
fn good(text: &str) -> Reading {
    let reading = read(text);
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    reading
}

fn depth_m(line: &Line, id: &str) -> f64 {
    line.modules[line.module_by_id(id).unwrap().0].depth_m
}

/// The figures of SciPy for the second named line of reference/mooring/scipy-lines.json, to the thousandth of a metre.
#[test]
fn val_modules_count_where_another_integrator_hangs_them() {
    let reading = good(&with_modules(""));
    let line = reading.line.as_ref().unwrap();
    close(depth_m(line, "w0"), 80.581_384, 0.5 * STEP_M + 1e-4);
    close(depth_m(line, "w1"), 45.846_538, 0.5 * STEP_M + 1e-4);
    let told = depths_told(line).unwrap();
    assert_eq!(told.case.as_deref(), Some("case.only"));
    assert_eq!(told.modules.len(), 2);
    // Straight up from the anchor: 120 m of water less 40 m and 75 m of rope. Only the first hangs a metre off and is not told twice.
    let straight = |id: &str| told.modules.iter().find(|m| m.module == id).unwrap();
    close(straight("module.w0").straight_m.unwrap(), 80.0, 1e-9);
    close(straight("module.w1").straight_m.unwrap(), 45.0, 1e-9);
    assert!(
        !told.words.iter().any(|w| w.contains("module.w")),
        "{told:?}"
    );
}

/// A stiff line that stands straight up in still water: every depth to the last bit as it is without a shape.
#[test]
fn verif_a_straight_line_gives_the_depths_of_a_straight_line() {
    let text = with_modules("");
    let case = text.find("[case.only]").unwrap();
    let end = case + text[case..].find("current = ").unwrap();
    let close_at = end + text[end..].find('\n').unwrap();
    let still = format!("{}{}", &text[..end], &text[close_at..]);
    let stiff = {
        let at = still.find("stiffness = \"").unwrap();
        let end = at + still[at..].find('\n').unwrap();
        format!("{}stiffness = \"1e13 N\"{}", &still[..at], &still[end..])
    };
    let reading = good(&stiff);
    let hung = reading.line.unwrap();
    let straight = plan::read(std::path::Path::new("plan.toml"), &|_| {
        Ok(stiff.clone().into_bytes())
    });
    let straight = straight.line.unwrap();
    for (a, b) in hung.modules.iter().zip(&straight.modules) {
        assert_eq!(a.depth_m.to_bits(), b.depth_m.to_bits(), "{}", a.id);
    }
    assert_ne!(hung.depths, straight.depths);
    let told = depths_told(&hung).unwrap();
    assert_eq!(told.words.len(), 1, "{told:?}");
}

/// Hydrophones on the leaning line of the reference, with a detector, a call, a vote, conductors in water that grows colder downwards.
fn heard() -> String {
    let mut text = with_modules(
        r#"
[detector.low]
on = "module.w0.sensor.ear"
stages = [
  { band = ["80 Hz", "300 Hz"] },
  { level = "rms", window = "0.2 s" },
  { background = "median", over = "10 s" },
  { on_above = "8 dB", off_below = "5 dB", shortest = "0.3 s", longest = "3 s", hold_off = "5 s" },
]
[call.moan]
kind = "upsweep"
from = "110 Hz"
to = "180 Hz"
length = "1 s"
source_level = "160 dB re 1 uPa m"
depth = "20 m"
[requirement.far]
that = "detection-range"
of = "detector.low"
call = "call.moan"
at_least = "1 km"
share = "50 %"
when_wind_at_most = "6 m/s"
[requirement.volts]
that = "voltage"
at_least = "12 V"
"#,
    );
    let ear = "sensitivity = \"-170 dB re 1 V/uPa\"\ngain = \"20 dB\"\nadc = { full_scale = \"2.5 V\", bits = 16, rate = \"4 kHz\" }\nsettles_in = \"1 s\"\ncalibrated = { date = 2026-12-01, by = \"test\" }\nself_noise = [{ frequency = \"10 Hz\", level = \"58 dB re 1 uPa2/Hz\" }, { frequency = \"2 kHz\", level = \"40 dB re 1 uPa2/Hz\" }]\n";
    for id in ["w0", "w1"] {
        text = text.replace(
            &format!("[span.{id}]"),
            &format!("[module.{id}.sensor.ear]\nkind = \"hydrophone\"\n{ear}[span.{id}]"),
        );
        text = text.replace(
            &format!("[module.{id}]\n"),
            &format!("[module.{id}]\ninput = {{ minimum = \"9 V\", maximum = \"36 V\" }}\nloads = {{ listening = \"3 W\" }}\nboot = {{ time = \"2 s\", power = \"3 W\" }}\npasses = {{ power = \"always\", data = \"running\" }}\nthrough = {{ resistance = \"0.1 ohm\" }}\n"),
        );
    }
    let text = text
        .replace(
            "resistance = \"8 mohm\"",
            "resistance = \"8 mohm\", aged = \"80 mohm\"",
        )
        .replace(
            "[module.buoy]\n",
            "[module.buoy]\nthrough = { resistance = \"0.1 ohm\" }\n",
        );
    text.replace(NO_WIND, "").replace(
        "profile = [{ depth = \"0 m\", temperature = \"9 degC\", salinity = 34 }]",
        "profile = [{ depth = \"0 m\", temperature = \"17 degC\", salinity = 34 }, { depth = \"60 m\", temperature = \"11 degC\", salinity = 34.5 }, { depth = \"120 m\", temperature = \"6 degC\", salinity = 35 }]\nph = 8\nshipping = 0.3\nwind = [\"6 m/s\", \"6 m/s\", \"6 m/s\", \"6 m/s\", \"6 m/s\", \"6 m/s\", \"6 m/s\", \"6 m/s\", \"6 m/s\", \"6 m/s\", \"6 m/s\", \"6 m/s\"]\npaths = \"surface-image\"\nbottom = { sound_speed = \"1650 m/s\", density = \"1900 kg/m3\", attenuation_per_wavelength = \"0.8 dB\" }",
    )
}

/// The same with each module written at a depth, and nothing that hangs.
fn written_at(text: &str, depths_m: [f64; 2]) -> String {
    let mut text = text.to_owned();
    for (id, depth_m) in ["w0", "w1"].into_iter().zip(depths_m) {
        let at = text.find(&format!("[module.{id}]")).unwrap();
        let from = at + text[at..].find("position = ").unwrap();
        let end = from + text[from..].find('\n').unwrap();
        text.replace_range(
            from..end,
            &format!("position = {{ depth = \"{depth_m} m\" }}"),
        );
    }
    text
}

fn judged(reading: &Reading) -> Check {
    let subject = Subject::new(reading.line.as_ref().unwrap(), DetectorIx(0), CallIx(0)).unwrap();
    let sampled = Sampled {
        wind_m_s: Some(WIND_M_S),
        noise_level_db: subject.noise_level_db(WIND_M_S).unwrap(),
        curve: Curve::new(&[(-1.0, 0), (1.0, 200)], 200).unwrap(),
        by_chance: 0,
        false_alarms: 0,
        listened_s: 600.0,
        clipped: vec![0; 2],
        seed: 1,
        kept: false,
    };
    let shelf = Shelf {
        injections: vec![InjectionRecord::new(&subject, &sampled, "test").unwrap()],
        range_command: Some("soundline range plan.toml".to_owned()),
        ..Shelf::default()
    };
    check(reading, &shelf)
}

fn figures(check: &Check, id: &str) -> Vec<(String, u64)> {
    let judged = requirement(check, id);
    let all = judged.verdicts.iter().map(|v| match v {
        Verdict::Known(k) => (k.subject.clone(), k.value.value.to_bits()),
        other => panic!("{id}: {other:?}"),
    });
    all.collect()
}

/// Range, voltages and paths of a leaning line are to the last bit those of a plan that writes the depths at which it hangs; and not those of
/// the straight line.
#[test]
fn verif_a_leaning_line_is_heard_where_it_hangs() {
    let text = tideless(&heard());
    let leaning = good(&text);
    let line = leaning.line.as_ref().unwrap();
    let hung_m = ["w0", "w1"].map(|id| depth_m(line, id));
    let written = good(&written_at(&text, hung_m));
    let straight = good(&written_at(&text, [80.0, 45.0]));
    let checks = [&leaning, &written, &straight].map(judged);
    for id in ["far", "volts"] {
        let [of_leaning, of_written, of_straight] =
            [0, 1, 2].map(|i: usize| figures(&checks[i], id));
        assert_eq!(of_leaning, of_written, "{id}");
        assert_ne!(of_leaning, of_straight, "{id} reads no depth");
    }
    let ask = PathAsk {
        source_depth_m: 30.0,
        range_m: Some(600.0),
        out_to_m: 600.0,
        to: None,
        frequency_hz: Some(150.0),
        field: false,
    };
    let paths = |reading: &Reading| sound_paths(reading.line.as_ref().unwrap(), &ask).unwrap();
    let [a, b, c] = [&leaning, &written, &straight].map(paths);
    for ((a, b), c) in a.ears.iter().zip(&b.ears).zip(&c.ears) {
        let loss = |ear: &assess::EarPaths| ear.rays.as_ref().unwrap().power_loss_db.to_bits();
        assert_eq!(loss(a), loss(b));
        assert_ne!(loss(a), loss(c));
        assert_eq!(a.depth_by, "hung, in case.only");
        assert_eq!(b.depth_by, "as written");
    }
    let delays = |p: &assess::SoundPaths| format!("{:?}", p.pairs);
    assert_eq!(delays(&a), delays(&b));
}

/// What the plan does not say of the rope leaves the depths of a straight line, and the output says so and why.
#[test]
fn verif_without_a_shape_the_straight_depths_stand_and_are_told() {
    let text = with_modules("").replace("normal_drag = 1.2\n", "");
    let reading = good(&text);
    let line = reading.line.as_ref().unwrap();
    close(depth_m(line, "w0"), 80.0, 1e-9);
    let check = check(&reading, &Shelf::default());
    let told = check.depths.unwrap();
    assert_eq!(told.case, None);
    assert!(
        told.words.iter().any(|w| w.contains("normal_drag")),
        "{told:?}"
    );
    let depth = requirement_of(&check.standing, "housing-depth");
    assert!(
        depth
            .verdicts
            .iter()
            .all(|v| matches!(v, Verdict::Known(k) if k.why.contains("normal_drag"))),
        "{depth:?}"
    );
}

/// The lower module hangs 80 m deep below a float with the line straight down, in 120 m of water and a tide of 2.5 m: a current knocks it down, so straight down breaks a
/// rating and keeps none, and the bed keeps one. Below a pier straight down is the deepest.
#[test]
fn verif_without_a_shape_a_float_keeps_no_rating_above_the_bed() {
    let unshaped = with_modules("").replace("normal_drag = 1.2\n", "");
    let rated = |text: &str, rated: &str| {
        let text = text.replace(
            "rated_depth = \"200 m\"",
            &format!("rated_depth = \"{rated}\""),
        );
        let check = check(&good(&text), &Shelf::default());
        let depth = requirement_of(&check.standing, "housing-depth");
        let of = depth.verdicts.iter().find(|v| v.subject() == "module.w0");
        of.unwrap().clone()
    };
    let value_m = |verdict: &Verdict| match verdict {
        Verdict::Known(k) => k.value.value,
        other => panic!("{other:?}"),
    };
    let kept = rated(&unshaped, "130 m");
    assert_eq!(kept.word(), Word::Met, "{kept:?}");
    close(value_m(&kept), 122.5, 1e-9);
    let open = rated(&unshaped, "100 m");
    assert_eq!(open.word(), Word::Unknown, "{open:?}");
    assert!(open.why().contains("normal_drag"), "{}", open.why());
    assert!(open.why().contains("122.5"), "{}", open.why());
    let broken = rated(&unshaped, "70 m");
    assert_eq!(broken.word(), Word::Broken);
    close(value_m(&broken), 80.0, 1e-9);
    let pier = unshaped
        .replace("from = \"float.top\"", "from = \"module.buoy\"")
        .replace("length = \"95 m\"", "length = \"125 m\"")
        .replace(
            "[float.top]\n",
            "[float.top]\nposition = { section = \"section.riser\", from_anchor = \"90 m\" }\n",
        );
    let below = rated(&pier, "100 m");
    assert_eq!(below.word(), Word::Met, "{below:?}");
    let hull = "[module.buoy.hull]\nweight = \"1000 N\"\n";
    let buoy = rated(&format!("{pier}{hull}"), "100 m");
    assert_eq!(buoy.word(), Word::Unknown, "{buoy:?}");
}

fn requirement_of<'c>(all: &'c [assess::Judged], id: &str) -> &'c assess::Judged {
    all.iter().find(|j| j.id == id).unwrap()
}

/// Depths of a check that nobody asked to hang are those of one that was asked.
#[test]
fn verif_a_check_hangs_what_was_only_read() {
    let text = heard();
    let read_alone = plan::read(std::path::Path::new("plan.toml"), &|_| {
        Ok(text.clone().into_bytes())
    });
    let a = check(&read_alone, &Shelf::default());
    let b = check(&good(&text), &Shelf::default());
    assert_eq!(a, b);
}

/// Housings are held to the deepest of all cases. A second case with no current hangs the reference line straight: SciPy's depth of the
/// first stands beside it.
#[test]
fn val_housings_count_at_the_deepest_case() {
    let text = tideless(&with_modules("")).replace(
        "[case.only]\n",
        "[case.still]\nnominal = true\n[case.only]\n",
    );
    let check = check(&good(&text), &Shelf::default());
    let depth = requirement_of(&check.standing, "housing-depth");
    let of = depth.verdicts.iter().find_map(|v| match v {
        Verdict::Known(k) if k.subject == "module.w0" => Some(k),
        _ => None,
    });
    let of = of.unwrap();
    close(of.value.value, 80.581_384, 1e-4);
    assert!(of.why.contains("case.only"), "{}", of.why);
    let told = check.depths.unwrap();
    assert_eq!(told.case.as_deref(), Some("case.still"));
}

/// The fifth named line of the reference bears a pull on its buoy; the buoy has what its hull displaces over its weight, less that pull.
#[test]
fn val_a_buoy_has_what_another_integrator_leaves_it() {
    let document = truth::json("mooring/scipy-lines.json");
    let entry = &document["lines"][4];
    let pull_n = entry["found"]["top_n"][2].as_f64().unwrap();
    let text = plan_of(&entry["case"]);
    let check_of = |text: &str| check(&good(text), &Shelf::default());
    // 1025 kg/m3 x 9.80665 m/s2 x 1 m2 x 1 m, less 1000 N.
    let most_n = 1025.0 * 9.80665 - 1000.0;
    let known = |check: &Check| match &requirement_of(&check.standing, "afloat").verdicts[0] {
        Verdict::Known(k) => (**k).clone(),
        other => panic!("{other:?}"),
    };
    let stands = known(&check_of(&text));
    close(stands.value.value, most_n - pull_n, 1e-2);
    assert!(stands.why.contains("case.only"), "{}", stands.why);
    // A hull that displaces a newton less than it must, and one a newton more.
    for (over_n, word) in [(-1.0, Word::Broken), (1.0, Word::Marginal)] {
        let weight_n = 1025.0 * 9.80665 - pull_n - over_n;
        let text = text.replace("weight = \"1000 N\"", &format!("weight = \"{weight_n} N\""));
        let check = check_of(&text);
        let afloat = requirement_of(&check.standing, "afloat");
        assert_eq!(afloat.word(), word, "{afloat:?}");
    }
}

/// The ropes that keep the strumming case from being taken are named.
#[test]
fn verif_a_strumming_case_that_is_not_taken_is_told() {
    let text = with_modules("").replace("[case.only]\n", "[nothing]\n");
    let at = text.find("[nothing]").unwrap();
    let text = text[..at].replace(
        NO_CURRENT,
        "current = [{ depth = \"0 m\", speed = \"0.5 m/s\" }]\n",
    );
    let text = silent_on_strum(&text);
    let silent = check(&good(&text), &Shelf::default());
    let told = silent.assumed.iter().find(|a| a.contains("strumming_drag"));
    assert!(
        told.is_some_and(|t| t.contains("section.riser")),
        "{:?}",
        silent.assumed
    );
    let says = text.replace("normal_drag = ", "strumming_drag = 2.0\nnormal_drag = ");
    let says = check(&good(&says), &Shelf::default());
    assert!(!says.assumed.iter().any(|a| a.contains("strumming_drag")));
    assert!(says.assumed.iter().any(|a| a.contains("current-strum")));
}
