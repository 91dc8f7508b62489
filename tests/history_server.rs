//! The history on a real PostgreSQL server, which is made and started here and ends with its test:
//! the same answers as from SQLite over the same boards, two writers at once, and writers of the
//! real program that are killed at work. Wants `initdb` and `pg_ctl`, on the path or where Debian
//! has them; a server refuses to run as root, so that there it runs as another user.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "what a test rests on and does not find fails the test"
)]

mod boarded;
mod history;

use coilmark::archive::{Archive, Filter, Record};
use history::{Made, boards, job};
use rand::{RngExt, SeedableRng};
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::sync::mpsc;
use std::time::Duration;

/// A server of a test's own, on a socket in its folder and on no port.
struct Server {
    folder: tempfile::TempDir,
    control: PathBuf,
}

/// Where a program of the server's is.
fn found(name: &str) -> Option<PathBuf> {
    let path = std::env::var_os("PATH").unwrap_or_default();
    let debian = std::fs::read_dir("/usr/lib/postgresql").into_iter().flatten().flatten();
    let debian = debian.map(|version| version.path().join("bin"));
    let folders = std::env::split_paths(&path).chain(debian);
    folders.map(|folder| folder.join(name)).find(|file| file.is_file())
}

/// A command by a user whom the server does not refuse.
fn as_user(program: &Path) -> Command {
    if !rustix::process::getuid().is_root() {
        return Command::new(program);
    }
    let mut command = Command::new("setpriv");
    command.args(["--reuid=65534", "--regid=65534", "--clear-groups"]).arg(program);
    command
}

fn done(command: &mut Command) -> Output {
    let output = command.stdin(Stdio::null()).output().unwrap();
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(output.status.success(), "{command:?}: {said}");
    output
}

impl Server {
    /// Makes and starts one; none where there is nothing to make it with.
    fn start() -> Option<Self> {
        let (Some(init), Some(control)) = (found("initdb"), found("pg_ctl")) else {
            eprintln!("skipped: needs initdb and postgres");
            return None;
        };
        let folder = tempfile::tempdir().unwrap();
        if rustix::process::getuid().is_root() {
            done(Command::new("chown").arg("65534:65534").arg(folder.path()));
        }
        let data = folder.path().join("data");
        let usual = ["--username=bench", "--auth=trust", "--no-sync", "--encoding=UTF8"];
        done(as_user(&init).current_dir(folder.path()).args(usual).arg("-D").arg(&data));
        let server = Self { folder, control };
        let socket = server.folder.path().display();
        let options = format!("-c listen_addresses= -c unix_socket_directories={socket}");
        let log = server.folder.path().join("log");
        // It is up when this returns.
        let mut begin = server.control(&["start", "-w", "-t", "60", "-o", &options, "-l"]);
        let status = begin.arg(&log).stdout(Stdio::null()).stderr(Stdio::null()).status().unwrap();
        assert!(status.success(), "{}", std::fs::read_to_string(&log).unwrap_or_default());
        Some(server)
    }

    fn control(&self, words: &[&str]) -> Command {
        let mut command = as_user(&self.control);
        command.current_dir(self.folder.path()).arg("-D").arg(self.folder.path().join("data"));
        command.args(words).stdin(Stdio::null());
        command
    }

    fn url(&self) -> String {
        let host = self.folder.path().display().to_string().replace('/', "%2F");
        format!("postgres://bench:secret@{host}/postgres")
    }

    fn archive(&self) -> Archive {
        Archive::open_server(&self.url()).unwrap()
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        let mut end = self.control(&["stop", "-w", "-m", "immediate"]);
        let _ = end.stdout(Stdio::null()).stderr(Stdio::null()).status();
    }
}

fn records(made: &[Made]) -> Vec<Record<'_>> {
    made.iter().map(Made::record).collect()
}

fn simulated() -> Filter {
    Filter { simulated: true, ..Filter::default() }
}

/// Filters that each let something else through.
fn filters(made: &[Made]) -> Vec<Filter> {
    let text = |text: &str| Some(text.to_owned());
    let day = text(&made[100].day);
    vec![
        simulated(),
        Filter::default(),
        Filter { result: text("fail"), ..simulated() },
        Filter { serial: text(&made[7].finding.serial), ..simulated() },
        Filter { since: day.clone(), ..simulated() },
        Filter { until: day, plan: text("invented plan"), ..simulated() },
        Filter { plan: text("' OR 1=1 --"), ..simulated() },
    ]
}

#[test]
fn a_server_answers_as_a_file_does() {
    let Some(server) = Server::start() else { return };
    let made = boards(8, 400);
    let folder = tempfile::tempdir().unwrap();
    let mut file = Archive::open(&folder.path().join("h.sqlite3")).unwrap();
    let mut served = server.archive();
    for archive in [&mut file, &mut served] {
        assert_eq!(archive.put(&records(&made)).unwrap(), 400);
        assert_eq!(archive.put(&records(&made[..50])).unwrap(), 0, "twice is once");
        assert_eq!(archive.count().unwrap(), 400);
    }
    for filter in filters(&made) {
        let named = format!("{filter:?}");
        assert_eq!(served.list(&filter, 30).unwrap(), file.list(&filter, 30).unwrap(), "{named}");
        assert_eq!(served.yields(&filter).unwrap(), file.yields(&filter).unwrap(), "{named}");
        assert_eq!(served.failures(&filter).unwrap(), file.failures(&filter).unwrap(), "{named}");
        assert_eq!(served.measured(&filter).unwrap(), file.measured(&filter).unwrap(), "{named}");
        let exported = |archive: &Archive| {
            let mut out = Vec::new();
            archive.export(&filter, &mut out).unwrap();
            String::from_utf8(out).unwrap()
        };
        assert_eq!(exported(&served), exported(&file), "{named}");
    }
    assert_eq!(served.measured(&simulated()).unwrap().len(), 12);
    assert_eq!(served.list(&simulated(), 1000).unwrap().len(), 400);
    // One that is opened anew finds what is there; one that is emptied can be filled again.
    assert_eq!(server.archive().count().unwrap(), 400);
    served.clear().unwrap();
    assert_eq!((served.count().unwrap(), served.put(&records(&made)).unwrap()), (0, 400));
}

#[test]
fn two_writers_on_a_server_lose_nothing_and_double_nothing() {
    let Some(server) = Server::start() else { return };
    let made = boards(9, 120);
    std::thread::scope(|scope| {
        for begin in [0, 40] {
            let (made, server) = (&made, &server);
            scope.spawn(move || {
                let mut archive = server.archive();
                for lot in made[begin..begin + 80].chunks(3) {
                    archive.put(&records(lot)).unwrap();
                }
            });
        }
    });
    let archive = server.archive();
    assert_eq!(archive.count().unwrap(), 120);
    let counted = |m: &coilmark::archive::Measured| m.days.iter().map(|d| d.count).sum::<u64>();
    let counts: Vec<u64> = archive.measured(&simulated()).unwrap().iter().map(counted).collect();
    assert_eq!(counts, [vec![120; 10], vec![0; 2]].concat());
}

fn program(words: &[&str], archive: &str, data: &Path) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_coilmark"));
    command.arg("history").args(words).env("COILMARK_ARCHIVE", archive);
    command.env("COILMARK_DATA", data).env("TZ", "UTC").stdin(Stdio::null());
    command
}

#[test]
fn writers_killed_at_work_leave_a_server_whole_and_the_program_answers_from_it() {
    let Some(server) = Server::start() else { return };
    let folder = tempfile::tempdir().unwrap();
    let jobs = folder.path().join("jobs");
    let start = boarded::start(boarded::plan("changeover-12v"), None);
    for (n, lot) in boards(10, 300).chunks(50).enumerate() {
        job(&jobs.join(format!("job-{n}")), &start, lot);
    }
    let rebuild = ["rebuild", jobs.to_str().unwrap()];
    let mut chance = rand_pcg::Pcg64::seed_from_u64(12);
    let (_never, wait) = mpsc::channel::<()>();
    for _ in 0..6 {
        let mut writers: Vec<_> = (0..2)
            .map(|_| {
                let mut command = program(&rebuild, &server.url(), folder.path());
                command.stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap()
            })
            .collect();
        for writer in &mut writers {
            let _ = wait.recv_timeout(Duration::from_millis(chance.random_range(1..120)));
            writer.kill().unwrap();
            writer.wait().unwrap();
        }
    }
    let said = done(&mut program(&rebuild, &server.url(), folder.path())).stdout;
    assert!(String::from_utf8_lossy(&said).contains("300 in all"));
    assert!(!folder.path().join("history.sqlite3").exists(), "a file was made beside the server");
    done(&mut program(&rebuild, "", folder.path()));
    for question in ["list", "yields", "failures", "capability", "drift"] {
        let words = [question, "--simulated", "--json"];
        let from_file = done(&mut program(&words, "", folder.path())).stdout;
        let url = server.url();
        let flagged = [&words[..], &["--archive", &url]].concat();
        assert_eq!(done(&mut program(&flagged, "", folder.path())).stdout, from_file, "{question}");
    }
}

#[test]
fn a_server_that_is_not_there_is_said_without_its_password() {
    let folder = tempfile::tempdir().unwrap();
    let url = format!(
        "postgres://bench:secret@{}/d",
        folder.path().display().to_string().replace('/', "%2F")
    );
    let output = program(&["yields"], &url, folder.path()).output().unwrap();
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(5), "{said}");
    assert!(said.contains("history server d: connecting") && said.contains("\nhint: "), "{said}");
    assert!(!said.contains("secret"), "{said}");
    let output = program(&["yields"], "other://h/d", folder.path()).output().unwrap();
    assert_eq!(output.status.code(), Some(2));
}
