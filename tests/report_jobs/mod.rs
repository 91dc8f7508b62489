//! Builds jobs by hand for the report's tests: what a run would have recorded, written through the
//! real journal with times of our own. Values are invented; nothing here is a measurement of a
//! real part.

#![allow(dead_code, unused_imports, reason = "each test file uses a part of this")]

mod driven;
mod parts;

pub use driven::{fit, ladder, pickup};
pub use parts::{candidate, changeover, coil, finding, identified};

use coilmark::event::{
    BeliefSummary, Candidate, Capture, Caution, DriveState, Event, Finding, IdentifyFinding,
    IdentifyStart, MeterIdentity, Pin, Placement, RunStart, RunTerms,
};
use coilmark::journal::{self, FILE_NAME, Journal, LocalTime, Stamp};
use coilmark::report::Report;
use drivers::{Function, Moment, Unit};
use jiff::{SignedDuration, Timestamp};
use std::time::Duration;

pub fn pin(label: &str) -> Pin {
    Pin::new(label)
}

/// A job in the making.
pub struct Job {
    events: Vec<(Event, Stamp)>,
    now_ms: i64,
    run_began_ms: i64,
    touch: u32,
    capture: u32,
    leads: Option<(Pin, Pin)>,
    drive: DriveState,
}

impl Job {
    /// A job whose first run begins like this.
    pub fn begin(start: RunStart) -> Self {
        let mut job = Self {
            events: Vec::new(),
            now_ms: 0,
            run_began_ms: 0,
            touch: 0,
            capture: 0,
            leads: None,
            drive: DriveState::Rest,
        };
        job.event(Event::RunStarted(start));
        job
    }

    /// Another run of the same job, this long after the last entry.
    pub fn resume(&mut self, start: RunStart, after_s: i64) -> &mut Self {
        self.now_ms += after_s * 1000;
        self.run_began_ms = self.now_ms;
        self.leads = None;
        self.drive = DriveState::Rest;
        self.event(Event::RunStarted(RunStart { resumed: true, ..start }))
    }

    pub fn event(&mut self, event: Event) -> &mut Self {
        let began: Timestamp = "2026-11-24T20:00:00Z".parse().unwrap();
        let at = began + SignedDuration::from_millis(self.now_ms);
        let at = LocalTime::new(at, jiff::tz::offset(13));
        let elapsed = u64::try_from(self.now_ms - self.run_began_ms).unwrap();
        let elapsed = Moment::from_start(Duration::from_millis(elapsed));
        self.events.push((event, Stamp { at, elapsed }));
        self
    }

    pub fn wait(&mut self, ms: i64) -> &mut Self {
        self.now_ms += ms;
        self
    }

    pub fn meter(&mut self, identity: &str, commanded: bool) -> &mut Self {
        self.wait(420).event(Event::MeterIdentified(MeterIdentity {
            identity: identity.into(),
            link: "serial:/dev/ttyUSB0".into(),
            profile: "scpi".into(),
            commanded,
        }))
    }

    pub fn caution(&mut self, caution: Caution) -> &mut Self {
        let text = caution.text().to_owned();
        self.wait(3800).event(Event::CautionAcknowledged { caution, text })
    }

    pub fn touch(&mut self, red: &str, black: &str) -> &mut Self {
        let leads = (pin(red), pin(black));
        let lead_moves = match &self.leads {
            Some(old) if *old != leads => u32::from(old.0 != leads.0) + u32::from(old.1 != leads.1),
            _ => 2,
        };
        self.leads = Some(leads.clone());
        self.touch += 1;
        let (red, black) = leads;
        let touch = self.touch;
        self.wait(2600).event(Event::LeadsPlaced(Placement { touch, red, black, lead_moves }))
    }

    pub fn drive(&mut self, plus: &str, minus: &str, volts: f64) -> &mut Self {
        self.drive = DriveState::Energised { plus: pin(plus), minus: pin(minus), volts };
        let drive = self.drive.clone();
        self.wait(1700).event(Event::DriveChanged(drive))
    }

    pub fn release(&mut self) -> &mut Self {
        self.drive = DriveState::Rest;
        self.wait(900).event(Event::DriveChanged(DriveState::Rest))
    }

    /// A settled reading in ohms; `None` is open.
    pub fn ohms(&mut self, ohms: Option<f64>) -> &mut Self {
        let u = ohms.map(|ohms| (ohms * 0.005 + 0.1) / 3_f64.sqrt());
        let raw = ohms.map_or("+9.90000000E+37".into(), |ohms| format!("{ohms:+.4E}"));
        self.captured(Function::Resistance, Unit::Ohm, ohms, u, &raw)
    }

    /// A settled reading of the diode function, in volts; `None` is open.
    pub fn diode(&mut self, volts: Option<f64>) -> &mut Self {
        let u = volts.map(|volts| (volts * 0.01 + 0.002) / 3_f64.sqrt());
        let raw = volts.map_or("OL  DIO".into(), |volts| format!("{volts:+.3} DIO"));
        self.captured(Function::Diode, Unit::Volt, volts, u, &raw)
    }

    fn captured(
        &mut self,
        function: Function,
        unit: Unit,
        value: Option<f64>,
        u: Option<f64>,
        raw: &str,
    ) -> &mut Self {
        let (red, black) = self.leads.clone().unwrap();
        self.capture += 1;
        let capture = Capture {
            capture: self.capture,
            touch: self.touch,
            red,
            black,
            function,
            drive: self.drive.clone(),
            value,
            unit,
            overload: value.is_none(),
            u,
            spread: value.map(|_| 0.0),
            samples: 3,
            raw: vec![raw.to_owned(); 3],
        };
        self.wait(1100).event(Event::ReadingCaptured(capture))
    }

    pub fn believe(&mut self, candidates: &[Candidate], entropy_bits: f64) -> &mut Self {
        let candidates = candidates.to_vec();
        self.event(Event::BeliefUpdated(BeliefSummary {
            candidates,
            entropy_bits,
            placements_left: None,
        }))
    }

    /// A result, with what the job took so far.
    pub fn result(&mut self, mut found: IdentifyFinding) -> &mut Self {
        let mut drive = &DriveState::Rest;
        for (event, _) in &self.events {
            match event {
                Event::LeadsPlaced(placed) => found.lead_moves += placed.lead_moves,
                Event::DriveChanged(next) => {
                    found.drive_changes += u32::from(next != drive);
                    drive = next;
                }
                _ => {}
            }
        }
        found.placements = self.touch;
        self.event(Event::ResultReached(Finding::Identify(Box::new(found))))
    }

    pub fn finish(&mut self, exit: u8, reason: Option<&str>) -> &mut Self {
        let reason = reason.map(str::to_owned);
        self.wait(200).event(Event::RunFinished { exit, reason, job: "bench-7".into() })
    }

    /// The job's journal, as the real journal writes it.
    pub fn journal(&self) -> Vec<u8> {
        let dir = tempfile::tempdir().unwrap();
        let mut journal = Journal::create(dir.path()).unwrap();
        for (event, stamp) in &self.events {
            journal.append(event, *stamp).unwrap();
        }
        std::fs::read(dir.path().join(FILE_NAME)).unwrap()
    }
}

/// The report of a job, by way of its journal on disk.
pub fn report(job: &Job) -> Report {
    let dir = tempfile::tempdir().unwrap();
    std::fs::write(dir.path().join(FILE_NAME), job.journal()).unwrap();
    Report::from_entries(&journal::read(dir.path()).unwrap().entries)
}

/// What the start of an identification was given.
pub fn terms(start: &mut RunStart) -> &mut IdentifyStart {
    match &mut start.terms {
        RunTerms::Identify(terms) => terms,
        other => panic!("another command: {other:?}"),
    }
}

/// A plain start of eight pins.
pub fn start(pins: &str, footprint: Option<&str>) -> RunStart {
    RunStart {
        version: "0.1.0".into(),
        simulated: false,
        resumed: false,
        torn_bytes: 0,
        meter: "serial:/dev/ttyUSB0".into(),
        profile: "scpi".into(),
        terms: RunTerms::Identify(IdentifyStart {
            footprint: footprint.map(str::to_owned),
            ..IdentifyStart::usual(pins.parse().unwrap())
        }),
    }
}
