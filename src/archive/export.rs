//! Every value of the boards that a filter lets through, as CSV rows in the order of time: one row
//! for each check, with its limits and its verdict. Written row by row, so that any number of
//! boards needs no memory. Numbers are as they were recorded; a value that is missing is empty.

use super::error::StoreError;
use super::query::Where;
use super::store::Cell;
use super::{Archive, ArchiveError, Filter};
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
        self.store.each(&sql, &conditions.values, |row| {
            let cells: Vec<String> = row.iter().map(written).collect();
            take(&cells)
        })
    }
}

fn written(cell: &Cell<'_>) -> String {
    match cell {
        Cell::Null => String::new(),
        Cell::Int(x) => x.to_string(),
        Cell::Real(x) => x.to_string(),
        Cell::Text(x) => x.clone().into_owned(),
    }
}

impl From<StoreError> for ExportError {
    fn from(source: StoreError) -> Self {
        Self::Archive(ArchiveError::unnamed("exporting", source))
    }
}
