//! Reads the fixture files for unit tests: recorded or composed bytes of meters, one case a
//! file, named for the case. Only compiled for tests, where a missing file is a failed test. What
//! a case should give stands in the test that reads it.

use std::path::{Path, PathBuf};

/// One fixture: its name and its bytes.
pub(crate) struct Fixture {
    pub name: String,
    pub bytes: Vec<u8>,
}

/// The fixtures of lines, in the order of their names.
pub(crate) fn line_fixtures() -> Vec<Fixture> {
    let mut paths: Vec<PathBuf> =
        std::fs::read_dir(folder("lines")).unwrap().map(|entry| entry.unwrap().path()).collect();
    paths.sort();
    assert!(paths.len() >= 6, "fixtures are missing");
    paths
        .into_iter()
        .map(|path| Fixture {
            name: path.file_name().unwrap().to_string_lossy().into_owned(),
            bytes: std::fs::read(&path).unwrap(),
        })
        .collect()
}

/// The rows of a reference table, without its head; fields are split at commas outside quotes.
pub(crate) fn reference_rows(file: &str) -> Vec<Vec<String>> {
    let text = std::fs::read_to_string(folder("reference").join(file)).unwrap();
    text.lines().filter(|line| !line.starts_with("# ")).skip(1).map(split_row).collect()
}

fn folder(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures").join(name)
}

fn split_row(line: &str) -> Vec<String> {
    let mut fields = vec![String::new()];
    let mut quoted = false;
    let mut chars = line.chars().peekable();
    while let Some(c) = chars.next() {
        match c {
            '"' if quoted && chars.peek() == Some(&'"') => {
                chars.next();
                fields.last_mut().unwrap().push('"');
            }
            '"' => quoted = !quoted,
            ',' if !quoted => fields.push(String::new()),
            c => fields.last_mut().unwrap().push(c),
        }
    }
    fields
}
