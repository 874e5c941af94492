//! `soundline mooring` on the invented Harrow Sound.

use std::fs;

use serde_json::Value;

use crate::support::{demo, edit, expect_status, repository, run, stderr, stdout};

fn plan(name: &str) -> String {
    let path = format!("plans/{name}/plan.toml");
    repository(&path).display().to_string()
}

/// Text and JSON tell the same; of each module its depths lie within those of the cases, and cautions stand below.
#[test]
fn verif_where_the_line_hangs_is_told() {
    let output = run(&["--format", "json", "mooring", &plan("harrow-sound")]);
    expect_status(&output, 0);
    let told: Value = serde_json::from_str(&stdout(&output)).unwrap();
    let line = &told["lines"][0];
    let shapes = line["shapes"].as_array().unwrap();
    assert_eq!(shapes.len(), told["cases"].as_array().unwrap().len());
    let radius_m = line["watch_circle"]["radius_m"].as_f64().unwrap();
    for shape in shapes {
        assert!(shape["excursion_m"].as_f64().unwrap() <= radius_m);
        for thing in shape["things"].as_array().unwrap() {
            let modules = line["modules"].as_array().unwrap();
            let own = modules
                .iter()
                .find(|m| m["module"] == thing["what"])
                .unwrap();
            let depth_m = thing["depth_m"].as_f64().unwrap();
            assert!(own["shallowest"]["depth_m"].as_f64().unwrap() <= depth_m);
            assert!(own["deepest"]["depth_m"].as_f64().unwrap() >= depth_m);
        }
    }
    let output = run(&["mooring", &plan("harrow-sound")]);
    expect_status(&output, 0);
    let text = stdout(&output);
    assert!(
        text.contains(&format!("watch circle: {radius_m:.2} m")),
        "{text}"
    );
    for word in [
        "Cautions",
        "tensioned lines",
        "local rules decide",
        "implode",
    ] {
        assert!(text.contains(word), "no {word}: {text}");
    }
}

/// One picture a line, as PNG and SVG; the SVG names every case and every module.
#[test]
fn verif_the_picture_names_cases_and_modules() {
    let folder = tempfile::tempdir().unwrap();
    let into = folder.path().display().to_string();
    let output = run(&["mooring", &plan("harrow-sound"), "--picture", &into]);
    expect_status(&output, 0);
    let svg = fs::read_to_string(folder.path().join("mooring-sinker.svg")).unwrap();
    for word in [
        "slack: 0.0 m off",
        "storm: 31.2 m off",
        ", strum",
        "upper: ",
        "lower: ",
        "at the surface",
        "anchor.sinker",
    ] {
        assert!(svg.contains(word), "no {word}");
    }
    let png = fs::read(folder.path().join("mooring-sinker.png")).unwrap();
    assert!(png.starts_with(b"\x89PNG"));
}

/// Words of an SVG file: each with the box that it takes, px, letters of the monospaced typeface 0.6 of their size wide and 0.7 of it high.
fn words_of(svg: &str) -> Vec<(String, [f64; 4])> {
    let each = svg.split("<text ").skip(1).map(|text| {
        let tag = format!(" {}", &text[..text.find('>').unwrap()]);
        let value = |key: &str| {
            let from = tag.find(&format!(" {key}=\"")).unwrap() + key.len() + 3;
            tag[from..from + tag[from..].find('"').unwrap()].to_owned()
        };
        let number = |key: &str| value(key).parse::<f64>().unwrap();
        let from = text.find('>').unwrap() + 1;
        let word = text[from..from + text[from..].find('<').unwrap()].to_owned();
        let size = number("font-size");
        let wide = 0.6
            * size
            * word
                .replace("&#xb0;", "d")
                .replace("&amp;", "&")
                .chars()
                .count() as f64;
        let left = number("x")
            - match &*value("text-anchor") {
                "start" => 0.0,
                "middle" => 0.5 * wide,
                _ => wide,
            };
        let y = number("y");
        (word, [left, y - 0.7 * size, left + wide, y])
    });
    each.collect()
}

fn nothing_overlaps(svg: &str, name: &str) {
    let words = words_of(svg);
    assert!(words.len() > 10, "{name}");
    for (ix, (word, a)) in words.iter().enumerate() {
        assert!(
            a[0] >= 0.0 && a[2] <= 1400.0 && a[1] >= 0.0 && a[3] <= 980.0,
            "{name}: {word} leaves the page"
        );
        for (other, b) in &words[..ix] {
            let meet = a[0] < b[2] && b[0] < a[2] && a[1] < b[3] && b[1] < a[3];
            assert!(!meet, "{name}: {word} lies on {other}: {a:?} {b:?}");
        }
    }
}

/// No word of a picture lies on another or beyond the page: in the examples, of modules close together and of many cases.
#[test]
fn verif_no_word_of_a_picture_lies_on_another() {
    for name in ["harrow-sound", "kestrel-piles", "vennick-ledge"] {
        let folder = tempfile::tempdir().unwrap();
        let into = folder.path().display().to_string();
        run(&["mooring", &plan(name), "--picture", &into]);
        let file = fs::read_dir(folder.path()).unwrap();
        let mut files = file.map(|f| f.unwrap().path());
        let svg = files.find(|f| f.extension().is_some_and(|e| e == "svg"));
        nothing_overlaps(&fs::read_to_string(svg.unwrap()).unwrap(), name);
    }
    let crowded = demo("kestrel-piles", false);
    let path = crowded.folder.path().join("plan.toml");
    let mut text = fs::read_to_string(&path).unwrap();
    for weight in 0..45 {
        let up_m = 4.0 + 0.1 * f64::from(weight);
        text.push_str(&format!("\n[weight.w{weight}]\nposition = {{ section = \"section.taut\", from_anchor = \"{up_m} m\" }}\nweight_in_water = \"0.1 N\"\ncd_a = \"0.001 m2\"\n"));
    }
    for case in 0..40 {
        let speed = 0.1 + 0.02 * f64::from(case % 20);
        text.push_str(&format!("\n[case.flow{case}]\ncurrent = [{{ depth = \"0 m\", speed = \"{speed} m/s\", towards = \"{} deg\" }}]\n", 9 * case));
    }
    fs::write(&path, text).unwrap();
    let into = crowded.folder.path().join("pictures").display().to_string();
    let output = run(&["mooring", &path.display().to_string(), "--picture", &into]);
    let svg = fs::read_to_string(format!("{into}/mooring-clump.svg"));
    nothing_overlaps(
        &svg.unwrap_or_else(|_| panic!("{}", stderr(&output))),
        "crowded",
    );
}

/// Lines of one anchor have a picture each.
#[test]
fn verif_lines_of_one_anchor_are_drawn_apart() {
    let one = demo("kestrel-piles", false);
    let path = one.folder.path().join("plan.toml");
    let text = fs::read_to_string(&path).unwrap();
    let two = format!(
        "{text}\n[float.second]\nbuoyancy = \"500 N\"\ncd_a = \"0.06 m2\"\n[section.second]\nfrom = \"float.second\"\nto = \"anchor.clump\"\nlength = \"10 m\"\nrope = \"part.taut-8\"\n"
    );
    fs::write(&path, two).unwrap();
    let into = one.folder.path().join("pictures");
    let into = into.display().to_string();
    let output = run(&["mooring", &path.display().to_string(), "--picture", &into]);
    let mut names: Vec<String> = fs::read_dir(&into)
        .unwrap_or_else(|_| panic!("{}", stderr(&output)))
        .map(|file| file.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    let named = ["second", "taut"].map(|section| format!("mooring-clump_{section}"));
    let files: Vec<String> = named
        .iter()
        .flat_map(|name| [format!("{name}.png"), format!("{name}.svg")])
        .collect();
    assert_eq!(names, files);
    let second = fs::read_to_string(format!("{into}/{}.svg", named[0])).unwrap();
    assert!(second.contains("float.second") && !second.contains("float.top"));
}

/// A plan that says too little is told what is missing and how to say it.
#[test]
fn verif_a_plan_that_says_too_little_is_told_what_to_write() {
    let output = run(&["mooring", &plan("silt-hollow")]);
    expect_status(&output, 2);
    let told = stderr(&output);
    assert!(
        told.contains("current, tide") && told.contains("[case.spring]"),
        "{told}"
    );
    let output = run(&["mooring", &plan("kelp-gate")]);
    expect_status(&output, 2);
    assert!(
        stderr(&output).contains("no `section`"),
        "{}",
        stderr(&output)
    );
}

/// What `check` breaks of a line breaks its exit status here too.
#[test]
fn verif_the_exit_status_says_what_the_page_says() {
    let demo = demo("kestrel-piles", false);
    expect_status(&run(&["mooring", &demo.plan]), 0);
    let anchor = "weight_in_water = \"2500 N\"";
    edit(&demo.plan, anchor, "weight_in_water = \"500 N\"");
    let light = run(&["mooring", &demo.plan]);
    expect_status(&light, 1);
    let told = stdout(&light);
    assert!(
        told.contains("broken   anchor-hold: anchor.clump: "),
        "{told}"
    );
}
