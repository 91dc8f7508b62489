//! A loop worked out: each state's ohms and volts at the nominal values, in the worst case (the
//! corners of all ranges) and by seeded chance, and its margin to the panel's thresholds. A state
//! passes where it is read rightly over the whole range. Resistors are those of the drawer.

use super::band::Margin;
use super::circuit::{Situation, Values, ohms};
use super::colour;
use super::fault;
use super::panel::Panel;
use super::rank;
use super::rkm;
use super::wiring::in_words;
use crate::event::{
    LoopKind, Verdict, ZoneAmount, ZoneBand, ZoneDesignFinding, ZoneResistor, ZoneState,
    ZoneStateFigures, ZoneWiring,
};
use crate::fit::spread::{Spread, bounds, sample};

/// What is known of the cable and the contact.
#[derive(Clone, Debug, PartialEq)]
pub struct Parts {
    /// The cable, there and back, in ohms.
    pub cable_ohms: Spread,
    /// A closed contact, in ohms.
    pub contact_ohms: Spread,
}

/// A loop to be worked out.
#[derive(Clone, Debug, PartialEq)]
pub struct Design {
    /// The panel's input.
    pub panel: Panel,
    /// The wiring.
    pub wiring: ZoneWiring,
    /// Cable and contact.
    pub parts: Parts,
    /// How many random draws.
    pub draws: u32,
    /// Their seed.
    pub seed: u64,
    /// The end-of-line resistor of the drawer, in ohms.
    eol_ohms: f64,
}

/// A state that a loop must show.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Wanted {
    /// What the contacts do.
    pub situation: Situation,
    /// What the panel must read.
    pub state: ZoneState,
}

impl Design {
    /// A design with the resistors that the panel asks for, from the drawer; an end-of-line
    /// resistor that the panel leaves open is the one with the greatest margins.
    #[must_use]
    pub fn new(panel: Panel, wiring: ZoneWiring, parts: Parts, draws: u32, seed: u64) -> Self {
        let mut design = Self { panel, wiring, parts, draws, seed, eol_ohms: 0.0 };
        design.eol_ohms = match design.panel.resistors.eol_ohms {
            Some(ohms) => design.picked(ohms),
            None => design.chosen_eol(),
        };
        design
    }

    /// The same with another wiring.
    #[must_use]
    pub fn rewired(&self, wiring: ZoneWiring) -> Self {
        Self { wiring, ..self.clone() }
    }

    /// The states that this loop must show.
    #[must_use]
    pub fn wanted(&self) -> Vec<Wanted> {
        let mut all =
            vec![(Situation::Rest, ZoneState::Ready), (Situation::Alarm, ZoneState::Violated)];
        if self.wiring.tamper {
            all.push((Situation::TamperOpen, ZoneState::Tamper));
        }
        if self.wiring.kind == LoopKind::Triple {
            all.push((Situation::FaultOpen, ZoneState::Fault));
        }
        all.into_iter().map(|(situation, state)| Wanted { situation, state }).collect()
    }

    /// Works it out.
    #[must_use]
    pub fn finding(&self) -> ZoneDesignFinding {
        let states: Vec<ZoneStateFigures> =
            self.wanted().into_iter().map(|wanted| self.figures(wanted)).collect();
        let result = Verdict::of_all(states.iter().map(|state| state.verdict));
        let nominal = self.nominal();
        ZoneDesignFinding {
            result,
            reason: reason(result, &states),
            panel: self.panel.name.clone(),
            panel_source: self.panel.origin.clone(),
            wiring: self.wiring,
            supply_volts: nominal.source_volts,
            supply_ohms: nominal.source_ohms,
            cable_ohms: nominal.cable_ohms,
            contact_ohms_max: self.parts.contact_ohms.high,
            bands: self.bands(),
            resistors: self.resistors(),
            states,
            faults: fault::table(self),
            ranking: rank::ranking(self),
            assumptions: self.assumptions(),
            draws: self.draws,
            seed: self.seed,
        }
    }

    /// Verdict over all states, without the table of faults and the ranking.
    pub(super) fn verdict(&self) -> Verdict {
        Verdict::of_all(self.wanted().into_iter().map(|wanted| self.judged(wanted).0))
    }

    /// The values that are worked with.
    #[must_use]
    pub fn nominal(&self) -> Values {
        Values::from_array(self.spreads().map(|spread| spread.nominal))
    }

    /// The values that make the loop look shortest, and those that make it look longest.
    pub(super) fn corners(&self) -> [Values; 2] {
        let spreads = self.spreads();
        let mut low = spreads.each_ref().map(|spread| spread.low);
        let mut high = spreads.each_ref().map(|spread| spread.high);
        // A higher source resistance or threshold makes a loop look shorter.
        std::mem::swap(&mut low[6], &mut high[6]);
        std::mem::swap(&mut low[7], &mut high[7]);
        [Values::from_array(low), Values::from_array(high)]
    }

    /// What is known of each value, in the order of [`Values`].
    pub(super) fn spreads(&self) -> [Spread; Values::COUNT] {
        let resistors = &self.panel.resistors;
        let picked = |ohms: Option<f64>| {
            Spread::percent(ohms.map_or(0.0, |ohms| self.picked(ohms)), resistors.percent)
        };
        [
            Spread::percent(self.eol_ohms, resistors.percent),
            picked(resistors.alarm_ohms),
            picked(resistors.fault_ohms),
            self.parts.cable_ohms.clone(),
            self.parts.contact_ohms.clone(),
            self.panel.source.volts.clone(),
            self.panel.source.ohms.clone(),
            self.panel.thresholds.clone(),
        ]
    }

    fn picked(&self, ohms: f64) -> f64 {
        self.panel.resistors.series.nearest(ohms).unwrap_or(ohms)
    }

    fn chosen_eol(&self) -> f64 {
        let all = self.panel.resistors.series.between(100.0, 100_000.0);
        let worst = |eol_ohms: f64| {
            let with = Self { eol_ohms, ..self.clone() };
            let margins = with.wanted().into_iter().map(|w| with.nominal_margin(w).volts);
            margins.fold(f64::INFINITY, f64::min)
        };
        all.into_iter().max_by(|a, b| worst(*a).total_cmp(&worst(*b))).unwrap_or(1000.0)
    }

    /// The ends of that band of the wanted state which the nominal loop is deepest in.
    fn band(&self, wanted: Wanted) -> Option<(Option<f64>, Option<f64>)> {
        let values = self.nominal();
        let at = values.at_terminals(ohms(&self.wiring, wanted.situation, None, &values));
        let depth = |ends| self.panel.bands.deciding(self.panel.bands.margin(ends, &at));
        let bands = self.panel.bands.of(wanted.state);
        bands.max_by(|a, b| depth(*a).total_cmp(&depth(*b)))
    }

    fn margin_to(&self, wanted: Wanted, ends: (Option<f64>, Option<f64>), v: &[f64]) -> Margin {
        let mut array = [0.0; Values::COUNT];
        array.copy_from_slice(v);
        let values = Values::from_array(array);
        let at = values.at_terminals(ohms(&self.wiring, wanted.situation, None, &values));
        self.panel.bands.margin(ends, &at)
    }

    fn nominal_margin(&self, wanted: Wanted) -> Margin {
        let nominal = self.spreads().map(|spread| spread.nominal);
        let none = Margin { ohms: f64::NEG_INFINITY, volts: f64::NEG_INFINITY };
        self.band(wanted).map_or(none, |ends| self.margin_to(wanted, ends, &nominal))
    }

    /// The verdict on a state, and its worst-case margin.
    fn judged(&self, wanted: Wanted) -> (Verdict, Option<Margin>) {
        let Some((lower, upper)) = self.band(wanted) else {
            return (Verdict::Fail, None);
        };
        let spreads = self.spreads();
        let mut verdict = Verdict::Pass;
        let mut worst = Margin { ohms: f64::INFINITY, volts: f64::INFINITY };
        // Each end by itself: towards one end the margin only rises or only falls with each value.
        for end in [(lower, None), (None, upper)] {
            let deciding = |v: &[f64]| self.panel.bands.deciding(self.margin_to(wanted, end, v));
            let (low, high) = bounds(&spreads, deciding);
            verdict = Verdict::of_all([verdict, Verdict::of_margin(low, high)]);
            let in_ohms = bounds(&spreads, |v| self.margin_to(wanted, end, v).ohms).0;
            let in_volts = bounds(&spreads, |v| self.margin_to(wanted, end, v).volts).0;
            worst.ohms = worst.ohms.min(in_ohms);
            worst.volts = worst.volts.min(in_volts);
        }
        (verdict, Some(worst))
    }

    fn figures(&self, wanted: Wanted) -> ZoneStateFigures {
        let (verdict, margin) = self.judged(wanted);
        let of = |values: &Values| {
            let at = values.at_terminals(ohms(&self.wiring, wanted.situation, None, values));
            (at.ohms, at.volts(), self.panel.bands.read(&at))
        };
        let (mut all_ohms, mut all_volts, mut right) = (Vec::new(), Vec::new(), 0_u32);
        sample(&self.spreads(), self.draws, self.seed, |v| {
            let mut array = [0.0; Values::COUNT];
            array.copy_from_slice(v);
            let (ohms, volts, reads) = of(&Values::from_array(array));
            all_ohms.push(ohms);
            all_volts.push(volts);
            right += u32::from(reads == wanted.state);
        });
        let [low, high] = self.corners().map(|corner| of(&corner));
        let nominal = of(&self.nominal());
        let finite = |value: f64| value.is_finite().then_some(value);
        ZoneStateFigures {
            state: wanted.state,
            text: self.in_words(wanted.situation),
            reads: nominal.2,
            verdict,
            ohms: amount(low.0, nominal.0, high.0, all_ohms),
            volts: amount(low.1, nominal.1, high.1, all_volts),
            margin_ohms: margin.and_then(|margin| finite(margin.ohms)),
            margin_volts: margin.and_then(|margin| finite(margin.volts)),
            probability: f64::from(right) / f64::from(self.draws.max(1)),
        }
    }

    fn in_words(&self, situation: Situation) -> String {
        let opens = self.wiring.opens_in_alarm();
        match situation {
            Situation::Rest if opens => "at rest, contact closed",
            Situation::Rest => "at rest, contact open",
            Situation::Alarm if opens => "in alarm, contact open",
            Situation::Alarm => "in alarm, contact closed",
            Situation::TamperOpen => "tamper contact open",
            Situation::FaultOpen => "fault contact open",
        }
        .into()
    }

    fn bands(&self) -> Vec<ZoneBand> {
        let values = self.nominal();
        let both = |end: f64| match self.panel.bands.unit {
            super::band::Compares::Ohms => (end, values.at_terminals(end).volts()),
            super::band::Compares::Volts => {
                (super::source::ohms_at(values.source_volts, values.source_ohms, end), end)
            }
        };
        let all = self.panel.bands.iter();
        all.map(|(reads, end)| {
            let end = end.map(both);
            let up_to_ohms = end.map(|end| end.0).filter(|ohms| ohms.is_finite());
            ZoneBand { reads, up_to_ohms, up_to_volts: end.map(|end| end.1) }
        })
        .collect()
    }

    /// The resistors of this wiring, as the drawer holds them.
    #[must_use]
    pub fn resistors(&self) -> Vec<ZoneResistor> {
        let r = &self.panel.resistors;
        let roles = match self.wiring.kind {
            LoopKind::Bare => vec![],
            LoopKind::Series | LoopKind::Parallel => vec![("end of line", r.eol_ohms)],
            LoopKind::Double => vec![("end of line", r.eol_ohms), ("alarm", r.alarm_ohms)],
            LoopKind::Triple => {
                let fault = ("fault", r.fault_ohms);
                vec![("end of line", r.eol_ohms), ("alarm", r.alarm_ohms), fault]
            }
        };
        let one = |(role, wanted): (&str, Option<f64>)| {
            let wanted_ohms = wanted.unwrap_or(self.eol_ohms);
            let ohms = self.picked(wanted_ohms);
            let bands = colour::bands(ohms, r.percent).unwrap_or_default();
            ZoneResistor {
                role: role.into(),
                wanted_ohms,
                ohms,
                percent: r.percent,
                series: r.series.to_string(),
                code: rkm::render(ohms, Some(r.percent)),
                bands: bands.iter().map(ToString::to_string).collect(),
            }
        };
        roles.into_iter().map(one).collect()
    }

    fn assumptions(&self) -> Vec<String> {
        let mut all = vec![
            format!("The panel's numbers are from: {}.", self.panel.origin),
            "By chance means: every value anywhere within its tolerance, as likely as another; \
             measured ones within two standard uncertainties."
                .into(),
        ];
        for resistor in self.resistors() {
            if (resistor.ohms - resistor.wanted_ohms).abs() > 1e-9 * resistor.ohms {
                all.push(format!(
                    "{} ohm is no value of {}; worked with {} ohm.",
                    resistor.wanted_ohms, resistor.series, resistor.ohms
                ));
            }
        }
        if self.wiring.has_resistors() && self.panel.resistors.eol_ohms.is_none() {
            all.push("The panel leaves the end-of-line resistor open; it was chosen here.".into());
        }
        all.push(format!("Wiring: {}.", in_words(&self.wiring)));
        all
    }
}

fn amount(low: f64, nominal: f64, high: f64, mut drawn: Vec<f64>) -> ZoneAmount {
    drawn.sort_by(f64::total_cmp);
    let last = drawn.len().saturating_sub(1) as f64;
    let at = |share: f64| drawn.get((share * last).round() as usize).copied();
    let finite = |value: f64| value.is_finite().then_some(value);
    ZoneAmount {
        low: finite(low),
        p001: at(0.001).and_then(finite),
        nominal: finite(nominal),
        p999: at(0.999).and_then(finite),
        high: finite(high),
    }
}

fn reason(result: Verdict, states: &[ZoneStateFigures]) -> String {
    let named = |verdict: Verdict| {
        let all = states.iter().filter(|state| state.verdict == verdict);
        all.map(|state| format!("{} ({})", state.state.name(), state.text)).collect::<Vec<_>>()
    };
    match result {
        Verdict::Pass => {
            "every state is read as it should be, over the whole range of the values".into()
        }
        Verdict::Fail => format!("never read as it should be: {}", named(result).join(", ")),
        Verdict::Undecided => {
            format!("not surely read as it should be: {}", named(result).join(", "))
        }
    }
}
