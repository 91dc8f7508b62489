//! Every value of the boards that a filter lets through, as CSV rows in the order of time: one row
//! for each check, with its limits and its verdict. Written row by row, so that any number of
//! boards needs no memory. Numbers are as they were recorded; a value that is missing is empty.

use super::query::Where;
use super::{Archive, ArchiveError, Filter};
use rusqlite::params_from_iter;
use rusqlite::types::ValueRef;
use std::io::{self, Write};

/// Why an export ended early.
#[derive(Debug, thiserror::Error)]
pub enum ExportError {
    /// The archive could not be read.
    #[error(transparent)]
    Archive(#[from] ArchiveError),
    /// The rows could not be written.
    #[error("writing the export: {0}")]
    Write(#[from] io::Error),
}

impl Archive {
    /// Writes the rows; says how many.
    ///
    /// # Errors
    /// [`ExportError`].
    pub fn export(&self, filter: &Filter, out: impl Write) -> Result<u64, ExportError> {
        let mut csv = csv::Writer::from_writer(out);
        let written = |error: csv::Error| ExportError::Write(io::Error::other(error));
        csv.write_record([
            "day",
            "at_s",
            "serial",
            "plan",
            "revision",
            "result",
            "check",
            "verdict",
            "value",
            "u",
            "unit",
            "lower",
            "upper",
            "simulated",
            "job",
        ])
        .map_err(written)?;
        let mut count = 0;
        self.each_value(filter, |row| {
            csv.write_record(row).map_err(written)?;
            count += 1;
            Ok(())
        })?;
        csv.flush()?;
        Ok(count)
    }

    fn each_value(
        &self,
        filter: &Filter,
        mut take: impl FnMut(&[String]) -> Result<(), ExportError>,
    ) -> Result<(), ExportError> {
        let failed = |source| ExportError::Archive(ArchiveError::unnamed("exporting", source));
        let conditions = Where::boards(filter);
        let sql = format!(
            "SELECT board.day, board.at_s, board.serial, plan.name, plan.revision, board.result,
                    checked.name, value.verdict, value.value, value.u, checked.unit, checked.lower,
                    checked.upper, board.simulated, board.job
             FROM board JOIN plan ON plan.id = board.plan JOIN value ON value.board = board.id
             JOIN checked ON checked.id = value.checked WHERE {}
             ORDER BY board.at_s, board.id, checked.id",
            conditions.text
        );
        let mut statement = self.connection.prepare(&sql).map_err(failed)?;
        let columns = statement.column_count();
        let mut rows = statement.query(params_from_iter(conditions.values)).map_err(failed)?;
        while let Some(row) = rows.next().map_err(failed)? {
            let cells: rusqlite::Result<Vec<String>> = (0..columns)
                .map(|i| {
                    Ok(match row.get_ref(i)? {
                        ValueRef::Null => String::new(),
                        ValueRef::Integer(x) => x.to_string(),
                        ValueRef::Real(x) => x.to_string(),
                        ValueRef::Text(x) | ValueRef::Blob(x) => {
                            String::from_utf8_lossy(x).into_owned()
                        }
                    })
                })
                .collect();
            take(&cells.map_err(failed)?)?;
        }
        Ok(())
    }
}
