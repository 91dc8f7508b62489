//! One complete claim about a part: which pins are which coil, pole, joint or spare. A
//! [`Partition`] is in one canonical order, so that two of them are equal exactly if they say the
//! same. Names and marks of pins are left to the guide; pins are positions here.

use super::evidence::Status;
use super::family::{Family, Group, Role};
use super::pair::Pair;
use crate::event::Form;

/// A coil: two sides with one pin each, more where pins are doubled. Three sides are two coils
/// that share a pin; which of the three that is shows only in the values in ohms.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Coil {
    /// The pins of each side, ascending; sides in order of their first pin.
    pub sides: Vec<Vec<usize>>,
}

impl Coil {
    /// One pin of each of its first two sides: where a drive can be applied.
    #[must_use]
    pub fn ends(&self) -> Option<Pair> {
        Pair::new(*self.sides.first()?.first()?, *self.sides.get(1)?.first()?)
    }

    /// All its pins, ascending.
    #[must_use]
    pub fn pins(&self) -> Vec<usize> {
        let mut pins = self.sides.concat();
        pins.sort_unstable();
        pins
    }
}

/// A pole. Doubled pins stand together.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Pole {
    /// The common; for a make or break pole the side with the lowest pin.
    pub common: Vec<usize>,
    /// Closed with the common at rest.
    pub nc: Vec<usize>,
    /// Closed with the common when energised.
    pub no: Vec<usize>,
    /// Its form.
    pub form: Form,
}

impl Pole {
    /// All its pins, ascending.
    #[must_use]
    pub fn pins(&self) -> Vec<usize> {
        let mut pins = [self.common.as_slice(), &self.nc, &self.no].concat();
        pins.sort_unstable();
        pins
    }
}

/// Which pin is what.
#[derive(Clone, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Partition {
    /// Coils, by first pin.
    pub coils: Vec<Coil>,
    /// Poles, by lowest pin.
    pub poles: Vec<Pole>,
    /// Pins joined inside the part that belong to no coil and no pole, by first pin.
    pub joined: Vec<Vec<usize>>,
    /// Pins connected to nothing.
    pub spares: Vec<usize>,
}

impl Partition {
    /// From groups with their pins (ascending) and roles; all other pins are spares.
    pub(super) fn from_groups(pins: usize, groups: &[(Group, Vec<usize>, Vec<Role>)]) -> Self {
        let mut partition = Self::default();
        let mut used = vec![false; pins];
        for (group, members, roles) in groups {
            for &pin in members {
                used[pin] = true;
            }
            let side = |role: Role| -> Vec<usize> {
                members.iter().zip(roles).filter(|(_, r)| **r == role).map(|(p, _)| *p).collect()
            };
            match group {
                Group::Coil(..) => partition.coils.push(Coil { sides: vec![side(0), side(1)] }),
                Group::TappedCoil => {
                    partition.coils.push(Coil { sides: vec![side(0), side(1), side(2)] });
                }
                Group::Contact { form, .. } => partition.poles.push(Pole {
                    common: side(0),
                    nc: side(1),
                    no: side(2),
                    form: *form,
                }),
                Group::Joined(_) => partition.joined.push(side(0)),
            }
        }
        partition.spares = (0..pins).filter(|&pin| !used[pin]).collect();
        partition.in_order()
    }

    /// The same claim in canonical order.
    #[must_use]
    pub fn in_order(mut self) -> Self {
        for coil in &mut self.coils {
            coil.sides.iter_mut().for_each(|side| side.sort_unstable());
            coil.sides.sort();
        }
        self.coils.sort();
        for pole in &mut self.poles {
            for side in [&mut pole.common, &mut pole.nc, &mut pole.no] {
                side.sort_unstable();
            }
            let other = match pole.form {
                Form::A => &mut pole.no,
                Form::B => &mut pole.nc,
                Form::C => continue,
            };
            if *other < pole.common {
                std::mem::swap(other, &mut pole.common);
            }
        }
        self.poles.sort_by_cached_key(Pole::pins);
        self.joined.iter_mut().for_each(|side| side.sort_unstable());
        self.joined.sort();
        self.spares.sort_unstable();
        self
    }

    /// The pins of each coil, pole and joint.
    pub(super) fn groups(&self) -> Vec<Vec<usize>> {
        let coils = self.coils.iter().map(Coil::pins);
        let poles = self.poles.iter().map(Pole::pins);
        coils.chain(poles).chain(self.joined.iter().cloned()).collect()
    }

    /// The same claim with another group in place of the group or the spares on `base`.
    pub(super) fn with_group(&self, base: &[usize], group: (Group, Vec<usize>, Vec<Role>)) -> Self {
        let pins = self.pins();
        let added = Self::from_groups(pins, &[group]);
        let apart = |pins: Vec<usize>| pins.iter().all(|pin| !base.contains(pin));
        let mut other = self.clone();
        other.coils.retain(|coil| apart(coil.pins()));
        other.poles.retain(|pole| apart(pole.pins()));
        other.joined.retain(|joint| apart(joint.clone()));
        other.spares.retain(|spare| added.spares.contains(spare));
        other.coils.extend(added.coils);
        other.poles.extend(added.poles);
        other.joined.extend(added.joined);
        other.in_order()
    }

    /// What this claim says that a pair shows.
    #[must_use]
    pub fn status(&self, pair: Pair) -> Status {
        let (a, b) = (pair.lo(), pair.hi());
        for coil in &self.coils {
            let side = |pin| coil.sides.iter().position(|side| side.contains(&pin));
            match (side(a), side(b)) {
                (Some(x), Some(y)) if x == y => return Status::Joined,
                (Some(_), Some(_)) => return Status::Coil,
                _ => {}
            }
        }
        for pole in &self.poles {
            let sides = [&pole.common, &pole.nc, &pole.no];
            let side = |pin| sides.iter().position(|side| side.contains(&pin));
            match (side(a), side(b)) {
                (Some(x), Some(y)) if x == y => return Status::Joined,
                (Some(0), Some(1)) | (Some(1), Some(0)) => return Status::Break,
                (Some(0), Some(2)) | (Some(2), Some(0)) => return Status::Make,
                _ => {}
            }
        }
        let joint = |joint: &Vec<usize>| joint.contains(&a) && joint.contains(&b);
        if self.joined.iter().any(joint) { Status::Joined } else { Status::Open }
    }

    /// How many pins it speaks of.
    #[must_use]
    pub fn pins(&self) -> usize {
        let coils = self.coils.iter().map(|coil| coil.pins().len()).sum::<usize>();
        let poles = self.poles.iter().map(|pole| pole.pins().len()).sum::<usize>();
        coils + poles + self.joined.concat().len() + self.spares.len()
    }

    /// Its family.
    #[must_use]
    pub fn family(&self) -> Family {
        let count = |side: &Vec<usize>| side.len() as u8;
        let coils = self.coils.iter().map(|coil| match coil.sides.as_slice() {
            [a, b] => Group::Coil(count(a).max(count(b)), count(a).min(count(b))),
            _ => Group::TappedCoil,
        });
        let poles = self.poles.iter().map(|pole| {
            let (mut common, mut nc, mut no) =
                (count(&pole.common), count(&pole.nc), count(&pole.no));
            match pole.form {
                Form::A if no > common => std::mem::swap(&mut common, &mut no),
                Form::B if nc > common => std::mem::swap(&mut common, &mut nc),
                _ => {}
            }
            Group::Contact { form: pole.form, common, nc, no }
        });
        let joined = self.joined.iter().map(|joint| Group::Joined(count(joint)));
        Family::new(coils.chain(poles).chain(joined))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sample() -> Partition {
        Partition {
            coils: vec![Coil { sides: vec![vec![7], vec![0]] }],
            poles: vec![
                Pole { form: Form::A, common: vec![6], nc: vec![], no: vec![5] },
                Pole { form: Form::C, common: vec![2], nc: vec![1], no: vec![4, 3] },
            ],
            joined: vec![vec![9, 8]],
            spares: vec![10],
        }
        .in_order()
    }

    #[test]
    fn the_order_is_canonical() {
        let sample = sample();
        assert_eq!(sample.coils[0].sides, [vec![0], vec![7]]);
        assert_eq!(sample.poles[0].form, Form::C);
        assert_eq!(sample.poles[0].no, [3, 4]);
        assert_eq!((sample.poles[1].common[0], sample.poles[1].no[0]), (5, 6));
        assert_eq!(sample.joined, [[8, 9]]);
        assert_eq!(sample.pins(), 11);
        assert_eq!(sample.family().to_string(), "1A+1C");
    }

    #[test]
    fn a_pair_shows_what_its_group_says() {
        let sample = sample();
        let status = |a, b| sample.status(Pair::ordered(a, b));
        assert_eq!(status(0, 7), Status::Coil);
        assert_eq!(status(1, 2), Status::Break);
        assert_eq!(status(2, 4), Status::Make);
        assert_eq!(status(3, 4), Status::Joined);
        assert_eq!(status(1, 3), Status::Open);
        assert_eq!(status(5, 6), Status::Make);
        assert_eq!(status(8, 9), Status::Joined);
        assert_eq!(status(0, 10), Status::Open);
    }

    /// Every labelling of every shape, with pins between its own left to nothing: what the claim
    /// says of each pair is what the roles say, and its family is that shape.
    #[test]
    fn a_claim_says_what_the_roles_of_its_pins_say() {
        let uneven = |form, common, nc, no| Group::Contact { form, common, nc, no };
        let shapes = [
            Group::Coil(1, 1),
            Group::Coil(2, 1),
            Group::Coil(2, 2),
            Group::TappedCoil,
            Group::contact(Form::A),
            Group::contact(Form::B),
            Group::contact(Form::C),
            Group::doubled(Form::A),
            Group::doubled(Form::B),
            uneven(Form::A, 2, 0, 1),
            uneven(Form::B, 2, 1, 0),
            uneven(Form::C, 1, 2, 1),
            uneven(Form::C, 1, 1, 2),
            Group::Joined(2),
            Group::Joined(3),
        ];
        for shape in shapes {
            let pins: Vec<usize> = [1, 2, 4, 7].into_iter().take(shape.size()).collect();
            for roles in shape.arrangements() {
                let claim = Partition::from_groups(9, &[(shape, pins.clone(), roles.clone())]);
                let role = |pin| pins.iter().position(|&other| other == pin).map(|at| roles[at]);
                for pair in Pair::all(9) {
                    let expected = match (role(pair.lo()), role(pair.hi())) {
                        (Some(a), Some(b)) => shape.between(a, b),
                        _ => Status::Open,
                    };
                    assert_eq!(claim.status(pair), expected, "{claim:?} {pair:?}");
                }
                assert_eq!(claim.family(), Family::new([shape]), "{claim:?}");
                assert_eq!((claim.pins(), claim.spares.len()), (9, 9 - pins.len()));
                assert_eq!(claim.groups(), std::slice::from_ref(&pins));
                assert_eq!(claim.clone().in_order(), claim);
            }
        }
    }

    #[test]
    fn a_coil_is_driven_between_its_first_two_sides() {
        let coil = |sides: &[&[usize]]| Coil { sides: sides.iter().map(|s| s.to_vec()).collect() };
        assert_eq!(coil(&[&[1, 4], &[2]]).ends(), Pair::new(1, 2));
        assert_eq!(coil(&[&[5], &[6], &[7]]).ends(), Pair::new(5, 6));
        assert_eq!(coil(&[&[5]]).ends(), None);
        assert_eq!(coil(&[&[5], &[]]).ends(), None);
        assert_eq!(coil(&[&[4, 1], &[2]]).pins(), [1, 2, 4]);
    }

    #[test]
    fn groups_are_replaced_where_they_stand() {
        let sample = sample();
        let pole = Group::contact(Form::C);
        // A make pole and a spare become a changeover.
        let other = sample.with_group(&[5, 6], (pole, vec![5, 6, 10], vec![0, 2, 1]));
        assert_eq!(other.family().to_string(), "2C");
        assert_eq!((other.pins(), other.spares.len()), (11, 0));
        assert_eq!(other.status(Pair::ordered(5, 10)), Status::Break);
        assert_eq!(other.status(Pair::ordered(0, 7)), Status::Coil, "the rest stays");
        // A joint of two becomes one of three.
        let other = sample.with_group(&[8, 9], (Group::Joined(3), vec![8, 9, 10], vec![0, 0, 0]));
        assert_eq!((other.joined.len(), other.pins()), (1, 11));
        // A coil gets a third pin.
        let other = sample.with_group(&[0, 7], (Group::TappedCoil, vec![0, 7, 10], vec![0, 1, 2]));
        assert_eq!((other.coils.len(), other.coils[0].sides.len(), other.pins()), (1, 3, 11));
    }
}
