//! What the pattern of results says when it is not the one expected: while the leads still rest
//! there, which pair of terminals would read like that; and at the end, whether everything fits
//! once two terminals are taken for each other, as when wires are exchanged. Reads open, closed or
//! input; what the verdicts are is not changed by it.

use super::plan::{Level, Plan, Wanted, Way};
use crate::event::{Capture, Pin};

/// What a pair reads like.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Look {
    Open,
    Closed,
    Input,
}

impl Look {
    const fn word(self) -> &'static str {
        match self {
            Self::Open => "open",
            Self::Closed => "closed",
            Self::Input => "the input's ohms",
        }
    }
}

/// For a capture that does not look as its pair should: what to ask the operator before it is
/// believed. `None` where it looks as it should, or like nothing known.
#[must_use]
pub fn asked_instead(plan: &Plan, way: &Way, capture: &Capture) -> Option<String> {
    let level = plan.level(&capture.drive)?;
    let seen = look(plan, capture)?;
    let wanted = expected(plan, &way.red, &way.black, level);
    if seen == wanted {
        return None;
    }
    let reads =
        format!("{} reads {}, not {}", pair(&way.red, &way.black), seen.word(), wanted.word());
    if seen == Look::Open {
        return Some(format!("{reads}: do both tips touch {} and {}?", way.red, way.black));
    }
    let fits = |a: &Pin, b: &Pin| expected(plan, a, b, level) == seen;
    let others = plan.written.terminals.iter();
    let one_off = others.clone().find_map(|pin| match () {
        () if *pin == way.red || *pin == way.black => None,
        () if fits(&way.red, pin) => Some(pair(&way.red, pin)),
        () if fits(pin, &way.black) => Some(pair(pin, &way.black)),
        () => None,
    });
    let any = || {
        let pairs = others.clone().flat_map(|a| others.clone().map(move |b| (a, b)));
        pairs.into_iter().find(|(a, b)| a < b && fits(a, b)).map(|(a, b)| pair(a, b))
    };
    let like = one_off.or_else(any)?;
    Some(format!("{reads}, as {like} would: are the leads on {} and {}?", way.red, way.black))
}

/// What all captures of a board together say.
#[must_use]
pub fn remarks(plan: &Plan, captures: &[&Capture]) -> Vec<String> {
    let seen: Vec<(&Capture, Level, Look)> =
        captures.iter().filter_map(|c| Some((*c, plan.level(&c.drive)?, look(plan, c)?))).collect();
    let fits = |rename: &dyn Fn(&Pin) -> Pin| {
        seen.iter().all(|(c, level, look)| {
            expected(plan, &rename(&c.red), &rename(&c.black), *level) == *look
        })
    };
    if seen.is_empty() || fits(&Pin::clone) {
        return Vec::new();
    }
    let terminals: Vec<&Pin> = plan.written.terminals.iter().collect();
    for (i, a) in terminals.iter().enumerate() {
        for b in &terminals[i + 1..] {
            let swap = |pin: &Pin| match pin {
                pin if pin == *a => (*b).clone(),
                pin if pin == *b => (*a).clone(),
                pin => pin.clone(),
            };
            if fits(&swap) {
                return vec![format!(
                    "everything fits once {a} and {b} are exchanged: either the leads were on each \
                     other's terminals, or the board is wired that way"
                )];
            }
        }
    }
    let closed = seen.iter().any(|(_, _, look)| *look != Look::Open);
    if closed {
        return Vec::new();
    }
    vec!["nothing but open was ever seen: do the leads reach the terminals at all?".into()]
}

fn pair(a: &Pin, b: &Pin) -> String {
    format!("{a}-{b}")
}

/// What two terminals of a board that works read like.
fn expected(plan: &Plan, a: &Pin, b: &Pin, level: Level) -> Look {
    let is = |x: &Pin, y: &Pin| (a == x && b == y) || (a == y && b == x);
    let supply = &plan.written.supply;
    if is(&supply.plus, &supply.minus) {
        return Look::Input;
    }
    for contact in &plan.written.contact {
        let nc = contact.nc.as_ref().is_some_and(|nc| is(&contact.common, nc));
        let no = contact.no.as_ref().is_some_and(|no| is(&contact.common, no));
        if (nc && !level.operates()) || (no && level.operates()) {
            return Look::Closed;
        }
    }
    Look::Open
}

/// `None` where it reads like nothing in particular, or not in ohms.
fn look(plan: &Plan, capture: &Capture) -> Option<Look> {
    if !matches!(capture.function, drivers::Function::Resistance | drivers::Function::Resistance4w)
    {
        return None;
    }
    let Some(ohms) = capture.value else { return Some(Look::Open) };
    let limit = |wanted: &Wanted| match wanted {
        Wanted::Closed { ohms_max } => Some((*ohms_max, f64::INFINITY)),
        Wanted::Open { ohms_min } => Some((f64::INFINITY, *ohms_min)),
        _ => None,
    };
    let limits = plan.checks.iter().filter_map(|check| limit(&check.wanted));
    let (closed, open) = limits.fold((f64::INFINITY, f64::INFINITY), |(a, b), (closed, open)| {
        (a.min(closed), b.min(open))
    });
    let input = plan.checks.iter().find(|check| plan.is_input(check));
    let is_input = input.is_some_and(|check| match &check.wanted {
        Wanted::Ohms { tolerance, .. } => {
            tolerance.lower.is_none_or(|low| ohms > 0.5 * low)
                && tolerance.upper.is_none_or(|high| ohms < 2.0 * high)
        }
        _ => false,
    });
    match () {
        () if is_input => Some(Look::Input),
        () if ohms <= closed => Some(Look::Closed),
        () if ohms >= open => Some(Look::Open),
        () => None,
    }
}
