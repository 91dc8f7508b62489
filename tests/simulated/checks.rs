//! What must hold after every part of a simulated run, and of its result at the end: the named
//! pinout is right or undecided; a reading belongs to the placement confirmed last; what is
//! reported is in the journal; the journal verifies; the supply is off, and was on only when asked.

use super::cases::Case;
use super::{Part, World};
use coilmark::bench::{HazardKind, Truth};
use coilmark::event::{
    Capture, DriveState, Event, FaultCode, Finding, Form, IdentifyFinding, Outcome, Pin, Placement,
    Shape, Threshold, Verdict,
};
use coilmark::journal::{self, Entry};
use coilmark::report::{Report, render_json};
use coilmark::run::Exit;
use std::collections::BTreeSet;
use std::path::Path;

/// Holds a part of a run against what must always be so.
pub fn part(world: &World, part: &Part, job: &Path) -> Vec<Entry> {
    let sound = journal::verify(job).unwrap();
    assert!(sound.is_sound(), "the journal does not verify: {sound}");
    let entries = journal::read(job).unwrap().entries;
    let written: Vec<&Event> = entries.iter().skip(part.before).map(|entry| &entry.event).collect();
    let mut shown: Vec<&Event> = part.shown.iter().collect();
    let full = matches!(&part.ended, Some(Err(f)) if f.exit == Exit::RecordNotWritten);
    if full {
        assert!(
            matches!(shown.pop(), Some(Event::RunFinished { exit: 5, .. })),
            "{:?}",
            part.ended
        );
    }
    assert_eq!(written, shown, "what was shown is not what is in the journal");
    assert_eq!(part.misplaced, [""; 0]);
    belongs(&entries);
    supply(world, part);
    entries
}

/// Each capture belongs to the placement before it, with its pins, in the drive that is applied.
fn belongs(entries: &[Entry]) {
    let mut placed: Option<&Placement> = None;
    let mut drive = &DriveState::Rest;
    for entry in entries {
        match &entry.event {
            Event::RunStarted(start) if !start.resumed => drive = &DriveState::Rest,
            Event::LeadsPlaced(placement) => placed = Some(placement),
            Event::DriveChanged(now) => drive = now,
            Event::ReadingCaptured(capture) => {
                let Capture { touch, red, black, .. } = capture;
                let placed = placed.map(|p| (p.touch, &p.red, &p.black));
                assert_eq!(placed, Some((*touch, red, black)), "capture {}", capture.capture);
                assert_eq!(&capture.drive, drive, "capture {}", capture.capture);
            }
            _ => {}
        }
    }
}

/// Off at the end, on only when asked.
fn supply(world: &World, part: &Part) {
    let driven = world.bench.is_driven();
    match (&part.ended, world.is_supplied()) {
        (None, _) => {}
        (Some(ended), true) => assert!(!driven, "the supply is on after {ended:?}"),
        (Some(ended), false) if driven => {
            let says = |event: &Event| {
                matches!(event, Event::RunFinished { reason: Some(reason), .. }
                if reason.contains("take the drive off"))
            };
            let told = part.shown.last().is_some_and(says);
            assert!(told, "nobody is told that the drive is still on: {ended:?}");
            let rest = coilmark::event::Ask::Drive(DriveState::Rest);
            world.bench.perform(&rest);
        }
        (Some(_), false) => {}
    }
    for hazard in world.bench.hazards() {
        let by_slip = hazard.slipped
            // That the current limit of the supply holds is what it is there for.
            || matches!(hazard.kind, HazardKind::CurrentLimit)
                && (world.is_supplied() || !world.plan.is_truthful());
        assert!(by_slip, "{hazard:?}");
    }
}

/// The newest finding of the run that is over.
pub fn finding(entries: &[Entry]) -> &Finding {
    let found = entries.iter().rev().find_map(|entry| match &entry.event {
        Event::ResultReached(finding) => Some(finding),
        _ => None,
    });
    found.expect("a run that is over has a result")
}

/// Whether something was seen under the highest drive of the ladder that was told last.
fn was_driven_to_the_top(entries: &[Entry]) -> bool {
    let ladder = entries.iter().rev().find_map(|entry| match &entry.event {
        Event::LadderPlanned(ladder) => ladder.steps.last(),
        _ => None,
    });
    let seen_at = |volts: f64| {
        entries.iter().any(|entry| match &entry.event {
            Event::ReadingCaptured(capture) => capture.drive.volts() >= volts,
            _ => false,
        })
    };
    ladder.is_some_and(|top| seen_at(top.volts))
}

/// The result against the truth; whether it was decided.
pub fn result(case: &Case, world: &World, entries: &[Entry], breaks: usize) -> bool {
    let finding = finding(entries);
    let truthful = world.plan.is_truthful();
    let what = format!("{}: {finding:#?}", case.name);
    match finding {
        Finding::Identify(found) => {
            if found.result == Outcome::Identified {
                named_right(found, case);
                measured(found, entries);
            } else {
                let sound = case.part.truth.faults.is_empty();
                let dead = found.faults.iter().any(|fault| fault.code == FaultCode::NoResponse);
                let called_dead = || format!("a sound coil is called dead: {what}");
                assert!(!(truthful && sound && dead), "{}", called_dead());
                // Where hands slip too: only one that was driven as high as it may be.
                assert!(!dead || was_driven_to_the_top(entries), "{}", called_dead());
                // A link that breaks again and again is left in the end.
                let calm = world.strikes() < 10;
                assert!(!(truthful && sound && calm), "undecided, and nothing was wrong: {what}");
            }
        }
        Finding::Board(found) if truthful => {
            // A hand-held meter does not see a tenth of an ohm: it cannot decide that.
            let passes = case.name == "good" && case.profile == "scpi";
            assert_eq!(found.result == Verdict::Pass, passes, "{what}");
            assert!(case.name != "good" || found.result != Verdict::Fail, "{what}");
        }
        Finding::PickUp(found) if truthful => {
            let near = |threshold: &Option<Threshold>, truth: f64| {
                let volts = threshold.as_ref().map(|t| t.volts);
                assert!(volts.is_none_or(|volts| (volts - truth).abs() < 0.5), "{what}");
            };
            near(&found.pick_up, 7.8);
            near(&found.drop_out, 3.0);
        }
        Finding::Output(found) if truthful && breaks == 0 && world.strikes() == 0 => {
            let shape = match case.name {
                "pulsed" => Shape::Pulsed,
                "never" => Shape::None,
                _ => Shape::Steady,
            };
            assert_eq!(found.shape, shape, "{what}");
        }
        Finding::ZoneCheck(found) if truthful => {
            let good = case.name == "series_as_designed";
            let surely = breaks == 0 && world.strikes() == 0;
            assert!(good || found.result != Verdict::Pass, "{what}");
            assert!(!(good && surely) || found.result == Verdict::Pass, "{what}");
        }
        _ => {}
    }
    finding.verdict() != Verdict::Undecided
}

/// What is named is the truth.
fn named_right(found: &IdentifyFinding, case: &Case) {
    let truth: &Truth = &case.part.truth;
    let set = |pins: &[Pin]| pins.iter().cloned().collect::<BTreeSet<_>>();
    let both = |a: &Pin, b: &Pin| BTreeSet::from([a.clone(), b.clone()]);
    let pole = |form: Form, common: &[Pin], nc: &[Pin], no: &[Pin]| match form {
        Form::C => (form, BTreeSet::from([set(common)]), set(nc), set(no)),
        // Which side of a make or a break contact is its common cannot be known.
        Form::A => (form, BTreeSet::from([set(common), set(no)]), set(&[]), set(&[])),
        Form::B => (form, BTreeSet::from([set(common), set(nc)]), set(&[]), set(&[])),
    };
    let named: BTreeSet<_> =
        found.poles.iter().map(|p| pole(p.form, &p.common, &p.nc, &p.no)).collect();
    let real: BTreeSet<_> =
        truth.poles.iter().map(|p| pole(p.form, &p.common, &p.nc, &p.no)).collect();
    if truth.faults.is_empty() {
        assert_eq!(named, real, "named wrong: {found:#?}");
        assert_eq!((&found.family, &found.spares), (&truth.family, &truth.spares), "{found:#?}");
    } else {
        assert!(named.is_subset(&real), "named wrong: {found:#?}");
    }
    let coils: BTreeSet<_> = found.coils.iter().map(|c| both(&c.plus, &c.minus)).collect();
    assert_eq!(coils, truth.coils.iter().map(|c| both(&c.plus, &c.minus)).collect(), "{found:#?}");
    let codes: BTreeSet<_> = found.faults.iter().map(|fault| fault.code).collect();
    assert_eq!(codes, truth.faults.iter().copied().collect(), "{found:#?}");
    for (coil, real) in found.coils.iter().zip(&truth.coils) {
        assert!(coil.polarised.is_none_or(|says| says == real.polarised), "{found:#?}");
        if real.polarised && coil.polarised == Some(true) {
            assert_eq!(coil.plus, real.plus, "{found:#?}");
        }
    }
}

/// The ohms that are reported were captured on those pins.
fn measured(found: &IdentifyFinding, entries: &[Entry]) {
    for coil in &found.coils {
        let Some(ohms) = coil.ohms else { continue };
        let captured = entries.iter().any(|entry| match &entry.event {
            Event::ReadingCaptured(c) => {
                let here =
                    [(&c.red, &c.black), (&c.black, &c.red)].contains(&(&coil.plus, &coil.minus));
                here && c.value.is_some_and(|value| (value - ohms).abs() <= 1e-9 * ohms)
            }
            _ => false,
        });
        assert!(captured, "{ohms} ohm of the coil was never captured: {found:#?}");
    }
}

/// What the report says is what the record holds, twice over.
pub fn report(entries: &[Entry]) {
    let text = render_json(&Report::from_entries(entries));
    assert_eq!(text, render_json(&Report::from_entries(entries)));
    let report: serde_json::Value = serde_json::from_str(&text).unwrap();
    let mut finding = serde_json::to_value(finding(entries)).unwrap();
    // A chapter may have its own arrangement of the rest.
    let words = ["result", "reason", "shape", "serial", "family", "marks", "posterior", "panel"];
    finding.as_object_mut().unwrap().retain(|key, _| words.contains(&key.as_str()));
    assert!(holds(&report, &finding), "the report lacks the finding: {finding:#}");
}

/// Whether every field of `wanted` stands somewhere in one object of `tree`.
fn holds(tree: &serde_json::Value, wanted: &serde_json::Value) -> bool {
    use serde_json::Value;
    let here = match (tree, wanted) {
        (Value::Object(all), Value::Object(some)) => {
            some.iter().all(|(key, value)| all.get(key) == Some(value))
        }
        _ => false,
    };
    here || match tree {
        Value::Object(all) => all.values().any(|inside| holds(inside, wanted)),
        Value::Array(all) => all.iter().any(|inside| holds(inside, wanted)),
        _ => false,
    }
}
