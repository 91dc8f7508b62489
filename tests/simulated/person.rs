//! The person at the simulated bench. Asks reach them as they reach any machine in a person's
//! place, and they answer in JSON lines; what they do with their hands happens at the bench, a
//! while after the ask and a while before the answer. How clumsy they are, the plan says; the dice
//! say when.

use super::faults::{Dice, Fault, Plan};
use coilmark::bench::Bench;
use coilmark::event::{Answer, Ask, Pin};
use coilmark::run::Arrival;
use drivers::{Function, Moment};
use std::time::Duration;

/// From an ask to hands that move.
const LOOKS: Duration = Duration::from_millis(1200);
/// From done to the answer.
const SAYS: Duration = Duration::from_millis(300);

/// What is still to be done, at its moment.
#[derive(Clone, Debug)]
enum Deed {
    /// Do what is asked, and then say so.
    Perform(u64, Ask),
    /// Write this line.
    Say(String),
    /// Take the leads off.
    Lift,
}

/// The person.
pub struct Person {
    bench: Bench,
    plan: Plan,
    dice: Dice,
    agenda: Vec<(Moment, Deed)>,
    says: Box<dyn Fn(Arrival) -> bool + Send>,
    /// What was asked last.
    last: Option<Ask>,
    /// The pins of the placement that was confirmed last.
    pub placed: Option<(Pin, Pin)>,
}

impl Person {
    pub fn new(
        bench: &Bench,
        plan: Plan,
        part: u64,
        says: impl Fn(Arrival) -> bool + Send + 'static,
    ) -> Self {
        let dice = Dice::of(plan.seed, 0x100 + part);
        let (agenda, says) = (Vec::new(), Box::new(says));
        Self { bench: bench.clone(), plan, dice, agenda, says, last: None, placed: None }
    }

    /// They were asked.
    pub fn asked(&mut self, seq: u64, ask: &Ask) {
        self.last = Some(ask.clone());
        self.agenda.retain(|(_, deed)| matches!(deed, Deed::Lift));
        let mut at = self.bench.now() + LOOKS;
        if self.strikes(Fault::AnswersLate, 0.05) {
            at = at + self.dice.millis(1000, 300_000);
        }
        if self.strikes(Fault::Aborts, 0.01) {
            return self.say(at, seq, Answer::Abort);
        }
        if self.strikes(Fault::WrongAnswers, 0.05) {
            return self.say_nonsense(at, seq, ask);
        }
        self.agenda.push((at, Deed::Perform(seq, ask.clone())));
    }

    fn strikes(&mut self, fault: Fault, share: f64) -> bool {
        self.dice.strikes(share) && self.plan.has(fault)
    }

    fn say(&mut self, at: Moment, seq: u64, answer: Answer) {
        let line = format!("{{\"seq\":{seq},\"answer\":\"{}\"}}", answer.name());
        self.agenda.push((at, Deed::Say(line)));
    }

    /// Something that is no answer to this ask; the ask comes again. A capture that is taken back
    /// is an answer, though.
    fn say_nonsense(&mut self, at: Moment, seq: u64, ask: &Ask) {
        let other = seq + 7;
        let line = match self.dice.below(6) {
            0 => format!("{{\"seq\":{other},\"answer\":\"ready\"}}"),
            1 => "ready when you are".into(),
            2 => format!("{{\"seq\":{seq},\"answer\":\"maybe\"}}"),
            3 => "[".repeat(4000),
            4 if matches!(ask, Ask::Acknowledge { .. }) => {
                format!("{{\"seq\":{seq},\"answer\":\"ready\"}}")
            }
            _ => return self.say(at, seq, Answer::Again),
        };
        self.agenda.push((at, Deed::Say(line)));
        // Where it was no answer, nothing is asked anew by itself: they say what they mean.
        self.agenda.push((at + LOOKS, Deed::Perform(seq, ask.clone())));
    }

    /// Does what is due by now.
    pub fn act(&mut self) {
        let now = self.bench.now();
        while let Some(place) = self.agenda.iter().position(|(at, _)| *at <= now) {
            match self.agenda.remove(place).1 {
                Deed::Say(line) => {
                    assert!((self.says)(Arrival::Line(line)), "the inbox is full");
                }
                Deed::Lift => self.bench.lift(),
                Deed::Perform(seq, ask) => self.perform(now, seq, &ask),
            }
        }
    }

    fn perform(&mut self, now: Moment, seq: u64, ask: &Ask) {
        let mut meant = ask.clone();
        if let Ask::Dial { function } = &mut meant
            && self.strikes(Fault::WrongUnit, 0.1)
        {
            *function = Function::VoltageAc;
        }
        let (answer, took) = self.bench.perform_timed(&meant);
        if let (Ask::Place { red, black, .. }, Answer::Ready) = (ask, answer) {
            self.placed = Some((red.clone(), black.clone()));
            if self.strikes(Fault::LiftsEarly, 0.02) {
                self.agenda.push((now + took + self.dice.millis(0, 1500), Deed::Lift));
            }
        }
        self.say(now + took + SAYS, seq, answer);
    }

    /// Where they are, for a run that does not end.
    pub fn state(&self) -> String {
        format!(
            "at {:?}, still to do {:?}, last asked {:?}",
            self.bench.now(),
            self.agenda,
            self.last
        )
    }
}
