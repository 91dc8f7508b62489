//! The one loop that every guide runs in, and beside it what each command sets up. It merges what
//! arrives (readings, answers, interrupts, deadlines) into one order, feeds the guide, writes each
//! fact down before anyone sees it, and performs what the guide orders. It owns the clock, the
//! journal, the meter's port and the operator; it decides nothing about relays.

mod analyse;
mod arrivals;
mod bench;
mod board;
mod demo;
mod drive;
mod ease;
mod export;
mod failure;
mod fit;
mod flag;
mod history;
mod identify;
mod instrument;
mod job;
mod job_topics;
mod logging;
mod meters;
mod opening;
mod output;
mod papers;
mod performing;
mod pickup;
mod resume;
mod seat;
mod settings;
mod sheet;
mod speech;
mod stamp;
mod station;
mod worked_out;
mod zone;
mod zone_check;
mod zone_paper;

pub use crate::archive::Filter as BoardFilter;
pub use analyse::{AnalyseTerms, run_analyse};
pub use bench::{BenchTerms, run_bench};
pub use board::{BoardTerms, PlanSource, run_board, run_board_plan};
pub use demo::run_demo;
pub use drive::{Drive, supply_limits};
pub use ease::Ease;
pub use failure::{Exit, Failure};
pub use fit::{ContactWord, FitTerms, run_fit};
pub use history::{HistoryTerms, Question, run_history};
pub use identify::{IdentifyTerms, run_identify};
pub use instrument::MeterTerms;
pub use job::{JobTerms, StepTerms, Wording, run_job};
pub use meters::{MetersTerms, run_meters};
pub use output::{OutputTerms, run_output};
pub use papers::{
    Rendering, Schema, make_keys, render_against, render_report, show_schema, sign, verify,
};
pub use pickup::{PickUpTerms, run_pickup};
pub use resume::{ResumeTerms, guide_for, resume};
pub use seat::Seat;
pub use settings::{Settings, show_settings};
pub use station::OperatorChoice;
pub use zone::{LoopTerms, ZoneDesignTerms, run_zone_design};
pub use zone_check::{ZoneCheckTerms, run_zone_check};
pub use zone_paper::{
    ZoneDrawTerms, ZoneLearnTerms, ZoneNumberTerms, run_zone_draw, run_zone_learn, run_zone_number,
};

use crate::event::{
    Action, Answer, Ask, DriveState, Event, Input, MeterIdentity, RunStart, RunTerms,
};
use crate::guide::Guide;
use crate::journal::{Journal, Stamp};
use crate::logbook::LogFile;
use crate::operator::{Heard, Operator};
pub use arrivals::{Arrival, Inbox, Turn};
use drivers::{Clock, DriverError, Function, Identity, MeterEvent, Order, Port};
pub use stamp::stamp;
use std::sync::Arc;
use std::time::Duration;
use tracing::debug;

/// What waits for the loops.
fn runtime() -> Result<tokio::runtime::Runtime, Failure> {
    tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|e| Failure::new(Exit::Aborted, format!("runtime: {e}"), "try again"))
}

/// How often the meter's thread is looked at while nothing arrives: it may hang in the system.
const LOOK_EVERY: Duration = Duration::from_secs(1);

/// The hands of a simulated bench, if there are any.
pub enum Hands {
    /// Real ones: somebody does what is asked.
    Real,
    /// Simulated ones that do what is asked once the operator answers ready.
    Led(crate::bench::Bench),
    /// Simulated ones that also answer.
    Alone(crate::bench::Bench),
    /// Simulated ones without a bench, that say yes to everything.
    Obliging,
}

/// Makes the stamps of a record.
pub type Stamping = Box<dyn Fn(&dyn Clock) -> Stamp>;

/// Everything that one run needs.
pub struct Workbench<'a> {
    /// The guide.
    pub guide: Box<dyn Guide>,
    /// The record.
    pub journal: Journal,
    /// Who is asked and shown.
    pub operator: &'a mut dyn Operator,
    /// The meter's port; `None` where a run only talks.
    pub meter: Option<Port>,
    /// Where the operator sits.
    pub seat: &'a mut Seat,
    /// Time.
    pub clock: Arc<dyn Clock>,
    /// Makes the stamps of the record: [`stamp()`], but for a simulated world.
    pub stamp: Stamping,
    /// Whose hands.
    pub hands: Hands,
    /// The supply that performs drives; `None`: a person does.
    pub drive: Option<Drive>,
    /// The meter's link, as the operator wrote it.
    pub link: String,
    /// The job folder, as the operator wrote it.
    pub job: String,
}

/// The longest that the end of a run is held up by sounds.
const RING_OUT_MAX: Duration = Duration::from_secs(2);

/// A run under way.
struct Run<'a> {
    on: Workbench<'a>,
    open: Option<Ask>,
    /// The operator's reason for the skip that is being taken in.
    reason: Option<String>,
    /// A drive that waits for the supply's leads to be clipped.
    waiting: Option<DriveState>,
    measuring: Option<(Function, u64)>,
    log: Option<LogFile>,
    /// What a new log's file is named by.
    log_kind: &'static str,
}

/// How a run came to its end.
enum Flow {
    GoOn,
    Over(u8, Option<String>),
}

impl Workbench<'_> {
    /// Runs to the end and returns the exit code. Whatever happens, the operator is told that
    /// the run has finished, and the journal says so too unless it cannot be written.
    ///
    /// # Errors
    /// The failure that ended the run, after it has been recorded.
    pub async fn run(self, begin: Event) -> Result<Exit, Failure> {
        let log_kind = match &begin {
            Event::RunStarted(RunStart { terms: RunTerms::ZoneCheck(_), .. }) => "zone",
            _ => "output",
        };
        let mut run = Run {
            on: self,
            open: None,
            reason: None,
            waiting: None,
            measuring: None,
            log: None,
            log_kind,
        };
        let outcome = run.until_over(begin).await;
        let mut outcome = run.say_if_driven(outcome);
        // Dropping it switches the supply off: first of all, whatever the outcome.
        run.on.drive = None;
        let logged = run.log.as_mut().map_or(Ok(()), LogFile::sync);
        let Workbench { mut journal, operator, meter, clock, stamp, job, .. } = run.on;
        if let Some(meter) = meter {
            meter.close();
        }
        let finished = |outcome: &Result<(u8, Option<String>), Failure>| {
            let (exit, reason) = match outcome {
                Ok((exit, reason)) => (*exit, reason.clone()),
                Err(failure) => (failure.exit.code(), Some(failure.to_string())),
            };
            Event::RunFinished { exit, reason, job: job.clone() }
        };
        let is_lost = matches!(&outcome, Err(failure) if failure.exit == Exit::RecordNotWritten);
        if !is_lost && let Err(error) = journal.append(&finished(&outcome), stamp(&*clock)) {
            // A lost record is said, whatever else there is to say.
            let lost = Failure::from(error);
            outcome = Err(match &outcome {
                Err(before) => lost.with_more(&format!("before that, {before}")),
                Ok(_) => lost,
            });
        }
        let finished = finished(&outcome);
        if let Err(gone) = operator.show(&finished) {
            debug!("nobody reads any more: {gone}");
        }
        ring_out(operator, &*clock).await;
        let (exit, reason) = outcome?;
        logged?;
        match (Exit::from_code(exit), reason) {
            (Exit::Instrument, Some(reason)) => Err(Failure::other_meter(reason)),
            (exit, _) => Ok(exit),
        }
    }
}

/// Lets the last sounds be heard.
async fn ring_out(operator: &mut dyn Operator, clock: &dyn Clock) {
    let until = clock.now() + RING_OUT_MAX;
    while operator.tick(clock.now()).is_ok()
        && let Some(at) = operator.wake_at().filter(|at| *at < until)
    {
        let wait = at.since(clock.now());
        let _ = tokio::time::timeout(wait, std::future::pending::<()>()).await;
    }
}

impl Run<'_> {
    async fn until_over(&mut self, begin: Event) -> Result<(u8, Option<String>), Failure> {
        self.record(&begin)?;
        let mut flow = self.deliver(Input::Begun)?;
        loop {
            if let Flow::Over(exit, reason) = flow {
                return Ok((exit, reason));
            }
            self.keep_log()?;
            flow = self.tick()?;
            if let Flow::Over(..) = flow {
                continue;
            }
            let wake_at = self.wake_at();
            let look_at = self.on.clock.now() + LOOK_EVERY;
            let until = wake_at.map_or(look_at, |at| at.min(look_at));
            let arrival = self.on.seat.inbox.next(&*self.on.clock, Some(until)).await;
            let now = self.on.clock.now();
            if let Some(stuck) = self.on.meter.as_mut().and_then(|meter| meter.stuck(now)) {
                return Err(stuck.into());
            }
            flow = self.take(arrival)?;
        }
    }

    /// Lets the operator draw and ring; hands that hold still answer here.
    fn tick(&mut self) -> Result<Flow, Failure> {
        let now = self.on.clock.now();
        let held = self.on.operator.tick(now).map_err(|e| Failure::operator_gone(&e))?;
        match held {
            Some(answer) if self.open.is_some() => self.answered(answer),
            _ => Ok(Flow::GoOn),
        }
    }

    /// Turns what arrived into what the guide understands.
    fn take(&mut self, arrival: Arrival) -> Result<Flow, Failure> {
        match arrival {
            Arrival::Meter(event) => self.meter_said(event),
            Arrival::Line(line) => {
                let heard = self.on.operator.parse(&line);
                self.heard(heard)
            }
            Arrival::Key(key) => {
                let heard = self.on.operator.key(key);
                self.heard(heard)
            }
            Arrival::LongLine => self.object("a line that is longer than any answer"),
            Arrival::Answer(answer) => self.answered(answer),
            Arrival::EndOfInput if matches!(self.on.hands, Hands::Alone(_) | Hands::Obliging) => {
                Ok(Flow::GoOn)
            }
            Arrival::EndOfInput => self.stop("the operator's input ended"),
            Arrival::Interrupted => self.stop("interrupted"),
            Arrival::DeadlineReached => self.deliver(Input::DeadlineReached),
        }
    }

    fn stop(&mut self, reason: &str) -> Result<Flow, Failure> {
        self.deliver(Input::StopRequested(reason.into()))
    }

    fn meter_said(&mut self, event: MeterEvent) -> Result<Flow, Failure> {
        match event {
            MeterEvent::Answered { identity, gap } => {
                if let Some(drive) = &mut self.on.drive {
                    drive.watched();
                }
                let gap_s = gap.map(|gap| gap.as_secs_f64());
                self.deliver(Input::MeterAnswered(self.known(identity), gap_s))
            }
            MeterEvent::ReadingTaken { epoch, reading } => {
                self.told(|operator| operator.show_reading(&reading))?;
                self.deliver(Input::ReadingArrived(epoch, reading))
            }
            event @ MeterEvent::BlockTaken { .. } => {
                for event in event.singly() {
                    match self.meter_said(event)? {
                        Flow::GoOn => {}
                        ended => return Ok(ended),
                    }
                }
                Ok(Flow::GoOn)
            }
            MeterEvent::OtherFunction { .. } => self.deliver(Input::OtherFunctionArrived),
            MeterEvent::Declined { epoch, error } => {
                self.record(&Event::MeterComplained { text: failure::chain(&error) })?;
                match self.measuring {
                    Some((function, ordered)) if ordered == epoch => self.declined(function, error),
                    _ => Ok(Flow::GoOn),
                }
            }
            MeterEvent::Complained(error) => {
                self.record(&Event::MeterComplained { text: failure::chain(&error) })?;
                Ok(Flow::GoOn)
            }
            MeterEvent::WentAway(error) => {
                self.release()?;
                self.deliver(Input::MeterLost(failure::chain(&error)))
            }
            MeterEvent::Ended(Some(error)) => Err(error.into()),
            MeterEvent::Ended(None) => self.stop("the meter's port was closed"),
        }
    }

    /// Some functions can be done without; the guide knows which.
    fn declined(&mut self, function: Function, error: DriverError) -> Result<Flow, Failure> {
        if self.on.guide.needs(function) {
            return Err(error.into());
        }
        self.deliver(Input::FunctionRefused(function))
    }

    fn heard(&mut self, heard: Heard) -> Result<Flow, Failure> {
        match (heard, &self.open) {
            (Heard::Nothing, _) => Ok(Flow::GoOn),
            (Heard::SkipBecause(seq, reason), _) => {
                self.reason = Some(reason).filter(|reason| !reason.trim().is_empty());
                let flow = self.heard(Heard::Answer(seq, Answer::Skip));
                self.reason = None;
                flow
            }
            (Heard::Answer(_, Answer::Skip), Some(Ask::Step { .. })) if self.reason.is_none() => {
                self.object("say why it is left out: the reason stands in the record")
            }
            (Heard::Answer(seq, answer), Some(_))
                if seq.is_none_or(|seq| seq == self.on.seat.asked) =>
            {
                self.answered(answer)
            }
            (Heard::Answer(Some(seq), _), Some(_)) => {
                self.object(&format!("ask {seq} is not open; {} is", self.on.seat.asked))
            }
            (Heard::Text(seq, text), Some(Ask::Serial { .. } | Ask::Label { .. }))
                if seq.is_none_or(|seq| seq == self.on.seat.asked) =>
            {
                self.deliver(Input::TextReceived(text))
            }
            (Heard::Text(..), _) => self.object("no text is asked for just now"),
            (Heard::Answer(_, Answer::Abort), None) => self.stop("stopped by the operator"),
            (Heard::Answer(..), _) => {
                self.told(|operator| operator.object("nothing is asked just now"))?;
                Ok(Flow::GoOn)
            }
            (Heard::Unclear(problem), _) => self.object(&problem),
        }
    }

    fn answered(&mut self, answer: Answer) -> Result<Flow, Failure> {
        if let (Hands::Led(bench), Some(ask), Answer::Ready) = (&self.on.hands, &self.open, answer)
        {
            let _ = bench.perform(ask);
        }
        if let Some(Ask::Clip { plus, minus }) = self.open.clone() {
            return self.clipped(&plus, &minus, answer);
        }
        self.deliver(Input::AnswerReceived(answer))
    }

    /// Feeds the guide, records the facts, and performs orders until none is left.
    fn deliver(&mut self, input: Input) -> Result<Flow, Failure> {
        self.taken_in(input)?;
        loop {
            match self.on.guide.next(self.on.clock.now()) {
                Action::Nothing => return Ok(Flow::GoOn),
                Action::Record(fact) => self.record(&fact)?,
                Action::Ask(ask) => self.ask(ask)?,
                Action::AskAgain(problem) => {
                    self.object(&problem)?;
                }
                Action::Measure(function, epoch) => {
                    self.measuring = Some((function, epoch));
                    if let Some(meter) = &mut self.on.meter {
                        meter.order(Order::Measure { function, epoch });
                    }
                }
                Action::OpenLog(file, t_s) => self.open_log(file, t_s)?,
                Action::Log(t_s, volts) => self.log(t_s, volts)?,
                Action::CloseLog(why) => self.close_log(why)?,
                Action::Finish(exit, reason) => return Ok(Flow::Over(exit, reason)),
            }
        }
    }

    fn taken_in(&mut self, input: Input) -> Result<(), Failure> {
        let facts = self.on.guide.handle(input, self.on.clock.now());
        for fact in &facts {
            self.record(fact)?;
            let declines = matches!(
                fact,
                Event::AskSkipped { .. } | Event::PointLookedAt { as_designed: false, .. }
            );
            if declines && let Some(text) = self.reason.take() {
                self.record(&Event::OperatorRemarked { text })?;
            }
        }
        Ok(())
    }

    /// Written and synced, then known, then shown.
    fn record(&mut self, fact: &Event) -> Result<(), Failure> {
        self.on.journal.append(fact, (self.on.stamp)(&*self.on.clock))?;
        self.on.guide.apply(fact);
        if let Some(drive) = &mut self.on.drive {
            drive.recorded(fact);
        }
        if fact.closes_an_ask() {
            self.open = None;
        }
        self.told(|operator| operator.show(fact))
    }

    fn ask_operator(&mut self, ask: Ask) -> Result<(), Failure> {
        self.on.seat.asked += 1;
        let seq = self.on.seat.asked;
        self.told(|operator| operator.ask(seq, &ask))?;
        let answer = match &self.on.hands {
            Hands::Alone(bench) => Some(bench.perform(&ask)),
            Hands::Obliging if ask.accepts(Answer::Acknowledged) => Some(Answer::Acknowledged),
            Hands::Obliging => Some(Answer::Ready),
            Hands::Real | Hands::Led(_) => None,
        };
        if let Some(answer) = answer {
            self.on.seat.inbox.answer(answer);
        }
        self.open = Some(ask);
        Ok(())
    }

    /// Says what is wrong, and asks the same again under the same number.
    fn object(&mut self, problem: &str) -> Result<Flow, Failure> {
        self.told(|operator| operator.object(problem))?;
        if let Some(ask) = self.open.clone() {
            let seq = self.on.seat.asked;
            self.told(|operator| operator.ask(seq, &ask))?;
        }
        Ok(Flow::GoOn)
    }

    /// Tells the operator; if nobody reads any more, the run stops as if aborted.
    fn told(
        &mut self,
        tell: impl FnOnce(&mut dyn Operator) -> std::io::Result<()>,
    ) -> Result<(), Failure> {
        tell(self.on.operator).map_err(|source| Failure::operator_gone(&source))
    }

    fn known(&self, identity: Identity) -> MeterIdentity {
        MeterIdentity {
            identity: identity.text,
            link: self.on.link.clone(),
            profile: identity.profile,
            commanded: identity.commanded,
        }
    }
}

#[cfg(test)]
mod tests;
