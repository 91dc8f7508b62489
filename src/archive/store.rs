//! Where the tables are: one SQLite file, or with the feature `postgres` a PostgreSQL server that
//! many benches share. Both are asked in the same SQL, with `?` for each value in its order; what
//! differs is how tables are typed, how a writer takes its turn, and that a server keeps them in a
//! schema of their own. Rows come one by one, so that any number of them needs no memory.

use super::ArchiveError;
use super::error::StoreError;
use crate::event::Verdict;
use std::borrow::Cow;
use std::path::Path;
use std::time::Duration;

/// How long a writer waits for another one.
const BUSY: Duration = Duration::from_secs(20);

/// One value, going in or coming out.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Cell<'a> {
    Null,
    Int(i64),
    Real(f64),
    Text(Cow<'a, str>),
}

/// The tables.
pub(super) enum Store {
    Sqlite(rusqlite::Connection),
    #[cfg(feature = "postgres")]
    Postgres(Box<super::server::Server>),
}

impl std::fmt::Debug for Store {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Sqlite(_) => "Sqlite",
            #[cfg(feature = "postgres")]
            Self::Postgres(_) => "Postgres",
        })
    }
}

impl Store {
    /// Opens the file, or makes it.
    pub(super) fn file(file: &Path) -> Result<Self, ArchiveError> {
        let opened = |source: rusqlite::Error| ArchiveError::new(file, "opening", source);
        let connection = rusqlite::Connection::open(file).map_err(opened)?;
        connection.busy_timeout(BUSY).map_err(opened)?;
        super::schema::prepare(&connection, file)?;
        Ok(Self::Sqlite(connection))
    }

    /// Hands each row of an answer to `take`, which may end it early.
    pub(super) fn each<E: From<StoreError>>(
        &self,
        sql: &str,
        values: &[Cell<'_>],
        mut take: impl FnMut(&[Cell<'_>]) -> Result<(), E>,
    ) -> Result<(), E> {
        match self {
            Self::Sqlite(connection) => {
                let mut statement = connection.prepare_cached(sql).map_err(StoreError::from)?;
                let columns = statement.column_count();
                let values = rusqlite::params_from_iter(values);
                let mut rows = statement.query(values).map_err(StoreError::from)?;
                while let Some(row) = rows.next().map_err(StoreError::from)? {
                    let cells: rusqlite::Result<Vec<Cell<'_>>> =
                        (0..columns).map(|i| Ok(Cell::from(row.get_ref(i)?))).collect();
                    take(&cells.map_err(StoreError::from)?)?;
                }
                Ok(())
            }
            #[cfg(feature = "postgres")]
            Self::Postgres(server) => server.each(sql, values, take),
        }
    }

    /// Does something that has no answer.
    pub(super) fn run(&self, sql: &str, values: &[Cell<'_>]) -> Result<(), StoreError> {
        self.each(sql, values, |_| Ok(()))
    }

    /// The number that an answer of at most one row and column is.
    pub(super) fn number(&self, sql: &str, values: &[Cell<'_>]) -> Result<Option<i64>, StoreError> {
        let mut found = None;
        self.each(sql, values, |row| {
            found = Some(int(row, 0)?);
            Ok::<(), StoreError>(())
        })?;
        Ok(found)
    }

    /// Does all of it or nothing, while no other writer is at work.
    pub(super) fn at_once<T>(
        &self,
        work: impl FnOnce(&Self) -> Result<T, StoreError>,
    ) -> Result<T, StoreError> {
        self.batch(match self {
            Self::Sqlite(_) => "BEGIN IMMEDIATE",
            #[cfg(feature = "postgres")]
            Self::Postgres(_) => super::server::BEGIN,
        })?;
        let done = work(self).and_then(|done| self.batch("COMMIT").map(|()| done));
        if done.is_err() {
            // What cannot be rolled back is so when the connection ends.
            let _ = self.batch("ROLLBACK");
        }
        done
    }

    fn batch(&self, sql: &str) -> Result<(), StoreError> {
        match self {
            Self::Sqlite(connection) => Ok(connection.execute_batch(sql)?),
            #[cfg(feature = "postgres")]
            Self::Postgres(server) => server.batch(sql),
        }
    }

    #[cfg(test)]
    pub(super) fn sqlite(&self) -> &rusqlite::Connection {
        match self {
            Self::Sqlite(connection) => connection,
            #[cfg(feature = "postgres")]
            Self::Postgres(_) => panic!("no file"),
        }
    }
}

impl rusqlite::ToSql for Cell<'_> {
    fn to_sql(&self) -> rusqlite::Result<rusqlite::types::ToSqlOutput<'_>> {
        use rusqlite::types::ValueRef;
        Ok(rusqlite::types::ToSqlOutput::Borrowed(match self {
            Self::Null => ValueRef::Null,
            Self::Int(x) => ValueRef::Integer(*x),
            Self::Real(x) => ValueRef::Real(*x),
            Self::Text(x) => ValueRef::Text(x.as_bytes()),
        }))
    }
}

impl<'a> From<rusqlite::types::ValueRef<'a>> for Cell<'a> {
    fn from(value: rusqlite::types::ValueRef<'a>) -> Self {
        use rusqlite::types::ValueRef;
        match value {
            ValueRef::Null => Self::Null,
            ValueRef::Integer(x) => Self::Int(x),
            ValueRef::Real(x) => Self::Real(x),
            ValueRef::Text(x) | ValueRef::Blob(x) => Self::Text(String::from_utf8_lossy(x)),
        }
    }
}

impl<'a> From<&'a str> for Cell<'a> {
    fn from(x: &'a str) -> Self {
        Self::Text(Cow::Borrowed(x))
    }
}

impl From<Verdict> for Cell<'_> {
    /// Its word, as questions have it too.
    fn from(verdict: Verdict) -> Self {
        Self::Text(Cow::Owned(verdict.to_string()))
    }
}

impl From<i64> for Cell<'_> {
    fn from(x: i64) -> Self {
        Self::Int(x)
    }
}

impl From<bool> for Cell<'_> {
    fn from(x: bool) -> Self {
        Self::Int(i64::from(x))
    }
}

impl From<f64> for Cell<'_> {
    fn from(x: f64) -> Self {
        Self::Real(x)
    }
}

impl<'a, T: Into<Cell<'a>>> From<Option<T>> for Cell<'a> {
    fn from(x: Option<T>) -> Self {
        x.map_or(Self::Null, Into::into)
    }
}

/// A text that is there.
pub(super) fn text(row: &[Cell<'_>], i: usize) -> Result<String, StoreError> {
    text_if(row, i)?.ok_or(StoreError::Odd { column: i, wanted: "a text" })
}

/// A text, or nothing.
pub(super) fn text_if(row: &[Cell<'_>], i: usize) -> Result<Option<String>, StoreError> {
    match row.get(i) {
        Some(Cell::Text(x)) => Ok(Some(x.clone().into_owned())),
        Some(Cell::Null) => Ok(None),
        _ => Err(StoreError::Odd { column: i, wanted: "a text" }),
    }
}

/// A whole number.
pub(super) fn int(row: &[Cell<'_>], i: usize) -> Result<i64, StoreError> {
    match row.get(i) {
        Some(Cell::Int(x)) => Ok(*x),
        _ => Err(StoreError::Odd { column: i, wanted: "a whole number" }),
    }
}

/// A count.
pub(super) fn count(row: &[Cell<'_>], i: usize) -> Result<u64, StoreError> {
    let odd = StoreError::Odd { column: i, wanted: "a count" };
    u64::try_from(int(row, i)?).map_err(|_| odd)
}

/// A number that is there.
pub(super) fn real(row: &[Cell<'_>], i: usize) -> Result<f64, StoreError> {
    real_if(row, i)?.ok_or(StoreError::Odd { column: i, wanted: "a number" })
}

/// A number, or nothing.
pub(super) fn real_if(row: &[Cell<'_>], i: usize) -> Result<Option<f64>, StoreError> {
    match row.get(i) {
        Some(Cell::Real(x)) => Ok(Some(*x)),
        Some(Cell::Int(x)) => Ok(Some(*x as f64)),
        Some(Cell::Null) => Ok(None),
        _ => Err(StoreError::Odd { column: i, wanted: "a number" }),
    }
}
