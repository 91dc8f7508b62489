//! The tables of the archive and their format number. `value` has every check of every board;
//! `failure` lists those that did not pass; `tally` holds, for each check and day, count, mean and
//! sum of squares about the mean (Welford's), so that capability and drift over any number of
//! boards are read from a few rows and are exact.

use super::error::ArchiveError;
use rusqlite::Connection;
use std::path::Path;

/// Raised when a table changes meaning; a file of another format is made again, not guessed at.
pub(super) const FORMAT: i64 = 1;

/// The tables as SQLite has them; a server's are typed after the same text.
pub(super) const TABLES: &str = "
CREATE TABLE IF NOT EXISTS plan (
    id INTEGER PRIMARY KEY, name TEXT NOT NULL, revision TEXT NOT NULL,
    UNIQUE (name, revision));
CREATE TABLE IF NOT EXISTS checked (
    id INTEGER PRIMARY KEY, plan INTEGER NOT NULL REFERENCES plan, name TEXT NOT NULL,
    unit TEXT NOT NULL, lower REAL, upper REAL);
CREATE INDEX IF NOT EXISTS checked_name ON checked (plan, name);
CREATE TABLE IF NOT EXISTS board (
    id INTEGER PRIMARY KEY, chain TEXT NOT NULL UNIQUE, job TEXT NOT NULL, serial TEXT NOT NULL,
    plan INTEGER NOT NULL REFERENCES plan, at_s INTEGER NOT NULL, day TEXT NOT NULL,
    result TEXT NOT NULL, repeats INTEGER NOT NULL, simulated INTEGER NOT NULL, by TEXT,
    reason TEXT);
CREATE INDEX IF NOT EXISTS board_at ON board (simulated, at_s);
CREATE INDEX IF NOT EXISTS board_serial ON board (serial);
CREATE INDEX IF NOT EXISTS board_day ON board (simulated, plan, day, result, repeats);
CREATE TABLE IF NOT EXISTS value (
    board INTEGER NOT NULL REFERENCES board, checked INTEGER NOT NULL REFERENCES checked,
    verdict TEXT NOT NULL, value REAL, u REAL, PRIMARY KEY (board, checked)) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS failure (
    checked INTEGER NOT NULL REFERENCES checked, board INTEGER NOT NULL REFERENCES board,
    PRIMARY KEY (checked, board)) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS tally (
    checked INTEGER NOT NULL REFERENCES checked, simulated INTEGER NOT NULL, day TEXT NOT NULL,
    n INTEGER NOT NULL, mean REAL NOT NULL, squares REAL NOT NULL, least REAL NOT NULL,
    most REAL NOT NULL, PRIMARY KEY (checked, simulated, day)) WITHOUT ROWID;
";

/// Takes one value into its day's tally: check, simulated, day, then the value three times.
pub(super) const TALLY: &str = "
INSERT INTO tally (checked, simulated, day, n, mean, squares, least, most)
VALUES (?, ?, ?, 1, ?, 0.0, ?, ?)
ON CONFLICT (checked, simulated, day) DO UPDATE SET
    n = tally.n + 1,
    mean = tally.mean + (excluded.mean - tally.mean) / (tally.n + 1),
    squares = tally.squares + (excluded.mean - tally.mean)
        * (excluded.mean - (tally.mean + (excluded.mean - tally.mean) / (tally.n + 1))),
    least = CASE WHEN excluded.least < tally.least THEN excluded.least ELSE tally.least END,
    most = CASE WHEN excluded.most > tally.most THEN excluded.most ELSE tally.most END";

/// Makes the tables where there are none, and refuses a file of another format.
pub(super) fn prepare(connection: &Connection, file: &Path) -> Result<(), ArchiveError> {
    let failed = |source| ArchiveError::new(file, "preparing", source);
    let format: i64 =
        connection.query_row("PRAGMA user_version", [], |row| row.get(0)).map_err(failed)?;
    match format {
        FORMAT => {}
        0 => connection
            .execute_batch(&format!(
                "PRAGMA journal_mode = WAL; BEGIN IMMEDIATE; {TABLES}
                 PRAGMA user_version = {FORMAT}; COMMIT;"
            ))
            .map_err(failed)?,
        other => return Err(ArchiveError::other_format(Some(file), other)),
    }
    connection
        .execute_batch("PRAGMA synchronous = NORMAL; PRAGMA cache_size = -65536;")
        .map_err(failed)
}
