//! Talks led through by hand: what is asked in which order, what becomes a fact, what is no fact,
//! and how a talk ends. Time stands still in all of them, since nothing in a talk waits for
//! anything but an answer.

use super::*;

fn talk(topics: &[Topic]) -> Talk {
    Talk::new(Terms { step: JobStep::Board, topics: topics.to_vec(), settles: true })
}

fn point(text: &str) -> Topic {
    Topic::Point(text.into())
}

/// Answers everything in turn; what became fact, and how it ended.
fn led(mut talk: Talk, answers: &[Input]) -> (Vec<Event>, (u8, Option<String>)) {
    let mut facts = Vec::new();
    let mut answers = answers.iter();
    loop {
        match talk.next(Moment::START) {
            Action::Record(fact) => {
                talk.apply(&fact);
                facts.push(*fact);
            }
            Action::Finish(exit, reason) => return (facts, (exit, reason)),
            _ => {
                let answer = answers.next().expect("an answer for every ask").clone();
                for fact in talk.handle(answer, Moment::START) {
                    talk.apply(&fact);
                    facts.push(fact);
                }
            }
        }
    }
}

fn said(answer: Answer) -> Input {
    Input::AnswerReceived(answer)
}

#[test]
fn a_talk_comes_to_everything_in_order_and_settles_its_step() {
    let topics = [
        Topic::Step("open".into()),
        Topic::Caution(Caution::SiteWork),
        Topic::Stated(JobLabel::Site, "Pond house".into()),
        Topic::Label(JobLabel::By, "Who?".into()),
        Topic::Label(JobLabel::Notes, "Notes?".into()),
        point("plus is on A1"),
    ];
    let answers = [
        said(Answer::Ready),
        said(Answer::Acknowledged),
        Input::TextReceived("  R. Miller ".into()),
        said(Answer::Ready),
        said(Answer::Ready),
    ];
    let (facts, end) = led(talk(&topics), &answers);
    let label = |label, text: &str| Event::LabelStated { label, text: text.into() };
    assert!(matches!(facts[0], Event::CautionAcknowledged { caution: Caution::SiteWork, .. }));
    assert_eq!(
        facts[1..],
        [
            label(JobLabel::Site, "Pond house"),
            label(JobLabel::By, "R. Miller"),
            Event::PointLookedAt { text: "plus is on A1".into(), as_designed: true },
            Event::StepSettled { step: JobStep::Board },
        ]
    );
    assert_eq!(end, (0, None));
}

#[test]
fn a_skipped_step_is_not_settled_and_asks_nothing_more() {
    let topics = [Topic::Step("open".into()), point("a")];
    let (facts, end) = led(talk(&topics), &[said(Answer::Skip)]);
    assert!(matches!(facts[..], [Event::AskSkipped { ask: Ask::Step { .. } }]), "{facts:?}");
    assert_eq!(end, (0, None));
}

#[test]
fn a_point_that_is_not_so_fails_the_step_and_the_others_are_still_looked_at() {
    let (facts, end) =
        led(talk(&[point("a"), point("b")]), &[said(Answer::Skip), said(Answer::Ready)]);
    let looked = |text: &str, as_designed| Event::PointLookedAt { text: text.into(), as_designed };
    assert_eq!(facts[..2], [looked("a", false), looked("b", true)]);
    assert_eq!(end.0, 1);
}

#[test]
fn what_cannot_be_seen_is_no_label() {
    let mut talk = talk(&[Topic::Label(JobLabel::Site, "Which?".into())]);
    assert!(matches!(talk.next(Moment::START), Action::Ask(Ask::Label { .. })));
    for text in ["\u{1b}[2J", &"x".repeat(TEXT_MAX + 1)] {
        assert_eq!(talk.handle(Input::TextReceived(text.into()), Moment::START), []);
        assert!(matches!(talk.next(Moment::START), Action::AskAgain(_)));
    }
    let named = talk.handle(Input::TextReceived("Pond".into()), Moment::START);
    assert_eq!(named.len(), 1);
}

#[test]
fn a_stop_ends_it_wherever_it_is() {
    let (facts, end) = led(talk(&[point("a")]), &[said(Answer::Abort)]);
    assert_eq!((facts.len(), end.0), (0, 4));
    let (_, end) = led(talk(&[point("a")]), &[Input::StopRequested("interrupted".into())]);
    assert_eq!(end, (4, Some("interrupted".into())));
}
