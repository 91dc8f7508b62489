//! Everything that arrives, in one order: the meter's events from its own thread, lines or keys
//! from the operator's input, interrupts, and the deadline that the guide asked for. The queue is
//! bounded: a flood of readings waits in the meter's thread, not in memory.

use crate::event::Answer;
use crate::operator::Key;
use drivers::{Clock, MeterEvent, Moment};
use std::collections::VecDeque;
use std::io::{self, BufRead, Read};
use tokio::sync::mpsc;

/// How many arrivals may wait.
const WAITING_MAX: usize = 256;
/// The longest line of input that is read, in bytes.
const LINE_MAX: u64 = 4096;

/// One thing that arrived.
#[derive(Debug)]
pub enum Arrival {
    /// From the meter.
    Meter(MeterEvent),
    /// A line from the operator, without its end.
    Line(String),
    /// A key from the operator, where keys come one by one.
    Key(Key),
    /// A line from the operator that is longer than any answer, and was thrown away.
    LongLine,
    /// An answer from simulated hands.
    Answer(Answer),
    /// The operator's input has ended.
    EndOfInput,
    /// Interrupt, terminate or hang-up.
    Interrupted,
    /// The guide's deadline.
    DeadlineReached,
}

/// The receiving end. It outlives a run where several follow each other at one seat: whoever reads
/// the operator's input reads it for all of them.
pub struct Inbox {
    sender: mpsc::Sender<Sent>,
    receiver: mpsc::Receiver<Sent>,
    /// What is taken before anything that arrives.
    first: VecDeque<Arrival>,
    /// Which run it is; what an earlier run's meter still sends is thrown away.
    run: u64,
    /// Whether somebody reads the operator's input already.
    reads: bool,
    /// What lets simulated time pass while nothing has arrived.
    turn: Option<Turn>,
}

/// Lets a little of simulated time pass; what happens meanwhile arrives.
pub type Turn = Box<dyn FnMut()>;

/// An arrival on its way; the run whose meter it is from, if it is from one.
type Sent = (Option<u64>, Arrival);

impl Inbox {
    /// An empty one.
    #[must_use]
    pub fn new() -> Self {
        let (sender, receiver) = mpsc::channel(WAITING_MAX);
        Self { sender, receiver, first: VecDeque::new(), run: 0, reads: false, turn: None }
    }

    /// The next run begins: nothing of an earlier one's meter or hands is left.
    pub fn begin_run(&mut self) {
        self.run += 1;
        self.first.clear();
    }

    /// Where the meter's thread puts its events; false once nobody takes them.
    pub fn meter_sink(&self) -> impl FnMut(MeterEvent) -> bool + Send + 'static {
        let (sender, run) = (self.sender.clone(), self.run);
        move |event| sender.blocking_send((Some(run), Arrival::Meter(event))).is_ok()
    }

    /// For a world in which time is simulated: whoever calls [`Inbox::next`] turns that world by
    /// `turn` while nothing has arrived, and nothing waits.
    pub fn turned_by(&mut self, turn: Turn) {
        self.turn = Some(turn);
    }

    /// Where a simulated world puts what arrives; false if it could not be taken.
    pub fn slot(&self) -> impl Fn(Arrival) -> bool + Clone + Send + 'static {
        let sender = self.sender.clone();
        move |arrival| sender.try_send((None, arrival)).is_ok()
    }

    /// Begins to read lines from `input` on a thread of its own, which ends with the input or the
    /// process: a read from a terminal cannot be cut short. Where somebody reads already, nothing
    /// changes.
    pub fn read_lines(&mut self, input: impl Read + Send + 'static) {
        if std::mem::replace(&mut self.reads, true) {
            return;
        }
        let sender = self.sender.clone();
        std::thread::spawn(move || {
            let mut input = io::BufReader::new(input);
            while let Some(line) = read_line(&mut input) {
                if sender.blocking_send((None, line)).is_err() {
                    return;
                }
            }
            let _ = sender.blocking_send((None, Arrival::EndOfInput));
        });
    }

    /// Begins to take keys from `next` on a thread of its own, which ends with the terminal or the
    /// process. Where somebody reads already, nothing changes.
    #[cfg(feature = "screen")]
    pub fn read_keys(&mut self, mut next: impl FnMut() -> io::Result<Key> + Send + 'static) {
        if std::mem::replace(&mut self.reads, true) {
            return;
        }
        let sender = self.sender.clone();
        std::thread::spawn(move || {
            while let Ok(key) = next() {
                if sender.blocking_send((None, Arrival::Key(key))).is_err() {
                    return;
                }
            }
            let _ = sender.blocking_send((None, Arrival::EndOfInput));
        });
    }

    /// Begins to listen to interrupt, terminate and hang-up: a run that ends by one of them still
    /// switches its supply off. Must be called within the runtime.
    ///
    /// # Errors
    /// What the system says if it cannot be listened to.
    pub fn listen_to_signals(&self) -> io::Result<()> {
        use tokio::signal::unix::{SignalKind, signal};
        let mut interrupt = signal(SignalKind::interrupt())?;
        let mut terminate = signal(SignalKind::terminate())?;
        let mut hung_up = signal(SignalKind::hangup())?;
        let sender = self.sender.clone();
        tokio::spawn(async move {
            loop {
                tokio::select! {
                    _ = interrupt.recv() => {}
                    _ = terminate.recv() => {}
                    _ = hung_up.recv() => {}
                }
                if sender.send((None, Arrival::Interrupted)).await.is_err() {
                    return;
                }
            }
        });
        Ok(())
    }

    /// Puts in an answer from simulated hands.
    pub fn answer(&mut self, answer: Answer) {
        self.first.push_back(Arrival::Answer(answer));
    }

    /// Puts back what was taken too early, in its order.
    pub fn put_back(&mut self, arrivals: Vec<Arrival>) {
        for arrival in arrivals.into_iter().rev() {
            self.first.push_front(arrival);
        }
    }

    /// Waits for the next arrival, at the latest until `wake_at` by `clock`.
    pub async fn next(&mut self, clock: &dyn Clock, wake_at: Option<Moment>) -> Arrival {
        if let Some(arrival) = self.first.pop_front() {
            return arrival;
        }
        if self.turn.is_some() {
            return self.next_turned(clock, wake_at);
        }
        loop {
            let received = match wake_at {
                None => self.receiver.recv().await,
                Some(at) => {
                    let wait = at.since(clock.now());
                    match tokio::time::timeout(wait, self.receiver.recv()).await {
                        Ok(received) => received,
                        Err(_) => return Arrival::DeadlineReached,
                    }
                }
            };
            match received {
                Some((Some(run), _)) if run != self.run => {}
                Some((_, arrival)) => return arrival,
                None => return Arrival::EndOfInput,
            }
        }
    }

    /// The same in simulated time.
    fn next_turned(&mut self, clock: &dyn Clock, wake_at: Option<Moment>) -> Arrival {
        loop {
            match self.receiver.try_recv() {
                Ok((Some(run), _)) if run != self.run => continue,
                Ok((_, arrival)) => return arrival,
                Err(mpsc::error::TryRecvError::Disconnected) => return Arrival::EndOfInput,
                Err(mpsc::error::TryRecvError::Empty) => {}
            }
            if wake_at.is_some_and(|at| at <= clock.now()) {
                return Arrival::DeadlineReached;
            }
            let Some(turn) = &mut self.turn else { return Arrival::EndOfInput };
            turn();
        }
    }
}

impl Default for Inbox {
    fn default() -> Self {
        Self::new()
    }
}

/// One line as text, lossily; `None` at the end.
fn read_line(input: &mut impl BufRead) -> Option<Arrival> {
    let mut bytes = Vec::new();
    match input.by_ref().take(LINE_MAX).read_until(b'\n', &mut bytes) {
        Ok(0) | Err(_) => None,
        Ok(count) if count as u64 == LINE_MAX && !bytes.ends_with(b"\n") => {
            input.skip_until(b'\n').ok().map(|_| Arrival::LongLine)
        }
        Ok(_) => {
            let text = String::from_utf8_lossy(&bytes);
            Some(Arrival::Line(text.trim_end_matches(['\n', '\r']).to_owned()))
        }
    }
}
