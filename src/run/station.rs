//! A job made ready to run: guide, meter, operator and folder. [`Station::run`] opens the port,
//! begins the record, leads the run to its end and writes the reports, whatever the outcome of a
//! run that began. Every command that talks to a person and a meter goes through here.

use super::drive::NamedSupply;
use super::failure::{Exit, Failure};
use super::instrument::Instrument;
use super::seat::Seat;
use super::{Ease, Hands, Workbench};
use crate::event::{Event, RunStart};
use crate::guide::Guide;
use crate::journal::{self, Journal, Past};
use crate::operator::{Json, Lines, Operator};
#[cfg(feature = "screen")]
use crate::operator::{Look, Screen, Terminals};
use crate::report::{self, Report};
use drivers::{Clock, SystemClock};
use std::io::{self, IsTerminal};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Which operator is asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum OperatorChoice {
    /// A full screen.
    Screen,
    /// Plain lines.
    Lines,
    /// JSON lines.
    Json,
}

impl OperatorChoice {
    /// Its word on the command line.
    pub(super) const fn name(self) -> &'static str {
        match self {
            Self::Screen => "screen",
            Self::Lines => "lines",
            Self::Json => "json",
        }
    }

    /// Whether a person watches: a closed placement then announces itself.
    pub(super) fn is_a_person(self) -> bool {
        match self {
            Self::Screen => true,
            Self::Lines => io::stdin().is_terminal(),
            Self::Json => false,
        }
    }
}

/// Everything a run stands on.
pub(super) struct Station {
    pub(super) job: PathBuf,
    /// `None`: it is begun once the meter's port is open, so that a wrong port leaves no folder.
    pub(super) journal: Option<Journal>,
    pub(super) guide: Box<dyn Guide>,
    pub(super) equipment: Equipment,
    /// Who drives; `None`: a person.
    pub(super) supply: Option<NamedSupply>,
    pub(super) operator: OperatorChoice,
}

/// What a run measures with.
pub(super) enum Equipment {
    /// A meter.
    Meter(Box<Instrument>),
    /// Nothing: it only talks, to somebody or to simulated hands that say yes.
    Nothing { obliging: bool },
}

impl Equipment {
    fn hands(&self) -> Hands {
        match self {
            Self::Meter(meter) => meter.hands(),
            Self::Nothing { obliging: true } => Hands::Obliging,
            Self::Nothing { obliging: false } => Hands::Real,
        }
    }

    fn ease(&self) -> Ease {
        match self {
            Self::Meter(meter) => meter.ease.clone(),
            Self::Nothing { .. } => Ease::default(),
        }
    }
}

impl Station {
    /// Runs and writes the reports, whatever the outcome of a run that began.
    pub(super) fn run(self, start: RunStart) -> Result<Exit, Failure> {
        self.run_at(&mut Seat::new(), start)
    }

    /// The same at a seat where other runs were or will be.
    pub(super) fn run_at(self, seat: &mut Seat, start: RunStart) -> Result<Exit, Failure> {
        let job = self.job.clone();
        let choice = self.operator;
        let measures = matches!(self.equipment, Equipment::Meter(_));
        let mut began = false;
        let outcome = match choice {
            OperatorChoice::Json => {
                self.drive(seat, start, &mut Json::new(io::stdout()), &mut began)
            }
            OperatorChoice::Lines => {
                let lines = Lines::new(io::stdout(), io::stdout().is_terminal());
                let mut operator = self.equipment.ease().around(lines)?;
                self.drive(seat, start, &mut operator, &mut began)
            }
            OperatorChoice::Screen => self.drive_on_screen(seat, start, &mut began),
        };
        if !began {
            return outcome;
        }
        let written = write_reports(&job);
        let talks = !measures || choice == OperatorChoice::Json;
        if let (false, Ok(paths)) = (talks, &written) {
            println!("report: {}", paths[0].display());
        }
        let exit = outcome?;
        written?;
        Ok(exit)
    }

    /// Nothing is taken over before all that can be refused is checked.
    #[cfg(feature = "screen")]
    fn drive_on_screen(
        self,
        seat: &mut Seat,
        start: RunStart,
        began: &mut bool,
    ) -> Result<Exit, Failure> {
        if !(io::stdin().is_terminal() && io::stdout().is_terminal()) {
            return Err(no_screen("standard input and output are no terminal"));
        }
        let look = match std::env::var_os("NO_COLOR").is_none_or(|no| no.is_empty()) {
            true => Look::coloured(),
            false => Look::plain(),
        };
        let (taken, backend) = Terminals::take().map_err(|error| no_screen(&error.to_string()))?;
        let screen = Screen::new(backend, Some(taken), look, io::stdout());
        let screen = screen.map_err(|error| no_screen(&error.to_string()))?;
        let mut operator = self.equipment.ease().around(screen)?;
        self.drive(seat, start, &mut operator, began)
    }

    #[cfg(not(feature = "screen"))]
    fn drive_on_screen(self, _: &mut Seat, _: RunStart, _: &mut bool) -> Result<Exit, Failure> {
        Err(no_screen("this program was built without it"))
    }

    fn drive(
        self,
        seat: &mut Seat,
        start: RunStart,
        operator: &mut dyn Operator,
        began: &mut bool,
    ) -> Result<Exit, Failure> {
        super::runtime()?.block_on(async {
            let clock: Arc<dyn Clock> = Arc::new(SystemClock::begin());
            let inbox = &mut seat.inbox;
            inbox.begin_run();
            let hands = self.equipment.hands();
            match (self.operator, &hands) {
                #[cfg(feature = "screen")]
                (OperatorChoice::Screen, _) => inbox.read_keys(Terminals::next_key),
                (_, Hands::Alone(_) | Hands::Obliging) => {}
                _ => inbox.read_lines(io::stdin()),
            }
            if let Err(e) = inbox.listen_to_signals() {
                tracing::warn!("interrupts cannot be listened to: {e}");
            }
            // First of all: a part that was killed may have left its output on.
            let drive = match &self.supply {
                Some(supply) => Some(supply.open(Arc::clone(&clock))?),
                None => None,
            };
            let (port, link) = match &self.equipment {
                Equipment::Meter(meter) => {
                    let port = meter.open_when_free(&clock, inbox).await?;
                    (Some(port), meter.link.clone())
                }
                Equipment::Nothing { .. } => (None, String::new()),
            };
            let journal = match self.journal {
                Some(journal) => journal,
                None => Journal::create(&self.job)?,
            };
            *began = true;
            let workbench = Workbench {
                guide: self.guide,
                journal,
                operator,
                meter: port,
                seat,
                clock,
                stamp: Box::new(super::stamp),
                hands,
                drive,
                link,
                job: self.job.display().to_string(),
            };
            workbench.run(Event::RunStarted(start)).await
        })
    }
}

fn no_screen(why: &str) -> Failure {
    Failure::bad_input(
        format!("--operator screen: {why}"),
        "use --operator lines, or json for a script",
    )
}

/// The record of a job that is there already, and what it held; a torn last line that was set aside
/// is said.
pub(super) fn kept_record(job: &Path) -> Result<(Option<Journal>, Past), Failure> {
    let Some((journal, past)) = Journal::open_existing(job)? else {
        return Ok((None, Past::default()));
    };
    say_torn(&past);
    Ok((Some(journal), past))
}

/// Says that a torn last line was set aside, if one was.
pub(super) fn say_torn(past: &Past) {
    if past.torn_bytes() > 0 {
        eprintln!(
            "note: the record's last line was torn ({} bytes) and has been set aside",
            past.torn_bytes()
        );
    }
}

/// Renders the reports from the journal alone.
pub(super) fn write_reports(job: &Path) -> Result<[PathBuf; 4], Failure> {
    let past = journal::read(job)?;
    report::write_all(job, &Report::from_entries(&past.entries))
        .map_err(|error| not_written(&error))
}

/// A report that could not be written, as a failure.
pub(super) fn not_written(error: &report::ReportError) -> Failure {
    Failure::new(
        Exit::RecordNotWritten,
        super::failure::chain(error),
        "the record itself is whole; `coilmark report` renders it again",
    )
}
