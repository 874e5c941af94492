//! The table that is written: CSV always, Parquet where the program was built with it.

use std::io::{self, Write};
use std::path::Path;

use super::columns::{Columns, Value};
use super::csv;
use super::error::MeasureCommandError;
#[cfg(feature = "parquet")]
use super::parquet::Parquet;

/// A kind of table, by the end of its name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    Csv,
    #[cfg(feature = "parquet")]
    Parquet,
}

/// The kind of the table that is to bear this name.
pub(super) fn kind(path: &Path) -> Result<Kind, MeasureCommandError> {
    match path.extension().and_then(|e| e.to_str()) {
        Some("csv") => Ok(Kind::Csv),
        #[cfg(feature = "parquet")]
        Some("parquet") => Ok(Kind::Parquet),
        #[cfg(not(feature = "parquet"))]
        Some("parquet") => Err(MeasureCommandError::NoParquet {
            path: path.to_path_buf(),
        }),
        _ => Err(MeasureCommandError::OutName {
            path: path.to_path_buf(),
        }),
    }
}

/// A table that is being written.
pub(super) enum Table<'a> {
    Csv {
        to: &'a mut dyn Write,
        columns: &'a Columns,
    },
    #[cfg(feature = "parquet")]
    Parquet(Box<Parquet<'a>>),
}

impl<'a> Table<'a> {
    /// Writes what stands ahead of the rows.
    pub(super) fn begin(
        kind: Kind,
        to: &'a mut dyn Write,
        head: &[(String, String)],
        columns: &'a Columns,
    ) -> io::Result<Self> {
        match kind {
            Kind::Csv => {
                csv::begin(to, head, &columns.all)?;
                Ok(Table::Csv { to, columns })
            }
            #[cfg(feature = "parquet")]
            Kind::Parquet => Ok(Table::Parquet(Box::new(Parquet::begin(
                to,
                head,
                &columns.all,
            )?))),
        }
    }

    /// Writes a row.
    pub(super) fn row(&mut self, row: &[Value]) -> io::Result<()> {
        match self {
            Table::Csv { to, columns } => csv::row(*to, &columns.all, row),
            #[cfg(feature = "parquet")]
            Table::Parquet(parquet) => parquet.row(row),
        }
    }

    /// Writes what stands behind the rows.
    pub(super) fn end(self) -> io::Result<()> {
        match self {
            Table::Csv { .. } => Ok(()),
            #[cfg(feature = "parquet")]
            Table::Parquet(parquet) => parquet.end(),
        }
    }
}
