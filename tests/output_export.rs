//! Parquet out of `coilmark analyse` (feature `parquet`): every row comes back, in groups, the
//! result is the same with and without it, a log is never written over; a program without the
//! feature says so and leaves nothing behind. That other tools read the same readings back is
//! checked by `tests/reference/parquet_round_trip.py`. The result's published schema holds for
//! every log of `fixtures/logs`.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a test fails by panicking")]

use assert_cmd::Command;
use std::path::Path;

fn run(args: &[&str], folder: &Path) -> (i32, String, String) {
    let out =
        Command::cargo_bin("coilmark").unwrap().args(args).current_dir(folder).output().unwrap();
    let text = |bytes: &[u8]| String::from_utf8(bytes.to_vec()).unwrap();
    (out.status.code().unwrap(), text(&out.stdout), text(&out.stderr))
}

const LOG: &str = "t_s,value,unit,overload\n0,0.002,V,0\n0.5,,V,1\n1,13.71,V,0\n";

#[test]
#[cfg(not(feature = "parquet"))]
fn without_the_feature_it_says_how_to_get_it() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("log.csv"), LOG).unwrap();
    let (exit, stdout, said) =
        run(&["analyse", "log.csv", "--parquet", "log.parquet"], folder.path());
    assert_eq!((exit, stdout.as_str()), (2, ""), "{said}");
    assert!(said.contains("built without the feature parquet"), "{said}");
    assert!(said.contains("\nhint: ") && said.contains("--features parquet"), "{said}");
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1);
}

#[test]
#[cfg(feature = "parquet")]
fn every_row_comes_back_in_groups() {
    use parquet::file::reader::{FileReader, SerializedFileReader};
    use parquet::record::Field;
    let folder = tempfile::tempdir().unwrap();
    // Row i: i/100 s, and i/1000 V unless i is a multiple of 97, which is over the range.
    let volts = |i: u32| (!i.is_multiple_of(97)).then(|| format!("{}.{:03}", i / 1000, i % 1000));
    let row = |i: u32| {
        let volts = volts(i);
        let over = u8::from(volts.is_none());
        format!("{}.{:02},{},V,{over}\n", i / 100, i % 100, volts.unwrap_or_default())
    };
    let rows = 150_000;
    let log = "t_s,value,unit,overload\n".to_owned() + &(0..rows).map(row).collect::<String>();
    std::fs::write(folder.path().join("log.csv"), log).unwrap();
    let (exit, _, said) = run(&["analyse", "log.csv", "--parquet", "a.parquet"], folder.path());
    assert_eq!(exit, 0, "{said}");
    let file = std::fs::File::open(folder.path().join("a.parquet")).unwrap();
    let reader = SerializedFileReader::new(file).unwrap();
    assert!(reader.num_row_groups() > 1, "one group would be held in memory whole");
    let mut seen = 0;
    for (i, row) in (0..rows).zip(reader.get_row_iter(None).unwrap()) {
        let columns: Vec<(String, Field)> = row.unwrap().into_columns();
        let wanted = [
            ("t_s".to_owned(), Field::Double(f64::from(i) / 100.0)),
            ("volts".into(), volts(i).map_or(Field::Null, |x| Field::Double(x.parse().unwrap()))),
            ("overload".into(), Field::Bool(volts(i).is_none())),
        ];
        assert_eq!(columns, wanted, "row {i}");
        seen += 1;
    }
    assert_eq!(seen, rows);
}

#[test]
#[cfg(feature = "parquet")]
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
    if cfg!(feature = "parquet") {
        let nowhere = run(&["analyse", "log.csv", "--parquet", "no/where.parquet"], folder.path());
        assert_eq!(nowhere.0, 5, "{}", nowhere.2);
    }
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
