//! The live view of a log as one line: the log's time, the reading, and the last twelve seconds as
//! a strip of block characters, a quarter of a second each, the highest reading of it, from 0 V to
//! the highest level so far. A fold over the log's news and the readings; it draws nothing by
//! itself and knows no terminal.

use crate::event::LogNews;
use drivers::{Moment, Reading, Value};
use std::collections::VecDeque;

/// Time of one block, in seconds.
const BLOCK_S: f64 = 0.25;
/// Blocks in the strip.
const BLOCKS: usize = 48;
/// From nothing to full.
const HEIGHTS: [char; 9] = [
    ' ', '\u{2581}', '\u{2582}', '\u{2583}', '\u{2584}', '\u{2585}', '\u{2586}', '\u{2587}',
    '\u{2588}',
];
/// The strip is never higher than this many volts at full: noise at rest is to look like rest.
const FULL_VOLTS_MIN: f64 = 5.0;

/// A log that is open, as it is watched.
#[derive(Clone, Debug)]
pub struct Strip {
    open: bool,
    /// The log's time at the moment of its first reading here.
    opened_s: f64,
    from: Option<Moment>,
    t_s: f64,
    volts: Option<f64>,
    /// Highest size of a reading in each block, newest last, and the number of the newest.
    blocks: VecDeque<Option<f64>>,
    newest: u64,
    full: f64,
    came_on_s: Option<f64>,
}

impl Default for Strip {
    fn default() -> Self {
        Self::new()
    }
}

impl Strip {
    /// No log is open.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            open: false,
            opened_s: 0.0,
            from: None,
            t_s: 0.0,
            volts: None,
            blocks: VecDeque::new(),
            newest: 0,
            full: 0.0,
            came_on_s: None,
        }
    }

    /// Takes in news of the log.
    pub fn news(&mut self, news: &LogNews) {
        match news {
            LogNews::Opened { t_s, .. } => {
                *self = Self { open: true, opened_s: *t_s, t_s: *t_s, ..Self::new() };
            }
            LogNews::CameOn { t_s, .. } => self.came_on_s = Some(*t_s),
            LogNews::WentOff { .. } => self.came_on_s = None,
            LogNews::Closed { .. } => self.open = false,
            LogNews::AlarmBegun { .. } | LogNews::Drawn(_) => {}
        }
    }

    /// Whether a log is open.
    #[must_use]
    pub const fn is_open(&self) -> bool {
        self.open
    }

    /// The log's time at the last reading, in seconds.
    #[must_use]
    pub const fn t_s(&self) -> f64 {
        self.t_s
    }

    /// Takes in a reading.
    pub fn reading(&mut self, reading: &Reading) {
        let from = *self.from.get_or_insert(reading.at);
        self.t_s = self.opened_s + reading.at.since(from).as_secs_f64();
        self.volts = reading.value.number();
        let size = match reading.value {
            Value::Number(volts) => volts.abs(),
            Value::Overload => f64::INFINITY,
            Value::NotANumber => return,
        };
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "not negative")]
        let block = ((self.t_s - self.opened_s) / BLOCK_S) as u64;
        let missed = block.saturating_sub(self.newest);
        for _ in 0..missed.min(BLOCKS as u64) {
            self.blocks.push_back(None);
        }
        self.newest = block;
        if self.blocks.is_empty() {
            self.blocks.push_back(None);
        }
        if let Some(newest) = self.blocks.back_mut() {
            *newest = Some(newest.unwrap_or(0.0).max(size));
        }
        while self.blocks.len() > BLOCKS {
            self.blocks.pop_front();
        }
        if size.is_finite() {
            self.full = self.full.max(size);
        }
    }

    /// The line, at most 79 characters.
    #[must_use]
    pub fn line(&self) -> String {
        // Never minus nothing.
        let volts = self.volts.map(|v| (v * 1e3).round() / 1e3 + 0.0);
        let volts = volts.map_or("overload".into(), |v| format!("{v:+.3} V"));
        let full = self.full.max(FULL_VOLTS_MIN);
        let is_on = self.volts.is_none_or(|v| v.abs() > full / 2.0);
        let on = match self.came_on_s {
            Some(on) if is_on => lasting((self.t_s - on).max(0.0)),
            _ => String::new(),
        };
        let strip: String = self.blocks.iter().map(|block| height(*block, full)).collect();
        format!("{:>7.1} s {volts:>10} {on:>8} {strip}", self.t_s)
    }
}

/// In no more than eight characters.
fn lasting(seconds: f64) -> String {
    match seconds {
        s if s < 1000.0 => format!("on {s:.0} s"),
        s if s < 36_000.0 => format!("on {:.0} m", s / 60.0),
        s => format!("on {:.0} h", s / 3600.0),
    }
}

/// One block; a gap is a dot, so that it is not taken for 0 V.
fn height(block: Option<f64>, full: f64) -> char {
    let Some(size) = block else { return '\u{b7}' };
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 8")]
    let eighths = (size / full * 8.0).round().clamp(0.0, 8.0) as usize;
    HEIGHTS.get(eighths).copied().unwrap_or(' ')
}

#[cfg(test)]
mod tests {
    use super::*;
    use drivers::{Function, Unit};
    use std::time::Duration;

    fn reading(ms: u64, value: Value) -> Reading {
        Reading {
            value,
            unit: Unit::Volt,
            function: Function::VoltageDc,
            u: None,
            text: String::new(),
            at: Moment::from_start(Duration::from_millis(ms)),
        }
    }

    fn opened() -> Strip {
        let mut strip = Strip::new();
        let file = "output-1.csv".into();
        strip.news(&LogNews::Opened { file, t_s: 0.0, rows: 0, torn_bytes: 0 });
        strip
    }

    #[test]
    fn a_window_is_seen_as_full_blocks_with_rest_around_it() {
        let mut strip = opened();
        for ms in (5000..8000).step_by(50) {
            let volts = if (6000..7000).contains(&ms) { 12.0 } else { 0.01 };
            strip.reading(&reading(ms, Value::Number(volts)));
        }
        let line = strip.line();
        assert!(line.ends_with(&format!("{}{}{}", " ".repeat(4), "\u{2588}".repeat(4), "    ")));
        assert!(line.contains("2.9") || line.contains("3.0"), "{line}");
        assert!(line.chars().count() <= 79, "{line}");
    }

    #[test]
    fn a_gap_is_not_drawn_as_rest() {
        let mut strip = opened();
        strip.reading(&reading(0, Value::Number(12.0)));
        strip.reading(&reading(1000, Value::Number(12.0)));
        assert!(strip.line().ends_with("\u{2588}\u{b7}\u{b7}\u{b7}\u{2588}"), "{}", strip.line());
    }

    #[test]
    fn a_long_log_keeps_the_line_short() {
        let mut strip = opened();
        let on = LogNews::CameOn { t_s: 1.0, t_s_u: 0.1, volts: -13.6 };
        strip.news(&on);
        for ms in (0..40_000_000).step_by(10_000) {
            strip.reading(&reading(ms, Value::Number(-13.6)));
        }
        strip.reading(&reading(40_000_000, Value::Overload));
        assert!(strip.line().chars().count() <= 79, "{}", strip.line());
        assert!(strip.line().contains("overload"));
    }
}
