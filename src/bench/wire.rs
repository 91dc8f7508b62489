//! The meter's voice without a link, in simulated time: what is written reaches it at once, and
//! a read lets time pass until the meter speaks. Nothing waits, so a thousand exchanges take
//! milliseconds, and the same seed gives the same bytes. Meant for tests of the voices and for
//! drivers' tests that want a message link.

use super::Bench;
use super::instrument::Instrument;
use std::time::Duration;

/// One meter on the bench, spoken to directly.
pub struct Wire {
    bench: Bench,
    instrument: Instrument,
}

impl Wire {
    pub(crate) fn new(bench: Bench, instrument: Instrument) -> Self {
        Self { bench, instrument }
    }

    /// Sends bytes to the meter.
    pub fn write(&mut self, bytes: &[u8]) {
        let now = self.bench.now();
        self.instrument.push(bytes, &mut self.bench.state(), now);
    }

    /// What the meter says next, letting simulated time pass until it does. Empty if it has
    /// nothing to say, which a commanded meter takes as a query error (-420).
    pub fn read(&mut self) -> Vec<u8> {
        // A wake brings a conversion's end or a held answer: a few rounds reach the bytes.
        for _ in 0..8 {
            let now = self.bench.now();
            let bytes = self.instrument.next(&mut self.bench.state(), now);
            if !bytes.is_empty() {
                return bytes;
            }
            let Some(wake) = self.instrument.wake_at() else {
                break;
            };
            self.bench.let_pass(wake.since(now));
        }
        self.instrument.read_in_vain();
        Vec::new()
    }

    /// What the meter says next within `span`, letting only the time pass until it does; empty if
    /// it says nothing in it.
    pub fn hear(&mut self, span: Duration) -> Vec<u8> {
        let end = self.bench.now() + span;
        loop {
            let now = self.bench.now();
            let bytes = self.instrument.next(&mut self.bench.state(), now);
            if !bytes.is_empty() || now >= end {
                return bytes;
            }
            let wake = self.instrument.wake_at().filter(|wake| *wake > now);
            self.bench.let_pass(wake.unwrap_or(end).min(end).since(now));
        }
    }

    /// Lets time pass, and says what came meanwhile.
    pub fn listen(&mut self, span: Duration) -> Vec<u8> {
        let end = self.bench.now() + span;
        let mut heard = Vec::new();
        loop {
            let now = self.bench.now();
            heard.extend(self.instrument.next(&mut self.bench.state(), now));
            match self.instrument.wake_at().filter(|wake| *wake <= end) {
                Some(wake) => self.bench.let_pass(wake.since(now)),
                None => {
                    self.bench.let_pass(end.since(now));
                    return heard;
                }
            }
        }
    }

    /// Switches the meter off and on.
    pub fn power_cycle(&mut self) {
        self.instrument.power_cycle(&mut self.bench.state());
    }

    /// Another meter answers from now on.
    pub fn swap_identity(&mut self, identity: &str) {
        self.instrument.swap_identity(identity);
    }

    /// Neither hears nor answers while `on`.
    pub fn silence(&mut self, on: bool) {
        self.instrument.silence(on);
    }

    /// These bytes come instead of the next answer.
    pub fn replace_answer(&mut self, bytes: &[u8]) {
        self.instrument.replace_next(bytes);
    }

    /// These bytes come now, unasked.
    pub fn interject(&mut self, bytes: &[u8]) {
        let now = self.bench.now();
        self.instrument.interject(bytes, now);
    }

    /// The next answer comes this much later.
    pub fn delay_answer(&mut self, delay: Duration) {
        self.instrument.delay_next(delay);
    }
}
