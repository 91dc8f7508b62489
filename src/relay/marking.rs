//! Terminal marks by EN 50005, from a pinout to a mark for each pin. The coil is A1(+) and A2, a
//! second coil B1 and B2 (from memory); pole k has k1 for the common, k2 for the break and k4 for
//! the make side of a changeover, k1-k2 for a break and k3-k4 for a make contact. Poles are
//! numbered by their lowest pin; doubled pins share their mark; pins that are part of no coil and
//! no pole get none. Pins are positions, counted from 0. Which coil pin is A1 is the caller's
//! word, for only the caller knows the polarity.

use super::partition::Pole;
use crate::event::Form;
use std::collections::BTreeMap;

/// Pins with the second digit of their mark (EN 50005).
fn functions(pole: &Pole) -> impl Iterator<Item = (usize, u8)> + '_ {
    let (common, nc, no) = match pole.form {
        Form::A => (3, 2, 4),
        Form::B | Form::C => (1, 2, 4),
    };
    let side = |pins: &'_ [usize], digit: u8| {
        pins.iter().map(|&pin| (pin, digit)).collect::<Vec<_>>().into_iter()
    };
    side(&pole.common, common).chain(side(&pole.nc, nc)).chain(side(&pole.no, no))
}

fn lowest(pole: &Pole) -> usize {
    functions(pole).map(|(pin, _)| pin).min().unwrap_or(usize::MAX)
}

/// The mark of each pin that has one. `coils` are pin pairs, plus first: the first is A1-A2,
/// the second B1-B2, and so on.
#[must_use]
pub fn marks(coils: &[(usize, usize)], poles: &[Pole]) -> BTreeMap<usize, String> {
    let mut marks = BTreeMap::new();
    for (letter, (plus, minus)) in ('A'..='Z').zip(coils) {
        // Two coils with a common end share a pin: the mark of the earlier coil stays.
        marks.entry(*plus).or_insert_with(|| format!("{letter}1"));
        marks.entry(*minus).or_insert_with(|| format!("{letter}2"));
    }
    for (index, pole) in order(poles).into_iter().enumerate() {
        for (pin, function) in functions(&poles[pole]) {
            marks.insert(pin, format!("{}{function}", index + 1));
        }
    }
    marks
}

/// The positions of `poles` in marking order: by lowest pin.
#[must_use]
pub fn order(poles: &[Pole]) -> Vec<usize> {
    let mut order: Vec<usize> = (0..poles.len()).collect();
    order.sort_by_key(|&pole| lowest(&poles[pole]));
    order
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pole(form: Form, common: &[usize], nc: &[usize], no: &[usize]) -> Pole {
        Pole { form, common: common.to_vec(), nc: nc.to_vec(), no: no.to_vec() }
    }

    fn shown(coils: &[(usize, usize)], poles: &[Pole]) -> Vec<(usize, String)> {
        marks(coils, poles).into_iter().collect()
    }

    fn expected(pairs: &[(usize, &str)]) -> Vec<(usize, String)> {
        pairs.iter().map(|(pin, mark)| (*pin, (*mark).to_string())).collect()
    }

    #[test]
    fn changeover_poles_are_common_break_make() {
        // EN 50005 as an open symbol-library rule (G3.1) states it: the coil is A1-A2, pole 2's
        // changeover is 21-22-24.
        let poles = [pole(Form::C, &[2], &[3], &[4]), pole(Form::C, &[5], &[6], &[1])];
        let found = shown(&[(0, 7)], &poles);
        let pole_two_has_the_lowest_pin = [
            (0, "A1"),
            (1, "14"),
            (2, "21"),
            (3, "22"),
            (4, "24"),
            (5, "11"),
            (6, "12"),
            (7, "A2"),
        ];
        assert_eq!(found, expected(&pole_two_has_the_lowest_pin));
    }

    #[test]
    fn make_is_three_four_and_break_is_one_two() {
        // EN 50005: break x1-x2, make x3-x4.
        let poles = [pole(Form::A, &[1], &[], &[4]), pole(Form::B, &[2], &[3], &[])];
        let found = shown(&[(5, 0)], &poles);
        let mixed = [(0, "A2"), (1, "13"), (2, "21"), (3, "22"), (4, "14"), (5, "A1")];
        assert_eq!(found, expected(&mixed));
    }

    #[test]
    fn doubled_pins_share_their_mark_and_spares_have_none() {
        let poles = [pole(Form::C, &[2, 3], &[4, 5], &[6, 7])];
        let found = shown(&[(0, 1)], &poles);
        let doubled = [
            (0, "A1"),
            (1, "A2"),
            (2, "11"),
            (3, "11"),
            (4, "12"),
            (5, "12"),
            (6, "14"),
            (7, "14"),
        ];
        assert_eq!(found, expected(&doubled));
        assert_eq!(marks(&[(0, 1)], &[]).len(), 2);
    }

    #[test]
    fn a_second_coil_is_b() {
        // From memory, EN 50005.
        let two = [(0, "A1"), (1, "A2"), (2, "B2"), (3, "B1")];
        assert_eq!(shown(&[(0, 1), (3, 2)], &[]), expected(&two));
        // Three pins: the common end keeps the first coil's mark.
        assert_eq!(shown(&[(0, 1), (2, 1)], &[]), expected(&[(0, "A1"), (1, "A2"), (2, "B1")]));
        assert_eq!(shown(&[(0, 1), (1, 2)], &[]), expected(&[(0, "A1"), (1, "A2"), (2, "B2")]));
    }

    #[test]
    fn poles_are_numbered_by_their_lowest_pin() {
        let poles = [
            pole(Form::C, &[9], &[8], &[7]),
            pole(Form::A, &[6], &[], &[3]),
            pole(Form::B, &[4], &[5], &[]),
        ];
        assert_eq!(order(&poles), [1, 2, 0]);
        assert_eq!(order(&[pole(Form::A, &[], &[], &[]), poles[0].clone()]), [1, 0]);
    }
}
