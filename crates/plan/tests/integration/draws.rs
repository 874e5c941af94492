//! The line at a point of the unit cube: what is drawn, what follows from it, what cannot be.

use std::path::Path;

use plan::{Line, NoDraw, Reading};

use crate::support::{Files, SMALL, changed};

/// SciPy 1.17.1, scipy.stats.norm.ppf(0.975).
const AT_975: f64 = 1.959963984540054;

fn read(text: &str) -> Reading {
    let reading = Files::one(text).read();
    assert!(!reading.has_errors(), "{:?}", reading.mistakes);
    reading
}

/// A line in words, without its spreads.
fn without_spreads(line: &Line) -> String {
    let mut rest = format!("{line:?}");
    let mut told = String::new();
    while let Some(at) = rest.find("law: Some(") {
        told.push_str(&rest[..at]);
        told.push_str("law: None");
        let end = at + rest[at..].find("})").expect("a law ends so") + 2;
        rest = rest.split_off(end);
    }
    told + &rest
}

#[test]
fn verif_one_half_everywhere_is_the_line_as_it_is_written() {
    let plans = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../plans");
    let mut dimensions = 0;
    let mut seen = 0;
    for folder in std::fs::read_dir(plans).unwrap() {
        let path = folder.unwrap().path().join("plan.toml");
        if !path.exists() {
            continue;
        }
        let reading = plan::read(&path, &plan::from_disk);
        if reading.has_errors() {
            continue;
        }
        let half = vec![0.5; reading.dimensions()];
        let drawn = reading.line_at(&half).unwrap();
        let written = reading.line.as_ref().unwrap();
        // Not by `assert_eq`, which would print two whole lines.
        assert!(
            without_spreads(&drawn) == without_spreads(written),
            "{} differs",
            path.display()
        );
        dimensions += reading.dimensions();
        seen += 1;
    }
    assert!(seen >= 8, "{seen} plans");
    assert!(dimensions >= 10, "{dimensions} numbers");
}

#[test]
fn val_values_follow_their_laws_and_what_is_derived_follows_them() {
    let text = changed(SMALL, "from_top = \"22 m\"", "from_top = \"22 m ± 1 m\"");
    let text = changed(&text, "gain = \"20 dB\"", "gain = \"20 dB ± 3 dB uniform\"");
    let text = changed(&text, "diameter = \"12 mm\"", "diameter = \"12 mm ± 1 mm\"");
    let reading = read(&text);
    let paths: Vec<&str> = reading.spreads.iter().map(|s| s.path.as_str()).collect();
    assert_eq!(
        paths,
        [
            "module.upper.position.from_top",
            "module.upper.sensor.ear.gain",
            "section.riser.rope.diameter",
        ]
    );
    let line = reading.line_at(&[0.975, 0.75, 0.025]).unwrap();
    let upper = &line.modules[line.module_by_id("upper").unwrap().0];
    // A half width is two standard deviations.
    let from_top_m = 22.0 + 0.5 * AT_975;
    assert!((upper.depth_m - from_top_m).abs() < 1e-12);
    // The span is as long as the way along the rope, and 2 % more.
    assert!((line.spans[0].length_m - 1.02 * from_top_m).abs() < 1e-12);
    let chain = upper.sensors[0].chain.as_ref().unwrap();
    assert!((chain.gain_db.db - 21.5).abs() < 1e-12);
    let diameter = line.sections[0].rope.as_ref().unwrap().diameter_m.unwrap();
    assert!((diameter.si - (0.012 - 0.0005 * AT_975)).abs() < 1e-15);
    assert_eq!((diameter.law, chain.gain_db.law), (None, None));
}

/// Each text of the reference file at each share of its law.
#[test]
fn val_figures_without_a_unit_follow_the_laws_of_scipy() {
    let rows = truth::rows("quantity/scipy-spreads.csv");
    assert_eq!(rows.len(), 60);
    for row in rows {
        let [key, text, share, wanted] = row.as_slice() else {
            panic!("{row:?}");
        };
        let (share, wanted): (f64, f64) = (share.parse().unwrap(), wanted.parse().unwrap());
        let written = match key.as_str() {
            "salinity" => changed(SMALL, "salinity = 34", &format!("salinity = \"{text}\"")),
            "efficiency" => changed(
                SMALL,
                "maximum = \"36 V\" }\nloads = { listening",
                &format!("maximum = \"36 V\", efficiency = \"{text}\" }}\nloads = {{ listening"),
            ),
            drag => changed(
                SMALL,
                "diameter = \"12 mm\"",
                &format!("diameter = \"12 mm\"\n{drag} = \"{text}\""),
            ),
        };
        let line = read(&written).line_at(&[share]).unwrap();
        let rope = line.sections[0].rope.as_ref().unwrap();
        let upper = &line.modules[line.module_by_id("upper").unwrap().0];
        let found = match key.as_str() {
            "salinity" => line.sea.profile[0].salinity,
            "efficiency" => upper.input.as_ref().unwrap().efficiency.unwrap(),
            "normal_drag" => rope.normal_drag.unwrap(),
            _ => rope.tangential_drag.unwrap(),
        };
        assert!(
            (found.si - wanted).abs() <= 1e-12 * wanted.abs(),
            "{key} = {text} at {share}: {}, not {wanted}",
            found.si
        );
        assert_eq!(found.law, None);
    }
}

/// A figure of a list, of a part of one batch, and one whose tail leaves what its key allows.
#[test]
fn verif_figures_without_a_unit_are_drawn_as_quantities_are() {
    let clearness = "clearness = [0.3, 0.3, \"0.4 ± 0.1\", 0.3, 0.3, 0.3, 0.3, 0.3, 0.3, 0.3, 0.3, \"0.2 ± 2 points\"]";
    let text = changed(
        SMALL,
        "longitude = \"-6 deg\"",
        &format!("longitude = \"-6 deg\"\n{clearness}"),
    );
    let text = changed(&text, "salinity = 34", "salinity = \"34 ± 8\"");
    let reading = read(&text);
    let paths: Vec<&str> = reading.spreads.iter().map(|s| s.path.as_str()).collect();
    assert_eq!(
        paths,
        [
            "site.clearness[11]",
            "site.clearness[2]",
            "site.profile[0].salinity"
        ]
    );
    let line = reading.line_at(&[0.975, 0.5, 0.5]).unwrap();
    assert!((line.sea.clearness[11].si - (0.2 + 0.01 * AT_975)).abs() < 1e-15);
    assert_eq!(line.sea.clearness[2].si, 0.4);
    // 42 is two standard deviations above 34.
    assert!(matches!(
        reading.line_at(&[0.5, 0.5, 0.99]),
        Err(NoDraw::OutOfBounds { .. })
    ));
    // The same number written as text and bare is the same plan.
    let bare = read(SMALL);
    let quoted = read(&changed(SMALL, "salinity = 34", "salinity = \"34\""));
    assert_eq!(bare.digest, quoted.digest);
    assert_ne!(bare.digest, reading.digest);
}

#[test]
fn verif_what_cannot_be_is_told_and_never_bent() {
    let reading = read(&changed(
        SMALL,
        "from_top = \"22 m\"",
        "from_top = \"22 m ± 22 m\"",
    ));
    let at = |share: f64| reading.line_at(&[share]);
    let Err(NoDraw::OutOfBounds { path, bounds }) = at(0.01) else {
        panic!("a place above the upper end was drawn");
    };
    assert_eq!(path, "module.upper.position.from_top");
    assert_eq!(bounds, "zero or more");
    // The section is 90 m long: 22 m and seven standard deviations of 11 m are beyond its end.
    let Err(NoDraw::Mistaken { message }) = at(1.0 - 1e-12) else {
        panic!("a place beyond the lower end was drawn");
    };
    let written = changed(SMALL, "from_top = \"22 m\"", "from_top = \"99 m\"");
    let mistakes = Files::one(written).read().mistakes;
    let first = mistakes.iter().find(|m| m.is_error()).unwrap();
    assert_eq!(
        first.message.split_whitespace().next(),
        message.split_whitespace().next()
    );
    assert_eq!(
        reading.line_at(&[]).err(),
        Some(NoDraw::WrongPoint {
            found: 0,
            wanted: 1
        })
    );
    let broken = Files::one(changed(SMALL, "from_top = \"22 m\"", "from_top = \"22\"")).read();
    assert_eq!(broken.line_at(&[]).err(), Some(NoDraw::Unusable));
}

/// Two modules of one part: each value twice, unless the part is of one batch.
#[test]
fn verif_a_part_of_one_batch_is_drawn_once() {
    let twice = |shared: &str| {
        let part = format!(
            "\n[part.pair]\nis = \"module\"\n{shared}loads = {{ listening = \"0.5 W ± 10 %\" }}\n"
        );
        let own = "loads = { listening = \"0.5 W\"";
        assert!(SMALL.contains(own), "{SMALL}");
        part
    };
    let module = |id: &str, from_top: &str| {
        format!(
            "\n[module.{id}]\npart = \"part.pair\"\nposition = {{ section = \"section.riser\", from_top = \"{from_top}\" }}\n"
        )
    };
    let text = |shared: &str| {
        format!(
            "{SMALL}{}{}{}",
            twice(shared),
            module("pair-a", "30 m"),
            module("pair-b", "40 m")
        )
    };
    let drawn_by = |text: &str| -> Vec<Option<usize>> {
        let reading = Files::one(text).read();
        let spreads = reading.spreads.iter();
        let of_pair = spreads.filter(|s| s.path.starts_with("module.pair-"));
        of_pair.map(|s| s.drawn_by).collect()
    };
    assert_eq!(drawn_by(&text("")), [Some(0), Some(1)]);
    assert_eq!(drawn_by(&text("shared = \"batch\"\n")), [Some(0), Some(0)]);
    // What a module writes itself is its own.
    let own = text("shared = \"batch\"\n").replace(
        "[module.pair-b]",
        "[module.pair-b]\nloads = { listening = \"0.5 W ± 5 %\" }",
    );
    assert_eq!(drawn_by(&own), [Some(0), Some(1)]);
    let wrong = Files::one(text("shared = \"lot\"\n")).read();
    let told = wrong.mistakes.iter().map(|m| m.message.as_str());
    assert!(
        told.clone()
            .any(|m| m == "what a part shares is a \"batch\""),
        "{:?}",
        told.collect::<Vec<_>>()
    );
}

/// Limits, what could be had instead and the levels of calls are no doubt about the line.
#[test]
fn verif_limits_remedies_and_calls_are_not_drawn() {
    let call = "\n[call.low]\nkind = \"tone\"\nfrequency = \"100 Hz\"\nlength = \"1 s\"\nsource_level = \"170 dB re 1 uPa m ± 5 dB\"\ndepth = \"12 m\"\n";
    let reading = Files::one(format!("{SMALL}{call}")).read();
    let spreads: Vec<_> = reading
        .spreads
        .iter()
        .map(|s| (s.path.as_str(), s.drawn_by))
        .collect();
    assert_eq!(spreads, [("call.low.source_level", None)]);
    assert_eq!(reading.dimensions(), 0);
}
