//! The questions that the archive answers, each from an index or a tally: the newest boards, yield
//! for each plan and day, what fails most, and the daily tallies behind capability and drift. What
//! the numbers mean is worked out elsewhere. Simulated and real boards never mix.

use super::error::StoreError;
use super::store::{Cell, count, int, real, real_if, text, text_if};
use super::{Archive, ArchiveError};

/// Which boards.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Filter {
    /// Only of this plan, by name.
    pub plan: Option<String>,
    /// Only this serial number.
    pub serial: Option<String>,
    /// Only this verdict: `pass`, `fail` or `undecided`.
    pub result: Option<String>,
    /// From this day on, as `2026-11-25`.
    pub since: Option<String>,
    /// To this day.
    pub until: Option<String>,
    /// Simulated boards instead of real ones.
    pub simulated: bool,
}

/// One board.
#[derive(Clone, Debug, PartialEq)]
pub struct Listed {
    /// Its serial number.
    pub serial: String,
    /// Its plan.
    pub plan: String,
    /// The plan's edition.
    pub revision: String,
    /// Seconds since 1970.
    pub at_s: i64,
    /// The day.
    pub day: String,
    /// Its verdict.
    pub result: String,
    /// How often it had been tested before.
    pub repeats: u32,
    /// Why it is no pass.
    pub reason: Option<String>,
    /// The job folder.
    pub job: String,
}

/// How a plan's boards fared on one day.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Yield {
    /// The plan.
    pub plan: String,
    /// The day.
    pub day: String,
    /// Tests.
    pub tested: u64,
    /// Tests that passed.
    pub passed: u64,
    /// Tests that failed.
    pub failed: u64,
    /// First tests of a board.
    pub first: u64,
    /// First tests that passed.
    pub first_passed: u64,
}

/// How often a check did not pass.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NotPassed {
    /// The plan.
    pub plan: String,
    /// The check.
    pub check: String,
    /// How often.
    pub count: u64,
}

/// A check with its limits, and its days.
#[derive(Clone, Debug, PartialEq)]
pub struct Measured {
    /// The plan.
    pub plan: String,
    /// The plan's edition.
    pub revision: String,
    /// The check.
    pub check: String,
    /// The unit of its numbers.
    pub unit: String,
    /// Least that passes.
    pub lower: Option<f64>,
    /// Most that passes.
    pub upper: Option<f64>,
    /// Its days, in order.
    pub days: Vec<Daily>,
}

/// The values of one check on one day.
#[derive(Clone, Debug, PartialEq)]
pub struct Daily {
    /// The day.
    pub day: String,
    /// How many values.
    pub count: u64,
    /// Their mean.
    pub mean: f64,
    /// Sum of squares about it.
    pub squares: f64,
    /// The least.
    pub least: f64,
    /// The most.
    pub most: f64,
}

/// Conditions in SQL with their values.
pub(super) struct Where {
    pub(super) text: String,
    pub(super) values: Vec<Cell<'static>>,
}

impl Where {
    /// On a table with `day` and `simulated`, joined with `plan`.
    fn days(filter: &Filter, table: &str) -> Self {
        let simulated = Cell::from(filter.simulated);
        let mut found = Self { text: format!("{table}.simulated = ?"), values: vec![simulated] };
        found.and("plan.name = ?", filter.plan.as_deref());
        found.and(&format!("{table}.day >= ?"), filter.since.as_deref());
        found.and(&format!("{table}.day <= ?"), filter.until.as_deref());
        found
    }

    pub(super) fn boards(filter: &Filter) -> Self {
        let mut found = Self::days(filter, "board");
        if filter.serial.is_some() {
            // A sum is in no index: boards are then found by their serial number, which few of
            // them share, and not by walking over all of them in the order of time.
            found.text = found.text.replacen("board.simulated", "board.simulated + 0", 1);
        }
        found.and("board.serial = ?", filter.serial.as_deref());
        found.and("board.result = ?", filter.result.as_deref());
        found
    }

    fn and(&mut self, condition: &str, value: Option<&str>) {
        if let Some(value) = value {
            self.text = format!("{} AND {condition}", self.text);
            self.values.push(Cell::Text(value.to_owned().into()));
        }
    }
}

/// A check as [`measured`] reads it.
const CHECKED: &str =
    "plan.name, plan.revision, checked.name, checked.unit, checked.lower, checked.upper";

fn measured(row: &[Cell<'_>]) -> Result<Measured, StoreError> {
    Ok(Measured {
        plan: text(row, 0)?,
        revision: text(row, 1)?,
        check: text(row, 2)?,
        unit: text(row, 3)?,
        lower: real_if(row, 4)?,
        upper: real_if(row, 5)?,
        days: Vec::new(),
    })
}

fn list_sql(filter: &Filter, most: u32) -> (String, Where) {
    let mut conditions = Where::boards(filter);
    conditions.values.push(Cell::Int(i64::from(most)));
    let sql = format!(
        "SELECT serial, plan.name, plan.revision, at_s, day, result, repeats, reason, job
         FROM board JOIN plan ON plan.id = board.plan WHERE {}
         ORDER BY board.at_s DESC, board.id DESC LIMIT ?",
        conditions.text
    );
    (sql, conditions)
}

impl Archive {
    /// The newest boards first, at most so many.
    ///
    /// # Errors
    /// [`ArchiveError`].
    pub fn list(&self, filter: &Filter, most: u32) -> Result<Vec<Listed>, ArchiveError> {
        let (sql, conditions) = list_sql(filter, most);
        self.rows("listing", &sql, conditions, |row| {
            Ok(Listed {
                serial: text(row, 0)?,
                plan: text(row, 1)?,
                revision: text(row, 2)?,
                at_s: int(row, 3)?,
                day: text(row, 4)?,
                result: text(row, 5)?,
                repeats: u32::try_from(int(row, 6)?).unwrap_or(u32::MAX),
                reason: text_if(row, 7)?,
                job: text(row, 8)?,
            })
        })
    }

    /// Yield for each plan and day, oldest day first.
    ///
    /// # Errors
    /// [`ArchiveError`].
    pub fn yields(&self, filter: &Filter) -> Result<Vec<Yield>, ArchiveError> {
        let conditions = Where::boards(filter);
        let sql = format!(
            "SELECT plan.name, board.day, count(*), count(CASE WHEN result = 'pass' THEN 1 END),
                    count(CASE WHEN result = 'fail' THEN 1 END),
                    count(CASE WHEN repeats = 0 THEN 1 END),
                    count(CASE WHEN repeats = 0 AND result = 'pass' THEN 1 END)
             FROM board JOIN plan ON plan.id = board.plan WHERE {}
             GROUP BY plan.name, board.day ORDER BY board.day, plan.name",
            conditions.text
        );
        self.rows("counting yields", &sql, conditions, |row| {
            Ok(Yield {
                plan: text(row, 0)?,
                day: text(row, 1)?,
                tested: count(row, 2)?,
                passed: count(row, 3)?,
                failed: count(row, 4)?,
                first: count(row, 5)?,
                first_passed: count(row, 6)?,
            })
        })
    }

    /// What did not pass, most frequent first.
    ///
    /// # Errors
    /// [`ArchiveError`].
    pub fn failures(&self, filter: &Filter) -> Result<Vec<NotPassed>, ArchiveError> {
        let conditions = Where::boards(filter);
        let sql = format!(
            "SELECT plan.name, checked.name, count(*) FROM failure
             JOIN checked ON checked.id = failure.checked JOIN board ON board.id = failure.board
             JOIN plan ON plan.id = checked.plan WHERE {}
             GROUP BY plan.name, checked.name ORDER BY count(*) DESC, plan.name, checked.name",
            conditions.text
        );
        self.rows("counting failures", &sql, conditions, |row| {
            Ok(NotPassed { plan: text(row, 0)?, check: text(row, 1)?, count: count(row, 2)? })
        })
    }

    /// Every check with its daily tallies; those that never had a value come last, without days.
    /// Serial number and verdict do not narrow it.
    ///
    /// # Errors
    /// [`ArchiveError`].
    pub fn measured(&self, filter: &Filter) -> Result<Vec<Measured>, ArchiveError> {
        let mut found = self.tallied(filter)?;
        found.extend(self.never_measured(filter)?);
        Ok(found)
    }

    /// Checks of plans by which boards were tested, that had no value on any of the days: what
    /// they look at was always open, or could not be reached.
    fn never_measured(&self, filter: &Filter) -> Result<Vec<Measured>, ArchiveError> {
        let of_board = Where::days(filter, "board");
        let mut of_tally = Where::days(&Filter { plan: None, ..filter.clone() }, "tally");
        let sql = format!(
            "SELECT {CHECKED} FROM checked JOIN plan ON plan.id = checked.plan
             WHERE EXISTS (SELECT 1 FROM board WHERE board.plan = plan.id AND {})
             AND NOT EXISTS (SELECT 1 FROM tally WHERE tally.checked = checked.id AND {})
             ORDER BY checked.id",
            of_board.text, of_tally.text
        );
        let mut values = of_board.values;
        values.append(&mut of_tally.values);
        let conditions = Where { text: String::new(), values };
        self.rows("looking for checks without a value", &sql, conditions, measured)
    }

    fn tallied(&self, filter: &Filter) -> Result<Vec<Measured>, ArchiveError> {
        let conditions = Where::days(filter, "tally");
        let sql = format!(
            "SELECT {CHECKED}, tally.day, tally.n, tally.mean, tally.squares, tally.least,
                    tally.most
             FROM tally JOIN checked ON checked.id = tally.checked
             JOIN plan ON plan.id = checked.plan WHERE {}
             ORDER BY checked.id, tally.day",
            conditions.text
        );
        let rows = self.rows("reading tallies", &sql, conditions, |row| {
            let measured = measured(row)?;
            let daily = Daily {
                day: text(row, 6)?,
                count: count(row, 7)?,
                mean: real(row, 8)?,
                squares: real(row, 9)?,
                least: real(row, 10)?,
                most: real(row, 11)?,
            };
            Ok((measured, daily))
        })?;
        let mut found: Vec<Measured> = Vec::new();
        for (measured, daily) in rows {
            let same = |m: &Measured| {
                (&m.plan, &m.revision, &m.check)
                    == (&measured.plan, &measured.revision, &measured.check)
                    && (m.lower, m.upper) == (measured.lower, measured.upper)
            };
            if !found.last().is_some_and(same) {
                found.push(measured);
            }
            if let Some(last) = found.last_mut() {
                last.days.push(daily);
            }
        }
        Ok(found)
    }

    fn rows<T>(
        &self,
        step: &str,
        sql: &str,
        conditions: Where,
        make: impl Fn(&[Cell<'_>]) -> Result<T, StoreError>,
    ) -> Result<Vec<T>, ArchiveError> {
        let mut found = Vec::new();
        let all = self.store.each(sql, &conditions.values, |row| {
            found.push(make(row)?);
            Ok(())
        });
        all.map(|()| found).map_err(|source: StoreError| ArchiveError::unnamed(step, source))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rusqlite::StatementStatus;

    /// An archive with so many invented boards, a hundred a day, in memory.
    fn archive(count: u32) -> Archive {
        let archive = Archive::open(std::path::Path::new(":memory:")).unwrap();
        let sql = format!(
            "INSERT INTO plan (id, name, revision) VALUES (1, 'p', '1');
             WITH RECURSIVE n (i) AS (SELECT 0 UNION ALL SELECT i + 1 FROM n WHERE i + 1 < {count})
             INSERT INTO board (chain, job, serial, plan, at_s, day, result, repeats, simulated)
             SELECT 'c' || i, 'j', 'S' || i, 1, i, date(0, 'unixepoch', (i / 100) || ' days'),
                    'pass', 0, 0 FROM n;"
        );
        archive.store.sqlite().execute_batch(&sql).unwrap();
        archive
    }

    /// How much work a list is, in SQLite's own steps: the same on any machine.
    fn steps(archive: &Archive, filter: &Filter) -> (usize, i32) {
        let found = archive.list(filter, 20).unwrap();
        let statement = archive.store.sqlite().prepare_cached(&list_sql(filter, 20).0).unwrap();
        (found.len(), statement.get_status(StatementStatus::VmStep))
    }

    #[test]
    fn a_list_is_as_much_work_among_many_boards_as_among_few() {
        let serial = Filter { serial: Some("S7".into()), ..Filter::default() };
        let day = Some("1970-01-02".to_owned());
        let days = Filter {
            since: day.clone(),
            until: day,
            serial: Some("S150".into()),
            ..serial.clone()
        };
        for (filter, wanted) in [(Filter::default(), 20), (serial, 1), (days, 1)] {
            let ((few, least), (many, most)) =
                (steps(&archive(400), &filter), steps(&archive(4000), &filter));
            assert_eq!((few, many), (wanted, wanted), "{filter:?}");
            assert!(least > 10 && most <= least + 50, "{least} and {most} steps: {filter:?}");
        }
    }
}
