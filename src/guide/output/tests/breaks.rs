//! Evenings that are broken off: the link lost, the program killed, the operator gone. What was
//! written down and the rows of the log are all that a run that goes on has; with them it comes to
//! the same finding as an evening that nobody disturbed, and asks for nothing twice.

use super::*;

#[test]
fn a_lost_link_is_a_gap_in_the_same_log() {
    let mut evening = Evening::rested(terms(), 0.01);
    evening.answer(Answer::Ready);
    evening.reads(9000, 100, window);
    evening.give(Input::MeterLost("pulled".into()));
    let epoch = evening.epoch.take();
    evening.now_ms = 12_000;
    evening.give(Input::DeadlineReached);
    assert_eq!(evening.epoch, None, "nothing is ordered of a meter that is away");
    evening.give(Input::MeterAnswered(meter(true), Some(3.0)));
    assert!(evening.epoch > epoch, "what comes now belongs to a new order");
    evening.reads(60_000, 100, window);
    let finding = evening.finding();
    assert_eq!((finding.counts.gaps, evening.closed()), (1, vec![LogEnd::Dropped]));
    assert!((finding.window_s.unwrap() - 10.0).abs() < 0.2, "the clock went on");
}

#[test]
fn the_end_of_input_is_an_abort_at_any_time() {
    for until in [0, 4000, 9000] {
        let mut evening = Evening::rested(terms(), 0.01);
        if until > 4000 {
            evening.answer(Answer::Ready);
            evening.reads(until, 100, window);
        }
        evening.give(Input::StopRequested("the operator's input ended".into()));
        assert_eq!(evening.end.as_ref().map(|(exit, _)| *exit), Some(4));
    }
}

#[test]
fn a_run_that_broke_off_anywhere_goes_on_to_the_same_finding() {
    let mut whole = Evening::rested(terms(), 0.01);
    whole.answer(Answer::Ready);
    whole.reads(60_000, 100, window);
    let expected = whole.finding().clone();
    for cut_ms in (5000..20_900).step_by(700) {
        let mut first = Evening::rested(terms(), 0.01);
        first.answer(Answer::Ready);
        first.reads(cut_ms, 100, window);
        // The log began when the rest was settled; wall time tells how long ago.
        let began_s = first.now_ms as f64 / 1e3 - first.rows.last().unwrap().0;
        let at_s = cut_ms as f64 / 1e3 - began_s;
        let mut second = Evening::with(Output::new(Terms { goes_on_at_s: at_s, ..terms() }));
        for fact in &first.facts {
            second.record(fact.clone());
        }
        for (t_s, volts) in &first.rows {
            second.guide.recall(*t_s, *volts);
        }
        second.rows.clone_from(&first.rows);
        second.give(Input::Begun);
        second.give(Input::MeterAnswered(meter(true), None));
        assert_eq!(second.asks, [], "cut at {cut_ms}: nothing is asked again");
        second.reads(60_000, 100, |t| window(t + cut_ms as f64 / 1e3));
        let found = second.finding();
        assert_eq!(found.shape, expected.shape, "cut at {cut_ms}");
        assert_eq!(found.readings, expected.readings, "cut at {cut_ms}");
        let off = (found.window_s.unwrap() - expected.window_s.unwrap()).abs();
        assert!(off < 1e-6, "cut at {cut_ms}: {found:?}");
        assert_eq!(second.closed(), [LogEnd::Dropped]);
    }
}

#[test]
fn a_run_that_broke_off_between_the_log_and_its_finding_needs_no_meter() {
    let mut whole = Evening::rested(terms(), 0.01);
    whole.answer(Answer::Ready);
    whole.reads(60_000, 100, window);
    let result = whole.facts.iter().position(|f| matches!(f, Event::ResultReached(_))).unwrap();
    for kept in [result - 1, result] {
        let mut second = Evening::with(Output::new(terms()));
        for fact in &whole.facts[..kept] {
            second.record(fact.clone());
        }
        for (t_s, volts) in &whole.rows {
            second.guide.recall(*t_s, *volts);
        }
        second.give(Input::Begun);
        assert_eq!(second.finding(), whole.finding());
        assert_eq!(second.end, Some((0, None)));
    }
}
