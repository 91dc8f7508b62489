//! Leads a whole identification on the simulated bench in simulated time, without a link: asks go
//! to the hands, readings come from the meter model, facts go to a list. Nothing sleeps, and the
//! same seed gives the same run.

#![allow(dead_code, reason = "each test program uses its own part of this")]

use coilmark::bench::{Bench, BenchOptions, Part};
use coilmark::event::{
    Action, Answer, Ask, Event, Finding, IdentifyFinding, IdentifyStart, Input, MeterIdentity, Pins,
};
use coilmark::guide::Guide;
use coilmark::guide::identify::{Identify, Terms};
use coilmark::guide::settling::Settling;
use coilmark::relay::{Channel, Footprint};
use drivers::{Function, Reading, Value};

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
    /// The finding.
    pub fn finding(&self) -> &IdentifyFinding {
        let found = self.facts.iter().find_map(|fact| match fact {
            Event::ResultReached(finding) => match finding {
                Finding::Identify(finding) => Some(finding),
                other => panic!("another finding: {other:?}"),
            },
            _ => None,
        });
        found.unwrap_or_else(|| panic!("no finding; exit {} {:?}", self.exit, self.reason))
    }
}

/// Usual terms for a part with these pins.
pub fn terms(pins: &Pins, footprint: Option<&str>) -> Terms {
    Terms {
        simulated: true,
        start: IdentifyStart {
            footprint: footprint.map(str::to_owned),
            ..IdentifyStart::usual(pins.clone())
        },
        footprint: footprint.map(|text| text.parse::<Footprint>().expect("a footprint")),
        settling: Settling::default(),
        hands_free: false,
        accept_meter: false,
        channel: Channel::default(),
    }
}

/// The part of a fixture.
pub fn part(name: &str) -> Part {
    let path = format!("{}/fixtures/relays/{name}.toml", env!("CARGO_MANIFEST_DIR"));
    Part::load(std::path::Path::new(&path)).unwrap_or_else(|bad| panic!("{bad}"))
}

/// What the bench's meter says of itself.
pub fn meter() -> MeterIdentity {
    MeterIdentity {
        identity: "bench".into(),
        link: "sim:".into(),
        profile: "scpi".into(),
        commanded: true,
    }
}

/// Leads a run to its end; `intervene` may answer an ask in place of the hands.
pub fn lead(
    bench: &Bench,
    terms: Terms,
    past: &[Event],
    mut intervene: impl FnMut(usize, &Ask, &mut Vec<Event>) -> Option<Answer>,
) -> Led {
    let mut guide = Identify::new(terms);
    for fact in past {
        guide.apply(fact);
    }
    let mut led = Led { facts: past.to_vec(), asks: Vec::new(), exit: 255, reason: None };
    let mut measuring = (Function::Resistance, 0);
    let mut inputs = vec![Input::MeterAnswered(meter(), None), Input::Begun];
    for _ in 0..200_000 {
        let input = inputs.pop().unwrap_or_else(|| {
            let (value, unit) = bench.read(measuring.0);
            let u = value.number().map(|x| (0.005 * x.abs() + 0.05) / 3f64.sqrt());
            let text = match value {
                Value::Number(x) => format!("{x:+.6E}"),
                other => format!("{other:?}"),
            };
            let (function, at) = (measuring.0, bench.now());
            Input::ReadingArrived(measuring.1, Reading { value, unit, function, u, text, at })
        });
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
                    let number = led.asks.len();
                    let answer = intervene(number, &ask, &mut led.facts)
                        .unwrap_or_else(|| bench.perform(&ask));
                    led.asks.push(ask);
                    inputs.push(Input::AnswerReceived(answer));
                }
                Action::AskAgain(problem) => panic!("the hands' answer was refused: {problem}"),
                Action::Measure(function, epoch) => measuring = (function, epoch),
                other @ (Action::OpenLog(..) | Action::Log(..) | Action::CloseLog(_)) => {
                    panic!("an identification keeps no log: {other:?}")
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

/// Identifies a fixture with these options, all asks going to the hands.
pub fn identify(name: &str, options: BenchOptions) -> (Bench, Led) {
    let part = part(name);
    let terms = terms(&part.pins, part.footprint.as_deref());
    let bench = Bench::new(part, options);
    let led = lead(&bench, terms, &[], |_, _, _| None);
    (bench, led)
}
