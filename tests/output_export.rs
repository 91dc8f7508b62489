//! Parquet out of `coilmark analyse`: the bytes of a small file are what the format's specification
//! says, the result is the same with and without it, and a log is never written over. That other
//! tools read the same readings back is checked by `tests/reference/parquet_round_trip.py`. The
//! result's published schema holds for every log of `fixtures/logs`.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a test fails by panicking")]

use assert_cmd::Command;
use coilmark::logbook::ParquetWriter;
use std::path::Path;

fn run(args: &[&str], folder: &Path) -> (i32, String, String) {
    let out =
        Command::cargo_bin("coilmark").unwrap().args(args).current_dir(folder).output().unwrap();
    let text = |bytes: &[u8]| String::from_utf8(bytes.to_vec()).unwrap();
    (out.status.code().unwrap(), text(&out.stdout), text(&out.stderr))
}

const LOG: &str = "t_s,value,unit,overload\n0,0.002,V,0\n0.5,,V,1\n1,13.71,V,0\n";

#[test]
fn a_small_file_is_what_the_format_says() {
    let mut writer = ParquetWriter::begin(Vec::new()).unwrap();
    writer.readings(&[0.0], &[0.002]).unwrap();
    writer.overload(0.5).unwrap();
    writer.readings(&[1.0], &[13.71]).unwrap();
    let bytes = writer.finish().unwrap();
    assert!(bytes.starts_with(b"PAR1") && bytes.ends_with(b"PAR1"));
    // A data page header: type 0, 24 bytes twice, 3 values, plain, levels by runs (zigzag).
    let header = [0x15, 0, 0x15, 48, 0x15, 48, 0x2c, 0x15, 6, 0x15, 0, 0x15, 6, 0x15, 6, 0, 0];
    assert_eq!(bytes[4..21], header);
    assert_eq!(bytes[21..29], 0.0_f64.to_le_bytes());
    assert_eq!(bytes[29..37], 0.5_f64.to_le_bytes());
    // Levels: one present, one absent, one present; then the two values that are there.
    let volts = [&[6, 0, 0, 0, 2, 1, 2, 0, 2, 1][..], &0.002_f64.to_le_bytes()].concat();
    let at = bytes.windows(volts.len()).position(|w| w == volts).unwrap();
    assert_eq!(bytes[at + 18..at + 26], 13.71_f64.to_le_bytes());
    // The footer's length stands ahead of the last mark.
    let length = u32::from_le_bytes(bytes[bytes.len() - 8..bytes.len() - 4].try_into().unwrap());
    let footer = &bytes[bytes.len() - 8 - length as usize..bytes.len() - 8];
    assert_eq!(footer[..3], [0x15, 2, 0x19]);
    for name in ["t_s", "volts", "overload"] {
        assert!(footer.windows(name.len()).any(|w| w == name.as_bytes()), "{name}");
    }
}

#[test]
fn the_result_is_the_same_with_an_export() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("log.csv"), LOG).unwrap();
    let plain = run(&["analyse", "log.csv", "--json"], folder.path());
    let with = run(&["analyse", "log.csv", "--json", "--parquet", "log.parquet"], folder.path());
    assert_eq!(plain, with);
    assert_eq!(plain.0, 0);
    let file = std::fs::read(folder.path().join("log.parquet")).unwrap();
    assert!(file.ends_with(b"PAR1"));
    assert!(!folder.path().join("log.parquet.part").exists());
}

#[test]
fn a_log_is_never_written_over_and_a_bad_one_leaves_no_file() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("log.csv"), LOG).unwrap();
    for flag in ["--parquet", "--html"] {
        let (exit, _, said) = run(&["analyse", "log.csv", flag, "./log.csv"], folder.path());
        assert_eq!(exit, 2, "{said}");
        assert!(said.contains("the log itself") && said.contains("\nhint: "), "{said}");
    }
    assert_eq!(std::fs::read_to_string(folder.path().join("log.csv")).unwrap(), LOG);
    std::fs::write(folder.path().join("bad.csv"), "a,b\n1,2\n").unwrap();
    let (exit, ..) = run(&["analyse", "bad.csv", "--parquet", "bad.parquet"], folder.path());
    assert_eq!(exit, 2);
    let nowhere = run(&["analyse", "log.csv", "--parquet", "no/where.parquet"], folder.path());
    assert_eq!(nowhere.0, 5, "{}", nowhere.2);
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 2);
}

#[test]
fn every_result_is_as_the_published_schema_says() {
    let fixtures = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/logs");
    let (_, schema, _) = run(&["schema", "output"], &fixtures);
    let schema: serde_json::Value = serde_json::from_str(&schema).unwrap();
    let validator = jsonschema::validator_for(&schema).unwrap();
    let mut seen = 0;
    for entry in std::fs::read_dir(&fixtures).unwrap() {
        let name = entry.unwrap().file_name().into_string().unwrap();
        if name == "truth.csv" {
            continue;
        }
        let (_, stdout, _) = run(&["analyse", &name, "--json"], &fixtures);
        let mut result: serde_json::Value = serde_json::from_str(&stdout).unwrap();
        assert!(validator.is_valid(&result), "{name}: {stdout}");
        result["shape"] = "sideways".into();
        assert!(!validator.is_valid(&result), "{name}");
        seen += 1;
    }
    assert_eq!(seen, 9);
}
