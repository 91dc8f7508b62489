//! A meter that the command line names: a real link, or a simulated bench behind a real
//! pseudo-terminal (`sim:`). Finding one opens nothing; a wrong port is known before any folder is
//! made. Whose hands do what is asked follows from the meter: a simulated bench has its own.

use super::Hands;
use super::arrivals::Inbox;
use super::ease::Ease;
use super::failure::Failure;
use super::opening::{BUSY_FOR, open_when_free};
use crate::bench::{Bench, Served};
use crate::event::{RunStart, RunTerms};
use crate::journal::Past;
use drivers::link::RoundTrips;
use drivers::{Clock, DriverError, LinkSpec, Port, PortOptions, Profile};
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

/// How the meter is reached.
#[derive(Clone, Debug)]
pub struct MeterTerms {
    /// The link, as written.
    pub link: String,
    /// The profile by name or file.
    pub profile: Option<String>,
    /// How long a lost link is tried again.
    pub reconnect_for: Duration,
    /// Where every byte on the link is written, if anywhere.
    pub trace_link: Option<PathBuf>,
    /// What eases the work of the hands beside it.
    pub ease: Ease,
}

/// A meter that has been named, real or simulated, not yet opened.
pub(super) struct Instrument {
    pub(super) link: String,
    spec: LinkSpec,
    pub(super) profile: Profile,
    pub(super) ease: Ease,
    options: PortOptions,
    simulated: Option<Simulated>,
}

/// A simulated bench behind a real pseudo-terminal.
struct Simulated {
    bench: Bench,
    _served: Served,
    alone: bool,
}

impl Instrument {
    /// A meter that measures now: a trace cannot, as it does not say which pins were touched when.
    pub(super) fn find(terms: &MeterTerms) -> Result<Self, Failure> {
        let found = Self::find_or_replay(terms)?;
        match found.spec {
            LinkSpec::Replay { .. } => Err(Failure::bad_input(
                format!("{}: a trace is no meter: nothing touches the pins now", found.link),
                "`coilmark meters --watch replay:FILE` plays it; what was captured is in the journal",
            )),
            _ => Ok(found),
        }
    }

    /// Understands a link, a trace's too. `sim:FILE` puts the relay of that file on a simulated
    /// bench behind a pseudo-terminal; `?hands=alone` lets simulated hands answer too, `?seed=N`
    /// sets the seed.
    pub(super) fn find_or_replay(terms: &MeterTerms) -> Result<Self, Failure> {
        let profile = Profile::load(terms.profile.as_deref().unwrap_or("scpi"))?;
        let options = PortOptions {
            reconnect_for: terms.reconnect_for,
            trace: terms.trace_link.clone(),
            ..PortOptions::default()
        };
        let Some(sim) = terms.link.strip_prefix("sim:") else {
            let spec = terms.link.parse::<LinkSpec>()?;
            let link = terms.link.clone();
            let ease = terms.ease.clone();
            return Ok(Self { link, spec, profile, ease, options, simulated: None });
        };
        let (bench, alone) = super::bench::from_link(sim, &profile)?;
        let ease = terms.ease.clone();
        let found = Self::on_bench(bench, alone, terms.link.clone(), profile, options)?;
        Ok(Self { ease, ..found })
    }

    /// A simulated bench whose hands answer by themselves, under this name.
    #[cfg(test)]
    pub(super) fn simulated(bench: Bench, link: String) -> Result<Self, Failure> {
        Self::on_bench(bench, true, link, Profile::load("scpi")?, PortOptions::default())
    }

    fn on_bench(
        bench: Bench,
        alone: bool,
        link: String,
        profile: Profile,
        options: PortOptions,
    ) -> Result<Self, Failure> {
        let served = bench.serve_pty(None)?;
        let spec = served.link().parse::<LinkSpec>()?;
        let simulated = Some(Simulated { bench, _served: served, alone });
        Ok(Self { link, spec, profile, ease: Ease::default(), options, simulated })
    }

    /// How a fresh run on it begins, in a job with this past.
    pub(super) fn start(&self, terms: RunTerms, past: &Past) -> RunStart {
        RunStart {
            meter: self.link.clone(),
            profile: self.profile.name.clone(),
            ..RunStart::without_meter(terms, self.is_simulated(), past.torn_bytes())
        }
    }

    /// Has its round trips measured from the next opening on.
    pub(super) fn measure_round_trips(&mut self, round_trips: Arc<RoundTrips>) {
        self.options.round_trips = Some(round_trips);
    }

    pub(super) const fn is_simulated(&self) -> bool {
        self.simulated.is_some()
    }

    /// The simulated bench that it is on.
    pub(super) fn bench(&self) -> Option<&Bench> {
        self.simulated.as_ref().map(|simulated| &simulated.bench)
    }

    /// Opens its port, once whoever holds it has let go; what it says goes to the inbox.
    pub(super) async fn open_when_free(
        &self,
        clock: &Arc<dyn Clock>,
        inbox: &mut Inbox,
    ) -> Result<Port, Failure> {
        let patience = self.options.reconnect_for.min(BUSY_FOR);
        let open = |inbox: &Inbox| self.open(clock.clone(), inbox);
        let tell = |text: &str| eprintln!("{}", crate::event::visible(&format!("note: {text}")));
        open_when_free(open, inbox, &**clock, patience, tell).await
    }

    /// Opens its port; what it says goes to the inbox.
    pub(super) fn open(&self, clock: Arc<dyn Clock>, inbox: &Inbox) -> Result<Port, DriverError> {
        tracing::debug!("opening {} as {}", self.link, self.spec);
        let sink = inbox.meter_sink();
        Port::open_with(&self.spec, &self.profile, clock, self.options.clone(), sink)
    }

    pub(super) fn hands(&self) -> Hands {
        match &self.simulated {
            None => Hands::Real,
            Some(s) if s.alone => Hands::Alone(s.bench.clone()),
            Some(s) => Hands::Led(s.bench.clone()),
        }
    }
}
