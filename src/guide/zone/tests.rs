//! Leads a check against a loop that is a function: volts for rest and for alarm. Readings come
//! every 100 ms; nothing waits. Each claim is one evening at a panel, with what was asked, what was
//! captured and what was found.

use super::*;
use crate::event::{
    CoilDriven, LoopKind, MeterIdentity, ResistorPlace, ZoneCheckFinding, ZoneContact,
    ZoneFaultCode, ZoneWiring,
};
use crate::fit::spread::Spread;
use crate::zone::{Panel, Parts};
use drivers::{Unit, Value};

const PANEL: &str = include_str!("../../../fixtures/panels/series_3k3_12_volt.toml");
const OPEN: f64 = 12.06;
const AS_DESIGNED: f64 = 4.98;

fn design(tamper: bool) -> Design {
    let wiring = ZoneWiring {
        kind: LoopKind::Series,
        contact: ZoneContact::NormallyClosed,
        place: ResistorPlace::FarEnd,
        drive: CoilDriven::InAlarm,
        tamper,
    };
    let parts =
        Parts { cable_ohms: Spread::exact(9.0), contact_ohms: Spread::between(0.0, 0.1, 1.0) };
    Design::new(Panel::parse(PANEL, "panel").unwrap(), wiring, parts, 100, 1)
}

fn terms(tamper: bool) -> Terms {
    Terms {
        design: design(tamper),
        simulated: true,
        settling: Settling::default(),
        follow_within: Duration::from_secs(2),
        hands_free: false,
        accept_meter: false,
    }
}

struct Evening {
    guide: Zone,
    facts: Vec<Event>,
    asks: Vec<Ask>,
    functions: Vec<Function>,
    log_open: bool,
    rows: u32,
    exit: Option<(u8, Option<String>)>,
}

impl Evening {
    fn with(guide: Zone) -> Self {
        let (facts, asks, functions) = (vec![], vec![], vec![]);
        Self { guide, facts, asks, functions, log_open: false, rows: 0, exit: None }
    }

    fn finding(&self) -> &ZoneCheckFinding {
        self.guide.record().finding.as_ref().expect("a finding")
    }
}

/// Leads a check; `volts` says what the terminals show with the equipment in alarm or not,
/// `answer` what the person says.
fn lead(
    terms: Terms,
    volts: impl Fn(bool, u32) -> f64,
    answer: impl Fn(&Ask) -> Answer,
) -> Evening {
    let guide = Zone::new(terms);
    let mut e = Evening::with(guide);
    let meter = MeterIdentity {
        identity: "m".into(),
        link: "l".into(),
        profile: "scpi".into(),
        commanded: true,
    };
    let mut inputs = vec![Input::MeterAnswered(meter, None), Input::Begun];
    let (mut in_alarm, mut epoch, mut function) = (false, 0, Function::VoltageDc);
    for tick in 0..3000_u32 {
        let now = Moment::from_start(Duration::from_millis(100 * u64::from(tick)));
        let input = inputs.pop().unwrap_or_else(|| {
            let volts = volts(in_alarm, tick);
            let ohms = function == Function::Resistance;
            let value = Value::Number(if ohms { 4.6 } else { volts });
            let unit = if ohms { Unit::Ohm } else { Unit::Volt };
            let u = Some(0.005);
            Input::ReadingArrived(
                epoch,
                Reading { value, unit, function, u, text: String::new(), at: now },
            )
        });
        for fact in e.guide.handle(input, now) {
            e.guide.apply(&fact);
            e.facts.push(fact);
        }
        loop {
            match e.guide.next(now) {
                Action::Nothing => break,
                Action::Record(fact) => {
                    e.guide.apply(&fact);
                    e.facts.push(*fact);
                }
                Action::Ask(ask) => {
                    let said = answer(&ask);
                    if let (Ask::Alarm { state }, Answer::Ready) = (&ask, said) {
                        in_alarm = *state == AlarmState::On;
                    }
                    e.asks.push(ask);
                    inputs.push(Input::AnswerReceived(said));
                }
                Action::AskAgain(problem) => panic!("{problem}"),
                Action::OpenLog(..) => assert!(!std::mem::replace(&mut e.log_open, true)),
                Action::Log(..) => {
                    assert!(e.log_open, "a row without a log");
                    e.rows += 1;
                }
                Action::CloseLog(_) => assert!(std::mem::take(&mut e.log_open)),
                Action::Measure(to, number) => {
                    (function, epoch) = (to, number);
                    e.functions.push(to);
                }
                Action::Finish(exit, reason) => {
                    e.exit = Some((exit, reason));
                    return e;
                }
            }
        }
    }
    panic!("the check does not end: {:?}", e.asks);
}

fn willing(ask: &Ask) -> Answer {
    match ask {
        Ask::Acknowledge { .. } => Answer::Acknowledged,
        _ => Answer::Ready,
    }
}

fn looks_like(e: &Evening, code: ZoneFaultCode) -> bool {
    e.finding().explanations.iter().any(|found| found.code == Some(code))
}

#[test]
fn a_loop_as_designed_passes_and_its_alarm_is_timed() {
    let e = lead(terms(false), |alarm, _| if alarm { OPEN } else { AS_DESIGNED }, willing);
    assert_eq!(e.exit, Some((0, None)));
    let f = e.finding();
    assert_eq!(f.states.iter().map(|s| s.verdict).collect::<Vec<_>>(), [Verdict::Pass; 3]);
    assert!(f.violated_at_s.unwrap() < f.restored_at_s.unwrap(), "{f:?}");
    assert_eq!(f.violations, 1);
    assert!(f.explanations.is_empty());
    assert!(!e.log_open && e.rows > f.readings, "{} rows of {}", e.rows, f.readings);
}

#[test]
fn volts_are_set_before_the_leads_touch_and_ohms_never_on_a_live_loop() {
    let e = lead(terms(false), |alarm, _| if alarm { OPEN } else { AS_DESIGNED }, willing);
    assert_eq!(e.functions, [Function::VoltageDc]);
    assert!(e.asks.iter().all(|ask| !matches!(
        ask,
        Ask::Place { function, .. } if *function != Function::VoltageDc
    )));
    let remark = e.finding().remarks.iter().find(|remark| remark.contains("No ohms"));
    assert!(remark.is_some(), "{:?}", e.finding().remarks);
}

#[test]
fn a_shorted_pair_is_measured_in_ohms_and_named() {
    let e = lead(terms(false), |_, _| 0.012, willing);
    let wanted = [Function::VoltageDc, Function::Resistance, Function::VoltageDc];
    assert_eq!(e.functions, wanted);
    assert_eq!(e.exit.as_ref().unwrap().0, 1);
    assert!(looks_like(&e, ZoneFaultCode::PairShorted), "{:?}", e.finding().explanations);
}

#[test]
fn what_is_wrong_is_named() {
    let cases: [(f64, f64, ZoneFaultCode); 4] = [
        (OPEN, AS_DESIGNED, ZoneFaultCode::OtherContact),
        (OPEN, OPEN, ZoneFaultCode::WireCut),
        (AS_DESIGNED, AS_DESIGNED, ZoneFaultCode::ContactWelded),
        (0.02, OPEN, ZoneFaultCode::ResistorJoined),
    ];
    for (rest, alarm, code) in cases {
        let e = lead(terms(false), |on, _| if on { alarm } else { rest }, willing);
        assert_eq!(e.exit.as_ref().unwrap().0, 1, "{code:?}");
        assert_eq!(e.finding().result, Verdict::Fail, "{code:?}");
        assert!(looks_like(&e, code), "{code:?}: {:?}", e.finding().explanations);
    }
}

#[test]
fn a_state_that_was_not_measured_is_undecided_never_passed() {
    let e = lead(
        terms(false),
        |alarm, _| if alarm { OPEN } else { AS_DESIGNED },
        |ask| match ask {
            Ask::Alarm { .. } => Answer::Skip,
            ask => willing(ask),
        },
    );
    assert_eq!(e.finding().result, Verdict::Undecided);
    assert_eq!(e.exit.as_ref().unwrap().0, 1);
    assert_eq!(e.finding().states[1].volts, None);
}

#[test]
fn a_loop_that_follows_late_is_waited_for() {
    let since = std::cell::Cell::new(None);
    let late = |alarm: bool, tick: u32| {
        if !alarm {
            since.set(None);
            return AS_DESIGNED;
        }
        let began = since.get().unwrap_or(tick);
        since.set(Some(began));
        if tick < began + 15 { AS_DESIGNED } else { OPEN }
    };
    let e = lead(terms(false), late, willing);
    assert_eq!(e.finding().result, Verdict::Pass, "{:?}", e.finding());
}

#[test]
fn a_level_between_the_bands_is_not_passed() {
    // 5300 ohm: 6.36 V, within 5 % of the threshold of 5500 ohm.
    let e = lead(terms(false), |alarm, _| if alarm { OPEN } else { 6.36 }, willing);
    assert_eq!(e.finding().states[0].verdict, Verdict::Undecided, "{:?}", e.finding());
}

#[test]
fn more_than_extra_low_voltage_ends_the_check() {
    let e = lead(terms(false), |_, _| 230.0, willing);
    assert_eq!(e.exit.as_ref().unwrap().0, 1);
    assert!(e.guide.record().finding.is_none());
}

#[test]
fn a_replayed_record_stands_where_the_run_stood() {
    let e = lead(terms(true), |alarm, _| if alarm { OPEN } else { AS_DESIGNED }, willing);
    for cut in 0..=e.facts.len() {
        let mut again = Record::new(design(true));
        e.facts[..cut].iter().for_each(|fact| again.apply(fact));
        if cut == e.facts.len() {
            assert_eq!(again.finding.as_ref(), Some(e.finding()));
        }
    }
    // A tamper contact that changes nothing is a failure, not a pass.
    assert_eq!(e.finding().states[3].verdict, Verdict::Fail);
    assert!(e.asks.iter().any(|ask| matches!(ask, Ask::Place { why: Some(why), .. }
        if why.contains("tamper"))));
}
