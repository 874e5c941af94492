//! The table as CSV (RFC 4180, with line feeds), after lines that begin with `#`: empty where there is no figure, `-inf` for the
//! level of exact silence.

use std::io::{self, Write};

use super::columns::{Column, Kind, Value};
use crate::listen::quoted;

/// Writes the head and the names of the columns.
pub(super) fn begin(
    to: &mut dyn Write,
    head: &[(String, String)],
    columns: &[Column],
) -> io::Result<()> {
    for (key, value) in head {
        writeln!(to, "# {key}: {value}")?;
    }
    let names: Vec<&str> = columns.iter().map(|column| column.name.as_str()).collect();
    writeln!(to, "{}", names.join(","))
}

/// Writes a row.
pub(super) fn row(to: &mut dyn Write, columns: &[Column], row: &[Value]) -> io::Result<()> {
    let mut separator = "";
    for (column, value) in columns.iter().zip(row) {
        to.write_all(separator.as_bytes())?;
        separator = ",";
        match (value, column.kind) {
            (Value::Text(text), _) => to.write_all(quoted(text).as_bytes())?,
            (Value::Count(count), _) => write!(to, "{count}")?,
            (Value::Number(None), _) => {}
            (Value::Number(Some(number)), Kind::Number(decimals)) => {
                write!(to, "{number:.decimals$}")?;
            }
            (Value::Number(Some(number)), _) => write!(to, "{number}")?,
        }
    }
    writeln!(to)
}
