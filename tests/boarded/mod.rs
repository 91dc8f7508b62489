//! Leads tests of boards on the simulated bench in simulated time, without a link: asks go to the
//! hands, readings come from the meter model, facts go to a list. Nothing sleeps, and the same
//! seed gives the same run. What is wrong with the run, a test reads off the facts.

#![allow(dead_code, reason = "each test program uses its own part of this")]

use coilmark::bench::{Bench, BenchOptions, Part, SlipRates};
use coilmark::board::Plan;
use coilmark::event::{
    Action, Answer, Ask, BoardFinding, BoardPlan, BoardStart, Event, Finding, Input, MeterIdentity,
    Pin, RunStart, RunTerms,
};
use coilmark::guide::Guide;
use coilmark::guide::board::{Boards, Terms};
use coilmark::guide::settling::Settling;
use drivers::{Function, Reading, Value};

/// What the hands do about an ask in place of what is asked.
pub enum Instead {
    /// Give this answer and do nothing.
    Say(Answer),
    /// Give this serial number.
    Name(&'static str),
    /// Put the leads on these terminals, and say that it was done.
    Misplace(&'static str, &'static str),
}

/// A run that has come to its end.
pub struct Led {
    /// Every fact, in order.
    pub facts: Vec<Event>,
    /// Every ask, in order.
    pub asks: Vec<Ask>,
    /// The exit code.
    pub exit: u8,
    /// Why, if it says.
    pub reason: Option<String>,
}

impl Led {
    /// Every finding, in order.
    pub fn findings(&self) -> Vec<&BoardFinding> {
        let of = |fact| match fact {
            &Event::ResultReached(Finding::Board(ref finding)) => Some(&**finding),
            _ => None,
        };
        self.facts.iter().filter_map(of).collect()
    }

    /// The place asks.
    pub fn places(&self) -> Vec<(String, String, String)> {
        let of = |ask: &Ask| match ask {
            Ask::Place { red, black, why, .. } => {
                Some((red.to_string(), black.to_string(), why.clone().unwrap_or_default()))
            }
            _ => None,
        };
        self.asks.iter().filter_map(of).collect()
    }
}

/// A file of the tree.
pub fn text(path: &str) -> String {
    std::fs::read_to_string(format!("{}/{path}", env!("CARGO_MANIFEST_DIR"))).expect(path)
}

/// A shipped plan.
pub fn plan(name: &str) -> BoardPlan {
    toml::from_str(&text(&format!("fixtures/boards/{name}.toml"))).expect("a plan")
}

/// A board on the bench, hands that do not slip.
pub fn bench(name: &str) -> Bench {
    let part = Part::parse(&text(&format!("fixtures/boards/sim/{name}.toml")), name);
    let part = part.unwrap_or_else(|bad| panic!("{bad}"));
    Bench::new(part, BenchOptions { slips: SlipRates::NONE, ..BenchOptions::default() })
}

/// How a run of one board begins.
pub fn start(plan: BoardPlan, serial: Option<&str>) -> BoardStart {
    let serial = serial.map(str::to_owned);
    BoardStart { plan, serial, batch: false, by: None, ambient_celsius: Some(20.0) }
}

/// The event that begins it.
pub fn begun(start: &BoardStart) -> Event {
    Event::RunStarted(RunStart {
        version: "0".into(),
        simulated: true,
        resumed: false,
        torn_bytes: 0,
        meter: "sim:".into(),
        profile: "scpi".into(),
        terms: RunTerms::Board(Box::new(start.clone())),
    })
}

/// Leads a run to its end after `past`.
pub fn lead(
    bench: &Bench,
    start: &BoardStart,
    past: &[Event],
    mut instead: impl FnMut(usize, &Ask) -> Option<Instead>,
) -> Led {
    let mut guide = Boards::new(Terms {
        start: start.clone(),
        plan: Plan::new(start.plan.clone()).unwrap_or_else(|bad| panic!("{bad}")),
        simulated: true,
        settling: Settling::default(),
        hands_free: false,
        accept_meter: false,
    });
    let mut led = Led { facts: past.to_vec(), asks: Vec::new(), exit: 255, reason: None };
    led.facts.push(begun(start));
    led.facts.iter().for_each(|fact| guide.apply(fact));
    let meter = MeterIdentity {
        identity: "bench".into(),
        link: "sim:".into(),
        profile: "scpi".into(),
        commanded: true,
    };
    let mut measuring = (Function::Resistance, 0);
    let mut inputs = vec![Input::MeterAnswered(meter, None), Input::Begun];
    for _ in 0..200_000 {
        let input = inputs.pop().unwrap_or_else(|| reading(bench, measuring));
        for fact in guide.handle(input, bench.now()) {
            guide.apply(&fact);
            led.facts.push(fact);
        }
        loop {
            match guide.next(bench.now()) {
                Action::Nothing => break,
                Action::Record(fact) => {
                    guide.apply(&fact);
                    led.facts.push(*fact);
                }
                Action::Ask(ask) => {
                    inputs.push(answer(bench, &ask, instead(led.asks.len(), &ask)));
                    led.asks.push(ask);
                }
                Action::AskAgain(problem) => panic!("the hands' answer was refused: {problem}"),
                Action::Measure(function, epoch) => {
                    // A commanded meter takes its new function at once.
                    bench.perform(&Ask::Dial { function });
                    measuring = (function, epoch);
                }
                Action::OpenLog(..) | Action::Log(..) | Action::CloseLog(_) => {
                    panic!("a board's test keeps no log")
                }
                Action::Finish(exit, reason) => {
                    (led.exit, led.reason) = (exit, reason);
                    return led;
                }
            }
        }
    }
    panic!("the run does not end");
}

fn answer(bench: &Bench, ask: &Ask, instead: Option<Instead>) -> Input {
    match instead {
        None => Input::AnswerReceived(bench.perform(ask)),
        Some(Instead::Say(answer)) => Input::AnswerReceived(answer),
        Some(Instead::Name(serial)) => Input::TextReceived(serial.into()),
        Some(Instead::Misplace(red, black)) => {
            assert!(bench.place(&Pin::new(red), &Pin::new(black)));
            Input::AnswerReceived(Answer::Ready)
        }
    }
}

/// One reading, with the accuracy that the simulated meter has.
fn reading(bench: &Bench, (function, epoch): (Function, u64)) -> Input {
    let (value, unit) = bench.read(function);
    let u = value.number().map(|x| (0.0002 * x.abs() + 0.008) / 3f64.sqrt());
    let text = match value {
        Value::Number(x) => format!("{x:+.6E}"),
        other => format!("{other:?}"),
    };
    let at = bench.now();
    Input::ReadingArrived(epoch, Reading { value, unit, function, u, text, at })
}
