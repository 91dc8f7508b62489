//! The history: one SQLite file that indexes the boards of many job folders. It is never the only
//! copy: everything in it comes from journals, and it can be made again from them. A board is known
//! by the chain of the line that its verdict was written in, so that putting it in twice, or from a
//! copied folder, changes nothing. Several processes may write at once. It reads no clock and no
//! journal; what is put in and asked for is the caller's.

mod error;
mod export;
mod query;
mod schema;

pub use error::ArchiveError;
pub use export::ExportError;
pub use query::{Daily, Failure, Filter, Listed, Measured, Yield};

use crate::event::{BoardFinding, CheckFound, Verdict};
use rusqlite::{Connection, OptionalExtension, Transaction, TransactionBehavior, params};
use std::path::Path;
use std::time::Duration;

/// How long a writer waits for another one.
const BUSY: Duration = Duration::from_secs(20);

/// One board's verdict as it goes in.
#[derive(Clone, Debug)]
pub struct Record<'a> {
    /// The chain of the journal's line that holds the verdict.
    pub chain: &'a str,
    /// The job folder.
    pub job: &'a str,
    /// Seconds since 1970 (UTC).
    pub at_s: i64,
    /// The day by the bench's own clock: `2026-11-25`.
    pub day: &'a str,
    /// Who tested, if they said.
    pub by: Option<&'a str>,
    /// The verdict and its checks.
    pub finding: &'a BoardFinding,
}

/// The archive.
#[derive(Debug)]
pub struct Archive {
    connection: Connection,
}

impl Archive {
    /// Opens the file, or makes it.
    ///
    /// # Errors
    /// [`ArchiveError`] where it cannot be opened or is of another format.
    pub fn open(file: &Path) -> Result<Self, ArchiveError> {
        let opened = |source| ArchiveError::new(file, "opening", source);
        let connection = Connection::open(file).map_err(opened)?;
        connection.busy_timeout(BUSY).map_err(opened)?;
        schema::prepare(&connection, file)?;
        Ok(Self { connection })
    }

    /// Puts these verdicts in, all or none; says how many were new.
    ///
    /// # Errors
    /// [`ArchiveError`]; nothing of these is then in it.
    pub fn put(&mut self, records: &[Record<'_>]) -> Result<usize, ArchiveError> {
        let failed = |source| ArchiveError::unnamed("writing", source);
        let behaviour = TransactionBehavior::Immediate;
        let transaction = self.connection.transaction_with_behavior(behaviour).map_err(failed)?;
        let mut new = 0;
        for record in records {
            new += usize::from(put_one(&transaction, record).map_err(failed)?);
        }
        transaction.commit().map_err(failed)?;
        Ok(new)
    }

    /// Takes everything out, so that it can be made again.
    ///
    /// # Errors
    /// [`ArchiveError`].
    pub fn clear(&mut self) -> Result<(), ArchiveError> {
        let sql = "DELETE FROM board; DELETE FROM value; DELETE FROM failure; DELETE FROM tally;";
        self.connection
            .execute_batch(&format!("BEGIN IMMEDIATE; {sql} COMMIT;"))
            .map_err(|source| ArchiveError::unnamed("emptying", source))
    }

    /// How many verdicts are in it.
    ///
    /// # Errors
    /// [`ArchiveError`].
    pub fn count(&self) -> Result<u64, ArchiveError> {
        let count = self.connection.query_row("SELECT count(*) FROM board", [], |row| row.get(0));
        count.map_err(|source| ArchiveError::unnamed("counting", source))
    }
}

fn word(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Pass => "pass",
        Verdict::Fail => "fail",
        Verdict::Undecided => "undecided",
    }
}

/// Puts one verdict in; false where it is in already.
fn put_one(transaction: &Transaction<'_>, record: &Record<'_>) -> rusqlite::Result<bool> {
    let finding = record.finding;
    let plan = plan(transaction, &finding.plan, &finding.revision)?;
    let put = transaction
        .prepare_cached(
            "INSERT OR IGNORE INTO board
             (chain, job, serial, plan, at_s, day, result, repeats, simulated, by, reason)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11)",
        )?
        .execute(params![
            record.chain,
            record.job,
            finding.serial,
            plan,
            record.at_s,
            record.day,
            word(finding.result),
            finding.repeats,
            finding.simulated,
            record.by,
            finding.reason,
        ])?;
    if put == 0 {
        return Ok(false);
    }
    let board = transaction.last_insert_rowid();
    for found in &finding.checks {
        let check = check(transaction, plan, found)?;
        put_value(transaction, board, check, record, found)?;
    }
    Ok(true)
}

fn put_value(
    transaction: &Transaction<'_>,
    board: i64,
    check: i64,
    record: &Record<'_>,
    found: &CheckFound,
) -> rusqlite::Result<()> {
    transaction
        .prepare_cached(
            "INSERT INTO value (board, checked, verdict, value, u) VALUES (?, ?, ?, ?, ?)",
        )?
        .execute(params![board, check, word(found.verdict), found.value, found.u])?;
    if found.verdict != Verdict::Pass {
        transaction
            .prepare_cached("INSERT INTO failure (checked, board) VALUES (?, ?)")?
            .execute(params![check, board])?;
    }
    let Some(value) = found.value.filter(|value| value.is_finite()) else { return Ok(()) };
    transaction.prepare_cached(schema::TALLY)?.execute(params![
        check,
        record.finding.simulated,
        record.day,
        value
    ])?;
    Ok(())
}

fn plan(transaction: &Transaction<'_>, name: &str, revision: &str) -> rusqlite::Result<i64> {
    let find = "SELECT id FROM plan WHERE name = ? AND revision = ?";
    let known = transaction
        .prepare_cached(find)?
        .query_row(params![name, revision], |row| row.get(0))
        .optional()?;
    if let Some(id) = known {
        return Ok(id);
    }
    transaction
        .prepare_cached("INSERT INTO plan (name, revision) VALUES (?, ?)")?
        .execute(params![name, revision])?;
    Ok(transaction.last_insert_rowid())
}

/// A check is told by its name and its limits: a plan whose limits changed has another.
fn check(transaction: &Transaction<'_>, plan: i64, found: &CheckFound) -> rusqlite::Result<i64> {
    let find = "SELECT id FROM checked
                WHERE plan = ? AND name = ? AND unit = ? AND lower IS ? AND upper IS ?";
    let key = params![plan, found.check, found.unit, found.lower, found.upper];
    let known = transaction.prepare_cached(find)?.query_row(key, |row| row.get(0)).optional()?;
    if let Some(id) = known {
        return Ok(id);
    }
    transaction
        .prepare_cached(
            "INSERT INTO checked (plan, name, unit, lower, upper) VALUES (?, ?, ?, ?, ?)",
        )?
        .execute(params![plan, found.check, found.unit, found.lower, found.upper])?;
    Ok(transaction.last_insert_rowid())
}
