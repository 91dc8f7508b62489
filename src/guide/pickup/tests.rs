//! A drive that was on when a run broke off: nothing is placed before it is off, and whoever stops
//! a run is told that it is still on. Facts are replayed as from a record; nothing waits, and no
//! reading arrives.

use super::*;
use crate::event::{RunStart, RunTerms};
use crate::guide::settling::UNSETTLED_MAX;

fn start() -> PickUpStart {
    let pins = |a: &str, b: &str| [Pin::new(a), Pin::new(b)];
    PickUpStart {
        coil_celsius_max: 85.0,
        rated_volts: Some(12.0),
        ..PickUpStart::usual(pins("1", "2"), pins("3", "4"))
    }
}

fn part(resumed: bool) -> Event {
    Event::RunStarted(RunStart {
        version: "0".into(),
        simulated: true,
        resumed,
        torn_bytes: 0,
        meter: "sim:".into(),
        profile: "scpi".into(),
        terms: RunTerms::PickUp(start()),
    })
}

fn meter() -> MeterIdentity {
    let (identity, link, profile) = ("m".into(), "sim:".into(), "scpi".into());
    MeterIdentity { identity, link, profile, commanded: true }
}

/// Up to a drive of 6 V, the leads on the witness.
fn driven() -> PickUp {
    let (start, settling) = (start(), Settling::default());
    let terms = Terms { start: start.clone(), simulated: true, settling, accept_meter: false };
    let mut guide = PickUp::new(terms);
    let cautions = [Caution::DeadCircuit, Caution::NotACertificate, Caution::CoilDrive];
    let [plus, minus] = start.coil;
    let [red, black] = start.contact;
    let facts = [part(false), Event::MeterIdentified(meter())]
        .into_iter()
        .chain(cautions.map(|caution| Event::CautionAcknowledged { caution, text: "t".into() }))
        .chain([
            Event::LeadsPlaced(Placement { touch: 1, red, black, lead_moves: 2 }),
            Event::DriveChanged(DriveState::Energised { plus, minus, volts: 6.0 }),
        ]);
    facts.for_each(|fact| guide.apply(&fact));
    guide
}

#[test]
fn a_drive_that_was_on_comes_off_before_the_leads_are_placed_again() {
    let mut guide = driven();
    guide.apply(&part(true));
    assert!(guide.handle(Input::MeterAnswered(meter(), None), Moment::START).is_empty());
    assert_eq!(guide.next(Moment::START), Action::Ask(Ask::Drive(DriveState::Rest)));
}

// The loop says it, however a run ends: `program_answers.rs`, and the campaign of simulated runs.
#[test]
fn a_run_that_is_stopped_while_driven_knows_its_drive_until_the_end() {
    let mut guide = driven();
    assert!(guide.handle(Input::StopRequested("interrupted".into()), Moment::START).is_empty());
    assert_eq!(guide.next(Moment::START), Action::Finish(4, Some("interrupted".into())));
    assert!(
        matches!(guide.drive(), DriveState::Energised { volts: 6.0, .. }),
        "{:?}",
        guide.drive()
    );
}

#[test]
fn readings_that_do_not_settle_are_tried_again_and_then_decide_nothing() {
    let mut guide = driven();
    let _ = guide.handle(Input::MeterAnswered(meter(), None), Moment::START);
    for attempt in 1..=UNSETTLED_MAX {
        let mut listens = guide.next(Moment::START);
        while let Action::Ask(_) = listens {
            for fact in guide.handle(Input::AnswerReceived(Answer::Ready), Moment::START) {
                guide.apply(&fact);
            }
            listens = guide.next(Moment::START);
        }
        assert!(
            matches!(listens, Action::Measure(Function::Resistance, _)),
            "{attempt}: {listens:?}"
        );
        let due = guide.wake_at().unwrap();
        let told = guide.handle(Input::DeadlineReached, due);
        assert!(matches!(told[..], [Event::MeterComplained { .. }]), "{attempt}: {told:?}");
    }
    let end = guide.next(Moment::START);
    assert!(
        matches!(end, Action::Finish(1, Some(_))),
        "no abort, which is the operator's: {end:?}"
    );
}
