//! One spelling per term: the words that people read (comments, texts in the code, the project's
//! pages, profiles and panels) are British, and the trade's terms are written one way. A row names
//! what is not to be written and what is; where code itself needs the other spelling (a style
//! sheet's `color`, a crate's type), the words of the code are not looked at, only its texts.

#[path = "house/source.rs"]
#[allow(dead_code, reason = "the rules of the house use the rest of it")]
mod source;

use source::{Source, walk};
use std::path::Path;

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
const MAY: [(&str, &str, &str); 6] = [
    ("tests/words.rs", "", "the rows themselves"),
    ("src/run/opening.rs", "probe", "what a service does to fresh ports"),
    ("drivers/src/trial.rs", "probe", "the same"),
    ("drivers/tests/failures.rs", "probe", "the same"),
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

/// A text without what it quotes from code, and nothing of a line that is a style sheet's.
fn prose(text: &str) -> String {
    let style = ["color:", "currentColor", "text-align", "text-anchor"];
    if style.iter().any(|sign| text.contains(sign)) {
        return String::new();
    }
    text.split('`').step_by(2).collect::<Vec<_>>().join(" ")
}

/// The lines of a file that people read, with their numbers.
fn read_lines(path: &str, whole: &str) -> Vec<(usize, String)> {
    let lines = |text: &str, from: usize| -> Vec<(usize, String)> {
        (from..).zip(text.lines()).map(|(number, line)| (number, prose(line))).collect()
    };
    match path.ends_with(".rs") {
        true => {
            let texts = Source::read(path, whole).texts;
            texts.iter().flat_map(|text| lines(&text.text, text.line)).collect()
        }
        false => lines(whole, 1),
    }
}

#[test]
fn each_term_has_one_spelling() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut files = vec!["README.md".to_owned(), "DEVELOPERS.md".to_owned()];
    for folder in ["src", "drivers", "tests", "fixtures"] {
        walk(root, Path::new(folder), &mut files);
    }
    files.retain(|path| [".rs", ".toml", ".md"].iter().any(|end| path.ends_with(end)));
    assert!(files.len() > 300, "only {} files found: is the tree here?", files.len());
    let mut found = Vec::new();
    for path in files {
        let whole = std::fs::read_to_string(root.join(&path)).unwrap_or_default();
        for (number, text) in read_lines(&path, &whole) {
            for (wrong, right) in offends(&text) {
                if !MAY.iter().any(|(file, word, _)| path == *file && wrong.contains(word)) {
                    found.push(format!("{path}:{number}: `{wrong}`, not `{right}`"));
                }
            }
        }
    }
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn a_wrong_word_is_found_in_texts_and_only_there() {
    let of = |line: &str| -> usize {
        read_lines("a.rs", line).iter().map(|(_, text)| offends(text).len()).sum()
    };
    assert_eq!(of("// The coil is energized."), 1);
    assert_eq!(of("// The `gray` coil is energized."), 1, "beside a word of the code");
    assert_eq!(of("let x = \"it is de-energized now\";"), 1);
    assert_eq!(of("let x = r#\"\nit is \"gray\"\"#;"), 1);
    assert_eq!(of("/// Pull-in, in volts"), 1);
    assert_eq!(of("let color = probe.center();"), 0, "the words of the code");
    assert_eq!(of("// An energizer's output, energised; pick-up and drop-out."), 0);
    assert_eq!(of("let at = \"https://x\"; // gray"), 1);
}
