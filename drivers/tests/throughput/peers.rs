//! The other side of each row: the barest loops that can be written in Rust, which write a query,
//! read to the end of its answer and parse it, without deadlines, framing rules or checks; and
//! Python clients as their documentation shows them. A Python row times itself, its start left out.

use drivers::{Clock, SystemClock};
use serialport::SerialPort;
use std::io::{Read, Write};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Duration;

/// Times queries through anything that reads and writes.
fn bare(mut line: impl Read + Write, turn: Duration) -> f64 {
    let clock = SystemClock::begin();
    let mut buffer = [0; 256];
    let (mut count, mut sum) = (0_u32, 0.0);
    while clock.now().since_start() < turn {
        for _ in 0..50 {
            line.write_all(b"READ?\n").unwrap();
            let mut have = 0;
            while !buffer[..have].ends_with(b"\n") {
                have += line.read(&mut buffer[have..]).unwrap();
            }
            sum += std::str::from_utf8(&buffer[..have]).unwrap().trim().parse::<f64>().unwrap();
            count += 1;
        }
    }
    assert!(sum > f64::from(count), "it read what was sent");
    f64::from(count) / clock.now().since_start().as_secs_f64()
}

/// A blocking socket.
pub fn bare_tcp(link: &str, turn: Duration) -> f64 {
    let stream = TcpStream::connect(link.strip_prefix("tcp:").unwrap()).unwrap();
    stream.set_nodelay(true).unwrap();
    bare(stream, turn)
}

/// The port that the `serialport` crate opens.
pub fn bare_serial(link: &str, turn: Duration) -> f64 {
    let path = link.strip_prefix("serial:").unwrap();
    let port: Box<dyn SerialPort> =
        serialport::new(path, 9600).timeout(Duration::from_secs(2)).open().unwrap();
    // An answer to the one before may still be on its way.
    SystemClock::begin().pause(Duration::from_millis(20));
    port.clear(serialport::ClearBuffer::Input).unwrap();
    bare(port, turn)
}

const PYVISA: &str = r#"
import sys, time, pyvisa
what, kind, seconds = sys.argv[1], sys.argv[2], float(sys.argv[3])
inst = pyvisa.ResourceManager("@py").open_resource(what)
inst.read_termination = "\n"
inst.write_termination = "\n"
inst.timeout = 5000
inst.query("*IDN?")
count, began = 0, time.perf_counter()
while time.perf_counter() - began < seconds:
    if kind == "block":
        count += len(inst.query_ascii_values("FETC?"))
    else:
        for _ in range(20):
            float(inst.query("READ?"))
            count += 1
print(count / (time.perf_counter() - began))
inst.close()
"#;

const PYSERIAL: &str = r#"
import sys, time, serial
path, seconds = sys.argv[1], float(sys.argv[2])
port = serial.Serial(path, 9600, timeout=2)
count, began = 0, time.perf_counter()
while time.perf_counter() - began < seconds:
    for _ in range(20):
        port.write(b"READ?\n")
        float(port.read_until(b"\n"))
        count += 1
print(count / (time.perf_counter() - began))
port.close()
"#;

/// A Python with the peers in it, made at the first run; none where it cannot be made.
pub fn python() -> Option<PathBuf> {
    let home = Path::new(env!("CARGO_MANIFEST_DIR")).join("../target/throughput-python");
    let python = home.join("bin/python");
    let works = |python: &Path| {
        let check = ["-c", "import pyvisa, pyvisa_py, serial"];
        Command::new(python).args(check).output().is_ok_and(|ended| ended.status.success())
    };
    if !works(&python) {
        let made = Command::new("python3").args(["-m", "venv"]).arg(&home).output();
        let packages = ["-m", "pip", "install", "-q", "pyvisa-py", "pyserial"];
        let _ = made.and_then(|_| Command::new(&python).args(packages).output());
    }
    let there = works(&python);
    if !there {
        println!("the Python rows are left out: `{}` has no peers in it", python.display());
    }
    there.then_some(python)
}

fn run(python: Option<&Path>, script: &str, words: &[&str]) -> Option<f64> {
    let ended = Command::new(python?).args(["-c", script]).args(words).output().unwrap();
    assert!(ended.status.success(), "{}", String::from_utf8_lossy(&ended.stderr));
    String::from_utf8_lossy(&ended.stdout).trim().parse().ok()
}

/// `query` or `block` through pyvisa with its Python backend.
pub fn pyvisa(python: Option<&Path>, link: &str, kind: &str, turn: Duration) -> Option<f64> {
    let resource = match link.split_once(':')? {
        ("tcp", place) => format!("TCPIP::{}::SOCKET", place.replace(':', "::")),
        (_, path) => format!("ASRL{path}::INSTR"),
    };
    run(python, PYVISA, &[&resource, kind, &turn.as_secs_f64().to_string()])
}

/// The port that pyserial opens.
pub fn pyserial(python: Option<&Path>, link: &str, turn: Duration) -> Option<f64> {
    let path = link.strip_prefix("serial:")?;
    run(python, PYSERIAL, &[path, &turn.as_secs_f64().to_string()])
}
