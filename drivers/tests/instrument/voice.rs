//! What the instrument understands: IEEE 488.2 common commands and the measurement instructions
//! of SCPI-99 vol. 2, chapter 3, without parameters. From one line of bytes to the answer's
//! bytes, by way of the `microscpi` interpreter, whose handlers these are. Long and short forms,
//! compound lines and the error queue are its doing, not ours.

use drivers::Function;
use microscpi::{Characters, Error, ErrorQueue, Interface, StaticErrorQueue, StatusRegisters};
use std::pin::pin;
use std::task::{Context, Waker};

/// What `*IDN?` answers.
pub const IDENTITY: &str = "TEST BENCH,MULTIMETER,1,0.6";

/// Overload (SCPI-99 vol. 1, 7.2.1).
pub const OVERLOAD: f64 = 9.9e37;

/// The interpreter with the meter's state.
pub struct Voice {
    measure: Box<dyn FnMut(Function) -> f64 + Send>,
    function: Function,
    taken: Option<f64>,
    queue: Queue,
    registers: StatusRegisters,
}

/// The interpreter's own queue, and a list of all that was ever put into it.
#[derive(Default)]
pub(super) struct Queue {
    waiting: StaticErrorQueue<16>,
    pub(super) raised: Vec<String>,
}

/// What an interpreter answers to one line.
pub(super) fn answered(interpreter: &mut impl Interface, line: &[u8]) -> Vec<u8> {
    let mut answer = Answer(Vec::new());
    let mut context = Context::from_waker(Waker::noop());
    let done = pin!(interpreter.run(line, &mut answer)).poll(&mut context).is_ready();
    assert!(done, "no handler waits for anything");
    answer.0
}

/// Where answers are written.
struct Answer(Vec<u8>);

impl Voice {
    pub fn new(measure: Box<dyn FnMut(Function) -> f64 + Send>) -> Self {
        Self {
            measure,
            function: Function::VoltageDc,
            taken: None,
            queue: Queue::default(),
            registers: StatusRegisters::default(),
        }
    }

    /// The answer to one line, its line feed included; empty where it has none.
    pub fn answer(&mut self, line: &[u8]) -> Vec<u8> {
        answered(self, line)
    }

    /// The errors raised since the last call.
    pub fn take_raised(&mut self) -> Vec<String> {
        std::mem::take(&mut self.queue.raised)
    }

    fn configure(&mut self, function: Function) -> Result<(), Error> {
        self.function = function;
        self.taken = None;
        Ok(())
    }

    fn take(&mut self) -> Result<f64, Error> {
        let value = (self.measure)(self.function);
        // The interpreter writes infinity as 9.9E+37.
        let shown = if value.abs() >= OVERLOAD { f64::INFINITY.copysign(value) } else { value };
        self.taken = Some(shown);
        Ok(shown)
    }

    fn measure_in(&mut self, function: Function) -> Result<f64, Error> {
        self.configure(function)?;
        self.take()
    }
}

#[microscpi::interface(StandardCommands, ErrorCommands, StatusCommands)]
impl Voice {
    #[scpi(cmd = "*IDN?")]
    fn identify(&mut self) -> Result<Characters<'_>, Error> {
        Ok(Characters(IDENTITY))
    }

    #[scpi(cmd = "*RST")]
    fn reset(&mut self) -> Result<(), Error> {
        self.configure(Function::VoltageDc)
    }

    #[scpi(cmd = "CONFigure?")]
    fn configuration(&mut self) -> Result<&str, Error> {
        Ok(match self.function {
            Function::VoltageDc => "VOLT",
            Function::VoltageAc => "VOLT:AC",
            Function::Resistance => "RES",
            Function::Resistance4w => "FRES",
            Function::Continuity => "CONT",
            Function::Diode => "DIOD",
        })
    }

    #[scpi(cmd = "READ?")]
    fn read(&mut self) -> Result<f64, Error> {
        self.take()
    }

    #[scpi(cmd = "INITiate")]
    fn initiate(&mut self) -> Result<(), Error> {
        self.take().map(drop)
    }

    #[scpi(cmd = "FETCh?")]
    fn fetch(&mut self) -> Result<f64, Error> {
        self.taken.ok_or(Error::DataCorruptOrStale)
    }

    #[scpi(cmd = "CONFigure:VOLTage:[DC]")]
    fn configure_volts(&mut self) -> Result<(), Error> {
        self.configure(Function::VoltageDc)
    }

    #[scpi(cmd = "CONFigure:VOLTage:AC")]
    fn configure_volts_ac(&mut self) -> Result<(), Error> {
        self.configure(Function::VoltageAc)
    }

    #[scpi(cmd = "CONFigure:RESistance")]
    fn configure_ohms(&mut self) -> Result<(), Error> {
        self.configure(Function::Resistance)
    }

    #[scpi(cmd = "CONFigure:FRESistance")]
    fn configure_ohms_4w(&mut self) -> Result<(), Error> {
        self.configure(Function::Resistance4w)
    }

    #[scpi(cmd = "CONFigure:CONTinuity")]
    fn configure_continuity(&mut self) -> Result<(), Error> {
        self.configure(Function::Continuity)
    }

    #[scpi(cmd = "CONFigure:DIODe")]
    fn configure_diode(&mut self) -> Result<(), Error> {
        self.configure(Function::Diode)
    }

    #[scpi(cmd = "MEASure:VOLTage:[DC]?")]
    fn measure_volts(&mut self) -> Result<f64, Error> {
        self.measure_in(Function::VoltageDc)
    }

    #[scpi(cmd = "MEASure:VOLTage:AC?")]
    fn measure_volts_ac(&mut self) -> Result<f64, Error> {
        self.measure_in(Function::VoltageAc)
    }

    #[scpi(cmd = "MEASure:RESistance?")]
    fn measure_ohms(&mut self) -> Result<f64, Error> {
        self.measure_in(Function::Resistance)
    }

    #[scpi(cmd = "MEASure:FRESistance?")]
    fn measure_ohms_4w(&mut self) -> Result<f64, Error> {
        self.measure_in(Function::Resistance4w)
    }

    #[scpi(cmd = "MEASure:CONTinuity?")]
    fn measure_continuity(&mut self) -> Result<f64, Error> {
        self.measure_in(Function::Continuity)
    }

    #[scpi(cmd = "MEASure:DIODe?")]
    fn measure_diode(&mut self) -> Result<f64, Error> {
        self.measure_in(Function::Diode)
    }
}

impl microscpi::StandardCommands for Voice {}

impl microscpi::ErrorCommands for Voice {
    fn error_queue(&mut self) -> &mut impl ErrorQueue {
        &mut self.queue
    }
}

impl microscpi::StatusCommands for Voice {
    fn status_registers(&mut self) -> &mut StatusRegisters {
        &mut self.registers
    }
}

impl ErrorQueue for Queue {
    fn error_count(&self) -> usize {
        self.waiting.error_count()
    }

    fn push_error(&mut self, error: Error) {
        self.raised.push(format!("{} {error}", error.number()));
        self.waiting.push_error(error);
    }

    fn pop_error(&mut self) -> Option<Error> {
        self.waiting.pop_error()
    }

    fn clear(&mut self) {
        self.waiting.clear();
    }
}

impl microscpi::Write for Answer {
    fn write_bytes(&mut self, bytes: &[u8]) -> Result<(), Error> {
        self.0.extend_from_slice(bytes);
        Ok(())
    }

    fn write_char(&mut self, c: char) -> Result<(), Error> {
        self.write_str(c.encode_utf8(&mut [0; 4]))
    }

    fn write_str(&mut self, text: &str) -> Result<(), Error> {
        self.write_bytes(text.as_bytes())
    }

    fn write_fmt(&mut self, arguments: std::fmt::Arguments<'_>) -> Result<(), Error> {
        self.write_str(&arguments.to_string())
    }
}
