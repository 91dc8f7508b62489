//! Evenings with an output, as transcripts: at time T this in, that out. The meter, the operator
//! and the folder are played here by hand, in simulated time; what comes out are asks, facts, rows
//! of the log and the end. Readings come every so many milliseconds from a function of time.

mod breaks;

use super::super::meter::OTHER_FUNCTION_MIN;
use super::*;
use crate::event::{Answer, Finding, LogPicture, MeterIdentity, OutputFinding, Polarity, Shape};
use drivers::{Reading, Unit, Value};
use std::time::Duration;

/// One evening.
struct Evening {
    guide: Output,
    now_ms: u64,
    open: Option<Ask>,
    asks: Vec<Ask>,
    facts: Vec<Event>,
    rows: Vec<(f64, Option<f64>)>,
    epoch: Option<u64>,
    objections: usize,
    end: Option<(u8, Option<String>)>,
}

fn terms() -> Terms {
    Terms {
        start: OutputStart { nominal_volts: Some(12.0), for_s: 60.0, guard_s: 5.0 },
        simulated: true,
        settling: Settling { dwell: Duration::from_millis(500), ..Settling::default() },
        hands_free: false,
        accept_meter: false,
        goes_on_at_s: 0.0,
    }
}

fn meter(commanded: bool) -> MeterIdentity {
    MeterIdentity { identity: "M".into(), link: "l".into(), profile: "p".into(), commanded }
}

fn at(ms: u64) -> Moment {
    Moment::from_start(Duration::from_millis(ms))
}

impl Evening {
    fn with(guide: Output) -> Self {
        Self {
            guide,
            now_ms: 0,
            open: None,
            asks: Vec::new(),
            facts: Vec::new(),
            rows: Vec::new(),
            epoch: None,
            objections: 0,
            end: None,
        }
    }

    /// Begun, with a commanded meter that answered.
    fn begun(terms: Terms) -> Self {
        let mut evening = Self::with(Output::new(terms));
        evening.give(Input::Begun);
        evening.give(Input::MeterAnswered(meter(true), None));
        evening
    }

    /// Up to the ask for the alarm, with the output at `rest` volts.
    fn rested(terms: Terms, rest: f64) -> Self {
        let mut evening = Self::begun(terms);
        evening.answer(Answer::Acknowledged);
        evening.answer(Answer::Acknowledged);
        evening.answer(Answer::Ready);
        evening.reads(4000, 100, |_| rest);
        assert_eq!(evening.open, Some(Ask::Alarm { state: AlarmState::On }));
        evening
    }

    fn give(&mut self, input: Input) {
        let now = at(self.now_ms);
        for fact in self.guide.handle(input, now) {
            self.record(fact);
        }
        for _ in 0..100 {
            match self.guide.next(now) {
                Action::Nothing => return,
                Action::Record(fact) => self.record(*fact),
                Action::Ask(ask) => {
                    assert_eq!(self.open, None, "a second ask: {ask:?}");
                    self.open = Some(ask.clone());
                    self.asks.push(ask);
                }
                Action::AskAgain(_) => self.objections += 1,
                Action::Measure(function, epoch) => {
                    assert_eq!(function, Function::VoltageDc, "volts only");
                    self.epoch = Some(epoch);
                }
                Action::OpenLog(file, t_s) => {
                    let logs = self.closed().len() + 1;
                    let file = file.unwrap_or_else(|| format!("output-{logs}.csv"));
                    let rows = self.rows.len() as u64;
                    self.record(Event::Logged(LogNews::Opened { file, t_s, rows, torn_bytes: 0 }));
                }
                Action::Log(t_s, volts) => self.rows.push((t_s, volts)),
                Action::CloseLog(why) => {
                    let (file, rows) = ("output-1.csv".into(), self.rows.len() as u64);
                    let sha256 = String::new();
                    self.record(Event::Logged(LogNews::Closed { file, rows, sha256, why }));
                }
                Action::Finish(exit, reason) => {
                    self.end = Some((exit, reason));
                    return;
                }
            }
        }
        panic!("it never rests: {:?}", self.facts.last());
    }

    fn record(&mut self, fact: Event) {
        if fact.closes_an_ask() {
            self.open = None;
        }
        self.guide.apply(&fact);
        self.facts.push(fact);
    }

    fn answer(&mut self, answer: Answer) {
        assert!(self.open.is_some(), "nothing is asked: {:?}", self.facts.last());
        self.give(Input::AnswerReceived(answer));
    }

    /// Readings until `until_ms` or the end; `volts` is told the seconds.
    fn reads(&mut self, until_ms: u64, step_ms: u64, volts: impl Fn(f64) -> f64) {
        while self.now_ms + step_ms <= until_ms && self.end.is_none() {
            self.now_ms += step_ms;
            let value = Value::Number(volts(self.now_ms as f64 / 1e3));
            self.reading(value);
        }
    }

    fn reading(&mut self, value: Value) {
        let Some(epoch) = self.epoch else { return };
        let (unit, function, at) = (Unit::Volt, Function::VoltageDc, at(self.now_ms));
        let text = format!("{value:?}");
        self.give(Input::ReadingArrived(
            epoch,
            Reading { value, unit, function, u: Some(0.002), text, at },
        ));
    }

    fn news(&self) -> Vec<&LogNews> {
        let news = self.facts.iter().filter_map(|fact| match fact {
            Event::Logged(news) => Some(news),
            _ => None,
        });
        news.collect()
    }

    fn closed(&self) -> Vec<LogEnd> {
        let closed = self.news().into_iter().filter_map(|news| match news {
            LogNews::Closed { why, .. } => Some(*why),
            _ => None,
        });
        closed.collect()
    }

    fn finding(&self) -> &OutputFinding {
        let found = self.facts.iter().find_map(|fact| match fact {
            Event::ResultReached(Finding::Output(finding)) => Some(&**finding),
            _ => None,
        });
        found.unwrap_or_else(|| panic!("no finding: {:?} {:?}", self.end, self.facts.last()))
    }
}

/// On at 13.6 V from 6 to 16 s.
fn window(t: f64) -> f64 {
    if (6.0..16.0).contains(&t) { 13.6 } else { 0.01 }
}

#[test]
fn cautions_come_first_and_volts_are_set_before_the_leads_touch() {
    let mut evening = Evening::begun(terms());
    assert!(matches!(
        evening.open,
        Some(Ask::Acknowledge { caution: Caution::EnergizerHighVoltage, .. })
    ));
    evening.answer(Answer::Ready);
    assert_eq!(evening.objections, 1, "ready does not acknowledge");
    evening.answer(Answer::Acknowledged);
    assert_eq!(evening.epoch, None, "nothing is measured yet");
    evening.answer(Answer::Acknowledged);
    assert!(evening.epoch.is_some(), "the meter is at volts");
    assert_eq!(evening.open, Some(place()));
}

#[test]
fn a_window_is_logged_from_rest_to_a_guard_after_its_drop() {
    let mut evening = Evening::rested(terms(), 0.01);
    evening.answer(Answer::Ready);
    evening.reads(60_000, 100, window);
    assert_eq!(evening.end, Some((0, None)));
    assert_eq!(evening.now_ms, 21_000, "five seconds after the drop at 15.95, at a reading");
    assert_eq!(evening.closed(), [LogEnd::Dropped]);
    let finding = evening.finding();
    assert_eq!((finding.shape, finding.simulated), (Shape::Steady, true));
    assert_eq!(finding.alarm_volts, Some(13.6));
    assert_eq!(finding.rest_volts, Some(0.01));
    assert!((finding.window_s.unwrap() - 10.0).abs() <= finding.window_s_u.unwrap());
    assert_eq!(finding.readings, evening.rows.len() as u64);
    let [only] = finding.warnings.as_slice() else { panic!("{:?}", finding.warnings) };
    assert!(only.contains("a pause shorter than 0.100 s"), "what this meter cannot see: {only}");
    let edges: Vec<f64> = evening
        .news()
        .into_iter()
        .filter_map(|news| match news {
            LogNews::CameOn { t_s, .. } | LogNews::WentOff { t_s, .. } => Some(*t_s),
            _ => None,
        })
        .collect();
    assert_eq!(edges, [finding.on_at_s.unwrap(), finding.off_at_s.unwrap()]);
}

#[test]
fn the_record_holds_a_picture_and_no_reading_of_the_log() {
    let mut evening = Evening::rested(terms(), 0.01);
    evening.answer(Answer::Ready);
    evening.reads(60_000, 100, window);
    let captures = evening.facts.iter().filter(|f| matches!(f, Event::ReadingCaptured(_)));
    assert_eq!(captures.count(), 1, "the level at rest");
    let pictures: Vec<&LogPicture> = evening
        .news()
        .into_iter()
        .filter_map(|news| match news {
            LogNews::Drawn(picture) => Some(picture),
            _ => None,
        })
        .collect();
    let [picture] = pictures.as_slice() else { panic!("{pictures:?}") };
    let highest = picture.volts_max.iter().flatten().fold(0.0_f64, |a, b| a.max(*b));
    assert_eq!((highest, picture.class_volts), (13.6, Some([12.0, 9.5, 15.0])));
}

#[test]
fn an_output_that_never_comes_on_ends_with_the_time() {
    let mut evening = Evening::rested(terms(), 0.01);
    evening.answer(Answer::Ready);
    evening.reads(100_000, 100, |_| 0.01);
    assert_eq!(evening.end, Some((0, None)));
    assert_eq!(evening.closed(), [LogEnd::TimeOver]);
    assert_eq!(evening.finding().shape, Shape::None);
    assert!(evening.finding().warnings.iter().any(|w| w.contains("within 60 s")));
    assert!((64_000..=64_200).contains(&evening.now_ms), "{}", evening.now_ms);
}

#[test]
fn nobody_is_hurried_before_the_alarm() {
    let mut evening = Evening::rested(terms(), 0.01);
    evening.reads(600_000, 1000, |_| 0.01);
    assert_eq!(evening.end, None);
    assert_eq!(evening.open, Some(Ask::Alarm { state: AlarmState::On }));
}

#[test]
fn what_is_still_on_when_the_time_is_over_is_held() {
    let mut evening = Evening::rested(terms(), 0.01);
    evening.answer(Answer::Ready);
    evening.reads(100_000, 100, |t| if t > 6.0 { 13.6 } else { 0.01 });
    assert_eq!((evening.closed(), evening.finding().shape), (vec![LogEnd::TimeOver], Shape::Held));
}

#[test]
fn pulses_do_not_end_the_log_in_their_pauses() {
    let mut evening = Evening::rested(terms(), 0.01);
    evening.answer(Answer::Ready);
    evening.reads(60_000, 50, |t| if t % 2.0 < 0.8 { window(t) } else { 0.01 });
    let finding = evening.finding();
    assert_eq!((finding.shape, finding.cadence.pulses), (Shape::Pulsed, 5));
    assert!((finding.period_s.unwrap() - 2.0).abs() < 0.05, "{finding:?}");
}

#[test]
fn a_spike_does_not_end_the_log() {
    let mut evening = Evening::rested(terms(), 0.01);
    evening.answer(Answer::Ready);
    let spiked = |t: f64| if (4.5..4.55).contains(&t) { 9.0 } else { window(t + 10.0 - 20.0) };
    evening.reads(60_000, 50, spiked);
    let finding = evening.finding();
    assert_eq!((finding.shape, finding.counts.spikes), (Shape::Steady, 1));
    assert!((finding.window_s.unwrap() - 10.0).abs() < 0.11);
}

#[test]
fn reversed_leads_and_another_class_are_said() {
    let mut evening = Evening::rested(terms(), 0.01);
    evening.answer(Answer::Ready);
    evening.reads(60_000, 100, |t| -2.0 * window(t));
    let finding = evening.finding();
    assert_eq!(finding.polarity, Some(Polarity::Reversed));
    assert!(finding.warnings.iter().any(|w| w.contains("under the black lead")));
    assert!(finding.warnings.iter().any(|w| w.contains("does not fit the 12 V")));
}

#[test]
fn a_slow_meter_is_enough_for_a_window_of_seconds() {
    let mut evening = Evening::begun(terms());
    for answer in [Answer::Acknowledged, Answer::Acknowledged, Answer::Ready] {
        evening.answer(answer);
    }
    evening.reads(5500, 500, |_| 0.01);
    evening.answer(Answer::Ready);
    evening.reads(60_000, 500, window);
    let finding = evening.finding();
    assert!((finding.window_s.unwrap() - 10.0).abs() <= finding.window_s_u.unwrap(), "{finding:?}");
}

#[test]
fn a_person_need_not_say_that_the_alarm_has_come() {
    let mut evening = Evening::rested(Terms { hands_free: true, ..terms() }, 0.01);
    evening.reads(7000, 100, window);
    assert_eq!(evening.open, None, "the output has said it");
    evening.reads(60_000, 100, window);
    assert_eq!(evening.finding().shape, Shape::Steady);
}

#[test]
fn a_machine_answers_its_ask_even_when_the_output_is_on() {
    let mut evening = Evening::rested(terms(), 0.01);
    evening.reads(7000, 100, window);
    assert!(evening.open.is_some());
    evening.answer(Answer::Ready);
    evening.reads(60_000, 100, window);
    assert_eq!(evening.finding().shape, Shape::Steady);
}

#[test]
fn again_ends_the_log_and_begins_another_on_a_fresh_touch() {
    let mut evening = Evening::rested(terms(), 0.01);
    evening.answer(Answer::Again);
    evening.reads(4200, 100, |_| 0.01);
    assert_eq!(evening.closed(), [LogEnd::TakenBack]);
    assert_eq!(evening.open, Some(place()));
    let before = evening.rows.len();
    evening.reads(5000, 100, |_| 99.0);
    assert_eq!(evening.rows.len(), before, "leads on their way are in no log");
    evening.answer(Answer::Ready);
    evening.reads(9000, 100, |_| 0.02);
    evening.answer(Answer::Ready);
    evening.reads(60_000, 100, |t| window(t - 5.0));
    assert_eq!(evening.closed(), [LogEnd::TakenBack, LogEnd::Dropped]);
    assert_eq!(evening.finding().readings, (evening.rows.len() - before) as u64);
    assert_eq!(evening.finding().alarm_volts, Some(13.6));
}

#[test]
fn again_without_a_capture_is_objected_to() {
    let mut evening = Evening::begun(terms());
    evening.answer(Answer::Acknowledged);
    evening.answer(Answer::Acknowledged);
    evening.answer(Answer::Again);
    assert_eq!((evening.objections, evening.open.clone()), (1, Some(place())));
}

#[test]
fn without_an_alarm_only_the_level_at_rest_is_known() {
    let mut evening = Evening::rested(terms(), 0.25);
    evening.answer(Answer::Skip);
    evening.reads(4500, 100, |_| 0.25);
    assert_eq!(evening.end, Some((0, None)));
    assert_eq!(evening.closed(), [LogEnd::NoAlarm]);
    assert_eq!(evening.finding().rest_volts, Some(0.25));
    let warnings = &evening.finding().warnings;
    assert!(warnings.iter().any(|w| w.contains("not brought into alarm")), "{warnings:?}");
}

#[test]
fn terminals_out_of_reach_end_the_run() {
    let mut evening = Evening::begun(terms());
    evening.answer(Answer::Acknowledged);
    evening.answer(Answer::Acknowledged);
    evening.answer(Answer::Skip);
    assert_eq!(evening.end.as_ref().map(|(exit, _)| *exit), Some(1));
}

#[test]
fn an_output_that_is_on_already_is_taken_out_of_alarm_first() {
    let mut evening = Evening::begun(terms());
    for answer in [Answer::Acknowledged, Answer::Acknowledged, Answer::Ready] {
        evening.answer(answer);
    }
    evening.reads(1000, 100, |_| 13.4);
    assert_eq!(evening.open, Some(Ask::Alarm { state: AlarmState::Off }));
    evening.answer(Answer::Ready);
    evening.reads(5000, 100, |_| 0.03);
    assert_eq!(evening.open, Some(Ask::Alarm { state: AlarmState::On }));
    let rest = evening.guide.record().rest.as_ref().and_then(|rest| rest.value);
    assert!((rest.unwrap() - 0.03).abs() < 1e-9);
}

#[test]
fn what_is_no_low_voltage_output_is_left_alone() {
    let mut evening = Evening::begun(terms());
    for answer in [Answer::Acknowledged, Answer::Acknowledged, Answer::Ready] {
        evening.answer(answer);
    }
    evening.reads(2000, 100, |_| 110.0);
    let (exit, reason) = evening.end.clone().unwrap();
    assert_eq!(exit, 1);
    assert!(reason.unwrap().contains("take the leads off"));
    let mut later = Evening::rested(terms(), 0.01);
    later.answer(Answer::Ready);
    later.reads(60_000, 100, |t| if t > 6.0 { 230.0 } else { 0.01 });
    assert_eq!((later.end.clone().unwrap().0, later.closed()), (1, vec![LogEnd::TooHigh]));
    assert!(later.now_ms < 6500);
}

#[test]
fn a_dial_meter_is_turned_to_volts_before_the_leads_touch_and_after_a_knock() {
    let mut evening = Evening::with(Output::new(terms()));
    evening.give(Input::Begun);
    evening.give(Input::MeterAnswered(meter(false), None));
    evening.answer(Answer::Acknowledged);
    evening.answer(Answer::Acknowledged);
    let dial = Ask::Dial { function: Function::VoltageDc };
    assert_eq!(evening.open, Some(dial.clone()));
    evening.answer(Answer::Ready);
    assert_eq!(evening.open, Some(place()));
    evening.answer(Answer::Ready);
    evening.reads(4000, 100, |_| 0.01);
    evening.answer(Answer::Ready);
    evening.reads(8000, 100, window);
    for _ in 0..OTHER_FUNCTION_MIN {
        evening.give(Input::OtherFunctionArrived);
    }
    assert_eq!(evening.open, Some(dial));
    evening.answer(Answer::Ready);
    evening.reads(60_000, 100, window);
    assert_eq!(evening.finding().shape, Shape::Steady);
}

#[test]
fn a_level_that_does_not_settle_ends_the_run_with_a_reason() {
    let mut evening = Evening::begun(terms());
    for answer in [Answer::Acknowledged, Answer::Acknowledged, Answer::Ready] {
        evening.answer(answer);
    }
    while evening.end.is_none() && evening.now_ms < 100_000 {
        evening.reads(evening.now_ms + 100, 100, |t| (t * 40.0).sin());
        if evening.guide.wake_at().is_some_and(|due| due <= at(evening.now_ms)) {
            evening.give(Input::DeadlineReached);
        }
    }
    let (exit, reason) = evening.end.clone().unwrap();
    assert!(exit == 1 && reason.unwrap().contains("does not settle"));
}
