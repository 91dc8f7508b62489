//! Shapes of parts. A [`Group`] is the shape of one coil, pole or joint; a [`Family`] is the
//! multiset of groups of a part, and every pin that no group takes is a spare. Within a family
//! every labelling (which pin is what) is equally likely; [`Family::labellings`] counts them.

use super::evidence::Status;
use crate::event::Form;
use std::fmt;
use std::sync::Arc;

/// The shape of one group of pins, sizes without labels.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Group {
    /// A coil with this many pins at either end; more than one are doubled.
    Coil(u8, u8),
    /// Two coils that share a pin: three pins, a coil's resistance between any two.
    TappedCoil,
    /// A pole: pins at the common, at the break side and at the make side. A make pole has no
    /// break side, a break pole no make side; which of its sides is the common cannot be known.
    Contact {
        /// Form A, B or C.
        form: Form,
        /// Pins at the common.
        common: u8,
        /// Pins closed with the common at rest.
        nc: u8,
        /// Pins closed with the common when energised.
        no: u8,
    },
    /// Pins joined inside the part, in no coil and no pole.
    Joined(u8),
}

/// The role of one pin in its group: an index into the group's sides.
pub(super) type Role = u8;

impl Group {
    /// A pole without doubled pins.
    #[must_use]
    pub const fn contact(form: Form) -> Self {
        match form {
            Form::A => Self::Contact { form, common: 1, nc: 0, no: 1 },
            Form::B => Self::Contact { form, common: 1, nc: 1, no: 0 },
            Form::C => Self::Contact { form, common: 1, nc: 1, no: 1 },
        }
    }

    /// A pole with every pin doubled.
    #[must_use]
    pub const fn doubled(form: Form) -> Self {
        match form {
            Form::A => Self::Contact { form, common: 2, nc: 0, no: 2 },
            Form::B => Self::Contact { form, common: 2, nc: 2, no: 0 },
            Form::C => Self::Contact { form, common: 2, nc: 2, no: 2 },
        }
    }

    /// How many pins have each role. For a pole: common, break side, make side.
    pub(super) const fn roles(self) -> [u8; 3] {
        match self {
            Self::Coil(a, b) => [a, b, 0],
            Self::TappedCoil => [1, 1, 1],
            Self::Contact { common, nc, no, .. } => [common, nc, no],
            Self::Joined(pins) => [pins, 0, 0],
        }
    }

    /// How many pins it takes.
    #[must_use]
    pub const fn size(self) -> usize {
        let [a, b, c] = self.roles();
        a as usize + b as usize + c as usize
    }

    /// What two pins of these roles show.
    pub(super) const fn between(self, a: Role, b: Role) -> Status {
        let (low, high) = if a < b { (a, b) } else { (b, a) };
        match (self, low, high) {
            (Self::TappedCoil, _, _) => Status::Coil,
            (_, _, _) if low == high => Status::Joined,
            (Self::Coil(..), _, _) => Status::Coil,
            (Self::Contact { .. }, 0, 1) => Status::Break,
            (Self::Contact { .. }, 0, 2) => Status::Make,
            _ => Status::Open,
        }
    }

    /// The two roles that change places without any difference, if there are such.
    const fn mirror(self) -> Option<(Role, Role)> {
        match self {
            Self::Coil(a, b) if a == b => Some((0, 1)),
            Self::Contact { form: Form::A, common, no, .. } if common == no => Some((0, 2)),
            Self::Contact { form: Form::B, common, nc, .. } if common == nc => Some((0, 1)),
            _ => None,
        }
    }

    /// Every way to give its roles to pins `0..size`, each labelling once.
    pub(super) fn arrangements(self) -> Vec<Vec<Role>> {
        if matches!(self, Self::TappedCoil) {
            return vec![vec![0, 1, 2]];
        }
        let mut found = Vec::new();
        deal(self.roles(), &mut Vec::with_capacity(self.size()), &mut found);
        if let Some((kept, dropped)) = self.mirror() {
            found.retain(|roles| {
                let first = |role| roles.iter().position(|&r| r == role);
                first(kept) < first(dropped)
            });
        }
        found
    }

    /// How many labellings its pins have.
    pub(super) fn arrangement_count(self) -> f64 {
        let [a, b, c] = self.roles().map(|role| factorial(usize::from(role)));
        match self {
            Self::TappedCoil => 1.0,
            _ => {
                let all = factorial(self.size()) / (a * b * c);
                if self.mirror().is_some() { all / 2.0 } else { all }
            }
        }
    }
}

fn deal(left: [u8; 3], dealt: &mut Vec<Role>, found: &mut Vec<Vec<Role>>) {
    if left == [0; 3] {
        found.push(dealt.clone());
        return;
    }
    for role in 0..3_u8 {
        let mut rest = left;
        if let Some(count) = rest[usize::from(role)].checked_sub(1) {
            rest[usize::from(role)] = count;
            dealt.push(role);
            deal(rest, dealt, found);
            dealt.pop();
        }
    }
}

pub(super) fn factorial(n: usize) -> f64 {
    (1..=n).map(|k| k as f64).product()
}

/// The shape of a whole part: its groups, sorted.
#[derive(Clone, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Family {
    groups: Arc<[Group]>,
}

impl Family {
    /// A part of these groups; pins beyond them are spares.
    #[must_use]
    pub fn new(groups: impl IntoIterator<Item = Group>) -> Self {
        let mut groups: Vec<Group> = groups.into_iter().collect();
        groups.sort_unstable();
        Self { groups: groups.into() }
    }

    /// One coil and `makes` Form A, `breaks` Form B and `changeovers` Form C poles.
    #[must_use]
    pub fn relay(makes: usize, breaks: usize, changeovers: usize) -> Self {
        let poles = |form, count| std::iter::repeat_n(Group::contact(form), count);
        Self::new(
            std::iter::once(Group::Coil(1, 1))
                .chain(poles(Form::A, makes))
                .chain(poles(Form::B, breaks))
                .chain(poles(Form::C, changeovers)),
        )
    }

    /// Its groups, sorted.
    #[must_use]
    pub fn groups(&self) -> &[Group] {
        &self.groups
    }

    /// How many pins its groups take.
    #[must_use]
    pub fn size(&self) -> usize {
        self.groups.iter().map(|group| group.size()).sum()
    }

    /// How many coils it has; two that share a pin count as two.
    #[must_use]
    pub fn coils(&self) -> usize {
        let coils = |group: &Group| match group {
            Group::Coil(..) => 1,
            Group::TappedCoil => 2,
            Group::Contact { .. } | Group::Joined(_) => 0,
        };
        self.groups.iter().map(coils).sum()
    }

    /// Whether it is a relay: a coil and at least one pole.
    #[must_use]
    pub fn is_relay(&self) -> bool {
        let pole = |group: &Group| matches!(group, Group::Contact { .. });
        self.coils() > 0 && self.groups.iter().any(pole)
    }

    /// How many different labellings it has on `pins` pins; 0 if it does not fit. With n pins,
    /// s spares, m groups of a kind with k pins and a arrangements each, that is
    /// n! / s! / product of (m! (k! / a)^m): ordered draws of pins, less the orders that make no
    /// difference.
    #[must_use]
    pub fn labellings(&self, pins: usize) -> f64 {
        let Some(spares) = pins.checked_sub(self.size()) else { return 0.0 };
        let mut count = factorial(pins) / factorial(spares);
        for alike in self.groups.chunk_by(|a, b| a == b) {
            let each = factorial(alike[0].size()) / alike[0].arrangement_count();
            count /= factorial(alike.len()) * each.powi(alike.len() as i32);
        }
        count.round()
    }
}

/// Contact codes, sorted and joined by `+`: `2C`, `1A+1B`. Without a pole: `none`.
impl fmt::Display for Family {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut counts = [0_usize; 3];
        for group in self.groups.iter() {
            if let Group::Contact { form, .. } = group {
                counts[*form as usize] += 1;
            }
        }
        let codes = counts.iter().zip(["A", "B", "C"]).filter(|(count, _)| **count > 0);
        let codes: Vec<String> = codes.map(|(count, form)| format!("{count}{form}")).collect();
        f.pad(&if codes.is_empty() { "none".to_owned() } else { codes.join("+") })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn labellings_agree_with_counting_by_hand() {
        // C(5,2) coils, 3! ways round a changeover.
        assert_eq!(Family::relay(0, 0, 1).labellings(5), 60.0);
        // C(8,2) x 6!/2.
        assert_eq!(Family::relay(0, 0, 2).labellings(8), 10080.0);
        // C(8,2) x 6!/(2! 2! 2!).
        let doubled = Family::new([Group::Coil(1, 1), Group::doubled(Form::C)]);
        assert_eq!(doubled.labellings(8), 2520.0);
        // C(14,2) x 12!/4!.
        assert_eq!(Family::relay(0, 0, 4).labellings(14), 91.0 * 479_001_600.0 / 24.0);
        // 3 spares in 8 pins: C(8,3) x 60.
        assert_eq!(Family::relay(0, 0, 1).labellings(8), 56.0 * 60.0);
        // Three make poles are a matching of 6 pins: 5 x 3 x 1, times C(8,2).
        assert_eq!(Family::relay(3, 0, 0).labellings(8), 28.0 * 15.0);
        assert_eq!(Family::relay(0, 0, 2).labellings(7), 0.0);
        // A pole of two pins has no first one: C(4,2) coils.
        assert_eq!(Family::relay(1, 0, 0).labellings(4), 6.0);
        assert_eq!(Family::relay(0, 1, 0).labellings(4), 6.0);
    }

    /// Sequences of the On-Line Encyclopedia of Integer Sequences, by number from memory, their
    /// terms by their recurrences: A000085, involutions, a(n) = a(n-1) + (n-1) a(n-2); A001147,
    /// perfect matchings, (2n-1)!!; and ordered triples on all pins, (3n)!/n!.
    #[test]
    fn labellings_add_up_to_known_sequences() {
        let joints = |joints| Family::new(vec![Group::Joined(2); joints]);
        let (mut before, mut involutions) = (1.0, 1.0);
        for pins in 2..=16 {
            (before, involutions) = (involutions, involutions + (pins - 1) as f64 * before);
            let all: f64 = (0..=pins / 2).map(|count| joints(count).labellings(pins)).sum();
            assert_eq!(all, involutions, "{pins} pins");
        }
        for pairs in 1..=8_usize {
            let matchings: f64 = (1..=pairs).map(|k| (2 * k - 1) as f64).product();
            assert_eq!(joints(pairs).labellings(2 * pairs), matchings);
        }
        for poles in 1..=5 {
            let triples = Family::new(vec![Group::contact(Form::C); poles]);
            let ordered = factorial(3 * poles) / factorial(poles);
            assert_eq!(triples.labellings(3 * poles), ordered);
        }
    }

    #[test]
    fn arrangements_are_as_many_as_their_formula_says() {
        let forms = [Form::A, Form::B, Form::C];
        let poles = forms.iter().flat_map(|&f| [Group::contact(f), Group::doubled(f)]);
        let others = [Group::Coil(1, 1), Group::Coil(2, 1), Group::Coil(2, 2), Group::TappedCoil]
            .into_iter();
        // A single pin against a doubled one: which of the pins is single can be known.
        let odd = [(Form::A, 0, 1), (Form::B, 1, 0), (Form::C, 1, 1)];
        let odd = odd.map(|(form, nc, no)| Group::Contact { form, common: 2, nc, no });
        for group in poles.chain(others).chain(odd).chain([Group::Joined(3)]) {
            let mut listed = group.arrangements();
            assert_eq!(listed.len() as f64, group.arrangement_count(), "{group:?}");
            listed.sort();
            listed.dedup();
            assert_eq!(listed.len() as f64, group.arrangement_count(), "{group:?}");
        }
    }

    #[test]
    fn codes_are_sorted_and_joined() {
        assert_eq!(Family::relay(1, 1, 0).to_string(), "1A+1B");
        assert_eq!(Family::relay(0, 0, 2).to_string(), "2C");
        assert_eq!(Family::default().to_string(), "none");
    }

    #[test]
    fn a_relay_has_a_coil_and_a_pole() {
        let [coil, pole] = [Group::Coil(1, 1), Group::contact(Form::A)];
        for (groups, coils, relay) in [
            (vec![], 0, false),
            (vec![pole], 0, false),
            (vec![coil], 1, false),
            (vec![coil, Group::Joined(2)], 1, false),
            (vec![coil, pole], 1, true),
            (vec![coil, coil, pole], 2, true),
            (vec![Group::TappedCoil, pole], 2, true),
        ] {
            let family = Family::new(groups);
            assert_eq!((family.coils(), family.is_relay()), (coils, relay), "{family:?}");
        }
    }
}
