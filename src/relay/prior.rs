//! What is believed before the first touch: which shapes of parts there are and how often, every
//! labelling of a shape being equally likely, and, where the operator states a footprint, the
//! symmetric layouts on it. The frequencies are common practice without a source; what they
//! cannot do is exclude a part.

use super::family::{Family, Group};
use super::footprint::Footprint;
use super::model::Model;
use super::pair::PINS_MAX;
use super::partition::Partition;
use crate::event::Form;
use std::collections::BTreeMap;
use std::sync::Arc;

/// How much of the prior the layouts of a stated footprint get; the rest stays free.
pub const LAYOUT_SHARE: f64 = 0.8;

/// A prior over partitions.
#[derive(Clone, Debug)]
pub struct Prior {
    pub(super) model: Arc<Model>,
    pub(super) families: Vec<(Family, f64)>,
    /// Layouts with their prior, and the share that is left for the free model.
    pub(super) layouts: Vec<(Partition, f64)>,
    pub(super) free_share: f64,
}

impl Prior {
    /// The parts that a drawer holds, on this many pins (2 to 16).
    #[must_use]
    pub fn usual(pins: usize) -> Self {
        Self::only(pins, usual_families(pins))
    }

    /// Only these families, with these probabilities up to a common factor. Those that do not fit
    /// the pins are left out.
    #[must_use]
    pub fn only(pins: usize, families: impl IntoIterator<Item = (Family, f64)>) -> Self {
        let pins = pins.clamp(2, PINS_MAX);
        let mut merged: BTreeMap<Family, f64> = BTreeMap::new();
        for (family, p) in families {
            *merged.entry(family).or_default() += p;
        }
        let fits = |(family, p): &(Family, f64)| family.size() <= pins && *p > 0.0;
        let families: Vec<(Family, f64)> = merged.into_iter().filter(fits).collect();
        let model = Arc::new(Model::new(pins, &families));
        Self { model, families, layouts: Vec::new(), free_share: 1.0 }
    }

    /// This prior mixed with the symmetric layouts on a footprint, [`LAYOUT_SHARE`] in all. A
    /// footprint with another number of pins, or without a layout, changes nothing.
    #[must_use]
    pub fn with_footprint(mut self, footprint: &Footprint) -> Self {
        if footprint.pins() != self.pins() {
            return self;
        }
        let layouts = footprint.layouts(&self.families);
        let total: f64 = layouts.iter().map(|(_, weight)| weight).sum();
        if total > 0.0 {
            self.free_share = 1.0 - LAYOUT_SHARE;
            let scaled = |(layout, weight)| (layout, LAYOUT_SHARE * weight / total);
            self.layouts = layouts.into_iter().map(scaled).collect();
        }
        self
    }

    /// How many pins the part has.
    #[must_use]
    pub fn pins(&self) -> usize {
        self.model.masks.pins
    }

    /// The families that fit the pins, with how often, up to a common factor.
    #[must_use]
    pub fn families(&self) -> &[(Family, f64)] {
        &self.families
    }

    /// The layouts of the footprint, each with its share of the prior; empty without one.
    #[must_use]
    pub fn layouts(&self) -> &[(Partition, f64)] {
        &self.layouts
    }
}

/// Poles of one form only, by how many: how often, up to a common factor.
const PURE: [(Form, &[f64]); 3] = [
    (Form::C, &[20.0, 25.0, 6.0, 12.0, 1.0]),
    (Form::A, &[12.0, 6.0, 2.0, 4.0, 0.5, 0.5]),
    (Form::B, &[2.0, 1.0, 0.3, 0.5, 0.1, 0.1]),
];

/// Every family that fits, with how often, up to a common factor.
fn usual_families(pins: usize) -> Vec<(Family, f64)> {
    let coil = Group::Coil(1, 1);
    let mut families: Vec<(Family, f64)> = Vec::new();
    for (form, weights) in PURE {
        for (poles, weight) in (1..).zip(weights) {
            for (around, share) in around(form, poles) {
                let poles = std::iter::repeat_n(Group::contact(form), poles);
                families.push((Family::new(poles.chain(around)), weight * share));
            }
        }
        let doubled = Family::new([coil, Group::doubled(form)]);
        if pins <= doubled.size() + 1 {
            families.push((doubled, 3.0));
        }
    }
    for (makes, breaks, changeovers) in mixtures() {
        let weight = if changeovers == 0 && makes <= 2 && breaks <= 2 { 2.0 } else { 0.5 };
        families.push((Family::relay(makes, breaks, changeovers), weight));
    }
    families.extend(no_relay());
    families.retain(|(family, _)| family.size() <= pins);
    for (family, weight) in &mut families {
        // Each spare pin takes from what is believed of a part, but never all.
        *weight *= SPARE_PIN.powi((pins - family.size()) as i32);
    }
    families
}

/// How much rarer a part is for each pin that is connected to nothing.
const SPARE_PIN: f64 = 0.4;

/// Make, break and changeover poles together: makes with breaks up to six, with changeovers three.
fn mixtures() -> impl Iterator<Item = (usize, usize, usize)> {
    let all = (0..=5).flat_map(|a| (0..=5).flat_map(move |b| (0..=2).map(move |c| (a, b, c))));
    all.filter(|&(a, b, c)| {
        let kinds = [a, b, c].iter().filter(|count| **count > 0).count();
        kinds > 1 && a + b + c <= if c == 0 { 6 } else { 3 }
    })
}

/// The coils, and a joint where a contact is welded or pins are joined, that go with so many
/// poles of one form: how often.
fn around(form: Form, poles: usize) -> Vec<(Vec<Group>, f64)> {
    let coil = Group::Coil(1, 1);
    let most = if form == Form::C { 4 } else { 2 };
    let mut all = vec![(vec![coil], 1.0)];
    if poles <= most {
        all.push((vec![Group::TappedCoil], 0.05));
        all.push((vec![coil, coil], 0.05));
    }
    if poles < most {
        all.push((vec![coil, Group::Joined(2)], 0.02));
    }
    all
}

/// Not a relay, or one whose coil is open: joints and spares; or a coil that nothing follows.
fn no_relay() -> Vec<(Family, f64)> {
    let coil = Group::Coil(1, 1);
    let joints = |joints| (Family::new(vec![Group::Joined(2); joints]), 0.2);
    vec![
        (Family::default(), 0.5),
        (Family::new([coil]), 0.5),
        (Family::new([coil, coil]), 0.1),
        (Family::new([Group::TappedCoil]), 0.1),
        (Family::new([Group::Joined(3)]), 0.2),
        (Family::new([coil, Group::Joined(2)]), 0.2),
        joints(1),
        joints(2),
        joints(3),
        joints(4),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    fn weight(families: &[(Family, f64)], family: &Family) -> Option<f64> {
        families.iter().find(|(other, _)| other == family).map(|(_, p)| *p)
    }

    #[track_caller]
    fn holds(families: &[(Family, f64)], family: &Family, expected: f64) {
        let found = weight(families, family);
        let near = found.is_some_and(|found| (found - expected).abs() < 1e-12);
        assert!(near, "{family:?}: {found:?}, by hand {expected}");
    }

    /// Everything that four pins can be; each pin that is left over makes it 0.4 times as usual.
    #[test]
    fn four_pins_are_a_contact_with_its_coil_or_less() {
        let families = usual_families(4);
        let [coil, pair] = [Group::Coil(1, 1), Group::Joined(2)];
        let by_hand = [
            (Family::relay(1, 0, 0), 12.0),
            (Family::relay(0, 1, 0), 2.0),
            (Family::new([coil, coil]), 0.1),
            (Family::new([coil, pair]), 0.2),
            (Family::new([pair, pair]), 0.2),
            (Family::new([Group::TappedCoil]), 0.1 * 0.4),
            (Family::new([Group::Joined(3)]), 0.2 * 0.4),
            (Family::new([coil]), 0.5 * 0.16),
            (Family::new([pair]), 0.2 * 0.16),
            (Family::default(), 0.5 * 0.0256),
        ];
        for (family, expected) in &by_hand {
            holds(&families, family, *expected);
        }
        assert_eq!(families.len(), by_hand.len(), "{families:?}");
        assert_eq!(Prior::usual(4).families().len(), by_hand.len());
    }

    #[test]
    fn eight_pins_are_as_usual_as_the_tables_say() {
        let families = usual_families(8);
        let [coil, joint] = [Group::Coil(1, 1), Group::Joined(2)];
        let [a, c] = [Form::A, Form::C].map(Group::contact);
        for (groups, expected) in [
            (vec![coil, c, c], 25.0),
            (vec![coil, c], 20.0 * 0.4_f64.powi(3)),
            (vec![Group::TappedCoil, c], 20.0 * 0.05 * 0.16),
            (vec![coil, coil, c], 20.0 * 0.05 * 0.4),
            (vec![coil, joint, c], 20.0 * 0.02 * 0.4),
            (vec![coil, Group::doubled(Form::C)], 3.0),
            (vec![coil, a, a, a], 2.0),
            (vec![Group::TappedCoil, a, a], 6.0 * 0.05 * 0.4),
            (vec![coil, joint, a], 12.0 * 0.02 * 0.16),
            (vec![joint; 4], 0.2),
        ] {
            holds(&families, &Family::new(groups), expected);
        }
        for groups in [
            vec![coil, joint, a, a],
            vec![Group::TappedCoil, c, c],
            vec![coil, Group::doubled(Form::A)],
        ] {
            let family = Family::new(groups);
            assert_eq!(weight(&families, &family), None, "{family:?}");
        }
        // Doubled pins are taken for such where one pin at most is left over.
        let doubled = Family::new([coil, Group::doubled(Form::A)]);
        holds(&usual_families(7), &doubled, 3.0 * 0.4);
        holds(&usual_families(6), &doubled, 3.0);
    }

    #[test]
    fn poles_are_mixed_up_to_six_and_with_changeovers_up_to_three() {
        let found: Vec<(usize, usize, usize)> = mixtures().collect();
        let plain = (1..=5).flat_map(|a| (1..=6 - a).map(move |b| (a, b, 0)));
        let with = [(1, 0, 1), (0, 1, 1), (1, 1, 1), (2, 0, 1), (0, 2, 1), (1, 0, 2), (0, 1, 2)];
        let mut expected: Vec<(usize, usize, usize)> = plain.chain(with).collect();
        expected.sort_unstable();
        let mut sorted = found.clone();
        sorted.sort_unstable();
        assert_eq!(sorted, expected);
        let families = usual_families(16);
        let spare = |pins: i32| 0.4_f64.powi(pins);
        holds(&families, &Family::relay(1, 1, 0), 2.0 * spare(10));
        holds(&families, &Family::relay(2, 2, 0), 2.0 * spare(6));
        holds(&families, &Family::relay(3, 1, 0), 0.5 * spare(6));
        holds(&families, &Family::relay(1, 3, 0), 0.5 * spare(6));
        holds(&families, &Family::relay(1, 1, 1), 0.5 * spare(7));
        let four = std::iter::repeat_n(Group::contact(Form::C), 4);
        let tapped = Family::new(four.clone().chain([Group::TappedCoil]));
        holds(&families, &tapped, 12.0 * 0.05 * 0.4);
        let joined = Family::new(four.chain([Group::Coil(1, 1), Group::Joined(2)]));
        assert_eq!(weight(&families, &joined), None, "{joined:?}");
    }

    #[test]
    fn what_does_not_fit_or_cannot_be_is_left_out() {
        let one = Family::relay(0, 0, 1);
        let prior = Prior::only(
            5,
            [
                (one.clone(), 1.0),
                (Family::relay(0, 0, 2), 5.0),
                (Family::relay(1, 0, 0), 0.0),
                (Family::relay(0, 1, 0), -1.0),
                (Family::default(), f64::NAN),
                (one.clone(), 0.5),
            ],
        );
        assert_eq!(prior.families(), [(one, 1.5)], "what stands twice is added up");
        assert_eq!(Prior::usual(0).pins(), 2);
        let [five, one] = [5, 1].map(|poles| (Family::relay(0, 0, poles), 1.0));
        let many = Prior::only(40, [five, one.clone()]);
        assert_eq!((many.pins(), many.families()), (16, [one].as_slice()), "sixteen at most");
    }

    #[test]
    fn layouts_take_their_share_where_the_footprint_fits() {
        let footprint: Footprint = "2-1-2".parse().unwrap();
        let prior = Prior::usual(5).with_footprint(&footprint);
        let sum: f64 = prior.layouts().iter().map(|(_, p)| p).sum();
        assert!((sum - LAYOUT_SHARE).abs() < 1e-12);
        assert!((prior.free_share - (1.0 - LAYOUT_SHARE)).abs() < 1e-12);
        for unchanged in [
            Prior::usual(4).with_footprint(&footprint),
            Prior::only(5, [(Family::default(), 1.0)]).with_footprint(&footprint),
        ] {
            assert!(unchanged.layouts().is_empty());
            assert_eq!(unchanged.free_share, 1.0);
        }
    }
}
