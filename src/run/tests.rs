//! The loop's own promises, with an operator that is a mock and a simulated bench behind a real
//! pseudo-terminal: what is shown is on disk by then, what nobody sees any more ends the run, and
//! the meter's port is closed whatever happens.

use super::instrument::Instrument;
use super::*;
use crate::bench::{Bench, Part};
use crate::event::{IdentifyStart, Pins, RunStart, RunTerms};
use crate::guide::identify::{Identify, Terms};
use crate::guide::settling::Settling;
use crate::operator::Heard;
use crate::relay::Channel;
use drivers::{Reading, SystemClock};
use std::io;
use std::path::Path;

mockall::mock! {
    Person {}

    impl Operator for Person {
        fn ask(&mut self, seq: u64, ask: &Ask) -> io::Result<()>;
        fn object(&mut self, problem: &str) -> io::Result<()>;
        fn show(&mut self, event: &Event) -> io::Result<()>;
        fn show_reading(&mut self, reading: &Reading) -> io::Result<()>;
        fn parse(&self, line: &str) -> Heard;
    }
}

const RELAY: &str = include_str!("../../fixtures/relays/make_1_pole.toml");

fn start() -> RunStart {
    RunStart {
        version: "0".into(),
        simulated: true,
        resumed: false,
        torn_bytes: 0,
        meter: "sim:test".into(),
        profile: "scpi".into(),
        terms: RunTerms::Identify(identify()),
    }
}

fn identify() -> IdentifyStart {
    IdentifyStart::usual(Pins::numbered(4).unwrap())
}

fn run(job: &Path, operator: &mut MockPerson) -> Result<Exit, Failure> {
    let part = Part::parse(RELAY, "make_1_pole").unwrap();
    let bench = Bench::new(part, super::bench::options(1, true, false));
    let instrument = Instrument::simulated(bench, "sim:test".into()).unwrap();
    let terms = Terms {
        start: identify(),
        simulated: true,
        footprint: None,
        settling: Settling::default(),
        hands_free: false,
        accept_meter: false,
        channel: Channel::default(),
    };
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    runtime.block_on(async {
        let clock: Arc<dyn Clock> = Arc::new(SystemClock::begin());
        let mut seat = Seat::new();
        let meter = instrument.open(Arc::clone(&clock), &seat.inbox).unwrap();
        let workbench = Workbench {
            guide: Box::new(Identify::new(terms)),
            journal: Journal::create(job).unwrap(),
            operator,
            meter: Some(meter),
            seat: &mut seat,
            clock,
            stamp: Box::new(stamp),
            drive: None,
            hands: instrument.hands(),
            link: "sim:test".into(),
            job: "job".into(),
        };
        workbench.run(Event::RunStarted(start())).await
    })
}

#[test]
fn a_fact_is_on_disk_before_anyone_is_shown_it() {
    let folder = tempfile::tempdir().unwrap();
    let job = folder.path().join("job");
    let mut person = MockPerson::new();
    person.expect_ask().returning(|_, _| Ok(()));
    person.expect_show_reading().returning(|_| Ok(()));
    let seen = job.clone();
    person.expect_show().times(10..).returning(move |event| {
        let past = crate::journal::read(&seen).unwrap();
        assert_eq!(past.entries.last().map(|entry| &entry.event), Some(event));
        Ok(())
    });
    assert_eq!(run(&job, &mut person), Ok(Exit::Done));
}

#[test]
fn an_operator_that_is_gone_ends_the_run_with_the_record_whole() {
    let folder = tempfile::tempdir().unwrap();
    let job = folder.path().join("job");
    let mut person = MockPerson::new();
    person.expect_ask().returning(|_, _| Ok(()));
    person.expect_show_reading().returning(|_| Ok(()));
    let gone = || io::Error::from(io::ErrorKind::BrokenPipe);
    person.expect_show().returning(move |event| match event {
        Event::ReadingCaptured(_) => Err(gone()),
        _ => Ok(()),
    });
    let failure = run(&job, &mut person).unwrap_err();
    assert_eq!(failure.exit, Exit::Aborted);
    let past = crate::journal::read(&job).unwrap();
    assert!(past.entries.iter().any(|e| matches!(e.event, Event::ReadingCaptured(_))));
    let last = past.entries.last().map(|e| &e.event);
    assert!(matches!(last, Some(Event::RunFinished { exit: 4, .. })), "{last:?}");
}
