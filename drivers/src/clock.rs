//! The only place where time is read. A [`Moment`] is monotonic time since its clock began;
//! everything else receives it as an argument, so that a test can hand in any time it likes.
//! Wall-clock stamps are not made here: the journal takes those from its own stamp source.

use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};

/// Monotonic time since the clock that made it began. Only moments of one clock compare.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Moment(Duration);

impl Moment {
    /// The moment at which the clock began.
    pub const START: Self = Self(Duration::ZERO);

    /// The moment `since_start` after the clock began.
    #[must_use]
    pub const fn from_start(since_start: Duration) -> Self {
        Self(since_start)
    }

    /// Time from the beginning of the clock to this moment.
    #[must_use]
    pub const fn since_start(self) -> Duration {
        self.0
    }

    /// Time from `earlier` to this moment; zero if `earlier` is later.
    #[must_use]
    pub const fn since(self, earlier: Self) -> Duration {
        self.0.saturating_sub(earlier.0)
    }

    /// Seconds from the beginning of the clock.
    #[must_use]
    pub const fn as_secs_f64(self) -> f64 {
        self.0.as_secs_f64()
    }
}

impl std::ops::Add<Duration> for Moment {
    type Output = Self;

    /// Saturates at the end of time.
    fn add(self, span: Duration) -> Self {
        Self(self.0.saturating_add(span))
    }
}

/// Tells the time. Implemented by [`SystemClock`] and by [`HandClock`].
pub trait Clock: Send + Sync {
    /// Now. Never less than an earlier answer of the same clock.
    fn now(&self) -> Moment;

    /// Lets `span` go by. A clock set by hand moves itself on instead of sleeping.
    fn pause(&self, span: Duration) {
        // The one place where a real pause is made; a clock set by hand overrides it.
        std::thread::sleep(span);
    }
}

/// A clock that only moves when told to, for tests and simulations: an hour takes no time.
#[derive(Debug, Default)]
pub struct HandClock {
    nanos: AtomicU64,
}

impl HandClock {
    /// A clock at [`Moment::START`].
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Moves on by `span`; saturates after 584 years.
    pub fn advance(&self, span: Duration) {
        let span = u64::try_from(span.as_nanos()).unwrap_or(u64::MAX);
        let moved = |nanos: u64| Some(nanos.saturating_add(span));
        let _ = self.nanos.fetch_update(Ordering::SeqCst, Ordering::SeqCst, moved);
    }

    /// Now, by this clock.
    #[must_use]
    pub fn moment(&self) -> Moment {
        Moment(Duration::from_nanos(self.nanos.load(Ordering::SeqCst)))
    }
}

impl Clock for HandClock {
    fn now(&self) -> Moment {
        self.moment()
    }

    fn pause(&self, span: Duration) {
        self.advance(span);
    }
}

/// What is left of a span of time, by the machine's monotonic clock: for the few calls into the
/// system that have to be given a time-out, below any clock that is handed in.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Allowance {
    began: Instant,
    span: Duration,
}

impl Allowance {
    /// All of `span`, from now on.
    pub(crate) fn of(span: Duration) -> Self {
        Self { began: Instant::now(), span }
    }

    /// What is left; zero when it is used up.
    pub(crate) fn left(&self) -> Duration {
        self.span.saturating_sub(self.began.elapsed())
    }
}

/// The machine's monotonic clock, counted from its creation.
#[derive(Clone, Copy, Debug)]
pub struct SystemClock {
    began: Instant,
}

impl SystemClock {
    /// A clock that begins now.
    #[must_use]
    pub fn begin() -> Self {
        Self { began: Instant::now() }
    }
}

impl Clock for SystemClock {
    fn now(&self) -> Moment {
        Moment(self.began.elapsed())
    }
}
