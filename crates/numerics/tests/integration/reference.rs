use std::path::Path;

/// Rows of a reference file, without its comment lines and its line of column names.
pub(crate) fn rows(name: &str) -> Vec<Vec<String>> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../../reference/numerics")
        .join(name);
    let text = std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    let rows: Vec<Vec<String>> = text
        .lines()
        .filter(|line| !line.starts_with('#'))
        .skip(1)
        .map(|line| line.split(',').map(str::to_owned).collect())
        .collect();
    assert!(!rows.is_empty(), "{name} has no rows");
    rows
}
