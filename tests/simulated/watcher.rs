//! The operator of a simulated run: JSON lines, written by the real writer and thrown away, while
//! the person is told what is asked and every fact is kept. Where the run is to be killed, the
//! cables are cut right after a line is on disk, before or after anybody was shown it, and what the
//! dying loop still writes is taken off the journal again: half a line may stay.

use super::cable::Shared;
use super::faults::Dice;
use super::person::Person;
use coilmark::event::{Ask, Event};
use coilmark::journal::FILE_NAME;
use coilmark::operator::{Heard, Json, Operator};
use drivers::Reading;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};

/// The operator.
pub struct Watcher {
    json: Json<io::Sink>,
    person: Arc<Mutex<Person>>,
    death: Arc<Mutex<Death>>,
    /// Every fact, in order.
    pub shown: Vec<Event>,
    /// Placements that are not what the person confirmed.
    pub misplaced: Vec<String>,
}

/// When a process is killed, and what that leaves.
pub struct Death {
    /// Right after so many facts.
    at_fact: Option<usize>,
    /// At this turn of the world, whatever is going on.
    at_turn: Option<u64>,
    cables: Vec<Shared>,
    journal: PathBuf,
    /// The journal's length when the process was killed.
    killed: Option<u64>,
}

impl Death {
    /// One that comes, or not, when these dice say.
    pub fn of(comes: bool, dice: &mut Dice, cables: Vec<Shared>, job: &Path) -> Self {
        let by_fact = dice.strikes(0.5);
        let (fact, turn) = (dice.below(120), dice.below(20_000) as u64);
        Self {
            at_fact: (comes && by_fact).then_some(fact),
            at_turn: (comes && !by_fact).then_some(turn),
            cables,
            journal: job.join(FILE_NAME),
            killed: None,
        }
    }

    /// Whether it comes at this turn.
    pub fn strikes_at(&mut self, turn: u64) -> bool {
        let now = self.at_turn == Some(turn);
        if now {
            self.strike();
        }
        now
    }

    fn strike(&mut self) {
        self.killed = Some(std::fs::metadata(&self.journal).unwrap().len());
        self.cables.iter().for_each(|cable| cable.lock().unwrap().cut());
    }

    /// Leaves the journal as the kill left it; whether there was one.
    pub fn leave_as_killed(&self, dice: &mut Dice) -> bool {
        let Some(length) = self.killed else { return false };
        let file = std::fs::OpenOptions::new().write(true).open(&self.journal).unwrap();
        let after = file.metadata().unwrap().len() - length;
        let torn = if dice.strikes(0.5) { dice.below(after as usize + 1) as u64 } else { 0 };
        // A whole line more would be one that was written before the kill.
        file.set_len(length + torn.min(after.saturating_sub(1))).unwrap();
        true
    }
}

impl Watcher {
    pub fn new(
        json: Json<io::Sink>,
        person: &Arc<Mutex<Person>>,
        death: &Arc<Mutex<Death>>,
    ) -> Self {
        let (shown, misplaced) = (Vec::new(), Vec::new());
        let (person, death) = (Arc::clone(person), Arc::clone(death));
        Self { json, person, death, shown, misplaced }
    }

    /// Nobody is asked or shown anything by a process that is dead.
    fn alive(&self) -> io::Result<()> {
        match self.death.lock().unwrap().killed {
            Some(_) => Err(io::ErrorKind::BrokenPipe.into()),
            None => Ok(()),
        }
    }
}

impl Operator for Watcher {
    fn ask(&mut self, seq: u64, ask: &Ask) -> io::Result<()> {
        self.alive()?;
        self.json.ask(seq, ask)?;
        self.person.lock().unwrap().asked(seq, ask);
        Ok(())
    }

    fn object(&mut self, problem: &str) -> io::Result<()> {
        self.alive()?;
        self.json.object(problem)
    }

    fn show(&mut self, event: &Event) -> io::Result<()> {
        self.alive()?;
        self.json.show(event)?;
        self.shown.push(event.clone());
        if let Event::LeadsPlaced(placement) = event {
            let asked = Some((placement.red.clone(), placement.black.clone()));
            let placed = self.person.lock().unwrap().placed.clone();
            if placed != asked {
                self.misplaced.push(format!("{placed:?} was confirmed, {asked:?} recorded"));
            }
        }
        let mut death = self.death.lock().unwrap();
        let now = death.at_fact == Some(self.shown.len());
        if now && !matches!(event, Event::RunFinished { .. }) {
            death.strike();
            return Err(io::ErrorKind::BrokenPipe.into());
        }
        Ok(())
    }

    fn show_reading(&mut self, reading: &Reading) -> io::Result<()> {
        self.json.show_reading(reading)
    }

    fn parse(&self, line: &str) -> Heard {
        self.json.parse(line)
    }
}
