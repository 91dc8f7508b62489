//! What is still to be looked at on the board that is on the bench, and what was found once that
//! is nothing. A check that failed is looked at once more in a fresh touch before it is believed:
//! leads slip, and hands err. A board that was tested before has only those checks repeated that
//! did not pass, and its input's ohms whenever it is to be driven.

use super::record::{OnBench, Record};
use crate::board::{self, Check, Level, Plan, Way};
use crate::event::{BoardFinding, Capture, CheckFound, CheckSoFar, DriveState, Verdict};
use drivers::Function;
use std::collections::BTreeSet;

/// How many bad readings of the leads are borne.
const NULLS_MAX: usize = 3;

/// One look: leads, function, drive.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Look {
    pub(super) way: Way,
    pub(super) function: Function,
    pub(super) level: Level,
    /// Whether the leads are to be lifted and put there anew.
    pub(super) fresh: bool,
    pub(super) why: String,
}

/// The plan, the record and the bench in one view.
pub(super) struct View<'a> {
    pub(super) plan: &'a Plan,
    pub(super) record: &'a Record,
    pub(super) on: &'a OnBench,
    pub(super) bench: &'a board::Bench,
}

/// The leads' capture, if it is good.
pub(super) fn good_null(plan: &Plan, record: &Record) -> Option<Capture> {
    let most = plan.written.leads.ohms_max;
    record.nulls.iter().rev().find(|c| c.value.is_some_and(|ohms| ohms.abs() <= most)).cloned()
}

impl View<'_> {
    /// The next look; `None` when all is seen.
    pub(super) fn next(&self) -> Option<Look> {
        self.null().or_else(|| self.plan.route.iter().find_map(|way| self.on_way(way)))
    }

    fn null(&self) -> Option<Look> {
        let nulls = &self.record.nulls;
        let given_up =
            nulls.len() >= NULLS_MAX || self.on.unreachable.contains(&self.plan.null_way());
        if given_up || good_null(self.plan, self.record).is_some() {
            return None;
        }
        let why = match nulls.last() {
            None => "both tips on one terminal: what the leads themselves read".to_owned(),
            Some(_) => "the leads read too much: press both tips on, or clean them".to_owned(),
        };
        let (function, level) = (Function::Resistance, Level::Rest);
        Some(Look { way: self.plan.null_way(), function, level, fresh: !nulls.is_empty(), why })
    }

    fn on_way(&self, way: &Way) -> Option<Look> {
        let mut open: Vec<&Check> =
            self.plan.checks.iter().filter(|c| c.way == *way && self.is_open(c)).collect();
        open.sort_by_key(|check| (check.function, check.level));
        let check = open.first()?;
        let failed =
            self.captures(check).last().copied().filter(|c| c.touch == self.record.last_touch);
        let doubt = failed.and_then(|capture| board::asked_instead(self.plan, way, capture));
        let why = match (failed, doubt) {
            (_, Some(doubt)) => doubt,
            (Some(_), None) => "once more, in a fresh touch: this one failed".into(),
            (None, None) => check.name.clone(),
        };
        let (function, level) = (check.function, check.level);
        Some(Look { way: way.clone(), function, level, fresh: failed.is_some(), why })
    }

    /// Whether a check still wants a look.
    fn is_open(&self, check: &Check) -> bool {
        if self.is_carried(check) || self.hindrance(check).is_some() {
            return false;
        }
        let captures = self.captures(check);
        let Some(last) = captures.last() else { return true };
        let touches: BTreeSet<u32> = captures.iter().map(|c| c.touch).collect();
        let failed = board::judge(self.plan, check, last, self.bench).verdict == Verdict::Fail;
        failed && touches.len() < 2
    }

    /// Why a check cannot be looked at.
    fn hindrance(&self, check: &Check) -> Option<String> {
        if self.on.unreachable.contains(&check.way) {
            return Some("skipped by the operator, or the readings never settled".into());
        }
        if self.record.refused.contains(&check.function) {
            return Some(format!("the meter has no {}", check.function));
        }
        if check.level == Level::Rest {
            return None;
        }
        if self.on.drive_refused {
            return Some("no drive was possible".into());
        }
        self.unsafe_to_drive()
    }

    /// Nothing is driven whose input was not measured, or whose power would be above the limit.
    /// While the input is still to be looked at, this is no hindrance yet.
    fn unsafe_to_drive(&self) -> Option<String> {
        let input = self.plan.checks.iter().find(|check| self.plan.is_input(check))?;
        if self.on.unreachable.contains(&input.way) {
            return Some("not driven: the input's ohms were not measured".into());
        }
        let captures = self.captures(input);
        let last = captures.last()?;
        let Some(ohms) = last.value else {
            return Some("not driven: the input is open".into());
        };
        let supply = &self.plan.written.supply;
        let watts = supply.volts * supply.volts / ohms.max(1e-3);
        (watts > supply.watts_max).then(|| {
            format!("not driven: {watts:.1} W in {ohms:.1} ohm, over {} W", supply.watts_max)
        })
    }

    /// A check that passed in the earlier test of this board.
    fn is_carried(&self, check: &Check) -> bool {
        let drives = || self.plan.checks.iter().any(|c| c.level != Level::Rest && !self.passed(c));
        self.passed(check) && !(self.plan.is_input(check) && drives())
    }

    fn passed(&self, check: &Check) -> bool {
        self.earlier(check).is_some_and(|found| found.verdict == Verdict::Pass)
    }

    fn earlier(&self, check: &Check) -> Option<&CheckFound> {
        let tested = self.record.tested.get(&self.on.serial)?;
        if tested.last.result == Verdict::Pass {
            return None;
        }
        tested.last.checks.iter().find(|found| found.check == check.name)
    }

    /// The captures that a check stands on.
    fn captures(&self, check: &Check) -> Vec<&Capture> {
        let drive = self.plan.drive(check.level);
        let is_it = |c: &&Capture| {
            c.red == check.way.red
                && c.black == check.way.black
                && c.function == check.function
                && c.drive == drive
        };
        self.on.captures.iter().filter(is_it).collect()
    }

    /// A check whose verdict is new, by what was captured so far.
    pub(super) fn news(&self) -> Option<CheckSoFar> {
        let checks = &self.plan.checks;
        let judged = |check: &&Check| !self.captures(check).is_empty() || self.is_carried(check);
        let verdicts = checks.iter().filter(judged).map(|check| (check, self.found(check).verdict));
        let is_new =
            |(check, verdict): &(&Check, Verdict)| self.on.judged.get(&check.name) != Some(verdict);
        let (check, verdict) = verdicts.clone().find(is_new)?;
        // Those that come with the same capture follow one by one.
        let known = verdicts.filter(|found| !is_new(found)).count() + 1;
        let [done, of] = [known, checks.len()].map(|n| u32::try_from(n).unwrap_or(u32::MAX));
        Some(CheckSoFar { check: check.name.clone(), verdict, done, of })
    }

    /// The finding, once nothing is left to be looked at.
    pub(super) fn finding(&self, simulated: bool) -> BoardFinding {
        let checks: Vec<CheckFound> = self.plan.checks.iter().map(|c| self.found(c)).collect();
        let result = Verdict::of_all(checks.iter().map(|check| check.verdict));
        let bad = |verdict| checks.iter().filter(move |c: &&CheckFound| c.verdict == verdict);
        let named = |verdict| bad(verdict).map(|c| c.check.as_str()).collect::<Vec<_>>().join(", ");
        let reason = match result {
            Verdict::Pass => None,
            Verdict::Fail => Some(format!("failed: {}", named(Verdict::Fail))),
            Verdict::Undecided => Some(format!("undecided: {}", named(Verdict::Undecided))),
        };
        let captures: Vec<&Capture> = self.on.captures.iter().collect();
        let last_of = |c: &&Capture| {
            let same = |o: &&Capture| o.red == c.red && o.black == c.black && o.drive == c.drive;
            captures.iter().rfind(|o| same(o)).is_some_and(|o| o.capture == c.capture)
        };
        let newest: Vec<&Capture> = captures.iter().copied().filter(last_of).collect();
        BoardFinding {
            result,
            reason,
            simulated,
            serial: self.on.serial.clone(),
            repeats: self.record.tested.get(&self.on.serial).map_or(0, |tested| tested.times),
            plan: self.plan.written.name.clone(),
            revision: self.plan.written.revision.clone(),
            rule: self.plan.rule.in_words(),
            coverage: self.plan.written.decision.coverage,
            remarks: board::remarks(self.plan, &newest),
            placements: self.on.placements,
            lead_moves: self.on.lead_moves,
            drive_changes: self.on.drive_changes,
            checks,
        }
    }

    fn found(&self, check: &Check) -> CheckFound {
        if let (true, Some(earlier)) = (self.is_carried(check), self.earlier(check)) {
            let note = Some("passed in the earlier test of this board".into());
            return CheckFound { note, ..earlier.clone() };
        }
        let captures = self.captures(check);
        match captures.last() {
            Some(last) => {
                let mut found = board::judge(self.plan, check, last, self.bench);
                let touches: BTreeSet<u32> = captures.iter().map(|c| c.touch).collect();
                if touches.len() > 1 && found.note.is_none() {
                    found.note = Some(format!("after {} touches", touches.len()));
                }
                found
            }
            None => board::untested(self.plan, check, self.hindrance(check).as_deref()),
        }
    }
}

/// The drive that is wanted next on the way to a level; the level's own drive when it is there.
pub(super) fn towards(plan: &Plan, now: &DriveState, level: Level) -> DriveState {
    let wanted = plan.drive(level);
    let from_rest = level == Level::Operate && *now != DriveState::Rest;
    let from_above = level == Level::Release && *now != plan.drive(Level::Nominal);
    match () {
        () if *now == wanted => wanted,
        () if from_rest => DriveState::Rest,
        () if from_above => plan.drive(Level::Nominal),
        () => wanted,
    }
}
