//! Reading of the reference files.

/// Rows of a file in `reference/chance`.
pub(crate) fn rows(name: &str, count: usize) -> Vec<Vec<String>> {
    let rows = truth::rows(&format!("chance/{name}"));
    assert_eq!(rows.len(), count, "rows of {name}");
    rows
}
