//! The commanded voice after IEEE 488.2 and SCPI-99, and the free-running one, spoken to directly
//! in simulated time. Clauses are named beside the claims; the errors' numbers and texts are those
//! of SCPI-99 vol. 2 chapter 21.

#![allow(clippy::unwrap_used, reason = "a test may panic")]

use coilmark::bench::{Bench, BenchOptions, HazardKind, MeterModel, Part, SlipRates, Wire};
use coilmark::event::{Ask, DriveState, Pin};
use drivers::Function;
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;
use std::path::Path;
use std::time::Duration;

fn part(name: &str) -> Part {
    let relays = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/relays");
    Part::load(&relays.join(format!("{name}.toml"))).unwrap()
}

fn bench(meter: MeterModel) -> Bench {
    let options = BenchOptions { meter, noise: 0.0, slips: SlipRates::NONE, ..Default::default() };
    Bench::new(part("changeover_2_pole_diode"), options)
}

fn wire() -> Wire {
    bench(MeterModel::commanded()).wire()
}

fn ask(wire: &mut Wire, message: &str) -> String {
    tell(wire, message);
    String::from_utf8(wire.read()).unwrap().trim_end().to_owned()
}

fn tell(wire: &mut Wire, message: &str) {
    wire.write(format!("{message}\n").as_bytes());
}

fn error(wire: &mut Wire) -> String {
    ask(wire, "SYST:ERR?")
}

#[test]
fn the_identity_has_four_fields_and_ends_its_message() {
    // IEEE 488.2 clause 10.14: four fields, at most 72 characters; 6.5.7.5: the last query.
    let mut wire = wire();
    let identity = ask(&mut wire, "*IDN?");
    assert_eq!(identity.split(',').count(), 4);
    assert!(identity.len() <= 72);
    assert_eq!(ask(&mut wire, "*OPC?;*IDN?"), format!("1;{identity}"));
    assert_eq!(ask(&mut wire, "*IDN?;*OPC?"), "");
    assert_eq!(error(&mut wire), "-440,\"Query UNTERMINATED after indefinite response\"");
}

#[test]
fn an_unknown_header_is_minus_113_and_sets_the_command_error_bit() {
    let mut wire = wire();
    assert_eq!(ask(&mut wire, "*ESR?"), "128", "IEEE 488.2 clause 11.5.1: just switched on");
    tell(&mut wire, "NONSENSE");
    assert_eq!(ask(&mut wire, "*ESR?"), "32");
    assert_eq!(ask(&mut wire, "*ESR?"), "0");
    assert_eq!(error(&mut wire), "-113,\"Undefined header\"");
    assert_eq!(error(&mut wire), "+0,\"No error\"");
}

#[test]
fn a_message_that_comes_before_the_answer_interrupts_it() {
    let mut wire = wire();
    tell(&mut wire, "CONF:RES");
    tell(&mut wire, "READ?");
    assert_eq!(ask(&mut wire, "*OPC?"), "1", "and not the reading");
    assert_eq!(error(&mut wire), "-410,\"Query INTERRUPTED\"");
    wire.write(b"*IDN?\n*OPC?\n");
    assert_eq!(wire.read(), b"1\n");
    assert_eq!(error(&mut wire), "-410,\"Query INTERRUPTED\"");
    assert_eq!(error(&mut wire), "+0,\"No error\"");
}

#[test]
fn being_read_without_a_query_is_minus_420() {
    let mut wire = wire();
    tell(&mut wire, "CONF:RES");
    assert_eq!(wire.read(), b"");
    assert_eq!(error(&mut wire), "-420,\"Query UNTERMINATED\"");
    assert_eq!(ask(&mut wire, "NONSENSE?"), "");
    assert_eq!(error(&mut wire), "-113,\"Undefined header\"");
    assert_eq!(error(&mut wire), "-420,\"Query UNTERMINATED\"");
    assert_eq!(ask(&mut wire, "*ESR?"), "164", "power on, command error, query error");
}

#[test]
fn a_full_queue_ends_with_minus_350_and_keeps_the_oldest() {
    // SCPI-99 vol. 2 ch. 21: the newest entry becomes the overflow.
    let mut wire = wire();
    tell(&mut wire, "CONF:RES 1,2,3");
    (0..40).for_each(|_| tell(&mut wire, "NONSENSE"));
    let errors: Vec<String> = (0..16).map(|_| error(&mut wire)).collect();
    assert_eq!(errors[0], "-108,\"Parameter not allowed\"");
    assert_eq!(errors[1], "-113,\"Undefined header\"");
    assert_eq!(errors[15], "-350,\"Queue overflow\"");
    assert_eq!(error(&mut wire), "+0,\"No error\"");
    tell(&mut wire, "NONSENSE");
    tell(&mut wire, "*RST");
    assert_eq!(ask(&mut wire, "SYST:ERR:COUN?"), "1", "*RST leaves the queue");
    tell(&mut wire, "*CLS");
    assert_eq!(ask(&mut wire, "SYST:ERR:COUN?;:SYST:VERS?"), "0;1999.0");
}

#[test]
fn errors_name_what_is_wrong_with_a_command() {
    let mut wire = wire();
    for (message, number) in [
        ("CONF:RES -5", "-222"),
        ("CONF:RES 1,000,0", "-108"),
        ("CONF:RES 1k", "-121"),
        ("CONF:RES NAN", "-141"),
        ("CONF:RES \"1\"", "-104"),
        ("FUNC RES", "-104"),
        ("FUNC \"RES", "-151"),
        ("FUNC \"MASS\"", "-224"),
        ("FUNC", "-109"),
        ("FETC?", "-230"),
        ("INIT;INIT", "-213"),
        ("CONF:R\u{e9}S", "-101"),
        ("*ESE 300", "-222"),
    ] {
        tell(&mut wire, message);
        let _ = ask(&mut wire, "*OPC?");
        assert!(error(&mut wire).starts_with(number), "{message}");
        tell(&mut wire, "*CLS");
    }
    tell(&mut wire, &"X".repeat(3000));
    assert!(error(&mut wire).starts_with("-363"));
}

#[test]
fn headers_after_a_semicolon_stand_below_the_last_path() {
    // SCPI-99 vol. 1, 6.2.4.
    let mut wire = wire();
    tell(&mut wire, "NONSENSE");
    assert_eq!(ask(&mut wire, "SYST:ERR?;ERR?"), "-113,\"Undefined header\";+0,\"No error\"");
    assert_eq!(ask(&mut wire, "CONF:RES;:FUNC?"), "\"RES\"");
    assert_eq!(ask(&mut wire, "CONF:RES;*OPC?;VOLT;:FUNC?"), "1;\"VOLT\"");
    tell(&mut wire, "CONF:RES;READ?");
    assert!(error(&mut wire).starts_with("-113"));
}

#[test]
fn every_function_can_be_measured_and_read_back() {
    let bench = bench(MeterModel::commanded());
    let mut wire = bench.wire();
    bench.place(&Pin::new("1"), &Pin::new("5"));
    bench.let_pass(Duration::from_secs(1));
    for (header, name, low, high) in [
        ("RES", "RES", 641.5, 642.5),
        ("FRES", "FRES", 641.5, 642.0),
        ("CONT", "CONT", 641.5, 642.5),
        ("DIOD", "DIOD", 0.6418, 0.6424),
        ("VOLT:DC", "VOLT", 0.0, 0.0),
        ("VOLT:AC", "VOLT:AC", 0.0, 0.0),
    ] {
        let reading = ask(&mut wire, &format!("MEAS:{header}?"));
        let value: f64 = reading.parse().unwrap();
        assert!((low..=high).contains(&value), "{header} {reading}");
        assert_eq!(ask(&mut wire, "FUNC?"), format!("\"{name}\""));
        assert_eq!(ask(&mut wire, "FETC?"), reading, "FETCh? gives the last one again");
    }
}

#[test]
fn open_pins_answer_the_overload_number() {
    // SCPI-99 vol. 1, 7.2.1: 9.9E37.
    assert_eq!(ask(&mut wire(), "MEAS:RES?"), "+9.90000000E+37");
}

#[test]
fn a_reading_takes_its_conversion_and_completion_waits_for_it() {
    let bench = bench(MeterModel::commanded());
    let mut wire = bench.wire();
    tell(&mut wire, "CONF:RES");
    let begun = bench.now();
    ask(&mut wire, "READ?");
    assert_eq!(bench.now().since(begun), Duration::from_millis(20));
    tell(&mut wire, "INIT");
    let begun = bench.now();
    assert_eq!(ask(&mut wire, "*OPC?"), "1");
    assert_eq!(bench.now().since(begun), Duration::from_millis(20));
    tell(&mut wire, "*ESR?");
    wire.read();
    tell(&mut wire, "INIT;*OPC");
    assert_eq!(ask(&mut wire, "*ESR?"), "0");
    wire.listen(Duration::from_millis(50));
    assert_eq!(ask(&mut wire, "*ESR?"), "1", "*OPC sets its bit when the reading is done");
}

#[test]
fn messages_may_come_in_any_pieces_and_with_cr() {
    let mut wire = wire();
    for byte in b"\n\r\n *ID" {
        wire.write(&[*byte]);
    }
    wire.write(b"N?\r");
    wire.write(b"\n");
    assert!(wire.read().starts_with(b"SIMULATED,"));
    assert_eq!(error(&mut wire), "+0,\"No error\"");
}

#[test]
fn switching_off_and_on_forgets_settings_and_says_so() {
    let mut wire = wire();
    tell(&mut wire, "CONF:RES");
    ask(&mut wire, "*ESR?");
    wire.power_cycle();
    assert_eq!(ask(&mut wire, "FUNC?"), "\"VOLT\"");
    assert_eq!(ask(&mut wire, "*ESR?"), "128");
}

#[test]
fn no_bytes_make_the_voice_panic_or_forget_how_to_answer() {
    let mut chance = Pcg64::seed_from_u64(2);
    let words: Vec<&str> =
        "CONF : RES ; ? * IDN MEAS READ FETC , \" ' 1e9 - \t FUNC *OPC *CLS INIT"
            .split(' ')
            .collect();
    for _ in 0..400 {
        let mut wire = wire();
        for _ in 0..chance.random_range(1..40) {
            match chance.random_range(0..10) {
                0 => wire.write(&[chance.random()]),
                1 => wire.write(b"\n"),
                2 => drop(wire.read()),
                _ => wire.write(words[chance.random_range(0..words.len())].as_bytes()),
            }
        }
        wire.write(b"\n*CLS\n");
        wire.listen(Duration::from_secs(1));
        assert!(ask(&mut wire, "*IDN?").starts_with("SIMULATED"));
        assert_eq!(error(&mut wire), "+0,\"No error\"");
    }
}

#[test]
fn the_status_byte_sums_up() {
    // IEEE 488.2 clause 11.2: 4 queue, 16 message available, 32 event summary, 64 request.
    let mut wire = wire();
    assert_eq!(ask(&mut wire, "*CLS;*STB?"), "0");
    tell(&mut wire, "*ESE 32;*SRE 32");
    tell(&mut wire, "NONSENSE");
    assert_eq!(ask(&mut wire, "*ESE?;*STB?"), "32;116");
}

#[test]
fn a_late_answer_belongs_to_the_query_before() {
    let mut wire = wire();
    wire.delay_answer(Duration::from_millis(500));
    tell(&mut wire, "*IDN?");
    assert_eq!(wire.listen(Duration::from_millis(400)), b"");
    assert!(ask(&mut wire, "*OPC?").starts_with("SIMULATED"));
    assert_eq!(wire.listen(Duration::from_millis(10)), b"", "both came in one piece");
    wire.swap_identity("SIMULATED,OTHER METER,0002,1.0");
    assert_eq!(ask(&mut wire, "*IDN?"), "SIMULATED,OTHER METER,0002,1.0");
}

#[test]
fn a_dial_meter_sends_lines_by_itself_in_the_function_of_its_dial() {
    let bench = bench(MeterModel::free_running());
    let mut wire = bench.wire();
    bench.place(&Pin::new("5"), &Pin::new("1"));
    bench.let_pass(Duration::from_secs(1));
    wire.listen(Duration::from_millis(100));
    let volts = String::from_utf8(wire.listen(Duration::from_millis(1000))).unwrap();
    assert_eq!(volts, "+0.0 MVDC\r\n".repeat(4));
    bench.perform(&Ask::Dial { function: Function::Resistance });
    wire.listen(Duration::from_millis(500));
    assert_eq!(
        String::from_utf8(wire.listen(Duration::from_millis(250))).unwrap(),
        "+1.600 KOHM\r\n"
    );
    bench.lift();
    wire.listen(Duration::from_millis(500));
    assert_eq!(String::from_utf8(wire.listen(Duration::from_millis(250))).unwrap(), "OL  OHM\r\n");
    wire.write(b"*IDN?\n");
    assert_eq!(String::from_utf8(wire.listen(Duration::from_millis(250))).unwrap(), "OL  OHM\r\n");
}

#[test]
fn a_dial_left_on_ohms_over_a_driven_coil_is_a_hazard() {
    let bench = bench(MeterModel::free_running());
    let mut wire = bench.wire();
    bench.perform(&Ask::Dial { function: Function::Resistance });
    bench.place(&Pin::new("5"), &Pin::new("1"));
    wire.listen(Duration::from_secs(1));
    assert!(bench.hazards().is_empty());
    let drive = DriveState::Energised { plus: Pin::new("5"), minus: Pin::new("1"), volts: 5.0 };
    bench.perform(&Ask::Drive(drive));
    wire.listen(Duration::from_secs(1));
    let kinds: Vec<HazardKind> = bench.hazards().iter().map(|h| h.kind).collect();
    assert_eq!(kinds, [HazardKind::DriveIntoOhms, HazardKind::OhmsOnLive]);
}

#[test]
fn a_change_during_a_conversion_spoils_it() {
    let bench = bench(MeterModel::commanded());
    let mut wire = bench.wire();
    bench.place(&Pin::new("5"), &Pin::new("1"));
    bench.let_pass(Duration::from_secs(1));
    tell(&mut wire, "CONF:RES");
    tell(&mut wire, "READ?");
    bench.let_pass(Duration::from_millis(5));
    bench.place(&Pin::new("2"), &Pin::new("3"));
    let spoilt: f64 = String::from_utf8(wire.read()).unwrap().trim().parse().unwrap();
    assert!(spoilt > 1.0 && spoilt < 1599.0, "{spoilt}");
    let whole: f64 = ask(&mut wire, "READ?").parse().unwrap();
    assert!(whole < 1.0, "{whole}");
}

#[test]
fn the_same_seed_sends_the_same_bytes() {
    let run = |seed| {
        let options = BenchOptions { seed, ..Default::default() };
        let bench = Bench::new(part("changeover_2_pole"), options);
        let mut wire = bench.wire();
        let mut bytes = Vec::new();
        for (red, black) in [("1", "5"), ("2", "3"), ("5", "1"), ("2", "4")].repeat(20) {
            bench.place(&Pin::new(red), &Pin::new(black));
            wire.write(b"MEAS:RES?\n");
            bytes.extend(wire.read());
        }
        bytes
    };
    assert_eq!(run(11), run(11));
    assert_ne!(run(11), run(12));
}
