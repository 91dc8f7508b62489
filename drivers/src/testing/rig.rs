//! Runs a port's loop against a [`MeterSim`] on the test's own thread and on a clock set by
//! hand, with a plan of what happens when. Afterwards every reading is checked against the
//! meter's own record: it was begun after its order, in the function ordered, and is credited
//! once.

use super::meter::MeterSim;
use crate::clock::{Clock, HandClock, Moment};
use crate::error::DriverError;
use crate::link::{Faults, FaultyLink, Flow, Link, Received};
use crate::meter::{MeterEvent, Order};
use crate::port::testing::{Command, Worker};
use crate::profile::Profile;
use crate::reading::{Function, Value};
use std::collections::BTreeSet;
use std::sync::mpsc::{self, Sender};
use std::sync::{Arc, Mutex};
use std::time::Duration;

type Act = Box<dyn FnOnce(&mut MeterSim) + Send>;

enum Planned {
    Order(Order),
    Act(Act),
    Close,
}

/// A meter, a clock and a plan.
pub(crate) struct Rig {
    meter: MeterSim,
    plan: Vec<(Moment, Planned)>,
    chunk: usize,
    faults: Option<(Faults, u64)>,
    messages: bool,
    adapter: Duration,
    pub reconnect_for: Duration,
    pub accept_other: bool,
}

/// What came of it.
pub(crate) struct Transcript {
    pub events: Vec<(Moment, MeterEvent)>,
    pub meter: MeterSim,
    orders: Vec<(Moment, u64, Function)>,
}

/// What the links of one run share.
struct Shared {
    meter: Mutex<MeterSim>,
    clock: Arc<HandClock>,
    plan: Mutex<Vec<(Moment, Planned)>>,
    commands: Mutex<Sender<Command>>,
    orders: Mutex<Vec<(Moment, u64, Function)>>,
    chunk: usize,
    messages: bool,
    adapter: Duration,
}

impl Rig {
    pub(crate) fn new(meter: MeterSim) -> Self {
        Self {
            meter,
            plan: Vec::new(),
            chunk: 4096,
            faults: None,
            messages: false,
            adapter: Duration::ZERO,
            reconnect_for: Duration::from_secs(30),
            accept_other: false,
        }
    }

    /// Reads give at most this many bytes.
    pub(crate) fn chunked(mut self, chunk: usize) -> Self {
        self.chunk = chunk;
        self
    }

    /// The link carries messages: a read without an answer due blocks, and the meter objects.
    pub(crate) fn by_messages(mut self) -> Self {
        self.messages = true;
        self
    }

    /// An adapter hands bytes over only so often.
    pub(crate) fn behind_adapter(mut self, latency: Duration) -> Self {
        self.adapter = latency;
        self
    }

    /// Everything received is spoilt like this.
    pub(crate) fn spoilt(mut self, faults: Faults, seed: u64) -> Self {
        self.faults = Some((faults, seed));
        self
    }

    pub(crate) fn measure(self, ms: u64, function: Function, epoch: u64) -> Self {
        self.order(ms, Order::Measure { function, epoch })
    }

    pub(crate) fn order(mut self, ms: u64, order: Order) -> Self {
        self.plan.push((at(ms), Planned::Order(order)));
        self
    }

    pub(crate) fn act(mut self, ms: u64, act: impl FnOnce(&mut MeterSim) + Send + 'static) -> Self {
        self.plan.push((at(ms), Planned::Act(Box::new(act))));
        self
    }

    /// Runs with the plain SCPI profile and closes after `ms`.
    pub(crate) fn run(self, ms: u64) -> Transcript {
        self.run_with(&Profile::load("scpi").unwrap(), ms)
    }

    /// One link to the meter on `clock`, for a test that runs a port of its own.
    pub(crate) fn link(self, clock: Arc<HandClock>) -> Box<dyn Link> {
        let (commands, _) = mpsc::channel();
        SimLink::open(&self.share(clock, commands)).unwrap()
    }

    fn share(self, clock: Arc<HandClock>, commands: Sender<Command>) -> Arc<Shared> {
        Arc::new(Shared {
            meter: Mutex::new(self.meter),
            clock,
            plan: Mutex::new(self.plan),
            commands: Mutex::new(commands),
            orders: Mutex::default(),
            chunk: self.chunk,
            messages: self.messages,
            adapter: self.adapter,
        })
    }

    pub(crate) fn run_with(mut self, profile: &Profile, ms: u64) -> Transcript {
        self.plan.push((at(ms), Planned::Close));
        self.plan.sort_by_key(|(at, _)| *at);
        let (commands, receiver) = mpsc::channel();
        let (reconnect_for, accept_other) = (self.reconnect_for, self.accept_other);
        let faults = self.faults;
        let shared = self.share(Arc::new(HandClock::new()), commands);
        let events = Arc::new(Mutex::new(Vec::new()));
        let (sink_events, sink_clock) = (events.clone(), shared.clock.clone());
        let sink = move |event| {
            sink_events.lock().unwrap().push((sink_clock.moment(), event));
            true
        };
        let mut session = profile.session("meter");
        session.accept_other(accept_other);
        let opening = shared.clone();
        let mut faults = faults;
        let opener = Box::new(move || {
            let link = SimLink::open(&opening)?;
            let Some((faults, seed)) = &mut faults else { return Ok(link) };
            *seed += 1; // each link its own faults
            Ok(Box::new(FaultyLink::new(link, *faults, *seed)) as Box<dyn Link>)
        });
        let clock: Arc<dyn Clock> = shared.clone();
        Worker::new(opener, session, clock, reconnect_for, receiver, sink).run(None);
        let shared = Arc::into_inner(shared).expect("the links are closed");
        let events = Arc::into_inner(events).unwrap().into_inner().unwrap();
        let transcript = Transcript {
            events,
            meter: shared.meter.into_inner().unwrap(),
            orders: shared.orders.into_inner().unwrap(),
        };
        transcript.check();
        transcript
    }
}

impl Shared {
    /// Lets happen what the plan has for now.
    fn follow_plan(&self) {
        let now = self.clock.moment();
        let mut plan = self.plan.lock().unwrap();
        while plan.first().is_some_and(|(at, _)| *at <= now) {
            let commands = self.commands.lock().unwrap();
            match plan.remove(0).1 {
                Planned::Order(order) => {
                    if let Order::Measure { function, epoch } = order {
                        self.orders.lock().unwrap().push((now, epoch, function));
                    }
                    commands.send(Command::Order(order)).unwrap();
                }
                Planned::Act(act) => act(&mut self.meter.lock().unwrap()),
                Planned::Close => commands.send(Command::Close).unwrap(),
            }
        }
    }

    /// When the plan has something next.
    fn planned_at(&self) -> Option<Moment> {
        self.plan.lock().unwrap().first().map(|(at, _)| *at)
    }
}

/// Time goes by where there is no link to wait in, too.
impl Clock for Shared {
    fn now(&self) -> Moment {
        self.clock.moment()
    }

    fn pause(&self, span: Duration) {
        self.clock.advance(span);
        self.follow_plan();
    }
}

struct SimLink {
    shared: Arc<Shared>,
    unread: Vec<u8>,
    next_handover: Moment,
}

/// How long the kernel waits for a message, whatever the program wants.
const KERNEL_TIMEOUT: Duration = Duration::from_secs(5);

impl SimLink {
    fn open(shared: &Arc<Shared>) -> Result<Box<dyn Link>, DriverError> {
        shared.follow_plan();
        if !shared.meter.lock().unwrap().plugged {
            return Err(DriverError::Missing { port: "meter".into(), source: None });
        }
        Ok(Box::new(Self {
            shared: shared.clone(),
            unread: Vec::new(),
            next_handover: Moment::START,
        }))
    }

    fn check_plug(&self, step: &str) -> Result<(), DriverError> {
        self.shared.follow_plan();
        if self.shared.meter.lock().unwrap().plugged {
            return Ok(());
        }
        let step = step.to_owned();
        Err(DriverError::LinkLost { port: "meter".into(), step, source: None })
    }
}

impl Link for SimLink {
    fn write(&mut self, bytes: &[u8], _within: Duration) -> Result<(), DriverError> {
        self.check_plug("sending")?;
        let now = self.shared.clock.moment();
        self.shared.meter.lock().unwrap().receive(bytes, now);
        Ok(())
    }

    fn read_some(&mut self, into: &mut [u8], wait: Duration) -> Result<Received, DriverError> {
        let clock = &self.shared.clock;
        let wait = if self.shared.messages { KERNEL_TIMEOUT } else { wait };
        let until = clock.moment() + wait;
        if self.shared.messages && self.unread.is_empty() {
            let mut meter = self.shared.meter.lock().unwrap();
            meter.unterminated += u32::from(meter.due_at().is_none());
        }
        loop {
            self.check_plug("reading")?;
            let now = clock.moment();
            if now >= self.next_handover {
                let sent = self.shared.meter.lock().unwrap().send(now);
                if !sent.is_empty() {
                    self.next_handover = now + self.shared.adapter;
                }
                self.unread.extend(sent);
            }
            if !self.unread.is_empty() {
                let count = self.unread.len().min(into.len()).min(self.shared.chunk);
                for (place, byte) in into.iter_mut().zip(self.unread.drain(..count)) {
                    *place = byte;
                }
                return Ok(Received::Bytes(count));
            }
            if now >= until {
                return Ok(Received::Nothing);
            }
            let due = self.shared.meter.lock().unwrap().due_at();
            let due = due.map(|at| at.max(self.next_handover));
            let planned = self.shared.planned_at();
            let next = [due, planned].into_iter().flatten().filter(|at| *at > now).min();
            clock.advance(next.unwrap_or(until).min(until).since(now));
        }
    }

    fn clear_input(&mut self) -> Result<(), DriverError> {
        self.unread.clear();
        Ok(())
    }

    fn name(&self) -> &str {
        "meter"
    }

    fn flow(&self) -> Flow {
        if self.shared.messages { Flow::Messages } else { Flow::Stream }
    }
}

impl Transcript {
    /// Readings taken: epoch and the meter's own number.
    pub(crate) fn readings(&self) -> Vec<(u64, u32)> {
        self.events
            .iter()
            .filter_map(|(_, event)| match event {
                MeterEvent::ReadingTaken { epoch, reading } => match reading.value {
                    Value::Number(x) => Some((*epoch, x as u32)),
                    _ => Some((*epoch, 0)),
                },
                _ => None,
            })
            .collect()
    }

    pub(crate) fn complaints(&self) -> Vec<String> {
        self.events
            .iter()
            .filter_map(|(_, event)| match event {
                MeterEvent::Complained(error) => Some(error.to_string()),
                _ => None,
            })
            .collect()
    }

    /// Gaps told with each answer.
    pub(crate) fn answered(&self) -> Vec<Option<Duration>> {
        self.events
            .iter()
            .filter_map(|(_, event)| match event {
                MeterEvent::Answered { gap, .. } => Some(*gap),
                _ => None,
            })
            .collect()
    }

    pub(crate) fn end(&self) -> Option<&DriverError> {
        match self.events.last() {
            Some((_, MeterEvent::Ended(error))) => error.as_ref(),
            other => panic!("the last event is {other:?}"),
        }
    }

    pub(crate) fn ended_at(&self) -> Duration {
        self.events.last().unwrap().0.since_start()
    }

    /// Every reading is what it claims to be.
    fn check(&self) {
        let mut seen = BTreeSet::new();
        for (epoch, number) in self.readings() {
            if number == 0 {
                continue;
            }
            let begun = self.meter.begun.iter().find(|begun| begun.number == number);
            let begun = begun.unwrap_or_else(|| panic!("reading {number} was never begun"));
            let (ordered_at, _, function) =
                self.orders.iter().find(|(_, e, _)| *e == epoch).expect("an order");
            assert_eq!(begun.function, *function, "reading {number} of epoch {epoch}");
            assert!(begun.at >= *ordered_at, "reading {number} was begun before epoch {epoch}");
            assert!(seen.insert(number), "reading {number} was credited twice");
        }
        let ends = self.events.iter().filter(|(_, e)| matches!(e, MeterEvent::Ended(_))).count();
        assert_eq!(ends, 1, "it ends once");
    }
}

fn at(ms: u64) -> Moment {
    Moment::from_start(Duration::from_millis(ms))
}
