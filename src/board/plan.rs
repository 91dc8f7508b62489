//! A plan as written -> a checked [`Plan`]: every step becomes checks, one placement and one level
//! of drive each, and the placements get their order. A check that another step already looks at
//! shares its look. What makes no sense is refused here, with the key that says so; nothing
//! downstream checks again. Ohms, volts, milliamperes.

use super::order;
use crate::event::{
    BoardPlan, DriveState, Pin, Placement, PlanContact, PlanRule, PlanStep, visible,
};
use crate::metrology::{DecisionRule, Tolerance};
use drivers::Function;

/// Why a plan is refused.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("`{key}`: {problem}")]
pub struct BadPlan {
    /// The key that is wrong, or the step by its number.
    pub key: String,
    /// What is wrong.
    pub problem: String,
}

/// Which lead is on which terminal.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Way {
    /// Under the red lead.
    pub red: Pin,
    /// Under the black lead.
    pub black: Pin,
}

impl Way {
    /// How many leads change terminal on the way there, as [`Placement::moves`] counts them.
    #[must_use]
    pub fn moves_from(&self, from: Option<&Self>) -> u32 {
        Placement::moves(from.map(|from| (&from.red, &from.black)), (&self.red, &self.black))
    }
}

/// What is applied to the input when a check is looked at. The order is that of one pass.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Level {
    /// Nothing.
    Rest,
    /// Must-operate volts, from rest.
    Operate,
    /// Nominal volts.
    Nominal,
    /// Down from nominal to drop-out volts.
    Release,
}

impl Level {
    /// Whether a board that works is operated at it.
    #[must_use]
    pub const fn operates(self) -> bool {
        matches!(self, Self::Operate | Self::Nominal)
    }
}

/// What a check wants to see.
#[derive(Clone, Debug, PartialEq)]
pub enum Wanted {
    /// A closed contact, leads included.
    Closed {
        /// Below this, in ohms.
        ohms_max: f64,
    },
    /// An open contact or pair.
    Open {
        /// Above this, in ohms.
        ohms_min: f64,
    },
    /// Ohms in a tolerance.
    Ohms {
        /// The tolerance, in ohms.
        tolerance: Tolerance,
        /// Whether the leads are taken off.
        compensated: bool,
        /// Whether it is a copper winding, stated at 20 degrees Celsius.
        copper: bool,
    },
    /// A current, from volts across a resistor.
    Current {
        /// The tolerance, in milliamperes.
        tolerance: Tolerance,
        /// The resistor, in ohms.
        resistor_ohms: f64,
        /// Its tolerance, in per cent.
        resistor_percent: f64,
    },
}

/// One check.
#[derive(Clone, Debug, PartialEq)]
pub struct Check {
    /// Its name, unique in the plan.
    pub name: String,
    /// Where the leads are for it.
    pub way: Way,
    /// The meter's function.
    pub function: Function,
    /// What is applied.
    pub level: Level,
    /// What it wants to see.
    pub wanted: Wanted,
}

/// A checked plan.
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    /// As it was written.
    pub written: BoardPlan,
    /// The checks, in the order of the steps.
    pub checks: Vec<Check>,
    /// The placements, in the order of fewest lead moves; the input first, since nothing is
    /// driven before it was measured.
    pub route: Vec<Way>,
    /// The decision rule.
    pub rule: DecisionRule,
}

impl Plan {
    /// Checks a plan as written.
    ///
    /// # Errors
    /// [`BadPlan`] names the key.
    pub fn new(written: BoardPlan) -> Result<Self, BadPlan> {
        let rule = rule(&written)?;
        supply(&written)?;
        contacts(&written)?;
        let mut checks = Vec::new();
        for (n, step) in (1..).zip(&written.step) {
            let maker = Maker { written: &written, key: format!("step {n}") };
            checks.extend(maker.checks(step)?);
        }
        for (i, check) in checks.iter().enumerate() {
            let first = checks.iter().position(|c| c.name == check.name);
            if first != Some(i) {
                return Err(bad("step", format!("`{}` is asked for twice", check.name)));
            }
        }
        let drives = checks.iter().any(|c| c.level != Level::Rest);
        let input = checks.iter().any(|c| c.name.starts_with(INPUT));
        match () {
            () if checks.is_empty() => return Err(bad("step", "nothing is measured".into())),
            () if drives && !input => {
                let problem = "nothing is driven before its `input_resistance` is measured";
                return Err(bad("step", problem.into()));
            }
            () => {}
        }
        let route = order::shorten(&mut checks);
        Ok(Self { written, checks, route, rule })
    }

    /// Where both tips are put to check the leads.
    #[must_use]
    pub fn null_way(&self) -> Way {
        let terminal = &self.written.leads.terminal;
        Way { red: terminal.clone(), black: terminal.clone() }
    }

    /// What is applied at a level.
    #[must_use]
    pub fn drive(&self, level: Level) -> DriveState {
        let supply = &self.written.supply;
        let volts = match level {
            Level::Rest => return DriveState::Rest,
            Level::Operate => supply.must_operate_volts.unwrap_or(supply.volts),
            Level::Nominal => supply.volts,
            Level::Release => supply.drop_out_volts.unwrap_or(0.0),
        };
        DriveState::Energised { plus: supply.plus.clone(), minus: supply.minus.clone(), volts }
    }

    /// The level of a drive of this plan.
    #[must_use]
    pub fn level(&self, drive: &DriveState) -> Option<Level> {
        [Level::Rest, Level::Nominal, Level::Operate, Level::Release]
            .into_iter()
            .find(|level| self.drive(*level) == *drive)
    }

    /// Whether a check measures the input's ohms with red on plus: the drive stands on it.
    #[must_use]
    pub fn is_input(&self, check: &Check) -> bool {
        check.name.starts_with(INPUT) && check.way.red == self.written.supply.plus
    }
}

const INPUT: &str = "input ohms";

fn bad(key: impl Into<String>, problem: String) -> BadPlan {
    BadPlan { key: key.into(), problem: visible(&problem) }
}

fn rule(written: &BoardPlan) -> Result<DecisionRule, BadPlan> {
    let decision = &written.decision;
    if !(0.5..=0.9999).contains(&decision.coverage) {
        return Err(bad("decision.coverage", format!("{}: 0.5 to 0.9999", decision.coverage)));
    }
    match (decision.rule, decision.false_accept) {
        (PlanRule::Simple, None) => Ok(DecisionRule::Simple),
        (PlanRule::Guarded, None) => Ok(DecisionRule::Guarded),
        (PlanRule::Risk, Some(risk)) if (1e-6..=0.5).contains(&risk) => {
            Ok(DecisionRule::Risk(risk))
        }
        (PlanRule::Risk, _) => {
            Err(bad("decision.false_accept", "the rule `risk` wants 0.000001 to 0.5".into()))
        }
        (_, Some(_)) => Err(bad("decision.false_accept", "goes with the rule `risk` only".into())),
    }
}

fn supply(written: &BoardPlan) -> Result<(), BadPlan> {
    let supply = &written.supply;
    let known = |key: &str, pin: &Pin| match written.terminals.position(pin) {
        Some(_) => Ok(()),
        None => Err(bad(key, format!("`{pin}` is not among the terminals"))),
    };
    known("supply.plus", &supply.plus)?;
    known("supply.minus", &supply.minus)?;
    known("leads.terminal", &written.leads.terminal)?;
    if supply.plus == supply.minus {
        return Err(bad("supply.minus", "is the same terminal as `plus`".into()));
    }
    within("supply.volts", supply.volts, 1.0, 60.0)?;
    within("supply.watts_max", supply.watts_max, 0.01, 10.0)?;
    within("leads.ohms_max", written.leads.ohms_max, 0.01, 10.0)?;
    within("leads.repeat_ohms", written.leads.repeat_ohms, 0.0, 1.0)?;
    within("leads.correlation", written.leads.correlation, 0.0, 1.0)?;
    let operate = supply.must_operate_volts.unwrap_or(supply.volts * 0.99);
    if !(operate > 0.0 && operate < supply.volts) {
        return Err(bad("supply.must_operate_volts", "is not below `volts`".into()));
    }
    match supply.drop_out_volts {
        Some(volts) if !(volts > 0.0 && volts < operate) => {
            Err(bad("supply.drop_out_volts", "is not below `must_operate_volts`".into()))
        }
        _ => Ok(()),
    }
}

fn contacts(written: &BoardPlan) -> Result<(), BadPlan> {
    for (n, contact) in (1..).zip(&written.contact) {
        let key = format!("contact {n}");
        let pins: Vec<&Pin> = [Some(&contact.common), contact.nc.as_ref(), contact.no.as_ref()]
            .into_iter()
            .flatten()
            .collect();
        if pins.len() < 2 {
            return Err(bad(key, "give `nc` or `no` or both".into()));
        }
        for (i, pin) in pins.iter().enumerate() {
            if written.terminals.position(pin).is_none() {
                return Err(bad(key, format!("`{pin}` is not among the terminals")));
            }
            let fed = **pin == written.supply.plus || **pin == written.supply.minus;
            if fed || pins[..i].contains(pin) {
                return Err(bad(key, format!("`{pin}` has another task already")));
            }
        }
    }
    Ok(())
}

fn within(key: &str, value: f64, low: f64, high: f64) -> Result<f64, BadPlan> {
    if value >= low && value <= high {
        return Ok(value);
    }
    Err(bad(key, format!("{value}: {low} to {high}")))
}

/// Makes the checks of one step.
struct Maker<'a> {
    written: &'a BoardPlan,
    key: String,
}

impl Maker<'_> {
    fn checks(&self, step: &PlanStep) -> Result<Vec<Check>, BadPlan> {
        match step {
            PlanStep::InputResistance {
                ohms_min,
                ohms_max,
                reversed_ohms_min: low,
                reversed_ohms_max: high,
                copper,
            } => {
                let reversed = (low.unwrap_or(*ohms_min), high.unwrap_or(*ohms_max));
                self.input((*ohms_min, *ohms_max), reversed, *copper)
            }
            PlanStep::Rest { closed_ohms_max, open_ohms_min } => {
                self.states("rest", Level::Rest, *closed_ohms_max, *open_ohms_min)
            }
            PlanStep::Changeover { closed_ohms_max, open_ohms_min } => {
                self.states("changeover", Level::Nominal, *closed_ohms_max, *open_ohms_min)
            }
            PlanStep::MustOperate { closed_ohms_max, open_ohms_min } => {
                self.wants("must_operate_volts", self.written.supply.must_operate_volts)?;
                self.states("must operate", Level::Operate, *closed_ohms_max, *open_ohms_min)
            }
            PlanStep::DropOut { closed_ohms_max, open_ohms_min } => {
                self.wants("drop_out_volts", self.written.supply.drop_out_volts)?;
                self.states("drop-out", Level::Release, *closed_ohms_max, *open_ohms_min)
            }
            PlanStep::ContactOhms { ohms_max, four_wire } => {
                self.contact_ohms(*ohms_max, *four_wire)
            }
            PlanStep::Isolation { between, open_ohms_min } => {
                self.isolation(between, *open_ohms_min)
            }
            PlanStep::IndicatorCurrent { .. } => self.current(step),
        }
    }

    fn wants(&self, key: &str, volts: Option<f64>) -> Result<(), BadPlan> {
        match volts {
            Some(_) => Ok(()),
            None => Err(bad(self.key.clone(), format!("wants `supply.{key}`"))),
        }
    }

    fn limit(&self, key: &str, value: f64) -> Result<f64, BadPlan> {
        within(&format!("{}: {key}", self.key), value, 1e-4, 1e10)
    }

    fn tolerance(&self, (low, high): (f64, f64)) -> Result<Tolerance, BadPlan> {
        if low >= 0.0 && low < high && high <= 1e9 {
            return Ok(Tolerance::between(low, high));
        }
        Err(bad(self.key.clone(), format!("{low} to {high} are no limits")))
    }

    fn input(
        &self,
        ahead: (f64, f64),
        back: (f64, f64),
        copper: bool,
    ) -> Result<Vec<Check>, BadPlan> {
        let supply = &self.written.supply;
        let check = |red: &Pin, black: &Pin, tolerance| Check {
            name: format!("{INPUT} {red}-{black}"),
            way: Way { red: red.clone(), black: black.clone() },
            function: Function::Resistance,
            level: Level::Rest,
            wanted: Wanted::Ohms { tolerance, compensated: true, copper },
        };
        Ok(vec![
            check(&supply.plus, &supply.minus, self.tolerance(ahead)?),
            check(&supply.minus, &supply.plus, self.tolerance(back)?),
        ])
    }

    /// For each contact, whether each throw is closed or open at this level.
    fn states(
        &self,
        name: &str,
        level: Level,
        closed: f64,
        open: f64,
    ) -> Result<Vec<Check>, BadPlan> {
        let ohms_max = self.limit("closed_ohms_max", closed)?;
        let ohms_min = self.limit("open_ohms_min", open)?;
        if ohms_min <= ohms_max {
            return Err(bad(
                self.key.clone(),
                "`open_ohms_min` is not above `closed_ohms_max`".into(),
            ));
        }
        let check = |way: Way, normally_closed: bool| Check {
            name: format!("{name} {}-{}", way.red, way.black),
            way,
            function: Function::Resistance,
            level,
            wanted: match normally_closed != level.operates() {
                true => Wanted::Closed { ohms_max },
                false => Wanted::Open { ohms_min },
            },
        };
        Ok(self.throws()?.into_iter().map(|(way, nc)| check(way, nc)).collect())
    }

    fn contact_ohms(&self, most: f64, four_wire: bool) -> Result<Vec<Check>, BadPlan> {
        let tolerance = Tolerance::at_most(self.limit("ohms_max", most)?);
        let function = if four_wire { Function::Resistance4w } else { Function::Resistance };
        let check = |(way, normally_closed): (Way, bool)| Check {
            name: format!("contact ohms {}-{}", way.red, way.black),
            way,
            function,
            level: if normally_closed { Level::Rest } else { Level::Nominal },
            wanted: Wanted::Ohms { tolerance, compensated: !four_wire, copper: false },
        };
        Ok(self.throws()?.into_iter().map(check).collect())
    }

    /// Every throw, and whether it is normally closed.
    fn throws(&self) -> Result<Vec<(Way, bool)>, BadPlan> {
        let of = |contact: &PlanContact| {
            let way = |pin: &Pin| Way { red: contact.common.clone(), black: pin.clone() };
            let nc = contact.nc.as_ref().map(|pin| (way(pin), true));
            [nc, contact.no.as_ref().map(|pin| (way(pin), false))]
        };
        let throws: Vec<_> = self.written.contact.iter().flat_map(of).flatten().collect();
        if throws.is_empty() {
            return Err(bad(self.key.clone(), "the plan has no [[contact]]".into()));
        }
        Ok(throws)
    }

    fn isolation(&self, between: &[[Pin; 2]], least: f64) -> Result<Vec<Check>, BadPlan> {
        let ohms_min = self.limit("open_ohms_min", least)?;
        let mut checks = Vec::new();
        for [a, b] in between {
            let known = |pin| self.written.terminals.position(pin).is_some();
            if a == b || !known(a) || !known(b) {
                return Err(bad(
                    self.key.clone(),
                    format!("`{a}` and `{b}` are not two terminals"),
                ));
            }
            checks.push(Check {
                name: format!("isolation {a}-{b}"),
                way: Way { red: a.clone(), black: b.clone() },
                function: Function::Resistance,
                level: Level::Rest,
                wanted: Wanted::Open { ohms_min },
            });
        }
        Ok(checks)
    }

    fn current(&self, step: &PlanStep) -> Result<Vec<Check>, BadPlan> {
        let PlanStep::IndicatorCurrent {
            red,
            black,
            resistor_ohms,
            resistor_percent,
            milliamps_min,
            milliamps_max,
        } = step
        else {
            return Ok(Vec::new());
        };
        let known = |pin| self.written.terminals.position(pin).is_some();
        if red == black || !known(red) || !known(black) {
            return Err(bad(
                self.key.clone(),
                format!("`{red}` and `{black}` are not two terminals"),
            ));
        }
        let key = format!("{}: resistor_percent", self.key);
        Ok(vec![Check {
            name: format!("indicator mA {red}-{black}"),
            way: Way { red: red.clone(), black: black.clone() },
            function: Function::VoltageDc,
            level: Level::Nominal,
            wanted: Wanted::Current {
                tolerance: self.tolerance((*milliamps_min, *milliamps_max))?,
                resistor_ohms: self.limit("resistor_ohms", *resistor_ohms)?,
                resistor_percent: within(&key, *resistor_percent, 0.0, 50.0)?,
            },
        }])
    }
}
