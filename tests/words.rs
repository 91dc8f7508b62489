//! One spelling per term: the words that people read (comments, texts in the code, the project's
//! pages, profiles and panels) are British, and the trade's terms are written one way. A row names
//! what is not to be written and what is; where code itself needs the other spelling (a style
//! sheet's `color`, a crate's type), the words of the code are not looked at, only its texts.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test fails by panicking")]

use std::path::{Path, PathBuf};

/// Not this, but that. Parts of words count only whole.
const WORDS: [(&str, &str); 45] = [
    // Terms of the trade: the table of words in DEVELOPERS.md.
    ("pull-in", "pick-up"),
    ("pull in voltage", "pick-up voltage"),
    ("drop out voltage", "drop-out voltage"),
    ("dropout voltage", "drop-out voltage"),
    ("release voltage", "drop-out voltage"),
    ("change-over", "changeover"),
    ("change over contact", "changeover contact"),
    ("probe", "lead"),
    ("probes", "leads"),
    ("test lead", "lead"),
    ("jumper", "link"),
    ("power supply", "supply"),
    ("EOL", "end of line"),
    ("eolr", "end-of-line resistor"),
    ("tripped", "violated"),
    ("freewheel diode", "suppression diode"),
    ("contact bounce time", "bounce"),
    ("filename", "file name"),
    ("multi-meter", "multimeter"),
    // British spelling.
    ("energized", "energised"),
    ("energize", "energise"),
    ("de-energized", "at rest"),
    ("analyze", "analyse"),
    ("analyzed", "analysed"),
    ("behavior", "behaviour"),
    ("color", "colour"),
    ("colors", "colours"),
    ("colored", "coloured"),
    ("neighbor", "neighbour"),
    ("neighboring", "neighbouring"),
    ("favor", "favour"),
    ("gray", "grey"),
    ("center", "centre"),
    ("judgment", "judgement"),
    ("labeled", "labelled"),
    ("canceled", "cancelled"),
    ("modeled", "modelled"),
    ("signaled", "signalled"),
    ("recognize", "recognise"),
    ("normalize", "normalise"),
    ("normalized", "normalised"),
    ("initialize", "initialise"),
    ("summarize", "summarise"),
    ("minimize", "minimise"),
    ("optimize", "optimise"),
];

/// Where a spelling has its reason.
const MAY: [(&str, &str, &str); 5] = [
    ("tests/words.rs", "", "the rows themselves"),
    ("src/run/opening.rs", "probe", "what a service does to fresh ports"),
    ("drivers/src/trial.rs", "probe", "the same"),
    ("drivers/src/trial/tests.rs", "probe", "the same"),
    ("tests/program_words.rs", "probe", "the name of a folder"),
];

/// The words of a text, with hyphens inside them, in small letters.
fn words(text: &str) -> Vec<String> {
    let inside = |c: char| c.is_alphanumeric() || c == '-' || c == '_' || c == '\'';
    let split = text.split(|c: char| !inside(c)).filter(|word| !word.is_empty());
    split.map(str::to_lowercase).collect()
}

/// The rows that a text offends.
fn offends(text: &str) -> Vec<(&'static str, &'static str)> {
    let said = words(text);
    let holds = |wrong: &str| {
        let wrong = words(wrong);
        said.windows(wrong.len()).any(|part| part == wrong)
    };
    WORDS.into_iter().filter(|(wrong, _)| holds(wrong)).collect()
}

/// What of a line of Rust is text: comments and what stands between quotes. A style sheet, or a
/// command that is quoted, is code in a text.
fn texts(line: &str) -> String {
    let mut text = String::new();
    let mut rest = line;
    let mut quoted = false;
    while let Some(at) = rest.find(['"', '/']) {
        let (head, tail) = rest.split_at(at);
        if quoted {
            text.push_str(head);
        }
        if tail.starts_with("//") && !quoted && !head.ends_with(':') {
            return text + " " + tail;
        }
        quoted ^= tail.starts_with('"') && !head.ends_with('\\');
        text.push(' ');
        rest = &tail[1..];
    }
    if quoted {
        text.push_str(rest);
    }
    text
}

fn is_code_in_a_text(line: &str) -> bool {
    ["color:", "currentColor", "text-align", "text-anchor", "Color::", "`", "--color", "serde("]
        .iter()
        .any(|sign| line.contains(sign))
}

fn walk(folder: &Path, files: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).unwrap().flatten() {
        let path = entry.path();
        if path.is_dir() {
            walk(&path, files);
        } else if path.extension().is_some_and(|end| end == "rs" || end == "toml" || end == "md") {
            files.push(path);
        }
    }
}

#[test]
fn each_term_has_one_spelling() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut files = vec![root.join("README.md"), root.join("DEVELOPERS.md")];
    for folder in ["src", "drivers/src", "drivers/profiles", "drivers/tests", "tests", "fixtures"] {
        walk(&root.join(folder), &mut files);
    }
    assert!(files.len() > 300, "only {} files found: is the tree here?", files.len());
    let mut found = Vec::new();
    for path in files {
        let name = path.strip_prefix(root).unwrap().to_string_lossy().into_owned();
        let whole = std::fs::read_to_string(&path).unwrap_or_default();
        for (line, number) in whole.lines().zip(1..) {
            let text = if name.ends_with(".rs") { texts(line) } else { line.to_owned() };
            if is_code_in_a_text(line) {
                continue;
            }
            for (wrong, right) in offends(&text) {
                if !MAY.iter().any(|(file, word, _)| name == *file && wrong.contains(word)) {
                    found.push(format!("{name}:{number}: `{wrong}`, not `{right}`"));
                }
            }
        }
    }
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn a_wrong_word_is_found_in_texts_and_only_there() {
    let of = |line: &str| offends(&texts(line)).len();
    assert_eq!(of("// The coil is energized."), 1);
    assert_eq!(of("let x = \"it is de-energized now\";"), 1);
    assert_eq!(of("/// Pull-in, in volts"), 1);
    assert_eq!(of("let color = probe.center();"), 0, "the words of the code");
    assert_eq!(of("// An energizer's output, energised; pick-up and drop-out."), 0);
    assert_eq!(of("let at = \"https://x\"; // gray"), 1);
}
