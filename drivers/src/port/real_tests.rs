//! Ports over real links, as far as one machine has them: pseudo-terminals and loopback sockets.
//! These wait for real time, because the kernel does the waiting; times are kept short by a
//! profile with short timeouts, and allow for a busy machine.

use super::*;
use crate::clock::SystemClock;
use crate::link::{Received, SerialLink, SerialSettings, TcpLink};
use crate::reading::Function;
use crate::testing::{FarEnd, Features, MeterSim, Served};
use std::io::Write;
use std::net::{TcpListener, TcpStream};
use std::time::Instant;

const PATIENCE: Duration = Duration::from_secs(5);

fn quick() -> Profile {
    let text = include_str!("../../profiles/scpi.toml")
        .replace("timeout_ms = 1000", "timeout_ms = 100")
        .replace("integration_ms = 2500", "integration_ms = 200")
        .replace("quiet_ms = 60", "quiet_ms = 20");
    Profile::parse("quick", &text).unwrap()
}

struct Running {
    port: Port,
    events: Receiver<MeterEvent>,
}

fn open(link: &str, profile: &Profile) -> Result<Running, DriverError> {
    let (sender, events) = mpsc::channel();
    let clock = Arc::new(SystemClock::begin());
    let sink = move |event| sender.send(event).is_ok();
    let spec: LinkSpec = link.parse().unwrap();
    let port = Port::open(&spec, profile, clock, Duration::from_secs(3), sink)?;
    Ok(Running { port, events })
}

impl Running {
    fn wait_for<T>(&self, mut wanted: impl FnMut(&MeterEvent) -> Option<T>) -> T {
        let began = Instant::now();
        let mut seen = Vec::new();
        while began.elapsed() < PATIENCE {
            if let Ok(event) = self.events.recv_timeout(Duration::from_millis(50)) {
                if let Some(found) = wanted(&event) {
                    return found;
                }
                seen.push(format!("{event:?}"));
            }
        }
        panic!("it never came; there were {seen:#?}");
    }

    fn answered(&self) -> Option<Duration> {
        self.wait_for(|event| match event {
            MeterEvent::Answered { gap, .. } => Some(*gap),
            _ => None,
        })
    }

    fn reading(&self) -> f64 {
        self.wait_for(|event| match event {
            MeterEvent::ReadingTaken { reading, .. } => reading.value.number(),
            _ => None,
        })
    }

    fn went_away(&self) {
        self.wait_for(|event| matches!(event, MeterEvent::WentAway(_)).then_some(()));
    }

    fn end(&self) -> String {
        self.wait_for(|event| match event {
            MeterEvent::Ended(error) => Some(format!("{error:?}")),
            _ => None,
        })
    }

    fn measure(&self) {
        self.port.order(Order::Measure { function: Function::Resistance, epoch: 1 });
    }
}

fn meter() -> MeterSim {
    MeterSim::new(Features { reading: Duration::from_millis(2), ..Features::default() })
}

#[test]
fn a_meter_on_a_pseudo_terminal_is_read_and_closed() {
    let far_end = FarEnd::open();
    let path = far_end.path.clone();
    let served = far_end.serve(meter());
    let running = open(&format!("serial:{path}"), &quick()).unwrap();
    assert_eq!(running.answered(), None);
    running.measure();
    for _ in 0..5 {
        assert!(running.reading() > 0.0);
    }
    let began = Instant::now();
    running.port.close();
    assert!(began.elapsed() < Duration::from_secs(1));
    assert_eq!(running.events.iter().last().map(|e| format!("{e:?}")).unwrap(), "Ended(None)");
    assert_eq!(served.stop().interrupted, 0);
}

// F21: a terminal that sends everything back until it is opened.
#[test]
fn a_cooked_terminal_is_made_raw() {
    let far_end = FarEnd::open_cooked();
    let path = far_end.path.clone();
    let _served = far_end.serve(meter());
    let running = open(&format!("serial:{path}"), &quick()).unwrap();
    running.answered();
    running.measure();
    assert!(running.reading() > 0.0);
}

// F25: bytes sent while nobody had it open.
#[test]
fn bytes_from_before_are_nobodys_answer() {
    let mut far_end = FarEnd::open();
    let path = far_end.path.clone();
    far_end.send(b"+9.99E+05\r\n+8.8");
    let _served = far_end.serve(meter());
    let running = open(&format!("serial:{path}"), &quick()).unwrap();
    running.answered();
    running.measure();
    assert!(running.reading() < 2.0, "the first reading is number 1");
}

// F01, F03
#[test]
fn an_unplug_during_a_read_is_noticed_at_once_and_gives_no_value() {
    let mut far_end = FarEnd::open();
    let mut link = SerialLink::open(&far_end.path, SerialSettings::default()).unwrap();
    far_end.send(b"+1.0");
    let mut buffer = [0; 64];
    let got = link.read_some(&mut buffer, Duration::from_secs(1)).unwrap();
    assert_eq!(got, Received::Bytes(4));
    let began = Instant::now();
    let pull = thread::spawn(move || {
        thread::sleep(Duration::from_millis(50)); // so that the read below is waiting
        drop(far_end);
    });
    let mut reads = 0;
    let error = loop {
        reads += 1;
        match link.read_some(&mut buffer, Duration::from_secs(2)) {
            Ok(Received::Nothing) => {}
            Ok(Received::Bytes(_)) => panic!("bytes from nowhere"),
            Err(error) => break error,
        }
    };
    assert!(matches!(error, DriverError::LinkLost { .. }), "{error:?}");
    assert!(began.elapsed() < Duration::from_millis(500), "{:?}", began.elapsed());
    assert!(reads < 10, "it does not spin: {reads} reads");
    assert!(link.write(b"x\n", Duration::from_millis(50)).is_err());
    pull.join().unwrap();
}

// F04: over a symbolic link that moves to another pseudo-terminal.
#[test]
fn a_replug_under_another_number_is_followed_by_its_steady_name() {
    let folder = tempfile::tempdir().unwrap();
    let name = folder.path().join("meter");
    let first = FarEnd::open();
    std::os::unix::fs::symlink(&first.path, &name).unwrap();
    let served = first.serve(meter());
    let running = open(&format!("serial:{}", name.display()), &quick()).unwrap();
    running.answered();
    running.measure();
    running.reading();
    drop(served);
    running.went_away();
    let second = FarEnd::open();
    std::fs::remove_file(&name).unwrap();
    std::os::unix::fs::symlink(&second.path, &name).unwrap();
    let _served = second.serve(meter());
    assert!(running.answered().is_some(), "with a gap");
    assert!(running.reading() > 0.0);
}

// F29, F30, F31
#[test]
fn a_port_in_use_is_busy_until_it_is_let_go() {
    let far_end = FarEnd::open();
    let held = SerialLink::open(&far_end.path, SerialSettings::default()).unwrap();
    let error = SerialLink::open(&far_end.path, SerialSettings::default()).unwrap_err();
    match error {
        DriverError::Busy { holder: Some(holder), .. } => {
            assert!(holder.contains(&std::process::id().to_string()), "{holder}");
        }
        other => panic!("{other:?}"),
    }
    drop(held);
    assert!(SerialLink::open(&far_end.path, SerialSettings::default()).is_ok());
}

// F33: somebody else takes the port just when it comes back.
#[test]
fn a_port_that_is_busy_after_a_replug_is_waited_for() {
    let folder = tempfile::tempdir().unwrap();
    let name = folder.path().join("meter");
    let first = FarEnd::open();
    std::os::unix::fs::symlink(&first.path, &name).unwrap();
    let served = first.serve(meter());
    let running = open(&format!("serial:{}", name.display()), &quick()).unwrap();
    running.answered();
    let second = FarEnd::open();
    let mut stranger = SerialLink::open(&second.path, SerialSettings::default()).unwrap();
    std::fs::remove_file(&name).unwrap();
    std::os::unix::fs::symlink(&second.path, &name).unwrap();
    drop(served);
    running.went_away();
    stranger.write(b"AT\r", Duration::from_millis(100)).unwrap();
    thread::sleep(Duration::from_millis(400)); // a few attempts find it busy
    drop(stranger);
    let _served = second.serve(meter());
    assert!(running.answered().is_some());
}

// F07, F08
#[test]
fn a_peer_that_never_reads_cannot_hold_the_program() {
    let far_end = FarEnd::open();
    let mut link = SerialLink::open(&far_end.path, SerialSettings::default()).unwrap();
    let began = Instant::now();
    let error = loop {
        if let Err(error) = link.write(&[b'x'; 200], Duration::from_millis(50)) {
            break error;
        }
    };
    assert!(matches!(error, DriverError::NoAnswer { .. }), "{error:?}");
    drop(link);
    assert!(began.elapsed() < Duration::from_secs(2), "{:?}", began.elapsed());
}

#[test]
fn what_cannot_be_opened_says_so_at_once() {
    for (link, wanted) in [
        ("serial:/dev/no-such-port", "Missing"),
        ("serial:/dev/null", "WrongKind"),
        ("serial:/tmp", "WrongKind"),
        ("usbtmc:/dev/usbtmc-none", "Missing"),
        ("tcp:localhost:1", "Missing"),
    ] {
        let error = open(link, &quick()).map(|_| ()).unwrap_err();
        assert!(format!("{error:?}").starts_with(wanted), "{link}: {error:?}");
    }
}

fn listener() -> (TcpListener, String) {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let link = format!("tcp:{}", listener.local_addr().unwrap());
    (listener, link)
}

#[test]
fn a_meter_on_the_network_is_read() {
    let (listener, link) = listener();
    let running = open(&link, &quick()).unwrap();
    let _served = Served::on_stream(listener.accept().unwrap().0, meter());
    running.answered();
    running.measure();
    assert!(running.reading() > 0.0);
}

// F63, F64, F66
#[test]
fn a_peer_that_never_answers_ends_in_no_answer() {
    let (listener, link) = listener();
    let running = open(&link, &quick()).unwrap();
    let _silent = listener.accept().unwrap();
    let began = Instant::now();
    assert!(running.end().contains("NoAnswer"));
    assert!(began.elapsed() < Duration::from_secs(3));
}

// F65: the instrument closes idle sessions.
#[test]
fn a_connection_closed_while_idle_is_opened_again() {
    let (listener, link) = listener();
    let running = open(&link, &quick()).unwrap();
    let served = Served::on_stream(listener.accept().unwrap().0, meter());
    running.answered();
    drop(served);
    running.went_away();
    let _served = Served::on_stream(listener.accept().unwrap().0, meter());
    assert!(running.answered().is_some());
    running.measure();
    assert!(running.reading() > 0.0);
}

#[test]
fn a_stream_of_garbage_never_becomes_a_meter() {
    let (listener, link) = listener();
    let running = open(&link, &quick()).unwrap();
    let mut stream: TcpStream = listener.accept().unwrap().0;
    let babble = thread::spawn(move || {
        let mut state = 7_u32;
        while stream.write_all(&[(state >> 16) as u8]).is_ok() {
            state = state.wrapping_mul(1_103_515_245).wrapping_add(12_345);
            thread::sleep(Duration::from_micros(300)); // a babbling line, not a flood
        }
    });
    assert!(running.end().contains("NoAnswer"));
    drop(running);
    babble.join().unwrap();
}

// F67: without it, each exchange takes 40 ms.
#[test]
fn small_packets_go_out_at_once() {
    let (listener, _) = listener();
    let stream = TcpStream::connect(listener.local_addr().unwrap()).unwrap();
    let watch = stream.try_clone().unwrap();
    let _link = TcpLink::from_stream(stream, "peer").unwrap();
    assert!(watch.nodelay().unwrap());
    assert!(rustix::net::sockopt::socket_keepalive(&watch).unwrap());
}

#[test]
fn a_sink_that_wants_no_more_ends_the_port() {
    let far_end = FarEnd::open();
    let path = far_end.path.clone();
    let _served = far_end.serve(meter());
    let spec: LinkSpec = format!("serial:{path}").parse().unwrap();
    let (sender, events) = mpsc::channel();
    let sink = move |event| {
        let _ = sender.send(format!("{event:?}"));
        false
    };
    let clock = Arc::new(SystemClock::begin());
    let port = Port::open(&spec, &quick(), clock, Duration::ZERO, sink).unwrap();
    assert!(events.recv_timeout(PATIENCE).unwrap().starts_with("Answered"));
    assert_eq!(events.recv_timeout(PATIENCE).unwrap(), "Ended(None)");
    assert!(events.recv_timeout(PATIENCE).is_err(), "nothing follows");
    drop(port);
}

#[test]
fn a_trace_of_a_real_link_holds_both_directions() {
    let far_end = FarEnd::open();
    let path = far_end.path.clone();
    let _served = far_end.serve(meter());
    let folder = tempfile::tempdir().unwrap();
    let trace = folder.path().join("meter.trace");
    let spec: LinkSpec = format!("serial:{path}").parse().unwrap();
    let (sender, events) = mpsc::channel();
    let options = PortOptions { trace: Some(trace.clone()), ..PortOptions::default() };
    let clock = Arc::new(SystemClock::begin());
    let sink = move |event| sender.send(event).is_ok();
    let port = Port::open_with(&spec, &quick(), clock, options, sink).unwrap();
    assert!(matches!(events.recv_timeout(PATIENCE).unwrap(), MeterEvent::Answered { .. }));
    port.close();
    let text = std::fs::read_to_string(trace).unwrap();
    assert!(
        text.contains("> \"*IDN?\\n\"") && text.contains("< \"MAKER,MODEL,0,1.0\\n\""),
        "{text}"
    );
}

/// A server as simple as can be: what one read brings is one command, and it hangs up over an
/// empty one.
fn simple_server(listener: &TcpListener) {
    use std::io::Read;
    let mut buffer = [0; 256];
    while let Ok((mut stream, _)) = listener.accept() {
        while let Ok(count) = stream.read(&mut buffer) {
            let answer = match buffer[..count].trim_ascii() {
                b"" => break,
                b"*IDN?" => "simple meter\n",
                b"MEAS:RES?" => "+3.298E+02\n",
                b"done" => return,
                _ => continue,
            };
            if stream.write_all(answer.as_bytes()).is_err() {
                break;
            }
        }
    }
}

#[test]
fn a_server_that_takes_each_packet_for_a_command_is_read() {
    let (listener, link) = listener();
    let server = thread::spawn(move || simple_server(&listener));
    let running = open(&link, &quick()).unwrap();
    running.answered();
    running.measure();
    for _ in 0..3 {
        assert!((running.reading() - 329.8).abs() < 1e-9);
    }
    running.port.close();
    let mut last = TcpStream::connect(link.strip_prefix("tcp:").unwrap()).unwrap();
    last.write_all(b"done").unwrap();
    server.join().unwrap();
}

#[test]
fn a_named_port_is_probed_and_let_go() {
    let far_end = FarEnd::open();
    let path = far_end.path.clone();
    let _served = far_end.serve(meter());
    let spec: LinkSpec = format!("serial:{path}").parse().unwrap();
    let probe =
        |within| crate::ports::probe(&spec, &quick(), Arc::new(SystemClock::begin()), within);
    let identity = probe(PATIENCE).unwrap();
    assert_eq!((identity.text.as_str(), identity.commanded), ("MAKER,MODEL,0,1.0", true));
    assert!(SerialLink::open(&path, SerialSettings::default()).is_ok(), "the port is free again");
    let (_listener, link) = listener();
    let spec: LinkSpec = link.parse().unwrap();
    let clock = Arc::new(SystemClock::begin());
    let error = crate::ports::probe(&spec, &quick(), clock, PATIENCE).unwrap_err();
    assert!(matches!(error, DriverError::NoAnswer { .. }), "{error:?}");
}
