//! Boards with a known truth, tested on the simulated bench by the shipped plans: good ones pass,
//! each bad one fails in the checks that its fault is about and in no other, and a lead that was
//! put elsewhere is noticed and costs one touch, not a board. No run may be a hazard.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "what a test rests on and does not find fails the test"
)]

mod boarded;

use boarded::{Instead, Led, bench, lead, plan, start};
use coilmark::event::{Answer, Ask, BoardFinding, DriveState, Event, Pin, Verdict};

fn tested(name: &str) -> Led {
    let bench = bench(name);
    let led = lead(&bench, &start(plan("changeover-12v"), Some("A1")), &[], |_, _| None);
    assert_eq!(bench.hazards(), [], "{name}");
    led
}

fn named(finding: &BoardFinding, verdict: Verdict) -> Vec<String> {
    let of = finding.checks.iter().filter(|check| check.verdict == verdict);
    of.map(|check| check.check.clone()).collect()
}

#[test]
fn a_good_board_passes_with_a_budget_behind_every_number() {
    let led = tested("good");
    let finding = led.findings()[0];
    assert_eq!(finding.result, Verdict::Pass, "{finding:#?}");
    assert_eq!(led.exit, 0);
    for check in finding.checks.iter().filter(|check| check.value.is_some()) {
        let parts: f64 = check.budget.iter().map(|line| line.part).sum();
        let combined = check.u.unwrap();
        assert!((parts - 1.0).abs() < 1e-9, "{check:#?}");
        let k = check.coverage_factor.unwrap();
        assert!((check.expanded.unwrap() / (k * combined) - 1.0).abs() < 1e-12 && k > 1.95);
    }
    let coil = finding.checks.iter().find(|c| c.check == "input ohms IN+-IN-").unwrap();
    assert!((coil.value.unwrap() - 360.0).abs() < coil.expanded.unwrap(), "{coil:#?}");
    let contact = finding.checks.iter().find(|c| c.check.starts_with("contact ohms")).unwrap();
    assert!((contact.value.unwrap() - 0.05).abs() < contact.expanded.unwrap(), "{contact:#?}");
}

/// What the operator is told on the way is what the finding says at the end.
#[test]
fn each_check_is_told_as_it_is_judged_and_its_last_verdict_is_the_findings() {
    for name in ["good", "high_contact", "swapped_contacts"] {
        let led = tested(name);
        let finding = led.findings()[0];
        let judged = led.facts.iter().filter_map(|fact| match fact {
            Event::CheckJudged(news) => Some(news),
            _ => None,
        });
        let told: Vec<_> = judged.collect();
        for check in finding.checks.iter().filter(|check| check.capture.is_some()) {
            let last = told.iter().rfind(|news| news.check == check.check);
            assert_eq!(last.map(|news| news.verdict), Some(check.verdict), "{name}: {check:?}");
        }
        let all = u32::try_from(finding.checks.len()).unwrap();
        assert!(told.iter().all(|news| news.of == all && (1..=all).contains(&news.done)));
        // Nothing is told twice: a check comes again only with another verdict.
        for (n, news) in told.iter().enumerate() {
            let before = told[..n].iter().rfind(|earlier| earlier.check == news.check);
            assert!(before.is_none_or(|before| before.verdict != news.verdict), "{name}: {news:?}");
        }
        assert_eq!(told.last().map(|news| news.done), Some(all), "{name}");
    }
}

#[test]
fn hands_move_few_leads_and_drive_a_contact_once_up_and_down() {
    let finding = tested("good").findings()[0].clone();
    // Leads null, input both ways round, two contacts and one pair: six placements.
    assert_eq!(finding.placements, 6);
    assert!(finding.lead_moves <= 9, "{} lead moves", finding.lead_moves);
    // Must-operate, nominal, drop-out, rest, on each of two contacts.
    assert_eq!(finding.drive_changes, 8);
}

#[test]
fn each_fault_fails_where_it_is_and_nowhere_else() {
    let faults: [(&str, &[&str]); 6] = [
        ("late_pick_up", &["must operate"]),
        ("sticky_drop_out", &["drop-out"]),
        ("wrong_coil", &["input ohms"]),
        ("high_contact", &["must operate", "changeover", "contact ohms"]),
        ("welded", &["must operate", "changeover", "rest", "drop-out", "contact ohms"]),
        ("swapped_contacts", &["must operate", "changeover", "rest", "drop-out", "contact ohms"]),
    ];
    for (name, about) in faults {
        let led = tested(name);
        let finding = led.findings()[0];
        let failed = named(finding, Verdict::Fail);
        assert!(!failed.is_empty() && led.exit == 1, "{name}: {finding:#?}");
        for check in &failed {
            assert!(about.iter().any(|about| check.starts_with(about)), "{name}: {check} failed");
        }
        let first = about[0];
        assert!(failed.iter().any(|check| check.starts_with(first)), "{name}: {failed:?}");
    }
}

#[test]
fn an_open_input_is_never_driven() {
    let led = tested("open_coil");
    let drives = |ask: &&Ask| matches!(ask, Ask::Drive(DriveState::Energised { .. }));
    assert_eq!(led.asks.iter().filter(drives).count(), 0);
    let finding = led.findings()[0];
    assert_eq!(finding.result, Verdict::Fail);
    let untested = finding.checks.iter().find(|c| c.check.starts_with("changeover")).unwrap();
    assert_eq!(untested.note.as_deref(), Some("not driven: the input is open"));
}

#[test]
fn an_input_above_the_limit_of_power_is_never_driven() {
    let mut limited = plan("changeover-12v");
    limited.supply.watts_max = 0.2;
    let bench = bench("good");
    let led = lead(&bench, &start(limited, Some("A1")), &[], |_, _| None);
    let drives = |ask: &&Ask| matches!(ask, Ask::Drive(DriveState::Energised { .. }));
    assert_eq!(led.asks.iter().filter(drives).count(), 0);
    assert_eq!(led.findings()[0].result, Verdict::Undecided);
}

#[test]
fn exchanged_wires_are_recognised_from_the_pattern() {
    let led = tested("swapped_contacts");
    let remarks = &led.findings()[0].remarks;
    assert!(remarks.iter().any(|r| r.contains("NC and NO are exchanged")), "{remarks:?}");
    assert!(tested("good").findings()[0].remarks.is_empty());
}

#[test]
fn a_lead_on_the_wrong_terminal_is_said_and_costs_one_touch() {
    let bench = bench("good");
    let mut misplaced = false;
    let led = lead(&bench, &start(plan("changeover-12v"), Some("A1")), &[], |_, ask| match ask {
        Ask::Place { red, black, .. } if !misplaced && pair(red, black, "COM", "NC") => {
            misplaced = true;
            Some(Instead::Misplace("COM", "NO"))
        }
        _ => None,
    });
    let finding = led.findings()[0];
    assert_eq!(finding.result, Verdict::Pass, "{finding:#?}");
    assert_eq!(finding.placements, 7);
    let whys: Vec<String> = led.places().into_iter().map(|(_, _, why)| why).collect();
    assert!(whys.iter().any(|why| why.contains("reads open, not closed")), "{whys:#?}");
}

#[test]
fn leads_on_the_input_are_told_from_leads_on_a_contact() {
    let bench = bench("good");
    let mut misplaced = false;
    let led = lead(&bench, &start(plan("changeover-12v"), Some("A1")), &[], |_, ask| match ask {
        Ask::Place { red, black, .. } if !misplaced && pair(red, black, "COM", "NC") => {
            misplaced = true;
            Some(Instead::Misplace("IN+", "IN-"))
        }
        _ => None,
    });
    let whys: Vec<String> = led.places().into_iter().map(|(_, _, why)| why).collect();
    let said = |why: &String| why.contains("the input's ohms") && why.contains("would");
    assert!(whys.iter().any(said), "{whys:#?}");
    assert_eq!(led.findings()[0].result, Verdict::Pass);
}

fn pair(red: &Pin, black: &Pin, a: &str, b: &str) -> bool {
    let labels = [red.label(), black.label()];
    labels.contains(&a) && labels.contains(&b)
}

#[test]
fn a_serial_number_that_failed_has_only_that_repeated() {
    let first = tested("late_pick_up");
    let mut batch = start(plan("changeover-12v"), None);
    batch.batch = true;
    let repaired = bench("good");
    let mut serials = ["A1", "A2"].into_iter();
    let led = lead(&repaired, &batch, &first.facts, |_, ask| match ask {
        Ask::Serial { .. } => {
            Some(serials.next().map_or(Instead::Say(Answer::Ready), Instead::Name))
        }
        _ => None,
    });
    let findings = led.findings();
    let results: Vec<_> =
        findings.iter().map(|f| (f.serial.as_str(), f.result, f.repeats)).collect();
    assert_eq!(
        results,
        [("A1", Verdict::Fail, 0), ("A1", Verdict::Pass, 1), ("A2", Verdict::Pass, 0)]
    );
    assert!(findings[1].placements < findings[2].placements, "{:#?}", findings[1]);
    let carried = |c: &&coilmark::event::CheckFound| {
        c.note.as_deref() == Some("passed in the earlier test of this board")
    };
    assert!(findings[1].checks.iter().filter(carried).count() > 6);
    assert_eq!((led.exit, led.reason.as_deref()), (0, None));
}

#[test]
fn an_odd_serial_number_is_refused_and_asked_for_again() {
    use coilmark::event::{Action, Input};
    use coilmark::guide::Guide;
    let mut batch = start(plan("changeover-12v"), None);
    batch.batch = true;
    let mut guide = coilmark::guide::board::Boards::new(coilmark::guide::board::Terms {
        start: batch.clone(),
        plan: coilmark::board::Plan::new(batch.plan.clone()).unwrap(),
        simulated: true,
        settling: coilmark::guide::settling::Settling::default(),
        hands_free: false,
        accept_meter: false,
    });
    let now = drivers::Moment::START;
    // Before any ask for it a serial number means nothing.
    assert_eq!(guide.handle(Input::TextReceived("A1".into()), now), []);
    guide.apply(&boarded::begun(&batch));
    for caution in [coilmark::event::Caution::DeadBoard, coilmark::event::Caution::NoInsulationTest]
    {
        guide.apply(&Event::CautionAcknowledged { caution, text: String::new() });
    }
    guide.apply(&Event::MeterIdentified(coilmark::event::MeterIdentity {
        identity: String::new(),
        link: String::new(),
        profile: String::new(),
        commanded: true,
    }));
    assert!(matches!(guide.next(now), Action::Ask(Ask::Serial { last: None })));
    for odd in ["", "  ", "a\u{202e}b", "\u{7}", &"x".repeat(41)] {
        assert_eq!(guide.handle(Input::TextReceived(odd.into()), now), [], "{odd:?}");
        assert!(matches!(guide.next(now), Action::AskAgain(_)), "{odd:?}");
    }
    let begun = guide.handle(Input::TextReceived(" A-17 ".into()), now);
    assert_eq!(begun, [Event::BoardBegun { serial: "A-17".into() }]);
}

#[test]
fn a_run_that_broke_off_goes_on_without_asking_again() {
    let whole = tested("good");
    let cut = whole.facts.iter().rposition(|f| matches!(f, Event::ReadingCaptured(_))).unwrap() / 2;
    let bench = bench("good");
    let led = lead(&bench, &start(plan("changeover-12v"), None), &whole.facts[..cut], |_, _| None);
    let finding = led.findings()[0];
    assert_eq!((finding.result, finding.serial.as_str()), (Verdict::Pass, "A1"));
    let captured = |facts: &[Event]| {
        facts.iter().filter(|f| matches!(f, Event::ReadingCaptured(c) if c.red != c.black)).count()
    };
    assert_eq!(captured(&led.facts), captured(&whole.facts));
}

#[test]
fn what_cannot_be_reached_stays_undecided_and_says_so() {
    let bench = bench("good");
    let led = lead(&bench, &start(plan("changeover-12v"), Some("A1")), &[], |_, ask| match ask {
        Ask::Place { red, black, .. } if pair(red, black, "COM", "NO") => {
            Some(Instead::Say(Answer::Skip))
        }
        _ => None,
    });
    let finding = led.findings()[0];
    assert_eq!((finding.result, led.exit), (Verdict::Undecided, 1));
    let undecided = named(finding, Verdict::Undecided);
    assert!(
        undecided.iter().all(|check| check.contains("NO")) && undecided.len() == 5,
        "{undecided:?}"
    );
}

#[test]
fn leads_that_read_too_much_leave_what_stands_on_them_undecided() {
    let bench = bench("good");
    let mut strict = plan("changeover-12v");
    strict.leads.ohms_max = 0.01;
    let led = lead(&bench, &start(strict, Some("A1")), &[], |_, _| None);
    let finding = led.findings()[0];
    assert_eq!(finding.result, Verdict::Undecided);
    let undecided = named(finding, Verdict::Undecided);
    assert!(undecided.iter().all(|c| c.contains("ohms")), "{undecided:?}");
    assert_eq!(led.places().iter().filter(|(red, black, _)| red == black).count(), 3);
}

#[test]
fn the_indicator_s_current_has_both_its_inputs_in_the_budget() {
    let bench = bench("make_good");
    let led = lead(&bench, &start(plan("make-24v"), Some("M1")), &[], |_, _| None);
    assert_eq!(bench.hazards(), []);
    let finding = led.findings()[0];
    assert_eq!(finding.result, Verdict::Pass, "{finding:#?}");
    let current = finding.checks.iter().find(|c| c.unit == "mA").unwrap();
    // 24 V over 2200 and 300 ohm: 9.6 mA.
    assert!((current.value.unwrap() - 9.6).abs() < current.expanded.unwrap(), "{current:#?}");
    let resistor = current.budget.iter().find(|l| l.component.contains("resistor")).unwrap();
    assert!((resistor.contribution - 9.6 * 0.01 / 3f64.sqrt()).abs() < 1e-3, "{resistor:?}");
}
