//! A person at the bench: two pins -> where the tips really come down, and how long hands take.
//! Slips are rolled once per touch, seeded, and last until the leads are lifted. What follows
//! electrically is the circuit's matter, and what is asked the state's; nothing here waits.

use super::chance::{Chance, Stream};
use super::circuit::Touch;
use crate::event::Pin;
use std::time::Duration;

/// How often a touch goes wrong, each as a share of all touches. At most one thing goes wrong
/// in a touch.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SlipRates {
    /// A tip does not make contact.
    pub no_contact: f64,
    /// A bridge: metal joins the two tips, whatever the pins are.
    pub bridge: f64,
    /// The red tip also touches the pin that follows its own in the operator's order.
    pub next_pin: f64,
    /// The red tip stands on the following pin instead of its own.
    pub wrong_pin: f64,
}

impl SlipRates {
    /// Never.
    pub const NONE: Self = Self { no_contact: 0.0, bridge: 0.0, next_pin: 0.0, wrong_pin: 0.0 };
    /// What the belief expects by default: 2 % no contact, 0.2 % bridged.
    pub const USUAL: Self = Self { no_contact: 0.02, bridge: 0.002, next_pin: 0.0, wrong_pin: 0.0 };
}

/// How long the hands take.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct HandTimes {
    /// To move one lead.
    pub lead: Duration,
    /// To change the drive and say so; nothing where a supply does it.
    pub drive: Duration,
    /// To turn the dial.
    pub dial: Duration,
    /// From done to the answer, but for the drive.
    pub answer: Duration,
}

impl HandTimes {
    /// A person. Common practice, no source.
    pub const PERSON: Self = Self {
        lead: Duration::from_millis(1500),
        drive: Duration::from_millis(1300),
        dial: Duration::from_millis(1000),
        answer: Duration::from_millis(300),
    };
}

/// The hands: their habits, and where they last were.
#[derive(Clone, Debug)]
pub(crate) struct Hands {
    pub(crate) rates: SlipRates,
    pub(crate) times: HandTimes,
    pub(crate) unreachable: Vec<[Pin; 2]>,
    pub(crate) cannot_drive: bool,
    chance: Chance,
    at: Option<(usize, usize)>,
    slipped: bool,
}

impl Hands {
    pub(crate) fn new(rates: SlipRates, times: HandTimes, seed: u64) -> Self {
        Self {
            rates,
            times,
            unreachable: Vec::new(),
            cannot_drive: false,
            chance: Chance::of(seed, Stream::Hands),
            at: None,
            slipped: false,
        }
    }

    /// Whether this pair is out of reach.
    pub(crate) fn cannot_reach(&self, a: &Pin, b: &Pin) -> bool {
        self.unreachable.iter().any(|[x, y]| (x, y) == (a, b) || (y, x) == (a, b))
    }

    /// The pins that the tips were meant for, while they are down.
    pub(crate) fn at(&self) -> Option<(usize, usize)> {
        self.at
    }

    /// Whether the touch went wrong.
    pub(crate) fn slipped(&self) -> bool {
        self.slipped
    }

    /// Both tips on two pins of `count`: what they really touch, and how many leads moved.
    pub(crate) fn place(&mut self, red: usize, black: usize, count: usize) -> (Touch, u32) {
        let moved = match self.at {
            Some((r, b)) if (r, b) != (red, black) => u32::from(r != red) + u32::from(b != black),
            _ => 2,
        };
        self.at = Some((red, black));
        let roll = self.chance.unit();
        let SlipRates { no_contact, bridge, next_pin, wrong_pin } = self.rates;
        let next = (red + 1) % count.max(1);
        let mut touch = Touch { red: vec![red], black: vec![black], together: false };
        self.slipped = roll < no_contact + bridge + next_pin + wrong_pin;
        if roll < no_contact {
            if self.chance.below(2) == 0 { touch.red.clear() } else { touch.black.clear() }
        } else if roll < no_contact + bridge {
            touch.together = true;
        } else if roll < no_contact + bridge + next_pin {
            touch.red.push(next);
        } else if self.slipped {
            touch.red = vec![next];
        }
        (touch, moved)
    }

    /// Leads in the air.
    pub(crate) fn lift(&mut self) {
        self.at = None;
        self.slipped = false;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn hands(rates: SlipRates) -> Hands {
        Hands::new(rates, HandTimes::PERSON, 3)
    }

    #[test]
    fn slips_come_as_often_as_their_rates_say() {
        let mut hands = hands(SlipRates { no_contact: 0.1, bridge: 0.05, ..SlipRates::NONE });
        let touches: Vec<Touch> = (0..20_000).map(|_| hands.place(2, 5, 8).0).collect();
        let none = touches.iter().filter(|t| t.red.is_empty() || t.black.is_empty()).count();
        let bridged = touches.iter().filter(|t| t.together).count();
        assert!((1850..2150).contains(&none), "{none}");
        assert!((880..1120).contains(&bridged), "{bridged}");
    }

    #[test]
    fn a_fresh_touch_of_the_same_pair_moves_both_leads() {
        let mut hands = hands(SlipRates::NONE);
        let moves: Vec<u32> = [(1, 2), (1, 3), (1, 3), (4, 1), (4, 1)]
            .iter()
            .map(|&(red, black)| hands.place(red, black, 8).1)
            .collect();
        assert_eq!(moves, [2, 1, 2, 2, 2]);
    }

    #[test]
    fn a_tip_can_bridge_to_the_next_pin_or_stand_on_it() {
        let mut both = hands(SlipRates { next_pin: 1.0, ..SlipRates::NONE });
        assert_eq!(both.place(7, 1, 8).0.red, [7, 0]);
        let mut wrong = hands(SlipRates { wrong_pin: 1.0, ..SlipRates::NONE });
        assert_eq!(wrong.place(2, 1, 8).0.red, [3]);
    }
}
