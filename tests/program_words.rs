//! Words that the program cannot obey: each is refused with its exit code, one message that names
//! the culprit and one hint, on standard error, with nothing on standard output. And what needs
//! no meter: the demonstration, reports, help, schemas.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "what a test rests on and does not find fails the test"
)]

mod program;

use program::*;
use std::os::unix::fs::PermissionsExt;
use std::path::Path;

/// The words of an identification, of which one is wrong.
fn identify<'a>(job: &'a str, words: &[&'a str]) -> Vec<&'a str> {
    [&["identify", "--operator", "json", "--job", job], words].concat()
}

/// A `sim:` link to a relay fixture.
fn sim(name: &str) -> String {
    format!("sim:{}", relay_file(name).display())
}

/// A relay file with one thing replaced.
fn edited(job: &Job, from: &str, to: &str) -> String {
    let text = std::fs::read_to_string(relay_file("changeover_1_pole")).unwrap();
    assert!(text.contains(from));
    let file = job.home().join("edited.toml");
    std::fs::write(&file, text.replacen(from, to, 1)).unwrap();
    file.display().to_string()
}

#[track_caller]
fn refused(words: &[&str], culprits: &[&str]) {
    Program::run(words).refuses(2, culprits);
}

#[test]
fn a_relay_file_that_is_not_there_or_wrong_is_named() {
    let job = Job::new();
    let missing = "sim:no/such/relay.toml";
    refused(&identify(&job.word(), &["--meter", missing, "--pins", "5"]), &["no/such/relay.toml"]);
    refused(&["bench", "--relay", "no/such/relay.toml"], &["no/such/relay.toml"]);
    let file = edited(&job, "ohms = 360.0", "omhs = 360.0");
    let link = format!("sim:{file}");
    let culprits = ["edited.toml:8", "omhs", "`ohms`"];
    refused(&identify(&job.word(), &["--meter", &link, "--pins", "5"]), &culprits);
    refused(&["bench", "--relay", &file], &culprits);
    let file = edited(&job, "pins = 5", "pins = \"\\u001b[2J\"");
    refused(&["bench", "--relay", &file], &["edited.toml:3"]);
    let folder = job.home().display().to_string();
    refused(&["bench", "--relay", &folder], &[&folder]);
    assert!(!job.dir().exists(), "nothing was begun");
}

#[test]
fn pins_that_no_part_has_are_refused() {
    let job = Job::new();
    let link = sim("changeover_1_pole");
    for (pins, culprit) in [
        ("1", "1 pins"),
        ("0", "0 pins"),
        ("200", "200 pins"),
        ("99999999999999999999999", "99999999999999999999999"),
        ("A,A", "`A`"),
        ("A,,B", "``"),
        ("A,ninechars", "ninechars"),
        ("A,\u{1b}[2J", "\\u{1b}"),
    ] {
        let words = ["--meter", &link, "--pins", pins];
        refused(&identify(&job.word(), &words), &["--pins", culprit]);
    }
    assert!(!job.dir().exists(), "nothing was begun");
}

#[test]
fn terms_that_do_not_fit_are_refused() {
    let job = Job::new();
    let link = sim("changeover_1_pole");
    let cases: [(&[&str], &[&str]); 13] = [
        (&["--pins", "8", "--footprint", "3+3"], &["--footprint", "3+3", "6", "8"]),
        (&["--pins", "8", "--footprint", "four"], &["--footprint", "four"]),
        (&["--pins", "8", "--confidence", "2"], &["--confidence", "2"]),
        (&["--pins", "8", "--confidence", "NaN"], &["--confidence", "NaN"]),
        (&["--pins", "8", "--confidence", "high"], &["--confidence", "high"]),
        (&["--pins", "8", "--volts-max", "1000"], &["--volts-max", "1000"]),
        (&["--pins", "8", "--coil-watts-max", "0"], &["--coil-watts-max", "0"]),
        (&["--pins", "8", "--ambient-celsius", "400"], &["--ambient-celsius", "400"]),
        (&["--pins", "8", "--reconnect-for", "30"], &["--reconnect-for", "30"]),
        (&["--pins", "8", "--reconnect-for=-1s"], &["--reconnect-for", "-1s"]),
        (&["--pins", "8", "--numbering", "up"], &["--numbering", "up"]),
        (&["--pins", "8", "--no-such-flag"], &["--no-such-flag"]),
        (&[], &["--pins"]),
    ];
    for (words, culprits) in cases {
        let words = [&["--meter", link.as_str()], words].concat();
        refused(&identify(&job.word(), &words), culprits);
    }
    let words = ["identify", "--operator", "telepathy", "--meter", &link, "--pins", "5"];
    refused(&words, &["--operator", "telepathy"]);
    assert!(!job.dir().exists(), "nothing was begun");
}

#[test]
fn a_drawn_footprint_is_taken_from_its_file_and_a_wrong_one_is_named() {
    let job = Job::new();
    let file = job.home().join("part.txt");
    let drawing = file.display().to_string();
    let meter = format!("{}?hands=alone", sim("changeover_1_pole"));
    let dir = job.word();
    let words = ["--meter", &meter, "--pins", "5", "--footprint", &drawing];
    std::fs::write(&file, "1 . 2\n\n3 4 6\n").unwrap();
    refused(&identify(&dir, &words), &["part.txt", "row 2", "`6`"]);
    let gone = format!("{drawing}.gone");
    let misspelt = ["--meter", &meter, "--pins", "5", "--footprint", &gone];
    refused(&identify(&dir, &misspelt), &["part.txt.gone", "name of a drawing"]);
    std::fs::write(&file, "# nothing yet\n").unwrap();
    refused(&identify(&dir, &words), &["part.txt", "nothing is drawn"]);
    std::fs::write(&file, "1 . 2  # the coil end\n. 3 .\n4 . 5\n").unwrap();
    let words = [&identify(&dir, &words)[..], &["--hand-seconds", "3,6,0"]].concat();
    Program::run(&words).exits(0);
    // The record keeps what was drawn, so it is whole without the file.
    let record = std::fs::read_to_string(Path::new(&dir).join("journal.jsonl")).unwrap();
    assert!(record.contains("/ 1 . 2 / . 3 . / 4 . 5"), "{record}");
    assert!(record.contains("\"two_leads_s\":6"), "{record}");
    refused(
        &identify(&dir, &["--meter", &meter, "--pins", "5", "--hand-seconds", "3,x,0"]),
        &["3,x,0"],
    );
}

#[test]
fn words_that_are_no_command_are_refused() {
    refused(&["identfy"], &["identfy"]);
    refused(&["schema", "everything"], &["everything"]);
    refused(&["report"], &["DIR"]);
    refused(&["\u{1b}[2J"], &[]);
    refused(&["demo", "--seed", "many"], &["--seed", "many"]);
    refused(&["bench", "--relay", "x", "--tcp", "a", "--name", "b"], &["--tcp", "--name"]);
    let file = relay_file("make_1_pole").display().to_string();
    refused(&["bench", "--relay", &file, "--tcp", "nowhere"], &["--tcp", "nowhere"]);
}

#[test]
fn a_link_that_cannot_be_understood_is_named() {
    let job = Job::new();
    for (link, culprit) in [
        ("", "link"),
        ("telepathy:x", "telepathy"),
        ("/dev/ttyUSB0", "/dev/ttyUSB0"),
        ("serial:", "serial:"),
        ("serial:/dev/x?baud=fast", "fast"),
        ("serial:/dev/x?speed=1", "speed"),
        ("tcp:host", "tcp:host"),
        ("tcp:host:70000", "70000"),
        ("tcp:[::1:5025", "bracket"),
        ("usbtmc:", "usbtmc:"),
        ("usbtmc:\u{1b}[2J\u{202e}", "usbtmc:"),
    ] {
        refused(&identify(&job.word(), &["--meter", link, "--pins", "5"]), &[culprit]);
        refused(&["meters", "--try", link], &[culprit]);
    }
    let link = format!("{}?hands=many", sim("make_1_pole"));
    refused(&identify(&job.word(), &["--meter", &link, "--pins", "4"]), &["hands=many"]);
    assert!(!job.dir().exists(), "nothing was begun");
}

#[test]
fn a_profile_that_is_not_there_or_wrong_is_named() {
    let job = Job::new();
    let link = sim("changeover_1_pole");
    let with = |profile: &str, culprits: &[&str]| {
        let words = ["--meter", &link, "--pins", "5", "--profile", profile];
        refused(&identify(&job.word(), &words), culprits);
    };
    with("ascii-line", &["ascii-line", "ascii-lines"]);
    with("no/such/profile.toml", &["no/such/profile.toml"]);
    let file = job.home().join("mine.toml");
    let file_word = file.display().to_string();
    std::fs::write(&file, "name = \"mine\"\nkind = \"scpi\"\ntimout_ms = 500\n").unwrap();
    with(&file_word, &[&file_word, "timout_ms", "timeout_ms", "line 3"]);
    std::fs::write(&file, [0xff, 0xfe, 0x00]).unwrap();
    with(&file_word, &[&file_word]);
    assert!(!job.dir().exists(), "nothing was begun");
}

#[test]
fn a_folder_that_already_has_a_record_is_not_written_over() {
    let job = Job::new();
    std::fs::create_dir(job.dir()).unwrap();
    std::fs::write(job.file("journal.jsonl"), "kept\n").unwrap();
    let link = sim("changeover_1_pole");
    let words = ["--meter", &link, "--pins", "5"];
    refused(&identify(&job.word(), &words), &["journal.jsonl", "line 1"]);
    refused(&["demo", "--job", &job.word()], &["journal.jsonl", "already"]);
    assert_eq!(std::fs::read_to_string(job.file("journal.jsonl")).unwrap(), "kept\n");
}

#[test]
fn an_identification_that_broke_off_is_resumed_and_not_begun_beside_itself() {
    let job = Job::new();
    let (link, dir) = (sim("changeover_1_pole"), job.word());
    let words = ["--meter", &link, "--pins", "5"];
    let words = identify(&dir, &words);
    let _ = Program::run(&words).exits(4);
    let before = std::fs::read(job.file("journal.jsonl")).unwrap();
    refused(&words, &["journal.jsonl", "already", "resume"]);
    assert_eq!(std::fs::read(job.file("journal.jsonl")).unwrap(), before);
}

#[test]
fn a_folder_that_cannot_be_made_is_a_record_not_written() {
    let job = Job::new();
    let file = job.home().join("file");
    std::fs::write(&file, "").unwrap();
    let inside = file.join("job").display().to_string();
    let link = sim("changeover_1_pole");
    let words = identify(&inside, &["--meter", &link, "--pins", "5"]);
    Program::run(&words).refuses(5, &[&inside]);
    let sealed = job.home().join("sealed");
    std::fs::create_dir(&sealed).unwrap();
    std::fs::set_permissions(&sealed, std::fs::Permissions::from_mode(0o555)).unwrap();
    if std::fs::write(sealed.join("probe"), "").is_ok() {
        eprintln!("skipped: this user may write into folders that permit nobody to (root)");
        return;
    }
    let inside = sealed.join("job").display().to_string();
    let words = identify(&inside, &["--meter", &link, "--pins", "5"]);
    Program::run(&words).refuses(5, &[&inside]);
}

#[test]
fn an_empty_folder_is_no_job() {
    let job = Job::new();
    std::fs::create_dir(job.dir()).unwrap();
    refused(&["report", &job.word()], &["journal.jsonl"]);
    refused(&["report", "--json", &job.word()], &["journal.jsonl"]);
    refused(&["resume", &job.word()], &["journal.jsonl"]);
    refused(&["verify", &job.word()], &["journal"]);
    refused(&["verify", "no/such/folder"], &["no/such/folder"]);
    let listed: Vec<_> = std::fs::read_dir(job.dir()).unwrap().collect();
    assert!(listed.is_empty(), "{listed:?}");
}

/// Everything that the demonstration leaves behind, and what is made of it again.
#[test]
fn the_demonstration_shows_everything_and_says_that_it_is_simulated() {
    let job = Job::new();
    let shown = Program::run(&["demo", "--job", &job.word()]).exits(0);
    assert_eq!(shown.stderr, "");
    let text = shown.lines.join("\n");
    assert!(text.contains("SIMULATED") && text.contains("24 V"), "{text}");
    assert!(text.contains(&format!("report: {}", job.file("report.html").display())), "{text}");
    let read = |name: &str| std::fs::read(job.file(name)).unwrap();
    let files = ["journal.jsonl", "report.html", "report.json", "readings.csv"];
    let first = files.map(read);
    assert!(String::from_utf8_lossy(&first[1]).contains("SIMULATED"));
    let report: serde_json::Value = serde_json::from_slice(&first[2]).unwrap();
    assert_eq!(job.recorded("started")[0]["simulated"], true);
    assert!(!report.is_null() && first[3].contains(&b','));
    for _ in 0..2 {
        let again = Program::run(&["report", &job.word()]).exits(0);
        assert_eq!(again.lines.len(), 4, "{again:?}");
        assert_eq!(files.map(read), first, "not the same bytes");
    }
    let json = Program::run(&["report", "--json", &job.word()]).exits(0);
    assert_eq!(format!("{}\n", json.lines.join("\n")).into_bytes(), first[2]);
    let verified = Program::run(&["verify", &job.word()]).exits(0);
    assert!(verified.lines[0].contains("whole"), "{verified:?}");
    assert_eq!(files.map(read), first, "verifying changed something");
}

/// A report's two machine-readable sides are what the published schemas say.
#[test]
fn what_is_on_disk_is_by_the_published_schemas() {
    let fixture = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures");
    let job = Job::new();
    let link = format!("{}?hands=alone", sim("make_1_pole"));
    Program::run(&identify(&job.word(), &["--meter", &link, "--pins", "4"])).exits(0);
    let schema = |name: &str| {
        let text = Program::run(&["schema", name]).exits(0).lines.join("\n");
        jsonschema::validator_for(&serde_json::from_str(&text).unwrap()).unwrap()
    };
    let (line, report) = (schema("journal"), schema("report"));
    for entry in job.record() {
        assert!(line.is_valid(&entry), "{entry}");
    }
    assert!(!line.is_valid(&serde_json::json!({ "v": 1 })));
    let text = std::fs::read_to_string(job.file("report.json")).unwrap();
    assert!(report.is_valid(&serde_json::from_str(&text).unwrap()), "{text}");
    assert!(!report.is_valid(&serde_json::json!({})));
    let relay = schema("relay");
    let file = std::fs::read_to_string(fixture.join("relays/make_1_pole.toml")).unwrap();
    let table: toml::Table = file.parse().unwrap();
    assert!(relay.is_valid(&serde_json::to_value(table).unwrap()));
    assert!(!relay.is_valid(&serde_json::json!({ "pins": 4, "coyl": [] })));
}

#[test]
fn every_command_explains_itself() {
    let commands = ["demo", "meters", "identify", "resume", "report", "verify", "bench", "schema"];
    let all = Program::run(&["--help"]).exits(0);
    assert_eq!(all.stderr, "");
    for command in commands {
        assert!(all.lines.iter().any(|line| line.trim().starts_with(command)), "{command}");
        for word in ["--help", "-h"] {
            let help = Program::run(&[command, word]).exits(0);
            assert!(help.stderr.is_empty() && help.lines.len() > 3, "{command}: {help:?}");
            let wide = help.lines.iter().find(|line| line.chars().count() > 100);
            assert_eq!(wide, None, "{command}");
        }
    }
    let version = Program::run(&["--version"]).exits(0);
    assert_eq!(version.lines, [format!("coilmark {}", env!("CARGO_PKG_VERSION"))]);
}

#[test]
fn no_words_at_all_show_the_way_and_are_no_success() {
    let ended = Program::run::<&str>(&[]).exits(2);
    assert_eq!(ended.lines, Vec::<String>::new());
    assert!(ended.stderr.contains("coilmark demo"), "{}", ended.stderr);
}

#[test]
fn meters_are_listed_without_a_meter() {
    let listed = Program::run(&["meters"]).exits(0);
    assert!(!listed.lines.is_empty() && listed.stderr.is_empty(), "{listed:?}");
    let json = Program::run(&["meters", "--json"]).exits(0);
    let object: serde_json::Value = serde_json::from_str(&json.lines.join("\n")).unwrap();
    assert!(object["v"] == 1 && object["ports"].is_array(), "{object}");
}
