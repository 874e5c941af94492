/// A reference file: its column names and rows, without the comment lines.
pub(crate) struct Reference {
    columns: Vec<String>,
    rows: Vec<Vec<String>>,
}

/// One row of a reference file.
pub(crate) struct Row<'a> {
    columns: &'a [String],
    cells: &'a [String],
}

impl Reference {
    pub(crate) fn open(name: &str) -> Self {
        let text = truth::text(&format!("seawater/{name}"));
        let mut lines = text.lines().filter(|line| !line.starts_with('#'));
        let cells = |line: &str| line.split(',').map(str::to_owned).collect::<Vec<_>>();
        let columns = cells(lines.next().expect("a line of column names"));
        let rows: Vec<_> = lines.map(cells).collect();
        assert!(rows.len() > 1, "{name} has no rows");
        assert!(
            rows.iter().all(|row| row.len() == columns.len()),
            "{name} has a ragged row"
        );
        Self { columns, rows }
    }

    pub(crate) fn rows(&self) -> impl Iterator<Item = Row<'_>> {
        self.rows.iter().map(|cells| Row {
            columns: &self.columns,
            cells,
        })
    }
}

impl Row<'_> {
    pub(crate) fn text(&self, column: &str) -> &str {
        let at = self
            .columns
            .iter()
            .position(|c| c == column)
            .unwrap_or_else(|| panic!("no column {column}"));
        &self.cells[at]
    }

    pub(crate) fn number(&self, column: &str) -> f64 {
        self.text(column)
            .parse()
            .unwrap_or_else(|e| panic!("{column} {:?}: {e}", self.text(column)))
    }
}

/// Two-sided; a value that is not a number fails.
#[track_caller]
pub(crate) fn assert_near(computed: f64, expected: f64, tolerance: f64) {
    assert!(
        (computed - expected).abs() <= tolerance,
        "{computed} against {expected}, allowed {tolerance}"
    );
}
