//! A job folder of a test's own, and the relay fixtures. The folder is not there yet, and goes
//! when the test is over. What is read from a record here is read as its lines stand on disk,
//! without the program's own reader; a last line without its end is left out.

use coilmark::bench::Part;
use serde_json::Value;
use std::path::{Path, PathBuf};

/// A job folder that is not there yet, in a temporary folder that is.
pub struct Job {
    home: tempfile::TempDir,
}

impl Job {
    /// A new one.
    pub fn new() -> Self {
        Self { home: tempfile::tempdir().expect("a temporary folder") }
    }

    /// The folder around it.
    pub fn home(&self) -> &Path {
        self.home.path()
    }

    /// The job folder.
    pub fn dir(&self) -> PathBuf {
        self.home.path().join("job")
    }

    /// The job folder as a word of a command line.
    pub fn word(&self) -> String {
        self.dir().display().to_string()
    }

    /// A file of the job.
    pub fn file(&self, name: &str) -> PathBuf {
        self.dir().join(name)
    }

    /// The record's whole lines.
    pub fn record(&self) -> Vec<Value> {
        let text = std::fs::read_to_string(self.file("journal.jsonl")).unwrap_or_default();
        let whole = text.rfind('\n').map_or("", |end| &text[..end]);
        whole.lines().map(|line| serde_json::from_str(line).expect("a line is JSON")).collect()
    }

    /// The events of this name in the record.
    pub fn recorded(&self, event: &str) -> Vec<Value> {
        self.record().into_iter().filter(|line| line["event"] == event).collect()
    }
}

/// A relay fixture's path.
pub fn relay_file(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("fixtures/relays/{name}.toml"))
}

/// An output fixture's path.
pub fn output_file(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("fixtures/outputs/{name}.toml"))
}

/// An output fixture.
pub fn output(name: &str) -> Part {
    Part::load(&output_file(name)).unwrap_or_else(|bad| panic!("{bad}"))
}

/// A relay fixture.
pub fn relay(name: &str) -> Part {
    Part::load(&relay_file(name)).unwrap_or_else(|bad| panic!("{bad}"))
}
