//! A meter as its link sees it: one of the voices, and what can go wrong between it and the
//! program. Bytes and the time come in; bytes and the next wake come out. Each fault is switched
//! by name, so that a test says which one it means. Ports and threads are the servers' matter.

use super::line_voice::LineVoice;
use super::meter_model::{MeterModel, VoiceKind};
use super::scpi_voice::ScpiVoice;
use super::state::State;
use super::supply_voice::SupplyVoice;
use drivers::Moment;
use std::collections::VecDeque;
use std::time::Duration;

/// The instrument.
#[derive(Clone, Debug)]
pub(crate) struct Instrument {
    voice: Voice,
    silent: bool,
    echo: bool,
    delay_next: Option<Duration>,
    replace_next: Option<Vec<u8>>,
    held: VecDeque<(Moment, Vec<u8>)>,
}

#[derive(Clone, Debug)]
enum Voice {
    Scpi(Box<ScpiVoice>),
    Lines(LineVoice),
    Supply(SupplyVoice),
}

impl Instrument {
    pub(crate) fn new(model: &MeterModel) -> Self {
        let voice = match model.voice {
            VoiceKind::Scpi => Voice::Scpi(Box::new(ScpiVoice::new(model.identity.clone()))),
            VoiceKind::Lines => Voice::Lines(LineVoice::default()),
            VoiceKind::PolledLines => Voice::Lines(LineVoice::polled()),
        };
        Self::speaking(voice)
    }

    /// The supply instead of a meter.
    pub(crate) fn supply() -> Self {
        Self::speaking(Voice::Supply(SupplyVoice::default()))
    }

    fn speaking(voice: Voice) -> Self {
        Self {
            voice,
            silent: false,
            echo: false,
            delay_next: None,
            replace_next: None,
            held: VecDeque::new(),
        }
    }

    /// Bytes arrived from the program.
    pub(crate) fn push(&mut self, bytes: &[u8], state: &mut State, now: Moment) {
        if self.silent {
            return;
        }
        if self.echo {
            self.hold(now, bytes.to_vec());
        }
        match &mut self.voice {
            Voice::Scpi(voice) => voice.push(bytes, state, now),
            Voice::Supply(voice) => voice.push(bytes, state, now),
            Voice::Lines(voice) => voice.push(bytes),
        }
    }

    /// The bytes that are on the line by now.
    pub(crate) fn next(&mut self, state: &mut State, now: Moment) -> Vec<u8> {
        let said = match &mut self.voice {
            Voice::Scpi(voice) => voice.next(state, now),
            Voice::Lines(voice) => voice.next(state, now),
            Voice::Supply(voice) => voice.next(),
        };
        if !said.is_empty() && !self.silent {
            let said = self.replace_next.take().unwrap_or(said);
            let delay = self.delay_next.take().unwrap_or_default();
            self.hold(now + delay, said);
        }
        let mut out = Vec::new();
        while self.held.front().is_some_and(|(due, _)| *due <= now) {
            out.extend(self.held.pop_front().map(|(_, bytes)| bytes).unwrap_or_default());
        }
        out
    }

    /// When [`Instrument::next`] has something to do; `None` if only the program can wake it.
    pub(crate) fn wake_at(&self) -> Option<Moment> {
        let voice = match &self.voice {
            Voice::Scpi(voice) => voice.wake_at(),
            Voice::Lines(voice) => voice.wake_at(),
            Voice::Supply(_) => None,
        };
        voice.into_iter().chain(self.held.front().map(|(due, _)| *due)).min()
    }

    /// The program reads although nothing will come.
    pub(crate) fn read_in_vain(&mut self) {
        if let Voice::Scpi(voice) = &mut self.voice {
            voice.read_in_vain();
        }
    }

    /// Neither hears nor answers, but stays plugged in.
    pub(crate) fn silence(&mut self, on: bool) {
        self.silent = on;
    }

    /// Sends back what it is sent, as some meters and adapters do.
    pub(crate) fn echo(&mut self, on: bool) {
        self.echo = on;
    }

    /// The next answer comes this much later, and those behind it wait.
    pub(crate) fn delay_next(&mut self, delay: Duration) {
        self.delay_next = Some(delay);
    }

    /// These bytes come instead of the next answer.
    pub(crate) fn replace_next(&mut self, bytes: &[u8]) {
        self.replace_next = Some(bytes.to_vec());
    }

    /// These bytes come now, unasked.
    pub(crate) fn interject(&mut self, bytes: &[u8], now: Moment) {
        self.hold(now, bytes.to_vec());
    }

    /// Another meter answers from now on.
    pub(crate) fn swap_identity(&mut self, identity: &str) {
        if let Voice::Scpi(voice) = &mut self.voice {
            voice.identity = identity.to_owned();
        }
    }

    /// Switched off and on.
    pub(crate) fn power_cycle(&mut self, state: &mut State) {
        self.held.clear();
        match &mut self.voice {
            Voice::Supply(voice) => voice.power_cycle(state),
            Voice::Scpi(voice) => voice.power_cycle(state),
            Voice::Lines(voice) => voice.start_over(),
        }
    }

    /// What is held comes out in order: nothing overtakes a late answer.
    fn hold(&mut self, due: Moment, bytes: Vec<u8>) {
        self.held.push_back((due, bytes));
    }
}
