//! Two jobs of the same site beside each other: their records in, one row for everything that is
//! called, named, judged or measured in either, and whether it changed. A number has changed where
//! the difference is larger than twice the standard uncertainties of both together; without an
//! uncertainty the difference is shown and not judged. Nothing is measured anew.

mod figures;
mod page;

pub use page::{page, summary};

use crate::event::Event;
use crate::journal::Entry;
use figures::{Figure, Worth, figures};
use schemars::JsonSchema;
use serde::Serialize;

/// Whether something changed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Change {
    /// The same, or the same within the uncertainties.
    Same,
    /// It changed.
    Changed,
    /// The values differ, and how well they are known was not recorded.
    Differs,
    /// Only the older record has it.
    OnlyThen,
    /// Only the newer record has it.
    OnlyNow,
}

/// One thing beside itself.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Beside {
    /// What it belongs to: `site`, `output`, `relay`, `fit`, `loop`, `board`, `zone`, `steps`.
    pub of: &'static str,
    /// What it is.
    pub name: String,
    /// In the older record, in words.
    pub then: Option<String>,
    /// In the newer record, in words.
    pub now: Option<String>,
    /// Newer less older, in `unit`, for a number in both.
    pub difference: Option<f64>,
    /// Twice the standard uncertainties of both together, in `unit`.
    pub expanded_u: Option<f64>,
    /// The unit, for a number.
    pub unit: Option<&'static str>,
    /// Whether it changed.
    pub change: Change,
}

/// Two jobs beside each other.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Against {
    /// When the older record was last written.
    pub then: Option<String>,
    /// When the newer record was last written.
    pub now: Option<String>,
    /// Whether either has simulated instruments.
    pub simulated: bool,
    /// Everything in either, in the order of the work.
    pub rows: Vec<Beside>,
}

impl Against {
    /// Of the entries of two journals, the older one first.
    #[must_use]
    pub fn of(older: &[Entry], newer: &[Entry]) -> Self {
        let date = |entries: &[Entry]| {
            let last = entries.last()?;
            Some(format!("{} {}", last.at.date_and_time(), last.at.offset_name()))
        };
        let simulated = |entries: &[Entry]| {
            let starts = entries.iter().filter_map(|entry| match &entry.event {
                Event::RunStarted(start) => Some(start),
                _ => None,
            });
            starts.into_iter().any(|start| start.simulated)
        };
        let (then, mut now) = (figures(older), figures(newer));
        let mut rows: Vec<Beside> = Vec::new();
        for old in then {
            let place = now.iter().position(|new| (new.of, &new.name) == (old.of, &old.name));
            rows.extend(beside(Some(&old), place.map(|place| now.remove(place)).as_ref()));
        }
        for new in &now {
            let last = rows.iter().rposition(|row| row.of == new.of);
            let place = last.map_or(rows.len(), |last| last + 1);
            rows.splice(place..place, beside(None, Some(new)));
        }
        Self {
            then: date(older),
            now: date(newer),
            simulated: simulated(older) || simulated(newer),
            rows,
        }
    }

    /// The rows that are not the same.
    pub fn changes(&self) -> impl Iterator<Item = &Beside> {
        self.rows.iter().filter(|row| row.change != Change::Same)
    }
}

fn beside(then: Option<&Figure>, now: Option<&Figure>) -> Option<Beside> {
    let any = then.or(now)?;
    let mut row = Beside {
        of: any.of,
        name: any.name.clone(),
        then: then.map(Figure::in_words),
        now: now.map(Figure::in_words),
        difference: None,
        expanded_u: None,
        unit: None,
        change: match (then, now) {
            (Some(_), None) => Change::OnlyThen,
            (None, _) => Change::OnlyNow,
            _ => Change::Same,
        },
    };
    match (then.map(|f| &f.worth), now.map(|f| &f.worth)) {
        (Some(Worth::Text(then)), Some(Worth::Text(now))) if then != now => {
            row.change = Change::Changed;
        }
        (
            Some(Worth::Number { value: then, u: then_u, unit, .. }),
            Some(Worth::Number { value: now, u: now_u, .. }),
        ) => {
            let difference = now - then;
            let u = then_u.zip(*now_u).map(|(then, now)| 2.0 * then.hypot(now));
            row.difference = Some(difference);
            row.expanded_u = u;
            row.unit = Some(unit);
            row.change = match u {
                Some(u) if difference.abs() > u => Change::Changed,
                None if row.then != row.now => Change::Differs,
                _ => Change::Same,
            };
        }
        (Some(Worth::Text(_)), Some(Worth::Number { .. }))
        | (Some(Worth::Number { .. }), Some(Worth::Text(_))) => row.change = Change::Changed,
        _ => {}
    }
    Some(row)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn number(value: f64, u: Option<f64>) -> Figure {
        Figure { of: "relay", name: "coil".into(), worth: Worth::Number { value, u, unit: "ohm" } }
    }

    fn change(then: &Figure, now: &Figure) -> Change {
        beside(Some(then), Some(now)).unwrap().change
    }

    #[test]
    fn a_number_has_changed_beyond_the_uncertainties_of_both() {
        let (then, near, far) =
            (number(400.0, Some(0.3)), number(400.9, Some(0.4)), number(401.1, Some(0.4)));
        // 2 sqrt(0.3^2 + 0.4^2) is 1.
        assert_eq!(change(&then, &near), Change::Same);
        assert_eq!(change(&then, &far), Change::Changed);
        assert_eq!(beside(Some(&then), Some(&far)).unwrap().expanded_u, Some(1.0));
    }

    #[test]
    fn without_an_uncertainty_a_difference_is_shown_and_not_judged() {
        assert_eq!(change(&number(1.0, None), &number(2.0, Some(0.1))), Change::Differs);
        assert_eq!(change(&number(1.0, None), &number(1.0, None)), Change::Same);
    }

    #[test]
    fn what_only_one_record_has_is_said_so() {
        let one = number(1.0, None);
        assert_eq!(beside(Some(&one), None).unwrap().change, Change::OnlyThen);
        assert_eq!(beside(None, Some(&one)).unwrap().change, Change::OnlyNow);
    }
}
