//! The one state that meter, hands and supply share: part, leads, drive, dial and the hazards so
//! far. Every method is told the time. The voices measure through it, the hands change it;
//! locking and clocks are the [`Bench`](super::Bench)'s matter.

use super::circuit::Circuit;
use super::hands::Hands;
use super::hazard::{Hazard, HazardKind};
use super::meter::{Conversion, Meter, Shown};
use super::supply::{Applied, Delivered, Setting, Supply};
use super::{BenchOptions, Limits};
use crate::bench::part::Part;
use crate::event::{AlarmState, Answer, Ask, AskedDrive, DriveState, Pin};
use drivers::Moment;
use std::time::Duration;

/// Volts between the tips above which a pair is live.
const LIVE_VOLTS: f64 = 0.5;
/// Room for what a measured coil may be off by, before a drive counts as above its limit.
const LIMIT_ROOM: f64 = 1.02;
/// Hazards kept; a runaway program must not fill the memory.
const HAZARDS_MAX: usize = 10_000;

/// The shared state.
#[derive(Clone, Debug)]
pub(crate) struct State {
    pub(crate) circuit: Circuit,
    pub(crate) meter: Meter,
    pub(crate) hands: Hands,
    pub(crate) hazards: Vec<Hazard>,
    /// The pins that the commanded supply's plus and minus are clipped to.
    clips: Option<(usize, usize)>,
    /// What the commanded supply is set to.
    pub(crate) setting: Setting,
    limits: Limits,
    live_recorded: bool,
}

impl State {
    pub(crate) fn new(part: Part, options: &BenchOptions) -> Self {
        let mut hands = Hands::new(options.slips, options.times, options.seed);
        hands.unreachable.clone_from(&options.unreachable);
        hands.cannot_drive = options.cannot_drive;
        let supply = Supply::new(options.supply_volts_max, options.supply_amps_max);
        Self {
            circuit: Circuit::new(part, supply, options),
            meter: Meter::new(options.meter.clone(), options.seed, options.noise),
            hands,
            hazards: Vec::new(),
            clips: None,
            setting: Setting::default(),
            limits: options.limits,
            live_recorded: false,
        }
    }

    /// Starts a conversion in the meter's function.
    pub(crate) fn begin(&mut self, now: Moment) -> Conversion {
        self.look_out_for_live(HazardKind::OhmsOnLive, now);
        self.meter.begin(&self.circuit, now)
    }

    /// Ends it: the value on the display.
    pub(crate) fn finish(&mut self, conversion: &Conversion) -> Shown {
        self.look_out_for_live(HazardKind::OhmsOnLive, conversion.due);
        self.meter.finish(&self.circuit, conversion)
    }

    /// Does what is asked. Says the answer and how long the hands take before it.
    pub(crate) fn perform(&mut self, ask: &Ask, now: Moment) -> (Answer, Duration) {
        let times = self.hands.times;
        match ask {
            Ask::Acknowledge { .. } => (Answer::Acknowledged, times.answer),
            // There is one board on this bench, and nothing that is not as it should be.
            Ask::Serial { .. } | Ask::Label { .. } | Ask::Step { .. } | Ask::Point { .. } => {
                (Answer::Ready, times.answer)
            }
            Ask::Place { red, black, drive, why, .. } => match self.pair(red, black) {
                Some(pair) if !self.hands.cannot_reach(red, black) => {
                    self.look_out_for_mismatch(*drive, pair, now);
                    // What else is to be done before the touch stands in its reason.
                    let opens = |why: &String| why.contains("open the tamper contact");
                    self.circuit.open_tamper(why.as_ref().is_some_and(opens));
                    let moved = self.place(pair, now);
                    (Answer::Ready, times.lead * moved + times.answer)
                }
                _ => (Answer::Skip, times.answer),
            },
            Ask::Drive(drive) if self.drive(drive, now) => (Answer::Ready, times.drive),
            Ask::Clip { plus, minus } => match self.pair(plus, minus) {
                Some(pair) if !self.hands.cannot_drive => {
                    self.clips = Some(pair);
                    self.switch(now);
                    (Answer::Ready, times.drive)
                }
                _ => (Answer::Skip, times.answer),
            },
            Ask::Alarm { state } if self.circuit.set_alarm(*state == AlarmState::On, now) => {
                self.meter.drive_changed(now);
                (Answer::Ready, times.drive)
            }
            Ask::Drive(_) | Ask::Alarm { .. } => (Answer::Skip, times.answer),
            Ask::Dial { function } => {
                self.meter.set_function(*function);
                (Answer::Ready, times.dial + times.answer)
            }
        }
    }

    /// Puts the tips down; says how many leads moved.
    pub(crate) fn place(&mut self, (red, black): (usize, usize), now: Moment) -> u32 {
        let count = self.circuit.part().pins.count();
        let (touch, moved) = self.hands.place(red, black, count);
        self.circuit.touch(touch);
        self.meter.leads_moved(now);
        self.live_recorded = false;
        moved
    }

    /// Takes the leads off.
    pub(crate) fn lift(&mut self, now: Moment) {
        self.hands.lift();
        self.circuit.touch(super::circuit::Touch::default());
        self.meter.leads_moved(now);
        self.live_recorded = false;
    }

    /// Applies a drive; `false` where these hands cannot.
    fn drive(&mut self, drive: &DriveState, now: Moment) -> bool {
        let applied = match drive {
            DriveState::Rest => None,
            DriveState::Energised { plus, minus, volts } => match self.pair(plus, minus) {
                Some((plus, minus)) => {
                    if volts.abs() > self.limits.volts_max + 1e-9 {
                        let pins = Some((plus, minus));
                        self.record(HazardKind::AboveVolts, pins, *volts, false, now);
                    }
                    if self.hands.cannot_drive || !self.circuit.can_apply(*volts) {
                        return false;
                    }
                    Some(Applied { plus, minus, volts: *volts })
                }
                None => return false,
            },
        };
        self.apply(applied, now);
        true
    }

    /// The commanded supply does what it is set to.
    pub(crate) fn switch(&mut self, now: Moment) {
        let Setting { volts, amps, on } = self.setting;
        self.circuit.limit_amps(amps);
        let pins = self.clips.filter(|_| on);
        let applied = pins.map(|(plus, minus)| Applied { plus, minus, volts });
        if on && volts > self.limits.volts_max + 1e-9 {
            self.record(HazardKind::AboveVolts, pins, volts, false, now);
        }
        self.apply(applied, now);
    }

    /// What it measures at its output.
    pub(crate) fn delivered(&self) -> Delivered {
        match (self.setting.on, self.clips) {
            (true, None) => Delivered { volts: self.setting.volts, ..Delivered::default() },
            _ => self.circuit.delivered(),
        }
    }

    /// Switches the supply and takes note of what that does.
    fn apply(&mut self, applied: Option<Applied>, now: Moment) {
        let delivered = self.circuit.apply(applied);
        self.meter.drive_changed(now);
        self.live_recorded = false;
        if let Some(Applied { plus, minus, .. }) = applied {
            let pins = Some((plus, minus));
            let watts = delivered.volts * delivered.amps;
            let slipped = self.hands.slipped();
            if watts > self.limits.coil_watts_max * LIMIT_ROOM {
                self.record(HazardKind::AboveWatts, pins, watts, slipped, now);
            }
            if delivered.limited {
                self.record(HazardKind::CurrentLimit, pins, delivered.amps, slipped, now);
            }
        }
        self.look_out_for_live(HazardKind::DriveIntoOhms, now);
    }

    fn look_out_for_live(&mut self, kind: HazardKind, now: Moment) {
        if self.live_recorded || !self.meter.function().sources_current() {
            return;
        }
        let volts = self.circuit.live_volts(now);
        if volts.abs() > LIVE_VOLTS {
            self.live_recorded = kind == HazardKind::OhmsOnLive;
            let (pins, slipped) = (self.hands.at(), self.hands.slipped());
            self.record(kind, pins, volts, slipped, now);
        }
    }

    fn look_out_for_mismatch(&mut self, asked: AskedDrive, pins: (usize, usize), now: Moment) {
        let applied = self.circuit.applied();
        if applied.is_some() != (asked == AskedDrive::Energised) {
            let volts = applied.map_or(0.0, |a| a.volts);
            self.record(HazardKind::DriveMismatch, Some(pins), volts, false, now);
        }
    }

    fn record(
        &mut self,
        kind: HazardKind,
        pins: Option<(usize, usize)>,
        amount: f64,
        slipped: bool,
        at: Moment,
    ) {
        if self.hazards.len() < HAZARDS_MAX {
            let all = &self.circuit.part().pins;
            let pins = pins.map(|(a, b)| [all.at(a).clone(), all.at(b).clone()]);
            self.hazards.push(Hazard { kind, at, pins, amount, slipped });
        }
    }

    fn pair(&self, a: &Pin, b: &Pin) -> Option<(usize, usize)> {
        let pins = &self.circuit.part().pins;
        Some((pins.position(a)?, pins.position(b)?))
    }
}
