//! The standalone bench: ask lines of the operator protocol in, answers out, and a meter that
//! shows what the hands did; words for a human; and what must not stop it.
//! The bench runs on its own thread behind two pipes, as a process of its own would.

#![allow(clippy::unwrap_used, reason = "a test may panic")]

use coilmark::bench::{
    BenchOptions, Listen, Part, SlipRates, StandaloneOptions, StandaloneSummary, run_standalone,
};
use serde_json::{Value, json};
use std::io::{BufRead, BufReader, PipeReader, PipeWriter, Read, Write, pipe};
use std::net::TcpStream;
use std::path::Path;
use std::thread::JoinHandle;

fn options(listen: Listen) -> StandaloneOptions {
    let relays = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/relays");
    let part = Part::load(&relays.join("changeover_2_pole.toml")).unwrap();
    let bench = BenchOptions { slips: SlipRates::NONE, ..Default::default() };
    StandaloneOptions { part, bench, listen, supply: None, pace: 0.0 }
}

fn tcp() -> Listen {
    Listen::Tcp("127.0.0.1:0".parse().unwrap())
}

/// Everything that a bench says to this input.
fn say(input: &str) -> (Vec<Value>, StandaloneSummary) {
    let mut out = Vec::new();
    let summary = run_standalone(options(tcp()), input.as_bytes(), &mut out).unwrap();
    let lines = String::from_utf8(out).unwrap();
    (lines.lines().map(|line| serde_json::from_str(line).unwrap()).collect(), summary)
}

struct Process {
    to: PipeWriter,
    from: BufReader<PipeReader>,
    thread: JoinHandle<StandaloneSummary>,
}

impl Process {
    fn begin(listen: Listen) -> (Self, String) {
        let (stdin, to) = pipe().unwrap();
        let (from, stdout) = pipe().unwrap();
        let thread = std::thread::spawn(move || {
            run_standalone(options(listen), BufReader::new(stdin), stdout).unwrap()
        });
        let mut process = Self { to, from: BufReader::new(from), thread };
        let first = process.hear();
        assert_eq!((&first["v"], &first["note"]), (&json!(1), &json!("bench")));
        (process, first["meter"].as_str().unwrap().to_owned())
    }

    fn hear(&mut self) -> Value {
        let mut line = String::new();
        self.from.read_line(&mut line).unwrap();
        serde_json::from_str(&line).unwrap()
    }

    fn ask(&mut self, line: Value) -> Value {
        writeln!(self.to, "{line}").unwrap();
        self.hear()
    }
}

#[test]
fn two_processes_identify_a_contact_through_pipes_and_tcp() {
    let (mut bench, link) = Process::begin(tcp());
    let mut meter = TcpStream::connect(link.strip_prefix("tcp:").unwrap()).unwrap();
    let caution = json!({"v":1,"seq":1,"ask":"acknowledge","caution":"coil-drive","text":"..."});
    assert_eq!(bench.ask(caution), json!({"seq":1,"answer":"acknowledged"}));
    let place = |seq: u32, drive: &str| {
        json!({"v":1,"seq":seq,"ask":"place","red":"2","black":"4",
               "function":"resistance","drive":drive})
    };
    let mut ohms = |_when: &str| -> f64 {
        let mut reading = 0.0;
        for _ in 0..10 {
            meter.write_all(b"MEAS:RES?\n").unwrap();
            let mut text = Vec::new();
            while text.last() != Some(&b'\n') {
                let mut byte = [0];
                meter.read_exact(&mut byte).unwrap();
                text.push(byte[0]);
            }
            reading = String::from_utf8(text).unwrap().trim().parse().unwrap();
        }
        reading
    };
    assert_eq!(bench.ask(place(2, "rest")), json!({"seq":2,"answer":"ready"}));
    assert_eq!(ohms("at rest"), 9.9e37);
    let drive = json!({"v":1,"seq":3,"ask":"drive","state":"energised","plus":"1","minus":"5",
                       "volts":12});
    assert_eq!(bench.ask(drive), json!({"seq":3,"answer":"ready"}));
    assert!(ohms("energised") < 1.0);
    let rest = json!({"v":1,"seq":4,"ask":"drive","state":"rest"});
    assert_eq!(bench.ask(rest), json!({"seq":4,"answer":"ready"}));
    assert_eq!(ohms("at rest again"), 9.9e37);
    let unknown = json!({"v":1,"seq":5,"ask":"place","red":"2","black":"77",
                         "function":"resistance","drive":"rest"});
    assert_eq!(bench.ask(unknown), json!({"seq":5,"answer":"skip"}));
    writeln!(bench.to, r#"{{"v":1,"note":"reading","value":0.2}}"#).unwrap();
    writeln!(bench.to, r#"{{"v":1,"note":"finished","exit":0,"job":"x"}}"#).unwrap();
    let summary = bench.thread.join().unwrap();
    assert_eq!((summary.asks, summary.hazards.len()), (5, 0));
}

#[test]
fn words_move_the_hands_and_switch_the_faults() {
    let words = "help\nplace 1 5\ndial resistance\nlift\ndrive 12 1 5\nhazards\nrest\nsilence\n\
                 silence\ngarbage\npower\nunplug\nplug\nquit\nplace 1 5\n";
    let (said, summary) = say(words);
    let texts: Vec<&str> = said.iter().skip(1).filter_map(|l| l["text"].as_str()).collect();
    assert!(texts[0].contains("drive VOLTS PLUS MINUS"));
    let done = [
        "ready",
        "ready",
        "ready",
        "ready",
        "0: ",
        "ready",
        "silent",
        "speaking",
        "sent",
        "off and on",
        "unplugged",
    ];
    assert_eq!(texts[1..], done);
    assert_eq!(said.last().unwrap()["note"], "bench", "plug announces where it is now");
    assert_eq!(summary.asks, 0);
}

#[test]
fn a_hazard_is_counted_and_said() {
    let (said, summary) = say("dial resistance\ndrive 6 1 5\nplace 1 5\ndrive 6 1 5\nhazards\n");
    assert_eq!(said.last().unwrap()["text"], "1: DriveIntoOhms");
    assert_eq!(summary.hazards.len(), 1);
}

#[test]
fn the_last_note_of_a_run_ends_it() {
    let (said, _) = say("{\"v\":1,\"note\":\"finished\",\"exit\":0,\"job\":\"x\"}\nhelp\n");
    assert_eq!(said.len(), 1, "only the announcement: {said:?}");
}

#[test]
fn nothing_on_the_input_stops_it() {
    let mut input = String::from("\n   \nnonsense\n{\n{\"v\":1,\"seq\":1}\n");
    input.push_str("{\"v\":2,\"seq\":1,\"ask\":\"drive\",\"state\":\"rest\"}\n");
    input.push_str(&"x".repeat(200_000));
    input.push_str("\n{\"v\":1,\"seq\":9,\"ask\":\"drive\",\"state\":\"rest\"}");
    let (said, summary) = say(&input);
    let notes: Vec<&str> = said.iter().filter_map(|line| line["note"].as_str()).collect();
    assert_eq!(notes[0], "bench");
    assert!(notes[1..].iter().all(|note| *note == "error"), "{notes:?}");
    assert_eq!(notes.len(), 9, "four lines, and the long one in four pieces");
    assert_eq!(*said.last().unwrap(), json!({"seq":9,"answer":"ready"}));
    assert_eq!(summary.asks, 1);
}

#[test]
fn the_supply_is_served_beside_the_meter_and_drives_what_it_is_clipped_to() {
    let (stdin, mut to) = pipe().unwrap();
    let (from, stdout) = pipe().unwrap();
    let options = StandaloneOptions { supply: Some(tcp()), ..options(tcp()) };
    let thread =
        std::thread::spawn(move || run_standalone(options, BufReader::new(stdin), stdout).unwrap());
    let mut from = BufReader::new(from);
    let mut hear = || {
        let mut line = String::new();
        from.read_line(&mut line).unwrap();
        serde_json::from_str::<Value>(&line).unwrap()
    };
    let first = hear();
    assert_ne!(first["meter"], first["supply"], "{first}");
    let link = first["supply"].as_str().unwrap().to_owned();
    let mut supply = TcpStream::connect(link.strip_prefix("tcp:").unwrap()).unwrap();
    writeln!(to, r#"{{"v":1,"seq":1,"ask":"clip","plus":"1","minus":"5"}}"#).unwrap();
    assert_eq!(hear(), json!({"seq":1,"answer":"ready"}));
    supply.write_all(b"SOUR:VOLT 12\nSOUR:CURR 0.1\nOUTP ON\nMEAS:VOLT?\n").unwrap();
    let mut said = String::new();
    BufReader::new(supply.try_clone().unwrap()).read_line(&mut said).unwrap();
    assert!((said.trim().parse::<f64>().unwrap() - 12.0).abs() < 0.1, "{said}");
    writeln!(to, "supply-unplug").unwrap();
    assert_eq!(hear()["text"], "unplugged");
    assert!(TcpStream::connect(link.strip_prefix("tcp:").unwrap()).is_err());
    writeln!(to, "supply-plug").unwrap();
    assert_eq!(hear()["supply"], link.as_str());
    drop(to);
    thread.join().unwrap();
}

#[test]
fn it_announces_a_pseudo_terminal_by_its_stable_name() {
    let folder = tempfile::tempdir().unwrap();
    let name = folder.path().join("meter");
    let (bench, link) = Process::begin(Listen::Pty { name: Some(name.clone()) });
    assert_eq!(link, format!("serial:{}", name.display()));
    drop(bench.to);
    bench.thread.join().unwrap();
    assert!(name.symlink_metadata().is_err(), "end of input unplugs");
}
