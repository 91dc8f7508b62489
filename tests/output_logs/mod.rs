//! Logs of an output made up from a seed, with the truth beside them: levels, edges, cadence,
//! noise, stamps that jitter, spikes, bounces. Used as the truth set and by the tests that read
//! them back from CSV. Seconds and volts; rounded to a meter's grid as a meter would.

#![allow(dead_code, reason = "each of the tests that share this uses a part of it")]

use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;

/// What an output truly does, and how it is looked at.
#[derive(Clone, Debug)]
pub struct Truth {
    pub name: String,
    pub seed: u64,
    /// On from and to, each; `f64::INFINITY` never ends.
    pub alarms: Vec<(f64, f64)>,
    /// On and off time within an alarm.
    pub pulse: Option<(f64, f64)>,
    pub rest: f64,
    pub level: f64,
    /// Volts per second while on.
    pub sag: f64,
    /// Standard deviation while on, and at rest.
    pub noise: (f64, f64),
    /// Readings a second, and how much an interval varies (a share of it).
    pub rate: f64,
    pub jitter: f64,
    pub ends: f64,
    pub grid: f64,
    /// Time constants of rise and fall; 0 is sharp.
    pub rise: f64,
    pub fall: f64,
    /// Single readings of this many volts at these times.
    pub spikes: Vec<(f64, f64)>,
    /// How often the contact bounces at each edge of an alarm, 2 ms open and closed.
    pub bounces: u32,
}

impl Truth {
    pub fn steady(name: &str, seed: u64) -> Self {
        Self {
            name: name.into(),
            seed,
            alarms: vec![(12.0, 132.0)],
            pulse: None,
            rest: 0.0005,
            level: 13.7,
            sag: 0.0,
            noise: (0.005, 0.002),
            rate: 10.0,
            jitter: 0.0,
            ends: 150.0,
            grid: 1e-4,
            rise: 0.0,
            fall: 0.0,
            spikes: Vec::new(),
            bounces: 0,
        }
    }

    /// Whether it is on, by its own clock.
    fn on(&self, t: f64) -> bool {
        self.alarms.iter().any(|(from, to)| {
            let inside = (*from..*to).contains(&t);
            let pulse = self.pulse.is_none_or(|(on, off)| (t - from).rem_euclid(on + off) < on);
            let since = (t - from).min(to - t);
            let open = since > 0.0 && since < 0.004 * f64::from(self.bounces);
            inside && pulse && !(open && since.rem_euclid(0.004) >= 0.002)
        })
    }

    fn level_at(&self, t: f64) -> f64 {
        let Some((from, to)) = self.alarms.iter().rev().find(|(from, _)| *from <= t) else {
            return self.rest;
        };
        let on = self.level + self.sag * (t.min(*to) - from);
        let up = if self.rise > 0.0 { 1.0 - (-(t - from) / self.rise).exp() } else { 1.0 };
        if self.on(t) {
            self.rest + (on - self.rest) * up
        } else if t >= *to && self.fall > 0.0 {
            self.rest + (on - self.rest) * (-(t - to) / self.fall).exp()
        } else {
            self.rest
        }
    }

    /// The first alarm's last edge.
    pub fn last_off(&self) -> f64 {
        let (from, to) = self.alarms[0];
        let Some((on, off)) = self.pulse else { return to };
        let periods = ((to - from) / (on + off)).round();
        assert!((periods * (on + off) - (to - from)).abs() < 1e-9, "whole periods only");
        to - off
    }

    /// The median of the level while the first alarm is on.
    pub fn level_median(&self) -> f64 {
        let (from, to) = self.alarms[0];
        self.level + self.sag * (to.min(self.ends) - from.max(0.0)) / 2.0
    }

    /// The log: seconds and volts.
    pub fn log(&self) -> (Vec<f64>, Vec<f64>) {
        let mut chance = Pcg64::seed_from_u64(self.seed);
        let mut normal = || {
            let sum: f64 = (0..12).map(|_| chance.random::<f64>()).sum();
            sum - 6.0
        };
        let mut t = 0.0;
        let (mut times, mut volts) = (Vec::new(), Vec::new());
        while t < self.ends {
            let sigma = if self.on(t) { self.noise.0 } else { self.noise.1 };
            let x = self.level_at(t) + sigma * normal();
            times.push((t * 1e6).round() / 1e6);
            volts.push((x / self.grid).round() / (1.0 / self.grid).round());
            let vary = (normal() / 2.0).clamp(-1.0, 1.0);
            t += (1.0 + self.jitter * vary) / self.rate;
        }
        for (at, spike) in &self.spikes {
            if let Some(i) = times.iter().position(|t| t >= at) {
                volts[i] = *spike;
            }
        }
        (times, volts)
    }

    /// The same as a CSV in the contract's columns.
    pub fn csv(&self) -> String {
        let (t, x) = self.log();
        let rows = t.iter().zip(&x).map(|(t, x)| format!("{t:.6},{x},V,0\n"));
        std::iter::once("t_s,value,unit,overload\n".to_string()).chain(rows).collect()
    }
}

/// The truth set; another round of it has the same cases with other chances.
pub fn set(round: u64) -> Vec<Truth> {
    let mut all = Vec::new();
    let mut add = |name: String, change: &dyn Fn(&mut Truth)| {
        let seed = 1000 * (round + 1) + all.len() as u64;
        let mut truth = Truth::steady(&name, seed);
        change(&mut truth);
        all.push(truth);
    };
    for rate in [2.0, 5.0, 10.0, 50.0, 300.0, 1000.0] {
        add(format!("steady {rate}/s"), &|t| t.rate = rate);
        add(format!("sagging {rate}/s"), &|t| {
            (t.rate, t.sag, t.jitter) = (rate, -0.25 / 120.0, 0.2);
        });
        add(format!("decaying {rate}/s"), &|t| {
            (t.rate, t.fall, t.noise.0) = (rate, 0.3, 0.02);
        });
        add(format!("noisy {rate}/s"), &|t| {
            (t.rate, t.noise, t.jitter) = (rate, (0.685, 0.685), 0.3);
        });
        add(format!("reversed {rate}/s"), &|t| (t.rate, t.level) = (rate, -13.7));
        add(format!("spikes {rate}/s"), &|t| {
            t.rate = rate;
            t.spikes = vec![(3.0, 12.0), (8.0, 14.1), (60.0, 0.0), (90.0, 38.0), (140.0, 13.0)];
        });
    }
    for rate in [5.0, 10.0, 60.0, 500.0] {
        add(format!("pulsed {rate}/s"), &|t| {
            (t.rate, t.pulse, t.jitter) = (rate, Some((0.5, 0.5)), 0.2);
        });
        add(format!("pulsed slowly {rate}/s"), &|t| {
            (t.rate, t.pulse, t.noise) = (rate, Some((1.5, 2.5)), (0.3, 0.05));
        });
        add(format!("never on {rate}/s"), &|t| (t.rate, t.alarms) = (rate, Vec::new()));
        add(format!("still on {rate}/s"), &|t| {
            (t.rate, t.alarms) = (rate, vec![(12.0, f64::INFINITY)]);
        });
        add(format!("three alarms {rate}/s"), &|t| {
            (t.rate, t.alarms) = (rate, vec![(12.0, 42.0), (63.0, 93.0), (110.0, 140.0)]);
        });
        add(format!("coarse and quick sag {rate}/s"), &|t| {
            (t.rate, t.grid, t.noise, t.sag) = (rate, 0.01, (0.0, 0.0), -1.0 / 60.0);
        });
    }
    for rate in [200.0, 1000.0] {
        add(format!("bounces {rate}/s"), &|t| (t.rate, t.bounces) = (rate, 3));
        add(format!("smoothed {rate}/s"), &|t| (t.rate, t.rise, t.fall) = (rate, 0.02, 0.3));
    }
    for level in [6.8, 27.3] {
        add(format!("level {level}"), &|t| (t.level, t.noise.0) = (level, 0.05 * level));
    }
    all
}
