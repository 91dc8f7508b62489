//! The tasks of a job: entries in, one [`Task`] for each command that was begun afresh, with all
//! the parts that went on with it, in the order in which they were begun. A resumed part belongs
//! to the newest task of its command. Entries before any start belong to the first task, or to
//! a task of their own where nothing was ever begun: nothing is left out.

use super::line::Entry;
use crate::event::{Event, RunStart};

/// One command begun afresh, and all that goes on with it.
#[derive(Clone, Debug, PartialEq)]
pub struct Task<'a> {
    /// How it was begun; `None` for entries without any start.
    pub start: Option<&'a RunStart>,
    /// Its entries, in order.
    pub entries: Vec<&'a Entry>,
}

impl Task<'_> {
    /// The command's name; empty for entries without any start.
    #[must_use]
    pub fn command(&self) -> &'static str {
        self.start.map_or("", |start| start.terms.command())
    }

    /// Whether its newest part reached its end.
    #[must_use]
    pub fn is_finished(&self) -> bool {
        let last = self.entries.iter().rev().find_map(|entry| match &entry.event {
            Event::RunFinished { exit, .. } => Some(*exit <= 1),
            Event::RunStarted(_) => Some(false),
            _ => None,
        });
        last.unwrap_or(false)
    }
}

/// Sorts a journal's entries into its tasks.
#[must_use]
pub fn tasks(entries: &[Entry]) -> Vec<Task<'_>> {
    let mut tasks: Vec<Task<'_>> = Vec::new();
    let mut current: Option<usize> = None;
    for entry in entries {
        if let Event::RunStarted(start) = &entry.event {
            current = Some(task_of(&mut tasks, start));
        }
        let place = match current {
            Some(place) => place,
            None => *current.insert(add(&mut tasks, None)),
        };
        if let Some(task) = tasks.get_mut(place) {
            task.entries.push(entry);
        }
    }
    tasks
}

fn task_of<'a>(tasks: &mut Vec<Task<'a>>, start: &'a RunStart) -> usize {
    if let [only] = tasks.as_mut_slice()
        && only.start.is_none()
    {
        only.start = Some(start);
        return 0;
    }
    let command = start.terms.command();
    match tasks.iter().rposition(|task| start.resumed && task.command() == command) {
        Some(place) => place,
        None => add(tasks, Some(start)),
    }
}

fn add<'a>(tasks: &mut Vec<Task<'a>>, start: Option<&'a RunStart>) -> usize {
    tasks.push(Task { start, entries: Vec::new() });
    tasks.len() - 1
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::event::{IdentifyStart, Pins, RunTerms};
    use crate::journal::{LocalTime, Stamp};
    use drivers::Moment;
    use jiff::Timestamp;
    use jiff::tz::Offset;

    fn journal(events: &[Event]) -> Vec<Entry> {
        let at = LocalTime::new(Timestamp::UNIX_EPOCH, Offset::UTC);
        let stamp = Stamp { at, elapsed: Moment::START };
        (1..).zip(events).map(|(seq, event)| Entry::new(seq, stamp, event)).collect()
    }

    fn start(resumed: bool) -> Event {
        let pins = Pins::numbered(4).unwrap();
        Event::RunStarted(RunStart {
            version: "0".into(),
            simulated: false,
            resumed,
            torn_bytes: 0,
            meter: "m".into(),
            profile: "scpi".into(),
            terms: RunTerms::Identify(IdentifyStart::usual(pins)),
        })
    }

    fn noise() -> Event {
        Event::MeterComplained { text: "noise".into() }
    }

    fn ended(exit: u8) -> Event {
        Event::RunFinished { exit, reason: None, job: "j".into() }
    }

    #[test]
    fn a_resumed_part_belongs_to_the_task_that_it_goes_on_with() {
        let entries =
            journal(&[start(false), ended(0), start(false), noise(), start(true), ended(1)]);
        let tasks = tasks(&entries);
        let seqs = |t: &Task<'_>| t.entries.iter().map(|e| e.seq).collect::<Vec<_>>();
        assert_eq!(tasks.iter().map(seqs).collect::<Vec<_>>(), [vec![1, 2], vec![3, 4, 5, 6]]);
        assert!(tasks.iter().all(Task::is_finished));
    }

    #[test]
    fn a_part_that_broke_off_or_was_stopped_is_not_finished() {
        for events in [vec![start(false), noise()], vec![start(false), ended(4)]] {
            assert!(!tasks(&journal(&events))[0].is_finished(), "{events:?}");
        }
    }

    #[test]
    fn entries_without_a_start_are_kept() {
        let entries = journal(&[noise(), start(false)]);
        assert_eq!(tasks(&entries).len(), 1);
        assert_eq!(tasks(&entries)[0].entries.len(), 2);
        assert_eq!(tasks(&journal(&[noise()]))[0].command(), "");
    }
}
