//! Rows of comma-separated values by RFC 4180, with line feeds.

/// A table of texts.
pub(super) struct Csv {
    text: String,
}

impl Csv {
    pub(super) fn with(header: &[&str]) -> Csv {
        let mut csv = Csv {
            text: String::new(),
        };
        csv.row(header);
        csv
    }

    pub(super) fn row<S: AsRef<str>>(&mut self, cells: &[S]) {
        let cells: Vec<String> = cells.iter().map(|c| cell(c.as_ref())).collect();
        self.text.push_str(&cells.join(","));
        self.text.push('\n');
    }

    pub(super) fn text(self) -> String {
        self.text
    }
}

/// A table with its header, each row with as many cells.
pub(crate) fn rows<const N: usize>(
    header: &[&str; N],
    rows: impl Iterator<Item = [String; N]>,
) -> String {
    let mut csv = Csv::with(header);
    rows.for_each(|row| csv.row(&row));
    csv.text()
}

/// What a spreadsheet would take for a formula begins with a quotation mark of its own, so that it stays a text.
fn cell(text: &str) -> String {
    let formula =
        text.starts_with(['=', '@', '+']) || text.starts_with('-') && text.parse::<f64>().is_err();
    let text = match formula {
        true => format!("'{text}"),
        false => text.to_owned(),
    };
    match text.contains([',', '"', '\n', '\r']) {
        true => format!("\"{}\"", text.replace('"', "\"\"")),
        false => text,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 4180, section 2, rules 5 to 7, with the section's own examples.
    #[test]
    fn val_cells_are_quoted_as_rfc_4180_has_it() {
        let mut csv = Csv::with(&["aaa", "b\nbb", "ccc"]);
        csv.row(&["aaa", "b\"bb", "c,c"]);
        assert_eq!(csv.text(), "aaa,\"b\nbb\",ccc\naaa,\"b\"\"bb\",\"c,c\"\n");
    }

    #[test]
    fn verif_a_cell_is_no_formula_and_a_number_stays_one() {
        assert_eq!(cell("=1+1"), "'=1+1");
        assert_eq!(cell("-12.5"), "-12.5");
        assert_eq!(cell("-a"), "'-a");
    }
}
