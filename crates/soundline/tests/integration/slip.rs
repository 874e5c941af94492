//! `slip`: text, JSON, pictures and exit statuses.

use serde_json::Value;

use crate::support::{demo, edit, expect_status, run, stdout};

const PAPER: &str = "[requirement.paper]
that = \"attested\"
attested = { document = \"permit 7\", by = \"harbour office\", date = 2026-01-01, expires = 2031-06-01 }

[requirement.voltage]
";

#[test]
fn verif_slips_are_told_in_text_json_and_pictures() {
    let demo = demo("gannet-stack", false);
    edit(
        &demo.plan,
        "duration =",
        "start_slip = \"14 d\"\nrecovery_slip = \"14 d\"\nduration =",
    );
    edit(&demo.plan, "[requirement.voltage]\n", PAPER);
    let folder = demo.plan.replace("plan.toml", "late");
    let output = run(&["--format", "json", "slip", &demo.plan, "--picture", &folder]);
    let told: Value = serde_json::from_str(&stdout(&output)).unwrap();
    assert_eq!(told["format"], "slip/1");
    let starts = told["starts_d"].as_array().unwrap();
    assert_eq!(starts.len(), told["recoveries_d"].as_array().unwrap().len());
    let grids = told["grids"].as_array().unwrap();
    let paper = grids.iter().find(|g| g["id"] == "paper").unwrap();
    // A day later is a day less.
    let left = |s: usize, r: usize| {
        let margin = &paper["cells"][s][r]["margin"];
        margin["value"].as_f64().unwrap()
    };
    assert!((left(0, 0) - left(3, 2) - 10.0).abs() < 1e-9);
    let pictures = told["pictures"].as_array().unwrap();
    assert!(pictures.len() >= 4, "{pictures:?}");
    for path in pictures {
        let bytes = std::fs::read(path.as_str().unwrap()).unwrap();
        assert!(bytes.starts_with(b"\x89PNG") || bytes.starts_with(b"<svg"));
    }
    let text = stdout(&run(&["slip", &demo.plan]));
    for what in [
        "paper",
        "Spares",
        "deploying: unknown",
        "lithium cells",
        "recovery_slip 14 d",
    ] {
        assert!(text.contains(what), "{what}: {text}");
    }
    edit(&demo.plan, "expires = 2031-06-01", "expires = 2026-06-01");
    let output = run(&["slip", &demo.plan]);
    expect_status(&output, 1);
    assert!(stdout(&output).contains("broken at the worst: start 14 d late, recovered 14 d late"));
}
