//! The plan and its consequences over HTTP.

use std::fs;

use serde_json::{Value, json};

use crate::bench_plan::{Desk, EXAMPLE};

#[test]
fn verif_a_session_tells_the_plan_as_it_stands_and_what_lies_beside_it() {
    let desk = Desk::open();
    fs::write(desk.folder.path().join("night.wav"), b"RIFF").unwrap();
    let session = desk.get("/api/session").ok();
    assert_eq!(session["format"], "desk/1");
    assert_eq!(session["plan"]["file"], "plan.toml");
    assert_eq!(session["plan"]["text"], desk.text());
    assert_eq!(session["plan"]["read_only"], false);
    assert_eq!(session["cue_sheets"], json!(["cues/ferry-night.toml"]));
    assert_eq!(session["recordings"], json!(["night.wav"]));
    assert_eq!(session["schema"], plan::plan_schema());
    let plan = desk.get("/api/plan").ok();
    assert_eq!(plan["source_digest"], session["plan"]["source_digest"]);
}

/// What is saved is what was sent, and only over what was read; a text that somebody else wrote is given back.
#[test]
fn verif_saving_never_overwrites_what_changed_meanwhile() {
    let desk = Desk::open();
    let base = desk.get("/api/plan").ok()["source_digest"].clone();
    let mine = desk.text() + "# mine\n";
    let saved = desk.send(
        "PUT",
        "/api/plan",
        &json!({ "text": mine, "base_digest": base }),
    );
    let digest = saved.ok()["source_digest"].clone();
    assert_ne!(digest, base);
    assert_eq!(desk.text(), mine);
    let theirs = mine.clone() + "# theirs: π\n";
    fs::write(desk.plan(), &theirs).unwrap();
    let again = mine.clone() + "# mine again\n";
    let asked = json!({ "text": again, "base_digest": digest });
    let conflict = desk.send("PUT", "/api/plan", &asked);
    assert_eq!(conflict.status, 409);
    let told = conflict.json();
    assert_eq!(told["error"]["code"], "changed-meanwhile");
    assert_eq!(told["text"], theirs);
    assert_eq!(desk.text(), theirs);
    // Knowing the difference it may be written.
    let asked = json!({ "text": again, "base_digest": told["source_digest"] });
    desk.send("PUT", "/api/plan", &asked).ok();
    assert_eq!(desk.text(), again);
    // Nothing half written stays.
    let mut left: Vec<String> = fs::read_dir(desk.folder.path())
        .unwrap()
        .map(|e| e.unwrap().file_name().to_string_lossy().into_owned())
        .collect();
    left.sort();
    assert_eq!(left, ["README.md", "cues", "parts.toml", "plan.toml"]);
}

/// Two plans of one name and one text are told apart, and a page of the one does not write the other.
#[test]
fn verif_a_page_of_another_plan_saves_nothing() {
    let (desk, other) = (Desk::open(), Desk::open());
    let here = desk.get("/api/session").ok()["plan"].clone();
    let there = other.get("/api/session").ok()["plan"].clone();
    for key in ["file", "source_digest"] {
        assert_eq!(here[key], there[key]);
    }
    assert_ne!(here["identity"], there["identity"]);
    let identity = here["identity"].as_str().unwrap();
    assert!(identity.len() == 64 && !identity.contains(['/', '\\']));
    assert_eq!(desk.get("/api/plan").ok()["identity"], here["identity"]);
    let text = desk.text() + "# mine\n";
    let mut asked = json!({ "text": text, "base_digest": there["source_digest"], "identity": here["identity"] });
    let before = other.text();
    let refused = other.send("PUT", "/api/plan", &asked);
    assert_eq!(
        (refused.status, refused.error().as_str()),
        (409, "another-plan")
    );
    assert!(refused.json().get("text").is_none());
    assert_eq!(other.text(), before);
    // Its own page saves.
    asked["base_digest"] = here["source_digest"].clone();
    desk.send("PUT", "/api/plan", &asked).ok();
    assert_eq!(desk.text(), text);
}

#[cfg(unix)]
#[test]
fn verif_a_plan_that_may_not_be_written_stays_and_a_link_stays_a_link() {
    use std::os::unix::fs::PermissionsExt;
    let desk = Desk::open();
    let text = desk.text();
    let base = desk.get("/api/plan").ok()["source_digest"].clone();
    let asked = json!({ "text": text.clone() + "# more\n", "base_digest": base });
    fs::set_permissions(desk.plan(), fs::Permissions::from_mode(0o444)).unwrap();
    assert_eq!(desk.get("/api/session").ok()["plan"]["read_only"], true);
    let refused = desk.send("PUT", "/api/plan", &asked);
    assert_eq!(
        (refused.status, refused.error().as_str()),
        (403, "read-only")
    );
    assert_eq!(desk.text(), text);
    fs::set_permissions(desk.plan(), fs::Permissions::from_mode(0o640)).unwrap();
    // The plan may be a link to anywhere: its end is written, with its permissions.
    let elsewhere = tempfile::tempdir().unwrap();
    let real = elsewhere.path().join("kept.toml");
    fs::rename(desk.plan(), &real).unwrap();
    std::os::unix::fs::symlink(&real, desk.plan()).unwrap();
    desk.send("PUT", "/api/plan", &asked).ok();
    assert!(fs::symlink_metadata(desk.plan()).unwrap().is_symlink());
    assert!(fs::read_to_string(&real).unwrap().ends_with("# more\n"));
    let mode = fs::metadata(&real).unwrap().permissions().mode();
    assert_eq!(mode & 0o777, 0o640);
}

#[test]
fn verif_a_plan_that_is_gone_is_said_to_be_gone() {
    let desk = Desk::open();
    let base = desk.get("/api/plan").ok()["source_digest"].clone();
    fs::rename(desk.plan(), desk.folder.path().join("moved.toml")).unwrap();
    let asked = json!({ "text": "format = 1\n", "base_digest": base });
    for answer in [
        desk.get("/api/plan"),
        desk.get("/api/session"),
        desk.send("PUT", "/api/plan", &asked),
    ] {
        assert_eq!((answer.status, answer.error().as_str()), (404, "plan-gone"));
    }
    assert!(!desk.plan().exists());
    // The page's text is still followed.
    let moved = fs::read_to_string(desk.folder.path().join("moved.toml")).unwrap();
    let told = desk.consequences(&moved, "quick");
    assert_eq!(told["mistakes"], json!([]));
}

/// The verdicts are those that a check of the same text gives.
#[test]
fn verif_consequences_hold_the_verdicts_of_a_check() {
    let desk = Desk::open();
    let told = desk.consequences(&desk.text(), "full");
    assert_eq!(told["format"], "consequences/1");
    let path = desk.plan();
    let reading = assess::read(&path, &plan::from_folder_of(&path));
    let (shelf, warnings) = beside::shelf(&path, &reading, &|_, _| true).unwrap();
    let check = assess::check(&reading, &shelf);
    let mut own = report::check_json(&check, beside::PROGRAM, &reading.mistakes, &reading.sources);
    own["warnings"] = json!(warnings);
    // Through text, as the other was: numbers are then read alike.
    let own: Value = serde_json::from_str(&own.to_string()).unwrap();
    assert!(told["verdicts"] == own, "the verdicts differ");
    assert_eq!(
        told["source_digest"],
        desk.get("/api/plan").ok()["source_digest"]
    );
    let quick = desk.consequences(&desk.text(), "quick");
    assert_eq!(quick["verdicts"]["tier"], "quick");
}

/// Places are UTF-16 offsets into the text that was sent.
#[test]
fn verif_a_mistake_is_underlined_where_it_stands() {
    let desk = Desk::open();
    let text = format!("# 🐋 π\n{}", desk.text()).replace("length = ", "lenght = ");
    assert!(text.contains("lenght"));
    let told = desk.consequences(&text, "quick");
    let mistakes = told["mistakes"].as_array().unwrap();
    let own = |m: &&Value| m["code"] == "unknown-key" && m["file"] == "plan.toml";
    let mistake = mistakes.iter().find(own).expect("it is told");
    let units: Vec<u16> = text.encode_utf16().collect();
    let place = |key: &str| mistake[key].as_u64().unwrap() as usize;
    let under = String::from_utf16(&units[place("from")..place("to")]).unwrap();
    assert_eq!(under, "lenght");
    assert_eq!(mistake["severity"], "error");
    assert!(
        mistake["help"].as_str().unwrap().contains("length"),
        "{mistake}"
    );
}

/// A drawing tells each module's voltage as the verdicts on voltages have it, and every span and section of the plan.
#[test]
fn verif_the_drawing_holds_the_line() {
    let desk = Desk::open();
    let told = desk.consequences(&desk.text(), "quick");
    let line = &told["line"];
    let path = desk.plan();
    let reading = assess::read(&path, &plan::from_folder_of(&path));
    let own = reading.line.as_ref().unwrap();
    assert_eq!(line["modules"].as_array().unwrap().len(), own.modules.len());
    assert_eq!(line["spans"].as_array().unwrap().len(), own.spans.len());
    assert_eq!(
        line["sections"].as_array().unwrap().len(),
        own.sections.len()
    );
    let text: Vec<u16> = desk.text().encode_utf16().collect();
    for module in line["modules"].as_array().unwrap() {
        let voltage = &module["voltage"];
        let (low, high) = (voltage["lowest_v"].as_f64(), voltage["highest_v"].as_f64());
        assert!(low.unwrap() <= high.unwrap(), "{module}");
        let source = &module["source"];
        let (from, to) = (
            source["from"].as_u64().unwrap(),
            source["to"].as_u64().unwrap(),
        );
        let here = String::from_utf16(&text[from as usize..to as usize]).unwrap();
        assert!(here.contains(module["name"].as_str().unwrap()), "{here}");
    }
    // The verdicts on voltages name the same lowest figures.
    let verdicts = told["verdicts"]["requirements"].as_array().unwrap().iter();
    let all = verdicts.chain(told["verdicts"]["standing"].as_array().unwrap());
    let mut compared = 0;
    for verdict in all.flat_map(|j| j["verdicts"].as_array().unwrap()) {
        let of = |m: &&Value| m["path"] == verdict["subject"] && verdict["value"]["unit"] == "V";
        if let Some(module) = line["modules"].as_array().unwrap().iter().find(of) {
            let value = verdict["value"]["value"].as_f64().unwrap();
            let voltage = &module["voltage"];
            let ends = [&voltage["lowest_v"], &voltage["highest_v"]];
            assert!(
                ends.iter().any(|v| v.as_f64() == Some(value)),
                "{verdict} {voltage}"
            );
            compared += 1;
        }
    }
    assert!(compared > 0);
}

/// A link of a plan that says nothing of its messages has a load that is unknown, and why; a span without a link has none.
#[test]
fn verif_a_link_without_messages_says_why_its_load_is_unknown() {
    let example = std::path::Path::new(EXAMPLE).join("../cold-wake");
    let desk = Desk::of(&example, None);
    let text = desk.text();
    let linked = text.replace("[span.slope]\n", "[span.slope]\nlink = \"10BASE-T1L\"\n");
    assert_ne!(linked, text);
    let told = desk.consequences(&linked, "quick");
    for span in told["line"]["spans"].as_array().unwrap() {
        let why = span["load_unknown"].as_str();
        assert_eq!(span["load_share"], Value::Null);
        match span["path"].as_str().unwrap() {
            // Nothing says how messages are framed on it, which is told where the link stands.
            "span.slope" => assert!(why.unwrap().contains("at line 66"), "{span}"),
            _ => assert_eq!(why, None, "{span}"),
        }
    }
}

/// A module is placed by the key that the drawing tells, and that key moves it: one that is placed from the anchor has no other.
#[test]
fn verif_a_module_moves_by_the_key_of_its_place() {
    let example = std::path::Path::new(EXAMPLE).join("../kestrel-piles");
    let desk = Desk::of(&example, None);
    let text = desk.text();
    let drawn = |text: &str, path: &str| {
        let line = desk.consequences(text, "quick")["line"].clone();
        let all = line["modules"].as_array().unwrap();
        let own = all.iter().find(|m| m["path"] == path).unwrap().clone();
        let section = line["sections"].as_array().unwrap().iter();
        let named = own["section"].clone();
        let mut section = section.filter(|s| s["path"] == named);
        let whole_m = section
            .next()
            .map_or(0.0, |s| s["length_m"].as_f64().unwrap());
        (own, whole_m)
    };
    let line = desk.consequences(&text, "quick")["line"].clone();
    let mut from_anchor = 0;
    for module in line["modules"].as_array().unwrap() {
        let path = module["path"].as_str().unwrap();
        let (by, length_m) = (&module["written"]["by"], &module["written"]["length_m"]);
        let by = by.as_str().unwrap();
        if by != "from_anchor" {
            continue;
        }
        from_anchor += 1;
        let moved_m = length_m.as_f64().unwrap() + 1.0;
        let asked = json!({ "text": text, "path": format!("{path}.position.{by}"), "value": format!("{moved_m} m") });
        let new = desk.post("/api/edit", &asked).ok()["text"].clone();
        let (own, whole_m) = drawn(new.as_str().unwrap(), path);
        assert_eq!(own["written"], json!({ "by": by, "length_m": moved_m }));
        let from_top_m = own["from_top_m"].as_f64().unwrap();
        assert!((from_top_m - (whole_m - moved_m)).abs() < 1e-9, "{own}");
        // Beside it another key makes a plan with mistakes.
        let asked =
            json!({ "text": text, "path": format!("{path}.position.from_top"), "value": "1 m" });
        let new = desk.post("/api/edit", &asked).ok()["text"].clone();
        let told = desk.consequences(new.as_str().unwrap(), "quick");
        assert!(!told["mistakes"].as_array().unwrap().is_empty());
    }
    assert_eq!(from_anchor, 2);
}

/// An edit is one piece of the text; the rest stays to the byte, comments too.
#[test]
fn verif_an_edit_changes_one_value_and_keeps_the_rest() {
    let desk = Desk::open();
    let text = desk.text();
    let asked = json!({ "text": text, "path": "section.riser.length", "value": "123 m" });
    let told = desk.post("/api/edit", &asked).ok();
    let new = told["text"].as_str().unwrap();
    let units: Vec<u16> = new.encode_utf16().collect();
    let place = |key: &str| told[key].as_u64().unwrap() as usize;
    let put = String::from_utf16(&units[place("from")..place("to")]).unwrap();
    assert!(put.contains("123 m"), "{put}");
    let changed = text.lines().zip(new.lines()).filter(|(a, b)| a != b);
    assert_eq!(changed.count(), 1);
    for (path, value) in [
        ("section.riser.lenght", "1 m"),
        ("section.none.length", "1 m"),
        ("", "x"),
    ] {
        let asked = json!({ "text": text, "path": path, "value": value });
        let refused = desk.post("/api/edit", &asked);
        assert_eq!(
            (refused.status, refused.error().as_str()),
            (422, "no-edit"),
            "{path}"
        );
    }
}

#[test]
fn verif_what_cannot_be_asked_is_said_with_its_reason() {
    let desk = Desk::open();
    let text = desk.text();
    let cases = [
        (
            "/api/document/none",
            json!({ "text": text }),
            404,
            "no-such-document",
        ),
        (
            "/api/document/chain",
            json!({ "text": text, "ask": { "month": 13 } }),
            422,
            "bad-ask",
        ),
        (
            "/api/document/chain",
            json!({ "text": text, "ask": { "sensors": ["module.none"] } }),
            422,
            "not-named",
        ),
        (
            "/api/document/paths",
            json!({ "text": text }),
            422,
            "bad-ask",
        ),
        (
            "/api/document/year",
            json!({ "text": text, "ask": { "supply": "supply.none" } }),
            422,
            "not-named",
        ),
        (
            "/api/document/year",
            json!({ "text": "format = 1\n" }),
            422,
            "mistakes",
        ),
        (
            "/api/document/year",
            json!({ "text": text, "ask": { "moon": 1 } }),
            400,
            "bad-body",
        ),
        (
            "/api/consequences",
            json!({ "text": text, "tier": "slow", "serial": 1 }),
            400,
            "bad-body",
        ),
        (
            "/api/consequences",
            json!({ "text": text }),
            400,
            "bad-body",
        ),
        ("/api/none", json!({}), 404, "no-such-route"),
        ("/api/session", json!({}), 405, "no-such-method"),
    ];
    for (path, asked, status, code) in cases {
        let answer = desk.post(path, &asked);
        assert_eq!(
            (answer.status, answer.error().as_str()),
            (status, code),
            "{path} {}",
            answer.text()
        );
    }
    let told = desk
        .post("/api/document/year", &json!({ "text": "format = 1\n" }))
        .json();
    assert!(!told["mistakes"].as_array().unwrap().is_empty());
}

/// What a mistake reaches is unknown in the drawing as it is in the verdicts: what is left of the line is another line.
#[test]
fn verif_a_mistake_leaves_no_voltage_of_the_rest_of_the_line() {
    let desk = Desk::open();
    let good = desk.text();
    let text = good.replacen("from_top = \"22 m\"", "from_top = 63", 1);
    assert_ne!(text, good);
    let told = desk.consequences(&text, "quick");
    let ruling = |j: &&Value| j["id"] == "voltage";
    let requirements = told["verdicts"]["requirements"].as_array().unwrap();
    assert_eq!(
        requirements.iter().find(ruling).unwrap()["ruling"],
        "unknown"
    );
    for module in told["line"]["modules"].as_array().unwrap() {
        let why = module["voltage"]["unknown"].as_str();
        assert!(
            why.unwrap().contains("mistake"),
            "{} {}",
            module["path"],
            module["voltage"]
        );
    }
    for span in told["line"]["spans"].as_array().unwrap() {
        assert!(span["loop_ohm"].is_null() && span["load_share"].is_null());
        assert!(span["ohms_unknown"].is_string(), "{span}");
    }
}

/// A call and the noise of the chain come in the same bands, under the same names.
#[test]
fn verif_calls_come_in_the_bands_of_the_chain() {
    let desk = Desk::open();
    let asked = json!({ "text": desk.text(), "ask": { "range": "1 km" } });
    let told = desk.post("/api/document/chain", &asked).ok();
    let mut compared = 0;
    for sensor in told["sensors"].as_array().unwrap() {
        let centres = |of: &Value| -> Vec<f64> {
            let bands = of["bands"].as_array().unwrap().iter();
            bands.map(|b| b["centre_hz"].as_f64().unwrap()).collect()
        };
        let own = centres(sensor);
        for call in sensor["calls"].as_array().unwrap() {
            for hz in centres(call) {
                assert!(own.contains(&hz), "{hz} Hz is none of {own:?}");
                compared += 1;
            }
        }
    }
    assert!(compared > 0);
}

/// A float at the end of a rope stands as much above the other end as the rope is long: 31 m of water less 14 m of rope.
#[test]
fn verif_a_float_at_an_end_of_a_section_has_a_depth() {
    let example = std::path::Path::new(EXAMPLE).join("../kestrel-piles");
    let desk = Desk::of(&example, None);
    let told = desk.consequences(&desk.text(), "quick");
    assert_eq!(told["line"]["floats"][0]["path"], "float.top");
    assert_eq!(told["line"]["floats"][0]["depth_m"], 17.0);
}

/// What a case comes to is the largest of what it comes to in still water, at crests and in troughs.
#[test]
fn verif_a_mooring_tells_the_largest_over_waves() {
    let desk = Desk::open();
    let told = desk
        .post(
            "/api/document/mooring",
            &json!({ "text": desk.text(), "ask": {} }),
        )
        .ok();
    let (mut waves, mut still) = (0, 0);
    for shape in told["lines"][0]["shapes"].as_array().unwrap() {
        let number = |v: &Value| v.as_f64().unwrap();
        let along = |s: &Value| {
            number(&s["anchor_pull"]["east_n"]).hypot(number(&s["anchor_pull"]["north_n"]))
        };
        let greatest = &shape["greatest"];
        let all = [shape, &shape["crest"], &shape["trough"]];
        let all: Vec<&Value> = all.into_iter().filter(|s| !s.is_null()).collect();
        let most = |of: &dyn Fn(&Value) -> f64| all.iter().map(|s| of(s)).fold(0.0, f64::max);
        let near = |a: f64, b: f64| (a - b).abs() <= 1e-9 * b.abs().max(1.0);
        assert!(near(
            number(&greatest["excursion"]["excursion_m"]),
            most(&|s| number(&s["excursion_m"]))
        ));
        assert!(near(
            number(&greatest["anchor_up"]["force_n"]),
            most(&|s| number(&s["anchor_pull"]["up_n"]))
        ));
        assert!(near(
            number(&greatest["anchor_along"]["force_n"]),
            most(&along)
        ));
        let points = shape["points"].as_array().unwrap().iter();
        let calm = points.map(|p| number(&p["tension_n"])).fold(0.0, f64::max);
        let tension = number(&greatest["tension"]["force_n"]);
        let things = shape["things"].as_array().unwrap();
        if all.len() == 1 {
            still += 1;
            assert!(near(tension, calm) && greatest["tension"]["surface"] == "still");
            assert!(things.iter().all(|t| t["over_waves"].is_null()));
            continue;
        }
        waves += 1;
        assert!(tension > calm && greatest["tension"]["surface"] == "crest");
        // A line that hangs straight down is nowhere further out.
        let leans = number(&greatest["excursion"]["excursion_m"]) > 0.0;
        let surface = if leans { "trough" } else { "still" };
        assert_eq!(greatest["excursion"]["surface"], surface);
        for thing in things {
            let over = &thing["over_waves"];
            let depth_m = number(&thing["depth_m"]);
            assert!(number(&over["least_depth_m"]) < depth_m, "{thing}");
            assert!(depth_m < number(&over["most_depth_m"]), "{thing}");
            assert!(number(&over["most_tilt_deg"]) >= number(&thing["tilt_deg"]));
        }
    }
    assert!(waves > 0 && still > 0);
}

/// A body that is no object is told so in words of JSON.
#[test]
fn verif_a_body_that_is_no_object_is_said_to_be_none() {
    let desk = Desk::open();
    let answer = desk.post("/api/jobs", &json!(["rehearse", "x", {}]));
    assert_eq!((answer.status, answer.error().as_str()), (400, "bad-body"));
    let said = answer.json()["error"]["message"].to_string();
    assert!(
        said.contains("JSON object") && !said.contains("struct"),
        "{said}"
    );
}
