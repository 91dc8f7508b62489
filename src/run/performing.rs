//! A drive that the guide asks for, where a programmable supply performs it: at once, or after its
//! leads have been clipped, which is between the loop and the operator. When the meter goes away
//! the supply goes off, that is a fact like any other, and the operator's next answer to a clip is
//! what lets it drive again. Without a supply the operator is asked.

use super::drive::{Drive, Performed};
use super::failure::Failure;
use super::{Flow, Run};
use crate::event::{Answer, Ask, DriveLimit, DriveState, Event, Input, Pin};

impl Run<'_> {
    /// A person who drives is told to take it off, however the run ended. A supply goes off by
    /// itself.
    pub(super) fn say_if_driven(
        &self,
        outcome: Result<(u8, Option<String>), Failure>,
    ) -> Result<(u8, Option<String>), Failure> {
        if self.on.drive.is_some() {
            return outcome;
        }
        let still = match (self.on.guide.drive(), &self.open) {
            (drive @ DriveState::Energised { .. }, _) => {
                format!("the coil is still driven ({drive}): take the drive off")
            }
            // What was asked for may be done although nobody has said so.
            (_, Some(Ask::Drive(drive @ DriveState::Energised { .. }))) => {
                format!("if the drive is on ({drive} was asked for): take the drive off")
            }
            // A part before this one was killed near a drive, and nobody has taken it off since.
            _ if self.on.guide.may_be_driven() => {
                "if a drive is still on from before: take the drive off".into()
            }
            _ => return outcome,
        };
        match outcome {
            Ok((exit, None)) => Ok((exit, Some(still))),
            Ok((exit, Some(reason))) => Ok((exit, Some(format!("{reason}; {still}")))),
            Err(failure) => Err(failure.with_more(&still)),
        }
    }

    /// Asks the operator; a drive is the supply's to perform, if there is one.
    pub(super) fn ask(&mut self, ask: Ask) -> Result<(), Failure> {
        let (Some(drive), Ask::Drive(wanted)) = (&mut self.on.drive, &ask) else {
            return self.ask_operator(ask);
        };
        match drive.perform(wanted)? {
            Performed::Done => {
                // At once, so that nothing comes between what was done and its record.
                self.open = Some(ask);
                self.taken_in(Input::AnswerReceived(Answer::Ready))
            }
            Performed::Limited(limit, failure) => {
                let doubted = self.limited(limit, failure)?;
                self.taken_in(doubted)
            }
            Performed::Clip(plus, minus) => {
                self.waiting = Some(wanted.clone());
                self.ask_operator(Ask::Clip { plus, minus })
            }
        }
    }

    /// The meter is away and nobody measures the coil: the supply goes off, and a drive that was on
    /// is over. An ask that is open stays open.
    pub(super) fn release(&mut self) -> Result<(), Failure> {
        let Some(drive) = &mut self.on.drive else { return Ok(()) };
        if !drive.release()? {
            return Ok(());
        }
        let open = self.open.take();
        self.record(&Event::DriveChanged(DriveState::Rest))?;
        if let Some(ask) = &open {
            let seq = self.on.seat.asked;
            self.told(|operator| operator.ask(seq, ask))?;
        }
        self.open = open;
        Ok(())
    }

    /// The answer to a clip: the drive that waited for it is performed, or not.
    pub(super) fn clipped(
        &mut self,
        plus: &Pin,
        minus: &Pin,
        answer: Answer,
    ) -> Result<Flow, Failure> {
        let ask = Ask::Clip { plus: plus.clone(), minus: minus.clone() };
        if !ask.accepts(answer) {
            return self.object(&ask.misfit(answer));
        }
        if answer == Answer::Ready && self.on.drive.as_ref().is_some_and(Drive::is_unwatched) {
            return self.object("the meter is away: the supply stays off; answer when it is back");
        }
        let (Some(drive), Some(waiting)) = (&mut self.on.drive, self.waiting.take()) else {
            return self.deliver(Input::AnswerReceived(answer));
        };
        if answer == Answer::Ready {
            drive.clipped(plus, minus);
            if let Performed::Limited(limit, failure) = drive.perform(&waiting)? {
                let doubted = self.limited(limit, failure)?;
                return self.deliver(doubted);
            }
        }
        self.open = Some(Ask::Drive(waiting));
        self.deliver(Input::AnswerReceived(answer))
    }

    /// The supply stopped at its current limit, and its output is off. A guide that can doubt its
    /// coil goes on with that; for any other one it is a failure.
    fn limited(&mut self, limit: DriveLimit, failure: Failure) -> Result<Input, Failure> {
        if !self.on.guide.doubts_coils() {
            return Err(failure);
        }
        if *self.on.guide.drive() != DriveState::Rest {
            self.record(&Event::DriveChanged(DriveState::Rest))?;
        }
        Ok(Input::DriveLimited(limit))
    }
}
