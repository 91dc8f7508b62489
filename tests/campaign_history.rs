//! The history under load and under kill -9, through the real program: job folders with many
//! boards are made, the history is made from them, every question is timed, and two writers that
//! are killed at random moments lose nothing and double nothing. `COILMARK_CAMPAIGN=50` is 100,000
//! boards and 200 kills; the short size is 2,000 and 4. Each figure is printed beside its limit,
//! which is for the large size and a release build; that no question walks over all boards where an
//! index knows the answer holds anywhere, and is asserted beside the questions.

#![allow(
    clippy::expect_used,
    clippy::panic,
    clippy::unwrap_used,
    reason = "a test fails by panicking"
)]

mod boarded;
mod history;

use history::{boards, job};
use rand::{RngExt, SeedableRng};
use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::mpsc;
use std::time::{Duration, Instant};

/// Boards in one job folder.
const IN_ONE: usize = 100;
/// Any answer comes within this, at 100,000 boards and in a release build.
const ANSWER_MS: f64 = 200.0;
/// So many boards a second are taken in at least, in a release build.
const REBUILD_RATE: f64 = 5000.0;

const fn kept(is_kept: bool) -> &'static str {
    if is_kept { "met" } else { "NOT MET" }
}

fn size() -> usize {
    std::env::var("COILMARK_CAMPAIGN").ok().and_then(|n| n.parse().ok()).unwrap_or(1)
}

fn command(data: &Path, words: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_coilmark"));
    command.args(words).env("COILMARK_DATA", data).stdin(Stdio::null()).env("TZ", "UTC");
    command
}

fn ask(data: &Path, words: &[&str]) -> (String, Duration) {
    let began = Instant::now();
    let output = command(data, words).output().unwrap();
    let took = began.elapsed();
    assert!(output.status.success(), "{words:?}: {}", String::from_utf8_lossy(&output.stderr));
    (String::from_utf8(output.stdout).unwrap(), took)
}

/// Makes so many boards in job folders.
fn folders(root: &Path, count: usize) {
    let start = boarded::start(boarded::plan("changeover-12v"), None);
    for (n, lot) in boards(7, count).chunks(IN_ONE).enumerate() {
        job(&root.join(format!("job-{n:04}")), &start, lot);
    }
}

#[test]
fn any_answer_comes_at_once_and_a_history_is_made_again_fast() {
    let folder = tempfile::tempdir().unwrap();
    let (jobs, data) = (folder.path().join("jobs"), folder.path().join("data"));
    let count = 2000 * size();
    folders(&jobs, count);
    let (said, took) = ask(&data, &["history", "rebuild", jobs.to_str().unwrap()]);
    assert!(said.contains(&format!("{count} boards new, {count} in all")), "{said}");
    let rate = count as f64 / took.as_secs_f64();
    println!(
        "{rate:>8.0} boards/s (at least {REBUILD_RATE:.0}: {}) rebuild, {count} boards in {:.2} s",
        kept(rate >= REBUILD_RATE),
        took.as_secs_f64()
    );
    let serial = "S7-000123";
    let questions: [&[&str]; 10] = [
        &["history", "--simulated"],
        &["history", "list", "--most", "100", "--simulated", "--result", "fail"],
        &["history", "list", "--simulated", "--serial", serial],
        &["history", "yields", "--simulated"],
        &["history", "failures", "--simulated"],
        &["history", "capability", "--simulated"],
        &["history", "drift", "--simulated", "--json"],
        &["history", "yields", "--simulated", "--plan", "invented plan", "--since", "2025-10-20"],
        &["history", "failures", "--simulated", "--since", "2025-10-20", "--result", "fail"],
        &["history", "list", "--simulated", "--plan", "no such plan", "--json"],
    ];
    for words in questions {
        let (said, took) = ask(&data, words);
        let took_ms = took.as_secs_f64() * 1e3;
        let met = kept(took_ms < ANSWER_MS);
        println!("{took_ms:>8.1} ms (under {ANSWER_MS:.0}: {met}) {}", words.join(" "));
        assert!(said.lines().count() > 1 || words.contains(&"--json"), "{words:?}: {said}");
    }
    let (said, _) = ask(&data, &["history", "--simulated", "--serial", serial]);
    assert!(said.contains(serial), "{said}");
}

#[test]
fn two_writers_killed_at_random_lose_nothing_and_double_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let (jobs, data) = (folder.path().join("jobs"), folder.path().join("data"));
    let kills = 4 * size();
    folders(&jobs, 1000);
    let seed = 11;
    println!("seed {seed}");
    let mut chance = rand_pcg::Pcg64::seed_from_u64(seed);
    let words = ["history", "rebuild", jobs.to_str().unwrap()];
    let (_never, wait) = mpsc::channel::<()>();
    let (mut killed, mut rounds) = (0, 0);
    while killed < kills {
        rounds += 1;
        assert!(rounds <= 20 * kills, "writers are done before they can be killed");
        let mut writers: Vec<_> = (0..2)
            .map(|_| {
                command(&data, &words).stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap()
            })
            .collect();
        for writer in &mut writers {
            let _ = wait.recv_timeout(Duration::from_millis(chance.random_range(1..250)));
            writer.kill().unwrap();
            killed += usize::from(writer.wait().unwrap().code().is_none());
        }
        let file = data.join("history.sqlite3");
        if let Ok(database) = rusqlite::Connection::open(&file) {
            database.busy_timeout(Duration::from_secs(20)).unwrap();
            let check = "PRAGMA integrity_check";
            let whole: String = database.query_row(check, [], |row| row.get(0)).unwrap();
            assert_eq!(whole, "ok");
        }
        if chance.random_range(0..4) == 0 {
            let _ = std::fs::remove_dir_all(&data);
        }
    }
    let (said, _) = ask(&data, &words);
    assert!(said.contains("1000 in all"), "{said}");
    let (said, _) = ask(&data, &["history", "yields", "--simulated", "--json"]);
    let rows: serde_json::Value = serde_json::from_str(&said).unwrap();
    let tests = rows["rows"].as_array().unwrap().iter().map(|row| row["tests"].as_u64().unwrap());
    assert_eq!(tests.sum::<u64>(), 1000);
    let (said, _) = ask(&data, &["history", "capability", "--simulated", "--json"]);
    let rows: serde_json::Value = serde_json::from_str(&said).unwrap();
    // Two of the invented checks never have a value.
    let counts = rows["rows"].as_array().unwrap().iter().map(|row| row["count"].as_u64().unwrap());
    let (whole, none) = counts.partition::<Vec<_>, _>(|count| *count == 1000);
    assert!(whole.len() == 10 && none == [0, 0], "{rows}");
    println!("{killed} writers were killed at work, of {} begun", 2 * rounds);
}
