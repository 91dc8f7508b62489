//! Sets up and runs an identification: words from the command line become checked terms, the job
//! folder gets its journal, the meter's port is opened, and at the end the reports are written.
//! Resuming is the same with the terms read back from the journal and its events replayed.

use super::arrivals::Inbox;
use super::failure::{Exit, Failure};
use super::stamp::folder_time;
use super::{Hands, Workbench};
use crate::bench::{Bench, Served};
use crate::event::{Event, Pins, RunStart};
use crate::guide::identify::{Identify, Terms};
use crate::guide::settling::Settling;
use crate::journal::{self, Entry, Journal, Past};
use crate::operator::{Json, Lines, Operator};
use crate::relay::{Channel, Costs, Footprint, Numbering};
use crate::report::{self, Report};
use drivers::{Clock, LinkSpec, Port, PortOptions, Profile, SystemClock};
use std::io::{self, IsTerminal};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

/// Which operator is asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum OperatorChoice {
    /// Plain lines.
    Lines,
    /// JSON lines.
    Json,
}

/// How the meter is reached.
#[derive(Clone, Debug)]
pub struct MeterTerms {
    /// The link, as written.
    pub link: String,
    /// The profile by name or file.
    pub profile: Option<String>,
    /// How long a lost link is tried again.
    pub reconnect_for: Duration,
    /// Where every byte on the link is written, if anywhere.
    pub trace_link: Option<PathBuf>,
}

/// What `identify` is given.
#[derive(Clone, Debug)]
pub struct IdentifyTerms {
    /// The meter.
    pub meter: MeterTerms,
    /// The pins, as written.
    pub pins: Pins,
    /// The footprint, as written.
    pub footprint: Option<String>,
    /// Whether it is numbered round the part.
    pub numbered_round: bool,
    /// Posterior probability that ends the search.
    pub confidence: f64,
    /// Highest voltage that is ever asked, in volts.
    pub volts_max: f64,
    /// Highest power in the coil that is ever asked, in watts.
    pub coil_watts_max: f64,
    /// Temperature of the coil, in degrees Celsius.
    pub ambient_celsius: Option<f64>,
    /// Whether the proof is left out.
    pub quick: bool,
    /// Whether coil and poles are measured against each other.
    pub isolation: bool,
    /// The job folder.
    pub job: Option<PathBuf>,
    /// The operator.
    pub operator: OperatorChoice,
}

/// What `resume` is given.
#[derive(Clone, Debug)]
pub struct ResumeTerms {
    /// The job folder.
    pub job: PathBuf,
    /// Another link than before.
    pub meter: Option<String>,
    /// Another profile than before.
    pub profile: Option<String>,
    /// How long a lost link is tried again.
    pub reconnect_for: Duration,
    /// Whether another meter is accepted.
    pub accept_meter: bool,
    /// The operator.
    pub operator: OperatorChoice,
}

/// Identifies a part.
///
/// # Errors
/// [`Failure`] with its exit code.
pub fn run_identify(terms: &IdentifyTerms) -> Result<Exit, Failure> {
    let instrument = Instrument::find(&terms.meter)?;
    let (station, start) = begin(terms, instrument)?;
    station.run(start)
}

/// Makes a job on this instrument ready; its record begins once the meter's port is open.
pub(super) fn begin(
    terms: &IdentifyTerms,
    meter: Instrument,
) -> Result<(Station, RunStart), Failure> {
    let start = checked_start(terms)?;
    let guide = guide(&start, terms.operator, false)?;
    let job = terms.job.clone().unwrap_or_else(|| format!("identify-{}", folder_time()).into());
    Journal::refuse_existing(&job)?;
    let start =
        RunStart { simulated: meter.is_simulated(), profile: meter.profile.name.clone(), ..start };
    Ok((Station { job, journal: None, guide, meter, operator: terms.operator }, start))
}

/// Goes on with a job.
///
/// # Errors
/// [`Failure`] with its exit code.
pub fn resume(terms: &ResumeTerms) -> Result<Exit, Failure> {
    let (journal, past) = Journal::open(&terms.job)?;
    if let Some(repair) = &past.repaired {
        eprintln!(
            "note: the record's last line was torn ({} bytes) and has been set aside",
            repair.bytes_torn
        );
    }
    let Some(begun) = first_start(&past) else {
        return Err(Failure::bad_input(
            format!("{}: the record holds no run to go on with", terms.job.display()),
            "begin one: coilmark identify --job with a new folder",
        ));
    };
    let meter = MeterTerms {
        link: terms.meter.clone().unwrap_or_else(|| begun.meter.clone()),
        profile: Some(terms.profile.clone().unwrap_or_else(|| begun.profile.clone())),
        reconnect_for: terms.reconnect_for,
        trace_link: None,
    };
    let mut guide = guide(&begun, terms.operator, terms.accept_meter)?;
    for entry in &past.entries {
        guide.apply(&entry.event);
    }
    let instrument = Instrument::find(&meter)?;
    let start = RunStart {
        resumed: true,
        simulated: begun.simulated || instrument.is_simulated(),
        meter: meter.link,
        version: env!("CARGO_PKG_VERSION").into(),
        profile: instrument.profile.name.clone(),
        ..begun
    };
    let job = terms.job.clone();
    let (journal, operator) = (Some(journal), terms.operator);
    Station { job, journal, guide, meter: instrument, operator }.run(start)
}

fn first_start(past: &Past) -> Option<RunStart> {
    past.entries.iter().find_map(|entry: &Entry| match &entry.event {
        Event::RunStarted(start) => Some(start.clone()),
        _ => None,
    })
}

fn checked_start(terms: &IdentifyTerms) -> Result<RunStart, Failure> {
    let range = |name: &str, value: f64, low: f64, high: f64| {
        if value >= low && value <= high {
            return Ok(value);
        }
        Err(Failure::bad_input(
            format!("--{name} {value}: expected {low} to {high}"),
            "leave the flag out for its usual value",
        ))
    };
    Ok(RunStart {
        command: "identify".into(),
        version: env!("CARGO_PKG_VERSION").into(),
        simulated: false,
        resumed: false,
        meter: terms.meter.link.clone(),
        profile: terms.meter.profile.clone().unwrap_or_default(),
        pins: terms.pins.clone(),
        footprint: terms.footprint.as_ref().map(|text| {
            let round = if terms.numbered_round { " round" } else { "" };
            format!("{text}{round}")
        }),
        confidence: range("confidence", terms.confidence, 0.5, 0.999_999_999)?,
        volts_max: range("volts-max", terms.volts_max, 1.0, 60.0)?,
        coil_watts_max: range("coil-watts-max", terms.coil_watts_max, 0.05, 10.0)?,
        ambient_celsius: match terms.ambient_celsius {
            Some(celsius) => Some(range("ambient-celsius", celsius, -40.0, 85.0)?),
            None => None,
        },
        quick: terms.quick,
        isolation: terms.isolation,
    })
}

/// The guide for these terms; closed placements announce themselves only where a person watches.
fn guide(
    start: &RunStart,
    operator: OperatorChoice,
    accept_meter: bool,
) -> Result<Identify, Failure> {
    let footprint = match &start.footprint {
        None => None,
        Some(text) => Some(footprint(text, start.pins.count())?),
    };
    let person = operator == OperatorChoice::Lines && io::stdin().is_terminal();
    Ok(Identify::new(Terms {
        start: start.clone(),
        footprint,
        settling: Settling::default(),
        hands_free: person,
        accept_meter,
        channel: Channel::default(),
        costs: Costs::default(),
    }))
}

/// Rows with `round` behind them are numbered round the part; one number with it is a ring.
fn footprint(text: &str, pins: usize) -> Result<Footprint, Failure> {
    let (text, numbering) = match text.strip_suffix(" round") {
        Some(rows) if rows.contains(['+', '-']) => (rows, Numbering::Round),
        _ => (text, Numbering::Rows),
    };
    let hint = "write rows as 4+4, 7+7 or 2-1-2, or a ring as `8 round`";
    let footprint = Footprint::parse(text, numbering)
        .map_err(|bad| Failure::bad_input(format!("--footprint: {bad}"), hint))?;
    if footprint.pins() == pins {
        return Ok(footprint);
    }
    let message = format!("--footprint {text} has {} pins, --pins names {pins}", footprint.pins());
    Err(Failure::bad_input(message, "make both say the same number of pins"))
}

/// A meter that has been named, real or simulated, not yet opened.
pub(super) struct Instrument {
    link: String,
    spec: LinkSpec,
    pub(super) profile: Profile,
    options: PortOptions,
    simulated: Option<Simulated>,
}

/// A simulated bench behind a real pseudo-terminal.
struct Simulated {
    bench: Bench,
    _served: Served,
    alone: bool,
}

impl Instrument {
    /// Understands a link. `sim:FILE` puts the relay of that file on a simulated bench behind a
    /// pseudo-terminal; `?hands=alone` lets simulated hands answer too, `?seed=N` sets the seed.
    pub(super) fn find(terms: &MeterTerms) -> Result<Self, Failure> {
        let profile = Profile::load(terms.profile.as_deref().unwrap_or("scpi"))?;
        let options = PortOptions {
            reconnect_for: terms.reconnect_for,
            trace: terms.trace_link.clone(),
            ..PortOptions::default()
        };
        let Some(sim) = terms.link.strip_prefix("sim:") else {
            let spec = terms.link.parse::<LinkSpec>()?;
            let link = terms.link.clone();
            return Ok(Self { link, spec, profile, options, simulated: None });
        };
        let (bench, alone) = super::bench::from_link(sim, &profile)?;
        Self::on_bench(bench, alone, terms.link.clone(), profile, options)
    }

    /// A simulated bench whose hands answer by themselves, under this name.
    pub(super) fn simulated(bench: Bench, link: String) -> Result<Self, Failure> {
        Self::on_bench(bench, true, link, Profile::load("scpi")?, PortOptions::default())
    }

    fn on_bench(
        bench: Bench,
        alone: bool,
        link: String,
        profile: Profile,
        options: PortOptions,
    ) -> Result<Self, Failure> {
        let served = bench.serve_pty(None).map_err(|error| {
            Failure::new(Exit::Instrument, super::failure::chain(&error), error.hint())
        })?;
        let spec = served.link().parse::<LinkSpec>()?;
        let simulated = Some(Simulated { bench, _served: served, alone });
        Ok(Self { link, spec, profile, options, simulated })
    }

    pub(super) const fn is_simulated(&self) -> bool {
        self.simulated.is_some()
    }

    /// Opens its port; what it says goes to the inbox.
    pub(super) fn open(&self, clock: Arc<dyn Clock>, inbox: &Inbox) -> Result<Port, Failure> {
        tracing::debug!("opening {} as {}", self.link, self.spec);
        let sink = inbox.meter_sink();
        Ok(Port::open_with(&self.spec, &self.profile, clock, self.options.clone(), sink)?)
    }

    pub(super) fn hands(&self) -> Hands {
        match &self.simulated {
            None => Hands::Real,
            Some(s) if s.alone => Hands::Alone(s.bench.clone()),
            Some(s) => Hands::Led(s.bench.clone()),
        }
    }
}

/// Everything a run stands on.
pub(super) struct Station {
    pub(super) job: PathBuf,
    /// `None`: it is begun once the meter's port is open, so that a wrong port leaves no folder.
    pub(super) journal: Option<Journal>,
    pub(super) guide: Identify,
    pub(super) meter: Instrument,
    pub(super) operator: OperatorChoice,
}

impl Station {
    /// Runs and writes the reports, whatever the outcome of a run that began.
    pub(super) fn run(self, start: RunStart) -> Result<Exit, Failure> {
        let job = self.job.clone();
        let choice = self.operator;
        let mut began = false;
        let outcome = match choice {
            OperatorChoice::Json => self.drive(start, &mut Json::new(io::stdout()), &mut began),
            OperatorChoice::Lines => {
                let rings = io::stdout().is_terminal();
                self.drive(start, &mut Lines::new(io::stdout(), rings), &mut began)
            }
        };
        if !began {
            return outcome;
        }
        let written = write_reports(&job);
        if let (OperatorChoice::Lines, Ok(paths)) = (choice, &written) {
            println!("report: {}", paths[0].display());
        }
        let exit = outcome?;
        written?;
        Ok(exit)
    }

    fn drive(
        self,
        start: RunStart,
        operator: &mut dyn Operator,
        began: &mut bool,
    ) -> Result<Exit, Failure> {
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .map_err(|e| Failure::new(Exit::Aborted, format!("runtime: {e}"), "try again"))?;
        runtime.block_on(async {
            let clock: Arc<dyn Clock> = Arc::new(SystemClock::begin());
            let inbox = Inbox::new();
            let hands = self.meter.hands();
            if !matches!(hands, Hands::Alone(_)) {
                inbox.read_lines(io::stdin());
            }
            if let Err(e) = inbox.listen_to_signals() {
                tracing::warn!("interrupts cannot be listened to: {e}");
            }
            let port = self.meter.open(Arc::clone(&clock), &inbox)?;
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
                inbox,
                clock,
                hands,
                link: self.meter.link.clone(),
                job: self.job.display().to_string(),
            };
            workbench.run(Event::RunStarted(start)).await
        })
    }
}

/// Renders the reports from the journal alone.
pub(super) fn write_reports(job: &Path) -> Result<[PathBuf; 3], Failure> {
    let past = journal::read(job)?;
    report::write_all(job, &Report::from_entries(&past.entries)).map_err(|error| {
        Failure::new(
            Exit::RecordNotWritten,
            super::failure::chain(&error),
            "the record itself is whole; `coilmark report` renders it again",
        )
    })
}
