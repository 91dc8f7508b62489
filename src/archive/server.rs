//! The archive on a PostgreSQL server, reached by a URL (feature `postgres`). The tables are in a
//! schema of their own, `coilmark`, typed after the same text as SQLite's; texts sort by their
//! bytes on both. Writers take turns by a lock on the table of boards, which readers do not wait
//! for, so that two benches can never hold each other up for ever.

use super::error::StoreError;
use super::store::Cell;
use super::{ArchiveError, schema};
use postgres::fallible_iterator::FallibleIterator;
use postgres::types::{ToSql, Type};
use postgres::{Client, Config, NoTls, Row, Statement};
use std::borrow::Cow;
use std::cell::RefCell;
use std::collections::HashMap;
use std::time::Duration;

/// How a writer takes its turn.
pub(super) const BEGIN: &str = "BEGIN; LOCK TABLE board IN EXCLUSIVE MODE";
/// How long a server may take to answer the door.
const CONNECT: Duration = Duration::from_secs(10);
/// Any number: benches that open the same archive at once make its tables one after the other.
const OPENING: &str = "SELECT pg_advisory_xact_lock(7301462)";

/// A server, and what it was asked before.
pub(super) struct Server {
    inner: RefCell<(Client, HashMap<String, Statement>)>,
}

impl Server {
    /// Connects, and makes the tables where there are none.
    pub(super) fn open(url: &str) -> Result<Self, ArchiveError> {
        let mut config: Config = url
            .parse()
            .map_err(|source: postgres::Error| ArchiveError::server("", "its URL", source))?;
        let name = config.get_dbname().unwrap_or_default().to_owned();
        if config.get_connect_timeout().is_none() {
            config.connect_timeout(CONNECT);
        }
        let failed = |step| {
            let name = name.clone();
            move |source: postgres::Error| ArchiveError::server(&name, step, source)
        };
        let mut client = config.connect(NoTls).map_err(failed("connecting"))?;
        let tables = schema::TABLES
            .replace("INTEGER PRIMARY KEY", "BIGINT GENERATED ALWAYS AS IDENTITY PRIMARY KEY")
            .replace("INTEGER", "BIGINT")
            .replace("REAL", "DOUBLE PRECISION")
            .replace("TEXT", "TEXT COLLATE \"C\"")
            .replace(" WITHOUT ROWID", "");
        let format = schema::FORMAT;
        // Only where there are none: making what is there already locks the tables against benches
        // that write to them, and two of those could wait for each other.
        client
            .batch_execute(&format!(
                "SET client_min_messages = warning; SET search_path TO coilmark;
                 BEGIN; {OPENING};
                 DO $prepare$ BEGIN IF to_regclass('coilmark.format') IS NULL THEN
                     CREATE SCHEMA IF NOT EXISTS coilmark;
                     {tables}
                     CREATE TABLE format (number BIGINT NOT NULL);
                     INSERT INTO format VALUES ({format});
                 END IF; END $prepare$;
                 COMMIT;"
            ))
            .map_err(failed("preparing"))?;
        let found = client.query_one("SELECT number FROM format", &[]);
        let found: i64 = found.and_then(|row| row.try_get(0)).map_err(failed("preparing"))?;
        if found != format {
            return Err(ArchiveError::other_format(None, found));
        }
        Ok(Self { inner: RefCell::new((client, HashMap::new())) })
    }

    pub(super) fn batch(&self, sql: &str) -> Result<(), StoreError> {
        Ok(self.inner.borrow_mut().0.batch_execute(sql)?)
    }

    pub(super) fn each<E: From<StoreError>>(
        &self,
        sql: &str,
        values: &[Cell<'_>],
        mut take: impl FnMut(&[Cell<'_>]) -> Result<(), E>,
    ) -> Result<(), E> {
        let mut inner = self.inner.borrow_mut();
        let (client, known) = &mut *inner;
        let statement = match known.get(sql) {
            Some(statement) => statement.clone(),
            None => {
                let made = client.prepare(&numbered(sql)).map_err(StoreError::from)?;
                known.insert(sql.to_owned(), made.clone());
                made
            }
        };
        let types = statement.params();
        let values: Vec<Box<dyn ToSql + Sync>> =
            values.iter().zip(types).map(|(value, of)| parameter(value, of)).collect();
        let mut rows = client.query_raw(&statement, values).map_err(StoreError::from)?;
        while let Some(row) = rows.next().map_err(StoreError::from)? {
            let cells: Result<Vec<Cell<'_>>, _> = (0..row.len()).map(|i| cell(&row, i)).collect();
            take(&cells.map_err(StoreError::from)?)?;
        }
        Ok(())
    }
}

/// The same SQL with `$1`, `$2` ... for its question marks; no text in it holds one.
fn numbered(sql: &str) -> String {
    let mut parts = sql.split('?');
    let first = parts.next().unwrap_or_default().to_owned();
    (1..).zip(parts).fold(first, |text, (n, part)| format!("{text}${n}{part}"))
}

fn parameter(value: &Cell<'_>, of: &Type) -> Box<dyn ToSql + Sync> {
    match value {
        Cell::Null if *of == Type::INT8 => Box::new(None::<i64>),
        Cell::Null if *of == Type::FLOAT8 => Box::new(None::<f64>),
        Cell::Null => Box::new(None::<String>),
        Cell::Int(x) => Box::new(*x),
        Cell::Real(x) => Box::new(*x),
        // A server takes no NUL in a text.
        Cell::Text(x) => Box::new(x.replace('\0', "\u{fffd}")),
    }
}

fn cell(row: &Row, i: usize) -> Result<Cell<'_>, postgres::Error> {
    let of = row.columns().get(i).map(|column| column.type_().clone());
    Ok(match of {
        Some(Type::INT8) => row.try_get::<_, Option<i64>>(i)?.into(),
        Some(Type::FLOAT8) => row.try_get::<_, Option<f64>>(i)?.into(),
        _ => {
            row.try_get::<_, Option<&str>>(i)?.map_or(Cell::Null, |x| Cell::Text(Cow::Borrowed(x)))
        }
    })
}
