//! The pages of the guide that are made from the field tables.

use std::path::Path;

/// The committed page is what the tables say. With SOUNDLINE_RENEW=1 in the environment it is written anew.
fn holds(page: &str, made: &str) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../../docs/guide")
        .join(page);
    if std::env::var_os("SOUNDLINE_RENEW").is_some() {
        std::fs::write(&path, made).expect("the page can be written");
    }
    let kept = std::fs::read_to_string(&path).unwrap_or_default();
    assert!(
        kept == made,
        "docs/guide/{page} is out of date; renew it with\n  SOUNDLINE_RENEW=1 cargo test -p plan guide"
    );
}

#[test]
fn verif_the_page_of_the_plan_file_is_true() {
    holds("plan-file.md", &plan::plan_reference());
}

#[test]
fn verif_the_page_of_the_cue_sheet_is_true() {
    holds("cue-sheet.md", &plan::cues_reference());
}
