//! What the system does to a run: a call on the link that never comes back, and storms of signals
//! while the meter is read. The first is played by a character device that answers twice and then
//! lets a read wait for ever, as a hung driver does; it ends with the message of a watch that looks
//! from outside the port's thread. Real time: the watch waits seven seconds before it says so.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "what a test rests on and does not find fails the test"
)]

mod program;

use coilmark::event::Ask;
use drivers::{Clock, MeterEvent, Order, Port, Profile, SystemClock};
use program::*;
use rustix::process::{Pid, Signal, kill_process};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use std::fs::File;
use std::io::{Read, Write};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc;
use std::time::Duration;

/// A character device whose reads wait for ever once it has said who it is: the near end of a raw
/// pseudo-terminal, read as a device of messages.
fn hung_device() -> (String, std::thread::JoinHandle<()>, Arc<AtomicBool>) {
    let far = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC).unwrap();
    grantpt(&far).unwrap();
    unlockpt(&far).unwrap();
    let path = ptsname(&far, Vec::new()).unwrap().into_string().unwrap();
    let near = File::options().read(true).write(true).open(&path).unwrap();
    let mut raw = rustix::termios::tcgetattr(&near).unwrap();
    raw.make_raw();
    rustix::termios::tcsetattr(&near, rustix::termios::OptionalActions::Now, &raw).unwrap();
    let done = Arc::new(AtomicBool::new(false));
    let over = done.clone();
    let thread = std::thread::spawn(move || {
        let _near = near;
        let mut far = File::from(far);
        let mut heard = Vec::new();
        let mut buffer = [0; 512];
        while !over.load(Ordering::SeqCst) {
            let Ok(count) = far.read(&mut buffer) else { return };
            heard.extend_from_slice(&buffer[..count]);
            while let Some(end) = heard.iter().position(|byte| *byte == b'\n') {
                let line: Vec<u8> = heard.drain(..=end).collect();
                let answer: &[u8] = match line.trim_ascii() {
                    b"*IDN?" => b"HUNG,METER,0,1\n",
                    b"*ESR?" => b"0\n",
                    b"SYST:ERR?" => b"0,\"No error\"\n",
                    b"over" => return,
                    _ => continue, // and the read waits
                };
                far.write_all(answer).unwrap();
            }
        }
    });
    (path, thread, done)
}

#[test]
fn a_call_that_never_comes_back_ends_the_run_from_outside() {
    let (path, thread, done) = hung_device();
    let job = Job::new();
    let link = format!("usbtmc:{path}");
    let watched = Program::run(&["meters", "--watch", &link]).exits(3);
    let stuck = ["link stuck", "reading", &path, "hint: unplug"];
    for said in stuck {
        assert!(watched.stderr.contains(said), "{said}: {}", watched.stderr);
    }
    let dir = job.word();
    let words = ["identify", "--operator", "json", "--meter", &link, "--job", &dir, "--pins", "4"];
    let mut person = Person::at(&bench(relay("make_1_pole")));
    let ended = person.finish(Program::start(&words), 3);
    ended.complains(&stuck);
    let record = job.record();
    assert_eq!(record.last().unwrap()["exit"], 3, "the record is whole and says how it ended");
    done.store(true, Ordering::SeqCst);
    let mut near = File::options().write(true).open(&path).unwrap();
    near.write_all(b"over\n").unwrap();
    thread.join().unwrap();
}

/// Threads of this process by their name.
fn threads_named(name: &str) -> Vec<i32> {
    let tasks = std::fs::read_dir("/proc/self/task").unwrap().flatten();
    tasks
        .filter(|task| {
            let comm = std::fs::read_to_string(task.path().join("comm")).unwrap_or_default();
            comm.trim() == name
        })
        .filter_map(|task| task.file_name().to_string_lossy().parse().ok())
        .collect()
}

// F53: signals hit the very thread that reads, some hundred a second, through readings that take
// longer than the storm's pauses.
#[test]
fn a_storm_of_signals_makes_no_false_timeouts_and_loses_no_reading() {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    // A handler, so that the signal interrupts calls instead of ending the process.
    let _handled = runtime.block_on(async {
        tokio::signal::unix::signal(tokio::signal::unix::SignalKind::user_defined1()).unwrap()
    });
    let bench = bench(relay("make_1_pole"));
    let served = on_pty(&bench);
    let (sender, events) = mpsc::channel();
    let clock = Arc::new(SystemClock::begin());
    let spec = served.link().parse().unwrap();
    let profile = Profile::load("scpi").unwrap();
    let sink = move |event| sender.send(event).is_ok();
    let port = Port::open(&spec, &profile, clock.clone(), Duration::ZERO, sink).unwrap();
    let patience = Duration::from_secs(10);
    assert!(matches!(events.recv_timeout(patience).unwrap(), MeterEvent::Answered { .. }));
    port.order(Order::Measure { function: drivers::Function::VoltageDc, epoch: 1 });
    let meters = threads_named("meter");
    assert!(!meters.is_empty(), "the port has a thread of its own");
    let until = clock.now() + Duration::from_secs(2);
    let (mut storms, mut readings) = (0, 0);
    while clock.now() < until {
        for thread in &meters {
            kill_process(Pid::from_raw(*thread).unwrap(), Signal::USR1).unwrap();
            storms += 1;
        }
        clock.pause(Duration::from_millis(2));
        while let Ok(event) = events.try_recv() {
            match event {
                MeterEvent::ReadingTaken { .. } => readings += 1,
                other => panic!("after {storms} signals and {readings} readings: {other:?}"),
            }
        }
    }
    assert!(storms > 300 && readings > 60, "{storms} signals, {readings} readings");
    port.close();
}

// T18: many interrupts are one; the run ends with its record and reports, and the meter keeps its
// own keys.
#[test]
fn a_storm_of_interrupts_is_one_abort() {
    let (bench, job) = (bench(relay("make_1_pole")), Job::new());
    let served = on_tcp(&bench);
    let dir = job.word();
    let link = served.link();
    let words = ["identify", "--operator", "json", "--meter", &link, "--job", &dir, "--pins", "4"];
    let mut program = Program::start(&words);
    let mut person = Person::at(&bench);
    let first = person.lead_to(&mut program, |ask| matches!(ask, Ask::Place { .. }));
    person.perform(&mut program, &first);
    person.until_noted(&mut program, "capture");
    for _ in 0..200 {
        program.interrupt();
    }
    person.ends(program, 4);
    assert_eq!(job.record().last().unwrap()["reason"], "interrupted");
    assert!(job.file("report.html").exists(), "the report is there");
    // Its own keys were never taken from it, so there is nothing to give back.
    let taken = served.commands().into_iter().find(|line| line.starts_with("SYST:REM"));
    assert_eq!(taken, None);
}
