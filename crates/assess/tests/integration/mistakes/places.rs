//! Spans, modules and depths of a line that hangs: a mistake in one leaves the others as they are.

use std::collections::BTreeMap;
use std::path::Path;

use assess::{Check, Shelf, Status, Word, check};

use crate::support::{requirement, why_unknown};

/// What is checked of each span or module on its own: a mistake in one leaves the others as they are.
#[test]
fn verif_a_mistake_in_one_span_or_module_leaves_the_others_checked() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../plans/harrow-sound/plan.toml");
    let checked = |from: &str, to: &str| {
        let fetch = |file: &Path| {
            let bytes = plan::from_disk(file)?;
            let text = String::from_utf8(bytes).unwrap();
            Ok(text.replacen(from, to, 1).into_bytes())
        };
        check(&assess::read(&path, &fetch), &Shelf::default())
    };
    let good = checked("", "");
    let told = |check: &Check, id: &str| -> BTreeMap<String, Word> {
        let verdicts = requirement(check, id).verdicts.iter();
        verdicts
            .map(|v| (v.subject().to_owned(), v.word()))
            .collect()
    };
    for (header, id, wrong) in [
        ("[span.marker-upper]\n", "link-reach", "span.marker-upper"),
        ("[module.marker.output.lamp]\n", "link-reach", ""),
        ("[detector.upcall-upper]\n", "housing-depth", ""),
    ] {
        let bad = checked(header, &format!("{header}no-such-key = 1\n"));
        assert_eq!(bad.status(), Status::Unusable);
        let mut expected = told(&good, id);
        assert!(expected.len() > 2, "{expected:?}");
        if let Some(word) = expected.get_mut(wrong) {
            assert_eq!(std::mem::replace(word, Word::Unknown), Word::Met);
        }
        assert_eq!(told(&bad, id), expected, "{header}");
    }
}

/// Of a line that hangs on its anchor, the water depth is read by depths and by the warmth at them, and by nothing else. The
/// name of the deployment is printed all the same.
#[test]
fn verif_a_slip_in_the_water_depth_reaches_depths_and_what_is_worked_out_at_them() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../plans/harrow-sound/plan.toml");
    let checked = |changes: &[(&str, &str)]| {
        let fetch = |file: &Path| {
            let mut text = String::from_utf8(plan::from_disk(file)?).unwrap();
            for (from, to) in changes {
                text = text.replacen(from, to, 1);
            }
            Ok(text.into_bytes())
        };
        check(&assess::read(&path, &fetch), &Shelf::default())
    };
    let depths = |check: &Check| -> BTreeMap<String, Word> {
        let verdicts = requirement(check, "housing-depth").verdicts.iter();
        verdicts
            .map(|v| (v.subject().to_owned(), v.word()))
            .collect()
    };
    let good = checked(&[]);
    let wrong = ("water_depth = \"85 m\"", "water_depth = \"85\"");
    let bad = checked(&[wrong]);
    assert_eq!(bad.name.as_deref(), Some("Harrow Sound ferry-lane watch"));
    assert_eq!(
        requirement(&bad, "prompt-lamp"),
        requirement(&good, "prompt-lamp")
    );
    assert!(why_unknown(&bad, "voltage").contains("a mistake in site, at line 15"));
    assert!(depths(&bad).values().all(|w| *w == Word::Unknown));
    assert!(depths(&good).values().all(|w| *w == Word::Met));

    // Water that is as warm everywhere: the depth is not read.
    let even = [
        (
            "  { depth = \"0 m\", temperature = \"9.6 degC\", salinity = 34.2 },\n",
            "",
        ),
        (
            "  { depth = \"85 m\", temperature = \"8.1 degC\", salinity = 34.6 },\n",
            "",
        ),
    ];
    let good = checked(&even);
    let bad = checked(&[even[0], even[1], wrong]);
    assert_eq!(requirement(&good, "voltage").word(), Word::Met);
    assert_eq!(requirement(&bad, "voltage"), requirement(&good, "voltage"));

    let good = checked(&[]);
    // What a module starts in says nothing of where others hang, nor of its own place.
    let bad = checked(&[("starts_in = \"ready\"", "starts_in = \"raedy\"")]);
    assert_eq!(bad.status(), Status::Unusable);
    assert_eq!(
        requirement(&bad, "housing-depth"),
        requirement(&good, "housing-depth")
    );
    assert_eq!(requirement(&bad, "voltage").word(), Word::Unknown);
    // Where it hangs itself does.
    let bad = checked(&[("from_top = \"6 m\"", "from_top = \"6\"")]);
    assert!(depths(&bad).values().all(|w| *w == Word::Unknown));
}
