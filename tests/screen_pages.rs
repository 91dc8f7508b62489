//! Pages of the full screen as text fixtures: events, asks and readings in, what stands on a
//! terminal of a certain size out, compared letter by letter with `fixtures/screens/`. Drawn into
//! memory, with time set by hand. `UPDATE_FIXTURES=1 cargo test --test screen_pages` writes them
//! anew, to be looked at. Without colours the same letters stand there, and no cell has a colour.

#![cfg(feature = "screen")]
#![allow(clippy::unwrap_used, clippy::panic, reason = "in a test a panic is the finding")]

mod screened;

use coilmark::event::*;
use coilmark::operator::{Key, Look, Operator};
use drivers::{Function, Value};
use ratatui::style::Color;
use screened::*;
use std::path::PathBuf;
use std::time::Duration;

fn fixture(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("fixtures/screens").join(name)
}

/// Holds a page of one size against its fixture.
#[track_caller]
fn stands(name: &str, (columns, rows): (u16, u16), page: &str) {
    let file = fixture(&format!("{name}_{columns}x{rows}.txt"));
    if std::env::var_os("UPDATE_FIXTURES").is_some() {
        std::fs::write(&file, page).unwrap();
    }
    let wanted = std::fs::read_to_string(&file).unwrap_or_default();
    assert_eq!(page, wanted, "{}\nstands:\n{page}\nwanted:\n{wanted}", file.display());
}

const SIZES: [(u16, u16); 2] = [(80, 24), (120, 40)];

/// A situation at the bench, and how it comes about.
type Situation = (&'static str, fn(&mut Stage));

const SITUATIONS: [Situation; 18] = [
    ("first_caution", |stage| {
        stage.begin("8", Some("4+4"));
        stage.ask(&Ask::caution(Caution::DeadCircuit));
    }),
    ("place_first", |stage| {
        stage.begin("8", Some("4+4"));
        stage.ask(&place("4", "8"));
    }),
    ("place_when_much_is_known", |stage| {
        stage.begin("8", Some("4+4"));
        stage.capture("1", "8", Some(329.84));
        stage.believe(&[(0.83, "1", "8"), (0.12, "4", "5")], Some(6.4));
        stage.read(Function::Resistance, Value::Number(329.8), 3);
        stage.ask(&place("3", "5"));
        stage.read(Function::Resistance, Value::Overload, 2);
    }),
    ("the_same_pins_again", |stage| {
        stage.begin("8", Some("4+4"));
        stage.capture("3", "5", None);
        stage.ask(&place("3", "5"));
    }),
    ("measuring", |stage| {
        stage.begin("8", Some("4+4"));
        stage.ask(&place("3", "5"));
        stage.place("3", "5");
        stage.read(Function::Resistance, Value::Number(12_345.0), 1);
    }),
    ("drive_on", |stage| {
        stage.begin("8", Some("4+4"));
        stage.place("3", "5");
        stage.believe(&[(0.9, "1", "8")], Some(3.0));
        stage.ask(&Ask::Drive(driven(4.5)));
    }),
    ("drive_off", |stage| {
        stage.begin("8", Some("4+4"));
        stage.place("3", "5");
        stage.fact(&Event::DriveChanged(driven(12.0)));
        stage.ask(&Ask::Drive(DriveState::Rest));
    }),
    ("dial", |stage| {
        stage.begin("8", Some("4+4"));
        stage.ask(&Ask::Dial { function: Function::Diode });
    }),
    ("held_dwell", |stage| {
        stage.begin("8", Some("4+4"));
        stage.ask(&place("2", "7"));
        stage.read(Function::Resistance, Value::Overload, 3);
        let left = Duration::from_millis(800);
        stage.screen.show_countdown(Some(coilmark::operator::Countdown::Holding(left)));
    }),
    ("link_lost", |stage| {
        stage.begin("8", Some("4+4"));
        stage.read(Function::Resistance, Value::Number(0.2), 1);
        stage.fact(&Event::LinkChanged(LinkNews::Lost { text: "the port is gone".into() }));
    }),
    ("a_wrong_answer", |stage| {
        stage.begin("8", Some("4+4"));
        let caution = Ask::caution(Caution::CoilDrive);
        stage.ask(&caution);
        stage.screen.object(&caution.misfit(Answer::Ready)).unwrap();
        stage.ask_again(&caution);
    }),
    ("help", |stage| {
        stage.begin("8", Some("4+4"));
        stage.ask(&place("4", "8"));
        stage.screen.key(Key::Char('?'));
    }),
    ("skip_with_a_reason", |stage| {
        stage.begin("5", Some("2-1-2"));
        stage.ask(&place("4", "5"));
        "spin is bent".chars().for_each(|c| {
            stage.screen.key(Key::Char(c));
        });
    }),
    ("labels_of_its_own", |stage| {
        stage.begin("30,87,87a,85,86", None);
        stage.ask(&place("87a", "30"));
        stage.read(Function::Resistance, Value::Number(0.213), 3);
    }),
    ("board_half_judged", |stage| {
        stage.begin_board("RB-0042");
        let checks = [
            ("input forward", Verdict::Pass),
            ("rest COM-NC", Verdict::Pass),
            ("rest COM-NO", Verdict::Fail),
            ("nominal COM-NO", Verdict::Undecided),
        ];
        for (done, (check, verdict)) in (1..).zip(checks) {
            let check = check.into();
            stage.fact(&Event::CheckJudged(CheckSoFar { check, verdict, done, of: 9 }));
        }
        let why = Some("rest COM-NO, once more in a fresh touch".into());
        let (red, black) = (Pin::new("COM"), Pin::new("NO"));
        let (function, drive) = (Function::Resistance, AskedDrive::Rest);
        stage.ask(&Ask::Place { red, black, function, drive, why });
        stage.read(Function::Resistance, Value::Number(0.213), 3);
    }),
    ("logging_until_the_drop", |stage| {
        stage.begin_output();
        stage.read(Function::VoltageDc, Value::Number(0.004), 41);
        stage.fact(&Event::Logged(LogNews::AlarmBegun { t_s: 4.1 }));
        stage.read(Function::VoltageDc, Value::Number(13.62), 30);
        stage.fact(&Event::Logged(LogNews::CameOn { t_s: 4.15, t_s_u: 0.05, volts: 13.62 }));
        stage.read(Function::VoltageDc, Value::Number(13.51), 900);
        stage.read(Function::VoltageDc, Value::Number(0.004), 60);
    }),
    ("logging_until_it_comes_on", |stage| {
        stage.begin_output();
        stage.read(Function::VoltageDc, Value::Number(0.004), 41);
        stage.fact(&Event::Logged(LogNews::AlarmBegun { t_s: 4.1 }));
        stage.read(Function::VoltageDc, Value::Number(0.004), 30);
    }),
    ("volts_over_time", |stage| {
        stage.begin("16", None);
        stage.ask(&Ask::Alarm { state: AlarmState::On });
        for (n, volts) in [(40, 0.0), (60, 13.7), (1, 0.0), (40, 13.6)] {
            stage.read(Function::VoltageDc, Value::Number(volts), n);
        }
    }),
];

#[test]
fn every_situation_stands_as_its_fixture_shows() {
    for (name, make) in SITUATIONS {
        for size in SIZES {
            let page = Stage::shown(size, Look::coloured(), make);
            stands(name, size, &page.text());
        }
    }
}

#[test]
fn without_colours_the_same_letters_stand_there() {
    for (name, make) in SITUATIONS {
        let coloured = Stage::shown((80, 24), Look::coloured(), make);
        let plain = Stage::shown((80, 24), Look::plain(), make);
        assert_eq!(coloured.text(), plain.text(), "{name}");
        let cells = plain.screen.backend().buffer().content();
        assert!(cells.iter().all(|c| (c.fg, c.bg) == (Color::Reset, Color::Reset)), "{name}");
    }
}

#[test]
fn only_the_sixteen_colours_of_every_terminal_are_used() {
    for (name, make) in SITUATIONS {
        let stage = Stage::shown((120, 40), Look::coloured(), make);
        let every = stage.screen.backend().buffer().content().iter().flat_map(|c| [c.fg, c.bg]);
        for colour in every {
            assert!(!matches!(colour, Color::Rgb(..) | Color::Indexed(_)), "{name}: {colour:?}");
        }
    }
}

/// The lead's letter and shape stand on its pin and beside its number.
#[test]
fn a_lead_is_known_by_letter_and_shape() {
    let page = Stage::shown((80, 24), Look::plain(), SITUATIONS[1].1).text();
    assert!(page.contains("■ RED") && page.contains("● BLACK"), "{page}");
    assert_eq!(page.matches("═ ■ R ═").count(), 1, "{page}");
    assert_eq!(page.matches("═ ● B ═").count(), 1, "{page}");
}

#[test]
fn any_size_of_window_is_drawn_without_a_fault() {
    for (_, make) in SITUATIONS {
        for columns in (1..20).chain((20..200).step_by(23)) {
            for rows in (1..30).chain([45, 80]) {
                Stage::shown((columns, rows), Look::coloured(), make);
            }
        }
    }
}

#[test]
fn what_comes_from_outside_cannot_draw() {
    let stage = Stage::shown((80, 24), Look::coloured(), |stage| {
        stage.begin("A,B", None);
        stage.fact(&Event::MeterComplained { text: "\u{1b}[2J\u{202e}evil\u{7}".into() });
        stage.screen.object("\u{1b}]0;title\u{7}").unwrap();
    });
    let page = stage.text();
    assert!(!page.contains(['\u{1b}', '\u{202e}', '\u{7}']), "{page:?}");
    assert!(page.contains("title"), "{page}");
}

/// The bottom line offers the keys that answer what is asked, each by what it says, and no other.
#[test]
fn only_keys_that_do_something_are_offered() {
    let bottom = |make: fn(&mut Stage)| {
        let page = Stage::shown((80, 24), Look::plain(), make).text();
        page.lines().last().unwrap().trim().to_owned()
    };
    let quiet = "? help   Q stop";
    assert_eq!(bottom(Stage::begin_output), quiet, "nothing is asked");
    let caution = bottom(|stage| stage.ask(&Ask::caution(Caution::SiteWork)));
    assert_eq!(caution, format!("O I have read it   {quiet}"));
    let step = bottom(|stage| stage.ask(&Ask::Step { step: JobStep::Relay, text: "t".into() }));
    let wanted = format!("Enter, Space or pedal: do it now   S leave it out   {quiet}");
    assert_eq!(step, wanted, "the key begins the step, it does not end it");
    let point = bottom(|stage| stage.ask(&Ask::Point { text: "t".into() }));
    assert_eq!(point, format!("Enter, Space or pedal: it is so   S it is not so   {quiet}"));
    let off = bottom(|stage| stage.ask(&Ask::Drive(DriveState::Rest)));
    assert_eq!(off, format!("Enter, Space or pedal: done   A last one again   {quiet}"));
}

/// Ten pictures a second at most while readings pour in; an ask shows at once.
#[test]
fn readings_are_drawn_ten_times_a_second_and_asks_at_once() {
    let mut stage = Stage::at((80, 24), Look::coloured());
    stage.begin("8", None);
    let mut pictures = 0;
    for n in 0..1000 {
        let before = stage.text();
        stage.read(Function::Resistance, Value::Number(f64::from(n)), 1);
        stage.pass(Duration::from_millis(1));
        pictures += u32::from(stage.text() != before);
    }
    assert!((8..=12).contains(&pictures), "{pictures}");
    stage.ask(&place("1", "2"));
    stage.pass(Duration::ZERO);
    assert!(stage.text().contains("Put the leads here"));
}

/// After the run the result stands in plain lines where the screen was.
#[test]
fn the_result_remains_in_plain_lines() {
    let mut stage = Stage::at((80, 24), Look::coloured());
    stage.begin("8", None);
    let reason = Some("stopped by the operator".to_owned());
    stage.fact(&Event::RunFinished { exit: 4, reason, job: "relay-1".into() });
    let remains = stage.remains();
    assert!(remains.contains("stopped by the operator"), "{remains}");
    assert!(remains.contains("`coilmark resume relay-1` goes on"), "{remains}");
    assert_eq!(stage.screen.wake_at(), None, "nothing more is drawn");
}
