//! The simulated bench: a part from a relay, output or zone file, a meter, a supply and a clumsy
//! pair of hands, all seeded. A program that talks to its meter over a pseudo-terminal or TCP, and
//! asks its hands for placements, cannot tell it from hardware. [`Bench`] is a handle on the shared
//! state; clones share it. Without a link, [`Bench::read`] measures in simulated time and never
//! waits.

mod chance;
mod circuit;
mod console;
mod console_words;
mod hands;
mod hazard;
mod instrument;
mod line_voice;
mod meter;
mod meter_model;
mod network;
mod output;
mod output_file;
mod part;
mod part_file;
mod part_raw;
mod port;
mod scpi_header;
mod scpi_message;
mod scpi_status;
mod scpi_voice;
mod serve;
mod state;
mod supply;
mod supply_voice;
mod toml_text;
mod wire;
mod zone_file;

pub use console::{Listen, StandaloneError, StandaloneOptions, StandaloneSummary, run_standalone};
pub use hands::{HandTimes, SlipRates};
pub use hazard::{Hazard, HazardKind};
pub use meter_model::{Accuracy, MeterModel, VoiceKind};
pub use output::Output;
pub use part::{Part, TrueCoil, TruePole, Truth};
pub use part_file::BadPart;
pub use serve::{ServeError, Served};
pub use wire::Wire;

use crate::event::{Answer, Ask, Pin};
use drivers::{Clock, Function, Moment, SystemClock, Unit, Value};
use instrument::Instrument;
use state::State;
use std::net::SocketAddr;
use std::path::Path;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

/// How the bench is set up.
#[derive(Clone, Debug)]
pub struct BenchOptions {
    /// The seed of everything that varies.
    pub seed: u64,
    /// The meter.
    pub meter: MeterModel,
    /// Factor on the meter's noise; 0 also takes away its errors and the scraping of tips.
    pub noise: f64,
    /// How often the hands slip.
    pub slips: SlipRates,
    /// How long they take.
    pub times: HandTimes,
    /// Pairs that they cannot reach, and skip.
    pub unreachable: Vec<[Pin; 2]>,
    /// Whether there is no supply: drive asks are skipped.
    pub cannot_drive: bool,
    /// The most that the supply can be set to, in volts; above it drive asks are skipped.
    pub supply_volts_max: f64,
    /// The supply's current limit, in amps.
    pub supply_amps_max: f64,
    /// Temperature of the coil, in degrees Celsius.
    pub celsius: f64,
    /// How often the armature stays where it is although it should move, as a share of its moves.
    pub armature_sticks: f64,
    /// What counts as a hazard.
    pub limits: Limits,
}

/// Limits on a drive.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// Most volts.
    pub volts_max: f64,
    /// Most power into the part, in watts.
    pub coil_watts_max: f64,
}

impl Default for BenchOptions {
    fn default() -> Self {
        Self {
            seed: 1,
            meter: MeterModel::commanded(),
            noise: 1.0,
            slips: SlipRates::USUAL,
            times: HandTimes::PERSON,
            unreachable: Vec::new(),
            cannot_drive: false,
            supply_volts_max: 60.0,
            supply_amps_max: 0.5,
            celsius: 20.0,
            armature_sticks: 0.0,
            limits: Limits { volts_max: 24.0, coil_watts_max: 3.0 },
        }
    }
}

/// A handle on one bench; clones share it.
#[derive(Clone)]
pub struct Bench {
    shared: Arc<Shared>,
}

struct Shared {
    state: Mutex<State>,
    time: Mutex<Time>,
}

/// Simulated time that was let pass, and a real clock while a link is being served.
#[derive(Default)]
struct Time {
    passed: Duration,
    clock: Option<Arc<dyn Clock>>,
}

impl Bench {
    /// A bench with this part on it, leads in the air, nothing driven, the dial at DC volts.
    #[must_use]
    pub fn new(part: Part, options: BenchOptions) -> Self {
        let state = Mutex::new(State::new(part, &options));
        let time = Mutex::new(Time::default());
        Self { shared: Arc::new(Shared { state, time }) }
    }

    /// The part on the bench.
    #[must_use]
    pub fn part(&self) -> Part {
        self.state().circuit.part().clone()
    }

    /// Does what is asked, at once; simulated time passes as if hands had done it.
    pub fn perform(&self, ask: &Ask) -> Answer {
        let (answer, took) = self.perform_timed(ask);
        if self.time().clock.is_none() {
            self.let_pass(took);
        }
        answer
    }

    /// Does what is asked, at once, and says how long hands would have taken.
    pub fn perform_timed(&self, ask: &Ask) -> (Answer, Duration) {
        let now = self.now();
        self.state().perform(ask, now)
    }

    /// Puts the leads on two pins, whatever is asked or driven; `false` if a pin is not there.
    pub fn place(&self, red: &Pin, black: &Pin) -> bool {
        let now = self.now();
        let mut state = self.state();
        let pins = &state.circuit.part().pins;
        let (Some(red), Some(black)) = (pins.position(red), pins.position(black)) else {
            return false;
        };
        state.place((red, black), now);
        true
    }

    /// Takes both leads off.
    pub fn lift(&self) {
        let now = self.now();
        self.state().lift(now);
    }

    /// One reading in this function, without a link, one conversion of simulated time later.
    pub fn read(&self, function: Function) -> (Value, Unit) {
        let now = self.now();
        let mut state = self.state();
        state.meter.set_function(function);
        let conversion = state.begin(now);
        let shown = state.finish(&conversion);
        drop(state);
        self.let_pass(conversion.due.since(now));
        (shown.value, function.unit())
    }

    /// The meter without a link: bytes in and out in simulated time.
    #[must_use]
    pub fn wire(&self) -> Wire {
        Wire::new(self.clone(), self.instrument())
    }

    /// The supply without a link, as [`Bench::wire`] is the meter.
    #[must_use]
    pub fn supply_wire(&self) -> Wire {
        Wire::new(self.clone(), Instrument::supply())
    }

    /// Serves the meter on a pseudo-terminal, from now on in real time. With `name`, a symbolic
    /// link of that name leads to it, and stays the same when it is unplugged and plugged in.
    ///
    /// # Errors
    /// [`ServeError`] where the system gives no pseudo-terminal or the name cannot be made.
    pub fn serve_pty(&self, name: Option<&Path>) -> Result<Served, ServeError> {
        self.run_in_real_time();
        Served::on_pty(self.clone(), self.instrument(), name)
    }

    /// Serves the meter on TCP, from now on in real time. Port 0 takes a free one. One client at
    /// a time is heard.
    ///
    /// # Errors
    /// [`ServeError`] where the address cannot be listened on.
    pub fn serve_tcp(&self, addr: SocketAddr) -> Result<Served, ServeError> {
        self.run_in_real_time();
        Served::on_tcp(self.clone(), self.instrument(), addr)
    }

    /// Serves the supply on a pseudo-terminal of its own, as [`Bench::serve_pty`] does the meter.
    ///
    /// # Errors
    /// As [`Bench::serve_pty`].
    pub fn serve_supply_pty(&self, name: Option<&Path>) -> Result<Served, ServeError> {
        self.run_in_real_time();
        Served::on_pty(self.clone(), Instrument::supply(), name)
    }

    /// Serves the supply on TCP, as [`Bench::serve_tcp`] does the meter.
    ///
    /// # Errors
    /// As [`Bench::serve_tcp`].
    pub fn serve_supply_tcp(&self, addr: SocketAddr) -> Result<Served, ServeError> {
        self.run_in_real_time();
        Served::on_tcp(self.clone(), Instrument::supply(), addr)
    }

    /// Whether a voltage is applied to the part now.
    #[must_use]
    pub fn is_driven(&self) -> bool {
        self.state().circuit.applied().is_some_and(|applied| applied.volts.abs() > 1e-9)
    }

    /// Takes the bench's time from this clock, on top of what simulated time has passed.
    pub fn follow(&self, clock: Arc<dyn Clock>) {
        self.time().clock = Some(clock);
    }

    fn run_in_real_time(&self) {
        let mut time = self.time();
        if time.clock.is_none() {
            time.clock = Some(Arc::new(SystemClock::begin()));
        }
    }

    fn instrument(&self) -> Instrument {
        Instrument::new(&self.state().meter.model)
    }

    /// What a real bench would have suffered so far.
    #[must_use]
    pub fn hazards(&self) -> Vec<Hazard> {
        self.state().hazards.clone()
    }

    /// Whether the armature is in its energised (or set) position now.
    #[must_use]
    pub fn armature_set(&self) -> bool {
        self.state().circuit.armature_set()
    }

    /// The bench's time.
    #[must_use]
    pub fn now(&self) -> Moment {
        let time = self.time();
        let real = time.clock.as_ref().map_or(Duration::ZERO, |clock| clock.now().since_start());
        Moment::from_start(time.passed.saturating_add(real))
    }

    /// Lets simulated time pass.
    pub fn let_pass(&self, span: Duration) {
        let mut time = self.time();
        time.passed = time.passed.saturating_add(span);
    }

    fn state(&self) -> MutexGuard<'_, State> {
        self.shared.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn time(&self) -> MutexGuard<'_, Time> {
        self.shared.time.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
