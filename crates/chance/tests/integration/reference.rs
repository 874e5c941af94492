//! Reading of the reference files.

use std::path::Path;

/// Rows of a file in `reference/chance`, without comments and the line of column names.
pub(crate) fn rows(name: &str, count: usize) -> Vec<Vec<String>> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../../reference/chance")
        .join(name);
    let text = std::fs::read_to_string(&path).expect("the reference file is there");
    let rows: Vec<Vec<String>> = text
        .lines()
        .filter(|line| !line.starts_with('#'))
        .skip(1)
        .map(|line| line.split(',').map(str::to_owned).collect())
        .collect();
    assert_eq!(rows.len(), count, "rows of {}", path.display());
    rows
}
