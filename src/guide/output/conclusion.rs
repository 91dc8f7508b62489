//! The end of a log: from all its rows to a picture for the record, and to the finding with what
//! only this run knows of it: that it was simulated, what was expected, and why the log ended.
//! A log that ended because it met no low-voltage output has no finding.

use super::record::Log;
use super::{Output, TOO_HIGH};
use crate::event::{Action, Event, Finding, LogNews, LogPicture, OutputFinding, Polarity, Shape};
use crate::guide::EXTRA_LOW_VOLTS_MAX;
use crate::output::CLASSES;

impl Output {
    /// The log is closed: its picture, then the finding.
    pub(super) fn conclude(&mut self, log: &Log) -> Action {
        if self.rows.too_high() {
            return self.end_with(1, &format!("more than {EXTRA_LOW_VOLTS_MAX} V: {TOO_HIGH}"));
        }
        let described = self.rows.described().clone();
        if !log.drawn {
            let class = described.finding.nominal_volts;
            let class = CLASSES.into_iter().find(|(nominal, ..)| Some(*nominal) == class);
            let picture = LogPicture::of(&described.trace, class);
            return Action::Record(Box::new(Event::Logged(LogNews::Drawn(picture))));
        }
        let finding = self.finding(described.finding, log);
        Action::Record(Box::new(Event::ResultReached(Finding::Output(Box::new(finding)))))
    }

    fn finding(&self, found: OutputFinding, log: &Log) -> OutputFinding {
        let mut finding = OutputFinding { simulated: self.terms.simulated, ..found };
        let rest = self.record.rest.as_ref().and_then(|rest| rest.value);
        finding.rest_volts = finding.rest_volts.or(rest);
        let mut warn = |holds: bool, text: String| {
            if holds {
                finding.warnings.push(text);
            }
        };
        warn(
            finding.polarity == Some(Polarity::Reversed),
            "the leads were the other way round: the output's plus is under the black lead".into(),
        );
        let (nominal, class) = (self.terms.start.nominal_volts, finding.nominal_volts);
        warn(
            finding.alarm_volts.is_some() && nominal.is_some() && nominal != class,
            format!(
                "the level does not fit the {} V that the output is said to have",
                nominal.unwrap_or_default()
            ),
        );
        let for_s = self.terms.start.for_s;
        warn(
            finding.shape == Shape::None && !log.no_alarm,
            format!("it did not come on within {for_s} s of the alarm"),
        );
        warn(
            log.no_alarm,
            "the equipment was not brought into alarm: only the level at rest is known".into(),
        );
        finding
    }
}
