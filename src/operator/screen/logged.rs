//! What the screen says of a log of volts while it grows and nothing is asked: whether the output
//! has come on, since when, how it ends by itself and when at the latest, how many readings there
//! are. A fold over the log's own news; times are seconds on the log's clock.

use crate::event::{LogNews, OutputStart};
use drivers::Moment;

/// A log that is open.
pub(super) struct Logged {
    file: String,
    /// The log's time at that moment.
    t_s: f64,
    at: Moment,
    rows: u64,
    /// It was begun by a run before this one, which may have seen the alarm.
    goes_on: bool,
    alarm_s: Option<f64>,
    /// When it came on, and at how many volts.
    on: Option<(f64, f64)>,
}

impl Logged {
    /// The log that is open once this is known of it; `before` is the one that was open until now.
    pub(super) fn after(before: Option<Self>, news: &LogNews, now: Moment) -> Option<Self> {
        let mut log = match (news, before) {
            (LogNews::Opened { file, t_s, rows, .. }, None) => {
                let (file, t_s, rows) = (file.clone(), *t_s, *rows);
                let goes_on = rows > 0;
                return Some(Self { file, t_s, at: now, rows, goes_on, alarm_s: None, on: None });
            }
            (LogNews::Closed { .. }, _) | (_, None) => return None,
            (_, Some(log)) => log,
        };
        match news {
            LogNews::Opened { t_s, rows, .. } => (log.t_s, log.at, log.rows) = (*t_s, now, *rows),
            LogNews::AlarmBegun { t_s } => log.alarm_s = Some(*t_s),
            LogNews::CameOn { t_s, volts, .. } => log.on = Some((*t_s, *volts)),
            LogNews::WentOff { .. } | LogNews::Closed { .. } | LogNews::Drawn(_) => {}
        }
        Some(log)
    }

    /// Counts a reading.
    pub(super) const fn count(&mut self) {
        self.rows += 1;
    }

    /// What to say of it, the most important first; `terms` are those of an output.
    pub(super) fn lines(&self, terms: Option<&OutputStart>, now: Moment) -> Vec<String> {
        let now_s = self.t_s + now.since(self.at).as_secs_f64();
        let mut lines = vec![match self.on {
            Some((t_s, volts)) => format!("LOGGING: it came ON at {t_s:.2} s, {volts:.3} V"),
            None if self.goes_on => "LOGGING goes on where it was broken off".into(),
            None => "LOGGING: waiting for the output to come on".into(),
        }];
        lines.push("Leave the leads on; nothing else is to be done.".into());
        let began = [self.alarm_s, self.on.map(|(t_s, _)| t_s)].into_iter().flatten();
        if let (Some(terms), Some(began)) = (terms, began.reduce(f64::min)) {
            let left = (began + terms.for_s - now_s).max(0.0).ceil();
            let guard = terms.guard_s;
            let latest = format!("{:.0}:{:02.0}", (left / 60.0).floor(), left % 60.0);
            lines.push(match self.on {
                Some(_) => {
                    format!("Ends by itself {guard} s after the drop, in {latest} at the latest.")
                }
                None => format!("Ends by itself in {latest} at the latest."),
            });
        }
        lines.push(format!("{}: {} readings, {now_s:.0} s", self.file, self.rows));
        lines
    }
}
