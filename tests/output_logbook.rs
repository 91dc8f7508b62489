//! Recorded logs: the byte loop and the csv crate give the same, bit for bit, on any bytes; every
//! dialect that is promised is read; broken rows are counted; nothing that a file can hold panics.
//! Blocks are cut at random, since a file comes as the system likes.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a test fails by panicking")]

mod output_disk;

use coilmark::logbook::{Columns, Listener, LogError, LogWriter, Pace, Rows, read};
use drivers::Moment;
use output_disk::Disk;
use proptest::prelude::*;
use std::io::Read;
use std::path::Path;

#[derive(Clone, Debug, Default, PartialEq)]
struct Heard {
    readings: Vec<(u64, u64)>,
    overloads: Vec<(usize, u64)>,
}

impl Listener for Heard {
    fn readings(&mut self, t_s: &[f64], volts: &[f64]) {
        assert_eq!(t_s.len(), volts.len());
        self.readings.extend(t_s.iter().zip(volts).map(|(t, x)| (t.to_bits(), x.to_bits())));
    }

    fn overload(&mut self, t_s: f64) {
        self.overloads.push((self.readings.len(), t_s.to_bits()));
    }
}

/// Gives its bytes in pieces of these lengths, in turn.
struct Pieces<'a>(&'a [u8], Vec<usize>, usize);

impl Read for Pieces<'_> {
    fn read(&mut self, to: &mut [u8]) -> std::io::Result<usize> {
        let length = self.1.get(self.2 % self.1.len().max(1)).copied().unwrap_or(7).max(1);
        self.2 += 1;
        let n = length.min(to.len()).min(self.0.len());
        to[..n].copy_from_slice(&self.0[..n]);
        self.0 = &self.0[n..];
        Ok(n)
    }
}

fn taken(bytes: &[u8], pace: Pace, pieces: &[usize]) -> (Result<Rows, String>, Heard) {
    let mut heard = Heard::default();
    let source = Pieces(bytes, pieces.to_vec(), 0);
    let rows = read(source, &Columns::default(), pace, &mut heard);
    (rows.map_err(|e| e.to_string()), heard)
}

fn values(bytes: &str) -> Vec<(f64, f64)> {
    let (rows, heard) = taken(bytes.as_bytes(), Pace::Fast, &[]);
    rows.unwrap();
    heard.readings.iter().map(|(t, x)| (f64::from_bits(*t), f64::from_bits(*x))).collect()
}

/// Fields as meters and people write them, and worse.
fn field() -> impl Strategy<Value = String> {
    prop_oneof![
        6 => "[+-]?[0-9]{1,4}\\.[0-9]{0,6}",
        2 => "[+-]?[0-9]\\.[0-9]{1,9}[eE][+-]?[0-9]{1,3}",
        1 => "[+-]?[0-9]{14,20}(\\.[0-9]{1,6})?",
        1 => "[0-9]{1,3},[0-9]{1,4}",
        1 => "\"[0-9]{1,3}(,[0-9])?\"",
        1 => " ?[0-9.]{0,4} ?",
        2 => "(V|mV|kV|OL|0|1|true|x|)",
        1 => "(\"|\"\"|\r|nan|inf|-OL|9\\.9E37|-9\\.91E\\+37|5e-400|1e400)",
        1 => "2026-11-2[0-9]T10:1[0-9]:0[0-9](\\.[0-9]{1,3})?(Z|\\+01:00)?",
    ]
}

fn log() -> impl Strategy<Value = String> {
    let header = prop_oneof![
        Just("t_s,value,unit,overload"),
        Just("time,value,unit"),
        Just("value,time"),
        Just("t_s;value;unit;overload"),
        Just("note\ttime_ms\tvoltage (mV)"),
        Just("overload,unit,x,value,t"),
    ];
    let usual = (0.0..1e6_f64, -30.0..30.0_f64)
        .prop_map(|(t, x)| vec![format!("{t:.3}"), format!("{x:.4}"), "V".into(), "0".into()]);
    let row = prop_oneof![4 => usual, 3 => prop::collection::vec(field(), 0..6)];
    let end = prop_oneof![6 => Just("\n"), 2 => Just("\r\n"), 1 => Just("\r"), 1 => Just("\n\n")];
    (header, prop::collection::vec((row, end), 0..30)).prop_map(|(header, rows)| {
        let delimiter = if header.contains(';') {
            ";"
        } else if header.contains('\t') {
            "\t"
        } else {
            ","
        };
        let rows = rows.into_iter().map(|(row, end)| row.join(delimiter) + end);
        format!("{header}\n") + &rows.collect::<String>()
    })
}

/// Rows that are laid out alike, as a meter sends them, and their header.
fn alike() -> impl Strategy<Value = (String, &'static str)> {
    let tails = prop_oneof![
        Just((",V\n", "t_s,value,unit")),
        Just((",mV,0\r\n", "time,value,unit,overload")),
        Just(("\n", "time_ms,value")),
        Just((",0,V\n", "t,value,overload,unit")),
        Just((",0,V,a note\n", "t,value,overload,unit,note")),
    ];
    let places = (0_usize..9, 0_usize..9, 0_u32..5, any::<bool>(), any::<bool>());
    (tails, places, prop::collection::vec((0.0..3e4_f64, -1.0..1.0_f64), 4..40)).prop_map(
        |((tail, header), (t_places, x_places, size, exponent, plus), rows)| {
            let row = |(t, x): &(f64, f64)| {
                let x = x * 10_f64.powi(size.cast_signed());
                let value = match (exponent, plus) {
                    (true, true) => exponent_form(x, x_places),
                    (true, false) => format!("{x:.x_places$e}"),
                    (false, true) => format!("{x:+.x_places$}"),
                    (false, false) => format!("{x:.x_places$}"),
                };
                format!("{t:.t_places$},{value}{tail}")
            };
            (rows.iter().map(row).collect(), header)
        },
    )
}

/// `+1.371E+01`.
fn exponent_form(x: f64, places: usize) -> String {
    let text = format!("{x:+.places$e}");
    let (mantissa, power) = text.split_once('e').unwrap();
    format!("{mantissa}E{:+03}", power.parse::<i32>().unwrap())
}

/// A byte that a row may hold, and now and then any other.
fn other_byte() -> impl Strategy<Value = u8> {
    prop_oneof![4 => prop::sample::select(b"0123456789.,-+eE\r\n\";: /".to_vec()), 1 => any::<u8>()]
}

// What fuzzing begins with, and what it has found: `comma_without_decimals.txt`.
#[test]
fn both_ways_of_reading_agree_on_the_corpus() {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/fuzz/log_reader");
    let mut files = 0;
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let bytes = std::fs::read(&path).unwrap();
        // The first byte is the fuzzer's own.
        let log = &bytes[1..];
        let fast = taken(log, Pace::Fast, &[100_000]);
        assert_eq!(fast, taken(log, Pace::Plain, &[100_000]), "{}", path.display());
        files += 1;
    }
    assert!(files > 10, "{files} files");
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 600, ..ProptestConfig::default() })]

    #[test]
    fn the_byte_loop_reads_what_the_csv_crate_reads(
        log in log(),
        pieces in prop::collection::vec(1_usize..40, 1..6),
    ) {
        let fast = taken(log.as_bytes(), Pace::Fast, &pieces);
        let plain = taken(log.as_bytes(), Pace::Plain, &[100_000]);
        prop_assert_eq!(fast, plain);
    }

    #[test]
    fn rows_of_one_shape_read_the_same_with_any_byte_changed(
        (log, header) in alike(),
        changes in prop::collection::vec((any::<prop::sample::Index>(), other_byte()), 0..6),
    ) {
        let mut rows = log.into_bytes();
        for (at, byte) in changes {
            let at = at.index(rows.len());
            rows[at] = byte;
        }
        let log = [header.as_bytes(), b"\n", &rows].concat();
        let fast = taken(&log, Pace::Fast, &[100_000]);
        let plain = taken(&log, Pace::Plain, &[100_000]);
        prop_assert_eq!(fast, plain);
    }

    #[test]
    fn no_bytes_at_all_do_harm(bytes in prop::collection::vec(any::<u8>(), 0..300)) {
        let headed = [b"t_s,value\n", bytes.as_slice()].concat();
        for bytes in [&bytes, &headed] {
            let fast = taken(bytes, Pace::Fast, &[3]);
            let plain = taken(bytes, Pace::Plain, &[100_000]);
            prop_assert_eq!(fast, plain);
        }
    }

    #[test]
    fn what_is_written_reads_back(
        rows in prop::collection::vec(
            (0_u32..1_000_000_000, -400_000_i32..400_000, any::<bool>()),
            1..40,
        ),
    ) {
        let mut writer = LogWriter::begin(Disk::default(), Path::new("log.csv")).unwrap();
        let mut wanted = Heard::default();
        for (micros, steps, overload) in rows {
            let (t, x) = (f64::from(micros) / 1e6, f64::from(steps) / 1e4);
            if overload {
                writer.append(t, None, Moment::START).unwrap();
                wanted.overloads.push((wanted.readings.len(), t.to_bits()));
            } else {
                writer.append(t, Some(x), Moment::START).unwrap();
                wanted.readings.push((t.to_bits(), x.to_bits()));
            }
        }
        let bytes = writer.close().unwrap().bytes;
        let (rows, heard) = taken(&bytes, Pace::Fast, &[1000]);
        prop_assert_eq!(rows.unwrap().broken, 0);
        prop_assert_eq!(heard, wanted);
    }
}

#[test]
fn a_long_log_with_odd_rows_reads_the_same() {
    let odd = ["7,\"1,5\",V,0\n", "x\n", "8,,V,1\r\n", "9,\"a\nb\",V,0\n", "\n\n"];
    for every in [3, 5_011, usize::MAX] {
        let rows = (0..16_000).map(|i| {
            let odd_one = i % every == every - 1;
            let odd = odd[i / every.min(16_000) % odd.len()];
            format!("{}.25,{}.125,V,0\n{}", i, i % 29, if odd_one { odd } else { "" })
        });
        let log = "t_s,value,unit,overload\n".to_string() + &rows.collect::<String>();
        let fast = taken(log.as_bytes(), Pace::Fast, &[200_000, 70_001]);
        let plain = taken(log.as_bytes(), Pace::Plain, &[1 << 22]);
        assert!(fast.1.readings.len() >= 16_000 || fast.0.is_err());
        assert_eq!(fast.0, plain.0, "{every}");
        assert!(fast.1 == plain.1, "an odd row every {every}");
    }
}

#[test]
fn every_promised_dialect_is_read() {
    let usual = [(0.0, 0.002), (0.5, 13.71)];
    for text in [
        "t_s,value,unit,overload\n0,0.002,V,0\n0.5,13.71,V,0\n",
        "Time,Voltage (mV)\n0,2\n0.5,13710\n",
        "seconds;volts\r\n0,0;0,002\r\n0,5;13,71\r\n",
        "timestamp\treading\tunit\n0\t2\tmV\n0.5\t0.01371\tkV\n",
        "\u{feff}# a note\n\ntime_ms,v\n0,+2.000E-03\n500,+1.371E+01\n",
        "\"time\",\"value\"\n\"0\",\"0,002\"\n\"0,5\",\"13,71 V\"\n",
        "unit,x,value,t\nV,\"a,b\",0.002,0\nmV,,13710,.5\n",
        "timestamp,value\n2026-11-25T10:00:00Z,0.002\n2026-11-25T11:00:00.5+01:00,13.71\n",
        "timestamp,value\n2026-11-25 10:00:00,0.002\n2026-11-25 10:00:00.5,13.71\n",
        "t,value\n1700000000.0,0.002\n1700000000.5,13.71\n",
        "t,value\n0,0.002\n0.5,13.71",
    ] {
        assert_eq!(values(text), usual, "{text}");
    }
}

#[test]
fn overload_is_heard_however_it_is_said() {
    for row in ["3,,V,1", "3,OL,V,0", "3,+9.9E37,V,0", "3,-9.90000000E+37,V,", "3,0.1,V,true"] {
        let text = format!("t_s,value,unit,overload\n1,2,V,0\n{row}\n");
        let (rows, heard) = taken(text.as_bytes(), Pace::Fast, &[]);
        assert_eq!(rows.unwrap().broken, 0, "{row}");
        assert_eq!(heard.overloads, [(1, 3.0_f64.to_bits())], "{row}");
    }
}

#[test]
fn broken_rows_are_counted_up_to_a_tenth() {
    let log = |broken: usize| {
        let rows = (0..100).map(|i| if i < broken { "x,y\n".into() } else { format!("{i},1.5\n") });
        "t_s,value\n".to_string() + &rows.collect::<String>()
    };
    for broken in [0, 1, 10] {
        let rows = taken(log(broken).as_bytes(), Pace::Fast, &[]).0.unwrap();
        assert_eq!((rows.rows, rows.broken), (100, broken as u64));
    }
    let refused = taken(log(11).as_bytes(), Pace::Fast, &[]).0.unwrap_err();
    assert!(refused.contains("11 of 100 rows are broken; the first is data row 1"), "{refused}");
}

#[test]
fn columns_can_be_named_and_what_is_not_there_is_said() {
    let text = "Zeit;Spannung\n1;13,5\n";
    let named = |time: &str, value: &str| {
        let columns = Columns { time: Some(time.into()), value: Some(value.into()) };
        let mut heard = Heard::default();
        read(text.as_bytes(), &columns, Pace::Fast, &mut heard).map(|_| heard.readings)
    };
    let wanted = vec![(1.0_f64.to_bits(), 13.5_f64.to_bits())];
    assert_eq!(named("Zeit", "spannung").unwrap(), wanted);
    assert_eq!(named("1", "2").unwrap(), wanted);
    assert!(matches!(named("Zeit", "3"), Err(LogError::NoColumn { .. })));
    let refused = taken(text.as_bytes(), Pace::Fast, &[]).0.unwrap_err();
    assert!(refused.contains("expected a time column, found `Zeit`, `Spannung`"), "{refused}");
    for text in ["", "\n\n", "1,2\n3,4\n", "t_s,value\n"] {
        assert!(taken(text.as_bytes(), Pace::Fast, &[]).0.is_err(), "{text:?}");
    }
}
