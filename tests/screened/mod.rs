//! A full screen in memory, led by hand through a situation: events, asks, readings, keys and time
//! in, the page as text out. Time passes only when told to. The part and what is believed of it are
//! invented.

use coilmark::event::*;
use coilmark::operator::{Look, Operator, Screen};
use drivers::{Function, Moment, Reading, Value};
use ratatui::backend::TestBackend;
use std::cell::RefCell;
use std::io;
use std::rc::Rc;
use std::time::Duration;

/// What remains on the terminal after the run.
#[derive(Clone, Default)]
pub struct Remains(Rc<RefCell<Vec<u8>>>);

impl io::Write for Remains {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0.borrow_mut().extend_from_slice(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

/// A screen, and the time.
pub struct Stage {
    pub screen: Screen<TestBackend, Remains>,
    remains: Remains,
    now: Duration,
    seq: u64,
    capture: u32,
}

impl Stage {
    /// A screen of this size with nothing on it.
    pub fn at((columns, rows): (u16, u16), look: Look) -> Self {
        let remains = Remains::default();
        let backend = TestBackend::new(columns, rows);
        let screen = Screen::new(backend, None, look, remains.clone()).unwrap();
        Self { screen, remains, now: Duration::from_secs(5), seq: 0, capture: 0 }
    }

    /// A screen on which this has come about, as it is drawn then.
    pub fn shown(size: (u16, u16), look: Look, make: fn(&mut Self)) -> Self {
        let mut stage = Self::at(size, look);
        make(&mut stage);
        stage.pass(Duration::from_secs(1));
        stage
    }

    /// Lets time pass, and the screen draw what is due.
    pub fn pass(&mut self, span: Duration) {
        self.now += span;
        assert_eq!(self.screen.tick(Moment::from_start(self.now)).unwrap(), None);
    }

    /// The page, each line without the blanks at its end.
    pub fn text(&self) -> String {
        let buffer = self.screen.backend().buffer();
        let row = |y| {
            let cells = (0..buffer.area.width).map(|x| buffer[(x, y)].symbol());
            format!("{}\n", cells.collect::<String>().trim_end())
        };
        (0..buffer.area.height).map(row).collect()
    }

    /// What was written after the screen was given back.
    pub fn remains(&self) -> String {
        String::from_utf8(self.remains.0.borrow().clone()).unwrap()
    }

    pub fn fact(&mut self, event: &Event) {
        self.screen.show(event).unwrap();
    }

    /// A run of `identify` begins, and the meter answers.
    pub fn begin(&mut self, pins: &str, footprint: Option<&str>) {
        self.begin_with(RunTerms::Identify(IdentifyStart {
            footprint: footprint.map(str::to_owned),
            ..IdentifyStart::usual(pins.parse().unwrap())
        }));
    }

    /// A run of `board` begins, the meter answers, and this board comes onto the bench.
    pub fn begin_board(&mut self, serial: &str) {
        let plan = include_str!("../../fixtures/boards/changeover-12v.toml");
        self.begin_with(RunTerms::Board(Box::new(BoardStart {
            plan: toml::from_str(plan).unwrap(),
            serial: None,
            batch: true,
            by: None,
            ambient_celsius: None,
        })));
        self.fact(&Event::BoardBegun { serial: serial.into() });
    }

    /// A run of `output` begins, the meter answers, and its log is opened.
    pub fn begin_output(&mut self) {
        let (nominal_volts, for_s, guard_s) = (Some(12.0), 300.0, 10.0);
        self.begin_with(RunTerms::Output(OutputStart { nominal_volts, for_s, guard_s }));
        let file = "output-1.csv".into();
        self.fact(&Event::Logged(LogNews::Opened { file, t_s: 0.0, rows: 0, torn_bytes: 0 }));
    }

    fn begin_with(&mut self, terms: RunTerms) {
        self.fact(&Event::RunStarted(RunStart {
            version: "0".into(),
            simulated: true,
            resumed: false,
            torn_bytes: 0,
            meter: "sim:part.toml".into(),
            profile: "scpi".into(),
            terms,
        }));
        self.fact(&Event::MeterIdentified(MeterIdentity {
            identity: "BENCH METER".into(),
            link: "sim:part.toml".into(),
            profile: "scpi".into(),
            commanded: true,
        }));
        self.pass(Duration::ZERO);
    }

    pub fn ask(&mut self, ask: &Ask) {
        self.seq += 1;
        self.ask_again(ask);
    }

    pub fn ask_again(&mut self, ask: &Ask) {
        self.screen.ask(self.seq, ask).unwrap();
    }

    pub fn place(&mut self, red: &str, black: &str) {
        let (red, black) = (Pin::new(red), Pin::new(black));
        self.fact(&Event::LeadsPlaced(Placement { touch: 1, red, black, lead_moves: 2 }));
    }

    pub fn capture(&mut self, red: &str, black: &str, ohms: Option<f64>) {
        self.place(red, black);
        self.capture += 1;
        self.fact(&Event::ReadingCaptured(Capture {
            capture: self.capture,
            touch: 1,
            red: Pin::new(red),
            black: Pin::new(black),
            function: Function::Resistance,
            drive: DriveState::Rest,
            value: ohms,
            unit: drivers::Unit::Ohm,
            overload: ohms.is_none(),
            u: ohms.map(|ohms| 0.002 * ohms),
            spread: None,
            samples: 3,
            raw: Vec::new(),
        }));
    }

    /// Candidates by probability: a coil on two pins, and two changeovers on the others.
    pub fn believe(&mut self, coils: &[(f64, &str, &str)], placements_left: Option<f64>) {
        let pole = |common: &str, nc: &str, no: &str| PoleFound {
            form: Form::C,
            common: vec![Pin::new(common)],
            nc: vec![Pin::new(nc)],
            no: vec![Pin::new(no)],
            evidence: Evidence::Inferred,
        };
        let candidates = coils.iter().map(|(posterior, a, b)| Candidate {
            posterior: *posterior,
            family: "2C".into(),
            coils: vec![[Pin::new(*a), Pin::new(*b)]],
            poles: vec![pole("2", "3", "4"), pole("7", "6", "5")],
        });
        let candidates = candidates.collect();
        let summary = BeliefSummary { candidates, entropy_bits: 4.2, placements_left };
        self.fact(&Event::BeliefUpdated(summary));
    }

    /// Readings of this value, a tenth of a second apart, of which the last may not be drawn yet.
    pub fn read(&mut self, function: Function, value: Value, count: u32) {
        for n in 0..count {
            let at = self.now + Duration::from_millis(100) * n;
            let reading = Reading {
                value,
                unit: function.unit(),
                function,
                u: None,
                text: String::new(),
                at: Moment::from_start(at),
            };
            self.screen.show_reading(&reading).unwrap();
        }
        self.now += Duration::from_millis(100) * (count - 1);
    }
}

pub fn place(red: &str, black: &str) -> Ask {
    Ask::Place {
        red: Pin::new(red),
        black: Pin::new(black),
        function: Function::Resistance,
        drive: AskedDrive::Rest,
        why: Some("to find the coil: these two may be it".into()),
    }
}

pub fn driven(volts: f64) -> DriveState {
    DriveState::Energised { plus: Pin::new("1"), minus: Pin::new("8"), volts }
}
