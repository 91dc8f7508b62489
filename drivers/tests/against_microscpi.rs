//! A conversation with an instrument whose interpreter is somebody else's (the `microscpi`
//! crate): what a plain client sends and gets back on TCP and on a pseudo-terminal, byte for
//! byte. It shows that the instrument is sound, so that a failure of a driver against it is the
//! driver's. Links are real here, so reads wait, each at most two seconds.

mod instrument;

use drivers::Function;
use instrument::{IDENTITY, Instrument, OVERLOAD};
use rustix::event::{PollFd, PollFlags, Timespec, poll};
use std::fs::File;
use std::io::{self, Read, Write};
use std::net::TcpStream;
use std::os::fd::OwnedFd;
use std::sync::atomic::{AtomicUsize, Ordering};

/// The simplest client there is: one line out, one line in.
struct Client(File);

impl Client {
    /// A client of this instrument, wherever it is.
    #[expect(clippy::unwrap_used, reason = "an instrument that cannot be opened fails its test")]
    fn of(instrument: &Instrument) -> Self {
        match (instrument.path(), instrument.address()) {
            (Some(path), _) => Self(File::options().read(true).write(true).open(path).unwrap()),
            (_, Some(address)) => {
                Self(File::from(OwnedFd::from(TcpStream::connect(address).unwrap())))
            }
            _ => unreachable!("an instrument is on a terminal or on the network"),
        }
    }

    fn say(&mut self, line: &str) -> io::Result<()> {
        self.0.write_all(format!("{line}\n").as_bytes())
    }

    /// Whether a byte, or the end of the line, is there within two seconds.
    fn is_ready(&self) -> bool {
        let patience = Timespec { tv_sec: 2, tv_nsec: 0 };
        let mut fds = [PollFd::new(&self.0, PollFlags::IN)];
        poll(&mut fds, Some(&patience)).is_ok_and(|n| n > 0)
    }

    /// One byte; none at the end of the line, or if nothing comes.
    fn byte(&mut self) -> Option<u8> {
        let mut byte = [0];
        (self.is_ready() && matches!(self.0.read(&mut byte), Ok(1))).then_some(byte[0])
    }

    #[expect(clippy::unwrap_used, reason = "a client that cannot write fails its test")]
    fn ask(&mut self, line: &str) -> String {
        self.say(line).unwrap();
        let bytes: Vec<u8> = std::iter::from_fn(|| self.byte().filter(|b| *b != b'\n')).collect();
        String::from_utf8_lossy(&bytes).into_owned()
    }
}

/// One instrument on each kind of link.
fn both(measure: fn(Function) -> f64) -> [Instrument; 2] {
    [Instrument::on_tcp(measure), Instrument::on_pty(measure)]
}

fn usual(function: Function) -> f64 {
    match function {
        Function::VoltageDc => 13.71,
        Function::VoltageAc => 0.002,
        Function::Resistance => 329.8,
        Function::Resistance4w => 329.6,
        Function::Continuity => OVERLOAD,
        Function::Diode => 0.552,
    }
}

#[test]
fn a_measurement_is_configured_and_read() {
    for instrument in both(usual) {
        let mut client = Client::of(&instrument);
        client.say("").unwrap();
        client.say("*CLS").unwrap();
        assert_eq!(client.ask("*IDN?"), IDENTITY);
        assert_eq!(client.ask("SYST:ERR?"), "0,\"\"");
        client.say("CONF:RES").unwrap();
        assert_eq!(client.ask("READ?"), "329.8");
        assert_eq!(client.ask("READ?"), "329.8");
        client.say("CONFIGURE:VOLTAGE:DC\r").unwrap();
        assert_eq!(client.ask("CONF?"), "\"VOLT\"");
        assert_eq!(client.ask("READ?"), "13.71");
        assert_eq!(client.ask("SYSTem:ERRor:NEXT?"), "0,\"\"");
        assert_eq!(instrument.errors(), Vec::<String>::new());
        let heard = [
            "",
            "*CLS",
            "*IDN?",
            "SYST:ERR?",
            "CONF:RES",
            "READ?",
            "READ?",
            "CONFIGURE:VOLTAGE:DC",
            "CONF?",
            "READ?",
            "SYSTem:ERRor:NEXT?",
        ];
        assert_eq!(instrument.commands(), heard, "{}", instrument.link());
    }
}

#[test]
fn every_function_is_measured_in_short_and_long_form() {
    let instrument = Instrument::on_tcp(usual);
    let mut client = Client::of(&instrument);
    for (short, long, conf, value) in [
        ("VOLT:DC", "VOLTAGE:DC", "VOLT", "13.71"),
        ("VOLT", "VOLTage", "VOLT", "13.71"),
        ("VOLT:AC", "VOLTAGE:AC", "VOLT:AC", "0.002"),
        ("RES", "RESISTANCE", "RES", "329.8"),
        ("FRES", "FRESistance", "FRES", "329.6"),
        ("CONT", "continuity", "CONT", "9.9E+37"),
        ("DIOD", "DIODE", "DIOD", "0.552"),
    ] {
        assert_eq!(client.ask(&format!("MEAS:{short}?")), value);
        assert_eq!(client.ask(&format!("MEASURE:{long}?")), value);
        client.say("*RST").unwrap();
        client.say(&format!("CONF:{short}")).unwrap();
        assert_eq!(client.ask("CONF?"), format!("\"{conf}\""));
        assert_eq!(client.ask("READ?"), value);
    }
    assert_eq!(instrument.errors(), Vec::<String>::new());
}

#[test]
fn what_it_does_not_know_goes_into_its_queue_and_is_counted() {
    for instrument in both(usual) {
        let mut client = Client::of(&instrument);
        client.say("CONF:RESO").unwrap();
        client.say("CONF:RES 1000").unwrap();
        client.say("\u{7f}\u{b5}#!").unwrap();
        assert_eq!(client.ask("FETC?;*IDN?"), IDENTITY);
        // SCPI-99 vol. 2, 21.8: -113 and -230. The text of -230 is the interpreter's.
        assert_eq!(client.ask("SYST:ERR?"), "-113,\"Undefined header\"");
        assert_eq!(client.ask("SYST:ERR:COUN?"), "3");
        client.say("*CLS").unwrap();
        assert_eq!(client.ask("SYST:ERR?"), "0,\"\"");
        let raised = instrument.errors();
        assert_eq!(raised.len(), 4, "{raised:?}");
        assert!(raised[0].starts_with("-113 "), "{raised:?}");
        assert!(raised[3].starts_with("-230 "), "{raised:?}");
    }
}

#[test]
fn each_reading_is_taken_anew() {
    let count = AtomicUsize::new(0);
    let instrument = Instrument::on_pty(move |_| count.fetch_add(1, Ordering::Relaxed) as f64);
    let mut client = Client::of(&instrument);
    client.say("INIT").unwrap();
    assert_eq!(client.ask("FETC?"), "0");
    assert_eq!(client.ask("FETC?"), "0");
    assert_eq!(client.ask("READ?"), "1");
    assert_eq!(client.ask("READ?"), "2");
}

#[test]
fn an_unplugged_instrument_ends_the_line() {
    for mut instrument in both(usual) {
        let mut client = Client::of(&instrument);
        assert_eq!(client.ask("*IDN?"), IDENTITY);
        instrument.unplug();
        assert!(client.is_ready(), "{}: nothing is said of the end", instrument.link());
        assert_eq!(client.byte(), None);
        if let Some(address) = instrument.address() {
            assert!(TcpStream::connect(address).is_err());
        }
        if let Some(path) = instrument.path() {
            assert!(!path.exists());
        }
    }
}

#[test]
fn one_client_follows_another() {
    for instrument in both(usual) {
        for _ in 0..3 {
            assert_eq!(Client::of(&instrument).ask("*IDN?"), IDENTITY);
        }
        assert_eq!(instrument.commands().len(), 3);
    }
}
