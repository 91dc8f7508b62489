//! The simulated meter behind real links, met by a plain client that knows nothing of it: a
//! pseudo-terminal and TCP. These run in real time, since the system's links do; they wait for
//! bytes with a deadline, never for a fixed span.

#![allow(clippy::unwrap_used, reason = "a test may panic")]

use coilmark::bench::{Bench, BenchOptions, MeterModel, Part, Served, SlipRates};
use coilmark::event::Pin;
use drivers::{Clock, SystemClock};
use rustix::event::{PollFd, PollFlags, Timespec, poll};
use rustix::fd::AsFd;
use rustix::fs::{Mode, OFlags};
use std::fs::File;
use std::io::{Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::time::Duration;

fn bench(meter: MeterModel) -> Bench {
    let relays = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/relays");
    let part = Part::load(&relays.join("changeover_2_pole.toml")).unwrap();
    let options = BenchOptions { meter, slips: SlipRates::NONE, ..Default::default() };
    Bench::new(part, options)
}

fn open(path: &Path) -> File {
    let flags = OFlags::RDWR | OFlags::NOCTTY | OFlags::CLOEXEC;
    File::from(rustix::fs::open(path, flags, Mode::empty()).unwrap())
}

/// Whether something is there to read within two seconds.
fn readable(fd: &impl AsFd) -> bool {
    let mut fds = [PollFd::new(fd, PollFlags::IN)];
    poll(&mut fds, Some(&Timespec { tv_sec: 2, tv_nsec: 0 })).unwrap() > 0
}

/// One line, or what came before the deadline or the hang-up.
fn line(client: &mut (impl Read + AsFd)) -> String {
    let mut bytes = Vec::new();
    let mut byte = [0];
    while readable(client) && client.read(&mut byte).is_ok_and(|count| count == 1) {
        bytes.push(byte[0]);
        if byte[0] == b'\n' {
            break;
        }
    }
    String::from_utf8_lossy(&bytes).into_owned()
}

fn ask(client: &mut (impl Read + Write + AsFd), message: &str) -> String {
    client.write_all(format!("{message}\n").as_bytes()).unwrap();
    line(client)
}

#[test]
fn a_plain_client_measures_over_a_pseudo_terminal() {
    let bench = bench(MeterModel::commanded());
    let served = bench.serve_pty(None).unwrap();
    assert_eq!(served.link(), format!("serial:{}", served.path().unwrap().display()));
    let mut client = open(served.path().unwrap());
    assert_eq!(ask(&mut client, "*IDN?"), "SIMULATED,BENCH METER,0001,1.0\n");
    bench.place(&Pin::new("1"), &Pin::new("5"));
    let readings: Vec<f64> =
        (0..12).map(|_| ask(&mut client, "MEAS:RES?").trim().parse().unwrap()).collect();
    assert!((readings[11] - 360.2).abs() < 0.4, "settled: {readings:?}");
    drop(client);
    let mut next = open(served.path().unwrap());
    assert_eq!(ask(&mut next, "*OPC?"), "1\n", "it is still there for the next client");
}

#[test]
fn a_plain_client_measures_over_tcp_and_comes_back() {
    let bench = bench(MeterModel::commanded());
    let served = bench.serve_tcp("127.0.0.1:0".parse().unwrap()).unwrap();
    let addr = served.addr().unwrap();
    assert_eq!(served.link(), format!("tcp:{addr}"));
    for _ in 0..2 {
        let mut client = TcpStream::connect(addr).unwrap();
        assert_eq!(ask(&mut client, "MEAS:RES?"), "+9.90000000E+37\n");
        assert_eq!(ask(&mut client, "SYST:ERR?"), "+0,\"No error\"\n");
    }
}

#[test]
fn a_dial_meter_sends_lines_to_whoever_listens() {
    let model = MeterModel { conversion_ms: 10, ..MeterModel::free_running() };
    let served = bench(model).serve_pty(None).unwrap();
    let mut client = open(served.path().unwrap());
    line(&mut client);
    for _ in 0..5 {
        let line = line(&mut client);
        assert!(line.ends_with(" MVDC\r\n"), "{line:?}");
    }
}

#[test]
fn unplugging_hangs_up_and_plugging_in_keeps_the_name() {
    let folder = tempfile::tempdir().unwrap();
    let name = folder.path().join("meter");
    let mut served = bench(MeterModel::commanded()).serve_pty(Some(&name)).unwrap();
    assert_eq!(served.path(), Some(name.as_path()));
    let mut client = open(&name);
    assert_eq!(ask(&mut client, "*ESR?"), "128\n");
    served.unplug();
    assert_eq!(line(&mut client), "", "the end, or an error");
    assert!(name.symlink_metadata().is_err(), "the name is gone");
    served.plug().unwrap();
    let mut client = open(&name);
    assert_eq!(ask(&mut client, "*ESR?"), "0\n", "it was unplugged, not switched off");
    served.power_cycle();
    assert_eq!(ask(&mut client, "*ESR?"), "128\n");
    drop(served);
    assert!(name.symlink_metadata().is_err(), "the name is gone");
}

#[test]
fn tcp_comes_back_at_the_same_address() {
    let mut served =
        bench(MeterModel::commanded()).serve_tcp("127.0.0.1:0".parse().unwrap()).unwrap();
    let addr = served.addr().unwrap();
    let mut client = TcpStream::connect(addr).unwrap();
    assert_eq!(ask(&mut client, "*OPC?"), "1\n");
    served.unplug();
    assert_eq!(line(&mut client), "");
    assert!(TcpStream::connect(addr).is_err());
    served.plug().unwrap();
    let mut client = TcpStream::connect(addr).unwrap();
    assert_eq!(ask(&mut client, "*OPC?"), "1\n");
}

#[test]
fn each_fault_does_what_its_name_says() {
    let served = bench(MeterModel::commanded()).serve_pty(None).unwrap();
    let mut client = open(served.path().unwrap());
    served.interject(b"\xff\xfe noise\r\n");
    assert_eq!(line(&mut client), "\u{fffd}\u{fffd} noise\r\n");
    served.replace_answer(b"+1.2.3E\n");
    assert_eq!(ask(&mut client, "*OPC?"), "+1.2.3E\n");
    served.echo(true);
    assert_eq!(ask(&mut client, "*OPC?"), "*OPC?\n");
    assert_eq!(line(&mut client), "1\n");
    served.echo(false);
    served.swap_identity("SIMULATED,BENCH METER,0002,1.0");
    assert_eq!(ask(&mut client, "*IDN?"), "SIMULATED,BENCH METER,0002,1.0\n");
    served.delay_answer(Duration::from_millis(60));
    let clock = SystemClock::begin();
    assert_eq!(ask(&mut client, "*OPC?"), "1\n");
    assert!(clock.now().since_start() >= Duration::from_millis(60));
    served.silence(true);
    client.write_all(b"CONF:RES\n*IDN?\n").unwrap();
    // A real link: silence is only seen by waiting, long enough for the meter to have heard it.
    std::thread::sleep(Duration::from_millis(50));
    served.silence(false);
    assert_eq!(ask(&mut client, "FUNC?"), "\"VOLT\"\n", "it did not even listen");
}

#[test]
fn the_bytes_of_a_pseudo_terminal_arrive_as_they_are() {
    // Raw on both ends: no echo, no CR turned into LF, no signals from control characters.
    let served: Served = bench(MeterModel::commanded()).serve_pty(None).unwrap();
    let mut client = open(served.path().unwrap());
    let all: Vec<u8> = (0..=255).filter(|b| *b != b'\n').chain([b'\n']).collect();
    served.interject(&all);
    let mut found = vec![0; all.len()];
    for slot in &mut found {
        assert!(readable(&client));
        client.read_exact(std::slice::from_mut(slot)).unwrap();
    }
    assert_eq!(found, all);
    client.write_all(b"\x03\x04\x1a\x11\x13\n").unwrap();
    assert_eq!(ask(&mut client, "SYST:ERR?"), "-101,\"Invalid character\"\n");
}

#[test]
fn a_name_that_is_a_file_is_left_alone() {
    let folder = tempfile::tempdir().unwrap();
    let name = folder.path().join("precious");
    std::fs::write(&name, "keep").unwrap();
    assert!(bench(MeterModel::commanded()).serve_pty(Some(&name)).is_err());
    assert_eq!(std::fs::read_to_string(&name).unwrap(), "keep");
}
